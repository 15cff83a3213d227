//! The model's network: sound to encoder frames once a clip, then many texts weighed in one run of the decoder.
//!
//! The published library runs one text at a time, and its threads wait for each other in a loop. Here the texts of a
//! search form a tree that shares what was already computed, every run extends many of its branches together, and
//! threads that wait sleep. The library stays the reference: `tests/reference.rs` compares the likelihoods.

use super::kernel::{Number, Rows, products};
use super::spectrum::Spectrum;
use super::weights::{Sizes, Weights};
use half::f16;
use rayon::prelude::*;
use std::io;
use std::sync::atomic::{AtomicBool, Ordering};

/// Rows computed by one thread in one go.
const BLOCK: usize = 16;
/// Tokens of the vocabulary weighed by one thread in one go.
const SHELF: usize = 1024;

/// A linear layer.
struct Linear {
    weights: Vec<f16>,
    bias: Vec<f32>,
    inputs: usize,
    outputs: usize,
}

impl Linear {
    fn take(from: &mut Weights, name: &str, inputs: usize, outputs: usize) -> io::Result<Self> {
        Ok(Self {
            bias: from.full(&format!("{name}.bias"), outputs)?,
            ..Self::without_bias(from, name, inputs, outputs)?
        })
    }

    /// The keys' layer has no bias.
    fn without_bias(from: &mut Weights, name: &str, inputs: usize, outputs: usize) -> io::Result<Self> {
        Ok(Self {
            weights: from.half(&format!("{name}.weight"), inputs * outputs)?,
            bias: vec![0.0; outputs],
            inputs,
            outputs,
        })
    }

    fn of(&self, x: &[f32]) -> Vec<f32> {
        let rows = x.len() / self.inputs;
        let mut out = vec![0.0; rows * self.outputs];
        if rows >= BLOCK {
            out.par_chunks_mut(BLOCK * self.outputs)
                .zip(x.par_chunks(BLOCK * self.inputs))
                .for_each(|(out, x)| {
                    let w = Rows::packed(&self.weights, self.inputs);
                    products(Rows::packed(x, self.inputs), w, self.inputs, out, self.outputs);
                    for row in out.chunks_exact_mut(self.outputs) {
                        add(row, &self.bias);
                    }
                });
            return out;
        }
        // Few rows: the layer's outputs are shared out instead.
        let portion = 128;
        let parts: Vec<Vec<f32>> = self
            .weights
            .par_chunks(portion * self.inputs)
            .map(|w| {
                let w = Rows::packed(w, self.inputs);
                let mut part = vec![0.0; rows * w.count];
                products(Rows::packed(x, self.inputs), w, self.inputs, &mut part, w.count);
                part
            })
            .collect();
        for (n, part) in parts.iter().enumerate() {
            let wide = part.len() / rows.max(1);
            for (row, values) in out.chunks_exact_mut(self.outputs).zip(part.chunks_exact(wide)) {
                let place = n * portion..n * portion + wide;
                row[place.clone()].copy_from_slice(values);
                add(&mut row[place.clone()], &self.bias[place]);
            }
        }
        out
    }
}

fn add(row: &mut [f32], other: &[f32]) {
    for (a, b) in row.iter_mut().zip(other) {
        *a += b;
    }
}

/// Layer normalisation.
struct Norm {
    gain: Vec<f32>,
    shift: Vec<f32>,
}

impl Norm {
    fn take(from: &mut Weights, name: &str, width: usize) -> io::Result<Self> {
        Ok(Self {
            gain: from.full(&format!("{name}.weight"), width)?,
            shift: from.full(&format!("{name}.bias"), width)?,
        })
    }

    fn of(&self, x: &[f32]) -> Vec<f32> {
        let width = self.gain.len();
        let mut out = x.to_vec();
        for row in out.chunks_exact_mut(width) {
            let mean = row.iter().sum::<f32>() / width as f32;
            let spread = row.iter().map(|v| (v - mean) * (v - mean)).sum::<f32>() / width as f32;
            let scale = 1.0 / (spread + 1e-5).sqrt();
            for ((v, g), s) in row.iter_mut().zip(&self.gain).zip(&self.shift) {
                *v = (*v - mean) * scale * g + s;
            }
        }
        out
    }
}

