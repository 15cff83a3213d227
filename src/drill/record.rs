//! What happened in a whole launch, for the debrief: entries, remarks, endings, and their words in both languages.

use super::launch::Want;
use crate::call::Judgement;
use crate::site::{Language, Site};
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
}

impl Ending {
    /// Every ending.
    pub const ALL: [Self; 12] = [
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
    ];

    /// The sentence for the debrief.
    pub fn text(self, site: &Site) -> String {
        let (en, de) = match self {
            Self::Complete => ("To the last step.", "Bis zum letzten Schritt."),
            Self::Stopped => (
                "Stopped, and rightly: the launch does not go on.",
                "Angehalten, und zu Recht: der Start geht nicht weiter.",
            ),
            Self::StoppedToBeSure => (
                "Stopped. Nobody is ever blamed for a stop; say what you saw.",
                "Angehalten. Ein Halt wird niemandem vorgeworfen; sagen Sie, was Sie gesehen haben.",
            ),
            Self::ByHand => (
                "Ended by hand, and rightly: the launch does not go on.",
                "Mit der Hand beendet, und zu Recht: der Start geht nicht weiter.",
            ),
            Self::ByHandToBeSure => (
                "Ended by hand. That is not held against you here; say what you saw.",
                "Mit der Hand beendet. Das wird Ihnen hier nicht angerechnet; sagen Sie, was Sie gesehen haben.",
            ),
            Self::ReadbackAccepted => (
                "What was read back was not what it should have been, and nobody corrected it. A wrong readback is corrected, or stop is called.",
                "Bestätigt wurde etwas anderes, als es sein sollte, und niemand hat es berichtigt. Eine falsche Bestätigung wird berichtigt, oder es wird Halt gerufen.",
            ),
            Self::HazardMissed => (
                "Nothing stopped the launch. Here the pilot's and the winch driver's first answer is the hand, everybody else's is stop.",
                "Nichts hat den Start angehalten. Hier ist die erste Antwort des Piloten und des Windenfahrers die Hand, die aller anderen das Halt.",
            ),
            Self::NoAnswer => return site.launch.as_ref().map(|l| l.no_answer.clone()).unwrap_or_default(),
            Self::BrokenOff => (
                "Broken off: practise this call alone, then the launch again.",
                "Abgebrochen: üben Sie diese Meldung allein, dann wieder den Start.",
            ),
            Self::NobodyCalled => (
                "The call did not come, so nothing went on.",
                "Die Meldung kam nicht, also ging nichts weiter.",
            ),
            Self::NothingMoves => (
                "Not yet, was said, and nothing moves. That is always right to say.",
                "Noch nicht, wurde gesagt, und nichts bewegt sich. Das darf man immer sagen.",
            ),
            Self::NotReleased => (
                "The hand did not come. Practise it: the release key, as often as your site has it.",
                "Die Hand kam nicht. Üben Sie sie: die Ausklinktaste, so oft wie an Ihrem Platz üblich.",
            ),
        };
        match site.language {
            Language::English => en.to_owned(),
            Language::German => de.to_owned(),
        }
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
}

impl Note {
    /// The sentence for the debrief.
    pub fn text(self, language: Language) -> &'static str {
        let (en, de) = match self {
            Self::SpokeOver => (
                "You spoke while somebody else was speaking. Listen first.",
                "Sie haben gesprochen, während ein anderer sprach. Erst hören.",
            ),
            Self::Corrected => (
                "The wrong readback was noticed and corrected.",
                "Die falsche Bestätigung wurde bemerkt und berichtigt.",
            ),
            Self::CorrectedWithoutNegative => (
                "The wrong readback was noticed and corrected. The standard form begins with \"negative, I say again\".",
                "Die falsche Bestätigung wurde bemerkt und berichtigt. Üblich ist \"negativ, ich wiederhole\".",
            ),
            Self::WordsBeforeHand => (
                "Words came before the hand. Here the hand comes first, then the words.",
                "Das Wort kam vor der Hand. Hier kommt erst die Hand, dann das Wort.",
            ),
            Self::HandFirst => ("The hand came first.", "Die Hand kam zuerst."),
            Self::NothingInHand => (
                "There is nothing for your hand to stop at this moment; words can, at any time.",
                "Ihre Hand kann in diesem Augenblick nichts anhalten; Worte können es jederzeit.",
            ),
            Self::Unanswered => (
                "Nobody answered. Nothing moves; wait at least ten seconds before calling again.",
                "Keine Antwort. Nichts bewegt sich; vor der zweiten Meldung mindestens zehn Sekunden warten.",
            ),
            Self::HandWanted => (
                "No words are asked for here; the hand is.",
                "Hier werden keine Worte verlangt, sondern die Hand.",
            ),
            Self::TurnPassed => (
                "It was your turn, and nothing was heard.",
                "Sie waren an der Reihe, und nichts war zu hören.",
            ),
        };
        match language {
            Language::English => en,
            Language::German => de,
        }
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
