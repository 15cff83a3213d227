//! A whole launch as a state machine: the site's steps in their order, one role the student's, the others the program's.
//!
//! The other side reacts to what was heard. Whoever sees a danger may stop the launch at any moment, and who flies may
//! always release: neither is ever an error. In a danger the hand comes before the voice.

use super::answer::{Answer, Spoken, sentence};
use super::record::{Ending, Entry, Note};
use super::turn::Turn;
use crate::call::judge::{Limits, judge};
use crate::call::{Evidence, Judgement, Situation, Verdict, words};
use crate::site::{By, Hazard, Site, Step, fill};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, VecDeque};

/// The one who flies.
pub const PILOT: &str = "pilot";
/// The one at the winch, whose hand is on the power.
pub const WINCH_DRIVER: &str = "winch driver";
/// Attempts at one call before the run is broken off: that call is then practised alone.
const ATTEMPTS: u32 = 5;
/// Times in a row that a student may let a turn pass.
const PASSED_OVER: u8 = 3;

/// What is out of the ordinary in a run.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Course {
    /// Steps that are not part of every launch and are of this one.
    pub sometimes: Vec<String>,
    /// The element that is read back wrongly, and the value read back.
    pub misread: Option<(String, String)>,
    /// A hazard and the step in which it happens.
    pub hazard: Option<(String, String)>,
    /// Complete calls to the winch that nobody answers.
    pub unanswered: u8,
    /// Steps before which others are on the frequency.
    pub traffic: Vec<String>,
}

/// What the student must do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Want {
    /// Make the call of the step.
    Call,
    /// A readback was heard: let a right one stand, correct a wrong one, or stop.
    Readback,
    /// There is danger: release as pilot, stop as anybody else.
    Hazard,
    /// After the hand, words: they may be left out.
    Words,
    /// Operate the release.
    Release,
}

/// What happens next.
#[derive(Debug, Clone, PartialEq)]
pub enum Next {
    /// The other side speaks.
    Say {
        /// The line.
        line: Spoken,
        /// Over the radio.
        radio: bool,
    },
    /// Something is seen.
    See(String),
    /// The student's turn.
    Listen {
        /// The step.
        step: String,
        /// What is wanted.
        want: Want,
    },
    /// The run is over.
    Ended(Ending),
}

/// What was said in one of the student's turns, judged.
#[derive(Debug, Clone)]
pub struct Turned {
    /// Against the step.
    pub judgement: Judgement,
    /// The words heard.
    pub words: String,
    /// The standard word for "what you said is wrong" was in it.
    pub negative: bool,
}

impl Turned {
    /// Judge a turn. The evidence must be that of [`crate::call::Vocabulary::in_launch`] of the step.
    pub fn new(site: &Site, step: &Step, situation: &Situation, evidence: &Evidence) -> Self {
        let negative = words::of(site.language.negatives()[0]);
        let best = evidence.readings.first();
        Self {
            judgement: judge(site, step, situation, evidence, &Limits::DEFAULT),
            words: best.map_or_else(String::new, |r| r.reading.words.join(" ")),
            negative: best.is_some_and(|r| negative.iter().all(|n| r.reading.words.contains(n))),
        }
    }

    /// As what the student did.
    pub fn did(&self, over: bool) -> Did<'_> {
        Did::Called {
            judgement: &self.judgement,
            words: &self.words,
            negative: self.negative,
            over,
        }
    }
}

/// What the student did.
#[derive(Debug, Clone, Copy)]
pub enum Did<'a> {
    /// Spoke.
    Called {
        /// The call judged against the step.
        judgement: &'a Judgement,
        /// The words heard.
        words: &'a str,
        /// The standard word for "what you said is wrong" was in it.
        negative: bool,
        /// Spoken into somebody else's words.
        over: bool,
    },
    /// Used the hand: the pilot operates the release, the winch driver takes the power off.
    Hand,
    /// Nothing.
    Nothing,
}

