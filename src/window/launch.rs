//! A whole launch: role and pace are chosen, the others speak, the student talks, types or uses the hand; the time line grows
//! beside it and is the debrief at the end.

use super::page::{Content, Given};
use super::scene::{self, Level, View};
use super::shown::Shown;
use super::talk::{self, Moved, Talk};
use super::words::{Words, capital};
use super::{look, practice, sides, typed};
use crate::drill::launch::{PILOT, WINCH_DRIVER, roles};
use crate::drill::{Ending, Entry, Pace, TurnState, debrief};
use crate::site::Site;
use crate::worker::{Command, Flown, LaunchRequest, ModelState};
use eframe::egui::{Button, Label, RichText, ScrollArea, Ui};

/// What stands above and below the picture, points.
const BESIDES: f32 = 470.0;
/// Least height of the picture, points.
const LEAST: f32 = 150.0;

/// The page's drafts.
#[derive(Debug, Default)]
pub struct LaunchPage {
    role: Option<String>,
    pace: Pace,
    talk: Talk,
    typed: String,
    /// The number of the next launch; another one each time if absent.
    pub seed: Option<u64>,
}

impl Content for LaunchPage {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let shown = given.shown;
        let Some(site) = shown.site.as_deref() else {
            ui.label(given.words.say("practice.not_ready"));
            return;
        };
        let Some(flown) = &shown.launch else {
            ScrollArea::vertical().show(ui, |ui| self.choose(ui, given, site));
            return;
        };
        let high = ui.available_height();
        if sides::fit(ui) {
            sides::left(ui, "launch", |ui| {
                if flown.ending.is_none() && sides::controls_stay(high) {
                    sides::controls(ui, "launch talking", |ui| self.talking(ui, given, site, flown));
                    sides::scrolls(ui, "launch now", |ui| now(ui, given, site, flown, high));
                } else {
                    sides::scrolls(ui, "launch now", |ui| self.all(ui, given, site, flown, high));
                }
            });
            sides::right(ui, "time line", |ui| time_line(ui, given.words, site, flown));
        } else {
            sides::scrolls(ui, "launch all", |ui| {
                self.all(ui, given, site, flown, high);
                ui.separator();
                time_line(ui, given.words, site, flown);
            });
        }
    }

    fn left(&mut self, shown: &Shown) -> Vec<Command> {
        // Nobody goes on speaking to somebody who reads another page; a debrief stays.
        let under_way = shown.launch.as_ref().is_some_and(|f| f.ending.is_none());
        if under_way {
            vec![Command::LeaveLaunch]
        } else {
            Vec::new()
        }
    }

    fn in_column(&self) -> bool {
        false
    }
}

impl LaunchPage {
    fn choose(&mut self, ui: &mut Ui, given: &mut Given<'_>, site: &Site) {
        let words = given.words;
        ui.heading(words.say("launch.heading"));
        let roles = roles(site);
        if roles.is_empty() {
            ui.label(words.say("launch.none"));
            return;
        }
        ui.add(Label::new(words.say("launch.about")).wrap());
        if self.role.as_ref().is_none_or(|r| !roles.contains(r)) {
            self.role = roles.iter().find(|r| *r == PILOT).or(roles.first()).cloned();
        }
        ui.label(words.say("launch.role"));
        ui.horizontal_wrapped(|ui| {
            for role in &roles {
                let chosen = self.role.as_ref() == Some(role);
                if ui.add(Button::selectable(chosen, site.role_name(role))).clicked() {
                    self.role = Some(role.clone());
                }
            }
        });
        ui.label(words.say("launch.pace"));
        for (pace, key) in [
            (Pace::Unhurried, "launch.unhurried"),
            (Pace::Normal, "launch.normal"),
            (Pace::Busy, "launch.busy"),
        ] {
            ui.radio_value(&mut self.pace, pace, words.say(key));
        }
        ui.add_space(6.0);
        if ui.button(words.say("launch.begin")).clicked() {
            self.typed.clear();
            given.ask(self.request());
        }
    }

    fn request(&mut self) -> Command {
        Command::Launch(Box::new(LaunchRequest {
            role: self.role.clone().unwrap_or_else(|| PILOT.to_owned()),
            pace: self.pace,
            seed: self.seed.take(),
            ..LaunchRequest::default()
        }))
    }

    /// What is to be seen and the controls, or the end.
    fn all(&mut self, ui: &mut Ui, given: &mut Given<'_>, site: &Site, flown: &Flown, high: f32) {
        if let Some(ending) = flown.ending {
            self.over(ui, given, site, ending);
        } else {
            now(ui, given, site, flown, high);
            self.talking(ui, given, site, flown);
        }
    }

    fn over(&mut self, ui: &mut Ui, given: &mut Given<'_>, site: &Site, ending: Ending) {
        let words = given.words;
        ui.heading(words.say("launch.over"));
        ui.add(Label::new(RichText::new(ending.text(site)).strong()).wrap());
        ui.horizontal_wrapped(|ui| {
            if ui.button(words.say("launch.again")).clicked() {
                given.ask(self.request());
            }
            if ui.button(words.say("launch.other")).clicked() {
                given.ask(Command::LeaveLaunch);
            }
        });
    }

