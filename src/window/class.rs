//! A class in one room: who is in it, one student after another called to one microphone, and the board of who missed
//! what.

use super::look::{self, Hue};
use super::page::{Content, Given, Page};
use super::practice::{Practice, list, spoken};
use super::shown::{Shown, Who};
use super::sides;
use super::words::Words;
use crate::call::Verdict;
use crate::class::{Board, BoardRow, Rota, counts};
use crate::drill::TurnState;
use crate::logbook::{Class, Student};
use crate::site::Site;
use crate::worker::meeting::{ClassCommand, ClassEvent};
use crate::worker::{Command, Event};
use eframe::egui::{
    Button, Checkbox, CollapsingHeader, Context, DragValue, Label, Panel, RichText, Sense, TextEdit, TextStyle, Ui,
    Vec2,
};
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
    /// The steps that are practised, by their ids, one after another.
    steps: Vec<String>,
    /// Who practised before, and what.
    before: Option<Uuid>,
    step_before: Option<String>,
}

impl Meeting {
    /// The step of the call that is made now: each student has another one than the one before, and another one each time.
    fn step(&self, calls: u32) -> Option<&String> {
        let made = calls.saturating_sub(self.rota.left_of(self.now) + 1) as usize;
        let n = (self.now + made).checked_rem(self.steps.len())?;
        self.steps.get(n)
    }

    /// Whoever practised before practises again what was practised then.
    fn as_before(&self) -> Vec<Command> {
        let step = self.step_before.clone().map(Command::StepToCome);
        step.into_iter().chain([Command::ChooseStudent(self.before)]).collect()
    }
}

/// What a class practises.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
enum What {
    /// What was practised last.
    #[default]
    AsBefore,
    /// One step, by its id.
    Step(String),
    /// All steps with words, one after another.
    InTurn,
}

/// The page.
#[derive(Debug)]
pub struct ClassPage {
    classes: Vec<Class>,
    /// The class chosen; `None` is everybody.
    class: Option<Uuid>,
    new_class: String,
    calls: u32,
    what: What,
    board: Option<Board>,
    meeting: Option<Meeting>,
    practice: Practice,
    /// Somebody was unticked, and is asked about.
    leaving: Option<Uuid>,
    /// "End the class" was pressed with calls left, and is asked about.
    ending: bool,
    /// The last meeting is over: who was called twice and was not there.
    over: Option<Vec<String>>,
    waiting: Vec<Command>,
}

