//! The phrase desk: a copy of a site edited in the window, with the checker's messages beside it, its prompts recorded, calls
//! tried against it before it is saved, and the whole passed on as one file.
//!
//! `desk/fleet.rs` has the forms, `texts.rs` the files as texts, `prompts.rs` the recordings, `tryout.rs` a call against the
//! unsaved version, `pass_on.rs` saving, differences, export and import.

mod fleet;
mod pass_on;
mod prompts;
mod texts;
mod tryout;

use super::choose::Choice;
use super::look;
use super::notices;
use super::page::{Content, Given};
use super::practice::list;
use super::shown::Shown;
use super::words::Words;
use crate::site::edit::{self, Texts};
use crate::site::{Language, Problem, Site};
use crate::worker::desk::{Changes, DeskCommand, DeskEvent, Looked, Opened, files_of};
use crate::worker::told::Told as _;
use crate::worker::{Command, Event, Trouble};
use eframe::egui::{Button, RichText, TextEdit, Ui};
use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

/// The draft is kept this long after the last change, seconds.
const PAUSE: f64 = 1.0;

/// The parts of the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum Part {
    #[default]
    Fleet,
    Texts,
    Prompts,
    Try,
    Save,
}

const PARTS: [(Part, &str); 5] = [
    (Part::Fleet, "desk.part_fleet"),
    (Part::Texts, "desk.part_texts"),
    (Part::Prompts, "desk.part_prompts"),
    (Part::Try, "desk.part_try"),
    (Part::Save, "desk.part_save"),
];

/// A site on the desk.
struct OnDesk {
    id: String,
    /// As saved.
    saved: Texts,
    /// As they are now.
    texts: Texts,
    /// Recordings and notes.
    others: BTreeSet<String>,
    /// What the checker says of the texts as they are now.
    site: Option<Arc<Site>>,
    problems: Vec<Problem>,
    /// What was handed over as the draft last.
    kept: Texts,
    /// When the last change was, by the window's clock.
    changed_at: f64,
    /// What saving would change, and for which texts that was asked.
    changes: Option<Changes>,
    compared: Option<Texts>,
    forms: fleet::Forms,
    prompts: prompts::Prompts,
    tryout: tryout::Tryout,
    file: usize,
    /// The line to go to in the file open as text.
    jump: Option<usize>,
    /// The texts that the forms were read from last.
    forms_read: Texts,
}

impl OnDesk {
    fn new(id: String, saved: Texts, texts: Texts, others: BTreeSet<String>) -> Self {
        let mut desk = Self {
            id,
            kept: texts.clone(),
            saved,
            texts,
            others,
            site: None,
            problems: Vec::new(),
            changed_at: 0.0,
            changes: None,
            compared: None,
            forms: fleet::Forms::default(),
            prompts: prompts::Prompts::default(),
            tryout: tryout::Tryout::default(),
            file: 0,
            jump: None,
            forms_read: Texts::new(),
        };
        desk.check();
        desk.read_forms();
        desk
    }

    /// After every change: what does the checker say?
    fn check(&mut self) {
        match Site::check(&files_of(&self.id, &self.texts, &self.others)) {
            Ok(site) => {
                self.site = Some(Arc::new(site));
                self.problems.clear();
            }
            Err(problems) => {
                self.site = None;
                self.problems = problems.list;
            }
        }
        self.changes = None;
        self.compared = None;
    }

    /// The forms from the texts, after the texts changed by other means.
    fn read_forms(&mut self) {
        self.forms.read(&self.texts);
        self.prompts.read(&self.texts);
        self.forms_read.clone_from(&self.texts);
    }

    /// The language of the calls, also while there are mistakes.
    fn language(&self) -> Option<Language> {
        if let Some(site) = &self.site {
            return Some(site.language);
        }
        edit::head(&self.texts, "language").ok()?.parse().ok()
    }

    /// The name of whoever speaks: the site's own; the window's while there are mistakes.
    fn who(&self, words: Words, role: &str) -> String {
        let site = self.site.as_ref();
        site.map_or_else(|| words.role(role), |s| s.role_name(role).to_owned())
    }

    fn unsaved(&self) -> bool {
        self.texts != self.saved
    }
}

