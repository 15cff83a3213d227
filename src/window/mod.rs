//! The window: pages take what is to be shown and give back what the student wants.
//!
//! | file | owns |
//! |---|---|
//! | `front.rs` | the shell: which page is open, navigation and bars around the pages; no threads, no files |
//! | `pages.rs` | the list of pages |
//! | `page.rs` | what a page is given and may want |
//! | `words.rs`, `words/*.toml` | the texts in English and German |
//! | `settings.rs` | what is remembered from one start to the next, in one small file |
//! | `shown.rs` | what the worker's events add up to |
//! | `look.rs` | colours, sizes, verdicts as word and colour |
//! | `student.rs`, `place.rs`, `practice.rs`, `sound.rs`, `lookpage.rs`, `help.rs`, `calls.rs`, `launch.rs`, `ear.rs` | the pages |
//! | `scene.rs`, `scene/*.rs` | the launch point drawn from the site's facts |
//! | `keys.rs` | what the keyboard does before any control sees it |
//! | `hints.rs` | the words before a call: all, first letters, none; "hear it first" |
//! | `notices.rs` | messages of trouble, what cures them |
//! | `plate.rs`, `talk.rs`, `typed.rs` | the state of the turn; the push-to-talk key (mouse, talk key, Enter, assistive technology) and the hand; a typed call |
//! | `sides.rs` | two sides of a page, controls that stay in sight |
//! | `verdict.rs` | the one thing that matters in a judged call |
//! | `launched.rs` | the debrief of a whole launch |
//! | `debrief.rs`, `wave.rs`, `figures.rs`, `reasons.rs` | the debrief: verdicts, sound, delivery, sentences |
//! | `choose.rs` | the system's choosers of files |
//! | `office.rs` with `office/` | the instructor's work with the record |
//! | `home.rs` | practice from the club and results for it, as files |
//! | `frames.rs` | how long frames take, when asked |
//! | `first.rs` with `first/`, `progress.rs`, `class.rs`, `desk.rs` with `desk/` | first start, progress, class, phrase desk |
//!
//! Nothing here waits, and nothing is drawn while nothing happens: the worker asks for a repaint with each event.
//!
//! # How to add a page
//!
//! 1. A file `src/window/NAME.rs` with a struct for its drafts and `impl Content for` it (see `page.rs`): `ui` draws from
//!    `given.shown`, `take` keeps what only this page shows of the worker's events, `opened` and `left` give commands,
//!    `in_column` says no where the page lays itself out. It owns neither files nor threads: what takes time is a
//!    [`crate::worker::Command`], its answer an [`crate::worker::Event`].
//! 2. `pages.rs`: a variant of `Page` and its row in `Page::ALL` (the order of the navigation). The first nine have Ctrl with a digit: a page
//!    before the ninth moves the keys that users know, and `front/keyboard.rs`. `begins_group` parts students, instructors and what is set up once;
//!    `needs_site` closes it until site and student are known.
//! 3. `front.rs`: its `use`, a field of `Pages` and its line in `Pages::get`. Here: `mod NAME;`, its row in the tables above and below.
//! 4. `words/en.toml` and `words/de.toml`: `page.NAME` (its name) and `help.NAME` (its help, one line a paragraph).
//!
//! # How to add a text
//!
//! A key with its text in `words/en.toml` and `words/de.toml`, then `given.words.say("group.key")`, or
//! `given.words.fill("group.key", &[("n", "2")])` where it holds `{n}`. Keys stand in the source as whole literals: the tests
//! in `words.rs` find those that are missing, left over, or differ between the languages. It is drawn by what `look.rs` has: `remark` (small, soft),
//! `bold`, `title`, `add_primary` (the page's one main action), `sheets`. The smallest pages to copy: `help.rs` (no state), `lookpage.rs` (a draft).
//!
//! # The plan of the pages
//!
//! Students' pages are calm and large, the instructor's dense (`look::dense`). A page has one main action: it alone is filled (`look::add_primary`,
//! or the key that talks), `Given::main` marks it, the focus goes there when the page is opened and with F6.
//!
//! | page | for | main action | what else it holds |
//! |---|---|---|---|
//! | Practice | student | Begin; the key that talks; Next | the words before a call, then the debrief, beside the picture |
//! | Launch | student | Begin; the key that talks; Another launch | the time line, then every call with its verdict and sound |
//! | Listening | student | Hear a call | the question with its answers |
//! | The calls | student, before anything is tested | (Hear, Practise of each) | every call in the launch's order |
//! | Progress | student | Practise these | what is reliable in words and one picture; calls to hear again; numbers folded |
//! | Class | instructor | Begin; I am here | roster, board with the most needed first |
//! | Instructor | instructor | judge the call that is open; write the report; write the files | disputed calls, reports and the sheet for the wall, practice out and results back, people, the record: five parts |
//! | Student, Site, Edit site, Sound, Display, First steps, Help | once | add, choose, try the microphone | sheets side by side |
//!
//! The instructor's page (`window/office.rs`, `worker/office.rs`): what takes something away is foreseen first
//! (`Keep`, `Merge` without `sure`; a person's counts) and asked about in the window; a person's own rule of age is told when it is set and takes effect at the next start; a merge is foreseen by doing it in a transaction that is rolled back. The logbook's
//! thread does the work and keeps the PIN that was given until the page is left; `OfficeCommand::Stop` goes round its queue by a flag that is looked at
//! between files. Failures that happen every day have their texts in both languages (`worker/office/fails.rs`). Reports, hand-out and the class's
//! secret are made by `worker/papers.rs` and `worker/home.rs` for the terminal too.
//!
//! The verdict: in a window 700 points wide or more at the top of the right side, scrolled back to its beginning with each new call; in a narrower
//! one above the key. The first line says the one thing that matters (`verdict.rs`), then come the other side's answer, tiles with what was *said*, the
//! sound; the right words only when the call is complete or they are asked for, since a retry that shows them is reading aloud. A call in which the
//! microphone failed (`worker/conductor/turn.rs`, `microphone_failed`) is void: held out, not an attempt of its turn, nothing in it missing.
//!
//! Keys (`keys.rs`): the talk key is taken out of the events before any control sees them, on pages whose `Content::talks` says so and outside text fields;
//! repeats of Space and Enter press nothing; what gets the focus by keyboard is scrolled into sight; Page Up and Down scroll; F1 help, F6 main action.
//! Help lies over the page; messages have a room below it, and what is operated stands at the top of its side: nothing moves under the pointer. Without a
//! microphone the field for typed calls has the keyboard. Leaving a launch that is under way is asked about (`Content::asks_first`). Messages (`notices.rs`) have their texts in both languages, go when cured or after
//! 45 s, and are two at the most; those that tell of a loss stay. Words before a call (`hints.rs`): all of them twice, first letters twice, then none, by
//! right first attempts at that step (`plan::Level::taught_after`); the level is kept with the attempt, and such calls move neither plan nor progress.
//!
//! Type (Atkinson Hyperlegible, two weights), scale, colours by meaning and the contrast of each pair are in `look.rs`; its test computes all pairs: least for
//! writing 5.9 to 1 (4.5 wanted), for edges 3.7 (3 wanted). `front/layout.rs` lays every page out at six sizes in both languages and fails on anything that is
//! cut, beside the window or over something else, by the rectangles of the accessible tree.

