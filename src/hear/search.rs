//! The search for the words that explain the sound best, among those the lattice allows.
//!
//! A beam over whole words: inside a word of several tokens nothing is compared with other words, so that long compounds
//! are not cut off at a rare piece. Styles of writing (capitals, commas, joined words) are tried beside each other, and
//! only the best style of the same words is kept.

use super::HearError;
use super::attention;
pub use super::decoder::{Decoder, Odds, Token};
use super::lattice::{Lattice, States, Word};
use super::script::Script;
use queue::Queue;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::ops::Range;

/// The model wants to end where the end's log-probability is above this.
pub const WILLING: f32 = -1.0;

/// How the search is done. Chosen by looking at the tuning calls; `benches/LAB.md` says what was seen.
#[derive(Debug, Clone, Copy)]
pub struct Width {
    /// Word sequences kept at a time.
    pub beam: usize,
    /// Sequences lighter than the best of the same number of words by more than this are dropped (nats).
    pub prune: f32,
    /// Added for each token of a word's shortest form, since each one costs likelihood and short texts would win (nats).
    pub reward: f32,
    /// Open sequences lighter than the best ended one by more than this are dropped (nats)...
    pub finish: f32,
    /// ...or by more than this where the model itself wanted to end there (log-probability of the end above -1): a text
    /// cut short in its middle is ended against the model's will and must not end the search.
    pub finish_willing: f32,
    /// A comma, full stop or hyphen is tried after a word when its log-probability is above this (nats).
    pub punctuation: f32,
    /// Different texts weighed in one run of the model (many begun words ask for the same one).
    pub together: usize,
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
        together: 8,
    };
    /// For sound that the first look did not explain well.
    pub const WIDE: Self = Self {
        beam: 4,
        prune: 7.5,
        finish_willing: 7.0,
        together: 16,
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
    /// Which of them write each word; marks between words belong to none.
    pub spans: Vec<Range<usize>>,
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
    /// The limit of work ended the search.
    pub cut: bool,
}

struct Open {
    words: Vec<Word>,
    tokens: Vec<Token>,
    /// As in [`Path`].
    spans: Vec<Range<usize>>,
    states: States,
    likelihood: f32,
    /// What the other styles of the same words add to the weight of this one, 0 or more (nats): how the words are written
    /// is not asked, so the chances of all ways to write them count together.
    styles: f32,
    /// Tokens of each word that are rewarded, those of its shortest form.
    earned: Vec<f32>,
    /// Their sum.
    pieces: f32,
    /// How far the sound is read, and what words cost that only say again what was said (nats).
    heard: attention::Heard,
}

/// A sequence in one style: as it is, or with a mark after it.
struct Base {
    /// Of the open sequences, which.
    of: usize,
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
    fn priority(&self, width: &Width, hyp: &Open, script: &Script) -> f32 {
        let word = usize::from(self.word);
        let share = self.done as f32 / script.forms[word][self.form].len() as f32;
        let pieces = script.earns(self.word, hyp.words.last().copied()) * f32::midpoint(1.0, share);
        self.likelihood + hyp.styles + width.reward * (hyp.pieces + pieces) - hyp.heard.cost
    }
}

enum Job {
    /// Ask the model what follows a base.
    Look(usize),
    /// Follow a begun word.
    Go(Begun),
}

/// A job with the text that the model must be asked about for it.
type Asked = (Job, Vec<Token>);

impl Open {
    /// Before the first word.
    fn first(lattice: &Lattice) -> Self {
        Self {
            words: vec![],
            tokens: vec![],
            spans: vec![],
            states: lattice.start(),
            likelihood: 0.0,
            styles: 0.0,
            earned: vec![],
            pieces: 0.0,
            heard: attention::Heard::default(),
        }
    }

    fn score(&self, width: &Width) -> f32 {
        self.likelihood + self.styles + width.reward * self.pieces - self.heard.cost
    }
}

/// What is known of the sound before the search.
pub struct Sound<'a> {
    /// Its length (seconds).
    pub seconds: f32,
    /// What the model wrote when nothing told it the words of the call; the decoder has weighed all of it.
    pub written: &'a [Token],
    /// Writes tokens as text.
    pub text: &'a dyn Fn(&[Token]) -> String,
}

