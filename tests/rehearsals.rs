//! Whole exchanges from scripts, through the real recogniser: what the other side makes of them, and the sound written.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "tests"
)]

mod common;

use cableside::sound::read_clip;
use common::model;
use std::path::Path;
use std::process::Command;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Run a script; the kinds of its notes and its ending, and the debrief as text.
fn rehearse(name: &str) -> (Vec<String>, String) {
    let out = tempfile::tempdir().unwrap();
    let done = Command::new(env!("CARGO_BIN_EXE_cableside"))
        .arg("rehearse")
        .arg(root().join(format!("tests/rehearsals/{name}.toml")))
        .args(["--out".as_ref(), out.path().as_os_str()])
        .args(["--phrases".as_ref(), root().join("phrases").as_os_str()])
        .args(["--model".as_ref(), model().as_os_str()])
        .env("CABLESIDE_HOME", out.path())
        .output()
        .unwrap();
    assert!(
        done.status.success(),
        "{name}: {}",
        String::from_utf8_lossy(&done.stderr)
    );
    let text = std::fs::read_to_string(out.path().join("debrief.txt")).unwrap();
    println!("== {name}\n{text}");
    let json: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(out.path().join("debrief.json")).unwrap()).unwrap();
    let kinds = json["entries"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|e| {
            let e = &e["entry"];
            e["ending"].as_str().or_else(|| e["note"].as_str()).map(str::to_owned)
        })
        .collect();
    // The exchange can be heard: at least until its last entry begins, and not silent.
    let last = json["entries"].as_array().unwrap().last().unwrap()["at_seconds"]
        .as_f64()
        .unwrap();
    let exchange = out.path().join("exchange.wav");
    // Where a call is held back at once, nobody says anything.
    if !exchange.exists() {
        assert!(last <= 0.0, "{name}: {last}");
        return (kinds, text);
    }
    let clip = read_clip(&exchange).unwrap();
    assert!(clip.seconds() + 0.01 >= last, "{name}: {} {last}", clip.seconds());
    assert!(
        clip.levels.rms_dbfs > -35.0 && clip.levels.clipped < 0.001,
        "{name}: {:?}",
        clip.levels
    );
    (kinds, text)
}

#[test]
fn the_other_side_reacts_to_what_was_heard() {
    for (script, expected) in [
        ("perfect", &["complete"][..]),
        ("forgotten_crew", &["complete"]),
        ("readback_corrected", &["corrected", "complete"]),
        ("readback_accepted", &["readback-accepted"]),
        ("wing_drop_pilot", &["hand-first", "by-hand"]),
        ("wing_drop_wing_runner", &["stopped"]),
        ("briefing_gap", &["complete"]),
        ("no_answer", &["unanswered", "unanswered", "no-answer"]),
        ("retrieve", &["complete"]),
        ("cable_break", &["hand-first", "abandoned"]),
        (
            "cable_break_words_first",
            &["left-out", "words-before-hand", "hand-first", "abandoned"],
        ),
        ("power_loss", &["hand-first", "abandoned"]),
        ("still_too_slow", &["hand-first", "abandoned"]),
        ("wrong_link", &["link-noticed", "complete"]),
        ("damaged_link", &["stopped"]),
        ("car_crosses", &["stopped"]),
        ("canopy", &["held-back"]),
        ("refusal", &["complete"]),
        ("crossed_cables", &["stopped"]),
        ("other_cable", &["stopped"]),
        ("cable_still_out", &["nothing-moves"]),
        ("halt", &["hand-first", "complete"]),
    ] {
        for site in ["larkmoor", "erlengrund"] {
            let (kinds, text) = rehearse(&format!("{site}_{script}"));
            assert_eq!(kinds, expected, "{site} {script}\n{text}");
            if script == "forgotten_crew" {
                let asked = if site == "larkmoor" {
                    "Say again: how many on board?"
                } else {
                    "Wiederholen Sie: ein- oder doppelsitzig?"
                };
                assert!(text.contains(asked), "{text}");
            }
        }
    }
}

/// What only the sites have that say what is done then: signals without a radio, somebody else's stop, another direction.
#[test]
fn what_comes_from_outside_is_heard_and_answered() {
    for (script, expected) in [
        ("haselrain_relayed", &["complete"][..]),
        ("haselrain_radio_dead", &["complete"]),
        ("haselrain_halt", &["hand-first", "complete"]),
        ("haselrain_direction", &["complete"]),
        ("haselrain_first_cable", &["complete"]),
        ("haselrain_second_cable", &["held-back"]),
        ("brackmere_right", &["complete"]),
        ("brackmere_radio_dead", &["stopped"]),
        ("brackmere_halt", &["halt-passed-on", "complete"]),
        ("brackmere_direction", &["complete"]),
        ("brackmere_cable_still_out", &["nothing-moves"]),
    ] {
        let (kinds, text) = rehearse(script);
        assert_eq!(kinds, expected, "{script}\n{text}");
    }
}
