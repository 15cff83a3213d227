//! What is recorded between press and release.

use super::{LONGEST_CALL, Recorded, between};
use crate::sound::SoundError;
use crate::sound::clip::{ClipTrouble, Keying};
use crate::sound::gather::Gather;
use crate::sound::part::PartFile;
use std::time::{Duration, Instant};

pub(super) struct Recording {
    pub(super) gather: Gather,
    pub(super) pressed: Instant,
    pub(super) prompt_end: Option<Instant>,
    pub(super) released: Option<Instant>,
    /// Seconds of the clip before the press.
    pub(super) lead: f64,
    /// The clip is complete with this many frames.
    pub(super) wanted: u64,
    /// Or at this time, if the device does not deliver them.
    pub(super) give_up: Option<Instant>,
    pub(super) file: Option<PartFile>,
    pub(super) not_on_disk: Option<String>,
    pub(super) dropped_before: u64,
    pub(super) warned: bool,
    pub(super) rate: u32,
}

impl Recording {
    pub(super) fn take(&mut self, samples: &[f32], channels: usize) -> Result<(), SoundError> {
        for frame in samples.chunks_exact(channels.max(1)) {
            if self.gather.meter().frames() >= self.wanted {
                break;
            }
            self.gather.frame(frame)?;
        }
        Ok(())
    }

    pub(super) fn complete(&self) -> bool {
        self.gather.meter().frames() >= self.wanted || self.give_up.is_some_and(|t| Instant::now() >= t)
    }

    /// Writes what is new to the file. When that fails the recording goes on in memory, and the reason is given once.
    pub(super) fn save(&mut self) -> Option<String> {
        let result = self.file.as_mut()?.extend(self.gather.samples());
        let reason = result.err()?.to_string();
        if let Some(file) = self.file.take() {
            file.remove();
        }
        self.not_on_disk = Some(reason.clone());
        Some(reason)
    }

    pub(super) fn finish(self, dropped: u64, trouble: Option<ClipTrouble>) -> Result<Recorded, SoundError> {
        let gain = self.gather.meter().mix_gain();
        let seconds = self.gather.meter().seconds();
        let limit = self.released.is_none() && trouble.is_none() && seconds >= LONGEST_CALL;
        let mut clip = self.gather.finish()?;
        let end = self
            .released
            .unwrap_or_else(|| self.pressed + Duration::from_secs_f64((seconds - self.lead).max(0.0)));
        clip.keying = Some(Keying {
            prompt_end_to_press: self.prompt_end.map(|prompt| between(prompt, self.pressed)),
            press_to_release: between(self.pressed, end),
            lead: self.lead,
        });
        clip.troubles.extend(trouble);
        if limit {
            clip.troubles.push(ClipTrouble::TimeLimit { seconds: LONGEST_CALL });
        }
        let lost = dropped.saturating_sub(self.dropped_before);
        if lost > 0 {
            clip.troubles.push(ClipTrouble::Dropped {
                samples: lost,
                seconds: lost as f64 / f64::from(self.rate),
            });
        }
        let mut not_on_disk = self.not_on_disk;
        let mut path = None;
        if let Some(file) = self.file {
            match file.finish(&clip.samples, gain) {
                Ok(saved) => path = Some(saved),
                Err(e) => not_on_disk = Some(e.to_string()),
            }
        }
        clip.troubles
            .extend(not_on_disk.map(|reason| ClipTrouble::NotOnDisk { reason }));
        Ok(Recorded { clip, path })
    }
}