/// Search the lattice.
///
/// `length` weighs an ended sequence by how much sound it leaves unexplained (nats, 0 or below).
/// The search ends where the decoder's work reaches `limit`.
pub fn search(
    decoder: &mut impl Decoder,
    lattice: &Lattice,
    script: &Script,
    width: &Width,
    limit: f32,
    sound: &Sound,
    length: impl Fn(&[Word]) -> f32,
) -> Result<Found, HearError> {
    let mut search = Search {
        lattice,
        width,
        script,
        limit,
        seconds: sound.seconds,
        length,
        ended: Ended::default(),
    };
    let mut open = vec![Open::first(lattice)];
    while !open.is_empty() && decoder.work() < limit {
        open = search.level(decoder, open)?;
    }
    search.written(decoder, sound);
    let mut paths: Vec<Path> = search.ended.paths.into_values().collect();
    paths.sort_by(|a, b| b.score.total_cmp(&a.score).then_with(|| a.words.cmp(&b.words)));
    let cut = decoder.work() >= limit;
    Ok(Found { paths, cut })
}

/// Ended sequences.
struct Ended {
    paths: HashMap<Vec<Word>, Path>,
    /// The heaviest of all, and of those where the model itself wanted to end.
    best: f32,
    best_willing: f32,
}

impl Default for Ended {
    fn default() -> Self {
        Self {
            paths: HashMap::new(),
            best: f32::NEG_INFINITY,
            best_willing: f32::NEG_INFINITY,
        }
    }
}

struct Search<'a, L: Fn(&[Word]) -> f32> {
    lattice: &'a Lattice,
    width: &'a Width,
    script: &'a Script,
    /// The decoder's work at which the search stops.
    limit: f32,
    seconds: f32,
    length: L,
    ended: Ended,
}

/// The work of one level.
struct Level<'a> {
    open: &'a [Open],
    /// What may follow each open sequence.
    next: Vec<BTreeMap<Word, States>>,
    bases: Vec<Base>,
    queue: Queue,
    grown: Grown<'a>,
}

