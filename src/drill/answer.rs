//! What the other side answers. It reacts to what was heard, never to what should have been said.

use crate::call::{Judgement, Outcome, Verdict};
use crate::site::words::capital;
use crate::site::{Line, Site, Step, fill, without};

/// What the other side does after a call.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answer {
    /// The call is complete: read back as heard, the launch goes on.
    Complete(Spoken),
    /// One element is asked for.
    Ask {
        /// The element.
        element: String,
        /// The question.
        line: Spoken,
    },
    /// A wrong value is read back as it was heard; the student must notice and correct it.
    ReadBack {
        /// The element.
        element: String,
        /// What is said.
        line: Spoken,
    },
    /// The whole call again.
    SayAgain(Spoken),
    /// Nothing was heard: nothing moves, nobody answers.
    Silence,
    /// Stop was called: obeyed before anything else. Never an error.
    Stopped(Spoken),
    /// It was said that something is not ready, not clear or not yet: nobody urges, nothing moves. Never an error.
    NothingMoves,
}

/// A line to be spoken.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Spoken {
    /// Who speaks.
    pub role: String,
    /// The words.
    pub text: String,
    /// A recording of it, relative to the site's folder; only lines without braces have one.
    pub clip: Option<String>,
}

impl Answer {
    /// The line to be spoken, if any.
    pub fn line(&self) -> Option<&Spoken> {
        match self {
            Self::Complete(l)
            | Self::SayAgain(l)
            | Self::Stopped(l)
            | Self::Ask { line: l, .. }
            | Self::ReadBack { line: l, .. } => Some(l).filter(|l| !l.text.is_empty()),
            Self::Silence | Self::NothingMoves => None,
        }
    }
}

/// The answer to a judged call. One fault is raised at a time: wrong before missing, in the order of the judgement.
pub fn answer(site: &Site, step: &Step, judgement: &Judgement) -> Answer {
    let speak = |line: &Option<Line>, asked: Option<&str>| -> Spoken {
        let spoken = |l| spoken(site, judgement, l, asked);
        line.as_ref().map_or_else(Spoken::default, spoken)
    };
    if judgement.stop && !site.is_stop(step) {
        let stopped = site.stop_step().and_then(|s| s.answer.clone());
        return Answer::Stopped(speak(&stopped, None));
    }
    if judgement.refuses(site) {
        return Answer::NothingMoves;
    }
    match judgement.outcome {
        Outcome::NothingHeard => Answer::Silence,
        Outcome::Pass => Answer::Complete(speak(&step.answer, None)),
        Outcome::SayAgain => {
            let unsure: Vec<&str> = judgement
                .elements
                .iter()
                .filter(|e| e.critical && e.verdict == Verdict::Unsure)
                .map(|e| e.element.as_str())
                .collect();
            match unsure.as_slice() {
                [one] => Answer::Ask {
                    element: (*one).to_owned(),
                    line: speak(&step.ask_again, Some(one)),
                },
                _ => Answer::SayAgain(speak(&step.ask_all_again, None)),
            }
        }
        Outcome::NotYet => match judgement.raised(site) {
            // What was heard wrong is read back as heard: that is how a real driver shows it.
            Some(e) if e.verdict == Verdict::Wrong && can_be_read_back(site, &e.element, e.heard.as_deref()) => {
                Answer::ReadBack {
                    element: e.element.clone(),
                    line: read_back(site, step, judgement, &e.element),
                }
            }
            Some(e) => Answer::Ask {
                element: e.element.clone(),
                line: speak(&step.ask_again, Some(&e.element)),
            },
            None => Answer::SayAgain(speak(&step.ask_all_again, None)),
        },
    }
}

/// A line of the site with what was heard, and with the element asked for, filled in.
fn spoken(site: &Site, judgement: &Judgement, line: &Line, asked: Option<&str>) -> Spoken {
    let asked_label = |element: &str| {
        let known = site.elements.get(element);
        known.and_then(|e| e.asked.clone()).unwrap_or_else(|| {
            let label = known.map_or(element, |e| &e.label);
            site.language.inside_a_sentence(label)
        })
    };
    let filled = fill(
        // What was not said, and need not be, is not read back.
        &without(&line.text, |name| {
            name != "asked" && heard_words(site, judgement, name).is_none()
        }),
        |name| {
            if name == "asked" {
                asked.map(asked_label)
            } else {
                heard_words(site, judgement, name)
            }
        },
    );
    Spoken {
        role: line.role.clone(),
        text: capital(&filled),
        clip: line.clip.clone(),
    }
}

/// An element as it was heard, as a question. Where nobody answers at that step, nobody reads back either.
fn read_back(site: &Site, step: &Step, judgement: &Judgement, element: &str) -> Spoken {
    let words = heard_words(site, judgement, element).unwrap_or_default();
    let line = step.answer.as_ref().or(step.ask_again.as_ref());
    let role = line.map(|l| l.role.clone()).unwrap_or_default();
    let text = if role.is_empty() {
        String::new()
    } else {
        format!("{}?", capital(&words))
    };
    Spoken { role, text, clip: None }
}

fn can_be_read_back(site: &Site, element: &str, heard: Option<&str>) -> bool {
    heard.is_some_and(|h| site.taught_words(element, h).is_some())
}

/// An element as it was heard, in the site's words.
fn heard_words(site: &Site, judgement: &Judgement, element: &str) -> Option<String> {
    let e = judgement.element(element)?;
    let heard = e.heard.as_ref()?;
    Some(site.taught_words(element, heard).unwrap_or_else(|| heard.clone()))
}
