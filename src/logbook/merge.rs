//! Two logbooks become one.
//!
//! Merging takes, for every row, the least upper bound of what both sides have, so the order and the number of merges make
//! no difference (see `format_2.rs` for the columns this rests on):
//!
//! * a removal (tombstone) wins over everything;
//! * answers about consent, judgements and attempts are united by their ids;
//! * of what can change, the later change wins, of two at the same time the one with the greater content;
//! * which entries are the same person is united too (`joined.rs`);
//! * what follows from these is made anew (`derive.rs`), also that a practised call counts once however many computers it
//!   was practised on.
//!
//! How long this computer keeps things is not merged: it is this computer's own.
//!
//! The other logbook is not touched: what is merged is a copy, which may be of an older format. Rows of it that cannot be
//! read stay behind and are named (`bad_rows.rs`). Before anything changes, a backup of this logbook is put beside it.
//!
//! # The algebra
//!
//! An edit is stamped later than what it replaces even if the clock was put back. What is shown is derived (`derive.rs`), never merged.
//! So a new column that can change needs a group, and a new table a place in `merge.rs` and in `tests/merge.rs`, which lets random
//! histories on three logbooks meet in every order and grouping (`CABLESIDE_MERGE_SEEDS=N` for more). With the comparison of
//! contents taken out of `later` that test failed (seed 9 of 16). One thing can depend on the way: of a
//! practice file practised on two computers what was said first counts and the rest is held out (`derive::twice_practised`, for good); where the
//! first was removed on one computer before the two met, and on another after, the second counts on the one and not on the other. Files can only be removed once: a recording without consent by
//! all that one merge knows is deleted even if a third computer has a later consent; merging with whoever still has it brings it back.
//!
//! Joined entries (`logbook/joined.rs`): pairs of ids that are only added to. Of those that belong together the first by id stands for the person; after
//! the rows were united, those of the others go to it, and recordings get its id in their names. What must hold for all entries of a person
//! (a guardian, a refusal, being forgotten) is derived from all of them. The random histories join too.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use rusqlite::{Connection, OpenFlags, Transaction};
use uuid::Uuid;

use super::error::{file, sorted};
use super::open::{beside, make_private_folder};
use super::recordings::remove_if_there;
use super::rows::Id;
use super::{
    BadRow, Forgotten, INSTRUCTOR, Logbook, LogbookError, RecordingName, Result, bad_rows, derive, joined, schema,
};

/// What a merge brought and took away.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Merged {
    /// Students who were not here before.
    pub students: usize,
    /// Attempts that were not here before.
    pub attempts: usize,
    /// Runs that were not here before.
    pub runs: usize,
    /// Recordings copied.
    pub recordings: usize,
    /// Students removed here because they were forgotten there.
    pub forgotten: usize,
    /// Attempts removed here because they, or their student, were removed there.
    pub attempts_removed: usize,
    /// Recordings removed here because consent was withdrawn or their time was over there.
    pub recordings_removed: usize,
    /// Recordings that should be there and are in neither folder.
    pub recordings_missing: usize,
    /// Recordings not looked for, because it was stopped; a further merge copies them.
    pub recordings_left: usize,
    /// The students who were not here before, and those removed, by name.
    pub who_came: Vec<String>,
    /// See `who_came`.
    pub who_went: Vec<String>,
    /// Names that now belong to more than one student.
    pub same_names: Vec<String>,
    /// What was cleaned up after students were forgotten.
    pub cleaned: Forgotten,
    /// Rows of the other logbook that cannot be read; they and what belongs to them were not taken over.
    pub stepped_over: Vec<BadRow>,
    /// The backup made before the merge; `None` for a logbook that is not on disk.
    pub backup: Option<PathBuf>,
    /// Attempts held out of the record because the same calls of a practice were practised before on another computer.
    pub twice: usize,
    /// Names of those whose PIN is another one now, or gone, since it was changed later there.
    pub pins_changed: Vec<String>,
    /// Names of those who are instructors here from now on.
    pub new_instructors: Vec<String>,
    /// What did not succeed, as sentences; a further merge tries again.
    pub problems: Vec<String>,
}

/// More than half an hour of the largest form the program writes.
const LARGEST_RECORDING: u64 = 200_000_000;

/// In the folder of the logbook, while a merge goes on.
pub(super) const MARK: &str = ".merging-";

