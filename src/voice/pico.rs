//! The embedded synthesiser: SVOX Pico (crate `ttspico`) with the voice data compiled in (`data/README.md`).
//!
//! The engine reads its data from files only, so they are written to a folder of their own for the moment of loading and
//! removed at once. Its handles are not made for sharing between threads: everything here stays on the voice's thread.

use std::cell::RefCell;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::rc::Rc;

use ttspico::{EngineStatus, PicoError, System, Voice};

use super::{Language, VoiceError};

/// Memory for one voice, bytes: its two files (about 1.1 MB) and as much again to work with.
const MEMORY: usize = 4 << 20;
/// How the names of its folders for temporary files begin.
const PREFIX: &str = "cableside-voice-";
/// Samples fetched at once.
const BLOCK: usize = 1024;
/// What one character may become at most, samples (1 s): more means that the engine does not come to an end.
const MOST_PER_CHARACTER: usize = 16_000;

struct Data {
    analysis: &'static [u8],
    signal: &'static [u8],
}

fn data(language: Language) -> Data {
    match language {
        Language::GERMAN => Data {
            analysis: include_bytes!("data/de-DE_ta.bin"),
            signal: include_bytes!("data/de-DE_gl0_sg.bin"),
        },
        // A language without a voice of its own is read by the English one.
        _ => Data {
            analysis: include_bytes!("data/en-GB_ta.bin"),
            signal: include_bytes!("data/en-GB_kh0_sg.bin"),
        },
    }
}

/// The engine with one language loaded at a time; changing takes a few milliseconds.
#[derive(Default)]
pub(super) struct Engine {
    /// The folder goes after the engine, which on Windows holds its files open and keeps them from being removed before.
    loaded: Option<(Language, ttspico::Engine, Option<Folder>)>,
}

impl Engine {
    /// Speaks `text` (no markup in it) with `pitch` and `speed` in per cent: 16 kHz samples.
    pub(super) fn synthesise(
        &mut self,
        language: Language,
        text: &str,
        pitch: u32,
        speed: u32,
        stop: &dyn Fn() -> bool,
    ) -> Result<Vec<f32>, VoiceError> {
        let (mut engine, folder) = match self.loaded.take() {
            Some((loaded, engine, folder)) if loaded == language => (engine, folder),
            other => {
                // One system a thread: the old one goes first.
                drop(other);
                load(language)?
            }
        };
        let marked = format!("<pitch level='{pitch}'><speed level='{speed}'>{text}</speed></pitch>\0");
        // The crate asserts instead of returning some errors; such a one must cost the line, not the program.
        let outcome =
            catch_unwind(AssertUnwindSafe(|| run(&mut engine, marked.as_bytes(), stop))).unwrap_or_else(|_| {
                Err(VoiceError::Engine {
                    detail: "it stopped in the middle of a line".into(),
                })
            });
        if outcome.is_ok() {
            self.loaded = Some((language, engine, folder));
        }
        // After an error or a cancelled line it is loaded anew, with nothing left over in its buffers.
        outcome
    }
}

fn run(engine: &mut ttspico::Engine, text: &[u8], stop: &dyn Fn() -> bool) -> Result<Vec<f32>, VoiceError> {
    let mut samples = Vec::new();
    let mut block = [0i16; BLOCK];
    let mut rest = text;
    let most = text.len() * MOST_PER_CHARACTER;
    loop {
        if stop() {
            return Err(VoiceError::Cancelled);
        }
        if !rest.is_empty() {
            // Its buffer is small; it takes a part and more after the next steps.
            let taken = engine.put_text(rest).map_err(failed)?;
            rest = rest.get(taken..).unwrap_or_default();
        }
        let (count, status) = engine.get_data(&mut block[..]).map_err(failed)?;
        samples.extend(block.iter().take(count).map(|s| f32::from(*s) / 32_768.0));
        if status == EngineStatus::Idle && rest.is_empty() {
            return Ok(samples);
        }
        if samples.len() > most {
            return Err(VoiceError::Engine {
                detail: "it does not come to an end".into(),
            });
        }
    }
}

#[allow(clippy::needless_pass_by_value)]
fn failed(e: PicoError) -> VoiceError {
    VoiceError::Engine { detail: e.to_string() }
}

