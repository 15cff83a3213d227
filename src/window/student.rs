//! Who practises; the question about recordings, asked before the first one is kept.

use super::look;
use super::page::{Content, Given};
use super::shown::Who;
use super::words::Words;
use crate::logbook::Student;
use crate::worker::Command;
use eframe::egui::{Button, Label, TextEdit, Ui};

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
        let chosen = match &shown.who {
            Who::Student(student) => Some(student),
            Who::Open | Who::Nobody => None,
        };
        let first = usize::from(chosen.is_some());
        look::sheets(ui, 2 + first, |ui, n| match (n, chosen) {
            (0, Some(student)) => self.chosen(ui, student, given),
            (n, _) if n == first => list(ui, given),
            _ => self.new_student(ui, words, given),
        });
    }
}

/// Everybody who can be chosen, and nobody.
fn list(ui: &mut Ui, given: &mut Given<'_>) {
    let (shown, words) = (given.shown, given.words);
    ui.heading(words.say("student.who"));
    ui.horizontal_wrapped(|ui| {
        for student in &shown.students {
            let now = matches!(&shown.who, Who::Student(s) if s.id == student.id);
            let button = ui.add(Button::new(&student.name).selected(now));
            given.main(ui, &button);
            if button.clicked() {
                given.ask(Command::ChooseStudent(Some(student.id)));
            }
        }
    });
    ui.add_space(4.0);
    if ui.button(words.say("student.nobody")).clicked() {
        given.ask(Command::ChooseStudent(None));
    }
    ui.add(Label::new(look::remark(words.say("student.nobody_remark"))).wrap());
}

impl StudentPage {
    fn new_student(&mut self, ui: &mut Ui, words: Words, given: &mut Given<'_>) {
        ui.heading(words.say("student.new"));
        ui.horizontal_wrapped(|ui| {
            let label = ui.label(words.say("student.name"));
            let field = ui.add(
                TextEdit::singleline(&mut self.name)
                    .char_limit(100)
                    .desired_width(280.0),
            );
            if given.shown.students.is_empty() {
                given.main(ui, &field);
            }
            field.labelled_by(label.id);
        });
        self.question(ui, words);
        let name = self.name.trim();
        let ready = !name.is_empty() && self.answer.is_some();
        if look::add_primary(ui, ready, words.say("student.add")).clicked()
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
            ui.add(Label::new(look::remark(words.say("student.not_ready"))).wrap());
        }
    }
}

impl StudentPage {
    fn by(&self) -> Option<String> {
        Some(self.by.trim().to_owned()).filter(|b| !b.is_empty())
    }

    fn question(&mut self, ui: &mut Ui, words: Words) {
        ui.add(Label::new(words.say("student.question")).wrap());
        ui.radio_value(&mut self.answer, Some(true), words.say("student.yes"));
        ui.radio_value(&mut self.answer, Some(false), words.say("student.no"));
        self.by_whom(ui, words);
    }

    fn by_whom(&mut self, ui: &mut Ui, words: Words) {
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
                answered(ui, words, "student.kept", c.by.as_deref());
                if ui.button(words.say("student.stop_keeping")).clicked() {
                    given.ask(set(false, None));
                }
            }
            Some(c) => {
                answered(ui, words, "student.not_kept", c.by.as_deref());
                let other = student.others_answer();
                if other {
                    ui.add(Label::new(words.say("student.other_answers")).wrap());
                    self.by_whom(ui, words);
                }
                let ready = !other || self.by().is_some();
                let begin = Button::new(words.say("student.begin_keeping"));
                if ui.add_enabled(ready, begin).clicked() {
                    given.ask(set(true, self.by()));
                    *self = Self::default();
                }
            }
        }
    }
}

/// The answer that holds, and who gave it.
fn answered(ui: &mut Ui, words: Words, key: &'static str, by: Option<&str>) {
    ui.label(words.say(key));
    if let Some(name) = by {
        ui.label(look::remark(words.fill("student.answered_by", &[("name", name)])));
    }
}
