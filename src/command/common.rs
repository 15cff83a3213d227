//! What several commands share: finding a site, a model, making a situation.

use super::Failure;
use crate::call::Situation;
use crate::files::{Access, Beside};
use crate::folders;
use crate::hear::LatticeRecogniser;
use crate::hear::second::SecondListener;
use crate::logbook::ModelUsed;
use crate::model;
use crate::site::{Callsign, Site};
use std::path::PathBuf;

/// Which site, and where sites are looked for.
#[derive(Debug, Clone, clap::Args)]
pub struct SiteChoice {
    /// The site: a folder's name under the phrases folders or here, or a path to a site's folder
    #[arg(long)]
    pub site: String,
    /// Look for sites in this folder first
    #[arg(long, value_name = "DIR")]
    pub phrases: Option<PathBuf>,
}

/// Which speech model, and how it runs.
#[derive(Debug, Clone, clap::Args)]
pub struct ModelChoice {
    /// The speech model: an official name or a file
    #[arg(long, value_name = "NAME-OR-FILE")]
    model: Option<String>,
    /// Use a model file whose checksum is not a published one
    #[arg(long)]
    allow_unknown: bool,
    /// Threads of the speech model; 1 where other programs are busy
    #[arg(long, default_value_t = 2, value_parser = clap::builder::RangedU64ValueParser::<usize>::new().range(1..=16))]
    threads: usize,
}

impl ModelChoice {
    /// Verify and load the model.
    pub fn load(&self) -> Result<LatticeRecogniser, Failure> {
        Ok(self.load_named()?.0)
    }

    /// The second listener with the same model.
    pub fn second(&self) -> Result<SecondListener, Failure> {
        let file = model::resolve(&folders::model_folders(), self.model.as_deref(), self.allow_unknown)?;
        Ok(SecondListener::load(&file.path, self.threads)?)
    }

    /// Verify and load the model, and say which it is.
    pub fn load_named(&self) -> Result<(LatticeRecogniser, ModelUsed), Failure> {
        let file = model::resolve(&folders::model_folders(), self.model.as_deref(), self.allow_unknown)?;
        if !model::measured_with(&file.label()) {
            let label = file.label();
            eprintln!(
                "The limits of judging were measured with the model base, not with {label}: verdicts are less sure."
            );
        }
        let recogniser = LatticeRecogniser::load(&file.path, self.threads)?;
        let model = ModelUsed {
            name: file.label(),
            sha1: file.sha1,
        };
        Ok((recogniser, model))
    }
}

impl SiteChoice {
    /// Load and check the site.
    pub fn load(&self) -> Result<Site, Failure> {
        Ok(self.load_with_folder()?.0)
    }

    /// Load and check the site, with its folder, where its recorded prompts are.
    pub fn load_with_folder(&self) -> Result<(Site, Option<PathBuf>), Failure> {
        Ok(folders::load_site(&self.site, self.phrases.as_deref())?)
    }
}

/// A glider as the command line names it: its registration, or the competition sign of one of the fleet. Any other is a visitor.
pub fn glider(site: &Site, named: &str) -> Result<Callsign, Failure> {
    let callsign = Callsign::parse(named)?;
    let sign = |s: &String| Callsign::parse(s).is_ok_and(|s| s == callsign);
    let by_sign = || {
        site.fleet
            .iter()
            .find(|a| a.competition_sign.as_ref().is_some_and(sign))
    };
    let known = site.aircraft(&callsign).or_else(by_sign);
    Ok(known.map_or(callsign, |a| a.registration.clone()))
}

/// The situation given on the command line, checked against the site.
pub fn situation(site: &Site, named: &str, crew: u8, cable: &str) -> Result<Situation, Failure> {
    let s = Situation::new(glider(site, named)?, crew, cable.to_owned());
    s.check(site)?;
    Ok(s)
}

/// A step of a site by id.
pub fn step<'s>(site: &'s Site, id: &str) -> Result<&'s crate::site::Step, Failure> {
    site.step(id).ok_or_else(|| {
        let known: Vec<&str> = site.steps.iter().map(|s| s.id.as_str()).collect();
        format!(
            "the site {} has no step \"{id}\"; it has: {}",
            site.id,
            known.join(", ")
        )
        .into()
    })
}

/// A step of a site that is said, by id.
pub fn spoken_step<'s>(site: &'s Site, id: &str) -> Result<&'s crate::site::Step, Failure> {
    let step = step(site, id)?;
    if !step.by.has_words() {
        return Err(format!(
            "the step \"{}\" is done by hand and has no words; practise it in a whole launch: cableside launch --site {}",
            step.id, site.id
        )
        .into());
    }
    Ok(step)
}

pub use crate::drill::deal::random;

/// A seed that is another one each time.
pub fn any_seed() -> u64 {
    let now = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
    now.map_or(1, |d| d.as_nanos() as u64)
}

/// The day by this computer's clock.
pub fn today() -> jiff::civil::Date {
    let now = jiff::Timestamp::now();
    jiff::tz::TimeZone::system().to_datetime(now).date()
}

