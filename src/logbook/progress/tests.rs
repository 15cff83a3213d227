use super::*;
use crate::logbook::{ElementVerdict, NewAttempt, NewStudent, Part};
use jiff::Timestamp;
use jiff::civil::date;
use serde_json::json;
use std::path::Path;
use uuid::Uuid;

/// A full hour UTC in October.
fn at(day: i8, hour: i8) -> Timestamp {
    jiff::tz::Offset::UTC
        .to_timestamp(date(2026, 10, day).at(hour, 0, 0, 0))
        .unwrap()
}

fn attempt(student: Option<Uuid>, time: Timestamp, verdicts: &[(&str, Verdict, Option<&str>)]) -> NewAttempt {
    let outcome = if verdicts.iter().all(|v| v.1 == Verdict::Said) {
        Outcome::Pass
    } else {
        Outcome::NotYet
    };
    NewAttempt {
        id: Uuid::new_v4(),
        student,
        started_at: time,
        utc_offset_seconds: 0,
        site: "larkmoor".into(),
        site_version: "1".into(),
        step: "ready".into(),
        situation: json!({"callsign": "G-CLRM", "crew": 2, "cable": "north", "more": {"speed": "too fast"}}),
        part: Part::default(),
        turn: Uuid::new_v4(),
        turn_attempt: 1,
        model: None,
        program_version: "0".into(),
        outcome,
        score: None,
        timings: Timings::default(),
        transcript: String::new(),
        evidence: json!({}),
        recording: None,
        held_out: false,
        elements: verdicts
            .iter()
            .map(|(e, v, heard)| ElementVerdict::new(*e, *v, heard.map(str::to_owned)))
            .collect(),
    }
}

fn book() -> (Logbook, Uuid) {
    let mut book = Logbook::in_memory(Path::new("nowhere")).unwrap();
    let new = NewStudent {
        name: "Robin".into(),
        ..NewStudent::default()
    };
    let id = book.add_student(&new, at(1, 0)).unwrap().id;
    (book, id)
}

#[test]
fn nothing_recorded_is_nothing_to_show() {
    let (book, id) = book();
    assert_eq!(book.progress(Whose::Student(id), None).unwrap(), Progress::default());
}

#[test]
fn days_elements_and_mix_ups_are_counted_from_first_attempts() {
    let (mut book, id) = book();
    let who = Some(id);
    let good = [
        ("callsign", Verdict::Said, Some("G-CLRM")),
        ("cable", Verdict::Said, Some("north")),
    ];
    let mixed = [
        ("callsign", Verdict::Wrong, Some("G-CLMR")),
        ("cable", Verdict::Unsure, None),
    ];
    let mut keep = |a: NewAttempt| book.record(&a, at(20, 0)).unwrap();
    for (hour, reaction) in [(8, 900), (9, 1500), (10, 1100)] {
        let mut a = attempt(who, at(3, hour), &good);
        a.timings.prompt_end_to_press_ms = Some(reaction);
        keep(a);
    }
    keep(attempt(who, at(5, 8), &mixed));
    keep(attempt(who, at(5, 9), &mixed));
    // A repeat counts as an attempt, and for nothing else.
    let mut repeat = attempt(who, at(5, 10), &mixed);
    repeat.turn_attempt = 2;
    keep(repeat);
    // Held out, nothing heard, another site, nobody: each is left out where it must be.
    let mut held = attempt(who, at(5, 11), &mixed);
    held.held_out = true;
    keep(held);
    let mut silent = attempt(who, at(5, 12), &[("callsign", Verdict::Missing, None)]);
    silent.outcome = Outcome::NothingHeard;
    keep(silent);
    let mut elsewhere = attempt(who, at(6, 8), &good);
    elsewhere.site = "erlengrund".into();
    keep(elsewhere);
    keep(attempt(None, at(5, 8), &mixed));

    let p = book.progress(Whose::Student(id), Some("larkmoor")).unwrap();
    assert_eq!((p.attempts, p.older), (7, false));
    assert_eq!(p.days.len(), 2);
    let first = &p.days[0];
    assert_eq!(
        (first.date, first.attempts, first.first, first.passed),
        (date(2026, 10, 3), 3, 3, 3)
    );
    let middle = Middle {
        n: 3,
        low: 900,
        middle: 1100,
        high: 1500,
    };
    assert_eq!((first.reaction, p.reaction), (Some(middle), Some(middle)));
    let second = &p.days[1];
    assert_eq!(
        (second.attempts, second.first, second.passed, second.reaction),
        (4, 2, 0, None)
    );
    let names: Vec<&str> = p.elements.iter().map(|e| e.element.as_str()).collect();
    assert_eq!(names, ["callsign", "cable"]);
    assert_eq!(
        (
            p.elements[0].all.said,
            p.elements[0].all.wrong,
            p.elements[0].all.missing
        ),
        (3, 2, 0)
    );
    assert_eq!((p.elements[1].all.decided(), p.elements[1].all.unsure), (3, 2));
    assert_eq!(p.elements[0].days.len(), 2);
    assert_eq!(
        p.mixed_up,
        [MixUp {
            element: "callsign".into(),
            right: "G-CLRM".into(),
            heard: "G-CLMR".into(),
            times: 2
        }]
    );
    assert_eq!(book.progress(Whose::Student(id), None).unwrap().attempts, 8);
    assert_eq!(book.progress(Whose::Nobody, Some("larkmoor")).unwrap().attempts, 1);
    assert_eq!(book.progress(Whose::Anyone, Some("larkmoor")).unwrap().attempts, 8);
}

