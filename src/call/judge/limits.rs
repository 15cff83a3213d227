//! How far evidence must reach before an element is decided.

use crate::call::evidence::Evidence;

/// How far evidence must reach before an element is decided. The one place for these numbers; how they were fitted is
/// described in `benches/RESULTS.md`, "Limits".
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// An element passes only if every reading in which it does not is at least this much lighter (nats).
    pub said: f32,
    /// An element fails only if every reading in which it is said is at least this much lighter (nats).
    pub failed: f32,
    /// Above this much unexplained sound (nats a second) nothing is decided.
    pub foreign: f32,
    /// Below this mean log-probability a token (nats) nothing is decided.
    pub fit: f32,
    /// So much more may stay unexplained whatever the length (nats): by chance a word is written worse than it sounds, and
    /// a call of one word has no others to make up for it.
    pub foreign_once: f32,
    /// The same for the likelihood of all tokens (nats).
    pub fit_once: f32,
    /// Below this mean log-probability a token (nats) nothing is decided where sound is left unread, too, or where several
    /// listenings did not agree.
    pub fit_doubtful: f32,
    /// Below this mean log-probability a token (nats) another listening changes nothing.
    pub fit_hopeless: f32,
    /// A stop counts, in whatever call, in a reading no lighter than this against the best (nats): in doubt the launch is stopped.
    pub stop: f32,
    /// Where a stretch of sound longer than this (seconds) has no word of the reading in it, nothing is called missing, since
    /// it may have been said there, and nothing passes, since it may have been taken back there.
    pub unread: f32,
    /// The same where the words explain the sound poorly (seconds): of some 230 calls this leaves one right one open, and one that was
    /// taken back.
    pub unread_doubtful: f32,
}

impl Limits {
    /// The limits in force.
    pub const DEFAULT: Self = Self {
        said: 1.0,
        failed: 4.0,
        foreign: 4.0,
        fit: -1.5,
        foreign_once: 6.0,
        fit_once: 5.0,
        fit_doubtful: -1.2,
        fit_hopeless: -2.5,
        stop: 2.0,
        unread: 0.5,
        unread_doubtful: 0.3,
    };

    /// Is there sound in which something else may have been said?
    pub fn more_said(&self, evidence: &Evidence) -> bool {
        evidence.unread.iter().any(|u| u.end - u.begin > self.unread)
    }

    /// Are the words of the call so far from the sound that it can only be said again?
    pub fn hopeless(&self, evidence: &Evidence) -> bool {
        let tokens = evidence.tokens as f32;
        !evidence.readings.is_empty() && -evidence.fit * tokens > -self.fit_hopeless * tokens + self.fit_once
    }

    /// Do the words of the call explain the sound well enough to decide anything?
    pub fn explained(&self, evidence: &Evidence) -> bool {
        let unexplained = evidence.foreign * evidence.seconds;
        let unread = evidence.unread.iter().any(|u| u.end - u.begin > self.unread_doubtful);
        let cost = -evidence.fit * evidence.tokens as f32;
        unexplained <= self.foreign * evidence.seconds + self.foreign_once
            && cost <= -self.fit * evidence.tokens as f32 + self.fit_once
            && !((unread || evidence.disputed) && evidence.fit < self.fit_doubtful)
            && !evidence.unfinished
    }
}
