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
    /// Released by the student while something was wrong.
    Released,
    /// Released without a need that the program knows of. Never an error.
    ReleasedToBeSure,
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
}

impl Ending {
    /// Every ending.
    pub const ALL: [Self; 10] = [
        Self::Complete,
        Self::Stopped,
        Self::StoppedToBeSure,
        Self::Released,
        Self::ReleasedToBeSure,
        Self::ReadbackAccepted,
        Self::HazardMissed,
        Self::NoAnswer,
        Self::BrokenOff,
        Self::NobodyCalled,
    ];

    /// The sentence for the debrief.
    pub fn text(self, site: &Site) -> String {
        let english = site.language == Language::English;
        let pick = |en: &str, de: &str| if english { en.to_owned() } else { de.to_owned() };
        match self {
            Self::Complete => pick("The launch was complete.", "Der Start war vollständig."),
            Self::Stopped => pick(
                "Stopped, and rightly: the launch does not go on.",
                "Angehalten, und zu Recht: der Start geht nicht weiter.",
            ),
            Self::StoppedToBeSure => pick(
                "Stopped. Nobody is ever blamed for a stop; say what you saw.",
                "Angehalten. Ein Halt ist nie ein Fehler; sagen Sie, was Sie gesehen haben.",
            ),
            Self::Released => pick("Released, and rightly.", "Ausgeklinkt, und zu Recht."),
            Self::ReleasedToBeSure => pick(
                "Released. Releasing is never an error; say what you saw.",
                "Ausgeklinkt. Ausklinken ist nie ein Fehler; sagen Sie, was Sie gesehen haben.",
            ),
            Self::ReadbackAccepted => pick(
                "The readback was wrong and was not corrected. Whoever hears a wrong readback corrects it or calls stop.",
                "Die Bestätigung war falsch und wurde nicht berichtigt. Wer eine falsche Bestätigung hört, berichtigt sie oder ruft Halt.",
            ),
            Self::HazardMissed => pick(
                "The danger was not answered. As pilot: release. As anybody else: stop.",
                "Auf die Gefahr folgte nichts. Als Pilot: ausklinken. Als jeder andere: Halt rufen.",
            ),
            Self::NoAnswer => site.launch.as_ref().map(|l| l.no_answer.clone()).unwrap_or_default(),
            Self::BrokenOff => pick(
                "Broken off: practise this call alone, then the launch again.",
                "Abgebrochen: üben Sie diese Meldung allein, dann wieder den Start.",
            ),
            Self::NobodyCalled => pick(
                "Nobody called, so nothing moved.",
                "Niemand hat gemeldet, also hat sich nichts bewegt.",
            ),
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
    /// Released where nothing was hooked on.
    NothingToRelease,
    /// Nobody answered the call.
    Unanswered,
    /// Spoke where the hands are wanted.
    FlyFirst,
    /// Let the turn pass.
    TurnPassed,
}

impl Note {
    /// The sentence for the debrief.
    pub fn text(self, language: Language) -> &'static str {
        let english = language == Language::English;
        let pick = |en: &'static str, de: &'static str| if english { en } else { de };
        match self {
            Self::SpokeOver => pick(
                "You spoke while somebody else was speaking. Listen first.",
                "Sie haben gesprochen, während ein anderer sprach. Erst hören.",
            ),
            Self::Corrected => pick(
                "The wrong readback was noticed and corrected.",
                "Die falsche Bestätigung wurde bemerkt und berichtigt.",
            ),
            Self::CorrectedWithoutNegative => pick(
                "The wrong readback was corrected. The standard form begins with \"negative, I say again\" (SERA.14075(d)).",
                "Die falsche Bestätigung wurde berichtigt. Üblich ist \"negativ, ich wiederhole\" (SERA.14075(d)).",
            ),
            Self::WordsBeforeHand => pick(
                "Words came before the hand. As pilot: release first, then speak.",
                "Das Wort kam vor der Hand. Als Pilot: erst ausklinken, dann sprechen.",
            ),
            Self::HandFirst => pick("The hand came first.", "Die Hand kam zuerst."),
            Self::NothingToRelease => pick(
                "Nothing was hooked on yet. Operating the release is never an error.",
                "Es war noch nichts eingehängt. Ausklinken ist nie ein Fehler.",
            ),
            Self::Unanswered => pick(
                "Nobody answered. Nothing moves; wait at least ten seconds before calling again.",
                "Keine Antwort. Nichts bewegt sich; vor der zweiten Meldung mindestens zehn Sekunden warten.",
            ),
            Self::FlyFirst => pick(
                "Nothing needs to be said here. Fly, and operate the release.",
                "Hier muss nichts gesagt werden. Fliegen und ausklinken.",
            ),
            Self::TurnPassed => pick(
                "It was your turn, and nothing was heard.",
                "Sie waren an der Reihe, und nichts war zu hören.",
            ),
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
        /// The judgement of this call alone.
        judgement: Judgement,
        /// Stop was in it.
        stop: bool,
    },
    /// The student operated the release.
    Released {
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
