//! Sound that is recorded: against what was spoken into the microphone.

use super::server::{folder, with_server};
use super::{ready, recorded, speak};
use cableside::sound::{ClipTrouble, RATE, Recorded, Recorder, RecorderEvent, SoundError, devices, read_clip};
use std::path::Path;
use std::time::{Duration, Instant};

/// Two seconds of band-limited noise bursts, peak about 0.6: like speech it has edges and no period.
pub fn signal_48k() -> Vec<f32> {
    let mut state = 1u32;
    let mut low = 0f32;
    (0..96_000u32)
        .map(|i| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let white = (state >> 8) as f32 / 8_388_608.0 - 1.0;
            low += 0.3 * (white - low);
            let loud = if (i / 12_000) % 2 == 0 { 1.0 } else { 0.2 };
            low * loud
        })
        .collect()
}

pub fn write_48k(path: &Path, channels: u16, samples: &[f32]) {
    let spec = hound::WavSpec {
        channels,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for s in samples {
        writer.write_sample((s * 32_767.0) as i16).unwrap();
        for _ in 1..channels {
            writer.write_sample(0i16).unwrap();
        }
    }
    writer.finalize().unwrap();
}

/// Energy of what is left of `heard` after the best fitting copy of `said` (16 kHz) is taken out, dB under `said`.
fn residual_db(said: &[f32], heard: &[f32]) -> f64 {
    let onset = |s: &[f32]| s.iter().position(|x| x.abs() > 0.02).unwrap().cast_signed();
    let coarse = onset(heard) - onset(said);
    let energy: f64 = said.iter().map(|s| f64::from(*s).powi(2)).sum();
    (coarse - 60..=coarse + 60)
        .filter_map(|lag| {
            // The ends are left out: there the filters of the two conversions differ.
            let inner = 200..said.len() - 200;
            let start = usize::try_from(lag + 200).ok()?;
            let heard = heard.get(start..start + inner.len())?;
            let pairs = || said[inner.clone()].iter().zip(heard);
            Some(pairs().map(|(a, b)| f64::from(a - b).powi(2)).sum::<f64>())
        })
        .map(|left| 10.0 * (left / energy).log10())
        .fold(f64::INFINITY, f64::min)
}

/// The residual against the first `seconds` of the signal, for the best of the three 48 kHz phases a 16 kHz sample can
/// have.
pub fn residual_of_signal(heard: &[f32], seconds: f64) -> f64 {
    (0..3)
        .map(|phase| {
            let mut shifted = vec![0f32; phase];
            shifted.extend(signal_48k());
            let said = cableside::sound::convert::resample(&shifted, 48_000, RATE).unwrap();
            let count = (seconds * f64::from(RATE)) as usize;
            residual_db(&said[..count.min(said.len())], heard)
        })
        .fold(f64::INFINITY, f64::min)
}

#[test]
fn records_what_is_spoken() {
    with_server("recording::records_what_is_spoken", || {
        let say = folder().join("say.wav");
        write_48k(&say, 1, &signal_48k());
        let recorder = Recorder::open(None).unwrap();
        assert_eq!(ready(&recorder).1, 48_000);
        let prompt_end = Instant::now();
        std::thread::sleep(Duration::from_millis(400));
        let target = folder().join("recordings/call.wav");
        recorder.press(Some(target.clone()), Some(prompt_end));
        let pressed = Instant::now();
        let mut loudest = f32::NEG_INFINITY;
        std::thread::scope(|scope| {
            let speaking = scope.spawn(|| speak("micfeed", &say));
            while !speaking.is_finished() {
                loudest = loudest.max(recorder.level().peak_dbfs);
                std::thread::sleep(Duration::from_millis(10));
            }
        });
        std::thread::sleep(Duration::from_millis(200));
        recorder.release();
        let held = pressed.elapsed().as_secs_f64();
        let Recorded { clip, path } = recorded(&recorder);
        let left = residual_of_signal(&clip.samples, 2.0);
        println!("residual {left:.1} dB, {clip:?}", clip = clip.levels);
        assert!(left < -60.0, "{left}");
        assert!(clip.troubles.is_empty(), "{:?}", clip.troubles);
        assert!((loudest - clip.levels.peak_dbfs).abs() < 1.0, "level shown {loudest}");
        let keying = clip.keying.unwrap();
        println!("{keying:?}, clip {:.3} s", clip.seconds());
        assert!((keying.prompt_end_to_press.unwrap() - 0.4).abs() < 0.05);
        assert!((keying.press_to_release - held).abs() < 0.02);
        assert!((clip.seconds() - keying.press_to_release - keying.lead).abs() < 0.08);
        assert_eq!(path.as_deref(), Some(target.as_path()));
        let saved = read_clip(&target).unwrap();
        assert_eq!(saved.samples.len(), clip.samples.len());
        assert!(
            saved
                .samples
                .iter()
                .zip(&clip.samples)
                .all(|(a, b)| (a - b).abs() < 2.0 / 32_768.0)
        );
        assert_eq!(std::fs::read_dir(folder().join("recordings")).unwrap().count(), 1);
    });
}

#[test]
fn another_device_is_chosen_by_name_and_converted() {
    with_server("recording::another_device_is_chosen_by_name_and_converted", || {
        let list = devices::list().unwrap();
        println!("{list:?}");
        assert!(list.inputs[0].default && list.inputs[0].id == "mic");
        assert!(list.outputs[0].default && list.outputs[0].id == "spk");
        let say = folder().join("say.wav");
        write_48k(&say, 2, &signal_48k());
        let recorder = Recorder::open(None).unwrap();
        ready(&recorder);
        recorder.choose(Some("mic44".into()));
        let (_, rate, channels) = ready(&recorder);
        assert_eq!((rate, channels), (44_100, 2));
        recorder.press(Some(folder().join("call.wav")), None);
        speak("feed44", &say);
        std::thread::sleep(Duration::from_millis(200));
        recorder.release();
        let Recorded { clip, path } = recorded(&recorder);
        // The server converts from 48 to 44.1 kHz, so the fit is that of its filter; the level must not be halved by the
        // silent channel.
        let peak = clip.samples.iter().fold(0f32, |m, s| m.max(s.abs()));
        let wanted = signal_48k().iter().fold(0f32, |m, s| m.max(s.abs()));
        assert!((20.0 * (peak / wanted).log10()).abs() < 1.0, "{peak} for {wanted}");
        let saved = read_clip(&path.unwrap()).unwrap();
        assert!(
            saved
                .samples
                .iter()
                .zip(&clip.samples)
                .all(|(a, b)| (a - b).abs() < 2.0 / 32_768.0)
        );
        recorder.choose(Some("no such thing".into()));
        match recorder.wait(Duration::from_secs(10)) {
            Some(RecorderEvent::Failed(SoundError::UnknownDevice { have, .. })) => {
                assert!(have.contains("mic44"), "{have}");
            }
            other => panic!("{other:?}"),
        }
    });
}

#[test]
fn zeros_are_told_while_recording() {
    with_server("recording::zeros_are_told_while_recording", || {
        let recorder = Recorder::open(None).unwrap();
        ready(&recorder);
        recorder.press(None, None);
        let pressed = Instant::now();
        assert!(matches!(
            recorder.wait(Duration::from_secs(2)),
            Some(RecorderEvent::Recording)
        ));
        match recorder.wait(Duration::from_secs(3)) {
            Some(RecorderEvent::Warning(ClipTrouble::AllZeros { seconds })) => assert!(seconds >= 0.5),
            other => panic!("{other:?}"),
        }
        assert!(
            pressed.elapsed() < Duration::from_millis(900),
            "{:?}",
            pressed.elapsed()
        );
        recorder.release();
        let clip = recorded(&recorder).clip;
        assert!(
            matches!(clip.troubles[..], [ClipTrouble::AllZeros { .. }]),
            "{:?}",
            clip.troubles
        );
        // A recording thrown away leaves nothing.
        recorder.press(Some(folder().join("away/call.wav")), None);
        std::thread::sleep(Duration::from_millis(400));
        recorder.cancel();
        recorder.press(None, None);
        recorder.release();
        assert!(recorded(&recorder).clip.seconds() < 0.3);
        assert_eq!(std::fs::read_dir(folder().join("away")).unwrap().count(), 0);
    });
}
