//! The trial of microphone and loudspeaker, as commands and events. The conductor does it (`conductor/bench.rs`).

use super::message::Trouble;
use crate::call::Situation;
use crate::site::{By, Language, Site, Step};
use crate::sound::{self, Levels};

/// What the trial wants.
#[derive(Debug)]
pub enum TrialCommand {
    /// Speak this sentence.
    Say {
        /// The sentence.
        text: String,
        /// Its language.
        language: Language,
    },
    /// Listen from now on.
    Listen,
    /// Enough was said.
    Enough,
    /// Play what was heard.
    Play,
    /// End it, throw away what was heard.
    End,
}

/// What the trial is told.
#[derive(Debug, Clone)]
pub enum TrialEvent {
    /// The sentence was spoken to its end.
    Said,
    /// The microphone is listened to.
    Listening,
    /// Nothing was recorded.
    NotListening,
    /// What was recorded.
    Recorded {
        /// How loud.
        levels: Levels,
        /// How long, seconds.
        seconds: f64,
        /// What went wrong.
        troubles: Vec<sound::Trouble>,
    },
    /// What the recogniser heard; empty where no words were made out.
    Heard {
        /// The words.
        text: String,
        /// Every part of the call was in it.
        whole: bool,
    },
    /// The recogniser could not listen to it, for this reason.
    NotHeard(Trouble),
}

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
