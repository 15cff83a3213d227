//! Practice out, results back: what is changed is noticed.

use super::*;
use crate::logbook::{ElementVerdict, NewAttempt, Outcome, Timings, Verdict};
use crate::site::Site;
use jiff::civil::date;
use std::collections::BTreeMap;
use std::io::{Cursor, Read, Write};
use uuid::Uuid;
use zip::write::SimpleFileOptions;

fn site() -> Site {
    Site::check(&crate::site::bundled::files("larkmoor").unwrap()).unwrap()
}

fn secret() -> Secret {
    Secret::new([7; 32])
}

fn practice(count: usize) -> Practice {
    let site = site();
    let steps = ["ready".to_owned(), "slack".to_owned(), "speed".to_owned()];
    let calls = Practice::deal(&site, &steps, count, &mut crate::command::common::random(3)).unwrap();
    Practice {
        id: Uuid::from_u128(1),
        class: "Beginners".to_owned(),
        student: Uuid::from_u128(2),
        name: "Jörg Weiß".to_owned(),
        site: site.id,
        site_version: site.version,
        date: date(2026, 11, 25),
        seed: 3,
        steps: steps.to_vec(),
        calls,
        phrases: crate::site::bundled::files("larkmoor").unwrap().texts,
    }
}

fn wav() -> Vec<u8> {
    let mut wav = b"RIFF\x00\x00\x00\x00WAVE".to_vec();
    wav.extend([9; 60]);
    wav
}

fn results(calls: usize) -> Results {
    let practice = practice(calls);
    let attempts: Vec<NewAttempt> = practice
        .calls
        .iter()
        .enumerate()
        .map(|(i, call)| NewAttempt {
            id: Uuid::from_u128(100 + i as u128),
            student: Some(practice.student),
            started_at: "2026-11-25T10:00:00Z".parse().unwrap(),
            utc_offset_seconds: 0,
            site: practice.site.clone(),
            site_version: practice.site_version.clone(),
            step: call.step.clone(),
            part: crate::logbook::Part::default(),
            situation: {
                // As the worker stores it: with the level it was practised at.
                let mut dealt = serde_json::to_value(&call.situation).unwrap();
                dealt["level"] = "written".into();
                dealt
            },
            turn: practice.turn(i),
            turn_attempt: 1,
            model: None,
            program_version: "0.1.0".to_owned(),
            outcome: Outcome::NotYet,
            score: None,
            timings: Timings::default(),
            transcript: "winch".to_owned(),
            evidence: serde_json::Value::Null,
            recording: None,
            held_out: false,
            elements: vec![ElementVerdict::new(
                "callsign",
                Verdict::Wrong,
                Some("G-CLMR".to_owned()),
            )],
        })
        .collect();
    Results {
        recordings: BTreeMap::from([(attempts[0].id, wav())]),
        practice,
        sealed_at: "2026-11-25T11:00:00Z".parse().unwrap(),
        program: "0.1.0".to_owned(),
        attempts,
    }
}

fn sealed(results: &Results) -> Vec<u8> {
    let key = HandOut::new(results.practice.clone(), &secret()).key;
    results.seal(&key).unwrap()
}

#[test]
fn practice_is_dealt_the_same_from_the_same_seed_and_never_twice_in_a_row() {
    let practice = practice(60);
    assert_eq!(practice, self::practice(60));
    for pair in practice.calls.windows(2) {
        assert_ne!(pair[0].situation, pair[1].situation);
    }
    for step in ["ready", "slack", "speed"] {
        assert_eq!(practice.calls.iter().filter(|c| c.step == step).count(), 20);
    }
    assert!(practice.check(&site()).is_ok());
    let mut other = site();
    other.version = "1.1".to_owned();
    let why = practice.check(&other).unwrap_err().to_string();
    assert!(why.contains("1.0") && why.contains("1.1"), "{why}");
    let none = Practice::deal(&site(), &["release".to_owned()], 3, &mut || 0).unwrap_err();
    assert!(none.to_string().contains("no call \"release\""), "{none}");
    assert!(Practice::deal(&site(), &["ready".to_owned()], 501, &mut || 0).is_err());
}

