//! Sound files: WAV and FLAC of any common rate, width and channel count become a [`Clip`]; a clip's samples become a
//! 16-bit WAV.
//!
//! The WAV header is read here and not by a library, because recorders that were killed, pipes and odd editors write
//! headers that say too much, too little or nothing about the length, and such a recording is still worth having.

use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::path::Path;

use super::SoundError;
use super::clip::{Clip, ClipTrouble, RATE};
use super::gather::Gather;
use crate::files::{Access, Beside};

/// The longest recording taken, seconds. Calls last seconds; this leaves room for a whole conversation.
pub const LONGEST: f64 = 300.0;
/// The shortest rest of a damaged recording worth using, seconds.
const SHORTEST_REST: f64 = 0.1;
/// Rates taken, Hz.
const RATES: std::ops::RangeInclusive<u32> = 4_000..=384_000;
/// Channels taken: more is a damaged header, not a recording.
const MOST_CHANNELS: u16 = 64;
/// Floats beyond this are no sound, not even of an editor that writes 16-bit numbers as floats, and the filters of a change
/// of rate cannot hold them.
const LARGEST_SAMPLE: f32 = 1e6;
/// Chunks looked at before the sound. Editors write a handful.
const MOST_CHUNKS: usize = 1000;
/// Frames decoded at once.
const BLOCK: usize = 4096;

/// Reads a WAV or FLAC file.
///
/// Channels are averaged; channels that are silent (40 dB under the loudest) do not count. Levels and troubles are those
/// of the source. A file that ends early is used as far as it goes and carries [`ClipTrouble::Truncated`].
pub fn read_clip(path: &Path) -> Result<Clip, SoundError> {
    let place = |operation| {
        move |source| SoundError::File {
            operation,
            path: path.to_path_buf(),
            source,
        }
    };
    let about = std::fs::metadata(path).map_err(place("open"))?;
    if !about.is_file() {
        return Err(SoundError::NotAFile {
            path: path.to_path_buf(),
        });
    }
    let file = BufReader::with_capacity(1 << 16, File::open(path).map_err(place("open"))?);
    read_from(file, about.len(), path)
}

/// As [`read_clip`], from a file that is already in memory (one compiled into the program); `name` stands in messages.
pub fn read_clip_bytes(bytes: &[u8], name: &str) -> Result<Clip, SoundError> {
    read_from(io::Cursor::new(bytes), bytes.len() as u64, Path::new(name))
}

fn read_from(mut file: impl Read + Seek, size: u64, path: &Path) -> Result<Clip, SoundError> {
    let place = |source| SoundError::File {
        operation: "read",
        path: path.to_path_buf(),
        source,
    };
    if size == 0 {
        return Err(SoundError::Empty {
            path: path.to_path_buf(),
            detail: "0 bytes".into(),
        });
    }
    let mut magic = Vec::with_capacity(12);
    file.by_ref().take(12).read_to_end(&mut magic).map_err(place)?;
    file.rewind().map_err(place)?;
    match magic.as_slice() {
        [b'R', b'I', b'F', b'F' | b'X', ..] | [b'R', b'F', b'6', b'4', ..] => read_wav(file, size, path),
        [b'f', b'L', b'a', b'C', ..] => read_flac(file, path),
        other => Err(SoundError::NotSound {
            path: path.to_path_buf(),
            detail: looks_like(other),
        }),
    }
}

/// Writes mono 16 kHz samples as 16-bit WAV: beside the target first, then renamed, so that a reader never sees half.
pub fn write_wav(path: &Path, samples: &[f32]) -> Result<(), SoundError> {
    let place = |source| SoundError::File {
        operation: "write",
        path: path.to_path_buf(),
        source,
    };
    written(path, samples).and_then(Beside::replace).map_err(place)
}

/// As [`write_wav`], for a file that must not be there yet.
pub fn write_new_wav(path: &Path, samples: &[f32]) -> Result<(), SoundError> {
    written(path, samples)
        .and_then(Beside::make)
        .map_err(|e| match e.kind() {
            io::ErrorKind::AlreadyExists => SoundError::Exists {
                path: path.to_path_buf(),
            },
            _ => SoundError::File {
                operation: "write",
                path: path.to_path_buf(),
                source: e,
            },
        })
}

