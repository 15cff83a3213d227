//! Which page is open, the bars around the pages, and where events and actions go. No threads, no files.

use super::practice::Practice;
use super::shown::{Shown, Who};
use super::sound::Sound;
use super::student::StudentPage;
use super::{look, place};
use crate::drill::TurnState;
use crate::worker::{Command, Event, ModelState};
use eframe::egui::{self, CentralPanel, Panel, ScrollArea, Ui};

/// What every site's caution says at least; shown until a site is chosen.
const CAUTION: &str = "This trains words, not flying. Site rules, your instructor and national rules come first.";

/// The pages.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Page {
    /// Who practises, and consent.
    #[default]
    Student,
    /// Which site.
    Site,
    /// The calls.
    Practice,
    /// Microphone and loudspeaker.
    Sound,
}

/// What a page wants.
#[derive(Debug)]
pub(super) enum Action {
    /// The worker is to do something.
    Do(Command),
    /// Another page.
    Go(Page),
}

/// The whole of the window but its threads.
#[derive(Default)]
pub struct Front {
    /// What is shown.
    pub shown: Shown,
    /// The page open.
    pub page: Page,
    student: StudentPage,
    practice: Practice,
    sound: Sound,
}

impl Front {
    /// Take an event in; commands may follow from it.
    pub fn take(&mut self, event: Event) -> Vec<Command> {
        let moves_on = matches!(event, Event::Student(_) | Event::SiteLoaded(_));
        let choosing = matches!(self.page, Page::Student | Page::Site);
        if matches!(event, Event::Dealt(_)) {
            self.practice.new_turn();
        }
        self.shown.take(event);
        if moves_on && choosing && self.shown.who.may_practise() {
            let page = if self.shown.site.is_some() {
                Page::Practice
            } else {
                Page::Site
            };
            return self.go(page);
        }
        Vec::new()
    }

    /// Open a page.
    fn go(&mut self, page: Page) -> Vec<Command> {
        let mut commands = Vec::new();
        let busy = matches!(self.shown.state, Some(TurnState::Transmitting | TurnState::Judging));
        if page != Page::Practice && busy {
            commands.push(Command::Cancel);
        }
        if page != self.page && (page == Page::Sound || self.page == Page::Sound) {
            commands.push(Command::WatchLevel(page == Page::Sound));
        }
        if page == Page::Sound {
            commands.push(Command::ListDevices);
        }
        if page == Page::Practice && self.shown.dealt.is_none() && self.shown.site.is_some() {
            commands.push(Command::Next);
        }
        self.page = page;
        commands
    }

    /// The window's title: it ends with the state of the turn, for task bars and whoever cannot see the page.
    pub fn title(&self) -> String {
        self.shown.state.map_or_else(
            || "Cableside".to_owned(),
            |s| format!("Cableside: {}", look::state(s, false).0),
        )
    }

    /// Draw everything; what the student wants comes back.
    pub fn ui(&mut self, ui: &mut Ui) -> Vec<Command> {
        let mut actions = Vec::new();
        Panel::top("pages").show(ui, |ui| self.bar(ui, &mut actions));
        if !self.shown.troubles.is_empty() {
            Panel::top("troubles").show(ui, |ui| self.troubles(ui));
        }
        Panel::bottom("caution").show(ui, |ui| self.caution(ui));
        CentralPanel::default_margins().show(ui, |ui| match self.page {
            Page::Student => scrolled(ui, |ui| self.student.ui(ui, &self.shown, &mut actions)),
            Page::Site => scrolled(ui, |ui| place::ui(ui, &self.shown, &mut actions)),
            Page::Practice => self.practice.ui(ui, &self.shown, &mut actions),
            Page::Sound => scrolled(ui, |ui| self.sound.ui(ui, &self.shown, &mut actions)),
        });
        let mut commands = Vec::new();
        for action in actions {
            match action {
                Action::Do(command) => commands.push(command),
                Action::Go(page) => commands.extend(self.go(page)),
            }
        }
        commands
    }

    fn bar(&self, ui: &mut Ui, actions: &mut Vec<Action>) {
        ui.add_space(4.0);
        ui.horizontal_wrapped(|ui| {
            let ready = self.shown.who.may_practise() && self.shown.site.is_some();
            for (page, name, enabled) in [
                (Page::Student, "Student", true),
                (Page::Site, "Site", true),
                (Page::Practice, "Practice", ready),
                (Page::Sound, "Sound", true),
            ] {
                let button = egui::Button::selectable(self.page == page, name);
                if ui.add_enabled(enabled, button).clicked() {
                    actions.push(Action::Go(page));
                }
            }
            ui.separator();
            let who = match &self.shown.who {
                Who::Open => "no student chosen",
                Who::Nobody => "without a name",
                Who::Student(s) => s.name.as_str(),
            };
            let site = self.shown.site.as_ref().map_or("no site chosen", |s| s.name.as_str());
            ui.label(format!("{who}, {site}"));
            match &self.shown.model {
                ModelState::Loading => {
                    ui.label(look::remark("The speech model is being loaded."));
                }
                ModelState::Missing(_) => {
                    ui.label(look::remark("No speech model: calls can be typed."));
                }
                ModelState::Ready(_) => {}
            }
        });
        ui.add_space(4.0);
    }

    fn troubles(&mut self, ui: &mut Ui) {
        let mut closed = None;
        for (i, text) in self.shown.troubles.iter().enumerate() {
            ui.horizontal_top(|ui| {
                if ui.button("Close").on_hover_text("Close this message").clicked() {
                    closed = Some(i);
                }
                let colour = look::trouble(ui.visuals().dark_mode);
                ui.add(egui::Label::new(egui::RichText::new(text).color(colour)).wrap());
            });
        }
        if let Some(i) = closed {
            self.shown.troubles.remove(i);
        }
    }

    fn caution(&self, ui: &mut Ui) {
        ui.add_space(2.0);
        let text = match &self.shown.site {
            Some(site) if site.invented => format!("{} {} is an invented place.", site.caution, site.name),
            Some(site) => site.caution.clone(),
            None => CAUTION.to_owned(),
        };
        ui.add(egui::Label::new(look::remark(text)).wrap());
        ui.add_space(2.0);
    }
}

fn scrolled(ui: &mut Ui, content: impl FnOnce(&mut Ui)) {
    ScrollArea::vertical().auto_shrink([false, false]).show(ui, |ui| {
        ui.set_max_width(720.0);
        content(ui);
    });
}
