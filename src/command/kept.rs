//! What the terminal's launches and ear drills leave in the logbook when a student is chosen (`--student`).
#![allow(clippy::print_stdout, reason = "a command's room prints")]

use super::Failure;
use crate::call::{Evidence, Judgement, Outcome};
use crate::files;
use crate::folders;
use crate::logbook::{
    Done, ElementVerdict, InRun, Kind, Logbook, LogbookError, ModelUsed, NewAttempt, NewRun, Part, RecordingName,
    RunKind, Timings,
};
use crate::site::Site;
use crate::sound::Clip;
use jiff::Timestamp;
use serde::Serialize;
use serde_json::{Value, json};
use std::collections::VecDeque;
use std::path::PathBuf;
use uuid::Uuid;

/// Readings kept with an attempt: the verdicts rest on the first few.
const READINGS_KEPT: usize = 16;

/// A run under way, and the logbook it goes to.
pub struct Kept {
    logbook: Logbook,
    student: Uuid,
    run: Uuid,
    role: Option<String>,
    site: (String, String),
    situation: Value,
    position: u32,
    /// The step of the turn at hand, its id, and the attempts at it.
    turn: (String, Uuid, u32),
    /// Turns that could not be stored yet, and how many never will be.
    waiting: VecDeque<NewAttempt>,
    lost: usize,
}

/// One of the student's turns.
pub struct Turn<'a> {
    /// Step id.
    pub step: &'a str,
    /// What was asked for.
    pub kind: Kind,
    /// What was done.
    pub done: Done,
    /// What came of it.
    pub outcome: Outcome,
    /// When it began.
    pub began: Timestamp,
    /// The call, if one was made.
    pub call: Option<Call<'a>>,
    /// What explains the outcome where there was no call.
    pub evidence: Value,
}

/// A call that was made in a turn.
pub struct Call<'a> {
    /// Against its step.
    pub judgement: &'a Judgement,
    /// What was heard or typed.
    pub evidence: &'a Evidence,
    /// The model that heard it; `None` for a typed call.
    pub model: Option<ModelUsed>,
    /// The sound.
    pub clip: Option<&'a Clip>,
    /// Its file, if one was kept.
    pub recording: Option<RecordingName>,
}

impl Kept {
    /// Opens the logbook for this student and begins a run.
    pub fn begin(
        asked: &str,
        kind: RunKind,
        site: &Site,
        role: Option<&str>,
        seed: u64,
        situation: &impl Serialize,
    ) -> Result<Self, Failure> {
        let mut logbook = Logbook::open(&folders::logbook(), &folders::recordings())?;
        if let Some(notice) = logbook.read_only_notice() {
            return Err(notice.into());
        }
        let student = logbook.find_student(asked)?;
        let now = Timestamp::now();
        for line in super::logbook::removed_lines(&logbook.remove_old(now)?) {
            println!("{line}");
        }
        let run = NewRun {
            id: Uuid::new_v4(),
            kind,
            student: Some(student.id),
            class: None,
            started_at: now,
            utc_offset_seconds: offset(now),
            site: site.id.clone(),
            site_version: site.version.clone(),
            role: role.map(str::to_owned),
            seed: Some(seed.to_string()),
            situation: serde_json::to_value(situation)?,
            course: json!({}),
        };
        logbook.begin_run(&run, now)?;
        Ok(Self {
            logbook,
            student: student.id,
            run: run.id,
            role: run.role,
            site: (run.site, run.site_version),
            situation: run.situation,
            position: 0,
            turn: (String::new(), Uuid::new_v4(), 0),
            waiting: VecDeque::new(),
            lost: 0,
        })
    }

    /// What is dealt from now on, where it changes within the run.
    pub fn dealt(&mut self, situation: &impl Serialize) -> Result<(), Failure> {
        self.situation = serde_json::to_value(situation)?;
        self.turn = (String::new(), Uuid::new_v4(), 0);
        Ok(())
    }

    /// The name and file of the next recording, if recordings of this student may be kept.
    pub fn recording(&self) -> Option<(RecordingName, PathBuf)> {
        let name = self.logbook.begin_recording(Some(self.student)).ok()?;
        Some((name, name.path(self.logbook.recordings_folder())))
    }

