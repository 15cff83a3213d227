//! A learner's days under one way of dealing.

use super::memory::{Forgetting, Unit};
use crate::call::{Outcome, Situation, Verdict};
use crate::drill;
use crate::plan::deck::{Deck, can_be_practised};
use crate::plan::{Answered, Item, Moment, Past, Plan, expected_seconds};
use crate::site::{Site, Step};
use fsrs::FSRS;
use std::collections::BTreeMap;
use std::sync::Arc;

/// How situations are dealt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Dealing {
    /// The plan, for all the minutes.
    Plan,
    /// The plan, until nothing is due or new any more, at most for the minutes.
    PlanWhileDue,
    /// A step by chance, then [`drill::deal`].
    Random,
    /// Every call of every step in a fixed order, the steps taking turns.
    Rotation,
}

impl Dealing {
    /// All ways.
    pub const ALL: [Self; 4] = [Self::Plan, Self::PlanWhileDue, Self::Random, Self::Rotation];
}

/// What is simulated.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    /// Learners of each kind of forgetting.
    pub learners: u32,
    /// Days; a learner practises on five of seven, by chance.
    pub days: u32,
    /// Minutes of practice on such a day.
    pub minutes: u32,
    /// Steps practised; those done by hand are left out.
    pub steps: Vec<String>,
    /// Start of the random numbers.
    pub seed: u64,
}

/// What came of it, mean of the learners.
#[derive(Debug, Clone, PartialEq)]
pub struct Result {
    /// Mean recall of all units, 0 to 1, one day after the end.
    pub recall: f64,
    /// The same a fortnight later, without practice.
    pub later: f64,
    /// Share of whole calls that would come right a day after the end: mean of the steps' means.
    pub calls: f64,
    /// Share of the steps' worst calls that would come right then.
    pub worst: f64,
    /// Minutes used, all days together.
    pub minutes: f64,
    /// Minutes of practice until the mean recall at a day's beginning was 0.8 for the first time; learners who never got there
    /// count with all their minutes.
    pub until: f64,
    /// Standard error of `recall` over the learners.
    pub error: f64,
    /// Mean recall at the beginning of each day.
    pub course: Vec<f64>,
}

/// The recall that counts as having learned.
const LEARNED: f64 = 0.8;
/// An element is left out although it is known, and a verdict is unsure, with these probabilities.
const SLIP: f64 = 0.03;
/// See [`SLIP`].
const UNSURE: f64 = 0.05;
/// A call that failed is asked for again, seconds.
const AGAIN: f64 = 10.0;
/// Two calls of rivals so close together (in calls) teach the difference.
const CLOSE: u64 = 4;

/// Simulate all learners of a kind under one way of dealing. The same outline gives the same learners to every way.
pub fn run(site: &Arc<Site>, outline: &Outline, kind: Forgetting, dealing: Dealing) -> Result {
    let ids: Vec<&str> = outline.steps.iter().map(String::as_str).collect();
    let deck = Deck::new(site, &ids);
    let results: Vec<Result> = (0..outline.learners)
        .map(|n| Learner::new(site, &deck, outline, kind, n).days(outline, dealing))
        .collect();
    let n = results.len().max(1) as f64;
    let mean = |of: fn(&Result) -> f64| results.iter().map(of).sum::<f64>() / n;
    let recall = mean(|r| r.recall);
    let variance = results.iter().map(|r| (r.recall - recall).powi(2)).sum::<f64>() / (n - 1.0).max(1.0);
    Result {
        recall,
        later: mean(|r| r.later),
        calls: mean(|r| r.calls),
        worst: mean(|r| r.worst),
        minutes: mean(|r| r.minutes),
        until: mean(|r| r.until),
        error: (variance / n).sqrt(),
        course: (0..outline.days as usize)
            .map(|d| results.iter().map(|r| r.course[d]).sum::<f64>() / n)
            .collect(),
    }
}

