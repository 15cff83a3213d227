//! The logbook's thread. When the real logbook cannot be opened it says so and goes on in memory, without recordings.

use super::home::{self, HomeCommand};
use super::inbox::Message;
use super::meeting::{self, ClassCommand};
use super::message::{Event, Lost, NEWEST_CALLS};
use super::office::{Changed, Here, Office, OfficeCommand};
use super::outbox::Outbox;
use super::told::{Told, named, why};
use crate::files;
use crate::folders;
use crate::logbook::{
    AttemptSummary, Consent, Fate, Kind, LeftoverKind, Logbook, LogbookError, NewAttempt, NewRun, NewStudent,
    RecordingName, Student, Whose,
};
use crate::site::Site;
use jiff::{SignedDuration, Timestamp};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::sync::mpsc::{Receiver, Sender};
use uuid::Uuid;

/// Where the logbook is.
#[derive(Debug, Clone)]
pub enum LogbookPlace {
    /// In these places.
    Disk {
        /// The database file.
        file: PathBuf,
        /// The folder of the recordings.
        recordings: PathBuf,
    },
    /// Nowhere: gone with the program.
    Memory,
}

/// An unfinished recording written to within this time may still be in the making.
const IN_USE: SignedDuration = SignedDuration::from_secs(3);

pub(super) enum Order {
    Choose(Option<Uuid>),
    ChooseByName(String),
    Add {
        name: String,
        consent: bool,
        by: Option<String>,
    },
    SetConsent {
        student: Uuid,
        given: bool,
        by: Option<String>,
    },
    /// A recording's name for the next call of this student, if recordings of it may be kept.
    Name(Uuid),
    /// A student's past calls at a site.
    Past {
        student: Uuid,
        site: String,
    },
    /// How this student comes along at this site.
    Progress {
        student: Option<Uuid>,
        site: Option<String>,
    },
    /// Something of a class.
    Class {
        command: ClassCommand,
        site: Option<Arc<Site>>,
    },
    /// Something of a file that came from another computer.
    Home(HomeCommand),
    /// Something of the instructor's work with the record.
    Office {
        command: OfficeCommand,
        here: Here,
    },
    /// Store an attempt; the file is that of its recording.
    Record {
        attempt: Box<NewAttempt>,
        file: Option<PathBuf>,
    },
    /// Hold an attempt out of the record, or put it back.
    HoldOut {
        attempt: Uuid,
        held: bool,
    },
    /// A launch or a series of ear drills begins.
    BeginRun(Box<NewRun>),
    /// What happened in it so far, and how it ended.
    UpdateRun {
        id: Uuid,
        ending: Option<String>,
        record: serde_json::Value,
    },
    Quit,
}

struct Keeper {
    logbook: Logbook,
    /// Where the class's secret is.
    secret: PathBuf,
    /// On disk: recordings may be kept.
    lasting: bool,
    out: Outbox,
    office: Office,
    answers: Sender<Message>,
    /// Attempts that could not be stored; tried again with the next one and at the end.
    waiting: Vec<NewAttempt>,
}

pub(super) fn run(
    place: &LogbookPlace,
    inbox: &Receiver<Order>,
    answers: Sender<Message>,
    out: Outbox,
    stop: Arc<AtomicBool>,
) -> Result<(), Lost> {
    let (logbook, lasting) = match open(place, &out) {
        Ok(opened) => opened,
        Err(e) => {
            out.known(
                "nothing_kept",
                format!("{e}. Attempts are not kept."),
                &[("why", why(&e))],
            );
            return Ok(());
        }
    };
    let secret = match place {
        LogbookPlace::Disk { file, .. } => file.with_file_name(folders::CLASS_SECRET),
        LogbookPlace::Memory => folders::class_secret(),
    };
    let mut keeper = Keeper {
        logbook,
        secret,
        lasting,
        office: Office::new(stop, out.clone()),
        out,
        answers,
        waiting: Vec::new(),
    };
    keeper.remove_old();
    keeper.look_after_leftovers();
    keeper.tell_students();
    for order in inbox {
        match order {
            Order::Quit => {
                let Some(e) = keeper.store_waiting() else {
                    return Ok(());
                };
                let (attempts, why) = (keeper.waiting.len(), e.to_string());
                keeper.out.tell(Event::Lost {
                    attempts,
                    why: why.clone(),
                });
                return Err(Lost { attempts, why });
            }
            other => {
                if let Err(e) = keeper.obey(other) {
                    keeper.out.trouble(&e);
                }
            }
        }
    }
    Ok(())
}

