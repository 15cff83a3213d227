//! Where the program keeps its files on each platform.
//!
//! One root holds everything personal (logbook, recordings, the speech model, own sites), so that it can be backed up,
//! moved or deleted as one folder. `CABLESIDE_HOME` moves the root; tests and classes on a shared computer use it.

use std::path::PathBuf;

/// The data root: `CABLESIDE_HOME` if set, else the platform's folder for application data
/// (`~/.local/share/cableside`, `%APPDATA%\cableside\data`, `~/Library/Application Support/cableside`),
/// else `cableside-data` in the current folder when the platform names no home.
pub fn data_root() -> PathBuf {
    if let Some(root) = std::env::var_os("CABLESIDE_HOME").filter(|v| !v.is_empty()) {
        return PathBuf::from(root);
    }
    directories::ProjectDirs::from("", "", "cableside")
        .map_or_else(|| PathBuf::from("cableside-data"), |d| d.data_dir().to_path_buf())
}

/// Speech model files.
pub fn models() -> PathBuf {
    data_root().join("models")
}

/// The logbook's database file.
pub fn logbook() -> PathBuf {
    data_root().join("logbook.sqlite")
}

/// Recordings of the students' calls, one WAV file an attempt.
pub fn recordings() -> PathBuf {
    data_root().join("recordings")
}

/// Folders searched for sites, in order: the user's own (`phrases` under the data root), `phrases` in the current
/// folder, and those the program was installed with (beside the executable, or the source tree it was built from).
pub fn phrases() -> Vec<PathBuf> {
    let mut dirs = vec![data_root().join("phrases"), PathBuf::from("phrases")];
    if let Ok(exe) = std::env::current_exe() {
        for up in exe.ancestors().skip(1).take(3) {
            dirs.push(up.join("phrases"));
        }
    }
    dirs
}

/// Read a site's folder for [`crate::site::Site::check`]. Never fails: what cannot be read is noted in the result.
/// Text files are limited to 1 MB each; a site's files are a few kilobytes.
pub fn read_site(dir: &std::path::Path) -> crate::site::Files {
    let mut files = crate::site::Files {
        folder: dir.display().to_string(),
        ..Default::default()
    };
    walk(dir, dir, 0, &mut files);
    files
}

fn walk(root: &std::path::Path, dir: &std::path::Path, depth: usize, files: &mut crate::site::Files) {
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
            let read = if meta.len() > LARGEST {
                Err(format!("it has {} bytes, more than {LARGEST}", meta.len()))
            } else {
                std::fs::read_to_string(&path).map_err(|e| e.to_string())
            };
            match read {
                Ok(text) => drop(files.texts.insert(name, text)),
                Err(why) => drop(files.unreadable.insert(name, why)),
            }
        } else {
            files.others.insert(name);
        }
    }
}
