//! Changes to a site's files as texts: one value at a time, so that comments and the rest of the file stay as they are.
//!
//! # A site's files, changed
//!
//! `site::edit` changes one value of a file at a time (`toml_edit`: comments stay); `call::compare` says what differs between two
//! checked sites and which steps judge by other words (`effects`: what a step's `Vocabulary` holds, what is critical, what decides
//! right values; taught and understood are one). `folders::archive` believes nothing of an archive: names, kinds and sizes are looked at
//! before a byte is unpacked, what comes is counted, all of it stays in memory until the site was checked. `Content::put` writes beside
//! and renames, one program at a time; the version before goes to `.older`. The desk's thread (`worker/desk.rs`) keeps drafts in `drafts/ID`.

use super::Files;
use std::collections::BTreeMap;
use toml_edit::{Array, DocumentMut, Item, Table, Value};

/// Why a change could not be made.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum EditError {
    /// The file is not TOML at the moment.
    #[error("{file} has a mistake that must be mended first: {why}")]
    NotToml {
        /// The file.
        file: String,
        /// The parser's reason.
        why: String,
    },
    /// What was to be changed is not there.
    #[error("{file} has no {what}")]
    Missing {
        /// The file.
        file: String,
        /// What was looked for.
        what: String,
    },
}

/// The texts of a site's files, by name.
pub type Texts = BTreeMap<String, String>;

/// An aircraft as it stands in fleet.toml, checked or not.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct AircraftRow {
    /// Registration.
    pub registration: String,
    /// Type.
    pub kind: String,
    /// Seats.
    pub seats: i64,
    /// Weak link; empty where none is named.
    pub weak_link: String,
}

/// A cable as it stands in site.toml.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct CableRow {
    /// Id.
    pub id: String,
    /// Words taught.
    pub taught: String,
    /// Other words, with commas between them.
    pub understood: String,
}

/// Which line of a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum LineKind {
    /// Said before the call.
    Prompt,
    /// Said after a complete call.
    Answer,
    /// The question for one part.
    AskAgain,
    /// The question for the whole call.
    AskAllAgain,
}

impl LineKind {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Prompt, Self::Answer, Self::AskAgain, Self::AskAllAgain];

    /// The field in steps.toml.
    pub fn field(self) -> &'static str {
        match self {
            Self::Prompt => "prompt",
            Self::Answer => "answer",
            Self::AskAgain => "ask_again",
            Self::AskAllAgain => "ask_all_again",
        }
    }
}

/// A line that somebody else speaks, and where its sound comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PromptRow {
    /// The step's id.
    pub step: String,
    /// The step's name on screen.
    pub title: String,
    /// Which line of it.
    pub kind: LineKind,
    /// Who speaks.
    pub role: String,
    /// The words.
    pub text: String,
    /// Its recording.
    pub clip: Option<String>,
}

impl PromptRow {
    /// Words that change with the situation cannot be recorded once for all.
    pub fn changes(&self) -> bool {
        self.text.contains('{')
    }

    /// Where its recording belongs.
    pub fn file(&self) -> String {
        let plain = |text: &str| -> String {
            let mut out = String::new();
            for c in text.to_lowercase().chars() {
                match c {
                    'ä' => out.push_str("ae"),
                    'ö' => out.push_str("oe"),
                    'ü' => out.push_str("ue"),
                    'ß' => out.push_str("ss"),
                    c if c.is_ascii_alphanumeric() => out.push(c),
                    _ => out.push('-'),
                }
            }
            out
        };
        format!("prompts/{}-{}.wav", plain(&self.step), plain(self.kind.field()))
    }
}

fn parse(texts: &Texts, file: &'static str) -> Result<DocumentMut, EditError> {
    let text = texts.get(file).map_or("", String::as_str);
    text.parse::<DocumentMut>().map_err(|e| EditError::NotToml {
        file: file.to_owned(),
        why: e.message().trim().replace('\n', ", "),
    })
}

fn missing(file: &str, what: impl Into<String>) -> EditError {
    EditError::Missing {
        file: file.to_owned(),
        what: what.into(),
    }
}

fn text_of(table: &Table, field: &str) -> String {
    table.get(field).and_then(Item::as_str).unwrap_or_default().to_owned()
}

/// Set a value and keep what stands before and behind it in its line, such as a comment.
fn set(table: &mut Table, field: &str, value: impl Into<Value>) {
    let mut value: Value = value.into();
    match table.get_mut(field).and_then(Item::as_value_mut) {
        Some(old) => {
            *value.decor_mut() = old.decor().clone();
            *old = value;
        }
        None => drop(table.insert(field, Item::Value(value))),
    }
}

fn tables<'d>(doc: &'d DocumentMut, name: &str) -> Vec<&'d Table> {
    doc.get(name)
        .and_then(Item::as_array_of_tables)
        .map(|t| t.iter().collect())
        .unwrap_or_default()
}

