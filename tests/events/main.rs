//! What comes over a launch from outside, at the sites that say what is done then: a dead radio, somebody else's stop, a new launch
//! direction, a second cable that still lies out; and a cable called "right".

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

mod cables;
mod radio;
#[path = "../common/mod.rs"]
mod shared;

use cableside::call::{Evidence, Outcome, Situation, Verdict};
use cableside::command::common;
use cableside::drill::launch::Turned;
use cableside::drill::simulate::{events, simulate};
use cableside::drill::{Course, Did, Ending, Launch, Next, Note, Want, debrief};
use cableside::site::{Callsign, Purpose, Site, bundled};
use shared::play::{fly, heard};

fn site(name: &str) -> Site {
    Site::check(&bundled::files(name).unwrap()).unwrap_or_else(|p| panic!("{p}"))
}

fn glider(registration: &str, crew: u8, cable: &str) -> Situation {
    Situation::new(Callsign::parse(registration).unwrap(), crew, cable)
}

/// What is told of a launch from a step on, in which the student does this in turn (see [`fly`]), how it ended, and what was wanted.
fn played(
    site: &Site,
    role: &str,
    situation: Situation,
    course: Course,
    from: Option<&str>,
    turns: &[&str],
) -> (String, Ending, Vec<Want>) {
    let order = &site.launch.as_ref().unwrap().order;
    let only: Option<Vec<String>> = from.map(|id| {
        let at = order.iter().position(|o| o == id).unwrap();
        let sometimes = &site.launch.as_ref().unwrap().sometimes;
        order[at..].iter().filter(|o| !sometimes.contains(o)).cloned().collect()
    });
    let flown = fly(site, role, situation, course, only.as_deref(), turns);
    (debrief::text(site, &flown.launch, &[]), flown.ending, flown.wanted)
}

const READY: &str = "Red winch, Heron, two up, middle, ready";

/// A launch at Brackmere from the open hook on, with a ball on the field during "take up".
fn halted(site: &Site, role: &str, turns: &[&str]) -> (String, Ending, Vec<Want>) {
    let course = Course {
        halt: Some(("ball".to_owned(), "take up".to_owned())),
        ..Course::default()
    };
    played(site, role, glider("G-BMHN", 2, "middle"), course, Some("open"), turns)
}

