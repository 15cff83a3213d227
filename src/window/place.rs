//! Which site.

use super::look::{self, Hue};
use super::page::{Content, Given};
use crate::worker::{Command, SiteRequest};
use eframe::egui::{Button, Label, RichText, Ui};

/// The page has no state.
#[derive(Debug, Default)]
pub struct SitePage;

impl Content for SitePage {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let (shown, words) = (given.shown, given.words);
        ui.label(RichText::new(words.say("place.heading")).text_style(look::title()));
        if shown.sites.is_empty() {
            ui.add(Label::new(words.say("place.none")).wrap());
        }
        look::sheets(ui, shown.sites.len(), |ui, n| {
            let found = &shown.sites[n];
            let now = shown.site.as_ref().is_some_and(|s| s.id == found.id);
            let enabled = found.problem.is_none();
            let button = Button::new(look::bold(&found.name)).selected(now);
            let button = ui.add_enabled(enabled, button);
            given.main(ui, &button);
            if button.clicked() {
                given.ask(Command::LoadSite(SiteRequest(found.id.clone())));
            }
            let text = match &found.problem {
                Some(problem) => {
                    RichText::new(words.fill("place.broken", &[("problem", problem)])).color(Hue::Amber.on(ui))
                }
                None => look::remark(&found.about),
            };
            ui.add(Label::new(text).wrap());
            if let Some(language) = found.language {
                let language = words.value(language.name());
                ui.label(look::remark(words.fill("place.language", &[("language", &language)])));
            }
        });
    }
}
