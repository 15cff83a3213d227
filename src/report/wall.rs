//! The sheet of a site's calls for the clubhouse wall: who says what, in the order of a launch.

use super::error::PrintError;
use super::ink::{AMBER, BLACK, BLUE, Face, GREY, Mark, SHADE};
use super::paper::{MARGIN, Paper};
use super::tongue::Tongue;
use super::{Scope, capital};
use crate::call::Situation;
use crate::call::situation::title_case;
use crate::site::{By, Purpose, Site, Step};

/// The sheet as PDF. The example is the first glider of the fleet with all seats taken, on the first cable.
pub fn wall_pdf(scope: &Scope<'_>) -> Result<Vec<u8>, PrintError> {
    let tongue = Tongue(scope.site.language);
    let title = format!("{} \u{b7} {}", scope.site.name, tongue.say("report.the_calls"));
    wall_pages(scope)?.finish(&title)
}

pub(super) fn wall_pages(scope: &Scope<'_>) -> Result<Paper, PrintError> {
    let site = scope.site;
    let tongue = Tongue(site.language);
    let foot = if site.invented {
        format!("{} {} {}", site.caution, site.name, tongue.say("report.is_invented"))
    } else {
        site.caution.clone()
    };
    let mut paper = Paper::new(tongue, false, &foot)?;
    let example = example(site);
    let below = format!(
        "{} {}, {} {}{}",
        tongue.say("report.version"),
        site.version,
        tongue.say("report.rules_of"),
        site.rules_date
            .parse()
            .map_or_else(|_| site.rules_date.clone(), |day| tongue.short(day)),
        example.as_ref().map_or_else(String::new, |s| format!(
            ", {} {}",
            tongue.say("report.example"),
            s.callsign
        ))
    );
    paper.title(&format!("{}: {}", site.name, tongue.say("report.the_calls")), &below);
    if let Some(stop) = site.stop_step() {
        stop_box(&mut paper, stop, example.as_ref(), site);
    }
    for step in order(site) {
        step_line(&mut paper, site, step, example.as_ref());
    }
    // What is briefed by height, each with the caution to brief one's own; and the site's own signals.
    let bands = site.bands.iter().map(|b| b.text(site));
    let signals = site
        .signals
        .iter()
        .map(|s| format!("{} = {}", s.text(site, None), s.meaning));
    let caution = (!site.signals.is_empty()).then(|| site.language.text("signal.caution", &[("site", &site.name)]));
    for text in bands.chain(signals).chain(caution) {
        let lines = paper.fonts.wrap(Face::Regular, 8.5, paper.inner(), &text);
        paper.room(lines.len() as f32 * 11.5 + 4.0);
        for (i, line) in lines.iter().enumerate() {
            paper.text(
                MARGIN,
                paper.y + 10.0 + i as f32 * 11.5,
                8.5,
                Face::Regular,
                BLACK,
                line,
            );
        }
        paper.y += lines.len() as f32 * 11.5 + 4.0;
    }
    Ok(paper)
}

/// The launch in its order, then what is not part of it; stop stands above all.
fn order(site: &Site) -> Vec<&Step> {
    let launch: Vec<&Step> = site
        .launch
        .iter()
        .flat_map(|l| &l.order)
        .filter_map(|id| site.step(id))
        .collect();
    let rest = site.steps.iter().filter(|s| !launch.iter().any(|l| l.id == s.id));
    launch
        .iter()
        .copied()
        .chain(rest)
        .filter(|s| site.stop_step().is_none_or(|stop| stop.id != s.id))
        .collect()
}

fn example(site: &Site) -> Option<Situation> {
    let glider = site.fleet.first()?;
    let cable = site.cables.first()?;
    Some(Situation::new(
        glider.registration.clone(),
        glider.seats,
        cable.id.clone(),
    ))
}

fn words(site: &Site, step: &Step, example: Option<&Situation>) -> String {
    example.map_or_else(|| capital(&step.taught), |s| s.taught_call(site, step))
}

/// What may stand in a call's place of the example: every value of each part that has several, in the words that are taught.
fn values(site: &Site, step: &Step) -> Vec<String> {
    let several = |id: &String| {
        // Who is called is the step's own.
        if site.purpose(id) == Purpose::Address {
            return None;
        }
        let element = site.elements.get(id)?;
        let taught: Vec<&str> = element.values.iter().map(|v| v.taught.as_str()).collect();
        let each = capital(&taught.join(" \u{b7} "));
        (taught.len() > 1).then(|| format!("{}: {each}", element.label))
    };
    step.elements.iter().filter_map(several).collect()
}

/// Who speaks, as the site calls them.
fn named<'s>(tongue: Tongue, site: &'s Site, role: &'s str) -> &'s str {
    site.roles.get(role).map_or_else(|| tongue.role(role), String::as_str)
}

