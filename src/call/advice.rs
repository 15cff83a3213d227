//! What could be said better: never part of a verdict.

use super::reading::{Mention, Reading, Said};
use super::stance::Stance;
use super::verdict::{ElementVerdict, Verdict};
use super::words;
use crate::site::{Language, Site, Step, placeholders};
use serde::{Deserialize, Serialize};
use std::fmt;

/// Advice: never changes a verdict.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "about")]
pub enum Advice {
    /// Understood, but the site teaches other words.
    Wording {
        /// Element id.
        element: String,
        /// Words said.
        said: String,
        /// Words taught.
        taught: String,
    },
    /// Digits spoken as pairs.
    NumberPairs {
        /// Words said.
        said: String,
        /// Words taught.
        taught: String,
    },
    /// The elements came in another order than taught.
    Order {
        /// Labels in the taught order.
        taught: String,
    },
    /// The callsign was begun twice.
    Restarted,
    /// A slip was corrected in the standard way.
    Corrected,
    /// Hesitations and small talk.
    Fillers {
        /// The words.
        words: String,
    },
    /// Another value was denied beside the right one ("not south, north").
    Denied {
        /// The words.
        words: String,
    },
    /// What makes the value heard differ from the right one, in the site's words.
    Explained {
        /// The sentence.
        text: String,
    },
    /// Words that belong to no element.
    Extra {
        /// The words.
        words: String,
    },
}

impl Advice {
    /// The sentence for the student.
    pub fn text(&self, language: Language) -> String {
        match self {
            Self::Wording { said, taught, .. } => {
                language.text("advice.wording", &[("said", said), ("taught", taught)])
            }
            Self::NumberPairs { said, taught } => language.text("advice.pairs", &[("said", said), ("taught", taught)]),
            Self::Order { taught } => language.text("advice.order", &[("taught", taught)]),
            Self::Restarted => language.text("advice.restarted", &[]),
            Self::Corrected => language.text("advice.corrected", &[]),
            Self::Fillers { words } => language.text("advice.fillers", &[("words", words)]),
            Self::Denied { words } => language.text("advice.denied", &[("words", words)]),
            Self::Explained { text } => text.clone(),
            Self::Extra { words } => language.text("advice.extra", &[("words", words)]),
        }
    }
}

impl fmt::Display for Advice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text(Language::ENGLISH))
    }
}

/// What could be said better in a call that says it.
pub(super) fn advice(site: &Site, step: &Step, reading: &Reading, elements: &[ElementVerdict]) -> Vec<Advice> {
    let mut out = Vec::new();
    for m in &reading.mentions {
        of_mention(site, reading, m, elements, &mut out);
    }
    for e in elements.iter().filter(|e| e.verdict == Verdict::Wrong) {
        let known = site.elements.get(&e.element);
        let mut wordings = known.iter().flat_map(|k| k.values.iter().chain(&k.other));
        let heard = wordings.find(|w| e.heard.as_ref() == Some(&w.id));
        if let Some(text) = heard.and_then(|w| w.why.clone()) {
            out.push(Advice::Explained { text });
        }
    }
    let right = |m: &Mention| elements.get(m.element).is_none_or(|e| e.verdict == Verdict::Said);
    if !reading.taken_back.is_empty() && reading.taken_back.iter().all(right) {
        out.push(Advice::Corrected);
    }
    if !is_in_order(step, reading) {
        let labels: Vec<&str> = placeholders(&step.taught)
            .iter()
            .filter_map(|e| site.elements.get(*e).map(|e| e.label.as_str()))
            .collect();
        out.push(Advice::Order {
            taught: labels.join(", "),
        });
    }
    if !reading.fillers.is_empty() {
        out.push(Advice::Fillers {
            words: reading.fillers.join(", "),
        });
    }
    if !reading.unknown.is_empty() {
        out.push(Advice::Extra {
            words: reading.unknown.join(" "),
        });
    }
    out
}

/// What could be said better in one place.
fn of_mention(site: &Site, reading: &Reading, m: &Mention, elements: &[ElementVerdict], out: &mut Vec<Advice>) {
    // A stop stands behind the step's own elements.
    let Some(judged) = elements.get(m.element).filter(|e| e.verdict == Verdict::Said) else {
        return;
    };
    if m.stance == Stance::Denied {
        if m.said != Said::Value(judged.expected.clone()) {
            out.push(Advice::Denied {
                words: reading.words[m.reach.0..m.reach.1].join(" "),
            });
        }
        return;
    }
    let taught = site.taught_words(&judged.element, &judged.expected).unwrap_or_default();
    if m.pairs {
        out.push(Advice::NumberPairs {
            said: m.words.clone(),
            taught,
        });
    } else if !m.taught {
        out.push(Advice::Wording {
            element: judged.element.clone(),
            said: m.words.clone(),
            taught: words::of(&taught).join(" "),
        });
    }
    if m.restarted {
        out.push(Advice::Restarted);
    }
}

/// Do the elements come in the order of a call that is right?
fn is_in_order(step: &Step, reading: &Reading) -> bool {
    let own = |e: &usize| *e < step.elements.len();
    let order: Vec<usize> = reading.mentions.iter().map(|m| m.element).filter(own).collect();
    let mut shapes = std::iter::once(&step.taught).chain(&step.also_right).map(|t| {
        let names = placeholders(t);
        names
            .iter()
            .filter_map(|n| step.elements.iter().position(|e| e == n))
            .collect::<Vec<_>>()
    });
    let follows = |shape: &Vec<usize>| {
        let mut last = 0;
        order.iter().all(|e| {
            let place = shape.iter().position(|s| s == e).unwrap_or(usize::MAX);
            let ok = place >= last && place != usize::MAX;
            last = place;
            ok
        })
    };
    order.len() <= 1 || shapes.any(|s| follows(&s))
}
