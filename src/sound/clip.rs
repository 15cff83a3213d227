//! What one recording is: its samples in the program's one form, how loud it was, when the key was pressed, and what
//! went wrong while it was made. Also the meter that measures levels on the source, before any conversion.

use serde::{Deserialize, Serialize};

/// Sample rate of every [`Clip`], Hz: what the speech model takes.
pub const RATE: u32 = 16_000;

/// What stands for "no sound at all" where a level in dBFS is wanted; digital silence would be minus infinity, which
/// neither JSON nor a level bar can show.
pub const SILENCE_DBFS: f32 = -120.0;

/// Share of clipped samples from which a recording counts as clipped: 1 in 1000.
const CLIPPED_SHARE: f32 = 0.001;
/// A peak below this is too quiet to judge fairly, dBFS.
const QUIET_DBFS: f32 = -40.0;
/// Consecutive samples at full scale that make a flat top. One or two also occur in sound that just reaches full scale.
const FLAT_TOP: u32 = 3;
/// What may be the reason for zeros besides a mute switch, and what to do, in this system's words.
const NOT_LET: &str = if cfg!(windows) {
    "Windows does not let this program hear it: open Settings, Privacy & security, Microphone, and switch on \"Microphone \
     access\" and \"Let desktop apps access your microphone\"."
} else if cfg!(target_os = "macos") {
    "macOS does not let this program hear it: open System Settings, Privacy & Security, Microphone, and switch Cableside \
     on; then start it again."
} else {
    "the system does not let this program use it: check the mute switch and the privacy settings."
};
/// A channel this far under the loudest one is silent, dB: an unconnected input, not half of the sound.
const SILENT_CHANNEL_DB: f32 = 40.0;
/// Length of the pieces among which the noise floor is looked for, seconds.
const FLOOR_PIECE: f64 = 0.02;

/// One recording, from a file or from the microphone.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Clip {
    /// 16 kHz, one channel, -1 to 1.
    #[serde(skip)]
    pub samples: Vec<f32>,
    /// Measured on the source, before conversion.
    pub levels: Levels,
    /// Times of the push-to-talk key; only live recordings have them.
    pub keying: Option<Keying>,
    /// What the file or the device did wrong, in the order found.
    pub troubles: Vec<ClipTrouble>,
}

impl Clip {
    /// A clip from samples that are already 16 kHz mono (synthesised speech, a test tone); the levels are theirs.
    pub fn from_samples(samples: Vec<f32>) -> Self {
        let mut meter = Meter::new(RATE, 1, 1.0);
        for s in &samples {
            meter.frame(&[*s]);
        }
        let levels = meter.levels();
        let troubles = meter.troubles();
        Self {
            samples,
            levels,
            keying: None,
            troubles,
        }
    }

    /// Length, seconds.
    pub fn seconds(&self) -> f64 {
        self.samples.len() as f64 / f64::from(RATE)
    }
}

/// How loud a recording is. All levels in dBFS: 0 is full scale, so a full-scale sine has peak 0 and RMS -3.01.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Levels {
    /// Highest sample of any channel.
    pub peak_dbfs: f32,
    /// Root mean square of the loudest channel over the whole recording, pauses included.
    pub rms_dbfs: f32,
    /// Noise floor: RMS of the quietest tenth of the 20 ms pieces.
    pub floor_dbfs: f32,
    /// Share of samples, 0 to 1, that lie in flat tops at full scale (three or more in a row).
    pub clipped: f32,
}

impl Default for Levels {
    fn default() -> Self {
        Self {
            peak_dbfs: SILENCE_DBFS,
            rms_dbfs: SILENCE_DBFS,
            floor_dbfs: SILENCE_DBFS,
            clipped: 0.0,
        }
    }
}

/// When the push-to-talk key moved, seconds.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Keying {
    /// From the end of the prompt to the press; negative = pressed before the prompt had ended.
    pub prompt_end_to_press: Option<f64>,
    /// From press to release.
    pub press_to_release: f64,
    /// How much of the clip's start was captured before the press: sound the device was still holding back. The clip
    /// ends with the release, to within some hundredths of a second.
    pub lead: f64,
}

