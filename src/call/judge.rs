//! Evidence and situation to verdicts, outcome, advice and score: the rules of judging, nothing else.

mod doubt;
mod heard;
mod limits;

use super::advice::{Advice, advice};
use super::evidence::{Evidence, Scored};
use super::mention::Stance;
use super::mention::{Mention, Said};
use super::reading::Reading;
use super::reason::Reason;
use super::situation::Situation;
pub use super::verdict::{ElementVerdict, Outcome, Verdict};
use super::vocabulary::Vocabulary;
use super::words;
use crate::site::{Need, Purpose, Site, Step, Wording};
use heard::Heard;
pub use limits::Limits;
use serde::{Deserialize, Serialize};

/// A part of the score.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ScorePart {
    /// What it is for.
    pub name: String,
    /// Points reached.
    pub points: u32,
    /// Points possible.
    pub of: u32,
}

/// The judgement of a call.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Judgement {
    /// The outcome.
    pub outcome: Outcome,
    /// Elements in the taught order.
    pub elements: Vec<ElementVerdict>,
    /// Stop was called, in whatever call: that is obeyed before anything else.
    #[serde(default)]
    pub stop: bool,
    /// Advice.
    pub advice: Vec<Advice>,
    /// 0 to 100; `None` when nothing was heard or nothing is decided.
    pub score: Option<u32>,
    /// The parts of the score.
    pub score_parts: Vec<ScorePart>,
}

/// The order in which the driver raises faults, wrong before missing.
const RAISED: [Purpose; 5] = [
    Purpose::Callsign,
    Purpose::Cable,
    Purpose::Crew,
    Purpose::Method,
    Purpose::Readiness,
];

impl Judgement {
    /// One element.
    pub fn element(&self, id: &str) -> Option<&ElementVerdict> {
        self.elements.iter().find(|e| e.element == id)
    }

    /// Was something said to be not ready, not clear, not permitted, or not yet? That is always right to say, and nothing moves.
    pub fn refuses(&self, site: &Site) -> bool {
        self.elements.iter().any(|e| {
            let not_so = matches!(e.reason, Reason::Denied { .. } | Reason::PutOff { .. });
            e.verdict == Verdict::Wrong && not_so && site.purpose(&e.element).moves()
        })
    }

    /// What the answer to a question for one element came to: only that was wanted, and nothing in it may be wrong.
    pub fn answers(&self, asked: &str) -> Outcome {
        if self.stop {
            return Outcome::Pass;
        }
        let Some(part) = self.element(asked) else {
            return self.outcome;
        };
        let wrong = self.elements.iter().any(|e| e.verdict == Verdict::Wrong);
        match part.verdict {
            _ if wrong => Outcome::NotYet,
            Verdict::Said => Outcome::Pass,
            Verdict::Unsure => Outcome::SayAgain,
            Verdict::Wrong | Verdict::Missing => Outcome::NotYet,
        }
    }

    /// The one fault the driver raises next: wrong before missing, each in the order callsign, cable, crew, method, ready;
    /// then what is unsure, in the same order.
    pub fn raised(&self, site: &Site) -> Option<&ElementVerdict> {
        let place = |e: &ElementVerdict| {
            let purpose = site.purpose(&e.element);
            RAISED.iter().position(|r| *r == purpose).unwrap_or(RAISED.len())
        };
        [Verdict::Wrong, Verdict::Missing, Verdict::Unsure]
            .into_iter()
            .find_map(|v| {
                self.elements
                    .iter()
                    .filter(|e| e.critical && e.verdict == v)
                    .min_by_key(|e| place(e))
            })
    }

    /// Complete an earlier judgement with the answer to a question for one element: the answer need hold only what was
    /// asked. Other elements keep what they had, except that an answer may make unsure ones sure.
    #[must_use]
    pub fn completed_by(&self, answer: &Self, asked: &str) -> Self {
        let mut out = self.clone();
        if answer.outcome == Outcome::Pass {
            // The whole call, made again: what need not be in it and was wrong is not in it any more. A bare "yes" is no call.
            out.elements
                .retain(|old| old.verdict == Verdict::Said || answer.element(&old.element).is_some());
        }
        for old in &mut out.elements {
            let Some(new) = answer.element(&old.element) else {
                continue;
            };
            let asked_for = old.element == asked;
            let wrong_now = new.verdict == Verdict::Wrong;
            let better = new.verdict == Verdict::Said && old.verdict != Verdict::Said;
            let half = new.verdict == Verdict::Missing && old.verdict == Verdict::Missing && new.heard.is_some();
            if asked_for || wrong_now || better || half {
                *old = new.clone();
            }
        }
        out.take_in_what_need_not_be_said(answer);
        out.advice = answer
            .advice
            .iter()
            .filter(|a| !matches!(a, Advice::Order { .. }))
            .cloned()
            .collect();
        out.outcome = outcome(&out.elements);
        (out.score, out.score_parts) = score(&out.elements, &out.advice);
        out
    }

