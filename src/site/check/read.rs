//! How a value is read: what every file needs, with its place for the message.

use super::slips::{MOST_SLIPS, Mended, meant};
use super::{Builder, DeValue, HEARD, NOT_AN_ELEMENT, Tables, one_line};
use crate::site::problem::{Collector, MOST, Problem};
use crate::site::raw::{RawLine, RawWording};
use crate::site::words;
use crate::site::{By, Line, Wording, placeholders};
use serde::de::{DeserializeOwned, IntoDeserializer};
use std::collections::BTreeMap;
use toml::Spanned;

/// What the reader of TOML says, without the names that only programmers know.
fn in_plain_words(message: &str) -> String {
    ["u8", "u16", "usize"].iter().fold(message.to_owned(), |text, name| {
        text.replace(&format!("expected {name}"), "expected a whole number")
    })
}

impl Builder<'_> {
    pub(super) fn at(
        &mut self,
        file: &str,
        span: &std::ops::Range<usize>,
        wrong: impl Into<String>,
        right: impl Into<String>,
    ) {
        let text = self.files.texts.get(file).map_or("", String::as_str);
        Collector {
            file,
            text,
            found: self.found,
        }
        .at(span, wrong, right);
    }

    /// Something that the program does not use: told, and no problem.
    pub(super) fn no_effect(&mut self, file: &str, span: &std::ops::Range<usize>, what: &str, instead: &str) {
        let text = self.files.texts.get(file).map_or("", String::as_str);
        Collector {
            file,
            text,
            found: self.notices,
        }
        .at(span, format!("\"{what}\" has no effect yet"), instead);
    }

    pub(super) fn whole(&mut self, file: &str, wrong: impl Into<String>, right: impl Into<String>) {
        Collector {
            file,
            text: "",
            found: self.found,
        }
        .whole(wrong, right);
    }

    /// Something told at a place that is known only by what stands there; no problem.
    pub(super) fn notice(&mut self, file: &str, line: Option<usize>, wrong: String, right: &str) {
        self.notices.push(Problem {
            file: file.to_owned(),
            line,
            wrong,
            right: right.to_owned(),
        });
    }

    /// A problem in the line where a text stands in quotes, if that is found.
    pub(super) fn somewhere(&mut self, file: &str, text: &str, wrong: String, right: String) {
        let line = self.line_of(file, text);
        self.found.push(Problem {
            file: file.to_owned(),
            line,
            wrong,
            right,
        });
    }

    /// Take one section out of a file's table and give it its shape.
    pub(super) fn section<T: DeserializeOwned>(
        &mut self,
        tables: &mut Tables,
        file: &str,
        name: &str,
        needed: bool,
    ) -> Option<T> {
        let table = tables.get_mut(file)?;
        let key = table.keys().find(|k| k.get_ref() == name).cloned();
        let value = key.and_then(|k| table.remove(&k));
        let Some(value) = value else {
            if needed {
                self.broken.insert(file.to_owned());
                self.whole(
                    file,
                    format!("The section [{name}] is missing"),
                    format!("Add [{name}]; `phrases/README.md` lists what belongs in it."),
                );
            }
            return None;
        };
        let span = value.span();
        let value = match value.into_inner() {
            DeValue::Array(items) if items.iter().any(|i| matches!(i.get_ref(), DeValue::Table(_))) => {
                let first = items.into_iter().next()?;
                self.at(
                    file,
                    &first.span(),
                    format!("{name} is no list"),
                    format!("Write [{name}] with one bracket, once. It was read as that."),
                );
                first
            }
            other => Spanned::new(span, other),
        };
        self.shape(file, value)
    }

    pub(super) fn shape<T: DeserializeOwned>(&mut self, file: &str, mut value: Spanned<DeValue>) -> Option<T> {
        let span = value.span();
        let mut removed = false;
        for slips in 0.. {
            let e: toml::de::Error = match T::deserialize(value.clone().into_deserializer()) {
                Ok(t) => return Some(t),
                Err(e) => e,
            };
            let at = e.span().unwrap_or_else(|| span.clone());
            if slips < MOST_SLIPS
                && let Some(mended) = self.misnamed_field(file, value.get_mut(), &at, e.message())
            {
                removed |= matches!(mended, Mended::Removed);
                continue;
            }
            self.broken.insert(file.to_owned());
            // What is missing may have been meant by a field that is not known, and that is told.
            if !(removed && e.message().starts_with("missing field")) {
                self.at(
                    file,
                    &at,
                    in_plain_words(&one_line(e.message())),
                    "See `phrases/README.md` for the fields and their forms.",
                );
            }
            break;
        }
        None
    }

    /// Take an array of tables; each is given its shape on its own, so that one bad entry hides no other.
    pub(super) fn list<T: DeserializeOwned>(
        &mut self,
        tables: &mut Tables,
        file: &str,
        name: &str,
        needed: bool,
    ) -> Vec<T> {
        let Some(table) = tables.get_mut(file) else {
            return Vec::new();
        };
        let key = table.keys().find(|k| k.get_ref() == name).cloned();
        let Some(value) = key.and_then(|k| table.remove(&k)) else {
            if needed {
                self.broken.insert(file.to_owned());
                self.whole(
                    file,
                    format!("There is no [[{name}]]"),
                    format!("Add at least one [[{name}]]."),
                );
            }
            return Vec::new();
        };
        let span = value.span();
        let items = match value.into_inner() {
            DeValue::Array(items) => items.into_iter().collect(),
            other => {
                self.at(
                    file,
                    &span,
                    format!("{name} is not a list"),
                    format!("Write [[{name}]] with two brackets for each entry."),
                );
                // One bracket too few is still an entry; anything else is none.
                if !matches!(other, DeValue::Table(_)) {
                    self.broken.insert(file.to_owned());
                    return Vec::new();
                }
                vec![Spanned::new(span, other)]
            }
        };
        items.into_iter().filter_map(|item| self.shape(file, item)).collect()
    }

    pub(super) fn leftovers(&mut self, tables: &Tables) {
        for (file, table) in tables {
            for key in table.keys() {
                // What others miss may have been meant by it.
                self.broken.insert((*file).to_owned());
                let name = key.get_ref().to_string();
                self.at(
                    file,
                    &key.span(),
                    format!("\"{name}\" is not known here"),
                    "Remove it, or look for a slip of the pen.",
                );
            }
        }
    }

    pub(super) fn words(&mut self, file: &str, text: &Spanned<String>) -> String {
        if words::of(text.get_ref()).is_empty() {
            self.at(
                file,
                &text.span(),
                "There are no words in this text",
                "Write the words as they are spoken.",
            );
        }
        text.get_ref().trim().to_owned()
    }

    pub(super) fn wording(&mut self, file: &str, raw: &RawWording) -> Wording {
        // What is seen may be that nothing is said of it.
        let unsaid = raw.taught.get_ref().is_empty() && raw.scene.is_some() && raw.understood.is_empty();
        Wording {
            id: raw.id.get_ref().clone(),
            taught: if unsaid {
                String::new()
            } else {
                self.words(file, &raw.taught)
            },
            understood: raw.understood.iter().map(|t| self.words(file, t)).collect(),
            scene: raw.scene.clone(),
            types: raw.types.iter().map(|t| t.get_ref().clone()).collect(),
            cable: raw.cable.as_ref().map(|c| c.get_ref().clone()),
            directions: raw.directions.iter().map(|d| d.get_ref().clone()).collect(),
            why: raw.why.as_ref().map(|t| self.words(file, t)),
        }
    }

    pub(super) fn unique<'t>(&mut self, file: &str, what: &str, ids: impl Iterator<Item = &'t Spanned<String>>) {
        let mut seen: BTreeMap<String, std::ops::Range<usize>> = BTreeMap::new();
        for id in ids {
            if self.found.len() >= MOST {
                return;
            }
            if let Some(first) = seen.get(id.get_ref()) {
                // Only here: counting lines for each of many would take time with the square of their number.
                let text = self.files.texts.get(file).map_or("", String::as_str);
                let first = Collector {
                    file,
                    text,
                    found: self.found,
                }
                .line(first);
                self.at(
                    file,
                    &id.span(),
                    format!("{what} \"{}\" stands twice, first in line {first}", id.get_ref()),
                    "Give each its own, or remove one.",
                );
            } else {
                seen.insert(id.get_ref().clone(), id.span());
            }
        }
    }

    pub(super) fn one_of(&mut self, file: &str, text: &Spanned<String>, allowed: &[&str]) -> String {
        if !allowed.contains(&text.get_ref().as_str()) {
            self.at(
                file,
                &text.span(),
                format!("\"{}\" is not known here", text.get_ref()),
                format!("Use one of: {}.", allowed.join(", ")),
            );
        }
        text.get_ref().clone()
    }

    pub(super) fn range(&mut self, file: &str, number: &Spanned<u8>, allowed: std::ops::RangeInclusive<u8>) -> u8 {
        if !allowed.contains(number.get_ref()) {
            self.at(
                file,
                &number.span(),
                format!("{} is out of range", number.get_ref()),
                format!("Use {} to {}.", allowed.start(), allowed.end()),
            );
        }
        *number.get_ref()
    }

    pub(super) fn line(&mut self, file: &str, raw: RawLine, elements: &[String]) -> Line {
        self.template(file, &raw.text, elements);
        self.one_of(file, &raw.role, &HEARD);
        self.clip(file, raw.clip.as_ref());
        Line {
            role: raw.role.get_ref().clone(),
            text: raw.text.get_ref().clone(),
            clip: raw.clip.map(Spanned::into_inner),
        }
    }

    /// A recording must be a WAV file inside the site's folder.
    pub(super) fn clip(&mut self, file: &str, clip: Option<&Spanned<String>>) {
        if let Some(clip) = clip {
            let path = clip.get_ref();
            let climbs = path.split(['/', '\\']).any(|part| part == "..");
            let absolute = path.starts_with(['/', '\\']) || path.contains(':');
            if climbs || absolute {
                self.at(
                    file,
                    &clip.span(),
                    format!("The clip \"{path}\" lies outside the site's folder"),
                    "Put the WAV file inside the folder and write its path from there.",
                );
            } else if !self.files.others.contains(path) {
                self.at(
                    file,
                    &clip.span(),
                    format!("The clip \"{path}\" is not there"),
                    "Record it, correct the path, or remove the line: the text is then synthesised.",
                );
            } else if !path.to_ascii_lowercase().ends_with(".wav") {
                self.at(
                    file,
                    &clip.span(),
                    format!("The clip \"{path}\" is no WAV file"),
                    "Prompts are WAV files.",
                );
            } else if let Some(why) = self.files.unplayable.get(path) {
                self.at(
                    file,
                    &clip.span(),
                    format!("The clip \"{path}\" cannot be played: {}", one_line(why)),
                    "Record it again, or remove the line: the text is then synthesised.",
                );
            }
        }
    }

    pub(super) fn template(&mut self, file: &str, text: &Spanned<String>, elements: &[String]) {
        if text.get_ref().matches('{').count() != text.get_ref().matches('}').count() {
            self.at(
                file,
                &text.span(),
                "A brace is not closed",
                "Write {callsign}, {crew} and so on, each with both braces.",
            );
        }
        for name in placeholders(text.get_ref()) {
            if !elements.iter().any(|e| e == name) && !NOT_AN_ELEMENT.contains(&name) {
                self.at(
                    file,
                    &text.span(),
                    format!("{{{name}}} is no element of this step"),
                    format!("Use: {}.", elements.join(", ")),
                );
            }
        }
    }

    pub(super) fn no_braces(&mut self, file: &str, scene: &Spanned<String>) {
        if scene.get_ref().contains('{') {
            self.at(
                file,
                &scene.span(),
                "A scene is shown as it stands, braces too",
                "Describe what is seen without {names}.",
            );
        }
    }

    pub(super) fn by(&mut self, raw: Option<&Spanned<String>>) -> By {
        let known = ["radio", "voice", "hand", "signal"];
        match raw.map(|b| self.one_of("steps.toml", b, &known)).as_deref() {
            Some("voice") => By::Voice,
            Some("hand") => By::Hand,
            Some("signal") => By::Signal,
            _ => By::Radio,
        }
    }

    /// An id that must be among those that there are, in a file that says them.
    pub(super) fn known(&mut self, file: &str, id: &Spanned<String>, what: &str, all: &[String], of: &str) {
        if !self.broken.contains(of) && !all.contains(id.get_ref()) {
            let names: Vec<&str> = all.iter().map(String::as_str).collect();
            self.missing(file, id, what, &names, "There are");
        }
    }

    /// Nothing has the id that is named here. However often it is named, that is one mistake: it is told once, with all its lines.
    pub(super) fn missing(&mut self, file: &str, id: &Spanned<String>, what: &str, all: &[&str], there: &str) {
        let text = self.files.texts.get(file).map_or("", String::as_str);
        let wrong = format!("There is no {what} \"{}\"", id.get_ref());
        let told = |p: &&mut Problem| p.file == file && p.wrong.starts_with(&wrong);
        if self.found.len() < MOST
            && let Some(first) = self.found.iter_mut().find(told)
        {
            let before = text.get(..id.span().start).unwrap_or("");
            let line = 1 + before.matches('\n').count();
            let comma = if first.wrong == wrong { " (also in line" } else { "," };
            let open = first.wrong.strip_suffix(')').unwrap_or(&first.wrong);
            first.wrong = format!("{open}{comma} {line})");
            return;
        }
        self.at(
            file,
            &id.span(),
            wrong,
            format!("{}{there}: {}.", meant(id.get_ref(), all), all.join(", ")),
        );
    }
}
