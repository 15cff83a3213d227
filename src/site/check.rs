//! From the files as written to a [`Site`]: every rule of the site form stands here, with its message.

mod around;

use super::problem::{Collector, Problem, Problems};
use super::raw::{self, RawElements, RawLine, RawWording};
use super::{
    Aircraft, BRIEFING, Band, By, Callsign, CallsignCustom, Customs, Direction, Element, Eventuality, FILES, Files,
    Hazard, Launch, Line, Need, Site, Station, Step, Wording, placeholders,
};
use crate::call::words;
use serde::de::{DeserializeOwned, IntoDeserializer};
use std::collections::{BTreeMap, BTreeSet};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

const SPOKEN_FORMS: [&str; 4] = ["registration", "competition sign", "last letters", "type"];
/// Who may speak. Ids; what they are called on screen stands in `[[role]]`.
const SPEAKERS: [&str; 8] = [
    "pilot",
    "wing runner",
    "signaller",
    "controller",
    "winch driver",
    "retrieve driver",
    "instructor",
    "anybody",
];
/// Who may be heard: those, and people who have no part in the launch.
const HEARD: [&str; 10] = [
    "pilot",
    "wing runner",
    "signaller",
    "controller",
    "winch driver",
    "retrieve driver",
    "instructor",
    "anybody",
    "another pilot",
    "bystander",
];
const NOT_AN_ELEMENT: [&str; 1] = ["asked"];

pub(super) fn check(files: &Files) -> Result<Site, Problems> {
    let mut found = Vec::new();
    for name in FILES {
        if let Some(why) = files.unreadable.get(name) {
            found.push(Problem {
                file: name.to_owned(),
                line: None,
                wrong: format!("The file cannot be read: {why}"),
                right: "Make it readable, as UTF-8 text.".to_owned(),
            });
        } else if !files.texts.contains_key(name) {
            found.push(Problem {
                file: name.to_owned(),
                line: None,
                wrong: "The file is missing".to_owned(),
                right: "Every site needs it; `cableside site new` writes one to start from.".to_owned(),
            });
        }
    }
    let mut tables = BTreeMap::new();
    let mut broken = BTreeSet::new();
    for (name, text) in &files.texts {
        if !FILES.contains(&name.as_str()) && name != BRIEFING {
            found.push(Problem {
                file: name.clone(),
                line: None,
                wrong: "The program does not know this file".to_owned(),
                right: format!("A site has {} and may have {BRIEFING}.", FILES.join(", ")),
            });
            continue;
        }
        let (table, errors) = DeTable::parse_recoverable(text);
        let mut c = Collector {
            file: name,
            text,
            found: &mut found,
        };
        for e in &errors {
            let span = e.span().unwrap_or(0..0);
            c.at(
                &span,
                format!("This is not TOML: {}", one_line(e.message())),
                syntax_hint(text, &span),
            );
        }
        if errors.is_empty() {
            tables.insert(name.as_str(), table.into_inner());
        } else {
            broken.insert(name.clone());
        }
    }
    let site = Builder {
        files,
        found: &mut found,
        broken,
    }
    .build(&mut tables);
    found.sort_by(|a, b| (&a.file, a.line).cmp(&(&b.file, b.line)));
    found.dedup();
    match site {
        Some(site) if found.is_empty() => Ok(site),
        _ => Err(Problems {
            folder: files.folder.clone(),
            list: found,
        }),
    }
}

fn one_line(text: &str) -> String {
    text.trim().replace('\n', ", ")
}

fn syntax_hint(text: &str, span: &std::ops::Range<usize>) -> String {
    let start = text[..span.start.min(text.len())].rfind('\n').map_or(0, |i| i + 1);
    let line = text[start..].lines().next().unwrap_or("");
    if line.contains('\t') {
        "There is a tab in this line; texts stand between double quotes, for example name = \"Larkmoor\".".to_owned()
    } else {
        "Texts stand between double quotes, lists in [ ], and each line is name = value.".to_owned()
    }
}

fn is_digit(word: &str) -> bool {
    let known = [super::Language::English, super::Language::German];
    word.chars().all(|c| c.is_ascii_digit()) || known.iter().any(|l| super::number::digit(*l, word).is_some())
}

struct Builder<'a> {
    files: &'a Files,
    found: &'a mut Vec<Problem>,
    /// Files with something that could not be taken in: what others miss of them may only stand there.
    broken: BTreeSet<String>,
}

