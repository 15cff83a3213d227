//! The second listener on a thread of its own, because somebody asked for it: never in the way of a drill, and it can be stopped.

pub use super::message::SecondState;

use super::ears::Writer;
use super::message::Event;
use super::outbox::Outbox;
use super::told::Told;
use crate::hear::HearError;
use crate::site::Language;
use crate::sound::{self, Clip};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use uuid::Uuid;

/// What it listens to.
pub(super) enum Sound {
    Clip(Arc<Clip>),
    File(PathBuf),
}

/// A listening under way.
pub(super) struct Second {
    cancel: Arc<AtomicBool>,
}

impl Second {
    /// Begins to listen to the call of an attempt.
    pub fn start(out: Outbox, write: Writer, attempt: Uuid, sound: Sound, language: Language) -> std::io::Result<Self> {
        let cancel = Arc::new(AtomicBool::new(false));
        let stop = Arc::clone(&cancel);
        out.tell(Event::Second(attempt, SecondState::Listening));
        std::thread::Builder::new().name("second".into()).spawn(move || {
            let clip = match sound {
                Sound::Clip(clip) => Ok(clip),
                Sound::File(file) => sound::read_clip(&file).map(Arc::new).map_err(|e| e.told()),
            };
            // Whoever waits for it must hear of its end, whatever that is.
            let write = |clip: Arc<Clip>| {
                let written = catch_unwind(AssertUnwindSafe(|| write(&clip, language, &stop)));
                written.unwrap_or_else(|_| Err(HearError::Second("it crashed".to_owned())))
            };
            let state = match clip.map(write) {
                Ok(Ok(text)) => SecondState::Wrote(text),
                Ok(Err(HearError::Cancelled)) => SecondState::Stopped,
                Ok(Err(e)) => SecondState::Failed(e.told()),
                Err(e) => SecondState::Failed(e),
            };
            out.tell(Event::Second(attempt, state));
        })?;
        Ok(Self { cancel })
    }
}

impl Drop for Second {
    fn drop(&mut self) {
        self.cancel.store(true, Ordering::Relaxed);
    }
}
