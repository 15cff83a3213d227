//! Values: dealt, listed or not, said several times, by halves, or as nothing at all.

use super::{TODAY, changed, played, site, situation};
use crate::shared::play::heard;
use cableside::call::{Outcome, Situation, Verdict};
use cableside::command::common;
use cableside::drill::Course;
use cableside::drill::deal::deal;
use cableside::drill::simulate::simulate;

#[test]
fn dealt_values_are_seen_and_must_be_said() {
    let site = site("kranmoor");
    let mut random = common::random(4);
    let mut seen = std::collections::BTreeSet::new();
    for _ in 0..300 {
        let dealt = deal(&site, None, &mut random).unwrap();
        let scene = dealt.scene(&site, site.step("ready").unwrap()).unwrap();
        assert!(scene.contains(&format!("Zeile {} ", dealt.more["number"])), "{scene}");
        seen.insert(dealt.more["number"].clone());
    }
    assert!(seen.len() > 35, "{seen:?}");
    let erle = situation("D-4418", 1, "moor", &TODAY);
    let call = |wind: &str, number: &str| {
        format!("Winde, Erle, einsitzig, Windenseil Moor, startklar, {wind}, Start Nummer {number}")
    };
    let outcome = |wind, number| heard(&site, &erle, "ready", &call(wind, number)).outcome;
    assert_eq!(outcome("Wind von der Seite", "eins sieben"), Outcome::Pass);
    assert_eq!(outcome("Wind von vorn", "eins sieben"), Outcome::NotYet);
    assert_eq!(outcome("Wind von der Seite", "eins acht"), Outcome::NotYet);
    assert_eq!(outcome("Wind von der Seite", "sieben"), Outcome::NotYet);
}

#[test]
fn a_command_is_said_as_often_as_the_site_has_it() {
    let site = site("kranmoor");
    let erle = situation("D-4418", 1, "moor", &TODAY);
    let outcome = |text: &str| heard(&site, &erle, "all out", text).outcome;
    assert_eq!(outcome("ab, ab, ab"), Outcome::Pass);
    for few in ["ab", "ab ab", "ab, nicht ab, ab"] {
        assert_ne!(outcome(few), Outcome::Pass, "{few}");
    }
    // Two commands, each at its time: both in one breath are not the first.
    let saltmere = crate::site("saltmere");
    let glider = Situation::new(saltmere.fleet[0].registration.clone(), 1, saltmere.cables[0].id.clone());
    let outcome = |step: &str, text: &str| heard(&saltmere, &glider, step, text).outcome;
    assert_eq!(outcome("take up", "take up slack"), Outcome::Pass);
    assert_eq!(outcome("take up", "take up slack, all out"), Outcome::NotYet);
    assert_eq!(outcome("take up", "all out"), Outcome::NotYet);
    assert_eq!(outcome("all out", "all out"), Outcome::Pass);
    assert_eq!(outcome("all out", "take up slack"), Outcome::NotYet);
}

/// Figures that stand nowhere in the site are a wrong value of what they are said of; the glider, rightly named, is not blamed.
#[test]
fn figures_that_are_not_listed_are_a_wrong_value() {
    let site = changed(
        "tests/sites/kranmoor",
        &[
            (
                "words.toml",
                "taught = \"Wind von vorn\"",
                "taught = \"Wind zwo fünf null, acht\"",
            ),
            (
                "words.toml",
                "taught = \"Wind von der Seite\"",
                "taught = \"Wind zwo eins null, eins zwo\"",
            ),
        ],
    );
    for (registration, crew, name) in [("D-4418", ", doppelsitzig", "Erle"), ("D-9037", "", "Kilo sieben")] {
        let glider = situation(registration, 2 - u8::from(crew.is_empty()), "wald", &TODAY);
        let call = |wind: &str, number: &str| {
            let text = format!("Winde, {name}{crew}, Windenseil Wald, startklar, {wind}, Start Nummer {number}");
            heard(&site, &glider, "ready", &text)
        };
        let right = call("Wind zwo eins null, eins zwo", "eins sieben");
        assert_eq!(right.outcome, Outcome::Pass, "{right:#?}");
        for (wind, number, element, verdict, half) in [
            (
                "Wind zwo zwo null, eins vier",
                "eins sieben",
                "wind",
                Verdict::Wrong,
                "wind zwo zwo null eins vier",
            ),
            (
                "Wind zwo fünf null, acht",
                "eins sieben",
                "wind",
                Verdict::Wrong,
                "vorn",
            ),
            (
                "Wind zwo eins null, eins zwo, drei",
                "eins sieben",
                "wind",
                Verdict::Wrong,
                "wind zwo eins null eins zwo drei",
            ),
            (
                "zwo eins null, eins zwo",
                "eins sieben",
                "wind",
                Verdict::Missing,
                "zwo eins null eins zwo",
            ),
            ("Wind", "eins sieben", "wind", Verdict::Missing, "wind"),
            (
                "Wind zwo eins null, eins zwo",
                "neun neun",
                "number",
                Verdict::Wrong,
                "start nummer neun neun",
            ),
        ] {
            let judged = call(wind, number);
            for e in &judged.elements {
                let expected = if e.element == element { verdict } else { Verdict::Said };
                assert_eq!(e.verdict, expected, "{name}, {wind}, {number}: {e:#?}");
            }
            assert_eq!(
                judged.element(element).unwrap().heard.as_deref(),
                Some(half),
                "{wind}, {number}"
            );
        }
    }
}

