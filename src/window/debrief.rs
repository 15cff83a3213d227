//! The debrief of the last call. First the one thing that matters and what the other side answers; then what was said, part by
//! part, each with word, sign and colour; the sound, the calls to listen to; the model call and the reasons, which a retry
//! keeps closed; delivery, advice, score for who wants them.

use super::page::Given;
use super::verdict::{self, Kind};
use super::wave::{self, Wave};
use super::words::{Words, capital};
use super::{figures, hints, look, reasons, second};
use crate::call::{ElementVerdict, Judgement, Outcome, Verdict};
use crate::drill::{Answer, Note, TurnState};
use crate::site::{Site, Step, placeholders};
use crate::worker::{Command, Judged};
use eframe::egui::{Button, CollapsingHeader, Color32, Label, RichText, Sense, TextStyle, Ui, Vec2};
use std::collections::BTreeMap;
use uuid::Uuid;

/// The debrief's memory between frames.
#[derive(Debug, Default)]
pub(super) struct Debrief {
    wave: Wave,
    /// The call whose words were asked for on a retry.
    opened: Option<Uuid>,
}

impl Debrief {
    /// May the words of the call be read? Not while it is to be made once more, unless they were asked for.
    fn open(&self, given: &Given<'_>, judged: &Judged) -> bool {
        given.shown.state == Some(TurnState::Done) || self.opened == Some(judged.id)
    }

    /// The outcome, the one thing that matters, and what the other side says: always in sight.
    pub(super) fn head(&self, ui: &mut Ui, given: &mut Given<'_>) {
        let (shown, words) = (given.shown, given.words);
        let (Some((site, step)), Some(judged)) = (shown.step(), &shown.judged) else {
            return;
        };
        let kind = verdict::kind(judged);
        let held = shown.held_out.contains(&judged.id);
        let (hue, sign, word) = if held {
            (look::Hue::Blue, Verdict::Unsure, "outcome.set_aside")
        } else if matches!(kind, Kind::Void | Kind::LetGo | Kind::AnotherCall | Kind::NoAnswer) {
            (look::Hue::Blue, Verdict::Unsure, "outcome.once_more")
        } else if kind == Kind::Stopped {
            (look::Hue::Green, Verdict::Said, "outcome.stopped")
        } else if kind == Kind::HeldBack {
            (look::Hue::Green, Verdict::Said, "outcome.held_back")
        } else {
            let o = judged.judgement.outcome;
            (look::outcome(o), look::outcome_sign(o), look::outcome_key(o))
        };
        let colour = hue.on(ui);
        // What does not fit beside the word goes below it: a row too wide would widen everything under it.
        ui.horizontal_wrapped(|ui| {
            let (place, _) = ui.allocate_exact_size(Vec2::splat(24.0), Sense::hover());
            look::sign(ui.painter(), place, Some(sign), colour);
            ui.label(RichText::new(words.say(word)).text_style(look::big()).color(colour));
            if judged.attempt > 1 && kind != Kind::Void {
                let attempt = words.fill("verdicts.attempt", &[("n", &judged.attempt.to_string())]);
                ui.label(look::remark(attempt));
            }
        });
        let text = if held {
            words.say("verdicts.held_out").to_owned()
        } else {
            verdict::one_thing(words, site, step, judged, self.open(given, judged))
        };
        ui.add(Label::new(RichText::new(text).text_style(TextStyle::Heading)).wrap());
        answer(ui, site, step, judged, given);
    }

