//! The sound of a call as a picture: its outline over time, when the key went down and up, the elements where their place is
//! known, and stretches of sound no word was read from. A part that is clicked is heard.

use super::look;
use super::words::Words;
use crate::call::judge::Limits;
use crate::call::{Evidence, Judgement, Place, Verdict};
use crate::site::{Purpose, Site, Step};
use crate::sound::{Clip, RATE};
use crate::worker::Judged;
use eframe::egui::accesskit::Role;
use eframe::egui::{Color32, FontId, Pos2, Rect, Sense, Shape, Stroke, StrokeKind, Ui, Vec2, WidgetInfo};
use uuid::Uuid;

/// Height of the sound, and of each lane of elements under it, points.
const HIGH: f32 = 84.0;
const LANE: f32 = 26.0;
/// Room above the sound for the words at the key's marks.
const HEAD: f32 = 18.0;
/// Widest column of the outline, points.
const COLUMN: f32 = 2.0;

/// A stretch of the sound with a name.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    /// The element's name on screen.
    pub label: String,
    /// Its verdict; `None` for sound no word was read from.
    pub verdict: Option<Verdict>,
    /// Where it lies.
    pub place: Place,
}

/// The parts of a call whose place is known: those of this recording only, also where an answer completed an earlier call.
pub(super) fn parts(words: Words, site: &Site, step: &Step, judgement: &Judgement, evidence: &Evidence) -> Vec<Part> {
    let mut out = Vec::new();
    if Limits::DEFAULT.explained(evidence)
        && let Some(best) = evidence.readings.first()
    {
        for mention in &best.reading.mentions {
            // Behind the step's own elements stands the one that stops everything.
            let halts = site.element_for(Purpose::Stop).map_or("", |e| e.id.as_str());
            let element = step.elements.get(mention.element).map_or(halts, String::as_str);
            let Some(place) = evidence.place(mention) else { continue };
            let label = site.elements.get(element).map_or(element, |e| e.label.as_str());
            let verdict = judgement.element(element).map(|e| e.verdict);
            out.push(Part {
                label: label.to_owned(),
                verdict: Some(verdict.unwrap_or(Verdict::Said)),
                place,
            });
        }
    }
    let unread = evidence
        .unread
        .iter()
        .filter(|u| u.end - u.begin > Limits::DEFAULT.unread);
    out.extend(unread.map(|place| Part {
        label: words.say("wave.unread").to_owned(),
        verdict: None,
        place: *place,
    }));
    out.sort_by(|a, b| a.place.begin.total_cmp(&b.place.begin));
    out
}

/// The outline, kept from frame to frame.
#[derive(Debug, Default)]
pub(super) struct Wave {
    of: Option<(Uuid, usize)>,
    outline: Vec<f32>,
}

impl Wave {
    /// Draw it; a part that was clicked comes back.
    pub(super) fn ui(
        &mut self,
        ui: &mut Ui,
        words: Words,
        judged: &Judged,
        clip: &Clip,
        parts: &[Part],
    ) -> Option<Place> {
        let width = ui.available_width().clamp(40.0, 1600.0);
        let columns = (width / COLUMN) as usize;
        if self.of != Some((judged.id, columns)) {
            self.outline = outline(&clip.samples, columns);
            self.of = Some((judged.id, columns));
        }
        let seconds = (clip.seconds() as f32).max(0.01);
        let lanes = lanes(ui, parts, width / seconds);
        let deep = lanes.iter().max().map_or(0.0, |n| LANE * (*n as f32 + 1.0));
        let size = Vec2::new(width, HEAD + HIGH + deep);
        let (place, response) = ui.allocate_exact_size(size, Sense::hover());
        let length = words.language().decimal(seconds, 1);
        let text = words.fill("wave.picture", &[("seconds", &length)]);
        response.widget_info(|| WidgetInfo::labeled(Role::Image, true, &text));
        let at = |t: f32| place.min.x + (t / seconds).clamp(0.0, 1.0) * width;
        let sound = Rect::from_min_size(place.min + Vec2::new(0.0, HEAD), Vec2::new(width, HIGH));
        self.paint(ui, sound);
        seconds_marks(ui, sound, seconds);
        keying(ui, words, sound, clip, &at);
        let mut heard = None;
        for (part, lane) in parts.iter().zip(lanes) {
            let top = sound.max.y + LANE * lane as f32;
            let (from, to) = (at(part.place.begin), at(part.place.end));
            let bar = Rect::from_min_max(
                Pos2::new(from, top + 2.0),
                Pos2::new(to.max(from + 8.0), top + LANE - 2.0),
            );
            if one(ui, words, judged.id, part, bar, sound) {
                heard = Some(part.place);
            }
        }
        heard
    }

