//! A room with a display without a screen and a virtual microphone and loudspeaker. Linux only; needs xvfb, xdotool,
//! imagemagick and pulseaudio, which `scripts/test` installs.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// A loudspeaker, and a microphone that is fed from another loudspeaker.
const SOUND: &str = "
load-module module-native-protocol-unix auth-anonymous=1
load-module module-null-sink sink_name=spk norewinds=1 rate=48000 channels=1 format=s16le
load-module module-null-sink sink_name=micfeed norewinds=1 rate=48000 channels=1 format=s16le
load-module module-remap-source source_name=mic master=micfeed.monitor channels=1
set-default-sink spk
set-default-source mic
";

/// A process that ends with the test.
pub struct Ends(pub Child);

impl Drop for Ends {
    fn drop(&mut self) {
        // It may be gone already.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// What a process says first, without the end of the line; what it says later is lost.
pub fn first_line(process: &mut Child) -> String {
    let mut line = String::new();
    BufReader::new(process.stdout.take().unwrap())
        .read_line(&mut line)
        .unwrap();
    line.trim().to_owned()
}

/// A room with a display and a sound system of its own.
pub struct Room {
    pub folder: tempfile::TempDir,
    display: String,
    _screen: Ends,
    pub sound: std::cell::RefCell<Ends>,
}

impl Room {
    /// Opened; the models are those of `CABLESIDE_MODELS`.
    pub fn new(screen: &str) -> Self {
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
                screen,
                "-nolisten",
                "tcp",
            ])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|e| panic!("this test needs Xvfb ({e}); scripts/test installs xvfb"));
        let number = first_line(&mut screen);
        let screen = Ends(screen);
        let sound = Command::new("pulseaudio")
            .args(["-n", "--daemonize=no", "--exit-idle-time=-1", "--disallow-exit", "-F"])
            .arg(folder.path().join("start.pa"))
            .envs(sound_environment(folder.path()))
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|e| panic!("this test needs pulseaudio ({e}); scripts/test installs it"));
        let room = Self {
            display: format!(":{number}"),
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
    pub fn command(&self, program: impl AsRef<std::ffi::OsStr>) -> Command {
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

    /// What a tool says.
    pub fn tool(&self, program: &str, args: &[&str]) -> String {
        let output = self
            .command(program)
            .args(args)
            .output()
            .unwrap_or_else(|e| panic!("this test needs {program} ({e}); scripts/test installs it"));
        String::from_utf8_lossy(&output.stdout).into_owned()
    }

    /// What the program says; it must succeed.
    pub fn cableside(&self, args: &[&str]) -> String {
        let output = self
            .command(env!("CARGO_BIN_EXE_cableside"))
            .args(args)
            .output()
            .unwrap();
        let text = |b: &[u8]| String::from_utf8_lossy(b).into_owned();
        assert!(output.status.success(), "{args:?}: {}", text(&output.stderr));
        text(&output.stdout)
    }

    /// Waits until something is found.
    pub fn until<T>(&self, what: &str, at_most: Duration, mut found: impl FnMut() -> Option<T>) -> T {
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

    /// A picture of the screen.
    pub fn picture(&self, name: &str) -> PathBuf {
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
