//! `cableside ear`: hear another pilot's ready call over the radio and say what was missing or wrong, who called, which cable.
#![allow(clippy::print_stdout, reason = "a command's room prints")]

mod log;

use super::Failure;
use super::common::{self, SiteChoice};
use super::kept::{Kept, Turn};
use crate::call::Outcome;
use crate::drill::ear::{Difficulty, Question, Task, deal_question};
use crate::logbook::{Done, Kind, RunKind};
use crate::site::{Site, Step};
use crate::sound::{Player, RATE, Radio};
use crate::voice::{Line, Role, Speaker};
use jiff::Timestamp;
use std::io::Write;
use std::process::ExitCode;
use std::time::Duration;

/// Hear another pilot's call and say what was wrong with it; half of the calls are right
#[derive(Debug, clap::Args)]
pub struct EarArgs {
    #[command(flatten)]
    site: SiteChoice,
    /// Calls to hear
    #[arg(long, default_value_t = 5)]
    turns: u32,
    /// The student, by name or id: the answers go into the logbook
    #[arg(long)]
    student: Option<String>,
    /// Hiss on the radio, 0 (little) to 3 (much)
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u8).range(0..=3))]
    noise: u8,
    /// The beginning of the calls is cut off, as by a carrier that came late
    #[arg(long)]
    clipped: bool,
    /// Ask only this
    #[arg(long, value_enum)]
    ask: Option<Ask>,
    /// Keep the log instead: launches are heard, and time, glider, crew and cable of each are written down
    #[arg(long, conflicts_with_all = ["ask", "clipped"])]
    log: bool,
    /// Start of the random numbers: the same gives the same calls
    #[arg(long)]
    seed: Option<u64>,
    /// The loudspeaker by name (`cableside sound devices` lists them)
    #[arg(long, value_name = "NAME")]
    output: Option<String>,
    /// Show the calls as text instead of speaking them
    #[arg(long)]
    shown: bool,
}

/// What is asked about a call.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Ask {
    /// What was wrong with it
    Matter,
    /// Which cable was named
    Cable,
    /// How many are on board
    Crew,
    /// Who called
    Callsign,
}

impl Ask {
    fn question(self) -> Question {
        match self {
            Self::Matter => Question::Matter,
            Self::Cable => Question::Cable,
            Self::Crew => Question::Crew,
            Self::Callsign => Question::Callsign,
        }
    }
}

/// What makes the calls heard; without loudspeaker they are shown.
struct Ear {
    sound: Option<(Speaker, Player)>,
    difficulty: Difficulty,
    seed: u64,
}

impl Ear {
    /// Play a line and wait for its end.
    fn play(&self, site: &Site, role: &str, text: &str, radio: bool, number: u32) -> Result<(), Failure> {
        let Some((speaker, player)) = &self.sound else {
            return Ok(());
        };
        let role = match Role::of(role) {
            // Not always the same voice.
            Role::Pilot if number % 2 == 1 => Role::OtherPilot,
            other => other,
        };
        let line = Line {
            text: text.to_owned(),
            clip: None,
            role,
            language: site.language,
        };
        let radio = radio.then(|| Radio {
            hiss_dbfs: self.difficulty.hiss_dbfs(),
            seed: self.seed,
            ..Radio::default()
        });
        let samples = self.difficulty.clip_start(speaker.speak(line, radio)?.samples, RATE);
        let length = Duration::from_secs_f64(samples.len() as f64 / f64::from(RATE));
        player.play(samples);
        std::thread::sleep(length);
        Ok(())
    }
}

/// Run the command.
pub fn run(args: &EarArgs) -> Result<ExitCode, Failure> {
    let site = args.site.load()?;
    let step = common::step(&site, "ready")?;
    let seed = args.seed.unwrap_or_else(common::any_seed);
    let mut random = common::random(seed);
    println!("{}", site.caution);
    let sound = if args.shown {
        None
    } else {
        Some((Speaker::open()?, Player::open(args.output.clone())?))
    };
    let mut kept = args
        .student
        .as_ref()
        .map(|s| Kept::begin(s, RunKind::Ear, &site, None, seed, &serde_json::json!({})))
        .transpose()?;
    let ear = Ear {
        sound,
        difficulty: Difficulty {
            hiss: args.noise,
            clipped: args.clipped,
        },
        seed,
    };
    if args.log {
        return log::run(args, &site, &ear, kept, seed);
    }
    let mut before = None;
    let (mut right, mut asked) = (0, 0);
    for number in 0..args.turns {
        let Some(task) = deal_question(&site, step, before.as_ref(), args.ask.map(Ask::question), &mut random) else {
            return Err("the site has no glider, crew and cable to deal".into());
        };
        println!();
        if task.question == Question::Matter {
            show_board(&site, step, &task);
        }
        ear.play(&site, "pilot", &task.text, true, number)?;
        if args.shown {
            println!("[{}] {}", site.role_name(&step.speaker), task.text);
        }
        ask(&site, &task);
        let began = Timestamp::now();
        let Some(number) = number_chosen(&task)? else { break };
        let choice = number.checked_sub(1).map(|n| task.choices[n].as_str());
        asked += 1;
        let good = task.answered(choice);
        right += u32::from(good);
        if let Some(kept) = &mut kept {
            kept.dealt(&task.situation)?;
            let stored = kept.turn(Turn {
                step: &step.id,
                kind: Kind::Ear,
                done: Done::Chose,
                outcome: if good { Outcome::Pass } else { Outcome::NotYet },
                began,
                call: None,
                evidence: serde_json::json!({"call": task.text, "question": task.question, "choice": choice, "right": good}),
            });
            if let Err(e) = stored {
                println!("{e}\nThis answer is not in the logbook yet.");
            }
        }
        println!(
            "{}: {}. {}: {}",
            if good { "Yes" } else { "No" },
            task.shown(&site, task.right.as_deref()),
            task.truth(&site),
            task.text
        );
        before = Some(task.situation.clone());
    }
    if let Some(kept) = &mut kept {
        let ending = (asked == args.turns).then_some("complete");
        kept.end(ending, &serde_json::json!({"asked": asked, "right": right}))?;
    }
    println!("\n{right} of {asked} right.");
    Ok(ExitCode::SUCCESS)
}

/// What is known of the launch before the call.
fn show_board(site: &Site, step: &Step, task: &Task) {
    let s = &task.situation;
    let kind = site.about_glider(&s.callsign);
    println!(
        "On the board: glider {} ({kind}), crew {}, {}.",
        s.callsign,
        s.crew,
        site.cable_called(&s.cable)
    );
    for known in s.known(site, step) {
        println!("({known})");
    }
}

fn ask(site: &Site, task: &Task) {
    println!("{}  0 {}", task.question.text(site), task.shown(site, None));
    for (n, choice) in task.choices.iter().enumerate() {
        println!("                      {} {}", n + 1, task.shown(site, Some(choice)));
    }
}

/// The number of the answer: 0 is none of them. `None` at the end of the input.
fn number_chosen(task: &Task) -> Result<Option<usize>, Failure> {
    loop {
        print!("> ");
        std::io::stdout().flush()?;
        let Some(text) = common::line()? else {
            return Ok(None);
        };
        match text.trim().parse::<usize>() {
            Ok(n) if n <= task.choices.len() => return Ok(Some(n)),
            _ => println!("A number from 0 to {}, please.", task.choices.len()),
        }
    }
}
