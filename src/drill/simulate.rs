//! Whole launches with random students: does every run end, are stop and release obeyed in any state?

use super::deal::{another_value, below, course, deal};
use super::launch::{Did, Launch, Next, Pace, Want, roles};
use super::record::Ending;
use crate::call::{Judgement, Reason, Situation, Verdict};
use crate::site::{By, Interruption, Interrupts, Purpose, Site, Step};
use std::collections::BTreeMap;

/// Actions after which a run is called endless; the longest launch of the sites that ship takes about a hundred.
const ENDLESS: usize = 1000;

/// What was reached.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Tally {
    /// Runs made.
    pub runs: usize,
    /// Runs by ending.
    pub endings: BTreeMap<Ending, usize>,
    /// The student's turns by step and what they wanted.
    pub turns: BTreeMap<(String, Want), usize>,
    /// Runs in which something out of the ordinary came about, by what it was.
    pub events: BTreeMap<String, usize>,
    /// Runs by the student's role.
    pub roles: BTreeMap<String, usize>,
    /// Most turns in one run.
    pub longest: usize,
    /// Runs that did not end, with what they were; empty when all is well.
    pub dead_ends: Vec<String>,
}

/// Everything out of the ordinary that the site's files have, as [`Launch::happened`] names it.
pub fn events(site: &Site) -> Vec<String> {
    let named = |kind: &'static str, id: &String| format!("{kind} {id}");
    let mut all: Vec<String> = site.hazards.iter().map(|h| named("hazard", &h.id)).collect();
    all.extend(site.failures.iter().map(|f| named("failure", &f.id)));
    all.extend(site.halts.iter().map(|h| named("halt", &h.id)));
    if site.has_backup() {
        all.push("radio dead".to_owned());
    }
    let Some(launch) = &site.launch else { return all };
    if launch.refusal.is_some() {
        all.push("refusal".to_owned());
    }
    let steps: Vec<&Step> = launch.order.iter().filter_map(|id| site.step(id)).collect();
    // A ready call on the radio to a winch that reads it back can be left without an answer.
    let ready = site.ready_step().filter(|r| r.by == By::Radio);
    let read_back = |r: &&Step| steps.iter().any(|s| s.readback_of.as_ref() == Some(&r.id));
    if ready.as_ref().is_some_and(read_back) {
        all.push("unanswered".to_owned());
    }
    let misread = site.customs.readback_by_winch.iter();
    all.extend(misread.map(|e| named("misread", e)));
    let other_link = |e: &crate::site::Element| e.values.len() > 1;
    let held_up = steps.iter().any(|s| Launch::held_up(site, s).is_some());
    if held_up && site.element_for(Purpose::Link).is_some_and(other_link) {
        all.push("link another".to_owned());
    }
    // What is on the frequency comes before calls that are made there.
    let at = |i: &Interruption, step: &&&Step| i.during.is_empty() || i.during.contains(&step.id);
    let fits = |i: &&Interruption| {
        let mut there = steps.iter().filter(|s| at(i, s));
        there.any(|s| i.kind != Interrupts::Traffic || s.by == By::Radio)
    };
    let interruptions = site.interruptions.iter().filter(fits);
    all.extend(interruptions.map(|i| named("interruption", &i.id)));
    all
}

/// Make runs of a site that describes a whole launch. The same random numbers give the same runs.
pub fn simulate(site: &Site, runs: usize, random: &mut impl FnMut() -> u32) -> Tally {
    let mut tally = Tally::default();
    let roles = roles(site);
    for _ in 0..runs {
        let Some(situation) = deal(site, None, random) else {
            break;
        };
        let Some(role) = roles.get(below(roles.len(), random)) else {
            break;
        };
        let pace = Pace::ALL[below(3, random)];
        let course = course(site, &situation, pace, random);
        let Some(mut launch) = Launch::new(site, role, situation, course, None) else {
            break;
        };
        tally.runs += 1;
        *tally.roles.entry(role.clone()).or_default() += 1;
        // One student in three is a beginner.
        let skill = [75, 75, 25][below(3, random)];
        let mut turns = 0;
        let mut ended = false;
        for _ in 0..ENDLESS {
            match launch.next(site) {
                Next::Say { radio, .. } => {
                    // Now and then the student does something while others speak.
                    if below(40, random) == 0 {
                        cut_in(site, &mut launch, radio, random);
                    }
                }
                Next::See(_) | Next::Hear(_) => {}
                Next::Listen { step, want } => {
                    turns += 1;
                    *tally.turns.entry((step, want)).or_default() += 1;
                    act(site, &mut launch, want, skill, random);
                }
                Next::Ended(ending) => {
                    *tally.endings.entry(ending).or_default() += 1;
                    ended = true;
                    break;
                }
            }
        }
        tally.longest = tally.longest.max(turns);
        for event in launch.happened() {
            *tally.events.entry(event.clone()).or_default() += 1;
        }
        if !ended {
            tally
                .dead_ends
                .push(format!("{role}, {:?}: {:?}", launch.situation, launch.record().last()));
        }
    }
    tally
}

