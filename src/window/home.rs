//! Practice from the club and results for it: what comes as a file, and what goes back as one.

use super::choose::Choice;
use super::look::{self, Hue};
use super::notices;
use super::page::{Content, Given, Page};
use super::practice::Practice as Turns;
use super::shown::{Shown, Who};
use super::sides;
use crate::drill::TurnState;
use crate::worker::home::{ENDING, HandedIn, HomeCommand, HomeEvent, LookedResults, OpenedPractice, Taken};
use crate::worker::{Command, Event, GivenCall, Trouble};
use eframe::egui::{Button, Checkbox, Label, Panel, RichText, Ui};

/// The page.
pub struct HomePage {
    practice: Option<OpenedPractice>,
    results: Option<LookedResults>,
    told: Option<Told>,
    /// The call under way, by place.
    now: Option<usize>,
    /// Hand in with the recordings.
    recordings: bool,
    turns: Turns,
    choice: Choice,
    /// Somebody went away to say who they are, and comes back to the practice.
    waits: bool,
}

/// What was done, or could not be done.
enum Told {
    HandedIn(HandedIn),
    TakenIn(Taken),
    Failed(Trouble),
}

impl Default for HomePage {
    fn default() -> Self {
        Self {
            practice: None,
            results: None,
            told: None,
            now: None,
            recordings: true,
            turns: Turns::one_call(),
            choice: Choice::default(),
            waits: false,
        }
    }
}

impl Content for HomePage {
    fn ui(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        if self.now.is_some() {
            Panel::top("home").resizable(false).show(ui, |ui| self.head(ui, given));
        }
        if self.now.is_some() {
            self.turns.ui(ui, given);
        } else {
            sides::scrolls(ui, "home", |ui| self.files(ui, given));
        }
    }

    fn take(&mut self, event: &Event) {
        match event {
            Event::Home(told) => self.told_by(told),
            // An attempt at the call under way is in the logbook: it is not open any more.
            Event::Stored(_) => {
                if let (Some(now), Some(practice)) = (self.now, &mut self.practice) {
                    practice.open.retain(|call| *call != now);
                }
            }
            _ => {}
        }
        self.turns.take(event);
    }

    fn left(&mut self, shown: &Shown) -> Vec<Command> {
        self.now = None;
        self.turns.left(shown)
    }

    fn talks(&self, shown: &Shown) -> bool {
        self.now.is_some() && shown.dealt.is_some()
    }

    fn in_column(&self) -> bool {
        false
    }
}

impl HomePage {
    /// A practice waits for whoever said just now who they are; asked once. With the name it was written for.
    pub fn is_waited_for(&mut self) -> bool {
        std::mem::take(&mut self.waits)
    }

    fn told_by(&mut self, told: &HomeEvent) {
        match told {
            // That is the phrase desk's, and the front's.
            HomeEvent::Site(_) | HomeEvent::SiteReady(_) => {}
            HomeEvent::Practice(opened) => {
                self.practice = Some((**opened).clone());
                self.results = None;
                self.told = None;
                self.now = None;
            }
            HomeEvent::Results(looked) => {
                self.results = Some((**looked).clone());
                self.practice = None;
                self.told = None;
                self.now = None;
            }
            HomeEvent::HandedIn(done) => self.told = Some(Told::HandedIn((**done).clone())),
            HomeEvent::TakenIn(taken) => {
                self.results = None;
                self.told = Some(Told::TakenIn(*taken));
            }
            HomeEvent::Failed(why) => self.told = Some(Told::Failed(why.clone())),
        }
    }

