//! How a student comes along: what the newest attempts say, day by day and element by element.
//!
//! Only the newest attempts are looked at ([`NEWEST`]), so that the answer takes the same short time however large the
//! logbook is; what is older is counted, and the result says so. Days are the student's own: each attempt carries the
//! distance of its local time from UTC.

use super::rows::{Id, Millis};
use super::{Logbook, Outcome, Result, Timings, Verdict, Whose};
use jiff::civil::Date;
use jiff::tz::Offset;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

/// As many attempts are looked at: several months of ten minutes in the evening.
pub const NEWEST: u32 = 3000;
/// Fewer decided calls than this say nothing about a share.
pub const TOO_FEW: u32 = 5;

/// How often an element was judged how, at the first attempt of a turn.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Tally {
    /// The right value.
    pub said: u32,
    /// Another value.
    pub wrong: u32,
    /// Nothing.
    pub missing: u32,
    /// Not decided: counts neither for nor against.
    pub unsure: u32,
}

impl Tally {
    fn add(&mut self, verdict: Verdict) {
        *match verdict {
            Verdict::Said => &mut self.said,
            Verdict::Wrong => &mut self.wrong,
            Verdict::Missing => &mut self.missing,
            Verdict::Unsure => &mut self.unsure,
        } += 1;
    }

    fn join(&mut self, other: Self) {
        self.said += other.said;
        self.wrong += other.wrong;
        self.missing += other.missing;
        self.unsure += other.unsure;
    }

    /// Calls that were decided.
    pub fn decided(&self) -> u32 {
        self.said + self.wrong + self.missing
    }

    /// The share said; `None` where too few calls were decided to name one.
    pub fn share(&self) -> Option<Share> {
        Share::of(self.said, self.decided())
    }
}

/// A share with the interval that holds the true one 19 times of 20.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// 0 to 1.
    pub share: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
}

impl Share {
    /// Wilson's score interval, z = 1.96; `None` below [`TOO_FEW`].
    pub fn of(n: u32, of: u32) -> Option<Self> {
        if of < TOO_FEW || n > of {
            return None;
        }
        let (low, high) = crate::wilson::interval(n.into(), of.into());
        Some(Self {
            share: f64::from(n) / f64::from(of),
            low,
            high,
        })
    }
}

/// Times that lie in the middle of several, milliseconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Middle {
    /// How many there are.
    pub n: u32,
    /// A quarter is not above this.
    pub low: u32,
    /// Half is not above this.
    pub middle: u32,
    /// Three quarters are not above this.
    pub high: u32,
}

impl Middle {
    /// Of times in any order; `None` without any. Each is one of the times given (nearest rank).
    pub fn of(mut times: Vec<u32>) -> Option<Self> {
        times.sort_unstable();
        let at = |share: f64| {
            let rank = (share * times.len() as f64).ceil() as usize;
            times.get(rank.max(1) - 1).copied()
        };
        Some(Self {
            n: u32::try_from(times.len()).unwrap_or(u32::MAX),
            low: at(0.25)?,
            middle: at(0.5)?,
            high: at(0.75)?,
        })
    }
}

/// One day of practice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Day {
    /// The student's date.
    pub date: Date,
    /// Attempts, repeats too.
    pub attempts: u32,
    /// Turns whose first attempt was decided: passed or not yet.
    pub first: u32,
    /// Those of them that passed at once.
    pub passed: u32,
    /// From the end of the prompt to the key, where it was measured.
    pub reaction: Option<Middle>,
}

/// An element over time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Course {
    /// The element's id.
    pub element: String,
    /// By day, oldest first; days without it are not there.
    pub days: Vec<(Date, Tally)>,
    /// All days together.
    pub all: Tally,
}

/// One value said for another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MixUp {
    /// The element's id.
    pub element: String,
    /// What was right.
    pub right: String,
    /// What was heard instead.
    pub heard: String,
    /// How often, at first attempts.
    pub times: u32,
}

/// What the newest attempts say. Attempts held out are in none of it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Progress {
    /// Attempts looked at.
    pub attempts: u32,
    /// There are older ones that were not looked at.
    pub older: bool,
    /// Days with practice, oldest first.
    pub days: Vec<Day>,
    /// Elements in the order of the call.
    pub elements: Vec<Course>,
    /// Most frequent first.
    pub mixed_up: Vec<MixUp>,
    /// Reaction over all days.
    pub reaction: Option<Middle>,
}

