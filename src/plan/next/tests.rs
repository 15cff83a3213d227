//! Tests of the plan.

use super::*;
use crate::call::{Outcome, Verdict};
use crate::plan::deck::{can_be_practised, tests::site};
use crate::plan::{Answered, MIN_CALLS};
use crate::site::Callsign;

const DAY: i64 = 86_400_000;

fn noon(day: i64) -> Moment {
    Moment {
        ms: day * DAY + DAY / 2,
        utc_offset_seconds: 0,
    }
}

/// A call in which all was said right, but for what is named.
fn call(site: &Site, step: &str, situation: &Situation, day: i64, but: &[(&str, Verdict, Option<&str>)]) -> Past {
    let s = site.step(step).unwrap();
    let verdicts = situation.values(site, s).into_iter().map(|(element, value)| {
        let other = but.iter().find(|b| b.0 == element);
        Answered {
            verdict: other.map_or(Verdict::Said, |o| o.1),
            heard: other.map_or(Some(value), |o| o.2.map(str::to_owned)),
            element,
        }
    });
    Past {
        at: noon(day),
        site: site.id.clone(),
        step: step.to_owned(),
        situation: situation.clone(),
        level: None,
        first_attempt: true,
        held_out: false,
        stopped: false,
        outcome: if but.is_empty() { Outcome::Pass } else { Outcome::NotYet },
        verdicts: verdicts.collect(),
    }
}

fn situation(callsign: &str, crew: u8, cable: &str) -> Situation {
    Situation::new(Callsign::parse(callsign).unwrap(), crew, cable)
}

fn dice(seed: u32) -> impl FnMut() -> u32 {
    let mut x = seed | 1;
    move || {
        x ^= x << 13;
        x ^= x >> 17;
        x ^= x << 5;
        x
    }
}

fn element(step: &str, element: &str) -> Item {
    Item::Element {
        step: step.into(),
        element: element.into(),
    }
}

#[test]
fn never_the_same_call_twice_in_a_row_at_any_step() {
    for name in ["larkmoor", "erlengrund"] {
        let site = site(name);
        for step in site.steps.iter().filter(|s| can_be_practised(s)) {
            let mut plan = Plan::new(&site, &[&step.id], noon(0));
            let mut random = dice(7);
            let mut before: Option<Situation> = None;
            let only_one = plan.deck.cards.len() == 1;
            for _ in 0..60 {
                let from = before.as_ref().map(|b| (step.id.as_str(), b));
                let choice = plan.next(from, &mut random).unwrap();
                assert_eq!(choice.step, step.id);
                choice.situation.check(&site).unwrap();
                if let Some(b) = &before {
                    let same = b.values(&site, step) == choice.situation.values(&site, step);
                    assert!(!same || only_one, "{name} {}: {b:?}", step.id);
                    assert_ne!(b, &choice.situation, "{name} {}", step.id);
                }
                plan.add(&call(&site, &step.id, &choice.situation, 0, &[]));
                before = Some(choice.situation);
            }
        }
    }
}

#[test]
fn steps_are_interleaved_and_all_are_practised() {
    let site = site("larkmoor");
    let steps: Vec<&str> = site.steps.iter().map(|s| s.id.as_str()).collect();
    let mut plan = Plan::new(&site, &steps, noon(0));
    let mut random = dice(3);
    let mut before: Option<(String, Situation)> = None;
    let mut seen = std::collections::BTreeMap::new();
    let mut repeated = 0;
    for _ in 0..200 {
        let from = before.as_ref().map(|b| (b.0.as_str(), &b.1));
        let choice = plan.next(from, &mut random).unwrap();
        repeated += u32::from(before.as_ref().is_some_and(|b| b.0 == choice.step));
        plan.add(&call(&site, &choice.step, &choice.situation, 0, &[]));
        *seen.entry(choice.step.clone()).or_insert(0) += 1;
        before = Some((choice.step, choice.situation));
    }
    let spoken = site.steps.iter().filter(|s| can_be_practised(s)).count();
    assert_eq!(seen.len(), spoken, "{seen:?}");
    assert!(repeated < 60, "{repeated} of 200 with the step before");
}

#[test]
fn what_was_mixed_up_comes_again_the_same_day_but_not_at_once() {
    let site = site("larkmoor");
    let mut plan = Plan::new(&site, &["ready"], noon(0));
    // Everything is known and not due, then one callsign is said for another.
    for aircraft in &site.fleet {
        for cable in ["north", "south"] {
            for crew in 1..=aircraft.seats {
                let s = Situation::new(aircraft.registration.clone(), crew, cable);
                for _ in 0..3 {
                    plan.add(&call(&site, "ready", &s, 0, &[]));
                }
            }
        }
    }
    assert!(!plan.wants_practice(), "{:?}", plan.today());
    let wrong = situation("G-CLRM", 2, "north");
    let mixed = [("callsign", Verdict::Wrong, Some("G-CLMR"))];
    plan.add(&call(&site, "ready", &wrong, 0, &mixed));
    let pair = Item::pair("callsign", "G-CLRM", "G-CLMR");
    assert!(
        plan.today()
            .due
            .iter()
            .any(|d| d.item == pair && d.failed && d.days == 0)
    );
    let mut random = dice(11);
    let from = Some(("ready", &wrong));
    let at_once = plan.next(from, &mut random).unwrap();
    assert!(!matches!(at_once.reason, DealReason::Due(_)), "{at_once:?}");
    for _ in 0..2 {
        plan.add(&call(&site, "ready", &situation("D-2058", 1, "south"), 0, &[]));
    }
    let before = situation("D-2058", 1, "south");
    let (mut again, mut all) = (0, 0);
    for _ in 0..50 {
        let choice = plan.next(Some(("ready", &before)), &mut random).unwrap();
        all += 1;
        again += i32::from(["G-CLRM", "G-CLMR"].contains(&choice.situation.callsign.to_string().as_str()));
    }
    // In three of four turns what is due comes; the fourth is chosen among all calls with a callsign.
    assert!(again * 4 >= all * 3, "{again} of {all}");
}

