//! Tables, indexes and triggers of the database, and how an older file becomes a newer one.
//!
//! The format number is SQLite's `user_version`. Migration `n` leads from format `n` to `n + 1`, all that are missing in one
//! transaction; a published migration is never edited, a change is a new one at the end.
//!
//! Times are whole milliseconds since 1970-01-01 UTC, ids are UUIDs in their usual text form.

use std::path::{Path, PathBuf};

use rusqlite::{Connection, OpenFlags, TransactionBehavior};

use super::error::{file, sorted};
use super::{LogbookError, Result};
use crate::files;

/// Marks a SQLite file as a logbook of this program ("CbLb").
pub(super) const APPLICATION_ID: i32 = 0x4362_4c62;

/// All migrations, oldest first.
pub(super) const MIGRATIONS: &[&str] = &[FORMAT_1, super::format_2::FORMAT_2, super::format_3::FORMAT_3];

/// Large columns stand last, so that a list of attempts need not read over them.
///
/// `attempt.number` and `element_verdict.attempt` are local to this file. The overrule columns are for an instructor
/// (a student row with a role) who judges a verdict anew; the program's own verdict stays beside theirs.
const FORMAT_1: &str = "
CREATE TABLE student (
    id                TEXT PRIMARY KEY NOT NULL,
    name              TEXT NOT NULL,
    language          TEXT,
    role              TEXT,
    consent           TEXT CHECK (consent IN ('given', 'refused')),
    consent_asked_at  INTEGER,
    consent_by        TEXT,
    created_at        INTEGER NOT NULL,
    changed_at        INTEGER NOT NULL
) STRICT;

CREATE TABLE attempt (
    number              INTEGER PRIMARY KEY,
    id                  TEXT NOT NULL UNIQUE,
    student_id          TEXT REFERENCES student (id),
    started_at          INTEGER NOT NULL,
    utc_offset_seconds  INTEGER NOT NULL,
    site                TEXT NOT NULL,
    site_version        TEXT NOT NULL,
    step                TEXT NOT NULL,
    turn_id             TEXT NOT NULL,
    turn_attempt        INTEGER NOT NULL,
    outcome             TEXT NOT NULL,
    score               REAL,
    held_out            INTEGER NOT NULL DEFAULT 0,
    recording           TEXT UNIQUE,
    model               TEXT,
    model_sha1          TEXT,
    program_version     TEXT NOT NULL,
    created_at          INTEGER NOT NULL,
    changed_at          INTEGER NOT NULL,
    situation           TEXT NOT NULL,
    timings             TEXT NOT NULL,
    transcript          TEXT NOT NULL,
    evidence            TEXT NOT NULL
) STRICT;

CREATE INDEX attempt_by_time ON attempt (started_at);
CREATE INDEX attempt_by_student ON attempt (student_id, started_at);
CREATE INDEX attempt_record ON attempt (student_id, held_out, turn_attempt, outcome);
CREATE INDEX attempt_of_turn ON attempt (turn_id, turn_attempt);
CREATE INDEX attempt_with_recording ON attempt (student_id) WHERE recording IS NOT NULL;

CREATE TABLE element_verdict (
    attempt             INTEGER NOT NULL REFERENCES attempt (number) ON DELETE CASCADE,
    position            INTEGER NOT NULL,
    element             TEXT NOT NULL,
    verdict             TEXT NOT NULL,
    heard               TEXT,
    margin              REAL,
    begin_seconds       REAL,
    end_seconds         REAL,
    overruled_verdict   TEXT,
    overruled_by        TEXT REFERENCES student (id) ON DELETE SET NULL,
    overruled_at        INTEGER,
    overruled_reason    TEXT,
    PRIMARY KEY (attempt, element)
) STRICT, WITHOUT ROWID;

CREATE INDEX element_verdict_overruled_by ON element_verdict (overruled_by) WHERE overruled_by IS NOT NULL;

