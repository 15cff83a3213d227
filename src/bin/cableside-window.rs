//! Opens the window without a terminal behind it: what a user of Windows double-clicks.
//!
//! Windows decides by the file whether a program has a terminal. The program itself has one, so that its commands print and are
//! waited for; this one has none, starts it unseen, and shows what it says if it cannot go on.
#![cfg_attr(windows, windows_subsystem = "windows")]

use std::path::PathBuf;
use std::process::{Command, ExitCode, Stdio};

/// Windows' word for a child without a terminal of its own.
#[cfg(windows)]
const CREATE_NO_WINDOW: u32 = 0x0800_0000;

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            rfd::MessageDialog::new()
                .set_level(rfd::MessageLevel::Error)
                .set_title("Cableside")
                .set_description(why)
                .show();
            ExitCode::FAILURE
        }
    }
}

/// The program: in `bin` beside this file, where it is unpacked, or right beside it.
fn program() -> Result<PathBuf, String> {
    let here = std::env::current_exe().map_err(|e| format!("The program's folder is not known ({e})."))?;
    let folder = here.parent().map(PathBuf::from).unwrap_or_default();
    let name = format!("cableside{}", std::env::consts::EXE_SUFFIX);
    [folder.join("bin").join(&name), folder.join(&name)]
        .into_iter()
        .find(|path| path.is_file() && *path != here)
        .ok_or_else(|| {
            format!(
                "{name} is missing. Unpack the whole folder, not this file alone: {}",
                folder.display()
            )
        })
}

fn run() -> Result<(), String> {
    let program = program()?;
    let mut command = Command::new(&program);
    command
        .arg("window")
        .args(std::env::args_os().skip(1))
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped());
    #[cfg(windows)]
    std::os::windows::process::CommandExt::creation_flags(&mut command, CREATE_NO_WINDOW);
    let output = command
        .spawn()
        .and_then(std::process::Child::wait_with_output)
        .map_err(|e| format!("The program does not start ({e}): {}", program.display()))?;
    if output.status.success() {
        return Ok(());
    }
    let said = String::from_utf8_lossy(&output.stderr);
    let lines: Vec<&str> = said.lines().collect();
    // What went wrong stands at the end.
    let last = lines[lines.len().saturating_sub(12)..].join("\n");
    Err(if last.trim().is_empty() {
        format!("The program ended without a word ({}).", output.status)
    } else {
        last
    })
}
