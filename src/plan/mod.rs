//! What to practise next: how steady each part of a call is, when it is due again, which situation comes next, at which
//! level, and for how long. Pure: past calls, the time and random numbers are passed in.
//!
//! | file | owns |
//! |---|---|
//! | `past.rs` | a past call as this room takes it, and which calls count |
//! | `items.rs` | what can be steady or due: steps, elements, values, callsign patterns, pairs easily mixed up |
//! | `memory.rs` | what a verdict is worth, the spaced-repetition scheduler behind one type |
//! | `steady.rs` | how reliably an item comes, and when there are too few calls to say so |
//! | `deck.rs` | every call that can be dealt, and the items in it |
//! | `next.rs` | [`Plan`]: the next situation and why |
//! | `today.rs` | what is due today, for a page or a terminal |
//! | `level.rs` | written facts, scene, busy field: how a student rises and falls |
//! | `session.rs` | a session of chosen minutes |
//! | `learners/` | simulated learners: the plan against dealing at random and against a fixed rotation |
//!
//! # How it is used
//!
//! `plan::Plan` is made from a student's past calls (`Logbook::past`) and asked by the worker for each turn of a student with a name;
//! without one chance deals. Items are steps, elements of a step, values (a registration, a cable), callsign patterns, and pairs
//! easily mixed up (one slip apart, two-valued elements, and whatever this student has mixed up). Each has a memory in the scheduler (crate
//! `fsrs`, version pinned, default parameters; its published vectors are in `plan/memory.rs`, with the table that says what a verdict is worth) and
//! a steadiness over its latest 20 calls, told from 5 on with Wilson's interval. Unsure verdicts, attempts held out, calls with a stop, later attempts of a
//! turn and calls in which nothing was heard move nothing. `plan/next.rs` says how the next call is chosen, `plan/level.rs` when a level rises
//! and falls. The level stands in the stored situation (`"level"`, nothing for the written one). The worker tells all of it as `Event::Planned`.

mod deck;
mod items;
pub mod learners;
mod level;
mod memory;
mod next;
mod past;
mod session;
mod steady;
mod today;

pub use deck::can_be_practised;
pub use items::{Item, callsign_pattern};
pub use level::Level;
pub use next::{Choice, DealReason, Plan};
pub use past::{Answered, Moment, Past};
pub use session::{Session, expected_seconds};
pub use steady::{MIN_CALLS, Share, Steadiness};
pub use today::{Due, Today};
