//! `cableside site`: check a site's folder, start a new one, list those there are.
#![allow(clippy::print_stdout, reason = "a command's room prints")]

use super::{Failure, common};
use crate::folders;
use crate::site::Site;
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
        "de" => ("erlengrund", "Erlengrund"),
        _ => ("larkmoor", "Larkmoor"),
    };
    let files = common::BUNDLED
        .iter()
        .find(|(n, _)| *n == from.0)
        .filter(|_| ["en", "de"].contains(&language));
    let Some((_, files)) = files else {
        return Err(format!("there is no site to start from in \"{language}\"; there is one in: en, de").into());
    };
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
    for (file, text) in files {
        let text = text
            .replace(&format!("\"{}\"", from.0), &format!("\"{id}\""))
            .replace(&format!("\"{}\"", from.1), &format!("\"{name}\""));
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
    for dir in folders::phrases() {
        let Ok(entries) = std::fs::read_dir(&dir) else { continue };
        let mut names: Vec<PathBuf> = entries
            .flatten()
            .map(|e| e.path())
            .filter(|p| p.join("site.toml").is_file())
            .collect();
        names.sort();
        for p in names {
            match Site::check(&folders::read_site(&p)) {
                Ok(s) => println!(
                    "{:<16} {} version {}, {}  {}",
                    s.id,
                    s.language.code(),
                    s.version,
                    s.name,
                    p.display()
                ),
                Err(e) => println!(
                    "{:<16} has {} problems; see: cableside site check {}",
                    "?",
                    e.list.len(),
                    p.display()
                ),
            }
        }
    }
}
