//! The worker's main thread: obeys commands, moves the turn, hears the sound room's events, asks recogniser and logbook.
//!
//! `conductor/turn.rs` moves the turn, `planned.rs` asks the plan for it, `sound.rs` plays and records, `kept.rs` makes what
//! the logbook keeps, `bench.rs` has the sound outside a turn.

mod activity;
mod bench;
mod ear;
mod flight;
mod kept;
mod planned;
mod play;
mod sound;
mod turn;

use activity::{Activity, Run};

use super::desk;
use super::ears::{self, Writer};
pub(super) use super::inbox::Message;
use super::keeper::{self, LogbookPlace};
use super::message::{self, Command, Event, Lost, ModelState, SiteRequest, SituationRequest, Trouble};
use super::office::{OfficeCommand, OfficeEvent};
use super::options::Options;
use super::outbox::Outbox;
use super::second::{Second, Sound};
use super::told::why;
use crate::folders;
use crate::logbook::{RecordingName, Student};
use crate::model;
use crate::plan::{Level, Plan};
use crate::site::Site;
use crate::sound::{Clip, DeviceList, Player, Recorder, SoundError, devices};
use crate::voice::Speaker;
use jiff::Timestamp;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::time::{Duration, Instant};
use uuid::Uuid;

/// How often the sound room is asked while something is going on, and while nothing is.
const BUSY: Duration = Duration::from_millis(10);
const IDLE: Duration = Duration::from_millis(100);
/// Distance of two level events.
const LEVELS: Duration = Duration::from_millis(50);

/// A line or call on its way to the loudspeaker.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum What {
    /// The other side's line: the student's turn comes after it.
    Line,
    /// Another pilot's, before the turn's own line.
    Other,
    /// The student's own call or a part of it.
    Own,
    /// The student's own call; the call as it should be comes after it.
    OwnThenModel,
    /// The call as it should be.
    Model,
    /// Something that belongs to no turn.
    Aside,
    /// The sentence of the trial.
    Trial,
    /// A sound that nothing waits for.
    Noise,
    /// Another pilot's call, of the ear drill.
    Ear,
}

/// A call between its end and its verdicts.
struct Hearing {
    job: u64,
    cancel: Arc<AtomicBool>,
    clip: Arc<Clip>,
    recording: Option<RecordingName>,
    file: Option<PathBuf>,
    ended: Instant,
    began: Timestamp,
}

/// What of the options stays with the conductor.
struct Setup {
    /// Where recordings go; none for a logbook in memory.
    recordings: Option<PathBuf>,
    phrases: Option<PathBuf>,
    input: Option<String>,
    output: Option<String>,
    situation: Option<SituationRequest>,
    /// The launch direction, where it is always the same.
    direction: Option<String>,
    step: String,
    sound: bool,
}

/// A turn that is wanted, perhaps with a situation.
struct Wanted(Option<SituationRequest>);

/// The second listener, and its work under way.
struct SecondEar {
    write: Writer,
    running: Option<Second>,
}

/// How calls are taught.
#[derive(Default)]
struct Teaching {
    /// Where the record sets the level, calls are taught first.
    on: bool,
    /// Right first attempts at each step, wrong ones taken off.
    right: BTreeMap<String, u32>,
}

/// What is to be practised, and how it is taught.
#[derive(Default)]
struct Lessons {
    /// The student's plan at this site, once the record was read.
    plan: Option<Plan>,
    /// The record is being read.
    planning: bool,
    /// A turn was wanted meanwhile, perhaps with a situation.
    wanted: Option<Wanted>,
    /// The level the user chose.
    level: Option<Level>,
    teaching: Teaching,
}

/// The sound devices, and what is on its way to and from them.
struct Room {
    recorder: Option<Recorder>,
    player: Option<Player>,
    speaker: Option<Speaker>,
    devices: Option<Receiver<Result<DeviceList, SoundError>>>,
    /// Recording, or waiting for the clip of one; since when.
    expecting: Option<Timestamp>,
    speaking: Option<(u64, What)>,
    playing: Option<(u64, What)>,
    /// Told that nothing can be played; not told again until devices change.
    mute: bool,
    watch_level: bool,
    microphone: Option<String>,
    last_level: Instant,
}

impl Room {
    fn empty() -> Self {
        Self {
            recorder: None,
            player: None,
            speaker: None,
            devices: None,
            expecting: None,
            speaking: None,
            playing: None,
            mute: false,
            watch_level: false,
            microphone: None,
            last_level: Instant::now(),
        }
    }
}

