//! `cableside site`: check a site's folder, start a new one, list those there are.
#![allow(clippy::print_stdout, reason = "a command's room prints")]

use super::{Failure, common};
use crate::call::compare;
use crate::folders::archive::{pack, unpack};
use crate::folders::content::{Content, FileChange, file_changes};
use crate::folders::{self, load_site};
use crate::logbook::{Logbook, attempts_under};
use crate::site::{Site, bundled};
use crate::voice;
use crate::worker::home::ENDING;
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
    /// Write a site as one file that can be passed on
    Export {
        /// The site: its name, or its folder
        site: String,
        /// The file to write, such as ourfield.cableside (a zip archive); a name without an ending gets .cableside
        file: PathBuf,
    },
    /// Take in a site from one file; shows what differs before anything is overwritten
    Import {
        /// The file: a zip archive, whatever its name ends in
        file: PathBuf,
        /// Put it in this folder of sites instead of your own
        #[arg(long, value_name = "DIR")]
        into: Option<PathBuf>,
        /// Replace the site of that name; the old one is kept beside the others in `.older`
        #[arg(long)]
        replace: bool,
    },
    /// What differs between two sites, and what that means for old scores
    Compare {
        /// The first: a name, a folder or an archive
        before: String,
        /// The second
        after: String,
    },
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
        What::Export { site, file } => export(site, file),
        What::Import { file, into, replace } => import(file, into.as_deref(), *replace),
        What::Compare { before, after } => {
            tell_differences(&open(before)?, &open(after)?);
            Ok(ExitCode::SUCCESS)
        }
    }
}

/// A site with all its files.
struct Opened {
    site: Site,
    content: Content,
    /// What lies in its folder and does not belong to it.
    left_out: Vec<String>,
}

/// A site by name, folder or archive.
fn open(named: &str) -> Result<Opened, Failure> {
    let path = Path::new(named);
    if path.is_file() {
        let unpacked = unpack(path, voice::prompt::unplayable_among)?;
        return Ok(Opened {
            site: unpacked.site,
            content: unpacked.content,
            left_out: Vec::new(),
        });
    }
    // A folder without a slash in its name is meant where no site is called so.
    let (site, folder) = match load_site(named, None) {
        Err(folders::SiteError::Unknown { .. }) if path.is_dir() => {
            (Site::check(&folders::read_site(path))?, Some(path.to_path_buf()))
        }
        other => other?,
    };
    let (content, left_out) = if let Some(folder) = folder {
        Content::read(&folder)?
    } else {
        let files = bundled::files(named).ok_or("the site is not in the program")?;
        (Content::of_texts(&files.texts), Vec::new())
    };
    Ok(Opened {
        site,
        content,
        left_out,
    })
}

fn export(named: &str, file: &Path) -> Result<ExitCode, Failure> {
    let file = &common::named_to_open(file, ENDING);
    let opened = open(named)?;
    // What nobody else could take in is better mended here.
    let mut files = opened.content.as_files(named);
    files.unplayable = voice::prompt::unplayable_among(&files, &opened.content.files);
    Site::check(&files)?;
    pack(&opened.content, &opened.site.id, file)?;
    println!(
        "Written: {} ({}), version {}, {} files, {} bytes before packing",
        opened.site.name,
        opened.site.id,
        opened.site.version,
        opened.content.files.len(),
        opened.content.size()
    );
    if !opened.left_out.is_empty() {
        println!(
            "Left out, because a site has no such files: {}",
            opened.left_out.join(", ")
        );
    }
    println!("  {}", file.display());
    Ok(ExitCode::SUCCESS)
}

fn import(file: &Path, into: Option<&Path>, replace: bool) -> Result<ExitCode, Failure> {
    let new = unpack(file, voice::prompt::unplayable_among)?;
    let phrases = into.map_or_else(folders::own_phrases, Path::to_path_buf);
    let id = new.site.id.clone();
    let target = phrases.join(&id);
    if target.is_dir() {
        let (content, _) = Content::read(&target)?;
        if content == new.content {
            println!(
                "This site is there already, file by file the same\n  {}",
                target.display()
            );
            return Ok(ExitCode::SUCCESS);
        }
        match Site::check(&content.as_files(&target.display().to_string())) {
            Ok(site) => {
                let old = Opened {
                    site,
                    content,
                    left_out: Vec::new(),
                };
                let new = Opened {
                    site: new.site.clone(),
                    content: new.content.clone(),
                    left_out: Vec::new(),
                };
                tell_differences(&old, &new);
            }
            Err(problems) => println!("The site that is there has mistakes: {problems}"),
        }
        if !replace {
            return Err(format!(
                "there is a site \"{id}\" already, and nothing was changed; with --replace it is replaced, and the old one kept\n  {}",
                target.display()
            )
            .into());
        }
    } else if bundled::NAMES.contains(&id.as_str()) {
        println!("A site of this name ships with the program; from now on yours is used in its place.");
    }
    let stamp = jiff::tz::TimeZone::system()
        .to_datetime(jiff::Timestamp::now())
        .strftime("%Y-%m-%d-%H%M%S")
        .to_string();
    let (folder, older) = new.content.put(&phrases, &id, replace, &stamp)?;
    println!("Taken in: {} ({id}), version {}", new.site.name, new.site.version);
    println!("  {}", folder.display());
    if let Some(older) = older {
        println!("The site that was there is kept\n  {}", older.display());
    }
    Ok(ExitCode::SUCCESS)
}

