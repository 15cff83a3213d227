//! What a site has and nothing uses: a station that nobody calls, a signal that nobody gives, a setting of a step or a glider that comes
//! to nothing there. Told, and no problem.

use super::Builder;
use crate::site::{By, Files, Purpose, Site, Step};
use std::collections::{BTreeMap, BTreeSet};

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
        let lines = Lines::of(self.files, SITE, "id");
        let called = site.steps.iter().map(|s| &s.to).chain(site.winches.values());
        let called: BTreeSet<&String> = called.collect();
        for station in &site.stations {
            if !called.contains(&station.id) {
                let line = lines.line(&station.id, "id");
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
        let lines = Lines::of(self.files, SITE, "id");
        let given = site.steps.iter().flat_map(|s| s.signal.iter().chain(&s.backup));
        let given: BTreeSet<&String> = given.collect();
        for signal in site.signals.iter().filter(|s| !s.id.is_empty() && !s.stops) {
            if !given.contains(&signal.id) {
                let line = lines.line(&signal.id, "id");
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
        let lines = Lines::of(self.files, STEPS, "id");
        // What follows a failure in the air is part of a launch too.
        let follows = |s: &Step| site.failures.iter().any(|f| f.call.as_ref() == Some(&s.id));
        let launched = |s: &Step| follows(s) || site.launch.as_ref().is_some_and(|l| l.order.contains(&s.id));
        for step in &site.steps {
            let mut without = |field: &str, instead: &str| {
                let line = lines.line(&step.id, field);
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
        let lines = Lines::of(self.files, FLEET, "registration");
        for aircraft in &site.fleet {
            let name = aircraft.registration.to_string();
            let fields = [
                (aircraft.weak_link.is_some() && !of_link).then(|| without("weak_link", "the link")),
                (aircraft.say_type.is_some() && !of_type).then(|| without("say_type", "the type")),
                (aircraft.say_crew.is_some() && !of_crew).then(|| without("say_crew", "the crew")),
            ];
            for (field, instead) in fields.into_iter().flatten() {
                let line = lines.line(&name, field);
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
}

/// The lines of each entry's fields, by what one of them says of it: looked through once, since a site may have thousands of gliders.
struct Lines<'t>(BTreeMap<&'t str, BTreeMap<&'t str, usize>>);

impl<'t> Lines<'t> {
    /// Of the entries of a file that are known by this field.
    fn of(files: &'t Files, file: &str, by: &str) -> Self {
        let text = files.texts.get(file).map_or("", String::as_str);
        let mut all = BTreeMap::new();
        let mut entry = (None, BTreeMap::new());
        for (n, line) in text.lines().enumerate() {
            if line.trim_start().starts_with('[') {
                let (id, fields) = std::mem::take(&mut entry);
                all.extend(Option::zip(id, Some(fields)));
            } else if let Some((field, value)) = line.split_once('=') {
                let field = field.trim();
                if field == by {
                    entry.0 = value.trim().strip_prefix('"').and_then(|v| v.split('"').next());
                }
                entry.1.insert(field, n + 1);
            }
        }
        all.extend(Option::zip(entry.0, Some(entry.1)));
        Self(all)
    }

    /// Where a field of an entry stands.
    fn line(&self, id: &str, field: &str) -> Option<usize> {
        self.0.get(id)?.get(field).copied()
    }
}
