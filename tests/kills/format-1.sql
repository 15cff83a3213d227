-- Tables of a logbook of format 1, as programs made them when that format was the newest. Never changed again.
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
CREATE TABLE tombstone (
    id          TEXT PRIMARY KEY NOT NULL,
    deleted_at  INTEGER NOT NULL
) STRICT;
CREATE INDEX attempt_by_time ON attempt (started_at);
CREATE INDEX attempt_by_student ON attempt (student_id, started_at);
CREATE INDEX attempt_record ON attempt (student_id, held_out, turn_attempt, outcome);
CREATE INDEX attempt_of_turn ON attempt (turn_id, turn_attempt);
CREATE INDEX attempt_with_recording ON attempt (student_id) WHERE recording IS NOT NULL;
CREATE INDEX element_verdict_overruled_by ON element_verdict (overruled_by) WHERE overruled_by IS NOT NULL;
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
PRAGMA application_id = 1130515554;
PRAGMA user_version = 1;
