//! What was wrong with a recording, in the window's language. (The terminal has the English sentence; a test compares them.)

use super::notices;
use super::words::Words;
use crate::sound::ClipTrouble;
use crate::worker::told::Told;

/// What was wrong with a recording.
pub(super) fn trouble(words: Words, trouble: &ClipTrouble) -> String {
    notices::text(words, &trouble.told())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_english_sentences_are_those_of_the_terminal() {
        for t in [
            ClipTrouble::Clipping { share: 0.021 },
            ClipTrouble::TooQuiet { peak_dbfs: -44.4 },
            ClipTrouble::AllZeros { seconds: 1.25 },
            ClipTrouble::DeviceLost { at_seconds: 2.0 },
            ClipTrouble::Dropped {
                samples: 480,
                seconds: 0.01,
            },
            ClipTrouble::TimeLimit { seconds: 30.0 },
        ] {
            assert_eq!(trouble(Words::English, &t), t.to_string());
        }
    }
}