/// The activation of the model, in the form that its library uses.
fn gelu(x: &mut [f32]) {
    x.par_chunks_mut(4096).for_each(|x| {
        for v in x {
            let inner = 0.797_884_6 * *v * (1.0 + 0.044_715 * *v * *v);
            // tanh by one exponential.
            let tanh = 1.0 - 2.0 / ((2.0 * inner).exp() + 1.0);
            *v = 0.5 * *v * (1.0 + tanh);
        }
    });
}

fn softmax(row: &mut [f32]) {
    let top = row.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    let mut sum = 0.0;
    for v in row.iter_mut() {
        *v = (*v - top).exp();
        sum += *v;
    }
    for v in row {
        *v /= sum;
    }
}

struct Attention {
    query: Linear,
    key: Linear,
    value: Linear,
    out: Linear,
}

impl Attention {
    fn take(from: &mut Weights, name: &str, width: usize) -> io::Result<Self> {
        Ok(Self {
            query: Linear::take(from, &format!("{name}.query"), width, width)?,
            key: Linear::without_bias(from, &format!("{name}.key"), width, width)?,
            value: Linear::take(from, &format!("{name}.value"), width, width)?,
            out: Linear::take(from, &format!("{name}.out"), width, width)?,
        })
    }
}

struct Layer {
    own_norm: Norm,
    own: Attention,
    cross: Option<(Norm, Attention)>,
    mlp_norm: Norm,
    mlp: [Linear; 2],
}

impl Layer {
    fn take(from: &mut Weights, name: &str, width: usize, crosses: bool) -> io::Result<Self> {
        let cross = if crosses {
            Some((
                Norm::take(from, &format!("{name}.cross_attn_ln"), width)?,
                Attention::take(from, &format!("{name}.cross_attn"), width)?,
            ))
        } else {
            None
        };
        Ok(Self {
            own_norm: Norm::take(from, &format!("{name}.attn_ln"), width)?,
            own: Attention::take(from, &format!("{name}.attn"), width)?,
            cross,
            mlp_norm: Norm::take(from, &format!("{name}.mlp_ln"), width)?,
            mlp: [
                Linear::take(from, &format!("{name}.mlp.0"), width, 4 * width)?,
                Linear::take(from, &format!("{name}.mlp.2"), 4 * width, width)?,
            ],
        })
    }

    fn perceptron(&self, x: &mut [f32]) {
        let mut inner = self.mlp[0].of(&self.mlp_norm.of(x));
        gelu(&mut inner);
        add(x, &self.mlp[1].of(&inner));
    }
}

/// Keys and values of a sound, head by head where rows are short.
struct Heard {
    /// `frames` rows.
    keys: Vec<f32>,
    /// One row of frames for each dimension.
    values: Vec<f32>,
}

impl Heard {
    fn new(attention: &Attention, x: &[f32]) -> Self {
        let values = attention.value.of(x);
        let width = attention.value.outputs;
        let frames = values.len() / width;
        let mut turned = vec![0.0; values.len()];
        turned.par_chunks_mut(frames).enumerate().for_each(|(d, row)| {
            for (t, v) in row.iter_mut().enumerate() {
                *v = values[t * width + d];
            }
        });
        Self {
            keys: attention.key.of(x),
            values: turned,
        }
    }

    /// What `queries` (rows of the model's width) read from the sound, and where the heads `shown` look, added up.
    fn read(&self, queries: &[f32], width: usize, heads: usize, shown: &[usize]) -> (Vec<f32>, Vec<f32>) {
        let deep = width / heads;
        let frames = self.values.len() / width;
        let scale = 1.0 / (deep as f32).sqrt();
        let rows = queries.len() / width;
        let mut out = vec![0.0; queries.len()];
        let mut looks = vec![0.0; rows * frames];
        let block = BLOCK.min(rows.div_ceil(rayon::current_num_threads()).max(1));
        let read = |queries: &[f32], out: &mut [f32], looks: &mut [f32]| {
            let count = queries.len() / width;
            let mut weights = vec![0.0; count * frames];
            let mut part = vec![0.0; count * deep];
            for head in 0..heads {
                let x = Rows {
                    values: &queries[head * deep..],
                    stride: width,
                    count,
                };
                let keys = Rows {
                    values: &self.keys[head * deep..],
                    stride: width,
                    count: frames,
                };
                products(x, keys, deep, &mut weights, frames);
                for row in weights.chunks_exact_mut(frames) {
                    for v in row.iter_mut() {
                        *v *= scale;
                    }
                    softmax(row);
                }
                if shown.contains(&head) {
                    add(looks, &weights);
                }
                let values = Rows {
                    values: &self.values[head * deep * frames..],
                    stride: frames,
                    count: deep,
                };
                products(Rows::packed(&weights, frames), values, frames, &mut part, deep);
                for (row, values) in out.chunks_exact_mut(width).zip(part.chunks_exact(deep)) {
                    row[head * deep..(head + 1) * deep].copy_from_slice(values);
                }
            }
        };
        out.par_chunks_mut(block * width)
            .zip(queries.par_chunks(block * width))
            .zip(looks.par_chunks_mut(block * frames))
            .for_each(|((out, queries), looks)| read(queries, out, looks));
        (out, looks)
    }
}

