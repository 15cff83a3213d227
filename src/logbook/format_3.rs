//! Migration from format 2 to 3: two entries of one person can be joined (`joined.rs`).
//!
//! `joined` is only ever added to, so that a merge unites it: a pair says that two entries are
//! one person.
//! `went` keeps what an entry that went said about a guardian, with its time, since the person it belongs to may not be
//! treated less carefully for the joining; like a profile, the later one wins in a merge. `guardian_by_joining` follows from
//! both (`derive.rs`).

pub(super) const FORMAT_3: &str = "
CREATE TABLE joined (
    id       TEXT NOT NULL,
    into_id  TEXT NOT NULL,
    at       INTEGER NOT NULL,
    PRIMARY KEY (id, into_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE went (
    id              TEXT PRIMARY KEY NOT NULL,
    profile_at      INTEGER NOT NULL,
    needs_guardian  INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

ALTER TABLE student ADD COLUMN guardian_by_joining INTEGER NOT NULL DEFAULT 0;

DROP VIEW counted_answer;
CREATE VIEW counted_answer AS
SELECT a.student_id, a.at, a.given, a.by FROM consent_answer AS a JOIN student AS s ON s.id = a.student_id
WHERE a.given = 0 OR a.by <> '' OR (s.needs_guardian = 0 AND s.guardian_by_joining = 0);
";
