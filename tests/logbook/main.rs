//! The whole logbook room on real files: kills, two programs, protected folders, full disks, foreign and damaged
//! files, forgetting, exports, and outside readers (Python's `sqlite3` and `csv`).
//!
//! Some tests start this test program again as a second process, told by `CABLESIDE_TEST_CHILD` what to do.

#![allow(clippy::unwrap_used, clippy::panic)]
#![allow(clippy::cast_possible_wrap)]

mod export;
mod harm;
mod judging;
mod removing;
mod storing;

use cableside::logbook::{
    Consent, ElementVerdict, Logbook, LogbookError, ModelUsed, NewAttempt, NewStudent, Outcome, Part, RecordingName,
    Student, Timings, Verdict,
};
use jiff::{SignedDuration, Timestamp};
use serde_json::json;
use std::path::{Path, PathBuf};
use std::time::Duration;
use uuid::Uuid;

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
