//! Migration from format 1 to 2: runs, classes, consent as a list of answers, overrules as a list, retention, and what a
//! merge needs.
//!
//! How two logbooks become one is in `merge.rs`; the columns here are made for it:
//!
//! * What can change stands in groups with a time each (`profile_at`, `pin_at`, `keep_at`, `held_out_at`, `changed_at` of a
//!   run, class or membership): the later one wins, of two at the same time the greater content. An edit is stamped
//!   later than what it replaces, even if the clock was put back.
//! * Answers about consent, overrules and tombstones are only ever added.
//! * `recorded` and `recording_removed_at` only ever go one way.
//! * Everything else that is shown follows from these (`derive.rs`): `student.consent*`, `attempt.recording`,
//!   `attempt.overruled_outcome`, `element_verdict.overruled_*`.
//!
//! `attempt` is built anew, so that the large columns stay last. Foreign keys must be off meanwhile (see `migrate`), or
//! dropping the old table would take the verdicts with it.

pub(super) const FORMAT_2: &str = "
DROP TRIGGER recording_needs_consent;
DROP TRIGGER recording_still_needs_consent;
DROP TRIGGER refusal_needs_recordings_gone;

ALTER TABLE tombstone ADD COLUMN what TEXT NOT NULL DEFAULT 'student';

ALTER TABLE student ADD COLUMN needs_guardian INTEGER NOT NULL DEFAULT 0;
ALTER TABLE student ADD COLUMN profile_at INTEGER NOT NULL DEFAULT 0;
ALTER TABLE student ADD COLUMN pin TEXT;
ALTER TABLE student ADD COLUMN pin_at INTEGER NOT NULL DEFAULT 0;
ALTER TABLE student ADD COLUMN keep_recordings_days INTEGER;
ALTER TABLE student ADD COLUMN keep_attempts_days INTEGER;
ALTER TABLE student ADD COLUMN keep_at INTEGER NOT NULL DEFAULT 0;
UPDATE student SET profile_at = changed_at;

CREATE TABLE consent_answer (
    student_id  TEXT NOT NULL REFERENCES student (id) ON DELETE CASCADE,
    at          INTEGER NOT NULL,
    given       INTEGER NOT NULL,
    by          TEXT NOT NULL,
    PRIMARY KEY (student_id, at, given, by)
) STRICT, WITHOUT ROWID;

INSERT INTO consent_answer (student_id, at, given, by)
SELECT id, coalesce(consent_asked_at, changed_at), consent = 'given', coalesce(consent_by, '')
FROM student WHERE consent IS NOT NULL;

CREATE VIEW counted_answer AS
SELECT a.student_id, a.at, a.given, a.by FROM consent_answer AS a JOIN student AS s ON s.id = a.student_id
WHERE a.given = 0 OR a.by <> '' OR s.needs_guardian = 0;

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

CREATE INDEX run_by_student ON run (student_id, started_at);
CREATE INDEX run_by_time ON run (started_at);

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

CREATE INDEX class_member_student ON class_member (student_id);

CREATE TABLE setting (
    name        TEXT PRIMARY KEY NOT NULL,
    value       TEXT NOT NULL,
    changed_at  INTEGER NOT NULL
) STRICT;

CREATE TABLE attempt_2 (
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

INSERT INTO attempt_2 (number, id, student_id, started_at, utc_offset_seconds, site, site_version, step, turn_id,
    turn_attempt, outcome, score, held_out, held_out_at, recording, recorded, model, model_sha1, program_version,
    created_at, changed_at, situation, timings, transcript, evidence)
SELECT number, id, student_id, started_at, utc_offset_seconds, site, site_version, step, turn_id,
    turn_attempt, outcome, score, held_out, changed_at, recording, recording IS NOT NULL, model, model_sha1,
    program_version, created_at, changed_at, situation, timings, transcript, evidence
FROM attempt;

DROP TABLE attempt;
ALTER TABLE attempt_2 RENAME TO attempt;

CREATE INDEX attempt_by_time ON attempt (started_at);
CREATE INDEX attempt_by_student ON attempt (student_id, started_at);
CREATE INDEX attempt_record ON attempt (student_id, kind, held_out, turn_attempt, outcome, overruled_outcome);
CREATE INDEX attempt_of_turn ON attempt (turn_id, turn_attempt);
CREATE INDEX attempt_of_run ON attempt (run_id, run_position) WHERE run_id IS NOT NULL;
CREATE INDEX attempt_recorded ON attempt (student_id, created_at) WHERE recorded = 1;
CREATE INDEX attempt_held_out ON attempt (student_id, started_at) WHERE held_out = 1;

CREATE VIEW counted_attempt AS
SELECT *, coalesce(overruled_outcome, outcome) AS counted_outcome FROM attempt WHERE kind = 'call' AND held_out = 0;

ALTER TABLE element_verdict ADD COLUMN critical INTEGER;

UPDATE element_verdict SET critical = (
    SELECT json_extract(e.value, '$.critical')
    FROM attempt AS a, json_each(a.evidence, '$.judgement.elements') AS e
    WHERE a.number = element_verdict.attempt AND json_extract(e.value, '$.element') = element_verdict.element);

CREATE TABLE overrule (
    id          TEXT PRIMARY KEY NOT NULL,
    attempt_id  TEXT NOT NULL REFERENCES attempt (id) ON DELETE CASCADE,
    element     TEXT NOT NULL,
    verdict     TEXT,
    by          TEXT REFERENCES student (id) ON DELETE SET NULL,
    at          INTEGER NOT NULL,
    reason      TEXT
) STRICT;

CREATE INDEX overrule_of_attempt ON overrule (attempt_id, element, at);
CREATE INDEX overrule_by ON overrule (by) WHERE by IS NOT NULL;

INSERT INTO overrule (id, attempt_id, element, verdict, by, at, reason)
SELECT a.id || '/' || e.element, a.id, e.element, e.overruled_verdict, e.overruled_by, coalesce(e.overruled_at, a.changed_at),
    e.overruled_reason
FROM element_verdict AS e JOIN attempt AS a ON a.number = e.attempt WHERE e.overruled_verdict IS NOT NULL;

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
";
