//! Writes the `ggml` file from the weights, the tokens and the filters, one piece of a tensor at a time.

use half::f16;
use std::io::{self, Read, Seek, Write};

use super::ModelError;
use super::ctranslate::{Number, Variable, Weights};
use super::mel;

/// `ggml` in ASCII, read as a little-endian number.
pub(super) const MAGIC: u32 = 0x6767_6d6c;
/// Bytes copied at a time.
const PIECE: usize = 64 * 1024;

/// How a tensor's numbers are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    F32,
    F16,
}

/// Which part of the source's rows a tensor takes: the packages keep query, key and value in one matrix.
#[derive(Debug, Clone, Copy)]
struct Share {
    index: u32,
    of: u32,
}

const WHOLE: Share = Share { index: 0, of: 1 };

/// One tensor to write.
#[derive(Debug)]
struct Tensor {
    /// Its name in the `ggml` file.
    name: String,
    /// The variable it comes from.
    from: String,
    share: Share,
}

/// The sizes at the head of the file.
#[derive(Debug, PartialEq, Eq)]
struct Sizes {
    vocabulary: i32,
    audio: Side,
    text: Side,
    bands: i32,
}

/// Encoder or decoder.
#[derive(Debug, PartialEq, Eq)]
struct Side {
    context: i32,
    state: i32,
    heads: i32,
    layers: i32,
}

/// Writes the whole file. `step` hears of the tensors written and their number and may stop the work with an error.
pub(super) fn write<R: Read + Seek>(
    weights: &mut Weights<R>,
    tokens: &[Vec<u8>],
    out: &mut impl Write,
    step: &mut dyn FnMut(usize, usize) -> Result<(), ModelError>,
    failed: &dyn Fn(io::Error) -> ModelError,
) -> Result<(), ModelError> {
    let sizes = Sizes::read(weights)?;
    let tensors = tensors(&sizes);
    head(out, &sizes, tokens).map_err(failed)?;
    for (at, tensor) in tensors.iter().enumerate() {
        step(at, tensors.len())?;
        write_tensor(weights, tensor, out, failed)?;
    }
    step(tensors.len(), tensors.len())
}

impl Sizes {
    fn read<R: Read + Seek>(weights: &mut Weights<R>) -> Result<Self, ModelError> {
        let vocabulary = dims::<2, R>(weights, "decoder/embeddings/weight")?[0];
        let bands = dims::<3, R>(weights, "encoder/conv1/weight")?[1];
        Ok(Self {
            vocabulary,
            audio: Side::read(weights, "encoder")?,
            text: Side::read(weights, "decoder")?,
            bands,
        })
    }
}

impl Side {
    fn read<R: Read + Seek>(weights: &mut Weights<R>, side: &str) -> Result<Self, ModelError> {
        let [context, state] = dims(weights, &format!("{side}/position_encodings/encodings"))?;
        let heads = weights.whole(&format!("{side}/num_heads"))?;
        let mut layers = 0;
        while weights.has(&format!("{side}/layer_{layers}/ffn/linear_0/weight")) {
            layers += 1;
        }
        if layers == 0 {
            return Err(ModelError::weights(format!("the {side} has no layers")));
        }
        Ok(Self {
            context,
            state,
            heads,
            layers,
        })
    }
}

/// The sizes of a variable that must have that many of them.
fn dims<const N: usize, R: Read + Seek>(weights: &Weights<R>, name: &str) -> Result<[i32; N], ModelError> {
    let dims = weights.get(name)?.dims;
    let signed: Vec<i32> = dims.iter().filter_map(|d| i32::try_from(*d).ok()).collect();
    signed
        .try_into()
        .map_err(|_| ModelError::weights(format!("{name:?} has the sizes {dims:?}, not {N} of them")))
}

/// Magic, sizes, filters, tokens.
fn head(out: &mut impl Write, sizes: &Sizes, tokens: &[Vec<u8>]) -> io::Result<()> {
    out.write_all(&MAGIC.to_le_bytes())?;
    let Sizes {
        vocabulary,
        audio,
        text,
        bands,
    } = sizes;
    // The last number says that the matrices are 16-bit.
    let numbers = [
        *vocabulary,
        audio.context,
        audio.state,
        audio.heads,
        audio.layers,
        text.context,
        text.state,
        text.heads,
        text.layers,
        *bands,
        1,
        count(mel::BANDS)?,
        count(mel::BINS)?,
    ];
    for number in numbers {
        out.write_all(&number.to_le_bytes())?;
    }
    for weight in mel::filters() {
        out.write_all(&weight.to_le_bytes())?;
    }
    out.write_all(&count(tokens.len())?.to_le_bytes())?;
    for token in tokens {
        out.write_all(&count(token.len())?.to_le_bytes())?;
        out.write_all(token)?;
    }
    Ok(())
}

