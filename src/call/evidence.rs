//! What the judge gets: readings of the words with their weights, and how much else could have been said.

use super::reading::{self, Reading};
use super::vocabulary::Vocabulary;
use serde::{Deserialize, Serialize};

/// A reading with its weight.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Scored {
    /// The reading.
    pub reading: Reading,
    /// Natural logarithm of its weight, relative to the best reading of the same evidence: 0 for the best, below 0 for
    /// the others (nats).
    pub score: f32,
}

/// Evidence for one call.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// False when no speech was found; then there are no readings.
    pub speech: bool,
    /// Why no speech was found, for the student.
    pub silence: Option<String>,
    /// What free transcription wrote, for the debrief only: verdicts do not rest on it.
    pub transcript: String,
    /// Readings, best first.
    pub readings: Vec<Scored>,
    /// How much better free text explains the sound than the best reading does, in nats a second of speech; large values
    /// mean that something else may have been said. 0 for typed calls.
    pub foreign: f32,
    /// Mean log-probability a token of the best reading, nats (0 is certain). 0 for typed calls.
    pub fit: f32,
    /// The search was ended by its limit: what was not found may still be there.
    pub unfinished: bool,
    /// Words of the best reading for each second of speech; `None` for typed calls.
    pub pace: Option<f32>,
}

impl Evidence {
    /// No speech.
    pub fn silence(why: impl Into<String>) -> Self {
        Self {
            speech: false,
            silence: Some(why.into()),
            transcript: String::new(),
            readings: Vec::new(),
            foreign: 0.0,
            fit: 0.0,
            unfinished: false,
            pace: None,
        }
    }

    /// A typed call: one reading, nothing unsure.
    pub fn typed(vocabulary: &Vocabulary, text: &str) -> Self {
        let reading = reading::read(vocabulary, text);
        if reading.words.is_empty() {
            return Self::silence("nothing was typed");
        }
        Self {
            speech: true,
            silence: None,
            transcript: text.trim().to_owned(),
            readings: vec![Scored { reading, score: 0.0 }],
            foreign: 0.0,
            fit: 0.0,
            unfinished: false,
            pace: None,
        }
    }
}
