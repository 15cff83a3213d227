//! The words of the lattice in a text that the model wrote when nothing told it the words of the call. The beam may lose them, above
//! all in a long call with words of its own in the middle; here they cost no run of the model.

use super::{Base, Decoder, Open, Search, Sound, States, Token, attention, repeated};
use crate::call::words;
use crate::hear::lattice::{Lattice, Word};
use std::collections::HashMap;
use std::ops::Range;

/// Readings of the same beginning of the text that are followed at a time.
const BEAM: usize = 8;
/// No word is written in more tokens.
const LONGEST: usize = 12;
/// What stands between words.
const MARKS: &str = " ,.-!";

/// How a text is cut into words does not matter to the ear.
fn plainly(text: &str) -> String {
    words::of(text).concat()
}

/// The words that may be written so.
fn spellings(lattice: &Lattice) -> HashMap<String, Vec<Word>> {
    let mut list: HashMap<String, Vec<Word>> = HashMap::new();
    for (word, ways) in (0..).zip(&lattice.spellings) {
        for way in ways {
            let words = list.entry(plainly(way)).or_default();
            if !words.contains(&word) {
                words.push(word);
            }
        }
    }
    list
}

impl<L: Fn(&[Word]) -> f32> Search<'_, L> {
    /// Ends the sequences of words that the text writes.
    pub(super) fn written(&mut self, decoder: &impl Decoder, sound: &Sound) {
        let tokens = sound.written;
        let Some(end) = decoder.known(tokens).map(|odds| odds.of(decoder.end())) else {
            return;
        };
        let spellings = spellings(self.lattice);
        // A question is not followed: no mark of the lattice says that one is asked.
        if (sound.text)(tokens).contains('?') {
            return;
        }
        let is_mark = |at: usize| (sound.text)(&tokens[at..=at]).chars().all(|c| MARKS.contains(c));
        let mut at: Vec<Vec<Open>> = (0..=tokens.len()).map(|_| Vec::new()).collect();
        at[0].push(Open::first(self.lattice));
        for from in 0..tokens.len() {
            let mut here = std::mem::take(&mut at[from]);
            here.sort_by(|a, b| b.score(self.width).total_cmp(&a.score(self.width)));
            here.truncate(BEAM);
            if is_mark(from) {
                at[from + 1].append(&mut here);
                continue;
            }
            for hyp in here {
                let next = self.lattice.next(&hyp.states);
                // Marks stand between words, so that each word is cut out in one way.
                for to in (from + 1..=tokens.len().min(from + LONGEST)).filter(|to| !is_mark(to - 1)) {
                    let piece = plainly(&(sound.text)(&tokens[from..to]));
                    for word in spellings.get(&piece).into_iter().flatten() {
                        if let Some(states) = next.get(word) {
                            let grown = self.with_word(decoder, &hyp, *word, states.clone(), tokens, from..to);
                            at[to].extend(grown);
                        }
                    }
                }
            }
        }
        for mut hyp in at.pop().unwrap_or_default() {
            if self.lattice.may_end(&hyp.states) {
                let Some(likelihood) = Self::likelihood(decoder, tokens, 0..tokens.len()) else {
                    continue;
                };
                hyp.likelihood = likelihood;
                hyp.tokens = tokens.to_vec();
                let base = Base {
                    of: 0,
                    tokens: tokens.to_vec(),
                    likelihood,
                    marked: false,
                };
                self.end(&hyp, &base, end);
            }
        }
    }

    /// The sum of the log-probabilities of some of the tokens.
    fn likelihood(decoder: &impl Decoder, tokens: &[Token], span: Range<usize>) -> Option<f32> {
        span.map(|t| Some(decoder.known(&tokens[..t])?.of(tokens[t]))).sum()
    }

    fn with_word(
        &self,
        decoder: &impl Decoder,
        hyp: &Open,
        word: Word,
        states: States,
        tokens: &[Token],
        span: Range<usize>,
    ) -> Option<Open> {
        let likelihood = hyp.likelihood + Self::likelihood(decoder, tokens, span.clone())?;
        let words = [hyp.words.as_slice(), &[word]].concat();
        let mut earned = hyp.earned.clone();
        earned.push(self.script.earns(word, hyp.words.last().copied()));
        let n = words.len();
        earned[n - repeated(&words)..].fill(0.0);
        let mut spans = hyp.spans.clone();
        spans.push(span);
        let heard: attention::Heard =
            hyp.heard
                .with_last(decoder, self.seconds, self.width.reward, &words, tokens, &spans);
        Some(Open {
            pieces: earned.iter().sum(),
            words,
            tokens: Vec::new(),
            spans,
            states,
            likelihood,
            styles: 0.0,
            earned,
            heard,
        })
    }
}