struct Conductor {
    out: Outbox,
    ears: Sender<ears::Order>,
    keeper: Sender<keeper::Order>,
    /// Ends what the logbook's thread does for an instructor.
    stop_office: Arc<AtomicBool>,
    second: SecondEar,
    setup: Setup,
    room: Room,
    model: ModelState,
    site: Option<(Arc<Site>, Option<PathBuf>)>,
    student: Option<Student>,
    /// The name the next recording gets: asked for ahead, so that a press never waits for the logbook.
    name: Option<RecordingName>,
    lessons: Lessons,
    activity: Activity,
    /// The student's last call.
    own: Option<Arc<Clip>>,
    turns: u32,
    hearing: Option<Hearing>,
    jobs: u64,
    bench: bench::Bench,
}

pub(super) fn start(
    options: Options,
    to_self: Sender<Message>,
    inbox: Receiver<Message>,
    out: Outbox,
    alive: Sender<Lost>,
) -> std::io::Result<()> {
    let Options {
        phrases,
        logbook,
        loader,
        sound,
        input,
        output,
        situation,
        direction,
        step,
    } = options;
    let setup = Setup {
        recordings: match &logbook {
            LogbookPlace::Disk { recordings, .. } => Some(recordings.clone()),
            LogbookPlace::Memory => None,
        },
        phrases,
        input,
        output,
        situation,
        direction,
        step,
        sound,
    };
    let thread = |name: &str| std::thread::Builder::new().name(name.into());
    let (ears, ears_inbox) = mpsc::channel();
    let (keeper, keeper_inbox) = mpsc::channel();
    let (answers, alive_ears) = (to_self.clone(), alive.clone());
    let (desk, desk_inbox) = mpsc::channel();
    let places = desk::Places::new(setup.phrases.clone(), logbook.clone());
    let bench = bench::Bench::new(desk, to_self.clone(), places.clone());
    let (out_desk, changed, alive_desk) = (out.clone(), to_self.clone(), alive.clone());
    thread("desk").spawn(move || {
        let told = move |id| drop(changed.send(Message::SiteChanged(id)));
        desk::run(&places, &desk_inbox, &out_desk, &told);
        drop(alive_desk);
    })?;
    let second = loader.second();
    thread("recogniser").spawn(move || {
        ears::run(&loader, &ears_inbox, &answers);
        drop(alive_ears);
    })?;
    let out_keeper = out.clone();
    let stop_office = Arc::new(AtomicBool::new(false));
    let stop = stop_office.clone();
    thread("logbook").spawn(move || {
        if let Err(lost) = keeper::run(&logbook, &keeper_inbox, to_self, out_keeper, stop) {
            // Whoever waits for the end hears of it; nobody may.
            let _ = alive.send(lost);
        }
        drop(alive);
    })?;
    thread("worker").spawn(move || {
        let mut conductor = Conductor::new(setup, out, ears, keeper, bench, second);
        conductor.stop_office = stop_office;
        if sound {
            conductor.open_sound();
        }
        conductor.work(&inbox);
    })?;
    Ok(())
}

impl Conductor {
    fn new(
        setup: Setup,
        out: Outbox,
        ears: Sender<ears::Order>,
        keeper: Sender<keeper::Order>,
        bench: bench::Bench,
        second: Writer,
    ) -> Self {
        Self {
            out,
            ears,
            keeper,
            stop_office: Arc::default(),
            second: SecondEar {
                write: second,
                running: None,
            },
            setup,
            room: Room::empty(),
            model: ModelState::Loading,
            site: None,
            student: None,
            name: None,
            lessons: Lessons::default(),
            activity: Activity::Idle,
            own: None,
            turns: 0,
            hearing: None,
            jobs: 0,
            bench,
        }
    }

    fn open_sound(&mut self) {
        match Recorder::open(self.setup.input.clone()) {
            Ok(recorder) => self.room.recorder = Some(recorder),
            Err(e) => self.out.known("microphone_failed", &e, &[]),
        }
        match Player::open(self.setup.output.clone()) {
            Ok(player) => self.room.player = Some(player),
            Err(e) => self.out.known("loudspeaker_failed", &e, &[]),
        }
        match Speaker::open() {
            Ok(speaker) => self.room.speaker = Some(speaker),
            Err(e) => self.out.trouble(&e),
        }
    }

