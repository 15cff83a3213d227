//! The calls: the situation, the state of the turn, the key, the typed call; the verdicts beside or below them.

use super::front::Action;
use super::shown::Shown;
use super::talk::{Moved, Talk};
use super::{look, verdicts};
use crate::call::Situation;
use crate::drill::TurnState;
use crate::site::{Site, Step};
use crate::sound::Level;
use crate::worker::{Command, ModelState};
use eframe::egui::{self, Grid, Key, Panel, ProgressBar, RichText, ScrollArea, TextEdit, Ui};

/// Beside each other from this width, in points; below each other under it.
const WIDE: f32 = 860.0;
/// Peaks above this are about to clip, below the others quiet and too quiet, dBFS.
const LOUD_DBFS: f32 = -1.0;
const QUIET_DBFS: f32 = -30.0;
const TOO_QUIET_DBFS: f32 = -40.0;

/// The page's drafts.
#[derive(Debug, Default)]
pub struct Practice {
    talk: Talk,
    typed: String,
}

impl Practice {
    pub(super) fn new_turn(&mut self) {
        self.typed.clear();
    }

    pub(super) fn ui(&mut self, ui: &mut Ui, shown: &Shown, actions: &mut Vec<Action>) {
        if ui.available_width() >= WIDE {
            Panel::left("turn").resizable(false).exact_size(420.0).show(ui, |ui| {
                area(ui, "turn", |ui| self.turn(ui, shown, actions));
            });
            egui::Frame::new()
                .inner_margin(egui::Margin {
                    left: 18,
                    ..Default::default()
                })
                .show(ui, |ui| {
                    area(ui, "verdicts", |ui| verdicts::ui(ui, shown, actions));
                });
        } else {
            area(ui, "both", |ui| {
                self.turn(ui, shown, actions);
                ui.separator();
                verdicts::ui(ui, shown, actions);
            });
        }
    }

    fn turn(&mut self, ui: &mut Ui, shown: &Shown, actions: &mut Vec<Action>) {
        let (Some((site, step)), Some(dealt), Some(state)) = (shown.step(), &shown.dealt, shown.state) else {
            ui.label("Nothing is dealt yet.");
            if ui.button("Begin").clicked() {
                actions.push(Action::Do(Command::Next));
            }
            return;
        };
        ui.heading(&step.title);
        ui.label(look::remark(format!("Situation {}", dealt.number)));
        facts(ui, site, step, &dealt.situation);
        ui.add_space(4.0);
        let (word, colour) = look::state(state, ui.visuals().dark_mode);
        ui.label(RichText::new(word).text_style(look::big()).color(colour));
        if let Some(prompt) = &step.prompt {
            ui.horizontal_wrapped(|ui| {
                ui.label(format!("{}: \"{}\"", capital(&prompt.role), prompt.text));
                let may = matches!(state, TurnState::YourCall | TurnState::Receiving);
                if ui.add_enabled(may, egui::Button::new("Hear the prompt")).clicked() {
                    actions.push(Action::Do(Command::PlayPrompt));
                }
            });
        }
        self.key(ui, shown, state, actions);
        self.type_it(ui, state, actions);
        ui.add_space(6.0);
        let next = if state == TurnState::Done {
            "Next"
        } else {
            "Next situation"
        };
        let idle = !matches!(state, TurnState::Transmitting | TurnState::Judging);
        if ui.add_enabled(idle, egui::Button::new(next)).clicked() {
            actions.push(Action::Do(Command::Next));
        }
    }

    fn key(&mut self, ui: &mut Ui, shown: &Shown, state: TurnState, actions: &mut Vec<Action>) {
        let transmitting = state == TurnState::Transmitting;
        let may = matches!(
            state,
            TurnState::YourCall | TurnState::Receiving | TurnState::Transmitting
        );
        let able = !matches!(shown.model, ModelState::Missing(_));
        for moved in self.talk.ui(ui, transmitting, may && able) {
            actions.push(Action::Do(match moved {
                Moved::Down => Command::Press,
                Moved::Up => Command::Release,
                Moved::Cancel => Command::Cancel,
            }));
        }
        match state {
            TurnState::Transmitting => {
                level_bar(ui, shown.level);
                let seconds = shown.since.map_or(0.0, |t| t.elapsed().as_secs_f32());
                ui.label(format!("{seconds:.1} s"));
            }
            TurnState::Judging => {
                let loading = shown.model == ModelState::Loading;
                let text = if loading {
                    "Waiting for the speech model."
                } else {
                    "Listening to the call again."
                };
                ui.horizontal(|ui| {
                    ui.label(text);
                    if ui.button("Cancel").clicked() {
                        actions.push(Action::Do(Command::Cancel));
                    }
                });
                if ui.input(|i| i.key_pressed(Key::Escape)) {
                    actions.push(Action::Do(Command::Cancel));
                }
            }
            _ if shown.microphone.is_none() => {
                ui.label(look::remark(
                    "No microphone is open (see Sound). The call can be typed.",
                ));
            }
            _ => {}
        }
        if let ModelState::Missing(why) = &shown.model {
            ui.colored_label(
                look::trouble(ui.visuals().dark_mode),
                format!("Calls cannot be heard: {why}"),
            );
            if ui.button("Look for the model again").clicked() {
                actions.push(Action::Do(Command::LoadModel));
            }
        }
    }

