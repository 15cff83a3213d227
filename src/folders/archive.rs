//! A site as one file: a zip archive with the site's folder in it.
//!
//! An archive comes from somebody else, so nothing in it is believed: names, sizes and kinds are checked before a byte is
//! unpacked, the bytes that really come are counted, and everything stays in memory until the site was checked.

use super::content::{Content, FileKind, LARGEST_SITE, MOST_FILES};
use crate::files::{self, Access};
use crate::site::edit::is_device;
use crate::site::{Files, Problems, Site};
use std::collections::{BTreeMap, BTreeSet};
use std::io::{Cursor, Read, Write};
use std::path::{Path, PathBuf};
use zip::result::ZipError;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

/// The largest archive taken, bytes.
const LARGEST_ARCHIVE: u64 = 200_000_000;
/// An entry that unpacks to this many times its size is a bomb; small ones are let be.
const MOST_TIMES: u64 = 100;
/// Sizes up to this are never a bomb, bytes. A prompt of digital silence packs a thousand to one.
const SMALL: u64 = 2_000_000;
/// Parts of a path: site's folder, prompts, role, file.
const DEEPEST: usize = 4;
/// Characters of a path.
const LONGEST: usize = 200;

/// Why an archive is refused. Nothing of it was unpacked to disk.
#[derive(Debug, thiserror::Error)]
pub enum ArchiveError {
    /// It cannot be opened or written.
    #[error("could not {doing} the archive: {source}: {}", path.display())]
    File {
        /// Open, read or write.
        doing: &'static str,
        /// The system's reason.
        source: std::io::Error,
        /// The archive.
        path: PathBuf,
    },
    /// A file of the name the archive was to have.
    #[error("this file exists already; choose another name or remove it: {}", .0.display())]
    Exists(PathBuf),
    /// It is no zip archive, or damaged.
    #[error("this is no zip archive that can be read ({0}); ask for it again, or unpack it by hand and look")]
    NotZip(String),
    /// More than a site has.
    #[error("the archive is refused: {0}. A site's archive holds a few small text files and some recordings")]
    TooMuch(String),
    /// An entry that has no business in a site.
    #[error(
        "the archive is refused because of the entry \"{name}\": {why}. Nothing was unpacked; ask whoever made it for an archive \
         from `cableside site export`"
    )]
    Entry {
        /// Its name, shortened, with strange characters replaced.
        name: String,
        /// What is wrong with it.
        why: String,
    },
    /// It holds something else.
    #[error("this archive holds no site: {0}")]
    NoSite(String),
    /// The site in it has mistakes.
    #[error("the site in the archive cannot be used; nothing was unpacked. {0}")]
    Problems(Problems),
}

/// Says which of the recordings that a site names cannot be played, and why; this room does not know what is in a file.
pub type Unplayable = fn(&Files, &BTreeMap<String, Vec<u8>>) -> BTreeMap<String, String>;

/// An archive that was read and found good, all in memory.
#[derive(Debug)]
pub struct Unpacked {
    /// The site in it.
    pub site: Site,
    /// Its files.
    pub content: Content,
}

/// Pack a site's files into an archive that must not be there yet.
pub fn pack(content: &Content, id: &str, to: &Path) -> Result<(), ArchiveError> {
    files::make(to, Access::Ordinary, &bytes(content, id, to)?).map_err(|e| match e.kind() {
        std::io::ErrorKind::AlreadyExists => ArchiveError::Exists(to.to_path_buf()),
        _ => unwritten(to)(e),
    })
}

/// Pack a site's files into `to`, or into the first of `to-2`, `to-3` and so on that is free. An archive that is there and
/// holds the same is as good. Gives its path.
pub fn pack_numbered(content: &Content, id: &str, to: &Path) -> Result<PathBuf, ArchiveError> {
    let bytes = bytes(content, id, to)?;
    for place in files::numbered(to) {
        match files::make(&place, Access::Ordinary, &bytes) {
            Ok(()) => return Ok(place),
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {
                let same_size = std::fs::metadata(&place).is_ok_and(|m| m.is_file() && m.len() == bytes.len() as u64);
                if same_size && std::fs::read(&place).is_ok_and(|there| there == bytes) {
                    return Ok(place);
                }
            }
            Err(e) => return Err(unwritten(&place)(e)),
        }
    }
    Err(ArchiveError::Exists(to.to_path_buf()))
}

fn unwritten(path: &Path) -> impl FnOnce(std::io::Error) -> ArchiveError {
    let path = path.to_path_buf();
    move |source| ArchiveError::File {
        doing: "write",
        source,
        path,
    }
}

fn bytes(content: &Content, id: &str, to: &Path) -> Result<Vec<u8>, ArchiveError> {
    packed(content, id).map_err(|e| unwritten(to)(e.into()))
}

