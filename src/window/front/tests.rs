//! The window without a display: roles and labels, the keyboard alone, what is asked of the worker.

use super::*;
use crate::call::{Evidence, Situation, Vocabulary, judge, judge::Limits};
use crate::drill::ear::{Difficulty, Question, Task};
use crate::drill::{Course, Ending, Entry, Launch, Pace, Turn, Want};
use crate::logbook::{Consent, Student};
use crate::site::{Callsign, Language, Site};
use crate::sound::{DeviceInfo, DeviceList, Level};
use crate::window::choose::is_own;
use crate::window::settings::Light;
use crate::worker::{Dealt, Ear, Flown, FoundSite, Judged, Saying};
use eframe::egui::accesskit::Role;
use eframe::egui::{Event as Input, Key, Modifiers, PointerButton, Vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use std::sync::Arc;

/// The window and what it asked of the worker.
#[derive(Default)]
pub(super) struct Held {
    pub(super) front: Front,
    pub(super) asked: Vec<Command>,
}

pub(super) type Window = Harness<'static, Held>;

pub(super) fn window(events: Vec<Event>) -> Window {
    let mut held = Held::default();
    for event in events {
        let commands = held.front.take(event);
        held.asked.extend(commands);
    }
    Harness::builder()
        .with_size(Vec2::new(1100.0, 800.0))
        .with_context_setup(look::set)
        .build_ui_state(
            |ui, held: &mut Held| {
                let commands = held.front.ui(ui);
                held.asked.extend(commands);
            },
            held,
        )
}

pub(super) fn tell(window: &mut Window, event: Event) {
    // A verdict is shown when the logbook has spoken of it.
    let stored = match &event {
        Event::Judged(judged) => Some(Event::Stored(judged.id)),
        _ => None,
    };
    tell_only(window, event);
    if let Some(stored) = stored {
        tell_only(window, stored);
    }
}

fn tell_only(window: &mut Window, event: Event) {
    let commands = window.state_mut().front.take(event);
    window.state_mut().asked.extend(commands);
    window.run();
}

/// What was asked since the last time, by the commands' debug texts.
pub(super) fn asked(window: &mut Window) -> Vec<String> {
    std::mem::take(&mut window.state_mut().asked)
        .iter()
        .map(|c| format!("{c:?}"))
        .collect()
}

pub(super) fn larkmoor() -> Arc<Site> {
    let dir = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases/larkmoor");
    Arc::new(Site::check(&crate::folders::read_site(&dir)).unwrap())
}

pub(super) fn robin(consent: Option<bool>) -> Student {
    let now = jiff::Timestamp::UNIX_EPOCH;
    Student {
        id: uuid::Uuid::from_u128(7),
        name: "Robin".into(),
        language: None,
        role: None,
        needs_guardian: false,
        has_pin: false,
        keep: crate::logbook::Retention::default(),
        consent: consent.map(|given| Consent {
            given,
            asked_at: now,
            by: None,
        }),
        created_at: now,
        changed_at: now,
    }
}

pub(super) fn situation() -> Situation {
    Situation::new(Callsign::parse("D-2058").unwrap(), 1, "south")
}

/// A turn at Larkmoor in which it is the student's call.
pub(super) fn practising() -> Window {
    let mut w = window(vec![
        Event::Model(ModelState::Ready("base".into())),
        Event::Microphone(Some("Headset".into())),
        Event::SiteLoaded(larkmoor()),
        Event::Student(Some(robin(Some(true)))),
        Event::Dealt(Dealt {
            situation: situation(),
            step: "ready".into(),
            number: 1,
        }),
        Event::State(TurnState::YourCall),
    ]);
    w.run();
    assert!(asked(&mut w).is_empty(), "nothing is dealt before it is wanted");
    w
}

pub(super) fn judged(typed: &str) -> Event {
    let site = larkmoor();
    let step = site.step("ready").unwrap();
    let evidence = Evidence::typed(&Vocabulary::of(&site, step), typed);
    let judgement = judge(&site, step, &situation(), &evidence, &Limits::DEFAULT);
    let mut turn = Turn::new(situation());
    let answer = turn.judged(&site, step, &judgement);
    Event::Judged(Box::new(Judged {
        id: uuid::Uuid::nil(),
        judgement,
        evidence,
        answer,
        attempt: 1,
        troubles: vec!["The recording is very quiet.".into()],
        spoken: true,
        clip: None,
        milliseconds: 900,
        over: false,
        void: false,
    }))
}

fn press_key(w: &Window, key: Key, pressed: bool, repeat: bool) {
    w.event(Input::Key {
        key,
        physical_key: None,
        pressed,
        repeat,
        modifiers: Modifiers::NONE,
    });
}

#[test]
fn a_new_student_must_answer_the_question_about_recordings() {
    let mut w = window(vec![Event::Students(vec![])]);
    w.run();
    w.get_by_label_contains("on this computer only; nothing is sent anywhere");
    let add = "Add and practise";
    assert!(w.get_by_label(add).accesskit_node().is_disabled());
    w.get_by_role_and_label(Role::TextInput, "Name").focus();
    w.run();
    w.get_by_role_and_label(Role::TextInput, "Name").type_text("Robin");
    w.run();
    assert!(w.get_by_label(add).accesskit_node().is_disabled(), "not answered yet");
    w.get_by_role_and_label(Role::RadioButton, "No, keep no recordings")
        .click();
    w.run();
    w.get_by_label(add).click();
    w.run();
    assert_eq!(
        asked(&mut w),
        ["AddStudent { name: \"Robin\", consent: false, by: None }"]
    );
    // The worker answers; without a site that page is next.
    tell(&mut w, Event::Student(Some(robin(Some(false)))));
    assert_eq!(w.state().front.page, Page::Site);
}

#[test]
fn a_student_who_was_never_asked_is_asked_before_practice() {
    let mut w = window(vec![Event::SiteLoaded(larkmoor()), Event::Students(vec![robin(None)])]);
    w.run();
    w.get_by_role_and_label(Role::Button, "Robin").click();
    w.run();
    assert!(asked(&mut w)[0].starts_with("ChooseStudent(Some("));
    tell(&mut w, Event::Student(Some(robin(None))));
    assert_eq!(w.state().front.page, Page::Student);
    assert!(w.get_by_label("Practice").accesskit_node().is_disabled());
    w.get_all_by_label("Yes, keep recordings on this computer")
        .next()
        .unwrap()
        .click();
    w.run();
    w.get_by_label("Answer and practise").click();
    w.run();
    assert!(asked(&mut w)[0].contains("given: true"));
    tell(&mut w, Event::Student(Some(robin(Some(true)))));
    assert_eq!(w.state().front.page, Page::Practice);
    assert!(asked(&mut w).is_empty(), "nothing speaks and no clock runs yet");
    // The keyboard is at the page's main action.
    w.run();
    w.key_press(Key::Enter);
    w.run();
    assert_eq!(asked(&mut w), ["Next"]);
}

#[test]
fn a_site_is_chosen_and_a_broken_one_says_what_is_wrong() {
    let site = |id: &str, name: &str, problem: Option<&str>| FoundSite {
        id: id.into(),
        name: name.into(),
        about: "A field.".into(),
        language: Some(Language::ENGLISH),
        invented: true,
        problem: problem.map(str::to_owned),
    };
    let sites = vec![
        site("larkmoor", "Larkmoor", None),
        site("b", "Broken", Some("site.toml, line 3")),
    ];
    let mut w = window(vec![Event::Sites(sites), Event::Student(None)]);
    w.run();
    w.get_by_label_contains("site.toml, line 3");
    assert!(w.get_by_label("Broken").accesskit_node().is_disabled());
    w.get_by_label("Larkmoor").click();
    w.run();
    assert_eq!(asked(&mut w), ["LoadSite(SiteRequest(\"larkmoor\"))"]);
}

#[test]
fn the_situation_is_given_as_facts_and_the_cautions_stay_in_sight() {
    let mut w = practising();
    for text in ["D-2058, Redwing", "1 person", "South", "your call"] {
        w.get_by_label(text);
    }
    w.get_by_label_contains("right, facing the winch");
    assert!(
        w.query_by_label_contains("solo").is_none(),
        "the words of the call are the student's"
    );
    assert_eq!(w.state().front.title(), "Cableside: your call");
    for page in ["Student", "Site", "Practice", "Sound", "Display", "Help"] {
        w.get_by_label(page).click();
        w.run();
        assert!(
            w.get_all_by_label_contains("This trains words, not flying.")
                .next()
                .is_some()
        );
        w.get_by_label_contains("Larkmoor is an invented place.");
    }
}

#[test]
fn a_call_is_typed_with_the_keyboard_alone_and_its_space_bar_does_not_transmit() {
    let mut w = practising();
    let mut tabs = 0;
    while !w.get_by_role_and_label(Role::TextInput, "Or type:").is_focused() {
        w.key_press(Key::Tab);
        w.run();
        tabs += 1;
        assert!(tabs < 20, "the field cannot be reached");
    }
    for (key, text) in [(None, "winch, delta"), (Some(Key::Space), " "), (None, "two")] {
        if let Some(key) = key {
            press_key(&w, key, true, false);
        }
        w.event(Input::Text(text.to_owned()));
        if let Some(key) = key {
            press_key(&w, key, false, false);
        }
        w.run();
    }
    w.key_press(Key::Enter);
    w.run();
    assert_eq!(asked(&mut w), ["Type(\"winch, delta two\")"]);
}

#[test]
fn space_transmits_as_long_as_it_is_held_and_escape_throws_the_call_away() {
    let mut w = practising();
    press_key(&w, Key::Space, true, false);
    w.run();
    assert_eq!(asked(&mut w), ["Press"]);
    tell(&mut w, Event::State(TurnState::Transmitting));
    for _ in 0..50 {
        press_key(&w, Key::Space, true, true);
        w.step();
    }
    assert!(asked(&mut w).is_empty(), "the keyboard's repeats are no new presses");
    tell(
        &mut w,
        Event::Level(Level {
            peak_dbfs: -50.0,
            rms_dbfs: -60.0,
        }),
    );
    w.get_by_label_contains("too quiet");
    press_key(&w, Key::Space, false, false);
    w.run();
    assert_eq!(asked(&mut w), ["Release"]);

    tell(&mut w, Event::State(TurnState::YourCall));
    press_key(&w, Key::Space, true, false);
    w.run();
    tell(&mut w, Event::State(TurnState::Transmitting));
    w.key_press(Key::Escape);
    w.run();
    tell(&mut w, Event::State(TurnState::YourCall));
    press_key(&w, Key::Space, false, false);
    w.run();
    assert_eq!(asked(&mut w), ["Press", "Cancel", "Release"]);
}

#[test]
fn a_long_hold_of_the_mouse_keeps_transmitting() {
    let mut w = practising();
    let at = w.get_by_label("Hold to talk (Space)").rect().center();
    let button = |pressed| Input::PointerButton {
        pos: at,
        button: PointerButton::Primary,
        pressed,
        modifiers: Modifiers::NONE,
    };
    w.event(Input::PointerMoved(at));
    w.event(button(true));
    w.step();
    tell(&mut w, Event::State(TurnState::Transmitting));
    assert_eq!(asked(&mut w), ["Press"]);
    // The harness lets a quarter of a second pass at each step: five seconds, well over the longest click.
    for _ in 0..20 {
        w.step();
    }
    assert!(asked(&mut w).is_empty());
    w.event(button(false));
    w.step();
    w.step();
    assert_eq!(asked(&mut w), ["Release"]);
}

#[test]
fn assistive_technology_and_enter_switch_the_key() {
    let mut w = practising();
    w.get_by_label("Hold to talk (Space)").click_accesskit();
    w.run();
    assert_eq!(asked(&mut w), ["Press"]);
    tell(&mut w, Event::State(TurnState::Transmitting));
    assert!(asked(&mut w).is_empty());
    w.get_by_label("Release to end (Esc cancels)").click_accesskit();
    w.run();
    assert_eq!(asked(&mut w), ["Release"]);
}

#[test]
fn losing_the_window_lets_go_of_the_key() {
    let mut w = practising();
    press_key(&w, Key::Space, true, false);
    w.run();
    tell(&mut w, Event::State(TurnState::Transmitting));
    w.event(Input::WindowFocused(false));
    w.input_mut().focused = false;
    w.run();
    assert_eq!(asked(&mut w), ["Press", "Release"]);
}

#[test]
fn verdicts_are_words_with_reasons_and_the_answer_follows() {
    let mut w = practising();
    tell(
        &mut w,
        judged("winch, delta two zero five eight, north winch cable, ready"),
    );
    tell(&mut w, Event::State(TurnState::YourCall));
    w.get_by_label("not yet");
    // The one thing that matters stands first; the tiles show what was said.
    w.get_by_label("You said \"north\"; the cable is \"south\".");
    assert_eq!(w.get_all_by_label("missing").count(), 1);
    assert_eq!(w.get_all_by_label("wrong").count(), 1);
    assert_eq!(w.get_all_by_label("said").count(), 4);
    w.get_by_label("delta two zero five eight");
    w.get_by_label("north");
    // A retry is no reading aloud: the words are shown when they are asked for.
    let model = "Winch, Delta two zero five eight, solo, south winch cable, ready.";
    assert!(w.query_by_label(model).is_none());
    w.get_by_label("Show the words").click();
    w.run();
    w.get_by_label(model);
    w.get_by_label("Heard \"north\"; right is \"south\".");
    w.get_by_label_contains("Winch driver: \"North?\"");
    w.get_by_label("Score and how it was spoken").scroll_to_me();
    w.run();
    w.get_by_label("Score and how it was spoken").click();
    w.run();
    w.run();
    w.get_by_label_contains(" of 100");
    w.get_by_label_contains("Crew 0 of 17");
    w.get_by_label("The recording is very quiet.");
    for (button, command) in [
        ("Play my call", "PlayOwn"),
        ("Hear the answer", "PlayAnswer"),
        ("Hear the cue", "PlayPrompt"),
    ] {
        // On a small screen it lies below the launch point.
        w.get_by_label(button).scroll_to_me();
        w.run();
        w.get_by_label(button).click();
        w.run();
        assert_eq!(asked(&mut w), [command]);
    }
}

#[test]
fn messages_can_be_closed_and_a_missing_model_names_the_way_out() {
    let mut w = practising();
    tell(
        &mut w,
        Event::Trouble("The microphone \"Headset\" went away.".to_owned().into()),
    );
    w.get_by_label_contains("went away");
    w.get_by_label("Close").click();
    w.run();
    assert!(w.query_by_label_contains("went away").is_none());
    tell(
        &mut w,
        Event::Model(ModelState::Missing(
            "run `cableside model fetch base`".to_owned().into(),
        )),
    );
    w.get_by_label_contains("the speech model is not there yet");
    assert!(
        w.query_by_label_contains("cableside model").is_none(),
        "no commands in the window"
    );
    assert!(w.get_by_label("Hold to talk (Space)").accesskit_node().is_disabled());
    w.get_by_label("Look for the model again").click();
    w.run();
    assert_eq!(asked(&mut w), ["LoadModel"]);
}

#[test]
fn devices_are_chosen_by_name() {
    let device = |id: &str, name: &str, default| DeviceInfo {
        name: name.into(),
        id: id.into(),
        default,
        form: Some((48_000, 1)),
    };
    let mut w = practising();
    w.get_by_label("Sound").click();
    w.run();
    assert_eq!(asked(&mut w), ["WatchLevel(true)", "ListDevices"]);
    tell(
        &mut w,
        Event::Devices(DeviceList {
            system: "PulseAudio".into(),
            inputs: vec![device("a", "Built-in", true), device("b", "Headset", false)],
            outputs: vec![device("c", "Speakers", true)],
        }),
    );
    w.get_by_role_and_label(Role::ComboBox, "Microphone").click();
    w.run();
    w.get_by_label("Headset").click();
    w.run();
    assert_eq!(asked(&mut w), ["ChooseDevices { input: Some(\"b\"), output: None }"]);
    w.get_by_label("Practice").click();
    w.run();
    assert_eq!(asked(&mut w), ["WatchLevel(false)"]);
}

#[test]
fn nothing_is_drawn_while_nothing_happens() {
    let mut w = practising();
    w.run();
    let delay = w.output().viewport_output[&eframe::egui::ViewportId::ROOT].repaint_delay;
    assert!(delay > std::time::Duration::from_mins(1), "{delay:?}");
}

#[test]
fn a_narrow_window_has_everything_too() {
    let mut w = practising();
    w.set_size(Vec2::new(480.0, 800.0));
    tell(
        &mut w,
        judged("winch, delta two zero five eight, solo, north winch cable, ready"),
    );
    w.get_by_label("not yet");
    w.get_by_label("Hold to talk (Space)");
}

#[test]
fn every_page_is_in_the_navigation_once_and_has_its_help() {
    let mut w = practising();
    for (n, entry) in super::super::page::Page::ALL.iter().enumerate() {
        assert_eq!(entry.page.entry().name, entry.name);
        let name = Words::English.say(entry.name);
        w.get_all_by_role_and_label(Role::Button, name).next().unwrap().click();
        w.run();
        assert_eq!(w.state().front.page, entry.page);
        w.key_press(Key::F1);
        w.run();
        let first = Words::English.say(entry.help).lines().next().unwrap();
        assert!(w.get_all_by_label(first).next().is_some(), "{name}");
        w.key_press(Key::F1);
        w.run();
        w.get_by_label("Help").click();
        w.run();
        // There are keys for the first nine pages only.
        let Some(key) = DIGITS.get(n).copied() else { continue };
        w.key_press_modifiers(Modifiers::COMMAND, key);
        w.run();
        assert_eq!(w.state().front.page, entry.page);
    }
}

#[test]
fn the_window_speaks_german_and_is_light_dark_large_and_small() {
    let mut w = practising();
    w.get_by_label("Display").click();
    w.run();
    w.get_by_role_and_label(Role::RadioButton, "Deutsch").click();
    w.run();
    w.get_by_role_and_label(Role::RadioButton, "Dunkel").click();
    w.run();
    assert!(w.ctx.global_style().visuals.dark_mode);
    for (key, times) in [(Key::Plus, 20), (Key::Minus, 30)] {
        for _ in 0..times {
            w.key_press_modifiers(Modifiers::COMMAND, key);
            w.run();
        }
        let end = if key == Key::Plus { 2.0 } else { 0.8 };
        assert!((w.state().front.settings.scale - end).abs() < 0.001);
        assert!((w.ctx.zoom_factor() - end).abs() < 0.001);
    }
    w.key_press_modifiers(Modifiers::COMMAND, Key::Num0);
    w.run();
    w.get_by_label("Üben").click();
    w.run();
    tell(
        &mut w,
        judged("winch, delta two zero five eight, solo, north winch cable, ready"),
    );
    for text in [
        "deine Meldung",
        "noch nicht",
        "1 Person",
        "Zum Sprechen halten (Leertaste)",
    ] {
        w.get_by_label(text);
    }
    assert_eq!(w.state().front.title(), "Cableside: deine Meldung");
    let kept = &w.state().front.settings;
    assert_eq!((kept.words, kept.light), (Some(Words::German), Light::Dark));
}

#[test]
fn a_start_goes_on_where_the_last_one_ended() {
    let w = practising();
    let kept = w.state().front.settings.clone();
    assert_eq!(kept.page, Page::Practice);
    assert_eq!(kept.who, LastWho::Student(uuid::Uuid::from_u128(7)));
    let mut front = Front::new(kept, Words::English);
    assert_eq!(front.page, Page::Practice);
    assert!(front.begin().is_empty(), "there is no site yet");
    for event in [Event::SiteLoaded(larkmoor()), Event::Student(Some(robin(Some(true))))] {
        assert!(front.take(event).is_empty(), "nothing is dealt before it is wanted");
    }
    let first = front.taken_up(Command::Next);
    let first = format!("{first:?}");
    assert!(
        first.starts_with("Deal {") && first.contains("\"south\"") && first.contains("step: Some(\"ready\")"),
        "{first}"
    );
    // Only once: the next situation is a new one.
    assert!(matches!(front.taken_up(Command::Next), Command::Next));
    // Where nothing was under way, the step practised last is dealt.
    let kept = Settings {
        step: Some("stop".into()),
        under_way: None,
        ..w.state().front.settings.clone()
    };
    let mut front = Front::new(kept, Words::English);
    front.take(Event::SiteLoaded(larkmoor()));
    assert_eq!(format!("{:?}", front.taken_up(Command::Next)), "ChooseStep(\"stop\")");
}

#[test]
fn tiny_and_huge_windows_are_drawn() {
    let mut w = practising();
    tell(&mut w, judged("winch, delta two zero five eight"));
    tell(&mut w, Event::Trouble("The microphone went away.".to_owned().into()));
    for size in [
        (1.0, 1.0),
        (60.0, 40.0),
        (200.0, 120.0),
        (320.0, 200.0),
        (640.0, 360.0),
        (3840.0, 2160.0),
    ] {
        w.set_size(Vec2::new(size.0, size.1));
        for entry in super::super::page::Page::ALL {
            w.state_mut().front.page = entry.page;
            w.run();
        }
    }
    w.set_size(Vec2::new(320.0, 200.0));
    w.state_mut().front.page = Page::Practice;
    w.run();
    w.get_by_role_and_label(Role::ComboBox, "Page");
}

#[test]
fn the_talk_key_wins_whatever_has_the_focus_and_a_held_key_presses_a_button_once() {
    let mut w = practising();
    for focused in ["Another task", "Hear the cue", "Launch"] {
        w.get_by_label(focused).focus();
        w.run();
        press_key(&w, Key::Space, true, false);
        w.run();
        for _ in 0..12 {
            press_key(&w, Key::Space, true, true);
            w.run();
        }
        press_key(&w, Key::Space, false, false);
        w.run();
        assert_eq!(asked(&mut w), ["Press", "Release"], "{focused}");
        assert_eq!(w.state().front.page, Page::Practice);
    }
    w.get_by_label("Another task").focus();
    w.run();
    press_key(&w, Key::Enter, true, false);
    w.run();
    for _ in 0..16 {
        press_key(&w, Key::Enter, true, true);
        w.run();
    }
    assert_eq!(asked(&mut w), ["Next"], "a held key presses once");
}

#[test]
fn the_focus_comes_into_sight_and_f6_goes_to_the_main_action() {
    let mut w = practising();
    w.set_size(Vec2::new(985.0, 554.0));
    tell(
        &mut w,
        spoken("winch, delta two zero five eight, north winch cable, ready"),
    );
    tell(&mut w, Event::State(TurnState::YourCall));
    let last = "Score and how it was spoken";
    let low = |w: &Window| w.get_by_label(last).rect().bottom();
    assert!(low(&w) > 554.0, "it lies below the fold: {}", low(&w));
    tab_to(&mut w, last);
    w.run();
    assert!(low(&w) <= 554.0, "{}", low(&w));
    w.key_press(Key::F6);
    w.run();
    w.run();
    assert!(w.get_by_label("Hold to talk (Space)").is_focused());
    // Page Down and Page Up move what is longer than the window.
    let before = low(&w);
    w.key_press(Key::PageUp);
    w.run();
    assert!(low(&w) > before, "{} {before}", low(&w));
    // Another page has the keyboard at its own main action.
    w.get_by_label("Launch").click();
    w.run();
    w.run();
    assert!(w.get_by_label("Begin the launch").is_focused());
}

#[test]
fn a_new_verdict_is_in_sight_in_a_small_window() {
    for (width, height) in [(985.0, 554.0), (800.0, 500.0), (1024.0, 700.0)] {
        let mut w = practising();
        w.set_size(Vec2::new(width, height));
        tell(
            &mut w,
            spoken("winch, delta two zero five eight, north winch cable, ready"),
        );
        tell(&mut w, Event::State(TurnState::YourCall));
        for _ in 0..3 {
            w.key_press(Key::PageDown);
            w.run();
        }
        let Event::Judged(mut next) = spoken("winch, delta two zero five eight, solo, south winch cable, ready") else {
            unreachable!()
        };
        next.id = uuid::Uuid::from_u128(99);
        tell(&mut w, Event::Judged(next));
        tell(&mut w, Event::State(TurnState::Done));
        for text in ["pass", "Complete and right."] {
            let place = w.get_by_label(text).rect();
            assert!(
                place.top() > 0.0 && place.bottom() < height,
                "{text} at {width}x{height}: {place:?}"
            );
        }
    }
}

#[test]
fn a_microphone_that_failed_makes_a_call_void_and_never_missing() {
    let mut w = practising();
    let Event::Judged(mut lost) = spoken("winch, delta two zero five eight") else {
        unreachable!()
    };
    let mut clip = (**lost.clip.as_ref().unwrap()).clone();
    clip.troubles
        .push(crate::sound::Trouble::DeviceLost { at_seconds: 1.2 });
    lost.clip = Some(Arc::new(clip));
    lost.void = true;
    tell(&mut w, Event::Judged(lost));
    tell(&mut w, Event::State(TurnState::YourCall));
    w.get_by_label_contains("this call does not count");
    assert!(w.query_by_label("not yet").is_none());
    assert!(w.query_by_label("I did say that").is_none());
}

/// A spoken call of which the places of all words are known but the last one's.
pub(super) fn spoken(typed: &str) -> Event {
    let Event::Judged(mut judged) = judged(typed) else {
        unreachable!()
    };
    let words = judged.evidence.readings[0].reading.words.len();
    let place = |n: usize| crate::call::Place {
        begin: n as f32 * 0.25,
        end: n as f32 * 0.25 + 0.2,
    };
    judged.evidence.places = (0..words).map(|n| (n + 1 < words).then(|| place(n))).collect();
    judged.evidence.delivery = Some(crate::call::Delivery {
        press_to_sound: Some(0.02),
        speech: 2.5,
        ..Default::default()
    });
    let mut clip = crate::sound::Clip::from_samples((0..64_000).map(|n| (n as f32 * 0.05).sin() * 0.3).collect());
    clip.keying = Some(crate::sound::Keying {
        prompt_end_to_press: Some(0.5),
        press_to_release: 3.9,
        lead: 0.1,
    });
    judged.clip = Some(Arc::new(clip));
    Event::Judged(judged)
}

#[test]
fn a_verdict_is_shown_when_it_is_in_the_logbook() {
    let mut w = practising();
    tell_only(
        &mut w,
        judged("winch, delta two zero five eight, solo, north winch cable, ready"),
    );
    assert!(w.query_by_label("not yet").is_none());
    tell_only(&mut w, Event::NotStored(uuid::Uuid::nil()));
    w.get_by_label("not yet");
}

#[test]
fn the_sound_is_a_picture_whose_parts_are_heard_with_mouse_or_keyboard() {
    let mut w = practising();
    w.set_size(Vec2::new(1280.0, 1400.0));
    tell(
        &mut w,
        spoken("winch, delta two zero five eight, north winch cable, ready"),
    );
    tell(&mut w, Event::State(TurnState::YourCall));
    w.get_by_role_and_label(Role::Image, "The sound of the call, 4.0 seconds");
    w.get_by_label("Hear Address: said, 0.0 to 0.2 s").click();
    w.run();
    assert_eq!(asked(&mut w), ["PlayPart { begin: 0.0, end: 0.2 }"]);
    w.get_by_label("Hear Cable: wrong, 1.5 to 1.7 s").focus();
    w.run();
    w.key_press(Key::Enter);
    w.run();
    assert_eq!(asked(&mut w), ["PlayPart { begin: 1.5, end: 1.7 }"]);
    // Its place is not known, and so it is not marked.
    assert!(w.query_by_label_contains("Hear Readiness").is_none());
    for (button, command) in [
        ("Play my call", "PlayOwn"),
        ("Hear the model call", "PlayModel { slow: false }"),
        ("Both in turn", "PlayBoth"),
    ] {
        w.get_by_label(button).click();
        w.run();
        assert_eq!(asked(&mut w), [command]);
    }
    w.get_by_label("Score and how it was spoken").scroll_to_me();
    w.run();
    w.get_by_label("Score and how it was spoken").click();
    w.run();
    w.run();
    assert!(w.get_all_by_label("outside the band").next().is_some());
    w.get_by_label_contains("Press fully, then speak.");
}

#[test]
fn who_says_i_did_say_that_is_held_out_of_the_record_and_can_take_it_back() {
    let mut w = practising();
    w.set_size(Vec2::new(1280.0, 1400.0));
    tell(&mut w, judged("winch, delta two zero five eight"));
    w.get_by_label("I did say that").click();
    w.run();
    let asked_for = asked(&mut w);
    assert!(
        asked_for[0].starts_with("HoldOut") && asked_for[0].contains("held: true"),
        "{asked_for:?}"
    );
    let attempt = uuid::Uuid::nil();
    tell(&mut w, Event::HeldOut { attempt, held: true });
    w.get_by_label("set aside");
    w.get_by_label_contains("does not count until your instructor has listened");
    w.get_by_label("Let it count again").click();
    w.run();
    assert!(asked(&mut w)[0].contains("held: false"));
    tell(&mut w, Event::HeldOut { attempt, held: false });
    w.get_by_label("I did say that");
}

#[test]
fn the_launch_point_is_a_picture_with_its_facts_and_the_level_is_chosen_beside_it() {
    let mut w = practising();
    let picture = |w: &Window| w.get_by_role(Role::Image).accesskit_node().label().unwrap_or_default();
    let text = picture(&w);
    assert!(
        text.contains("stands at cable 2 of 2 from the left") && text.contains("Heads in the cockpit: 1."),
        "{text}"
    );
    w.get_by_role_and_label(Role::ComboBox, "Picture").click();
    w.run();
    w.get_by_label("drawn as at the field").click();
    w.run();
    assert_eq!(w.state().front.settings.level, crate::window::Level::Bare);
    assert!(w.query_by_label("1 person").is_none());
    assert!(!picture(&w).contains("south"), "its name is to be read off the field");
    w.get_by_role_and_label(Role::ComboBox, "Call").click();
    w.run();
    // The list is longer than the window: it scrolls.
    w.get_by_label("Stop").click_accesskit();
    w.run();
    assert_eq!(asked(&mut w), ["ChooseStep(\"stop\")"]);
    tell(
        &mut w,
        Event::Dealt(Dealt {
            situation: situation(),
            step: "stop".into(),
            number: 2,
        }),
    );
    tell(&mut w, Event::State(TurnState::YourCall));
    assert!(picture(&w).contains("walker with a dog"), "{}", picture(&w));
    w.get_by_label("A walker with a dog steps onto the field ahead of the glider.");
}

/// Tab until the control has the focus.
fn tab_to(w: &mut Window, label: &str) {
    for _ in 0..60 {
        w.key_press(Key::Tab);
        w.run();
        if w.query_all_by_label(label).any(|n| n.is_focused()) {
            return;
        }
    }
    panic!("\"{label}\" cannot be reached with the Tab key");
}

#[test]
fn a_whole_drill_is_done_with_the_keyboard_alone() {
    let found = FoundSite {
        id: "larkmoor".into(),
        name: "Larkmoor".into(),
        about: "A field.".into(),
        language: Some(Language::ENGLISH),
        invented: true,
        problem: None,
    };
    let mut w = window(vec![
        Event::Sites(vec![found]),
        Event::Model(ModelState::Ready("base".into())),
    ]);
    tab_to(&mut w, "Practise without a name");
    w.key_press(Key::Enter);
    w.run();
    assert_eq!(asked(&mut w), ["ChooseStudent(None)"]);
    tell(&mut w, Event::Student(None));
    tab_to(&mut w, "Larkmoor");
    w.key_press(Key::Space);
    w.run();
    assert_eq!(asked(&mut w), ["LoadSite(SiteRequest(\"larkmoor\"))"]);
    tell(&mut w, Event::SiteLoaded(larkmoor()));
    w.run();
    w.key_press(Key::Enter);
    w.run();
    assert_eq!(asked(&mut w), ["Next"], "one key from the choice of the site");
    tell(
        &mut w,
        Event::Dealt(Dealt {
            situation: situation(),
            step: "ready".into(),
            number: 1,
        }),
    );
    tell(&mut w, Event::State(TurnState::YourCall));
    tab_to(&mut w, "Hold to talk (Space)");
    w.key_press(Key::Enter);
    w.run();
    assert_eq!(asked(&mut w), ["Press"]);
    tell(&mut w, Event::State(TurnState::Transmitting));
    w.key_press(Key::Enter);
    w.run();
    assert_eq!(asked(&mut w), ["Release"]);
    tell(&mut w, Event::State(TurnState::Judging));
    tell(
        &mut w,
        spoken("winch, delta two zero five eight, north winch cable, ready"),
    );
    tell(&mut w, Event::State(TurnState::YourCall));
    for (label, command) in [
        ("Hear Cable: wrong, 1.5 to 1.7 s", "PlayPart { begin: 1.5, end: 1.7 }"),
        ("Hear the model call", "PlayModel { slow: false }"),
    ] {
        tab_to(&mut w, label);
        w.key_press(Key::Enter);
        w.run();
        assert_eq!(asked(&mut w), [command]);
    }
    tab_to(&mut w, "I did say that");
    w.key_press(Key::Enter);
    w.run();
    assert!(asked(&mut w)[0].starts_with("HoldOut"));
    tab_to(&mut w, "Another task");
    w.key_press(Key::Enter);
    w.run();
    assert_eq!(asked(&mut w), ["Next"]);
}

#[test]
fn the_hand_is_used_by_button_and_by_key_but_not_while_text_is_typed() {
    let mut h = Harness::builder().with_context_setup(look::set).build_ui_state(
        |ui, (used, text): &mut (u32, String)| {
            let label = ui.label("field");
            ui.text_edit_singleline(text).labelled_by(label.id);
            *used += u32::from(super::super::talk::hand(ui, Words::English, "talk.hold", true));
        },
        (0, String::new()),
    );
    h.key_press(Key::R);
    h.run();
    assert_eq!(h.state().0, 1);
    h.get_by_label_contains("(R)").click();
    h.run();
    assert_eq!(h.state().0, 2);
    h.get_by_role_and_label(Role::TextInput, "field").focus();
    h.run();
    h.key_press(Key::R);
    h.run();
    assert_eq!(h.state().0, 2);
}

pub(super) fn flown(state: TurnState, want: Option<Want>, role: &str, ending: Option<Ending>) -> Event {
    let site = larkmoor();
    let course = Course {
        hazard: Some(("wing drops".into(), "slack".into())),
        ..Course::default()
    };
    let launch = Launch::new(&site, role, situation(), course, None).unwrap();
    Event::Launch(Some(Box::new(Flown {
        role: role.into(),
        pace: Pace::Normal,
        seed: 5,
        situation: situation(),
        state,
        step: Some("slack".into()),
        saying: (state == TurnState::Receiving).then(|| Saying {
            role: "winch driver".into(),
            text: "Taking up slack.".into(),
            radio: true,
        }),
        want,
        scene: Some("The left wing tip sinks towards the grass.".into()),
        picture: launch.picture(&site),
        record: vec![(
            1.5,
            Entry::Spoken {
                step: "readback".into(),
                role: "winch driver".into(),
                text: "Two up.".into(),
            },
        )],
        ending,
        calls: Vec::new(),
    })))
}

#[test]
fn a_launch_is_chosen_run_by_hand_and_debriefed() {
    let mut w = practising();
    w.get_by_label("Launch").click();
    w.run();
    asked(&mut w);
    w.get_by_label("wing runner").click();
    w.run();
    w.get_by_label_contains("Busy").click();
    w.run();
    w.get_by_label("Begin the launch").click();
    w.run();
    let wanted = asked(&mut w);
    assert!(wanted[0].contains("role: \"wing runner\", pace: Busy"), "{wanted:?}");
    // Whoever has nothing in the hand has no key for it.
    tell(&mut w, flown(TurnState::Receiving, None, "wing runner", None));
    assert!(w.query_by_label("Release (R)").is_none());
    assert!(w.query_by_label_contains("winch driver, on the radio").is_some());

    tell(&mut w, flown(TurnState::YourCall, Some(Want::Hazard), "pilot", None));
    assert!(w.query_by_label("What do you do?").is_some());
    assert!(w.query_all_by_label_contains("wing tip sinks").next().is_some());
    w.get_by_label("Release (R)").click();
    w.run();
    assert_eq!(asked(&mut w), ["Hand"]);
    w.key_press(Key::R);
    w.run();
    assert_eq!(asked(&mut w), ["Hand"]);
    w.get_by_label("Say nothing").click();
    w.run();
    assert_eq!(asked(&mut w), ["LetPass"]);
    // In the text field the letter is a letter, and silence does not count while somebody types.
    w.get_by_label("Or type:").focus();
    w.run();
    w.key_press(Key::R);
    w.event(Input::Text("r".into()));
    w.run();
    assert_eq!(asked(&mut w), ["Typing"]);

    tell(&mut w, flown(TurnState::Done, None, "pilot", Some(Ending::ByHand)));
    assert!(w.query_by_label_contains("Rightly ended by hand").is_some());
    assert!(w.query_by_label_contains("[winch driver] Two up.").is_some());
    w.get_by_label("Another role or pace").click();
    w.run();
    assert_eq!(asked(&mut w), ["LeaveLaunch"]);
    tell(&mut w, Event::Launch(None));
    assert!(w.query_by_label("Begin the launch").is_some());
}

#[test]
fn a_call_is_listened_to_and_the_answer_is_told() {
    let mut w = practising();
    w.get_by_label("Listening").click();
    w.run();
    asked(&mut w);
    w.get_by_label("Which cable was named?").click();
    w.run();
    w.get_by_label("The beginning is cut off").click();
    w.run();
    w.get_by_label("Hear a call").click();
    w.run();
    let wanted = asked(&mut w);
    assert!(
        wanted[0].contains("Some(Cable)") && wanted[0].contains("clipped: true"),
        "{wanted:?}"
    );
    let task = Task {
        situation: situation(),
        text: "Winch, delta two zero five eight, solo, south winch cable, ready.".into(),
        fault: None,
        question: Question::Cable,
        choices: vec!["north".into(), "south".into()],
        right: Some("south".into()),
    };
    let mut ear = Ear {
        task,
        difficulty: Difficulty::default(),
        number: 1,
        answer: None,
        right: 0,
    };
    tell(&mut w, Event::Ear(Box::new(ear.clone())));
    assert!(
        w.query_by_label_contains("solo, south winch cable").is_none(),
        "the words are not shown before the answer"
    );
    w.get_by_label("north").click();
    w.run();
    assert_eq!(asked(&mut w), ["AnswerEar(Some(\"north\"))"]);
    ear.answer = Some(Some("north".into()));
    tell(&mut w, Event::Ear(Box::new(ear)));
    assert!(w.query_by_label("No, it was: south").is_some());
    assert!(w.query_by_label_contains("solo, south winch cable").is_some());
    w.get_by_label("Hear it again").click();
    w.run();
    assert_eq!(asked(&mut w), ["PlayEar"]);
    w.get_by_label("Next call").click();
    w.run();
    assert!(asked(&mut w)[0].starts_with("Ear("));
}

#[test]
fn a_file_of_the_programs_own_opens_the_page_that_it_belongs_on() {
    use crate::worker::home::HomeEvent;
    use std::path::{Path, PathBuf};
    let mut front = Front::default();
    let file = PathBuf::from("ourfield.cableside");
    let commands = front.take(Event::Home(HomeEvent::Site(file)));
    assert_eq!(front.page, Page::Desk);
    let asked = commands.iter().map(|c| format!("{c:?}"));
    assert!(asked.clone().any(|c| c == "Desk(Look(\"ourfield.cableside\"))"));
    front.take(Event::Home(HomeEvent::Failed("It is damaged.".to_owned().into())));
    assert_eq!(front.page, Page::Home);
    for (name, own) in [
        ("a.cableside", true),
        ("B.CABLESIDE", true),
        ("a.zip", false),
        ("cableside", false),
    ] {
        assert_eq!(is_own(Path::new(name)), own, "{name}");
    }
}
