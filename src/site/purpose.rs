//! What an element is for.

use serde::{Deserialize, Serialize};

/// What an element of a call is for. Code asks for this, never for an element's id, which is the site's choice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Purpose {
    /// Who is called.
    Address,
    /// Which glider: its characters are spelled.
    Callsign,
    /// How many people are on board.
    Crew,
    /// Which cable.
    Cable,
    /// How the glider is launched.
    Method,
    /// That nothing is left to be done.
    Readiness,
    /// The glider's type.
    Type,
    /// The weak link of the glider's type.
    Link,
    /// Words upon which something moves: all clear, slack out, a permission.
    Motion,
    /// Asks for something: that is no question left open.
    Request,
    /// The hook opens or closes; behind the last such words the cable is on.
    Hook,
    /// Stops everything.
    Stop,
    /// The launch direction.
    Direction,
    /// A part of the briefing: what would be done if something happened. It is put off and supposed by its nature.
    Eventuality,
    /// Anything else.
    Free,
}

impl Purpose {
    /// Every purpose.
    pub const ALL: [Self; 15] = [
        Self::Address,
        Self::Callsign,
        Self::Crew,
        Self::Cable,
        Self::Method,
        Self::Readiness,
        Self::Type,
        Self::Link,
        Self::Motion,
        Self::Request,
        Self::Hook,
        Self::Stop,
        Self::Direction,
        Self::Eventuality,
        Self::Free,
    ];

    /// Its name in a site's files.
    pub fn name(self) -> &'static str {
        match self {
            Self::Address => "address",
            Self::Callsign => "callsign",
            Self::Crew => "crew",
            Self::Cable => "cable",
            Self::Method => "method",
            Self::Readiness => "readiness",
            Self::Type => "type",
            Self::Link => "link",
            Self::Motion => "motion",
            Self::Request => "request",
            Self::Hook => "hook",
            Self::Stop => "stop",
            Self::Direction => "direction",
            Self::Eventuality => "eventuality",
            Self::Free => "free",
        }
    }

    /// What an element is for whose site does not say so: what its id says.
    pub(crate) fn of_id(id: &str) -> Self {
        match id {
            // Sites written before purposes had names were judged by these ids.
            "ready" => Self::Readiness,
            "slack" | "permission" | "clear" => Self::Motion,
            "retrieve" | "check" => Self::Request,
            "open" | "close" => Self::Hook,
            // A name that sites may have for something else.
            "direction" => Self::Free,
            _ => Self::ALL.into_iter().find(|p| p.name() == id).unwrap_or(Self::Free),
        }
    }

    /// Does its right value stand in the situation itself, and not among values that are dealt?
    pub fn is_settled(self) -> bool {
        matches!(
            self,
            Self::Address | Self::Callsign | Self::Crew | Self::Cable | Self::Type | Self::Link | Self::Direction
        )
    }

    /// Does something begin to move upon it? Then half a yes is a no.
    pub fn moves(self) -> bool {
        matches!(self, Self::Readiness | Self::Motion)
    }
}
