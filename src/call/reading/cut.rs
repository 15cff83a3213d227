//! Words cut into wordings, so that as few as possible stay unexplained.

use crate::call::mention::Stance;
use crate::call::stance;
use crate::call::vocabulary::{Meaning, Phrase, Vocabulary};
use crate::call::words::Mark;
use crate::site::{Purpose, number, spelling};

/// What a stretch of words is.
#[derive(Clone)]
pub(super) enum Cut {
    Phrase(usize),
    /// What lies around the launch, or that there is none of it ("nothing in the circuit").
    Circumstance,
    /// A wording with a word inside it that is none of it.
    Around(usize, Stance),
    Spelled {
        chars: Vec<char>,
        pairs: bool,
    },
    Unknown,
}

/// Cost of a word nothing explains: more than any number of pieces a call can have.
pub(super) const UNKNOWN: u32 = 1000;
pub(super) const PIECE: u32 = 10;
/// A word of small talk or one that does something to others explains less than an element...
pub(super) const SMALL_WORD: u32 = 11;
/// ...and each further word of the same phrase hardly less ("winch cable is on" is no "winch" and "cable is on").
pub(super) const SMALL_WORD_MORE: u32 = 10;
/// One spelled character alone is a poor callsign: "mike" or "two" inside another wording is likelier.
pub(super) const LONE_CHARACTER: u32 = 25;

/// A word inside a wording that is none of it costs this, beside the wording.
pub(super) const INSIDE: u32 = 5;
/// So many words may stand inside a wording.
pub(super) const MOST_INSIDE: usize = 3;
/// Words that change nothing may stand inside a wording of at least this many: "winch now cable" is no "winch cable".
pub(super) const LEAST_AROUND: usize = 3;

/// Cut words into pieces at the least cost (dynamic programming over positions).
pub(super) fn cut(vocabulary: &Vocabulary, words: &[String], marks: &[Mark]) -> Vec<(usize, usize, Cut)> {
    let n = words.len();
    let mut best: Vec<Option<(u32, usize, Cut)>> = vec![None; n + 1];
    best[0] = Some((0, 0, Cut::Unknown));
    for at in 0..n {
        let Some((cost, _, before)) = &best[at] else { continue };
        let cost = *cost;
        // Behind a glider's type it is the rest of its name ("Osprey two").
        let named = matches!(before, Cut::Phrase(i) if names_type(vocabulary, *i));
        let lone = if named { PIECE } else { LONE_CHARACTER };
        let mut offer = |to: usize, extra: u32, piece: Cut| {
            if best[to].as_ref().is_none_or(|(c, ..)| cost + extra < *c) {
                best[to] = Some((cost + extra, at, piece));
            }
        };
        for (i, phrase) in vocabulary.phrases.iter().enumerate() {
            if begins_with(vocabulary, &words[at..], &phrase.words) {
                // "Not, ready" may be more than the two together.
                let negated = matches!(phrase.meaning, Meaning::Negated { .. });
                if negated && stance::parted(marks, at + 1, at + phrase.words.len() - 1) {
                    continue;
                }
                offer(at + phrase.words.len(), cost_of(phrase), Cut::Phrase(i));
            } else if phrase.meaning.element().is_some()
                && !matches!(phrase.meaning, Meaning::Negated { .. })
                && let Some((used, inside, stance)) = around(vocabulary, &words[at..], phrase)
            {
                offer(at + used, PIECE + INSIDE * inside as u32, Cut::Around(i, stance));
            }
        }
        if vocabulary.spelled.is_some() {
            for Stretch {
                used,
                hesitated,
                chars,
                pairs,
            } in stretches(vocabulary, &words[at..])
            {
                let extra = if chars.len() == 1 { lone } else { PIECE } + SMALL_WORD * hesitated;
                offer(at + used, extra, Cut::Spelled { chars, pairs });
            }
        }
        if let Some(used) = circumstance(vocabulary, &words[at..], &marks[at.min(marks.len())..]) {
            offer(at + used, SMALL_WORD, Cut::Circumstance);
        }
        if let Some((used, unit)) = in_time(vocabulary, &words[at..]) {
            offer(at + used, SMALL_WORD, Cut::Phrase(unit));
        }
        offer(at + 1, UNKNOWN, Cut::Unknown);
    }
    way(best)
}

