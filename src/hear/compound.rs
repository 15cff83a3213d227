//! How a recogniser may write a compound: some languages join words ("Windenseil"), a recogniser often parts them ("Winden Seil",
//! "Start-klar"), and writes each part as something that sounds like it.

use crate::site::Language;
use crate::site::words::capital;

/// The ways to write a word in two parts, without the word itself. Empty for short words and for languages that write
/// their compounds apart.
///
/// Where the parts meet is not known: wherever a second part can begin. A parting that nobody would write costs no mistakes,
/// since the model hardly ever writes it.
pub fn parted(language: Language, word: &str) -> Vec<String> {
    let letters = |text: &str| text.chars().count();
    let Some(compounds) = language.compounds().filter(|c| letters(word) >= c.least_letters) else {
        return Vec::new();
    };
    let vowel = |c: char| language.is_vowel(c);
    let syllable = |part: &str| letters(part) >= compounds.least_letters_of_a_part && part.contains(vowel);
    let begins = |part: &str| {
        let onset = part.find(vowel).map(|at| &part[..at]);
        onset.is_some_and(|o| compounds.onsets.iter().any(|known| known == o))
    };
    let mut out = Vec::new();
    for (at, _) in word.char_indices() {
        let (left, right) = word.split_at(at);
        if !(syllable(left) && syllable(right) && begins(right)) {
            continue;
        }
        let alike = |part: &str| {
            let others = compounds.parts.get(part).into_iter().flatten().cloned();
            std::iter::once(part.to_owned()).chain(others).collect::<Vec<String>>()
        };
        for left in alike(left) {
            for right in alike(right) {
                for joint in [" ", "-"] {
                    out.push(format!("{left}{joint}{right}"));
                    out.push(format!("{left}{joint}{}", capital(&right)));
                }
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn german_compounds_are_parted_where_a_part_can_begin() {
        let ways = parted(Language::GERMAN, "windenseil");
        for way in [
            "winden seil",
            "winden-Seil",
            "winden Seil",
            "windem sein",
            "win denseil",
        ] {
            assert!(ways.iter().any(|w| w == way), "{way}");
        }
        let ways = parted(Language::GERMAN, "startklar");
        assert!(ways.iter().any(|w| w == "start klar") && ways.iter().any(|w| w == "statt-klar"));
        // Nothing begins with "rtkl" or with a vowel, and nothing is left without a vowel.
        for way in ["sta rtklar", "startkl ar", "st artklar"] {
            assert!(!ways.iter().any(|w| w == way), "{way}");
        }
    }

    #[test]
    fn short_words_and_english_ones_stay_whole() {
        assert_eq!(parted(Language::GERMAN, "winde"), Vec::<String>::new());
        assert_eq!(parted(Language::ENGLISH, "quadruplex"), Vec::<String>::new());
    }
}
