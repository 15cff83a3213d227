//! The real program as a student sits at it: a first evening (site, name, consent, the trial of the microphone, three spoken
//! calls, the debrief, the progress), and a whole launch flown by voice and
//! hand, and a club's phrases with a prompt recorded. Everything is found and pressed by the name it has for assistive technology (AT-SPI, read by the
//! reference library's Python binding), and spoken into a virtual microphone. Linux only; needs what
//! `window_end_to_end.rs` needs, and dbus, at-spi2-core, gir1.2-atspi-2.0 and python3-gi, which `scripts/test` installs.
#![cfg(target_os = "linux")]
// The helpers of a test file are not seen as test code.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

mod common;

use cableside::call::Situation;
use cableside::site::{Callsign, Site, bundled};
use common::room::{Ends, Room, first_line};
use std::cell::RefCell;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{ChildStdin, ChildStdout, Stdio};
use std::time::{Duration, Instant};

/// Somebody who reads the screen and presses what is on it.
struct Reader {
    asks: RefCell<(ChildStdin, BufReader<ChildStdout>)>,
    _process: Ends,
    _session: Ends,
    address: String,
}

impl Reader {
    fn new(room: &Room) -> Self {
        let mut session = room
            .command("dbus-daemon")
            .args(["--session", "--nofork", "--print-address"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|e| panic!("this test needs dbus-daemon ({e}); scripts/test installs it"));
        let address = first_line(&mut session);
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/common/reader.py");
        // The system's own Python has the binding.
        let mut process = room
            .command("/usr/bin/python3")
            .arg(script)
            .env("DBUS_SESSION_BUS_ADDRESS", &address)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut output = BufReader::new(process.stdout.take().unwrap());
        let mut ready = String::new();
        output.read_line(&mut ready).unwrap();
        assert_eq!(ready.trim(), "ready", "no reader of the screen: see the message above");
        Self {
            asks: RefCell::new((process.stdin.take().unwrap(), output)),
            _process: Ends(process),
            _session: Ends(session),
            address,
        }
    }

    fn ask(&self, command: &str) -> String {
        let (input, output) = &mut *self.asks.borrow_mut();
        writeln!(input, "{command}").unwrap();
        let mut answer = String::new();
        output.read_line(&mut answer).unwrap();
        answer.trim().to_owned()
    }
}

/// A student at the window.
struct Sitting<'r> {
    room: &'r Room,
    reader: &'r Reader,
    _program: Ends,
}

impl<'r> Sitting<'r> {
    fn begin(room: &'r Room, reader: &'r Reader, args: &[&str]) -> Self {
        let program = room
            .command(env!("CARGO_BIN_EXE_cableside"))
            .arg("window")
            .args(args)
            .env("DBUS_SESSION_BUS_ADDRESS", &reader.address)
            .env("LANG", "en_GB.UTF-8")
            .env("LC_ALL", "en_GB.UTF-8")
            .spawn()
            .unwrap();
        let sitting = Self {
            room,
            reader,
            _program: Ends(program),
        };
        let id = room.until("the window", Duration::from_mins(1), || {
            let found = room.tool("xdotool", &["search", "--onlyvisible", "--name", "^Cableside"]);
            found.lines().next().map(str::to_owned)
        });
        // Without a window manager nobody gives it the keyboard.
        room.tool("xdotool", &["windowsize", "--sync", &id, "1280", "720"]);
        room.tool("xdotool", &["windowfocus", "--sync", &id]);
        sitting
    }

    /// As Robin, who is in the logbook, at Larkmoor.
    fn as_robin(room: &'r Room, reader: &'r Reader, more: &[&str]) -> Self {
        room.cableside(&["logbook", "student", "add", "Robin", "--consent", "yes"]);
        let args = [&["--site", "larkmoor", "--student", "Robin"], more].concat();
        Self::begin(room, reader, &args)
    }

    /// Waits until something whose name contains this is there; its whole name.
    fn sees(&self, name: &str) -> String {
        self.sees_within(name, Duration::from_mins(1))
    }

