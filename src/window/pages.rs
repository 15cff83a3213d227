//! Which pages there are.

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
