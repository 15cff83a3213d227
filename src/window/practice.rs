//! The calls: the situation, the state of the turn, the key, the typed call; the verdicts beside or below them.

use super::page::{Content, Given, Page};
use super::shown::Shown;
use super::talk::{Moved, Talk};
use super::words::{Words, capital};
use super::{look, verdicts};
use crate::call::Situation;
use crate::drill::TurnState;
use crate::site::{Site, Step};
use crate::sound::Level;
use crate::worker::{Command, Event, ModelState};
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

impl Content for Practice {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        if ui.available_width() >= WIDE {
            Panel::left("turn").resizable(false).exact_size(420.0).show(ui, |ui| {
                area(ui, "turn", |ui| self.turn(ui, given));
            });
            egui::Frame::new()
                .inner_margin(egui::Margin {
                    left: 18,
                    ..Default::default()
                })
                .show(ui, |ui| {
                    area(ui, "verdicts", |ui| verdicts::ui(ui, given));
                });
        } else {
            area(ui, "both", |ui| {
                self.turn(ui, given);
                ui.separator();
                verdicts::ui(ui, given);
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
    fn turn(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
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
        ui.heading(&step.title);
        let number = dealt.number.to_string();
        ui.label(look::remark(words.fill("practice.situation", &[("n", &number)])));
        facts(ui, words, site, step, &dealt.situation);
        ui.add_space(4.0);
        let colour = look::state(state, ui.visuals().dark_mode);
        let word = words.say(look::state_key(state));
        ui.label(RichText::new(word).text_style(look::big()).color(colour));
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
        self.key(ui, given, state);
        self.type_it(ui, given, state);
        ui.add_space(6.0);
        let next = if state == TurnState::Done {
            "practice.next"
        } else {
            "practice.next_situation"
        };
        let idle = !matches!(state, TurnState::Transmitting | TurnState::Judging);
        if ui.add_enabled(idle, egui::Button::new(words.say(next))).clicked() {
            given.ask(Command::Next);
        }
    }

    fn key(&mut self, ui: &mut Ui, given: &mut Given<'_>, state: TurnState) {
        let (shown, words) = (given.shown, given.words);
        let transmitting = state == TurnState::Transmitting;
        let may = matches!(
            state,
            TurnState::YourCall | TurnState::Receiving | TurnState::Transmitting
        );
        let able = !matches!(shown.model, ModelState::Missing(_));
        for moved in self.talk.ui(ui, words, transmitting, may && able) {
            given.ask(match moved {
                Moved::Down => Command::Press,
                Moved::Up => Command::Release,
                Moved::Cancel => Command::Cancel,
            });
        }
        match state {
            TurnState::Transmitting => {
                level_bar(ui, words, shown.level);
                let seconds = shown.since.map_or(0.0, |t| t.elapsed().as_secs_f32());
                ui.label(format!("{seconds:.1} s"));
            }
            TurnState::Judging => {
                let loading = shown.model == ModelState::Loading;
                let text = if loading {
                    "practice.waiting_for_model"
                } else {
                    "practice.listening"
                };
                ui.horizontal(|ui| {
                    ui.label(words.say(text));
                    if ui.button(words.say("practice.cancel")).clicked() {
                        given.ask(Command::Cancel);
                    }
                });
                if ui.input(|i| i.key_pressed(Key::Escape)) {
                    given.ask(Command::Cancel);
                }
            }
            _ if shown.microphone.is_none() => {
                ui.label(look::remark(words.say("practice.no_microphone")));
            }
            _ => {}
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

    fn type_it(&mut self, ui: &mut Ui, given: &mut Given<'_>, state: TurnState) {
        let words = given.words;
        let may = matches!(state, TurnState::YourCall | TurnState::Receiving);
        let label = ui.label(words.say("practice.type"));
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
            .add_enabled(ready, egui::Button::new(words.say("practice.send")))
            .clicked();
        if ready && (enter || send) {
            given.ask(Command::Type(std::mem::take(&mut self.typed)));
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
fn facts(ui: &mut Ui, words: Words, site: &Site, step: &Step, situation: &Situation) {
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
        ("facts.cable", situation.cable.clone()),
    ];
    rows.extend(where_it_lies(words, site, &situation.cable).map(|p| ("facts.it_lies", p)));
    Grid::new("facts").num_columns(2).spacing([16.0, 0.0]).show(ui, |ui| {
        for (name, value) in rows {
            ui.label(words.say(name));
            ui.add(egui::Label::new(RichText::new(value).strong()).wrap());
            ui.end_row();
        }
    });
}

/// Where a cable lies; left and right swap with the launch direction.
fn where_it_lies(words: Words, site: &Site, id: &str) -> Option<String> {
    let direction = site.directions.first()?;
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

/// The level as a bar with its meaning in words.
pub(super) fn level_bar(ui: &mut Ui, words: Words, level: Option<Level>) {
    let Some(level) = level else {
        ui.add(ProgressBar::new(0.0).text(words.say("level.none")));
        return;
    };
    let word = words.say(level_key(level.peak_dbfs));
    let share = (level.peak_dbfs + 60.0).clamp(0.0, 60.0) / 60.0;
    let peak = format!("{:.0}", level.peak_dbfs);
    let text = words.fill("level.bar", &[("word", word), ("peak", &peak)]);
    ui.add(ProgressBar::new(share).text(text));
}

fn level_key(peak_dbfs: f32) -> &'static str {
    match peak_dbfs {
        p if p >= LOUD_DBFS => "level.clipping",
        p if p >= QUIET_DBFS => "level.good",
        p if p >= TOO_QUIET_DBFS => "level.quiet",
        _ => "level.too_quiet",
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
            where_it_lies(Words::English, &site, "north")
                .unwrap()
                .starts_with("left, facing the winch")
        );
        site.directions.reverse();
        assert!(
            where_it_lies(Words::English, &site, "north")
                .unwrap()
                .starts_with("right")
        );
        assert_eq!(where_it_lies(Words::English, &site, "third"), None);
    }

    #[test]
    fn levels_have_words() {
        for (peak, word) in [
            (-0.5, "clipping"),
            (-12.0, "good"),
            (-35.0, "quiet"),
            (-70.0, "too quiet"),
        ] {
            assert!(Words::English.say(level_key(peak)).starts_with(word), "{peak}");
        }
    }
}
