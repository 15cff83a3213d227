//! The rooms of the house: which takes what from which, read from the code and held against the picture in DEVELOPERS.md.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

const BEGIN: &str = "<!-- rooms -->\n";
const END: &str = "<!-- end of rooms -->";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// All files of a folder that hold code of the program: without its tests.
fn sources(folder: &Path, all: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if path.is_dir() {
            sources(&path, all);
        } else if path.extension().is_some_and(|e| e == "rs")
            && !matches!(name.as_str(), "tests.rs" | "pagetest.rs" | "scripted.rs")
        {
            all.push(path);
        }
    }
}

/// The room of a file: the first folder or file below `src`.
fn room(path: &Path) -> String {
    let below = path.strip_prefix(root().join("src")).unwrap();
    let first = below.components().next().unwrap().as_os_str().to_string_lossy();
    first.trim_end_matches(".rs").to_owned()
}

/// Code without comments and without the tests at its end.
fn code(path: &Path) -> String {
    let text = std::fs::read_to_string(path).unwrap();
    let mut parts = text.split("#[cfg(test)]\n");
    let (program, tests) = (parts.next().unwrap(), |part: &&str| part.contains("mod tests"));
    // What is for tests only stands at the end of a file, or is a single item before.
    let rest: Vec<&str> = parts.take_while(|part| !tests(part)).collect();
    let text = [program, &rest.concat()].concat();
    let lines: Vec<&str> = text.lines().filter(|l| !l.trim_start().starts_with("//")).collect();
    lines.join("\n")
}

/// The names that stand behind a path's beginning: `site` of `crate::site::…`, and each of `crate::{site::…, files}`.
fn taken(text: &str, path: &str) -> Vec<String> {
    let mut names = Vec::new();
    for (at, _) in text.match_indices(path) {
        // The end of a longer path.
        if text[..at].ends_with("::") {
            continue;
        }
        let rest = &text[at + path.len()..];
        let (list, all) = match rest.strip_prefix('{') {
            Some(list) => (list.split('}').next().unwrap(), usize::MAX),
            None => (rest.split(';').next().unwrap(), 1),
        };
        let name = |n: &str| {
            let letters = n.trim().chars();
            letters.take_while(|c| c.is_alphanumeric() || *c == '_').collect()
        };
        names.extend(list.split(',').take(all).map(name));
    }
    names
}

/// Which room takes from which.
fn arrows() -> BTreeMap<String, BTreeSet<String>> {
    let mut files = Vec::new();
    sources(&root().join("src"), &mut files);
    let rooms: BTreeSet<String> = files.iter().map(|f| room(f)).filter(|r| r != "bin").collect();
    let mut arrows: BTreeMap<String, BTreeSet<String>> = rooms.iter().map(|r| (r.clone(), BTreeSet::new())).collect();
    for file in &files {
        let from = room(file);
        let text = code(file);
        for name in taken(&text, "crate::") {
            if name != from && rooms.contains(&name) {
                arrows.entry(from.clone()).or_default().insert(name);
            }
        }
    }
    arrows.retain(|from, _| !matches!(from.as_str(), "bin" | "main" | "lib"));
    arrows
}

/// Rooms by floor: a room stands one floor above the highest of those that it takes from. What takes from itself in a circle has no floor.
fn floors(arrows: &BTreeMap<String, BTreeSet<String>>) -> (Vec<Vec<String>>, Vec<String>) {
    let mut placed: BTreeSet<&str> = BTreeSet::new();
    let mut floors = Vec::new();
    loop {
        let ready = |(from, to): &(&String, &BTreeSet<String>)| {
            !placed.contains(from.as_str()) && to.iter().all(|t| placed.contains(t.as_str()))
        };
        let floor: Vec<String> = arrows.iter().filter(ready).map(|(from, _)| from.clone()).collect();
        if floor.is_empty() {
            break;
        }
        placed.extend(arrows.keys().filter(|k| floor.contains(k)).map(String::as_str));
        floors.push(floor);
    }
    let circle = arrows
        .keys()
        .filter(|k| !placed.contains(k.as_str()))
        .cloned()
        .collect();
    (floors, circle)
}

