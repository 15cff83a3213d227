//! The rules of judging as tables: what is typed, what must come of it, at both sites. Facts of the sites are fixed by the
//! project's design; the rules' trade side is common practice, no source.

#![allow(clippy::too_many_lines, reason = "tables")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "tests"
)]

use cableside::call::{Evidence, Judgement, Outcome, Scored, Situation, Vocabulary, judge, judge::Limits, reading};
use cableside::site::language::Sense;
use cableside::site::{Callsign, Language, Site};

fn site(name: &str) -> Site {
    let dir = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("phrases")
        .join(name);
    Site::check(&cableside::folders::read_site(&dir)).unwrap()
}

fn typed(site: &Site, callsign: &str, crew: u8, cable: &str, text: &str) -> Judgement {
    let step = site.step("ready").unwrap();
    let situation = Situation::new(Callsign::parse(callsign).unwrap(), crew, cable.to_owned());
    judge(
        site,
        step,
        &situation,
        &Evidence::typed(&Vocabulary::of(site, step), text),
        &Limits::DEFAULT,
    )
}

/// What was spoken and read as this text, with nothing else as likely; the sound is well explained.
fn spoken(site: &Site, step: &str, situation: &Situation, text: &str) -> Judgement {
    let step = site.step(step).unwrap();
    let vocabulary = Vocabulary::of(site, step);
    let evidence = Evidence {
        readings: vec![Scored {
            reading: reading::read(&vocabulary, text),
            score: 0.0,
        }],
        fit: -0.4,
        seconds: 5.0,
        tokens: 20,
        ..Evidence::typed(&vocabulary, text)
    };
    judge(site, step, situation, &evidence, &Limits::DEFAULT)
}

/// What is not `said`, as "element verdict heard".
fn faults(j: &Judgement) -> Vec<String> {
    j.elements
        .iter()
        .filter(|e| e.verdict.word() != "said")
        .map(|e| {
            format!(
                "{} {} {}",
                e.element,
                e.verdict.word(),
                e.heard.as_deref().unwrap_or("-")
            )
        })
        .collect()
}

