//! From the end of speech to the verdicts, scoring included, and beside it in the same run the plain way: the published
//! library's default transcription with its full window of 30 s, which gives text and no verdicts yet. Quiet, then with one
//! busy core. Also memory, and how long a cancel takes.
//!
//!     CABLESIDE_MODELS=FOLDER cargo bench --bench end_of_speech
//!
//! The profile of benches is that of a release. Times on a busy machine are worth as much as their ratios.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::print_stdout,
    reason = "a measurement"
)]

use cableside::call::{Situation, Vocabulary, judge, judge::Limits};
use cableside::hear::{HearError, LatticeRecogniser, Recogniser};
use cableside::site::{Callsign, Site, bundled};
use cableside::sound::{Clip, read_clip};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use whisper_rs::{FullParams, SamplingStrategy, WhisperContext, WhisperContextParameters, WhisperState};

const THREADS: usize = 2;
const ROUNDS: usize = 7;

struct Case {
    name: &'static str,
    site: Site,
    situation: Situation,
    clip: Clip,
}

fn case(file: &'static str, site: &str, callsign: &str, cable: &str) -> Case {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("audio-fixtures/clips/{file}.flac"));
    Case {
        name: file,
        site: Site::check(&bundled::files(site).unwrap()).unwrap(),
        situation: Situation::new(Callsign::parse(callsign).unwrap(), 2, cable),
        clip: read_clip(&path).unwrap(),
    }
}

fn ours(recogniser: &mut LatticeRecogniser, case: &Case) -> Duration {
    let step = case.site.step("ready").unwrap();
    let begin = Instant::now();
    let evidence = recogniser
        .hear(&case.clip, &Vocabulary::of(&case.site, step), &AtomicBool::new(false))
        .unwrap();
    let judgement = judge(&case.site, step, &case.situation, &evidence, &Limits::DEFAULT);
    let took = begin.elapsed();
    assert_eq!(judgement.elements.len(), step.elements.len());
    took
}

fn plain(state: &mut WhisperState, case: &Case) -> Duration {
    let mut params = FullParams::new(SamplingStrategy::Greedy { best_of: 1 });
    params.set_language(Some(case.site.language.code()));
    params.set_n_threads(i32::try_from(THREADS).unwrap());
    params.set_print_progress(false);
    params.set_print_timestamps(false);
    let begin = Instant::now();
    state.full(params, &case.clip.samples).unwrap();
    begin.elapsed()
}

fn median(mut times: Vec<Duration>) -> f64 {
    times.sort();
    times[times.len() / 2].as_secs_f64()
}

/// Most memory the process has had, MB; where the system tells.
fn memory() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM"))?;
    line.split_whitespace().nth(1)?.parse::<u64>().ok().map(|kb| kb / 1024)
}

/// Keeps one core busy until dropped.
struct Busy(Arc<AtomicBool>, Option<std::thread::JoinHandle<()>>);

impl Busy {
    fn new() -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let seen = stop.clone();
        let thread = std::thread::Builder::new()
            .name("busy".into())
            .spawn(move || {
                let mut n = 0u64;
                while !seen.load(Ordering::Relaxed) {
                    n = std::hint::black_box(n.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1));
                }
            })
            .unwrap();
        Self(stop, Some(thread))
    }
}

impl Drop for Busy {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
        let _ = self.1.take().map(std::thread::JoinHandle::join);
    }
}

fn main() {
    let folder = std::env::var_os("CABLESIDE_MODELS").map_or_else(cableside::folders::models, PathBuf::from);
    let model = folder.join("ggml-base.bin");
    let cases = [
        case("larkmoor_right_clean", "larkmoor", "G-CLRM", "north"),
        case("larkmoor_right_noisy", "larkmoor", "G-CLRM", "north"),
        case("erlengrund_right_1", "erlengrund", "D-3862", "wald"),
    ];
    let mut recogniser =
        LatticeRecogniser::load(&model, THREADS).expect("the speech model: cableside model fetch base");
    for c in &cases {
        ours(&mut recogniser, c);
    }
    println!(
        "memory with the model and three calls heard: {} MB",
        memory().unwrap_or(0)
    );

    whisper_rs::install_logging_hooks();
    let context = WhisperContext::new_with_params(&model, WhisperContextParameters::default()).unwrap();
    let mut state = context.create_state().unwrap();
    println!("{THREADS} threads, {ROUNDS} rounds, medians in seconds");
    println!(
        "{:<24}{:>7}{:>9}{:>9}{:>8}{:>12}{:>8}",
        "clip", "length", "ours", "plain", "plain/ours", "ours, busy", "busy/quiet"
    );
    for c in &cases {
        plain(&mut state, c);
        let (mut us, mut them) = (Vec::new(), Vec::new());
        for _ in 0..ROUNDS {
            us.push(ours(&mut recogniser, c));
            them.push(plain(&mut state, c));
        }
        let busy = Busy::new();
        let loaded = (0..ROUNDS).map(|_| ours(&mut recogniser, c)).collect();
        drop(busy);
        let (us, them, loaded) = (median(us), median(them), median(loaded));
        println!(
            "{:<24}{:>7.1}{us:>9.2}{them:>9.2}{:>8.1}{loaded:>14.2}{:>10.1}",
            c.name,
            c.clip.seconds(),
            them / us,
            loaded / us
        );
    }

    // Cancel at several moments of a call.
    let mut longest = Duration::ZERO;
    for after in [10, 60, 150, 300, 500] {
        let cancel = Arc::new(AtomicBool::new(false));
        let set = cancel.clone();
        let canceller = std::thread::Builder::new()
            .name("canceller".into())
            .spawn(move || {
                std::thread::sleep(Duration::from_millis(after));
                set.store(true, Ordering::Relaxed);
                Instant::now()
            })
            .unwrap();
        let c = &cases[2];
        let step = c.site.step("ready").unwrap();
        let result = recogniser.hear(&c.clip, &Vocabulary::of(&c.site, step), &cancel);
        let done = Instant::now();
        let asked = canceller.join().unwrap();
        if matches!(result, Err(HearError::Cancelled)) {
            longest = longest.max(done.saturating_duration_since(asked));
        }
    }
    println!("longest wait after a cancel: {:.2} s", longest.as_secs_f64());
}
