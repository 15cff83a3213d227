//! The model's tokens: byte-pair encoding as the model was trained with it, and which tokens may never come.
//!
//! The binding's own tokeniser cuts greedily, which gives long German words pieces the model never saw. A token's id is
//! its rank here, as in the model's published vocabulary: the pair that merges into the lowest id merges first.

use std::collections::HashMap;

/// The text tokens of a model.
pub struct TokenTable {
    bytes: Vec<Vec<u8>>,
    ids: HashMap<Vec<u8>, i32>,
}

impl TokenTable {
    /// From the bytes of each text token, by id.
    pub fn new(bytes: Vec<Vec<u8>>) -> Self {
        let mut ids = HashMap::with_capacity(bytes.len());
        for (i, b) in (0..).zip(&bytes) {
            ids.entry(b.clone()).or_insert(i);
        }
        Self { bytes, ids }
    }

    /// Encode one piece of text (a word with its leading space, a mark).
    pub fn encode(&self, text: &str) -> Vec<i32> {
        let mut parts: Vec<Vec<u8>> = text.bytes().map(|b| vec![b]).collect();
        while parts.len() > 1 {
            let best = (0..parts.len() - 1)
                .filter_map(|i| {
                    self.ids
                        .get(&[parts[i].as_slice(), parts[i + 1].as_slice()].concat())
                        .map(|id| (*id, i))
                })
                .min();
            let Some((_, i)) = best else { break };
            let second = parts.remove(i + 1);
            parts[i].extend(second);
        }
        parts.iter().filter_map(|p| self.ids.get(p).copied()).collect()
    }

    /// The text of tokens; bytes that are no UTF-8 are replaced.
    pub fn decode(&self, tokens: &[i32]) -> String {
        let bytes: Vec<u8> = tokens
            .iter()
            .filter_map(|t| self.bytes.get(*t as usize))
            .flatten()
            .copied()
            .collect();
        String::from_utf8_lossy(&bytes).into_owned()
    }

    /// Tokens that may never come: those with digits and Roman numbers, so that numbers are written as words, and those with
    /// brackets or note signs, with which the model describes sounds.
    pub fn never(&self) -> Vec<i32> {
        let odd = |b: &[u8]| {
            b.iter()
                .any(|c| c.is_ascii_digit() || b"[](){}<>*#@_|~\\^=+".contains(c))
        };
        // German digits became "Delta III-VIII". One such letter alone begins many words.
        let roman = |b: &[u8]| {
            let number = b.strip_prefix(b" ").unwrap_or(b);
            number.len() > 1 && number.iter().all(|c| b"IVX".contains(c))
        };
        (0..)
            .zip(&self.bytes)
            .filter(|(_, b)| odd(b) || roman(b) || b.starts_with("♪".as_bytes()))
            .map(|(i, _)| i)
            .collect()
    }

    /// Tokens without a letter: they may not come first.
    pub fn without_letters(&self) -> Vec<i32> {
        let no_letter = |b: &[u8]| !b.iter().any(|c| c.is_ascii_alphabetic() || *c >= 0x80);
        (0..)
            .zip(&self.bytes)
            .filter(|(_, b)| no_letter(b))
            .map(|(i, _)| i)
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::TokenTable;

    #[test]
    fn the_lowest_rank_merges_first() {
        let table = TokenTable::new(
            ["a", "b", "c", "bc", "ab", "abc"]
                .map(|s| s.as_bytes().to_vec())
                .to_vec(),
        );
        // Greedy cutting would give "ab" + "c" or "abc"; by rank "bc" merges first, then "abc".
        assert_eq!(table.encode("abc"), [5]);
        assert_eq!(table.encode("abb"), [4, 1]);
        assert_eq!(table.decode(&[4, 2]), "abc");
    }
}
