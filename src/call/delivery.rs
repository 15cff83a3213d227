//! How a call was delivered: figures for the student, never part of a verdict or of the score.

use super::reading::Reading;
use crate::site::Language;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Words a minute that a transmission should not exceed, slower still when it is written down (ICAO Doc 9432, transmitting
/// technique). A call of ten words gives a rough figure: [`Delivery::remarks`] leaves a band above it.
pub const WORDS_PER_MINUTE: f32 = 100.0;
/// A short call is read off its own stop watch: this much above the guidance is still within it.
pub const BAND: f32 = 1.3;
/// Sound this soon after the press means that its beginning may be cut off (seconds). From listening, no source.
pub const CUT_IN: f32 = 0.1;
/// The same before the release.
pub const CUT_OFF: f32 = 0.05;
/// Holding the key this long without a word keeps the frequency busy (seconds). Common practice, no source.
pub const HELD: f32 = 1.0;
/// A pause inside a call longer than this sounds like its end (seconds). Common practice, no source.
pub const LONG_PAUSE: f32 = 1.5;

/// A stretch of sound, seconds from the beginning of the clip.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Place {
    /// Where it begins.
    pub begin: f32,
    /// Where it ends.
    pub end: f32,
}

impl Place {
    /// From the earlier beginning to the later end.
    #[must_use]
    pub fn with(self, other: Self) -> Self {
        Self {
            begin: self.begin.min(other.begin),
            end: self.end.max(other.end),
        }
    }
}

/// The figures of one call, taken from its sound. Times in seconds.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Delivery {
    /// From the end of the other side's words to the press; below 0 when the student pressed into them. Live calls only.
    pub prompt_to_press: Option<f32>,
    /// From the press to the first sound of the call. Live calls only.
    pub press_to_sound: Option<f32>,
    /// From the last sound to the release. Live calls only.
    pub sound_to_release: Option<f32>,
    /// Time with speech in it, pauses left out.
    pub speech: f32,
    /// Pauses between first and last sound, 0.25 s or longer.
    pub pauses: Vec<Place>,
    /// Words heard.
    pub words: usize,
    /// Words a minute of speech; `None` with less than a second or three words.
    pub words_per_minute: Option<f32>,
    /// Shortest pause before and after the callsign's characters where they hold digits: 0 when it runs on without one;
    /// `None` where its place in the sound is not known. At the beginning and the end of a call nothing is asked.
    pub pause_beside_number: Option<f32>,
    /// Hesitations and small talk.
    pub hesitations: usize,
    /// Callsigns begun twice.
    pub restarts: usize,
    /// Digits spoken as pairs ("forty-seven").
    pub pairs: bool,
    /// Loudness, LUFS (EBU R 128); `None` for sound too short or too quiet for its measure.
    pub loudness: Option<f32>,
    /// Highest sample, dBFS.
    pub peak: f32,
    /// Share of samples cut off at full scale, 0 to 1.
    pub clipped: f32,
}

/// What one figure says to the student.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Remark {
    /// Pressed while the other side was speaking.
    Over(f32),
    /// The sound begins with the press.
    CutIn(f32),
    /// The sound ends with the release.
    CutOff(f32),
    /// The key was held long before speaking.
    HeldBefore(f32),
    /// The key was held long after speaking.
    HeldAfter(f32),
    /// Faster than the guidance.
    Fast(f32),
    /// A long pause inside the call.
    Pause(f32),
    /// Hesitations.
    Hesitations(usize),
    /// Clipping.
    Clipped(f32),
}

impl Remark {
    /// The sentence for the student.
    pub fn text(self, language: Language) -> String {
        let (key, figure) = match self {
            Self::Over(s) => ("delivery.over", language.decimal(s, 1)),
            Self::CutIn(s) => ("delivery.cut_in", language.decimal(s, 2)),
            Self::CutOff(s) => ("delivery.cut_off", language.decimal(s, 2)),
            Self::HeldBefore(s) => ("delivery.held_before", language.decimal(s, 1)),
            Self::HeldAfter(s) => ("delivery.held_after", language.decimal(s, 1)),
            Self::Fast(w) => ("delivery.fast", format!("{w:.0}")),
            Self::Pause(s) => ("delivery.pause", language.decimal(s, 1)),
            Self::Hesitations(n) => ("delivery.hesitations", n.to_string()),
            Self::Clipped(share) => ("delivery.clipped", language.decimal(100.0 * share, 1)),
        };
        language.text(key, &[("s", &figure), ("limit", &format!("{WORDS_PER_MINUTE:.0}"))])
    }
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text(Language::ENGLISH))
    }
}

