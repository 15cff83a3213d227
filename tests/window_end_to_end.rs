//! The real program in a display without a screen: a student hears the prompt, holds the Space bar, speaks a call without
//! the crew, sees the verdicts and finds the attempt in the logbook. The microphone is a virtual one of a private sound
//! server, fed with a recording. Linux only; needs xvfb, xdotool, imagemagick, pulseaudio and the speech model, which
//! `scripts/test` installs and names in `CABLESIDE_MODELS`.
//!
//! The picture taken is left at `target/tmp/window_after_a_call.png`.
#![cfg(target_os = "linux")]
// The helpers of a test file are not seen as test code.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

const SOUND: &str = "
load-module module-native-protocol-unix auth-anonymous=1
load-module module-null-sink sink_name=spk norewinds=1 rate=48000 channels=1 format=s16le
load-module module-null-sink sink_name=micfeed norewinds=1 rate=48000 channels=1 format=s16le
load-module module-remap-source source_name=mic master=micfeed.monitor channels=1
set-default-sink spk
set-default-source mic
";

/// A process that ends with the test.
struct Ends(Child);

impl Drop for Ends {
    fn drop(&mut self) {
        // It may be gone already.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// A room with a display and a sound system of its own.
struct Room {
    folder: tempfile::TempDir,
    display: String,
    _screen: Ends,
    sound: std::cell::RefCell<Ends>,
}

impl Room {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("start.pa"), SOUND).unwrap();
        let home = folder.path().join("home");
        std::fs::create_dir(&home).unwrap();
        let models = std::env::var_os("CABLESIDE_MODELS")
            .unwrap_or_else(|| panic!("this test needs CABLESIDE_MODELS; scripts/test sets it"));
        std::os::unix::fs::symlink(models, home.join("models")).unwrap();
        let mut screen = Command::new("Xvfb")
            .args([
                "-noreset",
                "-displayfd",
                "1",
                "-screen",
                "0",
                "1200x860x24",
                "-nolisten",
                "tcp",
            ])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|e| panic!("this test needs Xvfb ({e}); scripts/test installs xvfb"));
        let mut number = String::new();
        BufReader::new(screen.stdout.take().unwrap())
            .read_line(&mut number)
            .unwrap();
        let screen = Ends(screen);
        let sound = Command::new("pulseaudio")
            .args(["-n", "--daemonize=no", "--exit-idle-time=-1", "--disallow-exit", "-F"])
            .arg(folder.path().join("start.pa"))
            .envs(sound_environment(folder.path()))
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|e| panic!("this test needs pulseaudio ({e}); scripts/test installs it"));
        let room = Self {
            display: format!(":{}", number.trim()),
            folder,
            _screen: screen,
            sound: std::cell::RefCell::new(Ends(sound)),
        };
        room.until("the sound system", Duration::from_secs(20), || {
            room.tool("pactl", &["list", "short", "sources"])
                .contains("mic")
                .then_some(())
        });
        room
    }

    /// A command in the room.
    fn command(&self, program: impl AsRef<std::ffi::OsStr>) -> Command {
        let mut command = Command::new(program);
        command
            .envs(sound_environment(self.folder.path()))
            .env("DISPLAY", &self.display)
            .env("CABLESIDE_HOME", self.folder.path().join("home"))
            .env("LIBGL_ALWAYS_SOFTWARE", "1")
            .env_remove("WAYLAND_DISPLAY")
            .env_remove("PULSE_LATENCY_MSEC")
            .current_dir(env!("CARGO_MANIFEST_DIR"));
        command
    }

    fn tool(&self, program: &str, args: &[&str]) -> String {
        let output = self
            .command(program)
            .args(args)
            .output()
            .unwrap_or_else(|e| panic!("this test needs {program} ({e}); scripts/test installs it"));
        String::from_utf8_lossy(&output.stdout).into_owned()
    }

    fn cableside(&self, args: &[&str]) -> String {
        let output = self
            .command(env!("CARGO_BIN_EXE_cableside"))
            .args(args)
            .output()
            .unwrap();
        let text = |b: &[u8]| String::from_utf8_lossy(b).into_owned();
        assert!(output.status.success(), "{args:?}: {}", text(&output.stderr));
        text(&output.stdout)
    }

    fn until<T>(&self, what: &str, at_most: Duration, mut found: impl FnMut() -> Option<T>) -> T {
        let end = Instant::now() + at_most;
        loop {
            if let Some(t) = found() {
                return t;
            }
            if Instant::now() > end {
                let picture = self.picture("window_when_it_failed.png");
                panic!("waited in vain for {what}; see {}", picture.display());
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    fn picture(&self, name: &str) -> PathBuf {
        let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
        self.tool("import", &["-window", "root", path.to_str().unwrap()]);
        path
    }
}

fn sound_environment(folder: &Path) -> [(&'static str, String); 4] {
    let text = folder.display().to_string();
    [
        ("XDG_RUNTIME_DIR", text.clone()),
        ("HOME", text.clone()),
        ("PULSE_RUNTIME_PATH", text.clone()),
        ("PULSE_SERVER", format!("unix:{text}/native")),
    ]
}

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
    let room = Room::new();
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
    for (word, colour) in [("said", "rgb(0,105,55)"), ("missing", "rgb(140,78,0)")] {
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
