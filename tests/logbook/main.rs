//! The whole logbook room on real files: kills, two programs, protected folders, full disks, foreign and damaged
//! files, forgetting, exports, and outside readers (Python's `sqlite3` and `csv`).
//!
//! Some tests start this test program again as a second process, told by `CABLESIDE_TEST_CHILD` what to do.

// `allow-unwrap-in-tests` covers test functions, not the helpers beside them in a file of tests.
#![allow(clippy::unwrap_used)]
// Small counters of rounds and rows.
#![allow(clippy::cast_possible_wrap)]

use std::collections::BTreeSet;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use cableside::logbook::{
    Consent, Done, ElementVerdict, Fate, INSTRUCTOR, InRun, Kind, LeftoverKind, Logbook, LogbookError, ModelUsed,
    NewAttempt, NewRun, NewStudent, Outcome, Overrule, Part, RecordingName, Removed, Retention, RunKind, Student,
    Timings, Verdict, Whose,
};
use jiff::{SignedDuration, Timestamp};
use rusqlite::Connection;
use serde_json::json;
use uuid::Uuid;

const CHILD: &str = "CABLESIDE_TEST_CHILD";

// ---- small worlds ----

struct World {
    dir: tempfile::TempDir,
}

impl World {
    fn new() -> Self {
        Self {
            dir: tempfile::tempdir().unwrap(),
        }
    }

    fn path(&self) -> PathBuf {
        self.dir.path().join("logbook.sqlite")
    }

    fn recordings(&self) -> PathBuf {
        self.dir.path().join("recordings")
    }

    fn open(&self) -> Logbook {
        self.try_open().unwrap()
    }

    fn try_open(&self) -> Result<Logbook, LogbookError> {
        Logbook::open_with_patience(&self.path(), &self.recordings(), Duration::from_millis(200))
    }

    /// Whether any file of this world, of whatever name, holds these bytes.
    fn contains(&self, needle: &str) -> bool {
        fn search(folder: &Path, needle: &[u8]) -> bool {
            std::fs::read_dir(folder).unwrap().any(|entry| {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    return search(&path, needle);
                }
                std::fs::read(&path).unwrap().windows(needle.len()).any(|w| w == needle)
            })
        }
        search(self.dir.path(), needle.as_bytes())
    }
}

fn at(seconds: i64) -> Timestamp {
    "2025-05-03T08:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_secs(seconds)
}

fn add(logbook: &mut Logbook, name: &str, consent: Option<bool>) -> Student {
    let consent = consent.map(|given| Consent {
        given,
        asked_at: at(0),
        by: Some("guardian".to_owned()),
    });
    let new = NewStudent {
        name: name.to_owned(),
        language: Some("en".to_owned()),
        role: None,
        needs_guardian: false,
        consent,
    };
    logbook.add_student(&new, at(0)).unwrap()
}

fn attempt(student: Option<Uuid>, seconds: i64) -> NewAttempt {
    let mut callsign = ElementVerdict::new("callsign", Verdict::Said, Some("G-CLRM".to_owned()));
    callsign.margin = Some(4.25);
    callsign.begin_seconds = Some(0.31);
    callsign.end_seconds = Some(1.62);
    NewAttempt {
        id: Uuid::new_v4(),
        student,
        started_at: at(seconds),
        utc_offset_seconds: 7200,
        site: "larkmoor".to_owned(),
        site_version: "3".to_owned(),
        step: "ready".to_owned(),
        part: Part::default(),
        situation: json!({"callsign": "G-CLRM", "crew": 2, "cable": "north"}),
        turn: Uuid::new_v4(),
        turn_attempt: 1,
        model: Some(ModelUsed {
            name: "ggml-base.bin".to_owned(),
            sha1: "0123456789abcdef".repeat(3)[..40].to_owned(),
        }),
        program_version: "0.1.0".to_owned(),
        outcome: Outcome::NotYet,
        score: Some(61.5),
        timings: Timings {
            prompt_end_to_press_ms: Some(830),
            press_to_release_ms: Some(4120),
            judging_ms: Some(960),
        },
        transcript: "winch golf charlie lima romeo mike north winch cable ready".to_owned(),
        evidence: json!({"callsign": {"rivals": ["G-CLMR"], "cost": 0.125}}),
        recording: None,
        held_out: false,
        elements: vec![
            callsign,
            ElementVerdict::new("crew", Verdict::Missing, None),
            ElementVerdict::new("cable", Verdict::Said, Some("north".to_owned())),
            ElementVerdict::new("method", Verdict::Unsure, None),
            ElementVerdict::new("ready", Verdict::Said, Some("ready".to_owned())),
        ],
    }
}

