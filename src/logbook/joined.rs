//! Two entries of one person become one: a student at two computers is two students until somebody says so.
//!
//! What was said is kept as a pair of ids for good. Of all entries that belong together by these pairs the first by id stands
//! for the person: no merge can make an entry that went stand for it again, so two logbooks that are merged agree, whoever
//! joined what first. All rows of the others go to it, and what an entry answered about recordings counts for the person.
//! Which name, role and PIN stay is the user's choice, and an edit like any other. Who is forgotten is forgotten under every
//! entry.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use jiff::Timestamp;
use rusqlite::{Connection, Transaction};
use uuid::Uuid;

use super::error::file;
use super::rows::{Id, Millis};
use super::{Logbook, LogbookError, RecordingName, Result, Student, derive};

/// What became of two entries.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Joined {
    /// The entry that stands for the person now.
    pub student: Student,
    /// Attempts that were the other's.
    pub attempts: usize,
    /// Recordings removed since one of the two entries refused them.
    pub recordings_removed: usize,
    /// What did not succeed, as sentences; the next start tries again.
    pub problems: Vec<String>,
}

/// Which entries belong together.
pub(super) struct Together(Vec<Group>);

/// Entries of one person.
pub(super) struct Group {
    /// The one that stands for all.
    pub stays: String,
    /// The others.
    pub went: BTreeSet<String>,
}

impl Together {
    pub fn read(connection: &Connection) -> rusqlite::Result<Self> {
        let mut statement = connection.prepare_cached("SELECT id, into_id FROM joined")?;
        let pairs = statement
            .query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?
            .collect::<rusqlite::Result<Vec<(String, String)>>>()?;
        Ok(Self::of(&pairs))
    }

    fn of(pairs: &[(String, String)]) -> Self {
        let mut groups: Vec<BTreeSet<String>> = Vec::new();
        for (id, into) in pairs {
            let (mut one, rest): (Vec<_>, Vec<_>) =
                groups.into_iter().partition(|g| g.contains(id) || g.contains(into));
            groups = rest;
            let mut united: BTreeSet<String> = [id.clone(), into.clone()].into();
            for mut group in one.drain(..) {
                united.append(&mut group);
            }
            groups.push(united);
        }
        let done = groups.into_iter().filter_map(|mut all| {
            let stays = all.pop_first()?;
            Some(Group { stays, went: all })
        });
        Self(done.collect())
    }

    /// Everybody's other entry, to the one that stands for it.
    fn by_id(&self) -> BTreeMap<&str, &str> {
        let mut all = BTreeMap::new();
        for group in &self.0 {
            all.extend(group.went.iter().map(|id| (id.as_str(), group.stays.as_str())));
        }
        all
    }
}

/// Whoever was removed for good is removed under every entry.
pub(super) fn removed(transaction: &Transaction<'_>) -> rusqlite::Result<()> {
    for group in Together::read(transaction)?.0 {
        let all: Vec<&String> = group.went.iter().chain([&group.stays]).collect();
        let mut at: Option<i64> = None;
        for id in &all {
            let found: Option<i64> = transaction
                .prepare_cached("SELECT max(deleted_at) FROM tombstone WHERE id = ?1")?
                .query_row([id], |r| r.get(0))?;
            at = [at, found].into_iter().flatten().min();
        }
        if let Some(at) = at {
            for id in all {
                transaction
                    .prepare_cached(
                        "INSERT OR IGNORE INTO tombstone (id, deleted_at, what) VALUES (?1, ?2, 'student')",
                    )?
                    .execute((id, at))?;
            }
        }
    }
    Ok(())
}

