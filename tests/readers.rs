//! Every reader of something from outside, given what was cut, repeated, overwritten and put together at random: none
//! panics, and what is accepted is what it says it is. The same cases each time; `CABLESIDE_ATTACK_SEED` and
//! `CABLESIDE_ATTACK_CASES` try others and more (`scripts/attack`). Cases that once failed stand in `past_failures`.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

use std::collections::BTreeMap;
use std::path::Path;

use cableside::class::{HandOut, Practice, Results, Secret, unpack};
use cableside::folders::archive::{pack, unpack_bytes};
use cableside::folders::content::Content;
use cableside::folders::read_site;
use cableside::hear::LatticeRecogniser;
use cableside::logbook::{Logbook, NewAttempt, NewStudent, Outcome, Part, Timings, Whose};
use cableside::site::{Files, Site};
use cableside::window::Settings;
use jiff::Timestamp;
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use uuid::Uuid;

/// What is done to good bytes. Places are shares of the length, so that they fit whatever was done before.
#[derive(Debug, Clone)]
enum Edit {
    /// One byte becomes another.
    Byte(f64, u8),
    /// Four bytes become a number, of those that programs fall over more often than others.
    Number(f64, u32),
    /// A stretch goes.
    Cut(f64, f64),
    /// A stretch comes again, so many times.
    Again(f64, f64, u8),
    /// A stretch goes to another place.
    Move(f64, f64, f64),
    /// The rest goes.
    End(f64),
    /// Words that mean something in one of the forms.
    Word(f64, usize),
}

const WORDS: [&str; 22] = [
    "[[aircraft]]\n",
    "[site]\n",
    "{",
    "}",
    "[",
    "]",
    "\"",
    "\"\"\"",
    "= ",
    "\n",
    "\u{202e}",
    "\u{0}",
    "../",
    "-1",
    "1e400",
    "NaN",
    "99999999999999999999",
    "null",
    "{callsign}",
    "\\u0000",
    "RIFF",
    "data",
];

fn edit() -> impl Strategy<Value = Edit> {
    let at = || 0.0..1.0_f64;
    let number = prop_oneof![
        Just(0),
        Just(1),
        Just(0x7fff_ffff),
        Just(0x8000_0000),
        Just(u32::MAX),
        Just(0x1000_0000),
        Just(65_535),
        any::<u32>()
    ];
    prop_oneof![
        4 => (at(), any::<u8>()).prop_map(|(a, b)| Edit::Byte(a, b)),
        3 => (at(), number).prop_map(|(a, n)| Edit::Number(a, n)),
        2 => (at(), 0.0..0.1_f64).prop_map(|(a, l)| Edit::Cut(a, l)),
        1 => (at(), 0.0..0.05_f64, 1..6_u8).prop_map(|(a, l, n)| Edit::Again(a, l, n)),
        1 => (at(), at(), 0.0..0.1_f64).prop_map(|(a, b, l)| Edit::Move(a, b, l)),
        1 => at().prop_map(Edit::End),
        3 => (at(), 0..WORDS.len()).prop_map(|(a, w)| Edit::Word(a, w)),
    ]
}

fn edits() -> impl Strategy<Value = Vec<Edit>> {
    proptest::collection::vec(edit(), 1..6)
}

fn changed(good: &[u8], edits: &[Edit]) -> Vec<u8> {
    let mut bytes = good.to_vec();
    for edit in edits {
        let place = |share: f64, len: usize| ((len as f64 * share) as usize).min(len);
        let len = bytes.len();
        match *edit {
            Edit::Byte(a, b) => {
                if let Some(byte) = bytes.get_mut(place(a, len)) {
                    *byte = b;
                }
            }
            Edit::Number(a, n) => {
                let at = place(a, len);
                if let Some(four) = bytes.get_mut(at..at + 4) {
                    four.copy_from_slice(&n.to_le_bytes());
                }
            }
            Edit::Cut(a, l) => {
                let at = place(a, len);
                bytes.drain(at..(at + place(l, len)).min(len));
            }
            Edit::Again(a, l, n) => {
                let at = place(a, len);
                let part = bytes[at..(at + place(l, len)).min(len)].to_vec();
                for _ in 0..n {
                    bytes.splice(at..at, part.iter().copied());
                }
            }
            Edit::Move(a, b, l) => {
                let at = place(a, len);
                let part: Vec<u8> = bytes.drain(at..(at + place(l, len)).min(len)).collect();
                let to = place(b, bytes.len());
                bytes.splice(to..to, part);
            }
            Edit::End(a) => bytes.truncate(place(a, len)),
            Edit::Word(a, w) => {
                let at = place(a, len);
                bytes.splice(at..at, WORDS[w].bytes());
            }
        }
    }
    bytes
}

