//! Dealing situations.

use super::launch::{Course, Pace};
use crate::call::Situation;
use crate::site::{By, Callsign, CallsignCustom, Interruption, Need, Purpose, Site, Step};

/// Deal a situation of a site: an aircraft of the fleet, a crew it has seats for, a cable. Never the one before, as long
/// as the site has more than one. `random` gives uniform numbers over the whole range of `u32`.
pub fn deal(site: &Site, before: Option<&Situation>, random: &mut impl FnMut() -> u32) -> Option<Situation> {
    let all: Vec<Situation> = site
        .fleet
        .iter()
        .flat_map(|a| (1..=a.seats).flat_map(move |crew| site.cables.iter().map(move |c| (a, crew, c))))
        .map(|(a, crew, c)| Situation::new(a.registration.clone(), crew, c.id.clone()))
        .filter(|s| s.check(site).is_ok())
        .collect();
    let same = |s: &Situation, b: &Situation| s.callsign == b.callsign && s.crew == b.crew && s.cable == b.cable;
    let fresh: Vec<&Situation> = all.iter().filter(|s| before.is_none_or(|b| !same(s, b))).collect();
    let from: Vec<&Situation> = if fresh.is_empty() { all.iter().collect() } else { fresh };
    if from.is_empty() {
        return None;
    }
    let place = below(from.len(), random);
    let mut dealt = from.get(place).map(|s| (*s).clone())?;
    dealt.contact = site.customs.callsign == CallsignCustom::ShortAfterContact && below(2, random) == 0;
    let only = site.cables.len() == 1;
    dealt.single = site.customs.cable_may_be_dropped_when_single && (below(2, random) == 0 || only);
    // Where the call itself is the choice (too fast or too slow), the situation makes it.
    for (id, element) in &site.elements {
        if element.is_dealt() {
            let value = &element.values[below(element.values.len(), random)];
            dealt.more.insert(id.clone(), value.id.clone());
        }
    }
    // Which cable goes first on such a day is the site's own rule.
    if let Some(first) = site.first_cable(&dealt.more) {
        dealt.cable.clone_from(first);
        dealt.single = false;
        if before.is_some_and(|b| same(&dealt, b)) {
            let others: Vec<&&Situation> = from.iter().filter(|s| s.cable == *first && !same(s, &dealt)).collect();
            if !others.is_empty() {
                let other = others[below(others.len(), random)];
                dealt.callsign.clone_from(&other.callsign);
                dealt.crew = other.crew;
            }
        }
    }
    if site.direction_matters() {
        let direction = &site.directions[below(site.directions.len(), random)];
        dealt.direction = Some(direction.id.clone());
    }
    Some(dealt)
}

/// Uniform random numbers from a seed (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", 2014:
/// SplitMix64): the same seed gives the same numbers on every platform.
pub fn random(seed: u64) -> impl FnMut() -> u32 {
    let mut state = seed;
    move || {
        state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 32) as u32
    }
}

/// A number from 0 to `count` - 1.
pub(super) fn below(count: usize, random: &mut impl FnMut() -> u32) -> usize {
    ((u64::from(random()) * count as u64) >> 32) as usize
}

/// Deal what is out of the ordinary in a run: about every second run has one thing that must be noticed (a wrong readback,
/// a hazard, a winch that does not answer; unhurried only the first), and steps that are not part of every launch come in one of three. At the usual
/// pace one run in two is interrupted; at a busy field others are on the frequency and every other step is.
pub fn course(site: &Site, situation: &Situation, pace: Pace, random: &mut impl FnMut() -> u32) -> Course {
    let mut course = Course::default();
    let Some(launch) = &site.launch else { return course };
    course.sometimes = launch
        .sometimes
        .iter()
        .filter(|_| below(3, random) == 0)
        .cloned()
        .collect();
    if pace == Pace::Busy {
        course.traffic = launch.order.iter().filter(|_| below(4, random) == 0).cloned().collect();
    }
    match below(8, random) {
        0 | 1 => course.misread = misread(site, situation, random),
        // Unhurried, it is the calls that are practised.
        _ if pace == Pace::Unhurried => {}
        2 => course.unanswered = 1 + below(2, random) as u8,
        3 if !site.hazards.is_empty() => {
            let hazard = &site.hazards[below(site.hazards.len(), random)];
            let during = &hazard.during;
            if !during.is_empty() {
                course.hazard = Some((hazard.id.clone(), during[below(during.len(), random)].clone()));
            }
        }
        4 if !site.failures.is_empty() => {
            let failure = &site.failures[below(site.failures.len(), random)];
            let fits = failure.when.iter().all(|(e, v)| situation.more.get(e) == Some(v));
            if fits && !failure.after.is_empty() {
                let after = failure.after[below(failure.after.len(), random)].clone();
                // A step that is not part of every launch is of this one.
                if launch.sometimes.contains(&after) && !course.sometimes.contains(&after) {
                    course.sometimes.push(after.clone());
                }
                course.failure = Some((failure.id.clone(), after));
            }
        }
        5 if launch.refusal.is_some() => course.refused = true,
        6 => course.shown_link = other_link(site, situation, random),
        _ => from_outside(site, launch, &mut course, random),
    }
    course.interruptions = interruptions(site, &launch.order, pace, random);
    course
}

