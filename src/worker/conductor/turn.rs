//! The turn: dealt, spoken or typed, heard, judged, kept.

use super::kept::{Facts, attempt};
use super::planned::interruption;
use super::{Activity, Conductor, Hearing, Run, Wanted, What};
use crate::call::{
    ElementVerdict, Evidence, Judgement, Outcome, Reason, Situation, Verdict, Vocabulary, judge, judge::Limits,
};
use crate::drill::{Answer, Turn, TurnState};
use crate::hear::HearError;
use crate::logbook::{Kind, ModelUsed, NewAttempt, Part, RecordingName};
use crate::plan::DealReason;
use crate::site::{Site, Step};
use crate::sound::{Clip, ClipTrouble};
use crate::worker::ears;
use crate::worker::inbox::Heard;
use crate::worker::keeper;
use crate::worker::message::{Dealt, Event, GivenCall, Judged, LONGEST_TYPED, ModelState, SituationRequest};
use jiff::Timestamp;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;
use uuid::Uuid;

/// Sound lost by the computer from which on a call says nothing about the student, seconds. From listening, no source.
const MUCH_LOST: f64 = 0.25;

/// Did the microphone fail in it: went away, gave nothing, or lost much?
fn microphone_failed(clip: &Clip) -> bool {
    clip.troubles.iter().any(|t| match t {
        ClipTrouble::DeviceLost { .. } | ClipTrouble::AllZeros { .. } => true,
        ClipTrouble::Dropped { seconds, .. } => *seconds >= MUCH_LOST,
        _ => false,
    })
}

/// What was not heard of it is not decided.
fn undecided(mut judgement: Judgement) -> Judgement {
    for e in judgement.elements.iter_mut().filter(|e| e.verdict != Verdict::Said) {
        e.verdict = Verdict::Unsure;
        e.reason = Reason::Foreign;
    }
    judgement.outcome = Outcome::SayAgain;
    judgement.score = None;
    judgement.score_parts.clear();
    judgement
}

/// The elements that count as an earlier call of the turn had them: this one does not hold them, or not surely.
fn kept(counts: &Judgement, this_call: &Judgement) -> Vec<String> {
    let now = |e: &ElementVerdict| {
        let mut this = this_call.element(&e.element).into_iter();
        this.any(|t| (t.verdict, &t.heard) == (e.verdict, &e.heard))
    };
    let kept = counts
        .elements
        .iter()
        .filter(|e| e.verdict != Verdict::Missing && !now(e));
    kept.map(|e| e.element.clone()).collect()
}

impl Conductor {
    pub(super) fn step(&self) -> Option<(Arc<Site>, Step)> {
        let (site, _) = self.site.as_ref()?;
        let step = site.step(&self.setup.step)?.clone();
        Some((site.clone(), step))
    }

    /// Throws the turn away with what belongs to it.
    pub(super) fn abandon(&mut self) {
        self.leave_launch();
        self.cancel();
        self.stop_playing();
        self.activity = Activity::Idle;
        self.own = None;
    }

    /// A new turn; with the situation wanted where the site has it.
    pub(super) fn next(&mut self, wanted: Option<&SituationRequest>) {
        if self.lessons.planning {
            // Dealt as soon as the record is read.
            self.lessons.wanted = Some(Wanted(wanted.cloned()));
            return;
        }
        let Some((site, _)) = self.site.clone() else {
            self.out.known("no_site", "choose a site first", &[]);
            return;
        };
        let Some(step) = site.step(&self.setup.step).cloned() else {
            let known: Vec<&str> = site.steps.iter().map(|s| s.id.as_str()).collect();
            let text = format!(
                "the site {} has no step \"{}\"; it has: {}",
                site.id,
                self.setup.step,
                known.join(", ")
            );
            let facts = [("site", site.name.clone()), ("step", self.setup.step.clone())];
            self.out.known("no_step", text, &facts);
            return;
        };
        let before = self.activity.run().map(|r| r.turn.situation.clone());
        let wanted = wanted.and_then(|w| w.at(&site).ok()).map(Ok);
        let fixed = self.setup.situation.as_ref().map(|s| s.at(&site));
        let (situation, reason) = match fixed.or(wanted) {
            Some(Ok(s)) => (Some(s), None),
            Some(Err(e)) => {
                self.out.trouble(&e);
                return;
            }
            None => self.choose(&site, &step, before.as_ref()),
        };
        let Some(mut situation) = situation else {
            let text = format!("the site {} has no aircraft or no cable to deal", site.id);
            self.out.known("cannot_deal", text, &[("site", site.name.clone())]);
            return;
        };
        if let Some(direction) = self.setup.direction.as_ref().filter(|_| site.direction_matters()) {
            situation.direction = Some(direction.clone());
        }
        self.begin(&site, &step, situation, Uuid::new_v4());
        self.tell_dealt(reason);
    }