/// A run.
#[derive(Debug, Clone)]
pub struct Launch {
    /// The student's role.
    pub role: String,
    /// What was dealt.
    pub situation: Situation,
    course: Course,
    order: Vec<String>,
    at: usize,
    /// What the student's turn wants; `None` while the other side acts.
    want: Option<Want>,
    turn: Turn,
    /// Values of the last call that is read back, as they were heard.
    heard: BTreeMap<String, String>,
    /// The element that was read back wrongly.
    misread: Option<String>,
    queue: VecDeque<Next>,
    record: Vec<Entry>,
    unanswered: u8,
    passed_over: u8,
    pulls: u8,
    /// The step at [`Self::at`] has begun.
    begun: bool,
    hazard_over: bool,
    ending: Option<Ending>,
}

/// The roles a student can take at a site: who speaks in a step of the launch, in the order of their first word.
pub fn roles(site: &Site) -> Vec<String> {
    let order = site.launch.as_ref().map(|l| l.order.clone()).unwrap_or_default();
    let mut out: Vec<String> = Vec::new();
    for step in order.iter().filter_map(|id| site.step(id)) {
        if step.speaker != "anybody" && !out.contains(&step.speaker) {
            out.push(step.speaker.clone());
        }
    }
    out
}

impl Launch {
    /// A run of a site that describes a whole launch; `None` for another. `steps`: only these, in the site's order.
    pub fn new(
        site: &Site,
        role: &str,
        situation: Situation,
        course: Course,
        steps: Option<&[String]>,
    ) -> Option<Self> {
        let launch = site.launch.as_ref()?;
        let order = launch
            .order
            .iter()
            .filter(|id| match steps {
                Some(only) => only.contains(id),
                None => !launch.sometimes.contains(id) || course.sometimes.contains(id),
            })
            .cloned()
            .collect();
        Some(Self {
            role: role.to_owned(),
            unanswered: course.unanswered,
            turn: Turn::new(situation.clone()),
            situation,
            course,
            order,
            at: 0,
            want: None,
            heard: BTreeMap::new(),
            misread: None,
            queue: VecDeque::new(),
            record: Vec::new(),
            passed_over: 0,
            pulls: 0,
            begun: false,
            hazard_over: false,
            ending: None,
        })
    }

    /// What has happened so far.
    pub fn record(&self) -> &[Entry] {
        &self.record
    }

