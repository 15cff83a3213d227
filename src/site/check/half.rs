//! Halves of wordings that a site need not list itself: without them they would be words that nothing explains, small talk, or a part
//! of the callsign.

use super::effects::MOST_WORDINGS;
use super::is_digit;
use crate::site::language::Sense;
use crate::site::words;
use crate::site::{Aircraft, Element, Language, Purpose, Wording, number, spelling};
use std::collections::{BTreeMap, BTreeSet};

/// So many digits in a row are no glider's name by chance.
const FIGURES: usize = 3;

/// Of "wind two five zero eight": "wind" alone, and the figures alone, unless a glider of the fleet has them in its name.
pub(super) fn numbers(
    purpose: Purpose,
    values: &[Wording],
    fleet: &[Aircraft],
    language: Language,
    incomplete: &mut Vec<String>,
) {
    // Where there is one value, what is said of it is its own business.
    if purpose.is_settled() || values.len() < 2 {
        return;
    }
    let names = |a: &Aircraft| [Some(a.registration.chars().to_owned()), a.competition_sign.clone()];
    let names: Vec<String> = fleet.iter().flat_map(names).flatten().collect();
    let whole: BTreeSet<Vec<String>> = values.iter().flat_map(Wording::texts).map(|t| words::of(t)).collect();
    let mut halves = BTreeSet::new();
    for said in &whole {
        let Some(from) = said.iter().position(|w| is_digit(w)).filter(|n| *n > 0) else {
            continue;
        };
        halves.insert(said[..from].to_vec());
        let figures: Vec<u8> = said[from..].iter().map_while(|w| number::digit(language, w)).collect();
        let written: String = figures.iter().map(|d| char::from(b'0' + d)).collect();
        if figures.len() >= FIGURES && !names.iter().any(|n| n.contains(&written)) {
            halves.insert(said[from..from + figures.len()].to_vec());
        }
    }
    let wordings = values.iter().map(|v| v.texts().count()).sum::<usize>() + incomplete.len();
    let known: Vec<Vec<String>> = incomplete.iter().map(|t| words::of(t)).collect();
    let new = halves.into_iter().filter(|h| !whole.contains(h) && !known.contains(h));
    incomplete.extend(new.map(|h| h.join(" ")).take(MOST_WORDINGS.saturating_sub(wordings)));
}

/// Of "left cable", "right cable": what tells them apart. Alone it is half a name, and no small talk ("right, blue link").
pub(super) fn cables(elements: &mut BTreeMap<String, Element>, language: Option<Language>) {
    let taken: BTreeSet<Vec<String>> = elements
        .values()
        .flat_map(|e| e.values.iter().chain(&e.other).flat_map(Wording::texts))
        .map(|t| words::of(t))
        .collect();
    let a_name = |w: &String| !is_digit(w) && spelling::letter(w).is_none();
    for element in elements.values_mut().filter(|e| e.purpose == Purpose::Cable) {
        let names: Vec<Vec<String>> = element.values.iter().map(|v| words::of(&v.taught)).collect();
        let Some((first, rest)) = names.split_first().filter(|(_, rest)| !rest.is_empty()) else {
            continue;
        };
        let same = |at: &dyn Fn(&[String], usize) -> Option<String>| {
            let all = |n: &usize| rest.iter().all(|r| at(r, *n).is_some() && at(r, *n) == at(first, *n));
            (0..first.len()).take_while(all).count()
        };
        let begin = same(&|words, n| words.get(n).cloned());
        let end = same(&|words, n| words.len().checked_sub(n + 1).map(|at| words[at].clone()));
        if begin + end == 0 {
            continue;
        }
        for name in names.iter().filter(|n| n.len() > begin + end) {
            let half = name[begin..name.len() - end].to_vec();
            // Words that do something in every call ("no", "wait") go on doing it.
            let does = language.is_some_and(|l| {
                let text = half.join(" ");
                l.senses()
                    .any(|(wording, sense)| wording == text && !matches!(sense, Sense::SmallTalk | Sense::Joins))
            });
            let text = half.join(" ");
            if !taken.contains(&half) && !does && half.iter().all(a_name) && !element.incomplete.contains(&text) {
                element.incomplete.push(text);
            }
        }
    }
}
