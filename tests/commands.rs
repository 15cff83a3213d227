//! The program from outside: exit codes, messages, the typed drill and the logbook.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "tests"
)]

use std::path::Path;
use std::process::{Command, Output, Stdio};

fn cableside(home: &Path) -> Command {
    let mut c = Command::new(env!("CARGO_BIN_EXE_cableside"));
    c.env("CABLESIDE_HOME", home).current_dir(env!("CARGO_MANIFEST_DIR"));
    c
}

fn score<'a>(file: &'a str, site: &'a str, callsign: &'a str, crew: &'a str, cable: &'a str) -> Vec<&'a str> {
    vec![
        "score",
        file,
        "--site",
        site,
        "--callsign",
        callsign,
        "--crew",
        crew,
        "--cable",
        cable,
    ]
}

fn text(out: &Output) -> (String, String) {
    (
        String::from_utf8_lossy(&out.stdout).into_owned(),
        String::from_utf8_lossy(&out.stderr).into_owned(),
    )
}

#[test]
fn usage_is_2_and_failure_is_1_with_one_clear_message() {
    let home = tempfile::tempdir().unwrap();
    let out = cableside(home.path()).arg("score").output().unwrap();
    assert_eq!(out.status.code(), Some(2));
    let clip = "audio-fixtures/clips/demo_missing_crew.flac";
    for (args, part) in [
        (
            score("no.wav", "larkmoor", "D-2058", "1", "west"),
            "no cable \"west\"; it has: north, south",
        ),
        (score("no.wav", "larkmoor", "D-2058", "5", "north"), "crew of 5"),
        (
            score("no.wav", "nowhere", "D-2058", "1", "north"),
            "no site \"nowhere\"",
        ),
        (score("no.wav", "larkmoor", "?", "1", "north"), "no callsign"),
        (score("no.wav", "larkmoor", "D-2058", "1", "north"), "no.wav"),
        (score(clip, "larkmoor", "D-2058", "1", "north"), "cableside model fetch"),
        (vec!["evaluate", "none.jsonl", "--out", "r.json"], "none.jsonl"),
        (vec!["site", "check", "no-such-folder"], "no such folder"),
    ] {
        let out = cableside(home.path()).args(&args).output().unwrap();
        let (_, err) = text(&out);
        assert_eq!(out.status.code(), Some(1), "{args:?}: {err}");
        assert!(
            err.starts_with("cableside: ") && err.contains(part) && !err.contains("panicked"),
            "{args:?}: {err}"
        );
    }
}

#[test]
fn a_text_file_named_wav_is_named_as_such() {
    let home = tempfile::tempdir().unwrap();
    let wav = home.path().join("notes.wav");
    std::fs::write(&wav, "these are my notes about the launch\n").unwrap();
    let out = cableside(home.path())
        .args(score(wav.to_str().unwrap(), "larkmoor", "D-2058", "1", "north"))
        .output()
        .unwrap();
    assert_eq!(out.status.code(), Some(1));
    assert!(text(&out).1.contains("no WAV or FLAC"), "{}", text(&out).1);
}

/// Before a model is looked for: what the site does not have is no situation to judge by.
#[test]
fn score_takes_what_was_dealt_and_refuses_what_the_site_lacks() {
    let home = tempfile::tempdir().unwrap();
    let clip = "audio-fixtures/clips/demo_missing_crew.flac";
    let right = score(clip, "larkmoor", "G-CLRM", "2", "north");
    let speed = [&right[..], &["--step", "speed"]].concat();
    for (args, part) in [
        (
            score(clip, "larkmoor", "G-XXXX", "1", "north"),
            "not in the fleet of the site larkmoor",
        ),
        (score(clip, "larkmoor", "D-2058", "2", "north"), "has one seat"),
        (
            [&right[..], &["--value", "speed=too slow"]].concat(),
            "leaves no choice",
        ),
        ([&speed[..], &["--value", "speed"]].concat(), "ELEMENT=VALUE"),
        (
            [&speed[..], &["--value", "crew=2"]].concat(),
            "does not leave \"crew\" open; it does: speed",
        ),
        (
            [&speed[..], &["--value", "speed=sideways"]].concat(),
            "has no value \"sideways\"; it has: ",
        ),
        (
            [&speed[..], &["--value", "speed=too slow", "--value", "speed=too fast"]].concat(),
            "given twice",
        ),
        // All is right with these, so the model is what is missing.
        (
            [&speed[..], &["--value", "speed=too slow"]].concat(),
            "cableside model fetch",
        ),
        (
            [&score(clip, "larkmoor", "G-XXXX", "1", "north")[..], &["--visitor"]].concat(),
            "cableside model fetch",
        ),
    ] {
        let out = cableside(home.path()).args(&args).output().unwrap();
        assert_eq!(out.status.code(), Some(1), "{args:?}");
        let (_, told) = text(&out);
        assert!(told.contains(part), "{args:?}: {told}");
    }
}

