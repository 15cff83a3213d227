//! One turn: from the prompt to a complete call, over as many attempts as it takes.

use super::answer::{Answer, answer};
use crate::call::{Judgement, Outcome, Situation, Verdict, Vocabulary};
use crate::site::{Site, Step};
use serde::{Deserialize, Serialize};

/// The states of a turn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum TurnState {
    /// The other side speaks.
    Receiving,
    /// The student may press.
    YourCall,
    /// The student speaks.
    Transmitting,
    /// The call is being heard.
    Judging,
    /// The call is complete.
    Done,
}

/// A turn of one step with one situation.
#[derive(Debug, Clone, PartialEq)]
pub struct Turn {
    /// What was dealt.
    pub situation: Situation,
    /// Where the turn stands.
    pub state: TurnState,
    /// Attempts made.
    pub attempts: u32,
    /// The element asked for by the last answer, if one.
    pub asked: Option<String>,
    /// The judgement so far: an answer to a question completes it.
    pub so_far: Option<Judgement>,
    /// The first attempt was complete: counts for the record of first-time passes.
    pub first_time: Option<bool>,
}

impl Turn {
    /// A new turn: the other side speaks first.
    pub fn new(situation: Situation) -> Self {
        Self {
            situation,
            state: TurnState::Receiving,
            attempts: 0,
            asked: None,
            so_far: None,
            first_time: None,
        }
    }

    /// The other side has spoken.
    pub fn prompted(&mut self) {
        if self.state == TurnState::Receiving {
            self.state = TurnState::YourCall;
        }
    }

    /// The key is pressed. Pressing while the other side speaks is allowed and noticed elsewhere.
    pub fn press(&mut self) -> bool {
        let may = matches!(self.state, TurnState::YourCall | TurnState::Receiving);
        if may {
            self.state = TurnState::Transmitting;
        }
        may
    }

    /// The key is released.
    pub fn release(&mut self) -> bool {
        let was = self.state == TurnState::Transmitting;
        if was {
            self.state = TurnState::Judging;
        }
        was
    }

    /// The transmission is thrown away.
    pub fn cancel(&mut self) {
        if matches!(self.state, TurnState::Transmitting | TurnState::Judging) {
            self.state = TurnState::YourCall;
        }
    }

    /// What can be said now: the words of the step, and what corrects a value that was read back.
    pub fn vocabulary(&self, site: &Site, step: &Step) -> Vocabulary {
        let all = Vocabulary::of(site, step);
        let asked = self.asked.as_deref().zip(self.so_far.as_ref());
        let wrong = asked
            .and_then(|(asked, so_far)| so_far.element(asked))
            .filter(|e| e.verdict == Verdict::Wrong);
        match wrong.and_then(|e| Some((&e.element, e.heard.as_ref()?))) {
            Some((asked, heard)) => all.correcting(site, asked, heard),
            None => all,
        }
    }

