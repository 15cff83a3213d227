//! The one way in which a file is made, replaced, claimed or removed, with other programs doing the same at once.
//!
//! * What is written appears under its name only when it is whole: [`Beside`] writes under a name nobody else has, in the
//!   same folder, and gives it its place in one step. [`Beside::make`] never overwrites what is there, [`Beside::replace`]
//!   does.
//! * [`claim`] takes a name that a folder or a renamed file is to have; of several programs one gets it.
//! * [`remove`] is content when the file is gone, whoever removed it.
//! * [`Lock`] keeps other programs out while several files change together. The database has its own lock.

use std::ffi::OsString;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, ErrorKind, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use tempfile::NamedTempFile;

/// Who may read a file that is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// As the user's other files.
    Ordinary,
    /// Its owner only, where the system knows of owners.
    Private,
}

/// A file on its way: it lies beside its place, under a name of its own, and is removed if it does not get there.
#[derive(Debug)]
pub struct Beside {
    file: NamedTempFile,
    place: PathBuf,
}

impl Beside {
    /// A new file beside `place`: its name there, something random, `.part`.
    pub fn new(place: &Path, access: Access) -> io::Result<Self> {
        // Names of files have a greatest length, and this one is longer than the one wanted.
        let name: String = name_of(place).chars().take(60).collect();
        Self::named(place, &format!("{name}."), ".part", access)
    }

    /// As [`Beside::new`], with what stands before and after the random part of the name.
    pub fn named(place: &Path, before: &str, after: &str, access: Access) -> io::Result<Self> {
        let mut builder = tempfile::Builder::new();
        builder.prefix(before).suffix(after);
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(match access {
            // The user's mask takes from it what it takes from every file.
            Access::Ordinary => 0o666,
            Access::Private => 0o600,
        }));
        #[cfg(not(unix))]
        let _ = access;
        Ok(Self {
            file: builder.tempfile_in(folder_of(place))?,
            place: place.to_path_buf(),
        })
    }

    /// Gives the file its place, whatever is there.
    pub fn replace(self) -> io::Result<()> {
        self.file.as_file().sync_all()?;
        let (file, part) = self.file.keep()?;
        drop(file);
        // The standard library's renaming replaces a file that others have open, on Windows too.
        move_to(&part, &self.place)
    }

    /// Gives the file its place, unless there is something: then the error is [`ErrorKind::AlreadyExists`].
    pub fn make(self) -> io::Result<()> {
        self.file.as_file().sync_all()?;
        match self.file.persist_noclobber(&self.place) {
            Ok(_) => {
                sync_folder(&self.place);
                Ok(())
            }
            Err(e) if e.error.kind() == ErrorKind::AlreadyExists => Err(e.error),
            // The file system can neither rename without replacing nor give a file a second name. Its error, if that is not
            // the reason, comes here again.
            Err(e) => {
                claim(&self.place)?;
                let (file, part) = e.file.keep()?;
                drop(file);
                move_to(&part, &self.place).inspect_err(|_| drop(remove(&self.place)))
            }
        }
    }
}

impl Write for Beside {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Seek for Beside {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.file.seek(to)
    }
}

/// Writes a file that takes the place of the one there, if there is one.
pub fn replace(place: &Path, access: Access, bytes: &[u8]) -> io::Result<()> {
    let mut file = Beside::new(place, access)?;
    file.write_all(bytes)?;
    file.replace()
}

/// Writes a file that must not be there yet: else the error is [`ErrorKind::AlreadyExists`].
pub fn make(place: &Path, access: Access, bytes: &[u8]) -> io::Result<()> {
    let mut file = Beside::new(place, access)?;
    file.write_all(bytes)?;
    file.make()
}

/// Makes an empty file, open for writing, that must not be there yet: for what is read while it grows, and for a name that
/// is to be taken.
pub fn claim(place: &Path) -> io::Result<File> {
    OpenOptions::new().write(true).create_new(true).open(place)
}

/// Gives a file another name that nothing has yet: else the error is [`ErrorKind::AlreadyExists`].
pub fn rename_new(from: &Path, to: &Path) -> io::Result<()> {
    drop(claim(to)?);
    move_over(from, to).inspect_err(|_| drop(remove(to)))
}

/// Removes a file. Whether it was there.
pub fn remove(path: &Path) -> io::Result<bool> {
    match std::fs::remove_file(path) {
        Ok(()) => Ok(true),
        Err(e) if e.kind() == ErrorKind::NotFound => Ok(false),
        Err(e) => Err(e),
    }
}

