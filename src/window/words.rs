//! The texts of the window in its languages. They are data: `words/en.toml` and `words/de.toml`, with the same keys and the
//! same `{names}` in braces, which a test compares. What a site says (labels, reasons why, prompts) is in the site's language.

use crate::site;
pub use crate::site::words::capital;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::LazyLock;

type Table = BTreeMap<String, String>;

static ENGLISH: LazyLock<Table> = LazyLock::new(|| table(include_str!("words/en.toml")));
static GERMAN: LazyLock<Table> = LazyLock::new(|| table(include_str!("words/de.toml")));

/// The language of the window. Small and copied about: a page asks it for each text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum Words {
    /// English.
    #[default]
    #[serde(rename = "en")]
    English,
    /// German.
    #[serde(rename = "de")]
    German,
}

impl Words {
    /// All languages, each with its own name.
    pub const ALL: [(Self, &'static str); 2] = [(Self::English, "English"), (Self::German, "Deutsch")];

    /// The language of the system where it is one of these, else English.
    pub fn of_system() -> Self {
        match sys_locale::get_locale() {
            Some(name) if name.to_lowercase().starts_with("de") => Self::German,
            _ => Self::English,
        }
    }

    /// The words for somebody who speaks a site's language; English where the window does not know it.
    pub fn of_language(language: site::Language) -> Self {
        match language {
            site::Language::GERMAN => Self::German,
            _ => Self::English,
        }
    }

    /// The language of texts that are not the window's own.
    pub fn language(self) -> site::Language {
        match self {
            Self::English => site::Language::ENGLISH,
            Self::German => site::Language::GERMAN,
        }
    }

    fn table(self) -> &'static Table {
        match self {
            Self::English => &ENGLISH,
            Self::German => &GERMAN,
        }
    }

    /// The text of a key. A key that is not there comes back itself; a test keeps that from happening.
    pub fn say(self, key: &'static str) -> &'static str {
        self.table().get(key).map_or(key, String::as_str)
    }

    /// The text of a key with its `{names}` filled in.
    pub fn fill(self, key: &'static str, values: &[(&str, &str)]) -> String {
        site::fill(self.say(key), |name| {
            let found = values.iter().find(|(n, _)| *n == name)?;
            Some(found.1.to_owned())
        })
    }

    /// One or many: `KEY.one` or `KEY.many`, with `{n}`.
    pub fn count(self, one: &'static str, many: &'static str, n: usize) -> String {
        self.fill(if n == 1 { one } else { many }, &[("n", &n.to_string())])
    }

    /// Its keys, for tests.
    #[cfg(test)]
    pub fn keys(self) -> impl Iterator<Item = &'static str> {
        self.table().keys().map(String::as_str)
    }

    /// Who speaks: the names that a site's files use, in this language; a name that is not known as it is.
    pub fn role(self, name: &str) -> String {
        let known = self.table().get(&format!("role.{name}"));
        known.map_or_else(|| name.to_owned(), Clone::clone)
    }

    /// The text of a trouble, by the name that the worker gave it: messages, what was wrong with a recording, what an
    /// instructor could not do.
    pub fn trouble(self, key: &str) -> Option<&'static str> {
        let found = |name: String| self.table().get(&name).map(String::as_str);
        found(format!("notice.{key}"))
            .or_else(|| found(format!("trouble.{key}")))
            .or_else(|| found(format!("office.fail_{key}")))
    }

    /// A reason by the name that the worker gave it; what has none is the system's own words, and is said to be.
    pub fn why(self, name: &str) -> String {
        let known = self.table().get(name).filter(|_| name.starts_with("why."));
        known.map_or_else(|| self.fill("why.unknown", &[("text", name)]), Clone::clone)
    }

    /// A word of the program in a field of a site, as [`crate::call::compare`] writes it; another text as it is.
    pub fn value(self, text: &str) -> String {
        let known = self.table().get(&format!("value.{text}"));
        known.map_or_else(|| text.to_owned(), Clone::clone)
    }

    /// A thing of a site or a field of it, as [`crate::call::compare`] names them; a name that is not known as it is.
    pub fn thing(self, name: &str) -> String {
        let known = self.table().get(&format!("thing.{name}"));
        known.map_or_else(|| name.to_owned(), Clone::clone)
    }
}

/// Nested tables become keys with dots. The files are part of the program and tested: one that cannot be read is empty.
fn table(text: &str) -> Table {
    let mut out = Table::new();
    if let Ok(parsed) = text.parse::<toml::Table>() {
        flatten("", &parsed, &mut out);
    }
    out
}

fn flatten(before: &str, from: &toml::Table, into: &mut Table) {
    for (name, value) in from {
        let key = if before.is_empty() {
            name.clone()
        } else {
            format!("{before}.{name}")
        };
        match value {
            toml::Value::Table(inner) => flatten(&key, inner, into),
            toml::Value::String(text) => drop(into.insert(key, text.trim().to_owned())),
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;
    use std::path::Path;

    #[test]
    fn both_languages_have_the_same_keys_and_the_same_names_in_braces() {
        assert!(ENGLISH.len() > 50, "the file cannot be read");
        let keys = |t: &Table| t.keys().cloned().collect::<Vec<_>>();
        assert_eq!(keys(&ENGLISH), keys(&GERMAN));
        for (key, english) in ENGLISH.iter() {
            let names = |text: &str| {
                let names = site::placeholders(text).into_iter().map(str::to_owned);
                names.collect::<BTreeSet<String>>()
            };
            assert_eq!(names(english), names(&GERMAN[key]), "{key}");
            assert!(!english.is_empty() && !GERMAN[key].is_empty(), "{key}");
        }
    }

    /// The string literals of the window's sources that look like a key.
    fn literals(folder: &Path, groups: &BTreeSet<&str>, into: &mut BTreeSet<String>) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                literals(&path, groups, into);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let text = std::fs::read_to_string(&path).unwrap();
                for piece in text.split('"') {
                    let plain = piece.chars().all(|c| c.is_ascii_alphanumeric() || "._-".contains(c));
                    let group = piece.split('.').next().unwrap_or_default();
                    if plain && piece.contains('.') && !piece.ends_with('.') && groups.contains(group) {
                        into.insert(piece.to_owned());
                    }
                }
            }
        }
    }

    #[test]
    fn every_text_that_is_asked_for_is_there_and_none_is_left_over() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/window");
        let groups = ENGLISH.keys().filter_map(|k| k.split('.').next()).collect();
        let mut used = BTreeSet::new();
        literals(&folder, &groups, &mut used);
        let missing: Vec<&String> = used.iter().filter(|k| !ENGLISH.contains_key(*k)).collect();
        assert!(missing.is_empty(), "asked for and not there: {missing:?}");
        let left: Vec<&String> = ENGLISH
            .keys()
            // (What the worker tells is compared with these in `notices`.)
            .filter(|k| {
                let by_name = ["role.", "thing.", "value.", "notice.", "trouble.", "why."];
                let by_name = by_name.iter().any(|group| k.starts_with(group)) || k.contains(".fail_");
                !by_name && !used.contains(*k)
            })
            .collect();
        assert!(left.is_empty(), "there and never asked for: {left:?}");
    }

    #[test]
    fn texts_are_filled_and_unknown_roles_stay() {
        let text = Words::English.fill("facts.people", &[("n", "2")]);
        assert_eq!(text, "2 people");
        assert_eq!(Words::German.role("winch driver"), "Windenfahrer");
        assert_eq!(Words::German.role("Start"), "Start");
        assert_eq!(capital("über"), "Über");
    }
}
