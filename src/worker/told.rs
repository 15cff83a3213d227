//! Every error that the window shows, with the name of its text: what the window says stands in its own files
//! (`notice.NAME`), in each of its languages. The terminal prints the error's own English sentence.
//!
//! A system's reason goes along as the fact `why`: its name (`why.full`) where it is one that people meet, else the system's
//! own words, which the window puts in brackets.

use super::message::Trouble;
use crate::call::SituationError;
use crate::class::{PracticeError, ResultsError};
use crate::folders::SiteError;
use crate::folders::archive::ArchiveError;
use crate::folders::content::ContentError;
use crate::hear::HearError;
use crate::logbook::LogbookError;
use crate::model::ModelError;
use crate::site::Problems;
use crate::site::edit::EditError;
use crate::sound::{self, Direction, SoundError};
use crate::voice::VoiceError;
use crate::voice::prompt::PromptError;
use std::error::Error;
use std::io;
use std::path::Path;

/// Something that has its text in every language. Nothing else reaches the window as a trouble.
pub(crate) trait Told {
    /// With the name of its text.
    fn told(&self) -> Trouble;
}

/// A file's name as a fact.
pub(super) fn file(path: &Path) -> (&'static str, String) {
    ("file", path.display().to_string())
}

/// The reason behind an error: its name in the window's texts, or its own words.
pub(crate) fn why(error: &(dyn Error + 'static)) -> String {
    let mut next = Some(error);
    while let Some(e) = next {
        let name = if let Some(e) = e.downcast_ref::<io::Error>() {
            of_system(e.kind())
        } else if let Some(e) = e.downcast_ref::<LogbookError>() {
            of_logbook(e)
        } else if let Some(e) = e.downcast_ref::<SoundError>() {
            of_sound(e)
        } else if let Some(VoiceError::Clip(e)) = e.downcast_ref::<VoiceError>() {
            // (It says that it is the clip's error, and so it is left out of the chain.)
            of_sound(e)
        } else {
            None
        };
        if let Some(name) = name {
            return name.to_owned();
        }
        next = e.source();
    }
    named(&error.to_string())
}

/// A reason that came as words: where they hold the system's number, its name.
pub(crate) fn named(words: &str) -> String {
    let number = words
        .split_once("(os error ")
        .and_then(|(_, rest)| rest.split_once(')'));
    let number = number.and_then(|(n, _)| n.parse().ok());
    let name = number.and_then(|n| of_system(io::Error::from_raw_os_error(n).kind()));
    name.map_or_else(|| words.to_owned(), str::to_owned)
}

fn of_system(kind: io::ErrorKind) -> Option<&'static str> {
    use io::ErrorKind as Kind;
    Some(match kind {
        Kind::NotFound => "why.not_there",
        Kind::PermissionDenied => "why.no_right",
        Kind::StorageFull | Kind::QuotaExceeded => "why.full",
        Kind::ReadOnlyFilesystem => "why.protected",
        Kind::AlreadyExists => "why.there_already",
        Kind::ResourceBusy | Kind::ExecutableFileBusy | Kind::Deadlock => "why.busy",
        Kind::FileTooLarge => "why.too_large",
        Kind::InvalidFilename => "why.name",
        Kind::NotADirectory => "why.no_folder",
        Kind::IsADirectory => "why.folder",
        Kind::UnexpectedEof => "why.cut_short",
        Kind::OutOfMemory => "why.memory",
        Kind::TimedOut => "why.too_slow",
        Kind::WouldBlock => "why.too_many",
        _ => return None,
    })
}

fn of_logbook(e: &LogbookError) -> Option<&'static str> {
    Some(match e {
        LogbookError::Busy { .. } => "why.busy",
        LogbookError::ReadOnly { .. } | LogbookError::OlderReadOnly { .. } => "why.protected",
        LogbookError::NoneYet { .. } => "why.none_yet",
        LogbookError::DiskFull { .. } => "why.full",
        LogbookError::NotALogbook { .. } => "why.no_record",
        LogbookError::Damaged { .. } => "why.damaged",
        LogbookError::Newer { .. } => "why.newer",
        LogbookError::Forgotten { .. } | LogbookError::NoSuchStudent { .. } => "why.student_gone",
        _ => return None,
    })
}

fn of_sound(e: &SoundError) -> Option<&'static str> {
    Some(match e {
        SoundError::Empty { .. } => "why.empty",
        SoundError::NotSound { .. } | SoundError::NotAFile { .. } => "why.no_sound",
        SoundError::Form { .. } => "why.damaged",
        SoundError::TooLong { .. } => "why.too_large",
        SoundError::Exists { .. } => "why.there_already",
        _ => return None,
    })
}