/// Somebody else calls stop: the hand first, where there is one; then everything is done again from the hook.
#[test]
fn after_somebodys_stop_everything_is_done_again() {
    let site = site("brackmere");
    let say = |note: Note| note.text(site.language);
    let again = ["hand", "hook open", "hook closed", READY, "", "hand", "hand"];
    let first = ["hand", "hook open", "hook closed", READY, ""];
    let turns = |stop: &[&'static str]| [&first[..], stop, &again[..]].concat();
    let (text, ending, wanted) = halted(&site, "pilot", &turns(&["hand"]));
    assert_eq!(ending, Ending::Complete, "{text}");
    assert!(wanted.contains(&Want::Halt), "{wanted:?}");
    assert!(text.contains("Stop, stop! Child on the field!"), "{text}");
    assert!(text.contains("The child is back behind the rope"), "{text}");
    assert!(text.contains(&say(Note::HandFirst)), "{text}");
    assert_eq!(text.matches("Hook closed.").count(), 2, "hooked on twice: {text}");
    // Words, or nothing: the hand is wanted once more, and noted. Nothing of it ends the launch.
    for late in [&["", "hand"][..], &["stop", "hand"], &["", ""]] {
        let (text, ending, _) = halted(&site, "pilot", &turns(late));
        assert_eq!(ending, Ending::Complete, "{late:?}: {text}");
        assert!(text.contains(&say(Note::HaltWithoutHand)), "{text}");
    }
}

/// Who has nothing in the hand keeps still, or passes it on; nobody calls on.
#[test]
fn a_stop_is_passed_on_by_whoever_has_nothing_in_the_hand() {
    let site = site("brackmere");
    let say = |note: Note| note.text(site.language);
    let rest = [
        "hook open",
        "hook closed",
        "clear above, clear ahead, clear behind",
        "middle, take up slack",
        "all out",
    ];
    let first = &rest[..3];
    for (stop, note) in [
        (&[""][..], None),
        (&["stop stop"], Some(Note::HaltPassedOn)),
        (&["signal bats up"], Some(Note::HaltPassedOn)),
        (&["middle, take up slack", ""], Some(Note::CalledOverHalt)),
    ] {
        let all = [first, stop, &rest[..]].concat();
        let (text, ending, _) = halted(&site, "wing runner", &all);
        assert_eq!(ending, Ending::Complete, "{stop:?}: {text}");
        for known in [Note::HaltPassedOn, Note::CalledOverHalt, Note::HaltWithoutHand] {
            assert_eq!(
                text.contains(&say(known)),
                note == Some(known),
                "{stop:?} {known:?}: {text}"
            );
        }
    }
    let on = [first, &["middle, take up slack"; 3][..]].concat();
    assert_eq!(halted(&site, "wing runner", &on).1, Ending::BrokenOff);
}

/// Before hooking on is over the pilot's hand has nothing to stop.
#[test]
fn before_hooking_on_the_hand_stops_nothing() {
    let german = site("haselrain");
    let early = Course {
        halt: Some(("Kind".to_owned(), "fertig".to_owned())),
        ..Course::default()
    };
    let (text, ending, _) = played(
        &german,
        "controller",
        glider("D-6318", 2, "hang"),
        early,
        Some("fertig"),
        &[
            "",
            "Winde, Lima fünf, doppelsitzig, Seil Hang, startbereit",
            "",
            "signal anziehen",
            "signal ab",
        ],
    );
    assert_eq!(ending, Ending::Complete, "{text}");
}

/// Everything that these sites have comes about in launches with random students, and each of them ends.
#[test]
fn everything_comes_about() {
    for name in ["brackmere", "haselrain"] {
        let site = site(name);
        let tally = simulate(&site, 10_000, &mut common::random(3));
        assert_eq!(tally.dead_ends, Vec::<String>::new(), "{name}");
        for event in events(&site) {
            assert!(tally.events.contains_key(&event), "{name}: {event}");
        }
        for want in [Want::Halt, Want::Signal] {
            assert!(tally.turns.keys().any(|(_, w)| *w == want), "{name}: {want:?}");
        }
    }
}

fn problems(changes: &[(&str, &str, &str)]) -> Vec<String> {
    let mut files = bundled::files("brackmere").unwrap();
    for (file, old, new) in changes {
        let text = files.texts.get_mut(*file).unwrap();
        assert!(text.contains(old), "{file} does not hold {old}");
        *text = text.replacen(old, new, 1);
    }
    let found = match Site::check(&files) {
        Ok(site) => site.notices,
        Err(problems) => problems.list,
    };
    found.into_iter().map(|p| format!("{} {}", p.wrong, p.right)).collect()
}

/// What would train something wrong, or nothing, is told by the checker.
#[test]
fn the_checker_knows_of_it() {
    assert_eq!(problems(&[]), Vec::<String>::new());
    for (file, old, new, told) in [
        ("steps.toml", "backup = \"bat low\"", "backup = \"bat\"", "\"bat\""),
        ("site.toml", "stops = true", "stops = false", "none of them stops it"),
        (
            "steps.toml",
            "by = \"voice\"\nelements = [\"clear\"]",
            "by = \"voice\"\nbackup = \"bat low\"\nelements = [\"clear\"]",
            "\"backup\" has no effect yet",
        ),
        (
            "steps.toml",
            "again = \"open\"",
            "again = \"ready\"",
            "the cable is off",
        ),
        ("steps.toml", "again = \"open\"", "again = \"nowhere\"", "nowhere"),
        (
            "steps.toml",
            "during = [\"look-out\", \"ready\", \"take up\", \"slack\"]\ncalled",
            "during = [\"link\"]\ncalled",
            "would go on behind",
        ),
        (
            "steps.toml",
            "during = [\"look-out\", \"ready\", \"take up\", \"slack\"]\ncalled",
            "during = [\"retrieve\"]\ncalled",
            "behind the release",
        ),
        (
            "steps.toml",
            "during = [\"look-out\", \"ready\", \"take up\", \"slack\"]\ncalled",
            "during = []\ncalled",
            "never happens",
        ),
        (
            "briefing.toml",
            "directions = [\"inland\"]",
            "directions = [\"island\"]",
            "no direction \"island\"",
        ),
        (
            "briefing.toml",
            "directions = [\"inland\"]",
            "directions = [\"seaward\"]",
            "no value for the direction \"inland\"",
        ),
        (
            "words.toml",
            "{ id = \"inland\", taught",
            "{ id = \"upland\", taught",
            "no direction \"upland\"",
        ),
        (
            "site.toml",
            "taught = \"middle\"",
            "taught = \"wait\"",
            "a meaning of its own",
        ),
    ] {
        let found = problems(&[(file, old, new)]);
        assert!(found.iter().any(|p| p.contains(told)), "{told}: {found:#?}");
    }
}

/// After a second call without an answer the site's own words say what is done.
#[test]
fn without_an_answer_the_sites_words_say_what_is_done() {
    for name in bundled::NAMES {
        let site = site(name);
        let no_answer = site.launch.as_ref().unwrap().no_answer.clone();
        let ready = site.ready_step().unwrap().clone();
        let situation = Situation::new(
            site.fleet[0].registration.clone(),
            site.fleet[0].seats,
            site.cables[0].id.clone(),
        );
        let call = situation.taught_call(&site, &ready);
        let course = Course {
            unanswered: 2,
            ..Course::default()
        };
        let calls = [call.as_str(), call.as_str()];
        let (text, ending, _) = played(&site, &ready.speaker, situation, course, Some(&ready.id), &calls);
        assert_eq!(ending, Ending::NoAnswer, "{name}: {text}");
        assert!(no_answer.len() > 20 && text.contains(&no_answer), "{name}: {text}");
    }
}

/// The look-out is the last thing before the ready call, and whoever gives the hook's last word, the cable is on behind it.
#[test]
fn the_look_out_stands_last_and_the_hook_tells_when_the_hand_has_something_to_stop() {
    for name in bundled::NAMES {
        let site = site(name);
        let order = &site.launch.as_ref().unwrap().order;
        let at = |of: Purpose| {
            let with = |id: &String| site.place_in(site.step(id).unwrap(), of).is_some();
            order.iter().rposition(with).unwrap()
        };
        let first = |of: Purpose| {
            let with = |id: &String| site.place_in(site.step(id).unwrap(), of).is_some();
            order.iter().position(with).unwrap()
        };
        // The first words of the launch that set something in motion when they are true: those of the look-out.
        assert!(first(Purpose::Motion) > at(Purpose::Hook), "{name}");
        assert_eq!(first(Purpose::Motion) + 1, first(Purpose::Readiness), "{name}");
        // Before the hook there is nothing to stop, behind it there is: the pilot's hand at the link, and at the next of the pilot's turns
        // behind the hook's last word.
        let aircraft = &site.fleet[0];
        let glider = Situation::new(aircraft.registration.clone(), aircraft.seats, site.cables[0].id.clone());
        let link = first(Purpose::Link);
        let mut launch = Launch::new(&site, "pilot", glider, Course::default(), Some(&order[link..])).unwrap();
        let mut at_the_link = true;
        let behind = loop {
            match launch.next(&site) {
                Next::Listen { step, want } => {
                    let place = order.iter().position(|o| *o == step).unwrap();
                    let hand = place > at(Purpose::Hook) || std::mem::take(&mut at_the_link);
                    if hand || want != Want::Call {
                        launch.did(&site, Did::Hand);
                    } else {
                        let text = launch.situation.taught_call(&site, site.step(&step).unwrap());
                        let evidence = Evidence::typed(&launch.vocabulary(&site).unwrap(), &text);
                        let turned = Turned::new(&site, site.step(&step).unwrap(), &launch.situation, &evidence);
                        launch.did(&site, turned.did(false));
                    }
                }
                Next::Ended(ending) => break ending,
                _ => {}
            }
        };
        assert_eq!(behind, Ending::ByHandToBeSure, "{name}");
        let text = debrief::text(&site, &launch, &[]);
        assert!(
            text.contains(&Note::NothingInHand.text(site.language)),
            "{name}: {text}"
        );
    }
}

/// In the climb silence is right in the single drill as in a launch: nobody waits for these words.
#[test]
fn silence_in_the_climb_is_right_in_a_single_drill_too() {
    let (site, other) = (site("larkmoor"), cableside::drill::Answer::Silence);
    let said = |step: &str| cableside::command::show::answer(&other, site.step(step).unwrap());
    assert_eq!(said("speed"), Note::LeftOut.text(site.language));
    assert_ne!(said("ready"), said("speed"));
}

/// A figure without its unit is half a briefing: dials differ. And half of a plan is no plan: the speed comes before the landing.
#[test]
fn half_a_briefing_is_asked_for() {
    for name in bundled::NAMES {
        let site = site(name);
        let aircraft = &site.fleet[0];
        let situation = Situation::new(aircraft.registration.clone(), aircraft.seats, site.cables[0].id.clone());
        let plans = |s: &&cableside::site::Step| site.place_in(s, Purpose::Eventuality).is_some();
        let step = site.steps.iter().find(plans).unwrap();
        let taught = situation.taught_call(&site, step);
        let mut halves = 0;
        for element in &step.elements {
            let right = &situation.values(&site, step)[element];
            let words = site.taught_words(element, right).unwrap();
            for half in &site.elements[element].incomplete {
                // In sound and in typed words alike the wording stands where the whole one stood.
                let call = taught
                    .to_lowercase()
                    .replace(&words.to_lowercase(), &half.to_lowercase());
                let judged = heard(&site, &situation, &step.id, &call);
                let verdict = judged.element(element).unwrap().verdict;
                assert_ne!(verdict, Verdict::Said, "{name}: {call}");
                assert_ne!(judged.outcome, Outcome::Pass, "{name}: {call}");
                halves += 1;
            }
        }
        assert!(halves >= 3, "{name}: {halves}");
        assert_eq!(
            heard(&site, &situation, &step.id, &taught).outcome,
            Outcome::Pass,
            "{name}"
        );
    }
}
