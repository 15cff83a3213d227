//! The tables of `evaluate`: rates with what is behind them and how sure they are.

use super::{Done, Judged, Labelled, plain};
use crate::call::{ElementVerdict, Outcome, Verdict, judge, judge::Limits};
use crate::site::Site;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Everything the tables are made from.
pub struct Report<'a> {
    pub rows: &'a [Labelled],
    pub sites: &'a BTreeMap<String, Result<Site, String>>,
    pub done: &'a [Done],
}

/// Limits tried for the curves (nats).
const TRIED: [f32; 8] = [0.0, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0];
/// Borders of the margins in the table of reliability (nats).
const MARGINS: [f32; 6] = [1.0, 2.0, 4.0, 6.0, 8.0, f32::INFINITY];
/// Clips listed as the worst.
const WORST: usize = 10;

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
        format!(
            "{name:<30}{:>5} {} {:>5} {} {} {:>7} {} {:>4} {}\n",
            self.faulty,
            rate(self.false_pass, self.faulty),
            self.right,
            rate(self.false_fail, self.right),
            rate(self.unsure_right, self.right),
            percent(self.unsure_faulty, self.faulty),
            rate(self.kind_named, self.faulty),
            self.valued,
            rate(self.value_named, self.valued),
        )
    }
}

#[derive(Default)]
struct Calls {
    right: usize,
    right_passed: usize,
    right_again: usize,
    faulty: usize,
    faulty_passed: usize,
}

impl Calls {
    fn line(&self, name: &str) -> String {
        format!(
            "{name:<30}{:>5} {} {} {:>5} {}\n",
            self.right,
            rate(self.right_passed, self.right),
            rate(self.right_again, self.right),
            self.faulty,
            rate(self.faulty_passed, self.faulty),
        )
    }
}

/// The interval of a rate, as shares.
fn interval(n: usize, of: usize) -> (f64, f64) {
    crate::wilson::interval(n as u64, of as u64)
}

fn percent(n: usize, of: usize) -> String {
    if of == 0 {
        "-".to_owned()
    } else {
        format!("{:.1}%", 100.0 * n as f64 / of as f64)
    }
}

/// "1.2% (0.6-2.5)", in one width.
fn rate(n: usize, of: usize) -> String {
    if of == 0 {
        return format!("{:>6} {:<12}", "-", "");
    }
    let (low, high) = interval(n, of);
    let spread = format!("({:.1}-{:.1})", 100.0 * low, 100.0 * high);
    format!("{:>6} {spread:<12}", percent(n, of))
}

fn level(row: &Labelled) -> &'static str {
    match row.condition.as_str() {
        "clean" | "quiet" => "clear",
        // Not said is neither.
        "" => "no condition",
        _ => "hard",
    }
}

fn group(row: &Labelled) -> String {
    if row.human {
        "human callsigns".to_owned()
    } else if row.voice.starts_with("espeak") {
        format!("{} {} espeak {}", row.site, row.step, level(row))
    } else {
        format!("{} {} {}", row.site, row.step, level(row))
    }
}

fn spoken(row: &Labelled, element: &str) -> Option<String> {
    match row.spoken.get(element)? {
        serde_json::Value::String(s) => Some(s.clone()),
        serde_json::Value::Number(n) => Some(n.to_string()),
        _ => None,
    }
}

