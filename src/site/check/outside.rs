//! What comes over a launch from outside: a radio that is dead, somebody else's stop. Both are the site's own words and signals.

use super::Builder;
use crate::site::raw;
use crate::site::{By, Direction, Element, Halt, Launch, Purpose, Signal, Step, Wording};
use std::collections::BTreeMap;
use toml::Spanned;

/// The file in which an element stands.
fn file_of(element: &Element) -> &'static str {
    if element.purpose == Purpose::Eventuality {
        crate::site::BRIEFING
    } else {
        "words.toml"
    }
}

/// The order of a launch, with what its steps hold.
struct LaunchOrder<'a> {
    ids: Vec<String>,
    steps: &'a [Step],
    elements: &'a BTreeMap<String, Element>,
}

impl LaunchOrder<'_> {
    fn place(&self, id: &str) -> Option<usize> {
        self.ids.iter().position(|o| o == id)
    }

    fn step(&self, id: &str) -> Option<&Step> {
        self.steps.iter().find(|s| s.id == id)
    }

    fn holds(&self, id: &str, purpose: Purpose) -> bool {
        let of = |e: &String| self.elements.get(e).is_some_and(|e| e.purpose == purpose);
        self.step(id).is_some_and(|s| s.elements.iter().any(of))
    }

    /// Behind the last report of readiness the pilot has done something by hand: the release.
    fn is_in_the_air(&self, place: usize) -> bool {
        let ready = self.ids.iter().rposition(|id| self.holds(id, Purpose::Readiness));
        ready.is_some_and(|ready| {
            place > ready
                && self.ids[ready..=place]
                    .iter()
                    .filter_map(|id| self.step(id))
                    .any(|s| s.by == By::Hand && s.speaker == "pilot")
        })
    }
}

