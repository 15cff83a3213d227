//! What a page is: what a page is given, and what it may want.

use super::keys::TalkKey;
pub use super::pages::Page;
use super::settings::Settings;
use super::shown::Shown;
use super::words::Words;
use crate::worker::{Command, Event};
use eframe::egui::{Response, Ui};

/// What a page wants.
#[derive(Debug)]
pub(super) enum Action {
    /// The worker is to do something.
    Do(Command),
    /// Another page.
    Go(Page),
    /// Other settings.
    Set(Box<Settings>),
}

/// What a page is given for one frame.
pub(super) struct Given<'a> {
    /// What the worker told.
    pub shown: &'a Shown,
    /// The window's language.
    pub words: Words,
    /// The settings.
    pub settings: &'a Settings,
    /// The talk key in this frame.
    pub talk: TalkKey,
    /// The keyboard's focus is to go to the page's main action: the page was opened, or F6 was pressed.
    pub to_main: bool,
    /// It was F6: what is far down is brought into sight. A page that was just opened shows its top.
    pub by_key: bool,
    actions: Vec<Action>,
}

impl<'a> Given<'a> {
    pub fn new(shown: &'a Shown, words: Words, settings: &'a Settings) -> Self {
        Self {
            shown,
            words,
            settings,
            talk: TalkKey::default(),
            to_main: false,
            by_key: false,
            actions: Vec::new(),
        }
    }

    /// The worker is to do something.
    pub fn ask(&mut self, command: Command) {
        self.actions.push(Action::Do(command));
    }

    /// Another page.
    pub fn go(&mut self, page: Page) {
        self.actions.push(Action::Go(page));
    }

    /// Other settings: the change is made on a copy of those in force.
    pub fn set(&mut self, change: impl FnOnce(&mut Settings)) {
        let mut settings = self.settings.clone();
        change(&mut settings);
        self.actions.push(Action::Set(Box::new(settings)));
    }

    /// This is the page's main action: it gets the keyboard where that is wanted.
    pub fn main(&mut self, ui: &Ui, response: &Response) {
        if self.to_main && response.enabled() {
            self.to_main = false;
            response.request_focus();
            ui.scroll_to_rect(response.rect, None);
        }
    }

    /// What was wanted.
    pub fn wanted(self) -> Vec<Action> {
        self.actions
    }
}

/// A page.
pub(super) trait Content {
    /// Draw it. It owns its drafts, and neither files nor threads.
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>);

    /// An event of the worker, before [`Shown`] takes it. Pages take what only they show.
    fn take(&mut self, _: &Event) {}

    /// It was opened: what the worker must do for it.
    fn opened(&mut self, _: &Shown) -> Vec<Command> {
        Vec::new()
    }

    /// Another page was opened.
    fn left(&mut self, _: &Shown) -> Vec<Command> {
        Vec::new()
    }

    /// Before another page is opened: true where something would be lost that must be asked about, and the page asks.
    fn asks_first(&mut self, _to: Page, _: &Shown) -> bool {
        false
    }

    /// One talks on it now: the talk key is its own.
    fn talks(&self, _: &Shown) -> bool {
        false
    }

    /// Which of its parts is open; another one begins at its top.
    fn part(&self) -> usize {
        0
    }

    /// The shell puts it into a scrolling column of readable width. Pages that lay themselves out say no.
    fn in_column(&self) -> bool {
        true
    }
}
