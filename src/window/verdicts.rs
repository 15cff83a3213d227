//! The verdicts on the words of the last call: as it should be, as it was heard, each element with word, colour and
//! reason; then advice, score, and the call to listen to.

use super::look;
use super::page::Given;
use super::words::{Words, capital};
use crate::call::{Judgement, Outcome, Verdict};
use crate::drill::{Answer, TurnState};
use crate::site::{Site, Step, placeholders};
use crate::worker::{Command, Judged};
use eframe::egui::{Button, Color32, Grid, Label, RichText, TextStyle, Ui};

pub(super) fn ui(ui: &mut Ui, given: &mut Given<'_>) {
    let (shown, words_of) = (given.shown, given.words);
    let (Some((site, step)), Some(judged), Some(dealt)) = (shown.step(), &shown.judged, &shown.dealt) else {
        ui.heading(words_of.say("verdicts.heading"));
        ui.label(words_of.say("verdicts.empty"));
        return;
    };
    let dark = ui.visuals().dark_mode;
    let judgement = &judged.judgement;
    let colour = look::outcome(judgement.outcome, dark);
    ui.label(
        RichText::new(words_of.say(look::outcome_key(judgement.outcome)))
            .text_style(look::big())
            .color(colour),
    );
    ui.label(meaning(words_of, judgement, judged.attempt));
    for trouble in &judged.troubles {
        ui.colored_label(look::trouble(dark), trouble);
    }
    answer(ui, judged, given);
    ui.separator();
    ui.label(words_of.say("verdicts.as_it_should_be"));
    words(ui, words_of, site, step, judgement);
    ui.add(Label::new(RichText::new(dealt.situation.taught_call(site, step)).strong()).wrap());
    ui.label(words_of.say("verdicts.as_heard"));
    ui.add(Label::new(RichText::new(heard(words_of, judged)).strong()).wrap());
    ui.separator();
    reasons(ui, words_of, site, judgement);
    if !judgement.advice.is_empty() {
        ui.separator();
        ui.label(words_of.say("verdicts.advice"));
        for advice in &judgement.advice {
            ui.add(Label::new(format!("- {advice}")).wrap());
        }
    }
    ui.separator();
    score(ui, words_of, site, judgement);
}

fn meaning(words: Words, judgement: &Judgement, attempt: u32) -> String {
    let text = words.say(match judgement.outcome {
        Outcome::Pass => "verdicts.pass",
        Outcome::NotYet => "verdicts.not_yet",
        Outcome::SayAgain => "verdicts.say_again",
        Outcome::NothingHeard => "verdicts.nothing_heard",
    });
    if attempt > 1 {
        let attempt = words.fill("verdicts.attempt", &[("n", &attempt.to_string())]);
        format!("{text} {attempt}")
    } else {
        text.to_owned()
    }
}

fn heard(words: Words, judged: &Judged) -> String {
    let evidence = &judged.evidence;
    match evidence.readings.first() {
        Some(r) if !r.reading.words.is_empty() => r.reading.words.join(" "),
        _ => evidence
            .silence
            .clone()
            .unwrap_or_else(|| words.say("verdicts.no_words").to_owned()),
    }
}

fn answer(ui: &mut Ui, judged: &Judged, given: &mut Given<'_>) {
    let (shown, words) = (given.shown, given.words);
    let idle = !matches!(shown.state, Some(TurnState::Transmitting | TurnState::Judging));
    ui.horizontal_wrapped(|ui| {
        if let Some(line) = judged.answer.line().filter(|l| !l.text.is_empty()) {
            ui.label(format!("{}: \"{}\"", capital(&words.role(&line.role)), line.text));
            let hear = Button::new(words.say("verdicts.hear_answer"));
            if ui.add_enabled(idle, hear).clicked() {
                given.ask(Command::PlayAnswer);
            }
        }
        let own = Button::new(words.say("verdicts.play_own"));
        if judged.spoken && ui.add_enabled(idle, own).clicked() {
            given.ask(Command::PlayOwn);
        }
        if shown.playing && ui.button(words.say("verdicts.stop")).clicked() {
            given.ask(Command::StopPlaying);
        }
    });
    let hint = match &judged.answer {
        Answer::Ask { .. } => "verdicts.hint_ask",
        Answer::ReadBack { .. } => "verdicts.hint_read_back",
        Answer::SayAgain(_) => "verdicts.hint_say_again",
        Answer::Silence => "verdicts.hint_silence",
        Answer::Stopped(_) => "verdicts.hint_stopped",
        Answer::Complete(_) => return,
    };
    ui.label(words.say(hint));
}

/// The taught words in their order, each with its verdict under it. Rows are made by hand: a frame in a wrapping row
/// does not move to the next one but squeezes its text.
fn words(ui: &mut Ui, words: Words, site: &Site, step: &Step, judgement: &Judgement) {
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
        let wide = width(ui, &taught).max(width(ui, words.say(look::verdict_key(e.verdict)))) + look::CARD + gap;
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
                        ui.add(
                            Label::new(
                                RichText::new(words.say(look::verdict_key(verdict)))
                                    .color(colour)
                                    .strong(),
                            )
                            .extend(),
                        );
                    });
                });
            }
        });
    }
}

fn label<'s>(site: &'s Site, id: &'s str) -> &'s str {
    site.elements.get(id).map_or(id, |e| e.label.as_str())
}

fn reasons(ui: &mut Ui, words: Words, site: &Site, judgement: &Judgement) {
    let dark = ui.visuals().dark_mode;
    Grid::new("reasons").num_columns(3).spacing([16.0, 6.0]).show(ui, |ui| {
        for e in &judgement.elements {
            let colour = look::verdict(e.verdict, dark);
            let name = ui.label(label(site, &e.element));
            if let Some(element) = site.elements.get(&e.element) {
                name.on_hover_text(&element.why);
            }
            ui.label(
                RichText::new(words.say(look::verdict_key(e.verdict)))
                    .color(colour)
                    .strong(),
            );
            ui.add(Label::new(&e.reason).wrap());
            ui.end_row();
        }
    });
}

fn score(ui: &mut Ui, words: Words, site: &Site, judgement: &Judgement) {
    let Some(score) = judgement.score else {
        ui.label(words.say("verdicts.no_score"));
        return;
    };
    ui.label(RichText::new(words.fill("verdicts.score", &[("n", &score.to_string())])).heading());
    let parts: Vec<String> = judgement
        .score_parts
        .iter()
        .map(|p| {
            let (points, of) = (p.points.to_string(), p.of.to_string());
            let part = [("part", label(site, &p.name)), ("points", &points), ("of", &of)];
            words.fill("verdicts.part", &part)
        })
        .collect();
    ui.add(Label::new(parts.join(", ")).wrap());
}
