//! The printed report of a student and of a class.

use super::Scope;
use super::error::PrintError;
use super::figures::{ElementLine, Figures, MixUp, OverruledVerdict};
use super::group::{Group, Missed};
use super::ink::{BLACK, GREY};
use super::paper::Paper;
use super::rate::{FEW, LATELY, Share};
use super::table::{Cell, Column, ink_of};
use super::tongue::Tongue;
use std::fmt::Write as _;

/// Lines of mix-ups on paper; CSV and JSON have them all.
const MIX_UPS: usize = 12;
/// Elements with a column in the class's table.
const COLUMNS: usize = 8;

/// The report of one student as PDF.
pub fn student_pdf(scope: &Scope<'_>, name: &str, figures: &Figures) -> Result<Vec<u8>, PrintError> {
    let tongue = Tongue(scope.site.language);
    let title = format!("{} \u{b7} {name}", tongue.say("report.practice_report"));
    student_pages(scope, name, figures)?.finish(&title)
}

pub(super) fn student_pages(scope: &Scope<'_>, name: &str, figures: &Figures) -> Result<Paper, PrintError> {
    let tongue = Tongue(scope.site.language);
    let mut paper = Paper::new(tongue, false, &scope.foot())?;
    student_part(&mut paper, scope, name, figures);
    Ok(paper)
}

/// The report of a class as PDF; with `each`, every member's own follows on pages of its own.
pub fn group_pdf(scope: &Scope<'_>, group: &Group, each: bool) -> Result<Vec<u8>, PrintError> {
    let tongue = Tongue(scope.site.language);
    let title = format!("{} \u{b7} {}", tongue.say("report.class_report"), group.name);
    group_pages(scope, group, each)?.finish(&title)
}

pub(super) fn group_pages(scope: &Scope<'_>, group: &Group, each: bool) -> Result<Paper, PrintError> {
    let tongue = Tongue(scope.site.language);
    let mut paper = Paper::new(tongue, true, &scope.foot())?;
    group_part(&mut paper, scope, group);
    if each {
        for member in &group.members {
            paper.new_part(false);
            student_part(&mut paper, scope, &member.name, &member.figures);
        }
    }
    Ok(paper)
}

impl Scope<'_> {
    /// What stands at the foot of every page.
    pub(super) fn foot(&self) -> String {
        let tongue = Tongue(self.site.language);
        let own = tongue.say("report.this_report_tells_which");
        let invented = if self.site.invented {
            format!(" {} {}", self.site.name, tongue.say("report.is_invented"))
        } else {
            String::new()
        };
        format!("{} {own}{invented}", self.site.caution)
    }

    /// Site and date, for the line below a title.
    fn below(&self, figures: &Figures) -> String {
        let tongue = Tongue(self.site.language);
        let made = format!("{} {}", tongue.say("report.made_on"), tongue.long(self.date));
        match figures.days {
            Some((first, last)) if first != last => format!(
                "{}, {} {} {}, {made}",
                self.site.name,
                tongue.long(first),
                tongue.say("report.to"),
                tongue.long(last)
            ),
            Some((day, _)) => format!("{}, {}, {made}", self.site.name, tongue.long(day)),
            None => format!("{}, {made}", self.site.name),
        }
    }
}

/// A page that has less than this of its height filled is no page of its own: what stands on it can stand closer before.
const LITTLE: f32 = 0.3;

/// A student's report; closer than usual where that saves a page with little on it.
fn student_part(paper: &mut Paper, scope: &Scope<'_>, name: &str, figures: &Figures) {
    let begin = paper.place();
    paper.close = 0;
    student_lines(paper, scope, name, figures);
    let (pages, first) = (paper.count(), paper.y);
    if pages == begin.page() || first > paper.height * LITTLE {
        return;
    }
    for close in 1..=3 {
        paper.back_to(&begin);
        paper.close = close;
        student_lines(paper, scope, name, figures);
        if paper.count() < pages {
            paper.close = 0;
            return;
        }
    }
    // It does not help.
    paper.back_to(&begin);
    paper.close = 0;
    student_lines(paper, scope, name, figures);
}

fn student_lines(paper: &mut Paper, scope: &Scope<'_>, name: &str, figures: &Figures) {
    let tongue = paper.tongue;
    paper.title(name, &scope.below(figures));
    if figures.calls == 0 {
        paper.paragraph(tongue.say("report.no_calls_in_this"), 10.0, BLACK);
        cautions(paper, figures);
        return;
    }
    headline(paper, figures);
    steps(paper, figures);
    elements(paper, figures);
    trend(paper, figures);
    mix_ups(paper, &figures.mix_ups);
    overruled(paper, &figures.overruled, false);
    cautions(paper, figures);
}

