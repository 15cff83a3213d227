//! Showing what is in the logbook: attempts, runs, one of each.

use std::io::Write;

use super::super::Failure;
use super::{local, named, table};
use crate::logbook::{AttemptSummary, Done, Kind, Logbook, NewAttempt, Part, StoredAttempt, StoredRun, Verdict, Whose};

/// What was dealt, on one line: the values of the situation in a fixed order.
pub(super) fn dealt(situation: &serde_json::Value) -> String {
    let Some(object) = situation.as_object() else {
        return situation.to_string();
    };
    let value = |v: &serde_json::Value| v.as_str().map_or_else(|| v.to_string(), str::to_owned);
    let first = ["callsign", "crew", "cable"];
    let known = first.iter().filter_map(|k| object.get(*k).map(value));
    // What only some steps ask for lies one level deeper.
    let more = object.get("more").and_then(|m| m.as_object());
    let rest = object
        .iter()
        .filter(|(k, v)| !first.contains(&k.as_str()) && *k != "more" && !v.is_null())
        .chain(more.into_iter().flatten());
    known
        .chain(rest.map(|(k, v)| format!("{k} {}", value(v))))
        .collect::<Vec<_>>()
        .join(", ")
}

pub(super) fn list(
    logbook: &Logbook,
    whose: Whose,
    offset: u32,
    limit: u32,
    out: &mut impl Write,
) -> Result<(), Failure> {
    let attempts = logbook.attempts(whose, offset, limit)?;
    let total = logbook.count_attempts(whose)?;
    if attempts.is_empty() {
        writeln!(out, "No attempts here ({total} in all).")?;
        return Ok(());
    }
    let names = named(logbook)?;
    let name = |a: &AttemptSummary| {
        a.student
            .and_then(|id| names.get(&id))
            .map_or("-", String::as_str)
            .to_owned()
    };
    let mut rows = vec![
        [
            "id", "when", "student", "site", "step", "asked", "dealt", "outcome", "score", "try",
        ]
        .map(str::to_owned),
    ];
    for a in &attempts {
        rows.push([
            a.id.to_string()[..8].to_owned(),
            local(a.started_at, a.utc_offset_seconds),
            name(a),
            a.site.clone(),
            a.step.clone(),
            asked(&a.part),
            dealt(&a.situation),
            outcome(a),
            a.score.map_or_else(|| "-".to_owned(), |s| format!("{s:.0}")),
            a.turn_attempt.to_string(),
        ]);
    }
    table(&rows, out)?;
    writeln!(
        out,
        "{} to {} of {total}",
        offset + 1,
        u64::from(offset) + attempts.len() as u64
    )?;
    let counts = logbook.outcome_counts(whose)?;
    writeln!(
        out,
        "pass {}, not yet {}, say again {}, nothing heard {}",
        counts.pass, counts.not_yet, counts.say_again, counts.nothing_heard
    )?;
    if matches!(whose, Whose::Student(_)) {
        first_time(logbook, whose, out)?;
    }
    Ok(())
}

/// What was asked for and done, in a word or two.
fn asked(part: &Part) -> String {
    let what = match (part.kind, part.done) {
        (Kind::Ear, _) => "ear drill",
        (_, Done::Hand) => "by hand",
        (_, Done::Nothing) => "passed over",
        (kind, _) => kind.word(),
    };
    match &part.run {
        Some(run) if part.kind != Kind::Ear => format!("{what}, turn {}", run.position + 1),
        _ => what.to_owned(),
    }
}

/// The outcome that counts, and what is special about it.
fn outcome(a: &AttemptSummary) -> String {
    let counted = a.overruled_outcome.unwrap_or(a.outcome).word();
    match (a.held_out, a.overruled_outcome) {
        (true, _) => format!("{counted} (held out)"),
        (false, Some(_)) => format!("{counted} (overruled)"),
        (false, None) => counted.to_owned(),
    }
}

