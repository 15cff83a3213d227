//! The visual system, all of it: faces and the scale of type, spacing, colours by their meaning for light and dark, the one
//! primary button of a page, sheets and tiles, verdicts as word, sign and colour together.
//!
//! No page names a colour or a size of its own. Every pair of a colour and its ground is in [`PAIRS`], and a test computes its
//! contrast.

use super::settings::{Light, Settings};
use crate::call::{Outcome, Verdict};
use crate::drill::TurnState;
use eframe::egui::{
    self, Button, Color32, CornerRadius, FontData, FontDefinitions, FontFamily, FontId, Margin, Response, RichText,
    Stroke, TextStyle, Theme, ThemePreference, Ui, Vec2,
};
use std::sync::Arc;

/// The scale of type, points: small print, labels and remarks; running text and buttons; headings; a page's title; the state
/// of the turn and the verdict; the board for the back row.
const SMALL: f32 = 14.0;
const BODY: f32 = 17.0;
const HEADING: f32 = 20.0;
const TITLE: f32 = 26.0;
const BIG: f32 = 32.0;
const BOARD: f32 = 30.0;
/// The same where much stands side by side: the instructor's pages.
const DENSE: f32 = 15.0;

/// Corners of everything that has some, points.
const CORNER: u8 = 6;
/// Room inside a sheet, points.
const INSIDE: i8 = 14;
/// Least width of a sheet before the sheets stand in fewer columns, points.
const SHEET: f32 = 430.0;
/// Widest line of running text, points.
pub const COLUMN: f32 = 720.0;

/// Text style of the state of the turn and of the outcome.
pub fn big() -> TextStyle {
    TextStyle::Name("big".into())
}

/// Text style of a page's title and of the one thing that matters in a debrief.
pub fn title() -> TextStyle {
    TextStyle::Name("title".into())
}

/// Text style of the board.
pub fn board() -> TextStyle {
    TextStyle::Name("board".into())
}

fn heavy() -> FontFamily {
    FontFamily::Name("bold".into())
}

/// A colour by what it means. None of them says anything alone: a word or a sign stands with each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hue {
    /// The page's ground.
    Ground,
    /// A sheet of paper, a field, a tile.
    Sheet,
    /// Writing.
    Ink,
    /// Writing of the second order.
    Soft,
    /// Edges of what can be operated.
    Edge,
    /// The primary button.
    Accent,
    /// What stands on it.
    OnAccent,
    /// The navigation's ground and writing, and what is chosen in it.
    Rail,
    /// See [`Self::Rail`].
    RailInk,
    /// See [`Self::Rail`].
    RailChosen,
    /// See [`Self::Rail`].
    RailChosenInk,
    /// Chosen among several, and its writing.
    Chosen,
    /// See [`Self::Chosen`].
    ChosenInk,
    /// The ring around what has the keyboard.
    Focus,
    /// Said; your turn.
    Green,
    /// Wrong; on the air.
    Red,
    /// Missing; waiting; trouble.
    Amber,
    /// Not decided; listen.
    Blue,
    /// Grounds of tiles, one for each of the four.
    GreenWash,
    /// See [`Self::GreenWash`].
    RedWash,
    /// See [`Self::GreenWash`].
    AmberWash,
    /// See [`Self::GreenWash`].
    BlueWash,
}

