//! The recording on disk while it is being made: a WAV file that is readable at any moment, so that a crash or a kill
//! loses less than the last half second of the call being spoken; and the files such an end leaves behind.

use std::fs::{File, OpenOptions};
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, SystemTime};

use super::SoundError;
use super::clip::Clip;
use super::file::{hound_io, read_clip, to_i16, wav_form, write_wav};
use crate::files;

/// How often the header is brought up to date.
const FLUSH_EVERY: Duration = Duration::from_millis(250);
/// A part file written to within this time may still be in use by another copy of the program.
const IN_USE: Duration = Duration::from_secs(3);
/// Endings of a recording being made, and of one that is done.
const PART: &str = ".part.wav";
const DONE: &str = ".wav";

/// A recording being written to `NAME.part.wav`, which becomes `NAME.wav` when it is done.
pub(crate) struct PartFile {
    writer: hound::WavWriter<BufWriter<File>>,
    part: PathBuf,
    target: PathBuf,
    /// Samples written.
    written: usize,
    /// What they were multiplied with.
    gain: f32,
    flushed: Instant,
}

impl PartFile {
    /// `target`: where the finished recording shall be; its folder is made if need be.
    pub(crate) fn create(target: &Path, gain: f32) -> io::Result<Self> {
        if let Some(folder) = target.parent() {
            std::fs::create_dir_all(folder)?;
        }
        let part = part_path(target);
        let mut writer = hound::WavWriter::new(BufWriter::new(files::claim(&part)?), wav_form()).map_err(hound_io)?;
        writer.flush().map_err(hound_io)?;
        Ok(Self {
            writer,
            part,
            target: target.to_path_buf(),
            written: 0,
            gain,
            flushed: Instant::now(),
        })
    }

    /// Brings the file up to `samples`: all there are so far, of which some are already written.
    pub(crate) fn extend(&mut self, samples: &[f32]) -> io::Result<()> {
        for s in samples.get(self.written..).unwrap_or_default() {
            self.writer.write_sample(to_i16(s * self.gain)).map_err(hound_io)?;
            self.written += 1;
        }
        if self.flushed.elapsed() >= FLUSH_EVERY {
            self.writer.flush().map_err(hound_io)?;
            self.flushed = Instant::now();
        }
        Ok(())
    }

    /// Writes what is missing and gives the file its final name. `samples` are the clip's, `gain` what its mix was
    /// multiplied with in the end; if the file was written with another one, it is written anew.
    pub(crate) fn finish(mut self, samples: &[f32], gain: f32) -> io::Result<PathBuf> {
        let result = self.complete(samples, gain);
        if result.is_err() {
            self.remove();
        }
        result
    }

    fn complete(&mut self, samples: &[f32], gain: f32) -> io::Result<PathBuf> {
        if (self.gain - gain).abs() > f32::EPSILON || self.written > samples.len() {
            write_wav(&self.target, samples).map_err(|e| match e {
                SoundError::File { source, .. } => source,
                other => io::Error::other(other),
            })?;
            files::remove(&self.part)?;
            return Ok(self.target.clone());
        }
        // These samples are final: their gain is already in them.
        self.gain = 1.0;
        self.extend(samples)?;
        self.writer.flush().map_err(hound_io)?;
        // Windows writes a file through only for who may write to it.
        OpenOptions::new().write(true).open(&self.part)?.sync_all()?;
        std::fs::rename(&self.part, &self.target)?;
        Ok(self.target.clone())
    }

    /// Gives the recording up.
    pub(crate) fn remove(self) {
        let part = self.part.clone();
        // The writer is closed first: some systems do not delete open files.
        drop(self);
        // The file may be unremovable for the same reason it was unwritable; it is then found as a left-over.
        let _ = files::remove(&part);
    }
}

fn part_path(target: &Path) -> PathBuf {
    let mut name = target.file_stem().unwrap_or_default().to_os_string();
    name.push(PART);
    target.with_file_name(name)
}

/// Recordings in `folder` that were never finished, the oldest name first: the program was killed while they were made.
/// Those that may still be in the making (written to within three seconds) are left out. A folder that does not exist
/// has none.
pub fn left_over(folder: &Path) -> Result<Vec<PathBuf>, SoundError> {
    let place = |source| SoundError::File {
        operation: "list",
        path: folder.to_path_buf(),
        source,
    };
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(e) => return Err(place(e)),
    };
    let mut found = Vec::new();
    for entry in entries {
        let entry = entry.map_err(place)?;
        let part = entry.file_name().to_string_lossy().ends_with(PART);
        let idle = entry.metadata().and_then(|m| m.modified()).is_ok_and(|t| {
            // A time in the future (a clock set back) says nothing about use.
            SystemTime::now().duration_since(t).map_or(true, |age| age > IN_USE)
        });
        if part && idle {
            found.push(entry.path());
        }
    }
    found.sort();
    Ok(found)
}

