//! An invented model, taken from files and from a small server on the loopback.

use std::sync::Arc;
use std::sync::atomic::AtomicUsize;
use std::time::Instant;

use sha1::Sha1;
use sha2::Sha256;
use ureq::tls::{Certificate, PemItem, parse_pem};

use super::*;
use crate::model::known::{Languages, Measured};

#[path = "../../../tests/common/server.rs"]
mod server;
use server::{Reply, Server, certificate};

const MARK: &str = "\"one\"";

struct World {
    dir: tempfile::TempDir,
    bytes: Vec<u8>,
    known: &'static Known,
    roots: RootCerts,
}

impl World {
    fn new() -> Self {
        let mut bytes = rebuild::MAGIC.to_le_bytes().to_vec();
        let mut state = 1_u32;
        bytes.resize_with(2_000_000, || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 24) as u8
        });
        let sha256 = checked::hexadecimal(&Sha256::digest(&bytes)).leak();
        let known = Known {
            name: "invented",
            languages: Languages::English,
            sha1: checked::hexadecimal(&Sha1::digest(&bytes)).leak(),
            measured: Some(Measured {
                bytes: bytes.len() as u64,
                sha256,
            }),
        };
        Self {
            dir: tempfile::tempdir().unwrap(),
            bytes,
            known: Box::leak(Box::new(known)),
            roots: RootCerts::PlatformVerifier,
        }
    }

    fn models(&self) -> PathBuf {
        self.dir.path().join("models")
    }

    fn take(&self, place: &str) -> Result<Verified, ModelError> {
        self.take_until(place, &AtomicBool::new(false), &mut |_| {})
    }

    fn take_until(
        &self,
        place: &str,
        cancel: &AtomicBool,
        progress: &mut dyn FnMut(Progress),
    ) -> Result<Verified, ModelError> {
        let mut work = Work {
            wanted: &[self.known],
            origin: &Origin::parse(place)?,
            dir: &self.models(),
            roots: self.roots.clone(),
            progress,
            cancel,
        };
        work.run()
    }

    fn file(&self, name: &str, bytes: &[u8]) -> String {
        let path = self.dir.path().join(name);
        fs::write(&path, bytes).unwrap();
        path.to_str().unwrap().to_owned()
    }

    fn left(&self) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(self.models())
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .filter(|name| name != ".fetch.lock")
            .collect();
        names.sort();
        names
    }

    fn check_taken(&self, verified: &Verified) {
        assert_eq!(verified.known, Some(self.known));
        assert_eq!(fs::read(&verified.path).unwrap(), self.bytes);
        assert_eq!(self.left(), ["ggml-invented.bin", "ggml-invented.bin.checked"]);
    }
}

#[test]
fn a_file_is_copied_whatever_its_name() {
    let world = World::new();
    let place = world.file("from J\u{fc}rgen's stick.dat", &world.bytes);
    let mut last = None;
    let verified = world
        .take_until(&place, &AtomicBool::new(false), &mut |p| last = Some(p))
        .unwrap();
    world.check_taken(&verified);
    let last = last.unwrap();
    assert_eq!(
        (last.stage, last.done, last.total),
        (Stage::TakingIn, 2_000_000, 2_000_000)
    );
    assert!(Path::new(&place).exists(), "the file itself stays");
}

#[test]
fn other_files_are_refused_and_nothing_is_left() {
    let world = World::new();
    let mut altered = world.bytes.clone();
    altered[1_000_000] ^= 1;
    let mut page = b"<html>Please log in</html>".to_vec();
    page.resize(2_000_000, b' ');
    for (place, reason) in [
        (
            world.file("half", &world.bytes[..900_000]),
            "900000 bytes, so it is not invented (2000000 bytes)",
        ),
        (world.file("altered", &altered), "Perhaps it was cut short or damaged"),
        (world.file("page", &page), "no speech model"),
        (world.file("empty", b""), "0 bytes"),
        (
            world.dir.path().join("none").display().to_string(),
            "could not open the file",
        ),
        (world.dir.path().display().to_string(), "no file"),
    ] {
        let refused = world.take(&place).unwrap_err().to_string();
        assert!(refused.contains(reason), "{place}: {refused}");
        assert!(world.left().is_empty(), "{place}: {:?}", world.left());
    }
}

#[test]
fn a_model_of_unknown_size_is_judged_by_its_checksum() {
    let world = World::new();
    let place = world.file("x", &world.bytes);
    let mut work = Work {
        wanted: &[Known::by_name("tiny").unwrap()],
        origin: &Origin::parse(&place).unwrap(),
        dir: &world.models(),
        roots: RootCerts::PlatformVerifier,
        progress: &mut |_| {},
        cancel: &AtomicBool::new(false),
    };
    let refused = work.run().unwrap_err();
    assert!(
        matches!(&refused, ModelError::NotPublished { wanted, .. } if wanted == "tiny"),
        "{refused}"
    );
    assert!(world.left().is_empty());
}

