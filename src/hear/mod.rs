//! A clip becomes evidence: gate, phrase lattice, free transcript. The situation is never seen here.
//!
//! # What the search does, and why
//!
//! - A beam over whole words: inside a word of several tokens nothing is compared with other words, or long German compounds
//!   are cut off at a rare piece. Tokens are cut by the model's own byte-pair ranks: the binding's tokeniser cuts greedily.
//! - Styles (capitals, comma, full stop, hyphen) compete; the best style of the same words goes on, with the chances of all of
//!   them together. Spellings of one
//!   letter (golf, gulf) and words a recogniser writes for a digit because they sound the same (to, for) are one word.
//! - One nat for each token of a word's shortest form, since each costs likelihood, in whatever form it is written: with one for
//!   each token written, "Delta-Z-ero" won over "Delta two zero". None for words that only say again what stands
//!   right before them, since the model likes to loop.
//! - A text that leaves much sound unexplained is ended against the model's will; such an end does not stop the search, and
//!   each syllable below 2.2 for each second with sound costs 3 nats. Sound from which no word of a text was read costs 6 nats a
//!   second beyond 0.3 s (`hear::places`): the model writes the first half of a call and stops as willingly as the whole.
//! - Words that come a second time must be read from the sound (`hear::attention`): where the decoder's attention is spread,
//!   lies behind the sound, or goes back to what was read already, the word loses its reward and two nats more. This happens while the search
//!   goes on: weighed only at the end, sequences that went round the call again had eaten a third of the work on a German call.
//!
//! - German compounds are followed in two parts as well ("Winden Seil", "Start-klar"), wherever a second part can begin, and in
//!   what sounds nearly like a part ("Windem sein", "statt klar"; `hear/compound.rs`, the words in `parts` of a language's file). "Winde Seil" is one way to
//!   write "Windenseil", so that the two stand beside each other and neither is called by chance. In English "winch" is also "wrench",
//!   "wench" and "lynch" (`Language::word_sounds_like`).
//! - A callsign of more than seven characters without a new beginning costs five nats: "neun fünf, einsitzig" had become "neun fünf eins siebzig".
//! - Words that the lattice does not know come from the free text alone: they are arcs of that call's lattice. A blind search for strange words
//!   (a third pass where nothing explained the sound) is gone, in one step with the rule on "not" before the method below; they were not measured
//!   apart. On the corpus, before and after: larkmoor clear unsure 0.4 and 0 %, hard 11.2 and 7.0 %, erlengrund the same, no false pass; three clips changed,
//!   all "not" or "no" for "north". It was the slowest part: longest call 46.9 s before, 13.9 s after.
//! - What the model wrote by itself is followed through the lattice too (`hear/search/written.rs`): all of it is weighed already, so this costs no run,
//!   and the beam may lose it, above all where somebody chats in the middle of a call.
//! - Where the mean log-probability of that text is above -0.45 nats a token the model is sure of it (`hear::listening::SURE`). Then words that are none of the
//!   call's cost three fifths and further ones in a row 1 nat, small words that are also parts of the call's wordings or sound like a digit ("for a
//!   winch launch", "this afternoon") are words of their own, and sound that a path leaves unread costs up to 30 nats instead of 6.
//! - Nobody hears an apostrophe: "instructors" is "instructor's", and what is written "were" is "we're" unless "we", "they" or "you" stands before it.
//! - Where that text holds a word that denies, puts off or takes back, explains the sound by 2 nats better, and the best path has no such word, the
//!   call counts as disputed. Sound of more than 0.3 s without a word leaves a poorly heard call open (0.5 s a well heard one): "startklar. Streich das."
//!   had passed.
//! - Two characters beside a longer callsign that neither begin nor end it cost 8 nats ("ready to go" was "ready, two golf").
//! - Hearing one call has a limit of work (`hear::BUDGET`): encoded frames, runs and texts are counted, not time, so that the same call is cut at the same
//!   place on every machine. What is then undecided is "say again".
//! - Before the launch method "not" or "no" is no reading where a cable's name sounds like it: the model wrote "not winch cable" for "north winch cable".
//! - Sound that no words come near (`Limits::fit_hopeless`) is not listened to again: of 22 such calls in the tuning sets (121 and 45 clips)
//!   further listenings had decided none.
//! - A word that nothing explains and that looks like another value of an element leaves that element open ("Windenseil sei, Windenseil Wald").
//! - The model's own text goes back out of a loop (`hear/free.rs`): a group of tokens that stands three times in a row (one of up to three tokens five times,
//!   since callsigns hold a digit several times) is kept once, and the next best token follows; three times at most. Cut at the first loop, 29 of 160
//!   German forms had less than half of their words. What a loop cost is not counted as work of the call: with it a right call was cut.
//! - A small word of the language that begins or ends a wording may stand alone where the model wrote it: behind the "ich" of "ich meine" only "meine"
//!   could follow, and "ich kann nicht ausklinken" was lost. Not so other parts of wordings: "hook closed" had become "he closed".
//! - Behind a word that denies, a wording may be said again ("Windenseil Wald, nein, Windenseil See"). What another listening heard may be heard in this one too.
//! - The ear does not count how often a character comes in a row, and takes a small word beside a callsign for one character more: a heard callsign that differs
//!   from the right one by no more than this is asked again, never called wrong (`judge/doubt.rs`). Typed ones are what they are.
//! - A run of the model holds up to eight *different* texts (sixteen in the wide searches): many begun words, above all forms of one
//!   German compound, ask for the same text.
//! - No digits and no Roman numbers may stand in a text: without the second rule German free text was "Delta III-VIII-VVI".
//! - A path knows which tokens write which word (`Path::spans`): "Winden Seil" is one word of the lattice. (Until this was so, a path with a
//!   parted compound had no places, and sound left unread behind it cost nothing.)
//! - Sound more than 20 dB under the loudest parts of a call for all but 0.1 s is breath and holds no word.

mod again;
mod attention;
mod compound;
mod decoder;
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
    /// It crashed while the model was loaded.
    #[error(
        "the speech recogniser crashed while it loaded the model; fetch the model again, or start the program again"
    )]
    CrashedLoading,
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
