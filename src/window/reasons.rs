//! Why an element has its verdict, advice, and what the delivery's figures say: as sentences in the window's language. The
//! terminal has the English ones of `call`; a test compares them.

use super::words::Words;
use crate::call::delivery::{Remark, WORDS_PER_MINUTE};
use crate::call::judge::Limits;
use crate::call::{Advice, ElementVerdict, Evidence, Verdict};
use crate::site::Site;
use crate::sound::Trouble;

/// Why an element has its verdict.
pub(super) fn reason(words: Words, site: &Site, e: &ElementVerdict, evidence: &Evidence) -> String {
    let taught = |value: &str| site.taught_words(&e.element, value).unwrap_or_else(|| value.to_owned());
    let right = taught(&e.expected);
    let foreign = evidence.speech && !Limits::DEFAULT.explained(evidence);
    let more = evidence.unread.iter().any(|u| u.end - u.begin > Limits::DEFAULT.unread);
    match (e.verdict, &e.heard) {
        (Verdict::Said, _) => words.say("why.said").to_owned(),
        (Verdict::Wrong, Some(h)) => words.fill("why.wrong", &[("heard", &taught(h)), ("right", &right)]),
        (Verdict::Wrong, None) => words.fill("why.something_else", &[("right", &right)]),
        (Verdict::Missing, Some(h)) => words.fill("why.half", &[("heard", h), ("right", &right)]),
        (Verdict::Missing, None) if !evidence.speech => words.say("why.nothing_heard").to_owned(),
        (Verdict::Missing, None) => words.fill("why.missing", &[("right", &right)]),
        (Verdict::Unsure, Some(h)) if *h == e.expected && more => words.fill("why.more", &[("heard", &taught(h))]),
        (Verdict::Unsure, _) if foreign => words.say("why.foreign").to_owned(),
        (Verdict::Unsure, Some(h)) => words.fill("why.maybe", &[("heard", &taught(h))]),
        (Verdict::Unsure, None) => words.fill("why.maybe_right", &[("right", &right)]),
    }
}

/// Advice, which changes no verdict.
pub(super) fn advice(words: Words, advice: &Advice) -> String {
    match advice {
        Advice::Wording { said, taught, .. } => words.fill("advice.wording", &[("said", said), ("taught", taught)]),
        Advice::NumberPairs { said, taught } => words.fill("advice.pairs", &[("said", said), ("taught", taught)]),
        Advice::Order { taught } => words.fill("advice.order", &[("taught", taught)]),
        Advice::Restarted => words.say("advice.restarted").to_owned(),
        Advice::Corrected => words.say("advice.corrected").to_owned(),
        Advice::Fillers { words: heard } => words.fill("advice.fillers", &[("words", heard)]),
        Advice::Extra { words: heard } => words.fill("advice.extra", &[("words", heard)]),
    }
}

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

/// What a figure of the delivery says.
pub(super) fn remark(words: Words, remark: &Remark) -> String {
    let fill = |key, value: String| words.fill(key, &[("n", &value)]);
    match remark {
        Remark::Over(s) => fill("remark.over", format!("{s:.1}")),
        Remark::CutIn(s) => fill("remark.cut_in", format!("{s:.2}")),
        Remark::CutOff(s) => fill("remark.cut_off", format!("{s:.2}")),
        Remark::HeldBefore(s) => fill("remark.held_before", format!("{s:.1}")),
        Remark::HeldAfter(s) => fill("remark.held_after", format!("{s:.1}")),
        Remark::Fast(w) => {
            let (n, most) = (format!("{w:.0}"), format!("{WORDS_PER_MINUTE:.0}"));
            words.fill("remark.fast", &[("n", &n), ("most", &most)])
        }
        Remark::Pause(s) => fill("remark.pause", format!("{s:.1}")),
        Remark::Hesitations(n) => fill("remark.hesitations", n.to_string()),
        Remark::Clipped(share) => fill("remark.clipped", format!("{:.1}", 100.0 * share)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::call::{Situation, Vocabulary, judge};
    use crate::site::{Callsign, bundled};

    #[test]
    fn the_english_sentences_are_those_of_the_judge() {
        let site = Site::check(&bundled::files("larkmoor").unwrap()).unwrap();
        let step = site.step("ready").unwrap();
        let situation = Situation::new(Callsign::parse("D-2058").unwrap(), 1, "south");
        let mut verdicts = std::collections::BTreeSet::new();
        for text in [
            "winch, delta two zero five eight, solo, south winch cable, ready",
            "winch, delta two zero five nine, two up, north winch cable, not ready",
            "winch, uhm, fifty eight, cable",
            "winch, delta twenty fifty eight, single, soth winch cable, ready, please",
            "",
        ] {
            let evidence = Evidence::typed(&Vocabulary::of(&site, step), text);
            let judgement = judge(&site, step, &situation, &evidence, &Limits::DEFAULT);
            for e in &judgement.elements {
                verdicts.insert(e.verdict);
                if evidence.speech {
                    assert_eq!(reason(Words::English, &site, e, &evidence), e.reason, "{text}");
                }
            }
            for a in &judgement.advice {
                assert_eq!(advice(Words::English, a), a.to_string());
            }
        }
        assert_eq!(verdicts.len(), 4, "{verdicts:?}");
        for r in [
            Remark::Over(0.41),
            Remark::CutIn(0.02),
            Remark::CutOff(0.01),
            Remark::HeldBefore(1.52),
            Remark::HeldAfter(1.52),
            Remark::Fast(190.2),
            Remark::Pause(2.0),
            Remark::Hesitations(2),
            Remark::Clipped(0.01),
        ] {
            assert_eq!(remark(Words::English, &r), r.to_string());
        }
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
