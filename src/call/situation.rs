//! What is dealt to the student: what a right call must carry.

use crate::site::{Callsign, Purpose, Site, Step};
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
            .element_for(Purpose::Crew)
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
        let right = |element: &String| {
            let value = match site.purpose(element) {
                Purpose::Address => step.to.clone(),
                Purpose::Callsign => self.callsign.to_string(),
                Purpose::Crew => self.crew.to_string(),
                Purpose::Cable => self.cable.clone(),
                _ => self.value(site, element),
            };
            (element.clone(), value)
        };
        step.elements.iter().map(right).collect()
    }

    /// The right value of an element that neither the step nor the glider's place settles.
    fn value(&self, site: &Site, element: &str) -> String {
        let aircraft = site.aircraft(&self.callsign);
        let of_aircraft = match site.purpose(element) {
            Purpose::Type => aircraft.map(|a| a.kind.clone()),
            Purpose::Link => aircraft.and_then(|a| a.weak_link.clone()),
            _ => None,
        };
        let dealt = || self.more.get(element).cloned();
        let listed = || {
            let values = &site.elements.get(element)?.values;
            let kind = aircraft.map(|a| &a.kind);
            let of_type = values.iter().find(|v| kind.is_some_and(|k| v.types.contains(k)));
            let others = || values.iter().find(|v| v.types.is_empty());
            let value = of_type.or_else(others).or(values.first())?;
            Some(value.id.clone())
        };
        of_aircraft.or_else(dealt).or_else(listed).unwrap_or_default()
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
