//! Reports as CSV for spreadsheets and as JSON for programs.
//!
//! **CSV** (RFC 4180, UTF-8, one header line): one figure a row, `student, kind, what, detail, came, of, share, low, high,
//! unsure, day`; kinds are `calls`, `count`, `step`, `element`, `wrong`, `missing`, `lately`, `trend`, `mix-up`, `overruled`. A text that a spreadsheet
//! would run as a formula gets a leading apostrophe. **JSON**: one object `{"form": "cableside report", "version": 1, ..}`.

use super::figures::Figures;
use super::group::Group;
use super::print::caution_texts;
use super::rate::Share;
use super::tongue::Tongue;
use super::{Scope, rate};
use crate::logbook::guarded;
use serde_json::{Value, json};

const HEAD: [&str; 11] = [
    "student", "kind", "what", "detail", "came", "of", "share", "low", "high", "unsure", "day",
];

/// One student's report as CSV.
pub fn csv_of_student(name: &str, figures: &Figures) -> Result<Vec<u8>, csv::Error> {
    csv_of(std::iter::once((name, figures)))
}

/// A class's report as CSV: everybody's rows.
pub fn csv_of_group(group: &Group) -> Result<Vec<u8>, csv::Error> {
    csv_of(group.members.iter().map(|m| (m.name.as_str(), &m.figures)))
}

/// One student's report as JSON.
pub fn json_of_student(scope: &Scope<'_>, name: &str, figures: &Figures) -> Result<Vec<u8>, serde_json::Error> {
    let mut head = head(scope);
    head["student"] = json!({"name": name, "figures": figures, "cautions": caution_texts(tongue(scope), figures)});
    bytes(&head)
}

/// A class's report as JSON.
pub fn json_of_group(scope: &Scope<'_>, group: &Group) -> Result<Vec<u8>, serde_json::Error> {
    let mut head = head(scope);
    head["class"] = serde_json::to_value(group)?;
    head["class"]["cautions"] = json!(caution_texts(tongue(scope), &group.together));
    bytes(&head)
}

fn tongue(scope: &Scope<'_>) -> Tongue {
    Tongue(scope.site.language)
}

fn head(scope: &Scope<'_>) -> Value {
    json!({
        "form": "cableside report",
        "version": 1,
        "site": scope.site.id,
        "made on": scope.date,
        "from": scope.from,
        "until": scope.until,
        "caution": scope.foot(),
        "rules": {"too few": rate::FEW, "latest": rate::LATELY, "steady above": rate::TARGET},
    })
}

fn bytes(value: &Value) -> Result<Vec<u8>, serde_json::Error> {
    let mut out = serde_json::to_vec_pretty(value)?;
    out.push(b'\n');
    Ok(out)
}

fn csv_of<'f>(all: impl Iterator<Item = (&'f str, &'f Figures)>) -> Result<Vec<u8>, csv::Error> {
    let mut out = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    out.write_record(HEAD)?;
    for (name, figures) in all {
        for row in rows(figures) {
            let cells = std::iter::once(name).chain(row.iter().map(String::as_str));
            out.write_record(cells.map(|c| guarded(c).into_owned()))?;
        }
    }
    out.into_inner().map_err(|e| e.into_error().into())
}

/// A row without the student: kind, what, detail, then the figures.
fn row(kind: &str, what: &str, detail: &str, share: Option<&Share>, unsure: Option<u64>, day: &str) -> [String; 10] {
    let figure = |v: Option<f64>| v.map_or_else(String::new, |v| format!("{v:.4}"));
    let of = share.filter(|s| s.of > 0);
    [
        kind.to_owned(),
        what.to_owned(),
        detail.to_owned(),
        share.map_or_else(String::new, |s| s.came.to_string()),
        share.map_or_else(String::new, |s| s.of.to_string()),
        figure(of.and_then(Share::value)),
        figure(of.map(|s| s.low)),
        figure(of.map(|s| s.high)),
        unsure.map_or_else(String::new, |u| u.to_string()),
        day.to_owned(),
    ]
}

fn rows(f: &Figures) -> Vec<[String; 10]> {
    let last = f.days.map_or_else(String::new, |d| d.1.to_string());
    let mut all = vec![row("calls", "all", "", Some(&f.first_time), None, &last)];
    let counted = |kind: &str, what: &str, count: u64| {
        let mut cells = row(kind, what, "", None, None, "");
        cells[3] = count.to_string();
        cells
    };
    all.extend([
        counted("count", "calls", f.calls),
        counted("count", "attempts", f.attempts),
        counted("count", "typed", f.typed),
        counted("count", "read aloud", f.read_aloud),
        counted("count", "held out", f.held_out),
        counted("count", "elsewhere", f.elsewhere),
        counted("count", "days", f.days_practised as u64),
    ]);
    all.extend(
        f.steps
            .iter()
            .map(|s| row("step", &s.step, &s.title, Some(&s.first_time), None, "")),
    );
    for e in &f.elements {
        all.push(row("element", &e.element, "", Some(&e.all), Some(e.unsure), ""));
        all.push(counted("wrong", &e.element, e.wrong));
        all.push(counted("missing", &e.element, e.missing));
        let standing = serde_json::to_value(e.standing)
            .ok()
            .and_then(|v| v.as_str().map(str::to_owned))
            .unwrap_or_default();
        all.push(row("lately", &e.element, &standing, Some(&e.lately), None, ""));
    }
    for p in &f.trend {
        all.push(row("trend", "all", "", Some(&p.first_time), None, &p.day.to_string()));
    }
    for m in &f.mix_ups {
        let said = format!("{} for {}", m.heard, m.dealt.as_deref().unwrap_or("?"));
        let mut cells = row("mix-up", &m.element, &said, None, None, "");
        cells[3] = m.times.to_string();
        all.push(cells);
    }
    for o in &f.overruled {
        let detail = format!(
            "{} to {}{}{}",
            o.program.word(),
            o.instructor.word(),
            o.by.as_ref().map_or_else(String::new, |b| format!(", by {b}")),
            o.reason.as_ref().map_or_else(String::new, |r| format!(": {r}"))
        );
        all.push(row("overruled", &o.element, &detail, None, None, &o.day.to_string()));
    }
    all
}
