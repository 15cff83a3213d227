//! How the student comes along: days, parts of the call, reaction, mix-ups. Every picture has its numbers beside it as text.

use super::look;
use super::page::{Content, Given, Page};
use super::shown::{Shown, Who};
use super::words::Words;
use crate::call::Verdict;
use crate::logbook::{Course, Day, Middle, Progress, Share, Tally};
use crate::plan::{Item, Today};
use crate::site::Site;
use crate::worker::{Command, Event};
use eframe::egui::{self, Button, CollapsingHeader, Color32, Grid, Label, RichText, Ui};
use egui_plot::{Bar, BarChart, GridInput, GridMark, Line, LineStyle, MarkerShape, Plot, PlotPoints, Points};
use jiff::civil::Date;
use std::ops::RangeInclusive;

/// Height of a picture, points.
const HEIGHT: f32 = 170.0;
/// Things to practise shown.
const TODAY: usize = 6;
/// Mix-ups shown.
const MIX_UPS: usize = 8;

/// What the page has to show.
#[derive(Debug, Default)]
pub struct ProgressPage {
    progress: Option<Progress>,
    /// The element whose course is drawn.
    chosen: Option<String>,
    list: list::Calls,
}

impl Content for ProgressPage {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let (shown, words) = (given.shown, given.words);
        ui.label(RichText::new(words.say("progress.heading")).text_style(look::title()));
        if !shown.who.may_practise() {
            ui.label(words.say("progress.nobody"));
            if ui.button(words.say("page.student")).clicked() {
                given.go(Page::Student);
            }
            return;
        }
        let Some(progress) = self.progress.clone() else {
            ui.label(words.say("progress.asking"));
            return;
        };
        if progress.attempts == 0 {
            ui.label(words.say("progress.none"));
            if ui.button(words.say("page.practice")).clicked() {
                given.go(Page::Practice);
            }
            return;
        }
        ui.add(Label::new(look::remark(about(words, shown, &progress))).wrap());
        let (site, progress) = (shown.site.as_deref(), &progress);
        look::sheets(ui, 4, |ui, n| match n {
            0 => Self::in_words(ui, given, site, progress),
            1 => self.list.ui(ui, given, site),
            2 => mix_ups(ui, words, site, progress),
            _ => {
                CollapsingHeader::new(words.say("progress.numbers"))
                    .id_salt("all numbers")
                    .show(ui, |ui| {
                        days(ui, words, &progress.days);
                        elements(ui, words, site, progress, &mut self.chosen);
                        reaction(ui, words, progress);
                    });
                ui.add(Label::new(look::remark(words.say("progress.honest"))).wrap());
            }
        });
    }

    fn take(&mut self, event: &Event) {
        match event {
            Event::Progress(progress) => self.progress = Some((**progress).clone()),
            Event::Calls(calls) => self.list.show(calls),
            // Somebody else's progress is not shown for a moment.
            Event::Student(_) | Event::SiteLoaded(_) => self.progress = None,
            _ => {}
        }
    }

    fn opened(&mut self, shown: &Shown) -> Vec<Command> {
        if shown.who == Who::Open {
            return Vec::new();
        }
        vec![Command::Progress]
    }
}

/// From this share on, of enough calls, a part sits.
const SITS: f64 = 0.9;

