//! What the judge gets: readings of the words with their weights, and how much else could have been said.

use super::delivery::{Delivery, Place};
use super::reading::{self, Reading};
use super::reason::Silence;
use super::unlisted;
use super::vocabulary::Vocabulary;
use super::words::{self, Mark};
use crate::site::Language;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// A reading with its weight.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Scored {
    /// The reading.
    pub reading: Reading,
    /// Natural logarithm of its weight, relative to the best reading of the same evidence: 0 for the best, below 0 for
    /// the others (nats).
    pub score: f32,
}

/// Evidence for one call.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// False when no speech was found; then there are no readings.
    pub speech: bool,
    /// Why no speech was found, for the student.
    pub silence: Option<Silence>,
    /// What free transcription wrote, for the debrief only: verdicts do not rest on it.
    pub transcript: String,
    /// Readings, best first.
    pub readings: Vec<Scored>,
    /// How much better free text explains the sound than the best reading does, in nats a second of speech; large values
    /// mean that something else may have been said. 0 for typed calls.
    pub foreign: f32,
    /// Mean log-probability a token of the best reading, nats (0 is certain). 0 for typed calls.
    pub fit: f32,
    /// Length of the sound heard, seconds. 0 for typed calls.
    #[serde(default)]
    pub seconds: f32,
    /// Tokens of the best reading, its end included. 0 for typed calls.
    #[serde(default)]
    pub tokens: usize,
    /// The speech model's own guess that nobody speaks, 0 to 1. 0 for typed calls.
    #[serde(default)]
    pub no_speech: f32,
    /// The search was ended by its limit: what was not found may still be there.
    pub unfinished: bool,
    /// The call was listened to more than once, and the likeliest words were not the same each time; or what the speech model writes
    /// without the words of the call denies, puts off or takes back, and these do not.
    #[serde(default)]
    pub disputed: bool,
    /// Where each word of the best reading lies in the sound, in seconds from the clip's beginning; `None` where that is not
    /// known. Empty for typed calls.
    #[serde(default)]
    pub places: Vec<Option<Place>>,
    /// Stretches of sound from which none of the best reading's words was read: something else may have been said there.
    #[serde(default)]
    pub unread: Vec<Place>,
    /// How it was delivered; `None` for typed calls.
    #[serde(default)]
    pub delivery: Option<Delivery>,
}

impl Evidence {
    /// Where a mention of the best reading lies in the sound: from its first word to its last, when both are known.
    pub fn place(&self, mention: &reading::Mention) -> Option<Place> {
        let (first, past) = mention.span;
        let begin = self.places.get(first).copied().flatten()?;
        let end = self.places.get(past.checked_sub(1)?).copied().flatten()?;
        (begin.begin < end.end).then(|| begin.with(end))
    }

    /// The same as the answer to a question. A "no" at its beginning answers what was read back wrong ("negative, north winch
    /// cable") and denies nothing of what follows; a no alone stays one.
    #[must_use]
    pub fn answering(mut self, language: Language, vocabulary: &Vocabulary) -> Self {
        if self.tokens == 0 && self.seconds == 0.0 {
            let (words, _) = words::marked(&self.transcript);
            let no = words.first().is_some_and(|w| language.answers(w));
            let rest = self.transcript.trim_start();
            let rest = rest.find(|c: char| !c.is_alphanumeric()).map_or("", |end| &rest[end..]);
            if no && rest.contains(char::is_alphanumeric) {
                let typed = self.transcript.clone();
                self = Self::typed(vocabulary, rest);
                self.transcript = typed;
            }
            return self;
        }
        for (n, scored) in self.readings.iter_mut().enumerate() {
            let words = &scored.reading.words;
            if words.len() < 2 || !words.first().is_some_and(|w| language.answers(w)) {
                continue;
            }
            scored.reading = reading::read_words(vocabulary, words[1..].to_vec(), &[]);
            if n == 0 && !self.places.is_empty() {
                self.places.remove(0);
            }
        }
        self
    }

    /// No speech.
    pub fn silence(why: Silence) -> Self {
        Self {
            speech: false,
            silence: Some(why),
            transcript: String::new(),
            readings: Vec::new(),
            foreign: 0.0,
            fit: 0.0,
            seconds: 0.0,
            tokens: 0,
            no_speech: 0.0,
            unfinished: false,
            disputed: false,
            places: Vec::new(),
            unread: Vec::new(),
            delivery: None,
        }
    }

    /// A typed call: one reading, nothing unsure.
    pub fn typed(vocabulary: &Vocabulary, text: &str) -> Self {
        let (mut words, marks) = words::marked(text);
        with_all_letters(vocabulary, &mut words);
        let with_figures = unlisted::with_figures(vocabulary, &words);
        let vocabulary = with_figures.as_ref().unwrap_or(vocabulary);
        let reading = reading::read_words(vocabulary, words, &marks);
        if reading.words.is_empty() {
            return Self::silence(Silence::NothingTyped);
        }
        let mut readings = vec![Scored { reading, score: 0.0 }];
        // A slip of the finger decides nothing: the word meant and the word typed stand beside each other.
        readings
            .extend(mended(vocabulary, &readings[0].reading, &marks).map(|reading| Scored { reading, score: -0.5 }));
        Self {
            speech: true,
            silence: None,
            transcript: text.trim().to_owned(),
            readings,
            foreign: 0.0,
            fit: 0.0,
            seconds: 0.0,
            tokens: 0,
            no_speech: 0.0,
            unfinished: false,
            disputed: false,
            places: Vec::new(),
            unread: Vec::new(),
            delivery: None,
        }
    }
}

