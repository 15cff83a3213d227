//! The printed report of a student and of a class.

use super::Scope;
use super::figures::{ElementLine, Figures, MixUp, OverruledVerdict};
use super::group::Group;
use super::ink::{BLACK, GREY};
use super::paper::{Paper, PrintError};
use super::rate::{FEW, LATELY, Share};
use super::table::{Cell, Column, ink_of};
use super::tongue::Tongue;
use crate::site::Language;
use std::fmt::Write as _;

/// Lines of mix-ups on paper; CSV and JSON have them all.
const MIX_UPS: usize = 12;
/// Elements with a column in the class's table.
const COLUMNS: usize = 8;

/// The report of one student as PDF.
pub fn student_pdf(scope: &Scope<'_>, name: &str, figures: &Figures) -> Result<Vec<u8>, PrintError> {
    let tongue = Tongue(scope.site.language);
    let title = format!("{} \u{b7} {name}", tongue.of("Practice report", "Übungsbericht"));
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
    let title = format!(
        "{} \u{b7} {}",
        tongue.of("Class report", "Lehrgangsbericht"),
        group.name
    );
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
        let own = tongue.of(
            "This report tells which words were practised with Cableside. It says nothing about who is fit to fly or to run a \
             launch point.",
            "Dieser Bericht zeigt, welche Worte mit Cableside geübt wurden. Er sagt nichts darüber, wer fliegen oder den \
             Flugbetrieb leiten kann.",
        );
        let invented = if self.site.invented {
            format!(" {} {}", self.site.name, tongue.of("is invented.", "ist erfunden."))
        } else {
            String::new()
        };
        format!("{} {own}{invented}", self.site.caution)
    }

    /// Site and date, for the line below a title.
    fn below(&self, figures: &Figures) -> String {
        let tongue = Tongue(self.site.language);
        let made = format!("{} {}", tongue.of("made on", "erstellt am"), tongue.long(self.date));
        match figures.days {
            Some((first, last)) if first != last => format!(
                "{}, {} {} {}, {made}",
                self.site.name,
                tongue.long(first),
                tongue.of("to", "bis"),
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
        paper.paragraph(
            tongue.of("No calls in this time.", "Keine Meldungen in dieser Zeit."),
            10.0,
            BLACK,
        );
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
            tongue.of("complete at the first attempt", "beim ersten Versuch vollständig"),
            tongue.so_many(&f.first_time),
            tongue.interval(&f.first_time)
        )
    } else {
        tongue
            .of("complete at the first attempt", "beim ersten Versuch vollständig")
            .to_owned()
    };
    paper.facts(&[
        (
            f.calls.to_string(),
            tongue.of("calls practised", "Meldungen geübt").to_owned(),
        ),
        (
            f.attempts.to_string(),
            tongue
                .of("attempts, repeats included", "Versuche mit Wiederholungen")
                .to_owned(),
        ),
        (
            f.days_practised.to_string(),
            tongue.of("days with practice", "Tage mit Übung").to_owned(),
        ),
        (right_away, of_all),
    ]);
}

