//! Words to elements: what a sequence of words says, whoever wrote it (recogniser, typist).
//!
//! The words are cut into wordings of the vocabulary so that as few words as possible stay unexplained; then each
//! element gets what was said of it, later words counting after a "correction".

mod cut;
mod talk;

use super::mention::Stance;
pub use super::mention::{Mention, Said};
use super::stance::{self, Kind, Piece};
use super::vocabulary::{Meaning, Phrase, Vocabulary};
use super::words::{self, Mark};
use crate::site::{Callsign, Purpose};
use cut::{Cut, cut};
use serde::{Deserialize, Serialize};

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
    /// Their places among the words.
    #[serde(default)]
    pub unknown_at: Vec<usize>,
    /// Words that take back what was said before them without saying what is right ("wait", a "correction" at the end).
    #[serde(default)]
    pub withdrawn: Vec<String>,
}

/// What a reading says of its elements: which, what, and how it stands.
pub type Says = Vec<(usize, Said, Stance)>;

impl Reading {
    /// What it says of which element, sorted, each once, and whether it takes something back: readings that agree in this mean
    /// the same.
    pub fn says(&self) -> (Says, bool) {
        let mut all: Vec<_> = self
            .mentions
            .iter()
            .map(|m| (m.element, m.said.clone(), m.stance))
            .collect();
        all.sort();
        all.dedup();
        (all, !self.withdrawn.is_empty())
    }

    /// Is there a word at this place that nothing explains?
    pub fn is_unknown(&self, at: usize) -> bool {
        self.unknown_at.contains(&at)
    }

    /// The words that nothing explains, one by one.
    pub fn unknown_words(&self) -> impl Iterator<Item = &str> {
        self.unknown_at
            .iter()
            .filter_map(|n| self.words.get(*n))
            .map(String::as_str)
    }

    /// Does a word that nothing explains stand behind everything that counts?
    pub fn ends_unknown(&self) -> bool {
        let last = self.words.len().checked_sub(1);
        let counts = self.mentions.iter().any(|m| m.span.1 == self.words.len());
        !self.mentions.is_empty() && !counts && last.is_some_and(|n| self.is_unknown(n))
    }
}

/// Read a text as typed or transcribed.
pub fn read(vocabulary: &Vocabulary, text: &str) -> Reading {
    let (words, marks) = words::marked(text);
    read_words(vocabulary, words, &marks)
}

/// Read words already cut. `marks` stand behind the words; where there are none, none is known.
pub fn read_words(vocabulary: &Vocabulary, words: Vec<String>, marks: &[Mark]) -> Reading {
    let mut reader = Reader {
        vocabulary,
        words: &words,
        marks,
        reading: Reading::default(),
        back: Vec::new(),
        pieces: Vec::new(),
        before: 0,
        open: None,
        turns: Vec::new(),
    };
    let cuts = cut(vocabulary, &words, marks);
    let spelled = |c: &Cut| matches!(c, Cut::Spelled { chars, .. } if chars.len() > 1);
    let whole = cuts.iter().any(|(.., c)| spelled(c));
    for (from, to, cut) in cuts {
        // Beside a callsign one character more, apart from it, is hardly another one ("three up", "the north one").
        let lone = matches!(&cut, Cut::Spelled { chars, .. } if chars.len() == 1);
        reader.take(from, to, if lone && whole { Cut::Unknown } else { cut });
    }
    let mut reading = reader.finish();
    reading.words = words;
    reading
}

/// The work of reading words, piece by piece.
struct Reader<'a> {
    vocabulary: &'a Vocabulary,
    words: &'a [String],
    marks: &'a [Mark],
    reading: Reading,
    /// Which mentions a correction took back.
    back: Vec<bool>,
    /// The pieces since the last correction or withdrawal: words that do something to others do not reach over those.
    pieces: Vec<Piece>,
    /// Mentions before the last correction.
    before: usize,
    /// A correction that nothing has followed yet.
    open: Option<String>,
    /// Words after which something else may be said in place of what stands before them.
    turns: Vec<(usize, usize)>,
}

