//! Opening a logbook: new, existing, older, newer, foreign, damaged, write-protected; and setting a file aside.

use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, ErrorCode, OpenFlags, TransactionBehavior};

use super::error::{file, sorted};
use super::{Logbook, LogbookError, Result, schema};
use crate::files;

/// How long a write waits for another program before it gives up: longer than an export of a large logbook takes.
const PATIENCE: Duration = Duration::from_secs(10);

impl Logbook {
    /// Opens the logbook at `path`, made if it is not there, and brings an older format up to date (a copy of the old
    /// file is kept beside it). `recordings` is the folder of the recordings; it is made when the first one is begun.
    ///
    /// A logbook that cannot be written is opened for reading: see [`Logbook::read_only_notice`]. One that is not
    /// there and cannot be made is an error; the program can go on with [`Logbook::in_memory`].
    pub fn open(path: &Path, recordings: &Path) -> Result<Self> {
        Self::open_with_patience(path, recordings, PATIENCE)
    }

    /// As [`Logbook::open`], with the longest time to wait for another program's write.
    pub fn open_with_patience(path: &Path, recordings: &Path, patience: Duration) -> Result<Self> {
        if let Some(folder) = path.parent().filter(|p| !p.as_os_str().is_empty()) {
            make_private_folder(folder).map_err(|e| match file("make the logbook's folder", folder)(e) {
                LogbookError::File { source, path, .. } => LogbookError::NoFolder { source, path },
                other => other,
            })?;
        }
        if path.is_dir() {
            return Err(LogbookError::NotALogbook {
                why: "it is a folder".to_owned(),
                path: path.to_path_buf(),
            });
        }
        // No URI flag: a file named "file:..." is a file.
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(path, flags).map_err(|e| match sorted(path, "open", e) {
            LogbookError::ReadOnly { path } if !path.exists() => LogbookError::NoneYet { path },
            other => other,
        })?;
        Self::prepare(connection, path, recordings, patience)
    }

    /// A logbook that is gone when it is dropped: for tests, and for going on when the real one cannot be opened.
    pub fn in_memory(recordings: &Path) -> Result<Self> {
        let path = Path::new(":memory:");
        let connection = Connection::open_in_memory().map_err(|e| sorted(path, "open", e))?;
        Self::prepare(connection, path, recordings, PATIENCE)
    }

    fn prepare(mut connection: Connection, path: &Path, recordings: &Path, patience: Duration) -> Result<Self> {
        let sort = |e| sorted(path, "open", e);
        connection.busy_timeout(patience).map_err(sort)?;
        let found = schema::look(&mut connection).map_err(sort)?;
        let known = i64::try_from(schema::MIGRATIONS.len()).unwrap_or(i64::MAX);
        let foreign = if found.format == 0 {
            found.objects > 0
        } else {
            found.application_id != schema::APPLICATION_ID
        };
        if foreign {
            let why = "it is another program's database".to_owned();
            return Err(LogbookError::NotALogbook {
                why,
                path: path.to_path_buf(),
            });
        }
        if found.format > known {
            return Err(LogbookError::Newer {
                found: found.format,
                known,
                path: path.to_path_buf(),
            });
        }
        let read_only = write_protected(&mut connection, found.format).map_err(sort)?;
        if read_only && found.format == 0 {
            return Err(LogbookError::NoneYet {
                path: path.to_path_buf(),
            });
        }
        if read_only && found.format < known {
            return Err(LogbookError::OlderReadOnly {
                found: found.format,
                known,
                path: path.to_path_buf(),
            });
        }

        let set = |name: &str, value: &str| connection.pragma_update(None, name, value).map_err(sort);
        set("foreign_keys", "ON")?;
        set("trusted_schema", "OFF")?;
        // Kilobytes, as a negative number. Questions about years of practice go back and forth over many pages.
        set("cache_size", "-32000")?;
        if !read_only {
            // See the head of this room for the reasons. EXTRA is FULL and the sync of the folder after the journal
            // is gone: without it a power cut right after the commit could bring the journal back and undo it.
            set("journal_mode", "DELETE")?;
            set("synchronous", "EXTRA")?;
            // What is deleted is overwritten with zeros, so that forgetting is forgetting.
            set("secure_delete", "ON")?;
            schema::migrate(&mut connection, path, schema::MIGRATIONS)?;
        }
        Ok(Self {
            connection,
            path: path.to_path_buf(),
            recordings: recordings.to_path_buf(),
            read_only,
            noted: std::cell::RefCell::default(),
        })
    }

