//! What comes to the conductor: commands, and the answers of the other threads.

use super::message::{Command, Trouble};
use crate::call::Evidence;
use crate::hear::HearError;
use crate::logbook::{ModelUsed, RecordingName, Student};
use crate::plan::Past;
use uuid::Uuid;

/// What the recogniser made of a clip.
pub type Heard = Result<(Evidence, ModelUsed), HearError>;

pub(super) enum Message {
    Command(Command),
    Loaded(Result<String, Trouble>),
    Heard {
        job: u64,
        result: Heard,
    },
    Name {
        student: Uuid,
        name: Option<RecordingName>,
    },
    Student(Option<Student>),
    Past {
        student: Uuid,
        site: String,
        past: Vec<Past>,
    },
    /// A site changed on disk.
    SiteChanged(String),
    /// A student is not in the logbook any more.
    StudentGone(Uuid),
}
