//! A clip becomes evidence: gate, phrase lattice, free transcript. The situation is never seen here.

mod again;
mod attention;
mod compound;
pub mod delivery;
pub mod evidence;
mod free;
pub mod gate;
pub mod lattice;
mod places;
mod script;
pub mod search;
pub mod second;
pub mod whisper;

use crate::call::judge::Limits;
use crate::call::{Evidence, Silence, Vocabulary, words};
use crate::sound::{Clip, convert};
use search::{Decoder as _, Token};
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

/// Free text is cut after this many tokens: no call is so long, and the model may loop.
const LONGEST_FREE_TEXT: usize = 60;

/// Free text that explains the sound by less than this better than the words of the call is the same text (nats).
const ENDED: f32 = 0.5;

/// The model is sure of the text that it wrote where its mean log-probability a token is above this (nats): then a word that is none of the
/// call's was spoken, and what a reading leaves out was spoken too. Clear English speech has about -0.15 to -0.4, German of diphone voices,
/// whose text is mostly garbled, -0.5 and less.
const SURE: f32 = -0.45;

/// Work on one call, all its listenings together (see [`search::Decoder::work`]; 1 is about 12 ms with two threads on two quiet cores).
/// On the corpus, against ten times as much: larkmoor clear 0 and 0 % unsure, hard 8.4 and 7.0 %, erlengrund clear 40.5 and 37.0 %, hard 60.5
/// and 60.5 %; the call at nine of ten takes 200 instead of 320, the longest 202 instead of 814.
const BUDGET: f32 = 200.0;
/// Long speech (eventualities spoken in one go take 20 s) may take so much for each second of it.
const BUDGET_A_SECOND: f32 = 33.0;
/// Another listening is begun where so much is left: the first one's work in the median, or less where the first needed less.
const LISTENING: f32 = 80.0;

/// What can go wrong while hearing.
#[derive(Debug, thiserror::Error)]
pub enum HearError {
    /// The model file cannot be used.
    #[error(
        "the speech model cannot be used: {why}. Run `cableside model fetch`, or put an official ggml file into the models folder\n  {path}"
    )]
    Model {
        /// Why.
        why: String,
        /// The file.
        path: PathBuf,
    },
    /// The environment asks for instructions that the processor does not have.
    #[error("{0}")]
    Kernel(String),
    /// The model failed on this clip.
    #[error("the speech model failed on this recording: {0}")]
    Run(String),
    /// It crashed on this clip, and was started again.
    #[error("the speech recogniser crashed on this call and was started again; say it again")]
    Crashed,
    /// The second listener is not there, or failed.
    #[error("the second listener cannot listen: {0}")]
    Second(String),
    /// Cancelled by the user.
    #[error("cancelled")]
    Cancelled,
}

/// Turns clips into evidence.
pub trait Recogniser {
    /// Hear a clip against a step's vocabulary.
    fn hear(&mut self, clip: &Clip, vocabulary: &Vocabulary, cancel: &AtomicBool) -> Result<Evidence, HearError>;
    /// The model's name for the logbook.
    fn model(&self) -> &str;
}

/// Moves all places of an evidence.
fn shift(evidence: &mut Evidence, to: impl Fn(f32) -> f32) {
    for place in evidence.places.iter_mut().flatten().chain(&mut evidence.unread) {
        place.begin = to(place.begin);
        place.end = to(place.end);
    }
}

/// The recogniser in force: Whisper searched through the phrase lattice.
pub struct LatticeRecogniser {
    model: whisper::Model,
}

impl LatticeRecogniser {
    /// Load a model file. More than two `threads` were not tried.
    pub fn load(path: &std::path::Path, threads: usize) -> Result<Self, HearError> {
        Ok(Self {
            model: whisper::Model::load(path, threads)?,
        })
    }

