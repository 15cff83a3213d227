//! The real program in a display without a screen: a student hears the prompt, holds the Space bar, speaks a call without
//! the crew, sees the verdicts and finds the attempt in the logbook. The microphone is a virtual one of a private sound
//! server, fed with a recording. Linux only; needs xvfb, xdotool, imagemagick, pulseaudio and the speech model, which
//! `scripts/test` installs and names in `CABLESIDE_MODELS`.
//!
//! The picture taken is left at `target/tmp/window_after_a_call.png`.
#![cfg(target_os = "linux")]
// The helpers of a test file are not seen as test code.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

mod common;

use common::room::{Ends, Room};
use std::path::Path;
use std::time::{Duration, Instant};

/// How many pixels of a picture have exactly this colour.
fn pixels(room: &Room, picture: &Path, colour: &str) -> u64 {
    let count = room.tool(
        "convert",
        &[
            picture.to_str().unwrap(),
            "-fill",
            "black",
            "+opaque",
            colour,
            "-fill",
            "white",
            "-opaque",
            colour,
            "-format",
            "%[fx:round(mean*w*h)]",
            "info:",
        ],
    );
    count.trim().parse().unwrap_or_else(|_| panic!("no count: {count}"))
}

/// The program's window in the room.
struct Window<'r> {
    room: &'r Room,
    id: String,
    _program: Ends,
}

impl<'r> Window<'r> {
    /// Opened for a student, always dealing the same situation; it is the student's call.
    fn open(room: &'r Room, student: &str) -> Self {
        let program = Ends(
            room.command(env!("CARGO_BIN_EXE_cableside"))
                .args(["window", "--site", "larkmoor", "--student", student])
                .args(["--situation", "G-CLRM,2,north", "--threads", "1"])
                .spawn()
                .unwrap(),
        );
        let id = room.until("the window", Duration::from_mins(1), || {
            let found = room.tool("xdotool", &["search", "--onlyvisible", "--name", "^Cableside"]);
            found.lines().next().map(str::to_owned)
        });
        // Without a window manager nobody gives it the keyboard.
        room.tool("xdotool", &["windowfocus", "--sync", &id]);
        // A pointer over a button would show it lit, and its explanation.
        room.tool("xdotool", &["mousemove", "1199", "859"]);
        let window = Self {
            room,
            id,
            _program: program,
        };
        window.state("your call");
        window
    }

    /// Waits until the window's title ends with a state of the turn.
    fn state(&self, state: &str) {
        self.room.until(state, Duration::from_secs(90), || {
            let title = self.room.tool("xdotool", &["getwindowname", &self.id]);
            title.trim().ends_with(state).then_some(())
        });
    }

    fn key(&self, what: &str, key: &str) {
        self.room.tool("xdotool", &[what, key]);
    }

    /// Holds the Space bar, lets the recording sound at the microphone, lets go.
    fn speak(&self, call: &Path) {
        self.key("keydown", "space");
        self.state("transmitting");
        self.room.tool("paplay", &["--device=micfeed", call.to_str().unwrap()]);
        self.key("keyup", "space");
        self.state("judging");
    }
}

fn attempts(room: &Room) -> Vec<serde_json::Value> {
    let export = room.cableside(&["logbook", "export", "--format", "json"]);
    let export: serde_json::Value = serde_json::from_str(&export).unwrap();
    export["attempts"].as_array().unwrap().clone()
}

/// Names in the folder of the recordings, of finished and unfinished ones.
fn recordings(room: &Room) -> Vec<String> {
    let folder = room.folder.path().join("home/recordings");
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    entries
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .collect()
}

fn verdict<'a>(attempt: &'a serde_json::Value, element: &str) -> &'a str {
    let elements = attempt["elements"].as_array().unwrap();
    elements.iter().find(|e| e["element"] == element).unwrap()["verdict"]
        .as_str()
        .unwrap()
}

#[test]
fn a_call_without_its_crew_is_spoken_judged_shown_and_kept() {
    let room = Room::new("1200x860x24");
    room.cableside(&["logbook", "student", "add", "Robin", "--consent", "yes"]);
    room.cableside(&["logbook", "student", "add", "Kim", "--consent", "no"]);
    let manifest = Path::new(env!("CARGO_MANIFEST_DIR"));
    let clip = cableside::sound::read_clip(&manifest.join("audio-fixtures/clips/demo_missing_crew.flac")).unwrap();
    let call = room.folder.path().join("call.wav");
    cableside::sound::write_wav(&call, &clip.samples).unwrap();

    let window = Window::open(&room, "Robin");
    window.speak(&call);
    // The driver asks, and it is the student's turn again.
    window.state("your call");
    let picture = room.picture("window_after_a_call.png");
    println!("{}", picture.display());

    // Said and missing stand there in their colours (see src/window/look.rs, light).
    for (word, colour) in [("said", "rgb(0,105,55)"), ("missing", "rgb(135,75,0)")] {
        assert!(pixels(&room, &picture, colour) > 40, "no \"{word}\" to be seen");
    }
    assert!(room.cableside(&["logbook", "list"]).contains("not yet"));
    let kept = attempts(&room);
    assert_eq!(kept.len(), 1);
    assert_eq!(
        (&kept[0]["outcome"], &kept[0]["site"]),
        (&"not yet".into(), &"larkmoor".into())
    );
    assert_eq!(verdict(&kept[0], "crew"), "missing");
    assert_eq!(verdict(&kept[0], "callsign"), "said");
    let recording = kept[0]["recording"].as_str().unwrap();
    assert_eq!(recordings(&room), [recording]);
    let sound = cableside::sound::read_clip(&room.folder.path().join("home/recordings").join(recording)).unwrap();
    assert!(sound.seconds() > clip.seconds(), "{} s", sound.seconds());

    // Escape throws a call away: it is the student's turn at once, and nothing is left.
    window.key("keydown", "space");
    window.state("transmitting");
    assert_eq!(recordings(&room).len(), 2);
    let escape = Instant::now();
    window.key("key", "Escape");
    window.state("your call");
    println!("{:.2} s from Escape to the title", escape.elapsed().as_secs_f32());
    window.key("keyup", "space");
    room.until("the recording to go", Duration::from_secs(2), || {
        (recordings(&room).len() == 1).then_some(())
    });
    drop(window);

    // Without consent the call is judged and nothing of it is kept but the attempt.
    let window = Window::open(&room, "Kim");
    window.speak(&call);
    assert_eq!(recordings(&room).len(), 1);
    window.state("your call");
    let kept = attempts(&room);
    assert_eq!(kept.len(), 2);
    assert_eq!(kept.iter().filter(|a| a["recording"].is_null()).count(), 1);
    drop(window);

    // The microphone goes away in the middle of a call: what was heard is judged and kept.
    let window = Window::open(&room, "Robin");
    window.key("keydown", "space");
    window.state("transmitting");
    room.tool("paplay", &["--device=micfeed", call.to_str().unwrap()]);
    room.sound.borrow_mut().0.kill().unwrap();
    window.state("your call");
    window.key("keyup", "space");
    println!("{}", room.picture("window_without_microphone.png").display());
    drop(window);
    let kept = attempts(&room);
    assert_eq!(kept.len(), 3);
    assert_eq!(recordings(&room).len(), 2);
    let lost = kept
        .iter()
        .filter(|a| a["evidence"]["clip"]["troubles"].to_string().contains("device_lost"));
    assert_eq!(lost.count(), 1);
}