impl Default for ClassPage {
    fn default() -> Self {
        Self {
            classes: Vec::new(),
            class: None,
            new_class: String::new(),
            calls: 3,
            what: What::default(),
            board: None,
            meeting: None,
            practice: Practice::one_call(),
            leaving: None,
            ending: false,
            over: None,
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
            sides::scrolls(ui, "class", |ui| self.before(ui, given));
            return;
        }
        Panel::top("class")
            .resizable(false)
            .show(ui, |ui| self.called(ui, given));
        if self.is_here(given.shown) {
            self.practice.ui(ui, given);
        } else {
            sides::scrolls(ui, "board", |ui| self.board(ui, given.words, true));
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
        // The class waits where it was; meanwhile whoever practised before does.
        if let Some(meeting) = &mut self.meeting {
            meeting.begun &= shown.state == Some(TurnState::Done);
            commands.extend(meeting.as_before());
        }
        commands
    }

    fn talks(&self, shown: &Shown) -> bool {
        self.is_here(shown) && shown.dealt.is_some()
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
    fn end(&mut self) -> Vec<Command> {
        self.meeting.take().map(|m| m.as_before()).unwrap_or_default()
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

    /// Class, members, what is practised, and the beginning: the roster at the left, the board at the right.
    fn before(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        ui.label(RichText::new(words.say("class.heading")).text_style(look::title()));
        ui.add(Label::new(words.say("class.about")).wrap());
        if let Some(away) = &self.over {
            let text = if away.is_empty() {
                words.say("class.over").to_owned()
            } else {
                words.fill("class.over_away", &[("names", &away.join(", "))])
            };
            ui.add(Label::new(look::bold(text)).wrap());
        }
        look::sheets(ui, 2, |ui, n| {
            if n == 0 {
                self.roster(ui, given);
            } else {
                self.board(ui, words, false);
            }
        });
    }

    fn roster(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let (shown, words) = (given.shown, given.words);
        look::dense(ui);
        let students = &shown.students;
        let members: Vec<&Student> = students.iter().filter(|s| self.is_member(s)).collect();
        let asked = |s: &&&Student| s.consent.is_some();
        let ready: Vec<(Uuid, String)> = members.iter().filter(asked).map(|s| (s.id, s.name.clone())).collect();
        // The beginning stands first, however many there are.
        ui.horizontal_wrapped(|ui| {
            let begin = look::add_primary(ui, !ready.is_empty(), words.say("class.begin"));
            given.main(ui, &begin);
            if begin.clicked() {
                self.begin(ui.ctx(), given, ready.clone());
            }
            let label = ui.label(words.say("class.calls"));
            ui.add(DragValue::new(&mut self.calls).range(CALLS))
                .labelled_by(label.id);
        });
        self.practised(ui, given);
        self.which(ui, given);
        ui.separator();
        ui.horizontal_wrapped(|ui| {
            ui.heading(words.say("class.who"));
            if ui.button(words.say("class.add_student")).clicked() {
                given.go(Page::Student);
            }
        });
        if students.is_empty() {
            ui.label(words.say("class.nobody"));
        }
        if self.class.is_none() {
            ui.add(Label::new(look::remark(words.say("class.everybody_about"))).wrap());
            let names: Vec<&str> = members.iter().map(|s| s.name.as_str()).collect();
            ui.add(Label::new(names.join(", ")).wrap());
        } else {
            let outside: Vec<&Student> = students
                .iter()
                .filter(|s| !self.is_member(s) && !s.is_instructor())
                .collect();
            let all = Button::new(words.say("class.all"));
            if ui.add_enabled(outside.len() > 1, all).clicked()
                && let Some(class) = self.class
            {
                for student in outside {
                    given.ask(Command::Class(ClassCommand::Member {
                        class,
                        student: student.id,
                        member: true,
                    }));
                }
            }
            for student in students {
                self.member(ui, given, student);
            }
        }
        let unasked: Vec<&str> = members.iter().filter(|s| !asked(s)).map(|s| s.name.as_str()).collect();
        if !unasked.is_empty() {
            let names = unasked.join(", ");
            ui.add(Label::new(look::remark(words.fill("class.unasked", &[("names", &names)]))).wrap());
        }
    }

    /// One student in or out of the class. Going out is asked about.
    fn member(&mut self, ui: &mut Ui, given: &mut Given<'_>, student: &Student) {
        let words = given.words;
        let Some(class) = self.class else { return };
        let set = |member| {
            Command::Class(ClassCommand::Member {
                class,
                student: student.id,
                member,
            })
        };
        let was = self.is_member(student);
        let mut member = was;
        ui.add(Checkbox::new(&mut member, &student.name));
        match (was, member) {
            (false, true) => given.ask(set(true)),
            (true, false) => self.leaving = Some(student.id),
            _ => {}
        }
        if self.leaving == Some(student.id) {
            ui.horizontal_wrapped(|ui| {
                ui.label(look::bold(words.fill("class.remove_sure", &[("name", &student.name)])));
                if ui.button(words.say("class.remove_yes")).clicked() {
                    given.ask(set(false));
                    self.leaving = None;
                }
                if ui.button(words.say("class.remove_no")).clicked() {
                    self.leaving = None;
                }
            });
        }
    }

    fn begin(&mut self, context: &Context, given: &mut Given<'_>, ready: Vec<(Uuid, String)>) {
        let rota = Rota::new(ready.len(), self.calls);
        let before = match &given.shown.who {
            Who::Student(s) => Some(s.id),
            Who::Open | Who::Nobody => None,
        };
        let steps = self.steps(given.shown.site.as_deref());
        self.over = None;
        self.meeting = Some(Meeting {
            members: ready,
            rota,
            now: 0,
            begun: false,
            // Where the class practises what was practised anyway, nothing has to come back.
            step_before: step_now(given).filter(|_| !steps.is_empty()).map(str::to_owned),
            steps,
            before,
        });
        self.call_next(context, given);
        given.to_main = true;
    }

    /// What is practised.
    fn practised(&mut self, ui: &mut Ui, given: &Given<'_>) {
        let words = given.words;
        let Some(site) = given.shown.site.as_deref() else {
            return;
        };
        if let What::Step(id) = &self.what
            && site.step(id).is_none()
        {
            self.what = What::default();
        }
        let title = |id: &str| site.step(id).map_or("", |s| s.title.as_str());
        let now = match &self.what {
            What::AsBefore => title(step_now(given).unwrap_or_default()),
            What::Step(id) => title(id),
            What::InTurn => words.say("class.in_turn"),
        };
        ui.horizontal_wrapped(|ui| {
            list(ui, "practice.call", words, now, |ui| {
                ui.selectable_value(&mut self.what, What::InTurn, words.say("class.in_turn"));
                for step in spoken(site) {
                    ui.selectable_value(&mut self.what, What::Step(step.id.clone()), &step.title);
                }
            });
        });
    }

    fn steps(&self, site: Option<&Site>) -> Vec<String> {
        match &self.what {
            What::AsBefore => Vec::new(),
            What::Step(id) => vec![id.clone()],
            What::InTurn => site.iter().flat_map(|s| spoken(s)).map(|s| s.id.clone()).collect(),
        }
    }

    /// Which class; a new one.
    fn which(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        let everybody = words.say("class.everybody");
        let before = self.class;
        let chosen = self.classes.iter().find(|c| Some(c.id) == self.class);
        let text = chosen.map_or(everybody, |c| c.name.as_str()).to_owned();
        ui.horizontal_wrapped(|ui| {
            list(ui, "class.which", words, &text, |ui| {
                ui.selectable_value(&mut self.class, None, everybody);
                for class in &self.classes {
                    ui.selectable_value(&mut self.class, Some(class.id), &class.name);
                }
            });
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
        } else {
            let away = meeting.rota.away().into_iter().map(|m| meeting.members[m].1.clone());
            self.over = Some(away.collect());
            for command in self.end() {
                given.ask(command);
            }
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
            } else if Self::here(ui, given) {
                if let Some(step) = self.meeting.as_ref().and_then(|m| m.step(self.calls)) {
                    given.ask(Command::StepToCome(step.clone()));
                }
                given.ask(Command::ChooseStudent(Some(id)));
                if let Some(meeting) = &mut self.meeting {
                    meeting.begun = true;
                }
            }
            if ui.add_enabled(!busy, Button::new(words.say("class.absent"))).clicked() {
                if let Some(meeting) = &mut self.meeting {
                    meeting.rota.pass(meeting.now);
                }
                next = true;
            }
            over = ui.button(words.say("class.end")).clicked();
        });
        if over && left > 0 {
            (over, self.ending) = (false, true);
        }
        if self.ending {
            ui.horizontal_wrapped(|ui| {
                ui.label(look::bold(words.say("class.end_sure")));
                over = ui.button(words.say("class.end_yes")).clicked();
                if over || ui.button(words.say("class.remove_no")).clicked() {
                    self.ending = false;
                }
            });
        }
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

    /// "I am here", the main action while somebody is waited for.
    fn here(ui: &mut Ui, given: &mut Given<'_>) -> bool {
        let here = look::add_primary(ui, true, given.words.say("class.here"));
        given.main(ui, &here);
        here.clicked()
    }

    /// The board, the most needed first. `far`: it is read from the back row.
    fn board(&self, ui: &mut Ui, words: Words, far: bool) {
        let Some(board) = &self.board else { return };
        ui.heading(words.say("class.board"));
        if board.rows.is_empty() {
            ui.label(words.say("class.nobody"));
            return;
        }
        let style = if far { look::board() } else { TextStyle::Body };
        for row in &board.rows {
            let (verdict, hue, text) = standing(words, row);
            ui.horizontal_wrapped(|ui| {
                let colour = hue.on(ui);
                let size = if far { 26.0 } else { 14.0 };
                let (place, _) = ui.allocate_exact_size(Vec2::splat(size), Sense::hover());
                if let Some(verdict) = verdict {
                    look::sign(ui.painter(), place, Some(verdict), colour);
                }
                ui.label(look::bold(&row.name).text_style(style.clone()));
                ui.label(RichText::new(text).text_style(style.clone()).color(colour));
            });
        }
        ui.add_space(4.0);
        for need in board.needs.iter().filter(|n| !n.students.is_empty()) {
            let text = words.fill(
                "class.need",
                &[("part", &need.label), ("names", &need.students.join(", "))],
            );
            ui.add(Label::new(text).wrap());
        }
        if !far {
            CollapsingHeader::new(words.say("class.more"))
                .id_salt("class numbers")
                .show(ui, |ui| {
                    for row in &board.rows {
                        let lately = row.lately.as_ref().map_or_else(|| "-".to_owned(), counts);
                        let facts = [
                            (words.say("class.today"), row.today.to_string()),
                            (words.say("class.at_once"), counts(&row.at_once)),
                            (words.say("class.lately"), lately),
                            (words.say("class.missed"), row.most_missed()),
                        ];
                        let facts: Vec<String> = facts.iter().map(|(name, value)| format!("{name} {value}")).collect();
                        ui.add(Label::new(format!("{}: {}", row.name, facts.join(", "))).wrap());
                    }
                });
        }
        ui.add(Label::new(look::remark(words.say("class.honest"))).wrap());
    }
}

/// The step that is practised: the one under way, or that of the last time, or the one with which practice begins.
fn step_now<'a>(given: &'a Given<'_>) -> Option<&'a str> {
    let (site, last) = (given.shown.site.as_deref()?, given.settings.step.as_deref());
    let under_way = given.shown.step().map(|(_, step)| step.id.as_str());
    let last = last.filter(|id| site.step(id).is_some());
    under_way.or(last).or_else(|| Some(site.ready_step()?.id.as_str()))
}

/// How one student stands, as sign, colour and words.
fn standing(words: Words, row: &BoardRow) -> (Option<Verdict>, Hue, String) {
    let parts: Vec<&str> = row.missed.iter().map(|(label, _)| label.as_str()).collect();
    if row.lately.is_none() && row.at_once.of > 0 {
        // Too few to praise or to blame.
        let text = words.fill("class.few", &[("share", &counts(&row.at_once))]);
        let text = if parts.is_empty() {
            text
        } else {
            format!("{text}, {}: {}", words.say("class.missed_few"), parts.join(", "))
        };
        return (None, Hue::Soft, text);
    }
    if row.missed.is_empty() {
        return if row.at_once.of == 0 && row.lately.is_none() {
            let key = if row.today > 0 {
                "class.only_read"
            } else {
                "class.no_calls"
            };
            (None, Hue::Soft, words.say(key).to_owned())
        } else {
            (Some(Verdict::Said), Hue::Green, words.say("class.steady").to_owned())
        };
    }
    let text = format!("{}: {}", words.say("class.work_on"), parts.join(", "));
    (Some(Verdict::Missing), Hue::Amber, text)
}

#[cfg(test)]
mod tests;
