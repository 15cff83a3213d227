//! An open microphone: its samples in a ring, its signs of life.

use super::RING;
use crate::sound::SoundError;
use crate::sound::devices::{Direction, PATIENCE, find, name_of};
use crate::sound::file::full_scale;
use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{FromSample, SampleFormat, SizedSample};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// What the device's callbacks and the worker share, without locks.
#[derive(Debug)]
pub(super) struct Pulse {
    pub(super) start: Instant,
    /// Microseconds from `start` to the last data; 0 before the first.
    pub(super) last_data: AtomicU64,
    /// How long ago the last data was captured when it came, microseconds.
    pub(super) latency: AtomicU64,
    /// Frames that did not fit into the ring.
    pub(super) dropped: AtomicU64,
    /// An error came after which streams usually end.
    pub(super) ending: AtomicBool,
}

impl Pulse {
    pub(super) fn now(&self) -> u64 {
        u64::try_from(self.start.elapsed().as_micros())
            .unwrap_or(u64::MAX)
            .max(1)
    }

    /// How long no data has come.
    pub(super) fn silent_for(&self) -> Duration {
        Duration::from_micros(self.now().saturating_sub(self.last_data.load(Ordering::Relaxed)))
    }
}

/// An open microphone.
pub(super) struct Input {
    pub(super) stream: cpal::Stream,
    pub(super) pulse: Arc<Pulse>,
    pub(super) ring: rtrb::Consumer<f32>,
    pub(super) device: String,
    pub(super) rate: u32,
    pub(super) channels: usize,
    pub(super) full_scale: f32,
}

/// Opens a microphone and starts it. Blocks as long as the sound system likes.
pub(super) fn open(choice: Option<&str>) -> Result<Input, SoundError> {
    let host = cpal::default_host();
    let device = find(&host, Direction::Input, choice)?;
    let name = name_of(&device);
    let failed = |e: cpal::Error| trouble_opening(&name, &e);
    let form = device.default_input_config().map_err(failed)?;
    let (rate, channels) = (form.sample_rate(), usize::from(form.channels()));
    let format = form.sample_format();
    // The system's own buffers: a period asked for also bounds what PulseAudio keeps when this computer is busy, and then
    // sound is lost.
    let (stream, pulse, ring) = build(&device, form.config(), format).map_err(failed)?;
    stream.play().map_err(failed)?;
    let full_scale = if format.is_float() {
        1.0
    } else {
        full_scale(format.bits_per_sample())
    };
    Ok(Input {
        stream,
        pulse,
        ring,
        device: name,
        rate,
        channels,
        full_scale,
    })
}

pub(super) fn trouble_opening(name: &str, e: &cpal::Error) -> SoundError {
    match e.kind() {
        cpal::ErrorKind::DeviceNotAvailable | cpal::ErrorKind::HostUnavailable => SoundError::NoDevice {
            direction: Direction::Input,
            detail: format!("{name}: {e}"),
        },
        _ => SoundError::Device {
            direction: Direction::Input,
            name: name.to_string(),
            detail: e.to_string(),
        },
    }
}

pub(super) type Built = (cpal::Stream, Arc<Pulse>, rtrb::Consumer<f32>);

pub(super) fn build(
    device: &cpal::Device,
    config: cpal::StreamConfig,
    format: SampleFormat,
) -> Result<Built, cpal::Error> {
    match format {
        SampleFormat::I8 => build_as::<i8>(device, config),
        SampleFormat::I16 => build_as::<i16>(device, config),
        SampleFormat::I24 => build_as::<cpal::I24>(device, config),
        SampleFormat::I32 => build_as::<i32>(device, config),
        SampleFormat::I64 => build_as::<i64>(device, config),
        SampleFormat::U8 => build_as::<u8>(device, config),
        SampleFormat::U16 => build_as::<u16>(device, config),
        SampleFormat::U24 => build_as::<cpal::U24>(device, config),
        SampleFormat::U32 => build_as::<u32>(device, config),
        SampleFormat::U64 => build_as::<u64>(device, config),
        SampleFormat::F32 => build_as::<f32>(device, config),
        SampleFormat::F64 => build_as::<f64>(device, config),
        other => Err(cpal::Error::with_message(
            cpal::ErrorKind::UnsupportedConfig,
            format!("its sample format {other} is not supported"),
        )),
    }
}

pub(super) fn build_as<T: SizedSample>(device: &cpal::Device, config: cpal::StreamConfig) -> Result<Built, cpal::Error>
where
    f32: FromSample<T>,
{
    let channels = usize::from(config.channels).max(1);
    let capacity = (RING * f64::from(config.sample_rate)) as usize * channels;
    let (mut producer, ring) = rtrb::RingBuffer::<f32>::new(capacity);
    let pulse = Arc::new(Pulse {
        start: Instant::now(),
        last_data: AtomicU64::new(0),
        latency: AtomicU64::new(0),
        dropped: AtomicU64::new(0),
        ending: AtomicBool::new(false),
    });
    let (for_data, for_errors) = (pulse.clone(), pulse.clone());
    let stream = device.build_input_stream::<T, _, _>(
        config,
        move |data: &[T], info: &cpal::InputCallbackInfo| {
            let free = producer.slots();
            let fitting = data.len().min(free - free % channels);
            if let Ok(chunk) = producer.write_chunk_uninit(fitting) {
                chunk.fill_from_iter(data.iter().map(|s| f32::from_sample_(*s)));
            }
            let lost = (data.len() - fitting) / channels;
            if lost > 0 {
                for_data.dropped.fetch_add(lost as u64, Ordering::Relaxed);
            }
            let stamp = info.timestamp();
            let latency = stamp.callback.duration_since(stamp.capture);
            for_data.latency.store(latency.as_micros() as u64, Ordering::Relaxed);
            for_data.last_data.store(for_data.now(), Ordering::Relaxed);
        },
        move |e| {
            use cpal::ErrorKind as Kind;
            // Buffer trouble, refused priorities and rerouting leave the stream alive.
            if matches!(
                e.kind(),
                Kind::DeviceNotAvailable | Kind::StreamInvalidated | Kind::HostUnavailable
            ) {
                for_errors.ending.store(true, Ordering::Relaxed);
            }
        },
        Some(PATIENCE),
    )?;
    Ok((stream, pulse, ring))
}
