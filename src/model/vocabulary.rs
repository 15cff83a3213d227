//! The tokens: from the printable characters that packages store them in to the bytes they stand for.

use super::ModelError;

/// Tokens that the `ggml` file lists by their bytes; those after them are marks that the recogniser names itself.
pub(super) const LISTED: usize = 50_257;

/// The byte a character of a stored token stands for.
///
/// The alphabet: the visible bytes of Latin-1 (`!` to `~`, `¡` to `¬`, `®` to `ÿ`) are themselves; the other 68, in
/// ascending order, are the characters from U+0100 on.
pub(super) fn byte_of(character: char) -> Option<u8> {
    match u32::from(character) {
        code @ (0x21..=0x7E | 0xA1..=0xAC | 0xAE..=0xFF) => u8::try_from(code).ok(),
        code @ 0x100..=0x120 => u8::try_from(code - 0x100).ok(),
        code @ 0x121..=0x142 => u8::try_from(code - 0x121 + 0x7F).ok(),
        0x143 => Some(0xAD),
        _ => None,
    }
}

/// One token a line; blank lines are empty tokens.
pub(super) fn from_lines(text: &str) -> Result<Vec<Vec<u8>>, ModelError> {
    // Not `lines()`: that would also drop a carriage return.
    listed(text.split('\n'))
}

/// A JSON array of tokens.
pub(super) fn from_json(text: &str) -> Result<Vec<Vec<u8>>, ModelError> {
    let tokens: Vec<String> =
        serde_json::from_str(text).map_err(|e| ModelError::weights(format!("the vocabulary is not a list ({e})")))?;
    listed(tokens.iter().map(String::as_str))
}

fn listed<'a>(tokens: impl Iterator<Item = &'a str>) -> Result<Vec<Vec<u8>>, ModelError> {
    let bytes = tokens
        .take(LISTED)
        .enumerate()
        .map(|(at, token)| {
            token.chars().map(byte_of).collect::<Option<Vec<u8>>>().ok_or_else(|| {
                ModelError::weights(format!(
                    "token {at} of the vocabulary is not in the byte alphabet: {token:?}"
                ))
            })
        })
        .collect::<Result<Vec<_>, _>>()?;
    if bytes.len() == LISTED {
        Ok(bytes)
    } else {
        Err(ModelError::weights(format!(
            "the vocabulary has {} tokens, not {LISTED}",
            bytes.len()
        )))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_alphabet_names_each_byte_once() {
        let mut seen = [0_u32; 256];
        let mut others = Vec::new();
        for character in (0..=0x200).filter_map(char::from_u32) {
            if let Some(byte) = byte_of(character) {
                seen[usize::from(byte)] += 1;
                if u32::from(character) >= 0x100 {
                    others.push(byte);
                }
            }
        }
        assert_eq!(seen, [1; 256]);
        assert_eq!(others.len(), 68);
        assert!(others.is_sorted(), "the other bytes are in ascending order");
        assert_eq!(byte_of('\u{120}'), Some(b' '), "a leading space is written U+0120");
    }

    #[test]
    fn blank_lines_are_tokens() {
        let text = format!("a\n\n\u{120}b\n{}", "x\n".repeat(LISTED));
        let tokens = from_lines(&text).unwrap();
        assert_eq!(tokens.len(), LISTED);
        assert_eq!(&tokens[..3], [b"a".to_vec(), b"".to_vec(), b" b".to_vec()]);
    }

    #[test]
    fn a_short_or_foreign_vocabulary_is_refused() {
        assert!(from_lines("a\nb").unwrap_err().to_string().contains("2 tokens"));
        assert!(from_lines("a\nb c").unwrap_err().to_string().contains("token 1"));
        assert!(from_json("[\"a\"").is_err());
    }
}
