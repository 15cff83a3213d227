//! The phrase desk's thread: reads and writes sites' folders, drafts and archives. What is heard and recorded for the desk
//! goes through the conductor (`conductor/bench.rs`).
//!
//! A draft is a folder of its own (`drafts/ID` under the data root) with the texts that were changed and the prompts
//! recorded; the site itself is touched only when it is saved. A crash leaves the draft, which is offered again.

pub use super::message::desk::{Changes, DeskCommand, DeskEvent, Looked, Opened};

use super::home::ENDING;
use super::keeper::LogbookPlace;
use super::message::{Event, Trouble};
use super::outbox::Outbox;
use super::told::{Told, named, why};
use crate::call::compare;
use crate::files::{self, Access, Lock};
use crate::folders::archive::{pack, pack_numbered, unpack};
use crate::folders::content::{Content, ContentError, FileKind, file_changes, lock_of};
use crate::folders::{self, load_site};
use crate::logbook::{Logbook, VersionCount, attempts_under};
use crate::site::edit::{self, Texts};
use crate::site::{Files, Site, bundled};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, Sender};

/// Where the desk's things are.
#[derive(Debug, Clone)]
pub(super) struct Places {
    /// Looked into first.
    pub first: Option<PathBuf>,
    /// The user's own sites.
    pub own: PathBuf,
    /// Drafts.
    pub drafts: PathBuf,
    /// Archives.
    pub exports: PathBuf,
    pub logbook: LogbookPlace,
}

impl Places {
    pub fn new(first: Option<PathBuf>, logbook: LogbookPlace) -> Self {
        Self {
            first,
            own: folders::own_phrases(),
            drafts: folders::data_root().join("drafts"),
            exports: folders::data_root().join("exports"),
            logbook,
        }
    }
}

pub(super) enum Order {
    Command(DeskCommand),
    /// A prompt that was recorded.
    Prompt {
        id: String,
        name: String,
        samples: Vec<f32>,
    },
    Quit,
}

/// A failure as the window tells it.
type Refused = Trouble;

/// Runs until told to quit; `changed` is told the id of a site that changed on disk.
pub(super) fn run(places: &Places, inbox: &Receiver<Order>, out: &Outbox, changed: &(dyn Fn(String) + Send)) {
    for order in inbox {
        let result = match order {
            Order::Quit => return,
            Order::Prompt { id, name, samples } => places.keep_prompt(&id, &name, &samples),
            Order::Command(command) => places.obey(command),
        };
        let event = result.unwrap_or_else(DeskEvent::Failed);
        if let DeskEvent::Saved { id, .. } | DeskEvent::TakenIn { id, .. } = &event {
            changed(id.clone());
        }
        out.tell(Event::Desk(event));
    }
}

/// Hands a command to the desk's thread.
pub(super) fn send(desk: &Sender<Order>, order: Order, out: &Outbox) {
    if desk.send(order).is_err() {
        out.known(
            "desk_gone",
            "the phrase desk is not there; start the program again",
            &[],
        );
    }
}

/// A file of the desk's own that cannot be used.
fn unusable(what: &str, path: &Path) -> impl Fn(std::io::Error) -> Refused {
    let (what, place) = (what.to_owned(), path.display().to_string());
    move |e| {
        let facts = vec![("why", why(&e)), ("file", place.clone())];
        Refused::named("file_failed", format!("{what} ({e}): {place}"), facts)
    }
}

/// The moment as it stands in a folder's name.
fn stamp() -> String {
    jiff::tz::TimeZone::system()
        .to_datetime(jiff::Timestamp::now())
        .strftime("%Y-%m-%d-%H%M%S")
        .to_string()
}

