//! What was wrong with a recording, in the window's language. (The terminal has the English sentence; a test compares them.)

use super::words::Words;
use crate::sound::Trouble;

/// What was wrong with a recording made here. (Files, which only the terminal reads, have their English sentence.)
pub(super) fn trouble(words: Words, trouble: &Trouble) -> String {
    let fill = |key, value: String| words.fill(key, &[("n", &value)]);
    match trouble {
        Trouble::Clipping { share } => fill("trouble.clipping", format!("{:.1}", share * 100.0)),
        Trouble::TooQuiet { peak_dbfs } => fill("trouble.quiet", format!("{peak_dbfs:.0}")),
        Trouble::AllZeros { seconds } => {
            let key = if cfg!(windows) {
                "trouble.zeros_windows"
            } else if cfg!(target_os = "macos") {
                "trouble.zeros_mac"
            } else {
                "trouble.zeros"
            };
            fill(key, format!("{seconds:.1}"))
        }
        Trouble::DeviceLost { at_seconds } => fill("trouble.lost", format!("{at_seconds:.1}")),
        Trouble::Dropped { seconds, .. } => fill("trouble.dropped", format!("{seconds:.2}")),
        Trouble::NotOnDisk { reason } => fill("trouble.not_on_disk", reason.clone()),
        Trouble::TimeLimit { seconds } => fill("trouble.time_limit", format!("{seconds:.0}")),
        other @ Trouble::Truncated { .. } => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_english_sentences_are_those_of_the_terminal() {
        for t in [
            Trouble::Clipping { share: 0.021 },
            Trouble::TooQuiet { peak_dbfs: -44.4 },
            Trouble::AllZeros { seconds: 1.25 },
            Trouble::DeviceLost { at_seconds: 2.0 },
            Trouble::Dropped {
                samples: 480,
                seconds: 0.01,
            },
            Trouble::NotOnDisk { reason: "full".into() },
            Trouble::TimeLimit { seconds: 30.0 },
        ] {
            assert_eq!(trouble(Words::English, &t), t.to_string());
        }
    }
}