/// Gives all rows of entries that went to the one that stands for them.
pub(super) fn gather(transaction: &Transaction<'_>) -> rusqlite::Result<()> {
    for group in Together::read(transaction)?.0 {
        for id in &group.went {
            one(transaction, id, &group.stays)?;
        }
        let mut guardian = false;
        let stays_at: Option<i64> = transaction
            .prepare_cached("SELECT max(profile_at) FROM student WHERE id = ?1")?
            .query_row([&group.stays], |r| r.get(0))?;
        for id in &group.went {
            guardian |= transaction
                .prepare_cached(
                    "SELECT EXISTS (SELECT 1 FROM went WHERE id = ?1 AND needs_guardian AND profile_at > ?2)",
                )?
                .query_row((id, stays_at), |r| r.get::<_, bool>(0))?;
        }
        transaction
            .prepare_cached("UPDATE student SET guardian_by_joining = ?2 WHERE id = ?1")?
            .execute((&group.stays, guardian))?;
    }
    Ok(())
}

fn one(transaction: &Transaction<'_>, id: &str, stays: &str) -> rusqlite::Result<()> {
    let here: bool = transaction
        .prepare_cached("SELECT EXISTS (SELECT 1 FROM student WHERE id = ?1)")?
        .query_row([id], |r| r.get(0))?;
    if !here {
        return Ok(());
    }
    transaction.execute(
        "INSERT INTO went (id, profile_at, needs_guardian)
         SELECT id, profile_at, needs_guardian FROM student WHERE id = ?1
         ON CONFLICT (id) DO UPDATE SET profile_at = excluded.profile_at, needs_guardian = excluded.needs_guardian
         WHERE (excluded.profile_at, excluded.needs_guardian) > (went.profile_at, went.needs_guardian)",
        [id],
    )?;
    // Only where the row of the one that stays could not be read and stayed behind in a merge.
    transaction.execute(
        "INSERT INTO student (id, name, language, needs_guardian, profile_at, created_at, changed_at)
         SELECT ?2, name, language, needs_guardian, profile_at, created_at, changed_at FROM student
         WHERE id = ?1 AND NOT EXISTS (SELECT 1 FROM student WHERE id = ?2)",
        [id, stays],
    )?;
    transaction.execute(
        "INSERT OR IGNORE INTO consent_answer (student_id, at, given, by)
         SELECT ?2, at, given, by FROM consent_answer WHERE student_id = ?1",
        [id, stays],
    )?;
    transaction.execute(
        "INSERT INTO class_member (class_id, student_id, member, changed_at)
         SELECT class_id, ?2, member, changed_at FROM class_member WHERE student_id = ?1
         ON CONFLICT (class_id, student_id) DO UPDATE SET member = excluded.member, changed_at = excluded.changed_at
         WHERE (excluded.changed_at, excluded.member) > (class_member.changed_at, class_member.member)",
        [id, stays],
    )?;
    // The name of a recording says whose it is; `derive::consent` makes it anew where it may be kept.
    transaction.execute(
        "UPDATE attempt SET student_id = ?2, recording = NULL WHERE student_id = ?1",
        [id, stays],
    )?;
    transaction.execute("UPDATE run SET student_id = ?2 WHERE student_id = ?1", [id, stays])?;
    transaction.execute("UPDATE overrule SET by = ?2 WHERE by = ?1", [id, stays])?;
    transaction.execute(
        "UPDATE element_verdict SET overruled_by = ?2 WHERE overruled_by = ?1",
        [id, stays],
    )?;
    transaction.execute("UPDATE student SET consent = NULL WHERE id = ?1", [id])?;
    transaction.execute("DELETE FROM student WHERE id = ?1", [id])?;
    Ok(())
}

