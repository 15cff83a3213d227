//! Why something of the instructor's was not done. What happens every day has its text in every language.

use super::super::message::{Trouble, sentence};
use crate::logbook::LogbookError;
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
    /// Anything else, as a sentence.
    Other(String),
}

impl From<LogbookError> for Fail {
    fn from(e: LogbookError) -> Self {
        Self::Logbook(e)
    }
}

impl From<PaperError> for Fail {
    fn from(e: PaperError) -> Self {
        match e {
            PaperError::Logbook(e) => Self::Logbook(e),
            PaperError::Nobody => Self::Nobody,
            PaperError::Days => Self::Days,
            other => Self::Other(other.to_string()),
        }
    }
}

impl From<Fail> for Trouble {
    fn from(fail: Fail) -> Self {
        let known = |key, text: String, facts: Vec<(&'static str, String)>| Self {
            text: sentence(&text),
            key: Some(key),
            facts,
        };
        match fail {
            Fail::NoSite => known("no_site", "choose a site first".to_owned(), Vec::new()),
            Fail::Nobody => known("nobody", "there is nobody to do this for".to_owned(), Vec::new()),
            Fail::Days => known("days", "the first day lies after the last".to_owned(), Vec::new()),
            Fail::Write(path, e) => {
                let (file, why) = (path.display().to_string(), e.to_string());
                let text = format!("could not write ({why}): {file}");
                known("write", text, vec![("file", file), ("why", why)])
            }
            Fail::Other(text) => text.into(),
            Fail::Logbook(e) => {
                let text = e.to_string();
                match e {
                    LogbookError::WrongPin { who } => known("wrong_pin", text, vec![("who", who)]),
                    LogbookError::PinNeeded { who } => known("pin_needed", text, vec![("who", who)]),
                    LogbookError::PinFirst { who } => known("pin_first", text, vec![("who", who)]),
                    LogbookError::PinWait { seconds } => known("pin_wait", text, vec![("n", seconds.to_string())]),
                    LogbookError::NotAnInstructor { who } => known("no_instructor", text, vec![("who", who)]),
                    LogbookError::LooksLike { name, other } => {
                        known("looks_like", text, vec![("name", name), ("other", other)])
                    }
                    LogbookError::GuardianNeeded { who } => known("guardian", text, vec![("who", who)]),
                    LogbookError::OtherNotALogbook { path, .. } => {
                        known("no_logbook", text, vec![("file", path.display().to_string())])
                    }
                    LogbookError::OtherDamaged { path, .. } => {
                        known("damaged", text, vec![("file", path.display().to_string())])
                    }
                    LogbookError::ReadOnly { .. } => known("read_only", text, Vec::new()),
                    LogbookError::DiskFull { .. } => known("disk_full", text, Vec::new()),
                    LogbookError::Busy { .. } => known("busy", text, Vec::new()),
                    _ => text.into(),
                }
            }
        }
    }
}
