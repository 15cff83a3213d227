//! `DATA.md` and what the program writes for other programs: the same fields, the same columns.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

struct Home(tempfile::TempDir);

impl Home {
    fn ok(&self, args: &[&str], typed: &str) -> String {
        use std::io::Write;
        let mut child = Command::new(env!("CARGO_BIN_EXE_cableside"))
            .args(args)
            .env("CABLESIDE_HOME", self.0.path())
            .current_dir(root())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        // The program may end before it has read everything.
        let _ = child.stdin.take().unwrap().write_all(typed.as_bytes());
        let out = child.wait_with_output().unwrap();
        let (told, why) = (
            String::from_utf8(out.stdout).unwrap(),
            String::from_utf8_lossy(&out.stderr),
        );
        assert!(out.status.success(), "{args:?}: {told}{why}");
        told
    }

    fn json(&self, args: &[&str]) -> Value {
        serde_json::from_str(&self.ok(args, "")).unwrap()
    }

    fn path(&self, name: &str) -> String {
        self.0.path().join(name).to_str().unwrap().to_owned()
    }
}

/// A home with a student who typed some calls and flew a launch, and an instructor who judged one.
fn practised() -> (Home, String, String) {
    let home = Home(tempfile::tempdir().unwrap());
    home.ok(&["logbook", "student", "add", "Mara Lind", "--consent", "yes"], "");
    home.ok(&["logbook", "student", "add", "Ines Tutor", "--consent", "no"], "");
    home.ok(&["logbook", "student", "role", "Ines Tutor", "instructor"], "");
    let calls = "winch, golf charlie lima romeo mike, two up, north winch cable, ready\n".repeat(12);
    home.ok(
        &[
            "drill",
            "--site",
            "larkmoor",
            "--typed",
            "--turns",
            "3",
            "--student",
            "Mara Lind",
        ],
        &calls,
    );
    home.ok(
        &[
            "launch",
            "--site",
            "larkmoor",
            "--typed",
            "--seed",
            "2",
            "--student",
            "Mara Lind",
        ],
        &"stop\n".repeat(6),
    );
    home.ok(&["class", "new", "Red"], "");
    home.ok(&["class", "join", "Red", "Mara Lind"], "");
    let book = home.json(&["logbook", "export", "--format", "json"]);
    let attempt = book["attempts"][0]["id"].as_str().unwrap().to_owned();
    let run = book["runs"][0]["run"]["id"].as_str().or(book["runs"][0]["id"].as_str());
    let run = run.expect("a run").to_owned();
    home.ok(
        &[
            "logbook",
            "overrule",
            &attempt,
            "crew",
            "said",
            "--by",
            "Ines Tutor",
            "--reason",
            "heard it",
        ],
        "",
    );
    (home, attempt, run)
}

/// The tables of the document: form and version, then field by field whether it is always there.
fn documented() -> BTreeMap<(String, u64), BTreeMap<String, bool>> {
    let text = std::fs::read_to_string(root().join("DATA.md")).unwrap();
    let mut all = BTreeMap::new();
    let mut form = None;
    for line in text.lines() {
        if let Some(head) = line.strip_prefix("## ") {
            form = head
                .split_once(", version ")
                .map(|(name, version)| (name.to_owned(), version.parse().unwrap()));
        } else if let Some(rest) = line.strip_prefix("| `")
            && let Some(form) = &form
        {
            let (field, rest) = rest.split_once('`').unwrap();
            let always = !rest.trim_start().starts_with('?');
            let fields: &mut BTreeMap<String, bool> = all.entry(form.clone()).or_default();
            assert!(
                fields.insert(field.to_owned(), always).is_none(),
                "{field} stands twice"
            );
        }
    }
    all
}

/// Every path to a value that is no object and no list.
fn paths(value: &Value, at: &str, found: &mut BTreeSet<String>) {
    match value {
        Value::Object(fields) => {
            for (name, value) in fields {
                let at = if at.is_empty() {
                    name.clone()
                } else {
                    format!("{at}.{name}")
                };
                paths(value, &at, found);
            }
        }
        Value::Array(items) => {
            for item in items {
                paths(item, &format!("{at}[]"), found);
            }
        }
        _ => drop(found.insert(at.to_owned())),
    }
}

fn covers(field: &str, path: &str) -> bool {
    match field.strip_suffix(".*") {
        Some(begin) => path
            .strip_prefix(begin)
            .is_some_and(|rest| rest.starts_with('.') || rest.starts_with("[]")),
        None => field == path,
    }
}

fn agrees(value: &Value) {
    let form = value["form"]
        .as_str()
        .unwrap_or_else(|| panic!("no form: {value}"))
        .to_owned();
    let version = value["version"].as_u64().unwrap();
    let all = documented();
    let fields = all
        .get(&(form.clone(), version))
        .unwrap_or_else(|| panic!("{form} {version} is not described"));
    let mut found = BTreeSet::new();
    paths(value, "", &mut found);
    let unknown: Vec<&String> = found.iter().filter(|p| !fields.keys().any(|f| covers(f, p))).collect();
    assert!(unknown.is_empty(), "{form}: not described: {unknown:#?}");
    let missing: Vec<&String> = fields
        .iter()
        .filter(|(field, always)| **always && !found.iter().any(|p| covers(field, p)))
        .map(|(field, _)| field)
        .collect();
    assert!(missing.is_empty(), "{form}: described and not there: {missing:#?}");
}

