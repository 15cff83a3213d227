//! The program killed in the middle of what it does, many times: nothing is lost that was shown, everything is as before or
//! as after, and the next start leaves nothing behind. Ten of each with the other tests; for a table of many:
//! `CABLESIDE_KILLS=200 cargo test --test kills -- --nocapture`.

#![cfg(unix)]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "tests"
)]

use cableside::logbook::{Logbook, Whose};
use std::collections::BTreeSet;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Whoever is to be forgotten: words that stand nowhere else.
const NAME: &str = "Quentin Overmarsh";

fn kills() -> u32 {
    std::env::var("CABLESIDE_KILLS").map_or(10, |n| n.parse().expect("a number"))
}

/// In memory where there is such a folder: every write is synchronised.
fn folder() -> tempfile::TempDir {
    if Path::new("/dev/shm").is_dir() {
        tempfile::tempdir_in("/dev/shm").unwrap()
    } else {
        tempfile::tempdir().unwrap()
    }
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let target = to.join(path.file_name().unwrap());
        if path.is_dir() {
            copy(&path, &target);
        } else {
            std::fs::copy(&path, &target).unwrap();
        }
    }
}

/// Every file below, by its path from there.
fn files(folder: &Path) -> BTreeSet<String> {
    let mut all = BTreeSet::new();
    let mut open = vec![folder.to_path_buf()];
    while let Some(dir) = open.pop() {
        for entry in std::fs::read_dir(&dir).into_iter().flatten() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                all.insert(path.strip_prefix(folder).unwrap().to_str().unwrap().to_owned());
            }
        }
    }
    all
}

fn holds(folder: &Path, words: &str) -> Vec<String> {
    let found = |name: &String| {
        let bytes = std::fs::read(folder.join(name)).unwrap_or_default();
        bytes.windows(words.len()).any(|w| w == words.as_bytes())
    };
    files(folder).into_iter().filter(found).collect()
}

struct Home(PathBuf);

impl Home {
    /// A typed drill of eight calls, begun: keys go in, what it writes comes out.
    fn drill(&self) -> Child {
        let drill = "drill --site larkmoor --typed --turns 8 --level launch-point";
        let mut args: Vec<&str> = drill.split(' ').collect();
        args.extend(["--student", "Mara Lind"]);
        let mut command = self.command(&args);
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap()
    }

    fn command(&self, args: &[&str]) -> Command {
        let mut c = Command::new(env!("CARGO_BIN_EXE_cableside"));
        c.args(args)
            .env("CABLESIDE_HOME", &self.0)
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        c
    }

    fn ok(&self, args: &[&str]) -> String {
        let out = self
            .command(args)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .output()
            .unwrap();
        let text = String::from_utf8_lossy(&[&out.stdout[..], &out.stderr[..]].concat()).into_owned();
        assert!(out.status.success(), "{args:?}: {text}");
        text
    }

    fn typed(&self, args: &[&str], lines: &str) {
        let mut child = self.command(args).stdin(Stdio::piped()).spawn().unwrap();
        child.stdin.take().unwrap().write_all(lines.as_bytes()).unwrap();
        assert!(child.wait().unwrap().success(), "{args:?}");
    }

    fn logbook(&self) -> Logbook {
        let logbook = Logbook::open(&self.path("logbook.sqlite"), &self.path("recordings")).unwrap();
        logbook.check_integrity().unwrap();
        logbook
    }

    fn attempts(&self) -> u64 {
        self.logbook().count_attempts(Whose::Anyone).unwrap()
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }

