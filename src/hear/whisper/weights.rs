//! Reads a `ggml` model file: sizes, mel filters, the tokens' bytes, and tables of numbers by name.

use half::f16;
use std::collections::HashMap;
use std::io::{self, Read};

/// "ggml" as a number, little-endian.
const MAGIC: u32 = 0x6767_6d6c;
/// No table of the models in use is near that size; a damaged file must not ask for more (numbers).
const MOST: usize = 1 << 28;

/// The sizes of a model.
#[derive(Debug, Clone, Copy)]
pub struct Sizes {
    /// Tokens, special ones included.
    pub vocabulary: usize,
    /// Encoder frames for 30 s.
    pub frames: usize,
    /// Width of encoder and decoder.
    pub state: usize,
    /// Attention heads.
    pub heads: usize,
    /// Encoder layers.
    pub audio_layers: usize,
    /// Tokens the decoder can follow.
    pub text: usize,
    /// Decoder layers.
    pub text_layers: usize,
    /// Bands of the mel spectrum.
    pub bands: usize,
}

/// What a file holds.
pub struct Weights {
    /// Its sizes.
    pub sizes: Sizes,
    /// Mel filters, one row of bins a band.
    pub filters: Vec<f32>,
    /// Frequency bins of a filter.
    pub bins: usize,
    /// The bytes of each text token.
    pub tokens: Vec<Vec<u8>>,
    tables: HashMap<String, Table>,
}

enum Table {
    Half(Vec<f16>),
    Full(Vec<f32>),
}

fn odd(why: impl Into<String>) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, why.into())
}

fn number(from: &mut impl Read) -> io::Result<u32> {
    let mut bytes = [0; 4];
    from.read_exact(&mut bytes)?;
    Ok(u32::from_le_bytes(bytes))
}

fn size(from: &mut impl Read) -> io::Result<usize> {
    match number(from)? as usize {
        n if n <= MOST => Ok(n),
        n => Err(odd(format!("a size of {n} cannot be right"))),
    }
}

fn bytes(from: &mut impl Read, count: usize) -> io::Result<Vec<u8>> {
    let mut out = Vec::new();
    from.by_ref().take(count as u64).read_to_end(&mut out)?;
    if out.len() < count {
        return Err(io::ErrorKind::UnexpectedEof.into());
    }
    Ok(out)
}

fn full(from: &mut impl Read, count: usize) -> io::Result<Vec<f32>> {
    let raw = bytes(from, count * 4)?;
    Ok(raw
        .chunks_exact(4)
        .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]))
        .collect())
}

impl Weights {
    /// Read a file.
    pub fn read(from: &mut impl Read) -> io::Result<Self> {
        if number(from)? != MAGIC {
            return Err(odd("it does not begin as a ggml file does"));
        }
        let mut n = [0; 11];
        for value in &mut n {
            *value = size(from)?;
        }
        let sizes = Sizes {
            vocabulary: n[0],
            frames: n[1],
            state: n[2],
            heads: n[3],
            audio_layers: n[4],
            text: n[5],
            text_layers: n[8],
            bands: n[9],
        };
        if n[2] != n[6] || n[3] != n[7] || n[3] == 0 || n[2] % n[3] != 0 {
            return Err(odd("encoder and decoder do not fit together"));
        }
        let (rows, bins) = (size(from)?, size(from)?);
        if rows != sizes.bands || bins == 0 || rows.saturating_mul(bins) > MOST {
            return Err(odd("the mel filters do not fit the model"));
        }
        let filters = full(from, rows * bins)?;
        let count = size(from)?;
        let mut tokens = Vec::new();
        for _ in 0..count {
            let length = size(from)?;
            tokens.push(bytes(from, length)?);
        }
        let mut tables = HashMap::new();
        loop {
            let dimensions = match number(from) {
                Ok(d) => d,
                Err(e) if e.kind() == io::ErrorKind::UnexpectedEof => break,
                Err(e) => return Err(e),
            };
            let (length, kind) = (size(from)?, number(from)?);
            let mut count = 1_usize;
            for _ in 0..dimensions.min(4) {
                count = count.saturating_mul(size(from)?);
            }
            if count > MOST || dimensions > 4 || length > 1000 {
                return Err(odd("a table's sizes cannot be right"));
            }
            let name = String::from_utf8_lossy(&bytes(from, length)?).into_owned();
            let table = match kind {
                0 => Table::Full(full(from, count)?),
                1 => Table::Half(
                    bytes(from, count * 2)?
                        .chunks_exact(2)
                        .map(|b| f16::from_le_bytes([b[0], b[1]]))
                        .collect(),
                ),
                _ => return Err(odd(format!("the table {name} has numbers of an unknown kind"))),
            };
            tables.insert(name, table);
        }
        Ok(Self {
            sizes,
            filters,
            bins,
            tokens,
            tables,
        })
    }

    /// Take a table of 32-bit numbers.
    pub fn full(&mut self, name: &str, count: usize) -> io::Result<Vec<f32>> {
        match self.tables.remove(name) {
            Some(Table::Full(values)) if values.len() == count => Ok(values),
            Some(Table::Half(values)) if values.len() == count => Ok(values.iter().map(|v| v.to_f32()).collect()),
            Some(_) => Err(odd(format!("the table {name} has another size"))),
            None => Err(odd(format!("the table {name} is missing"))),
        }
    }

    /// Take a table of 16-bit numbers.
    pub fn half(&mut self, name: &str, count: usize) -> io::Result<Vec<f16>> {
        match self.tables.remove(name) {
            Some(Table::Half(values)) if values.len() == count => Ok(values),
            Some(_) => Err(odd(format!("the table {name} has another size or kind"))),
            None => Err(odd(format!("the table {name} is missing"))),
        }
    }
}
