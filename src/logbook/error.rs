//! Everything that can go wrong with the logbook, as sentences for the user: what happened, what to do, path last.

use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;
use uuid::Uuid;

use super::Student;

/// An error of the logbook.
#[derive(Debug, thiserror::Error)]
pub enum LogbookError {
    /// Written by a later version of the program; the file is untouched.
    #[error(
        "this logbook was written by a newer version of the program (format {found}, this one knows up to {known}); \
         nothing was changed in it: install the newer version, or choose another logbook: {}", path.display()
    )]
    Newer {
        /// Format number in the file.
        found: i64,
        /// Newest format this program knows.
        known: i64,
        /// The database file.
        path: PathBuf,
    },
    /// An older format that would have to be migrated, in a place that cannot be written.
    #[error(
        "this logbook has an older format ({found}, now {known}) and cannot be brought up to date because it is \
         write-protected: copy it to a folder you may write and open the copy: {}", path.display()
    )]
    OlderReadOnly {
        /// Format number in the file.
        found: i64,
        /// Newest format this program knows.
        known: i64,
        /// The database file.
        path: PathBuf,
    },
    /// Another program holds the database for longer than the patience given at opening.
    #[error(
        "the logbook is in use by another program (a second window, a backup or a synchronising folder?); nothing was \
         recorded: close the other one and try again: {}", path.display()
    )]
    Busy {
        /// The database file.
        path: PathBuf,
    },
    /// The file, its folder or its medium is write-protected.
    #[error(
        "nothing can be recorded: the logbook or its folder is write-protected; what is in it can still be read. \
         Allow writing to the folder and start again: {}", path.display()
    )]
    ReadOnly {
        /// The database file.
        path: PathBuf,
    },
    /// There is none yet, and its folder or its medium is write-protected: nothing can be read either.
    #[error(
        "there is no logbook yet, and none can be made: its folder is write-protected. Allow writing to the folder and start \
         again: {}", path.display()
    )]
    NoneYet {
        /// The database file that would be made.
        path: PathBuf,
    },
    /// No space left on the disk.
    #[error(
        "the disk is full: this was not recorded, all that was recorded before is still there; free some space and \
         try again: {}", path.display()
    )]
    DiskFull {
        /// The database file.
        path: PathBuf,
    },
    /// The file is something else than a logbook of this program.
    #[error(
        "this file is not a logbook ({why}); nothing was changed in it. To start with an empty logbook, rename the \
         file or run `cableside logbook set-aside`, which renames it and deletes nothing: {}", path.display()
    )]
    NotALogbook {
        /// What it is instead.
        why: String,
        /// The database file.
        path: PathBuf,
    },
    /// The file that was to be merged is no logbook of this program.
    #[error("this cannot be merged: it is no logbook of this program ({why}); nothing was changed: {}", path.display())]
    OtherNotALogbook {
        /// What it is instead.
        why: String,
        /// The file.
        path: PathBuf,
    },
    /// The file that was to be merged is damaged.
    #[error("this cannot be merged: it is damaged ({detail}); nothing was changed. Try a backup of it: {}", path.display())]
    OtherDamaged {
        /// SQLite's words.
        detail: String,
        /// The file.
        path: PathBuf,
    },
    /// The database is damaged inside.
    #[error(
        "the logbook is damaged ({detail}). Restore it from a backup, or run `cableside logbook set-aside`, which \
         renames it, deletes nothing and lets you start an empty one: {}", path.display()
    )]
    Damaged {
        /// SQLite's words.
        detail: String,
        /// The database file.
        path: PathBuf,
    },
    /// Any other failure of the database.
    #[error("could not {doing} in the logbook: {source}: {}", path.display())]
    Database {
        /// What was being done.
        doing: &'static str,
        /// SQLite's error.
        source: rusqlite::Error,
        /// The database file.
        path: PathBuf,
    },
    /// The folder for the logbook is not there and cannot be made.
    #[error(
        "the folder for the logbook cannot be made ({source}); allow writing where it is to be, or name another place with \
         CABLESIDE_HOME: {}", path.display()
    )]
    NoFolder {
        /// The system's error.
        source: std::io::Error,
        /// The folder.
        path: PathBuf,
    },
    /// A file operation outside the database failed.
    #[error("could not {doing}: {source}: {}", path.display())]
    File {
        /// What was being done.
        doing: &'static str,
        /// The system's error.
        source: std::io::Error,
        /// The file or folder.
        path: PathBuf,
    },
    /// A recording was to be kept for somebody who has not consented to it.
    #[error(
        "no recording may be kept for {who}: consent has not been given. Keep the attempt without its recording, or \
         ask for consent first (`cableside logbook student consent`)"
    )]
    NoConsent {
        /// The student, or "an attempt without a student".
        who: String,
    },
    /// A recording's name belongs to another student or attempt.
    #[error("the recording {recording} does not belong to attempt {attempt}; ask for a name with begin_recording")]
    ForeignRecording {
        /// The recording's file name.
        recording: String,
        /// The attempt it was to be stored with.
        attempt: Uuid,
    },
    /// Consent was given for somebody whose guardian has to give it.
    #[error("for {who} a guardian has to answer; say who did (`--by NAME`), or store a refusal")]
    GuardianNeeded {
        /// The student.
        who: String,
    },
    /// Somebody without the role wants to judge.
    #[error("{who} is not an instructor; `cableside logbook student role NAME instructor` makes them one")]
    NotAnInstructor {
        /// Who.
        who: String,
    },
    /// An instructor with a PIN did not give it.
    #[error("{who} has a PIN; it is needed for this")]
    PinNeeded {
        /// Who.
        who: String,
    },
    /// The PIN is another one.
    #[error("this is not the PIN of {who}")]
    WrongPin {
        /// Who.
        who: String,
    },
    /// An instructor without a PIN wants to act where others have one.
    #[error(
        "{who} has no PIN, and others have: anybody could act in this name. `cableside logbook student pin` sets one, with \
         the PIN of another instructor"
    )]
    PinFirst {
        /// Who.
        who: String,
    },
    /// Too many wrong PINs.
    #[error("too many wrong PINs; the next can be tried in {seconds} seconds")]
    PinWait {
        /// How long.
        seconds: u64,
    },
    /// A name that people would take for another that is here: an instructor's for somebody else's, one class's for another's.
    #[error("the name \"{name}\" looks like {other}, which is here already; add something that tells the two apart")]
    LooksLike {
        /// The new name.
        name: String,
        /// Whose it looks like.
        other: String,
    },
    /// No class by that name or id.
    #[error("no class \"{asked}\" in the logbook; {}", if known.is_empty() {
        "there is none yet".to_owned()
    } else {
        format!("there are: {}", known.join(", "))
    })]
    NoSuchClass {
        /// What was asked for.
        asked: String,
        /// The names there are.
        known: Vec<String>,
    },
    /// No student by that name or id.
    #[error("no student \"{asked}\" in the logbook{}", suggestions(similar))]
    NoSuchStudent {
        /// What was asked for.
        asked: String,
        /// Students whose name contains the words asked for.
        similar: Vec<Student>,
    },
    /// Several students by that name or beginning of an id.
    #[error("\"{asked}\" could be any of these; say the id instead:{}", listed(matches))]
    AmbiguousStudent {
        /// What was asked for.
        asked: String,
        /// All who match.
        matches: Vec<Student>,
    },
    /// No attempt by that id.
    #[error("no attempt \"{asked}\" in the logbook; `cableside logbook list` shows the ids")]
    NoSuchAttempt {
        /// What was asked for.
        asked: String,
    },
    /// The beginning of an id fits more than one attempt.
    #[error("\"{asked}\" is the beginning of more than one attempt's id; give more of it")]
    AmbiguousAttempt {
        /// What was asked for.
        asked: String,
    },
    /// A row the logbook does not take.
    #[error("this cannot be stored in the logbook: {why}")]
    Invalid {
        /// What is wrong, and what would be right.
        why: String,
    },
    /// This student was removed for good; the id cannot come back.
    #[error("the student with the id {id} was forgotten; add them as a new student")]
    Forgotten {
        /// The id left behind.
        id: Uuid,
    },
    /// Writing an export failed.
    #[error("could not write the export: {0}")]
    Export(#[source] std::io::Error),
}

