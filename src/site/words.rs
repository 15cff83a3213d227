//! Text to words: the one way in which wordings, typed calls and transcripts are cut.

/// What stands behind a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, PartialOrd, Ord)]
pub enum Mark {
    /// The next word, at once.
    #[default]
    None,
    /// A comma or another mark that parts what belongs together.
    Parts,
    /// A question mark.
    Asks,
}

/// Lower-case words of a text: punctuation and hyphens part words, digits stand alone, "x-ray" is one word.
pub fn of(text: &str) -> Vec<String> {
    marked(text).0
}

/// The words of a text, and the mark behind each.
pub fn marked(text: &str) -> (Vec<String>, Vec<Mark>) {
    let mut words: Vec<String> = Vec::new();
    let mut marks: Vec<Mark> = Vec::new();
    let mut word = String::new();
    let flush = |word: &mut String, words: &mut Vec<String>, marks: &mut Vec<Mark>| {
        if word.is_empty() {
            return;
        }
        // "x-ray" and "x ray" are the one spelling word with a parting in it.
        if word == "ray" && words.last().is_some_and(|l| l == "x") {
            words.pop();
            marks.pop();
            word.insert(0, 'x');
        }
        words.push(std::mem::take(word));
        marks.push(Mark::None);
    };
    let mut before = ' ';
    let mut rest = text.chars().flat_map(char::to_lowercase).peekable();
    while let Some(c) = rest.next() {
        if c.is_ascii_digit() {
            flush(&mut word, &mut words, &mut marks);
            word.push(c);
            flush(&mut word, &mut words, &mut marks);
        } else if c.is_alphabetic() {
            word.push(c);
        } else if matches!(c, '\'' | '’') && !word.is_empty() && rest.peek().is_some_and(|n| n.is_alphabetic()) {
            word.push('\'');
        } else {
            flush(&mut word, &mut words, &mut marks);
            let dash = c == '-' && before == ' ' && rest.peek() == Some(&' ');
            if let Some(mark) = marks.last_mut() {
                if c == '?' {
                    *mark = Mark::Asks;
                } else if *mark == Mark::None
                    && (dash || matches!(c, ',' | '.' | ';' | ':' | '!' | '–' | '—' | '…' | '(' | ')'))
                {
                    *mark = Mark::Parts;
                }
            }
        }
        before = c;
    }
    flush(&mut word, &mut words, &mut marks);
    (words, marks)
}

/// A text with a capital at its beginning.
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

#[cfg(test)]
mod tests {
    use super::{Mark, marked, of};

    #[test]
    fn words_are_cut_one_way() {
        assert_eq!(of("Winch, Golf X-ray: two-up!"), ["winch", "golf", "xray", "two", "up"]);
        assert_eq!(of("D4761 2"), ["d", "4", "7", "6", "1", "2"]);
        assert_eq!(of("fünf  Windenseil\tWald."), ["fünf", "windenseil", "wald"]);
        assert_eq!(
            of("We’re ready, isn't it 'north'"),
            ["we're", "ready", "isn't", "it", "north"]
        );
        assert!(of(" ,. ").is_empty());
    }

    #[test]
    fn marks_stand_behind_their_word() {
        use Mark::{Asks, None, Parts};
        assert_eq!(marked("two-up, ready?!").1, [None, Parts, Asks]);
        assert_eq!(marked("north - ready … x-ray.").1, [Parts, Parts, Parts]);
        assert_eq!(marked(", a").1, [None]);
    }
}