/// Write a file that must not be there yet: it appears under its name only when it is whole.
pub fn write_new<T>(
    file: &std::path::Path,
    write: impl FnOnce(&mut std::io::BufWriter<Beside>) -> Result<T, Failure>,
) -> Result<T, Failure> {
    // Before the work rather than after it; who makes it meanwhile is noticed in the end.
    must_not_exist(file)?;
    let whole = || -> Result<T, Failure> {
        let mut out = std::io::BufWriter::new(Beside::new(file, Access::Ordinary)?);
        let written = write(&mut out)?;
        let made = out.into_inner().map_err(std::io::IntoInnerError::into_error)?.make();
        if made
            .as_ref()
            .is_err_and(|e| e.kind() == std::io::ErrorKind::AlreadyExists)
        {
            must_not_exist(file)?;
        }
        made?;
        Ok(written)
    };
    whole().map_err(|e| format!("could not write ({e}): {}", file.display()).into())
}

/// The file that is written where only its name was given: with the ending by which it is opened. What has an ending keeps it.
pub fn named_to_open(file: &std::path::Path, ending: &str) -> PathBuf {
    if file.extension().is_some() || file.file_name().is_none() {
        return file.to_path_buf();
    }
    file.with_added_extension(ending)
}

/// Refuses to write where something is.
pub fn must_not_exist(file: &std::path::Path) -> Result<(), Failure> {
    if file.symlink_metadata().is_err() {
        return Ok(());
    }
    Err(format!(
        "this file exists already; choose another name or remove it: {}",
        file.display()
    )
    .into())
}

/// [`write_new`] for what is in memory already.
pub fn write_new_bytes(file: &std::path::Path, bytes: &[u8]) -> Result<(), Failure> {
    use std::io::Write;
    write_new(file, |out| Ok(out.write_all(bytes)?))
}

/// Says which rows of the logbook were left out because they cannot be read.
pub fn say_stepped_over(logbook: &crate::logbook::Logbook) -> Result<(), Failure> {
    use std::io::Write;
    /// More would push what was asked for off the screen.
    const SHOWN: usize = 10;
    let bad = logbook.stepped_over();
    if bad.is_empty() {
        return Ok(());
    }
    let mut out = super::gate::Gate::new(std::io::stderr());
    for row in bad.iter().take(SHOWN) {
        writeln!(out, "Left out, since it cannot be read: {row}")?;
    }
    if bad.len() > SHOWN {
        writeln!(out, "... and {} more", bad.len() - SHOWN)?;
    }
    writeln!(
        out,
        "`cableside logbook set-aside --rows` takes such rows out of the logbook and keeps them in a file."
    )?;
    Ok(())
}

/// A line from the user; `None` at the end of the input. What is no text is replaced, not refused; a line longer than any
/// call is not taken at all, since half of it would be another call.
pub fn line() -> Result<Option<String>, Failure> {
    loop {
        match short_line(&mut std::io::stdin().lock())? {
            Typed::End => return Ok(None),
            Typed::Line(line) => return Ok(Some(line)),
            Typed::TooLong => {
                use std::io::Write;
                writeln!(
                    std::io::stderr(),
                    "That was longer than any call ({LONGEST_LINE} characters at most) and was not taken; say it again."
                )?;
            }
        }
    }
}

/// Bytes of a typed line. The longest call of a site has some 200.
pub const LONGEST_LINE: usize = 1000;

#[derive(Debug, PartialEq)]
enum Typed {
    End,
    Line(String),
    TooLong,
}

fn short_line(input: &mut impl std::io::BufRead) -> std::io::Result<Typed> {
    let mut bytes = Vec::new();
    let (mut read, mut long) = (0, false);
    loop {
        let there = input.fill_buf()?;
        if there.is_empty() {
            break;
        }
        let end = there.iter().position(|b| *b == b'\n');
        let part = &there[..end.unwrap_or(there.len())];
        // What is not taken need not be kept either.
        long |= bytes.len() + part.len() > LONGEST_LINE + 1;
        if !long {
            bytes.extend_from_slice(part);
        }
        let used = part.len() + usize::from(end.is_some());
        read += used;
        input.consume(used);
        if end.is_some() {
            break;
        }
    }
    if read == 0 {
        return Ok(Typed::End);
    }
    if long {
        return Ok(Typed::TooLong);
    }
    Ok(Typed::Line(
        String::from_utf8_lossy(&bytes).trim_end_matches('\r').to_owned(),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_glider_is_named_by_registration_or_sign_and_any_other_is_a_visitor() {
        let (site, _) = folders::load_site("tests/sites/kranmoor", None).unwrap();
        let s = situation(&site, "K7", 1, "wald").unwrap();
        assert_eq!(s.callsign.to_string(), "D-9037");
        assert_eq!(glider(&site, "D-9037").unwrap(), s.callsign);
        assert_eq!(glider(&site, "74").unwrap().to_string(), "74");
        assert_eq!(site.about_glider(&s.callsign), "Stelze, K7");
    }

    #[test]
    fn a_line_longer_than_any_call_is_not_taken_in_part() {
        let mut input = std::io::Cursor::new(format!("winch\r\n{}\n\nready", "7".repeat(3_000_000)));
        let mut next = || short_line(&mut input).unwrap();
        assert_eq!(next(), Typed::Line("winch".to_owned()));
        assert_eq!(next(), Typed::TooLong);
        assert_eq!(next(), Typed::Line(String::new()));
        assert_eq!(next(), Typed::Line("ready".to_owned()));
        assert_eq!(next(), Typed::End);
    }
}
