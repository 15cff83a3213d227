//! The debrief of a whole launch: how it ended, what to practise, and every call with its verdict, what was heard, what the
//! others said to it, and the sound of both sides.

use super::look::{self, Hue};
use super::page::{Given, Page};
use super::verdict;
use super::words::{Words, capital};
use crate::call::{ElementVerdict, Judgement, Outcome, Verdict};
use crate::drill::{Ending, Entry, Want};
use crate::site::{Line, Site, Step};
use crate::worker::desk::DeskCommand;
use crate::worker::{Command, Flown};
use eframe::egui::{Button, Label, RichText, Ui};

/// One of the student's calls, with what came after it.
struct Called<'f> {
    /// Its place in the record.
    at: usize,
    seconds: f32,
    step: &'f str,
    want: Want,
    asked: Option<&'f str>,
    words: &'f str,
    judgement: &'f Judgement,
    /// What others said until the next call.
    answers: Vec<(&'f str, &'f str)>,
}

impl Called<'_> {
    /// The elements that count in it: an answer need hold only what was asked.
    fn elements(&self) -> impl Iterator<Item = &ElementVerdict> {
        let asked = self.asked;
        let counts = move |e: &&ElementVerdict| asked.is_none_or(|a| a == e.element || e.verdict == Verdict::Wrong);
        self.judgement.elements.iter().filter(counts)
    }

    /// What it came to; only calls of the launch itself are judged.
    fn outcome(&self) -> Option<Outcome> {
        (self.want == Want::Call).then(|| outcome(self.judgement, self.asked))
    }
}

/// What a call came to, of which only the part asked for may have been wanted.
pub(super) fn outcome(judgement: &Judgement, asked: Option<&str>) -> Outcome {
    match asked {
        _ if judgement.stop => Outcome::Pass,
        Some(asked) => judgement.answers(asked),
        None => judgement.outcome,
    }
}

fn calls(flown: &Flown) -> Vec<Called<'_>> {
    let mut out: Vec<Called<'_>> = Vec::new();
    for (at, (seconds, entry)) in flown.record.iter().enumerate() {
        match entry {
            Entry::Called {
                step,
                want,
                asked,
                words,
                judgement,
            } => out.push(Called {
                at,
                seconds: *seconds,
                step,
                want: *want,
                asked: asked.as_deref(),
                words,
                judgement,
                answers: Vec::new(),
            }),
            Entry::Spoken { role, text, .. } => {
                if let Some(last) = out.last_mut() {
                    last.answers.push((role, text));
                }
            }
            _ => {}
        }
    }
    out
}