fn headline(paper: &mut Paper, f: &Figures) {
    let tongue = paper.tongue;
    let right_away = match f.first_time.value() {
        Some(v) if f.first_time.of >= FEW => tongue.percent(v),
        _ => tongue.so_many(&f.first_time),
    };
    let of_all = if f.first_time.of >= FEW {
        format!(
            "{} ({}, {})",
            tongue.say("report.complete_at_the_first"),
            tongue.so_many(&f.first_time),
            tongue.interval(&f.first_time)
        )
    } else {
        tongue.say("report.complete_at_the_first").to_owned()
    };
    paper.facts(&[
        (f.calls.to_string(), tongue.say("report.calls_practised").to_owned()),
        (
            f.attempts.to_string(),
            tongue.say("report.attempts_repeats_included").to_owned(),
        ),
        (
            f.days_practised.to_string(),
            tongue.say("report.days_with_practice").to_owned(),
        ),
        (right_away, of_all),
    ]);
}

fn steps(paper: &mut Paper, f: &Figures) {
    let tongue = paper.tongue;
    paper.heading(tongue.say("report.what_was_practised"), 60.0);
    let rest = paper.inner() - 240.0 - 60.0 - 90.0;
    let columns = [
        Column::left(tongue.say("report.call"), 240.0),
        Column::right(tongue.say("report.calls"), 60.0),
        Column::right(tongue.say("report.complete_at_once"), 90.0),
        Column::right(tongue.say("report.95_interval"), rest),
    ];
    let rows: Vec<Vec<Cell>> = f
        .steps
        .iter()
        .map(|s| {
            vec![
                Cell::Bold(s.title.clone()),
                Cell::Text(s.calls.to_string()),
                Cell::Text(tongue.so_many(&s.first_time)),
                Cell::Ink(tongue.interval(&s.first_time), GREY),
            ]
        })
        .collect();
    paper.table(&columns, &rows, 9.0);
}

fn elements(paper: &mut Paper, f: &Figures) {
    let tongue = paper.tongue;
    paper.heading(tongue.say("report.reliability"), 80.0);
    let scale = paper.inner() - 112.0 - 62.0 - 62.0 - 84.0 - 42.0 - 46.0;
    let columns = [
        Column::left(tongue.say("report.part_of_the_call"), 112.0),
        Column::left(tongue.say("report.said"), 62.0),
        Column::left(tongue.say("report.latest"), 62.0),
        Column::left(
            &format!("{} 0\u{2013}{}", tongue.say("report.latest_2"), tongue.percent(1.0)),
            scale,
        ),
        Column::left("", 84.0),
        Column::right(tongue.say("report.wrong"), 42.0),
        Column::right(tongue.say("report.missing"), 46.0),
    ];
    let rows: Vec<Vec<Cell>> = f.elements.iter().map(|e| element_row(tongue, e)).collect();
    paper.table(&columns, &rows, 9.0);
    let (lately, few) = (LATELY.to_string(), FEW.to_string());
    let text = tongue
        .0
        .text("report.elements_about", &[("lately", &lately), ("few", &few)]);
    paper.paragraph(&text, 8.0, GREY);
}

fn element_row(tongue: Tongue, e: &ElementLine) -> Vec<Cell> {
    vec![
        Cell::Bold(e.label.clone()),
        Cell::Text(tongue.so_many(&e.all)),
        Cell::Text(tongue.so_many(&e.lately)),
        Cell::Interval(e.lately),
        Cell::Ink(tongue.standing(e.standing).to_owned(), ink_of(e.standing)),
        Cell::Text(e.wrong.to_string()),
        Cell::Text(e.missing.to_string()),
    ]
}

fn trend(paper: &mut Paper, f: &Figures) {
    let tongue = paper.tongue;
    paper.heading(
        tongue.say("report.complete_at_the_first_2"),
        if f.trend.is_empty() {
            20.0
        } else {
            paper.gap(110.0).max(60.0) + 40.0
        },
    );
    if f.trend.is_empty() {
        paper.paragraph(tongue.say("report.too_few_calls_for"), 9.0, BLACK);
        return;
    }
    paper.plot(&f.trend, paper.gap(110.0).max(60.0));
    let sizes = f.trend.iter().map(|p| p.first_time.of);
    let (least, most) = (sizes.clone().min().unwrap_or(0), sizes.max().unwrap_or(0));
    let calls = if least == most {
        least.to_string()
    } else {
        format!("{least} {} {most}", tongue.say("report.to"))
    };
    let text = format!(
        "{} {calls} {}",
        tongue.say("report.each_point_stands_for"),
        tongue.say("report.calls_one_after_another")
    );
    paper.paragraph(&text, 8.0, GREY);
}

