//! The Whisper model: encode a clip once, then weigh many texts at a time.
//!
//! # Why the model runs in our own code
//!
//! whisper.cpp by way of whisper-rs weighs one text in a run, and has to repeat a text's beginning whenever the search changes to
//! another one; its threads wait in a loop, so that one busy neighbour makes a call ten times slower. `hear::whisper` reads the
//! same file and keeps the texts of a search as a tree: what they share is computed once, and several are weighed together
//! (`network.rs`; the products are in `kernel.rs`, weights 16 bit, sums 32 bit). It also gives the attention, which the library does
//! not. `tests/reference.rs` compares the weights of the next token with whisper-rs, for both models. The same library is the second listener
//! (`second.rs`, the feature `second-listener`, on by default): it writes a disputed call down without lattice or site, on a thread of its own
//! (`worker/second.rs`), for a person to read; no verdict asks it. Measured 2026-11-25 beside
//! each other in one run with a throw-away program, release build, 2 cores, 4.8 s clip, two threads: encoding 0.25 s here, 0.42 s there (context 320);
//! one text 12 ms here, 11 ms there; eight texts in one run 22 ms.

mod kernel;
mod network;
mod spectrum;
mod tokens;
mod weights;

use super::HearError;
use super::decoder::{Decoder, FRAMES, Odds, Token};
use crate::site::Language;
use network::{Network, Next, Sound, Tree};
use std::collections::HashMap;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use tokens::TokenTable;
use weights::Weights;

/// Samples a second.
const RATE: usize = 16_000;
/// What the encoding of a frame and each further text of a run cost, where a run with one text is 1. Measured with two threads on two
/// cores, base model (12 ms is 1): 256 frames 255 ms, 384 frames 283 ms; runs with 1, 4, 8 texts 13, 17 to 19, 20 ms.
const ENCODING: f32 = 0.07;
const TEXT: f32 = 0.1;

/// A loaded model.
pub struct Model {
    network: Network,
    table: TokenTable,
    /// 0 for tokens that may come, -infinity for those that may not.
    mask: Vec<f32>,
    /// The same for the first token of a text.
    first: Vec<f32>,
    /// Nothing forbidden: for the model's own guess whether anybody speaks.
    free: Vec<f32>,
    special: Special,
    threads: rayon::ThreadPool,
    /// The file's name.
    pub name: String,
}

/// Tokens that are no text, by the model's published order.
struct Special {
    end: Token,
    start: Token,
    /// The first language's token; none for a model of English alone.
    languages: Option<Token>,
    transcribe: Token,
    /// The model's word for sound without speech.
    no_speech: Token,
    no_times: Token,
}

impl Special {
    /// From the size of the vocabulary: a multilingual model has one text token more, and 99 languages or more.
    fn new(vocabulary: usize) -> Self {
        let size = Token::try_from(vocabulary).unwrap_or(Token::MAX);
        if size < 51_865 {
            return Self {
                end: 50_256,
                start: 50_257,
                languages: None,
                transcribe: 50_358,
                no_speech: 50_361,
                no_times: 50_362,
            };
        }
        let languages = size - 51_765 - 1;
        Self {
            end: 50_257,
            start: 50_258,
            languages: Some(50_259),
            transcribe: 50_260 + languages,
            no_speech: 50_263 + languages,
            no_times: 50_264 + languages,
        }
    }
}

impl Model {
    /// Load a `ggml` model file. It stays in memory as large as the file.
    pub fn load(path: &Path, threads: usize) -> Result<Self, HearError> {
        let broken = |why: String| HearError::Model {
            why,
            path: path.to_owned(),
        };
        if !path.is_file() {
            return Err(broken("there is no such file".to_owned()));
        }
        kernel::check().map_err(HearError::Kernel)?;
        let file = std::fs::File::open(path).map_err(|e| broken(e.to_string()))?;
        let mut reader = std::io::BufReader::with_capacity(1 << 20, file);
        let mut weights = Weights::read(&mut reader).map_err(|e| {
            broken(if e.kind() == std::io::ErrorKind::UnexpectedEof {
                "the file ends too early".to_owned()
            } else {
                e.to_string()
            })
        })?;
        let vocabulary = weights.sizes.vocabulary;
        let special = Special::new(vocabulary);
        let end = special.end as usize;
        let bytes = std::mem::take(&mut weights.tokens);
        if bytes.len() < end || vocabulary <= special.no_times as usize {
            return Err(broken("its vocabulary is too small".to_owned()));
        }
        let table = TokenTable::new(bytes.into_iter().take(end).collect());
        let mut mask = vec![0.0; vocabulary];
        for id in table.never() {
            mask[id as usize] = f32::NEG_INFINITY;
        }
        // All special tokens but the end of text.
        mask[end + 1..].fill(f32::NEG_INFINITY);
        let mut first = mask.clone();
        for id in table.without_letters() {
            first[id as usize] = f32::NEG_INFINITY;
        }
        first[end] = f32::NEG_INFINITY;
        let free = vec![0.0; vocabulary];
        let threads = rayon::ThreadPoolBuilder::new()
            .num_threads(threads.max(1))
            .thread_name(|n| format!("hearing-{n}"))
            .build()
            .map_err(|e| HearError::Run(e.to_string()))?;
        Ok(Self {
            network: Network::new(&mut weights).map_err(|e| broken(e.to_string()))?,
            table,
            mask,
            first,
            free,
            special,
            threads,
            name: path.file_name().unwrap_or_default().to_string_lossy().into_owned(),
        })
    }

