//! A class in one room: who is in it, one student after another called to one microphone, and the board of who struggles with
//! what.

use super::page::{Content, Given, Page};
use super::practice::Practice;
use super::shown::{Shown, Who};
use super::words::Words;
use super::{look, sides};
use crate::class::{Board, Rota, counts};
use crate::drill::TurnState;
use crate::logbook::{Class, Student};
use crate::worker::meeting::{ClassCommand, ClassEvent};
use crate::worker::{Command, Event};
use eframe::egui::{Button, ComboBox, Context, DragValue, Grid, Label, Panel, RichText, TextEdit, Ui};
use uuid::Uuid;

/// Calls of each student in a meeting, at the most.
const CALLS: std::ops::RangeInclusive<u32> = 1..=9;

/// One meeting under way.
#[derive(Debug)]
struct Meeting {
    members: Vec<(Uuid, String)>,
    rota: Rota,
    /// Who is called, by place.
    now: usize,
    /// The student has come and the call is dealt, or about to be.
    begun: bool,
    /// Who practised before.
    before: Option<Uuid>,
}

/// The page.
#[derive(Debug)]
pub struct ClassPage {
    classes: Vec<Class>,
    /// The class chosen; `None` is everybody.
    class: Option<Uuid>,
    new_class: String,
    calls: u32,
    board: Option<Board>,
    meeting: Option<Meeting>,
    practice: Practice,
    waiting: Vec<Command>,
}

impl Default for ClassPage {
    fn default() -> Self {
        Self {
            classes: Vec::new(),
            class: None,
            new_class: String::new(),
            calls: 3,
            board: None,
            meeting: None,
            practice: Practice::one_call(),
            waiting: Vec::new(),
        }
    }
}

impl Content for ClassPage {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        for command in self.waiting.drain(..) {
            given.ask(command);
        }
        if self.meeting.is_none() {
            sides::scrolls(ui, "class", |ui| {
                self.before(ui, given);
                self.board(ui, given.words);
            });
            return;
        }
        Panel::top("class")
            .resizable(false)
            .show(ui, |ui| self.called(ui, given));
        if self.is_here(given.shown) {
            self.practice.ui(ui, given);
        } else {
            sides::scrolls(ui, "board", |ui| self.board(ui, given.words));
        }
    }

    fn take(&mut self, event: &Event) {
        match event {
            Event::Class(ClassEvent::Classes(classes)) => {
                // A class just made is the one meant.
                let added = classes.iter().find(|c| self.classes.iter().all(|old| old.id != c.id));
                if let (Some(added), false) = (added, self.classes.is_empty() && self.new_class.is_empty()) {
                    self.class = Some(added.id);
                }
                self.classes.clone_from(classes);
                self.new_class.clear();
                self.ask_board();
            }
            Event::Class(ClassEvent::Board(board)) => self.board = Some((**board).clone()),
            Event::Stored(_) if self.meeting.is_some() => self.ask_board(),
            _ => {}
        }
        self.practice.take(event);
    }

    fn opened(&mut self, shown: &Shown) -> Vec<Command> {
        if self.is_here(shown) {
            return vec![Command::Next];
        }
        vec![Command::Class(ClassCommand::List)]
    }

    fn left(&mut self, shown: &Shown) -> Vec<Command> {
        let mut commands = self.practice.left(shown);
        commands.extend(self.end());
        commands
    }

    fn in_column(&self) -> bool {
        false
    }
}

impl ClassPage {
    /// The student who was called has come and is the one who practises: the call is theirs.
    fn is_here(&self, shown: &Shown) -> bool {
        let here = |m: &Meeting| m.begun && matches!(&shown.who, Who::Student(s) if s.id == m.members[m.now].0);
        self.meeting.as_ref().is_some_and(here)
    }

    fn ask_board(&mut self) {
        self.waiting.push(Command::Class(ClassCommand::Board(self.class)));
    }

    /// The meeting is over: whoever practised before practises again.
    fn end(&mut self) -> Option<Command> {
        let meeting = self.meeting.take()?;
        Some(Command::ChooseStudent(meeting.before))
    }

