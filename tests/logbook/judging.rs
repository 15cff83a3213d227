//! Instructors: their verdicts, their PINs, judged calls as labelled ones.

use super::{World, add, at, attempt, with_recording};
use cableside::logbook::{Consent, INSTRUCTOR, LogbookError, Outcome, Overrule, Verdict, Whose};
use rusqlite::Connection;
use serde_json::json;

#[test]
fn an_instructors_verdict_counts_before_the_programs() {
    let world = World::new();
    let mut logbook = world.open();
    let mara = add(&mut logbook, "Mara Lind", None).id;
    let mut a = attempt(Some(mara), 0);
    a.elements[1].overrule = Some(Overrule {
        verdict: Verdict::Said,
        by: None,
        at: at(9),
        reason: None,
    });
    assert_eq!(a.elements[1].counted(), Verdict::Said);
    logbook.record(&a, at(1)).unwrap();
    let crew = logbook
        .first_time(Whose::Student(mara))
        .unwrap()
        .elements
        .swap_remove(1);
    assert_eq!((crew.element.as_str(), crew.said, crew.missing), ("crew", 1, 0));
}

#[test]
fn an_instructor_overrules_with_a_reason_and_the_programs_verdict_stays() {
    let world = World::new();
    let mut logbook = world.open();
    let mara = add(&mut logbook, "Mara Lind", Some(true)).id;
    let jon = add(&mut logbook, "Jon Hale", None);
    assert!(matches!(
        logbook.instructor(jon.id, None, at(1)),
        Err(LogbookError::NotAnInstructor { .. })
    ));
    logbook
        .change_student(jon.id, "Jon Hale", None, Some(INSTRUCTOR), at(1))
        .unwrap();
    let by = logbook.instructor(jon.id, None, at(1)).unwrap();
    let mut given = with_recording(&logbook, mara, 5);
    for e in &mut given.elements {
        e.critical = Some(e.element != "method");
    }
    logbook.record(&given, at(9)).unwrap();
    assert_eq!(logbook.outcome_counts(Whose::Student(mara)).unwrap().not_yet, 1);

    // "I did say that": out of every count until somebody judges it.
    logbook.set_held_out(given.id, true, at(10)).unwrap();
    assert_eq!(logbook.outcome_counts(Whose::Student(mara)).unwrap().total(), 0);
    assert_eq!(logbook.held_out(Whose::Student(mara)).unwrap().len(), 1);
    for empty in ["", "  "] {
        assert!(matches!(
            logbook.overrule(given.id, "crew", Verdict::Said, by, empty, at(11)),
            Err(LogbookError::Invalid { .. })
        ));
    }
    let unknown = logbook
        .overrule(given.id, "speed", Verdict::Said, by, "no", at(11))
        .unwrap_err();
    assert!(unknown.to_string().contains("it has: callsign"), "{unknown}");
    logbook
        .overrule(given.id, "crew", Verdict::Said, by, "clear on the recording", at(11))
        .unwrap();
    let stored = logbook.attempt(given.id).unwrap().unwrap();
    let crew = &stored.attempt.elements[1];
    assert_eq!((crew.verdict, crew.counted()), (Verdict::Missing, Verdict::Said));
    assert_eq!(crew.overrule.as_ref().unwrap().by, Some(jon.id));
    // Whoever practises reads who changed the verdict, and why.
    let told = &logbook.attempts(Whose::Student(mara), 0, 1).unwrap()[0];
    assert_eq!(told.overruled_why.as_deref(), Some("Jon Hale: clear on the recording"));
    // "method" is unsure, but not critical here.
    assert_eq!(
        (stored.attempt.outcome, stored.overruled_outcome),
        (Outcome::NotYet, Some(Outcome::Pass))
    );
    assert!(!stored.attempt.held_out);
    let counts = logbook.outcome_counts(Whose::Student(mara)).unwrap();
    assert_eq!((counts.pass, counts.not_yet), (1, 0));
    let crew = logbook
        .first_time(Whose::Student(mara))
        .unwrap()
        .elements
        .swap_remove(1);
    assert_eq!((crew.said, crew.missing), (1, 0));

    // Taken back: the program's own counts again, and both judgements stay.
    logbook
        .withdraw_overrule(given.id, "crew", by, "the wrong call", at(12))
        .unwrap();
    let stored = logbook.attempt(given.id).unwrap().unwrap();
    assert_eq!((stored.overruled_outcome, stored.counted()), (None, Outcome::NotYet));
    assert_eq!(stored.attempt.elements[1].overrule, None);
    logbook.uphold(given.id, by, "as judged", at(13)).unwrap();
    let reasons: Vec<_> = logbook
        .judgements(given.id)
        .unwrap()
        .into_iter()
        .map(|j| j.reason.unwrap())
        .collect();
    assert_eq!(reasons, ["clear on the recording", "the wrong call", "as judged"]);
}

