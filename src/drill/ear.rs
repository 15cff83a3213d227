//! Ear drills: another pilot's ready call is heard over the radio. What was missing or wrong in it, which cable was named,
//! how many are on board, who called? Half of the calls are right.

use super::deal::{another_value, below, deal};
use crate::call::Situation;
use crate::site::words::capital;
use crate::site::{Callsign, Need, Purpose, Site, Step, fill};
use serde::{Deserialize, Serialize};

/// What is the matter with a call.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fault {
    /// An element is not in it.
    Missing(String),
    /// An element holds another value than the one written on the board.
    Other(String),
}

impl Fault {
    /// The element.
    pub fn element(&self) -> &str {
        match self {
            Self::Missing(e) | Self::Other(e) => e,
        }
    }
}

/// What is asked about a call.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Question {
    /// What was the matter with it, against what stands on the board?
    Matter,
    /// Which cable was named?
    Cable,
    /// How many on board?
    Crew,
    /// Who called? The choices are callsigns that are easily mixed up.
    Callsign,
}

impl Question {
    /// Every question.
    pub const ALL: [Self; 4] = [Self::Matter, Self::Cable, Self::Crew, Self::Callsign];

    /// The element of a step that is asked for; `None` where any may be the matter, or the step has none.
    pub fn element<'s>(self, site: &Site, step: &'s Step) -> Option<&'s str> {
        let at = site.place_in(step, self.purpose()?)?;
        step.elements.get(at).map(String::as_str)
    }

    /// What is asked for, whatever the site calls it.
    fn purpose(self) -> Option<Purpose> {
        match self {
            Self::Matter => None,
            Self::Cable => Some(Purpose::Cable),
            Self::Crew => Some(Purpose::Crew),
            Self::Callsign => Some(Purpose::Callsign),
        }
    }

    /// The question in the site's language.
    pub fn text(self, site: &Site) -> String {
        let key = match self {
            Self::Matter => "ear.matter",
            Self::Cable => "ear.cable",
            Self::Crew => "ear.crew",
            Self::Callsign => "ear.callsign",
        };
        site.language.text(key, &[])
    }
}

/// How hard a call is to hear.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash, Serialize, Deserialize)]
pub struct Difficulty {
    /// Hiss on the radio, 0 (little) to 3 (much).
    pub hiss: u8,
    /// The carrier came late: the beginning is cut off.
    pub clipped: bool,
}

/// So much of the beginning is cut off, seconds. A spoken call begins with who is called, whose name takes longer in both
/// languages that ship (from listening, no source), so that nothing that is asked about is cut off.
const CLIPPED: f64 = 0.25;

impl Difficulty {
    /// Hiss under the voice, dBFS.
    pub fn hiss_dbfs(self) -> f64 {
        [-60.0, -42.0, -34.0, -28.0][usize::from(self.hiss.min(3))]
    }

    /// The sound as it is heard: without its beginning if that is cut off. `rate`: samples a second.
    pub fn clip_start(self, mut samples: Vec<f32>, rate: u32) -> Vec<f32> {
        if self.clipped {
            // Silence before the first word is no part of the call.
            let first = samples.iter().position(|s| s.abs() > 0.05).unwrap_or(0);
            let end = (first + (CLIPPED * f64::from(rate)) as usize).min(samples.len());
            samples.drain(..end);
        }
        samples
    }
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
    /// What is asked.
    pub question: Question,
    /// The answers to choose from beside "nothing" or "it was not said": elements in the taught order, or values.
    pub choices: Vec<String>,
    /// The right one of them; `None`: nothing was the matter, or it was not said.
    pub right: Option<String>,
}

impl Task {
    /// Is this answer right? `None` stands for "nothing is the matter" or "it was not said".
    pub fn answered(&self, choice: Option<&str>) -> bool {
        self.right.as_deref() == choice
    }

    /// An answer as it is shown, in the site's language.
    pub fn shown(&self, site: &Site, choice: Option<&str>) -> String {
        let key = if self.question == Question::Matter {
            "ear.nothing"
        } else {
            "ear.unsaid"
        };
        let Some(choice) = choice else {
            return site.language.text(key, &[]);
        };
        match self.question {
            Question::Matter => label(site, choice),
            Question::Callsign => choice.to_owned(),
            Question::Cable | Question::Crew => {
                let element = self.question.purpose().and_then(|p| site.element_for(p));
                let words = element.and_then(|e| site.taught_words(&e.id, choice));
                words.unwrap_or_else(|| choice.to_owned())
            }
        }
    }

