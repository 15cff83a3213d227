//! The record itself: another computer's taken over, and how long things are kept here.

use super::super::choose::Place;
use super::super::look;
use super::super::notices;
use super::super::page::Given;
use super::super::words::Words;
use super::{Around, Told, sure};
use crate::logbook::{Merged, Removed, Retention};
use crate::worker::Command;
use crate::worker::office::{OfficeCommand, OfficeEvent};
use eframe::egui::{Button, Checkbox, DragValue, Label, Ui};
use std::path::PathBuf;

/// The drafts, and what was foreseen.
#[derive(Default)]
pub(super) struct Record {
    other: Place,
    merge: Option<(PathBuf, Box<Merged>)>,
    /// The rule that holds.
    kept: Retention,
    keep: Retention,
    removal: Option<(Retention, Removed)>,
}

impl Record {
    /// What was asked and not answered.
    pub fn forget(&mut self) {
        self.merge = None;
        self.removal = None;
        self.keep = self.kept;
    }

    pub fn take(&mut self, event: &OfficeEvent) {
        match event {
            OfficeEvent::Kept(keep) => {
                self.kept = *keep;
                self.keep = *keep;
                self.removal = None;
            }
            OfficeEvent::KeepForeseen(None, keep, old) => self.removal = Some((*keep, old.clone())),
            OfficeEvent::MergeForeseen(file, merged) => self.merge = Some((file.clone(), merged.clone())),
            OfficeEvent::Merged(_) | OfficeEvent::Failed(_) => self.merge = None,
            _ => {}
        }
    }

    pub fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>, words: Words, around: &Around<'_>) -> bool {
        let mut begun = false;
        look::sheets(ui, 2, |ui, n| {
            if n == 0 {
                begun = self.merge(ui, given, around);
            } else {
                self.keep(ui, given, words);
            }
        });
        begun
    }

    fn merge(&mut self, ui: &mut Ui, given: &mut Given<'_>, around: &Around<'_>) -> bool {
        let words = given.words;
        ui.heading(words.say("office.merge"));
        ui.add(Label::new(look::remark(words.say("office.merge_about"))).wrap());
        let before = self.other.text.clone();
        self.other
            .for_reading(ui, words, "office.merge_file", &[("choose.logbook", &["sqlite"])]);
        if before != self.other.text {
            self.merge = None;
        }
        let ready = !self.other.text.trim().is_empty() && !around.busy;
        let look = look::add_primary(ui, ready && self.merge.is_none(), words.say("office.check"));
        given.main(ui, &look);
        if look.clicked() {
            given.ask(Command::Office(OfficeCommand::Merge {
                other: self.other.path(),
                sure: false,
            }));
            return true;
        }
        let Some((file, merged)) = &self.merge else {
            return false;
        };
        let nothing = lines(merged).is_empty();
        let mut what = vec![words.say("office.merge_would").to_owned()];
        what.extend(lines(merged).iter().map(|told| in_words(words, told)));
        if nothing {
            what.push(words.say("office.merge_nothing").to_owned());
        }
        match sure(ui, words, &what.join("\n"), "office.merge_yes") {
            Some(true) => {
                given.ask(Command::Office(OfficeCommand::Merge {
                    other: file.clone(),
                    sure: true,
                }));
                self.merge = None;
                true
            }
            Some(false) => {
                self.merge = None;
                false
            }
            None => false,
        }
    }

    fn keep(&mut self, ui: &mut Ui, given: &mut Given<'_>, words: Words) {
        ui.heading(words.say("office.keep"));
        ui.add(Label::new(look::remark(words.say("office.keep_about"))).wrap());
        days(ui, words, &mut self.keep);
        let changed = self.keep != self.kept;
        let foreseen = self.removal.clone().filter(|(keep, _)| *keep == self.keep);
        let set = Button::new(words.say("office.keep_set"));
        let (keep, asked) = (self.keep, foreseen.is_some());
        if ui.add_enabled(changed && !asked, set).clicked() {
            given.ask(Command::Office(OfficeCommand::Keep {
                who: None,
                keep,
                sure: false,
            }));
        }
        let Some((_, old)) = foreseen.filter(|_| changed) else {
            return;
        };
        match sure(ui, words, &self::foreseen(words, &old), "office.keep_yes") {
            Some(true) => given.ask(Command::Office(OfficeCommand::Keep {
                who: None,
                keep,
                sure: true,
            })),
            Some(false) => {
                self.keep = self.kept;
                self.removal = None;
            }
            None => {}
        }
    }
}

