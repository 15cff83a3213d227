//! `cableside demo`: one complete ready-call drill in the terminal, from a bundled recording through the real recogniser.
#![allow(clippy::print_stdout, reason = "a command's room prints")]

use super::common::{self, ModelChoice};
use super::{Failure, show};
use crate::call::{Evidence, Outcome, Situation, Vocabulary, judge, judge::Limits};
use crate::drill::{Answer, Turn};
use crate::hear::Recogniser;
use crate::site::{Callsign, Site, bundled};
use std::process::ExitCode;
use std::sync::atomic::AtomicBool;

/// Play one ready-call drill from a bundled recording, without microphone or window
#[derive(Debug, clap::Args)]
pub struct DemoArgs {
    #[command(flatten)]
    model: ModelChoice,
}

/// The recording: made for the project with a synthetic voice, as `audio-fixtures/README.md` says. The crew is missing.
const RECORDING: &[u8] = include_bytes!("../../audio-fixtures/clips/demo_missing_crew.flac");

/// Run the command.
pub fn run(args: &DemoArgs) -> Result<ExitCode, Failure> {
    // The program's own copy: the recording fits it, whatever a club has made of its folder.
    let files = bundled::files("larkmoor").ok_or("the site larkmoor is not in the program")?;
    let site = Site::check(&files)?;
    let step = common::step(&site, "ready")?;
    let situation = Situation::new(Callsign::parse("G-CLRM")?, 2, "north".to_owned());
    println!("{}: {}", site.name, site.about);
    println!("{}", site.caution);
    println!();
    println!(
        "Your situation: glider {}, crew {}, cable {}.",
        situation.callsign, situation.crew, situation.cable
    );
    let mut turn = Turn::new(situation);
    if let Some(prompt) = &step.prompt {
        println!("[{}] {}", prompt.role, prompt.text);
    }
    turn.prompted();
    turn.press();
    let clip = crate::sound::read_clip_bytes(RECORDING, "demo_missing_crew.flac")?;
    println!("(transmitting: a bundled recording of {:.1} s)", clip.seconds());
    turn.release();
    println!("(judging)");
    let mut recogniser = args.model.load()?;
    let vocabulary = Vocabulary::of(&site, step);
    let evidence = recogniser.hear(&clip, &vocabulary, &AtomicBool::new(false))?;
    let judgement = judge(&site, step, &turn.situation, &evidence, &Limits::DEFAULT);
    print!(
        "{}",
        show::judgement(&site, step, &turn.situation, &judgement, &evidence)
    );
    let answer = turn.judged(&site, step, &judgement);
    println!("{}", show::answer(&answer, step));
    if let Answer::Ask { element, .. } = &answer {
        supply(&site, &mut turn, element)?;
    }
    Ok(if judgement.outcome == Outcome::NothingHeard {
        ExitCode::FAILURE
    } else {
        ExitCode::SUCCESS
    })
}

/// The second transmission is typed: a student who cannot speak just now does the same.
fn supply(site: &Site, turn: &mut Turn, element: &str) -> Result<(), Failure> {
    let step = common::step(site, "ready")?;
    let values = turn.situation.values(site, step);
    let text = values
        .get(element)
        .and_then(|v| site.taught_words(element, v))
        .unwrap_or_default();
    println!("(typed answer: {text})");
    turn.prompted();
    turn.press();
    turn.release();
    let evidence = Evidence::typed(&Vocabulary::of(site, step), &text);
    let judgement = judge(site, step, &turn.situation, &evidence, &Limits::DEFAULT);
    let answer = turn.judged(site, step, &judgement);
    println!("{}", show::answer(&answer, step));
    let first = turn.first_time == Some(true);
    println!(
        "The call took {} attempts; first-time pass: {}.",
        turn.attempts,
        if first { "yes" } else { "no" }
    );
    Ok(())
}
