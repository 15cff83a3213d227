//! A clip becomes evidence: gate, phrase lattice, free transcript. The situation is never seen here.

mod again;
mod attention;
mod compound;
pub mod delivery;
pub mod evidence;
mod free;
pub mod gate;
pub mod lattice;
mod listening;
mod places;
mod script;
pub mod search;
pub mod second;
pub mod whisper;

use crate::call::{Evidence, Vocabulary};
use crate::sound::{Clip, convert};
use listening::{Ear, Guess};
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

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
        let mut guess = Guess::default();
        let ear = Ear {
            model: &self.model,
            vocabulary,
            cancel,
        };
        let (mut evidence, mut work) = ear.listen(samples, active, budget, &mut guess)?;
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
                let (mut other, more) = ear.listen(&paced, active / pace, budget - work, &mut guess)?;
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
