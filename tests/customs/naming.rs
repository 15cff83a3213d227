//! How a glider is named: type, number, competition sign, short callsigns, and what need not be said.

use super::{TODAY, changed, played, site, situation};
use crate::shared::play::heard;
use cableside::call::{Outcome, Situation};
use cableside::drill::{Course, Ending};
use cableside::site::{Callsign, Site};

#[test]
fn a_glider_is_named_by_its_type() {
    let site = site("kranmoor");
    assert!(site.notices.is_empty(), "{:?}", site.notices);
    let erle = situation("D-4418", 2, "wald", &TODAY);
    let step = site.step("ready").unwrap();
    assert_eq!(
        erle.taught_call(&site, step),
        "Winde, Erle, doppelsitzig, Windenseil Wald, startklar, Wind von der Seite, Start Nummer eins sieben."
    );
    let pass = |s: &Situation, text: &str| heard(&site, s, "ready", text).outcome;
    for named in ["Erle", "Delta vier vier eins acht"] {
        let call = format!(
            "Winde, {named}, doppelsitzig, Windenseil Wald, startklar, Wind von der Seite, Start Nummer eins sieben"
        );
        assert_eq!(pass(&erle, &call), Outcome::Pass, "{call}");
    }
    for (named, why) in [
        ("Zeisig", "another type"),
        ("Delta vier vier acht eins", "another glider"),
        ("", "nothing"),
    ] {
        let call = format!(
            "Winde, {named}, doppelsitzig, Windenseil Wald, startklar, Wind von der Seite, Start Nummer eins sieben"
        );
        assert_eq!(pass(&erle, &call), Outcome::NotYet, "{why}: {call}");
    }
}

#[test]
fn a_glider_is_named_by_type_and_number_or_by_its_competition_sign_and_says_no_crew() {
    let site = site("kranmoor");
    let rest = "Windenseil Wald, startklar, Wind von der Seite, Start Nummer eins sieben";
    let zeisig = situation("D-4481", 1, "wald", &TODAY);
    let pass = |s: &Situation, text: &str| heard(&site, s, "ready", &format!("Winde, {text}, {rest}")).outcome;
    assert_eq!(pass(&zeisig, "Zeisig acht eins"), Outcome::Pass);
    assert_eq!(
        pass(&zeisig, "Zeisig acht eins, einsitzig"),
        Outcome::Pass,
        "more may be said"
    );
    assert_eq!(
        pass(&zeisig, "Zeisig acht eins, doppelsitzig"),
        Outcome::NotYet,
        "and must be right then"
    );
    assert_eq!(pass(&zeisig, "Zeisig"), Outcome::NotYet, "half its name");
    assert_eq!(pass(&zeisig, "acht eins"), Outcome::NotYet, "the other half");
    assert_eq!(pass(&zeisig, "Zeisig eins acht"), Outcome::NotYet);
    let stelze = situation("D-9037", 1, "wald", &TODAY);
    assert_eq!(pass(&stelze, "Kilo sieben"), Outcome::Pass);
    assert_eq!(pass(&stelze, "Kilo eins"), Outcome::NotYet);
    assert_eq!(
        pass(&stelze, "Delta neun null drei sieben"),
        Outcome::NotYet,
        "the site does not list it"
    );
}

/// A short callsign will do once the full one was answered, and not before.
#[test]
fn a_short_callsign_comes_after_contact() {
    let site = site("saltmere");
    let glider = || Situation::new(Callsign::parse("G-KTSB").unwrap(), 1, site.cables[0].id.clone());
    let call = |name: &str| format!("Winch, {name}, ready");
    let (full, short) = ("Golf Kilo Tango Sierra Bravo", "Golf Sierra Bravo");
    let outcome = |s: &Situation, name: &str| heard(&site, s, "ready", &call(name)).outcome;
    assert_eq!(outcome(&glider(), full), Outcome::Pass);
    assert_eq!(outcome(&glider(), short), Outcome::NotYet);
    let mut after = glider();
    after.contact = true;
    for name in [full, short, "Golf Tango Sierra Bravo"] {
        assert_eq!(outcome(&after, name), Outcome::Pass, "{name}");
    }
    for name in ["Sierra Bravo", "Golf Bravo Sierra", "Golf Kilo Bravo", "Bravo"] {
        assert_eq!(outcome(&after, name), Outcome::NotYet, "{name}");
    }
    let check = format!("Winch, {full}, radio check");
    let (text, ending) = played(
        &site,
        "pilot",
        after.clone(),
        Course::default(),
        &[&check, &call(short), "hand", "hand"],
    );
    assert_eq!(ending, Ending::Complete, "{text}");
    // What was dealt does not count: contact is made in the launch itself.
    let early = format!("Winch, {short}, radio check");
    let (text, _) = played(&site, "pilot", after, Course::default(), &[&early]);
    assert!(!text.contains("Reading you five"), "{text}");
}

