//! The calls: the launch point, the state of the turn, the key, the typed call; the debrief beside or below them.

use super::debrief::Debrief;
use super::lookpage::LEVELS;
use super::page::{Content, Given, Page};
use super::scene::{self, Level, View};
use super::shown::Shown;
use super::talk::{Moved, Talk};
use super::words::{Words, capital};
use super::{look, plate, sides, typed};
use crate::call::Situation;
use crate::drill::TurnState;
use crate::site::{Direction, Hazard, Site, Step};
use crate::worker::{Command, Event, ModelState};
use eframe::egui::{self, ComboBox, Key, Label, RichText, Ui};
pub(super) use plate::level_bar;

/// Greatest share of the page's height for the picture.
const PICTURE: f32 = 0.42;
/// What stands above and below the picture, points: the choices, the written facts, the prompt, the state and the key.
const BESIDES: f32 = 430.0;
/// Least height of the picture, points.
const LEAST: f32 = 150.0;

/// The page's drafts.
#[derive(Debug, Default)]
pub struct Practice {
    talk: Talk,
    typed: String,
    debrief: Debrief,
    /// What comes after this call is somebody else's to say.
    one_call: bool,
}

impl Content for Practice {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let high = ui.available_height();
        if sides::fit(ui) {
            sides::left(ui, "turn", |ui| {
                if sides::controls_stay(high) {
                    sides::controls(ui, "talking", |ui| self.talking(ui, given));
                    sides::scrolls(ui, "turn", |ui| situation(ui, given, high));
                } else {
                    sides::scrolls(ui, "turn", |ui| {
                        situation(ui, given, high);
                        self.talking(ui, given);
                    });
                }
            });
            sides::right(ui, "debrief", |ui| self.debrief.ui(ui, given));
        } else {
            sides::scrolls(ui, "both", |ui| {
                situation(ui, given, high);
                self.talking(ui, given);
                ui.separator();
                self.debrief.ui(ui, given);
            });
        }
    }

    fn take(&mut self, event: &Event) {
        if matches!(event, Event::Dealt(_)) {
            self.typed.clear();
        }
    }

    fn opened(&mut self, shown: &Shown) -> Vec<Command> {
        if shown.dealt.is_none() && shown.site.is_some() {
            vec![Command::Next]
        } else {
            Vec::new()
        }
    }

    fn left(&mut self, shown: &Shown) -> Vec<Command> {
        if matches!(shown.state, Some(TurnState::Transmitting | TurnState::Judging)) {
            vec![Command::Cancel]
        } else {
            Vec::new()
        }
    }

    fn in_column(&self) -> bool {
        false
    }
}

impl Practice {
    /// For pages that deal the calls themselves.
    pub fn one_call() -> Self {
        Self {
            one_call: true,
            ..Self::default()
        }
    }

    /// The state, the key, the typed call, the next situation.
    fn talking(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let (shown, words) = (given.shown, given.words);
        let (Some(dealt), Some(state)) = (&shown.dealt, shown.state) else {
            return;
        };
        plate::ui(ui, words, shown, state);
        self.key(ui, given, state);
        let may = matches!(state, TurnState::YourCall | TurnState::Receiving);
        if let Some(call) = typed::ui(ui, words, &mut self.typed, may).sent {
            given.ask(Command::Type(call));
        }
        if self.one_call {
            return;
        }
        let next = if state == TurnState::Done {
            "practice.next"
        } else {
            "practice.next_situation"
        };
        let idle = !matches!(state, TurnState::Transmitting | TurnState::Judging);
        ui.horizontal_wrapped(|ui| {
            if ui.add_enabled(idle, egui::Button::new(words.say(next))).clicked() {
                given.ask(Command::Next);
            }
            let number = dealt.number.to_string();
            ui.label(look::remark(words.fill("practice.situation", &[("n", &number)])));
        });
    }

