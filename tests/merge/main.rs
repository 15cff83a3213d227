//! Merging logbooks: random histories of edits, removals and merges on three logbooks, after which every order and every
//! grouping of merges must give the same result, and nothing may be lost, doubled or brought back.

#![allow(clippy::unwrap_used)]

mod orders;

use cableside::logbook::{
    Consent, ElementVerdict, INSTRUCTOR, Logbook, LogbookError, NewAttempt, NewStudent, Outcome, Part, RecordingName,
    Timings, Verdict, Whose,
};
use jiff::{SignedDuration, Timestamp};
use rusqlite::Connection;
use serde_json::json;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use uuid::Uuid;

fn at(seconds: i64) -> Timestamp {
    "2025-05-03T08:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_secs(seconds)
}

/// Numbers for the random histories; the same for the same seed.
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % n as u64) as usize
    }

    fn one<T: Clone>(&mut self, of: &[T]) -> Option<T> {
        (!of.is_empty()).then(|| of[self.below(of.len())].clone())
    }
}

/// In memory where there is such a folder: every write is synchronised.
fn folder() -> tempfile::TempDir {
    if Path::new("/dev/shm").is_dir() {
        tempfile::tempdir_in("/dev/shm").unwrap()
    } else {
        tempfile::tempdir().unwrap()
    }
}

/// A computer with its logbook.
#[derive(Debug, Clone)]
struct Computer(PathBuf);

impl Computer {
    fn new(place: &Path, name: &str) -> Self {
        let dir = place.join(name);
        std::fs::create_dir_all(dir.join("recordings")).unwrap();
        let new = Self(dir);
        drop(new.open());
        new
    }

    fn file(&self) -> PathBuf {
        self.0.join("logbook.sqlite")
    }

    fn recordings(&self) -> PathBuf {
        self.0.join("recordings")
    }

    fn open(&self) -> Logbook {
        Logbook::open(&self.file(), &self.recordings()).unwrap()
    }

    fn copy(&self, place: &Path) -> Self {
        let new = place.join(Uuid::new_v4().to_string());
        std::fs::create_dir_all(new.join("recordings")).unwrap();
        std::fs::copy(self.file(), new.join("logbook.sqlite")).unwrap();
        for entry in std::fs::read_dir(self.recordings()).unwrap() {
            let path = entry.unwrap().path();
            std::fs::copy(&path, new.join("recordings").join(path.file_name().unwrap())).unwrap();
        }
        Self(new)
    }

    fn take(&self, other: &Self) -> cableside::logbook::Merged {
        let merged = self.open().merge(&other.file(), &other.recordings()).unwrap();
        assert_eq!(merged.problems, Vec::<String>::new());
        merged
    }

    /// Everything in it that is not local to the file.
    fn dump(&self) -> BTreeMap<String, BTreeSet<String>> {
        let db = Connection::open(self.file()).unwrap();
        let mut dump = BTreeMap::new();
        let tables = [
            ("student", "SELECT * FROM student"),
            ("answer", "SELECT * FROM consent_answer"),
            ("class", "SELECT * FROM class"),
            ("member", "SELECT * FROM class_member"),
            ("run", "SELECT * FROM run"),
            ("overrule", "SELECT * FROM overrule"),
            ("tombstone", "SELECT * FROM tombstone"),
            ("joined", "SELECT * FROM joined"),
            ("went", "SELECT * FROM went"),
            (
                "attempt",
                "SELECT id, student_id, started_at, site, step, kind, outcome, overruled_outcome, held_out, held_out_at,
                    recording, recorded, recording_removed_at, created_at, changed_at, situation, transcript, evidence
                 FROM attempt",
            ),
            (
                "verdict",
                "SELECT a.id, v.position, v.element, v.verdict, v.heard, v.overruled_verdict, v.overruled_by, v.overruled_at,
                    v.overruled_reason, v.critical
                 FROM element_verdict AS v JOIN attempt AS a ON a.number = v.attempt",
            ),
        ];
        for (name, sql) in tables {
            let mut statement = db.prepare(sql).unwrap();
            let columns = statement.column_count();
            let rows: Vec<String> = statement
                .query_map([], |r| {
                    let values: Vec<String> = (0..columns).map(|i| format!("{:?}", r.get_ref(i).unwrap())).collect();
                    Ok(values.join(" | "))
                })
                .unwrap()
                .collect::<Result<_, _>>()
                .unwrap();
            let count = rows.len();
            let rows: BTreeSet<String> = rows.into_iter().collect();
            assert_eq!(rows.len(), count, "the same row twice in {name}");
            dump.insert(name.to_owned(), rows);
        }
        dump
    }