/// What the sound room does: writes the unfinished file, renames it when it is whole.
fn record_sound(name: &RecordingName, folder: &Path) {
    std::fs::write(name.unfinished_path(folder), b"RIFF a voice").unwrap();
    std::fs::rename(name.unfinished_path(folder), name.path(folder)).unwrap();
}

fn with_recording(logbook: &Logbook, student: Uuid, seconds: i64) -> NewAttempt {
    let name = logbook.begin_recording(Some(student)).unwrap();
    record_sound(&name, logbook.recordings_folder());
    NewAttempt {
        id: name.attempt(),
        recording: Some(name),
        ..attempt(Some(student), seconds)
    }
}

/// This test program again, running only the named test as a child that does `what`.
fn child(test: &str, what: &str, dir: &Path) -> Command {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command
        .args(["--exact", test, "--nocapture", "--test-threads", "1"])
        .env(CHILD, what)
        .env("CHILD_DIR", dir);
    command
}

/// The folder a child is to work in, if this process is the child.
fn as_child() -> Option<PathBuf> {
    std::env::var_os(CHILD)
        .and_then(|_| std::env::var_os("CHILD_DIR"))
        .map(PathBuf::from)
}

/// Numbers for the random histories; the same for the same seed.
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % n
    }
}

// ---- storing and reading ----

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

// ---- consent and recordings ----

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

// ---- forgetting ----

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

// ---- kills, two programs ----

