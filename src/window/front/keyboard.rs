//! The keyboard alone: how many keys common tasks take. What the worker would tell is told between them.

use super::tests::{Window, asked, flown, larkmoor, robin, situation, spoken, tell, window};
use super::*;
use crate::class::{Board, BoardRow};
use crate::drill::ear::{Difficulty, Question, Task};
use crate::drill::{Ending, Want};
use crate::logbook::{Class, Student};
use crate::report::Share;
use crate::window::office::tests::disputed;
use crate::worker::meeting::ClassEvent;
use crate::worker::office::OfficeEvent;
use crate::worker::{Dealt, Ear, FoundSite};
use eframe::egui::{Event as Input, Key, Modifiers};
use egui_kittest::kittest::Queryable;

/// Somebody who only has the keyboard.
struct Fingers {
    w: Window,
    keys: u32,
}

impl Fingers {
    fn at(events: Vec<Event>) -> Self {
        let mut w = window(events);
        w.run();
        asked(&mut w);
        Self { w, keys: 0 }
    }

    fn key(&mut self, key: Key) {
        self.keys += 1;
        self.w.key_press(key);
        self.w.run();
    }

    /// Ctrl with the digit of a page.
    fn page(&mut self, digit: Key) {
        self.keys += 1;
        self.w.key_press_modifiers(Modifiers::COMMAND, digit);
        self.w.run();
        self.w.run();
    }

    fn focused(&self, name: &str) -> bool {
        self.w.query_all_by_label(name).any(|node| node.is_focused())
    }

    /// Goes to what has this name: it has the keyboard already, or F6 brings it there, or Tab does.
    fn to(&mut self, name: &str) {
        if self.focused(name) {
            return;
        }
        self.key(Key::F6);
        let mut tabs = 0;
        while !self.focused(name) {
            self.key(Key::Tab);
            tabs += 1;
            assert!(tabs < 60, "{name} cannot be reached");
        }
    }

    /// Goes on to what has this name and comes soon after.
    fn on_to(&mut self, name: &str) {
        let mut tabs = 0;
        while !self.focused(name) {
            self.key(Key::Tab);
            tabs += 1;
            assert!(tabs < 20, "{name} does not come soon");
        }
    }

    fn press(&mut self, name: &str) {
        self.to(name);
        self.key(Key::Enter);
    }

    /// Letters are not counted.
    fn write(&mut self, field: &str, text: &str) {
        self.to(field);
        self.w.event(Input::Text(text.to_owned()));
        self.w.run();
    }

    /// Holds the talk key once.
    fn talk(&mut self) {
        self.keys += 1;
        for pressed in [true, false] {
            self.w.event(Input::Key {
                key: Key::Space,
                physical_key: None,
                pressed,
                repeat: false,
                modifiers: Modifiers::NONE,
            });
            self.w.run();
        }
    }

    fn tell(&mut self, event: Event) {
        tell(&mut self.w, event);
        self.w.run();
    }

    /// It was asked for what begins so, and for nothing of the kind before.
    fn asked_for(&mut self, beginning: &str) {
        let asked = asked(&mut self.w);
        assert!(asked.iter().any(|a| a.starts_with(beginning)), "{beginning}: {asked:?}");
    }
}

fn ready() -> Vec<Event> {
    vec![
        Event::Model(ModelState::Ready("base".into())),
        Event::Microphone(Some("Headset".into())),
        Event::Students(ten()),
        Event::SiteLoaded(larkmoor()),
        Event::Student(Some(robin(Some(true)))),
    ]
}

fn ten() -> Vec<Student> {
    let student = |n: u128| Student {
        id: uuid::Uuid::from_u128(100 + n),
        name: format!("Student {n}"),
        ..robin(Some(true))
    };
    (0..10).map(student).collect()
}

fn dealt(number: u32) -> Event {
    Event::Dealt(Dealt {
        situation: situation(),
        step: "ready".into(),
        number,
    })
}

fn first_start() -> u32 {
    let site = FoundSite {
        id: "larkmoor".into(),
        name: "Larkmoor".into(),
        about: "A field.".into(),
        language: Some(crate::site::Language::ENGLISH),
        invented: true,
        problem: None,
    };
    let mut f = Fingers::at(vec![
        Event::Sites(vec![site]),
        Event::Students(Vec::new()),
        Event::Model(ModelState::Ready("base".into())),
    ]);
    f.w.state_mut().front.page = Page::First;
    f.w.state_mut().front.to_main = true;
    f.w.run();
    f.press("Larkmoor");
    f.asked_for("LoadSite");
    f.tell(Event::SiteLoaded(larkmoor()));
    f.write("Name", "Robin");
    f.to("Yes, keep recordings on this computer");
    f.key(Key::Space);
    f.press("Add and practise");
    f.asked_for("AddStudent");
    f.tell(Event::Student(Some(robin(Some(true)))));
    f.press("Begin to practise");
    assert_eq!(f.w.state().front.page, Page::Practice);
    f.keys
}

fn ten_calls() -> u32 {
    let mut f = Fingers::at(ready());
    for n in 1..=10 {
        f.press(if n == 1 { "Begin" } else { "Next" });
        f.asked_for("Next");
        f.tell(dealt(n));
        f.tell(Event::State(TurnState::YourCall));
        f.talk();
        f.asked_for("Press");
        f.tell(spoken(
            "winch, delta two zero five eight, solo, south winch cable, ready",
        ));
        f.tell(Event::State(TurnState::Done));
    }
    f.keys
}

