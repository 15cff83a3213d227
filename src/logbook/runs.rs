//! Runs: several turns that belong together, such as a whole launch or a series of ear drills.
//!
//! A run is stored when it begins, so that a broken-off one is kept too. Each of the student's turns is an attempt with
//! the run's id, its position, the student's role, what was asked for ([`Kind`]) and what was done ([`Done`]). Only
//! attempts of the kind `call` count for the record of calls, be they alone or part of a launch.

use jiff::Timestamp;
use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSql, ToSqlOutput, ValueRef};
use rusqlite::{OptionalExtension, Row, params, params_from_iter};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::attempts::{SUMMARY_COLUMNS, summary};
use super::rows::{Id, Json, Millis};
use super::{AttemptSummary, Logbook, LogbookError, Result, Whose};

/// Makes an enum whose values are words in the database, in exports and on the command line.
macro_rules! words {
    ($(#[$about:meta])* $name:ident: $what:literal { $($(#[$doc:meta])* $value:ident = $word:literal,)+ }) => {
        $(#[$about])*
        #[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
        #[serde(rename_all = "kebab-case")]
        pub enum $name { $($(#[$doc])* $value,)+ }

        impl $name {
            /// Every value.
            pub const ALL: &[Self] = &[$(Self::$value,)+];

            /// The word for it in the database and in exports.
            pub fn word(self) -> &'static str {
                match self { $(Self::$value => $word,)+ }
            }
        }

        impl FromSql for $name {
            fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
                let text = value.as_str()?;
                let found = Self::ALL.iter().copied().find(|v| v.word() == text);
                found.ok_or_else(|| FromSqlError::Other(format!("unknown {} \"{text}\"", $what).into()))
            }
        }

        impl ToSql for $name {
            fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
                Ok(self.word().into())
            }
        }
    };
}

words! {
    /// What the student was asked for.
    Kind: "kind of attempt" {
        /// The call of the step. The only kind that counts for the record of calls.
        #[default]
        Call = "call",
        /// To let a right readback stand and to correct a wrong one.
        Readback = "readback",
        /// To end the launch in a danger.
        Hazard = "hazard",
        /// Words after the hand, which may be left out.
        Words = "words",
        /// To operate the release.
        Release = "release",
        /// To say what was the matter with another pilot's call.
        Ear = "ear",
    }
}

words! {
    /// What the student did.
    Done: "deed" {
        /// Spoke or typed.
        #[default]
        Called = "called",
        /// Used the hand: the release, or the winch's power.
        Hand = "hand",
        /// Let the turn pass.
        Nothing = "nothing",
        /// Chose an answer.
        Chose = "chose",
    }
}

words! {
    /// What a run is.
    RunKind: "kind of run" {
        /// A whole launch.
        #[default]
        Launch = "launch",
        /// A series of ear drills.
        Ear = "ear",
        /// Calls dealt to a class, one student after another.
        Class = "class",
        /// A planned session of single calls.
        Session = "session",
    }
}

/// The run an attempt belongs to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct InRun {
    /// [`NewRun::id`].
    pub run: Uuid,
    /// The student's turns of a run, counted from 0.
    pub position: u32,
    /// The student's role in it, such as "pilot".
    pub role: Option<String>,
}

/// What kind of turn an attempt was. The default is a call that stands alone.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Part {
    /// What was asked for.
    pub kind: Kind,
    /// What was done.
    pub done: Done,
    /// The run, if the turn is part of one.
    pub run: Option<InRun>,
}

/// A run that begins.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NewRun {
    /// Globally unique: a new v4.
    pub id: Uuid,
    /// What it is.
    pub kind: RunKind,
    /// `None` for practice without a name, or for several students.
    pub student: Option<Uuid>,
    /// The class it was dealt to.
    pub class: Option<Uuid>,
    /// When it began.
    pub started_at: Timestamp,
    /// The local time's distance from UTC at that moment, in seconds, east positive.
    pub utc_offset_seconds: i32,
    /// The site's id.
    pub site: String,
    /// The site file's version.
    pub site_version: String,
    /// The student's role.
    pub role: Option<String>,
    /// Start of the random numbers.
    pub seed: Option<String>,
    /// What was dealt.
    pub situation: serde_json::Value,
    /// What is out of the ordinary in it.
    pub course: serde_json::Value,
}

/// A run, as the logbook gives it back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StoredRun {
    /// All that was handed over.
    #[serde(flatten)]
    pub run: NewRun,
    /// How it ended, such as "complete"; `None` while it goes on, or where it was broken off.
    pub ending: Option<String>,
    /// When it ended.
    pub ended_at: Option<Timestamp>,
    /// What happened in it, for the debrief.
    pub record: serde_json::Value,
    /// When it last changed.
    pub changed_at: Timestamp,
}

pub(super) const COLUMNS: &str =
    "id, kind, student_id, class_id, started_at, utc_offset_seconds, site, site_version, role, seed,
    ending, ended_at, changed_at, situation, course, record";

