//! What the worker's events add up to: everything the pages show.

use super::notices::Notices;
use super::verdict;
use crate::call::{ElementVerdict, Verdict};
use crate::drill::TurnState;
use crate::logbook::Student;
use crate::site::{Site, Step};
use crate::sound::{DeviceList, Level};
use crate::worker::second::SecondState;
use crate::worker::{Dealt, Ear, Event, Flown, FoundSite, Judged, ModelState, Planned};
use std::collections::{BTreeMap, HashSet};
use std::sync::Arc;
use std::time::Instant;
use uuid::Uuid;

/// Who practises.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Who {
    /// Not chosen yet.
    #[default]
    Open,
    /// Practice without a name.
    Nobody,
    /// A student of the logbook.
    Student(Student),
}

impl Who {
    /// Chosen, and asked about recordings.
    pub fn may_practise(&self) -> bool {
        match self {
            Self::Open => false,
            Self::Nobody => true,
            Self::Student(s) => s.consent.is_some(),
        }
    }
}

/// What is shown.
#[derive(Debug)]
pub struct Shown {
    /// Sites to choose from.
    pub sites: Vec<FoundSite>,
    /// The site in use.
    pub site: Option<Arc<Site>>,
    /// The speech model.
    pub model: ModelState,
    /// Students to choose from.
    pub students: Vec<Student>,
    /// Who practises.
    pub who: Who,
    /// Devices to choose from, once asked for.
    pub devices: Option<DeviceList>,
    /// The microphone in use.
    pub microphone: Option<String>,
    /// The turn's situation.
    pub dealt: Option<Dealt>,
    /// What the plan says: level, why this turn, what to practise today.
    pub planned: Option<Planned>,
    /// The turn's state.
    pub state: Option<TurnState>,
    /// The microphone's level.
    pub level: Option<Level>,
    /// Since when the student speaks.
    pub since: Option<Instant>,
    /// Something plays.
    pub playing: bool,
    /// The verdicts on the last call of the turn, once they are in the logbook.
    pub judged: Option<Judged>,
    /// What was said in the turn for each element that counts, in the student's own words.
    pub earlier: BTreeMap<String, String>,
    /// Verdicts that are being stored.
    waiting: Option<Judged>,
    /// Attempts held out of the record since the start.
    pub held_out: HashSet<Uuid>,
    /// What the second listener makes of the call it was asked about last.
    pub second: Option<(Uuid, SecondState)>,
    /// The whole launch under way, or its debrief.
    pub launch: Option<Flown>,
    /// Another pilot's call that is listened to.
    pub ear: Option<Ear>,
    /// Attempts stored since the start.
    pub stored: u32,
    /// Messages not closed yet, oldest first.
    pub troubles: Notices,
}

impl Default for Shown {
    fn default() -> Self {
        Self {
            sites: Vec::new(),
            site: None,
            model: ModelState::Loading,
            students: Vec::new(),
            who: Who::Open,
            devices: None,
            microphone: None,
            dealt: None,
            planned: None,
            state: None,
            level: None,
            since: None,
            playing: false,
            judged: None,
            earlier: BTreeMap::new(),
            waiting: None,
            held_out: HashSet::new(),
            second: None,
            launch: None,
            ear: None,
            stored: 0,
            troubles: Notices::default(),
        }
    }
}

