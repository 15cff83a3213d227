//! The microphone behind a push-to-talk key.
//!
//! One worker thread owns the device: it opens it, keeps it warm, takes its samples from a ring buffer and makes clips
//! of what lies between press and release. Commands go in and events come out over channels; nothing here makes the
//! caller wait, not even `drop`. The device's own callback neither allocates nor locks: it fills the ring and counts
//! what did not fit.

mod input;
mod recording;

use input::{Input, open};
use recording::Recording;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::time::{Duration, Instant};

use super::SoundError;
use super::clip::{Clip, ClipTrouble, SILENCE_DBFS, dbfs};
use super::devices::{PATIENCE, aside, discard};
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
    Warning(ClipTrouble),
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
                    self.finish(lost.map(|at| ClipTrouble::DeviceLost {
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
            self.tell(RecorderEvent::Warning(ClipTrouble::AllZeros { seconds }));
            return;
        }
        if recording.complete() {
            self.finish(None);
        } else if let Some(reason) = recording.save() {
            self.tell(RecorderEvent::Warning(ClipTrouble::NotOnDisk { reason }));
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
    fn finish(&mut self, trouble: Option<ClipTrouble>) {
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

#[cfg(test)]
mod tests;
