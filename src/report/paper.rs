//! Pages: a cursor that goes down, headings, running text, a new page when one is full, feet and page numbers.

use super::error::PrintError;
use super::ink::{BLACK, BLUE, Face, Fonts, GREY, Ink, Mark, RULE};
use super::tongue::Tongue;
use krilla::Document;
use krilla::metadata::Metadata;
use krilla::page::PageSettings;

/// Points of an A4 sheet's short and long side.
const A4: (f32, f32) = (595.28, 841.89);
/// White around everything, points.
pub(super) const MARGIN: f32 = 42.0;
const FOOT: f32 = 7.5;

/// One page.
pub(super) struct Page {
    pub marks: Vec<Mark>,
    pub width: f32,
    pub height: f32,
}

/// A place in the making, to come back to.
pub(super) struct Place {
    pages: usize,
    marks: usize,
    y: f32,
    running: String,
}

impl Place {
    /// The page it is on, counted from 1.
    pub fn page(&self) -> usize {
        self.pages
    }
}

/// Pages in the making.
pub(super) struct Paper {
    pub fonts: Fonts,
    pub tongue: Tongue,
    pub width: f32,
    pub height: f32,
    /// Where the next thing stands: its top.
    pub y: f32,
    pages: Vec<Page>,
    /// What stands at the foot of every page, and its lines on a page of this width.
    foot: (String, Vec<String>),
    /// How much closer than usual things stand, so that a part does not end with a few lines on a page of their own: 0 as
    /// usual.
    pub close: u8,
    /// Small words at the head of every page but the first.
    running: String,
}

impl Paper {
    /// Empty pages. `foot` is printed at the foot of every page.
    pub fn new(tongue: Tongue, lying: bool, foot: &str) -> Result<Self, PrintError> {
        let fonts = Fonts::load()?;
        let mut paper = Self {
            fonts,
            tongue,
            width: 0.0,
            height: 0.0,
            y: MARGIN,
            pages: Vec::new(),
            foot: (foot.to_owned(), Vec::new()),
            close: 0,
            running: String::new(),
        };
        paper.turn(lying);
        paper.new_page();
        Ok(paper)
    }

    /// How the pages from here on lie.
    fn turn(&mut self, lying: bool) {
        (self.width, self.height) = if lying { (A4.1, A4.0) } else { A4 };
        self.foot.1 = self.foot_lines(self.width);
    }

    fn foot_lines(&self, width: f32) -> Vec<String> {
        self.fonts
            .wrap(Face::Regular, FOOT, width - 2.0 * MARGIN - 70.0, &self.foot.0)
    }

    /// Where things are now.
    pub fn place(&self) -> Place {
        Place {
            pages: self.pages.len(),
            marks: self.pages.last().map_or(0, |p| p.marks.len()),
            y: self.y,
            running: self.running.clone(),
        }
    }

    /// Take back everything since then; the pages must lie as they did.
    pub fn back_to(&mut self, place: &Place) {
        self.pages.truncate(place.pages);
        if let Some(page) = self.pages.last_mut() {
            page.marks.truncate(place.marks);
        }
        self.y = place.y;
        self.running.clone_from(&place.running);
    }

    /// How many pages there are.
    pub fn count(&self) -> usize {
        self.pages.len()
    }

    /// Width between the margins.
    pub fn inner(&self) -> f32 {
        self.width - 2.0 * MARGIN
    }

    /// Where the foot begins.
    pub fn bottom(&self) -> f32 {
        self.height - MARGIN - self.foot.1.len() as f32 * FOOT * 1.3 - 8.0
    }

    pub fn mark(&mut self, mark: Mark) {
        if let Some(page) = self.pages.last_mut() {
            page.marks.push(mark);
        }
    }

    pub fn text(&mut self, x: f32, y: f32, size: f32, face: Face, ink: Ink, text: &str) {
        self.mark(Mark::Text {
            x,
            y,
            size,
            face,
            ink,
            // A name from another computer may hold anything.
            text: text.replace(char::is_control, " "),
        });
    }

    pub fn rule(&mut self, y: f32, ink: Ink) {
        let points = vec![(MARGIN, y), (self.width - MARGIN, y)];
        self.mark(Mark::Line {
            points,
            width: 0.6,
            ink,
        });
    }

    /// A new page unless so much still fits on this one.
    pub fn room(&mut self, height: f32) -> bool {
        if self.y + height <= self.bottom() || self.y <= MARGIN + 20.0 {
            return false;
        }
        self.new_page();
        true
    }

    /// Go on at the top of a new page.
    pub fn new_page(&mut self) {
        self.pages.push(Page {
            marks: Vec::new(),
            width: self.width,
            height: self.height,
        });
        self.y = MARGIN;
        if !self.running.is_empty() {
            let lines = self.fonts.wrap(Face::Regular, 8.0, self.inner(), &self.running);
            for line in lines {
                self.text(MARGIN, self.y + 7.0, 8.0, Face::Regular, GREY, &line);
                self.y += 10.5;
            }
            self.y += 8.0;
        }
    }

    /// A new page for something with a title of its own, and how it and those after it lie.
    pub fn new_part(&mut self, lying: bool) {
        self.running.clear();
        self.turn(lying);
        self.new_page();
    }

