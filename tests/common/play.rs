//! Calls and whole launches typed instead of spoken.

use cableside::call::judge::{Limits, judge};
use cableside::call::{Evidence, Judgement, Situation, Vocabulary};
use cableside::drill::launch::Turned;
use cableside::drill::{Course, Did, Ending, Launch, Next, Want};
use cableside::site::Site;

/// The judgement of one typed call.
pub fn heard(site: &Site, situation: &Situation, step: &str, text: &str) -> Judgement {
    let step = site.step(step).unwrap();
    let evidence = Evidence::typed(&Vocabulary::of(site, step), text);
    judge(site, step, situation, &evidence, &Limits::DEFAULT)
}

/// A launch that came to its end.
pub struct Flown {
    pub launch: Launch,
    pub ending: Ending,
    /// What the student's turns wanted, one after the other.
    pub wanted: Vec<Want>,
}

/// A whole launch, of these steps only where some are named, in which the student does this in turn: words, "hand",
/// "signal NAME", or "" for nothing, and nothing behind the last of them.
pub fn fly(
    site: &Site,
    role: &str,
    situation: Situation,
    course: Course,
    steps: Option<&[String]>,
    turns: &[&str],
) -> Flown {
    let mut launch = Launch::new(site, role, situation, course, steps).unwrap();
    let mut turns = turns.iter();
    let mut wanted = Vec::new();
    loop {
        match launch.next(site) {
            Next::Say { .. } | Next::See(_) | Next::Hear(_) => {}
            Next::Ended(ending) => {
                return Flown { launch, ending, wanted };
            }
            Next::Listen { want, .. } => {
                wanted.push(want);
                match turns.next().copied() {
                    None | Some("") => launch.did(site, Did::Nothing),
                    Some("hand") => launch.did(site, Did::Hand),
                    Some(text) if text.starts_with("signal ") => launch.did(site, Did::Signal(&text[7..])),
                    Some(text) => {
                        let step = launch.judged_step(site).unwrap();
                        let evidence = Evidence::typed(&launch.vocabulary(site).unwrap(), text);
                        let turned = Turned::new(site, step, &launch.situation, &evidence);
                        launch.did(site, turned.did(false));
                    }
                }
            }
        }
    }
}
