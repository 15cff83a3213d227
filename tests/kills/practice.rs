//! Practice: drills, launches, a class's practice and results.

use super::{Home, copy, files, folder, has_ending, killed, killed_at, kills, moment, practised, takes, tell};
use cableside::class::{HandOut, Secret, unpack};
use cableside::logbook::Whose;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

#[test]
fn a_drill() {
    let place = folder();
    let base = practised(&place.path().join("base"), "Mara Lind", 2);
    let (mut cut, mut lost, mut more) = (0, 0, 0);
    for round in 0..kills() {
        let home = Home(place.path().join("home"));
        copy(&base.0, &home.0);
        let before = home.attempts();
        let wanted = u64::from(round % 8);
        let (was_cut, shown) = killed_at(
            home.drill(),
            &"stop\n".repeat(8),
            |line: &str| line.contains("Outcome:"),
            wanted,
            moment(round, Duration::from_millis(30)),
        );
        cut += u32::from(was_cut);
        let stored = home.attempts() - before;
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

/// Every turn of a launch, its run and its end.
#[test]
fn a_launch() {
    let place = folder();
    let base = practised(&place.path().join("base"), "Mara Lind", 2);
    let before = base.attempts();
    let (mut cut, mut lost, mut more) = (0, 0, 0);
    for round in 0..kills() {
        let home = Home(place.path().join("home"));
        copy(&base.0, &home.0);
        let mut args: Vec<&str> = "launch --site larkmoor --typed --seed 3".split(' ').collect();
        args.extend(["--student", "Mara Lind"]);
        let (was_cut, shown) = killed_at(
            home.talking(&args),
            &"winch, ready\n".repeat(20),
            // The debrief at the end says each turn once more.
            {
                let mut over = false;
                move |line: &str| {
                    over |= line == "--- debrief ---";
                    !over && line.starts_with("[pilot, you]")
                }
            },
            u64::from(round % 6),
            moment(round, Duration::from_millis(30)),
        );
        cut += u32::from(was_cut);
        let stored = home.attempts() - before;
        let database = rusqlite::Connection::open(home.path("logbook.sqlite")).unwrap();
        let count = |sql: &str| {
            database
                .query_row(sql, [], |r| r.get::<_, i64>(0))
                .unwrap()
                .unsigned_abs()
        };
        let runs = count("SELECT count(*) FROM run");
        lost += u32::from(stored < shown);
        more += u32::from(stored > shown);
        assert!(stored >= shown, "round {round}: {shown} shown, {stored} stored");
        assert_eq!(
            count("SELECT count(*) FROM attempt WHERE run_id IN (SELECT id FROM run)"),
            stored,
            "round {round}: each belongs to the launch"
        );
        assert!(runs == 1 || (runs == 0 && stored == 0), "round {round}");
        assert_eq!(home.strangers(), Vec::<String>::new(), "round {round}");
        home.ok(&["logbook", "runs"]);
        std::fs::remove_dir_all(&home.0).unwrap();
    }
    tell(
        "launch",
        kills(),
        cut,
        "shown and lost",
        lost,
        "stored and not shown yet",
        more,
    );
}

/// A club that has handed practice out, and a student's computer with it.
struct Handed {
    club: Home,
    home: Home,
    practice: String,
}

/// Ten calls for one student.
const CALLS: u64 = 10;

fn handed(place: &Path) -> Handed {
    let (club, home) = (Home(place.join("club")), Home(place.join("home")));
    for computer in [&club, &home] {
        std::fs::create_dir_all(&computer.0).unwrap();
        computer.ok(&["logbook", "student", "add", "Mara Lind", "--consent", "yes"]);
    }
    let out = place.join("out");
    let mut args: Vec<&str> = "class hand-out --site larkmoor --calls 10 --out".split(' ').collect();
    args.push(out.to_str().unwrap());
    club.ok(&args);
    let practice = out.join(files(&out).first().unwrap()).to_str().unwrap().to_owned();
    Handed { club, home, practice }
}

/// What was handed out before a kill still fits the secret that is there afterwards.
fn fits(club: &Home, file: &Path) {
    let secret = std::fs::read_to_string(club.path("class.secret")).unwrap();
    let read = HandOut::parse(&std::fs::read(file).unwrap()).unwrap();
    assert_eq!(
        HandOut::new(read.practice.clone(), &Secret::parse(&secret).unwrap()),
        read
    );
}

#[test]
fn a_handing_out() {
    let place = folder();
    let club = Home(place.path().join("club"));
    std::fs::create_dir_all(&club.0).unwrap();
    let names = ["Mara Lind", "Jo Reed", "Ada Penn", "Bo Hale", "Cy Nunn", "Di Orme"];
    for name in names {
        club.ok(&["logbook", "student", "add", name, "--consent", "yes"]);
    }
    let out = place.path().join("out");
    let mut args: Vec<&str> = "class hand-out --site larkmoor --out".split(' ').collect();
    args.push(out.to_str().unwrap());
    let whole = takes(club.command(&args));
    let (mut cut, mut some, mut done, mut parts) = (0, 0, 0, 0);
    let written = || -> Vec<PathBuf> {
        let all = files(&out).into_iter().filter(|f| !has_ending(f, "part"));
        all.map(|f| out.join(f)).collect()
    };
    for round in 0..kills() {
        let _ = std::fs::remove_dir_all(&out);
        // Each time the secret is made anew as well.
        std::fs::remove_file(club.path("class.secret")).unwrap();
        cut += u32::from(killed(club.command(&args).spawn().unwrap(), moment(round, whole)));
        let first = written();
        parts += u32::from(files(&out).len() > first.len());
        some += u32::from(first.len() < names.len());
        done += u32::from(first.len() == names.len());
        club.ok(&args);
        assert_eq!(written().len(), first.len() + names.len(), "round {round}");
        for file in &written() {
            fits(&club, file);
        }
        let beside: Vec<String> = files(&club.0)
            .into_iter()
            .filter(|f| f.starts_with("class.secret") && f != "class.secret" && !has_ending(f, "lock"))
            .collect();
        assert!(
            beside.len() <= 1 && beside.iter().all(|f| has_ending(f, "part")),
            "{beside:?}"
        );
        for file in beside {
            std::fs::remove_file(club.path(&file)).unwrap();
        }
    }
    println!("hand-out: {parts} unfinished files were left beside those asked for");
    tell(
        "hand-out",
        kills(),
        cut,
        "some or none, whole",
        some,
        "all of them",
        done,
    );
}

/// Practice at home goes on where it was, and no call is asked for again.
#[test]
fn a_practising() {
    let place = folder();
    let Handed { home, practice, .. } = handed(place.path());
    let (mut cut, mut lost, mut more) = (0, 0, 0);
    let args = ["class", "practise", &practice, "--typed"];
    let at = Home(place.path().join("at"));
    for round in 0..kills() {
        copy(&home.0, &at.0);
        let (was_cut, shown) = killed_at(
            at.talking(&args),
            &"stop\n".repeat(CALLS as usize),
            |line: &str| line.contains("Outcome:"),
            u64::from(round) % CALLS,
            moment(round, Duration::from_millis(30)),
        );
        cut += u32::from(was_cut);
        let stored = at.attempts();
        lost += u32::from(stored < shown);
        more += u32::from(stored > shown);
        assert!(stored >= shown, "round {round}: {shown} shown, {stored} stored");
        at.typed(&args, &"stop\n".repeat(CALLS as usize));
        assert_eq!(at.attempts(), CALLS, "round {round}: each call once");
        std::fs::remove_dir_all(&at.0).unwrap();
    }
    tell(
        "practise",
        kills(),
        cut,
        "shown and lost",
        lost,
        "stored and not shown yet",
        more,
    );
}

#[test]
fn a_handing_in() {
    let place = folder();
    let Handed { club, home, practice } = handed(place.path());
    home.typed(
        &["class", "practise", &practice, "--typed"],
        &"stop\n".repeat(CALLS as usize),
    );
    home.record();
    let out = place.path().join("results");
    std::fs::create_dir(&out).unwrap();
    let file = out.join("mara.results.cableside");
    let args = ["class", "hand-in", &practice, "--out", file.to_str().unwrap()];
    let whole = takes(home.command(&args));
    let secret = Secret::parse(&std::fs::read_to_string(club.path("class.secret")).unwrap()).unwrap();
    let (mut cut, mut none, mut all, mut parts) = (0, 0, 0, 0);
    for round in 0..kills() {
        std::fs::remove_dir_all(&out).unwrap();
        std::fs::create_dir(&out).unwrap();
        cut += u32::from(killed(home.command(&args).spawn().unwrap(), moment(round, whole)));
        if file.exists() {
            all += 1;
        } else {
            none += 1;
            home.ok(&args);
        }
        let results = unpack(&std::fs::read(&file).unwrap(), &secret).unwrap();
        assert_eq!(results.attempts.len() as u64, CALLS, "round {round}");
        assert_eq!(results.recordings.len() as u64, CALLS, "round {round}");
        assert_eq!(home.attempts(), CALLS, "round {round}");
        parts += u32::from(files(&out).len() > 1);
    }
    println!("hand-in: {parts} unfinished files were left beside the one asked for");
    tell("hand-in", kills(), cut, "no file", none, "the whole file", all);
}

#[test]
fn a_taking_in() {
    let place = folder();
    let Handed { club, home, practice } = handed(place.path());
    let practice = practice.as_str();
    home.typed(&["class", "practise", practice, "--typed"], &"stop\n".repeat(10));
    home.record();
    let results = place.path().join("results.zip");
    home.ok(&["class", "hand-in", practice, "--out", results.to_str().unwrap()]);

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
