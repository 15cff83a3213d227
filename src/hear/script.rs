//! How words are written in the tokens of the speech model.

use super::lattice::{Lattice, Word, Written};
use super::search::Token;

/// A word that nothing explains costs this, where one of the call's earns a reward (nats).
const UNKNOWN: f32 = 6.0;
/// The same for a small word that changes nothing: with nothing, "both" was read for a soft "golf", and "a" for "up" (larkmoor clear on
/// the corpus: unsure 2.2 % of right elements).
const SMALL: f32 = 4.0;

/// How the words of a lattice are written in tokens.
pub struct Script {
    /// The forms of each word: each spelling with a leading space or after a hyphen, small or with a capital.
    pub(super) forms: Vec<Vec<Vec<Token>>>,
    /// What each word is rewarded for, in whatever form it is written: the tokens of its shortest form. (Rewarded by the
    /// tokens of the form, "-Z-ero" would earn more than " zero" and win.)
    pub(super) pieces: Vec<f32>,
    /// The marks that may stand between words.
    pub(super) marks: Vec<Token>,
}

impl Script {
    /// For a lattice, with the model's way to cut a text into tokens.
    pub fn new(lattice: &Lattice, tokens: impl Fn(&str) -> Vec<Token>) -> Self {
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
        let earns = |(word, list): (Word, &Vec<Vec<Token>>)| match lattice.written(word) {
            Written::Unknown => -UNKNOWN,
            Written::Small => -SMALL,
            Written::Call => shortest(list),
        };
        Self {
            pieces: (0..).zip(&forms).map(earns).collect(),
            forms,
            marks: [",", ".", "-"]
                .iter()
                .filter_map(|p| tokens(p).first().copied())
                .collect(),
        }
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

/// With a capital at its beginning.
pub fn capital(word: &str) -> String {
    let mut chars = word.chars();
    chars
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}
