//! `cableside completions` and `cableside manual`: what the shell and `man` know of the commands, made from the commands
//! themselves.

use super::{Failure, common};
use clap::{Args, Command};
use clap_complete::Shell;
use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

const NAME: &str = "cableside";

/// Print the completions of the commands for a shell
///
/// For bash, for instance: cableside completions bash > ~/.local/share/bash-completion/completions/cableside
#[derive(Debug, Args)]
pub struct CompletionsArgs {
    /// The shell
    #[arg(value_enum)]
    shell: Shell,
}

/// Write the manual pages, one for each command
///
/// They can be read with man: man -l DIR/cableside-drill.1
#[derive(Debug, Args)]
pub struct ManualArgs {
    /// The folder to write the pages to; none of them may be there yet
    dir: PathBuf,
}

/// Run `cableside completions`.
pub fn completions(args: &CompletionsArgs, mut command: Command) -> Result<ExitCode, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut command, NAME, &mut script);
    let mut out = std::io::stdout().lock();
    match out.write_all(&script).and_then(|()| out.flush()) {
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => Err(e.into()),
        _ => Ok(ExitCode::SUCCESS),
    }
}

/// Run `cableside manual`.
pub fn manual(args: &ManualArgs, mut command: Command) -> Result<ExitCode, Failure> {
    std::fs::create_dir_all(&args.dir)
        .map_err(|e| format!("could not make the folder ({e}): {}", args.dir.display()))?;
    // Names of the pages and of the commands in them need the whole way to a command.
    command.build();
    let mut pages = Vec::new();
    all(&command, NAME, &mut pages)?;
    for (name, page) in &pages {
        common::must_not_exist(&args.dir.join(name))?;
        common::write_new_bytes(&args.dir.join(name), page)?;
    }
    writeln!(
        std::io::stdout(),
        "{} pages written: {}",
        pages.len(),
        args.dir.display()
    )?;
    Ok(ExitCode::SUCCESS)
}

/// The page of a command, and those of the commands below it.
fn all(command: &clap::Command, name: &str, pages: &mut Vec<(String, Vec<u8>)>) -> Result<(), Failure> {
    let mut page = Vec::new();
    clap_mangen::Man::new(command.clone())
        .title(name)
        .source(format!("{NAME} {}", env!("CARGO_PKG_VERSION")))
        // The day it was made would make two packages of the same program differ.
        .date("")
        .render(&mut page)?;
    pages.push((format!("{name}.1"), page));
    for below in command.get_subcommands().filter(|c| c.get_name() != "help") {
        all(below, &format!("{name}-{}", below.get_name()), pages)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::command::arguments::Arguments;
    use clap::CommandFactory;

    #[test]
    fn every_command_has_a_page_and_is_completed() {
        let mut command = Arguments::command();
        command.build();
        let mut pages = Vec::new();
        all(&command, NAME, &mut pages).unwrap();
        let names: Vec<&str> = pages.iter().map(|(name, _)| name.as_str()).collect();
        for name in [
            "cableside.1",
            "cableside-score.1",
            "cableside-class-hand-out.1",
            "cableside-logbook-student-rename.1",
        ] {
            assert!(names.contains(&name), "{names:?}");
        }
        for (name, page) in &pages {
            let text = String::from_utf8(page.clone()).unwrap();
            assert!(
                text.contains(".SH SYNOPSIS") && text.contains(".SH DESCRIPTION"),
                "{name}"
            );
        }
        for shell in [Shell::Bash, Shell::Zsh, Shell::Fish, Shell::PowerShell] {
            let mut script = Vec::new();
            clap_complete::generate(shell, &mut command, NAME, &mut script);
            let script = String::from_utf8(script).unwrap();
            for word in ["hand-out", "rename", "visitor"] {
                assert!(script.contains(word), "{shell}: {word}");
            }
        }
    }
}
