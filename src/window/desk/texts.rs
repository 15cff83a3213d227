//! The site's files as texts, with the checker's messages: above the text, and marked at their lines.

use super::{OnDesk, named, problem};
use crate::site::{BRIEFING, FILES};
use crate::window::look;
use crate::window::words::Words;
use eframe::egui::text::{CCursor, CCursorRange};
use eframe::egui::{self, Button, Id, ScrollArea, TextEdit, TextStyle, Ui};

/// Largest text of a file that is edited here, characters.
const LARGEST: usize = 500_000;

fn names() -> impl Iterator<Item = &'static str> {
    FILES.into_iter().chain([BRIEFING])
}

pub(super) fn ui(ui: &mut Ui, words: Words, desk: &mut OnDesk) {
    ui.horizontal_wrapped(|ui| {
        for (n, name) in names().enumerate() {
            let bad = desk.problems.iter().filter(|p| p.file == name).count();
            let title = if bad == 0 {
                name.to_owned()
            } else {
                format!("{name} ({bad})")
            };
            if ui.add(Button::selectable(desk.file == n, title)).clicked() {
                desk.file = n;
            }
        }
    });
    let name = names().nth(desk.file).unwrap_or(FILES[0]);
    let text = desk.texts.entry(name.to_owned()).or_default();
    let id = Id::unique(("desk text", &desk.id, name));
    if let Some(line) = desk.jump.take() {
        jump(ui, id, text, line);
    }
    let mine: Vec<_> = desk.problems.iter().filter(|p| p.file == name).collect();
    for p in &mine {
        ui.horizontal_top(|ui| {
            if let Some(line) = p.line {
                let go = ui.button(words.fill("desk.go_to_line", &[("line", &line.to_string())]));
                if go.clicked() {
                    // In the next frame: in this one the click elsewhere takes the focus away again.
                    desk.jump = Some(line);
                    ui.ctx().request_repaint();
                }
            }
            ui.vertical(|ui| problem(ui, words, p));
        });
    }
    let lines: Vec<usize> = mine.iter().filter_map(|p| p.line).collect();
    // A file that is empty is not there: an empty briefing would be one with mistakes.
    ScrollArea::horizontal().id_salt("wide").show(ui, |ui| {
        let output = TextEdit::multiline(text)
            .id(id)
            .code_editor()
            .font(TextStyle::Monospace)
            .char_limit(LARGEST)
            .desired_rows(20)
            .desired_width(f32::INFINITY)
            .margin(egui::Margin {
                left: 14,
                ..egui::Margin::same(4)
            })
            .show(ui);
        named(ui, &output.response.response, name);
        mark(ui, &output, &lines);
    });
    if desk.texts.get(name).is_some_and(|t| t.trim().is_empty()) {
        desk.texts.remove(name);
    }
    if desk.texts.get(name) != desk.forms_read.get(name) {
        desk.read_forms();
    }
}

/// A bar and a tint at each line that has a problem.
fn mark(ui: &Ui, output: &egui::text_edit::TextEditOutput, lines: &[usize]) {
    let colour = look::trouble(ui.visuals().dark_mode);
    let painter = ui.painter_at(output.response.rect);
    let mut line = 1;
    for row in &output.galley.rows {
        if lines.contains(&line) {
            let rect = row.rect().translate(output.galley_pos.to_vec2());
            let left = output.response.rect.left();
            let bar = egui::Rect::from_x_y_ranges(left + 3.0..=left + 8.0, rect.y_range());
            painter.rect_filled(bar, 1.0, colour);
            painter.hline(
                output.response.rect.x_range(),
                rect.bottom(),
                egui::Stroke::new(1.0, colour),
            );
        }
        if row.ends_with_newline {
            line += 1;
        }
    }
}

/// Put the cursor at a line and bring it into sight.
fn jump(ui: &Ui, id: Id, text: &str, line: usize) {
    let at: usize = text
        .split_inclusive('\n')
        .take(line.saturating_sub(1))
        .map(|l| l.chars().count())
        .sum();
    let mut state = egui::text_edit::TextEditState::load(ui.ctx(), id).unwrap_or_default();
    state.cursor.set_char_range(Some(CCursorRange::one(CCursor::new(at))));
    state.store(ui.ctx(), id);
    ui.ctx().memory_mut(|m| m.request_focus(id));
}