fn listed(students: &[Student]) -> String {
    students.iter().fold(String::new(), |mut text, s| {
        text.push_str("\n  ");
        text.push_str(&s.id.to_string());
        text.push_str("  ");
        text.push_str(&s.name);
        text
    })
}

fn suggestions(similar: &[Student]) -> String {
    if similar.is_empty() {
        "; `cableside logbook students` lists them".to_owned()
    } else {
        format!("; did you mean:{}", listed(similar))
    }
}

impl LogbookError {
    /// The same about another's logbook: setting one's own aside would be the wrong advice.
    pub(super) fn about_the_other(self) -> Self {
        match self {
            Self::NotALogbook { why, path } => Self::OtherNotALogbook { why, path },
            Self::Damaged { detail, path } => Self::OtherDamaged { detail, path },
            other => other,
        }
    }

    /// The same would be refused whenever it is tried again: the row itself, or whom it belongs to, is the matter, not the
    /// disk, a lock or the rights.
    pub fn is_for_good(&self) -> bool {
        match self {
            Self::Invalid { .. }
            | Self::ForeignRecording { .. }
            | Self::NoSuchStudent { .. }
            | Self::Forgotten { .. }
            | Self::NoConsent { .. } => true,
            Self::Database { source, .. } => source.sqlite_error_code() == Some(ErrorCode::ConstraintViolation),
            _ => false,
        }
    }
}

