//! How long recordings and attempts are kept.
//!
//! Off until somebody says a number of days, for the whole logbook (on this computer only) or for one student (that goes
//! along in a merge; it counts before the logbook's). What is removed by age stays removed in a merge.
//!
//! A clock can be wrong, and what it takes away does not come back: a leap of more than [`LEAP`] since the logbook was last in
//! use is believed only when a start on another day finds the clock there still.

use std::collections::BTreeSet;

use jiff::{SignedDuration, Timestamp};
use rusqlite::OptionalExtension;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::recordings::remove_if_there;
use super::rows::{Id, Millis};
use super::{Logbook, LogbookError, RecordingName, Result, students};

/// Days after which something is removed; `None`: never (of a student: as the logbook says).
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Retention {
    /// Of recordings; the attempt stays without its recording. 1 to 36 500.
    pub recordings_days: Option<u32>,
    /// Of whole attempts with all that belongs to them. 1 to 36 500.
    pub attempts_days: Option<u32>,
}

impl Retention {
    fn check(self) -> Result<()> {
        let days = [self.recordings_days, self.attempts_days];
        if days.into_iter().flatten().all(|d| (1..=36_500).contains(&d)) {
            return Ok(());
        }
        Err(LogbookError::Invalid {
            why: "days are a number from 1 to 36500".to_owned(),
        })
    }
}

/// So long may a computer be away before its clock is doubted.
const LEAP: SignedDuration = SignedDuration::from_hours(60 * 24);
/// A clock that was doubted is believed at a start so much later.
const ANOTHER_DAY: SignedDuration = SignedDuration::from_hours(20);
/// A doubt older than this is a new one; longer than anybody is away who starts twice a year.
const DOUBT_LASTS: SignedDuration = SignedDuration::from_hours(400 * 24);

/// Not looked at again within this time.
const JUST_NOW: SignedDuration = SignedDuration::from_hours(1);

/// Settings of this computer that hold a time in milliseconds: when it was last believed, and when first doubted.
const SEEN: &str = "clock_seen";
const DOUBTED: &str = "clock_doubted";

/// What was removed by age.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Removed {
    /// Recordings whose attempts stay.
    pub recordings: usize,
    /// Whole attempts.
    pub attempts: usize,
    /// Nothing was removed by age, since the clock has leapt so many days ahead of when the logbook was last in use. What is
    /// too old goes at a start on another day.
    pub doubted_days: Option<i64>,
    /// Files that could not be removed, as sentences.
    pub problems: Vec<String>,
}

impl Logbook {
    /// How long this computer keeps things.
    pub fn retention(&self) -> Result<Retention> {
        let read = |name: &str| -> Result<Option<u32>> {
            let found: Option<String> = self
                .connection
                .query_row("SELECT value FROM setting WHERE name = ?1", [name], |r| r.get(0))
                .optional()
                .map_err(self.sorted("read a setting"))?;
            Ok(found.and_then(|v| v.parse().ok()))
        };
        Ok(Retention {
            recordings_days: read("keep_recordings_days")?,
            attempts_days: read("keep_attempts_days")?,
        })
    }

    /// Sets how long this computer keeps things. Nothing is removed before [`Logbook::remove_old`].
    pub fn set_retention(&mut self, keep: Retention, now: Timestamp) -> Result<()> {
        keep.check()?;
        let transaction = self.write("store a setting")?;
        let store = || -> rusqlite::Result<()> {
            let both = [
                ("keep_recordings_days", keep.recordings_days),
                ("keep_attempts_days", keep.attempts_days),
            ];
            for (name, days) in both {
                match days {
                    None => transaction.execute("DELETE FROM setting WHERE name = ?1", [name])?,
                    Some(days) => transaction.execute(
                        "INSERT OR REPLACE INTO setting (name, value, changed_at) VALUES (?1, ?2, ?3)",
                        (name, days.to_string(), Millis(now)),
                    )?,
                };
            }
            transaction.commit()
        };
        store().map_err(self.sorted("store a setting"))
    }

