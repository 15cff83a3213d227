//! The invented sites that ship with the program, as texts.

use super::Files;

macro_rules! site {
    ($name:literal) => {
        (
            $name,
            [
                (
                    "site.toml",
                    include_str!(concat!("../../phrases/", $name, "/site.toml")),
                ),
                (
                    "fleet.toml",
                    include_str!(concat!("../../phrases/", $name, "/fleet.toml")),
                ),
                (
                    "words.toml",
                    include_str!(concat!("../../phrases/", $name, "/words.toml")),
                ),
                (
                    "briefing.toml",
                    include_str!(concat!("../../phrases/", $name, "/briefing.toml")),
                ),
                (
                    "steps.toml",
                    include_str!(concat!("../../phrases/", $name, "/steps.toml")),
                ),
            ],
        )
    };
}

const SITES: [(&str, [(&str, &str); 5]); 4] = [
    site!("larkmoor"),
    site!("erlengrund"),
    site!("brackmere"),
    site!("haselrain"),
];

/// The names of the sites that ship.
pub const NAMES: [&str; 4] = ["larkmoor", "erlengrund", "brackmere", "haselrain"];

/// The files of a site that ships, `None` for any other name.
pub fn files(name: &str) -> Option<Files> {
    let (_, texts) = SITES.iter().find(|(n, _)| *n == name)?;
    Some(Files {
        folder: format!("{name} (built in)"),
        texts: texts.iter().map(|(f, t)| ((*f).to_owned(), (*t).to_owned())).collect(),
        ..Default::default()
    })
}
