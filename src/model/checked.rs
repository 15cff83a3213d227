//! One model file: its checksum, remembered so that it is computed once; and the folder of them.

use std::fs::{self, File};
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use serde::{Deserialize, Serialize};
use sha1::{Digest, Sha1};

use super::known::Known;
use super::{DEFAULT, ModelError, rebuild};
use crate::files::{self, Access};

/// A model file whose checksum was computed, or computed before and the file not changed since.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verified {
    /// The file.
    pub path: PathBuf,
    /// Which official file it is; `None` for a model that no published checksum vouches for.
    pub known: Option<&'static Known>,
    /// Its size.
    pub bytes: u64,
    /// Its SHA-1 in lower-case hexadecimal.
    pub sha1: String,
}

impl Verified {
    /// What a result says it was made with: the official file's name, else the file's own name.
    pub fn label(&self) -> String {
        self.known.map_or_else(
            || {
                self.path
                    .file_name()
                    .map(|name| name.to_string_lossy().into_owned())
                    .unwrap_or_default()
            },
            Known::file_name,
        )
    }
}

/// Verifies one file by its checksum. It is computed once and remembered beside the file; a change of size or time of the
/// file is noticed. A file that bears an official name must be that official file.
pub fn verify(path: &Path) -> Result<Verified, ModelError> {
    check(path, true)
}

/// As [`verify`], but computes the checksum even when it is remembered.
pub fn check_afresh(path: &Path) -> Result<Verified, ModelError> {
    check(path, false)
}

/// The official file of model `name` in the folder: under its official name, else any `.bin` file with its checksum.
pub fn find(dir: &Path, name: &str) -> Result<Verified, ModelError> {
    let known = Known::by_name(name).ok_or_else(|| ModelError::UnknownName { name: name.to_owned() })?;
    let official = dir.join(known.file_name());
    let failure = match verify(&official) {
        Ok(verified) => return Ok(verified),
        Err(failure) => failure,
    };
    for path in candidates(dir).into_iter().filter(|path| *path != official) {
        // A file that is something else, or cannot be read, is not the one wanted; `list` shows it.
        if let Ok(verified) = verify(&path)
            && verified.known == Some(known)
        {
            return Ok(verified);
        }
    }
    match failure {
        ModelError::File { source, .. } if source.kind() == ErrorKind::NotFound => Err(ModelError::Missing {
            name: name.to_owned(),
            dir: dir.to_owned(),
        }),
        other => Err(other),
    }
}

/// As [`find`], in the first of these folders that has it.
pub fn find_in(dirs: &[PathBuf], name: &str) -> Result<Verified, ModelError> {
    let mut failure = None;
    for dir in dirs {
        match find(dir, name) {
            Ok(verified) => return Ok(verified),
            // A damaged file explains more than a folder without any.
            Err(e) if failure.is_none() || matches!(failure, Some(ModelError::Missing { .. })) => {
                let missing_too = failure.is_some() && matches!(e, ModelError::Missing { .. });
                if !missing_too {
                    failure = Some(e);
                }
            }
            Err(_) => {}
        }
    }
    Err(failure.unwrap_or_else(|| ModelError::Missing {
        name: name.to_owned(),
        dir: PathBuf::new(),
    }))
}

/// The model to use, looked for in these folders: `None` for the default one, the name of an official one, or the path of a file. A file without a
/// published checksum is used only with `allow_unknown`.
pub fn resolve(dirs: &[PathBuf], wanted: Option<&str>, allow_unknown: bool) -> Result<Verified, ModelError> {
    let wanted = wanted.unwrap_or(DEFAULT);
    if Known::by_name(wanted).is_some() {
        return find_in(dirs, wanted);
    }
    // A bare file name may be meant in a models folder as well as here.
    let path = std::iter::once(PathBuf::from(wanted))
        .chain(dirs.iter().map(|dir| dir.join(wanted)))
        .find(|path| path.is_file());
    let Some(path) = path else {
        return Err(ModelError::UnknownName {
            name: wanted.to_owned(),
        });
    };
    let verified = verify(&path)?;
    if verified.known.is_none() && !allow_unknown {
        return Err(ModelError::UnknownChecksum {
            path,
            sha1: verified.sha1,
        });
    }
    if verified.known.is_none() && !plausible(&path, verified.bytes).map_err(ModelError::file("read", &path))? {
        return Err(ModelError::NotAModel { path });
    }
    Ok(verified)
}

