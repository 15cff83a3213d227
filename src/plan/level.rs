//! Levels: how much the student is given, and how quiet it is. They rise and fall with the record, and a student can
//! always choose another one.
//!
//! The rule: only first attempts that decided something count, since the last change of level. Up after 9 right of the
//! latest 10; down after 4 or fewer right of the latest 8. Between the two nothing moves, and after a change all begins
//! anew, so that a level is never left on the strength of the calls that led to it.
//!
//! Where the student chose another level than the rule's: what came right higher up counts here too, and what failed lower
//! down; a failure higher up or a success lower down says nothing about this level.
//!
//! Below these levels a call is taught, step by step: with all its words, then with their first letters. The ladder has no
//! part in that.

use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// The latest calls looked at for rising, and how many of them must be right.
const RISE: (usize, usize) = (10, 9);
/// The latest calls looked at for falling, and how many may be right at most.
const FALL: (usize, usize) = (8, 4);

/// How a situation is put to the student.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Level {
    /// All words of the call stand there: reading aloud, before anything is asked from memory.
    WithWords,
    /// The first letter of each word stands there.
    FirstLetters,
    /// Callsign, crew and cable stand there in writing.
    #[default]
    Written,
    /// Only what would be seen at the launch point: who sits in it, which cable lies on which side.
    LaunchPoint,
    /// The same with others on the frequency, a hissing radio, and a winch driver who waits.
    BusyField,
}

impl Level {
    /// All levels, the easiest first.
    pub const ALL: [Self; 5] = [
        Self::WithWords,
        Self::FirstLetters,
        Self::Written,
        Self::LaunchPoint,
        Self::BusyField,
    ];

    /// Do words of the call stand before the student? Then a right call shows nothing about what is remembered.
    pub fn shows_words(self) -> bool {
        self < Self::Written
    }

    /// How much of the words a call is taught with, after so many right first attempts at it (wrong ones taken off): all of
    /// them twice, first letters twice; then `None`, and the record sets the level.
    pub fn taught_after(right: u32) -> Option<Self> {
        match right {
            0 | 1 => Some(Self::WithWords),
            2 | 3 => Some(Self::FirstLetters),
            _ => None,
        }
    }

    /// The word for it on a command line and in the logbook.
    pub fn word(self) -> &'static str {
        match self {
            Self::WithWords => "with-words",
            Self::FirstLetters => "first-letters",
            Self::Written => "written",
            Self::LaunchPoint => "launch-point",
            Self::BusyField => "busy-field",
        }
    }

    /// The level of this word.
    pub fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|l| l.word() == word)
    }

    fn up(self) -> Self {
        match self {
            Self::Written => Self::LaunchPoint,
            _ => Self::BusyField,
        }
    }

    fn down(self) -> Self {
        match self {
            Self::BusyField => Self::LaunchPoint,
            _ => Self::Written,
        }
    }
}

/// The level by the record.
#[derive(Debug, Clone, Default)]
pub(super) struct Ladder {
    pub level: Level,
    since: VecDeque<bool>,
}

impl Ladder {
    /// A first attempt at a level came right, or not.
    pub fn add(&mut self, at: Level, right: bool) {
        let shows = if right { at >= self.level } else { at <= self.level };
        if !shows {
            return;
        }
        if self.since.len() == RISE.0 {
            self.since.pop_front();
        }
        self.since.push_back(right);
        let right_of = |n: usize| self.since.iter().rev().take(n).filter(|r| **r).count();
        let next = if self.since.len() >= RISE.0 && right_of(RISE.0) >= RISE.1 {
            self.level.up()
        } else if self.since.len() >= FALL.0 && right_of(FALL.0) <= FALL.1 {
            self.level.down()
        } else {
            self.level
        };
        if next != self.level {
            self.level = next;
            self.since.clear();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn after(calls: &[(Level, bool)]) -> Level {
        let mut ladder = Ladder::default();
        for (at, right) in calls {
            ladder.add(*at, *right);
        }
        ladder.level
    }

    #[test]
    fn nine_of_ten_rise_and_four_of_eight_fall() {
        use Level::{BusyField, LaunchPoint, Written};
        let mut calls = vec![(Written, false)];
        calls.extend([(Written, true); 8]);
        assert_eq!(after(&calls), Written, "nine calls are too few");
        calls.push((Written, true));
        assert_eq!(after(&calls), LaunchPoint);
        // Anew: nine right calls at the next level are too few again, and seven failures too.
        calls.extend([(LaunchPoint, true); 9]);
        assert_eq!(after(&calls), LaunchPoint);
        calls.push((LaunchPoint, true));
        assert_eq!(after(&calls), BusyField);
        calls.extend([(BusyField, true); 4]);
        calls.extend([(BusyField, false); 3]);
        assert_eq!(after(&calls), BusyField);
        calls.push((BusyField, false));
        assert_eq!(after(&calls), LaunchPoint);
    }

    #[test]
    fn between_rise_and_fall_nothing_moves() {
        // Three of four right, for ever: neither nine of ten nor four of eight.
        let calls: Vec<_> = (0..400).map(|i| (Level::Written, i % 4 != 0)).collect();
        assert_eq!(after(&calls), Level::Written);
        let mut calls = vec![(Level::Written, true); 10];
        calls.extend((0..400).map(|i| (Level::LaunchPoint, i % 4 != 0)));
        assert_eq!(after(&calls), Level::LaunchPoint);
    }

    #[test]
    fn a_chosen_level_counts_only_where_it_shows_something() {
        use Level::{BusyField, Written};
        assert_eq!(after(&[(BusyField, false); 40]), Written);
        assert_eq!(after(&[(BusyField, true); 10]), Level::LaunchPoint);
        let mut calls = vec![(BusyField, true); 20];
        assert_eq!(after(&calls), BusyField);
        calls.extend([(Written, true); 40]);
        assert_eq!(after(&calls), BusyField);
        calls.extend([(Written, false); 8]);
        assert_eq!(after(&calls), Level::LaunchPoint);
    }

    #[test]
    fn words_fade_as_a_call_comes_right_and_teach_nothing_about_memory() {
        let shown: Vec<_> = (0..6).map(Level::taught_after).collect();
        let (words, letters) = (Some(Level::WithWords), Some(Level::FirstLetters));
        assert_eq!(shown, [words, words, letters, letters, None, None]);
        for level in Level::ALL {
            assert_eq!(
                level.shows_words(),
                matches!(level, Level::WithWords | Level::FirstLetters)
            );
        }
        assert_eq!(
            after(&[(Level::WithWords, true); 40]),
            Level::Written,
            "nobody rises by reading aloud"
        );
    }

    #[test]
    fn words_come_back() {
        for level in Level::ALL {
            assert_eq!(Level::of(level.word()), Some(level));
            assert_eq!(serde_json::to_value(level).unwrap(), level.word());
        }
        assert_eq!(Level::of("hard"), None);
    }
}