fn from_environment(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).map_or(otherwise, |s| s.parse().expect("a number"))
}

/// So many cases, the same ones for the same seed.
fn try_each<S: Strategy>(cases: u32, strategy: &S, check: impl Fn(S::Value)) {
    let times = from_environment("CABLESIDE_ATTACK_CASES", 1) as u32;
    let seed = from_environment("CABLESIDE_ATTACK_SEED", 1);
    let mut bytes = [0; 32];
    bytes[..8].copy_from_slice(&seed.to_le_bytes());
    let config = Config {
        cases: cases * times,
        failure_persistence: None,
        ..Config::default()
    };
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &bytes);
    let run = TestRunner::new_with_rng(config, rng).run(strategy, |value| {
        check(value);
        Ok(())
    });
    if let Err(e) = run {
        panic!("{e}");
    }
}

fn larkmoor() -> Files {
    read_site(&Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases/larkmoor"))
}

/// In memory where there is such a folder: every write is synchronised.
fn folder() -> tempfile::TempDir {
    if Path::new("/dev/shm").is_dir() {
        tempfile::tempdir_in("/dev/shm").unwrap()
    } else {
        tempfile::tempdir().unwrap()
    }
}

#[test]
fn site_texts() {
    let good = larkmoor();
    let names: Vec<String> = good.texts.keys().cloned().collect();
    try_each(400, &(0..names.len(), edits()), |(which, edits)| {
        let mut files = good.clone();
        let text = changed(files.texts[&names[which]].as_bytes(), &edits);
        files
            .texts
            .insert(names[which].clone(), String::from_utf8_lossy(&text).into_owned());
        match Site::check(&files) {
            Ok(site) => {
                // What is accepted can be practised.
                let mut random = cableside::drill::deal::random(7);
                if let Some(situation) = cableside::drill::deal(&site, None, &mut random) {
                    for step in site.steps.iter().filter(|s| s.by.has_words()) {
                        assert!(!situation.taught_call(&site, step).trim().is_empty(), "{}", step.id);
                    }
                }
            }
            Err(problems) => {
                assert!(!problems.list.is_empty());
                assert!(problems.list.iter().all(|p| !p.wrong.is_empty() && !p.right.is_empty()));
            }
        }
    });
}

#[test]
fn archives() {
    let dir = folder();
    let file = dir.path().join("larkmoor.zip");
    pack(&Content::of_texts(&larkmoor().texts), "larkmoor", &file).unwrap();
    let good = std::fs::read(&file).unwrap();
    assert!(unpack_bytes(&good, cableside::voice::prompt::unplayable_among).is_ok());
    try_each(1500, &edits(), |edits| {
        if let Ok(unpacked) = unpack_bytes(&changed(&good, &edits), cableside::voice::prompt::unplayable_among) {
            for name in unpacked.content.files.keys() {
                assert!(
                    !name.starts_with('/') && !name.split('/').any(|part| part == ".."),
                    "{name}"
                );
            }
            assert!(Site::check(&unpacked.content.as_files("again")).is_ok());
        }
    });
}

fn practice() -> Practice {
    let texts = larkmoor().texts;
    let site = Site::check(&larkmoor()).unwrap();
    let steps = ["ready".to_owned(), "speed".to_owned()];
    let calls = Practice::deal(&site, &steps, 6, &mut cableside::drill::deal::random(3)).unwrap();
    Practice {
        id: Uuid::from_u128(1),
        class: "Beginners".to_owned(),
        student: Uuid::from_u128(2),
        name: "Mara Lind".to_owned(),
        site: site.id,
        site_version: site.version,
        date: "2026-11-25".parse().unwrap(),
        seed: 3,
        steps: steps.to_vec(),
        calls,
        phrases: texts,
    }
}

fn secret() -> Secret {
    Secret::new([7; 32])
}

#[test]
fn practice_files() {
    let good = HandOut::new(practice(), &secret());
    let bytes = good.bytes();
    assert_eq!(HandOut::parse(&bytes).unwrap(), good);
    try_each(1500, &edits(), |edits| {
        if let Ok(read) = HandOut::parse(&changed(&bytes, &edits)) {
            assert_eq!(read.practice, good.practice, "something else was accepted");
            assert!(read.practice.site_inside().unwrap().is_some());
        }
    });
}

#[test]
fn results_files() {
    let practice = practice();
    let attempts: Vec<NewAttempt> = (0..practice.calls.len()).map(|i| attempt_of(&practice, i)).collect();
    let good = Results {
        sealed_at: "2026-11-26T08:00:00Z".parse().unwrap(),
        program: "0.1.0".to_owned(),
        recordings: BTreeMap::from([(attempts[0].id, [b"RIFF\0\0\0\0WAVE".as_slice(), &[9; 80]].concat())]),
        attempts,
        practice,
    };
    let bytes = good.seal(&secret().key(&good.practice.digest())).unwrap();
    assert_eq!(unpack(&bytes, &secret()).unwrap(), good);
    try_each(1500, &edits(), |edits| {
        let bad = changed(&bytes, &edits);
        match unpack(&bad, &secret()) {
            Ok(read) => assert!(bad == bytes && read == good, "something else was accepted"),
            Err(e) => assert!(!e.to_string().is_empty()),
        }
    });
}

fn attempt_of(practice: &Practice, call: usize) -> NewAttempt {
    let dealt = &practice.calls[call];
    NewAttempt {
        id: Uuid::from_u128(100 + call as u128),
        student: Some(practice.student),
        started_at: "2026-11-25T10:00:00Z".parse().unwrap(),
        utc_offset_seconds: 0,
        site: practice.site.clone(),
        site_version: practice.site_version.clone(),
        step: dealt.step.clone(),
        part: Part::default(),
        situation: serde_json::to_value(&dealt.situation).unwrap(),
        turn: practice.turn(call),
        turn_attempt: 1,
        model: None,
        program_version: "0.1.0".to_owned(),
        outcome: Outcome::NotYet,
        score: Some(61.5),
        timings: Timings::default(),
        transcript: "winch".to_owned(),
        evidence: serde_json::json!({}),
        recording: None,
        held_out: false,
        elements: Vec::new(),
    }
}

#[test]
fn settings() {
    let dir = folder();
    let file = dir.path().join("settings.toml");
    let settings = Settings {
        site: Some("larkmoor".to_owned()),
        window: Some([900.0, 600.0]),
        step: Some("ready".to_owned()),
        scale: 1.2,
        ..Settings::default()
    };
    let good = toml::to_string(&settings).unwrap();
    try_each(400, &edits(), |edits| {
        std::fs::write(&file, changed(good.as_bytes(), &edits)).unwrap();
        match Settings::read(&file) {
            Ok(read) => {
                assert!(read.scale.is_finite() && read.scale > 0.1 && read.scale < 10.0);
                assert!(read.window.is_none_or(|w| w.iter().all(|v| v.is_finite())));
            }
            Err(why) => assert!(!why.text.is_empty()),
        }
    });
}

/// A logbook with a student and some attempts.
fn book(dir: &Path, name: &str) -> (std::path::PathBuf, Uuid) {
    let file = dir.join("logbook.sqlite");
    let now: Timestamp = "2026-11-25T10:00:00Z".parse().unwrap();
    let mut logbook = Logbook::open(&file, &dir.join("recordings")).unwrap();
    let new = NewStudent {
        name: name.to_owned(),
        ..NewStudent::default()
    };
    let student = logbook.add_student(&new, now).unwrap().id;
    let practice = practice();
    for i in 0..practice.calls.len() {
        let attempt = NewAttempt {
            id: Uuid::new_v4(),
            student: Some(student),
            ..attempt_of(&practice, i)
        };
        logbook.record(&attempt, now).unwrap();
    }
    (file, student)
}

#[test]
fn logbooks_to_merge() {
    let (mine, theirs) = (folder(), folder());
    let (my_file, me) = book(mine.path(), "Mara Lind");
    let (their_file, _) = book(theirs.path(), "Jo Reed");
    let (my_bytes, good) = (std::fs::read(&my_file).unwrap(), std::fs::read(&their_file).unwrap());
    try_each(120, &edits(), |edits| {
        std::fs::write(&my_file, &my_bytes).unwrap();
        std::fs::write(&their_file, changed(&good, &edits)).unwrap();
        let mut logbook = Logbook::open(&my_file, &mine.path().join("recordings")).unwrap();
        // Whether it is taken or not: what was here is here, and everything can be read.
        if let Err(e) = logbook.merge(&their_file, &theirs.path().join("recordings")) {
            assert!(!e.to_string().is_empty());
        }
        logbook.check_integrity().unwrap();
        assert_eq!(logbook.count_attempts(Whose::Student(me)).unwrap(), 6);
        assert_eq!(logbook.bad_rows().unwrap(), []);
        let all = logbook.attempts(Whose::Anyone, 0, 1000).unwrap();
        assert_eq!(logbook.export_csv(Whose::Anyone, std::io::sink()).unwrap(), all.len());
        assert_eq!(logbook.export_json(Whose::Anyone, std::io::sink()).unwrap(), all.len());
    });
}

/// The head of a speech model with no tables behind it.
fn model_head() -> Vec<u8> {
    let mut bytes = 0x6767_6d6c_u32.to_le_bytes().to_vec();
    for number in [51_865_u32, 1500, 512, 8, 6, 448, 512, 8, 6, 80, 1, 80, 201] {
        bytes.extend(number.to_le_bytes());
    }
    bytes.resize(bytes.len() + 80 * 201 * 4, 0);
    bytes.extend(50_257_u32.to_le_bytes());
    bytes
}

fn refused_as_a_model(file: &Path, bytes: &[u8]) {
    std::fs::write(file, bytes).unwrap();
    let name = file.to_str().unwrap();
    if let Ok(found) = cableside::model::resolve(&[], Some(name), true) {
        let why = LatticeRecogniser::load(&found.path, 1)
            .map(drop)
            .unwrap_err()
            .to_string();
        assert!(!why.is_empty());
    }
}

#[test]
fn model_heads() {
    let dir = folder();
    let file = dir.path().join("own.bin");
    let good = model_head();
    // Most of it in the numbers.
    let numbers = proptest::collection::vec(
        (0..13_usize, prop_oneof![Just(0), Just(1), Just(u32::MAX), any::<u32>()]),
        0..3,
    );
    try_each(150, &(numbers, edits()), |(numbers, edits)| {
        let mut bytes = good.clone();
        for (which, number) in numbers {
            bytes[4 + 4 * which..8 + 4 * which].copy_from_slice(&number.to_le_bytes());
        }
        refused_as_a_model(&file, &bytes);
        refused_as_a_model(&file, &changed(&bytes, &edits));
    });
}

fn wav(format: u16, bits: u16, rate: u32, data: &[u8]) -> Vec<u8> {
    let block = bits / 8;
    let mut bytes = b"RIFF".to_vec();
    bytes.extend((36 + data.len() as u32).to_le_bytes());
    bytes.extend(b"WAVEfmt \x10\0\0\0");
    bytes.extend(format.to_le_bytes());
    bytes.extend(1_u16.to_le_bytes());
    bytes.extend(rate.to_le_bytes());
    bytes.extend((rate * u32::from(block)).to_le_bytes());
    bytes.extend(block.to_le_bytes());
    bytes.extend(bits.to_le_bytes());
    bytes.extend(b"data");
    bytes.extend((data.len() as u32).to_le_bytes());
    bytes.extend(data);
    bytes
}

fn read_or_refused(bytes: &[u8]) {
    if let Ok(clip) = cableside::sound::read_clip_bytes(bytes, "clip.wav") {
        assert!(clip.samples.iter().all(|s| s.is_finite() && s.abs() < 1e6));
        assert!(clip.samples.len() < 100_000_000);
    }
}

#[test]
fn sound_files() {
    let tone = |n: i32| ((f64::from(n) * 0.2).sin() * 9000.0) as i16;
    let ints: Vec<u8> = (0..4000).flat_map(|n| tone(n).to_le_bytes()).collect();
    let floats: Vec<u8> = (0..4000)
        .flat_map(|n| (f32::from(tone(n)) / 32768.0).to_le_bytes())
        .collect();
    let flac = std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures/clips/demo_missing_crew.flac"))
        .unwrap();
    let good = [
        wav(1, 16, 16_000, &ints),
        wav(1, 16, 44_100, &ints),
        wav(3, 32, 48_000, &floats),
        flac,
    ];
    // Heads are short, and where most is decided.
    let head = proptest::collection::vec((0..60_usize, any::<u8>()), 0..4);
    try_each(250, &(0..good.len(), head, edits()), |(which, head, edits)| {
        let mut bytes = good[which].clone();
        for (at, byte) in head {
            bytes[at] = byte;
        }
        read_or_refused(&bytes);
        read_or_refused(&changed(&bytes, &edits));
    });
}

/// What once hung, panicked or ended the program.
#[test]
fn past_failures() {
    // Samples that the resampler's sums cannot hold.
    for rate in [8000, 44_100, 48_000] {
        let huge: Vec<u8> = (0..4000)
            .flat_map(|n| if n % 2 == 0 { 1e37_f32 } else { -1e37 }.to_le_bytes())
            .collect();
        read_or_refused(&wav(3, 32, rate, &huge));
    }
    // A file that is a single line of mistakes, and one with a mistake in each line.
    let begun = std::time::Instant::now();
    for (file, mistakes) in [
        ("fleet.toml", "=".repeat(900_000)),
        ("fleet.toml", "\n[[aircraft]]".repeat(60_000)),
        ("steps.toml", "\n[[step]]\nid = \"ready\"".repeat(40_000)),
        ("site.toml", "\"\n".repeat(400_000)),
        ("words.toml", "a.b.c=1\n".repeat(100_000)),
    ] {
        let mut files = larkmoor();
        files.texts.get_mut(file).unwrap().push_str(&mistakes);
        let problems = Site::check(&files).unwrap_err().list;
        assert!(problems.len() <= 1100, "{}", problems.len());
    }
    // With the square of their number these took minutes each.
    assert!(begun.elapsed().as_secs() < 60, "{:?}", begun.elapsed());
    // Layers for which no computer has room.
    let dir = folder();
    for which in 0..11 {
        let mut bytes = model_head();
        bytes[4 + 4 * which..8 + 4 * which].copy_from_slice(&(1_u32 << 28).to_le_bytes());
        refused_as_a_model(&dir.path().join("own.bin"), &bytes);
    }
}

/// Sealed with the right key, but one attempt is none that the logbook takes: those before it stay, and that is what is said.
#[test]
fn results_that_stop_in_the_middle_say_what_was_taken() {
    let dir = folder();
    let mut book = Logbook::open(&dir.path().join("logbook.sqlite"), &dir.path().join("recordings")).unwrap();
    let now: Timestamp = "2026-11-25T10:00:00Z".parse().unwrap();
    let new = NewStudent {
        name: "Mara Lind".to_owned(),
        ..NewStudent::default()
    };
    let student = book.add_student(&new, now).unwrap().id;
    let practice = Practice { student, ..practice() };
    let mut attempts: Vec<NewAttempt> = (0..3).map(|i| attempt_of(&practice, i)).collect();
    attempts[1].score = Some(1000.0);
    let results = Results {
        sealed_at: now,
        program: "0.1.0".to_owned(),
        recordings: BTreeMap::new(),
        attempts,
        practice,
    };
    let why = cableside::worker::home::take(&mut book, &results, now)
        .unwrap_err()
        .to_string();
    assert!(why.starts_with("only 1 of 3 attempts, which stay; then:"), "{why}");
    assert!(why.contains("the score 1000 is not between 0 and 100"), "{why}");
    assert_eq!(book.count_attempts(Whose::Anyone).unwrap(), 1);
}
