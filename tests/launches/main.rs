//! Whole launches without sound: golden dialogues, and properties of thousands of random ones.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

use cableside::call::{Evidence, Situation};
use cableside::command::common;
use cableside::drill::deal::{course, deal};
use cableside::drill::debrief;
use cableside::drill::launch::{Turned, roles};
use cableside::drill::simulate::{Tally, events, random_call, simulate};
use cableside::drill::{Course, Did, Ending, Launch, Next, Note, Pace, Want};
use cableside::site::{Callsign, Site, bundled};

fn site(name: &str) -> Site {
    Site::check(&bundled::files(name).unwrap()).unwrap()
}

/// What a student types in turn; "hand" and "" as in the terminal.
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
    let mut launch = Launch::new(site, role, situation, course, steps).unwrap();
    let mut turns = turns.iter();
    loop {
        match launch.next(site) {
            Next::Say { .. } | Next::See(_) | Next::Hear(_) => {}
            Next::Ended(ending) => return (launch, ending),
            Next::Listen { .. } => match turns.next() {
                None | Some(&"") => launch.did(site, Did::Nothing),
                Some(&"hand") => launch.did(site, Did::Hand),
                Some(text) => {
                    let step = launch.judged_step(site).unwrap();
                    let evidence = Evidence::typed(&launch.vocabulary(site).unwrap(), text);
                    let turned = Turned::new(site, step, &launch.situation, &evidence);
                    launch.did(site, turned.did(false));
                }
            },
        }
    }
}

fn steps(names: &[&str]) -> Vec<String> {
    names.iter().map(|s| (*s).to_owned()).collect()
}

const READY: &str = "Winch, Golf Charlie Lima Romeo Mike, two up, north winch cable, ready";

const BRIEFING: &str = "minimum speed fifty-five knots, hand on the release, if a wing drops I release at once, failure low down, nose down, get the speed, land ahead, failure higher up, nose down, get the speed, short circuit to the left, wind light straight down the field, landing on the main strip";

/// The whole exchange at Larkmoor, word for word.
#[test]
fn a_perfect_launch_reads_like_one() {
    let site = site("larkmoor");
    let (launch, ending) = played(
        &site,
        "pilot",
        Course::default(),
        None,
        &[
            BRIEFING,
            "brown link",
            "hand",
            "open",
            "close",
            READY,
            "",
            "hand",
            "hand",
        ],
    );
    assert_eq!(ending, Ending::Complete);
    let text = debrief::text(&site, &launch, &[]);
    let expected = include_str!("golden/larkmoor_perfect.txt");
    assert_eq!(text, expected, "{text}");
}

#[test]
fn what_is_missing_is_asked_for_and_what_is_wrong_is_read_back() {
    let site = site("larkmoor");
    let radio = steps(&["ready", "readback", "slack"]);
    let (launch, ending) = played(
        &site,
        "pilot",
        Course::default(),
        Some(&radio),
        &[
            "Winch, Golf Charlie Lima Romeo Mike, south winch cable, ready",
            "correction, north",
            "two up",
            "",
        ],
    );
    assert_eq!(ending, Ending::Complete);
    let text = debrief::text(&site, &launch, &[]);
    for line in [
        "[winch driver] South?",
        "[winch driver] Say again: how many on board?",
        "two up, north winch cable. Taking up slack.",
    ] {
        assert!(text.contains(line), "{text}");
    }
}

/// A wrong readback: right are the correction and stop; silence and "roger" are not.
#[test]
fn a_wrong_readback_must_be_noticed() {
    let site = site("larkmoor");
    let radio = steps(&["ready", "readback", "slack"]);
    for (misread, answers) in [
        (
            ("cable", "south"),
            ["negative, I say again, north winch cable", "north"],
        ),
        (("crew", "1"), ["negative, I say again, two up", "two up"]),
        (
            ("callsign", "G-CLMR"),
            [
                "negative, I say again, Golf Charlie Lima Romeo Mike",
                "Golf Charlie Lima Romeo Mike",
            ],
        ),
    ] {
        let course = || Course {
            misread: Some((misread.0.to_owned(), misread.1.to_owned())),
            ..Course::default()
        };
        let run = |answer: &str| played(&site, "pilot", course(), Some(&radio), &[READY, answer]).1;
        for right in answers {
            assert_eq!(run(right), Ending::Complete, "{misread:?} {right}");
        }
        assert_eq!(run("stop"), Ending::Stopped);
        assert_eq!(run("stop stop stop"), Ending::Stopped);
        assert_eq!(run("hand"), Ending::ByHand);
        // "No" alone leaves the question what; then as before.
        let (_, ending) = played(
            &site,
            "pilot",
            course(),
            Some(&radio),
            &[READY, "negative", right_of(misread.0)],
        );
        assert_eq!(ending, Ending::Complete);
        assert_eq!(run(""), Ending::ReadbackAccepted);
        assert_eq!(run("ready"), Ending::ReadbackAccepted);
        assert_eq!(run("roger"), Ending::ReadbackAccepted);
    }
}

