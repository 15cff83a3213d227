//! What a site has and nothing uses: a station that nobody calls, a signal that nobody gives, a setting of a step or a glider that comes
//! to nothing there. Told, and no problem.

use super::Builder;
use crate::site::{By, Purpose, Site, Step};

const SITE: &str = "site.toml";
const FLEET: &str = "fleet.toml";
const STEPS: &str = "steps.toml";
/// Whose hand is at the release.
const PILOT: &str = "pilot";

impl Builder<'_> {
    pub(super) fn unused(&mut self, site: &Site) {
        self.stations_unused(site);
        self.signals_unused(site);
        self.steps_unused(site);
        self.gliders_unused(site);
        self.customs_unused(site);
    }

    fn stations_unused(&mut self, site: &Site) {
        for station in &site.stations {
            let called = site.steps.iter().any(|s| s.to == station.id);
            if !called && !site.winches.values().any(|w| *w == station.id) {
                let line = self.line_in(SITE, "id", &station.id, "id");
                self.notice(
                    SITE,
                    line,
                    format!("the station \"{}\" is called in no step and has no effect", station.id),
                    "Name it in `to` of a step, or as the `station` of a cable, or take it out; as it is, its words are only those of a \
                     wrong address.",
                );
            }
        }
    }

    fn signals_unused(&mut self, site: &Site) {
        let given = |id: &String| {
            let by = |s: &Step| s.signal.as_ref() == Some(id) || s.backup.as_ref() == Some(id);
            site.steps.iter().any(by)
        };
        for signal in site.signals.iter().filter(|s| !s.id.is_empty() && !s.stops) {
            if !given(&signal.id) {
                let line = self.line_in(SITE, "id", &signal.id, "id");
                self.notice(
                    SITE,
                    line,
                    format!("the signal \"{}\" is given in no step and has no effect", signal.id),
                    "Let a step be done by it (by = \"signal\"), name it as the `backup` of one, or write stops = true if it stops everything.",
                );
            }
        }
    }

    fn steps_unused(&mut self, site: &Site) {
        // What follows a failure in the air is part of a launch too.
        let follows = |s: &Step| site.failures.iter().any(|f| f.call.as_ref() == Some(&s.id));
        let launched = |s: &Step| follows(s) || site.launch.as_ref().is_some_and(|l| l.order.contains(&s.id));
        for step in &site.steps {
            let mut without = |field: &str, instead: &str| {
                let line = self.line_in(STEPS, "id", &step.id, field);
                let wrong = format!("\"{field}\" at the step \"{}\" has no effect", step.id);
                self.notice(STEPS, line, wrong, instead);
            };
            let alone = "It counts in a whole launch, and the step is not in the `order` of [launch]; put it there, or take the field away.";
            let by_hand = "Such a step is the release itself; take the field away.";
            if step.with_release {
                if !launched(step) {
                    without("with_release", alone);
                } else if step.by == By::Hand {
                    without("with_release", by_hand);
                } else if step.by == By::Signal {
                    without(
                        "with_release",
                        "The release is pulled with words, and here are none; take the field away.",
                    );
                } else if step.speaker != PILOT {
                    without("with_release", "Only the pilot has the release; take the field away.");
                }
            }
            if step.may_be_left_out {
                if !launched(step) {
                    without("may_be_left_out", alone);
                } else if step.by == By::Hand {
                    without("may_be_left_out", by_hand);
                }
            }
            if step.backup.is_some() && step.by == By::Radio && !launched(step) {
                without("backup", alone);
            }
        }
    }

    /// What a glider's calls have is asked for in some step, or nowhere.
    fn gliders_unused(&mut self, site: &Site) {
        let asked = |p: Purpose| site.steps.iter().any(|s| site.place_in(s, p).is_some());
        let (of_link, of_type, of_crew) = (asked(Purpose::Link), asked(Purpose::Type), asked(Purpose::Crew));
        let without = |field: &'static str, what: &str| {
            let instead = format!("No step has an element for {what}; put one into a step, or take the field away.");
            (field, instead)
        };
        for aircraft in &site.fleet {
            let name = aircraft.registration.to_string();
            let fields = [
                (aircraft.weak_link.is_some() && !of_link).then(|| without("weak_link", "the link")),
                (aircraft.say_type.is_some() && !of_type).then(|| without("say_type", "the type")),
                (aircraft.say_crew.is_some() && !of_crew).then(|| without("say_crew", "the crew")),
            ];
            for (field, instead) in fields.into_iter().flatten() {
                let line = self.line_in(FLEET, "registration", &name, field);
                self.notice(FLEET, line, format!("\"{field}\" of {name} has no effect"), &instead);
            }
        }
    }

    fn customs_unused(&mut self, site: &Site) {
        let cable = site.steps.iter().any(|s| site.place_in(s, Purpose::Cable).is_some());
        let mut without = |field: &str, instead: &str| {
            let line = self.line_with(SITE, field);
            self.notice(SITE, line, format!("\"{field}\" has no effect"), instead);
        };
        if site.customs.cable_may_be_dropped_when_single && !cable {
            without(
                "cable_may_be_dropped_when_single",
                "No step has an element for the cable; put one into a step, or take the field away.",
            );
        }
        let released = site.steps.iter().any(|s| s.by == By::Hand && s.speaker == PILOT);
        if site.customs.release_pulls > 1 && !released {
            without(
                "release_pulls",
                "No step is the pilot's release (by = \"hand\"); add one behind the ready call, or take the field away.",
            );
        }
    }

    /// The line of a field in the entry of a file that is known by another field; the entry's own if the field is not found.
    fn line_in(&self, file: &str, by: &str, id: &str, field: &str) -> Option<usize> {
        let text = self.files.texts.get(file)?;
        let of = |line: &str, field: &str| {
            let rest = line.trim_start().strip_prefix(field)?;
            rest.trim_start().strip_prefix('=').map(|value| value.trim().to_owned())
        };
        let quoted = format!("\"{id}\"");
        let mut entry: (bool, Option<usize>, Option<usize>) = (false, None, None);
        for (n, line) in text.lines().enumerate() {
            if line.trim_start().starts_with('[') {
                if entry.0 {
                    break;
                }
                entry = (false, None, None);
            }
            if of(line, by).is_some_and(|v| v.starts_with(&quoted)) {
                entry.0 = true;
                entry.1 = Some(n + 1);
            }
            if of(line, field).is_some() {
                entry.2 = Some(n + 1);
            }
        }
        entry.2.or(entry.1).filter(|_| entry.0)
    }
}