/// What the name of the backup before a merge ends in.
pub(super) const BACKUP: &str = ".before-merge.backup";

/// Who may do what, as far as a merge could change it.
struct Rights {
    name: String,
    instructor: bool,
    pin: Option<String>,
}

/// A private copy of the other logbook, removed when it is dropped.
struct Copy {
    folder: PathBuf,
    database: PathBuf,
}

impl Drop for Copy {
    fn drop(&mut self) {
        // What cannot be removed now is removed by the next merge, or by forgetting.
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

impl Logbook {
    /// Takes what is in another logbook into this one. `other_recordings` is the folder of its recordings.
    pub fn merge(&mut self, other: &Path, other_recordings: &Path) -> Result<Merged> {
        self.merge_telling(other, other_recordings, &mut |_, _| true)
    }

    /// The same. `each` is told how many of how many recordings were looked for, and says whether to go on.
    pub fn merge_telling(
        &mut self,
        other: &Path,
        other_recordings: &Path,
        each: &mut dyn FnMut(usize, usize) -> bool,
    ) -> Result<Merged> {
        let (mut merged, unwanted) = self.merge_database(other, true)?;
        self.merge_files(&mut merged, &unwanted, other_recordings, each)?;
        if merged.forgotten > 0 {
            self.clean_up(&mut merged.cleaned);
        }
        merged.same_names = self.same_names()?;
        Ok(merged)
    }

    /// What [`Logbook::merge`] would bring and take away, but for the files: it is done, counted, and undone again. Recordings
    /// are not counted.
    pub fn merge_foreseen(&mut self, other: &Path) -> Result<Merged> {
        Ok(self.merge_database(other, false)?.0)
    }

    /// Also gives the recordings whose rows went. Without `keep` nothing stays changed.
    fn merge_database(&mut self, other: &Path, keep: bool) -> Result<(Merged, Vec<RecordingName>)> {
        if self.read_only {
            return Err(LogbookError::ReadOnly {
                path: self.path.clone(),
            });
        }
        let same = |a: &Path, b: &Path| matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b);
        if same(&self.path, other) {
            return Err(LogbookError::Invalid {
                why: "a logbook cannot be merged into itself; name the other one".to_owned(),
            });
        }
        // From here on one merge at a time: what another one left is not in use any more.
        let transaction = self.write_and_read("merge")?;
        for old in beside(&self.path, MARK) {
            let _ = std::fs::remove_dir_all(old);
        }
        let (copy, stepped_over) = self.copy_of(other).map_err(LogbookError::about_the_other)?;
        let backup = if keep { self.backup_before_merge()? } else { None };
        let Some(text) = copy.database.to_str() else {
            return Err(LogbookError::Invalid {
                why: "the logbook's path is not valid Unicode".to_owned(),
            });
        };
        self.connection
            .execute("ATTACH DATABASE ?1 AS other", [text])
            .map_err(self.sorted("open the other logbook"))?;
        let merged = self.merge_rows(transaction, keep);
        self.connection
            .execute_batch("DETACH DATABASE other")
            .map_err(self.sorted("close the other logbook"))?;
        let (mut merged, unwanted) = merged?;
        drop(copy);
        merged.stepped_over = stepped_over;
        merged.backup = backup;
        Ok((merged, unwanted))
    }

    /// A copy in the newest format, beside this logbook: its folder is as private as this one's.
    ///
    /// Rows that cannot be read are taken out of it; what they were comes with it.
    fn copy_of(&self, other: &Path) -> Result<(Copy, Vec<BadRow>)> {
        // Nothing is written, but one that may only read takes the journal of a program just done for one left behind.
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let path = other.to_path_buf();
        if let Some(why) = crate::files::no_file(other).map(str::to_owned) {
            return Err(LogbookError::OtherNotALogbook { why, path });
        }
        let mut connection = Connection::open_with_flags(other, flags).map_err(|e| sorted(other, "open", e))?;
        let found = schema::look(&mut connection).map_err(|e| sorted(other, "open", e))?;
        if found.format == 0 || found.application_id != schema::APPLICATION_ID {
            let why = "it is another program's database, or empty".to_owned();
            return Err(LogbookError::OtherNotALogbook { why, path });
        }
        let known = i64::try_from(schema::MIGRATIONS.len()).unwrap_or(i64::MAX);
        if found.format > known {
            return Err(LogbookError::Newer {
                found: found.format,
                known,
                path: other.to_path_buf(),
            });
        }
        let sort = |e| sorted(other, "look at the tables", e);
        connection.pragma_update(None, "trusted_schema", "OFF").map_err(sort)?;
        let mut right = Connection::open_in_memory().map_err(sort)?;
        let migrations = usize::try_from(found.format).unwrap_or_default();
        schema::migrate(&mut right, Path::new(":memory:"), &schema::MIGRATIONS[..migrations])?;
        if let Err(why) = bad_rows::same_tables(&connection, &right).map_err(sort)? {
            return Err(LogbookError::OtherNotALogbook {
                why,
                path: other.to_path_buf(),
            });
        }
        let folder = if self.path.is_file() {
            let mut name = self.path.clone().into_os_string();
            name.push(format!("{MARK}{}", Uuid::new_v4()));
            PathBuf::from(name)
        } else {
            // A logbook in memory.
            std::env::temp_dir().join(format!("cableside{MARK}{}", Uuid::new_v4()))
        };
        make_private_folder(&folder).map_err(file("make a folder for the merge", &folder))?;
        let copy = Copy {
            database: folder.join("other.sqlite"),
            folder,
        };
        let text = copy.database.to_string_lossy().into_owned();
        connection
            .execute("VACUUM INTO ?1", [text])
            .map_err(|e| sorted(other, "copy the other logbook", e).beside(&self.path))?;
        // Brings it up to date.
        let mut opened = Self::open(&copy.database, &copy.folder).map_err(|e| e.beside(&self.path))?;
        let stepped_over = bad_rows::clear(&mut opened.connection, other)?;
        drop(opened);
        Ok((copy, stepped_over))
    }

    /// The latest merge can be taken back by putting this file in the logbook's place.
    fn backup_before_merge(&self) -> Result<Option<PathBuf>> {
        if !self.path.is_file() {
            return Ok(None);
        }
        let mut name = self.path.clone().into_os_string();
        name.push(BACKUP);
        let target = PathBuf::from(name);
        schema::back_up(&self.path, &target)?;
        Ok(Some(target))
    }

    /// The rows, in one transaction, which is taken back without `keep`. Also gives the recordings whose rows went.
    fn merge_rows(&self, transaction: Transaction<'_>, keep: bool) -> Result<(Merged, Vec<RecordingName>)> {
        let sort = self.sorted("merge");
        let rights = self.rights()?;
        let merge = || -> rusqlite::Result<(Merged, Vec<RecordingName>)> {
            let mut merged = Merged::default();
            let before = students_by_id(&transaction)?;
            let unwanted = removals(&transaction, &mut merged)?;
            people(&transaction)?;
            practice(&transaction, &mut merged)?;
            joined::gather(&transaction)?;
            let after = students_by_id(&transaction)?;
            let only_in = |one: &BTreeMap<String, String>, other: &BTreeMap<String, String>| -> Vec<String> {
                let only = one.iter().filter(|(id, _)| !other.contains_key(*id));
                only.map(|(_, name)| name.clone()).collect()
            };
            merged.who_came = only_in(&after, &before);
            merged.who_went = only_in(&before, &after);
            merged.students = merged.who_came.len();
            derive::consent(&transaction, None)?;
            derive::overrules(&transaction, None)?;
            merged.twice = derive::twice_practised(&transaction)?;
            Ok((merged, unwanted))
        };
        let mut done = merge().map_err(&sort)?;
        for (id, now) in self.rights()? {
            let before = rights.get(&id);
            if before.is_some_and(|b| b.pin != now.pin) {
                done.0.pins_changed.push(now.name.clone());
            }
            if now.instructor && before.is_none_or(|b| !b.instructor) {
                done.0.new_instructors.push(now.name);
            }
        }
        if keep {
            transaction.commit().map_err(&sort)?;
        } else {
            done.0.same_names = self.same_names()?;
            transaction.rollback().map_err(&sort)?;
        }
        Ok(done)
    }

    /// Recordings: those of removed rows go, those not allowed any more go, those that are missing are copied.
    fn merge_files(
        &self,
        merged: &mut Merged,
        unwanted: &[RecordingName],
        theirs: &Path,
        each: &mut dyn FnMut(usize, usize) -> bool,
    ) -> Result<()> {
        self.rename_recordings_of_joined()?;
        let (removed, problems) = self.remove_recordings_not_kept(unwanted)?;
        merged.recordings_removed += removed;
        merged.problems.extend(problems);
        let names = self.recorded("recording IS NOT NULL")?;
        for (n, name) in names.iter().copied().enumerate() {
            if !each(n, names.len()) {
                merged.recordings_left = names.len() - n;
                break;
            }
            let target = name.path(&self.recordings);
            if target.exists() {
                continue;
            }
            let source = self.theirs(name, theirs)?;
            // Only what really lies there: a link could lead to any file of whoever merges.
            match std::fs::symlink_metadata(&source) {
                Ok(found) if found.is_file() && found.len() <= LARGEST_RECORDING => {}
                Ok(_) => {
                    merged.problems.push(format!(
                        "a recording is no file of its own, or larger than {} MB, and was not copied: {}",
                        LARGEST_RECORDING / 1_000_000,
                        source.display()
                    ));
                    continue;
                }
                Err(_) => {
                    merged.recordings_missing += 1;
                    continue;
                }
            }
            let copied = make_private_folder(&self.recordings).and_then(|()| {
                let mut copy = name.copy_beside(&self.recordings)?;
                std::io::copy(&mut std::fs::File::open(&source)?, &mut copy)?;
                copy.replace()
            });
            match copied {
                Ok(()) => merged.recordings += 1,
                Err(e) => merged
                    .problems
                    .push(format!("a recording could not be copied ({e}): {}", source.display())),
            }
        }
        Ok(())
    }

    /// Where a recording lies in the other folder: there it may have the name of another entry of the same person.
    fn theirs(&self, name: RecordingName, folder: &Path) -> Result<PathBuf> {
        let entries = self.entries_of(name.student())?.into_iter();
        let mut places = entries.map(|student| RecordingName::new(student, name.attempt()).path(folder));
        Ok(places
            .find(|place| place.symlink_metadata().is_ok())
            .unwrap_or_else(|| name.path(folder)))
    }

    /// Removes the recordings that may not be kept, and those named. Returns how many of the first kind there were, and
    /// what could not be removed.
    pub(super) fn remove_recordings_not_kept(&self, unwanted: &[RecordingName]) -> Result<(usize, Vec<String>)> {
        let (mut removed, mut problems) = (0, Vec::new());
        let not_kept = self.recorded("recording IS NULL")?;
        for (name, counts) in unwanted
            .iter()
            .map(|n| (n, false))
            .chain(not_kept.iter().map(|n| (n, true)))
        {
            let path = name.path(&self.recordings);
            if !path.exists() {
                continue;
            }
            match remove_if_there(&path) {
                Ok(()) => removed += usize::from(counts),
                Err(e) => problems.push(format!("a recording is still there ({e})")),
            }
        }
        Ok((removed, problems))
    }

    fn recorded(&self, condition: &str) -> Result<Vec<RecordingName>> {
        let read = || -> rusqlite::Result<Vec<RecordingName>> {
            let sql = format!(
                "SELECT student_id, id FROM attempt WHERE recorded = 1 AND student_id IS NOT NULL AND {condition}"
            );
            let mut statement = self.connection.prepare(&sql)?;
            statement
                .query_map([], |r| {
                    Ok(RecordingName::new(r.get::<_, Id>(0)?.0, r.get::<_, Id>(1)?.0))
                })?
                .collect()
        };
        read().map_err(self.sorted("list the recordings"))
    }

    fn rights(&self) -> Result<BTreeMap<String, Rights>> {
        let read = || -> rusqlite::Result<BTreeMap<String, Rights>> {
            let mut statement = self
                .connection
                .prepare("SELECT id, name, role IS ?1, pin FROM student")?;
            let row = |r: &rusqlite::Row<'_>| {
                let rights = Rights {
                    name: r.get(1)?,
                    instructor: r.get(2)?,
                    pin: r.get(3)?,
                };
                Ok((r.get(0)?, rights))
            };
            statement.query_map([INSTRUCTOR], row)?.collect()
        };
        read().map_err(self.sorted("look at the roles"))
    }

