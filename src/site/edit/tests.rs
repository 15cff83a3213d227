//! Tests of what stands in `../edit.rs`.

use super::*;
use crate::site::{Site, bundled};

fn texts() -> Texts {
    bundled::files("larkmoor").unwrap().texts
}

fn check(texts: &Texts, others: &[&str]) -> Site {
    let files = Files {
        folder: "test".into(),
        texts: texts.clone(),
        others: others.iter().map(|o| (*o).to_owned()).collect(),
        ..Files::default()
    };
    Site::check(&files).unwrap_or_else(|p| panic!("{p}"))
}

/// Lines that only one of two texts has.
fn other_lines(a: &str, b: &str) -> Vec<String> {
    b.lines()
        .filter(|l| !a.lines().any(|m| m == *l))
        .map(str::to_owned)
        .collect()
}

#[test]
fn what_is_written_again_unchanged_stays_byte_for_byte() {
    let mut changed = texts();
    for (n, row) in fleet(&texts()).unwrap().iter().enumerate() {
        set_aircraft(&mut changed, n, row).unwrap();
    }
    for (n, row) in cables(&texts()).unwrap().iter().enumerate() {
        set_cable(&mut changed, n, row).unwrap();
    }
    let version = head(&texts(), "version").unwrap();
    set_head(&mut changed, "version", &version).unwrap();
    assert_eq!(changed, texts());
}

/// The form has no field for most of what the files can say: nothing of it is lost or changed with a row.
#[test]
fn what_has_no_field_stays_as_it_is() {
    for name in bundled::NAMES {
        let before = bundled::files(name).unwrap().texts;
        let mut now = before.clone();
        let gliders = fleet(&before).unwrap();
        for (n, row) in gliders.iter().enumerate() {
            let other = AircraftRow {
                weak_link: gliders[0].weak_link.clone(),
                ..row.clone()
            };
            set_aircraft(&mut now, n, &other).unwrap();
            set_aircraft(&mut now, n, row).unwrap();
        }
        for (n, row) in cables(&before).unwrap().iter().enumerate() {
            let other = CableRow {
                taught: format!("{} rope", row.taught),
                ..row.clone()
            };
            set_cable(&mut now, n, &other).unwrap();
            set_cable(&mut now, n, row).unwrap();
        }
        assert_eq!(now, before, "{name}");
    }
    // Words with a comma are one wording, also when another field of their row is changed.
    let comma = "understood = [\"northern, please\", \"northern\"]";
    let mut t = texts();
    let file = t.get_mut(SITE).unwrap();
    *file = file.replace("understood = [\"northern\"]", comma);
    let mut row = cables(&t).unwrap()[0].clone();
    row.taught = "north side".to_owned();
    set_cable(&mut t, 0, &row).unwrap();
    assert!(t[SITE].contains(comma) && t[SITE].contains("north side"), "{}", t[SITE]);
}

#[test]
fn a_glider_is_changed_added_and_removed_and_comments_stay() {
    let mut t = texts();
    let mut row = fleet(&t).unwrap()[0].clone();
    assert_eq!(
        (row.registration.as_str(), row.seats, row.weak_link.as_str()),
        ("G-CLRM", 2, "brown")
    );
    row.weak_link = "blue".into();
    set_aircraft(&mut t, 0, &row).unwrap();
    assert_eq!(
        other_lines(&texts()["fleet.toml"], &t["fleet.toml"]),
        ["weak_link = \"blue\"   # the link named in this type's own data; invented here"]
    );
    let new = AircraftRow {
        registration: "G-DFKT".into(),
        kind: "Siskin".into(),
        seats: 1,
        weak_link: String::new(),
    };
    set_aircraft(&mut t, 99, &new).unwrap();
    let site = check(&t, &[]);
    assert_eq!(site.fleet.len(), 8);
    assert_eq!(site.fleet[7].kind, "Siskin");
    remove_aircraft(&mut t, 7).unwrap();
    row.weak_link = "brown".into();
    set_aircraft(&mut t, 0, &row).unwrap();
    assert_eq!(t["fleet.toml"].trim_end(), texts()["fleet.toml"].trim_end());
    assert!(remove_aircraft(&mut t, 7).is_err());
}

