//! Commands to the worker and events from it.

use super::desk::{DeskCommand, DeskEvent};
use super::fetch::FetchState;
use super::home::{HomeCommand, HomeEvent};
use super::meeting::{ClassCommand, ClassEvent};
use super::office::{OfficeCommand, OfficeEvent};
use super::second::SecondState;
use super::told::Told;
use super::trial::{TrialCommand, TrialEvent};
use crate::call::{Evidence, Judgement, Situation, SituationError};
use crate::drill::ear::{Difficulty, Question, Task};
use crate::drill::launch::Picture;
use crate::drill::{Answer, Course, Ending, Entry, Pace, TurnState, Want};
use crate::logbook::{AttemptSummary, Progress, RecordingName, Student};
use crate::plan::{self, Reason, Today};
use crate::site::words::capital;
use crate::site::{Callsign, Site};
use crate::sound::{Clip, DeviceList, Level};
use std::sync::Arc;
use std::sync::mpsc::Sender;
use uuid::Uuid;

use crate::folders::FoundSite;

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
    Given(Box<Given>),
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

/// A call dealt beforehand, in a practice that was handed out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Given {
    /// The step's id.
    pub step: String,
    /// What a right call must carry.
    pub situation: Situation,
    /// The turn's id.
    pub turn: Uuid,
}

/// A situation as named by the user, checked when there is a site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SituationRequest {
    /// The glider.
    pub callsign: Callsign,
    /// People on board.
    pub crew: u8,
    /// The cable's id.
    pub cable: String,
}

impl std::str::FromStr for SituationRequest {
    type Err = String;

    /// `D-2058,1,south`
    fn from_str(text: &str) -> Result<Self, String> {
        let parts: Vec<&str> = text.split(',').map(str::trim).collect();
        let [callsign, crew, cable] = parts[..] else {
            return Err("a situation is CALLSIGN,CREW,CABLE, for instance G-CLRM,2,north".to_owned());
        };
        Ok(Self {
            callsign: Callsign::parse(callsign).map_err(|e| e.to_string())?,
            crew: crew
                .parse()
                .map_err(|_| format!("\"{crew}\" is no number of people; say 1 or 2"))?,
            cable: cable.to_owned(),
        })
    }
}

impl SituationRequest {
    /// As a situation of a site.
    pub fn at(&self, site: &Site) -> Result<Situation, SituationError> {
        let situation = Situation::new(self.callsign.clone(), self.crew, self.cable.clone());
        situation.check(site).map(|()| situation)
    }
}

/// A whole launch as wanted.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LaunchRequest {
    /// The student's role, such as "pilot".
    pub role: String,
    /// How much happens.
    pub pace: Pace,
    /// Start of the random numbers; another one each time if absent.
    pub seed: Option<u64>,
    /// Else dealt.
    pub situation: Option<SituationRequest>,
    /// Only these steps.
    pub steps: Option<Vec<String>>,
    /// What is out of the ordinary; else dealt.
    pub course: Option<Course>,
}

/// What is being said in a launch by somebody else.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Saying {
    /// Who, by the name that the site's steps use.
    pub role: String,
    /// The words.
    pub text: String,
    /// On the radio.
    pub radio: bool,
}

/// Where a launch stands. The same with each change, whole.
#[derive(Debug, Clone)]
pub struct Flown {
    /// The student's role.
    pub role: String,
    /// How much happens.
    pub pace: Pace,
    /// Start of the random numbers: with the same role and pace it gives the same launch.
    pub seed: u64,
    /// What was dealt.
    pub situation: Situation,
    /// Who acts.
    pub state: TurnState,
    /// The step at hand, by its id.
    pub step: Option<String>,
    /// What somebody says now.
    pub saying: Option<Saying>,
    /// What the student's turn wants.
    pub want: Option<Want>,
    /// What was seen last.
    pub scene: Option<String>,
    /// What is to be drawn.
    pub picture: Picture,
    /// What happened, each with its time in seconds from the beginning.
    pub record: Vec<(f32, Entry)>,
    /// How it ended, if it did.
    pub ending: Option<Ending>,
    /// The places in the record of the calls of which there is sound.
    pub calls: Vec<usize>,
}

/// Another pilot's call as wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct EarRequest {
    /// What is asked; any if absent.
    pub question: Option<Question>,
    /// How hard it is to hear.
    pub difficulty: Difficulty,
}

/// Characters of a typed call: reading one takes time that grows with the square of its length. A whole briefing has some 350.
pub const LONGEST_TYPED: usize = 1000;

