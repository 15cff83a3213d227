//! Two versions of a site beside each other: what differs, and which steps judge by other words than before.
//!
//! Names of things and fields are keys: English words as they stand, which an interface may put in other words.

use super::vocabulary::{Meaning, Vocabulary};
use crate::site::{Element, Line, Need, Purpose, Site, Step, Wording};
use std::collections::BTreeSet;
use std::fmt;

/// One difference.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// What kind of thing: "aircraft", "cable", "element", "step" ...
    pub item: &'static str,
    /// Which one; empty where there is only one.
    pub id: String,
    /// The value of an element, where the difference is in one.
    pub value: Option<String>,
    /// What of it; empty where the whole thing came or went.
    pub field: &'static str,
    /// What the first version has.
    pub before: Option<String>,
    /// What the second one has.
    pub after: Option<String>,
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.item)?;
        if !self.id.is_empty() {
            write!(f, " {}", self.id)?;
        }
        if let Some(value) = &self.value {
            write!(f, ", value \"{value}\"")?;
        }
        if !self.field.is_empty() {
            write!(f, ", {}", self.field)?;
        }
        match (&self.before, &self.after) {
            (Some(before), Some(after)) => write!(f, ": {} -> {}", quoted(before), quoted(after)),
            (None, Some(after)) => write!(f, " is new: {}", quoted(after)),
            (Some(before), None) => write!(f, " is gone; it was {}", quoted(before)),
            (None, None) => Ok(()),
        }
    }
}

fn quoted(text: &str) -> String {
    if text.is_empty() {
        "nothing".to_owned()
    } else {
        format!("\"{text}\"")
    }
}

/// One thing of a site with its fields as texts; a field that is empty is not there.
struct Thing {
    item: &'static str,
    id: String,
    value: Option<String>,
    fields: Vec<(&'static str, String)>,
}

impl Thing {
    fn new(item: &'static str, id: &str, fields: Vec<(&'static str, String)>) -> Self {
        Self {
            item,
            id: id.to_owned(),
            value: None,
            fields: fields.into_iter().filter(|(_, text)| !text.is_empty()).collect(),
        }
    }

    fn is(&self, other: &Self) -> bool {
        (self.item, &self.id, &self.value) == (other.item, &other.id, &other.value)
    }

    fn differs(&self, field: &'static str, before: Option<String>, after: Option<String>) -> Difference {
        Difference {
            item: self.item,
            id: self.id.clone(),
            value: self.value.clone(),
            field,
            before,
            after,
        }
    }

    /// All of it in one text.
    fn whole(&self) -> String {
        let texts: Vec<&str> = self.fields.iter().map(|(_, t)| t.as_str()).take(3).collect();
        texts.join("; ")
    }
}

/// Every difference, in the order of the site's files.
pub fn differences(before: &Site, after: &Site) -> Vec<Difference> {
    let (old, new) = (things(before), things(after));
    let mut found = Vec::new();
    for thing in &old {
        let Some(other) = new.iter().find(|t| t.is(thing)) else {
            found.push(thing.differs("", Some(thing.whole()), None));
            continue;
        };
        for (field, text) in &thing.fields {
            let now = other.fields.iter().find(|(f, _)| f == field).map_or("", |(_, t)| t);
            if now != text {
                found.push(thing.differs(field, Some(text.clone()), Some(now.to_owned())));
            }
        }
        for (field, text) in &other.fields {
            if !thing.fields.iter().any(|(f, _)| f == field) {
                found.push(thing.differs(field, Some(String::new()), Some(text.clone())));
            }
        }
    }
    for thing in &new {
        if !old.iter().any(|t| t.is(thing)) {
            found.push(thing.differs("", None, Some(thing.whole())));
        }
    }
    found
}

fn list(texts: &[String]) -> String {
    texts.join(", ")
}

fn yes(on: bool) -> String {
    if on { "yes" } else { "no" }.to_owned()
}