fn mix_ups(paper: &mut Paper, all: &[MixUp]) {
    let tongue = paper.tongue;
    if all.is_empty() {
        return;
    }
    paper.heading(tongue.say("report.mix_ups"), 50.0);
    let rest = (paper.inner() - 140.0 - 60.0) / 2.0;
    let columns = [
        Column::left(tongue.say("report.part_of_the_call"), 140.0),
        Column::left(tongue.say("report.right_was"), rest),
        Column::left(tongue.say("report.heard"), rest),
        Column::right(tongue.say("report.times"), 60.0),
    ];
    let rows: Vec<Vec<Cell>> = all
        .iter()
        .take(MIX_UPS)
        .map(|m| {
            vec![
                Cell::Text(m.label.clone()),
                Cell::Text(m.dealt.clone().unwrap_or_else(|| "\u{2013}".to_owned())),
                Cell::Text(m.heard.clone()),
                Cell::Text(m.times.to_string()),
            ]
        })
        .collect();
    paper.table(&columns, &rows, 9.0);
    if all.len() > MIX_UPS {
        let text = format!(
            "{} {} {}",
            tongue.say("report.and"),
            all.len() - MIX_UPS,
            tongue.say("report.more_in_the_csv")
        );
        paper.paragraph(&text, 8.0, GREY);
    }
}

fn overruled(paper: &mut Paper, all: &[OverruledVerdict], with_names: bool) {
    let tongue = paper.tongue;
    if all.is_empty() {
        return;
    }
    paper.heading(tongue.say("report.verdicts_judged_anew_by"), 50.0);
    let (name, by, step, part) = (if with_names { 110.0 } else { 0.0 }, 84.0, 84.0, 74.0);
    let rest = paper.inner() - 62.0 - name - step - part - 100.0 - by;
    let mut columns = vec![Column::left(tongue.say("report.day"), 62.0)];
    if with_names {
        columns.push(Column::left(tongue.say("report.student"), name));
    }
    columns.extend([
        Column::left(tongue.say("report.call"), step),
        Column::left(tongue.say("report.part"), part),
        Column::left(tongue.say("report.program_instructor"), 100.0),
        Column::left(tongue.say("report.judged_by"), by),
        Column::left(tongue.say("report.reason"), rest),
    ]);
    let rows: Vec<Vec<Cell>> = all
        .iter()
        .map(|o| {
            let mut row = vec![Cell::Text(tongue.short(o.day))];
            if with_names {
                row.push(Cell::Text(o.student.clone().unwrap_or_default()));
            }
            let verdicts = format!("{}, {}", tongue.verdict(o.program), tongue.verdict(o.instructor));
            row.extend([
                Cell::Text(o.step.clone()),
                Cell::Text(o.element.clone()),
                Cell::Text(verdicts),
                Cell::Text(o.by.clone().unwrap_or_default()),
                Cell::Text(o.reason.clone().unwrap_or_default()),
            ]);
            row
        })
        .collect();
    paper.table(&columns, &rows, 8.5);
}

/// What must be known to read the figures rightly.
pub(super) fn caution_texts(tongue: Tongue, f: &Figures) -> Vec<String> {
    let mut all = vec![tongue.say("report.the_program_mishears_more").to_owned()];
    let mut add = |n: u64, what: &str, then: &str| {
        if n > 0 {
            all.push(format!("{what}: {n}{then}"));
        }
    };
    add(
        f.typed,
        tongue.say("report.typed_attempts"),
        tongue.say("report.they_show_that_the"),
    );
    add(
        f.read_aloud,
        tongue.say("report.read_aloud"),
        tongue.say("report.they_are_no_tries"),
    );
    add(
        f.held_out,
        tongue.say("report.attempts_held_out_until"),
        tongue.say("report.they_are_in_no"),
    );
    let of_all = format!(
        " {} {}. {}",
        tongue.say("report.of"),
        f.judged,
        tongue.say("report.they_count_neither_way")
    );
    add(f.undecided, tongue.say("report.parts_that_could_not"), &of_all);
    add(
        f.elsewhere,
        tongue.say("report.attempts_at_other_sites"),
        tongue.say("report.they_are_not_in"),
    );
    if f.site_versions.len() > 1 {
        all.push(format!(
            "{} {}.",
            tongue.say("report.the_site_s_phrases"),
            f.site_versions.join(", ")
        ));
    }
    all
}

