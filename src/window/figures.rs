//! The delivery's figures, each with the band it should lie in: drawn, and said in words.

use super::look;
use super::words::Words;
use crate::call::Delivery;
use crate::call::delivery::{BAND, CUT_IN, CUT_OFF, HELD, LONG_PAUSE, WORDS_PER_MINUTE};
use eframe::egui::accesskit::Role;
use eframe::egui::{Pos2, Rect, Sense, Shape, Stroke, StrokeKind, Ui, Vec2, WidgetInfo};

/// A figure with its band and the scale it is drawn on.
#[derive(Debug, Clone, PartialEq)]
struct Figure {
    name: &'static str,
    value: f32,
    text: String,
    band: (f32, f32),
    scale: (f32, f32),
}

impl Figure {
    fn inside(&self) -> bool {
        (self.band.0..=self.band.1).contains(&self.value)
    }
}

fn figures(words: Words, d: &Delivery, stop: bool) -> Vec<Figure> {
    let seconds = |name, value: f32, band, scale| Figure {
        name,
        value,
        text: format!("{} s", words.language().decimal(value, 2)),
        band,
        scale,
    };
    let mut out = Vec::new();
    // How long one may think before a call is nobody's rule: only pressing into the other side's words lies outside. A stop
    // waits for nothing.
    let most = if stop { AT_ONCE } else { f32::MAX };
    out.extend(
        d.prompt_to_press
            .map(|v| seconds("figure.reaction", v, (0.0, most), (-1.0, 6.0))),
    );
    out.extend(
        d.press_to_sound
            .map(|v| seconds("figure.press_to_word", v, (CUT_IN, HELD), (0.0, 2.0))),
    );
    out.extend(
        d.sound_to_release
            .map(|v| seconds("figure.word_to_release", v, (CUT_OFF, HELD), (0.0, 2.0))),
    );
    let longest = d.pauses.iter().map(|p| p.end - p.begin).fold(0.0, f32::max);
    out.push(seconds("figure.pause", longest, (0.0, LONG_PAUSE), (0.0, 3.0)));
    out.extend(d.words_per_minute.map(|v| Figure {
        name: "figure.rate",
        value: v,
        text: format!("{v:.0}/min"),
        band: (0.0, BAND * WORDS_PER_MINUTE),
        scale: (0.0, 250.0),
    }));
    out.push(Figure {
        name: "figure.peak",
        value: d.peak,
        text: format!("{:.0} dBFS", d.peak),
        // The recorder's own limits for "too quiet" and "about to clip".
        band: (-40.0, -1.0),
        scale: (-60.0, 0.0),
    });
    out
}

/// Where a stop is wanted, the press may come so long after what is seen or said, seconds. Common practice ("at once"), no
/// source for the number.
const AT_ONCE: f32 = 3.0;

/// A stop that came late, in a sentence.
pub(super) fn late(words: Words, delivery: &Delivery, stop: bool) -> Option<String> {
    let after = delivery.prompt_to_press.filter(|s| stop && *s > AT_ONCE)?;
    Some(words.fill("figure.late_stop", &[("s", &words.language().decimal(after, 1))]))
}

/// The figures as a list: each a row that breaks where the side is narrow. `stop`: the call is the one that waits for nothing.
pub(super) fn ui(ui: &mut Ui, words: Words, delivery: &Delivery, stop: bool) {
    for figure in figures(words, delivery, stop) {
        ui.horizontal_wrapped(|ui| {
            ui.label(words.say(figure.name));
            ui.label(look::bold(&figure.text));
            bar(ui, words, &figure);
            let inside = if figure.inside() {
                "figure.inside"
            } else {
                "figure.outside"
            };
            ui.label(look::remark(words.say(inside)));
        });
    }
    if let Some(loudness) = delivery.loudness {
        ui.horizontal_wrapped(|ui| {
            ui.label(words.say("figure.loudness"));
            ui.label(look::bold(format!("{loudness:.0} LUFS")));
        });
    }
}

/// The scale with its band as a box and the value as a pointer: no colour is needed to read it.
fn bar(ui: &mut Ui, words: Words, figure: &Figure) {
    let (place, response) = ui.allocate_exact_size(Vec2::new(150.0, 20.0), Sense::hover());
    let text = words.fill(
        "figure.bar",
        &[("name", words.say(figure.name)), ("value", &figure.text)],
    );
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, &text));
    let (low, high) = figure.scale;
    let at = |v: f32| {
        let share = ((v - low) / (high - low)).clamp(0.0, 1.0);
        place.min.x + 5.0 + share * (place.width() - 10.0)
    };
    let visuals = ui.visuals();
    let painter = ui.painter();
    let y = place.max.y - 5.0;
    painter.line_segment(
        [Pos2::new(at(low), y), Pos2::new(at(high), y)],
        Stroke::new(1.0, visuals.weak_text_color()),
    );
    let band = Rect::from_min_max(
        Pos2::new(at(figure.band.0), y - 4.0),
        Pos2::new(at(figure.band.1), y + 4.0),
    );
    let edge = Stroke::new(1.0, visuals.text_color());
    painter.rect(
        band,
        1.0,
        visuals.widgets.inactive.weak_bg_fill,
        edge,
        StrokeKind::Inside,
    );
    let tip = Pos2::new(at(figure.value), y + 1.0);
    let arrow = vec![tip, tip + Vec2::new(-5.0, -11.0), tip + Vec2::new(5.0, -11.0)];
    painter.add(Shape::convex_polygon(arrow, visuals.strong_text_color(), Stroke::NONE));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::call::Place;

    #[test]
    fn a_figure_outside_its_band_is_one_the_call_remarks_on() {
        let good = Delivery {
            prompt_to_press: Some(0.8),
            press_to_sound: Some(0.3),
            sound_to_release: Some(0.2),
            speech: 5.0,
            words_per_minute: Some(110.0),
            peak: -12.0,
            ..Delivery::default()
        };
        assert!(figures(Words::English, &good, false).iter().all(Figure::inside));
        assert!(good.remarks().is_empty());
        let slow = Delivery {
            prompt_to_press: Some(10.5),
            ..good.clone()
        };
        assert!(
            figures(Words::English, &slow, false).iter().all(Figure::inside),
            "looking first is right"
        );
        assert!(
            !figures(Words::English, &slow, true)[0].inside(),
            "a stop waits for nothing"
        );
        assert!(late(Words::English, &slow, true).is_some_and(|t| t.contains("10.5")));
        assert_eq!(
            (late(Words::English, &slow, false), late(Words::English, &good, true)),
            (None, None)
        );
        let bad = Delivery {
            prompt_to_press: Some(-0.4),
            press_to_sound: Some(0.02),
            sound_to_release: Some(1.5),
            words_per_minute: Some(190.0),
            pauses: vec![Place { begin: 1.0, end: 3.0 }],
            ..good
        };
        let outside = figures(Words::English, &bad, false)
            .iter()
            .filter(|f| !f.inside())
            .count();
        assert_eq!(outside, bad.remarks().len());
    }
}
