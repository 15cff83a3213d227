//! Nothing is cut, off the screen or over something else: every page in both languages at the sizes that schools have, by the
//! rectangles of what the accessible tree offers.

use super::tests::{Held, Window, flown, larkmoor, robin, spoken, tell, window};
use super::*;
use crate::class::{Board, BoardRow};
use crate::drill::{Ending, Want};
use crate::logbook::{Course, Day, Middle, MixUp, Progress, Student, Tally};
use crate::report::Share;
use crate::sound::{DeviceInfo, DeviceList};
use crate::worker::meeting::ClassEvent;
use crate::worker::{Dealt, FoundSite};
use eframe::egui::accesskit::Role;
use eframe::egui::{Rect, Vec2};
use egui_kittest::kittest::NodeT;
use std::collections::HashMap;

/// Sizes as screens have them, pixels, with the text size.
const SIZES: [(f32, f32, f32); 6] = [
    (1024.0, 700.0, 1.0),
    (1280.0, 720.0, 1.3),
    (1366.0, 768.0, 1.0),
    (2560.0, 1440.0, 1.5),
    (1920.0, 1080.0, 1.75),
    (800.0, 500.0, 1.0),
];

/// What is read or operated.
const ROLES: [Role; 10] = [
    Role::Label,
    Role::Button,
    Role::TextInput,
    Role::MultilineTextInput,
    Role::CheckBox,
    Role::RadioButton,
    Role::ComboBox,
    Role::Slider,
    Role::SpinButton,
    Role::Image,
];

/// Something on the screen: its name, its whole rectangle, and what of it is seen.
#[derive(Clone)]
struct Thing {
    name: String,
    role: Role,
    whole: Rect,
    seen: Rect,
}

impl std::fmt::Debug for Thing {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:?} \"{}\" {} seen {}", self.role, self.name, self.whole, self.seen)
    }
}

fn key(rect: Rect) -> [i32; 4] {
    [rect.min.x, rect.min.y, rect.max.x, rect.max.y].map(|v| v.round() as i32)
}

fn below(node: &egui_kittest::Node<'_>, out: &mut HashMap<[i32; 4], (String, Role)>) {
    let node_of = node.accesskit_node();
    let role = node_of.role();
    if ROLES.contains(&role) {
        let name = node_of.label().or_else(|| node_of.value()).unwrap_or_default();
        out.insert(key(node.rect()), (name, role));
    }
    for child in node.children() {
        below(&child, out);
    }
}

/// What the window offers, with what of it is clipped away.
fn things(w: &Window) -> Vec<Thing> {
    let mut names = HashMap::new();
    below(&w.root(), &mut names);
    w.ctx.viewport(|viewport| {
        let widgets = &viewport.prev_pass.widgets;
        let mut out = Vec::new();
        for (_, layer) in widgets.layers() {
            for widget in layer {
                if let Some((name, role)) = names.get(&key(widget.rect)) {
                    out.push(Thing {
                        name: name.clone(),
                        role: *role,
                        whole: widget.rect,
                        seen: widget.interact_rect,
                    });
                }
            }
        }
        out
    })
}

/// What is wrong with what is there.
fn faults(w: &Window, size: Vec2) -> Vec<String> {
    let things = things(w);
    assert!(things.len() > 5, "the tree cannot be read: {things:?}");
    let mut out = Vec::new();
    let shown: Vec<&Thing> = things
        .iter()
        .filter(|t| t.seen.width() > 1.0 && t.seen.height() > 1.0)
        .collect();
    for t in &things {
        // What lies below the fold can be scrolled to; what lies beside the window cannot.
        if t.whole.left() < -1.0 || t.whole.right() > size.x + 1.0 {
            out.push(format!("beside the window: {t:?}"));
        }
    }
    for t in &shown {
        if t.seen.width() < t.whole.width() - 1.5 {
            out.push(format!("cut: {t:?}"));
        }
    }
    for (n, a) in shown.iter().enumerate() {
        for b in &shown[n + 1..] {
            let both = a.seen.shrink(1.5).intersect(b.seen.shrink(1.5));
            // A control may hold its own name, and a picture what is drawn on it.
            let inside = a.whole.contains_rect(b.whole) || b.whole.contains_rect(a.whole);
            if both.is_positive() && !inside {
                out.push(format!("over each other: {a:?} {b:?}"));
            }
        }
    }
    out.sort();
    out.dedup();
    out
}

fn names() -> Vec<Student> {
    let all = [
        "Ada",
        "Benedikt",
        "Cem",
        "Dorothea",
        "Emil",
        "Fay O'Neill-Gro\u{df}mann",
        "Gus",
        "Hana",
        "Ida-Marie",
        "Jo",
    ];
    let student = |(n, name): (usize, &&str)| Student {
        id: uuid::Uuid::from_u128(100 + n as u128),
        name: (*name).to_owned(),
        ..robin(Some(true))
    };
    all.iter().enumerate().map(student).collect()
}

fn board() -> Event {
    let row = |(n, s): (usize, Student)| BoardRow {
        name: s.name,
        today: 4,
        at_once: Share::new(1, 4),
        lately: (n % 2 == 0).then(|| Share::new(1, 8)),
        missed: if n < 6 {
            vec![
                ("Launch method".into(), Share::new(7, 9)),
                ("Crew".into(), Share::new(3, 9)),
            ]
        } else {
            Vec::new()
        },
    };
    let rows = names().into_iter().enumerate().map(row).collect();
    Event::Class(ClassEvent::Board(Box::new(Board {
        rows,
        needs: Vec::new(),
    })))
}

