//! The debrief of the last call: as it should be, as it was heard, each element with word, sign, colour, reason and why it
//! is said; the sound as a picture; the calls to listen to; delivery, advice, score.

use super::page::Given;
use super::wave::{self, Wave};
use super::words::{Words, capital};
use super::{figures, look, reasons};
use crate::call::{Judgement, Outcome, Verdict};
use crate::drill::{Answer, TurnState};
use crate::site::{Site, Step, placeholders};
use crate::worker::{Command, Judged};
use eframe::egui::{Button, CollapsingHeader, Color32, Grid, Label, RichText, Sense, TextStyle, Ui, Vec2};

/// The debrief's memory between frames.
#[derive(Debug, Default)]
pub(super) struct Debrief {
    wave: Wave,
}

impl Debrief {
    pub(super) fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let (shown, words) = (given.shown, given.words);
        let (Some((site, step)), Some(judged), Some(dealt)) = (shown.step(), &shown.judged, &shown.dealt) else {
            ui.heading(words.say("verdicts.heading"));
            ui.label(words.say("verdicts.empty"));
            return;
        };
        let dark = ui.visuals().dark_mode;
        let judgement = &judged.judgement;
        let colour = look::outcome(judgement.outcome, dark);
        let outcome = words.say(look::outcome_key(judgement.outcome));
        ui.label(RichText::new(outcome).text_style(look::big()).color(colour));
        ui.add(Label::new(meaning(words, judgement, judged.attempt)).wrap());
        let troubles = match &judged.clip {
            Some(clip) => clip.troubles.iter().map(|t| reasons::trouble(words, t)).collect(),
            None => judged.troubles.clone(),
        };
        for trouble in troubles {
            ui.colored_label(look::trouble(dark), trouble);
        }
        answer(ui, judged, given);
        ui.separator();
        ui.label(words.say("verdicts.as_it_should_be"));
        cards(ui, words, site, step, judgement);
        ui.add(Label::new(RichText::new(dealt.situation.taught_call(site, step)).strong()).wrap());
        ui.label(words.say("verdicts.as_heard"));
        ui.add(Label::new(RichText::new(heard(words, judged)).strong()).wrap());
        self.sound(ui, given, site, step, judged);
        ui.separator();
        elements(ui, words, site, judged);
        held_out(ui, given, judged);
        if let Some(delivery) = &judged.evidence.delivery {
            ui.separator();
            CollapsingHeader::new(words.say("figure.heading"))
                .default_open(true)
                .show(ui, |ui| figures::ui(ui, words, delivery));
        }
        if !judgement.advice.is_empty() {
            ui.separator();
            ui.label(words.say("verdicts.advice"));
            for advice in &judgement.advice {
                ui.add(Label::new(format!("- {}", advice.text(words.language()))).wrap());
            }
        }
        ui.separator();
        score(ui, words, site, judgement);
    }

    /// The sound as a picture, and what can be listened to.
    fn sound(&mut self, ui: &mut Ui, given: &mut Given<'_>, site: &Site, step: &Step, judged: &Judged) {
        let (shown, words) = (given.shown, given.words);
        let idle = !matches!(shown.state, Some(TurnState::Transmitting | TurnState::Judging));
        if let Some(clip) = &judged.clip {
            let parts = wave::parts(words, site, step, &judged.judgement, &judged.evidence);
            if let Some(part) = self.wave.ui(ui, words, judged, clip, &parts)
                && idle
            {
                given.ask(Command::PlayPart {
                    begin: part.begin,
                    end: part.end,
                });
            }
            if !parts.is_empty() {
                ui.label(look::remark(words.say("wave.click")));
            }
        }
        ui.horizontal_wrapped(|ui| {
            let mut play = |key, wanted: bool, command| {
                if wanted && ui.add_enabled(idle, Button::new(words.say(key))).clicked() {
                    given.ask(command);
                }
            };
            play("verdicts.play_own", judged.spoken, Command::PlayOwn);
            play("verdicts.play_model", true, Command::PlayModel);
            play("verdicts.play_both", judged.spoken, Command::PlayBoth);
            if shown.playing && ui.button(words.say("verdicts.stop")).clicked() {
                given.ask(Command::StopPlaying);
            }
        });
    }
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
        _ => evidence.silence.map_or_else(
            || words.say("verdicts.no_words").to_owned(),
            |silence| silence.text(words.language()),
        ),
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
fn cards(ui: &mut Ui, words: Words, site: &Site, step: &Step, judgement: &Judgement) {
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
        // The verdict's sign stands before its word.
        let verdict = width(ui, words.say(look::verdict_key(e.verdict))) + 13.0 + gap;
        let wide = width(ui, &taught).max(verdict) + look::CARD + gap;
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

/// Each element with its verdict and reason; what was not said also with why it is said.
fn elements(ui: &mut Ui, words: Words, site: &Site, judged: &Judged) {
    let dark = ui.visuals().dark_mode;
    Grid::new("elements")
        .num_columns(3)
        .spacing([12.0, 6.0])
        .show(ui, |ui| {
            for e in &judged.judgement.elements {
                let colour = look::verdict(e.verdict, dark);
                let why = site.elements.get(&e.element).map(|x| x.why.as_str());
                let name = ui.label(label(site, &e.element));
                if let Some(why) = why {
                    name.on_hover_text(why);
                }
                ui.horizontal(|ui| {
                    let (place, _) = ui.allocate_exact_size(Vec2::splat(13.0), Sense::hover());
                    look::sign(ui.painter(), place, Some(e.verdict), colour);
                    let verdict = words.say(look::verdict_key(e.verdict));
                    ui.label(RichText::new(verdict).color(colour).strong());
                });
                ui.vertical(|ui| {
                    let reason = e.reason.text(words.language());
                    ui.add(Label::new(reason).wrap());
                    if let Some(why) = why.filter(|_| e.verdict != Verdict::Said) {
                        ui.add(Label::new(look::remark(why)).wrap());
                    }
                });
                ui.end_row();
            }
        });
}

/// "I did say that": the attempt waits for somebody who judges it, and counts for nothing until then.
fn held_out(ui: &mut Ui, given: &mut Given<'_>, judged: &Judged) {
    let words = given.words;
    let held = given.shown.held_out.contains(&judged.id);
    if !held && judged.judgement.outcome == Outcome::Pass {
        return;
    }
    let key = if held { "verdicts.put_back" } else { "verdicts.i_did" };
    let button = ui.button(words.say(key));
    if button.on_hover_text(words.say("verdicts.i_did_hint")).clicked() {
        given.ask(Command::HoldOut {
            attempt: judged.id,
            held: !held,
        });
    }
    if held {
        ui.add(Label::new(words.say("verdicts.held_out")).wrap());
    }
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
            let name = match p.name.as_str() {
                "wording and order" => words.say("verdicts.wording"),
                element => label(site, element),
            };
            let part = [("part", name), ("points", &points), ("of", &of)];
            words.fill("verdicts.part", &part)
        })
        .collect();
    ui.add(Label::new(parts.join(", ")).wrap());
}
