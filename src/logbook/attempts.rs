//! Recording attempts, and the questions asked about them.

use jiff::Timestamp;
use rusqlite::{ErrorCode, OptionalExtension, Row, Transaction, params, params_from_iter};
use uuid::Uuid;

use super::rows::{Id, Json, Millis};
use super::{
    AttemptSummary, ElementVerdict, InRun, Logbook, LogbookError, ModelUsed, NewAttempt, Overrule, Part, RecordingName,
    Result, StoredAttempt, Verdict, derive, joined, students,
};

/// Whose attempts are meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Whose {
    /// Everybody's, and those without a student.
    Anyone,
    /// One student's.
    Student(Uuid),
    /// Those without a student.
    Nobody,
}

impl Whose {
    /// The condition on `attempt`, with the value of its `?1` if it has one.
    pub(super) fn condition(self) -> (&'static str, Option<Id>) {
        match self {
            Self::Anyone => ("TRUE", None),
            Self::Student(id) => ("attempt.student_id = ?1", Some(Id(id))),
            Self::Nobody => ("attempt.student_id IS NULL", None),
        }
    }
}

impl Logbook {
    /// Stores a finished attempt. When this returns, it is on the disk. All of it is stored or nothing.
    ///
    /// A recording needs the student's consent; with [`LogbookError::NoConsent`] the caller should remove the file
    /// and store the attempt without it.
    pub fn record(&mut self, attempt: &NewAttempt, now: Timestamp) -> Result<()> {
        check(attempt)?;
        if let Some(moved) = self.moved(attempt)? {
            return self.record(&moved, now);
        }
        let transaction = self.write("record an attempt")?;
        match insert(&transaction, attempt, now).and_then(|()| transaction.commit()) {
            Ok(()) => Ok(()),
            Err(e) => Err(self.refused(attempt, "record an attempt", e)),
        }
    }

    /// The attempt under the entry that stands for its student now, where two were joined meanwhile; its recording gets its
    /// new name.
    fn moved(&self, attempt: &NewAttempt) -> Result<Option<NewAttempt>> {
        let student = joined::stands_for(self, attempt.student)?;
        if student == attempt.student {
            return Ok(None);
        }
        self.rename_recordings_of_joined()?;
        let name = |student| RecordingName::new(student, attempt.id);
        Ok(Some(NewAttempt {
            student,
            recording: attempt.recording.and(student).map(name),
            ..attempt.clone()
        }))
    }

    /// Stores several finished attempts, all or none: for many at once, such as results that were brought along.
    pub fn record_all(&mut self, attempts: &[NewAttempt], now: Timestamp) -> Result<()> {
        for attempt in attempts {
            check(attempt)?;
        }
        let transaction = self.write("record attempts")?;
        for attempt in attempts {
            if let Err(e) = insert(&transaction, attempt, now) {
                drop(transaction);
                return Err(self.refused(attempt, "record attempts", e));
            }
        }
        transaction.commit().map_err(self.sorted("record attempts"))
    }

    /// Why an attempt was not stored.
    pub(super) fn refused(&self, attempt: &NewAttempt, doing: &'static str, source: rusqlite::Error) -> LogbookError {
        match source.sqlite_error_code() {
            Some(ErrorCode::ConstraintViolation) => self.refusal(attempt, source),
            _ => self.sorted(doing)(source),
        }
    }

    /// Why the database refused an attempt.
    fn refusal(&self, attempt: &NewAttempt, source: rusqlite::Error) -> LogbookError {
        let text = source.to_string();
        if text.contains("recording without consent") {
            return self.no_consent(attempt.student);
        }
        if text.contains("attempt was removed") {
            return LogbookError::Invalid {
                why: format!("the attempt {} was removed", attempt.id),
            };
        }
        match attempt.student.map(|id| (id, self.student(id), self.is_forgotten(id))) {
            Some((id, Err(_), Ok(true))) => return LogbookError::Forgotten { id },
            Some((id, Err(_), _)) => return students::unknown(id),
            _ => {}
        }
        if matches!(self.attempt(attempt.id), Ok(Some(_))) {
            return LogbookError::Invalid {
                why: format!("the attempt {} is stored already", attempt.id),
            };
        }
        self.sorted("record an attempt")(source)
    }

