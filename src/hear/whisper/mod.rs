//! The Whisper model as a [`Recogniser`](super::Recogniser): encode a clip once, then ask for likelihoods step by step.

mod raw;
mod tokens;

use super::HearError;
use super::search::{Decoder, Token};
use raw::Engine;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use tokens::TokenTable;

/// Samples a second.
const RATE: usize = 16_000;

/// A loaded model.
pub struct Model {
    engine: Engine,
    table: TokenTable,
    /// 0 for tokens that may come, -infinity for those that may not.
    mask: Vec<f32>,
    first_mask: Vec<Token>,
    end: Token,
    /// The file's name.
    pub name: String,
    multilingual: bool,
}

impl Model {
    /// Load a `ggml` model file. Takes about a second and twice the file's size in memory for the base model.
    pub fn load(path: &Path) -> Result<Self, HearError> {
        let broken = |why: String| HearError::Model {
            why,
            path: path.to_owned(),
        };
        whisper_rs::install_logging_hooks();
        let text = path
            .to_str()
            .ok_or_else(|| broken("its path is not Unicode".to_owned()))?;
        if !path.is_file() {
            return Err(broken("there is no such file".to_owned()));
        }
        let engine = Engine::load(text).map_err(|e| broken(e.to_string()))?;
        let context = engine.context();
        let end = context.token_eot();
        let mut bytes = Vec::with_capacity(end as usize);
        for id in 0..end {
            bytes.push(context.token_to_bytes(id).map_err(|e| broken(e.to_string()))?.to_vec());
        }
        let multilingual = context.is_multilingual();
        let table = TokenTable::new(bytes);
        let mut mask = vec![0.0; engine.vocabulary()];
        for id in table.never() {
            mask[id as usize] = f32::NEG_INFINITY;
        }
        // All special tokens but the end of text.
        for m in &mut mask[end as usize + 1..] {
            *m = f32::NEG_INFINITY;
        }
        let mut first_mask = table.without_letters();
        first_mask.push(end);
        let name = path
            .file_name()
            .map_or_else(PathBuf::new, PathBuf::from)
            .display()
            .to_string();
        Ok(Self {
            engine,
            table,
            mask,
            first_mask,
            end,
            name,
            multilingual,
        })
    }

    /// Encode a clip (16 kHz mono) for a language and return the decoder over it. `None` when cancelled.
    pub fn listen<'m>(
        &'m mut self,
        samples: &[f32],
        language: &str,
        threads: usize,
        cancel: &'m AtomicBool,
    ) -> Result<Option<Listening<'m>>, HearError> {
        // Too small a context makes the decoder loop; the model pads its input itself.
        let seconds = samples.len() as f32 / RATE as f32;
        let frames = (50.0 * seconds).ceil() as i32 + 64;
        let audio_ctx = ((frames + 63) / 64 * 64).clamp(256, 1500);
        if !self
            .engine
            .encode(
                samples,
                audio_ctx,
                language,
                i32::try_from(threads).unwrap_or(1),
                cancel,
            )
            .map_err(|e| HearError::Run(e.to_string()))?
        {
            return Ok(None);
        }
        let context = self.engine.context();
        let mut start = vec![context.token_sot()];
        if self.multilingual {
            let id = whisper_rs::get_lang_id(language)
                .ok_or_else(|| HearError::Run(format!("the model does not know the language {language}")))?;
            start.push(context.token_lang(id));
            start.push(context.token_transcribe());
        }
        start.push(context.token_not());
        Ok(Some(Listening {
            model: self,
            start,
            seen: Vec::new(),
            known: HashMap::new(),
            threads,
            cancel,
            steps: 0,
        }))
    }
}

/// The decoder over one encoded clip.
pub struct Listening<'m> {
    model: &'m mut Model,
    start: Vec<Token>,
    /// What the model's cache holds now.
    seen: Vec<Token>,
    known: HashMap<Vec<Token>, Arc<[f32]>>,
    threads: usize,
    cancel: &'m AtomicBool,
    steps: usize,
}

impl Listening<'_> {
    /// The text of tokens.
    pub fn text(&self, tokens: &[Token]) -> String {
        self.model.table.decode(tokens)
    }
}

impl Decoder for Listening<'_> {
    fn next(&mut self, tokens: &[Token]) -> Result<Arc<[f32]>, HearError> {
        if let Some(known) = self.known.get(tokens) {
            return Ok(Arc::clone(known));
        }
        if self.cancel.load(std::sync::atomic::Ordering::Relaxed) {
            return Err(HearError::Cancelled);
        }
        let mut wanted = self.start.clone();
        wanted.extend_from_slice(tokens);
        let mut shared = self.seen.iter().zip(&wanted).take_while(|(a, b)| a == b).count();
        shared = shared.min(wanted.len() - 1);
        let logits = self
            .model
            .engine
            .decode(&wanted[shared..], shared, self.threads)
            .map_err(|e| HearError::Run(e.to_string()))?;
        self.steps += 1;
        let mut masked: Vec<f32> = logits.iter().zip(&self.model.mask).map(|(l, m)| l + m).collect();
        if tokens.is_empty() {
            for t in &self.model.first_mask {
                masked[*t as usize] = f32::NEG_INFINITY;
            }
        }
        let top = masked.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        let sum: f32 = masked.iter().map(|l| (l - top).exp()).sum();
        let norm = top + sum.ln();
        for l in &mut masked {
            *l -= norm;
        }
        self.seen = wanted;
        let logp: Arc<[f32]> = masked.into();
        self.known.insert(tokens.to_vec(), Arc::clone(&logp));
        Ok(logp)
    }

    fn steps(&self) -> usize {
        self.steps
    }

    fn end(&self) -> Token {
        self.model.end
    }

    fn tokens(&mut self, text: &str) -> Vec<Token> {
        self.model.table.encode(text)
    }
}