    fn key(&mut self, ui: &mut Ui, given: &mut Given<'_>, state: TurnState) {
        let (shown, words) = (given.shown, given.words);
        let transmitting = state == TurnState::Transmitting;
        let may = matches!(
            state,
            TurnState::YourCall | TurnState::Receiving | TurnState::Transmitting
        );
        let able = !matches!(shown.model, ModelState::Missing(_));
        for moved in self
            .talk
            .ui(ui, words, given.settings.talk_key(), transmitting, may && able)
        {
            given.ask(match moved {
                Moved::Down => Command::Press,
                Moved::Up => Command::Release,
                Moved::Cancel => Command::Cancel,
            });
        }
        if state == TurnState::Judging {
            let escape = ui.input(|i| i.key_pressed(Key::Escape));
            if ui.button(words.say("practice.cancel")).clicked() || escape {
                given.ask(Command::Cancel);
            }
        } else if shown.microphone.is_none() {
            ui.label(look::remark(words.say("practice.no_microphone")));
        }
        if let ModelState::Missing(why) = &shown.model {
            ui.colored_label(
                look::trouble(ui.visuals().dark_mode),
                words.fill("practice.no_model", &[("why", why)]),
            );
            if ui.button(words.say("practice.look_for_model")).clicked() {
                given.ask(Command::LoadModel);
            }
        }
    }
}

/// What is to be seen before the call.
fn situation(ui: &mut Ui, given: &mut Given<'_>, high: f32) {
    let (shown, words) = (given.shown, given.words);
    if !shown.who.may_practise() || shown.site.is_none() {
        ui.label(words.say("practice.not_ready"));
        if ui.button(words.say("page.student")).clicked() {
            given.go(Page::Student);
        }
        if ui.button(words.say("page.site")).clicked() {
            given.go(Page::Site);
        }
        return;
    }
    let (Some((site, step)), Some(dealt), Some(state)) = (shown.step(), &shown.dealt, shown.state) else {
        ui.label(words.say("practice.nothing"));
        if ui.button(words.say("practice.begin")).clicked() {
            given.ask(Command::Next);
        }
        return;
    };
    choices(ui, given, site, step, state);
    let hazard = hazard(site, step, dealt.number);
    let level = given.settings.level;
    if let Some(direction) = scene::direction(site, dealt.number) {
        let id = hazard.map(|h| h.id.as_str());
        let picture = (high - BESIDES).max(LEAST).min(high * PICTURE).max(90.0);
        View::of(site, step, &dealt.situation, direction, id, level).ui(ui, words, picture);
        seen(ui, site, step, &dealt.situation, hazard);
        if level == Level::Written {
            facts(ui, words, site, step, &dealt.situation, Some(direction));
        }
    } else {
        // A site that names no directions cannot be drawn.
        seen(ui, site, step, &dealt.situation, hazard);
        facts(ui, words, site, step, &dealt.situation, None);
    }
    if let Some(prompt) = &step.prompt {
        ui.horizontal_wrapped(|ui| {
            ui.label(format!("{}: \"{}\"", capital(&words.role(&prompt.role)), prompt.text));
            let may = matches!(state, TurnState::YourCall | TurnState::Receiving);
            let hear = egui::Button::new(words.say("practice.hear_prompt"));
            if ui.add_enabled(may, hear).clicked() {
                given.ask(Command::PlayPrompt);
            }
        });
    }
}