impl Logbook {
    /// Stores a run that begins.
    pub fn begin_run(&mut self, run: &NewRun, now: Timestamp) -> Result<()> {
        if let Some(student) = run.student {
            self.student(student)?;
        }
        let transaction = self.write("store a run")?;
        transaction
            .execute(
                "INSERT INTO run (id, kind, student_id, class_id, started_at, utc_offset_seconds, site, site_version, role,
                    seed, changed_at, situation, course, record)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, '[]')",
                params![
                    Id(run.id),
                    run.kind,
                    run.student.map(Id),
                    run.class.map(Id),
                    Millis(run.started_at),
                    run.utc_offset_seconds,
                    run.site,
                    run.site_version,
                    run.role,
                    run.seed,
                    Millis(now),
                    Json(&run.situation),
                    Json(&run.course),
                ],
            )
            .and_then(|_| transaction.commit())
            .map_err(self.sorted("store a run"))
    }

    /// Stores what happened in a run so far, and how it ended if it did.
    pub fn update_run(
        &mut self,
        id: Uuid,
        ending: Option<&str>,
        record: &serde_json::Value,
        now: Timestamp,
    ) -> Result<()> {
        let transaction = self.write("store a run")?;
        let changed = transaction
            .execute(
                "UPDATE run SET ending = ?2, ended_at = iif(?2 IS NULL, NULL, ?3), record = ?4,
                    changed_at = max(?3, changed_at + 1)
                 WHERE id = ?1",
                (Id(id), ending, Millis(now), Json(record)),
            )
            .and_then(|n| transaction.commit().map(|()| n))
            .map_err(self.sorted("store a run"))?;
        if changed == 0 {
            return Err(LogbookError::Invalid {
                why: format!("there is no run {id}"),
            });
        }
        Ok(())
    }

    /// One run; `None` if there is none by that id.
    pub fn run(&self, id: Uuid) -> Result<Option<StoredRun>> {
        self.connection
            .query_row(&format!("SELECT {COLUMNS} FROM run WHERE id = ?1"), [Id(id)], stored)
            .optional()
            .map_err(self.sorted("read a run"))
    }

    /// The run whose id begins with these characters (at least eight); `None` if there is none, or more than one.
    pub fn find_run(&self, asked: &str) -> Result<Option<StoredRun>> {
        let wanted = asked.trim().to_lowercase();
        if wanted.len() < 8 || !wanted.chars().all(|c| c.is_ascii_hexdigit() || c == '-') {
            return Ok(None);
        }
        let read = || -> rusqlite::Result<Vec<Id>> {
            // "g" sorts after every hexadecimal digit: a range, so that the index on the id is used.
            let mut statement = self
                .connection
                .prepare_cached("SELECT id FROM run WHERE id >= ?1 AND id < ?1 || 'g' LIMIT 2")?;
            statement.query_map([&wanted], |r| r.get(0))?.collect()
        };
        match read().map_err(self.sorted("look for a run"))?[..] {
            [id] => self.run(id.0),
            _ => Ok(None),
        }
    }

    /// A page of runs, newest first.
    pub fn runs(&self, whose: Whose, offset: u32, limit: u32) -> Result<Vec<StoredRun>> {
        let (condition, student) = match whose {
            Whose::Anyone => ("TRUE", None),
            Whose::Student(id) => ("student_id = ?1", Some(Id(id))),
            Whose::Nobody => ("student_id IS NULL", None),
        };
        let sql = format!(
            "SELECT {COLUMNS} FROM run WHERE {condition} ORDER BY started_at DESC, id DESC LIMIT {limit} OFFSET {offset}"
        );
        let read = || -> rusqlite::Result<Vec<StoredRun>> {
            let mut statement = self.connection.prepare_cached(&sql)?;
            self.readable("run", statement.query(params_from_iter(student))?, stored)
        };
        read().map_err(self.sorted("list runs"))
    }

    /// The attempts of a run, in their order.
    pub fn attempts_of_run(&self, run: Uuid) -> Result<Vec<AttemptSummary>> {
        let sql =
            format!("SELECT {SUMMARY_COLUMNS} FROM attempt WHERE run_id = ?1 ORDER BY run_position, started_at, id");
        let read = || -> rusqlite::Result<Vec<AttemptSummary>> {
            let mut statement = self.connection.prepare_cached(&sql)?;
            self.readable("attempt", statement.query([Id(run)])?, summary)
        };
        read().map_err(self.sorted("list attempts of a run"))
    }
}

pub(super) fn stored(row: &Row<'_>) -> rusqlite::Result<StoredRun> {
    Ok(StoredRun {
        run: NewRun {
            id: row.get::<_, Id>(0)?.0,
            kind: row.get(1)?,
            student: row.get::<_, Option<Id>>(2)?.map(|id| id.0),
            class: row.get::<_, Option<Id>>(3)?.map(|id| id.0),
            started_at: row.get::<_, Millis>(4)?.0,
            utc_offset_seconds: row.get(5)?,
            site: row.get(6)?,
            site_version: row.get(7)?,
            role: row.get(8)?,
            seed: row.get(9)?,
            situation: row.get::<_, Json<_>>(13)?.0,
            course: row.get::<_, Json<_>>(14)?.0,
        },
        ending: row.get(10)?,
        ended_at: row.get::<_, Option<Millis>>(11)?.map(|m| m.0),
        changed_at: row.get::<_, Millis>(12)?.0,
        record: row.get::<_, Json<_>>(15)?.0,
    })
}
