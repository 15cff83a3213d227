//! The shell: which page is open, the navigation and the bars around the pages, and where events and actions go. No threads,
//! no files.

use super::calls::CallsPage;
use super::class::ClassPage;
use super::desk::DeskPage;
use super::ear::EarPage;
use super::first::FirstPage;
use super::help::HelpPage;
use super::home::HomePage;
use super::keys;
use super::launch::LaunchPage;
use super::look::{self, Hue};
use super::lookpage::LookPage;
use super::notices;
use super::office::OfficePage;
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
use eframe::egui::{
    self, Align, Button, CentralPanel, ComboBox, Frame, Key, KeyboardShortcut, Label, Layout, Margin, Modifiers, Panel,
    RichText, ScrollArea, Stroke, StrokeKind, Ui, Vec2,
};

mod files;
mod over;

use over::{caution, help, messages};

pub use super::page::Page;

/// From this width on the navigation stands at the left side; below it is a list to open.
const WIDE: f32 = 900.0;
/// Below this height the caution scrolls with the page, so that a tiny window still shows it.
const LOW: f32 = 420.0;
/// Width of the navigation, points.
const RAIL: f32 = 184.0;
/// Height of an entry of the navigation, and of one where there is little room.
const ENTRY: f32 = 34.0;
const LOW_ENTRY: f32 = 27.0;
/// Below this height the entries are low.
const LOW_RAIL: f32 = 640.0;
/// Widest page whose parts stand one below the other or side by side, points.
const PAGE: f32 = 1500.0;

/// The pages' own states.
#[derive(Default)]
struct Pages {
    practice: Practice,
    launch: LaunchPage,
    ear: EarPage,
    calls: CallsPage,
    student: StudentPage,
    site: SitePage,
    sound: Sound,
    look: LookPage,
    help: HelpPage,
    progress: ProgressPage,
    class: ClassPage,
    office: OfficePage,
    desk: DeskPage,
    first: FirstPage,
    home: HomePage,
}

impl Pages {
    fn get(&mut self, page: Page) -> &mut dyn Content {
        match page {
            Page::Practice => &mut self.practice,
            Page::Launch => &mut self.launch,
            Page::Ear => &mut self.ear,
            Page::Calls => &mut self.calls,
            Page::Student => &mut self.student,
            Page::Site => &mut self.site,
            Page::Sound => &mut self.sound,
            Page::Look => &mut self.look,
            Page::Help => &mut self.help,
            Page::Progress => &mut self.progress,
            Page::Class => &mut self.class,
            Page::Office => &mut self.office,
            Page::Desk => &mut self.desk,
            Page::First => &mut self.first,
            Page::Home => &mut self.home,
        }
    }
}

/// The first situation since the start.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum First {
    /// It comes when it is wanted.
    #[default]
    WhenWanted,
    /// It was named, and comes without being asked for.
    AtOnce,
    /// It was dealt.
    Dealt,
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
    /// The first situation since the start.
    first: First,
    /// The keyboard goes to the page's main action as soon as there is one.
    to_main: bool,
    /// It was F6 that wanted it.
    by_key: bool,
    /// Pages opened so far.
    visits: u32,
    /// The page from which somebody is added.
    back: Option<Page>,
    pages: Pages,
}

