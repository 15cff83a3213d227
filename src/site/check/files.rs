//! The files of a site: which are there, and whether they are TOML.

use super::slips;
use super::{Tables, one_line};
use crate::site::problem::{Collector, Problem};
use crate::site::{BRIEFING, FILES, Files};
use std::collections::{BTreeMap, BTreeSet};
use toml::de::DeTable;

/// Files whose names are slips: the file that is missing, and what it is called instead.
pub(super) type Misnamed<'f> = BTreeMap<&'f str, &'f str>;

/// Is it one that a site has, or may have?
fn known(name: &str) -> bool {
    FILES.contains(&name) || name == BRIEFING
}

pub(super) fn misnamed(files: &Files) -> Misnamed<'_> {
    let there = |name: &str| files.texts.contains_key(name) || files.unreadable.contains_key(name);
    let names = files.texts.keys().filter(|name| !known(name));
    names
        .filter_map(|name| Some((slips::file_meant(name, there)?, name.as_str())))
        .collect()
}

/// Every file that a site must have is there.
pub(super) fn look_for_all(
    files: &Files,
    misnamed: &Misnamed<'_>,
    found: &mut Vec<Problem>,
    broken: &mut BTreeSet<String>,
) {
    for name in FILES {
        if files.texts.contains_key(name) {
            continue;
        }
        broken.insert(name.to_owned());
        if let Some(why) = files.unreadable.get(name) {
            found.push(Problem {
                file: name.to_owned(),
                line: None,
                wrong: format!("The file cannot be read: {why}"),
                right: "Make it readable, as UTF-8 text.".to_owned(),
            });
        } else if !misnamed.contains_key(name) {
            found.push(Problem {
                file: name.to_owned(),
                line: None,
                wrong: "The file is missing".to_owned(),
                right: "Every site needs it; `cableside site new` writes one to start from.".to_owned(),
            });
        }
    }
}

/// What the files hold, of those that are TOML.
pub(super) fn parsed<'f>(
    files: &'f Files,
    misnamed: &Misnamed<'_>,
    found: &mut Vec<Problem>,
    broken: &mut BTreeSet<String>,
) -> Tables<'f> {
    let mut tables = Tables::new();
    for (name, text) in &files.texts {
        if !known(name) {
            found.push(Problem {
                file: name.clone(),
                line: None,
                wrong: "The program does not know this file".to_owned(),
                right: misnamed.iter().find(|(_, is)| *is == name).map_or_else(
                    || format!("A site has {} and may have {BRIEFING}.", FILES.join(", ")),
                    |(meant, _)| format!("Was {meant} meant? That is missing: rename the file."),
                ),
            });
            continue;
        }
        if text.trim_start_matches('\u{feff}').trim().is_empty() {
            found.push(Problem {
                file: name.clone(),
                line: None,
                wrong: "There is nothing in the file".to_owned(),
                right: "A full disk leaves such files behind: where the site came with the program or in an archive, make room and unpack that again."
                    .to_owned(),
            });
            broken.insert(name.clone());
            continue;
        }
        let (table, errors) = DeTable::parse_recoverable(text);
        let mut c = Collector {
            file: name,
            text,
            found: &mut *found,
        };
        for e in &errors {
            // The hint looks at the whole line, and a file may be a single one: what nobody reads must cost nothing.
            if c.full() {
                break;
            }
            let span = e.span().unwrap_or(0..0);
            c.at(
                &span,
                format!("This is not TOML: {}", one_line(e.message())),
                syntax_hint(text, &span),
            );
        }
        if errors.is_empty() {
            tables.insert(name.as_str(), table.into_inner());
        } else {
            broken.insert(name.clone());
        }
    }
    tables
}

fn syntax_hint(text: &str, span: &std::ops::Range<usize>) -> String {
    let start = text[..span.start.min(text.len())].rfind('\n').map_or(0, |i| i + 1);
    let line = text[start..].lines().next().unwrap_or("");
    if line.contains('\t') {
        "There is a tab in this line; texts stand between double quotes, for example name = \"Larkmoor\".".to_owned()
    } else {
        "Texts stand between double quotes, lists in [ ], and each line is name = value.".to_owned()
    }
}
