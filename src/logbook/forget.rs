//! Removing a student for good: rows, recordings, traces in the file.
//!
//! What remains is a tombstone: the id and the time, so that a merge with another logbook does not bring the student
//! back. What this cannot reach: exports and copies somebody made, and sectors a disk keeps on its own account.

use std::path::PathBuf;

use jiff::Timestamp;
use uuid::Uuid;

use super::open::beside;
use super::rows::{Id, Millis};
use super::{Logbook, Result, joined, students};

/// What was removed, and what to see to by hand.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Forgotten {
    /// Attempts removed.
    pub attempts: usize,
    /// Recording files removed.
    pub recordings: usize,
    /// Copies removed that were made before a migration: they held the student, too.
    pub backups: Vec<PathBuf>,
    /// Logbooks that were set aside and may still hold the student. They are damaged or foreign and not touched.
    pub may_still_hold: Vec<PathBuf>,
    /// What did not succeed, as sentences; the student's rows are gone all the same.
    pub problems: Vec<String>,
}

impl Logbook {
    /// Removes a student with all attempts, verdicts and recordings for good.
    ///
    /// The rows go in one transaction, overwritten with zeros; then the recordings; then the file is written anew
    /// without gaps. If the program ends in between, [`Logbook::adopt_leftovers`] removes the remaining recordings.
    pub fn forget(&mut self, id: Uuid, now: Timestamp) -> Result<Forgotten> {
        let mut report = Forgotten::default();
        // Copies go first: were the program to end in between, the student would still be here and be asked for again,
        // and nothing would be left that nobody looks for.
        self.student_is_here(id)?;
        self.remove_copies(&mut report);
        report.attempts = self.erase(id, now)?;
        for entry in self.entries_of(id)? {
            match self.remove_recordings_of(entry) {
                Ok(removed) => report.recordings += removed,
                Err(e) => report.problems.push(format!("a recording is still there ({e})")),
            }
        }
        self.clean_up(&mut report);
        Ok(report)
    }

    /// What else held the student: backups, unfinished merges, gaps in the file.
    pub(super) fn clean_up(&mut self, report: &mut Forgotten) {
        self.remove_copies(report);
        report.may_still_hold = beside(&self.path, ".set-aside-");
        // Checkpoint: in case another program turned the file to a write-ahead log.
        let rewritten = self
            .connection
            .execute_batch("VACUUM; PRAGMA wal_checkpoint(TRUNCATE);");
        if let Err(e) = rewritten.map_err(self.sorted("rewrite the file")) {
            report.problems.push(format!(
                "the rows are overwritten, but the file could not be written anew ({e})"
            ));
        }
    }

    /// Copies this room made: of unfinished merges, before a migration, before a merge.
    fn remove_copies(&self, report: &mut Forgotten) {
        for folder in beside(&self.path, super::merge::MARK) {
            if let Err(e) = std::fs::remove_dir_all(&folder) {
                report.problems.push(format!(
                    "an unfinished merge is still there ({e}): {}",
                    folder.display()
                ));
            }
        }
        for backup in self.backups() {
            match std::fs::remove_file(&backup) {
                Ok(()) => report.backups.push(backup),
                Err(e) => report
                    .problems
                    .push(format!("an old backup is still there ({e}): {}", backup.display())),
            }
        }
    }

    fn backups(&self) -> Vec<PathBuf> {
        let mut found = beside(&self.path, ".format-");
        found.extend(beside(&self.path, super::merge::BACKUP));
        found
    }

    /// Removes backups that hold what has since been removed for good. A forgetting that was
    /// cut off, or a removal by age, is made whole by this. Returns what could not be removed, as sentences.
    pub(super) fn remove_old_backups(&self) -> Vec<String> {
        let mut problems = Vec::new();
        for backup in self.backups() {
            // One that cannot be looked into may just be written by another program; forgetting somebody removes it.
            if self.holds_removed(&backup).unwrap_or(false)
                && let Err(e) = std::fs::remove_file(&backup)
                && e.kind() != std::io::ErrorKind::NotFound
            {
                problems.push(format!("an old backup is still there ({e}): {}", backup.display()));
            }
        }
        problems
    }

