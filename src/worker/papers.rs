//! Reports and the sheet for the wall, made from the logbook. Terminal and window do here what both do.

pub use super::message::papers::{Form, Of, Wanted};

use crate::logbook::{Logbook, LogbookError, Whose};
use crate::report::{self, Figures, Group, PrintError, Scope};
use crate::site::Site;
use jiff::civil::Date;
use std::collections::HashMap;
use uuid::Uuid;

/// Why there is no report.
#[derive(Debug, thiserror::Error)]
pub enum PaperError {
    /// The logbook cannot be read.
    #[error(transparent)]
    Logbook(#[from] LogbookError),
    /// The PDF cannot be made.
    #[error(transparent)]
    Print(#[from] PrintError),
    /// The CSV cannot be made.
    #[error(transparent)]
    Csv(#[from] csv::Error),
    /// The JSON cannot be made.
    #[error(transparent)]
    Json(#[from] serde_json::Error),
    /// The days are the wrong way round.
    #[error("the first day lies after the last")]
    Days,
    /// Nobody to report on.
    #[error("there are no students to report on: add them to the logbook, and to the class")]
    Nobody,
}

/// The sheet of the site's calls for the wall, as PDF.
pub fn wall(site: &Site, date: Date) -> Result<Vec<u8>, PrintError> {
    let names = HashMap::new();
    report::wall_pdf(&Scope {
        site,
        date,
        from: None,
        until: None,
        names: &names,
    })
}

/// The bytes of a report.
pub fn made(site: &Site, logbook: &Logbook, wanted: &Wanted) -> Result<Vec<u8>, PaperError> {
    if wanted.from.zip(wanted.until).is_some_and(|(f, u)| f > u) {
        return Err(PaperError::Days);
    }
    let students = logbook.students()?;
    let names: HashMap<Uuid, String> = students.iter().map(|s| (s.id, s.name.clone())).collect();
    let scope = &Scope {
        site,
        date: wanted.date,
        from: wanted.from,
        until: wanted.until,
        names: &names,
    };
    let (name, members) = match wanted.of {
        Of::Student(id) => {
            let student = logbook.student(id)?;
            let figures = Figures::new(scope, &logbook.practised(Whose::Student(id))?);
            return Ok(match wanted.form {
                Form::Pdf => report::student_pdf(scope, &student.name, &figures)?,
                Form::Csv => report::csv_of_student(&student.name, &figures)?,
                Form::Json => report::json_of_student(scope, &student.name, &figures)?,
            });
        }
        Of::Class(id) => (logbook.class(id)?.name, logbook.members(id)?),
        Of::Everybody => {
            let learn = students.into_iter().filter(|s| !s.is_instructor()).collect();
            (site.name.clone(), learn)
        }
    };
    let members: Vec<(Uuid, String)> = members.into_iter().map(|s| (s.id, s.name)).collect();
    if members.is_empty() {
        return Err(PaperError::Nobody);
    }
    let group = Group::new(scope, &name, &members, &logbook.practised(Whose::Anyone)?);
    Ok(match wanted.form {
        Form::Pdf => report::group_pdf(scope, &group, wanted.each)?,
        Form::Csv => report::csv_of_group(&group)?,
        Form::Json => report::json_of_group(scope, &group)?,
    })
}