/// Another pilot's call that is listened to.
#[derive(Debug, Clone)]
pub struct Ear {
    /// What was dealt and what is asked.
    pub task: Task,
    /// How hard it is to hear.
    pub difficulty: Difficulty,
    /// Counts from 1.
    pub number: u32,
    /// The answer given, if one was.
    pub answer: Option<Option<String>>,
    /// Right answers so far, the last one too.
    pub right: u32,
    /// Nothing could be played: the call is to be read instead, and the answer counts for nothing.
    pub unheard: bool,
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

/// A new turn.
#[derive(Debug, Clone, PartialEq)]
pub struct Dealt {
    /// What a right call must carry.
    pub situation: Situation,
    /// The step's id.
    pub step: String,
    /// Counts the turns of this run from 1.
    pub number: u32,
}

/// What the plan says; told when a student's record was read, before each turn that is dealt, and after each first attempt.
#[derive(Debug, Clone, PartialEq)]
pub struct Planned {
    /// The level of the turn under way or to come.
    pub level: plan::Level,
    /// The level by the record; `None` without a student.
    pub by_record: Option<plan::Level>,
    /// Why the turn under way was dealt; `None` where chance or the user dealt it.
    pub reason: Option<Reason>,
    /// What to practise today; `None` without a student.
    pub today: Option<Today>,
    /// What another pilot says on the frequency before the turn.
    pub interruption: Option<String>,
}

/// A judged call.
#[derive(Debug, Clone)]
pub struct Judged {
    /// The attempt: [`Event::Stored`] and [`Event::NotStored`] speak of it.
    pub id: Uuid,
    /// The judgement that counts for the turn: an answer to a question completes the one before.
    pub judgement: Judgement,
    /// Ids of the elements that stand as they were said in an earlier call of the turn, and were not said again in this one.
    pub kept: Vec<String>,
    /// What was heard or read.
    pub evidence: Evidence,
    /// What the other side does.
    pub answer: Answer,
    /// 1 for the first attempt of the turn.
    pub attempt: u32,
    /// What was wrong with the recording, as sentences.
    pub troubles: Vec<String>,
    /// There is sound to be played.
    pub spoken: bool,
    /// The sound; `None` for typed calls.
    pub clip: Option<Arc<Clip>>,
    /// From the end of the call to the verdicts, milliseconds.
    pub milliseconds: u32,
    /// It was spoken into somebody else's words.
    pub over: bool,
    /// The microphone failed in it: nothing of it counts, and the call is wanted again.
    pub void: bool,
}

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

/// Something the user should know.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    /// As English sentences.
    pub text: String,
    /// The name of its text in the window's languages (`notice.KEY`), where it has one.
    pub key: Option<&'static str>,
    /// What is filled in there. `why` may be the name of a reason: see [`super::told`].
    pub facts: Vec<(&'static str, String)>,
}

impl Trouble {
    /// With the name of its text. `text` is the English one.
    pub fn named(key: &'static str, text: impl std::fmt::Display, facts: Vec<(&'static str, String)>) -> Self {
        Self {
            text: sentence(&text.to_string()),
            key: Some(key),
            facts,
        }
    }
}

impl From<String> for Trouble {
    fn from(text: String) -> Self {
        Self {
            text: sentence(&text),
            key: None,
            facts: Vec::new(),
        }
    }
}

impl std::error::Error for Trouble {}

impl std::fmt::Display for Trouble {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.text)
    }
}

/// Sends events and wakes whoever shows them.
#[derive(Clone)]
pub(super) struct Outbox {
    events: Sender<Event>,
    wake: Arc<dyn Fn() + Send + Sync>,
}

impl Outbox {
    pub(super) fn new(events: Sender<Event>, wake: impl Fn() + Send + Sync + 'static) -> Self {
        Self {
            events,
            wake: Arc::new(wake),
        }
    }

    pub(super) fn tell(&self, event: Event) {
        // Nobody listens any more when the handle is being dropped.
        let _ = self.events.send(event);
        (self.wake)();
    }

    /// An error that has its text in every language: a bare sentence would reach a window of another language too.
    pub(super) fn trouble(&self, trouble: &impl Told) {
        self.tell(Event::Trouble(trouble.told()));
    }

    /// A trouble that has its text in every language.
    pub(super) fn known(&self, key: &'static str, text: impl std::fmt::Display, facts: &[(&'static str, String)]) {
        self.tell(Event::Trouble(Trouble::named(key, text, facts.to_vec())));
    }
}

/// An error's text as a sentence for the screen: capital first, full stop last unless it ends with a path or a list.
pub(super) fn sentence(text: &str) -> String {
    let text = text.trim();
    let mut out = capital(text);
    let last_word = out.rsplit(char::is_whitespace).next().unwrap_or_default();
    if !out.contains('\n') && last_word.chars().all(char::is_alphanumeric) {
        out.push('.');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_become_sentences() {
        for (text, shown) in [
            (
                "no microphone was found; plug one in",
                "No microphone was found; plug one in.",
            ),
            ("Say so.", "Say so."),
            ("could not open: calls/call.wav", "Could not open: calls/call.wav"),
        ] {
            assert_eq!(sentence(text), shown);
        }
    }

    #[test]
    fn a_situation_is_read_or_refused_with_the_right_form() {
        let s: SituationRequest = "D-2058, 1,south".parse().unwrap();
        assert_eq!((s.crew, s.cable.as_str()), (1, "south"));
        assert_eq!(s.callsign.to_string(), "D-2058");
        for text in ["", "D-2058,1", "D-2058,one,south", "?,1,south", "a,b,c,d"] {
            assert!(text.parse::<SituationRequest>().is_err(), "{text}");
        }
    }
}
