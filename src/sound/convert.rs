//! Sample rate conversion, piece by piece or at once, with an anti-alias filter and no shift in time.

use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{Fft, FixedSync, Indexing, Resampler};

use super::SoundError;

/// Frames of one block on the side with the lower rate: long enough for a steep filter (flat to 90 % of the band), short
/// enough (32 ms at 16 kHz) that a live recording is not held up.
const BLOCK: usize = 512;

/// Converts one stream of mono samples. The output is as long as the input (to the nearest sample) and starts with it:
/// the filter's delay is taken out.
pub(crate) struct Converter {
    from: u32,
    to: u32,
    filter: Option<Filter>,
    taken: u64,
    given: u64,
}

struct Filter {
    fft: Fft<f32>,
    pending: Vec<f32>,
    block: Vec<f32>,
    /// Output frames still to be thrown away at the start.
    skip: usize,
}

impl Converter {
    /// From `from` to `to` Hz.
    pub(crate) fn new(from: u32, to: u32) -> Result<Self, SoundError> {
        let filter = if from == to { None } else { Some(Filter::new(from, to)?) };
        Ok(Self {
            from,
            to,
            filter,
            taken: 0,
            given: 0,
        })
    }

    /// Takes `samples` and appends to `out` what is ready.
    pub(crate) fn push(&mut self, samples: &[f32], out: &mut Vec<f32>) -> Result<(), SoundError> {
        self.taken += samples.len() as u64;
        let before = out.len();
        match &mut self.filter {
            None => out.extend_from_slice(samples),
            Some(filter) => {
                filter.pending.extend_from_slice(samples);
                filter.run(out).map_err(|e| rate_error(self.from, self.to, e))?;
            }
        }
        self.given += (out.len() - before) as u64;
        Ok(())
    }

    /// Appends the rest.
    pub(crate) fn finish(mut self, out: &mut Vec<f32>) -> Result<(), SoundError> {
        let wanted = (self.taken as f64 * f64::from(self.to) / f64::from(self.from)).round() as u64;
        let Some(filter) = &mut self.filter else {
            return Ok(());
        };
        while self.given < wanted {
            let before = out.len();
            let block = filter.fft.input_frames_next();
            let missing = block - filter.pending.len().min(block);
            filter.pending.resize(filter.pending.len() + missing, 0.0);
            filter.run(out).map_err(|e| rate_error(self.from, self.to, e))?;
            self.given += (out.len() - before) as u64;
        }
        let surplus = (self.given - wanted) as usize;
        out.truncate(out.len() - surplus.min(out.len()));
        Ok(())
    }
}

impl Filter {
    fn new(from: u32, to: u32) -> Result<Self, SoundError> {
        let low = from.min(to).max(1);
        let chunk = (BLOCK as u64 * u64::from(from)).div_ceil(u64::from(low)) as usize;
        let fft = Fft::<f32>::new_custom(
            from as usize,
            to as usize,
            chunk,
            1,
            1,
            rubato::WindowFunction::BlackmanHarris2,
            FixedSync::Both,
        )
        .map_err(|e| rate_error(from, to, e))?;
        let block = vec![0.0; fft.output_frames_max()];
        let skip = fft.output_delay();
        Ok(Self {
            fft,
            pending: Vec::new(),
            block,
            skip,
        })
    }

    /// Converts all whole blocks that are pending.
    fn run(&mut self, out: &mut Vec<f32>) -> Result<(), Box<dyn std::error::Error>> {
        let mut at = 0;
        loop {
            let need = self.fft.input_frames_next();
            let Some(input) = self.pending.get(at..at + need) else {
                break;
            };
            let frames = self.block.len();
            let source = InterleavedSlice::new(input, 1, need)?;
            let mut target = InterleavedSlice::new_mut(&mut self.block[..], 1, frames)?;
            let (read, written) = self.fft.process_into_buffer(&source, &mut target, None::<&Indexing>)?;
            let fresh = self.block.get(..written).unwrap_or_default();
            let skipped = self.skip.min(fresh.len());
            self.skip -= skipped;
            out.extend_from_slice(fresh.get(skipped..).unwrap_or_default());
            at += read;
        }
        self.pending.drain(..at);
        Ok(())
    }
}

#[allow(clippy::needless_pass_by_value)]
fn rate_error(from: u32, to: u32, detail: impl ToString) -> SoundError {
    SoundError::Rate {
        from,
        to,
        detail: detail.to_string(),
    }
}

