//! What the other side says: the site's recorded clip if there is one, else synthesised speech, over both a radio
//! channel if wanted.
//!
//! One worker thread speaks; a line goes in, 16 kHz samples come out as an event, and the caller never waits unless it
//! asks to.

mod engine;
pub mod noise;
mod pico;
pub mod prompt;

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{self, Receiver, Sender};
use std::time::Duration;

use serde::{Deserialize, Serialize};

pub use crate::site::Language;
use crate::site::Site;
use crate::sound::{Radio, SoundError, read_clip};

/// Speech level aimed at: RMS over the whole line, dBFS.
const LEVEL_DBFS: f64 = -20.0;
/// No sample of a line goes above this, dBFS.
const PEAK_DBFS: f64 = -3.0;
/// The longest text spoken in one line, characters.
const LONGEST_TEXT: usize = 1000;
/// How long the last step of a line that was cancelled is waited for at most.
const LAST_STEP: Duration = Duration::from_secs(1);
/// How long [`Speaker::speak`] waits.
const PATIENCE: Duration = Duration::from_secs(20);

/// Why a line could not be spoken.
#[derive(Debug, thiserror::Error)]
pub enum VoiceError {
    /// The text holds no word.
    #[error("there is nothing to say: the text has no letters or digits")]
    NothingToSay,
    /// The text is longer than any call.
    #[error("the text to say has {found} characters, at most {limit} are spoken; shorten it")]
    TooLong {
        /// Characters found.
        found: usize,
        /// Characters allowed.
        limit: usize,
    },
    /// The engine would not do it.
    #[error("the speech synthesiser failed ({detail}); prompts are shown as text, or record them as clips")]
    Engine {
        /// Its reason.
        detail: String,
    },
    /// The voice data could not be laid out for the engine.
    #[error("could not write the voice data ({source}); free some room in the folder for temporary files: {}", path.display())]
    Data {
        /// Where.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// The site's clip cannot be used.
    #[error(transparent)]
    Clip(#[from] SoundError),
    /// [`Speaker::cancel`] was called.
    #[error("speaking was cancelled")]
    Cancelled,
    /// No answer came.
    #[error("the voice did not answer within {seconds} seconds; prompts are shown as text")]
    NoAnswer {
        /// How long was waited.
        seconds: u64,
    },
    /// The system gave no thread.
    #[error("could not start a thread for the voice ({source}); close other programs")]
    Thread {
        /// The system's reason.
        source: std::io::Error,
    },
}

/// Who speaks. Each sounds a little different, so that the student hears who it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// The winch driver.
    Winch,
    /// Whoever controls the launch point.
    LaunchPoint,
    /// A pilot on the frequency.
    Pilot,
    /// Who holds the wing and hooks on.
    WingRunner,
    /// The retrieve driver.
    Retrieve,
    /// The program itself, explaining.
    Instructor,
    /// A pilot of another glider.
    OtherPilot,
    /// Somebody who has no part in the launch.
    Bystander,
    /// The program itself, reading a call aloud slowly to be learned.
    Slow,
}

impl Role {
    /// The voice of whoever speaks, by the name that a site's files give.
    pub fn of(speaker: &str) -> Self {
        let name = speaker.to_lowercase();
        let is = |words: &[&str]| words.iter().any(|w| name.contains(w));
        if is(&["another"]) {
            Self::OtherPilot
        } else if is(&["bystander", "telephone"]) {
            Self::Bystander
        } else if is(&["winch", "winde"]) {
            Self::Winch
        } else if is(&["wing", "signaller", "fläche"]) {
            Self::WingRunner
        } else if is(&["pilot"]) {
            Self::Pilot
        } else if is(&["instructor", "lehrer"]) {
            Self::Instructor
        } else if is(&["retrieve"]) {
            Self::Retrieve
        } else {
            Self::LaunchPoint
        }
    }

    /// Does this voice come over the radio in a single call? Who holds the wing stands beside the glider.
    pub fn on_radio(self) -> bool {
        !matches!(self, Self::WingRunner | Self::Instructor | Self::Bystander | Self::Slow)
    }