fn right_of(element: &str) -> &'static str {
    match element {
        "cable" => "north",
        "crew" => "two up",
        _ => "Golf Charlie Lima Romeo Mike",
    }
}

/// The student's own wrong cable is read back as it was heard, whole, and he must notice it himself.
#[test]
fn an_own_slip_is_read_back_and_must_be_noticed() {
    let site = site("larkmoor");
    let radio = steps(&["ready", "readback", "slack"]);
    let slip = "Winch, Golf Charlie Lima Romeo Mike, two up, south winch cable, ready";
    let run = |turns: &[&str]| played(&site, "pilot", Course::default(), Some(&radio), turns);
    let (launch, ending) = run(&[slip, "negative, I say again, north winch cable"]);
    assert_eq!(ending, Ending::Complete);
    let text = debrief::text(&site, &launch, &[]);
    assert!(text.contains("two up, south winch cable. Taking up slack."), "{text}");
    assert_eq!(run(&[slip, ""]).1, Ending::ReadbackAccepted);
    assert_eq!(run(&[slip, "stop"]).1, Ending::Stopped);
}

/// "Not ready" and "not clear" are always right to say: nothing moves, and nothing is asked again.
#[test]
fn a_refusal_ends_well() {
    let site = site("larkmoor");
    for (role, step, words) in [
        ("pilot", "ready", "winch, not ready"),
        ("wing runner", "look-out", "not clear"),
        ("winch driver", "permission", "retrieve, wait"),
        (
            "winch driver",
            "permission",
            "retrieve, north cable, not clear to cross",
        ),
    ] {
        let (_, ending) = played(&site, role, Course::default(), Some(&steps(&[step])), &[words]);
        assert_eq!(ending, Ending::NothingMoves, "{words}");
    }
}

/// The hand before the voice: the pilot releases, anybody else calls stop.
#[test]
fn a_hazard_is_answered_by_hand_or_by_stop() {
    let site = site("larkmoor");
    let radio = steps(&["ready", "readback", "slack"]);
    for hazard in &site.hazards {
        for step in hazard.during.iter().filter(|s| radio.contains(s)) {
            let course = || Course {
                hazard: Some((hazard.id.clone(), step.clone())),
                ..Course::default()
            };
            let before: &[&str] = if step == "ready" { &[] } else { &[READY, ""] };
            let pilot = |turns: &[&str]| played(&site, "pilot", course(), Some(&radio), &[before, turns].concat());
            let (launch, ending) = pilot(&["hand", "stop"]);
            assert_eq!(ending, Ending::ByHand);
            assert!(debrief::text(&site, &launch, &[]).contains("You acted first."));
            assert_eq!(pilot(&["hand", ""]).1, Ending::ByHand, "words may be left out");
            let (launch, ending) = pilot(&["stop"]);
            assert_eq!(ending, Ending::Stopped);
            assert!(debrief::text(&site, &launch, &[]).contains("You spoke first."));
            // Before the ready call nothing moves, so holding it back or saying "not ready" is right too.
            let held = if step == "ready" {
                Ending::HeldBack
            } else {
                Ending::HazardMissed
            };
            assert_eq!(pilot(&[""]).1, held, "{} {step}", hazard.id);
            let refused = if step == "ready" {
                Ending::NothingMoves
            } else {
                Ending::Stopped
            };
            assert_eq!(pilot(&["not ready"]).1, refused, "{} {step}", hazard.id);
            assert_eq!(pilot(&[READY]).1, Ending::HazardMissed);
            let runner = |turns: &[&str]| played(&site, "wing runner", course(), Some(&radio), turns).1;
            assert_eq!(runner(&["stop"]), Ending::Stopped);
            assert_eq!(runner(&[""]), Ending::HazardMissed);
            assert_eq!(runner(&["stopp"]), Ending::Stopped, "in doubt the others stop");
        }
    }
}

/// Whoever looks out says what is seen: with somebody on the field there is no "all clear".
#[test]
fn the_last_look_out_finds_who_comes_late() {
    let site = site("larkmoor");
    let only = steps(&["look-out", "ready"]);
    for id in ["walker", "car crosses", "canopy", "traffic"] {
        let run = |role: &str, words: &str| {
            let course = Course {
                hazard: Some((id.to_owned(), "look-out".to_owned())),
                ..Course::default()
            };
            played(&site, role, course, Some(&only), &[words]).1
        };
        assert_eq!(run("wing runner", "stop"), Ending::Stopped, "{id}");
        assert_eq!(run("wing runner", "not clear"), Ending::NothingMoves, "{id}");
        assert_eq!(run("wing runner", ""), Ending::HeldBack, "{id}");
        assert_eq!(
            run("wing runner", "all clear above and behind"),
            Ending::HazardMissed,
            "{id}"
        );
        assert_eq!(run("pilot", "not ready"), Ending::NothingMoves, "{id}");
        assert_eq!(run("pilot", "stop"), Ending::Stopped, "{id}");
    }
}

