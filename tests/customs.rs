//! Customs of clubs that the two sites that ship do not have: each in an invented site, checked without a notice and drilled typed.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

use cableside::call::judge::{Limits, judge};
use cableside::call::{Evidence, Judgement, Outcome, Situation, Vocabulary};
use cableside::command::common;
use cableside::drill::deal::deal;
use cableside::drill::debrief;
use cableside::drill::launch::Turned;
use cableside::drill::simulate::simulate;
use cableside::drill::{Course, Did, Ending, Launch, Next, Note, Want};
use cableside::site::{Callsign, Site};

fn site(name: &str) -> Site {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/sites")
        .join(name);
    Site::check(&cableside::folders::read_site(&folder)).unwrap_or_else(|p| panic!("{p}"))
}

fn heard(site: &Site, situation: &Situation, step: &str, text: &str) -> Judgement {
    let step = site.step(step).unwrap();
    let evidence = Evidence::typed(&Vocabulary::of(site, step), text);
    judge(site, step, situation, &evidence, &Limits::DEFAULT)
}

fn situation(registration: &str, crew: u8, cable: &str, more: &[(&str, &str)]) -> Situation {
    let mut s = Situation::new(Callsign::parse(registration).unwrap(), crew, cable);
    s.more = more.iter().map(|(e, v)| ((*e).to_owned(), (*v).to_owned())).collect();
    s
}

/// Type what the student does in turn: words, "hand", "signal NAME", or "" for nothing.
fn played(site: &Site, role: &str, situation: Situation, course: Course, turns: &[&str]) -> (String, Ending) {
    let mut launch = Launch::new(site, role, situation, course, None).unwrap();
    let mut turns = turns.iter();
    loop {
        match launch.next(site) {
            Next::Ended(ending) => return (debrief::text(site, &launch, &[]), ending),
            Next::Listen { .. } => match turns.next().copied() {
                None | Some("") => launch.did(site, Did::Nothing),
                Some("hand") => launch.did(site, Did::Hand),
                Some(text) if text.starts_with("signal ") => launch.did(site, Did::Signal(&text[7..])),
                Some(text) => {
                    let step = launch.judged_step(site).unwrap();
                    let evidence = Evidence::typed(&launch.vocabulary(site).unwrap(), text);
                    let turned = Turned::new(site, step, &launch.situation, &evidence);
                    launch.did(site, turned.did(false));
                }
            },
            _ => {}
        }
    }
}

const TODAY: [(&str, &str); 2] = [("wind", "quer"), ("number", "17")];

/// What the program teaches must be right when it is said, for every glider, crew, cable and day that can be dealt.
#[test]
fn what_is_taught_is_right_at_every_site() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    for place in [
        "phrases/larkmoor",
        "phrases/erlengrund",
        "tests/sites/holmwick",
        "tests/sites/kranmoor",
        "tests/sites/saltmere",
    ] {
        let site = Site::check(&cableside::folders::read_site(&folder.join(place))).unwrap_or_else(|p| panic!("{p}"));
        let mut random = common::random(3);
        for _ in 0..200 {
            let dealt = deal(&site, None, &mut random).unwrap();
            for step in site.steps.iter().filter(|s| s.by.has_words()) {
                let taught = dealt.taught_call(&site, step);
                let judged = heard(&site, &dealt, &step.id, &taught);
                assert_eq!(
                    judged.outcome,
                    Outcome::Pass,
                    "{place} {}: {taught}\n{judged:#?}",
                    step.id
                );
                assert_eq!(judged.score, Some(100), "{place} {}: {taught}\n{judged:#?}", step.id);
            }
        }
    }
}

#[test]
fn a_glider_is_named_by_its_type() {
    let site = site("kranmoor");
    assert!(site.notices.is_empty(), "{:?}", site.notices);
    let erle = situation("D-4418", 2, "wald", &TODAY);
    let step = site.step("ready").unwrap();
    assert_eq!(
        erle.taught_call(&site, step),
        "Winde, Erle, doppelsitzig, Windenseil Wald, startklar, Wind von der Seite, Start Nummer eins sieben."
    );
    let pass = |s: &Situation, text: &str| heard(&site, s, "ready", text).outcome;
    for named in ["Erle", "Delta vier vier eins acht"] {
        let call = format!(
            "Winde, {named}, doppelsitzig, Windenseil Wald, startklar, Wind von der Seite, Start Nummer eins sieben"
        );
        assert_eq!(pass(&erle, &call), Outcome::Pass, "{call}");
    }
    for (named, why) in [
        ("Zeisig", "another type"),
        ("Delta vier vier acht eins", "another glider"),
        ("", "nothing"),
    ] {
        let call = format!(
            "Winde, {named}, doppelsitzig, Windenseil Wald, startklar, Wind von der Seite, Start Nummer eins sieben"
        );
        assert_eq!(pass(&erle, &call), Outcome::NotYet, "{why}: {call}");
    }
}

