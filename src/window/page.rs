//! What a page is: which there are, what a page is given, and what it may want.

use super::keys::TalkKey;
use super::settings::Settings;
use super::shown::Shown;
use super::words::Words;
use crate::worker::{Command, Event};
use eframe::egui::{Response, Ui};
use serde::{Deserialize, Serialize};

/// The pages, in the order of the navigation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Page {
    /// Single calls.
    Practice,
    /// A whole launch.
    Launch,
    /// Another pilot's calls, listened to.
    Ear,
    /// The site's calls, to read and to hear.
    Calls,
    /// How the student comes along.
    Progress,
    /// One student after another at one microphone.
    Class,
    /// What an instructor does with the record.
    Office,
    /// Who practises, and consent.
    #[default]
    Student,
    /// Which site.
    Site,
    /// A site being edited.
    Desk,
    /// Practice from the club, results for it.
    Home,
    /// Microphone and loudspeaker.
    Sound,
    /// How the window looks.
    Look,
    /// Help on every page, cautions, what the program is.
    Help,
    /// From nothing to the first call.
    First,
}

/// What the navigation and the help say of a page.
#[derive(Debug, Clone, Copy)]
pub(super) struct Entry {
    pub page: Page,
    /// Key of its name.
    pub name: &'static str,
    /// Key of its help.
    pub help: &'static str,
    /// Only once somebody practises and a site is chosen.
    pub needs_site: bool,
    /// A line is drawn above it in the navigation.
    pub begins_group: bool,
}

impl Page {
    /// All pages, in the order of the navigation.
    pub(super) const ALL: &'static [Entry] = &[
        Entry {
            page: Self::Practice,
            name: "page.practice",
            help: "help.practice",
            needs_site: true,
            begins_group: false,
        },
        Entry {
            page: Self::Launch,
            name: "page.launch",
            help: "help.launch",
            needs_site: true,
            begins_group: false,
        },
        Entry {
            page: Self::Ear,
            name: "page.ear",
            help: "help.ear",
            needs_site: true,
            begins_group: false,
        },
        Entry {
            page: Self::Calls,
            name: "page.calls",
            help: "help.calls",
            needs_site: true,
            begins_group: false,
        },
        Entry {
            page: Self::Progress,
            name: "page.progress",
            help: "help.progress",
            needs_site: true,
            begins_group: false,
        },
        Entry {
            page: Self::Class,
            name: "page.class",
            help: "help.class",
            needs_site: true,
            begins_group: true,
        },
        Entry {
            page: Self::Office,
            name: "page.office",
            help: "help.office",
            needs_site: false,
            begins_group: false,
        },
        Entry {
            page: Self::Student,
            name: "page.student",
            help: "help.student",
            needs_site: false,
            begins_group: true,
        },
        Entry {
            page: Self::Site,
            name: "page.site",
            help: "help.site",
            needs_site: false,
            begins_group: false,
        },
        Entry {
            page: Self::Desk,
            name: "page.desk",
            help: "help.desk",
            needs_site: false,
            begins_group: false,
        },
        Entry {
            page: Self::Home,
            name: "page.home",
            help: "help.home",
            needs_site: false,
            begins_group: false,
        },
        Entry {
            page: Self::Sound,
            name: "page.sound",
            help: "help.sound",
            needs_site: false,
            begins_group: false,
        },
        Entry {
            page: Self::Look,
            name: "page.look",
            help: "help.look",
            needs_site: false,
            begins_group: true,
        },
        Entry {
            page: Self::Help,
            name: "page.help",
            help: "help.help",
            needs_site: false,
            begins_group: false,
        },
        Entry {
            page: Self::First,
            name: "page.first",
            help: "help.first",
            needs_site: false,
            begins_group: false,
        },
    ];

    /// Its entry.
    pub(super) fn entry(self) -> Entry {
        // Every page has one: a test goes through them.
        let found = Self::ALL.iter().find(|e| e.page == self);
        *found.unwrap_or(&Self::ALL[0])
    }
}

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

    /// One talks on it now: the talk key is its own.
    fn talks(&self, _: &Shown) -> bool {
        false
    }

    /// The shell puts it into a scrolling column of readable width. Pages that lay themselves out say no.
    fn in_column(&self) -> bool {
        true
    }
}