fn open(place: &LogbookPlace, out: &Outbox) -> Result<(Logbook, bool), LogbookError> {
    match place {
        LogbookPlace::Memory => Ok((Logbook::in_memory(&std::env::temp_dir())?, false)),
        LogbookPlace::Disk { file, recordings } => match Logbook::open(file, recordings) {
            Ok(logbook) => {
                let notice = logbook.read_only_notice();
                let lasting = notice.is_none();
                if let Some(notice) = notice {
                    out.known("record_protected", notice, &[("file", file.display().to_string())]);
                }
                Ok((logbook, lasting))
            }
            Err(e) => {
                let text = format!(
                    "{e}. Practice goes on, but attempts and students of this run are gone when the program ends, and no \
                     recordings are kept."
                );
                out.known("logbook_in_memory", text, &[("why", why(&e))]);
                Ok((Logbook::in_memory(recordings)?, false))
            }
        },
    }
}

impl Keeper {
    fn obey(&mut self, order: Order) -> Result<(), LogbookError> {
        let now = Timestamp::now();
        match order {
            Order::Choose(id) => {
                let student = id.map(|id| self.logbook.student(id)).transpose()?;
                self.chosen(student);
            }
            Order::ChooseByName(name) => self.choose_by_name(name),
            Order::Add { name, consent, by } => {
                if let Some(there) = self.logbook.looks_like(&name, None)? {
                    let other = there.name;
                    return Err(LogbookError::LooksLike { name, other });
                }
                let new = NewStudent {
                    name,
                    consent: Some(Consent {
                        given: consent,
                        asked_at: now,
                        by,
                    }),
                    ..NewStudent::default()
                };
                let student = self.logbook.add_student(&new, now)?;
                self.tell_students();
                self.chosen(Some(student));
            }
            Order::SetConsent { student, given, by } => self.consent(student, given, by, now)?,
            Order::Name(student) => {
                let name = self.name(student)?;
                self.answer(Message::Name { student, name });
            }
            Order::Past { student, site } => self.past(student, site)?,
            Order::Progress { student, site } => {
                let whose = student.map_or(Whose::Nobody, Whose::Student);
                self.progress(whose, site.as_deref())?;
            }
            Order::Class { command, site } => {
                let told = meeting::obey(&mut self.logbook, command, site.as_deref(), now)?;
                self.out.tell(Event::Class(told));
            }
            Order::Home(command) => {
                let told = home::obey(&mut self.logbook, command, &self.secret, now);
                self.out.tell(Event::Home(told));
            }
            Order::Office { command, here } => {
                let changed = self.office.obey(&mut self.logbook, command, &here, &self.secret, now);
                if changed != Changed::Nothing {
                    self.tell_students();
                }
                if let Changed::Gone(gone) = changed {
                    for who in gone {
                        self.answer(Message::StudentGone(who));
                    }
                }
            }
            Order::BeginRun(run) => self.logbook.begin_run(&run, now)?,
            Order::UpdateRun { id, ending, record } => {
                self.logbook.update_run(id, ending.as_deref(), &record, now)?;
            }
            Order::Record { attempt, file } => {
                // Where this one fails the others would too, each after a wait of its own.
                if self.record(*attempt, file.as_deref(), now) {
                    self.store_waiting();
                }
            }
            Order::HoldOut { attempt, held } => {
                match self.waiting.iter_mut().find(|a| a.id == attempt) {
                    Some(waiting) => waiting.held_out = held,
                    None => self.logbook.set_held_out(attempt, held, now)?,
                }
                self.out.tell(Event::HeldOut { attempt, held });
            }
            Order::Quit => {}
        }
        Ok(())
    }

    fn choose_by_name(&self, name: String) {
        match self.logbook.find_student(&name) {
            Ok(student) => self.chosen(Some(student)),
            // The students of a logbook that cannot be opened are not known.
            Err(_) if !self.lasting && self.logbook.students().is_ok_and(|s| s.is_empty()) => {
                let text = format!("{name} cannot be looked up now; practice goes on without a name.");
                self.out.known("student_unknown_now", text, &[("name", name)]);
                self.chosen(None);
            }
            Err(e) => self.out.tell(Event::NoSuchStudent(e.told())),
        }
    }

