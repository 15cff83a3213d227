//! `cableside window`, and `cableside` alone: the window.

use super::Failure;
use crate::files::Lock;
use crate::folders;
use crate::window::{self, Start};
use crate::worker::{Loader, LogbookPlace, Options, SiteRequest, SituationRequest};
use std::path::PathBuf;
use std::process::ExitCode;

/// Open the window
#[derive(Debug, clap::Args)]
pub struct WindowArgs {
    /// Open this file: a site, practice that was handed out, or its results
    pub file: Option<PathBuf>,
    /// Begin at this site: a folder's name under the phrases folders, or a path to a site's folder
    #[arg(long)]
    pub site: Option<String>,
    /// Look for sites in this folder first
    #[arg(long, value_name = "DIR")]
    pub phrases: Option<PathBuf>,
    /// Begin with this student (name or id)
    #[arg(long, value_name = "NAME-OR-ID")]
    pub student: Option<String>,
    /// The step practised
    #[arg(long, default_value = "ready")]
    pub step: String,
    /// Deal this situation always, for instance G-CLRM,2,north
    #[arg(long, hide = true, value_name = "CALLSIGN,CREW,CABLE")]
    pub situation: Option<SituationRequest>,
    /// The number of the first whole launch: the same number, role and pace give the same launch
    #[arg(long, hide = true)]
    pub seed: Option<u64>,
    /// Write how long frames took while calls were judged to this file
    #[arg(long, hide = true, value_name = "FILE")]
    pub frame_times: Option<PathBuf>,
    /// The microphone by name (`cableside sound devices` lists them)
    #[arg(long, value_name = "NAME")]
    pub input: Option<String>,
    /// The loudspeaker by name
    #[arg(long, value_name = "NAME")]
    pub output: Option<String>,
    /// The speech model: an official name or a file
    #[arg(long, value_name = "NAME-OR-FILE")]
    pub model: Option<String>,
    /// Threads of the speech model
    #[arg(long, default_value_t = 2, value_parser = clap::builder::RangedU64ValueParser::<usize>::new().range(1..=16))]
    pub threads: usize,
}

impl Default for WindowArgs {
    /// What `cableside` without arguments does.
    fn default() -> Self {
        Self {
            file: None,
            site: None,
            phrases: None,
            student: None,
            step: "ready".to_owned(),
            situation: None,
            seed: None,
            frame_times: None,
            input: None,
            output: None,
            model: None,
            threads: 2,
        }
    }
}

/// Run the command.
pub fn run(args: &WindowArgs) -> Result<ExitCode, Failure> {
    let options = Options {
        phrases: args.phrases.clone(),
        logbook: LogbookPlace::Disk {
            file: folders::logbook(),
            recordings: folders::recordings(),
        },
        loader: Loader::lattice(folders::model_folders(), args.model.clone(), args.threads),
        sound: true,
        input: args.input.clone(),
        output: args.output.clone(),
        situation: args.situation.clone(),
        direction: None,
        step: args.step.clone(),
    };
    // Held until this window is closed. Where it cannot be had for another reason than another window, nothing is said.
    let alone = Lock::try_take(&folders::window_lock());
    let start = Start {
        second: matches!(alone, Ok(None)),
        site: args.site.clone().map(SiteRequest),
        student: args.student.clone(),
        settings: folders::settings(),
        seed: args.seed,
        deal: args.situation.is_some(),
        file: args.file.clone(),
        frame_times: args.frame_times.clone(),
    };
    window::run(options, start)?;
    drop(alone);
    Ok(ExitCode::SUCCESS)
}