#[test]
fn a_glider_is_named_by_type_and_number_or_by_its_competition_sign_and_says_no_crew() {
    let site = site("kranmoor");
    let rest = "Windenseil Wald, startklar, Wind von der Seite, Start Nummer eins sieben";
    let zeisig = situation("D-4481", 1, "wald", &TODAY);
    let pass = |s: &Situation, text: &str| heard(&site, s, "ready", &format!("Winde, {text}, {rest}")).outcome;
    assert_eq!(pass(&zeisig, "Zeisig acht eins"), Outcome::Pass);
    assert_eq!(
        pass(&zeisig, "Zeisig acht eins, einsitzig"),
        Outcome::Pass,
        "more may be said"
    );
    assert_eq!(
        pass(&zeisig, "Zeisig acht eins, doppelsitzig"),
        Outcome::NotYet,
        "and must be right then"
    );
    assert_eq!(pass(&zeisig, "Zeisig"), Outcome::NotYet, "half its name");
    assert_eq!(pass(&zeisig, "acht eins"), Outcome::NotYet, "the other half");
    assert_eq!(pass(&zeisig, "Zeisig eins acht"), Outcome::NotYet);
    let stelze = situation("D-9037", 1, "wald", &TODAY);
    assert_eq!(pass(&stelze, "Kilo sieben"), Outcome::Pass);
    assert_eq!(pass(&stelze, "Kilo eins"), Outcome::NotYet);
    assert_eq!(
        pass(&stelze, "Delta neun null drei sieben"),
        Outcome::NotYet,
        "the site does not list it"
    );
}

#[test]
fn the_cable_may_be_dropped_where_one_is_laid_out() {
    let site = site("kranmoor");
    let mut erle = situation("D-4418", 1, "moor", &TODAY);
    let without = "Winde, Erle, einsitzig, Windenseil, startklar, Wind von der Seite, Start Nummer eins sieben";
    assert_eq!(heard(&site, &erle, "ready", without).outcome, Outcome::NotYet);
    erle.single = true;
    let step = site.step("ready").unwrap();
    assert!(erle.scene(&site, step).unwrap().contains("nur ein Seil"));
    assert_eq!(heard(&site, &erle, "ready", without).outcome, Outcome::Pass);
    assert_eq!(
        heard(&site, &erle, "ready", &erle.taught_call(&site, step)).outcome,
        Outcome::Pass
    );
    let other = without.replace("Windenseil,", "Windenseil Wald,");
    assert_eq!(
        heard(&site, &erle, "ready", &other).outcome,
        Outcome::NotYet,
        "a wrong name is wrong"
    );
    // The winch driver reads back what was said, in words of his own.
    let (text, ending) = played(&site, "pilot", erle, Course::default(), &[without, "", "hand"]);
    assert_eq!(ending, Ending::Complete, "{text}");
    assert!(text.contains("Jo, einsitzig, ich ziehe an."), "{text}");
}

#[test]
fn dealt_values_are_seen_and_must_be_said() {
    let site = site("kranmoor");
    let mut random = common::random(4);
    let mut seen = std::collections::BTreeSet::new();
    for _ in 0..300 {
        let dealt = deal(&site, None, &mut random).unwrap();
        let scene = dealt.scene(&site, site.step("ready").unwrap()).unwrap();
        assert!(scene.contains(&format!("Zeile {} ", dealt.more["number"])), "{scene}");
        seen.insert(dealt.more["number"].clone());
    }
    assert!(seen.len() > 35, "{seen:?}");
    let erle = situation("D-4418", 1, "moor", &TODAY);
    let call = |wind: &str, number: &str| {
        format!("Winde, Erle, einsitzig, Windenseil Moor, startklar, {wind}, Start Nummer {number}")
    };
    let outcome = |wind, number| heard(&site, &erle, "ready", &call(wind, number)).outcome;
    assert_eq!(outcome("Wind von der Seite", "eins sieben"), Outcome::Pass);
    assert_eq!(outcome("Wind von vorn", "eins sieben"), Outcome::NotYet);
    assert_eq!(outcome("Wind von der Seite", "eins acht"), Outcome::NotYet);
    assert_eq!(outcome("Wind von der Seite", "sieben"), Outcome::NotYet);
}

