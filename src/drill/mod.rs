//! A run as a state machine: the turn, what the other side answers, what is asked next. Pure: random numbers are passed in.

pub mod answer;
pub mod deal;
pub mod debrief;
pub mod ear;
pub mod launch;
pub mod log;
pub mod record;
pub mod round;
pub mod simulate;
pub mod turn;
pub mod want;

pub use answer::{Answer, answer};
pub use deal::deal;
pub use launch::{Course, Did, Launch, Next, Pace, Want};
pub use record::{Ending, Entry, Note};
pub use turn::{Turn, TurnState};
