//! The field: sky, ground, winch, cables with their boards, people and cars.

use super::Canvas;
use eframe::egui::{Align2, Color32, FontId, Mesh, Pos2, Rect, Shape, Stroke, StrokeKind, Vec2};

/// Where the ground meets the sky, as a share of the height.
const HORIZON: f32 = 0.36;

/// How a cable lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lie {
    /// Its end lies on the grass, with the drogue.
    Loose,
    /// On the glider, in bows.
    Bows,
    /// The last bow goes out of it.
    LastBow,
    /// A loop lies under the wheel.
    UnderTheWheel,
    /// Tight.
    Tight,
}

/// Sky, hills, grass and the mown strip.
pub(super) fn ground(c: &Canvas<'_>) {
    let horizon = c.at(0.0, HORIZON).y;
    let place = c.place;
    bands(
        c,
        Rect::from_min_max(place.min, Pos2::new(place.max.x, horizon)),
        c.ink.sky,
    );
    bands(
        c,
        Rect::from_min_max(Pos2::new(place.min.x, horizon), place.max),
        c.ink.grass,
    );
    // Woods along the horizon: rounded, of different heights, the same every time.
    for n in 0..26_u16 {
        let x = f32::from(n) / 25.0;
        let high = 0.012 + 0.016 * f32::from((n * 7 + 3) % 5) / 4.0;
        // The far end of the strip stays open.
        if (x - 0.5).abs() > 0.06 {
            let at = Pos2::new(c.at(x, 0.0).x, horizon);
            let crown = Rect::from_center_size(at, Vec2::new(c.wide(0.055), c.wide(2.0 * high)));
            let crown = Rect::from_min_max(crown.min, Pos2::new(crown.max.x, horizon));
            c.painter.rect_filled(crown, c.wide(0.02), c.ink.far);
        }
    }
    let strip = [(0.488, HORIZON), (0.512, HORIZON), (1.02, 1.0), (-0.02, 1.0)];
    let points = strip.iter().map(|(x, y)| c.at(*x, *y)).collect();
    c.painter.add(Shape::convex_polygon(points, c.ink.strip, Stroke::NONE));
}

/// A rectangle that changes its colour from top to bottom.
fn bands(c: &Canvas<'_>, place: Rect, [top, bottom]: [Color32; 2]) {
    let mut mesh = Mesh::default();
    mesh.colored_vertex(place.left_top(), top);
    mesh.colored_vertex(place.right_top(), top);
    mesh.colored_vertex(place.right_bottom(), bottom);
    mesh.colored_vertex(place.left_bottom(), bottom);
    mesh.add_triangle(0, 1, 2);
    mesh.add_triangle(0, 2, 3);
    c.painter.add(mesh);
}

/// The winch at the far end.
pub(super) fn winch(c: &Canvas<'_>) {
    let foot = c.at(0.5, HORIZON + 0.012);
    let edge = Stroke::new(c.stroke() * 0.7, c.ink.line);
    let body = Rect::from_min_max(
        foot - Vec2::new(c.wide(0.024), c.wide(0.020)),
        foot + Vec2::new(c.wide(0.012), 0.0),
    );
    c.painter.rect(body, 1.0, c.ink.shade, edge, StrokeKind::Inside);
    let cab = Rect::from_min_max(
        foot + Vec2::new(c.wide(0.012), -c.wide(0.030)),
        foot + Vec2::new(c.wide(0.026), 0.0),
    );
    c.painter.rect(cab, 1.0, c.ink.body, edge, StrokeKind::Inside);
    for x in [-0.015, 0.002, 0.020] {
        c.painter
            .circle_filled(foot + Vec2::new(c.wide(x), 0.0), c.wide(0.0045), c.ink.line);
    }
    let drum = foot - Vec2::new(c.wide(0.007), c.wide(0.011));
    c.painter.circle(drum, c.wide(0.0065), c.ink.body, edge);
}

/// The place of the `i`th of `n` cables across the field at the launch point, -1 to 1.
fn across(i: usize, n: usize) -> f32 {
    if n < 2 {
        0.0
    } else {
        2.0 * i as f32 / (n - 1) as f32 - 1.0
    }
}

/// Where the loose end of a cable lies.
/// `ahead`: further towards the winch.
pub(super) fn cable_end(c: &Canvas<'_>, i: usize, n: usize, ahead: bool) -> Pos2 {
    if ahead {
        return c.at(0.5 + 0.12 * across(i, n), 0.58);
    }
    c.at(0.5 + 0.20 * across(i, n), 0.80)
}