/// A student: right in `skill` of 100 turns, now and then anything.
fn act(site: &Site, launch: &mut Launch, want: Want, skill: usize, random: &mut impl FnMut() -> u32) {
    let Some(step) = launch.judged_step(site).or_else(|| launch.step(site)) else {
        launch.did(site, Did::Nothing);
        return;
    };
    let whim = below(100, random);
    let good = whim < skill;
    if want == Want::Signal {
        let right = launch
            .step(site)
            .and_then(|s| launch.signal_of(s).cloned())
            .filter(|_| good);
        let any = || site.signals.get(whim % site.signals.len().max(1)).map(|s| s.id.clone());
        return match right.or_else(any) {
            Some(id) if whim < 94 => launch.did(site, Did::Signal(&id)),
            // Somebody speaks where nobody hears it.
            Some(_) if whim < 97 => {
                launch.did(site, called(&random_call(site, step, &launch.situation, false, random)));
            }
            _ => launch.did(site, Did::Nothing),
        };
    }
    if matches!(want, Want::Release) && good {
        return launch.did(site, Did::Hand);
    }
    if want == Want::Halt && good {
        let did = if launch.has_a_hand(site) {
            Did::Hand
        } else {
            Did::Nothing
        };
        return launch.did(site, did);
    }
    let hand = [super::launch::PILOT, super::launch::WINCH_DRIVER].contains(&launch.role.as_str());
    if matches!(want, Want::Hazard | Want::Failure) && good {
        if hand {
            return launch.did(site, Did::Hand);
        }
        let judgement = random_call(site, step, &launch.situation, true, random);
        return launch.did(site, called(&judgement));
    }
    if matches!(want, Want::Readback) && below(2, random) == 0 {
        return launch.did(site, Did::Nothing);
    }
    match whim {
        _ if good => {
            let judgement = random_call(site, step, &launch.situation, true, random);
            launch.did(site, called(&judgement));
        }
        // Who is afraid of a mistake says nothing.
        85..90 if want == Want::Hazard => launch.did(site, Did::Nothing),
        0..90 => {
            let judgement = random_call(site, step, &launch.situation, false, random);
            launch.did(site, called(&judgement));
        }
        90..94 => launch.did(site, Did::Nothing),
        94..96 if want == Want::Hazard => {
            let judgement = random_call(site, step, &launch.situation, false, random);
            launch.did(
                site,
                Did::Called {
                    judgement: &judgement,
                    words: "",
                    negative: false,
                    refused: true,
                    over: false,
                },
            );
        }
        94..97 => launch.did(site, Did::Hand),
        _ => {
            let mut judgement = random_call(site, step, &launch.situation, false, random);
            judgement.stop = true;
            launch.did(site, called(&judgement));
        }
    }
}

/// Something in the middle of somebody else's words: the hand, a stop, or a call.
fn cut_in(site: &Site, launch: &mut Launch, radio: bool, random: &mut impl FnMut() -> u32) {
    let Some(step) = launch.judged_step(site) else { return };
    let mut judgement = random_call(site, step, &launch.situation, false, random);
    match below(3, random) {
        0 => launch.cut_in(site, Did::Hand, radio),
        n => {
            judgement.stop = n == 1;
            launch.cut_in(site, called(&judgement), radio);
        }
    }
}

fn called(judgement: &Judgement) -> Did<'_> {
    Did::Called {
        judgement,
        words: "",
        negative: false,
        refused: false,
        over: false,
    }
}

/// A call with every verdict `said`, or with random ones.
pub fn random_call(
    site: &Site,
    step: &Step,
    situation: &Situation,
    right: bool,
    random: &mut impl FnMut() -> u32,
) -> Judgement {
    Judgement::of_verdicts(site, step, situation, |element| {
        if right {
            return (Verdict::Said, None, Reason::Unheard);
        }
        match below(6, random) {
            0 => (Verdict::Missing, None, Reason::Unheard),
            1 => (Verdict::Unsure, None, Reason::Unheard),
            2 if below(8, random) == 0 => {
                let heard = String::new();
                (Verdict::Wrong, None, Reason::Denied { heard })
            }
            2 => match another_value(site, situation, element, random) {
                Some(other) => (Verdict::Wrong, Some(other), Reason::Unheard),
                None => (Verdict::Missing, None, Reason::Unheard),
            },
            _ => (Verdict::Said, None, Reason::Unheard),
        }
    })
}