CREATE TABLE tombstone (
    id          TEXT PRIMARY KEY NOT NULL,
    deleted_at  INTEGER NOT NULL
) STRICT;

CREATE TRIGGER recording_needs_consent BEFORE INSERT ON attempt
WHEN NEW.recording IS NOT NULL
    AND NOT EXISTS (SELECT 1 FROM student WHERE id = NEW.student_id AND consent = 'given')
BEGIN SELECT RAISE(ABORT, 'recording without consent'); END;

CREATE TRIGGER recording_still_needs_consent BEFORE UPDATE OF recording, student_id ON attempt
WHEN NEW.recording IS NOT NULL
    AND NOT EXISTS (SELECT 1 FROM student WHERE id = NEW.student_id AND consent = 'given')
BEGIN SELECT RAISE(ABORT, 'recording without consent'); END;

CREATE TRIGGER refusal_needs_recordings_gone BEFORE UPDATE OF consent ON student
WHEN NEW.consent IS NOT 'given'
    AND EXISTS (SELECT 1 FROM attempt WHERE student_id = NEW.id AND recording IS NOT NULL)
BEGIN SELECT RAISE(ABORT, 'recording without consent'); END;

CREATE TRIGGER forgotten_stays_forgotten BEFORE INSERT ON student
WHEN EXISTS (SELECT 1 FROM tombstone WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'student was forgotten'); END;
";

/// What a file says about itself.
pub(super) struct Found {
    /// Format number, 0 for a file that is still empty.
    pub format: i64,
    pub application_id: i32,
    /// Tables, indexes and the like.
    pub objects: i64,
}

/// Reads the marks of a database, all in one moment (another program may just be creating it).
pub(super) fn look(connection: &mut Connection) -> rusqlite::Result<Found> {
    let transaction = connection.transaction()?;
    // Counting comes first: it takes the lock under which the other two are read.
    let objects = transaction.query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get(0))?;
    let format = transaction.pragma_query_value(None, "user_version", |r| r.get(0))?;
    let application_id = transaction.pragma_query_value(None, "application_id", |r| r.get(0))?;
    Ok(Found {
        format,
        application_id,
        objects,
    })
}

/// Brings a database from the format it has to the newest of `migrations`, in one transaction: several programs may open
/// the same old or new file at once, and only the first one changes it. Before a file that holds something is changed, a
/// copy is put beside it (see [`backup_name`]), under the same lock. Foreign keys are off meanwhile and on afterwards: a
/// table can only be built anew without them.
pub(super) fn migrate(connection: &mut Connection, path: &Path, migrations: &[&str]) -> Result<()> {
    let sort = |e| sorted(path, "bring the format up to date", e);
    // Inside a transaction this would do nothing.
    connection.pragma_update(None, "foreign_keys", "OFF").map_err(sort)?;
    let migrated = migrate_alone(connection, path, migrations);
    connection.pragma_update(None, "foreign_keys", "ON").map_err(sort)?;
    migrated
}

fn migrate_alone(connection: &mut Connection, path: &Path, migrations: &[&str]) -> Result<()> {
    let sort = |e| sorted(path, "bring the format up to date", e);
    let format = |c: &Connection| -> rusqlite::Result<usize> {
        let found: i64 = c.pragma_query_value(None, "user_version", |r| r.get(0))?;
        Ok(usize::try_from(found).unwrap_or(usize::MAX))
    };
    // The usual case needs no lock.
    if format(connection).map_err(sort)? >= migrations.len() {
        return Ok(());
    }
    let transaction = connection
        .transaction_with_behavior(TransactionBehavior::Immediate)
        .map_err(sort)?;
    // From here on nobody else writes.
    let found = format(&transaction).map_err(sort)?;
    let Some(missing) = migrations.get(found..).filter(|m| !m.is_empty()) else {
        return Ok(());
    };
    if found > 0 && path.is_file() {
        back_up(path, &backup_name(path, found))?;
    }
    let run = || -> rusqlite::Result<()> {
        for migration in missing {
            transaction.execute_batch(migration)?;
        }
        transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
        transaction.pragma_update(
            None,
            "user_version",
            i64::try_from(migrations.len()).unwrap_or(i64::MAX),
        )?;
        transaction.commit()
    };
    run().map_err(sort)
}