    fn files(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        ui.label(RichText::new(words.say("home.heading")).text_style(look::title()));
        ui.add(Label::new(words.say("home.about")).wrap());
        ui.add_space(6.0);
        let none = self.practice.is_none() && self.results.is_none();
        let open = if none {
            let open = look::add_primary(ui, true, words.say("home.open"));
            given.main(ui, &open);
            open
        } else {
            ui.button(words.say("home.open"))
        };
        if open.clicked() {
            self.choice
                .open(ui.ctx(), words, &[("choose.own", &[ENDING, "json", "zip"])]);
        }
        if let Some(file) = self.choice.chosen() {
            given.ask(Command::Home(HomeCommand::Open(file)));
        }
        ui.add_space(6.0);
        self.practice(ui, given);
        self.results(ui, given);
        self.message(ui, given);
    }

    /// The practice that was opened: what is left of it, and what it needs.
    fn practice(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let (shown, words) = (given.shown, given.words);
        let Some(OpenedPractice { file, practice, open }) = &self.practice else {
            return;
        };
        let (all, left) = (practice.calls.len(), open.len());
        let date = practice.date.to_string();
        let values = [
            ("class", practice.class.as_str()),
            ("name", &practice.name),
            ("date", &date),
            ("site", &practice.site),
        ];
        ui.add(Label::new(look::bold(words.fill("home.practice", &values))).wrap());
        let counts = [("n", left.to_string()), ("all", all.to_string())];
        let counts = counts.each_ref().map(|(n, v)| (*n, v.as_str()));
        if left == 0 {
            ui.label(words.say("home.done"));
        } else {
            ui.label(words.fill("home.left", &counts));
        }
        let Who::Student(student) = &shown.who else {
            ui.add(Label::new(words.say("home.nobody")).wrap());
            let to = look::add_primary(ui, true, words.say("home.to_student"));
            given.main(ui, &to);
            if to.clicked() {
                self.waits = true;
                given.go(Page::Student);
            }
            return;
        };
        ui.label(words.fill("home.who", &[("name", &student.name)]));
        if student.name.trim().to_lowercase() != practice.name.trim().to_lowercase() {
            let names = [("name", practice.name.as_str()), ("who", student.name.as_str())];
            let text = RichText::new(words.fill("home.somebody_else", &names)).color(Hue::Amber.on(ui));
            ui.add(Label::new(text).wrap());
            if ui.button(words.say("page.student")).clicked() {
                given.go(Page::Student);
            }
        }
        let site = shown.site.as_ref().filter(|s| s.id == practice.site);
        let Some(site) = site else {
            ui.add(Label::new(words.fill("home.other_site", &[("site", &practice.site)])).wrap());
            let take = look::add_primary(ui, true, words.say("home.use_site"));
            given.main(ui, &take);
            if take.clicked() {
                given.ask(Command::Home(HomeCommand::UseSite(file.clone())));
            }
            return;
        };
        if let Err(e) = practice.check(site) {
            ui.add(Label::new(RichText::new(e.to_string()).color(Hue::Amber.on(ui))).wrap());
            return;
        }
        if let Some(first) = open.first().copied() {
            let key = if left < all { "home.go_on" } else { "home.begin" };
            let begin = look::add_primary(ui, student.consent.is_some(), words.say(key));
            given.main(ui, &begin);
            if begin.clicked() {
                self.begin(given, first);
                return;
            }
        }
        if left < all {
            ui.horizontal_wrapped(|ui| {
                let button = Button::new(words.say("home.hand_in"));
                if ui.add(button).clicked() {
                    given.ask(Command::Home(HomeCommand::HandIn {
                        file: file.clone(),
                        recordings: self.recordings,
                    }));
                }
                ui.add(Checkbox::new(&mut self.recordings, words.say("home.with_recordings")));
            });
        }
    }

    /// Deals a call of the practice.
    fn begin(&mut self, given: &mut Given<'_>, place: usize) {
        let Some(OpenedPractice { practice, .. }) = &self.practice else {
            return;
        };
        let Some(call) = practice.calls.get(place) else { return };
        given.ask(Command::Given(Box::new(GivenCall {
            step: call.step.clone(),
            situation: call.situation.clone(),
            turn: practice.turn(place),
        })));
        given.to_main = true;
        self.now = Some(place);
        self.told = None;
    }

