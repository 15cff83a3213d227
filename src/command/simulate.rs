//! `cableside simulate`: whole launches with random students; prints the states and endings reached.
#![allow(clippy::print_stdout, reason = "a command's room prints")]

use super::Failure;
use super::common::SiteChoice;
use crate::drill::Ending;
use crate::drill::simulate::{events, simulate};
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Instant;

/// Whole launches with random verdicts, to see that every run ends; or simulated learners
#[derive(Debug, clap::Args)]
pub struct SimulateArgs {
    #[command(flatten)]
    site: SiteChoice,
    /// Runs to make
    #[arg(long, default_value_t = 10_000)]
    runs: usize,
    /// Start of the random numbers: the same gives the same runs
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Simulate so many learners of each kind of forgetting instead: the plan against chance and a fixed rotation
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=10_000))]
    learners: Option<u32>,
    /// Days of the learners
    #[arg(long, default_value_t = 60, value_parser = clap::value_parser!(u32).range(1..=3650))]
    days: u32,
    /// Minutes a day of the learners
    #[arg(long, default_value_t = 10, value_parser = clap::value_parser!(u32).range(1..=240))]
    minutes: u32,
}

/// Run the command.
pub fn run(args: &SimulateArgs) -> Result<ExitCode, Failure> {
    let site = args.site.load()?;
    if let Some(learners) = args.learners {
        super::learners::print(&Arc::new(site), learners, args.days, args.minutes, args.seed);
        return Ok(ExitCode::SUCCESS);
    }
    if site.launch.is_none() {
        return Err(format!(
            "the site {} describes no whole launch: steps.toml has no [launch]",
            site.id
        )
        .into());
    }
    let begin = Instant::now();
    let tally = simulate(&site, args.runs, &mut super::common::random(args.seed));
    println!("{}: {} runs, seed {}", site.name, tally.runs, args.seed);
    println!("\nEndings");
    for ending in Ending::ALL {
        let n = tally.endings.get(&ending).copied().unwrap_or(0);
        println!("  {:<20} {n:>7}", format!("{ending:?}"));
    }
    let of_site = |id: &&String| !tally.events.contains_key(*id);
    println!("\nOut of the ordinary");
    for (event, n) in &tally.events {
        println!("  {event:<28} {n:>7}");
    }
    for event in events(&site).iter().filter(of_site) {
        println!("  {event:<28} {:>7}", 0);
    }
    println!("\nThe student's role");
    for (role, n) in &tally.roles {
        println!("  {role:<20} {n:>7}");
    }
    println!("\nThe student's turns");
    for ((step, want), n) in &tally.turns {
        println!("  {step:<20} {:<12} {n:>7}", format!("{want:?}"));
    }
    println!("\nMost turns in one run: {}", tally.longest);
    println!("Dead ends: {}", tally.dead_ends.len());
    for d in tally.dead_ends.iter().take(10) {
        println!("  {d}");
    }
    println!("{:.2} s", begin.elapsed().as_secs_f64());
    Ok(if tally.dead_ends.is_empty() && tally.runs == args.runs {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}