/// Name of the copy made before a logbook of format `format` is migrated: beside it, `NAME.format-N.backup`.
pub(super) fn backup_name(path: &Path, format: usize) -> PathBuf {
    files::with_ending(path, &format!(".format-{format}.backup"))
}

/// Copies the database, which the caller has locked against writing: with a connection of its own, since one inside a
/// transaction cannot. Not by copying the file: that would drop this process's locks on it (POSIX locks belong to the
/// process and end with the first close).
pub(super) fn back_up(path: &Path, target: &Path) -> Result<()> {
    // Only who has the lock writes it, so one name is enough, and what a killed program left does not stay.
    let unfinished = files::with_ending(target, ".part");
    for left in [unfinished.clone(), files::with_ending(&unfinished, "-journal")] {
        files::remove(&left).map_err(file("replace an unfinished backup", &left))?;
    }
    let Some(text) = unfinished.to_str() else {
        return Err(LogbookError::Invalid {
            why: "the logbook's path is not valid Unicode".to_owned(),
        });
    };
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    Connection::open_with_flags(path, flags)
        .and_then(|reader| reader.execute("VACUUM INTO ?1", [text]))
        .map_err(|e| sorted(path, "make a backup", e))?;
    std::fs::OpenOptions::new()
        .write(true)
        .open(&unfinished)
        .and_then(|f| f.sync_all())
        .and_then(|()| std::fs::rename(&unfinished, target))
        .map_err(file("finish the backup", target))
}

#[cfg(test)]
mod tests {
    use super::*;

    const NEXT: &str = "ALTER TABLE student ADD COLUMN pin TEXT; UPDATE student SET pin = '0000';";

    fn format(connection: &Connection) -> i64 {
        connection
            .pragma_query_value(None, "user_version", |r| r.get(0))
            .unwrap()
    }

    fn with_student(path: &Path) -> Connection {
        let mut connection = Connection::open(path).unwrap();
        migrate(&mut connection, path, &[FORMAT_1]).unwrap();
        connection
            .execute(
                "INSERT INTO student (id, name, created_at, changed_at) VALUES ('a', 'Ilse Brandt', 1, 1)",
                [],
            )
            .unwrap();
        connection
    }

    #[test]
    fn a_migration_keeps_a_copy_of_what_was_there() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("logbook.sqlite");
        let mut connection = with_student(&path);
        assert!(!backup_name(&path, 1).exists(), "a new file needs no backup");

        migrate(&mut connection, &path, &[FORMAT_1, NEXT]).unwrap();
        assert_eq!(format(&connection), 2);
        let pin: String = connection
            .query_row("SELECT pin FROM student WHERE id = 'a'", [], |r| r.get(0))
            .unwrap();
        assert_eq!(pin, "0000");

