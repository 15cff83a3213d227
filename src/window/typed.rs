//! A call typed instead of spoken: the field and its button. The field grows with the call, so that a whole briefing can be
//! read before it is sent; Enter sends.

use super::keys;
use super::page::Given;
use super::words::Words;
use crate::drill::TurnState;
use crate::worker::LONGEST_TYPED;
use eframe::egui::{Button, Key, Label, Response, ScrollArea, TextEdit, TextStyle, Ui, WidgetText};

/// Least width of the field beside its name, points; a narrower page has the name above it.
const NARROW: f32 = 300.0;
/// In a window lower than this the field grows to two lines and scrolls: what is asked for must stay in sight, points.
const LOW: f32 = 640.0;

/// A call that is being typed.
#[derive(Debug, Default)]
pub(super) struct Draft {
    text: String,
    /// The last call was typed: the keyboard stays with the field until Escape, or until something else is used. Letters typed on
    /// must not be taken for the keys of the page.
    stays: bool,
}

impl Draft {
    /// Does the keyboard stay with the field? While it is closed too, when others speak or a call is judged.
    fn keep(&mut self, ui: &Ui, field: &Response, speaks: bool) {
        let elsewhere = ui.memory(|m| m.focused().is_some_and(|id| id != field.id));
        let escape = ui.input(|i| i.key_pressed(Key::Escape));
        self.stays &= !(escape || elsewhere || speaks);
        keys::keep_typing(ui.ctx(), self.stays);
    }

    /// Another task: what was begun is thrown away.
    pub fn clear(&mut self) {
        self.text.clear();
    }
}

/// What happened to the draft.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Typed {
    /// It was changed.
    pub changed: bool,
    /// It was sent: this text. The draft is empty again.
    pub sent: Option<String>,
}

/// Draw the field. `may`: a call is wanted now. Without a microphone it is the page's main action, and has the keyboard where
/// nothing else has it.
pub(super) fn ui(ui: &mut Ui, given: &mut Given<'_>, draft: &mut Draft, may: bool) -> Typed {
    let words: Words = given.words;
    let send = words.say("practice.send");
    let wide = |ui: &Ui, text: &str, style: TextStyle| {
        let galley = WidgetText::from(text).into_galley(ui, None, f32::INFINITY, style);
        galley.size().x
    };
    let gap = ui.spacing().item_spacing.x;
    let button = wide(ui, send, TextStyle::Button) + 2.0 * ui.spacing().button_padding.x + gap + 12.0;
    let name = words.say("practice.type");
    let beside = ui.available_width() - wide(ui, name, TextStyle::Body) - gap - button;
    let above = (beside < NARROW).then(|| ui.add(Label::new(super::look::remark(name))));
    ui.horizontal_top(|ui| {
        let label = above.unwrap_or_else(|| ui.label(name));
        let width = (ui.available_width() - button).max(40.0);
        let edit = TextEdit::multiline(&mut draft.text)
            .desired_rows(1)
            .return_key(None)
            .char_limit(LONGEST_TYPED)
            .desired_width(width);
        let rows = if ui.ctx().content_rect().height() < LOW {
            2.0
        } else {
            6.0
        };
        let high = rows * ui.text_style_height(&TextStyle::Body) + 10.0;
        let field = ScrollArea::vertical()
            .id_salt("typed")
            .max_width(width)
            .max_height(high)
            .auto_shrink([true, true])
            .show(ui, |ui| ui.add_enabled(may, edit).labelled_by(label.id))
            .inner;
        if given.shown.microphone.is_none() {
            given.main(ui, &field);
        }
        draft.keep(ui, &field, given.shown.state == Some(TurnState::Transmitting));
        let mine = draft.stays || given.shown.microphone.is_none();
        if mine && may && ui.memory(|m| m.focused().is_none()) {
            field.request_focus();
        }
        if field.changed() && draft.text.contains(['\n', '\r']) {
            // A call is one line; what is pasted may be several.
            draft.text = draft.text.replace(['\n', '\r'], " ");
        }
        let enter = field.has_focus() && ui.input(|i| i.key_pressed(Key::Enter));
        let ready = may && !draft.text.trim().is_empty();
        let pressed = ui.add_enabled(ready, Button::new(send)).clicked();
        if ready && enter {
            draft.stays = true;
        }
        Typed {
            changed: field.changed(),
            sent: (ready && (enter || pressed)).then(|| std::mem::take(&mut draft.text)),
        }
    })
    .inner
}