#[test]
fn a_day_is_the_students_day() {
    let (mut book, id) = book();
    let mut late = attempt(Some(id), at(3, 23), &[]);
    late.utc_offset_seconds = 2 * 3600;
    book.record(&late, at(4, 0)).unwrap();
    let p = book.progress(Whose::Student(id), None).unwrap();
    assert_eq!(p.days[0].date, date(2026, 10, 4));
}

#[test]
fn an_instructors_verdict_counts_and_is_no_mix_up() {
    let (mut book, id) = book();
    let a = attempt(Some(id), at(3, 8), &[("cable", Verdict::Wrong, Some("south"))]);
    book.record(&a, at(3, 9)).unwrap();
    book.connection
        .execute("UPDATE element_verdict SET overruled_verdict = 'said'", [])
        .unwrap();
    let p = book.progress(Whose::Student(id), None).unwrap();
    assert_eq!((p.elements[0].all.said, p.mixed_up.len()), (1, 0));
}

#[test]
fn dealt_values_of_other_elements_are_mixed_up_too() {
    let (mut book, id) = book();
    let a = attempt(Some(id), at(3, 8), &[("speed", Verdict::Wrong, Some("too slow"))]);
    book.record(&a, at(3, 9)).unwrap();
    let p = book.progress(Whose::Student(id), None).unwrap();
    assert_eq!(p.mixed_up[0].right, "too fast");
}

#[test]
fn few_calls_have_no_share_and_more_have_wilsons_interval() {
    assert_eq!(Share::of(4, 4), None);
    // Brown, Cai and DasGupta, "Interval Estimation for a Binomial Proportion", Statistical Science 16 (2001), formula 4.
    let share = Share::of(8, 10).unwrap();
    assert!(
        (share.low - 0.4902).abs() < 5e-4 && (share.high - 0.9433).abs() < 5e-4,
        "{share:?}"
    );
    let all = Share::of(20, 20).unwrap();
    assert!(all.low < 0.85 && (all.high - 1.0).abs() < 1e-9, "{all:?}");
}

#[test]
fn attempts_are_counted_by_step_and_version() {
    let (mut book, id) = book();
    for version in ["1", "1", "2"] {
        let mut a = attempt(Some(id), at(3, 8), &[]);
        a.site_version = version.into();
        book.record(&a, at(3, 9)).unwrap();
    }
    let counts = book.attempts_by_version("larkmoor").unwrap();
    let told: Vec<_> = counts
        .iter()
        .map(|c| (c.step.as_str(), c.version.as_str(), c.attempts))
        .collect();
    assert_eq!(told, [("ready", "1", 2), ("ready", "2", 1)]);
    assert!(book.attempts_by_version("erlengrund").unwrap().is_empty());
}
