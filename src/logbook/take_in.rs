//! Attempts that come from another computer with their recordings: a student's results, taken back.

use std::collections::BTreeSet;

use jiff::Timestamp;
use uuid::Uuid;

use super::error::file;
use super::open::make_private_folder;
use super::recordings::remove_if_there;
use super::rows::Id;
use super::{Logbook, NewAttempt, RecordingName, Result, StoredAttempt, attempts, joined};

/// What became of an attempt that was to be taken in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TakenIn {
    /// Stored, with its recording where there was one.
    Stored,
    /// Stored without its recording: the student has not consented here.
    WithoutRecording,
    /// It was here already; nothing was changed.
    WasHere,
    /// It was here and was removed for good; it does not come back.
    WasRemoved,
    /// Its turn was practised on another computer too, and the attempts from there are here: a call that was dealt once
    /// counts once. Nothing was changed.
    DoneElsewhere,
}

impl Logbook {
    /// Stores an attempt that was made elsewhere, once, also if several programs take in the same at the same time. Its
    /// recording is kept only with the student's consent in this logbook. `own` are the ids of all attempts that came with
    /// it. When this returns, both are on the disk.
    pub fn take_in(
        &mut self,
        attempt: &NewAttempt,
        recording: Option<&[u8]>,
        own: &BTreeSet<Uuid>,
        now: Timestamp,
    ) -> Result<TakenIn> {
        let doing = "take an attempt in";
        let mut attempt = attempt.clone();
        attempt.recording = None;
        attempt.student = joined::stands_for(self, attempt.student)?;
        attempts::check(&attempt)?;
        // Looked at, stored and put in place under one lock: another program sees all of it or nothing.
        let transaction = self.write_and_read(doing)?;
        if self.attempt(attempt.id)?.is_some() {
            return Ok(TakenIn::WasHere);
        }
        if self.is_forgotten(attempt.id)? {
            return Ok(TakenIn::WasRemoved);
        }
        if self.ids_of_turn(attempt.turn)?.iter().any(|id| !own.contains(&id.0)) {
            return Ok(TakenIn::DoneElsewhere);
        }
        let kept = recording
            .zip(attempt.student)
            .filter(|_| self.recording_allowed(attempt.student).unwrap_or(false))
            .map(|(bytes, student)| (bytes, RecordingName::new(student, attempt.id)));
        attempt.recording = kept.map(|(_, name)| name);
        if let Err(e) = attempts::insert(&transaction, &attempt, now) {
            drop(transaction);
            return Err(self.refused(&attempt, doing, e));
        }
        if let Some((bytes, name)) = kept {
            self.put_in_place(bytes, name)?;
        }
        if let Err(e) = transaction.commit() {
            if let Some((_, name)) = kept {
                self.take_back(name);
            }
            return Err(self.sorted(doing)(e));
        }
        Ok(match (recording, kept) {
            (Some(_), None) => TakenIn::WithoutRecording,
            _ => TakenIn::Stored,
        })
    }

    fn put_in_place(&self, bytes: &[u8], name: RecordingName) -> Result<()> {
        use std::io::Write;
        make_private_folder(&self.recordings).map_err(file("make the recordings folder", &self.recordings))?;
        name.copy_beside(&self.recordings)
            .and_then(|mut copy| copy.write_all(bytes).and_then(|()| copy.replace()))
            .map_err(file("keep a recording", &name.path(&self.recordings)))
    }

    /// Removes a recording whose attempt could not be stored, unless another program has stored it meanwhile. Where that
    /// cannot be known now, it stays as a left-over, which the next start finds.
    fn take_back(&self, name: RecordingName) {
        if let Ok(_lock) = self.write_and_read("look for a recording's attempt")
            && let Ok(false) = self.has_attempt_with(&name)
        {
            let _ = remove_if_there(&name.path(&self.recordings));
        }
    }

    /// The attempts of one turn, first one first.
    pub fn attempts_of_turn(&self, turn: Uuid) -> Result<Vec<StoredAttempt>> {
        let mut all = Vec::new();
        for id in self.ids_of_turn(turn)? {
            all.extend(self.attempt(id.0)?);
        }
        Ok(all)
    }

    fn ids_of_turn(&self, turn: Uuid) -> Result<Vec<Id>> {
        let read = || -> rusqlite::Result<Vec<Id>> {
            let mut statement = self
                .connection
                .prepare_cached("SELECT id FROM attempt WHERE turn_id = ?1 ORDER BY turn_attempt, number")?;
            statement.query_map([Id(turn)], |r| r.get(0))?.collect()
        };
        read().map_err(self.sorted("read a turn"))
    }
}
