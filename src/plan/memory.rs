//! What a verdict is worth, and when an item is due again.
//!
//! The scheduler is FSRS-6 with its published default parameters (crate `fsrs`). It knows four grades; the mapping is
//! here and nowhere else, and grades leave this room in no form:
//!
//! | item | again | hard | good | no evidence |
//! |---|---|---|---|---|
//! | step | a critical element wrong or missing | all critical said, another wrong or missing | all critical said | a critical one unsure |
//! | element | wrong, missing | | said | unsure |
//! | value, pattern | wrong | | said | unsure, missing (the element's matter) |
//! | pair | the other value said | | the right value said | unsure, missing, a third value |
//!
//! "Easy" is never given: no verdict shows it. Only first attempts that count ([`Past::counts`]) are looked at.

use super::items::Item;
use super::past::Past;
use crate::call::Verdict;
use crate::site::Step;
use fsrs::{FSRS, FSRS6_DEFAULT_DECAY, ItemState, MemoryState};
use std::collections::BTreeMap;

/// An item is planned so that it would still come right with this probability when it is due.
pub(super) const RETENTION: f32 = 0.9;

/// The scheduler's grades that are used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Grade {
    Again,
    Hard,
    Good,
}

/// The grade of an item in a past call; `None` where the call shows nothing about it.
pub(super) fn grade(item: &Item, step: &Step, past: &Past, right: &BTreeMap<String, String>) -> Option<Grade> {
    match item {
        Item::Step { .. } => {
            if !past.right(&step.critical)? {
                return Some(Grade::Again);
            }
            let flawed = past
                .verdicts
                .iter()
                .any(|a| matches!(a.verdict, Verdict::Wrong | Verdict::Missing));
            Some(if flawed { Grade::Hard } else { Grade::Good })
        }
        Item::Element { element, .. } => match past.verdict(element)?.verdict {
            Verdict::Said => Some(Grade::Good),
            Verdict::Wrong | Verdict::Missing => Some(Grade::Again),
            Verdict::Unsure => None,
        },
        Item::Value { element, .. } => of_value(past, element),
        Item::Pattern { .. } => of_value(past, "callsign"),
        Item::Pair { element, one, other } => {
            let answered = past.verdict(element)?;
            let value = right.get(element)?;
            let mixed_up_with = if value == one { other } else { one };
            match answered.verdict {
                Verdict::Said => Some(Grade::Good),
                Verdict::Wrong if answered.heard.as_ref() == Some(mixed_up_with) => Some(Grade::Again),
                _ => None,
            }
        }
    }
}

fn of_value(past: &Past, element: &str) -> Option<Grade> {
    match past.verdict(element)?.verdict {
        Verdict::Said => Some(Grade::Good),
        Verdict::Wrong => Some(Grade::Again),
        Verdict::Missing | Verdict::Unsure => None,
    }
}

/// The scheduler with its default parameters.
#[derive(Debug, Clone, Default)]
pub(super) struct Scheduler(FSRS);

/// What the scheduler knows of an item.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Memory {
    state: MemoryState,
    /// The day of the last evidence.
    last_day: i64,
    /// The day it is due.
    pub due_day: i64,
    /// The last evidence was a failure.
    pub failed: bool,
}

impl Memory {
    /// Probability, 0 to 1, that it would come right on this day.
    pub fn recall(&self, day: i64) -> f32 {
        fsrs::current_retrievability(self.state, (day - self.last_day).max(0) as f32, FSRS6_DEFAULT_DECAY)
    }
}

impl Scheduler {
    /// Take evidence. What failed is due again on the same day, what came right tomorrow at the earliest.
    pub fn review(&self, before: Option<&Memory>, grade: Grade, day: i64) -> Option<Memory> {
        // A clock that was set back makes no negative days.
        let elapsed = before.map_or(0, |m| (day - m.last_day).max(0));
        let elapsed = u32::try_from(elapsed).unwrap_or(u32::MAX);
        let next = self.0.next_states(before.map(|m| m.state), RETENTION, elapsed).ok()?;
        let ItemState { memory, interval } = match grade {
            Grade::Again => next.again,
            Grade::Hard => next.hard,
            Grade::Good => next.good,
        };
        let days = if grade == Grade::Again {
            0
        } else {
            interval.round().clamp(1.0, 36_500.0) as i64
        };
        Some(Memory {
            state: memory,
            last_day: day.max(before.map_or(day, |m| m.last_day)),
            due_day: day + days,
            failed: grade == Grade::Again,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published check values: open-spaced-repetition/fsrs-rs 6.6.2, src/inference.rs, `test_memory_state` (default
    /// parameters; ratings again, good, good, good, good, good after 0, 0, 1, 3, 8, 21 days).
    #[test]
    fn the_scheduler_gives_its_own_published_values() {
        let scheduler = Scheduler::default();
        let mut memory = None;
        let mut day = 20_000;
        for (grade, after) in [
            (Grade::Again, 0),
            (Grade::Good, 0),
            (Grade::Good, 1),
            (Grade::Good, 3),
            (Grade::Good, 8),
            (Grade::Good, 21),
        ] {
            day += after;
            memory = scheduler.review(memory.as_ref(), grade, day);
        }
        let memory = memory.unwrap();
        assert!((memory.state.stability - 53.62691).abs() < 1e-4, "{memory:?}");
        assert!((memory.state.difficulty - 6.357_486_7).abs() < 1e-4, "{memory:?}");
        // At a wanted retention of 0.9 the interval is the stability.
        assert_eq!(memory.due_day, day + 54);
        assert!(
            (memory.recall(day + 54) - 0.9).abs() < 0.001,
            "{}",
            memory.recall(day + 54)
        );
    }

    /// The same file, documentation of `next_states`: the first grade alone.
    #[test]
    fn the_first_grade_gives_the_published_first_values() {
        let scheduler = Scheduler::default();
        for (grade, stability, difficulty, due) in [
            (Grade::Again, 0.212, 6.4133, 0),
            (Grade::Hard, 1.2931, 5.112_170_7, 1),
            (Grade::Good, 2.3065, 2.118_104, 2),
        ] {
            let memory = scheduler.review(None, grade, 5).unwrap();
            assert!((memory.state.stability - stability).abs() < 1e-5, "{memory:?}");
            assert!((memory.state.difficulty - difficulty).abs() < 1e-5, "{memory:?}");
            assert_eq!(memory.due_day, 5 + due);
        }
    }

    /// The same file, `test_current_retrievability` (with a decay of its own).
    #[test]
    fn forgetting_follows_the_published_curve() {
        let state = MemoryState {
            stability: 1.0,
            difficulty: 5.0,
        };
        for (days, recall) in [(0.0, 1.0), (1.0, 0.9), (2.0, 0.840_289_35), (3.0, 0.798_500_1)] {
            let ours = fsrs::current_retrievability(state, days, 0.2);
            assert!((ours - recall).abs() < 1e-6, "after {days} days: {ours}");
        }
    }

    #[test]
    fn a_clock_set_back_does_no_harm() {
        let scheduler = Scheduler::default();
        let first = scheduler.review(None, Grade::Good, 100).unwrap();
        let second = scheduler.review(Some(&first), Grade::Good, 90).unwrap();
        assert_eq!(second.last_day, 100);
        assert!(second.recall(95) <= 1.0);
    }
}
