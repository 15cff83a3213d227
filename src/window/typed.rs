//! A call typed instead of spoken: the field and its button in one row.

use super::words::Words;
use crate::worker::LONGEST_TYPED;
use eframe::egui::{Button, Key, TextEdit, TextStyle, Ui, WidgetText};

/// Least width of the field, points; below it the button goes to the next row.
const NARROW: f32 = 120.0;

/// What happened to the draft.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Typed {
    /// It was changed.
    pub changed: bool,
    /// It was sent: this text. The draft is empty again.
    pub sent: Option<String>,
}

/// Draw the field. `may`: a call is wanted now.
pub(super) fn ui(ui: &mut Ui, words: Words, draft: &mut String, may: bool) -> Typed {
    let send = words.say("practice.send");
    let galley = WidgetText::from(send).into_galley(ui, None, f32::INFINITY, TextStyle::Button);
    let button = galley.size().x + 2.0 * ui.spacing().button_padding.x + ui.spacing().item_spacing.x + 12.0;
    ui.horizontal_wrapped(|ui| {
        let label = ui.label(words.say("practice.type"));
        // A wrapping row tells the width of the whole row.
        let whole = ui.available_width() - label.rect.width() - ui.spacing().item_spacing.x;
        let width = if whole - button >= NARROW {
            whole - button
        } else {
            ui.available_width()
        };
        let edit = TextEdit::singleline(draft)
            .char_limit(LONGEST_TYPED)
            .desired_width(width);
        let field = ui.add_enabled(may, edit).labelled_by(label.id);
        let enter = field.lost_focus() && ui.input(|i| i.key_pressed(Key::Enter));
        let ready = may && !draft.trim().is_empty();
        let pressed = ui.add_enabled(ready, Button::new(send)).clicked();
        Typed {
            changed: field.changed(),
            sent: (ready && (enter || pressed)).then(|| std::mem::take(draft)),
        }
    })
    .inner
}
