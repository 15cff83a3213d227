//! Once an instructor has a PIN there is no way round it: other roles, names that look the same, many tries, a merge.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

use cableside::logbook::{INSTRUCTOR, Logbook, LogbookError, NewStudent};
use jiff::{SignedDuration, Timestamp};

fn at(seconds: i64) -> Timestamp {
    "2025-05-03T08:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_secs(seconds)
}

fn open(dir: &Path) -> Logbook {
    Logbook::open(&dir.join("logbook.sqlite"), &dir.join("recordings")).unwrap()
}

fn person(name: &str, role: Option<&str>) -> NewStudent {
    NewStudent {
        name: name.to_owned(),
        role: role.map(str::to_owned),
        ..NewStudent::default()
    }
}

#[test]
fn wrong_tries_wait_longer_and_longer_and_a_new_start_does_not_help() {
    let dir = tempfile::tempdir().unwrap();
    let mut logbook = open(dir.path());
    let ines = logbook
        .add_student(&person("Ines Tutor", Some(INSTRUCTOR)), at(0))
        .unwrap()
        .id;
    logbook.set_pin(ines, Some("4711"), at(1)).unwrap();
    for n in 0..3 {
        assert!(!logbook.check_pin(ines, "0000", at(10 + n)).unwrap());
    }
    drop(logbook);
    let mut logbook = open(dir.path());
    let waits = |logbook: &mut Logbook, second: i64| match logbook.check_pin(ines, "4711", at(second)) {
        Err(LogbookError::PinWait { seconds }) => seconds,
        other => panic!("{other:?}"),
    };
    // Even the right one: it is not looked at.
    assert_eq!(waits(&mut logbook, 13), 4);
    // A clock put back has not waited.
    assert_eq!(waits(&mut logbook, -3600), 5);
    assert!(!logbook.check_pin(ines, "0001", at(20)).unwrap());
    assert_eq!(waits(&mut logbook, 21), 9);
    let mut second = 20;
    for n in 0..10 {
        second += 20_000;
        assert!(!logbook.check_pin(ines, "0002", at(second)).unwrap(), "{n}");
    }
    assert_eq!(
        waits(&mut logbook, second),
        15 * 60,
        "no longer than a quarter of an hour"
    );
    assert!(logbook.check_pin(ines, "4711", at(second + 900)).unwrap());
    // The count begins anew.
    for n in 1..4 {
        assert!(!logbook.check_pin(ines, "0000", at(second + 900 + n)).unwrap());
    }
}

#[test]
fn who_has_no_pin_cannot_act_where_others_have_one() {
    let dir = tempfile::tempdir().unwrap();
    let mut logbook = open(dir.path());
    let ines = logbook
        .add_student(&person("Ines Tutor", Some(INSTRUCTOR)), at(0))
        .unwrap()
        .id;
    let jon = logbook
        .add_student(&person("Jon Hale", Some(INSTRUCTOR)), at(0))
        .unwrap()
        .id;
    logbook.authorise(None, at(1)).unwrap();
    logbook.instructor(jon, None, at(1)).unwrap();
    logbook.set_pin(ines, Some("4711"), at(1)).unwrap();
    assert!(matches!(
        logbook.instructor(jon, None, at(2)),
        Err(LogbookError::PinFirst { .. })
    ));
    assert!(matches!(
        logbook.authorise(None, at(2)),
        Err(LogbookError::PinNeeded { .. })
    ));
    assert!(matches!(
        logbook.authorise(Some("4712"), at(2)),
        Err(LogbookError::WrongPin { .. })
    ));
    logbook.set_pin(jon, Some("winch 8"), at(2)).unwrap();
    // Any instructor's.
    logbook.authorise(Some("winch 8"), at(3)).unwrap();
    logbook.authorise(Some("4711"), at(3)).unwrap();
    logbook.instructor(jon, Some("winch 8"), at(3)).unwrap();
    assert!(matches!(
        logbook.instructor(jon, Some("4711"), at(3)),
        Err(LogbookError::WrongPin { .. })
    ));
}

#[test]
fn nobody_gets_a_name_that_looks_like_an_instructors() {
    let dir = tempfile::tempdir().unwrap();
    let mut logbook = open(dir.path());
    let ines = logbook
        .add_student(&person("Ines Tutor", Some(INSTRUCTOR)), at(0))
        .unwrap()
        .id;
    for name in [
        "Ines Tutor",
        "ines  tutor",
        "In\u{435}s Tutor",
        "Ines\u{200b} Tutor",
        "Ines\u{a0}Tutor",
    ] {
        assert!(
            matches!(
                logbook.add_student(&person(name, None), at(1)),
                Err(LogbookError::LooksLike { .. })
            ),
            "{name:?}"
        );
    }
    let mara = logbook.add_student(&person("Mara Lind", None), at(1)).unwrap().id;
    assert!(logbook.change_student(mara, "Ines  Tutor", None, None, at(2)).is_err());
    // Two students of one name stay allowed, but neither can become an instructor then.
    logbook.add_student(&person("Mara Lind", None), at(1)).unwrap();
    assert!(matches!(
        logbook.change_student(mara, "Mara Lind", None, Some(INSTRUCTOR), at(3)),
        Err(LogbookError::LooksLike { .. })
    ));
    logbook
        .change_student(ines, "INES Tutor", None, Some(INSTRUCTOR), at(4))
        .unwrap();
}

