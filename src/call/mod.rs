//! One call: the situation dealt, what was said, verdicts, outcome, advice, score. Pure.

pub mod delivery;
pub mod evidence;
pub mod judge;
pub mod reading;
pub mod situation;
pub mod vocabulary;
pub mod words;

pub use delivery::{Delivery, Place};
pub use evidence::{Evidence, Scored};
pub use judge::{Advice, ElementVerdict, Judgement, Outcome, Verdict, judge};
pub use reading::{Mention, Reading, Said};
pub use situation::{Situation, SituationError};
pub use vocabulary::Vocabulary;