    fn same_names(&self) -> Result<Vec<String>> {
        let students = self.students()?;
        let mut names: Vec<String> = students
            .windows(2)
            .filter(|pair| pair[0].name.to_lowercase() == pair[1].name.to_lowercase())
            .map(|pair| pair[1].name.clone())
            .collect();
        names.dedup();
        Ok(names)
    }
}

fn students_by_id(transaction: &Transaction<'_>) -> rusqlite::Result<BTreeMap<String, String>> {
    let mut statement = transaction.prepare_cached("SELECT id, name FROM main.student")?;
    statement.query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?.collect()
}

const GONE: &str = "(SELECT id FROM tombstone)";

/// Tombstones, and what they take away.
fn removals(transaction: &Transaction<'_>, merged: &mut Merged) -> rusqlite::Result<Vec<RecordingName>> {
    transaction.execute(
        "INSERT INTO tombstone (id, deleted_at, what) SELECT id, deleted_at, what FROM other.tombstone WHERE TRUE
         ON CONFLICT (id) DO UPDATE SET deleted_at = min(deleted_at, excluded.deleted_at)",
        [],
    )?;
    // Who belongs together, and who is removed by that.
    transaction.execute(
        "INSERT INTO joined (id, into_id, at) SELECT id, into_id, at FROM other.joined WHERE TRUE
         ON CONFLICT (id, into_id) DO UPDATE SET at = min(at, excluded.at)",
        [],
    )?;
    transaction.execute(
        "INSERT INTO went (id, profile_at, needs_guardian) SELECT id, profile_at, needs_guardian FROM other.went WHERE TRUE
         ON CONFLICT (id) DO UPDATE SET profile_at = excluded.profile_at, needs_guardian = excluded.needs_guardian
         WHERE (excluded.profile_at, excluded.needs_guardian) > (went.profile_at, went.needs_guardian)",
        [],
    )?;
    joined::removed(transaction)?;
    let mut recordings = transaction.prepare(&format!(
        "SELECT student_id, id FROM attempt WHERE recorded = 1 AND (id IN {GONE} OR student_id IN {GONE})"
    ))?;
    let unwanted = recordings
        .query_map([], |r| {
            Ok(RecordingName::new(r.get::<_, Id>(0)?.0, r.get::<_, Id>(1)?.0))
        })?
        .collect::<rusqlite::Result<Vec<_>>>()?;
    merged.attempts_removed = transaction.execute(
        &format!("DELETE FROM attempt WHERE id IN {GONE} OR student_id IN {GONE}"),
        [],
    )?;
    transaction.execute(
        &format!("DELETE FROM run WHERE id IN {GONE} OR student_id IN {GONE}"),
        [],
    )?;
    transaction.execute(&format!("DELETE FROM class WHERE id IN {GONE}"), [])?;
    merged.forgotten = transaction.execute(&format!("DELETE FROM student WHERE id IN {GONE}"), [])?;
    Ok(unwanted)
}

