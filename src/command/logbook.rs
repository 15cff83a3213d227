//! `cableside logbook`: look into the record, add students, judge anew, merge, export, forget.
//!
//! | file | owns |
//! |---|---|
//! | `lists.rs` | attempts, runs |
//! | `students.rs` | students, consent, roles, retention, forgetting |
//! | `judging.rs` | "I did say that", overruling, labelled calls |
//! | `files.rs` | exports, left-overs, another logbook, a damaged one |

mod files;
mod judging;
mod lists;
mod students;

use std::collections::HashMap;
use std::fmt::Write as _;
use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, Subcommand, ValueEnum};
use jiff::Timestamp;
use jiff::tz::Offset;
use uuid::Uuid;

pub(super) use students::removed_lines;

use super::gate::Gate;
use super::{Failure, common};
use crate::folders;
use crate::logbook::{Logbook, Whose};

/// Look into the logbook: students, attempts, recordings.
#[derive(Debug, Args)]
pub struct LogbookArgs {
    /// The logbook's database file [default: in the program's data folder].
    #[arg(long, global = true, value_name = "FILE")]
    logbook: Option<PathBuf>,
    /// The folder of the recordings [default: in the program's data folder].
    #[arg(long, global = true, value_name = "DIR")]
    recordings: Option<PathBuf>,
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, Subcommand)]
enum Action {
    /// List attempts, newest first.
    List {
        /// Only this student's (name, id, or the first eight characters of the id).
        #[arg(long, value_name = "NAME-OR-ID")]
        student: Option<String>,
        /// How many at most.
        #[arg(long, default_value_t = 20)]
        limit: u32,
        /// How many of the newest to leave out.
        #[arg(long, default_value_t = 0)]
        offset: u32,
    },
    /// List whole launches and ear drills, newest first.
    Runs {
        /// Only this student's.
        #[arg(long, value_name = "NAME-OR-ID")]
        student: Option<String>,
        /// How many at most.
        #[arg(long, default_value_t = 20)]
        limit: u32,
    },
    /// Show one attempt with its verdicts, or one run with its turns.
    Show {
        /// The id, or at least its first eight characters.
        id: String,
        /// As JSON, with all evidence.
        #[arg(long)]
        json: bool,
    },
    /// List the students with their consent and what they practised.
    Students,
    /// Add a student, store an answer about consent, set role, PIN, guardian or retention.
    #[command(subcommand)]
    Student(students::StudentAction),
    #[command(flatten)]
    Judging(judging::JudgingAction),
    /// Show or set after how many days things are removed on this computer; off until it is set.
    ///
    /// Removed at the next start. What one student has set for themselves comes first.
    Keep(students::Days),
    /// Write the attempts as CSV or JSON.
    ///
    /// In CSV a text that begins with = + - @ gets a leading apostrophe, so that a spreadsheet does not run it as a
    /// formula. JSON is exact and complete: evidence, runs, classes, judgements, answers about consent.
    Export {
        #[arg(long, value_enum)]
        format: files::Format,
        /// The file to write; it must not exist [default: standard output].
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
        /// Only this student's.
        #[arg(long, value_name = "NAME-OR-ID")]
        student: Option<String>,
    },
    /// Take what is in another computer's logbook into this one; that one is not changed.
    ///
    /// In whatever order and however often it is done, the result is the same. What was forgotten or removed in one goes
    /// from the other too, and does not come back.
    Merge {
        /// The other logbook's database file.
        other: PathBuf,
        /// The folder of its recordings [default: "recordings" beside it].
        #[arg(long, value_name = "DIR")]
        other_recordings: Option<PathBuf>,
    },
    /// Remove one attempt with its recording, for good.
    Remove {
        /// The attempt's id, or at least its first eight characters.
        id: String,
        /// Really do it.
        #[arg(long)]
        yes: bool,
    },
    /// Remove a student with all attempts and recordings, for good.
    Forget {
        /// Name, id, or the first eight characters of the id.
        student: String,
        /// Really do it. Without this, only what would be removed is shown.
        #[arg(long)]
        yes: bool,
    },
    /// List recordings that belong to no attempt, as a crash leaves them; those without consent are removed.
    Leftovers,
    /// Rename a damaged logbook, so that a new one can be started. Deletes nothing.
    SetAside {
        /// Even if the logbook is healthy.
        #[arg(long)]
        yes: bool,
        /// Only take out the rows that cannot be read, and write them into a file beside the logbook.
        #[arg(long, conflicts_with = "yes")]
        rows: bool,
    },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Answer {
    Yes,
    No,
}

/// Runs the command. Exit code 0: done; 1 (and an error, or what would be done) otherwise.
pub fn run(args: &LogbookArgs) -> Result<ExitCode, Failure> {
    let path = args.logbook.clone().unwrap_or_else(folders::logbook);
    let recordings = args.recordings.clone().unwrap_or_else(folders::recordings);
    let stdout = io::stdout().lock();
    // A CSV for a program is passed on as it is; JSON reads the same either way.
    let raw = matches!(args.action, Action::Export { .. }) && !stdout.is_terminal();
    let mut out: Box<dyn Write> = if raw {
        Box::new(stdout)
    } else {
        Box::new(Gate::new(stdout))
    };
    match act(&args.action, &path, &recordings, Timestamp::now(), &mut out) {
        // The reader went away (`| head`): it has seen what it wanted.
        Err(e) if is_broken_pipe(e.as_ref()) => Ok(ExitCode::SUCCESS),
        other => other,
    }
}

fn is_broken_pipe(error: &(dyn std::error::Error + 'static)) -> bool {
    let mut next = Some(error);
    while let Some(error) = next {
        if error
            .downcast_ref::<io::Error>()
            .is_some_and(|e| e.kind() == io::ErrorKind::BrokenPipe)
        {
            return true;
        }
        next = error.source();
    }
    false
}

fn act(
    action: &Action,
    path: &Path,
    recordings: &Path,
    now: Timestamp,
    out: &mut impl Write,
) -> Result<ExitCode, Failure> {
    if let Action::SetAside { yes, rows } = action {
        if *rows {
            return files::rows_aside(path, recordings, now, out);
        }
        return files::aside(path, recordings, *yes, now, out);
    }
    let mut logbook = Logbook::open(path, recordings)?;
    if logbook.read_only_notice().is_none() {
        for line in removed_lines(&logbook.remove_old(now)?) {
            writeln!(io::stderr(), "{line}")?;
        }
    }
    let done = acted(action, &mut logbook, now, out);
    common::say_stepped_over(&logbook)?;
    done
}

fn acted(action: &Action, logbook: &mut Logbook, now: Timestamp, out: &mut impl Write) -> Result<ExitCode, Failure> {
    match action {
        Action::List { student, limit, offset } => {
            let whose = whose(logbook, student.as_deref())?;
            lists::list(logbook, whose, *offset, *limit, out)?;
        }
        Action::Runs { student, limit } => {
            let whose = whose(logbook, student.as_deref())?;
            lists::runs(logbook, whose, *limit, out)?;
        }
        Action::Show { id, json } => lists::show_any(logbook, id, *json, out)?,
        Action::Students => students::list(logbook, out)?,
        Action::Student(action) => students::student(logbook, action, now, out)?,
        Action::Judging(action) => judging::judge(logbook, action, now, out)?,
        Action::Keep(days) => students::keep(logbook, days, now, out)?,
        Action::Export {
            format,
            out: file,
            student,
        } => {
            let whose = whose(logbook, student.as_deref())?;
            match file {
                // To a file or a program as it is; what steers a terminal reaches none.
                None if io::stdout().is_terminal() => {
                    files::export(logbook, *format, whose, Gate::new(io::BufWriter::new(out)))?;
                }
                None => {
                    files::export(logbook, *format, whose, io::BufWriter::new(out))?;
                }
                Some(file) => {
                    let count = files::export_to_file(logbook, *format, whose, file)?;
                    writeln!(out, "{} written: {}", counted(count, "attempt"), file.display())?;
                }
            }
        }
        Action::Merge {
            other,
            other_recordings,
        } => {
            students::authorised(logbook, now)?;
            return files::merge(logbook, other, other_recordings.as_deref(), out);
        }
        Action::Remove { id, yes } => {
            let found = logbook.find_attempt_id(id)?;
            if !yes {
                return Err(format!(
                    "nothing was removed: this would remove the attempt {found} and its recording for good; add --yes to do it"
                )
                .into());
            }
            students::authorised(logbook, now)?;
            logbook.remove_attempt(found, now)?;
            writeln!(out, "The attempt {found} was removed.")?;
        }
        Action::Forget { student, yes } => return students::forget(logbook, student, *yes, now, out),
        Action::Leftovers => files::leftovers(&logbook.adopt_leftovers()?, out)?,
        Action::SetAside { .. } => {}
    }
    Ok(ExitCode::SUCCESS)
}

fn whose(logbook: &Logbook, student: Option<&str>) -> Result<Whose, Failure> {
    Ok(match student {
        None => Whose::Anyone,
        Some(asked) => Whose::Student(logbook.find_student(asked)?.id),
    })
}

/// The students' names by id.
fn named(logbook: &Logbook) -> Result<HashMap<Uuid, String>, Failure> {
    Ok(logbook.students()?.into_iter().map(|s| (s.id, s.name)).collect())
}

pub(super) fn counted(n: usize, what: &str) -> String {
    if n == 1 {
        format!("1 {what}")
    } else {
        format!("{n} {what}s")
    }
}

/// Local time of the student at that moment.
fn local(at: Timestamp, offset_seconds: i32) -> String {
    let offset = Offset::from_seconds(offset_seconds).unwrap_or(Offset::UTC);
    offset.to_datetime(at).strftime("%Y-%m-%d %H:%M").to_string()
}

/// Columns as wide as their widest cell, left-aligned.
fn table<const N: usize>(rows: &[[String; N]], out: &mut impl Write) -> Result<(), Failure> {
    // Rust's formatting takes no width over 65 535.
    let width = |column: usize| {
        let widest = rows.iter().map(|r| r[column].chars().count()).max().unwrap_or(0);
        widest.min(usize::from(u16::MAX))
    };
    let widths: [usize; N] = std::array::from_fn(width);
    for row in rows {
        let mut line = String::new();
        for (cell, width) in row.iter().zip(widths) {
            let _ = write!(line, "{cell:width$}  ");
        }
        writeln!(out, "{}", line.trim_end())?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::Parser;
    use serde_json::json;

    #[derive(Debug, Parser)]
    struct Cli {
        #[command(flatten)]
        args: LogbookArgs,
    }

    /// Runs `logbook ARGS` in a folder and gives back what it printed, or its error.
    fn cableside(dir: &Path, args: &[&str]) -> Result<String, String> {
        let cli = Cli::try_parse_from(["logbook"].iter().chain(args)).map_err(|e| e.to_string())?;
        let mut out = Vec::new();
        let now = "2025-05-03T09:30:00Z".parse().unwrap();
        act(
            &cli.args.action,
            &dir.join("logbook.sqlite"),
            &dir.join("recordings"),
            now,
            &mut out,
        )
        .map_err(|e| e.to_string())?;
        Ok(String::from_utf8(out).unwrap())
    }

    #[test]
    fn students_are_added_asked_and_forgotten() {
        let dir = tempfile::tempdir().unwrap();
        let dir = dir.path();
        cableside(dir, &["student", "add", "Mara Lind"]).unwrap_err();
        let added = cableside(
            dir,
            &["student", "add", "Mara Lind", "--consent", "yes", "--by", "guardian"],
        )
        .unwrap();
        assert!(
            added.contains("recordings allowed, answered 2025-05-03 by guardian"),
            "{added}"
        );
        let double = cableside(dir, &["student", "add", "mara lind", "--consent", "no"]).unwrap_err();
        assert!(double.contains("in the logbook already ("), "{double}");

        let refused = cableside(dir, &["student", "consent", "Mara Lind", "no"]).unwrap();
        assert!(refused.contains("no recordings"), "{refused}");
        assert!(
            cableside(dir, &["students"])
                .unwrap()
                .contains("Mara Lind  student  -      0         no recordings")
        );

        let unsure = cableside(dir, &["forget", "Mara Lind"]).unwrap_err();
        assert!(
            unsure.contains("nothing was removed") && unsure.contains("--yes"),
            "{unsure}"
        );
        let near = cableside(dir, &["forget", "Mara", "--yes"]).unwrap_err();
        assert!(near.contains("did you mean"), "{near}");
        cableside(dir, &["forget", "Mara Lind", "--yes"]).unwrap();
        assert!(cableside(dir, &["students"]).unwrap().contains("No students yet"));
    }

    /// Rust's formatting takes no width over 65 535.
    #[test]
    fn a_cell_may_be_of_any_length() {
        let long = "y".repeat(70_000);
        let mut out = Vec::new();
        table(
            &[[long.clone(), "a".to_owned()], ["x".to_owned(), "b".to_owned()]],
            &mut out,
        )
        .unwrap();
        let text = String::from_utf8(out).unwrap();
        assert!(text.starts_with(&format!("{long}  a\n")) && text.ends_with("  b\n"));
    }

    #[test]
    fn an_export_never_replaces_a_file() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("calls.json");
        let name = file.to_str().unwrap();
        cableside(dir.path(), &["export", "--format", "json", "--out", name]).unwrap();
        let first = std::fs::read(&file).unwrap();
        let again = cableside(dir.path(), &["export", "--format", "csv", "--out", name]).unwrap_err();
        assert!(again.contains("exists already"), "{again}");
        assert_eq!(std::fs::read(&file).unwrap(), first);
        let nowhere = cableside(
            dir.path(),
            &["export", "--format", "csv", "--out", "no/such/folder.csv"],
        )
        .unwrap_err();
        assert!(nowhere.ends_with("no/such/folder.csv"), "{nowhere}");
    }

    #[test]
    fn what_was_dealt_reads_in_the_order_of_the_call() {
        let situation = json!({"cable": "north", "crew": 2, "callsign": "G-CLRM", "type": null, "wind": "calm"});
        assert_eq!(lists::dealt(&situation), "G-CLRM, 2, north, wind calm");
        let situation = json!({"cable": "north", "crew": 2, "callsign": "G-CLRM", "more": {"speed": "too slow"}});
        assert_eq!(lists::dealt(&situation), "G-CLRM, 2, north, speed too slow");
    }

    #[test]
    fn a_file_that_is_no_logbook_can_be_set_aside() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("logbook.sqlite");
        std::fs::write(
            &path,
            "a shopping list, long enough to be read as the head of a database file".repeat(20),
        )
        .unwrap();
        let refused = cableside(dir.path(), &["list"]).unwrap_err();
        assert!(
            refused.contains("set-aside") && refused.ends_with("logbook.sqlite"),
            "{refused}"
        );
        cableside(dir.path(), &["set-aside"]).unwrap();
        assert!(cableside(dir.path(), &["list"]).unwrap().contains("No attempts"));
        assert!(
            std::fs::read_to_string(dir.path().join("logbook.sqlite.set-aside-1"))
                .unwrap()
                .contains("shopping")
        );
    }

    #[test]
    fn a_healthy_logbook_is_set_aside_only_when_asked_twice() {
        let dir = tempfile::tempdir().unwrap();
        cableside(dir.path(), &["student", "add", "Mara Lind", "--consent", "no"]).unwrap();
        let refused = cableside(dir.path(), &["set-aside"]).unwrap_err();
        assert!(refused.contains("healthy") && refused.contains("--yes"), "{refused}");
        assert!(dir.path().join("logbook.sqlite").exists());
        cableside(dir.path(), &["set-aside", "--yes"]).unwrap();
        assert!(
            cableside(dir.path(), &["students"])
                .unwrap()
                .contains("No students yet")
        );
        let nothing = cableside(&dir.path().join("elsewhere"), &["set-aside"]).unwrap_err();
        assert!(nothing.contains("there is no logbook"), "{nothing}");
    }

    #[test]
    fn a_guardian_answers_where_one_must() {
        let dir = tempfile::tempdir().unwrap();
        let dir = dir.path();
        let alone = cableside(
            dir,
            &["student", "add", "Mara Lind", "--consent", "yes", "--needs-guardian"],
        )
        .unwrap_err();
        assert!(alone.contains("guardian has to answer"), "{alone}");
        cableside(dir, &["student", "add", "Mara Lind", "--consent", "yes"]).unwrap();
        let set = cableside(dir, &["student", "guardian", "Mara Lind", "yes"]).unwrap();
        assert!(set.contains("a guardian has to answer"), "{set}");
        let asked = cableside(dir, &["student", "consent", "Mara Lind", "yes", "--by", "her mother"]).unwrap();
        assert!(
            asked.contains("recordings allowed") && asked.contains("her mother"),
            "{asked}"
        );
    }

    #[test]
    fn days_are_off_until_they_are_set() {
        let dir = tempfile::tempdir().unwrap();
        let dir = dir.path();
        assert!(cableside(dir, &["keep"]).unwrap().contains("Recordings are kept until"));
        let set = cableside(dir, &["keep", "--recordings-days", "90"]).unwrap();
        assert!(set.contains("Recordings are removed after 90 days"), "{set}");
        cableside(dir, &["student", "add", "Mara Lind", "--consent", "yes"]).unwrap();
        let own = cableside(dir, &["student", "keep", "Mara Lind", "--attempts-days", "30"]).unwrap();
        assert!(own.contains("Attempts are removed after 30 days"), "{own}");
        let off = cableside(dir, &["keep", "--recordings-days", "0"]).unwrap();
        assert!(off.contains("Recordings are kept until"), "{off}");
        cableside(dir, &["keep", "--recordings-days", "40000"]).unwrap_err();
    }

    #[test]
    fn two_logbooks_are_merged_from_the_command_line() {
        let club = tempfile::tempdir().unwrap();
        let home = tempfile::tempdir().unwrap();
        cableside(club.path(), &["student", "add", "Mara Lind", "--consent", "yes"]).unwrap();
        cableside(home.path(), &["student", "add", "mara lind", "--consent", "no"]).unwrap();
        let other = club.path().join("logbook.sqlite");
        let other = other.to_str().unwrap();
        let merged = cableside(home.path(), &["merge", other]).unwrap();
        assert!(
            merged.contains("1 student") && merged.contains("Two students"),
            "{merged}"
        );
        let again = cableside(home.path(), &["merge", other]).unwrap();
        assert!(again.contains("Nothing new"), "{again}");
        let itself = home.path().join("logbook.sqlite");
        cableside(home.path(), &["merge", itself.to_str().unwrap()]).unwrap_err();
        cableside(home.path(), &["merge", "no such file"]).unwrap_err();
    }
}
