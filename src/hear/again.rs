//! A second listening. What the speech model makes of a doubtful sound hangs on chance: the same call a little slower or
//! faster is cut into other frames and read anew. What several listenings agree on is less doubtful than one of them.

use crate::call::judge::Limits;
use crate::call::{Evidence, Scored};

/// Pace of the further listenings, as a share of the call's own: slower first, since slow speech is read better.
pub const PACES: [f32; 2] = [0.92, 1.07];

/// A reading this close to the best makes a call doubtful (nats).
const CLOSE: f32 = 3.0;
/// What a reading weighs in a listening that did not find it (nats). No less: what one listening thinks likeliest must not
/// be called wrong because another one lost it.
const NOT_FOUND: f32 = -6.0;

/// Would another listening help?
pub fn doubtful(evidence: &Evidence) -> bool {
    let rival = evidence.readings.get(1).is_some_and(|r| r.score > -CLOSE);
    evidence.speech && (evidence.readings.is_empty() || rival || !decides(evidence))
}

/// Would no further listening help?
pub fn hopeless(evidence: &Evidence) -> bool {
    Limits::DEFAULT.hopeless(evidence)
}

/// Do the words explain the sound, all of it?
pub fn decides(evidence: &Evidence) -> bool {
    Limits::DEFAULT.explained(evidence) && !Limits::DEFAULT.more_said(evidence)
}

/// How well the sound is explained: more is better.
fn quality(evidence: &Evidence) -> (bool, bool, f32) {
    (
        Limits::DEFAULT.explained(evidence),
        !Limits::DEFAULT.more_said(evidence),
        evidence.fit,
    )
}

/// What two listenings say together. Where only one explains the sound, it counts alone; where both do, each reading weighs
/// the mean of both, and all that belongs to the sound (places, fit) is taken from the one that explains it better.
pub fn together(mut one: Evidence, mut other: Evidence) -> Evidence {
    let best = |e: &Evidence| e.readings.first().map(|r| r.reading.says());
    let disputed = one.disputed || other.disputed || best(&one) != best(&other);
    (one.disputed, other.disputed) = (disputed, disputed);
    let explained = |e: &Evidence| Limits::DEFAULT.explained(e) && !e.readings.is_empty();
    match (explained(&one), explained(&other)) {
        (true, false) => return one,
        (false, true) => return other,
        _ => {}
    }
    let (q, r) = (quality(&one), quality(&other));
    let better = (r.0, r.1).cmp(&(q.0, q.1)).then(r.2.total_cmp(&q.2)).is_gt();
    let (mut kept, given) = if better { (other, one) } else { (one, other) };
    let weight = |e: &Evidence, like: &Scored| {
        let same = e.readings.iter().find(|r| r.reading.says() == like.reading.says());
        same.map_or(NOT_FOUND, |r| r.score.max(NOT_FOUND))
    };
    let mut all: Vec<Scored> = kept.readings.clone();
    for r in &given.readings {
        if !all.iter().any(|a| a.reading.says() == r.reading.says()) {
            all.push(r.clone());
        }
    }
    let front = kept.readings.first().map(|r| r.reading.says());
    for r in &mut all {
        let sum = weight(&kept, r) + weight(&given, r);
        r.score = sum / 2.0;
    }
    all.sort_by(|a, b| {
        b.score
            .total_cmp(&a.score)
            .then_with(|| a.reading.words.cmp(&b.reading.words))
    });
    let best = all.first().map_or(0.0, |r| r.score);
    for r in &mut all {
        r.score -= best;
    }
    let changed = all.first().map(|r| r.reading.says()) != front;
    if changed {
        // The places belong to other words; those of the listening in which these came first are right.
        if given.readings.first().map(|r| r.reading.says()) == all.first().map(|r| r.reading.says()) {
            return Evidence { readings: all, ..given };
        }
        kept.places = Vec::new();
    }
    kept.readings = all;
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::call::{Vocabulary, reading};
    use crate::site::{Site, bundled};

    /// A listening with readings of "CABLE winch cable ready" and their scores.
    fn heard(readings: &[(&str, f32)], fit: f32) -> Evidence {
        let site = Site::check(&bundled::files("larkmoor").unwrap()).unwrap();
        let vocabulary = Vocabulary::of(&site, site.step("ready").unwrap());
        let scored = |(cable, score): &(&str, f32)| Scored {
            reading: reading::read(&vocabulary, &format!("{cable} winch cable ready")),
            score: *score,
        };
        Evidence {
            readings: readings.iter().map(scored).collect(),
            fit,
            seconds: 4.0,
            tokens: 10,
            ..Evidence::typed(&vocabulary, "winch")
        }
    }

    fn cables(e: &Evidence) -> Vec<(String, f32)> {
        e.readings
            .iter()
            .map(|r| (r.reading.words[0].clone(), r.score))
            .collect()
    }

    #[test]
    fn listenings_that_agree_leave_less_doubt_and_those_that_differ_more() {
        let one = heard(&[("north", 0.0), ("south", -1.0)], -0.5);
        assert!(doubtful(&one));
        let agree = together(one.clone(), heard(&[("north", 0.0)], -0.5));
        assert_eq!(cables(&agree), [("north".to_owned(), 0.0), ("south".to_owned(), -3.5)]);
        assert!(!doubtful(&agree));
        let differ = together(heard(&[("north", 0.0)], -0.5), heard(&[("south", 0.0)], -0.4));
        assert_eq!(cables(&differ), [("north".to_owned(), 0.0), ("south".to_owned(), 0.0)]);
        assert!(doubtful(&differ));
    }

    #[test]
    fn what_is_far_from_any_call_is_not_listened_to_again() {
        // Ten tokens: more than 2.5 nats each and 5 nats once.
        assert!(hopeless(&heard(&[("north", 0.0)], -3.1)));
        assert!(!hopeless(&heard(&[("north", 0.0)], -2.9)));
        assert!(!hopeless(&Evidence {
            readings: vec![],
            ..heard(&[("north", 0.0)], -9.0)
        }));
    }

    #[test]
    fn a_listening_that_explains_the_sound_counts_alone() {
        let poor = heard(&[("south", 0.0)], -6.0);
        let good = heard(&[("north", 0.0), ("south", -9.0)], -0.5);
        assert!(doubtful(&poor) && !doubtful(&good));
        assert!(together(poor.clone(), good.clone()).disputed);
        for merged in [together(poor.clone(), good.clone()), together(good.clone(), poor)] {
            assert_eq!(cables(&merged), cables(&good));
        }
    }
}
