//! From the files as written to a [`Site`]: every rule of the site form stands here, with its message.

mod air;
mod around;
mod effects;
mod elements;
mod files;
mod half;
mod launch;
mod noticed;
mod outside;
mod place;
mod read;
mod slips;
mod unused;

use super::problem::{Problem, Problems};
use super::raw::{self, RawElements};
use super::{Aircraft, BRIEFING, Callsign, CallsignCustom, Customs, Files, Need, Site};
use std::collections::{BTreeMap, BTreeSet};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

const SPOKEN_FORMS: [&str; 6] = [
    "registration",
    "competition sign",
    "last letters",
    "type",
    "type and competition sign",
    "type and last letters",
];
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
const HEARD: [&str; 11] = [
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
    "telephone",
];
const NOT_AN_ELEMENT: [&str; 1] = ["asked"];

pub(super) fn check(files: &Files) -> Result<Site, Problems> {
    let mut found = Vec::new();
    let mut broken = BTreeSet::new();
    let misnamed = files::misnamed(files);
    files::look_for_all(files, &misnamed, &mut found, &mut broken);
    let mut tables = files::parsed(files, &misnamed, &mut found, &mut broken);
    let mut notices = Vec::new();
    let mut builder = Builder {
        files,
        found: &mut found,
        notices: &mut notices,
        broken,
    };
    let site = builder.build(&mut tables);
    if let Some(site) = &site {
        builder.noticed(site);
    }
    notices.sort_by(|a, b| (&a.file, a.line).cmp(&(&b.file, b.line)));
    found.sort_by(|a, b| (&a.file, a.line).cmp(&(&b.file, b.line)));
    found.dedup();
    match site {
        Some(site) if found.is_empty() => Ok(Site { notices, ..site }),
        _ => Err(Problems {
            folder: files.folder.clone(),
            list: found,
        }),
    }
}

fn one_line(text: &str) -> String {
    text.trim().replace('\n', ", ")
}

fn is_digit(word: &str) -> bool {
    let mut known = super::Language::all();
    word.chars().all(|c| c.is_ascii_digit()) || known.any(|l| super::number::digit(l, word).is_some())
}

struct Builder<'a> {
    files: &'a Files,
    found: &'a mut Vec<Problem>,
    /// What has no effect: told, and no problem.
    notices: &'a mut Vec<Problem>,
    /// Files with something that could not be taken in: what others miss of them may only stand there.
    broken: BTreeSet<String>,
}

/// What the files say, each part in its shape and nothing compared yet.
struct AsWritten {
    head: Option<raw::RawHead>,
    stations: Vec<raw::RawStation>,
    directions: Vec<raw::RawDirection>,
    cables: Vec<raw::RawCable>,
    roles: Vec<raw::RawRole>,
    customs: Option<raw::RawCustoms>,
    signals: Vec<raw::RawSignal>,
    fleet: Vec<raw::RawAircraft>,
    elements: RawElements,
    steps: Vec<raw::RawStep>,
    launch: Option<raw::RawLaunch>,
    hazards: Vec<raw::RawHazard>,
    failures: Vec<raw::RawFailure>,
    halts: Vec<raw::RawHalt>,
    interruptions: Vec<raw::RawInterruption>,
    eventualities: Vec<raw::RawEventuality>,
    bands: Vec<raw::RawBand>,
}

type Tables<'t> = BTreeMap<&'t str, DeTable<'t>>;

