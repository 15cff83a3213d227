//! What reports and boards are made from: attempts without transcript, evidence and recording, many at once.

use jiff::Timestamp;
use rusqlite::{Row, Rows, params_from_iter};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::rows::{Id, Json, Millis};
use super::{Logbook, Outcome, Overrule, Result, Verdict, Whose};

/// One attempt as a report reads it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Practised {
    /// Who spoke.
    pub student: Option<Uuid>,
    /// When the turn began.
    pub started_at: Timestamp,
    /// Local time's distance from UTC, in seconds.
    pub utc_offset_seconds: i32,
    /// The site's id.
    pub site: String,
    /// The site file's version.
    pub site_version: String,
    /// The step.
    pub step: String,
    /// What was dealt.
    pub situation: serde_json::Value,
    /// 1 for the first attempt of a turn.
    pub turn_attempt: u32,
    /// The outcome that counts: what follows from an instructor's verdicts where there are any.
    pub outcome: Outcome,
    /// Kept out of the record.
    pub held_out: bool,
    /// Typed, not spoken.
    pub typed: bool,
    /// The verdicts, in the order of the call.
    pub elements: Vec<PractisedElement>,
}

/// One element of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PractisedElement {
    /// Such as "callsign".
    pub element: String,
    /// The program's verdict.
    pub verdict: Verdict,
    /// The value heard.
    pub heard: Option<String>,
    /// An instructor's judgement, if there is one.
    pub overrule: Option<Overrule>,
}

impl Practised {
    /// The call's words, or their first letters, stood on the screen: that is no try at remembering them.
    pub fn words_shown(&self) -> bool {
        super::progress::shows_words(&self.situation)
    }
}

impl PractisedElement {
    /// The verdict that counts: the instructor's where there is one.
    pub fn counted(&self) -> Verdict {
        self.overrule.as_ref().map_or(self.verdict, |o| o.verdict)
    }
}

const QUERY: &str =
    "SELECT number, student_id, started_at, utc_offset_seconds, site, site_version, step, situation, turn_attempt,
        coalesce(overruled_outcome, outcome), held_out, model IS NULL, element, verdict, heard, overruled_verdict, overruled_by, overruled_at,
        overruled_reason
     FROM attempt LEFT JOIN element_verdict ON element_verdict.attempt = attempt.number
     WHERE kind = 'call' AND ";

/// The newest calls of one student at one site.
const LATELY: &str = "number IN (SELECT number FROM attempt WHERE student_id = ?1 AND site = ?2 AND kind = 'call'
                ORDER BY started_at DESC, number DESC LIMIT ?3)";

impl Logbook {
    /// The newest `most` calls of each of these students at a site, with their verdicts, oldest first.
    pub fn practised_lately(&self, students: &[Uuid], site: &str, most: u32) -> Result<Vec<Practised>> {
        let sql = format!("{QUERY}{LATELY} ORDER BY started_at, number, position");
        let read = || -> rusqlite::Result<Vec<Practised>> {
            let mut statement = self.connection.prepare_cached(&sql)?;
            let mut all = Vec::new();
            for student in students {
                all.extend(self.gather(statement.query((Id(*student), site, most))?)?);
            }
            all.sort_by_key(|p| p.started_at);
            Ok(all)
        };
        read().map_err(self.sorted("read the newest calls"))
    }

    /// Calls with their verdicts, oldest first, held out or not. Ear drills and the like are not among them.
    pub fn practised(&self, whose: Whose) -> Result<Vec<Practised>> {
        let (condition, student) = whose.condition();
        let sql = format!("{QUERY}{condition} ORDER BY started_at, number, position");
        let read = || -> rusqlite::Result<Vec<Practised>> {
            let mut statement = self.connection.prepare_cached(&sql)?;
            self.gather(statement.query(params_from_iter(student))?)
        };
        read().map_err(self.sorted("read attempts for a report"))
    }

    /// One attempt for all rows of the same number that follow each other; none where one of the rows cannot be read.
    fn gather(&self, mut rows: Rows<'_>) -> rusqlite::Result<Vec<Practised>> {
        let mut all: Vec<Practised> = Vec::new();
        let (mut last, mut bad) = (None, false);
        while let Some(row) = rows.next()? {
            let number: i64 = row.get(0)?;
            if last != Some(number) {
                last = Some(number);
                let read = self.or_noted("attempt", row, attempt(row))?;
                bad = read.is_none();
                all.extend(read);
            }
            if bad {
                continue;
            }
            match self.or_noted("attempt", row, element(row))? {
                Some(Some(element)) => all
                    .last_mut()
                    .into_iter()
                    .for_each(|a| a.elements.push(element.clone())),
                Some(None) => {}
                None => {
                    bad = true;
                    all.pop();
                }
            }
        }
        Ok(all)
    }
}

fn attempt(row: &Row<'_>) -> rusqlite::Result<Practised> {
    Ok(Practised {
        student: row.get::<_, Option<Id>>(1)?.map(|id| id.0),
        started_at: row.get::<_, Millis>(2)?.0,
        utc_offset_seconds: row.get(3)?,
        site: row.get(4)?,
        site_version: row.get(5)?,
        step: row.get(6)?,
        situation: row.get::<_, Json<_>>(7)?.0,
        turn_attempt: row.get(8)?,
        outcome: row.get(9)?,
        held_out: row.get(10)?,
        typed: row.get(11)?,
        elements: Vec::new(),
    })
}

fn element(row: &Row<'_>) -> rusqlite::Result<Option<PractisedElement>> {
    let Some(element) = row.get(12)? else { return Ok(None) };
    let by = row.get::<_, Option<Id>>(16)?.map(|id| id.0);
    let at: Option<Millis> = row.get(17)?;
    let reason = row.get(18)?;
    Ok(Some(PractisedElement {
        element,
        verdict: row.get(13)?,
        heard: row.get(14)?,
        overrule: row.get::<_, Option<_>>(15)?.zip(at).map(|(verdict, at)| Overrule {
            verdict,
            by,
            at: at.0,
            reason,
        }),
    }))
}
