//! Storing and reading: attempts, runs, classes, students; what makes no sense is refused.

use super::{World, add, at, attempt, with_recording};
use cableside::logbook::{
    Done, InRun, Kind, Logbook, LogbookError, NewAttempt, NewRun, NewStudent, Outcome, Overrule, Part, RunKind,
    Verdict, Whose,
};
use serde_json::json;
use uuid::Uuid;

#[test]
fn an_attempt_comes_back_as_it_was_given() {
    let world = World::new();
    let mut logbook = world.open();
    let student = add(&mut logbook, "Mara Lind", Some(true));
    let instructor = add(&mut logbook, "Jon Hale", None);
    let mut given = with_recording(&logbook, student.id, 5);
    given.elements[3].overrule = Some(Overrule {
        verdict: Verdict::Said,
        by: Some(instructor.id),
        at: at(60),
        reason: Some("clear enough".to_owned()),
    });
    logbook.record(&given, at(9)).unwrap();
    drop(logbook);

    let mut logbook = world.open();
    assert_eq!(logbook.read_only_notice(), None);
    let stored = logbook.attempt(given.id).unwrap().unwrap();
    assert_eq!(stored.attempt, given);
    assert_eq!((stored.created_at, stored.changed_at), (at(9), at(9)));
    assert_eq!(logbook.find_attempt(&given.id.to_string()[..8]).unwrap(), stored);
    assert_eq!(logbook.attempt(Uuid::new_v4()).unwrap(), None);
    assert!(matches!(
        logbook.find_attempt("ffffffff-"),
        Err(LogbookError::NoSuchAttempt { .. })
    ));
    assert_eq!(logbook.student(student.id).unwrap(), student);

    logbook.set_held_out(given.id, true, at(20)).unwrap();
    let stored = logbook.attempt(given.id).unwrap().unwrap();
    assert!(stored.attempt.held_out);
    assert_eq!(stored.changed_at, at(20));
    assert!(matches!(
        logbook.set_held_out(Uuid::new_v4(), true, at(20)),
        Err(LogbookError::NoSuchAttempt { .. })
    ));

    // The instructor goes; the judgement stays, without a person.
    logbook.forget(instructor.id, at(30)).unwrap();
    let overrule = logbook.attempt(given.id).unwrap().unwrap().attempt.elements[3]
        .overrule
        .clone()
        .unwrap();
    assert_eq!((overrule.verdict, overrule.by), (Verdict::Said, None));
    logbook.check_integrity().unwrap();
}

#[test]
fn what_makes_no_sense_is_refused_and_leaves_nothing() {
    let world = World::new();
    let mut logbook = world.open();
    let student = add(&mut logbook, "Mara Lind", Some(true)).id;
    let good = attempt(Some(student), 0);
    let mut twice = good.clone();
    twice.elements.push(twice.elements[0].clone());
    for bad in [
        NewAttempt {
            turn_attempt: 0,
            ..good.clone()
        },
        NewAttempt {
            score: Some(f64::NAN),
            ..good.clone()
        },
        NewAttempt {
            score: Some(101.0),
            ..good.clone()
        },
        NewAttempt {
            utc_offset_seconds: 90_000,
            ..good.clone()
        },
        twice,
    ] {
        assert!(
            matches!(logbook.record(&bad, at(0)), Err(LogbookError::Invalid { .. })),
            "{bad:?}"
        );
    }
    let stranger = NewAttempt {
        student: Some(Uuid::new_v4()),
        ..good.clone()
    };
    assert!(matches!(
        logbook.record(&stranger, at(0)),
        Err(LogbookError::NoSuchStudent { .. })
    ));
    assert_eq!(logbook.count_attempts(Whose::Anyone).unwrap(), 0);
    logbook.record(&good, at(0)).unwrap();
    assert!(
        matches!(logbook.record(&good, at(0)), Err(LogbookError::Invalid { .. })),
        "the same id again"
    );
    for name in ["", "  ", "two\nlines", &"x".repeat(101)] {
        let new = NewStudent {
            name: name.to_owned(),
            ..NewStudent::default()
        };
        assert!(
            matches!(logbook.add_student(&new, at(0)), Err(LogbookError::Invalid { .. })),
            "{name:?}"
        );
    }
}

