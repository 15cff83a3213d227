//! A dead radio, and the signals in its place.

use super::{glider, played, site};
use cableside::call::{Evidence, Situation, Vocabulary};
use cableside::drill::launch::Turned;
use cableside::drill::{Course, Did, Ending, Launch, Next, Note, Want, debrief};
use cableside::site::{By, Purpose, bundled};

fn dead_from(step: &str) -> Course {
    Course {
        radio_dead: Some(step.to_owned()),
        ..Course::default()
    }
}

/// At a place with signals for it the launch goes on by them; words are heard by nobody, and nothing need begin.
#[test]
fn a_dead_radio_leaves_the_signals() {
    let site = site("haselrain");
    let heron = || glider("D-6318", 2, "bach");
    let run = |role: &str, turns: &[&str]| played(&site, role, heron(), dead_from("ready"), Some("ready"), turns);
    let say = |note: Note| note.text(site.language);

    let all = ["signal steht bereit", "signal anziehen", "signal ab"];
    let (text, ending, wanted) = run("controller", &all);
    assert_eq!(wanted, vec![Want::Signal; 3], "{text}");
    // Behind the release there is no signal for the retrieve.
    assert_eq!(ending, Ending::NoRadio, "{text}");
    assert!(text.contains("Hupe: ein kurzer Ton an der Winde"), "{text}");
    assert!(text.contains(&site.language.text("radio.dead", &[])), "{text}");
    assert!(text.contains("Lampe: dauerndes Licht: Halt, alles anhalten."), "{text}");
    assert!(
        text.contains(&site.language.text("signal.caution", &[("site", "Haselrain")])),
        "{text}"
    );
    assert!(!text.contains(&say(Note::SignalWanted)), "{text}");

    // Words go nowhere; another signal is remarked upon.
    let words = "Winde, Lima fünf, doppelsitzig, Seil Bach, startbereit";
    let (text, _, _) = run("controller", &[words, "signal ab", "signal steht bereit"]);
    assert!(text.contains(&say(Note::DeadRadio)), "{text}");
    assert!(text.contains(&say(Note::OtherSignal)), "{text}");

    // Nobody has to begin, and "not ready" is as right as silence.
    assert_eq!(run("controller", &[""]).1, Ending::HeldBack);
    assert_eq!(run("controller", &["nicht startbereit"]).1, Ending::NothingMoves);
    assert_eq!(run("controller", &["signal halt"]).1, Ending::StoppedToBeSure);
    let (text, ending, _) = run("controller", &["Halt, Halt"]);
    assert_eq!(ending, Ending::StoppedToBeSure, "{text}");
    assert!(text.contains(&say(Note::DeadRadio)), "{text}");

    // The winch driver sees what is given and answers with his own.
    let (text, _, wanted) = run("winch driver", &["signal gesehen"]);
    assert_eq!(wanted.first(), Some(&Want::Signal), "{text}");
    assert!(text.contains("dreimal lang"), "{text}");
    // The pilot's hand goes on working, and stops count as before.
    let (_, ending, _) = played(&site, "pilot", heron(), dead_from("fertig"), Some("fertig"), &["hand"]);
    assert_eq!(ending, Ending::ByHandToBeSure);
}

/// Once the cable moves nobody holds back by saying nothing: the turn is missed.
#[test]
fn a_radio_that_dies_while_the_cable_moves_is_answered_by_a_signal() {
    let site = site("brackmere");
    let run = |turns: &[&str]| {
        let heron = glider("G-BMHN", 2, "right");
        played(&site, "wing runner", heron, dead_from("take up"), Some("ready"), turns)
    };
    let (text, ending, wanted) = run(&["signal bat low", "signal bat high"]);
    assert_eq!(wanted, vec![Want::Signal; 2], "{text}");
    assert_eq!(ending, Ending::NoRadio, "the retrieve has no signal: {text}");
    let (text, ending, _) = run(&["", "", ""]);
    assert_eq!(ending, Ending::NobodyCalled, "{text}");
    assert_eq!(run(&["signal bats up"]).1, Ending::StoppedToBeSure);
    assert_eq!(run(&["signal bat low", "signal bats up"]).1, Ending::StoppedToBeSure);
    // A wing that drops without a radio: the signal stops it, and so does the word, with a remark.
    let drops = |turns: &[&str]| {
        let course = Course {
            hazard: Some(("wing drops".to_owned(), "slack".to_owned())),
            ..dead_from("take up")
        };
        played(
            &site,
            "wing runner",
            glider("G-BMHN", 2, "left"),
            course,
            Some("ready"),
            turns,
        )
    };
    assert_eq!(drops(&["signal bat low", "signal bats up"]).1, Ending::Stopped);
    let (text, ending, _) = drops(&["signal bat low", "stop stop"]);
    assert_eq!(ending, Ending::Stopped);
    assert!(text.contains(&Note::DeadRadio.text(site.language)), "{text}");
    assert_eq!(drops(&["signal bat low", ""]).1, Ending::HazardMissed);
    // A launch is not begun without a radio here.
    let linnet = glider("G-CDTK", 1, "right");
    let (text, ending, wanted) = played(&site, "pilot", linnet, dead_from("ready"), Some("ready"), &[]);
    assert_eq!((ending, wanted.len()), (Ending::NoRadio, 0), "{text}");
}