    /// "I did say that": takes an attempt out of the record until somebody judges it, or puts it back.
    pub fn set_held_out(&mut self, id: Uuid, held_out: bool, now: Timestamp) -> Result<()> {
        let transaction = self.write("hold an attempt out")?;
        let changed = transaction
            .execute(
                "UPDATE attempt SET held_out = ?2, held_out_at = max(?3, held_out_at + 1), changed_at = max(?3, changed_at)
                 WHERE id = ?1",
                (Id(id), held_out, Millis(now)),
            )
            .and_then(|n| transaction.commit().map(|()| n))
            .map_err(self.sorted("hold an attempt out"))?;
        if changed == 0 {
            Err(LogbookError::NoSuchAttempt { asked: id.to_string() })
        } else {
            Ok(())
        }
    }

    /// A page of attempts, newest first.
    pub fn attempts(&self, whose: Whose, offset: u32, limit: u32) -> Result<Vec<AttemptSummary>> {
        let (sql, student) = page_query(whose, offset, limit);
        let read = || -> rusqlite::Result<Vec<AttemptSummary>> {
            let mut statement = self.connection.prepare_cached(&sql)?;
            self.readable("attempt", statement.query(params_from_iter(student))?, summary)
        };
        read().map_err(self.sorted("list attempts"))
    }

    /// One attempt with its verdicts; `None` if there is none by that id.
    pub fn attempt(&self, id: Uuid) -> Result<Option<StoredAttempt>> {
        let read = || -> rusqlite::Result<Option<StoredAttempt>> {
            let sql = format!("SELECT {ALL_COLUMNS} FROM attempt WHERE id = ?1");
            let Some((number, mut stored)) = self
                .connection
                .prepare_cached(&sql)?
                .query_row([Id(id)], whole)
                .optional()?
            else {
                return Ok(None);
            };
            stored.attempt.elements = self.elements(number)?;
            Ok(Some(stored))
        };
        read().map_err(self.sorted("read an attempt"))
    }

    /// The one attempt whose id begins with these characters (at least eight).
    pub fn find_attempt(&self, asked: &str) -> Result<StoredAttempt> {
        let id = self.find_attempt_id(asked)?;
        self.attempt(id)?.ok_or_else(|| LogbookError::NoSuchAttempt {
            asked: asked.to_owned(),
        })
    }

    /// As [`Logbook::find_attempt`], also where the rest of the attempt cannot be read.
    pub fn find_attempt_id(&self, asked: &str) -> Result<Uuid> {
        let none = || LogbookError::NoSuchAttempt {
            asked: asked.to_owned(),
        };
        let wanted = asked.trim().to_lowercase();
        if wanted.len() < 8 || !wanted.chars().all(|c| c.is_ascii_hexdigit() || c == '-') {
            return Err(none());
        }
        let read = || -> rusqlite::Result<Vec<Id>> {
            // "g" sorts after every hexadecimal digit: a range, so that the index on the id is used.
            let mut statement = self
                .connection
                .prepare_cached("SELECT id FROM attempt WHERE id >= ?1 AND id < ?1 || 'g' LIMIT 2")?;
            statement.query_map([&wanted], |r| r.get(0))?.collect()
        };
        match read().map_err(self.sorted("look for an attempt"))?[..] {
            [id] => Ok(id.0),
            [] => Err(none()),
            _ => Err(LogbookError::AmbiguousAttempt {
                asked: asked.to_owned(),
            }),
        }
    }

    /// How many attempts there are, held out or not.
    pub fn count_attempts(&self, whose: Whose) -> Result<u64> {
        let (condition, student) = whose.condition();
        let sql = format!("SELECT count(*) FROM attempt WHERE {condition}");
        self.connection
            .query_row(&sql, params_from_iter(student), |r| r.get(0))
            .map(i64::unsigned_abs)
            .map_err(self.sorted("count attempts"))
    }

    /// How many recordings of a student's calls are kept.
    pub fn count_recordings(&self, student: Uuid) -> Result<usize> {
        let sql = "SELECT count(*) FROM attempt WHERE student_id = ?1 AND recording IS NOT NULL";
        self.connection
            .query_row(sql, [Id(student)], |r| r.get::<_, i64>(0))
            .map(|n| usize::try_from(n).unwrap_or_default())
            .map_err(self.sorted("count recordings"))
    }

    /// The verdicts of an attempt, in the order of the call.
    pub(super) fn elements(&self, number: i64) -> rusqlite::Result<Vec<ElementVerdict>> {
        let mut statement = self.connection.prepare_cached(&format!(
            "SELECT {ELEMENT_COLUMNS} FROM element_verdict WHERE attempt = ?1 ORDER BY position"
        ))?;
        statement.query_map([number], element)?.collect()
    }
}

