//! The first start: site, name and consent, speech model, and a trial of the sound that proves itself. Each can be left out and
//! done later.

mod model;

use self::model::ModelStep;
use super::look;
use super::notices;
use super::page::{Content, Given, Page};
use super::place::SitePage;
use super::practice;
use super::reasons;
use super::settings::Settings;
use super::shown::Shown;
use super::sides;
use super::sound::Sound;
use super::student::StudentPage;
use super::words::Words;
use crate::site::Language;
use crate::sound::Levels;
use crate::worker::trial::{self, TrialCommand, TrialEvent};
use crate::worker::{Command, Event, ModelState, Trouble};
use eframe::egui::{Button, CollapsingHeader, Label, RichText, Ui};
use std::time::Duration;

/// The trial listens for this long, seconds, unless it is told that enough was said.
const LISTENS: f64 = 10.0;
/// A noise floor above this is a noisy room, dBFS.
const NOISY_DBFS: f32 = -45.0;
/// Peaks from this on are loud enough, dBFS.
const LOUD_ENOUGH_DBFS: f32 = -30.0;

/// Height kept for the trial, points.
const TRIAL: f32 = 230.0;

/// The steps, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum Step {
    #[default]
    Site,
    Name,
    Model,
    Sound,
}

const STEPS: [(Step, &str); 4] = [
    (Step::Site, "first.step_site"),
    (Step::Name, "first.step_name"),
    (Step::Model, "first.step_model"),
    (Step::Sound, "first.step_sound"),
];

/// Where the trial is.
#[derive(Debug, Clone, Default)]
enum Trial {
    #[default]
    NotYet,
    Speaking,
    /// Listening, since when by the window's clock.
    Listening(Option<f64>),
    Waiting,
    Failed,
    Recorded {
        levels: Levels,
        seconds: f64,
        troubles: Vec<crate::sound::ClipTrouble>,
        heard: Option<Result<(String, bool), Trouble>>,
    },
}

/// The page.
#[derive(Default)]
pub struct FirstPage {
    step: Step,
    student: StudentPage,
    site: SitePage,
    model: ModelStep,
    trial: Trial,
    waiting: Vec<Command>,
}

impl Content for FirstPage {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        for command in self.waiting.drain(..) {
            given.ask(command);
        }
        let words = given.words;
        ui.horizontal_wrapped(|ui| {
            ui.heading(words.say("first.heading"));
            for (language, name) in Words::ALL {
                if ui.add(Button::selectable(words == language, name)).clicked() {
                    given.set(|s: &mut Settings| s.words = Some(language));
                }
            }
        });
        ui.label(words.say("first.about"));
        self.steps(ui, given);
        ui.separator();
        match self.step {
            Step::Site => {
                self.site.ui(ui, given);
                ui.label(look::remark(words.say("first.own_site")));
            }
            Step::Name => self.student.ui(ui, given),
            Step::Model => self.model.ui(ui, given),
            Step::Sound => self.try_sound(ui, given),
        }
        ui.separator();
        self.onward(ui, given);
    }

    fn take(&mut self, event: &Event) {
        match event {
            Event::Fetch(state) => self.model.fetch = Some(state.clone()),
            Event::Trial(event) => self.tried(event),
            // What was chosen is not asked again.
            Event::SiteLoaded(_) if self.step == Step::Site => self.step = Step::Name,
            Event::Student(student)
                if self.step == Step::Name && student.as_ref().is_none_or(|s| s.consent.is_some()) =>
            {
                self.go(Step::Model);
            }
            _ => {}
        }
    }

    fn part(&self) -> usize {
        STEPS.iter().position(|(s, _)| *s == self.step).unwrap_or(0)
    }

    fn opened(&mut self, shown: &Shown) -> Vec<Command> {
        self.step = if shown.site.is_none() {
            Step::Site
        } else if !shown.who.may_practise() {
            Step::Name
        } else if matches!(shown.model, ModelState::Missing(_)) {
            Step::Model
        } else {
            Step::Sound
        };
        vec![Command::WatchLevel(true), Command::ListDevices]
    }

    fn left(&mut self, _: &Shown) -> Vec<Command> {
        self.trial = Trial::NotYet;
        vec![Command::Trial(TrialCommand::End), Command::WatchLevel(false)]
    }
}

impl FirstPage {
    /// A model's file was dropped on the window: it is taken in, and this page shows how that goes.
    pub fn take_model(&mut self, file: String) {
        self.model.given(&file);
        self.step = Step::Model;
        self.waiting.push(Command::TakeModel(file));
    }

    fn go(&mut self, step: Step) {
        self.step = step;
    }

