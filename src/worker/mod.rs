//! The threads that do the work behind a window or a terminal: commands go in, events come out, nobody waits.
//!
//! | thread | owns |
//! |---|---|
//! | `worker` (`conductor.rs`) | the turn, the microphone, the loudspeaker, the voice; obeys the commands |
//! | `recogniser` (`ears.rs`) | the speech model: loading takes seconds, a call about one |
//! | `desk` (`desk.rs`) | the phrase desk's files: sites, drafts, archives |
//! | `second` (`second.rs`) | the second listener, while somebody waits for its words |
//! | `model` (`fetch.rs`) | the fetching of the speech model, while it lasts |
//! | `logbook` (`keeper.rs`) | the database, which may wait for another program's write |
//!
//! The threads of `sound` and `voice` come on top. A [`Worker`] that is dropped ends them all; what was judged is in the
//! logbook before it returns, unless the logbook does not answer for twelve seconds.
//!
//! What goes in and comes out stands in `message.rs` and its folder, each part's own messages in a file of its name. The parts
//! take them from there, and it takes nothing from them.

mod conductor;
pub mod desk;
mod ears;
pub mod fetch;
pub mod home;
mod inbox;
mod keeper;
pub mod meeting;
mod message;
pub mod office;
mod options;
mod outbox;
pub mod papers;
pub mod second;
pub(crate) mod told;
pub mod trial;
pub mod turned;

pub use crate::folders::FoundSite;
pub use ears::{Loaded, Loader};
pub use inbox::Heard;
pub use keeper::LogbookPlace;
pub use message::{
    Command, Dealt, Ear, EarRequest, Event, Flown, GivenCall, Judged, LONGEST_TYPED, LaunchRequest, Lost, ModelState,
    NEWEST_CALLS, Planned, Saying, SiteRequest, SituationRequest, Trouble,
};
pub use options::Options;

use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// How long a dropped worker waits for its threads: a little longer than the logbook waits for another program.
const LAST_WRITE: Duration = Duration::from_secs(12);

/// Why the worker could not start.
#[derive(Debug, thiserror::Error)]
pub enum WorkerError {
    /// The system gave no thread.
    #[error("could not start a thread ({0}); close other programs and try again")]
    Thread(#[from] std::io::Error),
}

/// The worker's handle.
pub struct Worker {
    commands: Sender<conductor::Message>,
    events: Receiver<Event>,
    ended: Arc<Mutex<Receiver<Lost>>>,
}

/// Ends a worker from another thread, such as the one that hears of signals.
pub struct Quitter {
    commands: Sender<conductor::Message>,
    ended: Arc<Mutex<Receiver<Lost>>>,
}

impl Quitter {
    /// Ends the threads and waits for their last write; what could not be written.
    pub fn quit(&self) -> Result<(), Lost> {
        let _ = self.commands.send(conductor::Message::Command(Command::Quit));
        wait_for_the_end(&self.ended)
    }
}

/// Ends when the threads let go of their ends, the logbook's after its last write.
fn wait_for_the_end(ended: &Mutex<Receiver<Lost>>) -> Result<(), Lost> {
    let ended = ended.lock().unwrap_or_else(PoisonError::into_inner);
    let until = Instant::now() + LAST_WRITE;
    let mut done = Ok(());
    while let Ok(lost) = ended.recv_timeout(until.saturating_duration_since(Instant::now())) {
        done = Err(lost);
    }
    done
}

impl Worker {
    /// Start the threads. `wake` is called after each event, from any thread: a window asks for a repaint there.
    pub fn start(options: Options, wake: impl Fn() + Send + Sync + 'static) -> Result<Self, WorkerError> {
        let (commands, inbox) = mpsc::channel();
        let (out, events) = mpsc::channel();
        let (alive, ended) = mpsc::channel();
        conductor::start(options, commands.clone(), inbox, outbox::Outbox::new(out, wake), alive)?;
        Ok(Self {
            commands,
            events,
            ended: Arc::new(Mutex::new(ended)),
        })
    }

    /// What ends this worker from another thread.
    pub fn quitter(&self) -> Quitter {
        Quitter {
            commands: self.commands.clone(),
            ended: Arc::clone(&self.ended),
        }
    }

    /// Hand a command over. Never waits.
    pub fn send(&self, command: Command) {
        // After Quit nobody listens, and nothing is wanted.
        let _ = self.commands.send(conductor::Message::Command(command));
    }

    /// The events since the last time.
    pub fn poll(&self) -> Vec<Event> {
        self.events.try_iter().collect()
    }

    /// Ends the threads and waits for their last write; what they told until then.
    pub fn finish(&self) -> Vec<Event> {
        self.send(Command::Quit);
        // It is among the events.
        let _ = wait_for_the_end(&self.ended);
        self.events.try_iter().collect()
    }

    /// The next event, for callers that may wait.
    pub fn wait(&self, at_most: Duration) -> Option<Event> {
        self.events.recv_timeout(at_most).ok()
    }
}

impl Drop for Worker {
    fn drop(&mut self) {
        self.send(Command::Quit);
        let _ = wait_for_the_end(&self.ended);
    }
}

#[cfg(test)]
mod tests;
