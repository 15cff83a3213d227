//! The step of the speech model: fetched, or taken from a file or an address of one's own.

use super::look;
use crate::model::{Progress, Stage};
use crate::window::choose::Choice;
use crate::window::notices;
use crate::window::page::Given;
use crate::window::words::Words;
use crate::worker::fetch::FetchState;
use crate::worker::{Command, ModelState};
use eframe::egui::{Button, Label, ProgressBar, RichText, TextEdit, Ui};

/// The step's state.
#[derive(Default)]
pub(super) struct ModelStep {
    pub fetch: Option<FetchState>,
    /// The file or address that is being written down.
    place: String,
    choice: Choice,
}

impl ModelStep {
    /// A file was given in another way than by this page's fields.
    pub fn given(&mut self, file: &str) {
        file.clone_into(&mut self.place);
        self.fetch = None;
    }

    pub fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        ui.heading(words.say("first.model"));
        match &given.shown.model {
            ModelState::Ready(name) => {
                ui.label(words.fill("first.model_ready", &[("name", name)]));
                return;
            }
            ModelState::Loading => {
                ui.label(words.say("shell.model_loading"));
            }
            ModelState::Missing(why) => {
                if notices::is_damage(why) {
                    let colour = look::trouble(ui.visuals().dark_mode);
                    ui.add(Label::new(RichText::new(notices::text(words, why)).color(colour)).wrap());
                } else {
                    ui.add(Label::new(words.say("first.model_missing")).wrap());
                }
            }
        }
        match &self.fetch {
            Some(FetchState::Working(p)) => {
                working(ui, words, *p);
                if ui.button(words.say("first.fetch_cancel")).clicked() {
                    given.ask(Command::CancelFetch);
                }
                return;
            }
            Some(FetchState::Failed(why)) => {
                let colour = look::trouble(ui.visuals().dark_mode);
                let text = RichText::new(notices::text(words, why)).color(colour);
                ui.add(Label::new(text).wrap());
            }
            Some(FetchState::Cancelled) => {
                ui.label(words.say("first.fetch_cancelled"));
            }
            Some(FetchState::Paused) => {
                ui.label(words.say("first.fetch_paused"));
            }
            Some(FetchState::Done) | None => {}
        }
        if matches!(given.shown.model, ModelState::Missing(_)) {
            if ui.button(words.say("first.fetch")).clicked() {
                self.fetch = None;
                given.ask(Command::FetchModel);
            }
            ui.label(look::remark(words.say("first.fetch_about")));
            self.elsewhere(ui, given);
        }
    }

    /// From a file or an address: chosen, dropped or written.
    fn elsewhere(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        ui.add_space(8.0);
        ui.label(words.say("first.model_elsewhere"));
        let mut take = false;
        if let Some(file) = self.choice.chosen() {
            self.place = file.display().to_string();
            take = true;
        }
        ui.horizontal_wrapped(|ui| {
            let label = ui.label(words.say("first.model_place"));
            ui.add(TextEdit::singleline(&mut self.place).desired_width(380.0))
                .labelled_by(label.id);
            if ui.button(words.say("choose.open")).clicked() {
                self.choice.open(ui.ctx(), words, &[("choose.models", &["bin"])]);
            }
            let may = !self.place.trim().is_empty();
            take |= ui
                .add_enabled(may, Button::new(words.say("first.model_take")))
                .clicked();
        });
        if take {
            self.fetch = None;
            given.ask(Command::TakeModel(self.place.trim().to_owned()));
        }
    }
}

fn working(ui: &mut Ui, words: Words, p: Progress) {
    let key = match p.stage {
        Stage::Fetching => "first.fetching",
        Stage::Unpacking => "first.unpacking",
        Stage::Rebuilding => "first.rebuilding",
        Stage::TakingIn => "first.taking_in",
    };
    let share = p.done as f32 / p.total.max(1) as f32;
    let percent = format!("{:.0}", 100.0 * share.clamp(0.0, 1.0));
    let text = words.fill(key, &[("percent", &percent)]);
    ui.add(ProgressBar::new(share.clamp(0.0, 1.0)).text(text));
}