/// What went wrong with a recording that is kept all the same. `Display` is the sentence for the user.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum ClipTrouble {
    /// Flat tops at full scale.
    Clipping {
        /// Share of samples clipped, 0 to 1.
        share: f32,
    },
    /// The peak is low.
    TooQuiet {
        /// Peak, dBFS.
        peak_dbfs: f32,
    },
    /// Exact zeros from the start: a muted microphone, or one the system does not let the program hear.
    AllZeros {
        /// How long, seconds.
        seconds: f64,
    },
    /// The device went away while recording; what was heard until then is kept.
    DeviceLost {
        /// When, seconds after the press.
        at_seconds: f64,
    },
    /// The computer was too slow to fetch all sound from the device.
    Dropped {
        /// Samples lost, at the device's rate.
        samples: u64,
        /// The same in seconds.
        seconds: f64,
    },
    /// The file ends before its header says.
    Truncated {
        /// Length the header states, seconds; none if it states none.
        stated_seconds: Option<f64>,
        /// Length found, seconds.
        found_seconds: f64,
    },
    /// The recording could not be written to disk; the clip is whole, but only in memory.
    NotOnDisk {
        /// The system's reason.
        reason: String,
    },
    /// The recording reached the longest time allowed and stopped by itself.
    TimeLimit {
        /// The limit, seconds.
        seconds: f64,
    },
}

impl std::fmt::Display for ClipTrouble {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Clipping { share } => write!(
                f,
                "The recording is too loud: {:.1} % of it is clipped. Turn the microphone down or hold it further away.",
                share * 100.0
            ),
            Self::TooQuiet { peak_dbfs } => write!(
                f,
                "The recording is very quiet (peak {peak_dbfs:.0} dBFS). Turn the microphone up or speak closer to it."
            ),
            Self::AllZeros { seconds } => write!(
                f,
                "The microphone gave only silence for {seconds:.1} s. It is muted, or {NOT_LET}"
            ),
            Self::DeviceLost { at_seconds } => write!(
                f,
                "The microphone went away {at_seconds:.1} s after the press. What was heard until then is kept; check the \
                 plug or choose another device."
            ),
            Self::Dropped { seconds, .. } => write!(
                f,
                "The computer was too busy and lost {seconds:.2} s of the recording. Close other programs and try again."
            ),
            Self::Truncated {
                stated_seconds: Some(stated),
                found_seconds,
            } => write!(
                f,
                "The sound file is cut short: {found_seconds:.1} s of {stated:.1} s are there. These are used."
            ),
            Self::Truncated {
                stated_seconds: None,
                found_seconds,
            } => write!(
                f,
                "The sound file was never finished. The {found_seconds:.1} s that are there are used."
            ),
            Self::NotOnDisk { reason } => write!(
                f,
                "The recording could not be saved ({reason}). It can be judged and played now, but will not be in the logbook."
            ),
            Self::TimeLimit { seconds } => {
                write!(
                    f,
                    "The recording stopped by itself after {seconds:.0} s. A call takes seconds: let go of the key."
                )
            }
        }
    }
}

/// An amplitude (1 = full scale) in dBFS, not below [`SILENCE_DBFS`].
pub fn dbfs(amplitude: f64) -> f32 {
    if amplitude > 0.0 {
        (20.0 * amplitude.log10()).max(f64::from(SILENCE_DBFS)) as f32
    } else {
        SILENCE_DBFS
    }
}

/// Measures a source frame by frame, in its own rate and channels.
#[derive(Debug)]
pub(crate) struct Meter {
    rate: u32,
    full_scale: f32,
    channels: Vec<Channel>,
    frames: u64,
    leading_zeros: u64,
    piece_len: u32,
    piece_fill: u32,
    piece_energy: f64,
    pieces: Vec<f32>,
}

#[derive(Debug, Clone, Default)]
struct Channel {
    peak: f32,
    energy: f64,
    run: u32,
    run_negative: bool,
    clipped: u64,
}

impl Meter {
    /// `full_scale`: the amplitude from which a sample is at full scale (127/128 for 8 bits, 1 for floats).
    pub(crate) fn new(rate: u32, channels: usize, full_scale: f32) -> Self {
        Self {
            rate,
            full_scale,
            channels: vec![Channel::default(); channels],
            frames: 0,
            leading_zeros: 0,
            piece_len: (f64::from(rate) * FLOOR_PIECE).max(1.0) as u32,
            piece_fill: 0,
            piece_energy: 0.0,
            pieces: Vec::new(),
        }
    }

