//! One student's figures, or those of several together.

use super::rate::{LATELY, Share, Standing};
use super::{Scope, day};
use crate::logbook::{Outcome, Practised, Verdict};
use jiff::civil::Date;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// First calls a point of the trend stands on, at least.
const POINT: usize = 10;
/// Points of a trend at most.
const POINTS: usize = 24;

/// What was practised and how reliably it came.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figures {
    /// First and last day with practice.
    pub days: Option<(Date, Date)>,
    /// Number of days with practice.
    pub days_practised: usize,
    /// Calls dealt (turns).
    pub calls: u64,
    /// Attempts, repeats included.
    pub attempts: u64,
    /// Attempts that were typed.
    pub typed: u64,
    /// Attempts with the call's words on the screen; in no figure of verdicts.
    pub read_aloud: u64,
    /// Attempts held out of the record until somebody judges them; in no other figure.
    pub held_out: u64,
    /// Elements of first attempts that the sound did not decide; they count neither way.
    pub undecided: u64,
    /// All elements of first attempts.
    pub judged: u64,
    /// Attempts at other sites, left out of this report.
    pub elsewhere: u64,
    /// Versions of the site's phrases these calls were made with.
    pub site_versions: Vec<String>,
    /// Calls complete at the first attempt, of those in which something was heard.
    pub first_time: Share,
    /// By step, in the order of the launch.
    pub steps: Vec<StepLine>,
    /// By element, in the order of the launch.
    pub elements: Vec<ElementLine>,
    /// Calls complete at the first attempt over time; empty when there are too few.
    pub trend: Vec<TrendPoint>,
    /// What was said instead, most frequent first.
    pub mix_ups: Vec<MixUp>,
    /// Verdicts an instructor judged anew, oldest first.
    pub overruled: Vec<OverruledVerdict>,
}

/// One step.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StepLine {
    /// The step's id.
    pub step: String,
    /// Its name on paper.
    pub title: String,
    /// Calls dealt.
    pub calls: u64,
    /// Complete at the first attempt.
    pub first_time: Share,
}

/// One element, at first attempts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ElementLine {
    /// The element's id.
    pub element: String,
    /// Its name on paper.
    pub label: String,
    /// Said, of all decided.
    pub all: Share,
    /// Said, of the latest decided ([`LATELY`] at most).
    pub lately: Share,
    /// What the latest say.
    pub standing: Standing,
    /// Another value was in it.
    pub wrong: u64,
    /// Nothing was in it.
    pub missing: u64,
    /// The sound did not decide.
    pub unsure: u64,
}

/// A point of the trend: a block of first attempts one after another.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TrendPoint {
    /// Day of the block's last call.
    pub day: Date,
    /// Complete at the first attempt.
    pub first_time: Share,
}

/// One thing said for another.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MixUp {
    /// The element's id.
    pub element: String,
    /// Its name on paper.
    pub label: String,
    /// What was dealt, where the situation names it.
    pub dealt: Option<String>,
    /// What was heard.
    pub heard: String,
    /// How often, repeats included.
    pub times: u64,
}

/// A verdict an instructor judged anew.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OverruledVerdict {
    /// Day of the call.
    pub day: Date,
    /// Whose call, in the report of a class.
    pub student: Option<String>,
    /// The step's name on paper.
    pub step: String,
    /// The element's name on paper.
    pub element: String,
    /// The program's verdict.
    pub program: Verdict,
    /// The instructor's verdict, which counts.
    pub instructor: Verdict,
    /// Who judged; `None` once that person has been forgotten.
    pub by: Option<String>,
    /// Why.
    pub reason: Option<String>,
}

impl Figures {
    /// From attempts, oldest first.
    pub fn new<'r>(scope: &Scope<'_>, rows: impl IntoIterator<Item = &'r Practised>) -> Self {
        let mut sums = Sums::default();
        for row in rows {
            let day = day(row);
            if !scope.holds(day) {
                continue;
            }
            if row.site == scope.site.id {
                sums.take(scope, row, day);
            } else {
                sums.elsewhere += 1;
            }
        }
        sums.done(scope)
    }

    /// The elements that are not steady.
    pub fn not_steady(&self) -> impl Iterator<Item = &ElementLine> {
        self.elements.iter().filter(|e| e.standing == Standing::NotSteady)
    }
}

#[derive(Default)]
struct Sums {
    days: BTreeSet<Date>,
    attempts: u64,
    typed: u64,
    read_aloud: u64,
    held_out: u64,
    elsewhere: u64,
    versions: BTreeSet<String>,
    /// First attempts in which something was heard: day and whether the call was complete.
    firsts: Vec<(Date, bool)>,
    steps: BTreeMap<String, (u64, u64, u64)>,
    /// Verdicts of first attempts, oldest first.
    elements: BTreeMap<String, Vec<Verdict>>,
    mix_ups: BTreeMap<(String, Option<String>, String), u64>,
    overruled: Vec<OverruledVerdict>,
}

