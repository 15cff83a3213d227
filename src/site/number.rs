//! Digits and number words: which digit a word is, and pairs spoken as one number.

use super::language::Language;

/// The digit a lower-case word stands for.
pub fn digit(language: Language, word: &str) -> Option<u8> {
    let is_it = |words: &Vec<Vec<String>>| words.iter().flatten().any(|w| w == word);
    let by_table = language.digits().iter().position(is_it).map(|d| d as u8);
    by_table.or_else(|| language.digit_spellings().get(word).copied())
}

/// A word for a number of two digits: 10 to 99 ("forty", "seventeen", "siebenundvierzig").
pub fn pair_word(language: Language, word: &str) -> Option<u8> {
    if let Some((_, n)) = language.tens().find(|(w, _)| *w == word) {
        return Some(n);
    }
    // The unit's own word may hold what joins it to the tens.
    let joint = language.unit_joined_by()?;
    word.match_indices(joint).find_map(|(at, _)| {
        let unit = digit(language, &word[..at])?;
        let tens = pair_word(language, &word[at + joint.len()..]).filter(|t| *t >= 20 && t % 10 == 0)?;
        Some(tens + unit)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn german_pairs_are_taken_apart() {
        assert_eq!(pair_word(Language::GERMAN, "siebenundvierzig"), Some(47));
        assert_eq!(pair_word(Language::GERMAN, "einundsechzig"), Some(61));
        assert_eq!(pair_word(Language::GERMAN, "zwölf"), Some(12));
        assert_eq!(pair_word(Language::GERMAN, "undvierzig"), None);
        assert_eq!(pair_word(Language::GERMAN, "hund"), None);
    }

    #[test]
    fn both_words_for_a_digit_are_one_digit() {
        assert_eq!(digit(Language::GERMAN, "zwo"), digit(Language::GERMAN, "zwei"));
        assert_eq!(digit(Language::ENGLISH, "nine"), digit(Language::ENGLISH, "niner"));
        assert_eq!(digit(Language::ENGLISH, "forty"), None);
    }
}
