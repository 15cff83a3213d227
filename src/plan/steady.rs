//! How reliably an item comes, from the latest calls that show it.

use serde::Serialize;
use std::collections::VecDeque;

/// Below this many calls that decided an item nothing is said about its steadiness: with four right of four the interval
/// would still reach down to one half.
pub const MIN_CALLS: u32 = 5;
/// So many of the latest calls count: older ones show another student.
const WINDOW: usize = 20;

/// A share with the interval that holds the true one 19 times of 20 (Wilson's score interval, z = 1.96). All 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Share {
    /// Right of all.
    pub right: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// How reliably an item comes at the first attempt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Steadiness {
    /// Calls that decided it, of the latest 20.
    pub calls: u32,
    /// In how many of them it came right.
    pub right: u32,
}

impl Steadiness {
    /// The share with its interval; `None` with too few calls ([`MIN_CALLS`]).
    pub fn share(self) -> Option<Share> {
        (self.calls >= MIN_CALLS).then(|| share(self.right, self.calls))
    }
}

fn share(right: u32, of: u32) -> Share {
    let (low, high) = crate::wilson::interval(right.into(), of.into());
    Share {
        right: f64::from(right) / f64::from(of),
        low,
        high,
    }
}

/// The latest outcomes of an item.
#[derive(Debug, Clone, Default)]
pub(super) struct Record(VecDeque<bool>);

impl Record {
    pub fn add(&mut self, right: bool) {
        if self.0.len() == WINDOW {
            self.0.pop_front();
        }
        self.0.push_back(right);
    }

    pub fn steadiness(&self) -> Steadiness {
        Steadiness {
            calls: self.0.len() as u32,
            right: self.0.iter().filter(|r| **r).count() as u32,
        }
    }

    /// How much the student errs here, 0 to 1: failures among the latest ten, as if there had been two right calls more,
    /// so that one slip in one call does not outweigh everything else.
    pub fn errs(&self) -> f32 {
        let latest = self.0.iter().rev().take(10);
        let failed = latest.clone().filter(|r| !**r).count();
        failed as f32 / (latest.count() + 2) as f32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(outcomes: &[bool]) -> Record {
        let mut record = Record::default();
        for right in outcomes {
            record.add(*right);
        }
        record
    }

    /// Newcombe, "Two-sided confidence intervals for the single proportion" (1998), Table I, method 3 (score without
    /// continuity correction): 81 of 263 gives 0.2553 to 0.3662, 15 of 148 gives 0.0624 to 0.1605, 0 of 20 gives 0 to
    /// 0.1611, 1 of 29 gives 0.0061 to 0.1718.
    #[test]
    fn the_interval_is_the_published_one() {
        for (right, of, low, high) in [
            (81, 263, 0.2553, 0.3662),
            (15, 148, 0.0624, 0.1605),
            (0, 20, 0.0, 0.1611),
            (1, 29, 0.0061, 0.1718),
        ] {
            let share = share(right, of);
            assert!((share.low - low).abs() < 0.000_06, "{right} of {of}: {share:?}");
            assert!((share.high - high).abs() < 0.000_06, "{right} of {of}: {share:?}");
        }
    }

    #[test]
    fn few_calls_say_nothing() {
        assert_eq!(record(&[true; 4]).steadiness().share(), None);
        let share = record(&[true; 5]).steadiness().share().unwrap();
        assert!(share.low < 0.6 && (share.high - 1.0).abs() < 1e-9, "{share:?}");
    }

    #[test]
    fn old_calls_drop_out() {
        let mut record = record(&[false; 30]);
        (0..WINDOW).for_each(|_| record.add(true));
        assert_eq!(record.steadiness(), Steadiness { calls: 20, right: 20 });
        assert!(record.errs() < f32::EPSILON);
    }
}
