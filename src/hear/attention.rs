//! Where in the sound each word was read, by the decoder's attention; and what that says of words that come twice.
//!
//! When the sound is used up, the model likes to go on with what it has already written. Such words are not read from the
//! sound: the attention lies on the silence at the end, or goes back to where the first ones were read.

use super::search::{Decoder, Found, Path};
use super::whisper::FRAMES;

/// Attention within this many frames of its peak (20 ms each) belongs to it.
const NEAR: usize = 12;
/// A word is read from the sound when at least this share of the attention lies together...
const TOGETHER: f32 = 0.33;
/// ...and not earlier than this before a word that was read already (seconds).
const BACK: f32 = 0.3;
/// Cost of a word that was said before and is not read from the sound (nats), beside its reward.
const SAID_BEFORE: f32 = 2.0;

/// Makes sequences with words that only go on after the sound lighter, and puts them in order again. `seconds` is the length
/// of the sound.
pub fn weigh_repeats(decoder: &impl Decoder, seconds: f32, reward: f32, found: &mut Found) {
    for path in &mut found.paths {
        path.score -= repeats(decoder, seconds, reward, path);
    }
    found
        .paths
        .sort_by(|a, b| b.score.total_cmp(&a.score).then_with(|| a.words.cmp(&b.words)));
}

fn repeats(decoder: &impl Decoder, seconds: f32, reward: f32, path: &Path) -> f32 {
    if (1..path.words.len()).all(|n| !path.words[..n].contains(&path.words[n])) {
        return 0.0;
    }
    let mut cost = 0.0;
    let mut reached = 0.0_f32;
    for (n, tokens) in path.spans.iter().enumerate() {
        let centres = tokens.clone().filter_map(|t| {
            let odds = decoder.known(&path.tokens[..=t])?;
            centre(&odds.looks).filter(|c| *c < seconds)
        });
        // The last of its tokens is read nearest to its end.
        let read = centres.last().filter(|c| *c > reached - BACK);
        if let Some(c) = read {
            reached = reached.max(c);
        } else if path.words[..n].contains(&path.words[n]) {
            cost += SAID_BEFORE + reward * tokens.len() as f32;
        }
    }
    cost
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
