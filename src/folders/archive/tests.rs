//! Good archives come back as they were; hostile ones are refused, each for its own reason.

use super::*;
use crate::site::bundled;
use zip::write::SimpleFileOptions;

fn content(name: &str) -> Content {
    Content::of_texts(&bundled::files(name).unwrap().texts)
}

/// Nobody listens to the recordings here.
fn none(_: &Files, _: &BTreeMap<String, Vec<u8>>) -> BTreeMap<String, String> {
    BTreeMap::new()
}

fn wav() -> Vec<u8> {
    let mut bytes =
        b"RIFF\x24\0\0\0WAVEfmt \x10\0\0\0\x01\0\x01\0\x80\x3e\0\0\0\x7d\0\0\x02\0\x10\0data\0\0\0\0".to_vec();
    bytes.extend([0; 32]);
    bytes
}

/// Larkmoor's archive with one more entry, written by the library as it likes.
fn with(add: impl FnOnce(&mut ZipWriter<Cursor<Vec<u8>>>)) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in &content("larkmoor").files {
        zip.start_file(format!("larkmoor/{name}"), SimpleFileOptions::default())
            .unwrap();
        zip.write_all(bytes).unwrap();
    }
    add(&mut zip);
    zip.finish().unwrap().into_inner()
}

fn entry(name: &str, bytes: &[u8]) -> Vec<u8> {
    with(|zip| {
        zip.start_file(name, SimpleFileOptions::default()).unwrap();
        zip.write_all(bytes).unwrap();
    })
}

fn refused(bytes: &[u8], part: &str) {
    match unpack_bytes(bytes, none) {
        Ok(_) => panic!("taken, and should be refused: {part}"),
        Err(e) => assert!(e.to_string().contains(part), "\"{part}\" is not in: {e}"),
    }
}

/// Replace bytes everywhere: local header and directory.
fn forged(mut bytes: Vec<u8>, from: &[u8], to: &[u8]) -> Vec<u8> {
    assert_eq!(from.len(), to.len());
    let mut times = 0;
    for i in 0..bytes.len() - from.len() {
        if bytes[i..].starts_with(from) {
            bytes[i..i + to.len()].copy_from_slice(to);
            times += 1;
        }
    }
    assert!(times > 0, "nothing to forge");
    bytes
}

#[test]
fn what_was_packed_comes_back() {
    let dir = tempfile::tempdir().unwrap();
    for name in bundled::NAMES {
        let mut content = content(name);
        content.files.insert("prompts/winch driver/1.wav".into(), wav());
        content.files.insert("LICENCE.txt".into(), b"ours".to_vec());
        let file = dir.path().join(format!("{name}.zip"));
        pack(&content, name, &file).unwrap();
        let back = unpack(&file, none).unwrap();
        assert_eq!(back.content, content);
        assert_eq!(back.site.id, name);
        assert_eq!(
            packed(&content, name).unwrap(),
            std::fs::read(&file).unwrap(),
            "the same files give the same bytes"
        );
    }
    assert_eq!(
        std::fs::read_dir(dir.path()).unwrap().count(),
        bundled::NAMES.len(),
        "nothing half written is left"
    );
}

#[test]
fn files_may_stand_at_the_top_too() {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in &content("erlengrund").files {
        zip.start_file(name, SimpleFileOptions::default()).unwrap();
        zip.write_all(bytes).unwrap();
    }
    assert_eq!(
        unpack_bytes(&zip.finish().unwrap().into_inner(), none).unwrap().site.id,
        "erlengrund"
    );
}

#[test]
fn paths_that_lead_elsewhere_are_refused() {
    for (name, why) in [
        ("larkmoor/../../evil.txt", "climbs out"),
        ("../evil.wav", "climbs out"),
        ("larkmoor/prompts/..", "climbs out"),
        ("/etc/evil.txt", "absolute"),
        ("//server/evil.txt", "absolute"),
        ("C:/evil.txt", "characters that mean"),
        ("larkmoor\\..\\evil.txt", "characters that mean"),
        ("larkmoor/a\0b.txt", "characters that mean"),
        ("larkmoor/a\nb.txt", "characters that mean"),
        ("larkmoor/\u{202e}gnp.wav", "not seen"),
        ("larkmoor/a\u{200b}.txt", "not seen"),
        ("larkmoor/./a.txt", "empty, hidden"),
        ("larkmoor//a.txt", "empty, hidden"),
        ("larkmoor/.hidden.txt", "empty, hidden"),
        ("larkmoor/a.txt.", "empty, hidden"),
        ("larkmoor/NUL.txt", "device"),
        ("larkmoor/com1.wav", "device"),
        ("larkmoor/conin$.wav", "device"),
        ("larkmoor/COM\u{b9}.wav", "device"),
        ("larkmoor/a.wav/b.wav", "name of a file"),
        ("larkmoor/a.wav/", "name of a file"),
        ("larkmoor/a/b/c/d/e.wav", "too deep"),
    ] {
        // The writer mends some names itself, so a name of the same length is written and then forged.
        let plain: String = name.bytes().map(|_| 'x').collect();
        refused(&forged(entry(&plain, b"x"), plain.as_bytes(), name.as_bytes()), why);
    }
    let long = format!("larkmoor/{}.txt", "x".repeat(300));
    refused(&entry(&long, b"x"), "too long");
}