impl Places {
    fn obey(&self, command: DeskCommand) -> Result<DeskEvent, Refused> {
        match command {
            DeskCommand::Open(name) => self.open(&name),
            DeskCommand::Copy { from, name } => self.copy(&from, &name),
            DeskCommand::Keep { id, texts } => self.keep(&id, &texts),
            DeskCommand::Drop(id) => self.drop_draft(&id).map(|()| DeskEvent::Dropped(id)),
            DeskCommand::Save { id, texts } => self.save(&id, &texts),
            DeskCommand::Compare { id, texts } => {
                let (old, _) = self.saved(&id)?;
                let new = self.drafted(&id, &old, &texts)?;
                Ok(DeskEvent::Changes(Box::new(self.changes(&old, &new))))
            }
            DeskCommand::Export { id, file } => self.export(&id, file),
            DeskCommand::Look(file) => self.look(file),
            DeskCommand::TakeIn(file) => self.take_in(&file),
            // The conductor does these.
            DeskCommand::Hear { .. }
            | DeskCommand::Record { .. }
            | DeskCommand::RecordingDone
            | DeskCommand::RecordingCancelled => {
                Err(Refused::named("nothing_spoken", "the sound is not there", Vec::new()))
            }
        }
    }

    /// A site's folder, if it has one.
    pub fn folder(&self, name: &str) -> Option<PathBuf> {
        if name.contains(['/', '\\']) {
            return Some(PathBuf::from(name)).filter(|p| p.is_dir());
        }
        let first = self.first.iter().cloned();
        first
            .chain([self.own.clone()])
            .chain(folders::phrases())
            .map(|d| d.join(name))
            .find(|d| crate::site::FILES.iter().any(|f| d.join(f).is_file()))
    }

    /// A site's files as saved, and whether it is the user's own.
    fn saved(&self, id: &str) -> Result<(Content, bool), Refused> {
        if let Some(folder) = self.folder(id) {
            let parent = folder.parent();
            let own = parent == Some(&self.own) || (parent.is_some() && parent == self.first.as_deref());
            return Ok((Content::read(&folder).map_err(|e| e.told())?.0, own));
        }
        if let Some(files) = bundled::files(id) {
            return Ok((Content::of_texts(&files.texts), false));
        }
        load_site(id, self.first.as_deref()).map_err(|e| e.told())?;
        let text = format!("the site \"{id}\" cannot be found");
        Err(Refused::named("site_gone", text, vec![("site", id.to_owned())]))
    }

    fn draft_folder(&self, id: &str) -> PathBuf {
        self.drafts.join(id)
    }

    fn open(&self, name: &str) -> Result<DeskEvent, Refused> {
        let (content, own) = self.saved(name)?;
        let id = Path::new(name)
            .file_name()
            .map_or_else(|| name.to_owned(), |n| n.to_string_lossy().into_owned());
        let files = content.as_files(&id);
        if let Some((file, why)) = files.unreadable.iter().next() {
            let text = format!("{file} cannot be edited here: {why}");
            return Err(Refused::named(
                "file_failed",
                text,
                vec![("file", file.clone()), ("why", named(why))],
            ));
        }
        let mut others = files.others;
        let mut draft = None;
        if let Some(left) = self.draft(&id)?.filter(|_| own) {
            let left = left.as_files(&id);
            others.extend(left.others);
            let mut texts = files.texts.clone();
            texts.extend(left.texts);
            draft = Some(texts);
        }
        Ok(DeskEvent::Opened(Box::new(Opened {
            id,
            own,
            texts: files.texts,
            others,
            draft,
        })))
    }

    fn copy(&self, from: &str, name: &str) -> Result<DeskEvent, Refused> {
        let id = edit::id_from(name);
        if id.is_empty() {
            return Err(Refused::named(
                "site_unnamed",
                "give the new site a name with letters in it",
                Vec::new(),
            ));
        }
        if self.folder(&id).is_some() || bundled::NAMES.contains(&id.as_str()) {
            let text = format!("there is a site \"{id}\" already; choose another name");
            return Err(Refused::named("site_there", text, vec![("name", id)]));
        }
        let (mut content, _) = self.saved(from)?;
        let files = content.as_files(from);
        let texts = edit::copied(&files, &id, name.trim()).map_err(|e| e.told())?;
        for (file, text) in texts {
            content.files.insert(file, text.into_bytes());
        }
        content.put(&self.own, &id, false, &stamp()).map_err(|e| e.told())?;
        self.open(&id)
    }