/// Steps whose calls did not come at once, in their order.
fn to_practise<'s>(site: &'s Site, calls: &[Called<'_>]) -> Vec<&'s Step> {
    let failed = |s: &&Step| {
        let own = calls.iter().filter(|c| c.step == s.id);
        own.filter_map(Called::outcome).any(|o| o == Outcome::NotYet)
    };
    site.steps.iter().filter(failed).collect()
}

/// The debrief. The other launches are the page's to offer.
pub(super) fn ui(ui: &mut Ui, given: &mut Given<'_>, site: &Site, flown: &Flown, ending: Ending) {
    let words = given.words;
    let calls = calls(flown);
    ui.label(RichText::new(words.say("launch.over")).text_style(look::title()));
    ui.add(Label::new(RichText::new(ending.text(site)).heading()).wrap());
    // What could not be made out counts neither way.
    let judged = calls.iter().filter_map(Called::outcome);
    let judged: Vec<Outcome> = judged
        .filter(|o| !matches!(o, Outcome::SayAgain | Outcome::NothingHeard))
        .collect();
    if !judged.is_empty() {
        let right = judged.iter().filter(|o| **o == Outcome::Pass).count().to_string();
        let facts = [("right", right.as_str()), ("n", &judged.len().to_string())];
        ui.label(words.fill("launch.summary", &facts));
    }
    let practise = to_practise(site, &calls);
    ui.horizontal_wrapped(|ui| {
        if practise.is_empty() {
            if !judged.is_empty() && !ending.is_fault() {
                ui.label(words.say("launch.nothing_to_practise"));
            }
            return;
        }
        ui.label(words.say("launch.practise"));
        for step in practise {
            if ui.button(&step.title).clicked() {
                given.ask(Command::LeaveLaunch);
                given.go(Page::Practice);
                given.ask(Command::ChooseStep(step.id.clone()));
            }
        }
    });
    for (n, call) in calls.iter().enumerate() {
        ui.add_space(2.0);
        look::sheet(ui, |ui| one(ui, given, site, flown, call, n));
    }
}

fn one(ui: &mut Ui, given: &mut Given<'_>, site: &Site, flown: &Flown, call: &Called<'_>, n: usize) {
    let words = given.words;
    let title = site.step(call.step).map_or(call.step, |s| s.title.as_str());
    ui.horizontal_wrapped(|ui| {
        ui.label(look::bold(format!("{}. {title}", n + 1)));
        ui.label(look::remark(
            words.fill("launch.at", &[("s", &format!("{:.0}", call.seconds))]),
        ));
        if let Some(outcome) = call.outcome() {
            look::signed(ui, look::outcome_sign(outcome), words.say(look::outcome_key(outcome)));
        } else if call.judgement.stop {
            look::signed(ui, Verdict::Said, words.say("outcome.stopped"));
        }
    });
    let heard = if call.words.is_empty() {
        words.say("verdicts.no_words").to_owned()
    } else {
        call.words.to_owned()
    };
    ui.add(Label::new(words.fill("launch.heard", &[("words", &heard)])).wrap());
    if call.outcome().is_some_and(|o| o != Outcome::Pass) {
        faults(ui, words, site, call);
    }
    ui.horizontal_wrapped(|ui| {
        if let Some(sound) = flown.calls.iter().position(|at| *at == call.at)
            && ui.button(words.say("verdicts.play_own")).clicked()
        {
            given.ask(Command::PlayFlown(sound));
        }
        for (role, text) in &call.answers {
            let name = site.role_name(role);
            if ui
                .add(Button::new(words.fill("launch.hear_role", &[("role", name)])))
                .on_hover_text(*text)
                .clicked()
            {
                given.ask(Command::Desk(DeskCommand::Hear {
                    line: Line {
                        role: (*role).to_owned(),
                        text: (*text).to_owned(),
                        clip: None,
                    },
                    id: site.id.clone(),
                    language: site.language,
                }));
            }
        }
    });
    for (role, text) in &call.answers {
        let who = capital(site.role_name(role));
        ui.add(Label::new(words.fill("shell.says", &[("who", &who), ("text", text)])).wrap());
    }
}

/// Each part that did not come, with what was said instead and what is right.
fn faults(ui: &mut Ui, words: Words, site: &Site, call: &Called<'_>) {
    for e in call.elements().filter(|e| e.verdict != Verdict::Said) {
        let label = site
            .elements
            .get(&e.element)
            .map_or(e.element.as_str(), |x| x.label.as_str());
        ui.horizontal_wrapped(|ui| {
            look::signed(ui, e.verdict, words.say(verdict::key(e)));
            ui.label(look::bold(label));
            if let Some(said) = verdict::said(site, e).filter(|_| e.verdict == Verdict::Wrong) {
                ui.label(words.fill("launch.said_instead", &[("said", &said)]));
            }
        });
        ui.add(Label::new(e.reason.text(words.language())).wrap());
    }
}

/// What is still to come of a call, by name alone: the launch goes on, and the right words beside it would be read aloud.
fn undone(words: Words, site: &Site, judgement: &Judgement, asked: Option<&str>) -> String {
    let counts = |e: &&ElementVerdict| asked.is_none_or(|a| a == e.element || e.verdict == Verdict::Wrong);
    let open = judgement
        .elements
        .iter()
        .filter(|e| e.verdict != Verdict::Said)
        .filter(counts);
    let named = open.map(|e| {
        let label = site
            .elements
            .get(&e.element)
            .map_or(e.element.as_str(), |x| x.label.as_str());
        format!("{label}: {}", words.say(verdict::key(e)))
    });
    named.collect::<Vec<_>>().join(", ")
}

/// An entry of the time line. The student's calls have their verdict in sign, word and colour.
pub(super) fn entry(ui: &mut Ui, words: Words, site: &Site, flown: &Flown, at: f32, entry: &Entry) {
    let time = format!("{at:.0} s");
    ui.horizontal_top(|ui| {
        ui.add_sized(
            [44.0, 18.0],
            Label::new(look::remark(time)).halign(eframe::egui::Align::RIGHT),
        );
        ui.vertical(|ui| match entry {
            Entry::Called {
                want,
                asked,
                words: heard,
                judgement,
                ..
            } => {
                let text = if heard.is_empty() { "\u{2026}" } else { heard.as_str() };
                ui.add(Label::new(look::bold(words.fill("launch.you_said", &[("words", text)]))).wrap());
                if judgement.stop {
                    look::signed(ui, Verdict::Said, words.say("outcome.stopped"));
                } else if *want == Want::Call {
                    let outcome = outcome(judgement, asked.as_deref());
                    look::signed(ui, look::outcome_sign(outcome), words.say(look::outcome_key(outcome)));
                }
                if flown.ending.is_none() && !judgement.stop {
                    let undone = undone(words, site, judgement, asked.as_deref());
                    ui.add(Label::new(look::remark(undone)).wrap());
                    return;
                }
                for remark in crate::drill::debrief::remarks(site, entry) {
                    ui.add(Label::new(look::remark(remark)).wrap());
                }
            }
            Entry::Hand { .. } => {
                let text = crate::drill::debrief::line(site, &flown.role, entry);
                ui.add(Label::new(look::bold(text)).wrap());
            }
            Entry::Noted { .. } | Entry::Ended { .. } => {
                let text = crate::drill::debrief::line(site, &flown.role, entry);
                let good = match entry {
                    Entry::Noted { note, .. } => note.is_praise(),
                    Entry::Ended { ending, .. } => !ending.is_fault(),
                    _ => false,
                };
                let hue = if good { Hue::Green } else { Hue::Amber };
                let text = RichText::new(text.trim_start_matches("* ")).color(hue.on(ui));
                ui.add(Label::new(text).wrap());
            }
            _ => {
                let text = crate::drill::debrief::line(site, &flown.role, entry);
                ui.add(Label::new(text).wrap());
            }
        });
    });
}
