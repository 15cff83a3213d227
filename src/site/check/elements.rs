//! Elements: their words, what must not be the same, what is spelled.

use super::{Builder, DeValue, Tables, half, is_digit};
use crate::site::language::Sense;
use crate::site::problem::Problem;
use crate::site::raw::{self, RawElements};
use crate::site::words;
use crate::site::{Aircraft, Element, Language, Purpose, Station, Step, Wording};
use std::collections::{BTreeMap, BTreeSet};
use toml::Spanned;

/// The file in which the values of an element stand.
fn file_of(element: &Element) -> &'static str {
    match element.purpose {
        Purpose::Cable | Purpose::Address => "site.toml",
        Purpose::Type => "fleet.toml",
        _ => "words.toml",
    }
}

/// Words that are said several times: fewer times are half of them.
fn said_often(values: &mut [Wording], incomplete: &mut Vec<String>, times: usize) {
    let often = |text: &String, n: usize| vec![text.as_str(); n].join(", ");
    for v in values.iter_mut().filter(|v| !v.taught.is_empty()) {
        for text in v.texts() {
            incomplete.extend((1..times).map(|n| often(text, n)));
        }
        v.taught = often(&v.taught, times);
        v.understood = v.understood.iter().map(|t| often(t, times)).collect();
    }
}

