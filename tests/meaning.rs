//! What a call means: every step of five sites, every critical element, every word of the language that denies, puts off, asks
//! or takes back, before, behind and inside the wording: typed, none is `said` and none passes. And the other way round: what is
//! taught is right. The rules are the project's own ("Rules of judging"); the words are common practice, no source.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "tests"
)]

use Verdict::{Said, Unsure, Wrong};
use cableside::call::{Evidence, Judgement, Outcome, Situation, Verdict, Vocabulary, judge, judge::Limits};
use cableside::site::language::Sense;
use cableside::site::{Purpose, Site, Step, Wording, fill};

fn sites() -> Vec<Site> {
    [
        "phrases/larkmoor",
        "phrases/erlengrund",
        "phrases/brackmere",
        "phrases/haselrain",
        "tests/sites/holmwick",
    ]
    .iter()
    .map(|dir| site_at(dir))
    .collect()
}

fn site_at(dir: &str) -> Site {
    let dir = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(dir);
    Site::check(&cableside::folders::read_site(&dir)).unwrap()
}

fn typed(site: &Site, step: &Step, vocabulary: &Vocabulary, situation: &Situation, text: &str) -> Judgement {
    judge(
        site,
        step,
        situation,
        &Evidence::typed(vocabulary, text),
        &Limits::DEFAULT,
    )
}

/// Some glider of the site on its first cable.
fn situation(site: &Site) -> Situation {
    let glider = &site.fleet[0];
    Situation::new(glider.registration.clone(), glider.seats, site.cables[0].id.clone())
}

/// The call as taught, with the words of one element changed.
fn call(site: &Site, step: &Step, situation: &Situation, changed: &str, wording: &str) -> String {
    let values = situation.values(site, step);
    fill(&step.taught, |name| {
        if name == changed {
            return Some(wording.to_owned());
        }
        site.taught_words(name, values.get(name)?)
    })
}

/// Ways in which a word can stand with a wording: before it, behind it, inside it.
fn ways(word: &str, wording: &str) -> Vec<(&'static str, String)> {
    let mut ways = vec![
        ("before", format!("{word} {wording}")),
        ("behind", format!("{wording} {word}")),
        ("behind, parted", format!("{wording} {word},")),
    ];
    let words: Vec<&str> = wording.split(' ').collect();
    if words.len() > 1 {
        let (first, rest) = words.split_at(words.len() / 2);
        ways.push(("inside", format!("{} {word} {}", first.join(" "), rest.join(" "))));
    }
    ways
}

#[test]
fn what_is_denied_put_off_asked_or_taken_back_is_never_said() {
    // Each site by itself: it takes minutes, and a machine has several cores.
    let sites = sites();
    let done: Vec<(usize, Vec<String>)> = std::thread::scope(|scope| {
        let all: Vec<_> = sites.iter().map(|s| scope.spawn(move || never_said(s))).collect();
        all.into_iter().map(|t| t.join().unwrap()).collect()
    });
    let cases: usize = done.iter().map(|d| d.0).sum();
    let bad: Vec<&str> = done.iter().flat_map(|d| d.1.iter().map(String::as_str)).collect();
    println!("{cases} cases, {} said", bad.len());
    assert!(cases > 40_000, "{cases}");
    assert!(
        bad.is_empty(),
        "{} of {cases}:\n{}",
        bad.len(),
        bad[..bad.len().min(600)].join("\n")
    );
}

