//! Files that somebody else made: what is no regular file, never ends, or holds what nobody can take, is refused with a
//! message, and none of it hangs, panics or steers the terminal.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

fn cableside(home: &Path, args: &[&str]) -> Command {
    let mut c = Command::new(env!("CARGO_BIN_EXE_cableside"));
    c.args(args)
        .env("CABLESIDE_HOME", home)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    c
}

/// Runs to the end, or fails the test when it does not end.
fn ends(home: &Path, args: &[&str]) -> Output {
    let mut child = cableside(home, args).spawn().unwrap();
    let begun = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if begun.elapsed() > Duration::from_mins(1) {
            child.kill().unwrap();
            panic!("{args:?} does not end");
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    child.wait_with_output().unwrap()
}

fn said(out: &Output) -> String {
    String::from_utf8_lossy(&[&out.stdout[..], &out.stderr[..]].concat()).into_owned()
}

#[cfg(unix)]
#[test]
fn a_pipe_or_a_device_is_no_file() {
    let home = tempfile::tempdir().unwrap();
    let pipe = home.path().join("pipe");
    assert!(Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    for name in [pipe.to_str().unwrap(), "/dev/zero"] {
        for args in [
            &["site", "import", name][..],
            &["class", "practise", name],
            &["class", "hand-in", name, "--out", "never.json"],
            &["rehearse", name, "--out", "never"],
            &["evaluate", name, "--out", "never.json"],
            &["logbook", "merge", name],
            &[
                "score",
                name,
                "--site",
                "larkmoor",
                "--callsign",
                "G-CLRM",
                "--crew",
                "2",
                "--cable",
                "north",
            ],
        ] {
            let out = ends(home.path(), args);
            let text = said(&out);
            let named = text.contains("no regular file") || text.contains("this is not a file");
            assert!(!out.status.success() && named, "{args:?}: {text}");
        }
        // What is no file is no model either.
        let out = ends(home.path(), &["demo", "--model", name]);
        let text = said(&out);
        assert_eq!(out.status.code(), Some(1), "{text}");
        assert!(text.contains(name) && text.contains("no speech model"), "{text}");
        let models = home.path().join("models");
        std::fs::create_dir_all(&models).unwrap();
        std::os::unix::fs::symlink(name, models.join("ggml-base.bin")).unwrap();
        let out = ends(home.path(), &["demo"]);
        let text = said(&out);
        assert!(
            out.status.code() == Some(1) && text.contains("cableside model fetch"),
            "{text}"
        );
        std::fs::remove_file(models.join("ggml-base.bin")).unwrap();
        // The secret is looked for first.
        let secret = home.path().join("class.secret");
        std::fs::write(&secret, "00").unwrap();
        assert!(!ends(home.path(), &["class", "take-in", name]).status.success());
        std::fs::remove_file(&secret).unwrap();
        std::os::unix::fs::symlink(name, &secret).unwrap();
        let text = said(&ends(home.path(), &["class", "take-in", name]));
        assert!(text.contains("regular file"), "{text}");
        std::fs::remove_file(&secret).unwrap();
    }
}

#[test]
fn what_steers_a_terminal_is_written_out() {
    let home = tempfile::tempdir().unwrap();
    let evil = home.path().join("evil\u{1b}[2J\u{202e}.zip");
    let out = ends(home.path(), &["site", "import", evil.to_str().unwrap()]);
    assert!(!out.status.success());
    let text = said(&out);
    assert!(text.contains("\\u001b[2J\\u202e"), "{text}");
    assert!(!text.contains('\u{1b}') && !text.contains('\u{202e}'), "{text:?}");
}

#[cfg(unix)]
#[test]
fn a_pipe_in_a_sites_folder_is_named_as_a_problem() {
    let home = tempfile::tempdir().unwrap();
    let site = home.path().join("field");
    let made = ends(home.path(), &["site", "new", site.to_str().unwrap()]);
    assert!(made.status.success(), "{}", said(&made));
    let fleet = site.join("fleet.toml");
    std::fs::remove_file(&fleet).unwrap();
    assert!(Command::new("mkfifo").arg(&fleet).status().unwrap().success());
    for _ in 0..2 {
        let out = ends(home.path(), &["site", "check", site.to_str().unwrap()]);
        let text = said(&out);
        assert!(
            !out.status.success() && text.contains("fleet.toml") && text.contains("no regular file"),
            "{text}"
        );
        std::fs::remove_file(&fleet).unwrap();
        std::os::unix::fs::symlink("/dev/zero", &fleet).unwrap();
    }
}

/// What stands in the folder of a rehearsal is somebody's: it is refused before any work is done, and stays as it is.
#[test]
fn a_rehearsal_never_writes_over_what_is_there() {
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("out");
    std::fs::create_dir(&out).unwrap();
    let script = "tests/rehearsals/brackmere_halt.toml";
    for name in ["debrief.txt", "debrief.json", "exchange.wav"] {
        let there = out.join(name);
        std::fs::write(&there, "mine").unwrap();
        let done = ends(home.path(), &["rehearse", script, "--out", out.to_str().unwrap()]);
        let text = said(&done);
        assert_eq!(done.status.code(), Some(1), "{text}");
        assert!(text.contains("exists already") && text.contains(name), "{text}");
        assert_eq!(std::fs::read_to_string(&there).unwrap(), "mine");
        assert_eq!(std::fs::read_dir(&out).unwrap().count(), 1);
        std::fs::remove_file(&there).unwrap();
    }
    // Nothing is in the way now: what is missing is the model.
    let text = said(&ends(
        home.path(),
        &["rehearse", script, "--out", out.to_str().unwrap()],
    ));
    assert!(text.contains("cableside model fetch"), "{text}");
}
