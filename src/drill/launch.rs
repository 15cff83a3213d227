//! A whole launch as a state machine: the site's steps in their order, one role the student's, the others the program's.
//!
//! The other side reacts to what was heard. Whoever sees a danger may stop the launch at any moment, and who flies may
//! always release: neither is ever an error. In a danger the hand comes before the voice.
//!
//! Here is the order of things; `launch/others.rs` has what the program's roles say, `launch/student.rs` what the student does in turn,
//! `launch/cut_in.rs` out of turn, `launch/outside.rs` a dead radio and somebody else's stop, and `launch/picture.rs` says what is to be drawn.
//!
//! # Driving it
//!
//! `drill::Launch` goes through the steps of the site's `[launch]`: the program speaks those of others, the student's are judged.
//! `next` says what happens (a line, a scene, the student's turn, the end), `did` takes what the student did; nothing else drives it,
//! so that site, seed and verdicts give the same dialogue again (`tests/launches.rs`, `tests/golden`). What is out of the
//! ordinary in a run is its `Course`. After every readback of the student's own call there is a turn, whether it was right or
//! not. `cableside rehearse` plays a script; its form is `command/rehearse.rs`'s `Script`, examples are in `tests/rehearsals`:
//! its fields stand in `cableside rehearse --help`.
//!
//! In the window `worker/conductor/flight.rs` drives it: the clock, the sound, silence as an answer after `Pace::patience`. What the
//! student does while others act goes to `Launch::cut_in`: stop and the hand end the launch in any state, other words into a
//! transmission are lost and noted (`Note::Lost`), also in the gap between two transmissions of one exchange. `Launch::picture` says what
//! is to be drawn. Sounds are made in `voice/noise.rs`, which says how. Sentences for the student (reasons, advice, remarks of delivery,
//! notes, endings, the debrief) are data in the site's language: `site/texts/en.toml` and `de.toml`, by `Language::text`.

mod cut_in;
mod others;
mod outside;
mod pace;
mod picture;
mod student;

pub use pace::Pace;
pub use picture::{Phase, Picture, phase_of};

use super::answer::Spoken;
use super::record::{Ending, Entry, Note};
use super::turn::Turn;
pub use super::want::Want;
use crate::call::judge::{Limits, judge};
use crate::call::reading::{Mention, Said};
use crate::call::stance::Stance;
use crate::call::{Evidence, Judgement, Situation, Vocabulary, words};
use crate::site::{By, Failure, Hazard, Noise, Site, Sound, Step};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// The one who flies.
pub const PILOT: &str = "pilot";
/// The one at the winch, whose hand is on the power.
pub const WINCH_DRIVER: &str = "winch driver";

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
    /// A failure in the air and the step behind which it happens.
    pub failure: Option<(String, String)>,
    /// Complete calls to the winch that nobody answers.
    pub unanswered: u8,
    /// The winch driver refuses the first ready call, and is ready after it.
    pub refused: bool,
    /// The weak link that is held up, by its value, where it is another than the glider's own.
    pub shown_link: Option<String>,
    /// Steps before which others are on the frequency.
    pub traffic: Vec<String>,
    /// The step from which the radio is dead.
    pub radio_dead: Option<String>,
    /// A stop that somebody else calls, by the halt's id, and the step before whose call it comes.
    pub halt: Option<(String, String)>,
    /// Interruptions of the site, each with the step before whose call it comes.
    pub interruptions: Vec<(String, String)>,
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
    /// Something is heard that is no words. What comes next does not wait for its end.
    Hear(Sound),
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
    /// Something that the call at hand would set in motion was denied.
    pub refused: bool,
}

impl Turned {
    /// Judge a turn. The evidence must be that of [`Launch::vocabulary`].
    pub fn new(site: &Site, step: &Step, situation: &Situation, evidence: &Evidence) -> Self {
        let negative = site.language.negatives().first().map(|n| words::of(n));
        let best = evidence.readings.first();
        // Beside the step's own elements stands what is to be refused, and stop, which says nothing of the kind.
        let halts = Vocabulary::stop_of(site, step);
        let beside = |m: &&Mention| m.element >= step.elements.len() && halts != Some(m.element);
        let denies = |m: &Mention| match m.said {
            // A word beside it that was not made out takes nothing from a refusal: in doubt nothing moves.
            Said::Negated => matches!(m.stance, Stance::Plain | Stance::Open),
            _ => matches!(m.stance, Stance::Denied | Stance::PutOff),
        };
        Self {
            refused: best.is_some_and(|r| r.reading.mentions.iter().filter(beside).any(denies)),
            judgement: judge(site, step, situation, evidence, &Limits::DEFAULT),
            words: best.map_or_else(String::new, |r| r.reading.words.join(" ")),
            negative: best
                .zip(negative)
                .is_some_and(|(r, n)| n.iter().all(|w| r.reading.words.contains(w))),
        }
    }

