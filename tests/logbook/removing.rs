//! Consent, forgetting, and what is removed by age.

use super::{Dice, World, add, at, attempt, with_recording};
use cableside::logbook::{
    Consent, Fate, LeftoverKind, Logbook, LogbookError, NewAttempt, Overrule, RecordingName, Removed, Retention,
    Student, Verdict, Whose,
};
use rusqlite::Connection;
use serde_json::json;
use std::path::{Path, PathBuf};
use uuid::Uuid;

#[test]
fn nothing_is_recorded_without_consent() {
    let world = World::new();
    let mut logbook = world.open();
    let yes = add(&mut logbook, "Mara Lind", Some(true)).id;
    let no = add(&mut logbook, "Jon Hale", Some(false)).id;
    let unasked = add(&mut logbook, "Ida Falk", None).id;
    assert!(logbook.recording_allowed(Some(yes)).unwrap());
    let name = logbook.begin_recording(Some(yes)).unwrap();
    for student in [Some(no), Some(unasked), None] {
        assert!(!logbook.recording_allowed(student).unwrap());
        assert!(matches!(
            logbook.begin_recording(student),
            Err(LogbookError::NoConsent { .. })
        ));
        let smuggled = NewAttempt {
            id: name.attempt(),
            recording: Some(name),
            ..attempt(student, 0)
        };
        logbook.record(&smuggled, at(0)).unwrap_err();
    }
    let foreign = NewAttempt {
        recording: Some(name),
        ..attempt(Some(yes), 0)
    };
    assert!(matches!(
        logbook.record(&foreign, at(0)),
        Err(LogbookError::ForeignRecording { .. })
    ));

    // Consent withdrawn while the recording was being made.
    let name = logbook.begin_recording(Some(yes)).unwrap();
    let refusal = Consent {
        given: false,
        asked_at: at(1),
        by: None,
    };
    logbook.set_consent(yes, &refusal, at(1)).unwrap();
    let late = NewAttempt {
        id: name.attempt(),
        recording: Some(name),
        ..attempt(Some(yes), 0)
    };
    let error = logbook.record(&late, at(2)).unwrap_err();
    assert!(
        matches!(error, LogbookError::NoConsent { .. }) && error.to_string().contains("Mara Lind"),
        "{error}"
    );
    logbook
        .record(
            &NewAttempt {
                recording: None,
                ..late
            },
            at(2),
        )
        .unwrap();
    assert_eq!(logbook.count_attempts(Whose::Anyone).unwrap(), 1);
}

#[test]
fn a_refusal_removes_the_recordings_and_keeps_the_attempts() {
    let world = World::new();
    let mut logbook = world.open();
    let mara = add(&mut logbook, "Mara Lind", Some(true)).id;
    let jon = add(&mut logbook, "Jon Hale", Some(true)).id;
    let hers = with_recording(&logbook, mara, 0);
    let his = with_recording(&logbook, jon, 0);
    logbook.record(&hers, at(1)).unwrap();
    logbook.record(&his, at(1)).unwrap();
    let broken_off = logbook.begin_recording(Some(mara)).unwrap();
    std::fs::write(broken_off.unfinished_path(&world.recordings()), b"RIFF").unwrap();

    let refusal = Consent {
        given: false,
        asked_at: at(5),
        by: Some("guardian".to_owned()),
    };
    assert_eq!(logbook.set_consent(mara, &refusal, at(5)).unwrap(), 2);
    let stored = logbook.attempt(hers.id).unwrap().unwrap();
    assert_eq!((stored.attempt.recording, stored.changed_at), (None, at(5)));
    assert!(!hers.recording.unwrap().path(&world.recordings()).exists());
    assert!(his.recording.unwrap().path(&world.recordings()).exists());
    assert_eq!(logbook.student(mara).unwrap().consent, Some(refusal));
    assert_eq!(logbook.adopt_leftovers().unwrap(), []);
}

/// Whoever answered for somebody gives the yes too: the student alone does not take their no back.
#[test]
fn a_no_that_somebody_else_gave_is_theirs_to_take_back() {
    let world = World::new();
    let mut logbook = world.open();
    let jack = add(&mut logbook, "Jack Owen", Some(false));
    let yes = |by: Option<&str>| Consent {
        given: true,
        asked_at: at(9),
        by: by.map(str::to_owned),
    };
    for alone in [None, Some("  ")] {
        let refused = logbook.set_consent(jack.id, &yes(alone), at(9));
        assert!(
            matches!(refused, Err(LogbookError::GuardianNeeded { .. })),
            "{refused:?}"
        );
    }
    assert!(!logbook.recording_allowed(Some(jack.id)).unwrap());
    logbook.set_consent(jack.id, &yes(Some("Mrs Owen")), at(9)).unwrap();
    assert!(logbook.recording_allowed(Some(jack.id)).unwrap());
}