#[test]
fn names_that_are_no_text_are_refused() {
    let bytes = entry("larkmoor/umlautXX.txt", b"x");
    refused(&forged(bytes, b"umlautXX", b"umlaut\xff\xfe"), "no UTF-8");
}

#[test]
fn links_and_devices_are_refused() {
    let link = with(|zip| {
        zip.add_symlink("larkmoor/note.txt", "/etc/passwd", SimpleFileOptions::default())
            .unwrap();
    });
    refused(&link, "link or a device");
    // A pipe: the type of a file in the mode, forged from that of the link.
    let (from, to) = (0o120_777_u32 << 16, 0o010_777_u32 << 16);
    refused(
        &forged(link, &from.to_le_bytes(), &to.to_le_bytes()),
        "link or a device",
    );
}

#[test]
fn bombs_are_refused_before_they_go_off() {
    let zeros = vec![0_u8; 20_000_000];
    refused(&entry("larkmoor/bomb.wav", &zeros), "hundred times");
    // One that lies about its size: what really comes is counted.
    let honest = entry("larkmoor/note.txt", &[b' '; 5000]);
    let lie = forged(honest, &5000_u32.to_le_bytes(), &4999_u32.to_le_bytes());
    assert!(unpack_bytes(&lie, none).is_err());
    let large = vec![b'x'; 1_000_001];
    refused(&entry("larkmoor/note.txt", &large), "at most 1000000");
    let many = with(|zip| {
        for i in 0..1100 {
            zip.start_file(format!("larkmoor/{i}.txt"), SimpleFileOptions::default())
                .unwrap();
        }
    });
    refused(&many, "entries");
}

#[test]
fn many_recordings_are_refused_by_their_sum() {
    let good = packed(&content("larkmoor"), "larkmoor").unwrap();
    let size = content("larkmoor").size();
    assert!(unpack_within(&good, size, none).is_ok());
    let error = unpack_within(&good, size - 1, none).unwrap_err().to_string();
    assert!(error.contains("unpacks to more than"), "{error}");
}

#[test]
fn two_entries_of_one_name_are_refused() {
    let twice = entry("larkmoor/fleex.toml", b"x");
    refused(&forged(twice, b"fleex.toml", b"fleet.toml"), "two entries of one name");
    let capitals = with(|zip| {
        for name in ["larkmoor/note.txt", "larkmoor/NOTE.txt"] {
            zip.start_file(name, SimpleFileOptions::default()).unwrap();
        }
    });
    refused(&capitals, "two of this name");
}

#[test]
fn what_is_no_part_of_a_site_is_refused() {
    refused(&entry("larkmoor/run.exe", b"MZ"), "nothing else");
    refused(&entry("larkmoor/more.toml", b""), "nothing else");
    refused(&entry("larkmoor/prompts/site.toml", b""), "nothing else");
    refused(&entry("elsewhere/a.txt", b""), "several folders");
    refused(&entry("larkmoor/song.wav", b"ID3"), "is none");
    refused(&entry("larkmoor/note.txt", b"\xff\xfe"), "no UTF-8 text");
    refused(b"PK but no more", "no zip archive");
    refused(b"", "no zip archive");
    let mut cut = entry("larkmoor/a.txt", b"x");
    cut.truncate(cut.len() / 2);
    refused(&cut, "no zip archive");
    let mut empty = ZipWriter::new(Cursor::new(Vec::new()));
    empty.start_file("notes/a.txt", SimpleFileOptions::default()).unwrap();
    refused(&empty.finish().unwrap().into_inner(), "no site.toml");
}

#[test]
fn a_site_with_mistakes_is_refused_with_all_of_them() {
    let mut content = content("larkmoor");
    content.files.insert("site.toml".into(), b"[site]\nid = 3\n".to_vec());
    refused(&packed(&content, "larkmoor").unwrap(), "site.toml, line 2");
}

#[test]
fn a_flipped_bit_is_noticed() {
    let good = packed(&content("larkmoor"), "larkmoor").unwrap();
    let mut taken = 0;
    for i in (0..good.len()).step_by(97) {
        let mut bad = good.clone();
        bad[i] ^= 0x10;
        if let Ok(u) = unpack_bytes(&bad, none) {
            // A bit in a date or another field nobody reads: then every byte of the site is as it was.
            assert_eq!(u.content, content("larkmoor"));
            taken += 1;
        }
    }
    assert!(taken < good.len() / 97 / 2);
}