#[test]
fn a_pin_is_asked_for_and_only_its_hash_is_stored() {
    let world = World::new();
    let mut logbook = world.open();
    let jon = add(&mut logbook, "Jon Hale", None).id;
    logbook
        .change_student(jon, "Jon Hale", None, Some(INSTRUCTOR), at(1))
        .unwrap();
    assert!(matches!(
        logbook.set_pin(jon, Some("123"), at(2)),
        Err(LogbookError::Invalid { .. })
    ));
    logbook.set_pin(jon, Some("tow-rope 8341"), at(2)).unwrap();
    assert!(logbook.student(jon).unwrap().has_pin);
    assert!(matches!(
        logbook.instructor(jon, None, at(2)),
        Err(LogbookError::PinNeeded { .. })
    ));
    assert!(matches!(
        logbook.instructor(jon, Some("tow-rope 8342"), at(2)),
        Err(LogbookError::WrongPin { .. })
    ));
    logbook.instructor(jon, Some("tow-rope 8341"), at(2)).unwrap();
    let stored = |db: &Connection| -> String { db.query_row("SELECT pin FROM student", [], |r| r.get(0)).unwrap() };
    let db = Connection::open(world.path()).unwrap();
    let first = stored(&db);
    assert!(first.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{first}");
    assert!(!world.contains("8341"));
    // Another salt each time.
    logbook.set_pin(jon, Some("tow-rope 8341"), at(3)).unwrap();
    assert_ne!(stored(&db), first);
    logbook.set_pin(jon, None, at(4)).unwrap();
    logbook.instructor(jon, None, at(2)).unwrap();
}

#[test]
fn judged_calls_become_labelled_calls() {
    let world = World::new();
    let mut logbook = world.open();
    let mara = add(&mut logbook, "Mara Lind", Some(true)).id;
    let jon = add(&mut logbook, "Jon Hale", None).id;
    logbook
        .change_student(jon, "Jon Hale", None, Some(INSTRUCTOR), at(1))
        .unwrap();
    let by = logbook.instructor(jon, None, at(2)).unwrap();
    let mut ids = Vec::new();
    for i in 0..4 {
        let a = with_recording(&logbook, mara, i);
        logbook.record(&a, at(i)).unwrap();
        ids.push(a.id);
    }
    // Judged with an element still unsure, judged whole, held out, never judged.
    logbook
        .overrule(ids[0], "crew", Verdict::Said, by, "heard it", at(10))
        .unwrap();
    for (element, verdict) in [("crew", Verdict::Wrong), ("method", Verdict::Said)] {
        logbook
            .overrule(ids[1], element, verdict, by, "heard it", at(10))
            .unwrap();
    }
    logbook.set_held_out(ids[2], true, at(10)).unwrap();
    let folder = world.dir.path().join("labelled");
    let done = logbook.export_labelled(&folder).unwrap();
    assert_eq!((done.written, done.undecided, done.without_recording), (1, 1, 0));
    let manifest = std::fs::read_to_string(folder.join("manifest.jsonl")).unwrap();
    let line: serde_json::Value = serde_json::from_str(manifest.trim()).unwrap();
    assert_eq!(
        line["truth"],
        json!({"callsign": "said", "crew": "wrong", "cable": "said", "method": "said", "ready": "said"})
    );
    assert_eq!(line["spoken"], json!({"callsign": "G-CLRM", "cable": "north"}));
    assert_eq!(
        line["situation"],
        json!({"callsign": "G-CLRM", "crew": 2, "cable": "north"})
    );
    assert!(folder.join(line["audio"].as_str().unwrap()).is_file());
    assert!(!manifest.contains("Mara") && !manifest.contains(&mara.to_string()));
    logbook.export_labelled(&folder).unwrap_err();

    let refusal = Consent {
        given: false,
        asked_at: at(20),
        by: None,
    };
    logbook.set_consent(mara, &refusal, at(20)).unwrap();
    let done = logbook.export_labelled(&world.dir.path().join("later")).unwrap();
    assert_eq!((done.written, done.without_recording), (0, 2));
}
