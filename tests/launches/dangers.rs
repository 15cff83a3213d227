//! What goes wrong on the ground and in the air, and what is done about it.

use super::{READY, played, run_with, site, steps, turned};
use cableside::call::Situation;
use cableside::command::common;
use cableside::drill::deal::{course, deal};
use cableside::drill::launch::roles;
use cableside::drill::simulate::random_call;
use cableside::drill::{Course, Did, Ending, Launch, Next, Note, Pace, Want, debrief};

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
