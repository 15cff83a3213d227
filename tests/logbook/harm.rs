//! Kills, two programs, protected folders, full disks, foreign and damaged files.

use super::{Dice, World, add, at, attempt, with_recording};
use cableside::logbook::{Fate, Logbook, LogbookError, Whose};
use rusqlite::Connection;
use serde_json::json;
use std::collections::BTreeSet;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use uuid::Uuid;

const CHILD: &str = "CABLESIDE_TEST_CHILD";

/// This test program again, running only the named test as a child that does `what`.
fn child(test: &str, what: &str, dir: &Path) -> Command {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command
        .args(["--exact", test, "--nocapture", "--test-threads", "1"])
        .env(CHILD, what)
        .env("CHILD_DIR", dir);
    command
}

/// The folder a child is to work in, if this process is the child.
fn as_child() -> Option<PathBuf> {
    std::env::var_os(CHILD)
        .and_then(|_| std::env::var_os("CHILD_DIR"))
        .map(PathBuf::from)
}

/// A second process stores attempts with recordings as fast as it can and prints each id when it is stored; it is
/// killed at a random moment, twenty times over on the same logbook.
#[test]
fn a_kill_at_any_moment_keeps_every_finished_attempt() {
    const NAME: &str = "harm::a_kill_at_any_moment_keeps_every_finished_attempt";
    if let Some(dir) = as_child() {
        let mut logbook = Logbook::open(&dir.join("logbook.sqlite"), &dir.join("recordings")).unwrap();
        let student = logbook.find_student("Mara Lind").unwrap().id;
        for i in 0.. {
            let mut a = with_recording(&logbook, student, i);
            // Many pages each, and some more than SQLite keeps in memory, so that there is time to be killed in the
            // midst of writing them.
            let length = if i % 4 == 3 { 3_000_000 } else { 200_000 };
            a.transcript = "x".repeat(length);
            logbook.record(&a, at(i)).unwrap();
            println!("\nfinished {}", a.id);
        }
    }
    let world = World::new();
    add(&mut world.open(), "Mara Lind", Some(true));
    let mut dice = Dice(Uuid::new_v4().as_u64_pair().0 | 1);
    let mut finished = BTreeSet::new();
    for round in 1..=20 {
        let mut process = child(NAME, "write", world.dir.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let moment = Duration::from_micros(5_000 + dice.below(200_000));
        std::thread::sleep(moment);
        // SIGKILL (TerminateProcess on Windows): no handler runs, nothing is flushed.
        process.kill().unwrap();
        process.wait().unwrap();
        for line in BufReader::new(process.stdout.take().unwrap()).lines() {
            if let Some(id) = line
                .unwrap()
                .strip_prefix("finished ")
                .and_then(|id| Uuid::try_parse(id).ok())
            {
                finished.insert(id);
            }
        }

        let logbook = world.open();
        logbook.check_integrity().unwrap();
        for id in &finished {
            let stored = logbook
                .attempt(*id)
                .unwrap()
                .unwrap_or_else(|| panic!("round {round}: {id} is lost"));
            assert_eq!(stored.attempt.elements.len(), 5);
            assert!(stored.attempt.recording.unwrap().path(&world.recordings()).is_file());
        }
        let stored = logbook.count_attempts(Whose::Anyone).unwrap();
        let files = std::fs::read_dir(world.recordings()).map_or(0, Iterator::count) as u64;
        let leftovers = logbook.adopt_leftovers().unwrap();
        assert_eq!(
            files - stored,
            leftovers.len() as u64,
            "every other recording is listed"
        );
        assert!(leftovers.iter().all(|l| matches!(l.fate, Fate::Kept(_))));
        assert!(leftovers.len() <= round, "a kill costs one call at most");
    }
    println!("20 kills, {} attempts printed as finished, all there", finished.len());
    assert!(finished.len() >= 10, "the writer hardly wrote: {}", finished.len());
}

#[test]
fn two_programs_share_a_logbook_and_a_held_lock_is_told() {
    let world = World::new();
    let mut first = world.open();
    let mut second = world.open();
    let mara = add(&mut first, "Mara Lind", None).id;
    for i in 0..20 {
        let logbook = if i % 2 == 0 { &mut first } else { &mut second };
        logbook.record(&attempt(Some(mara), i), at(i)).unwrap();
    }
    assert_eq!(
        first.attempts(Whose::Anyone, 0, 100).unwrap(),
        second.attempts(Whose::Anyone, 0, 100).unwrap()
    );

    let other = Connection::open(world.path()).unwrap();
    other.execute_batch("BEGIN EXCLUSIVE").unwrap();
    let start = Instant::now();
    let error = first.record(&attempt(Some(mara), 50), at(50)).unwrap_err();
    assert!(matches!(error, LogbookError::Busy { .. }), "{error}");
    assert!(
        start.elapsed() >= Duration::from_millis(150),
        "it waits for the other first"
    );
    assert!(error.to_string().contains("in use by another program"), "{error}");
    assert!(matches!(world.try_open(), Err(LogbookError::Busy { .. })));
    other.execute_batch("COMMIT").unwrap();
    first.record(&attempt(Some(mara), 50), at(50)).unwrap();
    assert_eq!(second.count_attempts(Whose::Anyone).unwrap(), 21);
}

#[test]
fn two_programs_may_make_the_same_logbook_at_once() {
    for _ in 0..10 {
        let world = World::new();
        let made: Vec<_> = std::thread::scope(|scope| {
            let open = || Logbook::open(&world.path(), &world.recordings()).map(drop);
            let threads: Vec<_> = (0..4)
                .map(|i| {
                    std::thread::Builder::new()
                        .name(format!("opener {i}"))
                        .spawn_scoped(scope, open)
                        .unwrap()
                })
                .collect();
            threads.into_iter().map(|t| t.join().unwrap()).collect()
        });
        assert!(made.iter().all(Result::is_ok), "{made:?}");
        world.open().check_integrity().unwrap();
    }
}

#[test]
fn a_newer_logbook_is_refused_and_untouched() {
    let world = World::new();
    add(&mut world.open(), "Mara Lind", None);
    Connection::open(world.path())
        .unwrap()
        .pragma_update(None, "user_version", 7)
        .unwrap();
    let before = std::fs::read(world.path()).unwrap();
    let error = world.try_open().unwrap_err();
    assert!(matches!(error, LogbookError::Newer { found: 7, .. }), "{error}");
    assert!(
        error.to_string().contains("newer version") && error.to_string().ends_with("logbook.sqlite"),
        "{error}"
    );
    assert_eq!(std::fs::read(world.path()).unwrap(), before);
    assert_eq!(
        std::fs::read_dir(world.dir.path()).unwrap().count(),
        1,
        "nothing beside it"
    );
}

#[test]
fn foreign_and_damaged_files_are_refused_and_untouched() {
    let world = World::new();
    let refused = |what: &str| {
        let before = std::fs::read(world.path()).unwrap();
        let error = world.try_open().unwrap_err();
        assert!(
            matches!(error, LogbookError::NotALogbook { .. } | LogbookError::Damaged { .. }),
            "{what}: {error:?}"
        );
        assert!(error.to_string().contains("set-aside"), "{what}: {error}");
        assert_eq!(std::fs::read(world.path()).unwrap(), before, "{what}");
        std::fs::remove_file(world.path()).unwrap();
    };
    std::fs::write(world.path(), "Dear diary, ".repeat(500)).unwrap();
    refused("text");
    Connection::open(world.path())
        .unwrap()
        .execute_batch("CREATE TABLE flights (id)")
        .unwrap();
    refused("another program's database");
    Connection::open(world.path())
        .unwrap()
        .execute_batch("CREATE TABLE f (id); PRAGMA user_version = 1")
        .unwrap();
    refused("another program's database with a format number");
    add(&mut world.open(), "Mara Lind", None);
    let mut bytes = std::fs::read(world.path()).unwrap();
    bytes[..16].fill(0);
    std::fs::write(world.path(), &bytes).unwrap();
    refused("destroyed beginning");

    // Damaged in the middle: it opens, but reading says so.
    let mut logbook = world.open();
    let mara = add(&mut logbook, "Mara Lind", None).id;
    for i in 0..200 {
        logbook.record(&attempt(Some(mara), i), at(i)).unwrap();
    }
    drop(logbook);
    let mut bytes = std::fs::read(world.path()).unwrap();
    // Behind the tables' descriptions, which are read at opening.
    let middle = bytes.len() / 2;
    let end = bytes.len() - 4096;
    bytes[middle..end].fill(0xA5);
    std::fs::write(world.path(), &bytes).unwrap();
    let logbook = world.open();
    let error = logbook.check_integrity().unwrap_err();
    assert!(matches!(error, LogbookError::Damaged { .. }), "{error:?}");
    let error = logbook.export_json(Whose::Anyone, std::io::sink()).unwrap_err();
    assert!(matches!(error, LogbookError::Damaged { .. }), "{error:?}");
    drop(logbook);

    let aside = cableside::logbook::set_aside(&world.path()).unwrap();
    assert_eq!(std::fs::read(aside).unwrap(), bytes);
    world.open().check_integrity().unwrap();
    std::fs::create_dir(world.dir.path().join("folder.sqlite")).unwrap();
    let folder = Logbook::open(&world.dir.path().join("folder.sqlite"), &world.recordings()).unwrap_err();
    assert!(matches!(folder, LogbookError::NotALogbook { .. }), "{folder:?}");
}

/// An empty file is a new logbook: that is what SQLite leaves when the program is killed right at the beginning.
#[test]
fn an_empty_file_becomes_a_logbook() {
    let world = World::new();
    std::fs::write(world.path(), b"").unwrap();
    add(&mut world.open(), "Mara Lind", None);
    assert_eq!(world.open().students().unwrap().len(), 1);
}

/// What can be done with logbooks that may not be written, and what not.
#[cfg(unix)]
fn check_protected(dir: &Path) {
    let open = |folder: &str| {
        let recordings = dir.join(folder).join("recordings");
        Logbook::open(&dir.join(folder).join("logbook.sqlite"), &recordings)
    };
    for folder in ["protected file", "protected folder"] {
        let mut logbook = open(folder).unwrap_or_else(|e| panic!("{folder}: {e}"));
        let notice = logbook
            .read_only_notice()
            .unwrap_or_else(|| panic!("{folder} can be written"));
        assert!(notice.contains("nothing can be recorded"), "{notice}");
        let mara = logbook.find_student("Mara Lind").unwrap();
        assert_eq!(logbook.attempts(Whose::Student(mara.id), 0, 9).unwrap().len(), 1);
        logbook.export_csv(Whose::Anyone, std::io::sink()).unwrap();
        let error = logbook.record(&attempt(Some(mara.id), 5), at(5)).unwrap_err();
        assert!(matches!(error, LogbookError::ReadOnly { .. }), "{error}");
        assert!(matches!(
            logbook.begin_recording(Some(mara.id)),
            Err(LogbookError::ReadOnly { .. })
        ));
        assert!(matches!(
            logbook.forget(mara.id, at(5)),
            Err(LogbookError::ReadOnly { .. })
        ));
    }
    for nothing in ["empty protected folder", "protected empty file"] {
        let error = open(nothing).unwrap_err();
        assert!(matches!(error, LogbookError::NoneYet { .. }), "{error:?}");
        assert!(!error.to_string().contains("can still be read"), "{error}");
    }
}

/// Rights do not bind the superuser; then the checking part runs in a second process as "nobody".
#[cfg(unix)]
#[test]
fn a_write_protected_logbook_can_be_read() {
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::process::CommandExt;
    const NAME: &str = "harm::a_write_protected_logbook_can_be_read";

    if let Some(dir) = as_child() {
        return check_protected(&dir);
    }
    let world = World::new();
    let set = |path: &Path, mode| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
    };
    let all = [
        "protected file",
        "protected folder",
        "empty protected folder",
        "protected empty file",
    ];
    for folder in all {
        let folder = world.dir.path().join(folder);
        std::fs::create_dir(&folder).unwrap();
        let file = folder.join("logbook.sqlite");
        if folder.ends_with("protected empty file") {
            // There is nothing in it to read yet, and nothing can be made of it.
            std::fs::write(&file, b"").unwrap();
        } else if !folder.ends_with("empty protected folder") {
            let mut logbook = Logbook::open(&file, &folder.join("recordings")).unwrap();
            let mara = add(&mut logbook, "Mara Lind", Some(true)).id;
            logbook.record(&attempt(Some(mara), 0), at(0)).unwrap();
        }
        match folder.ends_with("protected file") {
            true => (set(&file, 0o444), set(&folder, 0o777)),
            false if file.exists() => (set(&file, 0o666), set(&folder, 0o555)),
            false => ((), set(&folder, 0o555)),
        };
    }
    set(world.dir.path(), 0o755);
    if std::fs::write(world.dir.path().join("protected folder/probe"), b"").is_err() {
        check_protected(world.dir.path());
    } else {
        std::fs::remove_file(world.dir.path().join("protected folder/probe")).unwrap();
        // A copy, because the build folder may lie where "nobody" may not go.
        let program = world.dir.path().join("test program");
        std::fs::copy(std::env::current_exe().unwrap(), &program).unwrap();
        set(&program, 0o755);
        let mut command = Command::new(&program);
        command
            .args(["--exact", NAME, "--nocapture"])
            .env(CHILD, "read")
            .env("CHILD_DIR", world.dir.path());
        let output = command
            .current_dir(world.dir.path())
            .uid(65534)
            .gid(65534)
            .output()
            .unwrap();
        let text = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success() && text.contains("1 passed"), "{text}");
    }
    for folder in all {
        set(&world.dir.path().join(folder), 0o755);
    }
}