    /// Why nothing can be recorded here, as a sentence for the user; `None` when the logbook can be written.
    pub fn read_only_notice(&self) -> Option<String> {
        self.read_only.then(|| {
            LogbookError::ReadOnly {
                path: self.path.clone(),
            }
            .to_string()
        })
    }

    /// The database file; `:memory:` for one that is not on disk.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The folder of the recordings.
    pub fn recordings_folder(&self) -> &Path {
        &self.recordings
    }

    /// Checks the whole database; takes seconds for a large one. An error names what is damaged.
    pub fn check_integrity(&self) -> Result<()> {
        let first: String = self
            .connection
            .query_row("PRAGMA integrity_check(1)", [], |r| r.get(0))
            .map_err(self.sorted("check the database"))?;
        let strays: i64 = self
            .connection
            .query_row("SELECT count(*) FROM pragma_foreign_key_check", [], |r| r.get(0))
            .map_err(self.sorted("check the database"))?;
        let detail = match (first.as_str(), strays) {
            ("ok", 0) => return Ok(()),
            ("ok", n) => format!("{n} rows belong to nothing"),
            _ => first,
        };
        Err(LogbookError::Damaged {
            detail,
            path: self.path.clone(),
        })
    }

    /// Sorts an error of SQLite into one of this room's.
    pub(super) fn sorted(&self, doing: &'static str) -> impl Fn(rusqlite::Error) -> LogbookError + use<> {
        let path = self.path.clone();
        move |e| sorted(&path, doing, e)
    }

