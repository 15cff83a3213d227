//! The calls: the launch point, the state of the turn, the key, the typed call; beside them first the words of the call, then
//! the debrief.

use super::debrief::Debrief;
use super::look::{self, Hue};
use super::lookpage::LEVELS;
use super::page::{Content, Given, Page};
use super::scene::{self, Level, View};
use super::shown::Shown;
use super::talk::{Moved, Talk};
use super::words::{Words, capital};
use super::{hints, notices, plate, sides, typed};
use crate::call::Situation;
use crate::drill::{Answer, TurnState};
use crate::plan;
use crate::site::{By, Direction, Hazard, Purpose, Site, Step};
use crate::worker::{Command, Event, ModelState};
use eframe::egui::{Align, Button, Color32, ComboBox, FontId, Key, Label, RichText, TextStyle, Ui};
pub(super) use plate::level_bar;

/// Least height of the picture, points.
const LEAST: f32 = 100.0;
/// Heights of the key that talks, points: in a high window, and in a low one.
const KEY: f32 = 72.0;
const LOW_KEY: f32 = 52.0;
/// Windows lower than this are low, points.
const LOW: f32 = 640.0;

/// The page's drafts.
#[derive(Debug, Default)]
pub struct Practice {
    talk: Talk,
    typed: typed::Draft,
    debrief: Debrief,
    /// What comes after this call is somebody else's to say.
    one_call: bool,
}

impl Content for Practice {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let shown = given.shown;
        if !shown.who.may_practise() || shown.site.is_none() {
            not_ready(ui, given);
            return;
        }
        let (Some((site, step)), Some(dealt), Some(state)) = (shown.step(), &shown.dealt, shown.state) else {
            begin(ui, given);
            return;
        };
        if !self.one_call {
            choices(ui, given, site, step, &dealt.situation, state);
        }
        let (high, number) = (ui.available_height(), dealt.number);
        // A new verdict is read from its beginning.
        let call = shown.judged.as_ref().map(|j| j.id);
        if sides::fit(ui) {
            sides::left(ui, "turn", |ui| {
                if sides::controls_stay(high) {
                    sides::controls(ui, "talking", |ui| self.talking(ui, given));
                    sides::scrolls(ui, ("turn", number), |ui| situation(ui, given, true));
                } else {
                    sides::scrolls(ui, ("turn", number), |ui| {
                        self.talking(ui, given);
                        situation(ui, given, true);
                    });
                }
            });
            sides::right(ui, ("debrief", call, dealt.number), |ui| {
                self.right(ui, given, site, step, &dealt.situation);
            });
        } else {
            let stay = sides::controls_stay(high);
            if stay {
                sides::controls(ui, "talking", |ui| {
                    self.debrief.head(ui, given);
                    self.talking(ui, given);
                });
            }
            sides::scrolls(ui, ("both", call, dealt.number), |ui| {
                if !stay {
                    self.debrief.head(ui, given);
                    self.talking(ui, given);
                }
                if call.is_some() {
                    self.debrief.body(ui, given);
                    ui.separator();
                    situation(ui, given, false);
                } else {
                    situation(ui, given, false);
                    hints::ui(ui, given, site, step, &dealt.situation);
                }
            });
        }
    }

    fn take(&mut self, event: &Event) {
        if matches!(event, Event::Dealt(_)) {
            self.typed.clear();
        }
    }

    fn left(&mut self, shown: &Shown) -> Vec<Command> {
        if matches!(shown.state, Some(TurnState::Transmitting | TurnState::Judging)) {
            vec![Command::Cancel]
        } else {
            Vec::new()
        }
    }

    fn talks(&self, shown: &Shown) -> bool {
        shown.dealt.is_some()
    }

    fn in_column(&self) -> bool {
        false
    }
}

impl Practice {
    /// For pages that deal the calls themselves.
    pub fn one_call() -> Self {
        Self {
            one_call: true,
            ..Self::default()
        }
    }

