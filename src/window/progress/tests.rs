//! Tests of what stands in `../progress.rs`.

use super::super::pagetest::Bench;
use super::*;
use crate::logbook::MixUp;
use eframe::egui::accesskit::Role;
use egui_kittest::kittest::Queryable;
use jiff::civil::date as day;

fn tally(said: u32, wrong: u32, missing: u32, unsure: u32) -> Tally {
    Tally {
        said,
        wrong,
        missing,
        unsure,
    }
}

fn some() -> Progress {
    let days = [(3, 6, 6, 2), (4, 8, 7, 5), (9, 3, 2, 2)];
    Progress {
        attempts: 17,
        older: false,
        days: days
            .map(|(d, attempts, first, passed)| Day {
                date: day(2026, 11, d),
                attempts,
                first,
                passed,
                reaction: Middle::of(vec![900, 1200, 1500, 2000, 2600]),
            })
            .into(),
        elements: vec![
            Course {
                element: "callsign".into(),
                days: vec![
                    (day(2026, 11, 3), tally(2, 3, 1, 0)),
                    (day(2026, 11, 4), tally(6, 1, 0, 1)),
                    (day(2026, 11, 9), tally(2, 0, 0, 0)),
                ],
                all: tally(10, 4, 1, 1),
            },
            Course {
                element: "crew".into(),
                days: vec![(day(2026, 11, 3), tally(2, 0, 1, 0))],
                all: tally(2, 0, 1, 0),
            },
        ],
        mixed_up: vec![MixUp {
            element: "callsign".into(),
            right: "G-CLRM".into(),
            heard: "G-CLMR".into(),
            times: 3,
        }],
        reaction: Middle::of(vec![900, 1200, 1500, 2000, 2600]),
    }
}

#[test]
fn numbers_stand_beside_the_pictures_and_few_calls_have_no_share() {
    let mut bench = Bench::practising(ProgressPage::default());
    bench.tell(Event::Progress(Box::new(some())));
    // Words first: what is reliable, what is not, of what there is too little.
    for text in ["Not reliable yet", "Too few calls to say", "Practise these"] {
        bench.window.get_by_label(text);
    }
    bench.window.get_by_label("The numbers").click();
    bench.window.run();
    bench
        .window
        .get_by_label("At the first try, complete and right: 9 of 15 (60 %, between 36 and 80 %)");
    bench
        .window
        .get_by_label_contains("10 of 15 (67 %, between 42 and 85 %), 4 wrong, 1 missing, 1 unsure");
    bench.window.get_by_label_contains("2 of 3, too few");
    bench
        .window
        .get_by_label("Callsign: \"G-CLMR\" said, right was \"G-CLRM\", 3 times");
    bench.window.get_by_label_contains("median 1.5 s");
    // The course of one part, and its numbers by keyboard.
    bench.window.get_by_role_and_label(Role::Button, "Callsign").focus();
    bench.window.run();
    bench.window.key_press(egui::Key::Enter);
    bench.window.run();
    bench.window.get_by_label("Callsign, day by day");
    bench.window.get_all_by_label("The numbers").nth(2).unwrap().click();
    bench.window.run();
    bench.window.get_by_label_contains("6 of 7 (86 %");
}

#[test]
fn what_is_due_today_is_told_in_words() {
    let mut bench = Bench::practising(ProgressPage::default());
    bench.tell(Event::Progress(Box::new(some())));
    let due = |item| crate::plan::Due {
        item,
        days: 1,
        failed: false,
        steadiness: crate::plan::Steadiness::default(),
    };
    let today = Today {
        due: vec![
            due(Item::Element {
                step: "ready".into(),
                element: "crew".into(),
            }),
            due(Item::pair("callsign", "G-CLRM", "G-CLMR")),
        ],
        new: Vec::new(),
        errs: Vec::new(),
        calls: 2,
        seconds: 70.0,
    };
    bench.tell(Event::Planned(Box::new(crate::worker::Planned {
        level: crate::plan::Level::default(),
        by_record: None,
        reason: None,
        today: Some(today),
        interruption: None,
    })));
    bench.window.get_by_label_contains("about 2 min:");
    bench.window.get_by_label("\u{2022} Crew in the step \"Ready call\"");
    bench.window.get_by_label_contains("G-CLMR and G-CLRM apart");
}

#[test]
fn older_calls_are_listed_when_asked_for_and_a_changed_verdict_says_why() {
    let mut bench = Bench::practising(ProgressPage::default());
    bench.tell(Event::Progress(Box::new(some())));
    let (call, _) = crate::window::office::tests::disputed();
    let mut calls = vec![call; 45];
    calls[44].overruled_why = Some("Jon: clear on the recording".into());
    bench.tell(Event::Calls(calls));
    let why = "The verdict was changed. Jon: clear on the recording";
    assert!(bench.window.query_by_label(why).is_none());
    bench.window.get_by_label("Older calls").click();
    bench.window.run();
    bench.window.get_by_label(why);
    assert!(bench.window.query_by_label("Older calls").is_none());
}

#[test]
fn a_beginning_is_told_as_one() {
    let mut bench = Bench::practising(ProgressPage::default());
    assert_eq!(bench.open(), ["Progress"]);
    bench.tell(Event::Progress(Box::default()));
    bench.window.get_by_label_contains("No calls yet");
    let mut nobody = Bench::new(ProgressPage::default());
    nobody.window.run();
    nobody.window.get_by_label_contains("Choose who practises");
}

#[test]
fn days_come_back_from_their_numbers() {
    for d in [day(2026, 2, 28), day(2026, 3, 1), day(1970, 1, 1)] {
        assert_eq!(of_day_number(day_number(d)), Some(d));
    }
}
