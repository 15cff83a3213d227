//! What is played and recorded: lines of the other side, the student's own call, the sound room's events.

use super::{Conductor, LEVELS, What};
use crate::drill::TurnState;
use crate::site::Line;
use crate::sound::{Player, PlayerEvent, Recorded, Recorder, RecorderEvent};
use crate::voice::{self, Origin, Role, Speaker, VoiceEvent};
use crate::worker::keeper;
use crate::worker::message::Event;
use crate::worker::told::why;
use crate::worker::trial::TrialEvent;
use std::sync::mpsc::{self, Receiver};
use std::time::Instant;

impl Conductor {
    pub(super) fn play_prompt(&mut self) {
        let Some((_, step)) = self.step() else { return };
        let Some(run) = self.activity.run_mut() else { return };
        match run.turn.state {
            // A prompt in the middle of a turn is not part of it any more.
            TurnState::YourCall => run.turn.state = TurnState::Receiving,
            TurnState::Receiving => {}
            _ => return,
        }
        self.tell_state();
        match step.prompt {
            Some(line) => self.say(&line, What::Line),
            None => self.line_ended(Instant::now()),
        }
    }

    pub(super) fn play_answer(&mut self) {
        let line = self
            .activity
            .run()
            .filter(|r| !matches!(r.turn.state, TurnState::Transmitting | TurnState::Judging))
            .and_then(|r| r.answer.as_ref()?.line().cloned())
            .filter(|l| !l.text.is_empty());
        match line {
            Some(l) => {
                let line = Line {
                    role: l.role,
                    text: l.text,
                    clip: l.clip,
                };
                self.say(&line, What::Line);
            }
            None => self.line_ended(Instant::now()),
        }
    }

    pub(super) fn say(&mut self, line: &Line, what: What) {
        self.silence();
        let Some((site, folder)) = &self.site else {
            return;
        };
        let (Some(speaker), Some(_)) = (&self.room.speaker, &self.room.player) else {
            match what {
                What::Other => self.play_prompt(),
                _ => self.line_ended(Instant::now()),
            }
            return;
        };
        let role = Role::of(&line.role);
        let radio = role.on_radio();
        let line = voice::Line {
            text: line.text.clone(),
            clip: folder
                .as_ref()
                .zip(line.clip.as_ref())
                .map(|(folder, clip)| folder.join(clip)),
            role,
            language: site.language,
        };
        let channel = radio.then(|| super::planned::channel(self.activity.run()));
        self.room.speaking = Some((speaker.say(line, channel), what));
        self.out.tell(Event::Playing(true));
    }

    pub(super) fn play(&mut self, samples: Vec<f32>, what: What) {
        if let Some(player) = &self.room.player {
            self.room.playing = Some((player.play(samples), what));
            self.out.tell(Event::Playing(true));
        } else {
            self.sound_ended(what, Instant::now());
        }
    }

    /// Stops what plays or is about to; a line stopped counts as spoken.
    pub(super) fn stop_playing(&mut self) {
        match self.silence() {
            // Who speaks into another's call does not wait for the line behind it either.
            Some(What::Other | What::Line) => self.sound_ended(What::Line, Instant::now()),
            // A sentence of the trial that was stopped was not heard to its end.
            Some(What::Trial) => self.sound_ended(What::Aside, Instant::now()),
            Some(own) => self.sound_ended(own, Instant::now()),
            None => {}
        }
    }

    /// Stops what plays or is about to, and says what it was.
    pub(super) fn silence(&mut self) -> Option<What> {
        let speaking = self.room.speaking.take();
        let playing = self.room.playing.take();
        if speaking.is_some()
            && let Some(speaker) = &self.room.speaker
        {
            speaker.cancel();
        }
        if playing.is_some()
            && let Some(player) = &self.room.player
        {
            player.stop();
        }
        speaking.or(playing).map(|(_, what)| what)
    }

    pub(super) fn sound_ended(&mut self, what: What, at: Instant) {
        self.out.tell(Event::Playing(false));
        match what {
            What::Line => self.line_ended(at),
            What::Other => self.play_prompt(),
            What::Trial => self.out.tell(Event::Trial(TrialEvent::Said)),
            What::Own | What::OwnThenModel | What::Model | What::Aside | What::Noise | What::Ear => {}
        }
    }

    pub(super) fn line_ended(&mut self, at: Instant) {
        if self.activity.flight().is_some() {
            self.flight_line_ended(at);
            return;
        }
        let Some(run) = self.activity.run_mut() else { return };
        if run.turn.state == TurnState::Receiving {
            run.prompt_end = Some(at);
            run.turn.prompted();
            self.tell_state();
        }
    }