    /// What may be left out, was left out before and is in the answer counts as it would in a first call: it must be right.
    fn take_in_what_need_not_be_said(&mut self, answer: &Self) {
        for (n, new) in answer.elements.iter().enumerate() {
            if self.element(&new.element).is_some() || new.verdict == Verdict::Missing {
                continue;
            }
            // In the taught order: behind the nearest one before it that both have.
            let mut before = answer.elements[..n].iter().rev();
            let place = before
                .find_map(|b| self.elements.iter().position(|e| e.element == b.element))
                .map_or(0, |p| p + 1);
            self.elements.insert(place, new.clone());
        }
    }
}

impl Judgement {
    /// A judgement from verdicts alone, for drills without sound: `heard` gives the value of each.
    pub fn of_verdicts(
        site: &Site,
        step: &Step,
        situation: &Situation,
        mut verdict: impl FnMut(&str) -> (Verdict, Option<String>, Reason),
    ) -> Self {
        let values = situation.values(site, step);
        let mut elements: Vec<ElementVerdict> = step
            .elements
            .iter()
            .map(|id| {
                let expected = values.get(id).cloned().unwrap_or_default();
                let (verdict, heard, reason) = verdict(id);
                let heard = if verdict == Verdict::Said {
                    Some(expected.clone())
                } else {
                    heard
                };
                ElementVerdict {
                    element: id.clone(),
                    critical: step.critical.contains(id),
                    verdict,
                    heard,
                    expected,
                    margin: None,
                    reason,
                    place: None,
                }
            })
            .collect();
        drop_unneeded(site, step, situation, &mut elements);
        let (score, score_parts) = score(&elements, &[]);
        Self {
            outcome: outcome(&elements),
            elements,
            stop: false,
            advice: Vec::new(),
            score,
            score_parts,
        }
    }
}

/// What one reading says of one element.
#[derive(Debug, Clone, PartialEq)]
struct Finding {
    verdict: Verdict,
    heard: Option<String>,
    reason: Option<Reason>,
}

impl Finding {
    fn new(verdict: Verdict, heard: Option<String>) -> Self {
        Self {
            verdict,
            heard,
            reason: None,
        }
    }

    fn because(verdict: Verdict, heard: String, reason: Reason) -> Self {
        Self {
            verdict,
            heard: Some(heard),
            reason: Some(reason),
        }
    }
}

/// One element of a call to be judged.
struct Asked<'a> {
    index: usize,
    id: &'a str,
    purpose: Purpose,
    expected: String,
    /// What is said of it, in each way that is right: one value, or for a glider the parts of its name.
    forms: Vec<Vec<String>>,
    /// Half wordings that are a part of another value's words and of none of the right one's ("too fast", said once, where it
    /// is too slow), with that value.
    halves_of_others: Vec<(String, String)>,
    /// The right words, for the reasons.
    right: String,
    pairs_forbidden: bool,
}

impl<'a> Asked<'a> {
    /// The element of a step at this place, with its right value.
    fn of(site: &Site, step: &'a Step, situation: &Situation, index: usize, expected: String) -> Self {
        let id = step.elements.get(index).map_or("", String::as_str);
        Self {
            index,
            id,
            purpose: site.purpose(id),
            right: site.taught_words(id, &expected).unwrap_or_else(|| expected.clone()),
            forms: if site.purpose(id) == Purpose::Callsign {
                situation.forms(site, step)
            } else {
                vec![vec![expected.clone()]]
            },
            halves_of_others: halves_of_others(site, id, &expected),
            expected,
            pairs_forbidden: site.customs.number_pairs_forbidden,
        }
    }

