//! Reports of what was practised: plain rows of the logbook become figures, and figures become PDF, CSV or JSON.
//!
//! Pure: no clock, no file. The date of a report is handed in, so that the same record gives the same bytes. A report says
//! what was practised with this program and how reliably words came. It never says who is fit to fly or to run a launch
//! point, and no figure here may be used to say so.
//!
//! | file | owns |
//! |---|---|
//! | `rate.rs` | shares with their intervals; when an element is called steady |
//! | `figures.rs` | one student's figures |
//! | `group.rs` | a class's figures |
//! | `plain.rs` | CSV and JSON |
//! | `tongue.rs` | words, dates and shares in the site's language |
//! | `paper.rs`, `table.rs`, `ink.rs` | pages, tables, plots; the only files that name the PDF library |
//! | `print.rs` | the printed report of a student and of a class |
//! | `wall.rs` | the sheet of a site's calls |

mod error;
mod figures;
mod group;
mod ink;
mod paper;
mod plain;
mod print;
mod rate;
mod table;
mod tongue;
mod wall;

#[cfg(test)]
mod tests;

pub use error::PrintError;
pub use figures::{ElementLine, Figures, MixUp, OverruledVerdict, StepLine, TrendPoint};
pub use group::{Group, Member, Missed, Need};
pub use plain::{csv_of_group, csv_of_student, json_of_group, json_of_student};
pub use print::{group_pdf, student_pdf};
pub use rate::{FEW, LATELY, Share, Standing, TARGET};
pub use wall::wall_pdf;

use crate::logbook::Practised;
use crate::site::Site;
use crate::site::words::capital;
use jiff::civil::Date;
use std::collections::HashMap;
use uuid::Uuid;

/// What a report is about.
#[derive(Debug, Clone, Copy)]
pub struct Scope<'a> {
    /// The site: its calls, its labels, its language. Attempts at other sites are counted and left out.
    pub site: &'a Site,
    /// The day the report is made; printed on it.
    pub date: Date,
    /// First day that counts, by the student's clock; open when absent.
    pub from: Option<Date>,
    /// Last day that counts; open when absent.
    pub until: Option<Date>,
    /// Names of everybody in the logbook, for who overruled.
    pub names: &'a HashMap<Uuid, String>,
}

impl Scope<'_> {
    /// Is the attempt of a day that counts?
    fn holds(&self, day: Date) -> bool {
        self.from.is_none_or(|f| day >= f) && self.until.is_none_or(|u| day <= u)
    }

    /// The name of an element on paper.
    fn label(&self, element: &str) -> String {
        let label = self.site.elements.get(element).map_or(element, |e| e.label.as_str());
        capital(label)
    }

    /// The name of a step on paper.
    fn title(&self, step: &str) -> String {
        self.site
            .step(step)
            .map_or_else(|| step.to_owned(), |s| s.title.clone())
    }
}

/// The day of an attempt by the student's own clock.
fn day(row: &Practised) -> Date {
    let offset = jiff::tz::Offset::from_seconds(row.utc_offset_seconds).unwrap_or(jiff::tz::Offset::UTC);
    offset.to_datetime(row.started_at).date()
}
