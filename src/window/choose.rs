//! The system's own choosers of files. They stay open as long as the user likes, so their answer comes later.

use super::words::Words;
use crate::worker::home::ENDING;
use eframe::egui::Context;
use eframe::egui::{TextEdit, Ui};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, TryRecvError, channel};

/// Does a file's name end as those of the program's own do?
pub fn is_own(file: &Path) -> bool {
    file.extension().is_some_and(|e| e.eq_ignore_ascii_case(ENDING))
}

/// A chooser that may be open, and its answer. Where the system has none, nothing opens: every path can be written too.
#[derive(Default)]
pub struct Choice(Option<Receiver<Vec<PathBuf>>>);

/// Kinds of files: the key of their name, and how their names end.
pub type Kinds<'k> = &'k [(&'static str, &'k [&'k str])];

impl Choice {
    /// Opens the chooser for a file to read, unless one is open.
    pub fn open(&mut self, context: &Context, words: Words, kinds: Kinds<'_>) {
        let answer = dialog(words, kinds).pick_file();
        self.begin(context, async { answer.await.into_iter().collect::<Vec<_>>() });
    }

    /// The same for several files.
    pub fn open_several(&mut self, context: &Context, words: Words, kinds: Kinds<'_>) {
        let answer = dialog(words, kinds).pick_files();
        self.begin(context, async { answer.await.unwrap_or_default() });
    }

    /// Opens the chooser for a place to write to: a file, or a folder where `kinds` are none.
    pub fn place(&mut self, context: &Context, words: Words, kinds: Kinds<'_>, suggested: &Path) {
        let mut dialog = dialog(words, kinds);
        let folder = if kinds.is_empty() {
            Some(suggested)
        } else {
            suggested.parent()
        };
        if let Some(folder) = folder.filter(|f| f.is_dir()) {
            dialog = dialog.set_directory(folder);
        }
        if kinds.is_empty() {
            let answer = dialog.pick_folder();
            self.begin(context, async { answer.await.into_iter().collect::<Vec<_>>() });
        } else {
            let name = suggested.file_name().unwrap_or_default().to_string_lossy().into_owned();
            let answer = dialog.set_file_name(name).save_file();
            self.begin(context, async { answer.await.into_iter().collect::<Vec<_>>() });
        }
    }

    /// macOS wants the chooser made on the window's thread; waited for it is on another, so that the window goes on.
    fn begin(&mut self, context: &Context, answer: impl Future<Output = Vec<rfd::FileHandle>> + Send + 'static) {
        if self.0.is_some() {
            return;
        }
        let (send, receive) = channel();
        let context = context.clone();
        let started = std::thread::Builder::new().name("chooser".into()).spawn(move || {
            let files = pollster::block_on(answer);
            // The page may be gone.
            let _ = send.send(files.iter().map(|f| f.path().to_path_buf()).collect());
            context.request_repaint();
        });
        self.0 = started.ok().map(|_| receive);
    }

    /// The file chosen, once.
    pub fn chosen(&mut self) -> Option<PathBuf> {
        self.all_chosen().pop()
    }

    /// The files chosen, once; none where nothing was.
    pub fn all_chosen(&mut self) -> Vec<PathBuf> {
        let Some(answer) = &self.0 else { return Vec::new() };
        match answer.try_recv() {
            Err(TryRecvError::Empty) => Vec::new(),
            Ok(files) => {
                self.0 = None;
                files
            }
            Err(TryRecvError::Disconnected) => {
                self.0 = None;
                Vec::new()
            }
        }
    }
}

/// A path that can be typed or chosen.
#[derive(Default)]
pub struct Place {
    /// As it stands in the field.
    pub text: String,
    /// It was typed or chosen, and is not to be suggested anew.
    own: bool,
    choice: Choice,
}

impl Place {
    /// The path.
    pub fn path(&self) -> PathBuf {
        PathBuf::from(self.text.trim())
    }

    /// Suggests a path, until somebody wrote or chose one.
    pub fn suggest(&mut self, path: &Path) {
        if !self.own {
            self.text = path.display().to_string();
        }
    }

    /// The next suggestion counts again.
    pub fn forget(&mut self) {
        self.own = false;
    }

    /// The field and its button, for a file or folder to write to.
    pub fn for_writing(&mut self, ui: &mut Ui, words: Words, label: &'static str, kinds: Kinds<'_>) {
        let pressed = self.field(ui, words, label);
        if pressed {
            let path = self.path();
            self.choice.place(ui.ctx(), words, kinds, &path);
        }
    }

    /// The same for a file to read.
    pub fn for_reading(&mut self, ui: &mut Ui, words: Words, label: &'static str, kinds: Kinds<'_>) {
        let pressed = self.field(ui, words, label);
        if pressed {
            self.choice.open(ui.ctx(), words, kinds);
        }
    }

    /// The same for several; those chosen come back once.
    pub fn several(&mut self, ui: &mut Ui, words: Words, label: &'static str, kinds: Kinds<'_>) -> Vec<PathBuf> {
        let files = self.choice.all_chosen();
        if let [one] = files.as_slice() {
            self.text = one.display().to_string();
        }
        let pressed = self.field(ui, words, label);
        if pressed {
            self.choice.open_several(ui.ctx(), words, kinds);
        }
        files
    }

    fn field(&mut self, ui: &mut Ui, words: Words, label: &'static str) -> bool {
        if let Some(file) = self.choice.chosen() {
            self.text = file.display().to_string();
            self.own = true;
        }
        let label = ui.label(words.say(label));
        let mut pressed = false;
        ui.horizontal(|ui| {
            let name = words.say("choose.open");
            let button = super::look::text_width(ui, name) + 2.0 * ui.spacing().button_padding.x;
            let width = (ui.available_width() - button - 2.0 * ui.spacing().item_spacing.x).max(80.0);
            let edit = TextEdit::singleline(&mut self.text).desired_width(width);
            self.own |= ui.add(edit).labelled_by(label.id).changed();
            pressed = ui.button(name).clicked();
        });
        pressed
    }
}

fn dialog(words: Words, kinds: Kinds<'_>) -> rfd::AsyncFileDialog {
    kinds.iter().fold(rfd::AsyncFileDialog::new(), |dialog, (name, ends)| {
        dialog.add_filter(words.say(name), ends)
    })
}
