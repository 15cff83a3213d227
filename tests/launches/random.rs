//! Thousands of launches at random, and what comes in between.

use super::{READY, played, site, steps, to_my_turn, turned};
use cableside::call::Situation;
use cableside::command::common;
use cableside::drill::deal::{course, deal};
use cableside::drill::launch::roles;
use cableside::drill::simulate::{Tally, events, simulate};
use cableside::drill::{Course, Did, Ending, Launch, Next, Note, Pace, Want, debrief};
use cableside::site::{Site, bundled};

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