    fn keep(&self, id: &str, texts: &Texts) -> Result<DeskEvent, Refused> {
        let folder = self.draft_folder(id);
        let failed = unusable("the draft cannot be kept", &folder);
        let _lock = self.drafts_lock().map_err(&failed)?;
        std::fs::create_dir_all(&folder).map_err(&failed)?;
        for (file, text) in texts {
            if FileKind::of(file) != Some(FileKind::Toml) {
                continue;
            }
            files::replace(&folder.join(file), Access::Ordinary, text.as_bytes()).map_err(&failed)?;
        }
        Ok(DeskEvent::Kept(id.to_owned()))
    }

    /// A draft's files belong together: two windows change them one after the other, and reading waits, too.
    fn drafts_lock(&self) -> std::io::Result<Lock> {
        std::fs::create_dir_all(&self.drafts)?;
        Lock::take(&lock_of(&self.drafts))
    }

    /// What is in a draft, if there is one; another window may drop it at any moment.
    fn draft(&self, id: &str) -> Result<Option<Content>, Refused> {
        match Content::read(&self.draft_folder(id)) {
            Err(ContentError::File { source, .. }) if source.kind() == std::io::ErrorKind::NotFound => Ok(None),
            read => read.map(|(content, _)| Some(content)).map_err(|e| e.told()),
        }
    }

    fn drop_draft(&self, id: &str) -> Result<(), Refused> {
        let folder = self.draft_folder(id);
        let failed = unusable("the draft cannot be removed", &folder);
        if !folder.exists() {
            return Ok(());
        }
        let _lock = self.drafts_lock().map_err(&failed)?;
        match std::fs::remove_dir_all(&folder) {
            Err(e) if e.kind() != std::io::ErrorKind::NotFound => Err(failed(e)),
            _ => Ok(()),
        }
    }

    /// The saved files with these texts and the draft's recordings over them. Recordings that no line names are kept.
    fn drafted(&self, id: &str, saved: &Content, texts: &Texts) -> Result<Content, Refused> {
        let mut content = saved.clone();
        if let Some(left) = self.draft(id)? {
            let sounds = left
                .files
                .into_iter()
                .filter(|(n, _)| FileKind::of(n) == Some(FileKind::Sound));
            content.files.extend(sounds);
        }
        for (file, text) in texts {
            content.files.insert(file.clone(), text.clone().into_bytes());
        }
        Ok(content)
    }

    fn save(&self, id: &str, texts: &Texts) -> Result<DeskEvent, Refused> {
        let (old, own) = self.saved(id)?;
        if !own {
            let text = format!("\"{id}\" is not your own site; make a copy of it first");
            return Err(Refused::named("site_not_own", text, vec![("name", id.to_owned())]));
        }
        let new = self.drafted(id, &old, texts)?;
        let site = Site::check(&new.as_files(id)).map_err(|e| e.told())?;
        if site.id != id {
            let text = format!(
                "the id in site.toml is \"{}\", and the folder is called \"{id}\"; they must be the same",
                site.id
            );
            let facts = vec![("id", site.id), ("name", id.to_owned())];
            return Err(Refused::named("site_id", text, facts));
        }
        let parent = self.folder(id).and_then(|f| f.parent().map(Path::to_path_buf));
        let parent = parent.unwrap_or_else(|| self.own.clone());
        let (_, older) = new.put(&parent, id, true, &stamp()).map_err(|e| e.told())?;
        self.drop_draft(id)?;
        Ok(DeskEvent::Saved {
            id: id.to_owned(),
            older,
        })
    }

    fn changes(&self, old: &Content, new: &Content) -> Changes {
        let mut changes = Changes {
            files: file_changes(old, new),
            differences: Vec::new(),
            effects: Vec::new(),
            same_version: None,
        };
        let check = |content: &Content| Site::check(&content.as_files("desk"));
        if let (Ok(before), Ok(after)) = (check(old), check(new)) {
            changes.differences = compare::differences(&before, &after);
            let effects = compare::effects(&before, &after);
            if !effects.is_empty() {
                changes.same_version = Some(before.version.clone()).filter(|v| *v == after.version);
                let counts = self.old_attempts(&before.id);
                changes.effects = effects
                    .into_iter()
                    .map(|e| {
                        let (this, all) = attempts_under(&counts, &e.step, &before.version);
                        (e, all, this)
                    })
                    .collect();
            }
        }
        changes
    }