/// How many attempts were made at a step under a version of a site's files.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VersionCount {
    /// The step's id.
    pub step: String,
    /// The version.
    pub version: String,
    /// Attempts.
    pub attempts: u64,
}

/// Attempts of a step: under one version, and under all.
pub fn attempts_under(counts: &[VersionCount], step: &str, version: &str) -> (u64, u64) {
    let here = || counts.iter().filter(|c| c.step == step);
    let this = here().filter(|c| c.version == version).map(|c| c.attempts).sum();
    (this, here().map(|c| c.attempts).sum())
}

/// What the sums need of an attempt.
struct Row {
    number: i64,
    date: Date,
    first: bool,
    outcome: Outcome,
    situation: String,
    reaction: Option<u32>,
}

/// Sums of one day while they are made.
#[derive(Default)]
struct Sums {
    attempts: u32,
    first: u32,
    passed: u32,
    reactions: Vec<u32>,
}

impl Logbook {
    /// What the newest attempts say, at one site or at all.
    pub fn progress(&self, whose: Whose, site: Option<&str>) -> Result<Progress> {
        let read = || -> rusqlite::Result<Progress> {
            let rows = self.newest(whose, site)?;
            let mut progress = days(&rows);
            progress.older = rows.len() as u64 == u64::from(NEWEST);
            self.judge_elements(&rows, &mut progress)?;
            Ok(progress)
        };
        read().map_err(self.sorted("read the progress"))
    }

    fn newest(&self, whose: Whose, site: Option<&str>) -> rusqlite::Result<Vec<Row>> {
        let (condition, student): (_, Option<Id>) = whose.condition();
        // The site's name stands in the text of the query only as a number of a parameter.
        let (site_condition, place) = match site {
            Some(site) => (
                if student.is_some() {
                    "AND site = ?2"
                } else {
                    "AND site = ?1"
                },
                Some(site),
            ),
            None => ("", None),
        };
        let sql = format!(
            "SELECT number, started_at, utc_offset_seconds, turn_attempt, coalesce(overruled_outcome, outcome), situation, timings
             FROM attempt WHERE {condition} AND kind = 'call' AND held_out = 0 {site_condition}
             ORDER BY started_at DESC, number DESC LIMIT {NEWEST}"
        );
        let mut statement = self.connection.prepare_cached(&sql)?;
        let mut values: Vec<&dyn rusqlite::ToSql> = Vec::new();
        if let Some(id) = &student {
            values.push(id);
        }
        if let Some(place) = &place {
            values.push(place);
        }
        self.readable("attempt", statement.query(&values[..])?, |r| {
            let started: Millis = r.get(1)?;
            let offset = Offset::from_seconds(r.get(2)?).unwrap_or(Offset::UTC);
            let timings: String = r.get(6)?;
            Ok(Row {
                number: r.get(0)?,
                date: offset.to_datetime(started.0).date(),
                // Reading words aloud is no first try at remembering them.
                first: r.get::<_, u32>(3)? == 1 && !words_shown(&r.get::<_, String>(5)?),
                outcome: r.get(4)?,
                situation: r.get(5)?,
                // A time that cannot be read is one that was not measured.
                reaction: serde_json::from_str::<Timings>(&timings)
                    .ok()
                    .and_then(|t| t.prompt_end_to_press_ms),
            })
        })
    }

