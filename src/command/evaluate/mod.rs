//! `cableside evaluate`: the real recogniser and judge over labelled calls, with a table of what they got right.
#![allow(clippy::print_stdout, clippy::print_stderr, reason = "a command's room prints")]

mod plain;
mod table;

use super::Failure;
use super::common::{self, ModelChoice, must_not_exist};
use crate::call::{Evidence, Judgement, Situation, Verdict, Vocabulary, judge, judge::Limits};
use crate::files::{self, Access};
use crate::folders;
use crate::hear::Recogniser;
use crate::hear::second::SecondListener;
use crate::site::{Callsign, Site, Step};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Instant;

/// Measure the recogniser on labelled calls
///
/// Exit code 0: every clip was judged; 3: some could not be (each says why in the results); 1: none could be, or nothing was
/// done.
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
    /// Judge what an earlier run heard (made with --evidence) instead of hearing again: for trying limits
    #[arg(long, value_name = "RESULT.json")]
    heard: Option<PathBuf>,
    /// Also judge each clip the plain way: what a second listener writes down with the same model, compared with the words by their
    /// letters. Both are timed
    #[arg(long)]
    baseline: bool,
}

/// One line of a manifest.
#[derive(Debug, Clone, Deserialize)]
struct Labelled {
    audio: String,
    site: String,
    step: String,
    situation: RawSituation,
    truth: BTreeMap<String, String>,
    #[serde(default)]
    spoken: BTreeMap<String, serde_json::Value>,
    #[serde(default)]
    words: String,
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
    #[serde(default)]
    contact: bool,
    #[serde(default)]
    single: bool,
    direction: Option<String>,
    #[serde(default)]
    more: BTreeMap<String, serde_json::Value>,
    /// What was dealt, by element, beside the others; and what is of no interest here.
    #[serde(flatten)]
    rest: BTreeMap<String, serde_json::Value>,
}

impl RawSituation {
    /// What was dealt, as the site has it.
    fn of(&self, site: &Site, step: &Step) -> Result<Situation, Failure> {
        let mut situation = Situation::new(Callsign::parse(&self.callsign)?, self.crew, self.cable.clone());
        situation.check(site)?;
        (situation.contact, situation.single) = (self.contact, self.single);
        situation.direction.clone_from(&self.direction);
        // A launch deals what its other steps leave open, too.
        let open = |element: &str| super::score::dealt(site, step).iter().any(|(e, _)| *e == element);
        for (element, value) in self.more.iter().chain(&self.rest).filter(|(e, _)| open(e)) {
            let value = value
                .as_str()
                .ok_or_else(|| format!("situation.{element} is no text"))?;
            super::score::deal(site, step, &mut situation, element, value)?;
        }
        Ok(situation)
    }
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
    #[serde(skip_serializing_if = "String::is_empty")]
    step: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    error: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    speech: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    outcome: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    score: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    advice: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    milliseconds: Option<u64>,
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    elements: BTreeMap<String, ElementResult>,
    #[serde(skip_serializing_if = "Option::is_none")]
    evidence: Option<Evidence>,
    #[serde(skip_serializing_if = "Option::is_none")]
    second_listener: Option<Second>,
}

/// What the second listener made of a clip.
#[derive(Serialize, Clone)]
struct Second {
    text: String,
    milliseconds: u64,
}

/// A clip judged, or not.
struct Done {
    row: usize,
    result: ClipResult,
    judged: Option<Judged>,
}

/// What the tables need of a clip.
struct Judged {
    situation: Situation,
    evidence: Evidence,
    judgement: Judgement,
    second: Option<Second>,
}

struct Work<'a> {
    rows: &'a [Labelled],
    sites: BTreeMap<String, Result<Site, String>>,
    folder: PathBuf,
    next: AtomicUsize,
    done: Mutex<Vec<Done>>,
    /// What an earlier run heard, by clip and step.
    heard: BTreeMap<(String, String), Evidence>,
}

/// What can be true of an element.
const TRUTHS: [&str; 3] = ["said", "wrong", "missing"];

/// A manifest, or the results of an earlier run with the evidence of some ten thousand clips.
const LARGEST_FILE: u64 = 1 << 30;