impl Told for LogbookError {
    fn told(&self) -> Trouble {
        let (key, facts) = match self {
            Self::WrongPin { who } => ("wrong_pin", vec![("who", who.clone())]),
            Self::PinNeeded { who } => ("pin_needed", vec![("who", who.clone())]),
            Self::PinFirst { who } => ("pin_first", vec![("who", who.clone())]),
            Self::PinWait { seconds } => ("pin_wait", vec![("n", seconds.to_string())]),
            Self::NotAnInstructor { who } => ("no_instructor", vec![("who", who.clone())]),
            Self::LooksLike { name, other } => {
                let facts = vec![("name", name.clone()), ("other", other.clone())];
                ("looks_like", facts)
            }
            Self::GuardianNeeded { who } => ("guardian", vec![("who", who.clone())]),
            Self::OtherNotALogbook { path, .. } => ("no_logbook", vec![file(path)]),
            Self::OtherDamaged { path, .. } => ("damaged", vec![file(path)]),
            Self::ReadOnly { .. } => ("read_only", Vec::new()),
            Self::DiskFull { .. } => ("disk_full", Vec::new()),
            Self::Busy { .. } => ("busy", Vec::new()),
            Self::NoneYet { path } => ("record_nowhere", vec![file(path)]),
            Self::Newer { path, .. } => ("record_newer", vec![file(path)]),
            Self::OlderReadOnly { path, .. } => ("record_older", vec![file(path)]),
            Self::NotALogbook { path, .. } => ("record_other", vec![file(path)]),
            Self::Damaged { path, .. } => ("record_damaged", vec![file(path)]),
            Self::NoFolder { source, path } => ("no_folder", vec![("why", why(source)), file(path)]),
            Self::File { source, path, .. } => ("file_failed", vec![("why", why(source)), file(path)]),
            Self::NoConsent { .. } => ("no_consent", Vec::new()),
            Self::NoSuchClass { asked, .. } => ("no_class", vec![("name", asked.clone())]),
            Self::NoSuchStudent { asked, .. } | Self::AmbiguousStudent { asked, .. } => {
                ("no_student", vec![("name", asked.clone())])
            }
            Self::NoSuchAttempt { .. } | Self::AmbiguousAttempt { .. } => ("no_call", Vec::new()),
            Self::Forgotten { .. } => ("forgotten", Vec::new()),
            Self::Database { .. } | Self::ForeignRecording { .. } | Self::Invalid { .. } | Self::Export(_) => {
                ("record_failed", vec![("why", why(self))])
            }
        };
        Trouble::named(key, self, facts)
    }
}

impl Told for SoundError {
    fn told(&self) -> Trouble {
        let (key, facts) = match self {
            Self::File { path, .. }
            | Self::Exists { path }
            | Self::NotAFile { path }
            | Self::Empty { path, .. }
            | Self::NotSound { path, .. }
            | Self::Form { path, .. }
            | Self::TooLong { path, .. } => ("file_failed", vec![("why", why(self)), file(path)]),
            Self::NoDevice { direction, .. } => match direction {
                Direction::Input => ("no_microphone", Vec::new()),
                Direction::Output => ("no_loudspeaker", Vec::new()),
            },
            Self::UnknownDevice { direction, .. } | Self::Device { direction, .. } => match direction {
                Direction::Input => ("microphone_failed", Vec::new()),
                Direction::Output => ("loudspeaker_failed", Vec::new()),
            },
            Self::Rate { .. } => ("device_failed", Vec::new()),
            Self::NoAnswer { .. } => ("sound_hangs", Vec::new()),
            Self::Thread { source } => ("no_thread", vec![("why", why(source))]),
        };
        Trouble::named(key, self, facts)
    }
}

impl Told for sound::ClipTrouble {
    fn told(&self) -> Trouble {
        let n = |value: String| vec![("n", value)];
        let (key, facts) = match self {
            Self::Clipping { share } => ("clipping", n(format!("{:.1}", share * 100.0))),
            Self::TooQuiet { peak_dbfs } => ("quiet", n(format!("{peak_dbfs:.0}"))),
            Self::AllZeros { seconds } => {
                let key = if cfg!(windows) {
                    "zeros_windows"
                } else if cfg!(target_os = "macos") {
                    "zeros_mac"
                } else {
                    "zeros"
                };
                (key, n(format!("{seconds:.1}")))
            }
            Self::DeviceLost { at_seconds } => ("lost", n(format!("{at_seconds:.1}"))),
            Self::Dropped { seconds, .. } => ("dropped", n(format!("{seconds:.2}"))),
            Self::Truncated { found_seconds, .. } => ("truncated", n(format!("{found_seconds:.1}"))),
            Self::NotOnDisk { reason } => ("not_on_disk", vec![("why", named(reason))]),
            Self::TimeLimit { seconds } => ("time_limit", n(format!("{seconds:.0}"))),
        };
        Trouble::named(key, self, facts)
    }
}

