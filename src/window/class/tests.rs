//! The class's page, without a display.

use super::*;
use crate::class::BoardRow;
use crate::report::{Need, Share};
use crate::window::pagetest::{Bench, robin};
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
fn one_after_another_is_called_and_who_is_not_here_is_called_again() {
    let mut bench = opened();
    bench
        .window
        .get_by_label_contains("Skipped until the question about recordings is answered (page Student): Toni");
    bench.window.state_mut().page.calls = 1;
    bench.window.get_by_label("Begin").click();
    bench.window.run();
    let called = |name: &str| vec![format!("Class(Call(\"{name}\"))"), "Class(Board(None))".to_owned()];
    assert_eq!(bench.asked(), called("Robin"));
    bench.window.get_by_label("Robin");
    bench.window.get_by_label("Not here").click();
    bench.window.run();
    assert_eq!(bench.asked(), called("Kim"));
    bench.window.get_by_label("I am here: set the task").click();
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
    // Robin is called once more, in case of having come late.
    assert_eq!(bench.asked(), called("Robin"));
    bench.window.get_by_label("Not here").click();
    bench.window.run();
    // Nobody else is left: whoever practised before practises again.
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
fn the_steps_go_round_and_what_was_practised_before_comes_back() {
    let mut bench = opened();
    bench.dealt();
    bench.window.run();
    bench.asked();
    let site = crate::window::pagetest::larkmoor();
    let steps: Vec<String> = spoken(&site).map(|s| s.id.clone()).collect();
    bench.window.state_mut().page.calls = 2;
    bench.window.state_mut().page.what = What::InTurn;
    bench.window.get_by_label("Begin").click();
    bench.window.run();
    bench.asked();
    let mut given = Vec::new();
    for _ in 0..4 {
        bench.window.get_by_label("I am here: set the task").click();
        bench.window.run();
        given.push(bench.asked().remove(0));
        bench.window.get_by_label("Next student").click();
        bench.window.run();
        bench.asked();
    }
    let step = |n: usize| format!("StepToCome({:?})", steps[n]);
    // Robin, Kim, Robin, Kim.
    assert_eq!(given, [step(0), step(1), step(1), step(2)]);
    // The class is over.
    bench.window.get_by_label("Begin").click();
    bench.window.run();
    bench.asked();
    bench.window.get_by_label("End the class").click();
    bench.window.run();
    assert!(bench.asked().is_empty(), "calls are left: it asks");
    bench.window.get_by_label("Yes, end it").click();
    bench.window.run();
    let ended = bench.asked();
    assert_eq!(ended[0], "StepToCome(\"ready\")", "{ended:?}");
}

#[test]
fn the_board_shows_who_missed_what() {
    let mut bench = opened();
    let row = BoardRow {
        name: "Kim".into(),
        today: 4,
        at_once: Share::new(1, 4),
        lately: Some(Share::new(2, 9)),
        missed: vec![("Crew".into(), Share::new(7, 9))],
    };
    let needs = vec![Need {
        element: "crew".into(),
        label: "Crew".into(),
        students: vec!["Kim".into(), "Robin".into()],
        missed: Vec::new(),
    }];
    let board = Board {
        rows: from_ref(&row).to_vec(),
        needs,
    };
    bench.tell(Event::Class(ClassEvent::Board(Box::new(board))));
    for text in ["Work on: Crew", "Not steady yet, Crew: Kim, Robin"] {
        bench.window.get_by_label(text);
    }
    // The numbers are one click deeper.
    bench.window.get_by_label("The numbers").click();
    bench.window.run();
    bench.window.get_by_label_contains("Crew 7/9");
}