/// A cable from the winch to its end.
pub(super) fn cable(c: &Canvas<'_>, end: Pos2, i: usize, n: usize, lie: Lie) {
    let far = c.at(0.497 + 0.006 * across(i, n), HORIZON + 0.008);
    let bows = match lie {
        Lie::Loose | Lie::Tight => 0.0,
        Lie::Bows => 1.0,
        Lie::LastBow | Lie::UnderTheWheel => 0.35,
    };
    let points: Vec<Pos2> = (0..=60_u8)
        .map(|k| {
            let t = f32::from(k) / 60.0;
            let straight = far + (end - far) * t;
            // Bows lie near the glider and grow towards it.
            let near = ((t - 0.55) / 0.45).clamp(0.0, 1.0);
            let swing = (near * std::f32::consts::TAU * 2.0).sin() * near * (1.0 - near) * 4.0;
            straight + Vec2::new(c.wide(0.035) * bows * swing, 0.0)
        })
        .collect();
    // Thin far away, thicker near.
    for (k, pair) in points.windows(2).enumerate() {
        let wide = c.stroke() * (0.5 + 1.1 * k as f32 / 60.0);
        c.painter
            .line_segment([pair[0], pair[1]], Stroke::new(wide, c.ink.line));
    }
    match lie {
        Lie::Loose => drogue(c, end),
        Lie::UnderTheWheel => {
            let at = end + Vec2::new(0.0, c.wide(0.012));
            let ring = Rect::from_center_size(at, Vec2::new(c.wide(0.085), c.wide(0.028)));
            let ring = (0..=40_u8).map(|k| {
                let a = f32::from(k) / 40.0 * std::f32::consts::TAU;
                ring.center() + Vec2::new(a.cos() * ring.width() / 2.0, a.sin() * ring.height() / 2.0)
            });
            let thick = Stroke::new(c.stroke() * 1.8, c.ink.line);
            c.painter.line(ring.collect(), thick);
        }
        _ => {}
    }
}

/// The drogue and the ring at a loose end.
fn drogue(c: &Canvas<'_>, end: Pos2) {
    let edge = Stroke::new(c.stroke() * 0.8, c.ink.line);
    let up = end - Vec2::new(c.wide(0.004), c.wide(0.035));
    let points = vec![
        end,
        up + Vec2::new(-c.wide(0.016), c.wide(0.002)),
        up - Vec2::new(0.0, c.wide(0.006)),
        up + Vec2::new(c.wide(0.018), c.wide(0.004)),
    ];
    c.painter.add(Shape::convex_polygon(points, c.ink.sock, edge));
    c.painter
        .circle_stroke(end + Vec2::new(0.0, c.wide(0.008)), c.wide(0.006), edge);
}

/// The board with a cable's name, at the edge of the strip.
pub(super) fn board(c: &Canvas<'_>, i: usize, n: usize, name: &str) {
    let side = across(i, n);
    // Of three and more every second one stands nearer, so that no board hides another.
    let nearer = if n > 2 && i % 2 == 1 { 0.10 } else { 0.0 };
    let foot = c.at(0.5 + 0.15 * side, 0.47 + nearer);
    let edge = Stroke::new(c.stroke(), c.ink.line);
    let text = c.painter.layout_no_wrap(
        name.to_owned(),
        FontId::proportional(c.wide(0.030).max(9.0)),
        c.ink.mark,
    );
    let plate_size = text.size() + Vec2::new(c.wide(0.020), c.wide(0.008));
    let middle = foot - Vec2::new(0.0, c.wide(0.022) + plate_size.y / 2.0);
    let plate = Rect::from_center_size(middle, plate_size);
    c.painter.line_segment([foot, middle], edge);
    c.painter.rect(plate, 2.0, c.ink.board, edge, StrokeKind::Inside);
    c.painter.galley(plate.center() - text.size() / 2.0, text, c.ink.mark);
}

/// Words in the sky: the launch direction.
pub(super) fn caption(c: &Canvas<'_>, text: &str) {
    let font = FontId::proportional(c.wide(0.026).max(9.0));
    let text = c.painter.layout_no_wrap(text.to_owned(), font, c.ink.mark);
    let at = c.at(0.015, 0.025);
    let plate = Rect::from_min_size(at, text.size() + Vec2::splat(c.wide(0.012)));
    c.painter.rect_filled(plate, 2.0, c.ink.board);
    c.painter.galley(at + Vec2::splat(c.wide(0.006)), text, c.ink.mark);
}

/// Something happens for which there is no picture: its text stands below.
pub(super) fn sign(c: &Canvas<'_>, text: &str) {
    let font = FontId::proportional(c.wide(0.040).max(10.0));
    let at = c.at(0.5, 0.24);
    let text = c.painter.layout_no_wrap(text.to_owned(), font, c.ink.mark);
    let plate = Align2::CENTER_CENTER.anchor_size(at, text.size() + Vec2::splat(c.wide(0.03)));
    let edge = Stroke::new(c.stroke() * 1.5, c.ink.line);
    c.painter.rect(plate, 3.0, c.ink.board, edge, StrokeKind::Inside);
    c.painter.galley(plate.center() - text.size() / 2.0, text, c.ink.mark);
}

