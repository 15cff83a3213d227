//! The log keeper's ear: launches are heard on the frequency, and what belongs into the log is written down: the time, the glider,
//! its crew and the cable. What is only said and then stopped is no launch, and what was corrected counts as it was corrected.

use super::deal::{another_value, below, deal};
use crate::call::{Situation, words};
use crate::site::words::capital;
use crate::site::{By, Callsign, Need, Purpose, Site, Step, fill, without};
use serde::{Deserialize, Serialize};

/// A column of the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Column {
    /// When the glider began to move.
    Time,
    /// Which glider.
    Glider,
    /// How many on board.
    Crew,
    /// Which cable.
    Cable,
}

impl Column {
    /// Every column, in the log's order.
    pub const ALL: [Self; 4] = [Self::Time, Self::Glider, Self::Crew, Self::Cable];

    /// Its name in the site's language.
    pub fn text(self, site: &Site) -> String {
        let key = match self {
            Self::Time => "log.time",
            Self::Glider => "log.glider",
            Self::Crew => "log.crew",
            Self::Cable => "log.cable",
        };
        site.language.text(key, &[])
    }
}

/// Something that the log keeper hears or sees, and when.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heard {
    /// Minutes of the day.
    pub at: u16,
    /// Who speaks; `None` for what is seen.
    pub role: Option<String>,
    /// The words, or what is seen.
    pub text: String,
    /// Over the radio.
    pub radio: bool,
}

/// What was heard, and the line of the log that belongs to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Task {
    /// What was dealt.
    pub situation: Situation,
    /// What is heard, in its order.
    pub heard: Vec<Heard>,
    /// When the glider began to move; `None` where it was stopped before.
    pub launched: Option<u16>,
}

/// A column of what was written, judged.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Judged {
    /// Which column.
    pub column: Column,
    /// As it was written.
    pub written: String,
    /// As it should stand there; empty where nothing belongs into the log.
    pub right: String,
    /// Is it right?
    pub good: bool,
}

/// So many minutes more or fewer are no mistake: whoever writes looks at the clock a moment later. No source.
const MINUTES: u16 = 1;
/// Minutes between two launches: a well-drilled field makes one in about four. Common practice, no source.
const BETWEEN: (u16, u16) = (3, 7);

/// A time of the day as it is written.
pub fn clock(minutes: u16) -> String {
    format!("{:02}:{:02}", minutes / 60 % 24, minutes % 60)
}

/// Minutes of the day in a time as people write it ("14:07", "1407", "14.07").
pub fn minutes(text: &str) -> Option<u16> {
    let parts: Vec<&str> = text.trim().split([':', '.', ' ']).filter(|p| !p.is_empty()).collect();
    let (hours, minutes) = match parts.as_slice() {
        [hours, minutes] => (*hours, *minutes),
        [both] if both.is_ascii() && (3..=4).contains(&both.len()) => both.split_at(both.len() - 2),
        _ => return None,
    };
    let (hours, minutes): (u16, u16) = (hours.parse().ok()?, minutes.parse().ok()?);
    (hours < 24 && minutes < 60).then_some(60 * hours + minutes)
}

/// The glider that somebody writes down: its registration, or any name by which only one of the fleet is called.
fn glider(site: &Site, text: &str) -> Option<Callsign> {
    let written = Callsign::parse(text).ok();
    if let Some(known) = site.fleet.iter().find(|a| Some(&a.registration) == written.as_ref()) {
        return Some(known.registration.clone());
    }
    let step = site.ready_step()?;
    let called = |callsign: &Callsign| {
        let forms = Situation::new(callsign.clone(), 1, "").forms(site, step);
        forms
            .into_iter()
            .any(|form| words::of(&form.join(" ")) == words::of(text))
    };
    let sign = |sign: Option<&String>| {
        let sign = sign.and_then(|s| Callsign::parse(s).ok());
        sign.is_some() && sign == written
    };
    let mut meant = site
        .fleet
        .iter()
        .filter(|a| called(&a.registration) || sign(a.competition_sign.as_ref()));
    let first = meant.next()?;
    meant.next().is_none().then(|| first.registration.clone())
}

/// The value that somebody writes down for an element: its id, or any of its words.
fn value(site: &Site, purpose: Purpose, text: &str) -> Option<String> {
    let element = site.element_for(purpose)?;
    let written = words::of(text);
    let means = |text: &String| words::of(text) == written;
    let found = element.values.iter().find(|v| means(&v.id) || v.texts().any(means));
    found.map(|v| v.id.clone())
}