    fn ids(&self, table: &str) -> BTreeSet<String> {
        let db = Connection::open(self.file()).unwrap();
        let mut statement = db.prepare(&format!("SELECT id FROM {table}")).unwrap();
        statement
            .query_map([], |r| r.get(0))
            .unwrap()
            .collect::<Result<_, _>>()
            .unwrap()
    }

    fn files(&self) -> BTreeSet<String> {
        let entries = std::fs::read_dir(self.recordings()).unwrap();
        entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect()
    }

    fn named_recordings(&self) -> BTreeSet<String> {
        let db = Connection::open(self.file()).unwrap();
        let mut statement = db
            .prepare("SELECT recording FROM attempt WHERE recording IS NOT NULL")
            .unwrap();
        statement
            .query_map([], |r| r.get(0))
            .unwrap()
            .collect::<Result<_, _>>()
            .unwrap()
    }
}

fn attempt(id: Uuid, student: Option<Uuid>, seconds: i64) -> NewAttempt {
    let mut method = ElementVerdict::new("method", Verdict::Unsure, None);
    method.critical = Some(true);
    let mut address = ElementVerdict::new("address", Verdict::Missing, None);
    address.critical = Some(false);
    NewAttempt {
        id,
        student,
        started_at: at(seconds),
        utc_offset_seconds: 0,
        site: "larkmoor".to_owned(),
        site_version: "3".to_owned(),
        step: "ready".to_owned(),
        part: Part::default(),
        situation: json!({"callsign": "G-CLRM", "crew": 2, "cable": "north"}),
        turn: Uuid::new_v4(),
        turn_attempt: 1,
        model: None,
        program_version: "0.1.0".to_owned(),
        outcome: Outcome::SayAgain,
        score: None,
        timings: Timings::default(),
        transcript: format!("call at {seconds}"),
        evidence: json!({}),
        recording: None,
        held_out: false,
        elements: vec![address, method],
    }
}

/// A recording and its attempt.
fn recorded(logbook: &mut Logbook, student: Uuid, seconds: i64) -> NewAttempt {
    let name: RecordingName = logbook.begin_recording(Some(student)).unwrap();
    std::fs::write(name.path(logbook.recordings_folder()), format!("RIFF {name}")).unwrap();
    let a = NewAttempt {
        recording: Some(name),
        ..attempt(name.attempt(), Some(student), seconds)
    };
    logbook.record(&a, at(seconds)).unwrap();
    a
}

fn consent(given: bool, seconds: i64, by: Option<&str>) -> Consent {
    Consent {
        given,
        asked_at: at(seconds),
        by: by.map(str::to_owned),
    }
}

