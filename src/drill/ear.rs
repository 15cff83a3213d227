//! Ear drills: another pilot's ready call is heard over the radio, and the student says what was missing or wrong in it.
//! Half of the calls are right.

use super::deal::{another_value, below, deal};
use crate::call::Situation;
use crate::site::{Site, Step, fill};

/// What is the matter with a call.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fault {
    /// An element is not in it.
    Missing(String),
    /// An element holds another value than the one written on the board.
    Other(String),
}

/// A call to be listened to.
#[derive(Debug, Clone, PartialEq)]
pub struct Task {
    /// What stands on the board: what the call should say.
    pub situation: Situation,
    /// The words to be spoken.
    pub text: String,
    /// What is the matter; `None` for a right call.
    pub fault: Option<Fault>,
    /// The elements to choose from, in the taught order.
    pub choices: Vec<String>,
}

impl Task {
    /// Is this answer right? `None` stands for "nothing is the matter".
    pub fn answered(&self, element: Option<&str>) -> bool {
        let fault = self.fault.as_ref().map(|f| match f {
            Fault::Missing(e) | Fault::Other(e) => e.as_str(),
        });
        fault == element
    }
}

/// Deal a call of a step, which must have critical elements.
pub fn deal_task(
    site: &Site,
    step: &Step,
    before: Option<&Situation>,
    random: &mut impl FnMut() -> u32,
) -> Option<Task> {
    let situation = deal(site, before, random)?;
    let choices: Vec<String> = step
        .elements
        .iter()
        .filter(|e| step.critical.contains(e))
        .cloned()
        .collect();
    let mut values = situation.values(site, step);
    let fault = if below(2, random) == 0 || choices.is_empty() {
        None
    } else {
        let element = choices[below(choices.len(), random)].clone();
        let other = another_value(site, &situation, &element, random).filter(|_| below(2, random) == 0);
        if let Some(other) = other {
            values.insert(element.clone(), other);
            Some(Fault::Other(element))
        } else {
            values.remove(&element);
            Some(Fault::Missing(element))
        }
    };
    // What is left out leaves its comma behind; one is enough.
    let text = fill(&step.taught, |name| {
        let value = values.get(name)?;
        Some(site.taught_words(name, value).unwrap_or_else(|| value.clone()))
    });
    let parts: Vec<&str> = text
        .split(',')
        .map(str::trim)
        .filter(|p| !p.trim_matches('.').is_empty())
        .collect();
    let text = format!("{}.", parts.join(", ").trim_end_matches('.'));
    Some(Task {
        situation,
        text: super::answer::sentence(&text),
        fault,
        choices,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_of_the_calls_are_right_and_the_fault_is_in_the_words() {
        let site = Site::check(&crate::site::bundled::files("larkmoor").unwrap()).unwrap();
        let step = site.step("ready").unwrap();
        let mut state = 7u32;
        let mut random = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            state
        };
        let mut right = 0;
        for _ in 0..1000 {
            let task = deal_task(&site, step, None, &mut random).unwrap();
            let taught = task.situation.taught_call(&site, step);
            let same = task.text.to_lowercase() == taught.to_lowercase();
            assert_eq!(same, task.fault.is_none(), "{} / {taught}", task.text);
            assert!(!task.text.contains(", ,") && !task.text.contains(" ,"), "{}", task.text);
            assert_eq!(task.answered(None), task.fault.is_none());
            right += usize::from(task.fault.is_none());
        }
        assert!((400..=600).contains(&right), "{right}");
    }
}
