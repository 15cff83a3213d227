//! Who practises; the question about recordings, asked before the first one is kept.

use super::look;
use super::page::{Content, Given};
use super::shown::Who;
use super::words::Words;
use crate::logbook::Student;
use crate::worker::Command;
use eframe::egui::{Button, TextEdit, Ui};

/// The page's drafts.
#[derive(Debug, Default)]
pub struct StudentPage {
    name: String,
    /// Not answered beforehand: neither answer is suggested.
    answer: Option<bool>,
    by: String,
}

impl Content for StudentPage {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let (shown, words) = (given.shown, given.words);
        if let Who::Student(student) = &shown.who {
            self.chosen(ui, student, given);
            ui.separator();
        }
        ui.heading(words.say("student.who"));
        for student in &shown.students {
            let now = matches!(&shown.who, Who::Student(s) if s.id == student.id);
            if ui.add(Button::new(&student.name).selected(now)).clicked() {
                given.ask(Command::ChooseStudent(Some(student.id)));
            }
        }
        if ui.button(words.say("student.nobody")).clicked() {
            given.ask(Command::ChooseStudent(None));
        }
        ui.label(look::remark(words.say("student.nobody_remark")));
        ui.separator();
        ui.heading(words.say("student.new"));
        ui.horizontal_wrapped(|ui| {
            let label = ui.label(words.say("student.name"));
            ui.add(
                TextEdit::singleline(&mut self.name)
                    .char_limit(100)
                    .desired_width(280.0),
            )
            .labelled_by(label.id);
        });
        self.question(ui, words);
        let name = self.name.trim();
        let ready = !name.is_empty() && self.answer.is_some();
        if ui.add_enabled(ready, Button::new(words.say("student.add"))).clicked()
            && let Some(consent) = self.answer
        {
            given.ask(Command::AddStudent {
                name: name.to_owned(),
                consent,
                by: self.by(),
            });
            *self = Self::default();
        }
        if !ready {
            ui.label(look::remark(words.say("student.not_ready")));
        }
    }
}

impl StudentPage {
    fn by(&self) -> Option<String> {
        Some(self.by.trim().to_owned()).filter(|b| !b.is_empty())
    }

    fn question(&mut self, ui: &mut Ui, words: Words) {
        ui.label(words.say("student.question"));
        ui.radio_value(&mut self.answer, Some(true), words.say("student.yes"));
        ui.radio_value(&mut self.answer, Some(false), words.say("student.no"));
        ui.horizontal_wrapped(|ui| {
            let label = ui.label(words.say("student.by"));
            ui.add(TextEdit::singleline(&mut self.by).char_limit(100).desired_width(180.0))
                .labelled_by(label.id);
        });
    }

    /// The student who practises: the question if it was never asked, else the answer and how to change it.
    fn chosen(&mut self, ui: &mut Ui, student: &Student, given: &mut Given<'_>) {
        let words = given.words;
        ui.heading(&student.name);
        let set = |given, by| Command::SetConsent {
            student: student.id,
            given,
            by,
        };
        match &student.consent {
            None => {
                self.question(ui, words);
                let button = Button::new(words.say("student.answer"));
                if ui.add_enabled(self.answer.is_some(), button).clicked()
                    && let Some(answer) = self.answer
                {
                    given.ask(set(answer, self.by()));
                    *self = Self::default();
                }
            }
            Some(c) if c.given => {
                ui.label(words.say("student.kept"));
                if ui.button(words.say("student.stop_keeping")).clicked() {
                    given.ask(set(false, None));
                }
            }
            Some(_) => {
                ui.label(words.say("student.not_kept"));
                if ui.button(words.say("student.begin_keeping")).clicked() {
                    given.ask(set(true, None));
                }
            }
        }
    }
}
