//! People: role, PIN, guardian, name, how long their things are kept; joining two entries, and forgetting one.

use super::fails::Fail;
use super::{Changed, Office, OfficeCommand, OfficeEvent, Person, PersonChange};
use crate::logbook::{INSTRUCTOR, Logbook, LogbookError, Whose};
use jiff::Timestamp;
use uuid::Uuid;

/// So many of them.
const NEWEST: u32 = 40;

fn person(book: &Logbook, who: Uuid, now: Timestamp) -> Result<Person, LogbookError> {
    let student = book.student(who)?;
    Ok(Person {
        attempts: book.count_attempts(Whose::Student(who))?,
        recordings: book.count_recordings(who)?,
        pin_forgotten: book.pin_said_forgotten(who)?,
        old: book.old_under(Some(who), student.keep, now)?,
        calls: book.attempts(Whose::Student(who), 0, NEWEST)?,
        student,
    })
}

impl Office {
    /// Tells all about a person as it is now.
    pub(super) fn tell_person(&self, book: &Logbook, who: Uuid, now: Timestamp) -> Result<(), LogbookError> {
        self.tell(OfficeEvent::Person(Box::new(person(book, who, now)?)));
        Ok(())
    }

    /// What is about people.
    pub(super) fn people(
        &mut self,
        book: &mut Logbook,
        command: OfficeCommand,
        now: Timestamp,
    ) -> Result<Changed, Fail> {
        match command {
            OfficeCommand::Person(who) => {
                self.tell_person(book, who, now)?;
                Ok(Changed::Nothing)
            }
            OfficeCommand::Change { who, change } => {
                self.change(book, who, change, now)?;
                self.tell_person(book, who, now)?;
                // Where the first PIN was set, or the last one taken away.
                if !self.is_open(book)? {
                    self.tell(OfficeEvent::Locked);
                }
                Ok(Changed::People)
            }
            OfficeCommand::Join { from, into } => {
                let joined = book.join_students(from, into, now)?;
                let stays = joined.student.id;
                self.tell(OfficeEvent::Joined(Box::new(joined)));
                self.tell_person(book, stays, now)?;
                Ok(Changed::Gone(vec![if stays == from { into } else { from }]))
            }
            OfficeCommand::Forget(who) => {
                let name = book.student(who)?.name;
                let forgotten = book.forget(who, now)?;
                if self.open.as_ref().is_some_and(|(by, _)| *by == who) {
                    self.open = None;
                }
                self.tell(OfficeEvent::Forgotten(name, Box::new(forgotten)));
                Ok(Changed::Gone(vec![who]))
            }
            _ => Ok(Changed::Nothing),
        }
    }

    fn change(&mut self, book: &mut Logbook, who: Uuid, change: PersonChange, now: Timestamp) -> Result<(), Fail> {
        let s = book.student(who)?;
        let language = s.language.as_deref();
        match change {
            PersonChange::Name(name) => {
                if let Some(there) = book.looks_like(&name, Some(who))? {
                    let other = there.name;
                    return Err(LogbookError::LooksLike { name, other }.into());
                }
                book.change_student(who, &name, language, s.role.as_deref(), now)?;
            }
            PersonChange::Instructor(instructs) => {
                let role = instructs.then_some(INSTRUCTOR);
                book.change_student(who, &s.name, language, role, now)?;
            }
            PersonChange::Guardian(needed) => {
                book.set_needs_guardian(who, needed, now)?;
            }
            PersonChange::Pin { old, new } => {
                if s.has_pin && !book.check_pin(who, &old, now)? {
                    return Err(LogbookError::WrongPin { who: s.name }.into());
                }
                book.set_pin(who, new.as_deref(), now)?;
                // Who sets a PIN of their own goes on with it.
                let own = self.open.as_ref().is_none_or(|(by, _)| *by == who);
                if own && s.is_instructor() {
                    self.open = new.map(|pin| (who, pin));
                }
            }
            // Before anybody gave a PIN, see `Office::done`.
            PersonChange::PinForgotten => {}
        }
        Ok(())
    }
}
