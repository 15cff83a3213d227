-- Tables of a logbook of format 2, as programs made them when that format was the newest. Never changed again.
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
, needs_guardian INTEGER NOT NULL DEFAULT 0, profile_at INTEGER NOT NULL DEFAULT 0, pin TEXT, pin_at INTEGER NOT NULL DEFAULT 0, keep_recordings_days INTEGER, keep_attempts_days INTEGER, keep_at INTEGER NOT NULL DEFAULT 0) STRICT;
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
    overruled_reason    TEXT, critical INTEGER,
    PRIMARY KEY (attempt, element)
) STRICT, WITHOUT ROWID;
CREATE TABLE tombstone (
    id          TEXT PRIMARY KEY NOT NULL,
    deleted_at  INTEGER NOT NULL
, what TEXT NOT NULL DEFAULT 'student') STRICT;
CREATE TABLE consent_answer (
    student_id  TEXT NOT NULL REFERENCES student (id) ON DELETE CASCADE,
    at          INTEGER NOT NULL,
    given       INTEGER NOT NULL,
    by          TEXT NOT NULL,
    PRIMARY KEY (student_id, at, given, by)
) STRICT, WITHOUT ROWID;
CREATE TABLE run (
    id                  TEXT PRIMARY KEY NOT NULL,
    kind                TEXT NOT NULL,
    student_id          TEXT REFERENCES student (id),
    class_id            TEXT,
    started_at          INTEGER NOT NULL,
    utc_offset_seconds  INTEGER NOT NULL,
    site                TEXT NOT NULL,
    site_version        TEXT NOT NULL,
    role                TEXT,
    seed                TEXT,
    ending              TEXT,
    ended_at            INTEGER,
    changed_at          INTEGER NOT NULL,
    situation           TEXT NOT NULL,
    course              TEXT NOT NULL,
    record              TEXT NOT NULL
) STRICT;
CREATE TABLE class (
    id          TEXT PRIMARY KEY NOT NULL,
    name        TEXT NOT NULL,
    created_at  INTEGER NOT NULL,
    changed_at  INTEGER NOT NULL
) STRICT;
CREATE TABLE class_member (
    class_id    TEXT NOT NULL REFERENCES class (id) ON DELETE CASCADE,
    student_id  TEXT NOT NULL REFERENCES student (id) ON DELETE CASCADE,
    member      INTEGER NOT NULL,
    changed_at  INTEGER NOT NULL,
    PRIMARY KEY (class_id, student_id)
) STRICT, WITHOUT ROWID;
CREATE TABLE setting (
    name        TEXT PRIMARY KEY NOT NULL,
    value       TEXT NOT NULL,
    changed_at  INTEGER NOT NULL
) STRICT;
CREATE TABLE "attempt" (
    number                INTEGER PRIMARY KEY,
    id                    TEXT NOT NULL UNIQUE,
    student_id            TEXT REFERENCES student (id),
    started_at            INTEGER NOT NULL,
    utc_offset_seconds    INTEGER NOT NULL,
    site                  TEXT NOT NULL,
    site_version          TEXT NOT NULL,
    step                  TEXT NOT NULL,
    kind                  TEXT NOT NULL DEFAULT 'call',
    done                  TEXT NOT NULL DEFAULT 'called',
    run_id                TEXT,
    run_position          INTEGER,
    role                  TEXT,
    turn_id               TEXT NOT NULL,
    turn_attempt          INTEGER NOT NULL,
    outcome               TEXT NOT NULL,
    overruled_outcome     TEXT,
    score                 REAL,
    held_out              INTEGER NOT NULL DEFAULT 0,
    held_out_at           INTEGER NOT NULL DEFAULT 0,
    recording             TEXT UNIQUE,
    recorded              INTEGER NOT NULL DEFAULT 0,
    recording_removed_at  INTEGER,
    model                 TEXT,
    model_sha1            TEXT,
    program_version       TEXT NOT NULL,
    created_at            INTEGER NOT NULL,
    changed_at            INTEGER NOT NULL,
    situation             TEXT NOT NULL,
    timings               TEXT NOT NULL,
    transcript            TEXT NOT NULL,
    evidence              TEXT NOT NULL
) STRICT;
CREATE TABLE overrule (
    id          TEXT PRIMARY KEY NOT NULL,
    attempt_id  TEXT NOT NULL REFERENCES attempt (id) ON DELETE CASCADE,
    element     TEXT NOT NULL,
    verdict     TEXT,
    by          TEXT REFERENCES student (id) ON DELETE SET NULL,
    at          INTEGER NOT NULL,
    reason      TEXT
) STRICT;
CREATE INDEX element_verdict_overruled_by ON element_verdict (overruled_by) WHERE overruled_by IS NOT NULL;
CREATE INDEX run_by_student ON run (student_id, started_at);
CREATE INDEX run_by_time ON run (started_at);
CREATE INDEX class_member_student ON class_member (student_id);
CREATE INDEX attempt_by_time ON attempt (started_at);
CREATE INDEX attempt_by_student ON attempt (student_id, started_at);
CREATE INDEX attempt_record ON attempt (student_id, kind, held_out, turn_attempt, outcome, overruled_outcome);
CREATE INDEX attempt_of_turn ON attempt (turn_id, turn_attempt);
CREATE INDEX attempt_of_run ON attempt (run_id, run_position) WHERE run_id IS NOT NULL;
CREATE INDEX attempt_recorded ON attempt (student_id, created_at) WHERE recorded = 1;
CREATE INDEX attempt_held_out ON attempt (student_id, started_at) WHERE held_out = 1;
CREATE INDEX overrule_of_attempt ON overrule (attempt_id, element, at);
CREATE INDEX overrule_by ON overrule (by) WHERE by IS NOT NULL;
CREATE VIEW counted_answer AS
SELECT a.student_id, a.at, a.given, a.by FROM consent_answer AS a JOIN student AS s ON s.id = a.student_id
WHERE a.given = 0 OR a.by <> '' OR s.needs_guardian = 0;
CREATE VIEW counted_attempt AS
SELECT *, coalesce(overruled_outcome, outcome) AS counted_outcome FROM attempt WHERE kind = 'call' AND held_out = 0;
CREATE TRIGGER forgotten_stays_forgotten BEFORE INSERT ON student
WHEN EXISTS (SELECT 1 FROM tombstone WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'student was forgotten'); END;
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
CREATE TRIGGER removed_stays_removed BEFORE INSERT ON attempt
WHEN EXISTS (SELECT 1 FROM tombstone WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'attempt was removed'); END;
CREATE TRIGGER removed_class_stays_removed BEFORE INSERT ON class
WHEN EXISTS (SELECT 1 FROM tombstone WHERE id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'class was removed'); END;
PRAGMA application_id = 1130515554;
PRAGMA user_version = 2;