    /// Elements and mix-ups of the first attempts in which anything was heard.
    fn judge_elements(&self, rows: &[Row], progress: &mut Progress) -> rusqlite::Result<()> {
        let mut courses: BTreeMap<String, (i64, BTreeMap<Date, Tally>)> = BTreeMap::new();
        let mut mixed: BTreeMap<(String, String, String), u32> = BTreeMap::new();
        let mut statement = self.connection.prepare_cached(
            "SELECT element, coalesce(overruled_verdict, verdict), overruled_verdict IS NULL, heard, position
             FROM element_verdict WHERE attempt = ?1",
        )?;
        for row in rows.iter().filter(|r| r.first && r.outcome != Outcome::NothingHeard) {
            let mut verdicts = statement.query([row.number])?;
            while let Some(v) = verdicts.next()? {
                let read = || -> rusqlite::Result<(String, Verdict, bool, Option<String>, i64)> {
                    Ok((v.get(0)?, v.get(1)?, v.get(2)?, v.get(3)?, v.get(4)?))
                };
                let Some((element, verdict, by_program, heard, position)) = self.or_noted("verdict", v, read())? else {
                    continue;
                };
                if verdict == Verdict::Wrong
                    && by_program
                    && let Some(heard) = heard
                    && let Some(right) = right(&row.situation, &element)
                    && right != heard
                {
                    *mixed.entry((element.clone(), right, heard)).or_default() += 1;
                }
                let (first, days) = match courses.entry(element) {
                    Entry::Vacant(e) => e.insert((position, BTreeMap::new())),
                    Entry::Occupied(e) => e.into_mut(),
                };
                *first = position.min(*first);
                days.entry(row.date).or_default().add(verdict);
            }
        }
        let mut courses: Vec<(i64, Course)> = courses
            .into_iter()
            .map(|(element, (position, days))| {
                let mut all = Tally::default();
                for tally in days.values() {
                    all.join(*tally);
                }
                let days = days.into_iter().collect();
                (position, Course { element, days, all })
            })
            .collect();
        courses.sort_by_key(|(position, _)| *position);
        progress.elements = courses.into_iter().map(|(_, c)| c).collect();
        progress.mixed_up = mixed
            .into_iter()
            .map(|((element, right, heard), times)| MixUp {
                element,
                right,
                heard,
                times,
            })
            .collect();
        progress.mixed_up.sort_by_key(|m| std::cmp::Reverse(m.times));
        Ok(())
    }

    /// How many attempts were made at each step of a site under each version of its files; held out or not.
    pub fn attempts_by_version(&self, site: &str) -> Result<Vec<VersionCount>> {
        let read = || -> rusqlite::Result<Vec<VersionCount>> {
            let mut statement = self.connection.prepare_cached(
                "SELECT step, site_version, count(*) FROM attempt WHERE site = ?1
                 GROUP BY step, site_version ORDER BY step, site_version",
            )?;
            self.readable("version", statement.query([site])?, |r| {
                Ok(VersionCount {
                    step: r.get(0)?,
                    version: r.get(1)?,
                    attempts: r.get::<_, i64>(2)?.unsigned_abs(),
                })
            })
        };
        read().map_err(self.sorted("count the attempts of a site"))
    }
}

/// Sums by day, from rows newest first.
fn days(rows: &[Row]) -> Progress {
    let mut sums: BTreeMap<Date, Sums> = BTreeMap::new();
    for row in rows {
        let day = sums.entry(row.date).or_default();
        day.attempts += 1;
        day.reactions.extend(row.reaction.filter(|_| row.first));
        if row.first {
            day.first += u32::from(matches!(row.outcome, Outcome::Pass | Outcome::NotYet));
            day.passed += u32::from(row.outcome == Outcome::Pass);
        }
    }
    let all: Vec<u32> = sums.values().flat_map(|s| s.reactions.iter().copied()).collect();
    Progress {
        attempts: u32::try_from(rows.len()).unwrap_or(u32::MAX),
        reaction: Middle::of(all),
        days: sums
            .into_iter()
            .map(|(date, s)| Day {
                date,
                attempts: s.attempts,
                first: s.first,
                passed: s.passed,
                reaction: Middle::of(s.reactions),
            })
            .collect(),
        ..Progress::default()
    }
}

/// Was the call made with its words, or their first letters, on the screen?
fn words_shown(situation: &str) -> bool {
    // Most are not, which the text tells without being taken apart.
    situation.contains(super::LEVEL) && serde_json::from_str(situation).is_ok_and(|s| shows_words(&s))
}

/// The same of a situation that was taken apart.
pub(super) fn shows_words(situation: &serde_json::Value) -> bool {
    let level = situation.get(super::LEVEL).and_then(serde_json::Value::as_str);
    level
        .and_then(crate::plan::Level::of)
        .is_some_and(crate::plan::Level::shows_words)
}

/// The right value of an element in a stored situation; `None` where the situation does not say.
fn right(situation: &str, element: &str) -> Option<String> {
    let situation: serde_json::Value = serde_json::from_str(situation).ok()?;
    let value = situation
        .get(element)
        .or_else(|| situation.get("more").and_then(|m| m.get(element)))?;
    match value {
        serde_json::Value::String(text) => Some(text.clone()),
        serde_json::Value::Number(n) => Some(n.to_string()),
        _ => None,
    }
}

#[cfg(test)]
mod tests;
