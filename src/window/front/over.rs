//! What lies over a page: its help, messages of trouble, the caution.

use super::TWO_SIDES;
use crate::window::look::{self, Hue};
use crate::window::page::{Given, Page};
use crate::window::words::Words;
use eframe::egui::{self, Align, Align2, Key, Label, Layout, ScrollArea, Ui, Vec2};

/// Width of a message and of the help, points.
const MESSAGE: f32 = 420.0;
const HELP: f32 = 460.0;

/// The help lies over the page and pushes nothing away. True when it was closed.
pub(super) fn help(ui: &Ui, page: Page, words: Words) -> bool {
    let mut closed = ui.input(|i| i.key_pressed(Key::Escape));
    let room = ui.ctx().content_rect();
    egui::Window::new(words.say("shell.help_here"))
        .id(egui::Id::unique("help"))
        .title_bar(false)
        .resizable(false)
        .anchor(Align2::RIGHT_TOP, Vec2::new(-10.0, 44.0))
        .show(ui.ctx(), |ui| {
            ui.set_width(HELP.min(room.width() - 40.0).max(1.0));
            ui.horizontal(|ui| {
                ui.heading(words.say(page.entry().name));
                ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
                    closed |= ui.button(words.say("shell.close")).clicked();
                });
            });
            ScrollArea::vertical()
                .max_height((room.height() - 140.0).max(80.0))
                .show(ui, |ui| {
                    for text in words.say(page.entry().help).lines() {
                        ui.add(Label::new(text).wrap());
                    }
                });
        });
    closed
}

/// The messages lie over the page, two at the most, and move nothing; gives the one that was closed.
pub(super) fn messages(ui: &Ui, wide: bool, given: &Given<'_>) -> Option<usize> {
    if given.shown.troubles.is_empty() {
        return None;
    }
    let mut closed = None;
    let words = given.words;
    // Where two sides stand beside each other, below the debrief; else away from the key that talks.
    let beside = wide || ui.ctx().content_rect().width() >= TWO_SIDES;
    let (corner, by) = if beside {
        (Align2::RIGHT_BOTTOM, Vec2::new(-12.0, -40.0))
    } else {
        (Align2::RIGHT_TOP, Vec2::new(-8.0, 44.0))
    };
    let width = MESSAGE.min(ui.ctx().content_rect().width() - 40.0).max(1.0);
    egui::Area::new(egui::Id::unique("messages"))
        .anchor(corner, by)
        .order(egui::Order::Foreground)
        .show(ui.ctx(), |ui| {
            for (i, trouble) in given.shown.troubles.iter().enumerate() {
                look::card(ui, Hue::Amber).show(ui, |ui| {
                    ui.set_width(width);
                    ui.horizontal_top(|ui| {
                        let text = Label::new(trouble.text(words)).wrap();
                        ui.with_layout(Layout::right_to_left(Align::TOP), |ui| {
                            let close = ui.button(words.say("shell.close"));
                            if close.on_hover_text(words.say("shell.close_hint")).clicked() {
                                closed = Some(i);
                            }
                            ui.with_layout(Layout::top_down(Align::LEFT), |ui| ui.add(text));
                        });
                    });
                });
            }
        });
    // What cures itself with time goes without being closed.
    ui.ctx().request_repaint_after(std::time::Duration::from_secs(5));
    closed
}

pub(super) fn caution(ui: &mut Ui, given: &Given<'_>) {
    ui.add_space(1.0);
    let words = given.words;
    let text = match &given.shown.site {
        Some(site) if site.invented => {
            let invented = words.fill("shell.invented", &[("site", &site.name)]);
            format!("{} {invented}", site.caution)
        }
        Some(site) => site.caution.clone(),
        None => words.say("shell.caution").to_owned(),
    };
    ui.add(Label::new(look::remark(text)).wrap());
}
