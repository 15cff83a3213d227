//! All files of a site's folder with their bytes: what is packed, unpacked, compared and put in place.

use crate::files::{self, Lock};
use crate::site::{self, Files};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The largest text file of a site, bytes.
pub const LARGEST_TEXT: u64 = 1_000_000;
/// The largest recorded prompt, bytes: two minutes at 48 kHz, 16 bit, two channels.
pub const LARGEST_SOUND: u64 = 24_000_000;
/// The largest site altogether, bytes.
pub const LARGEST_SITE: u64 = 200_000_000;
/// The most files in a site.
pub const MOST_FILES: usize = 1000;

/// Why a site's files cannot be read or put in place.
#[derive(Debug, thiserror::Error)]
pub enum ContentError {
    /// A file or folder cannot be read or written.
    #[error("could not {doing}: {source}: {}", path.display())]
    File {
        /// What was being done.
        doing: &'static str,
        /// The system's reason.
        source: std::io::Error,
        /// What it was done to.
        path: PathBuf,
    },
    /// More than a site can be.
    #[error("the site is too large: {what}. Take out what does not belong to it: {}", path.display())]
    TooLarge {
        /// What is too large.
        what: String,
        /// The folder.
        path: PathBuf,
    },
    /// A site of this name is there already.
    #[error("there is a site \"{id}\" already, and it is another one: {}", path.display())]
    Exists {
        /// Its id.
        id: String,
        /// Its folder.
        path: PathBuf,
    },
}

fn failed(doing: &'static str, path: &Path) -> impl FnOnce(std::io::Error) -> ContentError {
    let path = path.to_path_buf();
    move |source| ContentError::File { doing, source, path }
}

/// The lock of a folder of sites or drafts: what is in it changes in several steps.
pub(crate) fn lock_of(phrases: &Path) -> PathBuf {
    phrases.join(".lock")
}

/// A site's files by path inside its folder, with `/` between the parts.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Content {
    /// Bytes of each file.
    pub files: BTreeMap<String, Vec<u8>>,
}

/// What a file of a site can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FileKind {
    /// One of the site's TOML files, at the top of the folder.
    Toml,
    /// A recorded prompt.
    Sound,
    /// Text for people: a licence, where the recordings come from.
    Note,
}

impl FileKind {
    /// The kind by path; `None` for what does not belong to a site.
    pub fn of(path: &str) -> Option<Self> {
        if site::FILES.contains(&path) || path == site::BRIEFING {
            return Some(Self::Toml);
        }
        let ending = path.rsplit_once('.').map(|(_, e)| e.to_ascii_lowercase())?;
        match ending.as_str() {
            "wav" => Some(Self::Sound),
            "txt" | "md" => Some(Self::Note),
            _ => None,
        }
    }

    /// The most bytes such a file may have.
    pub fn limit(self) -> u64 {
        match self {
            Self::Toml | Self::Note => LARGEST_TEXT,
            Self::Sound => LARGEST_SOUND,
        }
    }
}

impl Content {
    /// Read a site's folder. What does not belong to a site, and what a symbolic link points to, is left out; its paths come back.
    pub fn read(folder: &Path) -> Result<(Self, Vec<String>), ContentError> {
        let _lock = Lock::to_read(&lock_of(files::folder_of(folder)));
        let mut content = Self::default();
        let mut left_out = Vec::new();
        content.walk(folder, folder, 0, &mut left_out)?;
        Ok((content, left_out))
    }

    fn walk(&mut self, root: &Path, dir: &Path, depth: usize, left_out: &mut Vec<String>) -> Result<(), ContentError> {
        let entries = std::fs::read_dir(dir).map_err(failed("read the folder", dir))?;
        let mut paths: Vec<PathBuf> = entries.flatten().map(|e| e.path()).collect();
        paths.sort();
        for path in paths {
            let relative = path.strip_prefix(root).unwrap_or(&path);
            let parts: Vec<_> = relative.components().map(|c| c.as_os_str().to_string_lossy()).collect();
            let name = parts.join("/");
            let meta = std::fs::symlink_metadata(&path).map_err(failed("look at", &path))?;
            if meta.is_dir() && depth < 3 && !name.starts_with('.') {
                self.walk(root, &path, depth + 1, left_out)?;
                continue;
            }
            let kind = FileKind::of(&name).filter(|_| meta.is_file());
            let Some(kind) = kind else {
                left_out.push(name);
                continue;
            };
            let too_large = |what: String| ContentError::TooLarge {
                what,
                path: root.to_path_buf(),
            };
            if meta.len() > kind.limit() {
                return Err(too_large(format!(
                    "{name} has {} bytes, at most {} are taken",
                    meta.len(),
                    kind.limit()
                )));
            }
            if self.files.len() >= MOST_FILES {
                return Err(too_large(format!("it has more than {MOST_FILES} files")));
            }
            if self.size() + meta.len() > LARGEST_SITE {
                return Err(too_large(format!("it has more than {LARGEST_SITE} bytes")));
            }
            self.files
                .insert(name, std::fs::read(&path).map_err(failed("read the file", &path))?);
        }
        Ok(())
    }

