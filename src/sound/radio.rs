//! What a radio does to a voice: the narrow channel, hiss, and the squelch's burst of noise when the carrier drops.

use std::f64::consts::TAU;

use biquad::{Biquad, Coefficients, DirectForm2Transposed, ToHertz, Type};

use super::clip::RATE;

/// Lower edge of the channel, Hz.
pub const LOW: f64 = 300.0;
/// Upper edge of the channel, Hz.
pub const HIGH: f64 = 3400.0;

/// A radio channel: a band-pass of 300 to 3400 Hz (Butterworth, fourth order at each edge), hiss and a squelch tail.
///
/// The same seed gives the same sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Radio {
    /// RMS of the hiss under the voice, dBFS, before the channel narrows it.
    pub hiss_dbfs: f64,
    /// RMS of the squelch tail, dBFS, before the channel narrows it.
    pub tail_dbfs: f64,
    /// Length of the squelch tail, seconds; 0 for none.
    pub tail_seconds: f64,
    /// Start of the noise.
    pub seed: u64,
}

impl Default for Radio {
    fn default() -> Self {
        Self {
            hiss_dbfs: -42.0,
            tail_dbfs: -20.0,
            tail_seconds: 0.12,
            seed: 0,
        }
    }
}

impl Radio {
    /// The voice as it comes out of the loudspeaker: 16 kHz in and out, longer by the squelch tail. Nothing in, nothing
    /// out.
    pub fn apply(&self, samples: &[f32]) -> Vec<f32> {
        if samples.is_empty() {
            return Vec::new();
        }
        let mut channel = Channel::new();
        let mut noise = Noise::new(self.seed);
        let hiss = amplitude(self.hiss_dbfs);
        let tail = amplitude(self.tail_dbfs);
        let tail_len = (self.tail_seconds.clamp(0.0, 5.0) * f64::from(RATE)) as usize;
        let mut out = Vec::with_capacity(samples.len() + tail_len);
        for s in samples {
            let s = if s.is_finite() { f64::from(*s) } else { 0.0 };
            out.push(channel.run(s + hiss * noise.next()));
        }
        for _ in 0..tail_len {
            out.push(channel.run(tail * noise.next()));
        }
        out.into_iter().map(|s| s.clamp(-1.0, 1.0) as f32).collect()
    }
}

fn amplitude(dbfs: f64) -> f64 {
    10f64.powf(dbfs.min(0.0) / 20.0)
}

/// The band-pass: two second-order sections for each edge.
struct Channel(Vec<DirectForm2Transposed<f64>>);

impl Channel {
    fn new() -> Self {
        // The quality factors of a fourth-order Butterworth filter's two sections: 1 / (2 cos(pi/8)), 1 / (2 cos(3 pi/8)).
        let qs = [1.0 / 8.0, 3.0 / 8.0].map(|part| 0.5 / (std::f64::consts::PI * part).cos());
        let edges = [(Type::HighPass, LOW), (Type::LowPass, HIGH)];
        let sections = edges.iter().flat_map(|(kind, edge)| qs.map(|q| (*kind, *edge, q)));
        Self(
            sections
                .filter_map(|(kind, edge, q)| {
                    // Both edges lie below half the rate and both factors are positive, so no section is ever left out;
                    // the test against theory would show it.
                    Coefficients::<f64>::from_params(kind, f64::from(RATE).hz(), edge.hz(), q).ok()
                })
                .map(DirectForm2Transposed::<f64>::new)
                .collect(),
        )
    }

    fn run(&mut self, s: f64) -> f64 {
        self.0.iter_mut().fold(s, |s, section| section.run(s))
    }
}

/// White noise of RMS 1: a 64-bit mixing counter (SplitMix64, Steele, Lea and Flood 2014) through Box and Muller's
/// transform.
struct Noise {
    state: u64,
}

impl Noise {
    fn new(seed: u64) -> Self {
        Self { state: seed }
    }