fn page_query(whose: Whose, offset: u32, limit: u32) -> (String, Option<Id>) {
    let (condition, student) = whose.condition();
    let sql = format!(
        "SELECT {SUMMARY_COLUMNS} FROM attempt WHERE {condition} ORDER BY started_at DESC, number DESC LIMIT {limit} OFFSET {offset}"
    );
    (sql, student)
}

/// All columns [`whole`] reads.
pub(super) const ALL_COLUMNS: &str =
    "number, id, student_id, started_at, utc_offset_seconds, site, site_version, step, situation, turn_id,
    turn_attempt, model, model_sha1, program_version, outcome, score, timings, transcript, evidence, recording,
    held_out, created_at, changed_at, overruled_outcome, kind, done, run_id, run_position, role";

/// All columns [`element`] reads.
pub(super) const ELEMENT_COLUMNS: &str =
    "element, verdict, heard, margin, begin_seconds, end_seconds, overruled_verdict, overruled_by, overruled_at,
    overruled_reason, critical";

/// All columns [`summary`] reads.
pub(super) const SUMMARY_COLUMNS: &str =
    "id, student_id, started_at, utc_offset_seconds, site, step, situation, turn_id, turn_attempt, outcome, score,
    recording, held_out, overruled_outcome, kind, done, run_id, run_position, role,
    CASE WHEN overruled_outcome IS NOT NULL THEN (SELECT
        coalesce((SELECT name FROM student WHERE id = overruled_by) || ': ', '') || overruled_reason FROM element_verdict
        WHERE attempt = attempt.number AND overruled_reason <> '' ORDER BY position LIMIT 1) END";

pub(super) fn check(attempt: &NewAttempt) -> Result<()> {
    let invalid = |why: String| Err(LogbookError::Invalid { why });
    if let Some(recording) = attempt.recording {
        if attempt.student.is_none() {
            return Err(LogbookError::NoConsent {
                who: "an attempt without a student".to_owned(),
            });
        }
        if recording.attempt() != attempt.id || Some(recording.student()) != attempt.student {
            let recording = recording.to_string();
            return Err(LogbookError::ForeignRecording {
                recording,
                attempt: attempt.id,
            });
        }
    }
    if attempt.turn_attempt == 0 {
        return invalid("the attempts of a turn are numbered from 1".to_owned());
    }
    // The longest offsets in use are +14 and -12 hours; the library that shows times takes less than 26.
    if attempt.utc_offset_seconds.abs() > 18 * 3600 {
        return invalid(format!(
            "{} seconds from UTC is no time zone",
            attempt.utc_offset_seconds
        ));
    }
    if let Some(score) = attempt.score.filter(|s| !(0.0..=100.0).contains(s)) {
        return invalid(format!("the score {score} is not between 0 and 100"));
    }
    for (i, element) in attempt.elements.iter().enumerate() {
        if attempt.elements[..i].iter().any(|e| e.element == element.element) {
            return invalid(format!("the element \"{}\" is in the attempt twice", element.element));
        }
    }
    Ok(())
}

/// Writes the rows of one attempt.
pub(super) fn insert(transaction: &Transaction<'_>, a: &NewAttempt, now: Timestamp) -> rusqlite::Result<()> {
    transaction
        .prepare_cached(
            "INSERT INTO attempt (id, student_id, started_at, utc_offset_seconds, site, site_version, step, turn_id,
                turn_attempt, outcome, score, held_out, recording, model, model_sha1, program_version, created_at,
                changed_at, situation, timings, transcript, evidence, recorded, held_out_at, kind, done, run_id,
                run_position, role)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?17, ?18, ?19, ?20,
                ?21, ?13 IS NOT NULL, ?17, ?22, ?23, ?24, ?25, ?26)",
        )?
        .execute(params![
            Id(a.id),
            a.student.map(Id),
            Millis(a.started_at),
            a.utc_offset_seconds,
            a.site,
            a.site_version,
            a.step,
            Id(a.turn),
            a.turn_attempt,
            a.outcome,
            a.score,
            a.held_out,
            a.recording,
            a.model.as_ref().map(|m| &m.name),
            a.model.as_ref().map(|m| &m.sha1),
            a.program_version,
            Millis(now),
            Json(&a.situation),
            Json(&a.timings),
            a.transcript,
            Json(&a.evidence),
            a.part.kind,
            a.part.done,
            a.part.run.as_ref().map(|r| Id(r.run)),
            a.part.run.as_ref().map(|r| r.position),
            a.part.run.as_ref().and_then(|r| r.role.as_ref()),
        ])?;
    let number = transaction.last_insert_rowid();
    let mut statement = transaction.prepare_cached(
        "INSERT INTO element_verdict (attempt, position, element, verdict, heard, margin, begin_seconds, end_seconds,
            critical)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
    )?;
    for (position, e) in (0_i64..).zip(&a.elements) {
        statement.execute(params![
            number,
            position,
            e.element,
            e.verdict,
            e.heard,
            e.margin,
            e.begin_seconds,
            e.end_seconds,
            e.critical,
        ])?;
    }
    let overruled: Vec<_> = a
        .elements
        .iter()
        .filter_map(|e| Some((e, e.overrule.as_ref()?)))
        .collect();
    for (e, o) in &overruled {
        let reason = o.reason.as_deref();
        add_judgement(transaction, a.id, Some(&e.element), Some(o.verdict), o.by, reason, o.at)?;
    }
    if !overruled.is_empty() {
        derive::overrules(transaction, Some(a.id))?;
    }
    Ok(())
}

