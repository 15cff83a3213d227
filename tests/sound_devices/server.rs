//! A private sound server, and this program of tests once more inside of it.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

pub const ROLE: &str = "CABLESIDE_TEST_ROLE";

const FOLDER: &str = "CABLESIDE_TEST_FOLDER";

const SERVER: &str = "CABLESIDE_TEST_SERVER";

/// Microphone `mic` hears what is played to `micfeed`; `spk` is the loudspeaker. `mic44` is the same at 44.1 kHz with two
/// channels of 32 bits, of which the second is silent.
const START: &str = "
load-module module-native-protocol-unix auth-anonymous=1
load-module module-null-sink sink_name=spk norewinds=1 rate=48000 channels=1 format=s16le
load-module module-null-sink sink_name=micfeed norewinds=1 rate=48000 channels=1 format=s16le
load-module module-remap-source source_name=mic master=micfeed.monitor channels=1
load-module module-null-sink sink_name=feed44 norewinds=1 rate=44100 channels=2 format=s32le
load-module module-remap-source source_name=mic44 master=feed44.monitor channels=2
set-default-sink spk
set-default-source mic
";

/// A running private server; its folder and process end with it.
pub struct Server {
    pub folder: tempfile::TempDir,
    child: Child,
}

impl Server {
    pub fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("start.pa"), START).unwrap();
        let child = environment(Command::new("pulseaudio").arg("-n").arg("-F"), folder.path())
            .arg(folder.path().join("start.pa"))
            .args([
                "--daemonize=no",
                "--exit-idle-time=-1",
                "--disallow-exit",
                "--log-target=stderr",
                "--log-level=error",
            ])
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|e| panic!("this test needs pulseaudio ({e}); scripts/test installs it"));
        let server = Self { folder, child };
        let until = Instant::now() + Duration::from_secs(10);
        while Instant::now() < until {
            let about = environment(&mut Command::new("pactl"), server.folder.path())
                .args(["list", "short", "sources"])
                .output()
                .unwrap_or_else(|e| panic!("this test needs pactl ({e}); scripts/test installs pulseaudio-utils"));
            if String::from_utf8_lossy(&about.stdout).contains("mic44") {
                return server;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        panic!("the private sound server did not start");
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may be stopped, or dead already: both are what some tests do.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn environment<'a>(command: &'a mut Command, folder: &Path) -> &'a mut Command {
    command
        .env("XDG_RUNTIME_DIR", folder)
        .env("HOME", folder)
        .env("PULSE_RUNTIME_PATH", folder)
        .env("PULSE_SERVER", format!("unix:{}/native", folder.display()))
        .env("CABLESIDE_HOME", folder.join("home"))
        .env_remove("PULSE_LATENCY_MSEC")
}

/// Runs `body` in a child process that has a private sound server; `name` is the test's own name.
pub fn with_server(name: &str, body: impl FnOnce()) {
    if std::env::var(ROLE).is_ok_and(|r| r == name) {
        return body();
    }
    let server = Server::start();
    let id = server.child.id().to_string();
    expect_success(child(name, name, server.folder.path()).env(SERVER, id));
}

pub fn expect_success(command: &mut Command) {
    let output = command.output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    println!("{}", text(&output.stdout));
    // A name that no test has would run none, and succeed.
    assert!(
        output.status.success() && text(&output.stdout).contains("1 passed"),
        "failed in its sound system:\n{}",
        text(&output.stderr)
    );
}

/// This test program again, for one test in one role.
pub fn child(test: &str, role: &str, folder: &Path) -> Command {
    let mut command = Command::new(std::env::current_exe().unwrap());
    environment(&mut command, folder)
        .env(ROLE, role)
        .env(FOLDER, folder)
        .args([test, "--exact", "--nocapture"]);
    command
}

pub fn folder() -> PathBuf {
    std::env::var_os(FOLDER).map(PathBuf::from).unwrap()
}

/// Sends the server a signal.
pub fn signal(name: &str) {
    let id = std::env::var(SERVER).unwrap();
    assert!(Command::new("kill").args([name, &id]).status().unwrap().success());
}
