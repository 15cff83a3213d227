//! The live board: who has practised how much today, and what was missed.

use crate::report::{Group, Member, Need, Share};
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
    /// Elements missed lately, most often missed first, with how often: what was seen, of few calls too.
    pub missed: Vec<(String, Share)>,
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
    /// Steadiness is judged as in reports: by the latest calls, with their interval, and nothing is said of too few. What
    /// was missed is counted beside it, so that the weakest are seen after a handful of calls; they come first.
    pub fn new(today: &Group, group: &Group) -> Self {
        let row = |(now, all): (&Member, &Member)| BoardRow {
            name: all.name.clone(),
            today: now.figures.calls + now.figures.read_aloud,
            at_once: now.figures.first_time,
            lately: all.figures.trend.last().map(|p| p.first_time),
            missed: missed(all),
        };
        let mut rows: Vec<BoardRow> = today.members.iter().zip(&group.members).map(row).collect();
        // Stable: who is alike stays in the class's order.
        rows.sort_by(|a, b| b.weakest().total_cmp(&a.weakest()));
        Self {
            rows,
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
            of(
                "most often missed (times/calls)",
                "am öftesten verfehlt (Male/Meldungen)"
            )
        );
        for row in &self.rows {
            let _ = writeln!(
                out,
                "{:<width$}  {:>6}  {:>8}  {:>8}  {}",
                cut(&row.name, width),
                row.today,
                counts(&row.at_once),
                row.lately.as_ref().map_or_else(|| "-".to_owned(), counts),
                row.most_missed()
            );
        }
        for need in self.needs.iter().filter(|n| !n.students.is_empty()) {
            let _ = writeln!(
                out,
                "{}: {}: {}",
                of("Not steady yet", "Sitzt noch nicht"),
                need.label,
                need.students.join(", ")
            );
        }
        out
    }
}

/// Of a student's latest calls, what was missed: the largest part first, of equal ones that of more calls.
fn missed(member: &Member) -> Vec<(String, Share)> {
    let mut missed: Vec<(String, Share)> = member
        .figures
        .elements
        .iter()
        .filter_map(|e| Some((e.label.clone(), e.lately.missed()?)))
        .collect();
    missed.sort_by(|(_, a), (_, b)| {
        b.value()
            .unwrap_or(0.0)
            .total_cmp(&a.value().unwrap_or(0.0))
            .then(b.of.cmp(&a.of))
    });
    missed.truncate(SHOWN);
    missed
}

/// So many missed elements are shown: what to practise next, not everything.
const SHOWN: usize = 3;

impl BoardRow {
    /// The part of calls in which the most often missed element was missed.
    fn weakest(&self) -> f64 {
        self.missed.first().and_then(|(_, share)| share.value()).unwrap_or(0.0)
    }

    /// What was missed most often, in one line, as times of calls; "-" where nothing was.
    pub fn most_missed(&self) -> String {
        if self.missed.is_empty() {
            return "-".to_owned();
        }
        let one = |(label, share): &(String, Share)| format!("{label} {}/{}", share.came, share.of);
        self.missed.iter().map(one).collect::<Vec<_>>().join(", ")
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