fn steps(paper: &mut Paper, f: &Figures) {
    let tongue = paper.tongue;
    paper.heading(tongue.of("What was practised", "Was geübt wurde"), 60.0);
    let rest = paper.inner() - 240.0 - 60.0 - 90.0;
    let columns = [
        Column::left(tongue.of("Call", "Meldung"), 240.0),
        Column::right(tongue.of("Calls", "Anzahl"), 60.0),
        Column::right(tongue.of("Complete at once", "Sofort vollständig"), 90.0),
        Column::right(tongue.of("95% interval", "95-%-Bereich"), rest),
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
    paper.heading(tongue.of("Reliability", "Wie sicher es kommt"), 80.0);
    let scale = paper.inner() - 112.0 - 62.0 - 62.0 - 84.0 - 42.0 - 46.0;
    let columns = [
        Column::left(tongue.of("Part of the call", "Teil der Meldung"), 112.0),
        Column::left(tongue.of("Said", "Gesagt"), 62.0),
        Column::left(tongue.of("Latest", "Zuletzt"), 62.0),
        Column::left(
            &format!("{} 0\u{2013}{}", tongue.of("Latest,", "Zuletzt,"), tongue.percent(1.0)),
            scale,
        ),
        Column::left("", 84.0),
        Column::right(tongue.of("Wrong", "Falsch"), 42.0),
        Column::right(tongue.of("Missing", "Fehlt"), 46.0),
    ];
    let rows: Vec<Vec<Cell>> = f.elements.iter().map(|e| element_row(tongue, e)).collect();
    paper.table(&columns, &rows, 9.0);
    let text = match tongue.0 {
        Language::GERMAN => format!(
            "Nur erste Versuche; was nicht sicher zu verstehen war, zählt nicht. Zuletzt: die letzten {LATELY} Meldungen, mit dem \
             Bereich, der den wahren Anteil in 19 von 20 Fällen enthält. Sitzt: er liegt ganz über 75 %. Sitzt noch \
             nicht: ganz darunter. Weniger als {FEW} Meldungen sagen nichts."
        ),
        _ => format!(
            "First attempts only; what could not be made out counts neither way. Latest: the last {LATELY} calls, with the \
             interval that holds the true share 19 times of 20. Steady: it lies wholly above 75 %. Not steady: wholly \
             below. Fewer than {FEW} calls say nothing."
        ),
    };
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
        tongue.of(
            "Complete at the first attempt, over time",
            "Beim ersten Versuch vollständig, im Lauf der Zeit",
        ),
        if f.trend.is_empty() {
            20.0
        } else {
            paper.gap(110.0).max(60.0) + 40.0
        },
    );
    if f.trend.is_empty() {
        paper.paragraph(
            tongue.of(
                "Too few calls for a trend: it takes twenty.",
                "Zu wenige Meldungen für einen Verlauf: zwanzig müssen es sein.",
            ),
            9.0,
            BLACK,
        );
        return;
    }
    paper.plot(&f.trend, paper.gap(110.0).max(60.0));
    let sizes = f.trend.iter().map(|p| p.first_time.of);
    let (least, most) = (sizes.clone().min().unwrap_or(0), sizes.max().unwrap_or(0));
    let calls = if least == most {
        least.to_string()
    } else {
        format!("{least} {} {most}", tongue.of("to", "bis"))
    };
    let text = format!(
        "{} {calls} {}",
        tongue.of("Each point stands for", "Jeder Punkt steht für"),
        tongue.of(
            "calls one after another; the bar is its 95% interval.",
            "Meldungen nacheinander; der Balken ist sein 95-%-Bereich."
        )
    );
    paper.paragraph(&text, 8.0, GREY);
}

fn mix_ups(paper: &mut Paper, all: &[MixUp]) {
    let tongue = paper.tongue;
    if all.is_empty() {
        return;
    }
    paper.heading(tongue.of("Mix-ups", "Verwechslungen"), 50.0);
    let rest = (paper.inner() - 140.0 - 60.0) / 2.0;
    let columns = [
        Column::left(tongue.of("Part of the call", "Teil der Meldung"), 140.0),
        Column::left(tongue.of("Right was", "Richtig war"), rest),
        Column::left(tongue.of("Heard", "Gehört"), rest),
        Column::right(tongue.of("Times", "Wie oft"), 60.0),
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
            tongue.of("And", "Und"),
            all.len() - MIX_UPS,
            tongue.of(
                "more, in the CSV and JSON reports.",
                "weitere, im CSV- und JSON-Bericht."
            )
        );
        paper.paragraph(&text, 8.0, GREY);
    }
}