type Tables<'t> = BTreeMap<&'t str, DeTable<'t>>;

impl Builder<'_> {
    fn at(&mut self, file: &str, span: &std::ops::Range<usize>, wrong: impl Into<String>, right: impl Into<String>) {
        let text = self.files.texts.get(file).map_or("", String::as_str);
        Collector {
            file,
            text,
            found: self.found,
        }
        .at(span, wrong, right);
    }

    fn whole(&mut self, file: &str, wrong: impl Into<String>, right: impl Into<String>) {
        Collector {
            file,
            text: "",
            found: self.found,
        }
        .whole(wrong, right);
    }

    /// Take one section out of a file's table and give it its shape.
    fn section<T: DeserializeOwned>(&mut self, tables: &mut Tables, file: &str, name: &str, needed: bool) -> Option<T> {
        let table = tables.get_mut(file)?;
        let key = table.keys().find(|k| k.get_ref() == name).cloned();
        let value = key.and_then(|k| table.remove(&k));
        let Some(value) = value else {
            if needed {
                self.whole(
                    file,
                    format!("The section [{name}] is missing"),
                    format!("Add [{name}]; `phrases/README.md` lists what belongs in it."),
                );
            }
            return None;
        };
        self.shape(file, value)
    }

    fn shape<T: DeserializeOwned>(&mut self, file: &str, value: Spanned<DeValue>) -> Option<T> {
        let span = value.span();
        match T::deserialize(value.into_deserializer()) {
            Ok(t) => Some(t),
            Err(e) => {
                let e: toml::de::Error = e;
                self.broken.insert(file.to_owned());
                let at = e.span().unwrap_or(span);
                self.at(
                    file,
                    &at,
                    one_line(e.message()),
                    "See `phrases/README.md` for the fields and their forms.",
                );
                None
            }
        }
    }

    /// Take an array of tables; each is given its shape on its own, so that one bad entry hides no other.
    fn list<T: DeserializeOwned>(&mut self, tables: &mut Tables, file: &str, name: &str, needed: bool) -> Vec<T> {
        let Some(table) = tables.get_mut(file) else {
            return Vec::new();
        };
        let key = table.keys().find(|k| k.get_ref() == name).cloned();
        let Some(value) = key.and_then(|k| table.remove(&k)) else {
            if needed {
                self.whole(
                    file,
                    format!("There is no [[{name}]]"),
                    format!("Add at least one [[{name}]]."),
                );
            }
            return Vec::new();
        };
        let span = value.span();
        let DeValue::Array(items) = value.into_inner() else {
            self.at(
                file,
                &span,
                format!("{name} is not a list"),
                format!("Write [[{name}]] with two brackets for each entry."),
            );
            return Vec::new();
        };
        items.into_iter().filter_map(|item| self.shape(file, item)).collect()
    }

    fn leftovers(&mut self, tables: &Tables) {
        for (file, table) in tables {
            for key in table.keys() {
                let name = key.get_ref().to_string();
                self.at(
                    file,
                    &key.span(),
                    format!("\"{name}\" is not known here"),
                    "Remove it, or look for a slip of the pen.",
                );
            }
        }
    }

    fn words(&mut self, file: &str, text: &Spanned<String>) -> String {
        if words::of(text.get_ref()).is_empty() {
            self.at(
                file,
                &text.span(),
                "There are no words in this text",
                "Write the words as they are spoken.",
            );
        }
        text.get_ref().trim().to_owned()
    }

    fn wording(&mut self, file: &str, raw: &RawWording) -> Wording {
        Wording {
            id: raw.id.get_ref().clone(),
            taught: self.words(file, &raw.taught),
            understood: raw.understood.iter().map(|t| self.words(file, t)).collect(),
            scene: raw.scene.clone(),
        }
    }

    fn unique<'t>(&mut self, file: &str, what: &str, ids: impl Iterator<Item = &'t Spanned<String>>) {
        let mut seen: BTreeMap<String, usize> = BTreeMap::new();
        for id in ids {
            let text = self.files.texts.get(file).map_or("", String::as_str);
            let line = Collector {
                file,
                text,
                found: self.found,
            }
            .line(&id.span());
            if let Some(first) = seen.get(id.get_ref()) {
                self.at(
                    file,
                    &id.span(),
                    format!("{what} \"{}\" stands twice, first in line {first}", id.get_ref()),
                    "Give each its own, or remove one.",
                );
            } else {
                seen.insert(id.get_ref().clone(), line);
            }
        }
    }

    fn one_of(&mut self, file: &str, text: &Spanned<String>, allowed: &[&str]) -> String {
        if !allowed.contains(&text.get_ref().as_str()) {
            self.at(
                file,
                &text.span(),
                format!("\"{}\" is not known here", text.get_ref()),
                format!("Use one of: {}.", allowed.join(", ")),
            );
        }
        text.get_ref().clone()
    }

    fn range(&mut self, file: &str, number: &Spanned<u8>, allowed: std::ops::RangeInclusive<u8>) -> u8 {
        if !allowed.contains(number.get_ref()) {
            self.at(
                file,
                &number.span(),
                format!("{} is out of range", number.get_ref()),
                format!("Use {} to {}.", allowed.start(), allowed.end()),
            );
        }
        *number.get_ref()
    }

    fn line(&mut self, file: &str, raw: RawLine, elements: &[String]) -> Line {
        self.template(file, &raw.text, elements);
        self.one_of(file, &raw.role, &HEARD);
        self.clip(file, raw.clip.as_ref());
        Line {
            role: raw.role.get_ref().clone(),
            text: raw.text.get_ref().clone(),
            clip: raw.clip.map(Spanned::into_inner),
        }
    }

    /// A recording must be a WAV file inside the site's folder.
    fn clip(&mut self, file: &str, clip: Option<&Spanned<String>>) {
        if let Some(clip) = clip {
            let path = clip.get_ref();
            let climbs = path.split(['/', '\\']).any(|part| part == "..");
            let absolute = path.starts_with(['/', '\\']) || path.contains(':');
            if climbs || absolute {
                self.at(
                    file,
                    &clip.span(),
                    format!("The clip \"{path}\" lies outside the site's folder"),
                    "Put the WAV file inside the folder and write its path from there.",
                );
            } else if !self.files.others.contains(path) {
                self.at(
                    file,
                    &clip.span(),
                    format!("The clip \"{path}\" is not there"),
                    "Record it, correct the path, or remove the line: the text is then synthesised.",
                );
            } else if !path.to_ascii_lowercase().ends_with(".wav") {
                self.at(
                    file,
                    &clip.span(),
                    format!("The clip \"{path}\" is no WAV file"),
                    "Prompts are WAV files.",
                );
            }
        }
    }

    fn template(&mut self, file: &str, text: &Spanned<String>, elements: &[String]) {
        if text.get_ref().matches('{').count() != text.get_ref().matches('}').count() {
            self.at(
                file,
                &text.span(),
                "A brace is not closed",
                "Write {callsign}, {crew} and so on, each with both braces.",
            );
        }
        for name in placeholders(text.get_ref()) {
            if !elements.iter().any(|e| e == name) && !NOT_AN_ELEMENT.contains(&name) {
                self.at(
                    file,
                    &text.span(),
                    format!("{{{name}}} is no element of this step"),
                    format!("Use: {}.", elements.join(", ")),
                );
            }
        }
    }

    #[allow(
        clippy::too_many_lines,
        reason = "one rule after the other, in the order of the files"
    )]
    fn build(&mut self, tables: &mut Tables) -> Option<Site> {
        let s = "site.toml";
        let head: Option<raw::RawHead> = self.section(tables, s, "site", true);
        let stations: Vec<raw::RawStation> = self.list(tables, s, "station", true);
        let directions: Vec<raw::RawDirection> = self.list(tables, s, "direction", true);
        let cables: Vec<raw::RawCable> = self.list(tables, s, "cable", true);
        let roles: Vec<raw::RawRole> = self.list(tables, s, "role", false);
        let customs: Option<raw::RawCustoms> = self.section(tables, s, "customs", true);
        let signals: Vec<raw::RawSignal> = self.list(tables, s, "signal", false);
        let fleet: Vec<raw::RawAircraft> = self.list(tables, "fleet.toml", "aircraft", true);
        let elements: RawElements = self.elements(tables);
        let steps: Vec<raw::RawStep> = self.list(tables, "steps.toml", "step", true);
        let launch: Option<raw::RawLaunch> = self.section(tables, "steps.toml", "launch", false);
        let hazards: Vec<raw::RawHazard> = self.list(tables, "steps.toml", "hazard", false);
        let interruptions: Vec<raw::RawInterruption> = self.list(tables, "steps.toml", "interruption", false);
        let eventualities: Vec<raw::RawEventuality> = self.list(tables, BRIEFING, "eventuality", false);
        let bands: Vec<raw::RawBand> = self.list(tables, BRIEFING, "height_band", false);
        self.leftovers(tables);

        self.unique(s, "The station", stations.iter().map(|x| &x.id));
        self.unique(s, "The direction", directions.iter().map(|x| &x.id));
        self.unique(s, "The cable", cables.iter().map(|x| &x.id));
        self.unique("steps.toml", "The step", steps.iter().map(|x| &x.id));

        let stations: Vec<Station> = stations
            .iter()
            .map(|r| Station {
                id: r.id.get_ref().clone(),
                name: r.name.get_ref().clone(),
                address: Wording {
                    id: r.id.get_ref().clone(),
                    taught: self.words(s, &r.address),
                    understood: r.understood.iter().map(|t| self.words(s, t)).collect(),
                    scene: None,
                },
            })
            .collect();
        let cables: Vec<Wording> = cables
            .iter()
            .map(|r| Wording {
                id: r.id.get_ref().clone(),
                taught: self.words(s, &r.taught),
                understood: r.understood.iter().map(|t| self.words(s, t)).collect(),
                scene: None,
            })
            .collect();
        let cable_ids: BTreeSet<&str> = cables.iter().map(|c| c.id.as_str()).collect();
        for d in &directions {
            self.unique(s, "The cable", d.cables_left_to_right.iter());
            if d.cables_left_to_right.len() < cables.len() {
                self.at(
                    s,
                    &d.id.span(),
                    format!("The direction \"{}\" does not have every cable", d.id.get_ref()),
                    "List each cable once, from left to right as seen facing the winch.",
                );
            }
            for c in &d.cables_left_to_right {
                if !cable_ids.contains(c.get_ref().as_str()) {
                    self.at(
                        s,
                        &c.span(),
                        format!("There is no cable \"{}\"", c.get_ref()),
                        "Name cables by the id of their [[cable]].",
                    );
                }
            }
        }
        let mut directions: Vec<(bool, Direction)> = directions
            .into_iter()
            .map(|r| {
                let d = Direction {
                    id: r.id.into_inner(),
                    name: r.name.into_inner(),
                    cables_left_to_right: r.cables_left_to_right.into_iter().map(Spanned::into_inner).collect(),
                };
                (r.usual, d)
            })
            .collect();
        directions.sort_by_key(|(usual, _)| !usual);

        let customs = customs.map(|r| self.customs(s, r, &elements));
        let fleet = self.fleet(fleet);
        let b = BRIEFING;
        let mut elements = self.checked_elements(&elements, &stations, &cables, &fleet);
        let eventualities = self.eventualities(&eventualities, &mut elements);
        let steps = self.steps(steps, &elements, &stations);
        let launch = launch.map(|l| self.launch(l, &steps));
        let hazards = self.hazards(hazards, &steps);
        let interruptions = self.interruptions(interruptions, &steps);
        let roles = self.roles(roles);
        let mut last = 0;
        let bands = bands
            .into_iter()
            .map(|r| {
                let (from, to) = (*r.from.get_ref(), r.to.as_ref().map(|t| *t.get_ref()));
                if from < last || to.is_some_and(|t| t <= from) {
                    self.at(
                        b,
                        &r.from.span(),
                        "The height bands overlap or stand upside down",
                        "Write them lowest first, in metres, each ending above its start.",
                    );
                }
                last = to.unwrap_or(u16::MAX);
                Band {
                    name: r.name.into_inner(),
                    from,
                    to,
                    answer: r.answer.into_inner(),
                }
            })
            .collect();

        let head = head?;
        let id = head.id.get_ref();
        let good = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        if id.is_empty() || !id.chars().all(good) {
            self.at(
                s,
                &head.id.span(),
                format!("The id \"{id}\" has characters that file names cannot share everywhere"),
                "Use lower-case letters, digits and hyphens.",
            );
        }
        let rules_date = head
            .rules_date
            .get_ref()
            .date
            .map(|d| d.to_string())
            .unwrap_or_default();
        if rules_date.is_empty() {
            self.at(
                s,
                &head.rules_date.span(),
                "The rules' date has no day",
                "Write a date such as 2026-11-01, without quotes.",
            );
        }
        if head.caution.get_ref().trim().is_empty() {
            self.at(
                s,
                &head.caution.span(),
                "The caution is empty",
                "Say that site rules, the instructor and national rules come first.",
            );
        }
        Some(Site {
            id: head.id.into_inner(),
            name: head.name.into_inner(),
            language: head.language,
            version: head.version.into_inner(),
            rules_date,
            invented: head.invented,
            about: head.about,
            caution: head.caution.into_inner(),
            roles,
            stations,
            directions: directions.into_iter().map(|(_, d)| d).collect(),
            cables,
            customs: customs?,
            signals: signals
                .into_iter()
                .map(|r| (r.light.into_inner(), r.meaning.into_inner()))
                .collect(),
            fleet,
            elements,
            steps,
            launch,
            hazards,
            interruptions,
            eventualities,
            bands,
        })
    }

    /// The tables under `[element]`, each given its shape on its own.
    fn elements(&mut self, tables: &mut Tables) -> RawElements {
        let file = "words.toml";
        let mut out = RawElements::new();
        let Some(table) = tables.get_mut(file) else {
            return out;
        };
        let key = table.keys().find(|k| k.get_ref() == "element").cloned();
        let Some(value) = key.and_then(|k| table.remove(&k)) else {
            self.whole(
                file,
                "There is no [element.…] section",
                "Write one section for each part of the calls, such as [element.crew].",
            );
            return out;
        };
        let span = value.span();
        let DeValue::Table(elements) = value.into_inner() else {
            self.at(
                file,
                &span,
                "element is not a table",
                "Write [element.crew], [element.ready] and so on.",
            );
            return out;
        };
        for (name, value) in elements {
            if let Some(raw) = self.shape(file, value) {
                out.insert(name.into_inner().into_owned(), raw);
            }
        }
        out
    }

    fn customs(&mut self, s: &str, r: raw::RawCustoms, elements: &RawElements) -> Customs {
        for e in &r.readback_by_winch {
            if !elements.is_empty() && !elements.contains_key(e.get_ref()) {
                self.at(
                    s,
                    &e.span(),
                    format!("There is no element \"{}\"", e.get_ref()),
                    "Name elements of words.toml.",
                );
            }
        }
        let speakers = ["pilot", "signaller", "wing runner", "controller"];
        let callsign = self.one_of(s, &r.callsign, &["full", "short after contact"]);
        let pairs = self.one_of(s, &r.number_pairs_in_callsign, &["advice", "forbidden"]);
        Customs {
            calls_winch: self.one_of(s, &r.calls_winch, &speakers),
            says_slack_out: self.one_of(s, &r.says_slack_out, &speakers),
            slack_out_times: self.range(s, &r.slack_out_times, 1..=5),
            stop_times: self.range(s, &r.stop_times, 1..=5),
            callsign: if callsign == "full" {
                CallsignCustom::Full
            } else {
                CallsignCustom::ShortAfterContact
            },
            number_pairs_forbidden: pairs == "forbidden",
            type_in_ready_call: match r.type_in_ready_call {
                raw::RawNeed::Never => Need::Never,
                raw::RawNeed::Optional => Need::Optional,
                raw::RawNeed::Required => Need::Required,
            },
            cable_may_be_dropped_when_single: r.cable_may_be_dropped_when_single,
            readback_by_winch: r.readback_by_winch.into_iter().map(Spanned::into_inner).collect(),
            release_pulls: r.release_pulls.map_or(1, |n| self.range(s, &n, 1..=5)),
        }
    }

    fn fleet(&mut self, raw: Vec<raw::RawAircraft>) -> Vec<Aircraft> {
        let f = "fleet.toml";
        let mut seen: BTreeMap<Callsign, String> = BTreeMap::new();
        let mut fleet = Vec::new();
        for r in raw {
            let registration = match Callsign::parse(r.registration.get_ref()) {
                Ok(c) => c,
                Err(e) => {
                    self.at(
                        f,
                        &r.registration.span(),
                        one_line(&e.to_string()),
                        "Write the registration as it stands on the fuselage.",
                    );
                    continue;
                }
            };
            if let Some(kind) = seen.insert(registration.clone(), r.kind.get_ref().clone()) {
                self.at(
                    f,
                    &r.registration.span(),
                    format!("The registration {registration} stands twice (the other is a {kind})"),
                    "Each aircraft stands once.",
                );
            }
            for form in &r.said_by {
                self.one_of(f, form, &SPOKEN_FORMS);
            }
            let said_by: Vec<String> = r.said_by.into_iter().map(Spanned::into_inner).collect();
            fleet.push(Aircraft {
                registration,
                kind: r.kind.into_inner(),
                seats: self.range(f, &r.seats, 1..=2),
                competition_sign: r.competition_sign.map(Spanned::into_inner),
                said_by: if said_by.is_empty() {
                    vec!["registration".to_owned()]
                } else {
                    said_by
                },
                weak_link: r.weak_link,
                say_type: r.say_type,
                say_crew: r.say_crew,
            });
        }
        fleet
    }

    fn checked_elements(
        &mut self,
        raw: &RawElements,
        stations: &[Station],
        cables: &[Wording],
        fleet: &[Aircraft],
    ) -> BTreeMap<String, Element> {
        let w = "words.toml";
        let mut elements = BTreeMap::new();
        for (id, r) in raw {
            self.unique(w, "The value", r.value.iter().chain(&r.other).map(|v| &v.id));
            let mut values: Vec<Wording> = r.value.iter().map(|v| self.wording(w, v)).collect();
            match id.as_str() {
                "address" => values.extend(stations.iter().map(|s| s.address.clone())),
                "cable" => values.extend(cables.iter().cloned()),
                "type" => {
                    for a in fleet {
                        if !values.iter().any(|v| v.id == a.kind) {
                            values.push(Wording {
                                id: a.kind.clone(),
                                taught: a.kind.clone(),
                                understood: Vec::new(),
                                scene: None,
                            });
                        }
                    }
                }
                "link" => {
                    for a in fleet {
                        let Some(link) = &a.weak_link else { continue };
                        if !values.iter().any(|v| &v.id == link) {
                            let known: Vec<&str> = values.iter().map(|v| v.id.as_str()).collect();
                            self.whole(
                                "fleet.toml",
                                format!("The weak link \"{link}\" of {} has no words", a.registration),
                                format!("The element link of words.toml has: {}.", known.join(", ")),
                            );
                        }
                    }
                }
                _ => {}
            }
            if id == "crew" {
                for v in &r.value {
                    if !["1", "2"].contains(&v.id.get_ref().as_str()) {
                        self.at(
                            w,
                            &v.id.span(),
                            format!("The crew \"{}\" is no number of people", v.id.get_ref()),
                            "Use \"1\" and \"2\".",
                        );
                    }
                }
            }
            if values.is_empty() && id != "callsign" {
                self.at(
                    w,
                    &r.label.span(),
                    format!("The element \"{id}\" has no value"),
                    "Give it at least one value = [{ id = …, taught = … }].",
                );
            }
            let element = Element {
                id: id.clone(),
                label: r.label.get_ref().clone(),
                why: r.why.get_ref().clone(),
                values,
                incomplete: r.incomplete.iter().map(|t| self.words(w, t)).collect(),
                other: r.other.iter().map(|v| self.wording(w, v)).collect(),
                negated: r.negated.iter().map(|t| self.words(w, t)).collect(),
            };
            self.same_words(w, r, &element);
            elements.insert(id.clone(), element);
        }
        elements
    }

    /// A number or a spelling word alone cannot be told from the characters of the callsign beside it.
    fn not_spelled(&mut self, element: &Element) {
        let (file, text) = match element.id.as_str() {
            "cable" | "address" => ("site.toml", "site.toml"),
            "type" => ("fleet.toml", "fleet.toml"),
            _ => ("words.toml", "words.toml"),
        };
        for v in element.values.iter().filter(|v| {
            let words = words::of(&v.taught);
            !words.is_empty()
                && words
                    .iter()
                    .all(|w| super::spelling::letter(w).is_some() || is_digit(w))
        }) {
            let line = self.files.texts.get(text).and_then(|t| {
                let quoted = format!("\"{}\"", v.taught);
                t.lines().position(|l| l.contains(&quoted)).map(|n| n + 1)
            });
            self.found.push(Problem {
                file: file.to_owned(),
                line,
                wrong: format!("\"{}\" alone sounds like a part of the callsign", v.taught),
                right: format!("Teach it with its noun, such as \"{} {}\".", element.id, v.taught),
            });
        }
    }

    /// One wording for two values would let a wrong value pass.
    fn same_words(&mut self, file: &str, raw: &raw::RawElement, element: &Element) {
        let mut seen: BTreeMap<Vec<String>, String> = BTreeMap::new();
        for v in element.values.iter().chain(&element.other) {
            for text in std::iter::once(&v.taught).chain(&v.understood) {
                if let Some(first) = seen.insert(words::of(text), v.id.clone())
                    && first != v.id
                {
                    self.at(
                        file,
                        &raw.label.span(),
                        format!(
                            "\"{text}\" stands for two values of {}: {first} and {}",
                            element.id, v.id
                        ),
                        "Words must mean one value only.",
                    );
                }
            }
        }
    }

    fn steps(
        &mut self,
        raw: Vec<raw::RawStep>,
        elements: &BTreeMap<String, Element>,
        stations: &[Station],
    ) -> Vec<Step> {
        let f = "steps.toml";
        let mut steps = Vec::new();
        let all: Vec<String> = raw.iter().map(|r| r.id.get_ref().clone()).collect();
        for r in raw {
            if let Some(of) = &r.readback_of {
                self.known(f, of, "step", &all);
            }
            self.one_of(f, &r.speaker, &SPEAKERS);
            let all_known = !["words.toml", BRIEFING].iter().any(|f| self.broken.contains(*f));
            for e in &r.elements {
                if all_known && !elements.is_empty() && !elements.contains_key(e.get_ref()) {
                    let known: Vec<&str> = elements.keys().map(String::as_str).collect();
                    self.at(
                        f,
                        &e.span(),
                        format!("There is no element \"{}\"", e.get_ref()),
                        format!("words.toml has: {}.", known.join(", ")),
                    );
                }
            }
            self.unique(f, "The element", r.elements.iter());
            let beside = r.elements.iter().map(Spanned::get_ref).filter(|e| *e != "callsign");
            if r.elements.iter().any(|e| e.get_ref() == "callsign") {
                for element in beside.filter_map(|e| elements.get(e)) {
                    self.not_spelled(element);
                }
            }
            let ids: Vec<String> = r.elements.iter().map(|e| e.get_ref().clone()).collect();
            let by = self.by(r.by.as_ref());
            if ids.is_empty() && by != By::Hand {
                self.at(
                    f,
                    &r.id.span(),
                    "The step has no elements",
                    "Name the parts of its call.",
                );
            }
            if r.critical.is_empty() && by != By::Hand {
                self.at(
                    f,
                    &r.id.span(),
                    "The step has no critical element, so that anything would pass",
                    "Name in `critical` what must be said.",
                );
            }
            for c in &r.critical {
                if !ids.contains(c.get_ref()) {
                    self.at(
                        f,
                        &c.span(),
                        format!("\"{}\" is critical but no element of the step", c.get_ref()),
                        format!("Use: {}.", ids.join(", ")),
                    );
                }
            }
            if !stations.is_empty() && !stations.iter().any(|st| &st.id == r.to.get_ref()) {
                let known: Vec<&str> = stations.iter().map(|st| st.id.as_str()).collect();
                self.at(
                    f,
                    &r.to.span(),
                    format!("There is no station \"{}\"", r.to.get_ref()),
                    format!("site.toml has: {}.", known.join(", ")),
                );
            }
            self.template(f, &r.taught, &ids);
            for id in &ids {
                if !placeholders(r.taught.get_ref()).contains(&id.as_str()) {
                    self.at(
                        f,
                        &r.taught.span(),
                        format!("The taught call does not hold {{{id}}}"),
                        "Every element of the step belongs in it.",
                    );
                }
            }
            for t in &r.also_right {
                self.template(f, t, &ids);
            }
            let mut line = |raw: Option<RawLine>| raw.map(|l| self.line(f, l, &ids));
            let (prompt, answer) = (line(r.prompt), line(r.answer));
            let (ask_again, ask_all_again) = (line(r.ask_again), line(r.ask_all_again));
            steps.push(Step {
                id: r.id.into_inner(),
                title: r.title.into_inner(),
                speaker: r.speaker.into_inner(),
                to: r.to.into_inner(),
                by,
                scene: r.scene,
                readback_of: r.readback_of.map(Spanned::into_inner),
                elements: ids,
                critical: r.critical.into_iter().map(Spanned::into_inner).collect(),
                taught: r.taught.into_inner(),
                also_right: r.also_right.into_iter().map(Spanned::into_inner).collect(),
                prompt,
                answer,
                ask_again,
                ask_all_again,
            });
        }
        steps
    }

    fn no_braces(&mut self, file: &str, scene: &Spanned<String>) {
        if scene.get_ref().contains('{') {
            self.at(
                file,
                &scene.span(),
                "A scene is shown as it stands, braces too",
                "Describe what is seen without {names}.",
            );
        }
    }

    fn by(&mut self, raw: Option<&Spanned<String>>) -> By {
        let known = ["radio", "voice", "hand"];
        match raw.map(|b| self.one_of("steps.toml", b, &known)).as_deref() {
            Some("voice") => By::Voice,
            Some("hand") => By::Hand,
            _ => By::Radio,
        }
    }

    /// An id that must be among those that there are.
    fn known(&mut self, file: &str, id: &Spanned<String>, what: &str, all: &[String]) {
        if !self.broken.contains("steps.toml") && !all.contains(id.get_ref()) {
            self.at(
                file,
                &id.span(),
                format!("There is no {what} \"{}\"", id.get_ref()),
                format!("There are: {}.", all.join(", ")),
            );
        }
    }

    fn launch(&mut self, raw: raw::RawLaunch, steps: &[Step]) -> Launch {
        let f = "steps.toml";
        let ids: Vec<String> = steps.iter().map(|s| s.id.clone()).collect();
        for id in &raw.order {
            self.known(f, id, "step", &ids);
        }
        self.unique(f, "The step", raw.order.iter());
        let order: Vec<String> = raw.order.into_iter().map(Spanned::into_inner).collect();
        for id in &raw.sometimes {
            self.known(f, id, "step in the order", &order);
        }
        if !self.broken.contains(f) && !ids.iter().any(|id| id == "stop") {
            self.whole(
                f,
                "A whole launch is described, but there is no step \"stop\"",
                "Add a [[step]] with the id \"stop\": anybody may call it at any time.",
            );
        }
        Launch {
            order,
            sometimes: raw.sometimes.into_iter().map(Spanned::into_inner).collect(),
            no_answer: self.words(f, &raw.no_answer),
        }
    }

    fn hazards(&mut self, raw: Vec<raw::RawHazard>, steps: &[Step]) -> Vec<Hazard> {
        let f = "steps.toml";
        let ids: Vec<String> = steps.iter().map(|s| s.id.clone()).collect();
        self.unique(f, "The hazard", raw.iter().map(|h| &h.id));
        raw.into_iter()
            .map(|h| {
                for id in &h.during {
                    self.known(f, id, "step", &ids);
                    let by_hand = steps.iter().any(|s| &s.id == id.get_ref() && s.by == By::Hand);
                    if by_hand {
                        self.at(
                            f,
                            &id.span(),
                            "A hazard in the air is no matter of words",
                            "Hazards belong to steps at the launch point; what is done in the air your instructor teaches.",
                        );
                    }
                }
                self.no_braces(f, &h.scene);
                Hazard {
                    sound: self.sound(f, h.sound.as_ref(), h.clip),
                    scene: self.words(f, &h.scene),
                    id: h.id.into_inner(),
                    label: h.label.into_inner(),
                    during: h.during.into_iter().map(Spanned::into_inner).collect(),
                }
            })
            .collect()
    }

    /// The parts of the briefing. Each is an element too, so that a step can ask for it.
    fn eventualities(
        &mut self,
        raw: &[raw::RawEventuality],
        elements: &mut BTreeMap<String, Element>,
    ) -> Vec<Eventuality> {
        let b = BRIEFING;
        self.unique(b, "The eventuality", raw.iter().map(|x| &x.id));
        raw.iter()
            .map(|r| {
                let id = r.id.get_ref().clone();
                let wording = Wording {
                    id: id.clone(),
                    taught: self.words(b, &r.taught),
                    understood: r.understood.iter().map(|t| self.words(b, t)).collect(),
                    scene: None,
                };
                if elements.contains_key(&id) {
                    self.at(
                        b,
                        &r.id.span(),
                        format!("\"{id}\" is an element of words.toml already"),
                        "Give the eventuality a name of its own.",
                    );
                }
                let label = r.label.get_ref().clone();
                elements.insert(
                    id.clone(),
                    Element {
                        id,
                        label: label.clone(),
                        why: r.why.clone().unwrap_or_default(),
                        values: vec![wording.clone()],
                        incomplete: Vec::new(),
                        other: Vec::new(),
                        negated: Vec::new(),
                    },
                );
                Eventuality { wording, label }
            })
            .collect()
    }
}