/// What the next start would remove.
pub(super) fn foreseen(words: Words, old: &Removed) -> String {
    if old.attempts == 0 && old.recordings == 0 {
        return words.say("office.keep_none").to_owned();
    }
    let (n, recordings) = (old.attempts.to_string(), old.recordings.to_string());
    words.fill("office.keep_would", &[("n", &n), ("recordings", &recordings)])
}

/// What a merge brings and takes away, without what is nothing.
fn lines(m: &Merged) -> Vec<Told> {
    let mut out = Vec::new();
    let mut line = |key, shown: bool, facts: Vec<(&'static str, String)>| {
        if shown {
            out.push(Told::Done(key, facts));
        }
    };
    let n = |n: usize| ("n", n.to_string());
    line(
        "office.merge_come",
        m.attempts + m.runs > 0,
        vec![n(m.attempts), ("runs", m.runs.to_string())],
    );
    line(
        "office.merge_who_came",
        !m.who_came.is_empty(),
        vec![("names", m.who_came.join(", "))],
    );
    line("office.merge_recordings", m.recordings > 0, vec![n(m.recordings)]);
    line(
        "office.merge_who_went",
        !m.who_went.is_empty(),
        vec![("names", m.who_went.join(", "))],
    );
    line(
        "office.merge_went",
        m.attempts_removed + m.recordings_removed > 0,
        vec![n(m.attempts_removed), ("recordings", m.recordings_removed.to_string())],
    );
    line(
        "office.merge_same",
        !m.same_names.is_empty(),
        vec![("names", m.same_names.join(", "))],
    );
    line(
        "office.merge_missing",
        m.recordings_missing > 0,
        vec![n(m.recordings_missing)],
    );
    line("office.merge_left", m.recordings_left > 0, vec![n(m.recordings_left)]);
    line(
        "office.merge_bad",
        !m.stepped_over.is_empty(),
        vec![n(m.stepped_over.len())],
    );
    line(
        "office.merge_pins",
        !m.pins_changed.is_empty(),
        vec![("names", m.pins_changed.join(", "))],
    );
    line(
        "office.merge_instructors",
        !m.new_instructors.is_empty(),
        vec![("names", m.new_instructors.join(", "))],
    );
    line("office.merge_twice", m.twice > 0, vec![n(m.twice)]);
    out
}

fn in_words(words: Words, told: &Told) -> String {
    match told {
        Told::Done(key, facts) => {
            let facts: Vec<(&str, &str)> = facts.iter().map(|(n, v)| (*n, v.as_str())).collect();
            words.fill(key, &facts)
        }
        Told::Note(text) => notices::left_behind(words, text),
        Told::Failed(why) => notices::text(words, why),
    }
}

/// What a merge brought and took away.
pub(super) fn told_of_merge(merged: &Merged) -> Vec<Told> {
    let mut told = lines(merged);
    if told.is_empty() {
        told.push(Told::Done("office.merge_nothing", Vec::new()));
    }
    told.extend(
        merged
            .problems
            .iter()
            .chain(&merged.cleaned.problems)
            .cloned()
            .map(Told::Note),
    );
    if let Some(backup) = &merged.backup {
        let file = backup.display().to_string();
        told.push(Told::Done("office.merge_backup", vec![("file", file)]));
    }
    told.push(Told::Done("office.merge_both", Vec::new()));
    told
}

/// Two numbers of days, each of which may be none.
pub(super) fn days(ui: &mut Ui, words: Words, keep: &mut Retention) {
    for (days, key) in [
        (&mut keep.recordings_days, "office.keep_recordings"),
        (&mut keep.attempts_days, "office.keep_attempts"),
    ] {
        ui.horizontal_wrapped(|ui| {
            let mut on = days.is_some();
            let tick = ui.add(Checkbox::new(&mut on, words.say(key)));
            if on != days.is_some() {
                *days = on.then_some(365);
            }
            if let Some(days) = days {
                ui.add(DragValue::new(days).range(1..=36_500)).labelled_by(tick.id);
                ui.label(words.say("office.days_unit"));
            }
        });
    }
}
