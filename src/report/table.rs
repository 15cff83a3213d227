//! Tables and plots on paper, drawn as lines and shapes.

use super::figures::TrendPoint;
use super::ink::{AMBER, BLACK, BLUE, Face, GREEN, GREY, Ink, Mark, RULE, SHADE};
use super::paper::{MARGIN, Paper};
use super::rate::{Share, Standing, TARGET};

/// A column: its head and its width in points.
pub(super) struct Column {
    pub head: String,
    pub width: f32,
    pub right: bool,
}

impl Column {
    pub fn left(head: &str, width: f32) -> Self {
        Self {
            head: head.to_owned(),
            width,
            right: false,
        }
    }

    pub fn right(head: &str, width: f32) -> Self {
        Self {
            right: true,
            ..Self::left(head, width)
        }
    }
}

/// What is in a cell.
pub(super) enum Cell {
    /// Words.
    Text(String),
    /// Words in bold.
    Bold(String),
    /// Words in a colour.
    Ink(String, Ink),
    /// A share as a dot on its interval.
    Interval(Share),
    /// A share as words over a bar.
    Bar(Share, String, Standing),
    /// Shares one after another as a line.
    Line(Vec<f64>),
}

/// The colour of a standing. The words say the same.
pub(super) fn ink_of(standing: Standing) -> Ink {
    match standing {
        Standing::Steady => GREEN,
        Standing::NotSteady => AMBER,
        Standing::Open => BLACK,
        Standing::TooFew => GREY,
    }
}

const PAD: f32 = 3.0;
const GAP: f32 = 8.0;
const HEAD_GAP: f32 = 3.0;

struct Laid {
    lines: Vec<Vec<String>>,
    height: f32,
}

impl Paper {
    /// A table. Its head comes again on every new page; a row is never torn apart.
    pub fn table(&mut self, columns: &[Column], rows: &[Vec<Cell>], size: f32) {
        self.head(columns, size);
        for (i, row) in rows.iter().enumerate() {
            let laid = self.lay(columns, row, size);
            if self.y + laid.height > self.bottom() {
                self.new_page();
                self.head(columns, size);
            }
            if i % 2 == 1 {
                let (y, w) = (self.y, self.inner());
                self.mark(Mark::block(MARGIN, y, w, laid.height, SHADE));
            }
            self.row(columns, row, &laid, size);
        }
        self.rule(self.y, RULE);
        self.y += 6.0;
    }

    fn head(&mut self, columns: &[Column], size: f32) {
        // Heads are made smaller rather than broken inside a word.
        let fits = |small: f32| {
            columns.iter().all(|c| {
                let mut words = c.head.split(' ');
                words.all(|w| self.fonts.width(Face::Bold, small, w) <= c.width - HEAD_GAP)
            })
        };
        let small = [0.88, 0.82, 0.76, 0.7]
            .into_iter()
            .find(|s| fits(size * s))
            .unwrap_or(0.7)
            * size;
        let lines: Vec<Vec<String>> = columns
            .iter()
            .map(|c| self.fonts.wrap(Face::Bold, small, c.width - HEAD_GAP, &c.head))
            .collect();
        let most = lines.iter().map(Vec::len).max().unwrap_or(1);
        let step = size * 1.15;
        let height = most as f32 * step + 2.0 * self.gap(PAD);
        if self.y + height + size * 4.0 > self.bottom() && self.y > MARGIN + 40.0 {
            self.new_page();
        }
        let mut x = MARGIN;
        for (column, lines) in columns.iter().zip(&lines) {
            for (l, line) in lines.iter().enumerate() {
                // Heads stand at the bottom.
                let y = self.y + self.gap(PAD) + (most - lines.len() + l) as f32 * step + size * 0.9;
                self.cell_text(x, column, y, small, Face::Bold, GREY, line);
            }
            x += column.width;
        }
        self.y += height;
        self.rule(self.y, GREY);
    }

    fn lay(&self, columns: &[Column], row: &[Cell], size: f32) -> Laid {
        let lines: Vec<Vec<String>> = columns
            .iter()
            .zip(row)
            .map(|(c, cell)| match cell {
                Cell::Text(t) | Cell::Ink(t, _) => self.fonts.wrap(Face::Regular, size, c.width - GAP, t),
                Cell::Bold(t) => self.fonts.wrap(Face::Bold, size, c.width - GAP, t),
                Cell::Bar(_, t, _) => vec![t.clone()],
                Cell::Interval(_) | Cell::Line(_) => vec![String::new()],
            })
            .collect();
        let most = lines.iter().map(Vec::len).max().unwrap_or(1);
        let bar = row.iter().any(|c| matches!(c, Cell::Bar(..)));
        let height = most as f32 * size * 1.3 + 2.0 * self.gap(PAD) + if bar { 3.0 } else { 0.0 };
        Laid { lines, height }
    }