pub(super) fn summary(row: &Row<'_>) -> rusqlite::Result<AttemptSummary> {
    Ok(AttemptSummary {
        id: row.get::<_, Id>(0)?.0,
        student: row.get::<_, Option<Id>>(1)?.map(|id| id.0),
        started_at: row.get::<_, Millis>(2)?.0,
        utc_offset_seconds: row.get(3)?,
        site: row.get(4)?,
        step: row.get(5)?,
        situation: row.get::<_, Json<_>>(6)?.0,
        turn: row.get::<_, Id>(7)?.0,
        turn_attempt: row.get(8)?,
        outcome: row.get(9)?,
        score: row.get(10)?,
        recording: row.get(11)?,
        held_out: row.get(12)?,
        overruled_outcome: row.get(13)?,
        part: part(row, 14)?,
        overruled_why: row.get(19)?,
    })
}

/// Kind, deed, run, position and role, from this column on.
fn part(row: &Row<'_>, first: usize) -> rusqlite::Result<Part> {
    let run: Option<Id> = row.get(first + 2)?;
    let position: Option<u32> = row.get(first + 3)?;
    let role = row.get(first + 4)?;
    Ok(Part {
        kind: row.get(first)?,
        done: row.get(first + 1)?,
        run: run.map(|id| InRun {
            run: id.0,
            position: position.unwrap_or_default(),
            role,
        }),
    })
}

/// An attempt without its elements, and its local number.
pub(super) fn whole(row: &Row<'_>) -> rusqlite::Result<(i64, StoredAttempt)> {
    let model: Option<String> = row.get(11)?;
    let sha1: Option<String> = row.get(12)?;
    let attempt = NewAttempt {
        id: row.get::<_, Id>(1)?.0,
        student: row.get::<_, Option<Id>>(2)?.map(|id| id.0),
        started_at: row.get::<_, Millis>(3)?.0,
        utc_offset_seconds: row.get(4)?,
        site: row.get(5)?,
        site_version: row.get(6)?,
        step: row.get(7)?,
        situation: row.get::<_, Json<_>>(8)?.0,
        turn: row.get::<_, Id>(9)?.0,
        turn_attempt: row.get(10)?,
        model: model.zip(sha1).map(|(name, sha1)| ModelUsed { name, sha1 }),
        program_version: row.get(13)?,
        outcome: row.get(14)?,
        score: row.get(15)?,
        timings: row.get::<_, Json<_>>(16)?.0,
        transcript: row.get(17)?,
        evidence: row.get::<_, Json<_>>(18)?.0,
        recording: row.get(19)?,
        held_out: row.get(20)?,
        part: part(row, 24)?,
        elements: Vec::new(),
    };
    let created_at = row.get::<_, Millis>(21)?.0;
    let changed_at = row.get::<_, Millis>(22)?.0;
    Ok((
        row.get(0)?,
        StoredAttempt {
            attempt,
            created_at,
            changed_at,
            overruled_outcome: row.get(23)?,
        },
    ))
}

pub(super) fn element(row: &Row<'_>) -> rusqlite::Result<ElementVerdict> {
    let by = row.get::<_, Option<Id>>(7)?.map(|id| id.0);
    let at: Option<Millis> = row.get(8)?;
    let reason = row.get(9)?;
    Ok(ElementVerdict {
        element: row.get(0)?,
        verdict: row.get(1)?,
        heard: row.get(2)?,
        margin: row.get(3)?,
        begin_seconds: row.get(4)?,
        end_seconds: row.get(5)?,
        overrule: row.get::<_, Option<_>>(6)?.zip(at).map(|(verdict, at)| Overrule {
            verdict,
            by,
            at: at.0,
            reason,
        }),
        critical: row.get(10)?,
    })
}

