//! The microphone behind a push-to-talk key.
//!
//! One worker thread owns the device: it opens it, keeps it warm, takes its samples from a ring buffer and makes clips
//! of what lies between press and release. Commands go in and events come out over channels; nothing here makes the
//! caller wait, not even `drop`. The device's own callback neither allocates nor locks: it fills the ring and counts
//! what did not fit.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{FromSample, SampleFormat, SizedSample};

use super::SoundError;
use super::clip::{Clip, Keying, SILENCE_DBFS, Trouble, dbfs};
use super::devices::{Direction, PATIENCE, aside, discard, find, name_of};
use super::file::full_scale;
use super::gather::Gather;
use super::part::PartFile;

/// The longest recording, seconds; then it ends by itself.
pub const LONGEST_CALL: f64 = 60.0;
/// Exact zeros for this long from the start mean a muted or forbidden microphone, seconds.
const ZEROS: f64 = 0.5;
/// How often the worker looks at the ring.
const POLL: Duration = Duration::from_millis(10);
/// A device that gave sound and then none for this long is gone: some systems report no error.
const SILENT_DEVICE: Duration = Duration::from_secs(1);
/// A device may take this long to give its first sound.
const FIRST_SOUND: Duration = Duration::from_secs(3);
/// After an error that usually means the end, data must stop for this long before it is believed.
const AFTER_ERROR: Duration = Duration::from_millis(300);
/// The sound up to the release may arrive this much later than the device's latency says.
const LATE: Duration = Duration::from_millis(400);
/// First and longest pause before a device that failed is tried again.
const RETRY: [Duration; 2] = [Duration::from_secs(2), Duration::from_secs(10)];
/// Seconds of sound the ring holds: the worker may be held up this long by a slow disk.
const RING: f64 = 4.0;

/// What the microphone's worker reports.
#[derive(Debug)]
pub enum RecorderEvent {
    /// The microphone is open and warm.
    Ready {
        /// Its name.
        device: String,
        /// Its rate, Hz.
        rate: u32,
        /// Its channels.
        channels: u16,
    },
    /// The microphone cannot be opened; it is tried again by itself. Reported once, not at each try.
    Failed(SoundError),
    /// The microphone went away; it is tried again by itself. A recording under way ends first, with what was heard.
    Lost {
        /// Its name.
        device: String,
    },
    /// The press was taken: recording.
    Recording,
    /// The press came to nothing because no microphone is open. The sentence says so.
    NotReady(String),
    /// Something is wrong with the recording under way.
    Warning(Trouble),
    /// The recording is done.
    Recorded(Box<Recorded>),
}

/// A finished recording.
#[derive(Debug)]
pub struct Recorded {
    /// What was heard.
    pub clip: Clip,
    /// The file it was saved to, if one was asked for and could be written.
    pub path: Option<PathBuf>,
}

/// The level of the microphone now, dBFS.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Highest sample, falling slowly.
    pub peak_dbfs: f32,
    /// RMS over about a tenth of a second.
    pub rms_dbfs: f32,
}

enum Command {
    Choose(Option<String>),
    Press {
        at: Instant,
        target: Option<PathBuf>,
        prompt_end: Option<Instant>,
    },
    Release {
        at: Instant,
    },
    Cancel,
}

/// A microphone with a push-to-talk key. Dropping it ends a recording under way (its file is kept) and closes the
/// device, without waiting for either.
#[derive(Debug)]
pub struct Recorder {
    commands: Sender<Command>,
    events: Receiver<RecorderEvent>,
    level: Arc<SharedLevel>,
}

