//! Random histories on three logbooks: every order and every grouping of merges gives the same.

use super::{Computer, Dice, at, attempt, consent, folder, recorded};
use cableside::logbook::{
    INSTRUCTOR, Logbook, LogbookError, NewRun, NewStudent, RecordingName, Retention, RunKind, Verdict, Whose,
};
use serde_json::json;
use std::collections::BTreeSet;
use std::path::Path;
use uuid::Uuid;

/// A name like an instructor's is refused, and nothing happens; nothing else may fail.
fn unless_alike(done: Result<cableside::logbook::Student, LogbookError>) {
    if let Err(e) = done {
        assert!(matches!(e, LogbookError::LooksLike { .. }), "{e}");
    }
}

/// Anything that can be done with a logbook, at a time of few different ones: many things happen at the same moment, and
/// the clock is sometimes put back.
fn edit(logbook: &mut Logbook, dice: &mut Dice) {
    let t = i64::try_from(dice.below(5)).unwrap();
    let students: Vec<Uuid> = logbook.students().unwrap().iter().map(|s| s.id).collect();
    let attempts: Vec<Uuid> = logbook
        .attempts(Whose::Anyone, 0, 1000)
        .unwrap()
        .iter()
        .map(|a| a.id)
        .collect();
    let classes: Vec<Uuid> = logbook.classes().unwrap().iter().map(|c| c.id).collect();
    let student = dice.one(&students);
    let there = There {
        t,
        students,
        attempt: dice.one(&attempts),
        class: dice.one(&classes),
        name: ["Mara Lind", "Jon Hale", "Ida Falk", "Bo Quist"][dice.below(4)],
        by: dice.one(&[None, Some("guardian")]).unwrap(),
    };
    match (dice.below(25), student) {
        (0, _) | (_, None) => {
            let new = NewStudent {
                name: there.name.to_owned(),
                language: None,
                role: dice.one(&[None, Some(INSTRUCTOR.to_owned())]).unwrap(),
                needs_guardian: dice.below(4) == 0,
                consent: Some(consent(dice.below(3) > 0, t, Some("guardian"))),
            };
            unless_alike(logbook.add_student(&new, at(t)));
        }
        (n @ (1..=5 | 16 | 19 | 23), Some(s)) => edit_person(logbook, dice, n, s, &there),
        (n @ (6..=15 | 17..=18), Some(s)) => edit_calls(logbook, dice, n, s, &there),
        (n, Some(s)) => edit_class(logbook, dice, n, s, &there),
    }
}

/// What there is, and some of it that was diced for.
struct There {
    t: i64,
    students: Vec<Uuid>,
    attempt: Option<Uuid>,
    class: Option<Uuid>,
    name: &'static str,
    by: Option<&'static str>,
}

fn edit_person(logbook: &mut Logbook, dice: &mut Dice, what: usize, s: Uuid, there: &There) {
    let (t, now) = (there.t, at(there.t));
    match what {
        1..=2 => {
            let role = dice.one(&[None, Some(INSTRUCTOR)]).unwrap();
            unless_alike(logbook.change_student(s, there.name, Some("de"), role, now));
        }
        3..=4 => {
            let given = dice.below(2) == 0;
            match logbook.set_consent(s, &consent(given, t, there.by), now) {
                Ok(_) => {}
                Err(e) => assert!(matches!(e, LogbookError::GuardianNeeded { .. }), "{e}"),
            }
        }
        5 => {
            logbook.set_needs_guardian(s, dice.below(2) == 0, now).unwrap();
        }
        16 => {
            if dice.below(3) == 0 {
                logbook.forget(s, now).unwrap();
            }
        }
        19 => {
            let keep = Retention {
                recordings_days: dice.one(&[None, Some(30), Some(60)]).unwrap(),
                attempts_days: None,
            };
            logbook.set_student_retention(s, keep, now).unwrap();
        }
        _ => {
            if let Some(other) = dice.one(&there.students).filter(|_| dice.below(2) == 0) {
                match logbook.join_students(s, other, now) {
                    Ok(joined) => assert_eq!(joined.problems, Vec::<String>::new()),
                    // Into itself, or an instructor.
                    Err(e) => assert!(matches!(e, LogbookError::Invalid { .. }), "{e}"),
                }
            }
        }
    }
}

