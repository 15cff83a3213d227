//! The verdicts on the words of the last call: as it should be, as it was heard, each element with word, colour and
//! reason; then advice, score, and the call to listen to.

use super::front::Action;
use super::look;
use super::shown::Shown;
use crate::call::{Judgement, Outcome, Verdict};
use crate::drill::{Answer, TurnState};
use crate::site::{Site, Step, placeholders};
use crate::worker::{Command, Judged};
use eframe::egui::{Button, Color32, Grid, Label, RichText, TextStyle, Ui};

pub(super) fn ui(ui: &mut Ui, shown: &Shown, actions: &mut Vec<Action>) {
    let (Some((site, step)), Some(judged), Some(dealt)) = (shown.step(), &shown.judged, &shown.dealt) else {
        ui.heading("The verdicts come here");
        ui.label(
            "Each part of the call is one of four: said, wrong, missing, or unsure where the sound does not decide.",
        );
        return;
    };
    let dark = ui.visuals().dark_mode;
    let judgement = &judged.judgement;
    let colour = look::outcome(judgement.outcome, dark);
    ui.label(
        RichText::new(judgement.outcome.word())
            .text_style(look::big())
            .color(colour),
    );
    ui.label(meaning(judgement, judged.attempt));
    for trouble in &judged.troubles {
        ui.colored_label(look::trouble(dark), trouble);
    }
    answer(ui, judged, shown, actions);
    ui.separator();
    ui.label("The call as it should be:");
    words(ui, site, step, judgement);
    ui.add(Label::new(RichText::new(dealt.situation.taught_call(site, step)).strong()).wrap());
    ui.label("As it was heard:");
    ui.add(Label::new(RichText::new(heard(judged)).strong()).wrap());
    ui.separator();
    reasons(ui, site, judgement);
    if !judgement.advice.is_empty() {
        ui.separator();
        ui.label("Advice, which changes no verdict:");
        for advice in &judgement.advice {
            ui.add(Label::new(format!("- {advice}")).wrap());
        }
    }
    ui.separator();
    score(ui, site, judgement);
}

fn meaning(judgement: &Judgement, attempt: u32) -> String {
    let text = match judgement.outcome {
        Outcome::Pass => "Every part that matters was said.",
        Outcome::NotYet => "Something that matters is wrong or missing.",
        Outcome::SayAgain => "The sound does not decide; this does not count against you.",
        Outcome::NothingHeard => "No call was heard; nobody answers and nothing moves.",
    };
    if attempt > 1 {
        format!("{text} Attempt {attempt} of this call.")
    } else {
        text.to_owned()
    }
}

fn heard(judged: &Judged) -> String {
    let evidence = &judged.evidence;
    match evidence.readings.first() {
        Some(r) if !r.reading.words.is_empty() => r.reading.words.join(" "),
        _ => evidence
            .silence
            .clone()
            .unwrap_or_else(|| "(no words of this call)".to_owned()),
    }
}

fn answer(ui: &mut Ui, judged: &Judged, shown: &Shown, actions: &mut Vec<Action>) {
    let idle = !matches!(shown.state, Some(TurnState::Transmitting | TurnState::Judging));
    ui.horizontal_wrapped(|ui| {
        if let Some(line) = judged.answer.line().filter(|l| !l.text.is_empty()) {
            let mut role = line.role.chars();
            let role: String = role
                .next()
                .map_or_else(String::new, |c| c.to_uppercase().chain(role).collect());
            ui.label(format!("{role}: \"{}\"", line.text));
            if ui.add_enabled(idle, Button::new("Hear the answer")).clicked() {
                actions.push(Action::Do(Command::PlayAnswer));
            }
        }
        if judged.spoken && ui.add_enabled(idle, Button::new("Play my call")).clicked() {
            actions.push(Action::Do(Command::PlayOwn));
        }
        if shown.playing && ui.button("Stop").clicked() {
            actions.push(Action::Do(Command::StopPlaying));
        }
    });
    let hint = match &judged.answer {
        Answer::Ask { .. } => "Answer the question: only what was asked, or the whole call.",
        Answer::ReadBack { .. } => "That was heard wrong or said wrong: correct it.",
        Answer::SayAgain(_) => "Say the whole call again.",
        Answer::Silence => "Make the call.",
        Answer::Stopped(_) => "Stopped. Nobody is ever blamed for a stop.",
        Answer::Complete(_) => return,
    };
    ui.label(hint);
}

/// The taught words in their order, each with its verdict under it. Rows are made by hand: a frame in a wrapping row
/// does not move to the next one but squeezes its text.
fn words(ui: &mut Ui, site: &Site, step: &Step, judgement: &Judgement) {
    let dark = ui.visuals().dark_mode;
    let font = TextStyle::Body.resolve(ui.style());
    let gap = ui.spacing().item_spacing.x;
    let width = |ui: &Ui, text: &str| {
        let galley = ui
            .painter()
            .layout_no_wrap(text.to_owned(), font.clone(), Color32::WHITE);
        galley.size().x
    };
    let mut rows: Vec<Vec<(String, Verdict)>> = vec![Vec::new()];
    let mut used = 0.0;
    for id in placeholders(&step.taught) {
        let Some(e) = judgement.element(id) else { continue };
        let taught = site.taught_words(id, &e.expected).unwrap_or_else(|| e.expected.clone());
        let wide = width(ui, &taught).max(width(ui, e.verdict.word())) + look::CARD + gap;
        if used + wide > ui.available_width() && used > 0.0 {
            rows.push(Vec::new());
            used = 0.0;
        }
        used += wide;
        if let Some(row) = rows.last_mut() {
            row.push((taught, e.verdict));
        }
    }
    for row in rows {
        ui.horizontal_top(|ui| {
            for (taught, verdict) in row {
                let colour = look::verdict(verdict, dark);
                look::card(ui, colour).show(ui, |ui| {
                    ui.vertical(|ui| {
                        ui.add(Label::new(RichText::new(taught).strong()).extend());
                        ui.add(Label::new(RichText::new(verdict.word()).color(colour).strong()).extend());
                    });
                });
            }
        });
    }
}

fn label<'s>(site: &'s Site, id: &'s str) -> &'s str {
    site.elements.get(id).map_or(id, |e| e.label.as_str())
}

fn reasons(ui: &mut Ui, site: &Site, judgement: &Judgement) {
    let dark = ui.visuals().dark_mode;
    Grid::new("reasons").num_columns(3).spacing([16.0, 6.0]).show(ui, |ui| {
        for e in &judgement.elements {
            let colour = look::verdict(e.verdict, dark);
            let name = ui.label(label(site, &e.element));
            if let Some(element) = site.elements.get(&e.element) {
                name.on_hover_text(&element.why);
            }
            ui.label(RichText::new(e.verdict.word()).color(colour).strong());
            ui.add(Label::new(&e.reason).wrap());
            ui.end_row();
        }
    });
}

fn score(ui: &mut Ui, site: &Site, judgement: &Judgement) {
    let Some(score) = judgement.score else {
        ui.label("No score: nothing is decided.");
        return;
    };
    ui.label(RichText::new(format!("Score {score} of 100")).heading());
    let parts: Vec<String> = judgement
        .score_parts
        .iter()
        .map(|p| format!("{} {} of {}", label(site, &p.name), p.points, p.of))
        .collect();
    ui.add(Label::new(parts.join(", ")).wrap());
}
