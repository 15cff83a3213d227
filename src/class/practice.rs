//! A practice file: calls dealt beforehand to one student, with the key that seals the results.

use super::key::{Key, Secret, digest, from_hex, hex};
use crate::call::Situation;
use crate::drill;
use crate::site::{Files, Site};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Calls in a practice at most.
pub const MOST_CALLS: usize = 500;
/// Bytes of the site's texts in a practice at most; those of the sites that ship have 25 kB.
pub const LARGEST_SITE: usize = 1_000_000;
/// Bytes of a practice file at most: 500 calls take about 60 kB, and a text grows a little as JSON.
const LARGEST: usize = 3 * LARGEST_SITE;
const FORM: &str = "cableside practice";

/// What one student is to practise.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Practice {
    /// Globally unique.
    pub id: Uuid,
    /// The class's name.
    pub class: String,
    /// The student's id in the class's logbook.
    pub student: Uuid,
    /// The student's name there.
    pub name: String,
    /// The site's id.
    pub site: String,
    /// The version of its phrases.
    pub site_version: String,
    /// The day it was handed out.
    pub date: Date,
    /// What the calls were dealt from.
    pub seed: u64,
    /// The steps that were asked for. (Not in practices handed out by the first version.)
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub steps: Vec<String>,
    /// The calls, in order.
    pub calls: Vec<PracticeCall>,
    /// The site's text files by name, so that a computer without the site can deal the calls. Recorded prompts are not
    /// among them; what they say is synthesised. (Not in practices handed out by the first version.)
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub phrases: BTreeMap<String, String>,
}

/// One call.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PracticeCall {
    /// The step's id.
    pub step: String,
    /// What a right call must carry.
    pub situation: Situation,
}

/// A practice with its key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandOut {
    /// What is to be practised.
    pub practice: Practice,
    /// Seals the results.
    pub key: Key,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    form: String,
    version: u32,
    practice: Practice,
    key: String,
    /// Tells damage on the way from what was meant; see [`HandOut::parse`].
    code: String,
}

/// Why a practice cannot be made or read.
#[derive(Debug, thiserror::Error)]
pub enum PracticeError {
    /// The site has no such step.
    #[error("the site has no call \"{0}\"; it has: {1}")]
    NoSuchStep(String, String),
    /// Too many or too few calls.
    #[error("a practice has 1 to {MOST_CALLS} calls, not {0}")]
    Count(usize),
    /// The site has no aircraft or no cable.
    #[error("the site has no aircraft or no cable to deal")]
    NothingToDeal,
    /// The file is something else.
    #[error("this is no practice file ({0}); ask your instructor for the file again")]
    NotAPractice(String),
    /// It was changed or damaged.
    #[error("this practice file was changed or damaged on the way; ask your instructor for it again")]
    Changed,
    /// Another version of the site.
    #[error(
        "this practice was made with version {wanted} of the site {site}, and here it is version {here}: take over the club's \
         phrases first"
    )]
    OtherVersion {
        /// The site.
        site: String,
        /// Made with.
        wanted: String,
        /// Found here.
        here: String,
    },
}

impl Practice {
    /// Deal the calls: steps by turns in random order, never the same situation twice in a row. `random` gives uniform
    /// numbers over the whole range of `u32`.
    pub fn deal(
        site: &Site,
        steps: &[String],
        count: usize,
        random: &mut impl FnMut() -> u32,
    ) -> Result<Vec<PracticeCall>, PracticeError> {
        if !(1..=MOST_CALLS).contains(&count) {
            return Err(PracticeError::Count(count));
        }
        for id in steps {
            if !site.steps.iter().any(|s| s.id == *id && s.by.has_words()) {
                let spoken = site.steps.iter().filter(|s| s.by.has_words());
                let known: Vec<&str> = spoken.map(|s| s.id.as_str()).collect();
                return Err(PracticeError::NoSuchStep(id.clone(), known.join(", ")));
            }
        }
        let mut calls: Vec<PracticeCall> = Vec::with_capacity(count);
        let mut bag: Vec<&String> = Vec::new();
        while calls.len() < count {
            if bag.is_empty() {
                bag.extend(steps);
            }
            if bag.is_empty() {
                return Err(PracticeError::NoSuchStep(String::new(), String::new()));
            }
            let place = (u64::from(random()) * bag.len() as u64) >> 32;
            let id = bag.swap_remove(place as usize);
            let before = calls.last().map(|c| &c.situation);
            let mut situation = drill::deal(site, before, random).ok_or(PracticeError::NothingToDeal)?;
            // Only what this step has a part for belongs to it.
            let elements = site.step(id).map(|s| s.elements.as_slice()).unwrap_or_default();
            situation.more.retain(|element, _| elements.contains(element));
            calls.push(PracticeCall {
                step: id.clone(),
                situation,
            });
        }
        Ok(calls)
    }

