//! The plan: which situation comes next, and why.
//!
//! In three of four turns the call that would most likely fail in something that is due, for the seconds it takes, and when
//! nothing is due a call of what was not practised longest; in one of four a call in which this student errs. Never the same call twice in a row; rather another step
//! and another aircraft than before. What has failed comes again on the same day, after two other calls.

use super::deck::{Card, Deck};
use super::items::Item;
use super::level::{Ladder, Level};
use super::memory::{Grade, Memory, Scheduler, grade};
use super::past::{Moment, Past};
use super::steady::{Record, Steadiness};
use crate::call::Situation;
use crate::site::Site;
use serde::Serialize;
use std::collections::BTreeMap;
use std::sync::Arc;

/// One turn of so many is dealt from where the student errs.
const ERRS_ONE_OF: u32 = 4;
/// Other calls before something that failed comes again.
const REST: u64 = 2;
/// The probability of failing that is taken for an item never practised; what is due has its own.
const NEW: f32 = 0.5;
/// The same for an item that failed and has not come right since.
const FAILED: f32 = 0.5;
/// A call that weighs as much as this share of the best one is as good: chance decides.
const AS_GOOD: f32 = 0.9;
/// How much a call is worth less when it is of the same step, and when it is of the same aircraft as the one before.
const SAME_STEP: f32 = 0.5;
/// See [`SAME_STEP`].
const SAME_AIRCRAFT: f32 = 0.7;

/// Why a situation is dealt, with the item that weighs most in it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum DealReason {
    /// It is due again.
    Due(Item),
    /// It has not been practised yet.
    New(Item),
    /// The student errs in it.
    Errs(Item),
    /// Nothing is due: the longest not practised.
    Keep(Item),
}

/// What to deal next.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// Step id.
    pub step: String,
    /// The situation.
    pub situation: Situation,
    /// Why.
    pub reason: DealReason,
    /// About how long the turn takes, seconds.
    pub seconds: f32,
}

/// A student's plan at one site.
#[derive(Debug, Clone)]
pub struct Plan {
    pub(super) deck: Deck,
    scheduler: Scheduler,
    pub(super) memory: Vec<Option<Memory>>,
    record: Vec<Record>,
    /// The call, counted from 1, that last showed something about the item.
    last_call: Vec<u64>,
    calls: u64,
    ladder: Ladder,
    pub(super) day: i64,
}

impl Plan {
    /// A plan for a student of whom nothing is known. `steps` are practised; those done by hand are left out.
    pub fn new(site: &Arc<Site>, steps: &[&str], now: Moment) -> Self {
        let mut plan = Self {
            deck: Deck::new(site, steps),
            scheduler: Scheduler::default(),
            memory: Vec::new(),
            record: Vec::new(),
            last_call: Vec::new(),
            calls: 0,
            ladder: Ladder::default(),
            day: now.day(),
        };
        plan.grow();
        plan
    }