/// A second process stores attempts with recordings as fast as it can and prints each id when it is stored; it is
/// killed at a random moment, twenty times over on the same logbook.
#[test]
fn a_kill_at_any_moment_keeps_every_finished_attempt() {
    const NAME: &str = "a_kill_at_any_moment_keeps_every_finished_attempt";
    if let Some(dir) = as_child() {
        let mut logbook = Logbook::open(&dir.join("logbook.sqlite"), &dir.join("recordings")).unwrap();
        let student = logbook.find_student("Mara Lind").unwrap().id;
        for i in 0.. {
            let mut a = with_recording(&logbook, student, i);
            // Many pages each, and some more than SQLite keeps in memory, so that there is time to be killed in the
            // midst of writing them.
            let length = if i % 4 == 3 { 3_000_000 } else { 200_000 };
            a.transcript = "x".repeat(length);
            logbook.record(&a, at(i)).unwrap();
            println!("\nfinished {}", a.id);
        }
    }
    let world = World::new();
    add(&mut world.open(), "Mara Lind", Some(true));
    let mut dice = Dice(Uuid::new_v4().as_u64_pair().0 | 1);
    let mut finished = BTreeSet::new();
    for round in 1..=20 {
        let mut process = child(NAME, "write", world.dir.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let moment = Duration::from_micros(5_000 + dice.below(200_000));
        std::thread::sleep(moment);
        // SIGKILL (TerminateProcess on Windows): no handler runs, nothing is flushed.
        process.kill().unwrap();
        process.wait().unwrap();
        for line in BufReader::new(process.stdout.take().unwrap()).lines() {
            if let Some(id) = line
                .unwrap()
                .strip_prefix("finished ")
                .and_then(|id| Uuid::try_parse(id).ok())
            {
                finished.insert(id);
            }
        }

        let logbook = world.open();
        logbook.check_integrity().unwrap();
        for id in &finished {
            let stored = logbook
                .attempt(*id)
                .unwrap()
                .unwrap_or_else(|| panic!("round {round}: {id} is lost"));
            assert_eq!(stored.attempt.elements.len(), 5);
            assert!(stored.attempt.recording.unwrap().path(&world.recordings()).is_file());
        }
        let stored = logbook.count_attempts(Whose::Anyone).unwrap();
        let files = std::fs::read_dir(world.recordings()).map_or(0, Iterator::count) as u64;
        let leftovers = logbook.adopt_leftovers().unwrap();
        assert_eq!(
            files - stored,
            leftovers.len() as u64,
            "every other recording is listed"
        );
        assert!(leftovers.iter().all(|l| matches!(l.fate, Fate::Kept(_))));
        assert!(leftovers.len() <= round, "a kill costs one call at most");
    }
    println!("20 kills, {} attempts printed as finished, all there", finished.len());
    assert!(finished.len() >= 10, "the writer hardly wrote: {}", finished.len());
}

#[test]
fn two_programs_share_a_logbook_and_a_held_lock_is_told() {
    let world = World::new();
    let mut first = world.open();
    let mut second = world.open();
    let mara = add(&mut first, "Mara Lind", None).id;
    for i in 0..20 {
        let logbook = if i % 2 == 0 { &mut first } else { &mut second };
        logbook.record(&attempt(Some(mara), i), at(i)).unwrap();
    }
    assert_eq!(
        first.attempts(Whose::Anyone, 0, 100).unwrap(),
        second.attempts(Whose::Anyone, 0, 100).unwrap()
    );

    let other = Connection::open(world.path()).unwrap();
    other.execute_batch("BEGIN EXCLUSIVE").unwrap();
    let start = Instant::now();
    let error = first.record(&attempt(Some(mara), 50), at(50)).unwrap_err();
    assert!(matches!(error, LogbookError::Busy { .. }), "{error}");
    assert!(
        start.elapsed() >= Duration::from_millis(150),
        "it waits for the other first"
    );
    assert!(error.to_string().contains("in use by another program"), "{error}");
    assert!(matches!(world.try_open(), Err(LogbookError::Busy { .. })));
    other.execute_batch("COMMIT").unwrap();
    first.record(&attempt(Some(mara), 50), at(50)).unwrap();
    assert_eq!(second.count_attempts(Whose::Anyone).unwrap(), 21);
}

#[test]
fn two_programs_may_make_the_same_logbook_at_once() {
    for _ in 0..10 {
        let world = World::new();
        let made: Vec<_> = std::thread::scope(|scope| {
            let open = || Logbook::open(&world.path(), &world.recordings()).map(drop);
            let threads: Vec<_> = (0..4)
                .map(|i| {
                    std::thread::Builder::new()
                        .name(format!("opener {i}"))
                        .spawn_scoped(scope, open)
                        .unwrap()
                })
                .collect();
            threads.into_iter().map(|t| t.join().unwrap()).collect()
        });
        assert!(made.iter().all(Result::is_ok), "{made:?}");
        world.open().check_integrity().unwrap();
    }
}

// ---- files that are not as they should be ----

#[test]
fn a_newer_logbook_is_refused_and_untouched() {
    let world = World::new();
    add(&mut world.open(), "Mara Lind", None);
    Connection::open(world.path())
        .unwrap()
        .pragma_update(None, "user_version", 7)
        .unwrap();
    let before = std::fs::read(world.path()).unwrap();
    let error = world.try_open().unwrap_err();
    assert!(matches!(error, LogbookError::Newer { found: 7, .. }), "{error}");
    assert!(
        error.to_string().contains("newer version") && error.to_string().ends_with("logbook.sqlite"),
        "{error}"
    );
    assert_eq!(std::fs::read(world.path()).unwrap(), before);
    assert_eq!(
        std::fs::read_dir(world.dir.path()).unwrap().count(),
        1,
        "nothing beside it"
    );
}

#[test]
fn foreign_and_damaged_files_are_refused_and_untouched() {
    let world = World::new();
    let refused = |what: &str| {
        let before = std::fs::read(world.path()).unwrap();
        let error = world.try_open().unwrap_err();
        assert!(
            matches!(error, LogbookError::NotALogbook { .. } | LogbookError::Damaged { .. }),
            "{what}: {error:?}"
        );
        assert!(error.to_string().contains("set-aside"), "{what}: {error}");
        assert_eq!(std::fs::read(world.path()).unwrap(), before, "{what}");
        std::fs::remove_file(world.path()).unwrap();
    };
    std::fs::write(world.path(), "Dear diary, ".repeat(500)).unwrap();
    refused("text");
    Connection::open(world.path())
        .unwrap()
        .execute_batch("CREATE TABLE flights (id)")
        .unwrap();
    refused("another program's database");
    Connection::open(world.path())
        .unwrap()
        .execute_batch("CREATE TABLE f (id); PRAGMA user_version = 1")
        .unwrap();
    refused("another program's database with a format number");
    add(&mut world.open(), "Mara Lind", None);
    let mut bytes = std::fs::read(world.path()).unwrap();
    bytes[..16].fill(0);
    std::fs::write(world.path(), &bytes).unwrap();
    refused("destroyed beginning");

    // Damaged in the middle: it opens, but reading says so.
    let mut logbook = world.open();
    let mara = add(&mut logbook, "Mara Lind", None).id;
    for i in 0..200 {
        logbook.record(&attempt(Some(mara), i), at(i)).unwrap();
    }
    drop(logbook);
    let mut bytes = std::fs::read(world.path()).unwrap();
    // Behind the tables' descriptions, which are read at opening.
    let middle = bytes.len() / 2;
    let end = bytes.len() - 4096;
    bytes[middle..end].fill(0xA5);
    std::fs::write(world.path(), &bytes).unwrap();
    let logbook = world.open();
    let error = logbook.check_integrity().unwrap_err();
    assert!(matches!(error, LogbookError::Damaged { .. }), "{error:?}");
    let error = logbook.export_json(Whose::Anyone, std::io::sink()).unwrap_err();
    assert!(matches!(error, LogbookError::Damaged { .. }), "{error:?}");
    drop(logbook);

    let aside = cableside::logbook::set_aside(&world.path()).unwrap();
    assert_eq!(std::fs::read(aside).unwrap(), bytes);
    world.open().check_integrity().unwrap();
    std::fs::create_dir(world.dir.path().join("folder.sqlite")).unwrap();
    let folder = Logbook::open(&world.dir.path().join("folder.sqlite"), &world.recordings()).unwrap_err();
    assert!(matches!(folder, LogbookError::NotALogbook { .. }), "{folder:?}");
}

/// An empty file is a new logbook: that is what SQLite leaves when the program is killed right at the beginning.
#[test]
fn an_empty_file_becomes_a_logbook() {
    let world = World::new();
    std::fs::write(world.path(), b"").unwrap();
    add(&mut world.open(), "Mara Lind", None);
    assert_eq!(world.open().students().unwrap().len(), 1);
}

/// Rights do not bind the superuser; then the checking part runs in a second process as "nobody".
#[cfg(unix)]
#[test]
fn a_write_protected_logbook_can_be_read() {
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::process::CommandExt;
    const NAME: &str = "a_write_protected_logbook_can_be_read";

    fn check(dir: &Path) {
        let open = |folder: &str| {
            let recordings = dir.join(folder).join("recordings");
            Logbook::open(&dir.join(folder).join("logbook.sqlite"), &recordings)
        };
        for folder in ["protected file", "protected folder"] {
            let mut logbook = open(folder).unwrap_or_else(|e| panic!("{folder}: {e}"));
            let notice = logbook
                .read_only_notice()
                .unwrap_or_else(|| panic!("{folder} can be written"));
            assert!(notice.contains("nothing can be recorded"), "{notice}");
            let mara = logbook.find_student("Mara Lind").unwrap();
            assert_eq!(logbook.attempts(Whose::Student(mara.id), 0, 9).unwrap().len(), 1);
            logbook.export_csv(Whose::Anyone, std::io::sink()).unwrap();
            let error = logbook.record(&attempt(Some(mara.id), 5), at(5)).unwrap_err();
            assert!(matches!(error, LogbookError::ReadOnly { .. }), "{error}");
            assert!(matches!(
                logbook.begin_recording(Some(mara.id)),
                Err(LogbookError::ReadOnly { .. })
            ));
            assert!(matches!(
                logbook.forget(mara.id, at(5)),
                Err(LogbookError::ReadOnly { .. })
            ));
        }
        for nothing in ["empty protected folder", "protected empty file"] {
            let error = open(nothing).unwrap_err();
            assert!(matches!(error, LogbookError::NoneYet { .. }), "{error:?}");
            assert!(!error.to_string().contains("can still be read"), "{error}");
        }
    }

    if let Some(dir) = as_child() {
        return check(&dir);
    }
    let world = World::new();
    let set = |path: &Path, mode| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
    };
    let all = [
        "protected file",
        "protected folder",
        "empty protected folder",
        "protected empty file",
    ];
    for folder in all {
        let folder = world.dir.path().join(folder);
        std::fs::create_dir(&folder).unwrap();
        let file = folder.join("logbook.sqlite");
        if folder.ends_with("protected empty file") {
            // There is nothing in it to read yet, and nothing can be made of it.
            std::fs::write(&file, b"").unwrap();
        } else if !folder.ends_with("empty protected folder") {
            let mut logbook = Logbook::open(&file, &folder.join("recordings")).unwrap();
            let mara = add(&mut logbook, "Mara Lind", Some(true)).id;
            logbook.record(&attempt(Some(mara), 0), at(0)).unwrap();
        }
        match folder.ends_with("protected file") {
            true => (set(&file, 0o444), set(&folder, 0o777)),
            false if file.exists() => (set(&file, 0o666), set(&folder, 0o555)),
            false => ((), set(&folder, 0o555)),
        };
    }
    set(world.dir.path(), 0o755);
    if std::fs::write(world.dir.path().join("protected folder/probe"), b"").is_err() {
        check(world.dir.path());
    } else {
        std::fs::remove_file(world.dir.path().join("protected folder/probe")).unwrap();
        // A copy, because the build folder may lie where "nobody" may not go.
        let program = world.dir.path().join("test program");
        std::fs::copy(std::env::current_exe().unwrap(), &program).unwrap();
        set(&program, 0o755);
        let mut command = Command::new(&program);
        command
            .args(["--exact", NAME, "--nocapture"])
            .env(CHILD, "read")
            .env("CHILD_DIR", world.dir.path());
        let output = command
            .current_dir(world.dir.path())
            .uid(65534)
            .gid(65534)
            .output()
            .unwrap();
        let text = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success() && text.contains("1 passed"), "{text}");
    }
    for folder in all {
        set(&world.dir.path().join(folder), 0o755);
    }
}