    /// Stores a turn, after those that wait. A recording that may not be kept any more is removed, and the turn stored without it.
    /// What cannot be stored now waits for the next turn and for the end.
    pub fn turn(&mut self, turn: Turn) -> Result<(), Failure> {
        if self.turn.0 != turn.step {
            self.turn = (turn.step.to_owned(), Uuid::new_v4(), 0);
        }
        self.turn.2 += 1;
        let call = turn.call.as_ref();
        let recording = call.and_then(|c| c.recording);
        let attempt = NewAttempt {
            id: recording.map_or_else(Uuid::new_v4, |r| r.attempt()),
            student: Some(self.student),
            started_at: turn.began,
            utc_offset_seconds: offset(turn.began),
            site: self.site.0.clone(),
            site_version: self.site.1.clone(),
            step: turn.step.to_owned(),
            part: Part {
                kind: turn.kind,
                done: turn.done,
                run: Some(InRun {
                    run: self.run,
                    position: self.position,
                    role: self.role.clone(),
                }),
            },
            situation: self.situation.clone(),
            turn: self.turn.1,
            turn_attempt: self.turn.2,
            model: call.and_then(|c| c.model.clone()),
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            outcome: turn.outcome,
            score: call.and_then(|c| c.judgement.score.map(f64::from)),
            timings: timings(call.and_then(|c| c.clip)),
            transcript: call.map_or_else(String::new, |c| c.evidence.transcript.clone()),
            evidence: call.map_or(turn.evidence, explained),
            recording,
            held_out: false,
            elements: call.map_or_else(Vec::new, |c| elements(c.judgement)),
        };
        self.position += 1;
        self.waiting.push_back(attempt);
        self.store_waiting()
    }

    /// Stores what waits, in order, until something cannot be stored yet. What never can be is counted as lost.
    fn store_waiting(&mut self) -> Result<(), Failure> {
        while let Some(attempt) = self.waiting.front_mut() {
            let mut result = self.logbook.record(attempt, Timestamp::now());
            if let (Err(LogbookError::NoConsent { .. }), Some(name)) = (&result, attempt.recording) {
                files::remove(&name.path(self.logbook.recordings_folder()))?;
                attempt.recording = None;
                result = self.logbook.record(attempt, Timestamp::now());
            }
            if result.as_ref().is_err_and(LogbookError::is_for_good) {
                self.lost += 1;
                self.waiting.pop_front();
            }
            result?;
            self.waiting.pop_front();
        }
        Ok(())
    }

    /// Stores what happened, and how it ended if it did; before it what waits.
    pub fn end(&mut self, ending: Option<&str>, record: &impl Serialize) -> Result<(), Failure> {
        let record = serde_json::to_value(record)?;
        let stored = self.store_waiting();
        if self.waiting.is_empty() {
            self.logbook.update_run(self.run, ending, &record, Timestamp::now())?;
            println!("In the logbook: cableside logbook show {}", &self.run.to_string()[..8]);
        }
        let missing = self.waiting.len() + self.lost;
        if missing > 0 {
            let why = stored
                .err()
                .map_or_else(|| "why stands beside them".to_owned(), |e| e.to_string());
            return Err(format!("{missing} of the turns shown are NOT in the logbook: {why}").into());
        }
        Ok(())
    }
}

fn offset(at: Timestamp) -> i32 {
    jiff::tz::TimeZone::system().to_offset(at).seconds()
}

fn timings(clip: Option<&Clip>) -> Timings {
    let keying = clip.and_then(|c| c.keying);
    let whole = |seconds: f64| (seconds >= 0.0).then(|| (seconds * 1000.0).round() as u32);
    Timings {
        prompt_end_to_press_ms: keying.and_then(|k| whole(k.prompt_end_to_press?)),
        press_to_release_ms: keying.and_then(|k| whole(k.press_to_release)),
        judging_ms: None,
    }
}

fn explained(call: &Call) -> Value {
    let mut evidence = call.evidence.clone();
    evidence.readings.truncate(READINGS_KEPT);
    // Plain data of numbers and texts: this cannot fail, and a missing explanation must not cost the attempt.
    let value = |v: serde_json::Result<Value>| v.unwrap_or_default();
    json!({
        "heard": value(serde_json::to_value(&evidence)),
        "judgement": value(serde_json::to_value(call.judgement)),
        "clip": call.clip.map(|c| value(serde_json::to_value(c))),
    })
}

