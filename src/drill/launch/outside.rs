//! What comes over a launch from outside: a radio that is dead, and a stop that somebody else calls.

use super::student::PASSED_OVER;
use super::{Did, Launch, Next, Want, at_the_top};
use crate::call::Verdict;
use crate::drill::record::{Ending, Note};
use crate::site::{By, Halt, Site, Step};
use std::collections::BTreeSet;

impl Launch {
    /// What was out of the ordinary and came about: the kind, and which one.
    pub fn happened(&self) -> &BTreeSet<String> {
        &self.happened
    }

    pub(super) fn happens(&mut self, kind: &str, which: &str) {
        self.happened.insert(format!("{kind} {which}").trim_end().to_owned());
    }

    /// The signal of a step: its own, or the one that takes the place of its call when the radio is dead.
    pub(crate) fn signal_of<'s>(&self, step: &'s Step) -> Option<&'s String> {
        step.signal
            .as_ref()
            .or_else(|| step.backup.as_ref().filter(|_| self.silent(step)))
    }

    /// Would this step be called on a radio that is dead?
    pub(super) fn silent(&self, step: &Step) -> bool {
        self.dead && step.by == By::Radio
    }

    /// Is the radio dead in this step? Where it dies now, that is seen.
    pub(super) fn radio_is_dead(&mut self, site: &Site, step: &Step) -> bool {
        if !self.dead && self.course.radio_dead.as_ref() == Some(&step.id) {
            self.dead = true;
            self.happens("radio dead", "");
            self.queue.push_back(Next::See(site.language.text("radio.dead", &[])));
            // Whoever must act has to know which signals the place has.
            let all = site.signals.iter().filter(|s| !s.id.is_empty());
            let all = all.map(|s| {
                let parts = [("signal", s.text(site, None)), ("meaning", s.meaning.clone())];
                let parts = parts.each_ref().map(|(name, text)| (*name, text.as_str()));
                site.language.text("signal.means", &parts)
            });
            self.queue.extend(all.map(Next::See));
        }
        self.silent(step)
    }

    /// A call that cannot be made by radio: the site's signal takes its place, or nothing does.
    pub(super) fn without_radio(&mut self, site: &Site, step: &Step) {
        let needless =
            |id: &String| site.launch.as_ref().is_some_and(|l| l.sometimes.contains(id)) && !at_the_top(site, step);
        if step.backup.is_none() {
            // What may be left out is left out.
            if !step.may_be_left_out && !needless(&step.id) {
                self.end(Ending::NoRadio);
            }
        } else if step.speaker == self.role {
            self.want = Some(Want::Signal);
        } else {
            self.show(site, step);
            let values = self.situation.values(site, step);
            self.keep(step, &values);
        }
    }

    /// Words on a dead radio are heard by nobody but those who stand nearby.
    pub(super) fn on_a_dead_radio(&mut self, step: &Step) -> bool {
        let silent = self.silent(step);
        if silent {
            self.note(Note::DeadRadio);
        }
        silent
    }

    /// A place that works with signals says at the beginning that they are its own.
    pub(super) fn signals_differ(&mut self, site: &Site) {
        let given = |id: &String| site.step(id).is_some_and(|s| s.signal.is_some());
        if self.order.iter().any(given) || site.has_backup() {
            let text = site.language.text("signal.caution", &[("site", &site.name)]);
            self.queue.push_back(Next::See(text));
        }
    }

    fn halt<'s>(&self, site: &'s Site) -> Option<&'s Halt> {
        let (id, _) = self.course.halt.as_ref()?;
        site.halts.iter().find(|h| &h.id == id)
    }

    /// Does somebody else call stop before this step's call?
    pub(super) fn halted_at(&mut self, site: &Site, step: &Step) -> bool {
        let now = self.course.halt.as_ref().is_some_and(|(_, during)| during == &step.id);
        let Some(halt) = self
            .halt(site)
            .filter(|h| now && !self.halted && h.called.role != self.role)
        else {
            return false;
        };
        self.halted = true;
        self.happens("halt", &halt.id);
        let line = self.told(site, step, &halt.called);
        // Whoever sees it shouts: that needs no radio.
        self.queue.push_back(Next::Say { line, radio: false });
        self.want = Some(Want::Halt);
        true
    }

    /// Somebody has called stop. The hand comes first where it has something to stop; the others keep still or pass it on.
    pub(super) fn did_halt(&mut self, site: &Site, step: &Step, did: Did) {
        let hand = self.has_a_hand(site);
        let calls_on = |judgement: &crate::call::Judgement| {
            let mut critical = judgement.elements.iter().filter(|e| e.critical);
            critical.any(|e| matches!(e.verdict, Verdict::Said | Verdict::Wrong))
        };
        match did {
            Did::Hand if hand => self.note(Note::HandFirst),
            Did::Hand => self.note(Note::NothingInHand),
            Did::Called { judgement, refused, .. } if !judgement.stop && !refused && calls_on(judgement) => {
                self.note(Note::CalledOverHalt);
                self.passed_over += 1;
                if self.passed_over >= PASSED_OVER {
                    self.end(Ending::BrokenOff);
                }
                return;
            }
            Did::Called { judgement, .. } if judgement.stop && !hand => self.note(Note::HaltPassedOn),
            Did::Signal(id) if !hand && site.signal(id).is_some_and(|s| s.stops) => self.note(Note::HaltPassedOn),
            Did::Called { .. } | Did::Signal(_) | Did::Nothing if hand => {
                // Words, or nothing: the hand is still wanted, once more.
                self.note(Note::HaltWithoutHand);
                self.passed_over += 1;
                if self.passed_over < 2 {
                    return;
                }
            }
            Did::Called { .. } | Did::Signal(_) | Did::Nothing => {}
        }
        self.begin_again(site, step);
    }

    /// It is settled: everything is done again from the step that the site names.
    fn begin_again(&mut self, site: &Site, step: &Step) {
        let Some(halt) = self.halt(site) else {
            self.want = None;
            return;
        };
        // The student is not spoken for.
        if halt.cleared.role != self.role {
            let line = self.told(site, step, &halt.cleared);
            self.queue.push_back(Next::Say { line, radio: false });
        }
        // A run of some of the steps begins again with the first it has of those to be done again.
        let whole = site.launch.as_ref().map(|l| l.order.as_slice()).unwrap_or_default();
        let place = |id: &String| whole.iter().position(|o| o == id);
        let from = place(&halt.again);
        let again = self.order.iter().position(|id| place(id) >= from);
        self.at = again.unwrap_or(self.at).min(self.at);
        self.begun = false;
        self.want = None;
        self.heard.clear();
        self.misread = None;
        let title = self.step(site).map_or("", |s| s.title.as_str());
        let text = site.language.text("halt.again", &[("step", title)]);
        self.queue.push_back(Next::See(text));
    }
}
