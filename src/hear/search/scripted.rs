//! The search without a speech model: a decoder that weighs tokens by a script.

use super::{Decoder, HearError, Odds, Sound, Token, Width, search};
use crate::call::{Vocabulary, words};
use crate::hear::lattice::Lattice;
use crate::hear::script::Script;
use crate::site::{Site, bundled};
use std::collections::HashMap;
use std::sync::Arc;

/// What the decoder makes of a token that was not spoken, and of one that was (nats).
const OTHER: f32 = -9.0;
const SPOKEN: f32 = -0.05;

/// A decoder that hears one token after another, with rivals where the sound is like another word. Each form of a word is one token.
struct Scripted {
    /// Log-probabilities at each place of the text; the end comes behind the last.
    places: Vec<HashMap<Token, f32>>,
    tokens: Arc<[Token]>,
    known: HashMap<Vec<Token>, Arc<Odds>>,
    work: f32,
}

const END: Token = 0;

impl Decoder for Scripted {
    fn weigh(&mut self, texts: &[Vec<Token>]) -> Result<(), HearError> {
        self.work += 1.0 + 0.1 * (texts.len() as f32 - 1.0);
        for text in texts {
            for length in 0..=text.len() {
                let heard = self.places.get(length);
                let weight = |t: &Token| match heard {
                    Some(place) => place.get(t).copied().unwrap_or(OTHER),
                    None if *t == END => SPOKEN,
                    None => OTHER,
                };
                let weights: Vec<f32> = self.tokens.iter().map(weight).collect();
                let odds = Odds {
                    tokens: Arc::clone(&self.tokens),
                    weights,
                    best: (END, OTHER),
                    looks: Vec::new(),
                };
                self.known.insert(text[..length].to_vec(), Arc::new(odds));
            }
        }
        Ok(())
    }

    fn known(&self, text: &[Token]) -> Option<Arc<Odds>> {
        self.known.get(text).cloned()
    }

    fn end(&self) -> Token {
        END
    }

    fn work(&self) -> f32 {
        self.work
    }
}

/// What a search heard, best first, and whether its limit ended it. `spoken` are the words in their order, each with its rivals and how much
/// less likely those are; `free` is what was written without the lattice.
fn heard(spoken: &[&[(&str, f32)]], free: &str, limit: f32) -> (Vec<(String, f32)>, bool) {
    heard_as(spoken, free, false, limit)
}

/// The same; `sure`: the model is sure of what it wrote, which is a path of the search then.
fn heard_as(spoken: &[&[(&str, f32)]], free: &str, sure: bool, limit: f32) -> (Vec<(String, f32)>, bool) {
    let site = Site::check(&bundled::files("larkmoor").unwrap()).unwrap();
    let vocabulary = Vocabulary::of(&site, site.step("ready").unwrap());
    let lattice = Lattice::new(&vocabulary, &words::of(free), sure);
    let ids = std::cell::RefCell::new(HashMap::new());
    let id = |text: &str| {
        let mut ids = ids.borrow_mut();
        let new = Token::try_from(ids.len()).unwrap() + 1;
        *ids.entry(text.to_owned()).or_insert(new)
    };
    let script = Script::new(&lattice, sure, |text| vec![id(text)]);
    let place = |words: &&[(&str, f32)]| words.iter().map(|(w, p)| (id(&format!(" {w}")), SPOKEN + p)).collect();
    let places = spoken.iter().map(place).collect();
    let mut tokens = script.tokens();
    tokens.push(END);
    tokens.sort_unstable();
    tokens.dedup();
    let mut decoder = Scripted {
        places,
        tokens: tokens.into(),
        known: HashMap::new(),
        work: 0.0,
    };
    let written: Vec<Token> = if sure {
        free.split(' ').map(|w| id(&format!(" {w}"))).collect()
    } else {
        Vec::new()
    };
    if sure {
        decoder.weigh(std::slice::from_ref(&written)).unwrap();
    }
    let text_of = |tokens: &[Token]| {
        let ids = ids.borrow();
        let of = |t: &Token| {
            ids.iter()
                .find(|(_, id)| *id == t)
                .map_or("", |(text, _)| text.as_str())
        };
        tokens.iter().map(of).collect::<String>()
    };
    let found = search(
        &mut decoder,
        &lattice,
        &script,
        &Width::NARROW,
        limit,
        &Sound {
            seconds: 9.0,
            written: &written,
            text: &text_of,
        },
        |words| crate::hear::evidence::length_weight(&lattice, words, 0.0),
    )
    .unwrap();
    let text = |words: &[u16]| words.iter().map(|w| lattice.word(*w)).collect::<Vec<_>>().join(" ");
    (
        found.paths.iter().map(|p| (text(&p.words), p.score)).collect(),
        found.cut,
    )
}

