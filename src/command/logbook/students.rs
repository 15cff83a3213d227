//! Students: adding, asking about recordings, roles, PINs, how long things are kept.

use std::fmt::Write as _;
use std::io::{self, IsTerminal, Write};
use std::process::ExitCode;

use clap::{Args, Subcommand};
use jiff::Timestamp;

use super::super::{Failure, common};
use super::{Answer, counted, table};
use crate::logbook::{
    Consent, Forgotten, INSTRUCTOR, Logbook, LogbookError, NewStudent, Removed, Retention, Student, Whose,
};

#[derive(Debug, Subcommand)]
pub(super) enum StudentAction {
    /// Add a student.
    Add {
        name: String,
        /// May recordings of the calls be kept?
        #[arg(long, value_enum)]
        consent: Answer,
        /// Who answered, if not the student, such as "guardian".
        #[arg(long, value_name = "TEXT")]
        by: Option<String>,
        /// Only a guardian can give consent.
        #[arg(long)]
        needs_guardian: bool,
        /// Preferred language, such as en or de.
        #[arg(long)]
        language: Option<String>,
    },
    /// Give a student another name.
    Rename {
        /// Name, id, or the first eight characters of the id.
        student: String,
        /// The new name.
        name: String,
    },
    /// Two entries are the same person: they become one for good, with the name of the second. Of the two ids the lesser one stays, so that
    /// every computer that joins them comes to the same.
    Join {
        /// One of them: name, id, or the first eight characters of the id.
        student: String,
        /// The other, whose name stays.
        into: String,
        /// Do it; without it only what would happen is said.
        #[arg(long)]
        yes: bool,
    },
    /// Store another answer about consent. "no" removes the recordings kept so far.
    Consent {
        /// Name, id, or the first eight characters of the id.
        student: String,
        /// May recordings of the calls be kept?
        #[arg(value_enum)]
        answer: Answer,
        /// Who answered, if not the student, such as "guardian".
        #[arg(long, value_name = "TEXT")]
        by: Option<String>,
    },
    /// Whether only a guardian can give consent. "yes" removes recordings kept by the student's own consent.
    Guardian {
        /// Name, id, or the first eight characters of the id.
        student: String,
        #[arg(value_enum)]
        answer: Answer,
    },
    /// Make somebody an instructor, who may overrule verdicts, or a student only.
    Role {
        /// Name, id, or the first eight characters of the id.
        student: String,
        /// "instructor" or "student".
        #[arg(value_parser = ["instructor", "student"])]
        role: String,
    },
    /// Set an instructor's PIN, for computers that are shared. It is asked for; only a slow hash of it is stored.
    Pin {
        /// Name, id, or the first eight characters of the id.
        student: String,
        /// Have no PIN any more.
        #[arg(long)]
        remove: bool,
        /// The PIN is forgotten: it goes when this is said again after a day, unless it was given meanwhile.
        #[arg(long, conflicts_with = "remove")]
        forgotten: bool,
    },
    /// Show or set after how many days this student's things are removed, before what the logbook says.
    Keep {
        /// Name, id, or the first eight characters of the id.
        student: String,
        #[command(flatten)]
        days: Days,
    },
}

/// After how many days things are removed.
#[derive(Debug, Clone, Copy, Args)]
pub(super) struct Days {
    /// Remove recordings after so many days (their attempts stay); 0: not by age.
    #[arg(long, value_name = "DAYS")]
    recordings_days: Option<u32>,
    /// Remove whole attempts after so many days; 0: not by age.
    #[arg(long, value_name = "DAYS")]
    attempts_days: Option<u32>,
}

impl Days {
    fn on(self, mut keep: Retention) -> Option<Retention> {
        let set = |days: u32| (days > 0).then_some(days);
        if let Some(days) = self.recordings_days {
            keep.recordings_days = set(days);
        }
        if let Some(days) = self.attempts_days {
            keep.attempts_days = set(days);
        }
        (self.recordings_days.is_some() || self.attempts_days.is_some()).then_some(keep)
    }
}

fn keep_words(keep: Retention) -> String {
    let one = |what: &str, days: Option<u32>| match days {
        Some(days) => {
            let days = counted(usize::try_from(days).unwrap_or(usize::MAX), "day");
            format!("{what} are removed after {days}.")
        }
        None => format!("{what} are kept until somebody removes them."),
    };
    format!(
        "{} {}",
        one("Recordings", keep.recordings_days),
        one("Attempts", keep.attempts_days)
    )
}

