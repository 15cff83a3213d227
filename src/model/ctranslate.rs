//! Reads the packages' weights: a CTranslate2 `model.bin`, as an index into the file, so that no weight stays in memory.

use std::collections::BTreeMap;
use std::io::{self, Read, Seek, SeekFrom};

use super::ModelError;

/// The version of the file's form that is read here.
const FORM: u32 = 6;
/// What the file says it holds, and in which revision.
const HOLDS: &str = "WhisperSpec";
const REVISION: u32 = 3;

/// How a variable's numbers are stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Number {
    I16,
    F16,
    /// Any other, with its code and its width in bytes; none of the weights needed is stored so.
    Other(u8, u64),
}

impl Number {
    fn from_code(code: u8) -> Option<Self> {
        Some(match code {
            0 | 3 => Self::Other(code, 4),
            1 => Self::Other(code, 1),
            2 => Self::I16,
            4 => Self::F16,
            5 => Self::Other(code, 2),
            _ => return None,
        })
    }

    fn width(self) -> u64 {
        match self {
            Self::I16 | Self::F16 => 2,
            Self::Other(_, width) => width,
        }
    }
}

/// Where one variable's numbers are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Variable {
    /// Sizes, outermost first; none for a single number.
    pub dims: Vec<u32>,
    pub number: Number,
    /// Place of the first byte in the file.
    pub offset: u64,
    /// Bytes.
    pub bytes: u64,
}

/// The file with the places of all its variables.
#[derive(Debug)]
pub(super) struct Weights<R> {
    file: R,
    variables: BTreeMap<String, Variable>,
}

impl<R: Read + Seek> Weights<R> {
    /// Reads the index to the end of the file; what is cut short, too long or of another version is refused.
    pub(super) fn open(file: R) -> Result<Self, ModelError> {
        let mut index = Index::start(file)?;
        let form = index.u32("the version")?;
        if form != FORM {
            return Err(ModelError::weights(format!(
                "version {form} of the weights' form, not {FORM}"
            )));
        }
        let holds = index.string("the kind")?;
        let revision = index.u32("the revision")?;
        if holds != HOLDS || revision != REVISION {
            return Err(ModelError::weights(format!(
                "weights of {holds:?} revision {revision}, not {HOLDS:?} revision {REVISION}"
            )));
        }
        let count = index.u32("the number of variables")?;
        let mut variables = BTreeMap::new();
        for _ in 0..count {
            let (name, variable) = index.variable()?;
            if variables.insert(name.clone(), variable).is_some() {
                return Err(ModelError::weights(format!("{name:?} is there twice")));
            }
        }
        let aliases = index.u32("the number of aliases")?;
        for _ in 0..aliases {
            index.string("an alias")?;
            index.string("an alias' target")?;
        }
        if index.at != index.length {
            return Err(ModelError::weights(format!(
                "{} bytes too many at the end",
                index.length - index.at
            )));
        }
        Ok(Self {
            file: index.file,
            variables,
        })
    }

    /// The variable of that name.
    pub(super) fn get(&self, name: &str) -> Result<Variable, ModelError> {
        self.variables
            .get(name)
            .cloned()
            .ok_or_else(|| ModelError::weights(format!("{name:?} is not there")))
    }

    /// Whether a variable of that name is there.
    pub(super) fn has(&self, name: &str) -> bool {
        self.variables.contains_key(name)
    }

    /// A single whole number.
    pub(super) fn whole(&mut self, name: &str) -> Result<i32, ModelError> {
        let variable = self.get(name)?;
        if variable.number != Number::I16 || variable.bytes != 2 {
            return Err(ModelError::weights(format!("{name:?} is not one 16-bit number")));
        }
        let mut bytes = [0; 2];
        self.read(variable.offset, &mut bytes)
            .map_err(|e| ModelError::weights(format!("{name:?} could not be read ({e})")))?;
        Ok(i32::from(i16::from_le_bytes(bytes)))
    }

    /// Fills `into` from that place in the file.
    pub(super) fn read(&mut self, offset: u64, into: &mut [u8]) -> io::Result<()> {
        self.file.seek(SeekFrom::Start(offset))?;
        self.file.read_exact(into)
    }
}

/// The reading position, checked against the file's length before each step.
struct Index<R> {
    file: R,
    at: u64,
    length: u64,
}

impl<R: Read + Seek> Index<R> {
    fn start(mut file: R) -> Result<Self, ModelError> {
        let length = file
            .seek(SeekFrom::End(0))
            .and_then(|length| file.rewind().map(|()| length))
            .map_err(|e| ModelError::weights(format!("the file cannot be read ({e})")))?;
        Ok(Self { file, at: 0, length })
    }

    fn take(&mut self, count: u64, what: &str) -> Result<(), ModelError> {
        if count > self.length - self.at {
            return Err(ModelError::weights(format!(
                "the file ends at byte {} within {what}",
                self.length
            )));
        }
        self.at += count;
        Ok(())
    }

    fn bytes<const N: usize>(&mut self, what: &str) -> Result<[u8; N], ModelError> {
        self.take(N as u64, what)?;
        let mut bytes = [0; N];
        self.file
            .read_exact(&mut bytes)
            .map_err(|e| ModelError::weights(format!("{what} could not be read ({e})")))?;
        Ok(bytes)
    }

