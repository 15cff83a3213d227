//! How it looks: sizes, colours for light and dark, and verdicts as word and colour together.

use super::settings::{Light, Settings};
use crate::call::{Outcome, Verdict};
use crate::drill::TurnState;
use eframe::egui::{
    self, Color32, CornerRadius, FontId, Margin, RichText, Stroke, TextStyle, Theme, ThemePreference, Vec2,
};

/// Text style of the state of the turn and of the outcome.
pub fn big() -> TextStyle {
    TextStyle::Name("big".into())
}

/// Set the program's own style for both themes; which one is used is the system's choice, light if it says nothing.
pub fn set(context: &egui::Context) {
    context.options_mut(|o| {
        o.fallback_theme = Theme::Light;
        // The size is a setting, within limits: the shell reads these keys itself.
        o.zoom_with_keyboard = false;
    });
    context.all_styles_mut(|style| {
        let size = |s| FontId::proportional(s);
        style.text_styles = [
            (TextStyle::Small, size(13.0)),
            (TextStyle::Body, size(16.0)),
            (TextStyle::Button, size(16.0)),
            (TextStyle::Heading, size(22.0)),
            (TextStyle::Monospace, FontId::monospace(15.0)),
            (big(), size(34.0)),
        ]
        .into();
        style.spacing.item_spacing = Vec2::new(10.0, 8.0);
        style.spacing.button_padding = Vec2::new(12.0, 6.0);
        style.spacing.interact_size.y = 30.0;
        let round = CornerRadius::same(3);
        let v = &mut style.visuals;
        for w in [
            &mut v.widgets.noninteractive,
            &mut v.widgets.inactive,
            &mut v.widgets.hovered,
            &mut v.widgets.active,
            &mut v.widgets.open,
        ] {
            w.corner_radius = round;
        }
        // The focus must be seen by those who use the keyboard.
        v.selection.stroke = Stroke::new(2.0, v.selection.stroke.color);
    });
    context.style_mut_of(Theme::Light, |style| {
        let v = &mut style.visuals;
        v.panel_fill = Color32::from_rgb(250, 249, 245);
        v.widgets.noninteractive.fg_stroke.color = Color32::from_rgb(44, 46, 52);
        v.widgets.active.fg_stroke.color = Color32::BLACK;
        v.widgets.inactive.weak_bg_fill = Color32::from_rgb(226, 228, 230);
        v.widgets.inactive.bg_stroke = Stroke::new(1.0, Color32::from_rgb(160, 164, 170));
    });
    context.style_mut_of(Theme::Dark, |style| {
        let v = &mut style.visuals;
        v.panel_fill = Color32::from_rgb(24, 27, 31);
        v.widgets.noninteractive.fg_stroke.color = Color32::from_rgb(212, 212, 208);
        v.widgets.active.fg_stroke.color = Color32::WHITE;
        v.widgets.inactive.weak_bg_fill = Color32::from_rgb(52, 57, 63);
        v.widgets.inactive.bg_stroke = Stroke::new(1.0, Color32::from_rgb(96, 102, 110));
    });
}

/// One colour for light, one for dark: both with a contrast of 4.5 or more against the panel.
fn pair(dark: bool, in_light: [u8; 3], in_dark: [u8; 3]) -> Color32 {
    let [r, g, b] = if dark { in_dark } else { in_light };
    Color32::from_rgb(r, g, b)
}

fn green(dark: bool) -> Color32 {
    pair(dark, [0, 105, 55], [110, 215, 150])
}
fn red(dark: bool) -> Color32 {
    pair(dark, [170, 20, 35], [255, 135, 130])
}
fn amber(dark: bool) -> Color32 {
    pair(dark, [140, 78, 0], [245, 185, 90])
}
fn blue(dark: bool) -> Color32 {
    pair(dark, [45, 75, 165], [150, 185, 255])
}