#[test]
fn a_student_at_two_computers_is_joined_and_stays_one() {
    let place = folder();
    let (club, home) = (Computer::new(place.path(), "club"), Computer::new(place.path(), "home"));
    let new = |needs_guardian| NewStudent {
        name: if needs_guardian { "mara lind" } else { "Mara Lind" }.to_owned(),
        needs_guardian,
        consent: Some(consent(true, 0, Some("her mother"))),
        ..NewStudent::default()
    };
    let at_club = club.open().add_student(&new(false), at(0)).unwrap().id;
    let at_home = home.open().add_student(&new(true), at(0)).unwrap().id;
    let first = recorded(&mut home.open(), at_home, 1);
    recorded(&mut club.open(), at_club, 2);
    assert_eq!(club.take(&home).same_names.len(), 1);

    let mut logbook = club.open();
    let joined = logbook.join_students(at_home, at_club, at(5)).unwrap();
    let mara = joined.student.id;
    assert!([at_home, at_club].contains(&mara));
    assert_eq!(joined.student.name, "Mara Lind");
    assert_eq!((joined.attempts, joined.recordings_removed), (1, 0));
    assert_eq!(joined.problems, Vec::<String>::new());
    assert!(joined.student.needs_guardian, "as careful as the more careful entry");
    assert_eq!(logbook.students().unwrap().len(), 1);
    assert_eq!(logbook.count_attempts(Whose::Student(mara)).unwrap(), 2);
    let stored = logbook.attempt(first.id).unwrap().unwrap().attempt;
    assert_eq!(stored.student, Some(mara));
    assert!(club.files().contains(&stored.recording.unwrap().to_string()));
    assert_eq!(club.files(), club.named_recordings());
    drop(logbook);

    // Practice goes on at home, which does not know yet; then it learns of it.
    recorded(&mut home.open(), at_home, 6);
    let merged = club.take(&home);
    assert_eq!((merged.students, merged.attempts, merged.recordings), (0, 1, 1));
    assert_eq!(merged.same_names, Vec::<String>::new());
    home.take(&club);
    assert_eq!(home.dump(), club.dump());
    assert_eq!(home.files(), club.files());
    assert_eq!(home.open().now_called(at_home).unwrap(), mara);
    // A turn that had begun before is stored where it belongs.
    let late = attempt(Uuid::new_v4(), Some(at_home), 7);
    home.open().record(&late, at(7)).unwrap();
    assert_eq!(home.open().count_attempts(Whose::Student(mara)).unwrap(), 4);

    // Forgotten is forgotten under both.
    let old = home.copy(place.path());
    club.open().forget(mara, at(9)).unwrap();
    assert_eq!(club.files(), BTreeSet::new());
    for other in [&old, &home] {
        let back = club.take(other);
        assert_eq!((back.students, back.attempts, back.recordings), (0, 0, 0));
    }
    assert_eq!(club.ids("tombstone").len(), 2);
    home.take(&club);
    assert!(home.open().students().unwrap().is_empty());
    assert_eq!(home.files(), BTreeSet::new());
}

/// Practice that was handed out once and done on two computers: the turns have the same ids there.
#[test]
fn a_call_practised_on_two_computers_counts_once() {
    let place = folder();
    let named = |name| Computer::new(place.path(), name);
    let (club, home, laptop) = (named("club"), named("home"), named("laptop"));
    let new = NewStudent {
        name: "Mara Lind".to_owned(),
        ..NewStudent::default()
    };
    let mara = club.open().add_student(&new, at(0)).unwrap().id;
    home.take(&club);
    laptop.take(&club);
    let turns = [Uuid::new_v4(), Uuid::new_v4()];
    let call = |on: &Computer, turn: usize, turn_attempt: u32, seconds: i64, outcome: Outcome| {
        let done = NewAttempt {
            turn: turns[turn],
            turn_attempt,
            outcome,
            ..attempt(Uuid::new_v4(), Some(mara), seconds)
        };
        on.open().record(&done, at(seconds)).unwrap();
        done.id
    };
    // At home one call is right at the second try, the other at once; the laptop has the first call, later.
    let at_home = [
        call(&home, 0, 1, 10, Outcome::NotYet),
        call(&home, 0, 2, 11, Outcome::Pass),
        call(&home, 1, 1, 12, Outcome::Pass),
    ];
    let on_laptop = [
        call(&laptop, 0, 1, 20, Outcome::NotYet),
        call(&laptop, 0, 2, 21, Outcome::NotYet),
        call(&laptop, 0, 3, 22, Outcome::Pass),
    ];
    assert_eq!(club.take(&laptop).twice, 0, "nothing is twice yet");
    assert_eq!(club.take(&home).twice, 3);
    home.take(&laptop);
    laptop.take(&club);
    for computer in [&club, &home, &laptop] {
        let logbook = computer.open();
        let out: BTreeSet<Uuid> = logbook.held_out(Whose::Anyone).unwrap().iter().map(|a| a.id).collect();
        assert_eq!(out, BTreeSet::from(on_laptop));
        let counts = logbook.outcome_counts(Whose::Student(mara)).unwrap();
        assert_eq!((counts.pass, counts.not_yet, counts.total()), (2, 1, 3));
        let first = logbook.first_time(Whose::Student(mara)).unwrap().outcomes;
        assert_eq!((first.pass, first.not_yet), (1, 1));
        assert_eq!(logbook.count_attempts(Whose::Anyone).unwrap(), 6, "nothing is lost");
        assert!(
            at_home
                .iter()
                .all(|id| !logbook.attempt(*id).unwrap().unwrap().attempt.held_out)
        );
    }
    assert_eq!(club.dump(), home.dump());
    assert_eq!(club.dump(), laptop.dump());
    // Once is enough, and a judgement is not taken back by the next merge.
    assert_eq!(club.take(&home).twice, 0);
    let mut logbook = club.open();
    let tutor = NewStudent {
        name: "Ines Orme".to_owned(),
        role: Some(INSTRUCTOR.to_owned()),
        ..NewStudent::default()
    };
    let tutor = logbook.add_student(&tutor, at(30)).unwrap().id;
    let tutor = logbook.instructor(tutor, None, at(30)).unwrap();
    logbook.uphold(on_laptop[2], tutor, "counts", at(31)).unwrap();
    drop(logbook);
    assert_eq!(club.take(&home).twice, 0);
    assert_eq!(club.open().outcome_counts(Whose::Student(mara)).unwrap().pass, 3);
}

