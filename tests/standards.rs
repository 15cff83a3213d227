//! Checks against published standards and reference packages: spelling alphabet, digits, callsigns, word error rate.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "tests"
)]

use cableside::call::words;
use cableside::site::{Callsign, Language, number, spelling};

/// SERA.14020, Table S14-2 (Regulation (EU) 923/2012), the same words as ICAO Annex 10 Vol II 5.2.1.3.
const SERA: [&str; 26] = [
    "Alfa", "Bravo", "Charlie", "Delta", "Echo", "Foxtrot", "Golf", "Hotel", "India", "Juliett", "Kilo", "Lima",
    "Mike", "November", "Oscar", "Papa", "Quebec", "Romeo", "Sierra", "Tango", "Uniform", "Victor", "Whiskey", "X-ray",
    "Yankee", "Zulu",
];

#[test]
fn the_alphabet_is_that_of_sera_14020() {
    for (letter, standard) in ('A'..='Z').zip(SERA) {
        let ours = spelling::word(letter).unwrap();
        assert_eq!(vec![ours.to_owned()], words::of(standard), "{letter}");
        assert_eq!(spelling::letter(ours), Some(letter));
    }
}

/// Reference: the `nato` crate from the registry, an implementation by others. It spells Alfa and Juliett the common
/// way, which the table here must understand too.
#[test]
fn the_alphabet_agrees_with_a_reference_package() {
    for letter in 'a'..='z' {
        let theirs = nato::translate(letter.to_string()).expect("one letter");
        let word = words::of(&format!("{:?}", theirs[0])).concat();
        assert_eq!(spelling::letter(&word), Some(letter.to_ascii_uppercase()), "{theirs:?}");
    }
}

/// CAP 413 Ed. 20, section 1.4, Table 2: the pronunciations as a recogniser may write them, and "niner".
#[test]
fn digits_are_those_of_cap_413() {
    let table = [
        ("zero", 0),
        ("wun", 1),
        ("too", 2),
        ("tree", 3),
        ("fower", 4),
        ("fife", 5),
        ("six", 6),
        ("seven", 7),
        ("ait", 8),
        ("niner", 9),
    ];
    for (word, digit) in table {
        assert_eq!(number::digit(Language::ENGLISH, word), Some(digit), "{word}");
    }
    // Common practice, no source.
    for (digit, word) in (0..).zip([
        "null", "eins", "zwo", "drei", "vier", "fünf", "sechs", "sieben", "acht", "neun",
    ]) {
        assert_eq!(number::digit(Language::GERMAN, word), Some(digit), "{word}");
    }
}

/// ICAO Annex 10 Vol II 5.2.1.4.1: callsigns digit by digit; CAP 413 Ed. 20 Table 9 gives the registrations.
#[test]
fn callsigns_are_spelled_character_by_character() {
    for (written, spoken) in [
        ("G-BFRM", "golf bravo foxtrot romeo mike"),
        ("N31029", "november three one zero two nine"),
        ("N753DA", "november seven five three delta alfa"),
        ("G-ABCD", "golf alfa bravo charlie delta"),
    ] {
        let c = Callsign::parse(written).unwrap();
        assert_eq!(c.spoken(Language::ENGLISH), spoken);
        assert_eq!(c.to_string(), written);
    }
}

/// Word error rate by the word-level Levenshtein distance of `strsim`, compared with jiwer (PyPI), the reference
/// implementation. scripts/test provides the Python that has it.
#[test]
fn word_error_rate_agrees_with_jiwer() {
    let python = std::env::var("CABLESIDE_JIWER").expect(
        "CABLESIDE_JIWER is not set: run scripts/test, which obtains jiwer, or point it at a Python that has it",
    );
    let pairs = [
        (
            "winch golf charlie lima romeo mike two up north winch cable ready",
            "winch golf charlie lima micromio two up north winch cable ready",
        ),
        (
            "winch delta four seven six one solo south winch cable ready",
            "which delta 4 7 6 1 so low south wind cable",
        ),
        (
            "winde delta drei acht sechs zwo doppelsitzig windenseil wald startklar",
            "windel delta fünf und fühmer",
        ),
        ("stop stop stop", "stop"),
    ];
    for (truth, heard) in pairs {
        let (t, h) = (words::of(truth), words::of(heard));
        let ours = strsim::generic_levenshtein(&t, &h) as f64 / t.len() as f64;
        let out = std::process::Command::new(&python)
            .args([
                "-c",
                "import sys, jiwer; print(jiwer.wer(sys.argv[1], sys.argv[2]))",
                &t.join(" "),
                &h.join(" "),
            ])
            .output()
            .unwrap();
        let theirs: f64 = String::from_utf8_lossy(&out.stdout).trim().parse().unwrap_or_else(|_| {
            panic!("jiwer gave no number: {}", String::from_utf8_lossy(&out.stderr));
        });
        assert!(
            (ours - theirs).abs() < 1e-9,
            "{truth} / {heard}: {ours} against {theirs}"
        );
    }
}
