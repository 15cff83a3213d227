//! A whole launch: the program's roles speak, the student is listened to, everything goes into one time line.
//!
//! What happens is decided in [`drill::Launch`]; here are the clock, the sound, and silence as an answer.

mod record;

use super::kept::{self, Facts, attempt};
use super::{Activity, Conductor, Hearing, What};
use crate::call::Evidence;
use crate::drill::launch::{Turned, roles};
use crate::drill::{Did, Entry, Launch, Next, TurnState, Want, deal};
use crate::logbook::{Done, InRun, ModelUsed, Part};
use crate::plan::Level;
use crate::site::{Line, Site, Step};
use crate::sound::{Clip, Radio};
use crate::voice::{self, noise};
use crate::worker::keeper;
use crate::worker::message::{Event, Flown, LaunchRequest, Saying};
use crate::worker::told::why;
use crate::worker::turned::came_of;
use jiff::Timestamp;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};
use uuid::Uuid;

/// Between two transmissions. From listening, no source.
const GAP: Duration = Duration::from_millis(600);
/// Scenes are read, and lines without a loudspeaker: so long at least, and for each character. About the pace of subtitles (13 characters a
/// second), from memory.
const READING_LEAST: Duration = Duration::from_secs(1);
const READING: Duration = Duration::from_millis(75);

/// How long it takes to read a text.
fn reading(text: &str) -> Duration {
    READING_LEAST + READING * u32::try_from(text.chars().count()).unwrap_or(u32::MAX)
}

/// A launch under way.
pub(super) struct Flight {
    launch: Launch,
    site: Arc<Site>,
    folder: Option<PathBuf>,
    asked: LaunchRequest,
    seed: u64,
    id: Uuid,
    begun: Instant,
    /// Seconds from the beginning for each entry of the record.
    times: Vec<f32>,
    pub(super) state: TurnState,
    saying: Option<Saying>,
    /// The line at hand was given to the voice then.
    said: Instant,
    /// What was seen last.
    scene: Option<String>,
    /// The step it is of: in the next one it is not true any more.
    scene_of: Option<String>,
    /// Until then it can be read, before the next step takes its place.
    readable: Option<Instant>,
    /// The student is waited for, since when.
    waiting: Option<Instant>,
    /// The others go on then.
    resume: Option<Instant>,
    /// What is being said or judged began while others spoke; `true`: on the radio.
    over: Option<bool>,
    /// The student's turn at hand, and the attempts at it.
    turn: Uuid,
    /// Calls made so far.
    position: u32,
    turn_of: Option<(String, Want)>,
    attempts: u32,
    /// The words of the turn's call were asked for and are shown.
    words: bool,
    /// The sound of the student's calls, with their places in the record.
    clips: Vec<(usize, Arc<Clip>)>,
}

impl Flight {
    fn stamp(&mut self) {
        let at = self.begun.elapsed().as_secs_f32();
        self.times.resize(self.launch.record().len(), at);
    }

    /// The sound of a call, by its place in [`Flown::calls`].
    pub(super) fn clip(&self, n: usize) -> Option<&Arc<Clip>> {
        self.clips.get(n).map(|(_, clip)| clip)
    }

    pub(super) fn may_speak(&self) -> bool {
        matches!(self.state, TurnState::YourCall | TurnState::Receiving)
    }

    /// When the student's turn began.
    pub(super) fn prompt_end(&self) -> Option<Instant> {
        self.waiting
    }

    pub(super) fn site(&self) -> &Arc<Site> {
        &self.site
    }

    pub(super) fn launch(&self) -> &Launch {
        &self.launch
    }

    fn flown(&self) -> Flown {
        let step = self.launch.step(&self.site);
        let taught = |s: &Step| self.launch.situation.taught_call(&self.site, s);
        Flown {
            role: self.launch.role.clone(),
            pace: self.asked.pace,
            seed: self.seed,
            situation: self.launch.situation.clone(),
            state: self.state,
            step: step.map(|s| s.id.clone()),
            saying: self.saying.clone(),
            want: self.launch.want().filter(|_| self.state != TurnState::Receiving),
            words: step.filter(|_| self.words).map(taught),
            scene: self
                .scene
                .clone()
                .filter(|_| self.scene_of.as_ref() == step.map(|s| &s.id)),
            picture: self.launch.picture(&self.site),
            record: self
                .times
                .iter()
                .copied()
                .zip(self.launch.record().iter().cloned())
                .collect(),
            ending: self.launch.ending(),
            calls: self.clips.iter().map(|(at, _)| *at).collect(),
        }
    }
}

