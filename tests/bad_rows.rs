//! One row that nobody can read, in one's own logbook or in another's: the good rows stay in use, the bad one is named, and
//! there is a way out.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

use std::path::{Path, PathBuf};

use cableside::logbook::{
    Consent, ElementVerdict, INSTRUCTOR, Logbook, LogbookError, NewAttempt, NewStudent, Outcome, Part, RunKind,
    Timings, Verdict, Whose,
};
use jiff::{SignedDuration, Timestamp};
use rusqlite::Connection;
use serde_json::json;
use uuid::Uuid;

fn at(seconds: i64) -> Timestamp {
    "2025-05-03T08:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_secs(seconds)
}

struct Place {
    dir: tempfile::TempDir,
}

impl Place {
    fn new() -> Self {
        Self {
            dir: tempfile::tempdir().unwrap(),
        }
    }

    fn file(&self) -> PathBuf {
        self.dir.path().join("logbook.sqlite")
    }

    fn recordings(&self) -> PathBuf {
        self.dir.path().join("recordings")
    }

    fn open(&self) -> Logbook {
        Logbook::open(&self.file(), &self.recordings()).unwrap()
    }

    /// Changes the file behind the program's back.
    fn spoil(&self, sql: &str) {
        let db = Connection::open(self.file()).unwrap();
        assert!(db.execute(sql, []).unwrap() > 0, "{sql}");
    }

    fn with(name: &str, attempts: usize) -> (Self, Uuid, Vec<Uuid>) {
        let place = Self::new();
        let mut logbook = place.open();
        let student = add(&mut logbook, name);
        let ids = (0..attempts)
            .map(|n| {
                let attempt = attempt(student, i64::try_from(n).unwrap());
                logbook.record(&attempt, at(100)).unwrap();
                attempt.id
            })
            .collect();
        (place, student, ids)
    }
}

fn add(logbook: &mut Logbook, name: &str) -> Uuid {
    let new = NewStudent {
        name: name.to_owned(),
        consent: Some(Consent {
            given: true,
            asked_at: at(0),
            by: None,
        }),
        ..NewStudent::default()
    };
    logbook.add_student(&new, at(0)).unwrap().id
}

fn attempt(student: Uuid, seconds: i64) -> NewAttempt {
    NewAttempt {
        id: Uuid::new_v4(),
        student: Some(student),
        started_at: at(seconds),
        utc_offset_seconds: 3600,
        site: "larkmoor".to_owned(),
        site_version: "1".to_owned(),
        step: "ready".to_owned(),
        part: Part::default(),
        situation: json!({"callsign": "G-CLRM", "crew": 2, "cable": "north"}),
        turn: Uuid::new_v4(),
        turn_attempt: 1,
        model: None,
        program_version: "0".to_owned(),
        outcome: Outcome::NotYet,
        score: Some(50.0),
        timings: Timings::default(),
        transcript: "ready".to_owned(),
        evidence: json!({}),
        recording: None,
        held_out: false,
        elements: vec![
            ElementVerdict::new("callsign", Verdict::Said, Some("G-CLRM".to_owned())),
            ElementVerdict::new("crew", Verdict::Missing, None),
        ],
    }
}

/// What makes a row of the first attempt, or of what belongs to it, unreadable.
const SPOILED: [&str; 10] = [
    "UPDATE attempt SET outcome = 'nnt yet' WHERE number = 1",
    "UPDATE attempt SET started_at = 9223372036854775807 WHERE number = 1",
    "UPDATE attempt SET situation = '{\"callsign\": ' WHERE number = 1",
    "UPDATE attempt SET timings = '[1' WHERE number = 1",
    "UPDATE attempt SET kind = 'cbll' WHERE number = 1",
    "UPDATE attempt SET turn_id = 'not an id' WHERE number = 1",
    "UPDATE attempt SET utc_offset_seconds = 99999999999 WHERE number = 1",
    "UPDATE attempt SET transcript = CAST(x'ff41' AS TEXT) WHERE number = 1",
    "UPDATE element_verdict SET verdict = 'sbid' WHERE attempt = 1 AND element = 'crew'",
    "UPDATE element_verdict SET overruled_at = -9223372036854775807 WHERE attempt = 1 AND element = 'crew'",
];

