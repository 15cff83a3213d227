//! What several commands share: finding a site, a model, making a situation.

use super::Failure;
use crate::call::Situation;
use crate::folders;
use crate::hear::LatticeRecogniser;
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
    #[arg(long, default_value_t = 2)]
    threads: usize,
}

impl ModelChoice {
    /// Verify and load the model.
    pub fn load(&self) -> Result<LatticeRecogniser, Failure> {
        let file = model::resolve(&folders::models(), self.model.as_deref(), self.allow_unknown)?;
        Ok(LatticeRecogniser::load(&file.path, self.threads)?)
    }
}

impl SiteChoice {
    /// Load and check the site.
    pub fn load(&self) -> Result<Site, Failure> {
        Ok(folders::load_site(&self.site, self.phrases.as_deref())?.0)
    }
}

/// The situation given on the command line, checked against the site.
pub fn situation(site: &Site, callsign: &str, crew: u8, cable: &str) -> Result<Situation, Failure> {
    let s = Situation {
        callsign: Callsign::parse(callsign)?,
        crew,
        cable: cable.to_owned(),
    };
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
