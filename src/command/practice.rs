//! Words for what the plan says, in the terminal.

use super::Failure;
use crate::call::Situation;
use crate::plan::{DealReason, Item, Level, Today, callsign_pattern};
use crate::site::words::capital;
use crate::site::{Callsign, Direction, Site};

/// A level's name, as a value of an option.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum LevelChoice {
    /// By the student's record
    Record,
    /// Callsign, crew and cable in writing
    Written,
    /// Only what is seen at the launch point
    LaunchPoint,
    /// The same, with others on the frequency, hiss and hurry
    BusyField,
}

impl LevelChoice {
    /// The level; `None` for the one by the record.
    pub fn level(self) -> Option<Level> {
        match self {
            Self::Record => None,
            Self::Written => Some(Level::Written),
            Self::LaunchPoint => Some(Level::LaunchPoint),
            Self::BusyField => Some(Level::BusyField),
        }
    }
}

/// A level's name in a sentence.
pub fn level(level: Level) -> &'static str {
    match level {
        Level::WithWords => "with the words",
        Level::FirstLetters => "first letters",
        Level::Written => "written",
        Level::LaunchPoint => "launch point",
        Level::BusyField => "busy field",
    }
}

/// An item in words.
pub fn item(site: &Site, item: &Item) -> String {
    let label = |element: &str| {
        site.elements
            .get(element)
            .map_or(element.to_owned(), |e| e.label.clone())
    };
    let title = |step: &str| site.step(step).map_or(step.to_owned(), |s| s.title.clone());
    match item {
        Item::Step { step } => title(step),
        Item::Element { step, element } => format!("{} in {}", label(element), title(step)),
        Item::Value { element, value } => format!("{} {value}", label(element)),
        Item::Pattern { pattern } => {
            let like = |c: &&Callsign| callsign_pattern(c) == *pattern;
            let mut fleet = site.fleet.iter().map(|a| &a.registration);
            let example = fleet.find(like).map_or(pattern.clone(), ToString::to_string);
            format!("callsigns like {example}")
        }
        Item::Pair { element, one, other } => format!("{} {one} or {other}", label(element)),
    }
}

/// Why a situation was dealt.
pub fn reason(site: &Site, reason: &DealReason) -> String {
    match reason {
        DealReason::Due(i) => format!("Due again: {}.", item(site, i)),
        DealReason::New(i) => format!("Not practised yet: {}.", item(site, i)),
        DealReason::Errs(i) => format!("Not steady yet: {}.", item(site, i)),
        DealReason::Keep(i) => format!("Nothing is due; kept fresh: {}.", item(site, i)),
    }
}

/// What is left for today.
pub fn today(today: &Today) -> String {
    if today.due.is_empty() && today.new.is_empty() {
        "Nothing more is due today.".to_owned()
    } else if today.due.is_empty() {
        format!("Nothing is due today; {} not practised yet.", today.new.len())
    } else {
        let minutes = (today.seconds / 60.0).ceil().max(1.0);
        let calls = if today.calls == 1 { "call" } else { "calls" };
        format!(
            "Due today: {}, about {minutes} min in {} {calls}; not practised yet: {}.",
            today.due.len(),
            today.calls,
            today.new.len()
        )
    }
}

/// The launch direction of the `number`th turn of a session: it changes as a day's wind does, after some turns. `first`: where the
/// session begins, any number.
pub fn direction(site: &Site, first: u32, number: u32) -> Option<&Direction> {
    /// Turns until the direction changes.
    const TURNS: u32 = 4;
    let n = u32::try_from(site.directions.len()).ok()?;
    let at = (first % n.max(1) + number.saturating_sub(1) / TURNS).checked_rem(n)?;
    site.directions.get(at as usize)
}

/// A direction by its id.
pub fn direction_called<'s>(site: &'s Site, id: &str) -> Result<&'s Direction, Failure> {
    site.directions.iter().find(|d| d.id == id).ok_or_else(|| {
        let known: Vec<&str> = site.directions.iter().map(|d| d.id.as_str()).collect();
        format!(
            "the site {} has no direction \"{id}\"; it has: {}",
            site.id,
            known.join(", ")
        )
        .into()
    })
}

/// A situation as it is seen at the launch point.
pub fn scene(site: &Site, situation: &Situation, direction: Option<&Direction>) -> String {
    let crew = match situation.crew {
        1 => "You are alone in the glider.".to_owned(),
        n => format!("{n} people sit in the glider."),
    };
    // A competition sign stands on the fin, whoever must say it reads it there.
    let aircraft = site.aircraft(&situation.callsign);
    let fin = aircraft
        .and_then(|a| a.competition_sign.as_ref())
        .map_or_else(String::new, |sign| format!(" On the fin: {sign}."));
    let kind = aircraft.map_or_else(String::new, |a| format!(" Type: {}.", a.kind));
    let words = format!("On the panel: {}.{fin}{kind} {crew}", situation.callsign);
    if let Some(direction) = direction {
        let order = &direction.cables_left_to_right;
        if let Some(place) = order.iter().position(|c| *c == situation.cable) {
            let which = match (place, order.len()) {
                (_, 1) => "the only one".to_owned(),
                (0, _) => "the left one".to_owned(),
                (p, n) if p + 1 == n => "the right one".to_owned(),
                (p, _) => format!("number {} from the left", p + 1),
            };
            let direction = capital(&direction.name);
            return format!("{words} {direction}: facing the winch, your cable is {which}.");
        }
    }
    // A site without such an order has only the cable's name.
    format!("{words} Cable {}.", situation.cable)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_scene_does_not_name_the_cable_and_left_swaps_with_the_direction() {
        let (site, _) = crate::folders::load_site("larkmoor", None).unwrap();
        let situation = Situation::new(site.fleet[0].registration.clone(), 2, "north");
        let east = scene(&site, &situation, direction(&site, 0, 1));
        let west = scene(&site, &situation, direction_called(&site, "west").ok());
        assert!(east.contains("east") && east.contains("the left one"), "{east}");
        assert!(west.contains("west") && west.contains("the right one"), "{west}");
        for text in [east, west] {
            assert!(
                !text.contains("north") && text.contains("G-CLRM") && text.contains("2 people"),
                "{text}"
            );
        }
    }

    #[test]
    fn items_have_the_sites_words() {
        let (site, _) = crate::folders::load_site("larkmoor", None).unwrap();
        let pattern = Item::Pattern {
            pattern: "A-9999".into(),
        };
        assert_eq!(item(&site, &pattern), "callsigns like D-4761");
        assert_eq!(
            item(&site, &Item::pair("cable", "south", "north")),
            "Cable north or south"
        );
    }
}
