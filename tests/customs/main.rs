//! Customs of clubs that the two sites that ship do not have: each in an invented site, checked without a notice and drilled typed.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

mod answers;
mod cables;
mod naming;
#[path = "../common/mod.rs"]
mod shared;
mod values;

use cableside::call::{Evidence, Outcome, Situation};
use cableside::command::common;
use cableside::drill::deal::deal;
use cableside::drill::launch::Turned;
use cableside::drill::simulate::simulate;
use cableside::drill::{Course, Did, Ending, Launch, Next, Note, Want, debrief};
use cableside::site::{Callsign, Site};
use shared::play::{fly, heard};

fn site(name: &str) -> Site {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/sites")
        .join(name);
    Site::check(&cableside::folders::read_site(&folder)).unwrap_or_else(|p| panic!("{p}"))
}

/// A site with some of its words changed; each old text must be there.
fn changed(folder: &str, changes: &[(&str, &str, &str)]) -> Site {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut files = cableside::folders::read_site(&folder);
    for (file, old, new) in changes {
        let text = files.texts.get_mut(*file).unwrap();
        assert!(text.contains(old), "{file} does not hold {old}");
        *text = text.replace(old, new);
    }
    Site::check(&files).unwrap_or_else(|p| panic!("{p}"))
}

fn situation(registration: &str, crew: u8, cable: &str, more: &[(&str, &str)]) -> Situation {
    let mut s = Situation::new(Callsign::parse(registration).unwrap(), crew, cable);
    s.more = more.iter().map(|(e, v)| ((*e).to_owned(), (*v).to_owned())).collect();
    s
}

/// What is told of a launch in which the student does this in turn, and how it ended: see [`fly`].
fn played(site: &Site, role: &str, situation: Situation, course: Course, turns: &[&str]) -> (String, Ending) {
    let flown = fly(site, role, situation, course, None, turns);
    (debrief::text(site, &flown.launch, &[]), flown.ending)
}

const TODAY: [(&str, &str); 2] = [("wind", "quer"), ("number", "17")];

/// What the program teaches must be right when it is said, for every glider, crew, cable and day that can be dealt.
#[test]
fn what_is_taught_is_right_at_every_site() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    for place in [
        "phrases/larkmoor",
        "phrases/erlengrund",
        "phrases/brackmere",
        "phrases/haselrain",
        "tests/sites/holmwick",
        "tests/sites/kranmoor",
        "tests/sites/saltmere",
    ] {
        let site = Site::check(&cableside::folders::read_site(&folder.join(place))).unwrap_or_else(|p| panic!("{p}"));
        let mut random = common::random(3);
        for _ in 0..200 {
            let dealt = deal(&site, None, &mut random).unwrap();
            for step in site.steps.iter().filter(|s| s.by.has_words()) {
                let taught = dealt.taught_call(&site, step);
                let judged = heard(&site, &dealt, &step.id, &taught);
                assert_eq!(
                    judged.outcome,
                    Outcome::Pass,
                    "{place} {}: {taught}\n{judged:#?}",
                    step.id
                );
                assert_eq!(judged.score, Some(100), "{place} {}: {taught}\n{judged:#?}", step.id);
            }
        }
    }
}

/// A signal of the site's own is seen and given by any role; another one is remarked upon, and one that stops is obeyed at once.
#[test]
fn signals_are_given_and_seen() {
    let site = site("kranmoor");
    let erle = || situation("D-4418", 2, "wald", &TODAY);
    let run = |role: &str, turns: &[&str]| played(&site, role, erle(), Course::default(), turns);
    let (text, ending) = run("wing runner", &["signal straff", "ab ab ab"]);
    assert_eq!(ending, Ending::Complete, "{text}");
    assert!(text.contains("Lampe: zweimal kurz"), "{text}");
    assert!(
        text.contains(&site.language.text("sound.horn", &[])),
        "a horn is heard: {text}"
    );
    let (text, ending) = run("wing runner", &["signal anziehen", "signal straff", "ab ab ab"]);
    assert_eq!(ending, Ending::Complete);
    assert!(text.contains(&Note::OtherSignal.text(site.language)), "{text}");
    let (text, _) = run("wing runner", &["Seil straff", "signal straff"]);
    assert!(text.contains(&Note::SignalWanted.text(site.language)), "{text}");
    assert_eq!(run("wing runner", &["signal halt"]).1, Ending::StoppedToBeSure);
    let ready = erle().taught_call(&site, site.step("ready").unwrap());
    let wrong = Course {
        misread: Some(("cable".to_owned(), "moor".to_owned())),
        ..Course::default()
    };
    assert_eq!(
        played(&site, "pilot", erle(), wrong, &[&ready, "signal halt"]).1,
        Ending::Stopped
    );
    assert_eq!(run("wing runner", &["", "", ""]).1, Ending::NobodyCalled);
    let (text, ending) = run("winch driver", &["doppelsitzig, Wald", "signal anziehen"]);
    assert_eq!(ending, Ending::Complete, "{text}");
}