impl Conductor {
    /// Begins a launch.
    pub(super) fn launch(&mut self, asked: LaunchRequest) {
        let Some((site, folder)) = self.site.clone() else {
            self.out.known("no_site", "choose a site first", &[]);
            return;
        };
        let known = roles(&site);
        if !known.contains(&asked.role) {
            let text = if known.is_empty() {
                format!(
                    "the site {} describes no whole launch: its steps.toml has no [launch]",
                    site.id
                )
            } else {
                format!(
                    "at {} nobody is \"{}\"; there are: {}",
                    site.name,
                    asked.role,
                    known.join(", ")
                )
            };
            let facts = [("site", site.name.clone()), ("role", asked.role.clone())];
            self.out.known("no_role", text, &facts);
            return;
        }
        // The low half of a random identifier is random in every bit but two of the highest.
        let seed = asked.seed.unwrap_or_else(|| u64::from(Uuid::new_v4().as_u128() as u32));
        let mut random = deal::random(seed);
        let fixed = asked
            .situation
            .as_ref()
            .or(self.setup.situation.as_ref())
            .map(|s| s.at(&site));
        let situation = match fixed {
            Some(Ok(s)) => Some(s),
            Some(Err(e)) => {
                self.out.trouble(&e);
                return;
            }
            None => deal::deal(&site, None, &mut random),
        };
        let launch = situation.and_then(|situation| {
            let course = asked
                .course
                .clone()
                .unwrap_or_else(|| deal::course(&site, &situation, asked.pace, &mut random));
            Launch::new(&site, &asked.role, situation, course, asked.steps.as_deref())
        });
        let Some(launch) = launch else {
            let text = format!("the site {} has no aircraft or no cable to deal", site.id);
            self.out.known("cannot_deal", text, &[("site", site.name.clone())]);
            return;
        };
        self.abandon();
        self.activity = Activity::Launch(Box::new(Flight {
            launch,
            site,
            folder,
            asked,
            seed,
            id: Uuid::new_v4(),
            begun: Instant::now(),
            times: Vec::new(),
            state: TurnState::Receiving,
            saying: None,
            said: Instant::now(),
            scene: None,
            scene_of: None,
            readable: None,
            waiting: None,
            resume: Some(Instant::now()),
            over: None,
            turn: Uuid::new_v4(),
            position: 0,
            turn_of: None,
            attempts: 0,
            words: false,
            clips: Vec::new(),
        }));
        self.begin_run();
        self.tell_flight();
    }

    /// The launch is broken off or its debrief closed.
    pub(super) fn leave_launch(&mut self) {
        if let Some(ended) = self.activity.flight().map(|f| f.launch.ending().is_some()) {
            self.cancel();
            self.silence();
            if !ended {
                self.keep_record();
            }
            self.activity = Activity::Idle;
            self.out.tell(Event::Launch(None));
        }
    }

    pub(super) fn tell_flight(&self) {
        if let Some(flight) = self.activity.flight() {
            self.out.tell(Event::Launch(Some(Box::new(flight.flown()))));
            self.out.tell(Event::State(flight.state));
        }
    }

    /// Time passes: the others go on, or silence has been the answer.
    pub(super) fn attend_to_flight(&mut self) {
        let Some(flight) = self.activity.flight_mut() else {
            return;
        };
        let now = Instant::now();
        if flight.resume.is_some_and(|at| at <= now) {
            flight.resume = None;
            self.fly_on();
        } else if let (TurnState::YourCall, Some(since), Some(want)) =
            (flight.state, flight.waiting, flight.launch.want())
            && now.duration_since(since).as_secs_f32() > flight.asked.pace.patience(want)
        {
            self.nothing_done();
        }
    }

    /// The student is typing: silence does not count.
    pub(super) fn typing(&mut self) {
        if let Some(since) = self.activity.flight_mut().and_then(|f| f.waiting.as_mut()) {
            *since = Instant::now();
        }
    }