    /// A transaction that may write. It takes the write lock at once: upgrading later could fail without waiting.
    pub(super) fn write(&mut self, doing: &'static str) -> Result<rusqlite::Transaction<'_>> {
        if self.read_only {
            return Err(LogbookError::ReadOnly {
                path: self.path.clone(),
            });
        }
        let sort = self.sorted(doing);
        self.connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(sort)
    }

    /// As [`Logbook::write`], while the logbook's questions can still be asked: under the lock, their answers hold until the
    /// end of the transaction. No other transaction may be begun meanwhile.
    pub(super) fn write_and_read(&self, doing: &'static str) -> Result<rusqlite::Transaction<'_>> {
        if self.read_only {
            return Err(LogbookError::ReadOnly {
                path: self.path.clone(),
            });
        }
        rusqlite::Transaction::new_unchecked(&self.connection, TransactionBehavior::Immediate)
            .map_err(self.sorted(doing))
    }
}

/// Whether writing would fail for want of permission, tried with a change that is taken back. SQLite itself only
/// notices a protected file at opening, not a protected folder, where its journal could not be made.
fn write_protected(connection: &mut Connection, format: i64) -> rusqlite::Result<bool> {
    if connection.is_readonly("main")? {
        return Ok(true);
    }
    let mut try_writing = || -> rusqlite::Result<()> {
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        transaction.pragma_update(None, "user_version", format)?;
        transaction.rollback()
    };
    match try_writing().map_err(|e| (e.sqlite_error_code(), e)) {
        // A full disk is another matter: the first attempt to record says so, and it may pass.
        Ok(()) | Err((Some(ErrorCode::DiskFull), _)) => Ok(false),
        Err((Some(ErrorCode::ReadOnly | ErrorCode::CannotOpen), _)) => Ok(true),
        Err((_, e)) => Err(e),
    }
}

/// Makes a folder (and those above it) that only its owner can enter: recordings and names are personal data. One
/// that exists keeps the rights it has.
pub(super) fn make_private_folder(folder: &Path) -> std::io::Result<()> {
    private_folders().recursive(true).create(folder)
}

/// As [`make_private_folder`], for one that must not be there yet, in one that is.
pub(super) fn make_new_private_folder(folder: &Path) -> std::io::Result<()> {
    private_folders().create(folder)
}

fn private_folders() -> std::fs::DirBuilder {
    #[cfg_attr(not(unix), expect(unused_mut, reason = "rights are Unix's"))]
    let mut builder = std::fs::DirBuilder::new();
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder
}

/// Writes a file that is not there yet and that only its owner can read.
pub(super) fn write_private(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    use std::io::Write;
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut out = options.open(path)?;
    out.write_all(bytes)?;
    out.sync_all()
}

/// Renames a damaged or foreign file, and what SQLite left beside it, to `NAME.set-aside-N`, so that a new logbook can
/// be started; nothing is deleted or overwritten. No program may have it open. Returns the new path of the database file.
pub fn set_aside(path: &Path) -> Result<PathBuf> {
    let failed = |e| file("set the logbook aside", path)(e);
    for n in 1..u32::MAX {
        let target = files::with_ending(path, &format!(".set-aside-{n}"));
        match files::rename_new(path, &target) {
            Err(e) if e.kind() == ErrorKind::AlreadyExists => continue,
            renamed => renamed.map_err(failed)?,
        }
        // A journal belongs to its database by name; left behind, it would be rolled into the new one.
        for suffix in ["-journal", "-wal", "-shm"] {
            let companion = files::with_ending(path, suffix);
            match std::fs::rename(&companion, files::with_ending(&target, suffix)) {
                Err(e) if e.kind() != ErrorKind::NotFound => {
                    return Err(file("set the logbook's journal aside", &companion)(e));
                }
                _ => {}
            }
        }
        return Ok(target);
    }
    Err(failed(ErrorKind::AlreadyExists.into()))
}

/// Files this room left beside the logbook whose names begin with `NAME` and one of the given marks.
pub(super) fn beside(path: &Path, mark: &str) -> Vec<PathBuf> {
    let Some(name) = path.file_name() else {
        return Vec::new();
    };
    let start = format!("{}{mark}", name.to_string_lossy());
    let Ok(entries) = std::fs::read_dir(files::folder_of(path)) else {
        return Vec::new();
    };
    let mut found: Vec<PathBuf> = entries
        .flatten()
        .filter(|e| e.file_name().to_string_lossy().starts_with(&start))
        .map(|e| e.path())
        .collect();
    found.sort();
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::tests::{at_once, rounds};

    /// Two windows may be told to do it; meanwhile a third program begins a new logbook.
    #[test]
    fn what_is_set_aside_at_once_is_never_overwritten() {
        for _ in 0..rounds() {
            let dir = tempfile::tempdir().unwrap();
            let path = dir.path().join("logbook.sqlite");
            let earlier = files::with_ending(&path, ".set-aside-1");
            std::fs::write(&earlier, "set aside long ago").unwrap();
            std::fs::write(&path, "damaged").unwrap();
            let done = at_once(0..4, |n| {
                let done = set_aside(&path);
                if n == 0 {
                    let _ = std::fs::write(&path, "begun anew");
                }
                done
            });
            let mut there: Vec<String> = (done.into_iter().flatten())
                .map(|p| std::fs::read_to_string(p).unwrap())
                .collect();
            there.extend(std::fs::read_to_string(&path));
            there.sort();
            assert!(there == ["begun anew", "damaged"], "{there:?}");
            assert_eq!(std::fs::read_to_string(&earlier).unwrap(), "set aside long ago");
            assert_eq!(
                std::fs::read_dir(dir.path()).unwrap().count(),
                3,
                "no name is taken for nothing"
            );
        }
    }
}
