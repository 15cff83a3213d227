//! What can be steady or due.

use super::past::Past;
use crate::call::{Situation, Verdict};
use crate::site::{Callsign, Purpose, Site, Step, Wording};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Something a student can be more or less steady in.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Item {
    /// A whole step: every critical element of its call.
    Step {
        /// Step id.
        step: String,
    },
    /// That an element is said, and said right, in a step's call.
    Element {
        /// Step id.
        step: String,
        /// Element id.
        element: String,
    },
    /// The words for one of several values: a registration, a cable, a crew, a link.
    Value {
        /// Element id.
        element: String,
        /// The value, in its one written form.
        value: String,
    },
    /// Callsigns of one shape, whichever aircraft: see [`callsign_pattern`].
    Pattern {
        /// The shape.
        pattern: String,
    },
    /// Two values that are easily mixed up, the smaller one first.
    Pair {
        /// Element id.
        element: String,
        /// One value.
        one: String,
        /// The other.
        other: String,
    },
}

impl Item {
    /// A pair, in its one order.
    pub fn pair(element: &str, a: &str, b: &str) -> Self {
        let (one, other) = if a <= b { (a, b) } else { (b, a) };
        Self::Pair {
            element: element.to_owned(),
            one: one.to_owned(),
            other: other.to_owned(),
        }
    }
}

/// A callsign's shape: `A` for each letter, `9` for each digit ("A-AAAA" for G-CLRM, "A-9999" for D-4761).
pub fn callsign_pattern(callsign: &Callsign) -> String {
    let shape = |c: char| match c {
        '0'..='9' => '9',
        'A'..='Z' => 'A',
        other => other,
    };
    callsign.to_string().chars().map(shape).collect()
}

/// The values that situations of a site can ask for, of elements with more than one.
pub(super) fn open_values(site: &Site) -> BTreeMap<String, BTreeSet<String>> {
    let mut values: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    let mut add = |element: &str, value: String| {
        values.entry(element.to_owned()).or_default().insert(value);
    };
    for (id, element) in &site.elements {
        for aircraft in &site.fleet {
            match element.purpose {
                Purpose::Callsign => add(id, aircraft.registration.to_string()),
                Purpose::Type => add(id, aircraft.kind.clone()),
                Purpose::Link => aircraft.weak_link.iter().for_each(|link| add(id, link.clone())),
                Purpose::Crew => (1..=aircraft.seats).for_each(|crew| add(id, crew.to_string())),
                _ => {}
            }
        }
        if element.purpose == Purpose::Cable {
            site.cables.iter().for_each(|cable| add(id, cable.id.clone()));
        }
        if chosen_by_the_call(site, id) {
            for value in &element.values {
                add(id, value.id.clone());
            }
        }
    }
    values.retain(|_, v| v.len() > 1);
    values
}

/// Elements whose right value neither the aircraft nor the launch point settles.
pub(super) fn chosen_by_the_call(site: &Site, element: &str) -> bool {
    site.elements.get(element).is_some_and(|e| {
        let decided = |v: &Wording| !v.types.is_empty() || !v.directions.is_empty();
        !e.purpose.is_settled() && !e.values.iter().any(decided)
    })
}

/// Pairs that are easily mixed up whoever speaks: callsigns one slip apart (a character other, too much, too few, two
/// swapped: distance 1 of optimal string alignment), and both values where there are just two.
pub(super) fn known_pairs(site: &Site, values: &BTreeMap<String, BTreeSet<String>>) -> BTreeSet<Item> {
    let mut pairs = BTreeSet::new();
    for (element, of_element) in values {
        let purpose = site.purpose(element);
        let by_the_glider = matches!(purpose, Purpose::Type | Purpose::Link | Purpose::Callsign);
        for a in of_element {
            for b in of_element.iter().filter(|b| *b > a) {
                let close = purpose == Purpose::Callsign && strsim::osa_distance(a, b) <= 1;
                let two = !by_the_glider && of_element.len() == 2;
                if close || two {
                    pairs.insert(Item::pair(element, a, b));
                }
            }
        }
    }
    pairs
}

/// The items in a call of a step with these right values. `pairs` are those known so far.
pub(super) fn items_in(
    step: &Step,
    situation: &Situation,
    right: &BTreeMap<String, String>,
    open: &BTreeMap<String, BTreeSet<String>>,
    pairs: &BTreeSet<Item>,
) -> Vec<Item> {
    let mut items = vec![Item::Step { step: step.id.clone() }];
    for element in &step.elements {
        items.push(Item::Element {
            step: step.id.clone(),
            element: element.clone(),
        });
        if element == "callsign" {
            items.push(Item::Pattern {
                pattern: callsign_pattern(&situation.callsign),
            });
        }
        let Some(value) = right.get(element) else { continue };
        // A visitor's registration is no value of the site: it could not be dealt again.
        if !open.get(element).is_some_and(|o| o.contains(value)) {
            continue;
        }
        items.push(Item::Value {
            element: element.clone(),
            value: value.clone(),
        });
        items.extend(pairs.iter().filter(|p| in_pair(p, element, value)).cloned());
    }
    items
}

fn in_pair(pair: &Item, in_element: &str, value: &str) -> bool {
    matches!(pair, Item::Pair { element, one, other } if element == in_element && (one == value || other == value))
}

/// The mix-ups in a past call: another value of the site where the right one belongs.
pub(super) fn mixed_up(
    past: &Past,
    right: &BTreeMap<String, String>,
    open: &BTreeMap<String, BTreeSet<String>>,
) -> Vec<Item> {
    let of = |a: &super::past::Answered| {
        let (value, heard) = (right.get(&a.element)?, a.heard.as_ref()?);
        let known = open.get(&a.element)?;
        (a.verdict == Verdict::Wrong && heard != value && known.contains(heard))
            .then(|| Item::pair(&a.element, value, heard))
    };
    past.verdicts.iter().filter_map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pairs_of_the_sites_that_ship() {
        let site = crate::plan::deck::tests::site("larkmoor");
        let pairs = known_pairs(&site, &open_values(&site));
        let expected = [
            Item::pair("cable", "north", "south"),
            Item::pair("callsign", "D-4716", "D-4761"),
            Item::pair("callsign", "G-CLMR", "G-CLRM"),
            Item::pair("crew", "1", "2"),
            Item::pair("failure high", "left", "right"),
            Item::pair("speed", "too fast", "too slow"),
        ];
        assert_eq!(pairs.into_iter().collect::<Vec<_>>(), expected);
        let site = crate::plan::deck::tests::site("erlengrund");
        assert!(known_pairs(&site, &open_values(&site)).contains(&Item::pair("callsign", "D-3862", "D-3826")));
    }

    #[test]
    fn a_pattern_is_the_shape_of_a_callsign() {
        for (callsign, pattern) in [("G-CLRM", "A-AAAA"), ("D-4761", "A-9999"), ("N31029", "A99999")] {
            assert_eq!(callsign_pattern(&Callsign::parse(callsign).unwrap()), pattern);
        }
    }
}
