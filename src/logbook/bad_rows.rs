//! Rows whose values nobody can read: a flipped bit on a disk, another program's hand, somebody's bad will.
//!
//! One such row must not take the others with it. Everything that reads many rows goes through [`Logbook::readable`],
//! which leaves out what does not fit its row type and notes it; who shows the list says so ([`Logbook::stepped_over`]).
//! Before a merge every row of the other logbook goes through the same types (`look_through`): what does not fit stays
//! where it is, with what belongs to it, and is named. A merge is not refused for it: one bad row would keep a whole
//! club's evening away, and the good rows are as good as before. Tables that are not this program's are refused as a whole.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::fmt;
use std::path::PathBuf;

use rusqlite::types::{Value, ValueRef};
use rusqlite::{Connection, Error, Row, Rows, Transaction, params_from_iter};

use super::attempts::{self, ALL_COLUMNS, ELEMENT_COLUMNS};
use super::error::{file, sorted};
use super::rows::{Id, Millis};
use super::{Logbook, Result, classes, instructors, pins, runs, students};

/// A row that could not be read.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct BadRow {
    /// What it is, such as "attempt".
    pub what: &'static str,
    /// Its id, or its number where that cannot be read either.
    pub id: String,
    /// Which value does not fit, and why.
    pub why: String,
}

impl fmt::Display for BadRow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}: {}", self.what, self.id, self.why)
    }
}

/// The bad rows met since the logbook was opened.
pub(super) type Noted = RefCell<BTreeSet<BadRow>>;