/// On a file system of one megabyte, where mounting one is permitted: in a namespace of its own, so that nothing
/// remains mounted. (Where it is not, the limited database in `attempts.rs` stands for it.)
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_loses_nothing_that_was_recorded() {
    const NAME: &str = "harm::a_full_disk_loses_nothing_that_was_recorded";
    if let Some(dir) = as_child() {
        let path = dir.join("logbook.sqlite");
        let recordings = dir.join("recordings");
        let mut logbook = Logbook::open(&path, &recordings).unwrap();
        let mara = add(&mut logbook, "Mara Lind", Some(true)).id;
        std::fs::write(dir.join("filler"), vec![1; 300_000]).unwrap();
        let mut stored = Vec::new();
        let error = loop {
            let mut a = attempt(Some(mara), stored.len() as i64);
            a.evidence = json!({"padding": "x".repeat(9_000)});
            match logbook.record(&a, at(0)) {
                Ok(()) => stored.push(a.id),
                Err(e) => break e,
            }
            assert!(stored.len() < 1000, "the disk does not fill");
        };
        assert!(matches!(error, LogbookError::DiskFull { .. }), "{error:?}");
        assert!(error.to_string().contains("the disk is full") && error.to_string().ends_with("logbook.sqlite"));
        assert!(stored.len() > 5);
        let all_there = |logbook: &Logbook| {
            logbook.check_integrity().unwrap();
            assert!(stored.iter().all(|id| logbook.attempt(*id).unwrap().is_some()));
        };
        all_there(&logbook);
        drop(logbook);
        // Opened on the full disk, then with space again.
        let mut logbook = Logbook::open(&path, &recordings).unwrap();
        all_there(&logbook);
        assert_eq!(logbook.read_only_notice(), None, "a full disk is not a protected one");
        // A merge that finds no room names the disk that is full, not the other logbook.
        let other = World::new();
        let mut theirs = other.open();
        let ada = add(&mut theirs, "Ada Penn", Some(true)).id;
        let mut large = attempt(Some(ada), 0);
        large.evidence = json!({"padding": "x".repeat(900_000)});
        theirs.record(&large, at(0)).unwrap();
        drop(theirs);
        let refused = logbook.merge(&other.path(), &other.recordings()).unwrap_err();
        let of = |e: &LogbookError| matches!(e, LogbookError::DiskFull { path: full } if *full == path);
        assert!(of(&refused), "{refused:?}");
        all_there(&logbook);
        std::fs::remove_file(dir.join("filler")).unwrap();
        logbook.record(&attempt(Some(mara), 0), at(0)).unwrap();
        println!("\nfull after {} attempts", stored.len());
        return;
    }
    let world = World::new();
    let script =
        "mount -t tmpfs -o size=1m tmpfs \"$CHILD_DIR\" && echo mounted && exec \"$0\" --exact \"$1\" --nocapture";
    let mut refusals = String::new();
    for rights in [&["--mount"][..], &["--mount", "--map-root-user"]] {
        let mut command = Command::new("unshare");
        command
            .args(rights)
            .args(["sh", "-c", script])
            .arg(std::env::current_exe().unwrap())
            .arg(NAME);
        let Ok(output) = command.env(CHILD, "fill").env("CHILD_DIR", world.dir.path()).output() else {
            continue;
        };
        let text = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
        if text.contains("mounted") {
            assert!(output.status.success() && text.contains("full after"), "{text}");
            println!("{text}");
            return;
        }
        refusals += &text;
    }
    println!("not checked on a small file system, mounting one is not permitted here: {refusals}");
}
