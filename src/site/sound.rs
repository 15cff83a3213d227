//! What is heard beside words.

use super::Language;
use serde::{Deserialize, Serialize};

/// What is heard beside words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Sound {
    /// Made by the program where there is no recording.
    pub noise: Noise,
    /// A recording, relative to the site's folder.
    pub clip: Option<String>,
}

/// Sounds that the program can make.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Noise {
    /// A wing tip on the grass.
    Scrape,
    /// Somebody calls out.
    Shout,
    /// A glider passes close by.
    Glider,
    /// A piston engine.
    Engine,
    /// Steps on grass and a dog.
    Steps,
    /// A steel cable jerks tight.
    Jerk,
    /// A telephone.
    Phone,
    /// The release is pulled.
    Clack,
    /// A cable parts.
    Bang,
    /// A horn, as of a vehicle.
    Horn,
}

impl Noise {
    /// Every sound.
    pub const ALL: [Self; 10] = [
        Self::Scrape,
        Self::Shout,
        Self::Glider,
        Self::Engine,
        Self::Steps,
        Self::Jerk,
        Self::Phone,
        Self::Clack,
        Self::Bang,
        Self::Horn,
    ];

    /// What is heard, in a site's language.
    pub fn text(self, language: Language) -> String {
        language.text(&format!("sound.{}", self.name()), &[])
    }

    /// Its name in a site's files.
    pub fn name(self) -> &'static str {
        match self {
            Self::Scrape => "scrape",
            Self::Shout => "shout",
            Self::Glider => "glider",
            Self::Engine => "engine",
            Self::Steps => "steps",
            Self::Jerk => "jerk",
            Self::Phone => "phone",
            Self::Clack => "clack",
            Self::Bang => "bang",
            Self::Horn => "horn",
        }
    }
}