fn elements(judgement: &Judgement) -> Vec<ElementVerdict> {
    let verdict = |e: &crate::call::ElementVerdict| ElementVerdict {
        margin: e.margin.map(f64::from),
        critical: Some(e.critical),
        ..ElementVerdict::new(e.element.clone(), e.verdict, e.heard.clone())
    };
    judgement.elements.iter().map(verdict).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{Ending, Entry, Note, Want};
    use crate::logbook::NewStudent;
    use crate::worker::turned::came_of;

    /// A full disk in the middle of a launch: the turn is told and waits, and the end stores it or says that it is lost.
    #[test]
    fn a_turn_that_could_not_be_stored_waits_for_the_end() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("logbook.sqlite");
        let mut logbook = Logbook::open(&file, &dir.path().join("recordings")).unwrap();
        let now = Timestamp::now();
        let student = NewStudent {
            name: "Mara Lind".to_owned(),
            ..NewStudent::default()
        };
        let student = logbook.add_student(&student, now).unwrap().id;
        let run = NewRun {
            id: Uuid::new_v4(),
            kind: RunKind::Launch,
            student: Some(student),
            class: None,
            started_at: now,
            utc_offset_seconds: 0,
            site: "larkmoor".to_owned(),
            site_version: "1.0".to_owned(),
            role: Some("pilot".to_owned()),
            seed: None,
            situation: json!({}),
            course: json!({}),
        };
        logbook.begin_run(&run, now).unwrap();
        let mut kept = Kept {
            logbook,
            student,
            run: run.id,
            role: run.role,
            site: (run.site, run.site_version),
            situation: json!({"callsign": "G-CLRM", "crew": 2, "cable": "north"}),
            position: 0,
            turn: (String::new(), Uuid::new_v4(), 0),
            waiting: VecDeque::new(),
            lost: 0,
        };
        let other = rusqlite::Connection::open(&file).unwrap();
        // Any trouble of the database will do that is not the row's own.
        other
            .execute_batch("ALTER TABLE attempt RENAME TO out_of_reach")
            .unwrap();
        let turn = |kept: &mut Kept| {
            kept.turn(Turn {
                step: "ready",
                kind: Kind::Release,
                done: Done::Hand,
                outcome: Outcome::Pass,
                began: now,
                call: None,
                evidence: json!({}),
            })
        };
        assert!(turn(&mut kept).is_err() && turn(&mut kept).is_err());
        let lost = kept.end(Some("complete"), &json!([])).unwrap_err().to_string();
        assert!(lost.contains("2 of the turns shown are NOT in the logbook"), "{lost}");
        other
            .execute_batch("ALTER TABLE out_of_reach RENAME TO attempt")
            .unwrap();
        kept.end(Some("complete"), &json!([])).unwrap();
        let stored: u32 = other
            .query_row("SELECT count(*) FROM attempt", [], |r| r.get(0))
            .unwrap();
        assert_eq!(stored, 2);
    }

    fn ended(ending: Ending) -> Entry {
        Entry::Ended {
            step: "ready".to_owned(),
            ending,
        }
    }

    fn noted(note: Note) -> Entry {
        Entry::Noted {
            step: "ready".to_owned(),
            note,
        }
    }

    #[test]
    fn the_hand_is_never_an_error_and_counts_as_no_call() {
        let hand = Entry::Hand {
            step: "ready".to_owned(),
        };
        for (want, entries, expected) in [
            (
                Want::Call,
                vec![hand.clone(), ended(Ending::ByHandToBeSure)],
                (Kind::Hazard, Done::Hand, Outcome::Pass),
            ),
            (
                Want::Hazard,
                vec![hand.clone(), noted(Note::HandFirst)],
                (Kind::Hazard, Done::Hand, Outcome::Pass),
            ),
            (
                Want::Hazard,
                vec![ended(Ending::HazardMissed)],
                (Kind::Hazard, Done::Nothing, Outcome::NotYet),
            ),
            (Want::Release, vec![hand], (Kind::Release, Done::Hand, Outcome::Pass)),
            (
                Want::Readback,
                vec![ended(Ending::ReadbackAccepted)],
                (Kind::Readback, Done::Nothing, Outcome::NotYet),
            ),
            (Want::Readback, vec![], (Kind::Readback, Done::Nothing, Outcome::Pass)),
            (
                Want::Call,
                vec![noted(Note::TurnPassed)],
                (Kind::Call, Done::Nothing, Outcome::NothingHeard),
            ),
        ] {
            assert_eq!(came_of(want, &entries), expected, "{want:?} {entries:?}");
        }
    }
}
