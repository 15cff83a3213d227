//! `cableside sound`: the devices, a check of the microphone, and the other side's voice.

use std::path::PathBuf;
use std::process::ExitCode;
use std::time::{Duration, Instant};

use super::Failure;
use crate::sound::{DeviceInfo, Player, PlayerEvent, Radio, Recorded, Recorder, RecorderEvent, devices, write_new_wav};
use crate::voice::{Language, Line, Origin, Role, Speaker};

/// How long the microphone may take to become ready.
const READY: Duration = Duration::from_secs(8);

/// Sound devices and voices.
#[derive(Debug, clap::Args)]
pub struct SoundArgs {
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, clap::Subcommand)]
enum Action {
    /// List microphones and loudspeakers
    Devices {
        /// Print JSON
        #[arg(long)]
        json: bool,
    },
    /// Record for a few seconds, show the level, play it back
    Check {
        /// How long to record
        #[arg(long, default_value_t = 3.0, value_parser = seconds)]
        seconds: f64,
        /// Microphone: its name, or a part of it
        #[arg(long)]
        input: Option<String>,
        /// Loudspeaker: its name, or a part of it
        #[arg(long)]
        output: Option<String>,
        /// Do not play it back
        #[arg(long)]
        silent: bool,
    },
    /// Speak a text with the embedded voice
    Say {
        /// The words; callsigns and numbers as spoken
        text: String,
        /// "en" or "de"
        #[arg(long, default_value = "en")]
        language: Language,
        /// Whose voice
        #[arg(long, value_enum, default_value_t = Voice::Winch)]
        role: Voice,
        /// Write a WAV file instead of playing
        #[arg(long)]
        out: Option<PathBuf>,
        /// Through a radio channel
        #[arg(long)]
        radio: bool,
        /// Loudspeaker: its name, or a part of it
        #[arg(long)]
        output: Option<String>,
    },
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Voice {
    Winch,
    LaunchPoint,
    Pilot,
    Instructor,
}

impl From<Voice> for Role {
    fn from(voice: Voice) -> Self {
        match voice {
            Voice::Winch => Self::Winch,
            Voice::LaunchPoint => Self::LaunchPoint,
            Voice::Pilot => Self::Pilot,
            Voice::Instructor => Self::Instructor,
        }
    }
}

fn seconds(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(s) if (0.2..=50.0).contains(&s) => Ok(s),
        _ => Err("give a number of seconds from 0.2 to 50".into()),
    }
}

/// Runs the command.
#[allow(clippy::print_stdout)]
pub fn run(args: &SoundArgs) -> Result<ExitCode, Failure> {
    match &args.action {
        Action::Devices { json } => {
            let list = devices::list()?;
            if *json {
                println!("{}", serde_json::to_string_pretty(&list)?);
            } else {
                println!("Sound system: {}", list.system);
                show("Microphones", &list.inputs);
                show("Loudspeakers", &list.outputs);
            }
        }
        Action::Check {
            seconds,
            input,
            output,
            silent,
        } => {
            let recorded = record(*seconds, input.clone())?;
            let levels = recorded.clip.levels;
            println!(
                "\rpeak {:.1} dBFS, RMS {:.1} dBFS, noise floor {:.1} dBFS, clipped {:.2} %",
                levels.peak_dbfs,
                levels.rms_dbfs,
                levels.floor_dbfs,
                levels.clipped * 100.0
            );
            for trouble in &recorded.clip.troubles {
                println!("{trouble}");
            }
            if recorded.clip.troubles.is_empty() {
                println!("The microphone is fine.");
            }
            if !silent {
                println!("Playing it back ...");
                play(recorded.clip.samples, output.clone())?;
            }
        }
        Action::Say {
            text,
            language,
            role,
            out,
            radio,
            output,
        } => {
            let line = Line {
                text: text.clone(),
                clip: None,
                role: (*role).into(),
                language: *language,
            };
            let spoken = Speaker::open()?.speak(line, radio.then(Radio::default))?;
            if let Origin::InsteadOfClip(e) = &spoken.origin {
                println!("{e}");
            }
            match out {
                Some(path) => {
                    write_new_wav(path, &spoken.samples)?;
                    println!(
                        "{:.1} s written: {}",
                        spoken.samples.len() as f64 / f64::from(crate::sound::RATE),
                        path.display()
                    );
                }
                None => play(spoken.samples, output.clone())?,
            }
        }
    }
    Ok(ExitCode::SUCCESS)
}