/// The page.
#[derive(Default)]
pub struct DeskPage {
    desk: Option<OnDesk>,
    /// A site that is not the user's own, and the name for a copy of it.
    ships: Option<String>,
    copy_name: String,
    /// A draft that was left behind, not taken up yet.
    offered: Option<Opened>,
    part: Part,
    /// What was done or could not be done last.
    told: Option<Told>,
    /// "Throw away" was pressed once.
    sure: bool,
    looked: Option<Looked>,
    archive: String,
    choice: Choice,
    /// Asked for outside `ui`.
    waiting: Vec<Command>,
}

/// A message of the desk.
enum Told {
    Failed(Trouble),
    /// Saved, with the place of the version before.
    Saved(Option<String>),
    TakenIn(String),
    Exported(String),
    Recorded(f64),
}

impl Content for DeskPage {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        for command in self.waiting.drain(..) {
            given.ask(command);
        }
        let words = given.words;
        ui.label(RichText::new(words.say("desk.heading")).text_style(look::title()));
        ui.add(eframe::egui::Label::new(look::remark(words.say("desk.about"))).wrap());
        self.choose(ui, given);
        self.messages(ui, words);
        if let Some(opened) = self.offered.take() {
            self.offer(ui, words, opened, given);
            return;
        }
        if let Some(name) = self.ships.clone() {
            self.copy(ui, &name, given);
        }
        if self.desk.is_some() {
            self.on_desk(ui, given);
        } else {
            pass_on::import(ui, given, &mut self.archive, &mut self.choice, self.looked.as_ref());
        }
        self.keep(ui, given);
    }

    fn take(&mut self, event: &Event) {
        if let Event::Desk(event) = event {
            self.told_by(event);
        }
    }

    fn left(&mut self, _: &Shown) -> Vec<Command> {
        let mut commands = vec![
            Command::WatchLevel(false),
            Command::Desk(DeskCommand::RecordingCancelled),
        ];
        commands.extend(self.draft());
        commands
    }
}

impl DeskPage {
    /// A site in a file that was given in another way than by this page's fields: what the worker must do about it.
    pub fn given(&mut self, file: &Path) -> Command {
        self.archive = file.display().to_string();
        Command::Desk(DeskCommand::Look(file.to_path_buf()))
    }

    fn told_by(&mut self, event: &DeskEvent) {
        match event {
            DeskEvent::Opened(opened) => self.opened_site((**opened).clone()),
            DeskEvent::Kept(_) => {}
            DeskEvent::Dropped(id) => {
                if let Some(desk) = self.desk.as_mut().filter(|d| &d.id == id) {
                    let texts = desk.saved.clone();
                    *desk = OnDesk::new(id.clone(), texts.clone(), texts, desk.others.clone());
                }
                // What is there is read again: prompts of the draft are gone too.
                self.waiting.push(Command::Desk(DeskCommand::Open(id.clone())));
            }
            DeskEvent::Saved { id, older } => {
                if let Some(desk) = self.desk.as_mut().filter(|d| &d.id == id) {
                    desk.saved.clone_from(&desk.texts);
                    desk.kept.clone_from(&desk.texts);
                    desk.changes = None;
                    desk.compared = None;
                }
                self.told = Some(Told::Saved(older.as_ref().map(|p| p.display().to_string())));
            }
            DeskEvent::Changes(changes) => {
                if let Some(desk) = &mut self.desk {
                    desk.changes = Some((**changes).clone());
                }
            }
            DeskEvent::Exported(file) => self.told = Some(Told::Exported(file.display().to_string())),
            DeskEvent::Looked(looked) => {
                self.looked = Some((**looked).clone());
                self.told = None;
            }
            DeskEvent::TakenIn { id, .. } => {
                self.looked = None;
                self.told = Some(Told::TakenIn(id.clone()));
                self.waiting.push(Command::Desk(DeskCommand::Open(id.clone())));
            }
            DeskEvent::Recording { name } => {
                if let Some(desk) = &mut self.desk {
                    desk.prompts.recording = Some(name.clone());
                }
            }
            DeskEvent::NotRecorded { .. } => {
                if let Some(desk) = &mut self.desk {
                    desk.prompts.recording = None;
                }
            }
            DeskEvent::Recorded { id, name, seconds } => self.recorded(id, name, *seconds),
            DeskEvent::Failed(why) => self.told = Some(Told::Failed(why.clone())),
        }
    }

