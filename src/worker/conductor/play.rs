//! What is listened to again after a call: the student's own, a part of it, the call as it should be.

use super::{Conductor, What};
use crate::drill::TurnState;
use crate::logbook::RecordingName;
use crate::sound::{self, Clip, RATE};
use crate::voice::{self, Role};
use crate::worker::keeper;
use crate::worker::meeting::ClassCommand;
use crate::worker::message::Event;
use crate::worker::told::why;
use std::sync::Arc;

/// Sound before and after a part, seconds: a word cut off to the sample is hard to know again.
const AROUND: f32 = 0.06;

impl Conductor {
    /// The call there is to listen to, unless one is being made.
    fn own(&mut self) -> Option<Arc<Clip>> {
        let state = match (self.activity.flight(), self.activity.run()) {
            // In a launch the student's last call is heard again in the debrief, and nowhere else.
            (Some(flight), _) if flight.state == TurnState::Done => TurnState::Done,
            (None, Some(run)) => run.turn.state,
            _ => return None,
        };
        if matches!(state, TurnState::Transmitting | TurnState::Judging) {
            return None;
        }
        if self.own.is_none() {
            self.out
                .known("nothing_spoken", "there is no spoken call to play yet", &[]);
        }
        self.own.clone()
    }

    pub(super) fn play_own(&mut self, what: What) {
        if let Some(clip) = self.own() {
            self.stop_playing();
            self.play(clip.samples.clone(), what);
        }
    }

    pub(super) fn play_part(&mut self, begin: f32, end: f32) {
        let Some(clip) = self.own() else { return };
        self.stop_playing();
        self.play(part(&clip.samples, begin, end).to_vec(), What::Own);
    }

    /// The student's call of this number in the launch.
    pub(super) fn play_flown(&mut self, n: usize) {
        let Some(flight) = self.activity.flight().filter(|f| f.state == TurnState::Done) else {
            return;
        };
        if let Some(clip) = flight.clip(n).cloned() {
            self.stop_playing();
            self.play(clip.samples.clone(), What::Own);
        }
    }

    /// A recording that was kept.
    pub(super) fn play_kept(&mut self, name: RecordingName) {
        let Some(folder) = &self.setup.recordings else { return };
        match sound::read_clip(&name.path(folder)) {
            Ok(clip) => {
                self.stop_playing();
                self.play(clip.samples, What::Aside);
            }
            Err(e) => self.out.known("recording_unread", &e, &[("why", why(&e))]),
        }
    }

    pub(super) fn play_model(&mut self, slow: bool) {
        let (Some((site, step)), Some(run)) = (self.step(), self.activity.run()) else {
            return;
        };
        if matches!(run.turn.state, TurnState::Transmitting | TurnState::Judging) {
            return;
        }
        let line = voice::Line {
            text: run.turn.situation.taught_call(&site, &step),
            clip: None,
            role: if slow { Role::Slow } else { Role::of(&step.speaker) },
            language: site.language,
        };
        self.stop_playing();
        if !self.voice_says(line) {
            let text = "nothing can be played here: there is no loudspeaker";
            self.out.known("no_loudspeaker", text, &[]);
        }
    }

    /// Has the voice say something; false where nothing can be heard.
    fn voice_says(&mut self, line: voice::Line) -> bool {
        let (Some(speaker), Some(_)) = (&self.room.speaker, &self.room.player) else {
            return false;
        };
        self.room.speaking = Some((speaker.say(line, None), What::Model));
        self.out.tell(Event::Playing(true));
        true
    }

    /// Something of a class.
    pub(super) fn class(&mut self, command: ClassCommand) {
        let site = self.site.as_ref().map(|(site, _)| site.clone());
        match (command, site) {
            (ClassCommand::Call(name), Some(site)) => {
                self.abandon();
                // The screen says the same, so without a loudspeaker nothing is amiss.
                self.voice_says(voice::Line {
                    text: site.language.text("class.call", &[("name", &name)]),
                    clip: None,
                    role: Role::Instructor,
                    language: site.language,
                });
            }
            (command, site) => self.order(keeper::Order::Class { command, site }),
        }
    }
}

/// The samples from one time to another, with a little around them. Times outside the clip are brought into it.
fn part(samples: &[f32], begin: f32, end: f32) -> &[f32] {
    let at = |seconds: f32| ((seconds.max(0.0) * RATE as f32) as usize).min(samples.len());
    let (from, to) = (at(begin - AROUND), at(end + AROUND));
    samples.get(from..to).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::part;

    #[test]
    fn a_part_is_cut_with_a_little_around_it_and_never_outside_the_clip() {
        let samples: Vec<f32> = (0..16_000_u16).map(f32::from).collect();
        let cut = part(&samples, 0.25, 0.5);
        assert_eq!((cut[0], cut.len()), (3040.0, 5920));
        assert_eq!(part(&samples, -3.0, 90.0).len(), samples.len());
        for (begin, end) in [(0.9, 0.2), (7.0, 8.0), (f32::NAN, f32::NAN)] {
            assert!(part(&samples, begin, end).len() < 2000, "{begin} {end}");
        }
    }
}