impl Reader<'_> {
    fn take(&mut self, from: usize, to: usize, cut: Cut) {
        let text = self.words[from..to].join(" ");
        let piece = |kind| Piece { span: (from, to), kind };
        let mut new = blank((from, to), text.clone());
        let phrase = match cut {
            Cut::Unknown => {
                self.reading.unknown.push(text);
                self.reading.unknown_at.extend(from..to);
                self.pieces.push(piece(Kind::Unknown));
                return;
            }
            Cut::Circumstance => {
                self.reading.fillers.push(text);
                return;
            }
            Cut::Spelled { chars, pairs } => {
                self.spelled(new, chars, pairs);
                return;
            }
            Cut::Phrase(p) => p,
            Cut::Around(p, stance) => {
                if stance != Stance::Plain {
                    new.bear(stance, &text);
                }
                p
            }
        };
        let whole = new.is_plain() && self.vocabulary.phrases[phrase].words.len() == to - from;
        match &self.vocabulary.phrases[phrase].meaning {
            Meaning::Value { element, value, taught } => {
                (new.element, new.said) = (*element, Said::Value(value.clone()));
                new.taught = *taught && whole;
                self.verb_before(&mut new, phrase);
                self.mention(new);
            }
            Meaning::Incomplete { element } => {
                new.element = *element;
                self.mention(new);
            }
            Meaning::Negated { element } => {
                (new.element, new.said) = (*element, Said::Negated);
                self.mention(new);
            }
            Meaning::Own => self.pieces.push(piece(Kind::Own)),
            Meaning::Does(stance) => {
                self.turns.push((from, to));
                self.pieces.push(piece(Kind::Does(*stance)));
            }
            // Before everything that counts there is nothing to take back.
            Meaning::Withdrawal | Meaning::Slip if self.reading.mentions.is_empty() => self.reading.fillers.push(text),
            Meaning::Correction => {
                self.turn((from, to));
                self.before = self.reading.mentions.len();
                self.open = Some(text);
            }
            Meaning::Slip => {
                self.turn((from, to));
                let end = self.reading.mentions.last().map_or(0, |m| m.span.1);
                for mention in stance::clause_before(&mut self.reading.mentions, self.marks, end) {
                    mention.bear(Stance::TakenBack, &text);
                }
                self.reading.withdrawn.push(text);
            }
            Meaning::Withdrawal => {
                self.turn((from, to));
                self.whole(Stance::TakenBack, &text);
                self.reading.withdrawn.push(text);
            }
            Meaning::Filler => self.reading.fillers.push(text),
            Meaning::Joiner => {}
        }
    }

    /// Characters that were spelled: a callsign.
    fn spelled(&mut self, mut new: Mention, chars: Vec<char>, pairs: bool) {
        let corrected = self.corrected(&chars);
        // The end of a callsign for its end is understood, and asked for in full: it decides too much.
        if let Some(by) = self.open.clone().filter(|_| corrected.is_some()) {
            new.bear(Stance::Open, &by);
        }
        let chars = corrected.unwrap_or(chars);
        let (chars, restarted) = without_restart(&chars);
        let Some(callsign) = Callsign::from_chars(chars) else {
            return;
        };
        new.element = self.vocabulary.spelled.unwrap_or_default();
        new.said = Said::Value(callsign.to_string());
        (new.taught, new.pairs, new.restarted) = (true, pairs, restarted);
        self.mention(new);
    }

    /// Words that take back what stands before them end a part of the call.
    fn turn(&mut self, span: (usize, usize)) {
        self.turns.push(span);
        self.part();
    }

    /// Does whoever speaks say here who he is ("this is retrieve")? Then it is not whom he calls.
    fn names_himself(&self, new: &Mention) -> bool {
        let before = &self.words[..new.span.0];
        self.vocabulary.purposes.get(new.element) == Some(&Purpose::Address)
            && self.vocabulary.language.introduces(before)
    }

    fn mention(&mut self, new: Mention) {
        if self.names_himself(&new) {
            return;
        }
        for (old, back) in self.reading.mentions[..self.before].iter().zip(&mut self.back) {
            *back |= old.element == new.element;
        }
        self.open = None;
        self.pieces.push(Piece {
            span: new.span,
            kind: Kind::Mention(self.reading.mentions.len()),
        });
        self.reading.mentions.push(new);
        self.back.push(false);
    }

    /// Ends a part of the call: what its words do to each other is settled.
    fn part(&mut self) {
        let pieces = std::mem::take(&mut self.pieces);
        let far = stance::stand(
            self.vocabulary,
            &pieces,
            self.words,
            self.marks,
            &mut self.reading.mentions,
        );
        for by in far.whole {
            self.whole(Stance::Open, &by);
        }
        for by in far.motion {
            self.motion(&by);
        }
        // "Give us a minute" before everything but who is called may hold up what is set in motion at the end.
        let called = |p: &&Piece| match p.kind {
            Kind::Mention(n) => {
                let element = self.reading.mentions.get(n).map(|m| m.element);
                element.and_then(|e| self.vocabulary.purposes.get(e)) == Some(&Purpose::Address)
            }
            _ => false,
        };
        let first = pieces.iter().find(|p| !called(p));
        if let Some(Piece {
            span,
            kind: Kind::Does(Stance::PutOff),
        }) = first
        {
            let by = self.words[span.0..span.1].join(" ");
            self.motion(&by);
        }
    }

    /// What is set in motion may hang on words that stand elsewhere.
    fn motion(&mut self, by: &str) {
        let purposes = &self.vocabulary.purposes;
        let moves = |m: &&mut Mention| m.is_plain() && purposes.get(m.element).is_some_and(|p| p.moves());
        for mention in self.reading.mentions.iter_mut().filter(moves) {
            mention.bear(Stance::Open, by);
        }
    }

    /// A verb right before a wording that lacks its own asks ("is slack out").
    fn verb_before(&self, new: &mut Mention, phrase: usize) {
        let Some(verb) = new.span.0.checked_sub(1).and_then(|n| self.words.get(n)) else {
            return;
        };
        let moves = self.vocabulary.purposes.get(new.element).is_some_and(|p| p.moves());
        if moves
            && self.vocabulary.language.is_verb(verb)
            && self.vocabulary.lacks_its_verb(&self.vocabulary.phrases[phrase])
        {
            new.bear(Stance::Asked, verb);
            new.reach((new.span.0 - 1, new.span.1));
        }
    }

    /// After a correction the end of a callsign stands for its end: "four seven six one, correction, one six".
    fn corrected(&self, chars: &[char]) -> Option<Vec<char>> {
        self.open.as_ref()?;
        let old = self
            .reading
            .mentions
            .iter()
            .rev()
            .find(|m| Some(m.element) == self.vocabulary.spelled)?;
        let Said::Value(value) = &old.said else { return None };
        let old: Vec<char> = value.chars().filter(char::is_ascii_alphanumeric).collect();
        let kind = old.last()?.is_ascii_alphabetic();
        let begins_again = chars.first() == old.first() || chars.iter().any(|c| c.is_ascii_alphabetic() != kind);
        let keep = old.len().checked_sub(chars.len()).filter(|n| *n > 0 && !begins_again)?;
        Some([&old[..keep], chars].concat())
    }

    /// Words behind a "no" or a "correction" that are the end of another wording of what stands before take that back ("to the left, no, to
    /// the right").
    fn turned(&mut self) {
        for (from, to) in std::mem::take(&mut self.turns) {
            let Some(before) = self.reading.mentions.iter().rposition(|m| m.span.1 <= from) else {
                continue;
            };
            let end = self
                .reading
                .mentions
                .iter()
                .map(|m| m.span.0)
                .filter(|n| *n >= to)
                .min()
                .unwrap_or(self.words.len());
            let old = &self.reading.mentions[before];
            let Some(said) = self.words.get(old.span.0..old.span.1) else {
                continue;
            };
            let behind = &self.words[to..end];
            let small = |w: &&String| self.vocabulary.language.stands_inside(w);
            let begin = behind.iter().take_while(small).count();
            let other = |p: &&Phrase| p.meaning.element() == Some(old.element) && p.words != said;
            let ends = |part: &[String]| {
                let mut others = self.vocabulary.phrases.iter().filter(other);
                others.any(|p| p.words.len() > part.len() && p.words.ends_with(part)) && !said.ends_with(part)
            };
            let length = (1..=behind.len() - begin)
                .rev()
                .find(|n| ends(&behind[begin..begin + n]));
            if let Some(n) = length {
                let by = self.words[from..to + begin + n].join(" ");
                let old = &mut self.reading.mentions[before];
                (old.stance, old.by) = (Stance::TakenBack, by);
            }
        }
    }

    /// Something is done to all that was said so far.
    fn whole(&mut self, stance: Stance, by: &str) {
        for mention in &mut self.reading.mentions {
            mention.bear(stance, by);
        }
    }

    fn finish(mut self) -> Reading {
        self.part();
        self.asked();
        self.turned();
        self.small_talk();
        if let Some(by) = self.open.take().filter(|_| !self.reading.mentions.is_empty()) {
            self.whole(Stance::TakenBack, &by);
            self.reading.withdrawn.push(by);
        }
        let mut reading = self.reading;
        let mut back = self.back.into_iter();
        let is_back = |_: &Mention| back.next().unwrap_or(false);
        (reading.taken_back, reading.mentions) = reading.mentions.into_iter().partition(is_back);
        reading
    }

    /// What stands before a question mark is asked, unless it is a request by nature.
    fn asked(&mut self) {
        let mut sentence = 0;
        for (end, mark) in self.marks.iter().enumerate() {
            if *mark != Mark::Asks {
                continue;
            }
            let from = std::mem::replace(&mut sentence, end + 1);
            let is_request = |m: &Mention| self.vocabulary.purposes.get(m.element) == Some(&Purpose::Request);
            // "May I retrieve, north cable?" is one request, and all of it belongs to that.
            if (self.reading.mentions.iter())
                .any(|m| is_request(m) && m.is_plain() && m.span.0 >= from && m.span.0 <= end)
            {
                continue;
            }
            let clause = |end: usize| {
                let mark = (0..end).rev().find(|n| self.marks[*n] != Mark::None);
                mark.map_or(0, |n| n + 1)
            };
            // "Ready, yes?" asks what stands before the little word.
            let mut begin = clause(end);
            let address = |m: &Mention| self.vocabulary.purposes.get(m.element) == Some(&Purpose::Address);
            let speaks = |begin: usize| {
                let mut mentions = self.reading.mentions.iter();
                mentions.any(|m| m.span.0 <= end && m.span.1 > begin && !address(m))
                    || self.reading.unknown_at.iter().any(|n| (begin..=end).contains(n))
            };
            while begin > 0 && !speaks(begin) {
                begin = clause(begin - 1);
            }
            for mention in &mut self.reading.mentions {
                if mention.span.0 <= end && mention.span.1 > begin && !is_request(mention) {
                    mention.bear(Stance::Asked, "?");
                    mention.reach((begin, end + 1));
                }
            }
        }
    }
}

/// A mention of which nothing is known yet but its words.
fn blank(span: (usize, usize), words: String) -> Mention {
    Mention {
        element: 0,
        said: Said::Incomplete,
        words,
        span,
        taught: false,
        pairs: false,
        restarted: false,
        stance: Stance::Plain,
        reach: span,
        by: String::new(),
    }
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
