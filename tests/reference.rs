//! The speech model's own run against the published library (whisper.cpp by way of whisper-rs), on a committed clip.
//!
//! Outside source: whisper-rs 0.16 with the same model file. What follows a text must weigh the same in both.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    missing_docs,
    reason = "a test says what broke by panicking"
)]

use cableside::hear::search::Decoder;
use cableside::hear::whisper::Model;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use whisper_rs::{FullParams, SamplingStrategy, WhisperContext, WhisperContextParameters};

fn model(name: &str) -> PathBuf {
    PathBuf::from(std::env::var("CABLESIDE_MODELS").expect("CABLESIDE_MODELS is not set: run scripts/test")).join(name)
}

#[test]
fn texts_weigh_what_they_weigh_in_the_published_library() {
    whisper_rs::install_logging_hooks();
    let clip = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures/clips/demo_missing_crew.flac");
    let samples = cableside::sound::read_clip(&clip).unwrap().samples;
    let frames = ((50.0 * samples.len() as f32 / 16_000.0).ceil() as i32 + 64 + 63) / 64 * 64;
    for (name, start, end) in [
        ("ggml-base.bin", vec![50_258, 50_259, 50_359, 50_363], 50_257),
        ("ggml-tiny.en.bin", vec![50_257, 50_362], 50_256),
    ] {
        let cancel = AtomicBool::new(false);
        let ours = Model::load(&model(name), 2).unwrap();
        let allowed: Vec<i32> = (0..end).filter(|t| ours.may_come(*t)).collect();
        let mut listening = ours
            .listen(&samples, cableside::site::Language::ENGLISH, &cancel)
            .unwrap();

        let context =
            WhisperContext::new_with_params(model(name).to_str().unwrap(), WhisperContextParameters::default())
                .unwrap();
        let mut state = context.create_state().unwrap();
        let mut params = FullParams::new(SamplingStrategy::Greedy { best_of: 1 });
        params.set_n_threads(1);
        params.set_audio_ctx(frames);
        params.set_no_timestamps(true);
        params.set_single_segment(true);
        params.set_temperature_inc(0.0);
        params.set_max_tokens(1);
        params.set_print_progress(false);
        params.set_print_timestamps(false);
        state.full(params, &samples).unwrap();

        for text in [
            "",
            " Winch",
            " Winch, golf",
            " Winch, golf Charlie Lima",
            " cable cable",
        ] {
            let text: Vec<i32> = if text.is_empty() {
                Vec::new()
            } else {
                context.tokenize(text, 64).unwrap()
            };
            // The library gives the right row only after a run of a single token.
            let whole = [start.as_slice(), &text].concat();
            let (last, before) = whole.split_last().unwrap();
            state.decode(before, 0, 1).unwrap();
            state.decode(&[*last], before.len(), 1).unwrap();
            let logits = state.get_logits().unwrap();
            let odds = listening.next(&text).unwrap();
            // Over the tokens that may come, both are distributions up to the mask; differences of weights are the same.
            let top = *allowed
                .iter()
                .max_by(|a, b| odds.of(**a).total_cmp(&odds.of(**b)))
                .unwrap();
            let mut compared = 0;
            for token in &allowed {
                let (a, b) = (
                    odds.of(*token) - odds.of(top),
                    logits[*token as usize] - logits[top as usize],
                );
                if a.is_finite() && a > -10.0 {
                    compared += 1;
                    assert!(
                        (a - b).abs() < 0.15,
                        "{name} {text:?} token {token}: {a} here, {b} in the library"
                    );
                }
            }
            assert!(compared > 10, "{name} {text:?}: only {compared} tokens compared");
        }
    }
}