    /// Its bytes, always the same for the same practice: what digest and seal speak of.
    pub fn bytes(&self) -> Vec<u8> {
        // Texts and numbers only: this cannot fail.
        serde_json::to_vec(self).unwrap_or_default()
    }

    /// SHA-256 of its bytes.
    pub fn digest(&self) -> [u8; 32] {
        digest(&self.bytes())
    }

    /// The turn's id for a call by number from 0: the same on every computer, so that practice goes on where it stopped
    /// and nothing is taken twice.
    pub fn turn(&self, call: usize) -> Uuid {
        let all = digest(format!("cableside turn 1\n{}\n{call}", self.id).as_bytes());
        let mut half = [0; 16];
        half.copy_from_slice(&all[..16]);
        uuid::Builder::from_random_bytes(half).into_uuid()
    }

    /// The site that came with it, checked; `None` where none did.
    pub fn site_inside(&self) -> Result<Option<Site>, PracticeError> {
        if self.phrases.is_empty() {
            return Ok(None);
        }
        let files = Files {
            folder: "the practice".to_owned(),
            texts: self.phrases.clone(),
            ..Files::default()
        };
        // Names are looked at too: a file that no site has is a problem.
        let site = Site::check(&files).map_err(|_| PracticeError::Changed)?;
        self.check(&site)?;
        Ok(Some(site))
    }

    /// Can it be practised at this site?
    pub fn check(&self, site: &Site) -> Result<(), PracticeError> {
        if site.id != self.site || site.version != self.site_version {
            return Err(PracticeError::OtherVersion {
                site: self.site.clone(),
                wanted: self.site_version.clone(),
                here: format!("{} {}", site.id, site.version),
            });
        }
        let fits = |c: &PracticeCall| site.step(&c.step).is_some() && c.situation.check(site).is_ok();
        if self.calls.iter().all(fits) {
            Ok(())
        } else {
            Err(PracticeError::Changed)
        }
    }
}

impl HandOut {
    /// With the key that follows from the secret.
    pub fn new(practice: Practice, secret: &Secret) -> Self {
        let key = secret.key(&practice.digest());
        Self { practice, key }
    }

    /// The practice file.
    pub fn bytes(&self) -> Vec<u8> {
        let written = Written {
            form: FORM.to_owned(),
            version: if self.practice.phrases.is_empty() { 1 } else { 2 },
            practice: self.practice.clone(),
            key: self.key.text(),
            code: hex(&self.key.code(&[&self.practice.bytes()])),
        };
        // Texts and numbers only: this cannot fail.
        let mut bytes = serde_json::to_vec_pretty(&written).unwrap_or_default();
        bytes.push(b'\n');
        bytes
    }

    /// Read a practice file. What was changed without making a new code is noticed here; the rest by the class's computer.
    pub fn parse(bytes: &[u8]) -> Result<Self, PracticeError> {
        if bytes.len() > LARGEST {
            return Err(PracticeError::NotAPractice(format!("it has {} bytes", bytes.len())));
        }
        let not = |why: String| PracticeError::NotAPractice(why);
        let written: Written = serde_json::from_slice(bytes).map_err(|e| not(e.to_string()))?;
        if written.form != FORM || !matches!(written.version, 1 | 2) {
            return Err(not(format!("its form is \"{}\" {}", written.form, written.version)));
        }
        let (Some(key), Some(code)) = (Key::parse(&written.key), from_hex(&written.code)) else {
            return Err(PracticeError::Changed);
        };
        let size: usize = written.practice.phrases.values().map(String::len).sum();
        // A field that nobody knows is no damage of what is meant, and still it was not written here.
        let as_given: serde_json::Value = serde_json::from_slice(bytes).map_err(|e| not(e.to_string()))?;
        if serde_json::to_value(&written).ok().as_ref() != Some(&as_given)
            || !key.fits(&[&written.practice.bytes()], &code)
            || written.practice.calls.len() > MOST_CALLS
            || size > LARGEST_SITE
        {
            return Err(PracticeError::Changed);
        }
        Ok(Self {
            practice: written.practice,
            key,
        })
    }
}