/// Whether a file has the bytes for what its head says: room is made for the tables by those numbers, and no computer has
/// room for 2^28 layers.
fn plausible(path: &Path, bytes: u64) -> std::io::Result<bool> {
    let mut head = [0; 48];
    match File::open(path)?.read_exact(&mut head) {
        Err(e) if e.kind() == ErrorKind::UnexpectedEof => return Ok(false),
        other => other?,
    }
    let number = |place: usize| {
        let at = 4 * place;
        let four = [head[at], head[at + 1], head[at + 2], head[at + 3]];
        u64::from(u32::from_le_bytes(four))
    };
    let [
        words,
        frames,
        width,
        heads,
        layers,
        texts,
        text_width,
        text_heads,
        text_layers,
        bands,
    ] = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10].map(number);
    // The smallest table of each kind, at two bytes a number.
    let least = |count: u64, of: u64| count.max(1).saturating_mul(of.max(1)).saturating_mul(2);
    let squares = layers
        .saturating_mul(least(width, width))
        .saturating_add(text_layers.saturating_mul(least(text_width, text_width)));
    let others = [
        (words, text_width),
        (frames, width),
        (texts, text_width),
        (bands, width),
        (heads, 1),
        (text_heads, 1),
    ];
    Ok(squares <= bytes && others.into_iter().all(|(count, of)| least(count, of) <= bytes))
}

/// Every `.bin` file of the folder with what it is, sorted by name, each checksum computed afresh. Empty when the folder
/// does not exist.
pub fn list(dir: &Path) -> Vec<(PathBuf, Result<Verified, ModelError>)> {
    candidates(dir)
        .into_iter()
        .map(|path| {
            let result = check_afresh(&path);
            (path, result)
        })
        .collect()
}

fn candidates(dir: &Path) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(dir) else {
        return Vec::new();
    };
    let mut paths: Vec<PathBuf> = entries
        .filter_map(Result::ok)
        .map(|entry| entry.path())
        .filter(|path| path.extension().is_some_and(|e| e.eq_ignore_ascii_case("bin")) && path.is_file())
        .collect();
    paths.sort();
    paths
}

fn check(path: &Path, trust_memory: bool) -> Result<Verified, ModelError> {
    let state = State::of(path).map_err(ModelError::file("open the speech model", path))?;
    let bytes = state.bytes;
    let official = path
        .file_name()
        .and_then(|name| KNOWN_FILES.iter().find(|(file, _)| name == file.as_str()))
        .map(|(_, k)| *k);
    if let Some(expected) = official.and_then(Known::bytes)
        && bytes < expected
    {
        return Err(ModelError::Truncated {
            path: path.to_owned(),
            found: bytes,
            expected,
        });
    }
    let remembered = if trust_memory {
        recall(path).filter(|memory| memory.state == state)
    } else {
        None
    };
    let sha1 = if let Some(memory) = remembered {
        memory.sha1
    } else {
        let sha1 = checksum(path)?;
        // Written to while it was read: the checksum belongs to no state of the file.
        if State::of(path).ok().as_ref() == Some(&state) {
            remember(path, &sha1);
        }
        sha1
    };
    let known = Known::by_sha1(&sha1);
    match official {
        Some(official) if known != Some(official) => Err(ModelError::Altered {
            path: path.to_owned(),
            found: sha1,
            expected: official.sha1.to_owned(),
        }),
        _ => Ok(Verified {
            path: path.to_owned(),
            known,
            bytes,
            sha1,
        }),
    }
}

