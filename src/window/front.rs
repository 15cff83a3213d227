//! The shell: which page is open, the navigation and the bars around the pages, and where events and actions go. No threads,
//! no files.

use super::class::ClassPage;
use super::desk::DeskPage;
use super::ear::EarPage;
use super::first::FirstPage;
use super::help::HelpPage;
use super::launch::LaunchPage;
use super::look;
use super::lookpage::LookPage;
use super::page::{Action, Content, Given};
use super::place::SitePage;
use super::practice::Practice;
use super::progress::ProgressPage;
use super::settings::{LastWho, SCALES, Settings, UnderWay};
use super::shown::{Shown, Who};
use super::sound::Sound;
use super::student::StudentPage;
use super::words::Words;
use crate::drill::TurnState;
use crate::worker::{Command, Event, ModelState, SituationRequest};
use eframe::egui::{self, CentralPanel, Key, KeyboardShortcut, Modifiers, Panel, RichText, ScrollArea, Ui};

pub use super::page::Page;

/// Height of the messages from which they scroll, points.
const MESSAGES: f32 = 150.0;
/// From this width on the navigation stands at the left side; below it lies on top.
const WIDE: f32 = 900.0;
/// Below this height the caution and the navigation scroll with the page, so that a tiny window still shows it.
const LOW: f32 = 420.0;
/// Width of the navigation, points.
const RAIL: f32 = 168.0;
/// Widest column of text, points.
const COLUMN: f32 = 720.0;

/// The pages' own states.
#[derive(Default)]
struct Pages {
    practice: Practice,
    launch: LaunchPage,
    ear: EarPage,
    student: StudentPage,
    site: SitePage,
    sound: Sound,
    look: LookPage,
    help: HelpPage,
    progress: ProgressPage,
    class: ClassPage,
    desk: DeskPage,
    first: FirstPage,
}

impl Pages {
    fn get(&mut self, page: Page) -> &mut dyn Content {
        match page {
            Page::Practice => &mut self.practice,
            Page::Launch => &mut self.launch,
            Page::Ear => &mut self.ear,
            Page::Student => &mut self.student,
            Page::Site => &mut self.site,
            Page::Sound => &mut self.sound,
            Page::Look => &mut self.look,
            Page::Help => &mut self.help,
            Page::Progress => &mut self.progress,
            Page::Class => &mut self.class,
            Page::Desk => &mut self.desk,
            Page::First => &mut self.first,
        }
    }
}

/// The whole of the window but its threads.
#[derive(Default)]
pub struct Front {
    /// What is shown.
    pub shown: Shown,
    /// The page open.
    pub page: Page,
    /// What is remembered from one start to the next.
    pub settings: Settings,
    /// The help on the open page is shown.
    helping: bool,
    /// The site was asked for by this name.
    asked_site: Option<String>,
    /// What was under way when the program ended last; dealt again once.
    resume: Option<UnderWay>,
    /// The system's language.
    system: Words,
    pages: Pages,
}

/// With Ctrl: the first nine pages.
const DIGITS: [Key; 9] = [
    Key::Num1,
    Key::Num2,
    Key::Num3,
    Key::Num4,
    Key::Num5,
    Key::Num6,
    Key::Num7,
    Key::Num8,
    Key::Num9,
];

impl Front {
    /// As it was left. `system` is the language where the settings name none.
    pub fn new(settings: Settings, system: Words) -> Self {
        Self {
            // Nothing is remembered: the first start.
            page: if settings == Settings::default() {
                Page::First
            } else {
                settings.page
            },
            resume: settings.under_way.clone(),
            settings,
            system,
            ..Self::default()
        }
    }

    /// Site and student were named at the start: there is nothing left to ask first.
    pub fn knows_enough(&mut self) {
        if self.page == Page::First {
            self.page = self.settings.page;
        }
    }

    /// The next launch is the one of this number.
    pub fn next_launch(&mut self, seed: Option<u64>) {
        self.pages.launch.seed = seed;
    }

    /// What the page that is open from the start needs.
    pub fn begin(&mut self) -> Vec<Command> {
        self.pages.get(self.page).opened(&self.shown)
    }

