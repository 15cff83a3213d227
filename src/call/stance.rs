//! How what was said stands: plainly, denied, put off, asked, taken back, or open beside a word that nothing explains. It holds
//! for every wording of every element at every site, and for sound as for text.
//!
//! The words of a call are cut into pieces; some of them are wordings of an element, others do something to wordings
//! beside them ("not", "nearly", "are we"). What such a word does, it does to the nearest wording behind it and to the nearest
//! before it. Where a mark parts it from one of the two, it belongs to the other; where no mark says so, both are left without
//! what they said, since "north not ready" may be either.

use super::mention::Mention;
pub use super::mention::Stance;
use super::vocabulary::Vocabulary;
use super::words::Mark;
use crate::site::Purpose;

/// A piece of a call that stands for more or less than small talk.
#[derive(Debug, Clone)]
pub(super) struct Piece {
    /// First word and one past the last.
    pub span: (usize, usize),
    pub kind: Kind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A wording of an element: its place among the mentions.
    Mention(usize),
    /// Words of the call as taught that belong to no element.
    Own,
    /// A word that does something to those beside it.
    Does(Stance),
    /// A word that nothing explains.
    Unknown,
}

/// What reaches further than to a neighbour.
#[derive(Debug, Default)]
pub(super) struct Far {
    /// Words that do something to the call's own words outside its elements: what is done to them is done to the whole call.
    pub whole: Vec<String>,
    /// Words that do something to what the call does not speak of ("the canopy was still open, ..."): whether what is set in motion
    /// hangs on that, nobody can tell.
    pub motion: Vec<String>,
}

/// What the pieces do to the mentions.
pub(super) fn stand(
    vocabulary: &Vocabulary,
    pieces: &[Piece],
    words: &[String],
    marks: &[Mark],
    mentions: &mut [Mention],
) -> Far {
    let mut far = Far::default();
    let mut at = 0;
    while at < pieces.len() {
        let stance = match pieces[at].kind {
            Kind::Does(stance) => stance,
            Kind::Unknown => Stance::Open,
            Kind::Mention(_) | Kind::Own => {
                at += 1;
                continue;
            }
        };
        // Words that nothing explains count as one where they stand in a row.
        let mut last = at;
        while stance == Stance::Open
            && pieces
                .get(last + 1)
                .is_some_and(|next| next.kind == Kind::Unknown && !parted(marks, pieces[last].span.1, next.span.0))
        {
            last += 1;
        }
        let span = (pieces[at].span.0, pieces[last].span.1);
        let by = words[span.0..span.1].join(" ");
        let target = |p: &&Piece| matches!(p.kind, Kind::Mention(_) | Kind::Own);
        let left = pieces[..at].iter().rev().find(target);
        let right = pieces[last + 1..].iter().find(target);
        if matches!(stance, Stance::Denied | Stance::PutOff | Stance::Asked) && speaks_of_else(pieces, at, marks) {
            far.motion.push(by);
            at = last + 1;
            continue;
        }
        let parted_left = left.is_some_and(|l| parted(marks, l.span.1, span.0));
        let parted_right = right.is_some_and(|r| parted(marks, span.1, r.span.0));
        let (for_left, for_right) = match (left, right) {
            // Standing alone it may belong to either, and to the whole clause before it ("north winch cable, no, ...").
            (Some(l), Some(_)) if parted_left && parted_right && !matches!(stance, Stance::Others | Stance::Open) => {
                for mention in clause_before(mentions, marks, l.span.1) {
                    mention.bear(Stance::Open, &by);
                    mention.reach(span);
                }
                (Some(Stance::Open).filter(|_| l.kind == Kind::Own), Some(Stance::Open))
            }
            _ => shared(stance, (left.is_some(), right.is_some()), parted_left, parted_right),
        };
        for (piece, stance) in [(left, for_left), (right, for_right)] {
            let Some(stance) = stance else { continue };
            match piece.map(|p| p.kind) {
                Some(Kind::Mention(n)) => {
                    let Some(mention) = mentions.get_mut(n) else { continue };
                    let between = words.get(span.1..mention.span.0).unwrap_or_default();
                    let parted = mention.span.0 >= span.1 && parted_right;
                    if let Some(stance) = borne(vocabulary, mention, stance, &by, between, parted) {
                        mention.bear(stance, &by);
                        mention.reach(span);
                    }
                }
                Some(Kind::Own) if stance != Stance::Others => far.whole.push(by.clone()),
                _ => {}
            }
        }
        at = last + 1;
    }
    far
}