/// How many cases a site has, and those that were taken for said.
#[allow(
    clippy::too_many_lines,
    clippy::excessive_nesting,
    reason = "every step, element, word and place"
)]
fn never_said(site: &Site) -> (usize, Vec<String>) {
    let mut cases = 0;
    let mut bad = Vec::new();
    let situation = situation(site);
    for step in &site.steps {
        let vocabulary = Vocabulary::of(site, step);
        let values = situation.values(site, step);
        for (place, element) in step
            .elements
            .iter()
            .enumerate()
            .filter(|(_, e)| step.critical.contains(e))
        {
            let purpose = site.purpose(element);
            let taught = site.taught_words(element, &values[element]).unwrap();
            let known = &site.elements[element].values;
            let understood = known
                .iter()
                .filter(|v| v.id == values[element])
                .flat_map(|v| v.texts().cloned());
            let mut wordings: Vec<String> = std::iter::once(taught).chain(understood).collect();
            wordings.dedup();
            for (word, sense) in site.language.senses() {
                // What would be done if something happened is supposed by its nature.
                let supposed = purpose == Purpose::Eventuality && matches!(sense, Sense::PutsOff | Sense::Asks);
                if supposed || matches!(sense, Sense::SmallTalk | Sense::Joins | Sense::Others) {
                    continue;
                }
                for wording in &wordings {
                    for (way, changed) in ways(word, wording) {
                        // Nothing said behind a stop takes it back, and nothing but a denial before it.
                        if purpose == Purpose::Stop && (way != "before" || sense != Sense::Denies) {
                            continue;
                        }
                        // What takes back takes back what stands before it.
                        let takes_back = matches!(sense, Sense::TakesBack | Sense::Slips | Sense::Corrects);
                        if takes_back && way == "before" {
                            continue;
                        }
                        // What stands behind a correction counts.
                        if sense == Sense::Corrects && (place + 1 < step.elements.len() || way == "inside") {
                            continue;
                        }
                        // The second half may be the whole again.
                        let half = changed.split_once(&format!("{word} ")).map_or("", |(_, half)| half);
                        if takes_back && way == "inside" {
                            let text = call(site, step, &situation, element, half);
                            let judged = typed(site, step, &vocabulary, &situation, &text);
                            if judged.element(element).unwrap().verdict == Verdict::Said {
                                continue;
                            }
                        }
                        // A word with which a wording of this step begins belongs to that.
                        let last = word.split(' ').next_back().unwrap();
                        let begins = |text: &String| text.to_lowercase().split(' ').next() == Some(last);
                        let own = step.elements.iter().filter_map(|e| site.elements.get(e));
                        let mut texts = own.flat_map(|e| {
                            let all = e.values.iter().chain(&e.other).flat_map(Wording::texts);
                            all.chain(&e.negated)
                        });
                        let first = word.split(' ').next().unwrap();
                        let also = |text: &String| text.to_lowercase().split(' ').next() == Some(first);
                        if texts.any(|t| begins(t) || also(t)) {
                            continue;
                        }
                        // "Pilot is this is ready" says "this is".
                        if way == "inside" && changed.contains(&format!("{word} is ")) {
                            continue;
                        }
                        let text = call(site, step, &situation, element, &changed);
                        // With the word that follows it may be small talk of the language: "looking left".
                        let plain = text.replace(',', "").to_lowercase();
                        let phrase = |(p, s): (&str, Sense)| {
                            s == Sense::SmallTalk && p.starts_with(&format!("{word} ")) && plain.contains(p)
                        };
                        if site.language.senses().any(phrase) {
                            continue;
                        }
                        let judged = typed(site, step, &vocabulary, &situation, &text);
                        cases += 1;
                        let verdict = judged.element(element).unwrap().verdict;
                        if verdict == Verdict::Said || judged.outcome == Outcome::Pass {
                            bad.push(format!("{} {} {element} {word:?} {way}: {text}", site.id, step.id));
                        }
                    }
                }
            }
        }
    }
    (cases, bad)
}