/// Where a bad row stands.
struct Place {
    bad: BadRow,
    /// What goes: the row, or what it belongs to.
    table: &'static str,
    /// Columns and values that name it.
    key: Vec<(&'static str, Value)>,
}

/// One kind of row: how it is read, and what goes when one does not fit.
struct Look {
    what: &'static str,
    /// Where the rows are.
    from: &'static str,
    /// The columns of the row type, and the others that are merged.
    columns: &'static [&'static str],
    /// What goes: the row itself, or what it belongs to.
    goes: &'static str,
    /// The columns that name what goes, in `goes` and in `from`.
    key: &'static [(&'static str, &'static str)],
    check: fn(&Row<'_>) -> std::result::Result<(), String>,
}

/// All kinds of rows.
const LOOKS: [Look; 11] = [
    Look {
        what: "student",
        from: "student",
        columns: &[students::COLUMNS, "profile_at, pin_at, keep_at, pin"],
        goes: "student",
        key: &[("rowid", "rowid")],
        check: check_student,
    },
    Look {
        // What a student answered must not be half known: without a refusal, consent would seem given.
        what: "answer about recordings of the student",
        from: "consent_answer",
        columns: &["student_id AS id, at, by, given"],
        goes: "student",
        key: &[("id", "student_id")],
        check: |r| {
            fits(r, r.get::<_, Id>(0))?;
            fits(r, r.get::<_, Millis>(1))?;
            fits(r, r.get::<_, String>(2))?;
            yes_or_no(r, 3)
        },
    },
    Look {
        what: "joining of the student",
        from: "joined",
        columns: &["id, into_id, at"],
        goes: "joined",
        key: &[("id", "id"), ("into_id", "into_id")],
        check: |r| {
            let (id, into) = (fits(r, r.get::<_, Id>(0))?, fits(r, r.get::<_, Id>(1))?);
            fits(r, r.get::<_, Millis>(2))?;
            if id.0 == into.0 {
                return Err("it is joined into itself".to_owned());
            }
            Ok(())
        },
    },
    Look {
        what: "entry that went",
        from: "went",
        columns: &["id, profile_at, needs_guardian"],
        goes: "went",
        key: &[("id", "id")],
        check: |r| {
            fits(r, r.get::<_, Id>(0))?;
            fits(r, r.get::<_, Millis>(1))?;
            yes_or_no(r, 2)
        },
    },
    Look {
        what: "class",
        from: "class",
        columns: &["id, name, created_at, changed_at"],
        goes: "class",
        key: &[("rowid", "rowid")],
        check: |r| {
            let class = fits(r, classes::class(r))?;
            students::checked_name("class", &class.name)
                .map(|_| ())
                .map_err(|e| e.to_string())
        },
    },
    Look {
        what: "membership of the class",
        from: "class_member",
        columns: &["class_id AS id, student_id, changed_at, member"],
        goes: "class_member",
        key: &[("class_id", "class_id"), ("student_id", "student_id")],
        check: |r| {
            fits(r, r.get::<_, Id>(0))?;
            fits(r, r.get::<_, Id>(1))?;
            fits(r, r.get::<_, Millis>(2))?;
            yes_or_no(r, 3)
        },
    },
    Look {
        what: "run",
        from: "run",
        columns: &[runs::COLUMNS],
        goes: "run",
        key: &[("rowid", "rowid")],
        check: |r| fits(r, runs::stored(r)).map(|_| ()),
    },
    Look {
        what: "attempt",
        from: "attempt",
        columns: &[ALL_COLUMNS, "held_out_at, recording_removed_at, recorded"],
        goes: "attempt",
        key: &[("number", "number")],
        check: |r| {
            let (_, stored) = fits(r, attempts::whole(r))?;
            attempts::check(&stored.attempt).map_err(|e| e.to_string())?;
            fits(r, r.get::<_, Millis>(29))?;
            fits(r, r.get::<_, Option<Millis>>(30))?;
            yes_or_no(r, 31)
        },
    },
    Look {
        what: "verdict of the attempt with the number",
        from: "element_verdict",
        columns: &[ELEMENT_COLUMNS, "position, attempt AS id"],
        goes: "attempt",
        key: &[("number", "attempt")],
        check: |r| {
            fits(r, attempts::element(r))?;
            fits(r, r.get::<_, i64>(11)).map(|_| ())
        },
    },
    Look {
        what: "judgement",
        from: "overrule",
        columns: &["id, attempt_id, element, verdict, by, at, reason"],
        goes: "overrule",
        key: &[("rowid", "rowid")],
        check: |r| fits(r, instructors::judged(r)).map(|_| ()),
    },
    Look {
        what: "note of a removal",
        from: "tombstone",
        columns: &["id, deleted_at, what"],
        goes: "tombstone",
        key: &[("rowid", "rowid")],
        check: |r| {
            fits(r, r.get::<_, Id>(0))?;
            fits(r, r.get::<_, Millis>(1))?;
            fits(r, r.get::<_, String>(2)).map(|_| ())
        },
    },
];

fn check_student(row: &Row<'_>) -> std::result::Result<(), String> {
    let student = fits(row, students::student(row))?;
    students::checked_name("student", &student.name).map_err(|e| e.to_string())?;
    for time in 13..16 {
        fits(row, row.get::<_, Millis>(time))?;
    }
    match fits(row, row.get::<_, Option<String>>(16))? {
        Some(pin) => pins::usable_hash(&pin).map(|_| ()).map_err(|e| format!("pin: {e}")),
        None => Ok(()),
    }
}

fn fits<T>(row: &Row<'_>, read: rusqlite::Result<T>) -> std::result::Result<T, String> {
    read.map_err(|e| why(row, &e))
}

fn yes_or_no(row: &Row<'_>, column: usize) -> std::result::Result<(), String> {
    match fits(row, row.get::<_, i64>(column))? {
        0 | 1 => Ok(()),
        other => Err(format!(
            "{}: {other} is neither yes (1) nor no (0)",
            name_of(row, column)
        )),
    }
}

fn name_of(row: &Row<'_>, column: usize) -> String {
    row.as_ref()
        .column_name(column)
        .map_or_else(|_| format!("column {column}"), ToOwned::to_owned)
}

/// Whether an error is about what stands in a row, not about the file, the disk or a lock.
fn is_of_the_row(error: &Error) -> bool {
    matches!(
        error,
        Error::FromSqlConversionFailure(..)
            | Error::IntegralValueOutOfRange(..)
            | Error::InvalidColumnType(..)
            | Error::Utf8Error(..)
    )
}

/// What does not fit, in the words of the row.
fn why(row: &Row<'_>, error: &Error) -> String {
    match error {
        Error::FromSqlConversionFailure(column, _, e) => format!("{}: {e}", name_of(row, *column)),
        Error::IntegralValueOutOfRange(column, n) => format!("{}: {n} is out of range", name_of(row, *column)),
        Error::Utf8Error(column, e) => format!("{}: {e}", name_of(row, *column)),
        Error::InvalidColumnType(_, name, kind) => format!("{name}: a value of another kind ({kind})"),
        other => other.to_string(),
    }
}

/// The first of these columns that the query has, as text whatever is in it.
fn named(row: &Row<'_>) -> String {
    for column in ["id", "number"] {
        match row.get_ref(column) {
            Ok(ValueRef::Text(text)) => return String::from_utf8_lossy(text).chars().take(60).collect(),
            Ok(ValueRef::Integer(n)) => return format!("number {n}"),
            _ => {}
        }
    }
    "without a name".to_owned()
}

impl Logbook {
    /// The rows met since the logbook was opened that cannot be read and were left out of what was shown.
    pub fn stepped_over(&self) -> Vec<BadRow> {
        self.noted.borrow().iter().cloned().collect()
    }

