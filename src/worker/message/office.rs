//! What the instructor's work with the record is asked and tells.

use super::Trouble;
use super::home::{HandingOut, Taken};
use super::papers::Wanted;
use crate::logbook::{
    AttemptSummary, Forgotten, Joined, Merged, Removed, Retention, Ruled, StoredAttempt, Student, Verdict,
};
use jiff::Timestamp;
use std::path::PathBuf;
use uuid::Uuid;

/// What the instructor's page wants.
#[derive(Debug, Clone, PartialEq)]
pub enum OfficeCommand {
    /// May it be used, and what waits there?
    Look,
    /// An instructor gives their PIN.
    Unlock {
        /// Who.
        who: Uuid,
        /// Their PIN.
        pin: String,
    },
    /// The PIN is asked for again.
    Lock,
    /// A call that is disputed, whole.
    Open(Uuid),
    /// Judge it.
    Judge(Ruling),
    /// Write a report.
    Report {
        /// Which.
        wanted: Wanted,
        /// The file; where there is one of this name already, a number is added.
        file: PathBuf,
    },
    /// Write the sheet of the site's calls for the wall.
    Wall(PathBuf),
    /// Write a practice file for each of these students.
    HandOut(HandingOut),
    /// Look into results: files, or folders with such files.
    LookIn(Vec<PathBuf>),
    /// Take results in: the files looked into.
    TakeIn(Vec<PathBuf>),
    /// Take over what is in another computer's logbook.
    Merge {
        /// Its database.
        other: PathBuf,
        /// Do it.
        sure: bool,
    },
    /// How long things are kept.
    Keep {
        /// Whose; `None`: on this computer.
        who: Option<Uuid>,
        /// The rule.
        keep: Retention,
        /// Do it.
        sure: bool,
    },
    /// One person: what is kept of them.
    Person(Uuid),
    /// Change something about a person.
    Change {
        /// Who.
        who: Uuid,
        /// What.
        change: PersonChange,
    },
    /// Join one entry into another of the same person.
    Join {
        /// The entry that goes.
        from: Uuid,
        /// The entry that stays.
        into: Uuid,
    },
    /// Remove a student with everything.
    Forget(Uuid),
    /// Remove one call with its recording.
    Remove(Uuid),
    /// Stop what goes on, where it can be stopped: what was done until then stays.
    Stop,
}

/// A judgement of a disputed call.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ruling {
    /// The call.
    pub attempt: Uuid,
    /// The verdicts that count instead, by element; with none the call stands as the program judged it.
    pub overrule: Vec<(String, Verdict)>,
    /// The instructor.
    pub by: Uuid,
    /// Why.
    pub reason: String,
}

/// A disputed call, whole.
#[derive(Debug, Clone)]
pub struct Reviewed {
    /// The call.
    pub stored: StoredAttempt,
    /// Whose it is.
    pub name: Option<String>,
    /// What was judged before.
    pub judgements: Vec<Ruled>,
}

/// What was handed out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandedOut {
    /// Into this folder.
    pub folder: PathBuf,
    /// So many files.
    pub files: usize,
    /// Of so many; more than were written where it was stopped.
    pub of: usize,
    /// So many practice files lay there before.
    pub before: usize,
}

/// What the instructor's page is told.
#[derive(Debug, Clone)]
pub enum OfficeEvent {
    /// It may be used. The instructor who gave their PIN; `None` where nobody has one.
    Unlocked(Option<Uuid>),
    /// A PIN is needed.
    Locked,
    /// The calls that wait to be judged, oldest first.
    Disputed(Vec<AttemptSummary>),
    /// One of them.
    Call(Box<Reviewed>),
    /// A call was judged.
    Ruled(Uuid),
    /// How long things are kept on this computer.
    Kept(Retention),
    /// What the next start would remove under a rule for somebody, or for this computer.
    KeepForeseen(Option<Uuid>, Retention, Removed),
    /// A file was written.
    Written(PathBuf),
    /// Practice was handed out.
    HandedOut(HandedOut),
    /// What is in files of results.
    Batch(Batch),
    /// They were taken in.
    BatchTaken(Batch),
    /// What a merge would bring and take away.
    MergeForeseen(PathBuf, Box<Merged>),
    /// What it brought and took away.
    Merged(Box<Merged>),
    /// A person.
    Person(Box<Person>),
    /// Two entries are one.
    Joined(Box<Joined>),
    /// A student is gone: the name, calls and recordings removed, what is to be seen to by hand.
    Forgotten(String, Box<Forgotten>),
    /// A call is gone.
    Removed(Uuid),
    /// A PIN is said to be forgotten: when it goes; `None`: it is gone.
    PinForgotten(Option<Timestamp>),
    /// So many of so many are done.
    Working(usize, usize),
    /// Why not.
    Failed(Trouble),
}

/// Several files of results, looked into or taken in.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Batch {
    /// Each file.
    pub sheets: Vec<Sheet>,
    /// It was stopped before the end: so many files were not looked at.
    pub left: usize,
}

/// One file of results.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sheet {
    /// The file.
    pub file: PathBuf,
    /// Whose: attempts and recordings in it, when it was sealed; or why it is not taken.
    pub inside: Result<(String, usize, usize, String), Trouble>,
    /// What became of it, once it was taken in.
    pub taken: Option<Taken>,
}

/// What is to change about a person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PersonChange {
    /// Another name.
    Name(String),
    /// Instructs, or does not.
    Instructor(bool),
    /// Only a guardian can consent, or not.
    Guardian(bool),
    /// Another PIN, or none: with the one there is now, where there is one.
    Pin {
        /// The PIN there is.
        old: String,
        /// The PIN there is to be.
        new: Option<String>,
    },
    /// The PIN is forgotten.
    PinForgotten,
}

/// A person, and what is kept of them.
#[derive(Debug, Clone)]
pub struct Person {
    /// Who.
    pub student: Student,
    /// Calls kept.
    pub attempts: u64,
    /// Recordings kept.
    pub recordings: usize,
    /// When somebody said that their PIN is forgotten.
    pub pin_forgotten: Option<Timestamp>,
    /// What the next start would remove of theirs, by the rules as they are.
    pub old: Removed,
    /// Their newest calls.
    pub calls: Vec<AttemptSummary>,
}
