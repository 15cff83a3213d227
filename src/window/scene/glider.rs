//! The glider: near, standing at its cable's end with the nose towards the winch, or far away in the air.
//!
//! Measures are metres in the glider's own axes: f forward from the wheel, r to its right, u up. They are laid onto the
//! picture by three vectors, mirrored for a glider at the right side of the field, so that the side with the cable's hook and
//! the registration is always the one that is seen.

use super::Canvas;
use super::field;
use eframe::egui::{Color32, FontId, Mesh, Pos2, Shape, Stroke, Vec2, epaint::TextShape};

/// What there is to see of a glider nearby.
#[derive(Debug)]
pub(super) struct Near<'a> {
    /// -1 at the left of the field, 1 at the right.
    pub side: f32,
    pub registration: &'a str,
    pub seats: u8,
    pub heads: u8,
    pub hook: Hook,
    pub left_wing_drops: bool,
    pub canopy_open: bool,
}

/// What there is to see at the hook.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Hook {
    /// Nothing; somebody holds the wing.
    Free,
    /// Who will hold the wing kneels there, and a wing lies on the grass.
    Helper,
    /// The cable; somebody holds the wing.
    Cable,
}

/// Half the span, metres; shortened, so that the glider can be large in the picture.
const HALF_SPAN: f32 = 6.6;
/// Height of the wing's root.
const WING: f32 = 0.95;

/// Lays the glider's axes onto the picture.
struct Frame {
    origin: Pos2,
    unit: f32,
    /// 1 at the left of the field, where the nose points to the right.
    m: f32,
    roll: f32,
}

impl Frame {
    fn of(c: &Canvas<'_>, side: f32, roll: f32) -> Self {
        Self {
            origin: c.at(0.5 + 0.20 * side, 0.76),
            unit: c.wide(0.050),
            m: -side,
            roll,
        }
    }

    fn at(&self, f: f32, r: f32, u: f32) -> Pos2 {
        let u = u + r * self.roll;
        self.origin + self.unit * Vec2::new(self.m * 0.80 * f + 0.46 * r, -0.30 * f + self.m * 0.25 * r - u)
    }

    /// The wing towards the one who looks: 1 is the right one.
    fn near(&self) -> f32 {
        self.m
    }
}

/// Where the cable is hooked on.
pub(super) fn hook(c: &Canvas<'_>, side: f32) -> Pos2 {
    Frame::of(c, side, 0.0).at(0.75, 0.0, 0.10)
}

/// The fuselage from nose to tail: f, top, bottom.
const BODY: [(f32, f32, f32); 11] = [
    (2.75, 0.62, 0.50),
    (2.45, 0.84, 0.26),
    (1.90, 1.00, 0.14),
    (1.10, 1.10, 0.10),
    (0.30, 1.14, 0.12),
    (-0.40, 1.06, 0.22),
    (-1.20, 1.01, 0.27),
    (-2.20, 0.98, 0.32),
    (-3.20, 0.96, 0.38),
    (-4.20, 0.94, 0.46),
    (-4.75, 0.90, 0.56),
];

/// A glider at the launch point.
pub(super) fn near(c: &Canvas<'_>, g: &Near<'_>) {
    // The left wing's tip comes down to the grass; while the cable is hooked on it is the one further away.
    let roll = match g.hook {
        _ if g.left_wing_drops => 0.17,
        Hook::Helper => -0.17 * g.side,
        Hook::Free | Hook::Cable => 0.0,
    };
    let frame = Frame::of(c, g.side, roll);
    let edge = Stroke::new(c.stroke(), c.ink.line);
    let near = frame.near();
    shadow(c, &frame);
    wing(c, &frame, -near, edge);
    tail(c, &frame, edge);
    // The wheel under the middle.
    c.painter
        .circle(frame.at(0.15, 0.0, 0.10), frame.unit * 0.26, c.ink.line, edge);
    body(c, &frame, edge);
    cockpit(c, &frame, g, edge);
    registration(c, &frame, g.registration);
    if !g.left_wing_drops && g.hook != Hook::Helper {
        runner(c, &frame, near);
    }
    wing(c, &frame, near, edge);
    if g.left_wing_drops {
        let tip = frame.at(0.1, -HALF_SPAN, WING + 0.35);
        arrow_down(c, tip);
        // Who held it stands behind it with empty hands.
        let feet = frame.at(-0.9, -HALF_SPAN * 0.94, HALF_SPAN * 0.94 * roll);
        field::person(c, feet, frame.unit * 1.8, None);
    }
    if g.hook == Hook::Helper && !g.left_wing_drops {
        let knee = frame.at(0.45, near * 3.0, near * 3.0 * -roll);
        field::kneeling(c, knee, frame.unit * 1.8, hook(c, g.side));
    }
    if g.hook == Hook::Cable {
        let ring = Stroke::new(c.stroke() * 1.4, c.ink.line);
        let at = hook(c, g.side);
        c.painter.circle(at, frame.unit * 0.13, c.ink.board, ring);
    }
}