/// Whoever is called by a type, a sign or letters is not suddenly called by the registration's first and last characters.
#[test]
fn what_is_short_after_contact_follows_how_the_glider_is_named() {
    let rest = "Windenseil Wald, startklar, Wind von der Seite, Start Nummer eins sieben";
    let short = ("site.toml", "callsign = \"full\"", "callsign = \"short after contact\"");
    let site = changed("tests/sites/kranmoor", &[short]);
    let after = |registration: &str, crew: u8| {
        let mut s = situation(registration, crew, "wald", &TODAY);
        s.contact = true;
        s
    };
    let step = site.step("ready").unwrap();
    let outcome =
        |site: &Site, s: &Situation, call: &str| heard(site, s, "ready", &format!("Winde, {call}, {rest}")).outcome;
    let zeisig = after("D-4481", 1);
    assert!(zeisig.taught_call(&site, step).contains("acht eins"));
    assert!(!zeisig.taught_call(&site, step).contains("Zeisig"));
    for (name, right) in [
        ("acht eins", true),
        ("Zeisig acht eins", true),
        ("Delta acht eins", false),
        ("Zeisig", false),
        ("eins acht", false),
    ] {
        let expected = if right { Outcome::Pass } else { Outcome::NotYet };
        assert_eq!(outcome(&site, &zeisig, name), expected, "{name}");
    }
    let before = situation("D-4481", 1, "wald", &TODAY);
    assert_eq!(outcome(&site, &before, "acht eins"), Outcome::NotYet);
    // A sign alone cannot be shorter, and the type is taught as before; its registration may be shortened.
    let stelze = after("D-9037", 1);
    assert_eq!(outcome(&site, &stelze, "Kilo sieben"), Outcome::Pass);
    assert_eq!(outcome(&site, &stelze, "Delta drei sieben"), Outcome::NotYet);
    assert!(
        !stelze
            .scene(&site, step)
            .unwrap()
            .contains(&site.language.text("scene.contact", &[]))
    );
    let erle = after("D-4418", 2);
    assert!(erle.taught_call(&site, step).contains("Erle"));
    assert_eq!(outcome(&site, &erle, "Delta eins acht, doppelsitzig"), Outcome::Pass);
    assert_eq!(outcome(&site, &erle, "Delta acht eins, doppelsitzig"), Outcome::NotYet);
    // Letters that two gliders end with are no name for either.
    let two = "[[aircraft]]\nregistration = \"D-5581\"\ntype = \"Amsel\"\nseats = 1\nsaid_by = [\"type and last letters\"]\nsay_crew = false\n";
    let stelze = "[[aircraft]]\nregistration = \"D-9037\"";
    let site = changed(
        "tests/sites/kranmoor",
        &[short, ("fleet.toml", stelze, &format!("{two}\n{stelze}"))],
    );
    assert_eq!(outcome(&site, &zeisig, "acht eins"), Outcome::NotYet);
    assert_eq!(outcome(&site, &zeisig, "Zeisig acht eins"), Outcome::Pass);
}

#[test]
fn a_sign_of_one_character_is_a_part_of_the_name() {
    let site = changed(
        "phrases/brackmere",
        &[(
            "fleet.toml",
            "type = \"Heron\"\nseats = 2\nsaid_by = [\"type\"]",
            "type = \"Heron\"\nseats = 2\ncompetition_sign = \"2\"\nsaid_by = [\"type and competition sign\"]",
        )],
    );
    let cable = site.cables[0].id.clone();
    let heron = situation("G-BMHN", 2, &cable, &[]);
    let right = heron.taught_call(&site, site.step("ready").unwrap());
    assert!(right.to_lowercase().contains("heron two"), "{right}");
    assert_eq!(heard(&site, &heron, "ready", &right).outcome, Outcome::Pass, "{right}");
    for other in ["Heron", "Heron three"] {
        let text = right.to_lowercase().replace("heron two", other);
        assert_ne!(heard(&site, &heron, "ready", &text).outcome, Outcome::Pass, "{text}");
    }
}
