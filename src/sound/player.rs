//! The loudspeaker: plays prompts and the student's own call, and says when they have ended.
//!
//! As with the microphone, one worker thread owns the device, commands go in and events come out over channels, and the
//! caller never waits. The device is opened with the first sound and closed after a while without any.

use std::num::NonZero;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::time::{Duration, Instant};

use cpal::traits::DeviceTrait;
use rodio::buffer::SamplesBuffer;

use super::SoundError;
use super::clip::RATE;
use super::convert::resample;
use super::devices::{Direction, aside, discard, find, name_of, wait_for};

/// How often a sound being played is looked at.
const POLL: Duration = Duration::from_millis(10);
/// A sound that makes no progress for this long will not end.
const STUCK: Duration = Duration::from_secs(1);
/// The same after an error that usually means the end.
const AFTER_ERROR: Duration = Duration::from_millis(300);
/// Wanted period of the device's callback, seconds. Prompts may start a little late, but they must not stutter while the
/// recogniser keeps all processors busy.
const PERIOD: f64 = 0.1;
/// The device is closed after this long without sound.
const IDLE: Duration = Duration::from_secs(30);

/// What the loudspeaker's worker reports. `id` is what [`Player::play`] gave.
#[derive(Debug)]
pub enum PlayerEvent {
    /// The sound has begun.
    Started {
        /// Which sound.
        id: u64,
    },
    /// The sound has been played to its end.
    Finished {
        /// Which sound.
        id: u64,
        /// When its last sample left the program, plus the device's buffer: at most two periods of 0.1 s late, never early.
        at: Instant,
    },
    /// The sound was stopped, by [`Player::stop`] or by the next sound.
    Stopped {
        /// Which sound.
        id: u64,
    },
    /// The sound could not be played, or not to its end.
    Failed {
        /// Which sound.
        id: u64,
        /// Why.
        error: SoundError,
    },
}

enum Command {
    Choose(Option<String>),
    Play { id: u64, samples: Vec<f32> },
    Stop,
}

/// A loudspeaker. Dropping it stops the sound, without waiting.
#[derive(Debug)]
pub struct Player {
    commands: Sender<Command>,
    events: Receiver<PlayerEvent>,
    next: AtomicU64,
}

impl Player {
    /// A player on the loudspeaker named (see [`super::devices::list`]) or the default one. Whether there is one shows
    /// with the first sound.
    pub fn open(choice: Option<String>) -> Result<Self, SoundError> {
        let (commands, inbox) = mpsc::channel();
        let (outbox, events) = mpsc::channel();
        let worker = Worker {
            choice,
            outbox,
            sink: None,
            playing: None,
            idle_since: Instant::now(),
        };
        std::thread::Builder::new()
            .name("loudspeaker".into())
            .spawn(move || worker.run(&inbox))
            .map_err(|source| SoundError::Thread { source })?;
        Ok(Self {
            commands,
            events,
            next: AtomicU64::new(1),
        })
    }

    /// Changes to another loudspeaker (none: the default one) and stops what plays.
    pub fn choose(&self, choice: Option<String>) {
        self.send(Command::Choose(choice));
    }

    /// Plays 16 kHz samples at once, instead of what may be playing. Exactly one of `Finished`, `Stopped` and `Failed`
    /// follows with the number given back.
    pub fn play(&self, samples: Vec<f32>) -> u64 {
        let id = self.next.fetch_add(1, Ordering::Relaxed);
        self.send(Command::Play { id, samples });
        id
    }

    /// Stops what plays.
    pub fn stop(&self) {
        self.send(Command::Stop);
    }

    /// The next event, if there is one.
    pub fn poll(&self) -> Option<PlayerEvent> {
        self.events.try_recv().ok()
    }

    /// The next event, for callers that may wait.
    pub fn wait(&self, at_most: Duration) -> Option<PlayerEvent> {
        self.events.recv_timeout(at_most).ok()
    }

    fn send(&self, command: Command) {
        // The worker ends only with this handle.
        let _ = self.commands.send(command);
    }
}

/// An open loudspeaker.
struct Sink {
    device: rodio::MixerDeviceSink,
    name: String,
    /// An error came after which streams usually end.
    ending: Arc<AtomicBool>,
}

struct Playing {
    id: u64,
    sound: rodio::Player,
    position: Duration,
    moved: Instant,
    /// Set when the last sample has left: when the device's buffer will have been played too.
    ends: Option<Instant>,
}

struct Worker {
    choice: Option<String>,
    outbox: Sender<PlayerEvent>,
    sink: Option<Sink>,
    playing: Option<Playing>,
    idle_since: Instant,
}