    /// A call dealt beforehand.
    pub(super) fn given(&mut self, given: GivenCall) {
        let Some((site, _)) = self.site.clone() else {
            self.out.known("no_site", "choose a site first", &[]);
            return;
        };
        let Some(step) = site.step(&given.step).cloned() else {
            let text = format!("the site {} has no step \"{}\"", site.id, given.step);
            let facts = [("site", site.name.clone()), ("step", given.step.clone())];
            self.out.known("no_step", text, &facts);
            return;
        };
        if let Err(e) = given.situation.check(&site) {
            self.out.trouble(&e);
            return;
        }
        self.setup.step = given.step;
        self.begin(&site, &step, given.situation, given.turn);
        self.tell_dealt(None);
    }

    fn begin(&mut self, site: &Site, step: &Step, situation: Situation, id: Uuid) {
        let level = self.level_now();
        let other = interruption(site, step, &situation, level);
        self.abandon();
        self.turns += 1;
        self.activity = Activity::Turn(Box::new(Run {
            turn: Turn::new(situation),
            id,
            prompt_end: None,
            answer: None,
            level,
            interruption: other,
            over: false,
        }));
    }

    fn tell_dealt(&mut self, reason: Option<DealReason>) {
        self.tell_plan(reason);
        let Some(run) = self.activity.run() else { return };
        self.out.tell(Event::Dealt(Dealt {
            situation: run.turn.situation.clone(),
            step: self.setup.step.clone(),
            number: self.turns,
        }));
        self.tell_state();
        self.play_interruption();
    }

    pub(super) fn tell_state(&self) {
        if let Some(run) = self.activity.run() {
            self.out.tell(Event::State(run.turn.state));
        }
    }

    pub(super) fn may_speak(&self) -> bool {
        if let Some(flight) = self.activity.flight() {
            return flight.may_speak();
        }
        self.activity
            .run()
            .is_some_and(|r| matches!(r.turn.state, TurnState::YourCall | TurnState::Receiving))
    }

    pub(super) fn press(&mut self) {
        if !self.may_speak() {
            return;
        }
        if let ModelState::Missing(why) = &self.model {
            let text = format!("without the speech model calls can only be typed: {why}");
            self.out.known("no_model", text, &[]);
            return;
        }
        if self.room.recorder.is_none() {
            self.out
                .known("no_microphone", "there is no microphone here; type the call", &[]);
            return;
        }
        let target = self
            .name
            .take()
            .zip(self.setup.recordings.as_ref())
            .map(|(n, folder)| n.path(folder));
        // The microphone is one: what was being recorded outside the turn is thrown away.
        self.taking_cancelled();
        let Some(recorder) = &self.room.recorder else { return };
        let prompt_end = match self.activity.flight() {
            Some(flight) => flight.prompt_end(),
            None => self.activity.run().and_then(|r| r.prompt_end),
        };
        recorder.press(target, prompt_end);
        self.room.expecting = Some(Timestamp::now());
        self.begins();
    }

    /// The student begins to speak.
    fn begins(&mut self) {
        if self.activity.flight().is_some() {
            self.flight_speaks();
            return;
        }
        let speaks = |what: What| matches!(what, What::Line | What::Other);
        let over = self
            .room
            .speaking
            .or(self.room.playing)
            .is_some_and(|(_, what)| speaks(what));
        self.stop_playing();
        if let Some(run) = self.activity.run_mut() {
            run.over = over;
            run.turn.press();
        }
        self.tell_state();
    }

    /// The student has spoken.
    pub(super) fn spoken(&mut self) {
        if let Some(flight) = self.activity.flight_mut() {
            if flight.state == TurnState::Transmitting {
                flight.state = TurnState::Judging;
                self.tell_flight();
            }
        } else if self.activity.run_mut().is_some_and(|r| r.turn.release()) {
            self.tell_state();
        }
    }

