use super::*;

/// A tone of 440 Hz, peak `peak`, at any rate.
fn tone(rate: u32, seconds: f64, peak: f64) -> Vec<f64> {
    let n = (seconds * f64::from(rate)) as usize;
    (0..n)
        .map(|i| peak * (std::f64::consts::TAU * 440.0 * i as f64 / f64::from(rate)).sin())
        .collect()
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().unwrap()
}

fn write(path: &Path, rate: u32, bits: u16, float: bool, channels: u16, samples: &[f64]) {
    let sample_format = if float {
        hound::SampleFormat::Float
    } else {
        hound::SampleFormat::Int
    };
    let spec = hound::WavSpec {
        channels,
        sample_rate: rate,
        bits_per_sample: bits,
        sample_format,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for s in samples {
        for _ in 0..channels {
            if float {
                writer.write_sample(*s as f32).unwrap();
            } else {
                writer
                    .write_sample((s * (half_range(bits.into()) - 1.0)).round() as i32)
                    .unwrap();
            }
        }
    }
    writer.finalize().unwrap();
}

fn header(tag: u16, channels: u16, rate: u32, bits: u16, data: u32) -> Vec<u8> {
    let width = bits.div_ceil(8);
    let mut h = Vec::new();
    h.extend(b"RIFF");
    h.extend(
        (36 + u64::from(data))
            .min(u64::from(u32::MAX))
            .to_le_bytes()
            .get(..4)
            .unwrap(),
    );
    h.extend(b"WAVEfmt ");
    h.extend(16u32.to_le_bytes());
    h.extend(tag.to_le_bytes());
    h.extend(channels.to_le_bytes());
    h.extend(rate.to_le_bytes());
    h.extend((rate * u32::from(channels * width)).to_le_bytes());
    h.extend((channels * width).to_le_bytes());
    h.extend(bits.to_le_bytes());
    h.extend(b"data");
    h.extend(data.to_le_bytes());
    h
}

/// Error text for a file of these bytes; it must end with the path.
fn refusal(bytes: &[u8]) -> String {
    let dir = folder();
    let path = dir.path().join("call.wav");
    std::fs::write(&path, bytes).unwrap();
    let text = read_clip(&path).unwrap_err().to_string();
    assert!(text.ends_with("call.wav"), "{text}");
    text
}

/// Outside check: the files are written by hound.
#[test]
fn every_rate_width_and_channel_count_gives_the_same_call() {
    let dir = folder();
    for (rate, bits, float, channels) in [
        (8_000, 8, false, 1),
        (8_000, 16, false, 1),
        (11_025, 16, false, 2),
        (16_000, 16, false, 1),
        (22_050, 24, false, 2),
        (44_100, 16, false, 2),
        (48_000, 32, false, 1),
        (48_000, 32, true, 7),
        (96_000, 24, false, 1),
        (192_000, 32, true, 2),
    ] {
        let path = dir.path().join(format!("{rate}-{bits}-{channels}.wav"));
        write(&path, rate, bits, float, channels, &tone(rate, 0.5, 0.5));
        let clip = read_clip(&path).unwrap();
        let what = format!("{rate} Hz, {bits} bits, {channels} channels");
        // Half a second at 11025 Hz is 5512 frames.
        assert!(
            (7999..=8000).contains(&clip.samples.len()),
            "{what}: {}",
            clip.samples.len()
        );
        assert!(clip.troubles.is_empty(), "{what}: {:?}", clip.troubles);
        assert!(
            (clip.levels.peak_dbfs + 6.02).abs() < 0.1,
            "{what}: {}",
            clip.levels.peak_dbfs
        );
        assert!(
            (clip.levels.rms_dbfs + 9.03).abs() < 0.1,
            "{what}: {}",
            clip.levels.rms_dbfs
        );
        let wanted = tone(RATE, 0.5, 0.5);
        // 8 bits are good for about 1/128.
        let tolerance = if bits == 8 { 0.012 } else { 0.002 };
        for (i, (got, want)) in clip.samples.iter().zip(&wanted).enumerate().skip(500).take(7000) {
            assert!(
                (f64::from(*got) - want).abs() < tolerance,
                "{what}, sample {i}: {got} for {want}"
            );
        }
    }
}

#[test]
fn a_silent_channel_does_not_halve_the_level() {
    let dir = folder();
    let path = dir.path().join("one-of-three.wav");
    let spec = hound::WavSpec {
        channels: 3,
        ..wav_form()
    };
    let mut writer = hound::WavWriter::create(&path, spec).unwrap();
    for s in tone(RATE, 0.5, 0.5) {
        writer.write_sample(0i16).unwrap();
        writer.write_sample(to_i16(s as f32)).unwrap();
        writer.write_sample(0i16).unwrap();
    }
    writer.finalize().unwrap();
    let clip = read_clip(&path).unwrap();
    let peak = clip.samples.iter().fold(0f32, |m, s| m.max(*s));
    assert!((peak - 0.5).abs() < 0.001, "{peak}");
}

/// Outside check: the FLAC files were made by another program (ffmpeg 5.1, `sine=440` times four), one with 24 bits.
#[test]
fn flac_gives_the_same_call() {
    for (bytes, seconds) in [
        (&include_bytes!("../testdata/tone-44100-stereo-16.flac")[..], 0.5),
        (&include_bytes!("../testdata/tone-48000-mono-24.flac")[..], 0.5),
    ] {
        let dir = folder();
        let path = dir.path().join("tone.flac");
        std::fs::write(&path, bytes).unwrap();
        let clip = read_clip(&path).unwrap();
        assert_eq!(read_clip_bytes(bytes, "tone").unwrap(), clip);
        assert!((clip.seconds() - seconds).abs() < 0.001, "{}", clip.seconds());
        assert!((clip.levels.peak_dbfs + 6.02).abs() < 0.1, "{}", clip.levels.peak_dbfs);
        assert!(clip.troubles.is_empty(), "{:?}", clip.troubles);
        // A third of the sound is cut off; it starts after a header with 8 KiB of padding.
        std::fs::write(&path, &bytes[..bytes.len() - (bytes.len() - 8192) / 3]).unwrap();
        let cut = read_clip(&path).unwrap();
        assert!(
            matches!(cut.troubles[..], [ClipTrouble::Truncated { .. }]),
            "{:?}",
            cut.troubles
        );
        assert!(cut.seconds() > 0.2 && cut.seconds() < 0.5);
        std::fs::write(&path, &bytes[..30]).unwrap();
        assert!(read_clip(&path).is_err());
    }
}

#[test]
fn what_is_no_sound_is_refused_with_a_reason() {
    assert!(refusal(b"").contains("0 bytes"));
    assert!(refusal(b"RIFF").contains("cut off"));
    assert!(refusal(b"Winch, Golf Charlie ...\n").contains("text"));
    assert!(refusal(b"ID3\x04aaaaaaaaa").contains("MP3"));
    assert!(refusal(&header(1, 1, 16_000, 16, 0)).contains("no sound"));
    assert!(refusal(&header(1, 1, 16_000, 16, 32_000)).contains("0.00 s of 1.00 s"));
    assert!(refusal(&header(1, 0, 16_000, 16, 0)).contains("no channels"));
    assert!(refusal(&header(1, 1, 0, 16, 0)).contains("0 Hz"));
    assert!(refusal(&header(1, 1, 16_000, 0, 0)).contains("contradicts"));
    assert!(refusal(&header(7, 1, 8_000, 8, 0)).contains("mu-law"));
    assert!(refusal(&header(0x55, 1, 8_000, 16, 0)).contains("0x0055"));
    assert!(refusal(&header(0xfffe, 1, 8_000, 16, 0)).contains("extensible"));
    assert!(refusal(&header(3, 1, 8_000, 16, 0)).contains("16 bits"));
    let mut cut = header(1, 1, 16_000, 16, 32_000);
    cut.extend([1u8; 400]);
    assert!(refusal(&cut).contains("0.01 s of 1.00 s"));
    let dir = folder();
    assert!(matches!(read_clip(dir.path()), Err(SoundError::NotAFile { .. })));
    assert!(matches!(
        read_clip(&dir.path().join("none.wav")),
        Err(SoundError::File { operation: "open", .. })
    ));
}

#[test]
fn floats_that_are_no_numbers_are_refused() {
    for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        let mut bytes = header(3, 1, 16_000, 32, 64_000);
        for i in 0..16_000 {
            bytes.extend(if i == 8_000 { bad } else { 0.1f32 }.to_le_bytes());
        }
        assert!(refusal(&bytes).contains("0.500 s is not a number"));
    }
}

