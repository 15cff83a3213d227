//! What is to be drawn of a launch: where the glider and the cable are, and what happens. Facts for a picture, no words.

use super::{Launch, Want};
use crate::drill::record::Ending;
use crate::site::{Noise, Purpose, Site};
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
    /// What is to be drawn now. Steps are known by their ids, as everywhere: a site whose steps have others is drawn
    /// with the glider waiting.
    pub fn picture(&self, site: &Site) -> Picture {
        let ids = &self.order[..(self.at + 1).min(self.order.len())];
        let mut phase = Phase::Waiting;
        for id in ids {
            let now = match id.as_str() {
                "open" | "open echo" | "close" | "close echo" => Phase::HookingOn,
                "ready" | "readback" => Phase::Ready,
                "slack" => Phase::SlackOut,
                "speed" => Phase::Climb,
                "release" | "stuck" => Phase::Top,
                "retrieve" | "permission" => Phase::CableDown,
                _ => continue,
            };
            phase = phase.max(now);
        }
        // Behind the last word of hooking on the cable is on, whatever the site's steps are called.
        let hook = |id: &String| {
            let step = site.step(id);
            step.is_some_and(|s| site.place_in(s, Purpose::Hook).is_some())
        };
        match self.order.iter().rposition(hook) {
            Some(last) if self.at > last => phase = phase.max(Phase::Ready),
            Some(_) if ids.iter().any(hook) => phase = phase.max(Phase::HookingOn),
            _ => {}
        }
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
