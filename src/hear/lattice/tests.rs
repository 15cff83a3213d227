//! Tests of what stands in `../lattice.rs`.

use super::*;
use crate::call::words;
use crate::site::{Site, bundled};

/// Does the lattice of a site's ready call hold these words as a whole call?
fn holds(name: &str, text: &str) -> bool {
    holds_where_written(name, "ready", &[], text)
}

/// Does the lattice of a step hold these words as a whole call, where the speech model wrote `heard`?
fn holds_where_written(name: &str, step: &str, heard: &[String], text: &str) -> bool {
    let site = Site::check(&bundled::files(name).unwrap()).unwrap();
    let lattice = Lattice::new(&Vocabulary::of(&site, site.step(step).unwrap()), heard, false);
    let mut states = lattice.start();
    for word in words::of(text) {
        // Several may be written the same way.
        let next = lattice.next(&states);
        let all = next.into_iter().filter(|(w, _)| lattice.word(*w) == word);
        states = States(all.flat_map(|(_, s)| s.0).collect());
    }
    lattice.may_end(&states)
}

#[test]
fn right_faulty_and_odd_calls_are_on_equal_terms() {
    for text in [
        "winch golf charlie lima romeo mike two up north winch cable ready",
        "winch golf charlie lima romeo mike two up on the north winch cable ready",
        "ready north winch cable two up golf charlie lima romeo mike winch",
        "winch delta four seven six one north cable not ready",
        "winch delta forty seven sixty one solo aerotow",
        "golf charlie lima",
        "golf charlie lima golf charlie lima romeo mike",
        "winch delta four seven six one two up south correction north winch cable ready",
        "winch delta four seven six one solo two up south winch cable north winch cable ready",
        "winch winch delta four seven six one solo solo north winch cable ready",
    ] {
        assert!(holds("larkmoor", text), "{text}");
    }
    assert!(holds(
        "erlengrund",
        "winde delta drei acht sechs zwei zweisitzig am windenseil wald abflugbereit"
    ));
}

#[test]
fn a_word_of_a_wording_may_stand_alone_where_it_was_written() {
    let heard = words::of("winde delta fünf fünf vier null ich kann nicht ausklinken");
    let call = "winde delta fünf fünf vier null ich kann nicht ausklinken";
    assert!(holds_where_written("erlengrund", "stuck", &heard, call));
    assert!(!holds_where_written("erlengrund", "stuck", &[], call));
}

#[test]
fn a_word_written_twice_is_one_word() {
    let site = Site::check(&bundled::files("erlengrund").unwrap()).unwrap();
    let vocabulary = Vocabulary::of(&site, site.step("stuck").unwrap());
    let heard = words::of("winde ich kann seil ausklinken hurtig");
    let count = |heard: &[String]| Lattice::new(&vocabulary, heard, true).phrases.len();
    assert_eq!(
        count(&[heard.as_slice(), &[String::new()], &heard].concat()),
        count(&heard)
    );
    assert!(count(&heard) > count(&[]));
}

#[test]
fn what_was_denied_may_be_said_again() {
    for text in [
        "winde delta fünf fünf vier null einsitzig windenseil wald nein windenseil see startklar",
        "winde delta fünf fünf vier null einsitzig nicht windenseil wald windenseil see startklar",
    ] {
        assert!(holds("erlengrund", text), "{text}");
    }
    let again = "winde delta fünf fünf vier null einsitzig windenseil wald startklar einsitzig";
    assert!(!holds("erlengrund", again));
}

#[test]
fn a_compound_that_begins_a_call_may_be_two_words() {
    let site = Site::check(&bundled::files("erlengrund").unwrap()).unwrap();
    let lattice = Lattice::new(&Vocabulary::of(&site, site.step("ready").unwrap()), &[], false);
    let ids = |text: &str| -> Vec<Word> {
        let id = |w: &String| lattice.words.iter().position(|l| l == w).unwrap() as Word;
        words::of(text).iter().map(id).collect()
    };
    assert_eq!(
        lattice.apart(&ids("windenseil see startklar")),
        Some(ids("winde seil see startklar"))
    );
    for text in [
        "windenseil see startklar winde",
        "winde windenseil see",
        "startklar",
        "",
    ] {
        assert_eq!(lattice.apart(&ids(text)), None, "{text}");
    }
}

#[test]
fn spelled_characters_are_counted_from_where_they_begin_again() {
    for (name, text, n) in [
        ("larkmoor", "winch delta four seven six one two up", 6),
        ("larkmoor", "golf charlie lima golf charlie lima romeo mike", 5),
        ("larkmoor", "winch delta forty seven sixty one solo", 5),
        ("larkmoor", "solo", 0),
        (
            "erlengrund",
            "winde delta drei acht zwo sechs eins siebzig windenseil",
            8,
        ),
        ("erlengrund", "drei acht zwo sechs drei acht zwo sechs", 0),
    ] {
        let site = Site::check(&bundled::files(name).unwrap()).unwrap();
        let lattice = Lattice::new(&Vocabulary::of(&site, site.step("ready").unwrap()), &[], false);
        let id = |w: &String| lattice.words.iter().position(|l| l == w).unwrap() as Word;
        let words: Vec<Word> = words::of(text).iter().map(id).collect();
        assert_eq!(lattice.longest_spelled(&words), n, "{text}");
    }
}

#[test]
fn what_no_call_is_like_is_not_held() {
    for text in [
        "",
        "golf",
        "on the",
        "two",
        "ready ready ready",
        "ready solo ready",
        "north south north",
        "ready correction the",
        "windenseil",
    ] {
        assert!(!holds("larkmoor", text), "{text}");
    }
}

#[test]
fn two_characters_beside_a_callsign_are_its_beginning_or_its_end() {
    let site = Site::check(&bundled::files("larkmoor").unwrap()).unwrap();
    let lattice = Lattice::new(&Vocabulary::of(&site, site.step("ready").unwrap()), &[], false);
    let stray = |text: &str| {
        let words: Vec<Word> = text
            .split(' ')
            .map(|w| lattice.words.iter().position(|l| l == w).unwrap() as Word)
            .collect();
        lattice.stray_characters(&words)
    };
    assert_eq!(stray("winch golf charlie lima romeo mike ready two golf"), 1);
    assert_eq!(stray("winch golf charlie lima romeo mike ready romeo mike"), 0);
    assert_eq!(stray("golf charlie er golf charlie lima romeo mike ready"), 0);
    assert_eq!(stray("two up golf charlie lima romeo mike ready"), 0);
    assert_eq!(stray("romeo mike two up ready"), 0);
}