impl Recorder {
    /// Starts to open a microphone: the one named (see [`super::devices::list`]) or the default one. Whether it worked
    /// comes as an event.
    pub fn open(choice: Option<String>) -> Result<Self, SoundError> {
        let (commands, inbox) = mpsc::channel();
        let (outbox, events) = mpsc::channel();
        let level = Arc::new(SharedLevel::default());
        let worker = Worker {
            choice,
            outbox,
            level: level.clone(),
            state: State::Closed {
                again: Instant::now(),
                pause: RETRY[0],
            },
            reported: false,
            recording: None,
            scratch: Vec::new(),
        };
        std::thread::Builder::new()
            .name("microphone".into())
            .spawn(move || worker.run(&inbox))
            .map_err(|source| SoundError::Thread { source })?;
        Ok(Self {
            commands,
            events,
            level,
        })
    }

    /// Changes to another microphone (none: the default one). A recording under way ends with what was heard.
    pub fn choose(&self, choice: Option<String>) {
        self.send(Command::Choose(choice));
    }

    /// The key goes down: record, and save to `target` (a `.wav`; while recording it ends in `.part.wav`). `prompt_end`
    /// is when the prompt before it ended, for the reaction time.
    pub fn press(&self, target: Option<PathBuf>, prompt_end: Option<Instant>) {
        self.send(Command::Press {
            at: Instant::now(),
            target,
            prompt_end,
        });
    }

    /// The key goes up: the clip follows as [`RecorderEvent::Recorded`] as soon as the device has delivered the sound up
    /// to now.
    pub fn release(&self) {
        self.send(Command::Release { at: Instant::now() });
    }

    /// Throws the recording under way away, with its file.
    pub fn cancel(&self) {
        self.send(Command::Cancel);
    }

    /// The level now, also when nothing is being recorded. Takes no lock.
    pub fn level(&self) -> Level {
        self.level.get()
    }

    /// The next event, if there is one.
    pub fn poll(&self) -> Option<RecorderEvent> {
        self.events.try_recv().ok()
    }

    /// The next event, for callers that may wait.
    pub fn wait(&self, at_most: Duration) -> Option<RecorderEvent> {
        self.events.recv_timeout(at_most).ok()
    }

    fn send(&self, command: Command) {
        // The worker only ends when this handle is dropped; should it have died, no event will come, as with a dead device.
        let _ = self.commands.send(command);
    }
}

#[derive(Debug)]
struct SharedLevel {
    peak: AtomicU32,
    rms: AtomicU32,
}

impl Default for SharedLevel {
    fn default() -> Self {
        let silence = || AtomicU32::new(SILENCE_DBFS.to_bits());
        Self {
            peak: silence(),
            rms: silence(),
        }
    }
}

impl SharedLevel {
    fn get(&self) -> Level {
        let read = |a: &AtomicU32| f32::from_bits(a.load(Ordering::Relaxed));
        Level {
            peak_dbfs: read(&self.peak),
            rms_dbfs: read(&self.rms),
        }
    }

    fn set(&self, level: Level) {
        self.peak.store(level.peak_dbfs.to_bits(), Ordering::Relaxed);
        self.rms.store(level.rms_dbfs.to_bits(), Ordering::Relaxed);
    }
}

/// What the device's callbacks and the worker share, without locks.
#[derive(Debug)]
struct Pulse {
    start: Instant,
    /// Microseconds from `start` to the last data; 0 before the first.
    last_data: AtomicU64,
    /// How long ago the last data was captured when it came, microseconds.
    latency: AtomicU64,
    /// Frames that did not fit into the ring.
    dropped: AtomicU64,
    /// An error came after which streams usually end.
    ending: AtomicBool,
}

impl Pulse {
    fn now(&self) -> u64 {
        u64::try_from(self.start.elapsed().as_micros())
            .unwrap_or(u64::MAX)
            .max(1)
    }

    /// How long no data has come.
    fn silent_for(&self) -> Duration {
        Duration::from_micros(self.now().saturating_sub(self.last_data.load(Ordering::Relaxed)))
    }
}

/// An open microphone.
struct Input {
    stream: cpal::Stream,
    pulse: Arc<Pulse>,
    ring: rtrb::Consumer<f32>,
    device: String,
    rate: u32,
    channels: usize,
    full_scale: f32,
}

