//! What one talks with, and what comes of it: the key, the verdict, launches, the ear, the hand.

use super::*;

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
        .push(crate::sound::ClipTrouble::DeviceLost { at_seconds: 1.2 });
    lost.clip = Some(Arc::new(clip));
    lost.void = true;
    tell(&mut w, Event::Judged(lost));
    tell(&mut w, Event::State(TurnState::YourCall));
    w.get_by_label_contains("this call does not count");
    assert!(w.query_by_label("not yet").is_none());
    assert!(w.query_by_label("I did say that").is_none());
}

/// A spoken call of which the places of all words are known but the last one's.
pub(in crate::window::front) fn spoken(typed: &str) -> Event {
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
            *used += u32::from(crate::window::talk::hand(ui, Words::English, "talk.hold", true));
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

/// Letters that are typed on belong to the field, though it is closed while others speak.
#[test]
fn who_types_keeps_the_keyboard_until_escape() {
    let mut w = practising();
    w.get_by_label("Launch").click();
    for state in [TurnState::YourCall, TurnState::Receiving, TurnState::YourCall] {
        tell(&mut w, flown(state, Some(Want::Call), "pilot", None));
        tell(&mut w, Event::State(state));
        w.run();
        if state == TurnState::YourCall {
            asked(&mut w);
            w.get_by_role_and_label(Role::MultilineTextInput, "Or type:").focus();
            w.run();
            w.event(Input::Text("all out".into()));
            w.key_press(Key::Enter);
            w.run();
        }
        w.key_press(Key::R);
        w.key_press(Key::Space);
        w.run();
        let done = asked(&mut w);
        assert!(!done.iter().any(|d| d == "Hand" || d == "Press"), "{state:?}: {done:?}");
    }
    w.key_press(Key::Escape);
    w.run();
    w.key_press(Key::R);
    w.run();
    assert_eq!(asked(&mut w), ["Hand"]);
}

pub(in crate::window::front) fn flown(
    state: TurnState,
    want: Option<Want>,
    role: &str,
    ending: Option<Ending>,
) -> Event {
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
        words: None,
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
    assert!(w.query_by_label_contains("Winch driver, on the radio").is_some());

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
    // In danger there are no words to look up; for a call there are.
    let greyed = |w: &Window| w.get_by_label("Show me the words").accesskit_node().is_disabled();
    assert!(greyed(&w));
    tell(&mut w, flown(TurnState::YourCall, Some(Want::Call), "pilot", None));
    assert!(!greyed(&w));
    w.get_by_label("Show me the words").click();
    w.run();
    assert_eq!(asked(&mut w), ["ShowWords"]);
    tell(&mut w, flown(TurnState::YourCall, Some(Want::Hazard), "pilot", None));
    // In the text field the letter is a letter, and silence does not count while somebody types.
    w.get_by_label("Or type:").focus();
    w.run();
    w.key_press(Key::R);
    w.event(Input::Text("r".into()));
    w.run();
    assert_eq!(asked(&mut w), ["Typing"]);

    // Another page would end the launch: that is asked first.
    for (answer, page, told) in [
        ("No, go on", Page::Launch, Vec::new()),
        (
            "Yes, abandon it",
            Page::Progress,
            vec!["LeaveLaunch".to_owned(), "Progress".to_owned()],
        ),
    ] {
        w.get_by_label("Progress").click();
        w.run();
        assert_eq!(w.state().front.page, Page::Launch);
        assert_eq!(asked(&mut w), Vec::<String>::new());
        w.get_by_label(answer).click();
        w.run();
        assert_eq!(w.state().front.page, page);
        assert_eq!(asked(&mut w), told);
    }
    w.state_mut().front.page = Page::Launch;
    w.run();

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
        unheard: false,
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
    assert!(w.query_by_label("No. The right answer: south").is_some());
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
        for entry in crate::window::page::Page::ALL {
            w.state_mut().front.page = entry.page;
            w.run();
        }
    }
    w.set_size(Vec2::new(320.0, 200.0));
    w.state_mut().front.page = Page::Practice;
    w.run();
    w.get_by_role_and_label(Role::ComboBox, "Page");
}