    /// A plan from past calls, which must be in the order of time. Calls of other sites are passed over; calls of other
    /// steps show what they share with those practised.
    pub fn from_past<'p>(
        site: &Arc<Site>,
        steps: &[&str],
        past: impl IntoIterator<Item = &'p Past>,
        now: Moment,
    ) -> Self {
        let mut plan = Self::new(site, steps, now);
        for call in past {
            plan.add(call);
        }
        plan.at(now);
        plan
    }

    /// Go on to another time.
    pub fn at(&mut self, now: Moment) {
        self.day = now.day();
    }

    /// Take one more past call.
    pub fn add(&mut self, past: &Past) {
        if past.site != self.deck.site.id || !past.counts() {
            return;
        }
        let site = self.deck.site.clone();
        let Some(step) = site.step(&past.step) else { return };
        let right = past.situation.values(&site, step);
        self.deck.mixed_up(past, &right);
        let items = self.deck.items_in(step, &past.situation, &right);
        self.grow();
        self.calls += 1;
        let day = past.at.day();
        for i in items {
            let Some(grade) = grade(&self.deck.items[i], step, past, &right) else {
                continue;
            };
            if let Some(memory) = self.scheduler.review(self.memory[i].as_ref(), grade, day) {
                self.memory[i] = Some(memory);
            }
            self.record[i].add(grade != Grade::Again);
            self.last_call[i] = self.calls;
        }
        if let Some(right) = past.right(&step.critical) {
            self.ladder.add(past.level.unwrap_or_default(), right);
        }
    }

    fn grow(&mut self) {
        let n = self.deck.items.len();
        self.memory.resize(n, None);
        self.record.resize_with(n, Record::default);
        self.last_call.resize(n, 0);
    }

    /// The level by the record.
    pub fn level(&self) -> Level {
        self.ladder.level
    }

    /// How steady an item is; without any calls where it is not known.
    pub fn steadiness(&self, item: &Item) -> Steadiness {
        let number = self.deck.items.iter().position(|i| i == item);
        number.map_or_else(Steadiness::default, |n| self.record[n].steadiness())
    }

    /// Every item with its steadiness, in the order of [`Item`].
    pub fn steadinesses(&self) -> BTreeMap<&Item, Steadiness> {
        let all = self.deck.items.iter().zip(&self.record);
        all.map(|(i, r)| (i, r.steadiness())).collect()
    }

    /// The situation to deal next. `before` is the step and the situation of the turn before; `random` gives uniform
    /// numbers over the whole range of `u32`. `None` when no step of the plan can be practised.
    pub fn next(&self, before: Option<(&str, &Situation)>, random: &mut impl FnMut() -> u32) -> Option<Choice> {
        let allowed = self.allowed(before);
        let worth = |card: &Card, need: f32| need / card.seconds * self.variety(card, before);
        // How likely it is that something in the call fails: a call of many parts does not crowd out a call of one.
        let weigh = |of: &dyn Fn(usize) -> f32| -> Vec<f32> {
            let fails = |c: &Card| 1.0 - c.items.iter().map(|i| 1.0 - of(*i)).product::<f32>();
            allowed.iter().map(|c| worth(c, fails(c))).collect()
        };
        let errs = |i: usize| self.record[i].errs();
        let needs: Vec<f32> = weigh(&|i| self.need(i));
        let best = needs.iter().copied().fold(0.0, f32::max);
        if below(ERRS_ONE_OF, random) == 0 {
            let weights: Vec<f32> = allowed
                .iter()
                .map(|c| worth(c, c.items.iter().map(|i| errs(*i)).fold(0.0, f32::max)))
                .collect();
            if let Some(n) = roulette(&weights, random) {
                return self.deal(allowed[n], before, random, errs, DealReason::Errs);
            }
        }
        if best > 0.0 {
            let good: Vec<f32> = needs.iter().map(|n| f32::from(*n >= best * AS_GOOD)).collect();
            let card = allowed[roulette(&good, random)?];
            let top = self.heaviest(card, |i| self.need(i))?;
            let reason = if self.memory[top].is_some() {
                DealReason::Due
            } else {
                DealReason::New
            };
            return self.deal(card, before, random, |i| self.need(i), reason);
        }
        let forgotten = |i: usize| self.memory[i].map_or(1.0, |m| 1.0 - m.recall(self.day)) + 0.001;
        let n = roulette(&weigh(&forgotten), random)?;
        self.deal(allowed[n], before, random, forgotten, DealReason::Keep)
    }

    /// The cards that are another call than the one before; all where there is only one.
    fn allowed(&self, before: Option<(&str, &Situation)>) -> Vec<&Card> {
        let right = before.and_then(|(id, situation)| {
            let step = self.deck.site.step(id)?;
            Some((id, situation.values(&self.deck.site, step)))
        });
        let same = |c: &&Card| {
            right
                .as_ref()
                .is_some_and(|(id, right)| self.deck.steps[c.step].id == *id && &c.right == right)
        };
        let other: Vec<&Card> = self.deck.cards.iter().filter(|c| !same(c)).collect();
        if other.is_empty() {
            self.deck.cards.iter().collect()
        } else {
            other
        }
    }

    fn variety(&self, card: &Card, before: Option<(&str, &Situation)>) -> f32 {
        let Some((step, situation)) = before else { return 1.0 };
        let same_step = if self.deck.steps[card.step].id == step {
            SAME_STEP
        } else {
            1.0
        };
        let aircraft = card.right.get("callsign");
        let same_aircraft = aircraft.is_some_and(|c| *c == situation.callsign.to_string());
        same_step * if same_aircraft { SAME_AIRCRAFT } else { 1.0 }
    }

    /// How likely an item is to fail now; 0 where it is not due.
    pub(super) fn need(&self, i: usize) -> f32 {
        match &self.memory[i] {
            None => NEW,
            Some(m) if m.due_day > self.day => 0.0,
            Some(m) if m.failed && self.calls - self.last_call[i] < REST => 0.0,
            Some(m) if m.failed => FAILED,
            Some(m) => 1.0 - m.recall(self.day),
        }
    }

    /// The item that weighs most in a call; of equals the most particular: a pair or a value before the whole step.
    fn heaviest(&self, card: &Card, of: impl Fn(usize) -> f32) -> Option<usize> {
        let order = |i: &usize| (of(*i), &self.deck.items[*i]);
        card.items
            .iter()
            .copied()
            .max_by(|a, b| order(a).partial_cmp(&order(b)).unwrap_or(std::cmp::Ordering::Equal))
    }

    fn deal(
        &self,
        card: &Card,
        before: Option<(&str, &Situation)>,
        random: &mut impl FnMut() -> u32,
        of: impl Fn(usize) -> f32,
        reason: fn(Item) -> DealReason,
    ) -> Option<Choice> {
        let top = self.heaviest(card, of)?;
        // Where the words are the same in every situation, at least the aircraft is another one.
        let fresh = |s: &&Situation| before.is_none_or(|(_, b)| s.callsign != b.callsign);
        let from: Vec<&Situation> = card.situations.iter().filter(fresh).collect();
        let from = if from.is_empty() {
            card.situations.iter().collect()
        } else {
            from
        };
        let n = below(u32::try_from(from.len()).ok()?, random);
        Some(Choice {
            step: self.deck.steps[card.step].id.clone(),
            situation: (*from.get(n as usize)?).clone(),
            reason: reason(self.deck.items[top].clone()),
            seconds: card.seconds,
        })
    }

    /// Is something due or new?
    pub fn wants_practice(&self) -> bool {
        let mut items = self.deck.cards.iter().flat_map(|c| &c.items);
        items.any(|i| self.memory[*i].is_none_or(|m| m.due_day <= self.day))
    }

    /// The items that the plan's calls can practise.
    pub(super) fn practised(&self) -> Vec<bool> {
        let mut practised = vec![false; self.deck.items.len()];
        for card in &self.deck.cards {
            for i in &card.items {
                practised[*i] = true;
            }
        }
        practised
    }

    pub(super) fn errs(&self, i: usize) -> f32 {
        self.record[i].errs()
    }
}

/// A number from 0 to `count` - 1.
pub(super) fn below(count: u32, random: &mut impl FnMut() -> u32) -> u32 {
    ((u64::from(random()) * u64::from(count)) >> 32) as u32
}

/// An index, each as likely as its weight; `None` where nothing weighs anything.
fn roulette(weights: &[f32], random: &mut impl FnMut() -> u32) -> Option<usize> {
    let sum: f32 = weights.iter().sum();
    if sum <= 0.0 {
        return None;
    }
    let mut rest = (f64::from(random()) / 4_294_967_296.0) as f32 * sum;
    for (n, w) in weights.iter().enumerate() {
        if rest < *w {
            return Some(n);
        }
        rest -= w;
    }
    weights.iter().rposition(|w| *w > 0.0)
}

#[cfg(test)]
mod tests;