    /// Everything else.
    pub(super) fn body(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let (shown, words) = (given.shown, given.words);
        let (Some((site, step)), Some(judged), Some(dealt)) = (shown.step(), &shown.judged, &shown.dealt) else {
            return;
        };
        let kind = verdict::kind(judged);
        let judgement = &judged.judgement;
        troubles(ui, words, judged, kind);
        let open = self.open(given, judged);
        ui.add_space(4.0);
        if matches!(kind, Kind::AnotherCall | Kind::NoAnswer) {
            ui.add(Label::new(words.fill("verdicts.heard_words", &[("words", &heard(words, judged))])).wrap());
            let idle = !matches!(shown.state, Some(TurnState::Transmitting | TurnState::Judging));
            hints::buttons(ui, given, idle);
        } else if !matches!(kind, Kind::LetGo | Kind::Stopped | Kind::HeldBack)
            && judgement.outcome != Outcome::NothingHeard
        {
            ui.label(look::remark(words.say("verdicts.as_heard")));
            tiles(ui, words, (site, step), judged, &shown.earlier);
        }
        self.sound(ui, given, site, step, judged);
        if !matches!(kind, Kind::LetGo | Kind::Void) {
            if open {
                let call = dealt.situation.taught_call(site, step);
                ui.label(look::remark(words.say("verdicts.as_it_should_be")));
                ui.add(Label::new(look::bold(call)).wrap());
                // Stop and "not ready" are no errors: what else was left out is none either.
                if !matches!(kind, Kind::Stopped | Kind::HeldBack) {
                    elements(ui, words, site, judged);
                }
            } else {
                ui.horizontal_wrapped(|ui| {
                    if ui.button(words.say("verdicts.show_words")).clicked() {
                        self.opened = Some(judged.id);
                    }
                    ui.add(Label::new(look::remark(words.say("verdicts.retry"))).wrap());
                });
            }
        }
        held_out(ui, given, judged, kind);
        let details = CollapsingHeader::new(words.say("verdicts.details")).id_salt("details");
        details.default_open(false).show(ui, |ui| {
            score(ui, words, site, judgement);
            if !judgement.advice.is_empty() {
                ui.label(look::bold(words.say("verdicts.advice")));
                for advice in &judgement.advice {
                    ui.add(Label::new(format!("\u{2022} {}", advice.text(words.language()))).wrap());
                }
            }
            if let Some(delivery) = &judged.evidence.delivery {
                ui.label(look::bold(words.say("figure.heading")));
                figures::ui(ui, words, delivery, site.is_stop(step));
            }
        });
        remarks(ui, words, site, step, judged);
    }

    /// The sound as a picture, and what can be listened to.
    fn sound(&mut self, ui: &mut Ui, given: &mut Given<'_>, site: &Site, step: &Step, judged: &Judged) {
        let (shown, words) = (given.shown, given.words);
        let idle = !matches!(shown.state, Some(TurnState::Transmitting | TurnState::Judging));
        ui.horizontal_wrapped(|ui| {
            let mut play = |key, wanted: bool, command| {
                if wanted && ui.add_enabled(idle, Button::new(words.say(key))).clicked() {
                    given.ask(command);
                }
            };
            play("verdicts.play_own", judged.spoken, Command::PlayOwn);
            // Where the call was another one, hearing the right one stands above already.
            let model = !matches!(verdict::kind(judged), Kind::AnotherCall | Kind::NoAnswer);
            play("verdicts.play_model", model, Command::PlayModel { slow: false });
            play("hints.slowly", model, Command::PlayModel { slow: true });
            play("verdicts.play_both", judged.spoken, Command::PlayBoth);
            if shown.playing && ui.button(words.say("verdicts.stop")).clicked() {
                given.ask(Command::StopPlaying);
            }
        });
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
    }
}

/// What was wrong with the recording; a microphone that failed and a key let go at once have said so in the first line.
fn troubles(ui: &mut Ui, words: Words, judged: &Judged, kind: Kind) {
    if matches!(kind, Kind::LetGo) {
        return;
    }
    let troubles: Vec<String> = match &judged.clip {
        Some(clip) => clip.troubles.iter().map(|t| reasons::trouble(words, t)).collect(),
        None => judged.troubles.clone(),
    };
    for trouble in troubles {
        let colour = look::Hue::Amber.on(ui);
        ui.add(Label::new(RichText::new(trouble).color(colour)).wrap());
    }
}