    /// The window's language.
    pub fn words(&self) -> Words {
        self.settings.words.unwrap_or(self.system)
    }

    /// A command that is about to be sent, also from outside the pages.
    pub fn note(&mut self, command: &Command) {
        match command {
            Command::LoadSite(request) => self.asked_site = Some(request.0.clone()),
            Command::ChooseDevices { input, output } => {
                self.settings.input.clone_from(input);
                self.settings.output.clone_from(output);
            }
            _ => {}
        }
    }

    /// Take an event in; commands may follow from it.
    pub fn take(&mut self, event: Event) -> Vec<Command> {
        let moves_on = matches!(event, Event::Student(_) | Event::SiteLoaded(_));
        for entry in Page::ALL {
            self.pages.get(entry.page).take(&event);
        }
        self.shown.take(event);
        self.remember();
        if !moves_on || !self.may_practise() {
            let choosing = matches!(self.page, Page::Student | Page::Site);
            if moves_on && choosing && self.shown.who.may_practise() {
                return self.go(Page::Site);
            }
            return Vec::new();
        }
        match self.page {
            Page::Student | Page::Site => self.go(Page::Practice),
            // Opened before there was a student or a site: as if it were opened now.
            page => self.pages.get(page).opened(&self.shown),
        }
        .into_iter()
        .map(|c| self.taken_up(c))
        .collect()
    }

    fn may_practise(&self) -> bool {
        self.shown.who.may_practise() && self.shown.site.is_some()
    }

    /// The first situation after a start is the one that was under way.
    fn taken_up(&mut self, command: Command) -> Command {
        let (Command::Next, Some(site)) = (&command, &self.shown.site) else {
            return command;
        };
        match self.resume.take() {
            Some(u) if u.site == site.id => match crate::site::Callsign::parse(&u.callsign) {
                Ok(callsign) => Command::Deal {
                    situation: SituationRequest {
                        callsign,
                        crew: u.crew,
                        cable: u.cable,
                    },
                    step: Some(u.step),
                },
                Err(_) => command,
            },
            _ => command,
        }
    }

    /// Where the student is, for the next start.
    fn remember(&mut self) {
        match &self.shown.who {
            Who::Open => {}
            Who::Nobody => self.settings.who = LastWho::Nobody,
            Who::Student(s) => self.settings.who = LastWho::Student(s.id),
        }
        let Some(site) = &self.shown.site else { return };
        if let Some(asked) = self.asked_site.take() {
            self.settings.site = Some(asked);
        }
        if let Some(dealt) = &self.shown.dealt {
            let open = self.shown.state != Some(TurnState::Done);
            self.settings.under_way = open.then(|| UnderWay {
                site: site.id.clone(),
                step: dealt.step.clone(),
                callsign: dealt.situation.callsign.to_string(),
                crew: dealt.situation.crew,
                cable: dealt.situation.cable.clone(),
            });
        }
    }

    /// Open a page.
    fn go(&mut self, page: Page) -> Vec<Command> {
        let mut commands = Vec::new();
        if page != self.page {
            commands.extend(self.pages.get(self.page).left(&self.shown));
        }
        commands.extend(self.pages.get(page).opened(&self.shown));
        self.page = page;
        self.settings.page = page;
        commands
    }

    /// The window's title: it ends with the state of the turn, for task bars and whoever cannot see the page.
    pub fn title(&self) -> String {
        self.shown.state.map_or_else(
            || "Cableside".to_owned(),
            |s| format!("Cableside: {}", self.words().say(look::state_key(s))),
        )
    }