    /// Sets how long one student's data is kept, before what the logbook says.
    pub fn set_student_retention(&mut self, id: Uuid, keep: Retention, now: Timestamp) -> Result<()> {
        keep.check()?;
        let transaction = self.write("store a setting")?;
        let changed = transaction
            .execute(
                "UPDATE student SET keep_recordings_days = ?2, keep_attempts_days = ?3, keep_at = max(?4, keep_at + 1),
                    changed_at = max(?4, changed_at)
                 WHERE id = ?1",
                (Id(id), keep.recordings_days, keep.attempts_days, Millis(now)),
            )
            .and_then(|n| transaction.commit().map(|()| n))
            .map_err(self.sorted("store a setting"))?;
        if changed == 0 {
            Err(students::unknown(id))
        } else {
            Ok(())
        }
    }

    /// What the next start would remove if `keep` were the rule of this computer; of one student, what it would remove of
    /// theirs.
    pub fn old_under(&self, student: Option<Uuid>, keep: Retention, now: Timestamp) -> Result<Removed> {
        keep.check()?;
        let logbook = if student.is_none() { keep } else { self.retention()? };
        let of = student.map(|id| (id, keep));
        let mut old = Removed::default();
        for (whose, keep) in self.rules(logbook, of)? {
            if student.is_some() && student != whose {
                continue;
            }
            let attempts: BTreeSet<_> = match keep.attempts_days.and_then(|d| days_before(now, d)) {
                Some(before) => self.older(whose, before, "TRUE")?.into_iter().collect(),
                None => BTreeSet::new(),
            };
            old.attempts += attempts.len();
            if let (Some(before), Some(_)) = (keep.recordings_days.and_then(|d| days_before(now, d)), whose) {
                let recordings = self.older(whose, before, "recording IS NOT NULL")?;
                // Those that go with their attempts are not counted twice.
                old.recordings += recordings.iter().filter(|r| !attempts.contains(r)).count();
            }
        }
        Ok(old)
    }

    /// Whose things are kept how long: those of nobody by name, and of each student. `of` is a rule for one that is not
    /// stored (yet).
    fn rules(&self, logbook: Retention, of: Option<(Uuid, Retention)>) -> Result<Vec<(Option<Uuid>, Retention)>> {
        let mut rules = vec![(None, logbook)];
        rules.extend(self.students()?.into_iter().map(|s| {
            let own = of.filter(|(id, _)| *id == s.id).map_or(s.keep, |(_, keep)| keep);
            let keep = Retention {
                recordings_days: own.recordings_days.or(logbook.recordings_days),
                attempts_days: own.attempts_days.or(logbook.attempts_days),
            };
            (Some(s.id), keep)
        }));
        Ok(rules)
    }

    /// Removes what is older than it may be. To be called at a start.
    pub fn remove_old(&mut self, now: Timestamp) -> Result<Removed> {
        let mut removed = Removed::default();
        let mut rules = self.rules(self.retention()?, None)?;
        let by_age = |keep: &Retention| keep.recordings_days.is_some() || keep.attempts_days.is_some();
        if !self.read_only && rules.iter().any(|(_, keep)| by_age(keep)) {
            removed.doubted_days = self.doubt_clock(now)?;
            if removed.doubted_days.is_some() {
                rules.clear();
            }
        }
        for (student, keep) in rules {
            if let Some(before) = keep.attempts_days.and_then(|d| days_before(now, d)) {
                let old = self.older(student, before, "TRUE")?;
                removed.attempts += self.remove_attempts(&old, now)?;
                self.remove_runs(student, before, now)?;
                for name in old
                    .into_iter()
                    .filter_map(|(id, s)| s.map(|s| RecordingName::new(s, id)))
                {
                    if let Err(e) = remove_if_there(&name.path(&self.recordings)) {
                        removed.problems.push(e.to_string());
                    }
                }
            }
            if let (Some(before), Some(student)) = (keep.recordings_days.and_then(|d| days_before(now, d)), student) {
                let old = self.older(Some(student), before, "recording IS NOT NULL")?;
                let ids: Vec<Uuid> = old.iter().map(|(id, _)| *id).collect();
                self.drop_recordings(&ids, now)?;
                for id in ids {
                    match remove_if_there(&RecordingName::new(student, id).path(&self.recordings)) {
                        Ok(()) => removed.recordings += 1,
                        Err(e) => removed.problems.push(e.to_string()),
                    }
                }
            }
        }
        removed.problems.extend(self.remove_old_backups());
        Ok(removed)
    }