#[test]
fn a_download_appears_verified() {
    let world = World::new();
    let bytes = world.bytes.clone();
    let server = Server::start(None, move |asked, _| Reply::file(asked, &bytes, MARK));
    let mut seen = Vec::new();
    let verified = world
        .take_until(&server.address("/m"), &AtomicBool::new(false), &mut |p| {
            assert!(p.done <= p.total && p.total == 2_000_000, "{p:?}");
            seen.push(p.done);
        })
        .unwrap();
    world.check_taken(&verified);
    assert!(seen.is_sorted() && seen.last() == Some(&2_000_000));
    assert_eq!(server.asked().len(), 1);
    assert_eq!(server.asked()[0].range, None);
}

#[test]
fn what_broke_off_goes_on_by_itself() {
    let world = World::new();
    let bytes = world.bytes.clone();
    let server = Server::start(None, move |asked, before| {
        let reply = Reply::file(asked, &bytes, MARK);
        if before < 2 { reply.cut(600_000) } else { reply }
    });
    world.check_taken(&world.take(&server.address("/m")).unwrap());
    let asked = server.asked();
    assert_eq!(asked.len(), 3);
    assert_eq!(asked[1].range, Some(600_000));
    assert_eq!(asked[1].if_range.as_deref(), Some(MARK));
    assert_eq!(asked[2].range, Some(1_200_000));
}

#[test]
fn what_was_stopped_goes_on_the_next_time_even_from_a_silent_server() {
    let world = World::new();
    let bytes = world.bytes.clone();
    let server = Server::start(None, move |asked, before| {
        let reply = Reply::file(asked, &bytes, MARK);
        if before == 0 { reply.silent(700_000) } else { reply }
    });
    let cancel = Arc::new(AtomicBool::new(false));
    let (stop, begun) = (cancel.clone(), Instant::now());
    let stopped = world
        .take_until(&server.address("/m"), &cancel, &mut |p| {
            if p.done == 700_000 {
                stop.store(true, Ordering::Relaxed);
            }
        })
        .unwrap_err();
    assert!(matches!(stopped, ModelError::Paused { kept: 700_000 }), "{stopped}");
    assert!(
        begun.elapsed() < Duration::from_secs(15),
        "the server's silence is not waited for"
    );
    assert_eq!(world.left(), [NOTES, UNFINISHED]);

    world.check_taken(&world.take(&server.address("/m")).unwrap());
    assert_eq!(server.asked()[1].range, Some(700_000));
}

