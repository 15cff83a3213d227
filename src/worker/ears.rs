//! The recogniser's thread: loads the model once, then hears clips one after the other.

use super::conductor::Message;
use crate::call::{Evidence, Vocabulary};
use crate::hear::{HearError, LatticeRecogniser, Recogniser};
use crate::logbook::ModelUsed;
use crate::model;
use crate::sound::Clip;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::sync::mpsc::{Receiver, Sender};

/// A recogniser that is ready.
pub struct Loaded {
    /// It.
    pub recogniser: Box<dyn Recogniser>,
    /// What the logbook says of its model.
    pub model: ModelUsed,
}

/// Makes a recogniser; called on its thread, again when the model is to be looked for again.
pub struct Loader(Box<dyn Fn() -> Result<Loaded, String> + Send>);

impl Loader {
    /// From any function. The error is a sentence that names the way out.
    pub fn new(load: impl Fn() -> Result<Loaded, String> + Send + 'static) -> Self {
        Self(Box::new(load))
    }

    /// The recogniser in force, with the model named (or the default one) from the first of these folders that has it.
    pub fn lattice(models: Vec<PathBuf>, wanted: Option<String>, threads: usize) -> Self {
        Self::new(move || {
            let file = model::resolve(&models, wanted.as_deref(), false).map_err(|e| e.to_string())?;
            let recogniser = LatticeRecogniser::load(&file.path, threads).map_err(|e| e.to_string())?;
            Ok(Loaded {
                recogniser: Box::new(recogniser),
                model: ModelUsed {
                    name: file.label(),
                    sha1: file.sha1,
                },
            })
        })
    }
}

/// What the recogniser made of a clip.
pub type Heard = Result<(Evidence, ModelUsed), HearError>;

pub(super) enum Order {
    Load,
    Hear {
        job: u64,
        clip: Arc<Clip>,
        vocabulary: Box<Vocabulary>,
        cancel: Arc<AtomicBool>,
    },
}

pub(super) fn run(loader: &Loader, inbox: &Receiver<Order>, answers: &Sender<Message>) {
    let mut ready: Option<Loaded> = None;
    for order in inbox {
        let answer = match order {
            Order::Load => {
                // The old one goes first: two would need twice the memory.
                ready = None;
                match (loader.0)() {
                    Ok(new) => {
                        let name = new.model.name.clone();
                        ready = Some(new);
                        Message::Loaded(Ok(name))
                    }
                    Err(e) => Message::Loaded(Err(e)),
                }
            }
            Order::Hear {
                job,
                clip,
                vocabulary,
                cancel,
            } => {
                let result = match &mut ready {
                    Some(l) => l
                        .recogniser
                        .hear(&clip, &vocabulary, &cancel)
                        .map(|e| (e, l.model.clone())),
                    None => Err(HearError::Run("no speech model is loaded".to_owned())),
                };
                Message::Heard { job, result }
            }
        };
        if answers.send(answer).is_err() {
            return;
        }
    }
}
