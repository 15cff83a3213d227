//! What an instructor does with the record: disputed calls, reports, practice for home, people, the record itself. What takes
//! something away is shown first and asked about. Behind the PIN, where an instructor has one.

mod disputed;
mod handing;
mod papers;
mod people;
mod record;

pub(super) use papers::wall;

use super::look::{self, Hue};
use super::notices;
use super::page::{Content, Given};
use super::practice::list;
use super::shown::Shown;
use super::sides;
use super::words::Words;
use crate::logbook::{Class, Student};
use crate::worker::meeting::{ClassCommand, ClassEvent};
use crate::worker::office::{OfficeCommand, OfficeEvent, PersonChange};
use crate::worker::{Command, Event, Trouble};
use eframe::egui::{Button, Label, Panel, Response, RichText, TextEdit, Ui};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use uuid::Uuid;

/// What the page is about at the moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum Tab {
    #[default]
    Disputed,
    Papers,
    Handing,
    People,
    Record,
}

const TABS: [(Tab, &str); 5] = [
    (Tab::Disputed, "office.disputed"),
    (Tab::Papers, "office.papers"),
    (Tab::Handing, "office.handing"),
    (Tab::People, "office.people"),
    (Tab::Record, "office.record"),
];

/// The page.
#[derive(Default)]
pub struct OfficePage {
    tab: Tab,
    /// A PIN is needed.
    locked: bool,
    /// Who gave theirs.
    by: Option<Uuid>,
    /// Who is about to, and the PIN.
    who: Option<Uuid>,
    pin: String,
    /// Somebody said that a PIN is forgotten, and is asked about.
    forgetting: bool,
    classes: Vec<Class>,
    /// Something goes on: so many of so many, where that is known.
    busy: Option<(usize, usize)>,
    told: Vec<Told>,
    disputed: disputed::Disputes,
    papers: papers::Papers,
    handing: handing::Handing,
    people: people::People,
    record: record::Record,
}

/// A line about what was done, or why it was not.
enum Told {
    /// A text of the window's with what is filled in.
    Done(&'static str, Vec<(&'static str, String)>),
    /// A sentence of the logbook's.
    Note(String),
    Failed(Trouble),
}

/// What the tabs are given beside the page's own.
struct Around<'a> {
    classes: &'a [Class],
    /// Who gave their PIN.
    by: Option<Uuid>,
    /// Something goes on.
    busy: bool,
}

impl Content for OfficePage {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        look::dense(ui);
        if self.locked {
            sides::scrolls(ui, "office locked", |ui| self.door(ui, given));
            return;
        }
        let mut tab = None;
        Panel::top("office")
            .resizable(false)
            .show(ui, |ui| tab = self.head(ui, given));
        Panel::bottom("office told")
            .resizable(false)
            .show(ui, |ui| self.told(ui, given));
        let around = Around {
            classes: &self.classes,
            by: self.by,
            busy: self.busy.is_some(),
        };
        let mut begun = false;
        sides::scrolls(ui, ("office", self.tab as u8), |ui| {
            begun = match self.tab {
                Tab::Disputed => self.disputed.ui(ui, given, &around),
                Tab::Papers => self.papers.ui(ui, given, &around),
                Tab::Handing => self.handing.ui(ui, given, &around),
                Tab::People => self.people.ui(ui, given, &around),
                Tab::Record => self.record.ui(ui, given, words, &around),
            };
        });
        // Where a part has no main action of its own, the keyboard is at its name.
        if let Some(tab) = tab {
            given.main(ui, &tab);
        }
        if begun {
            self.busy = Some((0, 0));
            self.told.clear();
        }
    }

    fn take(&mut self, event: &Event) {
        match event {
            Event::Class(ClassEvent::Classes(classes)) => self.classes.clone_from(classes),
            Event::Office(event) => {
                if !matches!(event, OfficeEvent::Working(..)) {
                    self.busy = None;
                }
                self.told_by(event);
            }
            _ => {}
        }
    }

    fn opened(&mut self, _: &Shown) -> Vec<Command> {
        let list = Command::Class(ClassCommand::List);
        vec![list, Command::Office(OfficeCommand::Look)]
    }

    fn left(&mut self, _: &Shown) -> Vec<Command> {
        self.pin.clear();
        self.told.clear();
        self.forgetting = false;
        self.disputed.close();
        self.people = people::People::default();
        self.record.forget();
        // Where nobody has one nothing is locked.
        self.locked = self.by.is_some();
        vec![Command::Office(OfficeCommand::Lock)]
    }

    fn in_column(&self) -> bool {
        false
    }
}

