//! Where the program keeps its files on each platform.
//!
//! One root holds everything personal (logbook, recordings, the speech model, own sites), so that it can be backed up,
//! moved or deleted as one folder. `CABLESIDE_HOME` moves the root; tests and classes on a shared computer use it.

pub mod archive;
pub mod content;

use crate::files;
use crate::site::{Language, Problems, Site, bundled};
use std::path::{Path, PathBuf};

/// The data root: `CABLESIDE_HOME` if set; else a folder `data` beside the program, which somebody made there to carry both
/// about on a stick; else the platform's folder for application data
/// (`~/.local/share/cableside`, `%APPDATA%\cableside\data`, `~/Library/Application Support/cableside`),
/// else `cableside-data` in the current folder when the platform names no home.
pub fn data_root() -> PathBuf {
    if let Some(root) = std::env::var_os("CABLESIDE_HOME").filter(|v| !v.is_empty()) {
        return PathBuf::from(root);
    }
    if let Some(data) = std::env::current_exe().ok().and_then(|exe| carried_along(&exe)) {
        return data;
    }
    directories::ProjectDirs::from("", "", "cableside")
        .map_or_else(|| PathBuf::from("cableside-data"), |d| d.data_dir().to_path_buf())
}

/// The file that stands for an open window with this data: outside the data, where what is left of it goes with the session.
pub fn window_lock() -> PathBuf {
    use sha1::{Digest, Sha1};
    let root = data_root();
    let root = root.canonicalize().unwrap_or(root);
    let digest = Sha1::digest(root.as_os_str().as_encoded_bytes());
    let name = digest.iter().take(8).fold(0_u64, |n, byte| n << 8 | u64::from(*byte));
    let session = std::env::var_os("XDG_RUNTIME_DIR").map(PathBuf::from);
    let folder = session.filter(|f| f.is_dir()).unwrap_or_else(std::env::temp_dir);
    folder.join(format!("cableside-{name:016x}.lock"))
}

/// The `data` folder beside the program, if there is one. In the folder for Windows the program itself lies in `bin`, and what
/// a user opens beside that.
fn carried_along(exe: &Path) -> Option<PathBuf> {
    let dir = exe.parent()?;
    let above = dir.parent().filter(|_| cfg!(windows) && dir.ends_with("bin"));
    [Some(dir), above]
        .into_iter()
        .flatten()
        .map(|dir| dir.join("data"))
        .find(|data| data.is_dir())
}

/// Where what came with the program may lie: beside it, beside its `bin`, in `share/cableside` of where it was installed, in
/// the bundle of a Mac.
fn came_with(exe: &Path) -> Vec<PathBuf> {
    let Some(dir) = exe.parent() else {
        return Vec::new();
    };
    let mut dirs = vec![dir.to_path_buf()];
    if let Some(above) = dir.parent() {
        if dir.ends_with("bin") {
            dirs.push(above.to_path_buf());
            dirs.push(above.join("share").join("cableside"));
        }
        if dir.ends_with("MacOS") {
            dirs.push(above.join("Resources"));
        }
    }
    dirs
}

/// Where people keep their papers; the home folder where the platform has none for that.
pub fn documents() -> PathBuf {
    let dirs = directories::UserDirs::new();
    let found = dirs.map(|d| d.document_dir().unwrap_or_else(|| d.home_dir()).to_path_buf());
    found.unwrap_or_default()
}

/// Speech model files of the user's own: where they are put.
pub fn models() -> PathBuf {
    data_root().join("models")
}

/// Folders searched for speech models, in order: the user's own, and those the program came with.
pub fn model_folders() -> Vec<PathBuf> {
    let shipped = std::env::current_exe().map_or_else(|_| Vec::new(), |exe| came_with(&exe));
    let shipped = shipped.into_iter().map(|dir| dir.join("models"));
    std::iter::once(models())
        .chain(shipped.filter(|dir| dir.is_dir()))
        .collect()
}

/// The logbook's database file.
pub fn logbook() -> PathBuf {
    data_root().join("logbook.sqlite")
}

/// What the window remembers from one start to the next.
pub fn settings() -> PathBuf {
    data_root().join("settings.toml")
}

/// The name of [`class_secret`], which lies beside the logbook.
pub const CLASS_SECRET: &str = "class.secret";

/// What this computer keeps to itself for classes: the keys of handed-out practice follow from it.
pub fn class_secret() -> PathBuf {
    data_root().join(CLASS_SECRET)
}

/// Recordings of the students' calls, one WAV file an attempt.
pub fn recordings() -> PathBuf {
    data_root().join("recordings")
}

/// Folders searched for sites, in order: the user's own (`phrases` under the data root), `phrases` in the current
/// folder, and those the program was installed with (beside the executable, or the source tree it was built from).
pub fn phrases() -> Vec<PathBuf> {
    let mut dirs = vec![own_phrases(), PathBuf::from("phrases")];
    if let Ok(exe) = std::env::current_exe() {
        for up in exe.ancestors().skip(1).take(3) {
            dirs.push(up.join("phrases"));
        }
        dirs.extend(came_with(&exe).into_iter().map(|dir| dir.join("phrases")));
    }
    dirs
}