#[test]
fn manual_pages_and_completions_are_made() {
    let home = tempfile::tempdir().unwrap();
    let pages = home.path().join("man");
    let run = || cableside(home.path()).arg("manual").arg(&pages).output().unwrap();
    assert!(run().status.success());
    let page = std::fs::read_to_string(pages.join("cableside-class-hand-out.1")).unwrap();
    assert!(
        page.contains("cableside\\-class\\-hand\\-out") || page.contains("hand"),
        "{page}"
    );
    assert!(!run().status.success(), "pages that are there are not overwritten");
    for shell in ["bash", "zsh", "fish", "powershell"] {
        let out = cableside(home.path()).args(["completions", shell]).output().unwrap();
        assert!(out.status.success() && text(&out).0.contains("hand-out"), "{shell}");
    }
}

#[test]
fn a_new_site_checks_clean_and_is_never_overwritten() {
    let home = tempfile::tempdir().unwrap();
    for language in ["en", "de"] {
        let dir = home.path().join(format!("field-{language}"));
        let dir = dir.to_str().unwrap();
        assert!(
            cableside(home.path())
                .args(["site", "new", dir, "--language", language])
                .status()
                .unwrap()
                .success()
        );
        let out = cableside(home.path()).args(["site", "check", dir]).output().unwrap();
        assert!(out.status.success(), "{}", text(&out).1);
        let again = cableside(home.path()).args(["site", "new", dir]).output().unwrap();
        assert_eq!(again.status.code(), Some(1));
        assert!(text(&again).1.contains("not empty"));
    }
}

#[test]
fn a_typed_drill_is_in_the_logbook_afterwards() {
    use std::io::Write;
    let home = tempfile::tempdir().unwrap();
    let mut child = cableside(home.path())
        .args([
            "drill",
            "--site",
            "larkmoor",
            "--typed",
            "--turns",
            "1",
            "--situation",
            "D-2058,1,south",
        ])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(b"winch ready\n").unwrap();
    let out = child.wait_with_output().unwrap();
    assert!(text(&out).0.contains("not yet"), "{}", text(&out).0);
    let list = cableside(home.path()).args(["logbook", "list"]).output().unwrap();
    assert!(text(&list).0.contains("not yet"), "{:?}", text(&list));
}

/// A word that is no truth value would be counted as a fault; results are never written over.
#[test]
fn an_evaluation_refuses_what_it_would_count_wrongly() {
    let home = tempfile::tempdir().unwrap();
    let (manifest, out) = (home.path().join("m.jsonl"), home.path().join("r.json"));
    let evaluate = |truth: &str| {
        let line = format!(
            r#"{{"audio": "a.wav", "site": "larkmoor", "step": "ready", "situation": {{"callsign": "G-CLRM", "crew": 2, "cable": "north"}},
            "truth": {{"crew": {truth}}}}}"#
        );
        std::fs::write(&manifest, line.replace('\n', " ")).unwrap();
        let done = cableside(home.path())
            .arg("evaluate")
            .arg(&manifest)
            .arg("--out")
            .arg(&out)
            .output()
            .unwrap();
        (done.status.code(), text(&done).1)
    };
    for (truth, part) in [
        (
            "\"false\"",
            "the truth of crew is \"false\"; it must be said, wrong, missing",
        ),
        ("false", "line 1 of the manifest is not in its form"),
    ] {
        let (code, why) = evaluate(truth);
        assert!(code == Some(1) && why.contains(part), "{code:?} {why}");
    }
    // In its form: what is missing now is the model.
    let (code, why) = evaluate("\"said\"");
    assert!(code == Some(1) && why.contains("cableside model fetch"), "{why}");
    std::fs::write(&out, "mine").unwrap();
    let (code, why) = evaluate("\"said\"");
    assert!(code == Some(1) && why.contains("exists"), "{why}");
    assert_eq!(std::fs::read_to_string(&out).unwrap(), "mine");
}

