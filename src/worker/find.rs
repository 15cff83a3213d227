//! Finding sites on disk: those that can be chosen, and the one that is wanted.

use crate::folders;
use crate::site::Site;
use std::path::{Path, PathBuf};

/// A site as named by the user: a folder's name under the phrases folders, or a path.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SiteRequest(pub String);

/// A site that can be chosen, or a folder that should be one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoundSite {
    /// The folder's name, good for a [`SiteRequest`].
    pub id: String,
    /// Name on screen.
    pub name: String,
    /// One line about the place.
    pub about: String,
    /// No real place.
    pub invented: bool,
    /// Why it cannot be used, if it cannot.
    pub problem: Option<String>,
}

fn folders_with_sites(first: Option<&Path>) -> Vec<PathBuf> {
    first
        .map(Path::to_path_buf)
        .into_iter()
        .chain(folders::phrases())
        .collect()
}

fn is_site(folder: &Path) -> bool {
    crate::site::FILES.iter().any(|f| folder.join(f).is_file())
}

/// Every site there is, by name; of two folders of one name the first found counts.
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
            found.push(match Site::check(&folders::read_site(&entry.path())) {
                Ok(site) => FoundSite {
                    id,
                    name: site.name,
                    about: site.about,
                    invented: site.invented,
                    problem: None,
                },
                Err(e) => FoundSite {
                    name: id.clone(),
                    id,
                    about: String::new(),
                    invented: false,
                    problem: Some(e.to_string()),
                },
            });
        }
    }
    found.sort_by(|a, b| a.name.cmp(&b.name));
    found
}

/// The folder meant.
pub(super) fn folder(request: &SiteRequest, first: Option<&Path>) -> Result<PathBuf, String> {
    let name = &request.0;
    if name.contains(['/', '\\']) {
        let path = PathBuf::from(name);
        return if path.is_dir() {
            Ok(path)
        } else {
            Err(format!("there is no site folder: {name}"))
        };
    }
    folders_with_sites(first)
        .iter()
        .map(|d| d.join(name))
        .find(|d| is_site(d))
        .ok_or_else(|| {
            let known: Vec<String> = find_sites(first).into_iter().map(|s| s.id).collect();
            format!("there is no site \"{name}\"; there are: {}", known.join(", "))
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bundled_sites_are_found_and_a_broken_one_is_named_with_its_problem() {
        let dir = tempfile::tempdir().unwrap();
        let broken = dir.path().join("broken");
        std::fs::create_dir(&broken).unwrap();
        std::fs::write(broken.join("site.toml"), "[site\n").unwrap();
        std::fs::create_dir(dir.path().join("notes")).unwrap();
        let found = find_sites(Some(dir.path()));
        let ids: Vec<&str> = found.iter().map(|f| f.id.as_str()).collect();
        assert_eq!(ids, ["erlengrund", "larkmoor", "broken"]);
        assert!(found[2].problem.is_some() && found[0].problem.is_none());
        let missing = folder(&SiteRequest("nowhere".into()), None).unwrap_err();
        assert!(
            missing.contains("erlengrund") && missing.contains("larkmoor"),
            "{missing}"
        );
        assert!(folder(&SiteRequest("larkmoor".into()), None).is_ok());
    }
}