/// Another link held up is noticed by naming the glider's own, or by stop; a damaged one by stop.
#[test]
fn the_link_that_is_held_up_is_looked_at() {
    let site = site("larkmoor");
    let only = steps(&["link", "open", "open echo"]);
    let course = || Course {
        shown_link: Some("white".to_owned()),
        ..Course::default()
    };
    let run = |course: Course, turns: &[&str]| {
        let (launch, ending) = played(&site, "pilot", course, Some(&only), turns);
        (debrief::text(&site, &launch, &[]), ending)
    };
    let (text, ending) = run(course(), &["brown link", "hand", "open"]);
    assert!(
        ending == Ending::Complete && text.contains("Held up before you: white link."),
        "{text}"
    );
    assert!(text.contains(&Note::LinkNoticed.text(site.language)), "{text}");
    let (text, ending) = run(course(), &["white link", "brown link", "hand", "open"]);
    assert!(
        ending == Ending::Complete && text.contains(&Note::LinkTaken.text(site.language)),
        "{text}"
    );
    assert_eq!(run(course(), &["stop"]).1, Ending::Stopped);
    let (text, ending) = run(Course::default(), &["brown link", "hand", "open"]);
    assert!(
        ending == Ending::Complete && text.contains("Held up before you: brown link."),
        "{text}"
    );
    assert!(!text.contains(&Note::LinkNoticed.text(site.language)), "{text}");
    let damaged = || Course {
        hazard: Some(("damaged link".to_owned(), "link".to_owned())),
        ..Course::default()
    };
    assert_eq!(run(damaged(), &["stop"]).1, Ending::Stopped);
    assert_eq!(run(damaged(), &[""]).1, Ending::HeldBack);
    assert_eq!(run(damaged(), &["brown link"]).1, Ending::HazardMissed);
}

/// The winch may refuse: nobody calls over it, and the ready call comes again when the winch is ready. Whoever plays the winch
/// driver may refuse too.
#[test]
fn a_refusal_of_the_winch_is_waited_out() {
    for (name, ready, no, waiting) in [
        ("larkmoor", READY, "winch is not ready, wait", "not ready"),
        (
            "erlengrund",
            "Winde, Delta drei acht sechs zwo, doppelsitzig, Windenseil Wald, startklar",
            "Winde ist nicht bereit, warten",
            "nicht startklar",
        ),
    ] {
        let site = site(name);
        let only = steps(&["ready", "readback", "slack"]);
        let course = || Course {
            refused: true,
            ..Course::default()
        };
        let run = |turns: &[&str]| {
            let (launch, ending) = played(&site, "pilot", course(), Some(&only), turns);
            (debrief::text(&site, &launch, &[]), ending)
        };
        let (text, ending) = run(&[ready, "", ready, ""]);
        assert!(ending == Ending::Complete && text.contains(no), "{text}");
        assert!(!text.contains(&Note::CalledOverRefusal.text(site.language)), "{text}");
        let (text, ending) = run(&[ready, ready, "", ready, ""]);
        assert_eq!(ending, Ending::Complete, "{text}");
        assert!(text.contains(&Note::CalledOverRefusal.text(site.language)), "{text}");
        assert_eq!(
            run(&[ready, if name == "larkmoor" { "stop" } else { "halt" }]).1,
            Ending::StoppedToBeSure
        );
        let (_, ending) = played(&site, "winch driver", Course::default(), Some(&only), &[waiting]);
        assert_eq!(ending, Ending::NothingMoves, "{name}");
    }
}

/// What the site briefs for the height where it fails is what is shown: behind the start low down, behind the speed call higher up.
#[test]
fn a_failure_shows_the_band_of_its_moment() {
    for name in cableside::site::bundled::NAMES {
        let site = site(name);
        let mut high = 0;
        for failure in &site.failures {
            let band = site
                .bands
                .iter()
                .find(|b| Some(&b.name) == failure.band.as_ref())
                .unwrap();
            for after in &failure.after {
                assert_eq!(band.from > 0, after == "speed", "{name}: {} after {after}", failure.id);
                high += usize::from(band.from > 0);
            }
        }
        assert!(high >= 2 && high < site.failures.len(), "{name}: {high}");
    }
}

