//! The microphone and the loudspeaker against a real sound system: a private PulseAudio server with virtual devices, in
//! a folder of its own, started and ended by each test. Linux only; needs the packages pulseaudio and pulseaudio-utils,
//! which `scripts/test` installs.
//!
//! Each test runs itself a second time in a child process whose environment names the private server: the sound
//! libraries read the environment, and a test process must not change its own.

#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

mod failing;
mod playing;
mod recording;
mod server;

use cableside::sound::{Recorded, Recorder, RecorderEvent};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

fn speak(sink: &str, path: &Path) {
    assert!(
        Command::new("paplay")
            .arg(format!("--device={sink}"))
            .arg(path)
            .status()
            .unwrap()
            .success()
    );
}

fn ready(recorder: &Recorder) -> (String, u32, u16) {
    match recorder.wait(Duration::from_secs(10)) {
        Some(RecorderEvent::Ready { device, rate, channels }) => (device, rate, channels),
        other => panic!("{other:?}"),
    }
}

fn recorded(recorder: &Recorder) -> Recorded {
    let until = Instant::now() + Duration::from_secs(10);
    while Instant::now() < until {
        if let Some(RecorderEvent::Recorded(recorded)) = recorder.wait(Duration::from_millis(100)) {
            return *recorded;
        }
    }
    panic!("no recording came");
}
