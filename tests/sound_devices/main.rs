//! The microphone and the loudspeaker against a real sound system: a private PulseAudio server with virtual devices, in
//! a folder of its own, started and ended by each test. Linux only; needs the packages pulseaudio and pulseaudio-utils,
//! which `scripts/test` installs.
//!
//! Each test runs itself a second time in a child process whose environment names the private server: the sound
//! libraries read the environment, and a test process must not change its own.
#![cfg(target_os = "linux")]
// The helpers of a test file are not seen as test code.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use cableside::sound::{
    Player, PlayerEvent, RATE, Recorded, Recorder, RecorderEvent, SoundError, Trouble, devices, part, read_clip,
};

const ROLE: &str = "CABLESIDE_TEST_ROLE";
const FOLDER: &str = "CABLESIDE_TEST_FOLDER";
const SERVER: &str = "CABLESIDE_TEST_SERVER";

/// Microphone `mic` hears what is played to `micfeed`; `spk` is the loudspeaker. `mic44` is the same at 44.1 kHz with two
/// channels of 32 bits, of which the second is silent.
const START: &str = "
load-module module-native-protocol-unix auth-anonymous=1
load-module module-null-sink sink_name=spk norewinds=1 rate=48000 channels=1 format=s16le
load-module module-null-sink sink_name=micfeed norewinds=1 rate=48000 channels=1 format=s16le
load-module module-remap-source source_name=mic master=micfeed.monitor channels=1
load-module module-null-sink sink_name=feed44 norewinds=1 rate=44100 channels=2 format=s32le
load-module module-remap-source source_name=mic44 master=feed44.monitor channels=2
set-default-sink spk
set-default-source mic
";

/// A running private server; its folder and process end with it.
struct Server {
    folder: tempfile::TempDir,
    child: Child,
}

impl Server {
    fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("start.pa"), START).unwrap();
        let child = environment(Command::new("pulseaudio").arg("-n").arg("-F"), folder.path())
            .arg(folder.path().join("start.pa"))
            .args([
                "--daemonize=no",
                "--exit-idle-time=-1",
                "--disallow-exit",
                "--log-target=stderr",
                "--log-level=error",
            ])
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|e| panic!("this test needs pulseaudio ({e}); scripts/test installs it"));
        let server = Self { folder, child };
        let until = Instant::now() + Duration::from_secs(10);
        while Instant::now() < until {
            let about = environment(&mut Command::new("pactl"), server.folder.path())
                .args(["list", "short", "sources"])
                .output()
                .unwrap_or_else(|e| panic!("this test needs pactl ({e}); scripts/test installs pulseaudio-utils"));
            if String::from_utf8_lossy(&about.stdout).contains("mic44") {
                return server;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        panic!("the private sound server did not start");
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may be stopped, or dead already: both are what some tests do.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn environment<'a>(command: &'a mut Command, folder: &Path) -> &'a mut Command {
    command
        .env("XDG_RUNTIME_DIR", folder)
        .env("HOME", folder)
        .env("PULSE_RUNTIME_PATH", folder)
        .env("PULSE_SERVER", format!("unix:{}/native", folder.display()))
        .env("CABLESIDE_HOME", folder.join("home"))
        .env_remove("PULSE_LATENCY_MSEC")
}

/// Runs `body` in a child process that has a private sound server; `name` is the test's own name.
fn with_server(name: &str, body: impl FnOnce()) {
    if std::env::var(ROLE).is_ok_and(|r| r == name) {
        return body();
    }
    let server = Server::start();
    let id = server.child.id().to_string();
    expect_success(child(name, name, server.folder.path()).env(SERVER, id));
}

fn expect_success(command: &mut Command) {
    let output = command.output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    println!("{}", text(&output.stdout));
    assert!(
        output.status.success(),
        "failed in its sound system:\n{}",
        text(&output.stderr)
    );
}

/// This test program again, for one test in one role.
fn child(test: &str, role: &str, folder: &Path) -> Command {
    let mut command = Command::new(std::env::current_exe().unwrap());
    environment(&mut command, folder)
        .env(ROLE, role)
        .env(FOLDER, folder)
        .args([test, "--exact", "--nocapture"]);
    command
}

fn folder() -> PathBuf {
    std::env::var_os(FOLDER).map(PathBuf::from).unwrap()
}

/// Sends the server a signal.
fn signal(name: &str) {
    let id = std::env::var(SERVER).unwrap();
    assert!(Command::new("kill").args([name, &id]).status().unwrap().success());
}

