//! The search for the words that explain the sound best, among those the lattice allows.
//!
//! A beam over whole words: inside a word of several tokens nothing is compared with other words, so that long compounds
//! are not cut off at a rare piece. Styles of writing (capitals, commas, joined words) are tried beside each other, and
//! only the best style of the same words is kept.

use super::HearError;
use super::lattice::{Lattice, States, Word};
use std::collections::{BTreeMap, BinaryHeap, HashMap};
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
    /// Added for each token that is no punctuation, since each one costs likelihood and short texts would win (nats).
    pub reward: f32,
    /// Open sequences lighter than the best ended one by more than this are dropped (nats)...
    pub finish: f32,
    /// ...or by more than this where the model itself wanted to end there (log-probability of the end above -1): a text
    /// cut short in its middle is ended against the model's will and must not end the search.
    pub finish_willing: f32,
    /// A comma or full stop is tried after a word when its log-probability is above this (nats).
    pub punctuation: f32,
    /// Decoder steps at the most.
    pub steps: usize,
}

impl Width {
    /// For a first look: enough where one path leads.
    pub const NARROW: Self = Self {
        beam: 4,
        prune: 6.0,
        reward: 1.0,
        finish: 25.0,
        finish_willing: 6.0,
        punctuation: -1.6,
        steps: 120,
    };
    /// For sound that the first look did not explain well.
    pub const WIDE: Self = Self {
        beam: 4,
        prune: 7.5,
        finish_willing: 7.0,
        steps: 600,
        ..Self::NARROW
    };
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
    /// The step limit ended the search.
    pub cut: bool,
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

/// The weight that a sequence must reach to be among the heaviest that are kept.
fn nth_best(grown: &HashMap<Vec<Word>, Open>, width: &Width) -> f32 {
    if grown.len() < width.beam {
        return f32::NEG_INFINITY;
    }
    let mut scores: Vec<f32> = grown.values().map(|o| o.score(width)).collect();
    scores.sort_by(|a, b| b.total_cmp(a));
    scores[width.beam - 1]
}

/// A sequence in one style: as it is, or with a mark after it.
struct Base {
    hyp: usize,
    tokens: Vec<Token>,
    likelihood: f32,
    marked: bool,
}

/// A word begun: `done` of its form's tokens are weighed.
struct Begun {
    base: usize,
    word: Word,
    form: usize,
    done: usize,
    likelihood: f32,
}

impl Begun {
    /// Its weight if the rest of the word costs nothing, a little below what is complete.
    fn priority(&self, width: &Width, hyp: &Open, whole: usize) -> f32 {
        self.likelihood
            + width.reward * (hyp.pieces + self.done) as f32
            + 0.5 * width.reward * (whole - self.done) as f32
    }
}

enum Job {
    /// Ask the model what follows a base.
    Look(usize),
    /// Follow a begun word.
    Go(Begun),
}

struct Item {
    priority: f32,
    /// Earlier first where priorities are equal: the search has one order.
    order: usize,
    job: Job,
}

impl PartialEq for Item {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == std::cmp::Ordering::Equal
    }
}
impl Eq for Item {}
impl PartialOrd for Item {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Item {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.priority
            .total_cmp(&other.priority)
            .then(other.order.cmp(&self.order))
    }
}

impl Open {
    fn score(&self, width: &Width) -> f32 {
        self.likelihood + width.reward * self.pieces as f32
    }
}

/// Token forms of each word of a lattice, cached for a recogniser's life.
pub type Forms = HashMap<String, Arc<Vec<Vec<Token>>>>;

