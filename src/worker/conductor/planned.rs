//! The plan beside the turn: reads the record, chooses the next situation, sets the level, learns from each first attempt.

use super::{Conductor, Run, Wanted, What};
use crate::call::{Outcome, Situation};
use crate::drill;
use crate::logbook::NewAttempt;
use crate::plan::{Answered, DealReason, Level, Moment, Past, Plan};
use crate::site::{Line, Site, Step};
use crate::sound::Radio;
use crate::worker::keeper;
use crate::worker::message::{Event, Planned};
use jiff::Timestamp;
use uuid::Uuid;

/// Hiss under a voice on a busy field, dBFS: twelve decibels more than otherwise.
const BUSY_HISS: f64 = -30.0;

/// The radio channel of a turn.
pub(super) fn channel(run: Option<&Run>) -> Radio {
    match run {
        Some(run) if run.level == Level::BusyField => Radio {
            hiss_dbfs: BUSY_HISS,
            ..Radio::default()
        },
        _ => Radio::default(),
    }
}

/// The low half of a random identifier is random in every bit but two of the highest.
fn random() -> u32 {
    Uuid::new_v4().as_u128() as u32
}

/// So many right first attempts are remembered: so many more failures than successes bring the words back.
const TAUGHT: u32 = 6;
/// Situations dealt to find one of another glider.
const TRIES: usize = 40;

/// On a busy field another pilot speaks first, on the same frequency and much alike: a call of the same step.
pub(super) fn interruption(site: &Site, step: &Step, situation: &Situation, level: Level) -> Option<String> {
    if level != Level::BusyField || step.by != crate::site::By::Radio {
        return None;
    }
    // Another glider than the student's; a site with one alone has nobody to interrupt.
    let another = (0..TRIES).find_map(|_| {
        drill::deal(site, Some(situation), &mut random).filter(|other| other.callsign != situation.callsign)
    });
    another.map(|other| other.taught_call(site, step))
}

fn moment(at: Timestamp) -> Moment {
    Moment {
        ms: at.as_millisecond(),
        utc_offset_seconds: jiff::tz::TimeZone::system().to_offset(at).seconds(),
    }
}

impl Conductor {
    /// Ask for the record of the student at the site, if there are both.
    pub(super) fn ask_for_past(&mut self) {
        self.lessons.plan = None;
        self.lessons.planning = false;
        self.lessons.teaching.right.clear();
        let (Some(student), Some((site, _))) = (&self.student, &self.site) else {
            return;
        };
        let order = keeper::Order::Past {
            student: student.id,
            site: site.id.clone(),
        };
        // Without a logbook there is no record; that was told when it could not be opened.
        self.lessons.planning = self.keeper.send(order).is_ok();
    }

    /// The record was read.
    pub(super) fn make_plan(&mut self, student: Uuid, of_site: &str, past: &[Past]) {
        let Some((site, _)) = self.site.clone().filter(|(s, _)| s.id == of_site) else {
            return;
        };
        if self.student.as_ref().is_none_or(|s| s.id != student) {
            return;
        }
        let past_right = |p: &Past| {
            let critical = site.step(&p.step).map(|s| s.critical.as_slice()).unwrap_or_default();
            p.right(critical)
                .filter(|_| p.first_attempt && !p.held_out && !p.stopped)
        };
        for (step, right) in past.iter().filter_map(|p| Some((&p.step, past_right(p)?))) {
            self.taught_by(step, right);
        }
        let steps = [self.setup.step.as_str()];
        self.lessons.plan = Some(Plan::from_past(&site, &steps, past, moment(Timestamp::now())));
        self.lessons.planning = false;
        self.tell_plan(None);
        if let Some(Wanted(wanted)) = self.lessons.wanted.take() {
            self.next(wanted.as_ref());
        }
    }