    /// The engine's pitch and speed, per cent of the voice's own.
    fn manner(self) -> (u32, u32) {
        match self {
            Self::Winch => (80, 100),
            Self::LaunchPoint => (105, 105),
            Self::Pilot => (92, 110),
            Self::WingRunner => (118, 100),
            Self::Retrieve => (88, 95),
            Self::Instructor => (100, 95),
            Self::OtherPilot => (112, 112),
            Self::Bystander => (126, 108),
            Self::Slow => (100, 70),
        }
    }
}

/// One thing to be said. Callsigns and numbers stand in it as the words spoken.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// The words.
    pub text: String,
    /// A recording of them, which goes before synthesis. The path is already checked to lie in the site's folder.
    pub clip: Option<PathBuf>,
    /// Whose voice.
    pub role: Role,
    /// In which language.
    pub language: Language,
}

impl Line {
    /// A line of a site: `role` and `clip` as its files name them, `folder` the site's, if it has one on disk.
    pub fn of_site(site: &Site, folder: Option<&Path>, role: &str, text: &str, clip: Option<&str>) -> Self {
        Self {
            text: text.to_owned(),
            clip: folder.zip(clip).map(|(folder, clip)| folder.join(clip)),
            role: Role::of(role),
            language: site.language,
        }
    }
}

/// Where a line's sound came from.
#[derive(Debug)]
pub enum Origin {
    /// The site's recording.
    Clip,
    /// The embedded synthesiser.
    Synthesised,
    /// The embedded synthesiser, because the site's recording could not be used, for this reason.
    InsteadOfClip(SoundError),
}

/// A line as sound.
#[derive(Debug)]
pub struct Spoken {
    /// 16 kHz, one channel.
    pub samples: Vec<f32>,
    /// Where it came from.
    pub origin: Origin,
}

/// What the speaker's worker reports. `id` is what [`Speaker::say`] gave.
#[derive(Debug)]
pub enum VoiceEvent {
    /// The line is ready to be played.
    Spoken {
        /// Which line.
        id: u64,
        /// Its sound.
        spoken: Spoken,
    },
    /// The line could not be spoken.
    Failed {
        /// Which line.
        id: u64,
        /// Why.
        error: VoiceError,
    },
}

struct Order {
    id: u64,
    line: Line,
    radio: Option<Radio>,
    /// Where the answer goes when somebody waits for it; else it is an event.
    answer: Option<Sender<Result<Spoken, VoiceError>>>,
}

/// Speaks lines on a thread of its own. Dropping it ends the thread after the step it is at, without waiting but on Windows.
#[derive(Debug)]
pub struct Speaker {
    orders: Sender<Order>,
    events: Receiver<VoiceEvent>,
    /// Nothing ever comes: its other end goes with the thread.
    ended: Receiver<()>,
    next: AtomicU64,
    /// Lines with a number up to this one are cancelled.
    cancelled: Arc<AtomicU64>,
}

impl Speaker {
    /// Starts the thread; the voices are loaded with the first line that needs them.
    pub fn open() -> Result<Self, VoiceError> {
        let (orders, inbox) = mpsc::channel::<Order>();
        let (outbox, events) = mpsc::channel();
        let cancelled = Arc::new(AtomicU64::new(0));
        let seen = cancelled.clone();
        let (alive, ended) = mpsc::channel::<()>();
        std::thread::Builder::new()
            .name("voice".into())
            .spawn(move || {
                let mut engine = pico::Engine::default();
                for order in inbox {
                    let id = order.id;
                    let stop = || seen.load(Ordering::Relaxed) >= id;
                    let result = speak(&mut engine, &order.line, order.radio, &stop);
                    // Whoever asked may be gone; then nobody needs the answer.
                    let _ = match (order.answer, result) {
                        (Some(answer), result) => answer.send(result).is_ok(),
                        (None, Ok(spoken)) => outbox.send(VoiceEvent::Spoken { id, spoken }).is_ok(),
                        (None, Err(error)) => outbox.send(VoiceEvent::Failed { id, error }).is_ok(),
                    };
                }
                drop(engine);
                drop(alive);
            })
            .map_err(|source| VoiceError::Thread { source })?;
        Ok(Self {
            orders,
            events,
            ended,
            next: AtomicU64::new(1),
            cancelled,
        })
    }

