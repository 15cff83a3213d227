//! The phrase lattice: which words may follow which in a call, as a set of states. It knows the vocabulary only.
//!
//! Elements come in any order, any may be absent; small words may stand between them. Each may come twice if the words
//! differ ("solo, two up"), again after a "correction" or a denial, and up to three times in calls of one or two elements. A spelled
//! callsign is any run of letters and digits: the fleet is no prior. All readings of the same words are followed at once,
//! so "four seven six one two" may end a callsign or begin "two up".

use super::compound;
use crate::call::Vocabulary;
use crate::call::stance::Stance;
use crate::call::vocabulary::Meaning;
use crate::site::{Language, Purpose, spelling};
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
    phrases: Vec<(Vec<Word>, Meaning)>,
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

/// A lattice as it is built.
#[derive(Default)]
struct Build {
    words: Vec<String>,
    index: BTreeMap<String, Word>,
    spellings: Vec<Vec<String>>,
    characters: Vec<Word>,
    tens: Vec<Word>,
    whole_pairs: Vec<Word>,
    units: Vec<Word>,
    /// Words with other ways to write them.
    same: Vec<(Word, String)>,
}

impl Build {
    fn id(&mut self, w: &str) -> Word {
        let words = &mut self.words;
        *self.index.entry(w.to_owned()).or_insert_with(|| {
            words.push(w.to_owned());
            (words.len() - 1) as Word
        })
    }

    fn ids(&mut self, words: &[String]) -> Vec<Word> {
        words.iter().map(|w| self.id(w)).collect()
    }

    /// Words of their own that are written as others are.
    fn others(&mut self, words: &[String]) -> Vec<Word> {
        let from = self.words.len();
        self.words.extend_from_slice(words);
        (from..self.words.len()).map(|n| n as Word).collect()
    }

    /// The words that spell a callsign.
    fn characters(&mut self, language: Language) {
        for (letter, words) in &spelling::LETTERS {
            let word = self.id(words[0]);
            self.characters.push(word);
            let alike = language.letter_sounds_like(*letter).iter().cloned();
            let all = words.iter().map(|w| (*w).to_owned()).chain(alike);
            self.same.extend(all.map(|w| (word, w)));
        }
        for (digit, ways) in (0_u8..).zip(language.digits()) {
            for (n, alike) in ways.iter().enumerate() {
                let Some(first) = alike.first() else { continue };
                let word = self.id(first);
                self.characters.push(word);
                if digit > 0 {
                    self.units.push(word);
                }
                let sounds = language.sounds_like(digit).filter(|_| n == 0).map(str::to_owned);
                self.same.extend(alike.iter().cloned().chain(sounds).map(|w| (word, w)));
            }
        }
        for (word, n) in language.tens() {
            let word = self.id(word);
            self.whole_pairs.push(word);
            if language.unit_joined_by().is_none() && n % 10 == 0 && n >= 20 {
                self.tens.push(word);
            }
        }
    }

    /// The ways to write the words that have none yet.
    fn spell(&mut self, language: Language) {
        for at in self.spellings.len()..self.words.len() {
            let mut known = vec![self.words[at].clone()];
            for (_, way) in self.same.iter().filter(|(w, _)| usize::from(*w) == at) {
                if !known.contains(way) {
                    known.push(way.clone());
                }
            }
            known.extend(language.word_sounds_like(&known[0]).iter().cloned());
            known.extend(without_apostrophe(&known[0]));
            let parted: Vec<String> = known.iter().flat_map(|w| compound::parted(language, w)).collect();
            known.extend(parted);
            self.spellings.push(known);
        }
    }

    /// Is it a word that spells characters?
    fn spells(&self, word: Word) -> bool {
        [&self.characters, &self.tens, &self.whole_pairs]
            .iter()
            .any(|list| list.contains(&word))
    }

    /// Is this how some word of the call is written, or a part of it?
    fn writes(&self, word: &str) -> bool {
        let mut ways = self.spellings.iter().flatten();
        ways.any(|way| way.split([' ', '-']).any(|part| part.to_lowercase() == word))
    }

    /// Is it how one of the first `own` words is written, or nearly so? Then the speech model may have meant that word.
    fn is_like(&self, word: &str, own: usize, share: f64) -> bool {
        let near = |other: &str| strsim::normalized_levenshtein(other, word) >= share;
        // "Seilbach", "northwinch".
        let joined = || {
            let mut cuts = word.char_indices().skip(1).map(|(at, _)| word.split_at(at));
            cuts.any(|(first, second)| self.writes(first) && self.writes(second))
        };
        self.writes(word) || self.words[..own].iter().any(|w| near(w)) || joined()
    }
}

/// Nobody hears an apostrophe ("my instructors in the back").
fn without_apostrophe(word: &str) -> Option<String> {
    word.contains('\'').then(|| word.replace('\'', ""))
}