/// The official files by their names.
static KNOWN_FILES: std::sync::LazyLock<Vec<(String, &'static Known)>> =
    std::sync::LazyLock::new(|| super::KNOWN.iter().map(|k| (k.file_name(), k)).collect());

/// The SHA-1 of a file that begins like a model; 1 MB in memory.
fn checksum(path: &Path) -> Result<String, ModelError> {
    let failed = |e| ModelError::file("read the speech model", path)(e);
    let mut file = File::open(path).map_err(failed)?;
    let mut magic = [0; 4];
    match file.read_exact(&mut magic) {
        Ok(()) if u32::from_le_bytes(magic) == rebuild::MAGIC => {}
        Err(e) if e.kind() != ErrorKind::UnexpectedEof => return Err(failed(e)),
        _ => {
            return Err(ModelError::NotAModel { path: path.to_owned() });
        }
    }
    let mut sha1 = Sha1::new();
    sha1.update(magic);
    let mut piece = vec![0; 1024 * 1024];
    loop {
        match file.read(&mut piece).map_err(failed)? {
            0 => return Ok(hexadecimal(&sha1.finalize())),
            count => sha1.update(&piece[..count]),
        }
    }
}

/// Lower-case hexadecimal.
pub(super) fn hexadecimal(bytes: &[u8]) -> String {
    use std::fmt::Write;
    bytes
        .iter()
        .fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
            // Writing to a String cannot fail.
            let _ = write!(text, "{byte:02x}");
            text
        })
}

/// What tells a changed file from an unchanged one without reading it.
#[derive(Debug, PartialEq, Eq, Serialize, Deserialize)]
struct State {
    bytes: u64,
    /// Nanoseconds since 1970 of the last change of the content.
    modified: u64,
    /// Nanoseconds since 1970 of the last change of any kind, which a program cannot set back; 0 where there is none.
    changed: u64,
}

impl State {
    fn of(path: &Path) -> std::io::Result<Self> {
        let data = fs::metadata(path)?;
        let since = data.modified()?.duration_since(UNIX_EPOCH).unwrap_or_default();
        Ok(Self {
            bytes: data.len(),
            modified: u64::try_from(since.as_nanos()).unwrap_or(u64::MAX),
            changed: changed(&data),
        })
    }
}

#[cfg(unix)]
fn changed(data: &fs::Metadata) -> u64 {
    use std::os::unix::fs::MetadataExt;
    u64::try_from(i128::from(data.ctime()) * 1_000_000_000 + i128::from(data.ctime_nsec())).unwrap_or(0)
}

#[cfg(not(unix))]
fn changed(_: &fs::Metadata) -> u64 {
    0
}

/// A checksum and the state of the file it was computed of.
#[derive(Debug, Serialize, Deserialize)]
struct Memory {
    #[serde(flatten)]
    state: State,
    sha1: String,
}

fn memory_path(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".checked");
    PathBuf::from(name)
}

fn recall(path: &Path) -> Option<Memory> {
    serde_json::from_slice(&fs::read(memory_path(path)).ok()?).ok()
}