/// Whoever takes the power off is not told how to fly.
#[test]
fn the_band_is_for_the_pilot_only() {
    let site = site("larkmoor");
    let only = steps(&["ready", "readback", "slack", "speed", "release"]);
    let course = Course {
        failure: Some(("power loss".to_owned(), "slack".to_owned())),
        ..Course::default()
    };
    let situation = Situation::new(site.fleet[0].registration.clone(), 2, site.cables[0].id.clone());
    let readback = situation.taught_call(&site, site.step("readback").unwrap());
    let turns = [readback.as_str(), "hand", ""];
    let (launch, _) = run_with(&site, "winch driver", situation, course, Some(&only), &turns);
    let text = debrief::text(&site, &launch, &[]);
    assert!(text.contains(&Note::HandFirst.text(site.language)), "{text}");
    assert!(site.bands.iter().all(|b| !text.contains(&b.answer)), "{text}");
}

/// The readback is right and the slack is being taken up: "not ready" stops it, and that is never an error.
#[test]
fn not_ready_behind_a_right_readback_stops() {
    let site = site("larkmoor");
    let radio = steps(&["ready", "readback", "slack"]);
    let run = |answer: &str| played(&site, "pilot", Course::default(), Some(&radio), &[READY, answer]).1;
    assert_eq!(run("not ready"), Ending::StoppedToBeSure);
    assert_eq!(run("Winch, we are not ready"), Ending::StoppedToBeSure);
    assert_eq!(run(""), Ending::Complete);
}

/// In the air the hand comes first and words last or not at all; words before it do not take its place.
#[test]
fn a_failure_in_the_air_is_answered_by_hand() {
    for (name, ready, words) in [
        ("larkmoor", READY, "launch failure"),
        (
            "erlengrund",
            "Winde, Delta drei acht sechs zwo, doppelsitzig, Windenseil Wald, startklar",
            "Startunterbrechung",
        ),
    ] {
        let site = site(name);
        assert!(site.failures.len() >= 3 && site.bands.len() == 2);
        for failure in &site.failures {
            for after in &failure.after {
                let only = steps(&["ready", "readback", "slack", "speed", "release"]);
                let run = |turns: &[&str]| {
                    let mut situation =
                        Situation::new(site.fleet[0].registration.clone(), 2, site.cables[0].id.clone());
                    situation.more.extend(failure.when.clone());
                    let course = Course {
                        failure: Some((failure.id.clone(), after.clone())),
                        ..Course::default()
                    };
                    let mut all = vec![ready, ""];
                    if after == "speed" {
                        // Silence in the climb is right, and the launch goes on.
                        all.push("");
                    }
                    all.extend(turns);
                    run_with(&site, "pilot", situation, course, Some(&only), &all)
                };
                let (launch, ending) = run(&["hand", words]);
                assert_eq!(ending, Ending::Abandoned, "{name} {}", failure.id);
                let text = debrief::text(&site, &launch, &[]);
                assert!(text.contains(&Note::HandFirst.text(site.language)), "{text}");
                let band = site
                    .bands
                    .iter()
                    .find(|b| Some(&b.name) == failure.band.as_ref())
                    .unwrap();
                assert!(text.contains(&band.answer), "{text}");
                assert_eq!(run(&["hand", ""]).1, Ending::Abandoned, "words may be left out");
                let (launch, ending) = run(&[words, "hand", ""]);
                assert_eq!(ending, Ending::Abandoned);
                let text = debrief::text(&site, &launch, &[]);
                assert!(text.contains(&Note::WordsBeforeHand.text(site.language)), "{text}");
                assert_eq!(run(&["", "", ""]).1, Ending::NotReleased);
                assert_eq!(run(&[words, words, words]).1, Ending::NotReleased);
            }
        }
    }
}

/// Nobody is made to speak in the climb: silence, half a call and a wrong one all go on, whatever was dealt.
#[test]
fn silence_in_the_climb_is_right() {
    let site = site("larkmoor");
    let only = steps(&["ready", "readback", "slack", "speed", "release"]);
    for words in ["", "slower", "too fast", "too slow", "ready"] {
        let (launch, ending) = played(
            &site,
            "pilot",
            Course::default(),
            Some(&only),
            &[READY, "", words, "hand", "hand"],
        );
        assert_eq!(ending, Ending::Complete, "{words}");
        let text = debrief::text(&site, &launch, &[]);
        assert_eq!(
            text.contains(&Note::LeftOut.text(site.language)),
            words.is_empty(),
            "{text}"
        );
        // What asks for the opposite is explained.
        assert_eq!(text.contains("asks for less power"), words == "slower", "{text}");
    }
}

