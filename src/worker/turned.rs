//! What a turn of a launch is in the record, for the window and for the terminal.

use crate::call::Outcome;
use crate::drill::{Ending, Entry, Note, Want};
use crate::logbook::{Done, Kind};

/// What a turn of a launch was and what came of it, from what it added to the record. A stop, "not ready" and the hand are
/// always right and never an error; they are no calls of the step either.
pub fn came_of(want: Want, entries: &[Entry]) -> (Kind, Done, Outcome) {
    let ending = entries.iter().find_map(|e| match e {
        Entry::Ended { ending, .. } => Some(*ending),
        _ => None,
    });
    let called = entries.iter().find_map(|e| match e {
        Entry::Called { judgement, asked, .. } => Some((judgement, asked)),
        _ => None,
    });
    let done = match called {
        Some(_) => Done::Called,
        None if entries.iter().any(|e| matches!(e, Entry::Hand { .. })) => Done::Hand,
        None => Done::Nothing,
    };
    let right = |right: bool| if right { Outcome::Pass } else { Outcome::NotYet };
    let (kind, outcome) = match (want, called) {
        (Want::Call, _)
            if entries.iter().any(|e| {
                matches!(
                    e,
                    Entry::Noted {
                        note: Note::LeftOut,
                        ..
                    }
                )
            }) =>
        {
            (Kind::Words, Outcome::Pass)
        }
        (Want::Call, Some(_))
            if matches!(
                ending,
                Some(Ending::NothingMoves | Ending::Stopped | Ending::StoppedToBeSure)
            ) =>
        {
            (Kind::Hazard, Outcome::Pass)
        }
        (Want::Call, Some((judgement, asked))) => (
            Kind::Call,
            // Of an answer counts what was asked for.
            asked
                .as_ref()
                .map_or(judgement.outcome, |asked| judgement.answers(asked)),
        ),
        (Want::Call, None) if done == Done::Hand => (Kind::Hazard, Outcome::Pass),
        (Want::Call, None) => (Kind::Call, Outcome::NothingHeard),
        (Want::Readback, _) => (Kind::Readback, right(ending != Some(Ending::ReadbackAccepted))),
        (Want::Failure, _) => (Kind::Hazard, right(done == Done::Hand)),
        (Want::Hazard, _) => (Kind::Hazard, right(ending != Some(Ending::HazardMissed))),
        (Want::Words | Want::Aside | Want::Signal | Want::Wait | Want::Halt, _) => (Kind::Words, Outcome::Pass),
        (Want::Release, _) => (
            Kind::Release,
            right(done == Done::Hand || ending == Some(Ending::StoppedToBeSure)),
        ),
    };
    (kind, done, outcome)
}
