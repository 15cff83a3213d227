//! The words of one step at one site: what can be said, and what each wording means. It holds no situation.

use super::words;
use crate::site::{Language, Site, Step};

/// What a wording means.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Meaning {
    /// A value of an element; `taught` tells the club's own wording from one that means the same.
    Value {
        /// Index into [`Vocabulary::elements`].
        element: usize,
        /// The value.
        value: String,
        /// The club's own wording.
        taught: bool,
    },
    /// Half a wording: leaves the element missing.
    Incomplete {
        /// Index into [`Vocabulary::elements`].
        element: usize,
    },
    /// The element denied ("not ready").
    Negated {
        /// Index into [`Vocabulary::elements`].
        element: usize,
    },
    /// Takes back what was said before it.
    Correction,
    /// Hesitation or small talk.
    Filler,
    /// A small word that joins elements.
    Joiner,
}

impl Meaning {
    /// The element it speaks of.
    pub fn element(&self) -> Option<usize> {
        match self {
            Self::Value { element, .. } | Self::Incomplete { element } | Self::Negated { element } => Some(*element),
            _ => None,
        }
    }
}

/// A wording as words, with its meaning.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Phrase {
    /// Lower-case words, never empty.
    pub words: Vec<String>,
    /// What it means.
    pub meaning: Meaning,
}

/// Everything that can be said in a step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Vocabulary {
    /// The site's language.
    pub language: Language,
    /// Element ids in the taught order.
    pub elements: Vec<String>,
    /// The element that is spelled, if the step has one.
    pub spelled: Option<usize>,
    /// All wordings.
    pub phrases: Vec<Phrase>,
    /// How many of the elements are the step's own.
    own: usize,
}

impl Vocabulary {
    /// The words of a step in a whole launch: beside the step's own what is said to a wrong readback.
    pub fn in_launch(site: &Site, step: &Step) -> Self {
        let mut all = Self::of(site, step);
        for text in site.language.negatives() {
            all.phrases.push(Phrase {
                words: words::of(text),
                meaning: Meaning::Joiner,
            });
        }
        all
    }

    /// The index of the element that stops everything: it is part of every call's vocabulary, behind the step's own
    /// elements where it is none of them. `None` at a site without a step "stop".
    pub fn stop_of(site: &Site, step: &Step) -> Option<usize> {
        let own = step.elements.iter().position(|e| e == "stop");
        let stopping = site.step("stop").filter(|s| s.elements.iter().any(|e| e == "stop"));
        own.or_else(|| stopping.map(|_| step.elements.len()))
    }

    /// Does this call hold one or two elements of its own?
    pub fn is_short(&self) -> bool {
        self.own <= 2
    }

    /// The words of a step of a site.
    pub fn of(site: &Site, step: &Step) -> Self {
        let mut phrases: Vec<Phrase> = Vec::new();
        let mut add = |text: &str, meaning: Meaning| {
            let words = words::of(text);
            let known = phrases
                .iter()
                .any(|p| p.words == words && p.meaning.element() == meaning.element());
            if !words.is_empty() && !known {
                phrases.push(Phrase { words, meaning });
            }
        };
        let mut elements = step.elements.clone();
        if Self::stop_of(site, step) == Some(elements.len()) {
            elements.push("stop".to_owned());
        }
        for (element, id) in elements.iter().enumerate() {
            let Some(e) = site.elements.get(id) else {
                continue;
            };
            for v in &e.values {
                add(
                    &v.taught,
                    Meaning::Value {
                        element,
                        value: v.id.clone(),
                        taught: true,
                    },
                );
            }
            for v in &e.values {
                for text in &v.understood {
                    add(
                        text,
                        Meaning::Value {
                            element,
                            value: v.id.clone(),
                            taught: false,
                        },
                    );
                }
            }
            for v in &e.other {
                for text in std::iter::once(&v.taught).chain(&v.understood) {
                    add(
                        text,
                        Meaning::Value {
                            element,
                            value: v.id.clone(),
                            taught: false,
                        },
                    );
                }
            }
            // Where the site knows the words already, their own meaning stays.
            for text in site.language.elsewhere(id) {
                add(
                    text,
                    Meaning::Value {
                        element,
                        value: (*text).to_owned(),
                        taught: false,
                    },
                );
            }
            for text in &e.incomplete {
                add(text, Meaning::Incomplete { element });
            }
            for text in &e.negated {
                add(text, Meaning::Negated { element });
            }
        }
        // A call to somebody may begin with his name, also where that is no part of it ("Winch, stop").
        if !step.elements.iter().any(|e| e == "address")
            && let Some(station) = site.stations.iter().find(|s| s.id == step.to)
        {
            add(&station.address.taught, Meaning::Joiner);
            for text in &station.address.understood {
                add(text, Meaning::Joiner);
            }
        }
        for text in site.language.corrections() {
            add(text, Meaning::Correction);
        }
        for text in site.language.joiners() {
            add(text, Meaning::Joiner);
        }
        for text in site.language.fillers() {
            add(text, Meaning::Filler);
        }
        Self {
            language: site.language,
            own: step.elements.len(),
            elements,
            spelled: step.elements.iter().position(|e| e == "callsign"),
            phrases,
        }
    }
}