fn count(number: usize) -> io::Result<i32> {
    i32::try_from(number).map_err(io::Error::other)
}

/// All tensors in the order of the official file.
fn tensors(sizes: &Sizes) -> Vec<Tensor> {
    let mut list = List::default();
    list.one(
        "decoder.positional_embedding",
        "decoder/position_encodings/encodings",
        WHOLE,
    );
    list.one(
        "encoder.positional_embedding",
        "encoder/position_encodings/encodings",
        WHOLE,
    );
    list.one("decoder.token_embedding.weight", "decoder/embeddings/weight", WHOLE);
    for layer in 0..sizes.text.layers {
        list.block("decoder", layer, true);
    }
    list.norm("decoder.ln", "decoder/layer_norm");
    list.linear("encoder.conv1", "encoder/conv1", WHOLE);
    list.linear("encoder.conv2", "encoder/conv2", WHOLE);
    for layer in 0..sizes.audio.layers {
        list.block("encoder", layer, false);
    }
    list.norm("encoder.ln_post", "encoder/layer_norm");
    list.0
}

#[derive(Default)]
struct List(Vec<Tensor>);

impl List {
    fn one(&mut self, name: &str, from: &str, share: Share) {
        self.0.push(Tensor {
            name: name.to_owned(),
            from: from.to_owned(),
            share,
        });
    }

    fn norm(&mut self, name: &str, from: &str) {
        self.one(&format!("{name}.weight"), &format!("{from}/gamma"), WHOLE);
        self.one(&format!("{name}.bias"), &format!("{from}/beta"), WHOLE);
    }

    fn linear(&mut self, name: &str, from: &str, share: Share) {
        self.one(&format!("{name}.weight"), &format!("{from}/weight"), share);
        self.one(&format!("{name}.bias"), &format!("{from}/bias"), share);
    }

    /// A key's matrix has no bias of its own in the model; the packages keep zeros in its place.
    fn key(&mut self, name: &str, from: &str, share: Share) {
        self.one(&format!("{name}.weight"), &format!("{from}/weight"), share);
    }

    fn block(&mut self, side: &str, layer: i32, crosses: bool) {
        let to = format!("{side}.blocks.{layer}");
        let from = format!("{side}/layer_{layer}");
        self.norm(&format!("{to}.mlp_ln"), &format!("{from}/ffn/layer_norm"));
        self.linear(&format!("{to}.mlp.0"), &format!("{from}/ffn/linear_0"), WHOLE);
        self.linear(&format!("{to}.mlp.2"), &format!("{from}/ffn/linear_1"), WHOLE);

        let own = format!("{from}/self_attention");
        let third = |index| Share { index, of: 3 };
        self.norm(&format!("{to}.attn_ln"), &format!("{own}/layer_norm"));
        self.linear(&format!("{to}.attn.query"), &format!("{own}/linear_0"), third(0));
        self.key(&format!("{to}.attn.key"), &format!("{own}/linear_0"), third(1));
        self.linear(&format!("{to}.attn.value"), &format!("{own}/linear_0"), third(2));
        self.linear(&format!("{to}.attn.out"), &format!("{own}/linear_1"), WHOLE);

        if crosses {
            let cross = format!("{from}/attention");
            let half = |index| Share { index, of: 2 };
            self.norm(&format!("{to}.cross_attn_ln"), &format!("{cross}/layer_norm"));
            self.linear(&format!("{to}.cross_attn.query"), &format!("{cross}/linear_0"), WHOLE);
            self.key(&format!("{to}.cross_attn.key"), &format!("{cross}/linear_1"), half(0));
            self.linear(&format!("{to}.cross_attn.value"), &format!("{cross}/linear_1"), half(1));
            self.linear(&format!("{to}.cross_attn.out"), &format!("{cross}/linear_2"), WHOLE);
        }
    }
}

/// How a tensor is written, and its sizes on disk, innermost first.
fn layout(tensor: &Tensor, dims: &[u32]) -> (Form, Vec<u32>) {
    let mut sizes: Vec<u32> = dims.iter().rev().copied().collect();
    // The biases of the convolutions are columns, so that they can be added to rows of time.
    let column = tensor.name.starts_with("encoder.conv") && sizes.len() == 1;
    let narrow = sizes.len() == 1 || tensor.name.ends_with("positional_embedding");
    if column {
        sizes.insert(0, 1);
    }
    (if narrow { Form::F32 } else { Form::F16 }, sizes)
}