    /// The step at hand.
    pub fn step<'s>(&self, site: &'s Site) -> Option<&'s Step> {
        site.step(self.order.get(self.at)?)
    }

    /// The step against which the student's next call is judged.
    pub fn judged_step<'s>(&self, site: &'s Site) -> Option<&'s Step> {
        let step = self.step(site)?;
        match self.want {
            Some(Want::Readback) => site.step(step.readback_of.as_ref()?),
            Some(Want::Hazard | Want::Words | Want::Release) => site.step("stop"),
            _ => Some(step),
        }
    }

    /// What happens next. After `Listen` comes [`Self::did`]; after `Ended` the same again.
    pub fn next(&mut self, site: &Site) -> Next {
        loop {
            if let Some(next) = self.queue.pop_front() {
                self.note_down(&next);
                return next;
            }
            if let Some(ending) = self.ending {
                return Next::Ended(ending);
            }
            if let (Some(want), Some(step)) = (self.want, self.step(site)) {
                if want == Want::Call {
                    self.turn.prompted();
                }
                return Next::Listen {
                    step: step.id.clone(),
                    want,
                };
            }
            self.go_on(site);
        }
    }

    fn note_down(&mut self, next: &Next) {
        let step = self.order.get(self.at).cloned().unwrap_or_default();
        match next {
            Next::Say { line, .. } => self.record.push(Entry::Spoken {
                step,
                role: line.role.clone(),
                text: line.text.clone(),
            }),
            Next::See(text) => self.record.push(Entry::Seen {
                step,
                text: text.clone(),
            }),
            Next::Listen { .. } | Next::Ended(_) => {}
        }
    }

    fn note(&mut self, note: Note) {
        let step = self.order.get(self.at).cloned().unwrap_or_default();
        self.record.push(Entry::Noted { step, note });
    }

    fn end(&mut self, ending: Ending) {
        let step = self.order.get(self.at).cloned().unwrap_or_default();
        self.want = None;
        self.queue.clear();
        self.record.push(Entry::Ended { step, ending });
        self.ending = Some(ending);
    }

    fn say(&mut self, step: &Step, line: Spoken) {
        if !line.text.is_empty() {
            self.queue.push_back(Next::Say {
                line,
                radio: step.by == By::Radio,
            });
        }
    }

    /// Begin the step at hand, or end the one that is done.
    fn go_on(&mut self, site: &Site) {
        let Some(step) = self.step(site) else {
            self.at = self.at.min(self.order.len().saturating_sub(1));
            self.end(Ending::Complete);
            return;
        };
        if self.begun {
            self.at += 1;
            self.begun = false;
            return;
        }
        self.begun = true;
        self.passed_over = 0;
        self.pulls = 0;
        self.turn = Turn::new(self.situation.clone());
        if self.course.traffic.contains(&step.id) && step.by == By::Radio {
            self.others(site, step);
        }
        // Only whoever makes the call is shown its scene.
        if step.speaker == self.role {
            self.queue.extend(self.situation.scene(site, step).map(Next::See));
        }
        if let Some(hazard) = self.hazard_of(site, step) {
            self.queue.push_back(Next::See(hazard.scene.clone()));
            self.hazard_over = true;
            self.want = Some(Want::Hazard);
        } else if step.speaker == self.role {
            if step.by == By::Hand {
                self.want = Some(Want::Release);
            } else {
                self.prompt(step);
                self.want = Some(Want::Call);
            }
        } else if step.by != By::Hand {
            self.play(site, step);
        }
    }

    fn hazard_of<'s>(&self, site: &'s Site, step: &Step) -> Option<&'s Hazard> {
        let (id, during) = self.course.hazard.as_ref()?;
        let now = !self.hazard_over && during == &step.id;
        site.hazards.iter().find(|h| now && &h.id == id)
    }

    fn prompt(&mut self, step: &Step) {
        if let Some(p) = step.prompt.as_ref().filter(|p| p.role != self.role) {
            let line = Spoken {
                role: p.role.clone(),
                text: p.text.clone(),
                clip: p.clip.clone(),
            };
            self.say(step, line);
        }
    }

    /// Another glider's radio check: words that are not for this launch.
    fn others(&mut self, site: &Site, step: &Step) {
        let Some(other) = site.fleet.iter().find(|a| a.registration != self.situation.callsign) else {
            return;
        };
        let check = site.step("radio check").unwrap_or(step);
        let theirs = Situation::new(other.registration.clone(), 1, self.situation.cable.clone());
        let line = Spoken {
            role: "another pilot".to_owned(),
            text: theirs.taught_call(site, check),
            clip: None,
        };
        self.say(step, line);
    }

    /// The program's own call. A readback of the student's own call is listened to, whether it is right or not: nothing
    /// but the words may give a wrong one away.
    fn play(&mut self, site: &Site, step: &Step) {
        let right = self.situation.values(site, step);
        let mut values = right.clone();
        let mine = step
            .readback_of
            .as_ref()
            .and_then(|of| site.step(of))
            .is_some_and(|of| of.speaker == self.role);
        if step.readback_of.is_some() {
            for (element, value) in &mut values {
                if let Some(heard) = self.heard.get(element) {
                    value.clone_from(heard);
                }
            }
        }
        if mine && let Some((element, wrong)) = self.course.misread.take() {
            values.insert(element, wrong);
        }
        let line = call_line(site, step, &values);
        self.say(step, line);
        if mine {
            self.misread = step.elements.iter().find(|e| values.get(*e) != right.get(*e)).cloned();
            self.turn.attempts = 0;
            self.want = Some(Want::Readback);
            return;
        }
        self.keep(&values);
        self.reply(site, step, &values);
    }

    /// The answer to a complete call, unless its speaker has the next step anyway or is the student.
    fn reply(&mut self, site: &Site, step: &Step, values: &BTreeMap<String, String>) {
        let next = self.order.get(self.at + 1).and_then(|id| site.step(id));
        let Some(reply) = step.answer.as_ref() else { return };
        if reply.role == self.role || next.is_some_and(|n| n.speaker == reply.role) {
            return;
        }
        let line = Spoken {
            role: reply.role.clone(),
            text: sentence(&fill(&reply.text, |name| {
                Some(words_for(site, name, values.get(name)?))
            })),
            clip: reply.clip.clone(),
        };
        self.say(step, line);
    }

    fn keep(&mut self, values: &BTreeMap<String, String>) {
        self.heard.extend(values.iter().map(|(k, v)| (k.clone(), v.clone())));
    }

    /// The student's part. Ignored when it is not the student's turn.
    pub fn did(&mut self, site: &Site, did: Did) {
        let (Some(want), Some(step)) = (self.want, self.step(site)) else {
            return;
        };
        match did {
            Did::Called {
                judgement, words, over, ..
            } => {
                self.record.push(Entry::Called {
                    step: step.id.clone(),
                    want,
                    asked: self.turn.asked.clone(),
                    words: words.to_owned(),
                    judgement: judgement.clone(),
                });
                if over {
                    self.note(Note::SpokeOver);
                }
            }
            Did::Hand => self.record.push(Entry::Hand { step: step.id.clone() }),
            Did::Nothing => {}
        }
        match want {
            Want::Call => self.did_call(site, step, did),
            Want::Readback => self.did_readback(site, step, did),
            Want::Hazard => self.did_hazard(site, did),
            Want::Words => self.end(Ending::ByHand),
            Want::Release => self.did_release(site, did),
        }
    }

    /// Has the student a hand on something that stops this launch? The pilot from hooking on, the winch driver from the
    /// ready call.
    fn has_a_hand(&self) -> bool {
        let place = |step: &str| self.order.iter().position(|s| s == step);
        let from = match self.role.as_str() {
            PILOT => place("close").map(|c| c + 1).or_else(|| place("ready")),
            WINCH_DRIVER => place("ready"),
            _ => return false,
        };
        from.is_none_or(|f| self.at >= f)
    }

    fn did_call(&mut self, site: &Site, step: &Step, did: Did) {
        match did {
            Did::Called { judgement, .. } if judgement.stop => self.end(Ending::StoppedToBeSure),
            Did::Called { judgement, .. } => self.called(site, step, judgement),
            Did::Hand if self.has_a_hand() => self.end(Ending::ByHandToBeSure),
            Did::Hand => {
                self.note(Note::NothingInHand);
                self.pass_over(step);
            }
            Did::Nothing => {
                self.note(Note::TurnPassed);
                self.pass_over(step);
            }
        }
    }

    fn pass_over(&mut self, step: &Step) {
        self.passed_over += 1;
        if self.passed_over >= PASSED_OVER {
            self.end(Ending::NobodyCalled);
        } else {
            self.prompt(step);
        }
    }

    fn called(&mut self, site: &Site, step: &Step, judgement: &Judgement) {
        if denied(site, judgement) {
            self.end(Ending::NothingMoves);
            return;
        }
        self.turn.prompted();
        self.turn.press();
        self.turn.release();
        let reply = self.turn.judged(site, step, judgement);
        let so_far = self.turn.so_far.as_ref();
        let only_wrong = so_far.is_some_and(|j| {
            let mut critical = j.elements.iter().filter(|e| e.critical);
            critical.all(|e| matches!(e.verdict, Verdict::Said | Verdict::Wrong))
        });
        match reply {
            Answer::Complete(_) => {
                if self.unanswered > 0 && step.by == By::Radio && self.read_back_next(site, step) {
                    self.nobody_answers();
                    return;
                }
                let values = heard_values(so_far);
                self.keep(&values);
                self.reply(site, step, &values);
                self.want = None;
            }
            // Nothing is missing: what was heard is read back whole, as a driver does who cannot know better.
            Answer::ReadBack { .. } if only_wrong && self.read_back_next(site, step) => {
                let values = heard_values(so_far);
                self.keep(&values);
                self.want = None;
            }
            Answer::Silence => {
                self.note(Note::TurnPassed);
                self.pass_over(step);
            }
            Answer::Stopped(_) => self.end(Ending::StoppedToBeSure),
            Answer::Ask { line, .. } | Answer::ReadBack { line, .. } | Answer::SayAgain(line) => {
                if self.turn.attempts >= ATTEMPTS {
                    self.end(Ending::BrokenOff);
                    return;
                }
                let line = if line.text.is_empty() {
                    say_again(site, step, &self.role)
                } else {
                    line
                };
                self.say(step, line);
            }
        }
    }

    fn nobody_answers(&mut self) {
        self.unanswered -= 1;
        self.note(Note::Unanswered);
        self.turn = Turn::new(self.situation.clone());
        if self.unanswered == 0 && self.course.unanswered > 1 {
            self.end(Ending::NoAnswer);
        }
    }

    fn read_back_next(&self, site: &Site, step: &Step) -> bool {
        let next = self.order.get(self.at + 1).and_then(|id| site.step(id));
        next.is_some_and(|n| n.readback_of.as_ref() == Some(&step.id))
    }

    fn did_readback(&mut self, site: &Site, step: &Step, did: Did) {
        let wrong = self.misread.clone();
        match did {
            Did::Called { judgement, .. } if judgement.stop => {
                self.end(if wrong.is_some() {
                    Ending::Stopped
                } else {
                    Ending::StoppedToBeSure
                });
            }
            Did::Hand if self.has_a_hand() => {
                self.end(if wrong.is_some() {
                    Ending::ByHand
                } else {
                    Ending::ByHandToBeSure
                });
            }
            Did::Called {
                judgement, negative, ..
            } => match &wrong {
                Some(element) => self.corrects(site, step, element, judgement, negative),
                // What is said to a right readback changes nothing.
                None => self.readback_stands(site, step),
            },
            Did::Nothing | Did::Hand if wrong.is_some() => self.end(Ending::ReadbackAccepted),
            Did::Nothing | Did::Hand => self.readback_stands(site, step),
        }
    }

    fn readback_stands(&mut self, site: &Site, step: &Step) {
        self.want = None;
        let values = self.situation.values(site, step);
        self.reply(site, step, &values);
    }

    fn corrects(&mut self, site: &Site, step: &Step, element: &str, judgement: &Judgement, negative: bool) {
        match judgement.element(element).map(|e| e.verdict) {
            Some(Verdict::Said) => {
                self.note(if negative {
                    Note::Corrected
                } else {
                    Note::CorrectedWithoutNegative
                });
                let right = self.situation.values(site, step);
                self.say(step, call_line(site, step, &right));
                self.keep(&right);
                self.misread = None;
                self.want = None;
            }
            // Something is wrong, says the student, and not yet what; or it was not made out.
            Some(Verdict::Unsure | Verdict::Wrong) => self.what_was_that(site, step),
            _ if negative => self.what_was_that(site, step),
            // "Correct", "roger", or anything else: the wrong value stands.
            _ => self.end(Ending::ReadbackAccepted),
        }
    }

    fn what_was_that(&mut self, site: &Site, step: &Step) {
        self.turn.attempts += 1;
        if self.turn.attempts >= ATTEMPTS {
            self.end(Ending::BrokenOff);
            return;
        }
        let line = Spoken {
            role: step.speaker.clone(),
            text: site.language.say_again().to_owned(),
            clip: None,
        };
        self.say(step, line);
    }

    fn did_hazard(&mut self, site: &Site, did: Did) {
        let hand = self.has_a_hand();
        match did {
            Did::Hand if hand => {
                self.note(Note::HandFirst);
                if site.step("stop").is_some() {
                    self.want = Some(Want::Words);
                } else {
                    self.end(Ending::ByHand);
                }
            }
            // In doubt whether it was a stop the others stop.
            Did::Called { judgement, .. } if judgement.stop || maybe_stop(judgement) => {
                if hand {
                    self.note(Note::WordsBeforeHand);
                }
                self.end(Ending::Stopped);
            }
            Did::Called { .. } | Did::Hand | Did::Nothing => self.end(Ending::HazardMissed),
        }
    }

    fn did_release(&mut self, site: &Site, did: Did) {
        match did {
            Did::Hand => {
                self.pulls += 1;
                if self.pulls >= site.customs.release_pulls {
                    self.want = None;
                }
            }
            Did::Called { judgement, .. } if judgement.stop => self.end(Ending::StoppedToBeSure),
            Did::Called { .. } | Did::Nothing => {
                self.note(Note::HandWanted);
                self.passed_over += 1;
                if self.passed_over >= PASSED_OVER {
                    self.end(Ending::NotReleased);
                }
            }
        }
    }
}

