//! Who may judge anew, and judging anew.
//!
//! An instructor is a person with the role [`INSTRUCTOR`]. Where computers are shared a PIN is asked (`pins.rs`).
//!
//! The program's own verdict always stays beside the instructor's. Every judgement is kept with its reason; the latest
//! counts.

use jiff::Timestamp;
use rusqlite::Row;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::attempts::{SUMMARY_COLUMNS, add_judgement, summary};
use super::rows::{Id, Millis};
use super::{AttemptSummary, Logbook, LogbookError, Result, Verdict, Whose, derive};

/// The role of those who may overrule a verdict.
pub const INSTRUCTOR: &str = "instructor";

/// Proof that somebody is an instructor, and gave the right PIN if they have one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Instructor {
    id: Uuid,
}

impl Instructor {
    /// Who.
    pub fn id(self) -> Uuid {
        self.id
    }
}

/// One judgement of an instructor.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ruled {
    /// Globally unique.
    pub id: String,
    /// The attempt.
    pub attempt: Uuid,
    /// The element; `None` where the whole attempt was let stand as it was.
    pub element: Option<String>,
    /// What counts; `None` where the program's own verdict counts (again).
    pub verdict: Option<Verdict>,
    /// Who; `None` once that person has been forgotten.
    pub by: Option<Uuid>,
    /// When.
    pub at: Timestamp,
    /// Why.
    pub reason: Option<String>,
}

impl Logbook {
    /// Lets somebody act as an instructor: they must have the role, and give their PIN if they have one. Once any
    /// instructor has one, those without cannot act: anybody could say that they are they.
    pub fn instructor(&mut self, id: Uuid, pin: Option<&str>, now: Timestamp) -> Result<Instructor> {
        let person = self.student(id)?;
        if person.role.as_deref() != Some(INSTRUCTOR) {
            return Err(LogbookError::NotAnInstructor { who: person.name });
        }
        if person.has_pin {
            match pin {
                None => return Err(LogbookError::PinNeeded { who: person.name }),
                Some(pin) if !self.check_pin(id, pin, now)? => return Err(LogbookError::WrongPin { who: person.name }),
                Some(_) => {}
            }
        } else if !self.pin_holders()?.is_empty() {
            return Err(LogbookError::PinFirst { who: person.name });
        }
        Ok(Instructor { id })
    }

    /// Overrules the verdict of one element, with a reason. The attempt counts again if it was held out.
    pub fn overrule(
        &mut self,
        attempt: Uuid,
        element: &str,
        verdict: Verdict,
        by: Instructor,
        reason: &str,
        now: Timestamp,
    ) -> Result<()> {
        let reason = checked_reason(reason)?;
        self.judge(attempt, Some(element), Some(verdict), by, reason, now)
    }

    /// Takes an overrule back: the program's own verdict counts again. Both judgements stay in the list.
    pub fn withdraw_overrule(
        &mut self,
        attempt: Uuid,
        element: &str,
        by: Instructor,
        reason: &str,
        now: Timestamp,
    ) -> Result<()> {
        let reason = checked_reason(reason)?;
        self.judge(attempt, Some(element), None, by, reason, now)
    }

    /// Lets an attempt stand as the program judged it. It counts again if it was held out.
    pub fn uphold(&mut self, attempt: Uuid, by: Instructor, reason: &str, now: Timestamp) -> Result<()> {
        let reason = checked_reason(reason)?;
        self.judge(attempt, None, None, by, reason, now)
    }

    fn judge(
        &mut self,
        attempt: Uuid,
        element: Option<&str>,
        verdict: Option<Verdict>,
        by: Instructor,
        reason: &str,
        now: Timestamp,
    ) -> Result<()> {
        let stored = self.attempt(attempt)?.ok_or_else(|| LogbookError::NoSuchAttempt {
            asked: attempt.to_string(),
        })?;
        if let Some(element) = element
            && !stored.attempt.elements.iter().any(|e| e.element == element)
        {
            let known: Vec<&str> = stored.attempt.elements.iter().map(|e| e.element.as_str()).collect();
            return Err(LogbookError::Invalid {
                why: format!(
                    "this attempt has no element \"{element}\"; it has: {}",
                    known.join(", ")
                ),
            });
        }
        let transaction = self.write("store a judgement")?;
        let store = || -> rusqlite::Result<()> {
            add_judgement(&transaction, attempt, element, verdict, Some(by.id), Some(reason), now)?;
            transaction.execute(
                "UPDATE attempt SET held_out = 0, held_out_at = max(?2, held_out_at + 1), changed_at = max(?2, changed_at)
                 WHERE id = ?1",
                (Id(attempt), Millis(now)),
            )?;
            derive::overrules(&transaction, Some(attempt))?;
            transaction.commit()
        };
        store().map_err(self.sorted("store a judgement"))
    }

    /// Every judgement of an attempt, oldest first.
    pub fn judgements(&self, attempt: Uuid) -> Result<Vec<Ruled>> {
        self.read_judgements("WHERE attempt_id = ?1", Some(Id(attempt)))
    }

    /// Every judgement of somebody's attempts.
    pub(super) fn all_judgements(&self, whose: Whose) -> Result<Vec<Ruled>> {
        let (condition, student) = whose.condition();
        self.read_judgements(
            &format!("JOIN attempt ON attempt.id = overrule.attempt_id WHERE {condition}"),
            student,
        )
    }

    fn read_judgements(&self, which: &str, id: Option<Id>) -> Result<Vec<Ruled>> {
        let read = || -> rusqlite::Result<Vec<Ruled>> {
            let mut statement = self.connection.prepare_cached(&format!(
                "SELECT overrule.id, attempt_id, element, verdict, by, at, reason FROM overrule {which}
                 ORDER BY at, overrule.id"
            ))?;
            self.readable("judgement", statement.query(rusqlite::params_from_iter(id))?, judged)
        };
        read().map_err(self.sorted("read judgements"))
    }

    /// The attempts that wait for somebody to judge them, oldest first.
    pub fn held_out(&self, whose: Whose) -> Result<Vec<AttemptSummary>> {
        let (condition, student) = whose.condition();
        // Named, or the few that are held out are looked for among all in the order of time.
        let sql = format!(
            "SELECT {SUMMARY_COLUMNS} FROM attempt INDEXED BY attempt_held_out WHERE {condition} AND held_out = 1
             ORDER BY started_at, id"
        );
        let read = || -> rusqlite::Result<Vec<AttemptSummary>> {
            let mut statement = self.connection.prepare_cached(&sql)?;
            self.readable(
                "attempt",
                statement.query(rusqlite::params_from_iter(student))?,
                summary,
            )
        };
        read().map_err(self.sorted("list attempts held out"))
    }
}

pub(super) fn judged(row: &Row<'_>) -> rusqlite::Result<Ruled> {
    let element: String = row.get(2)?;
    Ok(Ruled {
        id: row.get(0)?,
        attempt: row.get::<_, Id>(1)?.0,
        element: (!element.is_empty()).then_some(element),
        verdict: row.get(3)?,
        by: row.get::<_, Option<Id>>(4)?.map(|id| id.0),
        at: row.get::<_, Millis>(5)?.0,
        reason: row.get(6)?,
    })
}

fn checked_reason(reason: &str) -> Result<&str> {
    let reason = reason.trim();
    if reason.is_empty() || reason.chars().count() > 500 {
        return Err(LogbookError::Invalid {
            why: "a judgement needs a reason of 1 to 500 characters".to_owned(),
        });
    }
    Ok(reason)
}