enum State {
    Closed {
        again: Instant,
        pause: Duration,
    },
    Opening {
        answer: Receiver<Result<Input, SoundError>>,
        until: Instant,
        pause: Duration,
    },
    Open(Input),
}

struct Recording {
    gather: Gather,
    pressed: Instant,
    prompt_end: Option<Instant>,
    released: Option<Instant>,
    /// Seconds of the clip before the press.
    lead: f64,
    /// The clip is complete with this many frames.
    wanted: u64,
    /// Or at this time, if the device does not deliver them.
    give_up: Option<Instant>,
    file: Option<PartFile>,
    not_on_disk: Option<String>,
    dropped_before: u64,
    warned: bool,
    rate: u32,
}

struct Worker {
    choice: Option<String>,
    outbox: Sender<RecorderEvent>,
    level: Arc<SharedLevel>,
    state: State,
    /// The failure to open was told.
    reported: bool,
    recording: Option<Recording>,
    scratch: Vec<f32>,
}

impl Worker {
    fn run(mut self, inbox: &Receiver<Command>) {
        loop {
            let mut command = inbox.recv_timeout(POLL);
            // A busy system may hold this thread up anywhere. What came after the release must not be taken before the release
            // is known: it is looked for once more when it is clear how much sound would be taken.
            let there = self.there();
            if matches!(command, Err(RecvTimeoutError::Timeout))
                && let Ok(late) = inbox.try_recv()
            {
                command = Ok(late);
            }
            match &command {
                Ok(Command::Release { .. }) => {}
                // Sound from before a press belongs to no recording.
                Ok(_) => self.drain(usize::MAX),
                Err(_) => self.drain(there),
            }
            match command {
                Ok(command) => self.obey(command),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
            self.tend();
        }
        self.finish(None);
        if let State::Open(input) = self.state {
            discard(input.stream);
        }
    }

    fn tell(&self, event: RecorderEvent) {
        // Nobody listens any more when the handle is being dropped.
        let _ = self.outbox.send(event);
    }

    fn obey(&mut self, command: Command) {
        match command {
            Command::Choose(choice) => {
                self.finish(None);
                self.choice = choice;
                self.reported = false;
                self.close(Instant::now(), RETRY[0]);
            }
            Command::Press { at, target, prompt_end } => self.press(at, target.as_deref(), prompt_end),
            Command::Release { at } => self.release(at),
            Command::Cancel => {
                if let Some(Recording { file: Some(file), .. }) = self.recording.take() {
                    file.remove();
                }
            }
        }
    }

    fn press(&mut self, at: Instant, target: Option<&Path>, prompt_end: Option<Instant>) {
        if self.recording.is_some() {
            return;
        }
        let State::Open(input) = &self.state else {
            let why = if matches!(self.state, State::Opening { .. }) {
                "is still being opened"
            } else {
                "is not there"
            };
            let text = format!("The microphone {why}. Wait a moment, choose another one, or type the call.");
            self.tell(RecorderEvent::NotReady(text));
            return;
        };
        let gather = match Gather::new(input.rate, input.channels, input.full_scale) {
            Ok(gather) => gather,
            Err(e) => {
                self.tell(RecorderEvent::NotReady(e.to_string()));
                return;
            }
        };
        let latency = input.pulse.latency.load(Ordering::Relaxed) as f64 / 1e6;
        // What the device delivers from now on was captured that much earlier; the time the command took makes up for some.
        let lead = (latency - at.elapsed().as_secs_f64()).max(0.0);
        let mut recording = Recording {
            gather,
            pressed: at,
            prompt_end,
            released: None,
            lead,
            wanted: ((LONGEST_CALL + lead) * f64::from(input.rate)) as u64,
            give_up: None,
            file: None,
            not_on_disk: None,
            dropped_before: input.pulse.dropped.load(Ordering::Relaxed),
            warned: false,
            rate: input.rate,
        };
        if let Some(target) = target {
            match PartFile::create(target, 1.0 / input.channels as f32) {
                Ok(file) => recording.file = Some(file),
                Err(e) => recording.not_on_disk = Some(e.to_string()),
            }
        }
        self.recording = Some(recording);
        self.tell(RecorderEvent::Recording);
    }

    fn release(&mut self, at: Instant) {
        let State::Open(input) = &self.state else {
            return;
        };
        let Some(recording) = &mut self.recording else {
            return;
        };
        if recording.released.is_some() {
            return;
        }
        let held = at.saturating_duration_since(recording.pressed).as_secs_f64();
        recording.released = Some(at);
        recording.wanted = recording
            .wanted
            .min(((held + recording.lead) * f64::from(input.rate)) as u64);
        let latency = Duration::from_micros(input.pulse.latency.load(Ordering::Relaxed));
        recording.give_up = Some(Instant::now() + latency.min(SILENT_DEVICE) + LATE);
    }

    /// How much the device has delivered that was not taken yet.
    fn there(&self) -> usize {
        match &self.state {
            State::Open(input) => input.ring.slots(),
            _ => 0,
        }
    }

    /// Takes what the device has delivered, at most so much.
    fn drain(&mut self, most: usize) {
        let State::Open(input) = &mut self.state else {
            return;
        };
        let slots = input.ring.slots().min(most);
        let Ok(chunk) = input.ring.read_chunk(slots - slots % input.channels.max(1)) else {
            return;
        };
        if chunk.is_empty() {
            return;
        }
        let (first, second) = chunk.as_slices();
        self.scratch.clear();
        self.scratch.extend_from_slice(first);
        self.scratch.extend_from_slice(second);
        chunk.commit_all();
        self.level
            .set(next_level(self.level.get(), &self.scratch, input.channels, input.rate));
        if let Some(recording) = &mut self.recording
            && let Err(e) = recording.take(&self.scratch, input.channels)
        {
            self.tell(RecorderEvent::Failed(e));
            self.finish(None);
        }
    }

    /// Everything that happens by itself: opening, watching, ending.
    fn tend(&mut self) {
        match &self.state {
            State::Closed { again, pause } => {
                if Instant::now() >= *again {
                    self.state = self.start_opening(*pause);
                }
            }
            State::Opening { answer, until, pause } => {
                let pause = *pause;
                match answer.try_recv() {
                    Ok(Ok(input)) => {
                        self.reported = false;
                        self.tell(RecorderEvent::Ready {
                            device: input.device.clone(),
                            rate: input.rate,
                            channels: input.channels as u16,
                        });
                        self.state = State::Open(input);
                    }
                    Ok(Err(e)) => self.failed(e, pause),
                    Err(_) if Instant::now() >= *until => {
                        self.failed(
                            SoundError::NoAnswer {
                                seconds: PATIENCE.as_secs(),
                            },
                            pause,
                        );
                    }
                    Err(_) => {}
                }
            }
            State::Open(input) => {
                let silent = input.pulse.silent_for();
                let patience = if input.pulse.last_data.load(Ordering::Relaxed) == 0 {
                    FIRST_SOUND
                } else if input.pulse.ending.load(Ordering::Relaxed) {
                    AFTER_ERROR
                } else {
                    SILENT_DEVICE
                };
                if silent > patience {
                    let device = input.device.clone();
                    let lost = self.recording.as_ref().map(|r| r.gather.meter().seconds() - r.lead);
                    self.finish(lost.map(|at| Trouble::DeviceLost {
                        at_seconds: at.max(0.0),
                    }));
                    self.close(Instant::now() + RETRY[0], RETRY[0]);
                    self.tell(RecorderEvent::Lost { device });
                    return;
                }
                self.tend_recording();
            }
        }
    }

    fn tend_recording(&mut self) {
        let Some(recording) = &mut self.recording else {
            return;
        };
        let meter = recording.gather.meter();
        let all_zero = meter.seconds() >= ZEROS && meter.only_zeros();
        if all_zero && !recording.warned {
            recording.warned = true;
            let seconds = meter.seconds();
            self.tell(RecorderEvent::Warning(Trouble::AllZeros { seconds }));
            return;
        }
        if recording.complete() {
            self.finish(None);
        } else if let Some(reason) = recording.save() {
            self.tell(RecorderEvent::Warning(Trouble::NotOnDisk { reason }));
        }
    }

    fn start_opening(&mut self, pause: Duration) -> State {
        let choice = self.choice.clone();
        match aside("sound-open", move || open(choice.as_deref())) {
            Ok(answer) => State::Opening {
                answer,
                until: Instant::now() + PATIENCE,
                pause,
            },
            Err(e) => {
                self.report(e);
                State::Closed {
                    again: Instant::now() + pause,
                    pause: RETRY[1],
                }
            }
        }
    }

    fn failed(&mut self, error: SoundError, pause: Duration) {
        self.report(error);
        self.close(Instant::now() + pause, (pause * 2).min(RETRY[1]));
    }

    fn report(&mut self, error: SoundError) {
        if !self.reported {
            self.reported = true;
            self.tell(RecorderEvent::Failed(error));
        }
    }

    fn close(&mut self, again: Instant, pause: Duration) {
        if let State::Open(input) = std::mem::replace(&mut self.state, State::Closed { again, pause }) {
            discard(input.stream);
        }
        self.level.set(Level {
            peak_dbfs: SILENCE_DBFS,
            rms_dbfs: SILENCE_DBFS,
        });
    }

    /// Ends the recording under way, if there is one, and hands it over.
    fn finish(&mut self, trouble: Option<Trouble>) {
        let Some(recording) = self.recording.take() else {
            return;
        };
        let dropped = match &self.state {
            State::Open(input) => input.pulse.dropped.load(Ordering::Relaxed),
            _ => recording.dropped_before,
        };
        match recording.finish(dropped, trouble) {
            Ok(recorded) => self.tell(RecorderEvent::Recorded(Box::new(recorded))),
            Err(e) => self.tell(RecorderEvent::Failed(e)),
        }
    }
}

impl Recording {
    fn take(&mut self, samples: &[f32], channels: usize) -> Result<(), SoundError> {
        for frame in samples.chunks_exact(channels.max(1)) {
            if self.gather.meter().frames() >= self.wanted {
                break;
            }
            self.gather.frame(frame)?;
        }
        Ok(())
    }

