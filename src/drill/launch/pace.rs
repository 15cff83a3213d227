//! How much happens at the field.

use super::Want;
use serde::{Deserialize, Serialize};

/// How much happens at the field, and how long others wait for an answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Pace {
    /// Nothing gets in the way but a wrong readback now and then, and there is time.
    Unhurried,
    /// Now and then an interruption.
    #[default]
    Normal,
    /// Others are on the frequency and must be waited for; interruptions are usual.
    Busy,
}

impl Pace {
    /// Every pace, the calmest first.
    pub const ALL: [Self; 3] = [Self::Unhurried, Self::Normal, Self::Busy];

    /// Its name on a command line and in files.
    pub fn name(self) -> &'static str {
        match self {
            Self::Unhurried => "unhurried",
            Self::Normal => "normal",
            Self::Busy => "busy",
        }
    }

    /// How long silence lasts before it is taken for the student's answer, seconds. From trying it out, no source: a
    /// call takes a moment to be thought of, a right readback is let stand by saying nothing, and a hazard does not wait.
    pub fn patience(self, want: Want) -> f32 {
        let normal = match want {
            Want::Call | Want::Signal => 20.0,
            Want::Readback => 4.0,
            Want::Hazard | Want::Failure | Want::Halt => 5.0,
            Want::Words | Want::Aside | Want::Wait => 6.0,
            Want::Release => 8.0,
        };
        match self {
            // Long enough to read the scene and to type a whole briefing.
            Self::Unhurried if want == Want::Call => 180.0,
            Self::Unhurried if want == Want::Release => 60.0,
            // A right readback is let stand by silence, and nobody wants to wait long for that; whoever types is waited for.
            Self::Unhurried if want == Want::Readback => 20.0,
            Self::Unhurried => normal * 3.0,
            Self::Normal => normal,
            Self::Busy => normal * 0.75,
        }
    }
}

impl std::str::FromStr for Pace {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let found = Self::ALL.into_iter().find(|p| p.name() == text);
        found.ok_or_else(|| format!("\"{text}\" is no pace; use unhurried, normal or busy"))
    }
}