impl<L: Fn(&[Word]) -> f32> Search<'_, L> {
    /// Every open sequence grows by one word; the heaviest results are the next open ones.
    ///
    /// The most promising texts first, several in one run of the model, until nothing that is left can be among the `beam`
    /// heaviest.
    fn level(&mut self, decoder: &mut impl Decoder, mut open: Vec<Open>) -> Result<Vec<Open>, HearError> {
        let texts: Vec<Vec<Token>> = (open.iter().map(|hyp| hyp.tokens.clone()))
            .filter(|text| decoder.known(text).is_none())
            .collect();
        if !texts.is_empty() {
            decoder.weigh(&texts)?;
        }
        for hyp in &mut open {
            hyp.heard = hyp.heard.with_last(
                decoder,
                self.seconds,
                self.width.reward,
                &hyp.words,
                &hyp.tokens,
                &hyp.spans,
            );
        }
        self.keep(&mut open, f32::NEG_INFINITY);
        let open = open.as_slice();
        let mut level = Level {
            open,
            next: open.iter().map(|hyp| self.lattice.next(&hyp.states)).collect(),
            bases: Vec::new(),
            queue: Queue::default(),
            grown: Grown::new(self.width),
        };
        for (of, hyp) in open.iter().enumerate() {
            level.bases.push(Base {
                of,
                tokens: hyp.tokens.clone(),
                likelihood: hyp.likelihood,
                marked: false,
            });
            level
                .queue
                .push(hyp.score(self.width) + self.width.reward, Job::Look(of));
        }
        while decoder.work() < self.limit {
            let (jobs, unknown) = self.promising(decoder, &mut level);
            if jobs.is_empty() {
                break;
            }
            if !unknown.is_empty() {
                decoder.weigh(&Vec::from_iter(unknown))?;
            }
            for (job, text) in jobs {
                let odds = decoder.next(&text)?;
                match job {
                    Job::Look(base) => self.look(&odds, decoder.end(), base, &mut level),
                    Job::Go(begun) => self.go(&odds, begun, &mut level),
                }
            }
        }
        let grown = level.grown;
        let mut list: Vec<Open> = grown.open.into_values().collect();
        self.keep(&mut list, grown.best - self.width.prune);
        Ok(list)
    }

    /// Keeps the heaviest of the open sequences, in order, of those that weigh at least so much.
    fn keep(&self, list: &mut Vec<Open>, least: f32) {
        let score = |h: &Open| h.score(self.width);
        list.sort_by(|a, b| score(b).total_cmp(&score(a)).then_with(|| a.words.cmp(&b.words)));
        let least = least
            .max(self.ended.best - self.width.finish)
            .max(self.ended.best_willing - self.width.finish_willing);
        list.retain(|h| score(h) >= least);
        list.truncate(self.width.beam);
    }

    /// The most promising jobs with the texts they must know, until one run of the model is full, and those of the texts
    /// that the model was not asked yet. Words that are complete are taken on the way.
    fn promising(&self, decoder: &impl Decoder, level: &mut Level) -> (Vec<Asked>, BTreeSet<Vec<Token>>) {
        let mut jobs = Vec::new();
        let mut unknown = BTreeSet::new();
        while unknown.len() < self.width.together {
            let Some(item) = level.queue.items.pop() else { break };
            if item.priority < level.grown.least() {
                break;
            }
            let text = match &item.job {
                Job::Look(base) => level.bases[*base].tokens.clone(),
                Job::Go(begun) => {
                    let form = &self.script.forms[usize::from(begun.word)][begun.form];
                    if begun.done == form.len() {
                        self.take(begun, level);
                        continue;
                    }
                    [level.bases[begun.base].tokens.as_slice(), &form[..begun.done]].concat()
                }
            };
            if decoder.known(&text).is_none() {
                unknown.insert(text.clone());
            }
            jobs.push((item.job, text));
        }
        (jobs, unknown)
    }

    /// What follows a base: its end, marks, words begun.
    fn look(&mut self, odds: &Odds, end: Token, base: usize, level: &mut Level) {
        let Base {
            of, likelihood, marked, ..
        } = level.bases[base];
        let hyp = &level.open[of];
        if self.lattice.may_end(&hyp.states) {
            self.end(hyp, &level.bases[base], odds.of(end));
        }
        if !marked && !hyp.words.is_empty() {
            for mark in &self.script.marks {
                let p = odds.of(*mark);
                if p > self.width.punctuation {
                    let mut tokens = hyp.tokens.clone();
                    tokens.push(*mark);
                    level.bases.push(Base {
                        of,
                        tokens,
                        likelihood: likelihood + p,
                        marked: true,
                    });
                    let priority =
                        likelihood + p + hyp.styles + self.width.reward * (hyp.pieces + 1.0) - hyp.heard.cost;
                    level.queue.push(priority, Job::Look(level.bases.len() - 1));
                }
            }
        }
        let least = level.grown.least();
        for word in level.next[of].keys() {
            for (form, tokens) in self.script.forms[usize::from(*word)].iter().enumerate() {
                let begun = Begun {
                    base,
                    word: *word,
                    form,
                    done: 1,
                    likelihood: likelihood + odds.of(tokens[0]),
                };
                let priority = begun.priority(self.width, hyp, self.script);
                if priority >= least {
                    level.queue.push(priority, Job::Go(begun));
                }
            }
        }
    }

    /// A sequence may end here: keep it if it is the best style of its words.
    fn end(&mut self, hyp: &Open, base: &Base, end: f32) {
        let likelihood = base.likelihood + end;
        if !likelihood.is_finite() {
            return;
        }
        let score = likelihood + hyp.score(self.width) - hyp.likelihood + (self.length)(&hyp.words);
        if end > WILLING {
            self.ended.best_willing = self.ended.best_willing.max(score);
        }
        if self.ended.paths.get(&hyp.words).is_none_or(|o| o.score < score) {
            self.ended.best = self.ended.best.max(score);
            let (words, tokens) = (hyp.words.clone(), base.tokens.clone());
            self.ended.paths.insert(
                hyp.words.clone(),
                Path {
                    words,
                    tokens,
                    spans: hyp.spans.clone(),
                    score,
                    likelihood,
                },
            );
        }
    }

    /// Follow a begun word by one token.
    fn go(&self, odds: &Odds, mut begun: Begun, level: &mut Level) {
        let form = &self.script.forms[usize::from(begun.word)][begun.form];
        begun.likelihood += odds.of(form[begun.done]);
        begun.done += 1;
        let hyp = &level.open[level.bases[begun.base].of];
        let priority = begun.priority(self.width, hyp, self.script);
        level.queue.push(priority, Job::Go(begun));
    }

    /// A word is complete.
    fn take(&self, begun: &Begun, level: &mut Level) {
        let form = &self.script.forms[usize::from(begun.word)][begun.form];
        let base = &level.bases[begun.base];
        let hyp = &level.open[base.of];
        let Some(states) = level.next[base.of].get(&begun.word) else {
            return;
        };
        let words = [hyp.words.as_slice(), &[begun.word]].concat();
        let earned_here = self.script.earns(begun.word, hyp.words.last().copied());
        let mut earned = [hyp.earned.as_slice(), &[earned_here]].concat();
        let n = words.len();
        earned[n - repeated(&words)..].fill(0.0);
        let pieces = earned.iter().sum();
        let tokens = [base.tokens.as_slice(), form].concat();
        level.grown.take(Open {
            words,
            tokens,
            spans: with_span(hyp, base, form.len()),
            states: states.clone(),
            likelihood: begun.likelihood,
            styles: hyp.styles,
            earned,
            pieces,
            heard: hyp.heard,
        });
    }
}

