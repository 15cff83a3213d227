//! A class: who is next, who missed what, practice handed out and results taken back.
//!
//! Pure: no clock, no file, no random source; all of them are handed in. Files are bytes here.
//!
//! | file | owns |
//! |---|---|
//! | `rota.rs` | whose turn it is |
//! | `board.rs` | who missed what, as lines of text |
//! | `key.rs` | keys and seals |
//! | `practice.rs` | a practice file: what is handed out to one student |
//! | `results.rs` | a results file: what comes back, sealed |
//! | `unpack.rs` | reading a results file with distrust |
//!
//! # What a seal can and cannot prove
//! A results file carries a code (HMAC-SHA-256) over all its bytes, made with a key that was in the practice file. The key
//! follows from a secret of the computer that handed the practice out and from every word of that practice. So the class's
//! computer notices when anything in the file was changed after it was sealed by anybody without that key, when the practice
//! was changed, and when it was handed out elsewhere or to another student. It does **not** prove who spoke, that nobody
//! prompted, or that the program was the real one: a student who owns the computer owns the key on it, and can seal
//! whatever they like. A recording can be listened to; that is the better proof.

mod board;
mod key;
mod practice;
mod results;
mod rota;
mod unpack;

#[cfg(test)]
mod tests;

pub use board::{Board, BoardRow, counts};
pub use key::{Key, Secret};
pub use practice::{HandOut, LARGEST_SITE, Practice, PracticeCall, PracticeError};
pub use results::{Results, SealError};
pub use rota::Rota;
pub use unpack::{LARGEST_FILE, ResultsError, ends_like_results, unpack};
