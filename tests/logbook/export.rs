//! Exports, and outside readers (Python's `sqlite3` and `csv`).

use super::{World, add, at, attempt, with_recording};
use cableside::logbook::{ElementVerdict, Logbook, NewAttempt, Student, Timings, Verdict, Whose};
use serde_json::json;
use std::path::Path;
use std::process::Command;

fn for_export(world: &World) -> (Logbook, Vec<NewAttempt>) {
    let mut logbook = world.open();
    let mara = add(&mut logbook, "=HYPERLINK(\"x\")", Some(true)).id;
    let oezil = add(&mut logbook, "Öznur \"Özi\" Aksoy, jun.", None).id;
    let mut plain = with_recording(&logbook, mara, 0);
    plain.transcript = String::from("-2+3 winch, \"north\"\r\nline two");
    let mut typed = attempt(Some(oezil), 1);
    typed.model = None;
    typed.situation = json!({"callsign": "D-3862", "crew": 1, "wind": {"from": 240}, "note": "@home", "type": null});
    typed.elements.insert(
        0,
        ElementVerdict::new("address", Verdict::Wrong, Some("+tower".to_owned())),
    );
    typed.elements[1].margin = Some(-0.5);
    typed.score = None;
    let mut bare = attempt(None, 2);
    bare.elements.clear();
    bare.timings = Timings::default();
    bare.utc_offset_seconds = -12_600;
    let attempts = vec![plain, typed, bare];
    for a in &attempts {
        logbook.record(a, at(3)).unwrap();
    }
    (logbook, attempts)
}

#[test]
fn json_export_is_exact() {
    let world = World::new();
    let (logbook, attempts) = for_export(&world);
    let mut out = Vec::new();
    assert_eq!(logbook.export_json(Whose::Anyone, &mut out).unwrap(), 3);
    let json: serde_json::Value = serde_json::from_slice(&out).unwrap();
    assert_eq!(
        (&json["form"], &json["version"]),
        (&json!("cableside logbook"), &json!(2))
    );
    let read: Vec<cableside::logbook::StoredAttempt> = serde_json::from_value(json["attempts"].clone()).unwrap();
    assert_eq!(read.into_iter().map(|s| s.attempt).collect::<Vec<_>>(), attempts);
    let students: Vec<Student> = serde_json::from_value(json["students"].clone()).unwrap();
    assert_eq!(students, logbook.students().unwrap());

    let mut one = Vec::new();
    let oezil = attempts[1].student.unwrap();
    assert_eq!(logbook.export_json(Whose::Student(oezil), &mut one).unwrap(), 1);
    assert!(
        !String::from_utf8(one).unwrap().contains("HYPERLINK"),
        "nothing of anybody else"
    );
    let mut empty = Vec::new();
    let nobody = Logbook::in_memory(Path::new("none")).unwrap();
    nobody.export_json(Whose::Anyone, &mut empty).unwrap();
    assert_eq!(
        serde_json::from_slice::<serde_json::Value>(&empty).unwrap()["attempts"],
        json!([])
    );
}