    fn paint(&self, ui: &Ui, sound: Rect) {
        let painter = ui.painter_at(sound);
        let visuals = ui.visuals();
        painter.rect(
            sound,
            2.0,
            visuals.extreme_bg_color,
            visuals.widgets.noninteractive.bg_stroke,
            StrokeKind::Inside,
        );
        let ink = visuals.text_color();
        // Root, so that soft speech can be seen beside loud speech.
        for (n, top) in self.outline.iter().enumerate() {
            let x = sound.min.x + (n as f32 + 0.5) * COLUMN;
            let half = (top.sqrt() * HIGH / 2.0).max(0.5);
            let y = sound.center().y;
            painter.line_segment([Pos2::new(x, y - half), Pos2::new(x, y + half)], Stroke::new(1.2, ink));
        }
    }
}

/// The highest sample of each column, 0 to 1.
fn outline(samples: &[f32], columns: usize) -> Vec<f32> {
    let columns = columns.max(1);
    (0..columns)
        .map(|n| {
            let (from, to) = (n * samples.len() / columns, (n + 1) * samples.len() / columns);
            let piece = samples.get(from..to).unwrap_or_default();
            piece.iter().fold(0.0_f32, |top, s| top.max(s.abs())).min(1.0)
        })
        .collect()
}

/// The lane of each part: the first in which its name does not run into the one before.
fn lanes(ui: &Ui, parts: &[Part], points_a_second: f32) -> Vec<usize> {
    let mut ends: Vec<f32> = Vec::new();
    parts
        .iter()
        .map(|part| {
            let begin = part.place.begin * points_a_second;
            let end = (part.place.end * points_a_second).max(begin + name_width(ui, &part.label));
            let lane = ends.iter().position(|e| *e <= begin).unwrap_or(ends.len());
            if lane == ends.len() {
                ends.push(end);
            } else {
                ends[lane] = end;
            }
            lane
        })
        .collect()
}

const NAME: f32 = 13.0;

fn name_width(ui: &Ui, name: &str) -> f32 {
    let font = FontId::proportional(NAME);
    let galley = ui.painter().layout_no_wrap(name.to_owned(), font, Color32::WHITE);
    galley.size().x + 26.0
}

/// A part: a bar under the sound, its edges drawn up into it, its name beside its sign. Was it clicked?
fn one(ui: &mut Ui, words: Words, call: Uuid, part: &Part, bar: Rect, sound: Rect) -> bool {
    let wide = bar.width().max(name_width(ui, &part.label));
    let area = Rect::from_min_size(bar.min, Vec2::new(wide, bar.height()));
    let begin = (part.place.begin * 1000.0) as i64;
    let response = ui.interact(area, ui.scope_id().with((call, begin, &part.label)), Sense::click());
    let dark = ui.visuals().dark_mode;
    let colour = part
        .verdict
        .map_or(ui.visuals().weak_text_color(), |v| look::verdict(v, dark));
    let verdict = words.say(part.verdict.map_or("wave.no_words", look::verdict_key));
    let (from, to) = {
        let time = |seconds| words.language().decimal(seconds, 1);
        (time(part.place.begin), time(part.place.end))
    };
    let facts = [
        ("part", part.label.as_str()),
        ("verdict", verdict),
        ("from", &from),
        ("to", &to),
    ];
    let text = words.fill("wave.part", &facts);
    response.widget_info(|| WidgetInfo::labeled(Role::Button, true, &text));
    let painter = ui.painter();
    let stroke = Stroke::new(
        if response.hovered() || response.has_focus() {
            3.0
        } else {
            1.5
        },
        colour,
    );
    for x in [bar.min.x, bar.max.x] {
        let edge = [Pos2::new(x, sound.min.y), Pos2::new(x, bar.min.y + 4.0)];
        painter.extend(Shape::dashed_line(&edge, Stroke::new(1.0, colour), 3.0, 3.0));
    }
    let line = [
        bar.left_top() + Vec2::new(0.0, 3.0),
        bar.right_top() + Vec2::new(0.0, 3.0),
    ];
    // Said is a whole line, what is not decided a broken one, so that it shows without colours.
    match part.verdict {
        Some(Verdict::Said) => drop(painter.line_segment(line, stroke)),
        Some(Verdict::Wrong | Verdict::Missing) => {
            painter.line_segment(line, stroke);
            let below = line.map(|p| p + Vec2::new(0.0, 3.0));
            painter.line_segment(below, stroke);
        }
        Some(Verdict::Unsure) | None => painter.extend(Shape::dashed_line(&line, stroke, 5.0, 3.0)),
    }
    let at = bar.left_top() + Vec2::new(2.0, 8.0);
    let name = painter.layout_no_wrap(part.label.clone(), FontId::proportional(NAME), colour);
    look::sign(
        painter,
        Rect::from_min_size(at + Vec2::new(0.0, 2.0), Vec2::splat(11.0)),
        part.verdict,
        colour,
    );
    painter.galley(at + Vec2::new(16.0, 0.0), name, colour);
    if response.has_focus() {
        painter.rect_stroke(area.expand(2.0), 2.0, stroke, StrokeKind::Outside);
    }
    response.on_hover_text(text).clicked()
}

