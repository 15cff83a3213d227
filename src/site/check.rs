//! From the files as written to a [`Site`]: every rule of the site form stands here, with its message.

mod air;
mod around;
mod effects;
mod elements;
mod half;
mod launch;
mod noticed;
mod outside;
mod read;
mod slips;
mod unused;

use super::problem::{Collector, Problem, Problems};
use super::raw::{self, RawElements};
use super::{
    Aircraft, BRIEFING, Callsign, CallsignCustom, Customs, Direction, FILES, Files, Need, Site, Station, Wording,
};
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
/// Characters of a site's id.
const LONGEST_ID: usize = 64;
const NOT_AN_ELEMENT: [&str; 1] = ["asked"];

pub(super) fn check(files: &Files) -> Result<Site, Problems> {
    let mut found = Vec::new();
    let mut broken = BTreeSet::new();
    let there = |name: &str| files.texts.contains_key(name) || files.unreadable.contains_key(name);
    let misnamed: BTreeMap<&str, &str> = files
        .texts
        .keys()
        .filter(|name| !FILES.contains(&name.as_str()) && *name != BRIEFING)
        .filter_map(|name| Some((slips::file_meant(name, there)?, name.as_str())))
        .collect();
    for name in FILES {
        if files.texts.contains_key(name) {
            continue;
        }
        broken.insert(name.to_owned());
        if let Some(why) = files.unreadable.get(name) {
            found.push(Problem {
                file: name.to_owned(),
                line: None,
                wrong: format!("The file cannot be read: {why}"),
                right: "Make it readable, as UTF-8 text.".to_owned(),
            });
        } else if !misnamed.contains_key(name) {
            found.push(Problem {
                file: name.to_owned(),
                line: None,
                wrong: "The file is missing".to_owned(),
                right: "Every site needs it; `cableside site new` writes one to start from.".to_owned(),
            });
        }
    }
    let mut tables = BTreeMap::new();
    for (name, text) in &files.texts {
        if !FILES.contains(&name.as_str()) && name != BRIEFING {
            found.push(Problem {
                file: name.clone(),
                line: None,
                wrong: "The program does not know this file".to_owned(),
                right: misnamed.iter().find(|(_, is)| *is == name).map_or_else(
                    || format!("A site has {} and may have {BRIEFING}.", FILES.join(", ")),
                    |(meant, _)| format!("Was {meant} meant? That is missing: rename the file."),
                ),
            });
            continue;
        }
        if text.trim_start_matches('\u{feff}').trim().is_empty() {
            found.push(Problem {
                file: name.clone(),
                line: None,
                wrong: "There is nothing in the file".to_owned(),
                right: "A full disk leaves such files behind: where the site came with the program or in an archive, make room and unpack that again."
                    .to_owned(),
            });
            broken.insert(name.clone());
            continue;
        }
        let (table, errors) = DeTable::parse_recoverable(text);
        let mut c = Collector {
            file: name,
            text,
            found: &mut found,
        };
        for e in &errors {
            // The hint looks at the whole line, and a file may be a single one: what nobody reads must cost nothing.
            if c.full() {
                break;
            }
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

type Tables<'t> = BTreeMap<&'t str, DeTable<'t>>;

impl Builder<'_> {
    #[allow(
        clippy::too_many_lines,
        reason = "one rule after the other, in the order of the files"
    )]
    fn build(&mut self, tables: &mut Tables) -> Option<Site> {
        let s = "site.toml";
        self.misnamed_tables(tables);
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
        let failures: Vec<raw::RawFailure> = self.list(tables, "steps.toml", "failure", false);
        let halts: Vec<raw::RawHalt> = self.list(tables, "steps.toml", "halt", false);
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
                address: Wording::plain(
                    r.id.get_ref(),
                    self.words(s, &r.address),
                    r.understood.iter().map(|t| self.words(s, t)).collect(),
                ),
            })
            .collect();
        let winches = self.winches(&cables, &stations);
        let cables: Vec<Wording> = cables
            .iter()
            .map(|r| {
                Wording::plain(
                    r.id.get_ref(),
                    self.words(s, &r.taught),
                    r.understood.iter().map(|t| self.words(s, t)).collect(),
                )
            })
            .collect();
        for d in &directions {
            self.unique(s, "The cable", d.cables_left_to_right.iter());
            // A cable that could not be taken in is told already.
            if self.broken.contains(s) {
                continue;
            }
            let names: Vec<&str> = cables.iter().map(|c| c.id.as_str()).collect();
            let wrong = d
                .cables_left_to_right
                .iter()
                .filter(|c| !names.contains(&c.get_ref().as_str()));
            let wrong: Vec<_> = wrong.collect();
            for c in &wrong {
                self.missing(s, c, "cable", &names, "There are");
            }
            if wrong.is_empty() && d.cables_left_to_right.len() < cables.len() {
                self.at(
                    s,
                    &d.id.span(),
                    format!("The direction \"{}\" does not have every cable", d.id.get_ref()),
                    "List each cable once, from left to right as seen facing the winch.",
                );
            }
        }
        if directions.len() > 1 && directions.iter().filter(|d| d.usual).count() != 1 {
            let line = self.line_of(s, directions[0].id.get_ref());
            let wrong = "Which direction is the usual one is not said, or said of several".to_owned();
            self.notice(
                s,
                line,
                wrong,
                "Write usual = true at one of them; now the first comes first.",
            );
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
        let signals = self.signals(signals);
        let fleet = self.fleet(fleet);
        let language = head.as_ref().map(|h| h.language);
        let mut elements = self.checked_elements(&elements, &stations, &cables, &fleet, language);
        let eventualities = self.eventualities(&eventualities, &mut elements);
        let kinds: BTreeSet<&str> = fleet.iter().map(|a| a.kind.as_str()).collect();
        self.types(&elements, &kinds);
        let steps = self.steps(steps, &elements, &stations, &signals);
        self.other_meanings(&elements, &steps, head.as_ref().map(|h| h.language));
        let launch = launch.map(|l| self.launch(l, &steps));
        let hazards = self.hazards(hazards, &steps);
        let interruptions = self.interruptions(interruptions, &steps);
        let roles = self.roles(roles);
        let bands = self.bands(bands);
        let failures = self.failures(failures, &steps, &elements, &bands);
        self.first_cables(&elements, &cables);
        let halts = self.halts(halts, &steps, launch.as_ref(), &elements);
        self.by_direction(&elements, &directions);
        if let Some(customs) = &customs {
            self.effects(customs, &elements, &steps, &fleet);
        }

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
        if id.len() > LONGEST_ID {
            self.at(
                s,
                &head.id.span(),
                format!("The id has {} characters", id.len()),
                format!("A folder and files are named after it; use at most {LONGEST_ID}."),
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

    /// Which winch has which cable: all of the cables say so, or none.
    fn winches(&mut self, cables: &[raw::RawCable], stations: &[Station]) -> BTreeMap<String, String> {
        let s = "site.toml";
        let said = cables.iter().filter(|c| c.station.is_some()).count();
        for cable in cables {
            match &cable.station {
                Some(station) if !self.broken.contains(s) && !stations.iter().any(|st| st.id == *station.get_ref()) => {
                    let known: Vec<&str> = stations.iter().map(|st| st.id.as_str()).collect();
                    self.missing(s, station, "station", &known, "There are");
                }
                None if said > 0 => self.at(
                    s,
                    &cable.id.span(),
                    format!("Which winch has the cable \"{}\" is not said", cable.id.get_ref()),
                    "Where one cable has a `station`, each has.",
                ),
                _ => {}
            }
        }
        let pair = |c: &raw::RawCable| Some((c.id.get_ref().clone(), c.station.as_ref()?.get_ref().clone()));
        cables.iter().filter_map(pair).collect()
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