/// On a file system of one megabyte, where mounting one is permitted: in a namespace of its own, so that nothing
/// remains mounted. (Where it is not, the limited database in `attempts.rs` stands for it.)
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_loses_nothing_that_was_recorded() {
    const NAME: &str = "a_full_disk_loses_nothing_that_was_recorded";
    if let Some(dir) = as_child() {
        let path = dir.join("logbook.sqlite");
        let recordings = dir.join("recordings");
        let mut logbook = Logbook::open(&path, &recordings).unwrap();
        let mara = add(&mut logbook, "Mara Lind", Some(true)).id;
        std::fs::write(dir.join("filler"), vec![1; 300_000]).unwrap();
        let mut stored = Vec::new();
        let error = loop {
            let mut a = attempt(Some(mara), stored.len() as i64);
            a.evidence = json!({"padding": "x".repeat(9_000)});
            match logbook.record(&a, at(0)) {
                Ok(()) => stored.push(a.id),
                Err(e) => break e,
            }
            assert!(stored.len() < 1000, "the disk does not fill");
        };
        assert!(matches!(error, LogbookError::DiskFull { .. }), "{error:?}");
        assert!(error.to_string().contains("the disk is full") && error.to_string().ends_with("logbook.sqlite"));
        assert!(stored.len() > 5);
        let all_there = |logbook: &Logbook| {
            logbook.check_integrity().unwrap();
            assert!(stored.iter().all(|id| logbook.attempt(*id).unwrap().is_some()));
        };
        all_there(&logbook);
        drop(logbook);
        // Opened on the full disk, then with space again.
        let mut logbook = Logbook::open(&path, &recordings).unwrap();
        all_there(&logbook);
        assert_eq!(logbook.read_only_notice(), None, "a full disk is not a protected one");
        std::fs::remove_file(dir.join("filler")).unwrap();
        logbook.record(&attempt(Some(mara), 0), at(0)).unwrap();
        println!("\nfull after {} attempts", stored.len());
        return;
    }
    let world = World::new();
    let script =
        "mount -t tmpfs -o size=1m tmpfs \"$CHILD_DIR\" && echo mounted && exec \"$0\" --exact \"$1\" --nocapture";
    let mut refusals = String::new();
    for rights in [&["--mount"][..], &["--mount", "--map-root-user"]] {
        let mut command = Command::new("unshare");
        command
            .args(rights)
            .args(["sh", "-c", script])
            .arg(std::env::current_exe().unwrap())
            .arg(NAME);
        let Ok(output) = command.env(CHILD, "fill").env("CHILD_DIR", world.dir.path()).output() else {
            continue;
        };
        let text = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
        if text.contains("mounted") {
            assert!(output.status.success() && text.contains("full after"), "{text}");
            println!("{text}");
            return;
        }
        refusals += &text;
    }
    println!("not checked on a small file system, mounting one is not permitted here: {refusals}");
}