    /// What was the matter, in the site's language.
    pub fn truth(&self, site: &Site) -> String {
        let text = |key, element: &str| site.language.text(key, &[("what", &label(site, element))]);
        match &self.fault {
            None => site.language.text("ear.fine", &[]),
            Some(Fault::Missing(e)) => text("ear.missing", e),
            Some(Fault::Other(e)) => text("ear.other", e),
        }
    }
}

fn label(site: &Site, element: &str) -> String {
    site.elements
        .get(element)
        .map_or_else(|| element.to_owned(), |x| x.label.clone())
}

/// Deal a call of a step, which must have critical elements, and ask what was the matter with it.
pub fn deal_task(
    site: &Site,
    step: &Step,
    before: Option<&Situation>,
    random: &mut impl FnMut() -> u32,
) -> Option<Task> {
    deal_question(site, step, before, Some(Question::Matter), random)
}

/// Deal a call of a step and a question about it; any question that the step has an element for if none is named.
pub fn deal_question(
    site: &Site,
    step: &Step,
    before: Option<&Situation>,
    question: Option<Question>,
    random: &mut impl FnMut() -> u32,
) -> Option<Task> {
    let situation = deal(site, before, random)?;
    // What is no part of this glider's call can be neither asked for nor missed.
    let need = |e: &String| situation.need(site, step, e);
    let critical = |e: &&String| step.critical.contains(e) && need(e) != Need::Never;
    let elements: Vec<String> = step.elements.iter().filter(critical).cloned().collect();
    let asked_for = |q: Question| q.element(site, step).filter(|e| elements.iter().any(|x| x == e));
    // A question that this call cannot answer is not asked, whoever chose it.
    let question = question.filter(|q| *q == Question::Matter || asked_for(*q).is_some());
    let question = question.unwrap_or_else(|| {
        let fits = |q: &Question| *q == Question::Matter || asked_for(*q).is_some();
        let fit: Vec<Question> = Question::ALL.into_iter().filter(fits).collect();
        fit[below(fit.len(), random)]
    });
    // What is asked for must be able to be wrong.
    let may_be_wrong = match asked_for(question) {
        Some(e) => vec![e.to_owned()],
        None => elements.clone(),
    };
    let mut values = situation.values(site, step);
    values.retain(|e, _| need(e) != Need::Never);
    let fault = if below(2, random) == 0 || may_be_wrong.is_empty() {
        None
    } else {
        let element = may_be_wrong[below(may_be_wrong.len(), random)].clone();
        let may_be_left_out = need(&element) != Need::Required;
        let other = another_value(site, &situation, &element, random);
        match other.filter(|_| below(2, random) == 0 || may_be_left_out) {
            Some(other) => {
                values.insert(element.clone(), other);
                Some(Fault::Other(element))
            }
            // Where it may be left out nothing would be the matter.
            None if may_be_left_out => None,
            None => {
                values.remove(&element);
                Some(Fault::Missing(element))
            }
        }
    };
    let said = asked_for(question).and_then(|e| values.get(e).cloned());
    let (choices, right) = match question {
        Question::Matter => (elements, fault.as_ref().map(|f| f.element().to_owned())),
        Question::Cable => (site.cables.iter().map(|c| c.id.clone()).collect(), said),
        Question::Crew => (vec!["1".to_owned(), "2".to_owned()], said),
        Question::Callsign => (similar(site, step, &situation, said.as_deref()), said),
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
        text: capital(&text),
        fault,
        question,
        choices,
        right,
    })
}

