//! Reasons not to decide an element although the best reading does.

use crate::call::Evidence;
use crate::call::reading::{Mention, Reading, Said};
use crate::call::stance::Stance;
use crate::call::words;
use crate::site::language::Sense;
use crate::site::{Language, Site, Step, Wording, placeholders};

/// Words that share so much of their letters (1 for the same) may be one misheard: "sei" and "See" 0.67, "klingt" and "klinkt" 0.83. Not fitted to a set.
const LIKE: f64 = 0.6;

/// Is it a value that only other sites have?
pub(super) fn elsewhere(site: &Site, id: &str, value: &str) -> bool {
    let own = site
        .elements
        .get(id)
        .is_some_and(|e| e.values.iter().chain(&e.other).any(|v| v.id == value));
    !own && site
        .language
        .elsewhere(site.purpose(id).name())
        .iter()
        .any(|v| v == value)
}

/// Is an element denied where, as the call is taught, the value of another one belongs that was not heard? Then what was taken
/// for the denial may be that value ("Windenseil Nord, startklar" for "Windenseil nicht startklar"), and neither is known.
pub(super) fn perhaps_value(step: &Step, reading: &Reading, element: usize) -> bool {
    let place = |id: &&str| step.elements.iter().position(|e| e == id);
    let order: Vec<usize> = placeholders(&step.taught).iter().filter_map(place).collect();
    let heard = |e: usize| reading.mentions.iter().any(|m| m.element == e);
    order.windows(3).any(|w| {
        let [before, between, denied] = [w[0], w[1], w[2]];
        let joins = |m: &Mention| {
            let ends = |b: &Mention| b.element == before && b.span.1 == m.reach.0;
            let is_denied = m.said == Said::Negated || m.stance == Stance::Denied;
            m.element == denied && is_denied && reading.mentions.iter().any(ends)
        };
        (element == denied || element == between) && !heard(between) && reading.mentions.iter().any(joins)
    })
}

/// Does a word that nothing explains sound like another value of an element? It may have been said beside the right one
/// ("sei" for "See").
pub(super) fn perhaps_another(site: &Site, id: &str, expected: &str, evidence: &Evidence) -> bool {
    let Some(best) = evidence.readings.first().filter(|_| evidence.seconds > 0.0) else {
        return false;
    };
    let values = site
        .elements
        .get(id)
        .map(|e| e.values.iter().chain(&e.other))
        .into_iter()
        .flatten();
    let texts = values.filter(|v| v.id != expected).flat_map(Wording::texts);
    let names: Vec<String> = texts.flat_map(|t| words::of(t)).collect();
    let like = |word: &str| names.iter().any(|n| strsim::normalized_levenshtein(n, word) >= LIKE);
    best.reading.unknown_words().any(like)
}

/// Did the model write by itself the words of a wording that holds a denial, one behind the other, and the denial not among them? Then what
/// was said may be the opposite ("Seil klinkt aus" for "Seil klinkt nicht aus").
pub(super) fn perhaps_without_its_denial(language: Language, index: usize, evidence: &Evidence) -> bool {
    let Some(best) = evidence.readings.first().filter(|_| evidence.seconds > 0.0) else {
        return false;
    };
    let free = words::of(&evidence.transcript);
    let denies = |word: &str| language.of_sense(Sense::Denies).any(|w| w == word);
    let like = |(a, b): (&String, &String)| strsim::normalized_levenshtein(a, b) >= LIKE;
    best.reading.mentions.iter().filter(|m| m.element == index).any(|m| {
        let said = words::of(&m.words);
        let bare: Vec<String> = said.iter().filter(|w| !denies(w)).cloned().collect();
        let written = |words: &[String]| free.windows(words.len()).any(|w| w.iter().zip(words).all(like));
        bare.len() < said.len() && bare.len() > 1 && written(&bare) && !written(&said)
    })
}

/// Is a stop all that was understood, right before a word that nothing explains? Then it may be half a word ("startklar", where
/// a stop is to be called, was "Stopp, klar"). In any other call it is a stop all the same.
pub(super) fn perhaps_half_a_word(index: usize, evidence: &Evidence) -> bool {
    let Some(best) = evidence.readings.first().filter(|_| evidence.seconds > 0.0) else {
        return false;
    };
    let [stop] = best.reading.mentions.as_slice() else {
        return false;
    };
    stop.element == index && best.reading.is_unknown(stop.span.1)
}

/// Can the ear not tell a callsign from the right one? It does not count how often a character is said in a row ("fünf vier" for "fünf fünf
/// vier"), and takes a small word before or behind for one character more ("hier Delta" for "vier Delta", "Mike, to the winch").
pub(super) fn hardly_told_apart(heard: &str, expected: &str) -> bool {
    let characters = |s: &str| s.chars().filter(char::is_ascii_alphanumeric).collect::<Vec<_>>();
    let (heard, expected) = (characters(heard), characters(expected));
    let once = |s: &[char]| {
        let mut s = s.to_vec();
        s.dedup();
        s
    };
    if heard == expected {
        return false;
    }
    let one_more = heard.len() == expected.len() + 1 && (heard.ends_with(&expected) || heard.starts_with(&expected));
    one_more || once(&heard) == once(&expected)
}

#[cfg(test)]
mod tests {
    use super::{hardly_told_apart, perhaps_without_its_denial};
    use crate::call::{Evidence, Vocabulary};
    use crate::site::{Site, bundled};

    #[test]
    fn a_denial_that_the_free_text_lacks_leaves_the_wording_open() {
        let site = Site::check(&bundled::files("erlengrund").unwrap()).unwrap();
        let step = site.step("stuck").unwrap();
        let index = step.elements.iter().position(|e| e == "stuck").unwrap();
        let heard = |free: &str| {
            let vocabulary = Vocabulary::of(&site, step);
            let mut evidence = Evidence::typed(&vocabulary, "Winde, Delta fünf fünf vier null, Seil klinkt nicht aus");
            (evidence.seconds, evidence.transcript) = (4.0, free.to_owned());
            perhaps_without_its_denial(site.language, index, &evidence)
        };
        assert!(heard("Winde, Delta fünf fünf vier null, Seil klingt aus."));
        for free in [
            "Winde, Seil klingt nicht aus.",
            "Winde, Seil kling nicht.",
            "Wind der Tier",
            "",
        ] {
            assert!(!heard(free), "{free}");
        }
    }

    #[test]
    fn repeats_and_one_character_at_an_edge_are_not_told_apart() {
        for heard in ["D-540", "4D-5540", "D-55402", "D-55540"] {
            assert!(hardly_told_apart(heard, "D-5540"), "{heard}");
        }
        for heard in [
            "D-5540", "D-5554", "D-5450", "D-554", "G-5540", "D-5541", "24D-5540", "D-5504",
        ] {
            assert!(!hardly_told_apart(heard, "D-5540"), "{heard}");
        }
    }
}