/// Shows or sets what holds on this computer.
pub(super) fn keep(logbook: &mut Logbook, days: &Days, now: Timestamp, out: &mut impl Write) -> Result<(), Failure> {
    if let Some(keep) = days.on(logbook.retention()?) {
        authorised(logbook, now)?;
        logbook.set_retention(keep, now)?;
    }
    let rule = logbook.retention()?;
    writeln!(out, "{}", keep_words(rule))?;
    for s in logbook
        .students()?
        .into_iter()
        .filter(|s| s.keep != Retention::default())
    {
        writeln!(
            out,
            "{} has an own rule: {}",
            s.name,
            keep_words(in_force(s.keep, rule))
        )?;
    }
    Ok(())
}

/// What holds for a student: the own rule, and where that says nothing the computer's.
fn in_force(own: Retention, rule: Retention) -> Retention {
    Retention {
        recordings_days: own.recordings_days.or(rule.recordings_days),
        attempts_days: own.attempts_days.or(rule.attempts_days),
    }
}

/// What was removed by age, for the user.
pub(in crate::command) fn removed_lines(removed: &Removed) -> Vec<String> {
    let mut lines = Vec::new();
    if removed.recordings > 0 || removed.attempts > 0 {
        lines.push(format!(
            "{} and {} were older than they may be and were removed (`cableside logbook keep` shows the rule).",
            counted(removed.recordings, "recording"),
            counted(removed.attempts, "attempt")
        ));
    }
    if let Some(days) = removed.doubted_days {
        lines.push(format!(
            "Nothing was removed by age: by this computer's clock the logbook was not in use for {days} days. If the clock is \
             right, what is too old goes at a start on another day; if not, set it right."
        ));
    }
    lines.extend(removed.problems.iter().map(|p| format!("Not removed: {p}")));
    lines
}

pub(super) fn student(
    logbook: &mut Logbook,
    action: &StudentAction,
    now: Timestamp,
    out: &mut impl Write,
) -> Result<(), Failure> {
    match action {
        StudentAction::Add {
            name,
            consent,
            by,
            needs_guardian,
            language,
        } => {
            let new = NewStudent {
                name: name.clone(),
                language: language.clone(),
                role: None,
                needs_guardian: *needs_guardian,
                consent: Some(answered(*consent, by.as_ref(), now)),
            };
            refuse_double(logbook, name)?;
            let student = logbook.add_student(&new, now)?;
            writeln!(out, "{}  {}  ({})", student.id, student.name, consent_words(&student))?;
        }
        StudentAction::Consent { student, answer, by } => {
            let student = logbook.find_student(student)?;
            let removed = logbook.set_consent(student.id, &answered(*answer, by.as_ref(), now), now)?;
            tell_consent(logbook, &student, removed, out)?;
        }
        StudentAction::Guardian { student, answer } => {
            let student = logbook.find_student(student)?;
            authorised(logbook, now)?;
            let removed = logbook.set_needs_guardian(student.id, *answer == Answer::Yes, now)?;
            tell_consent(logbook, &student, removed, out)?;
        }
        StudentAction::Role { student, role } => {
            let s = logbook.find_student(student)?;
            authorised(logbook, now)?;
            let role = (role == INSTRUCTOR).then_some(INSTRUCTOR);
            let s = logbook.change_student(s.id, &s.name, s.language.as_deref(), role, now)?;
            writeln!(out, "{}: {}", s.name, s.role.as_deref().unwrap_or("student"))?;
        }
        StudentAction::Rename { student, name } => rename(logbook, student, name, now, out)?,
        StudentAction::Join { student, into, yes } => join(logbook, student, into, *yes, now, out)?,
        StudentAction::Pin {
            student,
            forgotten: true,
            ..
        } => {
            let s = logbook.find_student(student)?;
            match logbook.forgotten_pin(s.id, now)? {
                None => writeln!(out, "{} has no PIN.", s.name)?,
                Some(at) => writeln!(
                    out,
                    "Noted. Say the same again after {}, and the PIN of {} goes; giving it before that keeps it.",
                    at.strftime("%Y-%m-%d %H:%M UTC"),
                    s.name
                )?,
            }
        }
        StudentAction::Pin { student, remove, .. } => change_pin(logbook, student, *remove, now, out)?,
        StudentAction::Keep { student, days } => {
            let s = logbook.find_student(student)?;
            if let Some(keep) = days.on(s.keep) {
                authorised(logbook, now)?;
                logbook.set_student_retention(s.id, keep, now)?;
            }
            let own = logbook.student(s.id)?.keep;
            let rule = logbook.retention()?;
            writeln!(out, "{}: {}", s.name, keep_words(in_force(own, rule)))?;
        }
    }
    Ok(())
}