/// Each colour by light and by dark.
const HUES: [(Hue, u32, u32); 22] = [
    (Hue::Ground, 0xF4_F3EE, 0x17_1B1F),
    (Hue::Sheet, 0xFF_FFFF, 0x20_262B),
    (Hue::Ink, 0x1D_2329, 0xE6_E8E4),
    (Hue::Soft, 0x50_5A63, 0xAE_B8BE),
    (Hue::Edge, 0x76_7F87, 0x7E_8A92),
    (Hue::Accent, 0x00_5463, 0x7C_D2DE),
    (Hue::OnAccent, 0xFF_FFFF, 0x06_1C20),
    (Hue::Rail, 0x12_3039, 0x0C_1013),
    (Hue::RailInk, 0xE3_EDEE, 0xC6_D0D3),
    (Hue::RailChosen, 0xF4_F3EE, 0x2C_3A41),
    (Hue::RailChosenInk, 0x12_3039, 0xFF_FFFF),
    (Hue::Chosen, 0xCF_E4E8, 0x1D_4650),
    (Hue::ChosenInk, 0x07_3640, 0xE4_F6F9),
    (Hue::Focus, 0x00_0000, 0xFF_FFFF),
    (Hue::Green, 0x00_6937, 0x6E_D796),
    (Hue::Red, 0xA8_1423, 0xFF_9390),
    (Hue::Amber, 0x87_4B00, 0xF5_B95A),
    (Hue::Blue, 0x2B_4AA3, 0x9A_BDFF),
    (Hue::GreenWash, 0xE3_F2E8, 0x17_3023),
    (Hue::RedWash, 0xFB_E7E7, 0x3C_1D1F),
    (Hue::AmberWash, 0xFB_F0DC, 0x38_2B12),
    (Hue::BlueWash, 0xE6_ECFA, 0x1C_2740),
];

/// Every colour that is drawn on another, and the contrast it must have: 4.5 for writing, 3 for edges, signs and large
/// writing (WCAG 2.2, 1.4.3 and 1.4.11).
#[cfg(test)]
const PAIRS: [(Hue, Hue, f64); 32] = [
    // The key that talks, while it does.
    (Hue::OnAccent, Hue::Red, 4.5),
    (Hue::Ink, Hue::Ground, 4.5),
    (Hue::Ink, Hue::Sheet, 4.5),
    (Hue::Soft, Hue::Ground, 4.5),
    (Hue::Soft, Hue::Sheet, 4.5),
    (Hue::Edge, Hue::Ground, 3.0),
    (Hue::Edge, Hue::Sheet, 3.0),
    (Hue::OnAccent, Hue::Accent, 4.5),
    (Hue::Accent, Hue::Ground, 3.0),
    (Hue::Accent, Hue::Sheet, 3.0),
    (Hue::RailInk, Hue::Rail, 4.5),
    (Hue::RailChosenInk, Hue::RailChosen, 4.5),
    (Hue::ChosenInk, Hue::Chosen, 4.5),
    (Hue::Focus, Hue::Ground, 3.0),
    (Hue::Focus, Hue::Sheet, 3.0),
    (Hue::Green, Hue::Ground, 4.5),
    (Hue::Green, Hue::Sheet, 4.5),
    (Hue::Green, Hue::GreenWash, 4.5),
    (Hue::Red, Hue::Ground, 4.5),
    (Hue::Red, Hue::Sheet, 4.5),
    (Hue::Red, Hue::RedWash, 4.5),
    (Hue::Amber, Hue::Ground, 4.5),
    (Hue::Amber, Hue::Sheet, 4.5),
    (Hue::Amber, Hue::AmberWash, 4.5),
    (Hue::Blue, Hue::Ground, 4.5),
    (Hue::Blue, Hue::Sheet, 4.5),
    (Hue::Blue, Hue::BlueWash, 4.5),
    (Hue::Ink, Hue::GreenWash, 4.5),
    (Hue::Ink, Hue::RedWash, 4.5),
    (Hue::Ink, Hue::AmberWash, 4.5),
    (Hue::Ink, Hue::BlueWash, 4.5),
    (Hue::Ink, Hue::Chosen, 4.5),
];

impl Hue {
    /// Its colour.
    pub fn of(self, dark: bool) -> Color32 {
        let found = HUES.iter().find(|(hue, ..)| *hue == self);
        let rgb = found.map_or(0, |(_, in_light, in_dark)| if dark { *in_dark } else { *in_light });
        let [_, r, g, b] = rgb.to_be_bytes();
        Color32::from_rgb(r, g, b)
    }

    /// Its colour in the theme of a page.
    pub fn on(self, ui: &Ui) -> Color32 {
        self.of(ui.visuals().dark_mode)
    }

