//! Words to elements: what a sequence of words says, whoever wrote it (recogniser, typist).
//!
//! The words are cut into wordings of the vocabulary so that as few words as possible stay unexplained; then each
//! element gets what was said of it, later words counting after a "correction".

use super::vocabulary::{Meaning, Vocabulary};
use super::words;
use crate::site::{Callsign, number, spelling};
use serde::{Deserialize, Serialize};

/// What was said of one element.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Said {
    /// A value (the right one or another).
    Value(String),
    /// Half of a wording.
    Incomplete,
    /// The element denied.
    Negated,
}

/// One place in the words that speaks of an element.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mention {
    /// Index into the vocabulary's elements.
    pub element: usize,
    /// What it says.
    pub said: Said,
    /// The words, joined by spaces.
    pub words: String,
    /// First word and one past the last, as indexes into the words read.
    pub span: (usize, usize),
    /// In the club's own wording.
    pub taught: bool,
    /// A callsign with numbers spoken in pairs ("forty-seven").
    pub pairs: bool,
    /// A callsign begun, broken off and begun again.
    pub restarted: bool,
}

/// The reading of a sequence of words.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Reading {
    /// All words read.
    pub words: Vec<String>,
    /// Mentions that count, in order; those taken back by a correction are gone.
    pub mentions: Vec<Mention>,
    /// Mentions taken back.
    pub taken_back: Vec<Mention>,
    /// Hesitations and small talk.
    pub fillers: Vec<String>,
    /// Words nothing explains.
    pub unknown: Vec<String>,
    /// Words that take back what was said before them without saying what is right ("wait", a "correction" at the end).
    #[serde(default)]
    pub withdrawn: Vec<String>,
}

impl Reading {
    /// What it says of which element, sorted, each once, and whether it takes something back: readings that agree in this mean
    /// the same.
    pub fn says(&self) -> (Vec<(usize, Said)>, bool) {
        let mut all: Vec<_> = self.mentions.iter().map(|m| (m.element, m.said.clone())).collect();
        all.sort();
        all.dedup();
        (all, !self.withdrawn.is_empty())
    }

    /// Is there a word at this place that nothing explains?
    pub fn is_unknown(&self, at: usize) -> bool {
        let word = self.words.get(at);
        word.is_some_and(|w| self.unknown.iter().flat_map(|u| u.split(' ')).any(|u| u == w))
    }

    /// Does a word that nothing explains stand behind everything that counts?
    pub fn ends_unknown(&self) -> bool {
        let last = self.words.len().checked_sub(1);
        let counts = self.mentions.iter().any(|m| m.span.1 == self.words.len());
        !self.mentions.is_empty() && !counts && last.is_some_and(|n| self.is_unknown(n))
    }
}

#[derive(Clone)]
enum Piece {
    Phrase(usize),
    Spelled { chars: Vec<char>, pairs: bool },
    Unknown,
}

/// Cost of a word nothing explains: more than any number of pieces a call can have.
const UNKNOWN: u32 = 1000;
const PIECE: u32 = 10;
/// A joiner or filler explains less than an element.
const SMALL_WORD: u32 = 11;
/// One spelled character alone is a poor callsign: "mike" or "two" inside another wording is likelier.
const LONE_CHARACTER: u32 = 25;

/// Read a text as typed or transcribed.
pub fn read(vocabulary: &Vocabulary, text: &str) -> Reading {
    read_words(vocabulary, words::of(text))
}

/// Read words already cut.
pub fn read_words(vocabulary: &Vocabulary, words: Vec<String>) -> Reading {
    let pieces = cut(vocabulary, &words);
    let mut reading = Reading::default();
    let mut corrected = false;
    // A correction that nothing has followed yet.
    let mut open = None;
    for (from, to, piece) in pieces {
        let text = words[from..to].join(" ");
        let mention = |element, said, taught, pairs, restarted| Mention {
            element,
            said,
            words: text.clone(),
            span: (from, to),
            taught,
            pairs,
            restarted,
        };
        let new = match piece {
            Piece::Unknown => {
                reading.unknown.push(text);
                continue;
            }
            Piece::Spelled { chars, pairs } => {
                let (chars, restarted) = without_restart(&chars);
                let Some(callsign) = Callsign::from_chars(chars) else {
                    continue;
                };
                mention(
                    vocabulary.spelled.unwrap_or_default(),
                    Said::Value(callsign.to_string()),
                    true,
                    pairs,
                    restarted,
                )
            }
            Piece::Phrase(p) => match &vocabulary.phrases[p].meaning {
                Meaning::Value { element, value, taught } => {
                    mention(*element, Said::Value(value.clone()), *taught, false, false)
                }
                Meaning::Incomplete { element } => mention(*element, Said::Incomplete, false, false, false),
                Meaning::Negated { element } => mention(*element, Said::Negated, false, false, false),
                Meaning::Correction => {
                    corrected = true;
                    open = Some(text);
                    continue;
                }
                // Before everything that counts there is nothing to take back.
                Meaning::Withdrawal { .. } if reading.mentions.is_empty() => {
                    reading.fillers.push(text);
                    continue;
                }
                Meaning::Withdrawal { .. } => {
                    reading.withdrawn.push(text);
                    continue;
                }
                Meaning::Filler => {
                    reading.fillers.push(text);
                    continue;
                }
                Meaning::Joiner => continue,
            },
        };
        if corrected {
            let (back, kept) = std::mem::take(&mut reading.mentions)
                .into_iter()
                .partition(|m: &Mention| m.element == new.element);
            reading.mentions = kept;
            reading.taken_back.extend::<Vec<Mention>>(back);
        }
        open = None;
        reading.mentions.push(new);
    }
    reading.withdrawn.extend(open.filter(|_| !reading.mentions.is_empty()));
    reading.words = words;
    reading
}

