use super::super::pagetest::Bench;
use super::*;
use crate::call::compare::Difference;
use crate::site::bundled;
use crate::window::words::Words;
use crate::worker::FoundSite;
use eframe::egui::Key;
use eframe::egui::accesskit::Role;
use egui_kittest::kittest::{NodeT, Queryable};
use std::collections::BTreeSet;

fn bench() -> Bench<DeskPage> {
    let mut bench = Bench::new(DeskPage::default());
    let site = |id: &str, name: &str| FoundSite {
        id: id.into(),
        name: name.into(),
        about: "A field.".into(),
        language: Some(Language::ENGLISH),
        invented: true,
        problem: None,
    };
    bench.tell(Event::Sites(vec![
        site("larkmoor", "Larkmoor"),
        site("our-field", "Our Field"),
    ]));
    bench.tell(Event::Microphone(Some("Headset".into())));
    bench
}

fn texts() -> Texts {
    edit::copied(&bundled::files("larkmoor").unwrap(), "our-field", "Our Field").unwrap()
}

fn opened(draft: Option<Texts>) -> Event {
    Event::Desk(DeskEvent::Opened(Box::new(Opened {
        id: "our-field".into(),
        own: true,
        texts: texts(),
        others: BTreeSet::new(),
        draft,
    })))
}

fn on_desk() -> Bench<DeskPage> {
    let mut bench = bench();
    bench.tell(opened(None));
    bench
}

fn part(bench: &mut Bench<DeskPage>, name: &str) {
    bench.window.get_by_label(name).click();
    bench.window.run();
}

fn now(bench: &Bench<DeskPage>) -> &OnDesk {
    bench.window.state().page.desk.as_ref().unwrap()
}

#[test]
fn a_site_that_ships_asks_for_a_copy_and_a_name() {
    let mut bench = bench();
    bench
        .window
        .get_by_role_and_label(Role::ComboBox, "Site to edit")
        .click();
    bench.window.run();
    bench.window.get_by_label("Larkmoor").click();
    bench.window.run();
    assert_eq!(bench.asked(), ["Desk(Open(\"larkmoor\"))"]);
    bench.tell(Event::Desk(DeskEvent::Opened(Box::new(Opened {
        id: "larkmoor".into(),
        own: false,
        texts: texts(),
        others: BTreeSet::new(),
        draft: None,
    }))));
    assert!(bench.window.get_by_label("Make a copy").accesskit_node().is_disabled());
    bench
        .window
        .get_by_role_and_label(Role::TextInput, "Name of the copy")
        .focus();
    bench.window.run();
    bench
        .window
        .get_by_role_and_label(Role::TextInput, "Name of the copy")
        .type_text("Our Field");
    bench.window.run();
    bench.window.get_by_label("Make a copy").click();
    bench.window.run();
    assert_eq!(
        bench.asked(),
        ["Desk(Copy { from: \"larkmoor\", name: \"Our Field\" })"]
    );
}

#[test]
fn a_glider_and_a_cable_are_added_with_the_keyboard_and_the_draft_is_kept() {
    let mut bench = on_desk();
    bench.window.get_by_label("No problems");
    for (name, text) in [("Registration", "G-DFKT"), ("Type", "Siskin")] {
        bench.window.get_by_role_and_label(Role::TextInput, name).focus();
        bench.window.run();
        bench
            .window
            .get_by_role_and_label(Role::TextInput, name)
            .type_text(text);
        bench.window.run();
    }
    bench.window.get_by_label("Add this glider").focus();
    bench.window.run();
    bench.window.key_press(Key::Enter);
    bench.window.run_steps(3);
    let site = now(&bench).site.clone().unwrap();
    assert_eq!(site.fleet.len(), 8);
    assert!(
        now(&bench).texts["fleet.toml"].contains("# The club's gliders."),
        "comments stay"
    );
    // A second later the draft is on its way to the disk.
    bench.window.run_steps(10);
    let asked = bench.asked();
    assert!(
        asked.iter().any(|a| a.starts_with("Desk(Keep") && a.contains("G-DFKT")),
        "{asked:?}"
    );
    for (name, text) in [("Short name", "middle"), ("Taught", "middle")] {
        bench.window.get_by_role_and_label(Role::TextInput, name).focus();
        bench.window.run();
        bench
            .window
            .get_by_role_and_label(Role::TextInput, name)
            .type_text(text);
        bench.window.run();
    }
    bench.window.get_by_label("Add this cable").click();
    bench.window.run_steps(3);
    assert_eq!(now(&bench).site.clone().unwrap().cables.len(), 3);
}

