//! Which site.

use super::look;
use super::page::{Content, Given};
use crate::worker::{Command, SiteRequest};
use eframe::egui::{Button, Ui};

/// The page has no state.
#[derive(Debug, Default)]
pub struct SitePage;

impl Content for SitePage {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let (shown, words) = (given.shown, given.words);
        ui.heading(words.say("place.heading"));
        if shown.sites.is_empty() {
            ui.label(words.say("place.none"));
        }
        for found in &shown.sites {
            let now = shown.site.as_ref().is_some_and(|s| s.id == found.id);
            let enabled = found.problem.is_none();
            let button = Button::new(&found.name).selected(now);
            if ui.add_enabled(enabled, button).clicked() {
                given.ask(Command::LoadSite(SiteRequest(found.id.clone())));
            }
            match &found.problem {
                Some(problem) => {
                    let colour = look::trouble(ui.visuals().dark_mode);
                    ui.colored_label(colour, words.fill("place.broken", &[("problem", problem)]));
                }
                None => {
                    ui.label(look::remark(&found.about));
                }
            }
            ui.add_space(6.0);
        }
    }
}