/// Uniform random numbers (SplitMix64), one stream for each purpose.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u32 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 32) as u32
    }

    fn share(&mut self) -> f64 {
        f64::from(self.next()) / 4_294_967_296.0
    }

    /// Log-normal with median 1: the sum of twelve uniform numbers is near enough to normal.
    fn pace(&mut self, spread: f64) -> f64 {
        let normal: f64 = (0..12).map(|_| self.share()).sum::<f64>() - 6.0;
        (spread * normal).exp()
    }
}

/// A unit's place: that an element of a step is said, or the words of a value.
type Key = (Option<String>, String, String);

fn said(step: &Step, element: &str) -> Key {
    (Some(step.id.clone()), element.to_owned(), String::new())
}

fn words(element: &str, value: &str) -> Key {
    (None, element.to_owned(), value.to_owned())
}

struct Learner<'a> {
    site: &'a Arc<Site>,
    deck: &'a Deck,
    kind: Forgetting,
    units: Vec<Unit>,
    index: BTreeMap<Key, usize>,
    /// For each unit the one it is mixed up with.
    rival: Vec<Option<usize>>,
    values: Vec<String>,
    /// Confusion of each unit with its rival, 0 to 1, and the call it was practised in.
    confusion: Vec<f64>,
    practised: Vec<u64>,
    calls: u64,
    chance: Chance,
    deals: Chance,
    scheduler: FSRS,
}

impl<'a> Learner<'a> {
    fn new(site: &'a Arc<Site>, deck: &'a Deck, outline: &Outline, kind: Forgetting, number: u32) -> Self {
        let mut chance = Chance(outline.seed ^ (u64::from(number) << 20) ^ ((kind as u64) << 50));
        let deals = Chance(chance.0 ^ 0x5555_5555);
        let own = chance.pace(0.4);
        let mut index = BTreeMap::new();
        let mut values = Vec::new();
        for item in &deck.items {
            let key = match item {
                Item::Element { step, element } => (Some(step.clone()), element.clone(), String::new()),
                Item::Value { element, value } => words(element, value),
                _ => continue,
            };
            index.entry(key).or_insert_with(|| {
                values.push(match item {
                    Item::Value { value, .. } => value.clone(),
                    _ => String::new(),
                });
                values.len() - 1
            });
        }
        let mut rival = vec![None; values.len()];
        for item in &deck.items {
            if let Item::Pair { element, one, other } = item
                && let (Some(a), Some(b)) = (index.get(&words(element, one)), index.get(&words(element, other)))
            {
                rival[*a] = Some(*b);
                rival[*b] = Some(*a);
            }
        }
        let units = values.iter().map(|_| Unit::new(kind, own * chance.pace(0.5))).collect();
        Self {
            site,
            deck,
            kind,
            units,
            confusion: vec![0.7; values.len()],
            practised: vec![0; values.len()],
            index,
            rival,
            values,
            calls: 0,
            chance,
            deals,
            scheduler: FSRS::default(),
        }
    }

    /// Probability that a unit comes right, its rival taken into account.
    fn right(&self, unit: usize, now: f64) -> f64 {
        let own = self.units[unit].recall(now);
        match self.rival[unit] {
            Some(rival) if self.kind == Forgetting::Interference => {
                let other = self.units[rival].recall(now) * self.confusion[unit];
                own * own / (own + other * 0.6)
            }
            _ => own,
        }
    }

    fn mean_recall(&self, now: f64) -> f64 {
        (0..self.units.len()).map(|u| self.right(u, now)).sum::<f64>() / self.units.len().max(1) as f64
    }

