//! A turn over several attempts: what is asked for, what an answer completes, what is read back.

use super::{TODAY, changed, played, site, situation};
use crate::shared::play::heard;
use cableside::call::{Outcome, Situation, Verdict};
use cableside::drill::{Answer, Course, Ending, Turn};
use cableside::site::Site;

/// A turn of the ready call over several attempts: what the other side did last, and the turn.
pub fn turned(site: &Site, situation: &Situation, step: &str, calls: &[&str]) -> (Answer, Turn) {
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
