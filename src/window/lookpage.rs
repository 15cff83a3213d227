//! How the window looks: language, light or dark, text size, how much of the situation is written out.

use super::look;
use super::page::{Content, Given};
use super::scene::Level;
use super::settings::{Light, SCALES};
use super::words::Words;
use eframe::egui::{Label, RichText, Slider, Ui};

/// How much is written, with the keys of their names, easiest first.
pub(super) const LEVELS: [(Level, &str); 3] = [
    (Level::Written, "look.written"),
    (Level::Boards, "look.boards"),
    (Level::Bare, "look.bare"),
];

/// The page's draft: the size while the slider is being dragged, so that it does not run away under the pointer.
#[derive(Debug, Default)]
pub struct LookPage {
    scale: Option<f32>,
}

impl Content for LookPage {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        ui.label(RichText::new(words.say("page.look")).text_style(look::title()));
        look::sheets(ui, 4, |ui, n| match n {
            0 => language(ui, given),
            1 => light(ui, given),
            2 => self.size(ui, given),
            _ => picture(ui, given),
        });
    }
}

fn language(ui: &mut Ui, given: &mut Given<'_>) {
    let words = given.words;
    ui.heading(words.say("look.language"));
    let mut language = given.settings.words;
    ui.radio_value(&mut language, None, words.say("look.language_system"));
    for (each, name) in Words::ALL {
        ui.radio_value(&mut language, Some(each), name);
    }
    if language != given.settings.words {
        given.set(|s| s.words = language);
    }
    ui.add(Label::new(look::remark(words.say("look.language_remark"))).wrap());
}

fn light(ui: &mut Ui, given: &mut Given<'_>) {
    let words = given.words;
    ui.heading(words.say("look.light"));
    let mut light = given.settings.light;
    for (each, key) in [
        (Light::System, "look.light_system"),
        (Light::Light, "look.light_light"),
        (Light::Dark, "look.light_dark"),
    ] {
        ui.radio_value(&mut light, each, words.say(key));
    }
    if light != given.settings.light {
        given.set(|s| s.light = light);
    }
}

fn picture(ui: &mut Ui, given: &mut Given<'_>) {
    let words = given.words;
    ui.heading(words.say("look.practice"));
    let mut level = given.settings.level;
    for (each, key) in LEVELS {
        ui.radio_value(&mut level, each, words.say(key));
    }
    if level != given.settings.level {
        given.set(|s| s.level = level);
    }
}

impl LookPage {
    fn size(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        ui.heading(words.say("look.size"));
        let mut scale = self.scale.unwrap_or(given.settings.scale);
        let label = ui.label(words.say("look.size_label"));
        let slider = Slider::new(&mut scale, SCALES)
            .step_by(0.1)
            .custom_formatter(|v, _| format!("{:.0} %", v * 100.0))
            .custom_parser(|t| {
                t.trim()
                    .trim_end_matches('%')
                    .trim()
                    .parse::<f64>()
                    .ok()
                    .map(|p| p / 100.0)
            });
        let slider = ui.add(slider).labelled_by(label.id);
        if slider.dragged() {
            self.scale = Some(scale);
        } else {
            self.scale = None;
            if (scale - given.settings.scale).abs() > 0.01 {
                given.set(|s| s.scale = scale);
            }
        }
    }
}