/// The habit is told on the ground; each pull is heard and counted, and one that is missing is asked for.
#[test]
fn every_pull_of_the_release_is_seen_and_heard() {
    for (name, one, two) in [("larkmoor", "1 of 2", "2 of 2"), ("erlengrund", "1 von 2", "2 von 2")] {
        let site = site(name);
        let only = steps(&["link", "release"]);
        let link = if name == "larkmoor" {
            "brown link"
        } else {
            "Sollbruchstelle braun"
        };
        let run = |turns: &[&str]| {
            let (launch, ending) = played(&site, "pilot", Course::default(), Some(&only), turns);
            (debrief::text(&site, &launch, &[]), ending)
        };
        let (text, ending) = run(&[link, "hand", "hand"]);
        assert_eq!(ending, Ending::Complete);
        let habit = site.language.text("release.habit", &[("n", "2")]);
        let at = |part: &str| text.find(part).unwrap_or_else(|| panic!("{part}: {text}"));
        assert!(
            at(&habit) < at(link.to_lowercase().as_str()) && at(one) < at(two),
            "{text}"
        );
        assert_eq!(
            text.matches(&site.language.text("sound.clack", &[])).count(),
            2,
            "{text}"
        );
        let again = Note::PullAgain.text(site.language);
        let (text, ending) = run(&[link, "hand", "", "hand"]);
        assert!(ending == Ending::Complete && text.contains(&again), "{text}");
        // The cable is off after one: it is told, and nothing fails.
        let (text, ending) = run(&[link, "hand", "", ""]);
        assert_eq!(ending, Ending::Complete);
        assert!(text.contains(&Note::PulledTooFew.text(site.language)), "{text}");
        assert_eq!(run(&[link, "", "", ""]).1, Ending::NotReleased);
    }
}

/// The helper speaks first, the pilot pulls and confirms; the pull is no mistake of the hand.
#[test]
fn hooking_on_is_led_by_the_helper() {
    for (name, open, close) in [("larkmoor", "open", "close"), ("erlengrund", "aus", "ein")] {
        let site = site(name);
        let only = steps(&["open", "open echo", "close", "close echo"]);
        let (launch, ending) = played(&site, "pilot", Course::default(), Some(&only), &["hand", open, close]);
        assert_eq!(ending, Ending::Complete);
        let text = debrief::text(&site, &launch, &[]);
        let helper = format!("[{}]", site.role_name("wing runner"));
        let pilot = format!("[{}, ", site.role_name("pilot"));
        assert!(text.find(&helper).unwrap() < text.find(&pilot).unwrap(), "{text}");
        for note in [Note::NothingInHand, Note::PullWithTheWords] {
            assert!(!text.contains(&note.text(site.language)), "{text}");
        }
        let (launch, _) = played(&site, "pilot", Course::default(), Some(&only), &[open, close]);
        let text = debrief::text(&site, &launch, &[]);
        assert!(text.contains(&Note::PullWithTheWords.text(site.language)), "{text}");
        let order = &site.launch.as_ref().unwrap().order;
        let place = |id: &str| order.iter().position(|s| s == id).unwrap();
        assert!(
            place("close echo") < place("look-out") && place("look-out") + 1 == place("ready"),
            "{name}"
        );
    }
}

/// Whoever is spoken to while the cable moves is right to stop, and going on is remarked upon; a stop spoken into others' words
/// is obeyed, with the warning that a radio may lose it.
#[test]
fn small_talk_while_the_cable_moves_is_answered_by_stop() {
    let site = site("larkmoor");
    let slack = steps(&["ready", "readback", "slack"]);
    let course = |id: &str| Course {
        interruptions: vec![(id.to_owned(), "slack".to_owned())],
        ..Course::default()
    };
    for id in ["lunch", "battery"] {
        let run = |turns: &[&str]| played(&site, "wing runner", course(id), Some(&slack), turns);
        assert_eq!(run(&["stop"]).1, Ending::Stopped, "{id}");
        let (launch, ending) = run(&["slack is out, winch cable tight", "slack is out, winch cable tight"]);
        assert_eq!(ending, Ending::Complete);
        let text = debrief::text(&site, &launch, &[]);
        assert!(text.contains(&Note::InterruptedMoving.text(site.language)), "{text}");
    }
    let situation = Situation::new(site.fleet[0].registration.clone(), 2, site.cables[0].id.clone());
    let mut launch = Launch::new(&site, "wing runner", situation, course("battery"), Some(&slack)).unwrap();
    while !matches!(&launch.next(&site), Next::Say { line, radio: true } if line.role == "retrieve driver") {}
    let stop = turned(&site, &launch, "stop");
    launch.cut_in(&site, stop.did(false), true);
    assert_eq!(launch.ending(), Some(Ending::Stopped));
    let text = debrief::text(&site, &launch, &[]);
    assert!(text.contains(&Note::StopMayBeLost.text(site.language)), "{text}");
}

