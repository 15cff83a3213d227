//! `cableside ear --log`: launches are heard, and the student keeps the log.
#![allow(clippy::print_stdout, reason = "a command's room prints")]

use super::{Ear, EarArgs};
use crate::call::Outcome;
use crate::command::Failure;
use crate::command::common;
use crate::command::kept::{Kept, Turn};
use crate::drill::log::{Column, Judged, Task, clock, deal_log};
use crate::logbook::{Done, Kind};
use crate::site::Site;
use jiff::Timestamp;
use std::io::Write;
use std::process::ExitCode;

/// When the day begins at which the launches are heard, minutes.
const MORNING: u16 = 10 * 60;
/// And until when at the latest.
const HOURS: u32 = 7;

/// Hear launches and ask for the line of the log after each.
pub fn run(args: &EarArgs, site: &Site, ear: &Ear, mut kept: Option<Kept>, seed: u64) -> Result<ExitCode, Failure> {
    let mut random = common::random(seed);
    let mut now = MORNING + (random() % (HOURS * 60)) as u16;
    println!("You keep the log. The fleet:");
    for a in &site.fleet {
        println!("  {}  {}", a.registration, site.about_glider(&a.registration));
    }
    println!("After each exchange write what belongs into the log; an empty line where nothing does.");
    let mut before = None;
    let (mut right, mut asked) = (0, 0);
    for number in 0..args.turns {
        let Some(task) = deal_log(site, &mut now, before.as_ref(), &mut random) else {
            return Err("the site describes no whole launch, or has no glider, crew and cable to deal".into());
        };
        println!();
        hear(args, site, ear, &task, number)?;
        let began = Timestamp::now();
        let Some(judged) = written(site, &task)? else { break };
        asked += 1;
        let good = judged.iter().all(|j| j.good);
        right += u32::from(good);
        for j in &judged {
            println!("{}", j.text(site));
        }
        if let Some(kept) = &mut kept {
            kept.dealt(&task.situation)?;
            let stored = kept.turn(Turn {
                step: &site.ready_step().map_or_else(String::new, |s| s.id.clone()),
                kind: Kind::Ear,
                done: Done::Chose,
                outcome: if good { Outcome::Pass } else { Outcome::NotYet },
                began,
                call: None,
                evidence: serde_json::json!({"log": judged, "right": good}),
            });
            if let Err(e) = stored {
                println!("{e}\nThis answer is not in the logbook yet.");
            }
        }
        before = Some(task.situation);
    }
    if let Some(kept) = &mut kept {
        let ending = (asked == args.turns).then_some("complete");
        kept.end(ending, &serde_json::json!({"asked": asked, "right": right}))?;
    }
    println!("\n{right} of {asked} right.");
    Ok(ExitCode::SUCCESS)
}

/// What is heard, with the clock above it whenever it has gone on.
fn hear(args: &EarArgs, site: &Site, ear: &Ear, task: &Task, number: u32) -> Result<(), Failure> {
    let mut at = None;
    for heard in &task.heard {
        if at != Some(heard.at) {
            println!("The clock: {}", clock(heard.at));
            at = Some(heard.at);
        }
        match &heard.role {
            Some(role) if args.shown => println!("[{}] {}", site.role_name(role), heard.text),
            Some(role) => ear.play(site, role, &heard.text, heard.radio, number)?,
            None => println!("({})", heard.text),
        }
    }
    Ok(())
}

/// The line of the log as it is written, judged; `None` when the input has ended.
fn written(site: &Site, task: &Task) -> Result<Option<Vec<Judged>>, Failure> {
    let mut judged = Vec::new();
    for column in Column::ALL {
        print!("{}: ", column.text(site));
        std::io::stdout().flush()?;
        let Some(text) = common::line()? else {
            return Ok(None);
        };
        judged.push(task.judge(site, column, &text));
    }
    Ok(Some(judged))
}