    /// The words until there is a verdict, then the debrief.
    fn right(&mut self, ui: &mut Ui, given: &mut Given<'_>, site: &Site, step: &Step, situation: &Situation) {
        if given.shown.judged.is_some() {
            self.debrief.head(ui, given);
            self.debrief.body(ui, given);
        } else {
            hints::ui(ui, given, site, step, situation);
        }
    }

    /// The state, the key, the typed call, the next situation; below them why the key is dead, where it is: what comes and
    /// goes must not move what is operated.
    fn talking(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        self.operated(ui, given);
        if self.one_call || given.shown.state != Some(TurnState::Done) {
            why_not(ui, given);
        }
    }

    fn operated(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let (shown, words) = (given.shown, given.words);
        let (Some((site, step)), Some(dealt), Some(state)) = (shown.step(), &shown.dealt, shown.state) else {
            return;
        };
        // A turn that ended by a stop or "not ready" ended well, and no call is complete.
        let ended = shown.judged.as_ref().filter(|_| state == TurnState::Done);
        let title = ended.and_then(|judged| match judged.answer {
            Answer::Stopped(_) => Some(words.say("outcome.stopped")),
            Answer::NothingMoves => Some(words.say("outcome.held_back")),
            _ => None,
        });
        let wanted = if site.is_stop(step) {
            plate::Wanted::Stop
        } else {
            plate::Wanted::Call
        };
        plate::ui(ui, words, shown, state, title, wanted);
        let done = state == TurnState::Done;
        if !done || self.one_call {
            self.key(ui, given, state);
            let may = matches!(state, TurnState::YourCall | TurnState::Receiving);
            if let Some(call) = typed::ui(ui, given, &mut self.typed, may).sent {
                given.ask(Command::Type(call));
            }
        }
        // Where another task can be chosen at other times: nothing that is operated moves while a call is judged.
        if state == TurnState::Judging {
            let escape = ui.input(|i| i.key_pressed(Key::Escape));
            if ui.button(words.say("practice.cancel")).clicked() || escape {
                given.ask(Command::Cancel);
            }
            return;
        }
        if self.one_call {
            return;
        }
        let idle = state != TurnState::Transmitting;
        ui.horizontal_wrapped(|ui| {
            // The call is complete: what comes next is the main action, where the key was.
            let next = if done {
                let next = look::add_primary(ui, true, words.say("practice.next"));
                given.main(ui, &next);
                // The key is gone with its focus: Enter goes on.
                if ui.memory(|m| m.focused().is_none()) {
                    next.request_focus();
                }
                next
            } else {
                ui.add_enabled(idle, Button::new(words.say("practice.next_situation")))
            };
            if next.clicked() {
                given.ask(Command::Next);
                given.to_main = true;
            }
            if done && ui.button(words.say("practice.same_again")).clicked() {
                given.ask(hints::again(&dealt.situation));
            }
        });
    }

