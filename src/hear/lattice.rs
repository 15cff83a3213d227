//! The phrase lattice: which words may follow which in a call, as a set of states. It knows the vocabulary only.
//!
//! Elements come in any order, any may be absent; small words may stand between them. Each may come twice if the words
//! differ ("solo, two up"), again after a "correction" or a denial, and up to three times in calls of one or two elements. A spelled
//! callsign is any run of letters and digits: the fleet is no prior. All readings of the same words are followed at once,
//! so "four seven six one two" may end a callsign or begin "two up".

mod build;

use crate::call::Vocabulary;
use crate::call::stance::Stance;
use crate::call::vocabulary::Meaning;
use crate::site::{Language, Purpose, spelling};
use build::{Build, LIKE, LIKE_SURE, sounds_as};
use std::collections::{BTreeMap, BTreeSet};

/// Index into [`Lattice::words`].
pub type Word = u16;

/// A run of spelled characters is at least this long to count as a callsign and at most that long: five
/// characters begun twice are nine or ten.
const SPELLED: std::ops::RangeInclusive<u8> = 2..=10;
/// Fillers and corrections allowed in one call, so that every path ends.
const MOST_FILLERS: u8 = 8;
const MOST_CORRECTIONS: u8 = 2;

/// Where one reading of the words stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Place {
    /// Between wordings.
    Between,
    /// After a small word that the ear always reckons with: something must follow.
    Joined,
    /// After a word that denies and sounds like a name.
    Denied,
    /// Inside a wording, before its word `1`.
    Inside(u16, u8),
    /// In a run of spelled characters: how many so far.
    Spelling(u8),
    /// After the tens of a number spoken as a pair: how many characters so far.
    Pair(u8),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct State {
    /// Mentions of each element so far, two bits each.
    used: u32,
    /// Wordings said so far, by their place among the first 128.
    said: u128,
    corrections: u8,
    fillers: u8,
    /// A word that denies was said ("Windenseil Wald, nein, Windenseil See"): what comes then may be said again.
    done: bool,
    /// The wording said last: begun again it is a restart.
    last: u16,
    place: Place,
}

/// States after the same words; sorted, without doubles.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct States(Vec<State>);

/// The words a step can hold and how they follow each other.
#[derive(Debug)]
pub struct Lattice {
    /// All words, by [`Word`].
    pub words: Vec<String>,
    /// The spellings a recogniser may write for each word, the word itself first.
    pub spellings: Vec<Vec<String>>,
    phrases: Vec<Worded>,
    /// So many of them the ear reckons with in every call.
    always: usize,
    /// Words that spell one character.
    characters: Vec<Word>,
    /// Tens that may begin a pair, and words that are a whole pair.
    tens: Vec<Word>,
    whole_pairs: Vec<Word>,
    /// Words for the digits 1 to 9, which end a pair.
    units: Vec<Word>,
    spelled: Option<usize>,
    /// The language of the words.
    pub language: Language,
    /// The call has one or two elements only.
    short: bool,
    /// From here on words are only there because the speech model wrote them, and from there on such that nothing explains.
    small_from: Word,
    unknown_from: Word,
    /// Those of them that do something to others.
    doing: Vec<Word>,
    /// Words that deny or put off and sound like a name of the call ("not" and "north"): before the launch method a name is likelier.
    like_a_name: Vec<Word>,
    /// Words that begin a wording of the launch method.
    begin_methods: Vec<Word>,
    /// What may stand between the parts of a compound.
    links: &'static [String],
}

/// Why a word is reckoned with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Written {
    /// It is one of the call, or does something to what is.
    Call,
    /// The speech model wrote it; it changes nothing.
    Small,
    /// The speech model wrote it; nothing explains it where it stands alone.
    Unknown,
}

/// A wording as ids of words, with its meaning.
type Worded = (Vec<Word>, Meaning);