    fn days(mut self, outline: &Outline, dealing: Dealing) -> Result {
        let steps: Vec<&Step> = self.deck.steps.iter().collect();
        let ids: Vec<&str> = outline.steps.iter().map(String::as_str).collect();
        let mut plan = Plan::new(self.site, &ids, moment(0.0));
        let mut before: Option<(String, Situation)> = None;
        let (mut used, mut until) = (0.0, None);
        let mut course = Vec::new();
        let mut rotation = 0;
        for day in 0..outline.days {
            // Practice is at about seven in the evening, as the days go.
            let mut now = f64::from(day) + 0.8;
            let recall = self.mean_recall(now);
            course.push(recall);
            if until.is_none() && recall >= LEARNED {
                until = Some(used);
            }
            if self.chance.share() >= 5.0 / 7.0 {
                continue;
            }
            plan.at(moment(now));
            let mut left = f64::from(outline.minutes) * 60.0;
            while left > 0.0 {
                let from = before.as_ref().map(|(step, situation)| (step.as_str(), situation));
                let dealt = match dealing {
                    Dealing::PlanWhileDue if !plan.wants_practice() => None,
                    Dealing::Plan | Dealing::PlanWhileDue => plan
                        .next(from, &mut || self.deals.next())
                        .map(|c| (c.step, c.situation)),
                    Dealing::Random => self.at_random(&steps, from),
                    Dealing::Rotation => {
                        rotation += 1;
                        rotate(self.deck, rotation - 1)
                    }
                };
                let Some((step, situation)) = dealt else { break };
                let (past, seconds) = self.call(&step, &situation, now);
                if matches!(dealing, Dealing::Plan | Dealing::PlanWhileDue) {
                    plan.add(&past);
                }
                left -= seconds;
                used += seconds / 60.0;
                now += seconds / 86_400.0;
                before = Some((step, situation));
            }
        }
        let end = f64::from(outline.days) + 0.8;
        let (calls, worst) = self.exam(end);
        Result {
            recall: self.mean_recall(end),
            later: self.mean_recall(end + 13.0),
            calls,
            worst,
            minutes: used,
            until: until.unwrap_or(used),
            error: 0.0,
            course,
        }
    }

    fn at_random(&mut self, steps: &[&Step], before: Option<(&str, &Situation)>) -> Option<(String, Situation)> {
        let step = steps[self.deals.next() as usize % steps.len().max(1)];
        let situation = before.map(|b| b.1);
        let mut dealt = drill::deal(self.site, situation, &mut || self.deals.next())?;
        dealt.more.retain(|element, _| step.elements.contains(element));
        Some((step.id.clone(), dealt))
    }

    /// A call: what is said, what it teaches, and how long it takes.
    fn call(&mut self, step: &str, situation: &Situation, now: f64) -> (Past, f64) {
        self.calls += 1;
        let site = self.site;
        let mut verdicts = Vec::new();
        let mut seconds = AGAIN;
        let mut practised = Vec::new();
        if let Some(step) = site.step(step) {
            seconds = f64::from(expected_seconds(site, step, situation));
            for (element, value) in situation.values(site, step) {
                let known = self.index.get(&said(step, &element)).copied();
                let of_value = self.index.get(&words(&element, &value)).copied();
                let (mut verdict, mut heard) = (Verdict::Said, Some(value));
                let forgotten = known.is_some_and(|u| self.chance.share() >= self.right(u, now));
                practised.extend(known.map(|u| (u, !forgotten)));
                // A slip shows in the verdicts like something forgotten, and is none.
                if forgotten || self.chance.share() < SLIP {
                    (verdict, heard) = (Verdict::Missing, None);
                } else if let Some(unit) = of_value {
                    let right = self.chance.share() < self.right(unit, now);
                    practised.push((unit, right));
                    if !right {
                        let rival = self.rival[unit].map(|r| self.values[r].clone());
                        (verdict, heard) = (Verdict::Wrong, rival.or(Some("something else".to_owned())));
                    }
                }
                if self.chance.share() < UNSURE {
                    verdict = Verdict::Unsure;
                }
                verdicts.push(Answered {
                    element,
                    verdict,
                    heard,
                });
            }
        }
        for (unit, right) in practised {
            self.practise(unit, right, now);
        }
        let past = Past {
            at: moment(now),
            site: site.id.clone(),
            step: step.to_owned(),
            situation: situation.clone(),
            level: None,
            first_attempt: true,
            held_out: false,
            stopped: false,
            outcome: Outcome::NotYet,
            verdicts,
        };
        let critical = site.step(step).map_or(&[][..], |s| &s.critical);
        if past.right(critical) != Some(true) {
            seconds += AGAIN;
        }
        (past, seconds)
    }