/// Best effort: in a folder that cannot be written to, the checksum is computed at each start.
pub(super) fn remember(path: &Path, sha1: &str) {
    if let Ok(state) = State::of(path)
        && let Ok(text) = serde_json::to_vec(&Memory {
            state,
            sha1: sha1.to_owned(),
        })
    {
        let _ = files::replace(&memory_path(path), Access::Ordinary, &text);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn write(path: &Path, tail: &[u8]) {
        fs::write(path, [&rebuild::MAGIC.to_le_bytes()[..], tail].concat()).unwrap();
    }

    #[test]
    fn an_unknown_model_needs_leave() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("own.bin");
        let dirs = [dir.path().join("none"), dir.path().to_path_buf()];
        write(&path, &[0; 48]);
        let verified = verify(&path).unwrap();
        assert_eq!((verified.known, verified.bytes), (None, 52));
        assert_eq!(verified.label(), "own.bin");
        let refused = resolve(&dirs, Some("own.bin"), false).unwrap_err();
        assert!(refused.to_string().contains("--allow-unknown"), "{refused}");
        assert!(refused.to_string().contains(&verified.sha1), "{refused}");
        assert_eq!(resolve(&dirs, Some("own.bin"), true).unwrap(), verified);
        // Numbers for which the file has no bytes, and no numbers at all.
        write(&path, &[0xff; 48]);
        assert!(matches!(
            resolve(&dirs, Some("own.bin"), true),
            Err(ModelError::NotAModel { .. })
        ));
        write(&path, b"something");
        assert!(matches!(
            resolve(&dirs, Some("own.bin"), true),
            Err(ModelError::NotAModel { .. })
        ));
        assert!(matches!(
            resolve(&dirs, Some("none.bin"), true),
            Err(ModelError::UnknownName { .. })
        ));
    }

    #[test]
    fn the_checksum_is_remembered_until_the_file_changes() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("own.bin");
        write(&path, b"one");
        let first = verify(&path).unwrap();
        // A remembered checksum is believed: put another in its place to see that it is read.
        let mut memory = recall(&path).unwrap();
        memory.sha1 = "remembered".to_owned();
        fs::write(memory_path(&path), serde_json::to_vec(&memory).unwrap()).unwrap();
        assert_eq!(verify(&path).unwrap().sha1, "remembered");
        assert_eq!(check_afresh(&path).unwrap(), first, "but not when computed afresh");

        // Same size, other content.
        std::thread::sleep(std::time::Duration::from_millis(30));
        write(&path, b"two");
        let second = verify(&path).unwrap();
        assert_ne!(second.sha1, first.sha1);
        fs::write(memory_path(&path), "{").unwrap();
        assert_eq!(verify(&path).unwrap(), second, "a damaged memory is none");
    }

    #[cfg(unix)]
    #[test]
    fn a_change_whose_time_was_set_back_is_noticed() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("own.bin");
        write(&path, b"one");
        let before = fs::metadata(&path).unwrap().modified().unwrap();
        let first = verify(&path).unwrap();
        std::thread::sleep(std::time::Duration::from_millis(30));
        write(&path, b"two");
        File::options()
            .write(true)
            .open(&path)
            .unwrap()
            .set_modified(before)
            .unwrap();
        assert_ne!(verify(&path).unwrap().sha1, first.sha1);
    }

    #[test]
    fn an_official_name_must_hold_the_official_file() {
        let dir = tempfile::tempdir().unwrap();
        let missing = find(dir.path(), "base").unwrap_err().to_string();
        assert!(missing.contains("cableside model fetch base"), "{missing}");

        write(&dir.path().join("ggml-base.bin"), b"short");
        let short = find(dir.path(), "base").unwrap_err().to_string();
        assert!(short.contains("9 of 147951465 bytes"), "{short}");

        write(&dir.path().join("ggml-small.bin"), b"altered");
        let altered = find(dir.path(), "small").unwrap_err();
        assert!(matches!(altered, ModelError::Altered { .. }), "{altered}");

        assert!(matches!(find(dir.path(), "huge"), Err(ModelError::UnknownName { .. })));
        assert!(
            matches!(find(dir.path(), "tiny"), Err(ModelError::Missing { .. })),
            "others do not stand in for it"
        );

        let none = dir.path().join("none");
        let dirs = [none.clone(), dir.path().to_path_buf()];
        let damaged = find_in(&dirs, "base").unwrap_err();
        assert!(matches!(damaged, ModelError::Truncated { .. }), "{damaged}");
        let missing = find_in(&dirs, "tiny").unwrap_err();
        assert!(
            matches!(&missing, ModelError::Missing { dir, .. } if *dir == none),
            "told is the folder where one would be put: {missing}"
        );
    }

    #[test]
    fn other_files_are_no_models() {
        let dir = tempfile::tempdir().unwrap();
        for (name, content) in [
            ("empty.bin", &b""[..]),
            ("short.bin", b"lmg"),
            ("text.bin", b"no model at all"),
        ] {
            let path = dir.path().join(name);
            fs::write(&path, content).unwrap();
            assert!(matches!(verify(&path), Err(ModelError::NotAModel { .. })), "{name}");
            assert!(!memory_path(&path).exists(), "nothing is kept beside it");
        }
        fs::write(dir.path().join("ggml-base.bin.part"), "unfinished").unwrap();
        let names: Vec<_> = list(dir.path())
            .into_iter()
            .map(|(path, _)| path.file_name().unwrap().to_owned())
            .collect();
        assert_eq!(names, ["empty.bin", "short.bin", "text.bin"]);
        assert!(list(&dir.path().join("none")).is_empty());
    }
}
