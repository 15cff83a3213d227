//! The recogniser's thread: loads the model once, then hears clips one after the other.

use super::inbox::{Heard, Message};
use super::message::Trouble;
use super::told::Told;
use crate::call::Vocabulary;
use crate::hear::second::SecondListener;
use crate::hear::{HearError, LatticeRecogniser, Recogniser};
use crate::logbook::ModelUsed;
use crate::model;
use crate::site::Language;
use crate::sound::Clip;
use std::panic::{AssertUnwindSafe, catch_unwind};
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
pub struct Loader {
    load: Box<dyn Fn() -> Result<Loaded, Trouble> + Send>,
    second: Writer,
}

/// What a second listener wrote down of a clip; made anew for each, on a thread of its own.
pub type Writer = Arc<dyn Fn(&Clip, Language, &Arc<AtomicBool>) -> Result<String, HearError> + Send + Sync>;

impl Loader {
    /// From any function. The error names the way out.
    pub fn new<E: Into<Trouble>>(load: impl Fn() -> Result<Loaded, E> + Send + 'static) -> Self {
        Self {
            load: Box::new(move || load().map_err(Into::into)),
            second: Arc::new(|_, _, _| Err(HearError::Second("there is none here".to_owned()))),
        }
    }

    /// With this second listener.
    #[must_use]
    pub fn with_second(
        mut self,
        write: impl Fn(&Clip, Language, &Arc<AtomicBool>) -> Result<String, HearError> + Send + Sync + 'static,
    ) -> Self {
        self.second = Arc::new(write);
        self
    }

    pub(super) fn second(&self) -> Writer {
        Arc::clone(&self.second)
    }

    /// The recogniser in force, with the model named (or the default one) from the first of these folders that has it.
    pub fn lattice(models: Vec<PathBuf>, wanted: Option<String>, threads: usize) -> Self {
        let (same, asked) = (models.clone(), wanted.clone());
        let second = move |clip: &Clip, language, cancel: &Arc<AtomicBool>| {
            let file = model::resolve(&same, asked.as_deref(), false).map_err(|e| HearError::Second(e.to_string()))?;
            SecondListener::load(&file.path, threads)?.write_down(clip, language, cancel)
        };
        let load = move || {
            let file = model::resolve(&models, wanted.as_deref(), false).map_err(|e| e.told())?;
            let recogniser = LatticeRecogniser::load(&file.path, threads).map_err(|e| e.told())?;
            Ok::<_, Trouble>(Loaded {
                recogniser: Box::new(recogniser),
                model: ModelUsed {
                    name: file.label(),
                    sha1: file.sha1,
                },
            })
        };
        Self::new(load).with_second(second)
    }
}

pub(super) enum Order {
    Load,
    Hear {
        job: u64,
        clip: Arc<Clip>,
        vocabulary: Box<Vocabulary>,
        cancel: Arc<AtomicBool>,
    },
}

/// Hears a clip. A recogniser that crashes must not take the thread with it: the call would be in judging for ever.
fn heard(loaded: &mut Loaded, clip: &Clip, vocabulary: &Vocabulary, cancel: &AtomicBool) -> Heard {
    let hear = || loaded.recogniser.hear(clip, vocabulary, cancel);
    let evidence = catch_unwind(AssertUnwindSafe(hear)).unwrap_or(Err(HearError::Crashed))?;
    Ok((evidence, loaded.model.clone()))
}

/// Loads the model. What crashes here must not take the thread with it either.
fn load(loader: &Loader) -> Result<Loaded, Trouble> {
    catch_unwind(AssertUnwindSafe(|| (loader.load)())).unwrap_or_else(|_| Err(HearError::CrashedLoading.told()))
}

pub(super) fn run(loader: &Loader, inbox: &Receiver<Order>, answers: &Sender<Message>) {
    let mut ready: Option<Loaded> = None;
    for order in inbox {
        let answer = match order {
            Order::Load => {
                // The old one goes first: two would need twice the memory.
                ready = None;
                match load(loader) {
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
                    Some(l) => heard(l, &clip, &vocabulary, &cancel),
                    None => Err(HearError::Run("no speech model is loaded".to_owned())),
                };
                if matches!(result, Err(HearError::Crashed)) {
                    // What it left behind is not to be trusted.
                    ready = None;
                    match load(loader) {
                        Ok(new) => ready = Some(new),
                        Err(e) => drop(answers.send(Message::Loaded(Err(e)))),
                    }
                }
                Message::Heard { job, result }
            }
        };
        if answers.send(answer).is_err() {
            return;
        }
    }
}