impl ProgressPage {
    /// What sits and what does not, in words, with one picture, and what to do about it.
    fn in_words(ui: &mut Ui, given: &mut Given<'_>, site: Option<&Site>, progress: &Progress) {
        let (shown, words) = (given.shown, given.words);
        let named = |wanted: fn(&Tally) -> bool| -> Vec<String> {
            let courses = progress.elements.iter().filter(|c| wanted(&c.all));
            courses.map(|c| label_of(site, &c.element)).collect()
        };
        let practise = look::add_primary(ui, true, words.say("progress.practise"));
        given.main(ui, &practise);
        if practise.clicked() {
            given.go(Page::Practice);
        }
        ui.add_space(4.0);
        let steady = named(|t| t.share().is_some_and(|s| s.share >= SITS));
        let not_yet = named(|t| t.share().is_some_and(|s| s.share < SITS));
        let few = named(|t| t.share().is_none());
        ui.heading(words.say("progress.in_words"));
        for (verdict, key, parts) in [
            (Verdict::Said, "progress.sits", &steady),
            (Verdict::Missing, "progress.not_yet", &not_yet),
            (Verdict::Unsure, "progress.few", &few),
        ] {
            if !parts.is_empty() {
                look::signed(ui, verdict, words.say(key));
                ui.add(Label::new(parts.join(", ")).wrap());
            }
        }
        let dark = ui.visuals().dark_mode;
        for course in &progress.elements {
            ui.horizontal_wrapped(|ui| {
                bar(ui, &course.all, dark);
                ui.label(label_of(site, &course.element));
            });
        }
        let about = if progress.elements.is_empty() {
            "progress.read_aloud"
        } else {
            "progress.parts_about"
        };
        ui.add(Label::new(look::remark(words.say(about))).wrap());
        if let Some(plan) = shown.planned.as_ref().and_then(|p| p.today.as_ref()) {
            today(ui, words, site, plan);
        }
    }
}

fn about(words: Words, shown: &Shown, progress: &Progress) -> String {
    let who = match &shown.who {
        Who::Student(s) => s.name.as_str(),
        _ => words.say("shell.nobody"),
    };
    let site = shown.site.as_ref().map_or("", |s| s.name.as_str());
    let n = progress.attempts.to_string();
    let calls = words.count("practice.call_one", "practice.call_many", progress.attempts as usize);
    let values = [("who", who), ("site", site), ("n", n.as_str()), ("calls", &calls)];
    if progress.older {
        words.fill("progress.about_newest", &values)
    } else {
        words.fill("progress.about", &values)
    }
}

/// A date in the window's way.
fn date(words: Words, date: Date) -> String {
    date.strftime(words.say("progress.date")).to_string()
}

/// Days since the first of January 1970, for the axis.
fn day_number(date: Date) -> f64 {
    f64::from(date.duration_since(jiff::civil::date(1970, 1, 1)).as_hours() as i32 / 24)
}

fn of_day_number(number: f64) -> Option<Date> {
    let days = jiff::Span::new().try_days(number.round() as i64).ok()?;
    jiff::civil::date(1970, 1, 1).checked_add(days).ok()
}

/// "34 of 51 (67 %, between 53 and 79 %)", or that there are too few.
fn share_text(words: Words, n: u32, of: u32) -> String {
    let (part, whole) = (n.to_string(), of.to_string());
    match Share::of(n, of) {
        Some(s) => {
            let percent = |share: f64| format!("{:.0}", 100.0 * share);
            let (share, low, high) = (percent(s.share), percent(s.low), percent(s.high));
            words.fill(
                "progress.share",
                &[
                    ("n", &part),
                    ("of", &whole),
                    ("share", &share),
                    ("low", &low),
                    ("high", &high),
                ],
            )
        }
        None => words.fill("progress.too_few", &[("n", &part), ("of", &whole)]),
    }
}

