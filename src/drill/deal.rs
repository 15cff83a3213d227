//! Dealing situations.

use crate::call::Situation;
use crate::site::Site;

/// Deal a situation of a site: an aircraft of the fleet, a crew it has seats for, a cable. Never the one before, as long
/// as the site has more than one. `random` gives uniform numbers over the whole range of `u32`.
pub fn deal(site: &Site, before: Option<&Situation>, random: &mut impl FnMut() -> u32) -> Option<Situation> {
    let all: Vec<Situation> = site
        .fleet
        .iter()
        .flat_map(|a| (1..=a.seats).flat_map(move |crew| site.cables.iter().map(move |c| (a, crew, c))))
        .map(|(a, crew, c)| Situation {
            callsign: a.registration.clone(),
            crew,
            cable: c.id.clone(),
        })
        .filter(|s| s.check(site).is_ok())
        .collect();
    let fresh: Vec<&Situation> = all.iter().filter(|s| Some(*s) != before).collect();
    let from: Vec<&Situation> = if fresh.is_empty() { all.iter().collect() } else { fresh };
    if from.is_empty() {
        return None;
    }
    let place = ((u64::from(random()) * from.len() as u64) >> 32) as usize;
    from.get(place).map(|s| (*s).clone())
}