#[test]
fn lists_and_counts_are_those_of_the_one_asked_for() {
    let world = World::new();
    let mut logbook = world.open();
    let mara = add(&mut logbook, "Mara Lind", None).id;
    let jon = add(&mut logbook, "Jon Hale", None).id;
    let mut turn = Vec::new();
    for (seconds, outcome) in [(30, Outcome::Pass), (10, Outcome::NotYet), (20, Outcome::SayAgain)] {
        let a = NewAttempt {
            outcome,
            ..attempt(Some(mara), seconds)
        };
        logbook.record(&a, at(100)).unwrap();
        turn.push(a);
    }
    // A repeat, an attempt held out, one without speech: none of them is a first-time pass or fault.
    let repeat = NewAttempt {
        turn: turn[1].turn,
        turn_attempt: 2,
        outcome: Outcome::Pass,
        ..attempt(Some(mara), 40)
    };
    let held = NewAttempt {
        held_out: true,
        ..attempt(Some(mara), 50)
    };
    let mut silent = NewAttempt {
        outcome: Outcome::NothingHeard,
        score: None,
        ..attempt(Some(mara), 60)
    };
    for e in &mut silent.elements {
        e.verdict = Verdict::Missing;
    }
    for a in [&repeat, &held, &silent, &attempt(Some(jon), 15), &attempt(None, 25)] {
        logbook.record(a, at(100)).unwrap();
    }

    let ids = |whose, offset, limit| -> Vec<Uuid> {
        logbook
            .attempts(whose, offset, limit)
            .unwrap()
            .iter()
            .map(|a| a.id)
            .collect()
    };
    let newest_first = [silent.id, held.id, repeat.id, turn[0].id, turn[2].id, turn[1].id];
    assert_eq!(ids(Whose::Student(mara), 0, 100), newest_first);
    assert_eq!(ids(Whose::Student(mara), 2, 2), newest_first[2..4]);
    assert!(ids(Whose::Student(mara), 6, 2).is_empty());
    assert_eq!(ids(Whose::Nobody, 0, 100).len(), 1);
    assert_eq!(ids(Whose::Anyone, 0, 100).len(), 8);
    assert_eq!(logbook.count_attempts(Whose::Student(jon)).unwrap(), 1);

    let counts = logbook.outcome_counts(Whose::Student(mara)).unwrap();
    assert_eq!(
        (counts.pass, counts.not_yet, counts.say_again, counts.nothing_heard),
        (2, 1, 1, 1)
    );
    assert_eq!(counts.total(), 5);
    let first = logbook.first_time(Whose::Student(mara)).unwrap();
    let o = first.outcomes;
    assert_eq!((o.pass, o.not_yet, o.say_again, o.nothing_heard), (1, 1, 1, 1));
    let named: Vec<_> = first
        .elements
        .iter()
        .map(|e| (e.element.as_str(), e.said, e.wrong, e.missing, e.unsure))
        .collect();
    assert_eq!(
        named,
        [
            ("callsign", 3, 0, 0, 0),
            ("crew", 0, 0, 3, 0),
            ("cable", 3, 0, 0, 0),
            ("method", 0, 0, 0, 3),
            ("ready", 3, 0, 0, 0)
        ]
    );
    assert_eq!(logbook.first_time(Whose::Student(Uuid::new_v4())).unwrap().elements, []);
}

#[test]
fn students_are_found_by_name_or_id_and_never_guessed() {
    let world = World::new();
    let mut logbook = world.open();
    let oezil = add(&mut logbook, "Öznur Aksoy", None);
    let first = add(&mut logbook, "Anna Berg", None);
    let second = add(&mut logbook, "anna berg", None);
    assert_eq!(logbook.find_student(" öznur AKSOY ").unwrap(), oezil);
    assert_eq!(logbook.find_student(&first.id.to_string()).unwrap(), first);
    assert_eq!(logbook.find_student(&second.id.to_string()[..8]).unwrap(), second);
    match logbook.find_student("Anna Berg").unwrap_err() {
        e @ LogbookError::AmbiguousStudent { .. } => {
            let text = e.to_string();
            assert!(
                text.contains(&first.id.to_string()) && text.contains(&second.id.to_string()),
                "{text}"
            );
        }
        other => panic!("{other}"),
    }
    let near = logbook.find_student("aksoy").unwrap_err();
    assert!(
        matches!(near, LogbookError::NoSuchStudent { .. }) && near.to_string().contains("Öznur Aksoy"),
        "{near}"
    );
    assert!(matches!(
        logbook.find_student(""),
        Err(LogbookError::NoSuchStudent { .. })
    ));
    let renamed = logbook
        .change_student(second.id, "Anna B. Berg", Some("de"), Some("instructor"), at(7))
        .unwrap();
    assert_eq!((renamed.changed_at, renamed.created_at), (at(7), second.created_at));
    assert_eq!(logbook.find_student("Anna Berg").unwrap(), first);
}

