//! A session of chosen minutes.

use super::past::Moment;
use crate::call::Situation;
use crate::site::{Site, Step};

/// Words a second of a call spoken without haste.
const PACE: f32 = 2.3;
/// Prompt, answer and a look at the verdicts, seconds.
const AROUND: f32 = 12.0;

/// About how long a turn of a step takes, seconds, when the call is right at once. Ours: an estimate for planning, not
/// measured on students.
pub fn expected_seconds(site: &Site, step: &Step, situation: &Situation) -> f32 {
    let words = situation.taught_call(site, step).split_whitespace().count();
    AROUND + words as f32 / PACE
}

/// A session that is over after some minutes, between two turns: nobody is cut off in a call.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Session {
    began: Moment,
    minutes: u32,
}

impl Session {
    /// A session of so many minutes that begins now.
    pub fn new(minutes: u32, began: Moment) -> Self {
        Self { began, minutes }
    }

    /// Seconds that are left; 0 when it is over.
    pub fn left(&self, now: Moment) -> u32 {
        let end = self.began.ms + i64::from(self.minutes) * 60_000;
        u32::try_from((end - now.ms).max(0) / 1000).unwrap_or(u32::MAX)
    }

    /// Is it over? Ask before the next situation is dealt.
    pub fn over(&self, now: Moment) -> bool {
        self.left(now) == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_session_ends_after_its_minutes() {
        let at = |seconds: i64| Moment {
            ms: 1_000 * seconds,
            utc_offset_seconds: 3600,
        };
        let session = Session::new(2, at(1000));
        assert_eq!(session.left(at(1000)), 120);
        assert!(!session.over(at(1119)));
        assert!(session.over(at(1120)));
        assert!(session.over(at(99_999)));
    }

    #[test]
    fn a_longer_call_takes_longer() {
        let site = crate::plan::deck::tests::site("larkmoor");
        let seconds = |step: &str| {
            let situation = Situation::new(site.fleet[0].registration.clone(), 2, "north");
            expected_seconds(&site, site.step(step).unwrap(), &situation)
        };
        assert!(seconds("stop") < seconds("ready") && seconds("ready") < seconds("briefing"));
    }
}
