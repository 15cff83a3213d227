//! The only room that names the sound libraries: files, rate conversion, levels, devices, the radio channel.
//!
//! Everything the rest of the program sees is a [`Clip`] (16 kHz, one channel) or a plain slice of such samples.

pub mod clip;
pub mod convert;
pub mod devices;
pub mod file;
pub(crate) mod gather;
pub mod part;
pub mod player;
pub mod radio;
pub mod recorder;

use std::path::PathBuf;

pub use clip::{Clip, ClipTrouble, Keying, Levels, RATE};
pub use devices::{DeviceInfo, DeviceList, Direction};
pub use file::{read_clip, read_clip_bytes, write_new_wav, write_wav};
pub use player::{Player, PlayerEvent};
pub use radio::Radio;
pub use recorder::{Level, Recorded, Recorder, RecorderEvent};

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
    /// A file is to be made where there is one.
    #[error("this file exists already; choose another name or remove it: {}", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
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
    /// There is no device of that kind at all.
    #[error("no {direction} was found ({detail}); plug one in or switch it on in the system's sound settings")]
    NoDevice {
        /// What was looked for.
        direction: Direction,
        /// The sound system's reason.
        detail: String,
    },
    /// The name chosen fits no device, or several.
    #[error("no single {direction} is meant by \"{wanted}\"; choose one of: {have}")]
    UnknownDevice {
        /// What was looked for.
        direction: Direction,
        /// The name given.
        wanted: String,
        /// The names to choose from.
        have: String,
    },
    /// A device that is there, but cannot be used now.
    #[error(
        "the {direction} \"{name}\" cannot be used ({detail}); check that no other program holds it, or choose another"
    )]
    Device {
        /// What was looked for.
        direction: Direction,
        /// The device.
        name: String,
        /// The sound system's reason.
        detail: String,
    },
    /// The sound system hangs.
    #[error("the sound system did not answer within {seconds} seconds; restart it, or work with recordings")]
    NoAnswer {
        /// How long was waited.
        seconds: u64,
    },
    /// The system gave no thread.
    #[error("could not start a thread for sound ({source}); close other programs")]
    Thread {
        /// The system's reason.
        source: std::io::Error,
    },
}