/// Reads a left-over recording and gives it the name of a finished one. One without usable sound is removed, and that
/// is the error.
pub fn recover(part: &Path) -> Result<(PathBuf, Clip), SoundError> {
    let clip = match read_clip(part) {
        Ok(clip) => clip,
        Err(e @ (SoundError::Empty { .. } | SoundError::Form { .. } | SoundError::NotSound { .. })) => {
            files::remove(part).map_err(|source| SoundError::File {
                operation: "remove",
                path: part.to_path_buf(),
                source,
            })?;
            return Err(e);
        }
        Err(e) => return Err(e),
    };
    let name = part.file_name().unwrap_or_default().to_string_lossy();
    let target = part.with_file_name(format!("{}{DONE}", name.strip_suffix(PART).unwrap_or(&name)));
    write_wav(&target, &clip.samples)?;
    files::remove(part).map_err(|source| SoundError::File {
        operation: "remove",
        path: part.to_path_buf(),
        source,
    })?;
    Ok((target, clip))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp(n: usize) -> Vec<f32> {
        (0..n).map(|i| (i % 1000) as f32 / 2000.0 + 0.1).collect()
    }

    fn age(path: &Path) {
        let old = SystemTime::now() - Duration::from_mins(1);
        File::options()
            .write(true)
            .open(path)
            .unwrap()
            .set_modified(old)
            .unwrap();
    }

    #[test]
    fn the_file_is_readable_at_any_moment() {
        let dir = tempfile::tempdir().unwrap();
        let target = dir.path().join("deep/call.wav");
        let samples = ramp(16_000);
        let mut file = PartFile::create(&target, 1.0).unwrap();
        let part = dir.path().join("deep/call.part.wav");
        assert!(matches!(read_clip(&part), Err(SoundError::Empty { .. })));
        file.extend(&samples[..8000]).unwrap();
        std::thread::sleep(FLUSH_EVERY);
        file.extend(&samples[..12_000]).unwrap();
        assert_eq!(read_clip(&part).unwrap().samples.len(), 12_000);
        assert_eq!(file.finish(&samples, 1.0).unwrap(), target);
        assert!(!part.exists());
        assert_eq!(read_clip(&target).unwrap().samples.len(), 16_000);
    }

    #[test]
    fn another_gain_at_the_end_rewrites_the_file() {
        let dir = tempfile::tempdir().unwrap();
        let target = dir.path().join("call.wav");
        let mut file = PartFile::create(&target, 0.5).unwrap();
        file.extend(&ramp(8000)).unwrap();
        file.finish(&ramp(8000), 1.0).unwrap();
        let peak = read_clip(&target).unwrap().samples.iter().fold(0f32, |m, s| m.max(*s));
        assert!((peak - 0.6).abs() < 0.01, "{peak}");
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1);
    }

    #[test]
    fn left_over_recordings_are_found_and_recovered() {
        let dir = tempfile::tempdir().unwrap();
        assert!(left_over(&dir.path().join("none")).unwrap().is_empty());
        let mut file = PartFile::create(&dir.path().join("killed.wav"), 1.0).unwrap();
        file.extend(&ramp(8000)).unwrap();
        file.writer.flush().unwrap();
        // As a kill leaves it: no destructor runs.
        std::mem::forget(file);
        let part = dir.path().join("killed.part.wav");
        assert!(left_over(dir.path()).unwrap().is_empty(), "still in use");
        age(&part);
        assert_eq!(left_over(dir.path()).unwrap(), std::slice::from_ref(&part));
        let (path, clip) = recover(&part).unwrap();
        assert_eq!(path, dir.path().join("killed.wav"));
        assert_eq!(clip.samples.len(), 8000);
        assert!(!part.exists() && path.exists());
    }

    #[test]
    fn a_left_over_without_sound_is_removed() {
        let dir = tempfile::tempdir().unwrap();
        std::mem::forget(PartFile::create(&dir.path().join("empty.wav"), 1.0).unwrap());
        let part = dir.path().join("empty.part.wav");
        age(&part);
        assert!(recover(&part).is_err());
        assert!(!part.exists());
    }
}
