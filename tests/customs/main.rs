//! Customs of clubs that the two sites that ship do not have: each in an invented site, checked without a notice and drilled typed.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

use cableside::call::judge::{Limits, judge};
use cableside::call::{Evidence, Judgement, Outcome, Situation, Verdict, Vocabulary};
use cableside::command::common;
use cableside::drill::deal::deal;
use cableside::drill::debrief;
use cableside::drill::launch::Turned;
use cableside::drill::simulate::simulate;
use cableside::drill::{Answer, Course, Did, Ending, Launch, Next, Note, Turn, Want};
use cableside::site::{Callsign, Site};

fn site(name: &str) -> Site {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/sites")
        .join(name);
    Site::check(&cableside::folders::read_site(&folder)).unwrap_or_else(|p| panic!("{p}"))
}

/// A site with some of its words changed; each old text must be there.
fn changed(folder: &str, changes: &[(&str, &str, &str)]) -> Site {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut files = cableside::folders::read_site(&folder);
    for (file, old, new) in changes {
        let text = files.texts.get_mut(*file).unwrap();
        assert!(text.contains(old), "{file} does not hold {old}");
        *text = text.replace(old, new);
    }
    Site::check(&files).unwrap_or_else(|p| panic!("{p}"))
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
        "phrases/brackmere",
        "phrases/haselrain",
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

/// A turn of the ready call over several attempts: what the other side did last, and the turn.
fn turned(site: &Site, situation: &Situation, step: &str, calls: &[&str]) -> (Answer, Turn) {
    let mut turn = Turn::new(situation.clone());
    let mut answer = Answer::Silence;
    for call in calls {
        turn.prompted();
        turn.press();
        turn.release();
        let judged = heard(site, situation, step, call);
        answer = turn.judged(site, site.step(step).unwrap(), &judged);
    }
    (answer, turn)
}

/// What may be left out must be right wherever it is said: in the call that an answer completes as well.
#[test]
fn what_need_not_be_said_must_be_right_in_an_answer_too() {
    let site = site("kranmoor");
    let rest = "startklar, Wind von der Seite, Start Nummer eins sieben";
    let zeisig = situation("D-4481", 1, "wald", &TODAY);
    let first = format!("Winde, Windenseil Wald, {rest}");
    let wrong = format!("Winde, Zeisig acht eins, doppelsitzig, Windenseil Wald, {rest}");
    let right = format!("Winde, Zeisig acht eins, Windenseil Wald, {rest}");
    let last = |s: &Situation, calls: &[&str]| turned(&site, s, "ready", calls);
    let (answer, turn) = last(&zeisig, &[&first, &wrong]);
    assert!(
        matches!(&answer, Answer::ReadBack { element, .. } if element == "crew"),
        "{answer:?}"
    );
    assert!(turn.so_far.as_ref().unwrap().score.unwrap() < 100, "{turn:?}");
    // In the taught order, behind the callsign.
    let order: Vec<String> = turn.so_far.unwrap().elements.into_iter().map(|e| e.element).collect();
    assert_eq!(order, site.step("ready").unwrap().elements);
    // The answer to the question alone is judged likewise.
    let (answer, _) = last(&zeisig, &[&first, "Zeisig acht eins, doppelsitzig"]);
    assert!(
        matches!(&answer, Answer::ReadBack { element, .. } if element == "crew"),
        "{answer:?}"
    );
    assert!(matches!(
        last(&zeisig, &[&first, "Zeisig acht eins"]).0,
        Answer::Complete(_)
    ));
    assert!(matches!(
        last(&zeisig, &[&first, &wrong, &right]).0,
        Answer::Complete(_)
    ));

    let mut erle = situation("D-4418", 1, "moor", &TODAY);
    erle.single = true;
    let first = format!("Winde, einsitzig, Windenseil, {rest}");
    let wrong = format!("Winde, Erle, einsitzig, Windenseil Wald, {rest}");
    let (answer, _) = last(&erle, &[&first, &wrong]);
    assert!(
        matches!(&answer, Answer::ReadBack { element, .. } if element == "cable"),
        "{answer:?}"
    );
    let right = format!("Winde, Erle, einsitzig, Windenseil, {rest}");
    for end in [right.as_str(), "Moor"] {
        let (answer, _) = last(&erle, &[&first, &wrong, end]);
        assert!(matches!(answer, Answer::Complete(_)), "{end}: {answer:?}");
    }
}

/// Half a wording in an answer is told as half, as it is in a first call.
#[test]
fn half_a_wording_in_an_answer_is_told() {
    let site = changed("phrases/larkmoor", &[]);
    let glider = situation("G-CLRM", 2, "north", &[]);
    let calls = [
        "Winch, two up, north, ready",
        "Golf Charlie Lima Romeo Mike, north cable",
    ];
    let (answer, turn) = turned(&site, &glider, "ready", &calls);
    assert!(!matches!(answer, Answer::Complete(_)), "{answer:?}");
    let method = turn.so_far.unwrap().element("method").cloned().unwrap();
    assert_eq!(
        (method.verdict, method.heard.as_deref()),
        (Verdict::Missing, Some("cable"))
    );
}

/// Whoever once said something that is no part of the call gets out with the call as it should be, and not by agreeing.
#[test]
fn what_is_no_part_of_the_call_is_gone_when_the_call_is_made_again_without_it() {
    let site = site("kranmoor");
    let rest = "Windenseil Wald, startklar, Wind von der Seite, Start Nummer eins sieben";
    let zeisig = situation("D-4481", 1, "wald", &TODAY);
    let wrong = format!("Winde, Zeisig acht eins, doppelsitzig, {rest}");
    let taught = zeisig.taught_call(&site, site.step("ready").unwrap());
    assert!(!taught.contains("sitzig"), "{taught}");
    let (answer, turn) = turned(&site, &zeisig, "ready", &[&wrong, &taught]);
    assert!(matches!(answer, Answer::Complete(_)), "{answer:?}");
    assert_eq!(turn.so_far.unwrap().outcome, Outcome::Pass);
    for end in [
        "ja",
        "richtig",
        "startklar",
        "Windenseil Wald, startklar",
        "Zeisig acht eins",
    ] {
        let (answer, _) = turned(&site, &zeisig, "ready", &[&wrong, end]);
        assert!(!matches!(answer, Answer::Complete(_)), "{end}: {answer:?}");
    }
    assert!(matches!(
        turned(&site, &zeisig, "ready", &[&wrong, "einsitzig"]).0,
        Answer::Complete(_)
    ));

    // In a launch the driver reads back what was said, right or wrong.
    let run = |turns: &[&str]| played(&site, "pilot", zeisig.clone(), Course::default(), turns);
    let (text, ending) = run(&[&taught, "ja", "hand"]);
    assert_eq!(ending, Ending::Complete, "{text}");
    assert!(text.contains("Jo, Wald, ich ziehe an."), "{text}");
    let with = format!("Winde, Zeisig acht eins, einsitzig, {rest}");
    let (text, ending) = run(&[&with, "ja", "hand"]);
    assert_eq!(ending, Ending::Complete, "{text}");
    assert!(text.contains("Jo, einsitzig, Wald, ich ziehe an."), "{text}");
    let (text, ending) = run(&[&wrong, "ja"]);
    assert_eq!(ending, Ending::ReadbackAccepted, "{text}");
    assert!(text.contains("Jo, doppelsitzig, Wald, ich ziehe an."), "{text}");
    for corrected in ["negativ, ich wiederhole, einsitzig", taught.as_str()] {
        let (text, ending) = run(&[&wrong, corrected, "hand"]);
        assert_eq!(ending, Ending::Complete, "{text}");
    }
    // Nothing is read back wrongly that is not read back.
    let misread = Course {
        misread: Some(("crew".to_owned(), "2".to_owned())),
        ..Course::default()
    };
    let (text, ending) = played(&site, "pilot", zeisig.clone(), misread, &[&taught, "ja", "hand"]);
    assert_eq!(ending, Ending::Complete, "{text}");
}

/// A wrong part that the driver does not read back is asked for: he does not pull upon it.
#[test]
fn what_is_not_read_back_is_asked_for() {
    let site = site("kranmoor");
    let erle = || situation("D-4418", 2, "wald", &TODAY);
    let right = erle().taught_call(&site, site.step("ready").unwrap());
    let wrong = right.replace("Wind von der Seite", "Wind von vorn");
    let (text, ending) = played(
        &site,
        "pilot",
        erle(),
        Course::default(),
        &[&wrong, &right, "ja", "hand"],
    );
    assert_eq!(ending, Ending::Complete, "{text}");
    assert!(text.contains("Wind von vorn?"), "{text}");
    let (text, ending) = played(
        &site,
        "pilot",
        erle(),
        Course::default(),
        &[&wrong, "ja", "ja", "ja", "ja"],
    );
    assert_eq!(ending, Ending::BrokenOff, "{text}");
    // One of several wrong ones is: all of them must be audible.
    let both = wrong.replace("Windenseil Wald", "Windenseil Moor");
    let (text, ending) = played(
        &site,
        "pilot",
        erle(),
        Course::default(),
        &[&both, "Windenseil Wald", "ja"],
    );
    assert!(text.contains("Moor?") && text.contains("Wind von vorn?"), "{text}");
    assert_ne!(ending, Ending::Complete, "{text}");
}

/// Whoever is called by a type, a sign or letters is not suddenly called by the registration's first and last characters.
#[test]
fn what_is_short_after_contact_follows_how_the_glider_is_named() {
    let rest = "Windenseil Wald, startklar, Wind von der Seite, Start Nummer eins sieben";
    let short = ("site.toml", "callsign = \"full\"", "callsign = \"short after contact\"");
    let site = changed("tests/sites/kranmoor", &[short]);
    let after = |registration: &str, crew: u8| {
        let mut s = situation(registration, crew, "wald", &TODAY);
        s.contact = true;
        s
    };
    let step = site.step("ready").unwrap();
    let outcome =
        |site: &Site, s: &Situation, call: &str| heard(site, s, "ready", &format!("Winde, {call}, {rest}")).outcome;
    let zeisig = after("D-4481", 1);
    assert!(zeisig.taught_call(&site, step).contains("acht eins"));
    assert!(!zeisig.taught_call(&site, step).contains("Zeisig"));
    for (name, right) in [
        ("acht eins", true),
        ("Zeisig acht eins", true),
        ("Delta acht eins", false),
        ("Zeisig", false),
        ("eins acht", false),
    ] {
        let expected = if right { Outcome::Pass } else { Outcome::NotYet };
        assert_eq!(outcome(&site, &zeisig, name), expected, "{name}");
    }
    let before = situation("D-4481", 1, "wald", &TODAY);
    assert_eq!(outcome(&site, &before, "acht eins"), Outcome::NotYet);
    // A sign alone cannot be shorter, and the type is taught as before; its registration may be shortened.
    let stelze = after("D-9037", 1);
    assert_eq!(outcome(&site, &stelze, "Kilo sieben"), Outcome::Pass);
    assert_eq!(outcome(&site, &stelze, "Delta drei sieben"), Outcome::NotYet);
    assert!(
        !stelze
            .scene(&site, step)
            .unwrap()
            .contains(&site.language.text("scene.contact", &[]))
    );
    let erle = after("D-4418", 2);
    assert!(erle.taught_call(&site, step).contains("Erle"));
    assert_eq!(outcome(&site, &erle, "Delta eins acht, doppelsitzig"), Outcome::Pass);
    assert_eq!(outcome(&site, &erle, "Delta acht eins, doppelsitzig"), Outcome::NotYet);
    // Letters that two gliders end with are no name for either.
    let two = "[[aircraft]]\nregistration = \"D-5581\"\ntype = \"Amsel\"\nseats = 1\nsaid_by = [\"type and last letters\"]\nsay_crew = false\n";
    let stelze = "[[aircraft]]\nregistration = \"D-9037\"";
    let site = changed(
        "tests/sites/kranmoor",
        &[short, ("fleet.toml", stelze, &format!("{two}\n{stelze}"))],
    );
    assert_eq!(outcome(&site, &zeisig, "acht eins"), Outcome::NotYet);
    assert_eq!(outcome(&site, &zeisig, "Zeisig acht eins"), Outcome::Pass);
}

/// Figures that stand nowhere in the site are a wrong value of what they are said of; the glider, rightly named, is not blamed.
#[test]
fn figures_that_are_not_listed_are_a_wrong_value() {
    let site = changed(
        "tests/sites/kranmoor",
        &[
            (
                "words.toml",
                "taught = \"Wind von vorn\"",
                "taught = \"Wind zwo fünf null, acht\"",
            ),
            (
                "words.toml",
                "taught = \"Wind von der Seite\"",
                "taught = \"Wind zwo eins null, eins zwo\"",
            ),
        ],
    );
    for (registration, crew, name) in [("D-4418", ", doppelsitzig", "Erle"), ("D-9037", "", "Kilo sieben")] {
        let glider = situation(registration, 2 - u8::from(crew.is_empty()), "wald", &TODAY);
        let call = |wind: &str, number: &str| {
            let text = format!("Winde, {name}{crew}, Windenseil Wald, startklar, {wind}, Start Nummer {number}");
            heard(&site, &glider, "ready", &text)
        };
        let right = call("Wind zwo eins null, eins zwo", "eins sieben");
        assert_eq!(right.outcome, Outcome::Pass, "{right:#?}");
        for (wind, number, element, verdict, half) in [
            (
                "Wind zwo zwo null, eins vier",
                "eins sieben",
                "wind",
                Verdict::Wrong,
                "wind zwo zwo null eins vier",
            ),
            (
                "Wind zwo fünf null, acht",
                "eins sieben",
                "wind",
                Verdict::Wrong,
                "vorn",
            ),
            (
                "Wind zwo eins null, eins zwo, drei",
                "eins sieben",
                "wind",
                Verdict::Wrong,
                "wind zwo eins null eins zwo drei",
            ),
            (
                "zwo eins null, eins zwo",
                "eins sieben",
                "wind",
                Verdict::Missing,
                "zwo eins null eins zwo",
            ),
            ("Wind", "eins sieben", "wind", Verdict::Missing, "wind"),
            (
                "Wind zwo eins null, eins zwo",
                "neun neun",
                "number",
                Verdict::Wrong,
                "start nummer neun neun",
            ),
        ] {
            let judged = call(wind, number);
            for e in &judged.elements {
                let expected = if e.element == element { verdict } else { Verdict::Said };
                assert_eq!(e.verdict, expected, "{name}, {wind}, {number}: {e:#?}");
            }
            assert_eq!(
                judged.element(element).unwrap().heard.as_deref(),
                Some(half),
                "{wind}, {number}"
            );
        }
    }
}

/// Where a cable may be left out a name by halves is no small talk.
#[test]
fn half_a_cables_name_is_heard() {
    let site = changed(
        "phrases/larkmoor",
        &[
            ("site.toml", "taught = \"north\"", "taught = \"left cable\""),
            ("site.toml", "taught = \"south\"", "taught = \"right cable\""),
            ("site.toml", "dropped_when_single = false", "dropped_when_single = true"),
        ],
    );
    let mut left = situation("G-CLRM", 2, "north", &[]);
    left.single = true;
    let call = |name: &str| format!("Winch, Golf Charlie Lima Romeo Mike, two up, {name} winch cable, ready");
    let judged = |name: &str| heard(&site, &left, "ready", &call(name));
    for (name, outcome) in [
        ("", Outcome::Pass),
        ("left cable", Outcome::Pass),
        ("right,", Outcome::NotYet),
        ("right cable", Outcome::NotYet),
        ("left,", Outcome::NotYet),
    ] {
        assert_eq!(judged(name).outcome, outcome, "{name}: {:#?}", judged(name));
    }
    let cable = judged("right,").element("cable").cloned().unwrap();
    assert_eq!((cable.verdict, cable.heard.as_deref()), (Verdict::Wrong, Some("south")));
    let talk = heard(&site, &left, "ready", &format!("Right, {}", call("left cable")));
    assert_eq!(talk.outcome, Outcome::Pass, "{talk:#?}");
}

#[test]
fn where_there_is_one_cable_it_is_always_the_only_one() {
    let site = changed(
        "tests/sites/kranmoor",
        &[
            ("site.toml", "[[cable]]\nid = \"moor\"\ntaught = \"Moor\"\n", ""),
            ("site.toml", "[\"wald\", \"moor\"]", "[\"wald\"]"),
            ("site.toml", "[\"moor\", \"wald\"]", "[\"wald\"]"),
        ],
    );
    let mut random = common::random(6);
    for _ in 0..50 {
        assert!(deal(&site, None, &mut random).unwrap().single);
    }
}

/// The habit of several pulls is one of the top: the hook is opened for the ring with one.
#[test]
fn the_release_is_pulled_once_for_the_ring() {
    let step = "[[step]]\nid = \"hook\"\ntitle = \"Einklinken\"\nspeaker = \"pilot\"\nto = \"start\"\nby = \"hand\"\ntaught = \"\"\n\n[[step]]\nid = \"ready\"";
    let site = changed(
        "tests/sites/kranmoor",
        &[
            ("site.toml", "release_pulls = 1", "release_pulls = 2"),
            ("steps.toml", "order = [\"ready\"", "order = [\"hook\", \"ready\""),
            ("steps.toml", "[[step]]\nid = \"ready\"", step),
        ],
    );
    let erle = situation("D-4418", 2, "wald", &TODAY);
    let ready = erle.taught_call(&site, site.step("ready").unwrap());
    let run = |turns: &[&str]| played(&site, "pilot", erle.clone(), Course::default(), turns);
    let (text, ending) = run(&["hand", &ready, "", "hand", "hand"]);
    assert_eq!(ending, Ending::Complete, "{text}");
    assert_eq!(
        text.matches(&site.language.text("release.pulled", &[])).count(),
        1,
        "{text}"
    );
    assert!(!text.contains(&Note::PullAgain.text(site.language)), "{text}");
    let count = |n: &str| site.language.text("release.count", &[("n", n), ("of", "2")]);
    assert!(text.contains(&count("1")) && text.contains(&count("2")), "{text}");
    let (text, _) = run(&["hand", &ready, "", "hand", "", ""]);
    assert!(text.contains(&Note::PullAgain.text(site.language)), "{text}");
}

/// A link that is asked for is fetched after it was named: nothing is held up that gives the answer away.
#[test]
fn a_link_that_is_asked_for_is_not_held_up_before() {
    let said = "[[step]]\nid = \"link said\"\ntitle = \"The link\"\nspeaker = \"wing runner\"\nto = \"winch\"\nby = \"voice\"\nreadback_of = \"link\"\nelements = [\"link\"]\ncritical = [\"link\"]\ntaught = \"{link}.\"\n\n[[step]]\nid = \"stop\"";
    let asked = changed(
        "phrases/larkmoor",
        &[
            ("steps.toml", "\"link\", \"open\"", "\"link\", \"link said\", \"open\""),
            ("steps.toml", "[[step]]\nid = \"stop\"", said),
        ],
    );
    let shown = changed("phrases/larkmoor", &[]);
    let glider = situation("G-CLRM", 2, "north", &[]);
    let steps = ["link".to_owned(), "link said".to_owned()];
    let black = glider.taught_call(&shown, shown.step("link").unwrap());
    for (site, held_up) in [(&shown, true), (&asked, false)] {
        let course = Course {
            shown_link: Some("black".to_owned()),
            ..Course::default()
        };
        let mut launch = Launch::new(site, "pilot", glider.clone(), course, Some(&steps)).unwrap();
        let mut seen = String::new();
        let end = loop {
            match launch.next(site) {
                Next::Ended(end) => break end,
                Next::See(text) => seen.push_str(&text),
                Next::Listen { want: Want::Call, .. } => {
                    let step = launch.judged_step(site).unwrap();
                    let evidence = Evidence::typed(&launch.vocabulary(site).unwrap(), &black);
                    let turned = Turned::new(site, step, &launch.situation, &evidence);
                    launch.did(site, turned.did(false));
                }
                Next::Listen { .. } => launch.did(site, Did::Nothing),
                _ => {}
            }
        };
        assert_eq!(end, Ending::Complete, "{}", debrief::text(site, &launch, &[]));
        let words = site.taught_words("link", "black").unwrap();
        let text = site.language.text("link.shown", &[("words", &words)]);
        assert_eq!(seen.contains(&text), held_up, "{seen}");
    }
}

/// What is said only when there is something to say: on other days nothing is right, and anything said is wrong.
#[test]
fn nothing_said_can_be_the_right_value() {
    let still =
        "value = [\n    { id = \"still\", taught = \"\", scene = \"Der Windsack hängt herab.\" },\n    { id = \"vorn\"";
    let site = changed(
        "tests/sites/kranmoor",
        &[("words.toml", "value = [\n    { id = \"vorn\"", still)],
    );
    let mut day = situation("D-4418", 2, "wald", &TODAY);
    day.more.insert("wind".to_owned(), "still".to_owned());
    let step = site.step("ready").unwrap();
    let call = "Winde, Erle, doppelsitzig, Windenseil Wald, startklar, Start Nummer eins sieben.";
    assert_eq!(day.taught_call(&site, step), call);
    let judged = heard(&site, &day, "ready", call);
    assert_eq!(
        (judged.outcome, judged.score),
        (Outcome::Pass, Some(100)),
        "{judged:#?}"
    );
    let with = call.replace("Start Nummer", "Wind von vorn, Start Nummer");
    let judged = heard(&site, &day, "ready", &with);
    assert_eq!(judged.element("wind").unwrap().verdict, Verdict::Wrong, "{judged:#?}");
    // On a day with wind it is missed.
    let windy = situation("D-4418", 2, "wald", &TODAY);
    assert_eq!(heard(&site, &windy, "ready", call).outcome, Outcome::NotYet);
    // The others do not speak of it either.
    let (text, _) = played(&site, "winch driver", day, Course::default(), &[]);
    assert!(text.contains(call.trim_end_matches('.')), "{text}");
    let tally = simulate(&site, 2000, &mut common::random(9));
    assert_eq!(tally.dead_ends, Vec::<String>::new());
}

/// Of several winches the one is called that has the cable.
#[test]
fn the_call_goes_to_the_winch_that_has_the_cable() {
    let site = changed(
        "phrases/larkmoor",
        &[
            (
                "site.toml",
                "[[direction]]\nid = \"east\"",
                "[[station]]\nid = \"berta\"\nname = \"the other winch\"\naddress = \"berta\"\n\n[[direction]]\nid = \"east\"",
            ),
            (
                "site.toml",
                "taught = \"north\"",
                "taught = \"north\"\nstation = \"winch\"",
            ),
            (
                "site.toml",
                "taught = \"south\"",
                "taught = \"south\"\nstation = \"berta\"",
            ),
        ],
    );
    let step = site.step("ready").unwrap();
    for (cable, right, wrong) in [("north", "Winch", "Berta"), ("south", "Berta", "Winch")] {
        let glider = situation("G-CLRM", 2, cable, &[]);
        assert!(glider.taught_call(&site, step).starts_with(right));
        let call = |to: &str| format!("{to}, Golf Charlie Lima Romeo Mike, two up, {cable} winch cable, ready");
        let address = |to: &str| {
            let judged = heard(&site, &glider, "ready", &call(to));
            judged.element("address").unwrap().verdict
        };
        assert_eq!(address(right), Verdict::Said);
        assert_eq!(address(wrong), Verdict::Wrong);
        // Whoever else is called is called as before.
        let request = site.steps.iter().find(|s| s.to != "winch" && s.by.has_words()).unwrap();
        assert_eq!(site.called(request, cable), request.to);
    }
    assert_eq!(
        simulate(&site, 1000, &mut common::random(2)).dead_ends,
        Vec::<String>::new()
    );
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

/// A request is a question by nature: a recogniser writes a question mark behind it.
#[test]
fn a_question_mark_behind_a_request_leaves_nothing_open() {
    for (place, situation, text) in [
        (
            "phrases/larkmoor",
            situation("G-CLRM", 2, "north", &[]),
            "Winch, may I retrieve, north cable?",
        ),
        (
            "phrases/erlengrund",
            situation("D-3862", 2, "wald", &[]),
            "Winde, Windenseil Wald, darf ich holen?",
        ),
        (
            "phrases/erlengrund",
            situation("D-3862", 2, "wald", &[]),
            "Winde, darf ich holen, Windenseil Wald?",
        ),
    ] {
        let site = changed(place, &[]);
        let judged = heard(&site, &situation, "retrieve", text);
        assert_eq!(judged.outcome, Outcome::Pass, "{text}: {judged:?}");
        // Asked before the request it is no part of that.
        let cable = if place.ends_with("larkmoor") {
            "Winch, north cable? May I retrieve"
        } else {
            "Winde, Windenseil Wald? Darf ich holen"
        };
        assert_ne!(heard(&site, &situation, "retrieve", cable).outcome, Outcome::Pass);
    }
}

#[test]
fn half_of_another_value_is_that_other_value() {
    let site = changed(
        "phrases/brackmere",
        &[
            (
                "words.toml",
                r#"taught = "too fast, too fast", understood = ["too fast"]"#,
                r#"taught = "too fast""#,
            ),
            (
                "words.toml",
                r#"taught = "too slow, too slow", understood = ["too slow"]"#,
                r#"taught = "too slow""#,
            ),
            ("words.toml", "[element.speed]\n", "[element.speed]\ntimes = 2\n"),
        ],
    );
    let cable = site.cables[0].id.clone();
    let slow = situation("G-BMHN", 2, &cable, &[("speed", "too slow")]);
    let verdict = |text: &str| {
        let judged = heard(&site, &slow, "speed", text);
        (judged.outcome, judged.element("speed").unwrap().verdict)
    };
    assert_eq!(verdict("too slow, too slow"), (Outcome::Pass, Verdict::Said));
    assert_eq!(verdict("too slow"), (Outcome::NotYet, Verdict::Missing));
    for text in [
        "too fast",
        "too fast, too fast",
        "too slow, too slow, too fast",
        "too fast, too slow, too slow",
    ] {
        assert_eq!(verdict(text), (Outcome::NotYet, Verdict::Wrong), "{text}");
    }
}

#[test]
fn a_sign_of_one_character_is_a_part_of_the_name() {
    let site = changed(
        "phrases/brackmere",
        &[(
            "fleet.toml",
            "type = \"Heron\"\nseats = 2\nsaid_by = [\"type\"]",
            "type = \"Heron\"\nseats = 2\ncompetition_sign = \"2\"\nsaid_by = [\"type and competition sign\"]",
        )],
    );
    let cable = site.cables[0].id.clone();
    let heron = situation("G-BMHN", 2, &cable, &[]);
    let right = heron.taught_call(&site, site.step("ready").unwrap());
    assert!(right.to_lowercase().contains("heron two"), "{right}");
    assert_eq!(heard(&site, &heron, "ready", &right).outcome, Outcome::Pass, "{right}");
    for other in ["Heron", "Heron three"] {
        let text = right.to_lowercase().replace("heron two", other);
        assert_ne!(heard(&site, &heron, "ready", &text).outcome, Outcome::Pass, "{text}");
    }
}