    fn type_it(&mut self, ui: &mut Ui, state: TurnState, actions: &mut Vec<Action>) {
        let may = matches!(state, TurnState::YourCall | TurnState::Receiving);
        let label = ui.label("Or type the call");
        let field = ui
            .add_enabled(
                may,
                TextEdit::singleline(&mut self.typed)
                    .char_limit(300)
                    .desired_width(f32::INFINITY),
            )
            .labelled_by(label.id);
        let enter = field.lost_focus() && ui.input(|i| i.key_pressed(Key::Enter));
        let ready = may && !self.typed.trim().is_empty();
        let send = ui
            .add_enabled(ready, egui::Button::new("Send the typed call"))
            .clicked();
        if ready && (enter || send) {
            actions.push(Action::Do(Command::Type(std::mem::take(&mut self.typed))));
        }
    }
}

fn area(ui: &mut Ui, name: &str, content: impl FnOnce(&mut Ui)) {
    ScrollArea::vertical()
        .id_salt(name)
        .auto_shrink([false, false])
        .show(ui, content);
}

/// The situation as plain facts, never in the words of the call.
fn facts(ui: &mut Ui, site: &Site, step: &Step, situation: &Situation) {
    let kind = site.aircraft(&situation.callsign).map(|a| a.kind.as_str());
    let glider = kind.map_or_else(
        || situation.callsign.to_string(),
        |k| format!("{}, {k}", situation.callsign),
    );
    let crew = if situation.crew == 1 {
        "1 person".to_owned()
    } else {
        format!("{} people", situation.crew)
    };
    let to = site
        .stations
        .iter()
        .find(|s| s.id == step.to)
        .map_or(step.to.as_str(), |s| s.name.as_str());
    let mut rows = vec![
        ("You are", step.speaker.clone()),
        ("You call", to.to_owned()),
        ("Glider", glider),
        ("On board", crew),
        ("Cable", situation.cable.clone()),
    ];
    rows.extend(where_it_lies(site, &situation.cable).map(|p| ("It lies", p)));
    Grid::new("facts").num_columns(2).spacing([16.0, 0.0]).show(ui, |ui| {
        for (name, value) in rows {
            ui.label(name);
            ui.add(egui::Label::new(RichText::new(value).strong()).wrap());
            ui.end_row();
        }
    });
}

/// Where a cable lies; left and right swap with the launch direction.
fn where_it_lies(site: &Site, id: &str) -> Option<String> {
    let direction = site.directions.first()?;
    let cables = &direction.cables_left_to_right;
    let at = cables.iter().position(|c| c == id)?;
    let hand = match (at, cables.len()) {
        (_, 0 | 1) => return None,
        (0, _) => "left".to_owned(),
        (i, n) if i + 1 == n => "right".to_owned(),
        (i, _) => format!("number {} from the left", i + 1),
    };
    Some(format!("{hand}, facing the winch, {}", direction.name))
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// The level as a bar with its meaning in words.
pub(super) fn level_bar(ui: &mut Ui, level: Option<Level>) {
    let Some(level) = level else {
        ui.add(ProgressBar::new(0.0).text("no level yet"));
        return;
    };
    let word = level_word(level.peak_dbfs);
    let share = (level.peak_dbfs + 60.0).clamp(0.0, 60.0) / 60.0;
    ui.add(ProgressBar::new(share).text(format!("{word}, peak {:.0} dBFS", level.peak_dbfs)));
}

fn level_word(peak_dbfs: f32) -> &'static str {
    match peak_dbfs {
        p if p >= LOUD_DBFS => "clipping: turn the microphone down",
        p if p >= QUIET_DBFS => "good",
        p if p >= TOO_QUIET_DBFS => "quiet",
        _ => "too quiet",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn left_and_right_come_from_the_launch_direction() {
        let dir = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases/larkmoor");
        let mut site = Site::check(&crate::folders::read_site(&dir)).unwrap();
        assert!(
            where_it_lies(&site, "north")
                .unwrap()
                .starts_with("left, facing the winch")
        );
        site.directions.reverse();
        assert!(where_it_lies(&site, "north").unwrap().starts_with("right"));
        assert_eq!(where_it_lies(&site, "third"), None);
    }

    #[test]
    fn levels_have_words() {
        for (peak, word) in [
            (-0.5, "clipping"),
            (-12.0, "good"),
            (-35.0, "quiet"),
            (-70.0, "too quiet"),
        ] {
            assert!(level_word(peak).starts_with(word), "{peak}");
        }
    }
}