    /// Old attempts of a site; none where the logbook cannot be read, which its own thread tells.
    fn old_attempts(&self, id: &str) -> Vec<VersionCount> {
        let LogbookPlace::Disk { file, recordings } = &self.logbook else {
            return Vec::new();
        };
        if !file.is_file() {
            return Vec::new();
        }
        Logbook::open(file, recordings)
            .and_then(|book| book.attempts_by_version(id))
            .unwrap_or_default()
    }

    fn export(&self, id: &str, file: Option<PathBuf>) -> Result<DeskEvent, Refused> {
        let (content, _) = self.saved(id)?;
        let mut files = content.as_files(id);
        files.unplayable = crate::voice::prompt::unplayable_among(&files, &content.files);
        let site = Site::check(&files).map_err(|e| e.told())?;
        if let Some(file) = file {
            pack(&content, id, &file).map_err(|e| e.told())?;
            return Ok(DeskEvent::Exported(file));
        }
        std::fs::create_dir_all(&self.exports).map_err(unusable("the folder cannot be made", &self.exports))?;
        let version: String = site
            .version
            .chars()
            .map(|c| if c.is_ascii_alphanumeric() || c == '.' { c } else { '-' })
            .collect();
        let file = pack_numbered(&content, id, &self.exports.join(format!("{id}-{version}.{ENDING}")))
            .map_err(|e| e.told())?;
        Ok(DeskEvent::Exported(file))
    }

    fn look(&self, file: PathBuf) -> Result<DeskEvent, Refused> {
        let unpacked = unpack(&file, crate::voice::prompt::unplayable_among).map_err(|e| e.told())?;
        let id = unpacked.site.id.clone();
        let target = self.own.join(&id);
        let changes = if target.is_dir() {
            let (old, _) = Content::read(&target).map_err(|e| e.told())?;
            Some(self.changes(&old, &unpacked.content))
        } else {
            None
        };
        Ok(DeskEvent::Looked(Box::new(Looked {
            file,
            id,
            name: unpacked.site.name,
            version: unpacked.site.version,
            changes,
        })))
    }

    fn take_in(&self, file: &Path) -> Result<DeskEvent, Refused> {
        let unpacked = unpack(file, crate::voice::prompt::unplayable_among).map_err(|e| e.told())?;
        let id = unpacked.site.id;
        let put = unpacked.content.put(&self.own, &id, true, &stamp());
        let (_, older) = put.map_err(|e: ContentError| e.told())?;
        Ok(DeskEvent::TakenIn { id, older })
    }

    fn keep_prompt(&self, id: &str, name: &str, samples: &[f32]) -> Result<DeskEvent, Refused> {
        let path = self.draft_folder(id).join(name);
        if FileKind::of(name) != Some(FileKind::Sound) || name.split(['/', '\\']).any(|p| p == ".." || p.is_empty()) {
            let text = format!("\"{name}\" is no place for a recording");
            let facts = vec![("why", "why.name".to_owned()), ("file", name.to_owned())];
            return Err(Refused::named("file_failed", text, facts));
        }
        let _lock = self
            .drafts_lock()
            .and_then(|lock| std::fs::create_dir_all(files::folder_of(&path)).map(|()| lock))
            .map_err(unusable("the folder cannot be made", files::folder_of(&path)))?;
        crate::sound::write_wav(&path, samples).map_err(|e| e.told())?;
        Ok(DeskEvent::Recorded {
            id: id.to_owned(),
            name: name.to_owned(),
            seconds: samples.len() as f64 / f64::from(crate::sound::RATE),
        })
    }

    /// Where a site's recording is: with the draft, or with the site.
    pub fn recording(&self, id: &str, name: &str) -> Option<PathBuf> {
        let draft = self.draft_folder(id).join(name);
        if draft.is_file() {
            return Some(draft);
        }
        self.folder(id).map(|f| f.join(name)).filter(|p| p.is_file())
    }
}

/// Files for the checker: texts as they are on the desk, with the recordings there are.
pub fn files_of(id: &str, texts: &Texts, others: &BTreeSet<String>) -> Files {
    Files {
        folder: id.to_owned(),
        texts: texts.clone(),
        others: others.clone(),
        ..Files::default()
    }
}

#[cfg(test)]
mod tests;
