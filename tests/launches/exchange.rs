//! The exchange of calls: who says what, what is asked again, read back, refused, answered by stop.

use super::{BRIEFING, READY, played, site, steps, turned};
use cableside::call::Situation;
use cableside::drill::{Course, Ending, Launch, Next, Note, debrief};

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
    let expected = include_str!("../golden/larkmoor_perfect.txt");
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
