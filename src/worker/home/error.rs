//! Why something with a file from another computer was not done, as sentences for the terminal; the window's are named in
//! `told`.

use crate::class::{LARGEST_SITE, PracticeError, ResultsError, SealError};
use crate::folders::content::ContentError;
use crate::logbook::LogbookError;
use std::path::PathBuf;

/// Why not.
#[derive(Debug, thiserror::Error)]
pub enum HomeError {
    /// A file cannot be used by the system's word.
    #[error("could not {doing} ({source}): {}", path.display())]
    File {
        /// What was being done.
        doing: &'static str,
        /// The system's reason.
        source: std::io::Error,
        /// The file or folder.
        path: PathBuf,
    },
    /// It is something else.
    #[error("this is no file of the program's: neither a site nor practice nor results: {}", .0.display())]
    NotOurs(PathBuf),
    /// A practice cannot be read.
    #[error("{source}: {}", path.display())]
    Practice {
        /// Why not.
        source: PracticeError,
        /// The file.
        path: PathBuf,
    },
    /// A practice cannot be made, or its site not be used.
    #[error(transparent)]
    Site(#[from] PracticeError),
    /// Results cannot be read, or were changed.
    #[error(transparent)]
    Results(#[from] ResultsError),
    /// Results cannot be made.
    #[error(transparent)]
    Seal(#[from] SealError),
    /// The logbook says so.
    #[error(transparent)]
    Logbook(#[from] LogbookError),
    /// The logbook says so in the middle.
    #[error("only {before} of {all} attempts, which stay; then: {source}")]
    Partly {
        /// Taken before it.
        before: usize,
        /// All of them.
        all: usize,
        /// Why not the next.
        source: Box<LogbookError>,
    },
    /// The site cannot be put among the user's own.
    #[error(transparent)]
    Content(#[from] ContentError),
    /// The class's secret is damaged.
    #[error(
        "could not read the class's secret (it is damaged; results of practice handed out before can no longer be checked. \
         Move it away to begin anew): {}", .0.display()
    )]
    Secret(PathBuf),
    /// There is no secret.
    #[error("nothing was handed out from this computer (and this data folder), so no results can come back to it")]
    NothingHandedOut,
    /// The student is not here.
    #[error("{0} is not in this logbook (any more), so their results have no place here")]
    NotHere(String),
    /// A site that is too large to be given along.
    #[error("the texts of the site {site} have {bytes} bytes; at most {LARGEST_SITE} can be given along in a practice")]
    LargeSite {
        /// Its id.
        site: String,
        /// Its size.
        bytes: usize,
    },
    /// Nothing was practised.
    #[error("there is nothing to hand in yet: practise first")]
    NothingYet,
    /// There are too many files of this name.
    #[error("could not write the results: {}", .0.display())]
    NoName(PathBuf),
}

impl HomeError {
    /// With the place of an input/output error.
    pub(super) fn file(doing: &'static str, path: &std::path::Path) -> impl FnOnce(std::io::Error) -> Self {
        let path = path.to_path_buf();
        move |source| Self::File { doing, source, path }
    }
}
