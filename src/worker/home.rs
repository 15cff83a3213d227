//! Files that go from one computer to another: a site, practice for home, its results. What a file is, its contents say and
//! not its name. Terminal and window do here what both do.

mod error;

pub use error::HomeError;

pub use super::message::home::{HandedIn, HandingOut, HomeCommand, HomeEvent, LookedResults, OpenedPractice, Taken};

use super::told::Told;
use crate::class::{HandOut, LARGEST_FILE, LARGEST_SITE, Practice, Results, Secret, ends_like_results, unpack};
use crate::drill;
use crate::files::{self, Access};
use crate::folders::{self, SiteError, content::Content};
use crate::logbook::{Logbook, LogbookError, TakenIn};
use crate::site::Site;
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use uuid::Uuid;

/// How the names of these files end, whatever is in them: the program opens them by a double click.
pub const ENDING: &str = "cableside";

/// Reads a practice.
pub fn read_practice(file: &Path) -> Result<HandOut, HomeError> {
    let bytes = folders::read_outside(file, LARGEST_FILE).map_err(HomeError::file("read the practice", file))?;
    HandOut::parse(&bytes).map_err(|e| HomeError::Practice {
        source: e,
        path: file.to_path_buf(),
    })
}

/// Writes a practice file for each student. `phrases` is the site's texts, which are given along. `each` is told of every
/// file, and says whether to go on. Gives the files written.
pub fn hand_out(
    site: &Site,
    phrases: BTreeMap<String, String>,
    secret: &Secret,
    wanted: &HandingOut,
    date: Date,
    each: &mut dyn FnMut(&str, &Path) -> bool,
) -> Result<Vec<PathBuf>, HomeError> {
    std::fs::create_dir_all(&wanted.folder).map_err(HomeError::file("make the folder", &wanted.folder))?;
    let mut practice = Practice {
        id: Uuid::nil(),
        class: wanted.class.clone(),
        student: Uuid::nil(),
        name: String::new(),
        site: site.id.clone(),
        site_version: site.version.clone(),
        date,
        seed: 0,
        steps: wanted.steps.clone(),
        calls: Vec::new(),
        phrases,
    };
    let mut files = Vec::new();
    for (student, name) in &wanted.members {
        practice.id = Uuid::new_v4();
        practice.student = *student;
        practice.name.clone_from(name);
        // The low half of a random identifier is random in every bit but two of the highest.
        practice.seed = wanted.seed.unwrap_or_else(|| Uuid::new_v4().as_u64_pair().1);
        let mut random = drill::deal::random(practice.seed);
        practice.calls = Practice::deal(site, &wanted.steps, wanted.calls, &mut random)?;
        let file = wanted.folder.join(file_name(name, practice.id));
        let bytes = HandOut::new(practice.clone(), secret).bytes();
        files::make(&file, Access::Ordinary, &bytes).map_err(HomeError::file("write", &file))?;
        let on = each(name, &file);
        files.push(file);
        if !on {
            break;
        }
    }
    Ok(files)
}

/// The site's texts, to be given along. A site that is too large for that has to be passed on by itself.
pub fn texts(site: &Site, folder: Option<&Path>) -> Result<BTreeMap<String, String>, HomeError> {
    let texts = match folder {
        Some(folder) => folders::read_site(folder).texts,
        None => crate::site::bundled::files(&site.id).unwrap_or_default().texts,
    };
    let bytes: usize = texts.values().map(String::len).sum();
    if bytes <= LARGEST_SITE {
        return Ok(texts);
    }
    Err(HomeError::LargeSite {
        site: site.id.clone(),
        bytes,
    })
}

/// How many practice files are in a folder.
pub fn practices_in(folder: &Path) -> usize {
    let end = format!(".practice.{ENDING}");
    let names = std::fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok);
    names
        .filter(|e| e.file_name().to_string_lossy().ends_with(&end))
        .count()
}

/// A file name from a student's name: what every system allows, and never the same twice.
fn file_name(name: &str, id: Uuid) -> String {
    let safe: String = name
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { '-' })
        .take(40)
        .collect();
    format!("{safe}-{}.practice.{ENDING}", &id.to_string()[..8])
}

/// This computer's secret; made when there is none yet.
pub fn make_secret(path: &Path) -> Result<Secret, HomeError> {
    match read_secret(path)? {
        Some(secret) => Ok(secret),
        None => match new_secret(path)? {
            Some(secret) => Ok(secret),
            None => secret_for_results(path),
        },
    }
}

