//! The words before a call: all of them, their first letters, or none. They fade as the call comes right: "hear it first",
//! then reading, then remembering. What is shown goes into the record with the call.

use super::look::{self, Hue};
use super::page::Given;
use super::settings::WordsShown;
use crate::call::Situation;
use crate::drill::TurnState;
use crate::plan;
use crate::site::{Site, Step};
use crate::worker::{Command, SituationRequest};
use eframe::egui::{Label, Ui};

/// How much is shown, with the keys of their names; `None` goes by the record.
pub(super) const SHOWN: [(Option<WordsShown>, &str); 4] = [
    (None, "hints.by_record"),
    (Some(WordsShown::Whole), "hints.whole"),
    (Some(WordsShown::Letters), "hints.letters"),
    (Some(WordsShown::None), "hints.none"),
];

/// What the worker must know of the choice, so that each call is kept with what was shown before it.
pub(super) fn commands(shown: Option<WordsShown>) -> [Command; 2] {
    let (teach, level) = match shown {
        None => (true, None),
        Some(WordsShown::Whole) => (true, Some(plan::Level::WithWords)),
        Some(WordsShown::Letters) => (true, Some(plan::Level::FirstLetters)),
        Some(WordsShown::None) => (false, None),
    };
    [Command::Teach(teach), Command::ChooseLevel(level)]
}

/// The same situation once more, with as much shown as is wanted now.
pub(super) fn again(situation: &Situation) -> Command {
    Command::Deal {
        situation: SituationRequest {
            callsign: situation.callsign.clone(),
            crew: situation.crew,
            cable: situation.cable.clone(),
        },
        step: None,
    }
}

/// Each word's first letter: "W… D… t…".
fn letters(call: &str) -> String {
    let word = |w: &str| {
        let first: String = w.chars().find(|c| c.is_alphanumeric()).into_iter().collect();
        format!("{first}\u{2026}")
    };
    call.split_whitespace().map(word).collect::<Vec<_>>().join(" ")
}

/// What stands where the debrief will be, until there is one.
pub(super) fn ui(ui: &mut Ui, given: &mut Given<'_>, site: &Site, step: &Step, situation: &Situation) {
    let (shown, words) = (given.shown, given.words);
    let level = shown.planned.as_ref().map_or(plan::Level::Written, |p| p.level);
    let call = situation.taught_call(site, step);
    let hear = !matches!(shown.state, Some(TurnState::Transmitting | TurnState::Judging));
    look::sheet(ui, |ui| match level {
        plan::Level::WithWords => {
            ui.heading(words.say("hints.heading"));
            ui.add(Label::new(look::bold(call).text_style(look::title())).wrap());
            buttons(ui, given, hear);
            ui.add(Label::new(look::remark(words.say("hints.about"))).wrap());
        }
        plan::Level::FirstLetters => {
            ui.heading(words.say("hints.letters_heading"));
            let text = look::bold(letters(&call))
                .text_style(look::title())
                .color(Hue::Soft.on(ui));
            ui.add(Label::new(text).wrap());
            buttons(ui, given, hear);
            ui.add(Label::new(look::remark(words.say("hints.about"))).wrap());
        }
        _ => {
            ui.heading(words.say("hints.memory_heading"));
            ui.add(Label::new(words.say("hints.memory")).wrap());
            if ui
                .add_enabled(hear, eframe::egui::Button::new(words.say("hints.show")))
                .clicked()
            {
                let chosen = Some(WordsShown::Whole);
                given.ask(Command::ChooseLevel(Some(plan::Level::WithWords)));
                given.ask(again(situation));
                // Only this once: the next situation goes by what was chosen before.
                let [teach, level] = commands(given.settings.words_shown.filter(|w| Some(*w) != chosen));
                given.ask(teach);
                given.ask(level);
            }
        }
    });
    ui.add_space(6.0);
    ui.add(Label::new(look::remark(words.say("verdicts.empty"))).wrap());
}

/// "Hear it first", at speed or slowly.
pub(super) fn buttons(ui: &mut Ui, given: &mut Given<'_>, enabled: bool) {
    let words = given.words;
    ui.horizontal_wrapped(|ui| {
        for (key, slow) in [("hints.hear", false), ("hints.slowly", true)] {
            let button = eframe::egui::Button::new(words.say(key));
            if ui.add_enabled(enabled, button).clicked() {
                given.ask(Command::PlayModel { slow });
            }
        }
        if given.shown.playing && ui.button(words.say("verdicts.stop")).clicked() {
            given.ask(Command::StopPlaying);
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn first_letters_show_no_word() {
        assert_eq!(
            letters("Winch, Delta two zero."),
            "W\u{2026} D\u{2026} t\u{2026} z\u{2026}"
        );
        assert_eq!(letters("\u{201e}Seil straff\u{201c}"), "S\u{2026} s\u{2026}");
    }

    #[test]
    fn what_is_shown_is_told_to_the_worker() {
        let told = |shown| format!("{:?}", commands(shown));
        assert_eq!(told(None), "[Teach(true), ChooseLevel(None)]");
        assert_eq!(
            told(Some(WordsShown::Whole)),
            "[Teach(true), ChooseLevel(Some(WithWords))]"
        );
        assert_eq!(told(Some(WordsShown::None)), "[Teach(false), ChooseLevel(None)]");
    }
}