#[allow(clippy::print_stdout)]
fn show(title: &str, devices: &[DeviceInfo]) {
    println!("{title}:");
    if devices.is_empty() {
        println!("  none");
    }
    for device in devices {
        let mark = if device.default { "*" } else { " " };
        let form = device
            .form
            .map_or("cannot be opened now".to_string(), |(rate, channels)| {
                format!("{rate} Hz, {channels} channel{}", if channels == 1 { "" } else { "s" })
            });
        println!("{mark} {} ({form})", device.name);
        if device.id != device.name {
            println!("    {}", device.id);
        }
    }
}

/// Records for `seconds`, showing the level.
#[allow(clippy::print_stdout)]
fn record(seconds: f64, input: Option<String>) -> Result<Recorded, Failure> {
    let recorder = Recorder::open(input)?;
    let until = Instant::now() + READY;
    loop {
        match recorder.wait(until.saturating_duration_since(Instant::now())) {
            Some(RecorderEvent::Ready { device, rate, channels }) => {
                println!("{device}: {rate} Hz, channels: {channels}. Speak now.");
                break;
            }
            Some(RecorderEvent::Failed(e)) => return Err(e.into()),
            Some(_) => {}
            None => {
                return Err("the microphone did not become ready; choose another one with --input".into());
            }
        }
    }
    recorder.press(None, None);
    let release = Instant::now() + Duration::from_secs_f64(seconds);
    let mut released = false;
    let give_up = release + READY;
    while Instant::now() < give_up {
        if !released && Instant::now() >= release {
            released = true;
            recorder.release();
        }
        match recorder.wait(Duration::from_millis(50)) {
            Some(RecorderEvent::Recorded(done)) => return Ok(*done),
            Some(RecorderEvent::Failed(e)) => return Err(e.into()),
            Some(RecorderEvent::NotReady(text)) => return Err(text.into()),
            None if !released => bar(&recorder),
            Some(_) | None => {}
        }
    }
    Err("the microphone gave no recording; choose another one with --input".into())
}

/// One line that is written over: the level as a bar of 60 dB.
#[allow(clippy::print_stdout)]
fn bar(recorder: &Recorder) {
    use std::io::{IsTerminal, Write};
    let mut out = std::io::stdout();
    if !out.is_terminal() {
        return;
    }
    let level = recorder.level();
    let filled = ((level.rms_dbfs + 60.0).clamp(0.0, 60.0) / 2.0) as usize;
    print!("\r[{:<30}] peak {:>6.1} dBFS ", "#".repeat(filled), level.peak_dbfs);
    // A terminal that went away is noticed at the next line that matters.
    let _ = out.flush();
}

/// Plays to the end.
pub(super) fn play(samples: Vec<f32>, output: Option<String>) -> Result<(), Failure> {
    let length = Duration::from_secs_f64(samples.len() as f64 / f64::from(crate::sound::RATE));
    let player = Player::open(output)?;
    player.play(samples);
    let until = Instant::now() + length + READY;
    loop {
        match player.wait(until.saturating_duration_since(Instant::now())) {
            Some(PlayerEvent::Started { .. }) => {}
            Some(PlayerEvent::Finished { .. } | PlayerEvent::Stopped { .. }) => return Ok(()),
            Some(PlayerEvent::Failed { error, .. }) => return Err(error.into()),
            None => {
                return Err("the loudspeaker did not play to the end; choose another one with --output".into());
            }
        }
    }
}