// ---- exports, read by others ----

fn for_export(world: &World) -> (Logbook, Vec<NewAttempt>) {
    let mut logbook = world.open();
    let mara = add(&mut logbook, "=HYPERLINK(\"x\")", Some(true)).id;
    let oezil = add(&mut logbook, "Öznur \"Özi\" Aksoy, jun.", None).id;
    let mut plain = with_recording(&logbook, mara, 0);
    plain.transcript = String::from("-2+3 winch, \"north\"\r\nline two");
    let mut typed = attempt(Some(oezil), 1);
    typed.model = None;
    typed.situation = json!({"callsign": "D-3862", "crew": 1, "wind": {"from": 240}, "note": "@home", "type": null});
    typed.elements.insert(
        0,
        ElementVerdict::new("address", Verdict::Wrong, Some("+tower".to_owned())),
    );
    typed.elements[1].margin = Some(-0.5);
    typed.score = None;
    let mut bare = attempt(None, 2);
    bare.elements.clear();
    bare.timings = Timings::default();
    bare.utc_offset_seconds = -12_600;
    let attempts = vec![plain, typed, bare];
    for a in &attempts {
        logbook.record(a, at(3)).unwrap();
    }
    (logbook, attempts)
}

#[test]
fn json_export_is_exact() {
    let world = World::new();
    let (logbook, attempts) = for_export(&world);
    let mut out = Vec::new();
    assert_eq!(logbook.export_json(Whose::Anyone, &mut out).unwrap(), 3);
    let json: serde_json::Value = serde_json::from_slice(&out).unwrap();
    assert_eq!(
        (&json["form"], &json["version"]),
        (&json!("cableside logbook"), &json!(2))
    );
    let read: Vec<cableside::logbook::StoredAttempt> = serde_json::from_value(json["attempts"].clone()).unwrap();
    assert_eq!(read.into_iter().map(|s| s.attempt).collect::<Vec<_>>(), attempts);
    let students: Vec<Student> = serde_json::from_value(json["students"].clone()).unwrap();
    assert_eq!(students, logbook.students().unwrap());

    let mut one = Vec::new();
    let oezil = attempts[1].student.unwrap();
    assert_eq!(logbook.export_json(Whose::Student(oezil), &mut one).unwrap(), 1);
    assert!(
        !String::from_utf8(one).unwrap().contains("HYPERLINK"),
        "nothing of anybody else"
    );
    let mut empty = Vec::new();
    let nobody = Logbook::in_memory(Path::new("none")).unwrap();
    nobody.export_json(Whose::Anyone, &mut empty).unwrap();
    assert_eq!(
        serde_json::from_slice::<serde_json::Value>(&empty).unwrap()["attempts"],
        json!([])
    );
}

