//! Every line that somebody else speaks: heard, recorded, taken away again.

use super::{OnDesk, one_of_many};
use crate::site::Line;
use crate::site::edit::{self, PromptRow, Texts};
use crate::window::page::Given;
use crate::window::{look, practice};
use crate::worker::Command;
use crate::worker::desk::DeskCommand;
use eframe::egui::{RichText, Ui};

#[derive(Default)]
pub(super) struct Prompts {
    pub rows: Vec<PromptRow>,
    /// The place of the prompt that is being recorded.
    pub recording: Option<String>,
}

impl Prompts {
    pub fn read(&mut self, texts: &Texts) {
        if let Ok(rows) = edit::prompts(texts) {
            self.rows = rows;
        }
    }
}

pub(super) fn ui(ui: &mut Ui, desk: &mut OnDesk, given: &mut Given<'_>) {
    let words = given.words;
    let fixed: Vec<PromptRow> = desk.prompts.rows.iter().filter(|r| !r.changes()).cloned().collect();
    let recorded = fixed.iter().filter(|r| r.clip.is_some()).count();
    let changing = desk.prompts.rows.len() - fixed.len();
    let (n, of, rest) = (recorded.to_string(), fixed.len().to_string(), changing.to_string());
    ui.label(words.fill("desk.prompts_count", &[("n", &n), ("of", &of), ("rest", &rest)]));
    ui.label(look::remark(words.say("desk.prompts_about")));
    if given.shown.microphone.is_none() {
        ui.label(words.say("desk.no_microphone"));
    }
    let mut title = String::new();
    for row in &fixed {
        if row.title != title {
            title.clone_from(&row.title);
            ui.add_space(6.0);
            ui.label(look::bold(&title));
        }
        one(ui, desk, row, given);
    }
    if changing > 0 {
        ui.add_space(10.0);
        ui.separator();
        ui.label(words.say("desk.prompts_changing"));
        let rows = desk.prompts.rows.iter().filter(|r| r.changes());
        for row in rows {
            let who = desk.who(words, &row.role);
            ui.label(look::remark(format!("{who}: {}", row.text)));
        }
    }
}

fn one(ui: &mut Ui, desk: &mut OnDesk, row: &PromptRow, given: &mut Given<'_>) {
    let words = given.words;
    let file = row.file();
    let running = desk.prompts.recording.as_deref() == Some(file.as_str());
    let dark = ui.visuals().dark_mode;
    ui.horizontal_wrapped(|ui| {
        let text = words.fill("desk.quoted", &[("text", &row.text)]);
        ui.label(format!("{}: {text}", desk.who(words, &row.role)));
        let (key, colour) = match (&row.clip, running) {
            (_, true) => ("desk.prompt_recording", look::trouble(dark)),
            (Some(_), _) => ("desk.prompt_recorded", look::good(dark)),
            (None, _) => ("desk.prompt_synthesised", ui.visuals().text_color()),
        };
        ui.label(RichText::new(words.say(key)).color(colour));
    });
    ui.horizontal_wrapped(|ui| {
        let of = |key: &'static str| words.fill(key, &[("text", &row.text)]);
        if running {
            if ui.button(words.say("desk.record_done")).clicked() {
                given.ask(Command::Desk(DeskCommand::RecordingDone));
                given.ask(Command::WatchLevel(false));
            }
            if ui.button(words.say("desk.record_cancel")).clicked() {
                given.ask(Command::Desk(DeskCommand::RecordingCancelled));
                given.ask(Command::WatchLevel(false));
            }
            practice::level_bar(ui, words, given.shown.level, true);
            return;
        }
        if one_of_many(ui, true, words.say("desk.hear"), &of("desk.hear_hint"))
            && let Some(language) = desk.language()
        {
            given.ask(Command::Desk(DeskCommand::Hear {
                line: Line {
                    role: row.role.clone(),
                    text: row.text.clone(),
                    clip: row.clip.clone(),
                },
                id: desk.id.clone(),
                language,
            }));
        }
        let free = desk.prompts.recording.is_none() && given.shown.microphone.is_some();
        let again = if row.clip.is_some() {
            "desk.record_again"
        } else {
            "desk.record"
        };
        if one_of_many(ui, free, words.say(again), &of("desk.record_hint")) {
            given.ask(Command::WatchLevel(true));
            given.ask(Command::Desk(DeskCommand::Record {
                id: desk.id.clone(),
                name: file.clone(),
            }));
        }
        let away = row.clip.is_some() && ui.button(words.say("desk.record_away")).clicked();
        if away && edit::set_clip(&mut desk.texts, &row.step, row.kind, None).is_ok() {
            desk.read_forms();
        }
    });
}