    fn opened_site(&mut self, opened: Opened) {
        self.sure = false;
        self.ships = None;
        self.desk = None;
        self.offered = None;
        if !opened.own {
            self.ships = Some(opened.id);
            return;
        }
        if opened.draft.as_ref().is_some_and(|d| *d != opened.texts) {
            self.offered = Some(opened);
            return;
        }
        self.desk = Some(OnDesk::new(
            opened.id,
            opened.texts.clone(),
            opened.texts,
            opened.others,
        ));
    }

    fn recorded(&mut self, id: &str, name: &str, seconds: f64) {
        let Some(desk) = self.desk.as_mut().filter(|d| d.id == id) else {
            return;
        };
        desk.prompts.recording = None;
        desk.others.insert(name.to_owned());
        let row = desk.prompts.rows.iter().find(|r| r.file() == name).cloned();
        let named = row.map(|r| edit::set_clip(&mut desk.texts, &r.step, r.kind, Some(name)));
        self.told = Some(match named {
            Some(Err(e)) => Told::Failed(e.told()),
            _ => Told::Recorded(seconds),
        });
        desk.check();
        desk.read_forms();
    }

    /// Which site lies on the desk.
    fn choose(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        let now = self.desk.as_ref().map(|d| d.id.clone()).or_else(|| self.ships.clone());
        let named = |id: &str| {
            let found = given.shown.sites.iter().find(|s| s.id == id);
            found.map_or_else(|| id.to_owned(), |s| s.name.clone())
        };
        let text = now.as_deref().map_or_else(|| words.say("desk.none").to_owned(), named);
        let mut wanted = None;
        ui.horizontal_wrapped(|ui| {
            list(ui, "desk.site", words, &text, |ui| {
                for site in &given.shown.sites {
                    let chosen = now.as_deref() == Some(site.id.as_str());
                    if ui.selectable_label(chosen, &site.name).clicked() {
                        wanted = Some(site.id.clone());
                    }
                }
            });
        });
        if let Some(id) = wanted {
            if let Some(command) = self.draft() {
                given.ask(command);
            }
            self.told = None;
            given.ask(Command::Desk(DeskCommand::Open(id)));
        }
    }

    fn messages(&self, ui: &mut Ui, words: Words) {
        let (text, good) = match &self.told {
            None => return,
            Some(Told::Failed(why)) => (notices::text(words, why), false),
            Some(Told::Saved(Some(older))) => (words.fill("desk.saved_older", &[("place", older)]), true),
            Some(Told::Saved(None)) => (words.say("desk.saved").to_owned(), true),
            Some(Told::TakenIn(id)) => (words.fill("desk.taken_in", &[("id", id)]), true),
            Some(Told::Exported(file)) => (words.fill("desk.exported", &[("file", file)]), true),
            Some(Told::Recorded(s)) => {
                let seconds = words.language().decimal(*s as f32, 1);
                (words.fill("desk.recorded", &[("seconds", &seconds)]), true)
            }
        };
        let hue = if good { look::Hue::Green } else { look::Hue::Amber };
        look::card(ui, hue).show(ui, |ui| {
            ui.add(eframe::egui::Label::new(RichText::new(text).color(hue.on(ui))).wrap())
        });
    }

    /// A draft was left behind: take it up, or throw it away.
    fn offer(&mut self, ui: &mut Ui, words: Words, opened: Opened, given: &mut Given<'_>) {
        ui.add_space(8.0);
        ui.label(words.fill("desk.draft", &[("id", &opened.id)]));
        let mut open = Some(opened);
        ui.horizontal_wrapped(|ui| {
            if ui.button(words.say("desk.draft_take")).clicked()
                && let Some(o) = open.take()
            {
                let draft = o.draft.unwrap_or_else(|| o.texts.clone());
                self.desk = Some(OnDesk::new(o.id, o.texts, draft, o.others));
            }
            if ui.button(words.say("desk.draft_drop")).clicked()
                && let Some(o) = open.take()
            {
                given.ask(Command::Desk(DeskCommand::Drop(o.id)));
            }
        });
        self.offered = open;
    }