/// The callsign said and the three of the fleet that are most like it, in their own order; each as it is called in this step.
fn similar(site: &Site, step: &Step, situation: &Situation, said: Option<&str>) -> Vec<String> {
    let called = |callsign: &Callsign| {
        let other = Situation {
            callsign: callsign.clone(),
            ..situation.clone()
        };
        other.forms(site, step).swap_remove(0).join(" ")
    };
    let dealt = called(&situation.callsign);
    let like = said.unwrap_or(&dealt);
    let mut all: Vec<String> = site.fleet.iter().map(|a| called(&a.registration)).collect();
    all.sort();
    all.dedup();
    all.sort_by_key(|c| strsim::osa_distance(c, like));
    all.truncate(4);
    all.sort();
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::deal::random;

    fn site(name: &str) -> Site {
        Site::check(&crate::site::bundled::files(name).unwrap()).unwrap()
    }

    #[test]
    fn half_of_the_calls_are_right_and_the_fault_is_in_the_words() {
        let site = site("larkmoor");
        let step = site.step("ready").unwrap();
        let mut random = random(7);
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

    /// The words themselves, read by the grammar that reads the students' calls, must agree with the answer.
    #[test]
    fn what_is_asked_is_answered_by_the_words() {
        use crate::call::{Evidence, Verdict, Vocabulary, judge, judge::Limits};
        for name in ["larkmoor", "erlengrund"] {
            let site = site(name);
            let step = site.step("ready").unwrap();
            let vocabulary = Vocabulary::of(&site, step);
            let mut random = random(3);
            let mut asked = [0; 4];
            for _ in 0..400 {
                let task = deal_question(&site, step, None, None, &mut random).unwrap();
                asked[Question::ALL.iter().position(|q| *q == task.question).unwrap()] += 1;
                let right = task.right.as_deref();
                assert!(right.is_none_or(|r| task.choices.iter().any(|c| c == r)), "{task:?}");
                let Some(element) = task.question.element(&site, step) else {
                    continue;
                };
                let evidence = Evidence::typed(&vocabulary, &task.text);
                let judgement = judge(&site, step, &task.situation, &evidence, &Limits::DEFAULT);
                let heard = judgement.element(element).unwrap();
                let value = (heard.verdict != Verdict::Missing)
                    .then_some(heard.heard.as_deref())
                    .flatten();
                assert_eq!(value, right, "{}", task.text);
            }
            assert!(asked.iter().all(|n| *n > 50), "{asked:?}");
        }
    }

    #[test]
    fn callsigns_to_choose_from_are_easily_mixed_up() {
        let site = site("larkmoor");
        let dealt = Situation::new(Callsign::parse("D-2058").unwrap(), 1, "north");
        let choices = similar(&site, site.step("ready").unwrap(), &dealt, Some("G-CLRM"));
        assert!(
            choices.contains(&"G-CLMR".to_owned()) && choices.contains(&"G-CLRM".to_owned()),
            "{choices:?}"
        );
        assert_eq!(choices.len(), 4);
    }

    /// A site whose gliders are called by type or sign, some without a crew, with one cable at times and dealt values.
    #[test]
    fn a_call_has_what_this_glider_says_and_nothing_else() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sites/kranmoor");
        let site = Site::check(&crate::folders::read_site(&folder)).unwrap();
        let step = site.step("ready").unwrap();
        let mut random = random(5);
        let (mut named, mut single, mut wind) = (0, 0, 0);
        for _ in 0..2000 {
            let task = deal_question(&site, step, None, None, &mut random).unwrap();
            let s = &task.situation;
            if s.need(&site, step, "crew") == Need::Never {
                assert!(!task.text.contains("sitzig"), "{}", task.text);
                assert_ne!(task.question, Question::Crew);
                assert!(!task.choices.iter().any(|c| c == "crew"), "{task:?}");
            }
            if task.fault.is_none() {
                let taught = s.taught_call(&site, step);
                assert_eq!(task.text.to_lowercase(), taught.to_lowercase());
            }
            let missed = task.fault == Some(Fault::Missing("cable".to_owned()));
            assert!(!(s.single && missed), "a cable that may be left out: {}", task.text);
            single += usize::from(s.single && task.fault == Some(Fault::Other("cable".to_owned())));
            if task.question == Question::Callsign {
                named += 1;
                assert_eq!(
                    task.choices,
                    ["Erle 2", "K7", "Zeisig 81"].map(str::to_owned),
                    "{task:?}"
                );
            }
            if task.fault == Some(Fault::Other("wind".to_owned())) {
                wind += 1;
                // The board has it, or nobody could know.
                assert!(s.known(&site, step).iter().any(|t| t.contains("Windsack")));
            }
        }
        assert!(named > 100 && single > 20 && wind > 5, "{named} {single} {wind}");
    }

    #[test]
    fn a_clipped_start_takes_the_beginning_of_the_sound_away() {
        let difficulty = Difficulty { hiss: 9, clipped: true };
        let mut samples = vec![0.0; 100];
        samples.extend(vec![0.5; 8000]);
        assert_eq!(difficulty.clip_start(samples.clone(), 16_000).len(), 8000 - 4000);
        assert_eq!(Difficulty::default().clip_start(samples.clone(), 16_000), samples);
        assert!(difficulty.clip_start(vec![0.5; 10], 16_000).is_empty());
        assert!((difficulty.hiss_dbfs() + 28.0).abs() < 1e-9);
    }
}