impl Worker {
    fn run(mut self, inbox: &Receiver<Command>) {
        loop {
            let pause = if self.playing.is_some() { POLL } else { STUCK };
            match inbox.recv_timeout(pause) {
                Ok(Command::Choose(choice)) => {
                    self.stop();
                    self.close();
                    self.choice = choice;
                }
                Ok(Command::Play { id, samples }) => {
                    self.stop();
                    if let Err(error) = self.start(id, &samples) {
                        self.close();
                        self.tell(PlayerEvent::Failed { id, error });
                    }
                }
                Ok(Command::Stop) => self.stop(),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
            self.tend();
        }
        self.stop();
        self.close();
    }

    fn tell(&self, event: PlayerEvent) {
        // Nobody listens any more when the handle is being dropped.
        let _ = self.outbox.send(event);
    }

    fn start(&mut self, id: u64, samples: &[f32]) -> Result<(), SoundError> {
        if self.sink.as_ref().is_some_and(|s| s.ending.load(Ordering::Relaxed)) {
            self.close();
        }
        if self.sink.is_none() {
            let choice = self.choice.clone();
            self.sink = Some(wait_for(&aside("sound-open", move || open(choice.as_deref()))?)?);
        }
        let Some(sink) = &self.sink else {
            return Ok(());
        };
        let rate = sink.device.config().sample_rate();
        let samples = resample(samples, RATE, rate.get())?;
        let sound = rodio::Player::connect_new(sink.device.mixer());
        sound.append(SamplesBuffer::new(NonZero::<u16>::MIN, rate, samples));
        self.playing = Some(Playing {
            id,
            sound,
            position: Duration::ZERO,
            moved: Instant::now(),
            ends: None,
        });
        self.tell(PlayerEvent::Started { id });
        Ok(())
    }

    fn stop(&mut self) {
        if let Some(playing) = self.playing.take() {
            playing.sound.stop();
            self.idle_since = Instant::now();
            self.tell(PlayerEvent::Stopped { id: playing.id });
        }
    }

    fn tend(&mut self) {
        let now = Instant::now();
        let Some(sink) = &self.sink else { return };
        let Some(playing) = &mut self.playing else {
            if now.duration_since(self.idle_since) > IDLE {
                self.close();
            }
            return;
        };
        let id = playing.id;
        if let Some(at) = playing.ends {
            if now >= at {
                self.playing = None;
                self.idle_since = now;
                self.tell(PlayerEvent::Finished { id, at });
            }
            return;
        }
        if playing.sound.empty() {
            playing.ends = Some(now + buffer_of(sink.device.config()));
            return;
        }
        let position = playing.sound.get_pos();
        if position != playing.position {
            playing.position = position;
            playing.moved = now;
        }
        let patience = if sink.ending.load(Ordering::Relaxed) {
            AFTER_ERROR
        } else {
            STUCK
        };
        if now.duration_since(playing.moved) > patience {
            let detail = "it went away while a sound was played".to_string();
            let error = SoundError::Device {
                direction: Direction::Output,
                name: sink.name.clone(),
                detail,
            };
            self.playing = None;
            self.close();
            self.tell(PlayerEvent::Failed { id, error });
        }
    }

    fn close(&mut self) {
        if let Some(sink) = self.sink.take() {
            discard(sink.device);
        }
    }
}

/// How much sound the device holds back at most: two periods.
fn buffer_of(config: &rodio::stream::DeviceSinkConfig) -> Duration {
    let frames = match config.buffer_size() {
        cpal::BufferSize::Fixed(frames) => *frames,
        cpal::BufferSize::Default => 0,
    };
    Duration::from_secs_f64(2.0 * f64::from(frames) / f64::from(config.sample_rate().get()))
}

/// Opens a loudspeaker. Blocks as long as the sound system likes.
fn open(choice: Option<&str>) -> Result<Sink, SoundError> {
    let host = cpal::default_host();
    let device = find(&host, Direction::Output, choice)?;
    let name = name_of(&device);
    let ending = Arc::new(AtomicBool::new(false));
    let seen = ending.clone();
    let watch = move |e: cpal::Error| {
        use cpal::ErrorKind as Kind;
        if matches!(
            e.kind(),
            Kind::DeviceNotAvailable | Kind::StreamInvalidated | Kind::HostUnavailable
        ) {
            seen.store(true, Ordering::Relaxed);
        }
    };
    let period = period_for(&device);
    let with = |size: cpal::BufferSize| {
        rodio::DeviceSinkBuilder::from_device(device.clone())?
            .with_buffer_size(size)
            .with_error_callback(watch.clone())
            .open_stream()
    };
    // A system that offers a period and then refuses it gets its own.
    match with(period).or_else(|_| with(cpal::BufferSize::Default)) {
        Ok(mut device) => {
            device.log_on_drop(false);
            Ok(Sink { device, name, ending })
        }
        Err(e) => Err(trouble_opening(name, &e)),
    }
}

fn period_for(device: &cpal::Device) -> cpal::BufferSize {
    match device.default_output_config() {
        Ok(form) => match form.buffer_size() {
            cpal::SupportedBufferSize::Range { min, max } => {
                let wanted = (f64::from(form.sample_rate()) * PERIOD) as u32;
                cpal::BufferSize::Fixed(wanted.min(*max).max(*min))
            }
            cpal::SupportedBufferSize::Unknown => cpal::BufferSize::Default,
        },
        Err(_) => cpal::BufferSize::Default,
    }
}

fn trouble_opening(name: String, e: &rodio::DeviceSinkError) -> SoundError {
    use rodio::DeviceSinkError as Sink;
    let direction = Direction::Output;
    match e {
        Sink::PlayError(cause) | Sink::DefaultSinkConfigError(cause) | Sink::BuildError(cause) => match cause.kind() {
            cpal::ErrorKind::DeviceNotAvailable | cpal::ErrorKind::HostUnavailable => SoundError::NoDevice {
                direction,
                detail: format!("{name}: {cause}"),
            },
            _ => SoundError::Device {
                direction,
                name,
                detail: cause.to_string(),
            },
        },
        other => SoundError::Device {
            direction,
            name,
            detail: other.to_string(),
        },
    }
}
