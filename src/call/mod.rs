//! One call: the situation dealt, what was said, verdicts, outcome, advice, score. Pure.

pub mod advice;
pub mod compare;
pub mod delivery;
pub mod evidence;
pub mod judge;
pub mod mention;
pub mod reading;
pub mod reason;
pub mod situation;
pub mod stance;
mod unlisted;
pub mod verdict;
pub mod vocabulary;

pub use advice::Advice;
pub use delivery::{Delivery, Place};
pub use evidence::{Evidence, Scored};
pub use judge::{ElementVerdict, Judgement, Outcome, Verdict, judge};
pub use reading::{Mention, Reading, Said};
pub use reason::{Reason, Silence};
pub use situation::{Situation, SituationError};
pub use stance::Stance;
pub use vocabulary::Vocabulary;

pub use crate::site::words;
