//! One file a subcommand; the only room that prints.

pub mod class;
pub mod common;
pub mod demo;
pub mod drill;
pub mod ear;
pub mod evaluate;
mod kept;
pub mod launch;
pub mod learners;
pub mod logbook;
pub mod model;
pub mod practice;
pub mod rehearse;
pub mod report;
pub mod score;
pub mod show;
pub mod simulate;
pub mod site;
pub mod sound;
pub mod window;

/// What a command that could not do its work hands to `main`, which prints it once and exits with 1.
pub type Failure = Box<dyn std::error::Error + Send + Sync>;