/// Students, what they answered, classes.
fn people(transaction: &Transaction<'_>) -> rusqlite::Result<()> {
    // The consent that counts is derived once the answers are there.
    unite(
        transaction,
        "student",
        "id, name, language, role, needs_guardian, profile_at, pin, pin_at, keep_recordings_days, keep_attempts_days, \
         keep_at, created_at, changed_at",
        "TRUE",
    )?;
    later(
        transaction,
        "student",
        "profile_at",
        &["name", "language", "role", "needs_guardian"],
    )?;
    later(transaction, "student", "pin_at", &["pin"])?;
    later(
        transaction,
        "student",
        "keep_at",
        &["keep_recordings_days", "keep_attempts_days"],
    )?;
    later(transaction, "student", "changed_at", &[])?;
    transaction.execute(
        "INSERT OR IGNORE INTO consent_answer (student_id, at, given, by)
         SELECT student_id, at, given, by FROM other.consent_answer WHERE student_id IN (SELECT id FROM student)",
        [],
    )?;
    unite(transaction, "class", "id, name, created_at, changed_at", "TRUE")?;
    later(transaction, "class", "changed_at", &["name"])?;
    transaction.execute(
        "INSERT INTO class_member (class_id, student_id, member, changed_at)
         SELECT class_id, student_id, member, changed_at FROM other.class_member
         WHERE class_id IN (SELECT id FROM class) AND student_id IN (SELECT id FROM student)
         ON CONFLICT (class_id, student_id) DO UPDATE SET member = excluded.member, changed_at = excluded.changed_at
         WHERE (excluded.changed_at, excluded.member) > (class_member.changed_at, class_member.member)",
        [],
    )?;
    Ok(())
}