fn written(path: &Path, samples: &[f32]) -> io::Result<Beside> {
    let mut file = Beside::new(path, Access::Ordinary)?;
    let mut writer = hound::WavWriter::new(io::BufWriter::new(&mut file), wav_form()).map_err(hound_io)?;
    for s in samples {
        writer.write_sample(to_i16(*s)).map_err(hound_io)?;
    }
    writer.finalize().map_err(hound_io)?;
    Ok(file)
}

/// The form of every WAV this program writes.
pub(crate) fn wav_form() -> hound::WavSpec {
    hound::WavSpec {
        channels: 1,
        sample_rate: RATE,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    }
}

/// One sample as 16-bit; what is not a number becomes 0.
pub(crate) fn to_i16(s: f32) -> i16 {
    (s * 32768.0).round().clamp(-32768.0, 32767.0) as i16
}

pub(crate) fn hound_io(error: hound::Error) -> io::Error {
    match error {
        hound::Error::IoError(e) => e,
        other => io::Error::other(other),
    }
}

fn looks_like(start: &[u8]) -> &'static str {
    match start {
        [b'I', b'D', b'3', ..] | [0xff, 0xf2..=0xfb, ..] => "it looks like MP3",
        [b'O', b'g', b'g', b'S', ..] => "it looks like Ogg",
        [_, _, _, _, b'f', b't', b'y', b'p', ..] => "it looks like MP4 or M4A",
        [b'F', b'O', b'R', b'M', ..] => "it looks like AIFF",
        text if text.iter().all(|b| b.is_ascii_graphic() || b.is_ascii_whitespace()) => "it looks like text",
        _ => "its first bytes are of an unknown kind",
    }
}

/// What both kinds of file share once samples come: checks, limits, errors with the path.
struct Intake<'a> {
    path: &'a Path,
    gather: Gather,
    rate: u32,
    longest: u64,
}

impl<'a> Intake<'a> {
    fn new(path: &'a Path, rate: u32, channels: usize, full_scale: f32) -> Result<Self, SoundError> {
        let longest = (LONGEST * f64::from(rate)) as u64;
        Ok(Self {
            path,
            gather: Gather::new(rate, channels, full_scale)?,
            rate,
            longest,
        })
    }

    fn frame(&mut self, frame: &[f32]) -> Result<(), SoundError> {
        if frame.iter().any(|s| !s.is_finite()) {
            let detail = format!("the sample at {:.3} s is not a number", self.gather.meter().seconds());
            return Err(SoundError::Form {
                path: self.path.to_path_buf(),
                detail,
            });
        }
        if frame.iter().any(|s| s.abs() > LARGEST_SAMPLE) {
            let detail = format!(
                "the sample at {:.3} s is more than {LARGEST_SAMPLE} times full scale",
                self.gather.meter().seconds()
            );
            return Err(SoundError::Form {
                path: self.path.to_path_buf(),
                detail,
            });
        }
        self.gather.frame(frame)?;
        if self.gather.meter().frames() > self.longest {
            return Err(too_long(self.path, self.gather.meter().seconds()));
        }
        Ok(())
    }

    /// `stated`: the length the header promises, frames; `unfinished`: the header was never completed.
    fn finish(self, stated: Option<u64>, unfinished: bool) -> Result<Clip, SoundError> {
        let found = self.gather.meter().frames();
        let seconds = |frames: u64| frames as f64 / f64::from(self.rate);
        let short = unfinished || stated.is_some_and(|s| s > found);
        if found == 0 || (short && seconds(found) < SHORTEST_REST) {
            let detail = match stated {
                Some(s) if s > 0 => {
                    format!("{:.2} s of {:.2} s are there", seconds(found), seconds(s))
                }
                _ => "it has a header, but no sound".into(),
            };
            return Err(SoundError::Empty {
                path: self.path.to_path_buf(),
                detail,
            });
        }
        let mut clip = self.gather.finish()?;
        if short {
            clip.troubles.push(ClipTrouble::Truncated {
                stated_seconds: stated.map(seconds),
                found_seconds: seconds(found),
            });
        }
        Ok(clip)
    }
}

fn too_long(path: &Path, seconds: f64) -> SoundError {
    SoundError::TooLong {
        path: path.to_path_buf(),
        minutes: seconds / 60.0,
        limit: LONGEST / 60.0,
    }
}

