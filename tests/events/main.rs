//! What comes over a launch from outside, at the sites that say what is done then: a dead radio, somebody else's stop, a new launch
//! direction, a second cable that still lies out; and a cable called "right".

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

use cableside::call::judge::{Limits, judge};
use cableside::call::{Evidence, Judgement, Outcome, Situation, Verdict, Vocabulary};
use cableside::command::common;
use cableside::drill::deal::deal;
use cableside::drill::debrief;
use cableside::drill::launch::Turned;
use cableside::drill::simulate::{events, simulate};
use cableside::drill::{Course, Did, Ending, Launch, Next, Note, Want};
use cableside::site::{By, Callsign, Purpose, Site, bundled};

fn site(name: &str) -> Site {
    Site::check(&bundled::files(name).unwrap()).unwrap_or_else(|p| panic!("{p}"))
}

fn glider(registration: &str, crew: u8, cable: &str) -> Situation {
    Situation::new(Callsign::parse(registration).unwrap(), crew, cable)
}

fn heard(site: &Site, situation: &Situation, step: &str, text: &str) -> Judgement {
    let step = site.step(step).unwrap();
    let evidence = Evidence::typed(&Vocabulary::of(site, step), text);
    judge(site, step, situation, &evidence, &Limits::DEFAULT)
}

/// Type what the student does in turn: words, "hand", "signal NAME", or "" for nothing. What came of it, and how often each thing was
/// wanted.
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
    let mut launch = Launch::new(site, role, situation, course, only.as_deref()).unwrap();
    let mut turns = turns.iter();
    let mut wanted = Vec::new();
    loop {
        match launch.next(site) {
            Next::Ended(ending) => return (debrief::text(site, &launch, &[]), ending, wanted),
            Next::Listen { want, .. } => {
                wanted.push(want);
                match turns.next().copied() {
                    None | Some("") => launch.did(site, Did::Nothing),
                    Some("hand") => launch.did(site, Did::Hand),
                    Some(text) if text.starts_with("signal ") => launch.did(site, Did::Signal(&text[7..])),
                    Some(text) => {
                        let step = launch.judged_step(site).unwrap();
                        let evidence = Evidence::typed(&launch.vocabulary(site).unwrap(), text);
                        let turned = Turned::new(site, step, &launch.situation, &evidence);
                        launch.did(site, turned.did(false));
                    }
                }
            }
            _ => {}
        }
    }
}

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

/// Somebody else calls stop: the hand first, where there is one; then everything is done again from the hook.
#[test]
fn after_somebodys_stop_everything_is_done_again() {
    let site = site("brackmere");
    let say = |note: Note| note.text(site.language);
    let ready = "Red winch, Heron, two up, middle, ready";
    let course = |during: &str| Course {
        halt: Some(("ball".to_owned(), during.to_owned())),
        ..Course::default()
    };
    let run = |role: &str, during: &str, turns: &[&str]| {
        played(
            &site,
            role,
            glider("G-BMHN", 2, "middle"),
            course(during),
            Some("open"),
            turns,
        )
    };
    let again = ["hand", "hook open", "hook closed", ready, "", "hand", "hand"];
    let first = ["hand", "hook open", "hook closed", ready, ""];
    let turns = |stop: &[&'static str]| [&first[..], stop, &again[..]].concat();
    let (text, ending, wanted) = run("pilot", "take up", &turns(&["hand"]));
    assert_eq!(ending, Ending::Complete, "{text}");
    assert!(wanted.contains(&Want::Halt), "{wanted:?}");
    assert!(text.contains("Stop, stop! Child on the field!"), "{text}");
    assert!(text.contains("The child is back behind the rope"), "{text}");
    assert!(text.contains(&say(Note::HandFirst)), "{text}");
    assert_eq!(text.matches("Hook closed.").count(), 2, "hooked on twice: {text}");
    // Words, or nothing: the hand is wanted once more, and noted. Nothing of it ends the launch.
    for late in [&["", "hand"][..], &["stop", "hand"], &["", ""]] {
        let (text, ending, _) = run("pilot", "take up", &turns(late));
        assert_eq!(ending, Ending::Complete, "{late:?}: {text}");
        assert!(text.contains(&say(Note::HaltWithoutHand)), "{text}");
    }
    // Who has nothing in the hand keeps still, or passes it on; nobody calls on.
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
        let (text, ending, _) = run("wing runner", "take up", &all);
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
    assert_eq!(run("wing runner", "take up", &on).1, Ending::BrokenOff);
    // Before hooking on is over the pilot's hand has nothing to stop.
    let german = crate::site("haselrain");
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
