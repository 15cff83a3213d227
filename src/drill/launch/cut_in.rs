//! What the student does while others act: stop and the hand count at any moment, other words into a transmission are lost.

use super::student::maybe_stop;
use super::{Did, Launch, Next, Want};
use crate::drill::record::{Ending, Entry, Note};
use crate::site::Site;

impl Launch {
    /// Is somebody else about to speak? Between two transmissions of others the frequency is quiet and not free.
    pub fn others_speak_next(&self) -> bool {
        self.queue.iter().any(|n| matches!(n, Next::Say { .. }))
    }

    /// Is nothing left of the step at hand, so that the next thing is another step or the end?
    pub fn step_is_over(&self) -> bool {
        self.queue.is_empty() && self.want.is_none()
    }

    /// The student acts while others do. `radio`: spoken into somebody's transmission, so that neither is understood.
    /// Stop and the hand are obeyed; anything else said on the radio is lost and noted, and what was wanted still is.
    pub fn cut_in(&mut self, site: &Site, did: Did, radio: bool) {
        let Some(now) = self.step(site).filter(|_| self.ending.is_none()) else {
            return;
        };
        match did {
            Did::Nothing => {}
            Did::Signal(_) if self.want.is_some() => self.at_once(site, did),
            Did::Signal(id) => {
                let signal = id.to_owned();
                self.record.push(Entry::Signalled {
                    step: now.id.clone(),
                    signal,
                });
                if site.signal(id).is_some_and(|s| s.stops) {
                    self.end(Ending::StoppedToBeSure);
                }
            }
            Did::Hand
                if matches!(
                    self.want,
                    Some(Want::Hazard | Want::Failure | Want::Readback | Want::Words | Want::Halt)
                ) =>
            {
                self.at_once(site, did);
            }
            Did::Hand if now.with_release && now.speaker == self.role && self.want == Some(Want::Call) => {
                self.did(site, did);
            }
            Did::Hand => {
                self.record.push(Entry::Hand { step: now.id.clone() });
                if self.has_a_hand(site) {
                    self.end(Ending::ByHandToBeSure);
                } else {
                    self.note(Note::NothingInHand);
                }
            }
            Did::Called {
                judgement,
                words,
                negative,
                refused,
                ..
            } => {
                let stop = judgement.stop || self.want == Some(Want::Hazard) && maybe_stop(site, judgement);
                let over = !stop;
                if stop && radio {
                    self.note(Note::StopMayBeLost);
                }
                match self.want {
                    Some(_) if stop || !radio => self.at_once(
                        site,
                        Did::Called {
                            judgement,
                            words,
                            negative,
                            refused,
                            over,
                        },
                    ),
                    _ => {
                        self.record.push(Entry::Called {
                            step: now.id.clone(),
                            want: Want::Aside,
                            asked: None,
                            words: words.to_owned(),
                            judgement: judgement.clone(),
                        });
                        if stop {
                            self.end(Ending::StoppedToBeSure);
                        } else if radio {
                            self.note(Note::Lost);
                        }
                    }
                }
            }
        }
    }

    /// What others were about to say is not said any more.
    fn at_once(&mut self, site: &Site, did: Did) {
        self.queue.clear();
        self.did(site, did);
    }
}
