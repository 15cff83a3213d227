//! How far something is that takes a while beside the drill.

use super::Trouble;
use crate::model::Progress;

/// How far the fetching is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FetchState {
    /// Under way.
    Working(Progress),
    /// The model is there.
    Done,
    /// Stopped because it was asked to; nothing unfinished is left.
    Cancelled,
    /// Stopped because it was asked to; what has arrived is kept for the next time.
    Paused,
    /// It failed, for this reason.
    Failed(Trouble),
}

/// How far the second listener is with a call.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SecondState {
    /// It listens.
    Listening,
    /// What it wrote down; empty where it heard no words.
    Wrote(String),
    /// It was stopped.
    Stopped,
    /// It could not, for this reason.
    Failed(Trouble),
}