/// Runs, attempts, judgements.
fn practice(transaction: &Transaction<'_>, merged: &mut Merged) -> rusqlite::Result<()> {
    const HERE: &str = "(o.student_id IS NULL OR o.student_id IN (SELECT id FROM student))";
    merged.runs = unite(
        transaction,
        "run",
        "id, kind, student_id, class_id, started_at, utc_offset_seconds, site, site_version, role, seed, ending, ended_at, \
         changed_at, situation, course, record",
        HERE,
    )?;
    later(transaction, "run", "changed_at", &["ending", "ended_at", "record"])?;

    let before: i64 = transaction.query_row("SELECT coalesce(max(number), 0) FROM attempt", [], |r| r.get(0))?;
    merged.attempts = unite(
        transaction,
        "attempt",
        "id, student_id, started_at, utc_offset_seconds, site, site_version, step, kind, done, run_id, run_position, role, \
         turn_id, turn_attempt, outcome, score, held_out, held_out_at, recorded, recording_removed_at, model, model_sha1, \
         program_version, created_at, changed_at, situation, timings, transcript, evidence",
        HERE,
    )?;
    // New attempts have the numbers above all that were here.
    transaction.execute(
        "INSERT INTO element_verdict (attempt, position, element, verdict, heard, margin, begin_seconds, end_seconds, critical)
         SELECT mine.number, v.position, v.element, v.verdict, v.heard, v.margin, v.begin_seconds, v.end_seconds, v.critical
         FROM attempt AS mine CROSS JOIN other.attempt AS o ON o.id = mine.id
            CROSS JOIN other.element_verdict AS v ON v.attempt = o.number
         WHERE mine.number > ?1",
        [before],
    )?;
    later(transaction, "attempt", "held_out_at", &["held_out"])?;
    later(transaction, "attempt", "changed_at", &[])?;
    transaction.execute(
        "UPDATE attempt SET recording_removed_at = o.recording_removed_at
         FROM other.attempt AS o
         WHERE o.id = attempt.id AND o.recording_removed_at IS NOT NULL
            AND o.recording_removed_at < coalesce(attempt.recording_removed_at, o.recording_removed_at + 1)",
        [],
    )?;
    transaction.execute(
        "INSERT OR IGNORE INTO overrule (id, attempt_id, element, verdict, by, at, reason)
         SELECT id, attempt_id, element, verdict, iif(by IN (SELECT id FROM student), by, NULL), at, reason
         FROM other.overrule WHERE attempt_id IN (SELECT id FROM attempt)",
        [],
    )?;
    Ok(())
}