        let backup = Connection::open(backup_name(&path, 1)).unwrap();
        assert_eq!(format(&backup), 1);
        let name: String = backup.query_row("SELECT name FROM student", [], |r| r.get(0)).unwrap();
        assert_eq!(name, "Ilse Brandt");
    }

    /// The table of attempts is built anew on the way to format 2: nothing that hangs on it may be lost.
    #[test]
    fn a_logbook_of_format_1_keeps_everything() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("logbook.sqlite");
        let mut connection = with_student(&path);
        connection
            .execute_batch(
                r#"UPDATE student SET consent = 'given', consent_asked_at = 3, consent_by = 'guardian', changed_at = 3;
                INSERT INTO attempt (number, id, student_id, started_at, utc_offset_seconds, site, site_version, step,
                    turn_id, turn_attempt, outcome, program_version, created_at, changed_at, situation, timings, transcript,
                    evidence, recording)
                VALUES (7, 'x', 'a', 1, 0, 's', '1', 'ready', 't', 1, 'not yet', '0', 4, 5, '{}', '{}', 'words',
                    '{"judgement": {"elements": [{"element": "crew", "critical": true},
                        {"element": "address", "critical": false}]}}', 'a_x.wav'),
                    (8, 'y', NULL, 1, 0, 's', '1', 'ready', 't', 1, 'pass', '0', 4, 5, '{}', '{}', '', '{}', NULL);
                INSERT INTO element_verdict (attempt, position, element, verdict, overruled_verdict, overruled_by,
                    overruled_at, overruled_reason)
                VALUES (7, 0, 'crew', 'missing', 'said', 'a', 9, 'heard it'), (7, 1, 'address', 'said', NULL, NULL, NULL, NULL),
                    (8, 0, 'crew', 'said', NULL, NULL, NULL, NULL);"#,
            )
            .unwrap();
        migrate(&mut connection, &path, MIGRATIONS).unwrap();
        let text = |sql: &str| -> Vec<String> {
            let mut rows = connection.prepare(sql).unwrap();
            let found = rows.query_map([], |r| r.get(0)).unwrap();
            found.collect::<rusqlite::Result<_>>().unwrap()
        };
        assert_eq!(
            text(
                "SELECT concat_ws(' ', number, id, recorded, recording, kind, done, held_out_at, transcript) FROM attempt"
            ),
            ["7 x 1 a_x.wav call called 5 words", "8 y 0 call called 5 "]
        );
        assert_eq!(
            text("SELECT concat_ws(' ', attempt, element, verdict, overruled_verdict, critical) FROM element_verdict"),
            ["7 address said 0", "7 crew missing said 1", "8 crew said"]
        );
        assert_eq!(
            text("SELECT concat_ws(' ', student_id, at, given, by) FROM consent_answer"),
            ["a 3 1 guardian"]
        );
        assert_eq!(
            text("SELECT concat_ws(' ', attempt_id, element, verdict, by, at, reason) FROM overrule"),
            ["x crew said a 9 heard it"]
        );
        assert_eq!(text("SELECT 'stray' FROM pragma_foreign_key_check"), [""; 0]);
        let on: bool = connection
            .pragma_query_value(None, "foreign_keys", |r| r.get(0))
            .unwrap();
        assert!(on);
    }

    /// What is in a file of format 1, for telling whether it came through.
    const OLD: [&str; 2] = ["1 a Ilse Brandt", "7 x a_x.wav"];

    #[test]
    fn several_programs_bring_an_old_logbook_up_to_date_once() {
        use crate::files::tests::{at_once, rounds};
        for _ in 0..rounds() {
            let dir = tempfile::tempdir().unwrap();
            let path = dir.path().join("logbook.sqlite");
            with_student(&path)
                .execute_batch(
                    "UPDATE student SET consent = 'given', consent_asked_at = 3, consent_by = 'guardian', changed_at = 3;
                    INSERT INTO attempt (number, id, student_id, started_at, utc_offset_seconds, site, site_version, step,
                        turn_id, turn_attempt, outcome, program_version, created_at, changed_at, situation, timings,
                        transcript, evidence, recording)
                    VALUES (7, 'x', 'a', 1, 0, 's', '1', 'ready', 't', 1, 'not yet', '0', 4, 5, '{}', '{}', 'words', '{}',
                        'a_x.wav');",
                )
                .unwrap();
            at_once(0..4, |_| {
                drop(crate::logbook::Logbook::open(&path, dir.path()).unwrap());
            });
            let held = |path: &Path| {
                let connection = Connection::open(path).unwrap();
                let text = |sql: &str| connection.query_row(sql, [], |r| r.get::<_, String>(0)).unwrap();
                assert_eq!(text("PRAGMA integrity_check"), "ok");
                let student = text("SELECT concat_ws(' ', count(*), id, name) FROM student");
                assert_eq!(
                    [
                        student,
                        text("SELECT concat_ws(' ', number, id, recording) FROM attempt")
                    ],
                    OLD
                );
                format(&connection)
            };
            assert_eq!(held(&path), i64::try_from(MIGRATIONS.len()).unwrap());
            assert_eq!(held(&backup_name(&path, 1)), 1);
            assert_eq!(
                std::fs::read_dir(dir.path()).unwrap().count(),
                2,
                "nothing else is left"
            );
        }
    }

    #[test]
    fn the_copy_takes_the_place_of_an_unfinished_one() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("logbook.sqlite");
        let mut connection = with_student(&path);
        let unfinished = files::with_ending(&backup_name(&path, 1), ".part");
        std::fs::write(&unfinished, "half a copy, left by a kill").unwrap();
        migrate(&mut connection, &path, &[FORMAT_1, NEXT]).unwrap();
        assert!(!unfinished.exists());
        assert_eq!(format(&Connection::open(backup_name(&path, 1)).unwrap()), 1);
    }

    #[test]
    fn a_migration_that_fails_leaves_the_file_as_it_was() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("logbook.sqlite");
        let mut connection = with_student(&path);
        let broken = "ALTER TABLE student ADD COLUMN pin TEXT; INSERT INTO nowhere VALUES (1);";
        migrate(&mut connection, &path, &[FORMAT_1, broken]).unwrap_err();
        assert_eq!(format(&connection), 1);
        connection
            .query_row("SELECT pin FROM student", [], |_| Ok(()))
            .unwrap_err();
        // The next try succeeds although the failed one left its backup.
        migrate(&mut connection, &path, &[FORMAT_1, NEXT]).unwrap();
        assert_eq!(format(&connection), 2);
    }

    #[test]
    fn the_database_itself_refuses_a_recording_without_consent() {
        let mut connection = Connection::open_in_memory().unwrap();
        migrate(&mut connection, Path::new(":memory:"), MIGRATIONS).unwrap();
        connection
            .execute_batch(
                "INSERT INTO student (id, name, consent, created_at, changed_at) VALUES
                    ('yes', 'A', 'given', 1, 1), ('no', 'B', 'refused', 1, 1), ('unasked', 'C', NULL, 1, 1)",
            )
            .unwrap();
        let insert = |id: &str, student: Option<&str>, recording: Option<&str>| {
            connection.execute(
                "INSERT INTO attempt (id, student_id, started_at, utc_offset_seconds, site, site_version, step, turn_id,
                    turn_attempt, outcome, program_version, created_at, changed_at, situation, timings, transcript,
                    evidence, recording)
                 VALUES (?1, ?2, 1, 0, 's', '1', 'ready', 't', 1, 'pass', '0', 1, 1, '{}', '{}', '', '{}', ?3)",
                (id, student, recording),
            )
        };
        insert("1", Some("yes"), Some("one.wav")).unwrap();
        insert("2", Some("no"), None).unwrap();
        for (student, name) in [(Some("no"), "2.wav"), (Some("unasked"), "3.wav"), (None, "4.wav")] {
            let error = insert(name, student, Some(name)).unwrap_err();
            assert!(error.to_string().contains("recording without consent"), "{error}");
        }
        for change in [
            "UPDATE attempt SET recording = 'x.wav' WHERE id = '2'",
            "UPDATE attempt SET student_id = 'no' WHERE id = '1'",
            "UPDATE attempt SET student_id = NULL WHERE id = '1'",
            "UPDATE student SET consent = 'refused' WHERE id = 'yes'",
            "UPDATE student SET consent = NULL WHERE id = 'yes'",
        ] {
            let error = connection.execute(change, []).unwrap_err();
            assert!(
                error.to_string().contains("recording without consent"),
                "{change}: {error}"
            );
        }
    }
}
