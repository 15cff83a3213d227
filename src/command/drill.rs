//! `cableside drill`: ready calls in the terminal, spoken or typed.
#![allow(clippy::print_stdout, reason = "a command's room prints")]

use super::common::{self, SiteChoice};
use super::{Failure, show};
use crate::call::{Evidence, Judgement, Vocabulary, judge, judge::Limits};
use crate::drill::{Answer, Turn, TurnState, deal};
use crate::folders;
use crate::logbook::{self, Logbook, NewAttempt};
use crate::site::{Site, Step};
use std::io::{BufRead, Write};
use std::process::ExitCode;

/// Practise in the terminal
#[derive(Debug, clap::Args)]
pub struct DrillArgs {
    #[command(flatten)]
    site: SiteChoice,
    /// The step of the launch
    #[arg(long, default_value = "ready")]
    step: String,
    /// Turns to deal
    #[arg(long, default_value_t = 5)]
    turns: u32,
    /// Type the calls instead of speaking them
    #[arg(long)]
    typed: bool,
    /// The student, by name or id; without one the attempts are kept without a name
    #[arg(long)]
    student: Option<String>,
    /// Deal the same situations again
    #[arg(long)]
    seed: Option<u64>,
}

/// Run the command.
pub fn run(args: &DrillArgs) -> Result<ExitCode, Failure> {
    let site = common::load_site(&args.site.site, args.site.phrases.as_deref())?;
    let step = common::step(&site, &args.step)?;
    if !args.typed {
        return Err("spoken drills need the window for now (`cableside`); add --typed to type the calls here".into());
    }
    let mut logbook = open_logbook();
    let student = match (&args.student, &logbook) {
        (Some(name), Some(l)) => Some(l.find_student(name)?.id),
        (Some(_), None) => return Err("the logbook cannot be opened, so there are no students".into()),
        (None, _) => None,
    };
    println!("{}", site.caution);
    if site.invented {
        println!("{} is invented.", site.name);
    }
    let mut random = generator(args.seed);
    let mut before = None;
    let mut lines = std::io::stdin().lock().lines();
    for _ in 0..args.turns {
        let Some(situation) = deal(&site, before.as_ref(), &mut random) else {
            return Err("the site has no aircraft or no cable to deal".into());
        };
        before = Some(situation.clone());
        println!(
            "\nGlider {}, crew {}, cable {}.",
            situation.callsign, situation.crew, situation.cable
        );
        if let Some(p) = &step.prompt {
            println!("[{}] {}", p.role, p.text);
        }
        let mut turn = Turn::new(situation);
        let turn_id = uuid::Uuid::new_v4();
        while turn.state != TurnState::Done {
            turn.prompted();
            print!("Your call: ");
            std::io::stdout().flush()?;
            let Some(line) = lines.next() else {
                return Ok(ExitCode::SUCCESS);
            };
            turn.press();
            turn.release();
            let evidence = Evidence::typed(&Vocabulary::of(&site, step), &line?);
            let judgement = judge(&site, step, &turn.situation, &evidence, &Limits::DEFAULT);
            print!(
                "{}",
                show::judgement(&site, step, &turn.situation, &judgement, &evidence)
            );
            let answer = turn.judged(&site, step, &judgement);
            if let Some(l) = &mut logbook {
                let a = attempt(&site, step, &turn, turn_id, &judgement, &evidence);
                if let Err(e) = l.record(&NewAttempt { student, ..a }, jiff::Timestamp::now()) {
                    println!("This attempt was not recorded: {e}");
                }
            }
            match answer.line() {
                Some(l) => println!("[{}] {}", l.role, l.text),
                None => println!("[nobody answers; nothing moves]"),
            }
            if matches!(answer, Answer::Complete(_)) {
                println!("Attempts: {}.", turn.attempts);
            }
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn open_logbook() -> Option<Logbook> {
    match Logbook::open(&folders::logbook(), &folders::recordings()) {
        Ok(l) => {
            if let Some(notice) = l.read_only_notice() {
                println!("{notice}");
            }
            Some(l)
        }
        Err(e) => {
            println!("The logbook cannot be opened, so nothing is recorded: {e}");
            None
        }
    }
}

/// A typed attempt as the logbook keeps it.
fn attempt(
    site: &Site,
    step: &Step,
    turn: &Turn,
    turn_id: uuid::Uuid,
    j: &Judgement,
    evidence: &Evidence,
) -> NewAttempt {
    NewAttempt {
        id: uuid::Uuid::new_v4(),
        student: None,
        started_at: jiff::Timestamp::now(),
        utc_offset_seconds: jiff::tz::TimeZone::system().to_offset(jiff::Timestamp::now()).seconds(),
        site: site.id.clone(),
        site_version: site.version.clone(),
        step: step.id.clone(),
        situation: serde_json::to_value(&turn.situation).unwrap_or_default(),
        turn: turn_id,
        turn_attempt: turn.attempts,
        model: None,
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        outcome: logbook::outcome_of(j.outcome.word()),
        score: j.score.map(f64::from),
        timings: logbook::Timings::default(),
        transcript: evidence.transcript.clone(),
        evidence: serde_json::to_value(evidence).unwrap_or_default(),
        recording: None,
        held_out: false,
        elements: j
            .elements
            .iter()
            .map(|e| logbook::ElementVerdict {
                margin: e.margin.map(f64::from),
                ..logbook::ElementVerdict::new(
                    e.element.clone(),
                    logbook::verdict_of(e.verdict.word()),
                    e.heard.clone(),
                )
            })
            .collect(),
    }
}

/// Numbers for dealing: from the seed given, else from the clock. Only variety is wanted of them.
fn generator(seed: Option<u64>) -> impl FnMut() -> u32 {
    let mut state = seed.unwrap_or_else(|| jiff::Timestamp::now().as_nanosecond() as u64);
    move || {
        // SplitMix64 (Steele, Lea, Flood 2014).
        state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 32) as u32
    }
}
