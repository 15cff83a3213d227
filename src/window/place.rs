//! Which site.

use super::front::Action;
use super::look;
use super::shown::Shown;
use crate::worker::{Command, SiteRequest};
use eframe::egui::{Button, Ui};

pub(super) fn ui(ui: &mut Ui, shown: &Shown, actions: &mut Vec<Action>) {
    ui.heading("Which site?");
    if shown.sites.is_empty() {
        ui.label("No site was found. A site is a folder of phrases; `cableside site new` makes one.");
    }
    for found in &shown.sites {
        let now = shown.site.as_ref().is_some_and(|s| s.id == found.id);
        let enabled = found.problem.is_none();
        let button = Button::new(&found.name).selected(now);
        if ui.add_enabled(enabled, button).clicked() {
            actions.push(Action::Do(Command::LoadSite(SiteRequest(found.id.clone()))));
        }
        match &found.problem {
            Some(problem) => {
                let colour = look::trouble(ui.visuals().dark_mode);
                ui.colored_label(colour, format!("This site cannot be used: {problem}"));
            }
            None => {
                ui.label(look::remark(&found.about));
            }
        }
        ui.add_space(6.0);
    }
}