    /// What `take` makes of each row; a row that does not fit is noted and left out.
    pub(super) fn readable<T>(
        &self,
        what: &'static str,
        mut rows: Rows<'_>,
        mut take: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> rusqlite::Result<Vec<T>> {
        let mut all = Vec::new();
        while let Some(row) = rows.next()? {
            all.extend(self.or_noted(what, row, take(row))?);
        }
        Ok(all)
    }

    /// What was read of a row; `None` where it does not fit, which is noted.
    pub(super) fn or_noted<T>(
        &self,
        what: &'static str,
        row: &Row<'_>,
        read: rusqlite::Result<T>,
    ) -> rusqlite::Result<Option<T>> {
        match read {
            Ok(taken) => Ok(Some(taken)),
            Err(e) if is_of_the_row(&e) => {
                self.noted.borrow_mut().insert(BadRow {
                    what,
                    id: named(row),
                    why: why(row, &e),
                });
                Ok(None)
            }
            Err(e) => Err(e),
        }
    }

    /// Every row of the logbook that cannot be read. Reads all of it: seconds for a large one.
    pub fn bad_rows(&self) -> Result<Vec<BadRow>> {
        let found = look_through(&self.connection).map_err(self.sorted("look through the rows"))?;
        Ok(found.into_iter().map(|p| p.bad).collect())
    }

    /// Takes the rows that cannot be read out of the logbook, with what belongs to them, and writes them into a file
    /// beside it. Returns the file and what was taken out; no file where nothing was.
    ///
    /// What a student answered about recordings stays, whatever stands there: without it the others would mean
    /// something else. Such a student can be forgotten.
    pub fn set_rows_aside(&mut self) -> Result<(Option<PathBuf>, Vec<BadRow>)> {
        let mut places = look_through(&self.connection).map_err(self.sorted("look through the rows"))?;
        places.retain(|p| p.bad.what != "answer about recordings of the student");
        if places.is_empty() {
            return Ok((None, Vec::new()));
        }
        let path = self.path.clone();
        let sort = self.sorted("set rows aside");
        let transaction = self.write("set rows aside")?;
        let target = free_name(&path);
        let mut lines = Vec::new();
        for place in &places {
            remove(&transaction, place, Some(&mut lines)).map_err(&sort)?;
        }
        // The file first: were the program to end in between, the rows would be in both.
        let text = lines.join("\n") + "\n";
        super::open::write_private(&target, text.as_bytes()).map_err(file("write the rows set aside", &target))?;
        transaction.commit().map_err(&sort)?;
        self.noted.borrow_mut().clear();
        Ok((Some(target), places.into_iter().map(|p| p.bad).collect()))
    }
}

/// Takes the rows that do not fit out of a private copy of another logbook. Returns what they were.
pub(super) fn clear(copy: &mut Connection, path: &std::path::Path) -> Result<Vec<BadRow>> {
    let sort = |e| sorted(path, "look through the other logbook's rows", e);
    let places = look_through(copy).map_err(sort)?;
    let transaction = copy.transaction().map_err(sort)?;
    for place in &places {
        remove(&transaction, place, None).map_err(sort)?;
    }
    transaction.commit().map_err(sort)?;
    Ok(places.into_iter().map(|p| p.bad).collect())
}

fn look_through(connection: &Connection) -> rusqlite::Result<Vec<Place>> {
    let mut places = Vec::new();
    for look in LOOKS {
        let keys: Vec<String> = look.key.iter().map(|(_, c)| format!("{c} AS \"key {c}\"")).collect();
        let mut statement = connection.prepare(&format!(
            "SELECT {}, {} FROM {}",
            look.columns.join(", "),
            keys.join(", "),
            look.from
        ))?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let Err(why) = (look.check)(row) else { continue };
            let mut key = Vec::new();
            for (goes, from) in look.key {
                key.push((*goes, row.get::<_, Value>(format!("key {from}").as_str())?));
            }
            places.push(Place {
                bad: BadRow {
                    what: look.what,
                    id: named(row),
                    why,
                },
                table: look.goes,
                key,
            });
        }
    }
    Ok(places)
}

/// Deletes what a place names, and what belongs to it; before that, each row goes into `lines` as JSON.
fn remove(transaction: &Transaction<'_>, place: &Place, mut lines: Option<&mut Vec<String>>) -> rusqlite::Result<()> {
    let condition: Vec<String> = place.key.iter().map(|(column, _)| format!("{column} = ?")).collect();
    let condition = condition.join(" AND ");
    let this = format!("FROM {} WHERE {condition}", place.table);
    let values = || params_from_iter(place.key.iter().map(|(_, value)| value));
    let attempts = match place.table {
        "student" => Some(format!("student_id IN (SELECT id {this})")),
        "attempt" => Some(condition.clone()),
        _ => None,
    };
    let mut which = Vec::new();
    if let Some(attempts) = &attempts {
        which.push(format!(
            "FROM overrule WHERE attempt_id IN (SELECT id FROM attempt WHERE {attempts})"
        ));
        which.push(format!(
            "FROM element_verdict WHERE attempt IN (SELECT number FROM attempt WHERE {attempts})"
        ));
    }
    if place.table == "student" {
        for table in ["attempt", "run", "consent_answer", "class_member"] {
            which.push(format!("FROM {table} WHERE student_id IN (SELECT id {this})"));
        }
    }
    if place.table == "class" {
        which.push(format!("FROM class_member WHERE class_id IN (SELECT id {this})"));
    }
    which.push(this);
    for which in which {
        if let Some(lines) = lines.as_deref_mut() {
            let mut statement = transaction.prepare(&format!("SELECT * {which}"))?;
            let mut rows = statement.query(values())?;
            while let Some(row) = rows.next()? {
                lines.push(as_json(place, &which, row)?);
            }
        }
        transaction.execute(&format!("DELETE {which}"), values())?;
    }
    Ok(())
}

/// A row as one line: its table, why it was set aside, its columns. Bytes that are no text are replaced.
fn as_json(place: &Place, which: &str, row: &Row<'_>) -> rusqlite::Result<String> {
    let mut columns = serde_json::Map::new();
    for (i, name) in row.as_ref().column_names().enumerate() {
        let value = match row.get_ref(i)? {
            ValueRef::Null => serde_json::Value::Null,
            ValueRef::Integer(n) => n.into(),
            ValueRef::Real(x) => x.into(),
            ValueRef::Text(bytes) | ValueRef::Blob(bytes) => String::from_utf8_lossy(bytes).into(),
        };
        columns.insert(name.to_owned(), value);
    }
    let table = which.split_whitespace().nth(1).unwrap_or_default();
    Ok(serde_json::json!({"table": table, "why": place.bad.why, "row": columns}).to_string())
}

/// The name begins like that of a logbook set aside, so that forgetting somebody names this file, too.
fn free_name(path: &std::path::Path) -> PathBuf {
    let named = |n: u32| {
        let mut name = path.as_os_str().to_os_string();
        name.push(format!(".set-aside-rows-{n}.jsonl"));
        PathBuf::from(name)
    };
    (1..u32::MAX)
        .map(named)
        .find(|p| !p.exists())
        .unwrap_or_else(|| named(0))
}

/// Whether a database has the tables of this program's logbook, no others, and nothing that acts on its own.
pub(super) fn same_tables(
    connection: &Connection,
    right: &Connection,
) -> rusqlite::Result<std::result::Result<(), String>> {
    let (found, wanted) = (shape(connection)?, shape(right)?);
    Ok(match found.symmetric_difference(&wanted).next() {
        None => Ok(()),
        Some((kind, name, _)) => Err(format!("its {kind} \"{name}\" is not as this program makes it")),
    })
}

/// Kind, name and make of everything in a database. Of tables the columns are compared, since the words they were made
/// with depend on SQLite's version; of triggers and views the words.
fn shape(connection: &Connection) -> rusqlite::Result<BTreeSet<(String, String, String)>> {
    let mut statement = connection
        .prepare("SELECT type, name, tbl_name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite~_%' ESCAPE '~'")?;
    let objects = statement
        .query_map([], |r| {
            Ok((r.get(0)?, r.get(1)?, r.get(2)?, r.get::<_, Option<String>>(3)?))
        })?
        .collect::<rusqlite::Result<Vec<(String, String, String, Option<String>)>>>()?;
    let mut columns = connection.prepare(
        "SELECT group_concat(name || ' ' || type || ' ' || \"notnull\" || ' ' || pk || ' ' || hidden, ', ') FROM pragma_table_xinfo(?1)",
    )?;
    let mut shape = BTreeSet::new();
    for (kind, name, table, sql) in objects {
        let make = match kind.as_str() {
            "table" => columns
                .query_row([&name], |r| r.get::<_, Option<String>>(0))?
                .unwrap_or_default(),
            "index" => table,
            _ => sql.unwrap_or_default().split_whitespace().collect::<Vec<_>>().join(" "),
        };
        shape.insert((kind, name, make));
    }
    Ok(shape)
}
