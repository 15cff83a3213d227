//! Commands to the worker and events from it. What each part of the worker is asked and tells has a file here, which knows
//! nothing of how it is done: the parts take their messages from here, and nothing goes back.

pub mod desk;
mod drill;
pub mod home;
pub mod meeting;
pub mod office;
pub mod papers;
mod state;
pub mod trial;
mod trouble;

pub use drill::{
    Dealt, Ear, EarRequest, Flown, GivenCall, Judged, LONGEST_TYPED, LaunchRequest, Planned, Saying, SituationRequest,
};
pub use state::{FetchState, SecondState};
pub use trouble::Trouble;
pub(super) use trouble::sentence;

use crate::drill::TurnState;
use crate::folders::FoundSite;
use crate::logbook::{AttemptSummary, Progress, RecordingName, Student};
use crate::plan;
use crate::site::Site;
use crate::sound::{Clip, DeviceList, Level};
use desk::{DeskCommand, DeskEvent};
use home::{HomeCommand, HomeEvent};
use meeting::{ClassCommand, ClassEvent};
use office::{OfficeCommand, OfficeEvent};
use std::sync::Arc;
use trial::{TrialCommand, TrialEvent};
use uuid::Uuid;

/// A site as named by the user: a folder's name under the phrases folders, or a path.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SiteRequest(pub String);

/// What the window or the terminal wants.
#[derive(Debug)]
pub enum Command {
    /// Use a site. `Next` deals the first situation.
    LoadSite(SiteRequest),
    /// Look for the model again, after it was fetched.
    LoadModel,
    /// Who practises; `None` is practice without a name, of which no recording is kept.
    ChooseStudent(Option<Uuid>),
    /// As [`Self::ChooseStudent`], by name or the beginning of the id.
    ChooseStudentByName(String),
    /// Add a student and choose it. `consent` is the answer to "may recordings be kept?".
    AddStudent {
        /// As the student wants to be called.
        name: String,
        /// The answer.
        consent: bool,
        /// Who answered, where it was not the student.
        by: Option<String>,
    },
    /// The answer to "may recordings be kept?" of a student who is there. A refusal removes what was kept.
    SetConsent {
        /// Who.
        student: Uuid,
        /// The answer.
        given: bool,
        /// Who answered, where it was not the student.
        by: Option<String>,
    },
    /// A new turn.
    Next,
    /// The level of the turns to come; `None` is the one by the record.
    ChooseLevel(Option<plan::Level>),
    /// Where the record sets the level, teach calls first: with their words, then with first letters.
    Teach(bool),
    /// A new turn with this situation; one that the site does not have (any more) is dealt anew.
    Deal {
        /// What is to be dealt.
        situation: SituationRequest,
        /// Practise this step from now on, if the site has it.
        step: Option<String>,
    },
    /// A new turn with a call dealt beforehand.
    Given(Box<GivenCall>),
    /// Begin a whole launch; a turn or launch under way is given up.
    Launch(Box<LaunchRequest>),
    /// Give a launch up, or close its debrief.
    LeaveLaunch,
    /// The hand: the pilot's release, the winch driver's power. At any moment of a launch.
    Hand,
    /// A signal of the site's own, by its id.
    Signal(String),
    /// Let the turn of a launch pass: a readback stands, or nothing is said.
    LetPass,
    /// Show the words of the call that is wanted in a launch.
    ShowWords,
    /// A call is being typed: silence is not taken for an answer.
    Typing,
    /// Another pilot's call to listen to.
    Ear(EarRequest),
    /// The same call again.
    PlayEar,
    /// What was heard in it; `None`: nothing was the matter, or it was not said.
    AnswerEar(Option<String>),
    /// The prompt of the turn (again).
    PlayPrompt,
    /// The last answer of the other side again.
    PlayAnswer,
    /// The student's last call.
    PlayOwn,
    /// A part of the student's last call, seconds from its beginning.
    PlayPart {
        /// Where it begins.
        begin: f32,
        /// Where it ends.
        end: f32,
    },
    /// The call as it should be, spoken by the voice.
    PlayModel {
        /// Slowly.
        slow: bool,
    },
    /// The student's call of this number in the launch (see [`Flown::calls`]).
    PlayFlown(usize),
    /// The student's call, then the call as it should be.
    PlayBoth,
    /// "I did say that": hold an attempt out of the record until somebody judges it, or put it back.
    HoldOut {
        /// The attempt.
        attempt: Uuid,
        /// Hold it out.
        held: bool,
    },
    /// Practise this step in the turns to come; nothing begins.
    StepToCome(String),
    /// Practise this step from the next turn on, which begins at once.
    ChooseStep(String),
    /// Stop what plays.
    StopPlaying,
    /// The key goes down.
    Press,
    /// The key goes up.
    Release,
    /// Throw the call away, spoken or being judged.
    Cancel,
    /// A typed call.
    Type(String),
    /// A recorded call, judged as if it had been spoken; not kept as a recording.
    Speak(Box<Clip>),
    /// Report the devices.
    ListDevices,
    /// Change devices; `None` is the system's default.
    ChooseDevices {
        /// The microphone.
        input: Option<String>,
        /// The loudspeaker.
        output: Option<String>,
    },
    /// Report levels outside transmissions too.
    WatchLevel(bool),
    /// How does the student of now come along at the site of now? The newest calls are told with it.
    Progress,
    /// A kept recording.
    PlayKept(RecordingName),
    /// A second listener writes down what it hears in a call, without the words of the site.
    Second {
        /// The attempt.
        attempt: Uuid,
        /// Its kept recording; `None`: it is the student's last call.
        recording: Option<RecordingName>,
    },
    /// Stop the second listener.
    StopSecond,
    /// Something of the class.
    Class(ClassCommand),
    /// Something of a file that came from another computer.
    Home(HomeCommand),
    /// Something of the instructor's work with the record.
    Office(OfficeCommand),
    /// Something of the phrase desk.
    Desk(DeskCommand),
    /// Something of the trial of microphone and loudspeaker.
    Trial(TrialCommand),
    /// Fetch the speech model from the network.
    FetchModel,
    /// Take the speech model from this file or address.
    TakeModel(String),
    /// Stop fetching it.
    CancelFetch,
    /// End the threads.
    Quit,
}