    fn wash(self) -> Self {
        match self {
            Self::Green => Self::GreenWash,
            Self::Red => Self::RedWash,
            Self::Amber => Self::AmberWash,
            Self::Blue => Self::BlueWash,
            _ => Self::Sheet,
        }
    }
}

/// Set the program's own style for both themes; which one is used is the system's choice, light if it says nothing.
pub fn set(context: &egui::Context) {
    context.options_mut(|o| {
        o.fallback_theme = Theme::Light;
        // The size is a setting, within limits: the shell reads these keys itself.
        o.zoom_with_keyboard = false;
    });
    context.set_fonts(faces());
    context.all_styles_mut(|style| {
        scale(style, BODY);
        style.spacing.item_spacing = Vec2::new(10.0, 8.0);
        style.spacing.button_padding = Vec2::new(12.0, 6.0);
        style.spacing.interact_size.y = 32.0;
        style.spacing.scroll.floating = false;
        style.spacing.scroll.bar_width = 8.0;
    });
    for theme in [Theme::Light, Theme::Dark] {
        context.style_mut_of(theme, |style| colours(&mut style.visuals, theme == Theme::Dark));
    }
}

/// The program's face with its two weights; what it has no sign for comes from the window library's own.
fn faces() -> FontDefinitions {
    let mut fonts = FontDefinitions::default();
    let regular: &[u8] = include_bytes!("fonts/AtkinsonHyperlegible-Regular.ttf");
    let bold: &[u8] = include_bytes!("fonts/AtkinsonHyperlegible-Bold.ttf");
    for (name, bytes) in [("regular", regular), ("bold", bold)] {
        fonts
            .font_data
            .insert(name.to_owned(), Arc::new(FontData::from_static(bytes)));
    }
    let others = fonts
        .families
        .get(&FontFamily::Proportional)
        .cloned()
        .unwrap_or_default();
    for (family, name) in [(FontFamily::Proportional, "regular"), (heavy(), "bold")] {
        let mut list = vec![name.to_owned()];
        list.extend(others.iter().cloned());
        fonts.families.insert(family, list);
    }
    fonts
}

fn scale(style: &mut egui::Style, body: f32) {
    let size = FontId::proportional;
    let bold = |s| FontId::new(s, heavy());
    let by = body / BODY;
    style.text_styles = [
        (TextStyle::Small, size(SMALL.min(body))),
        (TextStyle::Body, size(body)),
        (TextStyle::Button, size(body)),
        (TextStyle::Heading, bold(HEADING * by)),
        (TextStyle::Monospace, FontId::monospace(body - 1.0)),
        (title(), bold(TITLE * by)),
        (big(), bold(BIG)),
        (board(), bold(BOARD)),
    ]
    .into();
}

/// Closer and smaller, for a page on which much stands side by side.
pub fn dense(ui: &mut Ui) {
    let style = ui.style_mut();
    scale(style, DENSE);
    style.spacing.item_spacing = Vec2::new(8.0, 6.0);
    style.spacing.button_padding = Vec2::new(10.0, 4.0);
    style.spacing.interact_size.y = 28.0;
}

