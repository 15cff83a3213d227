//! Results as text for a terminal.

use crate::call::{Delivery, Evidence, Judgement, Situation};
use crate::drill::{Answer, Note};
use crate::site::{Language, Site, Step};
use std::fmt::Write as _;

/// A judgement as a small table with reasons, advice and score.
pub fn judgement(
    site: &Site,
    step: &Step,
    situation: &Situation,
    judgement: &Judgement,
    evidence: &Evidence,
) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "As it should be: {}", situation.taught_call(site, step));
    let _ = writeln!(
        out,
        "As it was heard: {}",
        evidence
            .readings
            .first()
            .map_or("(nothing)".to_owned(), |r| r.reading.words.join(" "))
    );
    for e in &judgement.elements {
        let label = site
            .elements
            .get(&e.element)
            .map_or(e.element.as_str(), |x| x.label.as_str());
        let _ = writeln!(
            out,
            "  {label:<14} {:<8} {}",
            e.verdict.word(),
            e.reason.text(Language::ENGLISH)
        );
    }
    if judgement.stop && !site.is_stop(step) {
        let _ = writeln!(
            out,
            "  Stop was called, and that is obeyed before anything else: the call does not count."
        );
    } else if judgement.refuses(site) {
        let _ = writeln!(
            out,
            "  It was said that it is not so yet, and that is always right to say: the call does not count."
        );
    }
    for a in &judgement.advice {
        let _ = writeln!(out, "  advice: {}", a.text(site.language));
    }
    if let Some(d) = &evidence.delivery {
        out.push_str(&delivery(d, site.language));
    }
    let parts: Vec<String> = judgement
        .score_parts
        .iter()
        .map(|p| format!("{} {}/{}", p.name, p.points, p.of))
        .collect();
    let score = judgement.score.map_or_else(
        || "No score".to_owned(),
        |s| format!("Score: {s} of 100 ({})", parts.join(", ")),
    );
    let _ = writeln!(out, "Outcome: {}. {score}", judgement.outcome.word());
    out
}

/// The figures of delivery with what is worth saying about them.
fn delivery(d: &Delivery, language: Language) -> String {
    let mut figures = vec![format!("speech {:.1} s", d.speech.max(0.0) + 0.0)];
    let mut add = |name: &str, value: Option<f32>, unit: &str, digits: usize| {
        figures.extend(value.map(|v| format!("{name} {v:.digits$} {unit}")));
    };
    add("prompt to press", d.prompt_to_press, "s", 1);
    add("press to first sound", d.press_to_sound, "s", 2);
    add("last sound to release", d.sound_to_release, "s", 2);
    add("rate", d.words_per_minute, "words/min", 0);
    add("pause beside the number", d.pause_beside_number, "s", 2);
    add("loudness", d.loudness, "LUFS", 0);
    add("peak", Some(d.peak), "dBFS", 0);
    let mut out = format!("  delivery: {}\n", figures.join(", "));
    for r in d.remarks() {
        let _ = writeln!(out, "  delivery: {}", r.text(language));
    }
    out
}

/// The readings and their weights.
pub fn readings(evidence: &Evidence) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "Free text: {}", evidence.transcript);
    let _ = writeln!(
        out,
        "Unexplained: {:.2} nats/s, fit {:.2} nats/token, no speech {:.2}",
        evidence.foreign, evidence.fit, evidence.no_speech
    );
    for u in &evidence.unread {
        let _ = writeln!(out, "No words from {:.2} to {:.2} s", u.begin, u.end);
    }
    for r in evidence.readings.iter().take(12) {
        let _ = writeln!(out, "  {:7.2}  {}", r.score, r.reading.words.join(" "));
    }
    out
}

/// What the other side says.
pub fn answer(answer: &Answer, step: &Step) -> String {
    match answer.line() {
        Some(line) => format!("[{}] {}", line.role, line.text),
        None => match answer {
            Answer::Stopped(_) => "Stopped: nothing moves. Nobody is ever blamed for a stop.".to_owned(),
            Answer::NothingMoves => "[nobody urges; nothing moves. \"Not ready\" is always right to say]".to_owned(),
            Answer::Complete(_) => "Complete.".to_owned(),
            Answer::Silence if step.may_be_left_out => Note::LeftOut.text(Language::ENGLISH),
            Answer::Silence => "[nobody answers; nothing moves]".to_owned(),
            _ => "Say it again.".to_owned(),
        },
    }
}
