//! Attempts that come from another computer with their recordings: a student's results, taken back.

use jiff::Timestamp;
use uuid::Uuid;

use super::error::file;
use super::open::make_private_folder;
use super::recordings::remove_if_there;
use super::{Logbook, LogbookError, NewAttempt, RecordingName, Result, StoredAttempt};

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
}

impl Logbook {
    /// Stores an attempt that was made elsewhere, once. Its recording is kept only with the student's consent in this
    /// logbook. When this returns, both are on the disk.
    pub fn take_in(&mut self, attempt: &NewAttempt, recording: Option<&[u8]>, now: Timestamp) -> Result<TakenIn> {
        if self.attempt(attempt.id)?.is_some() {
            return Ok(TakenIn::WasHere);
        }
        if self.is_forgotten(attempt.id)? {
            return Ok(TakenIn::WasRemoved);
        }
        let mut attempt = attempt.clone();
        attempt.recording = None;
        let wanted = recording.zip(attempt.student);
        let Some((bytes, student)) = wanted.filter(|_| self.recording_allowed(attempt.student).unwrap_or(false)) else {
            self.record(&attempt, now)?;
            return Ok(if recording.is_some() {
                TakenIn::WithoutRecording
            } else {
                TakenIn::Stored
            });
        };
        let name = RecordingName::new(student, attempt.id);
        let (unfinished, whole) = (name.unfinished_path(&self.recordings), name.path(&self.recordings));
        make_private_folder(&self.recordings).map_err(file("make the recordings folder", &self.recordings))?;
        let write = || -> std::io::Result<()> {
            use std::io::Write;
            let mut out = std::fs::File::create(&unfinished)?;
            out.write_all(bytes)?;
            out.sync_all()?;
            std::fs::rename(&unfinished, &whole)
        };
        if let Err(e) = write() {
            let _ = remove_if_there(&unfinished);
            return Err(file("keep a recording", &whole)(e));
        }
        attempt.recording = Some(name);
        match self.record(&attempt, now) {
            Ok(()) => Ok(TakenIn::Stored),
            Err(e) => {
                remove_if_there(&whole)?;
                if !matches!(e, LogbookError::NoConsent { .. }) {
                    return Err(e);
                }
                attempt.recording = None;
                self.record(&attempt, now)?;
                Ok(TakenIn::WithoutRecording)
            }
        }
    }

    /// The attempts of one turn, first one first.
    pub fn attempts_of_turn(&self, turn: Uuid) -> Result<Vec<StoredAttempt>> {
        use super::rows::Id;
        let read = || -> rusqlite::Result<Vec<Id>> {
            let mut statement = self
                .connection
                .prepare_cached("SELECT id FROM attempt WHERE turn_id = ?1 ORDER BY turn_attempt, number")?;
            statement.query_map([Id(turn)], |r| r.get(0))?.collect()
        };
        let ids = read().map_err(self.sorted("read a turn"))?;
        let mut all = Vec::new();
        for id in ids {
            all.extend(self.attempt(id.0)?);
        }
        Ok(all)
    }
}