#[test]
fn larkmoor_table() {
    let site = site("larkmoor");
    let table: &[(&str, &[&str], Outcome)] = &[
        (
            "Winch, Golf Charlie Lima Romeo Mike, two up, north winch cable, ready.",
            &[],
            Outcome::Pass,
        ),
        (
            "Winch, Golf Charlie Lima Romeo Mike, two up, on the north winch cable, ready.",
            &[],
            Outcome::Pass,
        ),
        (
            "winch gulf charlie lima romeo mike dual north winch cable ready for launch",
            &[],
            Outcome::Pass,
        ),
        (
            "Ready, north winch cable, two up, Golf Charlie Lima Romeo Mike, winch",
            &[],
            Outcome::Pass,
        ),
        (
            "Golf Charlie Lima Romeo Mike, two up, north winch cable, ready.",
            &["address missing -"],
            Outcome::Pass,
        ),
        (
            "Winch, Golf Charlie Lima Mike Romeo, two up, north winch cable, ready.",
            &["callsign wrong G-CLMR"],
            Outcome::NotYet,
        ),
        (
            "Winch, Golf Charlie Lima Romeo, two up, north winch cable, ready.",
            &["callsign wrong G-CLR"],
            Outcome::NotYet,
        ),
        (
            "Winch, Golf Charlie Lima Romeo Mike Mike, two up, north winch cable, ready.",
            &["callsign wrong G-CLRMM"],
            Outcome::NotYet,
        ),
        (
            "Winch, Golf Charlie Lima Romeo Mike, solo, north winch cable, ready.",
            &["crew wrong 1"],
            Outcome::NotYet,
        ),
        (
            "Winch, Golf Charlie Lima Romeo Mike, north winch cable, ready.",
            &["crew missing -"],
            Outcome::NotYet,
        ),
        (
            "Winch, Golf Charlie Lima Romeo Mike, two up, south winch cable, ready.",
            &["cable wrong south"],
            Outcome::NotYet,
        ),
        (
            "Winch, Golf Charlie Lima Romeo Mike, two up, winch cable, ready.",
            &["cable missing -"],
            Outcome::NotYet,
        ),
        (
            "Winch, Golf Charlie Lima Romeo Mike, two up, north cable, ready.",
            &["method missing cable"],
            Outcome::NotYet,
        ),
        (
            "Winch, Golf Charlie Lima Romeo Mike, two up, north aerotow, ready.",
            &["method wrong aerotow"],
            Outcome::NotYet,
        ),
        (
            "Winch, Golf Charlie Lima Romeo Mike, two up, north winch cable, not ready.",
            &["ready wrong not ready"],
            Outcome::NotYet,
        ),
        (
            "Winch, Golf Charlie Lima Romeo Mike, two up, north winch cable.",
            &["ready missing -"],
            Outcome::NotYet,
        ),
        (
            "Golf Charlie Lima Romeo Mike",
            &[
                "address missing -",
                "crew missing -",
                "cable missing -",
                "method missing -",
                "ready missing -",
            ],
            Outcome::NotYet,
        ),
        // A correction counts, two different values without one are wrong.
        (
            "Winch, Golf Charlie Lima Romeo Mike, two up, south, correction, north winch cable, ready",
            &[],
            Outcome::Pass,
        ),
        (
            "Winch, Golf Charlie Lima Romeo Mike, two up, south north winch cable, ready",
            &["cable wrong south"],
            Outcome::NotYet,
        ),
        (
            "Winch, Golf Charlie, Golf Charlie Lima Romeo Mike, two up, north winch cable, ready",
            &[],
            Outcome::Pass,
        ),
        (
            "er Winch um Golf Charlie Lima Romeo Mike, two up, north winch cable, ready please",
            &[],
            Outcome::Pass,
        ),
    ];
    for (text, expected, outcome) in table {
        let j = typed(&site, "G-CLRM", 2, "north", text);
        assert_eq!(faults(&j), *expected, "{text}");
        assert_eq!(j.outcome, *outcome, "{text}");
    }
    // A callsign said twice is that callsign; four equal digits are no repetition.
    let twice = typed(
        &site,
        "G-CLRM",
        2,
        "north",
        "Golf Charlie Lima Romeo Mike Golf Charlie Lima Romeo Mike",
    );
    assert_eq!(twice.element("callsign").unwrap().verdict.word(), "said");
    let five = typed(&site, "D-5555", 2, "north", "Delta five five five five");
    assert_eq!(five.element("callsign").unwrap().verdict.word(), "said");
    let j = typed(
        &site,
        "D-4761",
        1,
        "north",
        "Winch, Delta forty-seven sixty-one, solo, north winch cable, ready",
    );
    assert_eq!(j.outcome, Outcome::Pass);
    assert!(
        j.advice.iter().any(|a| a.to_string().contains("one by one")),
        "{:?}",
        j.advice
    );
    // "two up" is a crew, not a sixth character.
    let j = typed(&site, "D-4761", 2, "north", "Winch D4761 2 up north winch cable ready");
    assert_eq!(j.outcome, Outcome::Pass, "{:?}", faults(&j));
    let j = typed(&site, "D-4761", 2, "north", "Winch D4761 2 north winch cable ready");
    assert_eq!(faults(&j), ["callsign wrong D-47612", "crew missing -"]);
    assert_eq!(typed(&site, "D-4761", 2, "north", " , ").outcome, Outcome::NothingHeard);
}

