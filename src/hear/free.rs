//! What the speech model writes when nothing tells it the words of a call.

use super::HearError;
use super::search::{Decoder, Odds, Token};

/// Loops that are gone back from.
const MENDED: usize = 3;
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
            self.ended = self.tokens.len() == self.longest;
            if let Some((n, times)) = repeats(&self.tokens) {
                let once = self.tokens.len() - (times - 1) * n;
                self.tokens.truncate(once);
                self.weights
                    .truncate(self.weights.len().saturating_sub((times - 1) * n));
                self.loops.push((self.tokens.clone(), self.tokens[once - n]));
                self.ended = self.loops.len() > MENDED;
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
    use super::repeats;

    #[test]
    fn a_group_of_tokens_again_and_again_is_a_loop() {
        assert_eq!(repeats(&[7, 1, 2, 3, 4, 1, 2, 3, 4, 1, 2, 3, 4]), Some((4, 3)));
        assert_eq!(repeats(&[7, 1, 2, 1, 2, 1, 2]), None);
        assert_eq!(repeats(&[7, 1, 2, 1, 2, 1, 2, 1, 2, 1, 2]), Some((2, 5)));
        assert_eq!(repeats(&[1, 2, 1, 2]), None);
    }
}
