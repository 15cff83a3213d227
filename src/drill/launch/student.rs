//! What the student does in a launch, and what follows from it.

use super::others::{heard_values, say_again};
use super::{Did, Launch, Next, PILOT, WINCH_DRIVER, Want, at_the_top};
use crate::call::judge::Limits;
use crate::call::{ElementVerdict, Judgement, Outcome, Verdict};
use crate::drill::answer::{Answer, Spoken};
use crate::drill::record::{Ending, Entry, Note};
use crate::drill::turn::Turn;
use crate::site::{By, Need, Purpose, Site, Step};
use std::collections::BTreeMap;

/// Attempts at one call before the run is broken off: that call is then practised alone.
const ATTEMPTS: u32 = 5;
/// Times in a row that a student may let a turn pass.
pub(super) const PASSED_OVER: u8 = 3;

impl Launch {
    /// The student's part. Ignored when it is not the student's turn.
    pub fn did(&mut self, site: &Site, did: Did) {
        let (Some(want), Some(step)) = (self.want, self.step(site)) else {
            return;
        };
        match did {
            Did::Called {
                judgement, words, over, ..
            } => {
                self.record.push(Entry::Called {
                    step: step.id.clone(),
                    want,
                    asked: self.turn.asked.clone(),
                    words: words.to_owned(),
                    judgement: judgement.clone(),
                });
                if over {
                    self.note(Note::SpokeOver);
                }
            }
            Did::Hand => self.record.push(Entry::Hand { step: step.id.clone() }),
            Did::Signal(id) => {
                self.record.push(Entry::Signalled {
                    step: step.id.clone(),
                    signal: id.to_owned(),
                });
                // A signal that stops is obeyed like the word, whatever was wanted.
                if let Some(signal) = site.signal(id) {
                    self.horn(signal);
                    // Passing on somebody else's stop ends nothing that is not at an end.
                    if signal.stops && want != Want::Halt {
                        if want == Want::Hazard && self.has_a_hand(site) {
                            self.note(Note::HandWanted);
                        }
                        let needed = self.misread.is_some() || want == Want::Hazard;
                        let talked = self.interrupted && self.moving(site);
                        self.end(if needed || talked {
                            Ending::Stopped
                        } else {
                            Ending::StoppedToBeSure
                        });
                        return;
                    }
                }
            }
            Did::Nothing => {}
        }
        match want {
            Want::Signal => self.did_signal(site, step, did),
            Want::Wait => self.did_wait(site, step, did),
            Want::Halt => self.did_halt(site, step, did),
            Want::Call => self.did_call(site, step, did),
            Want::Aside => self.did_aside(site, step, did),
            Want::Readback => self.did_readback(site, step, did),
            Want::Hazard => self.did_hazard(site, did),
            Want::Failure => self.did_failure(site, did),
            Want::Words if self.failing.is_some() => self.end(Ending::Abandoned),
            Want::Words => self.end(Ending::ByHand),
            Want::Release => self.did_release(site, step, did),
        }
    }

    /// Has the student a hand on something that stops this launch? The pilot from hooking on, the winch driver from the
    /// ready call.
    pub(crate) fn has_a_hand(&self, site: &Site) -> bool {
        let has = |id: &String, purpose| site.step(id).is_some_and(|s| site.place_in(s, purpose).is_some());
        let ready = self.order.iter().position(|s| has(s, Purpose::Readiness));
        let from = match self.role.as_str() {
            // The cable is on behind the last word of hooking on, whoever says it.
            PILOT => {
                let hooked = self.order.iter().rposition(|s| has(s, Purpose::Hook));
                hooked.map(|h| h + 1).or(ready)
            }
            WINCH_DRIVER => ready,
            _ => return false,
        };
        from.is_none_or(|f| self.at >= f)
    }