    /// Gives every attempt of students a recording, as spoken practice would.
    fn record(&self) {
        let database = rusqlite::Connection::open(self.path("logbook.sqlite")).unwrap();
        database
            .execute(
                "UPDATE attempt SET recorded = 1, recording = student_id || '_' || id || '.wav' WHERE student_id IN
                    (SELECT id FROM student WHERE consent = 'given')",
                [],
            )
            .unwrap();
        std::fs::create_dir_all(self.path("recordings")).unwrap();
        let mut read = database
            .prepare("SELECT recording FROM attempt WHERE recording IS NOT NULL")
            .unwrap();
        for name in read
            .query_map([], |r| r.get::<_, String>(0))
            .unwrap()
            .map(Result::unwrap)
        {
            std::fs::write(
                self.path("recordings").join(name),
                [b"RIFF\0\0\0\0WAVE".to_vec(), vec![7; 20_000]].concat(),
            )
            .unwrap();
        }
    }

    /// Of a recording that was just being copied a part may be left: the next start names it.
    fn names_what_is_left(&self, round: u32) {
        let told = self.ok(&["logbook", "leftovers"]);
        for stranger in self.strangers() {
            assert!(stranger.ends_with(".part.wav"), "round {round}: {stranger}");
            assert!(
                told.contains(&stranger),
                "round {round}: {stranger} is not named: {told}"
            );
        }
    }

    /// Files that the logbook does not know of.
    fn strangers(&self) -> Vec<String> {
        let known: BTreeSet<String> = {
            let logbook = self.logbook();
            let all = logbook.attempts(Whose::Anyone, 0, 100_000).unwrap();
            all.iter().filter_map(|a| a.recording.map(|r| r.to_string())).collect()
        };
        let there = files(&self.path("recordings"));
        there.symmetric_difference(&known).cloned().collect()
    }
}

/// A home in which one student practised.
fn practised(place: &Path, name: &str, calls: usize) -> Home {
    let home = Home(place.to_path_buf());
    std::fs::create_dir_all(place).unwrap();
    home.ok(&["logbook", "student", "add", name, "--consent", "yes"]);
    let lines = "stop\n".repeat(calls);
    let turns = calls.to_string();
    home.typed(
        &[
            "drill",
            "--site",
            "larkmoor",
            "--typed",
            "--turns",
            &turns,
            "--student",
            name,
        ],
        &lines,
    );
    home.record();
    home
}

/// Where in its work a program is killed: spread evenly over the time that it takes, by an irrational step.
fn moment(round: u32, whole: Duration) -> Duration {
    let share = f64::from(round) * 0.618_033_988_749_895;
    whole.mul_f64(1.1 * share.fract())
}

/// Kill it with SIGKILL unless it has ended by then. Whether it was killed.
fn killed(mut child: Child, after: Duration) -> bool {
    let end = Instant::now() + after;
    while Instant::now() < end {
        if child.try_wait().unwrap().is_some() {
            return false;
        }
        std::thread::sleep(Duration::from_micros(200));
    }
    child.kill().unwrap();
    child.wait().unwrap().code().is_none()
}

fn takes(mut command: Command) -> Duration {
    let begun = Instant::now();
    assert!(command.status().unwrap().success());
    begun.elapsed()
}

/// One line of the table.
fn tell(what: &str, rounds: u32, cut: u32, first: &str, so_many: u32, second: &str, others: u32) {
    println!("| {what} | {rounds} | {cut} | {first}: {so_many} | {second}: {others} |");
}