#[test]
fn leftovers_are_listed_and_those_without_consent_removed() {
    let world = World::new();
    let mut logbook = world.open();
    assert_eq!(logbook.adopt_leftovers().unwrap(), [], "no folder yet");
    let folder = world.recordings();
    let mara = add(&mut logbook, "Mara Lind", Some(true));
    let gone = add(&mut logbook, "Jon Hale", Some(true));
    let kept = with_recording(&logbook, mara.id, 0);
    logbook.record(&kept, at(1)).unwrap();
    let unfinished = logbook.begin_recording(Some(mara.id)).unwrap();
    std::fs::write(unfinished.unfinished_path(&folder), b"RIFF half a call").unwrap();
    let orphan = with_recording(&logbook, mara.id, 2).recording.unwrap();
    let forgotten = logbook.begin_recording(Some(gone.id)).unwrap();
    logbook.forget(gone.id, at(3)).unwrap();
    // As if the program had been killed between removing the rows and the files.
    std::fs::write(forgotten.path(&folder), b"RIFF").unwrap();
    let unknown: RecordingName = format!("{}_{}.wav", Uuid::new_v4(), Uuid::new_v4()).parse().unwrap();
    std::fs::write(unknown.path(&folder), b"RIFF").unwrap();
    std::fs::write(folder.join("hangar door.wav"), b"RIFF").unwrap();
    std::fs::write(folder.join("notes.txt"), b"not a sound").unwrap();

    let leftovers = logbook.adopt_leftovers().unwrap();
    let of = |path: PathBuf| {
        leftovers
            .iter()
            .find(|l| l.path == path)
            .unwrap_or_else(|| panic!("{path:?}"))
    };
    assert_eq!(leftovers.len(), 5);
    let half = of(unfinished.unfinished_path(&folder));
    assert_eq!(
        (half.kind, &half.fate, half.bytes),
        (LeftoverKind::Unfinished, &Fate::Kept(mara.clone()), 16)
    );
    let whole = of(orphan.path(&folder));
    assert_eq!(
        (whole.kind, &whole.fate),
        (LeftoverKind::WithoutAttempt, &Fate::Kept(mara))
    );
    assert_eq!(of(forgotten.path(&folder)).fate, Fate::Removed);
    assert_eq!(of(unknown.path(&folder)).fate, Fate::UnknownStudent(unknown.student()));
    assert_eq!(of(folder.join("hangar door.wav")).fate, Fate::Foreign);
    assert!(!forgotten.path(&folder).exists());
    assert_eq!(
        logbook.adopt_leftovers().unwrap().len(),
        4,
        "the others are still there"
    );

    // The attempt of a left-over is judged after all and takes its place.
    let late = NewAttempt {
        id: orphan.attempt(),
        recording: Some(orphan),
        ..attempt(Some(orphan.student()), 2)
    };
    logbook.record(&late, at(9)).unwrap();
    assert!(
        !logbook
            .adopt_leftovers()
            .unwrap()
            .iter()
            .any(|l| l.path == orphan.path(&folder))
    );
}

