//! The languages a site can be in. What differs between them is data, one file each: `language/en.toml`, `language/de.toml`.

use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::collections::BTreeMap;
use std::fmt;
use std::sync::LazyLock;

/// Every language's file. Another one is added here, in `texts.rs` and, where it is to be spoken, in `voice`.
const FILES: &[&str] = &[
    include_str!("language/en.toml"),
    include_str!("language/de.toml"),
    #[cfg(test)]
    include_str!("language/nl.toml"),
];

// A file that cannot be read would be a language without words; a test sees to it that all can.
static ALL: LazyLock<Vec<Data>> = LazyLock::new(|| {
    FILES
        .iter()
        .map(|text| toml::from_str(text).unwrap_or_default())
        .collect()
});

/// The language of a site's calls.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Language(u8);

/// A language's file.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Data {
    code: String,
    name: String,
    model_place: u8,
    labels_keep_capitals: bool,
    vowels: String,
    typed_as: BTreeMap<char, String>,
    say_again: String,
    digits: Digits,
    numbers: Numbers,
    sounds: Sounds,
    compounds: Option<Compounds>,
    elsewhere: BTreeMap<String, Vec<String>>,
    meaning: Meaning,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Digits {
    words: Vec<Vec<Vec<String>>>,
    also_written: BTreeMap<String, u8>,
    sounds_like: BTreeMap<String, u8>,
}

/// Numbers of two digits.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Numbers {
    teens: Vec<String>,
    tens: Vec<String>,
    joined_by: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Sounds {
    words: BTreeMap<String, Vec<String>>,
    letters: BTreeMap<char, Vec<String>>,
}

/// How a language joins words, where it does.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct Compounds {
    /// A compound has at least this many letters.
    pub least_letters: usize,
    /// And each of its parts this many.
    pub least_letters_of_a_part: usize,
    /// Consonants with which a part may begin.
    pub onsets: Vec<String>,
    /// What may stand between two parts.
    pub links: Vec<String>,
    /// What a recogniser writes for a part because it sounds nearly the same. Weighed by sound, never for typed text.
    pub parts: BTreeMap<String, Vec<String>>,
}

/// What words do to others, whatever the site.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Meaning {
    corrects: Vec<String>,
    tells_wrong: Vec<String>,
    takes_back: Vec<String>,
    denies: Vec<String>,
    puts_off: Vec<String>,
    asks: Vec<String>,
    small_talk: Vec<String>,
    joins: Vec<String>,
    always: Vec<String>,
    inside: Vec<String>,
    introduces: Vec<String>,
    times: Vec<String>,
    slips: Vec<String>,
    others: Vec<String>,
    hesitations: Vec<String>,
    verbs: Vec<String>,
    none: Vec<String>,
    circumstances: Vec<String>,
    answers: Vec<String>,
    clitics: Vec<String>,
}

/// What a word of the language does, wherever it is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sense {
    /// Takes back what was said before it; what follows counts.
    Corrects,
    /// Takes back what was said before it, or holds it up, without saying what is right.
    TakesBack,
    /// Takes back what was said right before it, as a slip of the tongue.
    Slips,
    /// Says what follows of somebody else.
    Others,
    /// Denies what stands beside it.
    Denies,
    /// Puts off what stands beside it, or says it only by halves.
    PutsOff,
    /// Asks, or leaves a choice.
    Asks,
    /// Hesitation and small talk.
    SmallTalk,
    /// A small word that joins others and means nothing alone.
    Joins,
}

/// A language no site can be in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnknownLanguage(String);

impl std::error::Error for UnknownLanguage {}

impl fmt::Display for UnknownLanguage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let known: Vec<String> = Language::all().map(|l| format!("\"{}\"", l.code())).collect();
        write!(
            f,
            "the language \"{}\" is not known here; use {}",
            self.0,
            known.join(" or ")
        )
    }
}

impl std::str::FromStr for Language {
    type Err = UnknownLanguage;

    /// Takes "en" and "de", also with a region ("en-GB", "de_AT").
    fn from_str(name: &str) -> Result<Self, UnknownLanguage> {
        let code = name.split(['-', '_']).next().unwrap_or_default();
        Self::all()
            .find(|l| code.eq_ignore_ascii_case(l.code()))
            .ok_or_else(|| UnknownLanguage(name.to_owned()))
    }
}

impl fmt::Debug for Language {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl Serialize for Language {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.code())
    }
}

impl<'d> Deserialize<'d> for Language {
    fn deserialize<D: Deserializer<'d>>(from: D) -> Result<Self, D::Error> {
        let code = String::deserialize(from)?;
        Self::all()
            .find(|l| l.code() == code)
            .ok_or_else(|| D::Error::custom(UnknownLanguage(code)))
    }
}

impl Language {
    /// English: the language of texts that have no site.
    pub const ENGLISH: Self = Self(0);
    /// German.
    pub const GERMAN: Self = Self(1);