/// What is said only when there is something to say: on other days nothing is right, and anything said is wrong.
#[test]
fn nothing_said_can_be_the_right_value() {
    let still =
        "value = [\n    { id = \"still\", taught = \"\", scene = \"Der Windsack hängt herab.\" },\n    { id = \"vorn\"";
    let site = changed(
        "tests/sites/kranmoor",
        &[("words.toml", "value = [\n    { id = \"vorn\"", still)],
    );
    let mut day = situation("D-4418", 2, "wald", &TODAY);
    day.more.insert("wind".to_owned(), "still".to_owned());
    let step = site.step("ready").unwrap();
    let call = "Winde, Erle, doppelsitzig, Windenseil Wald, startklar, Start Nummer eins sieben.";
    assert_eq!(day.taught_call(&site, step), call);
    let judged = heard(&site, &day, "ready", call);
    assert_eq!(
        (judged.outcome, judged.score),
        (Outcome::Pass, Some(100)),
        "{judged:#?}"
    );
    let with = call.replace("Start Nummer", "Wind von vorn, Start Nummer");
    let judged = heard(&site, &day, "ready", &with);
    assert_eq!(judged.element("wind").unwrap().verdict, Verdict::Wrong, "{judged:#?}");
    // On a day with wind it is missed.
    let windy = situation("D-4418", 2, "wald", &TODAY);
    assert_eq!(heard(&site, &windy, "ready", call).outcome, Outcome::NotYet);
    // The others do not speak of it either.
    let (text, _) = played(&site, "winch driver", day, Course::default(), &[]);
    assert!(text.contains(call.trim_end_matches('.')), "{text}");
    let tally = simulate(&site, 2000, &mut common::random(9));
    assert_eq!(tally.dead_ends, Vec::<String>::new());
}

/// A request is a question by nature: a recogniser writes a question mark behind it.
#[test]
fn a_question_mark_behind_a_request_leaves_nothing_open() {
    for (place, situation, text) in [
        (
            "phrases/larkmoor",
            situation("G-CLRM", 2, "north", &[]),
            "Winch, may I retrieve, north cable?",
        ),
        (
            "phrases/erlengrund",
            situation("D-3862", 2, "wald", &[]),
            "Winde, Windenseil Wald, darf ich holen?",
        ),
        (
            "phrases/erlengrund",
            situation("D-3862", 2, "wald", &[]),
            "Winde, darf ich holen, Windenseil Wald?",
        ),
    ] {
        let site = changed(place, &[]);
        let judged = heard(&site, &situation, "retrieve", text);
        assert_eq!(judged.outcome, Outcome::Pass, "{text}: {judged:?}");
        // Asked before the request it is no part of that.
        let cable = if place.ends_with("larkmoor") {
            "Winch, north cable? May I retrieve"
        } else {
            "Winde, Windenseil Wald? Darf ich holen"
        };
        assert_ne!(heard(&site, &situation, "retrieve", cable).outcome, Outcome::Pass);
    }
}

#[test]
fn half_of_another_value_is_that_other_value() {
    let site = changed(
        "phrases/brackmere",
        &[
            (
                "words.toml",
                r#"taught = "too fast, too fast", understood = ["too fast"]"#,
                r#"taught = "too fast""#,
            ),
            (
                "words.toml",
                r#"taught = "too slow, too slow", understood = ["too slow"]"#,
                r#"taught = "too slow""#,
            ),
            ("words.toml", "[element.speed]\n", "[element.speed]\ntimes = 2\n"),
        ],
    );
    let cable = site.cables[0].id.clone();
    let slow = situation("G-BMHN", 2, &cable, &[("speed", "too slow")]);
    let verdict = |text: &str| {
        let judged = heard(&site, &slow, "speed", text);
        (judged.outcome, judged.element("speed").unwrap().verdict)
    };
    assert_eq!(verdict("too slow, too slow"), (Outcome::Pass, Verdict::Said));
    assert_eq!(verdict("too slow"), (Outcome::NotYet, Verdict::Missing));
    for text in [
        "too fast",
        "too fast, too fast",
        "too slow, too slow, too fast",
        "too fast, too slow, too slow",
    ] {
        assert_eq!(verdict(text), (Outcome::NotYet, Verdict::Wrong), "{text}");
    }
}
