//! Messages of trouble: their texts in the window's language, what cures each, and how long the others stay.

use super::words::Words;
use crate::site;
use crate::worker::told::named;
use crate::worker::{Event, ModelState, Trouble};
use std::time::{Duration, Instant};

/// So many are shown; an older one makes way.
const MOST: usize = 2;
/// What nothing cures stays so long, unless something was lost.
const STAYS: Duration = Duration::from_secs(45);

/// What ends a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Cure {
    /// A microphone works.
    Microphone,
    /// Something can be heard.
    Loudspeaker,
    /// The speech model is there.
    Model,
    /// A site was chosen.
    Site,
    /// The logbook stores again.
    Stored,
    /// Time.
    Time,
    /// Only its being closed: something is gone.
    Nothing,
}

/// What cures a message, by its name; the others go with time.
const CURES: [(&str, Cure); 20] = [
    ("nothing_kept", Cure::Nothing),
    ("logbook_gone", Cure::Nothing),
    ("logbook_in_memory", Cure::Nothing),
    ("record_protected", Cure::Nothing),
    ("attempt_not_kept", Cure::Nothing),
    ("recording_stays", Cure::Nothing),
    ("desk_gone", Cure::Nothing),
    ("attempt_waits", Cure::Stored),
    ("microphone_lost", Cure::Microphone),
    ("microphone_failed", Cure::Microphone),
    ("microphone_waits", Cure::Microphone),
    ("no_microphone", Cure::Microphone),
    ("loudspeaker_failed", Cure::Loudspeaker),
    ("no_loudspeaker", Cure::Loudspeaker),
    ("no_model", Cure::Model),
    ("no_site", Cure::Site),
    ("site_gone", Cure::Site),
    ("site_broken", Cure::Site),
    ("cannot_deal", Cure::Site),
    ("no_step", Cure::Site),
];

/// The text of a trouble in the window's language. One without a name is the program's own sentence, and is said to be.
pub(super) fn text(words: Words, trouble: &Trouble) -> String {
    let Some(text) = trouble.key.and_then(|key| words.trouble(key)) else {
        return words.fill("notice.other", &[("text", &trouble.text)]);
    };
    site::fill(text, |name| {
        let (_, value) = trouble.facts.iter().find(|(n, _)| *n == name)?;
        Some(if name == "why" { words.why(value) } else { value.clone() })
    })
}

/// Something that should be gone and is not: the logbook's sentence ends with its place, where that is known.
pub(super) fn left_behind(words: Words, problem: &str) -> String {
    let why = words.why(&named(problem));
    let place = problem.rsplit(": ").next().filter(|p| p.contains(['/', '\\']));
    let facts = [("why", why.as_str()), ("file", place.unwrap_or_default())];
    words.fill("office.left_behind", &facts).trim_end().to_owned()
}

/// The speech model is not just missing: its file is damaged, or cannot be used.
pub(super) fn is_damage(why: &Trouble) -> bool {
    !matches!(why.key, None | Some("model_missing"))
}

/// A message on the screen.
#[derive(Debug)]
pub struct Notice {
    trouble: Trouble,
    since: Instant,
}

impl Notice {
    /// Its text.
    pub fn text(&self, words: Words) -> String {
        text(words, &self.trouble)
    }

    fn cure(&self) -> Cure {
        let found = CURES.iter().find(|(key, _)| self.trouble.key == Some(*key));
        found.map_or(Cure::Time, |(_, cure)| *cure)
    }
}

/// The messages.
#[derive(Debug, Default)]
pub struct Notices(Vec<Notice>);

impl Notices {
    /// One more, unless it is there already.
    pub fn add(&mut self, trouble: Trouble) {
        if let Some(same) = self.0.iter_mut().find(|n| n.trouble == trouble) {
            same.since = Instant::now();
            return;
        }
        let since = Instant::now();
        self.0.push(Notice { trouble, since });
        while self.0.len() > MOST {
            // What tells of a loss stays longest.
            let place = self.0.iter().position(|n| n.cure() != Cure::Nothing);
            self.0.remove(place.unwrap_or(0));
        }
    }

    /// What an event cures goes.
    pub fn cured_by(&mut self, event: &Event) {
        let cured = match event {
            Event::Microphone(Some(_)) => Cure::Microphone,
            Event::Devices(_) => Cure::Loudspeaker,
            Event::Model(ModelState::Ready(_)) => Cure::Model,
            Event::SiteLoaded(_) => Cure::Site,
            Event::Stored(_) => Cure::Stored,
            _ => return,
        };
        self.0.retain(|n| n.cure() != cured);
    }

    /// What has stood long enough goes.
    pub fn expire(&mut self) {
        self.0
            .retain(|n| n.cure() == Cure::Nothing || n.since.elapsed() < STAYS);
    }

    /// Closed by hand.
    pub fn remove(&mut self, i: usize) {
        if i < self.0.len() {
            self.0.remove(i);
        }
    }

    /// None at all.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Those shown, oldest first.
    pub fn iter(&self) -> std::slice::Iter<'_, Notice> {
        self.0.iter()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;
    use std::path::Path;

