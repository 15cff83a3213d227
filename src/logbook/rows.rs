//! The rows of the logbook as the rest of the program sees them: plain, serialisable, without SQL.

use jiff::Timestamp;
use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSql, ToSqlOutput, ValueRef};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

pub use crate::call::{Outcome, Verdict};

use super::{Part, RecordingName, Retention};

/// The answer to "may recordings of your calls be kept?".
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Consent {
    /// Given, or refused.
    pub given: bool,
    /// When it was asked.
    pub asked_at: Timestamp,
    /// Who answered, where it was not the student, such as "guardian". Free text.
    pub by: Option<String>,
}

/// A student to be added.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct NewStudent {
    /// As the student wants to be called; 1 to 100 characters, need not be unique.
    pub name: String,
    /// Preferred language of the program, such as "en" or "de".
    pub language: Option<String>,
    /// A role beside learning, such as [`super::INSTRUCTOR`].
    pub role: Option<String>,
    /// Only a guardian can give consent: an answer without [`Consent::by`] does not count as given.
    #[serde(default)]
    pub needs_guardian: bool,
    /// None: not asked yet, no recording may be kept.
    pub consent: Option<Consent>,
}

/// A student of the logbook.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Student {
    /// Globally unique.
    pub id: Uuid,
    /// As the student wants to be called.
    pub name: String,
    /// Preferred language of the program.
    pub language: Option<String>,
    /// A role beside learning.
    pub role: Option<String>,
    /// Only a guardian can give consent.
    #[serde(default)]
    pub needs_guardian: bool,
    /// There is a PIN: what this person does as an instructor asks for it.
    #[serde(default)]
    pub has_pin: bool,
    /// How long this student's data is kept, where it differs from the logbook's.
    #[serde(default)]
    pub keep: Retention,
    /// The answer that counts. None: not asked yet, or answered by the student where a guardian must.
    pub consent: Option<Consent>,
    /// When the student was added.
    pub created_at: Timestamp,
    /// When anything of the above last changed.
    pub changed_at: Timestamp,
}

impl Student {
    /// Teaches, and is left out where everybody who learns is meant.
    pub fn is_instructor(&self) -> bool {
        self.role.as_deref() == Some(super::INSTRUCTOR)
    }

    /// Whether a yes to recordings is somebody else's to give: a guardian must, or somebody else gave the answer that counts.
    pub fn others_answer(&self) -> bool {
        self.needs_guardian || self.consent.as_ref().is_some_and(|c| c.by.is_some())
    }

    /// Whether recordings may be kept.
    pub fn recording_allowed(&self) -> bool {
        self.consent.as_ref().is_some_and(|c| c.given)
    }
}

/// The speech model that heard an attempt.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ModelUsed {
    /// Such as "ggml-base.bin".
    pub name: String,
    /// SHA-1 of the file, 40 hexadecimal digits.
    pub sha1: String,
}

/// How long things took, in milliseconds; `None` where it was not measured.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Timings {
    /// From the end of the prompt to pressing the key.
    #[serde(default)]
    pub prompt_end_to_press_ms: Option<u32>,
    /// From pressing to letting go.
    #[serde(default)]
    pub press_to_release_ms: Option<u32>,
    /// From the last sample to the verdicts.
    #[serde(default)]
    pub judging_ms: Option<u32>,
}

/// An instructor's judgement of a verdict, kept beside the program's own.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Overrule {
    /// What counts instead.
    pub verdict: Verdict,
    /// Who judged; `None` once that person has been forgotten.
    pub by: Option<Uuid>,
    /// When.
    pub at: Timestamp,
    /// Why.
    pub reason: Option<String>,
}

/// One element of an attempt.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ElementVerdict {
    /// Such as "callsign"; once in each attempt.
    pub element: String,
    /// The program's verdict.
    pub verdict: Verdict,
    /// The value heard, in its one form ("D-4761").
    pub heard: Option<String>,
    /// Distance to the next best reading, in the recogniser's unit.
    pub margin: Option<f64>,
    /// Where in the sound it begins, in seconds, if known.
    pub begin_seconds: Option<f64>,
    /// Where it ends, in seconds, if known.
    pub end_seconds: Option<f64>,
    /// An instructor's judgement, if there is one.
    pub overrule: Option<Overrule>,
    /// The call passes only with it. `None` where that was not kept: then it is taken for critical.
    #[serde(default)]
    pub critical: Option<bool>,
}

impl ElementVerdict {
    /// An element without margin, place or overrule.
    pub fn new(element: impl Into<String>, verdict: Verdict, heard: Option<String>) -> Self {
        Self {
            element: element.into(),
            verdict,
            heard,
            margin: None,
            begin_seconds: None,
            end_seconds: None,
            overrule: None,
            critical: None,
        }
    }

    /// The verdict that counts for the record: the instructor's where there is one.
    pub fn counted(&self) -> Verdict {
        self.overrule.as_ref().map_or(self.verdict, |o| o.verdict)
    }
}

