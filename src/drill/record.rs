//! What happened in a whole launch, for the debrief: entries, remarks, endings, and their words in both languages.

use super::want::Want;
use crate::call::Judgement;
use crate::site::{Language, Noise, Site};
use serde::Serialize;

/// How a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ending {
    /// Through to the last step.
    Complete,
    /// Stopped by the student's word while something was wrong.
    Stopped,
    /// Stopped by the student's word without a need that the program knows of. Never an error.
    StoppedToBeSure,
    /// Ended by the student's hand (release, power off) while something was wrong.
    ByHand,
    /// Ended by hand without a need that the program knows of. Never held against the student.
    ByHandToBeSure,
    /// A wrong readback was not corrected.
    ReadbackAccepted,
    /// A hazard was not answered.
    HazardMissed,
    /// The winch did not answer; the site's other means.
    NoAnswer,
    /// The same call several times without its being complete.
    BrokenOff,
    /// The student's turn passed several times.
    NobodyCalled,
    /// "Not ready", "not clear", "wait": nothing moves. Always right to say.
    NothingMoves,
    /// The release was not operated at the top.
    NotReleased,
    /// Something was wrong, and the call that sets things in motion was held back.
    HeldBack,
    /// Something failed in the air, and was answered by hand before words.
    Abandoned,
    /// The radio is dead, and the site has no signal for what comes next.
    NoRadio,
}

impl Ending {
    /// Every ending.
    pub const ALL: [Self; 15] = [
        Self::Complete,
        Self::Stopped,
        Self::StoppedToBeSure,
        Self::ByHand,
        Self::ByHandToBeSure,
        Self::ReadbackAccepted,
        Self::HazardMissed,
        Self::NoAnswer,
        Self::BrokenOff,
        Self::NobodyCalled,
        Self::NothingMoves,
        Self::NotReleased,
        Self::HeldBack,
        Self::Abandoned,
        Self::NoRadio,
    ];

    /// Something was missed that the student had to notice or do, whatever the calls were like.
    pub fn is_fault(self) -> bool {
        matches!(
            self,
            Self::ReadbackAccepted | Self::HazardMissed | Self::BrokenOff | Self::NobodyCalled | Self::NotReleased
        )
    }

    /// The sentence for the debrief.
    pub fn text(self, site: &Site) -> String {
        let key = match self {
            Self::Complete => "ending.complete",
            Self::Stopped => "ending.stopped",
            Self::StoppedToBeSure => "ending.stopped_to_be_sure",
            Self::ByHand => "ending.by_hand",
            Self::ByHandToBeSure => "ending.by_hand_to_be_sure",
            Self::ReadbackAccepted => "ending.readback_accepted",
            Self::HazardMissed => "ending.hazard_missed",
            Self::NoAnswer => return site.launch.as_ref().map(|l| l.no_answer.clone()).unwrap_or_default(),
            Self::BrokenOff => "ending.broken_off",
            Self::NobodyCalled => "ending.nobody_called",
            Self::NothingMoves => "ending.nothing_moves",
            Self::NotReleased => "ending.not_released",
            Self::HeldBack => "ending.held_back",
            Self::Abandoned => "ending.abandoned",
            Self::NoRadio => "ending.no_radio",
        };
        site.language.text(key, &[])
    }
}