#[test]
fn csv_export_has_one_row_an_attempt_and_no_formulas() {
    let world = World::new();
    let (logbook, attempts) = for_export(&world);
    let mut out = Vec::new();
    assert_eq!(logbook.export_csv(Whose::Anyone, &mut out).unwrap(), 3);
    let mut reader = csv::Reader::from_reader(&out[..]);
    let header = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().collect::<Result<_, _>>().unwrap();
    assert_eq!(rows.len(), 3);
    let cell = |row: usize, column: &str| {
        &rows[row][header
            .iter()
            .position(|h| h == column)
            .unwrap_or_else(|| panic!("no column {column}"))]
    };
    assert_eq!(cell(0, "attempt"), attempts[0].id.to_string());
    assert_eq!(cell(0, "student"), "'=HYPERLINK(\"x\")");
    assert_eq!(cell(0, "transcript"), "'-2+3 winch, \"north\"\r\nline two");
    assert_eq!(cell(0, "started at"), "2025-05-03T10:00:00+02:00");
    assert_eq!(cell(0, "callsign heard"), "G-CLRM");
    assert_eq!(cell(0, "callsign margin"), "4.25");
    assert_eq!(cell(0, "score"), "61.5");
    assert_eq!(cell(0, "address verdict"), "");
    assert_eq!(cell(1, "address heard"), "'+tower");
    assert_eq!(cell(1, "callsign margin"), "-0.5");
    assert_eq!(cell(1, "situation.note"), "'@home");
    assert_eq!(cell(1, "situation.crew"), "1");
    assert_eq!(cell(1, "situation.wind"), "{\"from\":240}");
    assert_eq!((cell(1, "model"), cell(1, "score")), ("", ""));
    assert_eq!(cell(2, "started at"), "2025-05-03T04:30:02-03:30");
    assert_eq!(cell(2, "judging ms"), "");
    for text in rows.iter().flatten() {
        assert!(!text.starts_with(['=', '+', '@']), "{text}");
        assert!(!text.starts_with('-') || text.parse::<f64>().is_ok(), "{text}");
    }
}

/// Python's `sqlite3` and `csv`, which are not made by us, read the same as we wrote.
#[test]
fn pythons_sqlite3_and_csv_read_the_same() {
    const SCRIPT: &str = r#"
import csv, json, sqlite3, sys
db = sqlite3.connect(sys.argv[1])
assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
assert db.execute("PRAGMA journal_mode").fetchone() == ("delete",)
export = json.load(open(sys.argv[3], encoding="utf-8"))
rows = list(csv.DictReader(open(sys.argv[2], encoding="utf-8", newline="")))
names = {s["id"]: s["name"] for s in export["students"]}
guard = lambda t: "'" + t if t.startswith(("=", "+", "-", "@", "\t", "\r", "\n")) else t
assert len(rows) == len(export["attempts"]) == 3
for row, a in zip(rows, export["attempts"]):
    transcript, evidence, millis = db.execute(
        "SELECT transcript, evidence, started_at FROM attempt WHERE id = ?", (a["id"],)).fetchone()
    assert row["attempt"] == a["id"]
    assert row["transcript"] == guard(a["transcript"]) == guard(transcript)
    assert row["student"] == guard(names.get(a["student"], ""))
    assert json.loads(evidence) == a["evidence"]
    from datetime import datetime
    assert datetime.fromisoformat(row["started at"]).timestamp() * 1000 == millis
    for e in a["elements"]:
        assert row[e["element"] + " verdict"] == e["verdict"]
        assert row[e["element"] + " heard"] == guard(e["heard"] or "")
        assert row[e["element"] + " margin"] == "" or float(row[e["element"] + " margin"]) == e["margin"]
    found = db.execute("""SELECT element, verdict, heard FROM element_verdict JOIN attempt ON number = attempt
        WHERE id = ? ORDER BY position""", (a["id"],)).fetchall()
    assert found == [(e["element"], e["verdict"], e["heard"]) for e in a["elements"]]
print("python agrees, sqlite", sqlite3.sqlite_version)
"#;
    let world = World::new();
    let (logbook, _) = for_export(&world);
    let (csv, json) = (world.dir.path().join("a.csv"), world.dir.path().join("a.json"));
    logbook
        .export_csv(Whose::Anyone, std::fs::File::create(&csv).unwrap())
        .unwrap();
    logbook
        .export_json(Whose::Anyone, std::fs::File::create(&json).unwrap())
        .unwrap();
    drop(logbook);
    let python = Command::new("python3")
        .args(["-c", SCRIPT])
        .arg(world.path())
        .arg(&csv)
        .arg(&json)
        .output();
    let output = match python {
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
            println!("not checked with another reader: python3 is not installed");
            return;
        }
        other => other.unwrap(),
    };
    let text = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && text.contains("python agrees"), "{text}");
    println!("{text}");
}