fn colours(v: &mut egui::Visuals, dark: bool) {
    let hue = |h: Hue| h.of(dark);
    let round = CornerRadius::same(CORNER);
    v.panel_fill = hue(Hue::Ground);
    v.window_fill = hue(Hue::Sheet);
    v.window_stroke = Stroke::new(1.0, hue(Hue::Edge));
    v.extreme_bg_color = hue(Hue::Sheet);
    v.faint_bg_color = if dark {
        Color32::from_rgb(28, 33, 38)
    } else {
        Color32::from_rgb(236, 235, 228)
    };
    v.weak_text_color = Some(hue(Hue::Soft));
    v.hyperlink_color = hue(Hue::Accent);
    v.warn_fg_color = hue(Hue::Amber);
    v.error_fg_color = hue(Hue::Red);
    v.selection.bg_fill = hue(Hue::Chosen);
    v.selection.stroke = Stroke::new(1.5, hue(Hue::ChosenInk));
    let w = &mut v.widgets;
    for each in [
        &mut w.noninteractive,
        &mut w.inactive,
        &mut w.hovered,
        &mut w.active,
        &mut w.open,
    ] {
        each.corner_radius = round;
        each.fg_stroke = Stroke::new(1.5, hue(Hue::Ink));
        each.weak_bg_fill = hue(Hue::Sheet);
        each.bg_fill = hue(Hue::Sheet);
        each.bg_stroke = Stroke::new(1.0, hue(Hue::Edge));
        each.expansion = 0.0;
    }
    let line = if dark {
        Color32::from_rgb(58, 66, 72)
    } else {
        Color32::from_rgb(208, 208, 200)
    };
    w.noninteractive.bg_stroke = Stroke::new(1.0, line);
    let under = if dark {
        Color32::from_rgb(48, 56, 62)
    } else {
        Color32::from_rgb(232, 240, 241)
    };
    // The rail of a slider and the inside of a box to tick.
    w.inactive.bg_fill = if dark {
        Color32::from_rgb(66, 75, 82)
    } else {
        Color32::from_rgb(216, 219, 216)
    };
    w.hovered.weak_bg_fill = under;
    w.hovered.bg_fill = under;
    w.hovered.bg_stroke = Stroke::new(1.5, hue(Hue::Ink));
    w.open.weak_bg_fill = under;
    // What has the keyboard's focus looks like this: a ring that no hover has.
    w.active.weak_bg_fill = under;
    w.active.bg_fill = under;
    w.active.bg_stroke = Stroke::new(3.0, hue(Hue::Focus));
    w.active.expansion = 1.0;
}

/// Heavy text, in the text style of its place.
pub fn bold(text: impl Into<String>) -> RichText {
    RichText::new(text).family(heavy()).strong()
}

/// A heavy font of a size.
pub fn bold_font(size: f32) -> FontId {
    FontId::new(size, heavy())
}

/// Small text for what is only a remark.
pub fn remark(text: impl Into<String>) -> RichText {
    RichText::new(text).text_style(TextStyle::Small).weak()
}

/// The one main action of a page: filled, heavy, and nothing else on the page looks like it.
pub fn primary<'t>(ui: &Ui, text: impl Into<String>) -> Button<'t> {
    let text = bold(text).color(Hue::OnAccent.on(ui));
    Button::new(text)
        .fill(Hue::Accent.on(ui))
        .min_size(Vec2::new(0.0, 40.0))
}

/// Adds the main action. What has a fill of its own shows the keyboard's focus by a second ring.
pub fn add_primary(ui: &mut Ui, enabled: bool, text: impl Into<String>) -> Response {
    let button = primary(ui, text);
    let response = ui.add_enabled(enabled, button);
    ring(ui, &response);
    response
}

/// How wide a button's text is, points.
pub fn text_width(ui: &Ui, text: &str) -> f32 {
    let font = TextStyle::Button.resolve(ui.style());
    ui.painter()
        .layout_no_wrap(text.to_owned(), font, Color32::WHITE)
        .size()
        .x
}

/// A ring around what has the focus, for controls that are filled.
pub fn ring(ui: &Ui, response: &Response) {
    if response.has_focus() {
        let stroke = Stroke::new(2.5, Hue::Focus.on(ui));
        let round = CornerRadius::same(CORNER + 3);
        let place = response.rect.expand(2.0);
        ui.painter()
            .rect_stroke(place, round, stroke, egui::StrokeKind::Outside);
    }
}

