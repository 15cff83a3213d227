//! A report as wanted.

use jiff::civil::Date;
use uuid::Uuid;

/// Whose figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Of {
    /// One student's.
    Student(Uuid),
    /// A class's.
    Class(Uuid),
    /// Those of everybody but instructors.
    Everybody,
}

/// In which form.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Form {
    /// To be printed.
    #[default]
    Pdf,
    /// For a spreadsheet.
    Csv,
    /// For a program.
    Json,
}

impl Form {
    /// All of them, with how the names of their files end.
    pub const ALL: [(Self, &'static str); 3] = [(Self::Pdf, "pdf"), (Self::Csv, "csv"), (Self::Json, "json")];

    /// How the names of its files end.
    pub fn ending(self) -> &'static str {
        Self::ALL.iter().find(|(form, _)| *form == self).map_or("", |(_, e)| e)
    }
}

/// A report as wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wanted {
    /// Whose.
    pub of: Of,
    /// In which form.
    pub form: Form,
    /// The report of each member too; of a class as PDF.
    pub each: bool,
    /// First day that counts.
    pub from: Option<Date>,
    /// Last day that counts.
    pub until: Option<Date>,
    /// The day printed on it.
    pub date: Date,
}
