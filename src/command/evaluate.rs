//! `cableside evaluate`: the real recogniser and judge over labelled calls, with a table of what they got right.
#![allow(clippy::print_stdout, clippy::print_stderr, reason = "a command's room prints")]

use super::Failure;
use super::common::{self, ModelChoice};
use crate::call::{Evidence, Judgement, Situation, Verdict, Vocabulary, judge, judge::Limits};
use crate::folders;
use crate::hear::Recogniser;
use crate::site::{Callsign, Site};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Instant;

/// Measure the recogniser on labelled calls
#[derive(Debug, clap::Args)]
pub struct EvaluateArgs {
    /// manifest.jsonl
    manifest: PathBuf,
    /// Write the results here
    #[arg(long, value_name = "RESULT.json")]
    out: PathBuf,
    /// Look for sites in this folder first
    #[arg(long, value_name = "DIR")]
    phrases: Option<PathBuf>,
    #[command(flatten)]
    model: ModelChoice,
    /// Clips heard at the same time (each with a model of its own; times are then not comparable)
    #[arg(long, default_value_t = 1)]
    jobs: usize,
    /// Only clips whose file name contains this
    #[arg(long)]
    only: Option<String>,
    /// Keep the readings in the results
    #[arg(long)]
    evidence: bool,
}

/// One line of a manifest.
#[derive(Debug, Clone, Deserialize)]
pub struct Labelled {
    audio: String,
    site: String,
    step: String,
    situation: RawSituation,
    truth: BTreeMap<String, String>,
    #[serde(default)]
    spoken: BTreeMap<String, serde_json::Value>,
    #[serde(default)]
    voice: String,
    #[serde(default)]
    fault: String,
    #[serde(default)]
    condition: String,
    #[serde(default)]
    human: bool,
}

#[derive(Debug, Clone, Deserialize)]
struct RawSituation {
    callsign: String,
    crew: u8,
    cable: String,
}

#[derive(Serialize)]
struct ElementResult {
    verdict: Verdict,
    heard: Option<serde_json::Value>,
    #[serde(skip_serializing_if = "Option::is_none")]
    margin: Option<f32>,
}

#[derive(Serialize, Default)]
struct ClipResult {
    audio: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    error: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    speech: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    outcome: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    milliseconds: Option<u64>,
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    elements: BTreeMap<String, ElementResult>,
    #[serde(skip_serializing_if = "Option::is_none")]
    evidence: Option<Evidence>,
}

struct Work<'a> {
    rows: &'a [Labelled],
    sites: BTreeMap<String, Result<Site, String>>,
    folder: PathBuf,
    next: AtomicUsize,
    done: Mutex<Vec<(usize, ClipResult, Option<Judgement>)>>,
}

/// Run the command.
pub fn run(args: &EvaluateArgs) -> Result<ExitCode, Failure> {
    let text = std::fs::read_to_string(&args.manifest)
        .map_err(|e| format!("the manifest cannot be read: {e}\n  {}", args.manifest.display()))?;
    let mut rows: Vec<Labelled> = Vec::new();
    for (i, line) in text.lines().enumerate().filter(|(_, l)| !l.trim().is_empty()) {
        rows.push(serde_json::from_str(line).map_err(|e| {
            format!(
                "line {} of the manifest is not in its form: {e}\n  {}",
                i + 1,
                args.manifest.display()
            )
        })?);
    }
    if let Some(only) = &args.only {
        rows.retain(|r| r.audio.contains(only));
    }
    if rows.is_empty() {
        return Err(format!("there are no labelled calls to measure\n  {}", args.manifest.display()).into());
    }
    let mut sites: BTreeMap<String, Result<Site, String>> = BTreeMap::new();
    for r in &rows {
        if !sites.contains_key(&r.site) {
            sites.insert(
                r.site.clone(),
                folders::load_site(&r.site, args.phrases.as_deref())
                    .map(|(site, _)| site)
                    .map_err(|e| e.to_string()),
            );
        }
    }
    let folder = args
        .manifest
        .parent()
        .map_or_else(|| PathBuf::from("."), Path::to_path_buf);
    let work = Work {
        rows: &rows,
        sites,
        folder,
        next: AtomicUsize::new(0),
        done: Mutex::new(Vec::new()),
    };
    let mut model_name = String::new();
    let mut recognisers = Vec::new();
    for _ in 0..args.jobs.max(1) {
        let r = args.model.load()?;
        r.model().clone_into(&mut model_name);
        recognisers.push(r);
    }
    std::thread::scope(|scope| -> Result<(), Failure> {
        for (i, mut r) in recognisers.into_iter().enumerate() {
            let work = &work;
            std::thread::Builder::new()
                .name(format!("evaluate-{i}"))
                .spawn_scoped(scope, move || work.run(&mut r, args.evidence))?;
        }
        Ok(())
    })?;
    let mut done = work
        .done
        .into_inner()
        .unwrap_or_else(std::sync::PoisonError::into_inner);
    done.sort_by_key(|(i, ..)| *i);
    eprintln!();
    print!("{}", table(&rows, &done, &model_name));
    let clips: Vec<&ClipResult> = done.iter().map(|(_, c, _)| c).collect();
    let json = serde_json::json!({ "model": model_name, "clips": clips });
    std::fs::write(&args.out, serde_json::to_string_pretty(&json)?)
        .map_err(|e| format!("the results cannot be written: {e}\n  {}", args.out.display()))?;
    Ok(ExitCode::SUCCESS)
}