/// Sheets side by side, in as many columns as there is room for, one below the other where there is not. `content` draws the
/// sheet of a number.
pub fn sheets(ui: &mut Ui, count: usize, mut content: impl FnMut(&mut Ui, usize)) {
    let room = (ui.available_width() / SHEET) as usize;
    let columns = room.clamp(1, 3).min(count.max(1));
    if columns == 1 {
        for n in 0..count {
            sheet(ui, |ui| content(ui, n));
            ui.add_space(4.0);
        }
        return;
    }
    ui.columns(columns, |columns| {
        let across = columns.len();
        for n in 0..count {
            // The next sheet goes where there is most room, so that the page is read from left to right and stays short.
            let column = if n < across {
                n
            } else {
                let low = |c: &Ui| c.min_rect().bottom();
                (0..across)
                    .min_by(|a, b| low(&columns[*a]).total_cmp(&low(&columns[*b])))
                    .unwrap_or(0)
            };
            if let Some(ui) = columns.get_mut(column) {
                sheet(ui, |ui| content(ui, n));
                ui.add_space(4.0);
            }
        }
    });
}

/// One sheet: what belongs together, on a ground of its own.
pub fn sheet<R>(ui: &mut Ui, content: impl FnOnce(&mut Ui) -> R) -> R {
    let line = ui.visuals().widgets.noninteractive.bg_stroke;
    egui::Frame::new()
        .inner_margin(Margin::same(INSIDE))
        .corner_radius(CornerRadius::same(CORNER))
        .stroke(line)
        .fill(Hue::Sheet.on(ui))
        .show(ui, |ui| {
            ui.set_min_width((ui.available_width() - 1.0).max(0.0));
            // Columns justify what is in them; running text is read better ragged.
            ui.with_layout(egui::Layout::top_down(egui::Align::LEFT), content).inner
        })
        .inner
}

/// What a tile's edge and margins add to the width of its content, points.
pub const CARD: f32 = 24.0;

/// A tile for one thing, in the colour of what it means.
pub fn card(ui: &Ui, edge: Hue) -> egui::Frame {
    egui::Frame::new()
        .inner_margin(Margin::symmetric(10, 6))
        .corner_radius(CornerRadius::same(CORNER))
        .stroke(Stroke::new(1.5, edge.on(ui)))
        .fill(edge.wash().on(ui))
}

/// A verdict's colour.
pub fn verdict_hue(v: Verdict) -> Hue {
    match v {
        Verdict::Said => Hue::Green,
        Verdict::Wrong => Hue::Red,
        Verdict::Missing => Hue::Amber,
        Verdict::Unsure => Hue::Blue,
    }
}

/// A verdict's colour.
pub fn verdict(v: Verdict, dark: bool) -> Color32 {
    verdict_hue(v).of(dark)
}

/// An outcome's colour.
pub fn outcome(o: Outcome) -> Hue {
    match o {
        Outcome::Pass => Hue::Green,
        Outcome::NotYet => Hue::Red,
        Outcome::SayAgain | Outcome::NothingHeard => Hue::Blue,
    }
}

/// An outcome's sign is that of the verdict which decided it.
pub fn outcome_sign(o: Outcome) -> Verdict {
    match o {
        Outcome::Pass => Verdict::Said,
        Outcome::NotYet => Verdict::Wrong,
        Outcome::SayAgain | Outcome::NothingHeard => Verdict::Unsure,
    }
}

/// The key of the words for a state of the turn.
pub fn state_key(s: TurnState) -> &'static str {
    match s {
        TurnState::Receiving => "state.receiving",
        TurnState::YourCall => "state.your_call",
        TurnState::Transmitting => "state.transmitting",
        TurnState::Judging => "state.judging",
        TurnState::Done => "state.done",
    }
}

/// The colour of a state of the turn.
pub fn state(s: TurnState) -> Hue {
    match s {
        TurnState::Receiving => Hue::Blue,
        TurnState::YourCall | TurnState::Done => Hue::Green,
        TurnState::Transmitting => Hue::Red,
        TurnState::Judging => Hue::Amber,
    }
}

/// The key of the word for a verdict.
pub fn verdict_key(v: Verdict) -> &'static str {
    match v {
        Verdict::Said => "verdict.said",
        Verdict::Wrong => "verdict.wrong",
        Verdict::Missing => "verdict.missing",
        Verdict::Unsure => "verdict.unsure",
    }
}