/// A call that the microphone made void has the number of the one that came after it, on the same computer.
#[test]
fn a_void_call_does_not_make_the_one_after_it_count_as_said_twice() {
    let place = folder();
    let (club, home) = (Computer::new(place.path(), "club"), Computer::new(place.path(), "home"));
    let turn = Uuid::new_v4();
    for (seconds, held_out) in [(10, true), (11, false)] {
        let done = NewAttempt {
            turn,
            turn_attempt: 1,
            outcome: Outcome::Pass,
            held_out,
            ..attempt(Uuid::new_v4(), None, seconds)
        };
        home.open().record(&done, at(seconds)).unwrap();
    }
    assert_eq!(club.take(&home).twice, 0);
    assert_eq!(club.open().held_out(Whose::Anyone).unwrap().len(), 1);
}

#[test]
fn who_may_not_be_joined_stays_as_it_was() {
    let place = folder();
    let club = Computer::new(place.path(), "club");
    let mut logbook = club.open();
    let mut add = |name: &str, role: Option<&str>| {
        let new = NewStudent {
            name: name.to_owned(),
            role: role.map(str::to_owned),
            ..NewStudent::default()
        };
        logbook.add_student(&new, at(0)).unwrap().id
    };
    let (mara, ines) = (add("Mara Lind", None), add("Ines Tutor", Some(INSTRUCTOR)));
    let before = club.dump();
    for (from, into, part) in [(mara, mara, "one entry already"), (ines, mara, "is an instructor")] {
        let why = logbook.join_students(from, into, at(1)).unwrap_err().to_string();
        assert!(why.contains(part), "{why}");
    }
    assert!(logbook.join_students(Uuid::new_v4(), mara, at(1)).is_err());
    assert_eq!(club.dump(), before);
}

