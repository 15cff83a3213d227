//! Students and their consent to recordings.

use jiff::Timestamp;
use rusqlite::{OptionalExtension, Row, Transaction};
use uuid::Uuid;

use super::alike::alike;
use super::error::sorted;
use super::rows::{Id, Millis};
use super::{Consent, Logbook, LogbookError, NewStudent, Result, Retention, Student, derive};

pub(super) const COLUMNS: &str =
    "id, name, language, role, consent, consent_asked_at, consent_by, created_at, changed_at,
    max(needs_guardian, guardian_by_joining), pin IS NOT NULL, keep_recordings_days, keep_attempts_days";

impl Logbook {
    /// Adds a student. Two of the same name are allowed (they are told apart by their ids).
    pub fn add_student(&mut self, new: &NewStudent, now: Timestamp) -> Result<Student> {
        let name = checked_name("student", &new.name)?;
        if let Some(consent) = &new.consent {
            guardian_answered(new.needs_guardian, consent, name)?;
        }
        self.refuse_look_alike(None, name, new.role.as_deref())?;
        let id = Uuid::new_v4();
        let transaction = self.write("add a student")?;
        let add = || -> rusqlite::Result<()> {
            transaction.execute(
                "INSERT INTO student (id, name, language, role, needs_guardian, profile_at, created_at, changed_at)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?6, ?6)",
                (Id(id), name, &new.language, &new.role, new.needs_guardian, Millis(now)),
            )?;
            if let Some(consent) = &new.consent {
                answer(&transaction, id, consent)?;
            }
            transaction.commit()
        };
        add().map_err(self.sorted("add a student"))?;
        self.student(id)
    }

    /// Changes name, language and role. Consent has its own function, for what hangs on it.
    pub fn change_student(
        &mut self,
        id: Uuid,
        name: &str,
        language: Option<&str>,
        role: Option<&str>,
        now: Timestamp,
    ) -> Result<Student> {
        let name = checked_name("student", name)?;
        self.refuse_look_alike(Some(id), name, role)?;
        let transaction = self.write("change a student")?;
        let changed = transaction
            .execute(
                "UPDATE student SET name = ?2, language = ?3, role = ?4, profile_at = max(?5, profile_at + 1),
                    changed_at = max(?5, changed_at)
                 WHERE id = ?1",
                (Id(id), name, language, role, Millis(now)),
            )
            .and_then(|n| transaction.commit().map(|()| n))
            .map_err(self.sorted("change a student"))?;
        if changed == 0 {
            Err(unknown(id))
        } else {
            self.student(id)
        }
    }

    /// Says whether only a guardian can give consent. If so, a consent the student gave alone does not count any more, and
    /// the recordings kept with it are removed. Returns how many files were removed.
    pub fn set_needs_guardian(&mut self, id: Uuid, needs: bool, now: Timestamp) -> Result<usize> {
        let transaction = self.write("change a student")?;
        let store = || -> rusqlite::Result<usize> {
            let changed = transaction.execute(
                "UPDATE student SET needs_guardian = ?2, profile_at = max(?3, profile_at + 1),
                    changed_at = max(?3, changed_at)
                 WHERE id = ?1",
                (Id(id), needs, Millis(now)),
            )?;
            Self::set_guardian_stamp(&transaction, id)?;
            derive::consent(&transaction, Some(id))?;
            transaction.commit()?;
            Ok(changed)
        };
        if store().map_err(self.sorted("change a student"))? == 0 {
            return Err(unknown(id));
        }
        if self.student(id)?.recording_allowed() {
            Ok(0)
        } else {
            self.remove_recordings_of(id)
        }
    }

