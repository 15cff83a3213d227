//! The site's calls, to read and to hear before anybody is tested: who says what to whom, in the order of a launch.

use super::choose::Place;
use super::look::{self, Hue};
use super::notices;
use super::office::wall;
use super::page::{Content, Given, Page};
use super::words::Words;
use crate::call::Situation;
use crate::site::{By, Line, Site, Step, fill};
use crate::worker::desk::DeskCommand;
use crate::worker::office::OfficeEvent;
use crate::worker::{Command, Event, Trouble};
use eframe::egui::{Label, RichText, Ui};
use std::sync::Arc;

/// The page: the glider and cable that the examples speak of.
#[derive(Default)]
pub struct CallsPage {
    site: Option<Arc<Site>>,
    glider: usize,
    cable: usize,
    /// Where the sheet for the wall goes; it is being written; what came of it.
    wall: Place,
    writing: bool,
    written: Option<Result<String, Trouble>>,
}

impl Content for CallsPage {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        let Some(site) = self.site.clone() else {
            ui.label(words.say("practice.not_ready"));
            return;
        };
        ui.label(RichText::new(words.fill("calls.heading", &[("site", &site.name)])).text_style(look::title()));
        ui.add(Label::new(words.say("calls.about")).wrap());
        self.example(ui, words, &site);
        let Some(situation) = self.situation(&site) else { return };
        if let Some(stop) = site.stop_step() {
            look::card(ui, Hue::Red).show(ui, |ui| {
                ui.set_min_width((ui.available_width() - 1.0).max(0.0));
                one(ui, given, &site, stop, &situation);
                ui.add(Label::new(words.say("calls.stop")).wrap());
            });
            ui.add_space(4.0);
        }
        let steps = order(&site);
        look::sheets(ui, steps.len() + 1, |ui, n| {
            if let Some(step) = steps.get(n) {
                one(ui, given, &site, step, &situation);
            } else {
                self.on_paper(ui, given);
            }
        });
    }

    fn take(&mut self, event: &Event) {
        if let Event::SiteLoaded(site) = event {
            self.site = Some(site.clone());
            self.glider = 0;
            self.cable = 0;
            self.wall = Place::default();
            self.written = None;
        }
        let Event::Office(told) = event else { return };
        if !self.writing {
            return;
        }
        match told {
            OfficeEvent::Written(file) => self.written = Some(Ok(file.display().to_string())),
            OfficeEvent::Failed(why) => self.written = Some(Err(why.clone())),
            _ => return,
        }
        self.writing = false;
    }
}

impl CallsPage {
    /// The same on one sheet, to be printed.
    fn on_paper(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        if wall(ui, given, &mut self.wall, self.writing) {
            self.writing = true;
            self.written = None;
        }
        let (hue, text) = match &self.written {
            None => return,
            Some(Ok(file)) => (Hue::Ink, words.fill("office.written", &[("file", file)])),
            Some(Err(why)) => (Hue::Amber, notices::text(words, why)),
        };
        ui.add(Label::new(RichText::new(text).color(hue.on(ui))).wrap());
    }

    /// The example: which glider, which cable.
    fn example(&mut self, ui: &mut Ui, words: Words, site: &Site) {
        ui.horizontal_wrapped(|ui| {
            let now = site
                .fleet
                .get(self.glider)
                .map_or_else(String::new, |a| a.registration.to_string());
            super::practice::list(ui, "calls.glider", words, &now, |ui| {
                for (n, a) in site.fleet.iter().enumerate() {
                    ui.selectable_value(&mut self.glider, n, format!("{}, {}", a.registration, a.kind));
                }
            });
            let now = site.cables.get(self.cable).map_or("", |c| c.taught.as_str());
            super::practice::list(ui, "facts.cable", words, now, |ui| {
                for (n, c) in site.cables.iter().enumerate() {
                    ui.selectable_value(&mut self.cable, n, &c.taught);
                }
            });
        });
    }

    fn situation(&self, site: &Site) -> Option<Situation> {
        let (glider, cable) = (site.fleet.get(self.glider)?, site.cables.get(self.cable)?);
        Some(Situation::new(
            glider.registration.clone(),
            glider.seats,
            cable.id.clone(),
        ))
    }
}

/// The launch in its order, then what is not part of it; stop stands above all.
fn order(site: &Site) -> Vec<&Step> {
    let launch = site.launch.iter().flat_map(|l| &l.order).filter_map(|id| site.step(id));
    let launch: Vec<&Step> = launch.collect();
    let rest = site.steps.iter().filter(|s| !launch.iter().any(|l| l.id == s.id));
    let all = launch.iter().copied().chain(rest);
    all.filter(|s| !site.is_stop(s)).collect()
}

/// One call: who, to whom, how; its words; what comes back; hearing and practising it.
fn one(ui: &mut Ui, given: &mut Given<'_>, site: &Site, step: &Step, situation: &Situation) {
    let words = given.words;
    let how = words.say(match step.by {
        By::Radio => "calls.radio",
        By::Voice => "calls.voice",
        By::Hand => "calls.hand",
        By::Signal => "calls.signal",
    });
    ui.horizontal_wrapped(|ui| {
        ui.label(look::bold(&step.title));
        ui.label(look::remark(format!("{}, {how}", site.role_name(&step.speaker))));
    });
    if !step.by.has_words() || step.elements.is_empty() {
        ui.add(Label::new(words.say("calls.no_words")).wrap());
        return;
    }
    let call = situation.taught_call(site, step);
    ui.add(Label::new(look::bold(&call).heading()).wrap());
    if let Some(answer) = &step.answer {
        let values = situation.values(site, step);
        let text = fill(&answer.text, |name| site.taught_words(name, values.get(name)?));
        let text = super::words::capital(&text);
        ui.add(
            Label::new(look::remark(format!(
                "{}: {}",
                site.role_name(&answer.role),
                words.fill("desk.quoted", &[("text", &text)])
            )))
            .wrap(),
        );
    }
    ui.horizontal_wrapped(|ui| {
        if ui.button(words.say("calls.hear")).clicked() {
            given.ask(Command::Desk(DeskCommand::Hear {
                line: Line {
                    role: step.speaker.clone(),
                    text: call.clone(),
                    clip: None,
                },
                id: site.id.clone(),
                language: site.language,
            }));
        }
        if ui.button(words.say("calls.practise")).clicked() {
            given.go(Page::Practice);
            given.ask(Command::ChooseStep(step.id.clone()));
        }
    });
}
