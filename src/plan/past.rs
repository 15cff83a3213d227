//! A past call, as plain data: the logbook makes these from its rows, the simulation from its learners.

use super::level::Level;
use crate::call::{Outcome, Situation, Verdict};

/// A time with the local clock's distance from UTC: the scheduler counts in days as the student lives them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Moment {
    /// Milliseconds since 1970-01-01 UTC.
    pub ms: i64,
    /// The local time's distance from UTC, seconds, east positive.
    pub utc_offset_seconds: i32,
}

impl Moment {
    /// The local calendar day, counted from 1970-01-01.
    pub fn day(self) -> i64 {
        (self.ms + i64::from(self.utc_offset_seconds) * 1000).div_euclid(86_400_000)
    }
}

/// One element of a past call.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answered {
    /// Element id.
    pub element: String,
    /// The verdict that counts: an instructor's before the program's.
    pub verdict: Verdict,
    /// The value heard, in its one written form.
    pub heard: Option<String>,
}

/// One past call.
#[derive(Debug, Clone, PartialEq)]
pub struct Past {
    /// When it was made.
    pub at: Moment,
    /// Site id.
    pub site: String,
    /// Step id.
    pub step: String,
    /// What was dealt.
    pub situation: Situation,
    /// The level it was dealt at; `None` where that was not kept.
    pub level: Option<Level>,
    /// The first attempt of its turn. Later ones answer a question that names what was wrong, so they show nothing.
    pub first_attempt: bool,
    /// Kept out of the record until somebody has judged it.
    pub held_out: bool,
    /// The student called stop in it, which is always right: what else was missing is no error.
    pub stopped: bool,
    /// What came of it.
    pub outcome: Outcome,
    /// The verdicts.
    pub verdicts: Vec<Answered>,
}

impl Past {
    /// Does this call show anything about the student? Reading words aloud does not.
    pub fn counts(&self) -> bool {
        !self.level.is_some_and(Level::shows_words)
            && self.first_attempt
            && !self.held_out
            && !self.stopped
            && self.outcome != Outcome::NothingHeard
    }

    /// The verdict on an element.
    pub fn verdict(&self, element: &str) -> Option<&Answered> {
        self.verdicts.iter().find(|v| v.element == element)
    }

    /// Did the whole call come right? `None` where the sound did not decide. From the verdicts, not from the outcome:
    /// an instructor may have overruled some.
    pub fn right(&self, critical: &[String]) -> Option<bool> {
        let of = |verdict: fn(Verdict) -> bool| {
            critical
                .iter()
                .any(|c| self.verdict(c).is_some_and(|a| verdict(a.verdict)))
        };
        if of(|v| matches!(v, Verdict::Wrong | Verdict::Missing)) {
            Some(false)
        } else if of(|v| v == Verdict::Unsure) || critical.iter().any(|c| self.verdict(c).is_none()) {
            None
        } else {
            Some(true)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_is_the_local_one() {
        // 2026-11-25 23:30 UTC is the 26th in Berlin (UTC+1) and still the 25th in New York (UTC-5).
        let at = |utc_offset_seconds| Moment {
            ms: 1_795_649_400_000,
            utc_offset_seconds,
        };
        let utc = at(0).day();
        assert_eq!(utc, 20_782);
        assert_eq!(at(3600).day(), utc + 1);
        assert_eq!(at(-5 * 3600).day(), utc);
    }
}
