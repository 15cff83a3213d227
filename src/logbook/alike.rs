//! Names that look the same: other spaces, other capitals, letters of other alphabets.

use unicode_normalization::UnicodeNormalization;

/// What two names that people cannot tell apart have in common: compatibility forms, spaces, capitals and invisible
/// characters made one, then the skeleton of Unicode's list of confusable characters (UTS 39).
pub(super) fn skeleton(name: &str) -> String {
    let seen: String = name
        .nfkc()
        .filter(|c| !invisible(*c))
        .flat_map(char::to_lowercase)
        .collect();
    let seen = seen.split_whitespace().collect::<Vec<_>>().join(" ");
    // A capital I is confusable with a small l, a small i is not: the skeleton comes from the small letters.
    unicode_security::skeleton(&seen).collect()
}

/// Joiners, marks of direction, selectors: they take no room.
fn invisible(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{ad}' | '\u{61c}' | '\u{115f}' | '\u{1160}' | '\u{180e}' | '\u{200b}'..='\u{200f}'
            | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{3164}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}')
}

#[cfg(test)]
mod tests {
    use super::skeleton;

    #[test]
    fn what_looks_the_same_is_the_same() {
        for other in [
            "Ines  Tutor",
            " ines tutor ",
            "Ines\u{a0}Tutor",
            "Ines\u{200b} Tutor",
            // Cyrillic e and o.
            "In\u{435}s Tut\u{43e}r",
            "\u{ff29}nes Tutor",
        ] {
            assert_eq!(skeleton(other), skeleton("Ines Tutor"), "{other:?}");
        }
        for other in ["Ines Tudor", "Inés Tutor", "Ines Tutor B.", "Jon Hale"] {
            assert_ne!(skeleton(other), skeleton("Ines Tutor"), "{other:?}");
        }
    }
}
