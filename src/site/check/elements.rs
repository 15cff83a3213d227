//! Elements: their words, what must not be the same, what is spelled.

use super::{Builder, DeValue, Tables, is_digit};
use crate::call::words;
use crate::site::problem::Problem;
use crate::site::raw::{self, RawElements};
use crate::site::{Aircraft, Element, Station, Wording};
use std::collections::BTreeMap;

impl Builder<'_> {
    /// The tables under `[element]`, each given its shape on its own.
    pub(super) fn elements(&mut self, tables: &mut Tables) -> RawElements {
        let file = "words.toml";
        let mut out = RawElements::new();
        let Some(table) = tables.get_mut(file) else {
            return out;
        };
        let key = table.keys().find(|k| k.get_ref() == "element").cloned();
        let Some(value) = key.and_then(|k| table.remove(&k)) else {
            self.whole(
                file,
                "There is no [element.…] section",
                "Write one section for each part of the calls, such as [element.crew].",
            );
            return out;
        };
        let span = value.span();
        let DeValue::Table(elements) = value.into_inner() else {
            self.at(
                file,
                &span,
                "element is not a table",
                "Write [element.crew], [element.ready] and so on.",
            );
            return out;
        };
        for (name, value) in elements {
            if let Some(raw) = self.shape(file, value) {
                out.insert(name.into_inner().into_owned(), raw);
            }
        }
        out
    }

    pub(super) fn checked_elements(
        &mut self,
        raw: &RawElements,
        stations: &[Station],
        cables: &[Wording],
        fleet: &[Aircraft],
    ) -> BTreeMap<String, Element> {
        let w = "words.toml";
        let mut elements = BTreeMap::new();
        for (id, r) in raw {
            self.unique(w, "The value", r.value.iter().chain(&r.other).map(|v| &v.id));
            let mut values: Vec<Wording> = r.value.iter().map(|v| self.wording(w, v)).collect();
            match id.as_str() {
                "address" => values.extend(stations.iter().map(|s| s.address.clone())),
                "cable" => values.extend(cables.iter().cloned()),
                "type" => {
                    for a in fleet {
                        if !values.iter().any(|v| v.id == a.kind) {
                            values.push(Wording {
                                id: a.kind.clone(),
                                taught: a.kind.clone(),
                                understood: Vec::new(),
                                scene: None,
                            });
                        }
                    }
                }
                "link" => {
                    for a in fleet {
                        let Some(link) = &a.weak_link else { continue };
                        if !values.iter().any(|v| &v.id == link) {
                            let known: Vec<&str> = values.iter().map(|v| v.id.as_str()).collect();
                            self.whole(
                                "fleet.toml",
                                format!("The weak link \"{link}\" of {} has no words", a.registration),
                                format!("The element link of words.toml has: {}.", known.join(", ")),
                            );
                        }
                    }
                }
                _ => {}
            }
            if id == "crew" {
                for v in &r.value {
                    if !["1", "2"].contains(&v.id.get_ref().as_str()) {
                        self.at(
                            w,
                            &v.id.span(),
                            format!("The crew \"{}\" is no number of people", v.id.get_ref()),
                            "Use \"1\" and \"2\".",
                        );
                    }
                }
            }
            if values.is_empty() && id != "callsign" {
                self.at(
                    w,
                    &r.label.span(),
                    format!("The element \"{id}\" has no value"),
                    "Give it at least one value = [{ id = …, taught = … }].",
                );
            }
            let element = Element {
                id: id.clone(),
                label: r.label.get_ref().clone(),
                why: r.why.get_ref().clone(),
                values,
                incomplete: r.incomplete.iter().map(|t| self.words(w, t)).collect(),
                other: r.other.iter().map(|v| self.wording(w, v)).collect(),
                negated: r.negated.iter().map(|t| self.words(w, t)).collect(),
            };
            self.same_words(w, r, &element);
            elements.insert(id.clone(), element);
        }
        elements
    }

    /// A number or a spelling word alone cannot be told from the characters of the callsign beside it.
    pub(super) fn not_spelled(&mut self, element: &Element) {
        let (file, text) = match element.id.as_str() {
            "cable" | "address" => ("site.toml", "site.toml"),
            "type" => ("fleet.toml", "fleet.toml"),
            _ => ("words.toml", "words.toml"),
        };
        for v in element.values.iter().filter(|v| {
            let words = words::of(&v.taught);
            !words.is_empty()
                && words
                    .iter()
                    .all(|w| crate::site::spelling::letter(w).is_some() || is_digit(w))
        }) {
            let line = self.files.texts.get(text).and_then(|t| {
                let quoted = format!("\"{}\"", v.taught);
                t.lines().position(|l| l.contains(&quoted)).map(|n| n + 1)
            });
            self.found.push(Problem {
                file: file.to_owned(),
                line,
                wrong: format!("\"{}\" alone sounds like a part of the callsign", v.taught),
                right: format!("Teach it with its noun, such as \"{} {}\".", element.id, v.taught),
            });
        }
    }

    /// One wording for two values would let a wrong value pass.
    pub(super) fn same_words(&mut self, file: &str, raw: &raw::RawElement, element: &Element) {
        let mut seen: BTreeMap<Vec<String>, String> = BTreeMap::new();
        for v in element.values.iter().chain(&element.other) {
            for text in std::iter::once(&v.taught).chain(&v.understood) {
                if let Some(first) = seen.insert(words::of(text), v.id.clone())
                    && first != v.id
                {
                    self.at(
                        file,
                        &raw.label.span(),
                        format!(
                            "\"{text}\" stands for two values of {}: {first} and {}",
                            element.id, v.id
                        ),
                        "Words must mean one value only.",
                    );
                }
            }
        }
    }
}