/// What is worth saying about how it was spoken: over somebody, cut off, too late for a stop.
fn remarks(ui: &mut Ui, words: Words, site: &Site, step: &Step, judged: &Judged) {
    // Whoever was spoken over is not measured by the other side's last word.
    let over = judged.over.then(|| Note::SpokeOver.text(words.language()));
    if let Some(text) = over {
        ui.add(Label::new(RichText::new(text).color(look::Hue::Amber.on(ui))).wrap());
    }
    let Some(delivery) = &judged.evidence.delivery else {
        return;
    };
    let mut texts: Vec<String> = delivery.remarks().iter().map(|r| r.text(words.language())).collect();
    texts.extend(figures::late(words, delivery, site.is_stop(step)));
    for text in texts {
        ui.add(Label::new(format!("\u{2022} {text}")).wrap());
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

fn answer(ui: &mut Ui, site: &Site, step: &Step, judged: &Judged, given: &mut Given<'_>) {
    let (shown, words) = (given.shown, given.words);
    let idle = !matches!(shown.state, Some(TurnState::Transmitting | TurnState::Judging));
    if let Some(line) = judged.answer.line().filter(|l| !l.text.is_empty()) {
        ui.horizontal_wrapped(|ui| {
            let who = capital(site.role_name(&line.role));
            let text = words.fill("shell.says", &[("who", &who), ("text", &line.text)]);
            ui.add(Label::new(text).wrap());
            let hear = Button::new(words.say("verdicts.hear_answer"));
            if ui.add_enabled(idle, hear).clicked() {
                given.ask(Command::PlayAnswer);
            }
        });
    }
    if verdict::kind(judged) == Kind::AnotherCall {
        return;
    }
    let hint = match &judged.answer {
        Answer::Ask { .. } => "verdicts.hint_ask",
        Answer::ReadBack { .. } => "verdicts.hint_read_back",
        Answer::SayAgain(_) => "verdicts.hint_say_again",
        Answer::Silence if step.may_be_left_out && !judged.void => return,
        Answer::Silence => "verdicts.hint_silence",
        Answer::NothingMoves => "verdicts.hint_held_back",
        // The first line has said it.
        Answer::Stopped(_) | Answer::Complete(_) => return,
    };
    let hint = if judged.void { "verdicts.hint_silence" } else { hint };
    ui.add(Label::new(words.say(hint)).wrap());
}

/// What was said, in the order taught, each part with its name and its verdict. Rows are made by hand: a frame in a wrapping
/// row does not move to the next one but squeezes its text.
fn tiles(ui: &mut Ui, words: Words, (site, step): (&Site, &Step), judged: &Judged, earlier: &BTreeMap<String, String>) {
    let body = TextStyle::Body.resolve(ui.style());
    let heavy = look::bold_font(body.size);
    let gap = ui.spacing().item_spacing.x;
    let width = |ui: &Ui, text: &str| {
        let galley = ui
            .painter()
            .layout_no_wrap(text.to_owned(), heavy.clone(), Color32::WHITE);
        galley.size().x
    };
    let mut rows: Vec<Vec<(String, String, &ElementVerdict)>> = vec![Vec::new()];
    let mut used = 0.0;
    let room = ui.available_width();
    for id in placeholders(&step.taught) {
        let Some(e) = judged.judgement.element(id) else {
            continue;
        };
        let kept = judged.kept.contains(&e.element);
        let said = if kept {
            earlier.get(id).cloned().or_else(|| verdict::said(site, e))
        } else {
            verdict::on_tile(site, step, judged, e)
        };
        let said = said.unwrap_or_else(|| "\u{2013}".to_owned());
        let name = if kept {
            words.fill("verdicts.kept", &[("part", label(site, id))])
        } else {
            label(site, id).to_owned()
        };
        let word = width(ui, words.say(verdict::key(e))) + 22.0;
        let wide = width(ui, &said).max(word).max(width(ui, &name)).min(room - look::CARD) + look::CARD + gap;
        if used + wide > room && used > 0.0 {
            rows.push(Vec::new());
            used = 0.0;
        }
        used += wide;
        if let Some(row) = rows.last_mut() {
            row.push((name, said, e));
        }
    }
    for row in rows {
        ui.horizontal_top(|ui| {
            for (name, said, e) in row {
                look::card(ui, look::verdict_hue(e.verdict)).show(ui, |ui| {
                    ui.vertical(|ui| {
                        ui.spacing_mut().item_spacing.y = 2.0;
                        ui.add(Label::new(look::remark(name)).extend());
                        let said = Label::new(look::bold(said));
                        // A call of one long sentence is wider than the page.
                        ui.add(if ui.available_width() < room * 0.9 {
                            said.extend()
                        } else {
                            said.wrap()
                        });
                        look::signed(ui, e.verdict, words.say(verdict::key(e)));
                    });
                });
            }
        });
    }
}

fn label<'s>(site: &'s Site, id: &'s str) -> &'s str {
    site.elements.get(id).map_or(id, |e| e.label.as_str())
}

/// Each part that was not said, with the reason and why it is said at all.
fn elements(ui: &mut Ui, words: Words, site: &Site, judged: &Judged) {
    for e in judged.judgement.elements.iter().filter(|e| e.verdict != Verdict::Said) {
        ui.add_space(2.0);
        ui.horizontal_wrapped(|ui| {
            ui.label(look::bold(label(site, &e.element)));
            look::signed(ui, e.verdict, words.say(verdict::key(e)));
        });
        ui.add(Label::new(e.reason.text(words.language())).wrap());
        if let Some(element) = site.elements.get(&e.element) {
            ui.add(Label::new(look::remark(&element.why)).wrap());
        }
    }
}

/// "I did say that": the attempt waits for somebody who judges it, and counts for nothing until then.
fn held_out(ui: &mut Ui, given: &mut Given<'_>, judged: &Judged, kind: Kind) {
    let words = given.words;
    let held = given.shown.held_out.contains(&judged.id);
    let nothing_to_say = judged.judgement.outcome == Outcome::Pass
        || matches!(kind, Kind::Void | Kind::LetGo | Kind::Stopped | Kind::HeldBack);
    if !held && nothing_to_say {
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
    if held && judged.spoken {
        second::ui(ui, given, judged.id, None);
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
