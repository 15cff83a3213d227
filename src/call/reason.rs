//! Why a verdict was given, and why nothing was heard. What a student reads of it stands in one table of texts
//! (`site/texts`), whoever shows it: terminal, window, report.

use crate::site::Language;
use serde::{Deserialize, Serialize};

/// Why no call was heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Silence {
    /// Nothing was typed.
    NothingTyped,
    /// The recording cannot hold a word.
    TooShort,
    /// Nothing but silence.
    Quiet,
    /// Clicks and bumps.
    Clicks,
    /// An even sound without a voice that stands out from it.
    EvenSound,
    /// Sound, but no voice that says a word of the call.
    NoVoice,
    /// Speech, but no words of the call were found in it.
    NoWords,
}

impl Silence {
    /// Every kind.
    pub const ALL: [Self; 7] = [
        Self::NothingTyped,
        Self::TooShort,
        Self::Quiet,
        Self::Clicks,
        Self::EvenSound,
        Self::NoVoice,
        Self::NoWords,
    ];

    /// The sentence for the student.
    pub fn text(self, language: Language) -> String {
        let key = match self {
            Self::NothingTyped => "silence.nothing_typed",
            Self::TooShort => "silence.too_short",
            Self::Quiet => "silence.quiet",
            Self::Clicks => "silence.clicks",
            Self::EvenSound => "silence.even_sound",
            Self::NoVoice => "silence.no_voice",
            Self::NoWords => "silence.no_words",
        };
        language.text(key, &[])
    }
}

/// Why an element has its verdict. The words in it are those of the site: `heard` what was heard, `right` what is right.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
#[allow(
    missing_docs,
    reason = "the fields are named above, the kinds speak for themselves in `text`"
)]
pub enum Reason {
    /// The right value was heard.
    Said,
    /// Another value.
    Wrong { heard: String, right: String },
    /// Another value that has no words here.
    WrongUnknown { right: String },
    /// Half a wording.
    Half { heard: String, right: String },
    /// Nothing of it.
    Missing { right: String },
    /// No call at all.
    NothingHeard { silence: Option<Silence> },
    /// Denied in the call itself.
    Denied { heard: String },
    /// Put off, or said by halves.
    PutOff { heard: String },
    /// Asked, or left as a choice.
    Asked { heard: String },
    /// Said of somebody else.
    Others { heard: String },
    /// `heard` takes back what was said before it.
    TakenBack { heard: String },
    /// A word that nothing here explains stands beside it.
    BesideUnknown { heard: String, right: String },
    /// Something else was said that the words of the call do not explain.
    More { heard: String },
    /// The words of the call do not explain the sound.
    Foreign,
    /// It may have been this.
    Maybe { heard: String },
    /// The right value may have been said.
    MaybeRight { right: String },
    /// Judged by no words: a drill without sound.
    Unheard,
}

impl Reason {
    /// The sentence for the student.
    pub fn text(&self, language: Language) -> String {
        let say = |key: &str, heard: &str, right: &str| language.text(key, &[("heard", heard), ("right", right)]);
        match self {
            Self::Said => say("reason.said", "", ""),
            Self::Wrong { heard, right } => say("reason.wrong", heard, right),
            Self::WrongUnknown { right } => say("reason.wrong_unknown", "", right),
            Self::Half { heard, right } => say("reason.half", heard, right),
            Self::Missing { right } => say("reason.missing", "", right),
            Self::NothingHeard { silence: Some(silence) } => silence.text(language),
            Self::NothingHeard { silence: None } => say("reason.silence", "", ""),
            Self::Denied { heard } => say("reason.denied", heard, ""),
            Self::PutOff { heard } => say("reason.put_off", heard, ""),
            Self::Asked { heard } => say("reason.asked", heard, ""),
            Self::Others { heard } => say("reason.others", heard, ""),
            Self::TakenBack { heard } => say("reason.withdrawn", heard, ""),
            Self::BesideUnknown { heard, right } => say("reason.beside_unknown", heard, right),
            Self::More { heard } => say("reason.more", heard, ""),
            Self::Foreign => say("reason.foreign", "", ""),
            Self::Maybe { heard } => say("reason.maybe", heard, ""),
            Self::MaybeRight { right } => say("reason.maybe_right", "", right),
            Self::Unheard => String::new(),
        }
    }
}
