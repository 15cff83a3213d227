//! One file a subcommand; the only room that prints.

/// As the standard one, through the gate.
macro_rules! println {
    () => { ::std::println!() };
    ($($text:tt)*) => { ::std::println!("{}", $crate::command::gate::plain(&format!($($text)*))) };
}

/// As the standard one, through the gate; a line may be begun anew.
macro_rules! print {
    ($($text:tt)*) => {{
        let text = format!($($text)*);
        match text.strip_prefix('\r') {
            Some(rest) => ::std::print!("\r{}", $crate::command::gate::plain(rest)),
            None => ::std::print!("{}", $crate::command::gate::plain(&text)),
        }
    }};
}

/// As the standard one, through the gate.
macro_rules! eprintln {
    () => { ::std::eprintln!() };
    ($($text:tt)*) => { ::std::eprintln!("{}", $crate::command::gate::plain(&format!($($text)*))) };
}

pub mod arguments;
pub mod class;
pub mod common;
pub mod demo;
pub mod drill;
pub mod ear;
pub mod evaluate;
pub mod gate;
mod kept;
pub mod launch;
pub mod learners;
pub mod logbook;
pub mod manual;
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
