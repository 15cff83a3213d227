//! The words of one step at one site: what can be said, and what each wording means. It holds no situation.

use super::mention::Stance;
use super::words;
use crate::site::language::Sense;
use crate::site::{Element, Language, Purpose, Site, Step, Wording, placeholders};

/// What a wording means.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Meaning {
    /// A value of an element; `taught` tells the club's own wording from one that means the same.
    Value {
        /// Index into [`Vocabulary::elements`].
        element: usize,
        /// The value.
        value: String,
        /// The club's own wording.
        taught: bool,
    },
    /// Half a wording: leaves the element missing.
    Incomplete {
        /// Index into [`Vocabulary::elements`].
        element: usize,
    },
    /// A denial of the element in words of the site's own.
    Negated {
        /// Index into [`Vocabulary::elements`].
        element: usize,
    },
    /// Words of the call as taught that belong to no element.
    Own,
    /// Denies, puts off or asks what stands beside it.
    Does(Stance),
    /// Takes back what was said before it; what follows counts.
    Correction,
    /// Takes back or holds up what was said before it, without saying what is right ("wait").
    Withdrawal,
    /// Takes back what was said right before it ("sorry").
    Slip,
    /// Hesitation or small talk.
    Filler,
    /// A small word that joins elements.
    Joiner,
}

impl Meaning {
    /// The element it speaks of.
    pub fn element(&self) -> Option<usize> {
        match self {
            Self::Value { element, .. } | Self::Incomplete { element } | Self::Negated { element } => Some(*element),
            _ => None,
        }
    }
}

/// A wording as words, with its meaning.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Phrase {
    /// Lower-case words, never empty.
    pub words: Vec<String>,
    /// What it means.
    pub meaning: Meaning,
    /// The ear reckons with it in every call; with others only where the speech model itself wrote their words.
    pub always: bool,
}

/// Everything that can be said in a step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Vocabulary {
    /// The site's language.
    pub language: Language,
    /// Element ids in the taught order.
    pub elements: Vec<String>,
    /// What each of them is for.
    pub purposes: Vec<Purpose>,
    /// The element that is spelled, if the step has one.
    pub spelled: Option<usize>,
    /// All wordings.
    pub phrases: Vec<Phrase>,
    /// Which elements stand beside each other in the call as taught, and as it is right too, in this order.
    pub beside: Vec<(usize, usize)>,
    /// How many of the elements are the step's own.
    own: usize,
}

impl Vocabulary {
    /// The words of a turn in which a readback is to be confirmed or corrected: beside the step's own what is said to a wrong
    /// readback.
    pub fn for_readback(site: &Site, step: &Step) -> Self {
        let mut all = Self::of(site, step);
        for text in site.language.negatives() {
            let words = words::of(text);
            all.phrases.retain(|p| p.words != words);
            all.phrases.push(Phrase {
                words,
                meaning: Meaning::Joiner,
                always: true,
            });
        }
        all
    }

    /// The words of a turn in which something is wrong: beside those of a step, usually stop, what denies that the call at
    /// hand, or the ready call, is so ("not ready").
    pub fn with_refusal(site: &Site, step: &Step, call: &Step) -> Self {
        let mut all = Self::of(site, step);
        let mut list = List(std::mem::take(&mut all.phrases));
        let calls = [Some(call), site.ready_step()];
        for id in calls.into_iter().flatten().flat_map(|c| &c.elements) {
            let Some(element) = site.elements.get(id).filter(|e| e.purpose.moves()) else {
                continue;
            };
            if all.elements.contains(id) {
                continue;
            }
            list.element(site.language, all.elements.len(), element);
            all.elements.push(element.id.clone());
            all.purposes.push(element.purpose);
        }
        all.phrases = list.0;
        all
    }

    /// The index of the element that stops everything: it is part of every call's vocabulary, behind the step's own
    /// elements where it is none of them. `None` at a site that has none.
    pub fn stop_of(site: &Site, step: &Step) -> Option<usize> {
        let own = site.place_in(step, Purpose::Stop);
        own.or_else(|| site.stop_step().map(|_| step.elements.len()))
    }

    /// Does this call hold one or two elements of its own?
    pub fn is_short(&self) -> bool {
        self.own <= 2
    }