/// Everything that reads many rows works, and shows the good ones.
fn all_lists_work(logbook: &Logbook, student: Uuid, good: usize, what: &str) {
    let whole = |n: usize| assert!(n >= good, "{what}: {n} of {good}");
    whole(logbook.attempts(Whose::Anyone, 0, 100).expect(what).len());
    whole(logbook.practised(Whose::Anyone).expect(what).len());
    logbook.practised_lately(&[student], "larkmoor", 100).expect(what);
    logbook.past(student, "larkmoor").expect(what);
    logbook.progress(Whose::Student(student), Some("larkmoor")).expect(what);
    logbook.first_time(Whose::Anyone).expect(what);
    logbook.outcome_counts(Whose::Anyone).expect(what);
    logbook.runs(Whose::Anyone, 0, 100).expect(what);
    logbook.held_out(Whose::Anyone).expect(what);
    logbook.classes().expect(what);
    logbook.attempts_by_version("larkmoor").expect(what);
    whole(logbook.export_csv(Whose::Anyone, Vec::new()).expect(what));
    let mut json = Vec::new();
    whole(logbook.export_json(Whose::Anyone, &mut json).expect(what));
    serde_json::from_slice::<serde_json::Value>(&json).expect(what);
}

#[test]
fn a_bad_row_of_ones_own_is_named_and_stepped_over() {
    for spoiled in SPOILED {
        let (place, student, ids) = Place::with("Ada Penn", 3);
        place.spoil(spoiled);
        let mut logbook = place.open();
        logbook.remove_old(at(200)).expect(spoiled);
        all_lists_work(&logbook, student, 2, spoiled);
        let noted = logbook.stepped_over();
        assert!(!noted.is_empty(), "{spoiled}: not said");
        assert_eq!(logbook.bad_rows().expect(spoiled).len(), 1, "{spoiled}");

        let (file, taken) = logbook.set_rows_aside().expect(spoiled);
        assert_eq!(taken.len(), 1, "{spoiled}");
        let kept = std::fs::read_to_string(file.unwrap()).unwrap();
        assert!(kept.contains(&ids[0].to_string()), "{spoiled}: {kept}");
        assert_eq!(logbook.bad_rows().unwrap(), [], "{spoiled}");
        logbook.check_integrity().expect(spoiled);
        assert_eq!(logbook.count_attempts(Whose::Anyone).unwrap(), 2, "{spoiled}");
        all_lists_work(&logbook, student, 2, spoiled);
        assert_eq!(logbook.stepped_over(), [], "{spoiled}: {noted:?}");
        // A student who is forgotten may still be in that file: it is said.
        let forgotten = logbook.forget(student, at(300)).unwrap();
        assert_eq!(forgotten.may_still_hold.len(), 1, "{spoiled}");
    }
}

#[test]
fn a_bad_attempt_can_be_removed_alone() {
    let (place, _, ids) = Place::with("Ada Penn", 3);
    place.spoil(SPOILED[0]);
    let mut logbook = place.open();
    let found = logbook.find_attempt_id(&ids[0].to_string()[..8]).unwrap();
    logbook.remove_attempt(found, at(200)).unwrap();
    assert_eq!(logbook.bad_rows().unwrap(), []);
}