/// Four random identifiers hold 488 random bits from the system; their digest is the secret. `None` where there is one by
/// now.
fn new_secret(path: &Path) -> Result<Option<Secret>, HomeError> {
    use sha2::Digest as _;
    let mut hash = sha2::Sha256::new();
    for _ in 0..4 {
        hash.update(Uuid::new_v4().as_bytes());
    }
    let secret = Secret::new(hash.finalize().into());
    match files::make(path, Access::Private, format!("{}\n", secret.text()).as_bytes()) {
        Ok(()) => Ok(Some(secret)),
        // Another program was first; its secret is there, whole.
        Err(e) if e.kind() == ErrorKind::AlreadyExists => Ok(None),
        Err(e) => Err(HomeError::file("keep the class's secret", path)(e)),
    }
}

/// The calls without an attempt yet, by place.
pub fn open_calls(book: &Logbook, practice: &Practice) -> Result<Vec<usize>, LogbookError> {
    let mut open = Vec::new();
    for i in 0..practice.calls.len() {
        if book.attempts_of_turn(practice.turn(i))?.is_empty() {
            open.push(i);
        }
    }
    Ok(open)
}

/// The attempts at a practice as results, with how many recordings are not there any more.
pub fn results_of(
    book: &Logbook,
    practice: Practice,
    recordings: bool,
    now: Timestamp,
) -> Result<(Results, usize), LogbookError> {
    let (mut attempts, mut kept, mut lost) = (Vec::new(), BTreeMap::new(), 0);
    for i in 0..practice.calls.len() {
        for stored in book.attempts_of_turn(practice.turn(i))? {
            let mut attempt = stored.attempt;
            // A judgement is the class's own to make.
            for element in &mut attempt.elements {
                element.overrule = None;
            }
            let allowed = recordings && book.recording_allowed(attempt.student)?;
            if let Some(name) = attempt.recording.take().filter(|_| allowed) {
                match std::fs::read(name.path(book.recordings_folder())) {
                    Ok(wav) => drop(kept.insert(attempt.id, wav)),
                    Err(_) => lost += 1,
                }
            }
            attempts.push(attempt);
        }
    }
    let results = Results {
        practice,
        sealed_at: now,
        program: env!("CARGO_PKG_VERSION").to_owned(),
        attempts,
        recordings: kept,
    };
    Ok((results, lost))
}

/// The class's secret of this computer; `None` where nothing was handed out from it yet.
pub fn read_secret(path: &Path) -> Result<Option<Secret>, HomeError> {
    match folders::read_outside_text(path, 4096) {
        Ok(text) => Secret::parse(&text)
            .map(Some)
            .ok_or_else(|| HomeError::Secret(path.to_path_buf())),
        Err(e) if e.kind() == ErrorKind::NotFound => Ok(None),
        Err(e) => Err(HomeError::file("read the class's secret", path)(e)),
    }
}

/// As [`read_secret`], where results are to be checked.
pub fn secret_for_results(path: &Path) -> Result<Secret, HomeError> {
    read_secret(path)?.ok_or(HomeError::NothingHandedOut)
}

/// Takes results into the logbook.
pub fn take(book: &mut Logbook, results: &Results, now: Timestamp) -> Result<Taken, HomeError> {
    let mut taken = Taken::default();
    let own: BTreeSet<Uuid> = results.attempts.iter().map(|a| a.id).collect();
    for attempt in &results.attempts {
        let wav = results.recordings.get(&attempt.id).map(Vec::as_slice);
        let done = book.take_in(attempt, wav, &own, now).map_err(|e| {
            let before = taken.stored + taken.here + taken.gone + taken.twice;
            if before == 0 {
                HomeError::Logbook(e)
            } else {
                HomeError::Partly {
                    before,
                    all: results.attempts.len(),
                    source: Box::new(e),
                }
            }
        })?;
        match done {
            TakenIn::Stored => taken.stored += 1,
            TakenIn::WithoutRecording => {
                taken.stored += 1;
                taken.silent += 1;
            }
            TakenIn::WasHere => taken.here += 1,
            TakenIn::WasRemoved => taken.gone += 1,
            TakenIn::DoneElsewhere => taken.twice += 1,
        }
    }
    Ok(taken)
}