fn overruled(paper: &mut Paper, all: &[OverruledVerdict], with_names: bool) {
    let tongue = paper.tongue;
    if all.is_empty() {
        return;
    }
    paper.heading(
        tongue.of("Verdicts judged anew by an instructor", "Vom Fluglehrer neu beurteilt"),
        50.0,
    );
    let (name, by, step, part) = (if with_names { 110.0 } else { 0.0 }, 84.0, 84.0, 74.0);
    let rest = paper.inner() - 62.0 - name - step - part - 100.0 - by;
    let mut columns = vec![Column::left(tongue.of("Day", "Tag"), 62.0)];
    if with_names {
        columns.push(Column::left(tongue.of("Student", "Schüler"), name));
    }
    columns.extend([
        Column::left(tongue.of("Call", "Meldung"), step),
        Column::left(tongue.of("Part", "Teil"), part),
        Column::left(tongue.of("Program, instructor", "Programm, Fluglehrer"), 100.0),
        Column::left(tongue.of("Judged by", "Beurteilt von"), by),
        Column::left(tongue.of("Reason", "Grund"), rest),
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
    let mut all = vec![
        tongue
            .of(
                "The program mishears, more in noise; the instructor decides.",
                "Das Programm verhört sich, bei Lärm öfter; maßgebend ist der Fluglehrer.",
            )
            .to_owned(),
    ];
    let mut add = |n: u64, what: &str, then: &str| {
        if n > 0 {
            all.push(format!("{what}: {n}{then}"));
        }
    };
    add(
        f.typed,
        tongue.of("Typed attempts", "Getippte Versuche"),
        tongue.of(
            ". They show that the words are known, not how they are spoken.",
            ". Sie zeigen, dass die Worte bekannt sind, nicht, wie sie klingen.",
        ),
    );
    add(
        f.held_out,
        tongue.of(
            "Attempts held out until somebody judges them",
            "Zurückgestellte Versuche, bis jemand sie beurteilt",
        ),
        tongue.of(". They are in no figure.", ". Sie sind in keiner Zahl."),
    );
    let of_all = format!(
        " {} {}. {}",
        tongue.of("of", "von"),
        f.judged,
        tongue.of("They count neither way.", "Sie zählen nicht.")
    );
    add(
        f.undecided,
        tongue.of(
            "Parts that could not be made out",
            "Teile, die nicht sicher zu verstehen waren",
        ),
        &of_all,
    );
    add(
        f.elsewhere,
        tongue.of("Attempts at other sites", "Versuche an anderen Plätzen"),
        tongue.of(". They are not in this report.", ". Sie sind nicht in diesem Bericht."),
    );
    if f.site_versions.len() > 1 {
        all.push(format!(
            "{} {}.",
            tongue.of(
                "The site's phrases changed in this time; calls were made with versions",
                "Die Sprechgruppen des Platzes haben sich in dieser Zeit geändert; geübt wurde mit den Fassungen"
            ),
            f.site_versions.join(", ")
        ));
    }
    all
}

fn cautions(paper: &mut Paper, f: &Figures) {
    let tongue = paper.tongue;
    paper.heading(tongue.of("Please note", "Zu beachten"), 30.0);
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
        paper.heading(
            tongue.of("Who needs practice on what", "Wer was noch üben sollte"),
            50.0,
        );
        let columns = [
            Column::left(tongue.of("Part of the call", "Teil der Meldung"), 150.0),
            Column::left(
                tongue.of("Not steady with", "Sitzt noch nicht bei"),
                paper.inner() - 150.0,
            ),
        ];
        let rows: Vec<Vec<Cell>> = group
            .needs
            .iter()
            .map(|n| vec![Cell::Bold(n.label.clone()), Cell::Text(n.students.join(", "))])
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
    paper.heading(tongue.of("Everybody", "Alle"), 60.0);
    let part = (paper.inner() - 140.0 - 36.0 - 36.0 - 56.0 - 46.0 - 56.0) / COLUMNS as f32;
    let mut columns = vec![
        Column::left("", 140.0),
        Column::right(tongue.of("Calls", "Zahl"), 36.0),
        Column::right(tongue.of("Days", "Tage"), 36.0),
        Column::left(tongue.of("Last", "Zuletzt"), 56.0),
        Column::left(tongue.of("At once", "Sofort"), 46.0),
        Column::left(tongue.of("Trend", "Verlauf"), 56.0),
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
    let mut text = match tongue.0 {
        Language::GERMAN => format!(
            "Beim ersten Versuch gesagt, von den letzten {LATELY} entschiedenen Meldungen; weniger als {FEW} stehen als Anzahl da und \
             sagen nichts. Grün: der 95-%-Bereich liegt ganz über drei von vier. Orange: ganz darunter."
        ),
        _ => format!(
            "Said at the first attempt, of the latest {LATELY} decided calls; fewer than {FEW} are shown as counts and say nothing. \
             Green: the 95% interval lies wholly above three of four. Orange: wholly below."
        ),
    };
    if hidden > 0 {
        let more = tongue.of(
            "more parts are in the CSV and JSON reports.",
            "weitere Teile stehen im CSV- und JSON-Bericht.",
        );
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
