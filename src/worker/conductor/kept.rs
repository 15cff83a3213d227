//! A judged call as the logbook keeps it.

use super::Run;
use crate::call::{Evidence, Judgement};
use crate::logbook::{self, ModelUsed, NewAttempt, RecordingName, Timings};
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
    pub(super) run: &'a Run,
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
fn dealt(run: &Run, json: fn(serde_json::Result<serde_json::Value>) -> serde_json::Value) -> serde_json::Value {
    let mut dealt = json(serde_json::to_value(&run.turn.situation));
    if let Some(object) = dealt.as_object_mut().filter(|_| run.level != Level::Written) {
        object.insert(logbook::LEVEL.to_owned(), run.level.word().into());
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
        situation: dealt(f.run, json),
        part: logbook::Part::default(),
        turn: f.run.id,
        turn_attempt: f.run.turn.attempts,
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