    pub(super) fn release(&mut self) {
        if self.room.expecting.is_none() {
            return;
        }
        if let Some(recorder) = &self.room.recorder {
            recorder.release();
        }
        self.spoken();
    }

    /// Throws away what is being said or judged.
    pub(super) fn cancel(&mut self) {
        let mut anything = false;
        if self.room.expecting.take().is_some() {
            anything = true;
            if let Some(recorder) = &self.room.recorder {
                recorder.cancel();
            }
        }
        if let Some(hearing) = self.hearing.take() {
            anything = true;
            hearing.cancel.store(true, Ordering::Relaxed);
            if let Some(file) = &hearing.file {
                keeper::remove(file, &self.out);
            }
        }
        if anything {
            if let Some(run) = self.activity.run_mut() {
                run.turn.cancel();
            }
            self.flight_cancelled();
            self.ask_for_name();
            self.out.tell(Event::Cancelled);
            self.tell_state();
        }
    }

    pub(super) fn typed(&mut self, text: &str) {
        if !self.may_speak() {
            return;
        }
        if text.chars().count() > LONGEST_TYPED {
            let text = format!("This is longer than any call ({LONGEST_TYPED} characters at most) and was not taken.");
            self.out
                .known("typed_too_long", text, &[("n", LONGEST_TYPED.to_string())]);
            return;
        }
        self.begins();
        self.spoken();
        let Some(vocabulary) = self.vocabulary() else { return };
        let began = Timestamp::now();
        let evidence = Evidence::typed(&vocabulary, text);
        self.judged(evidence, None, None, began, Instant::now());
    }

    pub(super) fn speak(&mut self, clip: Clip) {
        if !self.may_speak() {
            return;
        }
        self.begins();
        self.spoken();
        self.hear(clip, None, None, Timestamp::now());
    }

    /// What can be said now.
    fn vocabulary(&self) -> Option<Vocabulary> {
        if let Some(flight) = self.activity.flight() {
            return flight.launch().vocabulary(flight.site());
        }
        let (site, step) = self.step()?;
        Some(match self.activity.run() {
            Some(run) => run.turn.vocabulary(&site, &step),
            None => Vocabulary::of(&site, &step),
        })
    }

    pub(super) fn hear(
        &mut self,
        clip: Clip,
        recording: Option<RecordingName>,
        file: Option<PathBuf>,
        began: Timestamp,
    ) {
        let Some(vocabulary) = self.vocabulary() else {
            return;
        };
        self.jobs += 1;
        let clip = Arc::new(clip);
        let cancel = Arc::new(AtomicBool::new(false));
        // The recogniser's thread ends only with this one; should it be gone all the same, nobody waits for it.
        let order = ears::Order::Hear {
            job: self.jobs,
            clip: clip.clone(),
            vocabulary: Box::new(vocabulary),
            cancel: cancel.clone(),
        };
        let gone = self.ears.send(order).is_err();
        self.own = Some(clip.clone());
        self.hearing = Some(Hearing {
            job: self.jobs,
            cancel,
            clip,
            recording,
            file,
            ended: Instant::now(),
            began,
        });
        if gone {
            self.heard(self.jobs, Err(HearError::Crashed));
        }
    }

    pub(super) fn heard(&mut self, job: u64, result: Heard) {
        let Some(hearing) = self.hearing.take_if(|h| h.job == job) else {
            return;
        };
        match result {
            Ok((evidence, model)) => {
                let (began, ended) = (hearing.began, hearing.ended);
                self.judged(evidence, Some(model), Some(hearing), began, ended);
            }
            Err(e) => {
                // The recording stays: it can be judged later.
                if let Some(run) = self.activity.run_mut() {
                    run.turn.cancel();
                }
                self.flight_cancelled();
                if matches!(e, HearError::Crashed) {
                    self.out.known("ears_crashed", &e, &[]);
                } else {
                    self.out.trouble(&e);
                }
                self.tell_state();
            }
        }
    }

