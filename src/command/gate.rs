//! What comes from outside, such as names, sites and paths, on its way to a terminal.
//!
//! A name can hold the characters that steer a terminal (colours, the title, the cursor) or turn the direction of writing,
//! and a line then shows something else than it says. Everything this room prints passes here: its `println!` and
//! `eprintln!` are made of it (`mod.rs`), and [`Gate`] is for what is written to an output.

use std::borrow::Cow;
use std::fmt::Write as _;
use std::io::{self, Write};

/// Characters that steer instead of being shown. Line breaks and tabs stay.
fn steers(c: char) -> bool {
    (c.is_control() && c != '\n' && c != '\t')
        // Direction of writing: marks, embeddings, overrides, isolates.
        || matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// The text with what steers written out, as `\u001b`: in JSON that is the same character.
pub fn plain(text: &str) -> Cow<'_, str> {
    if !text.contains(steers) {
        return Cow::Borrowed(text);
    }
    let mut shown = String::with_capacity(text.len() + 16);
    for c in text.chars() {
        if steers(c) {
            // Writing to a String cannot fail.
            let _ = write!(shown, "\\u{:04x}", u32::from(c));
        } else {
            shown.push(c);
        }
    }
    Cow::Owned(shown)
}

/// An output that lets through only what [`plain`] does.
pub struct Gate<W> {
    out: W,
    /// The beginning of a character whose end has not come yet.
    begun: Vec<u8>,
}

impl<W: Write> Gate<W> {
    /// Before this output.
    pub fn new(out: W) -> Self {
        Self { out, begun: Vec::new() }
    }
}

impl<W: Write> Write for Gate<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.begun.extend_from_slice(bytes);
        let whole = match std::str::from_utf8(&self.begun) {
            Ok(text) => text.len(),
            // Three bytes at most can be the beginning of a character; what else is no text is replaced.
            Err(e) if e.error_len().is_none() => e.valid_up_to(),
            Err(_) => self.begun.len(),
        };
        let rest = self.begun.split_off(whole);
        let taken = std::mem::replace(&mut self.begun, rest);
        self.out.write_all(plain(&String::from_utf8_lossy(&taken)).as_bytes())?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_that_steers_gets_through() {
        let evil = "Mara\u{1b}[2J\u{9b}31m\u{7}\rOtto \u{202e}live\u{2066} Bäcker\n\tü";
        let shown = plain(evil);
        assert_eq!(
            shown,
            "Mara\\u001b[2J\\u009b31m\\u0007\\u000dOtto \\u202elive\\u2066 Bäcker\n\tü"
        );
        let json = format!("\"{}\"", plain("a\u{202e}b\u{7f}"));
        assert_eq!(serde_json::from_str::<String>(&json).unwrap(), "a\u{202e}b\u{7f}");
        // In pieces of one byte the same.
        let mut out = Vec::new();
        let mut gate = Gate::new(&mut out);
        for byte in evil.as_bytes() {
            gate.write_all(&[*byte]).unwrap();
        }
        assert_eq!(String::from_utf8(out).unwrap(), shown);
    }
}