const CALL: &str = "winch delta four seven six one two up north winch cable ready";

fn plainly(text: &str) -> Vec<Vec<(&str, f32)>> {
    text.split(' ').map(|w| vec![(w, 0.0)]).collect()
}

fn lent<'a>(spoken: &'a [Vec<(&'a str, f32)>]) -> Vec<&'a [(&'a str, f32)]> {
    spoken.iter().map(Vec::as_slice).collect()
}

#[test]
fn what_was_spoken_is_found_and_what_sounds_like_it_stands_beside_it() {
    let mut spoken = plainly(CALL);
    spoken[8].push(("south", -1.5));
    let (paths, cut) = heard(&lent(&spoken), CALL, 500.0);
    assert!(!cut);
    assert_eq!(paths[0].0, CALL);
    let south = paths
        .iter()
        .find(|(text, _)| *text == CALL.replace("north", "south"))
        .unwrap();
    assert!((paths[0].1 - south.1 - 1.5).abs() < 0.2, "{paths:?}");
}

#[test]
fn a_word_that_the_model_wrote_is_a_word_of_this_call_and_of_no_other() {
    let text = CALL.replace("ready", "umbrella ready");
    let (with, _) = heard(&lent(&plainly(&text)), &text, 500.0);
    assert_eq!(with[0].0, text);
    let (without, _) = heard(&lent(&plainly(&text)), CALL, 500.0);
    assert!(without.iter().all(|(t, _)| !t.contains("umbrella")), "{without:?}");
}

#[test]
fn the_limit_of_work_ends_a_search_and_says_so() {
    let (_, cut) = heard(&lent(&plainly(CALL)), CALL, 5.0);
    assert!(cut);
}

#[test]
fn the_same_sound_is_heard_the_same_way() {
    let mut spoken = plainly(CALL);
    spoken[2].push(("five", -0.2));
    spoken[4].push(("nine", -0.2));
    let first = heard(&lent(&spoken), CALL, 500.0);
    for _ in 0..20 {
        assert_eq!(heard(&lent(&spoken), CALL, 500.0), first);
    }
}

#[test]
fn where_the_model_is_sure_what_is_said_beside_the_call_is_heard_as_such() {
    for text in [
        "winch delta four seven six one we are two up for a winch launch north winch cable ready",
        "winch delta four seven six one solo this afternoon on the north winch cable and we are ready to go",
    ] {
        let (paths, _) = heard_as(&lent(&plainly(text)), text, true, 500.0);
        assert_eq!(paths[0].0, text, "{paths:?}");
    }
}

#[test]
fn what_the_model_wrote_is_a_path_even_without_any_work() {
    let text = "winch delta four seven six one two up my instructors in the back on the western winch cable ready";
    let (paths, cut) = heard_as(&lent(&plainly(text)), text, true, 0.0);
    assert!(cut);
    // Nobody hears an apostrophe.
    assert_eq!(paths[0].0, text.replace("instructors", "instructor's"), "{paths:?}");
}