mod calls;
mod choose;
mod class;
mod debrief;
mod desk;
mod ear;
mod figures;
mod first;
mod frames;
mod front;
mod help;
mod hints;
mod home;
mod keys;
mod launch;
mod launched;
mod look;
mod lookpage;
mod notices;
mod office;
mod page;
mod pages;
#[cfg(test)]
mod pagetest;
mod place;
mod plate;
mod practice;
mod progress;
mod reasons;
mod scene;
mod second;
mod settings;
mod shown;
mod sides;
mod sound;
mod student;
mod talk;
mod typed;
mod verdict;
mod wave;
mod words;

pub use front::{Front, Page};
pub use scene::Level;
pub use settings::{LastWho, Light, Settings, UnderWay, WordsShown};
pub use shown::{Shown, Who};
pub use words::Words;

use crate::drill::TurnState;
use crate::worker::home::HomeCommand;
use crate::worker::told::why;
use crate::worker::{Command, Event, Options, SiteRequest, Trouble, Worker, WorkerError};
use eframe::egui;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

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
    /// The times of the frames, asked for with `--frame-times`.
    #[error("the times of the frames could not be written to {0} ({1})")]
    Frames(PathBuf, std::io::Error),
}

/// What is chosen before the window opens.
#[derive(Debug, Clone, Default)]
pub struct Start {
    /// The site.
    pub site: Option<SiteRequest>,
    /// The student, by name or id.
    pub student: Option<String>,
    /// The file in which the window remembers how it was left.
    pub settings: PathBuf,
    /// The number of the first whole launch, as `cableside launch --seed` takes it.
    pub seed: Option<u64>,
    /// Deal the first situation without being asked, because it was named.
    pub deal: bool,
    /// A file of the program's own to be opened: a site, practice, results.
    pub file: Option<PathBuf>,
    /// A window of this program is open already, with the same record.
    pub second: bool,
    /// For measuring: how long frames took while calls were judged is written to this file.
    pub frame_times: Option<PathBuf>,
}

