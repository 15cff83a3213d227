//! The worker's main thread: obeys commands, moves the turn, hears the sound room's events, asks recogniser and logbook.

use super::Options;
use super::ears::{self, Heard};
use super::keeper::{self, LogbookPlace};
use super::message::{Command, Dealt, Event, Judged, ModelState, Outbox, SiteRequest, SituationRequest};
use crate::call::{Evidence, Judgement, Outcome, Vocabulary, judge, judge::Limits};
use crate::drill::{self, Answer, Turn, TurnState};
use crate::folders;
use crate::logbook::{self, ModelUsed, NewAttempt, RecordingName, Student, Timings};
use crate::site::{Line, Site, Step};
use crate::sound::{
    Clip, DeviceList, Player, PlayerEvent, Radio, Recorded, Recorder, RecorderEvent, SoundError, devices,
};
use crate::voice::{self, Origin, Role, Speaker, VoiceEvent};
use jiff::Timestamp;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::time::{Duration, Instant};
use uuid::Uuid;

/// How often the sound room is asked while something is going on, and while nothing is.
const BUSY: Duration = Duration::from_millis(10);
const IDLE: Duration = Duration::from_millis(100);
/// Distance of two level events.
const LEVELS: Duration = Duration::from_millis(50);
/// Readings kept with an attempt: the verdicts rest on the first few.
const READINGS_KEPT: usize = 16;

pub(super) enum Message {
    Command(Command),
    Loaded(Result<String, String>),
    Heard { job: u64, result: Heard },
    Name { student: Uuid, name: Option<RecordingName> },
    Student(Option<Student>),
}

/// A line or call on its way to the loudspeaker.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum What {
    /// The other side's line: the student's turn comes after it.
    Line,
    /// The student's own call.
    Own,
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

/// The turn under way.
struct Run {
    turn: Turn,
    id: Uuid,
    prompt_end: Option<Instant>,
    answer: Option<Answer>,
    own: Option<Arc<Clip>>,
}

/// What of the options stays with the conductor.
struct Setup {
    /// Where recordings go; none for a logbook in memory.
    recordings: Option<PathBuf>,
    phrases: Option<PathBuf>,
    input: Option<String>,
    output: Option<String>,
    situation: Option<SituationRequest>,
    step: String,
}

struct Conductor {
    out: Outbox,
    ears: Sender<ears::Order>,
    keeper: Sender<keeper::Order>,
    setup: Setup,
    recorder: Option<Recorder>,
    player: Option<Player>,
    speaker: Option<Speaker>,
    devices: Option<Receiver<Result<DeviceList, SoundError>>>,
    model: ModelState,
    site: Option<(Arc<Site>, Option<PathBuf>)>,
    student: Option<Student>,
    /// The name the next recording gets: asked for ahead, so that a press never waits for the logbook.
    name: Option<RecordingName>,
    run: Option<Run>,
    turns: u32,
    /// Recording, or waiting for the clip of one; since when.
    expecting: Option<Timestamp>,
    hearing: Option<Hearing>,
    jobs: u64,
    speaking: Option<(u64, What)>,
    playing: Option<(u64, What)>,
    /// Told that nothing can be played; not told again until devices change.
    mute: bool,
    watch_level: bool,
    microphone: Option<String>,
    last_level: Instant,
}

pub(super) fn start(
    options: Options,
    to_self: Sender<Message>,
    inbox: Receiver<Message>,
    out: Outbox,
    alive: Sender<()>,
) -> std::io::Result<()> {
    let Options {
        phrases,
        logbook,
        loader,
        sound,
        input,
        output,
        situation,
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
        step,
    };
    let thread = |name: &str| std::thread::Builder::new().name(name.into());
    let (ears, ears_inbox) = mpsc::channel();
    let (keeper, keeper_inbox) = mpsc::channel();
    let (answers, alive_ears) = (to_self.clone(), alive.clone());
    thread("recogniser").spawn(move || {
        ears::run(&loader, &ears_inbox, &answers);
        drop(alive_ears);
    })?;
    let out_keeper = out.clone();
    thread("logbook").spawn(move || {
        keeper::run(&logbook, &keeper_inbox, to_self, out_keeper);
        drop(alive);
    })?;
    thread("worker").spawn(move || {
        let mut conductor = Conductor::new(setup, out, ears, keeper);
        if sound {
            conductor.open_sound();
        }
        conductor.work(&inbox);
    })?;
    Ok(())
}

