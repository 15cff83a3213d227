//! A whole launch: role and pace are chosen, the others speak, the student talks, types or uses the hand; the time line grows
//! beside it and follows. The debrief at the end is in `launched.rs`.

use super::page::{Content, Given, Page};
use super::scene::{self, Level, View};
use super::shown::Shown;
use super::talk::{self, Moved, Talk};
use super::words::{Words, capital};
use super::{launched, look, notices, plate, sides, typed};
use crate::drill::launch::{PILOT, WINCH_DRIVER, roles};
use crate::drill::{Ending, Entry, Pace, TurnState, Want};
use crate::site::{By, Site};
use crate::worker::{Command, Flown, LaunchRequest, ModelState};
use eframe::egui::{Button, Label, RichText, Ui};

/// Kept below the picture for what others say, points.
const SAYING: f32 = 64.0;
/// Least height of the picture, points.
const LEAST: f32 = 120.0;
/// Below the controls what is to be seen has at least this height, or it stands at the right: facts, title, scene and picture.
const NOW: f32 = 260.0;
/// What the bars above and below the page take, points.
const BARS: f32 = 90.0;
/// Heights of the key that talks, points: in a high window, and in a low one.
const KEY: f32 = 64.0;
const LOW_KEY: f32 = 48.0;
/// Windows lower than this are low, points.
const LOW: f32 = 640.0;

/// The page's drafts.
#[derive(Debug, Default)]
pub struct LaunchPage {
    role: Option<String>,
    pace: Pace,
    talk: Talk,
    typed: typed::Draft,
    /// The number of the next launch; another one each time if absent.
    pub seed: Option<u64>,
    /// "Abandon this launch" was pressed, or another page was wanted, and is asked about.
    leaving: bool,
    /// The page that was wanted.
    then: Option<Page>,
    /// It was answered with yes.
    sure: bool,
}