    /// Whose turn it is, the hand, the key, the typed call.
    fn talking(&mut self, ui: &mut Ui, given: &mut Given<'_>, site: &Site, flown: &Flown) {
        let words = given.words;
        let dark = ui.visuals().dark_mode;
        let state = words.say(look::state_key(flown.state));
        let title = match (&flown.want, flown.state) {
            (Some(want), TurnState::YourCall) => want.text(site.language),
            _ => state.to_owned(),
        };
        ui.label(
            RichText::new(title)
                .text_style(look::big())
                .color(look::state(flown.state, dark)),
        );
        Self::hand(ui, given, flown);
        Self::signals(ui, given, site, flown);
        self.key(ui, given, flown);
        let may = matches!(flown.state, TurnState::YourCall | TurnState::Receiving);
        let typed = typed::ui(ui, words, &mut self.typed, may);
        if typed.changed {
            given.ask(Command::Typing);
        }
        if let Some(call) = typed.sent {
            given.ask(Command::Type(call));
        }
        ui.horizontal_wrapped(|ui| {
            let may = flown.state == TurnState::YourCall;
            if ui.add_enabled(may, Button::new(words.say("launch.pass"))).clicked() {
                given.ask(Command::LetPass);
            }
            if ui.button(words.say("launch.leave")).clicked() {
                given.ask(Command::LeaveLaunch);
            }
        });
    }

    /// The hand has a control of its own, apart from the key: it works at any moment, while the key is held too.
    fn hand(ui: &mut Ui, given: &mut Given<'_>, flown: &Flown) {
        let label = match flown.role.as_str() {
            PILOT => "launch.release",
            WINCH_DRIVER => "launch.power_off",
            _ => return,
        };
        if talk::hand(ui, given.words, label, true) {
            given.ask(Command::Hand);
        }
        ui.add_space(10.0);
    }

    /// The site's own signals, where it works with any.
    fn signals(ui: &mut Ui, given: &mut Given<'_>, site: &Site, flown: &Flown) {
        let mut known = site.signals.iter().filter(|s| !s.id.is_empty()).peekable();
        if known.peek().is_none() || flown.state == TurnState::Transmitting {
            return;
        }
        ui.horizontal_wrapped(|ui| {
            for signal in known {
                if ui.button(signal.text(site, None)).clicked() {
                    given.ask(Command::Signal(signal.id.clone()));
                }
            }
        });
    }

    fn key(&mut self, ui: &mut Ui, given: &mut Given<'_>, flown: &Flown) {
        let (shown, words) = (given.shown, given.words);
        let transmitting = flown.state == TurnState::Transmitting;
        let may = matches!(
            flown.state,
            TurnState::YourCall | TurnState::Receiving | TurnState::Transmitting
        );
        let able = !matches!(shown.model, ModelState::Missing(_));
        for moved in self
            .talk
            .ui(ui, words, given.settings.talk_key(), transmitting, may && able)
        {
            given.ask(match moved {
                Moved::Down => Command::Press,
                Moved::Up => Command::Release,
                Moved::Cancel => Command::Cancel,
            });
        }
        match flown.state {
            TurnState::Transmitting => practice::level_bar(ui, words, shown.level),
            TurnState::Judging => {
                ui.label(words.say("practice.listening"));
            }
            _ if shown.microphone.is_none() => {
                ui.label(look::remark(words.say("practice.no_microphone")));
            }
            _ => {}
        }
    }
}

/// What is to be seen and heard now.
fn now(ui: &mut Ui, given: &mut Given<'_>, site: &Site, flown: &Flown, high: f32) {
    let words = given.words;
    let step = flown.step.as_ref().and_then(|id| site.step(id));
    let drawn = step.zip(scene::direction_of(site, flown.seed));
    // A site that names no directions cannot be drawn: there all is written.
    let written = drawn.is_none() || given.settings.level == Level::Written;
    facts(ui, words, site, flown, written);
    ui.heading(step.map_or("", |s| s.title.as_str()));
    if let Some((step, direction)) = drawn {
        let hazard = flown.picture.hazard.as_deref();
        let view = View::of(site, step, &flown.situation, direction, hazard, given.settings.level);
        view.ui(ui, words, (high - BESIDES).max(LEAST));
    }
    if let Some(scene) = &flown.scene {
        ui.add(Label::new(scene).wrap());
    }
    if let Some(saying) = &flown.saying {
        let how = words.say(if saying.radio {
            "launch.on_radio"
        } else {
            "launch.nearby"
        });
        let line = format!("{}, {how}: \"{}\"", site.role_name(&saying.role), saying.text);
        ui.add(Label::new(line).wrap());
    }
}

/// The situation in one line of plain facts, never in the words of a call.
fn facts(ui: &mut Ui, words: Words, site: &Site, flown: &Flown, written: bool) {
    if !written {
        let role = site.role_name(&flown.role);
        ui.label(look::remark(words.fill("launch.you", &[("role", role)])));
        return;
    }
    let s = &flown.situation;
    let kind = site.aircraft(&s.callsign).map_or("", |a| a.kind.as_str());
    let crew = words.count("facts.person", "facts.people", usize::from(s.crew));
    let text = words.fill(
        "launch.facts",
        &[
            ("role", site.role_name(&flown.role)),
            ("glider", &format!("{} {kind}", s.callsign)),
            ("crew", &crew),
            ("cable", &capital(&s.cable)),
        ],
    );
    ui.add(Label::new(look::remark(text)).wrap());
}

fn time_line(ui: &mut Ui, words: Words, site: &Site, flown: &Flown) {
    ui.heading(words.say("launch.time_line"));
    if flown.record.is_empty() {
        ui.label(look::remark(words.say("launch.empty")));
    }
    for (at, entry) in &flown.record {
        let text = format!("{at:.0} s  {}", debrief::line(site, &flown.role, entry));
        let rich = match entry {
            Entry::Called { .. } | Entry::Hand { .. } => RichText::new(text).strong(),
            Entry::Noted { .. } | Entry::Ended { .. } => {
                RichText::new(text).color(look::trouble(ui.visuals().dark_mode))
            }
            _ => RichText::new(text),
        };
        ui.add(Label::new(rich).wrap());
    }
}