/// Converts mono `samples` from `from` to `to` Hz.
pub fn resample(samples: &[f32], from: u32, to: u32) -> Result<Vec<f32>, SoundError> {
    let mut converter = Converter::new(from, to)?;
    let mut out =
        Vec::with_capacity((samples.len() as f64 * f64::from(to) / f64::from(from.max(1))) as usize + 2 * BLOCK);
    converter.push(samples, &mut out)?;
    converter.finish(&mut out)?;
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(rate: u32, hz: f64, seconds: f64) -> Vec<f32> {
        let n = (seconds * f64::from(rate)) as usize;
        (0..n)
            .map(|i| (0.5 * (std::f64::consts::TAU * hz * i as f64 / f64::from(rate)).sin()) as f32)
            .collect()
    }

    /// Level of the component at `hz`, relative to a tone of peak 0.5, dB, by correlation under a Hann window.
    fn level(samples: &[f32], rate: u32, hz: f64) -> f64 {
        let n = samples.len() as f64;
        let (mut re, mut im, mut weight) = (0.0, 0.0, 0.0);
        for (i, s) in samples.iter().enumerate() {
            let w = 0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / n).cos();
            let phase = std::f64::consts::TAU * hz * i as f64 / f64::from(rate);
            re += w * f64::from(*s) * phase.cos();
            im += w * f64::from(*s) * phase.sin();
            weight += w;
        }
        20.0 * (re.hypot(im) * 2.0 / weight / 0.5).log10()
    }

    fn rms_db(samples: &[f32]) -> f64 {
        let e: f64 = samples.iter().map(|s| f64::from(*s) * f64::from(*s)).sum();
        10.0 * (e / samples.len() as f64).log10()
    }

    #[test]
    fn tones_in_band_keep_their_level_at_every_rate() {
        for from in [8_000, 11_025, 22_050, 32_000, 44_100, 48_000, 96_000, 192_000, 44_101] {
            for hz in [100.0, 300.0, 1000.0, 3400.0, 7000.0] {
                if hz >= f64::from(from) * 0.45 {
                    continue;
                }
                let out = resample(&tone(from, hz, 0.6), from, 16_000).unwrap();
                assert_eq!(out.len(), 9600);
                let got = level(&out[1600..8000], 16_000, hz);
                assert!(got.abs() < 0.1, "{from} Hz, tone {hz}: {got:.3} dB");
            }
        }
    }

    #[test]
    fn tones_above_the_band_do_not_fold_into_it() {
        for from in [22_050, 44_100, 48_000, 96_000, 192_000] {
            for hz in [8_300.0, 9_000.0, 10_500.0, 15_000.0, 20_000.0] {
                if hz > f64::from(from) / 2.0 {
                    continue;
                }
                let out = resample(&tone(from, hz, 0.6), from, 16_000).unwrap();
                // The source tone's RMS is -9.03 dBFS; whatever is left, at any frequency, is alias.
                let alias = rms_db(&out[1600..8000]) + 9.03;
                assert!(alias < -60.0, "{from} Hz, tone {hz}: {alias:.1} dB");
            }
        }
    }

    #[test]
    fn pieces_give_what_the_whole_gives() {
        let source = tone(44_100, 700.0, 0.5);
        let whole = resample(&source, 44_100, 16_000).unwrap();
        let mut converter = Converter::new(44_100, 16_000).unwrap();
        let mut pieces = Vec::new();
        for piece in source.chunks(321) {
            converter.push(piece, &mut pieces).unwrap();
        }
        converter.finish(&mut pieces).unwrap();
        assert_eq!(whole, pieces);
    }

    #[test]
    fn nothing_shifts_in_time() {
        let mut source = vec![0.0; 48_000];
        source[24_000] = 1.0;
        let out = resample(&source, 48_000, 16_000).unwrap();
        let top = out.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).unwrap().0;
        assert_eq!(top, 8000);
    }

    #[test]
    fn odd_input_gives_an_error_or_nothing() {
        assert!(resample(&[], 48_000, 16_000).unwrap().is_empty());
        assert!(resample(&[0.1; 10], 0, 16_000).is_err());
        assert_eq!(resample(&[0.1; 3], 16_000, 48_000).unwrap().len(), 9);
    }
}
