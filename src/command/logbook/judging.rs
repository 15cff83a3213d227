//! "I did say that": holding an attempt out, judging it anew, and the calls so labelled.

use std::io::Write;
use std::path::PathBuf;

use clap::{Args, Subcommand};
use jiff::Timestamp;

use super::super::Failure;
use super::lists::dealt;
use super::students::ask_pin;
use super::{counted, local, named, table, whose};
use crate::logbook::{Instructor, Logbook, Verdict, Whose};

#[derive(Debug, Subcommand)]
pub(super) enum JudgingAction {
    /// "I did say that": hold an attempt out of the record until somebody judges it.
    HoldOut {
        /// The attempt's id, or at least its first eight characters.
        id: String,
    },
    /// List the attempts that wait to be judged.
    HeldOut {
        /// Only this student's.
        #[arg(long, value_name = "NAME-OR-ID")]
        student: Option<String>,
    },
    /// Overrule the verdict of one element. The program's own stays beside it.
    Overrule {
        /// The attempt's id, or at least its first eight characters.
        id: String,
        /// The element, such as crew.
        element: String,
        /// What counts: said, wrong, missing, unsure; or "program" to take an overrule back.
        #[arg(value_parser = ["said", "wrong", "missing", "unsure", "program"])]
        verdict: String,
        #[command(flatten)]
        by: By,
    },
    /// Let an attempt stand as the program judged it; it counts again if it was held out.
    Uphold {
        /// The attempt's id, or at least its first eight characters.
        id: String,
        #[command(flatten)]
        by: By,
    },
    /// Write the calls that an instructor has judged, with their recordings, as labelled calls for `cableside evaluate`.
    ///
    /// Only of students who consented to recordings. The files hold voices: ask before you pass them on.
    Labelled {
        /// The folder to write; it must not exist.
        #[arg(long, value_name = "DIR")]
        out: PathBuf,
    },
}

/// Who judges, and why.
#[derive(Debug, Args)]
pub(super) struct By {
    /// The instructor: name, id, or the first eight characters of the id.
    #[arg(long, value_name = "NAME-OR-ID")]
    by: String,
    /// Why.
    #[arg(long, value_name = "TEXT")]
    reason: String,
}

impl By {
    fn instructor(&self, logbook: &mut Logbook, now: Timestamp) -> Result<Instructor, Failure> {
        let person = logbook.find_student(&self.by)?;
        let pin = if person.has_pin {
            Some(ask_pin(&format!("The PIN of {}", person.name))?)
        } else {
            None
        };
        Ok(logbook.instructor(person.id, pin.as_deref(), now)?)
    }
}

pub(super) fn judge(
    logbook: &mut Logbook,
    action: &JudgingAction,
    now: Timestamp,
    out: &mut impl Write,
) -> Result<(), Failure> {
    match action {
        JudgingAction::HoldOut { id } => {
            let id = logbook.find_attempt(id)?.attempt.id;
            logbook.set_held_out(id, true, now)?;
            writeln!(out, "Held out of the record until an instructor judges it: {id}")?;
        }
        JudgingAction::HeldOut { student } => {
            let whose = whose(logbook, student.as_deref())?;
            list_held_out(logbook, whose, out)?;
        }
        JudgingAction::Overrule {
            id,
            element,
            verdict,
            by,
        } => {
            let id = logbook.find_attempt(id)?.attempt.id;
            let instructor = by.instructor(logbook, now)?;
            match Verdict::ALL.into_iter().find(|v| v.word() == verdict) {
                Some(verdict) => logbook.overrule(id, element, verdict, instructor, &by.reason, now)?,
                None => logbook.withdraw_overrule(id, element, instructor, &by.reason, now)?,
            }
            let stored = logbook.find_attempt(&id.to_string())?;
            writeln!(
                out,
                "{element}: {verdict}. The attempt counts as {}.",
                stored.counted().word()
            )?;
        }
        JudgingAction::Uphold { id, by } => {
            let id = logbook.find_attempt(id)?.attempt.id;
            let instructor = by.instructor(logbook, now)?;
            logbook.uphold(id, instructor, &by.reason, now)?;
            let stored = logbook.find_attempt(&id.to_string())?;
            writeln!(out, "The attempt counts as {}.", stored.counted().word())?;
        }
        JudgingAction::Labelled { out: folder } => {
            let done = logbook.export_labelled(folder)?;
            writeln!(out, "{} written: {}", counted(done.written, "call"), folder.display())?;
            if done.undecided > 0 {
                writeln!(
                    out,
                    "{} left out: an element is unsure.",
                    counted(done.undecided, "call")
                )?;
            }
            if done.without_recording > 0 {
                writeln!(
                    out,
                    "{} left out: no recording is kept.",
                    counted(done.without_recording, "call")
                )?;
            }
        }
    }
    Ok(())
}

fn list_held_out(logbook: &Logbook, whose: Whose, out: &mut impl Write) -> Result<(), Failure> {
    let held = logbook.held_out(whose)?;
    if held.is_empty() {
        writeln!(out, "No attempt waits to be judged.")?;
        return Ok(());
    }
    let names = named(logbook)?;
    let mut rows = vec![["id", "when", "student", "step", "dealt", "recording"].map(str::to_owned)];
    for a in held {
        rows.push([
            a.id.to_string()[..8].to_owned(),
            local(a.started_at, a.utc_offset_seconds),
            a.student
                .and_then(|id| names.get(&id))
                .cloned()
                .unwrap_or_else(|| "-".to_owned()),
            a.step.clone(),
            dealt(&a.situation),
            if a.recording.is_some() { "yes" } else { "no" }.to_owned(),
        ]);
    }
    table(&rows, out)
}
