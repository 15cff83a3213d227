//! Tests of what stands in `../recorder.rs`.

use super::*;

#[test]
fn the_level_rises_at_once_and_falls_slowly() {
    let silence = Level {
        peak_dbfs: SILENCE_DBFS,
        rms_dbfs: SILENCE_DBFS,
    };
    let loud = next_level(silence, &[0.5; 1600], 1, 16_000);
    assert!((loud.peak_dbfs + 6.02).abs() < 0.01);
    // One time constant: 1 - 1/e of the energy, 10 lg 0.632 = -2.0 dB.
    assert!((loud.rms_dbfs + 8.01).abs() < 0.05, "{}", loud.rms_dbfs);
    let later = next_level(loud, &[0.0; 1600], 1, 16_000);
    assert!((loud.peak_dbfs - later.peak_dbfs - 2.0).abs() < 0.01);
    assert!((loud.rms_dbfs - later.rms_dbfs - 4.34).abs() < 0.05);
}

#[test]
fn times_before_the_prompt_end_are_negative() {
    let a = Instant::now();
    let b = a + Duration::from_millis(250);
    assert!((between(a, b) - 0.25).abs() < 1e-9 && (between(b, a) + 0.25).abs() < 1e-9);
}