/// One attempt, as the caller hands it over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NewAttempt {
    /// Globally unique; the id of [`super::Logbook::begin_recording`] where there is a recording, else a new v4.
    pub id: Uuid,
    /// `None` for practice without a name; such an attempt has no recording.
    pub student: Option<Uuid>,
    /// When the turn began. Kept to the millisecond.
    pub started_at: Timestamp,
    /// The local time's distance from UTC at that moment, in seconds, east positive.
    pub utc_offset_seconds: i32,
    /// The site's id, such as "larkmoor".
    pub site: String,
    /// The site file's version.
    pub site_version: String,
    /// The step, such as "ready".
    pub step: String,
    /// Whether it was a call or something else the student was asked to do, and of which run it is a part.
    #[serde(default)]
    pub part: Part,
    /// What was dealt: an object such as `{"callsign": "G-CLRM", "crew": 2, "cable": "north"}`.
    pub situation: serde_json::Value,
    /// The turn; repeats of the same call share it.
    pub turn: Uuid,
    /// 1 for the first attempt of a turn, which counts for first-time passes.
    pub turn_attempt: u32,
    /// The speech model; `None` for a typed call.
    pub model: Option<ModelUsed>,
    /// This program's version.
    pub program_version: String,
    /// What came of it.
    pub outcome: Outcome,
    /// 0 to 100, where there is one.
    pub score: Option<f64>,
    /// How long things took.
    pub timings: Timings,
    /// What the recogniser understood without being told what to expect.
    pub transcript: String,
    /// Whatever explains the verdicts, as the hearing and judging rooms give it.
    pub evidence: serde_json::Value,
    /// The recording's file; only with the student's consent.
    pub recording: Option<RecordingName>,
    /// "I did say that": kept out of the record until somebody judges it.
    pub held_out: bool,
    /// The verdicts, in the order of the call.
    pub elements: Vec<ElementVerdict>,
}

/// One attempt, as the logbook gives it back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StoredAttempt {
    /// All that was handed over.
    #[serde(flatten)]
    pub attempt: NewAttempt,
    /// When it was stored.
    pub created_at: Timestamp,
    /// When it last changed (held out, recording removed, overruled).
    pub changed_at: Timestamp,
    /// What counts once an instructor has overruled a verdict; `None` where the program's own outcome counts.
    #[serde(default)]
    pub overruled_outcome: Option<Outcome>,
}

impl StoredAttempt {
    /// The outcome that counts for the record.
    pub fn counted(&self) -> Outcome {
        self.overruled_outcome.unwrap_or(self.attempt.outcome)
    }
}

/// One line of a list of attempts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AttemptSummary {
    /// Globally unique.
    pub id: Uuid,
    /// Who spoke.
    pub student: Option<Uuid>,
    /// When the turn began.
    pub started_at: Timestamp,
    /// Local time's distance from UTC, in seconds.
    pub utc_offset_seconds: i32,
    /// The site's id.
    pub site: String,
    /// The step.
    pub step: String,
    /// What was asked for, and of which run it is a part.
    #[serde(default)]
    pub part: Part,
    /// What was dealt.
    pub situation: serde_json::Value,
    /// The turn.
    pub turn: Uuid,
    /// 1 for the first attempt of a turn.
    pub turn_attempt: u32,
    /// What came of it.
    pub outcome: Outcome,
    /// What counts instead, once an instructor has overruled a verdict.
    #[serde(default)]
    pub overruled_outcome: Option<Outcome>,
    /// 0 to 100.
    pub score: Option<f64>,
    /// The recording, if one was kept.
    pub recording: Option<RecordingName>,
    /// Kept out of the record.
    pub held_out: bool,
    /// Who overruled it first, and the reason: "NAME: REASON"; the reason alone where nobody's name is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub overruled_why: Option<String>,
}

fn strange(what: &'static str, text: &str) -> FromSqlError {
    FromSqlError::Other(format!("unknown {what} \"{text}\"").into())
}

impl FromSql for Outcome {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        let text = value.as_str()?;
        Self::ALL
            .into_iter()
            .find(|o| o.word() == text)
            .ok_or_else(|| strange("outcome", text))
    }
}

impl FromSql for Verdict {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        let text = value.as_str()?;
        Self::ALL
            .into_iter()
            .find(|v| v.word() == text)
            .ok_or_else(|| strange("verdict", text))
    }
}

impl ToSql for Outcome {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(self.word().into())
    }
}

impl ToSql for Verdict {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(self.word().into())
    }
}

/// A time as it stands in the database.
#[derive(Debug, Clone, Copy)]
pub(super) struct Millis(pub Timestamp);

impl FromSql for Millis {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        let millis = value.as_i64()?;
        Timestamp::from_millisecond(millis)
            .map(Self)
            .map_err(|_| FromSqlError::OutOfRange(millis))
    }
}

impl ToSql for Millis {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(self.0.as_millisecond().into())
    }
}

/// An id as it stands in the database.
#[derive(Debug, Clone, Copy)]
pub(super) struct Id(pub Uuid);

impl FromSql for Id {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        let text = value.as_str()?;
        Uuid::try_parse(text).map(Self).map_err(|_| strange("id", text))
    }
}

impl ToSql for Id {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(self.0.to_string().into())
    }
}

/// Any serialisable value as JSON text.
#[derive(Debug)]
pub(super) struct Json<T>(pub T);

impl<T: serde::de::DeserializeOwned> FromSql for Json<T> {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        serde_json::from_str(value.as_str()?)
            .map(Self)
            .map_err(|e| FromSqlError::Other(e.into()))
    }
}

impl<T: Serialize> ToSql for Json<T> {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        serde_json::to_string(&self.0)
            .map(ToSqlOutput::from)
            .map_err(|e| rusqlite::Error::ToSqlConversionFailure(e.into()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_words_in_the_database_and_in_exports_are_the_same() {
        for outcome in Outcome::ALL {
            assert_eq!(serde_json::to_value(outcome).unwrap(), outcome.word());
            assert_eq!(Outcome::column_result(outcome.word().into()).unwrap(), outcome);
        }
        for verdict in Verdict::ALL {
            assert_eq!(serde_json::to_value(verdict).unwrap(), verdict.word());
            assert_eq!(Verdict::column_result(verdict.word().into()).unwrap(), verdict);
        }
        Outcome::column_result("passed".into()).unwrap_err();
    }
}