fn edit_calls(logbook: &mut Logbook, dice: &mut Dice, what: usize, s: Uuid, there: &There) {
    let (t, now) = (there.t, at(there.t));
    match (what, there.attempt) {
        (6..=8, _) => {
            logbook.record(&attempt(Uuid::new_v4(), Some(s), t), now).unwrap();
        }
        (9..=12, _) => {
            if logbook.recording_allowed(Some(s)).unwrap() {
                recorded(logbook, s, t);
            }
        }
        (_, None) => {}
        (13, Some(a)) => logbook.set_held_out(a, dice.below(2) == 0, now).unwrap(),
        (14, Some(a)) => {
            logbook.remove_attempt(a, now).unwrap();
        }
        (15, Some(a)) => {
            logbook.remove_recording(a, now).unwrap();
        }
        (_, Some(a)) => {
            if let Ok(instructor) = logbook.instructor(s, None, now) {
                let element = ["address", "method"][dice.below(2)];
                let reason = ["heard it", "no"][dice.below(2)];
                match dice.below(4) {
                    0 => logbook.uphold(a, instructor, reason, now).unwrap(),
                    1 => logbook.withdraw_overrule(a, element, instructor, reason, now).unwrap(),
                    n => {
                        let verdict = [Verdict::Said, Verdict::Wrong][n - 2];
                        logbook.overrule(a, element, verdict, instructor, reason, now).unwrap();
                    }
                }
            }
        }
    }
}

/// Classes, and runs in them.
fn edit_class(logbook: &mut Logbook, dice: &mut Dice, what: usize, s: Uuid, there: &There) {
    let (t, now) = (there.t, at(there.t));
    match (what, there.class) {
        (20, class) => {
            let run = NewRun {
                id: Uuid::new_v4(),
                kind: RunKind::Launch,
                student: Some(s),
                class,
                started_at: now,
                utc_offset_seconds: 0,
                site: "larkmoor".to_owned(),
                site_version: "3".to_owned(),
                role: Some("pilot".to_owned()),
                seed: None,
                situation: json!({}),
                course: json!({}),
            };
            logbook.begin_run(&run, now).unwrap();
        }
        (21, _) => {
            let runs = logbook.runs(Whose::Anyone, 0, 100).unwrap();
            if let Some(run) = dice.one(&runs) {
                let ending = dice.one(&["complete", "stopped", "by-hand"]);
                logbook.update_run(run.run.id, ending, &json!([t]), now).unwrap();
            }
        }
        (22, Some(class)) => {
            logbook.set_member(class, s, dice.below(3) > 0, now).unwrap();
        }
        (22, None) => {
            logbook.add_class("Saturday", now).unwrap();
        }
        (_, class) => match (class, dice.below(3)) {
            (Some(class), 0) => logbook.remove_class(class, now).unwrap(),
            (Some(class), _) => {
                logbook
                    .rename_class(class, ["Saturday", "Sunday"][dice.below(2)], now)
                    .unwrap();
            }
            (None, _) => {
                logbook.add_class("Saturday", now).unwrap();
            }
        },
    }
}

/// Merges in this order into a copy of the first.
fn fold(place: &Path, order: &[&Computer]) -> Computer {
    let result = order[0].copy(place);
    for other in &order[1..] {
        result.take(other);
    }
    result
}