/// The step that is dealt where none was practised before.
const FIRST_STEP: &str = "ready";

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
            page: if settings.is_first() {
                Page::First
            } else {
                settings.page
            },
            resume: settings.under_way.clone(),
            settings,
            system,
            to_main: true,
            by_key: false,
            ..Self::default()
        }
    }

    /// Site and student were named at the start: there is nothing left to ask first.
    pub fn knows_enough(&mut self) {
        if self.page == Page::First {
            self.page = self.settings.page;
        }
    }

    /// The first situation was named at the start: it is dealt without being asked for.
    pub fn deal_at_once(&mut self) {
        self.first = First::AtOnce;
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
        let opened = match &event {
            Event::Home(told) => Some(told.clone()),
            _ => None,
        };
        let moves_on = matches!(event, Event::Student(_) | Event::SiteLoaded(_));
        for entry in Page::ALL {
            self.pages.get(entry.page).take(&event);
        }
        self.shown.take(event);
        self.shown.expire();
        self.remember();
        if let Some(told) = opened {
            return self.told_of_a_file(&told);
        }
        let on_student = matches!(self.page, Page::Student);
        if moves_on && on_student && self.shown.who.may_practise() && self.pages.home.is_waited_for() {
            return self.go(Page::Home);
        }
        if let (true, true, Some(back)) = (moves_on, on_student, self.back) {
            return self.go(back);
        }
        if !moves_on || !self.may_practise() {
            let choosing = matches!(self.page, Page::Student | Page::Site);
            if moves_on && choosing && self.shown.who.may_practise() {
                return self.go(Page::Site);
            }
            return Vec::new();
        }
        let mut commands = match self.page {
            Page::Student | Page::Site => self.go(Page::Practice),
            // Opened before there was a student or a site: as if it were opened now.
            page => self.pages.get(page).opened(&self.shown),
        };
        if self.page == Page::Practice && self.first == First::AtOnce {
            self.first = First::Dealt;
            commands.push(Command::Next);
        }
        commands
    }

    fn may_practise(&self) -> bool {
        self.shown.who.may_practise() && self.shown.site.is_some()
    }

    /// The first situation after a start is the one that was under way, or one of the step that was practised last.
    fn taken_up(&mut self, command: Command) -> Command {
        let (Command::Next, Some(site)) = (&command, &self.shown.site) else {
            return command;
        };
        if std::mem::replace(&mut self.first, First::Dealt) == First::Dealt {
            return command;
        }
        let resumed = self.resume.take().filter(|u| u.site == site.id).and_then(|u| {
            Some(Command::Deal {
                situation: SituationRequest {
                    callsign: crate::site::Callsign::parse(&u.callsign).ok()?,
                    crew: u.crew,
                    cable: u.cable,
                },
                step: Some(u.step),
            })
        });
        let step = self
            .settings
            .step
            .clone()
            .filter(|id| id != FIRST_STEP && site.step(id).is_some());
        resumed.or(step.map(Command::ChooseStep)).unwrap_or(command)
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
            self.settings.step = Some(dealt.step.clone());
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
        if page != self.page && self.pages.get(self.page).asks_first(page, &self.shown) {
            return commands;
        }
        if page != self.page {
            commands.extend(self.pages.get(self.page).left(&self.shown));
        }
        commands.extend(self.pages.get(page).opened(&self.shown));
        // Whoever was added from there comes back there.
        let from = Some(self.page).filter(|p| page == Page::Student && matches!(p, Page::Class | Page::Office));
        self.back = from;
        self.page = page;
        self.visits = self.visits.wrapping_add(1);
        self.settings.page = page;
        self.to_main = true;
        self.by_key = false;
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
        let talks = self.pages.get(self.page).talks(&self.shown);
        let talk = keys::first(ui.ctx(), self.settings.talk_key(), talks);
        let mut given = Given::new(&self.shown, self.words(), &self.settings);
        given.talk = talk;
        given.to_main = self.to_main && !ui.ctx().text_edit_focused();
        given.by_key = self.by_key;
        let wide = ui.available_width() >= WIDE;
        let low = ui.available_height() < LOW;
        if wide {
            let ground = Frame::new()
                .fill(Hue::Rail.on(ui))
                .inner_margin(Margin::symmetric(8, 6));
            Panel::left("pages")
                .resizable(false)
                .show_separator_line(false)
                .exact_size(RAIL)
                .frame(ground)
                .show(ui, |ui| rail(ui, self.page, &mut given));
        }
        let (page, helping) = (self.page, &mut self.helping);
        Panel::top("where").show(ui, |ui| line(ui, page, wide, helping, &mut given));
        if !low {
            Panel::bottom("caution").show(ui, |ui| caution(ui, &given));
        }
        let closed = messages(ui, &given);
        let visit = self.visits;
        let content = self.pages.get(page);
        CentralPanel::default_margins().show(ui, |ui| {
            if content.in_column() || low {
                scrolled(ui, page, (visit, content.part()), |ui| {
                    content.ui(ui, &mut given);
                    if low {
                        caution(ui, &given);
                    }
                });
            } else {
                content.ui(ui, &mut given);
            }
        });
        if *helping && help(ui, page, given.words) {
            *helping = false;
        }
        // While somebody writes the keyboard stays where it is.
        if !ui.ctx().text_edit_focused() {
            self.to_main = given.to_main;
            self.by_key &= self.to_main;
        }
        let wanted = given.wanted();
        if let Some(i) = closed {
            self.shown.troubles.remove(i);
        }
        for action in wanted {
            commands.extend(self.act(action));
        }
        commands = commands.into_iter().map(|c| self.taken_up(c)).collect();
        for command in &commands {
            self.note(command);
        }
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

    /// The keys that work on every page: F1 for help, F6 for the page's main action, Ctrl with a digit for a page, with plus, minus and zero for the text's
    /// size.
    fn keys(&mut self, ui: &Ui) -> Vec<Command> {
        let pressed = |modifiers, key| ui.input_mut(|i| i.consume_shortcut(&KeyboardShortcut::new(modifiers, key)));
        if pressed(Modifiers::NONE, Key::F1) {
            self.helping = !self.helping;
        }
        if pressed(Modifiers::NONE, Key::F6) {
            self.to_main = true;
            self.by_key = true;
            ui.memory_mut(egui::Memory::stop_text_input);
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

/// The navigation at the side: students first, then those who instruct, then what is set up once.
fn rail(ui: &mut Ui, page: Page, given: &mut Given<'_>) {
    let words = given.words;
    let low = ui.available_height() < LOW_RAIL;
    ui.spacing_mut().item_spacing.y = if low { 1.0 } else { 3.0 };
    ui.add_space(4.0);
    look::mark(ui);
    ui.add_space(if low { 2.0 } else { 10.0 });
    let ready = given.shown.who.may_practise() && given.shown.site.is_some();
    let list = ScrollArea::vertical().auto_shrink([false, false]);
    list.show(ui, |ui| {
        // Names stand at the left of their entries.
        ui.with_layout(Layout::top_down_justified(Align::LEFT), |ui| {
            let ctrl = words.say("shell.ctrl");
            for (n, entry) in Page::ALL.iter().enumerate() {
                if entry.begins_group {
                    ui.add_space(if low { 5.0 } else { 12.0 });
                }
                let chosen = entry.page == page;
                let (fill, ink) = if chosen {
                    (Hue::RailChosen, Hue::RailChosenInk)
                } else {
                    (Hue::Rail, Hue::RailInk)
                };
                let name = words.say(entry.name);
                let text = if chosen { look::bold(name) } else { RichText::new(name) };
                let button = Button::new(text.color(ink.on(ui)))
                    .fill(fill.on(ui))
                    .stroke(Stroke::NONE)
                    .selected(chosen)
                    .min_size(Vec2::new(ui.available_width(), if low { LOW_ENTRY } else { ENTRY }));
                if chosen {
                    ui.visuals_mut().selection.bg_fill = fill.on(ui);
                }
                let enabled = ready || !entry.needs_site;
                let button = ui
                    .add_enabled(enabled, button)
                    .on_disabled_hover_text(words.say("shell.page_closed"));
                let button = if n < DIGITS.len() {
                    button.on_hover_text(format!("{ctrl}+{}", n + 1))
                } else {
                    button
                };
                // The entries have no edge that could show it.
                if button.has_focus() {
                    let round = ui.visuals().widgets.active.corner_radius;
                    let ring = Stroke::new(3.0, ink.on(ui));
                    ui.painter().rect_stroke(button.rect, round, ring, StrokeKind::Inside);
                }
                if button.clicked() {
                    given.go(entry.page);
                }
            }
        });
        keys::follow(ui, "rail");
    });
}

/// The navigation of a narrow window: a list to open.
fn pages(ui: &mut Ui, page: Page, given: &mut Given<'_>) {
    let words = given.words;
    let ready = given.shown.who.may_practise() && given.shown.site.is_some();
    let label = ui.label(look::remark(words.say("shell.page")));
    ComboBox::from_id_salt("pages")
        .selected_text(look::bold(words.say(page.entry().name)))
        .height(420.0)
        .show_ui(ui, |ui| {
            for entry in Page::ALL {
                let enabled = ready || !entry.needs_site;
                let button = Button::selectable(entry.page == page, words.say(entry.name));
                if ui.add_enabled(enabled, button).clicked() {
                    given.go(entry.page);
                }
            }
        })
        .response
        .labelled_by(label.id);
}

/// Who and where, the speech model where it is not ready, and the switch of the help.
fn line(ui: &mut Ui, page: Page, wide: bool, helping: &mut bool, given: &mut Given<'_>) {
    let words = given.words;
    ui.add_space(3.0);
    ui.horizontal(|ui| {
        if !wide {
            pages(ui, page, given);
        }
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            let help = Button::new(words.say("shell.help_here")).selected(*helping);
            if ui.add(help).clicked() {
                *helping = !*helping;
            }
            ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
                let who = match &given.shown.who {
                    Who::Open => words.say("shell.no_student"),
                    Who::Nobody => words.say("shell.nobody"),
                    Who::Student(s) => s.name.as_str(),
                };
                let site = given.shown.site.as_ref();
                let site = site.map_or(words.say("shell.no_site"), |s| s.name.as_str());
                let model = match &given.shown.model {
                    ModelState::Loading => format!(" \u{b7} {}", words.say("shell.model_loading")),
                    ModelState::Missing(why) => {
                        let key = if notices::is_damage(why) {
                            "shell.model_damaged"
                        } else {
                            "shell.model_missing"
                        };
                        format!(" \u{b7} {}", words.say(key))
                    }
                    ModelState::Ready(_) => String::new(),
                };
                ui.add(Label::new(format!("{who}, {site}{model}")).truncate());
            });
        });
    });
    ui.add_space(1.0);
}

/// A page that is opened, and another part of it, begins at its top: `part` tells them apart.
fn scrolled(ui: &mut Ui, page: Page, part: (u32, usize), content: impl FnOnce(&mut Ui)) {
    let name = (page.entry().name, part);
    ScrollArea::vertical()
        .id_salt(name)
        .auto_shrink([false, false])
        .show(ui, |ui| {
            ui.set_max_width(PAGE.min(ui.available_width()));
            content(ui);
            keys::follow(ui, name);
        });
}

#[cfg(test)]
mod keyboard;
#[cfg(test)]
mod layout;
#[cfg(test)]
mod tests;