fn things(site: &Site) -> Vec<Thing> {
    let mut all = vec![head(site), customs(site)];
    places(site, &mut all);
    for element in site.elements.values() {
        elements(site, element, &mut all);
    }
    for step in &site.steps {
        all.push(step_thing(step));
    }
    if let Some(launch) = &site.launch {
        let fields = vec![
            ("order", list(&launch.order)),
            ("sometimes", list(&launch.sometimes)),
            ("no answer", launch.no_answer.clone()),
            (
                "refusal",
                launch
                    .refusal
                    .as_ref()
                    .map(|r| format!("{} / {}", r[0].text, r[1].text))
                    .unwrap_or_default(),
            ),
        ];
        all.push(Thing::new("launch", "", fields));
    }
    for h in &site.hazards {
        let fields = vec![
            ("name", h.label.clone()),
            ("scene", h.scene.clone()),
            ("during", list(&h.during)),
        ];
        all.push(Thing::new("hazard", &h.id, fields));
    }
    for f in &site.failures {
        let when: Vec<String> = f.when.iter().map(|(e, v)| format!("{e}: {v}")).collect();
        let fields = vec![
            ("name", f.label.clone()),
            ("scene", f.scene.clone()),
            ("after", list(&f.after)),
            ("when", list(&when)),
            ("height band", f.band.clone().unwrap_or_default()),
            ("call", f.call.clone().unwrap_or_default()),
        ];
        all.push(Thing::new("failure", &f.id, fields));
    }
    for h in &site.halts {
        let fields = vec![
            ("called", h.called.text.clone()),
            ("cleared", h.cleared.text.clone()),
            ("during", list(&h.during)),
            ("again from", h.again.clone()),
        ];
        all.push(Thing::new("halt", &h.id, fields));
    }
    for b in &site.bands {
        let to = b.to.map(|m| m.to_string()).unwrap_or_default();
        let fields = vec![
            ("from", b.from.to_string()),
            ("to", to),
            ("unit", if b.feet { "feet" } else { "metres" }.to_owned()),
            ("answer", b.answer.clone()),
        ];
        all.push(Thing::new("height band", &b.name, fields));
    }
    all
}

fn head(site: &Site) -> Thing {
    Thing::new(
        "site",
        "",
        vec![
            ("id", site.id.clone()),
            ("name", site.name.clone()),
            ("language", format!("{:?}", site.language)),
            ("version", site.version.clone()),
            ("date of the rules", site.rules_date.clone()),
            ("invented", yes(site.invented)),
            ("about", site.about.clone()),
            ("caution", site.caution.clone()),
            (
                "order of the steps",
                list(&site.steps.iter().map(|s| s.id.clone()).collect::<Vec<_>>()),
            ),
        ],
    )
}

fn customs(site: &Site) -> Thing {
    let c = &site.customs;
    Thing::new(
        "customs",
        "",
        vec![
            ("callsign", format!("{:?}", c.callsign)),
            ("number pairs forbidden", yes(c.number_pairs_forbidden)),
            (
                "type in the ready call",
                match c.type_in_ready_call {
                    None => "",
                    Some(Need::Never) => "never",
                    Some(Need::Optional) => "optional",
                    Some(Need::Required) => "required",
                }
                .to_owned(),
            ),
            ("cable may be dropped", yes(c.cable_may_be_dropped_when_single)),
            ("winch reads back", list(&c.readback_by_winch)),
            ("release, pulls", c.release_pulls.to_string()),
        ],
    )
}