/// The lines of a manifest.
fn labelled(manifest: &Path) -> Result<Vec<Labelled>, Failure> {
    let text = crate::folders::read_outside_text(manifest, LARGEST_FILE)
        .map_err(|e| format!("the manifest cannot be read: {e}\n  {}", manifest.display()))?;
    let mut rows: Vec<Labelled> = Vec::new();
    for (i, line) in text.lines().enumerate().filter(|(_, l)| !l.trim().is_empty()) {
        let place = |e: &dyn std::fmt::Display| {
            format!(
                "line {} of the manifest is not in its form: {e}\n  {}",
                i + 1,
                manifest.display()
            )
        };
        let row: Labelled = serde_json::from_str(line).map_err(|e| place(&e))?;
        // Any other word would be counted as a fault.
        if let Some((element, truth)) = row.truth.iter().find(|(_, t)| !TRUTHS.contains(&t.as_str())) {
            let why = format!(
                "the truth of {element} is \"{truth}\"; it must be {}",
                TRUTHS.join(", ")
            );
            return Err(place(&why).into());
        }
        rows.push(row);
    }
    Ok(rows)
}

/// Run the command.
pub fn run(args: &EvaluateArgs) -> Result<ExitCode, Failure> {
    must_not_exist(&args.out)?;
    let mut rows = labelled(&args.manifest)?;
    if let Some(only) = &args.only {
        rows.retain(|r| r.audio.contains(only));
    }
    if rows.is_empty() {
        return Err(format!("there are no labelled calls to measure\n  {}", args.manifest.display()).into());
    }
    let folder = args
        .manifest
        .parent()
        .map_or_else(|| PathBuf::from("."), Path::to_path_buf);
    let work = Work {
        rows: &rows,
        sites: sites_of(&rows, args.phrases.as_deref()),
        folder,
        next: AtomicUsize::new(0),
        done: Mutex::new(Vec::new()),
        heard: args.heard.as_deref().map_or_else(|| Ok(BTreeMap::new()), earlier)?,
    };
    let mut model_name = String::new();
    let mut recognisers = Vec::new();
    for _ in 0..args.jobs.max(1) {
        let r = args.model.load()?;
        r.model().clone_into(&mut model_name);
        let second = args.baseline.then(|| args.model.second()).transpose()?;
        recognisers.push((r, second));
    }
    std::thread::scope(|scope| -> Result<(), Failure> {
        for (i, (mut r, second)) in recognisers.into_iter().enumerate() {
            let work = &work;
            std::thread::Builder::new()
                .name(format!("evaluate-{i}"))
                .spawn_scoped(scope, move || work.run(&mut r, second.as_ref(), args.evidence))?;
        }
        Ok(())
    })?;
    let mut done = std::mem::take(&mut *work.done.lock().unwrap_or_else(std::sync::PoisonError::into_inner));
    done.sort_by_key(|d| d.row);
    eprintln!();
    let report = table::Report {
        rows: &rows,
        sites: &work.sites,
        done: &done,
    };
    print!(
        "Model {model_name}, {} clips\n\n{}",
        done.len(),
        report.text(args.baseline)
    );
    let clips: Vec<&ClipResult> = done.iter().map(|d| &d.result).collect();
    let json = serde_json::json!({ "form": "cableside evaluation", "version": 1, "program": env!("CARGO_PKG_VERSION"),
        "model": model_name, "clips": clips });
    write_results(&args.out, serde_json::to_string_pretty(&json)?.as_bytes())?;
    ending(&clips)
}

/// Every site of the calls, loaded once, or why it is not.
fn sites_of(rows: &[Labelled], phrases: Option<&Path>) -> BTreeMap<String, Result<Site, String>> {
    let mut sites: BTreeMap<String, Result<Site, String>> = BTreeMap::new();
    for r in rows {
        if !sites.contains_key(&r.site) {
            sites.insert(
                r.site.clone(),
                folders::load_site(&r.site, phrases)
                    .map(|(site, _)| site)
                    .map_err(|e| e.to_string()),
            );
        }
    }
    sites
}

/// Says how many clips could not be judged.
fn ending(clips: &[&ClipResult]) -> Result<ExitCode, Failure> {
    let failed: Vec<&&ClipResult> = clips.iter().filter(|c| c.error.is_some()).collect();
    let Some(first) = failed.first() else {
        return Ok(ExitCode::SUCCESS);
    };
    let why = format!(
        "{} of {} clips could not be judged, the first: {}: {}",
        failed.len(),
        clips.len(),
        first.audio,
        first.error.as_deref().unwrap_or_default()
    );
    if failed.len() == clips.len() {
        return Err(why.into());
    }
    eprintln!("{why}");
    Ok(ExitCode::from(3))
}