fn progress() -> Event {
    let tally = |said, wrong, missing, unsure| Tally {
        said,
        wrong,
        missing,
        unsure,
    };
    let day = jiff::civil::date(2026, 11, 4);
    let course = |element: &str, all| Course {
        element: element.into(),
        days: vec![(day, all)],
        all,
    };
    Event::Progress(Box::new(Progress {
        attempts: 30,
        older: false,
        days: vec![Day {
            date: day,
            attempts: 30,
            first: 20,
            passed: 9,
            reaction: Middle::of(vec![900, 1200]),
        }],
        elements: vec![
            course("address", tally(20, 0, 0, 0)),
            course("callsign", tally(10, 8, 1, 1)),
            course("crew", tally(2, 0, 1, 0)),
        ],
        mixed_up: vec![MixUp {
            element: "callsign".into(),
            right: "G-CLRM".into(),
            heard: "G-CLMR".into(),
            times: 3,
        }],
        reaction: Middle::of(vec![900, 1200, 1500]),
    }))
}

fn device(name: &str) -> DeviceInfo {
    DeviceInfo {
        name: name.to_owned(),
        id: name.to_owned(),
        default: false,
        form: Some((48_000, 1)),
    }
}

/// A window with everything in it that a page can show.
fn full(words: Words, dark: bool) -> Window {
    let site = |id: &str, name: &str| FoundSite {
        id: id.into(),
        name: name.into(),
        about: "An invented field with two cables and a winch at the far end, for practice in every weather.".into(),
        language: Some(crate::site::Language::ENGLISH),
        invented: true,
        problem: None,
    };
    let mut w = window(vec![
        Event::Sites(vec![site("larkmoor", "Larkmoor"), site("erlengrund", "Erlengrund")]),
        Event::Students(names()),
        Event::Model(ModelState::Ready("base".into())),
        Event::Microphone(Some(
            "A headset with a rather long name on a usb socket of the front panel".into(),
        )),
        Event::SiteLoaded(larkmoor()),
        Event::Student(Some(robin(Some(true)))),
        Event::Devices(DeviceList {
            system: "PulseAudio".into(),
            inputs: vec![device(
                "A headset with a rather long name on a usb socket of the front panel",
            )],
            outputs: vec![device("Speakers")],
        }),
        progress(),
        board(),
        Event::Dealt(Dealt {
            situation: super::tests::situation(),
            step: "ready".into(),
            number: 1,
        }),
        Event::State(TurnState::YourCall),
    ]);
    let held: &mut Held = w.state_mut();
    held.front.settings.words = Some(words);
    held.front.settings.light = if dark {
        crate::window::Light::Dark
    } else {
        crate::window::Light::Light
    };
    w
}

fn check(w: &mut Window, what: &str, out: &mut Vec<String>) {
    for (width, height, scale) in SIZES {
        let size = Vec2::new(width / scale, height / scale);
        w.set_size(size);
        w.run();
        w.run();
        let found = faults(w, size);
        out.extend(
            found
                .iter()
                .take(4)
                .map(|f| format!("{what} at {width}x{height}, {scale}: {f}")),
        );
    }
}

fn all(words: Words, dark: bool) -> Vec<String> {
    let mut out = Vec::new();
    let mut w = full(words, dark);
    check(&mut w, "practice, before", &mut out);
    tell(
        &mut w,
        spoken("winch, delta two zero five eight, north winch cable, ready"),
    );
    tell(&mut w, Event::State(TurnState::YourCall));
    check(&mut w, "practice, judged", &mut out);
    tell(&mut w, Event::State(TurnState::Done));
    check(&mut w, "practice, done", &mut out);
    // The longest words there are for what a call comes to, with the number of the attempt behind them.
    let Event::Judged(mut held_back) = spoken("winch, delta two zero five eight, solo, south winch cable, not ready")
    else {
        unreachable!("a judged call");
    };
    held_back.attempt = 2;
    tell(&mut w, Event::Judged(held_back));
    check(&mut w, "practice, held back", &mut out);
    for entry in Page::ALL.iter().filter(|e| e.page != Page::Practice) {
        w.state_mut().front.page = entry.page;
        check(&mut w, entry.name, &mut out);
    }
    w.state_mut().front.page = Page::Office;
    for (n, what) in ["judging", "papers", "handing", "people", "record", "locked"]
        .iter()
        .enumerate()
    {
        w.state_mut().front.pages.office.show_all(n);
        check(&mut w, &format!("instructor, {what}"), &mut out);
    }
    w.state_mut().front.page = Page::Launch;
    tell(&mut w, flown(TurnState::YourCall, Some(Want::Hazard), "pilot", None));
    check(&mut w, "launch, under way", &mut out);
    tell(&mut w, flown(TurnState::Done, None, "pilot", Some(Ending::ByHand)));
    check(&mut w, "launch, over", &mut out);
    out
}

#[test]
fn nothing_is_cut_off_screen_or_over_something_else_in_english() {
    let out = all(Words::English, false);
    assert!(out.is_empty(), "{}\n{}", out.len(), out.join("\n"));
}

#[test]
fn nothing_is_cut_off_screen_or_over_something_else_in_german() {
    let out = all(Words::German, true);
    assert!(out.is_empty(), "{}\n{}", out.len(), out.join("\n"));
}

#[test]
fn the_measure_sees_what_is_cut_and_what_lies_over_something_else() {
    let mut w = full(Words::English, false);
    w.set_size(Vec2::new(1366.0, 768.0));
    w.run();
    assert!(faults(&w, Vec2::new(1366.0, 768.0)).is_empty());
    // The same picture judged by a narrower window: what stands at the right is beside it.
    assert!(!faults(&w, Vec2::new(900.0, 768.0)).is_empty());
}