/// Which call is practised, and how much of the situation is written.
fn choices(ui: &mut Ui, given: &mut Given<'_>, site: &Site, step: &Step, state: TurnState) {
    let words = given.words;
    let idle = !matches!(state, TurnState::Transmitting | TurnState::Judging);
    ui.horizontal_wrapped(|ui| {
        ui.add_enabled_ui(idle, |ui| {
            let mut id = step.id.clone();
            ComboBox::from_label(words.say("practice.call"))
                .selected_text(&step.title)
                .show_ui(ui, |ui| {
                    let spoken = site.steps.iter().filter(|s| s.by.has_words() && !s.elements.is_empty());
                    for each in spoken {
                        ui.selectable_value(&mut id, each.id.clone(), &each.title);
                    }
                });
            if id != step.id {
                given.ask(Command::ChooseStep(id));
            }
        });
        let mut level = given.settings.level;
        let now = LEVELS
            .iter()
            .find(|(l, _)| *l == level)
            .map_or("", |(_, key)| words.say(key));
        ComboBox::from_label(words.say("practice.level"))
            .selected_text(now)
            .show_ui(ui, |ui| {
                for (each, key) in LEVELS {
                    ui.selectable_value(&mut level, each, words.say(key));
                }
            });
        if level != given.settings.level {
            given.set(|s| s.level = level);
        }
    });
}

/// What happens in a turn of the stop call: the site's hazards one after the other.
fn hazard<'s>(site: &'s Site, step: &Step, number: u32) -> Option<&'s Hazard> {
    if step.id != "stop" || site.hazards.is_empty() {
        return None;
    }
    site.hazards.get(number.saturating_sub(1) as usize % site.hazards.len())
}

/// What is seen, in the site's own words.
fn seen(ui: &mut Ui, site: &Site, step: &Step, situation: &Situation, hazard: Option<&Hazard>) {
    let texts = hazard
        .map(|h| h.scene.clone())
        .into_iter()
        .chain(situation.scene(site, step));
    for text in texts {
        ui.add(Label::new(RichText::new(text).italics()).wrap());
    }
}

/// The situation as plain facts, never in the words of the call.
fn facts(ui: &mut Ui, words: Words, site: &Site, step: &Step, situation: &Situation, direction: Option<&Direction>) {
    let kind = site.aircraft(&situation.callsign).map(|a| a.kind.as_str());
    let glider = kind.map_or_else(
        || situation.callsign.to_string(),
        |k| format!("{}, {k}", situation.callsign),
    );
    let crew = words.count("facts.person", "facts.people", usize::from(situation.crew));
    let to = site
        .stations
        .iter()
        .find(|s| s.id == step.to)
        .map_or(step.to.as_str(), |s| s.name.as_str());
    let mut rows = vec![
        ("facts.you_are", words.role(&step.speaker)),
        ("facts.you_call", to.to_owned()),
        ("facts.glider", glider),
        ("facts.on_board", crew),
        ("facts.cable", capital(&situation.cable)),
    ];
    let lies = direction.and_then(|d| where_it_lies(words, d, &situation.cable));
    rows.extend(lies.map(|p| ("facts.it_lies", p)));
    ui.horizontal_wrapped(|ui| {
        for (name, value) in rows {
            ui.label(look::remark(words.say(name)));
            ui.label(RichText::new(value).strong());
        }
    });
}

/// Where a cable lies; left and right swap with the launch direction.
fn where_it_lies(words: Words, direction: &Direction, id: &str) -> Option<String> {
    let cables = &direction.cables_left_to_right;
    let at = cables.iter().position(|c| c == id)?;
    let hand = match (at, cables.len()) {
        (_, 0 | 1) => return None,
        (0, _) => words.say("facts.left").to_owned(),
        (i, n) if i + 1 == n => words.say("facts.right").to_owned(),
        (i, _) => words.fill("facts.from_left", &[("n", &(i + 1).to_string())]),
    };
    Some(words.fill("facts.lies", &[("hand", &hand), ("direction", &direction.name)]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn left_and_right_come_from_the_launch_direction() {
        let dir = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases/larkmoor");
        let site = Site::check(&crate::folders::read_site(&dir)).unwrap();
        for (n, hand) in ["left", "right"].iter().enumerate() {
            let lies = where_it_lies(Words::English, &site.directions[n], "north").unwrap();
            assert!(lies.starts_with(&format!("{hand}, facing the winch")), "{lies}");
        }
        assert_eq!(where_it_lies(Words::English, &site.directions[0], "third"), None);
    }
}
