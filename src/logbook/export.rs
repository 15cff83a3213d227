//! The logbook as CSV for spreadsheets and as JSON for programs.
//!
//! **CSV** (RFC 4180, UTF-8, one header line): one row an attempt, newest last; the situation and the elements are
//! spread over columns (`situation.callsign`, `callsign verdict`, `callsign heard`, `callsign margin`,
//! `callsign overruled`). A text that begins with `=`, `+`, `-`, `@`, a tab or a line break gets a leading apostrophe:
//! a spreadsheet would run it as a formula, and names and transcripts are not ours. Numbers are left as they are.
//! The evidence is in JSON only. The columns of the elements depend on what was practised; a second form has one row an
//! element and always the same columns. `DATA.md` describes both.
//!
//! **JSON**: one object `{"form": "cableside logbook", "version": 2, "students": [..], "joined": [..], "answers": [..],
//! "classes": [..], "runs": [..], "judgements": [..], "attempts": [..]}` with the rows of this room, exact and complete, one attempt a line.
//! `answers` are those about recordings. A PIN's hash is not in it. (Version 1 had students and attempts only.)

use std::borrow::Cow;
use std::collections::HashMap;
use std::io::Write;

use rusqlite::params_from_iter;
use serde_json::Value;
use uuid::Uuid;

use super::attempts::{ALL_COLUMNS, whole};
use super::{Logbook, LogbookError, Result, StoredAttempt, Whose};

impl Logbook {
    /// Writes attempts as CSV. Returns how many.
    pub fn export_csv(&self, whose: Whose, out: impl Write) -> Result<usize> {
        // One transaction, so that the columns found first are those of the rows read after.
        let moment = self.connection.unchecked_transaction().map_err(self.sorted("export"))?;
        let situation = self.distinct(
            "SELECT DISTINCT key FROM attempt, json_each(CASE WHEN json_valid(attempt.situation)
                AND json_type(attempt.situation) = 'object' THEN attempt.situation ELSE '{}' END)
             WHERE ",
            whose,
        )?;
        let elements = self.distinct(
            "SELECT DISTINCT element FROM element_verdict JOIN attempt ON attempt.number = element_verdict.attempt
             WHERE ",
            whose,
        )?;
        let names: HashMap<Uuid, String> = self.students()?.into_iter().map(|s| (s.id, s.name)).collect();

        let mut csv = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .from_writer(out);
        let mut header: Vec<String> = FIXED.iter().map(|&s| s.to_owned()).collect();
        header.extend(situation.iter().map(|key| format!("situation.{key}")));
        for element in &elements {
            header.extend(["verdict", "heard", "margin", "overruled"].map(|what| format!("{element} {what}")));
        }
        csv.write_record(header.iter().map(|h| guarded(h).into_owned()))
            .map_err(csv_error)?;

