//! What the speech model writes when nothing tells it the words of a call.

use super::HearError;
use super::decoder::{Decoder, Odds, Token};

/// Loops that are gone back from. Of 279 right elements in clear German (natural forms of diphone voices) 36.2 % were unsure with none, 31.9 % with one
/// and with two, 30.1 % with three.
const MENDED: usize = 3;
/// No more is gone back from after so many tokens in all, those of the loops included; 90 changed no verdict there.
const MOST: usize = 60;
/// Tokens of a short group.
const SHORT: usize = 3;

/// The likeliest text without the lattice, for the debrief and for comparison: greedy. Where it begins to repeat itself it goes back to the
/// first time and takes the next best way.
pub struct FreeText {
    tokens: Vec<Token>,
    /// Log-probability of each of them, and of the end.
    weights: Vec<f32>,
    /// Texts behind which a token began a loop.
    loops: Vec<(Vec<Token>, Token)>,
    longest: usize,
    /// Tokens in all.
    steps: usize,
    ended: bool,
}

impl FreeText {
    /// Not begun; it will be cut after `longest` tokens.
    pub fn new(longest: usize) -> Self {
        Self {
            tokens: Vec::new(),
            weights: Vec::new(),
            loops: Vec::new(),
            longest,
            steps: 0,
            ended: longest == 0,
        }
    }

    /// Goes on over all that the model was asked already; the text to ask about next, `None` when it has ended.
    fn follow(&mut self, decoder: &impl Decoder) -> Option<&[Token]> {
        while !self.ended {
            let Some(odds) = decoder.known(&self.tokens) else {
                return Some(&self.tokens);
            };
            let (best, p) = self.best(&odds);
            self.weights.push(p);
            if best == decoder.end() {
                self.ended = true;
                break;
            }
            self.tokens.push(best);
            self.steps += 1;
            self.ended = self.tokens.len() == self.longest;
            if let Some((n, times)) = repeats(&self.tokens) {
                let once = self.tokens.len() - (times - 1) * n;
                self.tokens.truncate(once);
                self.weights
                    .truncate(self.weights.len().saturating_sub((times - 1) * n));
                self.loops.push((self.tokens.clone(), self.tokens[once - n]));
                self.ended = self.loops.len() > MENDED || self.steps > MOST;
            }
        }
        None
    }

    /// The likeliest token that began no loop.
    fn best(&self, odds: &Odds) -> (Token, f32) {
        let began = |token: Token| self.loops.iter().any(|(text, t)| *t == token && *text == self.tokens);
        if !began(odds.best.0) {
            return odds.best;
        }
        let others = odds.tokens.iter().zip(&odds.weights).filter(|(t, _)| !began(**t));
        let best = others.max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(a.0)));
        best.map_or(odds.best, |(t, p)| (*t, *p))
    }

    /// Tokens that were thrown away again with their loops.
    pub fn lost(&self) -> usize {
        self.steps - self.tokens.len()
    }

    /// Follows what is left. Returns tokens and the sum of log-probabilities (end of text included). `guess` is a text that it may
    /// turn out to be: weighed in one run, it spares one for each token that is right, and changes nothing else.
    pub fn finish(&mut self, decoder: &mut impl Decoder, guess: &[Token]) -> Result<(&[Token], f32), HearError> {
        if !guess.is_empty() {
            decoder.weigh(&[guess.to_vec()])?;
        }
        while let Some(text) = self.follow(decoder) {
            let text = text.to_vec();
            decoder.next(&text)?;
        }
        Ok((&self.tokens, self.weights.iter().sum()))
    }
}

/// The length of a group of tokens that stands several times in a row at the end, and how often: three times, a short one five times, since
/// callsigns hold the same digit several times.
fn repeats(tokens: &[Token]) -> Option<(usize, usize)> {
    (1..=tokens.len() / 3).find_map(|n| {
        let times = if n <= SHORT { 5 } else { 3 };
        let from = tokens.len().checked_sub(times * n)?;
        let group = &tokens[from..from + n];
        tokens[from..].chunks_exact(n).all(|g| g == group).then_some((n, times))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashMap;
    use std::sync::Arc;

    #[test]
    fn a_group_of_tokens_again_and_again_is_a_loop() {
        assert_eq!(repeats(&[7, 1, 2, 3, 4, 1, 2, 3, 4, 1, 2, 3, 4]), Some((4, 3)));
        assert_eq!(repeats(&[7, 1, 2, 1, 2, 1, 2]), None);
        assert_eq!(repeats(&[7, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2]), Some((2, 5)));
        assert_eq!(repeats(&[1, 2, 1, 2]), None);
    }

    const END: Token = 0;

    /// A model that writes 1, then 2 for ever; the next best after the first 2 is 3, and after that the end.
    #[derive(Default)]
    struct Stuck {
        known: HashMap<Vec<Token>, Arc<Odds>>,
    }

    impl Decoder for Stuck {
        fn weigh(&mut self, texts: &[Vec<Token>]) -> Result<(), HearError> {
            for text in texts {
                let (best, second) = match text.last() {
                    None => (1, 3),
                    Some(1 | 2) => (2, 3),
                    _ => (END, 2),
                };
                let mut weights = vec![-9.0; 4];
                weights[best as usize] = -0.1;
                weights[second as usize] = -2.0;
                let odds = Odds {
                    tokens: vec![0, 1, 2, 3].into(),
                    weights,
                    best: (best, -0.1),
                    looks: vec![],
                };
                self.known.insert(text.clone(), Arc::new(odds));
            }
            Ok(())
        }

        fn known(&self, text: &[Token]) -> Option<Arc<Odds>> {
            self.known.get(text).cloned()
        }

        fn end(&self) -> Token {
            END
        }

        fn work(&self) -> f32 {
            0.0
        }
    }

    #[test]
    fn a_loop_is_gone_back_from_and_only_what_is_kept_counts() {
        let mut free = FreeText::new(60);
        let (tokens, likelihood) = free.finish(&mut Stuck::default(), &[]).unwrap();
        assert_eq!(tokens, [1, 2, 3]);
        assert!((likelihood - (-0.1 - 0.1 - 2.0 - 0.1)).abs() < 1e-5, "{likelihood}");
    }

    #[test]
    fn a_text_is_cut_where_it_is_too_long() {
        let mut free = FreeText::new(4);
        let (tokens, _) = free.finish(&mut Stuck::default(), &[]).unwrap();
        assert_eq!(tokens, [1, 2, 2, 2]);
    }
}
