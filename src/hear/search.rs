//! The search for the words that explain the sound best, among those the lattice allows.
//!
//! A beam over whole words: inside a word of several tokens nothing is compared with other words, so that long compounds
//! are not cut off at a rare piece. Styles of writing (capitals, commas, joined words) are tried beside each other, and
//! only the best style of the same words is kept.

use super::HearError;
use super::lattice::{Lattice, States, Word};
use std::collections::HashMap;
use std::sync::Arc;

/// A token of the speech model.
pub type Token = i32;

/// What the search asks of the speech model: the sound is already encoded.
pub trait Decoder {
    /// Log-probabilities (natural) of every next token after `tokens`, with tokens that may never come at -infinity.
    fn next(&mut self, tokens: &[Token]) -> Result<Arc<[f32]>, HearError>;
    /// The token that ends the text.
    fn end(&self) -> Token;
    /// Runs of the model so far.
    fn steps(&self) -> usize;
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
    /// The same for a word of which only the first pieces are known (nats).
    pub prune_inside: f32,
    /// Added for each token that is no punctuation, since each one costs likelihood and short texts would win (nats).
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
    pub const DEFAULT: Self = Self { beam: 6, prune: 7.0, prune_inside: 5.0, reward: 1.0, finish: 7.0, punctuation: -1.6, steps: 200 };
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
    states: Arc<States>,
    likelihood: f32,
    /// Tokens that are no punctuation: those are rewarded.
    pieces: usize,
}

/// A word begun: `done` of its tokens are weighed.
struct Begun<'a> {
    word: Word,
    states: &'a States,
    form: &'a [Token],
    done: usize,
    likelihood: f32,
}

impl Open {
    fn score(&self, width: &Width) -> f32 {
        self.likelihood + width.reward * self.pieces as f32
    }
}

/// Token forms of each word of a lattice, cached for a recogniser's life.
pub type Forms = HashMap<String, Arc<Vec<Vec<Token>>>>;

/// The writing styles of a word: each spelling with a leading space, small or with capitals; after a hyphen.
pub fn forms(decoder: &mut impl Decoder, cache: &mut Forms, spellings: &[String]) -> Arc<Vec<Vec<Token>>> {
    let key = spellings.first().map_or("", String::as_str);
    if let Some(f) = cache.get(key) {
        return Arc::clone(f);
    }
    let mut list: Vec<Vec<Token>> = Vec::new();
    for word in spellings {
        for lead in [" ", "-"] {
            for text in [format!("{lead}{word}"), format!("{lead}{}", capital(word))] {
                let tokens = decoder.tokens(&text);
                if !tokens.is_empty() && !list.contains(&tokens) {
                    list.push(tokens);
                }
            }
        }
    }
    let list = Arc::new(list);
    cache.insert(key.to_owned(), Arc::clone(&list));
    list
}