/// Is the student of the results in the logbook? Their name there.
pub fn whose(book: &Logbook, results: &Results) -> Result<String, HomeError> {
    let student = book
        .now_called(results.practice.student)
        .and_then(|id| book.student(id));
    student
        .map(|s| s.name)
        .map_err(|_| HomeError::NotHere(results.practice.name.clone()))
}

/// When results were sealed, for people.
pub fn sealed(results: &Results) -> String {
    results.sealed_at.strftime("%Y-%m-%d %H:%M UTC").to_string()
}

/// What the logbook's thread does about it. `secret` is the place of the class's secret.
pub(super) fn obey(book: &mut Logbook, command: HomeCommand, secret: &Path, now: Timestamp) -> HomeEvent {
    let done = match command {
        HomeCommand::Open(file) => open(book, file, secret),
        HomeCommand::UseSite(file) => use_site(&file, &folders::own_phrases()).map(HomeEvent::SiteReady),
        HomeCommand::HandIn { file, recordings } => hand_in(book, &file, recordings, now),
        HomeCommand::TakeIn(file) => read_results(&file, secret).and_then(|results| {
            whose(book, &results)?;
            take(book, &results, now).map(HomeEvent::TakenIn)
        }),
    };
    done.unwrap_or_else(|e| HomeEvent::Failed(e.told()))
}

pub(super) fn read_results(file: &Path, secret: &Path) -> Result<Results, HomeError> {
    let bytes = folders::read_outside(file, LARGEST_FILE).map_err(HomeError::file("read the file", file))?;
    Ok(unpack(&bytes, &secret_for_results(secret)?)?)
}

fn open(book: &Logbook, file: PathBuf, secret: &Path) -> Result<HomeEvent, HomeError> {
    let bytes = folders::read_outside(&file, LARGEST_FILE).map_err(HomeError::file("read the file", &file))?;
    if ends_like_results(&bytes) {
        let results = unpack(&bytes, &secret_for_results(secret)?)?;
        return Ok(HomeEvent::Results(Box::new(LookedResults {
            file,
            name: whose(book, &results)?,
            attempts: results.attempts.len(),
            recordings: results.recordings.len(),
            sealed: sealed(&results),
        })));
    }
    if bytes.starts_with(b"PK") {
        return Ok(HomeEvent::Site(file));
    }
    if bytes.trim_ascii_start().first() != Some(&b'{') {
        return Err(HomeError::NotOurs(file));
    }
    let HandOut { practice, .. } = HandOut::parse(&bytes).map_err(|e| HomeError::Practice {
        source: e,
        path: file.clone(),
    })?;
    let open = open_calls(book, &practice)?;
    Ok(HomeEvent::Practice(Box::new(OpenedPractice { file, practice, open })))
}

/// Gives the name of the site of a practice. Where no site has it, the one that came along is put among the user's own.
pub(super) fn use_site(file: &Path, phrases: &Path) -> Result<String, HomeError> {
    let practice = read_practice(file)?.practice;
    let here = folders::load_site(&practice.site, Some(phrases));
    if matches!(here, Err(SiteError::Unknown { .. })) && practice.site_inside()?.is_some() {
        // Nothing is replaced, so nothing is moved aside under a stamp.
        let content = Content::of_texts(&practice.phrases);
        content.put(phrases, &practice.site, false, "")?;
    }
    Ok(practice.site)
}

fn hand_in(book: &Logbook, file: &Path, recordings: bool, now: Timestamp) -> Result<HomeEvent, HomeError> {
    let HandOut { practice, key } = read_practice(file)?;
    let left = open_calls(book, &practice)?.len();
    let (results, lost) = results_of(book, practice, recordings, now)?;
    if results.attempts.is_empty() {
        return Err(HomeError::NothingYet);
    }
    let bytes = results.seal(&key)?;
    let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let stem = name.split_once(".practice").map_or(name.as_str(), |(stem, _)| stem);
    let wanted = file.with_file_name(format!("{stem}.results.{ENDING}"));
    for place in files::numbered(&wanted) {
        match files::make(&place, Access::Ordinary, &bytes) {
            Ok(()) => {
                return Ok(HomeEvent::HandedIn(Box::new(HandedIn {
                    file: place,
                    attempts: results.attempts.len(),
                    recordings: results.recordings.len(),
                    lost,
                    left,
                })));
            }
            Err(e) if e.kind() == ErrorKind::AlreadyExists => {}
            Err(e) => return Err(HomeError::file("write the results", &place)(e)),
        }
    }
    Err(HomeError::NoName(wanted))
}
