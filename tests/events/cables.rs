//! The launch direction, the second cable, and which cable goes first.

use super::{glider, played, site};
use crate::shared::play::heard;
use cableside::call::{Evidence, Outcome, Situation, Verdict};
use cableside::command::common;
use cableside::drill::deal::deal;
use cableside::drill::launch::Turned;
use cableside::drill::{Course, Ending, Launch, Next, Note, Want, debrief};

/// The launch direction decides the circuit's side, is told where it matters, and its change is announced and read back.
#[test]
fn the_launch_direction_decides_what_is_said() {
    for (name, step, sides) in [
        (
            "brackmere",
            "briefing",
            [("seaward", "circuit to the left"), ("inland", "circuit to the right")],
        ),
        (
            "haselrain",
            "ansage",
            [("hangauf", "Platzrunde links"), ("hangab", "Platzrunde rechts")],
        ),
    ] {
        let site = site(name);
        let mut seen = std::collections::BTreeSet::new();
        let mut random = common::random(2);
        for _ in 0..60 {
            seen.extend(deal(&site, None, &mut random).unwrap().direction);
        }
        assert_eq!(seen.len(), 2, "{seen:?}");
        let briefing = site.step(step).unwrap();
        let mut day = Situation::new(site.fleet[0].registration.clone(), 1, site.cables[0].id.clone());
        let calls: Vec<String> = sides
            .iter()
            .map(|(id, words)| {
                day.direction = Some((*id).to_owned());
                let call = day.taught_call(&site, briefing);
                assert!(call.contains(words), "{call}");
                let direction = site.directions.iter().find(|d| d.id == *id).unwrap();
                assert!(day.scene(&site, briefing).unwrap().contains(&direction.name));
                assert_eq!(heard(&site, &day, step, &call).outcome, Outcome::Pass);
                call
            })
            .collect();
        assert_eq!(
            heard(&site, &day, step, &calls[0]).outcome,
            Outcome::NotYet,
            "the other side"
        );
        // Nothing said depends on it elsewhere, and there nothing is told.
        let ready = site.ready_step().unwrap();
        let told = day.scene(&site, ready).unwrap_or_default();
        assert!(!told.contains(&site.directions[1].name), "{told}");
    }
    // As one of the shipped sites without it: no direction is dealt, so that nothing changes there.
    let mut random = common::random(2);
    assert_eq!(deal(&site("larkmoor"), None, &mut random).unwrap().direction, None);
}

/// A new direction is passed on to the winch, and read back as it was heard.
#[test]
fn the_new_direction_is_read_back() {
    let site = site("brackmere");
    let course = Course {
        sometimes: vec!["heading".to_owned(), "heading back".to_owned()],
        ..Course::default()
    };
    let mut day = glider("G-BMPV", 1, "left");
    day.direction = Some("inland".to_owned());
    let mut launch = Launch::new(&site, "controller", day.clone(), course.clone(), None).unwrap();
    let turn = |launch: &mut Launch, text: &str| {
        while !matches!(launch.next(&site), Next::Listen { .. }) {}
        let step = launch.judged_step(&site).unwrap();
        let evidence = Evidence::typed(&launch.vocabulary(&site).unwrap(), text);
        let turned = Turned::new(&site, step, &launch.situation, &evidence);
        launch.did(&site, turned.did(false));
    };
    turn(&mut launch, "Red winch, launching inland from now on");
    while !matches!(
        launch.next(&site),
        Next::Listen {
            want: Want::Readback,
            ..
        }
    ) {}
    let text = debrief::text(&site, &launch, &[]);
    assert!(
        text.contains("[winch driver] Winch has launching inland from now on."),
        "{text}"
    );
    let mut launch = Launch::new(&site, "controller", day, course, None).unwrap();
    turn(&mut launch, "Red winch, launching seaward from now on");
    while !matches!(launch.next(&site), Next::Listen { .. }) {}
    assert_eq!(
        launch.want(),
        Some(Want::Readback),
        "the slip is read back as it was heard"
    );
}

/// Nothing is fetched while another cable is laid out for a launch: whoever may not ask keeps still, whoever may not permit says so.
#[test]
fn the_retrieve_waits_for_the_last_cable() {
    let site = site("brackmere");
    let run = |role: &str, step: &str, turns: &[&str]| {
        let course = Course {
            hazard: Some(("cable still out".to_owned(), step.to_owned())),
            ..Course::default()
        };
        played(
            &site,
            role,
            glider("G-BMHN", 2, "right"),
            course,
            Some("retrieve"),
            turns,
        )
        .1
    };
    assert_eq!(run("retrieve driver", "retrieve", &[""]), Ending::HeldBack);
    assert_eq!(
        run("retrieve driver", "retrieve", &["Blue winch, may I fetch, right"]),
        Ending::HazardMissed
    );
    for refusal in ["wait", "Tractor, right, do not drive", "stay where you are"] {
        assert_eq!(
            run("winch driver", "permission", &[refusal]),
            Ending::NothingMoves,
            "{refusal}"
        );
    }
    assert_eq!(run("winch driver", "permission", &["stop stop"]), Ending::Stopped);
    let permits = "Tractor, right, drums stopped, you may drive";
    assert_eq!(run("winch driver", "permission", &[permits]), Ending::HazardMissed);
}