/// No file may grow beyond what the logbook has already: what a full disk does, to this program alone.
#[test]
#[cfg(unix)]
fn a_drill_that_could_not_be_stored_says_so_at_its_end() {
    for signal in [None, Some("TERM"), Some("INT"), Some("HUP")] {
        a_drill_on_a_full_disk(signal);
    }
}

/// Ended by the end of its input, or by a signal after the last verdict was shown.
#[cfg(unix)]
fn a_drill_on_a_full_disk(signal: Option<&str>) {
    use std::io::{BufRead, BufReader, Read, Write};
    let home = tempfile::tempdir().unwrap();
    let added = cableside(home.path())
        .args(["logbook", "student", "add", "Mara Lind", "--consent", "no"])
        .output()
        .unwrap();
    assert!(added.status.success(), "{:?}", text(&added));
    let size = std::fs::metadata(home.path().join("logbook.sqlite")).unwrap().len();
    let mut child = Command::new("sh")
        .arg("-c")
        // In blocks of 512 bytes; a write beyond is an error, not the end of the program.
        .arg(format!("trap '' XFSZ; ulimit -f {}; exec \"$@\"", size / 512 + 1))
        .arg("sh")
        .arg(env!("CARGO_BIN_EXE_cableside"))
        .args("drill --site larkmoor --typed --turns 7 --student".split(' '))
        .arg("Mara Lind")
        .env("CABLESIDE_HOME", home.path())
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut typing = child.stdin.take().unwrap();
    typing.write_all("stop\n".repeat(6).as_bytes()).unwrap();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    let mut said = String::new();
    if let Some(signal) = signal {
        // One more is wanted then, and none comes.
        while said.matches("Outcome:").count() < 6 {
            assert!(out.read_line(&mut said).unwrap() > 0, "{said}");
        }
        let pid = child.id().to_string();
        assert!(
            Command::new("kill")
                .args([&format!("-{signal}"), &pid])
                .status()
                .unwrap()
                .success()
        );
        out.read_to_string(&mut said).unwrap();
        drop(typing);
    } else {
        drop(typing);
        out.read_to_string(&mut said).unwrap();
    }
    let mut error = String::new();
    child.stderr.take().unwrap().read_to_string(&mut error).unwrap();
    let status = child.wait().unwrap();
    let shown = said.matches("Outcome:").count();
    let book = rusqlite::Connection::open(home.path().join("logbook.sqlite")).unwrap();
    let stored: u32 = book
        .query_row("SELECT count(*) FROM attempt", [], |r| r.get(0))
        .unwrap();
    let stored = stored as usize;
    assert_eq!(shown, 6, "{said}{error}");
    assert!(stored < shown, "the disk was not full: {stored} of {shown} are stored");
    assert!(said.contains("Not stored yet"), "{said}");
    let lost = format!("{} of the attempts shown are NOT in the logbook", shown - stored);
    assert!(error.contains(&lost), "{signal:?}: {error}");
    assert_eq!(status.code(), Some(1), "{signal:?}");
}

