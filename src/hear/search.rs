//! The search for the words that explain the sound best, among those the lattice allows.
//!
//! A beam over whole words: inside a word of several tokens nothing is compared with other words, so that long compounds
//! are not cut off at a rare piece. Styles of writing (capitals, commas, joined words) are tried beside each other, and
//! only the best style of the same words is kept.

use super::HearError;
use super::lattice::{Lattice, States, Word};
use std::collections::HashMap;
use std::rc::Rc;

/// A token of the speech model.
pub type Token = i32;

/// What the search asks of the speech model: the sound is already encoded.
pub trait Decoder {
    /// Log-probabilities (natural) of every next token after `tokens`, with tokens that may never come at -infinity.
    fn next(&mut self, tokens: &[Token]) -> Result<Rc<[f32]>, HearError>;
    /// The token that ends the text.
    fn end(&self) -> Token;
    /// Tokens of a piece of text (with its leading space, if any).
    fn tokens(&mut self, text: &str) -> Vec<Token>;
}

/// How the search is done. Values were chosen on the tuning calls; DEVELOPERS.md says how.
#[derive(Debug, Clone, Copy)]
pub struct Width {
    /// Word sequences kept at a time.
    pub beam: usize,
    /// Sequences lighter than the best of the same number of words by more than this are dropped (nats).
    pub prune: f32,
    /// Added for each token, since each one costs likelihood and short texts would win (nats).
    pub reward: f32,
    /// The search ends when the best open sequence is lighter than the best ended one by more than this (nats).
    pub finish: f32,
    /// A comma or full stop is tried after a word when its log-probability is above this (nats).
    pub punctuation: f32,
    /// Decoder steps at the most.
    pub steps: usize,
}

impl Width {
    /// The width in force.
    pub const DEFAULT: Self = Self { beam: 8, prune: 8.0, reward: 1.0, finish: 12.0, punctuation: -4.0, steps: 400 };
}

/// An ended word sequence.
#[derive(Debug, Clone)]
pub struct Path {
    /// Its words.
    pub words: Vec<Word>,
    /// Its tokens, without the end of text.
    pub tokens: Vec<Token>,
    /// Where each word's tokens begin in `tokens` (punctuation before a word counts to it).
    pub starts: Vec<usize>,
    /// Sum of log-probabilities, end of text included, rewards included.
    pub score: f32,
    /// The same without rewards.
    pub likelihood: f32,
}

/// What the search found.
#[derive(Debug, Clone)]
pub struct Found {
    /// Ended sequences, best first, each word sequence once.
    pub paths: Vec<Path>,
    /// Decoder steps taken.
    pub steps: usize,
}

struct Open {
    words: Vec<Word>,
    tokens: Vec<Token>,
    starts: Vec<usize>,
    states: Rc<States>,
    likelihood: f32,
}

impl Open {
    fn score(&self, width: &Width) -> f32 {
        self.likelihood + width.reward * self.tokens.len() as f32
    }
}

/// Token forms of each word of a lattice, cached for a recogniser's life.
pub type Forms = HashMap<String, Rc<Vec<Vec<Token>>>>;

/// The writing styles of a word: with a leading space, small or with a capital; after a hyphen.
pub fn forms(decoder: &mut impl Decoder, cache: &mut Forms, word: &str) -> Rc<Vec<Vec<Token>>> {
    if let Some(f) = cache.get(word) {
        return Rc::clone(f);
    }
    let mut chars = word.chars();
    let capital: String = chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect());
    let mut list: Vec<Vec<Token>> = Vec::new();
    let mut texts = vec![format!(" {word}"), format!(" {capital}"), format!("-{word}"), format!("-{capital}")];
    if word == "xray" {
        texts = [" x-ray", " X-ray", " X-Ray", " xray", " Xray"].map(str::to_owned).to_vec();
    }
    for text in texts {
        let tokens = decoder.tokens(&text);
        if !tokens.is_empty() && !list.contains(&tokens) {
            list.push(tokens);
        }
    }
    let list = Rc::new(list);
    cache.insert(word.to_owned(), Rc::clone(&list));
    list
}