/// The archive's bytes: the same files give the same bytes.
fn packed(content: &Content, id: &str) -> Result<Vec<u8>, ZipError> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(zip::DateTime::default())
        // Else the system that it was made on stands in it.
        .system(zip::System::Unix)
        .unix_permissions(0o644);
    for (name, bytes) in &content.files {
        zip.start_file(format!("{id}/{name}"), options)?;
        zip.write_all(bytes)?;
    }
    Ok(zip.finish()?.into_inner())
}

/// Read an archive into memory and check the site in it, its recordings too.
pub fn unpack(path: &Path, unplayable: Unplayable) -> Result<Unpacked, ArchiveError> {
    let failed = |doing| {
        move |source| ArchiveError::File {
            doing,
            source,
            path: path.to_path_buf(),
        }
    };
    let bytes = super::read_outside(path, LARGEST_ARCHIVE).map_err(failed("read"))?;
    unpack_bytes(&bytes, unplayable)
}

/// As [`unpack`], from bytes.
pub fn unpack_bytes(bytes: &[u8], unplayable: Unplayable) -> Result<Unpacked, ArchiveError> {
    unpack_within(bytes, LARGEST_SITE, unplayable)
}

fn unpack_within(bytes: &[u8], largest: u64, unplayable: Unplayable) -> Result<Unpacked, ArchiveError> {
    if bytes.len() as u64 > LARGEST_ARCHIVE {
        return Err(ArchiveError::TooMuch(format!(
            "it has more than {LARGEST_ARCHIVE} bytes"
        )));
    }
    let mut zip = ZipArchive::new(Cursor::new(bytes)).map_err(|e| unreadable(&e))?;
    if zip.len() > MOST_FILES {
        return Err(ArchiveError::TooMuch(format!(
            "it has {} entries, at most {MOST_FILES} are taken",
            zip.len()
        )));
    }
    if zip.has_duplicate_names() {
        return Err(ArchiveError::TooMuch("it has two entries of one name".to_owned()));
    }
    if zip.has_overlapping_entries().map_err(|e| unreadable(&e))? {
        return Err(ArchiveError::TooMuch("its entries lie over each other".to_owned()));
    }
    let entries = look_through(&mut zip, largest)?;
    let mut content = Content::default();
    for (index, name, kind) in entries {
        let bytes = read(&mut zip, index, &name, kind)?;
        content.files.insert(name, bytes);
    }
    let mut files = content.as_files("the archive");
    files.unplayable = unplayable(&files, &content.files);
    let site = Site::check(&files).map_err(ArchiveError::Problems)?;
    Ok(Unpacked { site, content })
}

fn unreadable(e: &ZipError) -> ArchiveError {
    ArchiveError::NotZip(e.to_string())
}

/// Check every entry by what the archive says of it; gives index, path inside the site's folder, and kind.
/// The sum of the sizes is that of what really comes: [`read`] refuses an entry that has more than it says.
fn look_through(
    zip: &mut ZipArchive<Cursor<&[u8]>>,
    largest: u64,
) -> Result<Vec<(usize, String, FileKind)>, ArchiveError> {
    let mut found: Vec<(usize, Vec<String>, bool)> = Vec::new();
    let mut total = 0_u64;
    for index in 0..zip.len() {
        let entry = zip.by_index_raw(index).map_err(|e| unreadable(&e))?;
        let shown = shown(entry.name_raw());
        let refuse = |why: &str| ArchiveError::Entry {
            name: shown.clone(),
            why: why.to_owned(),
        };
        let parts = parts(entry.name_raw()).map_err(refuse)?;
        let kind = entry.unix_mode().map_or(0, |m| m & 0o170_000);
        // 0: none given; 0o100_000: a file; 0o040_000: a folder. All others are links, pipes and devices.
        if entry.is_symlink() || !matches!(kind, 0 | 0o100_000 | 0o040_000) {
            return Err(refuse("it is a link or a device, no file"));
        }
        if entry.encrypted() {
            return Err(refuse("it is encrypted"));
        }
        if !matches!(
            entry.compression(),
            CompressionMethod::Stored | CompressionMethod::Deflated
        ) {
            return Err(refuse("it is packed in a way that is not read; use plain zip"));
        }
        let size = entry.size();
        if size > SMALL && size / MOST_TIMES > entry.compressed_size() {
            return Err(refuse("it would unpack to more than a hundred times its size"));
        }
        total = total.saturating_add(size);
        if total > largest {
            return Err(ArchiveError::TooMuch(format!(
                "it unpacks to more than {largest} bytes"
            )));
        }
        found.push((index, parts, entry.is_dir()));
    }
    within_the_folder(found)
}

