//! The embedded synthesiser: SVOX Pico with the voice data compiled in (`data/README.md`).
//!
//! The engine reads its data from files only, so they are written to a folder of their own for the moment of loading and
//! removed at once; on Windows, which keeps open files from being removed, when the engine goes.

use std::path::PathBuf;

use super::engine::{self, Engine as Loaded};
use super::{Language, VoiceError};

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
    loaded: Option<Ready>,
}

/// Gone in this order: on Windows the engine holds its files open and keeps them from being removed before.
struct Ready {
    language: Language,
    engine: Loaded,
    _folder: Option<Folder>,
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
        let mut ready = match self.loaded.take() {
            Some(ready) if ready.language == language => ready,
            other => {
                // One engine a thread: the old one goes first.
                drop(other);
                load(language)?
            }
        };
        let marked = format!("<pitch level='{pitch}'><speed level='{speed}'>{text}</speed></pitch>\0");
        let outcome = run(&mut ready.engine, marked.as_bytes(), stop);
        if outcome.is_ok() {
            self.loaded = Some(ready);
        }
        // After an error or a cancelled line it is loaded anew, with nothing left over in its buffers.
        outcome
    }
}

fn run(engine: &mut Loaded, text: &[u8], stop: &dyn Fn() -> bool) -> Result<Vec<f32>, VoiceError> {
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
            let taken = engine.put(rest)?;
            rest = rest.get(taken..).unwrap_or_default();
        }
        let (count, status) = engine.step(&mut block)?;
        samples.extend(block.iter().take(count).map(|s| f32::from(*s) / 32_768.0));
        if status == engine::Status::Idle && rest.is_empty() {
            return Ok(samples);
        }
        if samples.len() > most {
            return Err(VoiceError::Engine {
                detail: "it does not come to an end".into(),
            });
        }
    }
}

fn load(language: Language) -> Result<Ready, VoiceError> {
    let data = data(language);
    remove_leftovers();
    let folder = Folder::new()?;
    let files = [
        folder.write("ta.bin", data.analysis)?,
        folder.write("sg.bin", data.signal)?,
    ];
    Ok(Ready {
        language,
        engine: Loaded::load(&files)?,
        _folder: cfg!(windows).then_some(folder),
    })
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

    /// What this process holds open of the voice's files, and what lies of them in the folder for temporary files.
    #[cfg(target_os = "linux")]
    fn open_and_lying() -> (usize, usize) {
        let ours = |path: &std::path::Path| path.to_string_lossy().contains(PREFIX);
        let open = std::fs::read_dir("/proc/self/fd").unwrap().flatten();
        let open = open.filter(|e| std::fs::read_link(e.path()).is_ok_and(|to| ours(&to)));
        let lying = std::fs::read_dir(std::env::temp_dir()).unwrap().flatten();
        (open.count(), lying.filter(|e| ours(&e.path())).count())
    }

    /// In a process of its own, with a folder for temporary files of its own: other tests load voices at the same time.
    #[cfg(target_os = "linux")]
    #[test]
    fn neither_files_nor_handles_are_left_however_often_it_is_loaded() {
        const CHILD: &str = "CABLESIDE_TEST_VOICE_FILES";
        if std::env::var_os(CHILD).is_none() {
            let temporary = tempfile::tempdir().unwrap();
            let child = std::process::Command::new(std::env::current_exe().unwrap())
                .args([
                    "--exact",
                    "voice::pico::tests::neither_files_nor_handles_are_left_however_often_it_is_loaded",
                ])
                .arg("--nocapture")
                .env(CHILD, "1")
                .env("TMPDIR", temporary.path())
                .output()
                .unwrap();
            let text = String::from_utf8_lossy(&child.stdout);
            assert!(child.status.success() && text.contains("1 passed"), "{text}");
            return;
        }
        let mut engine = Engine::default();
        for round in 0..5 {
            for language in [Language::GERMAN, Language::ENGLISH] {
                engine.synthesise(language, "eins", 100, 100, &|| false).unwrap();
                let (open, lying) = open_and_lying();
                assert!(
                    open <= 2 && lying == 0,
                    "round {round}: {open} open, {lying} lying there"
                );
            }
            // A cancelled line costs the engine.
            engine
                .synthesise(Language::ENGLISH, "eins", 100, 100, &|| true)
                .unwrap_err();
            assert_eq!(open_and_lying(), (0, 0), "round {round}");
        }
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