    /// Stores the answer to "may recordings be kept?". A refusal removes the recordings kept so far (the attempts
    /// stay, without them). Returns how many files were removed.
    pub fn set_consent(&mut self, id: Uuid, consent: &Consent, now: Timestamp) -> Result<usize> {
        let known = self.student(id)?;
        guardian_answered(known.others_answer(), consent, &known.name)?;
        let transaction = self.write("store the consent")?;
        let store = || -> rusqlite::Result<usize> {
            let changed = transaction.execute(
                "UPDATE student SET changed_at = max(?2, changed_at) WHERE id = ?1",
                (Id(id), Millis(now)),
            )?;
            if changed > 0 {
                if !consent.given {
                    transaction.execute(
                        "UPDATE attempt SET changed_at = max(?2, changed_at)
                         WHERE student_id = ?1 AND recording IS NOT NULL",
                        (Id(id), Millis(now)),
                    )?;
                }
                answer(&transaction, id, consent)?;
            }
            transaction.commit()?;
            Ok(changed)
        };
        if store().map_err(self.sorted("store the consent"))? == 0 {
            return Err(unknown(id));
        }
        // Files after the row: if the program ends in between, `adopt_leftovers` finds them without consent.
        if consent.given {
            Ok(0)
        } else {
            self.remove_recordings_of(id)
        }
    }

    /// Every answer of a student about recordings, oldest first.
    pub fn consent_answers(&self, id: Uuid) -> Result<Vec<Consent>> {
        let read = || -> rusqlite::Result<Vec<Consent>> {
            let mut statement = self
                .connection
                .prepare_cached("SELECT given, at, nullif(by, '') FROM consent_answer WHERE student_id = ?1")?;
            self.readable("answer about recordings", statement.query([Id(id)])?, |r| {
                Ok(Consent {
                    given: r.get(0)?,
                    asked_at: r.get::<_, Millis>(1)?.0,
                    by: r.get(2)?,
                })
            })
        };
        read().map_err(self.sorted("read the answers about recordings"))
    }

    /// Whether recordings of this student may be kept; false for practice without a name.
    pub fn recording_allowed(&self, student: Option<Uuid>) -> Result<bool> {
        student.map_or(Ok(false), |id| Ok(self.student(id)?.recording_allowed()))
    }

    /// One student.
    pub fn student(&self, id: Uuid) -> Result<Student> {
        self.connection
            .query_row(
                &format!("SELECT {COLUMNS} FROM student WHERE id = ?1"),
                [Id(id)],
                student,
            )
            .optional()
            .map_err(self.sorted("read a student"))?
            .ok_or_else(|| unknown(id))
    }

    /// All students, by name.
    pub fn students(&self) -> Result<Vec<Student>> {
        let read = || -> rusqlite::Result<Vec<Student>> {
            let mut statement = self
                .connection
                .prepare_cached(&format!("SELECT {COLUMNS} FROM student"))?;
            self.readable("student", statement.query([])?, student)
        };
        let mut students = read().map_err(self.sorted("read the students"))?;
        // In Rust and not in SQL: SQLite folds the case of ASCII letters only.
        students.sort_by_cached_key(|s| (s.name.to_lowercase(), s.id));
        Ok(students)
    }

    /// Nobody may be taken for an instructor, and no instructor for anybody else.
    fn refuse_look_alike(&self, id: Option<Uuid>, name: &str, role: Option<&str>) -> Result<()> {
        let instructor = role == Some(super::INSTRUCTOR);
        let there = self.students()?;
        let other = there
            .iter()
            .filter(|s| Some(s.id) != id && (instructor || s.is_instructor()))
            .find(|s| alike(&s.name, name));
        match other {
            None => Ok(()),
            Some(other) => Err(LogbookError::LooksLike {
                name: name.to_owned(),
                other: other.name.clone(),
            }),
        }
    }

    /// Who is here already under a name that looks like this one, besides whoever is to have it.
    pub fn looks_like(&self, name: &str, whose: Option<Uuid>) -> Result<Option<Student>> {
        let mut others = self.students()?.into_iter().filter(|s| Some(s.id) != whose);
        Ok(others.find(|s| alike(&s.name, name)))
    }

