//! What is to be drawn of a launch: where the glider and the cable are, and what happens. Facts for a picture, no words.

use super::{Launch, PILOT, Want};
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
    /// The hazard that happens now, by its id.
    pub hazard: Option<String>,
    /// What is heard of it: says of what kind it is where its id is the site's own.
    pub noise: Option<Noise>,
    /// Nothing moves any more: stopped, released, or never begun.
    pub still: bool,
}

impl Launch {
    /// Does the glider climb when this step is over?
    pub(super) fn begins_to_climb(&self, site: &Site, step: &Step) -> bool {
        let next = self.order.get(self.at + 1).and_then(|id| site.step(id));
        let higher = next.is_some_and(|n| matches!(phase_of(site, n), Phase::Climb | Phase::Top));
        phase_of(site, step) == Phase::SlackOut && (higher || self.failure_of(site, step).is_some())
    }

    /// What is to be drawn now.
    pub fn picture(&self, site: &Site) -> Picture {
        let hazard = self
            .course
            .hazard
            .as_ref()
            .filter(|(_, during)| self.hazard_over && self.order.get(self.at) == Some(during))
            .and_then(|(id, _)| site.hazards.iter().find(|h| &h.id == id));
        let over = self.ending.is_some_and(|e| e != Ending::Complete);
        Picture {
            hazard: hazard.map(|h| h.id.clone()),
            noise: hazard.and_then(|h| h.sound.as_ref()).map(|s| s.noise),
            still: over || matches!(self.want, Some(Want::Words | Want::Halt)),
        }
    }
}

/// Where a whole launch is at a step: what the steps' words are for says it, whatever they are called. A step that is not in the site's order is a
/// stop, or the words behind a failure in the climb.
pub fn phase_of(site: &Site, step: &Step) -> Phase {
    let order: Vec<&Step> = match &site.launch {
        Some(launch) => launch.order.iter().filter_map(|id| site.step(id)).collect(),
        None => site.steps.iter().collect(),
    };
    let Some(at) = order.iter().position(|s| s.id == step.id) else {
        let failure = || site.failures.iter().any(|f| f.call.as_ref() == Some(&step.id));
        return match () {
            () if site.is_stop(step) => Phase::SlackOut,
            () if failure() => Phase::Climb,
            () => Phase::Waiting,
        };
    };
    let has = |step: &Step, purpose: Purpose| site.place_in(step, purpose).is_some();
    let ready = site.ready_step().and_then(|r| order.iter().position(|s| s.id == r.id));
    if let Some(ready) = ready.filter(|ready| at >= *ready) {
        // What the pilot's hand does behind the ready call is the release at the top.
        let by_hand = |s: &&Step| s.by == By::Hand && s.speaker == PILOT;
        let top = order[ready..]
            .iter()
            .position(by_hand)
            .map_or(order.len(), |n| ready + n);
        // Of the words upon which something moves the last before the top say that the slack is out.
        let slack = order[ready..top]
            .iter()
            .rposition(|s| has(s, Purpose::Motion))
            .map(|n| ready + n);
        let fetches = |s: &&Step| has(s, Purpose::Request) || has(s, Purpose::Motion);
        let words = |s: &&Step| !s.elements.is_empty();
        return match slack {
            _ if at > top && order[top + 1..=at].iter().any(fetches) => Phase::CableDown,
            _ if at >= top => Phase::Top,
            Some(slack) if at > slack && order[slack + 1..=at].iter().any(words) => Phase::Climb,
            Some(slack) if at >= slack => Phase::SlackOut,
            _ => Phase::Ready,
        };
    }
    match order.iter().rposition(|s| has(s, Purpose::Hook)) {
        // Behind the last word of hooking on the cable is on.
        Some(last) if at > last => Phase::Ready,
        Some(_) if order[..=at].iter().any(|s| has(s, Purpose::Hook)) => Phase::HookingOn,
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
        let order = &site.launch.as_ref().unwrap().order;
        let phase = |id: &String| (id.clone(), phase_of(&site, site.step(id).unwrap()));
        order.iter().map(phase).collect()
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
