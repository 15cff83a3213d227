//! `cableside ear`: hear another pilot's ready call over the radio and say what was missing or wrong.
#![allow(clippy::print_stdout, reason = "a command's room prints")]

use super::Failure;
use super::common::{self, SiteChoice};
use super::kept::{Kept, Turn};
use crate::call::Outcome;
use crate::drill::ear::{Fault, deal_task};
use crate::logbook::{Done, Kind, RunKind};
use crate::sound::{Player, Radio};
use crate::voice::{Line, Role, Speaker};
use jiff::Timestamp;
use std::io::Write;
use std::process::ExitCode;
use std::time::Duration;

/// Hear another pilot's call and say what was the matter with it; half of the calls are right
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

/// Run the command.
pub fn run(args: &EarArgs) -> Result<ExitCode, Failure> {
    let site = args.site.load()?;
    let step = common::step(&site, "ready")?;
    let seed = args.seed.unwrap_or_else(common::any_seed);
    let mut random = common::random(seed);
    println!("{}\nSeed {seed}.", site.caution);
    let (speaker, player) = if args.shown {
        (None, None)
    } else {
        (Some(Speaker::open()?), Some(Player::open(args.output.clone())?))
    };
    let label = |e: &str| site.elements.get(e).map_or_else(|| e.to_owned(), |x| x.label.clone());
    let mut kept = args
        .student
        .as_ref()
        .map(|s| Kept::begin(s, RunKind::Ear, &site, None, seed, &serde_json::json!({})))
        .transpose()?;
    let mut before = None;
    let (mut right, mut asked) = (0, 0);
    for _ in 0..args.turns {
        let Some(task) = deal_task(&site, step, before.as_ref(), &mut random) else {
            return Err("the site has no glider, crew and cable to deal".into());
        };
        let s = &task.situation;
        let kind = site.aircraft(&s.callsign).map_or("", |a| a.kind.as_str());
        println!(
            "\nOn the board: glider {} ({kind}), crew {}, cable {}.",
            s.callsign, s.crew, s.cable
        );
        if let (Some(speaker), Some(player)) = (&speaker, &player) {
            let line = Line {
                text: task.text.clone(),
                clip: None,
                role: Role::Pilot,
                language: site.language,
            };
            let radio = Radio {
                hiss_dbfs: [-60.0, -42.0, -34.0, -28.0][usize::from(args.noise)],
                seed,
                ..Radio::default()
            };
            let samples = speaker.speak(line, Some(radio))?.samples;
            let length = Duration::from_secs_f64(samples.len() as f64 / f64::from(crate::sound::RATE));
            player.play(samples);
            std::thread::sleep(length);
        } else {
            println!("[{}] {}", step.speaker, task.text);
        }
        println!("What was the matter?  0 nothing");
        for (n, e) in task.choices.iter().enumerate() {
            println!("                      {} {}", n + 1, label(e));
        }
        let began = Timestamp::now();
        let choice = loop {
            print!("> ");
            std::io::stdout().flush()?;
            let Some(text) = common::line()? else {
                break None;
            };
            match text.trim().parse::<usize>() {
                Ok(0) => break Some(None),
                Ok(n) if n <= task.choices.len() => break Some(Some(task.choices[n - 1].as_str())),
                _ => println!("A number from 0 to {}, please.", task.choices.len()),
            }
        };
        let Some(choice) = choice else { break };
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
                evidence: serde_json::json!({"call": task.text, "choice": choice, "right": good}),
            });
            if let Err(e) = stored {
                println!("{e}\nThis answer is not in the logbook.");
            }
        }
        let truth = match &task.fault {
            None => "nothing was the matter".to_owned(),
            Some(Fault::Missing(e)) => format!("missing: {}", label(e)),
            Some(Fault::Other(e)) => format!("another value: {}", label(e)),
        };
        println!(
            "{}: {truth}. The call was: {}",
            if good { "Yes" } else { "No" },
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