#[test]
fn a_file_that_ends_early_is_used_as_far_as_it_goes() {
    let dir = folder();
    let path = dir.path().join("cut.wav");
    write(&path, 48_000, 16, false, 2, &tone(48_000, 2.0, 0.5));
    let bytes = std::fs::read(&path).unwrap();
    // Cut in the middle of a frame.
    std::fs::write(&path, &bytes[..44 + 48_000 * 4 + 3]).unwrap();
    let clip = read_clip(&path).unwrap();
    let truncated = ClipTrouble::Truncated {
        stated_seconds: Some(2.0),
        found_seconds: 1.0,
    };
    assert_eq!(clip.troubles, [truncated]);
    assert_eq!(clip.samples.len(), 16_000);
}

#[test]
fn headers_written_before_the_length_was_known_are_read() {
    let dir = folder();
    let path = dir.path().join("pipe.wav");
    let sound: Vec<u8> = tone(16_000, 0.5, 0.5)
        .iter()
        .flat_map(|s| to_i16(*s as f32).to_le_bytes())
        .collect();
    for (stated, troubles) in [(u32::MAX, 0), (0x7fff_ffd0, 0), (0, 1)] {
        let mut bytes = header(1, 1, 16_000, 16, stated);
        bytes.extend(&sound);
        std::fs::write(&path, bytes).unwrap();
        let clip = read_clip(&path).unwrap();
        assert_eq!(clip.samples.len(), 8000);
        assert_eq!(clip.troubles.len(), troubles, "{stated:#x}");
    }
}

