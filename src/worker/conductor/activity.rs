//! What the conductor is at: one thing at a time. A new kind of practice is one more variant and one more file.

use super::ear::Listening;
use super::flight::Flight;
use crate::drill::{Answer, Turn};
use crate::plan::Level;
use std::time::Instant;
use uuid::Uuid;

/// A single turn under way.
pub(super) struct Run {
    pub(super) turn: Turn,
    pub(super) id: Uuid,
    pub(super) prompt_end: Option<Instant>,
    pub(super) answer: Option<Answer>,
    pub(super) level: Level,
    /// What another pilot says first.
    pub(super) interruption: Option<String>,
    /// The key went down while somebody else spoke.
    pub(super) over: bool,
}

/// See above. Beginning one ends the other.
pub(super) enum Activity {
    /// Nothing.
    Idle,
    /// A single turn.
    Turn(Box<Run>),
    /// A whole launch.
    Launch(Box<Flight>),
    /// Another pilot's call that is listened to.
    Ear(Box<Listening>),
}

impl Activity {
    pub(super) fn run(&self) -> Option<&Run> {
        match self {
            Self::Turn(run) => Some(run),
            _ => None,
        }
    }

    pub(super) fn run_mut(&mut self) -> Option<&mut Run> {
        match self {
            Self::Turn(run) => Some(run),
            _ => None,
        }
    }

    pub(super) fn flight(&self) -> Option<&Flight> {
        match self {
            Self::Launch(flight) => Some(flight),
            _ => None,
        }
    }

    pub(super) fn flight_mut(&mut self) -> Option<&mut Flight> {
        match self {
            Self::Launch(flight) => Some(flight),
            _ => None,
        }
    }

    pub(super) fn ear(&self) -> Option<&Listening> {
        match self {
            Self::Ear(listening) => Some(listening),
            _ => None,
        }
    }

    pub(super) fn ear_mut(&mut self) -> Option<&mut Listening> {
        match self {
            Self::Ear(listening) => Some(listening),
            _ => None,
        }
    }
}
