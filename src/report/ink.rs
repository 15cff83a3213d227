//! Fonts, and what stands on a page before it becomes PDF: marks with places in points, from the top left corner.

use super::error::PrintError;
use krilla::color::rgb;
use krilla::geom::{PathBuilder, Point};
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla::text::{Font, GlyphId, KrillaGlyph};
use skrifa::instance::{LocationRef, Size};
use skrifa::{FontRef, MetadataProvider};

/// A colour: red, green, blue.
pub(super) type Ink = (u8, u8, u8);

pub(super) const BLACK: Ink = (0x1c, 0x22, 0x2b);
pub(super) const GREY: Ink = (0x5b, 0x65, 0x72);
pub(super) const RULE: Ink = (0xc9, 0xcf, 0xd6);
pub(super) const SHADE: Ink = (0xf1, 0xf4, 0xf7);
pub(super) const BLUE: Ink = (0x1f, 0x5f, 0x99);
pub(super) const GREEN: Ink = (0x1e, 0x7a, 0x4c);
pub(super) const AMBER: Ink = (0xa8, 0x50, 0x00);

/// Open Sans 1.11, Apache-2.0 (`fonts/LICENSE.txt`).
const REGULAR: &[u8] = include_bytes!("fonts/OpenSans-Regular.ttf");
const BOLD: &[u8] = include_bytes!("fonts/OpenSans-Bold.ttf");

/// Which of the two fonts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Face {
    Regular,
    Bold,
}

/// The two fonts with their measures.
pub(super) struct Fonts {
    regular: (FontRef<'static>, Font),
    bold: (FontRef<'static>, Font),
}

impl Fonts {
    pub fn load() -> Result<Self, PrintError> {
        let load = |bytes: &'static [u8]| {
            let measures = FontRef::new(bytes).map_err(|_| PrintError::Font)?;
            Ok((measures, Font::new(bytes.into(), 0).ok_or(PrintError::Font)?))
        };
        Ok(Self {
            regular: load(REGULAR)?,
            bold: load(BOLD)?,
        })
    }

    fn face(&self, face: Face) -> &(FontRef<'static>, Font) {
        match face {
            Face::Regular => &self.regular,
            Face::Bold => &self.bold,
        }
    }

    /// One glyph a character, without joining: enough for the languages of the program. A letter the font lacks becomes
    /// its empty box.
    fn glyphs(&self, face: Face, text: &str) -> Vec<KrillaGlyph> {
        let font = &self.face(face).0;
        let (map, metrics) = (
            font.charmap(),
            font.glyph_metrics(Size::unscaled(), LocationRef::default()),
        );
        let unit = self.face(face).1.units_per_em();
        text.char_indices()
            .map(|(at, c)| {
                let id = map.map(c).unwrap_or_default();
                let advance = metrics.advance_width(id).unwrap_or_default() / unit;
                let range = at..at + c.len_utf8();
                KrillaGlyph::new(GlyphId::new(id.to_u32()), advance, 0.0, 0.0, 0.0, range, None)
            })
            .collect()
    }

    /// Is there a picture of this letter?
    #[cfg(test)]
    pub fn has(&self, face: Face, c: char) -> bool {
        self.face(face).0.charmap().map(c).is_some()
    }

    /// Width of a line in points.
    pub fn width(&self, face: Face, size: f32, text: &str) -> f32 {
        self.glyphs(face, text).iter().map(|g| g.x_advance * size).sum()
    }

    /// A text in lines no wider than `width`: broken at spaces, a longer word inside itself.
    pub fn wrap(&self, face: Face, size: f32, width: f32, text: &str) -> Vec<String> {
        let mut lines = vec![String::new()];
        for word in text.split([' ', '\n', '\t', '\r']).filter(|w| !w.is_empty()) {
            let line = lines.last_mut().map(std::mem::take).unwrap_or_default();
            let joined = if line.is_empty() {
                word.to_owned()
            } else {
                format!("{line} {word}")
            };
            lines.pop();
            if self.width(face, size, &joined) <= width {
                lines.push(joined);
                continue;
            }
            if !line.is_empty() {
                lines.push(line);
            }
            let mut piece = String::new();
            for c in word.chars() {
                piece.push(c);
                if piece.chars().count() > 1 && self.width(face, size, &piece) > width {
                    piece.pop();
                    lines.push(std::mem::replace(&mut piece, c.to_string()));
                }
            }
            lines.push(piece);
        }
        lines
    }
}

/// Something on a page.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Mark {
    /// A line of text; `y` is its base line.
    Text {
        x: f32,
        y: f32,
        size: f32,
        face: Face,
        ink: Ink,
        text: String,
    },
    /// A line through points.
    Line {
        points: Vec<(f32, f32)>,
        width: f32,
        ink: Ink,
    },
    /// A filled shape.
    Area { points: Vec<(f32, f32)>, ink: Ink },
}