fn stop_box(paper: &mut Paper, stop: &Step, example: Option<&Situation>, site: &Site) {
    let tongue = paper.tongue;
    let (top, w) = (paper.y, paper.inner());
    let why = tongue.say("report.anyone_who_sees_something");
    let calls = paper
        .fonts
        .wrap(Face::Bold, 17.0, w * 0.45 - 16.0, &words(site, stop, example));
    let whys = paper.fonts.wrap(Face::Regular, 8.5, w * 0.5, why);
    let height = (calls.len() as f32 * 22.0).max(whys.len() as f32 * 11.5) + 16.0;
    paper.mark(Mark::block(MARGIN, top, w, height, SHADE));
    paper.mark(Mark::block(MARGIN, top, 5.0, height, AMBER));
    let first = |lines: usize, step: f32, size: f32| top + (height - lines as f32 * step) / 2.0 + size;
    let y = first(calls.len(), 22.0, 17.0);
    for (i, line) in calls.iter().enumerate() {
        paper.text(MARGIN + 16.0, y + i as f32 * 22.0, 17.0, Face::Bold, AMBER, line);
    }
    let y = first(whys.len(), 11.5, 8.5);
    for (i, line) in whys.iter().enumerate() {
        let x = MARGIN + w * 0.47;
        paper.text(x, y + i as f32 * 11.5, 8.5, Face::Regular, BLACK, line);
    }
    paper.y += height + 6.0;
}

fn step_line(paper: &mut Paper, site: &Site, step: &Step, example: Option<&Situation>) {
    let tongue = paper.tongue;
    let left = 128.0;
    let wide = paper.inner() - left;
    let by_hand = !step.by.has_words();
    let signal = step.signal.as_ref().and_then(|id| site.signal(id));
    let call = if let Some(signal) = signal {
        signal.text(site, None)
    } else if by_hand {
        tongue.say("report.by_hand_without_words").to_owned()
    } else {
        words(site, step, example)
    };
    let sometimes = site.launch.as_ref().is_some_and(|l| l.sometimes.contains(&step.id));
    let mut who = named(tongue, site, &step.speaker).to_owned();
    if !by_hand {
        who.push_str(match step.by {
            By::Voice => tongue.say("report.aloud"),
            _ => tongue.say("report.radio"),
        });
    }
    if sometimes {
        who.push_str(tongue.say("report.not_in_every_launch"));
    }
    let lines = paper.fonts.wrap(Face::Bold, 11.0, wide, &call);
    let titles = paper.fonts.wrap(Face::Bold, 9.0, left - 12.0, &step.title);
    let whos = paper.fonts.wrap(Face::Regular, 8.0, left - 12.0, &who);
    let answer = step.answer.as_ref().zip(example).map(|(line, s)| {
        let values = s.values(site, step);
        let text = crate::site::fill(&line.text, |name| {
            let words = site.taught_words(name, values.get(name)?)?;
            Some(if site.purpose(name) == Purpose::Callsign {
                title_case(&words)
            } else {
                words
            })
        });
        format!("{}: {}", named(tongue, site, &line.role), capital(&text))
    });
    let mut answers = answer.map_or_else(Vec::new, |a| paper.fonts.wrap(Face::Regular, 8.5, wide, &a));
    let backup = step.backup.as_ref().and_then(|id| site.signal(id)).map(|signal| {
        let dead = tongue.say("report.when_the_radio_is");
        format!("{dead}: {}", signal.text(site, None))
    });
    for text in values(site, step).into_iter().chain(backup) {
        answers.extend(paper.fonts.wrap(Face::Regular, 8.5, wide, &text));
    }
    let left_height = titles.len() as f32 * 12.0 + whos.len() as f32 * 10.5;
    let right_height = lines.len() as f32 * 14.5 + answers.len() as f32 * 11.5;
    let height = left_height.max(right_height) + 7.0;
    paper.room(height);
    let top = paper.y;
    for (i, t) in titles.iter().enumerate() {
        paper.text(MARGIN, top + 11.0 + i as f32 * 12.0, 9.0, Face::Bold, BLUE, t);
    }
    for (i, t) in whos.iter().enumerate() {
        let y = top + 9.0 + titles.len() as f32 * 12.0 + i as f32 * 10.5;
        paper.text(MARGIN, y, 8.0, Face::Regular, GREY, t);
    }
    let ink = if by_hand { GREY } else { BLACK };
    for (i, t) in lines.iter().enumerate() {
        let y = top + 12.0 + i as f32 * 14.5;
        paper.text(MARGIN + left, y, 11.0, Face::Bold, ink, t);
    }
    for (i, t) in answers.iter().enumerate() {
        let y = top + 10.0 + lines.len() as f32 * 14.5 + i as f32 * 11.5;
        paper.text(MARGIN + left, y, 8.5, Face::Regular, GREY, t);
    }
    paper.y += height;
    paper.rule(paper.y - 2.0, super::ink::RULE);
}