    /// Which call it is; the next one, or the end for today.
    fn head(&mut self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        let (Some(now), Some(opened)) = (self.now, &self.practice) else {
            return;
        };
        let all = opened.practice.calls.len().to_string();
        let next = opened.open.iter().copied().find(|place| *place != now);
        let made = !opened.open.contains(&now);
        let busy = matches!(given.shown.state, Some(TurnState::Transmitting | TurnState::Judging));
        let mut over = false;
        ui.horizontal_wrapped(|ui| {
            let values = [("n", (now + 1).to_string()), ("all", all)];
            let values = values.each_ref().map(|(n, v)| (*n, v.as_str()));
            ui.label(look::bold(words.fill("home.call", &values)));
            if let Some(next) = next {
                let button = Button::new(words.say("home.next"));
                if ui.add_enabled(!busy && made, button).clicked() {
                    self.begin(given, next);
                }
            }
            over = ui.add_enabled(!busy, Button::new(words.say("home.stop"))).clicked();
        });
        ui.add_space(4.0);
        if over {
            self.now = None;
            given.to_main = true;
        }
    }

    fn results(&self, ui: &mut Ui, given: &mut Given<'_>) {
        let words = given.words;
        let Some(looked) = &self.results else { return };
        let (attempts, recordings) = (looked.attempts.to_string(), looked.recordings.to_string());
        let values = [
            ("name", looked.name.as_str()),
            ("attempts", &attempts),
            ("recordings", &recordings),
            ("sealed", &looked.sealed),
        ];
        ui.add(Label::new(look::bold(words.fill("home.results", &values))).wrap());
        let take = look::add_primary(ui, true, words.say("home.take_in"));
        given.main(ui, &take);
        if take.clicked() {
            given.ask(Command::Home(HomeCommand::TakeIn(looked.file.clone())));
        }
    }