/// The habit of several pulls is one of the top: the hook is opened for the ring with one.
#[test]
fn the_release_is_pulled_once_for_the_ring() {
    let step = "[[step]]\nid = \"hook\"\ntitle = \"Einklinken\"\nspeaker = \"pilot\"\nto = \"start\"\nby = \"hand\"\ntaught = \"\"\n\n[[step]]\nid = \"ready\"";
    let site = changed(
        "tests/sites/kranmoor",
        &[
            ("site.toml", "release_pulls = 1", "release_pulls = 2"),
            ("steps.toml", "order = [\"ready\"", "order = [\"hook\", \"ready\""),
            ("steps.toml", "[[step]]\nid = \"ready\"", step),
        ],
    );
    let erle = situation("D-4418", 2, "wald", &TODAY);
    let ready = erle.taught_call(&site, site.step("ready").unwrap());
    let run = |turns: &[&str]| played(&site, "pilot", erle.clone(), Course::default(), turns);
    let (text, ending) = run(&["hand", &ready, "", "hand", "hand"]);
    assert_eq!(ending, Ending::Complete, "{text}");
    assert_eq!(
        text.matches(&site.language.text("release.pulled", &[])).count(),
        1,
        "{text}"
    );
    assert!(!text.contains(&Note::PullAgain.text(site.language)), "{text}");
    let count = |n: &str| site.language.text("release.count", &[("n", n), ("of", "2")]);
    assert!(text.contains(&count("1")) && text.contains(&count("2")), "{text}");
    let (text, _) = run(&["hand", &ready, "", "hand", "", ""]);
    assert!(text.contains(&Note::PullAgain.text(site.language)), "{text}");
}

/// A link that is asked for is fetched after it was named: nothing is held up that gives the answer away.
#[test]
fn a_link_that_is_asked_for_is_not_held_up_before() {
    let said = "[[step]]\nid = \"link said\"\ntitle = \"The link\"\nspeaker = \"wing runner\"\nto = \"winch\"\nby = \"voice\"\nreadback_of = \"link\"\nelements = [\"link\"]\ncritical = [\"link\"]\ntaught = \"{link}.\"\n\n[[step]]\nid = \"stop\"";
    let asked = changed(
        "phrases/larkmoor",
        &[
            ("steps.toml", "\"link\", \"open\"", "\"link\", \"link said\", \"open\""),
            ("steps.toml", "[[step]]\nid = \"stop\"", said),
        ],
    );
    let shown = changed("phrases/larkmoor", &[]);
    let glider = situation("G-CLRM", 2, "north", &[]);
    let steps = ["link".to_owned(), "link said".to_owned()];
    let black = glider.taught_call(&shown, shown.step("link").unwrap());
    for (site, held_up) in [(&shown, true), (&asked, false)] {
        let course = Course {
            shown_link: Some("black".to_owned()),
            ..Course::default()
        };
        let mut launch = Launch::new(site, "pilot", glider.clone(), course, Some(&steps)).unwrap();
        let mut seen = String::new();
        let end = loop {
            match launch.next(site) {
                Next::Ended(end) => break end,
                Next::See(text) => seen.push_str(&text),
                Next::Listen { want: Want::Call, .. } => {
                    let step = launch.judged_step(site).unwrap();
                    let evidence = Evidence::typed(&launch.vocabulary(site).unwrap(), &black);
                    let turned = Turned::new(site, step, &launch.situation, &evidence);
                    launch.did(site, turned.did(false));
                }
                Next::Listen { .. } => launch.did(site, Did::Nothing),
                _ => {}
            }
        };
        assert_eq!(end, Ending::Complete, "{}", debrief::text(site, &launch, &[]));
        let words = site.taught_words("link", "black").unwrap();
        let text = site.language.text("link.shown", &[("words", &words)]);
        assert_eq!(seen.contains(&text), held_up, "{seen}");
    }
}

#[test]
fn every_launch_of_these_sites_ends() {
    for name in ["kranmoor", "saltmere", "holmwick"] {
        let site = site(name);
        let tally = simulate(&site, 3000, &mut common::random(8));
        assert_eq!(tally.dead_ends, Vec::<String>::new(), "{name}");
        let signals = tally.turns.keys().any(|(_, w)| *w == Want::Signal);
        assert_eq!(signals, name == "kranmoor");
    }
}