#[test]
fn a_practice_file_comes_back_as_it_was_and_a_changed_one_does_not() {
    let out = HandOut::new(practice(4), &secret());
    let bytes = out.bytes();
    assert_eq!(HandOut::parse(&bytes).unwrap(), out);
    let text = String::from_utf8(bytes.clone()).unwrap();
    for (a, b) in [
        ("Jörg", "Jorg"),
        ("\"seed\": 3", "\"seed\": 4"),
        ("\"ready\"", "\"slack\""),
        ("\"crew\": 1", "\"crew\": 2"),
    ] {
        let other = text.replacen(a, b, 1);
        assert_ne!(other, text, "{a}");
        assert!(
            matches!(HandOut::parse(other.as_bytes()), Err(PracticeError::Changed)),
            "{a}"
        );
    }
    // Every byte: either the practice is the same (only blanks differ), or it is refused.
    for at in 0..bytes.len() {
        let mut other = bytes.clone();
        other[at] ^= 1;
        if let Ok(read) = HandOut::parse(&other) {
            assert_eq!(read, out, "byte {at}");
        }
    }
}

#[test]
fn results_come_back_as_they_were() {
    let results = results(5);
    assert_eq!(unpack(&sealed(&results), &secret()).unwrap(), results);
    assert_eq!(sealed(&results), sealed(&results), "no time of day gets into the file");
}

/// The tamper evidence itself: every single bit of a file, and every cut.
#[test]
fn any_flipped_bit_and_any_cut_is_noticed() {
    let file = sealed(&results(2));
    for at in 0..file.len() {
        for bit in 0..8 {
            let mut other = file.clone();
            other[at] ^= 1 << bit;
            assert!(unpack(&other, &secret()).is_err(), "bit {bit} of byte {at}");
        }
    }
    for length in 0..file.len() {
        assert!(unpack(&file[..length], &secret()).is_err(), "cut to {length}");
    }
    let mut longer = file.clone();
    longer.push(b' ');
    assert!(matches!(unpack(&longer, &secret()), Err(ResultsError::NotResults(_))));
    let mut before = vec![0];
    before.extend(&file);
    assert!(unpack(&before, &secret()).is_err());
}

/// The file taken apart and put together again with other contents, the comment kept.
fn rebuilt(file: &[u8], change: impl Fn(&str, Vec<u8>) -> Option<Vec<u8>>, add: &[(&str, &[u8])]) -> Vec<u8> {
    let mut from = zip::ZipArchive::new(Cursor::new(file)).unwrap();
    let mut to = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let comment = from.comment().to_vec();
    for i in 0..from.len() {
        let mut entry = from.by_index(i).unwrap();
        let name = entry.name().unwrap().into_owned();
        let mut bytes = Vec::new();
        entry.read_to_end(&mut bytes).unwrap();
        if let Some(bytes) = change(&name, bytes) {
            to.start_file(name, SimpleFileOptions::default()).unwrap();
            to.write_all(&bytes).unwrap();
        }
    }
    for (name, bytes) in add {
        to.start_file(*name, SimpleFileOptions::default()).unwrap();
        to.write_all(bytes).unwrap();
    }
    to.set_raw_comment(comment.into()).unwrap();
    to.finish().unwrap().into_inner()
}