    /// One listening: `active` is the time with sound in it, seconds.
    fn listen(
        &mut self,
        samples: &[f32],
        active: f32,
        vocabulary: &Vocabulary,
        limit: f32,
        guess: &mut Vec<Token>,
        cancel: &AtomicBool,
    ) -> Result<(Evidence, f32), HearError> {
        let sounding = delivery::stretches(samples);
        let seconds = samples.len() as f32 / crate::sound::RATE as f32;
        let padded = gate::padded(samples);
        let language = vocabulary.language;
        let mut decoder = self.model.listen(&padded, language, cancel)?;
        // What the model writes when nothing tells it the words of a call: those of them that nothing in the call explains are
        // words of this call too.
        let mut free = free::FreeText::new(LONGEST_FREE_TEXT);
        let (tokens, likelihood) = free.finish(&mut decoder, guess)?;
        *guess = tokens.to_vec();
        let free_text = (self.model.text(tokens).trim().to_owned(), likelihood);
        let sure = likelihood / (guess.len() + 1) as f32 > SURE;
        let lattice = &lattice::Lattice::new(vocabulary, &words::of(&free_text.0), sure);
        let script = script::Script::new(lattice, sure, |text| self.model.tokens(text));
        decoder.want(&script.tokens());
        let length = |words: &[lattice::Word]| evidence::length_weight(lattice, words, active);
        let sound = search::Sound {
            seconds,
            written: guess.as_slice(),
            text: &|tokens| self.model.text(tokens),
        };
        let find = |decoder: &mut whisper::Listening, width: &search::Width| {
            let mut found = search::search(decoder, lattice, &script, width, limit, &sound, length)?;
            places::weigh_unread(decoder, &mut found, lattice, &sounding, seconds, sure);
            Ok::<_, HearError>(found)
        };
        let mut found = find(&mut decoder, &search::Width::NARROW)?;
        if evidence::poor(&found) && !found.cut {
            let wide = find(&mut decoder, &search::Width::WIDE)?;
            if !wide.cut {
                found = wide;
            }
        }
        let parts = |token| script.parts(token);
        let mut evidence = evidence::gather(lattice, vocabulary, &found, free_text, seconds, parts);
        evidence.no_speech = decoder.no_speech;
        if evidence::nobody(&evidence) {
            let silence = Evidence {
                no_speech: evidence.no_speech,
                ..Evidence::silence(Silence::NoVoice)
            };
            return Ok((silence, decoder.work()));
        }
        if let (Some(best), Some(path)) = (evidence.readings.first(), found.paths.first()) {
            let places = places::of_words(&decoder, path, &sounding, seconds);
            let words = &best.reading.words;
            if places.len() == words.len() {
                // Free text says nothing else, or the model wants to end behind these words, which fit well.
                let ends = |odds: std::sync::Arc<search::Odds>| odds.of(decoder.end()) > search::WILLING;
                let willing = decoder.known(&path.tokens).is_some_and(ends);
                let fits = evidence.fit > Limits::DEFAULT.fit_doubtful;
                let ended = evidence.foreign * evidence.seconds < ENDED || (willing && fits);
                let syllables: Vec<usize> = words.iter().map(|w| evidence::syllables(language, w)).collect();
                evidence.unread = places::unread(&places, &syllables, &sounding, ended);
                delivery::without_breath(samples, &mut evidence.unread);
                evidence.places = places;
            }
        }
        Ok((evidence, decoder.work()))
    }
}

impl Recogniser for LatticeRecogniser {
    fn hear(&mut self, clip: &Clip, vocabulary: &Vocabulary, cancel: &AtomicBool) -> Result<Evidence, HearError> {
        let delivery = delivery::measure(clip);
        let (speech, active) = match gate::speech(&clip.samples) {
            gate::Gate::Speech { range, active } => (range, active),
            gate::Gate::Nothing(why) => {
                return Ok(Evidence {
                    delivery: Some(delivery),
                    ..Evidence::silence(why)
                });
            }
        };
        let start = speech.start as f32 / crate::sound::RATE as f32;
        let samples = &clip.samples[speech];
        let seconds = samples.len() as f32 / crate::sound::RATE as f32;
        let budget = BUDGET.max(BUDGET_A_SECOND * seconds);
        // Each listening is likely to be written as the one before.
        let mut guess = Vec::new();
        let (mut evidence, mut work) = self.listen(samples, active, vocabulary, budget, &mut guess, cancel)?;
        let first = work;
        if evidence.speech && !again::hopeless(&evidence) {
            for pace in again::PACES {
                // One more listening costs about what the first one did.
                if !again::doubtful(&evidence) || work + first.min(LISTENING) > budget {
                    break;
                }
                let rate = (crate::sound::RATE as f32 * pace) as u32;
                let Ok(paced) = convert::resample(samples, rate, crate::sound::RATE) else {
                    break;
                };
                let (mut other, more) =
                    self.listen(&paced, active / pace, vocabulary, budget - work, &mut guess, cancel)?;
                work += more;
                shift(&mut other, |at| at * pace);
                if other.speech {
                    evidence = again::together(evidence, other);
                }
            }
        }
        // So far they count from where the speech begins.
        shift(&mut evidence, |at| at + start);
        evidence.delivery = Some(match evidence.readings.first() {
            Some(best) => delivery.of_words(&best.reading, &evidence.places),
            None => delivery,
        });
        Ok(evidence)
    }

    fn model(&self) -> &str {
        &self.model.name
    }
}
