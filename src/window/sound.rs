//! Microphone and loudspeaker, with the level to try them.

use super::page::{Content, Given};
use super::shown::Shown;
use super::words::Words;
use super::{keys, look, practice, talk};
use crate::sound::DeviceInfo;
use crate::worker::Command;
use eframe::egui::{ComboBox, Event, Key, Label, Memory, RichText, Ui};

/// The page's draft; what is chosen is in the settings.
#[derive(Debug, Default)]
pub struct Sound {
    /// The next key pressed is to be the talk key.
    asks_key: bool,
}

impl Content for Sound {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        ui.label(RichText::new(given.words.say("page.sound")).text_style(look::title()));
        look::sheets(ui, 2, |ui, n| {
            if n == 0 {
                Self::devices(ui, given);
            } else {
                self.talk_key(ui, given);
            }
        });
    }

    fn opened(&mut self, _: &Shown) -> Vec<Command> {
        vec![Command::WatchLevel(true), Command::ListDevices]
    }

    fn left(&mut self, _: &Shown) -> Vec<Command> {
        self.asks_key = false;
        vec![Command::WatchLevel(false)]
    }
}

impl Sound {
    /// The devices and the level.
    pub(super) fn devices(ui: &mut Ui, given: &mut Given<'_>) {
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
                ui.add(Label::new(words.fill("sound.in_use", &[("name", name)])).wrap());
                practice::level_bar(ui, words, shown.level, true);
            }
            None => {
                ui.label(words.say("sound.no_microphone"));
            }
        }
    }

    /// The key that talks. Foot switches are keyboards with one key: pressing it here is all they need.
    fn talk_key(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        let now = given.settings.talk_key();
        ui.heading(words.say("sound.talk_heading"));
        ui.label(words.fill("sound.talk_key", &[("key", talk::key_name(words, now))]));
        if self.asks_key {
            let press = ui.label(look::bold(words.say("sound.press_key")));
            // Else a focused button would take Space and Enter for itself.
            ui.memory_mut(Memory::stop_text_input);
            press.request_focus();
            let pressed = ui.input(|i| {
                i.events.iter().find_map(|e| match e {
                    Event::Key { key, pressed: true, .. } => Some(*key),
                    _ => None,
                })
            });
            match pressed {
                Some(Key::Escape) => self.asks_key = false,
                Some(key) if keys::may_talk(key) => {
                    self.asks_key = false;
                    given.set(|s| s.talk_key = (key != Key::Space).then(|| key.name().to_owned()));
                }
                Some(_) | None => {}
            }
        } else if ui.button(words.say("sound.other_key")).clicked() {
            self.asks_key = true;
        }
        ui.add(Label::new(look::remark(words.say("sound.foot_switch"))).wrap());
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
    let name = ui.label(look::remark(words.say(label)));
    ComboBox::from_id_salt(label)
        .width(420.0_f32.min(ui.available_width() - 10.0))
        .truncate()
        .selected_text(text)
        .show_ui(ui, |ui| {
            ui.selectable_value(choice, None, default);
            for d in devices {
                ui.selectable_value(choice, Some(d.id.clone()), &d.name);
            }
        })
        .response
        .labelled_by(name.id);
    *choice != before
}

#[cfg(test)]
mod tests {
    use super::super::pagetest::Bench;
    use super::super::practice::Practice;
    use super::*;
    use egui_kittest::kittest::Queryable;

    #[test]
    fn a_foot_switch_becomes_the_talk_key_and_talks() {
        let mut sound = Bench::practising(Sound::default());
        sound.window.get_by_label("The talk key: Space");
        sound.window.get_by_label("Another key").click();
        sound.window.run();
        // R is the hand's.
        sound.window.key_press(Key::R);
        sound.window.run();
        sound.window.get_by_label_contains("Press the key");
        sound.window.key_press(Key::F13);
        sound.window.run();
        sound.window.get_by_label("The talk key: F13");
        let chosen = sound.window.state().settings.clone();
        assert_eq!(chosen.talk_key.as_deref(), Some("F13"));

        let mut calls = Bench::practising(Practice::default());
        calls.window.state_mut().settings = chosen;
        calls.dealt();
        calls.window.get_by_label("Hold to talk (F13)");
        calls.window.key_press(Key::Space);
        calls.window.run();
        assert!(calls.asked().is_empty(), "Space talks no longer");
        calls.window.key_down(Key::F13);
        calls.window.run();
        assert_eq!(calls.asked(), ["Press"]);
        calls.window.key_up(Key::F13);
        calls.window.run();
        assert_eq!(calls.asked(), ["Release"]);
    }

    #[test]
    fn a_key_of_another_meaning_or_of_no_name_leaves_the_space_bar() {
        for name in ["R", "Escape", "no such key"] {
            let settings = super::super::Settings {
                talk_key: Some(name.into()),
                ..Default::default()
            };
            assert_eq!(settings.talk_key(), Key::Space, "{name}");
        }
    }
}
