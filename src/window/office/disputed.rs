//! Disputed calls: heard, seen with what a second listener wrote, overruled or upheld with a reason.

use super::super::page::Given;
use super::super::practice::list;
use super::super::{look, look::Hue, second};
use super::{Around, sure};
use crate::call::{Situation, Verdict};
use crate::logbook::{AttemptSummary, NewAttempt, Student};
use crate::site::Site;
use crate::worker::Command;
use crate::worker::office::{OfficeCommand, OfficeEvent, Reviewed, Ruling};
use eframe::egui::{Button, Label, RichText, Role, TextEdit, Ui, WidgetInfo};
use jiff::Timestamp;
use jiff::tz::Offset;
use uuid::Uuid;

/// The calls that wait, and the one that is open.
#[derive(Default)]
pub(super) struct Disputes {
    calls: Vec<AttemptSummary>,
    open: Option<Box<Reviewed>>,
    /// It as taught, once it was looked for: with the site in use then.
    taught: Option<(Option<String>, Option<String>)>,
    /// The verdicts that are to count, by the place of the element.
    verdicts: Vec<Verdict>,
    by: Option<Uuid>,
    reason: String,
    removing: bool,
    /// A call was opened: the keyboard goes to it.
    fresh: bool,
}

impl Disputes {
    pub fn waiting(&self) -> usize {
        self.calls.len()
    }

    pub fn close(&mut self) {
        self.open = None;
        self.taught = None;
        self.reason.clear();
        self.removing = false;
    }

    pub fn take(&mut self, event: &OfficeEvent) {
        match event {
            OfficeEvent::Disputed(calls) => self.calls.clone_from(calls),
            OfficeEvent::Call(reviewed) => {
                self.close();
                let elements = &reviewed.stored.attempt.elements;
                self.verdicts = elements.iter().map(crate::logbook::ElementVerdict::counted).collect();
                self.open = Some(reviewed.clone());
                self.fresh = true;
            }
            OfficeEvent::Ruled(id) | OfficeEvent::Removed(id)
                if self.open.as_ref().is_some_and(|r| r.stored.attempt.id == *id) =>
            {
                self.close();
            }
            OfficeEvent::Locked => self.close(),
            _ => {}
        }
    }

