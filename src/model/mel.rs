//! The triangular filters that turn a spectrum into mel bands (Slaney's scale and area), as the model's file carries them.

/// Bands.
pub(super) const BANDS: usize = 80;
/// Bins of the spectrum: a 400-point transform of real sound.
pub(super) const BINS: usize = 201;

/// Width of a bin in Hz: 16 000 / 400.
const BIN_HZ: f64 = 40.0;
/// The scale is linear up to here ...
const BREAK_HZ: f64 = 1000.0;
/// ... with this many Hz a mel ...
const HZ_PER_MEL: f64 = 200.0 / 3.0;
/// ... and logarithmic above, 27 mel to a factor of 6.4.
const BREAK_MEL: f64 = 15.0;
const TOP_HZ: f64 = 8000.0;

/// The 80 x 201 weights, a row a band.
///
/// The published checksum rests on the last bit of each value. The exponential therefore comes from the `libm` crate,
/// which computes the same on every platform, and each step rounds where the original rounded: the triangle to `f32`, then
/// its product with the area's factor again.
pub(super) fn filters() -> Vec<f32> {
    let log_step = libm::log(6.4) / 27.0;
    let top_mel = BREAK_MEL + libm::log(TOP_HZ / BREAK_HZ) / log_step;
    let step = top_mel / (BANDS + 1) as f64;
    let edges: Vec<f64> = (0..BANDS + 2)
        .map(|i| {
            let mel = if i == BANDS + 1 { top_mel } else { i as f64 * step };
            if mel >= BREAK_MEL {
                BREAK_HZ * libm::exp(log_step * (mel - BREAK_MEL))
            } else {
                HZ_PER_MEL * mel
            }
        })
        .collect();
    let mut weights = Vec::with_capacity(BANDS * BINS);
    for edge in edges.windows(3) {
        let area = 2.0 / (edge[2] - edge[0]);
        for bin in 0..BINS {
            let hz = bin as f64 * BIN_HZ;
            let rising = (hz - edge[0]) / (edge[1] - edge[0]);
            let falling = (edge[2] - hz) / (edge[2] - edge[1]);
            let low = rising.min(falling);
            // Not `max(0.0)`: which zero that returns for -0.0 is not defined, and the file holds +0.0.
            let triangle = if low > 0.0 { low as f32 } else { 0.0 };
            weights.push((f64::from(triangle) * area) as f32);
        }
    }
    weights
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_published_file_has_391_values_that_are_not_zero() {
        let weights = filters();
        assert_eq!(weights.len(), BANDS * BINS);
        assert_eq!(weights.iter().filter(|w| **w != 0.0).count(), 391);
        assert_eq!(weights[0].to_bits(), 0, "the first value is +0.0");
        assert!(weights.iter().all(|w| !w.is_sign_negative()));
    }

    #[test]
    fn each_band_rises_to_one_peak_and_the_peaks_ascend() {
        let weights = filters();
        let mut last = 0;
        for row in weights.chunks(BINS) {
            let peak = (0..BINS).max_by(|a, b| row[*a].total_cmp(&row[*b])).unwrap();
            assert!(row[..=peak].is_sorted(), "rises to bin {peak}");
            assert!(row[peak..].is_sorted_by(|a, b| a >= b), "falls after bin {peak}");
            assert!(peak >= last);
            last = peak;
        }
    }

    #[test]
    fn the_area_of_a_wide_band_is_one() {
        // Slaney's normalisation: the integral over Hz is 1; wide bands hold enough bins for a sum to show it.
        let weights = filters();
        for row in weights.chunks(BINS).skip(70) {
            let area: f32 = row.iter().sum::<f32>() * BIN_HZ as f32;
            assert!((area - 1.0).abs() < 0.02, "{area}");
        }
    }
}