/// Stations, directions, cables, signals of every kind, aircraft.
fn places(site: &Site, all: &mut Vec<Thing>) {
    for s in &site.stations {
        let words = vec![
            ("name", s.name.clone()),
            ("taught", s.address.taught.clone()),
            ("understood", list(&s.address.understood)),
        ];
        all.push(Thing::new("station", &s.id, words));
    }
    for d in &site.directions {
        let fields = vec![
            ("name", d.name.clone()),
            ("cables from left", list(&d.cables_left_to_right)),
        ];
        all.push(Thing::new("direction", &d.id, fields));
    }
    for w in &site.cables {
        let mut cable = wording("cable", w);
        cable
            .fields
            .push(("station", site.winches.get(&w.id).cloned().unwrap_or_default()));
        all.push(cable);
    }
    for s in &site.signals {
        let fields = vec![
            ("given by", s.by.clone()),
            ("shows", s.shows.clone()),
            ("meaning", s.meaning.clone()),
            ("stops", yes(s.stops)),
        ];
        let id = if s.id.is_empty() { &s.shows } else { &s.id };
        all.push(Thing::new("signal", id, fields));
    }
    for a in &site.fleet {
        let fields = vec![
            ("type", a.kind.clone()),
            ("seats", a.seats.to_string()),
            ("competition sign", a.competition_sign.clone().unwrap_or_default()),
            ("said by", list(&a.said_by)),
            ("weak link", a.weak_link.clone().unwrap_or_default()),
            ("type said", a.say_type.map(yes).unwrap_or_default()),
            ("crew said", a.say_crew.map(yes).unwrap_or_default()),
        ];
        all.push(Thing::new("aircraft", &a.registration.to_string(), fields));
    }
}

fn wording(item: &'static str, w: &Wording) -> Thing {
    let fields = vec![
        ("taught", w.taught.clone()),
        ("understood", list(&w.understood)),
        ("scene", w.scene.clone().unwrap_or_default()),
        ("types", list(&w.types)),
        ("directions", list(&w.directions)),
        ("cable first", w.cable.clone().unwrap_or_default()),
        ("why", w.why.clone().unwrap_or_default()),
    ];
    Thing::new(item, &w.id, fields)
}

fn elements(site: &Site, element: &Element, all: &mut Vec<Thing>) {
    let fields = vec![
        ("name", element.label.clone()),
        ("why", element.why.clone()),
        ("half said", list(&element.incomplete)),
        ("denied", list(&element.negated)),
    ];
    all.push(Thing::new("element", &element.id, fields));
    // Cables, addresses and types come from elsewhere and are listed there.
    let elsewhere = |w: &&Wording| match element.purpose {
        Purpose::Cable => site.cables.iter().any(|c| c.id == w.id),
        Purpose::Address => site.stations.iter().any(|s| s.address.id == w.id),
        Purpose::Type => site.fleet.iter().any(|a| a.kind == w.id && a.kind == w.taught),
        _ => false,
    };
    for w in element.values.iter().chain(&element.other).filter(|w| !elsewhere(w)) {
        let mut thing = wording("element", w);
        thing.id.clone_from(&element.id);
        thing.value = Some(w.id.clone());
        all.push(thing);
    }
}

fn step_thing(step: &Step) -> Thing {
    let mut fields = vec![
        ("name", step.title.clone()),
        ("speaker", step.speaker.clone()),
        ("to", step.to.clone()),
        ("by", format!("{:?}", step.by)),
        ("scene", step.scene.clone().unwrap_or_default()),
        ("reads back", step.readback_of.clone().unwrap_or_default()),
        ("may be left out", yes(step.may_be_left_out)),
        ("with the release", yes(step.with_release)),
        ("signal", step.signal.clone().unwrap_or_default()),
        ("backup", step.backup.clone().unwrap_or_default()),
        ("elements", list(&step.elements)),
        ("critical", list(&step.critical)),
        ("taught", step.taught.clone()),
        ("also right", step.also_right.join(" / ")),
    ];
    let mut line = |name: [&'static str; 3], line: Option<&Line>| {
        if let Some(l) = line {
            fields.push((name[0], l.text.clone()));
            fields.push((name[1], l.role.clone()));
            fields.push((name[2], l.clip.clone().unwrap_or_default()));
        }
    };
    line(
        ["prompt", "who prompts", "recording of the prompt"],
        step.prompt.as_ref(),
    );
    line(
        ["answer", "who answers", "recording of the answer"],
        step.answer.as_ref(),
    );
    line(
        ["question", "who asks", "recording of the question"],
        step.ask_again.as_ref(),
    );
    line(
        [
            "question for all",
            "who asks for all",
            "recording of the question for all",
        ],
        step.ask_all_again.as_ref(),
    );
    Thing::new("step", &step.id, fields)
}

