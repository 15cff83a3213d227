//! The log-mel spectrum as the model was trained with it: 25 ms Hann windows every 10 ms, power in mel bands, the top 8
//! decades below the loudest kept. Source: the model's published preprocessing.

use super::kernel::{Rows, products};
use rayon::prelude::*;
use std::f64::consts::TAU;

/// Samples of a window.
const WINDOW: usize = 400;
/// Samples from one window to the next.
const HOP: usize = 160;

/// The transform, made once a model.
pub struct Spectrum {
    /// Windowed cosines and sines, one row each.
    waves: Vec<f32>,
    bins: usize,
    /// One row a band, padded to a multiple of eight bins.
    filters: Vec<f32>,
    padded: usize,
    bands: usize,
}

impl Spectrum {
    /// From the model's filters.
    pub fn new(filters: &[f32], bins: usize) -> Self {
        let mut waves = Vec::with_capacity(2 * bins * WINDOW);
        for wave in [f64::cos, f64::sin] {
            for bin in 0..bins {
                for n in 0..WINDOW {
                    let hann = 0.5 * (1.0 - (TAU * n as f64 / WINDOW as f64).cos());
                    let turn = (bin * n % WINDOW) as f64 / WINDOW as f64;
                    waves.push((hann * wave(TAU * turn)) as f32);
                }
            }
        }
        let padded = bins.next_multiple_of(8);
        let mut rows = Vec::new();
        for row in filters.chunks_exact(bins) {
            rows.extend_from_slice(row);
            rows.resize(rows.len() + padded - bins, 0.0);
        }
        Self {
            waves,
            bins,
            bands: filters.len() / bins,
            filters: rows,
            padded,
        }
    }

    /// Number of bands.
    pub fn bands(&self) -> usize {
        self.bands
    }

    /// `frames` rows of bands, for 16 kHz samples with silence behind them.
    pub fn of(&self, samples: &[f32], frames: usize) -> Vec<f32> {
        let half = WINDOW / 2;
        // Mirrored before the first sample.
        let mut padded: Vec<f32> = (1..=half)
            .rev()
            .map(|i| samples.get(i).copied().unwrap_or(0.0))
            .collect();
        padded.extend_from_slice(samples);
        padded.resize(frames * HOP + WINDOW, 0.0);
        let mut out = vec![0.0_f32; frames * self.bands];
        out.par_chunks_mut(16 * self.bands)
            .enumerate()
            .for_each(|(block, out)| {
                let count = out.len() / self.bands;
                let x = Rows {
                    values: &padded[block * 16 * HOP..],
                    stride: HOP,
                    count,
                };
                let mut waves = vec![0.0; count * 2 * self.bins];
                products(x, Rows::packed(&self.waves, WINDOW), WINDOW, &mut waves, 2 * self.bins);
                let mut power = vec![0.0; count * self.padded];
                for (wave, power) in waves
                    .chunks_exact(2 * self.bins)
                    .zip(power.chunks_exact_mut(self.padded))
                {
                    for bin in 0..self.bins {
                        power[bin] = wave[bin] * wave[bin] + wave[bin + self.bins] * wave[bin + self.bins];
                    }
                }
                let rows = Rows::packed(&power, self.padded);
                products(
                    rows,
                    Rows::packed(&self.filters, self.padded),
                    self.padded,
                    out,
                    self.bands,
                );
            });
        for v in &mut out {
            *v = v.max(1e-10).log10();
        }
        let floor = out.iter().copied().fold(f32::NEG_INFINITY, f32::max) - 8.0;
        for v in &mut out {
            *v = (v.max(floor) + 4.0) / 4.0;
        }
        out
    }
}
