//! Files: exports, what a crash left over, another computer's logbook, a damaged one.

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

use clap::ValueEnum;

use super::super::{Failure, common};
use super::counted;
use crate::logbook::{Fate, Leftover, LeftoverKind, Logbook, LogbookError, Merged, Whose, set_aside};

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum Format {
    /// One row an attempt; columns for each element that was practised
    Csv,
    /// One row an element; always the same columns
    ElementsCsv,
    /// Everything
    Json,
}

/// A healthy logbook is not taken away by a slip of the hand.
pub(super) fn aside(
    path: &Path,
    recordings: &Path,
    yes: bool,
    now: jiff::Timestamp,
    out: &mut impl Write,
) -> Result<ExitCode, Failure> {
    if !path.exists() {
        return Err(format!("there is no logbook to set aside: {}", path.display()).into());
    }
    if !yes {
        match Logbook::open(path, recordings).and_then(|l| l.check_integrity()) {
            Err(LogbookError::NotALogbook { .. } | LogbookError::Damaged { .. }) => {}
            Err(e) => return Err(e.into()),
            Ok(()) => {
                let bad = Logbook::open(path, recordings)?.bad_rows()?;
                if !bad.is_empty() {
                    return Err(format!(
                        "nothing was done: this logbook is whole, but {} of it cannot be read ({}). \
                         `cableside logbook set-aside --rows` takes them out and keeps them in a file; the rest stays: {}",
                        counted(bad.len(), "row"),
                        bad[0],
                        path.display()
                    )
                    .into());
                }
                return Err(format!(
                    "nothing was done: this logbook is healthy. To start an empty one in its place all the same, add --yes; \
                     the old one is renamed and nothing is deleted: {}",
                    path.display()
                )
                .into());
            }
        }
    }
    // One that can be read is the club's record: taking it away is an instructor's, where one has a PIN.
    if let Ok(mut logbook) = Logbook::open(path, recordings) {
        super::students::authorised(&mut logbook, now)?;
    }
    let target = set_aside(path)?;
    writeln!(
        out,
        "The logbook was renamed; the next start begins an empty one: {}",
        target.display()
    )?;
    Ok(ExitCode::SUCCESS)
}

/// Only the rows that cannot be read.
pub(super) fn rows_aside(
    path: &Path,
    recordings: &Path,
    now: jiff::Timestamp,
    out: &mut impl Write,
) -> Result<ExitCode, Failure> {
    if !path.exists() {
        return Err(format!("there is no logbook: {}", path.display()).into());
    }
    let mut logbook = Logbook::open(path, recordings)?;
    if !logbook.bad_rows()?.is_empty() {
        super::students::authorised(&mut logbook, now)?;
    }
    let (file, rows) = logbook.set_rows_aside()?;
    let Some(file) = file else {
        writeln!(out, "Every row can be read; nothing was done.")?;
        return Ok(ExitCode::SUCCESS);
    };
    for row in &rows {
        writeln!(out, "Taken out: {row}")?;
    }
    writeln!(
        out,
        "{} taken out, with what belongs to them, and kept here: {}",
        counted(rows.len(), "row"),
        file.display()
    )?;
    Ok(ExitCode::SUCCESS)
}

/// Another computer's logbook.
pub(super) fn merge(
    logbook: &mut Logbook,
    other: &Path,
    recordings: Option<&Path>,
    out: &mut impl Write,
) -> Result<ExitCode, Failure> {
    let beside = other.parent().unwrap_or(Path::new("")).join("recordings");
    let merged = logbook.merge(other, recordings.unwrap_or(&beside))?;
    tell_brought(&merged, out)?;
    tell_people(&merged, out)?;
    for problem in merged.problems.iter().chain(&merged.cleaned.problems) {
        writeln!(out, "Not done: {problem}")?;
    }
    writeln!(
        out,
        "The other logbook was not changed; merge this one into it there, and both hold the same."
    )?;
    if let Some(backup) = merged.backup.filter(|b| b.exists()) {
        writeln!(out, "This logbook as it was before: {}", backup.display())?;
    }
    let whole = merged.stepped_over.is_empty();
    Ok(
        if whole && merged.problems.is_empty() && merged.cleaned.problems.is_empty() {
            ExitCode::SUCCESS
        } else {
            ExitCode::FAILURE
        },
    )
}