impl Logbook {
    /// Joins one entry into another of the same person: what the first has goes to the second, and the first is gone. Every
    /// computer whose logbook is merged later learns of it.
    pub fn join_students(&mut self, from: Uuid, into: Uuid, now: Timestamp) -> Result<Joined> {
        let (gone, stays) = (self.student(from)?, self.student(into)?);
        let invalid = |why: String| Err(LogbookError::Invalid { why });
        if from == into {
            return invalid(format!("{} is one entry already; name the other one", stays.name));
        }
        if gone.is_instructor() || gone.has_pin {
            return invalid(format!(
                "{} is an instructor or has a PIN, which would be lost; take both away first, or join the other way round",
                gone.name
            ));
        }
        let transaction = self.write("join two entries")?;
        let join = || -> rusqlite::Result<usize> {
            transaction.execute(
                "INSERT OR IGNORE INTO joined (id, into_id, at) VALUES (?1, ?2, ?3)",
                (Id(from), Id(into), Millis(now)),
            )?;
            // The first by id stands for both, with what the one that the user wants to stay says of the person; and as
            // careful as the more careful of the two.
            let first = from.to_string().min(into.to_string());
            transaction.execute(
                "UPDATE student SET (name, language, role, needs_guardian, pin) = (
                        SELECT name, language, role, needs_guardian OR ?3, pin FROM student WHERE id = ?2),
                    profile_at = max(?4, 1 + (SELECT max(profile_at) FROM student WHERE id IN (?2, ?5))),
                    pin_at = max(?4, 1 + (SELECT max(pin_at) FROM student WHERE id IN (?2, ?5))),
                    changed_at = max(?4, changed_at)
                 WHERE id = ?1",
                (&first, Id(into), gone.needs_guardian, Millis(now), Id(from)),
            )?;
            let shorter = |a: Option<u32>, b: Option<u32>| [a, b].into_iter().flatten().min();
            transaction.execute(
                "UPDATE student SET keep_recordings_days = ?2, keep_attempts_days = ?3,
                    keep_at = max(?4, 1 + (SELECT max(keep_at) FROM student WHERE id IN (?5, ?6)))
                 WHERE id = ?1",
                (
                    &first,
                    shorter(gone.keep.recordings_days, stays.keep.recordings_days),
                    shorter(gone.keep.attempts_days, stays.keep.attempts_days),
                    Millis(now),
                    Id(from),
                    Id(into),
                ),
            )?;
            let attempts: i64 =
                transaction.query_row("SELECT count(*) FROM attempt WHERE student_id = ?1", [Id(from)], |r| {
                    r.get(0)
                })?;
            gather(&transaction)?;
            derive::consent(&transaction, None)?;
            derive::overrules(&transaction, None)?;
            transaction.commit()?;
            Ok(usize::try_from(attempts).unwrap_or_default())
        };
        let attempts = join().map_err(self.sorted("join two entries"))?;
        let mut joined = Joined {
            student: self.student(self.now_called(into)?)?,
            attempts,
            recordings_removed: 0,
            problems: Vec::new(),
        };
        if let Err(e) = self.rename_recordings_of_joined() {
            joined.problems.push(e.to_string());
        }
        if joined.student.recording_allowed() {
            let (removed, problems) = self.remove_recordings_not_kept(&[])?;
            joined.recordings_removed = removed;
            joined.problems.extend(problems);
        } else {
            joined.recordings_removed = self.remove_recordings_of(joined.student.id)?;
        }
        Ok(joined)
    }

    /// The entry that stands for this one now.
    pub fn now_called(&self, id: Uuid) -> Result<Uuid> {
        let together = Together::read(&self.connection).map_err(self.sorted("read who was joined"))?;
        let found = together
            .by_id()
            .get(id.to_string().as_str())
            .copied()
            .map(Uuid::try_parse);
        Ok(found.and_then(std::result::Result::ok).unwrap_or(id))
    }

    /// All entries of this person, this one too.
    pub(super) fn entries_of(&self, id: Uuid) -> Result<Vec<Uuid>> {
        let together = Together::read(&self.connection).map_err(self.sorted("read who was joined"))?;
        let text = id.to_string();
        let mut all = vec![id];
        for group in together.0 {
            if group.stays == text || group.went.contains(&text) {
                let others = group.went.iter().chain([&group.stays]).filter(|other| **other != text);
                all.extend(others.filter_map(|other| Uuid::try_parse(other).ok()));
            }
        }
        Ok(all)
    }

    /// Recordings have the id of their student in their names: those of entries that went get that of the one that stays.
    pub(super) fn rename_recordings_of_joined(&self) -> Result<()> {
        let together = Together::read(&self.connection).map_err(self.sorted("read who was joined"))?;
        let stays = together.by_id();
        if stays.is_empty() || self.read_only {
            return Ok(());
        }
        for path in self.recording_files()? {
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            let Ok(old) = name.parse::<RecordingName>() else {
                continue;
            };
            let text = old.student().to_string();
            let Some(new) = stays.get(text.as_str()) else { continue };
            let target = self.recordings.join(name.replacen(&text, new, 1));
            put_over(&path, &target).map_err(file("rename a recording", &path))?;
        }
        Ok(())
    }

    /// The students that had another entry before.
    pub(super) fn joined_pairs(&self) -> Result<Vec<(Uuid, Uuid)>> {
        let read = || -> rusqlite::Result<Vec<(Uuid, Uuid)>> {
            let mut statement = self
                .connection
                .prepare("SELECT id, into_id FROM joined ORDER BY id, into_id")?;
            self.readable("joining", statement.query([])?, |r| {
                Ok((r.get::<_, Id>(0)?.0, r.get::<_, Id>(1)?.0))
            })
        };
        read().map_err(self.sorted("read who was joined"))
    }

    pub(super) fn set_guardian_stamp(transaction: &Transaction<'_>, id: Uuid) -> rusqlite::Result<()> {
        // Later than what the entries that went said, so that this is what counts.
        for group in Together::read(transaction)?.0 {
            if group.stays == id.to_string() {
                for went in group.went {
                    transaction.execute(
                        "UPDATE student SET profile_at = max(profile_at, 1 + coalesce((SELECT profile_at FROM went WHERE id = ?2), 0))
                         WHERE id = ?1",
                        (Id(id), went),
                    )?;
                }
            }
        }
        gather(transaction)
    }
}

