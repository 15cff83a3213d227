//! A club's own recording of a prompt: cut to the words, brought to the level of the other lines.

use super::level;
use crate::site::Files;
use crate::sound::{Clip, ClipTrouble, RATE, SoundError, read_clip, read_clip_bytes};
use std::collections::BTreeMap;
use std::path::Path;

/// Length of the pieces whose loudness is compared, samples: 20 ms.
const PIECE: usize = RATE as usize / 50;
/// The words stand at least this far above the noise floor, dB.
const ABOVE_FLOOR: f64 = 10.0;
/// ... and are not quieter than the loudest piece by more than this, dB.
const BELOW_PEAK: f64 = 35.0;
/// What is left before the words and behind them, samples: soft beginnings and ends lie there.
const BEFORE: usize = RATE as usize * 15 / 100;
const BEHIND: usize = RATE as usize * 25 / 100;
/// The ends are faded over this many samples, so that the cut does not click: 10 ms.
const FADE: usize = RATE as usize / 100;
/// Words shorter than this are a knock, seconds.
const SHORTEST: f64 = 0.2;
/// No prompt is longer, seconds.
const LONGEST: f64 = 30.0;

/// Why a recording cannot be used as a prompt.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PromptError {
    /// No words in it.
    #[error("no words were heard in the recording; speak closer to the microphone and record it again")]
    NoWords,
    /// Clipped.
    #[error("the recording is clipped; turn the microphone down or go further away, and record it again")]
    Clipped,
    /// Too long for a prompt.
    #[error("the recording has {seconds:.0} seconds of words, a prompt at most {limit:.0}; record it again")]
    TooLong {
        /// Length, seconds.
        seconds: f64,
        /// Length allowed, seconds.
        limit: f64,
    },
}

/// A recording cut to its words, with soft ends and at the usual level. 16 kHz in, 16 kHz out.
pub fn prompt(clip: &Clip) -> Result<Vec<f32>, PromptError> {
    if clip.troubles.iter().any(|t| matches!(t, ClipTrouble::Clipping { .. })) {
        return Err(PromptError::Clipped);
    }
    let (from, to) = words(&clip.samples).ok_or(PromptError::NoWords)?;
    let seconds = (to - from) as f64 / f64::from(RATE);
    if seconds < SHORTEST {
        return Err(PromptError::NoWords);
    }
    if seconds > LONGEST {
        return Err(PromptError::TooLong {
            seconds,
            limit: LONGEST,
        });
    }
    let from = from.saturating_sub(BEFORE);
    let to = (to + BEHIND).min(clip.samples.len());
    let mut samples = clip.samples[from..to].to_vec();
    let n = samples.len();
    for i in 0..FADE.min(n / 2) {
        let share = i as f32 / FADE as f32;
        samples[i] *= share;
        samples[n - 1 - i] *= share;
    }
    Ok(level(samples))
}

/// Of the recordings that a site's files name those that cannot be played, with the reason: read as they will be when they are played.
fn unplayable(files: &Files, read: impl Fn(&str) -> Result<Clip, SoundError>) -> BTreeMap<String, String> {
    // What no text names is played by nobody, and a folder may hold hours of it.
    let named = |path: &&String| files.texts.values().any(|t| t.contains(path.as_str()));
    let sound = |path: &&String| path.to_ascii_lowercase().ends_with(".wav");
    let bad = |path: &String| Some((path.clone(), read(path).err()?.to_string()));
    files
        .others
        .iter()
        .filter(sound)
        .filter(named)
        .filter_map(bad)
        .collect()
}

/// As the checker takes them, of a site's folder.
pub fn unplayable_in(files: &Files, folder: &Path) -> BTreeMap<String, String> {
    unplayable(files, |path| read_clip(&folder.join(path)))
}

/// As the checker takes them, of a site whose files are in memory.
pub fn unplayable_among(files: &Files, bytes: &BTreeMap<String, Vec<u8>>) -> BTreeMap<String, String> {
    unplayable(files, |path| {
        read_clip_bytes(bytes.get(path).map_or(&[], Vec::as_slice), path)
    })
}