impl Report<'_> {
    /// All tables. `baseline`: with the plain way beside them.
    pub fn text(&self, baseline: bool) -> String {
        let mut out = self.elements();
        if baseline {
            out.push_str(&self.plain());
        }
        out.push_str(&self.calls());
        out.push_str(&self.confusion());
        out.push_str(&self.curves());
        out.push_str(&self.reliability());
        out.push_str(&self.silent());
        out.push_str(&self.worst());
        out.push_str(&self.times());
        out
    }

    /// Clips with speech that were judged.
    fn spoken(&self) -> impl Iterator<Item = (&Labelled, &Done, &Judged)> {
        self.done.iter().filter_map(|d| {
            let row = &self.rows[d.row];
            Some((row, d, d.judged.as_ref()?)).filter(|_| row.fault != "nospeech")
        })
    }

    /// The elements of a clip that are labelled, with their truth.
    fn labelled<'r>(row: &'r Labelled, judged: &'r Judged) -> impl Iterator<Item = (&'r ElementVerdict, &'r str)> {
        judged
            .judgement
            .elements
            .iter()
            .filter(|e| !row.human || e.element == "callsign")
            .filter_map(|e| Some((e, row.truth.get(&e.element)?.as_str())))
    }

    fn elements(&self) -> String {
        let mut groups: BTreeMap<String, Counts> = BTreeMap::new();
        for (row, _, judged) in self.spoken() {
            let main = group(row);
            for (e, truth) in Self::labelled(row, judged) {
                let mut names = vec![format!("1 {main}")];
                if !row.human {
                    names.push(format!("2 {main}: {}", e.element));
                    names.push(format!("3 {} {}", row.site, row.condition));
                    names.push(format!("4 {} {}", row.voice, level(row)));
                }
                for n in names {
                    let spoken = spoken(row, &e.element);
                    groups
                        .entry(n)
                        .or_default()
                        .element(truth, e.verdict, e.heard.as_deref(), spoken.as_deref());
                }
            }
        }
        let mut out = format!(
            "{:<30}faulty  false pass         right  false fail          unsure              unsure* kind named          valued value named\n",
            "Elements"
        );
        for (n, c) in &groups {
            out.push_str(&c.line(&n[2..]));
        }
        out.push_str(
            "(unsure: of right elements; unsure*: of faulty ones. In brackets: 95 % interval, Wilson. One clip's elements hang\n together, so true intervals are wider.)\n",
        );
        out
    }

    /// The plain way on the same clips.
    fn plain(&self) -> String {
        let mut groups: BTreeMap<String, Counts> = BTreeMap::new();
        for (row, _, judged) in self.spoken() {
            let Some((site, step)) = self.place(row) else { continue };
            let Some(second) = &judged.second else { continue };
            let verdicts = plain::verdicts(site, step, &judged.situation, &second.text);
            for (e, truth) in Self::labelled(row, judged) {
                let verdict = verdicts.get(&e.element).copied().unwrap_or(Verdict::Missing);
                groups
                    .entry(group(row))
                    .or_default()
                    .element(truth, verdict, None, None);
            }
        }
        let mut out = format!(
            "\n{:<30}faulty  false pass         right  false fail\n",
            "The plain way (baseline)"
        );
        for (n, c) in &groups {
            let _ = writeln!(
                out,
                "{n:<30}{:>5} {} {:>5} {}",
                c.faulty,
                rate(c.false_pass, c.faulty),
                c.right,
                rate(c.false_fail, c.right)
            );
        }
        out
    }

    fn place(&self, row: &Labelled) -> Option<(&Site, &crate::site::Step)> {
        let site = self.sites.get(&row.site)?.as_ref().ok()?;
        Some((site, site.step(&row.step)?))
    }

    fn calls(&self) -> String {
        let mut groups: BTreeMap<String, Calls> = BTreeMap::new();
        for (row, _, judged) in self.spoken().filter(|(row, ..)| !row.human) {
            let j = &judged.judgement;
            let critical = |e: &str| j.element(e).is_some_and(|x| x.critical);
            let right = row.truth.iter().all(|(e, t)| t == "said" || !critical(e));
            for n in [
                format!("1 {}", group(row)),
                format!("3 {} {} {}", row.site, row.step, row.condition),
                format!("4 {} {}", row.voice, level(row)),
            ] {
                let g = groups.entry(n).or_default();
                let passed = usize::from(j.outcome == Outcome::Pass);
                if right {
                    g.right += 1;
                    g.right_passed += passed;
                    g.right_again += usize::from(j.outcome == Outcome::SayAgain);
                } else {
                    g.faulty += 1;
                    g.faulty_passed += passed;
                }
            }
        }
        let mut out = format!(
            "\n{:<30}right  passes             say again          faulty  passes\n",
            "Calls"
        );
        for (n, c) in &groups {
            out.push_str(&c.line(&n[2..]));
        }
        out
    }

    /// Truth against verdict for each element.
    fn confusion(&self) -> String {
        let mut groups: BTreeMap<(String, String), [usize; 4]> = BTreeMap::new();
        for (row, _, judged) in self.spoken().filter(|(row, ..)| !row.human) {
            for (e, truth) in Self::labelled(row, judged) {
                let place = Verdict::ALL.iter().position(|v| *v == e.verdict).unwrap_or(0);
                let name = format!("{} {} {}", row.site, level(row), e.element);
                groups.entry((name, truth.to_owned())).or_default()[place] += 1;
            }
        }
        let mut out = format!("\n{:<42}  said wrong missing unsure\n", "Truth against verdict");
        for ((name, truth), n) in &groups {
            let _ = writeln!(
                out,
                "{name:<30} {truth:<10} {:>6}{:>6}{:>8}{:>7}",
                n[0], n[1], n[2], n[3]
            );
        }
        out
    }

    /// What other limits would give: false pass and false fail against unsure.
    fn curves(&self) -> String {
        let mut out = String::from("\nOther limits (nats)            false pass  false fail  unsure of right\n");
        for hard in ["clear", "hard"] {
            for tried in TRIED {
                let limits = Limits {
                    said: tried,
                    ..Limits::DEFAULT
                };
                self.curve(&mut out, hard, &format!("said {tried:.1}"), &limits);
            }
            for tried in TRIED {
                let limits = Limits {
                    failed: tried,
                    ..Limits::DEFAULT
                };
                self.curve(&mut out, hard, &format!("failed {tried:.1}"), &limits);
            }
        }
        out
    }

    fn curve(&self, out: &mut String, hard: &str, name: &str, limits: &Limits) {
        let mut counts: BTreeMap<&str, Counts> = BTreeMap::new();
        for (row, _, judged) in self.spoken().filter(|(row, ..)| level(row) == hard && !row.human) {
            let Some((site, step)) = self.place(row) else { continue };
            let j = judge(site, step, &judged.situation, &judged.evidence, limits);
            for e in &j.elements {
                if let Some(truth) = row.truth.get(&e.element) {
                    counts
                        .entry(row.site.as_str())
                        .or_default()
                        .element(truth, e.verdict, None, None);
                }
            }
        }
        for (site, c) in counts {
            let _ = writeln!(
                out,
                "{:<30} {:>10} {:>11} {:>12}",
                format!("{site} {hard}, {name}"),
                percent(c.false_pass, c.faulty),
                percent(c.false_fail, c.right),
                percent(c.unsure_right, c.right)
            );
        }
    }

    /// How often the best reading was right, by its margin: a margin that means something makes the share rise.
    fn reliability(&self) -> String {
        let none = Limits {
            said: 0.0,
            failed: 0.0,
            unread: f32::INFINITY,
            foreign: f32::INFINITY,
            fit: f32::NEG_INFINITY,
            ..Limits::DEFAULT
        };
        let mut bins: BTreeMap<(String, usize), (usize, usize)> = BTreeMap::new();
        for (row, _, judged) in self.spoken().filter(|(row, ..)| !row.human) {
            let Some((site, step)) = self.place(row) else { continue };
            let j = judge(site, step, &judged.situation, &judged.evidence, &none);
            for (e, truth) in j.elements.iter().filter_map(|e| Some((e, row.truth.get(&e.element)?))) {
                let margin = e.margin.unwrap_or(f32::MAX);
                let bin = MARGINS.iter().position(|m| margin < *m).unwrap_or(MARGINS.len() - 1);
                let b = bins.entry((format!("{} {}", row.site, level(row)), bin)).or_default();
                b.0 += 1;
                b.1 += usize::from((e.verdict == Verdict::Said) == (truth == "said"));
            }
        }
        let mut out = String::from("\nReliability: margin to the next reading (nats)   elements  best reading right\n");
        for ((name, bin), (n, right)) in &bins {
            let from = if *bin == 0 { 0.0 } else { MARGINS[bin - 1] };
            let to = MARGINS[*bin];
            let range = if to.is_finite() {
                format!("{from:.0} to {to:.0}")
            } else {
                format!("{from:.0} and more")
            };
            let _ = writeln!(out, "{name:<30} {range:<16} {n:>8}  {}", rate(*right, *n));
        }
        out
    }

    fn silent(&self) -> String {
        let mut kinds: BTreeMap<&str, (usize, usize, usize)> = BTreeMap::new();
        for d in self.done {
            let row = &self.rows[d.row];
            let Some(judged) = d.judged.as_ref().filter(|_| row.fault == "nospeech") else {
                continue;
            };
            let k = kinds.entry(&row.condition).or_default();
            k.0 += 1;
            k.1 += usize::from(judged.judgement.elements.iter().any(|e| e.verdict == Verdict::Said));
            k.2 += usize::from(judged.judgement.outcome == Outcome::NothingHeard);
        }
        if kinds.is_empty() {
            return String::new();
        }
        let mut out = String::from("\nWithout speech                 clips  something said  nothing heard\n");
        let mut all = (0, 0, 0);
        for (kind, (n, said, nothing)) in &kinds {
            let _ = writeln!(out, "{kind:<30} {n:>5} {said:>14} {nothing:>14}");
            all = (all.0 + n, all.1 + said, all.2 + nothing);
        }
        let _ = writeln!(out, "{:<30} {:>5} {:>14} {:>14}", "all", all.0, all.1, all.2);
        out
    }

    /// The clips with the gravest mistakes, with what was spoken and heard.
    fn worst(&self) -> String {
        let mut bad: Vec<(usize, &Labelled, &Judged, Vec<String>)> = Vec::new();
        for (row, _, judged) in self.spoken() {
            let mut gravity = 0;
            let mut what = Vec::new();
            for (e, truth) in Self::labelled(row, judged) {
                let weight = match (truth, e.verdict) {
                    ("said", Verdict::Said) => 0,
                    ("said", Verdict::Unsure) => 1,
                    ("said", _) => 10,
                    (_, Verdict::Said) => 100,
                    _ => 0,
                };
                gravity += weight;
                if weight > 0 {
                    what.push(format!("{}: {truth} -> {}", e.element, e.verdict.word()));
                }
            }
            if gravity > 0 {
                bad.push((gravity, row, judged, what));
            }
        }
        bad.sort_by(|a, b| b.0.cmp(&a.0).then_with(|| a.1.audio.cmp(&b.1.audio)));
        let mut out = format!("\nWorst clips ({} of {})\n", bad.len().min(WORST), bad.len());
        for (_, row, judged, what) in bad.iter().take(WORST) {
            let heard = judged
                .evidence
                .readings
                .first()
                .map_or_else(String::new, |r| r.reading.words.join(" "));
            let _ = writeln!(
                out,
                "{} [{}]\n  spoken: {}\n  heard:  {heard}\n  free:   {}",
                row.audio,
                what.join("; "),
                row.words,
                judged.evidence.transcript
            );
        }
        out
    }

    fn times(&self) -> String {
        let mut times: Vec<u64> = self.spoken().filter_map(|(_, d, _)| d.result.milliseconds).collect();
        times.sort_unstable();
        let mut out = String::new();
        let mut line = |whose: &str, times: &[u64]| {
            // The 95th of 100.
            if let (Some(m), Some(late)) = (times.get(times.len() / 2), times.get(times.len() * 95 / 100)) {
                let last = times.last().unwrap_or(m);
                let _ = writeln!(
                    out,
                    "\n{whose}: median {m} ms a call, 95 of 100 within {late} ms, longest {last} ms"
                );
            }
        };
        line("Times", &times);
        let seconds = self.spoken().filter_map(|(_, _, j)| j.second.as_ref());
        let mut seconds: Vec<u64> = seconds.map(|s| s.milliseconds).collect();
        seconds.sort_unstable();
        line("The second listener", &seconds);
        for d in self.done.iter().filter(|d| d.judged.is_none()) {
            let why = d.result.error.as_deref().unwrap_or_default();
            let _ = writeln!(out, "error: {}: {why}", d.result.audio);
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::interval;

    /// Check values from the formula's author's own use are not at hand; these two are worked by hand: with none of n the
    /// interval is 0 to z²/(n + z²), and one half is symmetric.
    #[test]
    fn intervals_are_wilsons() {
        let z2 = 1.96_f64 * 1.96;
        let (low, high) = interval(0, 100);
        assert!(low.abs() < 1e-12 && (high - z2 / (100.0 + z2)).abs() < 1e-9);
        let (low, high) = interval(50, 100);
        assert!((low + high - 1.0).abs() < 1e-9);
        assert!((low - 0.4038).abs() < 5e-4, "{low}");
        assert_eq!(interval(0, 0), (0.0, 1.0));
    }
}
