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

mod talking;

pub(in crate::window::front) use talking::{flown, spoken};

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
        kept: Vec::new(),
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
    while !w
        .get_by_role_and_label(Role::MultilineTextInput, "Or type:")
        .is_focused()
    {
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