/// The spans of a sequence with another word of so many tokens after a base.
fn with_span(hyp: &Open, base: &Base, tokens: usize) -> Vec<Range<usize>> {
    let from = base.tokens.len();
    let new = from..from + tokens;
    hyp.spans.iter().cloned().chain(std::iter::once(new)).collect()
}

/// So many words in the same order as anywhere before are no chance.
const AGAIN: usize = 5;

/// How many words at the end only say again what stands before them: a group of two or more words right before, five or
/// more anywhere before, or one word for the third time. The model likes to go on repeating what it has written, and to
/// begin the whole again; that is no evidence, so such words earn no reward. They may still have been said, and then the
/// sound pays for them.
fn repeated(words: &[Word]) -> usize {
    let n = words.len();
    if matches!(words, [.., a, b, c] if a == b && b == c) {
        return 2;
    }
    let adjacent = (2..=n / 2).rev().find(|p| words[n - p..] == words[n - 2 * p..n - p]);
    let anywhere = (AGAIN..=n / 2)
        .rev()
        .find(|p| words[..n - p].windows(*p).any(|w| *w == words[n - p..]));
    adjacent.max(anywhere).unwrap_or(0)
}

/// Sequences grown at one level, the best style of each.
struct Grown<'a> {
    width: &'a Width,
    open: HashMap<Vec<Word>, Open>,
    best: f32,
}

impl<'a> Grown<'a> {
    fn new(width: &'a Width) -> Self {
        Self {
            width,
            open: HashMap::new(),
            best: f32::NEG_INFINITY,
        }
    }

    fn take(&mut self, open: Open) {
        let score = open.score(self.width);
        if score < self.best - self.width.prune {
            return;
        }
        let mut kept = open;
        let mut all = score;
        if let Some(known) = self.open.remove(&kept.words) {
            let before = known.score(self.width);
            all = either(before, score);
            if before >= score {
                kept = known;
            }
        }
        kept.styles += all - kept.score(self.width);
        self.best = self.best.max(all);
        self.open.insert(kept.words.clone(), kept);
    }

    /// The weight that a sequence must reach to be among those that are kept.
    fn least(&self) -> f32 {
        let pruned = self.best - self.width.prune;
        if self.open.len() < self.width.beam {
            return pruned;
        }
        let mut scores: Vec<f32> = self.open.values().map(|o| o.score(self.width)).collect();
        scores.sort_by(|a, b| b.total_cmp(a));
        pruned.max(scores[self.width.beam - 1])
    }
}

/// The weight of two things of which one or the other happens (natural logarithms).
fn either(a: f32, b: f32) -> f32 {
    a.max(b) + (-(a - b).abs()).exp().ln_1p()
}

mod queue;
mod written;

#[cfg(test)]
mod scripted;

#[cfg(test)]
mod tests {
    use super::{either, repeated};

    #[test]
    fn chances_of_two_ways_to_write_a_word_add_up() {
        let half = 0.5_f32.ln();
        assert!(either(half, half).abs() < 1e-6);
        assert!((either(-1.0, -30.0) + 1.0).abs() < 1e-6);
        assert!((either(-3.0, f32::NEG_INFINITY) + 3.0).abs() < 1e-6);
    }

    #[test]
    fn words_said_again_are_counted() {
        for (words, n) in [
            (vec![1, 2, 3], 0),
            (vec![1, 5, 5], 0),
            (vec![1, 5, 5, 5], 2),
            (vec![1, 2, 1, 2], 2),
            (vec![9, 1, 2, 3, 1, 2, 3], 3),
            (vec![1, 2, 3, 1, 2], 0),
            (vec![1, 2, 3, 4, 9, 1, 2, 3, 4], 0),
            (vec![1, 2, 3, 4, 5, 9, 8, 1, 2, 3, 4, 5], 5),
            (vec![], 0),
        ] {
            assert_eq!(repeated(&words), n, "{words:?}");
        }
    }
}