/// Two seconds of band-limited noise bursts, peak about 0.6: like speech it has edges and no period.
fn signal_48k() -> Vec<f32> {
    let mut state = 1u32;
    let mut low = 0f32;
    (0..96_000u32)
        .map(|i| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let white = (state >> 8) as f32 / 8_388_608.0 - 1.0;
            low += 0.3 * (white - low);
            let loud = if (i / 12_000) % 2 == 0 { 1.0 } else { 0.2 };
            low * loud
        })
        .collect()
}

fn write_48k(path: &Path, channels: u16, samples: &[f32]) {
    let spec = hound::WavSpec {
        channels,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for s in samples {
        writer.write_sample((s * 32_767.0) as i16).unwrap();
        for _ in 1..channels {
            writer.write_sample(0i16).unwrap();
        }
    }
    writer.finalize().unwrap();
}

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

/// Energy of what is left of `heard` after the best fitting copy of `said` (16 kHz) is taken out, dB under `said`.
fn residual_db(said: &[f32], heard: &[f32]) -> f64 {
    let onset = |s: &[f32]| s.iter().position(|x| x.abs() > 0.02).unwrap().cast_signed();
    let coarse = onset(heard) - onset(said);
    let energy: f64 = said.iter().map(|s| f64::from(*s).powi(2)).sum();
    (coarse - 60..=coarse + 60)
        .filter_map(|lag| {
            // The ends are left out: there the filters of the two conversions differ.
            let inner = 200..said.len() - 200;
            let start = usize::try_from(lag + 200).ok()?;
            let heard = heard.get(start..start + inner.len())?;
            let pairs = || said[inner.clone()].iter().zip(heard);
            Some(pairs().map(|(a, b)| f64::from(a - b).powi(2)).sum::<f64>())
        })
        .map(|left| 10.0 * (left / energy).log10())
        .fold(f64::INFINITY, f64::min)
}

/// The residual against the first `seconds` of the signal, for the best of the three 48 kHz phases a 16 kHz sample can
/// have.
fn residual_of_signal(heard: &[f32], seconds: f64) -> f64 {
    (0..3)
        .map(|phase| {
            let mut shifted = vec![0f32; phase];
            shifted.extend(signal_48k());
            let said = cableside::sound::convert::resample(&shifted, 48_000, RATE).unwrap();
            let count = (seconds * f64::from(RATE)) as usize;
            residual_db(&said[..count.min(said.len())], heard)
        })
        .fold(f64::INFINITY, f64::min)
}

#[test]
fn records_what_is_spoken() {
    with_server("records_what_is_spoken", || {
        let say = folder().join("say.wav");
        write_48k(&say, 1, &signal_48k());
        let recorder = Recorder::open(None).unwrap();
        assert_eq!(ready(&recorder).1, 48_000);
        let prompt_end = Instant::now();
        std::thread::sleep(Duration::from_millis(400));
        let target = folder().join("recordings/call.wav");
        recorder.press(Some(target.clone()), Some(prompt_end));
        let pressed = Instant::now();
        let mut loudest = f32::NEG_INFINITY;
        std::thread::scope(|scope| {
            let speaking = scope.spawn(|| speak("micfeed", &say));
            while !speaking.is_finished() {
                loudest = loudest.max(recorder.level().peak_dbfs);
                std::thread::sleep(Duration::from_millis(10));
            }
        });
        std::thread::sleep(Duration::from_millis(200));
        recorder.release();
        let held = pressed.elapsed().as_secs_f64();
        let Recorded { clip, path } = recorded(&recorder);
        let left = residual_of_signal(&clip.samples, 2.0);
        println!("residual {left:.1} dB, {clip:?}", clip = clip.levels);
        assert!(left < -60.0, "{left}");
        assert!(clip.troubles.is_empty(), "{:?}", clip.troubles);
        assert!((loudest - clip.levels.peak_dbfs).abs() < 1.0, "level shown {loudest}");
        let keying = clip.keying.unwrap();
        println!("{keying:?}, clip {:.3} s", clip.seconds());
        assert!((keying.prompt_end_to_press.unwrap() - 0.4).abs() < 0.05);
        assert!((keying.press_to_release - held).abs() < 0.02);
        assert!((clip.seconds() - keying.press_to_release - keying.lead).abs() < 0.08);
        assert_eq!(path.as_deref(), Some(target.as_path()));
        let saved = read_clip(&target).unwrap();
        assert_eq!(saved.samples.len(), clip.samples.len());
        assert!(
            saved
                .samples
                .iter()
                .zip(&clip.samples)
                .all(|(a, b)| (a - b).abs() < 2.0 / 32_768.0)
        );
        assert_eq!(std::fs::read_dir(folder().join("recordings")).unwrap().count(), 1);
    });
}

#[test]
fn another_device_is_chosen_by_name_and_converted() {
    with_server("another_device_is_chosen_by_name_and_converted", || {
        let list = devices::list().unwrap();
        println!("{list:?}");
        assert!(list.inputs[0].default && list.inputs[0].id == "mic");
        assert!(list.outputs[0].default && list.outputs[0].id == "spk");
        let say = folder().join("say.wav");
        write_48k(&say, 2, &signal_48k());
        let recorder = Recorder::open(None).unwrap();
        ready(&recorder);
        recorder.choose(Some("mic44".into()));
        let (_, rate, channels) = ready(&recorder);
        assert_eq!((rate, channels), (44_100, 2));
        recorder.press(Some(folder().join("call.wav")), None);
        speak("feed44", &say);
        std::thread::sleep(Duration::from_millis(200));
        recorder.release();
        let Recorded { clip, path } = recorded(&recorder);
        // The server converts from 48 to 44.1 kHz, so the fit is that of its filter; the level must not be halved by the
        // silent channel.
        let peak = clip.samples.iter().fold(0f32, |m, s| m.max(s.abs()));
        let wanted = signal_48k().iter().fold(0f32, |m, s| m.max(s.abs()));
        assert!((20.0 * (peak / wanted).log10()).abs() < 1.0, "{peak} for {wanted}");
        let saved = read_clip(&path.unwrap()).unwrap();
        assert!(
            saved
                .samples
                .iter()
                .zip(&clip.samples)
                .all(|(a, b)| (a - b).abs() < 2.0 / 32_768.0)
        );
        recorder.choose(Some("no such thing".into()));
        match recorder.wait(Duration::from_secs(10)) {
            Some(RecorderEvent::Failed(SoundError::UnknownDevice { have, .. })) => {
                assert!(have.contains("mic44"), "{have}");
            }
            other => panic!("{other:?}"),
        }
    });
}

/// What is played to the loudspeaker, caught in a file; ends with it, also when the test fails.
struct Catcher(Child);

impl Catcher {
    fn start(path: &Path) -> Self {
        let child = Command::new("parec")
            .args([
                "-d",
                "spk.monitor",
                "--latency-msec=50",
                "--file-format=wav",
                "--format=s16le",
            ])
            .args(["--rate=48000", "--channels=1"])
            .arg(path)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        // Until it is connected.
        std::thread::sleep(Duration::from_millis(500));
        Self(child)
    }
}

impl Drop for Catcher {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn tone(hz: f32, peak: f32, count: u16) -> Vec<f32> {
    let angle = |i: u16| std::f32::consts::TAU * hz * f32::from(i) / 16_000.0;
    (0..count).map(|i| peak * angle(i).sin()).collect()
}

/// Half a second of 1000 Hz, a quarter of nothing, half a second of 700 Hz.
fn prompt() -> Vec<f32> {
    [tone(1000.0, 0.25, 8000), vec![0.0; 4000], tone(700.0, 0.125, 8000)].concat()
}

/// Plays the prompt, catches it and measures what came: how long it took by the events, the levels of its three parts
/// in dBFS, where its gap starts and ends (samples from its start).
fn play_and_measure(player: &Player) -> (f64, [f32; 3], [usize; 2]) {
    let caught = folder().join("caught.wav");
    let catcher = Catcher::start(&caught);
    let id = player.play(prompt());
    let told = player.wait(Duration::from_secs(10));
    assert!(
        matches!(told, Some(PlayerEvent::Started { id: i }) if i == id),
        "{told:?}"
    );
    let started = Instant::now();
    match player.wait(Duration::from_secs(10)) {
        Some(PlayerEvent::Finished { id: i, .. }) => assert_eq!(i, id),
        other => panic!("{other:?}"),
    }
    let took = started.elapsed().as_secs_f64();
    std::thread::sleep(Duration::from_millis(300));
    drop(catcher);
    let clip = read_clip(&caught).unwrap();
    let start = clip.samples.iter().position(|s| s.abs() > 0.01).unwrap();
    let mut heard = clip.samples[start..].to_vec();
    heard.resize(heard.len().max(20_000), 0.0);
    let rms = |part: &[f32]| {
        let energy = part.iter().map(|s| s * s).sum::<f32>() / part.len() as f32;
        10.0 * energy.log10()
    };
    let levels = [
        rms(&heard[800..7200]),
        rms(&heard[8400..11_600]),
        rms(&heard[12_800..19_200]),
    ];
    let quiet = |w: &[f32]| w.iter().all(|s| s.abs() < 0.002);
    let gap = heard.windows(40).position(quiet).unwrap_or(0);
    let back = heard.iter().skip(gap + 40).position(|s| s.abs() > 0.005).unwrap_or(0) + gap + 40;
    (took, levels, [gap, back])
}

#[test]
fn plays_what_it_is_given() {
    with_server("plays_what_it_is_given", || {
        let player = Player::open(None).unwrap();
        // A computer that is busy with other things stutters; one of three times it must be right.
        let fine = (0..3).any(|_| {
            let (took, levels, gap) = play_and_measure(&player);
            println!("1.25 s took {took:.3} s, levels {levels:?}, gap {gap:?}");
            // A sine's RMS is its peak less 3.01 dB: 0.25 is -15.05 dBFS, 0.125 is -21.07 dBFS.
            (1.2..1.8).contains(&took)
                && (levels[0] + 15.05).abs() < 0.1
                && levels[1] < -60.0
                && (levels[2] + 21.07).abs() < 0.1
                && gap[0].abs_diff(8000) < 40
                && gap[1].abs_diff(12_000) < 40
        });
        assert!(fine);
    });
}

#[test]
fn a_sound_that_is_stopped_or_replaced_is_told_so() {
    with_server("a_sound_that_is_stopped_or_replaced_is_told_so", || {
        let player = Player::open(None).unwrap();
        let first = player.play(prompt());
        let second = player.play(prompt());
        let mut told = Vec::new();
        while let Some(event) = player.wait(Duration::from_secs(2)) {
            match event {
                PlayerEvent::Started { id } if id == second => player.stop(),
                PlayerEvent::Started { id } => assert_eq!(id, first),
                PlayerEvent::Stopped { id } => told.push(id),
                other => panic!("{other:?}"),
            }
        }
        assert_eq!(told, [first, second]);
        // With nothing to stop, nothing is told.
        player.stop();
        assert!(player.wait(Duration::from_millis(300)).is_none());
    });
}

#[test]
fn a_server_that_dies_leaves_the_clip() {
    with_server("a_server_that_dies_leaves_the_clip", || {
        let say = folder().join("say.wav");
        write_48k(&say, 1, &signal_48k());
        let recorder = Recorder::open(None).unwrap();
        ready(&recorder);
        let target = folder().join("call.wav");
        recorder.press(Some(target.clone()), None);
        speak("micfeed", &say);
        signal("-9");
        let Recorded { clip, path } = recorded(&recorder);
        println!("{:?}", clip.troubles);
        assert!(
            matches!(clip.troubles[..], [Trouble::DeviceLost { at_seconds }] if at_seconds > 1.7),
            "{:?}",
            clip.troubles
        );
        // What was still on its way when the server died is lost with it.
        assert!(residual_of_signal(&clip.samples, 1.6) < -50.0);
        assert_eq!(path.as_deref(), Some(target.as_path()));
        assert_eq!(read_clip(&target).unwrap().samples.len(), clip.samples.len());
        assert!(matches!(
            recorder.wait(Duration::from_secs(2)),
            Some(RecorderEvent::Lost { .. })
        ));
        recorder.press(None, None);
        let told = recorder.wait(Duration::from_secs(10));
        assert!(
            matches!(told, Some(RecorderEvent::NotReady(_) | RecorderEvent::Failed(_))),
            "{told:?}"
        );
        let start = Instant::now();
        drop(recorder);
        assert!(start.elapsed() < Duration::from_millis(50));
    });
}

#[test]
fn a_server_that_dies_ends_the_sound() {
    with_server("a_server_that_dies_ends_the_sound", || {
        let player = Player::open(None).unwrap();
        let id = player.play(vec![0.1; 160_000]);
        assert!(matches!(
            player.wait(Duration::from_secs(10)),
            Some(PlayerEvent::Started { .. })
        ));
        std::thread::sleep(Duration::from_millis(300));
        signal("-9");
        match player.wait(Duration::from_secs(5)) {
            Some(PlayerEvent::Failed {
                id: i,
                error: SoundError::Device { .. },
            }) => assert_eq!(i, id),
            other => panic!("{other:?}"),
        }
        let start = Instant::now();
        drop(player);
        assert!(start.elapsed() < Duration::from_millis(50));
    });
}

#[test]
fn a_frozen_server_holds_nobody_up() {
    with_server("a_frozen_server_holds_nobody_up", || {
        let recorder = Recorder::open(None).unwrap();
        ready(&recorder);
        recorder.press(None, None);
        std::thread::sleep(Duration::from_millis(700));
        signal("-STOP");
        let Recorded { clip, .. } = recorded(&recorder);
        assert!(
            clip.troubles.iter().any(|t| matches!(t, Trouble::DeviceLost { .. })),
            "{:?}",
            clip.troubles
        );
        let start = Instant::now();
        recorder.press(None, None);
        recorder.release();
        drop(recorder);
        let player = Player::open(None).unwrap();
        player.play(vec![0.1; 1600]);
        drop(player);
        assert!(start.elapsed() < Duration::from_millis(50), "{:?}", start.elapsed());
        assert!(matches!(devices::list(), Err(SoundError::NoAnswer { .. }) | Ok(_)));
        signal("-CONT");
    });
}

#[test]
fn zeros_are_told_while_recording() {
    with_server("zeros_are_told_while_recording", || {
        let recorder = Recorder::open(None).unwrap();
        ready(&recorder);
        recorder.press(None, None);
        let pressed = Instant::now();
        assert!(matches!(
            recorder.wait(Duration::from_secs(2)),
            Some(RecorderEvent::Recording)
        ));
        match recorder.wait(Duration::from_secs(3)) {
            Some(RecorderEvent::Warning(Trouble::AllZeros { seconds })) => assert!(seconds >= 0.5),
            other => panic!("{other:?}"),
        }
        assert!(
            pressed.elapsed() < Duration::from_millis(900),
            "{:?}",
            pressed.elapsed()
        );
        recorder.release();
        let clip = recorded(&recorder).clip;
        assert!(
            matches!(clip.troubles[..], [Trouble::AllZeros { .. }]),
            "{:?}",
            clip.troubles
        );
        // A recording thrown away leaves nothing.
        recorder.press(Some(folder().join("away/call.wav")), None);
        std::thread::sleep(Duration::from_millis(400));
        recorder.cancel();
        recorder.press(None, None);
        recorder.release();
        assert!(recorded(&recorder).clip.seconds() < 0.3);
        assert_eq!(std::fs::read_dir(folder().join("away")).unwrap().count(), 0);
    });
}

#[test]
fn a_disk_that_is_full_costs_only_the_file() {
    with_server("a_disk_that_is_full_costs_only_the_file", || {
        let say = folder().join("say.wav");
        write_48k(&say, 1, &signal_48k());
        let recorder = Recorder::open(None).unwrap();
        ready(&recorder);
        // A file that can be opened and takes not a single byte.
        std::os::unix::fs::symlink("/dev/full", folder().join("call.part.wav")).unwrap();
        recorder.press(Some(folder().join("call.wav")), None);
        speak("micfeed", &say);
        std::thread::sleep(Duration::from_millis(200));
        recorder.release();
        let Recorded { clip, path } = recorded(&recorder);
        assert!(path.is_none());
        assert!(
            matches!(&clip.troubles[..], [Trouble::NotOnDisk { .. }]),
            "{:?}",
            clip.troubles
        );
        println!("{}", clip.troubles[0]);
        assert!(residual_of_signal(&clip.samples, 2.0) < -60.0);
    });
}

#[test]
fn a_disk_that_fills_up_while_recording_costs_only_the_file() {
    const NAME: &str = "a_disk_that_fills_up_while_recording_costs_only_the_file";
    if std::env::var(ROLE).is_err() {
        let server = Server::start();
        write_48k(&server.folder.path().join("say.wav"), 1, &signal_48k());
        // The child may write no file longer than 64 blocks of 512 or 1024 bytes; the call takes about 70 kB.
        let inner = child(NAME, NAME, server.folder.path());
        let mut limited = Command::new("sh");
        limited
            .args(["-c", "trap '' XFSZ; ulimit -f 64; exec \"$0\" \"$@\""])
            .arg(inner.get_program());
        limited.args(inner.get_args());
        limited.envs(inner.get_envs().filter_map(|(k, v)| Some((k, v?))));
        return expect_success(&mut limited);
    }
    let recorder = Recorder::open(None).unwrap();
    ready(&recorder);
    recorder.press(Some(folder().join("calls/call.wav")), None);
    assert!(matches!(
        recorder.wait(Duration::from_secs(2)),
        Some(RecorderEvent::Recording)
    ));
    speak("micfeed", &folder().join("say.wav"));
    std::thread::sleep(Duration::from_millis(200));
    match recorder.wait(Duration::from_secs(2)) {
        Some(RecorderEvent::Warning(Trouble::NotOnDisk { reason })) => println!("{reason}"),
        other => panic!("{other:?}"),
    }
    recorder.release();
    let Recorded { clip, path } = recorded(&recorder);
    assert!(path.is_none());
    assert!(
        matches!(&clip.troubles[..], [Trouble::NotOnDisk { .. }]),
        "{:?}",
        clip.troubles
    );
    assert!(residual_of_signal(&clip.samples, 2.0) < -60.0);
    assert_eq!(std::fs::read_dir(folder().join("calls")).unwrap().count(), 0);
}

#[test]
fn a_kill_while_recording_leaves_a_recording() {
    const NAME: &str = "a_kill_while_recording_leaves_a_recording";
    if std::env::var(ROLE).is_ok_and(|r| r == "victim") {
        let recorder = Recorder::open(None).unwrap();
        ready(&recorder);
        recorder.press(Some(folder().join("recordings/call.wav")), None);
        std::fs::write(folder().join("recording"), "").unwrap();
        std::thread::sleep(Duration::from_mins(1));
        return;
    }
    with_server(NAME, || {
        let say = folder().join("say.wav");
        write_48k(&say, 1, &signal_48k());
        let mut victim = child(NAME, "victim", &folder()).spawn().unwrap();
        let until = Instant::now() + Duration::from_secs(10);
        while !folder().join("recording").exists() {
            assert!(Instant::now() < until);
            std::thread::sleep(Duration::from_millis(10));
        }
        speak("micfeed", &say);
        std::thread::sleep(Duration::from_millis(250));
        victim.kill().unwrap();
        victim.wait().unwrap();
        let recordings = folder().join("recordings");
        assert!(
            part::left_over(&recordings).unwrap().is_empty(),
            "just written to: perhaps in use"
        );
        std::thread::sleep(Duration::from_millis(3200));
        let left = part::left_over(&recordings).unwrap();
        assert_eq!(left, [recordings.join("call.part.wav")]);
        let (path, clip) = part::recover(&left[0]).unwrap();
        assert_eq!(path, recordings.join("call.wav"));
        // The last half second may not have reached the disk.
        let residual = residual_of_signal(&clip.samples, 1.6);
        println!("recovered {:.2} s, residual {residual:.1} dB", clip.seconds());
        assert!(residual < -50.0);
    });
}

#[test]
fn without_any_device_everything_goes_on() {
    const NAME: &str = "without_any_device_everything_goes_on";
    if std::env::var(ROLE).is_err() {
        let folder = tempfile::tempdir().unwrap();
        // No server behind the address, and an ALSA that knows no device.
        let output = child(NAME, NAME, folder.path())
            .env("ALSA_CONFIG_PATH", "/dev/null")
            .output()
            .unwrap();
        let errors = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{errors}");
        assert!(!errors.contains("ALSA lib"), "{errors}");
        return;
    }
    let recorder = Recorder::open(None).unwrap();
    match recorder.wait(Duration::from_secs(10)) {
        Some(RecorderEvent::Failed(e)) => println!("{e}"),
        other => panic!("{other:?}"),
    }
    recorder.press(Some(folder().join("call.wav")), None);
    match recorder.wait(Duration::from_secs(2)) {
        Some(RecorderEvent::NotReady(text)) => println!("{text}"),
        other => panic!("{other:?}"),
    }
    recorder.release();
    assert!(!folder().join("call.part.wav").exists());
    // It is told once, though it is tried again.
    assert!(recorder.wait(Duration::from_secs(4)).is_none());
    let player = Player::open(None).unwrap();
    player.play(vec![0.1; 1600]);
    match player.wait(Duration::from_secs(10)) {
        Some(PlayerEvent::Failed { error, .. }) => println!("{error}"),
        other => panic!("{other:?}"),
    }
    let list = devices::list().unwrap();
    assert!(list.inputs.iter().all(|d| d.form.is_none()), "{list:?}");
}