#[test]
fn the_message_names_what_was_changed() {
    let file = sealed(&results(3));
    let better = |name: &str, bytes: Vec<u8>| {
        Some(if name == "attempts/0002.json" {
            String::from_utf8(bytes).unwrap().replace("wrong", "said").into_bytes()
        } else {
            bytes
        })
    };
    let gone = |what: &'static str| move |name: &str, bytes: Vec<u8>| (name != what).then_some(bytes);
    let same = |_: &str, bytes: Vec<u8>| Some(bytes);
    let cases: [(Vec<u8>, &str); 6] = [
        (rebuilt(&file, better, &[]), "attempt 2"),
        (rebuilt(&file, gone("attempts/0003.json"), &[]), "attempt 3 is missing"),
        (
            rebuilt(&file, gone("recordings/0001.wav"), &[]),
            "the recording of attempt 1 is missing",
        ),
        (
            rebuilt(&file, same, &[("attempts/0004.json", b"{}")]),
            "attempt 4 was added",
        ),
        (rebuilt(&file, same, &[]), "the archive around the contents"),
        (
            rebuilt(
                &file,
                |n, b| {
                    Some(if n == "recordings/0001.wav" {
                        wav()[..50].to_vec()
                    } else {
                        b
                    })
                },
                &[],
            ),
            "the recording of attempt 1",
        ),
    ];
    for (other, what) in cases {
        match unpack(&other, &secret()) {
            Err(ResultsError::Changed(told)) => assert_eq!(told, [what]),
            other => panic!("{what}: {other:?}"),
        }
    }
    let practice = rebuilt(
        &file,
        |n, b| {
            Some(if n == "practice.json" {
                String::from_utf8(b).unwrap().replace("Weiß", "Weiss").into_bytes()
            } else {
                b
            })
        },
        &[],
    );
    let Err(ResultsError::Changed(told)) = unpack(&practice, &secret()) else {
        panic!()
    };
    assert_eq!(told, ["the practice"]);
    assert_eq!(unpack(&file, &Secret::new([8; 32])), Err(ResultsError::NotOurs));
}

/// Sealed with the right key, but by no program of ours.
#[test]
fn hostile_archives_are_refused() {
    let key = HandOut::new(practice(2), &secret()).key;
    let reseal = |mut file: Vec<u8>| {
        let end = file.len() - 64;
        let code = key.code(&[&file[..end]]);
        file.truncate(end);
        file.extend(code.iter().flat_map(|b| format!("{b:02x}").into_bytes()));
        file
    };
    let file = sealed(&results(2));
    let same = |_: &str, bytes: Vec<u8>| Some(bytes);
    for name in [
        "../../evil.wav",
        "/etc/passwd",
        "recordings/../../x.wav",
        "attempts/00001.json",
        "C:\\x",
        "notes.txt",
    ] {
        let other = reseal(rebuilt(&file, same, &[(name, b"x")]));
        let refused = unpack(&other, &secret());
        assert!(matches!(&refused, Err(ResultsError::Refused(_))), "{name}: {refused:?}");
    }
    // Five megabytes of nothing, packed small.
    let bomb = vec![b' '; 5_000_000];
    let other = reseal(rebuilt(&file, same, &[("attempts/0009.json", &bomb)]));
    assert!(other.len() < 100_000);
    let Err(ResultsError::Refused(why)) = unpack(&other, &secret()) else {
        panic!()
    };
    assert!(why.contains("attempt 9 is larger"), "{why}");
    assert!(unpack(b"", &secret()).is_err());
    assert!(unpack(&bomb, &secret()).is_err());
}

/// A student with the key can seal what they like; what cannot belong to the practice is refused all the same.
#[test]
fn what_is_of_another_call_or_student_is_refused() {
    let refused = |change: &dyn Fn(&mut Results)| {
        let mut results = results(2);
        change(&mut results);
        match unpack(&sealed(&results), &secret()) {
            Err(ResultsError::Refused(why)) => why,
            other => panic!("{other:?}"),
        }
    };
    for (why, change) in [
        (
            "no call of the practice",
            &(|r: &mut Results| r.attempts[0].turn = Uuid::nil()) as &dyn Fn(&mut Results),
        ),
        ("another call", &|r| r.attempts[1].step = "stop".to_owned()),
        ("another site", &|r| r.attempts[1].site = "erlengrund".to_owned()),
        ("twice", &|r| r.attempts[1].id = r.attempts[0].id),
        ("no sound file", &|r| {
            r.recordings.insert(r.attempts[1].id, vec![0; 100]);
        }),
        ("instructor", &|r| {
            r.attempts[0].elements[0].overrule = Some(crate::logbook::Overrule {
                verdict: Verdict::Said,
                by: None,
                at: jiff::Timestamp::UNIX_EPOCH,
                reason: None,
            });
        }),
    ] {
        let told = refused(change);
        assert!(told.contains(why), "{why}: {told}");
    }
}