    fn key(&mut self, ui: &mut Ui, given: &mut Given<'_>, state: TurnState) {
        let shown = given.shown;
        let transmitting = state == TurnState::Transmitting;
        let may = matches!(
            state,
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
}

/// Without a microphone or a model the key is dead, and the field for typed calls is the way.
fn why_not(ui: &mut Ui, given: &mut Given<'_>) {
    let (shown, words) = (given.shown, given.words);
    let able = !matches!(shown.model, ModelState::Missing(_));
    if shown.microphone.is_none() && able {
        ui.add(Label::new(look::remark(words.say("practice.no_microphone"))).wrap());
    }
    if let ModelState::Missing(why) = &shown.model {
        let key = if notices::is_damage(why) {
            "practice.model_damaged"
        } else {
            "practice.no_model"
        };
        let text = RichText::new(words.say(key)).color(Hue::Amber.on(ui));
        ui.add(Label::new(text).wrap());
        ui.horizontal_wrapped(|ui| {
            if ui.button(words.say("practice.get_model")).clicked() {
                given.go(Page::First);
            }
            if ui.button(words.say("practice.look_for_model")).clicked() {
                given.ask(Command::LoadModel);
            }
        });
    }
}

/// Who and where must be chosen first.
fn not_ready(ui: &mut Ui, given: &mut Given<'_>) {
    let words = given.words;
    ui.label(words.say("practice.not_ready"));
    if ui.button(words.say("page.student")).clicked() {
        given.go(Page::Student);
    }
    if ui.button(words.say("page.site")).clicked() {
        given.go(Page::Site);
    }
}

/// Before the first situation: nothing speaks and no clock runs until it is wanted.
fn begin(ui: &mut Ui, given: &mut Given<'_>) {
    let (shown, words) = (given.shown, given.words);
    sides::scrolls(ui, "begin", |ui| {
        ui.set_max_width(look::COLUMN);
        ui.label(RichText::new(words.say("practice.start_heading")).text_style(look::title()));
        ui.add(Label::new(words.say("practice.start_about")).wrap());
        if let Some(today) = shown.planned.as_ref().and_then(|p| p.today.as_ref()) {
            let text = if today.due.is_empty() {
                words.say("practice.goal_new").to_owned()
            } else {
                let minutes = (today.seconds / 60.0).ceil().max(1.0).to_string();
                let calls = words.count("practice.call_one", "practice.call_many", today.calls);
                words.fill("practice.goal", &[("calls", &calls), ("minutes", &minutes)])
            };
            ui.add(Label::new(look::bold(text)).wrap());
        }
        ui.add_space(8.0);
        ui.horizontal_wrapped(|ui| {
            let button = look::add_primary(ui, true, words.say("practice.begin"));
            given.main(ui, &button);
            if button.clicked() {
                given.ask(Command::Next);
                given.to_main = true;
            }
            if ui.button(words.say("practice.read_first")).clicked() {
                given.go(Page::Calls);
            }
        });
    });
}

/// How much of the situation is written: what was chosen, and less where the record has come further.
fn written(given: &Given<'_>) -> Level {
    let by_record = given.shown.planned.as_ref().map(|p| p.level);
    match (given.settings.level, by_record) {
        (Level::Written, Some(level)) if level > plan::Level::Written => Level::Boards,
        (chosen, _) => chosen,
    }
}

/// What is to be seen before the call. `beside`: it has a side of the page for itself.
fn situation(ui: &mut Ui, given: &mut Given<'_>, beside: bool) {
    let (shown, words) = (given.shown, given.words);
    let (Some((site, step)), Some(dealt), Some(state)) = (shown.step(), &shown.dealt, shown.state) else {
        return;
    };
    let hazard = hazard(site, step, dealt.number);
    let level = written(given);
    let direction = scene::direction(site, &dealt.situation, dealt.number);
    // What is written stands first, as on the page of the launch; the picture has the room that is left.
    seen(ui, site, step, &dealt.situation, hazard);
    // A site that names no directions cannot be drawn.
    if level == Level::Written || direction.is_none() {
        ui.scope(|ui| facts(ui, words, site, step, &dealt.situation, direction));
    }
    data_plate(ui, words, site, step, &dealt.situation);
    if let Some(prompt) = &step.prompt {
        ui.horizontal_wrapped(|ui| {
            let who = capital(site.role_name(&prompt.role));
            ui.label(words.fill("shell.says", &[("who", &who), ("text", &prompt.text)]));
            let may = matches!(state, TurnState::YourCall | TurnState::Receiving);
            let hear = Button::new(words.say("practice.hear_prompt"));
            if ui.add_enabled(may, hear).clicked() {
                given.ask(Command::PlayPrompt);
            }
        });
    }
    if let Some(direction) = direction {
        let id = hazard.map(|h| h.id.as_str());
        let used = ui.cursor().top() - ui.min_rect().top() + ui.spacing().item_spacing.y;
        let room = if beside { ui.clip_rect().height() - used } else { LEAST };
        let view = View::of(site, step, &dealt.situation, direction, id, level);
        view.ui(ui, words, room.max(LEAST));
    }
}

/// What the type's own data say of its weak link, where the call is about it: nobody has it in mind.
fn data_plate(ui: &mut Ui, words: Words, site: &Site, step: &Step, situation: &Situation) {
    let about = |id: &String| site.elements.get(id).is_some_and(|e| e.purpose == Purpose::Link);
    let aircraft = site
        .aircraft(&situation.callsign)
        .filter(|_| step.elements.iter().any(about));
    if let Some((aircraft, link)) = aircraft.and_then(|a| Some((a, a.weak_link.as_ref()?))) {
        let text = words.fill("facts.data_plate", &[("type", &aircraft.kind), ("link", link)]);
        ui.add(Label::new(look::bold(text)).wrap());
    }
}

/// The steps that can be practised by words.
pub(super) fn spoken(site: &Site) -> impl Iterator<Item = &Step> {
    site.steps.iter().filter(|s| s.by.has_words() && !s.elements.is_empty())
}

/// A list to choose from, its name in front of it.
pub(super) fn list(ui: &mut Ui, name: &'static str, words: Words, now: &str, content: impl FnOnce(&mut Ui)) {
    let label = ui.label(look::remark(words.say(name)));
    ComboBox::from_id_salt(name)
        .selected_text(now)
        .height(ui.ctx().content_rect().height() * 0.6)
        .show_ui(ui, content)
        .response
        .labelled_by(label.id);
}

/// Was this list not there in the frame before?
fn just_opened(ui: &Ui) -> bool {
    let (memory, now) = (ui.scope_id().with("open in"), ui.ctx().cumulative_pass_nr());
    let before = ui.data_mut(|d| {
        let before = d.get_temp::<u64>(memory);
        d.insert_temp(memory, now);
        before
    });
    before.is_none_or(|before| before + 1 < now)
}

/// Which call is practised, how many of its words are shown before it, and how much of the situation is written.
fn choices(ui: &mut Ui, given: &mut Given<'_>, site: &Site, step: &Step, situation: &Situation, state: TurnState) {
    let words = given.words;
    let idle = !matches!(state, TurnState::Transmitting | TurnState::Judging);
    ui.horizontal_wrapped(|ui| {
        ui.add_enabled_ui(idle, |ui| {
            let mut id = step.id.clone();
            list(ui, "practice.call", words, &step.title, |ui| {
                let opens = just_opened(ui);
                for each in spoken(site) {
                    let entry = ui.selectable_value(&mut id, each.id.clone(), &each.title);
                    // A long list opens where one is in it.
                    if opens && each.id == step.id {
                        entry.scroll_to_me(Some(Align::Center));
                    }
                }
            });
            if id != step.id {
                given.ask(Command::ChooseStep(id));
            }
            let named = |wanted| {
                hints::SHOWN
                    .iter()
                    .find(|(s, _)| *s == wanted)
                    .map_or("", |(_, key)| words.say(key))
            };
            let before = given.settings.words_shown;
            let mut chosen = before;
            list(ui, "hints.name", words, named(before), |ui| {
                for (each, key) in hints::SHOWN {
                    ui.selectable_value(&mut chosen, each, words.say(key));
                }
            });
            if chosen != before {
                given.set(|s| s.words_shown = chosen);
                for command in hints::commands(chosen) {
                    given.ask(command);
                }
                given.ask(hints::again(situation));
            }
        });
        let mut level = given.settings.level;
        let now = LEVELS
            .iter()
            .find(|(l, _)| *l == level)
            .map_or("", |(_, key)| words.say(key));
        list(ui, "practice.level", words, now, |ui| {
            for (each, key) in LEVELS {
                ui.selectable_value(&mut level, each, words.say(key));
            }
        });
        if level != given.settings.level {
            given.set(|s| s.level = level);
        }
    });
    ui.add_space(2.0);
}

/// What happens in a turn of the stop call: the site's hazards one after the other.
fn hazard<'s>(site: &'s Site, step: &Step, number: u32) -> Option<&'s Hazard> {
    if !site.is_stop(step) || site.hazards.is_empty() {
        return None;
    }
    site.hazards.get(number.saturating_sub(1) as usize % site.hazards.len())
}

