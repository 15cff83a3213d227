//! What the window remembers: how it looks, and where the student was. Kept in one small file; written on a thread of its
//! own, the last state only, so that neither a slow disk nor a crash costs anything but the last moment.

use super::keys::may_talk;
use super::pages::Page;
use super::scene::Level;
use super::words::Words;
use crate::files::{self, Access, Lock};
use crate::worker::Trouble;
use crate::worker::told::why;
use eframe::egui::Key;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, Sender};
use std::thread::JoinHandle;
use uuid::Uuid;

/// Least and greatest text size, as a share of the ordinary one.
pub const SCALES: std::ops::RangeInclusive<f32> = 0.8..=2.0;

/// Light or dark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Light {
    /// As the system has it.
    #[default]
    System,
    /// Dark writing on light ground.
    Light,
    /// Light writing on dark ground.
    Dark,
}

/// How much of the words of a call is shown before it is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum WordsShown {
    /// All of them.
    Whole,
    /// The first letter of each.
    Letters,
    /// None.
    None,
}

/// Who practised last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LastWho {
    /// Nobody was chosen.
    #[default]
    Open,
    /// Somebody without a name.
    Nobody,
    /// This student.
    Student(Uuid),
}

/// A situation that was under way.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct UnderWay {
    /// The site's id.
    pub site: String,
    /// The step's id; the ready call where the file is from before it was remembered.
    #[serde(default = "ready")]
    pub step: String,
    /// Registration.
    pub callsign: String,
    /// People on board.
    pub crew: u8,
    /// The cable's id.
    pub cable: String,
}

fn ready() -> String {
    "ready".to_owned()
}

/// Everything that is remembered. A field that is not in the file has its first value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Settings {
    /// The window's language; `None` is the system's.
    pub words: Option<Words>,
    /// Light or dark.
    pub light: Light,
    /// Text size, see [`SCALES`].
    pub scale: f32,
    /// How much of the situation is written out.
    pub level: Level,
    /// The page.
    pub page: Page,
    /// The site as it was asked for: a folder's name or a path.
    pub site: Option<String>,
    /// Microphone by id.
    pub input: Option<String>,
    /// Loudspeaker by id.
    pub output: Option<String>,
    /// The talk key by its name; `None` is the Space bar.
    pub talk_key: Option<String>,
    /// Size of the window, points at the ordinary text size.
    pub window: Option<[f32; 2]>,
    /// How much of the words is shown before a call; `None` goes by the record.
    pub words_shown: Option<WordsShown>,
    /// The step practised last.
    pub step: Option<String>,
    /// Who practised.
    pub who: LastWho,
    /// What was being practised.
    pub under_way: Option<UnderWay>,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            words: None,
            light: Light::System,
            scale: 1.0,
            level: Level::Written,
            page: Page::default(),
            site: None,
            input: None,
            output: None,
            talk_key: None,
            window: None,
            words_shown: None,
            step: None,
            who: LastWho::Open,
            under_way: None,
        }
    }
}