    /// What happens next, until something takes time.
    fn fly_on(&mut self) {
        loop {
            let Some(flight) = self.activity.flight_mut() else {
                return;
            };
            flight.waiting = None;
            flight.saying = None;
            if let Some(until) = flight
                .readable
                .filter(|u| *u > Instant::now() && flight.launch.step_is_over())
            {
                flight.resume = Some(until);
                self.tell_flight();
                return;
            }
            let next = flight.launch.next(&flight.site);
            flight.stamp();
            match next {
                Next::Say { line, radio } => {
                    flight.state = TurnState::Receiving;
                    flight.saying = Some(Saying {
                        role: line.role.clone(),
                        text: line.text.clone(),
                        radio,
                    });
                    self.tell_flight();
                    let line = Line {
                        role: line.role,
                        text: line.text,
                        clip: line.clip,
                    };
                    self.say_in_flight(&line, radio);
                    return;
                }
                Next::See(text) => {
                    flight.scene_of = flight.launch.step(&flight.site).map(|s| s.id.clone());
                    if self.setup.sound {
                        flight.readable = Some(Instant::now() + reading(&text));
                    }
                    flight.scene = Some(text);
                }
                Next::Hear(sound) => {
                    let clip = flight.folder.as_ref().zip(sound.clip.as_ref()).map(|(f, c)| f.join(c));
                    let (samples, trouble) = noise::sound(sound.noise, clip.as_deref());
                    if let Some(e) = trouble {
                        let text = format!("A sound is made by the program: {e}");
                        self.out.known("sound_made", text, &[("why", why(&e))]);
                    }
                    if self.room.player.is_some() {
                        self.play(samples, What::Noise);
                    }
                }
                Next::Listen { step, want } => {
                    let turn_of = Some((step, want));
                    flight.state = TurnState::YourCall;
                    flight.waiting = Some(Instant::now());
                    if flight.turn_of != turn_of {
                        flight.turn = Uuid::new_v4();
                        flight.attempts = 0;
                        flight.words = false;
                        flight.turn_of = turn_of;
                    }
                    self.tell_flight();
                    return;
                }
                Next::Ended(_) => {
                    flight.state = TurnState::Done;
                    self.keep_record();
                    self.tell_flight();
                    return;
                }
            }
        }
    }

    fn say_in_flight(&mut self, line: &Line, radio: bool) {
        self.silence();
        let Some(flight) = self.activity.flight_mut() else {
            return;
        };
        flight.said = Instant::now();
        let (Some(speaker), Some(_)) = (&self.room.speaker, &self.room.player) else {
            let time = if self.setup.sound {
                reading(&line.text)
            } else {
                Duration::ZERO
            };
            flight.resume = Some(Instant::now() + time);
            return;
        };
        let line = voice::Line::of_site(
            &flight.site,
            flight.folder.as_deref(),
            &line.role,
            &line.text,
            line.clip.as_deref(),
        );
        let radio = radio.then(|| Radio {
            seed: flight.seed,
            ..Radio::default()
        });
        self.room.speaking = Some((speaker.say(line, radio), What::Line));
        self.out.tell(Event::Playing(true));
    }

    /// A line was spoken to its end.
    pub(super) fn flight_line_ended(&mut self, at: Instant) {
        let Some(flight) = self.activity.flight_mut() else {
            return;
        };
        // No voice is three times as fast as a reader: the loudspeaker failed, and the line is there to be read.
        let receiving = flight.state == TurnState::Receiving;
        let unheard = flight.saying.as_ref().filter(|_| receiving).map(|s| reading(&s.text));
        if let Some(time) = unheard.filter(|time| at < flight.said + *time / 3) {
            flight.resume = Some(flight.said + time);
            return;
        }
        flight.saying = None;
        if receiving {
            flight.resume = Some(at + GAP);
            self.tell_flight();
        }
    }

    /// The student acts: what others say stops being heard. `Some` when they were at it, `true` on the radio.
    pub(super) fn hush(&mut self) -> Option<bool> {
        self.silence();
        let flight = self.activity.flight_mut()?;
        let speaking = flight.saying.take().map(|s| s.radio);
        flight.resume = None;
        // Who acts has read enough.
        flight.readable = None;
        let between = flight.launch.others_speak_next();
        // Between two transmissions the frequency is quiet, and not free.
        let over = speaking.or(between.then_some(true));
        if over.is_none() && flight.state == TurnState::Receiving && flight.launch.want().is_some() {
            self.fly_on();
            return None;
        }
        over.or((flight.state == TurnState::Receiving).then_some(false))
    }

    /// Begins the student's words. False when nothing can be said now.
    pub(super) fn flight_speaks(&mut self) {
        let over = self.hush();
        if let Some(flight) = self.activity.flight_mut() {
            flight.over = over;
            flight.waiting = None;
            flight.state = TurnState::Transmitting;
        }
        self.tell_flight();
    }

    /// Thrown away: whatever was going on goes on.
    pub(super) fn flight_cancelled(&mut self) {
        if let Some(flight) = self.activity.flight_mut()
            && matches!(flight.state, TurnState::Transmitting | TurnState::Judging)
        {
            flight.over = None;
            flight.state = TurnState::Receiving;
            flight.resume = Some(Instant::now());
            self.tell_flight();
        }
    }

    /// The release, or the winch's power: at any moment, also while speaking.
    pub(super) fn hand(&mut self) {
        let busy = matches!(
            self.activity.flight().map(|f| f.state),
            Some(TurnState::Transmitting | TurnState::Judging)
        );
        let over = if busy { None } else { self.hush() };
        let Some(flight) = self.activity.flight_mut() else {
            return;
        };
        if flight.state == TurnState::Done {
            return;
        }
        match (over, busy && flight.over.is_some()) {
            (None, false) => flight.launch.did(&flight.site, Did::Hand),
            (over, _) => flight.launch.cut_in(&flight.site, Did::Hand, over.unwrap_or(true)),
        }
        flight.stamp();
        if !busy {
            self.go_on_soon();
        }
        self.tell_flight();
    }