    fn u32(&mut self, what: &str) -> Result<u32, ModelError> {
        Ok(u32::from_le_bytes(self.bytes(what)?))
    }

    /// A length with the closing NUL counted, the characters, the NUL.
    fn string(&mut self, what: &str) -> Result<String, ModelError> {
        let length = u16::from_le_bytes(self.bytes(what)?);
        self.take(u64::from(length), what)?;
        let mut text = vec![0; usize::from(length)];
        self.file
            .read_exact(&mut text)
            .map_err(|e| ModelError::weights(format!("{what} could not be read ({e})")))?;
        match (text.pop(), String::from_utf8(text)) {
            (Some(0), Ok(text)) => Ok(text),
            _ => Err(ModelError::weights(format!(
                "{what} before byte {} is not a text",
                self.at
            ))),
        }
    }

    fn variable(&mut self) -> Result<(String, Variable), ModelError> {
        let name = self.string("a variable's name")?;
        let [rank] = self.bytes(&name)?;
        let dims = (0..rank).map(|_| self.u32(&name)).collect::<Result<Vec<_>, _>>()?;
        let [code] = self.bytes(&name)?;
        let number = Number::from_code(code)
            .ok_or_else(|| ModelError::weights(format!("{name:?} has numbers of the unknown kind {code}")))?;
        let bytes = u64::from(self.u32(&name)?);
        let expected = dims
            .iter()
            .try_fold(number.width(), |product, dim| product.checked_mul(u64::from(*dim)));
        if expected != Some(bytes) {
            return Err(ModelError::weights(format!(
                "{name:?} has {bytes} bytes, which its sizes {dims:?} do not give"
            )));
        }
        let offset = self.at;
        self.take(bytes, &name)?;
        self.file
            .seek(SeekFrom::Start(self.at))
            .map_err(|e| ModelError::weights(format!("{name:?} could not be read ({e})")))?;
        Ok((
            name,
            Variable {
                dims,
                number,
                offset,
                bytes,
            },
        ))
    }
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use super::super::invented;
    use super::*;

    fn open(bytes: &[u8]) -> Result<Weights<Cursor<&[u8]>>, ModelError> {
        Weights::open(Cursor::new(bytes))
    }

    #[test]
    fn every_variable_is_found_with_its_numbers() {
        let variables = invented::variables();
        let bytes = invented::file(&variables);
        let mut weights = open(&bytes).unwrap();
        for (name, dims, _, numbers) in &variables {
            let found = weights.get(name).unwrap();
            assert_eq!(found.dims, *dims, "{name}");
            let mut read = vec![0; usize::try_from(found.bytes).unwrap()];
            weights.read(found.offset, &mut read).unwrap();
            assert_eq!(read, *numbers, "{name}");
        }
        assert_eq!(weights.whole("encoder/num_heads").unwrap(), 2);
        assert!(weights.whole("encoder/conv1/bias").is_err());
        assert!(
            weights
                .get("encoder/conv3/bias")
                .unwrap_err()
                .to_string()
                .contains("encoder/conv3/bias")
        );
    }

    #[test]
    fn cut_short_anywhere_it_is_refused() {
        let bytes = invented::file(&invented::variables());
        for end in 0..bytes.len() {
            let failure = open(&bytes[..end]).unwrap_err().to_string();
            assert!(failure.contains("the file ends"), "at {end}: {failure}");
        }
    }

    #[test]
    fn bytes_after_the_end_are_refused() {
        let mut bytes = invented::file(&invented::variables());
        bytes.push(0);
        assert!(open(&bytes).unwrap_err().to_string().contains("1 bytes too many"));
    }

    #[test]
    fn another_version_kind_or_revision_is_refused() {
        let variables = invented::variables();
        let refused = |bytes: &[u8]| open(bytes).unwrap_err().to_string();
        assert!(refused(&invented::file_of(5, "WhisperSpec", 3, &variables)).contains("version 5"));
        assert!(refused(&invented::file_of(6, "OtherSpec", 3, &variables)).contains("OtherSpec"));
        assert!(refused(&invented::file_of(6, "WhisperSpec", 2, &variables)).contains("revision 2"));
    }

    #[test]
    fn sizes_that_do_not_fit_and_doubles_are_refused() {
        let refused = |variables: &[invented::Variable]| open(&invented::file(variables)).unwrap_err().to_string();
        let one = |dims: &[u32], kind, bytes: usize| vec![("a".to_owned(), dims.to_vec(), kind, vec![0; bytes])];
        assert!(refused(&one(&[3], 4, 4)).contains("do not give"));
        assert!(
            refused(&one(&[u32::MAX; 3], 4, 4)).contains("do not give"),
            "a product beyond 64 bits"
        );
        assert!(refused(&one(&[2], 9, 4)).contains("unknown kind 9"));
        assert!(refused(&[one(&[2], 4, 4), one(&[2], 4, 4)].concat()).contains("twice"));
    }

    #[test]
    fn any_damaged_byte_is_refused_or_read_without_harm() {
        // Damage within the numbers is the checksum's to find; here nothing may panic or claim memory.
        let bytes = invented::file(&invented::variables());
        for at in 0..bytes.len() {
            let mut damaged = bytes.clone();
            damaged[at] ^= 0xFF;
            let _ = open(&damaged);
        }
    }
}