#[test]
fn a_bad_row_of_another_logbook_stays_there() {
    for spoiled in SPOILED {
        let (mine, ada, _) = Place::with("Ada Penn", 3);
        let (other, jo, ids) = Place::with("Jo Reed", 2);
        other.spoil(spoiled);
        let mut logbook = mine.open();
        let merged = logbook.merge(&other.file(), &other.recordings()).expect(spoiled);
        assert_eq!((merged.students, merged.attempts), (1, 1), "{spoiled}");
        assert_eq!(merged.stepped_over.len(), 1, "{spoiled}");
        assert_eq!(logbook.bad_rows().unwrap(), [], "{spoiled}");
        logbook.check_integrity().expect(spoiled);
        assert!(logbook.attempt(ids[0]).unwrap().is_none(), "{spoiled}");
        assert!(logbook.attempt(ids[1]).unwrap().is_some(), "{spoiled}");
        all_lists_work(&logbook, ada, 4, spoiled);
        all_lists_work(&logbook, jo, 1, spoiled);
        assert_eq!(logbook.stepped_over(), [], "{spoiled}");
    }
}

#[test]
fn bad_people_classes_answers_and_removals_stay_there_too() {
    for (spoiled, students, attempts) in [
        ("UPDATE student SET name = char(27) || '[2J'", 0, 0),
        ("UPDATE student SET created_at = 9223372036854775807", 0, 0),
        ("UPDATE student SET id = 'nobody'", 0, 0),
        ("UPDATE student SET keep_attempts_days = -4", 0, 0),
        ("UPDATE student SET pin = 'plain'", 0, 0),
        (
            "UPDATE student SET pin = '$argon2id$v=19$m=4194304,t=4000,p=1$c29tZXNhbHQ$aGFzaGhhc2hoYXNoaGFzaA'",
            0,
            0,
        ),
        // Half an answer is none: what hangs on it stays, too.
        ("UPDATE consent_answer SET given = 7", 0, 0),
        ("UPDATE consent_answer SET at = 9223372036854775807", 0, 0),
        ("UPDATE class SET name = ''", 1, 2),
        ("UPDATE class_member SET changed_at = 9223372036854775807", 1, 2),
        ("UPDATE tombstone SET id = 'x' WHERE what = 'class'", 1, 2),
        ("UPDATE overrule SET verdict = 'maybe'", 1, 2),
        ("UPDATE run SET record = '}'", 1, 2),
    ] {
        let (mine, ada, _) = Place::with("Ada Penn", 3);
        let (other, jo, ids) = Place::with("Jo Reed", 2);
        let mut theirs = other.open();
        let class = theirs.add_class("Saturday", at(1)).unwrap().id;
        theirs.set_member(class, jo, true, at(1)).unwrap();
        let gone = theirs.add_class("Sunday", at(1)).unwrap().id;
        theirs.remove_class(gone, at(2)).unwrap();
        let jon = theirs
            .add_student(
                &NewStudent {
                    name: "Jon Hale".to_owned(),
                    role: Some(INSTRUCTOR.to_owned()),
                    ..NewStudent::default()
                },
                at(3),
            )
            .unwrap()
            .id;
        let by = theirs.instructor(jon, None, at(3)).unwrap();
        theirs
            .overrule(ids[0], "crew", Verdict::Said, by, "heard it", at(4))
            .unwrap();
        theirs
            .begin_run(
                &cableside::logbook::NewRun {
                    id: Uuid::new_v4(),
                    kind: RunKind::Launch,
                    student: Some(jo),
                    class: None,
                    started_at: at(5),
                    utc_offset_seconds: 0,
                    site: "larkmoor".to_owned(),
                    site_version: "1".to_owned(),
                    role: None,
                    seed: None,
                    situation: json!({}),
                    course: json!({}),
                },
                at(5),
            )
            .unwrap();
        // The instructor leaves, so that only one student is left to be spoiled.
        theirs.forget(jon, at(6)).unwrap();
        drop(theirs);
        let db = Connection::open(other.file()).unwrap();
        db.execute_batch("PRAGMA foreign_keys = OFF").unwrap();
        assert!(db.execute(spoiled, []).unwrap() > 0, "{spoiled}");
        drop(db);

        let mut logbook = mine.open();
        let merged = logbook.merge(&other.file(), &other.recordings()).expect(spoiled);
        assert!(!merged.stepped_over.is_empty(), "{spoiled}");
        assert_eq!((merged.students, merged.attempts), (students, attempts), "{spoiled}");
        assert_eq!(logbook.bad_rows().unwrap(), [], "{spoiled}");
        logbook.check_integrity().expect(spoiled);
        all_lists_work(&logbook, ada, 3 + attempts, spoiled);
        assert_eq!(logbook.stepped_over(), [], "{spoiled}");
    }
}