fn a_launch() -> u32 {
    let mut f = Fingers::at(ready());
    f.page(Key::Num2);
    f.press("Begin the launch");
    f.asked_for("Launch(");
    f.tell(flown(TurnState::YourCall, Some(Want::Call), "pilot", None));
    f.talk();
    f.asked_for("Press");
    f.tell(flown(TurnState::YourCall, Some(Want::Release), "pilot", None));
    f.key(Key::R);
    f.asked_for("Hand");
    f.tell(flown(TurnState::Done, None, "pilot", Some(Ending::Complete)));
    f.press("Another launch");
    f.asked_for("Launch(");
    f.keys
}

fn an_ear_drill() -> u32 {
    let mut f = Fingers::at(ready());
    f.page(Key::Num3);
    f.press("Hear a call");
    f.asked_for("Ear(");
    let site = larkmoor();
    let task = Task {
        situation: situation(),
        text: "Winch, delta two zero five eight".into(),
        question: Question::Cable,
        choices: vec!["north".into(), "south".into()],
        right: Some("south".into()),
        fault: None,
    };
    let shown = task.shown(&site, Some("south"));
    f.tell(Event::Ear(Box::new(Ear {
        task,
        difficulty: Difficulty::default(),
        number: 1,
        answer: None,
        right: 0,
        unheard: false,
    })));
    f.press(&shown);
    f.asked_for("AnswerEar");
    f.keys
}

fn progress() -> u32 {
    let mut f = Fingers::at(ready());
    f.page(Key::Num5);
    f.asked_for("Progress");
    f.keys
}

/// Ten students, a call each.
fn a_class() -> u32 {
    let mut f = Fingers::at(ready());
    f.page(Key::Num6);
    let row = |s: Student| BoardRow {
        name: s.name,
        today: 0,
        at_once: Share::new(0, 0),
        lately: None,
        missed: Vec::new(),
    };
    let rows = ten().into_iter().map(row).collect();
    f.tell(Event::Class(ClassEvent::Classes(Vec::<Class>::new())));
    f.tell(Event::Class(ClassEvent::Board(Box::new(Board {
        rows,
        needs: Vec::new(),
    }))));
    // Three calls each stand there; one each is one less twice.
    f.press("Begin");
    for student in ten() {
        f.press("I am here: set the task");
        f.asked_for("ChooseStudent");
        f.tell(Event::Student(Some(student)));
        f.tell(dealt(1));
        f.tell(Event::State(TurnState::YourCall));
        f.talk();
        f.asked_for("Press");
        f.tell(spoken(
            "winch, delta two zero five eight, solo, south winch cable, ready",
        ));
        f.tell(Event::State(TurnState::Done));
        f.press("Next student");
    }
    f.keys
}

fn an_overrule() -> u32 {
    let mut f = Fingers::at(ready());
    let (summary, call) = disputed();
    let instructor = Student {
        role: Some(crate::logbook::INSTRUCTOR.to_owned()),
        ..ten().remove(0)
    };
    f.tell(Event::Students(vec![robin(Some(true)), instructor]));
    f.page(Key::Num7);
    f.tell(Event::Office(OfficeEvent::Disputed(vec![summary.clone()])));
    f.w.run();
    // F6 brings the keyboard to the first that waits.
    f.key(Key::F6);
    f.key(Key::Enter);
    f.asked_for("Office(Open");
    f.tell(Event::Office(OfficeEvent::Call(call)));
    f.press("Crew: said");
    f.on_to("Why (the student can read it)");
    f.write("Why (the student can read it)", "it is there");
    f.on_to("Overrule as chosen");
    f.press("Overrule as chosen");
    f.asked_for("Office(Judge");
    f.keys
}

fn a_report() -> u32 {
    let mut f = Fingers::at(ready());
    f.page(Key::Num7);
    f.press("Reports");
    f.press("Write the report");
    f.asked_for("Office(Report");
    f.keys
}

fn practice_out_and_results_back() -> u32 {
    let mut f = Fingers::at(ready());
    f.page(Key::Num7);
    f.press("Practice for home");
    f.press("Write the files");
    f.asked_for("Office(HandOut");
    f.w.state_mut().front.pages.office.show_all(5);
    f.w.state_mut().front.pages.office.show_all(2);
    f.w.run();
    f.press("Import 1");
    f.asked_for("Office(TakeIn");
    f.keys
}

#[test]
fn common_tasks_take_few_keys() {
    for (task, keys, at_most) in [
        ("first start", first_start(), 69),
        ("ten calls", ten_calls(), 20),
        ("a launch, one call and the release of it", a_launch(), 6),
        ("an ear drill, one call", an_ear_drill(), 23),
        ("progress", progress(), 1),
        ("a class of ten, one call each", a_class(), 32),
        ("a disputed call overruled", an_overrule(), 15),
        ("a report", a_report(), 5),
        // The part opens at the top of its form, and F6 goes to the button at its end.
        (
            "practice handed out, results taken in",
            practice_out_and_results_back(),
            12,
        ),
    ] {
        println!("| {task} | {keys} |");
        assert!(keys <= at_most, "{task}: {keys} keys, {at_most} before");
    }
}
