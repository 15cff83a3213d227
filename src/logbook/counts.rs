//! How often what came: the counts behind the record.

use rusqlite::{Row, params_from_iter};

use super::rows::Id;
use super::{Logbook, Outcome, Result, Whose};

/// How often each outcome came.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct OutcomeCounts {
    /// Every critical element said.
    pub pass: u64,
    /// Something critical wrong or missing.
    pub not_yet: u64,
    /// The sound did not decide.
    pub say_again: u64,
    /// No speech.
    pub nothing_heard: u64,
}

impl OutcomeCounts {
    /// All together.
    pub fn total(&self) -> u64 {
        self.pass + self.not_yet + self.say_again + self.nothing_heard
    }
}

/// How often an element came at the first attempt of a turn, and how it was judged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ElementCount {
    /// Such as "callsign".
    pub element: String,
    /// Right at the first attempt.
    pub said: u64,
    /// Another value.
    pub wrong: u64,
    /// Left out.
    pub missing: u64,
    /// Not decided: counts neither for nor against the student.
    pub unsure: u64,
}

/// What came at the first attempt of each turn.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct FirstTime {
    /// Outcomes of whole calls.
    pub outcomes: OutcomeCounts,
    /// By element, in the order of the call. Attempts in which nothing was heard are not in these counts: they say
    /// nothing about the element.
    pub elements: Vec<ElementCount>,
}

impl Logbook {
    /// How often each outcome came, of calls only and without the attempts held out.
    /// Where an instructor has overruled a verdict, the outcome that follows from it counts.
    pub fn outcome_counts(&self, whose: Whose) -> Result<OutcomeCounts> {
        self.outcomes(whose, false)
    }

    /// What came at the first attempt of each turn, without those held out; an instructor's verdict counts before the
    /// program's.
    pub fn first_time(&self, whose: Whose) -> Result<FirstTime> {
        let outcomes = self.outcomes(whose, true)?;
        let (sql, student) = first_time_query(whose);
        let read = || -> rusqlite::Result<Vec<ElementCount>> {
            let mut statement = self.connection.prepare_cached(&sql)?;
            let count = |row: &Row<'_>, column| row.get(column).map(i64::unsigned_abs);
            self.readable("element", statement.query(params_from_iter(student))?, |r| {
                Ok(ElementCount {
                    element: r.get(0)?,
                    said: count(r, 1)?,
                    wrong: count(r, 2)?,
                    missing: count(r, 3)?,
                    unsure: count(r, 4)?,
                })
            })
        };
        let elements = read().map_err(self.sorted("count first-time passes"))?;
        Ok(FirstTime { outcomes, elements })
    }

    fn outcomes(&self, whose: Whose, first_only: bool) -> Result<OutcomeCounts> {
        let (sql, student) = outcome_query(whose, first_only);
        let read = || -> rusqlite::Result<OutcomeCounts> {
            self.connection
                .prepare_cached(&sql)?
                .query_row(params_from_iter(student), |row| {
                    let count = |column| row.get(column).map(i64::unsigned_abs);
                    Ok(OutcomeCounts {
                        pass: count(0)?,
                        not_yet: count(1)?,
                        say_again: count(2)?,
                        nothing_heard: count(3)?,
                    })
                })
        };
        read().map_err(self.sorted("count outcomes"))
    }
}

pub(super) fn outcome_query(whose: Whose, first_only: bool) -> (String, Option<Id>) {
    let (condition, student) = whose.condition();
    let first = if first_only { "AND turn_attempt = 1" } else { "" };
    // Four sums in one pass; GROUP BY would sort all rows first.
    let sums = Outcome::ALL
        .map(|o| {
            format!(
                "count(*) FILTER (WHERE coalesce(overruled_outcome, outcome) = '{}')",
                o.word()
            )
        })
        .join(", ");
    let sql = format!("SELECT {sums} FROM attempt WHERE {condition} AND kind = 'call' AND held_out = 0 {first}");
    (sql, student)
}

pub(super) fn first_time_query(whose: Whose) -> (String, Option<Id>) {
    let (condition, student) = whose.condition();
    // CROSS JOIN fixes the order: attempts through their index, then each one's handful of elements side by side.
    let sql = format!(
        "SELECT element, sum(v = 'said'), sum(v = 'wrong'), sum(v = 'missing'), sum(v = 'unsure')
         FROM (SELECT element, position, coalesce(overruled_verdict, verdict) AS v
               FROM attempt CROSS JOIN element_verdict ON element_verdict.attempt = attempt.number
               WHERE {condition} AND kind = 'call' AND held_out = 0 AND turn_attempt = 1
                    AND coalesce(overruled_outcome, outcome) <> 'nothing heard')
         GROUP BY element ORDER BY min(position), element"
    );
    (sql, student)
}
