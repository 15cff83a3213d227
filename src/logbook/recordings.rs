//! Names of recording files, and what a crash left in the recordings folder.
//!
//! A recording is written as `STUDENT_ATTEMPT.part.wav` and renamed to `STUDENT_ATTEMPT.wav` when it is whole; one that
//! comes from elsewhere as `STUDENT_ATTEMPT.SOMETHING.part.wav`, since several programs may bring the same. Both
//! parts are ids, not names: a file says whose it is without saying who that is, so that what is left over after a
//! crash can be given back to, or removed for, the right student even when no attempt was stored.

use std::fmt;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use jiff::Timestamp;
use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSql, ToSqlOutput, ValueRef};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::error::file;
use super::open::make_private_folder;
use super::rows::Id;
use super::{Logbook, LogbookError, Result, Student};
use crate::files::{self, Access, Beside};

const WHOLE: &str = ".wav";
const UNFINISHED: &str = ".part.wav";

/// The name of one recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub struct RecordingName {
    student: Uuid,
    attempt: Uuid,
}

impl RecordingName {
    /// The one name a recording of this attempt can have.
    pub(super) fn new(student: Uuid, attempt: Uuid) -> Self {
        Self { student, attempt }
    }

    /// Whose voice it is.
    pub fn student(&self) -> Uuid {
        self.student
    }

    /// The attempt it belongs to: [`super::NewAttempt::id`].
    pub fn attempt(&self) -> Uuid {
        self.attempt
    }

    /// The file while it is being written.
    pub fn unfinished_path(&self, folder: &Path) -> PathBuf {
        folder.join(format!("{}_{}{UNFINISHED}", self.student, self.attempt))
    }

    /// A file for a copy of a recording, private, on its way to [`Self::path`]. Left by a kill, it is a left-over as any other.
    pub(super) fn copy_beside(&self, folder: &Path) -> std::io::Result<Beside> {
        let before = format!("{}_{}.", self.student, self.attempt);
        Beside::named(&self.path(folder), &before, UNFINISHED, Access::Private)
    }

    /// The file once it is whole.
    pub fn path(&self, folder: &Path) -> PathBuf {
        folder.join(self.to_string())
    }
}

impl fmt::Display for RecordingName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}_{}{WHOLE}", self.student, self.attempt)
    }
}

impl FromStr for RecordingName {
    type Err = String;

    /// Reads the name of a whole or an unfinished recording.
    fn from_str(name: &str) -> std::result::Result<Self, String> {
        name.strip_suffix(UNFINISHED)
            .map(|stem| stem.split_once('.').map_or(stem, |(ids, _)| ids))
            .or_else(|| name.strip_suffix(WHOLE))
            .and_then(|stem| stem.split_once('_'))
            .and_then(|(student, attempt)| {
                Some(Self {
                    student: Uuid::try_parse(student).ok()?,
                    attempt: Uuid::try_parse(attempt).ok()?,
                })
            })
            .ok_or_else(|| format!("\"{name}\" is not the name of a recording"))
    }
}

impl From<RecordingName> for String {
    fn from(name: RecordingName) -> Self {
        name.to_string()
    }
}

impl TryFrom<String> for RecordingName {
    type Error = String;

    fn try_from(name: String) -> std::result::Result<Self, String> {
        name.parse()
    }
}

impl FromSql for RecordingName {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        value
            .as_str()?
            .parse()
            .map_err(|e: String| FromSqlError::Other(e.into()))
    }
}

impl ToSql for RecordingName {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(self.to_string().into())
    }
}

/// A file in the recordings folder that belongs to no stored attempt.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Leftover {
    /// The file.
    pub path: PathBuf,
    /// What is the matter with it.
    pub kind: LeftoverKind,
    /// Whose it is and what became of it.
    pub fate: Fate,
    /// Its length in bytes.
    pub bytes: u64,
    /// When it was last written, where the file system says so. One that was written just now may be a recording
    /// going on in another window.
    pub modified: Option<Timestamp>,
}

/// Why a file is a left-over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeftoverKind {
    /// The program ended while this was being recorded (or another window is recording it now).
    Unfinished,
    /// It is whole, but no attempt was stored with it.
    WithoutAttempt,
}

/// What became of a left-over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fate {
    /// Kept: its student consented to recordings. It can be listened to and judged again; storing an attempt with the
    /// id in its name gives it its place.
    Kept(Student),
    /// Removed: its student has not consented, or was forgotten.
    Removed,
    /// It should have been removed for the same reason, but could not be: the reason as a sentence.
    NotRemoved(String),
    /// Kept: its student is not in this logbook (perhaps in one that was set aside). To be decided by the user.
    UnknownStudent(Uuid),
    /// Kept: this program did not name it.
    Foreign,
}

impl Logbook {
    /// Allots the name of a recording that is about to be made, with the id its attempt is to have, and makes the
    /// folder. Refused without consent: so it is asked before the first recording is kept.
    pub fn begin_recording(&self, student: Option<Uuid>) -> Result<RecordingName> {
        if self.read_only {
            return Err(LogbookError::ReadOnly {
                path: self.path.clone(),
            });
        }
        if !self.recording_allowed(student)? {
            return Err(self.no_consent(student));
        }
        make_private_folder(&self.recordings).map_err(file("make the recordings folder", &self.recordings))?;
        let student = student.ok_or_else(|| self.no_consent(None))?;
        Ok(RecordingName {
            student,
            attempt: Uuid::new_v4(),
        })
    }

