//! What to practise today, as data: the words are the window's or the terminal's.

use super::items::Item;
use super::next::Plan;
use super::steady::Steadiness;
use serde::Serialize;

/// An item that is due.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Due {
    /// What.
    pub item: Item,
    /// Days since it was due; 0 for today.
    pub days: i64,
    /// It went wrong the last time.
    pub failed: bool,
    /// How steady it is.
    pub steadiness: Steadiness,
}

/// What to practise today.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Today {
    /// What is due, the most needed first.
    pub due: Vec<Due>,
    /// What has never been practised, in the order of [`Item`].
    pub new: Vec<Item>,
    /// Where the student errs most, the worst first; at most five.
    pub errs: Vec<(Item, Steadiness)>,
    /// Calls that would practise all that is due, if each came right at once.
    pub calls: usize,
    /// About how long they take, seconds.
    pub seconds: f32,
}

/// So many of the items in which the student errs are told.
const ERRS: usize = 5;

impl Plan {
    /// What to practise today.
    pub fn today(&self) -> Today {
        let practised = self.practised();
        let all = || (0..self.deck.items.len()).filter(|i| practised[*i]);
        let steadiness = |i: usize| self.steadiness(&self.deck.items[i]);
        let mut due: Vec<(f32, Due)> = all()
            .filter_map(|i| {
                let m = self.memory[i].filter(|m| m.due_day <= self.day)?;
                let due = Due {
                    item: self.deck.items[i].clone(),
                    days: self.day - m.due_day,
                    failed: m.failed,
                    steadiness: steadiness(i),
                };
                let need = if m.failed { 1.0 } else { 1.0 - m.recall(self.day) };
                Some((need, due))
            })
            .collect();
        due.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.item.cmp(&b.1.item)));
        let mut new: Vec<Item> = all()
            .filter(|i| self.memory[*i].is_none())
            .map(|i| self.deck.items[i].clone())
            .collect();
        new.sort();
        let mut errs: Vec<(f32, usize)> = all().map(|i| (self.errs(i), i)).filter(|e| e.0 > 0.0).collect();
        errs.sort_by(|a, b| {
            b.0.total_cmp(&a.0)
                .then_with(|| self.deck.items[a.1].cmp(&self.deck.items[b.1]))
        });
        let errs = errs
            .into_iter()
            .take(ERRS)
            .map(|(_, i)| (self.deck.items[i].clone(), steadiness(i)))
            .collect();
        let (calls, seconds) = self.work();
        Today {
            due: due.into_iter().map(|d| d.1).collect(),
            new,
            errs,
            calls,
            seconds,
        }
    }

    /// Calls and seconds to cover all that is due: each time the call that holds most of the rest for its time.
    fn work(&self) -> (usize, f32) {
        let mut open: Vec<bool> = self
            .memory
            .iter()
            .map(|m| m.is_some_and(|m| m.due_day <= self.day))
            .collect();
        let (mut calls, mut seconds) = (0, 0.0);
        loop {
            let left = |c: &super::deck::Card| c.items.iter().filter(|i| open[**i]).count() as f32 / c.seconds;
            let best = self.deck.cards.iter().max_by(|a, b| left(a).total_cmp(&left(b)));
            let Some(card) = best.filter(|c| left(c) > 0.0) else {
                return (calls, seconds);
            };
            calls += 1;
            seconds += card.seconds;
            for i in &card.items {
                open[*i] = false;
            }
        }
    }
}
