//! What the speech model writes when nothing tells it the words of a call.

use super::HearError;
use super::search::{Decoder, Token};

/// The likeliest text without the lattice, for the debrief and for comparison: greedy, cut where it begins to repeat itself.
pub struct FreeText {
    tokens: Vec<Token>,
    likelihood: f32,
    longest: usize,
    ended: bool,
}

impl FreeText {
    /// Not begun; it will be cut after `longest` tokens.
    pub fn new(longest: usize) -> Self {
        Self {
            tokens: Vec::new(),
            likelihood: 0.0,
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
            let (best, p) = odds.best;
            self.likelihood += p;
            if best == decoder.end() {
                self.ended = true;
                break;
            }
            self.tokens.push(best);
            self.ended = self.tokens.len() == self.longest;
            if let Some(n) = repeats(&self.tokens) {
                self.tokens.truncate(self.tokens.len() - 2 * n);
                self.ended = true;
            }
        }
        None
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
        Ok((&self.tokens, self.likelihood))
    }
}

/// The length of a group of tokens that stands three times in a row at the end.
fn repeats(tokens: &[Token]) -> Option<usize> {
    (1..=tokens.len() / 3).find(|n| {
        let t = &tokens[tokens.len() - 3 * n..];
        t[..*n] == t[*n..2 * n] && t[*n..2 * n] == t[2 * n..]
    })
}

#[cfg(test)]
mod tests {
    use super::repeats;

    #[test]
    fn a_group_of_tokens_three_times_is_a_loop() {
        assert_eq!(repeats(&[7, 1, 2, 1, 2, 1, 2]), Some(2));
        assert_eq!(repeats(&[1, 2, 1, 2]), None);
    }
}