impl Told for VoiceError {
    fn told(&self) -> Trouble {
        match self {
            Self::Clip(e) => e.told(),
            Self::Data { path, source } => Trouble::named("voice_data", self, vec![("why", why(source)), file(path)]),
            Self::Thread { source } => Trouble::named("no_thread", self, vec![("why", why(source))]),
            Self::NothingToSay
            | Self::TooLong { .. }
            | Self::Engine { .. }
            | Self::Cancelled
            | Self::NoAnswer { .. } => Trouble::named("no_voice", self, Vec::new()),
        }
    }
}

impl Told for PromptError {
    fn told(&self) -> Trouble {
        match self {
            Self::NoWords => Trouble::named("prompt_empty", self, Vec::new()),
            Self::Clipped => Trouble::named("prompt_clipped", self, Vec::new()),
            Self::TooLong { limit, .. } => Trouble::named("prompt_long", self, vec![("n", format!("{limit:.0}"))]),
        }
    }
}

impl Told for SituationError {
    fn told(&self) -> Trouble {
        match self {
            Self::Cable { cable, known: has, .. } => {
                Trouble::named("no_cable", self, vec![("cable", cable.clone()), ("known", has.clone())])
            }
            Self::Crew { crew, known: has, .. } => Trouble::named(
                "no_crew",
                self,
                vec![("crew", crew.to_string()), ("known", has.clone())],
            ),
        }
    }
}

impl Told for SiteError {
    fn told(&self) -> Trouble {
        match self {
            Self::NoFolder(path) => Trouble::named("site_gone", self, vec![("site", path.display().to_string())]),
            Self::Unknown { name, .. } => Trouble::named("site_gone", self, vec![("site", name.clone())]),
            Self::Problems(problems) => problems.told(),
        }
    }
}

impl Told for HearError {
    fn told(&self) -> Trouble {
        match self {
            Self::Model { path, .. } => Trouble::named("model_unusable", self, vec![file(path)]),
            Self::Kernel(text) => Trouble::named("no_instructions", self, vec![("text", text.clone())]),
            Self::Run(_) | Self::Cancelled => Trouble::named("ears_failed", self, Vec::new()),
            Self::CrashedLoading => Trouble::named("model_crashed", self, Vec::new()),
            Self::Crashed => Trouble::named("ears_crashed", self, Vec::new()),
            Self::Second(text) => Trouble::named("no_second", self, vec![("why", named(text))]),
        }
    }
}

impl Told for ModelError {
    fn told(&self) -> Trouble {
        let megabytes = |n: &u64| (n / 1_000_000).to_string();
        let (key, facts) = match self {
            Self::Missing { .. } | Self::UnknownName { .. } | Self::NotFetched { .. } => ("model_missing", Vec::new()),
            Self::Truncated { path, found, expected } => {
                let facts = vec![("n", megabytes(found)), ("of", megabytes(expected)), file(path)];
                ("model_cut_short", facts)
            }
            Self::Altered { path, .. } => ("model_damaged", vec![file(path)]),
            Self::UnknownChecksum { path, .. } | Self::NotAModel { path } => ("model_other", vec![file(path)]),
            Self::NoPython | Self::NoPip => ("fetch_tool", Vec::new()),
            Self::NoNetwork | Self::Unreached { .. } => ("fetch_no_network", Vec::new()),
            Self::Untrusted | Self::UntrustedServer { .. } => ("fetch_untrusted", Vec::new()),
            Self::Weights { .. } | Self::Mismatch { .. } | Self::WrongHash { .. } | Self::Beyond => {
                ("fetch_wrong", Vec::new())
            }
            Self::Gone { .. } | Self::Client { .. } | Self::NoSource { .. } => ("fetch_no_source", Vec::new()),
            Self::NoOrigin { given, .. } => ("model_no_origin", vec![("file", given.clone())]),
            Self::NotAModelThere { origin } => ("model_not_there", vec![("file", origin.clone())]),
            Self::NotPublished { origin, .. } => ("model_not_published", vec![("file", origin.clone())]),
            Self::OtherModel { origin, found, wanted } => {
                let facts = vec![
                    ("found", found.clone()),
                    ("wanted", wanted.clone()),
                    ("file", origin.clone()),
                ];
                ("model_another", facts)
            }
            Self::OtherSize { origin, found, .. } => {
                ("model_size", vec![("n", megabytes(found)), ("file", origin.clone())])
            }
            Self::Server { address, .. } => ("fetch_refused", vec![("file", address.clone())]),
            Self::Broken { kept, .. } => ("fetch_broken", vec![("n", megabytes(kept))]),
            Self::Paused { .. } | Self::Cancelled => ("fetch_stopped", Vec::new()),
            Self::Busy { .. } => ("fetch_busy", Vec::new()),
            Self::DiskFull { path } => ("fetch_full", vec![file(path)]),
            Self::File { path, source, .. } => ("file_failed", vec![("why", why(source)), file(path)]),
        };
        Trouble::named(key, self, facts)
    }
}