/// What a word that does something does to the neighbours before and behind it, of which `there` are some; it stands alone between
/// marks in none of these cases.
fn shared(
    stance: Stance,
    there: (bool, bool),
    parted_left: bool,
    parted_right: bool,
) -> (Option<Stance>, Option<Stance>) {
    let (left, right) = (Some(stance), Some(stance));
    match there {
        // Who is meant is named before what is said of him.
        _ if stance == Stance::Others => (None, right.filter(|_| !parted_right)),
        // An unknown word before everything and parted from it is a greeting; one behind everything may be anything.
        (false, true) if stance == Stance::Open => (left, right.filter(|_| !parted_right)),
        (true, true) if stance == Stance::Open => (left.filter(|_| !parted_left), right.filter(|_| !parted_right)),
        (true, true) if parted_left => (None, right),
        (true, true) if parted_right => (left, None),
        (true, true) => (Some(Stance::Open), right),
        _ => (left, right),
    }
}

/// What a word does to this mention; `None` where it does nothing to one of its kind. `between` are the words between the two where the
/// mention stands behind, `parted` says whether a mark does.
fn borne(
    vocabulary: &Vocabulary,
    mention: &Mention,
    stance: Stance,
    by: &str,
    between: &[String],
    parted: bool,
) -> Option<Stance> {
    let purpose = *vocabulary.purposes.get(mention.element)?;
    let language = vocabulary.language;
    match (purpose, stance) {
        (Purpose::Readiness, Stance::Others) => Some(stance),
        (_, Stance::Others) => None,
        // Before a stop only what belongs to it counts: "do not stop" is none, "no, stop" and "don't go, stop" are.
        (Purpose::Stop, Stance::Denied | Stance::PutOff | Stance::Asked) if parted => None,
        (Purpose::Stop, Stance::Denied)
            if language.answers(by) || between.iter().any(|w| !language.stands_inside(w)) =>
        {
            Some(Stance::Open)
        }
        _ => Some(stance),
    }
}

/// The mentions of the clause that ends with the word before `end`: back to the mark before it, or all where there is none.
pub(super) fn clause_before<'m>(
    mentions: &'m mut [Mention],
    marks: &[Mark],
    end: usize,
) -> impl Iterator<Item = &'m mut Mention> {
    let last = end.saturating_sub(1);
    let mark = (0..last)
        .rev()
        .find(|n| marks.get(*n).is_some_and(|m| *m != Mark::None));
    let begin = mark.map_or(0, |n| n + 1);
    mentions.iter_mut().filter(move |m| m.span.0 < end && m.span.1 > begin)
}

/// Does the piece stand in a clause of its own, between marks, that speaks of nothing in the call but has a word that nothing explains?
fn speaks_of_else(pieces: &[Piece], at: usize, marks: &[Mark]) -> bool {
    let same = |a: &Piece, b: &Piece| !parted(marks, a.span.1, b.span.0);
    let mut from = at;
    while from > 0 && same(&pieces[from - 1], &pieces[from]) {
        from -= 1;
    }
    let mut to = at;
    while to + 1 < pieces.len() && same(&pieces[to], &pieces[to + 1]) {
        to += 1;
    }
    let clause = &pieces[from..=to];
    clause.len() < pieces.len()
        && clause.iter().any(|p| p.kind == Kind::Unknown)
        && !clause.iter().any(|p| matches!(p.kind, Kind::Mention(_) | Kind::Own))
}

/// Does a mark stand between a word that ends before `from` and one that begins at `to`?
pub(super) fn parted(marks: &[Mark], from: usize, to: usize) -> bool {
    (from.saturating_sub(1)..to).any(|n| marks.get(n).is_some_and(|m| *m != Mark::None))
}

impl Mention {
    /// Takes a stance that words beside it give it. Denied twice is no clear yes and no clear no.
    pub(super) fn bear(&mut self, stance: Stance, by: &str) {
        self.stance = match (self.stance, stance) {
            (Stance::Plain, new) => new,
            (Stance::Denied, Stance::Denied) => Stance::Open,
            // What is denied and put off as well is denied ("not ready in a minute").
            (Stance::Denied, _) | (_, Stance::Denied) => Stance::Denied,
            (before, _) => before,
        };
        if !self.by.is_empty() {
            self.by.push(' ');
        }
        self.by.push_str(by);
    }

    /// The words that do something to it lie here.
    pub(super) fn reach(&mut self, span: (usize, usize)) {
        self.reach = (self.reach.0.min(span.0), self.reach.1.max(span.1));
    }
}
