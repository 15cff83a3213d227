//! Digits and number words: which digit a word is, and pairs spoken as one number.

use super::language::Language;

/// The digit a lower-case word stands for.
pub fn digit(language: Language, word: &str) -> Option<u8> {
    let by_table = language
        .digits()
        .iter()
        .position(|words| words.contains(&word))
        .map(|d| d as u8);
    by_table.or_else(|| {
        language
            .digit_spellings()
            .iter()
            .find(|(w, _)| *w == word)
            .map(|(_, d)| *d)
    })
}

/// A word for a number of two digits: 10 to 99 ("forty", "seventeen", "siebenundvierzig").
pub fn pair_word(language: Language, word: &str) -> Option<u8> {
    if let Some((_, n)) = language.tens().iter().find(|(w, _)| *w == word) {
        return Some(*n);
    }
    if language == Language::German {
        let (unit, tens) = word.split_once("und")?;
        let unit = digit(language, unit)?;
        let tens = pair_word(language, tens).filter(|t| t % 10 == 0)?;
        return Some(tens + unit);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn german_pairs_are_taken_apart() {
        assert_eq!(pair_word(Language::German, "siebenundvierzig"), Some(47));
        assert_eq!(pair_word(Language::German, "einundsechzig"), Some(61));
        assert_eq!(pair_word(Language::German, "zwölf"), Some(12));
        assert_eq!(pair_word(Language::German, "undvierzig"), None);
        assert_eq!(pair_word(Language::German, "hund"), None);
    }

    #[test]
    fn both_words_for_a_digit_are_one_digit() {
        assert_eq!(digit(Language::German, "zwo"), digit(Language::German, "zwei"));
        assert_eq!(digit(Language::English, "nine"), digit(Language::English, "niner"));
        assert_eq!(digit(Language::English, "forty"), None);
    }
}