impl Settings {
    /// From a file; a file that is not there gives the first values. The error is what the window tells.
    pub fn read(file: &Path) -> Result<Self, Trouble> {
        let text = match crate::folders::read_outside_text(file, 1 << 20) {
            Ok(text) => text,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Self::default()),
            Err(e) => return Err(unread(&e, why(&e), file)),
        };
        let read: Self = toml::from_str(&text).map_err(|e| unread(&e.message(), "why.damaged".to_owned(), file))?;
        Ok(read.sound())
    }

    /// Nothing is remembered but the window's size: the first start.
    pub fn is_first(&self) -> bool {
        let rest = Self {
            window: None,
            ..self.clone()
        };
        rest == Self::default()
    }

    /// Values out of range are brought into it.
    fn sound(mut self) -> Self {
        self.scale = if self.scale.is_finite() {
            self.scale.clamp(*SCALES.start(), *SCALES.end())
        } else {
            1.0
        };
        self.window = self
            .window
            .filter(|size| size.iter().all(|s| s.is_finite() && *s >= 100.0 && *s <= 20_000.0));
        self
    }

    /// To a file: what changed since `before` into what is there now, which another window may have written, or a newer
    /// version of the program with settings this one does not know.
    fn write(&self, before: &Self, file: &Path) -> std::io::Result<()> {
        let table = |settings: &Self| toml::Table::try_from(settings).map_err(std::io::Error::other);
        let (before, now) = (table(before)?, table(self)?);
        std::fs::create_dir_all(files::folder_of(file))?;
        let _lock = Lock::take(&files::with_ending(file, ".lock"))?;
        // A file that cannot be read gives way, as was told at the start.
        let there = std::fs::read_to_string(file).ok();
        let mut kept: toml::Table = there
            .and_then(|t| toml::from_str(&t).ok())
            .unwrap_or_else(|| before.clone());
        for name in before.keys().chain(now.keys()) {
            match now.get(name) {
                same if same == before.get(name) => {}
                Some(value) => drop(kept.insert(name.clone(), value.clone())),
                None => drop(kept.remove(name)),
            }
        }
        let text = toml::to_string(&kept).map_err(std::io::Error::other)?;
        files::replace(file, Access::Ordinary, text.as_bytes())
    }

    /// The talk key; a name that is none, or of a key that has another meaning, is the Space bar.
    pub fn talk_key(&self) -> Key {
        let named = self.talk_key.as_deref().and_then(Key::from_name);
        named.filter(|k| may_talk(*k)).unwrap_or(Key::Space)
    }

    /// The window's language.
    pub fn language(&self) -> Words {
        self.words.unwrap_or_else(Words::of_system)
    }
}

fn unread(why: &impl ToString, named: String, file: &Path) -> Trouble {
    let file = file.display().to_string();
    let why = why.to_string();
    let text = format!(
        "The window's settings could not be read ({}); they begin anew. The file: {file}",
        why.trim()
    );
    Trouble::named("settings_unread", text, vec![("why", named), ("file", file)])
}

/// Writes settings as they change. Dropping it waits for the last write.
#[derive(Debug)]
pub struct Keeper {
    orders: Option<Sender<Settings>>,
    thread: Option<JoinHandle<()>>,
    last: Settings,
}

impl Keeper {
    /// Starts the thread. `wrong` is told once when the file cannot be written.
    pub fn start(
        file: PathBuf,
        now: Settings,
        wrong: impl FnOnce(Trouble) + Send + 'static,
    ) -> Result<Self, std::io::Error> {
        let (orders, inbox) = mpsc::channel();
        let begin = now.clone();
        let thread = std::thread::Builder::new()
            .name("settings".into())
            .spawn(move || write_all(&file, begin, &inbox, wrong))?;
        Ok(Self {
            orders: Some(orders),
            thread: Some(thread),
            last: now,
        })
    }

    /// Hand over the settings as they are now; written only when they changed. Never waits.
    pub fn keep(&mut self, now: &Settings) {
        if *now != self.last {
            self.last = now.clone();
            if let Some(orders) = &self.orders {
                // The thread ends only with this handle.
                let _ = orders.send(now.clone());
            }
        }
    }
}

fn write_all(file: &Path, mut written: Settings, inbox: &Receiver<Settings>, wrong: impl FnOnce(Trouble)) {
    let mut wrong = Some(wrong);
    while let Ok(mut settings) = inbox.recv() {
        // Only the last of several counts.
        while let Ok(newer) = inbox.try_recv() {
            settings = newer;
        }
        match settings.write(&written, file) {
            Ok(()) => written = settings,
            Err(e) => {
                if let Some(tell) = wrong.take() {
                    let place = file.display().to_string();
                    let text = format!("The window's settings could not be kept ({e}). The file: {place}");
                    let facts = vec![("why", why(&e)), ("file", place)];
                    tell(Trouble::named("settings_not_kept", text, facts));
                }
            }
        }
    }
}

