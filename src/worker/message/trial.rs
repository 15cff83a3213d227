//! What the trial of microphone and loudspeaker is asked and tells.

use super::Trouble;
use crate::site::Language;
use crate::sound::{self, Levels};

/// What the trial wants.
#[derive(Debug)]
pub enum TrialCommand {
    /// Speak this sentence.
    Say {
        /// The sentence.
        text: String,
        /// Its language.
        language: Language,
    },
    /// Listen from now on.
    Listen,
    /// Enough was said.
    Enough,
    /// Play what was heard.
    Play,
    /// End it, throw away what was heard.
    End,
}

/// What the trial is told.
#[derive(Debug, Clone)]
pub enum TrialEvent {
    /// The sentence was spoken to its end.
    Said,
    /// The microphone is listened to.
    Listening,
    /// Nothing was recorded.
    NotListening,
    /// What was recorded.
    Recorded {
        /// How loud.
        levels: Levels,
        /// How long, seconds.
        seconds: f64,
        /// What went wrong.
        troubles: Vec<sound::ClipTrouble>,
    },
    /// What the recogniser heard; empty where no words were made out.
    Heard {
        /// The words.
        text: String,
        /// Every part of the call was in it.
        whole: bool,
    },
    /// The recogniser could not listen to it, for this reason.
    NotHeard(Trouble),
}
