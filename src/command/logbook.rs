//! `cableside logbook`: look into the record, add students, export, forget.

use std::fmt::Write as _;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, Subcommand, ValueEnum};
use jiff::Timestamp;
use jiff::tz::Offset;

use super::Failure;
use crate::folders;
use crate::logbook::{
    AttemptSummary, Consent, Fate, Forgotten, Leftover, LeftoverKind, Logbook, NewStudent, StoredAttempt, Student,
    Verdict, Whose, set_aside,
};

/// Look into the logbook: students, attempts, recordings.
#[derive(Debug, Args)]
pub struct LogbookArgs {
    /// The logbook's database file [default: in the program's data folder].
    #[arg(long, global = true, value_name = "FILE")]
    logbook: Option<PathBuf>,
    /// The folder of the recordings [default: in the program's data folder].
    #[arg(long, global = true, value_name = "DIR")]
    recordings: Option<PathBuf>,
    #[command(subcommand)]
    action: Action,
}

#[derive(Debug, Subcommand)]
enum Action {
    /// List attempts, newest first.
    List {
        /// Only this student's (name, id, or the first eight characters of the id).
        #[arg(long, value_name = "NAME-OR-ID")]
        student: Option<String>,
        /// How many at most.
        #[arg(long, default_value_t = 20)]
        limit: u32,
        /// How many of the newest to leave out.
        #[arg(long, default_value_t = 0)]
        offset: u32,
    },
    /// Show one attempt with its verdicts.
    Show {
        /// The attempt's id, or at least its first eight characters.
        id: String,
        /// As JSON, with all evidence.
        #[arg(long)]
        json: bool,
    },
    /// List the students with their consent and what they practised.
    Students,
    /// Add a student, or store an answer about consent.
    #[command(subcommand)]
    Student(StudentAction),
    /// Write the attempts as CSV or JSON.
    ///
    /// In CSV a text that begins with = + - @ gets a leading apostrophe, so that a spreadsheet does not run it as a
    /// formula. JSON is exact and holds the evidence, too.
    Export {
        #[arg(long, value_enum)]
        format: Format,
        /// The file to write; it must not exist [default: standard output].
        #[arg(long, value_name = "FILE")]
        out: Option<PathBuf>,
        /// Only this student's.
        #[arg(long, value_name = "NAME-OR-ID")]
        student: Option<String>,
    },
    /// Remove a student with all attempts and recordings, for good.
    Forget {
        /// Name, id, or the first eight characters of the id.
        student: String,
        /// Really do it. Without this, only what would be removed is shown.
        #[arg(long)]
        yes: bool,
    },
    /// List recordings that belong to no attempt, as a crash leaves them; those without consent are removed.
    Leftovers,
    /// Rename a damaged logbook, so that a new one can be started. Deletes nothing.
    SetAside,
}