/// Messages from threads that are not the worker's.
type Messages = Arc<Mutex<Vec<Trouble>>>;

struct App {
    worker: Worker,
    front: Front,
    title: String,
    keeper: Option<settings::Keeper>,
    messages: Messages,
    frames: Option<frames::Watch>,
}

impl App {
    fn new(worker: Worker, start: Start, read: Result<Settings, Trouble>, context: &egui::Context) -> Self {
        let (settings, unread) = match read {
            Ok(settings) => (settings, None),
            Err(why) => (Settings::default(), Some(why)),
        };
        let messages = Messages::default();
        let (told, repaint) = (messages.clone(), context.clone());
        let kept = settings::Keeper::start(start.settings, settings.clone(), move |trouble| {
            told.lock().unwrap_or_else(PoisonError::into_inner).push(trouble);
            repaint.request_repaint();
        });
        let mut app = Self {
            worker,
            title: String::new(),
            keeper: None,
            messages,
            frames: None,
            front: Front::new(settings.clone(), Words::of_system()),
        };
        match kept {
            Ok(keeper) => app.keeper = Some(keeper),
            Err(e) => {
                let facts = vec![("why", why(&e))];
                app.tell(Event::Trouble(Trouble::named("no_thread", WorkerError::from(e), facts)));
            }
        }
        if let Some(why) = unread {
            app.tell(Event::Trouble(why));
        }
        if start.second {
            app.tell(Event::Trouble(Trouble {
                text: "Cableside is open in another window already, with the same record.".to_owned(),
                key: Some("second_window"),
                facts: Vec::new(),
            }));
        }
        if start.site.is_some() && start.student.is_some() {
            app.front.knows_enough();
        }
        if start.deal {
            app.front.deal_at_once();
        }
        app.front.next_launch(start.seed);
        let site = start.site.or_else(|| settings.site.clone().map(SiteRequest));
        if let Some(site) = site {
            app.send(Command::LoadSite(site));
        }
        match (start.student, settings.who) {
            (Some(name), _) => app.send(Command::ChooseStudentByName(name)),
            (None, LastWho::Student(id)) => app.send(Command::ChooseStudent(Some(id))),
            (None, LastWho::Nobody) => app.send(Command::ChooseStudent(None)),
            (None, LastWho::Open) => {}
        }
        for command in hints::commands(settings.words_shown) {
            app.send(command);
        }
        for command in app.front.begin() {
            app.send(command);
        }
        if let Some(file) = start.file {
            app.send(Command::Home(HomeCommand::Open(file)));
        }
        app
    }

    fn send(&mut self, command: Command) {
        self.front.note(&command);
        self.worker.send(command);
    }

    fn tell(&mut self, event: Event) {
        for command in self.front.take(event) {
            self.send(command);
        }
    }
}

