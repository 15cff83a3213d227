//! Calls as people say them, typed: the sentence forms that the spoken measurements use (`scripts/speech/forms`), written by
//! somebody who did not know how the program judges. Their labels follow the project's "Rules of judging"; the sentences are
//! common practice, no source.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "tests"
)]

use cableside::call::{Evidence, Outcome, Situation, Verdict, Vocabulary, judge, judge::Limits};
use cableside::site::{Callsign, Purpose, Site, fill};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::Path;

#[derive(Deserialize)]
struct Forms {
    form: Vec<Form>,
}

/// See the head of `ready.en.toml`.
#[derive(Deserialize)]
struct Form {
    id: String,
    #[serde(default)]
    step: Option<String>,
    kind: String,
    words: String,
    #[serde(default)]
    truth: BTreeMap<String, String>,
    #[serde(default)]
    crew: Option<u8>,
    #[serde(default)]
    speed: Option<String>,
}

fn forms(language: &str) -> Vec<Form> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scripts/speech/forms");
    ["ready", "steps"]
        .iter()
        .flat_map(|name| {
            let text = std::fs::read_to_string(folder.join(format!("{name}.{language}.toml"))).unwrap();
            toml::from_str::<Forms>(&text).unwrap().form
        })
        .collect()
}

/// What is known to be read otherwise than its label, and why that is borne.
const KNOWN: [(&str, &str, &str); 4] = [
    (
        "en",
        "r155",
        "the name of who is called, right behind a \"no\": not critical",
    ),
    ("de", "r161", "the same"),
    (
        "en",
        "r205",
        "\"the white one, two up\": digits in a row are one run, whatever marks stand between",
    ),
    (
        "de",
        "r188",
        "ready, and a stop behind it: the stop is obeyed and the call does not pass",
    ),
];

/// A form in the words of one situation: a glider of the site, another one, a cable, another one.
fn filled(site: &Site, form: &Form, nth: usize) -> (Situation, String) {
    let seats = form.crew.unwrap_or(1);
    let able: Vec<_> = site.fleet.iter().filter(|a| a.seats >= seats).collect();
    let glider = able[nth % able.len()];
    let other = &site
        .fleet
        .iter()
        .filter(|a| a.registration != glider.registration)
        .nth(nth % 2)
        .unwrap();
    let crew = form
        .crew
        .unwrap_or(if glider.seats == 2 { 2 - (nth % 2) as u8 } else { 1 });
    let cables: Vec<_> = site.cables.iter().map(|c| c.id.clone()).collect();
    let (cable, cable_other) = (&cables[nth % cables.len()], &cables[(nth + 1) % cables.len()]);
    let mut situation = Situation::new(glider.registration.clone(), crew, cable.clone());
    if let Some(speed) = &form.speed {
        situation.more.insert("speed".to_owned(), speed.clone());
    }
    let spoken = |c: &Callsign| site.taught_words("callsign", &c.to_string()).unwrap();
    let link = glider.weak_link.clone().unwrap_or_default();
    let link_other = site
        .elements
        .get("link")
        .and_then(|l| l.values.iter().find(|v| v.id != link));
    let text = fill(&form.words, |name| match name {
        "callsign" => Some(spoken(&glider.registration)),
        "callsign_other" => Some(spoken(&other.registration)),
        "callsign_short" => {
            let all = spoken(&glider.registration);
            let words: Vec<&str> = all.split(' ').collect();
            Some(words[words.len() - 2..].join(" "))
        }
        "crew" => site.taught_words("crew", &crew.to_string()),
        "crew_other" => site.taught_words("crew", &(3 - crew).to_string()),
        "cable" => site.taught_words("cable", cable),
        "cable_other" => site.taught_words("cable", cable_other),
        "link" => Some(link.clone()),
        "link_other" => Some(link_other?.id.clone()),
        _ => None,
    });
    (situation, text)
}