    fn message(&self, ui: &mut Ui, given: &Given<'_>) {
        let words = given.words;
        let counted = |key, n: usize| (n > 0).then(|| words.fill(key, &[("n", &n.to_string())]));
        let lines = match &self.told {
            None => return,
            Some(Told::Failed(why)) => {
                let text = notices::text(words, why);
                ui.add(Label::new(RichText::new(text).color(Hue::Amber.on(ui))).wrap());
                return;
            }
            Some(Told::HandedIn(done)) => {
                let (attempts, recordings) = (done.attempts.to_string(), done.recordings.to_string());
                let file = done.file.display().to_string();
                let values = [
                    ("attempts", attempts.as_str()),
                    ("recordings", &recordings),
                    ("file", &file),
                ];
                let written = words.fill("home.handed_in", &values);
                let over = words.say("home.hand_over").to_owned();
                vec![Some(written), counted("home.lost", done.lost), Some(over)]
            }
            Some(Told::TakenIn(taken)) => {
                let (stored, here) = (taken.stored.to_string(), taken.here.to_string());
                let values = [("stored", stored.as_str()), ("here", &here)];
                vec![
                    Some(words.fill("home.taken", &values)),
                    counted("home.gone", taken.gone),
                    counted("home.twice", taken.twice),
                    counted("home.silent", taken.silent),
                ]
            }
        };
        for line in lines.into_iter().flatten() {
            ui.add(Label::new(line).wrap());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::pagetest::{Bench, larkmoor};
    use super::*;
    use crate::call::Situation;
    use crate::class::{Practice, PracticeCall};
    use crate::site::Callsign;
    use egui_kittest::kittest::Queryable;
    use std::path::PathBuf;
    use uuid::Uuid;

    fn opened(version: &str) -> HomeEvent {
        let call = || PracticeCall {
            step: "ready".into(),
            situation: Situation::new(Callsign::parse("G-CLRM").unwrap(), 2, "north"),
        };
        HomeEvent::Practice(Box::new(OpenedPractice {
            file: PathBuf::from("Robin.practice.cableside"),
            practice: Practice {
                id: Uuid::from_u128(3),
                class: "Tuesday".into(),
                student: Uuid::from_u128(4),
                name: "Robin".into(),
                site: "larkmoor".into(),
                site_version: version.into(),
                date: jiff::civil::date(2026, 4, 1),
                steps: Vec::new(),
                phrases: std::collections::BTreeMap::new(),
                seed: 1,
                calls: vec![call(), call()],
            },
            open: vec![0, 1],
        }))
    }

    #[test]
    fn a_practice_is_made_call_by_call_and_handed_in() {
        let mut bench = Bench::practising(HomePage::default());
        bench.tell(Event::Home(opened(&larkmoor().version)));
        bench.window.get_by_label("2 of 2 calls are left.");
        assert!(
            bench
                .window
                .query_by_label("Write the results for the instructor")
                .is_none()
        );
        bench.window.get_by_label("Begin").click();
        bench.window.run();
        let asked = bench.asked();
        assert!(asked[0].starts_with("Given(") && asked.len() == 1, "{asked:?}");
        bench.dealt();
        bench.window.get_by_label("Call 1 of 2");
        // Not before the call was made.
        bench.window.get_by_label("Next call").click();
        bench.window.run();
        assert!(bench.asked().is_empty());
        bench.tell(Event::Stored(Uuid::from_u128(9)));
        bench.window.get_by_label("Next call").click();
        bench.window.run();
        assert_eq!(bench.asked().len(), 1);
        bench.window.get_by_label("Call 2 of 2");
        bench.window.get_by_label("Stop for today").click();
        bench.window.run();
        bench.window.get_by_label("1 of 2 calls are left.");
        bench.window.get_by_label("Go on");
        bench
            .window
            .get_by_label("Write the results for the instructor")
            .click();
        bench.window.run();
        assert_eq!(
            bench.asked(),
            ["Home(HandIn { file: \"Robin.practice.cableside\", recordings: true })"]
        );
        bench.tell(Event::Home(HomeEvent::HandedIn(Box::new(HandedIn {
            file: PathBuf::from("Robin.results.cableside"),
            attempts: 1,
            recordings: 0,
            lost: 0,
            left: 1,
        }))));
        bench
            .window
            .get_by_label("Written, 1 calls with 0 recordings: Robin.results.cableside");
    }

    #[test]
    fn what_a_practice_needs_is_said() {
        let mut bench = Bench::new(HomePage::default());
        bench.tell(Event::Home(opened("1")));
        bench.window.get_by_label("To the page Student").click();
        bench.window.run();
        assert_eq!(bench.window.state().went, [Page::Student]);
        bench.tell(Event::Student(Some(super::super::pagetest::robin())));
        bench.window.get_by_label("Use this site").click();
        bench.window.run();
        assert_eq!(bench.asked(), ["Home(UseSite(\"Robin.practice.cableside\"))"]);
        bench.tell(Event::SiteLoaded(larkmoor()));
        bench.tell(Event::Home(opened("another")));
        bench
            .window
            .get_by_label_contains("this practice was made with version another");
    }

    #[test]
    fn results_are_looked_at_before_they_are_taken_in() {
        let mut bench = Bench::practising(HomePage::default());
        bench.tell(Event::Home(HomeEvent::Results(Box::new(LookedResults {
            file: PathBuf::from("r.cableside"),
            name: "Kim".into(),
            attempts: 3,
            recordings: 1,
            sealed: "2026-04-02 18:00 UTC".into(),
        }))));
        bench.window.get_by_label("Import them into the logbook").click();
        bench.window.run();
        assert_eq!(bench.asked(), ["Home(TakeIn(\"r.cableside\"))"]);
        bench.tell(Event::Home(HomeEvent::TakenIn(Taken {
            stored: 2,
            here: 1,
            gone: 0,
            silent: 1,
            twice: 0,
        })));
        bench.window.get_by_label("2 calls are new, 1 were here already.");
        bench
            .window
            .get_by_label("1 came without their recording, since there is no consent to recordings here.");
    }
}
