//! Takes a model in from a file or an address the user names. Whatever the place, only the published checksum counts.

use std::fs::{self, File};
use std::io::{BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::RecvTimeoutError;
use std::time::Duration;

use serde::{Deserialize, Serialize};
use sha1::Digest;
use ureq::http::Uri;
use ureq::tls::RootCerts;

use super::checked::{self, Verified};
use super::download::{self, Begin, Part};
use super::known::{KNOWN, Known};
use super::obtain::{Hashed, Progress, Stage, Unfinished, lock};
use super::origin::Origin;
use super::{ModelError, rebuild};

/// The unfinished file of a download, and what is known of it; kept when it stops, so that it can go on.
const UNFINISHED: &str = "download.part";
const NOTES: &str = "download.json";
/// No published model is larger.
const LARGEST: u64 = 3_500_000_000;
/// How often a broken connection is taken up again, as long as something came each time.
const AGAIN: u32 = 3;
/// How soon a wish to stop is heard.
const LOOK: Duration = Duration::from_millis(100);

/// Takes the model at `origin` into `dir` under its official name: model `name`, or whichever published one it is.
///
/// A download that breaks off or is cancelled keeps what has arrived, and goes on from there when it is asked for again.
/// `cancel` may be set from another thread.
pub fn take_in(
    name: Option<&str>,
    origin: &Origin,
    dir: &Path,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Verified, ModelError> {
    let wanted: Vec<&'static Known> = match name {
        None => KNOWN.iter().collect(),
        Some(name) => match checked::find(dir, name) {
            Ok(found) => return Ok(found),
            Err(e @ ModelError::UnknownName { .. }) => return Err(e),
            Err(_) => Known::by_name(name).into_iter().collect(),
        },
    };
    let mut work = Work {
        wanted: &wanted,
        origin,
        dir,
        roots: RootCerts::PlatformVerifier,
        progress,
        cancel,
    };
    work.run()
}

struct Work<'a> {
    wanted: &'a [&'static Known],
    origin: &'a Origin,
    dir: &'a Path,
    roots: RootCerts,
    progress: &'a mut dyn FnMut(Progress),
    cancel: &'a AtomicBool,
}

/// What is known of the unfinished file of a download.
#[derive(Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Notes {
    address: String,
    mark: Option<String>,
    total: Option<u64>,
}

/// The file under way, with the checksums of what it holds.
struct Sink {
    path: PathBuf,
    file: Hashed<File>,
    done: u64,
    head: Vec<u8>,
}