// --- WAV ---

/// How one sample is stored.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Coding {
    /// Unsigned, offset 128.
    U8,
    /// Signed, little endian, of 2, 3 or 4 bytes that are all used.
    Int,
    /// 24 bits in the lower three of four bytes.
    Low24,
    /// IEEE floats.
    F32,
    F64,
}

#[derive(Debug, Clone, Copy)]
struct Form {
    coding: Coding,
    channels: u16,
    rate: u32,
    /// Bytes of one sample of one channel.
    width: usize,
    full_scale: f32,
}

/// Where the samples lie.
struct Data {
    start: u64,
    /// Bytes the header states; none if it states nothing usable (a pipe, or a recorder that was killed).
    stated: Option<u64>,
    /// The header still says "nothing", though sound follows.
    unfinished: bool,
}

fn read_wav(mut file: impl Read + Seek, size: u64, path: &Path) -> Result<Clip, SoundError> {
    let (form, data) = wav_header(&mut file, size).map_err(|e| e.at(path))?;
    let frame_bytes = form.width * usize::from(form.channels);
    let there = size.saturating_sub(data.start);
    let bytes = data.stated.map_or(there, |s| s.min(there));
    let frames = bytes / frame_bytes as u64;
    let stated = data.stated.map(|s| s / frame_bytes as u64);
    let seconds = frames as f64 / f64::from(form.rate);
    if seconds > LONGEST {
        return Err(too_long(path, seconds));
    }
    let read_error = |source| SoundError::File {
        operation: "read",
        path: path.to_path_buf(),
        source,
    };
    file.seek(SeekFrom::Start(data.start)).map_err(read_error)?;
    let mut intake = Intake::new(path, form.rate, form.channels.into(), form.full_scale)?;
    let mut block = vec![0u8; BLOCK * frame_bytes];
    let mut frame = vec![0f32; form.channels.into()];
    let mut left = frames;
    while left > 0 {
        let count = left.min(BLOCK as u64) as usize;
        let Some(bytes) = block.get_mut(..count * frame_bytes) else {
            break;
        };
        file.read_exact(bytes).map_err(read_error)?;
        for raw in bytes.chunks_exact(frame_bytes) {
            for (sample, raw) in frame.iter_mut().zip(raw.chunks_exact(form.width)) {
                *sample = form.coding.decode(raw);
            }
            intake.frame(&frame)?;
        }
        left -= count as u64;
    }
    intake.finish(stated, data.unfinished)
}

impl Coding {
    fn decode(self, raw: &[u8]) -> f32 {
        match (self, raw) {
            (Self::U8, [a]) => (f32::from(*a) - 128.0) / 128.0,
            (Self::Int, [a, b]) => f32::from(i16::from_le_bytes([*a, *b])) / 32_768.0,
            (Self::Int, [a, b, c]) | (Self::Low24, [a, b, c, _]) => {
                (i32::from_le_bytes([0, *a, *b, *c]) >> 8) as f32 / 8_388_608.0
            }
            (Self::Int, [a, b, c, d]) => i32::from_le_bytes([*a, *b, *c, *d]) as f32 / 2_147_483_648.0,
            (Self::F32, [a, b, c, d]) => f32::from_le_bytes([*a, *b, *c, *d]),
            (Self::F64, raw) => raw.try_into().map_or(0.0, |raw| f64::from_le_bytes(raw) as f32),
            // `wav_form_of` lets no other width through.
            _ => 0.0,
        }
    }
}

