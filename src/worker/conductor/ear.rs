//! The ear drill: another pilot's call is dealt, spoken over the radio, asked about.

use super::kept::listened;
use super::{Activity, Conductor, What};
use crate::drill::deal::random;
use crate::drill::ear::deal_question;
use crate::sound::Radio;
use crate::voice::{self, Role};
use crate::worker::keeper;
use crate::worker::message::{Ear, EarRequest, Event};
use uuid::Uuid;

/// The call that is listened to.
pub(super) struct Listening {
    ear: Ear,
    seed: u64,
}

impl Conductor {
    /// Deals and plays the next call.
    pub(super) fn next_ear(&mut self, asked: EarRequest) {
        let Some((site, _)) = self.site.clone() else {
            self.out.known("no_site", "choose a site first", &[]);
            return;
        };
        let before = self.activity.ear().map(|l| l.ear.clone());
        self.abandon();
        // The low half of a random identifier is random in every bit but two of the highest.
        let seed = u64::from(Uuid::new_v4().as_u128() as u32);
        let situation = before.as_ref().map(|ear| &ear.task.situation);
        let dealt = site
            .ready_step()
            .and_then(|step| deal_question(&site, step, situation, asked.question, &mut random(seed)));
        let Some(task) = dealt else {
            let text = format!(
                "the site {} has no ready call to be heard, or no glider for it",
                site.id
            );
            self.out.known("cannot_deal", text, &[("site", site.name.clone())]);
            return;
        };
        let (number, right) = before.map_or((0, 0), |ear| (ear.number, ear.right));
        self.activity = Activity::Ear(Box::new(Listening {
            ear: Ear {
                task,
                difficulty: asked.difficulty,
                number: number + 1,
                answer: None,
                right,
                unheard: false,
            },
            seed,
        }));
        self.tell_ear();
        self.play_ear();
    }

    fn tell_ear(&self) {
        if let Some(listening) = self.activity.ear() {
            self.out.tell(Event::Ear(Box::new(listening.ear.clone())));
        }
    }

    /// The call over the radio, once more if wanted.
    pub(super) fn play_ear(&mut self) {
        self.stop_playing();
        let (Some(listening), Some((site, _))) = (self.activity.ear(), &self.site) else {
            return;
        };
        let (Some(speaker), Some(_)) = (&self.room.speaker, &self.room.player) else {
            let text = "there is no loudspeaker here, so nothing can be heard; choose one under Sound";
            self.out.known("no_loudspeaker", text, &[]);
            self.ear_played(false);
            return;
        };
        let line = voice::Line {
            text: listening.ear.task.text.clone(),
            clip: None,
            role: if listening.ear.number.is_multiple_of(2) {
                Role::OtherPilot
            } else {
                Role::Pilot
            },
            language: site.language,
        };
        let radio = Radio {
            hiss_dbfs: listening.ear.difficulty.hiss_dbfs(),
            seed: listening.seed,
            ..Radio::default()
        };
        self.room.speaking = Some((speaker.say(line, Some(radio)), What::Ear));
        self.out.tell(Event::Playing(true));
    }

    /// The call was played to its end, or could not be.
    pub(super) fn ear_played(&mut self, heard: bool) {
        let open = self.activity.ear_mut().filter(|l| l.ear.answer.is_none());
        if let Some(listening) = open.filter(|l| l.ear.unheard == heard) {
            listening.ear.unheard = !heard;
            self.tell_ear();
        }
    }

    /// Where the carrier came late the beginning of the call is not heard.
    pub(super) fn clip_start(&self, samples: Vec<f32>) -> Vec<f32> {
        match self.activity.ear() {
            Some(listening) => listening.ear.difficulty.clip_start(samples, crate::sound::RATE),
            None => samples,
        }
    }

    /// What the student heard. The first answer counts.
    pub(super) fn answer_ear(&mut self, choice: Option<&str>) {
        let Some(listening) = self.activity.ear_mut().filter(|l| l.ear.answer.is_none()) else {
            return;
        };
        let right = listening.ear.task.answered(choice) && !listening.ear.unheard;
        listening.ear.right += u32::from(right);
        listening.ear.answer = Some(choice.map(str::to_owned));
        let Ear {
            task,
            difficulty,
            unheard,
            ..
        } = listening.ear.clone();
        self.tell_ear();
        // What was read shows nothing about listening.
        if unheard {
            return;
        }
        if let Some((site, _)) = &self.site {
            let student = self.student.as_ref().map(|s| s.id);
            self.order(keeper::Order::Record {
                attempt: Box::new(listened(site, &task, difficulty, choice, student)),
                file: None,
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Setup, bench, desk};
    use super::*;
    use crate::logbook::Kind;
    use crate::site::{Site, bundled};
    use crate::worker::keeper::LogbookPlace;
    use crate::worker::outbox::Outbox;
    use std::sync::{Arc, mpsc};

    /// A conductor without devices and threads, and what it asks of the logbook.
    fn conductor() -> (Conductor, mpsc::Receiver<Event>, mpsc::Receiver<keeper::Order>) {
        let (events, told) = mpsc::channel();
        let (keeper, kept) = mpsc::channel();
        let setup = Setup {
            recordings: None,
            phrases: None,
            input: None,
            output: None,
            situation: None,
            direction: None,
            step: String::new(),
            sound: false,
        };
        let places = desk::Places::new(None, LogbookPlace::Memory);
        let bench = bench::Bench::new(mpsc::channel().0, mpsc::channel().0, places);
        let second: crate::worker::ears::Writer = Arc::new(|_, _, _| Ok(String::new()));
        let out = Outbox::new(events, || {});
        let mut conductor = Conductor::new(setup, out, mpsc::channel().0, keeper, bench, second);
        let site = Site::check(&bundled::files("larkmoor").unwrap()).unwrap();
        conductor.site = Some((Arc::new(site), None));
        (conductor, told, kept)
    }

    /// Calls are dealt one after the other, and the first answer to one that was heard counts.
    #[test]
    fn the_first_answer_to_what_was_heard_counts() {
        let (mut conductor, _told, kept) = conductor();
        for number in 1..4 {
            conductor.next_ear(EarRequest::default());
            conductor.ear_played(true);
            let dealt = conductor.activity.ear().unwrap().ear.clone();
            assert_eq!((dealt.number, &dealt.answer, dealt.unheard), (number, &None, false));
            conductor.answer_ear(dealt.task.right.as_deref());
            conductor.answer_ear(Some("nonsense"));
            let answered = &conductor.activity.ear().unwrap().ear;
            assert_eq!(
                (answered.answer.as_ref(), answered.right),
                (Some(&dealt.task.right), number)
            );
        }
        let kinds = kept.try_iter().filter_map(|order| match order {
            keeper::Order::Record { attempt, .. } => Some(attempt.part.kind),
            _ => None,
        });
        assert_eq!(kinds.collect::<Vec<_>>(), [Kind::Ear; 3]);
    }
}