impl OfficePage {
    fn told_by(&mut self, event: &OfficeEvent) {
        let done = |key, facts: &[(&'static str, String)]| Told::Done(key, facts.to_vec());
        self.disputed.take(event);
        self.handing.take(event);
        self.people.take(event);
        self.record.take(event);
        match event {
            OfficeEvent::Unlocked(by) => {
                // It comes after a merge too, of which something was told.
                if self.locked {
                    self.told.clear();
                }
                self.locked = false;
                self.by = *by;
                self.pin.clear();
                self.forgetting = false;
            }
            OfficeEvent::Locked => {
                self.locked = true;
                self.by = None;
            }
            OfficeEvent::Working(n, of) => self.busy = Some((*n, *of)),
            OfficeEvent::Failed(why) => self.told = vec![Told::Failed(why.clone())],
            OfficeEvent::Ruled(_) => self.told = vec![done("office.ruled", &[])],
            OfficeEvent::Removed(_) => self.told = vec![done("office.call_removed", &[])],
            OfficeEvent::Written(file) => {
                let file = file.display().to_string();
                self.told = vec![done("office.written", &[("file", file)])];
            }
            OfficeEvent::HandedOut(out) => {
                let folder = ("folder", out.folder.display().to_string());
                let facts = [("n", out.files.to_string()), ("of", out.of.to_string()), folder];
                let key = match out.files {
                    n if n < out.of => "office.handed_out_part",
                    1 => "office.handed_out_one",
                    _ => "office.handed_out",
                };
                self.told = vec![done(key, &facts), done("office.handed_out_how", &[])];
                if out.before > 0 {
                    let before = [("n", out.before.to_string())];
                    self.told.insert(1, done("office.handed_out_before", &before));
                }
            }
            OfficeEvent::PinForgotten(at) => {
                let at = at.map(here);
                self.told = vec![match at {
                    Some(at) => done("office.pin_goes", &[("at", at)]),
                    None => done("office.pin_gone", &[]),
                }];
                self.forgetting = false;
            }
            OfficeEvent::Joined(joined) => {
                let facts = [
                    ("name", joined.student.name.clone()),
                    ("n", joined.attempts.to_string()),
                    ("recordings", joined.recordings_removed.to_string()),
                ];
                self.told = vec![done("office.joined", &facts)];
                self.told.extend(joined.problems.iter().cloned().map(Told::Note));
            }
            OfficeEvent::Forgotten(name, gone) => {
                let facts = [
                    ("name", name.clone()),
                    ("n", gone.attempts.to_string()),
                    ("recordings", gone.recordings.to_string()),
                ];
                self.told = vec![done("office.forgotten", &facts), done("office.copies", &[])];
                let files = gone.may_still_hold.iter().map(|f| ("file", f.display().to_string()));
                self.told.extend(files.map(|f| done("office.may_still_hold", &[f])));
                self.told.extend(gone.problems.iter().cloned().map(Told::Note));
            }
            // From whatever part it was opened, it is judged there.
            OfficeEvent::Call(_) => self.tab = Tab::Disputed,
            OfficeEvent::Merged(merged) => self.told = record::told_of_merge(merged),
            OfficeEvent::Kept(_)
            | OfficeEvent::Disputed(_)
            | OfficeEvent::KeepForeseen(..)
            | OfficeEvent::Batch(_)
            | OfficeEvent::BatchTaken(_)
            | OfficeEvent::MergeForeseen(..) => {}
            // A person as they are now: what failed before is over.
            OfficeEvent::Person(_) => self.told.retain(|t| !matches!(t, Told::Failed(_))),
        }
    }

    /// The title, what can be looked at, who is here. Gives the name of the part that is open.
    fn head(&mut self, ui: &mut Ui, given: &mut Given<'_>) -> Option<Response> {
        let words = given.words;
        ui.horizontal_wrapped(|ui| {
            ui.label(RichText::new(words.say("office.heading")).text_style(look::title()));
            let by = given.shown.students.iter().find(|s| Some(s.id) == self.by);
            if let Some(by) = by {
                ui.label(look::remark(words.fill("office.open_for", &[("name", &by.name)])));
                if ui.button(words.say("office.lock")).clicked() {
                    given.ask(Command::Office(OfficeCommand::Lock));
                    given.ask(Command::Office(OfficeCommand::Look));
                }
            }
        });
        let mut open = None;
        ui.horizontal_wrapped(|ui| {
            for (tab, key) in TABS {
                let waits = self.disputed.waiting();
                let text = if tab == Tab::Disputed && waits > 0 {
                    format!("{} ({waits})", words.say(key))
                } else {
                    words.say(key).to_owned()
                };
                let button = ui.add(Button::new(text).selected(self.tab == tab));
                if button.clicked() {
                    self.tab = tab;
                    self.told.clear();
                    given.to_main = true;
                }
                if self.tab == tab {
                    open = Some(button);
                }
            }
        });
        ui.add_space(4.0);
        open
    }

    /// What was done last, always in sight; how far it is, and the way to stop it.
    fn told(&self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        ui.add_space(2.0);
        if let Some((n, of)) = self.busy {
            ui.horizontal_wrapped(|ui| {
                let text = if of == 0 {
                    words.say("office.working").to_owned()
                } else {
                    let (n, of) = (n.to_string(), of.to_string());
                    words.fill("office.working_of", &[("n", &n), ("of", &of)])
                };
                ui.label(text);
                if of > 0 && ui.button(words.say("office.stop")).clicked() {
                    given.ask(Command::Office(OfficeCommand::Stop));
                }
            });
        }
        for told in &self.told {
            let (hue, text) = match told {
                Told::Done(key, facts) => {
                    let facts: Vec<(&str, &str)> = facts.iter().map(|(n, v)| (*n, v.as_str())).collect();
                    (Hue::Ink, words.fill(key, &facts))
                }
                Told::Note(text) => (Hue::Amber, notices::left_behind(words, text)),
                Told::Failed(why) => (Hue::Amber, notices::text(words, why)),
            };
            ui.add(Label::new(RichText::new(text).color(hue.on(ui))).wrap());
        }
        if self.busy.is_none() && self.told.is_empty() {
            ui.label(look::remark(words.say("office.nothing_told")));
        }
        ui.add_space(2.0);
    }

    /// The PIN is asked for.
    fn door(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        ui.label(RichText::new(words.say("office.heading")).text_style(look::title()));
        ui.add(Label::new(words.say("office.locked")).wrap());
        let holders: Vec<&Student> = given
            .shown
            .students
            .iter()
            .filter(|s| s.has_pin && s.is_instructor())
            .collect();
        if !holders.iter().any(|s| Some(s.id) == self.who) {
            self.who = holders.first().map(|s| s.id);
        }
        let name = name_of(&holders, self.who);
        ui.horizontal_wrapped(|ui| {
            list(ui, "office.who", words, &name, |ui| {
                for s in &holders {
                    ui.selectable_value(&mut self.who, Some(s.id), &s.name);
                }
            });
        });
        let field = pin_field(ui, words, "office.pin", &mut self.pin);
        given.main(ui, &field);
        let enter = field.lost_focus() && ui.input(|i| i.key_pressed(eframe::egui::Key::Enter));
        let ready = !self.pin.is_empty() && self.who.is_some();
        let pressed = look::add_primary(ui, ready, words.say("office.unlock")).clicked();
        if let (true, Some(who)) = (ready && (pressed || enter), self.who) {
            let pin = std::mem::take(&mut self.pin);
            given.ask(Command::Office(OfficeCommand::Unlock { who, pin }));
        }
        ui.add_space(8.0);
        if !self.forgetting {
            self.forgetting = ui.button(words.say("office.pin_forgotten")).clicked();
        } else if let Some(who) = self.who {
            let text = words.fill("office.pin_forgotten_sure", &[("name", &name)]);
            match sure(ui, words, &text, "office.pin_forgotten_yes") {
                Some(true) => given.ask(change(who, PersonChange::PinForgotten)),
                Some(false) => self.forgetting = false,
                None => {}
            }
        }
        self.told(ui, given);
    }
}

fn change(who: Uuid, change: PersonChange) -> Command {
    Command::Office(OfficeCommand::Change { who, change })
}

fn name_of(students: &[&Student], id: Option<Uuid>) -> String {
    let found = students.iter().find(|s| Some(s.id) == id);
    found.map_or_else(String::new, |s| s.name.clone())
}

/// A field for a PIN; what is typed is not shown.
fn pin_field(ui: &mut Ui, words: Words, label: &'static str, pin: &mut String) -> Response {
    ui.horizontal_wrapped(|ui| {
        let label = ui.label(words.say(label));
        let edit = TextEdit::singleline(pin)
            .password(true)
            .char_limit(64)
            .desired_width(120.0);
        ui.add(edit).labelled_by(label.id)
    })
    .inner
}

/// A question before something is lost: what will happen, yes and no. Gives the answer once it is there.
fn sure(ui: &mut Ui, words: Words, what: &str, yes: &'static str) -> Option<bool> {
    let mut answer = None;
    let card = look::card(ui, Hue::Amber).show(ui, |ui| {
        ui.add(Label::new(look::bold(what)).wrap());
        ui.horizontal_wrapped(|ui| {
            if ui.button(words.say("office.no")).clicked() {
                answer = Some(false);
            }
            if ui.button(words.say(yes)).clicked() {
                answer = Some(true);
            }
        });
    });
    // Just asked: its answers come into sight.
    let (id, now) = (ui.scope_id().with(yes), ui.ctx().cumulative_pass_nr());
    let before = ui.data_mut(|d| std::mem::replace(d.get_temp_mut_or(id, 0), now));
    if before + 1 < now {
        ui.scroll_to_rect(card.response.rect, None);
    }
    answer
}

/// Whom something is for: everybody, a class, or one student.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum For {
    #[default]
    Everybody,
    Class(Uuid),
    Student(Uuid),
}

impl For {
    /// A list to choose from.
    fn choose(&mut self, ui: &mut Ui, given: &Given<'_>, around: &Around<'_>) {
        let words = given.words;
        let everybody = words.say("class.everybody");
        let students = &given.shown.students;
        let text = self.name(given, around);
        ui.horizontal_wrapped(|ui| {
            list(ui, "office.for", words, &text, |ui| {
                ui.selectable_value(self, Self::Everybody, everybody);
                for class in around.classes {
                    ui.selectable_value(self, Self::Class(class.id), &class.name);
                }
                for s in students.iter().filter(|s| !s.is_instructor()) {
                    ui.selectable_value(self, Self::Student(s.id), &s.name);
                }
            });
        });
    }