fn all_orders_agree(seed: u64, edits: usize) -> usize {
    let mut dice = Dice(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
    let place = folder();
    let place = place.path();
    // They begin with the same few rows, so that the same ones are changed in different ways.
    let base = Computer::new(place, "base");
    for _ in 0..10 {
        edit(&mut base.open(), &mut dice);
    }
    let computers: Vec<Computer> = (0..3).map(|_| base.copy(place)).collect();
    for _ in 0..edits {
        let i = dice.below(3);
        if dice.below(8) == 0 {
            computers[i].take(&computers[(i + 1 + dice.below(2)) % 3]);
        } else {
            edit(&mut computers[i].open(), &mut dice);
        }
    }
    let [a, b, c] = [&computers[0], &computers[1], &computers[2]];
    let first = fold(place, &[a, b, c]);
    let expected = first.dump();
    for order in [[a, c, b], [b, a, c], [b, c, a], [c, a, b], [c, b, a]] {
        assert_eq!(fold(place, &order).dump(), expected, "seed {seed}: another order");
    }
    for [x, y, z] in [[a, b, c], [b, c, a], [c, a, b], [a, c, b], [b, a, c], [c, b, a]] {
        let pair = fold(place, &[y, z]);
        assert_eq!(
            fold(place, &[x, &pair]).dump(),
            expected,
            "seed {seed}: another grouping"
        );
    }
    // Again and again.
    for other in [a, b, c, c, b, a] {
        let merged = first.take(other);
        assert_eq!(
            (
                merged.students,
                merged.attempts,
                merged.runs,
                merged.forgotten,
                merged.attempts_removed
            ),
            (0, 0, 0, 0, 0),
            "seed {seed}"
        );
        assert_eq!(first.dump(), expected, "seed {seed}: merging again changed something");
    }

    let attempts = nothing_is_lost(&first, &computers, seed);
    recordings_are_those_allowed(&first, &computers, seed);
    first.open().check_integrity().unwrap();
    attempts
}

/// No losses, no doubles, nothing comes back. Who was removed is removed under every entry. Gives the number of attempts.
fn nothing_is_lost(first: &Computer, computers: &[Computer], seed: u64) -> usize {
    let logbook = first.open();
    let now_called = |id: &str| logbook.now_called(id.parse().unwrap()).unwrap().to_string();
    let removed: BTreeSet<String> = computers.iter().flat_map(|c| c.ids("tombstone")).collect();
    let gone = first.ids("tombstone");
    assert!(gone.is_superset(&removed), "seed {seed}");
    let also: BTreeSet<String> = removed.iter().map(|id| now_called(id)).collect();
    for id in &gone {
        assert!(also.contains(&now_called(id)), "seed {seed}: {id} was not removed");
    }
    for table in ["student", "class"] {
        let all: BTreeSet<String> = computers.iter().flat_map(|c| c.ids(table)).collect();
        let all: BTreeSet<String> = all.iter().map(|id| now_called(id)).collect();
        assert_eq!(first.ids(table), &all - &gone, "seed {seed}: {table}");
    }
    let mut expected_attempts = BTreeSet::new();
    for computer in computers {
        for a in computer.open().attempts(Whose::Anyone, 0, 10_000).unwrap() {
            let forgotten = a.student.is_some_and(|s| gone.contains(&s.to_string()));
            if !forgotten && !gone.contains(&a.id.to_string()) {
                expected_attempts.insert(a.id.to_string());
                let stored = logbook.attempt(a.id).unwrap().unwrap().attempt;
                let student = a.student.map(|s| logbook.now_called(s).unwrap());
                assert_eq!(stored.student, student, "seed {seed}: whose it is");
            }
        }
    }
    assert_eq!(first.ids("attempt"), expected_attempts, "seed {seed}");
    expected_attempts.len()
}

/// Exactly those that may be kept and that somebody has.
fn recordings_are_those_allowed(first: &Computer, computers: &[Computer], seed: u64) {
    let logbook = first.open();
    let there: BTreeSet<String> = computers
        .iter()
        .flat_map(Computer::files)
        .map(|file| {
            let name: RecordingName = file.parse().unwrap();
            let student = logbook.now_called(name.student()).unwrap();
            format!("{student}_{}.wav", name.attempt())
        })
        .collect();
    let named = first.named_recordings();
    assert_eq!(first.files(), &named & &there, "seed {seed}");
    for name in &named {
        let name: RecordingName = name.parse().unwrap();
        assert!(logbook.recording_allowed(Some(name.student())).unwrap(), "seed {seed}");
    }
}

#[test]
fn all_orders_of_merging_give_the_same() {
    let seeds = std::env::var("CABLESIDE_MERGE_SEEDS")
        .ok()
        .and_then(|s| s.parse().ok())
        .unwrap_or(24);
    let attempts: usize = (1..=seeds)
        .map(|seed| all_orders_agree(seed, 30 + (seed as usize % 5) * 25))
        .sum();
    println!("{seeds} histories, {attempts} attempts in the merged logbooks");
    assert!(attempts > seeds as usize * 3, "the histories hold hardly anything");
}