/// The retrieve moves upon a permission that names the cable and is read back; the first radio contact is with the winch.
#[test]
fn the_retrieve_is_named_and_read_back() {
    for name in ["larkmoor", "erlengrund"] {
        let site = site(name);
        assert_eq!(
            site.step("radio check").unwrap().to,
            site.step("ready").unwrap().to,
            "{name}"
        );
        for id in ["retrieve", "permission", "permission readback"] {
            assert!(
                site.step(id).unwrap().critical.contains(&"cable".to_owned()),
                "{name} {id}"
            );
        }
        assert_eq!(
            site.step("permission readback").unwrap().readback_of.as_deref(),
            Some("permission")
        );
        assert_eq!(site.step("stuck").unwrap().critical, ["stuck"], "{name}");
    }
    let site = site("larkmoor");
    let only = steps(&["retrieve", "permission", "permission readback"]);
    let run = |turns: &[&str]| played(&site, "retrieve driver", Course::default(), Some(&only), turns);
    let (launch, ending) = run(&["winch, request retrieve", "north", "clear to cross", "north"]);
    assert_eq!(ending, Ending::Complete);
    let text = debrief::text(&site, &launch, &[]);
    assert_eq!(
        text.matches("[winch driver] Say again: which cable?").count(),
        2,
        "{text}"
    );
    let (_, ending) = run(&[
        "winch, request retrieve, south cable",
        "north",
        "south cable, clear to cross",
        "north",
    ]);
    assert_eq!(ending, Ending::Complete);
}

/// A needless stop is never an error, whoever calls it and whenever.
#[test]
fn stop_and_release_are_obeyed_in_any_state() {
    for name in ["larkmoor", "erlengrund"] {
        let site = site(name);
        let mut random = common::random(11);
        let (mut stops, mut releases) = (0, 0);
        for _ in 0..2000 {
            let situation = deal(&site, None, &mut random).unwrap();
            let all = roles(&site);
            let role = &all[random() as usize % all.len()];
            let course = course(&site, &situation, Pace::Busy, &mut random);
            let mut launch = Launch::new(&site, role, situation, course, None).unwrap();
            let before = random() % 8;
            let mut turn = 0;
            loop {
                match launch.next(&site) {
                    Next::Say { .. } | Next::See(_) | Next::Hear(_) => {}
                    Next::Ended(_) => break,
                    Next::Listen { want, step } => {
                        let judged = launch.judged_step(&site).unwrap();
                        let judgement = random_call(&site, judged, &launch.situation, true, &mut random);
                        let mut stopping = judgement.clone();
                        stopping.stop = true;
                        let called = |stop| Did::Called {
                            judgement: if stop { &stopping } else { &judgement },
                            words: "",
                            negative: false,
                            refused: false,
                            over: false,
                        };
                        // In the air the hand is wanted whatever is said: the next test. Somebody else's stop begins everything again.
                        if turn < before || matches!(want, Want::Failure | Want::Halt) {
                            turn += 1;
                            let did = if matches!(want, Want::Release | Want::Failure | Want::Halt) {
                                Did::Hand
                            } else {
                                called(false)
                            };
                            launch.did(&site, did);
                            continue;
                        }
                        let hooked = ![
                            "radio check",
                            "briefing",
                            "link",
                            "open",
                            "open echo",
                            "close",
                            "close echo",
                        ]
                        .contains(&step.as_str());
                        let by_hand = role == "pilot" && hooked && random().is_multiple_of(2) && want != Want::Release;
                        launch.did(&site, if by_hand { Did::Hand } else { called(true) });
                        if by_hand && want == Want::Hazard {
                            // Words after the hand may follow; nothing else may.
                            let next = launch.next(&site);
                            assert!(matches!(next, Next::Listen { want: Want::Words, .. }), "{next:?}");
                            launch.did(&site, Did::Nothing);
                        }
                        let Next::Ended(ending) = launch.next(&site) else {
                            panic!("{name} {role} {step} {want:?}: stop was not obeyed");
                        };
                        let fine = [
                            Ending::Stopped,
                            Ending::StoppedToBeSure,
                            Ending::ByHand,
                            Ending::ByHandToBeSure,
                            Ending::Abandoned,
                        ];
                        assert!(fine.contains(&ending), "{ending:?}");
                        stops += usize::from(!by_hand);
                        releases += usize::from(by_hand);
                        break;
                    }
                }
            }
        }
        assert!(stops > 500 && releases > 50, "{stops} {releases}");
    }
}

/// A third invented field with other customs, written from `phrases/README.md` alone: numbered cables, a controller who
/// speaks to the winch, the type in the ready call, stop once, two directions.
#[test]
fn a_field_with_other_customs_works_too() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sites/holmwick");
    let site = Site::check(&cableside::folders::read_site(&folder)).unwrap();
    assert!(roles(&site).contains(&"controller".to_owned()));
    assert!(site.step("ready").unwrap().elements.contains(&"type".to_owned()));
    let tally = simulate(&site, 3000, &mut common::random(2));
    assert_eq!(tally.dead_ends, Vec::<String>::new());
    assert_endings(&site, &tally);
}