#[test]
fn erlengrund_table() {
    let site = site("erlengrund");
    let table: &[(&str, &[&str], Outcome)] = &[
        (
            "Winde, Delta drei acht sechs zwo, doppelsitzig, Windenseil Wald, startklar.",
            &[],
            Outcome::Pass,
        ),
        (
            "Winde, Delta drei acht sechs zwei, doppelsitzig, am Windenseil Wald, abflugbereit.",
            &[],
            Outcome::Pass,
        ),
        (
            "Winde, Delta drei acht zwo sechs, doppelsitzig, Windenseil Wald, startklar.",
            &["callsign wrong D-3826"],
            Outcome::NotYet,
        ),
        (
            "Winde, Delta drei acht sechs zwo, einsitzig, Windenseil Wald, startklar.",
            &["crew wrong 1"],
            Outcome::NotYet,
        ),
        (
            "Winde, Delta drei acht sechs zwo, doppelsitzig, Windenseil See, startklar.",
            &["cable wrong see"],
            Outcome::NotYet,
        ),
        (
            "Winde, Delta drei acht sechs zwo, doppelsitzig, Windenseil, startklar.",
            &["cable missing -"],
            Outcome::NotYet,
        ),
        (
            "Winde, Delta drei acht sechs zwo, doppelsitzig, Seil Wald, startklar.",
            &["method missing seil"],
            Outcome::NotYet,
        ),
        (
            "Winde, Delta drei acht sechs zwo, am Seil, startklar.",
            &["crew missing -", "cable missing -", "method missing seil"],
            Outcome::NotYet,
        ),
        (
            "Winde, Delta drei acht sechs zwo, doppelsitzig, Windenseil Wald, nicht startklar.",
            &["ready wrong nicht startklar"],
            Outcome::NotYet,
        ),
        (
            "Winde, Delta drei acht sechs zwo, einsitzig, Korrektur, doppelsitzig, Windenseil Wald, startklar.",
            &[],
            Outcome::Pass,
        ),
        (
            "Winde, Delta achtunddreißig zweiundsechzig, doppelsitzig, Windenseil Wald, startklar.",
            &[],
            Outcome::Pass,
        ),
    ];
    for (text, expected, outcome) in table {
        let j = typed(&site, "D-3862", 2, "wald", text);
        assert_eq!(faults(&j), *expected, "{text}");
        assert_eq!(j.outcome, *outcome, "{text}");
    }
}

/// Evidence that does not decide an element leaves it unsure: it neither passes nor fails, and the whole is "say again".
#[test]
fn what_the_sound_does_not_decide_is_unsure() {
    let site = site("larkmoor");
    let step = site.step("ready").unwrap();
    let vocabulary = Vocabulary::of(&site, step);
    let situation = Situation::new(Callsign::parse("D-4761").unwrap(), 1, "north");
    let with = |north: f32, south: f32, fit: f32, foreign: f32| {
        let call = |cable: &str| {
            reading::read(
                &vocabulary,
                &format!("winch delta four seven six one solo {cable} winch cable ready"),
            )
        };
        let mut readings = vec![
            Scored {
                reading: call("north"),
                score: north,
            },
            Scored {
                reading: call("south"),
                score: south,
            },
        ];
        readings.sort_by(|a, b| b.score.total_cmp(&a.score));
        let evidence = Evidence {
            readings,
            fit,
            foreign,
            seconds: 5.0,
            tokens: 20,
            ..Evidence::typed(&vocabulary, "winch")
        };
        judge(&site, step, &situation, &evidence, &Limits::DEFAULT)
    };
    let cable = |j: &Judgement| j.element("cable").unwrap().verdict.word();
    assert_eq!(cable(&with(0.0, -9.0, -0.4, 0.0)), "said");
    let close = with(0.0, -0.5, -0.4, 0.0);
    assert_eq!((cable(&close), close.outcome), ("unsure", Outcome::SayAgain));
    assert_eq!(close.element("crew").unwrap().verdict.word(), "said");
    assert_eq!(cable(&with(-0.5, 0.0, -0.4, 0.0)), "unsure");
    let wrong = with(-9.0, 0.0, -0.4, 0.0);
    assert_eq!((cable(&wrong), wrong.outcome), ("wrong", Outcome::NotYet));
    // Sound that the words of the call do not explain decides nothing at all, neither for nor against.
    for doubtful in [
        with(0.0, -9.0, -4.0, 0.0),
        with(-9.0, 0.0, -4.0, 0.0),
        with(0.0, -9.0, -0.4, 9.0),
    ] {
        assert_eq!(doubtful.outcome, Outcome::SayAgain);
        assert!(doubtful.elements.iter().all(|e| e.verdict.word() == "unsure"));
        assert_eq!(doubtful.score, None);
    }
}

