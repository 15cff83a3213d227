//! Practice handed out, results taken in.

use super::fails::Fail;
use super::{Batch, HandedOut, Here, Office, OfficeEvent, Sheet, day, home, own_files, phrases};
use crate::class::{LARGEST_FILE, ends_like_results};
use crate::folders;
use crate::logbook::Logbook;
use crate::worker::home::HandingOut;
use crate::worker::told::Told;
use jiff::Timestamp;
use std::path::{Path, PathBuf};

/// Does a file end as results do, or is it called so? Practice and sites lie in such a folder too, and are passed over;
/// what has lost its end is named.
pub(super) fn may_be_results(file: &Path) -> bool {
    let called = file
        .file_stem()
        .is_some_and(|s| s.to_string_lossy().ends_with(".results"));
    called || folders::read_outside(file, LARGEST_FILE).is_ok_and(|bytes| ends_like_results(&bytes))
}

/// What is in the files.
pub(super) fn look_in(book: &Logbook, places: &[PathBuf], secret: &Path) -> Batch {
    let sheets = own_files(places).into_iter().map(|file| {
        let inside = home::read_results(&file, secret).and_then(|results| {
            let name = home::whose(book, &results)?;
            Ok((
                name,
                results.attempts.len(),
                results.recordings.len(),
                home::sealed(&results),
            ))
        });
        Sheet {
            inside: inside.map_err(|e| e.told()),
            taken: None,
            file,
        }
    });
    Batch {
        sheets: sheets.collect(),
        left: 0,
    }
}

impl Office {
    pub(super) fn hand_out(&self, wanted: &HandingOut, here: &Here, secret: &Path, now: Timestamp) -> Result<(), Fail> {
        if wanted.members.is_empty() {
            return Err(Fail::Nobody);
        }
        let (site, texts) = phrases(here)?;
        let secret = home::make_secret(secret)?;
        let (of, mut n) = (wanted.members.len(), 0);
        let before = home::practices_in(&wanted.folder);
        let files = home::hand_out(&site, texts, &secret, wanted, day(now), &mut |_, _| {
            n += 1;
            self.goes_on(n, of)
        });
        let files = files?;
        self.tell(OfficeEvent::HandedOut(HandedOut {
            folder: wanted.folder.clone(),
            files: files.len(),
            of,
            before,
        }));
        Ok(())
    }

    pub(super) fn take_in(&self, book: &mut Logbook, files: &[PathBuf], secret: &Path, now: Timestamp) -> Batch {
        let mut batch = Batch::default();
        for (n, file) in files.iter().enumerate() {
            if !self.goes_on(n, files.len()) {
                batch.left = files.len() - n;
                break;
            }
            // Read anew: what lies there may be another file by now.
            let mut looked = look_in(book, std::slice::from_ref(file), secret);
            let Some(mut sheet) = looked.sheets.pop() else { continue };
            if sheet.inside.is_ok() {
                let taken = home::read_results(file, secret).and_then(|results| home::take(book, &results, now));
                match taken {
                    Ok(taken) => sheet.taken = Some(taken),
                    Err(e) => sheet.inside = Err(e.told()),
                }
            }
            batch.sheets.push(sheet);
        }
        batch
    }
}