    fn work(mut self, inbox: &Receiver<Message>) {
        self.list_sites();
        self.load_model();
        loop {
            let busy = self.room.expecting.is_some()
                || self.room.speaking.is_some()
                || self.room.playing.is_some()
                || self.room.watch_level
                || self.room.devices.is_some()
                || self.bench.busy()
                || self.activity.flight().is_some();
            match inbox.recv_timeout(if busy { BUSY } else { IDLE }) {
                Ok(Message::Command(Command::Quit)) | Err(RecvTimeoutError::Disconnected) => break,
                Ok(Message::Command(command)) => self.obey(command),
                Ok(Message::Loaded(result)) => self.loaded(result),
                Ok(Message::Heard { job, result }) if self.bench.owns(job) => self.trial_heard(result),
                Ok(Message::Heard { job, result }) => self.heard(job, result),
                Ok(Message::SiteChanged(id)) => self.site_changed(&id),
                Ok(Message::Name { student, name }) => {
                    if self.student.as_ref().is_some_and(|s| s.id == student) {
                        self.name = name;
                    }
                }
                Ok(Message::StudentGone(id)) => {
                    if self.student.as_ref().is_some_and(|s| s.id == id) {
                        self.student_chosen(None);
                    }
                }
                Ok(Message::Student(student)) => self.student_chosen(student),
                Ok(Message::Past { student, site, past }) => self.make_plan(student, &site, &past),
                Err(RecvTimeoutError::Timeout) => {}
            }
            self.attend_to_sound();
            self.attend_to_flight();
        }
        self.cancel();
        self.bench.quit();
        self.stop_office.store(true, std::sync::atomic::Ordering::Relaxed);
        self.order(keeper::Order::Quit);
    }

    fn obey(&mut self, command: Command) {
        match command {
            Command::LoadSite(request) => self.load_site(&request),
            Command::LoadModel => self.load_model(),
            Command::ChooseStudent(id) => self.order(keeper::Order::Choose(id)),
            Command::ChooseStudentByName(name) => self.order(keeper::Order::ChooseByName(name)),
            Command::AddStudent { name, consent, by } => {
                self.order(keeper::Order::Add { name, consent, by });
            }
            Command::SetConsent { student, given, by } => {
                // What is being recorded may be what is no longer to be kept.
                self.cancel();
                self.order(keeper::Order::SetConsent { student, given, by });
            }
            Command::Next => self.next(None),
            Command::ChooseLevel(level) => self.lessons.level = level,
            Command::Teach(teach) => self.lessons.teaching.on = teach,
            Command::Deal { situation, step } => {
                let site = self.site.as_ref();
                if let Some(step) = step.filter(|id| site.is_some_and(|(s, _)| s.step(id).is_some())) {
                    self.setup.step = step;
                }
                self.next(Some(&situation));
            }
            Command::Given(given) => self.given(*given),
            Command::Launch(request) => self.launch(*request),
            Command::LeaveLaunch => self.leave_launch(),
            Command::Hand => self.hand(),
            Command::Signal(id) => self.signal(&id),
            Command::LetPass => self.nothing_done(),
            Command::ShowWords => self.show_words(),
            Command::Typing => self.typing(),
            Command::Ear(request) => self.next_ear(request),
            Command::PlayEar => self.play_ear(),
            Command::AnswerEar(choice) => self.answer_ear(choice.as_deref()),
            Command::PlayPrompt => self.play_prompt(),
            Command::PlayAnswer => self.play_answer(),
            Command::PlayOwn => self.play_own(What::Own),
            Command::PlayPart { begin, end } => self.play_part(begin, end),
            Command::PlayModel { slow } => self.play_model(slow),
            Command::PlayFlown(n) => self.play_flown(n),
            Command::PlayKept(name) => self.play_kept(name),
            Command::Second { attempt, recording } => self.second(attempt, recording),
            Command::StopSecond => self.second.running = None,
            Command::PlayBoth => self.play_own(What::OwnThenModel),
            Command::HoldOut { attempt, held } => self.order(keeper::Order::HoldOut { attempt, held }),
            Command::StepToCome(step) => self.setup.step = step,
            Command::ChooseStep(step) => {
                self.setup.step = step;
                self.next(None);
            }
            Command::StopPlaying => self.stop_playing(),
            Command::Press => self.press(),
            Command::Release => self.release(),
            Command::Cancel => self.cancel(),
            Command::Type(text) => self.typed(&text),
            Command::Speak(clip) => self.speak(*clip),
            Command::ListDevices => match devices::list_in_background() {
                Ok(answer) => self.room.devices = Some(answer),
                Err(e) => self.out.trouble(&e),
            },
            Command::ChooseDevices { input, output } => self.choose_devices(input, output),
            Command::WatchLevel(on) => self.room.watch_level = on,
            Command::Progress => self.order(keeper::Order::Progress {
                student: self.student.as_ref().map(|s| s.id),
                site: self.site.as_ref().map(|(site, _)| site.id.clone()),
            }),
            Command::Class(command) => self.class(command),
            Command::Home(command) => self.order(keeper::Order::Home(command)),
            Command::Office(command) => self.office(command),
            Command::Desk(command) => self.desk(command),
            Command::Trial(command) => self.trial(command),
            Command::FetchModel => self.fetch_model(None),
            Command::TakeModel(place) => self.fetch_model(Some(place)),
            Command::CancelFetch => self.cancel_fetch(),
            // Ends the loop before it comes here.
            Command::Quit => {}
        }
    }

