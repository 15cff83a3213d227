//! Callsigns: their one written form and how they are spoken.

use super::language::Language;
use super::spelling;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Nationality marks (ICAO Annex 7 and "Aircraft nationality marks, national emblems and common marks"): those of
/// European states and of states where gliders are common. A mark that is not here is no error: the first character
/// then stands as the mark.
const MARKS: &[&str] = &[
    "9A", "9H", "D", "C", "CS", "EC", "EI", "ES", "EW", "F", "G", "HA", "HB", "I", "LN", "LX", "LY", "LZ", "N", "OE",
    "OH", "OK", "OM", "OO", "OY", "PH", "S5", "SE", "SP", "SX", "TF", "UR", "VH", "YL", "YR", "YU", "Z3", "ZK", "ZS",
];

/// Characters of a callsign, capital letters and digits only, never empty. Written with the hyphen after the
/// nationality mark where the length allows to know it: `G-CLRM`, `D-4761`, `OE-0815`; the United States' `N` has none.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Callsign(String);

/// Why a text is no callsign.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{0}\" is no callsign: it must be letters and digits, 2 to 8 of them, with at most hyphens or spaces between (such as G-CLRM or D-4761)"
)]
pub struct NoCallsign(String);

impl Callsign {
    /// Read a registration or competition sign as written. Hyphens and spaces are ignored.
    pub fn parse(text: &str) -> Result<Self, NoCallsign> {
        let fail = || NoCallsign(text.to_owned());
        let mut chars = String::new();
        for c in text.chars() {
            match c {
                '-' | ' ' => {}
                c if c.is_ascii_alphanumeric() => chars.push(c.to_ascii_uppercase()),
                _ => return Err(fail()),
            }
        }
        if (2..=8).contains(&chars.len()) {
            Ok(Self(chars))
        } else {
            Err(fail())
        }
    }

    /// From characters already known to be capital letters and digits; `None` when there is none.
    pub fn from_chars(chars: &[char]) -> Option<Self> {
        let text: String = chars
            .iter()
            .filter(|c| c.is_ascii_alphanumeric())
            .map(char::to_ascii_uppercase)
            .collect();
        (!text.is_empty()).then_some(Self(text))
    }

    /// The bare characters, without hyphen.
    pub fn chars(&self) -> &str {
        &self.0
    }

    /// The call as spoken, each character a word, in the taught words ("golf charlie lima romeo mike").
    pub fn spoken(&self, language: Language) -> String {
        let words: Vec<&str> = self
            .0
            .chars()
            .map(|c| match c.to_digit(10) {
                Some(d) => language.digit_word(d as u8),
                None => spelling::word(c).unwrap_or("?"),
            })
            .collect();
        words.join(" ")
    }
}

impl fmt::Display for Callsign {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = &self.0;
        if text.starts_with('N') && text.chars().nth(1).is_some_and(|c| c.is_ascii_digit()) {
            return f.write_str(text);
        }
        // The longest known mark that leaves at least two characters. Letters alone after a known one-letter mark belong
        // to the rest (G-CLRM, not GC-LRM), so a longer mark counts only where its first letter alone is no mark.
        let mark = (1..=2)
            .filter(|n| text.len() >= n + 2 && MARKS.contains(&&text[..*n]))
            .min()
            .unwrap_or(usize::from(
                text.len() >= 5 && text.starts_with(|c: char| c.is_ascii_alphabetic()),
            ));
        if mark == 0 {
            f.write_str(text)
        } else {
            write!(f, "{}-{}", &text[..mark], &text[mark..])
        }
    }
}

impl TryFrom<String> for Callsign {
    type Error = NoCallsign;
    fn try_from(text: String) -> Result<Self, NoCallsign> {
        Self::parse(&text)
    }
}

impl From<Callsign> for String {
    fn from(c: Callsign) -> Self {
        c.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_written_form() {
        for (text, written) in [
            ("g-clrm", "G-CLRM"),
            ("GCLRM", "G-CLRM"),
            ("D 4761", "D-4761"),
            ("d-476", "D-476"),
            ("OE-0815", "OE-0815"),
            ("HB1234", "HB-1234"),
            ("N31029", "N31029"),
            ("47612", "47612"),
            ("LRM", "LRM"),
        ] {
            assert_eq!(Callsign::parse(text).unwrap().to_string(), written, "{text}");
        }
        for text in ["", "G", "G-Ä1", "G-CLRM-TOOLONG"] {
            assert!(Callsign::parse(text).is_err(), "{text}");
        }
    }

    #[test]
    fn spoken_one_word_a_character() {
        assert_eq!(
            Callsign::parse("G-CLRM").unwrap().spoken(Language::ENGLISH),
            "golf charlie lima romeo mike"
        );
        assert_eq!(
            Callsign::parse("D-3862").unwrap().spoken(Language::GERMAN),
            "delta drei acht sechs zwo"
        );
    }
}
