//! Saving, with what it changes shown before; the site as one file, out and in.

use super::OnDesk;
use crate::call::compare::{Difference, Effect};
use crate::folders::content::FileChange;
use crate::site::edit;
use crate::window::choose::{Choice, is_own};
use crate::window::look;
use crate::window::page::Given;
use crate::window::words::Words;
use crate::worker::Command;
use crate::worker::desk::{Changes, DeskCommand, Looked};
use crate::worker::home::ENDING;
use eframe::egui::{Button, RichText, TextEdit, Ui};
use std::path::PathBuf;

pub(super) fn save(ui: &mut Ui, desk: &mut OnDesk, sure: &mut bool, given: &mut Given<'_>) {
    let words = given.words;
    if desk.unsaved() {
        version(ui, words, desk);
        if desk.compared.as_ref() != Some(&desk.texts) {
            desk.compared = Some(desk.texts.clone());
            desk.changes = None;
            given.ask(Command::Desk(DeskCommand::Compare {
                id: desk.id.clone(),
                texts: desk.texts.clone(),
            }));
        }
        ui.heading(words.say("desk.changes"));
        match &desk.changes {
            Some(changes) => show(ui, words, changes),
            None => drop(ui.label(words.say("desk.comparing"))),
        }
        for p in &desk.problems {
            super::problem(ui, words, p);
        }
        ui.horizontal_wrapped(|ui| {
            // What is saved has been shown.
            let may = desk.problems.is_empty() && desk.changes.is_some();
            if ui.add_enabled(may, Button::new(words.say("desk.save"))).clicked() {
                given.ask(Command::Desk(DeskCommand::Save {
                    id: desk.id.clone(),
                    texts: desk.texts.clone(),
                }));
            }
            if !*sure && ui.button(words.say("desk.drop")).clicked() {
                *sure = true;
            } else if *sure && ui.button(words.say("desk.drop_sure")).clicked() {
                *sure = false;
                given.ask(Command::Desk(DeskCommand::Drop(desk.id.clone())));
            }
        });
        if !desk.problems.is_empty() {
            ui.label(look::remark(words.say("desk.save_not")));
        }
        ui.label(look::remark(words.say("desk.save_about")));
        return;
    }
    ui.label(words.say("desk.nothing_to_save"));
    ui.separator();
    ui.heading(words.say("desk.export"));
    ui.label(words.say("desk.export_about"));
    if ui.button(words.say("desk.export_do")).clicked() {
        given.ask(Command::Desk(DeskCommand::Export {
            id: desk.id.clone(),
            file: None,
        }));
    }
}

fn version(ui: &mut Ui, words: Words, desk: &mut OnDesk) {
    let mut version = edit::head(&desk.texts, "version").unwrap_or_default();
    ui.horizontal_wrapped(|ui| {
        let label = ui.label(words.say("desk.version"));
        let field = ui
            .add(TextEdit::singleline(&mut version).char_limit(20).desired_width(100.0))
            .labelled_by(label.id);
        if field.changed() {
            // A file with mistakes keeps its version until they are mended.
            let _ = edit::set_head(&mut desk.texts, "version", version.trim());
        }
        ui.label(look::remark(words.say("desk.version_about")));
    });
}

/// What differs: files, words, and what it means for old scores.
pub(super) fn show(ui: &mut Ui, words: Words, changes: &Changes) {
    if changes.files.is_empty() {
        ui.label(words.say("desk.same"));
        return;
    }
    for (name, change) in &changes.files {
        ui.label(look::remark(format!("{name}: {}", file_change(words, *change))));
    }
    for difference in &changes.differences {
        ui.label(in_words(words, difference));
    }
    if changes.differences.is_empty() {
        ui.label(words.say("desk.same_meaning"));
    }
    ui.add_space(4.0);
    ui.label(look::bold(words.say("desk.scores")));
    if changes.effects.is_empty() {
        ui.label(words.say("desk.no_effect"));
    }
    for (effect, all, this) in &changes.effects {
        ui.label(effect_in_words(words, effect, *all, *this));
    }
    if let Some(version) = &changes.same_version {
        let colour = look::trouble(ui.visuals().dark_mode);
        let text = words.fill("desk.count_up", &[("version", version)]);
        ui.label(RichText::new(text).color(colour));
    }
}

fn file_change(words: Words, change: FileChange) -> String {
    match change {
        FileChange::Added => words.say("desk.file_new").to_owned(),
        FileChange::Removed => words.say("desk.file_gone").to_owned(),
        FileChange::Changed { gone: 0, come: 0 } => words.say("desk.file_other").to_owned(),
        FileChange::Changed { gone, come } => words.fill(
            "desk.file_lines",
            &[("gone", &gone.to_string()), ("come", &come.to_string())],
        ),
    }
}

