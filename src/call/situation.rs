//! What is dealt to the student: what a right call must carry.

use crate::site::{Callsign, Direction, Element, Need, Purpose, Site, Step, naming};
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
    /// This glider was called by its callsign on the frequency and answered: a short form will do where the site allows it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub contact: bool,
    /// Only one cable is laid out.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub single: bool,
    /// The launch direction, by its id, where something said depends on it; else the usual one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub direction: Option<String>,
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
            contact: false,
            single: false,
            direction: None,
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

    /// The launch direction: the one dealt, else the site's usual one.
    pub fn direction<'s>(&self, site: &'s Site) -> Option<&'s Direction> {
        let dealt = self.direction.as_ref();
        let named = dealt.and_then(|id| site.directions.iter().find(|d| &d.id == id));
        named.or_else(|| site.directions.first())
    }

    /// The right value of each element of a step.
    pub fn values(&self, site: &Site, step: &Step) -> BTreeMap<String, String> {
        let right = |element: &String| {
            let value = match site.purpose(element) {
                Purpose::Address => site.called(step, &self.cable).to_owned(),
                Purpose::Callsign => self.forms(site, step).swap_remove(0).join(" "),
                Purpose::Crew => self.crew.to_string(),
                Purpose::Cable => self.cable.clone(),
                Purpose::Direction => self.direction(site).map(|d| d.id.clone()).unwrap_or_default(),
                _ => self.value(site, element),
            };
            (element.clone(), value)
        };
        step.elements.iter().map(right).collect()
    }

    /// How the glider may be called in a step, the taught form first; each form is the parts that are said. There is at least one.
    pub fn forms(&self, site: &Site, step: &Step) -> Vec<Vec<String>> {
        naming::forms(site, step, &self.callsign, self.contact)
    }

    /// Must an element be in the call of a step, may it be, or is it taught without?
    pub fn need(&self, site: &Site, step: &Step, element: &str) -> Need {
        let aircraft = site.aircraft(&self.callsign);
        let dealt = || {
            site.elements
                .get(element)?
                .values
                .iter()
                .find(|v| Some(&v.id) == self.more.get(element))
        };
        // The right value today may be that nothing is said.
        if dealt().is_some_and(|v| v.taught.is_empty()) {
            return Need::Never;
        }
        let only_some = |says: Option<bool>| match says {
            Some(false) => Need::Never,
            _ => Need::Required,
        };
        match site.purpose(element) {
            Purpose::Type => {
                let ready = site.ready_step().map(|s| &s.id);
                let in_ready =
                    Some(&step.id) == ready || step.readback_of.is_some() && step.readback_of.as_ref() == ready;
                match aircraft.and_then(|a| a.say_type) {
                    None if in_ready => site.customs.type_in_ready_call.unwrap_or(Need::Required),
                    says => only_some(says),
                }
            }
            Purpose::Crew => only_some(aircraft.and_then(|a| a.say_crew)),
            Purpose::Cable if self.single && site.customs.cable_may_be_dropped_when_single => Need::Optional,
            _ => Need::Required,
        }
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
            let direction = self.direction(site).map(|d| &d.id);
            let of_type = values.iter().find(|v| kind.is_some_and(|k| v.types.contains(k)));
            let of_direction = || {
                values
                    .iter()
                    .find(|v| direction.is_some_and(|d| v.directions.contains(d)))
            };
            let others = || values.iter().find(|v| v.types.is_empty() && v.directions.is_empty());
            let value = of_type.or_else(of_direction).or_else(others).or(values.first())?;
            Some(value.id.clone())
        };
        of_aircraft.or_else(dealt).or_else(listed).unwrap_or_default()
    }

    /// What is seen before a step's call: the step's own scene and those of the right values.
    pub fn scene(&self, site: &Site, step: &Step) -> Option<String> {
        let all: Vec<String> = step.scene.clone().into_iter().chain(self.known(site, step)).collect();
        (!all.is_empty()).then(|| all.join(" "))
    }

    /// What must be known to make a step's call right, beside glider, crew and cable: the scenes of what was dealt, and what was before.
    pub fn known(&self, site: &Site, step: &Step) -> Vec<String> {
        let values = self.values(site, step);
        let of_values = values.iter().filter_map(|(element, value)| {
            let wordings = &site.elements.get(element)?.values;
            wordings.iter().find(|w| &w.id == value)?.scene.clone()
        });
        let says = |purpose| site.place_in(step, purpose).is_some();
        // Where there is nothing to shorten it does not matter.
        let contact = self.contact && says(Purpose::Callsign) && {
            let before = Self {
                contact: false,
                ..self.clone()
            };
            before.forms(site, step) != self.forms(site, step)
        };
        let single = self.single && says(Purpose::Cable);
        let depends = |e: &String| site.elements.get(e).is_some_and(Element::by_direction);
        let direction = step.elements.iter().any(depends);
        let direction = self.direction(site).filter(|_| direction).map(|d| {
            let name = [("direction", d.name.as_str())];
            site.language.text("scene.direction", &name)
        });
        let known = [(contact, "scene.contact"), (single, "scene.single_cable")];
        let known = known
            .into_iter()
            .filter(|(so, _)| *so)
            .map(|(_, key)| site.language.text(key, &[]));
        direction.into_iter().chain(of_values).chain(known).collect()
    }

    /// The call as taught, in words.
    pub fn taught_call(&self, site: &Site, step: &Step) -> String {
        let values = self.values(site, step);
        let template = crate::site::without(&step.taught, |name| {
            values.contains_key(name) && self.need(site, step, name) == Need::Never
        });
        let text = crate::site::fill(&template, |name| {
            let value = values.get(name)?;
            let words = site.taught_words(name, value)?;
            let spelled = site.purpose(name) == Purpose::Callsign;
            Some(if spelled { title_case(&words) } else { words })
        });
        // Each sentence of a longer call begins with a capital, as in print.
        let sentences: Vec<String> = text.split(". ").map(super::words::capital).collect();
        sentences.join(". ")
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