/// A step whose calls are judged otherwise than before.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Effect {
    /// The step's id.
    pub step: String,
    /// Its name on screen.
    pub title: String,
    /// Names on screen of the parts that are judged otherwise; empty where the step is gone.
    pub parts: Vec<String>,
    /// The step is not there any more.
    pub gone: bool,
}

/// The steps of the first version whose calls the second one would judge otherwise.
pub fn effects(before: &Site, after: &Site) -> Vec<Effect> {
    before
        .steps
        .iter()
        .filter_map(|old| {
            let effect = |parts, gone| Effect {
                step: old.id.clone(),
                title: old.title.clone(),
                parts,
                gone,
            };
            let Some(new) = after.step(&old.id) else {
                return Some(effect(Vec::new(), true));
            };
            let parts = parts_judged_otherwise(before, old, after, new);
            (!parts.is_empty()).then(|| effect(parts, false))
        })
        .collect()
}

fn parts_judged_otherwise(before: &Site, old: &Step, after: &Site, new: &Step) -> Vec<String> {
    let language = before.language != after.language;
    let all: BTreeSet<&String> = old.elements.iter().chain(&new.elements).collect();
    // In the order of the call, what is new last.
    let mut ids: Vec<&String> = old.elements.iter().collect();
    ids.extend(all.iter().filter(|id| !old.elements.contains(id)));
    ids.into_iter()
        .filter(|id| {
            let weight = |step: &Step| (step.elements.contains(id), step.critical.contains(id));
            language
                || weight(old) != weight(new)
                || words(before, old, id) != words(after, new, id)
                || right_values(before, id) != right_values(after, id)
        })
        .map(|id| {
            let named = after.elements.get(id).or_else(|| before.elements.get(id));
            named.map_or_else(|| id.clone(), |e| e.label.clone())
        })
        .collect()
}

/// What can be heard of an element, without the difference between taught and understood, which decides nothing.
fn words(site: &Site, step: &Step, id: &str) -> BTreeSet<String> {
    let vocabulary = Vocabulary::of(site, step);
    let index = vocabulary.elements.iter().position(|e| e == id);
    vocabulary
        .phrases
        .iter()
        .filter(|p| index.is_some() && p.meaning.element() == index)
        .map(|p| {
            let meaning = match &p.meaning {
                Meaning::Value { value, .. } => format!("= {value}"),
                Meaning::Negated { .. } => "denied".to_owned(),
                _ => "half".to_owned(),
            };
            format!("{} {meaning}", p.words.join(" "))
        })
        .collect()
}