    /// The words of a step of a site.
    pub fn of(site: &Site, step: &Step) -> Self {
        let mut elements = step.elements.clone();
        if Self::stop_of(site, step) == Some(elements.len()) {
            elements.extend(site.element_for(Purpose::Stop).map(|e| e.id.clone()));
        }
        let mut list = List::default();
        for (element, id) in elements.iter().enumerate() {
            if let Some(e) = site.elements.get(id) {
                list.element(site.language, element, e);
            }
        }
        list.types(site, step);
        list.around(site, step, &elements);
        list.language(site.language);
        Self {
            language: site.language,
            beside: beside(site, step, &elements),
            own: step.elements.len(),
            purposes: elements.iter().map(|e| site.purpose(e)).collect(),
            elements,
            spelled: site.place_in(step, Purpose::Callsign),
            phrases: list.0,
        }
    }

    /// The same, when a value was read back wrong and may be corrected: of another value's wording that begins as the wrong one does,
    /// its end will do ("to the right" after "... circuit to the left").
    #[must_use]
    pub fn correcting(mut self, site: &Site, asked: &str, heard: &str) -> Self {
        let (Some(element), Some(values)) = (
            self.elements.iter().position(|e| e == asked),
            site.elements.get(asked).map(|e| &e.values),
        ) else {
            return self;
        };
        let texts = |of: &Wording| -> Vec<Vec<String>> { of.texts().map(|t| words::of(t)).collect() };
        for value in values {
            // What is meant is known by what the two have in common.
            let beside: Vec<Vec<String>> = (values.iter())
                .filter(|v| v.id != value.id && (v.id == heard || value.id == heard))
                .flat_map(texts)
                .collect();
            for words in texts(value) {
                let common = |w: &Vec<String>| w.iter().zip(&words).take_while(|(a, b)| a == b).count();
                let most = beside.iter().map(common).max().unwrap_or(0).min(words.len() - 1);
                for begin in 1..=most {
                    let end = words[begin..].to_vec();
                    if self.phrases.iter().any(|p| p.words == end) {
                        continue;
                    }
                    let meaning = Meaning::Value {
                        element,
                        value: value.id.clone(),
                        taught: false,
                    };
                    self.phrases.push(Phrase {
                        words: end,
                        meaning,
                        always: true,
                    });
                }
            }
        }
        self
    }

    /// Is this wording a whole sentence with its verb left out ("slack out" for "slack is out")? With the verb before it, it asks.
    pub(super) fn lacks_its_verb(&self, phrase: &Phrase) -> bool {
        let verb_inside = |other: &Phrase| {
            let at = other.words.iter().skip(1).position(|w| self.language.is_verb(w));
            at.is_some_and(|n| other.words[..=n] == phrase.words[..=n] && other.words[n + 2..] == phrase.words[n + 1..])
        };
        let longer = |other: &&Phrase| other.words.len() == phrase.words.len() + 1;
        self.phrases.iter().filter(longer).any(verb_inside)
    }

    /// The wording that begins a text and does something to what it stands beside or inside: its words and what it does.
    pub(super) fn doing(&self, words: &[String]) -> Option<(usize, Stance)> {
        let doing = self.phrases.iter().filter_map(|p| match p.meaning {
            Meaning::Does(stance) if stance != Stance::Others && words.starts_with(&p.words) => {
                Some((p.words.len(), stance))
            }
            _ => None,
        });
        doing.max_by_key(|(n, _)| *n)
    }
}

/// The parts of a template that stand outside its braces.
fn outside_braces(template: &str) -> impl Iterator<Item = &str> {
    let parts = template.split('{').enumerate();
    // Before the first brace everything, later what stands behind the closing one.
    parts.filter_map(|(n, part)| {
        if n == 0 {
            Some(part)
        } else {
            part.split_once('}').map(|p| p.1)
        }
    })
}

/// Which element stands right behind which in the calls that are right.
fn beside(site: &Site, step: &Step, elements: &[String]) -> Vec<(usize, usize)> {
    let index = |name: &str| elements.iter().position(|e| e == name);
    std::iter::once(&step.taught)
        .chain(&step.also_right)
        .flat_map(|template| {
            let order: Vec<usize> = placeholders(template).into_iter().filter_map(index).collect();
            let next = order.windows(2).map(|pair| (pair[0], pair[1]));
            // The crew is left out where it says itself (a single-seater).
            let crew = |e: usize| {
                site.elements
                    .get(&elements[e])
                    .is_some_and(|e| e.purpose == Purpose::Crew)
            };
            let over = order
                .windows(3)
                .filter(|three| crew(three[1]))
                .map(|three| (three[0], three[2]));
            next.chain(over).collect::<Vec<_>>()
        })
        .collect()
}

