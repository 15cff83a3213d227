//! From what the search found to readings with weights. A reading that the search dropped on its way is lighter than the
//! best by at least the search's width, which is more than any limit of the judge.

use super::lattice::{Lattice, Word};
use super::search::{Found, Token};
use crate::call::reading::{self, Reading};
use crate::call::{Evidence, Scored, Vocabulary};
use std::collections::HashMap;

/// Readings lighter than the best by more than this decide nothing and are not kept (nats).
const KEPT: f32 = 10.0;

/// Speech is hardly ever slower than this (syllables for each second in which there is sound). A path with fewer leaves
/// sound unexplained; each missing syllable costs [`SYLLABLE`].
const SLOWEST: f32 = 2.2;
/// Mean log-probability a token below which the narrow search is not trusted (nats).
const POOR: f32 = -0.9;
/// Cost of a syllable too few (nats).
const SYLLABLE: f32 = 3.0;

/// Did the narrow search leave the sound badly explained? Then a wider one is worth its time.
pub fn poor(found: &Found) -> bool {
    found.cut
        || found
            .paths
            .first()
            .is_none_or(|p| p.likelihood / (p.tokens.len() + 1) as f32 <= POOR)
}

/// Syllables of a word, counted as groups of vowels: right within one for the words at hand.
pub fn syllables(word: &str) -> usize {
    let vowel = |c: char| "aeiouyäöü".contains(c);
    let mut n = 0;
    let mut before = false;
    for c in word.chars() {
        let v = vowel(c);
        n += usize::from(v && !before);
        before = v;
    }
    n.max(1)
}

/// The weight of words for the sound they leave unexplained (nats, 0 or below). `active` is the time with sound in seconds.
pub fn length_weight(lattice: &Lattice, words: &[Word], active: f32) -> f32 {
    let n: usize = words.iter().map(|w| syllables(&lattice.words[usize::from(*w)])).sum();
    -SYLLABLE * (SLOWEST * active - n as f32).max(0.0)
}

/// Gather the evidence of one clip. `seconds` is the length of the sound.
pub fn gather(
    lattice: &Lattice,
    vocabulary: &Vocabulary,
    found: &Found,
    free: &(Vec<Token>, f32),
    seconds: f32,
) -> Evidence {
    let transcript = String::new();
    let Some(best) = found.paths.first() else {
        return Evidence {
            speech: true,
            transcript,
            ..Evidence::silence("No words of this call were heard.")
        };
    };
    let mut weights: HashMap<Vec<Word>, f32> = HashMap::new();
    for p in &found.paths {
        weights.insert(p.words.clone(), p.score - best.score);
    }
    // One entry for each meaning: the heaviest words that carry it.
    let mut list: Vec<(Vec<Word>, f32)> = weights.into_iter().filter(|(_, w)| *w > -KEPT).collect();
    list.sort_by(|a, b| b.1.total_cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
    let mut readings: Vec<Scored> = Vec::new();
    let mut meanings: Vec<Vec<(usize, reading::Said)>> = Vec::new();
    for (words, score) in list {
        let words: Vec<String> = words.iter().map(|w| lattice.words[usize::from(*w)].clone()).collect();
        let reading = reading::read_words(vocabulary, words);
        let meaning = meaning(&reading);
        if !meanings.contains(&meaning) {
            meanings.push(meaning);
            readings.push(Scored { reading, score });
        }
    }
    let tokens = best.tokens.len() + 1;
    Evidence {
        speech: true,
        silence: None,
        transcript,
        readings,
        foreign: (free.1 - best.likelihood).max(0.0) / seconds.max(0.5),
        fit: best.likelihood / tokens as f32,
        unfinished: found.cut,
        pace: Some(best.words.len() as f32 / seconds.max(0.2)),
    }
}

fn meaning(reading: &Reading) -> Vec<(usize, reading::Said)> {
    let mut m: Vec<_> = reading.mentions.iter().map(|m| (m.element, m.said.clone())).collect();
    m.sort_by(|a, b| format!("{a:?}").cmp(&format!("{b:?}")));
    m.dedup();
    m
}
