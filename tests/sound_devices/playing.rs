//! Sound that is played: caught at the loudspeaker and measured.

use super::server::{folder, signal, with_server};
use cableside::sound::{Player, PlayerEvent, SoundError, read_clip};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

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
    with_server("playing::plays_what_it_is_given", || {
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
    with_server("playing::a_sound_that_is_stopped_or_replaced_is_told_so", || {
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
fn a_server_that_dies_ends_the_sound() {
    with_server("playing::a_server_that_dies_ends_the_sound", || {
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
