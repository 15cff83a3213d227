//! Is there speech in a clip, and where? Energy against the clip's own floor, nothing learnt.

use crate::call::Silence;
use std::ops::Range;

const RATE: usize = crate::sound::RATE as usize;
/// 20 ms frames every 10 ms.
pub(super) const FRAME: usize = RATE / 50;
pub(super) const HOP: usize = RATE / 100;
/// Quieter than this is silence whatever the floor (dBFS).
const SILENCE: f32 = -62.0;
/// Speech rises at least this far above the floor (dB).
const RISE: f32 = 7.0;
/// Kept before the first and after the last sound (samples): an onset is quiet.
const MARGIN: usize = RATE / 5;
/// Less sound than this is a click or a bump (seconds).
const SHORTEST: f32 = 0.15;

/// What the gate says.
#[derive(Debug, Clone, PartialEq)]
pub enum Gate {
    /// There may be speech in a range of samples.
    Speech {
        /// The range, with margins.
        range: Range<usize>,
        /// Time with sound in it (seconds).
        active: f32,
    },
    /// There is none; why.
    Nothing(Silence),
}

/// Level of each frame in dBFS.
pub fn frames(samples: &[f32]) -> Vec<f32> {
    let mut out = Vec::with_capacity(samples.len() / HOP + 1);
    let mut at = 0;
    while at + FRAME <= samples.len() {
        let power: f64 = samples[at..at + FRAME]
            .iter()
            .map(|s| f64::from(*s) * f64::from(*s))
            .sum::<f64>()
            / FRAME as f64;
        out.push((10.0 * (power + 1e-12).log10()) as f32);
        at += HOP;
    }
    out
}

/// Find the speech in 16 kHz samples.
pub fn speech(samples: &[f32]) -> Gate {
    let levels = frames(samples);
    if levels.is_empty() {
        return Gate::Nothing(Silence::TooShort);
    }
    let mut sorted = levels.clone();
    sorted.sort_by(f32::total_cmp);
    let floor = sorted[sorted.len() / 10];
    let loud = sorted[sorted.len() * 95 / 100];
    if loud < SILENCE {
        return Gate::Nothing(Silence::Quiet);
    }
    let threshold = (floor + RISE).min(loud - 3.0).max(SILENCE);
    let active: Vec<usize> = (0..levels.len()).filter(|i| levels[*i] > threshold).collect();
    let seconds = active.len() as f32 * HOP as f32 / RATE as f32;
    if seconds < SHORTEST {
        return Gate::Nothing(Silence::Clicks);
    }
    if loud - floor < RISE {
        return Gate::Nothing(Silence::EvenSound);
    }
    let first = active.first().map_or(0, |i| i * HOP).saturating_sub(MARGIN);
    let last = active
        .last()
        .map_or(samples.len(), |i| i * HOP + FRAME + MARGIN)
        .min(samples.len());
    Gate::Speech {
        range: first..last,
        active: seconds,
    }
}

/// The model wants at least a second; short clips get silence behind them.
pub fn padded(samples: &[f32]) -> Vec<f32> {
    let mut out = samples.to_vec();
    let shortest = RATE * 3 / 2;
    if out.len() < shortest {
        out.resize(shortest, 0.0);
    }
    out
}
