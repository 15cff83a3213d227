//! Whole launches without sound: golden dialogues, and properties of thousands of random ones.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

mod dangers;
mod exchange;
mod random;
#[path = "../common/mod.rs"]
mod shared;

use cableside::call::{Evidence, Situation};
use cableside::drill::launch::Turned;
use cableside::drill::{Course, Ending, Launch, Next, Want};
use cableside::site::{Callsign, Site, bundled};
use shared::play::fly;

fn site(name: &str) -> Site {
    Site::check(&bundled::files(name).unwrap()).unwrap()
}

/// A launch of the site's first cable with two on board, in which the student does this in turn: see [`fly`].
fn played(site: &Site, role: &str, course: Course, steps: Option<&[String]>, turns: &[&str]) -> (Launch, Ending) {
    let callsign = if site.id == "larkmoor" { "G-CLRM" } else { "D-3862" };
    let cable = site.cables[0].id.clone();
    let situation = Situation::new(Callsign::parse(callsign).unwrap(), 2, cable);
    run_with(site, role, situation, course, steps, turns)
}

fn run_with(
    site: &Site,
    role: &str,
    situation: Situation,
    course: Course,
    steps: Option<&[String]>,
    turns: &[&str],
) -> (Launch, Ending) {
    let flown = fly(site, role, situation, course, steps, turns);
    (flown.launch, flown.ending)
}

fn steps(names: &[&str]) -> Vec<String> {
    names.iter().map(|s| (*s).to_owned()).collect()
}

const READY: &str = "Winch, Golf Charlie Lima Romeo Mike, two up, north winch cable, ready";

const BRIEFING: &str = "minimum speed fifty-five knots, hand on the release, if a wing drops I release at once, failure low down, nose down, get the speed, land ahead, failure higher up, nose down, get the speed, short circuit to the left, wind light straight down the field, landing on the main strip";

/// Until the student's turn; true if it came, false if the run ended before.
fn to_my_turn(site: &Site, launch: &mut Launch) -> Option<Want> {
    loop {
        match launch.next(site) {
            Next::Listen { want, .. } => return Some(want),
            Next::Ended(_) => return None,
            _ => {}
        }
    }
}

fn turned(site: &Site, launch: &Launch, text: &str) -> Turned {
    let step = launch.judged_step(site).unwrap();
    let evidence = Evidence::typed(&launch.vocabulary(site).unwrap(), text);
    Turned::new(site, step, &launch.situation, &evidence)
}