    pub fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>, around: &Around<'_>) -> bool {
        let words = given.words;
        if self.calls.is_empty() && self.open.is_none() {
            ui.label(words.say("office.none_disputed"));
            ui.add(Label::new(look::remark(words.say("office.disputed_about"))).wrap());
            return false;
        }
        let mut begun = false;
        look::sheets(ui, 2, |ui, n| match n {
            0 => self.list(ui, given),
            _ => begun = self.call(ui, given, around),
        });
        begun
    }

    fn list(&self, ui: &mut Ui, given: &mut Given<'_>) {
        let (shown, words) = (given.shown, given.words);
        ui.heading(words.say("office.waiting"));
        let open = self.open.as_ref().map(|r| r.stored.attempt.id);
        let mut first = true;
        for call in &self.calls {
            let student = shown.students.iter().find(|s| Some(s.id) == call.student);
            let name = student.map_or(words.say("shell.nobody"), |s| s.name.as_str());
            let title = title_of(shown.site.as_deref(), &call.site, &call.step);
            let when = when(call.started_at, call.utc_offset_seconds);
            let button = Button::new(format!("{name}, {title}, {when}"))
                .wrap()
                .selected(open == Some(call.id));
            let button = ui.add(button);
            if std::mem::take(&mut first) && open.is_none() {
                given.main(ui, &button);
            }
            if button.clicked() {
                given.ask(Command::Office(OfficeCommand::Open(call.id)));
            }
        }
    }

    fn call(&mut self, ui: &mut Ui, given: &mut Given<'_>, around: &Around<'_>) -> bool {
        let (shown, words) = (given.shown, given.words);
        // Held by this function as long as it is shown, and put back.
        let Some(reviewed) = self.open.take() else {
            ui.label(words.say("office.choose_call"));
            ui.add(Label::new(look::remark(words.say("office.disputed_about"))).wrap());
            return false;
        };
        given.to_main |= std::mem::take(&mut self.fresh);
        let attempt = &reviewed.stored.attempt;
        let site = shown.site.as_deref().filter(|s| s.id == attempt.site);
        let name = reviewed.name.as_deref().unwrap_or(words.say("shell.nobody"));
        ui.heading(format!("{name}, {}", title_of(site, &attempt.site, &attempt.step)));
        let version = site.map(|s| format!("{} {}", s.id, s.version));
        if self.taught.as_ref().is_none_or(|(of, _)| *of != version) {
            self.taught = Some((version, right_call(site, &attempt.step, &attempt.situation)));
        }
        if let Some((_, Some(right))) = &self.taught {
            ui.label(look::remark(words.say("verdicts.as_it_should_be")));
            ui.add(Label::new(look::bold(right)).wrap());
        }
        sound(ui, given, attempt);
        written(ui, given, attempt);
        ui.add_space(4.0);
        self.choose_verdicts(ui, given, site, attempt);
        judged_before(ui, given, &reviewed);
        ui.add_space(4.0);
        let begun = self.ruling(ui, given, around, &reviewed);
        self.remove(ui, given, attempt.id);
        self.open = Some(reviewed);
        begun
    }

    /// The verdicts, each to be chosen anew.
    fn choose_verdicts(&mut self, ui: &mut Ui, given: &mut Given<'_>, site: Option<&Site>, attempt: &NewAttempt) {
        let words = given.words;
        for (place, element) in attempt.elements.iter().enumerate() {
            let label = site.and_then(|s| s.elements.get(&element.element));
            let label = label.map_or_else(|| element.element.clone(), |e| super::super::words::capital(&e.label));
            let Some(verdict) = self.verdicts.get_mut(place) else {
                continue;
            };
            let own = words.say(look::verdict_key(element.verdict));
            let text = match &element.heard {
                Some(heard) => words.fill("office.program_heard", &[("verdict", own), ("heard", heard)]),
                None => words.fill("office.program", &[("verdict", own)]),
            };
            ui.horizontal_wrapped(|ui| {
                ui.label(look::bold(&label));
                ui.label(look::remark(text));
            });
            ui.horizontal_wrapped(|ui| {
                for v in Verdict::ALL {
                    let counts = *verdict == v;
                    let text = words.say(look::verdict_key(v));
                    let button = ui.add(Button::new(text).selected(counts));
                    // Where nothing can be heard the judging begins here.
                    if place == 0 && v == Verdict::ALL[0] && attempt.recording.is_none() {
                        given.main(ui, &button);
                    }
                    let name = format!("{label}: {text}");
                    button.widget_info(|| WidgetInfo::selected(Role::RadioButton, true, counts, &name));
                    if button.clicked() {
                        *verdict = v;
                    }
                }
            });
            ui.add_space(4.0);
        }
    }

    /// Who judges, why, and the one button that does it.
    fn ruling(&mut self, ui: &mut Ui, given: &mut Given<'_>, around: &Around<'_>, reviewed: &Reviewed) -> bool {
        let (shown, words) = (given.shown, given.words);
        let instructors: Vec<&Student> = shown.students.iter().filter(|s| s.is_instructor()).collect();
        if around.by.is_some() {
            self.by = around.by;
        } else if !instructors.iter().any(|s| Some(s.id) == self.by) {
            self.by = instructors.first().map(|s| s.id);
        }
        if instructors.is_empty() {
            let text = RichText::new(words.say("office.no_instructor")).color(Hue::Amber.on(ui));
            ui.add(Label::new(text).wrap());
        } else if around.by.is_none() {
            let name = super::name_of(&instructors, self.by);
            ui.horizontal_wrapped(|ui| {
                list(ui, "office.judged_by", words, &name, |ui| {
                    for s in &instructors {
                        ui.selectable_value(&mut self.by, Some(s.id), &s.name);
                    }
                });
            });
        }
        let label = ui.label(words.say("office.reason"));
        let width = ui.available_width().min(420.0);
        let reason = TextEdit::singleline(&mut self.reason)
            .char_limit(500)
            .desired_width(width);
        ui.add(reason).labelled_by(label.id);
        let elements = reviewed.stored.attempt.elements.iter().zip(&self.verdicts);
        let overrule: Vec<(String, Verdict)> = elements
            .filter(|(e, v)| e.counted() != **v)
            .map(|(e, v)| (e.element.clone(), *v))
            .collect();
        let reason = self.reason.trim();
        let ready = !reason.is_empty() && self.by.is_some() && !around.busy;
        let judged = |e: &crate::logbook::ElementVerdict| e.counted() != e.verdict;
        let key = if !overrule.is_empty() {
            "office.overrule"
        } else if reviewed.stored.attempt.elements.iter().any(judged) {
            "office.uphold_judged"
        } else {
            "office.uphold"
        };
        let pressed = look::add_primary(ui, ready, words.say(key)).clicked();
        if reason.is_empty() {
            ui.add(Label::new(look::remark(words.say("office.reason_first"))).wrap());
        }
        let Some(by) = self.by.filter(|_| pressed) else {
            return false;
        };
        given.ask(Command::Office(OfficeCommand::Judge(Ruling {
            attempt: reviewed.stored.attempt.id,
            overrule,
            by,
            reason: reason.to_owned(),
        })));
        given.to_main = true;
        true
    }

    fn remove(&mut self, ui: &mut Ui, given: &mut Given<'_>, id: Uuid) {
        let words = given.words;
        ui.add_space(8.0);
        if !self.removing {
            self.removing = ui.button(words.say("office.remove_call")).clicked();
            return;
        }
        match sure(ui, words, words.say("office.remove_call_sure"), "office.remove_yes") {
            Some(true) => given.ask(Command::Office(OfficeCommand::Remove(id))),
            Some(false) => self.removing = false,
            None => {}
        }
    }
}

