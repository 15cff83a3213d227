//! How the call sounded: times of speech and pauses from energy, loudness from a reference implementation of EBU R 128.

use super::gate;
use crate::call::{Delivery, Place};
use crate::sound::Clip;

/// Shorter breaks belong to the words (the closed lips of a "p"), not between them (seconds).
const PAUSE: f32 = 0.25;
/// Speech lies at most this far under its loudest parts (dB)...
const BELOW_LOUD: f32 = 26.0;
/// ...and at least this far above the floor (dB).
const ABOVE_FLOOR: f32 = 7.0;

/// The vowels of a word lie at most this far under the loudest parts of a call (dB)...
const VOWEL: f32 = 20.0;
/// ...for at least so long in all (seconds). Sound that never does is breath.
const SHORTEST_VOWEL: f32 = 0.1;

/// Drops places in which the sound is too faint for a word beside the others of the call.
pub fn without_breath(samples: &[f32], places: &mut Vec<Place>) {
    let levels = gate::frames(samples);
    let Some((_, loud)) = floor_and_loud(&levels) else {
        return;
    };
    let frame = |seconds: f32| (seconds * crate::sound::RATE as f32 / gate::HOP as f32).round() as usize;
    places.retain(|p| {
        let from = frame(p.begin).min(levels.len());
        let inside = &levels[from..frame(p.end).clamp(from, levels.len())];
        inside.iter().filter(|l| **l > loud - VOWEL).count() >= frame(SHORTEST_VOWEL)
    });
}

/// Level under which a tenth of all frames lie, and level above which a twentieth do (dBFS).
fn floor_and_loud(levels: &[f32]) -> Option<(f32, f32)> {
    let mut sorted = levels.to_vec();
    sorted.sort_by(f32::total_cmp);
    let at = |share: usize| sorted.get((sorted.len() * share / 100).min(sorted.len().saturating_sub(1)));
    Some((*at(10)?, *at(95)?))
}

/// The stretches with sound in them, apart by at least [`PAUSE`]. Clicks shorter than 40 ms are left out.
pub fn stretches(samples: &[f32]) -> Vec<Place> {
    let levels = gate::frames(samples);
    let Some((floor, loud)) = floor_and_loud(&levels) else {
        return Vec::new();
    };
    let threshold = (floor + ABOVE_FLOOR).max(loud - BELOW_LOUD).min(loud - 3.0);
    let hop = gate::HOP as f32 / crate::sound::RATE as f32;
    let frame = gate::FRAME as f32 / crate::sound::RATE as f32;
    let mut out: Vec<Place> = Vec::new();
    for (n, level) in levels.iter().enumerate() {
        if *level <= threshold {
            continue;
        }
        // The middle of a frame stands for it: half of it may lie before the sound.
        let middle = n as f32 * hop + frame / 2.0;
        let (begin, end) = (middle - hop / 2.0, middle + hop / 2.0);
        match out.last_mut() {
            Some(last) if begin - last.end < PAUSE => last.end = end,
            _ => out.push(Place { begin, end }),
        }
    }
    out.retain(|p| p.end - p.begin > 0.04);
    out
}

/// The figures that need no words.
pub fn measure(clip: &Clip) -> Delivery {
    let sounding = stretches(&clip.samples);
    let pauses = sounding
        .windows(2)
        .map(|w| Place {
            begin: w[0].end,
            end: w[1].begin,
        })
        .collect();
    let length = clip.seconds() as f32;
    let keying = clip.keying;
    Delivery {
        prompt_to_press: keying.and_then(|k| k.prompt_end_to_press).map(|s| s as f32),
        press_to_sound: keying.and_then(|k| Some(sounding.first()?.begin - k.lead as f32)),
        sound_to_release: keying.and_then(|_| Some(length - sounding.last()?.end)),
        speech: sounding.iter().map(|p| p.end - p.begin).sum(),
        pauses,
        loudness: loudness(&clip.samples),
        peak: clip.levels.peak_dbfs,
        clipped: clip.levels.clipped,
        ..Delivery::default()
    }
}

/// Integrated loudness of one channel, LUFS; `None` for less than 0.4 s, which is the measure's own window, or silence.
fn loudness(samples: &[f32]) -> Option<f32> {
    let mut meter = ebur128::EbuR128::new(1, crate::sound::RATE, ebur128::Mode::I).ok()?;
    meter.add_frames_f32(samples).ok()?;
    let lufs = meter.loudness_global().ok()?;
    lufs.is_finite().then_some(lufs as f32)
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: f32 = crate::sound::RATE as f32;

    fn tone(seconds: f32, dbfs: f32) -> Vec<f32> {
        let amplitude = 10f32.powf(dbfs / 20.0);
        (0..(seconds * RATE) as usize)
            .map(|n| amplitude * (std::f32::consts::TAU * 1000.0 * n as f32 / RATE).sin())
            .collect()
    }

    /// EBU Tech 3341, case 1: a sine of 1 kHz with a peak of -23 dBFS on two channels reads -23.0 LUFS +-0.1; one channel
    /// alone carries half of the power and reads 3.01 lower (from memory). Our own levels must agree with the library's.
    #[test]
    fn loudness_is_that_of_the_published_test_signal() {
        let clip = Clip::from_samples(tone(20.0, -23.0));
        let lufs = loudness(&clip.samples).unwrap();
        assert!((lufs + 26.01).abs() < 0.1, "{lufs}");
        // RMS of a sine is 3.01 dB under its peak.
        assert!((clip.levels.rms_dbfs + 26.01).abs() < 0.1, "{:?}", clip.levels);
        assert_eq!(loudness(&[0.1; 1000]), None);
        assert_eq!(loudness(&vec![0.0; 32_000]), None);
    }

    #[test]
    fn breath_is_too_faint_for_a_word() {
        let sound = [tone(1.0, -20.0), tone(1.0, -45.0), tone(1.0, -35.0)].concat();
        let place = |begin: f32, end: f32| Place { begin, end };
        let mut places = vec![place(0.2, 0.4), place(1.1, 1.9), place(2.1, 2.9), place(2.5, 9.0)];
        without_breath(&sound, &mut places);
        assert_eq!(places, [place(0.2, 0.4), place(2.1, 2.9), place(2.5, 9.0)]);
        without_breath(&[], &mut places);
        assert_eq!(places.len(), 3);
    }

    #[test]
    fn times_of_a_call_are_found() {
        let mut samples = vec![0.0; (0.5 * RATE) as usize];
        samples.extend(tone(1.0, -20.0));
        samples.extend(vec![0.0; (0.6 * RATE) as usize]);
        samples.extend(tone(0.5, -20.0));
        // Too short for a pause.
        samples.extend(vec![0.0; (0.1 * RATE) as usize]);
        samples.extend(tone(0.4, -20.0));
        samples.extend(vec![0.0; (0.3 * RATE) as usize]);
        let mut clip = Clip::from_samples(samples);
        clip.keying = Some(crate::sound::Keying {
            prompt_end_to_press: Some(0.7),
            press_to_release: 3.3,
            lead: 0.1,
        });
        let d = measure(&clip);
        let near = |a: Option<f32>, b: f32| (a.unwrap() - b).abs() < 0.03;
        assert!(near(d.prompt_to_press, 0.7));
        assert!(near(d.press_to_sound, 0.4), "{d:?}");
        assert!(near(d.sound_to_release, 0.3), "{d:?}");
        assert_eq!(d.pauses.len(), 1);
        assert!(near(Some(d.pauses[0].end - d.pauses[0].begin), 0.6), "{d:?}");
        assert!(near(Some(d.speech), 2.0), "{d:?}");
    }
}
