//! People: name, role, PIN, guardian, how long their things are kept; joining two entries, and forgetting one.

use super::super::look;
use super::super::page::{Given, Page};
use super::super::practice::list;
use super::super::words::Words;
use super::record::days;
use super::{Around, change, pin_field, sure};
use crate::logbook::{Removed, Retention, Student};
use crate::worker::Command;
use crate::worker::office::{OfficeCommand, OfficeEvent, Person, PersonChange};
use eframe::egui::{Button, Checkbox, CollapsingHeader, Label, TextEdit, Ui};
use uuid::Uuid;

/// What was asked about and waits for an answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Question {
    Forget,
    Join,
    Guardian,
}

/// The person who is open, and the drafts.
#[derive(Default)]
pub(super) struct People {
    person: Option<Box<Person>>,
    name: String,
    old_pin: String,
    new_pin: String,
    /// The new one once more: what is hidden is easily mistyped.
    new_pin_again: String,
    keep: Retention,
    into: Option<Uuid>,
    question: Option<Question>,
    /// What was foreseen of a rule for them.
    foreseen: Option<(Retention, Removed)>,
    /// Something of theirs may have changed: they are asked for again.
    stale: bool,
}

impl People {
    pub fn take(&mut self, event: &OfficeEvent) {
        match event {
            OfficeEvent::Person(person) => {
                let same = self.person.as_ref().is_some_and(|p| p.student.id == person.student.id);
                if !same {
                    self.into = None;
                }
                self.name.clone_from(&person.student.name);
                self.keep = person.student.keep;
                self.old_pin.clear();
                self.new_pin.clear();
                self.new_pin_again.clear();
                self.question = None;
                self.foreseen = None;
                self.stale = false;
                self.person = Some(person.clone());
            }
            OfficeEvent::KeepForeseen(Some(who), keep, old) if self.is_open(*who) => {
                self.foreseen = Some((*keep, old.clone()));
            }
            OfficeEvent::Forgotten(..) | OfficeEvent::Locked => {
                self.person = None;
                self.question = None;
                self.foreseen = None;
            }
            OfficeEvent::Ruled(_)
            | OfficeEvent::Removed(_)
            | OfficeEvent::Merged(_)
            | OfficeEvent::BatchTaken(_)
            | OfficeEvent::Kept(_) => self.stale = true,
            _ => {}
        }
    }

    fn is_open(&self, who: Uuid) -> bool {
        self.person.as_ref().is_some_and(|p| p.student.id == who)
    }