    /// How a mention of it stands.
    fn stance(&self, mention: &Mention, reading: &Reading) -> Stance {
        // "The field is not clear, stop" denies something else; "a dog, stop" nothing at all.
        let begins = mention.span.0;
        let other = || match mention.stance {
            Stance::Open => (mention.reach.0..begins).any(|n| reading.is_unknown(n)),
            _ => begins.checked_sub(1).is_some_and(|n| reading.is_unknown(n)),
        };
        match (self.purpose, mention.stance) {
            // Nothing that is said behind a stop takes it back; what stands before it may ("don't stop", "should we stop").
            (Purpose::Stop, stance) if stance != Stance::TakenBack && mention.reach.0 < begins && !other() => stance,
            // What would be done if something happened is supposed by its nature, in words of the pilot's own.
            (Purpose::Stop, _) | (Purpose::Eventuality, Stance::PutOff | Stance::Open) => Stance::Plain,
            // Who is called does not hang on what else is said.
            (Purpose::Address, Stance::Open) if mention.said == Said::Value(self.expected.clone()) => Stance::Plain,
            (_, stance) => stance,
        }
    }

    /// Is it right, or a part of what is?
    fn is_part(&self, value: &String) -> bool {
        self.forms.iter().any(|form| form.contains(value))
    }

    /// What one reading says of it.
    fn find(&self, reading: &Reading) -> Finding {
        let mut mentions: Vec<(&Mention, Stance)> = reading
            .mentions
            .iter()
            .filter(|m| m.element == self.index)
            .map(|m| (m, self.stance(m, reading)))
            .collect();
        // Who is called is named first; a station named later on is talked about ("last launch").
        let named = mentions.iter().position(|(_, s)| *s == Stance::Plain);
        if let Some(first) = named.filter(|_| self.purpose == Purpose::Address) {
            mentions.truncate(first + 1);
        }
        let said_again = |m: &Mention| {
            mentions
                .iter()
                .any(|(n, s)| *s == Stance::Plain && n.span.0 >= m.span.1 && self.is_right(n))
        };
        let denied = mentions.iter().find(|(m, s)| match m.said {
            Said::Negated => *s == Stance::Plain,
            _ => self.is_right(m) && *s == Stance::Denied,
        });
        if let Some((m, _)) = denied {
            let heard = with_what_does_it(m, reading);
            // "We weren't ready, but now we are ready": both, so neither.
            let verdict = if said_again(m) { Verdict::Unsure } else { Verdict::Wrong };
            return Finding::because(verdict, heard.clone(), Reason::Denied { heard });
        }
        let mut plain = mentions.iter().filter(|(_, s)| *s == Stance::Plain);
        if let Some(v) = plain.find_map(|(m, _)| self.other_value(m)) {
            return Finding::new(Verdict::Wrong, Some(v));
        }
        let said = |part: &String| {
            let plain = |(m, s): &(&Mention, Stance)| *s == Stance::Plain && m.said == Said::Value(part.clone());
            mentions.iter().any(|m| plain(m) && self.is_right(m.0))
        };
        let plain = self.forms.iter().any(|form| form.iter().all(said));
        let open = mentions.iter().find(|(m, s)| match s {
            Stance::Plain => false,
            // Another value denied says nothing against the right one.
            Stance::Denied => m.said == Said::Negated,
            // What was taken back may be said again.
            Stance::TakenBack => !(plain && self.is_right(m)),
            Stance::PutOff | Stance::Asked | Stance::Open | Stance::Others => true,
        });
        if let Some((m, stance)) = open {
            let put_off = *stance == Stance::PutOff && self.purpose.moves() && self.is_right(m) && !said_again(m);
            return self.not_plain(m, *stance, put_off, with_what_does_it(m, reading));
        }
        if plain {
            return Finding::new(Verdict::Said, Some(self.expected.clone()));
        }
        let half = mentions.first().map(|(m, _)| with_what_does_it(m, reading));
        Finding::new(Verdict::Missing, half)
    }

    /// Does this mention say what is right, in words that the site allows?
    fn is_right(&self, m: &Mention) -> bool {
        match &m.said {
            Said::Value(v) => self.is_part(v) && !(self.pairs_forbidden && m.pairs),
            _ => false,
        }
    }

    /// The value that a plain mention says, if it is not the right one; half of another one's words is that one.
    fn other_value(&self, m: &Mention) -> Option<String> {
        match &m.said {
            Said::Value(v) if !self.is_part(v) => Some(v.clone()),
            Said::Value(_) if !self.is_right(m) => Some(m.words.clone()),
            Said::Incomplete => {
                let mut halves = self.halves_of_others.iter();
                halves
                    .find(|(half, _)| *half == m.words)
                    .map(|(_, value)| value.clone())
            }
            _ => None,
        }
    }

