//! What is decided of one element, and of a call.

use super::delivery::Place;
use super::reason::Reason;
use crate::site::Language;
use serde::{Deserialize, Serialize};

/// The verdict on one element.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// The right value is in it.
    Said,
    /// Another value is in it.
    Wrong,
    /// Nothing is in it.
    Missing,
    /// The sound does not decide.
    Unsure,
}

impl Verdict {
    /// As a debrief names it, in a site's language.
    pub fn text(self, language: Language) -> String {
        language.text(
            match self {
                Self::Said => "verdict.said",
                Self::Wrong => "verdict.wrong",
                Self::Missing => "verdict.missing",
                Self::Unsure => "verdict.unsure",
            },
            &[],
        )
    }

    /// All verdicts, best first.
    pub const ALL: [Self; 4] = [Self::Said, Self::Wrong, Self::Missing, Self::Unsure];

    /// The word for it in results.
    pub fn word(self) -> &'static str {
        match self {
            Self::Said => "said",
            Self::Wrong => "wrong",
            Self::Missing => "missing",
            Self::Unsure => "unsure",
        }
    }
}

/// One element judged.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ElementVerdict {
    /// Element id.
    pub element: String,
    /// Decides the outcome.
    pub critical: bool,
    /// The verdict.
    pub verdict: Verdict,
    /// The value heard, in its one written form: for `missing` the half wording heard, if any.
    pub heard: Option<String>,
    /// The right value.
    pub expected: String,
    /// Nats between the best reading and the best one that would change the verdict; `None` when none is known.
    pub margin: Option<f32>,
    /// Why.
    pub reason: Reason,
    /// Where in the sound it was heard; `None` where nothing was, or where that is not known.
    #[serde(default)]
    pub place: Option<Place>,
}

/// The outcome of a call.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Outcome {
    /// Every critical element said.
    #[serde(rename = "pass")]
    Pass,
    /// Some critical element wrong or missing.
    #[serde(rename = "not yet")]
    NotYet,
    /// None wrong or missing, some critical element unsure.
    #[serde(rename = "say again")]
    SayAgain,
    /// No speech.
    #[serde(rename = "nothing heard")]
    NothingHeard,
}

impl Outcome {
    /// All outcomes, best first.
    pub const ALL: [Self; 4] = [Self::Pass, Self::NotYet, Self::SayAgain, Self::NothingHeard];

    /// The words for it in results.
    pub fn word(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::NotYet => "not yet",
            Self::SayAgain => "say again",
            Self::NothingHeard => "nothing heard",
        }
    }
}