/// Takes over the rows that are not here and were not removed. Returns how many.
fn unite(transaction: &Transaction<'_>, table: &str, columns: &str, condition: &str) -> rusqlite::Result<usize> {
    // Row by row in the other's order, so that local numbers follow the time of storing.
    transaction.execute(
        &format!(
            "INSERT INTO main.{table} ({columns}) SELECT {columns} FROM other.{table} AS o
             WHERE o.id NOT IN (SELECT id FROM main.{table}) AND o.id NOT IN {GONE} AND {condition}
             ORDER BY o.rowid"
        ),
        [],
    )
}

/// Takes over a group of columns where the other's is the later one, of two at the same time the one with the greater
/// content. `quote` makes every value, none too, comparable text.
fn later(transaction: &Transaction<'_>, table: &str, stamp: &str, columns: &[&str]) -> rusqlite::Result<()> {
    let set: Vec<String> = columns.iter().chain([&stamp]).map(|c| format!("{c} = o.{c}")).collect();
    let rank = |row: &str| {
        let values: Vec<String> = columns.iter().map(|c| format!("quote({row}.{c})")).collect();
        [&[format!("{row}.{stamp}")], &values[..]].concat().join(", ")
    };
    let (set, theirs, mine) = (set.join(", "), rank("o"), rank(table));
    let sql = if columns.is_empty() {
        format!("UPDATE main.{table} SET {set} FROM other.{table} AS o WHERE o.id = {table}.id AND {theirs} > {mine}")
    } else {
        format!(
            "UPDATE main.{table} SET {set} FROM other.{table} AS o WHERE o.id = {table}.id AND ({theirs}) > ({mine})"
        )
    };
    transaction.execute(&sql, []).map(|_| ())
}
