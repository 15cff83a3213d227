//! Files that are given to the window from outside: dropped on it, or opened by a double click.

use super::{Front, Page};
use crate::window::choose::is_own;
use crate::worker::home::{HomeCommand, HomeEvent};
use crate::worker::{Command, SiteRequest};
use eframe::egui::Ui;

impl Front {
    /// A file was looked into: the page that it belongs on is opened.
    pub(super) fn told_of_a_file(&mut self, told: &HomeEvent) -> Vec<Command> {
        match told {
            HomeEvent::Site(file) => {
                let mut commands = self.go(Page::Desk);
                commands.push(self.pages.desk.given(file));
                commands
            }
            HomeEvent::SiteReady(name) => vec![Command::LoadSite(SiteRequest(name.clone()))],
            _ if self.page == Page::Home => Vec::new(),
            _ => self.go(Page::Home),
        }
    }

    /// A speech model may be dropped on any page, and so may a file of the program's own.
    pub(super) fn dropped(&mut self, ui: &Ui) -> Vec<Command> {
        let own = ui.input(|i| {
            let paths = i.raw.dropped_files.iter().map(|f| f.path().to_path_buf());
            let mut own = paths.filter(|p| is_own(p));
            own.next_back()
        });
        if let Some(file) = own {
            return vec![Command::Home(HomeCommand::Open(file))];
        }
        let file = ui.input(|i| {
            let paths = i.raw.dropped_files.iter().map(|f| f.path().to_path_buf());
            let mut models = paths.filter(|p| p.extension().is_some_and(|e| e.eq_ignore_ascii_case("bin")));
            models.next_back()
        });
        let Some(file) = file else { return Vec::new() };
        let commands = self.go(Page::First);
        self.pages.first.take_model(file.display().to_string());
        commands
    }
}
