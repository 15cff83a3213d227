//! What the program's roles say in a launch: their calls, readbacks and answers.

use super::{Launch, Next, PILOT, Want};
use crate::call::{Judgement, Situation};
use crate::drill::answer::Spoken;
use crate::site::words::capital;
use crate::site::{By, Interruption, Interrupts, Line, Need, Noise, Purpose, Signal, Site, Sound, Step, fill, without};
use std::collections::BTreeMap;

impl Launch {
    pub(super) fn prompt(&mut self, step: &Step) {
        if let Some(p) = step.prompt.as_ref().filter(|p| p.role != self.role) {
            let line = Spoken {
                role: p.role.clone(),
                text: p.text.clone(),
                clip: p.clip.clone(),
            };
            self.say(step, line);
        }
    }

    /// One of the program's roles gives a signal; it is seen, or heard, and nothing is said.
    pub(super) fn show(&mut self, site: &Site, step: &Step) {
        let Some(signal) = self.signal_of(step).and_then(|id| site.signal(id)) else {
            return;
        };
        self.horn(signal);
        self.queue.push_back(Next::See(signal.text(site, Some(&step.speaker))));
    }

    /// The element of a step that names a link which is held up before it. One that is asked for, so that it is read back, is
    /// not held up yet: seeing it would give the answer away.
    pub(in crate::drill) fn held_up<'s>(site: &Site, step: &'s Step) -> Option<&'s String> {
        let asked_for = site.steps.iter().any(|s| s.readback_of.as_ref() == Some(&step.id));
        let at = site.place_in(step, Purpose::Link).filter(|_| !asked_for)?;
        step.elements.get(at)
    }

    /// The link that is held up: whoever names it looks whether it is the glider's own.
    pub(super) fn show_link(&mut self, site: &Site, step: &Step) {
        let Some(element) = Self::held_up(site, step) else {
            return;
        };
        let own = self.situation.values(site, step).remove(element);
        if self.course.shown_link.is_some() {
            self.happens("link", "another");
        }
        let shown = self.course.shown_link.clone().or(own);
        if let Some(words) = shown.and_then(|value| site.taught_words(element, &value)) {
            let text = site.language.text("link.shown", &[("words", &words)]);
            self.queue.push_back(Next::See(text));
        }
    }

    /// A horn is heard.
    pub(super) fn horn(&mut self, signal: &Signal) {
        if signal.by == "horn" {
            self.queue.push_back(Next::Hear(Sound {
                noise: Noise::Horn,
                clip: None,
            }));
        }
    }

    /// Another glider's radio check: words that are not for this launch.
    pub(super) fn others(&mut self, site: &Site, step: &Step) {
        let Some(other) = site.fleet.iter().find(|a| a.registration != self.situation.callsign) else {
            return;
        };
        // What others say who are not to be launched: a call by callsign and nothing that sets anything in motion.
        let quiet = |s: &&Step| {
            let of = |purpose| site.place_in(s, purpose).is_some();
            s.by == By::Radio && of(Purpose::Callsign) && !of(Purpose::Cable) && !of(Purpose::Readiness)
        };
        let order = site.launch.as_ref().map(|l| l.order.as_slice()).unwrap_or_default();
        let check = order.iter().filter_map(|id| site.step(id)).find(quiet).unwrap_or(step);
        let theirs = Situation::new(other.registration.clone(), 1, self.situation.cable.clone());
        let line = Spoken {
            role: "another pilot".to_owned(),
            text: theirs.taught_call(site, check),
            clip: None,
        };
        self.say(step, line);
    }

    /// What interrupts the work before the call of a step. Questions are for whoever is about to call; what is on the
    /// frequency comes where the step is on it.
    pub(super) fn interruptions(&mut self, site: &Site, step: &Step) {
        let due = self
            .course
            .interruptions
            .iter()
            .filter(|(_, during)| during == &step.id);
        let due: Vec<&Interruption> = due
            .filter_map(|(id, _)| site.interruptions.iter().find(|i| &i.id == id))
            .collect();
        for interruption in due {
            let mine = step.speaker == self.role;
            match interruption.kind {
                Interrupts::Traffic if step.by != By::Radio => continue,
                // While the cable moves others' words are no small matter: nobody can be sure of being understood.
                Interrupts::Traffic if mine && self.moving(site) => self.interrupted = true,
                Interrupts::Question if !mine => continue,
                Interrupts::Question => {
                    self.want = Some(Want::Aside);
                    self.interrupted = true;
                }
                _ => {}
            }
            self.happens("interruption", &interruption.id);
            self.queue.extend(interruption.sound.clone().map(Next::Hear));
            let other = site
                .fleet
                .iter()
                .rev()
                .find(|a| a.registration != self.situation.callsign);
            for line in interruption.lines.iter().filter(|l| l.role != self.role) {
                let text = fill(&line.text, |name| match site.purpose(name) {
                    Purpose::Callsign => {
                        // Called as the site calls its gliders.
                        let theirs = Situation::new(other?.registration.clone(), 1, "");
                        let form = site
                            .ready_step()
                            .map(|s| theirs.forms(site, s).swap_remove(0).join(" "));
                        let words = form.and_then(|f| site.taught_words(name, &f));
                        words.or_else(|| Some(other?.registration.spoken(site.language)))
                    }
                    _ => site
                        .element_for(Purpose::Cable)
                        .and_then(|e| site.taught_words(&e.id, &self.situation.cable)),
                });
                self.queue.push_back(Next::Say {
                    line: Spoken {
                        role: line.role.clone(),
                        text: capital(&text),
                        clip: line.clip.clone(),
                    },
                    radio: interruption.kind == Interrupts::Traffic,
                });
            }
        }
    }

    /// The program's own call. A readback of the student's own call is listened to, whether it is right or not: nothing
    /// but the words may give a wrong one away.
    pub(super) fn play(&mut self, site: &Site, step: &Step) {
        let right = self.situation.values(site, step);
        let mut values = right.clone();
        let mine = step
            .readback_of
            .as_ref()
            .and_then(|of| site.step(of))
            .is_some_and(|of| of.speaker == self.role);
        if step.readback_of.is_some() {
            for (element, value) in &mut values {
                if let Some(heard) = self.heard.get(element) {
                    value.clone_from(heard);
                }
            }
        }
        // What need not be said and was not is not read back either; what was said is, whatever it was.
        let need = |e: &String| self.situation.need(site, step, e);
        values.retain(|e, _| match need(e) {
            Need::Required => true,
            Need::Optional => !mine || self.heard.contains_key(e),
            Need::Never => mine && self.heard.contains_key(e),
        });
        let holds = |(element, _): &(String, String)| values.contains_key(element);
        if mine
            && self.course.misread.as_ref().is_some_and(holds)
            && let Some((element, value)) = self.course.misread.take()
        {
            self.happens("misread", &element);
            values.insert(element, value);
        }
        let line = Self::call_line(site, step, &values);
        self.say(step, line);
        if mine {
            let differs = |e: &&String| values.get(*e).is_some_and(|v| right.get(*e) != Some(v));
            self.misread = step.elements.iter().find(differs).cloned();
            self.turn.attempts = 0;
            self.want = Some(Want::Readback);
            return;
        }
        self.keep(step, &values);
        self.reply(site, step, &values);
        self.made_contact(site, step);
    }

    /// Whoever was called by callsign on the frequency and answered may be called shortly from then on.
    pub(super) fn made_contact(&mut self, site: &Site, step: &Step) {
        let called = step.by == By::Radio && site.place_in(step, Purpose::Callsign).is_some();
        let answered = step.answer.is_some() || step.readback_of.is_some();
        self.situation.contact |= called && answered;
    }

    /// A call as taught, with the values given; parts without one are left out.
    pub(super) fn call_line(site: &Site, step: &Step, values: &BTreeMap<String, String>) -> Spoken {
        let template = without(&step.taught, |name| {
            step.elements.iter().any(|e| e == name) && !values.contains_key(name)
        });
        Spoken {
            role: step.speaker.clone(),
            text: capital(&fill(&template, |name| Some(words_for(site, name, values.get(name)?)))),
            clip: None,
        }
    }

    /// The answer to a complete call, unless its speaker has the next step anyway or is the student.
    pub(super) fn reply(&mut self, site: &Site, step: &Step, values: &BTreeMap<String, String>) {
        let next = self.order.get(self.at + 1).and_then(|id| site.step(id));
        let Some(reply) = step.answer.as_ref() else { return };
        if reply.role == self.role || next.is_some_and(|n| n.speaker == reply.role) {
            return;
        }
        let line = Spoken {
            role: reply.role.clone(),
            text: capital(&fill(
                &without(&reply.text, |name| !values.contains_key(name)),
                |name| Some(words_for(site, name, values.get(name)?)),
            )),
            clip: reply.clip.clone(),
        };
        self.say(step, line);
    }

    /// A line of the site's to this glider.
    pub(super) fn told(&self, site: &Site, step: &Step, line: &Line) -> Spoken {
        let values = self.situation.values(site, step);
        Spoken {
            role: line.role.clone(),
            text: capital(&fill(&line.text, |name| Some(words_for(site, name, values.get(name)?)))),
            clip: line.clip.clone(),
        }
    }

    /// Keep what was heard in a call; what was said of the same parts in an earlier one counts no more.
    pub(super) fn keep(&mut self, step: &Step, values: &BTreeMap<String, String>) {
        self.heard.retain(|element, _| !step.elements.contains(element));
        self.heard.extend(values.iter().map(|(k, v)| (k.clone(), v.clone())));
    }
}

pub(super) fn words_for(site: &Site, element: &str, value: &str) -> String {
    site.taught_words(element, value).unwrap_or_else(|| value.to_owned())
}

/// Values heard in a complete call.
pub(super) fn heard_values(judgement: Option<&Judgement>) -> BTreeMap<String, String> {
    let elements = judgement.map(|j| j.elements.as_slice()).unwrap_or_default();
    elements
        .iter()
        .filter_map(|e| Some((e.element.clone(), e.heard.clone()?)))
        .collect()
}

/// A question where the site gives none.
pub(super) fn say_again(site: &Site, step: &Step, student: &str) -> Spoken {
    let asks = [&step.ask_all_again, &step.ask_again, &step.answer];
    let role = asks
        .into_iter()
        .flatten()
        .map(|l| l.role.clone())
        .find(|r| r != student);
    Spoken {
        role: role.unwrap_or_else(|| {
            if student == "winch driver" {
                PILOT
            } else {
                "winch driver"
            }
            .to_owned()
        }),
        text: site.language.say_again().to_owned(),
        clip: None,
    }
}
