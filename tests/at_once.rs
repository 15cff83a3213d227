//! Several programs at the same data in the same moment, as processes of their own: nothing fails that need not, nothing is
//! lost, nothing is left behind.
//!
//! `CABLESIDE_TEST_ROUNDS` says how often each is tried; what every run does is enough to see a common race, not a rare one.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "tests"
)]

use cableside::class::{HandOut, Secret};
use cableside::logbook::{Logbook, Whose};
use std::collections::BTreeSet;
use std::io::{Cursor, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::Instant;

const PROGRAMS: usize = 4;

fn rounds() -> usize {
    std::env::var("CABLESIDE_TEST_ROUNDS").map_or(25, |n| n.parse().expect("a number of rounds"))
}

/// Does it so often, each time in a new data folder.
fn each_round(mut round: impl FnMut(&Home)) {
    let begun = Instant::now();
    for n in 0..rounds() {
        let home = Home::new();
        // A failure names its round.
        println!("round {}", n + 1);
        round(&home);
    }
    println!("{} rounds in {:.1} s", rounds(), begun.elapsed().as_secs_f64());
}

struct Home(tempfile::TempDir);

impl Home {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn command(&self, args: &[&str]) -> Command {
        let mut c = Command::new(env!("CARGO_BIN_EXE_cableside"));
        c.args(args)
            .env("CABLESIDE_HOME", self.0.path())
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        c
    }

    fn ok(&self, args: &[&str]) {
        told(&self.command(args).output().unwrap(), true);
    }

    fn logbook(&self) -> Logbook {
        Logbook::open(&self.path("logbook.sqlite"), &self.path("recordings")).unwrap()
    }

    /// Everything in the data folder, by path.
    fn names(&self) -> Vec<String> {
        names(self.0.path())
    }
}

fn names(folder: &Path) -> Vec<String> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut names: Vec<String> = entries.map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

/// What a program printed; it must not have come to harm, and must have succeeded or not as said.
fn told(out: &Output, success: bool) -> String {
    let text = [&out.stdout, &out.stderr]
        .map(|b| String::from_utf8_lossy(b).into_owned())
        .concat();
    assert_eq!(out.status.code(), Some(i32::from(!success)), "{text}");
    assert!(
        !text.contains("panicked") && !text.contains("fault in the program"),
        "{text}"
    );
    text
}

/// Starts all of them, then waits for all.
fn at_once(commands: impl IntoIterator<Item = Command>) -> Vec<Output> {
    let mut commands: Vec<Command> = commands.into_iter().collect();
    let started: Vec<Child> = commands.iter_mut().map(|c| c.spawn().unwrap()).collect();
    started.into_iter().map(|c| c.wait_with_output().unwrap()).collect()
}

/// Exactly one succeeds; what the others said.
fn one_succeeds(all: &[Output]) -> Vec<String> {
    let (good, bad): (Vec<_>, Vec<_>) = all.iter().partition(|o| o.status.success());
    assert_eq!(good.len(), 1, "{all:?}");
    bad.into_iter().map(|o| told(o, false)).collect()
}

#[test]
fn a_new_logbook_is_made_once_and_everybody_writes_in_it() {
    each_round(|home| {
        let names: Vec<String> = (0..PROGRAMS).map(|n| format!("Student {n}")).collect();
        let add = |n: &String| home.command(&["logbook", "student", "add", n, "--consent", "no"]);
        for out in at_once(names.iter().map(add)) {
            told(&out, true);
        }
        assert_eq!(home.names(), ["logbook.sqlite"], "nothing is kept beside a new one");
        let book = home.logbook();
        book.check_integrity().unwrap();
        let mut there: Vec<String> = book.students().unwrap().into_iter().map(|s| s.name).collect();
        there.sort();
        assert_eq!(there, names);
    });
}

/// A club's folder with two students, a practice for one of them, and the results with recordings.
struct Results {
    club: Home,
    file: PathBuf,
    attempts: u64,
}

impl Results {
    fn new() -> Self {
        let (club, home) = (Home::new(), Home::new());
        for place in [&club, &home] {
            place.ok(&["logbook", "student", "add", "Mara Lind", "--consent", "yes"]);
        }
        let out = club.path("out");
        let out = out.to_str().unwrap();
        club.ok(&["class", "hand-out", "--site", "larkmoor", "--calls", "3", "--out", out]);
        let practice = club.path("out").join(&names(&club.path("out"))[0]);
        let practice = practice.to_str().unwrap();
        let mut child = home
            .command(&["class", "practise", practice, "--typed"])
            .stdin(Stdio::piped())
            .spawn()
            .unwrap();
        child.stdin.take().unwrap().write_all(&b"stop\n".repeat(3)).unwrap();
        told(&child.wait_with_output().unwrap(), true);

        // Typed calls have no recordings; these get some.
        let database = rusqlite::Connection::open(home.path("logbook.sqlite")).unwrap();
        database
            .execute(
                "UPDATE attempt SET recorded = 1, recording = student_id || '_' || id || '.wav'",
                [],
            )
            .unwrap();
        std::fs::create_dir_all(home.path("recordings")).unwrap();
        let mut read = database.prepare("SELECT recording FROM attempt").unwrap();
        let recordings = read.query_map([], |r| r.get::<_, String>(0)).unwrap();
        for name in recordings.map(Result::unwrap) {
            let tone: Vec<f32> = (0_u16..16_000).map(|i| (f32::from(i) * 0.1).sin() * 0.3).collect();
            cableside::sound::write_wav(&home.path("recordings").join(name), &tone).unwrap();
        }
        let file = club.path("results.zip");
        home.ok(&["class", "hand-in", practice, "--out", file.to_str().unwrap()]);
        let attempts = home.logbook().count_attempts(Whose::Anyone).unwrap();
        assert_eq!(attempts, 3);
        Self { club, file, attempts }
    }
}

#[test]
fn results_are_taken_in_once_each_with_its_recording() {
    let results = Results::new();
    each_round(|home| {
        for name in ["logbook.sqlite", "class.secret"] {
            std::fs::copy(results.club.path(name), home.path(name)).unwrap();
        }
        let file = results.file.to_str().unwrap();
        let mut new = 0;
        for out in at_once((0..PROGRAMS).map(|_| home.command(&["class", "take-in", file]))) {
            let text = told(&out, true);
            let (before, _) = text.split_once(" new, ").expect(&text);
            new += before.rsplit(' ').next().unwrap().parse::<u64>().expect(&text);
        }
        assert_eq!(new, results.attempts, "each is told as new by one program");
        let book = home.logbook();
        book.check_integrity().unwrap();
        let stored = book.attempts(Whose::Anyone, 0, 100).unwrap();
        assert_eq!(stored.len() as u64, results.attempts);
        let wanted: BTreeSet<String> = stored.iter().map(|a| a.recording.unwrap().to_string()).collect();
        let there: BTreeSet<String> = names(&home.path("recordings")).into_iter().collect();
        assert_eq!(there, wanted, "every recording, and nothing else");
    });
}

#[test]
fn the_first_practices_handed_out_belong_to_one_secret() {
    let before = Home::new();
    before.ok(&["logbook", "student", "add", "Mara Lind", "--consent", "no"]);
    each_round(|home| {
        std::fs::copy(before.path("logbook.sqlite"), home.path("logbook.sqlite")).unwrap();
        let folders: Vec<PathBuf> = (0..PROGRAMS).map(|n| home.path(&format!("out-{n}"))).collect();
        let hand_out = |folder: &PathBuf| {
            let folder = folder.to_str().unwrap();
            home.command(&[
                "class", "hand-out", "--site", "larkmoor", "--calls", "1", "--out", folder,
            ])
        };
        for out in at_once(folders.iter().map(hand_out)) {
            told(&out, true);
        }
        let secret = std::fs::read_to_string(home.path("class.secret")).unwrap();
        let secret = Secret::parse(&secret).unwrap();
        for folder in folders {
            let file = std::fs::read(folder.join(&names(&folder)[0])).unwrap();
            let practice = HandOut::parse(&file).unwrap().practice;
            assert_eq!(
                HandOut::new(practice, &secret).bytes(),
                file,
                "made with the secret that stayed"
            );
        }
        let left = home.names().into_iter().filter(|n| n.starts_with("class"));
        assert_eq!(left.collect::<Vec<_>>(), ["class.secret"]);
    });
}

/// Archives of one site in several versions, told apart by a comment at the end of each file.
fn archives(folder: &Path) -> Vec<PathBuf> {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases/larkmoor");
    (0..PROGRAMS)
        .map(|n| {
            let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
            for name in names(&source)
                .iter()
                .filter(|n| Path::new(n).extension().is_some_and(|e| e == "toml"))
            {
                let text = std::fs::read_to_string(source.join(name)).unwrap();
                let text = text.replace("id = \"larkmoor\"", "id = \"field\"");
                zip.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
                write!(zip, "{text}\n# version {n}\n").unwrap();
            }
            let file = folder.join(format!("{n}.zip"));
            std::fs::write(&file, zip.finish().unwrap().into_inner()).unwrap();
            file
        })
        .collect()
}

/// Which version each file of a site is.
fn version(site: &Path) -> BTreeSet<String> {
    let last = |n: String| {
        std::fs::read_to_string(site.join(n))
            .unwrap()
            .lines()
            .last()
            .unwrap()
            .to_owned()
    };
    names(site).into_iter().map(last).collect()
}

#[test]
fn sites_imported_at_once_are_whole_and_each_is_kept() {
    let made = tempfile::tempdir().unwrap();
    let archives = archives(made.path());
    each_round(|home| {
        let import = |zip: &PathBuf| home.command(&["site", "import", "--replace", zip.to_str().unwrap()]);
        for out in at_once(archives.iter().map(import)) {
            told(&out, true);
        }
        let phrases = home.path("phrases");
        let older = names(&phrases.join(".older"));
        let mut versions = vec![version(&phrases.join("field"))];
        versions.extend(older.iter().map(|n| version(&phrases.join(".older").join(n))));
        assert!(versions.iter().all(|v| v.len() == 1), "no mixture: {versions:?}");
        assert_eq!(versions.iter().flatten().collect::<BTreeSet<_>>().len(), PROGRAMS);
        assert_eq!(names(&phrases), [".lock", ".older", "field"]);
    });
    each_round(|home| {
        let import = |zip: &PathBuf| home.command(&["site", "import", zip.to_str().unwrap()]);
        for why in one_succeeds(&at_once(archives.iter().map(import))) {
            assert!(why.contains("there is a site \"field\" already"), "{why}");
        }
        assert_eq!(version(&home.path("phrases/field")).len(), 1);
        assert_eq!(names(&home.path("phrases")), [".lock", "field"]);
    });
}

#[test]
fn a_file_is_written_by_one_and_refused_to_the_others() {
    let before = Home::new();
    before.ok(&["logbook", "student", "add", "Mara Lind", "--consent", "no"]);
    each_round(|home| {
        std::fs::copy(before.path("logbook.sqlite"), home.path("logbook.sqlite")).unwrap();
        std::fs::write(home.path("book.csv.part"), "somebody's own").unwrap();
        let (csv, zip) = (home.path("book.csv"), home.path("site.zip"));
        let export = ["logbook", "export", "--format", "csv", "--out", csv.to_str().unwrap()];
        let site = ["site", "export", "larkmoor", zip.to_str().unwrap()];
        for args in [export.as_slice(), site.as_slice()] {
            for why in one_succeeds(&at_once((0..PROGRAMS).map(|_| home.command(args)))) {
                assert!(why.contains("exists already"), "{why}");
            }
        }
        assert!(std::fs::read_to_string(&csv).unwrap().ends_with('\n'));
        cableside::folders::archive::unpack(&zip, cableside::voice::prompt::unplayable_among).unwrap();
        assert_eq!(
            std::fs::read_to_string(home.path("book.csv.part")).unwrap(),
            "somebody's own"
        );
        assert_eq!(
            home.names(),
            ["book.csv", "book.csv.part", "logbook.sqlite", "site.zip"]
        );
    });
}

#[test]
fn merges_at_once_and_crosswise_leave_both_logbooks_with_everything() {
    let (here, there) = (Home::new(), Home::new());
    for (home, name) in [(&here, "Mara Lind"), (&there, "Jon Hale")] {
        home.ok(&["logbook", "student", "add", name, "--consent", "no"]);
    }
    each_round(|home| {
        let other = Home::new();
        for (to, from) in [(home, &here), (&other, &there)] {
            std::fs::copy(from.path("logbook.sqlite"), to.path("logbook.sqlite")).unwrap();
        }
        let (a, b) = (home.path("logbook.sqlite"), other.path("logbook.sqlite"));
        let (a, b) = (a.to_str().unwrap(), b.to_str().unwrap());
        let merge = |to: &Home, from: &str| to.command(&["logbook", "merge", from]);
        for out in at_once([merge(home, b), merge(&other, a), merge(home, b), merge(home, b)]) {
            told(&out, true);
        }
        for one in [home, &other] {
            let book = one.logbook();
            book.check_integrity().unwrap();
            assert_eq!(book.students().unwrap().len(), 2);
            // What was there before the last merge is kept.
            assert_eq!(one.names(), ["logbook.sqlite", "logbook.sqlite.before-merge.backup"]);
        }
    });
}

#[test]
fn drills_at_once_keep_every_call() {
    each_round(|home| {
        let drill = |n: usize| {
            let mut command = home.command(&["drill", "--site", "larkmoor", "--typed", "--turns", "5"]);
            let lines = home.path(&format!("lines-{n}"));
            std::fs::write(&lines, "stop\n".repeat(20)).unwrap();
            command.stdin(std::fs::File::open(lines).unwrap());
            command
        };
        let mut shown = 0;
        for out in at_once((0..PROGRAMS).map(drill)) {
            shown += told(&out, true).matches("Outcome:").count() as u64;
        }
        let book = home.logbook();
        book.check_integrity().unwrap();
        assert!(shown > 0);
        assert_eq!(book.count_attempts(Whose::Anyone).unwrap(), shown);
    });
}
