//! The one big state of a turn: receiving, your call, transmitting, judging. Word, shape and colour say the same; while
//! transmitting the time and the level stand in it.

use super::look::{self, Hue};
use super::shown::Shown;
use super::words::Words;
use crate::drill::TurnState;
use crate::sound::Level;
use crate::worker::ModelState;
use eframe::egui::{self, Color32, Pos2, ProgressBar, Rect, RichText, Sense, Shape, Stroke, Ui, Vec2};

/// Peaks above this are about to clip, below the others quiet and too quiet, dBFS.
const LOUD_DBFS: f32 = -1.0;
const QUIET_DBFS: f32 = -30.0;
const TOO_QUIET_DBFS: f32 = -40.0;

/// Windows lower than this have a smaller plate, points.
const LOW: f32 = 640.0;

/// What is wanted of the student.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wanted {
    /// A call.
    Call,
    /// The call that waits for nothing.
    Stop,
    /// Something is to be done before anything is said.
    Hand,
}

/// Draw the plate. `title` stands for the state's own word where more is known of what is wanted; `call`: what
/// is wanted.
pub(super) fn ui(ui: &mut Ui, words: Words, shown: &Shown, state: TurnState, title: Option<&str>, call: Wanted) {
    let hue = look::state(state);
    let colour = hue.on(ui);
    let low = ui.ctx().content_rect().height() < LOW;
    look::card(ui, hue).stroke(Stroke::new(2.5, colour)).show(ui, |ui| {
        ui.set_min_width(ui.available_width());
        ui.horizontal(|ui| {
            let (place, _) = ui.allocate_exact_size(Vec2::splat(34.0), Sense::hover());
            sign(ui, place, state, colour);
            let word = title.unwrap_or(words.say(look::state_key(state)));
            // What is wanted must be read whole: the largest face in which it fits.
            let room = ui.available_width();
            let fits = |style: &egui::TextStyle| {
                let font = style.resolve(ui.style());
                let galley = ui.painter().layout_no_wrap(word.to_owned(), font, Color32::WHITE);
                galley.size().x <= room
            };
            let styles = [
                look::big(),
                look::title(),
                egui::TextStyle::Heading,
                egui::TextStyle::Body,
            ];
            let style = styles.into_iter().skip(usize::from(low)).find(fits);
            let style = style.unwrap_or(egui::TextStyle::Body);
            ui.add(egui::Label::new(RichText::new(word).text_style(style).color(colour)).truncate());
            if state == TurnState::Transmitting {
                let seconds = shown.since.map_or(0.0, |t| t.elapsed().as_secs_f32());
                ui.label(RichText::new(format!("{} s", words.language().decimal(seconds, 1))).heading());
            }
            if low {
                below(ui, words, shown, state, call);
            }
        });
        if !low {
            below(ui, words, shown, state, call);
        }
    });
}

/// What stands under the state's word; beside it in a low window.
fn below(ui: &mut Ui, words: Words, shown: &Shown, state: TurnState, call: Wanted) {
    match state {
        TurnState::Transmitting => level_bar(ui, words, shown.level, false),
        TurnState::Judging => {
            let loading = shown.model == ModelState::Loading;
            let text = if loading {
                "practice.waiting_for_model"
            } else {
                "practice.listening"
            };
            ui.add(egui::Label::new(words.say(text)).truncate());
        }
        // The plate keeps its height, or what stands below would jump under the finger. Half a hint helps nobody.
        _ => {
            let text = words.say(hint(state, call));
            let font = egui::TextStyle::Body.resolve(ui.style());
            let wide = ui
                .painter()
                .layout_no_wrap(text.to_owned(), font, Color32::WHITE)
                .size()
                .x;
            if wide <= ui.available_width() {
                ui.label(text);
            }
        }
    }
}

fn hint(state: TurnState, call: Wanted) -> &'static str {
    match state {
        TurnState::YourCall if call == Wanted::Stop => "plate.your_stop",
        TurnState::YourCall if call == Wanted::Hand => "plate.your_hand",
        TurnState::Receiving => "plate.receiving",
        TurnState::YourCall => "plate.your_call",
        TurnState::Transmitting => "plate.transmitting",
        TurnState::Judging => "plate.judging",
        TurnState::Done => "plate.done",
    }
}

/// Each state has its own shape: waves that come in, an open ring, waves that go out, beads in a row, a tick.
fn sign(ui: &Ui, place: Rect, state: TurnState, colour: Color32) {
    let painter = ui.painter_at(place);
    let stroke = Stroke::new(3.0, colour);
    let middle = place.center();
    let arcs = |centre: Pos2, towards: f32| {
        for n in 1..=3_u8 {
            let radius = 6.0 * f32::from(n);
            let points: Vec<Pos2> = (0..=12_u8)
                .map(|k| {
                    let a = (f32::from(k) / 12.0 - 0.5) * 1.7 + towards;
                    centre + radius * Vec2::angled(a)
                })
                .collect();
            painter.line(points, stroke);
        }
    };
    match state {
        TurnState::Receiving => {
            let ear = place.left_center() + Vec2::new(5.0, 0.0);
            painter.circle_filled(ear, 4.0, colour);
            arcs(ear + Vec2::new(26.0, 0.0), std::f32::consts::PI);
        }
        TurnState::YourCall => drop(painter.circle_stroke(middle, 12.0, Stroke::new(4.0, colour))),
        TurnState::Transmitting => {
            let mouth = place.left_center() + Vec2::new(6.0, 0.0);
            painter.circle_filled(mouth, 6.0, colour);
            arcs(mouth + Vec2::new(4.0, 0.0), 0.0);
        }
        TurnState::Judging => {
            for n in -1_i8..=1 {
                painter.circle_filled(middle + Vec2::new(f32::from(n) * 11.0, 0.0), 4.0, colour);
            }
        }
        TurnState::Done => {
            let tick = [(-11.0, 0.0), (-3.0, 8.0), (12.0, -9.0)];
            let tick = tick.map(|(x, y)| middle + Vec2::new(x, y)).to_vec();
            painter.add(Shape::line(tick, Stroke::new(4.0, colour)));
        }
    }
}

/// The level as a bar with its meaning in words.
/// `measured`: with the number, for whoever sets a microphone up.
pub(super) fn level_bar(ui: &mut Ui, words: Words, level: Option<Level>, measured: bool) {
    // Dark writing on the bar's own fill and on the ground behind it.
    let fill = Hue::Chosen.on(ui);
    let Some(level) = level else {
        ui.add(ProgressBar::new(0.0).fill(fill).text(words.say("level.none")));
        return;
    };
    let word = words.say(level_key(level.peak_dbfs));
    let share = (level.peak_dbfs + 60.0).clamp(0.0, 60.0) / 60.0;
    let peak = format!("{:.0}", level.peak_dbfs);
    let text = if measured {
        words.fill("level.bar", &[("word", word), ("peak", &peak)])
    } else {
        word.to_owned()
    };
    ui.add(ProgressBar::new(share).fill(fill).text(text));
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