#[test]
fn runs_classes_and_their_turns_come_back() {
    let world = World::new();
    let mut logbook = world.open();
    let mara = add(&mut logbook, "Mara Lind", None).id;
    let jon = add(&mut logbook, "Jon Hale", None).id;
    let class = logbook.add_class("Saturday", at(0)).unwrap();
    logbook.set_member(class.id, mara, true, at(1)).unwrap();
    logbook.set_member(class.id, jon, true, at(1)).unwrap();
    let class = logbook.set_member(class.id, jon, false, at(2)).unwrap();
    assert_eq!(class.members, [mara]);
    assert_eq!(logbook.members(class.id).unwrap()[0].name, "Mara Lind");
    assert_eq!(logbook.find_class("saturday").unwrap(), class);
    assert!(matches!(
        logbook.find_class("Sunday"),
        Err(LogbookError::NoSuchClass { .. })
    ));

    let run = NewRun {
        id: Uuid::new_v4(),
        kind: RunKind::Launch,
        student: Some(mara),
        class: Some(class.id),
        started_at: at(5),
        utc_offset_seconds: 7200,
        site: "larkmoor".to_owned(),
        site_version: "3".to_owned(),
        role: Some("pilot".to_owned()),
        seed: Some("18446744073709551615".to_owned()),
        situation: json!({"callsign": "G-CLRM"}),
        course: json!({"unanswered": 1}),
    };
    logbook.begin_run(&run, at(5)).unwrap();
    let mut turns = Vec::new();
    for (position, kind, done) in [(0, Kind::Call, Done::Called), (1, Kind::Hazard, Done::Hand)] {
        let a = NewAttempt {
            part: Part {
                kind,
                done,
                run: Some(InRun {
                    run: run.id,
                    position,
                    role: Some("pilot".to_owned()),
                }),
            },
            ..attempt(Some(mara), 6 + i64::from(position))
        };
        logbook.record(&a, at(7)).unwrap();
        turns.push(a);
    }
    logbook
        .update_run(run.id, Some("by-hand"), &json!([{"what": "hand"}]), at(9))
        .unwrap();
    let stored = logbook.find_run(&run.id.to_string()[..8]).unwrap().unwrap();
    assert_eq!(
        (&stored.run, stored.ending.as_deref(), stored.ended_at),
        (&run, Some("by-hand"), Some(at(9)))
    );
    assert_eq!(logbook.runs(Whose::Student(mara), 0, 9).unwrap(), [stored]);
    assert!(logbook.runs(Whose::Student(jon), 0, 9).unwrap().is_empty());
    let parts: Vec<_> = logbook
        .attempts_of_run(run.id)
        .unwrap()
        .into_iter()
        .map(|a| a.part)
        .collect();
    assert_eq!(parts, [turns[0].part.clone(), turns[1].part.clone()]);
    assert_eq!(logbook.attempt(turns[1].id).unwrap().unwrap().attempt, turns[1]);
    // What was done by hand is no call and in no count of calls.
    assert_eq!(logbook.outcome_counts(Whose::Student(mara)).unwrap().total(), 1);
    assert_eq!(logbook.count_attempts(Whose::Student(mara)).unwrap(), 2);

    exports_of_their_own(&logbook, mara, jon);
    logbook.remove_class(class.id, at(20)).unwrap();
    assert!(logbook.classes().unwrap().is_empty());
    logbook.forget(mara, at(21)).unwrap();
    assert_eq!(logbook.run(run.id).unwrap(), None);
    logbook.check_integrity().unwrap();
}

/// All of it is in her own export, and nothing of it in his.
fn exports_of_their_own(logbook: &Logbook, mara: Uuid, jon: Uuid) {
    let export = |whose| -> serde_json::Value {
        let mut out = Vec::new();
        logbook.export_json(whose, &mut out).unwrap();
        serde_json::from_slice(&out).unwrap()
    };
    let (hers, his) = (export(Whose::Student(mara)), export(Whose::Student(jon)));
    for (key, n) in [("runs", 1), ("classes", 1), ("attempts", 2)] {
        assert_eq!(hers[key].as_array().unwrap().len(), n, "{key}");
        assert_eq!(his[key], json!([]), "{key}");
    }
}