    fn is_member(&self, student: &Student) -> bool {
        match self.class {
            Some(id) => self
                .classes
                .iter()
                .any(|c| c.id == id && c.members.contains(&student.id)),
            None => !student.is_instructor(),
        }
    }

    /// Class, members, what is practised, and the beginning.
    fn before(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let (shown, words) = (given.shown, given.words);
        ui.heading(words.say("class.heading"));
        ui.add(Label::new(words.say("class.about")).wrap());
        self.which(ui, given);
        let students = &shown.students;
        if students.is_empty() {
            ui.label(words.say("class.nobody"));
        }
        ui.horizontal_wrapped(|ui| {
            for student in students {
                let mut member = self.is_member(student);
                let was = member;
                // Everybody is everybody.
                ui.add_enabled_ui(self.class.is_some(), |ui| ui.checkbox(&mut member, &student.name));
                if let (true, Some(class)) = (member != was, self.class) {
                    given.ask(Command::Class(ClassCommand::Member {
                        class,
                        student: student.id,
                        member,
                    }));
                }
            }
            if ui.button(words.say("class.add_student")).clicked() {
                given.go(Page::Student);
            }
        });
        let members: Vec<&Student> = students.iter().filter(|s| self.is_member(s)).collect();
        let asked = |s: &&&Student| s.consent.is_some();
        let unasked: Vec<&str> = members.iter().filter(|s| !asked(s)).map(|s| s.name.as_str()).collect();
        if !unasked.is_empty() {
            let names = unasked.join(", ");
            ui.add(Label::new(look::remark(words.fill("class.unasked", &[("names", &names)]))).wrap());
        }
        ui.horizontal_wrapped(|ui| {
            let label = ui.label(words.say("class.calls"));
            ui.add(DragValue::new(&mut self.calls).range(CALLS))
                .labelled_by(label.id);
        });
        let ready: Vec<(Uuid, String)> = members.iter().filter(asked).map(|s| (s.id, s.name.clone())).collect();
        let begin = Button::new(words.say("class.begin"));
        if ui.add_enabled(!ready.is_empty(), begin).clicked() {
            let rota = Rota::new(ready.len(), self.calls);
            let before = match &shown.who {
                Who::Student(s) => Some(s.id),
                Who::Open | Who::Nobody => None,
            };
            self.meeting = Some(Meeting {
                members: ready,
                rota,
                now: 0,
                begun: false,
                before,
            });
            self.call_next(ui.ctx(), given);
        }
        ui.separator();
    }

    /// Which class; a new one.
    fn which(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        let everybody = words.say("class.everybody");
        let before = self.class;
        let chosen = self.classes.iter().find(|c| Some(c.id) == self.class);
        let text = chosen.map_or(everybody, |c| c.name.as_str()).to_owned();
        ComboBox::from_label(words.say("class.which"))
            .selected_text(text)
            .show_ui(ui, |ui| {
                ui.selectable_value(&mut self.class, None, everybody);
                for class in &self.classes {
                    ui.selectable_value(&mut self.class, Some(class.id), &class.name);
                }
            });
        if self.class != before {
            self.ask_board();
        }
        ui.horizontal_wrapped(|ui| {
            let label = ui.label(words.say("class.new"));
            let edit = TextEdit::singleline(&mut self.new_class)
                .char_limit(100)
                .desired_width(200.0);
            ui.add(edit).labelled_by(label.id);
            let name = self.new_class.trim();
            let make = Button::new(words.say("class.make"));
            if ui.add_enabled(!name.is_empty(), make).clicked() {
                given.ask(Command::Class(ClassCommand::New(name.to_owned())));
            }
        });
    }

    /// The next student, or the end.
    fn call_next(&mut self, context: &Context, given: &mut Given<'_>) {
        let Some(meeting) = &mut self.meeting else { return };
        if let Some(member) = meeting.rota.call_next() {
            meeting.now = member;
            meeting.begun = false;
            given.ask(Command::Class(ClassCommand::Call(meeting.members[member].1.clone())));
        } else if let Some(command) = self.end() {
            given.ask(command);
        }
        self.ask_board();
        // What waits is asked for with the next frame.
        context.request_repaint();
    }