/// The network.
pub struct Network {
    sizes: Sizes,
    spectrum: Spectrum,
    convolutions: [Linear; 2],
    audio_places: Vec<f32>,
    audio: Vec<Layer>,
    audio_norm: Norm,
    tokens: Vec<f16>,
    text_places: Vec<f32>,
    text: Vec<Layer>,
    text_norm: Norm,
    /// Layer and head of the decoder that follow the sound in time, as published with the model.
    timing: Vec<(usize, usize)>,
}

/// A clip encoded.
pub struct Sound {
    layers: Vec<Heard>,
    /// Frames of 20 ms.
    pub frames: usize,
}

/// The texts weighed so far: a tree of tokens.
pub struct Tree {
    nodes: Vec<Node>,
}

struct Node {
    /// From the first token to this one.
    line: Vec<usize>,
    /// For each layer its key and its value.
    memory: Vec<f32>,
}

/// What follows a text.
pub struct Weighed {
    /// Natural log-probabilities of the tokens that were asked for.
    pub wanted: Vec<f32>,
    /// The likeliest token of all.
    pub best: (i32, f32),
    /// Where in the sound the text's last token was read: one weight a frame.
    pub looks: Vec<f32>,
}

/// A text to weigh: a token after a node of the tree.
pub struct Next<'a> {
    /// The node before; `None` at the beginning. It may stand in the same run, before this one.
    pub after: Option<usize>,
    /// The token.
    pub token: i32,
    /// Added to the logits of all tokens that may follow: negative infinity for those that may never come.
    pub mask: &'a [f32],
}

impl Network {
    /// From a file's weights.
    pub fn new(from: &mut Weights) -> io::Result<Self> {
        let sizes = from.sizes;
        let width = sizes.state;
        let spectrum = Spectrum::new(&from.filters, from.bins);
        let mut convolution =
            |n: usize, inputs: usize| Linear::take(from, &format!("encoder.conv{n}"), 3 * inputs, width);
        let convolutions = [convolution(1, sizes.bands)?, convolution(2, width)?];
        let layers = |from: &mut Weights, side: &str, count: usize, crosses: bool| {
            (0..count)
                .map(|n| Layer::take(from, &format!("{side}.blocks.{n}"), width, crosses))
                .collect::<io::Result<Vec<_>>>()
        };
        let timing = match (sizes.text_layers, sizes.vocabulary) {
            (6, 51865) => vec![(3, 1), (4, 2), (4, 3), (4, 7), (5, 1), (5, 2), (5, 4), (5, 6)],
            (4, 51864) => vec![(1, 0), (2, 0), (2, 5), (3, 0), (3, 1), (3, 2), (3, 3), (3, 4)],
            // Others: the upper half of the layers, all heads, is the published rule without a list.
            (n, _) => (n / 2..n).flat_map(|l| (0..sizes.heads).map(move |h| (l, h))).collect(),
        };
        Ok(Self {
            sizes,
            spectrum,
            convolutions,
            audio_places: from.full("encoder.positional_embedding", sizes.frames * width)?,
            audio: layers(from, "encoder", sizes.audio_layers, false)?,
            audio_norm: Norm::take(from, "encoder.ln_post", width)?,
            tokens: from.half("decoder.token_embedding.weight", sizes.vocabulary * width)?,
            text_places: from.full("decoder.positional_embedding", sizes.text * width)?,
            text: layers(from, "decoder", sizes.text_layers, true)?,
            text_norm: Norm::take(from, "decoder.ln", width)?,
            timing,
        })
    }

