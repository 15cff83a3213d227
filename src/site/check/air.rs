//! What is briefed and what can fail in the air: eventualities, height bands, failures; and the site's signals.

use super::Builder;
use crate::site::raw;
use crate::site::{BRIEFING, Band, Element, Eventuality, Failure, Purpose, Signal, Step, Wording};
use std::collections::{BTreeMap, BTreeSet};
use toml::Spanned;

/// How a signal can be given.
const SIGNALS: [&str; 4] = ["lamp", "bats", "horn", "arm"];

impl Builder<'_> {
    /// The parts of the briefing. Each is an element too, so that a step can ask for it.
    pub(super) fn eventualities(
        &mut self,
        raw: &[raw::RawEventuality],
        elements: &mut BTreeMap<String, Element>,
    ) -> Vec<Eventuality> {
        let b = BRIEFING;
        self.unique(b, "The eventuality", raw.iter().map(|x| &x.id));
        raw.iter()
            .map(|r| {
                let id = r.id.get_ref().clone();
                self.unique(b, "The value", r.value.iter().chain(&r.other).map(|v| &v.id));
                let mut values: Vec<Wording> = r.value.iter().map(|v| self.wording(b, v)).collect();
                match (&r.taught, values.is_empty()) {
                    (Some(taught), true) => {
                        let understood = r.understood.iter().map(|t| self.words(b, t)).collect();
                        values.push(Wording::plain(&id, self.words(b, taught), understood));
                    }
                    (None, false) if r.understood.is_empty() => {}
                    (None, true) => self.at(
                        b,
                        &r.id.span(),
                        format!("The eventuality \"{id}\" has no words"),
                        "Give it taught = \"…\", or one value = [{ id = …, taught = … }] for each type or day.",
                    ),
                    _ => self.at(
                        b,
                        &r.id.span(),
                        format!("The eventuality \"{id}\" has words of its own and values beside them"),
                        "Give it either taught and understood, or value.",
                    ),
                }
                if elements.contains_key(&id) {
                    self.at(
                        b,
                        &r.id.span(),
                        format!("\"{id}\" is an element of words.toml already"),
                        "Give the eventuality a name of its own.",
                    );
                }
                let label = r.label.get_ref().clone();
                let element = Element {
                    id: id.clone(),
                    purpose: Purpose::Eventuality,
                    asked: None,
                    label: label.clone(),
                    why: r.why.clone().unwrap_or_default(),
                    values,
                    incomplete: r.incomplete.iter().map(|t| self.words(b, t)).collect(),
                    other: r.other.iter().map(|v| self.wording(b, v)).collect(),
                    negated: Vec::new(),
                };
                self.same_words(b, &r.label, &element);
                self.scenes(b, &r.label, &element);
                elements.insert(id.clone(), element);
                Eventuality { id, label }
            })
            .collect()
    }

    /// Values that are dealt must be told by what is seen, or nobody can know the right one.
    pub(super) fn scenes(&mut self, file: &str, at: &Spanned<String>, element: &Element) {
        let free = matches!(element.purpose, Purpose::Free | Purpose::Eventuality);
        if let Some(v) = element.values.iter().find(|v| v.taught.is_empty())
            && !(free && element.is_dealt())
        {
            self.at(
                file,
                &at.span(),
                format!("The value \"{}\" of {} has no words", v.id, element.id),
                "Only one of several values that are dealt, each with its scene, may be that nothing is said of it.",
            );
        }
        if !element.is_dealt() {
            return;
        }
        for v in element.values.iter().filter(|v| v.scene.is_none()) {
            self.at(
                file,
                &at.span(),
                format!("Nobody can see that \"{}\" is the right value of {}", v.id, element.id),
                "Give each of its values a scene = \"…\", or types = [ … ] where the glider's type decides.",
            );
        }
    }

    /// The types that values name must be in the fleet, and each glider must have one value of such an element.
    pub(super) fn types(&mut self, elements: &BTreeMap<String, Element>, kinds: &BTreeSet<&str>) {
        for element in elements.values() {
            let file = if element.purpose == Purpose::Eventuality {
                BRIEFING
            } else {
                "words.toml"
            };
            let named: Vec<&String> = element.values.iter().flat_map(|v| &v.types).collect();
            if named.is_empty() {
                continue;
            }
            for kind in &named {
                if !self.broken.contains("fleet.toml") && !kinds.contains(kind.as_str()) {
                    let known: Vec<&str> = kinds.iter().copied().collect();
                    self.somewhere(
                        file,
                        kind,
                        format!("No glider of fleet.toml is a \"{kind}\", which {} names", element.id),
                        format!("There are: {}.", known.join(", ")),
                    );
                }
            }
            let rest = element.values.iter().any(|v| v.types.is_empty());
            for kind in kinds.iter().filter(|k| !rest && !named.iter().any(|n| n == *k)) {
                self.whole(
                    file,
                    format!("The element {} has no value for the type \"{kind}\"", element.id),
                    "Add the type to one of its values, or a value without types for all others.",
                );
            }
        }
    }

    pub(super) fn bands(&mut self, raw: Vec<raw::RawBand>) -> Vec<Band> {
        let b = BRIEFING;
        let mut last = 0;
        self.unique(b, "The height band", raw.iter().map(|r| &r.name));
        raw.into_iter()
            .map(|r| {
                let (from, to) = (*r.from.get_ref(), r.to.as_ref().map(|t| *t.get_ref()));
                if from < last || to.is_some_and(|t| t <= from) {
                    self.at(
                        b,
                        &r.from.span(),
                        "The height bands overlap or stand upside down",
                        "Write them lowest first, each ending above its start.",
                    );
                }
                last = to.unwrap_or(u16::MAX);
                let unit = r.unit.as_ref().map(|u| self.one_of(b, u, &["metres", "feet"]));
                Band {
                    name: r.name.into_inner(),
                    from,
                    to,
                    feet: unit.as_deref() == Some("feet"),
                    answer: self.words(b, &r.answer),
                }
            })
            .collect()
    }

    pub(super) fn failures(
        &mut self,
        raw: Vec<raw::RawFailure>,
        steps: &[Step],
        elements: &BTreeMap<String, Element>,
        bands: &[Band],
    ) -> Vec<Failure> {
        let f = "steps.toml";
        let ids: Vec<String> = steps.iter().map(|s| s.id.clone()).collect();
        let names: Vec<String> = bands.iter().map(|b| b.name.clone()).collect();
        self.unique(f, "The failure", raw.iter().map(|h| &h.id));
        raw.into_iter()
            .map(|r| {
                for id in &r.after {
                    self.known(f, id, "step", &ids, f);
                }
                if r.after.is_empty() {
                    self.at(
                        f,
                        &r.id.span(),
                        format!("The failure \"{}\" never happens", r.id.get_ref()),
                        "Name in `after` the steps behind which it can.",
                    );
                }
                if let Some(call) = &r.call {
                    self.known(f, call, "step", &ids, f);
                }
                if let Some(band) = &r.band {
                    self.known(f, band, "height band of briefing.toml", &names, BRIEFING);
                }
                // A value is that of an element of either file.
                let of = if self.broken.contains(BRIEFING) {
                    BRIEFING
                } else {
                    "words.toml"
                };
                for (element, value) in &r.when {
                    let values: Vec<String> = elements
                        .get(element)
                        .map(|e| e.values.iter().map(|v| v.id.clone()).collect())
                        .unwrap_or_default();
                    self.known(f, value, &format!("value of {element}"), &values, of);
                }
                self.no_braces(f, &r.scene);
                Failure {
                    sound: self.sound(f, r.sound.as_ref(), r.clip),
                    scene: self.words(f, &r.scene),
                    id: r.id.into_inner(),
                    label: r.label.into_inner(),
                    after: r.after.into_iter().map(Spanned::into_inner).collect(),
                    when: r.when.into_iter().map(|(e, v)| (e, v.into_inner())).collect(),
                    band: r.band.map(Spanned::into_inner),
                    call: r.call.map(Spanned::into_inner),
                }
            })
            .collect()
    }

    pub(super) fn signals(&mut self, raw: Vec<raw::RawSignal>) -> Vec<Signal> {
        let s = "site.toml";
        self.unique(s, "The signal", raw.iter().filter_map(|r| r.id.as_ref()));
        raw.into_iter()
            .map(|r| {
                if r.id.is_none() {
                    let instead = "Give it an id and `by`, and let a step be done by it (by = \"signal\").";
                    self.no_effect(s, &r.shows.span(), "signal", instead);
                }
                Signal {
                    by: r.by.as_ref().map(|by| self.one_of(s, by, &SIGNALS)).unwrap_or_default(),
                    shows: self.words(s, &r.shows),
                    meaning: self.words(s, &r.meaning),
                    stops: r.stops,
                    id: r.id.map(Spanned::into_inner).unwrap_or_default(),
                }
            })
            .collect()
    }
}