/// What can be wrong with a header; the path is added by the caller.
enum HeaderError {
    Io(io::Error),
    Empty(&'static str),
    NotSound(&'static str),
    Form(String),
}

impl HeaderError {
    fn at(self, path: &Path) -> SoundError {
        let path = path.to_path_buf();
        match self {
            Self::Io(source) => SoundError::File {
                operation: "read",
                path,
                source,
            },
            Self::Empty(detail) => SoundError::Empty {
                path,
                detail: detail.into(),
            },
            Self::NotSound(detail) => SoundError::NotSound { path, detail },
            Self::Form(detail) => SoundError::Form { path, detail },
        }
    }
}

impl From<io::Error> for HeaderError {
    fn from(e: io::Error) -> Self {
        Self::Io(e)
    }
}

/// Lengths from here up are what a writer puts that cannot know the length yet.
const UNKNOWN_LENGTH: u32 = 0x7fff_f000;

fn wav_header(file: &mut (impl Read + Seek), size: u64) -> Result<(Form, Data), HeaderError> {
    let mut riff = [0u8; 12];
    if !fill(file, &mut riff)? {
        return Err(HeaderError::Empty("the header is cut off"));
    }
    let [m0, m1, m2, m3, s0, s1, s2, s3, kind @ ..] = riff;
    if &[m0, m1, m2, m3] == b"RIFX" {
        return Err(HeaderError::Form("it is a big-endian RIFX file".into()));
    }
    if &kind != b"WAVE" {
        return Err(HeaderError::NotSound("it is a RIFF file, but holds no WAVE sound"));
    }
    let riff_size = u32::from_le_bytes([s0, s1, s2, s3]);
    let mut form = None;
    let mut at = 12u64;
    for _ in 0..MOST_CHUNKS {
        let mut head = [0u8; 8];
        file.seek(SeekFrom::Start(at))?;
        if at >= size || !fill(file, &mut head)? {
            return Err(HeaderError::Empty("it has a header, but no sound"));
        }
        let [k0, k1, k2, k3, l0, l1, l2, l3] = head;
        let length = u32::from_le_bytes([l0, l1, l2, l3]);
        let start = at + 8;
        match &[k0, k1, k2, k3] {
            b"fmt " => {
                let mut raw = vec![0u8; (length as usize).min(64)];
                if !fill(file, &mut raw)? {
                    return Err(HeaderError::Empty("the header is cut off"));
                }
                form = Some(wav_form_of(&raw)?);
            }
            b"data" => {
                let Some(form) = form else {
                    return Err(HeaderError::Form(
                        "its header does not say how the sound is stored".into(),
                    ));
                };
                // A recorder that was killed leaves "0 bytes of sound" in a file whose outer length says no more either.
                let unfinished = length == 0 && u64::from(riff_size) + 8 <= start && size > start;
                let known = length < UNKNOWN_LENGTH && !unfinished;
                return Ok((
                    form,
                    Data {
                        start,
                        stated: known.then_some(length.into()),
                        unfinished,
                    },
                ));
            }
            _ => {}
        }
        // Chunks are padded to even length.
        at = start + u64::from(length) + u64::from(length % 2);
    }
    Err(HeaderError::Form(format!(
        "there are more than {MOST_CHUNKS} other chunks before the sound"
    )))
}

/// Fills `buffer`; false if the file ends first.
fn fill(file: &mut impl Read, buffer: &mut [u8]) -> io::Result<bool> {
    match file.read_exact(buffer) {
        Ok(()) => Ok(true),
        Err(e) if e.kind() == io::ErrorKind::UnexpectedEof => Ok(false),
        Err(e) => Err(e),
    }
}

/// The format chunk, as Microsoft's WAVEFORMATEX and WAVEFORMATEXTENSIBLE lay it out.
fn wav_form_of(raw: &[u8]) -> Result<Form, HeaderError> {
    let u16_at = |at: usize| match raw.get(at..at + 2) {
        Some([a, b]) => Some(u16::from_le_bytes([*a, *b])),
        _ => None,
    };
    let short = || HeaderError::Form("its format header is too short".into());
    let mut tag = u16_at(0).ok_or_else(short)?;
    let channels = u16_at(2).ok_or_else(short)?;
    let rate = u32::from(u16_at(4).ok_or_else(short)?) | u32::from(u16_at(6).ok_or_else(short)?) << 16;
    let frame_bytes = u16_at(12).ok_or_else(short)?;
    let bits = u16_at(14).ok_or_else(short)?;
    let extensible = tag == 0xfffe;
    if extensible {
        // The real tag opens the sub-format's identifier.
        tag = u16_at(24).ok_or_else(|| HeaderError::Form("its extensible format header is too short".into()))?;
    }
    check_form(channels, rate).map_err(HeaderError::Form)?;
    let width = frame_bytes / channels;
    if width * channels != frame_bytes || u32::from(bits) > u32::from(width) * 8 || bits == 0 {
        return Err(HeaderError::Form(format!(
            "its header contradicts itself ({channels} channels of {bits} bits in {frame_bytes} bytes)"
        )));
    }
    let coding = match (tag, width) {
        (1, 1) => Coding::U8,
        (1, 4) if bits == 24 && !extensible => Coding::Low24,
        (1, 2..=4) => Coding::Int,
        (3, 4) => Coding::F32,
        (3, 8) => Coding::F64,
        (6 | 7, _) => return Err(HeaderError::Form("it is A-law or mu-law coded".into())),
        (1 | 3, _) => {
            return Err(HeaderError::Form(format!("samples of {bits} bits are not read")));
        }
        (other, _) => {
            return Err(HeaderError::Form(format!(
                "its coding (format tag {other:#06x}) is compressed or unknown"
            )));
        }
    };
    let full_scale = match coding {
        Coding::F32 | Coding::F64 => 1.0,
        _ => full_scale(bits.into()),
    };
    Ok(Form {
        coding,
        channels,
        rate,
        width: width.into(),
        full_scale,
    })
}

fn check_form(channels: u16, rate: u32) -> Result<(), String> {
    if channels == 0 {
        return Err("its header says it has no channels".into());
    }
    if channels > MOST_CHANNELS {
        return Err(format!(
            "its header says it has {channels} channels, at most {MOST_CHANNELS} are read"
        ));
    }
    if !RATES.contains(&rate) {
        return Err(format!(
            "its sample rate is {rate} Hz, from {} to {} Hz are read",
            RATES.start(),
            RATES.end()
        ));
    }
    Ok(())
}

/// The highest positive value of an integer sample of `bits`, as amplitude.
pub(crate) fn full_scale(bits: u32) -> f32 {
    ((half_range(bits) - 1.0) / half_range(bits)) as f32
}

/// 2 to the power of `bits` - 1: what an integer sample is divided by.
fn half_range(bits: u32) -> f64 {
    (1u64 << (bits.clamp(2, 32) - 1)) as f64
}

// --- FLAC ---

fn read_flac(file: impl Read, path: &Path) -> Result<Clip, SoundError> {
    let form_error = |e: claxon::Error| match e {
        claxon::Error::IoError(e) if e.kind() == io::ErrorKind::UnexpectedEof => SoundError::Empty {
            path: path.to_path_buf(),
            detail: "the header is cut off".into(),
        },
        claxon::Error::IoError(source) => SoundError::File {
            operation: "read",
            path: path.to_path_buf(),
            source,
        },
        other => SoundError::Form {
            path: path.to_path_buf(),
            detail: other.to_string(),
        },
    };
    let options = claxon::FlacReaderOptions {
        metadata_only: false,
        read_vorbis_comment: false,
    };
    let mut reader = claxon::FlacReader::new_ext(file, options).map_err(form_error)?;
    let about = reader.streaminfo();
    let form = |detail| SoundError::Form {
        path: path.to_path_buf(),
        detail,
    };
    check_form(about.channels.try_into().unwrap_or(u16::MAX), about.sample_rate).map_err(form)?;
    if let Some(samples) = about.samples {
        let seconds = samples as f64 / f64::from(about.sample_rate);
        if seconds > LONGEST {
            return Err(too_long(path, seconds));
        }
    }
    let scale = half_range(about.bits_per_sample) as f32;
    let mut intake = Intake::new(
        path,
        about.sample_rate,
        about.channels as usize,
        full_scale(about.bits_per_sample),
    )?;
    let mut frame = vec![0f32; about.channels as usize];
    let mut blocks = reader.blocks();
    let mut buffer = Vec::new();
    let mut damaged = false;
    loop {
        match blocks.read_next_or_eof(buffer) {
            Ok(Some(block)) => {
                if block.channels() as usize != frame.len() {
                    damaged = true;
                    break;
                }
                for i in 0..block.duration() {
                    for (channel, sample) in (0..).zip(&mut frame) {
                        *sample = block.sample(channel, i) as f32 / scale;
                    }
                    intake.frame(&frame)?;
                }
                buffer = block.into_buffer();
            }
            Ok(None) => break,
            // A damaged or missing block ends the recording; what came before is good (each block has a checksum).
            Err(_) => {
                damaged = true;
                break;
            }
        }
    }
    intake.finish(about.samples, damaged)
}

#[cfg(test)]
mod tests;