    fn tried(&mut self, event: &TrialEvent) {
        match event {
            TrialEvent::Said if matches!(self.trial, Trial::Speaking) => {
                self.trial = Trial::Waiting;
                self.waiting.push(Command::Trial(TrialCommand::Listen));
            }
            TrialEvent::Said => {}
            TrialEvent::Listening => self.trial = Trial::Listening(None),
            TrialEvent::NotListening => {
                if matches!(self.trial, Trial::Waiting | Trial::Listening(_)) {
                    self.trial = Trial::Failed;
                }
            }
            TrialEvent::Recorded {
                levels,
                seconds,
                troubles,
            } => {
                self.trial = Trial::Recorded {
                    levels: *levels,
                    seconds: *seconds,
                    troubles: troubles.clone(),
                    heard: None,
                };
                // What was heard is played back without being asked.
                self.waiting.push(Command::Trial(TrialCommand::Play));
            }
            TrialEvent::Heard { text, whole } => self.heard_as(Ok((text.clone(), *whole))),
            TrialEvent::NotHeard(why) => self.heard_as(Err(why.clone())),
        }
    }

    fn heard_as(&mut self, result: Result<(String, bool), Trouble>) {
        if let Trial::Recorded { heard, .. } = &mut self.trial {
            *heard = Some(result);
        }
    }

    /// The steps with what is done of them; each can be gone to.
    fn steps(&mut self, ui: &mut Ui, given: &Given<'_>) {
        let words = given.words;
        ui.horizontal_wrapped(|ui| {
            for (n, (step, key)) in STEPS.into_iter().enumerate() {
                let done = self.done(step, given.shown);
                let mut text = format!("{}. {}", n + 1, words.say(key));
                if done {
                    text = format!("{text} ({})", words.say("first.done"));
                }
                if ui.add(Button::selectable(self.step == step, text)).clicked() {
                    self.step = step;
                }
            }
        });
    }

    fn done(&self, step: Step, shown: &Shown) -> bool {
        match step {
            Step::Site => shown.site.is_some(),
            Step::Name => shown.who.may_practise(),
            Step::Model => matches!(shown.model, ModelState::Ready(_)),
            Step::Sound => matches!(&self.trial, Trial::Recorded { levels, .. } if good(levels)),
        }
    }

    /// Back, onward, and at the end to practice.
    fn onward(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        let at = STEPS.iter().position(|(s, _)| *s == self.step).unwrap_or(0);
        let ready = given.shown.site.is_some() && given.shown.who.may_practise();
        ui.horizontal_wrapped(|ui| {
            if at > 0 && ui.button(words.say("first.back")).clicked() {
                self.step = STEPS[at - 1].0;
            }
            if let Some((next, _)) = STEPS.get(at + 1) {
                let key = if self.done(self.step, given.shown) {
                    "first.next"
                } else {
                    "first.later"
                };
                if ui.button(words.say(key)).clicked() {
                    self.step = *next;
                }
            }
            if at + 1 == STEPS.len() || ready {
                let begin = ui.add_enabled(ready, Button::new(words.say("first.begin")));
                // Where there is nothing to try, or it was tried, this is what comes next.
                if at + 1 == STEPS.len() {
                    given.main(ui, &begin);
                }
                if begin.clicked() {
                    given.go(Page::Practice);
                }
            }
        });
        if at + 1 == STEPS.len() && !ready {
            ui.label(look::remark(words.say("first.not_ready")));
        }
    }

    fn try_sound(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        // Beside each other, so that the trial is in sight in a low window too.
        if sides::fit(ui) {
            ui.columns(2, |columns| {
                if let [left, right] = columns {
                    // (A column stretches what stands in it by itself.)
                    left.vertical(|ui| Sound::devices(ui, given));
                    right.vertical(|ui| self.trial(ui, given));
                }
            });
        } else {
            Sound::devices(ui, given);
            ui.separator();
            self.trial(ui, given);
        }
    }

    fn trial(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        ui.heading(words.say("first.trial"));
        if given.shown.microphone.is_none() && matches!(self.trial, Trial::NotYet | Trial::Failed) {
            ui.add(Label::new(words.say("first.no_microphone")).wrap());
            return;
        }
        // What is below must not jump under the pointer as the trial goes on: it has room for all that it may come to say.
        ui.scope(|ui| {
            ui.set_min_height(TRIAL);
            self.try_out(ui, given);
        });
    }