    /// Evenly spread over 0 (excluded) to 1.
    fn unit(&mut self) -> f64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
        ((z >> 11) + 1) as f64 / (1u64 << 53) as f64
    }

    fn next(&mut self) -> f64 {
        (-2.0 * self.unit().ln()).sqrt() * (TAU * self.unit()).cos()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SILENT: Radio = Radio {
        hiss_dbfs: -400.0,
        tail_dbfs: -400.0,
        tail_seconds: 0.0,
        seed: 1,
    };

    fn rms_db(samples: &[f32]) -> f64 {
        let e: f64 = samples.iter().map(|s| f64::from(*s) * f64::from(*s)).sum();
        10.0 * (e / samples.len() as f64).log10()
    }

    /// Outside check, source: the Butterworth magnitude |H|^2 = 1 / (1 + (w/wc)^(2n)) (S. Butterworth, "On the Theory of
    /// Filter Amplifiers", Experimental Wireless 7, 1930), with each frequency mapped by the bilinear transform,
    /// w = tan(pi f / fs) (Oppenheim and Schafer, "Discrete-Time Signal Processing", section on the bilinear
    /// transformation). The high-pass is its mirror image, wc/w in place of w/wc.
    fn theory_db(hz: f64) -> f64 {
        let warp = |f: f64| (std::f64::consts::PI * f / f64::from(RATE)).tan();
        let low_pass = 1.0 / (1.0 + (warp(hz) / warp(HIGH)).powi(8));
        let high_pass = 1.0 / (1.0 + (warp(LOW) / warp(hz)).powi(8));
        10.0 * (low_pass * high_pass).log10()
    }

    #[test]
    fn the_channel_is_the_filter_of_theory() {
        for hz in [
            60.0, 100.0, 150.0, 200.0, 300.0, 400.0, 1000.0, 2000.0, 3000.0, 3400.0, 4000.0, 5000.0, 6000.0, 7000.0,
        ] {
            let tone: Vec<f32> = (0..32_000)
                .map(|i| (0.5 * (TAU * hz * f64::from(i) / f64::from(RATE)).sin()) as f32)
                .collect();
            let out = SILENT.apply(&tone);
            let gain = rms_db(&out[16_000..]) - rms_db(&tone[16_000..]);
            let theory = theory_db(hz);
            assert!(
                (gain - theory).abs() < 0.05,
                "{hz} Hz: {gain:.2} dB, theory {theory:.2} dB"
            );
        }
        assert!((theory_db(LOW) + 3.01).abs() < 0.02 && (theory_db(HIGH) + 3.01).abs() < 0.02);
    }

    #[test]
    fn the_same_seed_gives_the_same_sound() {
        let tone = vec![0.1; 4000];
        let radio = Radio {
            seed: 7,
            ..Radio::default()
        };
        assert_eq!(radio.apply(&tone), radio.apply(&tone));
        assert_ne!(radio.apply(&tone), Radio { seed: 8, ..radio }.apply(&tone));
    }

    #[test]
    fn the_tail_follows_the_voice_and_stands_out() {
        let radio = Radio::default();
        let out = radio.apply(&vec![0.0; 16_000]);
        assert_eq!(out.len(), 16_000 + 1920);
        // White noise in a band of 3100 of 8000 Hz keeps 10 lg(3100/8000) = -4.1 dB.
        let hiss = rms_db(&out[2000..16_000]);
        let tail = rms_db(&out[16_200..]);
        assert!((hiss + 46.1).abs() < 1.0, "hiss {hiss:.1}");
        assert!((tail + 24.1).abs() < 1.0, "tail {tail:.1}");
    }

    #[test]
    fn odd_input_stays_within_bounds() {
        assert!(Radio::default().apply(&[]).is_empty());
        let out = Radio {
            hiss_dbfs: 20.0,
            tail_seconds: -1.0,
            ..Radio::default()
        }
        .apply(&[f32::NAN, 9.0, -9.0, 0.0]);
        assert_eq!(out.len(), 4);
        assert!(out.iter().all(|s| s.abs() <= 1.0));
    }
}
