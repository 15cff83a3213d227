//! Reading a results file with distrust: the seal first, then every entry against the list, then every attempt against the
//! practice. No name in the archive is ever used as a path.

use super::key::{Key, Secret, digest, from_hex, hex};
use super::practice::Practice;
use super::results::{About, COMMENT, Entry, FORM, LARGEST, LARGEST_RECORDING, LIST, MOST_ATTEMPTS, Results, name_of};
use crate::logbook::{Kind, LEVEL, NewAttempt, Part};
use std::collections::{BTreeMap, HashMap, HashSet};
use std::io::{Cursor, Read};
use uuid::Uuid;
use zip::ZipArchive;

/// Bytes of one JSON entry at most.
const LARGEST_JSON: u64 = 4_000_000;

/// Bytes of a results file at most: a little more than its contents.
pub const LARGEST_FILE: u64 = LARGEST + 50_000_000;

/// Why a results file is not taken.
#[derive(Debug, PartialEq, Eq, thiserror::Error)]
pub enum ResultsError {
    /// Something else, or the end is missing.
    #[error(
        "this is no results file, or its end is missing ({0}); ask the student to hand in again and send the file as it is"
    )]
    NotResults(String),
    /// The seal does not fit.
    #[error(
        "this results file was changed after it was sealed, and nothing was taken from it. Changed: {}. Ask the student for \
         the file as the program made it",
        .0.join("; ")
    )]
    Changed(Vec<String>),
    /// Sealed with another key.
    #[error(
        "this results file belongs to no practice that was handed out from this computer, or somebody sealed it anew; nothing \
         was taken from it. Results come back to the computer (and the data folder) that handed the practice out"
    )]
    NotOurs,
    /// The seal fits, but the contents cannot be what the program makes.
    #[error(
        "this results file is sealed with the student's key but is not what the program makes ({0}); nothing was taken from it"
    )]
    Refused(String),
}

/// Check and read a results file. Nothing is given out unless all of it is right.
pub fn unpack(file: &[u8], secret: &Secret) -> Result<Results, ResultsError> {
    if file.len() as u64 > LARGEST_FILE {
        return Err(ResultsError::NotResults(format!("it has {} bytes", file.len())));
    }
    let (claimed, code) =
        comment(file).ok_or_else(|| ResultsError::NotResults("there is no seal at its end".to_owned()))?;
    let key = secret.key(&claimed);
    if !key.fits(&[&file[..file.len() - 64]], &code) {
        return Err(changed(file, &claimed, secret));
    }
    let entries = entries(file).map_err(ResultsError::Refused)?;
    let odd = against_list(&entries, &key);
    if !odd.is_empty() {
        return Err(ResultsError::Refused(odd.join("; ")));
    }
    read(&entries, &claimed).map_err(ResultsError::Refused)
}

/// Does a file end as results do? Whether they are is for [`unpack`] to say.
pub fn ends_like_results(file: &[u8]) -> bool {
    comment(file).is_some()
}

/// The digest of the practice and the code, from the archive's comment at the file's end.
fn comment(file: &[u8]) -> Option<([u8; 32], [u8; 32])> {
    let at = file.len().checked_sub(COMMENT.len() + 129)?;
    let text = std::str::from_utf8(&file[at..]).ok()?.strip_prefix(COMMENT)?;
    let (digest, code) = text.split_once(' ')?;
    Some((from_hex(digest)?, from_hex(code)?))
}

/// Every entry by name. Refuses what is no file of ours, what is there twice, and what is larger than it may be, whatever
/// its header says.
fn entries(file: &[u8]) -> Result<BTreeMap<String, Vec<u8>>, String> {
    let mut zip = ZipArchive::new(Cursor::new(file)).map_err(|e| format!("the archive cannot be read: {e}"))?;
    if zip.len() > 2 * MOST_ATTEMPTS + 4 {
        return Err(format!("it has {} entries", zip.len()));
    }
    let (mut all, mut left) = (BTreeMap::new(), LARGEST);
    for i in 0..zip.len() {
        let entry = zip
            .by_index(i)
            .map_err(|e| format!("entry {} cannot be read: {e}", i + 1))?;
        let name = entry
            .name()
            .map_err(|e| format!("entry {} has no readable name: {e}", i + 1))?;
        let name = name.into_owned();
        let Some(most) = known(&name) else {
            return Err(format!("{name:?} does not belong in it"));
        };
        if !entry.is_file() {
            return Err(format!("{name} is no file"));
        }
        let most = most.min(left);
        let mut bytes = Vec::new();
        entry
            .take(most + 1)
            .read_to_end(&mut bytes)
            .map_err(|e| format!("{} cannot be read: {e}", told(&name)))?;
        let size = bytes.len() as u64;
        if size > most {
            return Err(format!("{} is larger than it may be", told(&name)));
        }
        left -= size;
        if all.insert(name.clone(), bytes).is_some() {
            return Err(format!("{name} is in it twice"));
        }
    }
    Ok(all)
}

