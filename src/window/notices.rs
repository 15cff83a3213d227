//! Messages of trouble: their texts in the window's language, what cures each, and how long the others stay.

use super::words::Words;
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

/// Every message with a text of its own, and what cures it. Its text is `notice.KEY`.
const KNOWN: [(&str, &str, Cure); 29] = [
    ("second_window", "notice.second_window", Cure::Time),
    ("nothing_kept", "notice.nothing_kept", Cure::Nothing),
    ("logbook_gone", "notice.logbook_gone", Cure::Nothing),
    ("logbook_in_memory", "notice.logbook_in_memory", Cure::Nothing),
    ("recordings_removed", "notice.recordings_removed", Cure::Time),
    ("attempt_not_kept", "notice.attempt_not_kept", Cure::Nothing),
    ("attempt_waits", "notice.attempt_waits", Cure::Stored),
    ("old_removed", "notice.old_removed", Cure::Time),
    ("clock_doubted", "notice.clock_doubted", Cure::Time),
    ("ended_in_a_call", "notice.ended_in_a_call", Cure::Time),
    ("student_unknown_now", "notice.student_unknown_now", Cure::Time),
    ("microphone_lost", "notice.microphone_lost", Cure::Microphone),
    ("microphone_failed", "notice.microphone_failed", Cure::Microphone),
    ("no_microphone", "notice.no_microphone", Cure::Microphone),
    ("loudspeaker_failed", "notice.loudspeaker_failed", Cure::Loudspeaker),
    ("no_loudspeaker", "notice.no_loudspeaker", Cure::Loudspeaker),
    ("synthesised", "notice.synthesised", Cure::Time),
    ("recording_unread", "notice.recording_unread", Cure::Time),
    ("no_model", "notice.no_model", Cure::Model),
    ("no_site", "notice.no_site", Cure::Site),
    ("other_model", "notice.other_model", Cure::Time),
    ("ears_crashed", "notice.ears_crashed", Cure::Time),
    ("typed_too_long", "notice.typed_too_long", Cure::Time),
    ("cannot_deal", "notice.cannot_deal", Cure::Site),
    ("no_step", "notice.no_step", Cure::Site),
    ("no_thread", "notice.no_thread", Cure::Time),
    ("nothing_spoken", "notice.nothing_spoken", Cure::Time),
    ("sound_made", "notice.sound_made", Cure::Time),
    ("desk_gone", "notice.desk_gone", Cure::Nothing),
];

/// A message on the screen.
#[derive(Debug)]
pub struct Notice {
    trouble: Trouble,
    since: Instant,
}

impl Notice {
    fn known(&self) -> Option<(&'static str, Cure)> {
        let found = KNOWN.iter().find(|(key, ..)| self.trouble.key == Some(*key));
        found.map(|(_, text, cure)| (*text, *cure))
    }

    /// Its text. What has none in the window's language is the program's own sentence, with a word that says so.
    pub fn text(&self, words: Words) -> String {
        let facts: Vec<(&str, &str)> = self.trouble.facts.iter().map(|(n, v)| (*n, v.as_str())).collect();
        match self.known() {
            Some((text, _)) => words.fill(text, &facts),
            None => words.fill("notice.other", &[("text", &self.trouble.text)]),
        }
    }

    fn cure(&self) -> Cure {
        self.known().map_or(Cure::Time, |(_, cure)| cure)
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
    fn every_key_that_the_worker_tells_is_known() {
        let source = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/worker");
        let mut told = std::collections::BTreeSet::new();
        for file in [
            "keeper.rs",
            "conductor.rs",
            "conductor/sound.rs",
            "conductor/turn.rs",
            "conductor/play.rs",
            "conductor/bench.rs",
            "conductor/ear.rs",
            "conductor/flight.rs",
            // (With the dot it looks like no key of a text.)
            "./desk.rs",
        ] {
            let text = std::fs::read_to_string(source.join(file)).unwrap();
            for piece in text.split(".known(").skip(1) {
                told.insert(piece.trim_start().split('"').nth(1).unwrap().to_owned());
            }
        }
        let known: std::collections::BTreeSet<String> = KNOWN.iter().map(|(k, ..)| (*k).to_owned()).collect();
        assert!(told.is_subset(&known), "{:?}", told.difference(&known));
        assert!(told.len() > 12, "{told:?}");
    }
}
