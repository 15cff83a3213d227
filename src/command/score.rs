//! `cableside score`: judge one recording.
#![allow(clippy::print_stdout, reason = "a command's room prints")]

use super::common::{self, ModelChoice, SiteChoice};
use super::{Failure, show};
use crate::call::{Evidence, Judgement, Outcome, Situation, Vocabulary, judge, judge::Limits};
use crate::hear::Recogniser;
use crate::site::{Site, Step};
use crate::sound::Clip;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// Judge a recording of one call
#[derive(Debug, clap::Args)]
#[allow(clippy::struct_excessive_bools, reason = "switches of the command line")]
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
    /// What was dealt where the step leaves a choice, such as speed="too slow"; may be given more than once
    #[arg(long = "value", value_name = "ELEMENT=VALUE")]
    values: Vec<String>,
    /// The glider was called on the frequency before and answered
    #[arg(long)]
    contact: bool,
    /// Only this cable is laid out
    #[arg(long)]
    single: bool,
    /// The glider is a visitor: its callsign need not be in the site's fleet
    #[arg(long)]
    visitor: bool,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
    /// Exit with 3 unless the outcome is `pass`
    #[arg(long)]
    strict: bool,
    #[command(flatten)]
    model: ModelChoice,
    /// Print below the verdicts what they rest on: what the model writes down by itself, how well the site's words explain the sound,
    /// where no words were found, and the readings with their weights, the likeliest first (--json has it anyway)
    #[arg(long)]
    evidence: bool,
    /// Also print what a second listener writes down, which knows nothing of the site; it decides nothing, and takes a few seconds
    #[arg(long)]
    second_listener: bool,
}

/// Run the command.
pub fn run(args: &ScoreArgs) -> Result<ExitCode, Failure> {
    let site = args.site.load()?;
    let step = common::spoken_step(&site, &args.step)?;
    let situation = situation(args, &site, step)?;
    let clip = crate::sound::read_clip(&args.file)?;
    let mut recogniser = args.model.load()?;
    let evidence = recogniser.hear(&clip, &Vocabulary::of(&site, step), &AtomicBool::new(false))?;
    let judgement = judge(&site, step, &situation, &evidence, &Limits::DEFAULT);
    let second = if args.second_listener {
        let second = args.model.second()?;
        Some(second.write_down(&clip, site.language, &Arc::default())?)
    } else {
        None
    };
    if args.json {
        let mut value = as_json(
            &site,
            step,
            &situation,
            recogniser.model(),
            &judgement,
            &evidence,
            &clip,
        );
        if let (Some(object), Some(text)) = (value.as_object_mut(), second) {
            object.insert("second_listener".to_owned(), text.into());
        }
        println!("{}", serde_json::to_string_pretty(&value)?);
    } else {
        for t in &clip.troubles {
            println!("{t}");
        }
        for open in not_said(&site, step, &situation) {
            println!("{open}");
        }
        print!("{}", show::judgement(&site, step, &situation, &judgement, &evidence));
        if let Some(text) = second {
            println!("The second listener wrote: \"{text}\"");
        }
        println!("{}", site.caution);
        if args.evidence {
            print!("{}", show::readings(&evidence));
        }
    }
    let failed = args.strict && judgement.outcome != Outcome::Pass;
    Ok(if failed { ExitCode::from(3) } else { ExitCode::SUCCESS })
}

/// What was dealt, as far as this site has it.
fn situation(args: &ScoreArgs, site: &Site, step: &Step) -> Result<Situation, Failure> {
    let mut situation = common::situation(site, &args.callsign, args.crew, &args.cable)?;
    match site.aircraft(&situation.callsign) {
        None if !args.visitor => {
            let fleet: Vec<String> = site.fleet.iter().map(|a| a.registration.to_string()).collect();
            return Err(format!(
                "{} is not in the fleet of the site {}: {}; for another club's glider add --visitor",
                situation.callsign,
                site.id,
                fleet.join(", ")
            )
            .into());
        }
        Some(aircraft) if args.crew > aircraft.seats => {
            return Err(format!(
                "{} ({}) has {}, so a crew of {} cannot be in it",
                aircraft.registration,
                aircraft.kind,
                if aircraft.seats == 1 {
                    "one seat".to_owned()
                } else {
                    format!("{} seats", aircraft.seats)
                },
                args.crew
            )
            .into());
        }
        _ => {}
    }
    (situation.contact, situation.single) = (args.contact, args.single);
    for given in &args.values {
        let (element, value) = given
            .split_once('=')
            .ok_or_else(|| format!("\"{given}\" is no value: write ELEMENT=VALUE, such as speed=\"too slow\""))?;
        deal(site, step, &mut situation, element, value)?;
    }
    Ok(situation)
}

/// Puts a value that was dealt into a situation, if the step leaves it open and the site has it.
pub(super) fn deal(
    site: &Site,
    step: &Step,
    situation: &mut Situation,
    element: &str,
    value: &str,
) -> Result<(), Failure> {
    let dealt = dealt(site, step);
    let Some((_, values)) = dealt.iter().find(|(e, _)| *e == element) else {
        let all: Vec<&str> = dealt.iter().map(|(e, _)| *e).collect();
        return Err(if all.is_empty() {
            format!("the step \"{}\" leaves no choice, so it takes no --value", step.id).into()
        } else {
            format!(
                "the step \"{}\" does not leave \"{element}\" open; it does: {}",
                step.id,
                all.join(", ")
            )
            .into()
        });
    };
    if !values.contains(&value) {
        return Err(format!("{element} has no value \"{value}\"; it has: {}", values.join(", ")).into());
    }
    if situation.more.insert(element.to_owned(), value.to_owned()).is_some() {
        return Err(format!("{element} is given twice").into());
    }
    Ok(())
}

/// The elements of a step whose values are dealt, with their values.
pub(super) fn dealt<'s>(site: &'s Site, step: &'s Step) -> Vec<(&'s str, Vec<&'s str>)> {
    let elements = step.elements.iter().filter_map(|e| site.elements.get(e));
    elements
        .filter(|e| e.is_dealt())
        .map(|e| (e.id.as_str(), e.values.iter().map(|v| v.id.as_str()).collect()))
        .collect()
}

/// What is open in the step and was not said by the user, so that the first value is taken.
fn not_said(site: &Site, step: &Step, situation: &Situation) -> Vec<String> {
    dealt(site, step)
        .into_iter()
        .filter(|(element, _)| !situation.more.contains_key(*element))
        .map(|(element, values)| {
            format!(
                "No --value for {element}, so \"{}\" is taken; it may be: {}.",
                values.first().unwrap_or(&""),
                values.join(", ")
            )
        })
        .collect()
}

/// The form is described in `DATA.md`.
fn as_json(
    site: &Site,
    step: &Step,
    situation: &Situation,
    model: &str,
    judgement: &Judgement,
    evidence: &Evidence,
    clip: &Clip,
) -> serde_json::Value {
    let troubles: Vec<String> = clip.troubles.iter().map(ToString::to_string).collect();
    serde_json::json!({
        "form": "cableside score",
        "version": 1,
        "program": env!("CARGO_PKG_VERSION"),
        "site": site.id,
        "site_version": site.version,
        "step": step.id,
        "model": model,
        "situation": situation,
        "judgement": judgement,
        "evidence": evidence,
        "levels": clip.levels,
        "troubles": troubles,
    })
}
