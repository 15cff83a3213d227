//! Events on their way out.

use super::message::{Event, Trouble};
use super::told::Told;
use std::sync::Arc;
use std::sync::mpsc::Sender;

/// Sends events and wakes whoever shows them.
#[derive(Clone)]
pub(super) struct Outbox {
    events: Sender<Event>,
    wake: Arc<dyn Fn() + Send + Sync>,
}

impl Outbox {
    pub(super) fn new(events: Sender<Event>, wake: impl Fn() + Send + Sync + 'static) -> Self {
        Self {
            events,
            wake: Arc::new(wake),
        }
    }

    pub(super) fn tell(&self, event: Event) {
        // Nobody listens any more when the handle is being dropped.
        let _ = self.events.send(event);
        (self.wake)();
    }

    /// An error that has its text in every language: a bare sentence would reach a window of another language too.
    pub(super) fn trouble(&self, trouble: &impl Told) {
        self.tell(Event::Trouble(trouble.told()));
    }

    /// A trouble that has its text in every language.
    pub(super) fn known(&self, key: &'static str, text: impl std::fmt::Display, facts: &[(&'static str, String)]) {
        self.tell(Event::Trouble(Trouble::named(key, text, facts.to_vec())));
    }
}
