//! The instructor's page, by the names of what is on it.

use super::super::pagetest::{Bench, larkmoor, robin};
use super::*;
use crate::logbook::{
    AttemptSummary, ElementVerdict, Forgotten, Merged, NewAttempt, Outcome, Part, Removed, Retention, StoredAttempt,
    Timings, Verdict,
};
use crate::worker::home::Taken;
use crate::worker::office::{Batch, HandedOut, Person, Reviewed, Sheet};
use crate::worker::second::SecondState;
use eframe::egui::{Key, accesskit::Role};
use egui_kittest::kittest::Queryable;
use std::path::PathBuf;

fn ines(has_pin: bool) -> Student {
    Student {
        id: Uuid::from_u128(9),
        name: "Ines".into(),
        role: Some(crate::logbook::INSTRUCTOR.to_owned()),
        has_pin,
        ..robin()
    }
}

fn opened(has_pin: bool) -> Bench<OfficePage> {
    let mut bench = Bench::practising(OfficePage::default());
    bench.tell(Event::Students(vec![robin(), ines(has_pin)]));
    bench.asked();
    bench
}

/// Opened, by Ines where she has a PIN.
fn at(tab: &str, has_pin: bool) -> Bench<OfficePage> {
    let mut bench = opened(has_pin);
    office(&mut bench, OfficeEvent::Unlocked(has_pin.then(|| ines(true).id)));
    press(&mut bench, tab);
    bench
}

fn office(bench: &mut Bench<OfficePage>, event: OfficeEvent) {
    bench.tell(Event::Office(event));
}

fn press(bench: &mut Bench<OfficePage>, name: &str) {
    bench.window.get_by_role_and_label(Role::Button, name).click();
    bench.window.run();
}

fn enter(bench: &mut Bench<OfficePage>, role: Role, field: &str, text: &str) {
    bench.window.get_by_role_and_label(role, field).focus();
    bench.window.run();
    bench.window.get_by_role_and_label(role, field).type_text(text);
    bench.window.run();
}

fn attempt() -> NewAttempt {
    let element = |id: &str, verdict| ElementVerdict::new(id, verdict, None);
    NewAttempt {
        id: Uuid::from_u128(50),
        student: Some(robin().id),
        started_at: jiff::Timestamp::UNIX_EPOCH,
        utc_offset_seconds: 0,
        site: "larkmoor".into(),
        site_version: larkmoor().version.clone(),
        step: "ready".into(),
        part: Part::default(),
        situation: serde_json::json!({"callsign": "G-CLRM", "crew": 2, "cable": "north"}),
        turn: Uuid::from_u128(51),
        turn_attempt: 1,
        model: None,
        program_version: "0".into(),
        outcome: Outcome::NotYet,
        score: None,
        timings: Timings::default(),
        transcript: "winch, golf charlie, two up".into(),
        evidence: serde_json::Value::Null,
        recording: None,
        held_out: true,
        elements: vec![element("crew", Verdict::Missing), element("cable", Verdict::Said)],
    }
}

fn summary(a: &NewAttempt) -> AttemptSummary {
    AttemptSummary {
        id: a.id,
        student: a.student,
        started_at: a.started_at,
        utc_offset_seconds: 0,
        site: a.site.clone(),
        step: a.step.clone(),
        part: Part::default(),
        situation: a.situation.clone(),
        turn: a.turn,
        turn_attempt: 1,
        outcome: a.outcome,
        overruled_outcome: None,
        overruled_why: None,
        score: None,
        recording: None,
        held_out: true,
    }
}

/// A call that waits, in the list and whole.
pub(in crate::window) fn disputed() -> (AttemptSummary, Box<Reviewed>) {
    let attempt = attempt();
    let summary = summary(&attempt);
    let reviewed = Reviewed {
        stored: StoredAttempt {
            attempt,
            created_at: jiff::Timestamp::UNIX_EPOCH,
            changed_at: jiff::Timestamp::UNIX_EPOCH,
            overruled_outcome: None,
        },
        name: Some("Robin".into()),
        judgements: Vec::new(),
    };
    (summary, Box::new(reviewed))
}

