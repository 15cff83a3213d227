//! `cableside report`: what was practised, as PDF, CSV or JSON; and the sheet of a site's calls for the wall.
#![allow(clippy::print_stdout, reason = "a command's room prints")]

use super::Failure;
use super::common::SiteChoice;
use crate::folders;
use crate::logbook::Logbook;
use crate::worker::papers::{self, Form, Of, Wanted};
use clap::{ArgGroup, Args, ValueEnum};
use jiff::civil::Date;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Print what was practised, or the sheet of the site's calls for the wall
///
/// A report tells which words were practised and how reliably they came. It says nothing about who is fit to fly or to run
/// a launch point.
#[derive(Debug, Args)]
#[command(group(ArgGroup::new("whose").required(true).args(["student", "class", "everybody", "wall"])))]
pub struct ReportArgs {
    #[command(flatten)]
    site: SiteChoice,
    /// The report of this student (name, id, or the first eight characters of the id)
    #[arg(long, value_name = "NAME-OR-ID")]
    student: Option<String>,
    /// The report of this class (name or id)
    #[arg(long, value_name = "NAME-OR-ID")]
    class: Option<String>,
    /// The report of all students in the logbook
    #[arg(long)]
    everybody: bool,
    /// The sheet of the site's calls for the clubhouse wall
    #[arg(long)]
    wall: bool,
    /// Add the report of each member to the PDF of a class
    #[arg(long, conflicts_with_all = ["student", "wall"])]
    each: bool,
    /// The file to write; it must not exist. Without it CSV and JSON go to the standard output
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// The form; by default what the file's name ends in
    #[arg(long, value_enum)]
    format: Option<Format>,
    /// First day that counts, such as 2026-04-01
    #[arg(long, value_name = "DATE", value_parser = parse_date)]
    from: Option<Date>,
    /// Last day that counts
    #[arg(long, value_name = "DATE", value_parser = parse_date)]
    until: Option<Date>,
    /// The day printed on the report [default: today]
    #[arg(long, value_name = "DATE", value_parser = parse_date)]
    date: Option<Date>,
    /// The logbook's database file [default: in the program's data folder]
    #[arg(long, value_name = "FILE")]
    logbook: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    Pdf,
    Csv,
    Json,
}

impl From<Format> for Form {
    fn from(format: Format) -> Self {
        match format {
            Format::Pdf => Self::Pdf,
            Format::Csv => Self::Csv,
            Format::Json => Self::Json,
        }
    }
}

fn parse_date(text: &str) -> Result<Date, String> {
    text.parse()
        .map_err(|_| format!("\"{text}\" is not a date; write it as year-month-day, such as 2026-04-01"))
}

/// Run the command.
pub fn run(args: &ReportArgs) -> Result<ExitCode, Failure> {
    let format = format(args)?;
    if args.from.zip(args.until).is_some_and(|(f, u)| f > u) {
        return Err("the first day (--from) lies after the last (--until)".into());
    }
    let site = args.site.load()?;
    let date = args.date.unwrap_or_else(super::common::today);
    let bytes = if args.wall {
        papers::wall(&site, date)?
    } else {
        let path = args.logbook.clone().unwrap_or_else(folders::logbook);
        if !path.exists() {
            return Err(format!(
                "there is no logbook yet, so there is nothing to report: {}",
                path.display()
            )
            .into());
        }
        let logbook = Logbook::open(&path, &folders::recordings())?;
        let of = match (&args.student, &args.class) {
            (Some(asked), _) => Of::Student(logbook.find_student(asked)?.id),
            (None, Some(asked)) => Of::Class(logbook.find_class(asked)?.id),
            (None, None) => Of::Everybody,
        };
        let wanted = Wanted {
            of,
            form: format.into(),
            each: args.each,
            from: args.from,
            until: args.until,
            date,
        };
        let bytes = papers::made(&site, &logbook, &wanted)?;
        super::common::say_stepped_over(&logbook)?;
        bytes
    };
    let ending = format
        .to_possible_value()
        .map_or_else(String::new, |v| v.get_name().to_owned());
    let out = args
        .out
        .as_deref()
        .map(|out| super::common::named_to_open(out, &ending));
    deliver(&bytes, out.as_deref())?;
    Ok(ExitCode::SUCCESS)
}

/// The form asked for; a sheet for the wall is always PDF.
fn format(args: &ReportArgs) -> Result<Format, Failure> {
    let end = args
        .out
        .as_ref()
        .and_then(|o| o.extension())
        .map(std::ffi::OsStr::to_ascii_lowercase);
    let by_name = end.and_then(|e| Format::from_str(&e.to_string_lossy(), true).ok());
    let format = match args.format.or(by_name) {
        Some(format) => format,
        None if args.wall || args.out.is_none() => Format::Pdf,
        None => return Err("say what the report is to be: --format pdf, csv or json".into()),
    };
    if args.wall && format != Format::Pdf {
        return Err("the sheet for the wall is made as PDF only; let the file's name end in .pdf".into());
    }
    if format == Format::Pdf && args.out.is_none() {
        return Err("a PDF needs a file: add --out FILE.pdf (or --format csv or json for the standard output)".into());
    }
    if format != Format::Pdf && args.each {
        return Err("--each is for PDF; CSV and JSON hold everybody's figures anyway".into());
    }
    Ok(format)
}

/// Write to a file that is not there yet, or to the standard output.
fn deliver(bytes: &[u8], out: Option<&Path>) -> Result<(), Failure> {
    let Some(file) = out else {
        let stdout = std::io::stdout().lock();
        // A file gets what stands in the logbook; what would steer a terminal does not reach one.
        let mut out: Box<dyn Write> = if stdout.is_terminal() {
            Box::new(super::gate::Gate::new(stdout))
        } else {
            Box::new(stdout)
        };
        return match out.write_all(bytes).and_then(|()| out.flush()) {
            Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => Err(e.into()),
            _ => Ok(()),
        };
    };
    super::common::write_new_bytes(file, bytes)?;
    println!("Written: {}", file.display());
    Ok(())
}