fn cautions(paper: &mut Paper, f: &Figures) {
    let tongue = paper.tongue;
    paper.heading(tongue.say("report.please_note"), 30.0);
    for text in caution_texts(tongue, f) {
        paper.item(&text, 9.0);
    }
}

fn group_part(paper: &mut Paper, scope: &Scope<'_>, group: &Group) {
    let tongue = paper.tongue;
    let f = &group.together;
    paper.title(&group.name, &scope.below(f));
    headline(paper, f);
    members(paper, group);
    if !group.needs.is_empty() {
        paper.heading(tongue.say("report.who_needs_practice_on"), 50.0);
        let columns = [
            Column::left(tongue.say("report.part_of_the_call"), 110.0),
            Column::left(tongue.say("report.not_steady_with"), (paper.inner() - 110.0) / 2.0),
            Column::left(tongue.say("report.missed_lately_by"), (paper.inner() - 110.0) / 2.0),
        ];
        let times = |m: &Missed| format!("{} {}/{}", m.student, m.times, m.of);
        let rows: Vec<Vec<Cell>> = group
            .needs
            .iter()
            .map(|n| {
                vec![
                    Cell::Bold(n.label.clone()),
                    Cell::Text(n.students.join(", ")),
                    Cell::Text(n.missed.iter().map(times).collect::<Vec<_>>().join(", ")),
                ]
            })
            .collect();
        paper.table(&columns, &rows, 9.0);
    }
    if f.calls > 0 {
        trend(paper, f);
    }
    mix_ups(paper, &f.mix_ups);
    overruled(paper, &f.overruled, true);
    cautions(paper, f);
}

fn members(paper: &mut Paper, group: &Group) {
    let tongue = paper.tongue;
    let mut most: Vec<&ElementLine> = group.together.elements.iter().collect();
    most.sort_by_key(|e| std::cmp::Reverse(e.all.of));
    let shown: Vec<&ElementLine> = group
        .together
        .elements
        .iter()
        .filter(|e| most.iter().take(COLUMNS).any(|m| m.element == e.element))
        .collect();
    paper.heading(tongue.say("report.everybody"), 60.0);
    let part = (paper.inner() - 140.0 - 36.0 - 36.0 - 56.0 - 46.0 - 56.0) / COLUMNS as f32;
    let mut columns = vec![
        Column::left("", 140.0),
        Column::right(tongue.say("report.calls_2"), 36.0),
        Column::right(tongue.say("report.days"), 36.0),
        Column::left(tongue.say("report.last"), 56.0),
        Column::left(tongue.say("report.at_once"), 46.0),
        Column::left(tongue.say("report.trend"), 56.0),
    ];
    columns.extend(shown.iter().map(|e| Column::left(&e.label, part)));
    let rows: Vec<Vec<Cell>> = group
        .members
        .iter()
        .map(|m| {
            let f = &m.figures;
            let mut row = vec![
                Cell::Bold(m.name.clone()),
                Cell::Text(f.calls.to_string()),
                Cell::Text(f.days_practised.to_string()),
                Cell::Text(f.days.map_or_else(String::new, |d| tongue.short(d.1))),
                Cell::Text(share(tongue, &f.first_time)),
                Cell::Line(f.trend.iter().filter_map(|p| p.first_time.value()).collect()),
            ];
            row.extend(shown.iter().map(|e| {
                f.elements.iter().find(|x| x.element == e.element).map_or_else(
                    || Cell::Text(String::new()),
                    |x| Cell::Bar(x.lately, share(tongue, &x.lately), x.standing),
                )
            }));
            row
        })
        .collect();
    paper.table(&columns, &rows, 8.0);
    let hidden = group.together.elements.len().saturating_sub(shown.len());
    let (lately, few) = (LATELY.to_string(), FEW.to_string());
    let mut text = tongue
        .0
        .text("report.everybody_about", &[("lately", &lately), ("few", &few)]);
    if hidden > 0 {
        let more = tongue.say("report.more_parts_are_in");
        // Writing to a String cannot fail.
        let _ = write!(text, " {hidden} {more}");
    }
    paper.paragraph(&text, 8.0, GREY);
}

/// Per cent, or the counts where there are too few.
fn share(tongue: Tongue, share: &Share) -> String {
    match share.value() {
        Some(v) if share.of >= FEW => tongue.percent(v),
        Some(_) => format!("{}/{}", share.came, share.of),
        None => String::new(),
    }
}
