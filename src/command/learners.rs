//! `cableside simulate --learners`: simulated learners under the plan, dealing at random and a fixed rotation.
#![allow(clippy::print_stdout, reason = "a command's room prints")]

use crate::plan::learners::{Dealing, Forgetting, Outline, Result, all_steps, run};
use crate::site::Site;
use std::fmt::Write as _;
use std::sync::Arc;

/// Print the table and the plot: all steps, then the ready call alone.
pub fn print(site: &Arc<Site>, learners: u32, days: u32, minutes: u32, seed: u64) {
    println!(
        "{}: {learners} learners of each kind, {days} days, practice on five of seven days, {minutes} minutes, seed {seed}",
        site.name
    );
    for (title, steps) in [
        ("All steps that can be practised alone", all_steps(site)),
        ("The ready call alone", vec!["ready".to_owned()]),
    ] {
        if !steps.iter().all(|s| site.step(s).is_some()) {
            continue;
        }
        let outline = Outline {
            learners,
            days,
            minutes,
            steps,
            seed,
        };
        println!("\n{title}\n\n{HEAD}");
        let mut plot = String::new();
        for kind in Forgetting::ALL {
            for dealing in Dealing::ALL {
                let result = run(site, &outline, kind, dealing);
                println!("{}", row(kind, dealing, &result));
                let _ = writeln!(
                    plot,
                    "{:<13} {:<16} {}",
                    name(kind),
                    way(dealing),
                    course(&result.course)
                );
            }
        }
        println!("\nMean recall at the beginning of each day, from 0 (lowest bar) to 1 (highest)\n\n{plot}");
    }
}

const HEAD: &str = "| forgetting | dealt by | recall after the last day (± standard error) | a fortnight later | whole calls right | worst calls right | minutes used | minutes until 0.8 |\n\
    |---|---|---|---|---|---|---|---|";

fn row(kind: Forgetting, dealing: Dealing, r: &Result) -> String {
    format!(
        "| {} | {} | {:.3} ± {:.3} | {:.3} | {:.3} | {:.3} | {:.0} | {:.0} |",
        name(kind),
        way(dealing),
        r.recall,
        r.error,
        r.later,
        r.calls,
        r.worst,
        r.minutes,
        r.until
    )
}

fn name(kind: Forgetting) -> &'static str {
    match kind {
        Forgetting::Exponential => "exponential",
        Forgetting::PowerLaw => "power law",
        Forgetting::Interference => "interference",
        Forgetting::Scheduler => "scheduler's",
    }
}

fn way(dealing: Dealing) -> &'static str {
    match dealing {
        Dealing::Plan => "plan",
        Dealing::PlanWhileDue => "plan, while due",
        Dealing::Random => "chance",
        Dealing::Rotation => "rotation",
    }
}

/// Eight heights of a bar.
const BARS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

fn course(recall: &[f64]) -> String {
    recall.iter().map(|r| BARS[((r * 8.0) as usize).min(7)]).collect()
}