/// A stop stays one beside other words, whatever those deny.
#[test]
fn a_stop_among_other_words_is_a_stop() {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases/larkmoor");
    let site = Site::check(&cableside::folders::read_site(&dir)).unwrap();
    let step = site.stop_step().unwrap();
    let (vocabulary, glider) = (Vocabulary::of(&site, step), &site.fleet[0]);
    let situation = Situation::new(glider.registration.clone(), 1, site.cables[0].id.clone());
    for (text, outcome) in [
        ("Stop, stop, stop.", Outcome::Pass),
        ("Dog on the field, stop!", Outcome::Pass),
        ("The field is not clear, stop!", Outcome::Pass),
        ("Do not stop.", Outcome::NotYet),
        ("Should we stop?", Outcome::SayAgain),
    ] {
        let j = judge(
            &site,
            step,
            &situation,
            &Evidence::typed(&vocabulary, text),
            &Limits::DEFAULT,
        );
        assert_eq!(j.outcome, outcome, "{text}");
        assert!(j.stop, "{text}");
    }
}

/// What was not said is never `said` and never passes; a right call passes, or is asked about (never called wrong).
#[test]
fn calls_as_people_say_them() {
    let mut bad = Vec::new();
    let mut borne = std::collections::BTreeSet::new();
    for (name, language) in [("larkmoor", "en"), ("erlengrund", "de")] {
        let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases").join(name);
        let site = Site::check(&cableside::folders::read_site(&dir)).unwrap();
        let forms = forms(language);
        let (mut right, mut asked) = (0, 0);
        let mut faulty = 0;
        let known = |f: &Form| KNOWN.iter().any(|(l, id, _)| (*l, *id) == (language, f.id.as_str()));
        let mut all = Vec::new();
        for (nth, form) in forms.iter().flat_map(|f| [(0, f), (3, f)]) {
            let step = site.step(form.step.as_deref().unwrap_or("ready")).unwrap();
            let (situation, text) = filled(&site, form, nth);
            let vocabulary = Vocabulary::of(&site, step);
            let j = judge(
                &site,
                step,
                &situation,
                &Evidence::typed(&vocabulary, &text),
                &Limits::DEFAULT,
            );
            let of = |e: &str| j.element(e).map(|v| v.verdict);
            // Nothing that is said behind a stop takes it back: in doubt the launch is stopped.
            let behind_a_stop = |e: &str| {
                let begins = text.to_lowercase();
                site.purpose(e) == Purpose::Stop && (begins.starts_with("stop") || begins.starts_with("halt"))
            };
            for (element, truth) in form.truth.iter().filter(|(e, _)| !behind_a_stop(e)) {
                faulty += 1;
                if of(element) == Some(Verdict::Said) {
                    all.push((
                        form,
                        format!("{name} {} {} {element} [{truth}] is said: {text}", form.id, form.kind),
                    ));
                }
            }
            for e in step.elements.iter().filter(|e| !form.truth.contains_key(*e)) {
                right += 1;
                match of(e) {
                    Some(Verdict::Said) => {}
                    Some(Verdict::Unsure) => asked += 1,
                    other => all.push((
                        form,
                        format!(
                            "{name} {} {} {} {e} [said] is {other:?}: {text}",
                            form.id, form.kind, step.id
                        ),
                    )),
                }
            }
            let critical_fault = form
                .truth
                .keys()
                .any(|e| step.critical.contains(e) && !behind_a_stop(e));
            if critical_fault && j.outcome == Outcome::Pass {
                all.push((form, format!("{name} {} {} passes: {text}", form.id, form.kind)));
            }
        }
        let (ours, others): (Vec<_>, Vec<_>) = all.into_iter().partition(|(f, _)| known(f));
        borne.extend(ours.iter().map(|(f, _)| (language, f.id.clone())));
        bad.extend(others.into_iter().map(|(_, text)| text));
        println!("{name}: {faulty} elements not said, {right} said, {asked} of them asked about");
    }
    // What is known must still be so, or the list is out of date.
    assert_eq!(borne.len(), KNOWN.len(), "{borne:?}");
    assert!(bad.is_empty(), "{} of them:\n{}", bad.len(), bad.join("\n"));
}
