//! From a source's frames, in its own rate and channels, to a [`Clip`]: measured, mixed to one channel, converted.
//! Files and the microphone both go through here, so that a call sounds the same to the recogniser from either.

use super::SoundError;
use super::clip::{Clip, Meter, RATE};
use super::convert::Converter;

/// Frames collected before they are converted.
const BLOCK: usize = 1024;

pub(crate) struct Gather {
    meter: Meter,
    converter: Converter,
    mix: Vec<f32>,
    /// 16 kHz, the sum of the channels: not yet divided by their number, which is known at the end.
    samples: Vec<f32>,
}

impl Gather {
    /// `full_scale`: see [`Meter::new`].
    pub(crate) fn new(rate: u32, channels: usize, full_scale: f32) -> Result<Self, SoundError> {
        Ok(Self {
            meter: Meter::new(rate, channels, full_scale),
            converter: Converter::new(rate, RATE)?,
            mix: Vec::with_capacity(BLOCK),
            samples: Vec::new(),
        })
    }

    /// Takes one sample of each channel.
    pub(crate) fn frame(&mut self, frame: &[f32]) -> Result<(), SoundError> {
        let sum = self.meter.frame(frame);
        self.mix.push(sum);
        if self.mix.len() >= BLOCK {
            self.convert()
        } else {
            Ok(())
        }
    }

    fn convert(&mut self) -> Result<(), SoundError> {
        self.converter.push(&self.mix, &mut self.samples)?;
        self.mix.clear();
        Ok(())
    }

    pub(crate) fn meter(&self) -> &Meter {
        &self.meter
    }

    /// What is converted so far, 16 kHz; to be multiplied with [`Meter::mix_gain`].
    pub(crate) fn samples(&self) -> &[f32] {
        &self.samples
    }

    pub(crate) fn finish(mut self) -> Result<Clip, SoundError> {
        self.convert()?;
        self.converter.finish(&mut self.samples)?;
        let gain = self.meter.mix_gain();
        for s in &mut self.samples {
            *s = (*s * gain).clamp(-1.0, 1.0);
        }
        Ok(Clip {
            samples: self.samples,
            levels: self.meter.levels(),
            keying: None,
            troubles: self.meter.troubles(),
        })
    }
}
