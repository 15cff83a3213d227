//! Two sides of a page: what is seen and done at the left, what came of it at the right. In a narrow window a page puts them
//! below each other.

use super::keys;
use eframe::egui::style::ScrollAnimation;
use eframe::egui::{Align, Frame, Margin, Panel, ScrollArea, Ui, Vec2};

/// What tells one scrolled view from another.
pub(super) trait Salt: std::hash::Hash + std::fmt::Debug + Copy {}
impl<T: std::hash::Hash + std::fmt::Debug + Copy> Salt for T {}

/// Share of the width for the left side.
const SHARE: f32 = 0.47;
/// What the ring around what has the focus needs beside it, points.
const RING: f32 = 6.0;
/// Share of the height for what stands above what grows.
const ABOVE: f32 = 0.6;
/// Greatest width of the left side, points.
const WIDEST: f32 = 1000.0;

/// Is there room for two sides?
pub(super) fn fit(ui: &Ui) -> bool {
    ui.available_width() >= 700.0
}

/// Is a page so high that its controls can stay in sight while what is above them scrolls?
pub(super) fn controls_stay(high: f32) -> bool {
    high >= 360.0
}

/// The left side. `id` is the page's own.
pub(super) fn left(ui: &mut Ui, id: &'static str, content: impl FnOnce(&mut Ui)) {
    left_of(ui, id, SHARE, content);
}

/// The left side with a share of its own of the width.
pub(super) fn left_of(ui: &mut Ui, id: &'static str, share: f32, content: impl FnOnce(&mut Ui)) {
    let wide = (ui.available_width() * share).min(WIDEST);
    Panel::left(id).resizable(false).exact_size(wide).show(ui, content);
}

/// The right side; another `id` begins at the top.
pub(super) fn right(ui: &mut Ui, id: impl Salt, content: impl FnOnce(&mut Ui)) {
    let margin = Margin {
        left: 14,
        ..Margin::default()
    };
    Frame::new()
        .inner_margin(margin)
        .show(ui, |ui| scrolls(ui, id, content));
}

/// The controls, at the top of the side they are in: messages come and go below the page, and move nothing here.
pub(super) fn controls(ui: &mut Ui, id: &'static str, content: impl FnOnce(&mut Ui)) {
    // In line with what scrolls below.
    let margin = Margin {
        bottom: 6,
        ..Margin::default()
    };
    Panel::top(id)
        .frame(Frame::new().inner_margin(margin))
        .resizable(false)
        .show_separator_line(false)
        .show(ui, |ui| {
            // The ring of what has the focus lies around it.
            ui.set_clip_rect(ui.clip_rect().expand2(Vec2::new(RING, 0.0)));
            content(ui);
        });
}

/// All the room there is; scrolls where it is not enough. Another `id` begins at the top.
pub(super) fn scrolls(ui: &mut Ui, id: impl Salt, content: impl FnOnce(&mut Ui)) {
    ScrollArea::vertical()
        .id_salt(id)
        .auto_shrink([false, false])
        .show(ui, |ui| {
            content(ui);
            keys::follow(ui, id);
        });
}

/// The right side of two things: what is read now above, in at most so much of the height, and what grows below it.
pub(super) fn above_what_follows(
    ui: &mut Ui,
    id: impl Salt,
    above: impl FnOnce(&mut Ui),
    (line, mark): (impl Salt, usize),
    below: impl FnOnce(&mut Ui),
) {
    let margin = Margin {
        left: 14,
        ..Margin::default()
    };
    Frame::new().inner_margin(margin).show(ui, |ui| {
        let high = ui.available_height() * ABOVE;
        ScrollArea::vertical()
            .id_salt(id)
            .max_height(high)
            // What is above may be short: what is below stays where it is.
            .auto_shrink([false, false])
            .show(ui, |ui| {
                above(ui);
                keys::follow(ui, id);
            });
        ui.separator();
        growing(ui, line, mark, below);
    });
}

/// The right side of what grows: its end stays in sight, until somebody scrolls back. Another `mark` brings the end into sight again.
pub(super) fn follows(ui: &mut Ui, (id, mark): (impl Salt, usize), content: impl FnOnce(&mut Ui)) {
    let margin = Margin {
        left: 14,
        ..Margin::default()
    };
    Frame::new().inner_margin(margin).show(ui, |ui| {
        growing(ui, id, mark, content);
    });
}

fn growing(ui: &mut Ui, id: impl Salt, mark: usize, content: impl FnOnce(&mut Ui)) {
    let memory = ui.scope_id().with(("mark", id));
    let before = ui.data_mut(|d| {
        let before = d.get_temp::<usize>(memory);
        d.insert_temp(memory, mark);
        before
    });
    ScrollArea::vertical()
        .id_salt(id)
        .auto_shrink([false, false])
        .stick_to_bottom(true)
        .show(ui, |ui| {
            content(ui);
            if before.is_some_and(|b| b != mark) {
                ui.scroll_to_cursor_animation(Some(Align::BOTTOM), ScrollAnimation::none());
            }
            keys::follow(ui, id);
        });
}
