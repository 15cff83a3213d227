//! What an instructor does with the record: judging disputed calls, reports, practice handed out and results taken in,
//! another computer's logbook, how long things are kept, people. What takes something away is told first: a command without
//! `sure` only foresees.
//!
//! Where an instructor has a PIN nothing of this is done before it was given, and nothing any more after [`OfficeCommand::Lock`].

mod fails;
mod handing;
mod persons;

use super::home;
use super::message::Event;
use super::outbox::Outbox;
use super::papers::{self, PaperError};
use crate::files::{self, Access};
use crate::folders;
use crate::logbook::{Logbook, LogbookError, Whose};
use crate::site::Site;
use fails::Fail;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, LazyLock};
use uuid::Uuid;

pub use super::message::home::HandingOut;
pub use super::message::office::{
    Batch, HandedOut, OfficeCommand, OfficeEvent, Person, PersonChange, Reviewed, Ruling, Sheet,
};

/// What the logbook's thread keeps of it.
pub(super) struct Office {
    /// Who gave which PIN.
    open: Option<(Uuid, String)>,
    stop: Arc<AtomicBool>,
    out: Outbox,
}

/// The site in use, with its folder where it has one.
pub(super) type Here = Option<(Arc<Site>, Option<PathBuf>)>;

/// What the others must know of what was done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Changed {
    /// Nothing.
    Nothing,
    /// The list of students.
    People,
    /// Those who are not there any more, too.
    Gone(Vec<Uuid>),
}

impl Office {
    pub(super) fn new(stop: Arc<AtomicBool>, out: Outbox) -> Self {
        Self { open: None, stop, out }
    }

    fn tell(&self, event: OfficeEvent) {
        self.out.tell(Event::Office(event));
    }

    /// What the logbook's thread does about a command. `secret` is the place of the class's secret.
    pub(super) fn obey(
        &mut self,
        book: &mut Logbook,
        command: OfficeCommand,
        here: &Here,
        secret: &Path,
        now: Timestamp,
    ) -> Changed {
        match self.done(book, command, here, secret, now) {
            Ok(changed) => changed,
            Err(fail) => {
                self.tell(OfficeEvent::Failed(fail.into()));
                // What failed in the middle may have changed something.
                Changed::People
            }
        }
    }

    /// May it be used?
    fn is_open(&self, book: &Logbook) -> Result<bool, LogbookError> {
        Ok(self.open.is_some() || book.pin_holders()?.is_empty())
    }

    fn done(
        &mut self,
        book: &mut Logbook,
        command: OfficeCommand,
        here: &Here,
        secret: &Path,
        now: Timestamp,
    ) -> Result<Changed, Fail> {
        match command {
            OfficeCommand::Unlock { who, pin } => {
                book.instructor(who, Some(&pin), now)?;
                self.open = Some((who, pin));
                self.look(book)?;
                return Ok(Changed::Nothing);
            }
            OfficeCommand::Lock => {
                self.open = None;
                return Ok(Changed::Nothing);
            }
            // The sheet for the wall holds nothing of anybody.
            OfficeCommand::Wall(file) => {
                let (site, _) = here.as_ref().ok_or(Fail::NoSite)?;
                let bytes = papers::wall(site, day(now)).map_err(PaperError::Print)?;
                self.write(&file, &bytes)?;
                return Ok(Changed::Nothing);
            }
            OfficeCommand::Stop => return Ok(Changed::Nothing),
            // Whoever has forgotten it cannot give it.
            OfficeCommand::Change {
                who,
                change: PersonChange::PinForgotten,
            } => {
                self.tell(OfficeEvent::PinForgotten(book.forgotten_pin(who, now)?));
                if self.is_open(book)? {
                    self.look(book)?;
                }
                return Ok(Changed::People);
            }
            _ if !self.is_open(book)? => {
                self.tell(OfficeEvent::Locked);
                return Ok(Changed::Nothing);
            }
            _ => {}
        }
        self.work(book, command, here, secret, now)
    }

    fn work(
        &mut self,
        book: &mut Logbook,
        command: OfficeCommand,
        here: &Here,
        secret: &Path,
        now: Timestamp,
    ) -> Result<Changed, Fail> {
        match command {
            OfficeCommand::Look => self.look(book)?,
            OfficeCommand::Open(id) => self.tell(OfficeEvent::Call(Box::new(reviewed(book, id)?))),
            OfficeCommand::Judge(ruling) => {
                self.judge(book, &ruling, now)?;
                self.tell(OfficeEvent::Ruled(ruling.attempt));
                self.tell(OfficeEvent::Disputed(book.held_out(Whose::Anyone)?));
            }
            OfficeCommand::Report { mut wanted, file } => {
                let (site, _) = here.as_ref().ok_or(Fail::NoSite)?;
                wanted.date = day(now);
                self.write(&file, &papers::made(site, book, &wanted)?)?;
            }
            OfficeCommand::HandOut(wanted) => self.hand_out(&wanted, here, secret, now)?,
            OfficeCommand::LookIn(files) => {
                let batch = handing::look_in(book, &files, secret);
                self.tell(OfficeEvent::Batch(batch));
            }
            OfficeCommand::TakeIn(files) => {
                let batch = self.take_in(book, &files, secret, now);
                self.tell(OfficeEvent::BatchTaken(batch));
                // Calls that were disputed at home wait here too.
                self.tell(OfficeEvent::Disputed(book.held_out(Whose::Anyone)?));
            }
            OfficeCommand::Merge { other, sure: false } => {
                let merged = book.merge_foreseen(&other)?;
                self.tell(OfficeEvent::MergeForeseen(other, Box::new(merged)));
            }
            OfficeCommand::Merge { other, sure: true } => return self.merge(book, &other),
            OfficeCommand::Keep { who, keep, sure: false } => {
                let old = book.old_under(who, keep, now)?;
                self.tell(OfficeEvent::KeepForeseen(who, keep, old));
            }
            OfficeCommand::Keep {
                who: Some(who),
                keep,
                sure: true,
            } => {
                book.set_student_retention(who, keep, now)?;
                self.tell_person(book, who, now)?;
                return Ok(Changed::People);
            }
            OfficeCommand::Keep {
                who: None,
                keep,
                sure: true,
            } => {
                book.set_retention(keep, now)?;
                self.tell(OfficeEvent::Kept(book.retention()?));
            }
            OfficeCommand::Remove(id) => {
                book.remove_attempt(id, now)?;
                self.tell(OfficeEvent::Removed(id));
                self.tell(OfficeEvent::Disputed(book.held_out(Whose::Anyone)?));
            }
            other => return self.people(book, other, now),
        }
        Ok(Changed::Nothing)
    }