/// The calls that are spoken by several voices too: every step of every site as taught, those of the customs too, and of the calls with a denial, a putting-off
/// or a withdrawal at the sites of two languages some that are drawn over all steps and words. Typed the ones pass and the others do not. With
/// `CABLESIDE_ROWS` they are written to that file, a line each, for `scripts/speech/make_calls.py --set rows`.
#[test]
fn calls_to_be_spoken() {
    const UNDONE: usize = 20;
    let mut lines = Vec::new();
    let row = |site: &Site, step: &Step, situation: &Situation, wrong: Option<&str>, text: &str, fault: &str| {
        let outcome = typed(site, step, &Vocabulary::of(site, step), situation, text).outcome;
        assert_eq!(outcome == Outcome::Pass, wrong.is_none(), "{}: {text}", site.id);
        let truth: std::collections::BTreeMap<&String, &str> = step
            .elements
            .iter()
            .map(|e| (e, if wrong == Some(e.as_str()) { "wrong" } else { "said" }))
            .collect();
        serde_json::json!({
            "site": site.id, "step": step.id, "situation": situation, "truth": truth, "spoken": {},
            "words": text, "fault": fault,
        })
        .to_string()
    };
    let shipped = ["larkmoor", "erlengrund", "haselrain", "brackmere"].map(|s| format!("phrases/{s}"));
    let customs = ["holmwick", "kranmoor", "saltmere"].map(|s| format!("tests/sites/{s}"));
    for site in shipped.iter().chain(&customs) {
        let site = site_at(site);
        let situation = situation(&site);
        for step in site.steps.iter().filter(|s| !s.elements.is_empty()) {
            let text = situation.taught_call(&site, step);
            lines.push(row(&site, step, &situation, None, &text, "taught"));
        }
    }
    for site in ["larkmoor", "erlengrund"] {
        let site = site_at(&format!("phrases/{site}"));
        let situation = situation(&site);
        let mut random = cableside::drill::deal::random(15);
        let mut drawn: Vec<(u32, String)> = Vec::new();
        for step in &site.steps {
            let values = situation.values(&site, step);
            for element in step.elements.iter().filter(|e| step.critical.contains(e)) {
                let purpose = site.purpose(element);
                if matches!(purpose, Purpose::Stop | Purpose::Eventuality) {
                    continue;
                }
                let taught = site.taught_words(element, &values[element]).unwrap();
                for (word, sense) in site.language.senses() {
                    let place = match sense {
                        Sense::Denies | Sense::PutsOff => 0,
                        Sense::TakesBack => 1,
                        _ => continue,
                    };
                    let (way, changed) = ways(word, &taught).swap_remove(place);
                    let text = call(&site, step, &situation, element, &changed);
                    let fault = format!("undone-{way}");
                    drawn.push((
                        random(),
                        row(&site, step, &situation, Some(element.as_str()), &text, &fault),
                    ));
                }
            }
        }
        drawn.sort();
        lines.extend(drawn.into_iter().take(UNDONE).map(|(_, line)| line));
    }
    println!("{} calls", lines.len());
    if let Some(file) = std::env::var_os("CABLESIDE_ROWS") {
        std::fs::write(file, lines.join("\n") + "\n").unwrap();
    }
}

#[test]
fn what_is_taught_is_right() {
    for site in sites() {
        for glider in &site.fleet {
            for cable in &site.cables {
                for crew in 1..=glider.seats {
                    let situation = Situation::new(glider.registration.clone(), crew, cable.id.clone());
                    for step in site.steps.iter().filter(|s| !s.elements.is_empty()) {
                        let text = situation.taught_call(&site, step);
                        let judged = typed(&site, step, &Vocabulary::of(&site, step), &situation, &text);
                        let said = (judged.outcome, judged.score, judged.advice.len());
                        assert_eq!(said, (Outcome::Pass, Some(100), 0), "{}: {text}\n{judged:?}", site.id);
                    }
                }
            }
        }
    }
}