fn load(language: Language) -> Result<(ttspico::Engine, Option<Folder>), VoiceError> {
    let data = data(language);
    remove_leftovers();
    let folder = Folder::new()?;
    let analysis = folder.write("ta.bin", data.analysis)?;
    let signal = folder.write("sg.bin", data.signal)?;
    let system = System::new(MEMORY).map_err(failed)?;
    let voice = System::create_voice(system.clone(), "cableside").map_err(failed)?;
    for path in [analysis, signal] {
        let resource = load_resource(&system, &path)?;
        voice.borrow_mut().add_resource(resource).map_err(failed)?;
    }
    // SAFETY: the engine's one condition is that both kinds of resource were added to the voice. They were, two lines up:
    // any failure has returned by now.
    #[allow(unsafe_code, reason = "the crate offers no safe way to make an engine")]
    let engine = unsafe { Voice::create_engine(voice) }.map_err(failed)?;
    Ok((engine, cfg!(windows).then_some(folder)))
}

/// On Windows a program that ends at once leaves its folder behind. What another program has open cannot be removed there, and
/// what is younger than an hour may be about to be opened.
fn remove_leftovers() {
    let Some(entries) = cfg!(windows).then(|| std::fs::read_dir(std::env::temp_dir())) else {
        return;
    };
    let old = |entry: &std::fs::DirEntry| {
        let made = entry.metadata().and_then(|m| m.modified()).ok();
        let age = made.and_then(|m| m.elapsed().ok()).unwrap_or_default();
        age > std::time::Duration::from_hours(1)
    };
    for entry in entries.into_iter().flatten().flatten() {
        if entry.file_name().to_string_lossy().starts_with(PREFIX) && old(&entry) {
            // In use, or somebody else's.
            let _ = std::fs::remove_dir_all(entry.path());
        }
    }
}

fn load_resource(system: &Rc<RefCell<System>>, path: &Path) -> Result<Rc<RefCell<ttspico::Resource>>, VoiceError> {
    let name = path.to_str().ok_or_else(|| VoiceError::Engine {
        detail: format!("it cannot read from a folder with such a name: {}", path.display()),
    })?;
    System::load_resource(system.clone(), name).map_err(failed)
}

/// A folder for the moment of loading, removed on drop. Only its owner can enter it, and its name is nobody else's.
struct Folder(tempfile::TempDir);

impl Folder {
    fn new() -> Result<Self, VoiceError> {
        #[cfg_attr(not(unix), allow(unused_mut, reason = "only the rights below change it"))]
        let mut builder = tempfile::Builder::new();
        builder.prefix(PREFIX);
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o700));
        builder.tempdir().map(Self).map_err(|source| VoiceError::Data {
            path: std::env::temp_dir(),
            source,
        })
    }

    fn write(&self, name: &str, bytes: &[u8]) -> Result<PathBuf, VoiceError> {
        let path = self.0.path().join(name);
        std::fs::write(&path, bytes).map_err(|source| VoiceError::Data {
            path: path.clone(),
            source,
        })?;
        Ok(path)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sha2::{Digest, Sha256};

    /// The data is what its README says.
    #[test]
    fn the_voice_data_has_its_checksums() {
        let readme = include_str!("data/README.md");
        for language in [Language::ENGLISH, Language::GERMAN] {
            let data = data(language);
            for bytes in [data.analysis, data.signal] {
                let sum = Sha256::digest(bytes)
                    .iter()
                    .fold(String::new(), |s, b| s + &format!("{b:02x}"));
                assert!(readme.contains(&format!("| {} | `{sum}` |", bytes.len())), "{sum}");
            }
        }
    }

    #[test]
    fn nothing_is_left_in_the_temporary_folder() {
        let mut engine = Engine::default();
        engine
            .synthesise(Language::GERMAN, "eins", 100, 100, &|| false)
            .unwrap();
        let mine = format!("cableside-voice-{}-", std::process::id());
        // Other tests of this process may be loading at this very moment.
        for _ in 0..50 {
            let left = std::fs::read_dir(std::env::temp_dir())
                .unwrap()
                .filter(|e| e.as_ref().unwrap().file_name().to_string_lossy().starts_with(&mine))
                .count();
            if left == 0 {
                return;
            }
            std::thread::sleep(std::time::Duration::from_millis(100));
        }
        panic!("the folder is still there");
    }

    #[test]
    fn speed_changes_the_length() {
        let mut engine = Engine::default();
        let mut length = |speed| {
            engine
                .synthesise(
                    Language::ENGLISH,
                    "one two three four five six seven",
                    100,
                    speed,
                    &|| false,
                )
                .unwrap()
                .len() as f64
        };
        let ratio = length(100) / length(150);
        assert!((1.25..1.7).contains(&ratio), "{ratio}");
    }
}