impl Work<'_> {
    fn run(&self, recogniser: &mut impl Recogniser, keep: bool) {
        loop {
            let i = self.next.fetch_add(1, Ordering::Relaxed);
            let Some(row) = self.rows.get(i) else { return };
            let result = self.one(recogniser, row, keep);
            let (clip, judgement) = match result {
                Ok((c, j)) => (c, Some(j)),
                Err(e) => (
                    ClipResult {
                        audio: row.audio.clone(),
                        error: Some(e.to_string()),
                        ..Default::default()
                    },
                    None,
                ),
            };
            if let Ok(mut done) = self.done.lock() {
                done.push((i, clip, judgement));
                eprint!("\r{} of {}", done.len(), self.rows.len());
            }
        }
    }

    fn one(
        &self,
        recogniser: &mut impl Recogniser,
        row: &Labelled,
        keep: bool,
    ) -> Result<(ClipResult, Judgement), Failure> {
        let site = self.sites[&row.site].as_ref().map_err(String::as_str)?;
        let step = common::step(site, &row.step)?;
        if row.audio.contains("..") || Path::new(&row.audio).is_absolute() {
            return Err(format!("the clip lies outside the manifest's folder\n  {}", row.audio).into());
        }
        let s = &row.situation;
        let situation = Situation {
            callsign: Callsign::parse(&s.callsign)?,
            crew: s.crew,
            cable: s.cable.clone(),
        };
        situation.check(site)?;
        let clip = crate::sound::read_clip(&self.folder.join(&row.audio))?;
        let begin = Instant::now();
        let evidence = recogniser.hear(&clip, &Vocabulary::of(site, step), &AtomicBool::new(false))?;
        let judgement = judge(site, step, &situation, &evidence, &Limits::DEFAULT);
        let milliseconds = begin.elapsed().as_millis() as u64;
        let elements = judgement
            .elements
            .iter()
            .map(|e| {
                let heard = e.heard.clone().map(|h| match (e.element.as_str(), h.parse::<u8>()) {
                    ("crew", Ok(n)) => n.into(),
                    _ => h.into(),
                });
                (
                    e.element.clone(),
                    ElementResult {
                        verdict: e.verdict,
                        heard,
                        margin: e.margin,
                    },
                )
            })
            .collect();
        let result = ClipResult {
            audio: row.audio.clone(),
            error: None,
            speech: Some(evidence.speech),
            outcome: Some(judgement.outcome.word()),
            milliseconds: Some(milliseconds),
            elements,
            evidence: keep.then_some(evidence),
        };
        Ok((result, judgement))
    }
}

/// Counts behind the rates of a group.
#[derive(Default, Clone)]
struct Counts {
    faulty: usize,
    false_pass: usize,
    right: usize,
    false_fail: usize,
    unsure_right: usize,
    unsure_faulty: usize,
    kind_named: usize,
    valued: usize,
    value_named: usize,
    right_calls: usize,
    right_calls_passed: usize,
    right_calls_again: usize,
    faulty_calls: usize,
    faulty_calls_passed: usize,
}

impl Counts {
    fn element(&mut self, truth: &str, verdict: Verdict, heard: Option<&str>, spoken: Option<&str>) {
        if truth == "said" {
            self.right += 1;
            self.false_fail += usize::from(matches!(verdict, Verdict::Wrong | Verdict::Missing));
            self.unsure_right += usize::from(verdict == Verdict::Unsure);
        } else {
            self.faulty += 1;
            self.false_pass += usize::from(verdict == Verdict::Said);
            self.unsure_faulty += usize::from(verdict == Verdict::Unsure);
            let kind = verdict.word() == truth;
            self.kind_named += usize::from(kind);
            if let (Some(spoken), "wrong") = (spoken, truth) {
                self.valued += 1;
                self.value_named += usize::from(kind && heard == Some(spoken));
            }
        }
    }

    fn line(&self, name: &str) -> String {
        let rate = |n: usize, of: usize| {
            if of == 0 {
                "      -".to_owned()
            } else {
                format!("{:6.1}%", 100.0 * n as f64 / of as f64)
            }
        };
        format!(
            "{name:<26}{:>5} {} {:>5} {} {} {} {} {:>4} {}\n",
            self.faulty,
            rate(self.false_pass, self.faulty),
            self.right,
            rate(self.false_fail, self.right),
            rate(self.unsure_right, self.right),
            rate(self.unsure_faulty, self.faulty),
            rate(self.kind_named, self.faulty),
            self.valued,
            rate(self.value_named, self.valued),
        )
    }