    pub fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>, around: &Around<'_>) -> bool {
        let mut begun = false;
        // A merge may have brought that they were forgotten elsewhere.
        let gone = |p: &Person| !given.shown.students.iter().any(|s| s.id == p.student.id);
        if self.person.as_deref().is_some_and(gone) {
            self.person = None;
        }
        if let (Some(person), true) = (&self.person, std::mem::take(&mut self.stale)) {
            given.ask(Command::Office(OfficeCommand::Person(person.student.id)));
        }
        look::sheets(ui, 2, |ui, n| match n {
            0 => self.list(ui, given),
            _ => begun = self.person(ui, given, around),
        });
        begun
    }

    fn list(&self, ui: &mut Ui, given: &mut Given<'_>) {
        let (students, words) = (&given.shown.students, given.words);
        ui.horizontal_wrapped(|ui| {
            ui.heading(words.say("office.people"));
            if ui.button(words.say("class.add_student")).clicked() {
                given.go(Page::Student);
            }
        });
        if students.is_empty() {
            ui.label(words.say("class.nobody"));
        }
        let open = self.person.as_ref().map(|p| p.student.id);
        for (n, s) in students.iter().enumerate() {
            ui.horizontal_wrapped(|ui| {
                let button = ui.add(Button::new(&s.name).selected(open == Some(s.id)));
                if (n == 0 && open.is_none()) || open == Some(s.id) {
                    given.main(ui, &button);
                }
                if button.clicked() {
                    given.ask(Command::Office(OfficeCommand::Person(s.id)));
                }
                ui.label(look::remark(about(words, s)));
            });
        }
    }

    fn person(&mut self, ui: &mut Ui, given: &mut Given<'_>, around: &Around<'_>) -> bool {
        let words = given.words;
        // Held by this function as long as it is shown, and put back.
        let Some(person) = self.person.take() else {
            ui.add(Label::new(words.say("office.choose_person")).wrap());
            return false;
        };
        let begun = self.of(ui, given, around, &person);
        self.person = Some(person);
        begun
    }

    fn of(&mut self, ui: &mut Ui, given: &mut Given<'_>, around: &Around<'_>, person: &Person) -> bool {
        let words = given.words;
        let student = &person.student;
        let who = student.id;
        ui.heading(&student.name);
        let (n, recordings) = (person.attempts.to_string(), person.recordings.to_string());
        let kept = words.fill("office.kept_of", &[("n", &n), ("recordings", &recordings)]);
        ui.add(Label::new(kept).wrap());
        ui.horizontal_wrapped(|ui| {
            let label = ui.label(words.say("student.name"));
            ui.add(
                TextEdit::singleline(&mut self.name)
                    .char_limit(100)
                    .desired_width(200.0),
            )
            .labelled_by(label.id);
            let name = self.name.trim();
            let ready = !name.is_empty() && name != student.name;
            let rename = ui.add_enabled(ready, Button::new(words.say("office.rename")));
            if rename.clicked() {
                given.ask(change(who, PersonChange::Name(name.to_owned())));
            }
        });
        let mut instructs = student.is_instructor();
        if ui
            .add(Checkbox::new(&mut instructs, words.say("office.instructs")))
            .changed()
        {
            given.ask(change(who, PersonChange::Instructor(instructs)));
        }
        let mut guardian = student.needs_guardian;
        if ui
            .add(Checkbox::new(&mut guardian, words.say("office.guardian")))
            .changed()
        {
            // With it the recordings that the student alone has allowed are removed.
            if guardian && person.recordings > 0 {
                self.question = Some(Question::Guardian);
            } else {
                given.ask(change(who, PersonChange::Guardian(guardian)));
            }
        }
        if self.question == Some(Question::Guardian) {
            let recordings = person.recordings.to_string();
            let values = [("name", student.name.as_str()), ("recordings", &recordings)];
            let text = words.fill("office.guardian_sure", &values);
            if let Some(yes) = sure(ui, words, &text, "office.guardian_yes") {
                self.question = None;
                if yes {
                    given.ask(change(who, PersonChange::Guardian(true)));
                }
            }
        }
        ui.separator();
        self.pin(ui, given, person);
        ui.separator();
        self.kept(ui, given, person);
        calls(ui, given, person);
        ui.separator();
        self.join(ui, given, person) | self.forget(ui, given, around, person)
    }

    /// How long their things are kept: what the next start would remove is shown first.
    fn kept(&mut self, ui: &mut Ui, given: &mut Given<'_>, person: &Person) {
        let words = given.words;
        ui.label(look::bold(words.say("office.keep_person")));
        days(ui, words, &mut self.keep);
        let keep = self.keep;
        let changed = keep != person.student.keep;
        let foreseen = self.foreseen.as_ref().filter(|(of, _)| changed && *of == keep);
        let command = |sure| {
            let who = Some(person.student.id);
            Command::Office(OfficeCommand::Keep { who, keep, sure })
        };
        let set = Button::new(words.say("office.keep_set"));
        if ui.add_enabled(changed && foreseen.is_none(), set).clicked() {
            given.ask(command(false));
        }
        if let Some((_, old)) = foreseen {
            let text = super::record::foreseen(words, old);
            match sure(ui, words, &text, "office.keep_yes") {
                Some(true) => given.ask(command(true)),
                Some(false) => {
                    self.keep = person.student.keep;
                    self.foreseen = None;
                }
                None => {}
            }
        } else if person.old.attempts > 0 || person.old.recordings > 0 {
            ui.add(Label::new(super::record::foreseen(words, &person.old)).wrap());
        }
    }

    fn pin(&mut self, ui: &mut Ui, given: &mut Given<'_>, person: &Person) {
        let words = given.words;
        let student = &person.student;
        let who = student.id;
        ui.label(look::bold(words.say(if student.has_pin {
            "office.has_pin"
        } else {
            "office.has_no_pin"
        })));
        if let Some(at) = person.pin_forgotten {
            let at = super::here(at);
            ui.add(Label::new(words.fill("office.pin_said", &[("at", &at)])).wrap());
        }
        if student.has_pin {
            pin_field(ui, words, "office.pin_now", &mut self.old_pin);
        }
        pin_field(ui, words, "office.pin_new", &mut self.new_pin);
        pin_field(ui, words, "office.pin_again", &mut self.new_pin_again);
        let same = self.new_pin == self.new_pin_again;
        if !same && self.new_pin_again.chars().count() >= self.new_pin.chars().count() {
            ui.label(words.say("office.pin_differs"));
        }
        ui.horizontal_wrapped(|ui| {
            let known = !student.has_pin || !self.old_pin.is_empty();
            let ready = known && same && self.new_pin.chars().count() >= 4;
            if ui
                .add_enabled(ready, Button::new(words.say("office.pin_set")))
                .clicked()
            {
                given.ask(change(
                    who,
                    PersonChange::Pin {
                        old: self.old_pin.clone(),
                        new: Some(self.new_pin.clone()),
                    },
                ));
            }
            if student.has_pin
                && ui
                    .add_enabled(known, Button::new(words.say("office.pin_remove")))
                    .clicked()
            {
                given.ask(change(
                    who,
                    PersonChange::Pin {
                        old: self.old_pin.clone(),
                        new: None,
                    },
                ));
            }
        });
        ui.add(Label::new(look::remark(words.say("office.pin_about"))).wrap());
    }

    fn join(&mut self, ui: &mut Ui, given: &mut Given<'_>, person: &Person) -> bool {
        let words = given.words;
        let student = &person.student;
        let others: Vec<&Student> = given.shown.students.iter().filter(|s| s.id != student.id).collect();
        if others.is_empty() {
            return false;
        }
        // Whoever was joined is gone.
        self.into = self.into.filter(|id| others.iter().any(|s| s.id == *id));
        let name = super::name_of(&others, self.into);
        ui.horizontal_wrapped(|ui| {
            let text = if self.into.is_some() { name.as_str() } else { "-" };
            list(ui, "office.join", words, text, |ui| {
                for s in &others {
                    ui.selectable_value(&mut self.into, Some(s.id), &s.name);
                }
            });
            let ready = self.into.is_some() && self.question != Some(Question::Join);
            if ui
                .add_enabled(ready, Button::new(words.say("office.join_do")))
                .clicked()
            {
                self.question = Some(Question::Join);
            }
        });
        let (Some(Question::Join), Some(into)) = (self.question, self.into) else {
            return false;
        };
        let n = person.attempts.to_string();
        let values = [("n", n.as_str()), ("name", &student.name), ("into", &name)];
        let text = words.fill("office.join_sure", &values);
        match sure(ui, words, &text, "office.join_yes") {
            Some(true) => {
                self.question = None;
                let from = student.id;
                given.ask(Command::Office(OfficeCommand::Join { from, into }));
                return true;
            }
            Some(false) => self.question = None,
            None => {}
        }
        false
    }

    fn forget(&mut self, ui: &mut Ui, given: &mut Given<'_>, around: &Around<'_>, person: &Person) -> bool {
        let words = given.words;
        if self.question != Some(Question::Forget) {
            let forget = Button::new(words.say("office.forget"));
            if ui.add_enabled(!around.busy, forget).clicked() {
                self.question = Some(Question::Forget);
            }
            return false;
        }
        let (n, recordings) = (person.attempts.to_string(), person.recordings.to_string());
        let name = &person.student.name;
        let values = [("name", name.as_str()), ("n", &n), ("recordings", &recordings)];
        let text = words.fill("office.forget_sure", &values);
        match sure(ui, words, &text, "office.forget_yes") {
            Some(true) => {
                self.question = None;
                given.ask(Command::Office(OfficeCommand::Forget(person.student.id)));
                return true;
            }
            Some(false) => self.question = None,
            None => {}
        }
        false
    }
}