fn dispute(bench: &mut Bench<OfficePage>) {
    let (summary, reviewed) = disputed();
    office(bench, OfficeEvent::Disputed(vec![summary]));
    office(bench, OfficeEvent::Call(reviewed));
}

#[test]
fn where_an_instructor_has_a_pin_the_page_asks_for_it() {
    let mut bench = opened(true);
    assert_eq!(bench.open(), ["Class(List)", "Office(Look)"]);
    office(&mut bench, OfficeEvent::Locked);
    assert!(bench.window.query_by_label("Reports").is_none());
    bench.window.get_by_role_and_label(Role::ComboBox, "Instructor");
    enter(&mut bench, Role::PasswordInput, "PIN", "4711");
    bench.window.key_press(Key::Enter);
    bench.window.run();
    let asked = bench.asked();
    assert!(
        asked.len() == 1 && asked[0].contains("Unlock") && asked[0].contains("4711"),
        "{asked:?}"
    );
    office(&mut bench, OfficeEvent::Unlocked(Some(ines(true).id)));
    bench.window.get_by_label("open for Ines");
    press(&mut bench, "Lock");
    assert_eq!(bench.asked(), ["Office(Lock)", "Office(Look)"]);
}

#[test]
fn a_forgotten_pin_is_asked_about_before_it_is_noted() {
    let mut bench = opened(true);
    office(&mut bench, OfficeEvent::Locked);
    press(&mut bench, "PIN forgotten");
    assert!(bench.asked().is_empty());
    bench.window.get_by_label_contains("after a day");
    press(&mut bench, "Yes, it is forgotten");
    let asked = bench.asked();
    assert!(asked[0].contains("PinForgotten"), "{asked:?}");
}

#[test]
fn a_disputed_call_is_overruled_or_upheld_with_a_reason() {
    let mut bench = at("Disputed calls", false);
    dispute(&mut bench);
    bench.window.get_by_label("Typed: \"winch, golf charlie, two up\"");
    bench.window.get_by_label_contains("Golf Charlie Lima Romeo Mike");
    press(&mut bench, "Let it stand as the program judged it");
    assert!(bench.asked().is_empty(), "not without a reason");
    enter(&mut bench, Role::TextInput, "Why (the student can read it)", "heard it");
    press(&mut bench, "Let it stand as the program judged it");
    let asked = bench.asked();
    assert!(
        asked[0].contains("overrule: []") && asked[0].contains("heard it"),
        "{asked:?}"
    );
    office(&mut bench, OfficeEvent::Ruled(attempt().id));
    bench.window.get_by_label("Judged; the call counts again.");
    dispute(&mut bench);
    bench
        .window
        .get_by_role_and_label(Role::RadioButton, "Crew: said")
        .click();
    bench.window.run();
    enter(
        &mut bench,
        Role::TextInput,
        "Why (the student can read it)",
        "it is there",
    );
    press(&mut bench, "Overrule as chosen");
    let asked = bench.asked();
    assert!(
        asked[0].contains("(\"crew\", Said)") && asked[0].contains("it is there"),
        "{asked:?}"
    );
}

#[test]
fn a_second_listener_is_asked_about_a_kept_recording() {
    let mut bench = at("Disputed calls", false);
    let (_, mut call) = disputed();
    let name = format!("{}_{}.wav", robin().id, call.stored.attempt.id);
    let recording: crate::logbook::RecordingName = name.parse().unwrap();
    call.stored.attempt.recording = Some(recording);
    let id = call.stored.attempt.id;
    office(&mut bench, OfficeEvent::Call(call));
    press(&mut bench, "Let a second listener write it down");
    let asked = bench.asked();
    assert!(
        asked[0].starts_with("Second { attempt") && asked[0].contains(&id.to_string()),
        "{asked:?}"
    );
    bench.tell(Event::Second(id, SecondState::Listening));
    press(&mut bench, "Stop it");
    assert_eq!(bench.asked(), ["StopSecond"]);
    bench.tell(Event::Second(id, SecondState::Wrote("winch, two up".into())));
    bench
        .window
        .get_by_label("The second listener wrote: \"winch, two up\"");
}