/// Each ending is reached; that of a dead radio only where the site has signals for one.
fn assert_endings(site: &Site, tally: &Tally) {
    for ending in Ending::ALL {
        let possible = ending != Ending::NoRadio || site.has_backup();
        assert_eq!(tally.endings.contains_key(&ending), possible, "{}: {ending:?}", site.id);
    }
}

/// Every run ends, each ending and each kind of turn is reached, and the same seed gives the same runs.
#[test]
fn random_launches_all_end() {
    for name in bundled::NAMES {
        let site = site(name);
        let tally = simulate(&site, 10_000, &mut common::random(5));
        assert_eq!(tally.dead_ends, Vec::<String>::new());
        assert_eq!(tally.runs, 10_000);
        assert_endings(&site, &tally);
        let known = events(&site);
        for event in &known {
            assert!(tally.events.contains_key(event), "{name}: {event} never comes about");
        }
        // And nothing comes about that is not known of.
        assert!(
            tally.events.keys().all(|e| known.contains(e)),
            "{name}: {:?}",
            tally.events
        );
        for step in &site.launch.as_ref().unwrap().order {
            assert!(tally.turns.keys().any(|(s, _)| s == step), "no turn in {step}");
        }
        for want in [
            Want::Call,
            Want::Readback,
            Want::Hazard,
            Want::Failure,
            Want::Words,
            Want::Wait,
            Want::Release,
        ] {
            assert!(tally.turns.keys().any(|(_, w)| *w == want), "{want:?}");
        }
        assert_eq!(tally, simulate(&site, 10_000, &mut common::random(5)));
    }
}

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

/// Others on the frequency are waited for: words into theirs are lost and noted, the call is still wanted; a stop is obeyed.
#[test]
fn traffic_is_waited_for_and_stop_is_not() {
    for (name, id) in [("larkmoor", "battery"), ("erlengrund", "Akku")] {
        let site = site(name);
        let begin = || {
            let callsign = site.fleet[0].registration.clone();
            let situation = Situation::new(callsign, 2, site.cables[0].id.clone());
            let course = Course {
                interruptions: vec![(id.to_owned(), "ready".to_owned())],
                ..Course::default()
            };
            let only = steps(&["ready", "readback", "slack"]);
            let mut launch = Launch::new(&site, "pilot", situation, course, Some(&only)).unwrap();
            // The wing runner's word, then the first transmission of the others.
            while !matches!(&launch.next(&site), Next::Say { line, radio: true } if line.role == "retrieve driver") {}
            launch
        };
        let mut launch = begin();
        assert!(launch.others_speak_next());
        let right = launch.situation.taught_call(&site, site.step("ready").unwrap());
        let call = turned(&site, &launch, &right);
        launch.cut_in(&site, call.did(false), true);
        let text = debrief::text(&site, &launch, &[]);
        assert!(text.contains(&Note::Lost.text(site.language)), "{text}");
        assert_eq!(to_my_turn(&site, &mut launch), Some(Want::Call));
        launch.did(&site, call.did(false));
        assert_eq!(to_my_turn(&site, &mut launch), Some(Want::Readback));

        let mut launch = begin();
        let stop = turned(
            &site,
            &launch,
            if name == "larkmoor" {
                "stop stop stop"
            } else {
                "halt stopp"
            },
        );
        launch.cut_in(&site, stop.did(false), true);
        assert_eq!(launch.ending(), Some(Ending::StoppedToBeSure));

        let mut launch = begin();
        launch.cut_in(&site, Did::Hand, true);
        assert_eq!(launch.ending(), Some(Ending::ByHandToBeSure));
    }
}

/// A question in between may be answered or not; whoever makes the call at once has made it.
#[test]
fn a_question_in_between_changes_nothing() {
    let site = site("larkmoor");
    let course = || Course {
        interruptions: vec![("lunch".to_owned(), "ready".to_owned())],
        ..Course::default()
    };
    let radio = steps(&["ready", "readback", "slack"]);
    for turns in [&["in an hour or so", READY, ""][..], &["", READY, ""], &[READY, ""]] {
        let (launch, ending) = played(&site, "pilot", course(), Some(&radio), turns);
        assert_eq!(ending, Ending::Complete, "{turns:?}");
        let text = debrief::text(&site, &launch, &[]);
        assert!(text.contains("When are you going to eat?"), "{text}");
        assert!(text.contains(&Note::Interrupted.text(site.language)), "{text}");
    }
}

