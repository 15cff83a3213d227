//! Figures that a site does not list: "wind two two zero, one four" where today's winds are others. They are another value of
//! their element and no part of the callsign.

use super::vocabulary::{Meaning, Phrase, Vocabulary};
use crate::site::{Purpose, number};

/// The vocabulary with the figures that stand in these words behind a wording that begins as one with figures does; `None` where
/// there are none.
pub(super) fn with_figures(vocabulary: &Vocabulary, words: &[String]) -> Option<Vocabulary> {
    let language = vocabulary.language;
    let figure = |w: &String| number::digit(language, w).is_some() || number::pair_word(language, w).is_some();
    let mut new: Vec<Phrase> = Vec::new();
    for phrase in &vocabulary.phrases {
        let Meaning::Value { element, .. } = phrase.meaning else {
            continue;
        };
        let settled = vocabulary
            .purposes
            .get(element)
            .is_none_or(|p: &Purpose| p.is_settled());
        let Some(from) = phrase.words.iter().position(figure).filter(|n| *n > 0 && !settled) else {
            continue;
        };
        let (begins, rest) = phrase.words.split_at(from);
        // What stands behind the figures of the wording, a unit as a rule.
        let unit = &rest[rest.iter().take_while(|w| figure(w)).count()..];
        for at in 0..words.len() {
            let Some(said) = words[at..].strip_prefix(begins) else {
                continue;
            };
            let figures = said.iter().take_while(|w| figure(w)).count();
            if figures == 0 {
                continue;
            }
            let unit = if said[figures..].starts_with(unit) {
                unit.len()
            } else {
                0
            };
            let words = words[at..at + from + figures + unit].to_vec();
            let known = |p: &Phrase| p.words == words && p.meaning.element() == Some(element);
            if !vocabulary.phrases.iter().chain(&new).any(known) {
                let value = words.join(" ");
                new.push(Phrase {
                    words,
                    meaning: Meaning::Value {
                        element,
                        value,
                        taught: false,
                    },
                    always: true,
                });
            }
        }
    }
    (!new.is_empty()).then(|| {
        let mut all = vocabulary.clone();
        all.phrases.extend(new);
        all
    })
}
