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

mod books;
mod practice;
mod sites;

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

fn has_ending(name: &str, ending: &str) -> bool {
    Path::new(name).extension().is_some_and(|e| e == ending)
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
        self.talking(&args)
    }

    /// A program begun: keys go in, what it writes comes out.
    fn talking(&self, args: &[&str]) -> Child {
        let mut command = self.command(args);
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

/// Types `lines` into a program and kills it once `wanted` of the lines that it writes are `counted`, and a little later:
/// that is when the next one is stored. Whether it was killed, and how many were counted in the end.
fn killed_at(
    mut child: Child,
    lines: &str,
    mut counted: impl FnMut(&str) -> bool + Send + 'static,
    wanted: u64,
    later: Duration,
) -> (bool, u64) {
    let mut keyboard = child.stdin.take().unwrap();
    let out = BufReader::new(child.stdout.take().unwrap());
    let shown = Arc::new(Mutex::new(0_u64));
    let tally = Arc::clone(&shown);
    let read = move || {
        for line in out.lines().map_while(Result::ok) {
            *tally.lock().unwrap() += u64::from(counted(&line));
        }
    };
    let reader = std::thread::Builder::new()
        .name("reader".to_owned())
        .spawn(read)
        .unwrap();
    let _ = keyboard.write_all(lines.as_bytes());
    let begun = Instant::now();
    while *shown.lock().unwrap() < wanted && begun.elapsed() < Duration::from_secs(20) {
        std::thread::sleep(Duration::from_micros(300));
    }
    let cut = killed(child, later);
    reader.join().unwrap();
    let shown = *shown.lock().unwrap();
    (cut, shown)
}