#[test]
fn csv_export_has_one_row_an_attempt_and_no_formulas() {
    let world = World::new();
    let (logbook, attempts) = for_export(&world);
    let mut out = Vec::new();
    assert_eq!(logbook.export_csv(Whose::Anyone, &mut out).unwrap(), 3);
    let mut reader = csv::Reader::from_reader(&out[..]);
    let header = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().collect::<Result<_, _>>().unwrap();
    assert_eq!(rows.len(), 3);
    let cell = |row: usize, column: &str| {
        &rows[row][header
            .iter()
            .position(|h| h == column)
            .unwrap_or_else(|| panic!("no column {column}"))]
    };
    assert_eq!(cell(0, "attempt"), attempts[0].id.to_string());
    assert_eq!(cell(0, "student"), "'=HYPERLINK(\"x\")");
    assert_eq!(cell(0, "transcript"), "'-2+3 winch, \"north\"\r\nline two");
    assert_eq!(cell(0, "started at"), "2025-05-03T10:00:00+02:00");
    assert_eq!(cell(0, "callsign heard"), "G-CLRM");
    assert_eq!(cell(0, "callsign margin"), "4.25");
    assert_eq!(cell(0, "score"), "61.5");
    assert_eq!(cell(0, "address verdict"), "");
    assert_eq!(cell(1, "address heard"), "'+tower");
    assert_eq!(cell(1, "callsign margin"), "-0.5");
    assert_eq!(cell(1, "situation.note"), "'@home");
    assert_eq!(cell(1, "situation.crew"), "1");
    assert_eq!(cell(1, "situation.wind"), "{\"from\":240}");
    assert_eq!((cell(1, "model"), cell(1, "score")), ("", ""));
    assert_eq!(cell(2, "started at"), "2025-05-03T04:30:02-03:30");
    assert_eq!(cell(2, "judging ms"), "");
    for text in rows.iter().flatten() {
        assert!(!text.starts_with(['=', '+', '@']), "{text}");
        assert!(!text.starts_with('-') || text.parse::<f64>().is_ok(), "{text}");
    }
}