#[test]
fn a_cable_added_renamed_and_removed_is_in_every_direction() {
    let mut t = texts();
    let middle = CableRow {
        id: "middle".into(),
        taught: "middle".into(),
        understood: "centre, the middle one".into(),
    };
    set_cable(&mut t, 2, &middle).unwrap();
    let site = check(&t, &[]);
    assert_eq!(site.cables[2].understood, ["centre", "the middle one"]);
    assert!(site.directions.iter().all(|d| d.cables_left_to_right.len() == 3));
    let mut row = cables(&t).unwrap()[0].clone();
    row.id = "top".into();
    set_cable(&mut t, 0, &row).unwrap();
    assert_eq!(
        check(&t, &[]).directions[0].cables_left_to_right,
        ["top", "south", "middle"]
    );
    remove_cable(&mut t, 2).unwrap();
    assert_eq!(check(&t, &[]).directions[1].cables_left_to_right, ["south", "top"]);
    assert!(t["site.toml"].contains("# at the top, habit of the place"));
}

#[test]
fn a_recording_is_named_and_taken_away() {
    let mut t = texts();
    let rows = prompts(&t).unwrap();
    let ready = rows
        .iter()
        .find(|r| r.step == "ready" && r.kind == LineKind::Prompt)
        .unwrap();
    assert!(!ready.changes() && ready.clip.is_none());
    assert_eq!(ready.file(), "prompts/ready-prompt.wav");
    let answer = rows
        .iter()
        .find(|r| r.step == "ready" && r.kind == LineKind::Answer)
        .unwrap();
    assert!(answer.changes());
    set_clip(&mut t, "ready", LineKind::Prompt, Some(&ready.file())).unwrap();
    let site = check(&t, &["prompts/ready-prompt.wav"]);
    let line = site.step("ready").unwrap().prompt.clone().unwrap();
    assert_eq!(line.clip.as_deref(), Some("prompts/ready-prompt.wav"));
    assert_eq!(line.text, "Cable on. Wings level.");
    set_clip(&mut t, "ready", LineKind::Prompt, None).unwrap();
    assert_eq!(check(&t, &[]), check(&texts(), &[]));
    assert!(set_clip(&mut t, "ready", LineKind::Prompt, None).is_ok());
    assert!(set_clip(&mut t, "nowhere", LineKind::Prompt, None).is_err());
}

#[test]
fn a_copy_has_its_own_name_and_every_file() {
    for name in bundled::NAMES {
        let files = bundled::files(name).unwrap();
        let copy = copied(&files, "ourfield", "Unser Feld").unwrap();
        let site = Site::check(&Files {
            texts: copy,
            ..files.clone()
        })
        .unwrap();
        assert_eq!((site.id.as_str(), site.name.as_str()), ("ourfield", "Unser Feld"));
        assert!(site.invented);
    }
}

#[test]
fn a_broken_file_is_named_and_not_touched() {
    let mut t = texts();
    t.insert("fleet.toml".into(), "[[aircraft]\n".into());
    let error = set_aircraft(&mut t, 0, &AircraftRow::default()).unwrap_err();
    assert!(error.to_string().starts_with("fleet.toml has a mistake"), "{error}");
    assert_eq!(t["fleet.toml"], "[[aircraft]\n");
}

#[test]
fn ids_come_from_names() {
    for (name, id) in [
        ("Our Field", "our-field"),
        ("  Übungsplatz 2!", "uebungsplatz-2"),
        ("!!", ""),
        // A folder has this name, on Windows too.
        ("Nul", "nul-1"),
        ("Com3", "com3-1"),
        ("Comb", "comb"),
    ] {
        assert_eq!(id_from(name), id);
    }
}