    pub(super) fn judged(
        &mut self,
        evidence: Evidence,
        model: Option<ModelUsed>,
        hearing: Option<Hearing>,
        began: Timestamp,
        ended: Instant,
    ) {
        if self.activity.flight().is_some() {
            self.flight_judged(&evidence, model, hearing, began, ended);
            return;
        }
        let Some((site, step)) = self.step() else {
            return;
        };
        let Some(run) = self.activity.run_mut() else { return };
        let failed = hearing.as_ref().is_some_and(|h| microphone_failed(&h.clip));
        let Settled {
            this_call,
            judgement,
            answer,
            void,
        } = run.settle(&site, &step, &evidence, failed);
        // Stop and "not ready" are always right: what else was left out counts for nothing.
        let held_back = answer == Answer::NothingMoves;
        let no_error = held_back || matches!(answer, Answer::Stopped(_));
        let kind = if no_error { Kind::Hazard } else { Kind::Call };
        run.answer = Some(answer.clone());
        run.prompt_end = None;
        let milliseconds = u32::try_from(ended.elapsed().as_millis()).unwrap_or(u32::MAX);
        let clip = hearing.as_ref().map(|h| h.clip.clone());
        let mut attempt = attempt(&Facts {
            site: &site,
            step: &step,
            situation: &run.turn.situation,
            level: Some(run.level),
            turn: run.id,
            turn_attempt: run.turn.attempts + u32::from(void),
            part: Part {
                kind,
                ..Part::default()
            },
            student: self.student.as_ref().map(|s| s.id),
            began,
            judgement: &judgement,
            this_call: &this_call,
            evidence: &evidence,
            model,
            clip: clip.as_deref(),
            recording: hearing.as_ref().and_then(|h| h.recording),
            milliseconds,
        });
        // It waits for nobody's verdict, but counts for nothing.
        attempt.held_out |= void;
        if no_error {
            attempt.outcome = Outcome::Pass;
            attempt.score = None;
        }
        let judged = Judged {
            id: attempt.id,
            kept: kept(&judgement, &this_call),
            judgement,
            evidence,
            answer,
            attempt: run.turn.attempts + u32::from(void),
            troubles: clip.iter().flat_map(|c| &c.troubles).map(ToString::to_string).collect(),
            spoken: clip.is_some(),
            clip: clip.clone(),
            milliseconds,
            over: run.over && clip.is_some(),
            void,
        };
        if clip.is_none() {
            self.own = None;
        }
        self.out.tell(Event::Judged(Box::new(judged)));
        self.keep(attempt, hearing.and_then(|h| h.file), !no_error);
        self.tell_state();
        self.play_answer();
    }

    /// Into the logbook; what `counts` is learned from too. `file` is that of its recording.
    fn keep(&mut self, attempt: NewAttempt, file: Option<PathBuf>, counts: bool) {
        if counts {
            self.learn(&attempt);
            self.teach(&attempt);
        }
        self.order(keeper::Order::Record {
            attempt: Box::new(attempt),
            file,
        });
        self.ask_for_name();
    }
}

/// A call judged, with what it does to the turn.
struct Settled {
    this_call: Judgement,
    /// What counts for the turn.
    judgement: Judgement,
    answer: Answer,
    /// Nothing of it counts.
    void: bool,
}

impl Run {
    /// Judges a call and moves the turn on; `failed`: the microphone did in it.
    fn settle(&mut self, site: &Site, step: &Step, evidence: &Evidence, failed: bool) -> Settled {
        let answering = matches!(self.answer, Some(Answer::ReadBack { .. }));
        let answer = answering.then(|| {
            evidence
                .clone()
                .answering(site.language, &self.turn.vocabulary(site, step))
        });
        let evidence = answer.as_ref().unwrap_or(evidence);
        let this_call = judge(site, step, &self.turn.situation, evidence, &Limits::DEFAULT);
        // Where the microphone failed nothing was left out by the student: the turn goes on as if nothing had been said. A stop
        // that was heard is obeyed all the same.
        let void = !this_call.stop && failed;
        let this_call = if void { undecided(this_call) } else { this_call };
        let answer = if void {
            self.turn.cancel();
            Answer::Silence
        } else {
            self.turn.judged(site, step, &this_call)
        };
        let judgement = match (&self.turn.so_far, this_call.outcome) {
            (Some(so_far), o) if o != Outcome::NothingHeard && !void => so_far.clone(),
            _ => this_call.clone(),
        };
        Settled {
            this_call,
            judgement,
            answer,
            void,
        }
    }
}