/// Adds a judgement to the list, later than those that are there.
pub(super) fn add_judgement(
    transaction: &Transaction<'_>,
    attempt: Uuid,
    element: Option<&str>,
    verdict: Option<Verdict>,
    by: Option<Uuid>,
    reason: Option<&str>,
    at: Timestamp,
) -> rusqlite::Result<()> {
    transaction
        .prepare_cached(
            "INSERT INTO overrule (id, attempt_id, element, verdict, by, at, reason)
             SELECT ?1, ?2, ?3, ?4, ?5,
                max(?6, 1 + coalesce((SELECT max(at) FROM overrule WHERE attempt_id = ?2 AND element = ?3), ?6 - 1)), ?7",
        )?
        .execute((
            Id(Uuid::new_v4()),
            Id(attempt),
            element.unwrap_or_default(),
            verdict,
            by.map(Id),
            Millis(at),
            reason,
        ))?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::counts::{first_time_query, outcome_query};
    use super::*;
    use std::path::Path;

    /// The plan SQLite makes: every step through an index, or the query grows with the logbook.
    #[test]
    fn queries_about_one_student_go_through_indexes() {
        let logbook = Logbook::in_memory(Path::new("none")).unwrap();
        let whose = Whose::Student(Uuid::new_v4());
        for (sql, student) in [
            page_query(whose, 100, 20),
            outcome_query(whose, false),
            outcome_query(whose, true),
            first_time_query(whose),
            page_query(Whose::Nobody, 0, 20),
        ] {
            let mut statement = logbook
                .connection
                .prepare(&format!("EXPLAIN QUERY PLAN {sql}"))
                .unwrap();
            let plan: Vec<String> = statement
                .query_map(params_from_iter(student), |r| r.get(3))
                .unwrap()
                .collect::<rusqlite::Result<_>>()
                .unwrap();
            assert!(
                plan.iter().any(|step| step.starts_with("SEARCH attempt USING")),
                "{sql}\n{plan:#?}"
            );
            assert!(!plan.iter().any(|step| step.starts_with("SCAN")), "{sql}\n{plan:#?}");
        }
        let (sql, _) = page_query(Whose::Anyone, 0, 20);
        let plan: String = logbook
            .connection
            .query_row(&format!("EXPLAIN QUERY PLAN {sql}"), [], |r| r.get(3))
            .unwrap();
        assert_eq!(plan, "SCAN attempt USING INDEX attempt_by_time");
    }

    /// A database that may not grow any more stands for a full disk where none can be made.
    #[test]
    fn a_full_database_keeps_what_it_has() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("logbook.sqlite");
        let mut logbook = Logbook::open(&path, dir.path()).unwrap();
        let pages: i64 = logbook
            .connection
            .pragma_query_value(None, "page_count", |r| r.get(0))
            .unwrap();
        logbook
            .connection
            .pragma_update_and_check(None, "max_page_count", pages + 20, |_| Ok(()))
            .unwrap();
        let now = Timestamp::UNIX_EPOCH;
        let mut stored = Vec::new();
        let error = loop {
            let attempt = NewAttempt {
                id: Uuid::new_v4(),
                student: None,
                started_at: now,
                utc_offset_seconds: 0,
                site: "larkmoor".to_owned(),
                site_version: "1".to_owned(),
                step: "ready".to_owned(),
                situation: serde_json::json!({}),
                turn: Uuid::new_v4(),
                turn_attempt: 1,
                model: None,
                program_version: "0".to_owned(),
                outcome: crate::logbook::Outcome::Pass,
                score: None,
                timings: crate::logbook::Timings::default(),
                transcript: "x".repeat(10_000),
                evidence: serde_json::Value::Null,
                recording: None,
                held_out: false,
                part: Part::default(),
                elements: vec![ElementVerdict::new("ready", crate::logbook::Verdict::Said, None)],
            };
            match logbook.record(&attempt, now) {
                Ok(()) => stored.push(attempt),
                Err(e) => break e,
            }
            assert!(stored.len() < 100, "the limit does not hold");
        };
        assert!(matches!(error, LogbookError::DiskFull { .. }), "{error:?}");
        drop(logbook);
        let logbook = Logbook::open(&path, dir.path()).unwrap();
        logbook.check_integrity().unwrap();
        assert!(stored.len() > 3);
        assert_eq!(logbook.count_attempts(Whose::Anyone).unwrap(), stored.len() as u64);
        for attempt in stored {
            assert_eq!(logbook.attempt(attempt.id).unwrap().unwrap().attempt, attempt);
        }
    }
}
