//! A lattice as it is built: the words that may stand in a call, and how each may be written.

use super::Word;
use crate::hear::compound;
use crate::site::{Language, spelling};
use std::collections::BTreeMap;

/// A lattice as it is built.
#[derive(Default)]
pub(super) struct Build {
    pub(super) words: Vec<String>,
    pub(super) index: BTreeMap<String, Word>,
    pub(super) spellings: Vec<Vec<String>>,
    pub(super) characters: Vec<Word>,
    pub(super) tens: Vec<Word>,
    pub(super) whole_pairs: Vec<Word>,
    pub(super) units: Vec<Word>,
    /// Words with other ways to write them.
    pub(super) same: Vec<(Word, String)>,
}

impl Build {
    pub(super) fn id(&mut self, w: &str) -> Word {
        let words = &mut self.words;
        *self.index.entry(w.to_owned()).or_insert_with(|| {
            words.push(w.to_owned());
            (words.len() - 1) as Word
        })
    }

    pub(super) fn ids(&mut self, words: &[String]) -> Vec<Word> {
        words.iter().map(|w| self.id(w)).collect()
    }

    /// Words of their own that are written as others are.
    pub(super) fn others(&mut self, words: &[String]) -> Vec<Word> {
        let from = self.words.len();
        self.words.extend_from_slice(words);
        (from..self.words.len()).map(|n| n as Word).collect()
    }

    /// The words that spell a callsign.
    pub(super) fn characters(&mut self, language: Language) {
        for (letter, words) in &spelling::LETTERS {
            let word = self.id(words[0]);
            self.characters.push(word);
            let alike = language.letter_sounds_like(*letter).iter().cloned();
            let all = words.iter().map(|w| (*w).to_owned()).chain(alike);
            self.same.extend(all.map(|w| (word, w)));
        }
        for (digit, ways) in (0_u8..).zip(language.digits()) {
            for (n, alike) in ways.iter().enumerate() {
                let Some(first) = alike.first() else { continue };
                let word = self.id(first);
                self.characters.push(word);
                if digit > 0 {
                    self.units.push(word);
                }
                let sounds = language.sounds_like(digit).filter(|_| n == 0).map(str::to_owned);
                self.same.extend(alike.iter().cloned().chain(sounds).map(|w| (word, w)));
            }
        }
        for (word, n) in language.tens() {
            let word = self.id(word);
            self.whole_pairs.push(word);
            if language.unit_joined_by().is_none() && n % 10 == 0 && n >= 20 {
                self.tens.push(word);
            }
        }
    }

    /// The ways to write the words that have none yet.
    pub(super) fn spell(&mut self, language: Language) {
        for at in self.spellings.len()..self.words.len() {
            let mut known = vec![self.words[at].clone()];
            for (_, way) in self.same.iter().filter(|(w, _)| usize::from(*w) == at) {
                if !known.contains(way) {
                    known.push(way.clone());
                }
            }
            known.extend(language.word_sounds_like(&known[0]).iter().cloned());
            known.extend(without_apostrophe(&known[0]));
            let parted: Vec<String> = known.iter().flat_map(|w| compound::parted(language, w)).collect();
            known.extend(parted);
            self.spellings.push(known);
        }
    }

    /// Is it a word that spells characters?
    pub(super) fn spells(&self, word: Word) -> bool {
        [&self.characters, &self.tens, &self.whole_pairs]
            .iter()
            .any(|list| list.contains(&word))
    }

    /// Is this how some word of the call is written, or a part of it?
    pub(super) fn writes(&self, word: &str) -> bool {
        let mut ways = self.spellings.iter().flatten();
        ways.any(|way| way.split([' ', '-']).any(|part| part.to_lowercase() == word))
    }

    /// Is it how one of the first `own` words is written, or nearly so? Then the speech model may have meant that word.
    pub(super) fn is_like(&self, word: &str, own: usize, share: f64) -> bool {
        let near = |other: &str| strsim::normalized_levenshtein(other, word) >= share;
        // "Seilbach", "northwinch".
        let joined = || {
            let mut cuts = word.char_indices().skip(1).map(|(at, _)| word.split_at(at));
            cuts.any(|(first, second)| self.writes(first) && self.writes(second))
        };
        self.writes(word) || self.words[..own].iter().any(|w| near(w)) || joined()
    }
}

/// Nobody hears an apostrophe ("my instructors in the back").
pub(super) fn without_apostrophe(word: &str) -> Option<String> {
    word.contains('\'').then(|| word.replace('\'', ""))
}

/// May a recogniser have written `heard` for a word?
pub(super) fn sounds_as(language: Language, word: &str, heard: &str) -> bool {
    word == heard
        || without_apostrophe(word).is_some_and(|w| w == heard)
        || language.word_sounds_like(word).iter().any(|w| w == heard)
}

/// Words that agree in this share of their letters may be one and the same, badly heard.
pub(super) const LIKE: f64 = 0.5;
/// The same where the model is sure of what it wrote: then "western" is no "west".
pub(super) const LIKE_SURE: f64 = 0.75;
