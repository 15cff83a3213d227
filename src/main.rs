//! The `cableside` program: parse, run one command, print one error.
#![allow(clippy::print_stderr, reason = "the one place that prints an error")]

use cableside::command::{self, arguments};
use clap::Parser;
use std::process::ExitCode;

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
    if cableside::window::was_torn_away(what) {
        eprintln!("cableside: the window was taken away by another program. What was recorded and judged is kept.");
        return;
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
    match arguments::run(&arguments::Arguments::parse()) {
        Ok(code) => code,
        Err(e) => {
            eprintln!("cableside: {}", command::gate::plain(e.to_string().trim_end()));
            ExitCode::FAILURE
        }
    }
}