    fn name(self, given: &Given<'_>, around: &Around<'_>) -> String {
        let found = match self {
            Self::Everybody => None,
            Self::Class(id) => around.classes.iter().find(|c| c.id == id).map(|c| c.name.clone()),
            Self::Student(id) => {
                let students = given.shown.students.iter();
                students.filter(|s| s.id == id).map(|s| s.name.clone()).next()
            }
        };
        found.unwrap_or_else(|| given.words.say("class.everybody").to_owned())
    }

    /// Who that is.
    fn members(self, given: &Given<'_>, around: &Around<'_>) -> Vec<(Uuid, String)> {
        let class = match self {
            Self::Class(id) => around.classes.iter().find(|c| c.id == id),
            _ => None,
        };
        let students = given.shown.students.iter().filter(|s| match self {
            Self::Everybody => !s.is_instructor(),
            Self::Class(_) => class.is_some_and(|c| c.members.contains(&s.id)),
            Self::Student(id) => s.id == id,
        });
        students.map(|s| (s.id, s.name.clone())).collect()
    }
}

/// A moment by this computer's clock, as it hangs on the wall.
fn here(at: Timestamp) -> String {
    TimeZone::system()
        .to_datetime(at)
        .strftime("%Y-%m-%d %H:%M")
        .to_string()
}

/// A name as a part of a file's: what every system allows.
fn in_a_file_name(name: &str) -> String {
    name.chars()
        .map(|c| if c.is_alphanumeric() { c } else { '-' })
        .take(40)
        .collect()
}

#[cfg(test)]
pub(super) mod tests;