/// Small talk costs nothing but advice.
#[test]
fn ordinary_words_change_no_verdict() {
    let sites = sites();
    let larkmoor = &sites[0];
    let step = larkmoor.ready_step().unwrap();
    let vocabulary = Vocabulary::of(larkmoor, step);
    let situation = Situation::new(cableside::site::Callsign::parse("G-CLRM").unwrap(), 2, "north");
    for text in [
        "Winch, this is Golf Charlie Lima Romeo Mike, we are two up on the north winch cable and we are ready, over",
        "Good afternoon winch, from Golf Charlie Lima Romeo Mike, two up, on the north winch cable, ready please",
        "Winch, Golf Charlie Lima Romeo Mike, we're two up, hooked on to the north winch cable, and ready",
        "Hello Larkmoor winch, glider Golf Charlie Lima Romeo Mike, two up today, north winch cable, all set, ready",
        "Winch, it's Golf Charlie Lima Romeo Mike with two up on the north winch cable, I'm ready, thanks",
    ] {
        let judged = typed(larkmoor, step, &vocabulary, &situation, text);
        assert_eq!(judged.outcome, Outcome::Pass, "{text}\n{judged:#?}");
    }
    let erlengrund = &sites[1];
    let step = erlengrund.ready_step().unwrap();
    let vocabulary = Vocabulary::of(erlengrund, step);
    let situation = Situation::new(cableside::site::Callsign::parse("D-3862").unwrap(), 2, "wald");
    for text in [
        "Winde, hier ist die Delta drei acht sechs zwo, wir sind doppelsitzig am Windenseil Wald und startklar, bitte kommen",
        "Guten Tag Winde, Delta drei acht sechs zwo, doppelsitzig, hängen am Windenseil Wald, sind startklar",
        "Hallo Winde, Segelflugzeug Delta drei acht sechs zwo, doppelsitzig besetzt, Windenseil Wald, wir sind startklar",
    ] {
        let judged = typed(erlengrund, step, &vocabulary, &situation, text);
        assert_eq!(judged.outcome, Outcome::Pass, "{text}\n{judged:#?}");
    }
}

/// Denials that belong elsewhere, twice, alone, in names: what is clear is clear, what is not is asked.
#[test]
fn denials_where_they_are_hard_to_place() {
    let sites = sites();
    let site = &sites[0];
    let step = site.ready_step().unwrap();
    let vocabulary = Vocabulary::of(site, step);
    let situation = Situation::new(cableside::site::Callsign::parse("G-CLRM").unwrap(), 2, "north");
    let verdicts = |crew: &str, cable: &str, ready: &str| {
        let text = format!("Winch, Golf Charlie Lima Romeo Mike, {crew}, {cable}, {ready}");
        let judged = typed(site, step, &vocabulary, &situation, &text);
        ["crew", "cable", "ready"].map(|e| judged.element(e).unwrap().verdict)
    };
    for ((crew, cable, ready), expected) in [
        (("two up, not solo", "north winch cable", "ready"), [Said, Said, Said]),
        (("two up", "not south, north winch cable", "ready"), [Said, Said, Said]),
        (("two up", "north winch cable, not south", "ready"), [Said, Said, Said]),
        (("two up", "north winch cable", "not not ready"), [Said, Said, Unsure]),
        (("two up", "north winch cable", "not ready"), [Said, Said, Wrong]),
        (
            ("two up", "north winch cable", "ready in a minute"),
            [Said, Said, Wrong],
        ),
        (("two up", "north winch cable", "are we ready"), [Said, Said, Unsure]),
        (("two up", "north winch cable", "ready?"), [Said, Said, Unsure]),
        (("two up", "north winch cable", "who is ready"), [Said, Said, Unsure]),
        (("maybe two up", "north winch cable", "ready"), [Unsure, Said, Said]),
        (("two up", "no, north winch cable", "ready"), [Unsure, Unsure, Said]),
        (("two up", "knot winch cable", "ready"), [Said, Verdict::Missing, Said]),
    ] {
        assert_eq!(verdicts(crew, cable, ready), expected, "{crew}, {cable}, {ready}");
    }
    let alone = typed(site, step, &vocabulary, &situation, "negative");
    assert_ne!(alone.outcome, Outcome::Pass);
    let long = typed(site, step, &vocabulary, &situation, &"not ".repeat(500));
    assert_ne!(long.outcome, Outcome::Pass);
}
