//! What is briefed by height, what can fail in the air or come from outside, the place's own signals, what its directions decide.

use super::{Element, Line, Site, Sound};
use std::collections::BTreeMap;

/// A signal of the place, given without words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signal {
    /// Id used by steps.
    pub id: String,
    /// "lamp", "bats", "horn" or "arm"; empty where the site does not say.
    pub by: String,
    /// What is seen or heard.
    pub shows: String,
    /// What it means at this place.
    pub meaning: String,
    /// It stops everything.
    pub stops: bool,
}

/// Something that fails in the air: whoever has a hand on it acts first, then speaks or not.
#[derive(Debug, Clone, PartialEq)]
pub struct Failure {
    /// Id.
    pub id: String,
    /// Name on screen.
    pub label: String,
    /// What is seen.
    pub scene: String,
    /// Steps behind which it can happen.
    pub after: Vec<String>,
    /// Elements and the values they must have been dealt.
    pub when: BTreeMap<String, String>,
    /// The height band in which it happens, by its name.
    pub band: Option<String>,
    /// The step whose words may follow; those of stop where there is none.
    pub call: Option<String>,
    /// What is heard of it.
    pub sound: Option<Sound>,
}

/// Somebody else calls stop while all are on the ground; once it is settled the launch begins again.
#[derive(Debug, Clone, PartialEq)]
pub struct Halt {
    /// Id.
    pub id: String,
    /// Steps before whose call it can come.
    pub during: Vec<String>,
    /// Who calls stop, and how.
    pub called: Line,
    /// Who says that it is settled.
    pub cleared: Line,
    /// The step from which everything is done again.
    pub again: String,
}

/// A height band of the briefing. Shown only with the caution to brief it with the local instructor.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// Name.
    pub name: String,
    /// Above the field.
    pub from: u16,
    /// Above the field, open at the top when absent.
    pub to: Option<u16>,
    /// Heights in feet; else in metres.
    pub feet: bool,
    /// What is briefed for it.
    pub answer: String,
}

impl Signal {
    /// What is seen or heard of it, and who gives it where that is known.
    pub fn text(&self, site: &Site, role: Option<&str>) -> String {
        let by = if self.by.is_empty() {
            String::new()
        } else {
            site.language.text(&format!("signal.{}", self.by), &[])
        };
        let who = role.map_or("", |r| site.role_name(r));
        let key = if role.is_some() {
            "signal.given"
        } else {
            "signal.itself"
        };
        site.language
            .text(key, &[("who", who), ("by", &by), ("shows", &self.shows)])
    }
}

impl Band {
    /// What is briefed for it, with its heights and the caution to brief one's own.
    pub fn text(&self, site: &Site) -> String {
        let unit = site
            .language
            .text(if self.feet { "band.feet" } else { "band.metres" }, &[]);
        let height = match (self.from, self.to) {
            (0, Some(to)) => site
                .language
                .text("band.up_to", &[("to", &to.to_string()), ("unit", &unit)]),
            (from, None) => site
                .language
                .text("band.from", &[("from", &from.to_string()), ("unit", &unit)]),
            (from, Some(to)) => {
                let names = [("from", from.to_string()), ("to", to.to_string())];
                let [from, to] = &names;
                site.language
                    .text("band.between", &[(from.0, &from.1), (to.0, &to.1), ("unit", &unit)])
            }
        };
        let parts = [
            ("site", site.name.as_str()),
            ("name", &self.name),
            ("height", &height),
            ("answer", &self.answer),
        ];
        site.language.text("band.briefed", &parts)
    }
}

impl Site {
    /// The cable that goes with what was dealt, where the site says which goes first.
    pub fn first_cable(&self, dealt: &BTreeMap<String, String>) -> Option<&String> {
        let value = |(element, id): (&String, &String)| {
            let values = &self.elements.get(element)?.values;
            values.iter().find(|v| &v.id == id)?.cable.as_ref()
        };
        dealt.iter().find_map(value)
    }

    /// Does anything that is said depend on the launch direction?
    pub fn direction_matters(&self) -> bool {
        self.directions.len() > 1 && self.elements.values().any(Element::by_direction)
    }

    /// Has the place signals for when the radio is dead?
    pub fn has_backup(&self) -> bool {
        self.steps.iter().any(|s| s.backup.is_some())
    }
}
