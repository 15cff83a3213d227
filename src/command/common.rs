//! What several commands share: finding a site, a model, making a situation.

use super::Failure;
use crate::call::Situation;
use crate::files::{Access, Beside};
use crate::folders;
use crate::hear::LatticeRecogniser;
use crate::logbook::ModelUsed;
use crate::model;
use crate::site::{Callsign, Site};
use std::path::PathBuf;

/// Which site, and where sites are looked for.
#[derive(Debug, Clone, clap::Args)]
pub struct SiteChoice {
    /// The site: a folder's name under the phrases folders, or a path to a site's folder
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

    /// Verify and load the model, and say which it is.
    pub fn load_named(&self) -> Result<(LatticeRecogniser, ModelUsed), Failure> {
        let file = model::resolve(&folders::model_folders(), self.model.as_deref(), self.allow_unknown)?;
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

/// The situation given on the command line, checked against the site.
pub fn situation(site: &Site, callsign: &str, crew: u8, cable: &str) -> Result<Situation, Failure> {
    let s = Situation::new(Callsign::parse(callsign)?, crew, cable.to_owned());
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
    if step.by == crate::site::By::Hand {
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

/// A line from the user; `None` at the end of the input. What is no text is replaced, not refused.
pub fn line() -> Result<Option<String>, Failure> {
    use std::io::BufRead;
    let mut bytes = Vec::new();
    if std::io::stdin().lock().read_until(b'\n', &mut bytes)? == 0 {
        return Ok(None);
    }
    Ok(Some(
        String::from_utf8_lossy(&bytes)
            .trim_end_matches(['\n', '\r'])
            .to_owned(),
    ))
}