impl Conductor {
    fn new(setup: Setup, out: Outbox, ears: Sender<ears::Order>, keeper: Sender<keeper::Order>) -> Self {
        Self {
            out,
            ears,
            keeper,
            setup,
            recorder: None,
            player: None,
            speaker: None,
            devices: None,
            model: ModelState::Loading,
            site: None,
            student: None,
            name: None,
            run: None,
            turns: 0,
            expecting: None,
            hearing: None,
            jobs: 0,
            speaking: None,
            playing: None,
            mute: false,
            watch_level: false,
            microphone: None,
            last_level: Instant::now(),
        }
    }

    fn open_sound(&mut self) {
        match Recorder::open(self.setup.input.clone()) {
            Ok(recorder) => self.recorder = Some(recorder),
            Err(e) => self.out.trouble(e),
        }
        match Player::open(self.setup.output.clone()) {
            Ok(player) => self.player = Some(player),
            Err(e) => self.out.trouble(e),
        }
        match Speaker::open() {
            Ok(speaker) => self.speaker = Some(speaker),
            Err(e) => self.out.trouble(e),
        }
    }

    fn work(mut self, inbox: &Receiver<Message>) {
        self.out
            .tell(Event::Sites(folders::find_sites(self.setup.phrases.as_deref())));
        self.load_model();
        loop {
            let busy = self.expecting.is_some()
                || self.speaking.is_some()
                || self.playing.is_some()
                || self.watch_level
                || self.devices.is_some();
            match inbox.recv_timeout(if busy { BUSY } else { IDLE }) {
                Ok(Message::Command(Command::Quit)) | Err(RecvTimeoutError::Disconnected) => break,
                Ok(Message::Command(command)) => self.obey(command),
                Ok(Message::Loaded(result)) => self.loaded(result),
                Ok(Message::Heard { job, result }) => self.heard(job, result),
                Ok(Message::Name { student, name }) => {
                    if self.student.as_ref().is_some_and(|s| s.id == student) {
                        self.name = name;
                    }
                }
                Ok(Message::Student(student)) => self.student_chosen(student),
                Err(RecvTimeoutError::Timeout) => {}
            }
            self.attend_to_sound();
        }
        self.cancel();
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
            Command::Next => self.next(),
            Command::PlayPrompt => self.play_prompt(),
            Command::PlayAnswer => self.play_answer(),
            Command::PlayOwn => self.play_own(),
            Command::StopPlaying => self.stop_playing(),
            Command::Press => self.press(),
            Command::Release => self.release(),
            Command::Cancel => self.cancel(),
            Command::Type(text) => self.typed(&text),
            Command::Speak(clip) => self.speak(*clip),
            Command::ListDevices => match devices::list_in_background() {
                Ok(answer) => self.devices = Some(answer),
                Err(e) => self.out.trouble(e),
            },
            Command::ChooseDevices { input, output } => self.choose_devices(input, output),
            Command::WatchLevel(on) => self.watch_level = on,
            // Ends the loop before it comes here.
            Command::Quit => {}
        }
    }

    fn order(&self, order: keeper::Order) {
        if let Err(lost) = self.keeper.send(order) {
            self.out.trouble("the logbook is not there; start the program again");
            if let keeper::Order::Record { attempt, .. } = lost.0 {
                self.out.tell(Event::NotStored(attempt.id));
            }
        }
    }

    // ---- site, model, student, devices

    fn load_site(&mut self, request: &SiteRequest) {
        let loaded = folders::load_site(&request.0, self.setup.phrases.as_deref());
        match loaded {
            Ok((site, folder)) => {
                let site = Arc::new(site);
                self.abandon();
                self.site = Some((site.clone(), folder));
                self.out.tell(Event::SiteLoaded(site));
            }
            Err(e) => self.out.trouble(e),
        }
    }

    fn load_model(&mut self) {
        self.set_model(ModelState::Loading);
        // The recogniser's thread ends only with this one.
        let _ = self.ears.send(ears::Order::Load);
    }

    fn loaded(&mut self, result: Result<String, String>) {
        match result {
            Ok(name) => self.set_model(ModelState::Ready(name)),
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
        self.out.tell(Event::Student(self.student.clone()));
    }

    fn ask_for_name(&self) {
        if let Some(student) = self.student.as_ref().filter(|s| s.recording_allowed()) {
            self.order(keeper::Order::Name(student.id));
        }
    }

    fn choose_devices(&mut self, input: Option<String>, output: Option<String>) {
        if let (Some(recorder), true) = (&self.recorder, input != self.setup.input) {
            recorder.choose(input.clone());
            self.set_microphone(None);
        }
        if let (Some(player), true) = (&self.player, output != self.setup.output) {
            player.choose(output.clone());
        }
        self.mute = false;
        self.setup.input = input;
        self.setup.output = output;
    }

    // ---- the turn

    fn step(&self) -> Option<(Arc<Site>, Step)> {
        let (site, _) = self.site.as_ref()?;
        let step = site.step(&self.setup.step)?.clone();
        Some((site.clone(), step))
    }

    /// Throws the turn away with what belongs to it.
    fn abandon(&mut self) {
        self.cancel();
        self.stop_playing();
        self.run = None;
    }

    fn next(&mut self) {
        let Some((site, _)) = self.site.clone() else {
            self.out.trouble("choose a site first");
            return;
        };
        let Some(step) = site.step(&self.setup.step).cloned() else {
            let known: Vec<&str> = site.steps.iter().map(|s| s.id.as_str()).collect();
            self.out.trouble(format!(
                "the site {} has no step \"{}\"; it has: {}",
                site.id,
                self.setup.step,
                known.join(", ")
            ));
            return;
        };
        let before = self.run.as_ref().map(|r| r.turn.situation.clone());
        let wanted = self.setup.situation.as_ref().map(|s| s.at(&site));
        let situation = match wanted {
            Some(Ok(s)) => Some(s),
            Some(Err(e)) => {
                self.out.trouble(e);
                return;
            }
            // The low half of a random identifier is random in every bit but two of the highest.
            None => drill::deal(&site, before.as_ref(), &mut || Uuid::new_v4().as_u128() as u32).map(|mut s| {
                // Only what this step has a part for belongs to it.
                s.more.retain(|element, _| step.elements.contains(element));
                s
            }),
        };
        let Some(situation) = situation else {
            self.out
                .trouble(format!("the site {} has no aircraft or no cable to deal", site.id));
            return;
        };
        self.abandon();
        self.turns += 1;
        self.run = Some(Run {
            turn: Turn::new(situation.clone()),
            id: Uuid::new_v4(),
            prompt_end: None,
            answer: None,
            own: None,
        });
        self.out.tell(Event::Dealt(Dealt {
            situation,
            step: self.setup.step.clone(),
            number: self.turns,
        }));
        self.tell_state();
        self.play_prompt();
    }

    fn tell_state(&self) {
        if let Some(run) = &self.run {
            self.out.tell(Event::State(run.turn.state));
        }
    }

    fn may_speak(&self) -> bool {
        self.run
            .as_ref()
            .is_some_and(|r| matches!(r.turn.state, TurnState::YourCall | TurnState::Receiving))
    }

    fn press(&mut self) {
        if !self.may_speak() {
            return;
        }
        if let ModelState::Missing(why) = &self.model {
            self.out
                .trouble(format!("without the speech model calls can only be typed: {why}"));
            return;
        }
        let Some(recorder) = &self.recorder else {
            self.out.trouble("there is no microphone here; type the call");
            return;
        };
        let target = self
            .name
            .take()
            .zip(self.setup.recordings.as_ref())
            .map(|(n, folder)| n.path(folder));
        recorder.press(target, self.run.as_ref().and_then(|r| r.prompt_end));
        self.expecting = Some(Timestamp::now());
        self.stop_playing();
        if let Some(run) = &mut self.run {
            run.turn.press();
        }
        self.tell_state();
    }

    fn release(&mut self) {
        if self.expecting.is_none() {
            return;
        }
        if let Some(recorder) = &self.recorder {
            recorder.release();
        }
        if self.run.as_mut().is_some_and(|r| r.turn.release()) {
            self.tell_state();
        }
    }

    /// Throws away what is being said or judged.
    fn cancel(&mut self) {
        let mut anything = false;
        if self.expecting.take().is_some() {
            anything = true;
            if let Some(recorder) = &self.recorder {
                recorder.cancel();
            }
        }
        if let Some(hearing) = self.hearing.take() {
            anything = true;
            hearing.cancel.store(true, Ordering::Relaxed);
            if let Some(file) = &hearing.file {
                keeper::remove(file, &self.out);
            }
        }
        if anything {
            if let Some(run) = &mut self.run {
                run.turn.cancel();
            }
            self.ask_for_name();
            self.out.tell(Event::Cancelled);
            self.tell_state();
        }
    }

    fn typed(&mut self, text: &str) {
        let Some((site, step)) = self.step().filter(|_| self.may_speak()) else {
            return;
        };
        self.stop_playing();
        let began = Timestamp::now();
        let evidence = Evidence::typed(&Vocabulary::of(&site, &step), text);
        let Some(run) = &mut self.run else { return };
        run.turn.press();
        run.turn.release();
        self.judged(evidence, None, None, began, Instant::now());
    }

    fn speak(&mut self, clip: Clip) {
        if !self.may_speak() {
            return;
        }
        self.stop_playing();
        if let Some(run) = &mut self.run {
            run.turn.press();
            run.turn.release();
        }
        self.tell_state();
        self.hear(clip, None, None, Timestamp::now());
    }

    fn hear(&mut self, clip: Clip, recording: Option<RecordingName>, file: Option<PathBuf>, began: Timestamp) {
        let Some((site, step)) = self.step() else {
            return;
        };
        self.jobs += 1;
        let clip = Arc::new(clip);
        let cancel = Arc::new(AtomicBool::new(false));
        // The recogniser's thread ends only with this one.
        let _ = self.ears.send(ears::Order::Hear {
            job: self.jobs,
            clip: clip.clone(),
            vocabulary: Box::new(Vocabulary::of(&site, &step)),
            cancel: cancel.clone(),
        });
        if let Some(run) = &mut self.run {
            run.own = Some(clip.clone());
        }
        self.hearing = Some(Hearing {
            job: self.jobs,
            cancel,
            clip,
            recording,
            file,
            ended: Instant::now(),
            began,
        });
    }

    fn heard(&mut self, job: u64, result: Heard) {
        let Some(hearing) = self.hearing.take_if(|h| h.job == job) else {
            return;
        };
        match result {
            Ok((evidence, model)) => {
                let (began, ended) = (hearing.began, hearing.ended);
                self.judged(evidence, Some(model), Some(hearing), began, ended);
            }
            Err(e) => {
                // The recording stays: it can be judged later.
                if let Some(run) = &mut self.run {
                    run.turn.cancel();
                }
                self.out.trouble(e);
                self.tell_state();
            }
        }
    }

    fn judged(
        &mut self,
        evidence: Evidence,
        model: Option<ModelUsed>,
        hearing: Option<Hearing>,
        began: Timestamp,
        ended: Instant,
    ) {
        let Some((site, step)) = self.step() else {
            return;
        };
        let Some(run) = &mut self.run else { return };
        let this_call = judge(&site, &step, &run.turn.situation, &evidence, &Limits::DEFAULT);
        let answer = run.turn.judged(&site, &step, &this_call);
        let judgement = match (&run.turn.so_far, this_call.outcome) {
            (Some(so_far), o) if o != Outcome::NothingHeard => so_far.clone(),
            _ => this_call.clone(),
        };
        run.answer = Some(answer.clone());
        run.prompt_end = None;
        let milliseconds = u32::try_from(ended.elapsed().as_millis()).unwrap_or(u32::MAX);
        let clip = hearing.as_ref().map(|h| h.clip.clone());
        let attempt = attempt(&Facts {
            site: &site,
            step: &step,
            run,
            student: self.student.as_ref().map(|s| s.id),
            began,
            judgement: &judgement,
            this_call: &this_call,
            evidence: &evidence,
            model,
            clip: clip.as_deref(),
            recording: hearing.as_ref().and_then(|h| h.recording),
            milliseconds,
        });
        let judged = Judged {
            id: attempt.id,
            judgement,
            evidence,
            answer,
            attempt: run.turn.attempts,
            troubles: clip.iter().flat_map(|c| &c.troubles).map(ToString::to_string).collect(),
            spoken: clip.is_some(),
            milliseconds,
        };
        if clip.is_none() {
            run.own = None;
        }
        self.out.tell(Event::Judged(Box::new(judged)));
        self.order(keeper::Order::Record {
            attempt: Box::new(attempt),
            file: hearing.and_then(|h| h.file),
        });
        self.ask_for_name();
        self.tell_state();
        self.play_answer();
    }

    // ---- what is heard

    fn play_prompt(&mut self) {
        let Some((_, step)) = self.step() else { return };
        let Some(run) = &mut self.run else { return };
        match run.turn.state {
            // A prompt in the middle of a turn is not part of it any more.
            TurnState::YourCall => run.turn.state = TurnState::Receiving,
            TurnState::Receiving => {}
            _ => return,
        }
        self.tell_state();
        match step.prompt {
            Some(line) => self.say(&line),
            None => self.line_ended(Instant::now()),
        }
    }

    fn play_answer(&mut self) {
        let line = self
            .run
            .as_ref()
            .filter(|r| !matches!(r.turn.state, TurnState::Transmitting | TurnState::Judging))
            .and_then(|r| r.answer.as_ref()?.line().cloned())
            .filter(|l| !l.text.is_empty());
        match line {
            Some(l) => self.say(&Line {
                role: l.role,
                text: l.text,
                clip: l.clip,
            }),
            None => self.line_ended(Instant::now()),
        }
    }

    fn say(&mut self, line: &Line) {
        self.silence();
        let Some((site, folder)) = &self.site else {
            return;
        };
        let (Some(speaker), Some(_)) = (&self.speaker, &self.player) else {
            self.line_ended(Instant::now());
            return;
        };
        let role = Role::of(&line.role);
        let radio = role.on_radio();
        let line = voice::Line {
            text: line.text.clone(),
            clip: folder
                .as_ref()
                .zip(line.clip.as_ref())
                .map(|(folder, clip)| folder.join(clip)),
            role,
            language: site.language,
        };
        self.speaking = Some((speaker.say(line, radio.then(Radio::default)), What::Line));
        self.out.tell(Event::Playing(true));
    }

    fn play_own(&mut self) {
        let Some(run) = &self.run else { return };
        if matches!(run.turn.state, TurnState::Transmitting | TurnState::Judging) {
            return;
        }
        let Some(clip) = run.own.clone() else {
            self.out.trouble("there is no spoken call to play yet");
            return;
        };
        self.stop_playing();
        self.play(clip.samples.clone(), What::Own);
    }

    fn play(&mut self, samples: Vec<f32>, what: What) {
        if let Some(player) = &self.player {
            self.playing = Some((player.play(samples), what));
            self.out.tell(Event::Playing(true));
        } else {
            self.sound_ended(what, Instant::now());
        }
    }

    /// Stops what plays or is about to; a line stopped counts as spoken.
    fn stop_playing(&mut self) {
        if let Some(what) = self.silence() {
            self.sound_ended(what, Instant::now());
        }
    }

    /// Stops what plays or is about to, and says what it was.
    fn silence(&mut self) -> Option<What> {
        let speaking = self.speaking.take();
        let playing = self.playing.take();
        if speaking.is_some()
            && let Some(speaker) = &self.speaker
        {
            speaker.cancel();
        }
        if playing.is_some()
            && let Some(player) = &self.player
        {
            player.stop();
        }
        speaking.or(playing).map(|(_, what)| what)
    }

    fn sound_ended(&mut self, what: What, at: Instant) {
        self.out.tell(Event::Playing(false));
        if what == What::Line {
            self.line_ended(at);
        }
    }

    fn line_ended(&mut self, at: Instant) {
        let Some(run) = &mut self.run else { return };
        if run.turn.state == TurnState::Receiving {
            run.prompt_end = Some(at);
            run.turn.prompted();
            self.tell_state();
        }
    }

    fn attend_to_sound(&mut self) {
        self.attend_to_voice();
        while let Some(event) = self.player.as_ref().and_then(Player::poll) {
            self.player_event(event);
        }
        while let Some(event) = self.recorder.as_ref().and_then(Recorder::poll) {
            self.recorder_event(event);
        }
        if let Some(answer) = self.devices.as_ref().map(Receiver::try_recv) {
            match answer {
                Ok(result) => {
                    self.devices = None;
                    match result {
                        Ok(list) => self.out.tell(Event::Devices(list)),
                        Err(e) => self.out.trouble(e),
                    }
                }
                Err(mpsc::TryRecvError::Disconnected) => self.devices = None,
                Err(mpsc::TryRecvError::Empty) => {}
            }
        }
        let transmitting = self
            .run
            .as_ref()
            .is_some_and(|r| r.turn.state == TurnState::Transmitting);
        if (transmitting || self.watch_level)
            && self.microphone.is_some()
            && self.last_level.elapsed() >= LEVELS
            && let Some(recorder) = &self.recorder
        {
            self.last_level = Instant::now();
            self.out.tell(Event::Level(recorder.level()));
        }
    }

    fn attend_to_voice(&mut self) {
        while let Some(event) = self.speaker.as_ref().and_then(Speaker::poll) {
            let (VoiceEvent::Spoken { id, .. } | VoiceEvent::Failed { id, .. }) = &event;
            let Some((_, what)) = self.speaking.take_if(|s| s.0 == *id) else {
                continue;
            };
            match event {
                VoiceEvent::Spoken { spoken, .. } => {
                    if let Origin::InsteadOfClip(e) = &spoken.origin {
                        self.out.trouble(format!("The line is spoken by the synthesiser: {e}"));
                    }
                    self.play(spoken.samples, what);
                }
                VoiceEvent::Failed { error, .. } => {
                    self.out.trouble(error);
                    self.sound_ended(what, Instant::now());
                }
            }
        }
    }

    fn player_event(&mut self, event: PlayerEvent) {
        match event {
            PlayerEvent::Started { .. } | PlayerEvent::Stopped { .. } => {}
            PlayerEvent::Finished { id, at } => {
                if let Some((_, what)) = self.playing.take_if(|p| p.0 == id) {
                    self.sound_ended(what, at);
                }
            }
            PlayerEvent::Failed { id, error } => {
                if !self.mute {
                    self.mute = true;
                    self.out.trouble(error);
                }
                if let Some((_, what)) = self.playing.take_if(|p| p.0 == id) {
                    self.sound_ended(what, Instant::now());
                }
            }
        }
    }

    fn recorder_event(&mut self, event: RecorderEvent) {
        match event {
            RecorderEvent::Ready { device, .. } => self.set_microphone(Some(device)),
            RecorderEvent::Failed(e) => {
                self.set_microphone(None);
                self.out.trouble(e);
            }
            RecorderEvent::Lost { device } => {
                self.set_microphone(None);
                self.out.trouble(format!(
                    "The microphone \"{device}\" went away. Plug it in again or choose another one; calls can be typed."
                ));
            }
            RecorderEvent::Recording => {}
            RecorderEvent::NotReady(text) => {
                self.expecting = None;
                if let Some(run) = &mut self.run {
                    run.turn.cancel();
                }
                self.out.trouble(text);
                self.tell_state();
            }
            RecorderEvent::Warning(trouble) => self.out.trouble(trouble),
            RecorderEvent::Recorded(recorded) => self.recorded(*recorded),
        }
    }

    fn set_microphone(&mut self, name: Option<String>) {
        if self.microphone != name {
            self.microphone.clone_from(&name);
            self.out.tell(Event::Microphone(name));
        }
    }

    fn recorded(&mut self, recorded: Recorded) {
        let Recorded { clip, path } = recorded;
        let Some(began) = self.expecting.take() else {
            // Cancelled while it was being finished.
            if let Some(path) = path {
                keeper::remove(&path, &self.out);
            }
            return;
        };
        // The device went away, or the longest time was reached: nobody has let go of the key.
        if self.run.as_mut().is_some_and(|r| r.turn.release()) {
            self.tell_state();
        }
        let recording = path.as_ref().and_then(|p| p.file_name()?.to_str()?.parse().ok());
        self.out.tell(Event::Recorded {
            seconds: clip.seconds(),
            kept: path.is_some(),
        });
        self.hear(clip, recording, path, began);
    }
}

