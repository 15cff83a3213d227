//! What is heard beside words: a site's recording, else a sound made here. Every sound is arithmetic, no recording ships.
//!
//! | sound | how it is made |
//! |---|---|
//! | scrape | noise around 1500 Hz, its loudness fluttering 17 times a second, dying away |
//! | shout | two calls of a buzz gliding up and down around 260 Hz through resonances at 750 and 1300 Hz, as of an open vowel |
//! | glider | noise that swells and fades within 2.6 s, and a whistle falling from 1000 to 700 Hz as it passes |
//! | engine | a buzz at 28 Hz, its pulses a little uneven, dulled above 400 Hz |
//! | steps | five dull thuds 0.42 s apart, then two barks: a rough buzz falling from 480 to 300 Hz |
//! | jerk | three blows on steel: partials at 290, 690, 1230, 1980 and 2870 Hz, the higher the shorter |
//! | clack | two short blows on steel 0.12 s apart: partials at 900, 1740 and 3100 Hz |
//! | bang | a blow of dull noise that dies within 0.3 s, and a tone falling from 500 to 120 Hz as of a slack cable |
//! | horn | two buzzes, 420 and 500 Hz, for a second |
//! | phone | two tones, 800 and 1000 Hz, 16 times a second by turns, twice 0.4 s |

use super::level;
use crate::site::Noise;
use crate::sound::{RATE, SoundError, read_clip};
use std::f64::consts::TAU;
use std::path::Path;

/// A sound at 16 kHz: the recording if there is one that can be read, else the one made here. The error says why a
/// recording was not used.
pub fn sound(noise: Noise, clip: Option<&Path>) -> (Vec<f32>, Option<SoundError>) {
    match clip.map(read_clip) {
        Some(Ok(clip)) => (level(clip.samples), None),
        Some(Err(e)) => (made(noise), Some(e)),
        None => (made(noise), None),
    }
}

/// The sound made by the program.
pub fn made(noise: Noise) -> Vec<f32> {
    let samples = match noise {
        Noise::Scrape => scrape(),
        Noise::Shout => shout(),
        Noise::Glider => glider(),
        Noise::Engine => engine(),
        Noise::Steps => steps(),
        Noise::Jerk => jerk(),
        Noise::Phone => phone(),
        Noise::Clack => clack(),
        Noise::Bang => bang(),
        Noise::Horn => horn(),
    };
    level(samples.into_iter().map(|s| s as f32).collect())
}

const SECOND: f64 = RATE as f64;

/// Times of the samples of a stretch, seconds.
fn times(seconds: f64) -> impl Iterator<Item = f64> {
    (0..(seconds * SECOND) as u32).map(|n| f64::from(n) / SECOND)
}

/// White noise, the same each time: an xorshift generator (Marsaglia, "Xorshift RNGs", 2003).
struct White(u32);

impl White {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 17;
        self.0 ^= self.0 << 5;
        f64::from(self.0) / f64::from(u32::MAX) * 2.0 - 1.0
    }
}

/// A resonance: two poles at a frequency, `width` Hz wide.
struct Resonance {
    a: f64,
    b: f64,
    gain: f64,
    before: (f64, f64),
}

impl Resonance {
    fn at(hertz: f64, width: f64) -> Self {
        let r = (-TAU / 2.0 * width / SECOND).exp();
        Self {
            a: 2.0 * r * (TAU * hertz / SECOND).cos(),
            b: -r * r,
            gain: 1.0 - r,
            before: (0.0, 0.0),
        }
    }

    fn run(&mut self, x: f64) -> f64 {
        let y = self.gain * x + self.a * self.before.0 + self.b * self.before.1;
        self.before = (y, self.before.0);
        y
    }
}

/// A saw-tooth, as rough as a throat or an exhaust; the phase is moved on by a pitch in Hz.
fn buzz(phase: &mut f64, hertz: f64) -> f64 {
    *phase = (*phase + hertz / SECOND).fract();
    2.0 * *phase - 1.0
}