/// The pieces on the cheapest way to the end: `best` has the cost, the place before and the piece of each place.
fn way(mut best: Vec<Option<(u32, usize, Cut)>>) -> Vec<(usize, usize, Cut)> {
    let mut pieces = Vec::new();
    let mut at = best.len().saturating_sub(1);
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

/// What a wording costs.
fn cost_of(phrase: &Phrase) -> u32 {
    match phrase.meaning {
        Meaning::Filler | Meaning::Joiner | Meaning::Withdrawal | Meaning::Slip | Meaning::Does(_) => {
            SMALL_WORD + SMALL_WORD_MORE * (phrase.words.len() as u32 - 1)
        }
        _ => PIECE,
    }
}

/// Words from one place on that spell characters.
struct Stretch {
    /// Words of it.
    used: usize,
    /// Hesitations among them.
    hesitated: u32,
    chars: Vec<char>,
    /// A number was spoken as a pair.
    pairs: bool,
}

/// All stretches that the words begin with, each longer by a word that spells than the one before.
fn stretches(vocabulary: &Vocabulary, words: &[String]) -> Vec<Stretch> {
    let mut all = Vec::new();
    let mut chars = Vec::new();
    let mut pairs = false;
    let mut hesitated = 0;
    let mut to = 0;
    loop {
        // Whoever hesitates inside a callsign goes on with it.
        let hesitations = words[to..]
            .iter()
            .take_while(|w| !chars.is_empty() && vocabulary.language.hesitates(w));
        let hesitations = hesitations.count();
        let Some((c, used, pair)) = spelled(vocabulary, &words[to + hesitations..]) else {
            return all;
        };
        chars.extend(c);
        pairs |= pair;
        to += hesitations + used;
        hesitated += hesitations as u32;
        all.push(Stretch {
            used: to,
            hesitated,
            chars: chars.clone(),
            pairs,
        });
    }
}

/// Is this wording a glider's type where gliders are called by that?
pub(super) fn names_type(vocabulary: &Vocabulary, phrase: usize) -> bool {
    let element = match vocabulary.phrases.get(phrase).map(|p| &p.meaning) {
        Some(Meaning::Value { element, .. }) => *element,
        _ => return false,
    };
    vocabulary.purposes.get(element) == Some(&Purpose::Callsign)
}

/// How many words say that there is none of what may lie around a launch ("nothing in the circuit", "vorne auch niemand"): words of both
/// kinds with small ones between, no mark inside.
pub(super) fn circumstance(vocabulary: &Vocabulary, words: &[String], marks: &[Mark]) -> Option<usize> {
    let language = vocabulary.language;
    let small = |w: &String| {
        let of = |m: &Meaning| matches!(m, Meaning::Filler | Meaning::Joiner);
        vocabulary
            .phrases
            .iter()
            .any(|p| p.words.len() == 1 && p.words[0] == *w && of(&p.meaning))
    };
    let (mut none, mut thing, mut last) = (false, false, 0);
    for (n, word) in words.iter().enumerate() {
        let (says_none, is_thing) = (language.says_none(word), language.is_circumstance(word));
        if says_none || is_thing {
            (none, thing, last) = (none || says_none, thing || is_thing, n + 1);
        } else if n == 0 || !small(word) {
            break;
        }
        if marks.get(n).is_some_and(|m| *m != Mark::None) {
            break;
        }
    }
    (none && thing).then_some(last)
}

/// Numbers before a unit of time ("ten seconds"): how many words in all, and the phrase of the unit, which says what they do.
pub(super) fn in_time(vocabulary: &Vocabulary, words: &[String]) -> Option<(usize, usize)> {
    let number = |w: &String| {
        let language = vocabulary.language;
        number::digit(language, w).is_some() || number::pair_word(language, w).is_some()
    };
    let numbers = words.iter().take_while(|w| number(w)).count();
    let unit = words
        .get(numbers)
        .filter(|w| numbers > 0 && vocabulary.language.is_time(w))?;
    let is_unit = |p: &Phrase| p.words.len() == 1 && p.words[0] == *unit;
    Some((numbers + 1, vocabulary.phrases.iter().position(is_unit)?))
}

/// Do the words begin with a wording? A digit written as such is its word ("2 up"), on either side, and "slack's" is "slack".
pub(super) fn begins_with(vocabulary: &Vocabulary, words: &[String], phrase: &[String]) -> bool {
    words.len() >= phrase.len()
        && words.iter().zip(phrase).all(|(w, p)| {
            let digit = |a: &str, b: &str| {
                let written = a.parse::<u8>().ok().filter(|d| *d < 10);
                written.is_some() && number::digit(vocabulary.language, b) == written
            };
            w == p || digit(w, p) || digit(p, w) || vocabulary.language.without_clitic(w) == Some(p.as_str())
        })
}

/// Do the words begin with a wording that has other words inside it: such as do something to it ("slack is not out"), or such as
/// change nothing ("slack is now out")? How many words in all, how many of them inside, and what those do.
pub(super) fn around(vocabulary: &Vocabulary, words: &[String], phrase: &Phrase) -> Option<(usize, usize, Stance)> {
    let (mut at, mut inside, mut stance) = (0, 0, Stance::Plain);
    for (n, wanted) in phrase.words.iter().enumerate() {
        while n > 0 && !begins_with(vocabulary, words.get(at..)?, std::slice::from_ref(wanted)) {
            let rest = &words[at..];
            let (used, does) = vocabulary.doing(rest).unwrap_or_else(|| {
                let small = rest.first().is_some_and(|w| vocabulary.language.stands_inside(w));
                (usize::from(small), Stance::Plain)
            });
            if used == 0 || inside + used > MOST_INSIDE {
                return None;
            }
            (at, inside) = (at + used, inside + used);
            stance = match (stance, does) {
                (before, Stance::Plain) => before,
                (Stance::Plain, does) => does,
                _ => Stance::Open,
            };
        }
        if !begins_with(vocabulary, words.get(at..)?, std::slice::from_ref(wanted)) {
            return None;
        }
        at += 1;
    }
    let allowed = stance != Stance::Plain || phrase.words.len() >= LEAST_AROUND;
    (inside > 0 && allowed).then_some((at, inside, stance))
}

/// The characters the next words spell: one letter, one digit, or a number spoken as a pair.
pub(super) fn spelled(vocabulary: &Vocabulary, words: &[String]) -> Option<(Vec<char>, usize, bool)> {
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
        && !vocabulary
            .phrases
            .iter()
            .any(|p| p.words.len() == 1 && p.words[0] == *word)
    {
        // A bare character as a transcript writes it ("D4761"); a bare "a" or "i" is a word.
        return Some((vec![c.to_ascii_uppercase()], 1, false));
    }
    let pair = number::pair_word(language, word)?;
    let unit = words.get(1).and_then(|w| number::digit(language, w)).filter(|u| *u > 0);
    if let (Some(unit), true) = (unit, pair >= 20 && pair % 10 == 0) {
        return Some((vec![as_char(pair / 10), as_char(unit)], 2, true));
    }
    Some((vec![as_char(pair / 10), as_char(pair % 10)], 1, true))
}