impl Work<'_> {
    fn run(&mut self) -> Result<Verified, ModelError> {
        fs::create_dir_all(self.dir).map_err(ModelError::file("create the folder", self.dir))?;
        let _lock = lock(self.dir)?;
        match self.origin {
            Origin::File(path) => self.copy(path),
            Origin::Address(address) => self.download(address),
        }
    }

    fn copy(&mut self, path: &Path) -> Result<Verified, ModelError> {
        let failed = |e| ModelError::file("read the file", path)(e);
        let data = fs::metadata(path).map_err(ModelError::file("open the file", path))?;
        if !data.is_file() {
            return Err(ModelError::NoOrigin {
                given: path.display().to_string(),
                why: "this is no file; name the model's file itself",
            });
        }
        self.check_size(data.len())?;
        let mut from = File::open(path).map_err(ModelError::file("open the file", path))?;
        let unfinished = Unfinished::new(self.dir.join("copy.part"));
        let mut sink = Sink::create(&unfinished.0)?;
        let mut piece = vec![0; 1024 * 1024];
        loop {
            self.tell(sink.done, Some(data.len()))?;
            let count = from.read(&mut piece).map_err(failed)?;
            if count == 0 {
                break;
            }
            self.put(&mut sink, &piece[..count])?;
        }
        self.accept(sink)
    }

    fn download(&mut self, address: &Uri) -> Result<Verified, ModelError> {
        let part = self.dir.join(UNFINISHED);
        let mut again = 0;
        loop {
            let went_on = fs::metadata(&part).is_ok_and(|data| data.len() > 0);
            let mut sink = self.taken_up(address, &part)?;
            let before = sink.done;
            match self.arrive(address, &mut sink) {
                Ok(()) => match self.accept(sink) {
                    // What lay there from before may have been damaged: once more, from the beginning.
                    Err(ModelError::NotPublished { .. } | ModelError::Mismatch { .. }) if went_on => {}
                    other => return other,
                },
                Err(ModelError::Beyond) if went_on => {
                    drop(sink);
                    self.forget();
                }
                // The server's word is not what it was.
                Err(ModelError::Beyond) => {
                    return Err(ModelError::Server {
                        address: address.to_string(),
                        why: "the server sent another part of the file than was asked for".to_owned(),
                    });
                }
                Err(ModelError::Cancelled) => {
                    return Err(if sink.done > 0 {
                        ModelError::Paused { kept: sink.done }
                    } else {
                        self.forget();
                        ModelError::Cancelled
                    });
                }
                Err(ModelError::Unreached { address, why }) => {
                    again += 1;
                    if sink.done == before || again > AGAIN {
                        return Err(if sink.done > 0 {
                            ModelError::Broken {
                                address,
                                why,
                                kept: sink.done,
                            }
                        } else {
                            self.forget();
                            ModelError::Unreached { address, why }
                        });
                    }
                }
                Err(other) => {
                    drop(sink);
                    self.forget();
                    return Err(other);
                }
            }
        }
    }

    /// The unfinished file, if it is from this address, else an empty one.
    fn taken_up(&mut self, address: &Uri, part: &Path) -> Result<Sink, ModelError> {
        if self.notes().is_none_or(|notes| notes.address != address.to_string()) {
            self.forget();
            return Sink::create(part);
        }
        let failed = |e| ModelError::file("read what has arrived", part)(e);
        let file = File::options()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(part)
            .map_err(failed)?;
        let mut sink = Sink::new(part, file);
        let mut reader = BufReader::new(sink.file.to.try_clone().map_err(failed)?);
        let mut piece = vec![0; 1024 * 1024];
        loop {
            // Reading leaves the place behind the last byte, where writing goes on.
            let count = reader.read(&mut piece).map_err(failed)?;
            if count == 0 {
                return Ok(sink);
            }
            if self.cancel.load(Ordering::Relaxed) {
                let kept = fs::metadata(part).map_or(0, |data| data.len());
                return Err(ModelError::Paused { kept });
            }
            sink.saw(&piece[..count]);
        }
    }

    /// Receives until the end.
    fn arrive(&mut self, address: &Uri, sink: &mut Sink) -> Result<(), ModelError> {
        let mark = self.notes().and_then(|notes| notes.mark);
        let parts = download::start(address, sink.done, mark, self.roots.clone())?;
        let mut total = None;
        self.tell(sink.done, None)?;
        loop {
            match parts.recv_timeout(LOOK) {
                Ok(Part::Begins(begin)) => {
                    total = begin.total;
                    self.begins(address, begin, sink)?;
                }
                Ok(Part::Bytes(bytes)) => {
                    self.put(sink, &bytes)?;
                    if total.is_some_and(|total| sink.done > total) || sink.done > LARGEST {
                        return Err(self.size(sink.done));
                    }
                }
                Ok(Part::Ends) if total.is_some_and(|total| sink.done < total) => {
                    return Err(ModelError::Unreached {
                        address: address.to_string(),
                        why: "the connection broke off".to_owned(),
                    });
                }
                Ok(Part::Ends) => {
                    self.tell(sink.done, total)?;
                    return Ok(());
                }
                Ok(Part::Failed(why)) => return Err(why),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => {
                    return Err(ModelError::Unreached {
                        address: address.to_string(),
                        why: "the connection broke off".to_owned(),
                    });
                }
            }
            self.tell(sink.done, total)?;
        }
    }

    /// The server answered: is it worth going on, and from where?
    fn begins(&self, address: &Uri, begin: Begin, sink: &mut Sink) -> Result<(), ModelError> {
        if let Some(total) = begin.total {
            self.check_size(total)?;
        }
        if begin.from != sink.done {
            *sink = Sink::create(&sink.path)?;
        }
        let notes = Notes {
            address: address.to_string(),
            mark: begin.mark,
            total: begin.total,
        };
        let path = self.dir.join(NOTES);
        let text = serde_json::to_vec(&notes).unwrap_or_default();
        fs::write(&path, text).map_err(ModelError::file("note what is fetched", &path))
    }

    fn check_size(&self, total: u64) -> Result<(), ModelError> {
        let fits = |known: &&'static Known| known.bytes().is_none_or(|bytes| bytes == total);
        if total > LARGEST || !self.wanted.iter().any(fits) {
            return Err(self.size(total));
        }
        Ok(())
    }

    fn size(&self, found: u64) -> ModelError {
        ModelError::OtherSize {
            origin: self.origin.shown(),
            found,
            wanted: self.wants(),
        }
    }

    /// What is wanted, in words.
    fn wants(&self) -> String {
        match self.wanted {
            [known] => known.bytes().map_or_else(
                || known.name.to_owned(),
                |bytes| format!("{} ({bytes} bytes)", known.name),
            ),
            _ => "any published model".to_owned(),
        }
    }

    fn put(&self, sink: &mut Sink, bytes: &[u8]) -> Result<(), ModelError> {
        sink.file
            .write_all(bytes)
            .map_err(ModelError::file("write the speech model", &sink.path))?;
        sink.note(bytes);
        // A page of a network that wants a login first, an archive, a text: no need to wait for its end.
        if sink.head.len() == 4 && sink.head != rebuild::MAGIC.to_le_bytes() {
            return Err(ModelError::NotAModelThere {
                origin: self.origin.shown(),
            });
        }
        Ok(())
    }

    fn tell(&mut self, done: u64, total: Option<u64>) -> Result<(), ModelError> {
        let sizes = match self.wanted {
            [known] => known.bytes(),
            _ => None,
        };
        (self.progress)(Progress {
            stage: Stage::TakingIn,
            done,
            total: total.or(sizes).unwrap_or(0).max(done),
        });
        if self.cancel.load(Ordering::Relaxed) {
            Err(ModelError::Cancelled)
        } else {
            Ok(())
        }
    }

    /// The whole file is there: if its checksum is a published one that is wanted, it gets its name.
    fn accept(&mut self, sink: Sink) -> Result<Verified, ModelError> {
        let Sink { path, file, done, head } = sink;
        let result = self.judge(&file, done, &head);
        let written = file.to.sync_all();
        // Windows renames no file that is open.
        drop(file);
        let known = match result.and_then(|known| {
            written.map_err(ModelError::file("write the speech model", &path))?;
            Ok(known)
        }) {
            Ok(known) => known,
            Err(e) => {
                // Of no use to anybody; overwritten by the next attempt if it cannot be removed.
                let _ = fs::remove_file(&path);
                self.forget();
                return Err(e);
            }
        };
        let target = self.dir.join(known.file_name());
        fs::rename(&path, &target).map_err(ModelError::file("rename the finished speech model to", &target))?;
        self.forget();
        checked::remember(&target, known.sha1);
        Ok(Verified {
            path: target,
            known: Some(known),
            bytes: done,
            sha1: known.sha1.to_owned(),
        })
    }

    fn judge(&self, file: &Hashed<File>, done: u64, head: &[u8]) -> Result<&'static Known, ModelError> {
        let origin = self.origin.shown();
        if head.len() < 4 {
            return Err(ModelError::NotAModelThere { origin });
        }
        let sha1 = checked::hexadecimal(&file.sha1.clone().finalize());
        let known = self.wanted.iter().copied().find(|k| k.sha1 == sha1);
        let Some(known) = known else {
            return Err(match Known::by_sha1(&sha1) {
                Some(other) => ModelError::OtherModel {
                    origin,
                    found: other.name.to_owned(),
                    wanted: self.wants(),
                },
                None => ModelError::NotPublished {
                    origin,
                    sha1,
                    bytes: done,
                    wanted: self.wants(),
                },
            });
        };
        if let Some(measured) = &known.measured {
            let found = checked::hexadecimal(&file.sha256.clone().finalize());
            if found != measured.sha256 {
                return Err(ModelError::Mismatch {
                    kind: "SHA-256",
                    found,
                    expected: measured.sha256.to_owned(),
                });
            }
        }
        Ok(known)
    }

    fn notes(&self) -> Option<Notes> {
        serde_json::from_slice(&fs::read(self.dir.join(NOTES)).ok()?).ok()
    }

    /// Removes the unfinished download. What cannot be removed is overwritten by the next.
    fn forget(&self) {
        for name in [UNFINISHED, NOTES] {
            let _ = fs::remove_file(self.dir.join(name));
        }
    }
}

impl Sink {
    fn create(path: &Path) -> Result<Self, ModelError> {
        let file = File::create(path).map_err(ModelError::file("create the file", path))?;
        Ok(Self::new(path, file))
    }

    fn new(path: &Path, file: File) -> Self {
        Self {
            path: path.to_owned(),
            file: Hashed::new(file),
            done: 0,
            head: Vec::new(),
        }
    }

    /// Bytes that are in the file already.
    fn saw(&mut self, bytes: &[u8]) {
        self.file.sha1.update(bytes);
        self.file.sha256.update(bytes);
        self.note(bytes);
    }

    fn note(&mut self, bytes: &[u8]) {
        let missing = 4 - self.head.len();
        self.head.extend(bytes.iter().take(missing));
        self.done += bytes.len() as u64;
    }
}

#[cfg(test)]
mod tests;