#[test]
fn tables_of_another_make_are_refused_and_nothing_changes() {
    for strange in [
        "DROP TABLE overrule; CREATE VIEW overrule AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n)
            SELECT i AS id, i AS attempt_id, i AS element, i AS verdict, i AS by, i AS at, i AS reason FROM n;",
        "CREATE TRIGGER more AFTER INSERT ON student BEGIN DELETE FROM attempt; END;",
        "ALTER TABLE student ADD COLUMN more TEXT;",
        "CREATE TABLE more (x TEXT);",
    ] {
        let (mine, _, _) = Place::with("Ada Penn", 2);
        let (other, _, _) = Place::with("Jo Reed", 1);
        Connection::open(other.file()).unwrap().execute_batch(strange).unwrap();
        let before = std::fs::read(mine.file()).unwrap();
        let refused = mine.open().merge(&other.file(), &other.recordings()).unwrap_err();
        assert!(
            matches!(refused, LogbookError::OtherNotALogbook { .. }),
            "{strange}: {refused}"
        );
        assert!(!refused.to_string().contains("set-aside"), "{refused}");
        assert_eq!(std::fs::read(mine.file()).unwrap(), before, "{strange}");
    }
}

#[test]
fn the_backup_before_a_merge_holds_what_was_there_and_goes_with_who_is_forgotten() {
    let (mine, ada, ids) = Place::with("Ada Penn", 2);
    let (other, _, _) = Place::with("Jo Reed", 1);
    let mut logbook = mine.open();
    let backup = logbook
        .merge(&other.file(), &other.recordings())
        .unwrap()
        .backup
        .unwrap();
    let db = Connection::open(&backup).unwrap();
    let count = |table: &str| -> i64 {
        let sql = format!("SELECT count(*) FROM {table}");
        db.query_row(&sql, [], |r| r.get(0)).unwrap()
    };
    assert_eq!((count("student"), count("attempt")), (1, 2));

    // What is removed for good is not kept in it.
    logbook.remove_old(at(300)).unwrap();
    assert!(backup.exists(), "nothing was removed yet");
    logbook.remove_attempt(ids[0], at(300)).unwrap();
    assert!(!backup.exists());

    logbook.merge(&other.file(), &other.recordings()).unwrap();
    assert!(backup.exists());
    let forgotten = logbook.forget(ada, at(400)).unwrap();
    assert_eq!(forgotten.backups, std::slice::from_ref(&backup));
    assert!(!backup.exists());
}

/// A forgetting that was cut off before the backups were looked for.
#[test]
fn an_old_backup_that_holds_somebody_forgotten_goes_at_the_next_start() {
    let (place, ada, _) = Place::with("Ada Penn", 1);
    let mut logbook = place.open();
    let backup = place.dir.path().join("logbook.sqlite.format-1.backup");
    let other = place.dir.path().join("logbook.sqlite.format-0.backup");
    std::fs::copy(place.file(), &backup).unwrap();
    logbook.forget(ada, at(10)).unwrap();
    assert!(!backup.exists());
    // As a kill in the middle leaves it: the rows are gone, the copy is not.
    let (again, ada, _) = Place::with("Ada Penn", 1);
    std::fs::copy(again.file(), &backup).unwrap();
    Connection::open(place.file())
        .unwrap()
        .execute(
            "INSERT INTO tombstone (id, deleted_at, what) VALUES (?1, 5, 'student')",
            [ada.to_string()],
        )
        .unwrap();
    let (harmless, _, _) = Place::with("Jo Reed", 1);
    std::fs::copy(harmless.file(), &other).unwrap();
    assert_eq!(logbook.remove_old(at(20)).unwrap().problems, Vec::<String>::new());
    assert!(!backup.exists());
    assert!(other.exists(), "nobody in it was forgotten");
}

