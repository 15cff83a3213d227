//! The system's own choosers of files. They stay open as long as the user likes, so their answer comes later.

use super::words::Words;
use eframe::egui::Context;
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, channel};

/// A chooser that may be open, and its answer. Where the system has none, nothing opens: every path can be written too.
#[derive(Default)]
pub struct Choice(Option<Receiver<Option<PathBuf>>>);

/// Kinds of files: the key of their name, and how their names end.
pub type Kinds<'k> = &'k [(&'static str, &'k [&'k str])];

impl Choice {
    /// Opens the chooser for a file to read, unless one is open.
    pub fn open(&mut self, context: &Context, words: Words, kinds: Kinds<'_>) {
        self.begin(context, |dialog| Box::pin(dialog.pick_file()), dialog(words, kinds));
    }

    fn begin(
        &mut self,
        context: &Context,
        ask: impl FnOnce(rfd::AsyncFileDialog) -> Answer,
        dialog: rfd::AsyncFileDialog,
    ) {
        if self.0.is_some() {
            return;
        }
        // macOS wants it made on the window's thread; waited for it is on another, so that the window goes on.
        let answer = ask(dialog);
        let (send, receive) = channel();
        let context = context.clone();
        let started = std::thread::Builder::new().name("chooser".into()).spawn(move || {
            let file = pollster::block_on(answer).map(|file| file.path().to_path_buf());
            // The page may be gone.
            let _ = send.send(file);
            context.request_repaint();
        });
        self.0 = started.ok().map(|_| receive);
    }

    /// The file chosen, once.
    pub fn chosen(&mut self) -> Option<PathBuf> {
        match self.0.as_ref()?.try_recv() {
            Err(std::sync::mpsc::TryRecvError::Empty) => None,
            Ok(file) => {
                self.0 = None;
                file
            }
            Err(std::sync::mpsc::TryRecvError::Disconnected) => {
                self.0 = None;
                None
            }
        }
    }
}

type Answer = std::pin::Pin<Box<dyn Future<Output = Option<rfd::FileHandle>> + Send>>;

fn dialog(words: Words, kinds: Kinds<'_>) -> rfd::AsyncFileDialog {
    kinds.iter().fold(rfd::AsyncFileDialog::new(), |dialog, (name, ends)| {
        dialog.add_filter(words.say(name), ends)
    })
}
