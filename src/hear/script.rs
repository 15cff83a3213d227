//! How words are written in the tokens of the speech model.

use super::decoder::Token;
use super::lattice::{Lattice, Word, Written};
use crate::site::words::capital;

/// A word that nothing explains costs this, where one of the call's earns a reward (nats).
const UNKNOWN: f32 = 6.0;
/// The same for a small word that changes nothing: with nothing, "both" was read for a soft "golf", and "a" for "up" (larkmoor clear on
/// the corpus: unsure 2.2 % of right elements).
const SMALL: f32 = 4.0;

/// Of both this share where the model is sure of what it wrote, and for each further word of that kind in a row only this much (nats): who
/// tells the winch about the weather does so in more than one word. Of 37 right calls in natural forms, clear, 22 passed before and
/// 27 with both, with [`super::places`]' rule for sure text and "were" for "we're".
const SHARE: f32 = 0.6;
const GOES_ON: f32 = 1.0;

/// How the words of a lattice are written in tokens.
pub struct Script {
    /// The forms of each word: each spelling with a leading space or after a hyphen, small or with a capital.
    pub(super) forms: Vec<Vec<Vec<Token>>>,
    /// What each word is rewarded for, in whatever form it is written: the tokens of its shortest form. (Rewarded by the
    /// tokens of the form, "-Z-ero" would earn more than " zero" and win.)
    pub(super) pieces: Vec<f32>,
    /// The model is sure of the text that it wrote.
    sure: bool,
    /// The marks that may stand between words.
    pub(super) marks: Vec<Token>,
}

impl Script {
    /// For a lattice, with the model's way to cut a text into tokens.
    pub fn new(lattice: &Lattice, sure: bool, tokens: impl Fn(&str) -> Vec<Token>) -> Self {
        let forms = |spellings: &Vec<String>| {
            let mut list: Vec<Vec<Token>> = Vec::new();
            for word in spellings {
                for lead in [" ", "-"] {
                    for text in [format!("{lead}{word}"), format!("{lead}{}", capital(word))] {
                        let form = tokens(&text);
                        if !form.is_empty() && !list.contains(&form) {
                            list.push(form);
                        }
                    }
                }
            }
            list
        };
        let forms: Vec<Vec<Vec<Token>>> = lattice.spellings.iter().map(forms).collect();
        let shortest = |list: &Vec<Vec<Token>>| list.iter().map(Vec::len).min().unwrap_or(1) as f32;
        let share = if sure { SHARE } else { 1.0 };
        let earns = |(word, list): (Word, &Vec<Vec<Token>>)| match lattice.written(word) {
            Written::Unknown => -UNKNOWN * share,
            Written::Small => -SMALL * share,
            Written::Call => shortest(list),
        };
        Self {
            sure,
            pieces: (0..).zip(&forms).map(earns).collect(),
            forms,
            marks: [",", ".", "-"]
                .iter()
                .filter_map(|p| tokens(p).first().copied())
                .collect(),
        }
    }

    /// What a word is rewarded for behind another one.
    pub(super) fn earns(&self, word: Word, after: Option<Word>) -> f32 {
        let alone = self.pieces[usize::from(word)];
        let goes_on = alone < 0.0 && after.is_some_and(|w| self.pieces[usize::from(w)] < 0.0);
        if self.sure && goes_on { -GOES_ON } else { alone }
    }

    /// Is it a mark that parts what belongs together? A hyphen does not.
    pub fn parts(&self, token: Token) -> bool {
        self.marks.iter().take(2).any(|m| *m == token)
    }

    /// Every token in it.
    pub fn tokens(&self) -> Vec<Token> {
        let forms = self.forms.iter().flatten().flatten();
        forms.chain(&self.marks).copied().collect()
    }
}