/// What holds after an answer about recordings, and how many of them went.
fn tell_consent(logbook: &Logbook, student: &Student, removed: usize, out: &mut impl Write) -> Result<(), Failure> {
    let student = logbook.student(student.id)?;
    writeln!(out, "{}: {}", student.name, consent_words(&student))?;
    if removed > 0 {
        writeln!(out, "{} removed.", counted(removed, "recording"))?;
    }
    Ok(())
}

fn rename(
    logbook: &mut Logbook,
    student: &str,
    name: &str,
    now: Timestamp,
    out: &mut impl Write,
) -> Result<(), Failure> {
    let s = logbook.find_student(student)?;
    authorised(logbook, now)?;
    if let Some(there) = logbook.looks_like(name, Some(s.id))? {
        return Err(LogbookError::LooksLike {
            name: name.to_owned(),
            other: there.name,
        }
        .into());
    }
    let after = logbook.change_student(s.id, name, s.language.as_deref(), s.role.as_deref(), now)?;
    writeln!(out, "{} is now called {}.", s.name, after.name)?;
    Ok(())
}

/// Two entries of the same person become one; without `yes` it is only told what that would do.
fn join(
    logbook: &mut Logbook,
    student: &str,
    into: &str,
    yes: bool,
    now: Timestamp,
    out: &mut impl Write,
) -> Result<(), Failure> {
    let (from, into) = (logbook.find_student(student)?, logbook.find_student(into)?);
    if !yes {
        let attempts = logbook.count_attempts(Whose::Student(from.id))?;
        return Err(format!(
            "nothing was changed: this would give {} of {} ({}) to {} ({}) and cannot be undone; the lesser id stays, and a refusal of \
             recordings by either counts for both. Add --yes to do it",
            counted(usize::try_from(attempts)?, "attempt"),
            from.name,
            from.id,
            into.name,
            into.id
        )
        .into());
    }
    authorised(logbook, now)?;
    let joined = logbook.join_students(from.id, into.id, now)?;
    writeln!(
        out,
        "{} and {} are one entry now: {} ({}), with {} more.",
        from.name,
        into.name,
        joined.student.name,
        joined.student.id,
        counted(joined.attempts, "attempt")
    )?;
    if joined.recordings_removed > 0 {
        writeln!(
            out,
            "{} removed, since consent does not cover them.",
            counted(joined.recordings_removed, "recording")
        )?;
    }
    for problem in &joined.problems {
        writeln!(out, "Not done: {problem}")?;
    }
    Ok(())
}

/// Asks for the PIN there is, if there is one, and for the new one.
fn change_pin(
    logbook: &mut Logbook,
    student: &str,
    remove: bool,
    now: Timestamp,
    out: &mut impl Write,
) -> Result<(), Failure> {
    let s = logbook.find_student(student)?;
    if !s.has_pin {
        authorised(logbook, now)?;
    }
    if s.has_pin {
        let old = ask_pin(&format!("The PIN {} has now", s.name))?;
        if !logbook.check_pin(s.id, &old, now)? {
            return Err(LogbookError::WrongPin { who: s.name }.into());
        }
    }
    if remove {
        logbook.set_pin(s.id, None, now)?;
        writeln!(out, "{} has no PIN.", s.name)?;
    } else {
        let pin = ask_pin(&format!("The new PIN of {} (4 characters or more)", s.name))?;
        logbook.set_pin(s.id, Some(&pin), now)?;
        writeln!(out, "{} has a PIN.", s.name)?;
    }
    Ok(())
}

/// What only an instructor may do, where one has a PIN: asks for it.
pub(super) fn authorised(logbook: &mut Logbook, now: Timestamp) -> Result<(), Failure> {
    let holders = logbook.pin_holders()?;
    if holders.is_empty() {
        return Ok(());
    }
    let names: Vec<&str> = holders.iter().map(|s| s.name.as_str()).collect();
    let pin = ask_pin(&format!(
        "An instructor's PIN is needed for this ({})",
        names.join(", ")
    ))?;
    Ok(logbook.authorise(Some(&pin), now)?)
}

/// A PIN from the keyboard, not shown while it is typed; from a pipe its next line.
pub(super) fn ask_pin(question: &str) -> Result<String, Failure> {
    write!(io::stderr(), "{question}: ")?;
    io::stderr().flush()?;
    let line = if io::stdin().is_terminal() {
        Some(rpassword::read_password()?)
    } else {
        common::line()?
    };
    let line = line.ok_or("a PIN is needed for this; nothing was changed")?;
    // What is no text is all the same to whoever reads it, and one such PIN would be as good as another.
    if line.contains(char::REPLACEMENT_CHARACTER) {
        return Err(
            "the PIN has characters that are not UTF-8; use digits and plain letters. Nothing was changed".into(),
        );
    }
    Ok(line.trim().to_owned())
}

