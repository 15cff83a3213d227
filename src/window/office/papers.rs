//! Reports of a student or a class, and the sheet of the site's calls for the wall.

use super::super::choose::Place;
use super::super::look;
use super::super::page::Given;
use super::super::practice::list;
use super::{Around, For, in_a_file_name};
use crate::worker::Command;
use crate::worker::office::{OfficeCommand, papers_folder};
use crate::worker::papers::{Form, Of, Wanted};
use eframe::egui::{Button, Checkbox, Label, Ui};
use jiff::civil::Date;

/// The days that count.
const DAYS: [(Option<i32>, &str); 5] = [
    (None, "office.days_all"),
    (Some(0), "office.days_today"),
    (Some(6), "office.days_week"),
    (Some(29), "office.days_month"),
    (Some(364), "office.days_year"),
];

/// The drafts.
#[derive(Default)]
pub(super) struct Papers {
    whose: For,
    form: Form,
    each: bool,
    days: Option<i32>,
    file: Place,
    wall: Place,
}

fn kinds(form: Form) -> &'static [(&'static str, &'static [&'static str])] {
    match form {
        Form::Pdf => &[("choose.pdf", &["pdf"])],
        Form::Csv => &[("choose.csv", &["csv"])],
        Form::Json => &[("choose.json", &["json"])],
    }
}

#[cfg(test)]
impl Papers {
    /// As if they were chosen from the list.
    pub fn whose_for_test(&mut self, whose: For) {
        self.whose = whose;
    }

    pub fn file_for_test(&self) -> String {
        self.file.text.clone()
    }
}

impl Papers {
    pub fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>, around: &Around<'_>) -> bool {
        let mut begun = false;
        look::sheets(ui, 2, |ui, n| {
            begun |= if n == 0 {
                self.report(ui, given, around)
            } else {
                wall(ui, given, &mut self.wall, around.busy)
            };
        });
        begun
    }

    fn report(&mut self, ui: &mut Ui, given: &mut Given<'_>, around: &Around<'_>) -> bool {
        let words = given.words;
        ui.heading(words.say("office.report"));
        ui.add(Label::new(look::remark(words.say("office.report_about"))).wrap());
        let before = (self.whose, self.form);
        self.whose.choose(ui, given, around);
        let days = DAYS.iter().find(|(days, _)| *days == self.days);
        ui.horizontal_wrapped(|ui| {
            list(
                ui,
                "office.days",
                words,
                words.say(days.map_or("office.days_all", |d| d.1)),
                |ui| {
                    for (days, key) in DAYS {
                        ui.selectable_value(&mut self.days, days, words.say(key));
                    }
                },
            );
        });
        ui.horizontal_wrapped(|ui| {
            ui.label(look::remark(words.say("office.form")));
            for (form, key) in [
                (Form::Pdf, "office.pdf"),
                (Form::Csv, "office.csv"),
                (Form::Json, "office.json"),
            ] {
                let chosen = self.form == form;
                if ui.add(Button::new(words.say(key)).selected(chosen)).clicked() {
                    self.form = form;
                }
            }
        });
        let group = !matches!(self.whose, For::Student(_));
        if group && self.form == Form::Pdf {
            ui.add(Checkbox::new(&mut self.each, words.say("office.each")));
        }
        if before != (self.whose, self.form) {
            self.file.forget();
        }
        let today = jiff::tz::TimeZone::system().to_datetime(jiff::Timestamp::now()).date();
        let name = in_a_file_name(&self.whose.name(given, around));
        let name = format!("{name}-{today}.{}", self.form.ending());
        self.file.suggest(&papers_folder().join(name));
        self.file.for_writing(ui, words, "office.file", kinds(self.form));
        let site = given.shown.site.as_ref();
        let members = self.whose.members(given, around).len();
        let n = members.to_string();
        let text = match site {
            Some(site) => words.fill("office.report_of", &[("n", &n), ("site", &site.name)]),
            None => words.say("office.fail_no_site").to_owned(),
        };
        ui.add(Label::new(look::remark(text)).wrap());
        let ready = site.is_some() && members > 0 && !self.file.text.trim().is_empty() && !around.busy;
        let write = look::add_primary(ui, ready, words.say("office.write_report"));
        given.main(ui, &write);
        if !write.clicked() {
            return false;
        }
        let of = match self.whose {
            For::Everybody => Of::Everybody,
            For::Class(id) => Of::Class(id),
            For::Student(id) => Of::Student(id),
        };
        let from = self.days.and_then(|days| before_today(today, days));
        given.ask(Command::Office(OfficeCommand::Report {
            wanted: Wanted {
                of,
                form: self.form,
                each: self.each && group && self.form == Form::Pdf,
                from,
                until: None,
                date: today,
            },
            file: self.file.path(),
        }));
        true
    }
}

fn before_today(today: Date, days: i32) -> Option<Date> {
    today.checked_sub(jiff::Span::new().try_days(days).ok()?).ok()
}

/// The sheet for the wall: also on the page of the calls.
pub(in crate::window) fn wall(ui: &mut Ui, given: &mut Given<'_>, place: &mut Place, busy: bool) -> bool {
    let words = given.words;
    ui.heading(words.say("office.wall"));
    ui.add(Label::new(look::remark(words.say("office.wall_about"))).wrap());
    let Some(site) = given.shown.site.clone() else {
        ui.label(words.say("office.fail_no_site"));
        return false;
    };
    let name = format!("{}.pdf", in_a_file_name(&site.name));
    place.suggest(&papers_folder().join(name));
    place.for_writing(ui, words, "office.wall_file", kinds(Form::Pdf));
    let ready = !place.text.trim().is_empty() && !busy;
    let write = ui.add_enabled(ready, Button::new(words.say("office.write_wall")));
    if write.clicked() {
        given.ask(Command::Office(OfficeCommand::Wall(place.path())));
        return true;
    }
    false
}