/// Adds those of the small words that the speech model wrote. Gives the words that do something to others.
fn small_words(
    vocabulary: &Vocabulary,
    heard: &[String],
    sure: bool,
    build: &mut Build,
    phrases: &mut Vec<Worded>,
) -> Vec<Word> {
    let always = phrases.len();
    let mut doing: Vec<Word> = Vec::new();
    for p in vocabulary.phrases.iter().filter(|p| !p.always) {
        let alike = |heard: &String, word: &String| sounds_as(vocabulary.language, word, heard);
        let written =
            (heard.windows(p.words.len())).any(|w| w.iter().zip(&p.words).all(|(heard, word)| alike(heard, word)));
        if !written {
            continue;
        }
        let new = p.words.iter().any(|w| !build.writes(w));
        let ids: Vec<Option<Word>> = p.words.iter().map(|w| build.index.get(w).copied()).collect();
        let same = |(words, _): &Worded| words.iter().map(|w| Some(*w)).eq(ids.iter().copied());
        let spells = |w: &Option<Word>| w.is_some_and(|w| build.spells(w));
        // "Ich" that begins a wording may stand alone too. "For a winch launch" is no four, and "this afternoon" no half of a
        // greeting, where the model is sure of what it wrote: then they are words of their own.
        let literal = ids.iter().all(|w| w.is_some() && !spells(w));
        let beside = (sure || literal) && !phrases[..always].iter().any(same);
        if new || beside {
            let ids = if new {
                build.ids(&p.words)
            } else {
                build.others(&p.words)
            };
            if matches!(p.meaning, Meaning::Does(_) | Meaning::Withdrawal | Meaning::Slip) {
                doing.extend(&ids);
            }
            phrases.push((ids, p.meaning.clone()));
        }
    }
    doing
}

/// Adds words that the speech model wrote and nothing explains; from `own` on the words are none of the call.
fn unknown_words(
    vocabulary: &Vocabulary,
    heard: &[String],
    sure: bool,
    own: usize,
    build: &mut Build,
    phrases: &mut Vec<Worded>,
) {
    let mut seen = BTreeSet::new();
    for word in heard.iter().filter(|w| !w.is_empty() && seen.insert(*w)) {
        let explained = vocabulary
            .phrases
            .iter()
            .any(|p| p.words.len() == 1 && sounds_as(vocabulary.language, &p.words[0], word));
        if !explained && !build.words.contains(word) && !build.is_like(word, own, if sure { LIKE_SURE } else { LIKE }) {
            // It counts as small talk here; what it is, the reading of the words says.
            phrases.push((build.ids(std::slice::from_ref(word)), Meaning::Filler));
        }
    }
}

/// Words that do something to others and sound like one of these names.
fn like_a_name(build: &Build, phrases: &[Worded], names: &[Word]) -> Vec<Word> {
    let near = |a: Word, b: Word| {
        let (a, b) = (&build.words[usize::from(a)], &build.words[usize::from(b)]);
        strsim::normalized_levenshtein(a, b) >= LIKE || b.starts_with(a.as_str())
    };
    let does = phrases
        .iter()
        .filter(|(w, m)| w.len() == 1 && matches!(m, Meaning::Does(_)));
    does.map(|(w, _)| w[0])
        .filter(|w| names.iter().any(|n| near(*w, *n)))
        .collect()
}