impl Builder<'_> {
    /// One rule after the other, in the order of the files.
    fn build(&mut self, tables: &mut Tables) -> Option<Site> {
        let s = "site.toml";
        self.misnamed_tables(tables);
        let written = self.written(tables);
        self.leftovers(tables);

        self.unique(s, "The station", written.stations.iter().map(|x| &x.id));
        self.unique(s, "The direction", written.directions.iter().map(|x| &x.id));
        self.unique(s, "The cable", written.cables.iter().map(|x| &x.id));
        self.unique("steps.toml", "The step", written.steps.iter().map(|x| &x.id));

        let stations = self.stations(&written.stations);
        let winches = self.winches(&written.cables, &stations);
        let cables = self.cables(&written.cables);
        let directions = self.directions(written.directions, &cables);
        let customs = written.customs.map(|r| self.customs(s, r, &written.elements));
        let signals = self.signals(written.signals);
        let fleet = self.fleet(written.fleet);
        let language = written.head.as_ref().map(|h| h.language);
        let mut elements = self.checked_elements(&written.elements, &stations, &cables, &fleet, language);
        let eventualities = self.eventualities(&written.eventualities, &mut elements);
        let kinds: BTreeSet<&str> = fleet.iter().map(|a| a.kind.as_str()).collect();
        self.types(&elements, &kinds);
        let steps = self.steps(written.steps, &elements, &stations, &signals);
        self.other_meanings(&elements, &steps, language);
        let launch = written.launch.map(|l| self.launch(l, &steps));
        let hazards = self.hazards(written.hazards, &steps);
        let interruptions = self.interruptions(written.interruptions, &steps);
        let roles = self.roles(written.roles);
        let bands = self.bands(written.bands);
        let failures = self.failures(written.failures, &steps, &elements, &bands);
        self.first_cables(&elements, &cables);
        let halts = self.halts(written.halts, &steps, launch.as_ref(), &elements);
        self.by_direction(&elements, &directions);
        if let Some(customs) = &customs {
            self.effects(customs, &elements, &steps, &fleet);
        }

        let head = written.head?;
        let rules_date = self.head(&head);
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
            winches,
            customs: customs?,
            signals,
            fleet,
            elements,
            steps,
            launch,
            hazards,
            failures,
            halts,
            interruptions,
            eventualities,
            bands,
            notices: Vec::new(),
        })
    }

    /// Takes everything out of the tables that the program knows.
    fn written(&mut self, tables: &mut Tables) -> AsWritten {
        let (s, f) = ("site.toml", "steps.toml");
        AsWritten {
            head: self.section(tables, s, "site", true),
            stations: self.list(tables, s, "station", true),
            directions: self.list(tables, s, "direction", true),
            cables: self.list(tables, s, "cable", true),
            roles: self.list(tables, s, "role", false),
            customs: self.section(tables, s, "customs", true),
            signals: self.list(tables, s, "signal", false),
            fleet: self.list(tables, "fleet.toml", "aircraft", true),
            elements: self.elements(tables),
            steps: self.list(tables, f, "step", true),
            launch: self.section(tables, f, "launch", false),
            hazards: self.list(tables, f, "hazard", false),
            failures: self.list(tables, f, "failure", false),
            halts: self.list(tables, f, "halt", false),
            interruptions: self.list(tables, f, "interruption", false),
            eventualities: self.list(tables, BRIEFING, "eventuality", false),
            bands: self.list(tables, BRIEFING, "height_band", false),
        }
    }

    fn customs(&mut self, s: &str, r: raw::RawCustoms, elements: &RawElements) -> Customs {
        for e in &r.readback_by_winch {
            if !self.broken.contains("words.toml") && !elements.contains_key(e.get_ref()) {
                let known: Vec<&str> = elements.keys().map(String::as_str).collect();
                self.missing(s, e, "element", &known, "words.toml has");
            }
        }
        let speakers = ["pilot", "signaller", "wing runner", "controller"];
        let callsign = self.one_of(s, &r.callsign, &["full", "short after contact"]);
        let pairs = self.one_of(s, &r.number_pairs_in_callsign, &["advice", "forbidden"]);
        for (field, text) in [("calls_winch", &r.calls_winch), ("says_slack_out", &r.says_slack_out)] {
            if let Some(text) = text {
                self.one_of(s, text, &speakers);
                let instead = "Who speaks is said in each step (`speaker`); the field may go.";
                self.no_effect(s, &text.span(), field, instead);
            }
        }
        if let Some(n) = &r.slack_out_times {
            self.range(s, n, 1..=5);
            let instead = "Write `times` at the element whose words are said more than once; the field may go.";
            self.no_effect(s, &n.span(), "slack_out_times", instead);
        }
        if let Some(n) = &r.stop_times {
            self.range(s, n, 1..=5);
            let instead = "The words taught for stop say how often; one is enough. The field may go.";
            self.no_effect(s, &n.span(), "stop_times", instead);
        }
        Customs {
            callsign: if callsign == "full" {
                CallsignCustom::Full
            } else {
                CallsignCustom::ShortAfterContact
            },
            number_pairs_forbidden: pairs == "forbidden",
            type_in_ready_call: r.type_in_ready_call.map(|need| match need.get_ref() {
                raw::RawNeed::Never => Need::Never,
                raw::RawNeed::Optional => Need::Optional,
                raw::RawNeed::Required => Need::Required,
            }),
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
}