#[test]
fn a_forgotten_pin_goes_after_a_day_unless_it_is_given() {
    let dir = tempfile::tempdir().unwrap();
    let mut logbook = open(dir.path());
    let ines = logbook
        .add_student(&person("Ines Tutor", Some(INSTRUCTOR)), at(0))
        .unwrap()
        .id;
    logbook.set_pin(ines, Some("4711"), at(1)).unwrap();
    let day = 24 * 3600;
    assert_eq!(logbook.forgotten_pin(ines, at(10)).unwrap(), Some(at(10 + day)));
    assert_eq!(logbook.forgotten_pin(ines, at(500)).unwrap(), Some(at(10 + day)));
    assert_eq!(logbook.pin_said_forgotten(ines).unwrap(), Some(at(10)));
    // Its owner gives it: nothing is forgotten.
    assert!(logbook.check_pin(ines, "4711", at(600)).unwrap());
    assert_eq!(logbook.pin_said_forgotten(ines).unwrap(), None);
    assert_eq!(
        logbook.forgotten_pin(ines, at(10 + day)).unwrap(),
        Some(at(10 + 2 * day))
    );
    assert_eq!(logbook.forgotten_pin(ines, at(10 + 2 * day)).unwrap(), None);
    assert!(!logbook.student(ines).unwrap().has_pin);
}

/// The ways round it that were found from outside.
#[test]
fn the_commands_ask_for_the_pin() {
    let home = tempfile::tempdir().unwrap();
    let run_bytes = |args: &[&str], typed: &[u8]| {
        let mut child = Command::new(env!("CARGO_BIN_EXE_cableside"))
            .arg("logbook")
            .args(args)
            .env("CABLESIDE_HOME", home.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        // One that asks for nothing may be gone already.
        let _ = child.stdin.take().unwrap().write_all(typed);
        let out = child.wait_with_output().unwrap();
        let text = String::from_utf8_lossy(&[out.stdout, out.stderr].concat()).into_owned();
        (out.status.success(), text)
    };
    let run = |args: &[&str], typed: &str| run_bytes(args, typed.as_bytes());
    for name in ["Ines Tutor", "Mara Lind"] {
        assert!(run(&["student", "add", name, "--consent", "no"], "").0);
    }
    assert!(run(&["student", "role", "Ines Tutor", "instructor"], "").0);
    // Bytes that are no text would all be the same PIN.
    let (done, text) = run_bytes(&["student", "pin", "Ines Tutor"], b"\xff\xfe\xff\xfe\n");
    assert!(!done && text.contains("not UTF-8"), "{text}");
    assert!(run(&["student", "pin", "Ines Tutor"], "4711\n").0);
    let other = tempfile::tempdir().unwrap();
    drop(open(other.path()));
    let other = other.path().join("logbook.sqlite");
    let guarded: [&[&str]; 10] = [
        &["student", "role", "Mara Lind", "instructor"],
        &["student", "role", "Ines Tutor", "student"],
        &["student", "guardian", "Mara Lind", "yes"],
        &["student", "rename", "Mara Lind", "Mara Berg"],
        &["student", "pin", "Mara Lind"],
        &["student", "keep", "Mara Lind", "--attempts-days", "1"],
        &["keep", "--attempts-days", "1"],
        &["forget", "Ines Tutor", "--yes"],
        &["merge", other.to_str().unwrap()],
        &["set-aside", "--yes"],
    ];
    let before = run(&["students"], "");
    for args in guarded {
        let (done, text) = run(args, "");
        assert!(!done && text.contains("PIN"), "{args:?}: {text}");
    }
    let (done, text) = run(guarded[0], "0000\n");
    assert!(!done && text.contains("not the PIN of Ines Tutor"), "{text}");
    let (done, text) = run(&["student", "add", "Ines  Tutor", "--consent", "no"], "");
    assert!(!done && text.contains("looks the same"), "{text}");
    assert_eq!(run(&["students"], ""), before);
    let (done, text) = run(guarded[3], "4711\n");
    assert!(done && text.contains("Mara Lind is now called Mara Berg"), "{text}");
    assert!(run(guarded[8], "4711\n").0);
    // Looking is free.
    assert!(run(&["keep"], "").0);
}

/// Another computer's logbook may say that somebody's PIN is gone, or that somebody is an instructor: a merge says so.
#[test]
fn a_merge_names_whose_rights_it_changes() {
    let (here, there) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let mut logbook = open(here.path());
    let ines = logbook
        .add_student(&person("Ines Tutor", Some(INSTRUCTOR)), at(0))
        .unwrap()
        .id;
    logbook.set_pin(ines, Some("4711"), at(1)).unwrap();
    let other = there.path().join("logbook.sqlite");
    let merge = |logbook: &mut Logbook| logbook.merge(&other, &there.path().join("recordings")).unwrap();
    // A copy that knows the same changes nothing.
    let mut copy = open(there.path());
    copy.merge(&here.path().join("logbook.sqlite"), &here.path().join("recordings"))
        .unwrap();
    let same = merge(&mut logbook);
    assert!(same.pins_changed.is_empty() && same.new_instructors.is_empty());

    copy.set_pin(ines, None, at(2)).unwrap();
    copy.add_student(&person("Jon Hale", Some(INSTRUCTOR)), at(2)).unwrap();
    drop(copy);
    let merged = merge(&mut logbook);
    assert_eq!(merged.pins_changed, ["Ines Tutor"]);
    assert_eq!(merged.new_instructors, ["Jon Hale"]);
    // As it was before stands beside it.
    drop(logbook);
    let backup = merged.backup.unwrap();
    let mut before = Logbook::open(&backup, &here.path().join("recordings")).unwrap();
    assert!(before.check_pin(ines, "4711", at(9)).unwrap());
    assert_eq!(before.students().unwrap().len(), 1);
}