/// Which part of a room takes from which: a part is a file in the room, with the folder of its name. The room's door, `mod.rs`,
/// takes from all of them, and none from it.
fn parts(within: &str) -> BTreeMap<String, BTreeSet<String>> {
    let folder = root().join("src").join(within);
    let mut files = Vec::new();
    sources(&folder, &mut files);
    let below = |file: &Path| -> Vec<String> {
        let below = file.strip_prefix(&folder).unwrap().with_extension("");
        let names = below.components().map(|c| c.as_os_str().to_string_lossy().into_owned());
        names.filter(|n| n != "mod").collect()
    };
    // Files of tests for tests only are no parts.
    files.retain(|f| !below(f).iter().any(|n| n == "tests"));
    let mut arrows: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for file in &files {
        let place = below(file);
        let Some(from) = place.first() else { continue };
        let text = code(file);
        let up = "super::".repeat(place.len());
        let mut to = taken(&text, &up);
        to.extend(taken(&text, &format!("crate::{within}::")));
        to.retain(|name| name != from);
        arrows.entry(from.clone()).or_default().extend(to);
    }
    arrows
}

/// The picture: from the top floor down, what each room takes from.
fn picture() -> String {
    let arrows = arrows();
    let (floors, circle) = floors(&arrows);
    assert!(
        circle.is_empty(),
        "these rooms take from each other in a circle: {circle:?}"
    );
    let mut lines = vec!["```text".to_owned()];
    for (n, floor) in floors.iter().enumerate().rev() {
        for name in floor {
            let below: Vec<&str> = arrows[name].iter().map(String::as_str).collect();
            let takes = if below.is_empty() {
                String::new()
            } else {
                format!(" -> {}", below.join(" "))
            };
            lines.push(format!("{n:>2}  {name:<8}{takes}").trim_end().to_owned());
        }
    }
    lines.push("```".to_owned());
    lines.join("\n") + "\n"
}

#[test]
fn no_room_takes_from_one_above_and_the_picture_is_right() {
    let file = root().join("DEVELOPERS.md");
    let text = std::fs::read_to_string(&file).unwrap();
    let (before, rest) = text.split_once(BEGIN).unwrap();
    let (drawn, after) = rest.split_once(END).unwrap();
    let now = picture();
    if std::env::var_os("CABLESIDE_DRAW").is_some() {
        std::fs::write(&file, format!("{before}{BEGIN}{now}{END}{after}")).unwrap();
        return;
    }
    assert_eq!(drawn, now, "draw it anew: CABLESIDE_DRAW=1 cargo test --test house");
}

/// Types flow one way in the room with the most threads: what a part is asked and tells lies below all parts.
#[test]
fn no_part_of_the_worker_takes_from_one_above() {
    let arrows = parts("worker");
    assert!(arrows.len() > 15 && arrows["desk"].contains("message"), "{arrows:?}");
    assert_eq!(arrows["message"], BTreeSet::new(), "the messages take from a part");
    for (from, to) in &arrows {
        for name in to {
            assert!(
                arrows.contains_key(name),
                "{from} takes {name} from the door of the room"
            );
        }
    }
    let (_, circle) = floors(&arrows);
    assert!(
        circle.is_empty(),
        "these parts take from each other in a circle, or from one: {circle:?}"
    );
}

#[test]
fn a_circle_is_found() {
    let arrow = |from: &str, to: &[&str]| (from.to_owned(), to.iter().map(|t| (*t).to_owned()).collect());
    let round = BTreeMap::from([
        arrow("a", &["b"]),
        arrow("b", &["a"]),
        arrow("c", &[]),
        arrow("d", &["c"]),
    ]);
    let (floors, circle) = floors(&round);
    assert_eq!(floors, [["c"], ["d"]]);
    assert_eq!(circle, ["a", "b"]);
}

/// What stands in DEVELOPERS.md is read in one sitting.
#[test]
fn the_manual_is_short() {
    let text = std::fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    assert!(text.lines().count() <= 150, "{} lines", text.lines().count());
}