#[test]
fn a_mistake_is_told_beside_its_row_and_keeps_from_saving() {
    let mut bench = on_desk();
    let name = "Registration G-CLRM";
    bench.window.get_by_role_and_label(Role::TextInput, name).focus();
    bench.window.run();
    bench
        .window
        .key_press_modifiers(eframe::egui::Modifiers::COMMAND, Key::A);
    bench.window.run();
    bench.window.get_by_role_and_label(Role::TextInput, name).type_text("?");
    bench.window.run_steps(3);
    bench.window.get_by_label("1 problem");
    bench.window.get_by_label_contains("fleet.toml, line 5");
    part(&mut bench, "Save and pass on");
    assert!(bench.window.get_by_label("Save").accesskit_node().is_disabled());
    part(&mut bench, "Files as text");
    bench.window.get_by_label("fleet.toml (1)").click();
    bench.window.run();
    bench.window.get_by_label("Line 5").click();
    bench.window.run_steps(3);
    assert!(
        bench
            .window
            .get_by_role_and_label(Role::MultilineTextInput, "fleet.toml")
            .is_focused()
    );
}

#[test]
fn what_saving_changes_is_shown_before_it_is_saved() {
    let mut bench = on_desk();
    let mut changed = texts();
    let words = changed.get_mut("words.toml").unwrap();
    *words = words.replace("two up", "two aboard");
    bench.tell(opened(Some(changed.clone())));
    bench.window.get_by_label_contains("not saved");
    bench.window.get_by_label("Continue").click();
    bench.window.run();
    part(&mut bench, "Save and pass on");
    let asked = bench.asked();
    assert!(asked.iter().any(|a| a.starts_with("Desk(Compare")), "{asked:?}");
    assert!(
        bench.window.get_by_label("Save").accesskit_node().is_disabled(),
        "nothing shown yet"
    );
    let site = |texts: &Texts| Site::check(&files_of("our-field", texts, &BTreeSet::new())).unwrap();
    let (before, after) = (site(&texts()), site(&changed));
    let effects = crate::call::compare::effects(&before, &after);
    bench.tell(Event::Desk(DeskEvent::Changes(Box::new(Changes {
        files: vec![(
            "words.toml".into(),
            crate::folders::content::FileChange::Changed { gone: 1, come: 1 },
        )],
        differences: crate::call::compare::differences(&before, &after),
        effects: effects.into_iter().map(|e| (e, 34, 30)).collect(),
        same_version: Some("1.0".into()),
    }))));
    bench.window.get_by_label(
        "element crew, \u{201c}2\u{201d}, taught: \u{201c}two up\u{201d}, then \u{201c}two aboard\u{201d}",
    );
    bench
        .window
        .get_by_label_contains("Ready call: Crew is judged by other words from now on. 34 old attempts");
    bench.window.get_by_label_contains("Count the version up");
    bench.window.get_by_label("Save").click();
    bench.window.run();
    assert!(bench.asked().iter().any(|a| a.starts_with("Desk(Save")));
    bench.tell(Event::Desk(DeskEvent::Saved {
        id: "our-field".into(),
        older: Some("/x/.older/our-field".into()),
    }));
    bench.window.get_by_label_contains("/x/.older/our-field");
    assert!(!now(&bench).unsaved());
    bench.window.get_by_label("Write it as one file").click();
    bench.window.run();
    assert!(bench.asked().iter().any(|a| a.starts_with("Desk(Export")));
}

#[test]
fn a_prompt_is_heard_recorded_and_taken_away() {
    let mut bench = on_desk();
    part(&mut bench, "Recordings");
    bench.window.get_by_label_contains("0 of ");
    bench.window.get_all_by_label_contains("Hear: ").next().unwrap().click();
    bench.window.run();
    assert!(bench.asked()[0].starts_with("Desk(Hear"));
    let row = now(&bench).prompts.rows.iter().find(|r| !r.changes()).unwrap().clone();
    bench
        .window
        .get_all_by_label_contains("Record: ")
        .next()
        .unwrap()
        .click();
    bench.window.run();
    let asked = bench.asked();
    assert!(asked[1].contains(&row.file()), "{asked:?}");
    bench.tell(Event::Desk(DeskEvent::Recording { name: row.file() }));
    bench.window.get_by_label("Done").click();
    bench.window.run();
    assert_eq!(bench.asked()[0], "Desk(RecordingDone)");
    bench.tell(Event::Desk(DeskEvent::Recorded {
        id: "our-field".into(),
        name: row.file(),
        seconds: 1.84,
    }));
    bench.window.get_by_label_contains("1.8 s");
    assert!(now(&bench).problems.is_empty(), "{:?}", now(&bench).problems);
    bench.window.get_by_label_contains("1 of ");
    bench.window.get_by_label("Use the program's voice").click();
    bench.window.run_steps(3);
    bench.window.get_by_label_contains("0 of ");
}

