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
            return Err(ModelError::weights(format!(
                "{name:?} is not one 16-bit number"
            )));
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
        Ok(Self {
            file,
            at: 0,
            length,
        })
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
        let dims = (0..rank)
            .map(|_| self.u32(&name))
            .collect::<Result<Vec<_>, _>>()?;
        let [code] = self.bytes(&name)?;
        let number = Number::from_code(code).ok_or_else(|| {
            ModelError::weights(format!("{name:?} has numbers of the unknown kind {code}"))
        })?;
        let bytes = u64::from(self.u32(&name)?);
        let expected = dims.iter().try_fold(number.width(), |product, dim| {
            product.checked_mul(u64::from(*dim))
        });
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