/// Was something said to be not ready, not clear, not permitted? That is always right to say, and nothing moves.
fn denied(site: &Site, judgement: &Judgement) -> bool {
    judgement.elements.iter().any(|e| {
        let words = site
            .elements
            .get(&e.element)
            .map(|x| x.negated.as_slice())
            .unwrap_or_default();
        let heard = e.heard.as_deref().map(words::of);
        e.verdict == Verdict::Wrong && words.iter().any(|w| Some(words::of(w)) == heard)
    })
}

/// In the step "stop" itself: was it a stop, or may it have been one?
fn maybe_stop(judgement: &Judgement) -> bool {
    let Some(stop) = judgement.element("stop") else {
        return false;
    };
    let close = stop.margin.is_some_and(|m| m < Limits::DEFAULT.failed);
    match stop.verdict {
        Verdict::Said => true,
        Verdict::Unsure => stop.heard.is_some() || close,
        _ => false,
    }
}

/// A call as taught, with the values given.
fn call_line(site: &Site, step: &Step, values: &BTreeMap<String, String>) -> Spoken {
    Spoken {
        role: step.speaker.clone(),
        text: sentence(&fill(&step.taught, |name| {
            Some(words_for(site, name, values.get(name)?))
        })),
        clip: None,
    }
}

fn words_for(site: &Site, element: &str, value: &str) -> String {
    site.taught_words(element, value).unwrap_or_else(|| value.to_owned())
}

/// Values heard in a complete call.
fn heard_values(judgement: Option<&Judgement>) -> BTreeMap<String, String> {
    let elements = judgement.map(|j| j.elements.as_slice()).unwrap_or_default();
    elements
        .iter()
        .filter_map(|e| Some((e.element.clone(), e.heard.clone()?)))
        .collect()
}

/// A question where the site gives none.
fn say_again(site: &Site, step: &Step, student: &str) -> Spoken {
    let asks = [&step.ask_all_again, &step.ask_again, &step.answer];
    let role = asks
        .into_iter()
        .flatten()
        .map(|l| l.role.clone())
        .find(|r| r != student);
    Spoken {
        role: role.unwrap_or_else(|| {
            if student == "winch driver" {
                PILOT
            } else {
                "winch driver"
            }
            .to_owned()
        }),
        text: site.language.say_again().to_owned(),
        clip: None,
    }
}
