//! `cableside site`: check a site's folder, start a new one, list those there are.
#![allow(clippy::print_stdout, reason = "a command's room prints")]

use super::Failure;
use crate::folders;
use crate::site::{Site, bundled};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Sites: a club's launch place and its phrases
#[derive(Debug, clap::Args)]
pub struct SiteArgs {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Check a site's folder: every problem with its file, line and what would be right
    Check {
        /// The folder
        dir: PathBuf,
    },
    /// Write a new site's folder to start from
    New {
        /// The folder to make; its name becomes the site's id
        dir: PathBuf,
        /// Language of the calls: en or de
        #[arg(long, default_value = "en")]
        language: String,
    },
    /// List the sites there are
    List,
}

/// Run the command.
pub fn run(args: &SiteArgs) -> Result<ExitCode, Failure> {
    match &args.what {
        What::Check { dir } => check(dir),
        What::New { dir, language } => new(dir, language),
        What::List => {
            list();
            Ok(ExitCode::SUCCESS)
        }
    }
}

fn check(dir: &Path) -> Result<ExitCode, Failure> {
    if !dir.is_dir() {
        return Err(format!("there is no such folder\n  {}", dir.display()).into());
    }
    let site = Site::check(&folders::read_site(dir))?;
    println!(
        "{} ({}), version {}: {} aircraft, {} cables, {} steps. No problems.",
        site.name,
        site.id,
        site.version,
        site.fleet.len(),
        site.cables.len(),
        site.steps.len()
    );
    Ok(ExitCode::SUCCESS)
}

fn new(dir: &Path, language: &str) -> Result<ExitCode, Failure> {
    let from = match language {
        "en" => ("larkmoor", "Larkmoor"),
        "de" => ("erlengrund", "Erlengrund"),
        other => {
            return Err(format!("there is no site to start from in \"{other}\"; there is one in: en, de").into());
        }
    };
    let files = bundled::files(from.0).ok_or("the site to start from is not in the program")?;
    let name = dir
        .file_name()
        .map(|n| n.to_string_lossy().into_owned())
        .unwrap_or_default();
    let id: String = name
        .to_lowercase()
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
        .collect();
    if id.is_empty() {
        return Err("name a folder for the site, such as phrases/ourfield".into());
    }
    if dir.exists() && std::fs::read_dir(dir).is_ok_and(|mut d| d.next().is_some()) {
        return Err(format!(
            "the folder is not empty, and nothing in it will be overwritten\n  {}",
            dir.display()
        )
        .into());
    }
    std::fs::create_dir_all(dir).map_err(|e| format!("the folder cannot be made: {e}\n  {}", dir.display()))?;
    for (file, text) in files.texts {
        let text = text
            .replace(&format!("\"{}\"", from.0), &format!("\"{id}\""))
            .replace(from.1, &name)
            .replace(from.0, &name.to_lowercase());
        let path = dir.join(file);
        std::fs::write(&path, text).map_err(|e| format!("the file cannot be written: {e}\n  {}", path.display()))?;
    }
    println!(
        "Written. Change fleet.toml first, then site.toml (cables, directions, customs), words.toml and steps.toml;"
    );
    println!("then check it: cableside site check {}", dir.display());
    Ok(ExitCode::SUCCESS)
}

fn list() {
    let found = folders::find_sites(None);
    let bundled = bundled::NAMES.iter().filter(|n| !found.iter().any(|f| f.id == **n));
    for name in bundled {
        if let Some(Ok(site)) = bundled::files(name).map(|f| Site::check(&f)) {
            println!("{:<16} {}: {} (built in)", site.id, site.name, site.about);
        }
    }
    for site in found {
        match site.problem {
            None => println!("{:<16} {}: {}", site.id, site.name, site.about),
            Some(why) => println!("{:<16} cannot be used: {}", site.id, why.trim_end()),
        }
    }
}