/// Spoken into somebody's words a stop may be lost: then the site's own signal for it is named, with the caution.
#[test]
fn a_stop_that_may_be_lost_names_the_signal() {
    for name in bundled::NAMES {
        let site = site(name);
        let ready = site.ready_step().unwrap();
        let aircraft = &site.fleet[0];
        let glider = Situation::new(aircraft.registration.clone(), aircraft.seats, site.cables[0].id.clone());
        let mut launch = Launch::new(&site, "wing runner", glider, Course::default(), None).unwrap();
        while launch.step(&site).is_none_or(|s| s.id != ready.id) {
            if let Next::Listen { .. } = launch.next(&site) {
                let step = launch.judged_step(&site).unwrap();
                let text = launch.situation.taught_call(&site, step);
                let evidence = Evidence::typed(&launch.vocabulary(&site).unwrap(), &text);
                let turned = Turned::new(&site, step, &launch.situation, &evidence);
                if step.by == By::Hand || step.by == By::Signal {
                    launch.did(&site, Did::Hand);
                } else {
                    launch.did(&site, turned.did(false));
                }
            }
        }
        let stop = site.stop_step().unwrap();
        let text = launch.situation.taught_call(&site, stop);
        let evidence = Evidence::typed(&Vocabulary::of(&site, stop), &text);
        let turned = Turned::new(&site, stop, &launch.situation, &evidence);
        launch.cut_in(&site, turned.did(true), true);
        let text = debrief::text(&site, &launch, &[]);
        let signal = site.signals.iter().find(|s| s.stops).unwrap().text(&site, None);
        assert!(
            text.contains(&Note::StopMayBeLost.text(site.language)),
            "{name}: {text}"
        );
        assert!(text.contains(&signal), "{name}: {text}");
        assert!(
            text.contains(&site.language.text("signal.caution", &[("site", &site.name)])),
            "{name}: {text}"
        );
    }
}

/// A stop is obeyed whoever gives it how; but who has a hand on it acts first.
#[test]
fn a_signal_in_place_of_the_hand_is_remarked_upon() {
    let site = site("larkmoor");
    let drops = || Course {
        hazard: Some(("wing drops".to_owned(), "slack".to_owned())),
        ..Course::default()
    };
    let merle = || glider("G-CLRM", 2, "north");
    let say = |note: Note| note.text(site.language);
    let (text, ending, _) = played(
        &site,
        "wing runner",
        merle(),
        drops(),
        Some("slack"),
        &["signal arm up"],
    );
    assert_eq!(ending, Ending::Stopped, "{text}");
    assert!(!text.contains(&say(Note::HandWanted)), "{text}");
    let (text, ending, _) = played(&site, "pilot", merle(), drops(), Some("slack"), &["signal arm up"]);
    assert_eq!(ending, Ending::Stopped, "{text}");
    assert!(text.contains(&say(Note::HandWanted)), "{text}");
}

/// The first call of the day goes to whoever must hear a stop.
#[test]
fn the_radio_check_reaches_the_winch() {
    for name in bundled::NAMES {
        let site = site(name);
        let order = &site.launch.as_ref().unwrap().order;
        let on_air = |s: &&cableside::site::Step| {
            let of = |purpose| site.place_in(s, purpose).is_some();
            s.by == By::Radio && of(Purpose::Request) && !of(Purpose::Cable)
        };
        let check = order.iter().filter_map(|id| site.step(id)).find(on_air).unwrap();
        assert_eq!(check.to, site.ready_step().unwrap().to, "{name}: {}", check.id);
        assert_eq!(check.answer.as_ref().unwrap().role, "winch driver", "{name}");
    }
}