/// Deal what is heard of one launch. `now`: the minute of the day, which goes on.
pub fn deal_log(
    site: &Site,
    now: &mut u16,
    before: Option<&Situation>,
    random: &mut impl FnMut() -> u32,
) -> Option<Task> {
    let situation = deal(site, before, random)?;
    let order = &site.launch.as_ref()?.order;
    let ready = site.ready_step()?;
    let from = order.iter().position(|id| *id == ready.id)?;
    let sometimes = &site.launch.as_ref()?.sometimes;
    // Until the glider is in the air; what hands are too busy for is nobody's to hear.
    let steps: Vec<&Step> = order[from..]
        .iter()
        .filter(|id| !sometimes.contains(id))
        .filter_map(|id| site.step(id))
        .take_while(|s| s.by != By::Hand)
        .filter(|s| !s.may_be_left_out)
        .collect();
    *now += BETWEEN.0 + below(usize::from(BETWEEN.1 - BETWEEN.0) + 1, random) as u16;
    let slip = below(3, random) == 0;
    let stopped = below(5, random) == 0;
    let mut heard = Vec::new();
    let readback = steps.iter().position(|s| s.readback_of.as_ref() == Some(&ready.id));
    let last = steps.len().saturating_sub(1);
    for (n, step) in steps.iter().enumerate() {
        if stopped && n > 0 && Some(n) != readback && n == last {
            break;
        }
        let at = *now + u16::from(n == last && n > 0);
        if Some(n) == readback && slip {
            misheard(site, &situation, ready, step, at, &mut heard, random);
        } else {
            plain(site, &situation, step, at, &mut heard);
        }
    }
    let launched = (!stopped).then_some(*now + u16::from(last > 0));
    if let Some(stop) = site.stop_step().filter(|_| stopped) {
        heard.push(Heard {
            at: *now + 1,
            role: Some(ready.speaker.clone()),
            text: capital(&situation.taught_call(site, stop)),
            radio: true,
        });
    }
    *now += 1;
    Some(Task {
        situation,
        heard,
        launched,
    })
}

/// A step as it is heard, or seen where it is done by a signal.
fn plain(site: &Site, situation: &Situation, step: &Step, at: u16, heard: &mut Vec<Heard>) {
    let signal = step.signal.as_ref().and_then(|id| site.signal(id));
    heard.push(match signal {
        Some(signal) => Heard {
            at,
            role: None,
            text: signal.text(site, Some(&step.speaker)),
            radio: false,
        },
        None => Heard {
            at,
            role: Some(step.speaker.clone()),
            text: capital(&situation.taught_call(site, step)),
            radio: step.by == By::Radio,
        },
    });
}

/// The winch reads something back wrongly, and is corrected: the correction counts.
fn misheard(
    site: &Site,
    situation: &Situation,
    ready: &Step,
    readback: &Step,
    at: u16,
    heard: &mut Vec<Heard>,
    random: &mut impl FnMut() -> u32,
) {
    let said = |e: &&String| situation.need(site, ready, e) == Need::Required && readback.elements.contains(e);
    let elements: Vec<&String> = site.customs.readback_by_winch.iter().filter(said).collect();
    let element = elements.get(below(elements.len(), random)).copied();
    let other = element.and_then(|e| Some((e, another_value(site, situation, e, random)?)));
    let Some((element, other)) = other else {
        plain(site, situation, readback, at, heard);
        return;
    };
    let mut values = situation.values(site, readback);
    let right = values.insert(element.clone(), other);
    values.retain(|e, _| situation.need(site, readback, e) != Need::Never);
    let template = without(&readback.taught, |name| {
        readback.elements.iter().any(|e| e == name) && !values.contains_key(name)
    });
    let repeated = fill(&template, |name| site.taught_words(name, values.get(name)?));
    let negative = site.language.negatives().iter().max_by_key(|n| n.len());
    let correction = right.and_then(|r| site.taught_words(element, &r)).zip(negative);
    heard.push(Heard {
        at,
        role: Some(readback.speaker.clone()),
        text: capital(&repeated),
        radio: true,
    });
    heard.extend(correction.map(|(words, negative)| Heard {
        at,
        role: Some(ready.speaker.clone()),
        text: capital(&format!("{negative}, {words}.")),
        radio: true,
    }));
}

impl Task {
    /// What belongs into a column; empty where it was no launch.
    pub fn right(&self, site: &Site, column: Column) -> String {
        let Some(at) = self.launched else {
            return String::new();
        };
        match column {
            Column::Time => clock(at),
            Column::Glider => self.situation.callsign.to_string(),
            Column::Crew => self.situation.crew.to_string(),
            Column::Cable => {
                let cables = site.cables.iter();
                let cable = cables.into_iter().find(|c| c.id == self.situation.cable);
                cable.map_or_else(|| self.situation.cable.clone(), |c| c.taught.clone())
            }
        }
    }