    fn trouble(key: Option<&'static str>, text: &str) -> Trouble {
        Trouble {
            text: text.to_owned(),
            key,
            facts: vec![("device", "Headset".to_owned())],
        }
    }

    #[test]
    fn a_message_stands_once_goes_when_cured_and_never_more_than_two_stand() {
        let mut notices = Notices::default();
        for _ in 0..3 {
            notices.add(trouble(Some("microphone_lost"), "went away"));
        }
        assert_eq!(notices.iter().count(), 1);
        notices.cured_by(&Event::Microphone(None));
        assert_eq!(notices.iter().count(), 1, "no microphone cures nothing");
        notices.cured_by(&Event::Microphone(Some("Headset".into())));
        assert!(notices.is_empty());
        notices.add(trouble(Some("attempt_not_kept"), "lost"));
        for n in 0..3 {
            notices.add(trouble(None, &n.to_string()));
        }
        let kept: Vec<String> = notices.iter().map(|n| n.text(Words::English)).collect();
        assert_eq!(kept.len(), 2);
        assert_eq!(kept[1], "2", "the newest stays, and what tells of a loss");
    }

    #[test]
    fn german_messages_are_german() {
        let mut notices = Notices::default();
        notices.add(trouble(Some("microphone_lost"), "The microphone went away."));
        let text = notices.iter().next().unwrap().text(Words::German);
        assert!(
            text.contains("Headset") && text.contains("Mikrofon") && !text.contains("went"),
            "{text}"
        );
    }

    #[test]
    fn a_reason_is_said_in_the_windows_language_and_a_foreign_one_in_brackets() {
        let told = |why: &str| {
            let mut told = trouble(Some("sound_made"), "English.");
            told.facts = vec![("why", why.to_owned())];
            text(Words::German, &told)
        };
        assert!(
            told("why.full").contains("(die Platte ist voll)"),
            "{}",
            told("why.full")
        );
        assert!(told("odd thing").contains("odd thing"));
        assert!(!told("why.not_there").contains("os error"));
    }

    /// The sources of the worker, but for their tests.
    fn sources(folder: &Path, into: &mut String) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.ends_with("tests") || path.ends_with("tests.rs") {
                continue;
            }
            if path.is_dir() {
                sources(&path, into);
            } else {
                let text = std::fs::read_to_string(&path).unwrap();
                into.push_str(text.split("#[cfg(test)]").next().unwrap());
            }
        }
    }

    #[test]
    fn every_trouble_that_is_told_has_its_text_and_none_is_left_over() {
        let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
        let mut all = String::new();
        sources(&src.join("worker"), &mut all);
        for file in ["window/mod.rs", "window/settings.rs"] {
            all.push_str(&std::fs::read_to_string(src.join(file)).unwrap());
        }
        let name = |text: &str| {
            let name = text.trim_start().strip_prefix('"')?.split('"').next()?;
            Some(name.to_owned())
        };
        let mut told = BTreeSet::new();
        for before in [".known(", "::named(", "key: Some("] {
            told.extend(all.split(before).skip(1).filter_map(name));
        }
        // Where errors are sorted, the name stands first in a pair with its facts.
        let mut sorted = String::new();
        for file in ["worker/told.rs", "worker/home/error.rs"] {
            let text = std::fs::read_to_string(src.join(file)).unwrap();
            sorted.push_str(text.split("#[cfg(test)]").next().unwrap());
        }
        for (at, _) in sorted.match_indices('"') {
            let Some(name) = name(&sorted[at..]) else { continue };
            let behind = &sorted[at + 1 + name.len()..];
            let key = behind.starts_with("\", vec!") || behind.starts_with("\", Vec::") || behind.starts_with("\", n(");
            let before = sorted[..at].trim_end();
            if key
                || name.starts_with("why.")
                || before.ends_with("cfg!(windows) {")
                || before.ends_with("\"macos\") {")
            {
                told.insert(name);
            }
        }
        assert!(told.len() > 80, "{told:?}");
        let missing: Vec<&String> = told
            .iter()
            .filter(|k| {
                let there = if k.starts_with("why.") {
                    !Words::German.why(k).contains(k.as_str())
                } else {
                    Words::German.trouble(k).is_some()
                };
                !there
            })
            .collect();
        assert!(missing.is_empty(), "told and without a text: {missing:?}");
        let left: Vec<&str> = Words::German
            .keys()
            .filter(|k| {
                let name = k
                    .strip_prefix("notice.")
                    .or_else(|| k.strip_prefix("trouble."))
                    .or_else(|| k.split_once(".fail_").map(|(_, name)| name))
                    .or_else(|| k.starts_with("why.").then_some(*k));
                name.is_some_and(|n| !told.contains(n) && !all.contains(&format!("\"{n}\"")))
            })
            .filter(|k| !["notice.other", "why.unknown"].contains(k))
            .collect();
        assert!(left.is_empty(), "texts of troubles that nobody tells: {left:?}");
    }
}
