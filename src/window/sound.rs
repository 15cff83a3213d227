//! Microphone and loudspeaker, with the level to try them.

use super::page::{Content, Given};
use super::shown::Shown;
use super::words::Words;
use super::{look, practice};
use crate::sound::DeviceInfo;
use crate::worker::Command;
use eframe::egui::{ComboBox, Ui};

/// The page has no state: what is chosen is in the settings.
#[derive(Debug, Default)]
pub struct Sound;

impl Content for Sound {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let (shown, words) = (given.shown, given.words);
        ui.heading(words.say("sound.heading"));
        match &shown.devices {
            None => {
                ui.label(words.say("sound.asking"));
            }
            Some(list) => {
                ui.label(look::remark(words.fill("sound.system", &[("system", &list.system)])));
                let (mut input, mut output) = (given.settings.input.clone(), given.settings.output.clone());
                let mut changed = choose(ui, words, "sound.microphone", &mut input, &list.inputs);
                changed |= choose(ui, words, "sound.loudspeaker", &mut output, &list.outputs);
                if changed {
                    given.ask(Command::ChooseDevices { input, output });
                }
            }
        }
        if ui.button(words.say("sound.again")).clicked() {
            given.ask(Command::ListDevices);
        }
        ui.separator();
        match &shown.microphone {
            Some(name) => {
                ui.label(words.fill("sound.in_use", &[("name", name)]));
                practice::level_bar(ui, words, shown.level);
            }
            None => {
                ui.label(words.say("sound.no_microphone"));
            }
        }
    }

    fn opened(&mut self, _: &Shown) -> Vec<Command> {
        vec![Command::WatchLevel(true), Command::ListDevices]
    }

    fn left(&mut self, _: &Shown) -> Vec<Command> {
        vec![Command::WatchLevel(false)]
    }
}

fn choose(ui: &mut Ui, words: Words, label: &'static str, choice: &mut Option<String>, devices: &[DeviceInfo]) -> bool {
    let before = choice.clone();
    let default = words.say("sound.default");
    let named = |id: &str| {
        devices
            .iter()
            .find(|d| d.id == id)
            .map_or_else(|| id.to_owned(), |d| d.name.clone())
    };
    let text = choice.as_deref().map_or_else(|| default.to_owned(), named);
    ComboBox::from_label(words.say(label))
        .width(420.0_f32.min(ui.available_width() * 0.6))
        .selected_text(text)
        .show_ui(ui, |ui| {
            ui.selectable_value(choice, None, default);
            for d in devices {
                ui.selectable_value(choice, Some(d.id.clone()), &d.name);
            }
        });
    *choice != before
}