/// What decides an element's right value beside the situation, for aircraft that both versions may have.
fn right_values(site: &Site, id: &str) -> Vec<(String, String)> {
    match site.purpose(id) {
        Purpose::Callsign => vec![("pairs".to_owned(), yes(site.customs.number_pairs_forbidden))],
        purpose @ (Purpose::Type | Purpose::Link) => {
            let mut values: Vec<(String, String)> = site
                .fleet
                .iter()
                .map(|a| {
                    let value = if purpose == Purpose::Type {
                        Some(a.kind.clone())
                    } else {
                        a.weak_link.clone()
                    };
                    (a.registration.to_string(), value.unwrap_or_default())
                })
                .collect();
            values.sort();
            values
        }
        _ => {
            let values = site.elements.get(id).map(|e| e.values.as_slice()).unwrap_or_default();
            let decided = values
                .iter()
                .filter(|v| !v.types.is_empty() || !v.directions.is_empty());
            decided
                .map(|v| (v.id.clone(), list(&[v.types.clone(), v.directions.clone()].concat())))
                .collect()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::bundled;

    /// Larkmoor with texts replaced: file, old, new.
    fn changed(changes: &[(&str, &str, &str)]) -> Site {
        let mut files = bundled::files("larkmoor").unwrap();
        for (file, old, new) in changes {
            let text = files.texts.get_mut(*file).unwrap();
            assert!(text.contains(old), "{file} does not hold {old}");
            *text = text.replace(old, new);
        }
        Site::check(&files).unwrap()
    }

    fn told(after: &Site) -> Vec<String> {
        differences(&changed(&[]), after)
            .iter()
            .map(ToString::to_string)
            .collect()
    }

    #[test]
    fn the_same_site_does_not_differ() {
        let site = changed(&[]);
        assert!(differences(&site, &site).is_empty() && effects(&site, &site).is_empty());
    }

    #[test]
    fn a_changed_wording_is_told_in_words_and_with_the_steps_it_judges() {
        let after = changed(&[("words.toml", "taught = \"two up\"", "taught = \"two aboard\"")]);
        assert_eq!(
            told(&after),
            ["element crew, value \"2\", taught: \"two up\" -> \"two aboard\""]
        );
        let effects = effects(&changed(&[]), &after);
        let steps: Vec<&str> = effects.iter().map(|e| e.step.as_str()).collect();
        assert_eq!(steps, ["ready", "readback"]);
        assert_eq!(effects[0].parts, ["Crew"]);
    }

    #[test]
    fn words_that_are_only_understood_from_now_on_judge_as_before() {
        let after = changed(&[(
            "words.toml",
            "taught = \"two up\", understood = [\"dual\"",
            "taught = \"dual\", understood = [\"two up\"",
        )]);
        assert_eq!(told(&after).len(), 2);
        assert!(effects(&changed(&[]), &after).is_empty());
    }

    #[test]
    fn a_prompt_in_other_words_judges_nothing_otherwise() {
        let after = changed(&[("steps.toml", "Cable on. Wings level.", "Wings are level.")]);
        assert_eq!(
            told(&after),
            ["step ready, prompt: \"Cable on. Wings level.\" -> \"Wings are level.\""]
        );
        assert!(effects(&changed(&[]), &after).is_empty());
    }

    #[test]
    fn a_cable_renamed_is_one_gone_and_one_new_and_changes_every_call_with_a_cable() {
        let after = changed(&[("site.toml", "\"north\"", "\"top\"")]);
        let told = told(&after);
        assert!(told.iter().any(|t| t.starts_with("cable north is gone")), "{told:?}");
        assert!(told.iter().any(|t| t.starts_with("cable top is new")), "{told:?}");
        let steps: Vec<String> = effects(&changed(&[]), &after).into_iter().map(|e| e.step).collect();
        assert!(steps.contains(&"ready".to_owned()), "{steps:?}");
        assert!(!steps.contains(&"stop".to_owned()), "{steps:?}");
    }

    #[test]
    fn what_decides_and_what_is_gone_are_effects() {
        let after = changed(&[(
            "steps.toml",
            "critical = [\"callsign\", \"crew\", \"cable\", \"method\", \"ready\"]",
            "critical = [\"callsign\", \"cable\", \"method\", \"ready\"]",
        )]);
        let effects = effects(&changed(&[]), &after);
        assert_eq!(
            (effects[0].step.as_str(), &effects[0].parts[..]),
            ("ready", &["Crew".to_owned()][..])
        );
        let mut fewer = changed(&[]);
        fewer.steps.retain(|s| s.id != "speed");
        let gone = super::effects(&changed(&[]), &fewer);
        assert!(gone.len() == 1 && gone[0].gone);
    }
}
