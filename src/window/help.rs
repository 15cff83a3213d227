//! Help on every page in one place, the keys, the cautions, and what the program is.

use super::look;
use super::page::{Content, Given, Page};
use super::pages::Entry;
use eframe::egui::{Label, Ui};

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
        // What matters most stands first: what the program is, its cautions, the keys, the verdicts; then page by page.
        let pages: Vec<&Entry> = Page::ALL.iter().filter(|e| e.page != Page::Help).collect();
        look::sheets(ui, 4 + pages.len(), |ui, n| {
            let (heading, content) = match n {
                0 => ("about.heading", "about.text"),
                1 => ("about.cautions_heading", "about.cautions"),
                2 => ("about.keys_heading", "about.keys"),
                3 => ("about.verdicts_heading", "about.verdicts"),
                n => (pages[n - 4].name, pages[n - 4].help),
            };
            ui.heading(words.say(heading));
            text(ui, words.say(content));
        });
        let version = env!("CARGO_PKG_VERSION");
        let line = words.fill("about.version", &[("version", version)]);
        ui.label(look::remark(line));
    }
}
