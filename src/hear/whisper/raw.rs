//! The speech model's raw interface: the one file that may be unsafe, and all of it that is.
//!
//! Three things are not to be had through the safe binding: an abort callback (its safe setter uses a trampoline for the
//! wrong type), the state's address (to read the logits of a batch's last token, where the binding returns the first
//! row), and a list of masked tokens. Everything is handed over by plain pointers that live as long as the call.
#![allow(unsafe_code)]

use std::ffi::{c_int, c_void};
use std::ptr;
use std::sync::atomic::{AtomicBool, AtomicPtr, Ordering};
use whisper_rs::{FullParams, SamplingStrategy, WhisperContext, WhisperContextParameters, WhisperError, WhisperState};
use whisper_rs_sys as sys;

/// The model and one state: one clip at a time.
pub struct Engine {
    context: WhisperContext,
    state: WhisperState,
    /// The state's address, learnt from the first run's callback. It lives as long as `state`.
    address: *mut sys::whisper_state,
    vocabulary: usize,
}

// SAFETY: the address points into `state`, which is Send; it is only used through `&mut self`.
unsafe impl Send for Engine {}

unsafe extern "C" fn abort(cancel: *mut c_void) -> bool {
    // SAFETY: `cancel` is the `&AtomicBool` that `encode` holds for the length of the run.
    unsafe { (*cancel.cast::<AtomicBool>()).load(Ordering::Relaxed) }
}

unsafe extern "C" fn note_state(
    _context: *mut sys::whisper_context,
    state: *mut sys::whisper_state,
    _tokens: *const sys::whisper_token_data,
    _n: c_int,
    _logits: *mut f32,
    place: *mut c_void,
) {
    // SAFETY: `place` is the AtomicPtr that `encode` holds for the length of the run.
    unsafe { (*place.cast::<AtomicPtr<sys::whisper_state>>()).store(state, Ordering::Relaxed) }
}

impl Engine {
    /// Load a model file.
    pub fn load(path: &str) -> Result<Self, WhisperError> {
        let mut params = WhisperContextParameters::default();
        params.use_gpu(false).flash_attn(false);
        let context = WhisperContext::new_with_params(path, params)?;
        let state = context.create_state()?;
        let vocabulary = usize::try_from(context.n_vocab()).unwrap_or(0);
        Ok(Self {
            context,
            state,
            address: ptr::null_mut(),
            vocabulary,
        })
    }

    /// Number of tokens the model knows.
    pub fn vocabulary(&self) -> usize {
        self.vocabulary
    }

    /// The model and its constants.
    pub fn context(&self) -> &WhisperContext {
        &self.context
    }

    /// Encode 16 kHz mono samples with a context of `audio_ctx` frames (50 a second). Afterwards [`Self::decode`] runs
    /// against this sound. Returns false when cancelled.
    pub fn encode(
        &mut self,
        samples: &[f32],
        audio_ctx: i32,
        language: &str,
        threads: i32,
        cancel: &AtomicBool,
    ) -> Result<bool, WhisperError> {
        let place: AtomicPtr<sys::whisper_state> = AtomicPtr::new(ptr::null_mut());
        let mut p = FullParams::new(SamplingStrategy::Greedy { best_of: 1 });
        p.set_n_threads(threads);
        p.set_language(Some(language));
        p.set_audio_ctx(audio_ctx);
        p.set_no_timestamps(true);
        p.set_single_segment(true);
        p.set_no_context(true);
        p.set_temperature(0.0);
        p.set_temperature_inc(0.0);
        // One token only: the text is decoded step by step afterwards.
        p.set_max_tokens(1);
        p.set_print_progress(false);
        p.set_print_timestamps(false);
        p.set_print_realtime(false);
        p.set_print_special(false);
        // SAFETY: both callbacks match their C types and both pointers outlive `full`, which returns before this function.
        unsafe {
            p.set_filter_logits_callback(Some(note_state));
            p.set_filter_logits_callback_user_data((&raw const place).cast_mut().cast());
            p.set_abort_callback(Some(abort));
            p.set_abort_callback_user_data(ptr::from_ref(cancel).cast_mut().cast());
        }
        let run = self.state.full(p, samples);
        if cancel.load(Ordering::Relaxed) {
            return Ok(false);
        }
        run?;
        let address = place.load(Ordering::Relaxed);
        if address.is_null() {
            return Err(WhisperError::FailedToEncode);
        }
        self.address = address;
        Ok(true)
    }

    /// Run the decoder on `tokens` after `past` tokens that it has already seen, and return the logits that follow the last.
    pub fn decode(&mut self, tokens: &[i32], past: usize, threads: usize) -> Result<&[f32], WhisperError> {
        if tokens.is_empty() || self.address.is_null() {
            return Err(WhisperError::FailedToDecode);
        }
        self.state.decode(tokens, past, threads)?;
        let row = (tokens.len() - 1) * self.vocabulary;
        // SAFETY: after a decode of n tokens the state's logits hold n rows of `vocabulary` values, of which the library
        // fills the last; the slice borrows `self`, so nothing can change it meanwhile.
        unsafe {
            let logits = sys::whisper_get_logits_from_state(self.address);
            if logits.is_null() {
                return Err(WhisperError::FailedToDecode);
            }
            Ok(std::slice::from_raw_parts(logits.add(row), self.vocabulary))
        }
    }
}