    /// Encode 16 kHz samples into `frames` frames of 20 ms. `None` when cancelled.
    pub fn encode(&self, samples: &[f32], frames: usize, cancel: &AtomicBool) -> Option<Sound> {
        let width = self.sizes.state;
        let frames = frames.min(self.sizes.frames);
        let bands = self.spectrum.of(samples, 2 * frames);
        let mut x = convolve(&self.convolutions[0], &bands, self.spectrum.bands(), 1);
        x = convolve(&self.convolutions[1], &x, width, 2);
        add(&mut x, &self.audio_places);
        for layer in &self.audio {
            if cancel.load(Ordering::Relaxed) {
                return None;
            }
            let normed = layer.own_norm.of(&x);
            let queries = layer.own.query.of(&normed);
            let (read, _) = Heard::new(&layer.own, &normed).read(&queries, width, self.sizes.heads, &[]);
            add(&mut x, &layer.own.out.of(&read));
            layer.perceptron(&mut x);
        }
        let x = self.audio_norm.of(&x);
        let layers = self
            .text
            .iter()
            .filter_map(|l| l.cross.as_ref())
            .map(|(_, attention)| Heard::new(attention, &x))
            .collect();
        Some(Sound { layers, frames })
    }

    /// Weigh what follows each of `texts`, which become nodes of the tree in this order. `wanted` are the tokens, sorted,
    /// whose weights are returned.
    pub fn weigh(&self, sound: &Sound, tree: &mut Tree, texts: &[Next], wanted: &[i32]) -> Vec<Weighed> {
        let width = self.sizes.state;
        let before = tree.nodes.len();
        let mut x = Vec::with_capacity(texts.len() * width);
        for text in texts {
            let mut line = text.after.map_or_else(Vec::new, |n| tree.nodes[n].line.clone());
            let place = line.len().min(self.sizes.text - 1);
            line.push(tree.nodes.len());
            let row = &self.tokens[text.token as usize * width..][..width];
            x.extend(row.iter().map(|v| v.wide()));
            let at = x.len() - width;
            add(&mut x[at..], &self.text_places[place * width..][..width]);
            tree.nodes.push(Node {
                line,
                memory: Vec::with_capacity(2 * width * self.text.len()),
            });
        }
        let mut looks = vec![0.0; texts.len() * sound.frames];
        for (n, layer) in self.text.iter().enumerate() {
            let normed = layer.own_norm.of(&x);
            let (queries, keys, values) = (
                layer.own.query.of(&normed),
                layer.own.key.of(&normed),
                layer.own.value.of(&normed),
            );
            for (row, node) in tree.nodes[before..].iter_mut().enumerate() {
                node.memory.extend_from_slice(&keys[row * width..][..width]);
                node.memory.extend_from_slice(&values[row * width..][..width]);
            }
            let read = tree.read(before, n, &queries, width, self.sizes.heads);
            add(&mut x, &layer.own.out.of(&read));
            if let (Some((norm, attention)), Some(heard)) = (&layer.cross, sound.layers.get(n)) {
                let queries = attention.query.of(&norm.of(&x));
                let shown: Vec<usize> = self.timing.iter().filter(|(l, _)| *l == n).map(|(_, h)| *h).collect();
                let (read, look) = heard.read(&queries, width, self.sizes.heads, &shown);
                add(&mut looks, &look);
                add(&mut x, &attention.out.of(&read));
            }
            layer.perceptron(&mut x);
        }
        let x = self.text_norm.of(&x);
        for v in &mut looks {
            *v /= self.timing.len() as f32;
        }
        self.distribution(&x, texts, wanted)
            .into_iter()
            .zip(looks.chunks_exact(sound.frames))
            .map(|((wanted, best), looks)| Weighed {
                wanted,
                best,
                looks: looks.to_vec(),
            })
            .collect()
    }

