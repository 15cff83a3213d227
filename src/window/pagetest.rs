//! One page in a window without a display: for the pages' own tests.

use super::page::{Action, Content, Given};
use super::pages::Page;
use super::settings::Settings;
use super::shown::Shown;
use super::words::Words;
use super::{keys, look};
use crate::call::Situation;
use crate::drill::TurnState;
use crate::logbook::{Consent, Student};
use crate::site::{Callsign, Site};
use crate::worker::{Command, Dealt, Event, ModelState};
use eframe::egui::{ScrollArea, Vec2};
use egui_kittest::Harness;
use std::sync::Arc;

/// A page and what it wanted.
pub struct Held<P> {
    pub page: P,
    pub shown: Shown,
    pub settings: Settings,
    pub words: Words,
    pub asked: Vec<Command>,
    pub went: Vec<Page>,
}

pub struct Bench<P> {
    pub window: Harness<'static, Held<P>>,
}

impl<P: Content + 'static> Bench<P> {
    pub fn new(page: P) -> Self {
        Self::with(page, Shown::default(), Words::English)
    }

    pub fn with(page: P, shown: Shown, words: Words) -> Self {
        let held = Held {
            page,
            shown,
            settings: Settings::default(),
            words,
            asked: Vec::new(),
            went: Vec::new(),
        };
        let window = Harness::builder()
            .with_size(Vec2::new(760.0, 2600.0))
            .with_context_setup(look::set)
            .build_ui_state(
                |ui, held: &mut Held<P>| {
                    let talks = held.page.talks(&held.shown);
                    let talk = keys::first(ui.ctx(), held.settings.talk_key(), talks);
                    let mut given = Given::new(&held.shown, held.words, &held.settings);
                    given.talk = talk;
                    ScrollArea::vertical().show(ui, |ui| held.page.ui(ui, &mut given));
                    for action in given.wanted() {
                        match action {
                            Action::Do(command) => held.asked.push(command),
                            Action::Go(page) => held.went.push(page),
                            Action::Set(settings) => held.settings = *settings,
                        }
                    }
                },
                held,
            );
        Self { window }
    }

    /// Robin practises at Larkmoor.
    pub fn practising(page: P) -> Self {
        let mut bench = Self::new(page);
        bench.tell(Event::SiteLoaded(larkmoor()));
        bench.tell(Event::Student(Some(robin())));
        bench
    }

    pub fn tell(&mut self, event: Event) {
        let held = self.window.state_mut();
        held.page.take(&event);
        held.shown.take(event);
        self.window.run();
    }

    /// A call of Robin's, whose turn it is: G-CLRM with two on the north cable.
    pub fn dealt(&mut self) {
        self.tell(Event::Model(ModelState::Ready("base".into())));
        self.tell(Event::Dealt(Dealt {
            situation: Situation::new(Callsign::parse("G-CLRM").unwrap(), 2, "north"),
            step: "ready".into(),
            number: 1,
        }));
        self.tell(Event::State(TurnState::YourCall));
    }

    /// Open the page; what it asks for by that.
    pub fn open(&mut self) -> Vec<String> {
        let held = self.window.state_mut();
        let commands = held.page.opened(&held.shown);
        held.asked.extend(commands);
        self.asked()
    }

    /// What was asked since the last time.
    pub fn asked(&mut self) -> Vec<String> {
        let asked = std::mem::take(&mut self.window.state_mut().asked);
        asked.iter().map(|c| format!("{c:?}")).collect()
    }
}

pub fn larkmoor() -> Arc<Site> {
    let files = crate::site::bundled::files("larkmoor").unwrap();
    Arc::new(Site::check(&files).unwrap())
}

pub fn robin() -> Student {
    let now = jiff::Timestamp::UNIX_EPOCH;
    Student {
        id: uuid::Uuid::from_u128(7),
        name: "Robin".into(),
        language: None,
        role: None,
        needs_guardian: false,
        has_pin: false,
        keep: crate::logbook::Retention::default(),
        consent: Some(Consent {
            given: true,
            asked_at: now,
            by: None,
        }),
        created_at: now,
        changed_at: now,
    }
}