    /// Takes one frame (a sample for each channel) and gives the sum of its channels, for mixing to mono: the mix is
    /// this sum times [`Meter::mix_gain`], known at the end.
    pub(crate) fn frame(&mut self, frame: &[f32]) -> f32 {
        let mut sum = 0.0;
        let mut zero = true;
        for (channel, &s) in self.channels.iter_mut().zip(frame) {
            channel.take(s, self.full_scale);
            zero &= s == 0.0;
            sum += s;
        }
        if zero && self.leading_zeros == self.frames {
            self.leading_zeros += 1;
        }
        self.frames += 1;
        self.piece_energy += f64::from(sum) * f64::from(sum);
        self.piece_fill += 1;
        if self.piece_fill == self.piece_len {
            self.pieces.push((self.piece_energy / f64::from(self.piece_len)) as f32);
            self.piece_fill = 0;
            self.piece_energy = 0.0;
        }
        sum
    }

    /// Frames taken.
    pub(crate) fn frames(&self) -> u64 {
        self.frames
    }

    /// Length so far, seconds.
    pub(crate) fn seconds(&self) -> f64 {
        self.frames as f64 / f64::from(self.rate)
    }

    /// Whether every sample so far is exactly zero.
    pub(crate) fn only_zeros(&self) -> bool {
        self.leading_zeros == self.frames
    }

    /// What the channels' sum is multiplied with to make mono: one over the number of channels that carry sound.
    pub(crate) fn mix_gain(&self) -> f32 {
        let loudest = self.loudest_energy();
        let silent = loudest / 10f64.powf(f64::from(SILENT_CHANNEL_DB) / 10.0);
        let sounding = self.channels.iter().filter(|c| c.energy > silent).count();
        1.0 / sounding.max(1) as f32
    }

    fn loudest_energy(&self) -> f64 {
        self.channels.iter().map(|c| c.energy).fold(0.0, f64::max)
    }

    pub(crate) fn levels(&self) -> Levels {
        let frames = self.frames.max(1) as f64;
        let peak = self.channels.iter().map(|c| c.peak).fold(0.0, f32::max);
        let clipped = self.channels.iter().map(|c| c.clipped).max().unwrap_or(0);
        let mut pieces = self.pieces.clone();
        let quietest = (pieces.len() / 10).max(1).min(pieces.len());
        let floor = if quietest == 0 {
            self.piece_energy / f64::from(self.piece_fill.max(1))
        } else {
            pieces.sort_by(f32::total_cmp);
            pieces.iter().take(quietest).map(|e| f64::from(*e)).sum::<f64>() / quietest as f64
        };
        Levels {
            peak_dbfs: dbfs(f64::from(peak)),
            rms_dbfs: dbfs((self.loudest_energy() / frames).sqrt()),
            floor_dbfs: dbfs(floor.sqrt() * f64::from(self.mix_gain())),
            clipped: (clipped as f64 / frames) as f32,
        }
    }

    /// What the levels alone tell: clipping, too quiet, nothing but zeros.
    pub(crate) fn troubles(&self) -> Vec<ClipTrouble> {
        let levels = self.levels();
        let mut troubles = Vec::new();
        if self.frames > 0 && self.only_zeros() {
            troubles.push(ClipTrouble::AllZeros {
                seconds: self.seconds(),
            });
        } else if self.frames > 0 && levels.peak_dbfs < QUIET_DBFS {
            troubles.push(ClipTrouble::TooQuiet {
                peak_dbfs: levels.peak_dbfs,
            });
        }
        if levels.clipped >= CLIPPED_SHARE {
            troubles.push(ClipTrouble::Clipping { share: levels.clipped });
        }
        troubles
    }
}

