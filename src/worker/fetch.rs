//! Fetches the speech model on a thread of its own, because somebody asked for it; nothing else in the window uses the
//! network.

pub use super::message::FetchState;

use super::message::Event;
use super::outbox::Outbox;
use super::told::Told;
use crate::folders;
use crate::model::{self, ModelError, Origin, Progress, Stage};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Distance of two events about the same stage.
const PAUSE: Duration = Duration::from_millis(100);

/// A fetching under way.
pub(super) struct Fetch {
    cancel: Arc<AtomicBool>,
}

impl Fetch {
    /// Starts it, from the file or address given, else from the package index. `done` is called on its thread when the model
    /// is there.
    pub fn start(out: Outbox, place: Option<String>, done: impl FnOnce() + Send + 'static) -> std::io::Result<Self> {
        let cancel = Arc::new(AtomicBool::new(false));
        let stop = cancel.clone();
        std::thread::Builder::new().name("model".into()).spawn(move || {
            let mut last: Option<(Stage, Instant)> = None;
            let mut tell = |progress: Progress| {
                let due = last.is_none_or(|(stage, at)| stage != progress.stage || at.elapsed() >= PAUSE);
                if due || progress.done == progress.total {
                    last = Some((progress.stage, Instant::now()));
                    out.tell(Event::Fetch(FetchState::Working(progress)));
                }
            };
            let (name, dir) = (model::DEFAULT, folders::models());
            let result = match place.as_deref().map(Origin::parse).transpose() {
                Ok(None) => model::obtain(name, &dir, &mut tell, &stop),
                Ok(Some(origin)) => model::take_in(Some(name), &origin, &dir, &mut tell, &stop),
                Err(e) => Err(e),
            };
            let state = match result {
                Ok(_) => {
                    done();
                    FetchState::Done
                }
                Err(ModelError::Cancelled) => FetchState::Cancelled,
                Err(ModelError::Paused { .. }) => FetchState::Paused,
                Err(e) => FetchState::Failed(e.told()),
            };
            out.tell(Event::Fetch(state));
        })?;
        Ok(Self { cancel })
    }

    /// Asks it to stop; it does within a moment.
    pub fn cancel(&self) {
        self.cancel.store(true, Ordering::Relaxed);
    }
}

impl Drop for Fetch {
    fn drop(&mut self) {
        self.cancel();
    }
}
