//! The student's record: who practises here, what they said, what was judged, and the recordings kept with consent.
//!
//! This room owns the SQLite file and the names of the recording files. It knows neither the window nor the speech
//! model, it has no clock (every time is passed in) and takes rows of its own ([`NewAttempt`]), so that the rooms
//! that judge a call need not know SQLite.
//!
//! | file | owns |
//! |---|---|
//! | `rows.rs` | the rows as the rest of the program sees them |
//! | `error.rs` | everything that can go wrong, as sentences for the user |
//! | `schema.rs`, `format_2.rs`, `format_3.rs` | tables, indexes, migrations |
//! | `bad_rows.rs` | rows that cannot be read: stepped over, kept out of a merge, set aside |
//! | `derive.rs` | what follows from answers about consent and from judgements |
//! | `open.rs` | opening, write protection, setting a damaged file aside |
//! | `students.rs` | students, consent |
//! | `attempts.rs`, `counts.rs` | recording attempts, lists; how often what came |
//! | `runs.rs` | whole launches, ear drills and other turns that belong together |
//! | `classes.rs` | classes and their members |
//! | `pins.rs` | PINs, and how often one may be tried |
//! | `instructors.rs`, `labelled.rs` | overruling a verdict; the calls so labelled |
//! | `alike.rs` | names that look the same |
//! | `retention.rs` | removing by age |
//! | `joined.rs` | two entries of one person become one |
//! | `merge.rs` | two logbooks become one |
//! | `past.rs` | past calls for the plan |
//! | `practised.rs` | what reports are made from |
//! | `progress.rs` | how a student comes along |
//! | `recordings.rs` | names of recording files, left-overs of a crash |
//! | `take_in.rs` | attempts from another computer |
//! | `forget.rs` | removing a student for good |
//! | `export.rs` | CSV and JSON |
//!
//! Choices that hold everywhere here:
//!
//! * **Rollback journal, `synchronous = EXTRA`.** A finished attempt survives a kill and a power cut. A write-ahead
//!   log would be faster, but an attempt comes every few seconds at most, and with the rollback journal the logbook is
//!   one file: it can be copied, lie on a club's network share, be read from a write-protected folder, and a
//!   forgotten student leaves nothing in a second file.
//! * **Ids are random UUIDs**, local row numbers never leave the file: two logbooks can be merged.
//! * **No recording without consent** is kept by the database itself (triggers), not only by this code.
//!
//! # What comes from outside
//!
//! Rows that cannot be read (`logbook/bad_rows.rs`): everything that reads many rows goes through `Logbook::readable`, which leaves out what
//! does not fit its row type and notes it (`stepped_over`; the commands print it). Before a merge the other logbook's tables must be of this
//! program's make, or it is refused; then each of its rows goes through the same types, and what does not fit is left there with what belongs to
//! it. A new merged column needs its place in `bad_rows::looks`. A half-read answer about recordings leaves its student out: without a refusal,
//! consent would seem given. Backups (`.format-N.backup`, `.before-merge.backup`) that hold what was removed for good go at the next start.
//!
//! Files are read by `folders::read_outside` (regular files, a limit of bytes). Text goes to a terminal through `command/gate.rs`: the room's
//! `println!`, `print!` and `eprintln!` are made of it, `Gate` is for what is written to an output. Bounds: a typed line 1000 bytes, a WAV 1000 chunks before the
//! sound and samples up to 1e6 times full scale, a PIN's hash 16 times the default cost.
//!
//! PINs (`logbook/pins.rs`): the commands ask with `students::authorised`; the count of wrong tries is in the table `setting`, which is not merged.
//!
//! A format once published is never edited. `attempt` is built anew in format 2; foreign keys are off while migrating. Pages and
//! reports read `counted_attempt` (calls that count, with `counted_outcome`) and `coalesce(overruled_verdict, verdict)`.
//!
//! `cargo bench --bench logbook` makes a logbook of 100 000 attempts of 30 students (528 MB) from a seed and fails when a page's
//! question takes over 50 ms. Measured 2026-11-26, release, processor time, medians of seven: the plan's past calls 36 ms, a student's progress 26, everybody's 21, the board of a

mod alike;
mod attempts;
mod bad_rows;
mod classes;
mod counts;
mod derive;
mod error;
mod export;
mod forget;
mod format_2;
mod format_3;
mod instructors;
mod joined;
mod labelled;
mod merge;
mod open;
mod past;
mod pins;
mod practised;
mod progress;
mod recordings;
mod retention;
mod rows;
mod runs;
mod schema;
mod students;
mod take_in;

pub use attempts::Whose;
pub use bad_rows::BadRow;
pub use classes::Class;
pub use counts::{ElementCount, FirstTime, OutcomeCounts};
pub use error::LogbookError;
pub(crate) use export::guarded;
pub use forget::Forgotten;
pub use instructors::{INSTRUCTOR, Instructor, Ruled};
pub use joined::Joined;
pub use labelled::Labelled;
pub use merge::Merged;
pub use open::set_aside;
pub use past::LEVEL;
pub use practised::{Practised, PractisedElement};
pub use progress::{Course, Day, Middle, MixUp, NEWEST, Progress, Share, TOO_FEW, Tally, VersionCount, attempts_under};
pub use recordings::{Fate, Leftover, LeftoverKind, RecordingName};
pub use retention::{Removed, Retention};
pub use rows::{
    AttemptSummary, Consent, ElementVerdict, ModelUsed, NewAttempt, NewStudent, Outcome, Overrule, StoredAttempt,
    Student, Timings, Verdict,
};

pub use runs::{Done, InRun, Kind, NewRun, Part, RunKind, StoredRun};
pub use take_in::TakenIn;

use std::path::PathBuf;

/// What the functions of this room return.
pub type Result<T> = std::result::Result<T, LogbookError>;

/// An open logbook. Can be sent to another thread, not shared: give it to one worker.
///
/// Two programs may have the same logbook open; a write waits for the other's for some seconds, then fails with
/// [`LogbookError::Busy`].
#[derive(Debug)]
pub struct Logbook {
    connection: rusqlite::Connection,
    /// The database file, for messages; `:memory:` when there is none.
    path: PathBuf,
    /// The folder of the recordings.
    recordings: PathBuf,
    read_only: bool,
    /// Rows that were stepped over because they cannot be read.
    noted: bad_rows::Noted,
}
