//! A results file: what one student practised, sealed. A ZIP archive:
//!
//! | entry | holds |
//! |---|---|
//! | `about.json` | form, version, program, when it was sealed |
//! | `practice.json` | the practice, byte for byte as it was handed out |
//! | `attempts/0001.json` ... | each attempt as the logbook has it |
//! | `recordings/0001.wav` ... | the recordings of some of them, under the attempt's number |
//! | `list.json` | name, size and SHA-256 of every entry above |
//! | `list.code` | the list's code |
//!
//! The archive's comment holds the practice's digest and, last, the code of every byte before it.

use super::key::{Key, digest, hex};
use super::practice::Practice;
use crate::logbook::NewAttempt;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::io::{Cursor, Write};
use uuid::Uuid;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

/// Attempts in a results file at most.
pub(super) const MOST_ATTEMPTS: usize = 5000;
/// Bytes of one recording at most: a call of a minute takes 3 MB.
pub(super) const LARGEST_RECORDING: u64 = 20_000_000;
/// Bytes of all contents at most.
pub(super) const LARGEST: u64 = 600_000_000;
pub(super) const FORM: &str = "cableside results";
/// How the archive's comment begins; then digest, a space, code.
pub(super) const COMMENT: &str = "cableside results 1 ";
/// In front of the list when its code is made.
pub(super) const LIST: &[u8] = b"cableside list 1\n";

/// What one student practised.
#[derive(Debug, Clone, PartialEq)]
pub struct Results {
    /// What was handed out.
    pub practice: Practice,
    /// When it was sealed, by the student's computer.
    pub sealed_at: Timestamp,
    /// The program there.
    pub program: String,
    /// Every attempt, oldest first; each belongs to the student of the practice and names no recording.
    pub attempts: Vec<NewAttempt>,
    /// Recordings by attempt: WAV files.
    pub recordings: BTreeMap<Uuid, Vec<u8>>,
}

#[derive(Debug, Serialize, Deserialize)]
pub(super) struct About {
    pub form: String,
    pub version: u32,
    pub program: String,
    pub sealed_at: Timestamp,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Entry {
    pub name: String,
    pub bytes: u64,
    pub sha256: String,
}

/// Why results cannot be sealed.
#[derive(Debug, thiserror::Error)]
pub enum SealError {
    /// More than a results file holds.
    #[error("these are more attempts or recordings than one results file holds ({0})")]
    TooMuch(String),
    /// Writing the archive failed.
    #[error("the results file could not be made: {0}")]
    Archive(#[from] zip::result::ZipError),
    /// Writing the archive failed.
    #[error("the results file could not be made: {0}")]
    Io(#[from] std::io::Error),
    /// Writing an entry failed.
    #[error("the results file could not be made: {0}")]
    Json(#[from] serde_json::Error),
}

impl Results {
    /// The sealed file.
    pub fn seal(&self, key: &Key) -> Result<Vec<u8>, SealError> {
        let contents = self.contents()?;
        let list: Vec<Entry> = contents
            .iter()
            .map(|(name, bytes)| Entry {
                name: name.clone(),
                bytes: bytes.len() as u64,
                sha256: hex(&digest(bytes)),
            })
            .collect();
        let list = serde_json::to_vec(&list)?;
        let list_code = hex(&key.code(&[LIST, &list]));

        let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
        let ends = [
            ("list.json".to_owned(), list),
            ("list.code".to_owned(), list_code.into_bytes()),
        ];
        for (name, bytes) in contents.iter().chain(&ends) {
            // Sound is not made smaller by this, and no time of day gets into the file.
            let method = if name.starts_with("recordings/") {
                CompressionMethod::Stored
            } else {
                CompressionMethod::Deflated
            };
            let options = SimpleFileOptions::default()
                .compression_method(method)
                .last_modified_time(zip::DateTime::default())
                .system(zip::System::Unix);
            zip.start_file(name.as_str(), options)?;
            zip.write_all(bytes)?;
        }
        let empty = "0".repeat(64);
        let comment = format!("{COMMENT}{} {empty}", hex(&self.practice.digest()));
        zip.set_raw_comment(comment.into_bytes().into())?;
        let mut file = zip.finish()?.into_inner();
        let sealed = file.len() - empty.len();
        let code = hex(&key.code(&[&file[..sealed]]));
        file.truncate(sealed);
        file.extend_from_slice(code.as_bytes());
        Ok(file)
    }

    fn contents(&self) -> Result<Vec<(String, Vec<u8>)>, SealError> {
        if self.attempts.len() > MOST_ATTEMPTS {
            return Err(SealError::TooMuch(format!("{} attempts", self.attempts.len())));
        }
        let about = About {
            form: FORM.to_owned(),
            version: 1,
            program: self.program.clone(),
            sealed_at: self.sealed_at,
        };
        let mut contents = vec![
            ("about.json".to_owned(), serde_json::to_vec(&about)?),
            ("practice.json".to_owned(), self.practice.bytes()),
        ];
        for (number, attempt) in (1..).zip(&self.attempts) {
            let mut attempt = attempt.clone();
            attempt.student = Some(self.practice.student);
            attempt.recording = None;
            contents.push((name_of(number, false), serde_json::to_vec(&attempt)?));
            if let Some(wav) = self.recordings.get(&attempt.id) {
                if wav.len() as u64 > LARGEST_RECORDING {
                    return Err(SealError::TooMuch(format!("a recording of {} bytes", wav.len())));
                }
                contents.push((name_of(number, true), wav.clone()));
            }
        }
        let size: u64 = contents.iter().map(|c| c.1.len() as u64).sum();
        if size > LARGEST {
            return Err(SealError::TooMuch(format!("{size} bytes")));
        }
        Ok(contents)
    }
}

/// The name of an attempt's entry, by number from 1.
pub(super) fn name_of(number: usize, recording: bool) -> String {
    if recording {
        format!("recordings/{number:04}.wav")
    } else {
        format!("attempts/{number:04}.json")
    }
}