    /// A call was judged: what the other side does. The judgement that counts is in [`Self::so_far`].
    pub fn judged(&mut self, site: &Site, step: &Step, judgement: &Judgement) -> Answer {
        self.attempts += 1;
        let counted = match (&self.so_far, &self.asked) {
            (Some(old), Some(asked)) if judgement.outcome != Outcome::NothingHeard => {
                old.completed_by(judgement, asked)
            }
            (Some(old), _) if judgement.outcome == Outcome::NothingHeard => Judgement {
                outcome: Outcome::NothingHeard,
                ..old.clone()
            },
            _ => judgement.clone(),
        };
        let heard = counted.outcome != Outcome::NothingHeard;
        if heard && self.first_time.is_none() && !judgement.stop && !counted.refuses(site) {
            self.first_time = Some(counted.outcome == Outcome::Pass);
        }
        let counted = Judgement {
            stop: judgement.stop,
            ..counted
        };
        let reply = answer(site, step, &counted);
        match &reply {
            Answer::Complete(_) => {
                self.state = TurnState::Done;
                self.asked = None;
            }
            Answer::Ask { element, .. } | Answer::ReadBack { element, .. } => {
                self.state = TurnState::Receiving;
                self.asked = Some(element.clone());
            }
            Answer::SayAgain(_) => {
                self.state = TurnState::Receiving;
                self.asked = None;
            }
            Answer::Silence => self.state = TurnState::YourCall,
            Answer::Stopped(_) | Answer::NothingMoves => self.state = TurnState::Done,
        }
        if heard {
            self.so_far = Some(counted);
        }
        reply
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::call::{Evidence, judge, judge::Limits};
    use crate::site::Callsign;

    fn larkmoor() -> Site {
        let dir = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases/larkmoor");
        Site::check(&crate::folders::read_site(&dir)).unwrap()
    }

    fn say(site: &Site, turn: &mut Turn, text: &str) -> Answer {
        let step = site.step("ready").unwrap();
        turn.prompted();
        assert!(turn.press());
        assert!(turn.release());
        let evidence = Evidence::typed(&turn.vocabulary(site, step), text);
        let judgement = judge(site, step, &turn.situation, &evidence, &Limits::DEFAULT);
        turn.judged(site, step, &judgement)
    }

    #[test]
    fn a_forgotten_crew_is_asked_for_and_the_answer_completes_the_call() {
        let site = larkmoor();
        let mut turn = Turn::new(Situation::new(Callsign::parse("G-CLRM").unwrap(), 2, "north"));
        let reply = say(
            &site,
            &mut turn,
            "Winch, Golf Charlie Lima Romeo Mike, north winch cable, ready",
        );
        assert_eq!(reply.line().unwrap().text, "Say again: how many on board?");
        assert_eq!(turn.asked.as_deref(), Some("crew"));
        let reply = say(&site, &mut turn, "two up");
        assert_eq!(
            reply.line().unwrap().text,
            "Golf charlie lima romeo mike, two up, north winch cable. Taking up slack."
        );
        assert_eq!(turn.state, TurnState::Done);
        assert_eq!(turn.first_time, Some(false));
    }

    #[test]
    fn a_wrong_cable_is_read_back_as_heard_before_anything_missing_is_asked() {
        let site = larkmoor();
        let mut turn = Turn::new(Situation::new(Callsign::parse("G-CLRM").unwrap(), 2, "north"));
        let reply = say(
            &site,
            &mut turn,
            "Winch, Golf Charlie Lima Romeo Mike, south winch cable, ready",
        );
        assert!(
            matches!(&reply, Answer::ReadBack { element, line } if element == "cable" && line.text == "South?"),
            "{reply:?}"
        );
        // An answer with the wrong value again stays wrong; silence changes nothing and nothing moves.
        assert!(matches!(say(&site, &mut turn, "south"), Answer::ReadBack { .. }));
        assert_eq!(say(&site, &mut turn, ""), Answer::Silence);
        let reply = say(&site, &mut turn, "correction, north winch cable");
        assert!(
            matches!(&reply, Answer::Ask { element, .. } if element == "crew"),
            "{reply:?}"
        );
        assert!(matches!(say(&site, &mut turn, "two up"), Answer::Complete(_)));
    }

    /// The wording of a high failure at Erlengrund differs at its last word only; what is said of the other side corrects it.
    #[test]
    fn the_end_of_a_wording_corrects_a_value_that_was_read_back_and_fills_in_no_missing_one() {
        let site = Site::check(&crate::site::bundled::files("erlengrund").unwrap()).unwrap();
        let step = site.step("briefing").unwrap();
        let mut situation = Situation::new(Callsign::parse("D-3862").unwrap(), 1, "see");
        situation.more.insert("hoch".into(), "rechts".into());
        situation.more.insert("Wind".into(), "links".into());
        let right = situation.taught_call(&site, step);
        let say = |turn: &mut Turn, text: &str| {
            turn.prompted();
            assert!(turn.press() && turn.release());
            let vocabulary = turn.vocabulary(&site, step);
            let evidence = Evidence::typed(&vocabulary, text).answering(site.language, &vocabulary);
            let judgement = judge(&site, step, &turn.situation, &evidence, &Limits::DEFAULT);
            turn.judged(&site, step, &judgement)
        };
        let wrong = right.replace("nach rechts", "nach links");
        assert_ne!(wrong, right);
        for answer in ["Platzrunde nach rechts", "nach rechts", "nein, nach rechts"] {
            let mut turn = Turn::new(situation.clone());
            assert!(matches!(say(&mut turn, &wrong), Answer::ReadBack { .. }));
            assert!(matches!(
                say(&mut turn, "nach links"),
                Answer::ReadBack { .. } | Answer::Ask { .. }
            ));
            assert!(matches!(say(&mut turn, answer), Answer::Complete(_)), "{answer}");
        }
        let mut turn = Turn::new(situation.clone());
        let half = right.replace(
            "Unterbrechung hoch, nachdrücken, Fahrt holen, verkürzte Platzrunde nach rechts",
            "",
        );
        assert!(half.len() + 20 < right.len());
        assert!(matches!(say(&mut turn, &half), Answer::Ask { .. }));
        for answer in ["Platzrunde nach rechts", "nach rechts"] {
            assert!(!matches!(say(&mut turn, answer), Answer::Complete(_)), "{answer}");
        }
    }
}
