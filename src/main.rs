//! The `cableside` program: parse, run one command, print one error.
#![allow(clippy::print_stderr, reason = "the one place that prints an error")]

use cableside::command::{self, Failure};
use clap::Parser;
use std::process::ExitCode;

/// Trains glider students to make the radio calls of a winch launch. It trains words, not flying: site rules, your
/// instructor and national rules come first.
#[derive(Parser)]
#[command(version, about)]
struct Arguments {
    /// Without a command the window opens
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(clap::Subcommand)]
enum Command {
    Window(command::window::WindowArgs),
    Demo(command::demo::DemoArgs),
    Drill(command::drill::DrillArgs),
    Launch(command::launch::LaunchArgs),
    Ear(command::ear::EarArgs),
    Rehearse(command::rehearse::RehearseArgs),
    Class(command::class::ClassArgs),
    Report(command::report::ReportArgs),
    Simulate(command::simulate::SimulateArgs),
    Site(command::site::SiteArgs),
    Score(command::score::ScoreArgs),
    Evaluate(command::evaluate::EvaluateArgs),
    Model(command::model::ModelArgs),
    Sound(command::sound::SoundArgs),
    Logbook(command::logbook::LogbookArgs),
}

fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let Some(command) = &arguments.command else {
        return command::window::run(&command::window::WindowArgs::default());
    };
    match command {
        Command::Window(a) => command::window::run(a),
        Command::Demo(a) => command::demo::run(a),
        Command::Drill(a) => command::drill::run(a),
        Command::Launch(a) => command::launch::run(a),
        Command::Ear(a) => command::ear::run(a),
        Command::Rehearse(a) => command::rehearse::run(a),
        Command::Class(a) => command::class::run(a),
        Command::Report(a) => command::report::run(a),
        Command::Simulate(a) => command::simulate::run(a),
        Command::Site(a) => command::site::run(a),
        Command::Score(a) => command::score::run(a),
        Command::Evaluate(a) => command::evaluate::run(a),
        Command::Model(a) => command::model::run(a),
        Command::Sound(a) => command::sound::run(a),
        Command::Logbook(a) => command::logbook::run(a),
    }
}

/// What a user sees should the program itself be at fault. Output that nobody takes any more (a closed pipe, a full disk)
/// ends the program too, since Rust's own printing panics then.
fn on_panic(info: &std::panic::PanicHookInfo) {
    let what = info.payload_as_str().unwrap_or("no reason given");
    if let Some(why) = what.strip_prefix("failed printing to ") {
        if !why.contains("Broken pipe") {
            eprintln!("cableside: the output cannot be written to {why}");
        }
        std::process::exit(1);
    }
    let place = info
        .location()
        .map_or_else(String::new, |l| format!(" ({}, line {})", l.file(), l.line()));
    eprintln!(
        "cableside: a fault in the program itself{place}: {what}\nWhat was recorded and judged is kept. Please report these lines."
    );
}

fn main() -> ExitCode {
    std::panic::set_hook(Box::new(on_panic));
    match run(&Arguments::parse()) {
        Ok(code) => code,
        Err(e) => {
            eprintln!("cableside: {}", command::gate::plain(e.to_string().trim_end()));
            ExitCode::FAILURE
        }
    }
}