/// From the first to behind the last sample of pieces that hold words.
fn words(samples: &[f32]) -> Option<(usize, usize)> {
    let loudness: Vec<f64> = samples
        .chunks(PIECE)
        .map(|piece| {
            let energy: f64 = piece.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / piece.len() as f64;
            10.0 * (energy + 1e-12).log10()
        })
        .collect();
    let mut sorted = loudness.clone();
    sorted.sort_by(f64::total_cmp);
    let floor = *sorted.get(sorted.len() / 10)?;
    let peak = *sorted.last()?;
    if peak < -60.0 {
        return None;
    }
    let threshold = (floor + ABOVE_FLOOR).max(peak - BELOW_PEAK);
    let loud = |l: &f64| *l >= threshold;
    let first = loudness.iter().position(loud)?;
    let last = loudness.iter().rposition(loud)?;
    Some((first * PIECE, ((last + 1) * PIECE).min(samples.len())))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(n: usize, amplitude: f32) -> impl Iterator<Item = f32> {
        let mut state = 1_u32;
        (0..n).map(move |_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            ((state >> 8) as f32 / 8_388_608.0 - 1.0) * amplitude
        })
    }

    fn tone(seconds: f64, amplitude: f32) -> impl Iterator<Item = f32> {
        (0..(seconds * f64::from(RATE)) as usize)
            .map(move |i| (i as f32 * 300.0 * std::f32::consts::TAU / RATE as f32).sin() * amplitude)
    }

    fn silence(seconds: f64) -> usize {
        (seconds * f64::from(RATE)) as usize
    }

    #[test]
    fn silence_around_the_words_is_cut_and_the_level_set() {
        for (amplitude, hiss) in [(0.05, 0.0005), (0.5, 0.004)] {
            let samples = noise(silence(1.5), hiss)
                .chain(tone(1.0, amplitude))
                .chain(noise(silence(2.0), hiss))
                .collect();
            let done = prompt(&Clip::from_samples(samples)).unwrap();
            let seconds = done.len() as f64 / f64::from(RATE);
            assert!((1.35..1.5).contains(&seconds), "{seconds}");
            let levels = Clip::from_samples(done.clone()).levels;
            assert!((-21.0..-19.0).contains(&levels.rms_dbfs), "{levels:?}");
            assert!(done[0].abs() < 1e-6 && done[done.len() - 1].abs() < 1e-6);
        }
    }

    #[test]
    fn pauses_inside_stay() {
        let samples = tone(0.5, 0.2)
            .chain(noise(silence(1.0), 0.0005))
            .chain(tone(0.5, 0.2))
            .chain(noise(silence(1.0), 0.0005))
            .collect();
        let done = prompt(&Clip::from_samples(samples)).unwrap();
        let seconds = done.len() as f64 / f64::from(RATE);
        assert!((2.2..2.35).contains(&seconds), "{seconds}");
    }

    #[test]
    fn what_is_no_prompt_is_refused() {
        let clip = |samples: Vec<f32>| Clip::from_samples(samples);
        assert_eq!(prompt(&clip(vec![0.0; 16_000])), Err(PromptError::NoWords));
        assert_eq!(prompt(&clip(Vec::new())), Err(PromptError::NoWords));
        let knock = noise(16_000, 0.0005)
            .chain(tone(0.05, 0.5))
            .chain(noise(16_000, 0.0005));
        assert_eq!(prompt(&clip(knock.collect())), Err(PromptError::NoWords));
        let flat = tone(1.0, 3.0).map(|s| s.clamp(-1.0, 1.0)).chain(noise(16_000, 0.001));
        assert_eq!(prompt(&clip(flat.collect())), Err(PromptError::Clipped));
        let long = tone(31.0, 0.2).chain(noise(silence(5.0), 0.0005));
        assert!(matches!(
            prompt(&clip(long.collect())),
            Err(PromptError::TooLong { .. })
        ));
    }
}
