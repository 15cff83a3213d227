//! Servers that die or freeze, full disks, a killed program, no device at all.

use super::recording::{residual_of_signal, signal_48k, write_48k};
use super::server::{ROLE, Server, child, expect_success, folder, signal, with_server};
use super::{ready, recorded, speak};
use cableside::sound::{
    ClipTrouble, Player, PlayerEvent, Recorded, Recorder, RecorderEvent, SoundError, devices, part, read_clip,
};
use std::process::Command;
use std::time::{Duration, Instant};

#[test]
fn a_server_that_dies_leaves_the_clip() {
    with_server("failing::a_server_that_dies_leaves_the_clip", || {
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
            matches!(clip.troubles[..], [ClipTrouble::DeviceLost { at_seconds }] if at_seconds > 1.7),
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
fn a_frozen_server_holds_nobody_up() {
    with_server("failing::a_frozen_server_holds_nobody_up", || {
        let recorder = Recorder::open(None).unwrap();
        ready(&recorder);
        recorder.press(None, None);
        std::thread::sleep(Duration::from_millis(700));
        signal("-STOP");
        let Recorded { clip, .. } = recorded(&recorder);
        assert!(
            clip.troubles
                .iter()
                .any(|t| matches!(t, ClipTrouble::DeviceLost { .. })),
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
fn a_disk_that_is_full_costs_only_the_file() {
    with_server("failing::a_disk_that_is_full_costs_only_the_file", || {
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
            matches!(&clip.troubles[..], [ClipTrouble::NotOnDisk { .. }]),
            "{:?}",
            clip.troubles
        );
        println!("{}", clip.troubles[0]);
        assert!(residual_of_signal(&clip.samples, 2.0) < -60.0);
    });
}

#[test]
fn a_disk_that_fills_up_while_recording_costs_only_the_file() {
    const NAME: &str = "failing::a_disk_that_fills_up_while_recording_costs_only_the_file";
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
        Some(RecorderEvent::Warning(ClipTrouble::NotOnDisk { reason })) => println!("{reason}"),
        other => panic!("{other:?}"),
    }
    recorder.release();
    let Recorded { clip, path } = recorded(&recorder);
    assert!(path.is_none());
    assert!(
        matches!(&clip.troubles[..], [ClipTrouble::NotOnDisk { .. }]),
        "{:?}",
        clip.troubles
    );
    assert!(residual_of_signal(&clip.samples, 2.0) < -60.0);
    assert_eq!(std::fs::read_dir(folder().join("calls")).unwrap().count(), 0);
}

#[test]
fn a_kill_while_recording_leaves_a_recording() {
    const NAME: &str = "failing::a_kill_while_recording_leaves_a_recording";
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
    const NAME: &str = "failing::without_any_device_everything_goes_on";
    if std::env::var(ROLE).is_err() {
        let folder = tempfile::tempdir().unwrap();
        // No server behind the address, and an ALSA that knows no device.
        let output = child(NAME, NAME, folder.path())
            .env("ALSA_CONFIG_PATH", "/dev/null")
            .output()
            .unwrap();
        let errors = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{errors}");
        assert!(String::from_utf8_lossy(&output.stdout).contains("1 passed"));
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
