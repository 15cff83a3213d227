//! Forms for what a club changes first: its gliders and its cables. Each field has the checker's messages under it.

use super::{OnDesk, named, problem};
use crate::site::Problem;
use crate::site::edit::{self, AircraftRow, CableRow, Texts};
use crate::window::look;
use crate::window::notices;
use crate::window::words::Words;
use crate::worker::Trouble;
use crate::worker::told::Told as _;
use eframe::egui::{Button, DragValue, Grid, TextEdit, Ui};

/// Rows as they are being typed: the texts have them without spaces at the ends.
pub(super) struct Forms {
    fleet: Result<Vec<AircraftRow>, Trouble>,
    cables: Result<Vec<CableRow>, Trouble>,
    glider: AircraftRow,
    cable: CableRow,
    name: String,
    about: String,
}

impl Default for Forms {
    fn default() -> Self {
        Self {
            fleet: Ok(Vec::new()),
            cables: Ok(Vec::new()),
            glider: AircraftRow::default(),
            cable: CableRow::default(),
            name: String::new(),
            about: String::new(),
        }
    }
}

impl Forms {
    pub fn read(&mut self, texts: &Texts) {
        self.fleet = edit::fleet(texts).map_err(|e| e.told());
        self.cables = edit::cables(texts).map_err(|e| e.told());
        self.name = edit::head(texts, "name").unwrap_or_default();
        self.about = edit::head(texts, "about").unwrap_or_default();
        self.glider = AircraftRow {
            seats: 1,
            ..AircraftRow::default()
        };
        self.cable = CableRow::default();
    }
}

pub(super) fn ui(ui: &mut Ui, words: Words, desk: &mut OnDesk) {
    let (texts, problems, forms) = (&mut desk.texts, &desk.problems, &mut desk.forms);
    let mut failed = None;
    place(ui, words, texts, forms, &mut failed);
    ui.separator();
    let reread = gliders(ui, words, texts, problems, forms, &mut failed)
        | cables(ui, words, texts, problems, forms, &mut failed);
    ui.add(eframe::egui::Label::new(look::remark(words.say("desk.in_the_files"))).wrap());
    others(ui, words, problems);
    if let Some(e) = failed {
        ui.colored_label(look::trouble(ui.visuals().dark_mode), notices::text(words, &e.told()));
    }
    if reread {
        desk.read_forms();
    }
}

fn place(ui: &mut Ui, words: Words, texts: &mut Texts, forms: &mut Forms, failed: &mut Option<edit::EditError>) {
    Grid::new("place").num_columns(2).show(ui, |ui| {
        for (key, field, text) in [
            ("desk.name", "name", &mut forms.name),
            ("desk.place_about", "about", &mut forms.about),
        ] {
            let label = ui.label(words.say(key));
            let edited = ui
                .add(TextEdit::singleline(text).char_limit(200).desired_width(480.0))
                .labelled_by(label.id)
                .changed();
            if edited {
                *failed = edit::set_head(texts, field, text.trim()).err();
            }
            ui.end_row();
        }
    });
}

/// A field of a row; the label names the column and the row, for those who hear it.
fn field(ui: &mut Ui, text: &mut String, width: f32, name: &str) -> bool {
    let response = ui.add(TextEdit::singleline(text).char_limit(80).desired_width(width));
    named(ui, &response, name);
    response.changed()
}