    fn did_call(&mut self, site: &Site, step: &Step, did: Did) {
        match did {
            // Whoever is spoken to while the cable moves is right to stop, and so is who is shown another link.
            Did::Called { judgement, .. } if judgement.stop => self.end(if self.something_is_wrong(site, step) {
                Ending::Stopped
            } else {
                Ending::StoppedToBeSure
            }),
            Did::Called { refused: true, .. } => self.end(Ending::NothingMoves),
            Did::Called { judgement, .. } => self.called(site, step, judgement),
            Did::Hand if step.with_release => self.pull(site.language.text("release.pulled", &[])),
            Did::Hand if self.has_a_hand(site) => self.end(Ending::ByHandToBeSure),
            Did::Hand => {
                // While the hook is tried, a pilot who moves the release spoils nothing.
                if self.role != PILOT || site.place_in(step, Purpose::Hook).is_none() {
                    self.note(Note::NothingInHand);
                }
                self.pass_over(step);
            }
            Did::Signal(_) => {
                self.note(Note::WordsWanted);
                self.pass_over(step);
            }
            Did::Nothing if step.may_be_left_out => {
                self.note(Note::LeftOut);
                self.want = None;
            }
            Did::Nothing => {
                self.note(Note::TurnPassed);
                self.pass_over(step);
            }
        }
    }

    fn something_is_wrong(&self, site: &Site, step: &Step) -> bool {
        let other_link = self.course.shown_link.is_some() && Self::held_up(site, step).is_some();
        self.interrupted && self.moving(site) || other_link
    }

    /// An answer to a question in between, or none; whoever makes the call at once has made it.
    fn did_aside(&mut self, site: &Site, step: &Step, did: Did) {
        self.want = Some(Want::Call);
        let calls = |j: &Judgement| {
            let mut critical = j.elements.iter().filter(|e| e.critical);
            critical.any(|e| matches!(e.verdict, Verdict::Said | Verdict::Wrong))
        };
        match did {
            Did::Called { judgement, .. } if judgement.stop || calls(judgement) => self.did_call(site, step, did),
            Did::Hand => self.did_call(site, step, did),
            Did::Called { .. } | Did::Nothing | Did::Signal(_) => {}
        }
    }

    fn pass_over(&mut self, step: &Step) {
        self.passed_over += 1;
        if self.passed_over >= PASSED_OVER {
            self.end(Ending::NobodyCalled);
        } else {
            self.prompt(step);
        }
    }

    fn called(&mut self, site: &Site, step: &Step, judgement: &Judgement) {
        self.turn.prompted();
        self.turn.press();
        self.turn.release();
        let reply = self.turn.judged(site, step, judgement);
        self.about_the_link(site, step, judgement);
        let so_far = self.turn.so_far.as_ref();
        let readback = self.order.get(self.at + 1).and_then(|id| site.step(id));
        let repeated = |e: &ElementVerdict| readback.is_some_and(|r| r.elements.contains(&e.element));
        let only_wrong = so_far.is_some_and(|j| {
            let mut critical = j.elements.iter().filter(|e| e.critical);
            critical.all(|e| e.verdict == Verdict::Said || e.verdict == Verdict::Wrong && repeated(e))
        });
        match reply {
            Answer::Complete(_) => {
                // Only the ready call is left without an answer, or refused: a word of the winch driver's own is neither.
                let ready = site.ready_step().is_some_and(|r| r.id == step.id) && self.read_back_next(site, step);
                if self.unanswered > 0 && step.by == By::Radio && ready {
                    self.nobody_answers();
                    return;
                }
                if self.refusing && ready {
                    self.refuse(site, step);
                    return;
                }
                let values = heard_values(so_far);
                self.keep(step, &values);
                if std::mem::take(&mut self.interrupted) {
                    self.note(if self.moving(site) {
                        Note::InterruptedMoving
                    } else {
                        Note::Interrupted
                    });
                }
                if step.with_release && self.pulls == 0 {
                    self.note(Note::PullWithTheWords);
                }
                self.reply(site, step, &values);
                self.made_contact(site, step);
                self.want = None;
            }
            Answer::NothingMoves => self.end(Ending::NothingMoves),
            // Nobody asks somebody whose hands are busy.
            _ if step.may_be_left_out => self.want = None,
            // Nothing is missing: what was heard is read back whole, as a driver does who cannot know better. What is not part of
            // the readback is asked for at once: nobody would hear it again.
            Answer::ReadBack { .. } if only_wrong && self.read_back_next(site, step) => {
                let values = heard_values(so_far);
                self.keep(step, &values);
                self.want = None;
            }
            Answer::Silence => {
                self.note(Note::TurnPassed);
                self.pass_over(step);
            }
            Answer::Stopped(_) => self.end(Ending::StoppedToBeSure),
            Answer::Ask { line, .. } | Answer::ReadBack { line, .. } | Answer::SayAgain(line) => {
                if self.turn.attempts >= ATTEMPTS {
                    self.end(Ending::BrokenOff);
                    return;
                }
                let line = if line.text.is_empty() {
                    say_again(site, step, &self.role)
                } else {
                    line
                };
                self.say(step, line);
            }
        }
    }