    /// What to deal: by the plan where there is one, else by chance.
    pub(super) fn choose(
        &mut self,
        site: &Site,
        step: &Step,
        before: Option<&Situation>,
    ) -> (Option<Situation>, Option<DealReason>) {
        if let Some(plan) = &mut self.lessons.plan {
            plan.at(moment(Timestamp::now()));
            let before = before.map(|s| (step.id.as_str(), s));
            // A call dealt beforehand may have changed the step since the plan was made.
            if let Some(choice) = plan.next(before, &mut random).filter(|c| c.step == step.id) {
                return (Some(choice.situation), Some(choice.reason));
            }
        }
        let dealt = drill::deal(site, before, &mut random).map(|mut s| {
            // Only what this step has a part for belongs to it.
            s.more.retain(|element, _| step.elements.contains(element));
            s
        });
        (dealt, None)
    }

    /// The level of the turns to come: the one chosen, else the record's.
    pub(super) fn level_now(&self) -> Level {
        let by_record = self.lessons.plan.as_ref().map(Plan::level);
        let right = self
            .lessons
            .teaching
            .right
            .get(&self.setup.step)
            .copied()
            .unwrap_or_default();
        let taught = Level::taught_after(right).filter(|_| self.lessons.teaching.on);
        self.lessons.level.or(taught).or(by_record).unwrap_or_default()
    }

    /// A first attempt moves what the teaching of its step goes by.
    pub(super) fn teach(&mut self, attempt: &NewAttempt) {
        let right = match attempt.outcome {
            Outcome::Pass => true,
            Outcome::NotYet => false,
            Outcome::SayAgain | Outcome::NothingHeard => return,
        };
        if attempt.turn_attempt == 1 && !attempt.held_out {
            self.taught_by(&attempt.step, right);
        }
    }

    fn taught_by(&mut self, step: &str, right: bool) {
        let count = self.lessons.teaching.right.entry(step.to_owned()).or_default();
        *count = if right {
            (*count + 1).min(TAUGHT)
        } else {
            count.saturating_sub(1)
        };
    }

    pub(super) fn play_interruption(&mut self) {
        let Some(text) = self.activity.run().and_then(|r| r.interruption.clone()) else {
            self.play_prompt();
            return;
        };
        let line = Line {
            role: "pilot".to_owned(),
            text,
            clip: None,
        };
        self.say(&line, What::Other);
    }

    /// Tell what the plan says, and why the turn under way was dealt.
    pub(super) fn tell_plan(&self, reason: Option<DealReason>) {
        let by_record = self.lessons.plan.as_ref().map(Plan::level);
        self.out.tell(Event::Planned(Box::new(Planned {
            level: self.activity.run().map_or_else(|| self.level_now(), |r| r.level),
            by_record,
            reason,
            today: self.lessons.plan.as_ref().map(Plan::today),
            interruption: self.activity.run().and_then(|r| r.interruption.clone()),
        })));
    }