/// The rows of a variable that a tensor takes.
fn share(tensor: &Tensor, variable: &Variable) -> Result<Variable, ModelError> {
    let Tensor { from, share, .. } = tensor;
    if variable.number != Number::F16 || !(1..=3).contains(&variable.dims.len()) {
        return Err(ModelError::weights(format!(
            "{from:?} is not a table of 16-bit floating point numbers"
        )));
    }
    let rows = variable.dims[0];
    if !rows.is_multiple_of(share.of) {
        return Err(ModelError::weights(format!(
            "{from:?} has {rows} rows, which do not split into {}",
            share.of
        )));
    }
    let bytes = variable.bytes / u64::from(share.of);
    let mut taken = variable.clone();
    taken.dims[0] = rows / share.of;
    taken.bytes = bytes;
    taken.offset += bytes * u64::from(share.index);
    Ok(taken)
}

fn write_tensor<R: Read + Seek>(
    weights: &mut Weights<R>,
    tensor: &Tensor,
    out: &mut impl Write,
    failed: &dyn Fn(io::Error) -> ModelError,
) -> Result<(), ModelError> {
    let variable = share(tensor, &weights.get(&tensor.from)?)?;
    let (form, sizes) = layout(tensor, &variable.dims);
    let mut label = || {
        out.write_all(&count(sizes.len())?.to_le_bytes())?;
        out.write_all(&count(tensor.name.len())?.to_le_bytes())?;
        out.write_all(&i32::from(form == Form::F16).to_le_bytes())?;
        for size in &sizes {
            out.write_all(&size.to_le_bytes())?;
        }
        out.write_all(tensor.name.as_bytes())
    };
    label().map_err(failed)?;

    let mut piece = vec![0_u8; PIECE];
    let mut wide = Vec::new();
    let (mut offset, mut left) = (variable.offset, variable.bytes);
    while left > 0 {
        let now = usize::try_from(left).unwrap_or(PIECE).min(PIECE);
        let piece = &mut piece[..now];
        weights
            .read(offset, piece)
            .map_err(|e| ModelError::weights(format!("{:?} could not be read ({e})", tensor.from)))?;
        match form {
            Form::F16 => out.write_all(piece).map_err(failed)?,
            Form::F32 => {
                wide.clear();
                for half in piece.chunks_exact(2) {
                    wide.extend(f16::from_le_bytes([half[0], half[1]]).to_f32().to_le_bytes());
                }
                out.write_all(&wide).map_err(failed)?;
            }
        }
        offset += now as u64;
        left -= now as u64;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;
    use std::io::Cursor;

    use super::super::invented;
    use super::*;

    /// A reader of the `ggml` form, written apart from the writer.
    struct Reader<'a>(&'a [u8]);

    impl<'a> Reader<'a> {
        fn take(&mut self, count: usize) -> &'a [u8] {
            let (taken, rest) = self.0.split_at(count);
            self.0 = rest;
            taken
        }

        fn number(&mut self) -> usize {
            i32::from_le_bytes(self.take(4).try_into().unwrap()).try_into().unwrap()
        }
    }

    fn rebuilt(variables: &[invented::Variable]) -> Result<Vec<u8>, ModelError> {
        let mut weights = Weights::open(Cursor::new(invented::file(variables)))?;
        let mut out = Vec::new();
        let tokens = [b"a".to_vec(), b"".to_vec(), b" b".to_vec()];
        write(&mut weights, &tokens, &mut out, &mut |_, _| Ok(()), &|e| panic!("{e}"))?;
        Ok(out)
    }

    #[test]
    fn an_invented_model_comes_out_whole() {
        let variables = invented::variables();
        let source: BTreeMap<&str, &[u8]> = variables
            .iter()
            .map(|(name, _, _, bytes)| (name.as_str(), bytes.as_slice()))
            .collect();
        let bytes = rebuilt(&variables).unwrap();
        let mut reader = Reader(&bytes);
        assert_eq!(reader.take(4), b"lmgg");
        let head: Vec<usize> = (0..11).map(|_| reader.number()).collect();
        assert_eq!(head, [7, 6, 4, 2, 1, 5, 4, 2, 2, 3, 1]);
        assert_eq!((reader.number(), reader.number()), (80, 201));
        reader.take(80 * 201 * 4);
        assert_eq!(reader.number(), 3);
        for token in [&b"a"[..], b"", b" b"] {
            let length = reader.number();
            assert_eq!(reader.take(length), token);
        }

        let mut tensors = BTreeMap::new();
        let mut order = Vec::new();
        while !reader.0.is_empty() {
            let (rank, length, half) = (reader.number(), reader.number(), reader.number() == 1);
            let dims: Vec<usize> = (0..rank).map(|_| reader.number()).collect();
            let name = std::str::from_utf8(reader.take(length)).unwrap();
            let data = reader.take(dims.iter().product::<usize>() * if half { 2 } else { 4 });
            order.push(name);
            assert!(tensors.insert(name, (dims, half, data)).is_none(), "{name} twice");
        }
        // 3 at the head, 24 a decoder layer, 15 an encoder layer, 2 norms, 2 convolutions.
        assert_eq!(tensors.len(), 3 + 2 * 24 + 15 + 4 + 4);
        assert_eq!(
            &order[..4],
            [
                "decoder.positional_embedding",
                "encoder.positional_embedding",
                "decoder.token_embedding.weight",
                "decoder.blocks.0.mlp_ln.weight"
            ]
        );

        assert_eq!(
            tensors["decoder.token_embedding.weight"].2,
            source["decoder/embeddings/weight"]
        );
        assert_eq!(tensors["encoder.conv1.weight"].0, [3, 3, 4]);
        assert_eq!(tensors["encoder.conv1.bias"].0, [1, 4]);
        assert!(!tensors["encoder.conv1.bias"].1, "biases are 32-bit");
        let joined = |parts: &[&str]| {
            parts
                .iter()
                .flat_map(|part| tensors[part].2)
                .copied()
                .collect::<Vec<u8>>()
        };
        assert_eq!(
            joined(&[
                "decoder.blocks.1.attn.query.weight",
                "decoder.blocks.1.attn.key.weight",
                "decoder.blocks.1.attn.value.weight"
            ]),
            source["decoder/layer_1/self_attention/linear_0/weight"]
        );
        assert_eq!(
            joined(&[
                "decoder.blocks.0.cross_attn.key.weight",
                "decoder.blocks.0.cross_attn.value.weight"
            ]),
            source["decoder/layer_0/attention/linear_1/weight"]
        );
        assert!(!tensors.contains_key("decoder.blocks.0.attn.key.bias"));
        let bias = source["encoder/layer_0/self_attention/linear_0/bias"];
        let wide: Vec<u8> = bias[16..]
            .chunks(2)
            .flat_map(|b| f16::from_le_bytes([b[0], b[1]]).to_f32().to_le_bytes())
            .collect();
        assert_eq!(tensors["encoder.blocks.0.attn.value.bias"].2, wide);
    }

    #[test]
    fn a_missing_or_unfit_variable_is_named() {
        let variables = invented::variables();
        for (at, (name, ..)) in variables.iter().enumerate() {
            // Nothing reads the cross attention's norm of the encoder, which has none.
            if name.starts_with("encoder/layer_0/attention") {
                continue;
            }
            let mut fewer = variables.clone();
            fewer.remove(at);
            // Without its first part a layer is not there at all.
            let failure = rebuilt(&fewer).err().map(|e| e.to_string());
            if name == "decoder/layer_1/ffn/linear_0/weight" {
                assert!(failure.is_none());
            } else {
                let failure = failure.unwrap_or_else(|| panic!("{name} is not missed"));
                assert!(
                    failure.contains(name.as_str()) || failure.contains("no layers"),
                    "{name}: {failure}"
                );
            }
        }
        let mut wide = variables;
        let place = wide.iter().position(|v| v.0 == "encoder/conv1/bias").unwrap();
        wide[place].2 = 0;
        wide[place].1 = vec![2];
        assert!(rebuilt(&wide).unwrap_err().to_string().contains("encoder/conv1/bias"));
    }

    #[test]
    fn it_stops_when_told_to() {
        let mut weights = Weights::open(Cursor::new(invented::file(&invented::variables()))).unwrap();
        let mut steps = 0;
        let mut step = |done, _| {
            steps += 1;
            if done == 5 { Err(ModelError::Cancelled) } else { Ok(()) }
        };
        let stopped = write(&mut weights, &[], &mut io::sink(), &mut step, &|e| panic!("{e}"));
        assert!(matches!(stopped, Err(ModelError::Cancelled)));
        assert_eq!(steps, 6);
    }

    #[test]
    fn sixteen_bit_numbers_widen_exactly() {
        // IEEE 754-2008, binary16: known values.
        for (half, value) in [
            (0x0000, 0.0),
            (0x3C00, 1.0),
            (0xC000, -2.0),
            (0x7BFF, 65504.0),
            (0x0400, 6.103_515_6e-5),
            (0x0001, 5.960_464_5e-8),
            (0x03FF, 6.097_555e-5),
            (0x3555, 0.333_251_95),
            (0x7C00, f32::INFINITY),
        ] {
            assert_eq!(
                f16::from_bits(half).to_f32().to_bits(),
                f32::to_bits(value),
                "{half:#06x}"
            );
        }
        assert_eq!(f16::from_bits(0x8000).to_f32().to_bits(), 0x8000_0000, "-0.0");
        assert!(f16::from_bits(0x7E01).to_f32().is_nan());
        let finite: Vec<f32> = (0..0x7C00).map(|bits| f16::from_bits(bits).to_f32()).collect();
        assert!(finite.is_sorted_by(|a, b| a < b));
    }
}