#[test]
fn a_student_forgotten_on_one_computer_vanishes_on_the_other() {
    let place = folder();
    let (club, home) = (Computer::new(place.path(), "club"), Computer::new(place.path(), "home"));
    let name = "Peregrine Quillfeather";
    let new = NewStudent {
        name: name.to_owned(),
        consent: Some(consent(true, 0, None)),
        ..NewStudent::default()
    };
    let mut logbook = club.open();
    let gone = logbook.add_student(&new, at(0)).unwrap().id;
    recorded(&mut logbook, gone, 1);
    let merged = home.take(&club);
    assert_eq!((merged.students, merged.attempts, merged.recordings), (1, 1, 1));
    assert_eq!(home.files().len(), 1);

    logbook.forget(gone, at(5)).unwrap();
    drop(logbook);
    // The other way round first: what was forgotten does not come back.
    let back = club.take(&home);
    assert_eq!((back.students, back.attempts, back.recordings), (0, 0, 0));
    let merged = home.take(&club);
    assert_eq!((merged.forgotten, merged.attempts_removed), (1, 1));
    assert_eq!(home.files(), BTreeSet::new());
    for computer in [&club, &home] {
        assert!(computer.open().students().unwrap().is_empty());
        let bytes = std::fs::read(computer.file()).unwrap();
        assert!(
            !bytes.windows(name.len()).any(|w| w == name.as_bytes()),
            "the name is still in the file"
        );
        let left: Vec<_> = std::fs::read_dir(&computer.0)
            .unwrap()
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        let backup = "logbook.sqlite.before-merge.backup";
        assert!(
            left.iter()
                .all(|n| [backup, "logbook.sqlite", "recordings"].contains(&n.as_str())),
            "{left:?}"
        );
        // Made when the student was forgotten here already.
        if left.iter().any(|n| n == backup) {
            let bytes = std::fs::read(computer.0.join(backup)).unwrap();
            assert!(
                !bytes.windows(name.len()).any(|w| w == name.as_bytes()),
                "in the backup"
            );
        }
    }
}

#[test]
fn a_refusal_on_one_computer_takes_the_recordings_from_the_other() {
    let place = folder();
    let (club, home) = (Computer::new(place.path(), "club"), Computer::new(place.path(), "home"));
    let new = NewStudent {
        name: "Mara Lind".to_owned(),
        needs_guardian: true,
        consent: Some(consent(true, 0, Some("her mother"))),
        ..NewStudent::default()
    };
    let mara = club.open().add_student(&new, at(0)).unwrap().id;
    recorded(&mut club.open(), mara, 1);
    home.take(&club);
    home.open().set_consent(mara, &consent(false, 3, None), at(3)).unwrap();
    // Renamed later elsewhere: that does not bring the old answer back.
    club.open().change_student(mara, "Mara L.", None, None, at(9)).unwrap();
    assert_eq!(club.take(&home).recordings_removed, 1);
    home.take(&club);
    for computer in [&club, &home] {
        let logbook = computer.open();
        let student = logbook.student(mara).unwrap();
        assert_eq!(student.name, "Mara L.");
        assert!(!student.recording_allowed());
        assert_eq!(computer.files(), BTreeSet::new());
        assert_eq!(
            logbook.count_attempts(Whose::Student(mara)).unwrap(),
            1,
            "the attempt stays"
        );
    }
    // Consent anew: later recordings are kept, the old one stays gone.
    let anew = consent(true, 20, Some("her mother"));
    club.open().set_consent(mara, &anew, at(20)).unwrap();
    recorded(&mut club.open(), mara, 21);
    home.take(&club);
    assert_eq!((club.files().len(), home.files()), (1, club.files()));
}

#[test]
fn other_files_are_refused_and_the_other_logbook_is_not_touched() {
    let place = folder();
    let (club, home) = (Computer::new(place.path(), "club"), Computer::new(place.path(), "home"));
    let mut logbook = club.open();
    let into_itself = logbook.merge(&club.file(), &club.recordings()).unwrap_err();
    assert!(into_itself.to_string().contains("into itself"), "{into_itself}");
    let missing = logbook
        .merge(&place.path().join("none"), &club.recordings())
        .unwrap_err();
    assert!(matches!(missing, LogbookError::OtherNotALogbook { .. }), "{missing}");
    let text = place.path().join("diary.sqlite");
    std::fs::write(&text, "Dear diary, ".repeat(500)).unwrap();
    let foreign = logbook.merge(&text, &club.recordings()).unwrap_err();
    assert!(matches!(foreign, LogbookError::OtherNotALogbook { .. }), "{foreign}");

    let before = std::fs::read(home.file()).unwrap();
    logbook.merge(&home.file(), &home.recordings()).unwrap();
    assert_eq!(std::fs::read(home.file()).unwrap(), before);
}
