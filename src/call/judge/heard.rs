//! What was found of an element, and whether the sound decides it.

use super::doubt::{
    elsewhere, hardly_told_apart, perhaps_another, perhaps_half_a_word, perhaps_value, perhaps_without_its_denial,
};
use super::{Asked, Finding, Limits, less_than};
use crate::call::evidence::{Evidence, Scored};
use crate::call::reading::Reading;
use crate::call::verdict::Verdict;
use crate::site::{Purpose, Site, Step};

/// What holds for a whole call, whatever its parts are.
pub(super) struct Heard<'a> {
    site: &'a Site,
    step: &'a Step,
    evidence: &'a Evidence,
    limits: &'a Limits,
    /// The sound is not explained by words.
    pub(super) foreign: bool,
    /// Speech without a single word that counts: nothing is known, not even that something is missing.
    wordless: bool,
    /// Words that no call here has may be what is missing, badly heard. (Typed ones are what they are.)
    strange: bool,
}

impl<'a> Heard<'a> {
    pub(super) fn of(site: &'a Site, step: &'a Step, evidence: &'a Evidence, limits: &'a Limits) -> Self {
        let best = evidence.readings.first();
        let counts = |r: &Reading| !r.mentions.is_empty() || !r.taken_back.is_empty();
        let strange = evidence.seconds > 0.0 && best.is_some_and(|b| !b.reading.unknown.is_empty());
        Self {
            site,
            step,
            evidence,
            limits,
            foreign: evidence.speech && !limits.explained(evidence),
            wordless: evidence.speech && best.is_none_or(|b| evidence.seconds > 0.0 && !counts(&b.reading)),
            strange,
        }
    }

    /// What was found of an element, and how far the next reading is that says otherwise (nats).
    pub(super) fn found(&self, asked: &Asked<'_>, index: usize) -> (Finding, Option<f32>) {
        let readings = &self.evidence.readings;
        let is_said = |r: &Scored| asked.find(&r.reading).verdict == Verdict::Said;
        let Some(best) = readings.first() else {
            let verdict = if self.wordless {
                Verdict::Unsure
            } else {
                Verdict::Missing
            };
            return (Finding::new(verdict, None), None);
        };
        if self.wordless {
            // How near it is to having been said is known all the same.
            let near = readings.iter().find(|r| is_said(r)).map(|r| best.score - r.score);
            return (Finding::new(Verdict::Unsure, None), near);
        }
        let finding = asked.find(&best.reading);
        // Wrong and missing both fail: between them only the naming is open, the verdict is not.
        let said = finding.verdict == Verdict::Said;
        let rival = readings
            .iter()
            .find(|r| is_said(r) != said)
            .map(|r| best.score - r.score);
        if (self.foreign || self.undecided(asked, index, &finding, rival)) && finding.verdict != Verdict::Unsure {
            (Finding::new(Verdict::Unsure, finding.heard), rival)
        } else {
            (finding, rival)
        }
    }

    fn undecided(&self, asked: &Asked<'_>, index: usize, finding: &Finding, rival: Option<f32>) -> bool {
        let Self {
            site,
            step,
            evidence,
            limits,
            ..
        } = *self;
        let Some(best) = evidence.readings.first() else {
            return false;
        };
        let (id, spoken) = (asked.id, evidence.seconds > 0.0);
        let said = finding.verdict == Verdict::Said;
        let limit = match &finding.heard {
            _ if said => limits.said,
            // A value of other sites is said here so seldom that it must be heard twice as clearly.
            Some(value) if elsewhere(site, id, value) => 2.0 * limits.failed,
            _ => limits.failed,
        };
        let left_out = finding.verdict == Verdict::Missing || less_than(finding, &asked.expected);
        let halts = asked.purpose == Purpose::Stop;
        // Nothing that is said beside it takes back a stop.
        let taken_back = said && !halts;
        // Strange words at the end may take back what was said.
        let surplus = self.strange && best.reading.ends_unknown();
        let hardly_apart = |heard: &String| hardly_told_apart(heard, &asked.expected);
        rival.is_some_and(|m| m < limit)
            || ((limits.more_said(evidence) || surplus) && (taken_back || left_out))
            || (self.strange && left_out)
            || (spoken && perhaps_value(step, &best.reading, index))
            || (said && halts && site.is_stop(step) && perhaps_half_a_word(index, evidence))
            || (said && perhaps_without_its_denial(site.language, index, evidence))
            || (said && perhaps_another(site, id, &asked.expected, evidence))
            || (spoken && asked.purpose == Purpose::Callsign && finding.heard.as_ref().is_some_and(hardly_apart))
    }
}
