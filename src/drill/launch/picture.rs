//! What is to be drawn of a launch: where the glider and the cable are, and what happens. Facts for a picture, no words.

use super::{Launch, PILOT, Want, at_the_top};
use crate::drill::record::Ending;
use crate::site::{By, Noise, Purpose, Site, Step};
use serde::Serialize;

/// Where in the launch the picture is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Phase {
    /// The glider stands with a wing on the ground, the cable lies beside it.
    Waiting,
    /// Somebody kneels at the hook.
    HookingOn,
    /// The cable is on, the wings are level.
    Ready,
    /// The winch takes up the slack.
    SlackOut,
    /// In the climb.
    Climb,
    /// The top of the launch.
    Top,
    /// The glider is gone, the cable is down.
    CableDown,
}

/// What is to be drawn.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Picture {
    /// Where in the launch.
    pub phase: Phase,
    /// The cable's id.
    pub cable: String,
    /// The hazard that happens now, by its id.
    pub hazard: Option<String>,
    /// What is heard of it: says of what kind it is where its id is the site's own.
    pub noise: Option<Noise>,
    /// Nothing moves any more: stopped, released, or never begun.
    pub still: bool,
}

impl Launch {
    /// What is to be drawn now.
    pub fn picture(&self, site: &Site) -> Picture {
        let here = self.order.get(self.at).or_else(|| self.order.last());
        let phase = here
            .and_then(|id| site.step(id))
            .map_or(Phase::Waiting, |step| phase_of(site, step));
        let hazard = self
            .course
            .hazard
            .as_ref()
            .filter(|(_, during)| self.hazard_over && self.order.get(self.at) == Some(during))
            .and_then(|(id, _)| site.hazards.iter().find(|h| &h.id == id));
        let over = self.ending.is_some_and(|e| e != Ending::Complete);
        Picture {
            phase,
            cable: self.situation.cable.clone(),
            hazard: hazard.map(|h| h.id.clone()),
            noise: hazard.and_then(|h| h.sound.as_ref()).map(|s| s.noise),
            still: over || matches!(self.want, Some(Want::Words | Want::Halt)),
        }
    }
}

/// Where a whole launch is at a step. One that is not in the site's order is a stop, or the words behind a failure in the climb.
pub fn phase_of(site: &Site, step: &Step) -> Phase {
    let order = site.launch.as_ref().map(|l| l.order.as_slice()).unwrap_or_default();
    match order.iter().position(|id| *id == step.id) {
        Some(at) => phase_at(site, order, at),
        None if site.is_stop(step) => Phase::SlackOut,
        None if site.failures.iter().any(|f| f.call.as_ref() == Some(&step.id)) => Phase::Climb,
        None => Phase::Waiting,
    }
}

/// Where the launch is at a place in the order of its steps: what their words are for says it, whatever they are called.
fn phase_at(site: &Site, order: &[String], at: usize) -> Phase {
    let has = |id: &str, purpose: Purpose| site.step(id).is_some_and(|s| site.place_in(s, purpose).is_some());
    let place = |found: &dyn Fn(&str) -> bool| order.iter().position(|id| found(id));
    let ready = site.ready_step().and_then(|ready| place(&|id| id == ready.id));
    let top = place(&|id| {
        site.step(id)
            .is_some_and(|s| s.by == By::Hand && s.speaker == PILOT && at_the_top(site, s))
    });
    // Of the words upon which something moves the last before the climb say that the slack is out.
    let slack = ready.and_then(|ready| {
        let before = &order[ready..top.unwrap_or(order.len()).max(ready)];
        before
            .iter()
            .rposition(|id| has(id, Purpose::Motion))
            .map(|n| ready + n)
    });
    let here = at.min(order.len().saturating_sub(1));
    let reached = |place: Option<usize>| place.is_some_and(|p| here >= p);
    let said = &order[..(here + 1).min(order.len())];
    let behind_top = top.map_or(&[][..], |top| said.get(top + 1..).unwrap_or(&[]));
    let fetched = behind_top
        .iter()
        .any(|id| has(id, Purpose::Request) || has(id, Purpose::Motion));
    let climbs = slack.is_some_and(|slack| {
        let behind = said.get(slack + 1..).unwrap_or(&[]);
        behind
            .iter()
            .any(|id| site.step(id).is_some_and(|s| !s.elements.is_empty()))
    });
    match order.iter().rposition(|id| has(id, Purpose::Hook)) {
        _ if fetched => Phase::CableDown,
        _ if reached(top) => Phase::Top,
        _ if climbs => Phase::Climb,
        _ if reached(slack) => Phase::SlackOut,
        _ if reached(ready) => Phase::Ready,
        Some(last) if here > last => Phase::Ready,
        Some(_) if said.iter().any(|id| has(id, Purpose::Hook)) => Phase::HookingOn,
        _ => Phase::Waiting,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::bundled;

    /// The phase of each step of a whole launch.
    fn phases(name: &str) -> Vec<(String, Phase)> {
        let site = Site::check(&bundled::files(name).unwrap()).unwrap();
        let order = site.launch.as_ref().unwrap().order.clone();
        let phase = |at: usize| (order[at].clone(), phase_at(&site, &order, at));
        (0..order.len()).map(phase).collect()
    }

    #[test]
    fn every_site_goes_through_every_phase_in_order() {
        for name in ["larkmoor", "erlengrund", "brackmere", "haselrain"] {
            let all = phases(name);
            let mut seen: Vec<Phase> = all.iter().map(|(_, p)| *p).collect();
            assert!(seen.is_sorted(), "{name}: {all:?}");
            seen.dedup();
            assert_eq!(seen.len(), 7, "{name}: {all:?}");
        }
    }

    #[test]
    fn the_words_say_where_the_launch_is_whatever_the_steps_are_called() {
        for (name, wanted) in [
            (
                "larkmoor",
                [
                    ("close echo", Phase::HookingOn),
                    ("slack", Phase::SlackOut),
                    ("retrieve", Phase::CableDown),
                ],
            ),
            (
                "haselrain",
                [
                    ("ist zu", Phase::HookingOn),
                    ("licht schnell", Phase::SlackOut),
                    ("speed", Phase::Climb),
                ],
            ),
            (
                "brackmere",
                [
                    ("ready", Phase::Ready),
                    ("slack", Phase::SlackOut),
                    ("release", Phase::Top),
                ],
            ),
        ] {
            let all = phases(name);
            for (id, phase) in wanted {
                assert!(all.contains(&(id.to_owned(), phase)), "{name} {id}: {all:?}");
            }
        }
    }
}
