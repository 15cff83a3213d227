//! What is dealt to the student: what a right call must carry.

use crate::site::{Callsign, Site, Step};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The situation of one turn.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Situation {
    /// The glider.
    pub callsign: Callsign,
    /// People on board, 1 or 2.
    pub crew: u8,
    /// The cable's id.
    pub cable: String,
    /// Values of other elements, where the step leaves a choice (too fast or too slow); by element id.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub more: BTreeMap<String, String>,
}

/// Why a situation cannot be dealt at a site.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SituationError {
    /// The site has no such cable.
    #[error("the site {site} has no cable \"{cable}\"; it has: {known}")]
    Cable {
        /// Site id.
        site: String,
        /// What was asked.
        cable: String,
        /// What there is.
        known: String,
    },
    /// The site has no word for this crew.
    #[error("the site {site} has no words for a crew of {crew}; it has: {known}")]
    Crew {
        /// Site id.
        site: String,
        /// What was asked.
        crew: u8,
        /// What there is.
        known: String,
    },
}

impl Situation {
    /// A glider with its crew on a cable.
    pub fn new(callsign: Callsign, crew: u8, cable: impl Into<String>) -> Self {
        Self {
            callsign,
            crew,
            cable: cable.into(),
            more: BTreeMap::new(),
        }
    }

    /// Check that the site has what the situation names. A callsign outside the fleet is allowed: a visitor may launch.
    pub fn check(&self, site: &Site) -> Result<(), SituationError> {
        if !site.cables.iter().any(|c| c.id == self.cable) {
            let known: Vec<&str> = site.cables.iter().map(|c| c.id.as_str()).collect();
            return Err(SituationError::Cable {
                site: site.id.clone(),
                cable: self.cable.clone(),
                known: known.join(", "),
            });
        }
        let crews: Vec<&str> = site
            .elements
            .get("crew")
            .map(|e| e.values.iter().map(|v| v.id.as_str()).collect())
            .unwrap_or_default();
        if !crews.is_empty() && !crews.contains(&self.crew.to_string().as_str()) {
            return Err(SituationError::Crew {
                site: site.id.clone(),
                crew: self.crew,
                known: crews.join(", "),
            });
        }
        Ok(())
    }

    /// The right value of each element of a step.
    pub fn values(&self, site: &Site, step: &Step) -> BTreeMap<String, String> {
        step.elements
            .iter()
            .map(|e| {
                let value = match e.as_str() {
                    "address" => step.to.clone(),
                    "callsign" => self.callsign.to_string(),
                    "crew" => self.crew.to_string(),
                    "cable" => self.cable.clone(),
                    "type" | "link" if self.of_aircraft(site, e).is_some() => {
                        self.of_aircraft(site, e).unwrap_or_default()
                    }
                    other if self.more.contains_key(other) => self.more[other].clone(),
                    other => site
                        .elements
                        .get(other)
                        .and_then(|x| x.values.first())
                        .map(|v| v.id.clone())
                        .unwrap_or_default(),
                };
                (e.clone(), value)
            })
            .collect()
    }

    /// What is seen before a step's call: the step's own scene and those of the right values.
    pub fn scene(&self, site: &Site, step: &Step) -> Option<String> {
        let values = self.values(site, step);
        let of_values = values.iter().filter_map(|(element, value)| {
            let wordings = &site.elements.get(element)?.values;
            wordings.iter().find(|w| &w.id == value)?.scene.clone()
        });
        let all: Vec<String> = step.scene.clone().into_iter().chain(of_values).collect();
        (!all.is_empty()).then(|| all.join(" "))
    }

    /// What the fleet says of this aircraft: its type, and the link named in the type's own data.
    fn of_aircraft(&self, site: &Site, element: &str) -> Option<String> {
        let aircraft = site.aircraft(&self.callsign)?;
        match element {
            "type" => Some(aircraft.kind.clone()),
            _ => aircraft.weak_link.clone(),
        }
    }

    /// The call as taught, in words.
    pub fn taught_call(&self, site: &Site, step: &Step) -> String {
        let values = self.values(site, step);
        let text = crate::site::fill(&step.taught, |name| {
            let value = values.get(name)?;
            let words = site.taught_words(name, value)?;
            Some(if name == "callsign" { title_case(&words) } else { words })
        });
        let mut chars = text.chars();
        chars
            .next()
            .map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
    }
}

/// Words of a callsign as in print: letters are names and have a capital.
pub(crate) fn title_case(words: &str) -> String {
    let cap = |w: &str| {
        let mut c = w.chars();
        // Digit words stay small as in ordinary writing; letters' words are names.
        match c.next() {
            Some(f) if crate::site::spelling::letter(w).is_some() => f.to_uppercase().chain(c).collect(),
            _ => w.to_owned(),
        }
    };
    words.split(' ').map(cap).collect::<Vec<_>>().join(" ")
}