    /// Another link than the type's own was held up: was it noticed?
    fn about_the_link(&mut self, site: &Site, step: &Step, judgement: &Judgement) {
        let shown = self.course.shown_link.clone();
        let Some(shown) = shown.filter(|_| Self::held_up(site, step).is_some()) else {
            return;
        };
        let mut links = judgement
            .elements
            .iter()
            .filter(|e| site.purpose(&e.element) == Purpose::Link);
        let Some(link) = links.next().filter(|l| step.elements.contains(&l.element)) else {
            return;
        };
        match link.verdict {
            Verdict::Said if link.expected != shown => self.note(Note::LinkNoticed),
            Verdict::Wrong if link.heard.as_ref() == Some(&shown) => self.note(Note::LinkTaken),
            _ => {}
        }
    }

    /// The winch driver refuses: nothing moves, and the ready call comes again when the winch is ready.
    fn refuse(&mut self, site: &Site, step: &Step) {
        self.refusing = false;
        self.happens("refusal", "");
        let Some(refusal) = site.launch.as_ref().and_then(|l| l.refusal.clone()) else {
            return;
        };
        let line = self.told(site, step, &refusal[0]);
        self.say(step, line);
        self.turn = Turn::new(self.situation.clone());
        self.passed_over = 0;
        self.want = Some(Want::Wait);
    }

    fn did_wait(&mut self, site: &Site, step: &Step, did: Did) {
        match did {
            Did::Called { judgement, .. } if judgement.stop => self.end(Ending::StoppedToBeSure),
            Did::Called { refused: true, .. } => self.end(Ending::NothingMoves),
            Did::Hand if self.has_a_hand(site) => self.end(Ending::ByHandToBeSure),
            // The call comes again while the winch is not ready.
            Did::Called { judgement, .. } if judgement.outcome == Outcome::Pass => {
                self.note(Note::CalledOverRefusal);
                self.passed_over += 1;
                if self.passed_over >= PASSED_OVER {
                    self.end(Ending::BrokenOff);
                }
            }
            // Words that only acknowledge, or none.
            Did::Called { .. } | Did::Nothing | Did::Hand | Did::Signal(_) => {
                let again = site.launch.as_ref().and_then(|l| l.refusal.as_ref());
                if let Some(line) = again.map(|r| self.told(site, step, &r[1])) {
                    self.say(step, line);
                }
                self.want = Some(Want::Call);
            }
        }
    }

    fn nobody_answers(&mut self) {
        self.unanswered -= 1;
        self.happens("unanswered", "");
        self.note(Note::Unanswered);
        self.turn = Turn::new(self.situation.clone());
        if self.unanswered == 0 && self.course.unanswered > 1 {
            self.end(Ending::NoAnswer);
        }
    }

    fn read_back_next(&self, site: &Site, step: &Step) -> bool {
        let next = self.order.get(self.at + 1).and_then(|id| site.step(id));
        next.is_some_and(|n| n.readback_of.as_ref() == Some(&step.id))
    }

    fn did_readback(&mut self, site: &Site, step: &Step, did: Did) {
        let wrong = self.misread.clone();
        match did {
            Did::Called { judgement, .. } if judgement.stop => {
                self.end(if wrong.is_some() {
                    Ending::Stopped
                } else {
                    Ending::StoppedToBeSure
                });
            }
            Did::Hand if self.has_a_hand(site) => {
                self.end(if wrong.is_some() {
                    Ending::ByHand
                } else {
                    Ending::ByHandToBeSure
                });
            }
            Did::Called {
                judgement, negative, ..
            } => match &wrong {
                Some(element) => self.corrects(site, step, element, judgement, negative),
                // The slack is being taken up: "not ready" stops it.
                None if judgement.refuses(site) && self.moving(site) => self.end(Ending::StoppedToBeSure),
                None if judgement.refuses(site) => self.end(Ending::NothingMoves),
                // What else is said to a right readback changes nothing.
                None => self.readback_stands(site, step),
            },
            Did::Nothing | Did::Hand | Did::Signal(_) if wrong.is_some() => self.end(Ending::ReadbackAccepted),
            Did::Nothing | Did::Hand | Did::Signal(_) => self.readback_stands(site, step),
        }
    }

