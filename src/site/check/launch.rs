//! Steps, launch, hazards, eventualities.

use super::{Builder, SPEAKERS};
use crate::site::raw::{self, RawLine};
use crate::site::{BRIEFING, By, Element, Hazard, Launch, Signal, Station, Step, placeholders};
use std::collections::BTreeMap;
use toml::Spanned;

const FILE: &str = "steps.toml";

impl Builder<'_> {
    pub(super) fn steps(
        &mut self,
        raw: Vec<raw::RawStep>,
        elements: &BTreeMap<String, Element>,
        stations: &[Station],
        signals: &[Signal],
    ) -> Vec<Step> {
        let all: Vec<String> = raw.iter().map(|r| r.id.get_ref().clone()).collect();
        let mut steps = Vec::new();
        for r in raw {
            self.step_names(&r, &all, elements);
            let by = self.by(r.by.as_ref());
            self.by_signal(&r, by, signals);
            self.backup(&r, by, signals);
            let ids: Vec<String> = r.elements.iter().map(|e| e.get_ref().clone()).collect();
            self.parts(&r, by, &ids);
            if !self.broken.contains("site.toml") && !stations.iter().any(|st| &st.id == r.to.get_ref()) {
                let known: Vec<&str> = stations.iter().map(|st| st.id.as_str()).collect();
                self.missing(FILE, &r.to, "station", &known, "site.toml has");
            }
            self.taught(&r, &ids);
            steps.push(self.step(r, by, ids));
        }
        steps
    }

    /// What a step names is there: the step read back, who speaks, the elements.
    fn step_names(&mut self, r: &raw::RawStep, all: &[String], elements: &BTreeMap<String, Element>) {
        if let Some(of) = &r.readback_of {
            self.known(FILE, of, "step", all, FILE);
        }
        self.one_of(FILE, &r.speaker, &SPEAKERS);
        let all_known = !["words.toml", BRIEFING].iter().any(|f| self.broken.contains(*f));
        for e in &r.elements {
            if all_known && !elements.is_empty() && !elements.contains_key(e.get_ref()) {
                let known: Vec<&str> = elements.keys().map(String::as_str).collect();
                self.missing(FILE, e, "element", &known, "words.toml has");
            }
        }
        self.unique(FILE, "The element", r.elements.iter());
        let beside = r.elements.iter().map(Spanned::get_ref).filter(|e| *e != "callsign");
        if r.elements.iter().any(|e| e.get_ref() == "callsign") {
            for element in beside.filter_map(|e| elements.get(e)) {
                self.not_spelled(element);
            }
        }
    }

    /// A step in words has elements, and critical ones among them.
    fn parts(&mut self, r: &raw::RawStep, by: By, ids: &[String]) {
        let wordless = matches!(by, By::Hand | By::Signal);
        if ids.is_empty() && !wordless {
            self.at(
                FILE,
                &r.id.span(),
                "The step has no elements",
                "Name the parts of its call.",
            );
        }
        if r.critical.is_empty() && !wordless {
            self.at(
                FILE,
                &r.id.span(),
                "The step has no critical element, so that anything would pass",
                "Name in `critical` what must be said.",
            );
        }
        for c in &r.critical {
            if !ids.contains(c.get_ref()) {
                self.at(
                    FILE,
                    &c.span(),
                    format!("\"{}\" is critical but no element of the step", c.get_ref()),
                    format!("Use: {}.", ids.join(", ")),
                );
            }
        }
    }

    /// The taught call holds every element, and the other right ones none but those.
    fn taught(&mut self, r: &raw::RawStep, ids: &[String]) {
        self.template(FILE, &r.taught, ids);
        for id in ids {
            if !placeholders(r.taught.get_ref()).contains(&id.as_str()) {
                self.at(
                    FILE,
                    &r.taught.span(),
                    format!("The taught call does not hold {{{id}}}"),
                    "Every element of the step belongs in it.",
                );
            }
        }
        for t in &r.also_right {
            self.template(FILE, t, ids);
        }
    }

    fn step(&mut self, r: raw::RawStep, by: By, ids: Vec<String>) -> Step {
        let mut line = |raw: Option<RawLine>| raw.map(|l| self.line(FILE, l, &ids));
        let (prompt, answer) = (line(r.prompt), line(r.answer));
        let (ask_again, ask_all_again) = (line(r.ask_again), line(r.ask_all_again));
        Step {
            id: r.id.into_inner(),
            title: r.title.into_inner(),
            speaker: r.speaker.into_inner(),
            to: r.to.into_inner(),
            by,
            scene: r.scene,
            readback_of: r.readback_of.map(Spanned::into_inner),
            may_be_left_out: r.may_be_left_out,
            with_release: r.with_release,
            signal: r.signal.map(Spanned::into_inner),
            backup: r.backup.map(Spanned::into_inner),
            elements: ids,
            critical: r.critical.into_iter().map(Spanned::into_inner).collect(),
            taught: r.taught.into_inner(),
            also_right: r.also_right.into_iter().map(Spanned::into_inner).collect(),
            prompt,
            answer,
            ask_again,
            ask_all_again,
        }
    }

    /// A step done by a signal names one of the site's, and no other does.
    fn by_signal(&mut self, step: &raw::RawStep, by: By, signals: &[Signal]) {
        let f = "steps.toml";
        if (by == By::Signal) != step.signal.is_some() {
            self.at(
                f,
                &step.id.span(),
                format!(
                    "The step \"{}\" is done by a signal and names none, or the other way round",
                    step.id.get_ref()
                ),
                "Write by = \"signal\" and signal = \"…\", the id of a [[signal]] of site.toml.",
            );
        }
        if let Some(signal) = &step.signal {
            let known: Vec<String> = signals.iter().map(|s| s.id.clone()).collect();
            self.known(f, signal, "signal of site.toml", &known, "site.toml");
        }
    }

    pub(super) fn launch(&mut self, raw: raw::RawLaunch, steps: &[Step]) -> Launch {
        let f = "steps.toml";
        let ids: Vec<String> = steps.iter().map(|s| s.id.clone()).collect();
        for id in &raw.order {
            self.known(f, id, "step", &ids, f);
        }
        self.unique(f, "The step", raw.order.iter());
        let order: Vec<String> = raw.order.into_iter().map(Spanned::into_inner).collect();
        for id in &raw.sometimes {
            self.known(f, id, "step in the order", &order, f);
        }
        if !self.broken.contains(f) && !ids.iter().any(|id| id == "stop") {
            self.whole(
                f,
                "A whole launch is described, but there is no step \"stop\"",
                "Add a [[step]] with the id \"stop\": anybody may call it at any time.",
            );
        }
        let elements: Vec<String> = steps.iter().flat_map(|s| s.elements.clone()).collect();
        if raw.refusal.is_some() != raw.ready_again.is_some() {
            self.whole(
                f,
                "A refusal of the winch needs its end",
                "Give [launch] both refusal and ready_again, or neither.",
            );
        }
        let lines = raw.refusal.zip(raw.ready_again);
        let refusal = lines.map(|(no, yes)| Box::new([self.line(f, no, &elements), self.line(f, yes, &elements)]));
        Launch {
            refusal,
            order,
            sometimes: raw.sometimes.into_iter().map(Spanned::into_inner).collect(),
            no_answer: self.words(f, &raw.no_answer),
        }
    }

    pub(super) fn hazards(&mut self, raw: Vec<raw::RawHazard>, steps: &[Step]) -> Vec<Hazard> {
        let f = "steps.toml";
        let ids: Vec<String> = steps.iter().map(|s| s.id.clone()).collect();
        self.unique(f, "The hazard", raw.iter().map(|h| &h.id));
        raw.into_iter()
            .map(|h| {
                for id in &h.during {
                    self.known(f, id, "step", &ids, f);
                    let by_hand = steps.iter().any(|s| &s.id == id.get_ref() && s.by == By::Hand);
                    if by_hand {
                        self.at(
                            f,
                            &id.span(),
                            "A hazard belongs to the launch point",
                            "What fails in the air is a [[failure]]; how it is flown your instructor teaches.",
                        );
                    }
                }
                self.no_braces(f, &h.scene);
                Hazard {
                    sound: self.sound(f, h.sound.as_ref(), h.clip),
                    scene: self.words(f, &h.scene),
                    id: h.id.into_inner(),
                    label: h.label.into_inner(),
                    during: h.during.into_iter().map(Spanned::into_inner).collect(),
                }
            })
            .collect()
    }
}