    /// Speaks a line, over the radio if one is given. Exactly one event follows with the number given back.
    pub fn say(&self, line: Line, radio: Option<Radio>) -> u64 {
        self.order(line, radio, None)
    }

    /// Speaks a line and waits for the sound.
    pub fn speak(&self, line: Line, radio: Option<Radio>) -> Result<Spoken, VoiceError> {
        let (answer, receiver) = mpsc::channel();
        self.order(line, radio, Some(answer));
        receiver.recv_timeout(PATIENCE).map_err(|_| VoiceError::NoAnswer {
            seconds: PATIENCE.as_secs(),
        })?
    }

    fn order(&self, line: Line, radio: Option<Radio>, answer: Option<Sender<Result<Spoken, VoiceError>>>) -> u64 {
        let id = self.next.fetch_add(1, Ordering::Relaxed);
        // The worker ends only with this handle.
        let _ = self.orders.send(Order {
            id,
            line,
            radio,
            answer,
        });
        id
    }

    /// Cancels all lines ordered so far that are not ready yet; each still gets its `Failed` event.
    pub fn cancel(&self) {
        let last = self.next.load(Ordering::Relaxed).saturating_sub(1);
        self.cancelled.fetch_max(last, Ordering::Relaxed);
    }

    /// The next event, if there is one.
    pub fn poll(&self) -> Option<VoiceEvent> {
        self.events.try_recv().ok()
    }

    /// The next event, for callers that may wait.
    pub fn wait(&self, at_most: Duration) -> Option<VoiceEvent> {
        self.events.recv_timeout(at_most).ok()
    }
}

impl Drop for Speaker {
    fn drop(&mut self) {
        self.cancel();
        if cfg!(windows) {
            // The thread ends when nothing can be ordered any more, and takes the voice's files away, which are open on
            // Windows until then. The program may be about to end.
            self.orders = mpsc::channel().0;
            let _ = self.ended.recv_timeout(LAST_STEP);
        }
    }
}

fn speak(
    engine: &mut pico::Engine,
    line: &Line,
    radio: Option<Radio>,
    stop: &dyn Fn() -> bool,
) -> Result<Spoken, VoiceError> {
    if stop() {
        return Err(VoiceError::Cancelled);
    }
    let (samples, origin) = match line.clip.as_deref().map(read_clip) {
        Some(Ok(clip)) => (clip.samples, Origin::Clip),
        Some(Err(e)) => (synthesise(engine, line, stop)?, Origin::InsteadOfClip(e)),
        None => (synthesise(engine, line, stop)?, Origin::Synthesised),
    };
    let samples = level(samples);
    let samples = match radio {
        Some(radio) => radio.apply(&samples),
        None => samples,
    };
    Ok(Spoken { samples, origin })
}

fn synthesise(engine: &mut pico::Engine, line: &Line, stop: &dyn Fn() -> bool) -> Result<Vec<f32>, VoiceError> {
    let found = line.text.chars().count();
    if found > LONGEST_TEXT {
        return Err(VoiceError::TooLong {
            found,
            limit: LONGEST_TEXT,
        });
    }
    let text = sayable(&line.text);
    if text.is_empty() {
        return Err(VoiceError::NothingToSay);
    }
    let (pitch, speed) = line.role.manner();
    engine.synthesise(line.language, &text, pitch, speed, stop)
}

/// The text without what the engine would take for markup or stumble over: letters, digits, apostrophes and the marks
/// that shape a sentence stay; all else becomes a space. Empty if no letter or digit is left.
fn sayable(text: &str) -> String {
    let kept: String = text
        .chars()
        .map(|c| match c {
            '\u{2019}' | '\'' => '\'',
            '.' | ',' | ';' | ':' | '!' | '?' | '-' => c,
            // Beyond Latin letters the voices know nothing.
            c if c.is_alphanumeric() && u32::from(c) < 0x250 => c,
            _ => ' ',
        })
        .collect();
    if kept.chars().any(char::is_alphanumeric) {
        kept.split_whitespace().collect::<Vec<_>>().join(" ")
    } else {
        String::new()
    }
}

