//! The calls an instructor has judged, with their recordings, as labelled calls: one object a line in `manifest.jsonl`, as
//! `cableside evaluate` reads it.
//!
//! A label is the verdict that counts: the instructor's where there is one, else the program's own, which the instructor
//! let stand. Calls with an element that is still unsure have no label and are left out. Names do not appear: a voice is
//! "voice" and a number.

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::{Value, json};
use uuid::Uuid;

use super::error::file;
use super::open::{make_new_private_folder, make_private_folder};
use super::rows::Id;
use super::{Logbook, LogbookError, Result, StoredAttempt, Verdict};
use crate::files;

/// What was written, and what was left out.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Labelled {
    /// Calls written.
    pub written: usize,
    /// Left out: an element is unsure.
    pub undecided: usize,
    /// Left out: no recording is kept, or its file is not there.
    pub without_recording: usize,
}

impl Logbook {
    /// Writes the judged calls of consenting students into a new folder.
    pub fn export_labelled(&self, folder: &Path) -> Result<Labelled> {
        make_private_folder(files::folder_of(folder)).map_err(file("make the folder", folder))?;
        match make_new_private_folder(folder) {
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {
                return Err(LogbookError::Invalid {
                    why: format!("this exists already; choose another name: {}", folder.display()),
                });
            }
            made => made.map_err(file("make the folder", folder))?,
        }
        let clips = folder.join("clips");
        make_private_folder(&clips).map_err(file("make the folder", &clips))?;
        let mut done = Labelled::default();
        let mut voices: BTreeMap<Uuid, usize> = BTreeMap::new();
        let mut manifest = String::new();
        for id in self.judged_calls()? {
            let Some(stored) = self.attempt(id)? else { continue };
            let (Some(student), Some(name)) = (stored.attempt.student, stored.attempt.recording) else {
                done.without_recording += 1;
                continue;
            };
            let source = name.path(&self.recordings);
            if !source.is_file() || !self.recording_allowed(Some(student))? {
                done.without_recording += 1;
                continue;
            }
            let number = voices.len() + 1;
            let voice = *voices.entry(student).or_insert(number);
            let audio = format!("clips/{:04}.wav", done.written + 1);
            let Some(line) = line(&stored, &audio, voice) else {
                done.undecided += 1;
                continue;
            };
            let target = folder.join(&audio);
            std::fs::copy(&source, &target).map_err(file("copy a recording", &target))?;
            manifest.push_str(&line.to_string());
            manifest.push('\n');
            done.written += 1;
        }
        let target = folder.join("manifest.jsonl");
        std::fs::write(&target, manifest).map_err(file("write the manifest", &target))?;
        Ok(done)
    }

    /// Calls with a judgement, oldest first.
    fn judged_calls(&self) -> Result<Vec<Uuid>> {
        let read = || -> rusqlite::Result<Vec<Uuid>> {
            let mut statement = self.connection.prepare(
                "SELECT id FROM attempt WHERE kind = 'call' AND held_out = 0 AND id IN (SELECT attempt_id FROM overrule)
                 ORDER BY started_at, id",
            )?;
            self.readable("attempt", statement.query([])?, |r| r.get::<_, Id>(0).map(|id| id.0))
        };
        read().map_err(self.sorted("look for judged calls"))
    }
}

fn line(stored: &StoredAttempt, audio: &str, voice: usize) -> Option<Value> {
    let a = &stored.attempt;
    let mut truth = BTreeMap::new();
    let mut spoken = BTreeMap::new();
    for e in &a.elements {
        let counted = e.counted();
        if counted == Verdict::Unsure {
            return None;
        }
        truth.insert(e.element.clone(), counted);
        // What was said where the program heard it right; where it was overruled only the dealt value can be known.
        let dealt = a.situation.get(&e.element).cloned();
        let value = match counted {
            Verdict::Missing => Some(Value::Null),
            Verdict::Said => dealt,
            _ if e.overrule.is_none() => e.heard.clone().map(Value::String),
            _ => None,
        };
        if let Some(value) = value.filter(|_| ["callsign", "crew", "cable"].contains(&e.element.as_str())) {
            spoken.insert(e.element.clone(), value);
        }
    }
    (!truth.is_empty()).then(|| {
        json!({
            "audio": audio, "site": a.site, "step": a.step, "situation": a.situation, "truth": truth, "spoken": spoken,
            "words": "", "voice": format!("voice {voice}"), "condition": "practice",
        })
    })
}
