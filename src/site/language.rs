//! The languages a site can be in, and what differs between them: digit words, tens, small words.

use serde::{Deserialize, Serialize};

/// The language of a site's calls.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Language {
    /// English.
    #[serde(rename = "en")]
    English,
    /// German.
    #[serde(rename = "de")]
    German,
}

/// A language no site can be in.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the language \"{0}\" is not known here; use \"en\" or \"de\"")]
pub struct UnknownLanguage(String);

impl std::str::FromStr for Language {
    type Err = UnknownLanguage;

    /// Takes "en" and "de", also with a region ("en-GB", "de_AT").
    fn from_str(name: &str) -> Result<Self, UnknownLanguage> {
        let code = name.split(['-', '_']).next().unwrap_or_default();
        [Self::English, Self::German]
            .into_iter()
            .find(|l| code.eq_ignore_ascii_case(l.code()))
            .ok_or_else(|| UnknownLanguage(name.to_owned()))
    }
}

impl Language {
    /// ISO 639-1 code, which is also the speech model's name for the language.
    pub fn code(self) -> &'static str {
        match self {
            Self::English => "en",
            Self::German => "de",
        }
    }

    /// A label as it stands inside a sentence: German nouns keep their capital.
    pub fn inside_a_sentence(self, label: &str) -> String {
        match self {
            Self::English => label.to_lowercase(),
            Self::German => label.to_owned(),
        }
    }

    /// Digit words, taught form first. English: CAP 413 Ed. 20, section 1.4, Table 2 in ordinary spelling ("niner" is
    /// taught, "nine" is the same digit). German: common practice, no source; "zwo" avoids the confusion with "drei".
    pub fn digits(self) -> [&'static [&'static str]; 10] {
        match self {
            Self::English => [
                &["zero"],
                &["one"],
                &["two"],
                &["three"],
                &["four"],
                &["five"],
                &["six"],
                &["seven"],
                &["eight"],
                &["nine", "niner"],
            ],
            Self::German => [
                &["null"],
                &["eins"],
                &["zwo", "zwei"],
                &["drei"],
                &["vier"],
                &["fünf"],
                &["sechs"],
                &["sieben"],
                &["acht"],
                &["neun"],
            ],
        }
    }

    /// Digit words a recogniser or a typist may write for the standard pronunciations; understood, never expected.
    pub(crate) fn digit_spellings(self) -> &'static [(&'static str, u8)] {
        match self {
            Self::English => &[
                ("oh", 0),
                ("nought", 0),
                ("wun", 1),
                ("too", 2),
                ("tree", 3),
                ("fower", 4),
                ("fife", 5),
                ("ait", 8),
            ],
            Self::German => &[("ein", 1), ("fuenf", 5), ("funf", 5)],
        }
    }

    /// What a recogniser writes for a digit word because it sounds the same ("for seven" for "four seven"). Used where the
    /// sound is weighed, never for typed text.
    pub(crate) fn sounds_like(self, digit: u8) -> &'static [&'static str] {
        match (self, digit) {
            (Self::English, 1) => &["won"],
            (Self::English, 2) => &["to", "too"],
            (Self::English, 4) => &["for", "fore"],
            (Self::English, 8) => &["ate"],
            (Self::German, 3) => &["dry"],
            (Self::German, 6) => &["sex"],
            _ => &[],
        }
    }

    /// What a recogniser writes for a word of the trade because it is rarer than what it sounds like. Used where the sound is
    /// weighed, never for typed text.
    pub(crate) fn word_sounds_like(self, word: &str) -> &'static [&'static str] {
        match (self, word) {
            (Self::English, "winch") => &["wrench", "wench", "lynch"],
            _ => &[],
        }
    }

    /// What a recogniser writes for a part of a compound because it sounds nearly the same ("statt klar" for "startklar").
    /// German only, where compounds are long; seen in what the speech model wrote freely. Used where the sound is weighed,
    /// never for typed text.
    pub(crate) fn part_sounds_like(self, part: &str) -> &'static [&'static str] {
        match (self, part) {
            (Self::German, "start") => &["statt", "stadt"],
            (Self::German, "seil") => &["sein", "sei"],
            (Self::German, "winden") => &["windel", "windem", "winde"],
            (Self::German, "ein") => &["eins"],
            (Self::German, "sitzig") => &["siebzig"],
            _ => &[],
        }
    }

    /// Words for 10 to 19 and the tens, for callsigns spoken in pairs ("forty-seven sixty-one"). German pairs are one
    /// word each ("siebenundvierzig") and are taken apart by [`super::number::pair_word`].
    pub(crate) fn tens(self) -> &'static [(&'static str, u8)] {
        match self {
            Self::English => &[
                ("ten", 10),
                ("eleven", 11),
                ("twelve", 12),
                ("thirteen", 13),
                ("fourteen", 14),
                ("fifteen", 15),
                ("sixteen", 16),
                ("seventeen", 17),
                ("eighteen", 18),
                ("nineteen", 19),
                ("twenty", 20),
                ("thirty", 30),
                ("forty", 40),
                ("fifty", 50),
                ("sixty", 60),
                ("seventy", 70),
                ("eighty", 80),
                ("ninety", 90),
            ],
            Self::German => &[
                ("zehn", 10),
                ("elf", 11),
                ("zwölf", 12),
                ("dreizehn", 13),
                ("vierzehn", 14),
                ("fünfzehn", 15),
                ("sechzehn", 16),
                ("siebzehn", 17),
                ("achtzehn", 18),
                ("neunzehn", 19),
                ("zwanzig", 20),
                ("dreißig", 30),
                ("vierzig", 40),
                ("fünfzig", 50),
                ("sechzig", 60),
                ("siebzig", 70),
                ("achtzig", 80),
                ("neunzig", 90),
            ],
        }
    }

    /// Words that take back what was said before them. CORRECTION is the standard word (SERA.14075(c)); the German
    /// word "Korrektur" and "berichtige" are common practice, no source.
    pub fn corrections(self) -> &'static [&'static str] {
        match self {
            Self::English => &["correction"],
            Self::German => &["korrektur", "berichtige", "correction"],
        }
    }

    /// Words that take back what was said before them, or hold it up, without saying what is right: whoever hears one behind
    /// "ready" asks again. NEGATIVE, CANCEL, DISREGARD and STANDBY are standard words (SERA.14075(c)); the others are common
    /// practice, no source.
    pub fn withdrawals(self) -> &'static [&'static str] {
        match self {
            Self::English => &[
                "negative",
                "cancel",
                "disregard",
                "standby",
                "stand by",
                "abort",
                "wait",
                "hold on",
                "sorry",
                "i mean",
            ],
            Self::German => &[
                "negativ",
                "abbruch",
                "warte",
                "warten",
                "moment",
                "entschuldigung",
                "ich meine",
            ],
        }
    }

    /// The same at the end of a call alone: elsewhere they sound like parts of it ("not winch cable" like "north winch cable",
    /// "nein" like "neun"). Common practice, no source.
    pub fn withdrawals_at_the_end(self) -> &'static [&'static str] {
        match self {
            Self::English => &["no", "not"],
            Self::German => &["nein", "nicht", "doch nicht", "noch nicht"],
        }
    }

    /// The word that denies what stands behind it.
    pub fn denying(self) -> &'static str {
        match self {
            Self::English => "not",
            Self::German => "nicht",
        }
    }

    /// Hesitation sounds, small talk and what ends a transmission; they belong to no element. I SAY AGAIN is a standard phrase
    /// and OVER an old one (ICAO Annex 10 Vol. II, from memory); the others are common practice, no source.
    pub fn fillers(self) -> &'static [&'static str] {
        match self {
            Self::English => &[
                "uh",
                "um",
                "er",
                "erm",
                "ah",
                "hello",
                "please",
                "okay",
                "this is",
                "good morning",
                "good afternoon",
                "thank you",
                "i say again",
                "over",
            ],
            Self::German => &[
                "äh",
                "ähm",
                "hm",
                "hallo",
                "bitte",
                "okay",
                "hier ist",
                "guten morgen",
                "guten tag",
                "danke",
                "ich wiederhole",
                "kommen",
            ],
        }
    }

    /// Values that other sites have for an element and that may be said where this one lacks them: a cable called "middle", a
    /// launch by aerotow. Common practice, no source.
    pub fn elsewhere(self, element: &str) -> &'static [&'static str] {
        match (self, element) {
            (Self::English, "cable") => &["north", "south", "east", "west", "middle"],
            (Self::English, "method") => &["aerotow", "aero tow", "autotow", "car tow", "self launch", "bungee"],
            // Only what sounds like no other word of a call: "nord" was read for a badly heard "neun", "right" for "ready".
            (Self::German, "cable") => &["mitte"],
            (Self::German, "method") => &["f-schlepp", "flugzeugschlepp", "autoschlepp", "eigenstart", "gummiseil"],
            _ => &[],
        }
    }

    /// What is said when nothing was understood. SAY AGAIN is the standard phrase (SERA.14075(c)(4)); the German words are
    /// common practice, no source.
    pub fn say_again(self) -> &'static str {
        match self {
            Self::English => "Say again.",
            Self::German => "Wiederholen Sie.",
        }
    }

    /// Words that tell somebody that what he read back is wrong, and that the right version follows. NEGATIVE, I SAY AGAIN
    /// is the standard form (SERA.14075(d)); the German words are common practice, no source.
    pub fn negatives(self) -> &'static [&'static str] {
        match self {
            Self::English => &["negative", "negative I say again", "I say again"],
            Self::German => &["negativ", "negativ ich wiederhole", "ich wiederhole"],
        }
    }

    /// Small words that join elements and mean nothing alone ("on the north winch cable", "am Windenseil Wald").
    pub fn joiners(self) -> &'static [&'static str] {
        match self {
            Self::English => &["on the", "on", "the"],
            Self::German => &["am", "auf", "auf dem"],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_language_is_known_with_and_without_its_region() {
        assert_eq!("en-GB".parse::<Language>().unwrap(), Language::English);
        assert_eq!("DE".parse::<Language>().unwrap(), Language::German);
        assert!("fr".parse::<Language>().unwrap_err().to_string().contains("\"fr\""));
    }
}