    fn sees_within(&self, name: &str, at_most: Duration) -> String {
        let end = Instant::now() + at_most;
        loop {
            let seen = self.reader.ask(&format!("see {name}"));
            if seen != "no" {
                return seen;
            }
            if Instant::now() > end {
                let picture = self.room.picture("first_start_when_it_failed.png");
                let all = self.reader.ask("all");
                panic!("\"{name}\" is not there; see {}\n{all}", picture.display());
            }
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    fn presses(&self, name: &str) {
        self.room
            .until(&format!("a button \"{name}\""), Duration::from_mins(1), || {
                (self.reader.ask(&format!("press {name}")) == "ok").then_some(())
            });
    }

    fn types(&self, field: &str, text: &str) {
        self.room
            .until(&format!("a field \"{field}\""), Duration::from_mins(1), || {
                (self.reader.ask(&format!("focus {field}")) == "ok").then_some(())
            });
        self.room.tool("xdotool", &["type", "--delay", "30", text]);
    }

    fn plays(&self, call: &Path) {
        self.room.tool("paplay", &["--device=micfeed", call.to_str().unwrap()]);
    }

    /// Holds the Space bar and speaks.
    fn calls(&self, call: &Path) {
        self.sees("your call");
        self.holds_and_plays(call);
    }

    fn holds_and_plays(&self, call: &Path) {
        self.room.tool("xdotool", &["keydown", "space"]);
        self.sees("transmitting");
        self.plays(call);
        self.room.tool("xdotool", &["keyup", "space"]);
    }

    /// Speaks with the embedded voice of the pilot.
    fn says(&self, text: &str) {
        let file = self.room.folder.path().join("said.wav");
        // Each sentence takes the place of the one before; the program overwrites nothing.
        let _ = std::fs::remove_file(&file);
        let path = file.to_str().unwrap();
        self.room
            .cableside(&["sound", "say", text, "--role", "pilot", "--out", path]);
        self.holds_and_plays(&file);
    }
}

/// What the debrief says of a call that passes.
const PASSED: &str = "Complete and right.";

/// A recording as the sound system plays it.
fn sound(room: &Room, fixture: &str) -> PathBuf {
    let clip = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("audio-fixtures/clips/{fixture}.flac"));
    let clip = cableside::sound::read_clip(&clip).unwrap();
    let file = room.folder.path().join(format!("{fixture}.wav"));
    cableside::sound::write_wav(&file, &clip.samples).unwrap();
    file
}

fn room_and_reader() -> (Room, Reader) {
    let room = Room::new("1280x720x24");
    let reader = Reader::new(&room);
    (room, reader)
}

/// One at a time: each fills two cores.
static ALONE: std::sync::Mutex<()> = std::sync::Mutex::new(());

#[test]
fn a_first_evening_from_the_first_start_to_the_progress() {
    let _alone = ALONE.lock();
    let (room, reader) = room_and_reader();
    let trial_call = room.folder.path().join("trial_call.wav");
    room.cableside(&[
        "sound",
        "say",
        "Winch, request retrieve, north cable.",
        "--out",
        trial_call.to_str().unwrap(),
    ]);
    let missing_crew = sound(&room, "demo_missing_crew");
    let right = sound(&room, "larkmoor_right_clean");
    let began = Instant::now();
    let student = Sitting::begin(&room, &reader, &["--situation", "G-CLRM,2,north"]);

    student.sees("Which site?");
    student.presses("Larkmoor");
    student.sees("Who practises?");
    student.types("Name", "Robin");
    student.presses("Yes, keep recordings on this computer");
    student.presses("Add and practise");
    // The speech model is there already: its step is passed over.
    student.presses("Begin the trial");
    student.sees("Say: Winch, request retrieve, north cable.");
    student.plays(&trial_call);
    student.presses("I have said it");
    let understood = student.sees("Understood");
    assert!(
        understood.contains("every part was there") && understood.contains("request retrieve"),
        "{understood}"
    );
    for told in ["loud enough", "a quiet room", "none"] {
        student.sees(told);
    }
    student.presses("The measurements");
    student.sees("dBFS");
    println!("{}", room.picture("first_start_trial.png").display());
    student.presses("Hear it again");
    student.presses("Begin to practise");
    student.presses("Begin");
    // The call is taught first: its words stand beside the picture.
    student.sees("These are the words");
    println!("{:.0} s to the first situation", began.elapsed().as_secs_f32());

    // The driver asks for what is missing, and only that.
    student.calls(&missing_crew);
    student.sees("Not said: crew.");
    student.presses("Show the words");
    student.sees("Not heard; say \"two up\".");
    student.sees("Winch driver: \"Say again: how many on board?\"");
    student.calls(&right);
    student.sees(PASSED);
    student.presses("Next");
    student.calls(&right);
    student.sees(PASSED);
    println!("{}", room.picture("first_start_debrief.png").display());

    student.presses("Progress");
    student.sees("Robin at Larkmoor: 3 calls.");
    println!("{}", room.picture("first_start_progress.png").display());
    let list = room.cableside(&["logbook", "list"]);
    assert_eq!(list.matches("Robin").count(), 3, "{list}");

    // The other language, found by its own name.
    student.presses("Display");
    student.presses("Deutsch");
    student.sees("Sprache des Fensters");
}

/// What the pilot's page says of the launch: "You: pilot. Glider D-4716 Siskin, 1 person, north winch cable."
fn dealt(facts: &str) -> Situation {
    let glider = facts.split("Glider ").nth(1).unwrap();
    let callsign = glider.split(' ').next().unwrap();
    let crew = if facts.contains("2 people") { 2 } else { 1 };
    let facts = facts.to_lowercase();
    let cable = ["north", "south"].into_iter().find(|c| facts.contains(c)).unwrap();
    Situation::new(Callsign::parse(callsign).unwrap(), crew, cable)
}

#[test]
fn a_whole_launch_as_pilot_is_flown_by_voice_and_hand() {
    let _alone = ALONE.lock();
    let (room, reader) = room_and_reader();
    let site = Site::check(&bundled::files("larkmoor").unwrap()).unwrap();
    let student = Sitting::as_robin(&room, &reader, &["--seed", "136"]);
    student.presses("Launch");
    student.presses(
        "Unhurried: nothing gets in the way; you have three minutes for each call, 20 seconds to correct a readback",
    );
    student.presses("Begin the launch");
    let close = sound(&room, "larkmoor_close");
    let mut situation = dealt(&student.sees("You: pilot."));
    let step = |all: &str| {
        let title = |s: &&cableside::site::Step| all.split(" | ").any(|name| name == s.title);
        site.steps.iter().find(title).cloned()
    };
    let end = Instant::now() + Duration::from_mins(6);
    let mut turns = Vec::new();
    let mut corrected = false;
    loop {
        assert!(
            Instant::now() < end,
            "no end after {turns:?}; see {}",
            room.picture("launch_when_it_failed.png").display()
        );
        let all = reader.ask("all");
        let there = |name: &str| all.split(" | ").any(|n| n == name);
        if there("The launch is over") {
            break;
        }
        let Some(step) = step(&all) else { continue };
        // Today's wind and circuit are seen, not known beforehand.
        for element in site.elements.values().filter(|e| e.is_dealt()) {
            let mut seen = element.values.iter();
            if let Some(v) = seen.find(|v| v.scene.as_ref().is_some_and(|scene| all.contains(scene.as_str()))) {
                situation.more.insert(element.id.clone(), v.id.clone());
            }
        }
        if there("Your call") {
            // The embedded voice's "close" is heard as "please", so another voice says it.
            match step.id.as_str() {
                "close echo" => student.holds_and_plays(&close),
                _ => student.says(&situation.taught_call(&site, &step)),
            }
            turns.push(step.id.clone());
        } else if there("The readback: is it right?") {
            // What stands last in the time line is the readback.
            let words = |text: &str| text.to_lowercase().replace([',', '.'], "");
            let right = situation.taught_call(&site, site.step("readback").unwrap());
            let line = all
                .split(" | ")
                .filter(|n| n.contains("[winch driver]"))
                .last()
                .unwrap();
            println!("readback: {line}; right: {right}");
            if words(line).contains(&words(&right)) || corrected {
                student.presses("Say nothing");
            } else {
                let call = situation.taught_call(&site, site.step("ready").unwrap());
                student.says(&format!("Negative, I say again. {call}"));
                corrected = true;
            }
            turns.push("heard back".to_owned());
        } else if there("What do you do?") || there("Now act") {
            room.tool("xdotool", &["key", "r"]);
            turns.push("hand".to_owned());
        } else if there("Anything to say?") || there("Somebody speaks to you") {
            student.presses("Say nothing");
        }
        std::thread::sleep(Duration::from_millis(200));
    }
    println!("{turns:?}; {}", room.picture("launch_over.png").display());
    // In this launch the winch driver reads the crew back wrongly, and the cable does not come off.
    let flown = [
        "briefing",
        "link",
        "open echo",
        "close echo",
        "ready",
        "heard back",
        "hand",
    ];
    assert_eq!(turns[..flown.len()], flown, "{turns:?}");
    assert!(corrected && turns.iter().any(|t| t == "stuck"), "{turns:?}");
    student.sees("The launch was made to its last step.");
    student.sees("The wrong readback was noticed and corrected.");
    let runs = room.cableside(&["logbook", "runs"]);
    assert!(runs.contains("Robin") && runs.contains("complete"), "{runs}");
}

#[test]
fn a_club_copies_a_site_and_records_a_prompt_of_its_own() {
    let _alone = ALONE.lock();
    let (room, reader) = room_and_reader();
    let prompt = room.folder.path().join("prompt.wav");
    let path = prompt.to_str().unwrap();
    room.cableside(&[
        "sound",
        "say",
        "Cable on. Wings level.",
        "--role",
        "instructor",
        "--out",
        path,
    ]);
    let club = Sitting::as_robin(&room, &reader, &[]);
    club.presses("Edit site");
    club.presses("Site to edit");
    club.presses("Larkmoor");
    club.types("Name of the copy", "ourfield");
    club.presses("Make a copy");
    club.presses("Gliders and cables");
    club.types("Registration", "G-DVWX");
    club.types("Type", "Plover");
    club.types("Weak link", "black");
    club.presses("Add this glider");
    club.sees("Registration G-DVWX");
    club.types("Short name", "middle");
    club.types("Taught", "middle");
    club.presses("Add this cable");
    club.sees("Remove middle");
    club.sees("No problems");
    println!("{}", room.picture("desk_fleet.png").display());
    club.presses("Recordings");
    club.sees("0 of ");
    club.presses("Record: Cable on. Wings level.");
    club.sees("recording ...");
    club.plays(&prompt);
    club.presses("Done");
    let recorded = club.sees("Recorded:");
    println!("{recorded}; {}", room.picture("desk_recorded.png").display());
    club.sees("your recording");
    club.presses("Save and pass on");
    club.presses("Save");
    club.sees("Saved. It is used from the next call on.");

    // The recording is cut to the words and as loud as what the program itself speaks, and the site is a sound one with it.
    let field = room.folder.path().join("home/phrases/ourfield");
    let clips: Vec<PathBuf> = std::fs::read_dir(field.join("prompts"))
        .unwrap()
        .map(|e| e.unwrap().path())
        .collect();
    assert_eq!(clips.len(), 1, "{clips:?}");
    let kept = cableside::sound::read_clip(&clips[0]).unwrap();
    let said = cableside::sound::read_clip(&prompt).unwrap();
    println!(
        "{:.2} s said, {:.2} s kept, {:?}",
        said.seconds(),
        kept.seconds(),
        kept.levels
    );
    assert!(kept.seconds() > 0.5 && kept.seconds() < said.seconds() + 0.5);
    let checked = room.cableside(&["site", "check", field.to_str().unwrap()]);
    println!("{checked}");
    // What was added is dealt and understood.
    let call = "winch, golf delta victor whiskey x-ray, solo, middle winch cable, ready\n";
    let call_file = room.folder.path().join("call.txt");
    std::fs::write(&call_file, call).unwrap();
    let drill = room
        .command(env!("CARGO_BIN_EXE_cableside"))
        .args([
            "drill",
            "--site",
            "ourfield",
            "--typed",
            "--situation",
            "G-DVWX,1,middle",
        ])
        .stdin(std::fs::File::open(&call_file).unwrap())
        .output()
        .unwrap();
    let drill = String::from_utf8_lossy(&drill.stdout).into_owned();
    assert!(drill.contains("Outcome: pass"), "{drill}");
}