/// The folder of the user's own sites: where a site is put that was imported or copied.
pub fn own_phrases() -> PathBuf {
    data_root().join("phrases")
}

/// Read a site's folder for [`crate::site::Site::check`]. Never fails: what cannot be read is noted in the result.
/// Text files are limited to 1 MB each; a site's files are a few kilobytes.
pub fn read_site(dir: &Path) -> crate::site::Files {
    let mut read = crate::site::Files {
        folder: dir.display().to_string(),
        ..Default::default()
    };
    let _lock = files::Lock::to_read(&content::lock_of(files::folder_of(dir)));
    walk(dir, dir, 0, &mut read);
    read
}

fn walk(root: &Path, dir: &Path, depth: usize, files: &mut crate::site::Files) {
    const LARGEST: u64 = 1_000_000;
    let Ok(entries) = std::fs::read_dir(dir) else {
        return;
    };
    for entry in entries.flatten() {
        let path = entry.path();
        let Ok(meta) = std::fs::metadata(&path) else {
            continue;
        };
        let Ok(relative) = path.strip_prefix(root) else {
            continue;
        };
        let name = relative
            .components()
            .map(|c| c.as_os_str().to_string_lossy())
            .collect::<Vec<_>>()
            .join("/");
        if meta.is_dir() {
            if depth < 4 {
                walk(root, &path, depth + 1, files);
            }
        } else if depth == 0 && path.extension().is_some_and(|e| e == "toml") {
            match read_outside_text(&path, LARGEST) {
                Ok(text) => drop(files.texts.insert(name, text)),
                Err(why) => drop(files.unreadable.insert(name, why.to_string())),
            }
        } else {
            files.others.insert(name);
        }
    }
}

/// The bytes of a file that somebody else may have made. Only regular files are read, since anything else (a pipe, a
/// device) may never end, and no more than `most` bytes.
pub fn read_outside(path: &Path, most: u64) -> std::io::Result<Vec<u8>> {
    use std::io::{Error, Read};
    let about = std::fs::metadata(path)?;
    if let Some(why) = files::no_file(path) {
        return Err(Error::other(why));
    }
    let too_large = |size: u64| Error::other(format!("it has {size} bytes or more; at most {most} are read"));
    if about.len() > most {
        return Err(too_large(about.len()));
    }
    let mut bytes = Vec::new();
    std::fs::File::open(path)?.take(most + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > most {
        return Err(too_large(bytes.len() as u64));
    }
    Ok(bytes)
}

/// As [`read_outside`], for text in UTF-8.
pub fn read_outside_text(path: &Path, most: u64) -> std::io::Result<String> {
    String::from_utf8(read_outside(path, most)?)
        .map_err(|_| std::io::Error::new(std::io::ErrorKind::InvalidData, "it is no text in UTF-8"))
}

/// A site that can be chosen, or a folder that should be one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoundSite {
    /// The folder's name, which is how a user names it.
    pub id: String,
    /// Name on screen.
    pub name: String,
    /// One line about the place.
    pub about: String,
    /// The language of its calls, where its files can be read.
    pub language: Option<Language>,
    /// No real place.
    pub invented: bool,
    /// Why it cannot be used, if it cannot.
    pub problem: Option<String>,
}

/// Where sites are looked for, the folder the user named first.
fn folders_with_sites(first: Option<&Path>) -> Vec<PathBuf> {
    first.map(Path::to_path_buf).into_iter().chain(phrases()).collect()
}

fn is_site(folder: &Path) -> bool {
    crate::site::FILES.iter().any(|f| folder.join(f).is_file())
}

/// Every site there is, those in the program too, by name; of two folders of one name the first found counts.
pub fn find_sites(first: Option<&Path>) -> Vec<FoundSite> {
    let mut found: Vec<FoundSite> = Vec::new();
    for dir in folders_with_sites(first) {
        let Ok(entries) = std::fs::read_dir(dir) else {
            continue;
        };
        for entry in entries.flatten() {
            let id = entry.file_name().to_string_lossy().into_owned();
            if !is_site(&entry.path()) || found.iter().any(|f| f.id == id) {
                continue;
            }
            found.push(match Site::check(&read_site(&entry.path())) {
                Ok(site) => FoundSite {
                    id,
                    name: site.name,
                    about: site.about,
                    language: Some(site.language),
                    invented: site.invented,
                    problem: None,
                },
                Err(e) => FoundSite {
                    name: id.clone(),
                    id,
                    about: String::new(),
                    language: None,
                    invented: false,
                    problem: Some(e.to_string()),
                },
            });
        }
    }
    // The program's own copies are there wherever it was started.
    for name in bundled::NAMES {
        if let Some(Ok(site)) = bundled::files(name).map(|f| Site::check(&f))
            && !found.iter().any(|f| f.id == *name)
        {
            found.push(FoundSite {
                id: (*name).to_owned(),
                name: site.name,
                about: site.about,
                language: Some(site.language),
                invented: site.invented,
                problem: None,
            });
        }
    }
    found.sort_by(|a, b| a.name.cmp(&b.name));
    found
}