pub(super) fn runs(logbook: &Logbook, whose: Whose, limit: u32, out: &mut impl Write) -> Result<(), Failure> {
    let runs = logbook.runs(whose, 0, limit)?;
    if runs.is_empty() {
        writeln!(out, "No runs here.")?;
        return Ok(());
    }
    let names = named(logbook)?;
    let mut rows = vec![["id", "when", "student", "what", "site", "role", "dealt", "ending"].map(str::to_owned)];
    for r in &runs {
        rows.push([
            r.run.id.to_string()[..8].to_owned(),
            local(r.run.started_at, r.run.utc_offset_seconds),
            r.run
                .student
                .and_then(|id| names.get(&id))
                .cloned()
                .unwrap_or_else(|| "-".to_owned()),
            r.run.kind.word().to_owned(),
            r.run.site.clone(),
            r.run.role.clone().unwrap_or_else(|| "-".to_owned()),
            dealt(&r.run.situation),
            r.ending.clone().unwrap_or_else(|| "not ended".to_owned()),
        ]);
    }
    table(&rows, out)
}

/// An attempt or a run, whichever has this id.
pub(super) fn show_any(logbook: &Logbook, id: &str, json: bool, out: &mut impl Write) -> Result<(), Failure> {
    if let Some(run) = logbook.find_run(id)? {
        let attempts = logbook.attempts_of_run(run.run.id)?;
        if json {
            let value = serde_json::json!({"form": "cableside run", "version": 1, "run": run, "attempts": attempts});
            writeln!(out, "{}", serde_json::to_string_pretty(&value)?)?;
            return Ok(());
        }
        return show_run(logbook, &run, &attempts, out);
    }
    let stored = logbook.find_attempt(id)?;
    if json {
        let judgements = logbook.judgements(stored.attempt.id)?;
        let value =
            serde_json::json!({"form": "cableside attempt", "version": 1, "attempt": stored, "judgements": judgements});
        writeln!(out, "{}", serde_json::to_string_pretty(&value)?)?;
        return Ok(());
    }
    show(logbook, &stored, out)
}

fn show_run(
    logbook: &Logbook,
    stored: &StoredRun,
    attempts: &[AttemptSummary],
    out: &mut impl Write,
) -> Result<(), Failure> {
    let r = &stored.run;
    let student = r
        .student
        .map_or_else(|| Ok("nobody's".to_owned()), |id| logbook.student(id).map(|s| s.name))?;
    writeln!(out, "run       {} ({})", r.id, r.kind.word())?;
    writeln!(out, "student   {student}")?;
    writeln!(out, "when      {}", local(r.started_at, r.utc_offset_seconds))?;
    writeln!(out, "site      {} (version {})", r.site, r.site_version)?;
    if let Some(role) = &r.role {
        writeln!(out, "role      {role}")?;
    }
    writeln!(out, "dealt     {}", dealt(&r.situation))?;
    writeln!(out, "ending    {}", stored.ending.as_deref().unwrap_or("not ended"))?;
    writeln!(out)?;
    let mut rows = vec![["turn", "id", "step", "asked", "outcome"].map(str::to_owned)];
    for a in attempts {
        rows.push([
            a.part
                .run
                .as_ref()
                .map_or_else(String::new, |r| (r.position + 1).to_string()),
            a.id.to_string()[..8].to_owned(),
            a.step.clone(),
            asked(&Part {
                run: None,
                ..a.part.clone()
            }),
            outcome(a),
        ]);
    }
    table(&rows, out)
}

fn first_time(logbook: &Logbook, whose: Whose, out: &mut impl Write) -> Result<(), Failure> {
    let first = logbook.first_time(whose)?;
    writeln!(
        out,
        "\nAt the first attempt: {} of {} calls passed",
        first.outcomes.pass,
        first.outcomes.total()
    )?;
    let mut rows = vec![["element", "said", "wrong", "missing", "unsure"].map(str::to_owned)];
    for e in first.elements {
        rows.push([
            e.element,
            e.said.to_string(),
            e.wrong.to_string(),
            e.missing.to_string(),
            e.unsure.to_string(),
        ]);
    }
    table(&rows, out)
}