/// "Golf Charlie, Golf Charlie Lima Romeo Mike": a beginning of two or more characters that is begun again counts once; so
/// does a whole callsign of three or more characters said twice in a row.
fn without_restart(chars: &[char]) -> (&[char], bool) {
    for n in (2..=chars.len() / 2).rev() {
        if chars[..n] == chars[n..2 * n] && (chars.len() > 2 * n || n >= 3) {
            return (&chars[n..], chars.len() > 2 * n);
        }
    }
    (chars, false)
}

/// Cut words into pieces at the least cost (dynamic programming over positions).
fn cut(vocabulary: &Vocabulary, words: &[String]) -> Vec<(usize, usize, Piece)> {
    let n = words.len();
    let mut best: Vec<Option<(u32, usize, Piece)>> = vec![None; n + 1];
    best[0] = Some((0, 0, Piece::Unknown));
    for at in 0..n {
        let Some((cost, ..)) = best[at] else { continue };
        let mut offer = |to: usize, extra: u32, piece: Piece| {
            if best[to].as_ref().is_none_or(|(c, ..)| cost + extra < *c) {
                best[to] = Some((cost + extra, at, piece));
            }
        };
        for (i, phrase) in vocabulary.phrases.iter().enumerate() {
            if begins_with(vocabulary, &words[at..], &phrase.words) {
                let extra = match phrase.meaning {
                    Meaning::Filler | Meaning::Joiner | Meaning::Withdrawal { .. } => SMALL_WORD,
                    _ => PIECE,
                };
                offer(at + phrase.words.len(), extra, Piece::Phrase(i));
            }
        }
        if vocabulary.spelled.is_some() {
            let mut chars = Vec::new();
            let mut pairs = false;
            let mut to = at;
            while let Some((c, used, pair)) = spelled(vocabulary, &words[to..]) {
                chars.extend(c);
                pairs |= pair;
                to += used;
                let extra = if chars.len() == 1 { LONE_CHARACTER } else { PIECE };
                offer(
                    to,
                    extra,
                    Piece::Spelled {
                        chars: chars.clone(),
                        pairs,
                    },
                );
            }
        }
        offer(at + 1, UNKNOWN, Piece::Unknown);
    }
    let mut pieces = Vec::new();
    let mut at = n;
    while at > 0 {
        let Some((_, from, piece)) = best[at].take() else {
            break;
        };
        pieces.push((from, at, piece));
        at = from;
    }
    pieces.reverse();
    pieces
}

/// Do the words begin with a wording? A digit written as such is its word ("2 up").
fn begins_with(vocabulary: &Vocabulary, words: &[String], phrase: &[String]) -> bool {
    words.len() >= phrase.len()
        && words.iter().zip(phrase).all(|(w, p)| {
            w == p
                || w.parse::<u8>()
                    .is_ok_and(|d| d < 10 && number::digit(vocabulary.language, p) == Some(d))
        })
}

/// The characters the next words spell: one letter, one digit, or a number spoken as a pair.
fn spelled(vocabulary: &Vocabulary, words: &[String]) -> Option<(Vec<char>, usize, bool)> {
    let language = vocabulary.language;
    let word = words.first()?;
    let as_char = |d: u8| char::from(b'0' + d);
    if let Some(letter) = spelling::letter(word) {
        return Some((vec![letter], 1, false));
    }
    if let Some(d) = number::digit(language, word) {
        return Some((vec![as_char(d)], 1, false));
    }
    let mut only = word.chars();
    if let (Some(c), None) = (only.next(), only.next())
        && c.is_ascii_alphanumeric()
        && c != 'a'
    {
        // A bare character as a transcript writes it ("D4761"); a bare "a" is the article.
        return Some((vec![c.to_ascii_uppercase()], 1, false));
    }
    let pair = number::pair_word(language, word)?;
    let unit = words.get(1).and_then(|w| number::digit(language, w)).filter(|u| *u > 0);
    if let (Some(unit), true) = (unit, pair >= 20 && pair % 10 == 0) {
        return Some((vec![as_char(pair / 10), as_char(unit)], 2, true));
    }
    Some((vec![as_char(pair / 10), as_char(pair % 10)], 1, true))
}
