//! The window: pages take what is to be shown and give back what the student wants.
//!
//! | file | owns |
//! |---|---|
//! | `front.rs` | which page is open; bars around the pages; no threads, no files |
//! | `shown.rs` | what the worker's events add up to |
//! | `look.rs` | colours, sizes, verdicts as word and colour |
//! | `student.rs`, `place.rs`, `practice.rs`, `verdicts.rs`, `sound.rs` | the pages |
//! | `talk.rs` | the push-to-talk key: mouse, Space, Enter, assistive technology |
//!
//! Nothing here waits, and nothing is drawn while nothing happens: the worker asks for a repaint with each event.

mod front;
mod look;
mod place;
mod practice;
mod shown;
mod sound;
mod student;
mod talk;
mod verdicts;

pub use front::{Front, Page};
pub use shown::{Shown, Who};

use crate::worker::{Command, Options, SiteRequest, Worker, WorkerError};
use eframe::egui;

/// Why there is no window.
#[derive(Debug, thiserror::Error)]
pub enum WindowError {
    /// No display, or one that cannot draw.
    #[error(
        "no window could be opened ({0}); practise in the terminal with `cableside drill`, or judge a recording with \
         `cableside score`"
    )]
    Display(String),
    /// The threads behind it.
    #[error(transparent)]
    Worker(#[from] WorkerError),
}

/// What is chosen before the window opens.
#[derive(Debug, Clone, Default)]
pub struct Start {
    /// The site.
    pub site: Option<SiteRequest>,
    /// The student, by name or id.
    pub student: Option<String>,
}

struct App {
    worker: Worker,
    front: Front,
    title: String,
}

impl eframe::App for App {
    fn ui(&mut self, ui: &mut egui::Ui, _: &mut eframe::Frame) {
        for event in self.worker.poll() {
            for command in self.front.take(event) {
                self.worker.send(command);
            }
        }
        for command in self.front.ui(ui) {
            self.worker.send(command);
        }
        let title = self.front.title();
        if title != self.title {
            ui.ctx().send_viewport_cmd(egui::ViewportCommand::Title(title.clone()));
            self.title = title;
        }
    }
}

/// Open the window; returns when it is closed.
pub fn run(options: Options, start: Start) -> Result<(), WindowError> {
    let native = eframe::NativeOptions {
        viewport: egui::ViewportBuilder::default()
            .with_title("Cableside")
            .with_app_id("cableside")
            .with_inner_size([1120.0, 780.0])
            .with_min_inner_size([480.0, 400.0]),
        ..Default::default()
    };
    let mut failed = None;
    let seen = &mut failed;
    let result = eframe::run_native(
        "Cableside",
        native,
        Box::new(move |creation| {
            look::set(&creation.egui_ctx);
            let context = creation.egui_ctx.clone();
            let worker = match Worker::start(options, move || context.request_repaint()) {
                Ok(worker) => worker,
                Err(e) => {
                    let text = e.to_string();
                    *seen = Some(e);
                    return Err(text.into());
                }
            };
            if let Some(site) = start.site {
                worker.send(Command::LoadSite(site));
            }
            if let Some(student) = start.student {
                worker.send(Command::ChooseStudentByName(student));
            }
            Ok(Box::new(App {
                worker,
                front: Front::default(),
                title: String::new(),
            }))
        }),
    );
    match (result, failed) {
        (Ok(()), _) => Ok(()),
        (Err(_), Some(e)) => Err(e.into()),
        (Err(e), None) => Err(WindowError::Display(reason(&e.to_string()))),
    }
}

/// The reason alone: the window library puts the place in its own source before it.
fn reason(text: &str) -> String {
    text.rsplit(".rs:").next().map_or_else(
        || text.to_owned(),
        |t| {
            t.trim_start_matches(|c: char| c.is_ascii_digit() || c == ':')
                .trim()
                .trim_end_matches('.')
                .to_owned()
        },
    )
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_missing_display_is_told_without_places_in_source_code() {
        let text = "EventLoopError: os error at /a/b/mod.rs:765: DISPLAY is not set.";
        assert_eq!(super::reason(text), "DISPLAY is not set");
        assert_eq!(super::reason("no OpenGL"), "no OpenGL");
    }
}
