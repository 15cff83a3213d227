//! The trial of microphone and loudspeaker, with its commands and events. The conductor does it (`conductor/bench.rs`).

pub use super::message::trial::{TrialCommand, TrialEvent};

use crate::call::Situation;
use crate::site::{By, Site, Step};

/// The call that the trial asks for: the shortest one over the radio, for the first glider and cable. It goes through the same
/// ears as every other call; a sentence of no site would say nothing about whether they understand.
pub fn call(site: &Site) -> Option<(&Step, Situation)> {
    let (glider, cable) = (site.fleet.first()?, site.cables.first()?);
    let situation = Situation::new(glider.registration.clone(), glider.seats, cable.id.clone());
    let short = |s: &&Step| situation.taught_call(site, s).split_whitespace().count();
    let spoken = site
        .steps
        .iter()
        .filter(|s| s.by == By::Radio && s.elements.len() > 1 && !site.is_stop(s));
    Some((spoken.min_by_key(short)?, situation))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::bundled;

    #[test]
    fn every_site_that_ships_has_a_short_call_for_the_trial() {
        for name in ["larkmoor", "erlengrund"] {
            let site = Site::check(&bundled::files(name).unwrap()).unwrap();
            let (step, situation) = call(&site).unwrap();
            let words = situation.taught_call(&site, step);
            println!("{name}: {words}");
            assert!((2..=14).contains(&words.split_whitespace().count()), "{words}");
        }
    }
}