impl Told for Problems {
    fn told(&self) -> Trouble {
        Trouble::named("site_broken", self, Vec::new())
    }
}

impl Told for EditError {
    fn told(&self) -> Trouble {
        match self {
            Self::NotToml { file, why } => {
                let facts = vec![("file", file.clone()), ("text", why.clone())];
                Trouble::named("edit_mistake", self, facts)
            }
            Self::Missing { file, what } => {
                let facts = vec![("file", file.clone()), ("what", what.clone())];
                Trouble::named("edit_missing", self, facts)
            }
        }
    }
}

impl Told for ContentError {
    fn told(&self) -> Trouble {
        match self {
            Self::File { source, path, .. } => {
                Trouble::named("file_failed", self, vec![("why", why(source)), file(path)])
            }
            Self::TooLarge { path, .. } => Trouble::named("site_large", self, vec![file(path)]),
            Self::Exists { id, .. } => Trouble::named("site_there", self, vec![("name", id.clone())]),
        }
    }
}

impl Told for ArchiveError {
    fn told(&self) -> Trouble {
        match self {
            Self::File { source, path, .. } => {
                Trouble::named("file_failed", self, vec![("why", why(source)), file(path)])
            }
            Self::Exists(path) => {
                let facts = vec![("why", "why.there_already".to_owned()), file(path)];
                Trouble::named("file_failed", self, facts)
            }
            Self::NotZip(_) => Trouble::named("archive_damaged", self, Vec::new()),
            Self::TooMuch(_) | Self::Entry { .. } => Trouble::named("archive_refused", self, Vec::new()),
            Self::NoSite(_) => Trouble::named("archive_no_site", self, Vec::new()),
            Self::Problems(problems) => problems.told(),
        }
    }
}

impl Told for PracticeError {
    fn told(&self) -> Trouble {
        let (key, facts) = match self {
            Self::NoSuchStep(step, _) => ("practice_step", vec![("step", step.clone())]),
            Self::Count(n) => ("practice_count", vec![("n", n.to_string())]),
            Self::NothingToDeal => ("practice_nothing", Vec::new()),
            Self::NotAPractice(_) => ("practice_other", Vec::new()),
            Self::Changed => ("practice_changed", Vec::new()),
            Self::OtherVersion { site, wanted, here } => {
                let facts = vec![
                    ("site", site.clone()),
                    ("wanted", wanted.clone()),
                    ("here", here.clone()),
                ];
                ("practice_version", facts)
            }
        };
        Trouble::named(key, self, facts)
    }
}

impl Told for ResultsError {
    fn told(&self) -> Trouble {
        let (key, facts) = match self {
            Self::NotResults(_) => ("results_other", Vec::new()),
            Self::Changed(what) => ("results_changed", vec![("what", what.join("; "))]),
            Self::NotOurs => ("results_not_ours", Vec::new()),
            Self::Refused(_) => ("results_refused", Vec::new()),
        };
        Trouble::named(key, self, facts)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_systems_reason_has_its_name_however_deep_it_lies() {
        let full = || io::Error::from(io::ErrorKind::StorageFull);
        let error = VoiceError::Data {
            path: "voice".into(),
            source: full(),
        };
        assert_eq!(why(&error), "why.full");
        let clip = VoiceError::Clip(SoundError::File {
            operation: "open",
            path: "calls/one.wav".into(),
            source: io::Error::from_raw_os_error(2),
        });
        assert_eq!(why(&clip), "why.not_there");
        assert_eq!(
            named("could not open (No such file or directory (os error 2))"),
            "why.not_there"
        );
        assert_eq!(named("something else"), "something else");
        let told = clip.told();
        assert_eq!(told.key, Some("file_failed"));
        assert!(
            told.text.contains("could not") || told.text.contains("Could not"),
            "{}",
            told.text
        );
    }
}