/// Under another name where somebody took the wanted one meanwhile: what took hours is not given up for it.
fn write_results(wanted: &Path, bytes: &[u8]) -> Result<(), Failure> {
    for place in files::numbered(wanted) {
        match files::make(&place, Access::Ordinary, bytes) {
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
            Err(e) => return Err(format!("the results cannot be written: {e}\n  {}", place.display()).into()),
            Ok(()) => {
                if place != wanted {
                    println!(
                        "There is a {} by now; the results are in {}",
                        wanted.display(),
                        place.display()
                    );
                }
                return Ok(());
            }
        }
    }
    Ok(())
}

/// The evidence kept by an earlier run.
fn earlier(path: &Path) -> Result<BTreeMap<(String, String), Evidence>, Failure> {
    #[derive(Deserialize)]
    struct Run {
        clips: Vec<Clip>,
    }
    #[derive(Deserialize)]
    struct Clip {
        audio: String,
        #[serde(default)]
        step: String,
        evidence: Option<Evidence>,
    }
    let broken = |e: &dyn std::fmt::Display| format!("the earlier results cannot be used: {e}\n  {}", path.display());
    let text = crate::folders::read_outside_text(path, LARGEST_FILE).map_err(|e| broken(&e))?;
    let run: Run = serde_json::from_str(&text).map_err(|e| broken(&e))?;
    let kept = run.clips.into_iter();
    Ok(kept.filter_map(|c| Some(((c.audio, c.step), c.evidence?))).collect())
}

impl Work<'_> {
    fn run(&self, recogniser: &mut impl Recogniser, second: Option<&SecondListener>, keep: bool) {
        loop {
            let i = self.next.fetch_add(1, Ordering::Relaxed);
            let Some(row) = self.rows.get(i) else { return };
            let result = self.one(recogniser, second, row, keep);
            let (result, judged) = match result {
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
                done.push(Done { row: i, result, judged });
                eprint!("\r{} of {}", done.len(), self.rows.len());
            }
        }
    }

    fn one(
        &self,
        recogniser: &mut impl Recogniser,
        second: Option<&SecondListener>,
        row: &Labelled,
        keep: bool,
    ) -> Result<(ClipResult, Judged), Failure> {
        let site = self.sites[&row.site].as_ref().map_err(String::as_str)?;
        let step = common::step(site, &row.step)?;
        if row.audio.contains("..") || Path::new(&row.audio).is_absolute() {
            return Err(format!("the clip lies outside the manifest's folder\n  {}", row.audio).into());
        }
        let situation = row.situation.of(site, step)?;
        let clip = crate::sound::read_clip(&self.folder.join(&row.audio))?;
        let begin = Instant::now();
        let evidence = match self.heard.get(&(row.audio.clone(), row.step.clone())) {
            Some(heard) => heard.clone(),
            None => recogniser.hear(&clip, &Vocabulary::of(site, step), &AtomicBool::new(false))?,
        };
        let judgement = judge(site, step, &situation, &evidence, &Limits::DEFAULT);
        let milliseconds = begin.elapsed().as_millis() as u64;
        let second = match second {
            Some(second) => {
                let begin = Instant::now();
                let text = second.write_down(&clip, site.language, &Arc::default())?;
                let milliseconds = begin.elapsed().as_millis() as u64;
                Some(Second { text, milliseconds })
            }
            None => None,
        };
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
            step: row.step.clone(),
            error: None,
            speech: Some(evidence.speech),
            outcome: Some(judgement.outcome.word()),
            score: judgement.score,
            advice: Some(judgement.advice.len()),
            milliseconds: Some(milliseconds),
            elements,
            evidence: keep.then(|| evidence.clone()),
            second_listener: second.clone(),
        };
        let judged = Judged {
            situation,
            evidence,
            judgement,
            second,
        };
        Ok((result, judged))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::bundled;

    #[test]
    fn what_the_step_leaves_open_is_taken_and_what_others_do_is_not() {
        let site = Site::check(&bundled::files("larkmoor").unwrap()).unwrap();
        let of = |step: &str, more: &str| {
            let text = format!(r#"{{"callsign":"G-CLRM","crew":2,"cable":"north",{more}}}"#);
            let raw: RawSituation = serde_json::from_str(&text).unwrap();
            raw.of(&site, site.step(step).unwrap())
        };
        for more in [r#""speed":"too slow""#, r#""more":{"speed":"too slow"},"level":"bare""#] {
            let dealt = of("speed", more).unwrap();
            assert_eq!(dealt.more.get("speed").map(String::as_str), Some("too slow"), "{more}");
            assert!(of("ready", more).unwrap().more.is_empty(), "{more}");
        }
        assert!(of("ready", r#""number":3,"single":true"#).unwrap().single);
        assert!(of("speed", r#""speed":"too loud""#).is_err());
        assert!(of("speed", r#""speed":3"#).is_err());
    }
}