    /// A judged call for the plan. What the logbook keeps of it is the same, so that the next start knows it too.
    pub(super) fn learn(&mut self, attempt: &NewAttempt) {
        let (Some(plan), Some(run)) = (&mut self.lessons.plan, self.activity.run()) else {
            return;
        };
        let verdicts = attempt.elements.iter().map(|e| Answered {
            element: e.element.clone(),
            verdict: e.counted(),
            heard: e.heard.clone(),
        });
        let past = Past {
            at: Moment {
                ms: attempt.started_at.as_millisecond(),
                utc_offset_seconds: attempt.utc_offset_seconds,
            },
            site: attempt.site.clone(),
            step: attempt.step.clone(),
            situation: run.turn.situation.clone(),
            level: Some(run.level),
            first_attempt: attempt.turn_attempt == 1,
            held_out: attempt.held_out,
            // (What stopped or held back is not learnt from.)
            stopped: false,
            outcome: attempt.outcome,
            verdicts: verdicts.collect(),
        };
        if past.counts() {
            plan.add(&past);
            self.tell_plan(None);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::TurnState;
    use crate::worker::{Command, Dealt, Loader, LogbookPlace, Options, SiteRequest, Worker};
    use std::path::Path;
    use std::time::Duration;

    /// A worker without model and devices: calls are typed.
    fn worker(folder: &Path) -> Worker {
        let options = Options {
            phrases: None,
            logbook: LogbookPlace::Disk {
                file: folder.join("logbook.sqlite"),
                recordings: folder.join("recordings"),
            },
            loader: Loader::new(|| Err("no model here".to_owned())),
            sound: false,
            input: None,
            output: None,
            situation: None,
            direction: None,
            step: "ready".into(),
        };
        Worker::start(options, || {}).unwrap()
    }

    /// The events until one of a kind, that one last.
    fn until(worker: &Worker, wanted: impl Fn(&Event) -> bool) -> Vec<Event> {
        let mut events = Vec::new();
        while let Some(event) = worker.wait(Duration::from_secs(30)) {
            events.push(event);
            if events.last().is_some_and(&wanted) {
                return events;
            }
        }
        panic!("waited in vain: {events:#?}");
    }

    fn last_plan(events: &[Event]) -> Planned {
        let of = |e: &Event| match e {
            Event::Planned(p) => Some((**p).clone()),
            _ => None,
        };
        events.iter().rev().find_map(of).unwrap()
    }

    fn dealt(events: &[Event]) -> Dealt {
        let of = |e: &Event| match e {
            Event::Dealt(d) => Some(d.clone()),
            _ => None,
        };
        events.iter().rev().find_map(of).unwrap()
    }

    fn your_call(e: &Event) -> bool {
        matches!(e, Event::State(TurnState::YourCall))
    }

    #[test]
    fn the_plan_chooses_learns_and_is_there_again_at_the_next_start() {
        let folder = tempfile::tempdir().unwrap();
        let site = crate::folders::load_site("larkmoor", None).unwrap().0;
        let step = site.step("ready").unwrap();
        let first = worker(folder.path());
        first.send(Command::LoadSite(SiteRequest("larkmoor".into())));
        first.send(Command::AddStudent {
            name: "Ilse".into(),
            consent: false,
            by: None,
        });
        until(&first, |e| matches!(e, Event::Student(Some(_))));
        // At once, while the record is still being read.
        first.send(Command::Next);
        let events = until(&first, your_call);
        let plan = last_plan(&events);
        assert!(matches!(plan.reason, Some(DealReason::New(_))), "{plan:?}");
        assert_eq!((plan.level, plan.by_record), (Level::Written, Some(Level::Written)));
        let new = plan.today.unwrap().new.len();
        let said = dealt(&events).situation;
        first.send(Command::Type(said.taught_call(&site, step)));
        let events = until(&first, |e| matches!(e, Event::Stored(_)));
        let left = last_plan(&events).today.unwrap();
        assert!(left.new.len() < new && left.due.is_empty(), "{left:?}");
        // Another situation than before, whatever it is.
        first.send(Command::Next);
        assert_ne!(dealt(&until(&first, your_call)).situation, said);
        drop(first);

        let second = worker(folder.path());
        second.send(Command::ChooseLevel(Some(Level::BusyField)));
        second.send(Command::LoadSite(SiteRequest("larkmoor".into())));
        second.send(Command::ChooseStudentByName("Ilse".into()));
        second.send(Command::Next);
        until(&second, |e| matches!(e, Event::Student(Some(_))));
        second.send(Command::Next);
        let plan = last_plan(&until(&second, your_call));
        assert_eq!(plan.today.unwrap(), left);
        assert_eq!((plan.level, plan.by_record), (Level::BusyField, Some(Level::Written)));
        assert!(plan.interruption.unwrap().starts_with("Winch"));
    }

    #[test]
    fn without_a_student_chance_deals_and_nothing_is_due() {
        let folder = tempfile::tempdir().unwrap();
        let worker = worker(folder.path());
        worker.send(Command::LoadSite(SiteRequest("erlengrund".into())));
        worker.send(Command::Next);
        let plan = last_plan(&until(&worker, your_call));
        assert_eq!((plan.reason, plan.today, plan.level), (None, None, Level::Written));
    }
}