#[test]
fn what_the_logbook_gives_out_is_as_described() {
    let (home, attempt, run) = practised();
    agrees(&home.json(&["logbook", "export", "--format", "json"]));
    agrees(&home.json(&["logbook", "export", "--format", "json", "--student", "Mara Lind"]));
    agrees(&home.json(&["logbook", "show", &attempt, "--json"]));
    agrees(&home.json(&["logbook", "show", &run, "--json"]));
    for whose in [&["--student", "Mara Lind"][..], &["--everybody"], &["--class", "Red"]] {
        agrees(&home.json(&[&["report", "--site", "larkmoor", "--format", "json"][..], whose].concat()));
    }
}

#[test]
fn columns_are_as_described() {
    let (home, ..) = practised();
    let text = std::fs::read_to_string(root().join("DATA.md")).unwrap();
    let text = &text[text.find("## CSV").unwrap()..];
    // From "these columns" to the full stop: names between backticks.
    let described = |form: &str| -> Vec<String> {
        let at = text
            .find(&format!("--format {form}`"))
            .unwrap_or_else(|| panic!("{form} is not described"));
        let list = &text[at..];
        let list = &list[list.find("hese columns").unwrap()..];
        let list = &list[..list.find('.').unwrap()];
        list.split('`').skip(1).step_by(2).map(str::to_owned).collect()
    };
    let head = |csv: &str| -> Vec<String> {
        let first = csv.lines().next().unwrap();
        first.split(',').map(|c| c.trim_matches('"').to_owned()).collect()
    };
    let attempts = head(&home.ok(&["logbook", "export", "--format", "csv"], ""));
    let always = described("csv");
    assert_eq!(attempts[..always.len()], always);
    for more in &attempts[always.len()..] {
        let ends = [" verdict", " heard", " margin", " overruled"];
        assert!(
            more.starts_with("situation.") || ends.iter().any(|e| more.ends_with(e)),
            "{more}"
        );
    }
    let elements = home.ok(&["logbook", "export", "--format", "elements-csv"], "");
    assert_eq!(head(&elements), described("elements-csv"));
    assert!(
        elements.lines().count() > 12 && elements.contains(",said,"),
        "{elements}"
    );
    let report = home.ok(&["report", "--site", "larkmoor", "--everybody", "--format", "csv"], "");
    let list = &text[text.find("`report --format csv`").unwrap()..];
    let list = &list[list.find("hese columns").unwrap()..];
    let list = &list[..list.find(". Kinds").unwrap()];
    let columns: Vec<&str> = list.split('`').skip(1).step_by(2).collect();
    assert_eq!(head(&report), columns);
}

/// The speech model is needed here.
#[test]
fn scores_and_evaluations_are_as_described() {
    let models = std::env::var("CABLESIDE_MODELS")
        .expect("CABLESIDE_MODELS: a folder with ggml-base.bin; scripts/test obtains it");
    let model = Path::new(&models).join("ggml-base.bin");
    let model = model.to_str().unwrap();
    let home = Home(tempfile::tempdir().unwrap());
    let clip = "audio-fixtures/clips/demo_missing_crew.flac";
    let score = [
        "score",
        clip,
        "--site",
        "larkmoor",
        "--callsign",
        "G-CLRM",
        "--crew",
        "2",
        "--cable",
        "north",
        "--model",
        model,
        "--json",
        "--second-listener",
    ];
    let scored = home.json(&score);
    // The published library alone, without a site: the radio's own words are plain enough for it.
    let text = scored["second_listener"].as_str().unwrap().to_lowercase();
    assert!(text.contains("golf charlie") && text.contains("ready"), "{text}");
    agrees(&scored);
    let manifest = home.path("manifest.jsonl");
    let line = serde_json::json!({
        "audio": "call.flac", "site": "larkmoor", "step": "ready",
        // As the logbook writes one that was dealt for a whole launch.
        "situation": {"callsign": "G-CLRM", "crew": 2, "cable": "north", "level": "boards", "more": {"speed": "too slow"}},
        "truth": {"crew": "missing"},
    });
    std::fs::write(&manifest, format!("{line}\n")).unwrap();
    std::fs::copy(root().join(clip), home.path("call.flac")).unwrap();
    let out = home.path("results.json");
    home.ok(
        &[
            "evaluate",
            &manifest,
            "--out",
            &out,
            "--model",
            model,
            "--evidence",
            "--baseline",
        ],
        "",
    );
    agrees(&serde_json::from_slice(&std::fs::read(out).unwrap()).unwrap());
}