/// Their newest calls: each can be opened, heard, judged and removed.
fn calls(ui: &mut Ui, given: &mut Given<'_>, person: &Person) {
    let (words, site) = (given.words, given.shown.site.clone());
    if person.calls.is_empty() {
        return;
    }
    CollapsingHeader::new(words.say("office.calls_of"))
        .id_salt("calls of a person")
        .show(ui, |ui| {
            for call in &person.calls {
                let outcome = call.overruled_outcome.unwrap_or(call.outcome);
                let outcome = if call.held_out {
                    "outcome.set_aside"
                } else {
                    look::outcome_key(outcome)
                };
                let title = super::disputed::title_of(site.as_deref(), &call.site, &call.step);
                let when = super::disputed::when(call.started_at, call.utc_offset_seconds);
                let text = format!("{when}, {title}: {}", words.say(outcome));
                if ui.add(Button::new(text).wrap()).clicked() {
                    given.ask(Command::Office(OfficeCommand::Open(call.id)));
                }
            }
        });
}

/// Role, PIN, and the answer about recordings.
fn about(words: Words, s: &Student) -> String {
    let mut parts = Vec::new();
    if s.is_instructor() {
        parts.push(words.say("office.is_instructor"));
    }
    if s.has_pin {
        parts.push(words.say("office.with_pin"));
    }
    if s.needs_guardian {
        parts.push(words.say("office.with_guardian"));
    }
    parts.push(match &s.consent {
        None => words.say("office.not_asked"),
        Some(c) if c.given => words.say("office.recordings_yes"),
        Some(_) => words.say("office.recordings_no"),
    });
    parts.join(", ")
}