fn heads(ui: &mut Ui, words: Words, keys: &[&'static str]) {
    for key in keys {
        ui.label(look::remark(words.say(key)));
    }
    ui.end_row();
}

/// The table of a file that a line lies in: the n-th `[[name]]`.
fn row_of(text: &str, name: &str, line: usize) -> Option<usize> {
    let head = format!("[[{name}]]");
    let before = text
        .lines()
        .take(line)
        .filter(|l| l.trim_start().starts_with(&head))
        .count();
    before.checked_sub(1)
}

fn row_problems(ui: &mut Ui, words: Words, problems: &[Problem], (file, text): (&str, &str), name: &str, n: usize) {
    for p in problems.iter().filter(|p| p.file == file) {
        if p.line.and_then(|l| row_of(text, name, l)) == Some(n) {
            problem(ui, words, p);
        }
    }
}

fn gliders(
    ui: &mut Ui,
    words: Words,
    texts: &mut Texts,
    problems: &[Problem],
    forms: &mut Forms,
    failed: &mut Option<edit::EditError>,
) -> bool {
    ui.heading(words.say("desk.gliders"));
    let rows = match &mut forms.fleet {
        Ok(rows) => rows,
        Err(why) => {
            ui.colored_label(look::trouble(ui.visuals().dark_mode), notices::text(words, why));
            return false;
        }
    };
    let mut removed = None;
    let text = texts.get("fleet.toml").cloned().unwrap_or_default();
    let mut changed = Vec::new();
    for (n, row) in rows.iter_mut().enumerate() {
        let top = n == 0;
        Grid::new(("glider", n))
            .num_columns(5)
            .min_col_width(40.0)
            .show(ui, |ui| {
                if top {
                    heads(
                        ui,
                        words,
                        &["desk.registration", "desk.type", "desk.seats", "desk.link"],
                    );
                }
                if glider_fields(ui, words, row, false) {
                    changed.push(n);
                }
                let name = words.fill("desk.remove_named", &[("name", &row.registration)]);
                if super::one_of_many(ui, true, words.say("desk.remove"), &name) {
                    removed = Some(n);
                }
                ui.end_row();
            });
        row_problems(ui, words, problems, ("fleet.toml", &text), "aircraft", n);
    }
    for n in changed {
        *failed = edit::set_aircraft(texts, n, &rows[n]).err();
    }
    let count = rows.len();
    ui.add_space(4.0);
    let mut added = false;
    ui.label(words.say("desk.new_glider"));
    ui.horizontal_wrapped(|ui| {
        glider_fields(ui, words, &mut forms.glider, true);
        let may = !forms.glider.registration.trim().is_empty() && !forms.glider.kind.trim().is_empty();
        added = ui.add_enabled(may, Button::new(words.say("desk.add_glider"))).clicked();
    });
    if added {
        *failed = edit::set_aircraft(texts, count, &forms.glider).err();
    }
    if let Some(n) = removed {
        *failed = edit::remove_aircraft(texts, n).err();
    }
    added || removed.is_some()
}

fn glider_fields(ui: &mut Ui, words: Words, row: &mut AircraftRow, new: bool) -> bool {
    // The fields of the new one keep their names while they are filled in.
    let of = if new { String::new() } else { row.registration.clone() };
    let named = |key: &'static str| format!("{} {of}", words.say(key)).trim().to_owned();
    let mut changed = field(ui, &mut row.registration, 110.0, &named("desk.registration"));
    changed |= field(ui, &mut row.kind, 160.0, &named("desk.type"));
    let seats = ui.add(DragValue::new(&mut row.seats).range(1..=2).speed(0.05));
    super::named(ui, &seats, &named("desk.seats"));
    changed |= seats.changed();
    changed |= field(ui, &mut row.weak_link, 110.0, &named("desk.link"));
    changed
}

fn cables(
    ui: &mut Ui,
    words: Words,
    texts: &mut Texts,
    problems: &[Problem],
    forms: &mut Forms,
    failed: &mut Option<edit::EditError>,
) -> bool {
    ui.add_space(8.0);
    ui.heading(words.say("desk.cables"));
    let rows = match &mut forms.cables {
        Ok(rows) => rows,
        Err(why) => {
            ui.colored_label(look::trouble(ui.visuals().dark_mode), notices::text(words, why));
            return false;
        }
    };
    let mut removed = None;
    let text = texts.get("site.toml").cloned().unwrap_or_default();
    let mut changed = Vec::new();
    for (n, row) in rows.iter_mut().enumerate() {
        let top = n == 0;
        Grid::new(("cable", n))
            .num_columns(4)
            .min_col_width(40.0)
            .show(ui, |ui| {
                if top {
                    heads(
                        ui,
                        words,
                        &["desk.cable_id", "desk.cable_taught", "desk.cable_understood"],
                    );
                }
                if cable_fields(ui, words, row, false) {
                    changed.push(n);
                }
                let name = words.fill("desk.remove_named", &[("name", &row.id)]);
                if super::one_of_many(ui, true, words.say("desk.remove"), &name) {
                    removed = Some(n);
                }
                ui.end_row();
            });
        row_problems(ui, words, problems, ("site.toml", &text), "cable", n);
    }
    for n in changed {
        *failed = edit::set_cable(texts, n, &rows[n]).err();
    }
    let count = rows.len();
    ui.add_space(4.0);
    let mut added = false;
    ui.label(words.say("desk.new_cable"));
    ui.horizontal_wrapped(|ui| {
        cable_fields(ui, words, &mut forms.cable, true);
        let may = !forms.cable.id.trim().is_empty() && !forms.cable.taught.trim().is_empty();
        added = ui.add_enabled(may, Button::new(words.say("desk.add_cable"))).clicked();
    });
    ui.label(look::remark(words.say("desk.cable_about")));
    if added {
        *failed = edit::set_cable(texts, count, &forms.cable).err();
    }
    if let Some(n) = removed {
        *failed = edit::remove_cable(texts, n).err();
    }
    added || removed.is_some()
}

fn cable_fields(ui: &mut Ui, words: Words, row: &mut CableRow, new: bool) -> bool {
    let of = if new { String::new() } else { row.id.clone() };
    let named = |key: &'static str| format!("{} {of}", words.say(key)).trim().to_owned();
    let mut changed = field(ui, &mut row.id, 110.0, &named("desk.cable_id"));
    changed |= field(ui, &mut row.taught, 160.0, &named("desk.cable_taught"));
    changed |= field(ui, &mut row.understood, 220.0, &named("desk.cable_understood"));
    changed
}

/// Problems that stand beside no row of this page.
fn others(ui: &mut Ui, words: Words, problems: &[Problem]) {
    let mut elsewhere = problems
        .iter()
        .filter(|p| !["fleet.toml", "site.toml"].contains(&p.file.as_str()) || p.line.is_none())
        .peekable();
    if elsewhere.peek().is_some() {
        ui.separator();
        ui.label(words.say("desk.elsewhere"));
        for p in elsewhere {
            problem(ui, words, p);
        }
    }
}