    fn past(&self, student: Uuid, site: String) -> Result<(), LogbookError> {
        // Somebody waits for the answer, whatever it is.
        let (past, done) = match self.logbook.past(student, &site) {
            Ok(past) => (past, Ok(())),
            Err(e) => (Vec::new(), Err(e)),
        };
        self.answer(Message::Past { student, site, past });
        done
    }

    fn progress(&self, whose: Whose, site: Option<&str>) -> Result<(), LogbookError> {
        let progress = self.logbook.progress(whose, site)?;
        self.out.tell(Event::Progress(Box::new(progress)));
        let mut calls = self.logbook.attempts(whose, 0, NEWEST_CALLS)?;
        // What was listened to is no call of theirs, and what was said beside a launch is none at all.
        let call = |c: &AttemptSummary| !matches!(c.part.kind, Kind::Ear | Kind::Words);
        calls.retain(|c| site.is_none_or(|s| s == c.site) && call(c));
        self.out.tell(Event::Calls(calls));
        Ok(())
    }

    fn consent(&mut self, student: Uuid, given: bool, by: Option<String>, now: Timestamp) -> Result<(), LogbookError> {
        let consent = Consent {
            given,
            asked_at: now,
            by,
        };
        let removed = self.logbook.set_consent(student, &consent, now)?;
        if removed > 0 {
            let text = format!("{removed} recordings of this student were removed; the attempts stay without them.");
            let n = removed.to_string();
            self.out.known("recordings_removed", text, &[("n", n)]);
        }
        self.tell_students();
        self.chosen(Some(self.logbook.student(student)?));
        Ok(())
    }

    fn chosen(&self, student: Option<Student>) {
        self.answer(Message::Student(student));
    }

    fn answer(&self, message: Message) {
        // The conductor ends first.
        let _ = self.answers.send(message);
    }

    fn tell_students(&self) {
        match self.logbook.students() {
            Ok(students) => self.out.tell(Event::Students(students)),
            Err(e) => self.out.trouble(&e),
        }
    }

    fn name(&self, student: Uuid) -> Result<Option<RecordingName>, LogbookError> {
        if !self.lasting || !self.logbook.recording_allowed(Some(student))? {
            return Ok(None);
        }
        self.logbook.begin_recording(Some(student)).map(Some)
    }

    /// Store an attempt; one whose recording may no longer be kept is stored without it. Is it settled, so that others can
    /// be tried?
    fn record(&mut self, mut attempt: NewAttempt, file: Option<&std::path::Path>, now: Timestamp) -> bool {
        let id = attempt.id;
        let mut result = self.logbook.record(&attempt, now);
        if matches!(result, Err(LogbookError::NoConsent { .. })) {
            if let Some(file) = file {
                remove(file, &self.out);
            }
            attempt.recording = None;
            result = self.logbook.record(&attempt, now);
        }
        match result {
            Ok(()) => {
                self.out.tell(Event::Stored(id));
                true
            }
            // The same would come of every further try: it must not keep others waiting.
            Err(e) if e.is_for_good() => {
                let text = format!("{e}. This attempt is not kept.");
                self.out.known("attempt_not_kept", text, &[("why", why(&e))]);
                self.out.tell(Event::NotStored(id));
                true
            }
            Err(e) => {
                self.waiting.push(attempt);
                let n = self.waiting.len();
                let text = format!("{e}. Not stored yet: {n}; that is tried again with the next call and at the end.");
                let facts = [("why", why(&e)), ("n", n.to_string())];
                self.out.known("attempt_waits", text, &facts);
                self.out.tell(Event::NotStored(id));
                false
            }
        }
    }

    /// Try once more what could not be stored, in order. A failure that may pass (a full disk, a lock) ends it; what is
    /// refused for good makes way for the others. Gives back why some still wait.
    fn store_waiting(&mut self) -> Option<LogbookError> {
        while let Some(attempt) = self.waiting.first_mut() {
            let id = attempt.id;
            let now = Timestamp::now();
            let mut result = self.logbook.record(attempt, now);
            if matches!(result, Err(LogbookError::NoConsent { .. })) && attempt.recording.take().is_some() {
                result = self.logbook.record(attempt, now);
            }
            match result {
                Ok(()) => self.out.tell(Event::Stored(id)),
                Err(e) if e.is_for_good() => {
                    let text = format!("{e}. An attempt that waited is not kept.");
                    self.out.known("attempt_not_kept", text, &[("why", why(&e))]);
                }
                Err(e) => return Some(e),
            }
            self.waiting.remove(0);
        }
        None
    }

