//! `cableside class`: a class at one computer, practice handed out, results taken back.
#![allow(clippy::print_stdout, reason = "a command's room prints")]

mod home;
mod meeting;
mod roster;

use super::Failure;
use super::common::SiteChoice;
use crate::folders;
use crate::logbook::{Logbook, Student};
use crate::worker::{Loader, LogbookPlace, Options};
use clap::{Args, Subcommand};
use std::path::PathBuf;
use std::process::ExitCode;
use uuid::Uuid;

/// Teach a class: one microphone for all, a board, practice for home and its results
#[derive(Debug, Args)]
pub struct ClassArgs {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, Subcommand)]
enum Action {
    /// Make a class
    New {
        /// Its name
        name: String,
    },
    /// Take students into a class
    Join(RosterArgs),
    /// Take students out of a class; what they practised stays
    Leave(RosterArgs),
    /// List the classes with their members
    List,
    /// Deal calls to one student after another at this computer; the board is shown after every round
    Run(RunArgs),
    /// Show who missed what lately, and with whom what is not steady
    Board(BoardArgs),
    /// Write a practice file for each student, to be practised at home
    HandOut(HandOutArgs),
    /// At home: practise what was handed out; goes on where it stopped
    Practise(PractiseArgs),
    /// At home: write the results of a practice as one sealed file
    HandIn(HandInArgs),
    /// Take results back into the class's logbook; what was changed on the way is noticed
    TakeIn(TakeInArgs),
}

#[derive(Debug, Args)]
struct RosterArgs {
    /// The class (name or id)
    class: String,
    /// Students (name, id, or the first eight characters of the id)
    #[arg(required = true)]
    students: Vec<String>,
}

/// Who is in the class.
#[derive(Debug, Args)]
struct Members {
    /// The class (name or id). Without it, and without --student: everybody in the logbook but instructors
    #[arg(long, value_name = "NAME-OR-ID", conflicts_with = "student")]
    class: Option<String>,
    /// These students (name, id, or the first eight characters of the id); may be given more than once
    #[arg(long, value_name = "NAME-OR-ID")]
    student: Vec<String>,
}

/// How calls are spoken and heard.
#[derive(Debug, Args)]
struct Hearing {
    /// Type the calls instead of speaking them
    #[arg(long)]
    typed: bool,
    /// The microphone by name (`cableside sound devices` lists them)
    #[arg(long, value_name = "NAME")]
    input: Option<String>,
    /// The speech model: an official name or a file
    #[arg(long, value_name = "NAME-OR-FILE")]
    model: Option<String>,
    /// Threads of the speech model; 1 where other programs are busy
    #[arg(long, default_value_t = 2, value_parser = clap::builder::RangedU64ValueParser::<usize>::new().range(1..=16))]
    threads: usize,
}

impl Hearing {
    /// A worker that keeps its calls in the logbook, for a step of a site.
    fn options(&self, phrases: Option<PathBuf>, step: String) -> Options {
        Options {
            phrases,
            logbook: LogbookPlace::Disk {
                file: folders::logbook(),
                recordings: folders::recordings(),
            },
            loader: Loader::lattice(folders::model_folders(), self.model.clone(), self.threads),
            sound: !self.typed,
            input: self.input.clone(),
            output: None,
            situation: None,
            direction: None,
            step,
        }
    }
}

#[derive(Debug, Args)]
struct RunArgs {
    #[command(flatten)]
    site: SiteChoice,
    #[command(flatten)]
    members: Members,
    /// The step of the launch; may be given more than once: then each student's calls are of one after another
    #[arg(long = "step", value_name = "STEP", default_value = "ready")]
    steps: Vec<String>,
    /// Calls for each student
    #[arg(long, default_value_t = 5, value_parser = clap::value_parser!(u32).range(1..=500))]
    calls: u32,
    #[command(flatten)]
    hearing: Hearing,
}

#[derive(Debug, Args)]
struct BoardArgs {
    #[command(flatten)]
    site: SiteChoice,
    #[command(flatten)]
    members: Members,
}

#[derive(Debug, Args)]
struct HandOutArgs {
    #[command(flatten)]
    site: SiteChoice,
    #[command(flatten)]
    members: Members,
    /// The class's name, as it stands in the practice [default: the name of the class of --class]
    #[arg(long)]
    name: Option<String>,
    /// The steps to be practised, with commas between
    #[arg(long, default_value = "ready", value_delimiter = ',')]
    steps: Vec<String>,
    /// Calls for each student
    #[arg(long, default_value_t = 20)]
    calls: usize,
    /// Deal from this number: the same number deals the same calls to everybody
    #[arg(long)]
    seed: Option<u64>,
    /// The folder to write the files to, one for each student
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
}

#[derive(Debug, Args)]
struct PractiseArgs {
    /// The practice file
    file: PathBuf,
    /// Look for sites in this folder first
    #[arg(long, value_name = "DIR")]
    phrases: Option<PathBuf>,
    /// The student here, by name or id [default: the name in the practice]
    #[arg(long)]
    student: Option<String>,
    #[command(flatten)]
    hearing: Hearing,
}

#[derive(Debug, Args)]
struct HandInArgs {
    /// The practice file
    file: PathBuf,
    /// The file to write; it must not exist. A name without an ending gets .cableside
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Leave the recordings out
    #[arg(long)]
    without_recordings: bool,
}

#[derive(Debug, Args)]
struct TakeInArgs {
    /// Results files
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// Only check them
    #[arg(long)]
    check: bool,
}

/// Run the command.
pub fn run(args: &ClassArgs) -> Result<ExitCode, Failure> {
    match &args.action {
        Action::New { name } => roster::new(name),
        Action::Join(a) => roster::set(a, true),
        Action::Leave(a) => roster::set(a, false),
        Action::List => roster::list(),
        Action::Run(a) => meeting::run(a),
        Action::Board(a) => meeting::show_board(a),
        Action::HandOut(a) => home::hand_out(a),
        Action::Practise(a) => home::practise(a),
        Action::HandIn(a) => home::hand_in(a),
        Action::TakeIn(a) => home::take_in(a),
    }
}

fn logbook() -> Result<Logbook, Failure> {
    Ok(Logbook::open(&folders::logbook(), &folders::recordings())?)
}

/// The members, by name.
fn members(logbook: &Logbook, chosen: &Members) -> Result<Vec<(Uuid, String)>, Failure> {
    let students: Vec<Student> = if let Some(class) = &chosen.class {
        let class = logbook.find_class(class)?;
        let members = logbook.members(class.id)?;
        if members.is_empty() {
            return Err(format!("the class {} has no members yet", class.name).into());
        }
        members
    } else if chosen.student.is_empty() {
        let all = logbook.students()?.into_iter();
        all.filter(|s| !s.is_instructor()).collect()
    } else {
        let found: Result<_, _> = chosen.student.iter().map(|s| logbook.find_student(s)).collect();
        found?
    };
    if students.is_empty() {
        return Err(
            "there are no students in the logbook: add them with cableside logbook student add NAME --consent yes|no"
                .into(),
        );
    }
    Ok(students.into_iter().map(|s| (s.id, s.name)).collect())
}
