//! From what the search found to readings with weights: the ended paths, and near misses of the best one that the search
//! had no reason to follow, each weighed on the same terms at the place where it parts from the best path.

use super::HearError;
use super::lattice::{Lattice, Word};
use super::search::{Decoder, Forms, Found, Path, Token, forms};
use crate::call::reading::{self, Reading};
use crate::call::{Evidence, Scored, Vocabulary};
use std::collections::HashMap;

/// Readings lighter than the best by more than this decide nothing and are not kept (nats).
const KEPT: f32 = 10.0;

/// Gather the evidence of one clip. `seconds` is the length of the sound.
pub fn gather(
    decoder: &mut impl Decoder,
    cache: &mut Forms,
    lattice: &Lattice,
    vocabulary: &Vocabulary,
    found: &Found,
    free: &(Vec<Token>, f32),
    seconds: f32,
) -> Result<Evidence, HearError> {
    let transcript = String::new();
    let Some(best) = found.paths.first() else {
        return Ok(Evidence { transcript, ..Evidence::silence("No words of this call were heard.") });
    };
    let mut weights: HashMap<Vec<Word>, f32> = HashMap::new();
    for p in &found.paths {
        weights.insert(p.words.clone(), p.score - best.score);
    }
    for (words, weight) in near_misses(decoder, cache, lattice, best)? {
        let w = weights.entry(words).or_insert(f32::NEG_INFINITY);
        *w = w.max(weight);
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
    Ok(Evidence {
        speech: true,
        silence: None,
        transcript,
        readings,
        foreign: (free.1 - best.likelihood).max(0.0) / seconds.max(0.5),
        fit: best.likelihood / tokens as f32,
        pace: Some(best.words.len() as f32 / seconds.max(0.2)),
    })
}

fn meaning(reading: &Reading) -> Vec<(usize, reading::Said)> {
    let mut m: Vec<_> = reading.mentions.iter().map(|m| (m.element, m.said.clone())).collect();
    m.sort_by(|a, b| format!("{a:?}").cmp(&format!("{b:?}")));
    m.dedup();
    m
}

/// Word sequences that part from the best path at one place and join it again: another word in the place of one, one left
/// out, one put in. Weight: the difference of log-probabilities at the place where they part.
fn near_misses(decoder: &mut impl Decoder, cache: &mut Forms, lattice: &Lattice, best: &Path) -> Result<Vec<(Vec<Word>, f32)>, HearError> {
    let mut out = Vec::new();
    let end = decoder.end();
    let mut states = lattice.start();
    for at in 0..=best.words.len() {
        let start = best.starts.get(at).copied().unwrap_or(best.tokens.len());
        // The punctuation in front of the word belongs to the best path's style: part from it after the mark.
        let chosen_from = best.tokens[start..].iter().take_while(|t| is_mark(decoder, **t)).count() + start;
        let logp = decoder.next(&best.tokens[..chosen_from])?;
        let chosen = best.tokens.get(chosen_from).copied().unwrap_or(end);
        let base = logp[chosen as usize];
        let next = lattice.next(&states);
        for word in next.keys() {
            if best.words.get(at) == Some(word) {
                continue;
            }
            let f = forms(decoder, cache, &lattice.spellings[usize::from(*word)]);
            // Where both begin with the same piece the search itself has compared them.
            let Some(p) = f.iter().filter(|f| f[0] != chosen).map(|f| logp[f[0] as usize]).max_by(f32::total_cmp) else { continue };
            let weight = (p - base).min(0.0);
            if weight < -KEPT {
                continue;
            }
            let mut offer = |rest: &[Word]| {
                let words: Vec<Word> = best.words[..at].iter().chain([word]).chain(rest).copied().collect();
                if lattice.after(&states, &words[at..]).is_some_and(|s| lattice.may_end(&s)) {
                    out.push((words, weight));
                }
            };
            // In the place of one or two words.
            if at < best.words.len() {
                offer(&best.words[at + 1..]);
                offer(&best.words[(at + 2).min(best.words.len())..]);
            }
            // Put in.
            offer(&best.words[at..]);
            // The words up to its next place left out.
            for later in at + 1..best.words.len() {
                if best.words[later] == *word {
                    offer(&best.words[later + 1..]);
                }
            }
            // A wording of several words begun here: the rest of it, then on with the best path.
            for tail in lattice.completions(&states, *word) {
                let mut rest: Vec<Word> = tail.clone();
                rest.extend(&best.words[at..]);
                offer(&rest);
                for skip in 1..=3usize.min(best.words.len() - at) {
                    let mut rest = tail.clone();
                    rest.extend(&best.words[at + skip..]);
                    offer(&rest);
                }
            }
        }
        if at > 0 && at < best.words.len() && lattice.may_end(&states) {
            out.push((best.words[..at].to_vec(), logp[end as usize] - base));
        }
        if let Some(w) = best.words.get(at) {
            match lattice.step(&states, *w) {
                Some(s) => states = s,
                None => break,
            }
        }
    }
    Ok(out)
}

fn is_mark(decoder: &mut impl Decoder, token: Token) -> bool {
    [",", "."].iter().any(|m| decoder.tokens(m).first() == Some(&token))
}
