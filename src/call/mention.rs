//! One place in the words that speaks of an element, and how it stands.

use crate::site::language::Sense;
use serde::{Deserialize, Serialize};

/// What was said of one element.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Said {
    /// A value (the right one or another).
    Value(String),
    /// Half of a wording.
    Incomplete,
    /// The element denied.
    Negated,
}

/// One place in the words that speaks of an element.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mention {
    /// Index into the vocabulary's elements.
    pub element: usize,
    /// What it says.
    pub said: Said,
    /// The words, joined by spaces.
    pub words: String,
    /// First word and one past the last, as indexes into the words read.
    pub span: (usize, usize),
    /// In the club's own wording.
    pub taught: bool,
    /// A callsign with numbers spoken in pairs ("forty-seven").
    pub pairs: bool,
    /// A callsign begun, broken off and begun again.
    pub restarted: bool,
    /// How it stands.
    #[serde(default)]
    pub stance: Stance,
    /// Its words and those that do something to it, as indexes into the words read.
    #[serde(default)]
    pub reach: (usize, usize),
    /// The words beside it that make it stand so.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub by: String,
}

impl Mention {
    /// Said, and nothing done to it.
    pub fn is_plain(&self) -> bool {
        self.stance == Stance::Plain
    }
}

/// How a mention stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stance {
    /// Said, and nothing done to it.
    #[default]
    Plain,
    /// Denied ("not ready").
    Denied,
    /// Put off, or said by halves ("nearly ready", "ready in a minute").
    PutOff,
    /// Asked, or left as a choice ("are we ready").
    Asked,
    /// Taken back by what follows ("ready, wait").
    TakenBack,
    /// Said of somebody else ("they're ready").
    Others,
    /// A word that nothing explains stands beside it, or it is denied twice: nobody can tell.
    Open,
}

impl Stance {
    /// What a word does to those beside it; `None` for words that do nothing to them.
    pub fn of(sense: Sense) -> Option<Self> {
        match sense {
            Sense::Denies => Some(Self::Denied),
            Sense::PutsOff => Some(Self::PutOff),
            Sense::Asks => Some(Self::Asked),
            Sense::Others => Some(Self::Others),
            Sense::Corrects | Sense::TakesBack | Sense::Slips | Sense::SmallTalk | Sense::Joins => None,
        }
    }
}