#[test]
fn the_board_puts_the_weakest_first_after_a_handful_of_calls() {
    use crate::logbook::{Practised, PractisedElement};
    use crate::report::{Group, Scope};
    let site = site();
    let names = std::collections::HashMap::new();
    let scope = Scope {
        site: &site,
        date: date(2026, 11, 25),
        from: None,
        until: None,
        names: &names,
    };
    let call = |student: u128, n: i64, crew: Verdict, cable: Verdict| Practised {
        student: Some(Uuid::from_u128(student)),
        started_at: jiff::Timestamp::from_second(1_795_600_000 + n).unwrap(),
        utc_offset_seconds: 0,
        site: site.id.clone(),
        site_version: site.version.clone(),
        step: "ready".to_owned(),
        situation: serde_json::json!({"callsign": "G-CLRM", "crew": 2, "cable": "north"}),
        turn_attempt: 1,
        outcome: if [crew, cable] == [Verdict::Said; 2] {
            Outcome::Pass
        } else {
            Outcome::NotYet
        },
        held_out: false,
        typed: true,
        elements: [("crew", crew), ("cable", cable)]
            .map(|(element, verdict)| PractisedElement {
                element: element.to_owned(),
                verdict,
                heard: None,
                overrule: None,
            })
            .to_vec(),
    };
    let mut rows = Vec::new();
    for n in 0..5 {
        let missed = |yes: bool| if yes { Verdict::Missing } else { Verdict::Said };
        rows.push(call(1, n, Verdict::Said, Verdict::Said));
        rows.push(call(2, n, missed(n < 3), missed(n == 0)));
        rows.push(call(3, n, Verdict::Said, missed(n < 4)));
    }
    let members: Vec<(Uuid, String)> = [(1, "Ann"), (2, "Ben"), (3, "Cem"), (4, "Dora")]
        .map(|(id, name)| (Uuid::from_u128(id), name.to_owned()))
        .to_vec();
    let group = Group::new(&scope, "", &members, &rows);
    let board = Board::new(&group, &group);
    let label = |element: &str| site.elements[element].label.clone();
    let shown: Vec<(&str, String)> = board.rows.iter().map(|r| (r.name.as_str(), r.most_missed())).collect();
    assert_eq!(
        shown,
        [
            ("Cem", format!("{} 4/5", label("cable"))),
            ("Ben", format!("{} 3/5, {} 1/5", label("crew"), label("cable"))),
            ("Ann", "-".to_owned()),
            ("Dora", "-".to_owned()),
        ]
    );
    // The strict word is not said of 3 in 5; the report names who missed it all the same.
    assert!(group.needs.iter().all(|n| n.students.iter().all(|s| s == "Cem")));
    let crew = group.needs.iter().find(|n| n.element == "crew").unwrap();
    assert_eq!(
        (crew.missed[0].student.as_str(), crew.missed[0].times, crew.missed[0].of),
        ("Ben", 3, 5)
    );
    let cable = group.needs.iter().find(|n| n.element == "cable").unwrap();
    let names: Vec<&str> = cable.missed.iter().map(|m| m.student.as_str()).collect();
    assert_eq!(names, ["Cem", "Ben"]);
    let text = board.text(crate::site::Language::ENGLISH);
    let place = |name: &str| text.find(name).unwrap();
    assert!(place("Cem") < place("Ben") && text.contains("3/5"), "{text}");
}