/// A word that no call of the site has may be what is missing, badly heard, and it leaves open what it stands beside, unless a
/// mark parts it from that. It changes nothing else.
#[test]
fn a_strange_word_decides_nothing_about_what_is_missing() {
    let site = site("larkmoor");
    let situation = Situation::new(Callsign::parse("D-4761").unwrap(), 1, "north");
    let verdicts = |text: &str| faults(&spoken(&site, "ready", &situation, text));
    let right = "winch delta four seven six one solo north winch cable ready";
    assert_eq!(verdicts(right), Vec::<String>::new());
    assert_eq!(verdicts(&format!("lovely day {right}")), Vec::<String>::new());
    assert_eq!(
        verdicts("winch delta four seven six one, jewel, north winch cable ready"),
        ["crew unsure -"]
    );
    assert_eq!(
        verdicts("winch delta four seven six one jewel north winch cable ready"),
        ["callsign unsure D-4761", "crew unsure -", "cable unsure north"]
    );
    assert_eq!(
        verdicts("winch delta four seven six one solo, north winch cable, tidily ready"),
        ["ready unsure ready"]
    );
    // What sounds like another cable may be one, said beside the right one.
    assert_eq!(
        verdicts("winch delta four seven six one solo, mouth north winch cable ready"),
        ["cable unsure north"]
    );
    let typed = typed(
        &site,
        "D-4761",
        1,
        "north",
        "winch delta four seven six one, jewel, north winch cable ready",
    );
    assert_eq!(faults(&typed), ["crew missing -"]);
}

/// A cable or a launch method of another site is another value, not nothing.
#[test]
fn values_of_other_sites_are_wrong_here() {
    let site = site("larkmoor");
    for (text, fault) in [
        (
            "winch delta four seven six one solo middle winch cable ready",
            "cable wrong middle",
        ),
        (
            "winch delta four seven six one solo east winch cable ready",
            "cable wrong east",
        ),
        (
            "winch delta four seven six one solo north winch cable aerotow ready",
            "method wrong aerotow",
        ),
    ] {
        assert_eq!(faults(&typed(&site, "D-4761", 1, "north", text)), [fault], "{text}");
    }
}