/// Python's `sqlite3` and `csv`, which are not made by us, read the same as we wrote.
#[test]
fn pythons_sqlite3_and_csv_read_the_same() {
    const SCRIPT: &str = r#"
import csv, json, sqlite3, sys
db = sqlite3.connect(sys.argv[1])
assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
assert db.execute("PRAGMA journal_mode").fetchone() == ("delete",)
export = json.load(open(sys.argv[3], encoding="utf-8"))
rows = list(csv.DictReader(open(sys.argv[2], encoding="utf-8", newline="")))
names = {s["id"]: s["name"] for s in export["students"]}
guard = lambda t: "'" + t if t.startswith(("=", "+", "-", "@", "\t", "\r", "\n")) else t
assert len(rows) == len(export["attempts"]) == 3
for row, a in zip(rows, export["attempts"]):
    transcript, evidence, millis = db.execute(
        "SELECT transcript, evidence, started_at FROM attempt WHERE id = ?", (a["id"],)).fetchone()
    assert row["attempt"] == a["id"]
    assert row["transcript"] == guard(a["transcript"]) == guard(transcript)
    assert row["student"] == guard(names.get(a["student"], ""))
    assert json.loads(evidence) == a["evidence"]
    from datetime import datetime
    assert datetime.fromisoformat(row["started at"]).timestamp() * 1000 == millis
    for e in a["elements"]:
        assert row[e["element"] + " verdict"] == e["verdict"]
        assert row[e["element"] + " heard"] == guard(e["heard"] or "")
        assert row[e["element"] + " margin"] == "" or float(row[e["element"] + " margin"]) == e["margin"]
    found = db.execute("""SELECT element, verdict, heard FROM element_verdict JOIN attempt ON number = attempt
        WHERE id = ? ORDER BY position""", (a["id"],)).fetchall()
    assert found == [(e["element"], e["verdict"], e["heard"]) for e in a["elements"]]
print("python agrees, sqlite", sqlite3.sqlite_version)
"#;
    let world = World::new();
    let (logbook, _) = for_export(&world);
    let (csv, json) = (world.dir.path().join("a.csv"), world.dir.path().join("a.json"));
    logbook
        .export_csv(Whose::Anyone, std::fs::File::create(&csv).unwrap())
        .unwrap();
    logbook
        .export_json(Whose::Anyone, std::fs::File::create(&json).unwrap())
        .unwrap();
    drop(logbook);
    let python = Command::new("python3")
        .args(["-c", SCRIPT])
        .arg(world.path())
        .arg(&csv)
        .arg(&json)
        .output();
    let output = match python {
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
            println!("not checked with another reader: python3 is not installed");
            return;
        }
        other => other.unwrap(),
    };
    let text = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && text.contains("python agrees"), "{text}");
    println!("{text}");
}

// ---- instructors, classes, runs, retention ----

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

    // All of it is in her own export, and nothing of it in his.
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
    logbook.remove_class(class.id, at(20)).unwrap();
    assert!(logbook.classes().unwrap().is_empty());
    logbook.forget(mara, at(21)).unwrap();
    assert_eq!(logbook.run(run.id).unwrap(), None);
    logbook.check_integrity().unwrap();
}
