//! The live board: who has practised how much today, and who struggles with what.

use crate::report::{Group, Member, Need, Share, Standing};
use crate::site::Language;
use std::fmt::Write as _;

/// One student's line on the board.
#[derive(Debug, Clone, PartialEq)]
pub struct BoardRow {
    /// The student's name.
    pub name: String,
    /// Calls dealt in this meeting's day.
    pub today: u64,
    /// Of these, complete at the first attempt.
    pub at_once: Share,
    /// The latest point of the trend, where there are calls enough.
    pub lately: Option<Share>,
    /// Elements that are not steady yet, with how often they came lately.
    pub struggles: Vec<(String, Share)>,
}

/// The live board: a line for each student, and who needs practice on what.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Board {
    /// In the class's order.
    pub rows: Vec<BoardRow>,
    /// Most needed first.
    pub needs: Vec<Need>,
}

impl Board {
    /// `today` holds the calls of this day, `group` the latest there are.
    ///
    /// Steadiness is judged as in reports: by the latest calls, with their interval, and nothing is said of too few.
    pub fn new(today: &Group, group: &Group) -> Self {
        let row = |(now, all): (&Member, &Member)| BoardRow {
            name: all.name.clone(),
            today: now.figures.calls,
            at_once: now.figures.first_time,
            lately: all.figures.trend.last().map(|p| p.first_time),
            struggles: all
                .figures
                .elements
                .iter()
                .filter(|e| e.standing == Standing::NotSteady)
                .map(|e| (e.label.clone(), e.lately))
                .collect(),
        };
        Self {
            rows: today.members.iter().zip(&group.members).map(row).collect(),
            needs: group.needs.clone(),
        }
    }

    /// As text for a terminal.
    pub fn text(&self, language: Language) -> String {
        let german = language == Language::GERMAN;
        let of = |english: &'static str, deutsch: &'static str| if german { deutsch } else { english };
        let mut out = String::new();
        let width = self.rows.iter().map(|r| r.name.chars().count()).max();
        let width = width.unwrap_or(0).clamp(8, 32);
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
        for row in &self.rows {
            let _ = writeln!(
                out,
                "{:<width$}  {:>6}  {:>8}  {:>8}  {}",
                cut(&row.name, width),
                row.today,
                counts(&row.at_once),
                row.lately.as_ref().map_or_else(|| "-".to_owned(), counts),
                row.struggling()
            );
        }
        for need in &self.needs {
            let _ = writeln!(out, "{}: {}", need.label, need.students.join(", "));
        }
        out
    }
}

impl BoardRow {
    /// What is not steady yet, in one line; "-" where nothing is known to be.
    pub fn struggling(&self) -> String {
        if self.struggles.is_empty() {
            return "-".to_owned();
        }
        let one = |(label, share): &(String, Share)| format!("{label} {}/{}", share.came, share.of);
        self.struggles.iter().map(one).collect::<Vec<_>>().join(", ")
    }
}

/// "3/4"; "-" of none.
pub fn counts(share: &Share) -> String {
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
