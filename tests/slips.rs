//! One slip of the pen in a site's files is one problem, in its line, with the name that was meant.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "tests"
)]

use cableside::site::{BRIEFING, FILES, Files, Problem, Site, bundled};
use std::collections::BTreeSet;

fn checked(files: &Files) -> Vec<Problem> {
    Site::check(files).map_or_else(|p| p.list, |_| Vec::new())
}

/// A name with a letter twice, with one too few, with two that changed places.
fn slips(name: &str) -> Vec<String> {
    let letters: Vec<char> = name.chars().collect();
    let mut twice = letters.clone();
    twice.push(letters[letters.len() - 1]);
    let mut out = vec![twice.iter().collect::<String>()];
    if letters.len() > 2 {
        out.push(letters[1..].iter().collect());
        let mut swapped = letters.clone();
        let at = letters.len() - 2;
        swapped.swap(at, at + 1);
        if swapped != letters {
            out.push(swapped.iter().collect());
        }
    }
    out
}

/// The places in a line where a table or a field is named: from, to.
fn names(line: &str) -> Vec<(usize, usize)> {
    let bare = |c: char| c.is_ascii_alphanumeric() || c == '_';
    if let Some(rest) = line.strip_prefix('[') {
        let from = line.len() - rest.trim_start_matches('[').len();
        let long = line[from..].find(|c| !bare(c)).unwrap_or(0);
        return vec![(from, from + long)];
    }
    if line.starts_with('#') {
        return Vec::new();
    }
    let mut out = Vec::new();
    let mut quoted = false;
    let mut from = None;
    for (n, c) in line.char_indices() {
        if c == '"' {
            quoted = !quoted;
        }
        match from {
            None if !quoted && bare(c) => from = Some(n),
            Some(start) if quoted || !bare(c) => {
                if !quoted && line[n..].trim_start().starts_with('=') {
                    out.push((start, n));
                }
                from = None;
            }
            _ => {}
        }
    }
    out
}

/// The bundled sites' files with one line each changed: site and file and line for a message, the site's files, the line, what was changed.
fn changed_lines(
    change: impl Fn(&str) -> Vec<(String, String)>,
    mut each: impl FnMut(&str, &Files, &str, usize, &str),
) {
    let mut seen = BTreeSet::new();
    for id in bundled::NAMES {
        let whole = bundled::files(id).unwrap();
        for (file, text) in &whole.texts {
            let lines: Vec<&str> = text.lines().collect();
            for (n, line) in lines.iter().enumerate() {
                for (what, changed) in change(line) {
                    // One of each kind is enough, and the first may be what others refer to.
                    if !seen.insert((file.clone(), what.clone())) {
                        continue;
                    }
                    let mut all = lines.clone();
                    all[n] = &changed;
                    let mut files = whole.clone();
                    files.texts.insert(file.clone(), all.join("\n"));
                    each(
                        &format!("{id}/{file} line {}: {changed}", n + 1),
                        &files,
                        file,
                        n + 1,
                        &what,
                    );
                }
            }
        }
    }
    assert!(seen.len() > 60, "{}", seen.len());
}

#[test]
fn every_slip_in_the_name_of_a_table_or_a_field_is_told_once_with_the_name_meant() {
    let change = |line: &str| {
        let of = |(from, to): (usize, usize)| {
            // What stands in `when` are names of elements, which are the site's own.
            let own = line[..from].contains("when");
            let name = &line[from..to];
            let put = move |slip: String| {
                (
                    format!("{name} {slip}"),
                    format!("{}{slip}{}", &line[..from], &line[to..]),
                )
            };
            slips(name)
                .into_iter()
                .filter(move |_| !own)
                .map(put)
                .collect::<Vec<_>>()
        };
        names(line).into_iter().flat_map(of).collect()
    };
    changed_lines(change, |place, files, file, line, what| {
        let list = checked(files);
        let meant = format!("\"{}\" meant", what.split(' ').next().unwrap());
        assert!(
            list.len() == 1 && list[0].file == file && list[0].line == Some(line) && list[0].right.contains(&meant),
            "{place}: {list:#?}"
        );
    });
}

#[test]
fn a_value_of_the_wrong_form_is_told_once() {
    let change = |line: &str| {
        let field = line.split(" = ").next().unwrap();
        let whole = names(line)
            .first()
            .is_some_and(|(from, to)| *from == 0 && *to == field.len());
        // Lists over several lines end elsewhere.
        let closed = !line.ends_with(['[', '{', ',']) && !line.ends_with("\"\"\"");
        let one = (field.to_owned(), format!("{field} = 07:30:00"));
        if whole && closed { vec![one] } else { Vec::new() }
    };
    changed_lines(change, |place, files, file, line, _| {
        let list = checked(files);
        assert!(
            list.len() == 1 && list[0].file == file && list[0].line == Some(line),
            "{place}: {list:#?}"
        );
    });
}

