//! The first start, without a display.

use super::super::pagetest::{Bench, larkmoor, robin};
use super::*;
use crate::model::{Progress, Stage};
use crate::worker::FoundSite;
use crate::worker::fetch::FetchState;
use eframe::egui::Key;
use egui_kittest::kittest::{NodeT, Queryable};

fn beginning() -> Bench<FirstPage> {
    let mut bench = Bench::new(FirstPage::default());
    assert_eq!(bench.open(), ["WatchLevel(true)", "ListDevices"]);
    bench.tell(Event::Model(ModelState::Missing(
        "run `cableside model fetch`".to_owned().into(),
    )));
    bench.tell(Event::Microphone(Some("Headset".into())));
    bench.tell(Event::Sites(vec![FoundSite {
        id: "larkmoor".into(),
        name: "Larkmoor".into(),
        about: "A field.".into(),
        language: Some(Language::ENGLISH),
        invented: true,
        problem: None,
    }]));
    bench
}

fn levels(peak: f32, floor: f32, clipped: f32) -> Levels {
    Levels {
        peak_dbfs: peak,
        rms_dbfs: peak - 12.0,
        floor_dbfs: floor,
        clipped,
    }
}

#[test]
fn from_nothing_to_practice() {
    let mut bench = beginning();
    bench.window.get_by_label("Larkmoor").click();
    bench.window.run();
    assert_eq!(bench.asked(), ["LoadSite(SiteRequest(\"larkmoor\"))"]);
    bench.tell(Event::SiteLoaded(larkmoor()));
    // The name is next, with the question about recordings.
    bench.window.get_by_label_contains("guardian answers");
    bench.tell(Event::Student(Some(robin())));
    // The model is fetched only when asked.
    assert!(bench.asked().is_empty());
    bench.window.get_by_label("Download the speech model now").click();
    bench.window.run();
    assert_eq!(bench.asked(), ["FetchModel"]);
    bench.tell(Event::Fetch(FetchState::Working(Progress {
        stage: Stage::Fetching,
        done: 30,
        total: 120,
    })));
    bench.window.get_by_label("Cancel").click();
    bench.window.run();
    assert_eq!(bench.asked(), ["CancelFetch"]);
    bench.tell(Event::Fetch(FetchState::Cancelled));
    bench.window.get_by_label_contains("Nothing was left behind");
    // A file of one's own does as well.
    bench.window.get_by_label("File or address").focus();
    bench.window.run();
    bench
        .window
        .get_by_label("File or address")
        .type_text("D:\\ggml-base.bin");
    bench.window.run();
    bench.window.get_by_label("Import").click();
    bench.window.run();
    assert_eq!(bench.asked(), [r#"TakeModel("D:\\ggml-base.bin")"#]);
    bench.tell(Event::Fetch(FetchState::Paused));
    bench.window.get_by_label_contains("goes on from there");
    bench.window.state_mut().page.take_model("E:\\base.bin".into());
    bench.window.run();
    assert_eq!(bench.asked(), [r#"TakeModel("E:\\base.bin")"#]);
    bench.tell(Event::Model(ModelState::Ready("base".into())));
    bench.window.get_by_label("Next").click();
    bench.window.run();
    bench.window.get_by_label("Begin to practise").click();
    bench.window.run();
    assert_eq!(bench.window.state().went, [Page::Practice]);
}

#[test]
fn the_sound_proves_itself_with_the_keyboard_alone() {
    let mut bench = beginning();
    bench.tell(Event::SiteLoaded(larkmoor()));
    bench.tell(Event::Student(Some(robin())));
    bench.window.get_by_label("4. Microphone").click();
    bench.window.run();
    bench.window.get_by_label("Begin the trial").focus();
    bench.window.run();
    bench.window.key_press(Key::Enter);
    bench.window.run();
    assert!(bench.asked()[0].starts_with("Trial(Say"), "it speaks first");
    bench.tell(Event::Trial(TrialEvent::Said));
    bench.window.run();
    assert_eq!(bench.asked(), ["Trial(Listen)"]);
    bench.tell(Event::Trial(TrialEvent::Listening));
    bench.window.get_by_label_contains("request retrieve");
    bench.window.get_by_label("I have said it").click();
    bench.window.run_steps(2);
    assert_eq!(bench.asked(), ["Trial(Enough)"]);
    bench.tell(Event::Trial(TrialEvent::Recorded {
        levels: levels(-9.0, -60.0, 0.0),
        seconds: 2.4,
        troubles: Vec::new(),
    }));
    bench.window.run();
    assert_eq!(bench.asked(), ["Trial(Play)"], "it is played back");
    for text in ["loud enough", "a quiet room", "none"] {
        bench.window.get_by_label(text);
    }
    assert!(
        bench.window.query_by_label_contains("dBFS").is_none(),
        "numbers are one click deeper"
    );
    bench.window.get_by_label("The measurements").click();
    bench.window.run();
    bench.window.get_by_label("Loudest: -9 dBFS");
    bench.tell(Event::Trial(TrialEvent::Heard {
        text: "winch request retrieve".into(),
        whole: true,
    }));
    bench
        .window
        .get_by_label_contains("every part was there: \"winch request retrieve\"");
    bench.window.get_by_label("4. Microphone (done)");
}

#[test]
fn what_is_wrong_with_the_sound_is_said_with_what_to_do() {
    let mut bench = beginning();
    bench.tell(Event::SiteLoaded(larkmoor()));
    bench.tell(Event::Student(None));
    bench.window.get_by_label("4. Microphone").click();
    bench.window.run();
    bench.window.get_by_label("Begin the trial").click();
    bench.window.run();
    bench.tell(Event::Trial(TrialEvent::Recorded {
        levels: levels(-44.0, -38.0, 0.02),
        seconds: 2.4,
        troubles: vec![crate::sound::ClipTrouble::TooQuiet { peak_dbfs: -44.0 }],
    }));
    for text in ["go closer", "noisy", "turn the microphone down"] {
        bench.window.get_by_label_contains(text);
    }
    bench.tell(Event::Trial(TrialEvent::Heard {
        text: "thank you".into(),
        whole: false,
    }));
    bench.window.get_by_label_contains("That is not all of it");
    assert!(bench.window.query_by_label("4. Microphone (done)").is_none());
    bench.tell(Event::Trial(TrialEvent::NotHeard("No model.".to_owned().into())));
    bench.window.get_by_label_contains("No model.");
}

#[test]
fn practice_waits_for_site_and_name_and_nothing_else() {
    let mut bench = beginning();
    bench.window.get_by_label("4. Microphone").click();
    bench.window.run();
    let begin = bench.window.get_by_label("Begin to practise");
    assert!(begin.accesskit_node().is_disabled());
    bench.tell(Event::SiteLoaded(larkmoor()));
    bench.tell(Event::Student(None));
    let begin = bench.window.get_by_label("Begin to practise");
    assert!(
        !begin.accesskit_node().is_disabled(),
        "without a model calls can be typed"
    );
}
