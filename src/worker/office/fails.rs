//! Why something of the instructor's was not done. What happens every day has its text in every language.

use super::super::message::Trouble;
use super::super::told::{Told, why};
use crate::logbook::LogbookError;
use crate::worker::home::HomeError;
use crate::worker::papers::PaperError;
use std::path::PathBuf;

/// Why not.
#[derive(Debug)]
pub(super) enum Fail {
    /// The logbook says so.
    Logbook(LogbookError),
    /// No site is in use.
    NoSite,
    /// Nobody is in the class.
    Nobody,
    /// The days of a report are the wrong way round.
    Days,
    /// A file cannot be written.
    Write(PathBuf, std::io::Error),
    /// No name is free for one.
    NoName(PathBuf),
    /// A file from or for another computer.
    Home(Box<HomeError>),
    /// A report cannot be made, for this reason.
    Paper(PaperError),
}

impl From<LogbookError> for Fail {
    fn from(e: LogbookError) -> Self {
        Self::Logbook(e)
    }
}

impl From<HomeError> for Fail {
    fn from(e: HomeError) -> Self {
        Self::Home(Box::new(e))
    }
}

impl From<PaperError> for Fail {
    fn from(e: PaperError) -> Self {
        match e {
            PaperError::Logbook(e) => Self::Logbook(e),
            PaperError::Nobody => Self::Nobody,
            PaperError::Days => Self::Days,
            other => Self::Paper(other),
        }
    }
}

impl From<Fail> for Trouble {
    fn from(fail: Fail) -> Self {
        match fail {
            Fail::NoSite => Self::named("no_site", "choose a site first", Vec::new()),
            Fail::Nobody => Self::named("nobody", "there is nobody to do this for", Vec::new()),
            Fail::Days => Self::named("days", "the first day lies after the last", Vec::new()),
            Fail::Write(path, e) => {
                let file = path.display().to_string();
                let text = format!("could not write ({e}): {file}");
                Self::named("write", text, vec![("file", file), ("why", why(&e))])
            }
            Fail::NoName(path) => {
                let file = path.display().to_string();
                Self::named("no_name_free", format!("no name is free: {file}"), vec![("file", file)])
            }
            Fail::Home(e) => e.told(),
            Fail::Paper(e) => Self::named("no_paper", &e, vec![("why", e.to_string())]),
            Fail::Logbook(e) => e.told(),
        }
    }
}