    /// From texts, such as those of a site that ships with the program.
    pub fn of_texts(texts: &BTreeMap<String, String>) -> Self {
        Self {
            files: texts.iter().map(|(n, t)| (n.clone(), t.clone().into_bytes())).collect(),
        }
    }

    /// All bytes together.
    pub fn size(&self) -> u64 {
        self.files.values().map(|b| b.len() as u64).sum()
    }

    /// As the checker takes it. `label` stands for the folder in messages.
    pub fn as_files(&self, label: &str) -> Files {
        let mut files = Files {
            folder: label.to_owned(),
            ..Files::default()
        };
        for (name, bytes) in &self.files {
            if FileKind::of(name) != Some(FileKind::Toml) {
                files.others.insert(name.clone());
            } else if let Ok(text) = std::str::from_utf8(bytes) {
                files.texts.insert(name.clone(), text.to_owned());
            } else {
                files.unreadable.insert(name.clone(), "it is no UTF-8 text".to_owned());
            }
        }
        files
    }

    /// Put the files into `phrases` as the site `id`. With `replace` a site of that name is moved to
    /// `phrases/.older/ID-STAMP` first, where it stays; without, it is an error. Until the last step nothing that is there
    /// is touched, and one program does this at a time. Gives the new folder, and where the old one went.
    pub fn put(
        &self,
        phrases: &Path,
        id: &str,
        replace: bool,
        stamp: &str,
    ) -> Result<(PathBuf, Option<PathBuf>), ContentError> {
        let target = phrases.join(id);
        std::fs::create_dir_all(phrases).map_err(failed("make the folder", phrases))?;
        let lock = lock_of(phrases);
        let _lock = Lock::take(&lock).map_err(failed("put the site in place", &lock))?;
        if target.exists() && !replace {
            return Err(ContentError::Exists {
                id: id.to_owned(),
                path: target,
            });
        }
        let new = phrases.join(".new");
        // What a killed program left there is of no use.
        let _ = std::fs::remove_dir_all(&new);
        let done = self.put_alone(&new.join(id), &target, stamp);
        // So is what is in it now; a folder that cannot be removed is in nobody's way.
        let _ = std::fs::remove_dir_all(&new);
        done.map(|older| (target, older))
    }

    fn put_alone(&self, made: &Path, target: &Path, stamp: &str) -> Result<Option<PathBuf>, ContentError> {
        self.write(made)?;
        let mut older = None;
        if target.exists() {
            let old = target.with_file_name(".older");
            std::fs::create_dir_all(&old).map_err(failed("make the folder", &old))?;
            let mut name = target.file_name().unwrap_or_default().to_os_string();
            name.push(format!("-{stamp}"));
            let place = files::numbered(&old.join(name)).find(|p| !p.exists());
            let place = place.unwrap_or_else(|| old.join("more"));
            std::fs::rename(target, &place).map_err(failed("move the old site aside", target))?;
            older = Some(place);
        }
        if let Err(e) = std::fs::rename(made, target) {
            if let Some(place) = &older {
                // Back to how it was; if that fails too, the site is still in the place the message names.
                let _ = std::fs::rename(place, target);
            }
            return Err(failed("put the site in place", target)(e));
        }
        Ok(older)
    }

    fn write(&self, folder: &Path) -> Result<(), ContentError> {
        std::fs::create_dir_all(folder).map_err(failed("make the folder", folder))?;
        for (name, bytes) in &self.files {
            let path = folder.join(name);
            if let Some(parent) = path.parent() {
                std::fs::create_dir_all(parent).map_err(failed("make the folder", parent))?;
            }
            std::fs::write(&path, bytes).map_err(failed("write the file", &path))?;
        }
        Ok(())
    }
}

/// How a file differs between two versions of a site.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FileChange {
    /// Only the second has it.
    Added,
    /// Only the first has it.
    Removed,
    /// Both have it, with other bytes. For texts: how many lines only the first and only the second has.
    Changed {
        /// Lines and sounds gone.
        gone: usize,
        /// Lines come.
        come: usize,
    },
}