fn capital(word: &str) -> String {
    let mut chars = word.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// Search the lattice.
pub fn search(decoder: &mut impl Decoder, cache: &mut Forms, lattice: &Lattice, width: &Width) -> Result<Found, HearError> {
    let all_forms: Vec<Arc<Vec<Vec<Token>>>> = lattice.spellings.iter().map(|w| forms(decoder, cache, w)).collect();
    let marks: Vec<Token> = [",", "."].iter().filter_map(|p| decoder.tokens(p).first().copied()).collect();
    let end = decoder.end();
    let before = decoder.steps();
    let mut ended: HashMap<Vec<Word>, Path> = HashMap::new();
    let mut best_ended = f32::NEG_INFINITY;
    let mut open = vec![Open { words: vec![], tokens: vec![], starts: vec![], states: Arc::new(lattice.start()), likelihood: 0.0, pieces: 0 }];

    while !open.is_empty() && decoder.steps() - before < width.steps {
        // Complete words found at this level, best style of each word sequence.
        let mut grown: HashMap<Vec<Word>, Open> = HashMap::new();
        let mut best_grown = f32::NEG_INFINITY;
        for hyp in &open {
            if decoder.steps() - before >= width.steps {
                break;
            }
            let plain = decoder.next(&hyp.tokens)?;
            let mut bases: Vec<(Vec<Token>, f32, Arc<[f32]>)> = vec![(hyp.tokens.clone(), hyp.likelihood, Arc::clone(&plain))];
            if !hyp.words.is_empty() {
                for mark in &marks {
                    let p = plain[*mark as usize];
                    if p > width.punctuation {
                        let mut tokens = hyp.tokens.clone();
                        tokens.push(*mark);
                        let after = decoder.next(&tokens)?;
                        bases.push((tokens, hyp.likelihood + p, after));
                    }
                }
            }
            let next = lattice.next(&hyp.states);
            let may_end = lattice.may_end(&hyp.states);
            for (tokens, likelihood, logp) in &bases {
                if may_end {
                    let likelihood = likelihood + logp[end as usize];
                    let score = likelihood + width.reward * hyp.pieces as f32;
                    let old = ended.get(&hyp.words);
                    if likelihood.is_finite() && old.is_none_or(|o| o.score < score) {
                        best_ended = best_ended.max(score);
                        let path = Path { words: hyp.words.clone(), tokens: tokens.clone(), starts: hyp.starts.clone(), score, likelihood };
                        ended.insert(hyp.words.clone(), path);
                    }
                }
                // Begun words, to be followed in the order of their score.
                let mut begun: Vec<Begun> = Vec::new();
                for (word, states) in &next {
                    for form in all_forms[usize::from(*word)].iter() {
                        let likelihood = likelihood + logp[form[0] as usize];
                        if likelihood.is_finite() {
                            begun.push(Begun { word: *word, states, form, done: 1, likelihood });
                        }
                    }
                }
                let score = |b: &Begun| b.likelihood + width.reward * (hyp.pieces + b.done) as f32;
                while let Some(i) = (0..begun.len()).max_by(|a, b| score(&begun[*a]).total_cmp(&score(&begun[*b])).then(b.cmp(a))) {
                    let mut b = begun.swap_remove(i);
                    let value = score(&b);
                    let whole = b.done == b.form.len();
                    let prune = if whole { width.prune } else { width.prune_inside };
                    if value < best_grown - prune {
                        if whole {
                            break;
                        }
                        continue;
                    }
                    if !whole {
                        if decoder.steps() - before >= width.steps {
                            break;
                        }
                        let mut t = tokens.clone();
                        t.extend_from_slice(&b.form[..b.done]);
                        b.likelihood += decoder.next(&t)?[b.form[b.done] as usize];
                        b.done += 1;
                        if b.likelihood.is_finite() {
                            begun.push(b);
                        }
                        continue;
                    }
                    best_grown = best_grown.max(value);
                    let mut words = hyp.words.clone();
                    words.push(b.word);
                    if grown.get(&words).is_none_or(|o| o.score(width) < value) {
                        let mut starts = hyp.starts.clone();
                        starts.push(hyp.tokens.len());
                        let mut t = tokens.clone();
                        t.extend_from_slice(b.form);
                        let states = Arc::new(b.states.clone());
                        let pieces = hyp.pieces + b.form.len();
                        grown.insert(words.clone(), Open { words, tokens: t, starts, states, likelihood: b.likelihood, pieces });
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
        if std::env::var_os("CABLESIDE_TRACE").is_some() {
            #[allow(clippy::print_stderr)]
            for h in &list {
                eprintln!("{:4} {:8.2} {}", decoder.steps() - before, h.score(width), h.words.iter().map(|w| lattice.words[usize::from(*w)].as_str()).collect::<Vec<_>>().join(" "));
            }
        }
        open = list;
    }
    let mut paths: Vec<Path> = ended.into_values().collect();
    paths.sort_by(|a, b| b.score.total_cmp(&a.score).then_with(|| a.words.cmp(&b.words)));
    Ok(Found { paths, steps: decoder.steps() - before })
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