fn shadow(c: &Canvas<'_>, frame: &Frame) {
    let dark = Color32::from_black_alpha(46);
    let points = [(2.6, 0.0), (0.2, -0.35), (-4.6, -0.05), (-4.6, 0.05), (0.2, 0.35)];
    let points = points.iter().map(|(f, r)| frame.at(*f, *r, -r * frame.roll)).collect();
    c.painter.add(Shape::convex_polygon(points, dark, Stroke::NONE));
}

/// A wing: 1 is the right one, -1 the left one.
fn wing(c: &Canvas<'_>, frame: &Frame, r: f32, edge: Stroke) {
    let span = HALF_SPAN * r;
    let points = vec![
        frame.at(0.75, 0.30 * r, WING),
        frame.at(0.35, span, WING + 0.35),
        frame.at(-0.10, span, WING + 0.35),
        frame.at(-0.40, 0.30 * r, WING),
    ];
    let fill = if r * frame.near() > 0.0 {
        c.ink.body
    } else {
        c.ink.shade
    };
    c.painter.add(Shape::convex_polygon(points, fill, edge));
}

fn tail(c: &Canvas<'_>, frame: &Frame, edge: Stroke) {
    let fin = vec![
        frame.at(-3.95, 0.0, 0.80),
        frame.at(-4.45, 0.0, 2.05),
        frame.at(-4.95, 0.0, 2.05),
        frame.at(-4.90, 0.0, 0.70),
    ];
    let across = vec![
        frame.at(-4.40, -1.15, 2.05),
        frame.at(-4.40, 1.15, 2.05),
        frame.at(-4.90, 1.15, 2.05),
        frame.at(-4.90, -1.15, 2.05),
    ];
    c.painter.add(Shape::convex_polygon(fin, c.ink.shade, edge));
    c.painter.add(Shape::convex_polygon(across, c.ink.body, edge));
}

fn body(c: &Canvas<'_>, frame: &Frame, edge: Stroke) {
    let mut mesh = Mesh::default();
    let mut outline: Vec<Pos2> = Vec::new();
    for (n, (f, top, bottom)) in BODY.iter().enumerate() {
        mesh.colored_vertex(frame.at(*f, 0.0, *top), c.ink.body);
        mesh.colored_vertex(frame.at(*f, 0.0, *bottom), c.ink.shade);
        outline.push(frame.at(*f, 0.0, *top));
        if n > 0 {
            let i = 2 * n as u32;
            mesh.add_triangle(i - 2, i - 1, i);
            mesh.add_triangle(i - 1, i, i + 1);
        }
    }
    outline.extend(BODY.iter().rev().map(|(f, _, bottom)| frame.at(*f, 0.0, *bottom)));
    c.painter.add(mesh);
    c.painter.add(Shape::closed_line(outline, edge));
}