/// May a recogniser have written `heard` for a word?
fn sounds_as(language: Language, word: &str, heard: &str) -> bool {
    word == heard
        || without_apostrophe(word).is_some_and(|w| w == heard)
        || language.word_sounds_like(word).iter().any(|w| w == heard)
}

/// Words that agree in this share of their letters may be one and the same, badly heard.
const LIKE: f64 = 0.5;
/// The same where the model is sure of what it wrote: then "western" is no "west".
const LIKE_SURE: f64 = 0.75;

impl Lattice {
    /// The lattice of a vocabulary for one call. `heard` are the words that the speech model wrote when nothing told it the
    /// words of the call: what a language's small words do, and words that nothing explains, are reckoned with only where they
    /// were written, since otherwise badly heard parts of a call would be read as small words. `sure`: the model is sure of them.
    pub fn new(vocabulary: &Vocabulary, heard: &[String], sure: bool) -> Self {
        let mut build = Build::default();
        let mut phrases: Vec<(Vec<Word>, Meaning)> = Vec::new();
        for p in vocabulary.phrases.iter().filter(|p| p.always) {
            phrases.push((build.ids(&p.words), p.meaning.clone()));
        }
        if vocabulary.spelled.is_some() {
            build.characters(vocabulary.language);
        }
        build.spell(vocabulary.language);
        let always = phrases.len();
        let own = build.words.len();
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
            let same = |(words, _): &(Vec<Word>, Meaning)| words.iter().map(|w| Some(*w)).eq(ids.iter().copied());
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
        let known = build.words.len();
        let mut seen = BTreeSet::new();
        for word in heard.iter().filter(|w| !w.is_empty() && seen.insert(*w)) {
            let explained = vocabulary
                .phrases
                .iter()
                .any(|p| p.words.len() == 1 && sounds_as(vocabulary.language, &p.words[0], word));
            if !explained
                && !build.words.contains(word)
                && !build.is_like(word, own, if sure { LIKE_SURE } else { LIKE })
            {
                // It counts as small talk here; what it is, the reading of the words says.
                phrases.push((build.ids(std::slice::from_ref(word)), Meaning::Filler));
            }
        }
        build.spell(vocabulary.language);
        let purpose = |m: &Meaning| m.element().and_then(|e| vocabulary.purposes.get(e).copied());
        let of = |wanted: Purpose| phrases.iter().filter(move |(_, m)| purpose(m) == Some(wanted));
        let names: Vec<Word> = of(Purpose::Cable).flat_map(|(words, _)| words.clone()).collect();
        let near = |a: Word, b: Word| {
            let (a, b) = (&build.words[usize::from(a)], &build.words[usize::from(b)]);
            strsim::normalized_levenshtein(a, b) >= LIKE || b.starts_with(a.as_str())
        };
        let does = phrases
            .iter()
            .filter(|(w, m)| w.len() == 1 && matches!(m, Meaning::Does(_)));
        let like_a_name = does
            .map(|(w, _)| w[0])
            .filter(|w| names.iter().any(|n| near(*w, *n)))
            .collect();
        let begin_methods = of(Purpose::Method).map(|(words, _)| words[0]).collect();
        Self {
            like_a_name,
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
        let spelled = |(words, meaning): &(Vec<Word>, Meaning)| {
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
mod tests {
    use super::*;
    use crate::call::words;
    use crate::site::{Site, bundled};

    /// Does the lattice of a site's ready call hold these words as a whole call?
    fn holds(name: &str, text: &str) -> bool {
        holds_where_written(name, "ready", &[], text)
    }

    /// Does the lattice of a step hold these words as a whole call, where the speech model wrote `heard`?
    fn holds_where_written(name: &str, step: &str, heard: &[String], text: &str) -> bool {
        let site = Site::check(&bundled::files(name).unwrap()).unwrap();
        let lattice = Lattice::new(&Vocabulary::of(&site, site.step(step).unwrap()), heard, false);
        let mut states = lattice.start();
        for word in words::of(text) {
            // Several may be written the same way.
            let next = lattice.next(&states);
            let all = next.into_iter().filter(|(w, _)| lattice.word(*w) == word);
            states = States(all.flat_map(|(_, s)| s.0).collect());
        }
        lattice.may_end(&states)
    }

    #[test]
    fn right_faulty_and_odd_calls_are_on_equal_terms() {
        for text in [
            "winch golf charlie lima romeo mike two up north winch cable ready",
            "winch golf charlie lima romeo mike two up on the north winch cable ready",
            "ready north winch cable two up golf charlie lima romeo mike winch",
            "winch delta four seven six one north cable not ready",
            "winch delta forty seven sixty one solo aerotow",
            "golf charlie lima",
            "golf charlie lima golf charlie lima romeo mike",
            "winch delta four seven six one two up south correction north winch cable ready",
            "winch delta four seven six one solo two up south winch cable north winch cable ready",
            "winch winch delta four seven six one solo solo north winch cable ready",
        ] {
            assert!(holds("larkmoor", text), "{text}");
        }
        assert!(holds(
            "erlengrund",
            "winde delta drei acht sechs zwei zweisitzig am windenseil wald abflugbereit"
        ));
    }

    #[test]
    fn a_word_of_a_wording_may_stand_alone_where_it_was_written() {
        let heard = words::of("winde delta fünf fünf vier null ich kann nicht ausklinken");
        let call = "winde delta fünf fünf vier null ich kann nicht ausklinken";
        assert!(holds_where_written("erlengrund", "stuck", &heard, call));
        assert!(!holds_where_written("erlengrund", "stuck", &[], call));
    }

    #[test]
    fn a_word_written_twice_is_one_word() {
        let site = Site::check(&bundled::files("erlengrund").unwrap()).unwrap();
        let vocabulary = Vocabulary::of(&site, site.step("stuck").unwrap());
        let heard = words::of("winde ich kann seil ausklinken hurtig");
        let count = |heard: &[String]| Lattice::new(&vocabulary, heard, true).phrases.len();
        assert_eq!(
            count(&[heard.as_slice(), &[String::new()], &heard].concat()),
            count(&heard)
        );
        assert!(count(&heard) > count(&[]));
    }

    #[test]
    fn what_was_denied_may_be_said_again() {
        for text in [
            "winde delta fünf fünf vier null einsitzig windenseil wald nein windenseil see startklar",
            "winde delta fünf fünf vier null einsitzig nicht windenseil wald windenseil see startklar",
        ] {
            assert!(holds("erlengrund", text), "{text}");
        }
        let again = "winde delta fünf fünf vier null einsitzig windenseil wald startklar einsitzig";
        assert!(!holds("erlengrund", again));
    }

    #[test]
    fn a_compound_that_begins_a_call_may_be_two_words() {
        let site = Site::check(&bundled::files("erlengrund").unwrap()).unwrap();
        let lattice = Lattice::new(&Vocabulary::of(&site, site.step("ready").unwrap()), &[], false);
        let ids = |text: &str| -> Vec<Word> {
            let id = |w: &String| lattice.words.iter().position(|l| l == w).unwrap() as Word;
            words::of(text).iter().map(id).collect()
        };
        assert_eq!(
            lattice.apart(&ids("windenseil see startklar")),
            Some(ids("winde seil see startklar"))
        );
        for text in [
            "windenseil see startklar winde",
            "winde windenseil see",
            "startklar",
            "",
        ] {
            assert_eq!(lattice.apart(&ids(text)), None, "{text}");
        }
    }

    #[test]
    fn spelled_characters_are_counted_from_where_they_begin_again() {
        for (name, text, n) in [
            ("larkmoor", "winch delta four seven six one two up", 6),
            ("larkmoor", "golf charlie lima golf charlie lima romeo mike", 5),
            ("larkmoor", "winch delta forty seven sixty one solo", 5),
            ("larkmoor", "solo", 0),
            (
                "erlengrund",
                "winde delta drei acht zwo sechs eins siebzig windenseil",
                8,
            ),
            ("erlengrund", "drei acht zwo sechs drei acht zwo sechs", 0),
        ] {
            let site = Site::check(&bundled::files(name).unwrap()).unwrap();
            let lattice = Lattice::new(&Vocabulary::of(&site, site.step("ready").unwrap()), &[], false);
            let id = |w: &String| lattice.words.iter().position(|l| l == w).unwrap() as Word;
            let words: Vec<Word> = words::of(text).iter().map(id).collect();
            assert_eq!(lattice.longest_spelled(&words), n, "{text}");
        }
    }

    #[test]
    fn what_no_call_is_like_is_not_held() {
        for text in [
            "",
            "golf",
            "on the",
            "two",
            "ready ready ready",
            "ready solo ready",
            "north south north",
            "ready correction the",
            "windenseil",
        ] {
            assert!(!holds("larkmoor", text), "{text}");
        }
    }

    #[test]
    fn two_characters_beside_a_callsign_are_its_beginning_or_its_end() {
        let site = Site::check(&bundled::files("larkmoor").unwrap()).unwrap();
        let lattice = Lattice::new(&Vocabulary::of(&site, site.step("ready").unwrap()), &[], false);
        let stray = |text: &str| {
            let words: Vec<Word> = text
                .split(' ')
                .map(|w| lattice.words.iter().position(|l| l == w).unwrap() as Word)
                .collect();
            lattice.stray_characters(&words)
        };
        assert_eq!(stray("winch golf charlie lima romeo mike ready two golf"), 1);
        assert_eq!(stray("winch golf charlie lima romeo mike ready romeo mike"), 0);
        assert_eq!(stray("golf charlie er golf charlie lima romeo mike ready"), 0);
        assert_eq!(stray("two up golf charlie lima romeo mike ready"), 0);
        assert_eq!(stray("romeo mike two up ready"), 0);
    }
}
