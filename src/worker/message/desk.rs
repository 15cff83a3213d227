//! What the phrase desk is asked and tells.

use super::Trouble;
use crate::call::compare::{Difference, Effect};
use crate::folders::content::FileChange;
use crate::site::edit::Texts;
use crate::site::{Language, Line};
use std::collections::BTreeSet;
use std::path::PathBuf;

/// What the desk wants.
#[derive(Debug)]
pub enum DeskCommand {
    /// Lay a site on the desk: by name, or by its folder.
    Open(String),
    /// Make a copy of a site under a new name and lay it on the desk.
    Copy {
        /// The site copied, by name.
        from: String,
        /// The new site's name on screen; its id is made from it.
        name: String,
    },
    /// Keep these texts as the draft of a site.
    Keep {
        /// The site.
        id: String,
        /// All its TOML files.
        texts: Texts,
    },
    /// Throw the draft of a site away.
    Drop(String),
    /// Save: the draft becomes the site. The version before is kept in `.older`.
    Save {
        /// The site.
        id: String,
        /// All its TOML files.
        texts: Texts,
    },
    /// What saving these texts would change.
    Compare {
        /// The site.
        id: String,
        /// All its TOML files.
        texts: Texts,
    },
    /// Write the saved site as one file.
    Export {
        /// The site.
        id: String,
        /// The archive; without it one in the data folder's `exports`.
        file: Option<PathBuf>,
    },
    /// Look into an archive: nothing is written.
    Look(PathBuf),
    /// Take the site of an archive in; one of its name is replaced, and kept in `.older`.
    TakeIn(PathBuf),
    /// Let a line be heard.
    Hear {
        /// The line, without names in braces.
        line: Line,
        /// The site it belongs to, for its recording.
        id: String,
        /// The site's language.
        language: Language,
    },
    /// Record a prompt of a site: begins at once, ends with [`Self::RecordingDone`].
    Record {
        /// The site.
        id: String,
        /// The recording's place in the site's folder.
        name: String,
    },
    /// The prompt was spoken.
    RecordingDone,
    /// Throw the recording away.
    RecordingCancelled,
}

/// A site on the desk.
#[derive(Debug, Clone)]
pub struct Opened {
    /// The site's id.
    pub id: String,
    /// The user's own: it can be saved. Others are copied first.
    pub own: bool,
    /// Its texts as saved.
    pub texts: Texts,
    /// Its recordings and notes, those of the draft too.
    pub others: BTreeSet<String>,
    /// Texts of a draft that was left behind.
    pub draft: Option<Texts>,
}

/// What differs between the site as saved and another version of it.
#[derive(Debug, Clone)]
pub struct Changes {
    /// Files by name.
    pub files: Vec<(String, FileChange)>,
    /// What they say, in words. Empty where one of the two cannot be checked.
    pub differences: Vec<Difference>,
    /// Steps that judge by other words, with the old attempts of each: all, and those under the version saved.
    pub effects: Vec<(Effect, u64, u64)>,
    /// Both have this version: it should be counted up.
    pub same_version: Option<String>,
}

/// A site in an archive, not taken in yet.
#[derive(Debug, Clone)]
pub struct Looked {
    /// The archive.
    pub file: PathBuf,
    /// The site's id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
    /// What differs from the site of that name; none where there is none.
    pub changes: Option<Changes>,
}

/// What the desk is told.
#[derive(Debug)]
pub enum DeskEvent {
    /// A site lies on the desk.
    Opened(Box<Opened>),
    /// The draft is on disk.
    Kept(String),
    /// The draft is gone.
    Dropped(String),
    /// The site is saved.
    Saved {
        /// The site.
        id: String,
        /// Where the version before is kept.
        older: Option<PathBuf>,
    },
    /// What saving would change.
    Changes(Box<Changes>),
    /// The archive is written.
    Exported(PathBuf),
    /// What is in an archive.
    Looked(Box<Looked>),
    /// The site of an archive is there now.
    TakenIn {
        /// The site.
        id: String,
        /// Where the one before is kept.
        older: Option<PathBuf>,
    },
    /// A prompt is being recorded.
    Recording {
        /// Its place in the site's folder.
        name: String,
    },
    /// A prompt's recording has ended without one.
    NotRecorded {
        /// Its place in the site's folder.
        name: String,
    },
    /// A prompt is recorded, cut, levelled and kept with the draft.
    Recorded {
        /// The site.
        id: String,
        /// Its place in the site's folder.
        name: String,
        /// Length, seconds.
        seconds: f64,
    },
    /// Something could not be done; nothing was changed.
    Failed(Trouble),
}