impl LogbookError {
    /// The same of what was written beside this file: it is its disk that is full, not that of what was read.
    pub(super) fn beside(self, path: &Path) -> Self {
        match self {
            Self::DiskFull { .. } => Self::DiskFull {
                path: path.to_path_buf(),
            },
            other => other,
        }
    }
}

/// Sorts SQLite's error into what the user can do about it.
pub(super) fn sorted(path: &Path, doing: &'static str, source: rusqlite::Error) -> LogbookError {
    let path = path.to_path_buf();
    match source.sqlite_error_code() {
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => LogbookError::Busy { path },
        // "Cannot open" during work is the journal that cannot be made beside the database.
        Some(ErrorCode::ReadOnly | ErrorCode::CannotOpen) => LogbookError::ReadOnly { path },
        Some(ErrorCode::DiskFull) => LogbookError::DiskFull { path },
        Some(ErrorCode::NotADatabase) => LogbookError::NotALogbook {
            why: "it is no SQLite database, or its beginning is destroyed".to_owned(),
            path,
        },
        Some(ErrorCode::DatabaseCorrupt) => LogbookError::Damaged {
            detail: source.to_string(),
            path,
        },
        _ if matches!(
            source,
            rusqlite::Error::FromSqlConversionFailure(..)
                | rusqlite::Error::IntegralValueOutOfRange(..)
                | rusqlite::Error::InvalidColumnType(..)
        ) =>
        {
            LogbookError::Damaged {
                detail: source.to_string(),
                path,
            }
        }
        _ => LogbookError::Database { doing, source, path },
    }
}

/// Turns a file error into one of this room's.
pub(super) fn file(doing: &'static str, path: &Path) -> impl FnOnce(std::io::Error) -> LogbookError {
    let path = path.to_path_buf();
    move |source| match source.kind() {
        std::io::ErrorKind::StorageFull => LogbookError::DiskFull { path },
        std::io::ErrorKind::ResourceBusy => LogbookError::Busy { path },
        _ => LogbookError::File { doing, source, path },
    }
}
