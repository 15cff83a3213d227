//! What the user should know, with the name of its text in the window's languages.

use crate::site::words::capital;

/// Something the user should know.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    /// As English sentences.
    pub text: String,
    /// The name of its text in the window's languages (`notice.KEY`), where it has one.
    pub key: Option<&'static str>,
    /// What is filled in there. `why` may be the name of a reason: see `told`.
    pub facts: Vec<(&'static str, String)>,
}

impl Trouble {
    /// With the name of its text. `text` is the English one.
    pub fn named(key: &'static str, text: impl std::fmt::Display, facts: Vec<(&'static str, String)>) -> Self {
        Self {
            text: sentence(&text.to_string()),
            key: Some(key),
            facts,
        }
    }
}

impl From<String> for Trouble {
    fn from(text: String) -> Self {
        Self {
            text: sentence(&text),
            key: None,
            facts: Vec::new(),
        }
    }
}

impl std::error::Error for Trouble {}

impl std::fmt::Display for Trouble {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.text)
    }
}

/// An error's text as a sentence for the screen: capital first, full stop last unless it ends with a path or a list.
pub(in crate::worker) fn sentence(text: &str) -> String {
    let text = text.trim();
    let mut out = capital(text);
    let last_word = out.rsplit(char::is_whitespace).next().unwrap_or_default();
    if !out.contains('\n') && last_word.chars().all(char::is_alphanumeric) {
        out.push('.');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_become_sentences() {
        for (text, shown) in [
            (
                "no microphone was found; plug one in",
                "No microphone was found; plug one in.",
            ),
            ("Say so.", "Say so."),
            ("could not open: calls/call.wav", "Could not open: calls/call.wav"),
        ] {
            assert_eq!(sentence(text), shown);
        }
    }
}