    /// Title, line below it, and what later pages have at their head.
    pub fn title(&mut self, title: &str, below: &str) {
        for line in self.fonts.wrap(Face::Bold, 20.0, self.inner(), title) {
            self.text(MARGIN, self.y + 18.0, 20.0, Face::Bold, BLACK, &line);
            self.y += 26.0;
        }
        self.paragraph(below, 10.0, GREY);
        self.y += 2.0;
        self.rule(self.y, BLUE);
        self.y += 10.0;
        self.running = format!("{title} \u{b7} {below}");
    }

    /// A distance between things, as it is on this paper.
    pub fn gap(&self, usual: f32) -> f32 {
        usual * (1.0 - 0.25 * f32::from(self.close))
    }

    /// A heading that is not left alone at the foot of a page.
    pub fn heading(&mut self, text: &str, with: f32) {
        self.room(26.0 + with);
        self.y += self.gap(8.0);
        self.text(MARGIN, self.y + 11.0, 12.0, Face::Bold, BLUE, text);
        self.y += self.gap(20.0).max(15.0);
    }

    /// Running text.
    pub fn paragraph(&mut self, text: &str, size: f32, ink: Ink) {
        for line in self.fonts.wrap(Face::Regular, size, self.inner(), text) {
            self.room(size * 1.4);
            self.text(MARGIN, self.y + size, size, Face::Regular, ink, &line);
            self.y += size * 1.4;
        }
    }

    /// Running text with a dot before it.
    pub fn item(&mut self, text: &str, size: f32) {
        let lines = self.fonts.wrap(Face::Regular, size, self.inner() - 12.0, text);
        for (i, line) in lines.iter().enumerate() {
            self.room(size * 1.4);
            if i == 0 {
                self.mark(Mark::dot(MARGIN + 3.0, self.y + size * 0.68, 1.6, BLUE));
            }
            self.text(MARGIN + 12.0, self.y + size, size, Face::Regular, BLACK, line);
            self.y += size * 1.4;
        }
    }

    /// Facts side by side: a large figure over its name.
    pub fn facts(&mut self, facts: &[(String, String)]) {
        let width = self.inner() / facts.len().max(1) as f32;
        let mut below = 0.0_f32;
        for (i, (figure, name)) in facts.iter().enumerate() {
            let x = MARGIN + i as f32 * width;
            self.text(x, self.y + 14.0, 15.0, Face::Bold, BLACK, figure);
            let lines = self.fonts.wrap(Face::Regular, 8.5, width - 8.0, name);
            for (l, line) in lines.iter().enumerate() {
                let y = self.y + 26.0 + l as f32 * 11.0;
                self.text(x, y, 8.5, Face::Regular, GREY, line);
                below = below.max(l as f32 * 11.0);
            }
        }
        self.y += 36.0 + below;
    }

    /// Put feet and page numbers on every page.
    fn feet(&mut self) {
        let count = self.pages.len();
        let mut pages = std::mem::take(&mut self.pages);
        for (i, page) in pages.iter_mut().enumerate() {
            let foot = self.foot_lines(page.width);
            let top = page.height - MARGIN - foot.len() as f32 * FOOT * 1.3 - 2.0;
            page.marks.push(Mark::Line {
                points: vec![(MARGIN, top), (page.width - MARGIN, top)],
                width: 0.5,
                ink: RULE,
            });
            let number = format!("{} {} {count}", i + 1, self.tongue.say("report.of"));
            let right = page.width - MARGIN - self.fonts.width(Face::Regular, FOOT, &number);
            let mut text = |x: f32, y: f32, text: &str| {
                page.marks.push(Mark::Text {
                    x,
                    y,
                    size: FOOT,
                    face: Face::Regular,
                    ink: GREY,
                    text: text.to_owned(),
                });
            };
            for (l, line) in foot.iter().enumerate() {
                text(MARGIN, top + 9.0 + l as f32 * FOOT * 1.3, line);
            }
            text(right, top + 9.0, &number);
        }
        self.pages = pages;
    }

    /// Every page, feet included, for tests.
    #[cfg(test)]
    pub fn into_pages(mut self) -> (Fonts, Vec<Page>) {
        self.feet();
        (self.fonts, self.pages)
    }

    /// The PDF's bytes. No clock: the same pages give the same bytes.
    pub fn finish(mut self, title: &str) -> Result<Vec<u8>, PrintError> {
        self.feet();
        let mut document = Document::new();
        document.set_metadata(
            Metadata::new()
                .title(title.to_owned())
                .language(self.tongue.0.code().to_owned())
                .creator("Cableside".to_owned()),
        );
        for done in &self.pages {
            let size = PageSettings::from_wh(done.width, done.height)
                .ok_or_else(|| PrintError::Pdf("a page without size".to_owned()))?;
            let mut page = document.start_page_with(size);
            let mut surface = page.surface();
            for mark in &done.marks {
                mark.draw(&mut surface, &self.fonts);
            }
            surface.finish();
            page.finish();
        }
        document.finish().map_err(|e| PrintError::Pdf(format!("{e:?}")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::Language;

    #[test]
    fn no_control_character_reaches_the_paper() {
        let mut paper = Paper::new(Tongue(Language::ENGLISH), false, "foot").unwrap();
        paper.text(0.0, 0.0, 10.0, Face::Regular, BLACK, "Mara\u{1b}[31m\u{0} Lind\n");
        let (_, pages) = paper.into_pages();
        let texts = pages.iter().flat_map(|p| &p.marks).filter_map(|m| match m {
            Mark::Text { text, .. } => Some(text.as_str()),
            _ => None,
        });
        let texts: Vec<&str> = texts.collect();
        assert!(texts.contains(&"Mara [31m  Lind "), "{texts:?}");
    }
}