        let count = self.each(whose, |stored| {
            let mut row = fixed_cells(&stored, &names);
            row.extend(situation.iter().map(|key| cell(stored.attempt.situation.get(key))));
            for name in &elements {
                let element = stored.attempt.elements.iter().find(|e| e.element == *name);
                row.push(element.map_or_else(String::new, |e| e.verdict.word().to_owned()));
                row.push(text(element.and_then(|e| e.heard.as_deref())));
                row.push(number(element.and_then(|e| e.margin)));
                let overrule = element.and_then(|e| e.overrule.as_ref());
                row.push(overrule.map_or_else(String::new, |o| o.verdict.word().to_owned()));
            }
            csv.write_record(&row).map_err(csv_error)
        })?;
        csv.flush().map_err(LogbookError::Export)?;
        moment.finish().map_err(self.sorted("export"))?;
        Ok(count)
    }

    /// Writes the elements of attempts as CSV: one row an element, and the same columns whatever was practised. Returns how
    /// many attempts.
    pub fn export_elements_csv(&self, whose: Whose, out: impl Write) -> Result<usize> {
        let mut csv = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .from_writer(out);
        csv.write_record(OF_AN_ELEMENT).map_err(csv_error)?;
        let moment = self.connection.unchecked_transaction().map_err(self.sorted("export"))?;
        let count = self.each(whose, |stored| {
            let a = &stored.attempt;
            for (place, e) in a.elements.iter().enumerate() {
                let overrule = e.overrule.as_ref();
                let row = [
                    a.id.to_string(),
                    a.student.map_or_else(String::new, |id| id.to_string()),
                    a.started_at.to_string(),
                    text(Some(&a.site)),
                    text(Some(&a.step)),
                    a.turn_attempt.to_string(),
                    if a.held_out { "yes" } else { "no" }.to_owned(),
                    (place + 1).to_string(),
                    text(Some(&e.element)),
                    e.critical
                        .map_or("", |critical| if critical { "yes" } else { "no" })
                        .to_owned(),
                    e.verdict.word().to_owned(),
                    text(e.heard.as_deref()),
                    number(e.margin),
                    number(e.begin_seconds),
                    number(e.end_seconds),
                    overrule.map_or_else(String::new, |o| o.verdict.word().to_owned()),
                    e.counted().word().to_owned(),
                ];
                csv.write_record(&row).map_err(csv_error)?;
            }
            Ok(())
        })?;
        csv.flush().map_err(LogbookError::Export)?;
        moment.finish().map_err(self.sorted("export"))?;
        Ok(count)
    }

    /// Writes students and attempts as JSON. Returns how many attempts.
    pub fn export_json(&self, whose: Whose, mut out: impl Write) -> Result<usize> {
        let moment = self.connection.unchecked_transaction().map_err(self.sorted("export"))?;
        let students = match whose {
            Whose::Anyone => self.students()?,
            Whose::Student(id) => vec![self.student(id)?],
            Whose::Nobody => Vec::new(),
        };
        let mut joined = Vec::new();
        for (went, into) in self.joined_pairs()? {
            let stands = self.now_called(into)?;
            if students.iter().any(|s| s.id == stands) {
                joined.push(serde_json::json!({"went": went, "into": into}));
            }
        }
        let mut answers = Vec::new();
        for student in &students {
            for answer in self.consent_answers(student.id)? {
                answers.push(serde_json::json!({"student": student.id, "answer": answer}));
            }
        }
        let mut classes = self.classes()?;
        if whose != Whose::Anyone {
            // Of the others in a class nothing is given out.
            for class in &mut classes {
                class.members.retain(|m| students.iter().any(|s| s.id == *m));
            }
            classes.retain(|c| !c.members.is_empty());
        }
        let runs = self.runs(whose, 0, u32::MAX)?;
        let judgements = self.all_judgements(whose)?;
        let mut write = |text: &str| out.write_all(text.as_bytes()).map_err(LogbookError::Export);
        write("{\"form\":\"cableside logbook\",\"version\":2,\n\"students\":")?;
        write(&text_of(&students)?)?;
        write(",\n\"joined\":")?;
        write(&text_of(&joined)?)?;
        write(",\n\"answers\":")?;
        write(&text_of(&answers)?)?;
        write(",\n\"classes\":")?;
        write(&text_of(&classes)?)?;
        write(",\n\"runs\":")?;
        write(&text_of(&runs)?)?;
        write(",\n\"judgements\":")?;
        write(&text_of(&judgements)?)?;
        write(",\n\"attempts\":[")?;
        let mut separator = "\n";
        let count = self.each(whose, |stored| {
            write(separator)?;
            separator = ",\n";
            write(&serde_json::to_string(&stored).map_err(|e| LogbookError::Export(e.into()))?)
        })?;
        write("\n]}\n")?;
        out.flush().map_err(LogbookError::Export)?;
        moment.finish().map_err(self.sorted("export"))?;
        Ok(count)
    }

    /// Hands over every attempt, oldest first, one at a time: a logbook need not fit into memory.
    fn each(&self, whose: Whose, mut take: impl FnMut(StoredAttempt) -> Result<()>) -> Result<usize> {
        let sort = self.sorted("read attempts");
        let (condition, student) = whose.condition();
        let sql = format!("SELECT {ALL_COLUMNS} FROM attempt WHERE {condition} ORDER BY started_at, number");
        let mut statement = self.connection.prepare(&sql).map_err(&sort)?;
        let mut rows = statement.query(params_from_iter(student)).map_err(&sort)?;
        let mut count = 0;
        while let Some(row) = rows.next().map_err(&sort)? {
            let read = whole(row).and_then(|(number, mut stored)| {
                stored.attempt.elements = self.elements(number)?;
                Ok(stored)
            });
            let Some(stored) = self.or_noted("attempt", row, read).map_err(&sort)? else {
                continue;
            };
            take(stored)?;
            count += 1;
        }
        Ok(count)
    }

    fn distinct(&self, select: &str, whose: Whose) -> Result<Vec<String>> {
        let (condition, student) = whose.condition();
        let read = || -> rusqlite::Result<Vec<String>> {
            let mut statement = self.connection.prepare(&format!("{select}{condition} ORDER BY 1"))?;
            self.readable("column", statement.query(params_from_iter(student))?, |r| r.get(0))
        };
        read().map_err(self.sorted("read the columns"))
    }
}