    /// Log-probabilities over the whole vocabulary, of which only those asked for are kept.
    fn distribution(&self, x: &[f32], texts: &[Next], wanted: &[i32]) -> Vec<(Vec<f32>, (i32, f32))> {
        let width = self.sizes.state;
        let rows = x.len() / width;
        let shelves: Vec<Vec<Shelf>> = self
            .tokens
            .par_chunks(SHELF * width)
            .enumerate()
            .map(|(n, shelf)| {
                let w = Rows::packed(shelf, width);
                let mut logits = vec![0.0; rows * w.count];
                products(Rows::packed(x, width), w, width, &mut logits, w.count);
                let first = n * SHELF;
                logits
                    .chunks_exact_mut(w.count)
                    .zip(texts)
                    .map(|(row, text)| {
                        add(row, &text.mask[first..]);
                        Shelf::new(row, first, wanted)
                    })
                    .collect()
            })
            .collect();
        (0..rows)
            .map(|row| {
                let parts = shelves.iter().map(|s| &s[row]);
                let best = parts
                    .clone()
                    .map(|s| s.best)
                    .fold((0, f32::NEG_INFINITY), |a, b| if b.1 > a.1 { b } else { a });
                let sum: f64 = parts
                    .clone()
                    .map(|s| f64::from(s.sum) * f64::from(s.best.1 - best.1).exp())
                    .sum();
                let norm = best.1 + sum.ln() as f32;
                let values = parts.flat_map(|s| s.wanted.iter().map(|v| v - norm)).collect();
                (values, (i32::try_from(best.0).unwrap_or(i32::MAX), best.1 - norm))
            })
            .collect()
    }
}

/// A part of the vocabulary weighed.
struct Shelf {
    best: (usize, f32),
    /// Of exponentials, relative to the best.
    sum: f32,
    wanted: Vec<f32>,
}

impl Shelf {
    fn new(logits: &[f32], first: usize, wanted: &[i32]) -> Self {
        let mut best = (first, f32::NEG_INFINITY);
        for (n, v) in logits.iter().enumerate() {
            if *v > best.1 {
                best = (first + n, *v);
            }
        }
        let sum = if best.1.is_finite() {
            logits.iter().map(|v| (v - best.1).exp()).sum()
        } else {
            0.0
        };
        let from = wanted.partition_point(|t| (*t as usize) < first);
        let to = wanted.partition_point(|t| (*t as usize) < first + logits.len());
        Self {
            best,
            sum,
            wanted: wanted[from..to].iter().map(|t| logits[*t as usize - first]).collect(),
        }
    }
}

impl Tree {
    /// Without a text.
    pub fn new() -> Self {
        Self { nodes: Vec::new() }
    }

    /// Number of nodes.
    pub fn len(&self) -> usize {
        self.nodes.len()
    }

    /// What the new nodes read from the tokens before them at one layer.
    fn read(&self, from: usize, layer: usize, queries: &[f32], width: usize, heads: usize) -> Vec<f32> {
        let deep = width / heads;
        let scale = 1.0 / (deep as f32).sqrt();
        let (key, value) = (2 * layer * width, (2 * layer + 1) * width);
        let mut out = vec![0.0; queries.len()];
        out.par_chunks_mut(width)
            .zip(queries.par_chunks(width))
            .zip(&self.nodes[from..])
            .for_each(|((out, query), node)| {
                let mut weights = vec![0.0; node.line.len()];
                for head in 0..heads {
                    let place = head * deep..(head + 1) * deep;
                    let query = &query[place.clone()];
                    for (w, n) in weights.iter_mut().zip(&node.line) {
                        let key = &self.nodes[*n].memory[key..][place.clone()];
                        *w = query.iter().zip(key).map(|(a, b)| a * b).sum::<f32>() * scale;
                    }
                    softmax(&mut weights);
                    let out = &mut out[place.clone()];
                    for (w, n) in weights.iter().zip(&node.line) {
                        let value = &self.nodes[*n].memory[value..][place.clone()];
                        for (o, v) in out.iter_mut().zip(value) {
                            *o += w * v;
                        }
                    }
                }
            });
        out
    }
}

/// A convolution over three neighbours in time, then the activation.
fn convolve(layer: &Linear, x: &[f32], inputs: usize, stride: usize) -> Vec<f32> {
    let frames = x.len() / inputs;
    let mut lines = vec![0.0; frames / stride * 3 * inputs];
    lines
        .par_chunks_exact_mut(3 * inputs)
        .enumerate()
        .for_each(|(t, line)| {
            for (tap, at) in (t * stride..).take(3).enumerate() {
                // One frame before, the frame itself, one after; silence of the network at the ends.
                if let Some(row) = at
                    .checked_sub(1)
                    .filter(|n| *n < frames)
                    .map(|n| &x[n * inputs..][..inputs])
                {
                    for (channel, v) in row.iter().enumerate() {
                        line[channel * 3 + tap] = *v;
                    }
                }
            }
        });
    let mut out = layer.of(&lines);
    gelu(&mut out);
    out
}