#[test]
fn a_quote_that_is_not_closed_is_told_once_and_nothing_of_what_the_file_would_have_said() {
    let change = |line: &str| {
        let field = line.split(" = ").next().unwrap();
        let open = line.strip_suffix('"').filter(|l| l.matches('"').count() == 1);
        open.map(|open| vec![(field.to_owned(), open.to_owned())])
            .unwrap_or_default()
    };
    let mut seen = 0;
    let whole = bundled::files("larkmoor").unwrap();
    for (file, text) in &whole.texts {
        for (n, line) in text.lines().enumerate() {
            for (_, changed) in change(line) {
                let all: Vec<&str> = text
                    .lines()
                    .enumerate()
                    .map(|(m, l)| if m == n { &changed } else { l })
                    .collect();
                let mut files = whole.clone();
                files.texts.insert(file.clone(), all.join("\n"));
                let list = checked(&files);
                assert!(
                    list.len() == 1 && list[0].file == *file && list[0].line == Some(n + 1),
                    "{file} line {}: {list:#?}",
                    n + 1
                );
                seen += 1;
            }
        }
        if seen > 40 {
            break;
        }
    }
    assert!(seen > 20, "{seen}");
}

#[test]
fn a_file_that_is_gone_or_has_another_name_is_told_once() {
    for id in bundled::NAMES {
        let whole = bundled::files(id).unwrap();
        for name in FILES {
            let mut files = whole.clone();
            let text = files.texts.remove(name).unwrap();
            let list = checked(&files);
            assert!(
                list.len() == 1 && list[0].file == name,
                "{id} without {name}: {list:#?}"
            );
            files.texts.insert(name.replace(".toml", "s.toml"), text.clone());
            let list = checked(&files);
            assert!(
                list.len() == 1 && list[0].right.contains(name),
                "{id} with {name} by another name: {list:#?}"
            );
            let mut files = whole.clone();
            files.texts.insert(name.to_owned(), "\n".to_owned());
            let list = checked(&files);
            assert!(
                list.len() == 1 && list[0].file == name,
                "{id} with nothing in {name}: {list:#?}"
            );
        }
        // The briefing may be away, and then its words may not be called for; a site without a briefing is told of each place that does.
        let mut files = whole.clone();
        if files.texts.contains_key(BRIEFING) {
            files.texts.insert(BRIEFING.to_owned(), "[[eventuality]\n".to_owned());
            let list = checked(&files);
            assert!(list.len() == 1 && list[0].file == BRIEFING, "{id}: {list:#?}");
        }
    }
}

/// An id that is named in many places and stands nowhere is one mistake.
#[test]
fn an_id_with_a_slip_is_told_once_with_all_its_lines_and_the_one_meant() {
    for (file, old, new, meant) in [
        ("steps.toml", "id = \"ready\"", "id = \"raedy\"", "\"raedy\" meant"),
        ("site.toml", "id = \"winch\"", "id = \"wnich\"", "\"wnich\" meant"),
    ] {
        let mut files = bundled::files("larkmoor").unwrap();
        let text = files.texts.get_mut(file).unwrap();
        assert!(text.contains(old));
        *text = text.replacen(old, new, 1);
        let list = checked(&files);
        assert!(
            list.len() == 1 && list[0].wrong.contains("also in line ") && list[0].right.contains(meant),
            "{old}: {list:#?}"
        );
    }
}

#[test]
fn one_bracket_too_few_or_too_many_is_told_once() {
    for (file, old, new) in [
        ("site.toml", "[customs]", "[[customs]]"),
        ("site.toml", "[site]", "[[site]]"),
        ("steps.toml", "[launch]", "[[launch]]"),
    ] {
        let mut files = bundled::files("larkmoor").unwrap();
        let text = files.texts.get_mut(file).unwrap();
        assert!(text.contains(old));
        *text = text.replacen(old, new, 1);
        let list = checked(&files);
        assert!(list.len() == 1 && list[0].line.is_some(), "{new}: {list:#?}");
    }
}

/// What is told of each of many is looked up once: thousands of gliders and stations take no time with the square of their number.
#[test]
fn many_things_without_effect_are_told_in_time() {
    let mut files = bundled::files("larkmoor").unwrap();
    let letter = |n: usize| char::from(b'A' + u8::try_from(n % 26).unwrap());
    let glider = |n: usize| {
        let name = format!("G-D{}{}{}", letter(n / 676), letter(n / 26), letter(n));
        format!("\n[[aircraft]]\nregistration = \"{name}\"\ntype = \"Merle 2\"\nseats = 2\nsay_type = true\n")
    };
    let more: Vec<String> = (0..4000).map(glider).collect();
    files.texts.get_mut("fleet.toml").unwrap().push_str(&more.concat());
    let begun = std::time::Instant::now();
    let site = Site::check(&files).unwrap_or_else(|p| panic!("{}", p.list[0]));
    let told: Vec<&Problem> = site
        .notices
        .iter()
        .filter(|n| n.wrong.contains("\"say_type\""))
        .collect();
    assert!(
        told.len() == 4000 && told.iter().all(|n| n.line.is_some()),
        "{}",
        told.len()
    );
    // A second without optimisation; by the square of the number it would be minutes.
    assert!(
        begun.elapsed() < std::time::Duration::from_mins(1),
        "{:?}",
        begun.elapsed()
    );
}