impl Sums {
    fn take(&mut self, scope: &Scope<'_>, row: &Practised, day: Date) {
        for e in &row.elements {
            if let Some(o) = &e.overrule {
                self.overruled.push(OverruledVerdict {
                    day,
                    student: row.student.and_then(|id| scope.names.get(&id).cloned()),
                    step: scope.title(&row.step),
                    element: scope.label(&e.element),
                    program: e.verdict,
                    instructor: o.verdict,
                    by: o.by.and_then(|id| scope.names.get(&id).cloned()),
                    reason: o.reason.clone(),
                });
            }
        }
        if row.held_out {
            self.held_out += 1;
            return;
        }
        self.days.insert(day);
        self.attempts += 1;
        self.typed += u64::from(row.typed);
        self.versions.insert(row.site_version.clone());
        if row.words_shown() {
            self.read_aloud += 1;
            return;
        }
        for e in row.elements.iter().filter(|e| e.counted() == Verdict::Wrong) {
            if let Some(heard) = &e.heard {
                let key = (e.element.clone(), dealt(row, &e.element), heard.clone());
                *self.mix_ups.entry(key).or_default() += 1;
            }
        }
        if row.turn_attempt != 1 {
            return;
        }
        let of_step = self.steps.entry(row.step.clone()).or_default();
        of_step.0 += 1;
        if row.outcome == Outcome::NothingHeard {
            return;
        }
        let complete = row.outcome == Outcome::Pass;
        of_step.1 += u64::from(complete);
        of_step.2 += 1;
        self.firsts.push((day, complete));
        for e in &row.elements {
            self.elements.entry(e.element.clone()).or_default().push(e.counted());
        }
    }

    fn done(self, scope: &Scope<'_>) -> Figures {
        let passed = self.firsts.iter().filter(|f| f.1).count() as u64;
        let elements: Vec<ElementLine> = in_order(self.elements, &element_order(scope))
            .map(|(id, verdicts)| element_line(scope, id, &verdicts))
            .collect();
        let step_order: Vec<&str> = scope.site.steps.iter().map(|s| s.id.as_str()).collect();
        let mut mix_ups: Vec<MixUp> = self
            .mix_ups
            .into_iter()
            .map(|((element, dealt, heard), times)| MixUp {
                label: scope.label(&element),
                element,
                dealt,
                heard,
                times,
            })
            .collect();
        // Stable: equal ones stay in the order of their names.
        mix_ups.sort_by_key(|m| std::cmp::Reverse(m.times));
        Figures {
            days: self.days.first().copied().zip(self.days.last().copied()),
            days_practised: self.days.len(),
            calls: self.steps.values().map(|s| s.0).sum(),
            attempts: self.attempts,
            typed: self.typed,
            read_aloud: self.read_aloud,
            held_out: self.held_out,
            undecided: elements.iter().map(|e| e.unsure).sum(),
            judged: elements.iter().map(|e| e.unsure + e.all.of).sum(),
            elsewhere: self.elsewhere,
            site_versions: self.versions.into_iter().collect(),
            first_time: Share::new(passed, self.firsts.len() as u64),
            trend: trend(&self.firsts),
            steps: in_order(self.steps, &step_order)
                .map(|(step, (calls, passed, heard))| StepLine {
                    title: scope.title(&step),
                    step,
                    calls,
                    first_time: Share::new(passed, heard),
                })
                .collect(),
            elements,
            mix_ups,
            overruled: self.overruled,
        }
    }
}

/// The site's elements in the order they come in a launch, each once.
fn element_order<'s>(scope: &Scope<'s>) -> Vec<&'s str> {
    let mut order: Vec<&str> = Vec::new();
    for e in scope.site.steps.iter().flat_map(|s| &s.elements) {
        if !order.contains(&e.as_str()) {
            order.push(e);
        }
    }
    order
}

/// A map's entries in a given order, unknown ones last by name.
fn in_order<V>(map: BTreeMap<String, V>, order: &[&str]) -> impl Iterator<Item = (String, V)> {
    let mut all: Vec<(String, V)> = map.into_iter().collect();
    all.sort_by_key(|(id, _)| order.iter().position(|o| o == id).unwrap_or(order.len()));
    all.into_iter()
}

fn element_line(scope: &Scope<'_>, element: String, verdicts: &[Verdict]) -> ElementLine {
    let count = |v: Verdict| verdicts.iter().filter(|x| **x == v).count() as u64;
    let decided: Vec<Verdict> = verdicts.iter().copied().filter(|v| *v != Verdict::Unsure).collect();
    let latest = &decided[decided.len().saturating_sub(LATELY)..];
    let said = latest.iter().filter(|v| **v == Verdict::Said).count() as u64;
    let lately = Share::new(said, latest.len() as u64);
    ElementLine {
        label: scope.label(&element),
        element,
        all: Share::new(count(Verdict::Said), decided.len() as u64),
        lately,
        standing: lately.standing(),
        wrong: count(Verdict::Wrong),
        missing: count(Verdict::Missing),
        unsure: count(Verdict::Unsure),
    }
}

/// The right value of an element, where the situation itself names it.
fn dealt(row: &Practised, element: &str) -> Option<String> {
    let named = row.situation.get(element);
    match named.or_else(|| row.situation.get("more")?.get(element))? {
        serde_json::Value::String(s) => Some(s.clone()),
        serde_json::Value::Number(n) => Some(n.to_string()),
        _ => None,
    }
}

/// Blocks of about equal size, none smaller than [`POINT`]; nothing when there are not two.
fn trend(firsts: &[(Date, bool)]) -> Vec<TrendPoint> {
    let blocks = (firsts.len() / POINT).min(POINTS);
    if blocks < 2 {
        return Vec::new();
    }
    (0..blocks)
        .filter_map(|b| {
            let block = &firsts[b * firsts.len() / blocks..(b + 1) * firsts.len() / blocks];
            let passed = block.iter().filter(|f| f.1).count() as u64;
            Some(TrendPoint {
                day: block.last()?.0,
                first_time: Share::new(passed, block.len() as u64),
            })
        })
        .collect()
}