impl Delivery {
    /// Fill in what the words say.
    #[must_use]
    pub fn of_words(mut self, reading: &Reading, places: &[Option<Place>]) -> Self {
        self.words = reading.words.len();
        self.words_per_minute = (self.speech >= 1.0 && self.words >= 3).then(|| 60.0 * self.words as f32 / self.speech);
        self.hesitations = reading.fillers.len();
        self.restarts = reading.mentions.iter().filter(|m| m.restarted).count();
        self.pairs = reading.mentions.iter().any(|m| m.pairs);
        self.pause_beside_number = self.beside_number(reading, places);
        self
    }

    fn beside_number(&self, reading: &Reading, places: &[Option<Place>]) -> Option<f32> {
        let digits = |m: &&super::reading::Mention| match &m.said {
            super::reading::Said::Value(v) => v.contains('-') && v.chars().any(|c| c.is_ascii_digit()),
            _ => false,
        };
        let (first, past) = reading.mentions.iter().find(digits)?.span;
        let begin = places.get(first).copied().flatten()?.begin;
        let end = places.get(past.checked_sub(1)?).copied().flatten()?.end;
        // A pause counts for the number when its nearer end lies within a quarter of a second of it.
        let beside = |at: f32| {
            self.pauses
                .iter()
                .filter(|p| (p.begin - at).abs().min((p.end - at).abs()) < 0.25)
                .map(|p| p.end - p.begin)
                .fold(0.0, f32::max)
        };
        let before = (first > 0).then(|| beside(begin));
        let after = (past < reading.words.len()).then(|| beside(end));
        [before, after].into_iter().flatten().reduce(f32::min)
    }

    /// What is worth saying about the figures.
    pub fn remarks(&self) -> Vec<Remark> {
        let mut out = Vec::new();
        if let Some(s) = self.prompt_to_press.filter(|s| *s < 0.0) {
            out.push(Remark::Over(-s));
        }
        match self.press_to_sound {
            Some(s) if s < CUT_IN => out.push(Remark::CutIn(s.max(0.0))),
            Some(s) if s > HELD => out.push(Remark::HeldBefore(s)),
            _ => {}
        }
        match self.sound_to_release {
            Some(s) if s < CUT_OFF => out.push(Remark::CutOff(s.max(0.0))),
            Some(s) if s > HELD => out.push(Remark::HeldAfter(s)),
            _ => {}
        }
        if let Some(w) = self.words_per_minute.filter(|w| *w > BAND * WORDS_PER_MINUTE) {
            out.push(Remark::Fast(w));
        }
        let longest = self.pauses.iter().map(|p| p.end - p.begin).fold(0.0, f32::max);
        if longest > LONG_PAUSE {
            out.push(Remark::Pause(longest));
        }
        if self.hesitations > 0 {
            out.push(Remark::Hesitations(self.hesitations));
        }
        if self.clipped > 0.001 {
            out.push(Remark::Clipped(self.clipped));
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_within_their_bands_say_nothing() {
        let good = Delivery {
            prompt_to_press: Some(0.8),
            press_to_sound: Some(0.3),
            sound_to_release: Some(0.2),
            speech: 5.0,
            words_per_minute: Some(110.0),
            ..Delivery::default()
        };
        assert_eq!(good.remarks(), []);
        let bad = Delivery {
            prompt_to_press: Some(-0.4),
            press_to_sound: Some(0.02),
            sound_to_release: Some(1.5),
            words_per_minute: Some(190.0),
            pauses: vec![Place { begin: 1.0, end: 3.0 }],
            hesitations: 2,
            clipped: 0.01,
            ..good
        };
        assert_eq!(
            bad.remarks(),
            [
                Remark::Over(0.4),
                Remark::CutIn(0.02),
                Remark::HeldAfter(1.5),
                Remark::Fast(190.0),
                Remark::Pause(2.0),
                Remark::Hesitations(2),
                Remark::Clipped(0.01)
            ]
        );
    }
}