/// Something worth a remark in the debrief.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Note {
    /// Spoken while somebody else was speaking.
    SpokeOver,
    /// A wrong readback was corrected.
    Corrected,
    /// Corrected, without the standard word.
    CorrectedWithoutNegative,
    /// The pilot spoke before the hand had released.
    WordsBeforeHand,
    /// The hand was first.
    HandFirst,
    /// The hand had nothing to stop.
    NothingInHand,
    /// Nobody answered the call.
    Unanswered,
    /// Spoke where the hand is wanted.
    HandWanted,
    /// Let the turn pass.
    TurnPassed,
    /// Spoken into other stations' words: neither was understood.
    Lost,
    /// Went on with the call after an interruption.
    Interrupted,
    /// The same while the cable moved.
    InterruptedMoving,
    /// A stop was spoken into somebody's words.
    StopMayBeLost,
    /// Nothing was said where hands are busy.
    LeftOut,
    /// The word came without the pull of the release.
    PullWithTheWords,
    /// One pull, and no other yet.
    PullAgain,
    /// Fewer pulls than the habit has.
    PulledTooFew,
    /// A signal where words are wanted.
    WordsWanted,
    /// Words where a signal is wanted.
    SignalWanted,
    /// Another signal than the step's.
    OtherSignal,
    /// Another link than the glider's was held up, and the right one named.
    LinkNoticed,
    /// The link that was held up was named, not the glider's.
    LinkTaken,
    /// Called again while the winch had said no.
    CalledOverRefusal,
    /// Spoke on a radio that is dead.
    DeadRadio,
    /// Somebody called stop, and the hand did not come.
    HaltWithoutHand,
    /// Called on although somebody had called stop.
    CalledOverHalt,
    /// Somebody else's stop was passed on.
    HaltPassedOn,
}

impl Note {
    /// It says that something was done well.
    pub fn is_praise(self) -> bool {
        matches!(
            self,
            Self::Corrected
                | Self::HandFirst
                | Self::LeftOut
                | Self::Interrupted
                | Self::LinkNoticed
                | Self::HaltPassedOn
        )
    }

    /// The sentence for the debrief.
    pub fn text(self, language: Language) -> String {
        let key = match self {
            Self::SpokeOver => "note.spoke_over",
            Self::Lost => "note.lost",
            Self::Corrected => "note.corrected",
            Self::CorrectedWithoutNegative => "note.corrected_without_negative",
            Self::WordsBeforeHand => "note.words_before_hand",
            Self::HandFirst => "note.hand_first",
            Self::NothingInHand => "note.nothing_in_hand",
            Self::Unanswered => "note.unanswered",
            Self::HandWanted => "note.hand_wanted",
            Self::TurnPassed => "note.turn_passed",
            Self::Interrupted => "note.interrupted",
            Self::InterruptedMoving => "note.interrupted_moving",
            Self::StopMayBeLost => "note.stop_may_be_lost",
            Self::LeftOut => "note.left_out",
            Self::PullWithTheWords => "note.pull_with_the_words",
            Self::PullAgain => "note.pull_again",
            Self::PulledTooFew => "note.pulled_too_few",
            Self::WordsWanted => "note.words_wanted",
            Self::SignalWanted => "note.signal_wanted",
            Self::OtherSignal => "note.other_signal",
            Self::LinkNoticed => "note.link_noticed",
            Self::LinkTaken => "note.link_taken",
            Self::CalledOverRefusal => "note.called_over_refusal",
            Self::DeadRadio => "note.dead_radio",
            Self::HaltWithoutHand => "note.halt_without_hand",
            Self::CalledOverHalt => "note.called_over_halt",
            Self::HaltPassedOn => "note.halt_passed_on",
        };
        language.text(key, &[])
    }
}

/// A line of the debrief.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum Entry {
    /// Somebody of the other side spoke.
    Spoken {
        /// Step id.
        step: String,
        /// Who.
        role: String,
        /// The words.
        text: String,
    },
    /// Something was seen.
    Seen {
        /// Step id.
        step: String,
        /// What.
        text: String,
    },
    /// Something was heard that is no words.
    Heard {
        /// Step id.
        step: String,
        /// What.
        noise: Noise,
    },
    /// The student called.
    Called {
        /// Step id.
        step: String,
        /// What it was meant for.
        want: Want,
        /// The element that had been asked for, if one.
        asked: Option<String>,
        /// The words heard.
        words: String,
        /// The judgement of this call alone.
        judgement: Judgement,
    },
    /// The student used the hand: the release, or the winch's power.
    Hand {
        /// Step id.
        step: String,
    },
    /// The student gave a signal.
    Signalled {
        /// Step id.
        step: String,
        /// The signal's id.
        signal: String,
    },
    /// A remark.
    Noted {
        /// Step id.
        step: String,
        /// What.
        note: Note,
    },
    /// The end.
    Ended {
        /// Step id.
        step: String,
        /// How.
        ending: Ending,
    },
}