    /// The words of the call that is wanted, for who does not know them: it goes into the record with the call.
    pub(super) fn show_words(&mut self) {
        if let Some(flight) = self.activity.flight_mut()
            && flight.launch.want() == Some(Want::Call)
        {
            flight.words = true;
            self.typing();
            self.tell_flight();
        }
    }

    /// A signal of the site's own.
    pub(super) fn signal(&mut self, id: &str) {
        if !self.activity.flight().is_some_and(Flight::may_speak) {
            return;
        }
        let over = self.hush();
        let Some(flight) = self.activity.flight_mut() else {
            return;
        };
        match over {
            None => flight.launch.did(&flight.site, Did::Signal(id)),
            Some(radio) => flight.launch.cut_in(&flight.site, Did::Signal(id), radio),
        }
        flight.stamp();
        self.go_on_soon();
        self.tell_flight();
    }

    /// The student lets the turn pass: says nothing, or lets a readback stand.
    pub(super) fn nothing_done(&mut self) {
        let Some(flight) = self.activity.flight_mut() else {
            return;
        };
        if flight.state != TurnState::YourCall {
            return;
        }
        flight.launch.did(&flight.site, Did::Nothing);
        flight.stamp();
        self.go_on_soon();
    }

    fn go_on_soon(&mut self) {
        if let Some(flight) = self.activity.flight_mut() {
            flight.state = TurnState::Receiving;
            flight.waiting = None;
            flight.resume = Some(Instant::now());
        }
    }

    /// The student's words were heard or read.
    pub(super) fn flight_judged(
        &mut self,
        evidence: &Evidence,
        model: Option<ModelUsed>,
        hearing: Option<Hearing>,
        began: Timestamp,
        ended: Instant,
    ) {
        let student = self.student.as_ref().map(|s| s.id);
        let Some(flight) = self.activity.flight_mut() else {
            return;
        };
        let site = flight.site.clone();
        let Some(step) = flight.launch.judged_step(&site) else {
            self.go_on_soon();
            return;
        };
        let turned = Turned::new(&site, step, &flight.launch.situation, evidence);
        flight.attempts += 1;
        let clip = hearing.as_ref().map(|h| h.clip.clone());
        let mut kept = attempt(&Facts {
            site: &site,
            step,
            situation: &flight.launch.situation,
            level: flight.words.then_some(Level::WithWords),
            turn: flight.turn,
            turn_attempt: flight.attempts,
            part: Part {
                // What is said into others' words is no call of the record.
                kind: kept::kind(flight.launch.want().filter(|_| flight.over.is_none())),
                done: Done::Called,
                run: Some(InRun {
                    run: flight.id,
                    position: flight.position,
                    role: Some(flight.launch.role.clone()),
                }),
            },
            student,
            began,
            judgement: &turned.judgement,
            this_call: &turned.judgement,
            evidence,
            model,
            clip: clip.as_deref(),
            recording: hearing.as_ref().and_then(|h| h.recording),
            milliseconds: u32::try_from(ended.elapsed().as_millis()).unwrap_or(u32::MAX),
        });
        let before = flight.launch.record().len();
        // What is said into others' words is no call of the record.
        let want = flight.launch.want().filter(|_| flight.over.is_none());
        match flight.over.take() {
            None => flight.launch.did(&site, turned.did(false)),
            Some(radio) => flight.launch.cut_in(&site, turned.did(false), radio),
        }
        flight.stamp();
        flight.position += 1;
        let asked = flight.launch.record()[before..].iter().find_map(|e| match e {
            Entry::Called { asked, .. } => asked.clone(),
            _ => None,
        });
        if let Some(want) = want {
            (kept.part.kind, kept.part.done, kept.outcome) = came_of(want, &flight.launch.record()[before..]);
        }
        if let Some(asked) = asked {
            kept::of_an_answer(&mut kept, &asked);
        }
        if let Some(clip) = clip {
            let entries = flight.launch.record().iter().enumerate().skip(before);
            let mut called = entries.filter(|(_, e)| matches!(e, Entry::Called { .. }));
            flight.clips.extend(called.next().map(|(at, _)| (at, clip.clone())));
            self.own = Some(clip);
        }
        self.order(keeper::Order::Record {
            attempt: Box::new(kept),
            file: hearing.and_then(|h| h.file),
        });
        self.ask_for_name();
        self.go_on_soon();
        self.tell_flight();
    }
}
