//! The rebuilt speech models against their published checksums (SHA-1: whisper.cpp, `models/README.md`) and against the
//! SHA-256 of the official files; what the room says of damaged and renamed copies of them.
//!
//! Needs the models: in the folder named by `CABLESIDE_MODELS`, else in the data folder. `scripts/test` obtains them first.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use std::fs::{self, File};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use cableside::model::{self, Known, ModelError, Verified};
use sha1::Digest;

fn models() -> PathBuf {
    std::env::var_os("CABLESIDE_MODELS").map_or_else(cableside::folders::models, PathBuf::from)
}

fn present(name: &str) -> Verified {
    let dir = models();
    model::find(&dir, name).unwrap_or_else(|failure| {
        panic!(
            "this test needs the speech model {name} ({failure}); run scripts/test, or `cableside model fetch {name}`, \
             or name a folder that holds it in CABLESIDE_MODELS"
        )
    })
}

fn checksums(path: &Path) -> (String, String) {
    let (mut sha1, mut sha256) = (sha1::Sha1::new(), sha2::Sha256::new());
    let mut file = File::open(path).unwrap();
    let mut piece = vec![0; 1 << 20];
    loop {
        let count = file.read(&mut piece).unwrap();
        if count == 0 {
            break;
        }
        sha1.update(&piece[..count]);
        sha256.update(&piece[..count]);
    }
    let hexadecimal = |bytes: &[u8]| bytes.iter().map(|b| format!("{b:02x}")).collect::<Vec<_>>().concat();
    (hexadecimal(&sha1.finalize()), hexadecimal(&sha256.finalize()))
}

#[test]
fn base_is_the_published_file() {
    let base = present("base");
    assert_eq!(fs::metadata(&base.path).unwrap().len(), 147_951_465);
    let (sha1, sha256) = checksums(&base.path);
    assert_eq!(sha1, "465707469ff3a37a2b9b8d8f89f2f99de7299dac");
    assert_eq!(
        sha256,
        "60ed5bc3dd14eea856493d334349b405782ddcaf0028d4b5df4088345fba2efe"
    );
}

#[test]
fn tiny_en_is_the_published_file() {
    let tiny = present("tiny.en");
    assert_eq!(fs::metadata(&tiny.path).unwrap().len(), 77_704_715);
    let (sha1, sha256) = checksums(&tiny.path);
    assert_eq!(sha1, "c78c86eb1a8faa21b369bcd33207cc90d64ae9df");
    assert_eq!(
        sha256,
        "921e4cf8686fdd993dcd081a5da5b6c365bfde1162e72b08d75ac75289920b1f"
    );
}

#[test]
fn the_mel_filters_of_the_published_file() {
    let mut file = File::open(present("base").path).unwrap();
    file.seek(SeekFrom::Start(12 * 4)).unwrap();
    let mut sizes = [0; 8];
    file.read_exact(&mut sizes).unwrap();
    assert_eq!(sizes, [80, 0, 0, 0, 201, 0, 0, 0]);
    let mut bytes = vec![0; 80 * 201 * 4];
    file.read_exact(&mut bytes).unwrap();
    assert_eq!(bytes[..4], [0; 4], "+0.0");
    let weights = bytes.chunks(4).map(|b| f32::from_le_bytes(b.try_into().unwrap()));
    assert_eq!(weights.filter(|w| *w != 0.0).count(), 391);
}

#[test]
fn a_copy_is_recognised_by_checksum_whatever_its_name_and_damage_is_noticed() {
    let tiny = present("tiny.en");
    let dir = tempfile::tempdir().unwrap();
    let copy = dir.path().join("from a friend.bin");
    fs::copy(&tiny.path, &copy).unwrap();
    let found = model::find(dir.path(), "tiny.en").unwrap();
    assert_eq!(found.path, copy);
    assert_eq!(found.known, Known::by_name("tiny.en"));
    assert_eq!(found.label(), "ggml-tiny.en.bin");

    // One bit, the size unchanged.
    let mut file = File::options().read(true).write(true).open(&copy).unwrap();
    file.seek(SeekFrom::Start(50_000_000)).unwrap();
    let mut byte = [0];
    file.read_exact(&mut byte).unwrap();
    byte[0] ^= 1;
    file.seek(SeekFrom::Start(50_000_000)).unwrap();
    file.write_all(&byte).unwrap();
    drop(file);
    assert_eq!(model::verify(&copy).unwrap().known, None);
    let refused = model::resolve(&[dir.path().to_path_buf()], copy.to_str(), false).unwrap_err();
    assert!(matches!(refused, ModelError::UnknownChecksum { .. }), "{refused}");

    // The same under the official name, then cut short by one byte.
    let official = dir.path().join("ggml-tiny.en.bin");
    fs::rename(&copy, &official).unwrap();
    let altered = model::find(dir.path(), "tiny.en").unwrap_err();
    assert!(matches!(altered, ModelError::Altered { .. }), "{altered}");
    File::options()
        .write(true)
        .open(&official)
        .unwrap()
        .set_len(77_704_714)
        .unwrap();
    let short = model::find(dir.path(), "tiny.en").unwrap_err();
    assert!(
        matches!(short, ModelError::Truncated { found: 77_704_714, .. }),
        "{short}"
    );
}