    /// What a mention that is not plain comes to. `put_off`: it is the right one of what is set in motion, and put off for good.
    fn not_plain(&self, m: &Mention, stance: Stance, put_off: bool, heard: String) -> Finding {
        let value = match &m.said {
            Said::Value(v) => v.clone(),
            Said::Negated | Said::Incomplete => m.words.clone(),
        };
        let by = m.by.clone();
        match stance {
            Stance::PutOff if put_off => Finding::because(Verdict::Wrong, heard.clone(), Reason::PutOff { heard }),
            Stance::PutOff => Finding::because(Verdict::Unsure, value, Reason::PutOff { heard }),
            Stance::Asked => Finding::because(Verdict::Unsure, value, Reason::Asked { heard }),
            Stance::TakenBack => Finding::because(Verdict::Unsure, value, Reason::TakenBack { heard: by }),
            Stance::Others => Finding::because(Verdict::Unsure, value, Reason::Others { heard }),
            Stance::Plain | Stance::Denied | Stance::Open => {
                let right = self.right.clone();
                Finding::because(Verdict::Unsure, value, Reason::BesideUnknown { heard: by, right })
            }
        }
    }

    /// Why the verdict was given.
    fn reason(&self, site: &Site, finding: &Finding, evidence: &Evidence, foreign: bool, limits: &Limits) -> Reason {
        let words = |value: &str| site.taught_words(self.id, value).unwrap_or_else(|| value.to_owned());
        let right = self.right.clone();
        let best = evidence.readings.first().map(|r| &r.reading);
        let more = limits.more_said(evidence) || best.is_some_and(Reading::ends_unknown);
        if let Some(reason) = finding.reason.clone().filter(|_| !foreign) {
            return reason;
        }
        match (finding.verdict, &finding.heard) {
            (Verdict::Said, _) => Reason::Said,
            (Verdict::Wrong, Some(h)) => Reason::Wrong { heard: words(h), right },
            (Verdict::Wrong, None) => Reason::WrongUnknown { right },
            (Verdict::Missing, Some(h)) => Reason::Half {
                heard: h.clone(),
                right,
            },
            (Verdict::Missing, None) if !evidence.speech => Reason::NothingHeard {
                silence: evidence.silence,
            },
            (Verdict::Missing, None) => Reason::Missing { right },
            (Verdict::Unsure, Some(h)) if *h == self.expected && more => Reason::More { heard: words(h) },
            (Verdict::Unsure, _) if foreign => Reason::Foreign,
            (Verdict::Unsure, Some(h)) => Reason::Maybe { heard: words(h) },
            (Verdict::Unsure, None) => Reason::MaybeRight { right },
        }
    }
}

/// The words of a mention, with those that do something to it.
fn with_what_does_it(m: &Mention, reading: &Reading) -> String {
    let words = reading.words.get(m.reach.0..m.reach.1);
    words.map_or_else(|| m.words.clone(), |w| w.join(" "))
}

/// See [`Asked::halves_of_others`].
fn halves_of_others(site: &Site, id: &str, expected: &str) -> Vec<(String, String)> {
    let Some(element) = site.elements.get(id) else {
        return Vec::new();
    };
    let within = |half: &[String], value: &Wording| {
        let mut texts = value.texts().map(|t| words::of(t));
        texts.any(|t| t.windows(half.len().max(1)).any(|w| w == half))
    };
    let halves = element.incomplete.iter().filter_map(|text| {
        let half = words::of(text);
        if element.values.iter().any(|v| v.id == expected && within(&half, v)) {
            return None;
        }
        let other = element.values.iter().find(|v| v.id != expected && within(&half, v))?;
        Some((half.join(" "), other.id.clone()))
    });
    halves.collect()
}

/// Is what was heard the right value with something left out ("C-LRM" for "G-CLRM")?
fn less_than(finding: &Finding, expected: &str) -> bool {
    let Some(heard) = finding.heard.as_ref().filter(|_| finding.verdict == Verdict::Wrong) else {
        return false;
    };
    let characters = |s: &str| s.chars().filter(char::is_ascii_alphanumeric).collect::<Vec<_>>();
    let (heard, expected) = (characters(heard), characters(expected));
    let mut rest = expected.iter();
    heard.len() < expected.len() && heard.iter().all(|h| rest.any(|e| e == h))
}