/// Brings a line to the usual speech level, so that clips and voices are equally loud; silence stays silence.
fn level(mut samples: Vec<f32>) -> Vec<f32> {
    let energy: f64 = samples.iter().map(|s| f64::from(*s) * f64::from(*s)).sum();
    let rms = (energy / samples.len().max(1) as f64).sqrt();
    let peak = samples.iter().fold(0f64, |m, s| m.max(f64::from(s.abs())));
    if rms > 1e-5 {
        let gain = (10f64.powf(LEVEL_DBFS / 20.0) / rms).min(10f64.powf(PEAK_DBFS / 20.0) / peak);
        for s in &mut samples {
            *s = (f64::from(*s) * gain) as f32;
        }
    }
    samples
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::{Clip, RATE, write_wav};

    fn line(text: &str, language: Language) -> Line {
        Line {
            text: text.into(),
            clip: None,
            role: Role::Winch,
            language,
        }
    }

    fn say(text: &str, language: Language) -> Vec<f32> {
        Speaker::open()
            .unwrap()
            .speak(line(text, language), None)
            .unwrap()
            .samples
    }

    /// Seconds between the first and the last sample above -40 dBFS.
    fn spoken_seconds(samples: &[f32]) -> f64 {
        let first = samples.iter().position(|s| s.abs() > 0.01).unwrap();
        let last = samples.iter().rposition(|s| s.abs() > 0.01).unwrap();
        (last - first) as f64 / f64::from(RATE)
    }

    #[test]
    fn both_languages_speak_at_a_sane_level() {
        for (text, language) in [
            (
                "Golf Charlie Lima Romeo Mike, north cable, say again crew.",
                Language::ENGLISH,
            ),
            (
                "Delta drei acht sechs zwo, wiederholen Sie: einsitzig oder doppelsitzig? Übung.",
                Language::GERMAN,
            ),
        ] {
            let clip = Clip::from_samples(say(text, language));
            assert!(clip.troubles.is_empty(), "{:?}", clip.troubles);
            assert!(
                clip.levels.rms_dbfs > -30.0 && clip.levels.rms_dbfs < -6.0,
                "{:?}",
                clip.levels
            );
            assert!(clip.levels.peak_dbfs <= -2.9, "{:?}", clip.levels);
            let seconds = spoken_seconds(&clip.samples);
            assert!(seconds > 2.5 && seconds < 9.0, "{seconds}");
        }
    }

    #[test]
    fn more_words_take_more_time() {
        let one = spoken_seconds(&say("north cable north cable", Language::ENGLISH));
        let three = spoken_seconds(&say(&["north cable north cable"; 3].join(" "), Language::ENGLISH));
        let ratio = three / one;
        assert!((2.4..3.6).contains(&ratio), "{one:.2} s and {three:.2} s");
    }

    #[test]
    fn roles_sound_different() {
        let speaker = Speaker::open().unwrap();
        let mut rates = Vec::new();
        for role in [Role::Winch, Role::LaunchPoint] {
            let text = "aaah you are all in all";
            let spoken = speaker
                .speak(
                    Line {
                        role,
                        ..line(text, Language::ENGLISH)
                    },
                    None,
                )
                .unwrap();
            rates.push(pitch(&spoken.samples));
        }
        // 105 % against 80 % of the voice's own pitch.
        let ratio = rates[1] / rates[0];
        assert!((1.15..1.5).contains(&ratio), "{rates:?}");
    }

    /// Pitch in Hz: the lag from 1/400 to 1/60 s with the highest correlation, the middle one over 40 ms frames.
    fn pitch(samples: &[f32]) -> f64 {
        let mut found: Vec<f64> = samples
            .windows(1280)
            .step_by(320)
            .filter(|w| w.iter().map(|s| s * s).sum::<f32>() / 1280.0 > 0.003)
            .map(|w| {
                let lag = (40..266)
                    .max_by(|a, b| {
                        let fit = |lag: usize| w[..1000].iter().zip(&w[lag..]).map(|(x, y)| x * y).sum::<f32>();
                        fit(*a).total_cmp(&fit(*b))
                    })
                    .unwrap();
                f64::from(RATE) / lag as f64
            })
            .collect();
        found.sort_by(f64::total_cmp);
        found[found.len() / 2]
    }

    #[test]
    fn odd_text_is_refused_or_spoken_without_harm() {
        let speaker = Speaker::open().unwrap();
        for text in [
            "",
            "   ",
            "!?...",
            "\u{0}\u{7}",
            "\u{1f6e9}\u{fe0f}",
            "\u{5317}\u{98a8}",
        ] {
            let result = speaker.speak(line(text, Language::ENGLISH), None);
            assert!(matches!(result, Err(VoiceError::NothingToSay)), "{text:?}: {result:?}");
        }
        for text in [
            "<speed level='500'>fast</speed>",
            "a\u{0}b",
            "&amp; <ignore>",
            "x",
            "D-4761 ... 3,862",
            "\u{e9}\u{f1}\u{df} \u{2019}tis",
            "....a....",
            &"word ".repeat(150),
        ] {
            let spoken = speaker.speak(line(text, Language::GERMAN), None).unwrap();
            assert!(spoken.samples.len() > 1000, "{text:?}");
            assert!(spoken.samples.iter().all(|s| s.is_finite() && s.abs() <= 1.0));
        }
        let long = speaker.speak(line(&"word ".repeat(300), Language::ENGLISH), None);
        assert!(matches!(long, Err(VoiceError::TooLong { found: 1500, .. })));
    }

    #[test]
    fn a_recorded_clip_goes_before_the_synthesiser() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("say-again.wav");
        let tone: Vec<f32> = (0u16..8000).map(|i| 0.5 * (f32::from(i) * 0.3).sin()).collect();
        write_wav(&path, &tone).unwrap();
        let speaker = Speaker::open().unwrap();
        let with = |clip| Line {
            clip: Some(clip),
            ..line("say again", Language::ENGLISH)
        };
        let spoken = speaker.speak(with(path), None).unwrap();
        assert!(matches!(spoken.origin, Origin::Clip));
        assert_eq!(spoken.samples.len(), 8000);
        let spoken = speaker.speak(with(dir.path().join("lost.wav")), None).unwrap();
        assert!(
            matches!(spoken.origin, Origin::InsteadOfClip(SoundError::File { .. })),
            "{:?}",
            spoken.origin
        );
        assert!(spoken.samples.len() > 4000);
    }

    #[test]
    fn the_radio_narrows_the_voice_and_adds_its_tail() {
        let speaker = Speaker::open().unwrap();
        let plain = speaker
            .speak(line("north cable", Language::ENGLISH), None)
            .unwrap()
            .samples;
        let radio = Radio {
            seed: 3,
            ..Radio::default()
        };
        let narrow = speaker
            .speak(line("north cable", Language::ENGLISH), Some(radio))
            .unwrap()
            .samples;
        assert_eq!(
            narrow.len(),
            plain.len() + (radio.tail_seconds * f64::from(RATE)) as usize
        );
    }

    #[test]
    fn cancelled_lines_end_early_and_the_next_one_is_spoken() {
        let speaker = Speaker::open().unwrap();
        let long = "word ".repeat(190);
        let ids = [(); 3].map(|()| speaker.say(line(&long, Language::ENGLISH), None));
        speaker.cancel();
        let after = speaker.say(line("north", Language::ENGLISH), None);
        for id in ids {
            // The first may have been ready before it was cancelled.
            match speaker.wait(PATIENCE).unwrap() {
                VoiceEvent::Failed {
                    id: failed,
                    error: VoiceError::Cancelled,
                } => assert_eq!(failed, id),
                VoiceEvent::Spoken { id: spoken, .. } => assert_eq!((spoken, id), (ids[0], ids[0])),
                other @ VoiceEvent::Failed { .. } => panic!("{other:?}"),
            }
        }
        assert!(matches!(speaker.wait(PATIENCE), Some(VoiceEvent::Spoken { id, .. }) if id == after));
    }
}
