//! A second listener: the published library (whisper.cpp by way of whisper-rs) writes down plainly what it hears, without lattice or
//! site. It decides nothing: where a verdict is disputed a person reads its words beside the program's reading.

use super::HearError;
use crate::site::Language;
use crate::sound::Clip;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// The second listener with its model. It takes about twice the file's size of memory, so it is made when it is asked for and dropped again.
pub struct SecondListener {
    #[cfg(feature = "second-listener")]
    context: whisper_rs::WhisperContext,
    #[cfg(feature = "second-listener")]
    threads: usize,
}

#[cfg(feature = "second-listener")]
impl SecondListener {
    /// Load a model file, one that [`super::LatticeRecogniser`] takes: the library trusts what it reads.
    pub fn load(path: &Path, threads: usize) -> Result<Self, HearError> {
        can_run()?;
        // Its lines would stand between those of the program.
        whisper_rs::install_logging_hooks();
        let why = |e: &dyn std::fmt::Display| HearError::Second(e.to_string());
        let file = path
            .to_str()
            .ok_or_else(|| why(&"the model file's name is not Unicode"))?;
        let context =
            whisper_rs::WhisperContext::new_with_params(file, whisper_rs::WhisperContextParameters::default())
                .map_err(|e| why(&e))?;
        Ok(Self { context, threads })
    }

    /// What it hears in a clip, in one line; empty where it hears no words.
    pub fn write_down(&self, clip: &Clip, language: Language, cancel: &Arc<AtomicBool>) -> Result<String, HearError> {
        use std::sync::atomic::Ordering;
        use whisper_rs::{FullParams, SamplingStrategy};
        let why = |e: whisper_rs::WhisperError| HearError::Second(e.to_string());
        let place = i32::from(language.model_place());
        if !self.context.is_multilingual() && language != Language::ENGLISH {
            let text = "this model knows English alone; the model base knows the site's language too";
            return Err(HearError::Second(text.to_owned()));
        }
        let mut params = FullParams::new(SamplingStrategy::BeamSearch {
            beam_size: 5,
            patience: -1.0,
        });
        params.set_language(whisper_rs::get_lang_str(place));
        params.set_n_threads(i32::try_from(self.threads).unwrap_or(1));
        params.set_no_timestamps(true);
        params.set_print_progress(false);
        params.set_print_realtime(false);
        params.set_print_timestamps(false);
        params.set_print_special(false);
        let asked = Arc::clone(cancel);
        // Boxed on purpose: the library's wrapper hands back what it was given only where that is of this very type.
        let abort: Box<dyn FnMut() -> bool> = Box::new(move || asked.load(Ordering::Relaxed));
        params.set_abort_callback_safe::<_, Box<dyn FnMut() -> bool>>(abort);
        // It refuses what is shorter than a tenth of a second, and hears little in less than one.
        let mut samples = clip.samples.clone();
        samples.resize(samples.len().max(crate::sound::RATE as usize * 11 / 10), 0.0);
        let mut state = self.context.create_state().map_err(why)?;
        let heard = state.full(params, &samples);
        if cancel.load(Ordering::Relaxed) {
            return Err(HearError::Cancelled);
        }
        heard.map_err(why)?;
        let mut text = String::new();
        for segment in state.as_iter() {
            text += &segment.to_str_lossy().map_err(why)?;
        }
        Ok(text.split_whitespace().collect::<Vec<_>>().join(" "))
    }
}

/// The library is built for processors of the last ten years, and ends the program on an older one.
#[cfg(feature = "second-listener")]
fn can_run() -> Result<(), HearError> {
    #[cfg(target_arch = "x86_64")]
    if !(std::is_x86_feature_detected!("avx2")
        && std::is_x86_feature_detected!("fma")
        && std::is_x86_feature_detected!("f16c")
        && std::is_x86_feature_detected!("bmi2"))
    {
        let text = "this computer's processor lacks the instructions AVX2, FMA, F16C or BMI2";
        return Err(HearError::Second(text.to_owned()));
    }
    Ok(())
}

#[cfg(not(feature = "second-listener"))]
impl SecondListener {
    /// This build has none, and says so.
    pub fn load(_: &Path, _: usize) -> Result<Self, HearError> {
        Err(HearError::Second("this build of the program has none".to_owned()))
    }

    /// Never called: there is none.
    pub fn write_down(&self, _: &Clip, _: Language, _: &Arc<AtomicBool>) -> Result<String, HearError> {
        Ok(String::new())
    }
}