impl Shown {
    /// Take an event in.
    pub fn take(&mut self, event: Event) {
        self.troubles.cured_by(&event);
        match event {
            Event::Sites(sites) => self.sites = sites,
            Event::SiteLoaded(site) => {
                self.site = Some(site);
                self.no_turn();
            }
            Event::Model(state) => self.model = state,
            Event::Students(students) => self.students = students,
            Event::Student(student) => {
                self.who = student.map_or(Who::Nobody, Who::Student);
                self.no_turn();
            }
            Event::Devices(list) => self.devices = Some(list),
            Event::Microphone(name) => self.microphone = name,
            Event::Dealt(dealt) => {
                self.no_turn();
                self.dealt = Some(dealt);
            }
            Event::Planned(planned) => self.planned = Some(*planned),
            Event::State(state) => {
                if state != TurnState::Transmitting {
                    self.since = None;
                    self.level = None;
                } else if self.since.is_none() {
                    self.since = Some(Instant::now());
                }
                self.state = Some(state);
            }
            Event::Playing(playing) => self.playing = playing,
            // One that was stopped for another may still tell so.
            Event::Second(attempt, state) => {
                let asked_about = self.second.as_ref().is_some_and(|(of, _)| *of == attempt);
                if asked_about || state == SecondState::Listening {
                    self.second = Some((attempt, state));
                }
            }
            Event::Level(level) => self.level = Some(level),
            // What was seen must not be lost: shown when it is stored, or when the logbook has said that it is not.
            Event::Judged(judged) => self.waiting = Some(*judged),
            Event::Stored(id) => {
                self.stored += 1;
                self.settled(id);
            }
            Event::NotStored(id) => self.settled(id),
            Event::HeldOut { attempt, held: true } => drop(self.held_out.insert(attempt)),
            Event::HeldOut { attempt, held: false } => drop(self.held_out.remove(&attempt)),
            Event::Launch(flown) => {
                if flown.is_some() && self.dealt.is_some() {
                    self.no_turn();
                }
                self.launch = flown.map(|f| *f);
            }
            Event::Ear(ear) => {
                self.no_turn();
                self.ear = Some(*ear);
            }
            // What only one page shows, it takes itself; when attempts are lost at the end, the window is gone.
            Event::Lost { .. }
            | Event::Progress(_)
            | Event::Calls(_)
            | Event::Class(_)
            | Event::Desk(_)
            | Event::Home(_)
            | Event::Office(_)
            | Event::Trial(_)
            | Event::Fetch(_)
            | Event::Recorded { .. }
            | Event::Cancelled => {}
            Event::Trouble(trouble) | Event::NoSuchStudent(trouble) => self.troubles.add(trouble),
        }
    }

    /// Messages that have stood long enough go.
    pub fn expire(&mut self) {
        self.troubles.expire();
    }

    fn settled(&mut self, id: Uuid) {
        if let Some(judged) = self.waiting.take_if(|j| j.id == id) {
            self.remember(&judged);
            self.judged = Some(judged);
        }
    }

    /// A tile of the next attempt shows how its element was said in this one.
    fn remember(&mut self, judged: &Judged) {
        let Some((site, step)) = self.step() else { return };
        let counts = |e: &&ElementVerdict| e.verdict == Verdict::Said && !judged.kept.contains(&e.element);
        let said: Vec<(String, String)> = (judged.judgement.elements.iter().filter(counts))
            .filter_map(|e| Some((e.element.clone(), verdict::on_tile(site, step, judged, e)?)))
            .collect();
        self.earlier.extend(said);
    }

    fn no_turn(&mut self) {
        self.waiting = None;
        self.dealt = None;
        self.ear = None;
        self.state = None;
        self.judged = None;
        self.earlier.clear();
        self.since = None;
        self.level = None;
    }

    /// The site and step of the turn.
    pub fn step(&self) -> Option<(&Site, &Step)> {
        let site = self.site.as_deref()?;
        Some((site, site.step(&self.dealt.as_ref()?.step)?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_message_is_shown_once_and_a_new_turn_clears_the_old_verdicts() {
        let mut shown = Shown::default();
        for _ in 0..3 {
            shown.take(Event::Trouble("No microphone was found.".to_owned().into()));
        }
        assert_eq!(shown.troubles.iter().count(), 1);
        shown.take(Event::State(TurnState::Transmitting));
        let since = shown.since;
        assert!(since.is_some());
        shown.take(Event::State(TurnState::Transmitting));
        assert_eq!(shown.since, since);
        shown.take(Event::State(TurnState::Judging));
        assert!(shown.since.is_none());
        shown.take(Event::Student(None));
        assert_eq!((shown.state, &shown.who), (None, &Who::Nobody));
    }
}