#[test]
fn a_mix_up_of_values_nobody_thought_of_becomes_a_pair() {
    let site = site("larkmoor");
    let mut plan = Plan::new(&site, &["ready"], noon(0));
    let pair = Item::pair("callsign", "D-2058", "G-DHPT");
    assert!(!plan.steadinesses().contains_key(&pair));
    let s = situation("D-2058", 1, "north");
    plan.add(&call(
        &site,
        "ready",
        &s,
        0,
        &[("callsign", Verdict::Wrong, Some("G-DHPT"))],
    ));
    assert_eq!(plan.steadiness(&pair).calls, 1);
    plan.add(&call(&site, "ready", &situation("G-DHPT", 1, "north"), 0, &[]));
    assert_eq!((plan.steadiness(&pair).calls, plan.steadiness(&pair).right), (2, 1));
}

#[test]
fn due_items_come_back_after_their_interval() {
    let site = site("larkmoor");
    let mut plan = Plan::new(&site, &["slack"], noon(100));
    let s = situation("G-CLRM", 2, "north");
    assert_eq!(plan.today().new.len(), 2);
    plan.add(&call(&site, "slack", &s, 100, &[]));
    assert!(plan.today().due.is_empty() && plan.today().new.is_empty());
    // The scheduler's first interval after a right answer is 2.3065 days.
    plan.at(noon(101));
    assert!(!plan.wants_practice());
    plan.at(noon(102));
    assert!(plan.wants_practice());
    let today = plan.today();
    assert_eq!((today.due.len(), today.calls), (2, 1));
    assert!(today.seconds > 5.0 && today.seconds < 60.0);
    plan.at(noon(105));
    assert_eq!(plan.today().due[0].days, 3);
}

#[test]
fn unsure_held_out_stopped_repeated_and_unheard_calls_move_nothing() {
    let site = site("larkmoor");
    let s = situation("G-CLRM", 2, "north");
    let wrong = call(&site, "ready", &s, 0, &[("cable", Verdict::Wrong, Some("south"))]);
    let idle = |change: fn(&mut Past)| {
        let mut past = wrong.clone();
        change(&mut past);
        let plan = Plan::from_past(&site, &["ready"], [&past], noon(0));
        plan.steadinesses().values().all(|s| s.calls == 0) && plan.memory.iter().all(Option::is_none)
    };
    assert!(!idle(|_| ()), "a call that counts moves something");
    assert!(idle(|p| p.held_out = true));
    assert!(idle(|p| p.stopped = true));
    assert!(idle(|p| p.first_attempt = false));
    assert!(idle(|p| p.outcome = Outcome::NothingHeard));
    assert!(idle(|p| p.site = "erlengrund".into()));
    assert!(idle(|p| p
        .verdicts
        .iter_mut()
        .for_each(|v| v.verdict = Verdict::Unsure)));
    // One unsure element moves neither itself nor the whole step.
    let mut plan = Plan::new(&site, &["ready"], noon(0));
    plan.add(&call(&site, "ready", &s, 0, &[("cable", Verdict::Unsure, None)]));
    assert_eq!(plan.steadiness(&element("ready", "cable")).calls, 0);
    assert_eq!(plan.steadiness(&Item::Step { step: "ready".into() }).calls, 0);
    assert_eq!(plan.steadiness(&element("ready", "crew")).calls, 1);
}

#[test]
fn steadiness_is_told_from_enough_calls_only() {
    let site = site("larkmoor");
    let s = situation("D-4761", 2, "south");
    let mut plan = Plan::new(&site, &["ready"], noon(0));
    for i in 0..MIN_CALLS {
        let crew = element("ready", "crew");
        assert_eq!(plan.steadiness(&crew).share(), None, "after {i} calls");
        let but: &[_] = if i == 0 {
            &[("crew", Verdict::Missing, None)]
        } else {
            &[]
        };
        plan.add(&call(&site, "ready", &s, 0, but));
    }
    let share = plan.steadiness(&element("ready", "crew")).share().unwrap();
    assert!((share.right - 0.8).abs() < 1e-9 && share.low < 0.8 && share.high > 0.8);
    // What was left out says nothing about the words for it.
    let value = Item::Value {
        element: "crew".into(),
        value: "2".into(),
    };
    assert_eq!(plan.steadiness(&value).calls, MIN_CALLS - 1);
}

#[test]
fn the_same_past_gives_the_same_plan_at_once_or_call_by_call() {
    let site = site("erlengrund");
    let mut random = dice(5);
    let mut plan = Plan::new(&site, &["ready", "stop"], noon(0));
    let mut past = Vec::new();
    for day in 0..20 {
        plan.at(noon(day));
        let choice = plan.next(None, &mut random).unwrap();
        let but: &[_] = if day % 3 == 0 {
            &[("cable", Verdict::Missing, None)]
        } else {
            &[]
        };
        past.push(call(&site, &choice.step, &choice.situation, day, but));
        plan.add(past.last().unwrap());
    }
    let again = Plan::from_past(&site, &["ready", "stop"], &past, noon(19));
    assert_eq!(again.today(), plan.today());
    assert_eq!(again.level(), plan.level());
    assert_eq!(again.next(None, &mut dice(9)), plan.next(None, &mut dice(9)));
}