/// "Right" is the cable where the call has its cable; before and behind that it is small talk, or asked about, and never passes for it.
#[test]
fn a_cable_may_be_called_right() {
    let site = site("brackmere");
    let on = |cable: &str| glider("G-BMHN", 2, cable);
    let judged = |cable: &str, text: &str| heard(&site, &on(cable), "ready", text);
    for (cable, text, outcome) in [
        ("right", "Blue winch, Heron, two up, right, ready", Outcome::Pass),
        ("right", "Blue winch, Heron, two up, on the right, ready", Outcome::Pass),
        ("right", "Blue winch, Heron, two up, right cable, ready", Outcome::Pass),
        ("left", "Red winch, Heron, two up, right, ready", Outcome::NotYet),
        ("left", "Right, red winch, Heron, two up, left, ready", Outcome::Pass),
        ("left", "Red winch, right, Heron, two up, left, ready", Outcome::Pass),
        ("left", "Red winch, Heron, two up, left, ready, right", Outcome::Pass),
        ("right", "Right, blue winch, Heron, two up, ready", Outcome::SayAgain),
        ("right", "Blue winch, Heron, two up, ready, right", Outcome::SayAgain),
        ("right", "Blue winch, Heron, two up, all right, ready", Outcome::NotYet),
        ("right", "Blue winch, Heron, two up, not right, ready", Outcome::NotYet),
        ("right", "Blue winch, Heron, two up, ready", Outcome::NotYet),
        (
            "left",
            "Red winch, Heron, two up, right, correction, left, ready",
            Outcome::Pass,
        ),
    ] {
        let found = judged(cable, text);
        assert_eq!(found.outcome, outcome, "{cable}: {text}\n{found:#?}");
    }
    let both = judged("left", "Red winch, Heron, two up, left, right, ready");
    assert_ne!(both.outcome, Outcome::Pass, "{both:#?}");
    // The answer to "which cable" is the cable; two of them are none.
    let cable = |text: &str| judged("right", text).element("cable").unwrap().verdict;
    assert_eq!(cable("right"), Verdict::Said);
    assert_eq!(cable("left"), Verdict::Wrong);
    assert_ne!(cable("right, left"), Verdict::Said);
    // Each winch has its own cables.
    for (cable, winch) in [("left", "Red winch"), ("middle", "Red winch"), ("right", "Blue winch")] {
        let call = on(cable).taught_call(&site, site.step("ready").unwrap());
        assert_eq!(call, format!("{winch}, Heron, two up, {cable}, ready."));
    }
    let wrong = judged("right", "Red winch, Heron, two up, right, ready");
    assert_eq!(wrong.element("address").unwrap().verdict, Verdict::Wrong);
}

/// On a day with the wind across the site's rule says which cable goes first; the program deals no other.
#[test]
fn the_first_cable_follows_the_sites_rule() {
    let site = site("haselrain");
    let mut random = common::random(7);
    let mut seen = std::collections::BTreeSet::new();
    for _ in 0..200 {
        let dealt = deal(&site, None, &mut random).unwrap();
        let first = dealt.more["reihenfolge"].clone();
        assert_eq!(first, format!("{} zuerst", dealt.cable));
        let step = site.step("reihenfolge").unwrap();
        let call = dealt.taught_call(&site, step);
        assert_eq!(
            heard(&site, &dealt, "reihenfolge", &call).outcome,
            Outcome::Pass,
            "{call}"
        );
        let other = if dealt.cable == "bach" {
            "zuerst Seil Hang"
        } else {
            "zuerst Seil Bach"
        };
        assert_eq!(
            heard(&site, &dealt, "reihenfolge", other).outcome,
            Outcome::NotYet,
            "{call}"
        );
        seen.insert(first);
    }
    assert_eq!(seen.len(), 2);
}

/// The controller passes on what the pilot said, and once in a while it is another cable or another crew: whoever stands beside it hears it
/// and puts it right, or stops it. Said rightly all the same it is no fault.
#[test]
fn a_wrong_passing_on_is_noticed() {
    let site = site("haselrain");
    let pilot = |misread: (&str, &str), turns: &[&str]| {
        let course = Course {
            misread: Some((misread.0.to_owned(), misread.1.to_owned())),
            ..Course::default()
        };
        played(
            &site,
            "pilot",
            glider("D-6318", 2, "bach"),
            course,
            Some("fertig"),
            turns,
        )
    };
    let call = "Lima fünf, doppelsitzig, Seil Bach, ich bin fertig";
    let other = site.cables.iter().find(|c| c.id != "bach").unwrap();
    for (element, value) in [("cable", other.id.as_str()), ("crew", "1")] {
        let wrong = site.taught_words(element, value).unwrap();
        let (text, ending, wanted) = pilot((element, value), &[call, ""]);
        assert!(text.contains(&wrong), "{element}: {text}");
        assert_eq!(wanted[..2], [Want::Call, Want::Readback], "{text}");
        assert_eq!(ending, Ending::ReadbackAccepted, "{element}: {text}");
        assert_eq!(pilot((element, value), &[call, "Halt"]).1, Ending::Stopped);
        assert_eq!(pilot((element, value), &[call, "hand"]).1, Ending::ByHand);
        let right = site
            .taught_words(element, if element == "crew" { "2" } else { "bach" })
            .unwrap();
        let (text, ending, _) = pilot((element, value), &[call, &format!("negativ, {right}")]);
        assert!(text.contains(&Note::Corrected.text(site.language)), "{element}: {text}");
        assert_ne!(ending, Ending::ReadbackAccepted, "{element}: {text}");
    }
}
