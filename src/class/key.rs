//! Keys and seals: HMAC (RFC 2104) with SHA-256 (FIPS 180-4), both from published crates.

use hmac::{Hmac, KeyInit, Mac};
use sha2::{Digest as _, Sha256};
use std::fmt;

/// What the class's computer keeps to itself: every practice's key follows from it.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret([u8; 32]);

/// The key of one practice file. Whoever has the file has the key.
#[derive(Clone, PartialEq, Eq)]
pub struct Key([u8; 32]);

/// What is in front of the digest when a key is derived, so that nothing else ever gives the same bytes.
const KEY_OF_A_PRACTICE: &[u8] = b"cableside practice 1\n";

impl Secret {
    /// From 32 random bytes.
    pub fn new(random: [u8; 32]) -> Self {
        Self(random)
    }

    /// From 64 hexadecimal digits, as [`Self::text`] gives them.
    pub fn parse(text: &str) -> Option<Self> {
        from_hex(text.trim()).map(Self)
    }

    /// 64 hexadecimal digits, for a file that nobody else may read.
    pub fn text(&self) -> String {
        hex(&self.0)
    }

    /// The key that goes with a practice of this digest.
    pub fn key(&self, digest: &[u8; 32]) -> Key {
        Key(code(&self.0, &[KEY_OF_A_PRACTICE, digest]))
    }
}

impl Key {
    /// From 64 hexadecimal digits.
    pub fn parse(text: &str) -> Option<Self> {
        from_hex(text).map(Self)
    }

    /// 64 hexadecimal digits.
    pub fn text(&self) -> String {
        hex(&self.0)
    }

    /// The code of these bytes.
    pub fn code(&self, parts: &[&[u8]]) -> [u8; 32] {
        code(&self.0, parts)
    }

    /// Is it the code of these bytes? Takes the same time wherever they differ.
    pub fn fits(&self, parts: &[&[u8]], code: &[u8; 32]) -> bool {
        mac(&self.0, parts).is_some_and(|m| m.verify_slice(code).is_ok())
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(..)")
    }
}

impl fmt::Debug for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Key(..)")
    }
}

fn mac(key: &[u8], parts: &[&[u8]]) -> Option<Hmac<Sha256>> {
    // Any length of key is allowed; there is no case without a result.
    let mut mac = Hmac::<Sha256>::new_from_slice(key).ok()?;
    for part in parts {
        mac.update(part);
    }
    Some(mac)
}

fn code(key: &[u8], parts: &[&[u8]]) -> [u8; 32] {
    mac(key, parts).map_or([0; 32], |m| m.finalize().into_bytes().into())
}

/// SHA-256.
pub(super) fn digest(bytes: &[u8]) -> [u8; 32] {
    Sha256::digest(bytes).into()
}

/// Small hexadecimal digits.
pub(super) fn hex(bytes: &[u8]) -> String {
    use fmt::Write as _;
    bytes.iter().fold(String::new(), |mut text, b| {
        // Writing to a String cannot fail.
        let _ = write!(text, "{b:02x}");
        text
    })
}

/// 64 small hexadecimal digits; nothing else, so that one value has one text.
pub(super) fn from_hex(text: &str) -> Option<[u8; 32]> {
    let digit = |c: u8| match c {
        b'0'..=b'9' => Some(c - b'0'),
        b'a'..=b'f' => Some(c - b'a' + 10),
        _ => None,
    };
    let text: &[u8; 64] = text.as_bytes().try_into().ok()?;
    let mut out = [0; 32];
    for (i, byte) in out.iter_mut().enumerate() {
        *byte = digit(text[2 * i])? << 4 | digit(text[2 * i + 1])?;
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Check values: RFC 4231, test cases 2 and 3 (HMAC-SHA-256), and FIPS 180-4's example "abc" for SHA-256.
    #[test]
    fn codes_are_the_published_ones() {
        assert_eq!(
            hex(&code(b"Jefe", &[b"what do ya want ", b"for nothing?"])),
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
        );
        assert_eq!(
            hex(&code(&[0xaa; 20], &[&[0xdd; 50]])),
            "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"
        );
        assert_eq!(
            hex(&digest(b"abc")),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn one_value_has_one_text() {
        let key = Key::parse(&"0a".repeat(32)).unwrap();
        assert_eq!(key.text(), "0a".repeat(32));
        for wrong in [
            "0A".repeat(32),
            "0a".repeat(31),
            "0a".repeat(33),
            "0g".repeat(32),
            String::new(),
        ] {
            assert!(Key::parse(&wrong).is_none(), "{wrong}");
        }
        assert!(key.fits(&[b"ab", b"c"], &key.code(&[b"abc"])));
        assert!(!key.fits(&[b"abd"], &key.code(&[b"abc"])));
    }
}
