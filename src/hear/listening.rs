//! One listening: what the model writes by itself, then the words of the call that explain the sound best.

use super::lattice::{Lattice, Word};
use super::script::Script;
use super::search::{self, Decoder as _, Found, Token, Width};
use super::whisper::{self, Model};
use super::{HearError, delivery, evidence, free, gate, places};
use crate::call::judge::Limits;
use crate::call::{Evidence, Place, Silence, Vocabulary, words};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// Free text is cut after this many tokens: no call is so long, and the model may loop.
const LONGEST_FREE_TEXT: usize = 60;

/// Free text that explains the sound by less than this better than the words of the call is the same text (nats).
const ENDED: f32 = 0.5;

/// The model is sure of the text that it wrote where its mean log-probability a token is above this (nats): then a word that is none of the
/// call's was spoken, and what a reading leaves out was spoken too. Clear English speech has about -0.15 to -0.4, German of diphone voices,
/// whose text is mostly garbled, -0.5 and less.
const SURE: f32 = -0.45;

/// What the next listening is likely to find: the text of the one before, which spares runs and changes no weight, and its words, which
/// may be said in this one too.
#[derive(Default)]
pub(super) struct Guess {
    /// What the model wrote when nothing told it the words of the call.
    written: Vec<Token>,
    /// Its words.
    words: Vec<String>,
}

/// Who listens, and for what.
pub(super) struct Ear<'a> {
    pub(super) model: &'a Model,
    pub(super) vocabulary: &'a Vocabulary,
    pub(super) cancel: &'a AtomicBool,
}

/// The words that a call may hold, and how they are written.
struct Grammar {
    lattice: Lattice,
    script: Script,
}

/// The sound of one listening.
struct Heard {
    sounding: Vec<Place>,
    /// Its length, and the time with sound in it (seconds).
    seconds: f32,
    active: f32,
    /// The decoder's work at which to stop.
    limit: f32,
    /// The model is sure of the text that it wrote.
    sure: bool,
}

impl Ear<'_> {
    /// Listens; `active` is the time with sound in it (seconds), `limit` the work that it may take. Returns the work done, too, without what a loop of the model's cost.
    pub(super) fn listen(
        &self,
        samples: &[f32],
        active: f32,
        limit: f32,
        guess: &mut Guess,
    ) -> Result<(Evidence, f32), HearError> {
        let padded = gate::padded(samples);
        let language = self.vocabulary.language;
        let mut decoder = self.model.listen(&padded, language, self.cancel)?;
        // What the model writes when nothing tells it the words of a call: those of them that nothing in the call explains are
        // words of this call too.
        let mut free = free::FreeText::new(LONGEST_FREE_TEXT);
        let (tokens, likelihood) = free.finish(&mut decoder, &guess.written)?;
        guess.written = tokens.to_vec();
        let free_text = (self.model.text(tokens).trim().to_owned(), likelihood);
        // A loop of the model's is no fault of the call's: the search has all its work.
        let lost = free.lost() as f32;
        let sound = Heard {
            sounding: delivery::stretches(samples),
            seconds: samples.len() as f32 / crate::sound::RATE as f32,
            active,
            limit: limit + lost,
            sure: likelihood / (guess.written.len() + 1) as f32 > SURE,
        };
        let (grammar, found) = self.find(&mut decoder, &sound, words::of(&free_text.0), guess)?;
        let parts = |token| grammar.script.parts(token);
        let mut evidence = evidence::gather(
            &grammar.lattice,
            self.vocabulary,
            &found,
            free_text,
            sound.seconds,
            parts,
        );
        evidence.no_speech = decoder.no_speech;
        if evidence::nobody(&evidence) {
            let silence = Evidence {
                no_speech: evidence.no_speech,
                ..Evidence::silence(Silence::NoVoice)
            };
            return Ok((silence, decoder.work() - lost));
        }
        if let (Some(best), Some(path)) = (evidence.readings.first(), found.paths.first()) {
            let places = places::of_words(&decoder, path, &sound.sounding, sound.seconds);
            let words = &best.reading.words;
            if places.len() == words.len() {
                // Free text says nothing else, or the model wants to end behind these words, which fit well.
                let ends = |odds: Arc<search::Odds>| odds.of(decoder.end()) > search::WILLING;
                let willing = decoder.known(&path.tokens).is_some_and(ends);
                let fits = evidence.fit > Limits::DEFAULT.fit_doubtful;
                let ended = evidence.foreign * evidence.seconds < ENDED || (willing && fits);
                let syllables: Vec<usize> = words.iter().map(|w| evidence::syllables(language, w)).collect();
                let spoken = places::as_spoken(&places, &syllables);
                evidence.unread = places::unread(&spoken, &syllables, &sound.sounding, ended);
                delivery::without_breath(samples, &mut evidence.unread);
                evidence.places = places;
            }
        }
        Ok((evidence, decoder.work() - lost))
    }

    /// The words that explain the sound best. `heard` are those that the model wrote by itself.
    fn find(
        &self,
        decoder: &mut whisper::Listening,
        sound: &Heard,
        mut heard: Vec<String>,
        guess: &mut Guess,
    ) -> Result<(Grammar, Found), HearError> {
        // What another listening heard may be heard in this one.
        let before = std::mem::replace(&mut guess.words, heard.clone());
        // No wording goes over from one text to the other.
        heard.push(String::new());
        heard.extend(before);
        let lattice = Lattice::new(self.vocabulary, &heard, sound.sure);
        let script = Script::new(&lattice, sound.sure, |text| self.model.tokens(text));
        let grammar = Grammar { lattice, script };
        decoder.want(&grammar.script.tokens());
        let mut found = self.search(decoder, sound, &grammar, &Width::NARROW, &guess.written)?;
        if evidence::poor(&found) && !found.cut {
            let wide = self.search(decoder, sound, &grammar, &Width::WIDE, &guess.written)?;
            if !wide.cut {
                found = wide;
            }
        }
        Ok((grammar, found))
    }

    fn search(
        &self,
        decoder: &mut whisper::Listening,
        sound: &Heard,
        grammar: &Grammar,
        width: &Width,
        written: &[Token],
    ) -> Result<Found, HearError> {
        let Grammar { lattice, script } = grammar;
        let length = |words: &[Word]| evidence::length_weight(lattice, words, sound.active);
        let known = search::Sound {
            seconds: sound.seconds,
            written,
            text: &|tokens| self.model.text(tokens),
        };
        let mut found = search::search(decoder, lattice, script, width, sound.limit, &known, length)?;
        places::weigh_unread(decoder, &mut found, lattice, &sound.sounding, sound.seconds, sound.sure);
        Ok(found)
    }
}