#[test]
fn a_drill() {
    let place = folder();
    let base = practised(&place.path().join("base"), "Mara Lind", 2);
    let (mut cut, mut lost, mut more) = (0, 0, 0);
    for round in 0..kills() {
        let home = Home(place.path().join("home"));
        copy(&base.0, &home.0);
        let before = home.attempts();
        let mut child = home.drill();
        let mut keyboard = child.stdin.take().unwrap();
        let out = BufReader::new(child.stdout.take().unwrap());
        let shown = Arc::new(Mutex::new(0_u64));
        let counter = Arc::clone(&shown);
        let read = move || {
            for line in out.lines().map_while(Result::ok) {
                *counter.lock().unwrap() += u64::from(line.contains("Outcome:"));
            }
        };
        let reader = std::thread::Builder::new()
            .name("reader".to_owned())
            .spawn(read)
            .unwrap();
        let _ = keyboard.write_all("stop\n".repeat(8).as_bytes());
        // Killed when so many were shown, and a little later: that is when the next one is stored.
        let wanted = u64::from(round % 8);
        let begun = Instant::now();
        while *shown.lock().unwrap() < wanted && begun.elapsed() < Duration::from_secs(20) {
            std::thread::sleep(Duration::from_micros(300));
        }
        cut += u32::from(killed(child, moment(round, Duration::from_millis(30))));
        reader.join().unwrap();
        let (shown, stored) = (*shown.lock().unwrap(), home.attempts() - before);
        lost += u32::from(stored < shown);
        more += u32::from(stored > shown);
        assert!(stored >= shown, "round {round}: {shown} shown, {stored} stored");
        assert_eq!(home.strangers(), Vec::<String>::new(), "round {round}");
        std::fs::remove_dir_all(&home.0).unwrap();
    }
    tell(
        "drill",
        kills(),
        cut,
        "shown and lost",
        lost,
        "stored and not shown yet",
        more,
    );
}

#[test]
fn a_merge() {
    let place = folder();
    let mine = practised(&place.path().join("mine"), "Mara Lind", 3);
    let theirs = practised(&place.path().join("theirs"), "Jo Reed", 40);
    let (before, all) = (mine.attempts(), mine.attempts() + theirs.attempts());
    let other = theirs.path("logbook.sqlite");
    let args = ["logbook", "merge", other.to_str().unwrap()];
    let home = Home(place.path().join("home"));
    copy(&mine.0, &home.0);
    let whole = takes(home.command(&args));
    let (mut cut, mut untouched, mut done) = (0, 0, 0);
    for round in 0..kills() {
        std::fs::remove_dir_all(&home.0).unwrap();
        copy(&mine.0, &home.0);
        cut += u32::from(killed(home.command(&args).spawn().unwrap(), moment(round, whole)));
        let there = home.attempts();
        assert!(there == before || there == all, "round {round}: {there} attempts");
        untouched += u32::from(there == before);
        done += u32::from(there == all);
        // Again, and all of it is there with its recordings and nothing else.
        home.ok(&args);
        assert_eq!(home.attempts(), all, "round {round}");
        home.names_what_is_left(round);
        let left: Vec<String> = files(&home.0)
            .into_iter()
            .filter(|f| {
                !f.starts_with("recordings") && f != "logbook.sqlite" && f != "logbook.sqlite.before-merge.backup"
            })
            .collect();
        assert_eq!(left, Vec::<String>::new(), "round {round}");
    }
    tell("merge", kills(), cut, "as before", untouched, "all of it", done);
}

#[test]
fn a_forgetting() {
    let place = folder();
    let base = practised(&place.path().join("base"), NAME, 10);
    base.ok(&["logbook", "student", "add", "Mara Lind", "--consent", "yes"]);
    let args = ["logbook", "forget", NAME, "--yes"];
    let home = Home(place.path().join("home"));
    copy(&base.0, &home.0);
    let whole = takes(home.command(&args));
    let (mut cut, mut here, mut gone) = (0, 0, 0);
    for round in 0..kills() {
        std::fs::remove_dir_all(&home.0).unwrap();
        copy(&base.0, &home.0);
        // As a migration and a merge leave them.
        for name in ["logbook.sqlite.format-1.backup", "logbook.sqlite.before-merge.backup"] {
            std::fs::copy(base.path("logbook.sqlite"), home.path(name)).unwrap();
        }
        cut += u32::from(killed(home.command(&args).spawn().unwrap(), moment(round, whole)));
        let there = home.logbook().find_student(NAME).is_ok();
        here += u32::from(there);
        gone += u32::from(!there);
        if there {
            assert_eq!(home.attempts(), 10, "round {round}: half forgotten");
            home.ok(&args);
        }
        // The next start finds what a kill left.
        home.ok(&["logbook", "leftovers"]);
        assert_eq!(holds(&home.0, NAME), Vec::<String>::new(), "round {round}");
        assert_eq!(files(&home.path("recordings")), BTreeSet::new(), "round {round}");
        assert_eq!(home.logbook().students().unwrap().len(), 1);
    }
    tell(
        "forget",
        kills(),
        cut,
        "still here, whole",
        here,
        "gone without a trace",
        gone,
    );
}