impl Mark {
    /// A rectangle.
    pub fn block(x: f32, y: f32, w: f32, h: f32, ink: Ink) -> Self {
        Self::Area {
            points: vec![(x, y), (x + w, y), (x + w, y + h), (x, y + h)],
            ink,
        }
    }

    /// A dot, as a polygon with so many corners that it looks round on paper.
    pub fn dot(x: f32, y: f32, radius: f32, ink: Ink) -> Self {
        let corner = |i: u16| {
            let angle = f32::from(i) / 24.0 * std::f32::consts::TAU;
            (x + radius * angle.cos(), y + radius * angle.sin())
        };
        Self::Area {
            points: (0..24).map(corner).collect(),
            ink,
        }
    }

    /// Left, top, right, bottom.
    #[cfg(test)]
    pub fn bounds(&self, fonts: &Fonts) -> (f32, f32, f32, f32) {
        match self {
            Self::Text {
                x, y, size, face, text, ..
            } => (*x, y - size, x + fonts.width(*face, *size, text), y + size * 0.3),
            Self::Line { points, .. } | Self::Area { points, .. } => points
                .iter()
                .fold((f32::MAX, f32::MAX, f32::MIN, f32::MIN), |(l, t, r, b), (x, y)| {
                    (l.min(*x), t.min(*y), r.max(*x), b.max(*y))
                }),
        }
    }

    /// Put it on a page of the PDF.
    pub fn draw(&self, surface: &mut Surface<'_>, fonts: &Fonts) {
        match self {
            Self::Text {
                x,
                y,
                size,
                face,
                ink,
                text,
            } => {
                surface.set_stroke(None);
                surface.set_fill(Some(fill(*ink)));
                let glyphs = fonts.glyphs(*face, text);
                let font = fonts.face(*face).1.clone();
                surface.draw_glyphs(Point::from_xy(*x, *y), &glyphs, font, text, *size, false);
            }
            Self::Line { points, width, ink } => {
                surface.set_fill(None);
                surface.set_stroke(Some(Stroke {
                    paint: colour(*ink).into(),
                    width: *width,
                    ..Stroke::default()
                }));
                draw_path(surface, points, false);
            }
            Self::Area { points, ink } => {
                surface.set_stroke(None);
                surface.set_fill(Some(fill(*ink)));
                draw_path(surface, points, true);
            }
        }
    }
}

fn colour((r, g, b): Ink) -> rgb::Color {
    rgb::Color::new(r, g, b)
}

fn fill(ink: Ink) -> Fill {
    Fill {
        paint: colour(ink).into(),
        ..Fill::default()
    }
}

fn draw_path(surface: &mut Surface<'_>, points: &[(f32, f32)], closed: bool) {
    let mut path = PathBuilder::new();
    let [first, rest @ ..] = points else { return };
    path.move_to(first.0, first.1);
    for p in rest {
        path.line_to(p.0, p.1);
    }
    if closed {
        path.close();
    }
    if let Some(path) = path.finish() {
        surface.draw_path(&path);
    }
}
