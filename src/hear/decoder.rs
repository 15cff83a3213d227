//! What a search asks of a speech model.

use super::HearError;
use std::sync::Arc;

/// Frames of the encoder a second.
pub const FRAMES: f32 = 50.0;

/// A token of the speech model.
pub type Token = i32;

/// What the model expects after a text.
#[derive(Debug)]
pub struct Odds {
    /// The tokens that have a weight here, sorted.
    pub tokens: Arc<[Token]>,
    /// Their natural log-probabilities; negative infinity for those that may never come.
    pub weights: Vec<f32>,
    /// The likeliest token of all, and its log-probability.
    pub best: (Token, f32),
    /// Where in the sound the text's last token was read: a weight for each frame.
    pub looks: Vec<f32>,
}

impl Odds {
    /// The log-probability of a token; negative infinity when it was not asked for.
    pub fn of(&self, token: Token) -> f32 {
        let place = self.tokens.binary_search(&token).ok();
        place
            .and_then(|n| self.weights.get(n))
            .copied()
            .unwrap_or(f32::NEG_INFINITY)
    }
}

/// What the search asks of the speech model: the sound is already encoded.
pub trait Decoder {
    /// Weigh what follows each of some texts, together: many cost hardly more than one.
    fn weigh(&mut self, texts: &[Vec<Token>]) -> Result<(), HearError>;
    /// What follows a text that was weighed.
    fn known(&self, text: &[Token]) -> Option<Arc<Odds>>;
    /// The token that ends the text.
    fn end(&self) -> Token;
    /// Work done on this sound so far, its encoding included, where a run that weighs one text is 1. It depends on the sound and
    /// on what was asked and on no clock, so that a limit cuts the same call at the same place on every machine.
    fn work(&self) -> f32;

    /// What follows one text.
    fn next(&mut self, text: &[Token]) -> Result<Arc<Odds>, HearError> {
        if let Some(odds) = self.known(text) {
            return Ok(odds);
        }
        self.weigh(&[text.to_vec()])?;
        self.known(text)
            .ok_or_else(|| HearError::Run("a text was not weighed".to_owned()))
    }
}