fn nth<'d>(doc: &'d mut DocumentMut, file: &str, name: &str, n: usize) -> Result<&'d mut Table, EditError> {
    doc.get_mut(name)
        .and_then(Item::as_array_of_tables_mut)
        .and_then(|t| t.get_mut(n))
        .ok_or_else(|| missing(file, format!("entry {} of [[{name}]]", n + 1)))
}

/// A new table behind the others of its name.
fn push(doc: &mut DocumentMut, name: &str, mut table: Table) {
    table.decor_mut().set_prefix("\n");
    let item = doc
        .entry(name)
        .or_insert_with(|| Item::ArrayOfTables(toml_edit::ArrayOfTables::new()));
    if let Some(all) = item.as_array_of_tables_mut() {
        all.push(table);
    }
}

const FLEET: &str = "fleet.toml";
const SITE: &str = "site.toml";
const STEPS: &str = "steps.toml";

/// The fleet as written.
pub fn fleet(texts: &Texts) -> Result<Vec<AircraftRow>, EditError> {
    let doc = parse(texts, FLEET)?;
    Ok(tables(&doc, "aircraft")
        .into_iter()
        .map(|t| AircraftRow {
            registration: text_of(t, "registration"),
            kind: text_of(t, "type"),
            seats: t.get("seats").and_then(Item::as_integer).unwrap_or(0),
            weak_link: text_of(t, "weak_link"),
        })
        .collect())
}

fn write_aircraft(table: &mut Table, row: &AircraftRow) {
    set(table, "registration", row.registration.trim());
    set(table, "type", row.kind.trim());
    set(table, "seats", row.seats);
    if row.weak_link.trim().is_empty() {
        table.remove("weak_link");
    } else {
        set(table, "weak_link", row.weak_link.trim());
    }
}

/// Change an aircraft, or add one with `n` behind the last.
pub fn set_aircraft(texts: &mut Texts, n: usize, row: &AircraftRow) -> Result<(), EditError> {
    let mut doc = parse(texts, FLEET)?;
    if n < tables(&doc, "aircraft").len() {
        write_aircraft(nth(&mut doc, FLEET, "aircraft", n)?, row);
    } else {
        let mut table = Table::new();
        write_aircraft(&mut table, row);
        push(&mut doc, "aircraft", table);
    }
    texts.insert(FLEET.to_owned(), doc.to_string());
    Ok(())
}

/// Take an aircraft out.
pub fn remove_aircraft(texts: &mut Texts, n: usize) -> Result<(), EditError> {
    let mut doc = parse(texts, FLEET)?;
    nth(&mut doc, FLEET, "aircraft", n)?;
    if let Some(all) = doc.get_mut("aircraft").and_then(Item::as_array_of_tables_mut) {
        all.remove(n);
    }
    texts.insert(FLEET.to_owned(), doc.to_string());
    Ok(())
}

fn words(table: &Table, field: &str) -> Vec<String> {
    table
        .get(field)
        .and_then(Item::as_array)
        .map(|a| a.iter().filter_map(Value::as_str).map(str::to_owned).collect())
        .unwrap_or_default()
}

/// The cables as written.
pub fn cables(texts: &Texts) -> Result<Vec<CableRow>, EditError> {
    let doc = parse(texts, SITE)?;
    Ok(tables(&doc, "cable")
        .into_iter()
        .map(|t| CableRow {
            id: text_of(t, "id"),
            taught: text_of(t, "taught"),
            understood: words(t, "understood").join(", "),
        })
        .collect())
}

fn write_cable(table: &mut Table, row: &CableRow) {
    set(table, "id", row.id.trim());
    set(table, "taught", row.taught.trim());
    // Words may hold commas of their own: what was not changed here is not taken apart.
    if words(table, "understood").join(", ") == row.understood {
        return;
    }
    let understood: Array = row
        .understood
        .split(',')
        .map(str::trim)
        .filter(|t| !t.is_empty())
        .collect();
    if understood.is_empty() {
        table.remove("understood");
    } else {
        set(table, "understood", understood);
    }
}

/// In every launch direction: the cable `old` becomes `new`; without `old` it is laid at the right, without `new` it goes.
fn relay(doc: &mut DocumentMut, old: Option<&str>, new: Option<&str>) {
    let Some(directions) = doc.get_mut("direction").and_then(Item::as_array_of_tables_mut) else {
        return;
    };
    for direction in directions.iter_mut() {
        let Some(order) = direction.get_mut("cables_left_to_right").and_then(Item::as_array_mut) else {
            continue;
        };
        let at = order.iter().position(|v| v.as_str() == old && old.is_some());
        match (at, new) {
            (Some(i), Some(new)) => drop(order.replace(i, new)),
            (Some(i), None) => drop(order.remove(i)),
            (None, Some(new)) if old.is_none() => order.push(new),
            _ => {}
        }
    }
}

/// Change a cable, or add one with `n` behind the last. The launch directions follow.
pub fn set_cable(texts: &mut Texts, n: usize, row: &CableRow) -> Result<(), EditError> {
    let mut doc = parse(texts, SITE)?;
    let id = row.id.trim();
    if n < tables(&doc, "cable").len() {
        let table = nth(&mut doc, SITE, "cable", n)?;
        let old = text_of(table, "id");
        write_cable(table, row);
        if old != id {
            relay(&mut doc, Some(&old), Some(id));
        }
    } else {
        let mut table = Table::new();
        write_cable(&mut table, row);
        push(&mut doc, "cable", table);
        relay(&mut doc, None, Some(id));
    }
    texts.insert(SITE.to_owned(), doc.to_string());
    Ok(())
}