    /// Goes through the recordings folder after a start: lists every unfinished recording and every one without an
    /// attempt, by file name, and removes those of students who have not consented or were forgotten. Nothing else is
    /// touched.
    pub fn adopt_leftovers(&self) -> Result<Vec<Leftover>> {
        self.rename_recordings_of_joined()?;
        let mut leftovers = Vec::new();
        for path in self.recording_files()? {
            let file_name = path.file_name().unwrap_or_default().to_string_lossy();
            let kind = if file_name.ends_with(UNFINISHED) {
                LeftoverKind::Unfinished
            } else {
                LeftoverKind::WithoutAttempt
            };
            let name = file_name.parse::<RecordingName>().ok();
            if kind == LeftoverKind::WithoutAttempt
                && let Some(name) = name
                && self.has_attempt_with(&name)?
            {
                continue;
            }
            let details = match std::fs::metadata(&path) {
                Ok(details) => details,
                // Another window finished or removed it in this moment.
                Err(e) if e.kind() == std::io::ErrorKind::NotFound => continue,
                Err(e) => return Err(file("look at a recording", &path)(e)),
            };
            let fate = self.fate(name, &path)?;
            let modified = details.modified().ok().and_then(|t| Timestamp::try_from(t).ok());
            leftovers.push(Leftover {
                path,
                kind,
                fate,
                bytes: details.len(),
                modified,
            });
        }
        Ok(leftovers)
    }

    fn fate(&self, name: Option<RecordingName>, path: &Path) -> Result<Fate> {
        let Some(name) = name else {
            return Ok(Fate::Foreign);
        };
        let unwanted = match self.student(name.student) {
            Ok(student) if student.recording_allowed() => return Ok(Fate::Kept(student)),
            Ok(_) => true,
            Err(LogbookError::NoSuchStudent { .. }) => self.is_forgotten(name.student)?,
            Err(e) => return Err(e),
        };
        if !unwanted {
            return Ok(Fate::UnknownStudent(name.student));
        }
        Ok(remove_if_there(path).map_or_else(|e| Fate::NotRemoved(e.to_string()), |()| Fate::Removed))
    }

    pub(super) fn has_attempt_with(&self, name: &RecordingName) -> Result<bool> {
        self.connection
            .query_row(
                "SELECT EXISTS (SELECT 1 FROM attempt WHERE id = ?1 AND recording = ?2)",
                (Id(name.attempt), name),
                |r| r.get(0),
            )
            .map_err(self.sorted("look for a recording's attempt"))
    }

    /// Removes every recording of a student, whole or not, stored or left over. Returns how many. One that cannot be
    /// removed does not keep the others; it is the error in the end.
    pub(super) fn remove_recordings_of(&self, student: Uuid) -> Result<usize> {
        let mut removed = 0;
        let mut failed = None;
        for path in self.recording_files()? {
            let name = path
                .file_name()
                .unwrap_or_default()
                .to_string_lossy()
                .parse::<RecordingName>();
            if name.is_ok_and(|n| n.student == student) {
                match remove_if_there(&path) {
                    Ok(()) => removed += 1,
                    Err(e) => failed = Some(e),
                }
            }
        }
        failed.map_or(Ok(removed), Err)
    }

    /// The WAV files in the recordings folder, by name; none if there is no folder.
    pub(super) fn recording_files(&self) -> Result<Vec<PathBuf>> {
        let entries = match std::fs::read_dir(&self.recordings) {
            Ok(entries) => entries,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(e) => return Err(file("list the recordings", &self.recordings)(e)),
        };
        let mut files = Vec::new();
        for entry in entries {
            let path = entry.map_err(file("list the recordings", &self.recordings))?.path();
            if path.extension().is_some_and(|e| e.eq_ignore_ascii_case("wav")) {
                files.push(path);
            }
        }
        files.sort();
        Ok(files)
    }

    pub(super) fn no_consent(&self, student: Option<Uuid>) -> LogbookError {
        let who = student.map_or_else(
            || "an attempt without a student".to_owned(),
            |id| self.student(id).map_or_else(|_| id.to_string(), |s| s.name),
        );
        LogbookError::NoConsent { who }
    }
}

pub(super) fn remove_if_there(path: &Path) -> Result<()> {
    files::remove(path).map(drop).map_err(file("remove a recording", path))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_read_back_and_strange_ones_do_not() {
        let name = RecordingName {
            student: Uuid::new_v4(),
            attempt: Uuid::new_v4(),
        };
        assert_eq!(name.to_string().parse(), Ok(name));
        let unfinished = name.unfinished_path(Path::new("r"));
        assert_eq!(unfinished.file_name().unwrap().to_str().unwrap().parse(), Ok(name));
        let folder = tempfile::tempdir().unwrap();
        let _copy = name.copy_beside(folder.path()).unwrap();
        let left = std::fs::read_dir(folder.path()).unwrap().next().unwrap().unwrap();
        assert_eq!(left.file_name().to_str().unwrap().parse(), Ok(name));
        for strange in [
            "notes.wav",
            "_.wav",
            "../x_y.wav",
            &format!("{name}.bak"),
            &format!("x{name}"),
        ] {
            strange.parse::<RecordingName>().unwrap_err();
        }
    }
}
