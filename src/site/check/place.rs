//! The place: the site's head, its stations, cables and winches, the directions of launch.

use super::Builder;
use crate::site::raw;
use crate::site::{Direction, Station, Wording};
use std::collections::BTreeMap;
use toml::Spanned;

/// Characters of a site's id.
const LONGEST_ID: usize = 64;
/// Characters of a site's name: two lines of a wall sheet.
const LONGEST_NAME: usize = 100;

const FILE: &str = "site.toml";

impl Builder<'_> {
    pub(super) fn stations(&mut self, raw: &[raw::RawStation]) -> Vec<Station> {
        let station = |r: &raw::RawStation| Station {
            id: r.id.get_ref().clone(),
            name: r.name.get_ref().clone(),
            address: Wording::plain(
                r.id.get_ref(),
                self.words(FILE, &r.address),
                r.understood.iter().map(|t| self.words(FILE, t)).collect(),
            ),
        };
        raw.iter().map(station).collect()
    }

    pub(super) fn cables(&mut self, raw: &[raw::RawCable]) -> Vec<Wording> {
        let cable = |r: &raw::RawCable| {
            Wording::plain(
                r.id.get_ref(),
                self.words(FILE, &r.taught),
                r.understood.iter().map(|t| self.words(FILE, t)).collect(),
            )
        };
        raw.iter().map(cable).collect()
    }

    /// Which winch has which cable: all of the cables say so, or none.
    pub(super) fn winches(&mut self, cables: &[raw::RawCable], stations: &[Station]) -> BTreeMap<String, String> {
        let said = cables.iter().filter(|c| c.station.is_some()).count();
        for cable in cables {
            match &cable.station {
                Some(station)
                    if !self.broken.contains(FILE) && !stations.iter().any(|st| st.id == *station.get_ref()) =>
                {
                    let known: Vec<&str> = stations.iter().map(|st| st.id.as_str()).collect();
                    self.missing(FILE, station, "station", &known, "There are");
                }
                None if said > 0 => self.at(
                    FILE,
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

    /// The directions of launch, the usual one first.
    pub(super) fn directions(&mut self, raw: Vec<raw::RawDirection>, cables: &[Wording]) -> Vec<(bool, Direction)> {
        for direction in &raw {
            self.cables_of_direction(direction, cables);
        }
        if raw.len() > 1 && raw.iter().filter(|d| d.usual).count() != 1 {
            let line = self.line_of(FILE, raw[0].id.get_ref());
            let wrong = "Which direction is the usual one is not said, or said of several".to_owned();
            self.notice(
                FILE,
                line,
                wrong,
                "Write usual = true at one of them; now the first comes first.",
            );
        }
        let mut directions: Vec<(bool, Direction)> = raw
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
        directions
    }

    /// A direction has every cable, each once.
    fn cables_of_direction(&mut self, d: &raw::RawDirection, cables: &[Wording]) {
        self.unique(FILE, "The cable", d.cables_left_to_right.iter());
        // A cable that could not be taken in is told already.
        if self.broken.contains(FILE) {
            return;
        }
        let names: Vec<&str> = cables.iter().map(|c| c.id.as_str()).collect();
        let wrong = d
            .cables_left_to_right
            .iter()
            .filter(|c| !names.contains(&c.get_ref().as_str()));
        let wrong: Vec<_> = wrong.collect();
        for c in &wrong {
            self.missing(FILE, c, "cable", &names, "There are");
        }
        if wrong.is_empty() && d.cables_left_to_right.len() < cables.len() {
            self.at(
                FILE,
                &d.id.span(),
                format!("The direction \"{}\" does not have every cable", d.id.get_ref()),
                "List each cable once, from left to right as seen facing the winch.",
            );
        }
    }

    /// What the site says of itself. Gives the day of its rules.
    pub(super) fn head(&mut self, head: &raw::RawHead) -> String {
        let id = head.id.get_ref();
        let good = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        if id.is_empty() || !id.chars().all(good) {
            self.at(
                FILE,
                &head.id.span(),
                format!("The id \"{id}\" has characters that file names cannot share everywhere"),
                "Use lower-case letters, digits and hyphens.",
            );
        }
        if id.len() > LONGEST_ID {
            self.at(
                FILE,
                &head.id.span(),
                format!("The id has {} characters", id.len()),
                format!("A folder and files are named after it; use at most {LONGEST_ID}."),
            );
        }
        let long = head.name.get_ref().chars().count();
        if long > LONGEST_NAME {
            self.at(
                FILE,
                &head.name.span(),
                format!("The name has {long} characters"),
                format!("It stands on every page and sheet; use at most {LONGEST_NAME}."),
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
                FILE,
                &head.rules_date.span(),
                "The rules' date has no day",
                "Write a date such as 2026-11-01, without quotes.",
            );
        }
        if head.caution.get_ref().trim().is_empty() {
            self.at(
                FILE,
                &head.caution.span(),
                "The caution is empty",
                "Say that site rules, the instructor and national rules come first.",
            );
        }
        rules_date
    }
}
