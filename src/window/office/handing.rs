//! Practice for home: handed out as files, and its results taken in.

use super::super::choose::Place;
use super::super::look::{self, Hue};
use super::super::notices;
use super::super::page::Given;
use super::super::words::Words;
use super::{Around, For};
use crate::worker::Command;
use crate::worker::home::ENDING;
use crate::worker::office::{Batch, HandingOut, OfficeCommand, OfficeEvent, Sheet, papers_folder};
use eframe::egui::{Button, Checkbox, DragValue, Label, RichText, Ui};
use std::collections::BTreeSet;

/// Calls for each student, at the most.
const CALLS: std::ops::RangeInclusive<usize> = 1..=100;

/// The drafts.
pub(super) struct Handing {
    whose: For,
    calls: usize,
    /// The steps to be practised, by id; the site's first call while nobody chose.
    steps: BTreeSet<String>,
    same: bool,
    folder: Place,
    results: Place,
    batch: Option<Batch>,
    taken: bool,
}

impl Default for Handing {
    fn default() -> Self {
        Self {
            whose: For::default(),
            calls: 20,
            steps: BTreeSet::from(["ready".to_owned()]),
            same: false,
            folder: Place::default(),
            results: Place::default(),
            batch: None,
            taken: false,
        }
    }
}

impl Handing {
    pub fn take(&mut self, event: &OfficeEvent) {
        if let OfficeEvent::Batch(batch) | OfficeEvent::BatchTaken(batch) = event {
            self.batch = Some(batch.clone());
            self.taken = matches!(event, OfficeEvent::BatchTaken(_));
        }
    }

    pub fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>, around: &Around<'_>) -> bool {
        let mut begun = false;
        look::sheets(ui, 2, |ui, n| {
            begun |= if n == 0 {
                self.out(ui, given, around)
            } else {
                self.back(ui, given, around)
            };
        });
        begun
    }

    fn out(&mut self, ui: &mut Ui, given: &mut Given<'_>, around: &Around<'_>) -> bool {
        let words = given.words;
        ui.heading(words.say("office.hand_out"));
        ui.add(Label::new(look::remark(words.say("office.hand_out_about"))).wrap());
        let Some(site) = given.shown.site.clone() else {
            ui.label(words.say("office.fail_no_site"));
            return false;
        };
        self.whose.choose(ui, given, around);
        ui.horizontal_wrapped(|ui| {
            let label = ui.label(look::remark(words.say("class.calls")));
            ui.add(DragValue::new(&mut self.calls).range(CALLS))
                .labelled_by(label.id);
            ui.add(Checkbox::new(&mut self.same, words.say("office.same_calls")));
        });
        ui.label(look::remark(words.say("office.steps")));
        ui.horizontal_wrapped(|ui| {
            for step in site.steps.iter().filter(|s| s.by.has_words()) {
                let mut chosen = self.steps.contains(&step.id);
                if ui.add(Checkbox::new(&mut chosen, &step.title)).changed() {
                    if chosen {
                        self.steps.insert(step.id.clone());
                    } else {
                        self.steps.remove(&step.id);
                    }
                }
            }
        });
        let steps: Vec<String> = site
            .steps
            .iter()
            .filter(|s| s.by.has_words() && self.steps.contains(&s.id))
            .map(|s| s.id.clone())
            .collect();
        self.folder.suggest(&papers_folder().join("cableside"));
        self.folder.for_writing(ui, words, "office.folder", &[]);
        let members = self.whose.members(given, around);
        let names: Vec<&str> = members.iter().map(|(_, name)| name.as_str()).collect();
        let (n, calls) = (members.len().to_string(), self.calls.to_string());
        let values = [("n", n.as_str()), ("calls", &calls), ("names", &names.join(", "))];
        ui.add(Label::new(words.fill("office.hand_out_what", &values)).wrap());
        let ready = !members.is_empty() && !steps.is_empty() && !self.folder.text.trim().is_empty() && !around.busy;
        let write = look::add_primary(ui, ready, words.say("office.hand_out_do"));
        // It stands at the end of a long form: who opens the page begins at its top.
        if given.by_key {
            given.main(ui, &write);
        }
        if !write.clicked() {
            return false;
        }
        given.ask(Command::Office(OfficeCommand::HandOut(HandingOut {
            class: self.whose.name(given, around),
            members,
            steps,
            calls: self.calls,
            // The same number deals the same calls.
            seed: self.same.then(|| uuid::Uuid::new_v4().as_u64_pair().1),
            folder: self.folder.path(),
        })));
        true
    }

    fn back(&mut self, ui: &mut Ui, given: &mut Given<'_>, around: &Around<'_>) -> bool {
        let words = given.words;
        ui.heading(words.say("office.take_in"));
        ui.add(Label::new(look::remark(words.say("office.take_in_about"))).wrap());
        let mut files = self
            .results
            .several(ui, words, "office.results", &[("choose.own", &[ENDING])]);
        let ready = !self.results.text.trim().is_empty() && !around.busy;
        let look = ui.add_enabled(ready, Button::new(words.say("office.check")));
        if look.clicked() {
            files = vec![self.results.path()];
        }
        let mut begun = !files.is_empty();
        if begun {
            self.batch = None;
            given.ask(Command::Office(OfficeCommand::LookIn(files)));
        }
        let Some(batch) = &self.batch else { return begun };
        if batch.sheets.is_empty() {
            ui.label(words.say("office.no_results"));
        }
        for sheet in &batch.sheets {
            line(ui, words, sheet);
        }
        if batch.left > 0 {
            let text = words.fill("office.batch_left", &[("n", &batch.left.to_string())]);
            ui.add(Label::new(text).wrap());
        }
        let good: Vec<_> = batch.sheets.iter().filter(|s| s.inside.is_ok()).collect();
        if !self.taken && !good.is_empty() {
            let n = good.len().to_string();
            let take = Button::new(words.fill("office.take_in_do", &[("n", &n)]));
            let take = ui.add_enabled(!around.busy, take);
            if take.clicked() {
                let files = good.iter().map(|s| s.file.clone()).collect();
                given.ask(Command::Office(OfficeCommand::TakeIn(files)));
                begun = true;
            }
        }
        begun
    }
}

/// One file of results: what is in it, or why it is not taken, or what became of it.
fn line(ui: &mut Ui, words: Words, sheet: &Sheet) {
    let file = sheet
        .file
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    let (hue, text) = match (&sheet.inside, &sheet.taken) {
        (Err(why), _) => (
            Hue::Red,
            words.fill(
                "office.not_taken",
                &[("file", &file), ("why", &notices::text(words, why))],
            ),
        ),
        (Ok((name, attempts, recordings, sealed)), None) => {
            let (attempts, recordings) = (attempts.to_string(), recordings.to_string());
            let values = [
                ("file", file.as_str()),
                ("name", name),
                ("attempts", &attempts),
                ("recordings", &recordings),
                ("sealed", sealed),
            ];
            (Hue::Ink, words.fill("office.sheet", &values))
        }
        (Ok((name, ..)), Some(taken)) => {
            let counted = [taken.stored, taken.here, taken.gone, taken.silent, taken.twice].map(|n| n.to_string());
            let values = [
                ("name", name.as_str()),
                ("stored", &counted[0]),
                ("here", &counted[1]),
                ("gone", &counted[2]),
                ("silent", &counted[3]),
                ("twice", &counted[4]),
            ];
            (Hue::Green, words.fill("office.sheet_taken", &values))
        }
    };
    ui.add(Label::new(RichText::new(text).color(hue.on(ui))).wrap());
}
