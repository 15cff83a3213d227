//! Names that look the same: other spaces, other capitals, letters of other alphabets, figures for letters.

use unicode_normalization::UnicodeNormalization;

/// Whether people could not tell two names apart: either they are the same but for capitals, or they look the same as written.
/// Both are asked, since a capital I looks like a small l and a small i does not.
pub(super) fn alike(one: &str, other: &str) -> bool {
    let (one, other) = (seen(one), seen(other));
    folded(&one) == folded(&other) || skeleton(&one) == skeleton(&other)
}

/// A name as it is seen: compatibility forms and spaces made one, without invisible characters.
fn seen(name: &str) -> String {
    let seen: String = name.nfkc().filter(|c| !invisible(*c)).collect();
    seen.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Unicode's skeleton of confusable characters (UTS 39).
fn skeleton(seen: &str) -> String {
    unicode_security::skeleton(seen).collect()
}

/// The skeleton of the small letters, itself in small letters: that of the figure 0 is a capital O.
fn folded(seen: &str) -> String {
    skeleton(&seen.to_lowercase()).to_lowercase()
}

/// Joiners, marks of direction, selectors: they take no room.
fn invisible(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{ad}' | '\u{61c}' | '\u{115f}' | '\u{1160}' | '\u{180e}' | '\u{200b}'..='\u{200f}'
            | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{3164}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}')
}

#[cfg(test)]
mod tests {
    use super::alike;

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
            "lnes Tutor",
            "1nes Tutor",
            "|nes Tutor",
            "Ines Tut0r",
            "INES TUTOR",
            "INES TUT0R",
        ] {
            assert!(alike(other, "Ines Tutor") && alike("Ines Tutor", other), "{other:?}");
        }
        for other in [
            "Ines Tudor",
            "Inés Tutor",
            "Ines Tutor B.",
            "Jon Hale",
            "Iris Tutor",
            "Lnes Tutor",
        ] {
            assert!(!alike(other, "Ines Tutor") && !alike("Ines Tutor", other), "{other:?}");
        }
    }

    #[test]
    fn figures_and_letters_of_one_shape_are_the_same_and_real_names_are_not() {
        for (one, other, same) in [
            ("Ola", "0la", true),
            ("ola", "0la", true),
            ("OLA", "0LA", true),
            ("Olga", "0lga", true),
            ("Paul", "PauI", true),
            ("Paul", "Pau1", true),
            ("Ilse", "llse", true),
            ("Ilse", "1lse", true),
            ("Ian", "lan", true),
            ("Class 10", "Class lO", true),
            ("Group I", "Group 1", true),
            // Real names beside each other.
            ("Ian", "Lan", false),
            ("Ola", "Ole", false),
            ("Ola", "Ala", false),
            ("Liam", "Iam", false),
            ("Lina", "Ina", false),
            ("Lisa", "Isa", false),
            ("Elia", "Ella", false),
            ("Ilja", "Lilja", false),
            ("Noah", "Nora", false),
            ("Class 1", "Class 7", false),
            ("Class 10", "Class 11", false),
            ("Class 0", "Class 8", false),
            ("Group I", "Group II", false),
        ] {
            assert_eq!(alike(one, other), same, "{one} {other}");
            assert_eq!(alike(other, one), same, "{other} {one}");
        }
    }
}
