//! A run as a state machine: the turn, what the other side answers, what is asked next. Pure: random numbers are passed in.

pub mod answer;
pub mod deal;
pub mod turn;

pub use answer::{Answer, answer};
pub use deal::deal;
pub use turn::{Turn, TurnState};