#[derive(Debug, Subcommand)]
enum StudentAction {
    /// Add a student.
    Add {
        name: String,
        /// May recordings of the calls be kept?
        #[arg(long, value_enum)]
        consent: Answer,
        /// Who answered, if not the student, such as "guardian".
        #[arg(long, value_name = "TEXT")]
        by: Option<String>,
        /// Preferred language, such as en or de.
        #[arg(long)]
        language: Option<String>,
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
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Answer {
    Yes,
    No,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    Csv,
    Json,
}

/// Runs the command. Exit code 0: done; 1 (and an error, or what would be done) otherwise.
pub fn run(args: &LogbookArgs) -> Result<ExitCode, Failure> {
    let path = args.logbook.clone().unwrap_or_else(folders::logbook);
    let recordings = args.recordings.clone().unwrap_or_else(folders::recordings);
    let mut out = io::stdout().lock();
    match act(&args.action, &path, &recordings, Timestamp::now(), &mut out) {
        // The reader went away (`| head`): it has seen what it wanted.
        Err(e) if is_broken_pipe(e.as_ref()) => Ok(ExitCode::SUCCESS),
        other => other,
    }
}

fn is_broken_pipe(error: &(dyn std::error::Error + 'static)) -> bool {
    let mut next = Some(error);
    while let Some(error) = next {
        if error
            .downcast_ref::<io::Error>()
            .is_some_and(|e| e.kind() == io::ErrorKind::BrokenPipe)
        {
            return true;
        }
        next = error.source();
    }
    false
}

fn act(
    action: &Action,
    path: &Path,
    recordings: &Path,
    now: Timestamp,
    out: &mut impl Write,
) -> Result<ExitCode, Failure> {
    if matches!(action, Action::SetAside) {
        let target = set_aside(path)?;
        writeln!(
            out,
            "The logbook was renamed; the next start begins an empty one: {}",
            target.display()
        )?;
        return Ok(ExitCode::SUCCESS);
    }
    let mut logbook = Logbook::open(path, recordings)?;
    match action {
        Action::List { student, limit, offset } => {
            let whose = whose(&logbook, student.as_deref())?;
            list(&logbook, whose, *offset, *limit, out)?;
        }
        Action::Show { id, json } => {
            let stored = logbook.find_attempt(id)?;
            if *json {
                writeln!(out, "{}", serde_json::to_string_pretty(&stored)?)?;
            } else {
                show(&logbook, &stored, out)?;
            }
        }
        Action::Students => students(&logbook, out)?,
        Action::Student(action) => student(&mut logbook, action, now, out)?,
        Action::Export {
            format,
            out: None,
            student,
        } => {
            let whose = whose(&logbook, student.as_deref())?;
            export(&logbook, *format, whose, io::BufWriter::new(out))?;
        }
        Action::Export {
            format,
            out: Some(file),
            student,
        } => {
            let whose = whose(&logbook, student.as_deref())?;
            let count = export_to_file(&logbook, *format, whose, file)?;
            writeln!(out, "{} written: {}", counted(count, "attempt"), file.display())?;
        }
        Action::Forget { student, yes } => return forget(&mut logbook, student, *yes, now, out),
        Action::Leftovers => leftovers(&logbook.adopt_leftovers()?, out)?,
        Action::SetAside => {}
    }
    Ok(ExitCode::SUCCESS)
}

fn whose(logbook: &Logbook, student: Option<&str>) -> Result<Whose, Failure> {
    Ok(match student {
        None => Whose::Anyone,
        Some(asked) => Whose::Student(logbook.find_student(asked)?.id),
    })
}

fn student(logbook: &mut Logbook, action: &StudentAction, now: Timestamp, out: &mut impl Write) -> Result<(), Failure> {
    match action {
        StudentAction::Add {
            name,
            consent,
            by,
            language,
        } => {
            let new = NewStudent {
                name: name.clone(),
                language: language.clone(),
                role: None,
                needs_guardian: false,
                consent: Some(answered(*consent, by.as_ref(), now)),
            };
            refuse_double(logbook, name)?;
            let student = logbook.add_student(&new, now)?;
            writeln!(out, "{}  {}  ({})", student.id, student.name, consent_words(&student))?;
        }
        StudentAction::Consent { student, answer, by } => {
            let student = logbook.find_student(student)?;
            let removed = logbook.set_consent(student.id, &answered(*answer, by.as_ref(), now), now)?;
            let student = logbook.student(student.id)?;
            writeln!(out, "{}: {}", student.name, consent_words(&student))?;
            if removed > 0 {
                writeln!(out, "{} removed.", counted(removed, "recording"))?;
            }
        }
    }
    Ok(())
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
    let wanted = name.trim().to_lowercase();
    match logbook.students()?.iter().find(|s| s.name.to_lowercase() == wanted) {
        None => Ok(()),
        Some(there) => Err(format!(
            "{} is in the logbook already ({}); add something that tells the two apart, such as an initial",
            there.name, there.id
        )
        .into()),
    }
}

fn counted(n: usize, what: &str) -> String {
    if n == 1 {
        format!("1 {what}")
    } else {
        format!("{n} {what}s")
    }
}

/// Local time of the student at that moment.
fn local(at: Timestamp, offset_seconds: i32) -> String {
    let offset = Offset::from_seconds(offset_seconds).unwrap_or(Offset::UTC);
    offset.to_datetime(at).strftime("%Y-%m-%d %H:%M").to_string()
}

fn consent_words(student: &Student) -> String {
    let Some(consent) = &student.consent else {
        return "not asked about recordings".to_owned();
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

/// What was dealt, on one line: the values of the situation in a fixed order.
fn dealt(situation: &serde_json::Value) -> String {
    let Some(object) = situation.as_object() else {
        return situation.to_string();
    };
    let value = |v: &serde_json::Value| v.as_str().map_or_else(|| v.to_string(), str::to_owned);
    let first = ["callsign", "crew", "cable"];
    let known = first.iter().filter_map(|k| object.get(*k).map(value));
    let rest = object
        .iter()
        .filter(|(k, v)| !first.contains(&k.as_str()) && !v.is_null());
    known
        .chain(rest.map(|(k, v)| format!("{k} {}", value(v))))
        .collect::<Vec<_>>()
        .join(", ")
}

fn list(logbook: &Logbook, whose: Whose, offset: u32, limit: u32, out: &mut impl Write) -> Result<(), Failure> {
    let attempts = logbook.attempts(whose, offset, limit)?;
    let total = logbook.count_attempts(whose)?;
    if attempts.is_empty() {
        writeln!(out, "No attempts here ({total} in all).")?;
        return Ok(());
    }
    let students = logbook.students()?;
    let name = |a: &AttemptSummary| {
        a.student
            .and_then(|id| students.iter().find(|s| s.id == id))
            .map_or("-", |s| s.name.as_str())
            .to_owned()
    };
    let mut rows = vec![
        [
            "id", "when", "student", "site", "step", "call", "outcome", "score", "try",
        ]
        .map(str::to_owned),
    ];
    for a in &attempts {
        rows.push([
            a.id.to_string()[..8].to_owned(),
            local(a.started_at, a.utc_offset_seconds),
            name(a),
            a.site.clone(),
            a.step.clone(),
            dealt(&a.situation),
            if a.held_out {
                format!("{} (held out)", a.outcome.word())
            } else {
                a.outcome.word().to_owned()
            },
            a.score.map_or_else(|| "-".to_owned(), |s| format!("{s:.0}")),
            a.turn_attempt.to_string(),
        ]);
    }
    table(&rows, out)?;
    writeln!(
        out,
        "{} to {} of {total}",
        offset + 1,
        u64::from(offset) + attempts.len() as u64
    )?;
    let counts = logbook.outcome_counts(whose)?;
    writeln!(
        out,
        "pass {}, not yet {}, say again {}, nothing heard {}",
        counts.pass, counts.not_yet, counts.say_again, counts.nothing_heard
    )?;
    if matches!(whose, Whose::Student(_)) {
        first_time(logbook, whose, out)?;
    }
    Ok(())
}

fn first_time(logbook: &Logbook, whose: Whose, out: &mut impl Write) -> Result<(), Failure> {
    let first = logbook.first_time(whose)?;
    writeln!(
        out,
        "\nAt the first attempt: {} of {} calls passed",
        first.outcomes.pass,
        first.outcomes.total()
    )?;
    let mut rows = vec![["element", "said", "wrong", "missing", "unsure"].map(str::to_owned)];
    for e in first.elements {
        rows.push([
            e.element,
            e.said.to_string(),
            e.wrong.to_string(),
            e.missing.to_string(),
            e.unsure.to_string(),
        ]);
    }
    table(&rows, out)
}

fn show(logbook: &Logbook, stored: &StoredAttempt, out: &mut impl Write) -> Result<(), Failure> {
    let a = &stored.attempt;
    let student = a
        .student
        .map_or_else(|| Ok("nobody's".to_owned()), |id| logbook.student(id).map(|s| s.name))?;
    writeln!(out, "attempt   {}", a.id)?;
    writeln!(out, "student   {student}")?;
    writeln!(out, "when      {}", local(a.started_at, a.utc_offset_seconds))?;
    writeln!(
        out,
        "site      {} (version {}), step {}",
        a.site, a.site_version, a.step
    )?;
    writeln!(
        out,
        "call      {} (attempt {} of its turn)",
        dealt(&a.situation),
        a.turn_attempt
    )?;
    writeln!(
        out,
        "heard     {}",
        if a.transcript.is_empty() {
            "nothing"
        } else {
            &a.transcript
        }
    )?;
    let score = a.score.map_or_else(String::new, |s| format!(", score {s:.0}"));
    let held_out = if a.held_out { ", held out of the record" } else { "" };
    writeln!(out, "outcome   {}{score}{held_out}", a.outcome.word())?;
    match &a.model {
        Some(model) => writeln!(out, "model     {} ({})", model.name, model.sha1)?,
        None => writeln!(out, "model     none (typed)")?,
    }
    match a.recording.map(|r| r.path(logbook.recordings_folder())) {
        Some(file) if file.is_file() => writeln!(out, "recording {}", file.display())?,
        Some(file) => writeln!(out, "recording is not there any more: {}", file.display())?,
        None => writeln!(out, "recording none kept")?,
    }
    writeln!(out)?;
    let mut rows = vec![["element", "verdict", "heard", "margin", "seconds"].map(str::to_owned)];
    for e in &a.elements {
        let place = e.begin_seconds.zip(e.end_seconds);
        let overruled = e.overrule.as_ref().map(|o| o.verdict).map(Verdict::word);
        rows.push([
            e.element.clone(),
            overruled.map_or_else(
                || e.verdict.word().to_owned(),
                |o| format!("{} (was {})", o, e.verdict.word()),
            ),
            e.heard.clone().unwrap_or_else(|| "-".to_owned()),
            e.margin.map_or_else(|| "-".to_owned(), |m| format!("{m:.2}")),
            place.map_or_else(|| "-".to_owned(), |(b, e)| format!("{b:.2} to {e:.2}")),
        ]);
    }
    table(&rows, out)
}

fn students(logbook: &Logbook, out: &mut impl Write) -> Result<(), Failure> {
    let students = logbook.students()?;
    if students.is_empty() {
        writeln!(
            out,
            "No students yet; `cableside logbook student add NAME --consent yes|no` adds one."
        )?;
        return Ok(());
    }
    let mut rows = vec![["id", "name", "attempts", "consent"].map(str::to_owned)];
    for s in students {
        let attempts = logbook.count_attempts(Whose::Student(s.id))?;
        rows.push([
            s.id.to_string()[..8].to_owned(),
            s.name.clone(),
            attempts.to_string(),
            consent_words(&s),
        ]);
    }
    table(&rows, out)
}

fn export(logbook: &Logbook, format: Format, whose: Whose, out: impl Write) -> Result<usize, Failure> {
    Ok(match format {
        Format::Csv => logbook.export_csv(whose, out)?,
        Format::Json => logbook.export_json(whose, out)?,
    })
}

/// The file appears under its name only when it is whole, and never in the place of another.
fn export_to_file(logbook: &Logbook, format: Format, whose: Whose, file: &Path) -> Result<usize, Failure> {
    if file.exists() {
        return Err(format!(
            "this file exists already; choose another name or remove it: {}",
            file.display()
        )
        .into());
    }
    let mut unfinished = file.as_os_str().to_os_string();
    unfinished.push(".part");
    let unfinished = PathBuf::from(unfinished);
    let write = || -> Result<usize, Failure> {
        let mut out = io::BufWriter::new(std::fs::File::create(&unfinished)?);
        let count = export(logbook, format, whose, &mut out)?;
        out.into_inner().map_err(io::IntoInnerError::into_error)?.sync_all()?;
        std::fs::rename(&unfinished, file)?;
        Ok(count)
    };
    write().map_err(|e| {
        // Half an export is of no use; if it cannot be removed either, the first error is the one to tell.
        let _ = std::fs::remove_file(&unfinished);
        format!("could not write the export ({e}): {}", file.display()).into()
    })
}

fn forget(
    logbook: &mut Logbook,
    asked: &str,
    yes: bool,
    now: Timestamp,
    out: &mut impl Write,
) -> Result<ExitCode, Failure> {
    let student = logbook.find_student(asked)?;
    if yes {
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

fn leftovers(leftovers: &[Leftover], out: &mut impl Write) -> Result<(), Failure> {
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

/// Columns as wide as their widest cell, left-aligned.
fn table<const N: usize>(rows: &[[String; N]], out: &mut impl Write) -> Result<(), Failure> {
    let width = |column: usize| rows.iter().map(|r| r[column].chars().count()).max().unwrap_or(0);
    let widths: [usize; N] = std::array::from_fn(width);
    for row in rows {
        let mut line = String::new();
        for (cell, width) in row.iter().zip(widths) {
            let _ = write!(line, "{cell:width$}  ");
        }
        writeln!(out, "{}", line.trim_end())?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::Parser;
    use serde_json::json;

    #[derive(Debug, Parser)]
    struct Cli {
        #[command(flatten)]
        args: LogbookArgs,
    }

    /// Runs `logbook ARGS` in a folder and gives back what it printed, or its error.
    fn cableside(dir: &Path, args: &[&str]) -> Result<String, String> {
        let cli = Cli::try_parse_from(["logbook"].iter().chain(args)).map_err(|e| e.to_string())?;
        let mut out = Vec::new();
        let now = "2025-05-03T09:30:00Z".parse().unwrap();
        act(
            &cli.args.action,
            &dir.join("logbook.sqlite"),
            &dir.join("recordings"),
            now,
            &mut out,
        )
        .map_err(|e| e.to_string())?;
        Ok(String::from_utf8(out).unwrap())
    }

    #[test]
    fn students_are_added_asked_and_forgotten() {
        let dir = tempfile::tempdir().unwrap();
        let dir = dir.path();
        cableside(dir, &["student", "add", "Mara Lind"]).unwrap_err();
        let added = cableside(
            dir,
            &["student", "add", "Mara Lind", "--consent", "yes", "--by", "guardian"],
        )
        .unwrap();
        assert!(
            added.contains("recordings allowed, answered 2025-05-03 by guardian"),
            "{added}"
        );
        let double = cableside(dir, &["student", "add", "mara lind", "--consent", "no"]).unwrap_err();
        assert!(double.contains("in the logbook already"), "{double}");

        let refused = cableside(dir, &["student", "consent", "Mara Lind", "no"]).unwrap();
        assert!(refused.contains("no recordings"), "{refused}");
        assert!(
            cableside(dir, &["students"])
                .unwrap()
                .contains("Mara Lind  0         no recordings")
        );

        let unsure = cableside(dir, &["forget", "Mara Lind"]).unwrap_err();
        assert!(
            unsure.contains("nothing was removed") && unsure.contains("--yes"),
            "{unsure}"
        );
        let near = cableside(dir, &["forget", "Mara", "--yes"]).unwrap_err();
        assert!(near.contains("did you mean"), "{near}");
        cableside(dir, &["forget", "Mara Lind", "--yes"]).unwrap();
        assert!(cableside(dir, &["students"]).unwrap().contains("No students yet"));
    }

    #[test]
    fn an_export_never_replaces_a_file() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("calls.json");
        let name = file.to_str().unwrap();
        cableside(dir.path(), &["export", "--format", "json", "--out", name]).unwrap();
        let first = std::fs::read(&file).unwrap();
        let again = cableside(dir.path(), &["export", "--format", "csv", "--out", name]).unwrap_err();
        assert!(again.contains("exists already"), "{again}");
        assert_eq!(std::fs::read(&file).unwrap(), first);
        let nowhere = cableside(
            dir.path(),
            &["export", "--format", "csv", "--out", "no/such/folder.csv"],
        )
        .unwrap_err();
        assert!(nowhere.ends_with("no/such/folder.csv"), "{nowhere}");
    }

    #[test]
    fn what_was_dealt_reads_in_the_order_of_the_call() {
        let situation = json!({"cable": "north", "crew": 2, "callsign": "G-CLRM", "type": null, "wind": "calm"});
        assert_eq!(dealt(&situation), "G-CLRM, 2, north, wind calm");
    }

    #[test]
    fn a_file_that_is_no_logbook_can_be_set_aside() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("logbook.sqlite");
        std::fs::write(
            &path,
            "a shopping list, long enough to be read as the head of a database file".repeat(20),
        )
        .unwrap();
        let refused = cableside(dir.path(), &["list"]).unwrap_err();
        assert!(
            refused.contains("set-aside") && refused.ends_with("logbook.sqlite"),
            "{refused}"
        );
        cableside(dir.path(), &["set-aside"]).unwrap();
        assert!(cableside(dir.path(), &["list"]).unwrap().contains("No attempts"));
        assert!(
            std::fs::read_to_string(dir.path().join("logbook.sqlite.set-aside-1"))
                .unwrap()
                .contains("shopping")
        );
    }
}