    fn holds_removed(&self, backup: &std::path::Path) -> rusqlite::Result<bool> {
        let flags = rusqlite::OpenFlags::SQLITE_OPEN_READ_ONLY | rusqlite::OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let copy = rusqlite::Connection::open_with_flags(backup, flags)?;
        copy.pragma_update(None, "trusted_schema", "OFF")?;
        let tables: Vec<String> = copy
            .prepare("SELECT name FROM sqlite_schema WHERE type = 'table' AND name IN ('student', 'attempt', 'run', 'class')")?
            .query_map([], |r| r.get(0))?
            .collect::<rusqlite::Result<_>>()?;
        let count = |of: &rusqlite::Connection, table: &str| -> rusqlite::Result<i64> {
            of.query_row(&format!("SELECT count(*) FROM {table}"), [], |r| r.get(0))
        };
        let removed = count(&self.connection, "tombstone")?;
        for table in &tables {
            // The fewer are looked for among the more: a logbook that was merged may have brought a million tombstones.
            let held = if removed <= count(&copy, table)? {
                any_in(&self.connection, "tombstone", &copy, table)?
            } else {
                any_in(&copy, table, &self.connection, "tombstone")?
            };
            if held {
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn student_is_here(&self, id: Uuid) -> Result<()> {
        let here: bool = self
            .connection
            .query_row("SELECT EXISTS (SELECT 1 FROM student WHERE id = ?1)", [Id(id)], |r| {
                r.get(0)
            })
            .map_err(self.sorted("look for a student"))?;
        if here { Ok(()) } else { Err(students::unknown(id)) }
    }

    /// The rows only. Returns the number of attempts.
    fn erase(&mut self, id: Uuid, now: Timestamp) -> Result<usize> {
        let transaction = self.write("forget a student")?;
        let erase = || -> rusqlite::Result<Option<usize>> {
            // Verdicts, judgements, answers and memberships go with what they belong to.
            let attempts = transaction.execute("DELETE FROM attempt WHERE student_id = ?1", [Id(id)])?;
            transaction.execute("DELETE FROM run WHERE student_id = ?1", [Id(id)])?;
            if transaction.execute("DELETE FROM student WHERE id = ?1", [Id(id)])? == 0 {
                return Ok(None);
            }
            transaction.execute(
                "INSERT OR REPLACE INTO tombstone (id, deleted_at, what) VALUES (?1, ?2, 'student')",
                (Id(id), Millis(now)),
            )?;
            // Under every entry, so that a merge brings none of them back.
            joined::removed(&transaction)?;
            transaction.commit()?;
            Ok(Some(attempts))
        };
        erase()
            .map_err(self.sorted("forget a student"))?
            .ok_or_else(|| students::unknown(id))
    }
}

/// Is any id of one table in the other?
fn any_in(
    own: &rusqlite::Connection,
    table: &str,
    foreign: &rusqlite::Connection,
    other: &str,
) -> rusqlite::Result<bool> {
    let mut known = foreign.prepare(&format!("SELECT EXISTS (SELECT 1 FROM {other} WHERE id = ?1)"))?;
    let mut statement = own.prepare(&format!("SELECT id FROM {table}"))?;
    let mut ids = statement.query([])?;
    while let Some(row) = ids.next()? {
        if known.query_row([row.get::<_, rusqlite::types::Value>(0)?], |r| r.get(0))? {
            return Ok(true);
        }
    }
    Ok(false)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logbook::NewStudent;

    /// The rewriting at the end may fail (a full disk); the rows must be unreadable before it.
    #[test]
    fn rows_are_overwritten_even_before_the_file_is_rewritten() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("logbook.sqlite");
        let mut logbook = Logbook::open(&path, dir.path()).unwrap();
        let now = Timestamp::UNIX_EPOCH;
        let name = "Quentin Overmarsh";
        let student = logbook
            .add_student(
                &NewStudent {
                    name: name.to_owned(),
                    ..NewStudent::default()
                },
                now,
            )
            .unwrap();
        let contains = |needle: &str| {
            std::fs::read(&path)
                .unwrap()
                .windows(needle.len())
                .any(|w| w == needle.as_bytes())
        };
        assert!(contains(name));
        logbook.erase(student.id, now).unwrap();
        assert!(!contains(name));
        assert!(contains(&student.id.to_string()), "the tombstone has the id");
    }

    /// A merge may bring any number of tombstones, and a backup hold any number of attempts.
    #[test]
    fn a_backup_is_looked_through_from_the_smaller_side() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("logbook.sqlite");
        let logbook = Logbook::open(&path, dir.path()).unwrap();
        let backup = dir.path().join("logbook.sqlite.before-merge.backup");
        let copy = rusqlite::Connection::open(&backup).unwrap();
        copy.execute_batch("CREATE TABLE attempt (id TEXT PRIMARY KEY); CREATE TABLE run (id TEXT PRIMARY KEY);")
            .unwrap();
        let rows = |connection: &rusqlite::Connection, into: &str, n: u32| {
            let sql = format!("WITH RECURSIVE n (x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n WHERE x < {n}) {into}");
            connection.execute(&sql, []).unwrap();
        };
        let holds = || logbook.holds_removed(&backup).unwrap();
        assert!(!holds());
        rows(&copy, "INSERT INTO attempt SELECT 'kept ' || x FROM n", 10);
        rows(
            &logbook.connection,
            "INSERT INTO tombstone (id, deleted_at, what) SELECT 'gone ' || x, 0, 'attempt' FROM n",
            1000,
        );
        assert!(!holds(), "more are gone than the backup holds");
        copy.execute("INSERT INTO run VALUES ('gone 700')", []).unwrap();
        assert!(holds());
        copy.execute("DELETE FROM run", []).unwrap();
        rows(&copy, "INSERT INTO attempt SELECT 'more ' || x FROM n", 5000);
        assert!(!holds(), "the backup holds more than are gone");
        copy.execute("INSERT INTO attempt VALUES ('gone 3')", []).unwrap();
        assert!(holds());
    }
}