impl Lattice {
    /// The lattice of a vocabulary for one call. `heard` are the words that the speech model wrote when nothing told it the
    /// words of the call: what a language's small words do, and words that nothing explains, are reckoned with only where they
    /// were written, since otherwise badly heard parts of a call would be read as small words. `sure`: the model is sure of them.
    pub fn new(vocabulary: &Vocabulary, heard: &[String], sure: bool) -> Self {
        let mut build = Build::default();
        let mut phrases: Vec<Worded> = Vec::new();
        for p in vocabulary.phrases.iter().filter(|p| p.always) {
            phrases.push((build.ids(&p.words), p.meaning.clone()));
        }
        if vocabulary.spelled.is_some() {
            build.characters(vocabulary.language);
        }
        build.spell(vocabulary.language);
        let always = phrases.len();
        let own = build.words.len();
        let doing = small_words(vocabulary, heard, sure, &mut build, &mut phrases);
        let known = build.words.len();
        unknown_words(vocabulary, heard, sure, own, &mut build, &mut phrases);
        build.spell(vocabulary.language);
        let purpose = |m: &Meaning| m.element().and_then(|e| vocabulary.purposes.get(e).copied());
        let of = |wanted: Purpose| phrases.iter().filter(move |(_, m)| purpose(m) == Some(wanted));
        let names: Vec<Word> = of(Purpose::Cable).flat_map(|(words, _)| words.clone()).collect();
        let begin_methods = of(Purpose::Method).map(|(words, _)| words[0]).collect();
        Self {
            like_a_name: like_a_name(&build, &phrases, &names),
            begin_methods,
            doing,
            small_from: own as Word,
            unknown_from: known as Word,
            words: build.words,
            spellings: build.spellings,
            phrases,
            always,
            characters: build.characters,
            tens: build.tens,
            whole_pairs: build.whole_pairs,
            units: build.units,
            spelled: vocabulary.spelled,
            language: vocabulary.language,
            short: vocabulary.is_short(),
            links: vocabulary.language.compounds().map_or(&[], |c| c.links.as_slice()),
        }
    }

    /// Why a word is reckoned with.
    pub fn written(&self, word: Word) -> Written {
        if word >= self.unknown_from {
            Written::Unknown
        } else if word >= self.small_from && !self.doing.contains(&word) {
            Written::Small
        } else {
            Written::Call
        }
    }

    /// Did the speech model write words that do something to others, and are none of them among these?
    pub fn passed_over(&self, words: &[Word]) -> bool {
        let said = |word: Word| words.iter().any(|w| self.word(*w) == self.word(word));
        let mut own = self.doing.iter().filter(|w| **w >= self.small_from).peekable();
        own.peek().is_some() && own.all(|w| !said(*w))
    }

    /// A word as it is written.
    pub fn word(&self, word: Word) -> &str {
        self.words.get(usize::from(word)).map_or("", String::as_str)
    }

    /// The same words with the compound that begins them taken apart ("Windenseil See" as "Winde, Seil See"), where both parts
    /// are words of the call and the first is not among the others: then the ear cannot tell them apart either.
    pub fn apart(&self, words: &[Word]) -> Option<Vec<Word>> {
        let (compound, rest) = words.split_first()?;
        let whole = self.word(*compound);
        for (first, a) in self.words.iter().enumerate() {
            let Some(tail) = whole.strip_prefix(a.as_str()).filter(|t| !t.is_empty()) else {
                continue;
            };
            let second = std::iter::once("")
                .chain(self.links.iter().map(String::as_str))
                .filter_map(|link| tail.strip_prefix(link))
                .find_map(|b| self.words.iter().position(|w| w == b));
            if let Some(second) = second.filter(|_| !rest.contains(&(first as Word))) {
                return Some([&[first as Word, second as Word], rest].concat());
            }
        }
        None
    }

    /// The characters of the longest callsign spelled without beginning again, of those that begin with a letter.
    pub fn longest_spelled(&self, words: &[Word]) -> usize {
        let digits_from = spelling::LETTERS.len();
        let letter = |w: &Word| {
            self.characters
                .iter()
                .position(|c| c == w)
                .is_some_and(|n| n < digits_from)
        };
        let mut longest = 0;
        let (mut first, mut length, mut tens) = (None, 0, false);
        for w in words {
            let characters = match () {
                () if self.whole_pairs.contains(w) => 2,
                // "forty seven" are two characters, counted with the tens.
                () if tens && self.units.contains(w) => 0,
                () if self.characters.contains(w) => 1,
                () => {
                    first = None;
                    continue;
                }
            };
            tens = self.tens.contains(w);
            if first.is_none() || first == Some(*w) {
                (first, length) = (Some(*w), 0);
            }
            length += characters;
            if first.as_ref().is_some_and(letter) {
                longest = longest.max(length);
            }
        }
        longest
    }