    fn row(&mut self, columns: &[Column], row: &[Cell], laid: &Laid, size: f32) {
        let mut x = MARGIN;
        let middle = self.y + self.gap(PAD) + size * 0.65;
        for ((column, cell), lines) in columns.iter().zip(row).zip(&laid.lines) {
            let (face, ink) = match cell {
                Cell::Bold(_) => (Face::Bold, BLACK),
                Cell::Ink(_, ink) => (Face::Regular, *ink),
                Cell::Bar(_, _, standing) => (Face::Regular, ink_of(*standing)),
                _ => (Face::Regular, BLACK),
            };
            for (l, line) in lines.iter().enumerate() {
                let y = self.y + self.gap(PAD) + l as f32 * size * 1.3 + size;
                self.cell_text(x, column, y, size, face, ink, line);
            }
            let wide = column.width - GAP;
            match cell {
                Cell::Interval(share) => self.interval(x, middle, wide, share),
                Cell::Bar(share, _, standing) => {
                    let y = self.y + laid.height - 4.5;
                    self.mark(Mark::block(x, y, wide, 2.0, RULE));
                    if let Some(value) = share.value() {
                        let w = (wide * value as f32).max(0.5);
                        self.mark(Mark::block(x, y, w, 2.0, ink_of(*standing)));
                    }
                }
                Cell::Line(shares) => self.spark(
                    x,
                    self.y + self.gap(PAD),
                    wide,
                    laid.height - 2.0 * self.gap(PAD),
                    shares,
                ),
                _ => {}
            }
            x += column.width;
        }
        self.y += laid.height;
    }

    #[allow(clippy::too_many_arguments, reason = "a text, its place and how it looks")]
    fn cell_text(&mut self, x: f32, column: &Column, y: f32, size: f32, face: Face, ink: Ink, text: &str) {
        let x = if column.right {
            x + column.width - GAP - self.fonts.width(face, size, text)
        } else {
            x
        };
        if !text.is_empty() {
            self.text(x, y, size, face, ink, text);
        }
    }

    /// A scale from 0 to 1 with the interval as a bar and the share as a dot.
    fn interval(&mut self, x: f32, y: f32, wide: f32, share: &Share) {
        let at = |v: f64| x + wide * v as f32;
        self.mark(Mark::Line {
            points: vec![(x, y), (x + wide, y)],
            width: 0.5,
            ink: RULE,
        });
        let target = at(TARGET);
        self.mark(Mark::Line {
            points: vec![(target, y - 4.0), (target, y + 4.0)],
            width: 0.5,
            ink: GREY,
        });
        if let Some(value) = share.value() {
            let ink = ink_of(share.standing());
            let w = (at(share.high) - at(share.low)).max(0.5);
            self.mark(Mark::block(at(share.low), y - 1.5, w, 3.0, ink));
            self.mark(Mark::dot(at(value), y, 3.0, ink));
        }
    }

    fn spark(&mut self, x: f32, y: f32, wide: f32, high: f32, shares: &[f64]) {
        let count = shares.len();
        if count < 2 {
            return;
        }
        for v in [0.0, 1.0] {
            let y = y + high * (1.0 - v);
            self.mark(Mark::Line {
                points: vec![(x, y), (x + wide, y)],
                width: 0.3,
                ink: RULE,
            });
        }
        let points: Vec<(f32, f32)> = shares
            .iter()
            .enumerate()
            .map(|(i, v)| (x + wide * i as f32 / (count - 1) as f32, y + high * (1.0 - *v as f32)))
            .collect();
        let last = points[count - 1];
        self.mark(Mark::Line {
            points,
            width: 1.0,
            ink: BLUE,
        });
        self.mark(Mark::dot(last.0, last.1, 1.6, BLUE));
    }

    /// The trend as a plot with intervals: one point a block of calls, its first and last day below.
    pub fn plot(&mut self, points: &[TrendPoint], height: f32) {
        self.room(height + 26.0);
        let (left, top, wide) = (MARGIN + 34.0, self.y + 4.0, self.inner() - 44.0);
        let at_y = |v: f64| top + height * (1.0 - v as f32);
        for v in [0.0, 0.25, 0.5, 0.75, 1.0] {
            let y = at_y(v);
            self.mark(Mark::Line {
                points: vec![(left, y), (left + wide, y)],
                width: 0.4,
                ink: RULE,
            });
            let name = self.tongue.percent(v);
            let w = self.fonts.width(Face::Regular, 7.5, &name);
            self.text(left - w - 5.0, y + 2.6, 7.5, Face::Regular, GREY, &name);
        }
        let n = points.len();
        let at_x = |i: usize| left + 10.0 + (wide - 20.0) * i as f32 / (n.max(2) - 1) as f32;
        for (i, p) in points.iter().enumerate() {
            self.mark(Mark::Line {
                points: vec![(at_x(i), at_y(p.first_time.low)), (at_x(i), at_y(p.first_time.high))],
                width: 2.5,
                ink: (0xb9, 0xcf, 0xe3),
            });
        }
        let values: Vec<(f32, f32)> = points
            .iter()
            .enumerate()
            .filter_map(|(i, p)| Some((at_x(i), at_y(p.first_time.value()?))))
            .collect();
        self.mark(Mark::Line {
            points: values.clone(),
            width: 1.4,
            ink: BLUE,
        });
        for (x, y) in values {
            self.mark(Mark::dot(x, y, 2.6, BLUE));
        }
        // Days below, as many as stand side by side without touching.
        let label = |i: usize| self.tongue.short(points[i].day);
        let labels: Vec<(f32, String)> = (0..n).map(|i| (at_x(i), label(i))).collect();
        let mut free = f32::MIN;
        for (i, (x, day)) in labels.iter().enumerate() {
            let w = self.fonts.width(Face::Regular, 7.5, day);
            let x = (x - w / 2.0).clamp(left - 10.0, left + wide - w);
            let same = i > 0 && labels[i - 1].1 == *day;
            if x >= free && !same {
                self.text(x, top + height + 12.0, 7.5, Face::Regular, GREY, day);
                free = x + w + 10.0;
            }
        }
        self.y = top + height + 22.0;
    }
}