/// A person standing with the feet at a point.
pub(super) fn person(c: &Canvas<'_>, feet: Pos2, high: f32, arm: Option<Pos2>) {
    let body = Stroke::new(high * 0.20, c.ink.line);
    let hip = feet - Vec2::new(0.0, high * 0.45);
    let neck = feet - Vec2::new(0.0, high * 0.78);
    let leg = Stroke::new(high * 0.11, c.ink.line);
    for x in [-0.09, 0.09] {
        c.painter.line_segment([hip, feet + Vec2::new(high * x, 0.0)], leg);
    }
    c.painter.line_segment([hip, neck], body);
    if let Some(hand) = arm {
        let shoulder = neck + Vec2::new(0.0, high * 0.06);
        c.painter
            .line_segment([shoulder, hand], Stroke::new(high * 0.08, c.ink.line));
    }
    let edge = Stroke::new(c.stroke() * 0.7, c.ink.line);
    let head = feet - Vec2::new(0.0, high * 0.89);
    c.painter.circle(head, high * 0.11, c.ink.board, edge);
}

/// A person of a standing height on the knees at a point, with a hand stretched out.
pub(super) fn kneeling(c: &Canvas<'_>, knee: Pos2, high: f32, hand: Pos2) {
    // Turned towards what the hand is at.
    let way = (hand.x - knee.x).signum();
    let hip = knee - Vec2::new(high * 0.10 * way, high * 0.24);
    let neck = hip + Vec2::new(high * 0.12 * way, -high * 0.30);
    let leg = Stroke::new(high * 0.12, c.ink.line);
    c.painter.line_segment([hip, knee], leg);
    c.painter
        .line_segment([knee, knee - Vec2::new(high * 0.26 * way, 0.0)], leg);
    c.painter
        .line_segment([hip, neck], Stroke::new(high * 0.20, c.ink.line));
    let shoulder = neck + Vec2::new(0.0, high * 0.06);
    c.painter
        .line_segment([shoulder, hand], Stroke::new(high * 0.08, c.ink.line));
    let edge = Stroke::new(c.stroke() * 0.7, c.ink.line);
    let head = neck + Vec2::new(high * 0.05 * way, -high * 0.11);
    c.painter.circle(head, high * 0.11, c.ink.board, edge);
}

/// Somebody with a dog steps onto the strip ahead of the glider.
pub(super) fn walker(c: &Canvas<'_>) {
    let feet = c.at(0.455, 0.575);
    let high = c.wide(0.075);
    let dog = feet + Vec2::new(high * 0.75, 0.0);
    person(c, feet, high, Some(dog - Vec2::new(high * 0.1, high * 0.30)));
    let line = |wide: f32| Stroke::new(high * wide, c.ink.line);
    let back = dog - Vec2::new(0.0, high * 0.22);
    let head = back + Vec2::new(high * 0.30, -high * 0.08);
    c.painter
        .line_segment([back, back + Vec2::new(high * 0.26, 0.0)], line(0.13));
    for x in [0.0, 0.24] {
        let top = back + Vec2::new(high * x, 0.0);
        c.painter
            .line_segment([top, top + Vec2::new(0.0, high * 0.22)], line(0.05));
    }
    c.painter.circle_filled(head, high * 0.09, c.ink.line);
    c.painter
        .line_segment([back, back - Vec2::new(high * 0.12, high * 0.12)], line(0.05));
}

/// The retrieve car beside the cable that is down.
pub(super) fn retrieve_car(c: &Canvas<'_>, side: f32) {
    let foot = c.at(0.5 + 0.30 * side, 0.72);
    let edge = Stroke::new(c.stroke(), c.ink.line);
    let u = c.wide(0.02);
    let body = Rect::from_min_max(foot - Vec2::new(3.4 * u, 1.7 * u), foot + Vec2::new(3.4 * u, -0.3 * u));
    c.painter.rect(body, u * 0.3, c.ink.shade, edge, StrokeKind::Inside);
    let roof = vec![
        foot + Vec2::new(-1.9 * u, -1.7 * u),
        foot + Vec2::new(-1.3 * u, -2.9 * u),
        foot + Vec2::new(1.2 * u, -2.9 * u),
        foot + Vec2::new(2.0 * u, -1.7 * u),
    ];
    c.painter.add(Shape::convex_polygon(roof, c.ink.glass, edge));
    for x in [-2.1, 2.1] {
        c.painter.circle(
            foot + Vec2::new(x * u, -0.3 * u),
            0.75 * u,
            c.ink.line,
            Stroke::new(u * 0.2, c.ink.shade),
        );
    }
}