/// A radio that is dead from some call on, or somebody else's stop, where the site says what is done then.
fn from_outside(site: &Site, launch: &crate::site::Launch, course: &mut Course, random: &mut impl FnMut() -> u32) {
    let halts = site
        .halts
        .iter()
        .flat_map(|h| h.during.iter().map(move |step| (&h.id, step)));
    let halts: Vec<(&String, &String)> = halts.collect();
    let on_air = |id: &&String| site.step(id).is_some_and(|s| s.by == By::Radio);
    let calls: Vec<&String> = launch
        .order
        .iter()
        .filter(on_air)
        .filter(|_| site.has_backup())
        .collect();
    let both = !halts.is_empty() && !calls.is_empty();
    let to_calls = both && below(2, random) == 0;
    if !halts.is_empty() && !to_calls {
        let (id, step) = halts[below(halts.len(), random)];
        course.halt = Some((id.clone(), step.clone()));
    } else if !calls.is_empty() {
        course.radio_dead = Some(calls[below(calls.len(), random)].clone());
    }
    // A step that is not part of every launch is of this one.
    let step = course
        .halt
        .as_ref()
        .map(|(_, step)| step)
        .or(course.radio_dead.as_ref());
    let new = |s: &&String| launch.sometimes.contains(s) && !course.sometimes.contains(s);
    if let Some(step) = step.filter(new).cloned() {
        course.sometimes.push(step);
    }
}

fn interruptions(site: &Site, order: &[String], pace: Pace, random: &mut impl FnMut() -> u32) -> Vec<(String, String)> {
    let one = |step: &String, random: &mut dyn FnMut() -> u32| {
        let fits = |i: &&Interruption| i.during.is_empty() || i.during.contains(step);
        let fit: Vec<&Interruption> = site.interruptions.iter().filter(fits).collect();
        let chosen = fit.get(below(fit.len(), &mut || random()))?;
        Some((chosen.id.clone(), step.clone()))
    };
    match pace {
        Pace::Unhurried => Vec::new(),
        Pace::Normal if order.is_empty() || below(2, random) == 0 => Vec::new(),
        Pace::Normal => {
            let step = &order[below(order.len(), random)];
            one(step, random).into_iter().collect()
        }
        Pace::Busy => {
            let mut out = Vec::new();
            for step in order {
                if below(2, random) == 0 {
                    out.extend(one(step, random));
                }
            }
            out
        }
    }
}

/// Another link than the glider's own.
fn other_link(site: &Site, situation: &Situation, random: &mut impl FnMut() -> u32) -> Option<String> {
    let element = site.element_for(Purpose::Link)?;
    another_value(site, situation, &element.id.clone(), random)
}

/// An element that the driver reads back, and another value for it that is easily mixed up.
fn misread(site: &Site, situation: &Situation, random: &mut impl FnMut() -> u32) -> Option<(String, String)> {
    // What is no part of this glider's call is not read back.
    let ready = site.ready_step();
    let said = |e: &&String| ready.is_none_or(|r| situation.need(site, r, e) != Need::Never);
    let elements: Vec<&String> = site.customs.readback_by_winch.iter().filter(said).collect();
    let element = *elements.get(below(elements.len(), random))?;
    Some((element.clone(), another_value(site, situation, element, random)?))
}

/// Another value of an element than the situation's: for a callsign the most similar one of the fleet.
pub(super) fn another_value(
    site: &Site,
    situation: &Situation,
    element: &str,
    random: &mut impl FnMut() -> u32,
) -> Option<String> {
    let stands = |step: &&Step| step.elements.iter().any(|e| e == element);
    let step = site
        .ready_step()
        .filter(stands)
        .or_else(|| site.steps.iter().find(stands))?;
    let right = situation.values(site, step).remove(element)?;
    if site.purpose(element) == Purpose::Callsign {
        // As another glider is called in the same place.
        let called = |registration: &Callsign| {
            let other = Situation {
                callsign: registration.clone(),
                ..situation.clone()
            };
            other.values(site, step).remove(element)
        };
        let others = site.fleet.iter().filter_map(|a| called(&a.registration));
        let others = others.filter(|c| *c != right);
        return others.min_by_key(|c| strsim::osa_distance(c, &right));
    }
    let e = site.elements.get(element)?;
    // Where there is one right value ("winch cable"), another stands among the wordings of other values ("aerotow").
    let choice = if e.values.len() > 1 { &e.values } else { &e.other };
    // Nothing said is no other value.
    let spoken = choice.iter().filter(|v| !v.taught.is_empty());
    let others: Vec<&String> = spoken.map(|v| &v.id).filter(|v| **v != right).collect();
    others.get(below(others.len(), random)).map(|v| (*v).clone())
}
