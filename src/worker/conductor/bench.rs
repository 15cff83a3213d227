//! Sound outside a turn: lines of the phrase desk, prompts being recorded, the trial of microphone and loudspeaker.

use super::{Conductor, Message, What};
use crate::call::{Outcome, Vocabulary, judge, judge::Limits};
use crate::site::{Site, bundled};
use crate::sound::{Clip, Radio};
use crate::voice::{self, Role, prompt::prompt};
use crate::worker::desk::{self, DeskCommand, DeskEvent, Places};
use crate::worker::ears;
use crate::worker::fetch::Fetch;
use crate::worker::inbox::Heard;
use crate::worker::message::{Command, Event, ModelState, SiteRequest};
use crate::worker::told::{Told, why};
use crate::worker::trial::{self, TrialCommand, TrialEvent};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::sync::mpsc::Sender;

/// What is recorded outside a turn.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Taken {
    /// A prompt of a site, for this place in its folder.
    Prompt { id: String, name: String },
    /// The trial.
    Trial,
}

/// The conductor's things for it.
pub(super) struct Bench {
    desk: Sender<desk::Order>,
    to_self: Sender<Message>,
    places: Places,
    taking: Option<Taken>,
    /// What the trial heard last, and the job in which it is transcribed.
    trial: Option<Arc<Clip>>,
    /// The site whose call was asked for in it.
    site: Option<Arc<Site>>,
    job: Option<u64>,
    fetch: Option<Fetch>,
}

impl Bench {
    pub(super) fn new(desk: Sender<desk::Order>, to_self: Sender<Message>, places: Places) -> Self {
        Self {
            desk,
            to_self,
            places,
            taking: None,
            trial: None,
            site: None,
            job: None,
            fetch: None,
        }
    }

    /// Something is being recorded here.
    pub(super) fn busy(&self) -> bool {
        self.taking.is_some()
    }

    /// Is this job the trial's?
    pub(super) fn owns(&self, job: u64) -> bool {
        self.job == Some(job)
    }

    pub(super) fn quit(&mut self) {
        self.fetch = None;
        // The thread may have ended already.
        let _ = self.desk.send(desk::Order::Quit);
    }
}

impl Conductor {
    pub(super) fn desk(&mut self, command: DeskCommand) {
        match command {
            DeskCommand::Hear { line, id, language } => {
                let role = Role::of(&line.role);
                let clip = line.clip.as_ref().and_then(|c| self.bench.places.recording(&id, c));
                self.say_aside(
                    voice::Line {
                        text: line.text,
                        clip,
                        role,
                        language,
                    },
                    What::Aside,
                );
            }
            DeskCommand::Record { id, name } => {
                if self.take_sound(Taken::Prompt { id, name: name.clone() }) {
                    self.out.tell(Event::Desk(DeskEvent::Recording { name }));
                } else {
                    self.out.tell(Event::Desk(DeskEvent::NotRecorded { name }));
                }
            }
            DeskCommand::RecordingDone => self.taking_done(),
            DeskCommand::RecordingCancelled => self.taking_cancelled(),
            other => desk::send(&self.bench.desk, desk::Order::Command(other), &self.out),
        }
    }

    pub(super) fn trial(&mut self, command: TrialCommand) {
        match command {
            TrialCommand::Say { text, language } => {
                let line = voice::Line {
                    text,
                    clip: None,
                    role: Role::Instructor,
                    language,
                };
                self.say_aside(line, What::Trial);
            }
            TrialCommand::Listen => {
                let listening = self.take_sound(Taken::Trial);
                let event = if listening {
                    TrialEvent::Listening
                } else {
                    TrialEvent::NotListening
                };
                self.out.tell(Event::Trial(event));
            }
            TrialCommand::Enough => self.taking_done(),
            TrialCommand::Play => {
                if let Some(clip) = self.bench.trial.clone() {
                    self.stop_playing();
                    self.play(clip.samples.clone(), What::Aside);
                }
            }
            TrialCommand::End => {
                self.taking_cancelled();
                self.bench.trial = None;
                self.bench.job = None;
            }
        }
    }

    /// Speak a line that belongs to no turn.
    fn say_aside(&mut self, line: voice::Line, what: What) {
        self.stop_playing();
        let (Some(speaker), Some(_)) = (&self.room.speaker, &self.room.player) else {
            let text = "there is no loudspeaker here; choose one on the page about sound";
            self.out.known("no_loudspeaker", text, &[]);
            return;
        };
        let radio = (what == What::Aside && line.role.on_radio()).then(Radio::default);
        self.room.speaking = Some((speaker.say(line, radio), what));
        self.out.tell(Event::Playing(true));
    }

