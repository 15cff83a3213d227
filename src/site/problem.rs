//! What is wrong with a site's files: all of it at once, each with its place.

use std::fmt;
use std::ops::Range;

/// One thing that is wrong in a site's folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// File name inside the site's folder.
    pub file: String,
    /// Line, counted from 1, where it is known.
    pub line: Option<usize>,
    /// What is wrong.
    pub wrong: String,
    /// What would be right.
    pub right: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "{}, line {line}: {}. {}", self.file, self.wrong, self.right),
            None => write!(f, "{}: {}. {}", self.file, self.wrong, self.right),
        }
    }
}

/// A site that cannot be used, with every problem found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problems {
    /// The folder that was read, as given.
    pub folder: String,
    /// Sorted by file and line; never empty.
    pub list: Vec<Problem>,
}

impl std::error::Error for Problems {}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let n = self.list.len();
        writeln!(
            f,
            "the site has {n} problem{} in {}",
            if n == 1 { "" } else { "s" },
            self.folder
        )?;
        for p in &self.list {
            writeln!(f, "  {p}")?;
        }
        Ok(())
    }
}

/// So many problems are listed; who has mended them sees the next ones.
pub(super) const MOST: usize = 1000;

/// Collects problems of one file and turns byte positions into lines.
pub(super) struct Collector<'a> {
    pub file: &'a str,
    pub text: &'a str,
    pub found: &'a mut Vec<Problem>,
}

impl Collector<'_> {
    pub fn line(&self, span: &Range<usize>) -> usize {
        let end = span.start.min(self.text.len());
        1 + self.text.get(..end).map_or(0, |before| before.matches('\n').count())
    }

    /// Whether no more problems are listed; the first time, that is listed too.
    pub fn full(&mut self) -> bool {
        if self.found.len() == MOST {
            self.whole(
                format!("There are more problems than the {MOST} named here"),
                "Mend these first, then check again.",
            );
        }
        self.found.len() > MOST
    }

    /// Note a problem at a byte range of the file.
    pub fn at(&mut self, span: &Range<usize>, wrong: impl Into<String>, right: impl Into<String>) {
        // Each looks up its line in the whole text: what nobody will read any more must not take minutes.
        if self.full() {
            return;
        }
        let line = Some(self.line(span));
        self.found.push(Problem {
            file: self.file.to_owned(),
            line,
            wrong: wrong.into(),
            right: right.into(),
        });
    }

    /// Note a problem of the file as a whole.
    pub fn whole(&mut self, wrong: impl Into<String>, right: impl Into<String>) {
        self.found.push(Problem {
            file: self.file.to_owned(),
            line: None,
            wrong: wrong.into(),
            right: right.into(),
        });
    }
}