fn axis(words: Words, plot: Plot<'_>) -> Plot<'_> {
    plot.height(HEIGHT)
        .allow_drag(false)
        .allow_zoom(false)
        .allow_scroll(false)
        .allow_boxed_zoom(false)
        .set_margin_fraction(egui::vec2(0.01, 0.06))
        .x_grid_spacer(|input| day_marks(&input))
        .x_axis_formatter(move |mark: GridMark, _: &RangeInclusive<f64>| {
            of_day_number(mark.value).map_or_else(String::new, |d| date(words, d))
        })
}

/// Whole days only, at most eight.
fn day_marks(input: &GridInput) -> Vec<GridMark> {
    let (from, to) = input.bounds;
    let step = ((to - from) / 8.0).ceil().max(1.0);
    let mut at = (from / step).ceil() * step;
    let mut marks = Vec::new();
    while at <= to && marks.len() < 20 {
        marks.push(GridMark {
            value: at,
            step_size: step,
        });
        at += step;
    }
    marks
}

fn days(ui: &mut Ui, words: Words, days: &[Day]) {
    section(ui, words.say("progress.days"));
    let first: u32 = days.iter().map(|d| d.first).sum();
    let passed: u32 = days.iter().map(|d| d.passed).sum();
    ui.add(Label::new(words.fill("progress.at_once", &[("share", &share_text(words, passed, first))])).wrap());
    let dark = ui.visuals().dark_mode;
    let (all, good) = (ui.visuals().weak_text_color(), look::good(dark));
    let bars = |color: Color32, height: &dyn Fn(&Day) -> u32, width: f64| {
        days.iter()
            .map(|d| {
                Bar::new(day_number(d.date), f64::from(height(d)))
                    .width(width)
                    .fill(color)
                    .name(date(words, d.date))
            })
            .collect::<Vec<_>>()
    };
    let attempts = BarChart::new(words.say("progress.attempts"), bars(all, &|d| d.attempts, 0.8)).color(all);
    let at_once = BarChart::new(words.say("progress.passed"), bars(good, &|d| d.passed, 0.4)).color(good);
    // A single day would fill the picture: two weeks at least, the last day at the right.
    let last = days.last().map_or(0.0, |d| day_number(d.date));
    axis(words, Plot::new("days"))
        .include_y(0.0)
        .include_x(last - 13.0)
        .include_x(last + 0.6)
        .legend(egui_plot::Legend::default().position(egui_plot::Corner::LeftTop))
        .show(ui, |plot| {
            plot.bar_chart(attempts);
            plot.bar_chart(at_once);
        });
    numbers(ui, words, "days", |ui| {
        for key in ["progress.day", "progress.attempts", "progress.passed"] {
            ui.label(look::bold(words.say(key)));
        }
        ui.end_row();
        for d in days.iter().rev() {
            ui.label(date(words, d.date));
            ui.label(d.attempts.to_string());
            let (n, of) = (d.passed.to_string(), d.first.to_string());
            ui.label(words.fill("progress.n_of", &[("n", &n), ("of", &of)]));
            ui.end_row();
        }
    });
}

/// What the plan would practise today.
fn today(ui: &mut Ui, words: Words, site: Option<&Site>, plan: &Today) {
    section(ui, words.say("progress.today"));
    let items: Vec<&Item> = if plan.due.is_empty() {
        plan.new.iter().take(TODAY).collect()
    } else {
        plan.due.iter().take(TODAY).map(|d| &d.item).collect()
    };
    if items.is_empty() {
        ui.label(words.say("progress.today_nothing"));
        return;
    }
    if plan.due.is_empty() {
        ui.label(words.say("progress.today_new"));
    } else {
        let (n, calls) = (plan.due.len().to_string(), plan.calls.to_string());
        let minutes = (plan.seconds / 60.0).ceil().max(1.0).to_string();
        let values = [("n", n.as_str()), ("calls", &calls), ("minutes", &minutes)];
        ui.add(Label::new(words.fill("progress.today_due", &values)).wrap());
    }
    for item in items {
        ui.add(Label::new(format!("\u{2022} {}", item_text(words, site, item))).wrap());
    }
}

fn item_text(words: Words, site: Option<&Site>, item: &Item) -> String {
    let title = |id: &str| {
        site.and_then(|s| s.step(id))
            .map_or_else(|| id.to_owned(), |s| s.title.clone())
    };
    match item {
        Item::Step { step } => words.fill("progress.item_step", &[("step", &title(step))]),
        Item::Element { step, element } => {
            let part = label_of(site, element);
            words.fill("progress.item_part", &[("part", &part), ("step", &title(step))])
        }
        Item::Value { element, value } => {
            let part = label_of(site, element);
            words.fill("progress.item_value", &[("part", &part), ("value", value)])
        }
        Item::Pattern { pattern } => words.fill("progress.item_pattern", &[("pattern", pattern)]),
        Item::Pair { element, one, other } => {
            let part = label_of(site, element);
            words.fill("progress.item_pair", &[("part", &part), ("one", one), ("other", other)])
        }
    }
}

fn section(ui: &mut Ui, title: &str) {
    ui.add_space(6.0);
    ui.heading(title);
}

/// The numbers of a picture, folded away.
fn numbers(ui: &mut Ui, words: Words, salt: &str, rows: impl FnOnce(&mut Ui)) {
    egui::CollapsingHeader::new(words.say("progress.numbers"))
        .id_salt(("numbers", salt))
        .show(ui, |ui| {
            Grid::new(("numbers", salt)).striped(true).num_columns(3).show(ui, rows);
        });
}

/// An element's name; with the call it belongs to where another element is called nearly the same.
fn label_of(site: Option<&Site>, element: &str) -> String {
    let Some((site, known)) = site.and_then(|s| Some((s, s.elements.get(element)?))) else {
        return element.to_owned();
    };
    let same = |e: &&crate::site::Element| e.id != known.id && e.label.to_lowercase() == known.label.to_lowercase();
    let step = site.steps.iter().find(|s| s.elements.iter().any(|e| e == element));
    match (site.elements.values().find(same), step) {
        (Some(_), Some(step)) => format!("{} ({})", known.label, step.title),
        _ => known.label.clone(),
    }
}

fn elements(ui: &mut Ui, words: Words, site: Option<&Site>, progress: &Progress, chosen: &mut Option<String>) {
    section(ui, words.say("progress.parts"));
    for course in &progress.elements {
        ui.horizontal_wrapped(|ui| {
            let now = chosen.as_deref() == Some(course.element.as_str());
            let name = label_of(site, &course.element);
            if ui.add(Button::new(name).selected(now)).clicked() {
                *chosen = (!now).then(|| course.element.clone());
            }
            ui.label(tally_text(words, &course.all));
        });
    }
    let Some(course) = progress.elements.iter().find(|c| Some(&c.element) == chosen.as_ref()) else {
        ui.label(look::remark(words.say("progress.choose_part")));
        return;
    };
    one_element(ui, words, &label_of(site, &course.element), course);
}

/// A bar of verdicts: said full, wrong and missing hatched by their height, unsure empty. The text beside it says the same.
fn bar(ui: &mut Ui, tally: &Tally, dark: bool) {
    let (place, _) = ui.allocate_exact_size(egui::vec2(150.0, 18.0), egui::Sense::hover());
    let all = f32::from(u16::try_from(tally.decided() + tally.unsure).unwrap_or(u16::MAX)).max(1.0);
    let painter = ui.painter();
    let mut left = place.left();
    let parts = [
        (tally.said, crate::call::Verdict::Said, 1.0),
        (tally.wrong, crate::call::Verdict::Wrong, 0.66),
        (tally.missing, crate::call::Verdict::Missing, 0.4),
        (tally.unsure, crate::call::Verdict::Unsure, 0.18),
    ];
    for (n, verdict, height) in parts {
        let width = place.width() * f32::from(u16::try_from(n).unwrap_or(u16::MAX)) / all;
        let top = place.bottom() - place.height() * height;
        let part = egui::Rect::from_min_max(egui::pos2(left, top), egui::pos2(left + width, place.bottom()));
        let colour = look::verdict(verdict, dark);
        if tally.share().is_some() {
            painter.rect_filled(part, 0.0, colour);
        } else {
            // Too few to say: an outline, not a full bar.
            painter.rect_stroke(part, 0.0, egui::Stroke::new(1.5, colour), egui::StrokeKind::Inside);
        }
        left += width;
    }
    let ground = egui::Stroke::new(1.0, ui.visuals().weak_text_color());
    painter.hline(place.x_range(), place.bottom(), ground);
}

fn tally_text(words: Words, tally: &Tally) -> String {
    let mut text = share_text(words, tally.said, tally.decided());
    for (n, key) in [
        (tally.wrong, "verdict.wrong"),
        (tally.missing, "verdict.missing"),
        (tally.unsure, "verdict.unsure"),
    ] {
        if n > 0 {
            text = format!("{text}, {n} {}", words.say(key));
        }
    }
    text
}

fn one_element(ui: &mut Ui, words: Words, label: &str, course: &Course) {
    ui.add_space(6.0);
    ui.label(look::bold(words.fill("progress.course", &[("part", label)])));
    let dark = ui.visuals().dark_mode;
    let colour = look::good(dark);
    let known: Vec<(f64, Share)> = course
        .days
        .iter()
        .filter_map(|(d, t)| Some((day_number(*d), t.share()?)))
        .collect();
    if known.is_empty() {
        ui.label(words.say("progress.no_day"));
    } else {
        let points: Vec<[f64; 2]> = known.iter().map(|(x, s)| [*x, 100.0 * s.share]).collect();
        let spans: Vec<Line<'_>> = known
            .iter()
            .map(|(x, s)| {
                let ends = vec![[*x, 100.0 * s.low], [*x, 100.0 * s.high]];
                Line::new("", PlotPoints::from(ends)).color(colour).width(2.0)
            })
            .collect();
        axis(words, Plot::new("course"))
            .include_y(0.0)
            .include_y(100.0)
            .show(ui, |plot| {
                for span in spans {
                    plot.line(span);
                }
                plot.line(
                    Line::new(label, PlotPoints::from(points.clone()))
                        .color(colour)
                        .style(LineStyle::Dotted { spacing: 6.0 }),
                );
                plot.points(
                    Points::new(label, PlotPoints::from(points))
                        .color(colour)
                        .shape(MarkerShape::Circle)
                        .radius(4.0),
                );
            });
        ui.add(Label::new(look::remark(words.say("progress.course_about"))).wrap());
    }
    numbers(ui, words, "course", |ui| {
        for (d, t) in course.days.iter().rev() {
            ui.label(date(words, *d));
            ui.label(tally_text(words, t));
            ui.end_row();
        }
    });
}

fn mix_ups(ui: &mut Ui, words: Words, site: Option<&Site>, progress: &Progress) {
    section(ui, words.say("progress.mixed"));
    if progress.mixed_up.is_empty() {
        ui.label(words.say("progress.no_mixed"));
        return;
    }
    for m in progress.mixed_up.iter().take(MIX_UPS) {
        let what = words.fill("progress.instead", &[("heard", &m.heard), ("right", &m.right)]);
        let times = words.count("progress.once", "progress.times", m.times as usize);
        ui.add(Label::new(format!("{}: {what}, {times}", label_of(site, &m.element))).wrap());
    }
}

fn seconds(words: Words, milliseconds: u32) -> String {
    words.language().decimal(milliseconds as f32 / 1000.0, 1)
}

fn middle_text(words: Words, m: Middle) -> String {
    let calls = words.count("practice.call_one", "practice.call_many", m.n as usize);
    let (low, middle, high) = (seconds(words, m.low), seconds(words, m.middle), seconds(words, m.high));
    if m.n < crate::logbook::TOO_FEW {
        return words.fill("progress.reaction_few", &[("calls", &calls), ("middle", &middle)]);
    }
    words.fill(
        "progress.reaction_is",
        &[("calls", &calls), ("low", &low), ("middle", &middle), ("high", &high)],
    )
}

fn reaction(ui: &mut Ui, words: Words, progress: &Progress) {
    section(ui, words.say("progress.reaction"));
    let Some(all) = progress.reaction else {
        ui.label(words.say("progress.no_reaction"));
        return;
    };
    ui.add(Label::new(middle_text(words, all)).wrap());
    let known: Vec<(&Day, Middle)> = progress.days.iter().filter_map(|d| Some((d, d.reaction?))).collect();
    let colour = look::note(ui.visuals().dark_mode);
    let points: Vec<[f64; 2]> = known
        .iter()
        .map(|(d, m)| [day_number(d.date), f64::from(m.middle) / 1000.0])
        .collect();
    let spans: Vec<Line<'_>> = known
        .iter()
        .map(|(d, m)| {
            let x = day_number(d.date);
            let ends = vec![[x, f64::from(m.low) / 1000.0], [x, f64::from(m.high) / 1000.0]];
            Line::new("", PlotPoints::from(ends)).color(colour).width(2.0)
        })
        .collect();
    axis(words, Plot::new("reaction")).include_y(0.0).show(ui, |plot| {
        for span in spans {
            plot.line(span);
        }
        plot.points(
            Points::new(words.say("progress.reaction"), PlotPoints::from(points))
                .color(colour)
                .shape(MarkerShape::Diamond)
                .radius(5.0),
        );
    });
    numbers(ui, words, "reaction", |ui| {
        for (d, m) in known.iter().rev() {
            ui.label(date(words, d.date));
            ui.label(middle_text(words, *m));
            ui.end_row();
        }
    });
    ui.add(Label::new(look::remark(words.say("progress.reaction_about"))).wrap());
}

mod list;
#[cfg(test)]
mod tests;