/// kill -9 at twenty moments while a student drills: every call whose verdict was shown is in the logbook afterwards, and
/// the database opens.
#[test]
#[cfg(unix)]
fn what_was_judged_survives_a_kill_at_any_moment() {
    use std::io::{Read, Write};
    let home = tempfile::tempdir().unwrap();
    let (mut shown, mut moments) = (0_i64, cableside::command::common::random(3));
    for _ in 0..20 {
        let mut drill = cableside(home.path())
            .args(["drill", "--site", "larkmoor", "--typed", "--turns", "1000"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut typing = drill.stdin.take().unwrap();
        let typist = std::thread::Builder::new()
            .name("typist".into())
            .spawn(move || {
                // Until the drill is gone.
                while typing
                    .write_all(b"winch, delta two zero five eight, solo, north\n")
                    .is_ok()
                {
                    std::thread::sleep(std::time::Duration::from_millis(7));
                }
            })
            .unwrap();
        let mut out = drill.stdout.take().unwrap();
        let reader = std::thread::Builder::new()
            .name("reader".into())
            .spawn(move || {
                let mut text = Vec::new();
                let _ = out.read_to_end(&mut text);
                String::from_utf8_lossy(&text).matches("Outcome:").count()
            })
            .unwrap();
        std::thread::sleep(std::time::Duration::from_millis(150 + u64::from(moments() % 900)));
        drill.kill().unwrap();
        drill.wait().unwrap();
        typist.join().unwrap();
        shown += i64::try_from(reader.join().unwrap()).unwrap();
        let database = rusqlite::Connection::open(home.path().join("logbook.sqlite")).unwrap();
        let well: String = database
            .query_row("PRAGMA integrity_check", [], |row| row.get(0))
            .unwrap();
        assert_eq!(well, "ok");
        // One that was killed before it had made its tables has shown nothing.
        let tables = "SELECT count(*) FROM sqlite_master WHERE name = 'attempt'";
        let made: i64 = database.query_row(tables, [], |row| row.get(0)).unwrap();
        let kept: i64 = if made == 0 {
            0
        } else {
            database
                .query_row("SELECT count(*) FROM attempt", [], |row| row.get(0))
                .unwrap()
        };
        assert!(kept >= shown, "{shown} calls were judged, {kept} are in the logbook");
    }
    assert!(shown > 40, "only {shown} calls were judged");
}

#[test]
fn a_site_travels_as_one_file_and_shows_what_differs_before_it_is_replaced() {
    let home = tempfile::tempdir().unwrap();
    let run = |args: &[&str]| {
        let out = cableside(home.path()).arg("site").args(args).output().unwrap();
        let (stdout, stderr) = text(&out);
        (out.status.code(), stdout + &stderr)
    };
    let file = home.path().join("site.zip");
    let file = file.to_str().unwrap();
    let (code, told) = run(&["export", "larkmoor", file]);
    assert_eq!(code, Some(0), "{told}");
    // Only a name: it gets the ending by which it is opened.
    let bare = home.path().join("larkmoor");
    let (code, told) = run(&["export", "larkmoor", bare.to_str().unwrap()]);
    assert!(code == Some(0) && told.contains("larkmoor.cableside"), "{told}");
    assert!(home.path().join("larkmoor.cableside").is_file() && !bare.exists());
    let (code, told) = run(&["import", file]);
    assert_eq!(code, Some(0), "{told}");
    assert!(told.contains("ships with the program"), "{told}");
    let (code, told) = run(&["import", file]);
    assert!(code == Some(0) && told.contains("file by file the same"), "{told}");

    // A club's change to its own copy; then the file comes again.
    let own = home.path().join("phrases/larkmoor");
    let words = std::fs::read_to_string(own.join("words.toml")).unwrap();
    std::fs::write(
        own.join("words.toml"),
        words.replace("taught = \"two up\"", "taught = \"two aboard\""),
    )
    .unwrap();
    let (code, told) = run(&["import", file]);
    assert_eq!(code, Some(1), "{told}");
    for part in [
        "words.toml: 1 lines gone, 1 new",
        "\"two aboard\" -> \"two up\"",
        "\"Ready call\" (ready): Crew judged by other words; the logbook holds no attempt of it",
        "count the version up",
        "--replace",
    ] {
        assert!(told.contains(part), "\"{part}\" is not in {told}");
    }
    assert!(
        std::fs::read_to_string(own.join("words.toml"))
            .unwrap()
            .contains("two aboard")
    );
    let (code, told) = run(&["import", file, "--replace"]);
    assert_eq!(code, Some(0), "{told}");
    assert_eq!(std::fs::read_to_string(own.join("words.toml")).unwrap(), words);
    let older = std::fs::read_dir(home.path().join("phrases/.older"))
        .unwrap()
        .next()
        .unwrap()
        .unwrap();
    assert!(
        std::fs::read_to_string(older.path().join("words.toml"))
            .unwrap()
            .contains("two aboard")
    );

    let (code, told) = run(&["compare", "larkmoor", file]);
    assert!(code == Some(0) && told.contains("No file differs."), "{told}");
    let (code, told) = run(&["import", "Cargo.toml"]);
    assert!(code == Some(1) && told.contains("no zip archive"), "{told}");
    assert!(!home.path().join("logbook.sqlite").exists(), "looking makes no logbook");
}

/// A folder is found by its name where it lies; a site that is there by that name comes first.
#[test]
fn a_site_is_found_by_its_folders_name_here() {
    let home = tempfile::tempdir().unwrap();
    let at = tempfile::tempdir().unwrap();
    let drill = |site: &str| {
        let mut c = cableside(home.path());
        c.current_dir(at.path())
            .args(["drill", "--typed", "--turns", "1", "--site", site]);
        c.stdin(Stdio::null()).output().unwrap()
    };
    assert_eq!(drill("ourfield").status.code(), Some(1));
    let made = cableside(home.path())
        .current_dir(at.path())
        .args(["site", "new", "ourfield"])
        .output()
        .unwrap();
    assert!(made.status.success(), "{made:?}");
    let out = drill("ourfield");
    assert!(out.status.success(), "{out:?}");
    assert!(text(&out).0.contains("ourfield is invented"), "{out:?}");
    std::fs::rename(at.path().join("ourfield"), at.path().join("larkmoor")).unwrap();
    assert!(text(&drill("larkmoor")).0.contains("Larkmoor is invented"));
}

/// Each direction is dealt sooner or later, and the one asked for always.
#[test]
fn the_drill_has_every_direction_of_the_site() {
    let home = tempfile::tempdir().unwrap();
    let drill = |turns: &str, more: &[&str]| {
        let mut c = cableside(home.path());
        c.args([
            "drill",
            "--typed",
            "--site",
            "larkmoor",
            "--level",
            "launch-point",
            "--turns",
            turns,
        ]);
        c.args(more).stdin(Stdio::piped()).stdout(Stdio::piped());
        let mut child = c.spawn().unwrap();
        let calls = "stop\n".repeat(20);
        std::io::Write::write_all(&mut child.stdin.take().unwrap(), calls.as_bytes()).ok();
        text(&child.wait_with_output().unwrap()).0
    };
    let out = drill("9", &[]);
    assert!(out.contains("to the east") && out.contains("to the west"), "{out}");
    let out = drill("9", &["--direction", "west"]);
    assert!(!out.contains("to the east") && out.contains("to the west"), "{out}");
    let out = cableside(home.path())
        .args(["drill", "--typed", "--site", "larkmoor", "--direction", "up"])
        .output()
        .unwrap();
    assert!(
        text(&out).1.contains("no direction \"up\"; it has: east, west"),
        "{out:?}"
    );
}

/// What was dealt beside glider, crew and cable can be named to the judge of a recording, and a glider by its sign.
#[test]
fn score_knows_what_was_dealt() {
    let home = tempfile::tempdir().unwrap();
    let args = |more: &[&str]| {
        let mut c = cableside(home.path());
        c.args(score("no.wav", "tests/sites/kranmoor", "K7", "1", "wald"))
            .args(more);
        text(&c.output().unwrap()).1
    };
    assert!(args(&["--value", "wind=quer"]).contains("no.wav"));
    assert!(args(&["--value", "wind=west"]).contains("wind has no value \"west\"; it has: vorn, quer"));
    assert!(args(&["--value", "cable=wald"]).contains("does not leave \"cable\" open; it does: "));
}

/// Who is who, in one row each: role, classes, attempts, what was said about recordings.
#[test]
fn the_list_of_students_has_what_is_known_of_each() {
    let home = tempfile::tempdir().unwrap();
    let run = |args: &[&str]| {
        let out = cableside(home.path()).args(args).stdin(Stdio::null()).output().unwrap();
        assert!(out.status.success(), "{args:?}: {:?}", text(&out));
        text(&out).0
    };
    run(&[
        "logbook",
        "student",
        "add",
        "Mara Lind",
        "--consent",
        "yes",
        "--by",
        "Ida Lind",
        "--needs-guardian",
    ]);
    run(&["logbook", "student", "add", "Ines Tutor", "--consent", "no"]);
    run(&["logbook", "student", "role", "Ines Tutor", "instructor"]);
    run(&["class", "new", "Tuesday"]);
    run(&["class", "join", "Tuesday", "Mara Lind"]);
    let book = cableside::logbook::Logbook::open(&home.path().join("logbook.sqlite"), &home.path().join("recordings"));
    let id = book.unwrap().find_student("Mara Lind").unwrap().id.to_string();
    let list = run(&["logbook", "students"]);
    let row = |name: &str| {
        list.lines()
            .find(|l| l.contains(name))
            .unwrap_or_else(|| panic!("{list}"))
            .to_owned()
    };
    let head = row("consent");
    for column in ["id", "name", "role", "class", "attempts"] {
        assert!(head.contains(column), "{head}");
    }
    let mara = row("Mara Lind");
    assert!(mara.starts_with(&id[..8]), "{mara}");
    for part in ["student", "Tuesday", " 0 ", "recordings allowed", "Ida Lind"] {
        assert!(mara.contains(part), "\"{part}\" is not in {mara}");
    }
    let ines = row("Ines Tutor");
    for part in ["instructor", " - ", " 0 ", "no recordings"] {
        assert!(ines.contains(part), "\"{part}\" is not in {ines}");
    }
}
