//! What a drill is asked and tells: single calls, whole launches, calls to listen to.

use crate::call::{Evidence, Judgement, Situation, SituationError};
use crate::drill::ear::{Difficulty, Question, Task};
use crate::drill::launch::Picture;
use crate::drill::{Answer, Course, Ending, Entry, Pace, TurnState, Want};
use crate::plan::{self, DealReason, Today};
use crate::site::{Callsign, Site};
use crate::sound::Clip;
use std::sync::Arc;
use uuid::Uuid;

/// A call dealt beforehand, in a practice that was handed out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GivenCall {
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
    /// The words of the call that is wanted, where they were asked for.
    pub words: Option<String>,
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
    pub reason: Option<DealReason>,
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

#[cfg(test)]
mod tests {
    use super::*;

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
