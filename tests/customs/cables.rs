//! Cables and winches: what they are called, and when they are named.

use super::{TODAY, changed, played, site, situation};
use crate::shared::play::heard;
use cableside::call::{Outcome, Verdict};
use cableside::command::common;
use cableside::drill::deal::deal;
use cableside::drill::simulate::simulate;
use cableside::drill::{Course, Ending};

#[test]
fn the_cable_may_be_dropped_where_one_is_laid_out() {
    let site = site("kranmoor");
    let mut erle = situation("D-4418", 1, "moor", &TODAY);
    let without = "Winde, Erle, einsitzig, Windenseil, startklar, Wind von der Seite, Start Nummer eins sieben";
    assert_eq!(heard(&site, &erle, "ready", without).outcome, Outcome::NotYet);
    erle.single = true;
    let step = site.step("ready").unwrap();
    assert!(erle.scene(&site, step).unwrap().contains("nur ein Seil"));
    assert_eq!(heard(&site, &erle, "ready", without).outcome, Outcome::Pass);
    assert_eq!(
        heard(&site, &erle, "ready", &erle.taught_call(&site, step)).outcome,
        Outcome::Pass
    );
    let other = without.replace("Windenseil,", "Windenseil Wald,");
    assert_eq!(
        heard(&site, &erle, "ready", &other).outcome,
        Outcome::NotYet,
        "a wrong name is wrong"
    );
    // The winch driver reads back what was said, in words of his own.
    let (text, ending) = played(&site, "pilot", erle, Course::default(), &[without, "", "hand"]);
    assert_eq!(ending, Ending::Complete, "{text}");
    assert!(text.contains("Jo, einsitzig, ich ziehe an."), "{text}");
}

/// Where a cable may be left out a name by halves is no small talk.
#[test]
fn half_a_cables_name_is_heard() {
    let site = changed(
        "phrases/larkmoor",
        &[
            ("site.toml", "taught = \"north\"", "taught = \"left cable\""),
            ("site.toml", "taught = \"south\"", "taught = \"right cable\""),
            ("site.toml", "dropped_when_single = false", "dropped_when_single = true"),
        ],
    );
    let mut left = situation("G-CLRM", 2, "north", &[]);
    left.single = true;
    let call = |name: &str| format!("Winch, Golf Charlie Lima Romeo Mike, two up, {name} winch cable, ready");
    let judged = |name: &str| heard(&site, &left, "ready", &call(name));
    for (name, outcome) in [
        ("", Outcome::Pass),
        ("left cable", Outcome::Pass),
        ("right,", Outcome::NotYet),
        ("right cable", Outcome::NotYet),
        ("left,", Outcome::NotYet),
    ] {
        assert_eq!(judged(name).outcome, outcome, "{name}: {:#?}", judged(name));
    }
    let cable = judged("right,").element("cable").cloned().unwrap();
    assert_eq!((cable.verdict, cable.heard.as_deref()), (Verdict::Wrong, Some("south")));
    let talk = heard(&site, &left, "ready", &format!("Right, {}", call("left cable")));
    assert_eq!(talk.outcome, Outcome::Pass, "{talk:#?}");
}

#[test]
fn where_there_is_one_cable_it_is_always_the_only_one() {
    let site = changed(
        "tests/sites/kranmoor",
        &[
            ("site.toml", "[[cable]]\nid = \"moor\"\ntaught = \"Moor\"\n", ""),
            ("site.toml", "[\"wald\", \"moor\"]", "[\"wald\"]"),
            ("site.toml", "[\"moor\", \"wald\"]", "[\"wald\"]"),
        ],
    );
    let mut random = common::random(6);
    for _ in 0..50 {
        assert!(deal(&site, None, &mut random).unwrap().single);
    }
}

/// Of several winches the one is called that has the cable.
#[test]
fn the_call_goes_to_the_winch_that_has_the_cable() {
    let site = changed(
        "phrases/larkmoor",
        &[
            (
                "site.toml",
                "[[direction]]\nid = \"east\"",
                "[[station]]\nid = \"berta\"\nname = \"the other winch\"\naddress = \"berta\"\n\n[[direction]]\nid = \"east\"",
            ),
            (
                "site.toml",
                "taught = \"north\"",
                "taught = \"north\"\nstation = \"winch\"",
            ),
            (
                "site.toml",
                "taught = \"south\"",
                "taught = \"south\"\nstation = \"berta\"",
            ),
        ],
    );
    let step = site.step("ready").unwrap();
    for (cable, right, wrong) in [("north", "Winch", "Berta"), ("south", "Berta", "Winch")] {
        let glider = situation("G-CLRM", 2, cable, &[]);
        assert!(glider.taught_call(&site, step).starts_with(right));
        let call = |to: &str| format!("{to}, Golf Charlie Lima Romeo Mike, two up, {cable} winch cable, ready");
        let address = |to: &str| {
            let judged = heard(&site, &glider, "ready", &call(to));
            judged.element("address").unwrap().verdict
        };
        assert_eq!(address(right), Verdict::Said);
        assert_eq!(address(wrong), Verdict::Wrong);
        // Whoever else is called is called as before.
        let request = site.steps.iter().find(|s| s.to != "winch" && s.by.has_words()).unwrap();
        assert_eq!(site.called(request, cable), request.to);
    }
    assert_eq!(
        simulate(&site, 1000, &mut common::random(2)).dead_ends,
        Vec::<String>::new()
    );
}
