//! Why something with a file from another computer was not done, as sentences for the terminal and by name for the
//! window.

use crate::class::{LARGEST_SITE, PracticeError, ResultsError, SealError};
use crate::folders::content::ContentError;
use crate::logbook::LogbookError;
use crate::worker::message::Trouble;
use crate::worker::told::{Told, file, why};
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

impl Told for HomeError {
    fn told(&self) -> Trouble {
        let (key, facts) = match self {
            Self::File { source, path, .. } => ("file_failed", vec![("why", why(source)), file(path)]),
            Self::NotOurs(path) => ("home_other", vec![file(path)]),
            Self::Practice { source: e, .. } | Self::Site(e) => return e.told(),
            Self::Results(e) => return e.told(),
            Self::Seal(_) => ("results_not_made", Vec::new()),
            Self::Logbook(e) => return e.told(),
            Self::Partly { before, all, source } => {
                let facts = vec![
                    ("n", before.to_string()),
                    ("of", all.to_string()),
                    ("why", why(source.as_ref())),
                ];
                ("results_partly", facts)
            }
            Self::Content(e) => return e.told(),
            Self::Secret(path) => ("secret_damaged", vec![file(path)]),
            Self::NothingHandedOut => ("nothing_handed_out", Vec::new()),
            Self::NotHere(name) => ("results_whose", vec![("name", name.clone())]),
            Self::LargeSite { site, .. } => ("site_large", vec![("file", site.clone())]),
            Self::NothingYet => ("nothing_to_hand_in", Vec::new()),
            Self::NoName(path) => ("no_name_free", vec![file(path)]),
        };
        Trouble::named(key, self, facts)
    }
}
