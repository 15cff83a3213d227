//! Slips of the pen in the names of files, tables and fields: told once, with the name that was likely meant, and read on as if that
//! stood there, so that nothing is told which only follows from the slip.

use super::{Builder, DeTable, DeValue, Tables};
use crate::site::{BRIEFING, FILES};
use std::ops::Range;
use toml::Spanned;
use toml::de::DeArray;

/// The section that holds others.
const ELEMENT: &str = "element";
/// The tables of each file.
const TABLES: [(&str, &[&str]); 5] = [
    (
        "site.toml",
        &["site", "station", "direction", "cable", "role", "customs", "signal"],
    ),
    ("fleet.toml", &["aircraft"]),
    ("words.toml", &[ELEMENT]),
    (
        "steps.toml",
        &["step", "launch", "hazard", "failure", "halt", "interruption"],
    ),
    (BRIEFING, &["eventuality", "height_band"]),
];
/// So many slips in one entry are mended; whoever has more of them has not begun with this form.
pub(super) const MOST_SLIPS: usize = 20;

/// Of the names that may stand in a place the one that was likely meant by another.
pub(super) fn nearest<'k>(name: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    let name = name.to_lowercase();
    // Names from other people's files can be of any length, and the distance takes time with the square of it.
    let long = name.chars().count();
    let most = match long {
        0..=4 => 1,
        5..=8 => 2,
        9..=40 => 3,
        _ => return None,
    };
    let far = |k: &str| strsim::osa_distance(&name, &k.to_lowercase());
    let near = known.into_iter().map(|k| (far(k), k));
    near.filter(|(n, _)| *n <= most).min_by_key(|(n, _)| *n).map(|(_, k)| k)
}

/// What is said beside a name that is not known, where another one was likely meant.
pub(super) fn meant(name: &str, known: &[&str]) -> String {
    nearest(name, known.iter().copied()).map_or_else(String::new, |near| format!("Was \"{near}\" meant? "))
}

/// The missing file that was likely meant by the name of one that is there.
pub(super) fn file_meant(name: &str, there: impl Fn(&str) -> bool) -> Option<&'static str> {
    let known = FILES.into_iter().chain([BRIEFING]);
    nearest(name, known.filter(|f| !there(f)))
}

/// A field that an entry does not have, and those that it has: as the reader of TOML says it.
fn unknown_field(message: &str) -> Option<(&str, Vec<&str>)> {
    let mut quoted = message
        .strip_prefix("unknown field ")?
        .split('`')
        .skip(1)
        .step_by(2)
        .take(200);
    let field = quoted.next()?;
    Some((field, quoted.collect()))
}

/// The table in a value that has a key at this place.
fn table_with<'v, 'i>(value: &'v mut DeValue<'i>, span: &Range<usize>) -> Option<&'v mut DeTable<'i>> {
    match value {
        DeValue::Table(table) => {
            if table.keys().any(|k| k.span() == *span) {
                return Some(table);
            }
            table.iter_mut().find_map(|(_, v)| table_with(v.get_mut(), span))
        }
        DeValue::Array(items) => items.iter_mut().find_map(|v| table_with(v.get_mut(), span)),
        _ => None,
    }
}

/// What was done about a field that is not known.
pub(super) enum Mended {
    /// It has the name that was meant.
    Renamed,
    /// It is gone, and what was meant by it nobody knows.
    Removed,
}

impl Builder<'_> {
    /// Tables whose names are slips of the pen get the names that were meant.
    pub(super) fn misnamed_tables(&mut self, tables: &mut Tables) {
        for (file, known) in TABLES {
            let Some(table) = tables.get_mut(file) else { continue };
            let slips = table.keys().filter(|k| !known.contains(&k.get_ref().as_ref()));
            // In the order of the file: of two slips for one section the first is taken.
            let mut slips: Vec<_> = slips.cloned().collect();
            slips.sort_by_key(|k| k.span().start);
            for key in slips {
                let name = key.get_ref().to_string();
                let Some(near) = nearest(&name, known.iter().copied()) else {
                    continue;
                };
                let there = table.keys().find(|k| k.get_ref() == near).cloned();
                let Some(value) = table.remove(&key) else { continue };
                if let Some(there) = there {
                    // Of lists both are read, and of the elements; a section stands once, and a second of another name is nothing.
                    let span = value.span();
                    match (value.into_inner(), table.get_mut(&there).map(Spanned::get_mut)) {
                        (DeValue::Array(more), Some(DeValue::Array(all))) => {
                            let there = std::mem::replace(all, DeArray::new());
                            let mut items: Vec<_> = there.into_iter().chain(more).collect();
                            items.sort_by_key(|i| i.span().start);
                            for item in items {
                                all.push(item);
                            }
                        }
                        (DeValue::Table(more), Some(DeValue::Table(all))) if near == ELEMENT => {
                            for (name, element) in more {
                                all.entry(name).or_insert(element);
                            }
                        }
                        (other, _) => {
                            table.insert(key, Spanned::new(span, other));
                            continue;
                        }
                    }
                } else {
                    table.insert(Spanned::new(key.span(), near.to_owned().into()), value);
                }
                self.at(
                    file,
                    &key.span(),
                    format!("\"{name}\" is not known here"),
                    format!("Was \"{near}\" meant? It was read as that."),
                );
            }
        }
    }

    /// A field that is not known is told, with the one that was meant if there is one, and put right in the value.
    pub(super) fn misnamed_field(
        &mut self,
        file: &str,
        value: &mut DeValue,
        at: &Range<usize>,
        message: &str,
    ) -> Option<Mended> {
        let (field, known) = unknown_field(message)?;
        let table = table_with(value, at)?;
        let key = table.keys().find(|k| k.span() == *at).cloned()?;
        let taken = table.remove(&key)?;
        let free = known.iter().copied().filter(|k| !table.contains_key(*k));
        let near = nearest(field, free);
        if let Some(near) = near {
            table.insert(Spanned::new(key.span(), near.to_owned().into()), taken);
        }
        self.at(
            file,
            at,
            format!("\"{field}\" is not known here"),
            near.map_or_else(
                || format!("There are: {}.", known.join(", ")),
                |near| format!("Was \"{near}\" meant? It was read as that."),
            ),
        );
        Some(if near.is_some() {
            Mended::Renamed
        } else {
            Mended::Removed
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_name_meant_is_the_nearest_and_not_any() {
        let known = ["step", "launch", "hazard", "failure", "halt", "interruption"];
        for (slip, meant) in [
            ("stpe", Some("step")),
            ("steps", Some("step")),
            ("Step", Some("step")),
            ("hlat", Some("halt")),
            ("interuption", Some("interruption")),
            ("lanch", Some("launch")),
            ("voice", None),
            ("x", None),
            ("", None),
        ] {
            assert_eq!(nearest(slip, known), meant, "{slip}");
        }
        assert_eq!(nearest(&"s".repeat(100_000), known), None);
    }

    /// The reader's own words, in which the fields stand.
    #[test]
    fn an_unknown_field_is_found_in_what_the_reader_says() {
        #[derive(Debug, serde::Deserialize)]
        #[serde(deny_unknown_fields)]
        #[allow(dead_code, reason = "only read")]
        struct Two {
            one: u8,
            two: u8,
        }
        let e = toml::from_str::<Two>("one = 1\nzwo = 2").map_err(|e| (e.message().to_owned(), e.span()));
        let Err((message, span)) = e else {
            unreachable!("it is refused")
        };
        assert_eq!(unknown_field(&message), Some(("zwo", vec!["one", "two"])), "{message}");
        assert_eq!(span, Some(8..11));
    }
}