/// Words typed on a keyboard that lacks the language's letters become those of the vocabulary ("gestoert": "gestört").
fn with_all_letters(vocabulary: &Vocabulary, words: &mut [String]) {
    let known: BTreeSet<&String> = vocabulary.phrases.iter().flat_map(|p| &p.words).collect();
    let spelt: BTreeMap<String, &String> = (known.iter())
        .filter_map(|k| Some((vocabulary.language.typed_as(k)?, *k)))
        .collect();
    for word in words {
        if !known.contains(word)
            && let Some(meant) = spelt.get(word)
        {
            *word = (*meant).clone();
        }
    }
}

/// The reading with each word that nothing explains taken for the one word of the vocabulary that it is a slip away from.
fn mended(vocabulary: &Vocabulary, reading: &Reading, marks: &[Mark]) -> Option<Reading> {
    let slip = |word: &String| {
        let known = vocabulary.phrases.iter().flat_map(|p| &p.words);
        let mut near: Vec<&String> = known
            .filter(|k| k.len() > 3 && strsim::osa_distance(k, word) == 1)
            .collect();
        near.sort();
        near.dedup();
        match near.as_slice() {
            [one] if word.len() > 3 => Some((*one).clone()),
            _ => None,
        }
    };
    let mut words = reading.words.clone();
    let mut mended = false;
    for at in &reading.unknown_at {
        if let Some(meant) = words.get(*at).and_then(slip) {
            words[*at] = meant;
            mended = true;
        }
    }
    mended.then(|| reading::read_words(vocabulary, words, marks))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::Site;

    #[test]
    fn a_slip_of_the_finger_decides_nothing() {
        let site = Site::check(&crate::site::bundled::files("larkmoor").unwrap()).unwrap();
        let vocabulary = Vocabulary::of(&site, site.step("ready").unwrap());
        let typed = Evidence::typed(
            &vocabulary,
            "Winch, Delta two zero five eight, solo, nroth winch cable, ready",
        );
        assert_eq!(typed.readings.len(), 2);
        assert!(typed.readings[1].reading.words.contains(&"north".to_owned()));
        let plain = Evidence::typed(
            &vocabulary,
            "Winch, Delta two zero five eight, solo, blue winch cable, ready",
        );
        assert_eq!(plain.readings.len(), 1);
    }

    #[test]
    fn a_keyboard_without_the_languages_letters_will_do() {
        let site = Site::check(&crate::site::bundled::files("erlengrund").unwrap()).unwrap();
        let vocabulary = Vocabulary::of(&site, site.step("briefing").unwrap());
        let typed = Evidence::typed(
            &vocabulary,
            "Unterbrechung niedrig, nachdruecken, Fahrt holen, geradeaus landen",
        );
        assert_eq!(typed.readings.len(), 1);
        let reading = &typed.readings[0].reading;
        assert!(reading.unknown.is_empty(), "{:?}", reading.unknown);
        assert!(reading.words.contains(&"nachdrücken".to_owned()));
        // What is written like that in truth stays.
        let kept = Evidence::typed(&vocabulary, "neue Querung");
        assert_eq!(kept.readings[0].reading.words, ["neue", "querung"]);
    }

    /// A third language needs its file alone to drill a typed call: Larkmoor's ready call in Dutch words.
    #[test]
    fn a_small_language_of_its_own_drills_a_ready_call() {
        use crate::call::{Outcome, Situation, judge, judge::Limits};
        use crate::site::{Callsign, bundled};
        let mut files = bundled::files("larkmoor").unwrap();
        let mut change = |file: &str, pairs: &[(&str, &str)]| {
            let text = files.texts.get_mut(file).unwrap();
            for (from, to) in pairs {
                assert!(text.contains(from), "{file}: {from}");
                *text = text.replace(from, to);
            }
        };
        change(
            "site.toml",
            &[
                ("language = \"en\"", "language = \"nl\""),
                ("address = \"winch\"", "address = \"lier\""),
            ],
        );
        change(
            "words.toml",
            &[
                ("taught = \"two up\"", "taught = \"dubbel\""),
                ("taught = \"winch cable\"", "taught = \"lierkabel\""),
                ("taught = \"ready\"", "taught = \"startklaar\""),
            ],
        );
        let site = Site::check(&files).unwrap();
        let step = site.ready_step().unwrap();
        let vocabulary = Vocabulary::of(&site, step);
        let situation = Situation::new(Callsign::parse("D-4761").unwrap(), 2, "north");
        let outcome = |text: &str| {
            let evidence = Evidence::typed(&vocabulary, text);
            judge(&site, step, &situation, &evidence, &Limits::DEFAULT).outcome
        };
        assert_eq!(
            outcome("Lier, hier Delta vier zeven zes een, dubbel, north lierkabel, startklaar"),
            Outcome::Pass
        );
        assert_eq!(
            outcome("Lier, Delta zevenenveertig eenenzestig, dubbel, north lierkabel, startklaar"),
            Outcome::Pass
        );
        for not in ["niet startklaar", "bijna startklaar", "startklaar, wacht"] {
            let text = format!("Lier, Delta vier zeven zes een, dubbel, north lierkabel, {not}");
            assert_ne!(outcome(&text), Outcome::Pass, "{text}");
        }
    }
}