    fn practise(&mut self, unit: usize, right: bool, now: f64) {
        self.units[unit].practise(now, right, &self.scheduler);
        self.practised[unit] = self.calls;
        if self.kind != Forgetting::Interference {
            return;
        }
        if let Some(rival) = self.rival[unit] {
            if self.practised[rival] > 0 && self.calls - self.practised[rival] <= CLOSE {
                self.confusion[unit] *= 0.9;
                self.confusion[rival] *= 0.9;
            } else {
                self.units[rival].disturb();
                self.confusion[rival] = (self.confusion[rival] + 0.02).min(0.8);
            }
        }
    }

    /// Probability that a call comes right, slips left out: the mean over the steps of their mean and of their worst.
    fn exam(&self, now: f64) -> (f64, f64) {
        let (mut mean, mut worst) = (0.0, 0.0);
        for (n, step) in self.deck.steps.iter().enumerate() {
            let cards = self.deck.cards.iter().filter(|c| c.step == n);
            let of = |card: &crate::plan::deck::Card| -> f64 {
                let elements = card.right.iter().filter(|(e, _)| step.critical.contains(e));
                let unit = |key: Key| self.index.get(&key).map_or(1.0, |u| self.right(*u, now));
                elements.map(|(e, v)| unit(said(step, e)) * unit(words(e, v))).product()
            };
            let all: Vec<f64> = cards.map(of).collect();
            mean += all.iter().sum::<f64>() / all.len().max(1) as f64;
            worst += all.iter().copied().fold(1.0, f64::min);
        }
        let n = self.deck.steps.len().max(1) as f64;
        (mean / n, worst / n)
    }
}

/// The calls of all steps in a fixed order: one of the first step, one of the second ..., then the next one of each.
fn rotate(deck: &Deck, turn: usize) -> Option<(String, Situation)> {
    let n = deck.steps.len().max(1);
    let (step, round) = (turn % n, turn / n);
    let cards: Vec<_> = deck.cards.iter().filter(|c| c.step == step).collect();
    let card = cards.get(round % cards.len().max(1))?;
    let situation = &card.situations[round % card.situations.len()];
    Some((deck.steps[step].id.clone(), situation.clone()))
}

fn moment(days: f64) -> Moment {
    Moment {
        ms: (days * 86_400_000.0) as i64,
        utc_offset_seconds: 0,
    }
}

/// All steps of a site that can be practised alone.
pub fn all_steps(site: &Site) -> Vec<String> {
    let alone = site.steps.iter().filter(|s| can_be_practised(s));
    alone.map(|s| s.id.clone()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::deck::tests::site;

    /// A small version of what `cableside simulate --learners` measures. With the interference learners the plan must beat
    /// chance clearly; nothing of the plan is fitted to them.
    #[test]
    fn the_plan_teaches_more_than_chance_where_similar_values_compete() {
        let site = site("larkmoor");
        let outline = Outline {
            learners: 6,
            days: 60,
            minutes: 10,
            steps: all_steps(&site),
            seed: 5,
        };
        let of = |dealing| run(&site, &outline, Forgetting::Interference, dealing);
        let (plan, chance) = (of(Dealing::Plan), of(Dealing::Random));
        assert!(
            plan.recall > chance.recall + 0.02,
            "{} against {}",
            plan.recall,
            chance.recall
        );
        assert!(
            (plan.minutes - chance.minutes).abs() < chance.minutes * 0.25,
            "as much time"
        );
        let again = of(Dealing::Plan);
        assert_eq!(plan, again, "the same seed gives the same learners");
    }

    #[test]
    fn without_practice_nothing_is_learned() {
        let site = site("erlengrund");
        let outline = Outline {
            learners: 2,
            days: 5,
            minutes: 0,
            steps: vec!["ready".into()],
            seed: 1,
        };
        for kind in Forgetting::ALL {
            let result = run(&site, &outline, kind, Dealing::Plan);
            assert!(
                (result.recall - 0.25).abs() < 0.2 && result.minutes < 1e-9,
                "{kind:?}: {result:?}"
            );
        }
    }
}
