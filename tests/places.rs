//! Where in the sound: calls joined from single spoken parts, so that the place of each part is known.
//!
//! The parts are spoken by the program's own synthesiser (pitch and pace differ by role); nobody else's clips are needed.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "tests"
)]

mod common;

use cableside::call::{Place, Situation, Vocabulary, judge, judge::Limits};
use cableside::hear::{LatticeRecogniser, Recogniser, delivery};
use cableside::site::{Callsign, Site};
use cableside::sound::{Clip, RATE};
use cableside::voice::{Language, Line, Role, Speaker};
use common::model;
use std::path::Path;
use std::sync::atomic::AtomicBool;

fn part(speaker: &Speaker, role: Role, text: &str) -> Vec<f32> {
    let line = Line {
        text: text.to_owned(),
        clip: None,
        role,
        language: Language::ENGLISH,
    };
    let sound = speaker.speak(line, None).unwrap().samples;
    let sounding = delivery::stretches(&sound);
    let at = |s: f32| (s * RATE as f32) as usize;
    sound[at(sounding[0].begin)..at(sounding.last().unwrap().end).min(sound.len())].to_vec()
}

/// What is dealt, and the parts that are spoken: element and words.
type Call = (&'static str, u8, &'static str, &'static [(&'static str, &'static str)]);

/// One call: parts with their elements, parted by breaks.
fn joined(
    speaker: &Speaker,
    role: Role,
    parts: &[(&'static str, &str)],
    gap: f32,
) -> (Clip, Vec<(&'static str, Place)>) {
    let quiet = |seconds: f32| vec![0.0; (seconds * RATE as f32) as usize];
    let mut samples = quiet(0.4);
    let mut places = Vec::new();
    for (element, text) in parts {
        let sound = part(speaker, role, text);
        let begin = samples.len() as f32 / RATE as f32;
        samples.extend(sound);
        places.push((
            *element,
            Place {
                begin,
                end: samples.len() as f32 / RATE as f32,
            },
        ));
        samples.extend(quiet(gap));
    }
    samples.extend(quiet(0.4));
    // A little noise: dead silence between the parts would make it easier than a room does.
    let mut state = 1u32;
    for s in &mut samples {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        *s += (state as f32 / u32::MAX as f32 - 0.5) * 0.002;
    }
    (Clip::from_samples(samples), places)
}

/// Begin and end of what was heard lie close to where it was put; half of them within 0.1 s, nine of ten within 0.25 s.
/// With a break of 60 ms no pause helps, only attention.
#[test]
fn elements_are_found_where_they_were_put() {
    let site = Site::check(&cableside::folders::read_site(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases/larkmoor"),
    ))
    .unwrap();
    let step = site.step("ready").unwrap();
    let vocabulary = Vocabulary::of(&site, step);
    let speaker = Speaker::open().unwrap();
    let mut recogniser = LatticeRecogniser::load(&model(), 2).unwrap();
    let calls: [Call; 4] = [
        (
            "G-CLRM",
            2,
            "north",
            &[
                ("address", "Winch,"),
                ("callsign", "Golf Charlie Lima Romeo Mike,"),
                ("crew", "two up,"),
                ("cable", "north"),
                ("method", "winch cable,"),
                ("ready", "ready."),
            ],
        ),
        (
            "D-4761",
            1,
            "south",
            &[
                ("address", "Winch,"),
                ("callsign", "Delta four seven six one,"),
                ("crew", "solo,"),
                ("cable", "south"),
                ("method", "winch cable,"),
                ("ready", "ready."),
            ],
        ),
        // The crew is not said: nothing may be drawn for it.
        (
            "D-2058",
            1,
            "south",
            &[
                ("address", "Winch,"),
                ("callsign", "Delta two zero five eight,"),
                ("cable", "south"),
                ("method", "winch cable,"),
                ("ready", "ready."),
            ],
        ),
        (
            "G-DHPT",
            1,
            "north",
            &[
                ("ready", "Ready,"),
                ("callsign", "Golf Delta Hotel Papa Tango,"),
                ("crew", "solo,"),
                ("cable", "north"),
                ("method", "winch cable."),
            ],
        ),
    ];
    let mut errors = Vec::new();
    let (mut parts, mut known) = (0, 0);
    for (callsign, crew, cable, words) in calls {
        for role in [Role::Pilot, Role::Instructor, Role::LaunchPoint] {
            for gap in [0.06, 0.3] {
                let (clip, truth) = joined(&speaker, role, words, gap);
                let evidence = recogniser.hear(&clip, &vocabulary, &AtomicBool::new(false)).unwrap();
                let situation = Situation::new(Callsign::parse(callsign).unwrap(), crew, cable.to_owned());
                let judgement = judge(&site, step, &situation, &evidence, &Limits::DEFAULT);
                for e in &judgement.elements {
                    let spoken = truth.iter().find(|(t, _)| *t == e.element);
                    if spoken.is_none() {
                        assert!(e.place.is_none(), "{} was not said and has a place", e.element);
                    }
                    let Some((_, truth)) = spoken else { continue };
                    parts += 1;
                    if let Some(p) = e.place {
                        known += 1;
                        let (begin, end) = (p.begin - truth.begin, p.end - truth.end);
                        if begin.abs().max(end.abs()) > 0.25 {
                            println!("{callsign} {role:?} {gap}: {} off by {begin:+.2} {end:+.2}", e.element);
                        }
                        errors.push(begin.abs());
                        errors.push(end.abs());
                    }
                }
            }
        }
    }
    errors.sort_by(f32::total_cmp);
    let at = |share: usize| errors[errors.len() * share / 100];
    println!(
        "{known} of {parts} parts have a place; error of begin and end: median {:.3} s, nine of ten {:.3} s, greatest {:.3} s",
        at(50),
        at(90),
        errors.last().unwrap()
    );
    assert!(known * 10 >= parts * 7, "{known} of {parts}");
    assert!(at(50) < 0.1 && at(90) < 0.25);
}