/// How large an entry of this name may be; `None` for a name the program does not write.
fn known(name: &str) -> Option<u64> {
    let number = |text: &str| text.len() == 4 && text.bytes().all(|b| b.is_ascii_digit());
    match name {
        "about.json" | "practice.json" | "list.json" | "list.code" => Some(LARGEST_JSON),
        _ => {
            if let Some(rest) = name.strip_prefix("attempts/") {
                number(rest.strip_suffix(".json")?).then_some(LARGEST_JSON)
            } else {
                number(name.strip_prefix("recordings/")?.strip_suffix(".wav")?).then_some(LARGEST_RECORDING)
            }
        }
    }
}

/// An entry in words.
fn told(name: &str) -> String {
    let number = |part: &str, end: &str| {
        let digits = name.strip_prefix(part)?.strip_suffix(end)?;
        Some(digits.trim_start_matches('0').to_owned())
    };
    if let Some(n) = number("attempts/", ".json") {
        return format!("attempt {n}");
    }
    if let Some(n) = number("recordings/", ".wav") {
        return format!("the recording of attempt {n}");
    }
    match name {
        "practice.json" => "the practice".to_owned(),
        "about.json" => "when and with what it was sealed".to_owned(),
        "list.json" | "list.code" => "the list of contents".to_owned(),
        other => format!("{other:?}"),
    }
}

/// What does not agree with the list, in words; empty when all does.
fn against_list(entries: &BTreeMap<String, Vec<u8>>, key: &Key) -> Vec<String> {
    let list = entries.get("list.json");
    let code = entries
        .get("list.code")
        .and_then(|c| from_hex(std::str::from_utf8(c).ok()?));
    let (Some(list), Some(code)) = (list, code) else {
        return vec![told("list.json")];
    };
    if !key.fits(&[LIST, list], &code) {
        return vec![told("list.json")];
    }
    let Ok(list) = serde_json::from_slice::<Vec<Entry>>(list) else {
        return vec![told("list.json")];
    };
    let mut odd = Vec::new();
    for entry in &list {
        match entries.get(&entry.name) {
            None => odd.push(format!("{} is missing", told(&entry.name))),
            Some(bytes) if hex(&digest(bytes)) != entry.sha256 || bytes.len() as u64 != entry.bytes => {
                odd.push(told(&entry.name));
            }
            Some(_) => {}
        }
    }
    let listed: HashSet<&str> = list.iter().map(|e| e.name.as_str()).collect();
    let added = entries
        .keys()
        .filter(|n| !listed.contains(n.as_str()) && !n.starts_with("list."));
    odd.extend(added.map(|n| format!("{} was added", told(n))));
    odd
}

/// The seal does not fit: say what was changed, as far as that can be known.
fn changed(file: &[u8], claimed: &[u8; 32], secret: &Secret) -> ResultsError {
    let entries = match entries(file) {
        Ok(entries) => entries,
        Err(why) => return ResultsError::Changed(vec![why]),
    };
    // The digest in the seal may be what was changed: the practice's own is tried too.
    let inside = entries.get("practice.json").map(|p| digest(p));
    let mut odd = against_list(&entries, &secret.key(claimed));
    if odd == [told("list.json")] {
        let other = inside.map_or_else(|| odd.clone(), |d| against_list(&entries, &secret.key(&d)));
        if other != odd {
            odd = other;
            odd.push("the seal".to_owned());
        } else if inside != Some(*claimed) {
            odd.insert(0, told("practice.json"));
        } else if list_fits_itself(&entries) {
            // Nothing contradicts anything but the key.
            return ResultsError::NotOurs;
        }
    }
    if odd.is_empty() {
        odd.push("the archive around the contents".to_owned());
    }
    ResultsError::Changed(odd)
}