/// A mark for each second.
fn seconds_marks(ui: &Ui, sound: Rect, seconds: f32) {
    let ink = ui.visuals().weak_text_color();
    for n in 1..=(seconds as u32).min(120) {
        let x = sound.min.x + n as f32 / seconds * sound.width();
        let foot = Pos2::new(x, sound.max.y);
        ui.painter()
            .line_segment([foot, foot - Vec2::new(0.0, 5.0)], Stroke::new(1.0, ink));
    }
}

/// When the key went down and up, with the words for it.
fn keying(ui: &Ui, words: Words, sound: Rect, clip: &Clip, at: &impl Fn(f32) -> f32) {
    let Some(keying) = clip.keying else { return };
    let ink = ui.visuals().strong_text_color();
    let font = FontId::proportional(NAME);
    let end = clip.samples.len() as f32 / RATE as f32;
    for (x, key, right) in [
        (at(keying.lead as f32), "wave.press", false),
        (at(end), "wave.release", true),
    ] {
        let x = x.clamp(sound.min.x + 1.0, sound.max.x - 1.0);
        let top = Pos2::new(x, sound.min.y - 4.0);
        ui.painter()
            .line_segment([top, Pos2::new(x, sound.max.y)], Stroke::new(2.0, ink));
        let text = ui
            .painter()
            .layout_no_wrap(words.say(key).to_owned(), font.clone(), ink);
        let left = if right { x - text.size().x } else { x };
        ui.painter().galley(Pos2::new(left, sound.min.y - HEAD), text, ink);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::call::{Situation, Vocabulary, judge};
    use crate::site::{Callsign, bundled};

    #[test]
    fn the_outline_has_the_highest_sample_of_each_column() {
        let samples = [0.1, -0.5, 0.2, 0.0, 0.0, 2.0];
        assert_eq!(outline(&samples, 3), [0.5, 0.2, 1.0]);
        assert_eq!(outline(&[], 2), [0.0, 0.0]);
        assert_eq!(outline(&samples, 0).len(), 1);
    }

    #[test]
    fn only_parts_whose_place_is_known_are_marked() {
        let site = Site::check(&bundled::files("larkmoor").unwrap()).unwrap();
        let step = site.step("ready").unwrap();
        let situation = Situation::new(Callsign::parse("D-2058").unwrap(), 1, "south");
        let vocabulary = Vocabulary::of(&site, step);
        let mut evidence = Evidence::typed(&vocabulary, "winch, delta two zero five eight, solo, north winch cable");
        let judgement = judge(&site, step, &situation, &evidence, &Limits::DEFAULT);
        let found = |evidence: &Evidence| parts(Words::English, &site, step, &judgement, evidence);
        assert!(found(&evidence).is_empty(), "nothing is known of a typed call");
        let count = evidence.readings[0].reading.words.len();
        let place = |n: usize| Place {
            begin: n as f32,
            end: n as f32 + 0.5,
        };
        evidence.places = (0..count).map(|n| (n != 6).then(|| place(n))).collect();
        evidence.unread = vec![place(40), Place { begin: 50.0, end: 52.0 }];
        let labels: Vec<(String, Option<Verdict>)> =
            found(&evidence).into_iter().map(|p| (p.label, p.verdict)).collect();
        // The sixth word, "solo", has no place; a short stretch without words is none.
        let wanted = [
            ("Address", Some(Verdict::Said)),
            ("Callsign", Some(Verdict::Said)),
            ("Cable", Some(Verdict::Wrong)),
            ("Launch method", Some(Verdict::Said)),
            ("no words recognised", None),
        ];
        let wanted: Vec<(String, Option<Verdict>)> = wanted.iter().map(|(l, v)| ((*l).to_owned(), *v)).collect();
        assert_eq!(labels, wanted);
    }
}
