//! What a whole site shows that no single entry does: customs that change nothing there, gliders with one name. Told, and no problem.

use super::Builder;
use crate::site::naming::forms;
use crate::site::{Callsign, CallsignCustom, Site};
use std::collections::{BTreeMap, BTreeSet};

impl Builder<'_> {
    pub(super) fn noticed(&mut self, site: &Site) {
        self.same_names(site);
        self.not_read_back(site);
        self.in_no_step(site);
        self.unused(site);
        let shortens = |callsign: &Callsign| {
            site.steps
                .iter()
                .any(|step| forms(site, step, callsign, false) != forms(site, step, callsign, true))
        };
        if site.customs.callsign == CallsignCustom::ShortAfterContact
            && !site.fleet.is_empty()
            && !site.fleet.iter().any(|a| shortens(&a.registration))
        {
            let line = self.line_with("site.toml", "short after contact");
            self.notice(
                "site.toml",
                line,
                "\"short after contact\" has no effect yet: no name of `said_by` can be shortened".to_owned(),
                "A registration, and a type with letters or a sign, have a short form; write \"full\" where none is used.",
            );
        }
    }

    /// Gliders that are called by the same words: who hears the call cannot know which it is.
    fn same_names(&mut self, site: &Site) {
        let Some(step) = site.ready_step().or_else(|| site.steps.first()) else {
            return;
        };
        let mut called: BTreeMap<String, Vec<&Callsign>> = BTreeMap::new();
        for aircraft in &site.fleet {
            for form in forms(site, step, &aircraft.registration, false) {
                called.entry(form.join(" ")).or_default().push(&aircraft.registration);
            }
        }
        for (name, gliders) in called.into_iter().filter(|(_, g)| g.len() > 1) {
            let all: Vec<String> = gliders.iter().map(ToString::to_string).collect();
            let line = self.line_of("fleet.toml", all.last().map_or("", String::as_str));
            self.notice(
                "fleet.toml",
                line,
                format!("\"{name}\" may be any of {}", all.join(", ")),
                "A call with it does not say which; where that matters, let said_by have letters, a sign or the registration.",
            );
        }
    }

    /// Only what the winch driver says again can be said again wrongly.
    fn not_read_back(&mut self, site: &Site) {
        let ready = site.ready_step().map(|s| &s.id);
        let readbacks = || {
            site.steps
                .iter()
                .filter(|s| s.readback_of.is_some() && s.readback_of.as_ref() == ready)
        };
        if site.launch.is_none() || readbacks().next().is_none() {
            return;
        }
        for element in &site.customs.readback_by_winch {
            if !readbacks().any(|s| s.elements.contains(element)) {
                let line = self.line_with("site.toml", "readback_by_winch");
                self.notice(
                    "site.toml",
                    line,
                    format!("\"{element}\" in readback_by_winch has no effect yet"),
                    "Put it among the elements of the step that reads the ready call back; what is not said there is never said wrongly.",
                );
            }
        }
    }

    /// An element that stands in no step is asked for by nobody.
    fn in_no_step(&mut self, site: &Site) {
        // Words for a type, a cable or who is called are said in other places too, and what stands in braces is filled in.
        let files = self.files;
        let pieces = files.texts.values().flat_map(|text| text.split('{'));
        let mut used: BTreeSet<&str> = pieces.filter_map(|p| Some(p.split_once('}')?.0)).collect();
        used.extend(site.steps.iter().flat_map(|s| &s.elements).map(String::as_str));
        // What the program has by itself is no line of the file.
        let lines = files.texts.get("words.toml").map_or("", String::as_str).lines();
        for (n, line) in lines.enumerate() {
            let id = line.trim().strip_prefix("[element.").and_then(|l| l.strip_suffix(']'));
            let element = id.and_then(|id| site.elements.get(id));
            let Some(e) = element.filter(|e| !e.purpose.is_settled() && !used.contains(e.id.as_str())) else {
                continue;
            };
            self.notice(
                "words.toml",
                Some(n + 1),
                format!("the element \"{}\" stands in no step and has no effect", e.id),
                "Put it among the elements of a step and into its `taught`, or take it out.",
            );
        }
    }

    /// The line of a file that holds a text.
    pub(super) fn line_with(&self, file: &str, text: &str) -> Option<usize> {
        let mut lines = self.files.texts.get(file)?.lines();
        lines.position(|l| l.contains(text)).map(|n| n + 1)
    }
}