/// Search the lattice.
pub fn search(decoder: &mut impl Decoder, cache: &mut Forms, lattice: &Lattice, width: &Width) -> Result<Found, HearError> {
    let all_forms: Vec<Rc<Vec<Vec<Token>>>> = lattice.words.iter().map(|w| forms(decoder, cache, w)).collect();
    let marks: Vec<Token> = [",", "."].iter().filter_map(|p| decoder.tokens(p).first().copied()).collect();
    let end = decoder.end();
    let mut steps = 0;
    let mut ended: HashMap<Vec<Word>, Path> = HashMap::new();
    let mut best_ended = f32::NEG_INFINITY;
    let mut open = vec![Open { words: vec![], tokens: vec![], starts: vec![], states: Rc::new(lattice.start()), likelihood: 0.0 }];

    while !open.is_empty() && steps < width.steps {
        // Complete words found at this level, best style of each word sequence.
        let mut grown: HashMap<Vec<Word>, Open> = HashMap::new();
        let mut best_grown = f32::NEG_INFINITY;
        for hyp in &open {
            if steps >= width.steps {
                break;
            }
            let plain = decoder.next(&hyp.tokens)?;
            steps += 1;
            let mut bases: Vec<(Vec<Token>, f32, Rc<[f32]>)> = vec![(hyp.tokens.clone(), hyp.likelihood, Rc::clone(&plain))];
            if !hyp.words.is_empty() {
                for mark in &marks {
                    let p = plain[*mark as usize];
                    if p > width.punctuation {
                        let mut tokens = hyp.tokens.clone();
                        tokens.push(*mark);
                        let after = decoder.next(&tokens)?;
                        steps += 1;
                        bases.push((tokens, hyp.likelihood + p, after));
                    }
                }
            }
            let next = lattice.next(&hyp.states);
            let may_end = lattice.may_end(&hyp.states);
            for (tokens, likelihood, logp) in &bases {
                if may_end {
                    let likelihood = likelihood + logp[end as usize];
                    let score = likelihood + width.reward * tokens.len() as f32;
                    let old = ended.get(&hyp.words);
                    if likelihood.is_finite() && old.is_none_or(|o| o.score < score) {
                        best_ended = best_ended.max(score);
                        let path = Path { words: hyp.words.clone(), tokens: tokens.clone(), starts: hyp.starts.clone(), score, likelihood };
                        ended.insert(hyp.words.clone(), path);
                    }
                }
                // Begun words, to be followed in the order of their score.
                let mut begun: Vec<(Word, &Rc<States>, Vec<Token>, &[Token], f32)> = Vec::new();
                let states: Vec<(Word, Rc<States>)> = next.iter().map(|(w, s)| (*w, Rc::new(s.clone()))).collect();
                for (w, s) in &states {
                    for form in all_forms[usize::from(*w)].iter() {
                        let l = likelihood + logp[form[0] as usize];
                        if l.is_finite() {
                            let mut t = tokens.clone();
                            t.push(form[0]);
                            begun.push((*w, s, t, &form[1..], l));
                        }
                    }
                }
                while let Some(i) = (0..begun.len()).max_by(|a, b| {
                    let s = |i: &usize| begun[*i].4 + width.reward * begun[*i].2.len() as f32;
                    s(a).total_cmp(&s(b)).then(b.cmp(a))
                }) {
                    let (w, s, mut t, rest, l) = begun.swap_remove(i);
                    let score = l + width.reward * t.len() as f32;
                    // Inside a word the rest may still win back what the first piece cost: one reward a piece.
                    if score + width.reward * rest.len() as f32 + 1.0 < best_grown - width.prune {
                        break;
                    }
                    if let Some((first, rest)) = rest.split_first() {
                        if steps >= width.steps {
                            break;
                        }
                        let logp = decoder.next(&t)?;
                        steps += 1;
                        let l = l + logp[*first as usize];
                        t.push(*first);
                        if l.is_finite() {
                            begun.push((w, s, t, rest, l));
                        }
                        continue;
                    }
                    best_grown = best_grown.max(score);
                    let mut words = hyp.words.clone();
                    words.push(w);
                    let better = grown.get(&words).is_none_or(|o| o.score(width) < score);
                    if better {
                        let mut starts = hyp.starts.clone();
                        starts.push(hyp.tokens.len());
                        grown.insert(words.clone(), Open { words, tokens: t, starts, states: Rc::clone(s), likelihood: l });
                    }
                }
            }
        }
        let mut list: Vec<Open> = grown.into_values().collect();
        list.sort_by(|a, b| b.score(width).total_cmp(&a.score(width)).then_with(|| a.words.cmp(&b.words)));
        list.retain(|h| {
            let s = h.score(width);
            s >= best_grown - width.prune && s >= best_ended - width.finish
        });
        list.truncate(width.beam);
        open = list;
    }
    let mut paths: Vec<Path> = ended.into_values().collect();
    paths.sort_by(|a, b| b.score.total_cmp(&a.score).then_with(|| a.words.cmp(&b.words)));
    Ok(Found { paths, steps })
}

/// The likeliest text without the lattice, for the debrief and for comparison: greedy, at most `longest` tokens, cut where
/// it begins to repeat itself. Returns tokens and the sum of log-probabilities (end of text included).
pub fn free_text(decoder: &mut impl Decoder, longest: usize) -> Result<(Vec<Token>, f32), HearError> {
    let end = decoder.end();
    let mut tokens: Vec<Token> = Vec::new();
    let mut likelihood = 0.0;
    for _ in 0..longest {
        let logp = decoder.next(&tokens)?;
        let Some((best, p)) = logp.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(&a.0))) else { break };
        likelihood += p;
        if best as Token == end {
            break;
        }
        tokens.push(best as Token);
        if let Some(n) = repeats(&tokens) {
            tokens.truncate(tokens.len() - 2 * n);
            break;
        }
    }
    Ok((tokens, likelihood))
}

/// The length of a group of tokens that stands three times in a row at the end.
fn repeats(tokens: &[Token]) -> Option<usize> {
    (1..=tokens.len() / 3).find(|n| {
        let t = &tokens[tokens.len() - 3 * n..];
        t[..*n] == t[*n..2 * n] && t[*n..2 * n] == t[2 * n..]
    })
}