/// Why a site cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum SiteError {
    /// A path was named and there is no folder.
    #[error("there is no site folder: {}", .0.display())]
    NoFolder(PathBuf),
    /// A name was named and no phrases folder has it.
    #[error("there is no site \"{name}\"; there are: {known}. Name one of them, or the path of a site's folder")]
    Unknown {
        /// What was asked.
        name: String,
        /// What there is.
        known: String,
    },
    /// Its files have mistakes.
    #[error(transparent)]
    Problems(#[from] Problems),
}

/// Load the site meant: a path, a folder's name under the phrases folders, or a site that ships with the program. With it
/// comes its folder, where its recorded prompts are; a site from the program's own copy has none.
pub fn load_site(name: &str, first: Option<&Path>) -> Result<(Site, Option<PathBuf>), SiteError> {
    let folder = if name.contains(['/', '\\']) {
        let path = PathBuf::from(name);
        if !path.is_dir() {
            return Err(SiteError::NoFolder(path));
        }
        Some(path)
    } else {
        folders_with_sites(first)
            .iter()
            .map(|d| d.join(name))
            .find(|d| is_site(d))
            // Behind those with the name comes the folder where somebody is at work on one.
            .or_else(|| Some(PathBuf::from(name)).filter(|d| bundled::files(name).is_none() && is_site(d)))
    };
    if let Some(folder) = folder {
        return Ok((Site::check(&read_site(&folder))?, Some(folder)));
    }
    if let Some(files) = bundled::files(name) {
        return Ok((Site::check(&files)?, None));
    }
    let mut known: Vec<String> = find_sites(first).into_iter().map(|s| s.id).collect();
    known.sort();
    Err(SiteError::Unknown {
        name: name.to_owned(),
        known: known.join(", "),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_came_with_the_program_is_found_wherever_it_was_put() {
        let dir = tempfile::tempdir().unwrap();
        let root = dir.path();
        let beside = |exe: &str, what: &str| came_with(&root.join(exe)).contains(&root.join(what));
        assert!(beside("cableside", ""), "unpacked");
        assert!(beside("bin/cableside.exe", ""), "unpacked, Windows");
        assert!(beside("usr/bin/cableside", "usr/share/cableside"), "installed");
        assert!(
            beside("C.app/Contents/MacOS/cableside", "C.app/Contents/Resources"),
            "bundle"
        );
        assert!(!beside("usr/lib/cableside", "usr"));
    }

    #[test]
    fn a_folder_of_data_beside_the_program_is_used_if_it_is_there() {
        let dir = tempfile::tempdir().unwrap();
        let exe = dir.path().join("cableside");
        assert_eq!(carried_along(&exe), None);
        std::fs::write(dir.path().join("data"), "no folder").unwrap();
        assert_eq!(carried_along(&exe), None);
        std::fs::remove_file(dir.path().join("data")).unwrap();
        std::fs::create_dir(dir.path().join("data")).unwrap();
        assert_eq!(carried_along(&exe), Some(dir.path().join("data")));
        let above = carried_along(&dir.path().join("bin").join("cableside"));
        assert_eq!(above.is_some(), cfg!(windows), "nobody's /usr/data is taken");
    }

    #[test]
    fn the_sites_that_ship_are_found_and_a_broken_one_is_named_with_its_problem() {
        let dir = tempfile::tempdir().unwrap();
        let broken = dir.path().join("broken");
        std::fs::create_dir(&broken).unwrap();
        std::fs::write(broken.join("site.toml"), "[site\n").unwrap();
        std::fs::create_dir(dir.path().join("notes")).unwrap();
        let found = find_sites(Some(dir.path()));
        let ids: Vec<&str> = found.iter().map(|f| f.id.as_str()).collect();
        assert_eq!(ids, ["brackmere", "erlengrund", "haselrain", "larkmoor", "broken"]);
        assert!(found[4].problem.is_some() && found[0].problem.is_none());
        let missing = load_site("nowhere", None).unwrap_err().to_string();
        assert!(
            missing.contains("erlengrund") && missing.contains("larkmoor"),
            "{missing}"
        );
        assert!(load_site("larkmoor", None).unwrap().1.is_some());
        assert!(matches!(
            load_site("broken", Some(dir.path())),
            Err(SiteError::Problems(_))
        ));
    }

    #[test]
    fn a_site_that_ships_needs_no_folder() {
        for name in ["larkmoor", "erlengrund"] {
            Site::check(&crate::site::bundled::files(name).unwrap()).unwrap();
        }
        assert!(crate::site::bundled::files("nowhere").is_none());
    }
}
