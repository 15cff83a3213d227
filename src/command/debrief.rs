//! The debrief of a whole launch as text.

use crate::call::Verdict;
use crate::drill::launch::WINCH_DRIVER;
use crate::drill::{Entry, Launch, Want};
use crate::site::Site;
use std::fmt::Write as _;

/// A time line with what was heard, and why. `times`: seconds of each entry; shown where they are known.
pub fn text(site: &Site, launch: &Launch, times: &[f32]) -> String {
    let mut out = String::new();
    let s = &launch.situation;
    let _ = writeln!(
        out,
        "{}, as {}: glider {}, crew {}, cable {}",
        site.name, launch.role, s.callsign, s.crew, s.cable
    );
    let _ = writeln!(out, "{}", site.caution);
    for (n, entry) in launch.record().iter().enumerate() {
        let at = times.get(n).map_or_else(String::new, |t| format!("{t:6.1} s  "));
        let _ = writeln!(out, "{at}{}", line(site, launch, entry));
    }
    out
}

/// One entry; elements that were not said come on lines of their own.
pub fn line(site: &Site, launch: &Launch, entry: &Entry) -> String {
    match entry {
        Entry::Spoken { role, text, .. } => format!("[{role}] {text}"),
        Entry::Seen { text, .. } => format!("({text})"),
        Entry::Hand { .. } => {
            let what = if launch.role == WINCH_DRIVER {
                "power off"
            } else {
                "release"
            };
            format!("[{}, by hand] {what}", launch.role)
        }
        Entry::Noted { note, .. } => format!("* {}", note.text(site.language)),
        Entry::Ended { ending, .. } => format!("* {}", ending.text(site)),
        Entry::Called {
            want,
            asked,
            words,
            judgement,
            ..
        } => {
            let mut out = format!("[{}, you] {}", launch.role, if words.is_empty() { "…" } else { words });
            if *want == Want::Call && !judgement.stop {
                for e in judgement.elements.iter().filter(|e| {
                    // An answer need hold only what was asked.
                    let counts = asked.as_ref().is_none_or(|a| *a == e.element) || e.verdict == Verdict::Wrong;
                    counts && e.verdict != Verdict::Said
                }) {
                    let label = site.elements.get(&e.element).map_or(e.element.as_str(), |x| &x.label);
                    let _ = write!(out, "\n            {label}: {}. {}", e.verdict.word(), e.reason);
                }
                for a in &judgement.advice {
                    let _ = write!(out, "\n            {a}");
                }
            }
            out
        }
    }
}