/// Phrases as they are gathered: what comes first keeps its meaning.
#[derive(Default)]
struct List(Vec<Phrase>);

impl List {
    /// A glider may be named by its type, where that is no part of its own.
    fn types(&mut self, site: &Site, step: &Step) {
        let typed = site.place_in(step, Purpose::Type).is_some();
        let by_type = site
            .fleet
            .iter()
            .any(|a| a.said_by.iter().any(|s| s.starts_with("type")));
        let Some(element) = site.place_in(step, Purpose::Callsign).filter(|_| by_type && !typed) else {
            return;
        };
        for kind in site.fleet.iter().map(|a| &a.kind) {
            for (n, text) in site.type_texts(kind).iter().enumerate() {
                let value = kind.clone();
                self.add(
                    text,
                    Meaning::Value {
                        element,
                        value,
                        taught: n == 0,
                    },
                    true,
                );
            }
        }
    }

    /// What a call holds beside its elements: words of its own, the name of whoever is called, other names of the place.
    fn around(&mut self, site: &Site, step: &Step, elements: &[String]) {
        // What the call says beside its elements is as right as they are.
        for template in std::iter::once(&step.taught).chain(&step.also_right) {
            for text in outside_braces(template) {
                self.add(text, Meaning::Own, true);
            }
        }
        // A call to somebody may begin with his name, also where that is no part of it ("Winch, stop").
        let addressed = elements.iter().any(|e| site.purpose(e) == Purpose::Address);
        for station in site.stations.iter().filter(|s| !addressed || s.id != step.to) {
            let called = !addressed && station.id == step.to;
            for text in station.address.texts() {
                self.add(text, Meaning::Joiner, called);
            }
            self.add(&station.name, Meaning::Joiner, false);
        }
        for name in std::iter::once(&site.name).chain(site.fleet.iter().map(|a| &a.kind)) {
            self.add(name, Meaning::Joiner, false);
        }
    }

    /// What words mean in every call of a language.
    fn language(&mut self, language: Language) {
        for (text, sense) in language.senses() {
            let meaning = match sense {
                Sense::Corrects => Meaning::Correction,
                Sense::TakesBack => Meaning::Withdrawal,
                Sense::Slips => Meaning::Slip,
                Sense::Others => Meaning::Does(Stance::Others),
                Sense::SmallTalk => Meaning::Filler,
                Sense::Joins => Meaning::Joiner,
                Sense::Denies => Meaning::Does(Stance::Denied),
                Sense::PutsOff => Meaning::Does(Stance::PutOff),
                Sense::Asks => Meaning::Does(Stance::Asked),
            };
            self.add(text, meaning, language.always_heard(text));
        }
    }

    /// Adds a wording unless its words mean something of the kind already: words that mean something at the site mean nothing
    /// in general.
    fn add(&mut self, text: &str, meaning: Meaning, always: bool) {
        let words = words::of(text);
        let known = self
            .0
            .iter()
            .any(|p| p.words == words && (meaning.element().is_none() || p.meaning.element() == meaning.element()));
        if !words.is_empty() && !known {
            self.0.push(Phrase { words, meaning, always });
        }
    }

    fn element(&mut self, language: Language, element: usize, e: &Element) {
        let value = |id: &str, taught: bool| Meaning::Value {
            element,
            value: id.to_owned(),
            taught,
        };
        for v in &e.values {
            self.add(&v.taught, value(&v.id, true), true);
        }
        for v in &e.values {
            for text in &v.understood {
                self.add(text, value(&v.id, false), true);
            }
        }
        for v in &e.other {
            for text in v.texts() {
                self.add(text, value(&v.id, false), true);
            }
        }
        // Where the site knows the words already, their own meaning stays.
        for text in language.elsewhere(e.purpose.name()) {
            self.add(text, value(text, false), true);
        }
        for text in &e.incomplete {
            self.add(text, Meaning::Incomplete { element }, true);
        }
        for text in &e.negated {
            self.add(text, Meaning::Negated { element }, true);
        }
    }
}