/// The canopy with a place for each seat, and a head in each that is taken; who is alone sits in front.
fn cockpit(c: &Canvas<'_>, frame: &Frame, g: &Near<'_>, edge: Stroke) {
    let back = if g.seats > 1 { 0.05 } else { 1.05 };
    // Not locked it stands up at the front.
    let lift = if g.canopy_open { 0.45 } else { 0.0 };
    let at = |f: f32, u: f32| frame.at(f, 0.0, u + lift * (f - back));
    let glass = vec![
        at(2.35, 0.86),
        at(2.00, 1.42),
        at(1.60, 1.62),
        at(back + 0.35, 1.66),
        at(back, 1.12),
    ];
    c.painter.add(Shape::convex_polygon(glass, c.ink.glass, edge));
    let seats = [1.72, 0.72];
    for (n, f) in seats.iter().enumerate().take(usize::from(g.seats.min(2))) {
        if n < usize::from(g.heads) {
            let head = frame.at(*f, 0.0, 1.34);
            let shoulders = frame.at(*f, 0.0, 1.02);
            let wide = Stroke::new(frame.unit * 0.34, c.ink.line);
            c.painter.line_segment([shoulders, head], wide);
            c.painter.circle(head, frame.unit * 0.23, c.ink.board, edge);
        }
    }
    if g.seats > 1 {
        // The frame between the two places.
        c.painter
            .line_segment([frame.at(1.22, 0.0, 1.06), frame.at(1.22, 0.0, 1.64)], edge);
    }
    let sill = Stroke::new(c.stroke() * 1.2, c.ink.line);
    c.painter
        .line_segment([frame.at(2.35, 0.0, 0.86), frame.at(back, 0.0, 1.12)], sill);
}

/// Along the fuselage behind the wing, as large as it fits.
fn registration(c: &Canvas<'_>, frame: &Frame, text: &str) {
    let (from, to) = (frame.at(-0.75, 0.0, 0.66), frame.at(-4.0, 0.0, 0.71));
    // Read from left to right, whichever end of the fuselage that is.
    let (left, right) = if from.x < to.x { (from, to) } else { (to, from) };
    let along = right - left;
    let font = FontId::proportional((frame.unit * 0.78).max(7.0));
    let galley = c.painter.layout_no_wrap(text.to_owned(), font, c.ink.mark);
    let angle = along.angle();
    let (long, high) = (galley.size().x, galley.size().y);
    let middle = left + along / 2.0;
    let unit = along.normalized();
    let down = Vec2::new(-unit.y, unit.x);
    let corner = middle - unit * (long / 2.0) - down * (high / 2.0);
    c.painter
        .add(TextShape::new(corner, galley, c.ink.mark).with_angle(angle));
}

/// Who holds the wing's tip level.
fn runner(c: &Canvas<'_>, frame: &Frame, near: f32) {
    let r = -near * HALF_SPAN * 0.97;
    let feet = frame.at(-0.35, r, 0.0);
    let tip = frame.at(-0.05, r, WING + 0.35);
    field::person(c, feet, frame.unit * 1.8, Some(tip));
}

fn arrow_down(c: &Canvas<'_>, tip: Pos2) {
    let long = c.wide(0.045);
    let from = tip - Vec2::new(0.0, long * 1.7);
    let stroke = Stroke::new(c.stroke() * 2.0, c.ink.line);
    c.painter.arrow(from, Vec2::new(0.0, long), stroke);
}

/// A glider in the air, seen from behind; `nose_up` tilts it as in the climb (radians).
pub(super) fn far(c: &Canvas<'_>, at: Pos2, half_span: f32, nose_up: f32) {
    let half = c.wide(half_span);
    let line = |wide: f32| Stroke::new(half * wide, c.ink.line);
    let lift = half * 0.10;
    for side in [-1.0, 1.0] {
        c.painter
            .line_segment([at, at + Vec2::new(side * half, -lift)], line(0.055));
    }
    let down = half * 0.42 * nose_up.sin();
    let tail = at + Vec2::new(0.0, down.max(half * 0.02));
    c.painter.line_segment([at, tail], line(0.10));
    c.painter.line_segment(
        [tail - Vec2::new(half * 0.2, 0.0), tail + Vec2::new(half * 0.2, 0.0)],
        line(0.05),
    );
    c.painter
        .circle(at, half * 0.10, c.ink.body, Stroke::new(half * 0.05, c.ink.line));
}
