//! The live board: who has practised how much today, and who struggles with what, as lines of text.

use crate::report::{Group, Share, Standing};
use crate::site::Language;
use std::fmt::Write as _;

/// The board as text. `today` holds the calls of this meeting, `group` all there are.
///
/// Steadiness is judged as in reports: by the latest calls, with their interval, and nothing is said of too few.
pub fn board(language: Language, today: &Group, group: &Group) -> String {
    let german = language == Language::German;
    let of = |english: &'static str, deutsch: &'static str| if german { deutsch } else { english };
    let mut out = String::new();
    let width = group
        .members
        .iter()
        .map(|m| m.name.chars().count())
        .max()
        .unwrap_or(0)
        .clamp(8, 32);
    // Writing to a String cannot fail.
    let _ = writeln!(
        out,
        "{:<width$}  {:>6}  {:>8}  {:>8}  {}",
        of("Student", "Schüler"),
        of("today", "heute"),
        of("at once", "sofort"),
        of("latest", "zuletzt"),
        of("not steady yet", "sitzt noch nicht")
    );
    for (now, all) in today.members.iter().zip(&group.members) {
        let struggles: Vec<String> = all
            .figures
            .elements
            .iter()
            .filter(|e| e.standing == Standing::NotSteady)
            .map(|e| format!("{} {}/{}", e.label, e.lately.came, e.lately.of))
            .collect();
        let latest = all.figures.trend.last().map(|p| p.first_time);
        let _ = writeln!(
            out,
            "{:<width$}  {:>6}  {:>8}  {:>8}  {}",
            cut(&all.name, width),
            now.figures.calls,
            counts(&now.figures.first_time),
            latest.map_or_else(|| "-".to_owned(), |s| counts(&s)),
            if struggles.is_empty() {
                "-".to_owned()
            } else {
                struggles.join(", ")
            }
        );
    }
    for need in &group.needs {
        let _ = writeln!(out, "{}: {}", need.label, need.students.join(", "));
    }
    out
}

fn counts(share: &Share) -> String {
    if share.of == 0 {
        "-".to_owned()
    } else {
        format!("{}/{}", share.came, share.of)
    }
}

/// A name cut to the column's width.
fn cut(name: &str, width: usize) -> String {
    if name.chars().count() <= width {
        return name.to_owned();
    }
    let mut short: String = name.chars().take(width.saturating_sub(1)).collect();
    short.push('\u{2026}');
    short
}
