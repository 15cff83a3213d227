//! The student's calls, newest first, to be heard again, with what an instructor said of them.

use super::date;
use crate::call::{Outcome, Verdict};
use crate::logbook::AttemptSummary;
use crate::site::Site;
use crate::window::look;
use crate::window::page::Given;
use crate::worker::{Command, NEWEST_CALLS};
use eframe::egui::{Button, Label, Ui};

/// Calls listed until more are asked for, and by how many it grows: what is read at a glance.
const AT_FIRST: usize = 40;

/// The calls the page knows.
#[derive(Debug, Default)]
pub(super) struct Calls {
    all: Vec<AttemptSummary>,
    listed: Listed,
    /// So many are shown, once more were asked for.
    room: usize,
}

/// Which calls are listed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum Listed {
    #[default]
    All,
    NotRight,
    SetAside,
}

impl Calls {
    pub(super) fn show(&mut self, calls: &[AttemptSummary]) {
        self.all = calls.to_vec();
        self.room = 0;
    }

    /// The calls, newest first, to be heard again.
    pub(super) fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>, site: Option<&Site>) {
        let words = given.words;
        ui.heading(words.say("progress.calls"));
        ui.horizontal_wrapped(|ui| {
            for (listed, key) in [
                (Listed::All, "progress.all"),
                (Listed::NotRight, "progress.not_right"),
                (Listed::SetAside, "progress.set_aside"),
            ] {
                if ui
                    .add(Button::new(words.say(key)).selected(self.listed == listed))
                    .clicked()
                {
                    self.listed = listed;
                }
            }
            if given.shown.playing && ui.button(words.say("verdicts.stop")).clicked() {
                given.ask(Command::StopPlaying);
            }
        });
        let counted = |c: &AttemptSummary| c.overruled_outcome.unwrap_or(c.outcome);
        let listed = self.listed;
        let wanted = self.all.iter().filter(|c| match listed {
            Listed::All => true,
            Listed::NotRight => counted(c) != Outcome::Pass && !c.held_out,
            Listed::SetAside => c.held_out,
        });
        let wanted: Vec<&AttemptSummary> = wanted.collect();
        if wanted.is_empty() {
            ui.label(words.say("progress.no_such_calls"));
        }
        for call in wanted.iter().take(self.room.max(AT_FIRST)) {
            let offset = jiff::tz::Offset::from_seconds(call.utc_offset_seconds).unwrap_or(jiff::tz::Offset::UTC);
            let at = offset.to_datetime(call.started_at);
            let when = format!("{}, {}", date(words, at.date()), at.strftime("%H:%M"));
            let title = site
                .and_then(|s| s.step(&call.step))
                .map_or_else(|| call.step.clone(), |s| s.title.clone());
            ui.horizontal_wrapped(|ui| {
                if let Some(name) = call.recording {
                    let play = ui.button(words.say("progress.play"));
                    if play.on_hover_text(format!("{title}, {when}")).clicked() {
                        given.ask(Command::PlayKept(name));
                    }
                }
                ui.label(look::remark(when));
                ui.label(title);
                if call.held_out {
                    look::signed(ui, Verdict::Unsure, words.say("outcome.set_aside"));
                } else {
                    let outcome = counted(call);
                    look::signed(ui, look::outcome_sign(outcome), words.say(look::outcome_key(outcome)));
                }
            });
            if let Some(why) = &call.overruled_why {
                ui.add(Label::new(look::remark(words.fill("progress.overruled", &[("why", why)]))).wrap());
            }
        }
        let all_shown = wanted.len() <= self.room.max(AT_FIRST);
        if all_shown && wanted.len() > AT_FIRST {
            let n = NEWEST_CALLS.to_string();
            ui.add(Label::new(look::remark(words.fill("progress.newest", &[("n", &n)]))).wrap());
        }
        if !all_shown && ui.button(words.say("progress.older")).clicked() {
            self.room = self.room.max(AT_FIRST) + AT_FIRST;
        }
    }
}