/// Its recording, to be heard and to be written down by the second listener.
fn sound(ui: &mut Ui, given: &mut Given<'_>, attempt: &NewAttempt) {
    let (shown, words) = (given.shown, given.words);
    match attempt.recording {
        Some(recording) => {
            ui.horizontal_wrapped(|ui| {
                let hear = ui.button(words.say("office.hear"));
                if !shown.playing {
                    given.main(ui, &hear);
                }
                if hear.clicked() {
                    given.ask(Command::PlayKept(recording));
                }
                if shown.playing {
                    let stop = ui.button(words.say("verdicts.stop"));
                    given.main(ui, &stop);
                    if stop.clicked() {
                        given.ask(Command::StopPlaying);
                    }
                }
            });
            second::ui(ui, given, attempt.id, Some(recording));
        }
        None if attempt.model.is_none() => drop(ui.label(words.say("office.typed"))),
        None => drop(ui.add(Label::new(words.say("office.no_recording")).wrap())),
    }
}

/// What was heard or typed.
fn written(ui: &mut Ui, given: &Given<'_>, attempt: &NewAttempt) {
    let words = given.words;
    let written = attempt.transcript.trim();
    if !written.is_empty() {
        let key = if attempt.model.is_none() {
            "office.typed_words"
        } else {
            "office.own_text"
        };
        ui.add(Label::new(words.fill(key, &[("words", written)])).wrap());
    }
}

/// How it was judged before, and why.
fn judged_before(ui: &mut Ui, given: &Given<'_>, reviewed: &Reviewed) {
    let (shown, words) = (given.shown, given.words);
    for judged in &reviewed.judgements {
        let by = shown.students.iter().find(|s| Some(s.id) == judged.by);
        let by = by.map_or("-", |s| s.name.as_str());
        let reason = judged.reason.as_deref().unwrap_or("-");
        let text = words.fill("office.judged_before", &[("name", by), ("reason", reason)]);
        ui.add(Label::new(look::remark(text)).wrap());
    }
}

/// The title of a step; its id where the site in use is another one.
pub(super) fn title_of(here: Option<&Site>, site: &str, step: &str) -> String {
    let step_here = here.filter(|s| s.id == site).and_then(|s| s.step(step));
    step_here.map_or_else(|| format!("{step} ({site})"), |s| s.title.clone())
}

pub(super) fn when(at: Timestamp, offset: i32) -> String {
    let offset = Offset::from_seconds(offset).unwrap_or(Offset::UTC);
    offset.to_datetime(at).strftime("%Y-%m-%d %H:%M").to_string()
}

/// The call as taught, where the site in use still has what was dealt.
fn right_call(site: Option<&Site>, step: &str, situation: &serde_json::Value) -> Option<String> {
    let site = site?;
    let situation: Situation = serde_json::from_value(situation.clone()).ok()?;
    situation.check(site).ok()?;
    Some(situation.taught_call(site, site.step(step)?))
}
