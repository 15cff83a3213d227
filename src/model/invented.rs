//! A tiny invented model in the packages' form, for the tests of this room.

/// One variable: name, sizes, kind of number, bytes.
pub(super) type Variable = (String, Vec<u32>, u8, Vec<u8>);

const F16: u8 = 4;
const I16: u8 = 2;

/// Sizes: 7 tokens, audio 6 x 4 with 2 heads and 1 layer, text 5 x 4 with 2 heads and 2 layers, 3 bands. The numbers of each
/// table count up from its own start, so that a mixed-up row or table shows.
pub(super) fn variables() -> Vec<Variable> {
    let mut list = Vec::new();
    let mut start = 0_u16;
    let mut table = |name: String, dims: &[u32]| {
        let count = dims.iter().product::<u32>() as u16;
        // Bit patterns of small normal numbers; every one is finite.
        let bytes = (0..count)
            .flat_map(|i| (0x3000 + (start + i) % 0x1000).to_le_bytes())
            .collect();
        start += 41;
        list.push((name, dims.to_vec(), F16, bytes));
    };
    table("decoder/embeddings/weight".into(), &[7, 4]);
    for (side, context, layers) in [("encoder", 6, 1), ("decoder", 5, 2)] {
        table(format!("{side}/position_encodings/encodings"), &[context, 4]);
        table(format!("{side}/layer_norm/gamma"), &[4]);
        table(format!("{side}/layer_norm/beta"), &[4]);
        for layer in 0..layers {
            let block = format!("{side}/layer_{layer}");
            let mut linear = |name: &str, rows: u32, columns: u32| {
                table(format!("{block}/{name}/weight"), &[rows, columns]);
                table(format!("{block}/{name}/bias"), &[rows]);
            };
            linear("ffn/linear_0", 16, 4);
            linear("ffn/linear_1", 4, 16);
            linear("self_attention/linear_0", 12, 4);
            linear("self_attention/linear_1", 4, 4);
            if side == "decoder" {
                linear("attention/linear_0", 4, 4);
                linear("attention/linear_1", 8, 4);
                linear("attention/linear_2", 4, 4);
            }
            for norm in ["ffn", "self_attention", "attention"] {
                table(format!("{block}/{norm}/layer_norm/gamma"), &[4]);
                table(format!("{block}/{norm}/layer_norm/beta"), &[4]);
            }
        }
    }
    table("encoder/conv1/weight".into(), &[4, 3, 3]);
    table("encoder/conv1/bias".into(), &[4]);
    table("encoder/conv2/weight".into(), &[4, 4, 3]);
    table("encoder/conv2/bias".into(), &[4]);
    for side in ["encoder", "decoder"] {
        list.push((
            format!("{side}/num_heads"),
            Vec::new(),
            I16,
            2_u16.to_le_bytes().to_vec(),
        ));
    }
    list.sort();
    list
}

/// The whole file of those variables, with one alias at its end.
pub(super) fn file(variables: &[Variable]) -> Vec<u8> {
    file_of(6, "WhisperSpec", 3, variables)
}

/// A file with another head.
pub(super) fn file_of(form: u32, kind: &str, revision: u32, variables: &[Variable]) -> Vec<u8> {
    let mut out = form.to_le_bytes().to_vec();
    text(&mut out, kind);
    out.extend(revision.to_le_bytes());
    out.extend((variables.len() as u32).to_le_bytes());
    for (name, dims, kind, bytes) in variables {
        text(&mut out, name);
        out.push(dims.len() as u8);
        for dim in dims {
            out.extend(dim.to_le_bytes());
        }
        out.push(*kind);
        out.extend((bytes.len() as u32).to_le_bytes());
        out.extend(bytes);
    }
    out.extend(1_u32.to_le_bytes());
    text(&mut out, "decoder/projection/weight");
    text(&mut out, "decoder/embeddings/weight");
    out
}

fn text(out: &mut Vec<u8>, text: &str) {
    out.extend((text.len() as u16 + 1).to_le_bytes());
    out.extend(text.as_bytes());
    out.push(0);
}