    fn order(&self, order: keeper::Order) {
        if let Err(lost) = self.keeper.send(order) {
            let text = "the logbook is not there; start the program again";
            self.out.known("logbook_gone", text, &[]);
            match lost.0 {
                keeper::Order::Record { attempt, .. } => self.out.tell(Event::NotStored(attempt.id)),
                // Its page waits for an answer.
                keeper::Order::Office { .. } => {
                    let why = Trouble {
                        text: message::sentence(text),
                        key: Some("logbook_gone"),
                        facts: Vec::new(),
                    };
                    self.out.tell(Event::Office(OfficeEvent::Failed(why)));
                }
                _ => {}
            }
        }
    }

    fn office(&self, command: OfficeCommand) {
        // The logbook's thread is busy with what is to be stopped.
        let stop = command == OfficeCommand::Stop;
        self.stop_office.store(stop, std::sync::atomic::Ordering::Relaxed);
        if !stop {
            let here = self.site.clone();
            self.order(keeper::Order::Office { command, here });
        }
    }

    fn second(&mut self, attempt: Uuid, recording: Option<RecordingName>) {
        // One at a time: what was asked for before is not waited for any more.
        self.second.running = None;
        let sound = match recording {
            Some(name) => {
                let folder = self.setup.recordings.as_ref();
                folder.map(|folder| Sound::File(name.path(folder)))
            }
            None => self.own.clone().map(Sound::Clip),
        };
        let (Some(sound), Some((site, _))) = (sound, &self.site) else {
            return;
        };
        let write = Arc::clone(&self.second.write);
        match Second::start(self.out.clone(), write, attempt, sound, site.language) {
            Ok(second) => self.second.running = Some(second),
            Err(e) => {
                let text = format!("could not start a thread ({e}); close other programs");
                self.out.known("no_thread", text, &[("why", why(&e))]);
            }
        }
    }

    // ---- site, model, student, devices

    fn list_sites(&self) {
        let sites = folders::find_sites(self.setup.phrases.as_deref());
        self.out.tell(Event::Sites(sites));
    }

    fn load_site(&mut self, request: &SiteRequest) {
        let loaded = folders::load_site(&request.0, self.setup.phrases.as_deref());
        match loaded {
            Ok((site, folder)) => {
                let site = Arc::new(site);
                self.abandon();
                self.site = Some((site.clone(), folder));
                self.ask_for_past();
                self.out.tell(Event::SiteLoaded(site));
            }
            Err(e) => self.out.trouble(&e),
        }
    }

    fn load_model(&mut self) {
        self.set_model(ModelState::Loading);
        // The recogniser's thread ends only with this one.
        let _ = self.ears.send(ears::Order::Load);
    }

    fn loaded(&mut self, result: Result<String, Trouble>) {
        match result {
            Ok(name) => {
                if !model::measured_with(&name) {
                    let text = format!(
                        "the program's limits were measured with the model base, not with {name}: verdicts are less sure"
                    );
                    self.out.known("other_model", text, &[("model", name.clone())]);
                }
                self.set_model(ModelState::Ready(name));
            }
            Err(e) => self.set_model(ModelState::Missing(e)),
        }
    }

    fn set_model(&mut self, state: ModelState) {
        self.model = state.clone();
        self.out.tell(Event::Model(state));
    }

    fn student_chosen(&mut self, student: Option<Student>) {
        self.abandon();
        self.name = None;
        self.student = student;
        self.ask_for_name();
        self.ask_for_past();
        self.out.tell(Event::Student(self.student.clone()));
    }

    fn ask_for_name(&self) {
        if let Some(student) = self.student.as_ref().filter(|s| s.recording_allowed()) {
            self.order(keeper::Order::Name(student.id));
        }
    }

    fn choose_devices(&mut self, input: Option<String>, output: Option<String>) {
        if let (Some(recorder), true) = (&self.room.recorder, input != self.setup.input) {
            recorder.choose(input.clone());
            self.set_microphone(None);
        }
        if let (Some(player), true) = (&self.room.player, output != self.setup.output) {
            player.choose(output.clone());
        }
        self.room.mute = false;
        self.setup.input = input;
        self.setup.output = output;
    }
}