/// A hazard is heard as well as seen, and the picture knows of it as long as it lasts.
#[test]
fn a_hazard_is_seen_heard_and_drawn() {
    for name in ["larkmoor", "erlengrund"] {
        let site = site(name);
        for hazard in &site.hazards {
            // Behind the release the pilot is not at the field: those hazards are of the retrieve.
            for during in hazard
                .during
                .iter()
                .filter(|d| !["retrieve", "permission"].contains(&d.as_str()))
            {
                let course = Course {
                    hazard: Some((hazard.id.clone(), during.clone())),
                    ..Course::default()
                };
                let situation = Situation::new(site.fleet[0].registration.clone(), 1, site.cables[0].id.clone());
                let only = [during.clone()];
                let mut launch = Launch::new(&site, "pilot", situation, course, Some(&only)).unwrap();
                assert_eq!(launch.picture(&site).hazard, None);
                let mut heard = None;
                loop {
                    match launch.next(&site) {
                        Next::Hear(sound) => heard = Some(sound.noise),
                        Next::Listen { want, .. } => {
                            assert_eq!(want, Want::Hazard);
                            break;
                        }
                        Next::Ended(e) => panic!("{e:?}"),
                        _ => {}
                    }
                }
                let picture = launch.picture(&site);
                assert_eq!(picture.hazard.as_ref(), Some(&hazard.id));
                // A crack, an open canopy, what lies on the ground are only seen.
                assert_eq!(heard, hazard.sound.as_ref().map(|s| s.noise), "{name} {}", hazard.id);
                assert_eq!(picture.noise, heard, "{name} {}", hazard.id);
                assert!(!picture.still);
                // Before hooking on there is nothing for the hand to stop; then words do it.
                let stop = turned(&site, &launch, if name == "larkmoor" { "stop" } else { "halt" });
                if during == "link" {
                    launch.did(&site, stop.did(false));
                } else {
                    launch.did(&site, Did::Hand);
                }
                assert!(launch.picture(&site).still);
            }
        }
    }
}

/// The busier the field, the more comes in between; on a quiet one nothing does.
#[test]
fn the_pace_decides_what_comes_in_between() {
    let site = site("larkmoor");
    let mut random = common::random(11);
    let mut counts = Vec::new();
    for pace in Pace::ALL {
        let mut n = 0;
        for _ in 0..300 {
            let situation = deal(&site, None, &mut random).unwrap();
            let course = course(&site, &situation, pace, &mut random);
            n += course.interruptions.len() + course.traffic.len();
        }
        counts.push(n);
    }
    assert_eq!(counts[0], 0);
    assert!(counts[1] > 50 && counts[2] > 5 * counts[1], "{counts:?}");
    for want in [
        Want::Call,
        Want::Readback,
        Want::Hazard,
        Want::Words,
        Want::Release,
        Want::Aside,
    ] {
        assert!(Pace::Unhurried.patience(want) > Pace::Busy.patience(want));
    }
}

/// At the German site nothing that is said to the student is English.
#[test]
fn the_debrief_is_in_the_sites_language() {
    let site = site("erlengrund");
    let only = steps(&["ready", "readback"]);
    let (launch, _) = played(
        &site,
        "pilot",
        Course::default(),
        Some(&only),
        &[
            "Winde, Delta drei acht sechs zwo, Windenseil Wald, startklar",
            "doppelsitzig",
            "",
        ],
    );
    let text = debrief::text(&site, &launch, &[]);
    for part in [
        "als Pilot: Flugzeug D-3862",
        "[Windenfahrer]",
        "[Pilot, du]",
        "fehlt. Nicht gehört; sag",
    ] {
        assert!(text.contains(part), "{part}: {text}");
    }
    for english in ["winch driver", "you]", "missing", "Not heard", "glider"] {
        assert!(!text.contains(english), "{english}: {text}");
    }
}

/// Words in a danger that were not made out are asked for again, once; what may have been a stop stops.
#[test]
fn what_was_not_made_out_in_a_danger_is_asked_again() {
    let site = site("larkmoor");
    let run = |margins: &[Option<f32>]| {
        let course = Course {
            hazard: Some(("walker".to_owned(), "slack".to_owned())),
            ..Course::default()
        };
        let situation = Situation::new(site.fleet[0].registration.clone(), 2, site.cables[0].id.clone());
        let only = steps(&["ready", "readback", "slack"]);
        let mut launch = Launch::new(&site, "wing runner", situation, course, Some(&only)).unwrap();
        let mut margins = margins.iter();
        loop {
            match launch.next(&site) {
                Next::Ended(ending) => return ending,
                Next::Listen { want, .. } => {
                    assert_eq!(want, Want::Hazard);
                    let mut turned = turned(&site, &launch, "mumble");
                    let stop = &mut turned.judgement.elements[0];
                    stop.verdict = cableside::call::Verdict::Unsure;
                    stop.margin = *margins.next().unwrap();
                    launch.did(&site, turned.did(false));
                }
                _ => {}
            }
        }
    };
    assert_eq!(run(&[Some(2.0)]), Ending::Stopped, "nearly a stop");
    assert_eq!(run(&[None, Some(2.0)]), Ending::Stopped, "asked again, then a stop");
    assert_eq!(run(&[None, Some(9.0)]), Ending::HazardMissed, "twice nothing like it");
}