    fn complete(&self) -> bool {
        self.gather.meter().frames() >= self.wanted || self.give_up.is_some_and(|t| Instant::now() >= t)
    }

    /// Writes what is new to the file. When that fails the recording goes on in memory, and the reason is given once.
    fn save(&mut self) -> Option<String> {
        let result = self.file.as_mut()?.extend(self.gather.samples());
        let reason = result.err()?.to_string();
        if let Some(file) = self.file.take() {
            file.remove();
        }
        self.not_on_disk = Some(reason.clone());
        Some(reason)
    }

    fn finish(self, dropped: u64, trouble: Option<Trouble>) -> Result<Recorded, SoundError> {
        let gain = self.gather.meter().mix_gain();
        let seconds = self.gather.meter().seconds();
        let limit = self.released.is_none() && trouble.is_none() && seconds >= LONGEST_CALL;
        let mut clip = self.gather.finish()?;
        let end = self
            .released
            .unwrap_or_else(|| self.pressed + Duration::from_secs_f64((seconds - self.lead).max(0.0)));
        clip.keying = Some(Keying {
            prompt_end_to_press: self.prompt_end.map(|prompt| between(prompt, self.pressed)),
            press_to_release: between(self.pressed, end),
            lead: self.lead,
        });
        clip.troubles.extend(trouble);
        if limit {
            clip.troubles.push(Trouble::TimeLimit { seconds: LONGEST_CALL });
        }
        let lost = dropped.saturating_sub(self.dropped_before);
        if lost > 0 {
            clip.troubles.push(Trouble::Dropped {
                samples: lost,
                seconds: lost as f64 / f64::from(self.rate),
            });
        }
        let mut not_on_disk = self.not_on_disk;
        let mut path = None;
        if let Some(file) = self.file {
            match file.finish(&clip.samples, gain) {
                Ok(saved) => path = Some(saved),
                Err(e) => not_on_disk = Some(e.to_string()),
            }
        }
        clip.troubles
            .extend(not_on_disk.map(|reason| Trouble::NotOnDisk { reason }));
        Ok(Recorded { clip, path })
    }
}

/// Seconds from `a` to `b`, negative if `b` came first.
fn between(a: Instant, b: Instant) -> f64 {
    if b >= a {
        (b - a).as_secs_f64()
    } else {
        -(a - b).as_secs_f64()
    }
}

/// The level after `samples` more: the peak falls 20 dB a second, the RMS follows with a time constant of 0.1 s.
fn next_level(before: Level, samples: &[f32], channels: usize, rate: u32) -> Level {
    let count = samples.len().max(1) as f64;
    let seconds = count / channels.max(1) as f64 / f64::from(rate.max(1));
    let peak = samples.iter().fold(0f32, |m, s| m.max(s.abs()));
    let energy = samples.iter().map(|s| f64::from(*s) * f64::from(*s)).sum::<f64>() / count;
    let keep = (-seconds / 0.1).exp();
    let energy_before = 10f64.powf(f64::from(before.rms_dbfs) / 10.0);
    Level {
        peak_dbfs: dbfs(peak.into())
            .max(before.peak_dbfs - (20.0 * seconds) as f32)
            .max(SILENCE_DBFS),
        rms_dbfs: dbfs((keep * energy_before + (1.0 - keep) * energy).sqrt()),
    }
}

/// Opens a microphone and starts it. Blocks as long as the sound system likes.
fn open(choice: Option<&str>) -> Result<Input, SoundError> {
    let host = cpal::default_host();
    let device = find(&host, Direction::Input, choice)?;
    let name = name_of(&device);
    let failed = |e: cpal::Error| trouble_opening(&name, &e);
    let form = device.default_input_config().map_err(failed)?;
    let (rate, channels) = (form.sample_rate(), usize::from(form.channels()));
    let format = form.sample_format();
    // The system's own buffers: a period asked for also bounds what PulseAudio keeps when this computer is busy, and then
    // sound is lost.
    let (stream, pulse, ring) = build(&device, form.config(), format).map_err(failed)?;
    stream.play().map_err(failed)?;
    let full_scale = if format.is_float() {
        1.0
    } else {
        full_scale(format.bits_per_sample())
    };
    Ok(Input {
        stream,
        pulse,
        ring,
        device: name,
        rate,
        channels,
        full_scale,
    })
}

fn trouble_opening(name: &str, e: &cpal::Error) -> SoundError {
    match e.kind() {
        cpal::ErrorKind::DeviceNotAvailable | cpal::ErrorKind::HostUnavailable => SoundError::NoDevice {
            direction: Direction::Input,
            detail: format!("{name}: {e}"),
        },
        _ => SoundError::Device {
            direction: Direction::Input,
            name: name.to_string(),
            detail: e.to_string(),
        },
    }
}

type Built = (cpal::Stream, Arc<Pulse>, rtrb::Consumer<f32>);

fn build(device: &cpal::Device, config: cpal::StreamConfig, format: SampleFormat) -> Result<Built, cpal::Error> {
    match format {
        SampleFormat::I8 => build_as::<i8>(device, config),
        SampleFormat::I16 => build_as::<i16>(device, config),
        SampleFormat::I24 => build_as::<cpal::I24>(device, config),
        SampleFormat::I32 => build_as::<i32>(device, config),
        SampleFormat::I64 => build_as::<i64>(device, config),
        SampleFormat::U8 => build_as::<u8>(device, config),
        SampleFormat::U16 => build_as::<u16>(device, config),
        SampleFormat::U24 => build_as::<cpal::U24>(device, config),
        SampleFormat::U32 => build_as::<u32>(device, config),
        SampleFormat::U64 => build_as::<u64>(device, config),
        SampleFormat::F32 => build_as::<f32>(device, config),
        SampleFormat::F64 => build_as::<f64>(device, config),
        other => Err(cpal::Error::with_message(
            cpal::ErrorKind::UnsupportedConfig,
            format!("its sample format {other} is not supported"),
        )),
    }
}

fn build_as<T: SizedSample>(device: &cpal::Device, config: cpal::StreamConfig) -> Result<Built, cpal::Error>
where
    f32: FromSample<T>,
{
    let channels = usize::from(config.channels).max(1);
    let capacity = (RING * f64::from(config.sample_rate)) as usize * channels;
    let (mut producer, ring) = rtrb::RingBuffer::<f32>::new(capacity);
    let pulse = Arc::new(Pulse {
        start: Instant::now(),
        last_data: AtomicU64::new(0),
        latency: AtomicU64::new(0),
        dropped: AtomicU64::new(0),
        ending: AtomicBool::new(false),
    });
    let (for_data, for_errors) = (pulse.clone(), pulse.clone());
    let stream = device.build_input_stream::<T, _, _>(
        config,
        move |data: &[T], info: &cpal::InputCallbackInfo| {
            let free = producer.slots();
            let fitting = data.len().min(free - free % channels);
            if let Ok(chunk) = producer.write_chunk_uninit(fitting) {
                chunk.fill_from_iter(data.iter().map(|s| f32::from_sample_(*s)));
            }
            let lost = (data.len() - fitting) / channels;
            if lost > 0 {
                for_data.dropped.fetch_add(lost as u64, Ordering::Relaxed);
            }
            let stamp = info.timestamp();
            let latency = stamp.callback.duration_since(stamp.capture);
            for_data.latency.store(latency.as_micros() as u64, Ordering::Relaxed);
            for_data.last_data.store(for_data.now(), Ordering::Relaxed);
        },
        move |e| {
            use cpal::ErrorKind as Kind;
            // Buffer trouble, refused priorities and rerouting leave the stream alive.
            if matches!(
                e.kind(),
                Kind::DeviceNotAvailable | Kind::StreamInvalidated | Kind::HostUnavailable
            ) {
                for_errors.ending.store(true, Ordering::Relaxed);
            }
        },
        Some(PATIENCE),
    )?;
    Ok((stream, pulse, ring))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_level_rises_at_once_and_falls_slowly() {
        let silence = Level {
            peak_dbfs: SILENCE_DBFS,
            rms_dbfs: SILENCE_DBFS,
        };
        let loud = next_level(silence, &[0.5; 1600], 1, 16_000);
        assert!((loud.peak_dbfs + 6.02).abs() < 0.01);
        // One time constant: 1 - 1/e of the energy, 10 lg 0.632 = -2.0 dB.
        assert!((loud.rms_dbfs + 8.01).abs() < 0.05, "{}", loud.rms_dbfs);
        let later = next_level(loud, &[0.0; 1600], 1, 16_000);
        assert!((loud.peak_dbfs - later.peak_dbfs - 2.0).abs() < 0.01);
        assert!((loud.rms_dbfs - later.rms_dbfs - 4.34).abs() < 0.05);
    }

    #[test]
    fn times_before_the_prompt_end_are_negative() {
        let a = Instant::now();
        let b = a + Duration::from_millis(250);
        assert!((between(a, b) - 0.25).abs() < 1e-9 && (between(b, a) + 0.25).abs() < 1e-9);
    }
}