/// What is seen, in the site's own words.
fn seen(ui: &mut Ui, site: &Site, step: &Step, situation: &Situation, hazard: Option<&Hazard>) {
    let texts = hazard
        .map(|h| h.scene.clone())
        .into_iter()
        .chain(situation.scene(site, step));
    for text in texts {
        ui.add(Label::new(text).wrap());
    }
}

/// The situation as plain facts, never in the words of the call.
fn facts(ui: &mut Ui, words: Words, site: &Site, step: &Step, situation: &Situation, direction: Option<&Direction>) {
    let about = site.about_glider(&situation.callsign);
    let glider = if about.is_empty() {
        situation.callsign.to_string()
    } else {
        format!("{}, {about}", situation.callsign)
    };
    let crew = words.count("facts.person", "facts.people", usize::from(situation.crew));
    let called = site.called(step, &situation.cable);
    let to = site
        .stations
        .iter()
        .find(|s| s.id == called)
        .map_or(called, |s| s.name.as_str());
    // At the launch point one speaks to whoever asks or answers there.
    let beside = [&step.prompt, &step.ask_again].into_iter().flatten().next();
    let to = match beside {
        Some(line) if step.by == By::Voice => site.role_name(&line.role),
        _ => to,
    };
    let mut rows = vec![
        ("facts.you_are", site.role_name(&step.speaker).to_owned()),
        ("facts.you_call", to.to_owned()),
        ("facts.glider", glider),
        ("facts.on_board", crew),
        ("facts.cable", capital(site.cable_taught(&situation.cable))),
    ];
    let lies = direction.and_then(|d| where_it_lies(words, d, &situation.cable));
    rows.extend(lies.map(|p| ("facts.it_lies", p)));
    // Name and value stay together; rows are made by hand, since what lies in a wrapping row does not move to the next.
    let small = TextStyle::Small.resolve(ui.style());
    let heavy = look::bold_font(TextStyle::Body.resolve(ui.style()).size);
    let width = |ui: &Ui, text: &str, font: &FontId| {
        let galley = ui
            .painter()
            .layout_no_wrap(text.to_owned(), font.clone(), Color32::WHITE);
        galley.size().x
    };
    let (room, gap) = (ui.available_width(), ui.spacing().item_spacing.x + 4.0);
    let mut in_rows: Vec<Vec<(&str, &str)>> = vec![Vec::new()];
    let mut used = 0.0;
    for (name, value) in &rows {
        let name = words.say(name);
        let wide = width(ui, name, &small) + 5.0 + width(ui, value, &heavy) + gap;
        if used + wide > room + gap && used > 0.0 {
            in_rows.push(Vec::new());
            used = 0.0;
        }
        used += wide;
        if let Some(line) = in_rows.last_mut() {
            line.push((name, value));
        }
    }
    // Rows of text, not of buttons.
    ui.spacing_mut().interact_size.y = 20.0;
    for line in in_rows {
        ui.horizontal_wrapped(|ui| {
            for (name, value) in line {
                ui.spacing_mut().item_spacing.x = 5.0;
                ui.label(look::remark(name));
                ui.spacing_mut().item_spacing.x = gap;
                ui.add(Label::new(look::bold(value)).wrap());
            }
        });
    }
}

/// Where a cable lies; left and right swap with the launch direction.
fn where_it_lies(words: Words, direction: &Direction, id: &str) -> Option<String> {
    let cables = &direction.cables_left_to_right;
    let at = cables.iter().position(|c| c == id)?;
    let hand = match (at, cables.len()) {
        (_, 0 | 1) => return None,
        (0, _) => words.say("facts.left").to_owned(),
        (i, n) if i + 1 == n => words.say("facts.right").to_owned(),
        (i, _) => words.fill("facts.from_left", &[("n", &(i + 1).to_string())]),
    };
    Some(words.fill("facts.lies", &[("hand", &hand), ("direction", &direction.name)]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn left_and_right_come_from_the_launch_direction() {
        let dir = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases/larkmoor");
        let site = Site::check(&crate::folders::read_site(&dir)).unwrap();
        for (n, hand) in ["left", "right"].iter().enumerate() {
            let lies = where_it_lies(Words::English, &site.directions[n], "north").unwrap();
            assert!(lies.starts_with(&format!("{hand}, facing the winch")), "{lies}");
        }
        assert_eq!(where_it_lies(Words::English, &site.directions[0], "third"), None);
    }
}