    /// Draw everything; what the student wants comes back.
    pub fn ui(&mut self, ui: &mut Ui) -> Vec<Command> {
        let mut commands = self.keys(ui);
        commands.extend(self.dropped(ui));
        look::apply(ui.ctx(), &self.settings);
        let mut given = Given::new(&self.shown, self.words(), &self.settings);
        let wide = ui.available_width() >= WIDE;
        let low = ui.available_height() < LOW;
        let mut closed = None;
        if wide {
            Panel::left("pages")
                .resizable(false)
                .exact_size(RAIL)
                .show(ui, |ui| scrolled(ui, |ui| rail(ui, self.page, &mut given)));
        } else if !low {
            Panel::top("pages").show(ui, |ui| bar(ui, self.page, &mut given));
        }
        if !low {
            Panel::top("where").show(ui, |ui| line(ui, &mut self.helping, &given));
            if self.helping {
                Panel::top("help").show(ui, |ui| help(ui, self.page, given.words));
            }
            Panel::bottom("caution").show(ui, |ui| caution(ui, &given));
        }
        if !self.shown.troubles.is_empty() {
            Panel::top("troubles").show(ui, |ui| closed = troubles(ui, &given));
        }
        let (page, helping) = (self.page, &mut self.helping);
        let content = self.pages.get(page);
        CentralPanel::default_margins().show(ui, |ui| {
            if content.in_column() || low {
                scrolled(ui, |ui| {
                    if low {
                        if !wide {
                            bar(ui, page, &mut given);
                        }
                        line(ui, helping, &given);
                        if *helping {
                            help(ui, page, given.words);
                        }
                    }
                    content.ui(ui, &mut given);
                    if low {
                        caution(ui, &given);
                    }
                });
            } else {
                content.ui(ui, &mut given);
            }
        });
        let wanted = given.wanted();
        if let Some(i) = closed {
            self.shown.troubles.remove(i);
        }
        for action in wanted {
            commands.extend(self.act(action));
        }
        for command in &commands {
            self.note(command);
        }
        commands
    }

    /// A speech model may be dropped on any page.
    fn dropped(&mut self, ui: &Ui) -> Vec<Command> {
        let file = ui.input(|i| {
            let paths = i.raw.dropped_files.iter().map(|f| f.path().to_path_buf());
            let mut models = paths.filter(|p| p.extension().is_some_and(|e| e.eq_ignore_ascii_case("bin")));
            models.next_back()
        });
        let Some(file) = file else { return Vec::new() };
        let commands = self.go(Page::First);
        self.pages.first.take_model(file.display().to_string());
        commands
    }

    fn act(&mut self, action: Action) -> Vec<Command> {
        match action {
            Action::Do(command) => vec![command],
            Action::Go(page) => self.go(page),
            Action::Set(settings) => {
                self.settings = *settings;
                Vec::new()
            }
        }
    }

    /// The keys that work on every page: F1 for help, Ctrl with a digit for a page, with plus, minus and zero for the text's
    /// size.
    fn keys(&mut self, ui: &Ui) -> Vec<Command> {
        let pressed = |modifiers, key| ui.input_mut(|i| i.consume_shortcut(&KeyboardShortcut::new(modifiers, key)));
        if pressed(Modifiers::NONE, Key::F1) {
            self.helping = !self.helping;
        }
        let larger = pressed(Modifiers::COMMAND, Key::Plus) || pressed(Modifiers::COMMAND, Key::Equals);
        let smaller = pressed(Modifiers::COMMAND, Key::Minus);
        if larger || smaller {
            let step = if larger { 0.1 } else { -0.1 };
            let scale = ((self.settings.scale + step) * 10.0).round() / 10.0;
            self.settings.scale = scale.clamp(*SCALES.start(), *SCALES.end());
        }
        if pressed(Modifiers::COMMAND, Key::Num0) {
            self.settings.scale = 1.0;
        }
        for (entry, key) in Page::ALL.iter().zip(DIGITS) {
            let free = !entry.needs_site || self.may_practise();
            if pressed(Modifiers::COMMAND, key) && free {
                return self.go(entry.page);
            }
        }
        Vec::new()
    }
}

fn entries(ui: &mut Ui, page: Page, given: &mut Given<'_>, wide: bool) {
    let ready = given.shown.who.may_practise() && given.shown.site.is_some();
    for (n, entry) in Page::ALL.iter().enumerate() {
        if wide && entry.begins_group {
            ui.add_space(10.0);
        }
        let text = RichText::new(given.words.say(entry.name));
        let mut button = egui::Button::selectable(entry.page == page, text);
        if wide {
            button = button.min_size(egui::vec2(ui.available_width(), 34.0));
        }
        let enabled = ready || !entry.needs_site;
        let button = ui.add_enabled(enabled, button);
        let button = if n < DIGITS.len() {
            button.on_hover_text(format!("Ctrl+{}", n + 1))
        } else {
            button
        };
        if button.clicked() {
            given.go(entry.page);
        }
    }
}