    fn readback_stands(&mut self, site: &Site, step: &Step) {
        self.want = None;
        let values = self.situation.values(site, step);
        self.reply(site, step, &values);
    }

    fn corrects(&mut self, site: &Site, step: &Step, element: &str, judgement: &Judgement, negative: bool) {
        let mut right = self.situation.values(site, step);
        // The whole call made again without what need not be in it corrects a slip of one's own, not one of the driver's.
        let own_slip = self.heard.get(element) != right.get(element);
        match judgement.element(element).map(|e| e.verdict) {
            None if own_slip && judgement.outcome == Outcome::Pass => {
                self.heard.remove(element);
                right.remove(element);
                self.corrected(site, step, right, judgement, negative);
            }
            Some(Verdict::Said) => self.corrected(site, step, right, judgement, negative),
            // Something is wrong, says the student, and not yet what; or it was not made out.
            Some(Verdict::Unsure | Verdict::Wrong) => self.what_was_that(site, step),
            _ if negative => self.what_was_that(site, step),
            // "Correct", "roger", or anything else: the wrong value stands.
            _ => self.end(Ending::ReadbackAccepted),
        }
    }

    /// The wrong value is put right: the driver reads back once more.
    fn corrected(
        &mut self,
        site: &Site,
        step: &Step,
        mut right: BTreeMap<String, String>,
        judgement: &Judgement,
        negative: bool,
    ) {
        self.note(if negative {
            Note::Corrected
        } else {
            Note::CorrectedWithoutNegative
        });
        // What need not be said is read back only where it was.
        let said = |e: &String| self.heard.contains_key(e) || judgement.element(e).is_some();
        right.retain(|e, _| self.situation.need(site, step, e) == Need::Required || said(e));
        let line = Self::call_line(site, step, &right);
        self.say(step, line);
        self.keep(step, &right);
        self.misread = None;
        self.want = None;
    }

    fn what_was_that(&mut self, site: &Site, step: &Step) {
        self.turn.attempts += 1;
        if self.turn.attempts >= ATTEMPTS {
            self.end(Ending::BrokenOff);
            return;
        }
        let line = Spoken {
            role: step.speaker.clone(),
            text: site.language.say_again().to_owned(),
            clip: None,
        };
        self.say(step, line);
    }

    fn did_hazard(&mut self, site: &Site, did: Did) {
        let hand = self.has_a_hand(site);
        let moving = self.moving(site);
        let mine = self
            .step(site)
            .is_some_and(|s| s.speaker == self.role && s.by.has_words());
        let unsure = |judgement| stop_in(site, judgement).is_some_and(|s| s.verdict == Verdict::Unsure);
        match did {
            Did::Hand if hand => {
                self.note(Note::HandFirst);
                if site.stop_step().is_some() {
                    self.want = Some(Want::Words);
                } else {
                    self.end(Ending::ByHand);
                }
            }
            // In doubt whether it was a stop the others stop; so they do upon "not ready" when the cable moves already.
            Did::Called { judgement, refused, .. }
                if judgement.stop || maybe_stop(site, judgement) || refused && moving =>
            {
                // Behind the release nobody's hand has anything to stop.
                let after = !moving && self.step(site).is_some_and(|s| at_the_top(site, s));
                if hand && !after {
                    self.note(Note::WordsBeforeHand);
                }
                if let Some(step) = self.step(site) {
                    self.on_a_dead_radio(step);
                }
                self.end(Ending::Stopped);
            }
            Did::Called { refused: true, .. } => self.end(Ending::NothingMoves),
            // The sound does not decide it: once more.
            Did::Called { judgement, .. } if self.passed_over == 0 && unsure(judgement) => {
                self.passed_over += 1;
                let text = site.language.text("danger.not_made_out", &[]);
                self.queue.push_back(Next::See(text));
            }
            // Nothing moves without the call that was held back.
            Did::Nothing if mine && !moving => self.end(Ending::HeldBack),
            Did::Called { .. } | Did::Hand | Did::Nothing | Did::Signal(_) => self.end(Ending::HazardMissed),
        }
    }