/// A verdict's colour.
pub fn verdict(v: Verdict, dark: bool) -> Color32 {
    match v {
        Verdict::Said => green(dark),
        Verdict::Wrong => red(dark),
        Verdict::Missing => amber(dark),
        Verdict::Unsure => blue(dark),
    }
}

/// An outcome's colour.
pub fn outcome(o: Outcome, dark: bool) -> Color32 {
    match o {
        Outcome::Pass => green(dark),
        Outcome::NotYet => red(dark),
        Outcome::SayAgain | Outcome::NothingHeard => blue(dark),
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
pub fn state(s: TurnState, dark: bool) -> Color32 {
    match s {
        TurnState::Receiving => blue(dark),
        TurnState::YourCall | TurnState::Done => green(dark),
        TurnState::Transmitting => red(dark),
        TurnState::Judging => amber(dark),
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
            let font = FontId::proportional(place.height() * 1.25);
            painter.text(place.center(), egui::Align2::CENTER_CENTER, "?", font, colour);
        }
    }
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
pub fn mark(ui: &mut egui::Ui) {
    ui.horizontal(|ui| {
        let (place, _) = ui.allocate_exact_size(Vec2::new(34.0, 26.0), egui::Sense::hover());
        let ink = ui.visuals().strong_text_color();
        let accent = blue(ui.visuals().dark_mode);
        let painter = ui.painter();
        let drum = place.left_bottom() + Vec2::new(9.0, -9.0);
        painter.circle_stroke(drum, 7.0, Stroke::new(2.0, ink));
        painter.circle_filled(drum, 2.0, ink);
        painter.line_segment(
            [drum + Vec2::new(0.0, -7.0), place.right_top() + Vec2::new(-1.0, 4.0)],
            Stroke::new(2.0, accent),
        );
        ui.label(RichText::new("Cableside").strong().size(19.0));
    });
}

/// The colour of what is as it should be.
pub fn good(dark: bool) -> Color32 {
    green(dark)
}

/// The colour of what only tells.
pub fn note(dark: bool) -> Color32 {
    blue(dark)
}

/// A trouble's colour.
pub fn trouble(dark: bool) -> Color32 {
    amber(dark)
}

/// What a card's edge and margins add to the width of its content, points.
pub const CARD: f32 = 23.0;

/// A frame around one thing.
pub fn card(ui: &egui::Ui, edge: Color32) -> egui::Frame {
    egui::Frame::new()
        .inner_margin(Margin::symmetric(10, 6))
        .corner_radius(CornerRadius::same(3))
        .stroke(Stroke::new(1.5, edge))
        .fill(ui.visuals().extreme_bg_color)
}

/// Small text for what is only a remark.
pub fn remark(text: impl Into<String>) -> RichText {
    RichText::new(text).text_style(TextStyle::Small)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Contrast by the formula of WCAG 2.2, "relative luminance" and "contrast ratio".
    fn contrast(a: Color32, b: Color32) -> f64 {
        let luminance = |c: Color32| {
            let part = |v: u8| {
                let s = f64::from(v) / 255.0;
                if s <= 0.04045 {
                    s / 12.92
                } else {
                    ((s + 0.055) / 1.055).powf(2.4)
                }
            };
            0.2126 * part(c.r()) + 0.7152 * part(c.g()) + 0.0722 * part(c.b())
        };
        let (x, y) = (luminance(a), luminance(b));
        (x.max(y) + 0.05) / (x.min(y) + 0.05)
    }

    #[test]
    fn every_colour_of_text_can_be_read_on_its_ground() {
        let context = egui::Context::default();
        set(&context);
        for (theme, dark) in [(Theme::Light, false), (Theme::Dark, true)] {
            let style = context.style_of(theme);
            let grounds = [style.visuals.panel_fill, style.visuals.extreme_bg_color];
            for colour in [green(dark), red(dark), amber(dark), blue(dark)] {
                for ground in grounds {
                    assert!(contrast(colour, ground) >= 4.5, "{theme:?} {colour:?} {ground:?}");
                }
            }
        }
    }
}