/// Fields whose values are words of the program's own, not the site's.
const OWN_WORDS: [&str; 13] = [
    "language",
    "invented",
    "callsign",
    "number pairs forbidden",
    "type in the ready call",
    "cable may be dropped",
    "stops",
    "type said",
    "crew said",
    "by",
    "may be left out",
    "with the release",
    "unit",
];

/// Fields that name somebody.
const PEOPLE: [&str; 7] = [
    "speaker",
    "to",
    "given by",
    "who prompts",
    "who answers",
    "who asks",
    "who asks for all",
];

pub(super) fn in_words(words: Words, d: &Difference) -> String {
    let mut what = words.thing(d.item);
    if !d.id.is_empty() {
        what = format!("{what} {}", d.id);
    }
    if let Some(value) = &d.value {
        what = format!("{what}, {}", words.fill("desk.quoted", &[("text", value)]));
    }
    if !d.field.is_empty() {
        what = format!("{what}, {}", words.thing(d.field));
    }
    let shown = |text: &str| {
        if text.is_empty() {
            return words.say("desk.nothing").to_owned();
        }
        let text = match d.field {
            // (A whole height band is told by its three fields, the unit last.)
            "" if d.item == "height band" => {
                let parts = text.split("; ").map(|part| words.value(part));
                parts.collect::<Vec<_>>().join("; ")
            }
            field if OWN_WORDS.contains(&field) => words.value(text),
            field if PEOPLE.contains(&field) => words.role(text),
            _ => text.to_owned(),
        };
        words.fill("desk.quoted", &[("text", &text)])
    };
    match (&d.before, &d.after) {
        (Some(before), Some(after)) => words.fill(
            "desk.from_to",
            &[("what", &what), ("before", &shown(before)), ("after", &shown(after))],
        ),
        (None, Some(after)) => words.fill("desk.is_new", &[("what", &what), ("text", &shown(after))]),
        (Some(before), None) => words.fill("desk.is_gone", &[("what", &what), ("text", &shown(before))]),
        (None, None) => what,
    }
}

fn effect_in_words(words: Words, effect: &Effect, all: u64, this: u64) -> String {
    let parts = effect.parts.join(", ");
    let what = if effect.gone {
        words.fill("desk.effect_gone", &[("step", &effect.title)])
    } else {
        words.fill("desk.effect", &[("step", &effect.title), ("parts", &parts)])
    };
    let (all_text, this) = (all.to_string(), this.to_string());
    let old = if all == 0 {
        words.say("desk.no_attempts").to_owned()
    } else {
        words.fill("desk.old_attempts", &[("n", &all_text), ("this", &this)])
    };
    format!("{what} {old}")
}

/// A site comes in as one file: named by its path or dropped on the window, looked into, then taken.
pub(super) fn import(
    ui: &mut Ui,
    given: &mut Given<'_>,
    path: &mut String,
    choice: &mut Choice,
    looked: Option<&Looked>,
) {
    let words = given.words;
    ui.add_space(8.0);
    ui.heading(words.say("desk.import"));
    ui.label(words.say("desk.import_about"));
    let dropped = ui.input(|i| {
        i.raw
            .dropped_files
            .iter()
            .map(|f| f.path().to_path_buf())
            // The program's own files are opened by the shell, whatever is in them.
            .find(|p| !p.as_os_str().is_empty() && !is_own(p))
    });
    let mut look = false;
    if let Some(file) = dropped {
        *path = file.display().to_string();
        look = true;
    }
    if let Some(file) = choice.chosen() {
        *path = file.display().to_string();
        look = true;
    }
    ui.horizontal_wrapped(|ui| {
        let label = ui.label(words.say("desk.import_file"));
        ui.add(TextEdit::singleline(path).desired_width(380.0))
            .labelled_by(label.id);
        if ui.button(words.say("choose.open")).clicked() {
            choice.open(ui.ctx(), words, &[("choose.sites", &[ENDING, "zip"])]);
        }
        let may = !path.trim().is_empty();
        look |= ui
            .add_enabled(may, Button::new(words.say("desk.import_look")))
            .clicked();
    });
    if look {
        given.ask(Command::Desk(DeskCommand::Look(PathBuf::from(path.trim()))));
    }
    let Some(looked) = looked else { return };
    let values = [
        ("name", looked.name.as_str()),
        ("id", looked.id.as_str()),
        ("version", looked.version.as_str()),
    ];
    ui.label(look::bold(words.fill("desk.import_holds", &values)));
    let key = match &looked.changes {
        None => "desk.import_take",
        Some(changes) => {
            show(ui, words, changes);
            if changes.files.is_empty() {
                return;
            }
            "desk.import_replace"
        }
    };
    if ui.button(words.say(key)).clicked() {
        given.ask(Command::Desk(DeskCommand::TakeIn(looked.file.clone())));
    }
}