    /// Runs of two characters beside a longer callsign that neither begin nor end it ("ready to go" is no "two golf"); none where values of other
    /// elements are spelled.
    pub fn stray_characters(&self, words: &[Word]) -> usize {
        let runs: Vec<&[Word]> = words
            .split(|w| !self.characters.contains(w))
            .filter(|run| !run.is_empty())
            .collect();
        let Some(longest) = runs.iter().max_by_key(|run| run.len()).filter(|run| run.len() > 2) else {
            return 0;
        };
        // Its beginning is a restart ("golf charlie, er, golf charlie lima").
        let stray = |run: &&&[Word]| run.len() == 2 && !longest.ends_with(run) && !longest.starts_with(run);
        let count = runs.iter().filter(stray).count();
        let spelled = |(words, meaning): &Worded| {
            meaning.element().is_some() && words.windows(2).any(|w| w.iter().all(|w| self.characters.contains(w)))
        };
        if count > 0 && self.phrases.iter().any(spelled) {
            return 0;
        }
        count
    }

    /// Before the first word.
    pub fn start(&self) -> States {
        States(vec![State {
            used: 0,
            said: 0,
            corrections: 0,
            fillers: 0,
            done: false,
            last: u16::MAX,
            place: Place::Between,
        }])
    }

    /// May the call end here?
    pub fn may_end(&self, states: &States) -> bool {
        states.0.iter().any(|s| match s.place {
            Place::Between | Place::Denied => s.used != 0 || s.fillers != 0 || s.corrections != 0,
            Place::Spelling(n) => SPELLED.contains(&n),
            _ => false,
        })
    }

    /// Words that may follow, with the states after each.
    pub fn next(&self, states: &States) -> BTreeMap<Word, States> {
        let mut out: BTreeMap<Word, Vec<State>> = BTreeMap::new();
        for s in &states.0 {
            self.follow(*s, &mut |word, state| out.entry(word).or_default().push(state));
        }
        out.into_iter()
            .map(|(w, mut list)| {
                list.sort_unstable();
                list.dedup();
                (w, States(list))
            })
            .collect()
    }

    fn follow(&self, s: State, add: &mut impl FnMut(Word, State)) {
        match s.place {
            Place::Between | Place::Joined | Place::Denied => self.begin(s, add),
            Place::Inside(p, at) => {
                let words = &self.phrases[p as usize].0;
                let place = if usize::from(at) + 1 == words.len() {
                    self.end_of(p)
                } else {
                    Place::Inside(p, at + 1)
                };
                add(words[usize::from(at)], State { place, ..s });
                self.inside(s, add);
            }
            Place::Spelling(n) => {
                if n < *SPELLED.end() {
                    self.character(s, n, add);
                }
                if SPELLED.contains(&n) {
                    self.begin(
                        State {
                            place: Place::Between,
                            ..s
                        },
                        add,
                    );
                }
            }
            Place::Pair(n) => {
                for w in &self.units {
                    add(
                        *w,
                        State {
                            place: Place::Spelling(n + 2),
                            ..s
                        },
                    );
                }
            }
        }
    }

    /// A word that denies or puts off may stand inside a wording ("slack is not out").
    fn inside(&self, s: State, add: &mut impl FnMut(Word, State)) {
        if s.fillers >= MOST_FILLERS {
            return;
        }
        for (words, meaning) in &self.phrases {
            if let (Meaning::Does(stance), [word]) = (meaning, words.as_slice()) {
                let (fillers, done) = (s.fillers + 1, s.done || *stance == Stance::Denied);
                add(*word, State { fillers, done, ..s });
            }
        }
    }