/// The key of the words for an outcome.
pub fn outcome_key(o: Outcome) -> &'static str {
    match o {
        Outcome::Pass => "outcome.pass",
        Outcome::NotYet => "outcome.not_yet",
        Outcome::SayAgain => "outcome.say_again",
        Outcome::NothingHeard => "outcome.nothing_heard",
    }
}

/// The sign of a verdict, for those who do not see its colour: a tick, a cross, an empty box, a question mark; the last one
/// also where there is no verdict.
pub fn sign(painter: &egui::Painter, place: egui::Rect, verdict: Option<Verdict>, colour: Color32) {
    let stroke = Stroke::new(place.width() * 0.17, colour);
    let at = |x: f32, y: f32| place.min + Vec2::new(x * place.width(), y * place.height());
    match verdict {
        Some(Verdict::Said) => {
            painter.add(egui::Shape::line(
                vec![at(0.05, 0.55), at(0.38, 0.88), at(0.95, 0.15)],
                stroke,
            ));
        }
        Some(Verdict::Wrong) => {
            painter.line_segment([at(0.1, 0.1), at(0.9, 0.9)], stroke);
            painter.line_segment([at(0.9, 0.1), at(0.1, 0.9)], stroke);
        }
        Some(Verdict::Missing) => {
            let thin = Stroke::new(place.width() * 0.12, colour);
            painter.rect_stroke(place.shrink(place.width() * 0.08), 1.0, thin, egui::StrokeKind::Inside);
        }
        Some(Verdict::Unsure) | None => {
            let font = bold_font(place.height() * 1.15);
            painter.text(place.center(), egui::Align2::CENTER_CENTER, "?", font, colour);
        }
    }
}

/// A verdict's sign and its word in one row.
pub fn signed(ui: &mut Ui, verdict: Verdict, word: &str) {
    let colour = verdict_hue(verdict).on(ui);
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 6.0;
        let (place, _) = ui.allocate_exact_size(Vec2::splat(13.0), egui::Sense::hover());
        sign(ui.painter(), place, Some(verdict), colour);
        ui.add(egui::Label::new(bold(word).color(colour)).extend());
    });
}

/// Bring light or dark and the text's size into force.
pub fn apply(context: &egui::Context, settings: &Settings) {
    let theme = match settings.light {
        Light::System => ThemePreference::System,
        Light::Light => ThemePreference::Light,
        Light::Dark => ThemePreference::Dark,
    };
    if context.options(|o| o.theme_preference) != theme {
        context.set_theme(theme);
    }
    if (context.zoom_factor() - settings.scale).abs() > 0.001 {
        context.set_zoom_factor(settings.scale);
    }
}

/// The program's name with its mark: a cable running out from a drum to the far end of the field.
pub fn mark(ui: &mut Ui) {
    ui.horizontal(|ui| {
        let (place, _) = ui.allocate_exact_size(Vec2::new(34.0, 26.0), egui::Sense::hover());
        let ink = Hue::RailInk.on(ui);
        let accent = Color32::from_rgb(245, 185, 90);
        let painter = ui.painter();
        let drum = place.left_bottom() + Vec2::new(9.0, -9.0);
        painter.circle_stroke(drum, 7.0, Stroke::new(2.0, ink));
        painter.circle_filled(drum, 2.0, ink);
        painter.line_segment(
            [drum + Vec2::new(0.0, -7.0), place.right_top() + Vec2::new(-1.0, 4.0)],
            Stroke::new(2.0, accent),
        );
        ui.label(bold("Cableside").color(ink).size(19.0));
    });
}

/// The colour of what is as it should be.
pub fn good(dark: bool) -> Color32 {
    Hue::Green.of(dark)
}

/// The colour of what only tells.
pub fn note(dark: bool) -> Color32 {
    Hue::Blue.of(dark)
}

/// A trouble's colour.
pub fn trouble(dark: bool) -> Color32 {
    Hue::Amber.of(dark)
}

#[cfg(test)]
mod tests;
