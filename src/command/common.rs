//! What several commands share: finding a site, a model, making a situation.

use super::Failure;
use crate::call::Situation;
use crate::folders;
use crate::hear::LatticeRecogniser;
use crate::site::{Callsign, Site};
use std::path::{Path, PathBuf};

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

/// Find a site's folder by name or path.
pub fn site_folder(name: &str, first: Option<&Path>) -> Result<PathBuf, Failure> {
    let direct = PathBuf::from(name);
    if name.contains(['/', '\\']) {
        return if direct.is_dir() {
            Ok(direct)
        } else {
            Err(format!("there is no site folder\n  {}", direct.display()).into())
        };
    }
    let dirs: Vec<PathBuf> = first
        .map(Path::to_path_buf)
        .into_iter()
        .chain(folders::phrases())
        .collect();
    if let Some(dir) = dirs
        .iter()
        .map(|d| d.join(name))
        .find(|d| d.join("site.toml").is_file() || d.join("words.toml").is_file())
    {
        return Ok(dir);
    }
    let mut known: Vec<String> = dirs
        .iter()
        .filter_map(|d| std::fs::read_dir(d).ok())
        .flatten()
        .flatten()
        .filter(|e| e.path().join("site.toml").is_file())
        .map(|e| e.file_name().to_string_lossy().into_owned())
        .collect();
    known.sort();
    known.dedup();
    let known = if known.is_empty() {
        "none was found".to_owned()
    } else {
        format!("there are: {}", known.join(", "))
    };
    Err(format!("there is no site \"{name}\"; {known}. Name one with --site, or its folder with --phrases").into())
}

/// Load and check a site.
pub fn load_site(name: &str, first: Option<&Path>) -> Result<Site, Failure> {
    let dir = site_folder(name, first)?;
    Ok(Site::check(&folders::read_site(&dir))?)
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

/// The model file to use: the one named, else the base model of the models folder.
pub fn model_file(named: Option<&Path>) -> PathBuf {
    named.map_or_else(|| folders::models().join("ggml-base.bin"), Path::to_path_buf)
}

/// Load the recogniser.
pub fn recogniser(model: Option<&Path>, threads: usize) -> Result<LatticeRecogniser, Failure> {
    Ok(LatticeRecogniser::load(&model_file(model), threads)?)
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

/// A site that the program brings with it: from a phrases folder if one is found, else from its own copy.
pub fn bundled_site(name: &str) -> Result<Site, Failure> {
    if let Ok(site) = load_site(name, None) {
        return Ok(site);
    }
    let Some((_, files)) = BUNDLED.iter().find(|(n, _)| *n == name) else {
        return Err(format!("the program brings no site \"{name}\" with it").into());
    };
    let texts = files.iter().map(|(f, t)| ((*f).to_owned(), (*t).to_owned())).collect();
    Ok(Site::check(&crate::site::Files {
        folder: format!("(built in) {name}"),
        texts,
        ..Default::default()
    })?)
}

macro_rules! bundled {
    ($name:literal) => {
        (
            $name,
            [
                (
                    "site.toml",
                    include_str!(concat!("../../phrases/", $name, "/site.toml")),
                ),
                (
                    "fleet.toml",
                    include_str!(concat!("../../phrases/", $name, "/fleet.toml")),
                ),
                (
                    "words.toml",
                    include_str!(concat!("../../phrases/", $name, "/words.toml")),
                ),
                (
                    "steps.toml",
                    include_str!(concat!("../../phrases/", $name, "/steps.toml")),
                ),
            ],
        )
    };
}

/// The sites that ship, as texts.
pub const BUNDLED: [(&str, [(&str, &str); 4]); 2] = [bundled!("larkmoor"), bundled!("erlengrund")];