/// The navigation at the side.
fn rail(ui: &mut Ui, page: Page, given: &mut Given<'_>) {
    ui.add_space(8.0);
    look::mark(ui);
    ui.add_space(12.0);
    ui.with_layout(egui::Layout::top_down_justified(egui::Align::Min), |ui| {
        entries(ui, page, given, true);
    });
}

/// The navigation on top.
fn bar(ui: &mut Ui, page: Page, given: &mut Given<'_>) {
    ui.add_space(4.0);
    ui.horizontal_wrapped(|ui| entries(ui, page, given, false));
    ui.add_space(4.0);
}

/// Who and where, the speech model where it is not ready, and the switch of the help.
fn line(ui: &mut Ui, helping: &mut bool, given: &Given<'_>) {
    let words = given.words;
    ui.add_space(4.0);
    ui.horizontal_wrapped(|ui| {
        ui.toggle_value(helping, words.say("shell.help_here"))
            .on_hover_text("F1");
        let who = match &given.shown.who {
            Who::Open => words.say("shell.no_student"),
            Who::Nobody => words.say("shell.nobody"),
            Who::Student(s) => s.name.as_str(),
        };
        let site = given.shown.site.as_ref();
        let site = site.map_or(words.say("shell.no_site"), |s| s.name.as_str());
        ui.label(format!("{who}, {site}"));
        let model = match &given.shown.model {
            ModelState::Loading => "shell.model_loading",
            ModelState::Missing(_) => "shell.model_missing",
            ModelState::Ready(_) => return,
        };
        ui.label(look::remark(words.say(model)));
    });
    ui.add_space(2.0);
}

fn help(ui: &mut Ui, page: Page, words: Words) {
    ui.add_space(4.0);
    ScrollArea::vertical().max_height(MESSAGES).show(ui, |ui| {
        ui.set_max_width(COLUMN.min(ui.available_width()));
        for text in words.say(page.entry().help).lines() {
            ui.add(egui::Label::new(text).wrap());
        }
    });
    ui.add_space(4.0);
}

/// The messages; gives the one that was closed.
fn troubles(ui: &mut Ui, given: &Given<'_>) -> Option<usize> {
    let mut closed = None;
    let colour = look::trouble(ui.visuals().dark_mode);
    let most = MESSAGES.min(ui.ctx().content_rect().height() / 3.0);
    ScrollArea::vertical()
        .max_height(most)
        .min_scrolled_height(most)
        .show(ui, |ui| {
            for (i, text) in given.shown.troubles.iter().enumerate() {
                ui.horizontal_top(|ui| {
                    let close = ui.button(given.words.say("shell.close"));
                    if close.on_hover_text(given.words.say("shell.close_hint")).clicked() {
                        closed = Some(i);
                    }
                    ui.add(egui::Label::new(RichText::new(text).color(colour)).wrap());
                });
            }
        });
    closed
}

fn caution(ui: &mut Ui, given: &Given<'_>) {
    ui.add_space(2.0);
    let words = given.words;
    let text = match &given.shown.site {
        Some(site) if site.invented => {
            let invented = words.fill("shell.invented", &[("site", &site.name)]);
            format!("{} {invented}", site.caution)
        }
        Some(site) => site.caution.clone(),
        None => words.say("shell.caution").to_owned(),
    };
    ui.add(egui::Label::new(look::remark(text)).wrap());
    ui.add_space(2.0);
}

fn scrolled(ui: &mut Ui, content: impl FnOnce(&mut Ui)) {
    ScrollArea::vertical().auto_shrink([false, false]).show(ui, |ui| {
        ui.set_max_width(COLUMN.min(ui.available_width()));
        content(ui);
    });
}

#[cfg(test)]
mod tests;