impl Channel {
    fn take(&mut self, s: f32, full_scale: f32) {
        let size = s.abs();
        self.peak = self.peak.max(size);
        self.energy += f64::from(s) * f64::from(s);
        if size < full_scale {
            self.run = 0;
            return;
        }
        let negative = s < 0.0;
        self.run = if self.run > 0 && self.run_negative == negative {
            self.run + 1
        } else {
            1
        };
        self.run_negative = negative;
        if self.run == FLAT_TOP {
            self.clipped += u64::from(FLAT_TOP);
        } else if self.run > FLAT_TOP {
            self.clipped += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A tone of `peak` at `hz`, 16 kHz.
    fn tone(hz: f64, peak: f64, seconds: f64) -> Vec<f32> {
        let n = (seconds * f64::from(RATE)) as usize;
        (0..n)
            .map(|i| (peak * (std::f64::consts::TAU * hz * i as f64 / f64::from(RATE)).sin()) as f32)
            .collect()
    }

    /// Outside check: crate ebur128, an implementation of ITU-R BS.1770. The K weighting cancels its -0.691 dB offset
    /// at 997 Hz, where the loudness of one front channel must therefore equal the RMS level.
    #[test]
    fn levels_agree_with_a_loudness_reference() {
        for peak in [1.0, 0.5, 0.1, 0.012] {
            let samples = tone(997.0, peak, 3.0);
            let ours = Clip::from_samples(samples.clone()).levels;
            let mut reference = ebur128::EbuR128::new(1, RATE, ebur128::Mode::I | ebur128::Mode::SAMPLE_PEAK).unwrap();
            reference.add_frames_f32(&samples).unwrap();
            let peak_reference = dbfs(reference.sample_peak(0).unwrap());
            let loudness = reference.loudness_global().unwrap() as f32;
            assert!(
                (ours.peak_dbfs - peak_reference).abs() < 0.001,
                "{} against {peak_reference}",
                ours.peak_dbfs
            );
            assert!(
                (ours.rms_dbfs - loudness).abs() < 0.1,
                "{} against {loudness}",
                ours.rms_dbfs
            );
        }
    }

    #[test]
    fn a_loud_tone_is_not_clipped_and_a_cut_one_is() {
        assert!(Clip::from_samples(tone(440.0, 0.999, 1.0)).troubles.is_empty());
        let cut = tone(440.0, 1.3, 1.0).into_iter().map(|s| s.clamp(-1.0, 1.0)).collect();
        let clip = Clip::from_samples(cut);
        // |sin| > 1/1.3 for 44 % of the time.
        assert!((clip.levels.clipped - 0.44).abs() < 0.03, "{}", clip.levels.clipped);
        assert!(
            matches!(clip.troubles[..], [ClipTrouble::Clipping { .. }]),
            "{:?}",
            clip.troubles
        );
    }

    #[test]
    fn quiet_and_zero_recordings_are_told_apart() {
        let quiet = Clip::from_samples(tone(300.0, 0.001, 1.0));
        assert!(
            matches!(quiet.troubles[..], [ClipTrouble::TooQuiet { .. }]),
            "{:?}",
            quiet.troubles
        );
        let zero = Clip::from_samples(vec![0.0; 8000]);
        assert_eq!(zero.troubles, [ClipTrouble::AllZeros { seconds: 0.5 }]);
        assert_eq!(zero.levels, Levels::default());
    }

    #[test]
    fn the_noise_floor_is_that_of_the_pauses() {
        let mut samples = tone(500.0, 0.5, 1.0);
        samples.extend(tone(500.0, 0.005, 0.5));
        let levels = Clip::from_samples(samples).levels;
        // 0.005 peak is -46.0 dBFS, its RMS 3 dB less.
        assert!((levels.floor_dbfs + 49.03).abs() < 0.2, "{}", levels.floor_dbfs);
    }

    #[test]
    fn an_empty_clip_has_levels_and_no_troubles() {
        let clip = Clip::from_samples(Vec::new());
        assert_eq!(clip.levels, Levels::default());
        assert!(clip.troubles.is_empty());
    }

    #[test]
    fn every_trouble_is_a_sentence() {
        for trouble in [
            ClipTrouble::Clipping { share: 0.02 },
            ClipTrouble::TooQuiet { peak_dbfs: -50.0 },
            ClipTrouble::AllZeros { seconds: 0.5 },
            ClipTrouble::DeviceLost { at_seconds: 1.0 },
            ClipTrouble::Dropped {
                samples: 480,
                seconds: 0.01,
            },
            ClipTrouble::Truncated {
                stated_seconds: None,
                found_seconds: 1.0,
            },
            ClipTrouble::Truncated {
                stated_seconds: Some(2.0),
                found_seconds: 1.0,
            },
            ClipTrouble::NotOnDisk {
                reason: "disk full".into(),
            },
            ClipTrouble::TimeLimit { seconds: 60.0 },
        ] {
            let text = trouble.to_string();
            assert!(text.ends_with('.') && text.starts_with("The "), "{text}");
            let back: ClipTrouble = serde_json::from_str(&serde_json::to_string(&trouble).unwrap()).unwrap();
            assert_eq!(back, trouble);
        }
    }
}