#[test]
fn nothing_is_removed_without_a_question() {
    let mut bench = at("Disputed calls", false);
    dispute(&mut bench);
    press(&mut bench, "Remove this call");
    assert!(bench.asked().is_empty());
    press(&mut bench, "No");
    bench.window.get_by_label("Remove this call");
    press(&mut bench, "Remove this call");
    press(&mut bench, "Yes, remove it for good");
    assert_eq!(bench.asked(), [format!("Office(Remove({}))", attempt().id)]);

    press(&mut bench, "People");
    press(&mut bench, "Robin");
    assert_eq!(bench.asked(), [format!("Office(Person({}))", robin().id)]);
    office(
        &mut bench,
        OfficeEvent::Person(Box::new(Person {
            student: robin(),
            attempts: 34,
            recordings: 30,
            pin_forgotten: None,
            old: Removed::default(),
            calls: vec![summary(&attempt())],
        })),
    );
    bench.window.get_by_label("Their newest calls").click();
    bench.window.run();
    press(&mut bench, "1970-01-01 00:00, Ready call: set aside");
    assert_eq!(bench.asked(), [format!("Office(Open({}))", attempt().id)]);
    press(&mut bench, "Forget this person ...");
    assert!(bench.asked().is_empty());
    bench
        .window
        .get_by_label_contains("Robin is removed for good, with 34 calls and 30 recordings");
    press(&mut bench, "Yes, forget for good");
    assert_eq!(bench.asked(), [format!("Office(Forget({}))", robin().id)]);
    let gone = Forgotten {
        attempts: 34,
        recordings: 30,
        ..Forgotten::default()
    };
    office(&mut bench, OfficeEvent::Forgotten("Robin".into(), Box::new(gone)));
    bench
        .window
        .get_by_label("Robin was removed with 34 calls and 30 recordings.");
}

#[test]
fn a_new_pin_is_typed_twice() {
    let hers = || {
        OfficeEvent::Person(Box::new(Person {
            student: ines(false),
            attempts: 0,
            recordings: 0,
            pin_forgotten: None,
            old: Removed::default(),
            calls: Vec::new(),
        }))
    };
    let mut bench = at("People", false);
    press(&mut bench, "Ines");
    bench.asked();
    office(&mut bench, hers());
    enter(&mut bench, Role::PasswordInput, "New PIN", "4711");
    press(&mut bench, "Set the PIN");
    assert!(bench.asked().is_empty(), "only once so far");
    enter(&mut bench, Role::PasswordInput, "The same PIN again", "4712");
    bench.window.get_by_label("The two are not the same.");
    press(&mut bench, "Set the PIN");
    assert!(bench.asked().is_empty(), "it differs");
    bench.window.state_mut().page.people = people::People::default();
    press(&mut bench, "Ines");
    bench.asked();
    office(&mut bench, hers());
    for field in ["New PIN", "The same PIN again"] {
        enter(&mut bench, Role::PasswordInput, field, "4711");
    }
    press(&mut bench, "Set the PIN");
    assert!(bench.asked()[0].contains("4711"));
}

