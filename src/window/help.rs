//! Help on every page in one place, the keys, the cautions, and what the program is.

use super::look;
use super::page::{Content, Given, Page};
use eframe::egui::{Label, RichText, Ui};

/// The page has no state.
#[derive(Debug, Default)]
pub struct HelpPage;

impl Content for HelpPage {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        let text = |ui: &mut Ui, text: &str| {
            for line in text.lines() {
                ui.add(Label::new(line).wrap());
            }
        };
        ui.heading(words.say("about.heading"));
        text(ui, words.say("about.text"));
        ui.add_space(6.0);
        ui.label(look::bold(words.say("about.cautions_heading")));
        text(ui, words.say("about.cautions"));
        for entry in Page::ALL.iter().filter(|e| e.page != Page::Help) {
            ui.separator();
            ui.label(RichText::new(words.say(entry.name)).text_style(eframe::egui::TextStyle::Heading));
            text(ui, words.say(entry.help));
        }
        ui.separator();
        ui.heading(words.say("about.keys_heading"));
        text(ui, words.say("about.keys"));
        ui.separator();
        ui.heading(words.say("about.verdicts_heading"));
        text(ui, words.say("about.verdicts"));
        ui.separator();
        let version = env!("CARGO_PKG_VERSION");
        let line = words.fill("about.version", &[("version", version)]);
        ui.label(look::remark(line));
    }
}
