//! What the keyboard does before any control sees it: the talk key wins wherever one talks, a key that is held presses no
//! button again and again, and what has the focus is scrolled into sight.

use eframe::egui::{Context, Event, Id, Key, Rect, Ui, Vec2};

/// Whether a key can be the talk key: it must mean nothing else on the pages.
pub fn may_talk(key: Key) -> bool {
    use Key::{ArrowDown, ArrowLeft, ArrowRight, ArrowUp, Enter, Escape, F1, F6, PageDown, PageUp, R, Tab};
    !matches!(
        key,
        R | Escape | Enter | Tab | F1 | F6 | PageUp | PageDown | ArrowDown | ArrowLeft | ArrowRight | ArrowUp
    )
}

/// The talk key in this frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct TalkKey {
    /// It went down: no repeat of a key that is held.
    pub pressed: bool,
    /// It is down.
    pub down: bool,
}

/// Where it is remembered that the keyboard belongs to a text field, though that is closed for the moment.
fn kept() -> Id {
    Id::unique("the keyboard stays with a field")
}

/// Says in this frame whether the keyboard stays with a text field that may be closed for the moment.
pub fn keep_typing(context: &Context, stays: bool) {
    context.data_mut(|d| d.insert_temp(kept(), stays));
}

/// Do letters belong to a text field?
pub fn typing(context: &Context) -> bool {
    context.text_edit_focused() || context.data(|d| d.get_temp(kept())).unwrap_or(false)
}

/// Takes the keys that no control may have. `talks`: the open page is one on which one talks; there the talk key is taken
/// away from whatever has the focus, but for a text field in which it would write something.
pub fn first(context: &Context, talk: Key, talks: bool) -> TalkKey {
    let typing = typing(context);
    if !talks {
        keep_typing(context, false);
    }
    let taken = talks && (!typing || !writes(talk));
    context.input_mut(|i| {
        let mut pressed = false;
        let down = i.key_down(talk);
        i.events.retain(|event| {
            let Event::Key {
                key,
                pressed: true,
                repeat,
                ..
            } = event
            else {
                return true;
            };
            if *key == talk && taken {
                pressed |= !repeat;
                return false;
            }
            // A held key presses a button once.
            !(*repeat && !typing && matches!(key, Key::Space | Key::Enter))
        });
        TalkKey {
            pressed,
            down: down && taken,
        }
    })
}

/// Would the key write something into a text field? Function keys, such as those of foot switches, do not.
fn writes(key: Key) -> bool {
    let name = key.name();
    !(name.len() > 1 && name.starts_with('F') && name[1..].bytes().all(|b| b.is_ascii_digit()))
}

/// At the end of what scrolls: what has just got the focus is brought into sight, and Page Up and Page Down move the view.
pub fn follow(ui: &Ui, salt: impl std::hash::Hash + std::fmt::Debug) {
    let (focus, memory) = (
        ui.memory(eframe::egui::Memory::focused),
        ui.scope_id().with(("focus", salt)),
    );
    let before = ui.data_mut(|d| d.get_temp::<Option<Id>>(memory)).flatten();
    if focus != before {
        ui.data_mut(|d| d.insert_temp(memory, focus));
        // Where the pointer has put the focus, it is in sight already.
        let by_pointer = ui.input(|i| i.pointer.any_down() || i.pointer.any_released());
        if let Some(response) = focus.filter(|_| !by_pointer).and_then(|id| ui.ctx().read_response(id)) {
            let (whole, seen) = (response.rect, response.interact_rect);
            // Cut off, and within what this area holds: not a control that lies beside the area.
            if !seen.expand(1.0).contains_rect(whole) && holds(ui.min_rect(), whole) {
                ui.scroll_to_rect(whole.expand2(Vec2::new(0.0, 12.0)), None);
            }
        }
    }
    let (up, down) = ui.input(|i| (i.key_pressed(Key::PageUp), i.key_pressed(Key::PageDown)));
    if up != down {
        let page = (ui.clip_rect().height() - 40.0).max(40.0);
        ui.scroll_with_delta(Vec2::new(0.0, if up { page } else { -page }));
    }
}

fn holds(area: Rect, thing: Rect) -> bool {
    area.expand(1.0).contains(thing.center())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn function_keys_write_nothing() {
        for (key, writing) in [
            (Key::Space, true),
            (Key::F, true),
            (Key::F13, false),
            (Key::Minus, true),
        ] {
            assert_eq!(writes(key), writing, "{key:?}");
        }
    }
}