fn text_of(rows: &impl serde::Serialize) -> Result<String> {
    serde_json::to_string(rows).map_err(|e| LogbookError::Export(e.into()))
}

/// The columns of [`Logbook::export_elements_csv`].
const OF_AN_ELEMENT: [&str; 17] = [
    "attempt",
    "student id",
    "started at",
    "site",
    "step",
    "attempt of turn",
    "held out",
    "place",
    "element",
    "critical",
    "verdict",
    "heard",
    "margin",
    "begin s",
    "end s",
    "overruled",
    "counts as",
];

/// The columns every export has, in the order of [`fixed_cells`].
const FIXED: [&str; 27] = [
    "attempt",
    "student id",
    "student",
    "started at",
    "site",
    "site version",
    "step",
    "turn",
    "attempt of turn",
    "outcome",
    "score",
    "held out",
    "transcript",
    "prompt end to press ms",
    "press to release ms",
    "judging ms",
    "model",
    "model sha1",
    "program version",
    "recording",
    "stored at",
    "asked for",
    "done",
    "run",
    "turn of run",
    "role",
    "counts as",
];

fn fixed_cells(stored: &StoredAttempt, names: &HashMap<Uuid, String>) -> Vec<String> {
    let a = &stored.attempt;
    let offset = jiff::tz::Offset::from_seconds(a.utc_offset_seconds).unwrap_or(jiff::tz::Offset::UTC);
    let run = a.part.run.as_ref();
    let millis = |ms: Option<u32>| ms.map_or_else(String::new, |ms| ms.to_string());
    vec![
        a.id.to_string(),
        a.student.map_or_else(String::new, |id| id.to_string()),
        text(a.student.and_then(|id| names.get(&id)).map(String::as_str)),
        a.started_at.display_with_offset(offset).to_string(),
        text(Some(&a.site)),
        text(Some(&a.site_version)),
        text(Some(&a.step)),
        a.turn.to_string(),
        a.turn_attempt.to_string(),
        a.outcome.word().to_owned(),
        number(a.score),
        if a.held_out { "yes" } else { "no" }.to_owned(),
        text(Some(&a.transcript)),
        millis(a.timings.prompt_end_to_press_ms),
        millis(a.timings.press_to_release_ms),
        millis(a.timings.judging_ms),
        text(a.model.as_ref().map(|m| m.name.as_str())),
        text(a.model.as_ref().map(|m| m.sha1.as_str())),
        text(Some(&a.program_version)),
        a.recording.map_or_else(String::new, |r| r.to_string()),
        stored.created_at.to_string(),
        a.part.kind.word().to_owned(),
        a.part.done.word().to_owned(),
        run.map_or_else(String::new, |r| r.run.to_string()),
        run.map_or_else(String::new, |r| (r.position + 1).to_string()),
        text(run.and_then(|r| r.role.as_deref())),
        stored.counted().word().to_owned(),
    ]
}

/// Text that a spreadsheet must not take for a formula.
pub(crate) fn guarded(text: &str) -> Cow<'_, str> {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']) {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

fn text(text: Option<&str>) -> String {
    guarded(text.unwrap_or_default()).into_owned()
}

fn number(number: Option<f64>) -> String {
    number.map_or_else(String::new, |n| n.to_string())
}

fn cell(value: Option<&Value>) -> String {
    match value {
        None | Some(Value::Null) => String::new(),
        Some(Value::String(s)) => text(Some(s)),
        Some(other) => other.to_string(),
    }
}

fn csv_error(error: csv::Error) -> LogbookError {
    LogbookError::Export(match error.into_kind() {
        csv::ErrorKind::Io(e) => e,
        other => std::io::Error::other(format!("{other:?}")),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn formulas_are_guarded_and_numbers_are_not() {
        for formula in ["=1+1", "+49", "-2", "@SUM(A1)", "\t=1", "\r=1", "\n=1"] {
            assert_eq!(text(Some(formula)), format!("'{formula}"));
        }
        for plain in ["", "two up", "G-CLRM", "'quoted", "a=b"] {
            assert_eq!(text(Some(plain)), plain);
        }
        assert_eq!(number(Some(-0.5)), "-0.5");
        assert_eq!(cell(Some(&json!(-3))), "-3");
        assert_eq!(cell(Some(&json!("-3"))), "'-3");
        assert_eq!(cell(Some(&json!(null))), "");
    }
}