    /// What is older than it may be goes at the start; off until somebody has said a number of days.
    fn remove_old(&mut self) {
        if !self.lasting {
            return;
        }
        match self.logbook.remove_old(Timestamp::now()) {
            Ok(removed) => {
                if removed.recordings > 0 || removed.attempts > 0 {
                    let text = format!(
                        "Older than they may be, and removed: {} recordings, {} attempts.",
                        removed.recordings, removed.attempts
                    );
                    let facts = [
                        ("recordings", removed.recordings.to_string()),
                        ("calls", removed.attempts.to_string()),
                    ];
                    self.out.known("old_removed", text, &facts);
                }
                if let Some(days) = removed.doubted_days {
                    let text =
                        format!("Nothing was removed by age: by the clock the logbook was not in use for {days} days.");
                    self.out.known("clock_doubted", text, &[("days", days.to_string())]);
                }
                for problem in removed.problems {
                    self.out.known("old_not_removed", &problem, &[("why", named(&problem))]);
                }
            }
            Err(e) => self.out.trouble(&e),
        }
    }

    fn look_after_leftovers(&self) {
        if !self.lasting {
            return;
        }
        let now = Timestamp::now();
        match self.logbook.adopt_leftovers() {
            Ok(leftovers) => {
                let kept = leftovers
                    .iter()
                    .filter(|l| {
                        l.kind == LeftoverKind::Unfinished
                            && matches!(l.fate, Fate::Kept(_))
                            // Another window may be recording it at this moment.
                            && l.modified.is_none_or(|t| now.duration_since(t) > IN_USE)
                    })
                    .count();
                if kept > 0 {
                    let text = format!(
                        "The program ended during {kept} call(s) last time; what was recorded until then is kept."
                    );
                    self.out.known("ended_in_a_call", text, &[("n", kept.to_string())]);
                }
            }
            Err(e) => self.out.trouble(&e),
        }
    }
}

/// Removes a recording that may not be kept.
pub(super) fn remove(file: &std::path::Path, out: &Outbox) {
    if let Err(e) = files::remove(file) {
        let text = format!(
            "a recording that is not to be kept could not be removed ({e}); remove it by hand: {}",
            file.display()
        );
        let facts = [("why", why(&e)), ("file", file.display().to_string())];
        out.known("recording_stays", text, &facts);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logbook::{Outcome, Part, Timings, Whose};
    use std::sync::mpsc;

    fn attempt(student: Option<Uuid>) -> NewAttempt {
        NewAttempt {
            id: Uuid::new_v4(),
            student,
            started_at: Timestamp::UNIX_EPOCH,
            utc_offset_seconds: 0,
            site: "larkmoor".to_owned(),
            site_version: "1".to_owned(),
            step: "ready".to_owned(),
            part: Part::default(),
            situation: serde_json::json!({}),
            turn: Uuid::new_v4(),
            turn_attempt: 1,
            model: None,
            program_version: "0".to_owned(),
            outcome: Outcome::Pass,
            score: None,
            timings: Timings::default(),
            transcript: String::new(),
            evidence: serde_json::Value::Null,
            recording: None,
            held_out: false,
            elements: Vec::new(),
        }
    }

    #[test]
    fn what_is_refused_for_good_keeps_nothing_waiting() {
        let dir = tempfile::tempdir().unwrap();
        let (events, heard) = mpsc::channel();
        let (answers, _inbox) = mpsc::channel();
        let mut keeper = Keeper {
            logbook: Logbook::open(&dir.path().join("logbook.sqlite"), dir.path()).unwrap(),
            secret: dir.path().join(folders::CLASS_SECRET),
            lasting: true,
            office: Office::new(Arc::default(), Outbox::new(mpsc::channel().0, || {})),
            out: Outbox::new(events, || {}),
            answers,
            waiting: vec![attempt(Some(Uuid::new_v4())), attempt(None)],
        };
        keeper.store_waiting();
        assert!(keeper.waiting.is_empty());
        // One of a student who is not there: told, and not put among those that wait.
        assert!(keeper.record(attempt(Some(Uuid::new_v4())), None, Timestamp::now()));
        assert!(keeper.waiting.is_empty());
        assert_eq!(keeper.logbook.count_attempts(Whose::Anyone).unwrap(), 1);
        let told: Vec<Event> = heard.try_iter().collect();
        let refused = told
            .iter()
            .filter(|e| matches!(e, Event::Trouble(t) if t.text.contains("not kept")))
            .count();
        assert_eq!(refused, 2, "{told:?}");
    }
}