#[test]
fn a_forgotten_student_is_nowhere_in_the_files() {
    let world = World::new();
    let mut logbook = world.open();
    let name = "Peregrine Quillfeather";
    let gone = add(&mut logbook, name, Some(true)).id;
    let stays = add(&mut logbook, "Mara Lind", Some(true)).id;
    let words = "winch this is an unmistakable transcript";
    for i in 0..50 {
        let student = if i % 2 == 0 { gone } else { stays };
        let transcript = if i % 2 == 0 { words } else { "winch the other one" }.to_owned();
        // Long evidence, so that rows reach over several pages.
        let evidence = json!({"words": vec![transcript.clone(); 200]});
        let a = NewAttempt {
            transcript,
            evidence,
            ..with_recording(&logbook, student, i)
        };
        logbook.record(&a, at(i)).unwrap();
    }
    std::fs::write(world.dir.path().join("logbook.sqlite.format-1.backup"), name).unwrap();
    std::fs::write(world.dir.path().join("logbook.sqlite.set-aside-1"), "damaged").unwrap();
    assert!(world.contains(name) && world.contains(words) && world.contains("guardian"));

    let report = logbook.forget(gone, at(100)).unwrap();
    assert_eq!((report.attempts, report.recordings, report.backups.len()), (25, 25, 1));
    assert_eq!(
        report.may_still_hold,
        [world.dir.path().join("logbook.sqlite.set-aside-1")]
    );
    assert_eq!(report.problems, Vec::<String>::new());
    for open in [true, false] {
        if !open {
            logbook.check_integrity().unwrap();
            logbook = Logbook::in_memory(Path::new("none")).unwrap();
        }
        assert!(!world.contains(name) && !world.contains(words) && !world.contains("unmistakable"));
        assert!(world.contains("Mara Lind") && world.contains("winch the other one"));
        assert!(world.contains(&gone.to_string()), "the tombstone");
    }
    let mut logbook = world.open();
    assert_eq!(std::fs::read_dir(world.recordings()).unwrap().count(), 25);
    assert_eq!(logbook.count_attempts(Whose::Anyone).unwrap(), 25);
    assert!(matches!(
        logbook.forget(gone, at(101)),
        Err(LogbookError::NoSuchStudent { .. })
    ));
    let late = attempt(Some(gone), 0);
    assert!(matches!(
        logbook.record(&late, at(102)),
        Err(LogbookError::Forgotten { .. })
    ));
    let columns = |db: &Connection| -> Vec<(String, i64)> {
        let mut rows = db.prepare("SELECT * FROM tombstone").unwrap();
        rows.query_map([], |r| Ok((r.get(0)?, r.get(1)?)))
            .unwrap()
            .collect::<Result<_, _>>()
            .unwrap()
    };
    assert_eq!(
        columns(&Connection::open(world.path()).unwrap()),
        [(gone.to_string(), at(100).as_millisecond())],
        "only the id and the time remain"
    );
}

/// Random histories: forgetting takes all of one student and nothing of another.
#[test]
fn forgetting_one_touches_no_other() {
    for seed in 1..=40_u64 {
        let mut dice = Dice(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15));
        let folder = tempfile::tempdir().unwrap();
        let mut logbook = Logbook::in_memory(folder.path()).unwrap();
        let students: Vec<Student> = (0..2 + dice.below(5))
            .map(|i| {
                let consent = [None, Some(true), Some(false), Some(true)][dice.below(4) as usize];
                // Names are shared on purpose: only the id may decide.
                add(&mut logbook, ["Anna", "Bo"][(i % 2) as usize], consent)
            })
            .collect();
        let mut attempts = Vec::new();
        for i in 0..dice.below(60) {
            let who = students.get(dice.below(students.len() as u64 + 1) as usize);
            let mut a = match who {
                Some(s) if s.recording_allowed() && dice.below(2) == 0 => with_recording(&logbook, s.id, i as i64),
                who => attempt(who.map(|s| s.id), i as i64),
            };
            a.elements.truncate(dice.below(6) as usize);
            if let Some(e) = a.elements.first_mut() {
                let by = Some(students[dice.below(students.len() as u64) as usize].id);
                e.overrule = Some(Overrule {
                    verdict: Verdict::Wrong,
                    by,
                    at: at(0),
                    reason: None,
                });
            }
            logbook.record(&a, at(0)).unwrap();
            attempts.push(a);
        }
        let gone = students[dice.below(students.len() as u64) as usize].id;
        logbook.forget(gone, at(1)).unwrap();

        let (his, others): (Vec<_>, Vec<_>) = attempts.into_iter().partition(|a| a.student == Some(gone));
        for a in his {
            assert_eq!(logbook.attempt(a.id).unwrap(), None, "seed {seed}");
            assert!(
                a.recording.is_none_or(|r| !r.path(folder.path()).exists()),
                "seed {seed}"
            );
        }
        for mut a in others {
            assert!(
                a.recording.is_none_or(|r| r.path(folder.path()).exists()),
                "seed {seed}"
            );
            for o in a.elements.iter_mut().filter_map(|e| e.overrule.as_mut()) {
                o.by = o.by.filter(|&by| by != gone);
            }
            assert_eq!(logbook.attempt(a.id).unwrap().unwrap().attempt, a, "seed {seed}");
        }
        for s in &students {
            match logbook.student(s.id) {
                Ok(found) => assert!(s.id != gone && found == *s, "seed {seed}"),
                Err(e) => assert!(s.id == gone, "seed {seed}: {e}"),
            }
        }
        logbook.check_integrity().unwrap();
    }
}