fn answered(answer: Answer, by: Option<&String>, now: Timestamp) -> Consent {
    Consent {
        given: answer == Answer::Yes,
        asked_at: now,
        by: by.cloned(),
    }
}

/// At the command line a second student of the same name is most likely a mistake, and every later command by name
/// would be ambiguous.
fn refuse_double(logbook: &Logbook, name: &str) -> Result<(), Failure> {
    match logbook.looks_like(name, None)? {
        None => Ok(()),
        Some(there) => Err(format!(
            "{} is in the logbook already ({}) or looks the same; add something that tells the two apart, such as an initial",
            there.name, there.id
        )
        .into()),
    }
}

fn consent_words(student: &Student) -> String {
    let Some(consent) = &student.consent else {
        return if student.needs_guardian {
            "not asked about recordings; a guardian has to answer".to_owned()
        } else {
            "not asked about recordings".to_owned()
        };
    };
    let mut words = String::from(if consent.given {
        "recordings allowed"
    } else {
        "no recordings"
    });
    // Writing to a String cannot fail.
    let _ = write!(words, ", answered {}", consent.asked_at.strftime("%Y-%m-%d"));
    if let Some(by) = &consent.by {
        let _ = write!(words, " by {by}");
    }
    words
}

/// Role and PIN; that a PIN is said to be forgotten is for all to see, so that its owner can object.
fn role_words(logbook: &Logbook, student: &Student) -> Result<String, Failure> {
    let mut words = student.role.clone().unwrap_or_else(|| "student".to_owned());
    if student.needs_guardian {
        words.push_str(", needs a guardian");
    }
    if student.has_pin {
        words.push_str(", PIN");
    }
    if logbook.pin_said_forgotten(student.id)?.is_some() {
        words.push_str(" (said to be forgotten)");
    }
    Ok(words)
}

pub(super) fn list(logbook: &Logbook, out: &mut impl Write) -> Result<(), Failure> {
    let students = logbook.students()?;
    if students.is_empty() {
        writeln!(
            out,
            "No students yet; `cableside logbook student add NAME --consent yes|no` adds one."
        )?;
        return Ok(());
    }
    let classes = logbook.classes()?;
    let mut rows = vec![["id", "name", "role", "class", "attempts", "consent"].map(str::to_owned)];
    for s in students {
        let attempts = logbook.count_attempts(Whose::Student(s.id))?;
        let member_of: Vec<&str> = (classes.iter())
            .filter(|c| c.members.contains(&s.id))
            .map(|c| c.name.as_str())
            .collect();
        rows.push([
            s.id.to_string()[..8].to_owned(),
            s.name.clone(),
            role_words(logbook, &s)?,
            if member_of.is_empty() {
                "-".to_owned()
            } else {
                member_of.join(", ")
            },
            attempts.to_string(),
            consent_words(&s),
        ]);
    }
    table(&rows, out)
}

pub(super) fn forget(
    logbook: &mut Logbook,
    asked: &str,
    yes: bool,
    now: Timestamp,
    out: &mut impl Write,
) -> Result<ExitCode, Failure> {
    let student = logbook.find_student(asked)?;
    if yes {
        authorised(logbook, now)?;
        return forgotten(&student, &logbook.forget(student.id, now)?, out);
    }
    let attempts = logbook.count_attempts(Whose::Student(student.id))?;
    Err(format!(
        "nothing was removed: this would remove {} ({}) with {} and all recordings for good; add --yes to do it",
        student.name,
        student.id,
        counted(usize::try_from(attempts)?, "attempt")
    )
    .into())
}

fn forgotten(student: &Student, report: &Forgotten, out: &mut impl Write) -> Result<ExitCode, Failure> {
    writeln!(
        out,
        "{} was removed with {} and {}.",
        student.name,
        counted(report.attempts, "attempt"),
        counted(report.recordings, "recording")
    )?;
    for backup in &report.backups {
        writeln!(
            out,
            "An old backup that held the student was removed: {}",
            backup.display()
        )?;
    }
    for file in &report.may_still_hold {
        writeln!(
            out,
            "This file was set aside earlier and may still hold the student: {}",
            file.display()
        )?;
    }
    writeln!(out, "Exports and copies you made yourself are not touched.")?;
    for problem in &report.problems {
        writeln!(out, "Not done: {problem}")?;
    }
    Ok(if report.problems.is_empty() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}