    /// The tokens of a piece of text (with its leading space, if any).
    pub fn tokens(&self, text: &str) -> Vec<Token> {
        self.table.encode(text)
    }

    /// The text of tokens.
    pub fn text(&self, tokens: &[Token]) -> String {
        self.table.decode(tokens)
    }

    /// May this token stand in a text after its beginning?
    pub fn may_come(&self, token: Token) -> bool {
        self.mask.get(token as usize).is_some_and(|m| *m == 0.0)
    }

    /// Encode a clip (16 kHz mono) for a language and return the decoder over it.
    pub fn listen<'m>(
        &'m self,
        samples: &[f32],
        language: Language,
        cancel: &'m AtomicBool,
    ) -> Result<Listening<'m>, HearError> {
        // Too small a context makes the decoder loop; what is behind the clip is silence.
        let seconds = samples.len() as f32 / RATE as f32;
        let frames = (FRAMES * seconds).ceil() as usize + 64;
        let frames = frames.next_multiple_of(64).clamp(256, 1500);
        let encode = || self.network.encode(samples, frames, cancel);
        let sound = self.threads.install(encode).ok_or(HearError::Cancelled)?;
        let mut start = vec![self.special.start];
        if let Some(first) = self.special.languages {
            start.push(first + Token::from(language.model_place()));
            start.push(self.special.transcribe);
        } else if language != Language::ENGLISH {
            return Err(HearError::Run(format!(
                "the model {} knows English alone; the site's language is {language:?}, which the model base knows",
                self.name
            )));
        }
        start.push(self.special.no_times);
        Ok(Listening {
            model: self,
            sound,
            start,
            wanted: (0..).take(self.mask.len()).collect(),
            tree: Tree::new(),
            nodes: HashMap::new(),
            known: HashMap::new(),
            no_speech: 0.0,
            cancel,
            work: ENCODING * frames as f32,
        })
    }
}

/// The decoder over one encoded clip.
pub struct Listening<'m> {
    model: &'m Model,
    sound: Sound,
    start: Vec<Token>,
    wanted: Arc<[Token]>,
    tree: Tree,
    nodes: HashMap<Vec<Token>, usize>,
    known: HashMap<Vec<Token>, Arc<Odds>>,
    /// Probability of no speech, the model's own guess; 0 before the first run.
    pub no_speech: f32,
    cancel: &'m AtomicBool,
    work: f32,
}

impl Listening<'_> {
    /// From now on only the weights of these tokens will be asked for: those of all are much to keep.
    pub fn want(&mut self, tokens: &[Token]) {
        let special = &self.model.special;
        let mut wanted: Vec<Token> = tokens.to_vec();
        wanted.extend([special.end, special.no_speech]);
        wanted.sort_unstable();
        wanted.dedup();
        self.wanted = wanted.into();
    }
}

impl Decoder for Listening<'_> {
    fn weigh(&mut self, texts: &[Vec<Token>]) -> Result<(), HearError> {
        if self.cancel.load(Ordering::Relaxed) {
            return Err(HearError::Cancelled);
        }
        // Every text needs all its beginnings as nodes; most have them already.
        let mut new: Vec<Next> = Vec::new();
        let mut names: Vec<Vec<Token>> = Vec::new();
        let before = self.tree.len();
        let start = self.start.len();
        for text in texts {
            let whole = [self.start.as_slice(), text].concat();
            for length in 1..=whole.len() {
                let name = &whole[..length];
                if self.nodes.contains_key(name) {
                    continue;
                }
                self.nodes.insert(name.to_vec(), before + new.len());
                new.push(Next {
                    after: self.nodes.get(&whole[..length - 1]).copied(),
                    token: whole[length - 1],
                    mask: match length {
                        1 => &self.model.free,
                        _ if length > start => &self.model.mask,
                        _ => &self.model.first,
                    },
                });
                names.push(name.to_vec());
            }
        }
        if new.is_empty() {
            return Ok(());
        }
        let run = || {
            self.model
                .network
                .weigh(&self.sound, &mut self.tree, &new, &self.wanted)
        };
        let weighed = self.model.threads.install(run);
        self.work += 1.0 + TEXT * (new.len() - 1) as f32;
        for (name, weighed) in names.iter().zip(weighed) {
            if name.len() == 1 {
                let place = self.wanted.binary_search(&self.model.special.no_speech).ok();
                self.no_speech = place.and_then(|n| weighed.wanted.get(n)).map_or(0.0, |p| p.exp());
            }
            if name.len() >= start {
                let odds = Odds {
                    tokens: Arc::clone(&self.wanted),
                    weights: weighed.wanted,
                    best: weighed.best,
                    looks: weighed.looks,
                };
                self.known.insert(name[start..].to_vec(), Arc::new(odds));
            }
        }
        Ok(())
    }

    fn known(&self, text: &[Token]) -> Option<Arc<Odds>> {
        self.known.get(text).cloned()
    }

    fn work(&self) -> f32 {
        self.work
    }

    fn end(&self) -> Token {
        self.model.special.end
    }
}