/// Take a cable out, from the launch directions too.
pub fn remove_cable(texts: &mut Texts, n: usize) -> Result<(), EditError> {
    let mut doc = parse(texts, SITE)?;
    let old = text_of(nth(&mut doc, SITE, "cable", n)?, "id");
    if let Some(all) = doc.get_mut("cable").and_then(Item::as_array_of_tables_mut) {
        all.remove(n);
    }
    relay(&mut doc, Some(&old), None);
    texts.insert(SITE.to_owned(), doc.to_string());
    Ok(())
}

/// A text of `[site]`: "name", "version", "about" ...; empty where it is not there.
pub fn head(texts: &Texts, field: &str) -> Result<String, EditError> {
    let doc = parse(texts, SITE)?;
    Ok(doc
        .get("site")
        .and_then(Item::as_table)
        .map(|t| text_of(t, field))
        .unwrap_or_default())
}

/// Change a text of `[site]`.
pub fn set_head(texts: &mut Texts, field: &str, value: &str) -> Result<(), EditError> {
    let mut doc = parse(texts, SITE)?;
    let site = doc
        .get_mut("site")
        .and_then(Item::as_table_mut)
        .ok_or_else(|| missing(SITE, "section [site]"))?;
    set(site, field, value);
    texts.insert(SITE.to_owned(), doc.to_string());
    Ok(())
}

/// Every line that somebody else speaks, in the order of the steps.
pub fn prompts(texts: &Texts) -> Result<Vec<PromptRow>, EditError> {
    let doc = parse(texts, STEPS)?;
    let mut rows = Vec::new();
    for step in tables(&doc, "step") {
        for kind in LineKind::ALL {
            let Some(line) = step.get(kind.field()).and_then(Item::as_table_like) else {
                continue;
            };
            let field = |name: &str| line.get(name).and_then(Item::as_str).unwrap_or_default().to_owned();
            rows.push(PromptRow {
                step: text_of(step, "id"),
                title: text_of(step, "title"),
                kind,
                role: field("role"),
                text: field("text"),
                clip: Some(field("clip")).filter(|c| !c.is_empty()),
            });
        }
    }
    Ok(rows)
}

/// Name a line's recording, or take its name away.
pub fn set_clip(texts: &mut Texts, step: &str, kind: LineKind, clip: Option<&str>) -> Result<(), EditError> {
    let mut doc = parse(texts, STEPS)?;
    let line = doc
        .get_mut("step")
        .and_then(Item::as_array_of_tables_mut)
        .and_then(|all| all.iter_mut().find(|t| text_of(t, "id") == step))
        .and_then(|t| t.get_mut(kind.field()))
        .and_then(Item::as_table_like_mut)
        .ok_or_else(|| missing(STEPS, format!("{} in the step \"{step}\"", kind.field())))?;
    match clip {
        Some(clip) => drop(line.insert("clip", Item::Value(clip.into()))),
        None => drop(line.remove("clip")),
    }
    texts.insert(STEPS.to_owned(), doc.to_string());
    Ok(())
}

/// The texts of a site under another id and name: what a copy begins with. It keeps being marked as invented until the club
/// changes that.
pub fn copied(files: &Files, id: &str, name: &str) -> Result<Texts, EditError> {
    let mut texts = files.texts.clone();
    set_head(&mut texts, "id", id)?;
    set_head(&mut texts, "name", name)?;
    Ok(texts)
}

/// An id from a name: small letters, digits, hyphens.
pub fn id_from(name: &str) -> String {
    let mut id = String::new();
    for c in name.to_lowercase().chars() {
        match c {
            'ä' => id.push_str("ae"),
            'ö' => id.push_str("oe"),
            'ü' => id.push_str("ue"),
            'ß' => id.push_str("ss"),
            c if c.is_ascii_alphanumeric() => id.push(c),
            _ if !id.is_empty() && !id.ends_with('-') => id.push('-'),
            _ => {}
        }
    }
    let id: String = id.trim_end_matches('-').chars().take(40).collect();
    // A folder has this name, and some are devices' on Windows.
    if is_device(&id) { format!("{id}-1") } else { id }
}

/// Does a name, without what follows a full stop, belong to a device on Windows? No file or folder can be called so there.
pub fn is_device(stem: &str) -> bool {
    let stem = stem.to_ascii_uppercase();
    // Windows counts a superscript as a digit here.
    let numbered = |port: &str| {
        let number = stem.strip_prefix(port).map(str::chars);
        number.is_some_and(|mut n| n.next().is_some_and(char::is_numeric) && n.next().is_none())
    };
    numbered("COM") || numbered("LPT") || ["CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$"].contains(&stem.as_str())
}

#[cfg(test)]
mod tests;
