//! A round at the launch point: one glider after the other on the cables that lie out, and the retrieve when the last one has
//! been used.

use super::deal::{below, deal};
use crate::call::Situation;
use crate::site::{By, Site, Step};

/// One launch of a round.
#[derive(Debug, Clone, PartialEq)]
pub struct Leg {
    /// What was dealt.
    pub situation: Situation,
    /// The steps of it, in the site's order.
    pub steps: Vec<String>,
}

/// Deal a round: another glider on each of the cables, the one that goes first by the site's rule at the head. Today's values are the
/// same in all of them. Empty at a site that describes no whole launch, or has nothing to deal.
pub fn deal_round(site: &Site, random: &mut impl FnMut() -> u32) -> Vec<Leg> {
    let (Some(launch), Some(first)) = (&site.launch, deal(site, None, random)) else {
        return Vec::new();
    };
    let every: Vec<&String> = launch
        .order
        .iter()
        .filter(|id| !launch.sometimes.contains(id))
        .collect();
    let at_the_top = |s: &Step| s.by == By::Hand && s.speaker == super::launch::PILOT;
    let top = every.iter().rposition(|id| site.step(id).is_some_and(at_the_top));
    // As they lie, beginning with the first.
    let lie = first
        .direction(site)
        .map(|d| d.cables_left_to_right.clone())
        .unwrap_or_default();
    let others = lie.iter().filter(|c| **c != first.cable);
    let cables: Vec<String> = std::iter::once(&first.cable).chain(others).cloned().collect();
    let mut legs: Vec<Leg> = Vec::new();
    let last = cables.len().saturating_sub(1);
    for (n, cable) in cables.into_iter().enumerate() {
        let mut situation = first.clone();
        if n > 0 {
            let taken = |s: &Situation| legs.iter().any(|l| l.situation.callsign == s.callsign);
            let free: Vec<Situation> = site
                .fleet
                .iter()
                .flat_map(|a| (1..=a.seats).map(move |crew| Situation::new(a.registration.clone(), crew, "")))
                .filter(|s| !taken(s))
                .collect();
            if let Some(other) = free.get(below(free.len(), random)) {
                situation.callsign = other.callsign.clone();
                situation.crew = other.crew;
            }
        }
        situation.cable = cable;
        situation.single = false;
        // Nothing is fetched before the last of them has been used.
        let end = top.filter(|_| n < last).map_or(every.len(), |t| t + 1);
        legs.push(Leg {
            situation,
            steps: every[..end].iter().map(|id| (*id).clone()).collect(),
        });
    }
    legs
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::deal::random;
    use crate::site::bundled;

    #[test]
    fn each_cable_is_used_once_and_fetched_at_the_end() {
        for name in bundled::NAMES {
            let site = Site::check(&bundled::files(name).unwrap()).unwrap();
            let mut random = random(8);
            for _ in 0..50 {
                let legs = deal_round(&site, &mut random);
                assert_eq!(legs.len(), site.cables.len(), "{name}");
                let mut cables: Vec<&String> = legs.iter().map(|l| &l.situation.cable).collect();
                let mut gliders: Vec<String> = legs.iter().map(|l| l.situation.callsign.to_string()).collect();
                if let Some(first) = site.first_cable(&legs[0].situation.more) {
                    assert_eq!(cables[0], first, "{name}");
                }
                cables.sort();
                cables.dedup();
                gliders.sort();
                gliders.dedup();
                assert_eq!((cables.len(), gliders.len()), (legs.len(), legs.len()), "{name}");
                for (n, leg) in legs.iter().enumerate() {
                    let fetched = leg.steps.iter().any(|s| s == "retrieve");
                    assert_eq!(fetched, n + 1 == legs.len(), "{name} {n}: {:?}", leg.steps);
                    assert!(leg.steps.iter().any(|s| s == "release"), "{name}: {:?}", leg.steps);
                    assert_eq!(leg.situation.more, legs[0].situation.more, "one day");
                    leg.situation.check(&site).unwrap();
                }
            }
        }
    }
}