    /// The one student meant by a name (case does not matter), an id, or the beginning of an id of at least eight
    /// characters. Never guesses: several matches are an error that lists them.
    pub fn find_student(&self, asked: &str) -> Result<Student> {
        let wanted = asked.trim().to_lowercase();
        let students = self.students()?;
        let id_begins = |s: &Student| wanted.len() >= 8 && s.id.to_string().starts_with(&wanted);
        let mut matches: Vec<Student> = students
            .iter()
            .filter(|s| s.name.to_lowercase() == wanted || id_begins(s))
            .cloned()
            .collect();
        match matches.len() {
            1 => Ok(matches.remove(0)),
            0 => {
                let near = |s: &Student| !wanted.is_empty() && s.name.to_lowercase().contains(&wanted);
                let similar = students.into_iter().filter(near).collect();
                Err(LogbookError::NoSuchStudent {
                    asked: asked.to_owned(),
                    similar,
                })
            }
            _ => Err(LogbookError::AmbiguousStudent {
                asked: asked.to_owned(),
                matches,
            }),
        }
    }

    /// Whether this student was removed for good, here or in a logbook merged into this one.
    pub(super) fn is_forgotten(&self, id: Uuid) -> Result<bool> {
        self.connection
            .query_row("SELECT EXISTS (SELECT 1 FROM tombstone WHERE id = ?1)", [Id(id)], |r| {
                r.get(0)
            })
            .map_err(|e| sorted(&self.path, "read the tombstones", e))
    }
}

pub(super) fn unknown(id: Uuid) -> LogbookError {
    LogbookError::NoSuchStudent {
        asked: id.to_string(),
        similar: Vec::new(),
    }
}

pub(super) fn checked_name<'a>(whose: &str, name: &'a str) -> Result<&'a str> {
    let name = name.trim();
    let invalid = |why: String| Err(LogbookError::Invalid { why });
    if name.is_empty() {
        invalid(format!("a {whose} needs a name"))
    } else if name.chars().count() > 100 {
        invalid(format!("the {whose}'s name is longer than 100 characters"))
    } else if name.chars().any(char::is_control) {
        invalid(format!(
            "the {whose}'s name contains a line break or another control character"
        ))
    } else {
        Ok(name)
    }
}

fn guardian_answered(needed: bool, consent: &Consent, name: &str) -> Result<()> {
    if needed && consent.given && consent.by.as_ref().is_none_or(|by| by.trim().is_empty()) {
        return Err(LogbookError::GuardianNeeded { who: name.to_owned() });
    }
    Ok(())
}

/// Adds an answer, later than those that are there, and lets it count.
fn answer(transaction: &Transaction<'_>, id: Uuid, consent: &Consent) -> rusqlite::Result<()> {
    transaction.execute(
        "INSERT INTO consent_answer (student_id, at, given, by)
         SELECT ?1, max(?2, 1 + coalesce((SELECT max(at) FROM consent_answer WHERE student_id = ?1), ?2 - 1)), ?3, ?4",
        (
            Id(id),
            Millis(consent.asked_at),
            consent.given,
            consent.by.as_deref().map_or("", str::trim),
        ),
    )?;
    derive::consent(transaction, Some(id))
}

pub(super) fn student(row: &Row<'_>) -> rusqlite::Result<Student> {
    let answer: Option<String> = row.get(4)?;
    let asked_at: Option<Millis> = row.get(5)?;
    let by = row.get(6)?;
    let consent = answer.zip(asked_at).map(|(answer, at)| Consent {
        given: answer == "given",
        asked_at: at.0,
        by,
    });
    Ok(Student {
        id: row.get::<_, Id>(0)?.0,
        name: row.get(1)?,
        language: row.get(2)?,
        role: row.get(3)?,
        needs_guardian: row.get(9)?,
        has_pin: row.get(10)?,
        keep: Retention {
            recordings_days: row.get(11)?,
            attempts_days: row.get(12)?,
        },
        consent,
        created_at: row.get::<_, Millis>(7)?.0,
        changed_at: row.get::<_, Millis>(8)?.0,
    })
}