fn tell_differences(before: &Opened, after: &Opened) {
    let files = file_changes(&before.content, &after.content);
    if files.is_empty() {
        println!("No file differs.");
        return;
    }
    println!("Files:");
    for (name, change) in files {
        let what = match change {
            FileChange::Added => "is new".to_owned(),
            FileChange::Removed => "is gone".to_owned(),
            FileChange::Changed { gone: 0, come: 0 } => "has other bytes".to_owned(),
            FileChange::Changed { gone, come } => format!("{gone} lines gone, {come} new"),
        };
        println!("  {name}: {what}");
    }
    let differences = compare::differences(&before.site, &after.site);
    if differences.is_empty() {
        println!("They mean the same.");
    } else {
        println!("What they say:");
        for difference in differences {
            println!("  {difference}");
        }
    }
    let effects = compare::effects(&before.site, &after.site);
    if effects.is_empty() {
        println!("Every call is judged by the same words as before.");
        return;
    }
    println!("What it means for scores:");
    let counts = old_attempts(&before.site.id);
    for effect in &effects {
        println!("  {}", effect_in_words(effect, &before.site.version, counts.as_deref()));
    }
    if before.site.version == after.site.version {
        println!(
            "Both have version {}: count the version up in site.toml, so that attempts before and after can be told apart.",
            after.site.version
        );
    }
}

/// Old attempts of a site, where there is a logbook that can be read; none is made to look.
fn old_attempts(site: &str) -> Option<Vec<crate::logbook::VersionCount>> {
    let file = folders::logbook();
    if !file.is_file() {
        return Some(Vec::new());
    }
    Logbook::open(&file, &folders::recordings())
        .ok()?
        .attempts_by_version(site)
        .ok()
}

fn effect_in_words(effect: &compare::Effect, version: &str, counts: Option<&[crate::logbook::VersionCount]>) -> String {
    let (step, title) = (&effect.step, &effect.title);
    let what = if effect.gone {
        format!("\"{title}\" ({step}) is gone")
    } else {
        format!(
            "\"{title}\" ({step}): {} judged by other words",
            effect.parts.join(", ")
        )
    };
    let old = counts.map(|c| attempts_under(c, step, version));
    match old {
        None => format!("{what}; the logbook cannot be read now, so old attempts are not counted"),
        Some((_, 0)) => format!("{what}; the logbook holds no attempt of it"),
        Some((this, all)) => format!("{what}; {all} old attempts keep their scores ({this} under version {version})"),
    }
}

fn counted(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

fn check(dir: &Path) -> Result<ExitCode, Failure> {
    if !dir.is_dir() {
        let why = if dir.exists() {
            "this is no folder; a site is a folder of .toml files"
        } else {
            "there is no such folder"
        };
        return Err(format!("{why}\n  {}", dir.display()).into());
    }
    let mut files = folders::read_site(dir);
    files.unplayable = voice::prompt::unplayable_in(&files, dir);
    let site = Site::check(&files)?;
    let mut notices: Vec<String> = site.notices.iter().map(ToString::to_string).collect();
    if let Some(name) = dir.canonicalize().ok().as_deref().and_then(Path::file_name)
        && name.to_string_lossy() != site.id
    {
        notices.push(format!(
            "site.toml: The id \"{}\" is not the folder's name. The site is found by the folder's; give both the same.",
            site.id
        ));
    }
    println!(
        "{} ({}), version {}: {} aircraft, {}, {}. {}",
        site.name,
        site.id,
        site.version,
        site.fleet.len(),
        counted(site.cables.len(), "cable"),
        counted(site.steps.len(), "step"),
        if notices.is_empty() {
            "No problems."
        } else {
            "It can be used as it is; look at this:"
        }
    );
    for notice in &notices {
        println!("  {notice}");
    }
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
        common::write_new_bytes(&path, text.as_bytes())?;
    }
    println!(
        "Written. Change fleet.toml first, then site.toml (cables, directions, customs), words.toml and steps.toml;"
    );
    println!("then check it: cableside site check \"{}\"", dir.display());
    Ok(ExitCode::SUCCESS)
}

fn list() {
    for site in folders::find_sites(None) {
        let built_in = matches!(folders::load_site(&site.id, None), Ok((_, None)));
        match site.problem {
            None if built_in => println!("{:<16} {}: {} (built in)", site.id, site.name, site.about),
            None => println!("{:<16} {}: {}", site.id, site.name, site.about),
            Some(why) => println!("{:<16} cannot be used: {}", site.id, why.trim_end()),
        }
    }
}