/// What an attempt is made of.
struct Facts<'a> {
    site: &'a Site,
    step: &'a Step,
    run: &'a Run,
    student: Option<Uuid>,
    began: Timestamp,
    judgement: &'a Judgement,
    this_call: &'a Judgement,
    evidence: &'a Evidence,
    model: Option<ModelUsed>,
    clip: Option<&'a Clip>,
    recording: Option<RecordingName>,
    milliseconds: u32,
}

fn attempt(f: &Facts) -> NewAttempt {
    let keying = f.clip.and_then(|c| c.keying);
    let whole = |seconds: f64| (seconds >= 0.0).then(|| (seconds * 1000.0).round() as u32);
    let mut evidence = f.evidence.clone();
    evidence.readings.truncate(READINGS_KEPT);
    // Plain data of numbers and texts: this cannot fail, and a missing explanation must not cost the attempt.
    let json = |v: serde_json::Result<serde_json::Value>| v.unwrap_or_default();
    NewAttempt {
        id: f.recording.map_or_else(Uuid::new_v4, |recording| recording.attempt()),
        student: f.student,
        started_at: f.began,
        utc_offset_seconds: jiff::tz::TimeZone::system().to_offset(f.began).seconds(),
        site: f.site.id.clone(),
        site_version: f.site.version.clone(),
        step: f.step.id.clone(),
        situation: json(serde_json::to_value(&f.run.turn.situation)),
        turn: f.run.id,
        turn_attempt: f.run.turn.attempts,
        model: f.model.clone(),
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        outcome: f.judgement.outcome,
        score: f.judgement.score.map(f64::from),
        timings: Timings {
            prompt_end_to_press_ms: keying.and_then(|k| whole(k.prompt_end_to_press?)),
            press_to_release_ms: keying.and_then(|k| whole(k.press_to_release)),
            judging_ms: Some(f.milliseconds),
        },
        transcript: f.evidence.transcript.clone(),
        evidence: serde_json::json!({
            "heard": json(serde_json::to_value(&evidence)),
            "judgement": json(serde_json::to_value(f.judgement)),
            "this_call": json(serde_json::to_value(f.this_call)),
            "clip": f.clip.map(|c| json(serde_json::to_value(c))),
        }),
        recording: f.recording,
        held_out: false,
        elements: f
            .judgement
            .elements
            .iter()
            .map(|e| logbook::ElementVerdict {
                margin: e.margin.map(f64::from),
                ..logbook::ElementVerdict::new(e.element.clone(), e.verdict, e.heard.clone())
            })
            .collect(),
    }
}