#[test]
fn an_export() {
    let place = folder();
    let home = practised(&place.path().join("base"), "Mara Lind", 60);
    let out = place.path().join("out");
    std::fs::create_dir(&out).unwrap();
    let file = out.join("book.json");
    let args = ["logbook", "export", "--format", "json", "--out", file.to_str().unwrap()];
    let whole = takes(home.command(&args));
    let good = std::fs::read(&file).unwrap();
    let (mut cut, mut none, mut all, mut parts) = (0, 0, 0, 0);
    for round in 0..kills() {
        std::fs::remove_dir_all(&out).unwrap();
        std::fs::create_dir(&out).unwrap();
        cut += u32::from(killed(home.command(&args).spawn().unwrap(), moment(round, whole)));
        if let Ok(bytes) = std::fs::read(&file) {
            assert!(bytes == good, "round {round}: half a file under the name");
            all += 1;
        } else {
            none += 1;
            home.ok(&args);
            assert_eq!(std::fs::read(&file).unwrap(), good, "round {round}");
        }
        // Nobody can take away what was begun when the program is killed, and no later start knows of the folder.
        parts += u32::from(files(&out).len() > 1);
    }
    println!("export: {parts} unfinished files were left beside the one asked for");
    tell("export", kills(), cut, "no file", none, "the whole file", all);
}

#[test]
fn a_taking_in() {
    let place = folder();
    let (club, home) = (Home(place.path().join("club")), Home(place.path().join("home")));
    for computer in [&club, &home] {
        std::fs::create_dir_all(&computer.0).unwrap();
        computer.ok(&["logbook", "student", "add", "Mara Lind", "--consent", "yes"]);
    }
    let out = club.path("out");
    club.ok(&[
        "class",
        "hand-out",
        "--site",
        "larkmoor",
        "--calls",
        "10",
        "--out",
        out.to_str().unwrap(),
    ]);
    let practice = out.join(files(&out).first().unwrap());
    let practice = practice.to_str().unwrap();
    home.typed(&["class", "practise", practice, "--typed"], &"stop\n".repeat(10));
    home.record();
    let results = place.path().join("results.zip");
    home.ok(&["class", "hand-in", practice, "--out", results.to_str().unwrap()]);
    std::fs::remove_dir_all(&out).unwrap();

    let args = ["class", "take-in", results.to_str().unwrap()];
    let try_home = Home(place.path().join("try"));
    copy(&club.0, &try_home.0);
    let whole = takes(try_home.command(&args));
    let (mut cut, mut some, mut done) = (0, 0, 0);
    for round in 0..kills() {
        std::fs::remove_dir_all(&try_home.0).unwrap();
        copy(&club.0, &try_home.0);
        cut += u32::from(killed(try_home.command(&args).spawn().unwrap(), moment(round, whole)));
        let there = try_home.attempts();
        some += u32::from(there < 10);
        done += u32::from(there == 10);
        // What is stored has its recording.
        for attempt in try_home.logbook().attempts(Whose::Anyone, 0, 100).unwrap() {
            let name = attempt.recording.unwrap().to_string();
            assert!(try_home.path("recordings").join(name).is_file(), "round {round}");
        }
        // Again: each once, and the next start names what is left over of what was being written.
        try_home.ok(&args);
        assert_eq!(try_home.attempts(), 10, "round {round}");
        try_home.names_what_is_left(round);
    }
    tell(
        "take-in",
        kills(),
        cut,
        "a part or none, with recordings",
        some,
        "all of it",
        done,
    );
}

