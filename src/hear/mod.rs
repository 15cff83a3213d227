//! A clip becomes evidence: gate, phrase lattice, free transcript. The situation is never seen here.

mod attention;
pub mod delivery;
pub mod evidence;
pub mod gate;
pub mod lattice;
mod places;
pub mod search;
pub mod whisper;

use crate::call::{Evidence, Vocabulary};
use crate::sound::Clip;
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

/// Free text is cut after this many tokens: no call is so long, and the model may loop.
const LONGEST_FREE_TEXT: usize = 60;

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
    /// The model failed on this clip.
    #[error("the speech model failed on this recording: {0}")]
    Run(String),
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
        let sounding = delivery::stretches(&clip.samples[speech.clone()]);
        let seconds = speech.len() as f32 / crate::sound::RATE as f32;
        let samples = gate::padded(&clip.samples[speech]);
        let lattice = lattice::Lattice::new(vocabulary);
        let script = search::Script::new(&lattice, |text| self.model.tokens(text));
        let language = vocabulary.language.code();
        let mut decoder = self.model.listen(&samples, language, &script.tokens(), cancel)?;
        let length = |words: &[lattice::Word]| evidence::length_weight(&lattice, words, active);
        let mut find = |width: &search::Width| {
            let mut found = search::search(&mut decoder, &lattice, &script, width, length)?;
            let text = |tokens: &[search::Token]| self.model.text(tokens);
            attention::weigh_repeats(&decoder, text, seconds, width.reward, &mut found);
            Ok::<_, HearError>(found)
        };
        let mut found = find(&search::Width::NARROW)?;
        if evidence::poor(&found) {
            found = find(&search::Width::WIDE)?;
        }
        let (tokens, likelihood) = search::free_text(&mut decoder, LONGEST_FREE_TEXT)?;
        let free = (self.model.text(&tokens).trim().to_owned(), likelihood);
        let mut evidence = evidence::gather(&lattice, vocabulary, &found, free, seconds);
        evidence.no_speech = decoder.no_speech;
        if evidence::nobody(&evidence) {
            return Ok(Evidence {
                no_speech: decoder.no_speech,
                delivery: Some(delivery),
                ..Evidence::silence("There is sound in the recording, but no voice that says a word of this call.")
            });
        }
        if let (Some(best), Some(path)) = (evidence.readings.first(), found.paths.first()) {
            let words = attention::by_word(&|tokens: &[search::Token]| self.model.text(tokens), path);
            let places = places::of_words(&decoder, path, &words, &sounding, seconds);
            if places.len() == best.reading.words.len() {
                evidence.unread = places::unread(&places, &sounding);
                evidence.places = places;
            }
            // So far they count from where the speech begins.
            for place in evidence.places.iter_mut().flatten().chain(&mut evidence.unread) {
                place.begin += start;
                place.end += start;
            }
            evidence.delivery = Some(delivery.of_words(&best.reading, &evidence.places));
        } else {
            evidence.delivery = Some(delivery);
        }
        Ok(evidence)
    }

    fn model(&self) -> &str {
        &self.model.name
    }
}
