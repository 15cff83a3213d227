//! Text to words: the one way in which wordings, typed calls and transcripts are cut.

/// Lower-case words of a text: punctuation and hyphens part words, digits stand alone, "x-ray" is one word.
pub fn of(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut word = String::new();
    let flush = |word: &mut String, words: &mut Vec<String>| {
        if !word.is_empty() {
            words.push(std::mem::take(word));
        }
    };
    for c in text.chars().flat_map(char::to_lowercase) {
        if c.is_ascii_digit() {
            flush(&mut word, &mut words);
            words.push(c.to_string());
        } else if c.is_alphabetic() || c == '\'' && !word.is_empty() {
            word.push(c);
        } else {
            flush(&mut word, &mut words);
        }
    }
    flush(&mut word, &mut words);
    // "x-ray" and "x ray" are the one spelling word with a parting in it.
    let mut out: Vec<String> = Vec::with_capacity(words.len());
    for w in words {
        if w == "ray" && out.last().is_some_and(|l| l == "x") {
            out.pop();
            out.push("xray".to_owned());
        } else {
            out.push(w);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::of;

    #[test]
    fn words_are_cut_one_way() {
        assert_eq!(of("Winch, Golf X-ray: two-up!"), ["winch", "golf", "xray", "two", "up"]);
        assert_eq!(of("D4761 2"), ["d", "4", "7", "6", "1", "2"]);
        assert_eq!(of("fünf  Windenseil\tWald."), ["fünf", "windenseil", "wald"]);
        assert!(of(" ,. ").is_empty());
    }
}