/// Judge a call.
pub fn judge(site: &Site, step: &Step, situation: &Situation, evidence: &Evidence, limits: &Limits) -> Judgement {
    let values = situation.values(site, step);
    let best = evidence.readings.first();
    let heard = Heard::of(site, step, evidence, limits);
    let foreign = heard.foreign;
    let mut elements = Vec::new();
    for (index, id) in step.elements.iter().enumerate() {
        let critical = step.critical.contains(id);
        let expected = values.get(id).cloned().unwrap_or_default();
        let asked = Asked::of(site, step, situation, index, expected);
        let (finding, margin) = heard.found(&asked, index);
        let reason = asked.reason(site, &finding, evidence, foreign, limits);
        let place = best.filter(|_| !foreign).and_then(|best| {
            let mention = best.reading.mentions.iter().rev().find(|m| m.element == index)?;
            evidence.place(mention)
        });
        elements.push(ElementVerdict {
            element: id.clone(),
            critical,
            verdict: finding.verdict,
            heard: finding.heard,
            expected: asked.expected,
            margin,
            reason,
            place,
        });
    }
    let advice = best
        .map(|b| advice(site, step, &b.reading, &elements))
        .unwrap_or_default();
    drop_unneeded(site, step, situation, &mut elements);
    let outcome = if evidence.speech {
        outcome(&elements)
    } else {
        Outcome::NothingHeard
    };
    let (score, score_parts) = if evidence.speech {
        score(&elements, &advice)
    } else {
        (None, Vec::new())
    };
    let halted = stop_called(site, step, evidence, limits) && !foreign;
    let (outcome, score, score_parts) = match outcome {
        // Stop behind a complete call takes it back; it is never held against anybody.
        Outcome::Pass if halted && !site.is_stop(step) => (Outcome::SayAgain, None, Vec::new()),
        other => (other, score, score_parts),
    };
    Judgement {
        outcome,
        elements,
        stop: halted,
        advice,
        score,
        score_parts,
    }
}

/// What need not be said and was not is no part of the judgement.
fn drop_unneeded(site: &Site, step: &Step, situation: &Situation, elements: &mut Vec<ElementVerdict>) {
    elements.retain(|e| {
        let left_out = e.heard.is_none() && matches!(e.verdict, Verdict::Missing | Verdict::Unsure);
        !left_out || situation.need(site, step, &e.element) == Need::Required
    });
}

/// Is there a stop in the best reading, or in one that weighs about as much? In doubt the launch is stopped.
fn stop_called(site: &Site, step: &Step, evidence: &Evidence, limits: &Limits) -> bool {
    let Some(index) = Vocabulary::stop_of(site, step) else {
        return false;
    };
    let mut near = evidence.readings.iter().filter(|r| r.score > -limits.stop);
    let stops = |r: &Scored| {
        let mut mentions = r.reading.mentions.iter();
        mentions.any(|m| m.element == index && matches!(m.said, Said::Value(_)))
    };
    near.any(stops)
}

fn outcome(elements: &[ElementVerdict]) -> Outcome {
    let mut critical = elements.iter().filter(|e| e.critical).map(|e| e.verdict).peekable();
    let has = |v: Verdict| elements.iter().any(|e| e.critical && e.verdict == v);
    if has(Verdict::Wrong) || has(Verdict::Missing) {
        Outcome::NotYet
    } else if has(Verdict::Unsure) || critical.peek().is_none() {
        Outcome::SayAgain
    } else {
        Outcome::Pass
    }
}

/// Critical elements share 85 points, the others 10 (or all 95 when there are none), the club's own wording and order 5.
/// What is unsure is left out of both sides: it never counts against the student.
fn score(elements: &[ElementVerdict], advice: &[Advice]) -> (Option<u32>, Vec<ScorePart>) {
    let mut parts = Vec::new();
    let others = elements.iter().filter(|e| !e.critical).count();
    let criticals = elements.len() - others;
    let critical_share = if others == 0 { 95.0 } else { 85.0 };
    for e in elements.iter().filter(|e| e.verdict != Verdict::Unsure) {
        let of = if e.critical {
            critical_share / criticals.max(1) as f32
        } else {
            10.0 / others.max(1) as f32
        };
        let of = of.round() as u32;
        let points = if e.verdict == Verdict::Said { of } else { 0 };
        parts.push(ScorePart {
            name: e.element.clone(),
            points,
            of,
        });
    }
    if parts.is_empty() {
        return (None, parts);
    }
    let nags = advice
        .iter()
        .filter(|a| !matches!(a, Advice::Corrected | Advice::Explained { .. }))
        .count() as u32;
    parts.push(ScorePart {
        name: "wording and order".to_owned(),
        points: 5u32.saturating_sub(2 * nags),
        of: 5,
    });
    let (got, of): (u32, u32) = parts.iter().fold((0, 0), |(g, o), p| (g + p.points, o + p.of));
    (Some((got * 100 + of / 2) / of.max(1)), parts)
}