/// Rises within `rise` seconds, falls to a third within each `fall` seconds after.
fn blow(t: f64, rise: f64, fall: f64) -> f64 {
    if t < rise { t / rise } else { ((rise - t) / fall).exp() }
}

fn scrape() -> Vec<f64> {
    let (mut white, mut band) = (White(7), Resonance::at(1500.0, 900.0));
    times(1.4)
        .map(|t| {
            let flutter = 0.6 + 0.4 * (TAU * 17.0 * t).sin() * (TAU * 2.3 * t).cos();
            band.run(white.next()) * flutter * blow(t, 0.05, 0.8)
        })
        .collect()
}

fn shout() -> Vec<f64> {
    let mut phase = 0.0;
    let (mut low, mut high) = (Resonance::at(750.0, 120.0), Resonance::at(1300.0, 160.0));
    times(1.3)
        .map(|t| {
            let t = t % 0.65;
            let pitch = 230.0 + 90.0 * (TAU / 2.0 * (t / 0.45).min(1.0)).sin();
            let source = if t < 0.45 {
                buzz(&mut phase, pitch) * (t / 0.03).min(1.0)
            } else {
                0.0
            };
            low.run(source) + 0.6 * high.run(source)
        })
        .collect()
}

fn glider() -> Vec<f64> {
    let (mut white, mut band, mut phase) = (White(11), Resonance::at(700.0, 1200.0), 0.0);
    times(2.6)
        .map(|t| {
            let swell = (-((t - 1.3) / 0.55f64).powi(2)).exp();
            let pass = 1.0 / (1.0 + ((t - 1.3) * -9.0).exp());
            phase = (phase + (1000.0 - 300.0 * pass) / SECOND).fract();
            swell * (band.run(white.next()) + 0.05 * (TAU * phase).sin())
        })
        .collect()
}

fn clack() -> Vec<f64> {
    times(0.8)
        .map(|t| {
            [0.0, 0.12]
                .into_iter()
                .filter(|at| t >= *at)
                .map(|at| {
                    let t = t - at;
                    [900.0, 1740.0, 3100.0]
                        .into_iter()
                        .map(|hertz: f64| (TAU * hertz * t).sin() * blow(t, 0.001, 15.0 / hertz))
                        .sum::<f64>()
                })
                .sum()
        })
        .collect()
}

fn horn() -> Vec<f64> {
    let (mut low, mut high) = (0.0, 0.0);
    times(1.0)
        .map(|t| (buzz(&mut low, 420.0) + buzz(&mut high, 500.0)) * (t / 0.02).min(1.0) * ((1.0 - t) / 0.05).min(1.0))
        .collect()
}

fn bang() -> Vec<f64> {
    let (mut white, mut dull, mut phase) = (White(13), Resonance::at(220.0, 300.0), 0.0);
    times(1.2)
        .map(|t| {
            let hertz = 120.0 + 380.0 * (-t / 0.4).exp();
            phase = (phase + hertz / SECOND).fract();
            2.0 * dull.run(white.next()) * blow(t, 0.002, 0.1) + 0.3 * (TAU * phase).sin() * blow(t, 0.05, 0.35)
        })
        .collect()
}

fn engine() -> Vec<f64> {
    let (mut white, mut phase, mut dull) = (White(5), 0.0, 0.0);
    let keep = (-TAU * 400.0 / SECOND).exp();
    let mut uneven = 1.0;
    times(2.4)
        .map(|t| {
            let before = phase;
            let raw = buzz(&mut phase, 28.0 * uneven);
            if phase < before {
                uneven = 1.0 + 0.08 * white.next();
            }
            dull = keep * dull + (1.0 - keep) * raw;
            dull * (t / 0.6).min(1.0) * ((2.4 - t) / 0.6).min(1.0)
        })
        .collect()
}

