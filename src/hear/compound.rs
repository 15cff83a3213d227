//! How a recogniser may write a compound: German joins words ("Windenseil"), a recogniser often parts them ("Winden Seil",
//! "Start-klar"), and writes each part as something that sounds like it.

use crate::site::Language;

/// Compounds have at least this many letters, their parts at least that many.
const COMPOUND: usize = 8;
const PART: usize = 3;

/// Consonants with which a German part may begin.
const ONSETS: [&str; 38] = [
    "b", "d", "f", "g", "h", "j", "k", "l", "m", "n", "p", "r", "s", "t", "v", "w", "z", "sch", "bl", "br", "dr", "fl",
    "fr", "gl", "gr", "kl", "kr", "pf", "pl", "pr", "sp", "st", "str", "tr", "zw", "schl", "schr", "schw",
];

/// The ways to write a word in two parts, without the word itself. Empty for short words and for English, whose compounds
/// are written apart.
///
/// Where the parts meet is not known: wherever a second part can begin. A parting that nobody would write costs no mistakes,
/// since the model hardly ever writes it.
pub fn parted(language: Language, word: &str) -> Vec<String> {
    let letters = |text: &str| text.chars().count();
    if language != Language::German || letters(word) < COMPOUND {
        return Vec::new();
    }
    let vowel = |c: char| "aeiouyäöü".contains(c);
    let syllable = |part: &str| letters(part) >= PART && part.contains(vowel);
    let begins = |part: &str| part.find(vowel).is_some_and(|at| ONSETS.contains(&&part[..at]));
    let mut out = Vec::new();
    for (at, _) in word.char_indices() {
        let (left, right) = word.split_at(at);
        if !(syllable(left) && syllable(right) && begins(right)) {
            continue;
        }
        let alike = |part| std::iter::once(part).chain(language.part_sounds_like(part).iter().copied());
        for left in alike(left) {
            for right in alike(right) {
                for joint in [" ", "-"] {
                    out.push(format!("{left}{joint}{right}"));
                    out.push(format!("{left}{joint}{}", super::script::capital(right)));
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
        let ways = parted(Language::German, "windenseil");
        for way in [
            "winden seil",
            "winden-Seil",
            "winden Seil",
            "windem sein",
            "win denseil",
        ] {
            assert!(ways.iter().any(|w| w == way), "{way}");
        }
        let ways = parted(Language::German, "startklar");
        assert!(ways.iter().any(|w| w == "start klar") && ways.iter().any(|w| w == "statt-klar"));
        // Nothing begins with "rtkl" or with a vowel, and nothing is left without a vowel.
        for way in ["sta rtklar", "startkl ar", "st artklar"] {
            assert!(!ways.iter().any(|w| w == way), "{way}");
        }
    }

    #[test]
    fn short_words_and_english_ones_stay_whole() {
        assert_eq!(parted(Language::German, "winde"), Vec::<String>::new());
        assert_eq!(parted(Language::English, "quadruplex"), Vec::<String>::new());
    }
}
