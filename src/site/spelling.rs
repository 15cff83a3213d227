//! The spelling alphabet: one table for both languages (SERA.14020, Table S14-2; the same words as ICAO Annex 10 Vol II).

/// A letter's standard word first ("X-ray" as one word), then spellings a recogniser or a typist writes for the same word.
pub const LETTERS: [(char, &[&str]); 26] = [
    ('A', &["alfa", "alpha"]),
    ('B', &["bravo"]),
    ('C', &["charlie", "charly"]),
    ('D', &["delta"]),
    ('E', &["echo", "ekko"]),
    ('F', &["foxtrot", "foxtrott"]),
    ('G', &["golf", "gulf"]),
    ('H', &["hotel"]),
    ('I', &["india"]),
    ('J', &["juliett", "juliet", "juliette"]),
    ('K', &["kilo"]),
    ('L', &["lima"]),
    ('M', &["mike"]),
    ('N', &["november"]),
    ('O', &["oscar", "oskar"]),
    ('P', &["papa"]),
    ('Q', &["quebec"]),
    ('R', &["romeo"]),
    ('S', &["sierra"]),
    ('T', &["tango"]),
    ('U', &["uniform"]),
    ('V', &["victor", "viktor"]),
    ('W', &["whiskey", "whisky"]),
    ('X', &["xray", "x-ray", "x ray"]),
    ('Y', &["yankee"]),
    ('Z', &["zulu"]),
];

/// The standard word for a letter, in lower case, or `None` for anything but A to Z.
pub fn word(letter: char) -> Option<&'static str> {
    spellings(letter).map(|s| s[0])
}

/// All spellings of a letter's word, the standard one first.
pub fn spellings(letter: char) -> Option<&'static [&'static str]> {
    let letter = letter.to_ascii_uppercase();
    LETTERS.iter().find(|(l, _)| *l == letter).map(|(_, s)| *s)
}

/// The letter a lower-case word stands for.
pub fn letter(word: &str) -> Option<char> {
    LETTERS.iter().find(|(_, s)| s.contains(&word)).map(|(l, _)| *l)
}