    /// Who is called, large, and what may be done about it.
    fn called(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        let Some(meeting) = &self.meeting else { return };
        let (id, name) = meeting.members[meeting.now].clone();
        let (left, begun) = (meeting.rota.left(), meeting.begun);
        let state = given.shown.state;
        let busy = begun && matches!(state, Some(TurnState::Transmitting | TurnState::Judging));
        ui.horizontal_wrapped(|ui| {
            ui.label(RichText::new(&name).text_style(look::big()));
            ui.label(look::remark(words.fill("class.left", &[("n", &left.to_string())])));
        });
        let mut next = false;
        let mut over = false;
        ui.horizontal_wrapped(|ui| {
            if begun {
                next = ui.add_enabled(!busy, Button::new(words.say("class.next"))).clicked();
            } else if ui.button(words.say("class.here")).clicked() {
                given.ask(Command::ChooseStudent(Some(id)));
                if let Some(meeting) = &mut self.meeting {
                    meeting.begun = true;
                }
            }
            if ui.add_enabled(!busy, Button::new(words.say("class.absent"))).clicked() {
                if let Some(meeting) = &mut self.meeting {
                    meeting.rota.leave(meeting.now);
                }
                next = true;
            }
            over = ui.button(words.say("class.end")).clicked();
        });
        ui.add_space(4.0);
        if next {
            self.call_next(ui.ctx(), given);
        }
        if over {
            for command in self.practice.left(given.shown).into_iter().chain(self.end()) {
                given.ask(command);
            }
            self.ask_board();
            ui.ctx().request_repaint();
        }
    }

    fn board(&self, ui: &mut Ui, words: Words) {
        let Some(board) = &self.board else { return };
        ui.heading(words.say("class.board"));
        if board.rows.is_empty() {
            ui.label(words.say("class.nobody"));
            return;
        }
        Grid::new("class board")
            .num_columns(5)
            .striped(true)
            .spacing([24.0, 8.0])
            .show(ui, |ui| {
                for key in [
                    "class.student",
                    "class.today",
                    "class.at_once",
                    "class.lately",
                    "class.missed",
                ] {
                    ui.label(look::remark(words.say(key)));
                }
                ui.end_row();
                for row in &board.rows {
                    ui.label(look::bold(&row.name));
                    ui.label(row.today.to_string());
                    ui.label(counts(&row.at_once));
                    ui.label(row.lately.as_ref().map_or_else(|| "-".to_owned(), counts));
                    ui.add(Label::new(row.most_missed()).wrap());
                    ui.end_row();
                }
            });
        for need in &board.needs {
            let text = words.fill(
                "class.need",
                &[("part", &need.label), ("names", &need.students.join(", "))],
            );
            ui.add(Label::new(text).wrap());
        }
        ui.add(Label::new(look::remark(words.say("class.honest"))).wrap());
    }
}

#[cfg(test)]
mod tests {
    use super::super::pagetest::{Bench, robin};
    use super::*;
    use crate::class::BoardRow;
    use crate::report::{Need, Share};
    use egui_kittest::kittest::Queryable;
    use std::slice::from_ref;

    fn kim() -> Student {
        Student {
            id: Uuid::from_u128(8),
            name: "Kim".into(),
            ..robin()
        }
    }

    fn class(members: &[Uuid]) -> Class {
        Class {
            id: Uuid::from_u128(1),
            name: "Tuesday".into(),
            members: members.to_vec(),
            created_at: jiff::Timestamp::UNIX_EPOCH,
            changed_at: jiff::Timestamp::UNIX_EPOCH,
        }
    }

    fn opened() -> Bench<ClassPage> {
        let mut bench = Bench::practising(ClassPage::default());
        let unasked = Student {
            id: Uuid::from_u128(9),
            name: "Toni".into(),
            consent: None,
            ..robin()
        };
        bench.tell(Event::Students(vec![robin(), kim(), unasked]));
        assert_eq!(bench.open(), ["Class(List)"]);
        bench.tell(Event::Class(ClassEvent::Classes(Vec::new())));
        assert_eq!(bench.asked(), ["Class(Board(None))"]);
        bench
    }

