//! `cableside score`: judge one recording.
#![allow(clippy::print_stdout, reason = "a command's room prints")]

use super::common::{self, ModelChoice, SiteChoice};
use super::{Failure, show};
use crate::call::{Outcome, Vocabulary, judge, judge::Limits};
use crate::hear::Recogniser;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::atomic::AtomicBool;

/// Judge a recording of one call
#[derive(Debug, clap::Args)]
pub struct ScoreArgs {
    /// WAV or FLAC file
    pub file: PathBuf,
    #[command(flatten)]
    site: SiteChoice,
    /// The step of the launch
    #[arg(long, default_value = "ready")]
    step: String,
    /// The glider: its registration, such as G-CLRM, or its competition sign; one that is not in the fleet is a visitor
    #[arg(long)]
    callsign: String,
    /// People on board
    #[arg(long)]
    crew: u8,
    /// The cable's id
    #[arg(long)]
    cable: String,
    /// What was dealt beside them, for instance wind=light; of an element that is not named, its first value
    #[arg(long = "value", value_name = "ELEMENT=VALUE")]
    values: Vec<String>,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
    /// Exit with 3 unless the outcome is `pass`
    #[arg(long)]
    strict: bool,
    #[command(flatten)]
    model: ModelChoice,
    /// Print the readings and their weights too
    #[arg(long)]
    evidence: bool,
}

/// Run the command.
pub fn run(args: &ScoreArgs) -> Result<ExitCode, Failure> {
    let site = args.site.load()?;
    let step = common::spoken_step(&site, &args.step)?;
    let situation = common::situation(&site, &args.callsign, args.crew, &args.cable, &args.values)?;
    if site.aircraft(&situation.callsign).is_none() && !args.json {
        println!(
            "{} is not in the fleet of {}: a visitor, who says every character and the crew.",
            situation.callsign, site.id
        );
    }
    let clip = crate::sound::read_clip(&args.file)?;
    let mut recogniser = args.model.load()?;
    let evidence = recogniser.hear(&clip, &Vocabulary::of(&site, step), &AtomicBool::new(false))?;
    let judgement = judge(&site, step, &situation, &evidence, &Limits::DEFAULT);
    if args.json {
        let value = serde_json::json!({ "site": site.id, "site_version": site.version, "step": step.id, "model": recogniser.model(), "situation": situation, "judgement": judgement, "evidence": evidence, "levels": clip.levels, "troubles": clip.troubles.iter().map(ToString::to_string).collect::<Vec<_>>() });
        println!("{}", serde_json::to_string_pretty(&value)?);
    } else {
        for t in &clip.troubles {
            println!("{t}");
        }
        print!("{}", show::judgement(&site, step, &situation, &judgement, &evidence));
        if args.evidence {
            print!("{}", show::readings(&evidence));
        }
    }
    let failed = args.strict && judgement.outcome != Outcome::Pass;
    Ok(if failed { ExitCode::from(3) } else { ExitCode::SUCCESS })
}