fn show(logbook: &Logbook, stored: &StoredAttempt, out: &mut impl Write) -> Result<(), Failure> {
    let a = &stored.attempt;
    let student = a
        .student
        .map_or_else(|| Ok("nobody's".to_owned()), |id| logbook.student(id).map(|s| s.name))?;
    writeln!(out, "attempt   {}", a.id)?;
    writeln!(out, "student   {student}")?;
    writeln!(out, "when      {}", local(a.started_at, a.utc_offset_seconds))?;
    writeln!(
        out,
        "site      {} (version {}), step {}",
        a.site, a.site_version, a.step
    )?;
    writeln!(
        out,
        "call      {} (attempt {} of its turn)",
        dealt(&a.situation),
        a.turn_attempt
    )?;
    writeln!(
        out,
        "heard     {}",
        if a.transcript.is_empty() {
            "nothing"
        } else {
            &a.transcript
        }
    )?;
    let score = a.score.map_or_else(String::new, |s| format!(", score {s:.0}"));
    let held_out = if a.held_out {
        ", held out of the record until somebody judges it"
    } else {
        ""
    };
    writeln!(out, "outcome   {}{score}{held_out}", a.outcome.word())?;
    if let Some(overruled) = stored.overruled_outcome {
        writeln!(out, "counts as {}", overruled.word())?;
    }
    if a.part != Part::default() {
        writeln!(out, "asked     {}", asked(&a.part))?;
    }
    if let Some(run) = &a.part.run {
        let role = run.role.as_deref().unwrap_or("-");
        writeln!(out, "run       {} as {role}", run.run)?;
    }
    match &a.model {
        Some(model) => writeln!(out, "model     {} ({})", model.name, model.sha1)?,
        None => writeln!(out, "model     none (typed)")?,
    }
    match a.recording.map(|r| r.path(logbook.recordings_folder())) {
        Some(file) if file.is_file() => writeln!(out, "recording {}", file.display())?,
        Some(file) => writeln!(out, "recording is not there any more: {}", file.display())?,
        None => writeln!(out, "recording none kept")?,
    }
    writeln!(out)?;
    show_elements(a, out)?;
    show_judgements(logbook, a, out)
}

/// What was judged of each element.
fn show_elements(a: &NewAttempt, out: &mut impl Write) -> Result<(), Failure> {
    let mut rows = vec![["element", "verdict", "heard", "margin", "seconds"].map(str::to_owned)];
    for e in &a.elements {
        let place = e.begin_seconds.zip(e.end_seconds);
        let overruled = e.overrule.as_ref().map(|o| o.verdict).map(Verdict::word);
        rows.push([
            e.element.clone(),
            overruled.map_or_else(
                || e.verdict.word().to_owned(),
                |o| format!("{} (was {})", o, e.verdict.word()),
            ),
            e.heard.clone().unwrap_or_else(|| "-".to_owned()),
            e.margin.map_or_else(|| "-".to_owned(), |m| format!("{m:.2}")),
            place.map_or_else(|| "-".to_owned(), |(b, e)| format!("{b:.2} to {e:.2}")),
        ]);
    }
    table(&rows, out)
}

/// What instructors judged of it.
fn show_judgements(logbook: &Logbook, a: &NewAttempt, out: &mut impl Write) -> Result<(), Failure> {
    let names = named(logbook)?;
    for j in logbook.judgements(a.id)? {
        let by =
            j.by.and_then(|id| names.get(&id))
                .map_or("somebody forgotten since", String::as_str);
        let what = match (&j.element, j.verdict) {
            (Some(element), Some(verdict)) => format!("{element}: {}", verdict.word()),
            (Some(element), None) => format!("{element}: as the program judged"),
            (None, _) => "stands as the program judged".to_owned(),
        };
        let why = j.reason.as_deref().unwrap_or("no reason given");
        writeln!(
            out,
            "judged by {by}, {}: {what} ({why})",
            local(j.at, a.utc_offset_seconds)
        )?;
    }
    Ok(())
}