#[test]
fn another_address_begins_anew() {
    let world = World::new();
    let bytes = world.bytes.clone();
    let server = Server::start(None, move |asked, _| {
        let reply = Reply::file(asked, &bytes, MARK);
        if asked.path == "/cut" { reply.cut(0) } else { reply }
    });
    let address = server.address("/m");
    fs::create_dir_all(world.models()).unwrap();
    fs::write(world.models().join(UNFINISHED), &world.bytes[..5000]).unwrap();
    fs::write(world.models().join(NOTES), r#"{"address":"https://other.example/m"}"#).unwrap();
    world.check_taken(&world.take(&address).unwrap());
    assert_eq!(server.asked()[0].range, None);

    let world = World::new();
    let nothing = world.take(&server.address("/cut")).unwrap_err();
    assert!(matches!(nothing, ModelError::Unreached { .. }), "{nothing}");
    assert!(world.left().is_empty());
}

#[test]
fn a_damaged_beginning_is_fetched_again_once() {
    let world = World::new();
    let bytes = world.bytes.clone();
    let server = Server::start(None, move |asked, _| Reply::file(asked, &bytes, MARK));
    let notes = format!(r#"{{"address":"{}"}}"#, server.address("/m"));
    let mut damaged = world.bytes[..500_000].to_vec();
    damaged[400_000] ^= 1;
    fs::create_dir_all(world.models()).unwrap();
    for part in [&damaged[..], &world.bytes, &[&world.bytes[..], b"more"].concat()] {
        fs::write(world.models().join(NOTES), &notes).unwrap();
        fs::write(world.models().join(UNFINISHED), part).unwrap();
        world.check_taken(&world.take(&server.address("/m")).unwrap());
    }
    let ranges: Vec<_> = server.asked().iter().map(|a| a.range).collect();
    assert_eq!(
        ranges,
        [Some(500_000), None, Some(2_000_000), None, Some(2_000_004), None]
    );
}

#[test]
fn a_file_that_changed_on_the_server_is_fetched_from_its_beginning() {
    let world = World::new();
    let bytes = world.bytes.clone();
    let server = Server::start(None, move |asked, _| Reply::file(asked, &bytes, "\"two\""));
    fs::create_dir_all(world.models()).unwrap();
    fs::write(world.models().join(UNFINISHED), [7; 5000]).unwrap();
    let notes = format!(r#"{{"address":"{}","mark":"\"one\""}}"#, server.address("/m"));
    fs::write(world.models().join(NOTES), notes).unwrap();
    world.check_taken(&world.take(&server.address("/m")).unwrap());
    assert_eq!(server.asked().len(), 1);
}

#[test]
fn what_a_server_does_not_give_is_said() {
    let world = World::new();
    let rest = Arc::new(AtomicUsize::new(0));
    let count = rest.clone();
    let server = Server::start(None, move |asked, _| {
        count.fetch_add(1, Ordering::Relaxed);
        match asked.path.as_str() {
            "/none" => Reply::new("404 Not Found", b"no"),
            "/closed" => Reply::new("403 Forbidden", b"no"),
            "/away" => Reply::new("302 Found\r\nLocation: http://club.example/m", b""),
            "/fault" => Reply::new("503 Service Unavailable", b""),
            "/small" => Reply::new("200 OK", b"lmgg and little more"),
            "/huge" => Reply {
                head: "HTTP/1.1 200 OK\r\nContent-Length: 9000000000".to_owned(),
                body: b"lmgg".to_vec(),
                ..Reply::default()
            },
            "/endless" => Reply {
                head: "HTTP/1.1 200 OK".to_owned(),
                body: [&b"lmgg"[..], &vec![0; 2_100_000]].concat(),
                ..Reply::default()
            },
            "/page" => Reply {
                head: "HTTP/1.1 200 OK".to_owned(),
                body: b"<html>Please log in</html>".to_vec(),
                ..Reply::default()
            },
            _ => Reply::new("nonsense", b""),
        }
    });
    for (path, reason) in [
        ("/none", "no such file"),
        ("/closed", "everybody"),
        ("/away", "leads"),
        ("/fault", "503"),
        ("/small", "20 bytes, so it is not invented"),
        ("/huge", "9000000000 bytes, so it is not invented"),
        ("/endless", "checksum that nobody published"),
        ("/page", "no speech model"),
        ("/nonsense", "could not be reached"),
    ] {
        let refused = world.take(&server.address(path)).unwrap_err().to_string();
        assert!(refused.contains(reason), "{path}: {refused}");
        assert!(world.left().is_empty(), "{path}: {:?}", world.left());
    }
    assert_eq!(rest.load(Ordering::Relaxed), 9, "none of them is worth a second try");
    // Nobody listens there any more.
    let gone = std::net::TcpListener::bind("127.0.0.1:0")
        .unwrap()
        .local_addr()
        .unwrap();
    let refused = world.take(&format!("http://{gone}/m")).unwrap_err();
    assert!(matches!(refused, ModelError::Unreached { .. }), "{refused}");
}

#[test]
fn an_encrypted_server_must_be_trusted_and_never_leads_to_an_unencrypted_one() {
    let mut world = World::new();
    let (tls, pem) = certificate(&["127.0.0.1"]);
    let bytes = world.bytes.clone();
    let plain = Server::start(None, |asked, _| Reply::file(asked, b"lmgg", MARK));
    let away = plain.address("/m");
    let server = Server::start(Some(tls), move |asked, _| match asked.path.as_str() {
        "/away" => Reply::new(&format!("302 Found\r\nLocation: {away}"), b""),
        "/round" => Reply::new("302 Found\r\nLocation: /round", b""),
        "/on" => Reply::new("302 Found\r\nLocation: /m", b""),
        _ => Reply::file(asked, &bytes, MARK),
    });
    let address = |path: &str| format!("https://{}{path}", server.at);
    let refused = world.take(&address("/m")).unwrap_err();
    assert!(
        matches!(&refused, ModelError::UntrustedServer { host } if host == "127.0.0.1"),
        "{refused}"
    );
    assert!(server.asked().is_empty(), "nothing was asked of it");

    let trusted: Vec<Certificate<'static>> = parse_pem(pem.as_bytes())
        .map(|item| match item.unwrap() {
            PemItem::Certificate(certificate) => certificate,
            _ => panic!("no certificate"),
        })
        .collect();
    world.roots = RootCerts::new_with_certs(&trusted);
    world.check_taken(&world.take(&address("/on")).unwrap());
    fs::remove_dir_all(world.models()).unwrap();
    let refused = world.take(&address("/away")).unwrap_err().to_string();
    assert!(refused.contains("not encrypted"), "{refused}");
    assert!(plain.asked().is_empty());
    let refused = world.take(&address("/round")).unwrap_err().to_string();
    assert!(refused.contains("without end"), "{refused}");
}

#[test]
fn two_at_a_time_are_one_too_many() {
    let world = World::new();
    fs::create_dir_all(world.models()).unwrap();
    let _held = lock(&world.models()).unwrap();
    let place = world.file("x", &world.bytes);
    assert!(matches!(world.take(&place), Err(ModelError::Busy { .. })));
}