    /// Act first, then the words, or none.
    fn did_failure(&mut self, site: &Site, did: Did) {
        match did {
            Did::Hand => {
                self.note(Note::HandFirst);
                let band = self.failed(site).and_then(|f| f.band.as_ref());
                let band = band.and_then(|name| site.bands.iter().find(|b| &b.name == name));
                // How it goes on in the air is the pilot's, whoever else had a hand on something.
                let band = band.filter(|_| self.role == PILOT);
                self.queue.extend(band.map(|b| Next::See(b.text(site))));
                self.want = Some(Want::Words);
            }
            Did::Called { .. } => {
                self.note(Note::WordsBeforeHand);
                self.no_hand();
            }
            Did::Nothing | Did::Signal(_) => {
                self.note(Note::HandWanted);
                self.no_hand();
            }
        }
    }

    /// The right signal goes on, another one is remarked upon.
    fn did_signal(&mut self, site: &Site, step: &Step, did: Did) {
        match did {
            Did::Signal(id) if self.signal_of(step).map(String::as_str) == Some(id) => {
                let values = self.situation.values(site, step);
                self.keep(step, &values);
                self.want = None;
            }
            Did::Signal(_) => {
                self.note(Note::OtherSignal);
                self.pass_over(step);
            }
            Did::Called { judgement, .. } if judgement.stop => {
                self.on_a_dead_radio(step);
                self.end(Ending::StoppedToBeSure);
            }
            Did::Called { refused: true, .. } if !self.moving(site) => self.end(Ending::NothingMoves),
            Did::Hand if self.has_a_hand(site) => self.end(Ending::ByHandToBeSure),
            Did::Called { .. } if self.on_a_dead_radio(step) => self.pass_over(step),
            Did::Called { .. } | Did::Hand => {
                self.note(Note::SignalWanted);
                self.pass_over(step);
            }
            Did::Nothing if step.may_be_left_out => {
                self.note(Note::LeftOut);
                self.want = None;
            }
            // Without a radio nothing need begin.
            Did::Nothing if self.silent(step) && !self.moving(site) => self.end(Ending::HeldBack),
            Did::Nothing => {
                self.note(Note::TurnPassed);
                self.pass_over(step);
            }
        }
    }

    fn no_hand(&mut self) {
        self.passed_over += 1;
        if self.passed_over >= PASSED_OVER {
            self.end(Ending::NotReleased);
        }
    }

    fn did_release(&mut self, site: &Site, step: &Step, did: Did) {
        // The habit is one of the top of the launch; the hook is opened for the ring with one pull.
        let hooking_on = !at_the_top(site, step);
        let wanted = if hooking_on { 1 } else { site.customs.release_pulls };
        let count = |n: u8| {
            let (n, of) = (n.to_string(), wanted.to_string());
            if hooking_on {
                site.language.text("release.pulled", &[])
            } else {
                site.language.text("release.count", &[("n", &n), ("of", &of)])
            }
        };
        match did {
            Did::Hand => {
                self.passed_over = 0;
                self.pull(count(self.pulls + 1));
                if self.pulls >= wanted {
                    self.want = None;
                }
            }
            Did::Called { judgement, .. } if judgement.stop => self.end(Ending::StoppedToBeSure),
            // The cable is off after the first pull as a rule; the others make sure of it.
            Did::Called { .. } | Did::Nothing | Did::Signal(_) if self.pulls > 0 => {
                self.passed_over += 1;
                if self.passed_over > 1 {
                    self.note(Note::PulledTooFew);
                    self.want = None;
                } else {
                    self.note(Note::PullAgain);
                    self.queue.push_back(Next::See(count(self.pulls)));
                }
            }
            Did::Called { .. } | Did::Nothing | Did::Signal(_) => {
                self.note(Note::HandWanted);
                self.no_hand();
            }
        }
    }
}

/// In the step "stop" itself: what was found of the stop.
fn stop_in<'j>(site: &Site, judgement: &'j Judgement) -> Option<&'j ElementVerdict> {
    let is_stop = |e: &&ElementVerdict| site.purpose(&e.element) == Purpose::Stop;
    judgement.elements.iter().find(is_stop)
}

/// In the step "stop" itself: was it a stop, or may it have been one?
pub(super) fn maybe_stop(site: &Site, judgement: &Judgement) -> bool {
    let Some(stop) = stop_in(site, judgement) else {
        return false;
    };
    let close = stop.margin.is_some_and(|m| m < Limits::DEFAULT.failed);
    match stop.verdict {
        Verdict::Said => true,
        Verdict::Unsure => stop.heard.is_some() || close,
        _ => false,
    }
}