    /// As what the student did.
    pub fn did(&self, over: bool) -> Did<'_> {
        Did::Called {
            judgement: &self.judgement,
            words: &self.words,
            negative: self.negative,
            refused: self.refused,
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
        /// Something that the call at hand would set in motion was denied.
        refused: bool,
        /// Spoken into somebody else's words.
        over: bool,
    },
    /// Used the hand: the pilot operates the release, the winch driver takes the power off.
    Hand,
    /// Gave a signal of the site, by its id.
    Signal(&'a str),
    /// Nothing.
    Nothing,
}

/// A run.
#[derive(Debug, Clone)]
#[allow(
    clippy::struct_excessive_bools,
    reason = "each is a fact of its own; together they are no state"
)]
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
    /// The glider has been seen to lift off.
    climbs: bool,
    hazard_over: bool,
    /// The winch is still to refuse.
    refusing: bool,
    /// What has failed in the air.
    failing: Option<String>,
    /// The radio is dead.
    dead: bool,
    /// Somebody else's stop has been.
    halted: bool,
    /// What was out of the ordinary and came about.
    happened: BTreeSet<String>,
    /// Somebody asked something between the student's cue and the call.
    interrupted: bool,
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
            refusing: course.refused && launch.refusal.is_some(),
            turn: Turn::new(situation.clone()),
            // Contact is made in the launch itself.
            situation: Situation {
                contact: false,
                ..situation
            },
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
            climbs: false,
            hazard_over: false,
            failing: None,
            dead: false,
            halted: false,
            happened: BTreeSet::new(),
            interrupted: false,
            ending: None,
        })
    }

    /// What has happened so far.
    pub fn record(&self) -> &[Entry] {
        &self.record
    }

    /// What the student's turn wants, if it is the student's turn or about to be.
    pub fn want(&self) -> Option<Want> {
        self.want
    }

    /// How it ended, if it did.
    pub fn ending(&self) -> Option<Ending> {
        self.ending
    }

    /// What is out of the ordinary in it.
    pub fn course(&self) -> &Course {
        &self.course
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
            Some(Want::Words) => self
                .failed(site)
                .and_then(|f| site.step(f.call.as_ref()?))
                .or_else(|| site.stop_step()),
            Some(Want::Hazard | Want::Failure | Want::Release | Want::Signal) => site.stop_step(),
            _ => Some(step),
        }
    }

    /// What can be said in the student's turn.
    pub fn vocabulary(&self, site: &Site) -> Option<Vocabulary> {
        let step = self.judged_step(site)?;
        Some(match self.want {
            Some(Want::Readback) => Vocabulary::for_readback(site, step),
            Some(Want::Hazard) => Vocabulary::with_refusal(site, step, self.step(site)?),
            // Beside somebody's stop, or a dead radio, "not ready" is as right as silence.
            Some(Want::Halt) => Vocabulary::with_refusal(site, step, step),
            Some(Want::Signal) if self.dead => Vocabulary::with_refusal(site, step, self.step(site)?),
            // Who reads a ready call back may refuse instead.
            Some(Want::Call) if step.readback_of.is_some() => Vocabulary::with_refusal(site, step, step),
            Some(Want::Call) => self.turn.vocabulary(site, step),
            _ => Vocabulary::of(site, step),
        })
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
            Next::Hear(sound) => self.record.push(Entry::Heard {
                step,
                noise: sound.noise,
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
        if self.failing.is_some() {
            self.end(Ending::Abandoned);
            return;
        }
        if self.begun {
            if !self.climbs && self.begins_to_climb(site, step) {
                // Whatever is said or not said in the climb: it takes its time, and everybody sees it.
                self.climbs = true;
                self.queue.push_back(Next::See(site.language.text("climb.begins", &[])));
                return;
            }
            if let Some(failure) = self.failure_of(site, step) {
                self.fail(site, failure);
                return;
            }
            self.at += 1;
            self.begun = false;
            return;
        }
        self.begun = true;
        self.passed_over = 0;
        self.pulls = 0;
        let dead = self.radio_is_dead(site, step);
        self.interrupted = false;
        self.turn = Turn::new(self.situation.clone());
        if self.at == 0 && self.role == PILOT && self.releases(site) {
            // The habit is told on the ground, not when it is needed.
            let text = site
                .language
                .text("release.habit", &[("n", &site.customs.release_pulls.to_string())]);
            self.queue.push_back(Next::See(text));
        }
        if self.at == 0 && !self.halted {
            self.signals_differ(site);
        }
        if self.halted_at(site, step) {
            return;
        }
        if self.course.traffic.contains(&step.id) && step.by == By::Radio && !dead {
            self.others(site, step);
        }
        // Only whoever makes the call is shown its scene.
        if step.speaker == self.role {
            self.queue.extend(self.situation.scene(site, step).map(Next::See));
        }
        if let Some(hazard) = self.hazard_of(site, step) {
            self.queue.push_back(Next::See(hazard.scene.clone()));
            self.queue.extend(hazard.sound.clone().map(Next::Hear));
            self.hazard_over = true;
            self.want = Some(Want::Hazard);
            self.happens("hazard", &hazard.id);
        } else if dead {
            self.without_radio(site, step);
        } else if step.speaker == self.role {
            if step.by == By::Hand {
                self.want = Some(Want::Release);
            } else if step.by == By::Signal {
                self.want = Some(Want::Signal);
            } else {
                self.show_link(site, step);
                self.prompt(step);
                self.want = Some(Want::Call);
                self.interruptions(site, step);
            }
        } else if step.by == By::Signal {
            self.show(site, step);
        } else if step.by != By::Hand {
            self.interruptions(site, step);
            self.play(site, step);
        }
    }

    fn hazard_of<'s>(&self, site: &'s Site, step: &Step) -> Option<&'s Hazard> {
        let (id, during) = self.course.hazard.as_ref()?;
        // Who has released is away: what happens on the ground then is the others'.
        let away = self.role == PILOT && at_the_top(site, step) && !self.moving(site);
        let now = !self.hazard_over && during == &step.id && !away;
        site.hazards.iter().find(|h| now && &h.id == id)
    }

    fn failure_of<'s>(&self, site: &'s Site, step: &Step) -> Option<&'s Failure> {
        let (id, after) = self.course.failure.as_ref()?;
        let now = self.failing.is_none() && after == &step.id;
        site.failures.iter().find(|f| now && &f.id == id)
    }

    /// What has failed.
    fn failed<'s>(&self, site: &'s Site) -> Option<&'s Failure> {
        let id = self.failing.as_ref()?;
        site.failures.iter().find(|f| &f.id == id)
    }

    /// Something fails in the air. Who has no hand on it sees it, and the launch is over.
    fn fail(&mut self, site: &Site, failure: &Failure) {
        self.failing = Some(failure.id.clone());
        self.happens("failure", &failure.id);
        self.passed_over = 0;
        self.queue.push_back(Next::See(failure.scene.clone()));
        self.queue.extend(failure.sound.clone().map(Next::Hear));
        self.want = self.has_a_hand(site).then_some(Want::Failure);
    }

    /// Does the cable move on the ground or in the climb? It does behind the ready call, until the release at the top. Told by the
    /// site's whole order: a run may have only some of its steps.
    fn moving(&self, site: &Site) -> bool {
        let order = site.launch.as_ref().map(|l| l.order.as_slice()).unwrap_or_default();
        let place = |id: &String| order.iter().position(|o| o == id);
        let now = self.order.get(self.at).and_then(place);
        let ready = site.ready_step().and_then(|r| place(&r.id));
        let by_hand = |id: &String| site.step(id).is_some_and(|s| s.by == By::Hand);
        now.zip(ready)
            .is_some_and(|(now, ready)| now > ready && !order[ready..=now].iter().any(by_hand))
    }

    /// Is the release operated in one of the steps at the top?
    fn releases(&self, site: &Site) -> bool {
        let at_the_top = |s: &Step| s.by == By::Hand && s.speaker == PILOT && at_the_top(site, s);
        self.order.iter().any(|id| site.step(id).is_some_and(at_the_top))
    }

    /// A pull of the release is heard and shown.
    fn pull(&mut self, text: String) {
        self.pulls += 1;
        self.queue.push_back(Next::Hear(Sound {
            noise: Noise::Clack,
            clip: None,
        }));
        self.queue.push_back(Next::See(text));
    }
}

/// Does a step come behind the ready call, by the site's whole order? What the pilot's hand does before it belongs to hooking on.
fn at_the_top(site: &Site, step: &Step) -> bool {
    let order = site.launch.as_ref().map(|l| l.order.as_slice()).unwrap_or_default();
    let place = |id: &String| order.iter().position(|o| o == id);
    let ready = site.ready_step().and_then(|r| place(&r.id));
    place(&step.id).zip(ready).is_none_or(|(at, ready)| at > ready)
}