    /// Every language.
    pub fn all() -> impl Iterator<Item = Self> {
        (0..FILES.len()).map(|n| Self(n as u8))
    }

    /// Its place among all languages.
    pub(super) fn place(self) -> usize {
        usize::from(self.0)
    }

    fn data(self) -> &'static Data {
        static NONE: LazyLock<Data> = LazyLock::new(Data::default);
        ALL.get(self.place()).unwrap_or(&NONE)
    }

    /// ISO 639-1 code, which is also the speech model's name for the language.
    pub fn code(self) -> &'static str {
        &self.data().code
    }

    /// Its own name for itself.
    pub fn name(self) -> &'static str {
        &self.data().name
    }

    /// Its place in the speech model's list of languages.
    pub(crate) fn model_place(self) -> u8 {
        self.data().model_place
    }

    /// A label as it stands inside a sentence: German nouns keep their capital.
    pub fn inside_a_sentence(self, label: &str) -> String {
        if self.data().labels_keep_capitals {
            label.to_owned()
        } else {
            label.to_lowercase()
        }
    }

    /// Is it a letter for a vowel?
    pub(crate) fn is_vowel(self, letter: char) -> bool {
        self.data().vowels.contains(letter)
    }

    /// Words for each digit from 0 to 9, the taught one first; those of one inner list are one word to the ear.
    pub fn digits(self) -> &'static [Vec<Vec<String>>] {
        &self.data().digits.words
    }

    /// The word taught for a digit from 0 to 9.
    pub fn digit_word(self, digit: u8) -> &'static str {
        self.digits()
            .get(usize::from(digit))
            .and_then(|w| w.first()?.first())
            .map_or("?", String::as_str)
    }

    /// Digit words a recogniser or a typist may write for the standard pronunciations; understood, never expected.
    pub(crate) fn digit_spellings(self) -> &'static BTreeMap<String, u8> {
        &self.data().digits.also_written
    }

    /// What a recogniser writes for a digit word because it sounds the same. Used where the sound is weighed, never for typed
    /// text.
    pub(crate) fn sounds_like(self, digit: u8) -> impl Iterator<Item = &'static str> {
        let words = self.data().digits.sounds_like.iter();
        words.filter(move |(_, d)| **d == digit).map(|(w, _)| w.as_str())
    }

    /// What a recogniser writes for a word of the trade because it is rarer than what it sounds like. Used where the sound is
    /// weighed, never for typed text.
    pub(crate) fn word_sounds_like(self, word: &str) -> &'static [String] {
        self.data().sounds.words.get(word).map_or(&[], Vec::as_slice)
    }

    /// What a recogniser writes for a letter's word because its end was soft ("Go Charlie"). As above.
    pub(crate) fn letter_sounds_like(self, letter: char) -> &'static [String] {
        self.data().sounds.letters.get(&letter).map_or(&[], Vec::as_slice)
    }

    /// How it joins words; `None` where words are written apart.
    pub(crate) fn compounds(self) -> Option<&'static Compounds> {
        self.data().compounds.as_ref()
    }

    /// Words for 10 to 19 and for the tens.
    pub(crate) fn tens(self) -> impl Iterator<Item = (&'static str, u8)> {
        let numbers = &self.data().numbers;
        let below_twenty = numbers.teens.iter().zip(10..);
        let from_twenty = numbers.tens.iter().zip((2..).map(|t| 10 * t));
        below_twenty.chain(from_twenty).map(|(w, n)| (w.as_str(), n))
    }

    /// What joins the unit before the tens in one word ("siebenundvierzig"); `None` where the unit follows as a word of its own
    /// ("forty-seven").
    pub(crate) fn unit_joined_by(self) -> Option<&'static str> {
        self.data().numbers.joined_by.as_deref()
    }

    /// Wordings with a sense of their own in every call, those of one sense in their order.
    pub fn senses(self) -> impl Iterator<Item = (&'static str, Sense)> {
        let m = &self.data().meaning;
        let all: [(&'static Vec<String>, Sense); 9] = [
            (&m.corrects, Sense::Corrects),
            (&m.denies, Sense::Denies),
            (&m.puts_off, Sense::PutsOff),
            (&m.asks, Sense::Asks),
            (&m.takes_back, Sense::TakesBack),
            (&m.slips, Sense::Slips),
            (&m.others, Sense::Others),
            (&m.small_talk, Sense::SmallTalk),
            (&m.joins, Sense::Joins),
        ];
        all.into_iter()
            .flat_map(|(words, sense)| words.iter().map(move |w| (w.as_str(), sense)))
    }

    /// Wordings of one sense.
    pub fn of_sense(self, sense: Sense) -> impl Iterator<Item = &'static str> {
        self.senses().filter(move |(_, s)| *s == sense).map(|(w, _)| w)
    }

    /// Does the ear always reckon with this wording? With others only where the speech model itself wrote them: the more small
    /// words may stand anywhere, the more of a badly heard call is read as small words.
    pub(crate) fn always_heard(self, wording: &str) -> bool {
        let m = &self.data().meaning;
        m.always.iter().chain(&m.corrects).any(|w| w == wording)
    }

    /// Do these words end with some after which people say who they are ("this is")?
    pub(crate) fn introduces(self, words: &[String]) -> bool {
        let ends = |text: &String| {
            let last = text.split(' ').rev();
            let mut before = words.iter().rev();
            last.into_iter().all(|w| before.next().is_some_and(|b| b == w))
        };
        self.data().meaning.introduces.iter().any(ends)
    }

    /// Are these words small talk in every call?
    pub(crate) fn is_small_talk(self, words: &str) -> bool {
        self.data().meaning.small_talk.iter().any(|t| t == words)
    }

    /// Is it a unit of time?
    pub(crate) fn is_time(self, word: &str) -> bool {
        self.data().meaning.times.iter().any(|t| t == word)
    }

    /// Is it a hesitation ("uh")? It may stand between the characters of a callsign.
    pub(crate) fn hesitates(self, word: &str) -> bool {
        self.data().meaning.hesitations.iter().any(|w| w == word)
    }

    /// Is it a verb that makes a question where it stands before what it speaks of ("is the slack out")?
    pub(crate) fn is_verb(self, word: &str) -> bool {
        self.data().meaning.verbs.iter().any(|w| w == word)
    }

    /// Does it say that there is none of what follows ("no traffic")?
    pub(crate) fn says_none(self, word: &str) -> bool {
        self.data().meaning.none.iter().any(|w| w == word)
    }

    /// Is it what may lie around a launch ("traffic", "in front")?
    pub(crate) fn is_circumstance(self, word: &str) -> bool {
        self.data().meaning.circumstances.iter().any(|w| w == word)
    }

    /// A word as it is typed where the keyboard lacks its letters ("fuenf"); `None` where it is the same.
    pub(crate) fn typed_as(self, word: &str) -> Option<String> {
        let other = &self.data().typed_as;
        let spelt = |c: char| other.get(&c).cloned().unwrap_or_else(|| c.to_string());
        word.contains(|c| other.contains_key(&c))
            .then(|| word.chars().map(spelt).collect())
    }

    /// Is it an answer as well as a denial ("no, stop")?
    pub(crate) fn answers(self, word: &str) -> bool {
        self.data().meaning.answers.iter().any(|w| w == word)
    }

    /// A word without the short verb written on to it ("slack's"); `None` where there is none.
    pub(crate) fn without_clitic(self, word: &str) -> Option<&str> {
        self.data()
            .meaning
            .clitics
            .iter()
            .find_map(|c| word.strip_suffix(c.as_str()))
    }

    /// May this word stand inside a wording without changing it ("slack is now out")?
    pub(crate) fn stands_inside(self, word: &str) -> bool {
        self.data().meaning.inside.iter().any(|w| w == word)
    }

    /// Values that other sites have for an element and that may be said where this one lacks them: a cable called "middle", a
    /// launch by aerotow. Common practice, no source.
    pub fn elsewhere(self, element: &str) -> &'static [String] {
        self.data().elsewhere.get(element).map_or(&[], Vec::as_slice)
    }

    /// What is said when nothing was understood. SAY AGAIN is the standard phrase (SERA.14075(c)(4)).
    pub fn say_again(self) -> &'static str {
        &self.data().say_again
    }

    /// Words that tell somebody that what he read back is wrong, and that the right version follows. NEGATIVE, I SAY AGAIN
    /// is the standard form (SERA.14075(d)).
    pub fn negatives(self) -> &'static [String] {
        &self.data().meaning.tells_wrong
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_language_can_be_read() {
        for text in FILES {
            let data: Data = toml::from_str(text).unwrap();
            assert_eq!(data.digits.words.len(), 10, "{}", data.name);
            let m = &data.meaning;
            for word in &m.always {
                let known = [&m.takes_back, &m.slips, &m.denies, &m.puts_off, &m.small_talk, &m.joins];
                assert!(known.iter().any(|list| list.contains(word)), "{}: {word}", data.name);
            }
        }
    }

    #[test]
    fn a_language_is_known_with_and_without_its_region() {
        assert_eq!("en-GB".parse::<Language>().unwrap(), Language::ENGLISH);
        assert_eq!("DE".parse::<Language>().unwrap(), Language::GERMAN);
        assert!("fr".parse::<Language>().unwrap_err().to_string().contains("\"fr\""));
    }

    /// One wording has one sense: which of two it had would hang on the order of the lists.
    #[test]
    fn no_wording_has_two_senses() {
        for language in Language::all() {
            let mut seen: BTreeMap<&str, Sense> = BTreeMap::new();
            for (wording, sense) in language.senses() {
                if let Some(before) = seen.insert(wording, sense) {
                    assert_eq!(before, sense, "{language:?}: {wording}");
                    panic!("{language:?}: {wording} stands twice");
                }
            }
        }
    }
}