/// The same recording cannot be two different things: what is under the new name already is as good.
fn put_over(from: &Path, to: &Path) -> std::io::Result<()> {
    match std::fs::rename(from, to) {
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(()),
        other => other,
    }
}

/// The id that a student has in this logbook now, or why there is none.
pub(super) fn stands_for(logbook: &Logbook, student: Option<Uuid>) -> Result<Option<Uuid>> {
    match student {
        None => Ok(None),
        Some(id) => match logbook.student(id) {
            Err(LogbookError::NoSuchStudent { .. }) => Ok(Some(logbook.now_called(id)?)),
            _ => Ok(Some(id)),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn groups(pairs: &[(&str, &str)]) -> Vec<(String, Vec<String>)> {
        let pairs: Vec<(String, String)> = pairs.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect();
        let mut all: Vec<_> = Together::of(&pairs)
            .0
            .into_iter()
            .map(|g| (g.stays, g.went.into_iter().collect()))
            .collect();
        all.sort();
        all
    }

    #[test]
    fn who_stands_for_all_does_not_depend_on_the_order() {
        let of = |stays: &str, went: &[&str]| (stays.to_owned(), went.iter().map(|w| (*w).to_owned()).collect());
        assert_eq!(groups(&[("b", "a")]), [of("a", &["b"])]);
        assert_eq!(groups(&[("a", "b"), ("b", "a")]), [of("a", &["b"])]);
        let chain = [("a", "b"), ("c", "d"), ("d", "b")];
        for order in [[0, 1, 2], [2, 1, 0], [1, 2, 0], [0, 2, 1]] {
            assert_eq!(groups(&order.map(|i| chain[i])), [of("a", &["b", "c", "d"])]);
        }
        assert_eq!(groups(&[("y", "x"), ("a", "b")]), [of("a", &["b"]), of("x", &["y"])]);
        assert_eq!(groups(&[]), []);
    }
}
