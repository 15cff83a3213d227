//! Every call that can be dealt at a site, and the items in it.

use super::items::{self, Item};
use super::session::expected_seconds;
use crate::call::Situation;
use crate::site::{Element, Site, Step};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Can a step be practised alone? Not what is done by hand: it has no words.
pub fn can_be_practised(step: &Step) -> bool {
    step.by.has_words() && !step.elements.is_empty() && !step.critical.is_empty()
}

/// A call with its right values, in all situations that ask for it.
#[derive(Debug, Clone)]
pub(super) struct Card {
    /// Index of the step.
    pub step: usize,
    pub right: BTreeMap<String, String>,
    /// Never empty.
    pub situations: Vec<Situation>,
    /// Indices of the items.
    pub items: Vec<usize>,
    pub seconds: f32,
}

/// All calls of some steps, all items in them.
#[derive(Debug, Clone)]
pub(super) struct Deck {
    pub site: Arc<Site>,
    pub steps: Vec<Step>,
    pub cards: Vec<Card>,
    /// In the order in which they became known; indices stay.
    pub items: Vec<Item>,
    index: BTreeMap<Item, usize>,
    open: BTreeMap<String, BTreeSet<String>>,
    pairs: BTreeSet<Item>,
}

impl Deck {
    /// The calls of these steps; those that cannot be practised alone are left out.
    pub fn new(site: &Arc<Site>, steps: &[&str]) -> Self {
        let open = items::open_values(site);
        let mut deck = Self {
            site: site.clone(),
            steps: Vec::new(),
            cards: Vec::new(),
            items: Vec::new(),
            index: BTreeMap::new(),
            pairs: items::known_pairs(site, &open),
            open,
        };
        for step in site
            .steps
            .iter()
            .filter(|s| steps.contains(&s.id.as_str()) && can_be_practised(s))
        {
            let number = deck.steps.len();
            let mut by_values: BTreeMap<BTreeMap<String, String>, Vec<Situation>> = BTreeMap::new();
            for situation in situations(site, step) {
                by_values
                    .entry(situation.values(site, step))
                    .or_default()
                    .push(situation);
            }
            for (right, situations) in by_values {
                let Some(seconds) = situations.first().map(|s| expected_seconds(site, step, s)) else {
                    continue;
                };
                deck.cards.push(Card {
                    step: number,
                    right,
                    situations,
                    items: Vec::new(),
                    seconds,
                });
            }
            deck.steps.push(step.clone());
        }
        deck.fill();
        deck
    }

    /// The items in a call of any step; new ones get an index. A visitor's callsign counts for elements and pattern.
    pub fn items_in(&mut self, step: &Step, situation: &Situation, right: &BTreeMap<String, String>) -> Vec<usize> {
        let items = items::items_in(step, situation, right, &self.open, &self.pairs);
        items.into_iter().map(|i| self.number(i)).collect()
    }

    /// Remember a mix-up: from now on the pair is an item of every call with one of the two.
    pub fn mixed_up(&mut self, past: &super::past::Past, right: &BTreeMap<String, String>) {
        let before = self.pairs.len();
        self.pairs.extend(items::mixed_up(past, right, &self.open));
        if self.pairs.len() > before {
            self.fill();
        }
    }

    fn number(&mut self, item: Item) -> usize {
        if let Some(n) = self.index.get(&item) {
            return *n;
        }
        let n = self.items.len();
        self.items.push(item.clone());
        self.index.insert(item, n);
        n
    }

    fn fill(&mut self) {
        let mut cards = std::mem::take(&mut self.cards);
        for card in &mut cards {
            let items = items::items_in(
                &self.steps[card.step],
                &card.situations[0],
                &card.right,
                &self.open,
                &self.pairs,
            );
            card.items = items.into_iter().map(|i| self.number(i)).collect();
        }
        self.cards = cards;
    }
}

/// Every situation of a step: aircraft, crew, cable, and where the call itself is the choice, each choice.
fn situations(site: &Site, step: &Step) -> Vec<Situation> {
    let mut all: Vec<Situation> = site
        .fleet
        .iter()
        .flat_map(|a| (1..=a.seats).flat_map(move |crew| site.cables.iter().map(move |c| (a, crew, c))))
        .map(|(a, crew, c)| Situation::new(a.registration.clone(), crew, c.id.clone()))
        .filter(|s| s.check(site).is_ok())
        .collect();
    let by_direction = |e: &String| site.elements.get(e).is_some_and(Element::by_direction);
    if site.directions.len() > 1 && step.elements.iter().any(by_direction) {
        let of = |s: &Situation| {
            let in_direction = |d: &crate::site::Direction| Situation {
                direction: Some(d.id.clone()),
                ..s.clone()
            };
            site.directions.iter().map(in_direction).collect::<Vec<_>>()
        };
        all = all.iter().flat_map(of).collect();
    }
    for element in step.elements.iter().filter(|e| items::chosen_by_the_call(site, e)) {
        let Some(values) = site.elements.get(element).map(|e| &e.values).filter(|v| v.len() > 1) else {
            continue;
        };
        all = all
            .iter()
            .flat_map(|s| {
                values.iter().map(|v| {
                    let mut s = s.clone();
                    s.more.insert(element.clone(), v.id.clone());
                    s
                })
            })
            .collect();
    }
    for situation in &mut all {
        if let Some(first) = site.first_cable(&situation.more) {
            situation.cable.clone_from(first);
        }
    }
    all
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    pub fn site(name: &str) -> Arc<Site> {
        let dir = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("phrases")
            .join(name);
        Arc::new(Site::check(&crate::folders::read_site(&dir)).unwrap())
    }

    #[test]
    fn every_step_with_words_has_calls_with_items() {
        for name in crate::site::bundled::NAMES {
            let site = site(name);
            let all: Vec<&str> = site.steps.iter().map(|s| s.id.as_str()).collect();
            let deck = Deck::new(&site, &all);
            let spoken = site.steps.iter().filter(|s| s.by.has_words()).count();
            assert_eq!(deck.steps.len(), spoken);
            for (n, step) in deck.steps.iter().enumerate() {
                let mut cards = deck.cards.iter().filter(|c| c.step == n).peekable();
                assert!(cards.peek().is_some(), "{}", step.id);
                for card in cards {
                    assert!(card.items.len() > step.elements.len(), "{}", step.id);
                    for situation in &card.situations {
                        assert_eq!(situation.values(&site, step), card.right);
                        let first = site.first_cable(&situation.more);
                        assert!(first.is_none_or(|c| *c == situation.cable), "{}", step.id);
                    }
                }
            }
        }
    }

    #[test]
    fn the_ready_call_has_a_card_for_each_situation() {
        let site = site("larkmoor");
        let deck = Deck::new(&site, &["ready"]);
        // Four two-seaters with one or two on board and three single-seaters, on two cables.
        assert_eq!(deck.cards.len(), (4 * 2 + 3) * 2);
        let stop = Deck::new(&site, &["stop"]);
        assert_eq!(stop.cards.len(), 1);
        assert_eq!(stop.cards[0].situations.len(), 22);
        let link = Deck::new(&site, &["link"]);
        assert_eq!(link.cards.len(), 4, "four of the five links are used in the fleet");
    }
}