/// What the other files say of values.
struct Elsewhere<'a> {
    stations: &'a [Station],
    cables: &'a [Wording],
    fleet: &'a [Aircraft],
    language: Option<Language>,
}

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
        language: Option<Language>,
    ) -> BTreeMap<String, Element> {
        let elsewhere = Elsewhere {
            stations,
            cables,
            fleet,
            language,
        };
        let mut elements = BTreeMap::new();
        for (id, r) in raw {
            elements.insert(id.clone(), self.element(id, r, &elsewhere));
        }
        half::cables(&mut elements, language);
        elements
    }

    fn element(&mut self, id: &str, r: &raw::RawElement, elsewhere: &Elsewhere<'_>) -> Element {
        let w = "words.toml";
        self.unique(w, "The value", r.value.iter().chain(&r.other).map(|v| &v.id));
        let mut values: Vec<Wording> = r.value.iter().map(|v| self.wording(w, v)).collect();
        let purpose = self.purpose(id, r);
        if let Some(number) = &r.number {
            values.extend(self.numbers(number, elsewhere.language));
        }
        self.add_from_elsewhere(id, purpose, &mut values, elsewhere);
        self.fits_purpose(id, r, purpose);
        if values.is_empty() && purpose != Purpose::Callsign && !self.unread_elsewhere(purpose) {
            self.at(
                w,
                &r.label.span(),
                format!("The element \"{id}\" has no value"),
                "Give it at least one value = [{ id = …, taught = … }].",
            );
        }
        let mut incomplete: Vec<String> = r.incomplete.iter().map(|t| self.words(w, t)).collect();
        if let Some(times) = &r.times {
            let n = self.range(w, times, 1..=4);
            if purpose == Purpose::Stop && n > 1 {
                self.at(
                    w,
                    &times.span(),
                    "One stop is enough",
                    "Teach it as often as is the habit; take `times` away.",
                );
            }
            said_often(&mut values, &mut incomplete, usize::from(n));
        }
        if let Some(language) = elsewhere.language {
            half::numbers(purpose, &values, elsewhere.fleet, language, &mut incomplete);
        }
        let element = Element {
            id: id.to_owned(),
            purpose,
            asked: r.asked.as_ref().map(|t| self.words(w, t)),
            label: r.label.get_ref().clone(),
            why: r.why.get_ref().clone(),
            values,
            incomplete,
            other: r.other.iter().map(|v| self.wording(w, v)).collect(),
            negated: r.negated.iter().map(|t| self.words(w, t)).collect(),
        };
        self.same_words(w, &r.label, &element);
        self.scenes(w, &r.label, &element);
        element
    }

    /// The values of some elements stand in other files.
    fn add_from_elsewhere(&mut self, id: &str, purpose: Purpose, values: &mut Vec<Wording>, elsewhere: &Elsewhere<'_>) {
        match purpose {
            Purpose::Address => values.extend(elsewhere.stations.iter().map(|s| s.address.clone())),
            Purpose::Cable => values.extend(elsewhere.cables.iter().cloned()),
            Purpose::Type => {
                for a in elsewhere.fleet {
                    if !values.iter().any(|v| v.id == a.kind) {
                        values.push(Wording::plain(&a.kind, &a.kind, Vec::new()));
                    }
                }
            }
            Purpose::Link => {
                for a in elsewhere.fleet {
                    let Some(link) = &a.weak_link else { continue };
                    if !values.iter().any(|v| &v.id == link) {
                        let known: Vec<&str> = values.iter().map(|v| v.id.as_str()).collect();
                        self.somewhere(
                            "fleet.toml",
                            link,
                            format!("The weak link \"{link}\" of {} has no words", a.registration),
                            format!("The element {id} of words.toml has: {}.", known.join(", ")),
                        );
                    }
                }
            }
            _ => {}
        }
    }

    /// The values written are such as an element for this can have.
    fn fits_purpose(&mut self, id: &str, r: &raw::RawElement, purpose: Purpose) {
        let w = "words.toml";
        if purpose == Purpose::Crew {
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
        if let Some(own) = r.value.first()
            && matches!(purpose, Purpose::Address | Purpose::Callsign | Purpose::Cable)
        {
            let instead = match purpose {
                Purpose::Address => "Who is called is the step's `to`, with the words of its [[station]].",
                Purpose::Cable => "Cables and their words stand in site.toml, each a [[cable]].",
                _ => "A glider is named as `said_by` of fleet.toml has it.",
            };
            self.no_effect(w, &own.id.span(), &format!("value of {id}"), instead);
        }
    }

    /// The values of such an element stand in another file, and may be what could not be read of it.
    fn unread_elsewhere(&self, purpose: Purpose) -> bool {
        match purpose {
            Purpose::Address | Purpose::Cable => self.broken.contains("site.toml"),
            Purpose::Type => self.broken.contains("fleet.toml"),
            _ => false,
        }
    }

    /// Numbers as values, each spoken digit by digit.
    fn numbers(&mut self, raw: &raw::RawNumber, language: Option<Language>) -> Vec<Wording> {
        let w = "words.toml";
        let (from, to) = (*raw.from.get_ref(), *raw.to.get_ref());
        if from > to || usize::from(to - from) >= super::effects::MOST_WORDINGS {
            self.at(
                w,
                &raw.to.span(),
                format!("There are no numbers from {from} to {to}, or too many"),
                format!(
                    "Write the smaller one first, and at most {} of them.",
                    super::effects::MOST_WORDINGS
                ),
            );
            return Vec::new();
        }
        for text in [&raw.taught, &raw.scene].into_iter().chain(&raw.understood) {
            if !text.get_ref().contains("{number}") {
                self.at(
                    w,
                    &text.span(),
                    "The number is not in it",
                    "Write {number} where it belongs.",
                );
            }
        }
        let language = language.unwrap_or(Language::ENGLISH);
        let spoken = |n: u16| {
            let digits = n.to_string();
            let word = |c: char| c.to_digit(10).map(|d| language.digit_word(d as u8).to_owned());
            digits.chars().filter_map(word).collect::<Vec<_>>().join(" ")
        };
        let fill = |text: &Spanned<String>, number: &str| text.get_ref().replace("{number}", number);
        (from..=to)
            .map(|n| {
                let words = spoken(n);
                let understood = raw.understood.iter().map(|t| fill(t, &words)).collect();
                Wording {
                    scene: Some(fill(&raw.scene, &n.to_string())),
                    ..Wording::plain(n.to_string(), fill(&raw.taught, &words), understood)
                }
            })
            .collect()
    }

    /// What an element is for: as its file says, else as its id says.
    fn purpose(&mut self, id: &str, raw: &raw::RawElement) -> Purpose {
        let Some(name) = &raw.purpose else {
            return Purpose::of_id(id);
        };
        let known = Purpose::ALL.into_iter().find(|p| p.name() == name.get_ref());
        known.unwrap_or_else(|| {
            let names: Vec<&str> = Purpose::ALL.iter().map(|p| p.name()).collect();
            self.at(
                "words.toml",
                &name.span(),
                format!("\"{}\" is nothing an element can be for", name.get_ref()),
                format!("Use one of: {}.", names.join(", ")),
            );
            Purpose::Free
        })
    }

    /// A number or a spelling word alone cannot be told from the characters of the callsign beside it.
    pub(super) fn not_spelled(&mut self, element: &Element) {
        let file = file_of(element);
        for v in element.values.iter().filter(|v| {
            let words = words::of(&v.taught);
            !words.is_empty()
                && words
                    .iter()
                    .all(|w| crate::site::spelling::letter(w).is_some() || is_digit(w))
        }) {
            self.found.push(Problem {
                file: file.to_owned(),
                line: self.line_of(file, &v.taught),
                wrong: format!("\"{}\" alone sounds like a part of the callsign", v.taught),
                right: format!("Teach it with its noun, such as \"{} {}\".", element.id, v.taught),
            });
        }
    }

    /// The line of a file in which a text stands in quotes: where it is said to be spoken, if anywhere, since ids may be the same.
    pub(super) fn line_of(&self, file: &str, text: &str) -> Option<usize> {
        let quoted = format!("\"{text}\"");
        let lines = || {
            self.files
                .texts
                .get(file)
                .into_iter()
                .flat_map(|t| t.lines())
                .enumerate()
        };
        let spoken = |l: &str| ["taught", "understood", "address"].iter().any(|w| l.contains(w));
        let holds = |(_, l): &(usize, &str)| l.contains(&quoted);
        let found = lines()
            .filter(holds)
            .find(|(_, l)| spoken(l))
            .or_else(|| lines().find(holds));
        found.map(|(n, _)| n + 1)
    }

    /// A wording of a value that means something else in the same call could not be told from it: another element, a denial,
    /// a stop, or words that mean the same in every call.
    pub(super) fn other_meanings(
        &mut self,
        elements: &BTreeMap<String, Element>,
        steps: &[Step],
        language: Option<Language>,
    ) {
        let mut told: BTreeSet<(String, Vec<String>)> = BTreeSet::new();
        for step in steps {
            let own: Vec<&Element> = step.elements.iter().filter_map(|e| elements.get(e)).collect();
            let stop = elements
                .values()
                .find(|e| e.purpose == Purpose::Stop)
                .filter(|s| !step.elements.contains(&s.id));
            for (n, element) in own.iter().enumerate() {
                let mut meanings: Vec<(String, Vec<String>)> = Vec::new();
                let mut add = |what: String, texts: &mut dyn Iterator<Item = &str>| {
                    meanings.extend(texts.map(|t| (what.clone(), words::of(t))));
                };
                add(
                    format!("denies {}", element.id),
                    &mut element.negated.iter().map(String::as_str),
                );
                for other in own[..n].iter().copied().chain(stop) {
                    let texts = other.values.iter().flat_map(Wording::texts);
                    add(format!("is said for {}", other.id), &mut texts.map(String::as_str));
                }
                // Elsewhere a site may well mean something by such a word ("wait" to somebody who wants to leave).
                let a_name = matches!(element.purpose, Purpose::Address | Purpose::Cable | Purpose::Type);
                if let Some(language) = language.filter(|_| a_name) {
                    // Small words are as good as names ("launch" is a station's at many places), and small talk is as good as a cable's
                    // ("right"); the site's own meaning goes first.
                    let talk = element.purpose == Purpose::Cable;
                    let does = |s: Sense| !(s == Sense::Joins || talk && s == Sense::SmallTalk);
                    let senses = language.senses().filter(|(_, s)| does(*s));
                    add(
                        "has a meaning of its own in every call".to_owned(),
                        &mut senses.map(|(wording, _)| wording),
                    );
                }
                let texts = element.values.iter().chain(&element.other).flat_map(Wording::texts);
                for text in texts {
                    let said = words::of(text);
                    let Some((what, _)) = meanings.iter().find(|(_, words)| *words == said && !said.is_empty()) else {
                        continue;
                    };
                    if told.insert((element.id.clone(), said)) {
                        self.found.push(Problem {
                            file: file_of(element).to_owned(),
                            line: self.line_of(file_of(element), text),
                            wrong: format!("\"{text}\" for {} also {what}", element.id),
                            right: "Choose other words for one of them, or add a noun to it.".to_owned(),
                        });
                    }
                }
            }
        }
    }

    /// One wording for two values would let a wrong value pass.
    pub(super) fn same_words(&mut self, file: &str, at: &Spanned<String>, element: &Element) {
        let mut seen: BTreeMap<Vec<String>, String> = BTreeMap::new();
        for v in element.values.iter().chain(&element.other) {
            for text in v.texts() {
                if let Some(first) = seen.insert(words::of(text), v.id.clone())
                    && first != v.id
                {
                    self.at(
                        file,
                        &at.span(),
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