    /// A site that ships is copied first.
    fn copy(&mut self, ui: &mut Ui, from: &str, given: &mut Given<'_>) {
        let words = given.words;
        ui.add_space(8.0);
        ui.label(words.say("desk.copy_first"));
        ui.horizontal_wrapped(|ui| {
            let label = ui.label(words.say("desk.copy_name"));
            ui.add(
                TextEdit::singleline(&mut self.copy_name)
                    .char_limit(60)
                    .desired_width(240.0),
            )
            .labelled_by(label.id);
            let may = !edit::id_from(&self.copy_name).is_empty();
            if ui.add_enabled(may, Button::new(words.say("desk.copy"))).clicked() {
                given.ask(Command::Desk(DeskCommand::Copy {
                    from: from.to_owned(),
                    name: std::mem::take(&mut self.copy_name),
                }));
            }
        });
    }

    fn on_desk(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        let Some(desk) = &mut self.desk else { return };
        ui.add_space(4.0);
        state_line(ui, words, desk);
        ui.horizontal_wrapped(|ui| {
            for (part, key) in PARTS {
                if ui.add(Button::selectable(self.part == part, words.say(key))).clicked() {
                    self.part = part;
                }
            }
        });
        ui.separator();
        let before = desk.texts.clone();
        match self.part {
            Part::Fleet => fleet::ui(ui, words, desk),
            Part::Texts => texts::ui(ui, words, desk),
            Part::Prompts => prompts::ui(ui, desk, given),
            Part::Try => tryout::ui(ui, words, desk),
            Part::Save => {
                pass_on::save(ui, desk, &mut self.sure, given);
                ui.separator();
                pass_on::import(ui, given, &mut self.archive, &mut self.choice, self.looked.as_ref());
            }
        }
        if desk.texts != before {
            desk.changed_at = ui.input(|i| i.time);
            desk.check();
            self.told = None;
            self.sure = false;
        }
    }

    /// Keep the draft a moment after the last change.
    fn keep(&mut self, ui: &Ui, given: &mut Given<'_>) {
        let Some(desk) = &self.desk else { return };
        if desk.texts == desk.kept {
            return;
        }
        let since = ui.input(|i| i.time) - desk.changed_at;
        if since >= PAUSE {
            if let Some(command) = self.draft() {
                given.ask(command);
            }
        } else {
            let rest = Duration::from_secs_f64((PAUSE - since).clamp(0.01, PAUSE));
            ui.ctx().request_repaint_after(rest);
        }
    }

    /// The draft, where it is not on disk yet.
    fn draft(&mut self) -> Option<Command> {
        let desk = self.desk.as_mut().filter(|d| d.texts != d.kept)?;
        desk.kept.clone_from(&desk.texts);
        Some(Command::Desk(DeskCommand::Keep {
            id: desk.id.clone(),
            texts: desk.texts.clone(),
        }))
    }
}

/// What the checker says, and whether it is saved.
fn state_line(ui: &mut Ui, words: Words, desk: &OnDesk) {
    let dark = ui.visuals().dark_mode;
    ui.horizontal_wrapped(|ui| {
        if desk.problems.is_empty() {
            ui.label(RichText::new(words.say("desk.no_problems")).color(look::good(dark)));
        } else {
            let text = words.count("desk.problem", "desk.problems", desk.problems.len());
            ui.label(RichText::new(text).color(look::trouble(dark)).strong());
        }
        let key = if desk.unsaved() {
            "desk.unsaved"
        } else {
            "desk.all_saved"
        };
        ui.label(look::remark(words.say(key)));
    });
}

/// The name of a field that has no label beside it, for those who hear it.
fn named(ui: &Ui, field: &eframe::egui::Response, name: &str) {
    ui.ctx().accesskit_node_builder(field.id, |node| node.set_label(name));
}

/// A button of which there are many: what it is for is in its name for assistive technology, and shown under the pointer.
fn one_of_many(ui: &mut Ui, enabled: bool, text: &str, name: &str) -> bool {
    let button = ui.add_enabled(enabled, Button::new(text));
    named(ui, &button, name);
    button.on_hover_text(name).clicked()
}

/// A problem in the checker's words, with its place.
fn problem(ui: &mut Ui, words: Words, problem: &Problem) {
    let colour = look::trouble(ui.visuals().dark_mode);
    let place = match problem.line {
        Some(line) => words.fill("desk.place", &[("file", &problem.file), ("line", &line.to_string())]),
        None => problem.file.clone(),
    };
    ui.label(RichText::new(format!("{place}: {}. {}", problem.wrong, problem.right)).color(colour));
}

#[cfg(test)]
mod tests;
