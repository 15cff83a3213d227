//! What a worker starts with.

use super::ears::Loader;
use super::keeper::LogbookPlace;
use super::message::SituationRequest;
use std::path::PathBuf;

/// What a worker works with.
pub struct Options {
    /// Look for sites in this folder first.
    pub phrases: Option<PathBuf>,
    /// Where the logbook is.
    pub logbook: LogbookPlace,
    /// Makes the recogniser, on its own thread.
    pub loader: Loader,
    /// Use microphone, loudspeaker and voice. Without them calls can be typed or handed in as clips.
    pub sound: bool,
    /// Microphone and loudspeaker by name; `None` is the system's default.
    pub input: Option<String>,
    /// See `input`.
    pub output: Option<String>,
    /// Deal this, always.
    pub situation: Option<SituationRequest>,
    /// Launch in this direction, by its id, where something said depends on it; else it is dealt.
    pub direction: Option<String>,
    /// The step practised.
    pub step: String,
}
