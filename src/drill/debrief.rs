//! The debrief of a whole launch as text, in the site's language.

use super::launch::WINCH_DRIVER;
use super::{Entry, Launch, Note, Want};
use crate::call::Verdict;
use crate::site::Site;
use std::fmt::Write as _;

/// A time line with what was heard, and why. `times`: seconds of each entry; shown where they are known.
pub fn text(site: &Site, launch: &Launch, times: &[f32]) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "{}", head(site, launch));
    let _ = writeln!(out, "{}", site.caution);
    for (n, entry) in launch.record().iter().enumerate() {
        let at = times.get(n).map_or_else(String::new, |t| format!("{t:6.1} s  "));
        let _ = writeln!(out, "{at}{}", line(site, &launch.role, entry));
    }
    out
}

/// Which launch it was.
pub fn head(site: &Site, launch: &Launch) -> String {
    let s = &launch.situation;
    site.language.text(
        "debrief.head",
        &[
            ("site", &site.name),
            ("role", site.role_name(&launch.role)),
            ("callsign", &s.callsign.to_string()),
            ("crew", &s.crew.to_string()),
            ("cable", &site.cable_called(&s.cable)),
        ],
    )
}

/// One entry; elements that were not said come on lines of their own. `role`: the student's.
pub fn line(site: &Site, role: &str, entry: &Entry) -> String {
    let say = |key: &str| site.language.text(key, &[]);
    let name = site.role_name(role);
    match entry {
        Entry::Spoken { role, text, .. } => format!("[{}] {text}", site.role_name(role)),
        Entry::Seen { text, .. } => format!("({text})"),
        Entry::Heard { noise, .. } => {
            let what = noise.text(site.language);
            format!("({})", site.language.text("debrief.sound", &[("what", &what)]))
        }
        Entry::Hand { .. } => {
            let what = if role == WINCH_DRIVER {
                say("debrief.power_off")
            } else {
                say("debrief.release")
            };
            format!("[{name}, {}] {what}", say("debrief.by_hand"))
        }
        Entry::Signalled { signal, .. } => {
            let what = site
                .signal(signal)
                .map_or_else(|| signal.clone(), |s| s.text(site, None));
            format!("[{name}, {}] {what}", say("debrief.you"))
        }
        Entry::Noted {
            note: Note::StopMayBeLost,
            ..
        } => {
            // The site's own signals for it, where it has any.
            let stops = site.signals.iter().filter(|s| s.stops).map(|s| s.text(site, None));
            let any = site.signals.iter().any(|s| s.stops);
            let caution = any.then(|| site.language.text("signal.caution", &[("site", &site.name)]));
            let all: Vec<String> = std::iter::once(Note::StopMayBeLost.text(site.language))
                .chain(stops)
                .chain(caution)
                .collect();
            format!("* {}", all.join(" "))
        }
        Entry::Noted { note, .. } => format!("* {}", note.text(site.language)),
        Entry::Ended { ending, .. } => format!("* {}", ending.text(site)),
        Entry::Called { words, .. } => {
            let you = say("debrief.you");
            let mut out = format!("[{name}, {you}] {}", if words.is_empty() { "…" } else { words });
            for remark in remarks(site, entry) {
                let _ = write!(out, "\n            {remark}");
            }
            out
        }
    }
}

/// What was not as it should be in one of the student's calls.
pub fn remarks(site: &Site, entry: &Entry) -> Vec<String> {
    let Entry::Called {
        want: Want::Call,
        asked,
        judgement,
        ..
    } = entry
    else {
        return Vec::new();
    };
    if judgement.stop {
        return Vec::new();
    }
    let faulty = judgement.elements.iter().filter(|e| {
        // An answer need hold only what was asked.
        let counts = asked.as_ref().is_none_or(|a| *a == e.element) || e.verdict == Verdict::Wrong;
        counts && e.verdict != Verdict::Said
    });
    faulty
        .map(|e| {
            let label = site.elements.get(&e.element).map_or(e.element.as_str(), |x| &x.label);
            format!(
                "{label}: {}. {}",
                e.verdict.text(site.language),
                e.reason.text(site.language)
            )
        })
        .chain(judgement.advice.iter().map(|a| a.text(site.language)))
        .collect()
}
