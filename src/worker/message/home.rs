//! What is asked and told of a file that came from another computer.

use super::Trouble;
use crate::class::Practice;
use std::path::PathBuf;
use uuid::Uuid;

/// What is wanted of such a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum HomeCommand {
    /// What is it?
    Open(PathBuf),
    /// Write the results of this practice beside it.
    HandIn {
        /// The practice.
        file: PathBuf,
        /// With the recordings, as far as they may be kept.
        recordings: bool,
    },
    /// Make the site of this practice one that can be loaded: the one that came with it, where there is none of its name.
    UseSite(PathBuf),
    /// Take these results into the logbook.
    TakeIn(PathBuf),
}

/// What is told of such a file.
#[derive(Debug, Clone)]
pub enum HomeEvent {
    /// It is an archive, and should be a site.
    Site(PathBuf),
    /// It is practice.
    Practice(Box<OpenedPractice>),
    /// It holds results, unchanged since they were sealed. Nothing was taken yet.
    Results(Box<LookedResults>),
    /// The site of a practice can be loaded by this name.
    SiteReady(String),
    /// The results are written.
    HandedIn(Box<HandedIn>),
    /// The results are in the logbook.
    TakenIn(Taken),
    /// Why not.
    Failed(Trouble),
}

/// Practice that was handed out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenedPractice {
    /// The file.
    pub file: PathBuf,
    /// What is to be practised.
    pub practice: Practice,
    /// The calls without an attempt yet, by place.
    pub open: Vec<usize>,
}

/// Results that could be taken in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LookedResults {
    /// The file.
    pub file: PathBuf,
    /// Whose.
    pub name: String,
    /// Attempts in it.
    pub attempts: usize,
    /// Recordings in it.
    pub recordings: usize,
    /// When they were sealed, by the student's computer.
    pub sealed: String,
}

/// Results that were written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandedIn {
    /// The file.
    pub file: PathBuf,
    /// Attempts in it.
    pub attempts: usize,
    /// Recordings in it.
    pub recordings: usize,
    /// Recordings that are not there any more.
    pub lost: usize,
    /// Calls not practised yet.
    pub left: usize,
}

/// What became of the attempts in results.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Taken {
    /// Stored now.
    pub stored: usize,
    /// Here already.
    pub here: usize,
    /// Removed here before; they stay removed.
    pub gone: usize,
    /// Stored without their recording, since there is no consent to recordings here.
    pub silent: usize,
    /// Left out, since the same calls were practised on another computer and came back from there already.
    pub twice: usize,
}

/// Practice to be handed out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandingOut {
    /// The class's name, as it stands in the practice.
    pub class: String,
    /// Who gets some.
    pub members: Vec<(Uuid, String)>,
    /// The steps to be practised.
    pub steps: Vec<String>,
    /// Calls for each student.
    pub calls: usize,
    /// Deal from this number, the same calls to everybody; else each student gets others.
    pub seed: Option<u64>,
    /// The folder for the files, one for each student; made where it is not there.
    pub folder: PathBuf,
}