impl Drop for Keeper {
    fn drop(&mut self) {
        self.orders = None;
        if let Some(thread) = self.thread.take() {
            // A panic there has been told already.
            let _ = thread.join();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_kept_is_read_again_and_a_broken_file_is_named() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("deep/settings.toml");
        assert_eq!(Settings::read(&file).unwrap(), Settings::default());
        let mut keeper = Keeper::start(file.clone(), Settings::default(), |e| panic!("{e}")).unwrap();
        let wanted = Settings {
            words: Some(Words::German),
            light: Light::Dark,
            scale: 1.5,
            page: Page::Practice,
            site: Some("larkmoor".into()),
            who: LastWho::Student(Uuid::from_u128(7)),
            under_way: Some(UnderWay {
                site: "larkmoor".into(),
                step: "stop".into(),
                callsign: "G-CLRM".into(),
                crew: 2,
                cable: "north".into(),
            }),
            ..Settings::default()
        };
        for scale in [0.9, 1.1, 1.5] {
            keeper.keep(&Settings {
                scale,
                ..wanted.clone()
            });
        }
        drop(keeper);
        assert_eq!(Settings::read(&file).unwrap(), wanted);
        std::fs::write(&file, "scale = 90.0\nnot_known = 1").unwrap();
        assert!((Settings::read(&file).unwrap().scale - 2.0).abs() < 1e-6);
        std::fs::write(&file, "scale = [").unwrap();
        assert!(Settings::read(&file).unwrap_err().text.contains("settings.toml"));
        // A pipe that nobody writes into would be waited for for ever.
        #[cfg(unix)]
        {
            std::fs::remove_file(&file).unwrap();
            let made = std::process::Command::new("mkfifo").arg(&file).status().unwrap();
            assert!(made.success());
            let why = Settings::read(&file).unwrap_err().text;
            assert!(
                why.contains("no regular file") && why.contains("settings.toml"),
                "{why}"
            );
        }
    }

    /// Several windows at once, each changing what is its own: nothing of it is lost, nor what only another version knows.
    #[test]
    fn windows_at_once_keep_what_each_of_them_changed() {
        for _ in 0..crate::files::tests::rounds() {
            let dir = tempfile::tempdir().unwrap();
            let file = dir.path().join("settings.toml");
            std::fs::write(&file, "not_known = 1\nscale = 1.25").unwrap();
            let begun = Settings::read(&file).unwrap();
            let changes: [fn(&mut Settings); 4] = [
                |s| s.words = Some(Words::German),
                |s| s.light = Light::Dark,
                |s| s.input = Some("a microphone".to_owned()),
                |s| s.site = Some("larkmoor".to_owned()),
            ];
            crate::files::tests::at_once(changes, |change| {
                let mut keeper = Keeper::start(file.clone(), begun.clone(), |e| panic!("{e}")).unwrap();
                let mut now = begun.clone();
                change(&mut now);
                keeper.keep(&now);
            });
            let mut wanted = begun.clone();
            for change in changes {
                change(&mut wanted);
            }
            assert_eq!(Settings::read(&file).unwrap(), wanted);
            assert!(std::fs::read_to_string(&file).unwrap().contains("not_known = 1"));
        }
    }

    #[test]
    fn a_folder_that_cannot_be_written_is_told_once() {
        let dir = tempfile::tempdir().unwrap();
        let blocked = dir.path().join("file");
        std::fs::write(&blocked, "").unwrap();
        let (tell, told) = mpsc::channel();
        let mut keeper = Keeper::start(blocked.join("settings.toml"), Settings::default(), move |e| {
            tell.send(e).unwrap();
        })
        .unwrap();
        keeper.keep(&Settings {
            scale: 2.0,
            ..Settings::default()
        });
        drop(keeper);
        assert!(told.recv().unwrap().text.contains("could not be kept"));
    }
}