    fn try_out(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        // The call is judged in the site's language, so it is spoken in it.
        let language = given.shown.site.as_ref().map_or(Language::ENGLISH, |s| s.language);
        let spoken = Words::of_language(language);
        let asked = given
            .shown
            .site
            .as_deref()
            .and_then(|s| trial::call(s).map(|(step, x)| x.taught_call(s, step)));
        let Some(call) = asked.as_deref() else {
            ui.label(words.say("practice.not_ready"));
            return;
        };
        let mut again = false;
        match &mut self.trial {
            Trial::NotYet => {
                ui.add(Label::new(words.fill("first.trial_about", &[("call", call)])).wrap());
                let begin = look::add_primary(ui, true, words.say("first.trial_begin"));
                given.main(ui, &begin);
                again = begin.clicked();
            }
            Trial::Speaking | Trial::Waiting => {
                ui.label(words.say("first.trial_speaking"));
            }
            Trial::Listening(since) => {
                let now = ui.input(|i| i.time);
                let since = *since.get_or_insert(now);
                let say = RichText::new(words.fill("first.trial_say", &[("call", call)])).text_style(look::title());
                ui.add(Label::new(say).wrap());
                practice::level_bar(ui, words, given.shown.level, false);
                let enough = look::add_primary(ui, true, words.say("first.trial_enough"));
                let enough = enough.clicked();
                if enough || now - since > LISTENS {
                    given.ask(Command::Trial(TrialCommand::Enough));
                    self.trial = Trial::Waiting;
                } else {
                    let rest = (LISTENS - (now - since)).clamp(0.05, LISTENS);
                    ui.ctx().request_repaint_after(Duration::from_secs_f64(rest));
                }
            }
            Trial::Failed => {
                ui.label(words.say("first.trial_failed"));
                again = ui.button(words.say("first.trial_again")).clicked();
            }
            Trial::Recorded {
                levels,
                seconds,
                troubles,
                heard,
            } => {
                understood(ui, words, heard.as_ref());
                result(ui, words, levels, *seconds, troubles);
                ui.horizontal_wrapped(|ui| {
                    if ui.button(words.say("first.trial_play")).clicked() {
                        given.ask(Command::Trial(TrialCommand::Play));
                    }
                    again = ui.button(words.say("first.trial_again")).clicked();
                });
            }
        }
        if again {
            self.trial = Trial::Speaking;
            given.ask(Command::Trial(TrialCommand::Say {
                text: spoken.fill("first.trial_sentence", &[("call", call)]),
                language,
            }));
        }
    }
}

fn good(levels: &Levels) -> bool {
    levels.peak_dbfs >= LOUD_ENOUGH_DBFS && levels.clipped < 0.001
}

/// What was measured, each number with the word for it and what to do.
fn result(ui: &mut Ui, words: Words, levels: &Levels, seconds: f64, troubles: &[crate::sound::ClipTrouble]) {
    let dark = ui.visuals().dark_mode;
    let rows = [
        (
            "first.loudest",
            format!("{:.0} dBFS", levels.peak_dbfs),
            if levels.peak_dbfs >= LOUD_ENOUGH_DBFS {
                ("first.loud_enough", true)
            } else {
                ("first.too_quiet", false)
            },
        ),
        (
            "first.floor",
            format!("{:.0} dBFS", levels.floor_dbfs),
            if levels.floor_dbfs <= NOISY_DBFS {
                ("first.room_quiet", true)
            } else {
                ("first.room_noisy", false)
            },
        ),
        (
            "first.clipping",
            format!("{} %", words.language().decimal(100.0 * levels.clipped, 1)),
            if levels.clipped < 0.001 {
                ("first.not_clipped", true)
            } else {
                ("first.clipped", false)
            },
        ),
    ];
    // The word for each comes first; the numbers are for whoever sets a microphone up.
    for (name, _, (word, fine)) in &rows {
        ui.horizontal_wrapped(|ui| {
            ui.label(words.say(name));
            let colour = if *fine { look::good(dark) } else { look::trouble(dark) };
            ui.label(look::bold(words.say(word)).color(colour));
        });
    }
    CollapsingHeader::new(words.say("first.measured"))
        .id_salt("measured")
        .show(ui, |ui| {
            for (name, value, _) in &rows {
                ui.label(format!("{}: {value}", words.say(name)));
            }
            ui.label(format!(
                "{}: {} s",
                words.say("first.length"),
                words.language().decimal(seconds as f32, 1)
            ));
        });
    for trouble in troubles {
        ui.colored_label(look::trouble(dark), reasons::trouble(words, trouble));
    }
}

fn understood(ui: &mut Ui, words: Words, heard: Option<&Result<(String, bool), Trouble>>) {
    let dark = ui.visuals().dark_mode;
    match heard {
        None => {
            ui.label(words.say("first.listening"));
        }
        Some(Err(why)) => {
            ui.add(Label::new(words.fill("first.not_heard", &[("why", &notices::text(words, why))])).wrap());
        }
        Some(Ok((text, whole))) => {
            let (key, colour) = if *whole {
                ("first.understood", look::good(dark))
            } else {
                ("first.misunderstood", look::trouble(dark))
            };
            let shown = if text.is_empty() { "\u{2026}" } else { text };
            let text = RichText::new(words.fill(key, &[("text", shown)]))
                .color(colour)
                .heading();
            ui.add(Label::new(text).wrap());
        }
    }
}

#[cfg(test)]
mod tests;
