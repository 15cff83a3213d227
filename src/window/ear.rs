//! The ear drill: another pilot's call over the radio, a question about it, and what it was.

use super::look;
use super::page::{Content, Given};
use super::scene::{self, Level, View};
use super::shown::Shown;
use crate::drill::ear::{Difficulty, Question};
use crate::site::Site;
use crate::worker::{Command, Ear, EarRequest};
use eframe::egui::{Button, Label, RichText, Slider, Ui};

/// Height of the picture, points.
const PICTURE: f32 = 190.0;

/// The page's drafts: what is asked, and how hard it is to hear.
#[derive(Debug, Default)]
pub struct EarPage {
    question: Option<Question>,
    difficulty: Difficulty,
}

impl Content for EarPage {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let (shown, words) = (given.shown, given.words);
        let Some(site) = shown.site.as_deref() else {
            ui.label(words.say("practice.not_ready"));
            return;
        };
        ui.label(RichText::new(words.say("ear.heading")).text_style(look::title()));
        ui.add(Label::new(words.say("ear.about")).wrap());
        look::sheets(ui, 1 + usize::from(shown.ear.is_some()), |ui, n| {
            match (n, &shown.ear) {
                (0, Some(ear)) => {
                    task(ui, given, site, ear);
                    self.next(ui, given, "ear.next", ear.answer.is_none());
                }
                _ => self.choose(ui, given, site),
            }
        });
        if shown.ear.is_none() {
            self.next(ui, given, "ear.begin", false);
        }
    }

    fn left(&mut self, shown: &Shown) -> Vec<Command> {
        if shown.ear.is_some() && shown.playing {
            vec![Command::StopPlaying]
        } else {
            Vec::new()
        }
    }
}

impl EarPage {
    /// The next call. While a question is `open` its answers are what matters.
    fn next(&self, ui: &mut Ui, given: &mut Given<'_>, key: &'static str, open: bool) {
        ui.add_space(6.0);
        let text = given.words.say(key);
        let next = if open {
            ui.button(text)
        } else {
            let next = look::add_primary(ui, true, text);
            given.main(ui, &next);
            next
        };
        if next.clicked() {
            given.ask(Command::Ear(EarRequest {
                question: self.question,
                difficulty: self.difficulty,
            }));
            given.to_main = true;
        }
    }

    fn choose(&mut self, ui: &mut Ui, given: &Given<'_>, site: &Site) {
        let words = given.words;
        ui.horizontal_wrapped(|ui| {
            ui.label(words.say("ear.ask"));
            let all = Question::ALL.map(|q| (Some(q), q.text(site)));
            for (question, name) in [(None, words.say("ear.anything").to_owned())].into_iter().chain(all) {
                let chosen = self.question == question;
                if ui.add(Button::new(name).selected(chosen)).clicked() {
                    self.question = question;
                }
            }
        });
        let label = ui.label(words.say("ear.hiss"));
        ui.add(Slider::new(&mut self.difficulty.hiss, 0..=3))
            .labelled_by(label.id);
        ui.checkbox(&mut self.difficulty.clipped, words.say("ear.clipped"));
    }
}

fn task(ui: &mut Ui, given: &mut Given<'_>, site: &Site, ear: &Ear) {
    let words = given.words;
    let task = &ear.task;
    if task.question == Question::Matter {
        let s = &task.situation;
        let kind = site.about_glider(&s.callsign);
        let crew = words.count("facts.person", "facts.people", usize::from(s.crew));
        let board = words.fill(
            "ear.board",
            &[
                ("glider", &format!("{} {kind}", s.callsign)),
                ("crew", &crew),
                ("cable", &site.cable_called(&s.cable)),
            ],
        );
        ui.add(Label::new(look::bold(board)).wrap());
        for known in site.ready_step().map(|step| s.known(site, step)).unwrap_or_default() {
            ui.add(Label::new(known).wrap());
        }
        // Against what is seen at the launch point, and not only against a line of text.
        // Once it is answered the verdict has the room.
        if let (Some(step), Some(direction), None) =
            (site.ready_step(), scene::direction(site, s, ear.number), &ear.answer)
        {
            View::of(site, step, s, direction, None, Level::Written).ui(ui, words, PICTURE);
        }
    }
    if ear.unheard && ear.answer.is_none() {
        ui.add(Label::new(words.fill("ear.unheard", &[("call", &task.text)])).wrap());
    }
    if ui.button(words.say("ear.hear_again")).clicked() {
        given.ask(Command::PlayEar);
    }
    ui.label(RichText::new(task.question.text(site)).heading());
    let open = ear.answer.is_none();
    ui.horizontal_wrapped(|ui| {
        let choices = task.choices.iter().map(|c| Some(c.as_str())).chain([None]);
        for choice in choices {
            let given_answer = ear.answer.as_ref().is_some_and(|a| a.as_deref() == choice);
            let button = Button::new(task.shown(site, choice)).selected(given_answer);
            let button = ui.add_enabled(open, button);
            // The keyboard goes to the answers, and from there to the next call.
            given.main(ui, &button);
            if button.clicked() {
                given.ask(Command::AnswerEar(choice.map(str::to_owned)));
                given.to_main = true;
            }
        }
    });
    if let Some(answer) = &ear.answer {
        let good = task.answered(answer.as_deref());
        let dark = ui.visuals().dark_mode;
        let (key, verdict) = if good {
            ("ear.yes", crate::call::Verdict::Said)
        } else {
            ("ear.no", crate::call::Verdict::Wrong)
        };
        let right = task.shown(site, task.right.as_deref());
        let text = words.fill(key, &[("answer", &right)]);
        ui.horizontal_wrapped(|ui| {
            let colour = look::verdict(verdict, dark);
            let (place, _) = ui.allocate_exact_size(eframe::egui::Vec2::splat(18.0), eframe::egui::Sense::hover());
            look::sign(ui.painter(), place, Some(verdict), colour);
            ui.label(RichText::new(text).heading().color(colour));
        });
        ui.add(Label::new(words.fill("ear.call_was", &[("call", &task.text), ("truth", &task.truth(site))])).wrap());
    }
    // What nobody heard is no question that was answered.
    if ear.unheard {
        return;
    }
    let so_far = [
        ("right", ear.right.to_string()),
        ("n", (ear.number - u32::from(open)).to_string()),
    ];
    let so_far: Vec<(&str, &str)> = so_far.iter().map(|(k, v)| (*k, v.as_str())).collect();
    ui.label(look::remark(words.fill("ear.so_far", &so_far)));
}