#[test]
fn a_site_being_saved() {
    let place = folder();
    let (old, new) = (Home(place.path().join("old")), place.path().join("new"));
    std::fs::create_dir_all(&old.0).unwrap();
    let larkmoor = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases/larkmoor");
    copy(&larkmoor, &new.join("larkmoor"));
    for file in files(&new) {
        let path = new.join(file);
        let text = std::fs::read_to_string(&path).unwrap();
        std::fs::write(&path, format!("{text}\n# the new one\n")).unwrap();
    }
    let zip = |folder: &Path, name: &str| {
        let file = place.path().join(name);
        old.ok(&["site", "export", folder.to_str().unwrap(), file.to_str().unwrap()]);
        file.to_str().unwrap().to_owned()
    };
    let (first, second) = (zip(&larkmoor, "old.zip"), zip(&new.join("larkmoor"), "new.zip"));
    old.ok(&["site", "import", &first]);
    let args = ["site", "import", &second, "--replace"];
    let home = Home(place.path().join("home"));
    copy(&old.0, &home.0);
    let whole = takes(home.command(&args));
    let (mut cut, mut before, mut after) = (0, 0, 0);
    for round in 0..kills() {
        std::fs::remove_dir_all(&home.0).unwrap();
        copy(&old.0, &home.0);
        cut += u32::from(killed(home.command(&args).spawn().unwrap(), moment(round, whole)));
        let site = home.path("phrases/larkmoor");
        let is_new = |name: &String| {
            std::fs::read_to_string(site.join(name))
                .unwrap()
                .ends_with("# the new one\n")
        };
        let there = files(&site);
        let changed = there.iter().filter(|name| is_new(name)).count();
        // A moment lies between the old one being put away and the new one taking its place; then the old one is in `.older`.
        if there.is_empty() {
            assert!(
                files(&home.path("phrases/.older")).len() >= 5,
                "round {round}: the site is nowhere"
            );
        } else {
            assert!(changed == 0 || changed == there.len(), "round {round}: a mixture");
            before += u32::from(changed == 0);
            after += u32::from(changed > 0);
        }
        home.ok(&args);
        home.ok(&["site", "check", site.to_str().unwrap()]);
        assert!(files(&site).iter().all(is_new), "round {round}");
        let left: Vec<String> = files(&home.path("phrases"))
            .into_iter()
            .filter(|f| !f.starts_with("larkmoor/") && !f.starts_with(".older/") && f != ".lock")
            .collect();
        assert_eq!(left, Vec::<String>::new(), "round {round}");
    }
    tell("site save", kills(), cut, "the old one", before, "the new one", after);
}

/// Another program has the logbook, so that a call waits to be stored; then the drill is ended from outside.
#[test]
fn what_waits_is_stored_when_a_signal_ends_the_drill() {
    let place = folder();
    let base = practised(&place.path().join("base"), "Mara Lind", 1);
    for signal in ["INT", "TERM", "HUP"] {
        let home = Home(place.path().join(signal));
        copy(&base.0, &home.0);
        let before = home.attempts();
        let mut child = home.drill();
        let mut keyboard = child.stdin.take().unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap())
            .lines()
            .map_while(Result::ok);
        // Student and plan are read before the first call is dealt: the glider is hooked on, and said so.
        assert!(lines.any(|l| l.starts_with("[wing runner]")), "it begins");
        let other = rusqlite::Connection::open(home.path("logbook.sqlite")).unwrap();
        other.execute_batch("BEGIN EXCLUSIVE").unwrap();
        keyboard.write_all(b"stop\n").unwrap();
        assert!(lines.any(|l| l.contains("Not stored yet")), "{signal}: it is told");
        other.execute_batch("COMMIT").unwrap();
        let id = child.id().to_string();
        assert!(
            Command::new("kill")
                .args(["-s", signal, &id])
                .status()
                .unwrap()
                .success()
        );
        assert_eq!(child.wait().unwrap().code(), Some(130), "{signal}");
        assert_eq!(home.attempts(), before + 1, "{signal}");
    }
}