#[test]
fn a_report_and_the_sheet_for_the_wall_are_written_to_the_place_named() {
    let mut bench = at("Reports", false);
    let page = &mut bench.window.state_mut().page;
    page.papers.whose_for_test(For::Student(robin().id));
    bench.window.run();
    let suggested = bench.window.state().page.papers.file_for_test();
    assert!(
        suggested.contains("Robin-") && suggested.contains(".pdf"),
        "{suggested}"
    );
    press(&mut bench, "CSV for a spreadsheet");
    press(&mut bench, "Write the report");
    let asked = bench.asked();
    assert!(asked[0].contains("form: Csv") && asked[0].contains(".csv"), "{asked:?}");
    assert!(asked[0].contains(&format!("Student({})", robin().id)), "{asked:?}");
    // Not twice while the first is being written.
    bench.window.get_by_label("Working on it ...");
    press(&mut bench, "Write the report");
    assert!(bench.asked().is_empty());
    office(&mut bench, OfficeEvent::Written(PathBuf::from("Robin.csv")));
    bench.window.get_by_label("Written: Robin.csv");
    press(&mut bench, "Write the sheet");
    let asked = bench.asked();
    assert!(
        asked[0].contains("Wall(") && asked[0].contains("Larkmoor.pdf"),
        "{asked:?}"
    );
}

#[test]
fn practice_is_handed_out_and_results_are_taken_in_after_a_look() {
    let mut bench = at("Practice for home", false);
    bench.window.get_by_label("1 files with 20 calls each: Robin");
    press(&mut bench, "Write the files");
    let asked = bench.asked();
    assert!(
        asked[0].contains("HandOut(") && asked[0].contains("steps: [\"ready\"]"),
        "{asked:?}"
    );
    office(&mut bench, OfficeEvent::Working(1, 1));
    press(&mut bench, "Stop");
    assert_eq!(bench.asked(), ["Office(Stop)"]);
    office(
        &mut bench,
        OfficeEvent::HandedOut(HandedOut {
            folder: PathBuf::from("out"),
            files: 1,
            of: 1,
            before: 2,
        }),
    );
    bench.window.get_by_label("1 file written: out");
    bench.window.get_by_label_contains("2 of them lay there before");
    enter(&mut bench, Role::TextInput, "File or folder", "back");
    press(&mut bench, "Check");
    assert_eq!(bench.asked(), ["Office(LookIn([\"back\"]))"]);
    let good = Sheet {
        file: PathBuf::from("back/a.cableside"),
        inside: Ok(("Robin".into(), 3, 2, "2026-04-02".into())),
        taken: None,
    };
    let bad = Sheet {
        file: PathBuf::from("back/b.cableside"),
        inside: Err("Changed after it was sealed.".to_owned().into()),
        taken: None,
    };
    let batch = Batch {
        sheets: vec![good.clone(), bad],
        left: 0,
    };
    office(&mut bench, OfficeEvent::Batch(batch));
    bench.window.get_by_label_contains("Not imported, b.cableside");
    press(&mut bench, "Import 1");
    assert_eq!(bench.asked(), ["Office(TakeIn([\"back/a.cableside\"]))"]);
    let taken = Sheet {
        taken: Some(Taken {
            stored: 3,
            ..Taken::default()
        }),
        ..good
    };
    let batch = Batch {
        sheets: vec![taken],
        left: 0,
    };
    office(&mut bench, OfficeEvent::BatchTaken(batch));
    bench.window.get_by_label_contains("Robin: 3 new");
}

#[test]
fn a_merge_and_a_rule_show_what_they_would_do_first() {
    let mut bench = at("The record", false);
    enter(&mut bench, Role::TextInput, "Its file, logbook.sqlite", "other.sqlite");
    press(&mut bench, "Check");
    assert_eq!(
        bench.asked(),
        ["Office(Merge { other: \"other.sqlite\", sure: false })"]
    );
    let merged = Merged {
        attempts: 12,
        who_came: vec!["Kim".into()],
        who_went: vec!["Lou".into()],
        ..Merged::default()
    };
    office(
        &mut bench,
        OfficeEvent::MergeForeseen(PathBuf::from("other.sqlite"), Box::new(merged.clone())),
    );
    bench
        .window
        .get_by_label_contains("Removed there, so removed here for good: Lou.");
    press(&mut bench, "Yes, bring them together");
    assert_eq!(bench.asked(), ["Office(Merge { other: \"other.sqlite\", sure: true })"]);
    office(&mut bench, OfficeEvent::Merged(Box::new(merged)));
    bench.window.get_by_label("New here: Kim.");

    bench.window.get_by_label("Remove whole calls after").click();
    bench.window.run();
    press(&mut bench, "Set");
    let keep = Retention {
        recordings_days: None,
        attempts_days: Some(365),
    };
    assert_eq!(
        bench.asked(),
        [format!("Office(Keep {{ who: None, keep: {keep:?}, sure: false }})")]
    );
    let old = Removed {
        attempts: 5,
        recordings: 0,
        problems: Vec::new(),
        doubted_days: None,
    };
    office(&mut bench, OfficeEvent::KeepForeseen(None, keep, old));
    bench.window.get_by_label_contains("At the next start 5 calls");
    press(&mut bench, "Yes, set it");
    assert_eq!(
        bench.asked(),
        [format!("Office(Keep {{ who: None, keep: {keep:?}, sure: true }})")]
    );
}

