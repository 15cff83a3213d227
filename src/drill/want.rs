//! What is wanted of the student.

use crate::site::Language;
use serde::Serialize;

/// What the student must do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Want {
    /// Make the call of the step.
    Call,
    /// A readback was heard: let a right one stand, correct a wrong one, or stop.
    Readback,
    /// There is danger: release as pilot, stop as anybody else.
    Hazard,
    /// Something fails in the air: the hand acts, words come after it or not at all.
    Failure,
    /// After the hand, words: they may be left out.
    Words,
    /// Operate the release.
    Release,
    /// Give the signal of the step.
    Signal,
    /// The winch has refused: wait until it is ready.
    Wait,
    /// Somebody else has called stop: the hand, where it has something to stop; nothing goes on until it is settled.
    Halt,
    /// Somebody asks something in between: an answer may be given or not, and the call is wanted after it.
    Aside,
}

impl Want {
    /// What is wanted, as a short title in the site's language.
    pub fn text(self, language: Language) -> String {
        let key = match self {
            Self::Call => "want.call",
            Self::Readback => "want.readback",
            Self::Hazard | Self::Failure | Self::Halt => "want.hazard",
            Self::Words => "want.words",
            Self::Release => "want.release",
            Self::Signal => "want.signal",
            Self::Wait => "want.wait",
            Self::Aside => "want.aside",
        };
        language.text(key, &[])
    }
}