/// Numbers of things with their names, without those of which there are none.
fn some(counts: &[(usize, &str)]) -> Vec<String> {
    let there = counts.iter().filter(|(n, _)| *n > 0);
    there.map(|(n, what)| counted(*n, what)).collect()
}

/// What came, what went, and what did not come.
fn tell_brought(merged: &Merged, out: &mut impl Write) -> Result<(), Failure> {
    let come = some(&[
        (merged.students, "student"),
        (merged.attempts, "attempt"),
        (merged.runs, "run"),
        (merged.recordings, "recording"),
    ]);
    if come.is_empty() {
        writeln!(out, "Nothing new was in it.")?;
    } else {
        writeln!(out, "Taken over: {}.", come.join(", "))?;
    }
    let gone = some(&[
        (merged.forgotten, "student"),
        (merged.attempts_removed, "attempt"),
        (merged.recordings_removed, "recording"),
    ]);
    if !gone.is_empty() {
        writeln!(out, "Removed, as there: {}.", gone.join(", "))?;
    }
    if merged.recordings_missing > 0 {
        writeln!(
            out,
            "{} not found in either folder; --other-recordings DIR says where the other logbook has them.",
            counted(merged.recordings_missing, "recording")
        )?;
    }
    if merged.twice > 0 {
        writeln!(
            out,
            "{} held out of the record: the same calls of a practice were practised on another computer before, and count once. \
             `cableside logbook held-out` lists them.",
            counted(merged.twice, "attempt")
        )?;
    }
    for row in &merged.stepped_over {
        writeln!(
            out,
            "Left there with what belongs to it, since it cannot be read: {row}"
        )?;
    }
    Ok(())
}

/// What somebody must know of the people in it.
fn tell_people(merged: &Merged, out: &mut impl Write) -> Result<(), Failure> {
    for name in &merged.same_names {
        writeln!(
            out,
            "Two students are called {name}, added on different computers; they stay two, each with what they practised. Are they \
             the same person? `cableside logbook student join` makes them one."
        )?;
    }
    if !merged.new_instructors.is_empty() {
        writeln!(
            out,
            "Instructors here from now on: {}.",
            merged.new_instructors.join(", ")
        )?;
    }
    for name in &merged.pins_changed {
        writeln!(
            out,
            "The PIN of {name} was set, changed or taken away there later, and that holds here too. If nobody did that, put the backup \
             named below in the place of this logbook."
        )?;
    }
    Ok(())
}

pub(super) fn export(logbook: &Logbook, format: Format, whose: Whose, out: impl Write) -> Result<usize, Failure> {
    Ok(match format {
        Format::Csv => logbook.export_csv(whose, out)?,
        Format::ElementsCsv => logbook.export_elements_csv(whose, out)?,
        Format::Json => logbook.export_json(whose, out)?,
    })
}

pub(super) fn export_to_file(logbook: &Logbook, format: Format, whose: Whose, file: &Path) -> Result<usize, Failure> {
    common::write_new(file, |out| export(logbook, format, whose, out))
}

pub(super) fn leftovers(leftovers: &[Leftover], out: &mut impl Write) -> Result<(), Failure> {
    if leftovers.is_empty() {
        writeln!(out, "No recordings left over.")?;
        return Ok(());
    }
    for left in leftovers {
        let kind = match left.kind {
            LeftoverKind::Unfinished => "broken off while recording (or being recorded just now)",
            LeftoverKind::WithoutAttempt => "recorded, but no attempt was stored",
        };
        let fate = match &left.fate {
            Fate::Kept(student) => format!("kept, {}", student.name),
            Fate::Removed => "removed, no consent".to_owned(),
            Fate::NotRemoved(why) => format!("without consent, but {why}"),
            Fate::UnknownStudent(id) => {
                format!("kept, of a student who is not in this logbook ({id})")
            }
            Fate::Foreign => "kept, not a recording of this program".to_owned(),
        };
        let when = left
            .modified
            .map_or_else(String::new, |t| format!(", {}", t.strftime("%Y-%m-%d %H:%M UTC")));
        writeln!(
            out,
            "{fate}; {kind}; {} kB{when}: {}",
            left.bytes.div_ceil(1000),
            left.path.display()
        )?;
    }
    writeln!(
        out,
        "What was kept can be judged with `cableside score FILE` or deleted by hand."
    )?;
    Ok(())
}
