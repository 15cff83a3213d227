//! Microphone and loudspeaker, with the level to try them.

use super::front::Action;
use super::shown::Shown;
use super::{look, practice};
use crate::sound::DeviceInfo;
use crate::worker::Command;
use eframe::egui::{ComboBox, Ui};

/// What is chosen; `None` is the system's default.
#[derive(Debug, Default)]
pub struct Sound {
    input: Option<String>,
    output: Option<String>,
}

impl Sound {
    pub(super) fn ui(&mut self, ui: &mut Ui, shown: &Shown, actions: &mut Vec<Action>) {
        ui.heading("Sound");
        match &shown.devices {
            None => {
                ui.label("The sound system is being asked for its devices.");
            }
            Some(list) => {
                ui.label(look::remark(format!("Sound system: {}", list.system)));
                let mut changed = choose(ui, "Microphone", &mut self.input, &list.inputs);
                changed |= choose(ui, "Loudspeaker", &mut self.output, &list.outputs);
                if changed {
                    actions.push(Action::Do(Command::ChooseDevices {
                        input: self.input.clone(),
                        output: self.output.clone(),
                    }));
                }
            }
        }
        if ui.button("Look for devices again").clicked() {
            actions.push(Action::Do(Command::ListDevices));
        }
        ui.separator();
        match &shown.microphone {
            Some(name) => {
                ui.label(format!("In use: {name}. Speak to try it."));
                practice::level_bar(ui, shown.level);
            }
            None => {
                ui.label("No microphone is open. Calls can be typed.");
            }
        }
    }
}

fn choose(ui: &mut Ui, label: &str, choice: &mut Option<String>, devices: &[DeviceInfo]) -> bool {
    const DEFAULT: &str = "The system's default";
    let before = choice.clone();
    let named = |id: &str| {
        devices
            .iter()
            .find(|d| d.id == id)
            .map_or_else(|| id.to_owned(), |d| d.name.clone())
    };
    let text = choice.as_deref().map_or_else(|| DEFAULT.to_owned(), named);
    ComboBox::from_label(label)
        .width(420.0)
        .selected_text(text)
        .show_ui(ui, |ui| {
            ui.selectable_value(choice, None, DEFAULT);
            for d in devices {
                ui.selectable_value(choice, Some(d.id.clone()), &d.name);
            }
        });
    *choice != before
}
