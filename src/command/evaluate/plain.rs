//! The plain way, for comparison: take the free text, and fill each element with the wording that its letters resemble
//! most. Nothing else in the program judges so.

use crate::call::{Situation, Verdict, Vocabulary, words};
use crate::site::{Callsign, Site, Step};
use std::collections::BTreeMap;

/// A wording is taken to be in the text when some part of the text resembles it at least so much (0 to 1).
const ALIKE: f64 = 0.8;

/// The verdict on each element of a step by the letters of a text.
pub fn verdicts(site: &Site, step: &Step, situation: &Situation, text: &str) -> BTreeMap<String, Verdict> {
    let said = words::of(text);
    let expected = situation.values(site, step);
    let vocabulary = Vocabulary::of(site, step);
    step.elements
        .iter()
        .enumerate()
        .map(|(index, element)| {
            let mut best: Option<(f64, String)> = None;
            let mut offer = |wording: &[String], value: String| {
                let alike = resemblance(&said, wording);
                if alike >= ALIKE && best.as_ref().is_none_or(|(b, _)| alike > *b) {
                    best = Some((alike, value));
                }
            };
            if vocabulary.spelled == Some(index) {
                let fleet = site.fleet.iter().map(|a| &a.registration);
                let all: Vec<&Callsign> = fleet.chain([&situation.callsign]).collect();
                for callsign in all {
                    let spoken = site.taught_words(element, &callsign.to_string()).unwrap_or_default();
                    offer(&words::of(&spoken), callsign.to_string());
                }
            }
            for phrase in &vocabulary.phrases {
                if let crate::call::vocabulary::Meaning::Value { element: of, value, .. } = &phrase.meaning
                    && *of == index
                {
                    offer(&phrase.words, value.clone());
                }
            }
            let verdict = match best {
                None => Verdict::Missing,
                Some((_, value)) if Some(&value) == expected.get(element) => Verdict::Said,
                Some(_) => Verdict::Wrong,
            };
            (element.clone(), verdict)
        })
        .collect()
}

/// How much the likest run of as many words resembles a wording (normalised Levenshtein of the letters).
fn resemblance(said: &[String], wording: &[String]) -> f64 {
    let wanted = wording.concat();
    (1..=wording.len() + 1)
        .flat_map(|n| said.windows(n))
        .map(|run| strsim::normalized_levenshtein(&run.concat(), &wanted))
        .fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_decide_the_plain_way() {
        let site = Site::check(&crate::site::bundled::files("larkmoor").unwrap()).unwrap();
        let step = site.step("ready").unwrap();
        let situation = Situation::new(Callsign::parse("G-CLRM").unwrap(), 2, "north".to_owned());
        let v = verdicts(
            &site,
            step,
            &situation,
            "Wench, golf charlie lima romeo mike, south winch cable, ready",
        );
        assert_eq!(v["address"], Verdict::Said);
        assert_eq!(v["callsign"], Verdict::Said);
        assert_eq!(v["crew"], Verdict::Missing);
        assert_eq!(v["cable"], Verdict::Wrong);
    }
}