    fn call_line(&self, name: &str) -> String {
        let rate = |n: usize, of: usize| {
            if of == 0 {
                "      -".to_owned()
            } else {
                format!("{:6.1}%", 100.0 * n as f64 / of as f64)
            }
        };
        format!(
            "{name:<26}{:>5} {} {} {:>5} {}\n",
            self.right_calls,
            rate(self.right_calls_passed, self.right_calls),
            rate(self.right_calls_again, self.right_calls),
            self.faulty_calls,
            rate(self.faulty_calls_passed, self.faulty_calls),
        )
    }
}

#[allow(clippy::too_many_lines, reason = "one table, line by line")]
fn table(rows: &[Labelled], done: &[(usize, ClipResult, Option<Judgement>)], model: &str) -> String {
    let mut groups: BTreeMap<String, Counts> = BTreeMap::new();
    let mut silent: BTreeMap<String, (usize, usize)> = BTreeMap::new();
    let mut times: Vec<u64> = Vec::new();
    let mut errors = Vec::new();
    for (i, clip, judgement) in done {
        let row = &rows[*i];
        let Some(j) = judgement else {
            errors.push(format!("{}: {}", clip.audio, clip.error.as_deref().unwrap_or("")));
            continue;
        };
        if row.fault == "nospeech" {
            let e = silent.entry(row.condition.clone()).or_default();
            e.0 += 1;
            e.1 += usize::from(j.elements.iter().any(|e| e.verdict == Verdict::Said));
            continue;
        }
        times.extend(clip.milliseconds);
        let level = match row.condition.as_str() {
            "clean" | "quiet" => "clear",
            _ => "hard",
        };
        let main = if row.human {
            "human callsigns".to_owned()
        } else if row.voice.starts_with("espeak") {
            format!("{} espeak {level}", row.site)
        } else {
            format!("{} {level}", row.site)
        };
        for e in &j.elements {
            if row.human && e.element != "callsign" {
                continue;
            }
            let Some(truth) = row.truth.get(&e.element) else {
                continue;
            };
            let spoken = row.spoken.get(&e.element).and_then(|v| match v {
                serde_json::Value::String(s) => Some(s.clone()),
                serde_json::Value::Number(n) => Some(n.to_string()),
                _ => None,
            });
            let mut names = vec![format!("1 {main}")];
            if !row.human {
                names.push(format!("2 {main}: {}", e.element));
                names.push(format!("4 {} {}", row.voice, level));
            }
            for n in names {
                groups
                    .entry(n)
                    .or_default()
                    .element(truth, e.verdict, e.heard.as_deref(), spoken.as_deref());
            }
        }
        if row.human {
            continue;
        }
        let step_critical = |e: &str| j.element(e).is_some_and(|x| x.critical);
        let right = row.truth.iter().all(|(e, t)| t == "said" || !step_critical(e));
        let passed = j.outcome == crate::call::Outcome::Pass;
        let again = j.outcome == crate::call::Outcome::SayAgain;
        for n in [
            format!("1 {main}"),
            format!("3 {main} {}", row.condition),
            format!("4 {} {}", row.voice, level),
        ] {
            let g = groups.entry(n).or_default();
            if right {
                g.right_calls += 1;
                g.right_calls_passed += usize::from(passed);
                g.right_calls_again += usize::from(again);
            } else {
                g.faulty_calls += 1;
                g.faulty_calls_passed += usize::from(passed);
            }
        }
    }
    let mut out = format!(
        "Model {model}, {} clips\n\nElements                  faulty  f.pass right  f.fail  unsure f.unsure    kind valued  value\n",
        done.len()
    );
    for (n, c) in groups.iter().filter(|(n, _)| !n.starts_with('3')) {
        out.push_str(&c.line(&n[2..]));
    }
    out.push_str("\nCalls                     right  passes   again faulty  passes\n");
    for (n, c) in groups
        .iter()
        .filter(|(n, c)| !n.starts_with('2') && c.right_calls + c.faulty_calls > 0)
    {
        out.push_str(&c.call_line(&n[2..]));
    }
    out.push_str("\nWithout speech\n");
    for (kind, (n, said)) in &silent {
        let _ = writeln!(out, "  {kind}: {n}, of them with something `said`: {said}");
    }
    times.sort_unstable();
    if let Some(m) = times.get(times.len() / 2) {
        let _ = write!(
            out,
            "\nMedian {m} ms a call, longest {} ms\n",
            times.last().unwrap_or(m)
        );
    }
    for e in errors {
        let _ = writeln!(out, "error: {e}");
    }
    out
}