fn steps() -> Vec<f64> {
    let (mut white, mut dull, mut phase) = (White(3), Resonance::at(140.0, 90.0), 0.0);
    let mut mouth = Resonance::at(900.0, 500.0);
    times(3.0)
        .map(|t| {
            let hit = if t < 2.1 { blow(t % 0.42, 0.004, 0.035) } else { 0.0 };
            let thud = 2.0 * dull.run(white.next() * hit);
            let bark = t - 2.2;
            let in_bark = bark.rem_euclid(0.35);
            let voice = if bark > 0.0 && in_bark < 0.16 {
                let fall = 1.0 - in_bark / 0.16;
                (0.8 * buzz(&mut phase, 300.0 + 180.0 * fall) + 0.4 * white.next()) * fall.sqrt()
            } else {
                0.0
            };
            thud + 0.5 * mouth.run(voice)
        })
        .collect()
}

fn jerk() -> Vec<f64> {
    const PARTIALS: [f64; 5] = [290.0, 690.0, 1230.0, 1980.0, 2870.0];
    times(1.2)
        .map(|t| {
            [0.0, 0.13, 0.41]
                .into_iter()
                .filter(|at| t >= *at)
                .map(|at| {
                    let since = t - at;
                    let ring = |f: &f64| (TAU * f * since).sin() * blow(since, 0.002, 60.0 / f);
                    PARTIALS.iter().map(ring).sum::<f64>()
                })
                .sum()
        })
        .collect()
}

fn phone() -> Vec<f64> {
    times(1.4)
        .map(|t| {
            let on = t % 0.6;
            if t >= 1.2 || on >= 0.4 {
                return 0.0;
            }
            let tone = if ((on * 32.0) as u32).is_multiple_of(2) {
                800.0
            } else {
                1000.0
            };
            (TAU * tone * on).sin()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Energy at a frequency, as a share of all (Goertzel, "An algorithm for the evaluation of finite trigonometric
    /// series", 1958, over blocks of 40 ms).
    fn share(samples: &[f32], hertz: f64) -> f64 {
        let c = 2.0 * (TAU * hertz / SECOND).cos();
        let (mut at, mut all) = (0.0, 0.0);
        for block in samples.chunks_exact(640) {
            let (mut s1, mut s2) = (0.0, 0.0);
            for x in block {
                (s1, s2) = (f64::from(*x) + c * s1 - s2, s1);
                all += f64::from(*x).powi(2);
            }
            at += (s1 * s1 + s2 * s2 - c * s1 * s2) * 2.0 / 640.0;
        }
        at / all
    }

    #[test]
    fn every_sound_is_short_heard_and_not_too_loud() {
        for noise in Noise::ALL {
            let samples = made(noise);
            let seconds = samples.len() as f64 / SECOND;
            assert!((0.8..3.5).contains(&seconds), "{noise:?} lasts {seconds} s");
            let peak = samples.iter().fold(0f32, |m, s| m.max(s.abs()));
            assert!((0.1..0.72).contains(&peak), "{noise:?} has a peak of {peak}");
            assert!(samples.iter().all(|s| s.is_finite()));
            assert_eq!(samples, made(noise));
        }
    }

    #[test]
    fn sounds_are_where_their_description_says() {
        let phone = made(Noise::Phone);
        let tones = share(&phone, 800.0) + share(&phone, 1000.0);
        assert!(tones > 0.5, "{tones}");
        for (noise, loud, quiet) in [
            (Noise::Scrape, 1500.0, 150.0),
            (Noise::Engine, 84.0, 3000.0),
            (Noise::Steps, 140.0, 3000.0),
            (Noise::Shout, 750.0, 3500.0),
            (Noise::Glider, 700.0, 6000.0),
        ] {
            let samples = made(noise);
            let (loud, quiet) = (share(&samples, loud), share(&samples, quiet));
            assert!(loud > 4.0 * quiet, "{noise:?}: {loud} and {quiet}");
        }
    }

    #[test]
    fn a_recording_comes_first_and_a_broken_one_is_told() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a.wav");
        crate::sound::write_wav(&path, &vec![0.25; 8000]).unwrap();
        let (samples, trouble) = sound(Noise::Shout, Some(&path));
        assert!(trouble.is_none() && samples.len() == 8000);
        let (samples, trouble) = sound(Noise::Shout, Some(&dir.path().join("none.wav")));
        assert!(trouble.is_some());
        assert_eq!(samples, made(Noise::Shout));
    }
}
