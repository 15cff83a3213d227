//! What a second listener writes down of a disputed call, where somebody asks for it.

use super::look;
use super::notices;
use super::page::Given;
use crate::logbook::RecordingName;
use crate::worker::Command;
use crate::worker::second::SecondState;
use eframe::egui::{Label, Ui};
use uuid::Uuid;

/// The button, the waiting that can be stopped, and the words. `recording`: the one that was kept; `None`: it is the student's last call.
pub(super) fn ui(ui: &mut Ui, given: &mut Given<'_>, attempt: Uuid, recording: Option<RecordingName>) {
    // A build without one has no button for it.
    if !cfg!(feature = "second-listener") {
        return;
    }
    let words = given.words;
    let state = given.shown.second.as_ref().filter(|(of, _)| *of == attempt);
    let text = match state.map(|(_, state)| state) {
        Some(SecondState::Listening) => {
            ui.horizontal_wrapped(|ui| {
                ui.label(words.say("second.listening"));
                if ui.button(words.say("second.stop")).clicked() {
                    given.ask(Command::StopSecond);
                }
            });
            return;
        }
        Some(SecondState::Wrote(text)) if text.is_empty() => words.say("second.nothing").to_owned(),
        Some(SecondState::Wrote(text)) => words.fill("second.wrote", &[("words", text)]),
        Some(SecondState::Failed(why)) => notices::text(words, why),
        Some(SecondState::Stopped) | None => {
            let button = ui.button(words.say("second.ask"));
            if button.on_hover_text(words.say("second.about")).clicked() {
                given.ask(Command::Second { attempt, recording });
            }
            return;
        }
    };
    ui.add(Label::new(text).wrap());
    ui.add(Label::new(look::remark(words.say("second.about"))).wrap());
}