/// Words that take a call back leave open what was said before them; a correction that nothing follows does too. Before the
/// call, or in a stop, they change nothing.
#[test]
fn what_is_taken_back_is_asked_again() {
    let larkmoor = site("larkmoor");
    let right = "winch delta four seven six one solo north winch cable ready";
    let judged = |text: &str| typed(&larkmoor, "D-4761", 1, "north", text);
    let takes_back = larkmoor.language.of_sense(Sense::TakesBack);
    let slips = larkmoor.language.of_sense(Sense::Slips);
    let corrects = larkmoor.language.of_sense(Sense::Corrects);
    for behind in takes_back.chain(slips).chain(corrects) {
        let j = judged(&format!("{right} {behind}"));
        assert_eq!(j.outcome, Outcome::SayAgain, "{behind}");
        assert_eq!(faults(&j).len(), 6, "{behind}");
        let reason = j.elements[5].reason.text(Language::ENGLISH);
        assert!(reason.contains(behind), "{reason}");
        assert_eq!(judged(&format!("{behind} {right}")).outcome, Outcome::Pass, "{behind}");
    }
    let table: &[(&str, &[&str])] = &[
        // Informally corrected: neither value is known. What is wrong all the same stays wrong.
        (
            "winch delta four seven six one two up sorry solo north winch cable ready",
            &["address unsure winch", "callsign unsure D-4761", "crew unsure 2"],
        ),
        // Where marks say so, a slip takes back no more than stands right before it.
        (
            "winch, delta four seven six one, two up, sorry, solo, north winch cable, ready",
            &["crew unsure 2"],
        ),
        // Where no mark says what a denial belongs to, neither side of it is known.
        (
            "winch delta four seven six one two up no north winch cable ready",
            &["crew unsure 2", "cable wrong no north"],
        ),
        (
            "winch delta four seven six one, two up, no, north winch cable, ready",
            &["crew unsure 2", "cable unsure north"],
        ),
        (
            "winch delta four seven six one solo north winch cable, not ready",
            &["ready wrong not ready"],
        ),
        (
            "winch delta four seven six one solo i say again solo north winch cable ready over",
            &[],
        ),
    ];
    for (text, expected) in table {
        assert_eq!(faults(&judged(text)), *expected, "{text}");
    }
    let stop = larkmoor.step("stop").unwrap();
    let situation = Situation::new(Callsign::parse("D-4761").unwrap(), 1, "north");
    let evidence = Evidence::typed(&Vocabulary::of(&larkmoor, stop), "stop no wait");
    assert_eq!(
        judge(&larkmoor, stop, &situation, &evidence, &Limits::DEFAULT).outcome,
        Outcome::Pass
    );

    let erlengrund = site("erlengrund");
    let right = "winde delta drei acht sechs zwo einsitzig windenseil wald startklar";
    let takes_back = erlengrund.language.of_sense(Sense::TakesBack);
    for behind in takes_back.chain(erlengrund.language.of_sense(Sense::Corrects)) {
        let j = typed(&erlengrund, "D-3862", 1, "wald", &format!("{right} {behind}"));
        assert_eq!(j.outcome, Outcome::SayAgain, "{behind}");
    }
}

/// Spoken words that nothing explains, at the end, may take back the call.
#[test]
fn strange_words_at_the_end_leave_the_call_open() {
    let site = site("larkmoor");
    let situation = Situation::new(Callsign::parse("D-4761").unwrap(), 1, "north");
    let outcome = |text: &str| spoken(&site, "ready", &situation, text).outcome;
    let right = "winch delta four seven six one solo north winch cable ready";
    assert_eq!(outcome(right), Outcome::Pass);
    assert_eq!(outcome(&format!("{right} emergency")), Outcome::SayAgain);
    assert_eq!(outcome(&format!("lovely {right}")), Outcome::Pass);
}

/// Where the name of a cable belongs, "nicht" may be that name: neither is known.
#[test]
fn a_denial_in_the_place_of_a_value_is_not_certain() {
    let site = site("erlengrund");
    let situation = Situation::new(Callsign::parse("D-3862").unwrap(), 1, "wald");
    let spoken = |text: &str| faults(&spoken(&site, "ready", &situation, text));
    assert_eq!(
        spoken("winde delta drei acht sechs zwo einsitzig windenseil nicht startklar"),
        ["cable unsure -", "ready unsure nicht startklar"]
    );
    assert_eq!(
        spoken("winde delta drei acht sechs zwo einsitzig windenseil wald, nicht startklar"),
        ["ready wrong nicht startklar"]
    );
    assert_eq!(
        spoken("winde nicht startklar"),
        [
            "callsign missing -",
            "crew missing -",
            "cable missing -",
            "method missing -",
            "ready wrong nicht startklar"
        ]
    );
}

/// Where a stop is to be called, "Stopp" with half a word behind it may be another word.
#[test]
fn half_a_word_is_no_stop_in_the_stop_drill() {
    let site = site("erlengrund");
    let situation = Situation::new(Callsign::parse("D-3862").unwrap(), 1, "wald");
    let outcome = |text: &str| spoken(&site, "stop", &situation, text).outcome;
    assert_eq!(outcome("stopp"), Outcome::Pass);
    assert_eq!(outcome("stopp stopp stopp"), Outcome::Pass);
    assert_eq!(outcome("stopp klar"), Outcome::SayAgain);
}
