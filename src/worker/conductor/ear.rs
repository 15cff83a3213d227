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
        let right = listening.ear.task.answered(choice);
        listening.ear.right += u32::from(right);
        listening.ear.answer = Some(choice.map(str::to_owned));
        let Ear { task, difficulty, .. } = listening.ear.clone();
        self.tell_ear();
        if let Some((site, _)) = &self.site {
            let student = self.student.as_ref().map(|s| s.id);
            self.order(keeper::Order::Record {
                attempt: Box::new(listened(site, &task, difficulty, choice, student)),
                file: None,
            });
        }
    }
}