impl eframe::App for App {
    fn ui(&mut self, ui: &mut egui::Ui, frame: &mut eframe::Frame) {
        let judging = self.front.shown.state == Some(TurnState::Judging);
        if self
            .frames
            .as_mut()
            .is_some_and(|f| f.begins(frame.info().cpu_usage, judging))
        {
            ui.ctx().request_repaint();
        }
        let messages = std::mem::take(&mut *self.messages.lock().unwrap_or_else(PoisonError::into_inner));
        for trouble in messages {
            self.tell(Event::Trouble(trouble));
        }
        for event in self.worker.poll() {
            self.tell(event);
        }
        for command in self.front.ui(ui) {
            self.worker.send(command);
        }
        let title = self.front.title();
        if title != self.title {
            ui.ctx().send_viewport_cmd(egui::ViewportCommand::Title(title.clone()));
            self.title = title;
        }
        // Kept once it stands still: a window that is being dragged would be written with each frame.
        let (size, dragged) = ui.input(|i| (i.viewport().inner_rect, i.pointer.any_down()));
        if let Some(size) = size.map(|r| r.size() * ui.ctx().zoom_factor()).filter(|_| !dragged) {
            self.front.settings.window = Some([size.x.round(), size.y.round()]);
        }
        if let Some(keeper) = &mut self.keeper {
            keeper.keep(&self.front.settings);
        }
    }
}

/// Open the window; returns when it is closed.
pub fn run(mut options: Options, start: Start) -> Result<(), WindowError> {
    // Before there is a window, whose thread must not wait for a disk.
    let settings = Settings::read(&start.settings);
    if let Ok(settings) = &settings {
        options.input = options.input.or_else(|| settings.input.clone());
        options.output = options.output.or_else(|| settings.output.clone());
    }
    let size = settings.as_ref().ok().and_then(|s| s.window).unwrap_or([1120.0, 700.0]);
    let mut viewport = egui::ViewportBuilder::default()
        .with_title("Cableside")
        .with_app_id("cableside")
        .with_inner_size(size)
        .with_clamp_size_to_monitor_size(true)
        .with_min_inner_size([480.0, 400.0]);
    // A window without a picture is a window all the same.
    if let Ok(icon) = eframe::icon_data::from_png_bytes(include_bytes!("../../packaging/icon/cableside-128.png")) {
        viewport = viewport.with_icon(icon);
    }
    let native = eframe::NativeOptions {
        viewport,
        ..Default::default()
    };
    let mut failed = None;
    let seen = &mut failed;
    let watch = start
        .frame_times
        .as_ref()
        .map(|file| frames::Watch::new(file).map_err(|e| WindowError::Frames(file.clone(), e)));
    let watch = watch.transpose()?;
    let made: eframe::AppCreator<'_> = Box::new(move |creation| {
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
        let mut app = App::new(worker, start, settings, &creation.egui_ctx);
        app.frames = watch;
        Ok(Box::new(app))
    });
    let ran = catch_unwind(AssertUnwindSafe(|| eframe::run_native("Cableside", native, made)));
    let result = match ran {
        Ok(result) => result,
        // The worker has ended, and stored what waited.
        Err(panic) if panic.downcast_ref::<String>().is_some_and(|what| was_torn_away(what)) => return Ok(()),
        Err(panic) => resume_unwind(panic),
    };
    match (result, failed) {
        (Ok(()), _) => Ok(()),
        (Err(_), Some(e)) => Err(e.into()),
        (Err(e), None) => Err(WindowError::Display(reason(&e.to_string()))),
    }
}

/// Did another program take the window away? The window library then panics with these words, since the display does not know
/// any more what it asks for.
pub fn was_torn_away(what: &str) -> bool {
    what.contains("X11Error") && what.contains("error_kind: Window")
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
    fn a_window_that_was_torn_away_is_no_fault_of_the_program() {
        // As the library words it where the window is destroyed by another program (`xdotool windowclose`).
        let torn = "called `Result::unwrap()` on an `Err` value: X11(X11Error { error_kind: Window, error_code: 3, \
                    request_name: Some(\"TranslateCoordinates\") })";
        assert!(super::was_torn_away(torn));
        assert!(!super::was_torn_away(
            "called `Result::unwrap()` on an `Err` value: NoMemory"
        ));
    }

    #[test]
    fn a_missing_display_is_told_without_places_in_source_code() {
        let text = "EventLoopError: os error at /a/b/mod.rs:765: DISPLAY is not set.";
        assert_eq!(super::reason(text), "DISPLAY is not set");
        assert_eq!(super::reason("no OpenGL"), "no OpenGL");
    }
}