    /// Is the clock too far ahead to be believed? By how many days then.
    fn doubt_clock(&mut self, now: Timestamp) -> Result<Option<i64>> {
        let seen = self.setting_as_time(SEEN)?;
        if seen.is_some_and(|seen| (SignedDuration::ZERO..JUST_NOW).contains(&now.duration_since(seen))) {
            return Ok(None);
        }
        let doubted = self.setting_as_time(DOUBTED)?;
        let transaction = self.write("look at the clock")?;
        let look = || -> rusqlite::Result<Option<i64>> {
            let set = |name: &str, at: Timestamp| {
                transaction.execute(
                    "INSERT OR REPLACE INTO setting (name, value, changed_at) VALUES (?1, ?2, ?3)",
                    (name, at.as_millisecond().to_string(), Millis(at)),
                )
            };
            let last: Option<Millis> = match seen {
                Some(seen) => Some(Millis(seen)),
                // Not looked at before: when a time was set, or the last call was stored.
                None => transaction.query_row(
                    "SELECT max(at) FROM (SELECT max(changed_at) AS at FROM setting
                        UNION ALL SELECT max(keep_at) FROM student UNION ALL SELECT max(created_at) FROM attempt)",
                    [],
                    |r| r.get(0),
                )?,
            };
            let away = last.map_or(SignedDuration::ZERO, |last| now.duration_since(last.0));
            let doubted = doubted.filter(|at| (SignedDuration::ZERO..DOUBT_LASTS).contains(&now.duration_since(*at)));
            let confirmed = doubted.is_some_and(|at| now.duration_since(at) >= ANOTHER_DAY);
            let doubt = away > LEAP && !confirmed;
            if !doubt {
                set(SEEN, now)?;
                transaction.execute("DELETE FROM setting WHERE name = ?1", [DOUBTED])?;
            } else if doubted.is_none() {
                set(DOUBTED, now)?;
                // What is stored from now on has the doubted time.
                if let (None, Some(last)) = (seen, last) {
                    set(SEEN, last.0)?;
                }
            }
            transaction.commit()?;
            Ok(doubt.then(|| away.as_hours() / 24))
        };
        look().map_err(self.sorted("look at the clock"))
    }

    fn setting_as_time(&self, name: &str) -> Result<Option<Timestamp>> {
        let found: Option<String> = self
            .connection
            .query_row("SELECT value FROM setting WHERE name = ?1", [name], |r| r.get(0))
            .optional()
            .map_err(self.sorted("read a setting"))?;
        Ok(found.and_then(|v| Timestamp::from_millisecond(v.parse().ok()?).ok()))
    }

    /// Removes one attempt for good, with its recording.
    pub fn remove_attempt(&mut self, id: Uuid, now: Timestamp) -> Result<()> {
        // Only what is needed: an attempt that cannot be read can be removed.
        let student = self
            .connection
            .query_row("SELECT student_id FROM attempt WHERE id = ?1", [Id(id)], |r| {
                r.get::<_, Option<String>>(0)
            })
            .optional()
            .map_err(self.sorted("look for an attempt"))?
            .ok_or_else(|| LogbookError::NoSuchAttempt { asked: id.to_string() })?
            .and_then(|id| Uuid::try_parse(&id).ok());
        self.remove_attempts(&[(id, student)], now)?;
        if let Some(problem) = self.remove_old_backups().into_iter().next() {
            return Err(LogbookError::Invalid {
                why: format!("the attempt is removed, but {problem}"),
            });
        }
        match student {
            Some(student) => remove_if_there(&RecordingName::new(student, id).path(&self.recordings)),
            None => Ok(()),
        }
    }

    /// Removes one attempt's recording for good; the attempt stays.
    pub fn remove_recording(&mut self, id: Uuid, now: Timestamp) -> Result<()> {
        self.drop_recordings(&[id], now)?;
        match self.attempt(id)?.and_then(|a| a.attempt.student) {
            Some(student) => remove_if_there(&RecordingName::new(student, id).path(&self.recordings)),
            None => Ok(()),
        }
    }

    fn older(&self, student: Option<Uuid>, before: Timestamp, more: &str) -> Result<Vec<(Uuid, Option<Uuid>)>> {
        let read = || -> rusqlite::Result<Vec<(Uuid, Option<Uuid>)>> {
            let mut statement = self.connection.prepare_cached(&format!(
                "SELECT id, student_id FROM attempt WHERE student_id IS ?1 AND started_at < ?2 AND {more}"
            ))?;
            self.readable("attempt", statement.query((student.map(Id), Millis(before)))?, |r| {
                Ok((r.get::<_, Id>(0)?.0, r.get::<_, Option<Id>>(1)?.map(|id| id.0)))
            })
        };
        read().map_err(self.sorted("look for what is old"))
    }

    fn remove_attempts(&mut self, attempts: &[(Uuid, Option<Uuid>)], now: Timestamp) -> Result<usize> {
        if attempts.is_empty() {
            return Ok(0);
        }
        let transaction = self.write("remove attempts")?;
        let remove = || -> rusqlite::Result<usize> {
            let mut removed = 0;
            for (id, _) in attempts {
                removed += transaction
                    .prepare_cached("DELETE FROM attempt WHERE id = ?1")?
                    .execute([Id(*id)])?;
                transaction
                    .prepare_cached(
                        "INSERT OR IGNORE INTO tombstone (id, deleted_at, what) VALUES (?1, ?2, 'attempt')",
                    )?
                    .execute((Id(*id), Millis(now)))?;
            }
            transaction.commit()?;
            Ok(removed)
        };
        remove().map_err(self.sorted("remove attempts"))
    }

    fn remove_runs(&mut self, student: Option<Uuid>, before: Timestamp, now: Timestamp) -> Result<()> {
        let transaction = self.write("remove runs")?;
        let remove = || -> rusqlite::Result<()> {
            let old = "FROM run WHERE student_id IS ?1 AND started_at < ?2";
            let which = (student.map(Id), Millis(before));
            transaction.execute(
                &format!("INSERT OR IGNORE INTO tombstone (id, deleted_at, what) SELECT id, ?3, 'run' {old}"),
                (which.0, which.1, Millis(now)),
            )?;
            transaction.execute(&format!("DELETE {old}"), which)?;
            transaction.commit()
        };
        remove().map_err(self.sorted("remove runs"))
    }

    fn drop_recordings(&mut self, ids: &[Uuid], now: Timestamp) -> Result<()> {
        if ids.is_empty() {
            return Ok(());
        }
        let transaction = self.write("remove recordings")?;
        let drop = || -> rusqlite::Result<()> {
            for id in ids {
                transaction
                    .prepare_cached(
                        "UPDATE attempt SET recording = NULL, recording_removed_at = coalesce(recording_removed_at, ?2),
                            changed_at = max(?2, changed_at)
                         WHERE id = ?1 AND recorded = 1",
                    )?
                    .execute((Id(*id), Millis(now)))?;
            }
            transaction.commit()
        };
        drop().map_err(self.sorted("remove recordings"))
    }
}

fn days_before(now: Timestamp, days: u32) -> Option<Timestamp> {
    now.checked_sub(SignedDuration::from_hours(24 * i64::from(days))).ok()
}
