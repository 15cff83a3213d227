//! Where in the sound each word was read, by the decoder's attention; and what that says of words that come twice.
//!
//! When the sound is used up, the model likes to go on with what it has already written. Such words are not read from the
//! sound: the attention lies on the silence at the end, or goes back to where the first ones were read.

use super::decoder::{Decoder, FRAMES, Token};
use super::lattice::Word;
use std::ops::Range;

/// Attention within this many frames of its peak (20 ms each) belongs to it.
const NEAR: usize = 12;
/// A word is read from the sound when at least this share of the attention lies together...
const TOGETHER: f32 = 0.33;
/// ...and not earlier than this before a word that was read already (seconds).
const BACK: f32 = 0.3;
/// Cost of a word that was said before and is not read from the sound (nats), beside its reward.
const SAID_BEFORE: f32 = 2.0;

/// How far a sequence of words has read the sound.
#[derive(Debug, Clone, Copy, Default)]
pub struct Heard {
    /// Seconds from its beginning.
    reached: f32,
    /// What words cost that were said before and only go on after the sound (nats).
    pub cost: f32,
}

impl Heard {
    /// After the last of `words`, all of whose tokens the decoder has weighed. `seconds` is the length of the sound, `spans` say which
    /// of the tokens write each word.
    #[must_use]
    pub fn with_last(
        self,
        decoder: &impl Decoder,
        seconds: f32,
        reward: f32,
        words: &[Word],
        tokens: &[Token],
        spans: &[Range<usize>],
    ) -> Self {
        let (Some((last, before)), Some(span)) = (words.split_last(), spans.last()) else {
            return self;
        };
        let centres = span.clone().filter_map(|t| {
            let odds = decoder.known(&tokens[..=t])?;
            centre(&odds.looks).filter(|c| *c < seconds)
        });
        // The last of its tokens is read nearest to its end.
        if let Some(c) = centres.last().filter(|c| *c > self.reached - BACK) {
            Self {
                reached: self.reached.max(c),
                ..self
            }
        } else if before.contains(last) {
            Self {
                cost: self.cost + SAID_BEFORE + reward * span.len() as f32,
                ..self
            }
        } else {
            self
        }
    }
}

/// The place in the sound (seconds from its beginning) where attention lies together; `None` when it is spread.
fn centre(looks: &[f32]) -> Option<f32> {
    let top = (0..looks.len()).max_by(|a, b| looks[*a].total_cmp(&looks[*b]).then(b.cmp(a)))?;
    let from = top.saturating_sub(NEAR);
    let near = &looks[from..(top + NEAR).min(looks.len())];
    let mass: f32 = near.iter().sum();
    let moment: f32 = near.iter().enumerate().map(|(n, w)| (from + n) as f32 * w).sum();
    (mass >= TOGETHER).then(|| moment / mass / FRAMES)
}

#[cfg(test)]
mod tests {
    use super::centre;

    #[test]
    fn attention_that_lies_together_has_a_place() {
        let mut looks = vec![0.002; 200];
        assert_eq!(centre(&looks), None);
        looks[100] = 0.6;
        let place = centre(&looks).unwrap();
        assert!((place - 2.0).abs() < 0.05, "{place}");
        assert_eq!(centre(&[]), None);
    }
}