/// Does everything agree with the list, whoever made its code?
fn list_fits_itself(entries: &BTreeMap<String, Vec<u8>>) -> bool {
    let list: Option<Vec<Entry>> = entries.get("list.json").and_then(|l| serde_json::from_slice(l).ok());
    list.is_some_and(|list| {
        list.len() + 2 == entries.len()
            && list
                .iter()
                .all(|e| entries.get(&e.name).is_some_and(|b| hex(&digest(b)) == e.sha256))
    })
}

fn read(entries: &BTreeMap<String, Vec<u8>>, claimed: &[u8; 32]) -> Result<Results, String> {
    let of = |name: &str| entries.get(name).ok_or_else(|| format!("{} is missing", told(name)));
    let about: About = serde_json::from_slice(of("about.json")?).map_err(|e| format!("about.json: {e}"))?;
    if about.form != FORM || about.version != 1 {
        return Err(format!("its form is \"{}\" {}", about.form, about.version));
    }
    let written = of("practice.json")?;
    let practice: Practice = serde_json::from_slice(written).map_err(|e| format!("the practice: {e}"))?;
    if digest(written) != *claimed || practice.bytes() != *written {
        return Err("it holds another practice than the one it was sealed for".to_owned());
    }
    let turns: HashMap<Uuid, usize> = (0..practice.calls.len()).map(|i| (practice.turn(i), i)).collect();
    let mut attempts: Vec<NewAttempt> = Vec::new();
    let mut recordings = BTreeMap::new();
    let mut seen = HashSet::new();
    for number in 1..=MOST_ATTEMPTS {
        let Some(bytes) = entries.get(&name_of(number, false)) else {
            break;
        };
        let attempt: NewAttempt = serde_json::from_slice(bytes).map_err(|e| format!("attempt {number}: {e}"))?;
        if let Some(field) = unknown_field(bytes, &attempt) {
            return Err(format!("attempt {number} has a field {field:?}, which no attempt has"));
        }
        fits(&attempt, &practice, &turns).map_err(|why| format!("attempt {number} {why}"))?;
        if !seen.insert(attempt.id) {
            return Err(format!("attempt {number} is in it twice"));
        }
        if let Some(wav) = entries.get(&name_of(number, true)) {
            if !(wav.len() > 44 && wav.starts_with(b"RIFF") && wav[8..].starts_with(b"WAVE")) {
                return Err(format!("the recording of attempt {number} is no sound file"));
            }
            recordings.insert(attempt.id, wav.clone());
        }
        attempts.push(attempt);
    }
    if entries.len() != attempts.len() + recordings.len() + 4 {
        return Err("attempts are missing between others".to_owned());
    }
    Ok(Results {
        practice,
        sealed_at: about.sealed_at,
        program: about.program,
        attempts,
        recordings,
    })
}

/// A field that an attempt does not have.
fn unknown_field(bytes: &[u8], attempt: &NewAttempt) -> Option<String> {
    let given: serde_json::Map<String, serde_json::Value> = serde_json::from_slice(bytes).ok()?;
    let known = serde_json::to_value(attempt).ok()?;
    given
        .into_iter()
        .map(|(name, _)| name)
        .find(|name| known.get(name).is_none())
}

/// Is it an attempt at one of the practice's calls?
fn fits(attempt: &NewAttempt, practice: &Practice, turns: &HashMap<Uuid, usize>) -> Result<(), &'static str> {
    let call = turns.get(&attempt.turn).and_then(|i| practice.calls.get(*i));
    let Some(call) = call else {
        return Err("belongs to no call of the practice");
    };
    let dealt = serde_json::to_value(&call.situation).ok();
    // The level it was practised at is kept beside what was dealt.
    let mut situation = attempt.situation.clone();
    if let Some(values) = situation.as_object_mut() {
        values.remove(LEVEL);
    }
    if attempt.step != call.step || Some(&situation) != dealt.as_ref() {
        return Err("is of another call than was dealt");
    }
    if attempt.site != practice.site || attempt.site_version != practice.site_version {
        return Err("was made at another site");
    }
    if attempt.student != Some(practice.student) {
        return Err("belongs to another student");
    }
    // A call, or a stop or "not ready" in the place of one.
    let call = Part::default();
    let stopped = Part {
        kind: Kind::Hazard,
        ..Part::default()
    };
    if attempt.part != call && attempt.part != stopped {
        return Err("is no single call");
    }
    if attempt.recording.is_some() {
        return Err("names a file");
    }
    if attempt.elements.iter().any(|e| e.overrule.is_some()) {
        return Err("holds a judgement by an instructor, which only the class's computer may add");
    }
    Ok(())
}
