//! The push-to-talk key: the button under the mouse, the talk key (the Space bar unless another was chosen, such as that of a
//! foot switch), or a switch for those who cannot hold.

use super::keys::{self, TalkKey};
use super::look::{self, Hue};
use super::page::Given;
use super::words::Words;
use eframe::egui::{Button, Event, Key, Response, Sense, Stroke, Ui, Vec2};

/// What the key did since the last frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moved {
    /// Went down.
    Down,
    /// Went up.
    Up,
    /// Escape: throw the call away.
    Cancel,
}

/// The hand: the glider's release, or the winch's power. A control apart from the key, since the hand comes before the
/// voice: it works while the key is held too. `label` is the key of its name. True when it was used.
///
/// The letter R uses it wherever the keyboard's focus is, except in a text field; F2, which writes nothing, works there too.
pub fn hand(ui: &mut Ui, words: Words, label: &'static str, enabled: bool) -> bool {
    let typing = keys::typing(ui.ctx());
    let text = format!("{} ({})", words.say(label), if typing { "F2" } else { "R" });
    let size = Vec2::new(ui.available_width(), 48.0);
    // A thick amber edge: neither the filled key that talks nor a ring of the focus.
    let button = Button::new(look::bold(text).size(18.0)).stroke(Stroke::new(3.0, Hue::Amber.on(ui)));
    let button = ui.add_enabled_ui(enabled, |ui| ui.add_sized(size, button)).inner;
    let key = ui.input(|i| {
        i.events.iter().any(|e| {
            matches!(
                e,
                Event::Key {
                    key,
                    pressed: true,
                    repeat: false,
                    modifiers,
                    ..
                } if !modifiers.command && !modifiers.alt && (*key == Key::F2 || *key == Key::R && !typing)
            )
        })
    });
    enabled && (button.clicked() || key)
}

/// The talk key's name for the reader.
pub fn key_name(words: Words, key: Key) -> &'static str {
    if key == Key::Space {
        words.say("talk.space")
    } else {
        key.name()
    }
}

/// The key's memory between frames.
#[derive(Debug, Default)]
pub struct Talk {
    held: bool,
    /// Switched on by Enter or by assistive technology, which cannot hold a button.
    switched: bool,
    was_transmitting: bool,
}

impl Talk {
    /// Draw the key and read it. `transmitting` is the worker's word for what is going on; `high` the height of the button.
    ///
    /// Enter or assistive technology switch it on and off. The talk key talks whatever has the keyboard's focus, but for a text
    /// field (see [`super::keys`]).
    pub fn ui(
        &mut self,
        ui: &mut Ui,
        given: &mut Given<'_>,
        transmitting: bool,
        enabled: bool,
        high: f32,
    ) -> Vec<Moved> {
        let words = given.words;
        let text = if transmitting {
            words.say("talk.release").to_owned()
        } else {
            let typing = keys::typing(ui.ctx()) && given.shown.microphone.is_some();
            let text = if typing { "talk.typing" } else { "talk.hold" };
            words.fill(text, &[("key", key_name(words, given.settings.talk_key()))])
        };
        let size = Vec2::new(ui.available_width(), high);
        let fill = if transmitting { Hue::Red } else { Hue::Accent };
        let text = look::bold(text)
            .size(if high > 56.0 { 20.0 } else { 16.0 })
            .color(Hue::OnAccent.on(ui));
        // A plain button lets go after the longest click time; one that can be dragged stays down.
        let button = Button::new(text).fill(fill.on(ui)).sense(Sense::click_and_drag());
        let button = ui.add_enabled_ui(enabled, |ui| ui.add_sized(size, button)).inner;
        look::ring(ui, &button);
        // Without a microphone the call is typed: the keyboard goes there.
        if given.shown.microphone.is_some() {
            given.main(ui, &button);
        }
        self.read(ui, &button, given.talk, transmitting, enabled)
    }

    fn read(&mut self, ui: &Ui, button: &Response, talk: TalkKey, transmitting: bool, enabled: bool) -> Vec<Moved> {
        let mut out = Vec::new();
        let (focused, escape, pointer_moved) = ui.input(|i| {
            (
                i.focused,
                i.key_pressed(Key::Escape),
                i.pointer.any_pressed() || i.pointer.any_released(),
            )
        });
        if escape {
            self.switched = false;
            if transmitting || self.held {
                out.push(Moved::Cancel);
            }
        }
        // The call ended by itself: the longest time was reached, the microphone went away.
        if self.was_transmitting && !transmitting {
            self.switched = false;
        }
        self.was_transmitting = transmitting;
        // A key that went down elsewhere (in a text field) does not begin a call here.
        let by_key = talk.down && (talk.pressed || self.held);
        let by_mouse = button.is_pointer_button_down_on();
        if button.clicked() && !talk.pressed && !pointer_moved {
            self.switched = !self.switched;
        }
        // Without the window's focus no key-up would come.
        let held = enabled && (focused || by_mouse) && (by_key || by_mouse || self.switched);
        if held != self.held {
            self.held = held;
            out.push(if held { Moved::Down } else { Moved::Up });
        }
        out
    }
}
