//! What the files say and what has an effect: customs that no call has a place for, limits of a call, signs that are missing.

use super::Builder;
use crate::site::{Aircraft, Customs, Element, Need, Purpose, Step};
use std::collections::BTreeMap;

/// So many elements a call may have, and so many wordings an element: the search for a spoken call weighs all of them.
const MOST_ELEMENTS: usize = 16;
pub(super) const MOST_WORDINGS: usize = 128;

impl Builder<'_> {
    pub(super) fn effects(
        &mut self,
        customs: &Customs,
        elements: &BTreeMap<String, Element>,
        steps: &[Step],
        fleet: &[Aircraft],
    ) {
        let purpose = |id: &String| elements.get(id).map(|e| e.purpose);
        let holds = |step: &&Step, p: Purpose| step.elements.iter().any(|e| purpose(e) == Some(p));
        let ready = steps.iter().rfind(|s| holds(s, Purpose::Readiness));
        let typed = ready.is_some_and(|s| holds(&s, Purpose::Type));
        let all = !["steps.toml", "words.toml"].iter().any(|f| self.broken.contains(*f));
        if all && !typed && matches!(customs.type_in_ready_call, Some(Need::Optional | Need::Required)) {
            self.whole(
                "site.toml",
                "The type is to be in the ready call, and that call has no element for it",
                "Put the element for the type among the step's elements and into `taught`.",
            );
        }
        for a in fleet {
            if a.said_by.iter().any(|s| s.ends_with("competition sign")) && a.competition_sign.is_none() {
                self.somewhere(
                    "fleet.toml",
                    &a.registration.to_string(),
                    format!("{} is said by its competition sign and has none", a.registration),
                    "Add competition_sign = \"…\", or say it otherwise.".to_owned(),
                );
            }
        }
        for step in steps.iter().filter(|s| holds(s, Purpose::Cable)) {
            let methods = step.elements.iter().filter_map(|id| elements.get(id));
            for method in methods.filter(|e| e.purpose == Purpose::Method && e.is_dealt()) {
                let other = method.values.last().map_or("", |v| v.taught.as_str());
                self.somewhere(
                    "words.toml",
                    other,
                    format!(
                        "The step \"{}\" names a cable, and \"{}\" has several values of which one is dealt",
                        step.id, method.id
                    ),
                    "A call with a cable is taught with one launch method: keep that value, list the others in `other`, and give \
                     another method a step and an element of its own (`for = \"method\"`)."
                        .to_owned(),
                );
            }
        }
        for step in steps.iter().filter(|s| s.elements.len() > MOST_ELEMENTS) {
            self.whole(
                "steps.toml",
                format!("The step \"{}\" has {} elements", step.id, step.elements.len()),
                format!("A call has at most {MOST_ELEMENTS}; make two steps of it."),
            );
        }
        for e in elements.values() {
            let wordings: usize = e.values.iter().chain(&e.other).map(|v| v.texts().count()).sum();
            let wordings = wordings + e.incomplete.len() + e.negated.len();
            if wordings > MOST_WORDINGS {
                self.whole(
                    "words.toml",
                    format!("The element \"{}\" has {wordings} wordings", e.id),
                    format!("At most {MOST_WORDINGS} can be weighed; keep those that are said."),
                );
            }
        }
    }
}