/// The writing styles of a word: each spelling with a leading space, small or with capitals; after a hyphen.
pub fn forms(
    decoder: &mut impl Decoder,
    cache: &mut Forms,
    spellings: &[String],
) -> Arc<Vec<Vec<Token>>> {
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
    chars
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// Search the lattice.
///
/// `length` weighs an ended sequence by how much sound it leaves unexplained (nats, 0 or below).
pub fn search(
    decoder: &mut impl Decoder,
    cache: &mut Forms,
    lattice: &Lattice,
    width: &Width,
    length: impl Fn(&[Word]) -> f32,
) -> Result<Found, HearError> {
    let all_forms: Vec<Arc<Vec<Vec<Token>>>> = lattice
        .spellings
        .iter()
        .map(|w| forms(decoder, cache, w))
        .collect();
    let marks: Vec<Token> = [",", ".", "-"]
        .iter()
        .filter_map(|p| decoder.tokens(p).first().copied())
        .collect();
    let end = decoder.end();
    let before = decoder.steps();
    let mut ended: HashMap<Vec<Word>, Path> = HashMap::new();
    let mut best_ended = f32::NEG_INFINITY;
    let mut best_willing = f32::NEG_INFINITY;
    let mut open = vec![Open {
        words: vec![],
        tokens: vec![],
        starts: vec![],
        states: Arc::new(lattice.start()),
        likelihood: 0.0,
        pieces: 0,
    }];

    while !open.is_empty() && decoder.steps() - before < width.steps {
        // Complete words found at this level, best style of each word sequence. One sequence after the other, since the
        // model runs fastest on texts with a common beginning; within each the most promising first, until nothing that is
        // left can be among the `beam` heaviest.
        let mut grown: HashMap<Vec<Word>, Open> = HashMap::new();
        let mut best_grown = f32::NEG_INFINITY;
        let nexts: Vec<BTreeMap<Word, States>> =
            open.iter().map(|h| lattice.next(&h.states)).collect();
        let mut bases: Vec<Base> = Vec::new();
        for (h, hyp) in open.iter().enumerate() {
            let mut queue: BinaryHeap<Item> = BinaryHeap::new();
            bases.push(Base {
                hyp: h,
                tokens: hyp.tokens.clone(),
                likelihood: hyp.likelihood,
                marked: false,
            });
            queue.push(Item {
                priority: hyp.score(width) + width.reward,
                order: 0,
                job: Job::Look(bases.len() - 1),
            });
            let mut order = 0;
            while let Some(item) = queue.pop() {
                let least = (best_grown - width.prune).max(nth_best(&grown, width));
                if item.priority < least || decoder.steps() - before >= width.steps {
                    break;
                }
                let mut push = |queue: &mut BinaryHeap<Item>, priority: f32, job: Job| {
                    if priority.is_finite() {
                        order += 1;
                        queue.push(Item {
                            priority,
                            order,
                            job,
                        });
                    }
                };
                match item.job {
                    Job::Look(base) => {
                        let (h, likelihood, marked) =
                            (bases[base].hyp, bases[base].likelihood, bases[base].marked);
                        let hyp = &open[h];
                        let logp = decoder.next(&bases[base].tokens)?;
                        if lattice.may_end(&hyp.states) {
                            let ended_likelihood = likelihood + logp[end as usize];
                            let score = ended_likelihood
                                + width.reward * hyp.pieces as f32
                                + length(&hyp.words);
                            if logp[end as usize] > -1.0 {
                                best_willing = best_willing.max(score);
                            }
                            if ended_likelihood.is_finite()
                                && ended.get(&hyp.words).is_none_or(|o: &Path| o.score < score)
                            {
                                best_ended = best_ended.max(score);
                                let tokens = bases[base].tokens.clone();
                                let path = Path {
                                    words: hyp.words.clone(),
                                    tokens,
                                    starts: hyp.starts.clone(),
                                    score,
                                    likelihood: ended_likelihood,
                                };
                                ended.insert(hyp.words.clone(), path);
                            }
                        }
                        if !marked && !hyp.words.is_empty() {
                            for mark in &marks {
                                let p = logp[*mark as usize];
                                if p > width.punctuation {
                                    let mut tokens = hyp.tokens.clone();
                                    tokens.push(*mark);
                                    bases.push(Base {
                                        hyp: h,
                                        tokens,
                                        likelihood: likelihood + p,
                                        marked: true,
                                    });
                                    let priority =
                                        likelihood + p + width.reward * (hyp.pieces + 1) as f32;
                                    push(&mut queue, priority, Job::Look(bases.len() - 1));
                                }
                            }
                        }
                        for word in nexts[h].keys() {
                            for (form, tokens) in all_forms[usize::from(*word)].iter().enumerate() {
                                let likelihood = likelihood + logp[tokens[0] as usize];
                                let b = Begun {
                                    base,
                                    word: *word,
                                    form,
                                    done: 1,
                                    likelihood,
                                };
                                let priority = b.priority(width, hyp, tokens.len());
                                if priority >= least {
                                    push(&mut queue, priority, Job::Go(b));
                                }
                            }
                        }
                    }
                    Job::Go(mut b) => {
                        let h = bases[b.base].hyp;
                        let hyp = &open[h];
                        let form = &all_forms[usize::from(b.word)][b.form];
                        if b.done < form.len() {
                            let mut t = bases[b.base].tokens.clone();
                            t.extend_from_slice(&form[..b.done]);
                            b.likelihood += decoder.next(&t)?[form[b.done] as usize];
                            b.done += 1;
                            let priority = b.priority(width, hyp, form.len());
                            push(&mut queue, priority, Job::Go(b));
                            continue;
                        }
                        let mut words = hyp.words.clone();
                        words.push(b.word);
                        // The model likes to go on with a word it has just written twice; that is no evidence.
                        let n = words.len();
                        let third = n >= 3 && words[n - 2] == b.word && words[n - 3] == b.word;
                        let pieces = if third {
                            hyp.pieces.saturating_sub(1)
                        } else {
                            hyp.pieces + form.len()
                        };
                        let value = b.likelihood + width.reward * pieces as f32;
                        if value < best_grown - width.prune
                            || grown.get(&words).is_some_and(|o| o.score(width) >= value)
                        {
                            continue;
                        }
                        best_grown = best_grown.max(value);
                        let mut starts = hyp.starts.clone();
                        starts.push(hyp.tokens.len());
                        let mut tokens = bases[b.base].tokens.clone();
                        tokens.extend_from_slice(form);
                        let states = Arc::new(nexts[h][&b.word].clone());
                        grown.insert(
                            words.clone(),
                            Open {
                                words,
                                tokens,
                                starts,
                                states,
                                likelihood: b.likelihood,
                                pieces,
                            },
                        );
                    }
                }
            }
        }
        let mut list: Vec<Open> = grown.into_values().collect();
        list.sort_by(|a, b| {
            b.score(width)
                .total_cmp(&a.score(width))
                .then_with(|| a.words.cmp(&b.words))
        });
        list.retain(|h| {
            let s = h.score(width);
            s >= best_grown - width.prune
                && s >= best_ended - width.finish
                && s >= best_willing - width.finish_willing
        });
        list.truncate(width.beam);
        if std::env::var_os("CABLESIDE_TRACE").is_some() {
            #[allow(clippy::print_stderr)]
            for h in &list {
                eprintln!(
                    "{:4} {:8.2} {}",
                    decoder.steps() - before,
                    h.score(width),
                    h.words
                        .iter()
                        .map(|w| lattice.words[usize::from(*w)].as_str())
                        .collect::<Vec<_>>()
                        .join(" ")
                );
            }
        }
        open = list;
    }
    let mut paths: Vec<Path> = ended.into_values().collect();
    paths.sort_by(|a, b| {
        b.score
            .total_cmp(&a.score)
            .then_with(|| a.words.cmp(&b.words))
    });
    let steps = decoder.steps() - before;
    Ok(Found {
        paths,
        steps,
        cut: steps >= width.steps,
    })
}

/// The likeliest text without the lattice, for the debrief and for comparison: greedy, at most `longest` tokens, cut where
/// it begins to repeat itself. Returns tokens and the sum of log-probabilities (end of text included).
pub fn free_text(
    decoder: &mut impl Decoder,
    longest: usize,
) -> Result<(Vec<Token>, f32), HearError> {
    let end = decoder.end();
    let mut tokens: Vec<Token> = Vec::new();
    let mut likelihood = 0.0;
    for _ in 0..longest {
        let logp = decoder.next(&tokens)?;
        let Some((best, p)) = logp
            .iter()
            .enumerate()
            .max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(&a.0)))
        else {
            break;
        };
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