#[test]
fn a_call_is_tried_against_what_is_not_saved() {
    let mut bench = on_desk();
    let mut changed = texts();
    let words = changed.get_mut("words.toml").unwrap();
    *words = words.replace("taught = \"ready\"", "taught = \"all set\"");
    bench.tell(opened(Some(changed)));
    bench.window.get_by_label("Continue").click();
    bench.window.run();
    let ready = now(&bench).site.clone().unwrap();
    let steps: Vec<_> = ready.steps.iter().filter(|s| !s.elements.is_empty()).collect();
    let at = steps.iter().position(|s| s.id == "ready").unwrap();
    bench.window.state_mut().page.desk.as_mut().unwrap().tryout = tryout::Tryout::for_test(
        at,
        "winch, golf charlie lima romeo mike, solo, north winch cable, all set",
    );
    part(&mut bench, "Try a call");
    bench.window.get_by_label("Pass");
    bench.window.state_mut().page.desk.as_mut().unwrap().tryout =
        tryout::Tryout::for_test(at, "winch, golf charlie lima romeo mike, solo, north winch cable");
    bench.window.run();
    bench.window.get_by_label("missing");
}

#[test]
fn an_archive_is_looked_into_before_it_is_taken() {
    let mut bench = bench();
    bench.window.get_by_role_and_label(Role::TextInput, "The file").focus();
    bench.window.run();
    bench
        .window
        .get_by_role_and_label(Role::TextInput, "The file")
        .type_text("/tmp/x.zip");
    bench.window.run();
    bench.window.get_by_label("Check").click();
    bench.window.run();
    assert_eq!(bench.asked(), ["Desk(Look(\"/tmp/x.zip\"))"]);
    bench.tell(Event::Desk(DeskEvent::Failed(
        "The archive is refused: it has links.".to_owned().into(),
    )));
    bench.window.get_by_label_contains("is refused");
    bench.tell(Event::Desk(DeskEvent::Looked(Box::new(Looked {
        file: "/tmp/x.zip".into(),
        id: "their-field".into(),
        name: "Their Field".into(),
        version: "2".into(),
        changes: None,
    }))));
    bench.window.get_by_label("Import it").click();
    bench.window.run();
    assert_eq!(bench.asked(), ["Desk(TakeIn(\"/tmp/x.zip\"))"]);
}

#[test]
fn leaving_the_page_keeps_the_draft_at_once() {
    let mut bench = on_desk();
    let held = bench.window.state_mut();
    let desk = held.page.desk.as_mut().unwrap();
    desk.texts.insert("fleet.toml".into(), "# changed".into());
    let commands = held.page.left(&held.shown);
    assert!(
        commands
            .iter()
            .any(|c| matches!(c, Command::Desk(DeskCommand::Keep { .. })))
    );
}

#[test]
fn what_saving_changes_is_told_in_the_windows_language() {
    // Every name of a thing and of a field, and every word of the program's own in one.
    let source = include_str!("../../call/compare.rs");
    let source = source.split("pub fn effects").next().unwrap();
    let plain = |text: &&str| {
        text.len() > 1
            && text.starts_with(|c: char| c.is_ascii_lowercase())
            && text.chars().all(|c| c.is_ascii_lowercase() || " ,".contains(c))
    };
    let names: BTreeSet<&str> = source.split('"').skip(1).step_by(2).filter(plain).collect();
    assert!(names.len() > 80, "{names:?}");
    let german: BTreeSet<&str> = Words::German.keys().collect();
    for name in names.into_iter().filter(|n| *n != "nothing") {
        let there = |group: &str| german.contains(format!("{group}.{name}").as_str());
        assert!(there("thing") || there("value"), "{name} has no German name");
    }
    let difference = Difference {
        item: "aircraft",
        id: "D-4761".into(),
        value: None,
        field: "type said",
        before: Some("yes".into()),
        after: Some("no".into()),
    };
    let text = pass_on::in_words(Words::German, &difference);
    assert_eq!(text, "Flugzeug D-4761, Muster wird gesagt: „ja“, dann „nein“");
}
