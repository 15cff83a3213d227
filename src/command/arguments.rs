//! What the program takes at the command line: its commands, and which function each one is.

use super::Failure;
use clap::{CommandFactory, Parser};
use std::process::ExitCode;

/// Trains glider students to make the radio calls of a winch launch. It trains words, not flying: site rules, your
/// instructor and national rules come first.
#[derive(Parser)]
#[command(version, about)]
pub struct Arguments {
    /// Without a command the window opens
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(clap::Subcommand)]
enum Command {
    Window(super::window::WindowArgs),
    Demo(super::demo::DemoArgs),
    Drill(super::drill::DrillArgs),
    Launch(super::launch::LaunchArgs),
    Ear(super::ear::EarArgs),
    Rehearse(super::rehearse::RehearseArgs),
    Class(super::class::ClassArgs),
    Report(super::report::ReportArgs),
    Simulate(super::simulate::SimulateArgs),
    Site(super::site::SiteArgs),
    Score(super::score::ScoreArgs),
    Evaluate(super::evaluate::EvaluateArgs),
    Model(super::model::ModelArgs),
    Sound(super::sound::SoundArgs),
    Logbook(super::logbook::LogbookArgs),
    Completions(super::manual::CompletionsArgs),
    Manual(super::manual::ManualArgs),
}

/// Run the command that was asked for; without one the window.
pub fn run(arguments: &Arguments) -> Result<ExitCode, Failure> {
    let Some(command) = &arguments.command else {
        return super::window::run(&super::window::WindowArgs::default());
    };
    match command {
        Command::Window(a) => super::window::run(a),
        Command::Demo(a) => super::demo::run(a),
        Command::Drill(a) => super::drill::run(a),
        Command::Launch(a) => super::launch::run(a),
        Command::Ear(a) => super::ear::run(a),
        Command::Rehearse(a) => super::rehearse::run(a),
        Command::Class(a) => super::class::run(a),
        Command::Report(a) => super::report::run(a),
        Command::Simulate(a) => super::simulate::run(a),
        Command::Site(a) => super::site::run(a),
        Command::Score(a) => super::score::run(a),
        Command::Evaluate(a) => super::evaluate::run(a),
        Command::Model(a) => super::model::run(a),
        Command::Sound(a) => super::sound::run(a),
        Command::Logbook(a) => super::logbook::run(a),
        Command::Completions(a) => super::manual::completions(a, Arguments::command()),
        Command::Manual(a) => super::manual::manual(a, Arguments::command()),
    }
}