    fn character(&self, s: State, n: u8, add: &mut impl FnMut(Word, State)) {
        for w in &self.characters {
            add(
                *w,
                State {
                    place: Place::Spelling(n + 1),
                    ..s
                },
            );
        }
        if n + 2 <= *SPELLED.end() && n > 0 {
            for w in &self.whole_pairs {
                add(
                    *w,
                    State {
                        place: Place::Spelling(n + 2),
                        ..s
                    },
                );
            }
            for w in &self.tens {
                add(
                    *w,
                    State {
                        place: Place::Pair(n),
                        ..s
                    },
                );
            }
        }
    }

    fn end_of(&self, phrase: u16) -> Place {
        let always = usize::from(phrase) < self.always;
        let (words, meaning) = &self.phrases[usize::from(phrase)];
        if matches!(meaning, Meaning::Does(_)) && words.len() == 1 && self.like_a_name.contains(&words[0]) {
            return Place::Denied;
        }
        if always && self.phrases[usize::from(phrase)].1 == Meaning::Joiner {
            Place::Joined
        } else {
            Place::Between
        }
    }

    fn begin(&self, s: State, add: &mut impl FnMut(Word, State)) {
        let limit = if self.short {
            // A word that is a whole call is said again and again ("stop, stop, stop").
            3
        } else {
            // Two different values of one element must be heard as two ("solo, two up").
            2 + u32::from(s.corrections.min(1))
        };
        let count = |used: u32, e: usize| used >> (2 * e) & 3;
        for (p, (words, meaning)) in self.phrases.iter().enumerate() {
            let mut t = s;
            if s.place == Place::Denied && self.begin_methods.contains(&words[0]) {
                continue;
            }
            match meaning {
                Meaning::Joiner if s.place == Place::Joined && p < self.always => continue,
                Meaning::Filler | Meaning::Joiner | Meaning::Does(_) if s.fillers >= MOST_FILLERS => continue,
                Meaning::Correction | Meaning::Withdrawal | Meaning::Slip
                    if s.corrections >= MOST_CORRECTIONS || s.used == 0 =>
                {
                    continue;
                }
                Meaning::Filler | Meaning::Joiner => t.fillers += 1,
                Meaning::Does(stance) => {
                    t.fillers += 1;
                    t.done |= *stance == Stance::Denied;
                }
                Meaning::Correction | Meaning::Withdrawal | Meaning::Slip => t.corrections += 1,
                Meaning::Own => {
                    let bit = 1_u128.checked_shl(p as u32).unwrap_or(0);
                    if s.said & bit != 0 {
                        continue;
                    }
                    t.said |= bit;
                }
                Meaning::Value { element, .. } | Meaning::Incomplete { element } | Meaning::Negated { element } => {
                    let bit = 1_u128.checked_shl(p as u32).unwrap_or(0);
                    // The same words again are no second value, and the model likes to repeat itself; begun again at once
                    // ("solo, solo"), or beside another element's second value ("south winch cable, north winch cable"),
                    // they may stand.
                    let doubled = (0..16).any(|e| e != *element && count(s.used, e) > 1);
                    let restart = s.last == p as u16;
                    let again =
                        s.said & bit != 0 && s.corrections == 0 && !s.done && !doubled && !restart && !self.short;
                    if again || count(s.used, *element) >= limit {
                        continue;
                    }
                    // Twice, not again and again.
                    t.last = if restart { u16::MAX } else { p as u16 };
                    t.said |= bit;
                    t.used += 1 << (2 * element);
                }
            }
            t.place = if words.len() == 1 {
                self.end_of(p as u16)
            } else {
                Place::Inside(p as u16, 1)
            };
            add(words[0], t);
        }
        if let Some(e) = self.spelled
            && count(s.used, e) < 1 + u32::from(s.corrections.min(2))
        {
            self.character(
                State {
                    used: s.used + (1 << (2 * e)),
                    ..s
                },
                0,
                add,
            );
        }
    }
}

#[cfg(test)]
mod tests;