#[test]
fn odd_chunks_and_widths_are_read() {
    let dir = folder();
    let path = dir.path().join("odd.wav");
    // An odd-sized list before the data and one after it, 24 bits in four bytes.
    let mut bytes = header(1, 1, 16_000, 24, 4 * 8000);
    bytes[32..34].copy_from_slice(&4u16.to_le_bytes());
    let data = bytes.split_off(36);
    bytes.extend(b"LIST\x03\0\0\0abc\0");
    bytes.extend(data);
    for s in tone(16_000, 0.5, 0.5) {
        bytes.extend(((s * 8_388_607.0) as i32).to_le_bytes());
    }
    bytes.extend(b"LIST\x02\0\0\0ab");
    std::fs::write(&path, &bytes).unwrap();
    let clip = read_clip(&path).unwrap();
    assert_eq!(clip.samples.len(), 8000);
    assert!((clip.levels.peak_dbfs + 6.02).abs() < 0.1, "{}", clip.levels.peak_dbfs);
}

#[test]
fn an_hour_is_refused_at_once() {
    let dir = folder();
    let path = dir.path().join("hour.wav");
    let bytes = header(1, 2, 48_000, 16, 3600 * 48_000 * 4);
    let file = File::create(&path).unwrap();
    io::Write::write_all(&mut &file, &bytes).unwrap();
    // A hole: it takes no room on disk, and no time unless somebody reads it.
    file.set_len(44 + 3600 * 48_000 * 4).unwrap();
    let start = std::time::Instant::now();
    let text = read_clip(&path).unwrap_err().to_string();
    assert!(start.elapsed().as_millis() < 100);
    assert!(text.contains("60.0 minutes") && text.ends_with("hour.wav"), "{text}");
}

/// No damage to a header may end the program: every single byte of one is tried with several values.
#[test]
fn damaged_headers_never_panic() {
    let dir = folder();
    let path = dir.path().join("damaged.wav");
    let mut bytes = header(1, 1, 16_000, 16, 6400);
    bytes.extend([7u8; 6400]);
    let flac = include_bytes!("../testdata/tone-44100-stereo-16.flac");
    for source in [&bytes[..], &flac[..2000]] {
        for at in 0..60 {
            for value in [0, 1, 2, 0x7f, 0x80, 0xff] {
                let mut damaged = source.to_vec();
                damaged[at] = value;
                std::fs::write(&path, &damaged).unwrap();
                if let Ok(clip) = read_clip(&path) {
                    assert!(clip.samples.iter().all(|s| s.abs() <= 1.0));
                }
            }
        }
    }
}

#[test]
fn what_is_written_is_read_back() {
    let dir = folder();
    let path = dir.path().join("own.wav");
    let samples: Vec<f32> = tone(RATE, 0.25, 0.7).iter().map(|s| *s as f32).collect();
    write_wav(&path, &samples).unwrap();
    let clip = read_clip(&path).unwrap();
    assert_eq!(clip.samples.len(), samples.len());
    assert!(
        clip.samples
            .iter()
            .zip(&samples)
            .all(|(a, b)| (a - b).abs() <= 0.5 / 32768.0 + 1e-6)
    );
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1);
    assert!(write_wav(&dir.path().join("no/folder.wav"), &samples).is_err());
    write_wav(&path, &[f32::NAN, 2.0, -2.0]).unwrap();
    assert_eq!(read_clip(&path).unwrap().samples, [0.0, 32767.0 / 32768.0, -1.0]);
}

#[test]
fn floats_that_no_filter_can_hold_are_refused() {
    let dir = folder();
    for (i, rate) in [8_000, 16_000, 44_100, 48_000].into_iter().enumerate() {
        for (j, peak) in [1e37, -1e30, 2e6].into_iter().enumerate() {
            let path = dir.path().join(format!("{i}-{j}.wav"));
            let mut samples = tone(rate, 0.5, 0.5);
            samples[rate as usize / 4] = peak;
            write(&path, rate, 32, true, 1, &samples);
            let refused = read_clip(&path).unwrap_err().to_string();
            assert!(
                refused.contains("times full scale") && refused.contains("0.25"),
                "{refused}"
            );
        }
        // An editor that writes 16-bit numbers as floats is loud, and no more.
        let path = dir.path().join(format!("{i}-loud.wav"));
        write(&path, rate, 32, true, 1, &tone(rate, 0.5, 32_768.0));
        read_clip(&path).unwrap();
    }
}

#[test]
fn a_file_of_nothing_but_chunks_is_refused_at_once() {
    let mut bytes = b"RIFF\xff\xff\xff\x7fWAVE".to_vec();
    for _ in 0..2_000_000 {
        bytes.extend(b"junk\0\0\0\0");
    }
    let refused = read_clip_bytes(&bytes, "chunks.wav").unwrap_err().to_string();
    assert!(refused.contains("chunks before the sound"), "{refused}");
}