impl Content for LaunchPage {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let shown = given.shown;
        let Some(site) = shown.site.as_deref() else {
            ui.label(given.words.say("practice.not_ready"));
            return;
        };
        let Some(flown) = &shown.launch else {
            (self.leaving, self.then) = (false, None);
            sides::scrolls(ui, "launch", |ui| self.choose(ui, given, site));
            return;
        };
        let high = ui.available_height();
        // Who has acted is shown what came of it, wherever the line was scrolled to.
        let own = |e: &&(f32, Entry)| matches!(&e.1, Entry::Called { .. } | Entry::Hand { .. });
        let line = (("time line", flown.seed), flown.record.iter().filter(own).count());
        if let Some(ending) = flown.ending {
            (self.leaving, self.then) = (false, None);
            if sides::fit(ui) {
                sides::left_of(ui, "launch over", 0.6, |ui| {
                    sides::scrolls(ui, ("launch over", flown.seed), |ui| {
                        self.over(ui, given, site, flown, ending);
                    });
                });
                sides::right(ui, ("whole line", flown.seed), |ui| {
                    time_line(ui, given.words, site, flown);
                });
            } else {
                sides::scrolls(ui, ("launch over", flown.seed), |ui| {
                    self.over(ui, given, site, flown, ending);
                    ui.separator();
                    time_line(ui, given.words, site, flown);
                });
            }
        } else if sides::fit(ui) {
            let mut room = false;
            sides::left(ui, "launch", |ui| {
                if sides::controls_stay(high) {
                    sides::controls(ui, "launch talking", |ui| self.talking(ui, given, site, flown));
                    // By the window, not by what is left: a message that comes must not move it.
                    let controls = high - ui.available_height();
                    room = ui.ctx().content_rect().height() - BARS - controls >= NOW;
                    if room {
                        sides::scrolls(ui, now_of(flown), |ui| now(ui, given, site, flown));
                    }
                } else {
                    sides::scrolls(ui, "launch talking", |ui| self.talking(ui, given, site, flown));
                }
            });
            if room {
                sides::follows(ui, line, |ui| time_line(ui, given.words, site, flown));
            } else {
                // The controls have the left side for themselves.
                let words = given.words;
                let above = |ui: &mut Ui| now(ui, given, site, flown);
                sides::above_what_follows(ui, now_of(flown), above, line, |ui| time_line(ui, words, site, flown));
            }
        } else {
            // The newest of the time line stands right above the key.
            let stay = sides::controls_stay(high);
            if stay {
                sides::controls(ui, "launch talking", |ui| self.talking(ui, given, site, flown));
            } else {
                self.talking(ui, given, site, flown);
            }
            sides::follows(ui, line, |ui| {
                now(ui, given, site, flown);
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

    fn asks_first(&mut self, to: Page, shown: &Shown) -> bool {
        let under_way = shown.launch.as_ref().is_some_and(|f| f.ending.is_none());
        let ask = under_way && !self.sure;
        if ask {
            self.leaving = true;
            self.then = Some(to);
        }
        self.sure = false;
        ask
    }

    fn talks(&self, shown: &Shown) -> bool {
        shown.launch.as_ref().is_some_and(|f| f.ending.is_none())
    }

    fn in_column(&self) -> bool {
        false
    }
}

impl LaunchPage {
    fn choose(&mut self, ui: &mut Ui, given: &mut Given<'_>, site: &Site) {
        let words = given.words;
        ui.set_max_width(look::COLUMN);
        ui.label(RichText::new(words.say("launch.heading")).text_style(look::title()));
        let roles = roles(site);
        if roles.is_empty() {
            ui.label(words.say("launch.none"));
            return;
        }
        ui.add(Label::new(words.say("launch.about")).wrap());
        if self.role.as_ref().is_none_or(|r| !roles.contains(r)) {
            self.role = roles.iter().find(|r| *r == PILOT).or(roles.first()).cloned();
        }
        ui.add_space(6.0);
        ui.label(look::bold(words.say("launch.role")));
        ui.horizontal_wrapped(|ui| {
            for role in &roles {
                let chosen = self.role.as_ref() == Some(role);
                if ui.add(Button::new(site.role_name(role)).selected(chosen)).clicked() {
                    self.role = Some(role.clone());
                }
            }
        });
        ui.add_space(6.0);
        ui.label(look::bold(words.say("launch.pace")));
        for (pace, key) in [
            (Pace::Unhurried, "launch.unhurried"),
            (Pace::Normal, "launch.normal"),
            (Pace::Busy, "launch.busy"),
        ] {
            ui.radio_value(&mut self.pace, pace, words.say(key));
        }
        ui.add_space(10.0);
        let begin = look::add_primary(ui, true, words.say("launch.begin"));
        given.main(ui, &begin);
        if begin.clicked() {
            given.ask(self.request());
            given.to_main = true;
        }
    }

    fn request(&mut self) -> Command {
        self.typed.clear();
        Command::Launch(Box::new(LaunchRequest {
            role: self.role.clone().unwrap_or_else(|| PILOT.to_owned()),
            pace: self.pace,
            seed: self.seed.take(),
            ..LaunchRequest::default()
        }))
    }

    fn over(&mut self, ui: &mut Ui, given: &mut Given<'_>, site: &Site, flown: &Flown, ending: Ending) {
        let words = given.words;
        ui.horizontal_wrapped(|ui| {
            let again = look::add_primary(ui, true, words.say("launch.again"));
            given.main(ui, &again);
            if again.clicked() {
                given.ask(self.request());
                given.to_main = true;
            }
            if ui.button(words.say("launch.other")).clicked() {
                given.ask(Command::LeaveLaunch);
                given.to_main = true;
            }
            if given.shown.playing && ui.button(words.say("verdicts.stop")).clicked() {
                given.ask(Command::StopPlaying);
            }
        });
        ui.add_space(4.0);
        launched::ui(ui, given, site, flown, ending);
    }

    /// Whose turn it is, the hand, the key, the typed call.
    fn talking(&mut self, ui: &mut Ui, given: &mut Given<'_>, site: &Site, flown: &Flown) {
        let words = given.words;
        let title = match (&flown.want, flown.state) {
            (Some(want), TurnState::YourCall) => Some(want.text(site.language)),
            _ => None,
        };
        let wanted = match flown.want {
            Some(Want::Hazard | Want::Failure | Want::Release) => plate::Wanted::Hand,
            Some(Want::Halt) => plate::Wanted::Stop,
            _ => plate::Wanted::Call,
        };
        plate::ui(ui, words, given.shown, flown.state, title.as_deref(), wanted);
        let by_hand = matches!(flown.role.as_str(), PILOT | WINCH_DRIVER);
        if by_hand && ui.ctx().content_rect().height() < LOW {
            // Side by side, so that the picture keeps its room.
            ui.columns(2, |sides| {
                if let [left, right] = sides {
                    Self::hand(left, given, site, flown);
                    self.key(right, given, flown);
                }
            });
        } else {
            Self::hand(ui, given, site, flown);
            self.key(ui, given, flown);
            Self::why_not(ui, given);
        }
        Self::signals(ui, given, site, flown);
        let may = matches!(flown.state, TurnState::YourCall | TurnState::Receiving);
        let typed = typed::ui(ui, given, &mut self.typed, may);
        if typed.changed {
            given.ask(Command::Typing);
        }
        if let Some(call) = typed.sent {
            given.ask(Command::Type(call));
        }
        ui.horizontal_wrapped(|ui| {
            if self.leaving {
                ui.label(words.say("launch.leave_sure"));
                if ui.button(words.say("launch.leave_yes")).clicked() {
                    self.leaving = false;
                    match self.then.take() {
                        // Leaving the page ends the launch.
                        Some(page) => {
                            self.sure = true;
                            given.go(page);
                        }
                        None => given.ask(Command::LeaveLaunch),
                    }
                }
                if ui.button(words.say("launch.leave_no")).clicked() {
                    self.leaving = false;
                    self.then = None;
                }
                return;
            }
            let may = flown.state == TurnState::YourCall;
            if ui.add_enabled(may, Button::new(words.say("launch.pass"))).clicked() {
                given.ask(Command::LetPass);
            }
            let wanted = may && flown.want == Some(Want::Call) && flown.words.is_none();
            if ui.add_enabled(wanted, Button::new(words.say("hints.show"))).clicked() {
                given.ask(Command::ShowWords);
            }
            if ui.button(words.say("launch.leave")).clicked() {
                self.leaving = true;
                self.then = None;
            }
        });
    }

    /// The hand has a control of its own, apart from the key: it works at any time, while the key is held too.
    fn hand(ui: &mut Ui, given: &mut Given<'_>, site: &Site, flown: &Flown) {
        let words = given.words;
        // Where the hook is opened for the ring the key ends nothing.
        let hooking_on = flown
            .step
            .as_ref()
            .and_then(|id| site.step(id))
            .is_some_and(|s| s.with_release);
        let label = match flown.role.as_str() {
            PILOT if hooking_on => "launch.pull",
            PILOT => "launch.release",
            WINCH_DRIVER => "launch.power_off",
            _ => return,
        };
        if talk::hand(ui, words, label, true) {
            given.ask(Command::Hand);
        }
        // What the hand has done in this step is seen at once, not only in the time line.
        let here = |e: &&(f32, Entry)| matches!(&e.1, Entry::Hand { step } if Some(step) == flown.step.as_ref());
        let pulls = flown.record.iter().filter(here).count();
        let by_hand = flown
            .step
            .as_ref()
            .and_then(|id| site.step(id))
            .is_some_and(|s| s.by == By::Hand);
        let n = pulls.to_string();
        let text = if by_hand && flown.role == PILOT {
            // How many are wanted is to be seen before the first.
            let of = site.customs.release_pulls.to_string();
            words.fill("launch.pulls", &[("n", &n), ("of", &of)])
        } else if pulls == 0 {
            // The line keeps its place: what is below it must not move under the finger.
            String::new()
        } else {
            words.fill("launch.hand_used", &[("n", &n)])
        };
        ui.add(Label::new(look::bold(text).color(look::Hue::Green.on(ui))).truncate());
    }

    /// The site's own signals, where it works with any.
    fn signals(ui: &mut Ui, given: &mut Given<'_>, site: &Site, flown: &Flown) {
        let mut known = site.signals.iter().filter(|s| !s.id.is_empty()).peekable();
        if known.peek().is_none() || flown.state == TurnState::Transmitting {
            return;
        }
        ui.horizontal_wrapped(|ui| {
            for signal in known {
                let caution = site.language.text("signal.caution", &[("site", &site.name)]);
                if ui.button(signal.text(site, None)).on_hover_text(caution).clicked() {
                    given.ask(Command::Signal(signal.id.clone()));
                }
            }
        });
    }

    fn key(&mut self, ui: &mut Ui, given: &mut Given<'_>, flown: &Flown) {
        let shown = given.shown;
        let transmitting = flown.state == TurnState::Transmitting;
        let may = matches!(
            flown.state,
            TurnState::YourCall | TurnState::Receiving | TurnState::Transmitting
        );
        let able = !matches!(shown.model, ModelState::Missing(_));
        let high = if shown.microphone.is_none() || ui.ctx().content_rect().height() < LOW {
            LOW_KEY
        } else {
            KEY
        };
        for moved in self.talk.ui(ui, given, transmitting, may && able, high) {
            given.ask(match moved {
                Moved::Down => Command::Press,
                Moved::Up => Command::Release,
                Moved::Cancel => Command::Cancel,
            });
        }
    }

    /// Without a microphone or a model the key is dead, and the field below it is the way.
    fn why_not(ui: &mut Ui, given: &Given<'_>) {
        let (shown, words) = (given.shown, given.words);
        let why = match &shown.model {
            ModelState::Missing(why) if notices::is_damage(why) => Some("practice.model_damaged"),
            ModelState::Missing(_) => Some("practice.no_model"),
            _ if shown.microphone.is_none() => Some("practice.no_microphone"),
            _ => None,
        };
        if let Some(why) = why {
            ui.add(Label::new(look::remark(words.say(why))).wrap());
        }
    }
}

/// Each step, and its words once they were asked for, begins at the top.
fn now_of(flown: &Flown) -> (&'static str, u64, Option<&str>, bool) {
    ("launch now", flown.seed, flown.step.as_deref(), flown.words.is_some())
}

/// What is to be seen and heard now.
fn now(ui: &mut Ui, given: &mut Given<'_>, site: &Site, flown: &Flown) {
    let words = given.words;
    let step = flown.step.as_ref().and_then(|id| site.step(id));
    let drawn = step.zip(scene::direction_of(site, &flown.situation, flown.seed));
    // A site that names no directions cannot be drawn: there all is written.
    let written = drawn.is_none() || given.settings.level == Level::Written;
    // What was asked for stands first.
    if let Some(call) = &flown.words {
        look::sheet(ui, |ui| {
            ui.add(Label::new(look::bold(call)).wrap());
            ui.add(Label::new(look::remark(words.say("launch.words_shown"))).wrap());
        });
    }
    facts(ui, words, site, flown, written);
    ui.heading(step.map_or("", |s| s.title.as_str()));
    if let Some(scene) = &flown.scene {
        ui.add(Label::new(scene).wrap());
    }
    if let Some((step, direction)) = drawn {
        let hazard = flown.picture.hazard.as_deref();
        let view = View::of(site, step, &flown.situation, direction, hazard, given.settings.level);
        // The room that is left, but for what others say below it.
        let used = ui.cursor().top() - ui.min_rect().top();
        view.ui(ui, words, (ui.clip_rect().height() - used - SAYING).max(LEAST));
    }
    if let Some(saying) = &flown.saying {
        let how = words.say(if saying.radio {
            "launch.on_radio"
        } else {
            "launch.nearby"
        });
        let who = format!("{}, {how}", capital(site.role_name(&saying.role)));
        let line = words.fill("shell.says", &[("who", &who), ("text", &saying.text)]);
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
    let kind = site.about_glider(&s.callsign);
    let crew = words.count("facts.person", "facts.people", usize::from(s.crew));
    let text = words.fill(
        "launch.facts",
        &[
            ("role", site.role_name(&flown.role)),
            ("glider", &format!("{} {kind}", s.callsign)),
            ("crew", &crew),
            ("cable", &site.cable_plain(&s.cable)),
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
        launched::entry(ui, words, site, flown, *at, entry);
    }
}