    #[test]
    fn a_class_is_made_and_filled() {
        let mut bench = opened();
        let field = bench
            .window
            .get_by_role_and_label(eframe::egui::accesskit::Role::TextInput, "A new class");
        field.focus();
        bench.window.run();
        bench.window.event(eframe::egui::Event::Text("Tuesday".into()));
        bench.window.run();
        bench.window.get_by_label("Make it").click();
        bench.window.run();
        assert_eq!(bench.asked(), ["Class(New(\"Tuesday\"))"]);
        bench.tell(Event::Class(ClassEvent::Classes(vec![class(&[])])));
        let id = Uuid::from_u128(1);
        assert_eq!(bench.asked(), [format!("Class(Board(Some({id})))")]);
        bench.window.get_by_label("Kim").click();
        bench.window.run();
        let asked = bench.asked();
        assert!(
            asked[0].starts_with("Class(Member") && asked[0].ends_with("member: true })"),
            "{asked:?}"
        );
        bench.tell(Event::Class(ClassEvent::Classes(vec![class(&[kim().id])])));
        assert!(bench.window.state().page.is_member(&kim()) && !bench.window.state().page.is_member(&robin()));
    }

    #[test]
    fn one_after_another_is_called_and_who_is_not_here_is_passed_over() {
        let mut bench = opened();
        bench
            .window
            .get_by_label_contains("Left out until the question about recordings is answered (page Student): Toni");
        bench.window.state_mut().page.calls = 1;
        bench.window.get_by_label("Begin").click();
        bench.window.run();
        let called = |name: &str| vec![format!("Class(Call(\"{name}\"))"), "Class(Board(None))".to_owned()];
        assert_eq!(bench.asked(), called("Robin"));
        bench.window.get_by_label("Robin");
        bench.window.get_by_label("Not here").click();
        bench.window.run();
        assert_eq!(bench.asked(), called("Kim"));
        bench.window.get_by_label("I am here: deal the call").click();
        bench.window.run();
        assert_eq!(bench.asked(), [format!("ChooseStudent(Some({}))", kim().id)]);
        bench.tell(Event::Student(Some(kim())));
        assert_eq!(bench.open(), ["Next"]);
        bench.dealt();
        bench.window.get_by_label("Hold to talk (Space)");
        assert!(
            bench.window.query_by_label("Next situation").is_none(),
            "the next call is another student's"
        );
        bench.tell(Event::State(TurnState::Judging));
        bench.window.get_by_label("Next student").click();
        bench.window.run();
        assert!(bench.asked().is_empty(), "not while a call is judged");
        bench.tell(Event::State(TurnState::Done));
        bench.window.get_by_label("Next student").click();
        bench.window.run();
        // Everybody had their call: whoever practised before practises again.
        assert_eq!(
            bench.asked(),
            [
                format!("ChooseStudent(Some({}))", robin().id),
                "Class(Board(None))".to_owned()
            ]
        );
        bench.window.get_by_label("Begin");
    }

    #[test]
    fn the_board_shows_who_struggles_with_what() {
        let mut bench = opened();
        let row = BoardRow {
            name: "Kim".into(),
            today: 4,
            at_once: Share::new(1, 4),
            lately: None,
            struggles: vec![("Crew".into(), Share::new(2, 9))],
            missed: vec![("Crew".into(), Share::new(7, 9))],
        };
        let needs = vec![Need {
            element: "crew".into(),
            label: "Crew".into(),
            students: vec!["Kim".into(), "Robin".into()],
        }];
        let board = Board {
            rows: from_ref(&row).to_vec(),
            needs,
        };
        bench.tell(Event::Class(ClassEvent::Board(Box::new(board))));
        for text in ["1/4", "Crew 7/9", "Not steady yet, Crew: Kim, Robin"] {
            bench.window.get_by_label(text);
        }
    }
}