    fn merge(&mut self, book: &mut Logbook, other: &Path) -> Result<Changed, Fail> {
        let recordings = files::folder_of(other).join("recordings");
        let before = book.students()?;
        let merged = book.merge_telling(other, &recordings, &mut |n, of| self.goes_on(n, of))?;
        self.tell(OfficeEvent::Merged(Box::new(merged)));
        // The merge may have brought the first PIN, or taken away whoever gave theirs.
        let after = book.students()?;
        let there = |id: Uuid| after.iter().any(|s| s.id == id);
        if self.open.as_ref().is_some_and(|(by, _)| !there(*by)) {
            self.open = None;
        }
        if self.is_open(book)? {
            self.look(book)?;
        } else {
            self.tell(OfficeEvent::Locked);
        }
        let gone = before.into_iter().map(|s| s.id).filter(|id| !there(*id));
        Ok(Changed::Gone(gone.collect()))
    }

    fn look(&self, book: &Logbook) -> Result<(), LogbookError> {
        self.tell(OfficeEvent::Unlocked(self.open.as_ref().map(|(who, _)| *who)));
        self.tell(OfficeEvent::Disputed(book.held_out(Whose::Anyone)?));
        self.tell(OfficeEvent::Kept(book.retention()?));
        Ok(())
    }

    fn judge(&self, book: &mut Logbook, ruling: &Ruling, now: Timestamp) -> Result<(), Fail> {
        let pin = self.open.as_ref().map(|(_, pin)| pin.as_str());
        let by = book.instructor(ruling.by, pin, now)?;
        if ruling.overrule.is_empty() {
            book.uphold(ruling.attempt, by, &ruling.reason, now)?;
        }
        for (element, verdict) in &ruling.overrule {
            book.overrule(ruling.attempt, element, *verdict, by, &ruling.reason, now)?;
        }
        Ok(())
    }

    /// Tells how far it is; whether to go on.
    fn goes_on(&self, n: usize, of: usize) -> bool {
        self.tell(OfficeEvent::Working(n, of));
        !self.stop.load(Ordering::Relaxed)
    }

    /// Writes a file under this name, or under one with a number where that is taken.
    fn write(&self, file: &Path, bytes: &[u8]) -> Result<(), Fail> {
        for place in files::numbered(file) {
            match files::make(&place, Access::Ordinary, bytes) {
                Ok(()) => {
                    self.tell(OfficeEvent::Written(place));
                    return Ok(());
                }
                Err(e) if e.kind() == ErrorKind::AlreadyExists => {}
                Err(e) => return Err(Fail::Write(place, e)),
            }
        }
        Err(Fail::NoName(file.to_path_buf()))
    }
}

/// The day by this computer's clock.
fn day(now: Timestamp) -> jiff::civil::Date {
    TimeZone::system().to_datetime(now).date()
}

fn reviewed(book: &Logbook, id: Uuid) -> Result<Reviewed, LogbookError> {
    let asked = id.to_string();
    let stored = book.attempt(id)?.ok_or(LogbookError::NoSuchAttempt { asked })?;
    let student = stored.attempt.student.map(|id| book.student(id)).transpose()?;
    Ok(Reviewed {
        name: student.map(|s| s.name),
        judgements: book.judgements(id)?,
        stored,
    })
}

/// The class's phrases of the site in use.
fn phrases(here: &Here) -> Result<(Arc<Site>, std::collections::BTreeMap<String, String>), Fail> {
    let (site, folder) = here.as_ref().ok_or(Fail::NoSite)?;
    let texts = home::texts(site, folder.as_deref())?;
    Ok((site.clone(), texts))
}

/// Files of the program's own in a folder, by name; a file itself.
fn own_files(places: &[PathBuf]) -> Vec<PathBuf> {
    let own = |p: &PathBuf| p.extension().is_some_and(|e| e.eq_ignore_ascii_case(home::ENDING));
    let mut out = Vec::new();
    for place in places {
        match std::fs::read_dir(place) {
            Ok(entries) => {
                let mut inside: Vec<PathBuf> = entries.flatten().map(|e| e.path()).filter(own).collect();
                inside.retain(|p| handing::may_be_results(p));
                inside.sort();
                out.extend(inside);
            }
            Err(_) => out.push(place.clone()),
        }
    }
    out.dedup();
    out
}

/// The folder in which people keep their papers, to begin a path with.
pub fn papers_folder() -> &'static Path {
    static FOLDER: LazyLock<PathBuf> = LazyLock::new(folders::documents);
    &FOLDER
}