/// The name with a number before its ending: `site.zip`, `site-2.zip`, `site-3.zip`, and so on.
pub fn numbered(place: &Path) -> impl Iterator<Item = PathBuf> {
    let place = place.to_path_buf();
    let stem = place.file_stem().unwrap_or_default().to_os_string();
    (1..u32::MAX).map(move |n| {
        if n == 1 {
            return place.clone();
        }
        let mut name = stem.clone();
        name.push(format!("-{n}"));
        if let Some(ending) = place.extension() {
            name.push(".");
            name.push(ending);
        }
        place.with_file_name(name)
    })
}

/// A path with something behind its name.
pub fn with_ending(path: &Path, ending: &str) -> PathBuf {
    let mut name = OsString::from(path);
    name.push(ending);
    PathBuf::from(name)
}

fn name_of(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// Why a path is no file to be read, if it is none: a pipe or a device may never end.
pub fn no_file(path: &Path) -> Option<&'static str> {
    match path.metadata() {
        Err(_) => Some("there is no such file"),
        Ok(about) if about.is_dir() => Some("it is a folder; name a file"),
        Ok(about) if !about.is_file() => {
            Some("it is no regular file but a pipe or a device, which may never end; name a file on the disk")
        }
        Ok(_) => None,
    }
}

/// The folder a path lies in.
pub fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// Renames; what cannot get its place is removed.
fn move_to(part: &Path, place: &Path) -> io::Result<()> {
    move_over(part, place).inspect_err(|_| drop(remove(part)))
}

fn move_over(from: &Path, to: &Path) -> io::Result<()> {
    std::fs::rename(from, to)?;
    sync_folder(to);
    Ok(())
}

/// A new name survives a power cut once its folder is on the disk. Best effort: not every system lets a folder be synced,
/// and the file is there.
fn sync_folder(path: &Path) {
    #[cfg(unix)]
    let _ = File::open(folder_of(path)).and_then(|f| f.sync_all());
    #[cfg(not(unix))]
    let _ = path;
}

/// How long a program waits for another one's lock. What is done under one takes far less.
const PATIENCE: Duration = Duration::from_secs(10);
/// How often it looks.
const LOOK: Duration = Duration::from_millis(5);

/// Keeps other programs, and other threads of this one, out of what the lock's file stands for. Given back when it is
/// dropped, or when this program ends, however it ends. The file stays: to remove it would be a race of its own.
#[derive(Debug)]
pub struct Lock {
    /// Closing it gives the lock back.
    _file: File,
}

impl Lock {
    /// Waits for the lock for some seconds; then the error is [`ErrorKind::ResourceBusy`].
    pub fn take(path: &Path) -> io::Result<Self> {
        let begun = Instant::now();
        loop {
            if let Some(lock) = Self::try_take(path)? {
                return Ok(lock);
            }
            if begun.elapsed() > PATIENCE {
                return Err(io::Error::new(
                    ErrorKind::ResourceBusy,
                    format!(
                        "another program is at work on it; close it and try again (its lock: {})",
                        path.display()
                    ),
                ));
            }
            std::thread::sleep(LOOK);
        }
    }

    /// For reading what changes under this lock: keeps writers out, not other readers. Where the lock's file is not there,
    /// nothing has been changed under it yet; where it cannot be had in time, what is read is the best there is.
    pub fn to_read(path: &Path) -> Option<Self> {
        let file = File::open(path).ok()?;
        let begun = Instant::now();
        while let Err(TryLockError::WouldBlock) = file.try_lock_shared() {
            if begun.elapsed() > PATIENCE {
                return None;
            }
            std::thread::sleep(LOOK);
        }
        Some(Self { _file: file })
    }

    /// The lock, unless another program has it.
    pub fn try_take(path: &Path) -> io::Result<Option<Self>> {
        let file = OpenOptions::new().write(true).create(true).truncate(false).open(path)?;
        match file.try_lock() {
            Ok(()) => Ok(Some(Self { _file: file })),
            Err(TryLockError::WouldBlock) => Ok(None),
            // A file system without locks: as good as it can be there.
            Err(TryLockError::Error(e)) if e.kind() == ErrorKind::Unsupported => Ok(Some(Self { _file: file })),
            Err(TryLockError::Error(e)) => Err(e),
        }
    }
}

#[cfg(test)]
pub(crate) mod tests;
