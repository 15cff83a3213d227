//! Checks of what is around the calls: names of roles, sounds, interruptions.

use super::{Builder, HEARD};
use crate::site::{Interruption, Interrupts, Noise, Sound, Step, placeholders, raw};
use std::collections::BTreeMap;
use toml::Spanned;

/// What may stand in braces in an interruption: another glider's.
const OTHERS: [&str; 2] = ["callsign", "cable"];

impl Builder<'_> {
    pub(super) fn roles(&mut self, raw: Vec<raw::RawRole>) -> BTreeMap<String, String> {
        let f = "site.toml";
        self.unique(f, "The role", raw.iter().map(|r| &r.id));
        raw.into_iter()
            .map(|r| (self.one_of(f, &r.id, &HEARD), self.words(f, &r.name)))
            .collect()
    }

    pub(super) fn sound(
        &mut self,
        file: &str,
        sound: Option<&Spanned<String>>,
        clip: Option<Spanned<String>>,
    ) -> Option<Sound> {
        self.clip(file, clip.as_ref());
        let Some(name) = sound else {
            if let Some(clip) = &clip {
                self.at(
                    file,
                    &clip.span(),
                    "A recording has no sound to stand for",
                    "Add sound = \"…\": it is what the program makes where the recording cannot be played.",
                );
            }
            return None;
        };
        let names = Noise::ALL.map(Noise::name);
        let name = self.one_of(file, name, &names);
        Some(Sound {
            noise: Noise::ALL.into_iter().find(|n| n.name() == name)?,
            clip: clip.map(Spanned::into_inner),
        })
    }

    pub(super) fn interruptions(&mut self, raw: Vec<raw::RawInterruption>, steps: &[Step]) -> Vec<Interruption> {
        let f = "steps.toml";
        let ids: Vec<String> = steps.iter().map(|s| s.id.clone()).collect();
        let others = OTHERS.map(str::to_owned);
        self.unique(f, "The interruption", raw.iter().map(|r| &r.id));
        raw.into_iter()
            .map(|r| {
                for id in &r.during {
                    self.known(f, id, "step", &ids, f);
                }
                let kind = match self.one_of(f, &r.kind, &["traffic", "chatter", "question"]).as_str() {
                    "chatter" => Interrupts::Chatter,
                    "question" => Interrupts::Question,
                    _ => Interrupts::Traffic,
                };
                if r.line.is_empty() && r.sound.is_none() {
                    self.at(
                        f,
                        &r.id.span(),
                        format!("The interruption \"{}\" has neither words nor a sound", r.id.get_ref()),
                        "Give it at least one line = [{ role = …, text = … }], or a sound.",
                    );
                }
                for line in &r.line {
                    let name = placeholders(line.text.get_ref());
                    if line.clip.is_some() && !name.is_empty() {
                        self.at(
                            f,
                            &line.text.span(),
                            "A recording cannot say another callsign each time",
                            "Leave out the braces or the clip.",
                        );
                    }
                }
                Interruption {
                    kind,
                    sound: self.sound(f, r.sound.as_ref(), r.clip),
                    lines: r.line.into_iter().map(|l| self.line(f, l, &others)).collect(),
                    during: r.during.into_iter().map(Spanned::into_inner).collect(),
                    id: r.id.into_inner(),
                }
            })
            .collect()
    }
}