/// The speech model.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ModelState {
    /// Being verified and loaded.
    Loading,
    /// Loaded; its name.
    Ready(String),
    /// Not there or not usable; the message names the way out.
    Missing(Trouble),
}

/// So many of a student's newest calls are told with [`Event::Calls`].
pub const NEWEST_CALLS: u32 = 200;

/// What happened.
#[derive(Debug)]
pub enum Event {
    /// The sites that can be chosen.
    Sites(Vec<FoundSite>),
    /// A site is in use.
    SiteLoaded(Arc<Site>),
    /// The speech model's state.
    Model(ModelState),
    /// All students.
    Students(Vec<Student>),
    /// How far the second listener is with the call of an attempt.
    Second(Uuid, SecondState),
    /// Who practises now; `None` is nobody by name.
    Student(Option<Student>),
    /// The devices there are.
    Devices(DeviceList),
    /// The microphone in use and open; `None` when there is none.
    Microphone(Option<String>),
    /// A new turn.
    Dealt(Dealt),
    /// What the plan says.
    Planned(Box<Planned>),
    /// The state of the turn: receiving, your call, transmitting, judging.
    State(TurnState),
    /// Where a launch stands; `None`: there is none any more.
    Launch(Option<Box<Flown>>),
    /// Where an ear drill stands.
    Ear(Box<Ear>),
    /// Something plays, or no longer does.
    Playing(bool),
    /// The microphone's level: about 20 a second while transmitting.
    Level(Level),
    /// A recording has ended; it lasted this many seconds.
    Recorded {
        /// Length, seconds.
        seconds: f64,
        /// It is on disk.
        kept: bool,
    },
    /// The transmission or its judging was thrown away.
    Cancelled,
    /// The verdicts.
    Judged(Box<Judged>),
    /// The attempt is on disk.
    Stored(Uuid),
    /// The attempt is not on disk, or not yet; why comes as `Trouble`.
    NotStored(Uuid),
    /// The program ends, and these attempts could not be stored: the last thing that is told.
    Lost {
        /// How many.
        attempts: usize,
        /// Why not.
        why: String,
    },
    /// The attempt is held out of the record, or is in it again.
    HeldOut {
        /// The attempt.
        attempt: Uuid,
        /// It is held out.
        held: bool,
    },
    /// There is no student of this name.
    NoSuchStudent(Trouble),
    /// How the student comes along.
    Progress(Box<Progress>),
    /// The student's newest calls at the site, newest first.
    Calls(Vec<AttemptSummary>),
    /// The class page is told something.
    Class(ClassEvent),
    /// Something is told of a file that came from another computer.
    Home(HomeEvent),
    /// The instructor's page is told something.
    Office(OfficeEvent),
    /// The phrase desk is told something.
    Desk(DeskEvent),
    /// The trial is told something.
    Trial(TrialEvent),
    /// How far the fetching of the speech model is.
    Fetch(FetchState),
    /// Something the user should know.
    Trouble(Trouble),
}

/// What could not be stored until the end.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{attempts} of the attempts shown are NOT in the logbook: {why}")]
pub struct Lost {
    /// How many.
    pub attempts: usize,
    /// The logbook's reason.
    pub why: String,
}