#[test]
fn a_command_is_said_as_often_as_the_site_has_it() {
    let site = site("kranmoor");
    let erle = situation("D-4418", 1, "moor", &TODAY);
    let outcome = |text: &str| heard(&site, &erle, "all out", text).outcome;
    assert_eq!(outcome("ab, ab, ab"), Outcome::Pass);
    for few in ["ab", "ab ab", "ab, nicht ab, ab"] {
        assert_ne!(outcome(few), Outcome::Pass, "{few}");
    }
    // Two commands, each at its time: both in one breath are not the first.
    let saltmere = crate::site("saltmere");
    let glider = Situation::new(saltmere.fleet[0].registration.clone(), 1, saltmere.cables[0].id.clone());
    let outcome = |step: &str, text: &str| heard(&saltmere, &glider, step, text).outcome;
    assert_eq!(outcome("take up", "take up slack"), Outcome::Pass);
    assert_eq!(outcome("take up", "take up slack, all out"), Outcome::NotYet);
    assert_eq!(outcome("take up", "all out"), Outcome::NotYet);
    assert_eq!(outcome("all out", "all out"), Outcome::Pass);
    assert_eq!(outcome("all out", "take up slack"), Outcome::NotYet);
}

/// A signal of the site's own is seen and given by any role; another one is remarked upon, and one that stops is obeyed at once.
#[test]
fn signals_are_given_and_seen() {
    let site = site("kranmoor");
    let erle = || situation("D-4418", 2, "wald", &TODAY);
    let run = |role: &str, turns: &[&str]| played(&site, role, erle(), Course::default(), turns);
    let (text, ending) = run("wing runner", &["signal straff", "ab ab ab"]);
    assert_eq!(ending, Ending::Complete, "{text}");
    assert!(text.contains("Lampe: zweimal kurz"), "{text}");
    assert!(
        text.contains(&site.language.text("sound.horn", &[])),
        "a horn is heard: {text}"
    );
    let (text, ending) = run("wing runner", &["signal anziehen", "signal straff", "ab ab ab"]);
    assert_eq!(ending, Ending::Complete);
    assert!(text.contains(&Note::OtherSignal.text(site.language)), "{text}");
    let (text, _) = run("wing runner", &["Seil straff", "signal straff"]);
    assert!(text.contains(&Note::SignalWanted.text(site.language)), "{text}");
    assert_eq!(run("wing runner", &["signal halt"]).1, Ending::StoppedToBeSure);
    let ready = erle().taught_call(&site, site.step("ready").unwrap());
    let wrong = Course {
        misread: Some(("cable".to_owned(), "moor".to_owned())),
        ..Course::default()
    };
    assert_eq!(
        played(&site, "pilot", erle(), wrong, &[&ready, "signal halt"]).1,
        Ending::Stopped
    );
    assert_eq!(run("wing runner", &["", "", ""]).1, Ending::NobodyCalled);
    let (text, ending) = run("winch driver", &["doppelsitzig, Wald", "signal anziehen"]);
    assert_eq!(ending, Ending::Complete, "{text}");
}

/// A short callsign will do once the full one was answered, and not before.
#[test]
fn a_short_callsign_comes_after_contact() {
    let site = site("saltmere");
    let glider = || Situation::new(Callsign::parse("G-KTSB").unwrap(), 1, site.cables[0].id.clone());
    let call = |name: &str| format!("Winch, {name}, ready");
    let (full, short) = ("Golf Kilo Tango Sierra Bravo", "Golf Sierra Bravo");
    let outcome = |s: &Situation, name: &str| heard(&site, s, "ready", &call(name)).outcome;
    assert_eq!(outcome(&glider(), full), Outcome::Pass);
    assert_eq!(outcome(&glider(), short), Outcome::NotYet);
    let mut after = glider();
    after.contact = true;
    for name in [full, short, "Golf Tango Sierra Bravo"] {
        assert_eq!(outcome(&after, name), Outcome::Pass, "{name}");
    }
    for name in ["Sierra Bravo", "Golf Bravo Sierra", "Golf Kilo Bravo", "Bravo"] {
        assert_eq!(outcome(&after, name), Outcome::NotYet, "{name}");
    }
    let check = format!("Winch, {full}, radio check");
    let (text, ending) = played(
        &site,
        "pilot",
        after.clone(),
        Course::default(),
        &[&check, &call(short), "hand", "hand"],
    );
    assert_eq!(ending, Ending::Complete, "{text}");
    // What was dealt does not count: contact is made in the launch itself.
    let early = format!("Winch, {short}, radio check");
    let (text, _) = played(&site, "pilot", after, Course::default(), &[&early]);
    assert!(!text.contains("Reading you five"), "{text}");
}

#[test]
fn every_launch_of_these_sites_ends() {
    for name in ["kranmoor", "saltmere", "holmwick"] {
        let site = site(name);
        let tally = simulate(&site, 3000, &mut common::random(8));
        assert_eq!(tally.dead_ends, Vec::<String>::new(), "{name}");
        let signals = tally.turns.keys().any(|(_, w)| *w == Want::Signal);
        assert_eq!(signals, name == "kranmoor");
    }
}
