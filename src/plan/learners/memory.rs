//! How a unit is forgotten and learned. Times are days.

use fsrs::{FSRS, FSRS6_DEFAULT_DECAY, MemoryState};

/// A kind of forgetting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Forgetting {
    /// Recall falls as exp(-t/τ); each practice stretches τ, the more the nearer the unit was to being forgotten
    /// (Ebbinghaus's curve with a spacing effect).
    Exponential,
    /// Every practice leaves a trace that decays as a power of time, faster where it came while the unit was still fresh;
    /// recall follows the sum (the form of Pavlik and Anderson, "Practice and forgetting effects on vocabulary memory",
    /// 2005; their decay constants).
    PowerLaw,
    /// Similar values compete: practice of one weakens the other, unless both come close together, which teaches the
    /// difference (retroactive interference and discriminative contrast).
    Interference,
    /// The scheduler's own model, with each unit's pace of its own: the case made for the plan.
    Scheduler,
}

impl Forgetting {
    /// All kinds.
    pub const ALL: [Self; 4] = [Self::Exponential, Self::PowerLaw, Self::Interference, Self::Scheduler];
}

/// Recall of a unit that was never practised: the phrases were read once.
const READ_ONCE: f64 = 0.25;
/// A day's first τ and the scheduler's stabilities are scaled by the unit's pace; power-law time by its inverse.
const FIRST_TAU: f64 = 1.5;

/// One unit of a learner.
#[derive(Debug, Clone)]
pub(super) struct Unit {
    kind: Forgetting,
    /// Above 1: forgotten more slowly than usual.
    pace: f64,
    last: Option<f64>,
    tau: f64,
    strength: f64,
    /// Power law: for each day of practice the first trace and the sum of the others: mean time, how many, mean decay.
    traces: Vec<(f64, f64, f64)>,
    state: Option<MemoryState>,
}

impl Unit {
    pub fn new(kind: Forgetting, pace: f64) -> Self {
        Self {
            kind,
            pace,
            last: None,
            tau: FIRST_TAU * pace,
            strength: 0.0,
            traces: Vec::new(),
            state: None,
        }
    }

    fn since(&self, now: f64) -> f64 {
        self.last.map_or(f64::INFINITY, |l| (now - l).max(0.0))
    }

    /// What is left of the unit itself, 0 to 1, without rivals.
    pub fn recall(&self, now: f64) -> f64 {
        if self.last.is_none() {
            return READ_ONCE;
        }
        let kept = match self.kind {
            Forgetting::Exponential => (-self.since(now) / self.tau).exp(),
            Forgetting::PowerLaw => 1.0 / (1.0 + ((THRESHOLD - self.activation(now)) / NOISE).exp()),
            Forgetting::Interference => self.strength * (-self.since(now) / self.tau).exp(),
            Forgetting::Scheduler => self.state.map_or(0.0, |s| {
                let days = self.since(now) / self.pace;
                f64::from(fsrs::current_retrievability(s, days as f32, FSRS6_DEFAULT_DECAY))
            }),
        };
        // What was read once is not lost by practice.
        kept.clamp(READ_ONCE * 0.5, 1.0)
    }

    /// Practise it: an attempt, right or wrong, and the right words afterwards.
    pub fn practise(&mut self, now: f64, right: bool, scheduler: &FSRS) {
        let recall = self.recall(now);
        match self.kind {
            Forgetting::Exponential => {
                if self.last.is_some() {
                    let stretch = if right { 1.0 + 1.6 * (1.0 - recall) } else { 0.8 };
                    self.tau = (self.tau * stretch).max(FIRST_TAU * self.pace * 0.5);
                }
            }
            Forgetting::PowerLaw => self.leave_trace(now),
            Forgetting::Interference => {
                if self.last.is_some() && right {
                    self.tau *= 1.0 + 0.9 * (1.0 - recall);
                }
                self.strength += 0.35 * (1.0 - self.strength);
            }
            Forgetting::Scheduler => {
                // The library counts whole days.
                let days = (self.since(now) / self.pace).min(10_000.0).floor() as u32;
                let elapsed = self.state.map_or(0, |_| days);
                if let Ok(next) = scheduler.next_states(self.state, 0.9, elapsed) {
                    self.state = Some(if right { next.good.memory } else { next.again.memory });
                }
            }
        }
        self.last = Some(now);
    }

    /// A rival was practised.
    pub fn disturb(&mut self) {
        self.strength *= 0.94;
    }

    fn activation(&self, now: f64) -> f64 {
        let sum: f64 = self
            .traces
            .iter()
            .map(|(at, n, decay)| n * (seconds(now - at) / self.pace + 1.0).powf(-decay))
            .sum();
        sum.max(1e-12).ln()
    }

    fn leave_trace(&mut self, now: f64) {
        let before = if self.traces.is_empty() {
            f64::NEG_INFINITY
        } else {
            self.activation(now)
        };
        let decay = FRESH * before.exp() + LEAST_DECAY;
        let today = self.traces.iter().rev().take(2).filter(|t| t.0 >= now.floor()).count();
        match self.traces.last_mut() {
            // The first trace of a day lasts longest; the later ones are summed, since hundreds would cost too much time.
            Some((at, n, mean)) if today == 2 => {
                *at = (*at * *n + now) / (*n + 1.0);
                *mean = (*mean * *n + decay) / (*n + 1.0);
                *n += 1.0;
            }
            _ => self.traces.push((now, 1.0, decay)),
        }
    }
}

/// Pavlik and Anderson's constants: decay of a trace is `FRESH` times the activation's exponential plus `LEAST_DECAY`;
/// recall is one half at `THRESHOLD`, with the slope `NOISE`.
const FRESH: f64 = 0.217;
const LEAST_DECAY: f64 = 0.177;
const THRESHOLD: f64 = -0.704;
const NOISE: f64 = 0.255;
/// Outside practice time passes more slowly (theirs: 0.025).
const SLOW_TIME: f64 = 0.025;

fn seconds(days: f64) -> f64 {
    days.max(0.0) * 86_400.0 * SLOW_TIME
}

#[cfg(test)]
mod tests {
    use super::*;

    fn recall_after(kind: Forgetting, practised: &[f64], at: f64) -> f64 {
        let scheduler = FSRS::default();
        let mut unit = Unit::new(kind, 1.0);
        for day in practised {
            unit.practise(*day, true, &scheduler);
        }
        unit.recall(at)
    }

    #[test]
    fn every_kind_forgets_and_gains_more_from_spaced_practice() {
        for kind in Forgetting::ALL {
            let [soon, late, later] = [1.1, 3.0, 9.0].map(|day| recall_after(kind, &[0.0, 1.0], day));
            assert!(soon > late && late >= later, "{kind:?}: {soon} {late} {later}");
            let massed: Vec<f64> = (0..4).map(|i| 6.0 + f64::from(i) * 0.001).collect();
            let spaced = [0.0, 2.0, 4.0, 6.0];
            let (massed, spaced) = (recall_after(kind, &massed, 13.0), recall_after(kind, &spaced, 13.0));
            assert!(spaced > massed, "{kind:?}: {spaced} spaced, {massed} massed");
        }
    }

    #[test]
    fn the_shapes_differ() {
        // A power law loses little more between the 5th and the 20th day, an exponential nearly all.
        let lost = |kind| {
            let at = |day| recall_after(kind, &[0.0, 1.0, 2.0], day);
            at(22.0) / at(7.0)
        };
        assert!(lost(Forgetting::Scheduler) > lost(Forgetting::Exponential) + 0.2);
    }
}