/// Take off the one folder that all entries lie in, and refuse what does not belong to a site.
fn within_the_folder(
    mut found: Vec<(usize, Vec<String>, bool)>,
) -> Result<Vec<(usize, String, FileKind)>, ArchiveError> {
    let at_top = found.iter().any(|(_, p, dir)| !dir && p.len() == 1);
    if !at_top {
        let tops: BTreeSet<&str> = found
            .iter()
            .filter_map(|(_, p, _)| p.first().map(String::as_str))
            .collect();
        if tops.len() > 1 {
            let tops: Vec<&str> = tops.into_iter().take(5).collect();
            return Err(ArchiveError::NoSite(format!(
                "it has several folders ({}); there must be one",
                tops.join(", ")
            )));
        }
        for (_, parts, _) in &mut found {
            parts.remove(0);
        }
    }
    let mut seen = BTreeSet::new();
    let mut entries = Vec::new();
    for (index, parts, dir) in found {
        let name = parts.join("/");
        let refuse = |why: &str| ArchiveError::Entry {
            name: shown(name.as_bytes()),
            why: why.to_owned(),
        };
        // Two names that differ in capitals only are one file on many computers.
        if !name.is_empty() && !seen.insert(name.to_lowercase()) {
            return Err(refuse("there are two of this name"));
        }
        // On the disk the two would be in each other's way.
        let folders = parts.len() - usize::from(!dir && !parts.is_empty());
        if parts.iter().take(folders).any(|part| FileKind::of(part).is_some()) {
            return Err(refuse("a folder in it has the name of a file"));
        }
        if dir {
            continue;
        }
        let kind = FileKind::of(&name)
            .ok_or_else(|| refuse("a site holds its TOML files, WAV recordings and notes (.txt, .md), nothing else"))?;
        entries.push((index, name, kind));
    }
    if !entries.iter().any(|(_, name, _)| name == "site.toml") {
        return Err(ArchiveError::NoSite("there is no site.toml in it".to_owned()));
    }
    Ok(entries)
}

/// The parts of an entry's name, or what is wrong with it.
fn parts(raw: &[u8]) -> Result<Vec<String>, &'static str> {
    let name = std::str::from_utf8(raw).map_err(|_| "its name is no UTF-8 text")?;
    if name.is_empty() || name.chars().count() > LONGEST {
        return Err("its name is empty or too long");
    }
    if name.starts_with('/') {
        return Err("its path is absolute; it would lie outside the site's folder");
    }
    if name.contains(['\\', ':', '\0', '*', '?', '"', '<', '>', '|']) || name.chars().any(char::is_control) {
        return Err("its name has characters that mean something else on some computers");
    }
    // Marks that turn the direction of writing, and what takes no room: the name would be shown as another.
    if name.contains(|c| matches!(c, '\u{61c}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}')) {
        return Err("its name has characters that are not seen or turn the direction of writing");
    }
    let parts: Vec<String> = name.trim_end_matches('/').split('/').map(str::to_owned).collect();
    if parts.len() > DEEPEST {
        return Err("it lies too deep in folders");
    }
    for part in &parts {
        if part == ".." {
            return Err("its path climbs out of the site's folder");
        }
        if part.is_empty() || part.starts_with('.') || part.ends_with(['.', ' ']) || part.starts_with(' ') {
            return Err("its path has a part that is empty, hidden, or ends with a full stop or a space");
        }
        if is_device(part.split('.').next().unwrap_or_default()) {
            return Err("its name belongs to a device on some computers");
        }
    }
    Ok(parts)
}

/// A name as it can be shown: at most 80 characters, none of them strange.
fn shown(raw: &[u8]) -> String {
    let text = String::from_utf8_lossy(raw);
    let mut out: String = text
        .chars()
        .take(80)
        .map(|c| if c.is_control() { '\u{fffd}' } else { c })
        .collect();
    if text.chars().count() > 80 {
        out.push('…');
    }
    out
}

/// Unpack one entry, counting what really comes.
fn read(
    zip: &mut ZipArchive<Cursor<&[u8]>>,
    index: usize,
    name: &str,
    kind: FileKind,
) -> Result<Vec<u8>, ArchiveError> {
    let refuse = |why: String| ArchiveError::Entry {
        name: shown(name.as_bytes()),
        why,
    };
    let entry = zip.by_index(index).map_err(|e| unreadable(&e))?;
    let (said, limit) = (entry.size(), kind.limit());
    if said > limit {
        return Err(refuse(format!("it has {said} bytes, at most {limit} are taken")));
    }
    let mut bytes = Vec::new();
    entry
        .take(limit + 1)
        .read_to_end(&mut bytes)
        .map_err(|e| refuse(format!("it is damaged ({e})")))?;
    if bytes.len() as u64 != said {
        return Err(refuse(format!("it says it has {said} bytes, and has others")));
    }
    match kind {
        FileKind::Sound if !(bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WAVE")) => {
            Err(refuse("it is called a WAV file and is none".to_owned()))
        }
        FileKind::Toml | FileKind::Note if std::str::from_utf8(&bytes).is_err() => {
            Err(refuse("it is no UTF-8 text".to_owned()))
        }
        _ => Ok(bytes),
    }
}

#[cfg(test)]
mod tests;