    /// Judge a column as it was written.
    pub fn judge(&self, site: &Site, column: Column, written: &str) -> Judged {
        let written = written.trim();
        let good = match (self.launched, column) {
            (None, _) => written.is_empty(),
            (Some(at), Column::Time) => minutes(written).is_some_and(|m| near(m, at)),
            (Some(_), Column::Glider) => glider(site, written).as_ref() == Some(&self.situation.callsign),
            (Some(_), Column::Crew) => value(site, Purpose::Crew, written)
                .unwrap_or_else(|| written.to_owned())
                .eq(&self.situation.crew.to_string()),
            (Some(_), Column::Cable) => value(site, Purpose::Cable, written).as_ref() == Some(&self.situation.cable),
        };
        Judged {
            column,
            written: written.to_owned(),
            right: self.right(site, column),
            good,
        }
    }
}

/// Times of the day, also around midnight.
fn near(one: u16, other: u16) -> bool {
    let apart = (one % DAY).abs_diff(other % DAY);
    apart.min(DAY - apart) <= MINUTES
}

/// Minutes.
const DAY: u16 = 24 * 60;

impl Judged {
    /// The sentence for whoever wrote it, in the site's language.
    pub fn text(&self, site: &Site) -> String {
        let key = match (self.good, self.right.is_empty(), self.written.is_empty()) {
            (true, true, _) => "log.rightly_nothing",
            (true, false, _) => "log.good",
            (false, true, _) => "log.no_launch",
            (false, false, true) => "log.left_out",
            (false, false, false) => "log.wrong",
        };
        let what = self.column.text(site);
        let parts = [
            ("what", what.as_str()),
            ("written", &self.written),
            ("right", &self.right),
        ];
        site.language.text(key, &parts)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::deal::random;
    use crate::site::bundled;

    #[test]
    fn times_are_read_as_people_write_them() {
        for (text, minute) in [
            ("14:07", 847),
            ("1407", 847),
            ("14.07", 847),
            ("9:05", 545),
            ("905", 545),
            (" 00:00 ", 0),
        ] {
            assert_eq!(minutes(text), Some(minute), "{text}");
        }
        for text in ["", "14", "25:00", "14:60", "noon", "14:07:30", "140755", "ä07"] {
            assert_eq!(minutes(text), None, "{text}");
        }
        assert_eq!(clock(847), "14:07");
        assert_eq!(clock(24 * 60 + 5), "00:05", "the day goes on");
    }

    /// Whoever writes what was said has it right, at every site; another value is wrong in its own column alone.
    #[test]
    fn the_log_is_judged_column_by_column() {
        for name in bundled::NAMES {
            let site = Site::check(&bundled::files(name).unwrap()).unwrap();
            let (mut now, mut before, mut random) = (600, None, random(4));
            let (mut launches, mut stopped, mut corrected) = (0, 0, 0);
            for _ in 0..200 {
                let was = now;
                let task = deal_log(&site, &mut now, before.as_ref(), &mut random).unwrap();
                assert!(now > was && !task.heard.is_empty());
                let times: Vec<u16> = task.heard.iter().map(|h| h.at).collect();
                assert!(times.is_sorted() && times[0] > was, "{name}: {times:?}");
                let negative = site.language.negatives()[0].as_str();
                let corrects = |h: &Heard| h.text.to_lowercase().starts_with(negative);
                corrected += usize::from(task.heard.iter().any(corrects));
                let right = Column::ALL.map(|c| task.right(&site, c));
                for (n, column) in Column::ALL.into_iter().enumerate() {
                    assert!(
                        task.judge(&site, column, &right[n]).good,
                        "{name}: {column:?} {right:?}"
                    );
                    let wrong = match column {
                        Column::Time => clock(now + 5),
                        Column::Glider => {
                            let other = site.fleet.iter().find(|a| a.registration != task.situation.callsign);
                            other.unwrap().registration.to_string()
                        }
                        Column::Crew => (3 - task.situation.crew).to_string(),
                        Column::Cable => {
                            let other = site.cables.iter().find(|c| c.id != task.situation.cable);
                            other.unwrap().taught.clone()
                        }
                    };
                    let judged = task.judge(&site, column, &wrong);
                    assert!(!judged.good, "{name}: {column:?} {wrong}");
                    assert!(
                        judged.text(&site).contains(&column.text(&site)),
                        "{}",
                        judged.text(&site)
                    );
                    assert_eq!(task.judge(&site, column, "").good, task.launched.is_none());
                }
                match task.launched {
                    Some(at) => {
                        launches += 1;
                        assert_eq!(task.heard.last().unwrap().at, at, "{name}");
                        for late in [at - 1, at + 1] {
                            assert!(task.judge(&site, Column::Time, &clock(late)).good);
                        }
                        assert!(!task.judge(&site, Column::Time, &clock(at + 2)).good);
                        // By any name that only this one has.
                        let step = site.ready_step().unwrap();
                        let form = task.situation.forms(&site, step).swap_remove(0).join(" ");
                        assert!(task.judge(&site, Column::Glider, &form).good, "{name}: {form}");
                    }
                    None => stopped += 1,
                }
                before = Some(task.situation);
            }
            assert!(
                launches > 100 && stopped > 15 && corrected > 20,
                "{name}: {launches} {stopped} {corrected}"
            );
        }
    }
}
