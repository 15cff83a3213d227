//! The only room that names the sound libraries: files, rate conversion, levels, devices, the radio channel.
//!
//! Everything the rest of the program sees is a [`Clip`] (16 kHz, one channel) or a plain slice of such samples.

pub mod clip;
pub mod convert;
pub mod file;

use std::path::PathBuf;

pub use clip::{Clip, Keying, Levels, RATE, Trouble};
pub use file::{read_clip, write_wav};

/// Why sound could not be had. The text says what happened and what to do; a path comes last.
#[derive(Debug, thiserror::Error)]
pub enum SoundError {
    /// The operating system refused a file.
    #[error("could not {operation} the sound file ({source}): {}", path.display())]
    File {
        /// What was tried: "open", "read", "write".
        operation: &'static str,
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// A folder, pipe or device where a sound file belongs.
    #[error("this is not a file; name a WAV or FLAC file: {}", path.display())]
    NotAFile {
        /// What was named.
        path: PathBuf,
    },
    /// A file without any sound in it.
    #[error("the sound file is empty ({detail}); record it again: {}", path.display())]
    Empty {
        /// The file.
        path: PathBuf,
        /// What is there and what is not.
        detail: String,
    },
    /// The file is something else.
    #[error("this is no WAV or FLAC file ({detail}); save or convert it as WAV: {}", path.display())]
    NotSound {
        /// The file.
        path: PathBuf,
        /// What it looks like.
        detail: &'static str,
    },
    /// A WAV or FLAC file whose form is damaged or of a kind that is not read.
    #[error("cannot read the sound file: {detail}; save it as 16-bit PCM WAV: {}", path.display())]
    Form {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        detail: String,
    },
    /// Longer than a call can be.
    #[error("the recording is {minutes:.1} minutes long, a call takes seconds; cut it to under {limit:.0} minutes: {}", path.display())]
    TooLong {
        /// The file.
        path: PathBuf,
        /// Length found, minutes.
        minutes: f64,
        /// Length allowed, minutes.
        limit: f64,
    },
    /// The rate converter would not work with these rates.
    #[error(
        "cannot convert sound from {from} Hz to {to} Hz ({detail}); use a common rate such as 16000, 44100 or 48000 Hz"
    )]
    Rate {
        /// Source rate, Hz.
        from: u32,
        /// Wanted rate, Hz.
        to: u32,
        /// The converter's reason.
        detail: String,
    },
}
