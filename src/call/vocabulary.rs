//! The words of one step at one site: what can be said, and what each wording means. It holds no situation.

use super::words;
use crate::site::{Language, Site, Step, Wording};

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
    /// Takes back or holds up what was said before it, without saying what is right ("wait").
    Withdrawal {
        /// Only where nothing else follows: elsewhere it sounds like something else.
        last: bool,
    },
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
            let words = words::of(text);
            all.phrases.retain(|p| p.words != words);
            all.phrases.push(Phrase {
                words,
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
            // Words that mean something at the site mean nothing in general.
            let known = phrases.iter().any(|p| {
                p.words == words
                    && (p.meaning.element() == meaning.element() || matches!(meaning, Meaning::Withdrawal { .. }))
            });
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
                for text in v.texts() {
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
            // "Not two up" is not two up. The launch method is left out: "not winch cable" sounds like "north winch cable".
            if ["crew", "cable"].contains(&id.as_str()) {
                for text in e.values.iter().flat_map(Wording::texts) {
                    add(
                        &format!("{} {text}", site.language.denying()),
                        Meaning::Negated { element },
                    );
                }
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
        for (texts, meaning) in in_every_call(site.language) {
            for text in texts {
                add(text, meaning.clone());
            }
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

/// Words that mean the same in every call of a language.
fn in_every_call(language: Language) -> [(&'static [&'static str], Meaning); 5] {
    [
        (language.corrections(), Meaning::Correction),
        (language.withdrawals(), Meaning::Withdrawal { last: false }),
        (language.withdrawals_at_the_end(), Meaning::Withdrawal { last: true }),
        (language.joiners(), Meaning::Joiner),
        (language.fillers(), Meaning::Filler),
    ]
}