impl Builder<'_> {
    /// The signal that takes the place of a call when the radio is dead.
    pub(super) fn backup(&mut self, step: &raw::RawStep, by: By, signals: &[Signal]) {
        let f = "steps.toml";
        let Some(backup) = &step.backup else { return };
        let known: Vec<String> = signals.iter().map(|s| s.id.clone()).collect();
        self.known(f, backup, "signal of site.toml", &known, "site.toml");
        if by != By::Radio {
            let instead = "Only a call by radio needs another way when the radio is dead.";
            self.no_effect(f, &backup.span(), "backup", instead);
        } else if !self.broken.contains("site.toml") && !signals.is_empty() && !signals.iter().any(|s| s.stops) {
            self.at(
                f,
                &backup.span(),
                "A launch goes on by signals here, and none of them stops it",
                "Give site.toml a [[signal]] with stops = true: whoever can start a launch without radio must be able to stop it.",
            );
        }
    }

    pub(super) fn halts(
        &mut self,
        raw: Vec<raw::RawHalt>,
        steps: &[Step],
        launch: Option<&Launch>,
        elements: &BTreeMap<String, Element>,
    ) -> Vec<Halt> {
        let f = "steps.toml";
        let order = LaunchOrder {
            ids: launch.map(|l| l.order.clone()).unwrap_or_default(),
            steps,
            elements,
        };
        let names: Vec<String> = elements.keys().cloned().collect();
        self.unique(f, "The halt", raw.iter().map(|h| &h.id));
        raw.into_iter()
            .map(|r| {
                self.places_of_halt(&r, &order);
                Halt {
                    id: r.id.into_inner(),
                    during: r.during.into_iter().map(Spanned::into_inner).collect(),
                    called: self.line(f, r.called, &names),
                    cleared: self.line(f, r.cleared, &names),
                    again: r.again.into_inner(),
                }
            })
            .collect()
    }

    /// A halt comes on the ground, and the launch goes on from something done before it.
    fn places_of_halt(&mut self, r: &raw::RawHalt, order: &LaunchOrder<'_>) {
        let f = "steps.toml";
        self.known(f, &r.again, "step in the order", &order.ids, f);
        let again = order.place(r.again.get_ref());
        let hooking_on = order.ids.iter().position(|id| order.holds(id, Purpose::Hook));
        if let (Some(again), Some(hook)) = (again, hooking_on)
            && again > hook
        {
            self.at(
                f,
                &r.again.span(),
                "Upon a stop the release is pulled, so that the cable is off",
                "Begin again at the first words of hooking on, or before them.",
            );
        }
        if r.during.is_empty() {
            self.at(
                f,
                &r.id.span(),
                format!("The halt \"{}\" never happens", r.id.get_ref()),
                "Name in `during` the steps before whose call it can.",
            );
        }
        for id in &r.during {
            self.known(f, id, "step in the order", &order.ids, f);
            let during = order.place(id.get_ref());
            if during.is_some_and(|n| order.is_in_the_air(n)) {
                self.at(
                    f,
                    &id.span(),
                    "A stop halts what is on the ground, and this step comes behind the release",
                    "Name steps before it; what fails in the air is a [[failure]].",
                );
            }
            if during.zip(again).is_some_and(|(n, again)| again > n) {
                self.at(
                    f,
                    &id.span(),
                    format!(
                        "The launch would go on behind \"{}\", which the stop comes before",
                        id.get_ref()
                    ),
                    "`again` is a step that has been done before, or this one.",
                );
            }
        }
    }

    /// A value that names the cable which goes first is dealt, and the cable is the site's.
    pub(super) fn first_cables(&mut self, elements: &BTreeMap<String, Element>, cables: &[Wording]) {
        for element in elements.values() {
            for value in &element.values {
                let Some(cable) = &value.cable else { continue };
                let file = file_of(element);
                let there = cables.iter().any(|c| &c.id == cable);
                if !there && self.broken.contains("site.toml") {
                    continue;
                }
                if !there {
                    let known: Vec<&str> = cables.iter().map(|c| c.id.as_str()).collect();
                    self.somewhere(
                        file,
                        cable,
                        format!("There is no cable \"{cable}\", which {} names", element.id),
                        format!("The [[cable]]s of site.toml are: {}.", known.join(", ")),
                    );
                } else if !element.is_dealt() {
                    let line = self.line_of(file, cable);
                    let wrong = format!("\"cable\" at a value of {} has no effect yet", element.id);
                    self.notice(
                        file,
                        line,
                        wrong,
                        "Only values that are dealt, each with its scene, decide which cable goes first.",
                    );
                }
            }
            // Where every value names one, the others are left out of everything that is dealt.
            if element.is_dealt() && element.values.iter().all(|v| v.cable.is_some()) {
                let named = |c: &&Wording| element.values.iter().any(|v| v.cable.as_ref() == Some(&c.id));
                for never in cables.iter().filter(|c| !named(c)) {
                    self.notice(
                        file_of(element),
                        None,
                        format!(
                            "The cable \"{}\" is never dealt: no value of {} names it",
                            never.id, element.id
                        ),
                        "Let a value name it, or leave `cable` away at one of the values.",
                    );
                }
            }
        }
    }

    /// What the launch direction decides: the directions named are the site's, and each has one value.
    pub(super) fn by_direction(&mut self, elements: &BTreeMap<String, Element>, directions: &[(bool, Direction)]) {
        let ids: Vec<&String> = directions.iter().map(|(_, d)| &d.id).collect();
        for element in elements.values().filter(|e| e.by_direction()) {
            let own = element.purpose == Purpose::Direction;
            let named: Vec<&String> = if own {
                element.values.iter().map(|v| &v.id).collect()
            } else {
                element.values.iter().flat_map(|v| &v.directions).collect()
            };
            let all = !self.broken.contains("site.toml");
            for name in named.iter().filter(|n| all && !ids.contains(n)) {
                let known: Vec<&str> = ids.iter().map(|d| d.as_str()).collect();
                self.somewhere(
                    file_of(element),
                    name,
                    format!("There is no direction \"{name}\", which {} names", element.id),
                    format!("The [[direction]]s of site.toml are: {}.", known.join(", ")),
                );
            }
            let rest = !own && element.values.iter().any(|v| v.directions.is_empty());
            for id in ids.iter().filter(|id| !rest && !named.contains(id)) {
                self.whole(
                    file_of(element),
                    format!("The element {} has no value for the direction \"{id}\"", element.id),
                    "Add the direction to one of its values, or a value without directions for all others.",
                );
            }
            if element.values.iter().any(|v| !v.types.is_empty()) {
                self.whole(
                    file_of(element),
                    format!("The values of {} depend on the type and on the direction", element.id),
                    "Make two elements of it.",
                );
            }
        }
    }
}
