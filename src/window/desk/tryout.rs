//! A typed call against the site as it is on the desk, saved or not.

use super::OnDesk;
use crate::call::{Evidence, Judgement, Situation, Vocabulary, judge, judge::Limits};
use crate::drill::deal;
use crate::site::{Site, Step};
use crate::window::look;
use crate::window::verdict;
use crate::window::words::{Words, capital};
use eframe::egui::{ComboBox, Grid, RichText, TextEdit, Ui};

#[derive(Default)]
pub(super) struct Tryout {
    step: usize,
    glider: usize,
    crew: u8,
    cable: usize,
    typed: String,
    /// The taught call is shown.
    shown: bool,
}

pub(super) fn ui(ui: &mut Ui, words: Words, desk: &mut OnDesk) {
    let Some(site) = desk.site.clone() else {
        ui.label(words.say("desk.try_broken"));
        return;
    };
    ui.label(words.say("desk.try_about"));
    let t = &mut desk.tryout;
    let steps: Vec<&Step> = site
        .steps
        .iter()
        .filter(|s| s.by.has_words() && !s.elements.is_empty())
        .collect();
    let titles: Vec<String> = steps.iter().map(|s| s.title.clone()).collect();
    let gliders: Vec<String> = site
        .fleet
        .iter()
        .map(|a| format!("{} ({})", a.registration, a.kind))
        .collect();
    let cables: Vec<String> = site.cables.iter().map(|c| c.id.clone()).collect();
    choose(ui, words.say("desk.try_step"), &mut t.step, &titles);
    choose(ui, words.say("facts.glider"), &mut t.glider, &gliders);
    choose(ui, words.say("facts.cable"), &mut t.cable, &cables);
    let seats = site.fleet.get(t.glider).map_or(1, |a| a.seats);
    t.crew = t.crew.clamp(1, seats.max(1));
    ui.horizontal(|ui| {
        ui.label(words.say("facts.on_board"));
        for crew in 1..=seats {
            let text = words.count("facts.person", "facts.people", usize::from(crew));
            ui.radio_value(&mut t.crew, crew, text);
        }
    });
    let (Some(step), Some(situation)) = (steps.get(t.step), situation(&site, t)) else {
        return;
    };
    let label = ui.label(words.say("desk.try_call"));
    ui.add(
        TextEdit::singleline(&mut t.typed)
            .char_limit(300)
            .desired_width(f32::INFINITY),
    )
    .labelled_by(label.id);
    ui.checkbox(&mut t.shown, words.say("desk.try_show"));
    if t.shown {
        ui.label(look::bold(situation.taught_call(&site, step)));
    }
    if t.typed.trim().is_empty() {
        return;
    }
    let evidence = Evidence::typed(&Vocabulary::of(&site, step), &t.typed);
    let judgement = judge(&site, step, &situation, &evidence, &Limits::DEFAULT);
    verdict(ui, words, &site, &judgement);
}

fn choose(ui: &mut Ui, label: &str, now: &mut usize, names: &[String]) {
    *now = (*now).min(names.len().saturating_sub(1));
    let text = names.get(*now).cloned().unwrap_or_default();
    let name = ui.label(look::remark(label));
    ComboBox::from_id_salt(label)
        .width(280.0)
        .selected_text(text)
        .show_ui(ui, |ui| {
            for (n, name) in names.iter().enumerate() {
                ui.selectable_value(now, n, name);
            }
        })
        .response
        .labelled_by(name.id);
}

fn situation(site: &Site, t: &Tryout) -> Option<Situation> {
    // What other elements need is dealt, always the same.
    let mut situation = deal(site, None, &mut || 0)?;
    situation.callsign = site.fleet.get(t.glider)?.registration.clone();
    situation.crew = t.crew;
    situation.cable.clone_from(&site.cables.get(t.cable)?.id);
    Some(situation)
}

fn verdict(ui: &mut Ui, words: Words, site: &Site, judgement: &Judgement) {
    let dark = ui.visuals().dark_mode;
    ui.separator();
    ui.label(
        RichText::new(capital(words.say(look::outcome_key(judgement.outcome))))
            .strong()
            .color(look::outcome(judgement.outcome).of(dark)),
    );
    Grid::new("tried").num_columns(3).striped(true).show(ui, |ui| {
        for e in &judgement.elements {
            let label = site.elements.get(&e.element).map_or(e.element.as_str(), |x| &x.label);
            ui.label(label);
            ui.label(RichText::new(words.say(verdict::key(e))).color(look::verdict(e.verdict, dark)));
            ui.label(e.heard.as_deref().unwrap_or_default());
            ui.end_row();
        }
    });
    for advice in &judgement.advice {
        ui.label(look::remark(format!("- {advice}")));
    }
}

#[cfg(test)]
impl Tryout {
    pub fn for_test(step: usize, typed: &str) -> Self {
        Self {
            step,
            crew: 1,
            typed: typed.to_owned(),
            ..Self::default()
        }
    }
}