#[test]
fn what_is_too_old_is_removed_and_only_that() {
    let world = World::new();
    let mut logbook = world.open();
    let mara = add(&mut logbook, "Mara Lind", Some(true)).id;
    let jon = add(&mut logbook, "Jon Hale", Some(true)).id;
    let day = 24 * 3600;
    let mut stored = Vec::new();
    for student in [mara, jon] {
        for days in [0, 20, 40] {
            let a = with_recording(&logbook, student, days * day);
            logbook.record(&a, at(days * day)).unwrap();
            stored.push(a);
        }
    }
    let now = at(45 * day);
    assert_eq!(
        logbook.remove_old(now).unwrap(),
        Removed::default(),
        "off until somebody says so"
    );
    let keep = |recordings, attempts| Retention {
        recordings_days: recordings,
        attempts_days: attempts,
    };
    logbook.set_retention(keep(Some(30), None), now).unwrap();
    logbook.set_student_retention(jon, keep(None, Some(10)), now).unwrap();
    assert!(logbook.set_retention(keep(Some(0), None), now).is_err());
    assert_eq!(logbook.retention().unwrap(), keep(Some(30), None));
    let removed = logbook.remove_old(now).unwrap();
    assert_eq!((removed.recordings, removed.attempts), (1, 2));
    let left: Vec<_> = stored
        .iter()
        .map(|a| logbook.attempt(a.id).unwrap().map(|s| s.attempt.recording.is_some()))
        .collect();
    assert_eq!(
        left,
        [Some(false), Some(true), Some(true), None, None, Some(true)],
        "his recordings follow his attempts, hers the logbook's rule"
    );
    for (a, left) in stored.iter().zip(left) {
        let there = a.recording.unwrap().path(&world.recordings()).exists();
        assert_eq!(there, left == Some(true));
    }
    // The same attempt cannot come back.
    let again = NewAttempt {
        recording: None,
        ..stored[3].clone()
    };
    assert!(matches!(logbook.record(&again, now), Err(LogbookError::Invalid { .. })));
    assert_eq!(logbook.remove_old(now).unwrap(), Removed::default());
}

/// A clock that is wrong takes nothing away; one that is right a day later still does.
#[test]
fn a_leap_of_the_clock_is_not_believed_at_once() {
    let world = World::new();
    let mut logbook = world.open();
    let mara = add(&mut logbook, "Mara Lind", Some(true)).id;
    let day = 24 * 3600;
    for days in [0, 20] {
        logbook
            .record(&with_recording(&logbook, mara, days * day), at(days * day))
            .unwrap();
    }
    let keep = Retention {
        recordings_days: None,
        attempts_days: Some(30),
    };
    logbook.set_retention(keep, at(20 * day)).unwrap();
    let mut start = |days: i64, hours: i64| {
        let removed = logbook.remove_old(at(days * day + hours * 3600)).unwrap();
        (removed.doubted_days, removed.attempts)
    };
    assert_eq!(start(25, 0), (None, 0));
    // Three years ahead, twice on the same day; then the clock is right again.
    assert_eq!(start(1125, 0), (Some(1100), 0));
    assert_eq!(start(1125, 5), (Some(1100), 0));
    assert_eq!(start(26, 0), (None, 0));
    // The doubt of then does not count for another leap.
    assert_eq!(start(2000, 0), (Some(1974), 0));
    assert_eq!(start(27, 0), (None, 0));
    // An ordinary pause.
    assert_eq!(start(31, 0), (None, 1));
    // A whole winter away: the first start waits, the one on another day does not.
    assert_eq!(start(200, 0), (Some(169), 0));
    assert_eq!(start(201, 0), (None, 1));
    assert_eq!(start(202, 0), (None, 0));
}

/// A logbook that no start has looked at yet, as after a new version: what is stored under a wrong clock does not confirm it.
#[test]
fn a_clock_that_was_never_looked_at_is_not_believed_by_its_own_doubt() {
    let world = World::new();
    let mut logbook = world.open();
    let mara = add(&mut logbook, "Mara Lind", Some(true)).id;
    logbook.record(&with_recording(&logbook, mara, 0), at(0)).unwrap();
    let keep = Retention {
        recordings_days: None,
        attempts_days: Some(30),
    };
    logbook.set_retention(keep, at(0)).unwrap();
    let day = 24 * 3600;
    let mut start = |seconds: i64| {
        let removed = logbook.remove_old(at(seconds)).unwrap();
        (removed.doubted_days, removed.attempts)
    };
    assert_eq!(start(1125 * day), (Some(1125), 0));
    assert_eq!(start(1125 * day + 5 * 3600), (Some(1125), 0));
    // Who starts every third month only: the next start is another day.
    assert_eq!(start(1215 * day), (None, 1));
}
