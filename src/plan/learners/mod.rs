//! Simulated learners: does the plan teach more in the same minutes than dealing at random, or than a fixed rotation?
//!
//! Four kinds of forgetting ([`Forgetting`]), each with learners of their own speeds; one of the four is the scheduler's
//! own model, the other three know nothing of it. What is forgotten are units: that an element belongs in a step's call,
//! and the words of each value. A learner sees every call's right words afterwards, so each attempt teaches.
//!
//! | file | owns |
//! |---|---|
//! | `memory.rs` | how a unit is forgotten and learned |
//! | `run.rs` | a learner's days under one way of dealing; what is left at the end |

mod memory;
mod run;

pub use memory::Forgetting;
pub use run::{Dealing, Outline, Result, all_steps, run};
