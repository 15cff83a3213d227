//! What lies over a page or around it: its help, messages of trouble, the caution.

use crate::window::look::{self, Hue};
use crate::window::notices::Notice;
use crate::window::page::{Given, Page};
use crate::window::words::Words;
use eframe::egui::{self, Align, Align2, Key, Label, Layout, Panel, ScrollArea, Ui, Vec2};

/// Two messages stand beside each other where each has this width, points.
const MESSAGE: f32 = 340.0;
/// Messages have at most this share of the height.
const MESSAGES: f32 = 0.4;
/// Width of the help, points.
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

/// The messages have a room of their own below the page, two at the most: what is to be read stays in sight, and its top
/// where it was. Gives the one that was closed.
pub(super) fn messages(ui: &mut Ui, given: &Given<'_>) -> Option<usize> {
    if given.shown.troubles.is_empty() {
        return None;
    }
    let mut closed = None;
    let high = ui.available_height() * MESSAGES;
    Panel::bottom("messages").show_separator_line(false).show(ui, |ui| {
        ScrollArea::vertical()
            .id_salt("messages")
            .max_height(high)
            .min_scrolled_height(high)
            .show(ui, |ui| {
                let all: Vec<&Notice> = given.shown.troubles.iter().collect();
                if all.len() > 1 && ui.available_width() >= all.len() as f32 * MESSAGE {
                    ui.columns(all.len(), |columns| {
                        for (i, (ui, notice)) in columns.iter_mut().zip(&all).enumerate() {
                            closed = closed.or(message(ui, given.words, notice).then_some(i));
                        }
                    });
                } else {
                    for (i, notice) in all.iter().enumerate() {
                        closed = closed.or(message(ui, given.words, notice).then_some(i));
                    }
                }
            });
    });
    // What cures itself with time goes without being closed.
    ui.ctx().request_repaint_after(std::time::Duration::from_secs(5));
    closed
}

/// One message; true when it was closed.
fn message(ui: &mut Ui, words: Words, notice: &Notice) -> bool {
    let mut closed = false;
    look::card(ui, Hue::Amber).show(ui, |ui| {
        ui.horizontal_top(|ui| {
            let text = Label::new(notice.text(words)).wrap();
            ui.with_layout(Layout::right_to_left(Align::TOP), |ui| {
                let close = ui.button(words.say("shell.close"));
                closed = close.on_hover_text(words.say("shell.close_hint")).clicked();
                ui.with_layout(Layout::top_down(Align::LEFT), |ui| ui.add(text));
            });
        });
    });
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