    /// Begin to record outside a turn; a call being made is thrown away first.
    fn take_sound(&mut self, taken: Taken) -> bool {
        self.cancel();
        self.stop_playing();
        if self.bench.busy() {
            self.taking_cancelled();
        }
        let Some(recorder) = self.room.recorder.as_ref().filter(|_| self.room.microphone.is_some()) else {
            let text = "no microphone is available; choose one on the page about sound";
            self.out.known("no_microphone", text, &[]);
            return false;
        };
        recorder.press(None, None);
        self.bench.taking = Some(taken);
        true
    }

    fn taking_done(&mut self) {
        if let Some(recorder) = self.room.recorder.as_ref().filter(|_| self.bench.busy()) {
            recorder.release();
        }
    }

    pub(super) fn taking_cancelled(&mut self) {
        if self.bench.taking.is_some()
            && let Some(recorder) = &self.room.recorder
        {
            recorder.cancel();
        }
        self.not_taken();
    }

    /// What was being recorded outside a turn comes to nothing.
    pub(super) fn not_taken(&mut self) {
        match self.bench.taking.take() {
            Some(Taken::Prompt { name, .. }) => self.out.tell(Event::Desk(DeskEvent::NotRecorded { name })),
            Some(Taken::Trial) => self.out.tell(Event::Trial(TrialEvent::NotListening)),
            None => {}
        }
    }

    /// A recording that was made outside a turn. Gives it back where none was being made.
    pub(super) fn taken(&mut self, clip: Clip) -> Option<Clip> {
        match self.bench.taking.take() {
            None => return Some(clip),
            Some(Taken::Prompt { id, name }) => match prompt(&clip) {
                Ok(samples) => {
                    self.play(samples.clone(), What::Aside);
                    desk::send(&self.bench.desk, desk::Order::Prompt { id, name, samples }, &self.out);
                }
                Err(e) => {
                    self.out.trouble(&e);
                    self.out.tell(Event::Desk(DeskEvent::NotRecorded { name }));
                }
            },
            Some(Taken::Trial) => self.trial_recorded(clip),
        }
        None
    }

    fn trial_recorded(&mut self, clip: Clip) {
        self.out.tell(Event::Trial(TrialEvent::Recorded {
            levels: clip.levels,
            seconds: clip.seconds(),
            troubles: clip.troubles.clone(),
        }));
        let clip = Arc::new(clip);
        self.bench.trial = Some(clip.clone());
        if let ModelState::Missing(why) = &self.model {
            self.out.tell(Event::Trial(TrialEvent::NotHeard(why.clone())));
            return;
        }
        let site = match &self.site {
            Some((site, _)) => Some(site.clone()),
            None => bundled::files("larkmoor")
                .and_then(|f| Site::check(&f).ok())
                .map(Arc::new),
        };
        let Some(site) = site else { return };
        let Some(vocabulary) = trial::call(&site).map(|(step, _)| Vocabulary::of(&site, step)) else {
            return;
        };
        self.bench.site = Some(site);
        self.jobs += 1;
        self.bench.job = Some(self.jobs);
        // The recogniser's thread ends only with this one.
        let _ = self.ears.send(ears::Order::Hear {
            job: self.jobs,
            clip,
            vocabulary: Box::new(vocabulary),
            cancel: Arc::new(AtomicBool::new(false)),
        });
    }

    pub(super) fn trial_heard(&mut self, result: Heard) {
        self.bench.job = None;
        let event = match result {
            Ok((evidence, _)) => {
                let read = evidence.readings.first().map(|r| r.reading.words.join(" "));
                let read = read.filter(|t| !t.is_empty());
                let site = self.bench.site.take();
                let judged = site.as_ref().and_then(|site| {
                    let (step, situation) = trial::call(site)?;
                    Some(judge(site, step, &situation, &evidence, &Limits::DEFAULT).outcome)
                });
                TrialEvent::Heard {
                    text: read.unwrap_or_else(|| evidence.transcript.trim().to_owned()),
                    whole: judged == Some(Outcome::Pass),
                }
            }
            Err(e) => TrialEvent::NotHeard(e.told()),
        };
        self.out.tell(Event::Trial(event));
    }

    /// A site changed on disk: the list is made anew, and the site in use is loaded again.
    pub(super) fn site_changed(&mut self, id: &str) {
        self.list_sites();
        if self.site.as_ref().is_some_and(|(site, _)| site.id == id) {
            self.load_site(&SiteRequest(id.to_owned()));
        }
    }

    pub(super) fn fetch_model(&mut self, place: Option<String>) {
        let to_self = self.bench.to_self.clone();
        let done = move || {
            // The worker may have ended.
            let _ = to_self.send(Message::Command(Command::LoadModel));
        };
        match Fetch::start(self.out.clone(), place, done) {
            Ok(fetch) => self.bench.fetch = Some(fetch),
            Err(e) => {
                let text = format!("could not start a thread ({e}); close other programs");
                self.out.known("no_thread", text, &[("why", why(&e))]);
            }
        }
    }

    pub(super) fn cancel_fetch(&mut self) {
        self.bench.fetch = None;
    }
}
