//! What the program says to a student, by key and language. The texts are data: `texts/en.toml`, `texts/de.toml`.

use super::{Language, fill};
use std::collections::BTreeMap;
use std::sync::LazyLock;

type Texts = BTreeMap<String, String>;

/// In the order of the languages; a language without sentences of its own has the English ones.
const FILES: [&str; 2] = [include_str!("texts/en.toml"), include_str!("texts/de.toml")];

// A file that cannot be read would show keys instead of sentences; the tests below see to it that it can.
static ALL: LazyLock<Vec<Texts>> = LazyLock::new(|| {
    FILES
        .iter()
        .map(|text| toml::from_str(text).unwrap_or_default())
        .collect()
});

impl Language {
    /// A text by its key, with the names in braces filled in.
    pub fn text(self, key: &str, values: &[(&str, &str)]) -> String {
        let texts = ALL.get(self.place()).or_else(|| ALL.first());
        let value = |name: &str| values.iter().find(|(n, _)| *n == name).map(|(_, v)| (*v).to_owned());
        texts
            .and_then(|t| t.get(key))
            .map_or_else(|| key.to_owned(), |text| fill(text, value))
    }

    /// A text by a key that is made from a name; `None` where there is none.
    pub fn known(self, key: &str) -> Option<&'static str> {
        let texts = ALL.get(self.place()).or_else(|| ALL.first());
        texts.and_then(|t| t.get(key)).map(String::as_str)
    }

    /// A number with so many places, with the language's decimal sign.
    pub fn decimal(self, value: f32, places: usize) -> String {
        format!("{value:.places$}").replace('.', self.say("number.decimal_sign"))
    }

    /// A text by its key that has no names in it.
    pub fn say(self, key: &'static str) -> &'static str {
        let texts = ALL.get(self.place()).or_else(|| ALL.first());
        texts.and_then(|t| t.get(key)).map_or(key, String::as_str)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::placeholders;

    #[test]
    fn every_language_has_every_text_with_the_same_braces() {
        let (en, de): (Texts, Texts) = (toml::from_str(FILES[0]).unwrap(), toml::from_str(FILES[1]).unwrap());
        assert!(en.len() > 60);
        let names = |t: &Texts| {
            t.iter()
                .map(|(key, text)| {
                    let mut names: Vec<String> = placeholders(text).iter().map(ToString::to_string).collect();
                    names.sort();
                    (key.clone(), names)
                })
                .collect::<BTreeMap<_, _>>()
        };
        assert_eq!(names(&en), names(&de));
        for (key, text) in &de {
            // A form of marks and braces has nothing to translate.
            let bare = placeholders(text)
                .iter()
                .fold(text.clone(), |t, name| t.replace(&format!("{{{name}}}"), ""));
            let words = bare.contains(char::is_alphabetic);
            assert!(
                *text != en[key] || text.starts_with('"') || !words || key.starts_with("month."),
                "{key} is not translated"
            );
        }
    }

    /// The keys are written in the code as they stand in the files.
    #[test]
    fn every_text_has_its_place_in_the_code() {
        let code = [
            include_str!("../call/advice.rs"),
            include_str!("../call/judge.rs"),
            include_str!("../call/verdict.rs"),
            include_str!("../drill/want.rs"),
            include_str!("../call/reason.rs"),
            include_str!("../call/delivery.rs"),
            include_str!("../drill/record.rs"),
            include_str!("../drill/ear.rs"),
            include_str!("../drill/launch.rs"),
            include_str!("../drill/debrief.rs"),
            include_str!("../worker/conductor/play.rs"),
            include_str!("../drill/launch/others.rs"),
            include_str!("../drill/launch/student.rs"),
            include_str!("../drill/launch/outside.rs"),
            include_str!("../drill/log.rs"),
            include_str!("../call/situation.rs"),
            include_str!("mod.rs"),
            include_str!("texts.rs"),
            include_str!("naming.rs"),
            include_str!("air.rs"),
            include_str!("sound.rs"),
            include_str!("check/air.rs"),
            include_str!("../report/paper.rs"),
            include_str!("../report/print.rs"),
            include_str!("../report/tongue.rs"),
            include_str!("../report/wall.rs"),
        ]
        .concat();
        let en: Texts = toml::from_str(FILES[0]).unwrap();
        // The months are asked for by their numbers.
        for key in en.keys().filter(|key| !key.starts_with("month.")) {
            let (_, last) = key.split_once('.').unwrap();
            assert!(
                code.contains(&format!("\"{key}\"")) || code.contains(&format!("\"{last}\"")),
                "{key} is used nowhere"
            );
        }
    }

    #[test]
    fn braces_are_filled() {
        let german = Language::GERMAN.text("reason.missing", &[("right", "doppelsitzig")]);
        assert_eq!(german, "Nicht gehört; sag „doppelsitzig“.");
    }
}
