//! Who practises; the question about recordings, asked before the first one is kept.

use super::front::Action;
use super::look;
use super::shown::{Shown, Who};
use crate::logbook::Student;
use crate::worker::Command;
use eframe::egui::{Button, TextEdit, Ui};

/// What the question rests on, in plain words.
const QUESTION: &str = "May recordings of the calls be kept? They are kept on this computer only; nothing is sent anywhere. They \
     serve to listen to them again. Calls are heard and judged either way, and the answer can be changed here at any time: \
     a later \"no\" removes the recordings. Under age, a guardian answers.";

/// The page's drafts.
#[derive(Debug, Default)]
pub struct StudentPage {
    name: String,
    /// Not answered beforehand: neither answer is suggested.
    answer: Option<bool>,
    by: String,
}

impl StudentPage {
    pub(super) fn ui(&mut self, ui: &mut Ui, shown: &Shown, actions: &mut Vec<Action>) {
        if let Who::Student(student) = &shown.who {
            self.chosen(ui, student, actions);
            ui.separator();
        }
        ui.heading("Who practises?");
        for student in &shown.students {
            let now = matches!(&shown.who, Who::Student(s) if s.id == student.id);
            if ui.add(Button::new(&student.name).selected(now)).clicked() {
                actions.push(Action::Do(Command::ChooseStudent(Some(student.id))));
            }
        }
        if ui.button("Practise without a name").clicked() {
            actions.push(Action::Do(Command::ChooseStudent(None)));
        }
        ui.label(look::remark(
            "Without a name no recording is kept; the attempts count for nobody.",
        ));
        ui.separator();
        ui.heading("A new student");
        ui.horizontal(|ui| {
            let label = ui.label("Name");
            ui.add(
                TextEdit::singleline(&mut self.name)
                    .char_limit(100)
                    .desired_width(280.0),
            )
            .labelled_by(label.id);
        });
        self.question(ui);
        let name = self.name.trim();
        let ready = !name.is_empty() && self.answer.is_some();
        if ui.add_enabled(ready, Button::new("Add and practise")).clicked()
            && let Some(consent) = self.answer
        {
            actions.push(Action::Do(Command::AddStudent {
                name: name.to_owned(),
                consent,
                by: self.by(),
            }));
            *self = Self::default();
        }
        if !ready {
            ui.label(look::remark("Give a name and answer the question first."));
        }
    }

    fn by(&self) -> Option<String> {
        Some(self.by.trim().to_owned()).filter(|b| !b.is_empty())
    }

    fn question(&mut self, ui: &mut Ui) {
        ui.label(QUESTION);
        ui.radio_value(&mut self.answer, Some(true), "Yes, keep recordings on this computer");
        ui.radio_value(&mut self.answer, Some(false), "No, keep no recordings");
        ui.horizontal(|ui| {
            let label = ui.label("Answered by, if not the student");
            ui.add(TextEdit::singleline(&mut self.by).char_limit(100).desired_width(180.0))
                .labelled_by(label.id);
        });
    }

    /// The student who practises: the question if it was never asked, else the answer and how to change it.
    fn chosen(&mut self, ui: &mut Ui, student: &Student, actions: &mut Vec<Action>) {
        ui.heading(&student.name);
        let set = |given, by| {
            Action::Do(Command::SetConsent {
                student: student.id,
                given,
                by,
            })
        };
        match &student.consent {
            None => {
                self.question(ui);
                let button = Button::new("Answer and practise");
                if ui.add_enabled(self.answer.is_some(), button).clicked()
                    && let Some(given) = self.answer
                {
                    actions.push(set(given, self.by()));
                    *self = Self::default();
                }
            }
            Some(c) if c.given => {
                ui.label("Recordings of the calls are kept on this computer.");
                if ui.button("Keep no recordings, and remove those kept").clicked() {
                    actions.push(set(false, None));
                }
            }
            Some(_) => {
                ui.label("No recordings are kept.");
                if ui
                    .button("Keep recordings from now on, on this computer only")
                    .clicked()
                {
                    actions.push(set(true, None));
                }
            }
        }
    }
}
