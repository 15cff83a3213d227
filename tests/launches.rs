//! Whole launches without sound: golden dialogues, and properties of thousands of random ones.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

use cableside::call::{Evidence, Situation};
use cableside::command::common;
use cableside::drill::deal::{course, deal};
use cableside::drill::debrief;
use cableside::drill::launch::{Turned, roles};
use cableside::drill::simulate::{random_call, simulate};
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
            "minimum speed ninety, failure low down land ahead, failure higher up short circuit to the left, wind light straight down the field, landing on the main strip",
            "brown link",
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
        for step in &hazard.during {
            let course = || Course {
                hazard: Some((hazard.id.clone(), step.clone())),
                ..Course::default()
            };
            let before: &[&str] = if step == "ready" { &[] } else { &[READY, ""] };
            let pilot = |turns: &[&str]| played(&site, "pilot", course(), Some(&radio), &[before, turns].concat());
            let (launch, ending) = pilot(&["hand", "stop"]);
            assert_eq!(ending, Ending::ByHand);
            assert!(debrief::text(&site, &launch, &[]).contains("The hand came first."));
            assert_eq!(pilot(&["hand", ""]).1, Ending::ByHand, "words may be left out");
            let (launch, ending) = pilot(&["stop"]);
            assert_eq!(ending, Ending::Stopped);
            assert!(debrief::text(&site, &launch, &[]).contains("Words came before the hand."));
            assert_eq!(pilot(&[""]).1, Ending::HazardMissed);
            assert_eq!(pilot(&[READY]).1, Ending::HazardMissed);
            let runner = |turns: &[&str]| played(&site, "wing runner", course(), Some(&radio), turns).1;
            assert_eq!(runner(&["stop"]), Ending::Stopped);
            assert_eq!(runner(&[""]), Ending::HazardMissed);
            assert_eq!(runner(&["stopp"]), Ending::Stopped, "in doubt the others stop");
        }
    }
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
                            over: false,
                        };
                        if turn < before {
                            turn += 1;
                            let did = if want == Want::Release {
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
                            "look-out",
                            "link",
                            "open",
                            "open echo",
                            "close",
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
    for ending in Ending::ALL {
        assert!(tally.endings.contains_key(&ending), "{ending:?} is never reached");
    }
}

/// Every run ends, each ending and each kind of turn is reached, and the same seed gives the same runs.
#[test]
fn random_launches_all_end() {
    for name in ["larkmoor", "erlengrund"] {
        let site = site(name);
        let tally = simulate(&site, 10_000, &mut common::random(5));
        assert_eq!(tally.dead_ends, Vec::<String>::new());
        assert_eq!(tally.runs, 10_000);
        for ending in Ending::ALL {
            assert!(tally.endings.contains_key(&ending), "{ending:?} is never reached");
        }
        for step in &site.launch.as_ref().unwrap().order {
            assert!(tally.turns.keys().any(|(s, _)| s == step), "no turn in {step}");
        }
        for want in [Want::Call, Want::Readback, Want::Hazard, Want::Words, Want::Release] {
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
            for during in &hazard.during {
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
                assert!(heard.is_some() && picture.noise == heard, "{name} {}", hazard.id);
                assert!(!picture.still);
                launch.did(&site, Did::Hand);
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