#[cfg(unix)]
#[test]
fn a_recording_that_is_a_link_is_not_followed() {
    let (mine, _, _) = Place::with("Ada Penn", 1);
    let other = Place::new();
    let mut theirs = other.open();
    let jo = add(&mut theirs, "Jo Reed");
    let name = theirs.begin_recording(Some(jo)).unwrap();
    let mut recorded = attempt(jo, 5);
    recorded.id = name.attempt();
    recorded.recording = Some(name);
    let secret = other.dir.path().join("secret.txt");
    std::fs::write(&secret, "not for everybody").unwrap();
    std::os::unix::fs::symlink(&secret, name.path(&other.recordings())).unwrap();
    theirs.record(&recorded, at(6)).unwrap();
    drop(theirs);
    let merged = mine.open().merge(&other.file(), &other.recordings()).unwrap();
    assert_eq!(merged.recordings, 0);
    assert!(
        merged.problems[0].contains("no file of its own"),
        "{:?}",
        merged.problems
    );
    assert!(!name.path(&mine.recordings()).exists());
}

/// The program itself, as a user meets it.
#[test]
fn the_commands_name_the_row_and_go_on() {
    let home = tempfile::tempdir().unwrap();
    let run = |args: &[&str]| {
        let out = std::process::Command::new(env!("CARGO_BIN_EXE_cableside"))
            .args(args)
            .env("CABLESIDE_HOME", home.path())
            .stdin(std::process::Stdio::null())
            .output()
            .unwrap();
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (out.status.code(), text(&out.stdout), text(&out.stderr))
    };
    assert_eq!(
        run(&["logbook", "student", "add", "Ada Penn", "--consent", "no"]).0,
        Some(0)
    );
    let file = find(home.path(), "logbook.sqlite");
    let mut logbook = Logbook::open(&file, &home.path().join("recordings")).unwrap();
    let ada = logbook.find_student("Ada Penn").unwrap().id;
    for n in 0..2 {
        logbook.record(&attempt(ada, n), at(9)).unwrap();
    }
    drop(logbook);
    Connection::open(&file).unwrap().execute(SPOILED[0], []).unwrap();
    for args in [
        &["logbook", "list"][..],
        &["logbook", "export", "--format", "csv"],
        &["logbook", "export", "--format", "json"],
        &["report", "--site", "larkmoor", "--everybody", "--format", "json"],
        &["class", "board", "--site", "larkmoor"],
    ] {
        let (code, out, err) = run(args);
        assert_eq!(code, Some(0), "{args:?}: {out}{err}");
        assert!(
            err.contains("nnt yet") && err.contains("set-aside --rows"),
            "{args:?}: {err}"
        );
    }
    let (code, _, err) = run(&["logbook", "set-aside"]);
    assert_eq!(code, Some(1));
    assert!(err.contains("nnt yet") && err.contains("--rows"), "{err}");
    let (code, out, _) = run(&["logbook", "set-aside", "--rows"]);
    assert_eq!(code, Some(0), "{out}");
    assert!(out.contains("1 row taken out"), "{out}");
    let (code, _, err) = run(&["logbook", "list"]);
    assert_eq!((code, err.as_str()), (Some(0), ""));
}

fn find(folder: &Path, name: &str) -> PathBuf {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.file_name().unwrap() == name {
            return path;
        }
        if path.is_dir() && walk(&path, name).is_some() {
            return walk(&path, name).unwrap();
        }
    }
    panic!("no {name}");
}

fn walk(folder: &Path, name: &str) -> Option<PathBuf> {
    std::fs::read_dir(folder)
        .ok()?
        .flatten()
        .map(|e| e.path())
        .find_map(|p| {
            if p.file_name()? == name {
                Some(p)
            } else if p.is_dir() {
                walk(&p, name)
            } else {
                None
            }
        })
}