    pub(super) fn attend_to_sound(&mut self) {
        self.attend_to_voice();
        while let Some(event) = self.room.player.as_ref().and_then(Player::poll) {
            self.player_event(event);
        }
        while let Some(event) = self.room.recorder.as_ref().and_then(Recorder::poll) {
            self.recorder_event(event);
        }
        if let Some(answer) = self.room.devices.as_ref().map(Receiver::try_recv) {
            match answer {
                Ok(result) => {
                    self.room.devices = None;
                    match result {
                        Ok(list) => self.out.tell(Event::Devices(list)),
                        Err(e) => self.out.trouble(&e),
                    }
                }
                Err(mpsc::TryRecvError::Disconnected) => self.room.devices = None,
                Err(mpsc::TryRecvError::Empty) => {}
            }
        }
        let state = self.activity.flight().map(|f| f.state);
        let transmitting = state.or(self.activity.run().map(|r| r.turn.state)) == Some(TurnState::Transmitting);
        if (transmitting || self.room.watch_level)
            && self.room.microphone.is_some()
            && self.room.last_level.elapsed() >= LEVELS
            && let Some(recorder) = &self.room.recorder
        {
            self.room.last_level = Instant::now();
            self.out.tell(Event::Level(recorder.level()));
        }
    }

    pub(super) fn attend_to_voice(&mut self) {
        while let Some(event) = self.room.speaker.as_ref().and_then(Speaker::poll) {
            let (VoiceEvent::Spoken { id, .. } | VoiceEvent::Failed { id, .. }) = &event;
            let Some((_, what)) = self.room.speaking.take_if(|s| s.0 == *id) else {
                continue;
            };
            match event {
                VoiceEvent::Spoken { spoken, .. } => {
                    if let Origin::InsteadOfClip(e) = &spoken.origin {
                        let text = format!("The line is spoken by the synthesiser: {e}");
                        self.out.known("synthesised", text, &[("why", why(e))]);
                    }
                    let samples = match what {
                        What::Ear => self.clip_start(spoken.samples),
                        _ => spoken.samples,
                    };
                    self.play(samples, what);
                }
                VoiceEvent::Failed { error, .. } => {
                    self.out.trouble(&error);
                    self.not_played(what);
                    self.sound_ended(what, Instant::now());
                }
            }
        }
    }

    pub(super) fn player_event(&mut self, event: PlayerEvent) {
        match event {
            PlayerEvent::Started { .. } | PlayerEvent::Stopped { .. } => {}
            PlayerEvent::Finished { id, at } => {
                if let Some((_, what)) = self.room.playing.take_if(|p| p.0 == id) {
                    if what == What::Ear {
                        self.ear_played(true);
                    }
                    self.sound_ended(what, at);
                    if what == What::OwnThenModel {
                        self.play_model(false);
                    }
                }
            }
            PlayerEvent::Failed { id, error } => {
                if !self.room.mute {
                    self.room.mute = true;
                    self.out.known("loudspeaker_failed", &error, &[]);
                }
                if let Some((_, what)) = self.room.playing.take_if(|p| p.0 == id) {
                    self.not_played(what);
                    self.sound_ended(what, Instant::now());
                }
            }
        }
    }

    /// What was to be heard, and could not be.
    fn not_played(&mut self, what: What) {
        if what == What::Ear {
            self.ear_played(false);
        }
    }

    pub(super) fn recorder_event(&mut self, event: RecorderEvent) {
        match event {
            RecorderEvent::Ready { device, .. } => self.set_microphone(Some(device)),
            RecorderEvent::Failed(e) => {
                self.set_microphone(None);
                self.out.known("microphone_failed", &e, &[]);
            }
            RecorderEvent::Lost { device } => {
                self.set_microphone(None);
                let text = format!(
                    "The microphone \"{device}\" went away. Plug it in again or choose another one; calls can be typed."
                );
                self.out.known("microphone_lost", text, &[("device", device)]);
            }
            RecorderEvent::Recording => {}
            RecorderEvent::NotReady(text) => {
                self.not_taken();
                self.room.expecting = None;
                if let Some(run) = self.activity.run_mut() {
                    run.turn.cancel();
                }
                self.flight_cancelled();
                self.out.known("microphone_waits", text, &[]);
                self.tell_state();
            }
            RecorderEvent::Warning(trouble) => self.out.trouble(&trouble),
            RecorderEvent::Recorded(recorded) => self.recorded(*recorded),
        }
    }

    pub(super) fn set_microphone(&mut self, name: Option<String>) {
        if self.room.microphone != name {
            self.room.microphone.clone_from(&name);
            self.out.tell(Event::Microphone(name));
        }
    }

    pub(super) fn recorded(&mut self, recorded: Recorded) {
        let Recorded { clip, path } = recorded;
        let Some(clip) = self.taken(clip) else { return };
        let Some(began) = self.room.expecting.take() else {
            // Cancelled while it was being finished.
            if let Some(path) = path {
                keeper::remove(&path, &self.out);
            }
            return;
        };
        // The device went away, or the longest time was reached: nobody has let go of the key.
        self.spoken();
        let recording = path.as_ref().and_then(|p| p.file_name()?.to_str()?.parse().ok());
        self.out.tell(Event::Recorded {
            seconds: clip.seconds(),
            kept: path.is_some(),
        });
        self.hear(clip, recording, path, began);
    }
}
