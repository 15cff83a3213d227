//! From what the search found to readings with weights. What the search dropped on its way has no weight here: it was
//! lighter than others of as many words, by the search's width or because enough heavier ones were kept.

use super::lattice::{Lattice, Word};
use super::search::{Found, Path, Token};
use crate::call::reading;
use crate::call::words::Mark;
use crate::call::{Evidence, Scored, Silence, Vocabulary};
use crate::site::Language;

/// Readings lighter than the best by more than this decide nothing and are not kept (nats).
const KEPT: f32 = 10.0;

/// Speech is hardly ever slower than this (syllables for each second in which there is sound). A path with fewer leaves
/// sound unexplained; each missing syllable costs [`SYLLABLE`].
const SLOWEST: f32 = 2.2;
/// Mean log-probability a token below which the narrow search is not trusted (nats).
const POOR: f32 = -0.9;
/// Cost of a syllable too few (nats).
const SYLLABLE: f32 = 3.0;

/// Where the model's own text holds a word that takes back, denies or puts off, and explains the sound by more than this better than
/// words without it, the two dispute each other (nats).
const PASSED_OVER: f32 = 2.0;

/// A compound taken apart weighs so much less than the whole (nats): too little to decide between them.
const APART: f32 = 0.5;

/// Did the narrow search leave the sound badly explained? Then a wider one is worth its time.
pub fn poor(found: &Found) -> bool {
    found.cut || found.paths.first().is_none_or(|p| fit(p) <= POOR)
}

/// Mean log-probability a token, end of text included (nats).
fn fit(path: &Path) -> f32 {
    path.likelihood / (path.tokens.len() + 1) as f32
}

/// Syllables of a word, counted as groups of vowels: right within one for the words at hand.
pub fn syllables(language: Language, word: &str) -> usize {
    let vowel = |c: char| language.is_vowel(c);
    let mut n = 0;
    let mut before = false;
    for c in word.chars() {
        let v = vowel(c);
        n += usize::from(v && !before);
        before = v;
    }
    n.max(1)
}

/// No registration is spelled with more characters, one too many included; a reading with a longer one costs this (nats).
/// ("Sieben eins neun fünf eins siebzig" sounds like "sieben eins neun fünf, einsitzig".) Longest: an N and five more, two
/// letters and four digits; ICAO Annex 7 leaves the number of characters open, so this is from memory of marks in use.
const LONGEST_CALLSIGN: usize = 7;
const TOO_LONG: f32 = 5.0;
/// Nobody spells two characters that are no end of the callsign beside them; each such run costs this (nats).
const STRAY: f32 = 8.0;

/// The weight of words for the sound they leave unexplained, and for a callsign that no aircraft has (nats, 0 or below).
/// `active` is the time with sound in seconds.
pub fn length_weight(lattice: &Lattice, words: &[Word], active: f32) -> f32 {
    let n: usize = words
        .iter()
        .map(|w| syllables(lattice.language, lattice.word(*w)))
        .sum();
    let callsign = if lattice.longest_spelled(words) > LONGEST_CALLSIGN {
        TOO_LONG
    } else {
        0.0
    };
    let stray = STRAY * lattice.stray_characters(words) as f32;
    -SYLLABLE * (SLOWEST * active - n as f32).max(0.0) - callsign - stray
}

/// The model's own guess that nobody speaks must reach this...
const NOBODY: f32 = 0.55;

/// ... and readings with a word of the call must be lighter than the best one by this (nats). With no such reading at all 121 of 204 sounds
/// without speech are "nothing heard", with 3 nats 158; of 320 natural calls none either way (RESULTS, "Sounds without speech").
const WORDLESS: f32 = 3.0;

/// Sound in which nobody speaks: the model thinks so, and no reading that is about as heavy as the best has a word that is part of
/// the call. (The guess alone is worth little: calls in noise reach it too.)
pub fn nobody(evidence: &Evidence) -> bool {
    let mut heavy = evidence.readings.iter().filter(|r| r.score > -WORDLESS);
    evidence.no_speech >= NOBODY && heavy.all(|r| r.reading.mentions.is_empty())
}

/// Gather the evidence of one clip. `free` is the free text and its likelihood, `seconds` the length of the sound,
/// `parts` tells the marks that part what belongs together.
pub fn gather(
    lattice: &Lattice,
    vocabulary: &Vocabulary,
    found: &Found,
    free: (String, f32),
    seconds: f32,
    parts: impl Fn(Token) -> bool,
) -> Evidence {
    let (transcript, free_likelihood) = free;
    let Some(best) = found.paths.first() else {
        return Evidence {
            speech: true,
            transcript,
            ..Evidence::silence(Silence::NoWords)
        };
    };
    // One entry for each meaning: the heaviest words that carry it.
    let mut readings: Vec<Scored> = Vec::new();
    let mut meanings = Vec::new();
    let written = |words: &[Word]| words.iter().map(|w| lattice.word(*w).to_owned()).collect();
    for path in found.paths.iter().take_while(|p| p.score > best.score - KEPT) {
        let marks: Vec<Mark> = (path.spans.iter())
            .map(|span| match path.tokens.get(span.end) {
                Some(next) if parts(*next) => Mark::Parts,
                _ => Mark::None,
            })
            .collect();
        let reading = reading::read_words(vocabulary, written(&path.words), &marks);
        let mut keep = |reading: reading::Reading, score: f32| {
            let meaning = reading.says();
            if !meanings.contains(&meaning) {
                meanings.push(meaning);
                readings.push(Scored { reading, score });
            }
        };
        let score = path.score - best.score;
        keep(reading, score);
        if let Some(apart) = lattice.apart(&path.words) {
            keep(reading::read_words(vocabulary, written(&apart), &[]), score - APART);
        }
    }
    readings.sort_by(|a, b| b.score.total_cmp(&a.score));
    Evidence {
        speech: true,
        silence: None,
        transcript,
        readings,
        foreign: (free_likelihood - best.likelihood).max(0.0) / seconds.max(0.5),
        fit: fit(best),
        seconds: seconds.max(0.5),
        tokens: best.tokens.len() + 1,
        no_speech: 0.0,
        unfinished: found.cut,
        disputed: lattice.passed_over(&best.words) && free_likelihood > best.likelihood + PASSED_OVER,
        places: Vec::new(),
        unread: Vec::new(),
        delivery: None,
    }
}
