//! A judged call as the logbook keeps it.

use crate::call::{Evidence, Judgement, Outcome, Situation, Verdict};
use crate::drill::Want;
use crate::drill::ear::{Difficulty, Fault, Task};
use crate::logbook::{self, Kind, ModelUsed, NewAttempt, RecordingName, Timings};
use crate::plan::Level;
use crate::site::{Site, Step};
use crate::sound::Clip;
use jiff::Timestamp;
use uuid::Uuid;

/// Readings kept with an attempt: the verdicts rest on the first few.
const READINGS_KEPT: usize = 16;

/// What an attempt is made of.
pub(super) struct Facts<'a> {
    pub(super) site: &'a Site,
    pub(super) step: &'a Step,
    pub(super) situation: &'a Situation,
    /// The level at which a single turn was dealt.
    pub(super) level: Option<Level>,
    pub(super) turn: Uuid,
    pub(super) turn_attempt: u32,
    pub(super) part: logbook::Part,
    pub(super) student: Option<Uuid>,
    pub(super) began: Timestamp,
    pub(super) judgement: &'a Judgement,
    pub(super) this_call: &'a Judgement,
    pub(super) evidence: &'a Evidence,
    pub(super) model: Option<ModelUsed>,
    pub(super) clip: Option<&'a Clip>,
    pub(super) recording: Option<RecordingName>,
    pub(super) milliseconds: u32,
}

/// The situation, with the level it was dealt at where that is not the written one.
fn dealt(
    situation: &Situation,
    level: Option<Level>,
    json: fn(serde_json::Result<serde_json::Value>) -> serde_json::Value,
) -> serde_json::Value {
    let mut dealt = json(serde_json::to_value(situation));
    if let (Some(object), Some(level)) = (dealt.as_object_mut(), level.filter(|l| *l != Level::Written)) {
        object.insert(logbook::LEVEL.to_owned(), level.word().into());
    }
    dealt
}

pub(super) fn attempt(f: &Facts) -> NewAttempt {
    let keying = f.clip.and_then(|c| c.keying);
    let whole = |seconds: f64| (seconds >= 0.0).then(|| (seconds * 1000.0).round() as u32);
    let mut evidence = f.evidence.clone();
    evidence.readings.truncate(READINGS_KEPT);
    // Plain data of numbers and texts: this cannot fail, and a missing explanation must not cost the attempt.
    let json = |v: serde_json::Result<serde_json::Value>| v.unwrap_or_default();
    NewAttempt {
        id: f.recording.map_or_else(Uuid::new_v4, |recording| recording.attempt()),
        student: f.student,
        started_at: f.began,
        utc_offset_seconds: jiff::tz::TimeZone::system().to_offset(f.began).seconds(),
        site: f.site.id.clone(),
        site_version: f.site.version.clone(),
        step: f.step.id.clone(),
        situation: dealt(f.situation, f.level, json),
        part: f.part.clone(),
        turn: f.turn,
        turn_attempt: f.turn_attempt,
        model: f.model.clone(),
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        outcome: f.judgement.outcome,
        score: f.judgement.score.map(f64::from),
        timings: Timings {
            prompt_end_to_press_ms: keying.and_then(|k| whole(k.prompt_end_to_press?)),
            press_to_release_ms: keying.and_then(|k| whole(k.press_to_release)),
            judging_ms: Some(f.milliseconds),
        },
        transcript: f.evidence.transcript.clone(),
        evidence: serde_json::json!({
            "heard": json(serde_json::to_value(&evidence)),
            "judgement": json(serde_json::to_value(f.judgement)),
            "this_call": json(serde_json::to_value(f.this_call)),
            "clip": f.clip.map(|c| json(serde_json::to_value(c))),
        }),
        recording: f.recording,
        held_out: false,
        elements: f
            .judgement
            .elements
            .iter()
            .map(|e| logbook::ElementVerdict {
                margin: e.margin.map(f64::from),
                critical: Some(e.critical),
                ..logbook::ElementVerdict::new(e.element.clone(), e.verdict, e.heard.clone())
            })
            .collect(),
    }
}

/// Of an answer counts what was asked for, in the record as on the screen.
pub(super) fn of_an_answer(kept: &mut NewAttempt, asked: &str) {
    kept.elements
        .retain(|e| e.element == asked || e.verdict == Verdict::Wrong);
    kept.score = None;
}

/// What a call in a launch was for.
pub(super) fn kind(want: Option<Want>) -> Kind {
    match want {
        Some(Want::Call) => Kind::Call,
        Some(Want::Readback) => Kind::Readback,
        Some(Want::Hazard | Want::Failure) => Kind::Hazard,
        Some(Want::Release) => Kind::Release,
        Some(Want::Words | Want::Aside | Want::Signal | Want::Wait | Want::Halt) | None => Kind::Words,
    }
}

/// The answer to a call that was listened to. It stands beside the calls in the logbook, and counts for none of them.
pub(super) fn listened(
    site: &Site,
    task: &Task,
    difficulty: Difficulty,
    choice: Option<&str>,
    student: Option<Uuid>,
) -> NewAttempt {
    let now = Timestamp::now();
    let good = task.answered(choice);
    // Plain data of texts: this cannot fail.
    let situation = serde_json::to_value(&task.situation).unwrap_or_default();
    let fault = task
        .fault
        .as_ref()
        .map(|f| (matches!(f, Fault::Missing(_)), f.element()));
    let asked = site.ready_step().and_then(|step| task.question.element(site, step));
    let about = asked.or(fault.map(|(_, e)| e));
    let verdict = if good { Verdict::Said } else { Verdict::Wrong };
    NewAttempt {
        id: Uuid::new_v4(),
        student,
        started_at: now,
        utc_offset_seconds: jiff::tz::TimeZone::system().to_offset(now).seconds(),
        site: site.id.clone(),
        site_version: site.version.clone(),
        step: site.ready_step().map(|s| s.id.clone()).unwrap_or_default(),
        part: logbook::Part {
            kind: logbook::Kind::Ear,
            done: logbook::Done::Chose,
            run: None,
        },
        situation,
        turn: Uuid::new_v4(),
        turn_attempt: 1,
        model: None,
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        outcome: if good { Outcome::Pass } else { Outcome::NotYet },
        score: None,
        timings: Timings {
            prompt_end_to_press_ms: None,
            press_to_release_ms: None,
            judging_ms: None,
        },
        transcript: String::new(),
        evidence: serde_json::json!({
            "call": task.text, "question": task.question, "choice": choice, "right": task.right,
            "fault": fault.map(|(missing, element)| serde_json::json!({ "missing": missing, "element": element })),
            "difficulty": difficulty,
        }),
        recording: None,
        held_out: false,
        elements: about
            .map(|e| logbook::ElementVerdict::new(e.to_owned(), verdict, choice.map(str::to_owned)))
            .into_iter()
            .collect(),
    }
}