/// Every file that differs, by path.
pub fn file_changes(before: &Content, after: &Content) -> Vec<(String, FileChange)> {
    let names: std::collections::BTreeSet<&String> = before.files.keys().chain(after.files.keys()).collect();
    names
        .into_iter()
        .filter_map(|name| {
            let change = match (before.files.get(name), after.files.get(name)) {
                (Some(_), None) => FileChange::Removed,
                (None, Some(_)) => FileChange::Added,
                (Some(a), Some(b)) if a != b => match (std::str::from_utf8(a), std::str::from_utf8(b)) {
                    (Ok(a), Ok(b)) => FileChange::Changed {
                        gone: only_in(a, b),
                        come: only_in(b, a),
                    },
                    _ => FileChange::Changed { gone: 0, come: 0 },
                },
                _ => return None,
            };
            Some((name.clone(), change))
        })
        .collect()
}

/// Lines of `a` that `b` has fewer times.
fn only_in(a: &str, b: &str) -> usize {
    let mut left: BTreeMap<&str, usize> = BTreeMap::new();
    for line in b.lines() {
        *left.entry(line).or_default() += 1;
    }
    a.lines()
        .filter(|line| match left.get_mut(line) {
            Some(n) if *n > 0 => {
                *n -= 1;
                false
            }
            _ => true,
        })
        .count()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn larkmoor() -> Content {
        Content::of_texts(&site::bundled::files("larkmoor").unwrap().texts)
    }

    #[test]
    fn a_folder_is_read_without_what_does_not_belong_to_it() {
        let dir = tempfile::tempdir().unwrap();
        larkmoor().write(dir.path()).unwrap();
        std::fs::create_dir_all(dir.path().join("prompts/.git")).unwrap();
        std::fs::write(dir.path().join("prompts/hello.wav"), b"RIFF").unwrap();
        std::fs::write(dir.path().join("run.exe"), b"MZ").unwrap();
        std::fs::write(dir.path().join("more.toml"), b"").unwrap();
        #[cfg(unix)]
        std::os::unix::fs::symlink("/etc/passwd", dir.path().join("prompts/secret.wav")).unwrap();
        let (content, left_out) = Content::read(dir.path()).unwrap();
        assert_eq!(content.files.len(), 6);
        assert!(content.files.contains_key("prompts/hello.wav"));
        assert!(left_out.contains(&"run.exe".to_owned()) && left_out.contains(&"more.toml".to_owned()));
        #[cfg(unix)]
        assert!(left_out.contains(&"prompts/secret.wav".to_owned()));
    }

    #[test]
    fn a_site_is_replaced_only_when_asked_and_the_old_one_stays() {
        let dir = tempfile::tempdir().unwrap();
        let (target, older) = larkmoor().put(dir.path(), "larkmoor", false, "a").unwrap();
        assert!(older.is_none() && target.join("site.toml").is_file());
        let mut other = larkmoor();
        other.files.insert("site.toml".into(), b"changed".to_vec());
        assert!(matches!(
            other.put(dir.path(), "larkmoor", false, "b"),
            Err(ContentError::Exists { .. })
        ));
        assert_ne!(std::fs::read(target.join("site.toml")).unwrap(), b"changed");
        let (target, older) = other.put(dir.path(), "larkmoor", true, "b").unwrap();
        assert_eq!(std::fs::read(target.join("site.toml")).unwrap(), b"changed");
        assert_eq!(Content::read(&older.unwrap()).unwrap().0, larkmoor());
        // The same moment again: nothing is lost.
        let (_, second) = larkmoor().put(dir.path(), "larkmoor", true, "b").unwrap();
        assert_eq!(Content::read(&second.unwrap()).unwrap().0, other);
        let found = super::super::find_sites(Some(dir.path()));
        assert_eq!(found.iter().filter(|f| f.id.contains("larkmoor")).count(), 1);
    }

    #[test]
    fn files_are_compared_line_by_line() {
        let before = larkmoor();
        let mut after = before.clone();
        let text = String::from_utf8(after.files["fleet.toml"].clone()).unwrap();
        after.files.insert(
            "fleet.toml".into(),
            format!("{text}# one more\n# and one more\n").into_bytes(),
        );
        after.files.remove("briefing.toml");
        after.files.insert("a.wav".into(), vec![0xff]);
        assert_eq!(
            file_changes(&before, &after),
            [
                ("a.wav".to_owned(), FileChange::Added),
                ("briefing.toml".to_owned(), FileChange::Removed),
                ("fleet.toml".to_owned(), FileChange::Changed { gone: 0, come: 2 }),
            ]
        );
        assert_eq!(file_changes(&before, &before), []);
    }
}