#[test]
fn what_fails_is_told_in_the_windows_language() {
    let why = Trouble {
        text: "This is not the PIN of Ines.".into(),
        key: Some("wrong_pin"),
        facts: vec![("who", "Ines".into())],
    };
    assert_eq!(notices::text(Words::German, &why), "Das ist nicht die PIN von Ines.");
    let other = Trouble::from("something else".to_owned());
    let text = notices::text(Words::German, &other);
    assert!(text.contains("Something else.") && text.contains("Englisch"), "{text}");
}

impl OfficePage {
    /// A tab with all that it can show, or the question for the PIN: for the test of the layout.
    pub fn show_all(&mut self, tab: usize) {
        let event = |page: &mut Self, event| page.take(&Event::Office(event));
        event(self, OfficeEvent::Unlocked(None));
        let attempt = attempt();
        event(self, OfficeEvent::Disputed(vec![summary(&attempt); 12]));
        let reviewed = Reviewed {
            stored: StoredAttempt {
                attempt,
                created_at: jiff::Timestamp::UNIX_EPOCH,
                changed_at: jiff::Timestamp::UNIX_EPOCH,
                overruled_outcome: None,
            },
            name: Some("Robin".into()),
            judgements: Vec::new(),
        };
        event(self, OfficeEvent::Call(Box::new(reviewed)));
        self.tab = TABS.get(tab).map_or(Tab::Disputed, |t| t.0);
        let long = PathBuf::from("a-rather-long-name/Documents/club/winter/practice/Robin-2026.results.cableside");
        let sheet = |inside| Sheet {
            file: long.clone(),
            inside,
            taken: None,
        };
        let batch = Batch {
            sheets: vec![
                sheet(Ok(("Robin".into(), 30, 28, "2026-04-02 18:00 UTC".into()))),
                sheet(Err("The file was changed after it was sealed, or is damaged."
                    .to_owned()
                    .into())),
            ],
            left: 3,
        };
        event(self, OfficeEvent::Batch(batch));
        let merged = Merged {
            attempts: 120,
            runs: 8,
            who_came: vec!["Kim".into(), "Fay O'Neill-Gro\u{df}mann".into()],
            who_went: vec!["Lou".into()],
            ..Merged::default()
        };
        event(self, OfficeEvent::MergeForeseen(long.clone(), Box::new(merged)));
        let person = Person {
            student: Student {
                keep: Retention {
                    recordings_days: Some(30),
                    attempts_days: Some(365),
                },
                needs_guardian: true,
                ..ines(true)
            },
            attempts: 340,
            recordings: 300,
            pin_forgotten: Some(jiff::Timestamp::UNIX_EPOCH),
            old: Removed {
                attempts: 3,
                recordings: 2,
                problems: Vec::new(),
                doubted_days: None,
            },
            calls: vec![summary(&self::attempt()); 3],
        };
        event(self, OfficeEvent::Person(Box::new(person)));
        event(self, OfficeEvent::Written(long));
        if tab >= TABS.len() {
            event(self, OfficeEvent::Locked);
        }
    }
}
