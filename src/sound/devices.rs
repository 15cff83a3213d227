//! Which microphones and loudspeakers there are, and which one is meant by a name.
//!
//! Sound systems can block for ever (a server that is stopped, a driver that waits for a plug), so everything that
//! talks to one runs on a thread of its own, and whoever waits for it does so only for a while.

use std::sync::mpsc;
use std::time::Duration;

use cpal::traits::{DeviceTrait, HostTrait};
use serde::Serialize;

use super::SoundError;

/// How long a sound system may take to answer.
pub(super) const PATIENCE: Duration = Duration::from_secs(5);

/// Microphone or loudspeaker.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    /// Records.
    Input,
    /// Plays.
    Output,
}

impl std::fmt::Display for Direction {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Input => "microphone",
            Self::Output => "loudspeaker",
        })
    }
}

/// One device as the sound system describes it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DeviceInfo {
    /// The name shown to people, and the one to choose it by.
    pub name: String,
    /// The sound system's own name; also good for choosing, and the only one that is surely unique.
    pub id: String,
    /// Taken when nobody chooses.
    pub default: bool,
    /// Rate in Hz and channels it runs at; none if it cannot be opened now.
    pub form: Option<(u32, u16)>,
}

/// All devices of the sound system in use.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DeviceList {
    /// The sound system ("PulseAudio", "ALSA", "WASAPI", "CoreAudio").
    pub system: String,
    /// Microphones, the default one first.
    pub inputs: Vec<DeviceInfo>,
    /// Loudspeakers, the default one first.
    pub outputs: Vec<DeviceInfo>,
}

/// Asks the sound system for its devices. Waits at most five seconds; from a window use [`list_in_background`].
pub fn list() -> Result<DeviceList, SoundError> {
    wait_for(&list_in_background()?)
}

/// As [`list`], without waiting: the answer comes through the channel.
pub fn list_in_background() -> Result<mpsc::Receiver<Result<DeviceList, SoundError>>, SoundError> {
    aside("sound-list", || {
        let host = cpal::default_host();
        let system = system_name(&host);
        Ok(DeviceList {
            inputs: describe(&host, Direction::Input)?,
            outputs: describe(&host, Direction::Output)?,
            system,
        })
    })
}

pub(super) fn system_name(host: &cpal::Host) -> String {
    host.id().name().to_string()
}

/// Whether a device is none that a person would choose: ALSA also lists rate converters, mixers, servers that may not
/// run (asking those makes them complain on the error stream) and one that gives zeros for ever. Its cards have a colon.
fn plumbing(system: &str, id: &str) -> bool {
    system == "ALSA" && !id.contains(':') && !matches!(id, "default" | "pipewire")
}

fn describe(host: &cpal::Host, direction: Direction) -> Result<Vec<DeviceInfo>, SoundError> {
    let default = default_device(host, direction).and_then(|d| d.id().ok());
    let mut found: Vec<DeviceInfo> = Vec::new();
    for device in devices(host, direction)? {
        let Ok(id) = device.id() else { continue };
        if plumbing(&system_name(host), id.id()) {
            continue;
        }
        let form = match direction {
            Direction::Input => device.default_input_config(),
            Direction::Output => device.default_output_config(),
        };
        found.push(DeviceInfo {
            name: name_of(&device),
            default: default.as_ref() == Some(&id),
            id: id.id().to_string(),
            form: form.ok().map(|c| (c.sample_rate(), c.channels())),
        });
    }
    found.sort_by(|a, b| b.default.cmp(&a.default).then_with(|| a.name.cmp(&b.name)));
    Ok(found)
}

fn devices(host: &cpal::Host, direction: Direction) -> Result<Vec<cpal::Device>, SoundError> {
    let listed = match direction {
        Direction::Input => host.input_devices().map(Iterator::collect),
        Direction::Output => host.output_devices().map(Iterator::collect),
    };
    listed.map_err(|e| SoundError::NoDevice {
        direction,
        detail: e.to_string(),
    })
}

fn default_device(host: &cpal::Host, direction: Direction) -> Option<cpal::Device> {
    match direction {
        Direction::Input => host.default_input_device(),
        Direction::Output => host.default_output_device(),
    }
}

pub(super) fn name_of(device: &cpal::Device) -> String {
    device
        .description()
        .map_or_else(|_| device.to_string(), |d| d.name().to_string())
}

/// The device meant by `choice`: its identifier or name exactly, else the only one whose name contains it whatever the
/// case; without a choice the default one.
pub(super) fn find(host: &cpal::Host, direction: Direction, choice: Option<&str>) -> Result<cpal::Device, SoundError> {
    let Some(wanted) = choice else {
        return default_device(host, direction).ok_or_else(|| SoundError::NoDevice {
            direction,
            detail: format!("{} names none", system_name(host)),
        });
    };
    let devices = devices(host, direction)?;
    let names: Vec<(String, String)> = devices
        .iter()
        .map(|d| (d.id().map(|i| i.id().to_string()).unwrap_or_default(), name_of(d)))
        .collect();
    let index = pick(&names, wanted).map_err(|fitting| SoundError::UnknownDevice {
        direction,
        wanted: wanted.to_string(),
        have: choices(&names, &fitting),
    })?;
    devices.into_iter().nth(index).ok_or_else(|| SoundError::NoDevice {
        direction,
        detail: wanted.to_string(),
    })
}

/// The names to choose from: of those that fit, or of all if none does; the identifier where a name stands for several.
fn choices(names: &[(String, String)], fitting: &[usize]) -> String {
    let mut choices: Vec<&str> = names
        .iter()
        .enumerate()
        .filter(|(i, _)| fitting.is_empty() || fitting.contains(i))
        .map(|(_, (id, name))| {
            if names.iter().filter(|(_, n)| n == name).count() > 1 {
                id
            } else {
                name
            }
            .as_str()
        })
        .collect();
    choices.sort_unstable();
    choices.dedup();
    if choices.is_empty() {
        "(there is none)".into()
    } else {
        choices.join(", ")
    }
}

/// Index of the device meant, or of those that fit equally well.
fn pick(names: &[(String, String)], wanted: &str) -> Result<usize, Vec<usize>> {
    if let Some(exact) = names.iter().position(|(id, name)| id == wanted || name == wanted) {
        return Ok(exact);
    }
    let lower = wanted.to_lowercase();
    let fitting: Vec<usize> = (0..)
        .zip(names)
        .filter(|(_, (_, n))| n.to_lowercase().contains(&lower))
        .map(|(i, _)| i)
        .collect();
    match fitting[..] {
        [one] => Ok(one),
        _ => Err(fitting),
    }
}

/// Runs `work` on a thread of its own; the answer comes through the channel. If nobody waits any more it is dropped
/// there, on that thread.
pub(super) fn aside<T: Send + 'static>(
    name: &str,
    work: impl FnOnce() -> Result<T, SoundError> + Send + 'static,
) -> Result<mpsc::Receiver<Result<T, SoundError>>, SoundError> {
    let (answer, receiver) = mpsc::channel();
    std::thread::Builder::new()
        .name(name.into())
        .spawn(move || {
            let _quiet = quiet();
            // A caller that stopped waiting is no error.
            let _ = answer.send(work());
        })
        .map_err(|source| SoundError::Thread { source })?;
    Ok(receiver)
}

pub(super) fn wait_for<T>(answer: &mpsc::Receiver<Result<T, SoundError>>) -> Result<T, SoundError> {
    answer.recv_timeout(PATIENCE).map_err(|_| SoundError::NoAnswer {
        seconds: PATIENCE.as_secs(),
    })?
}

/// Drops something of the sound system's where it may hang without harm: a stream whose server has died can wait for
/// ever.
pub(super) fn discard<T: Send + 'static>(thing: T) {
    // When no thread can be made the thing is dropped here, with the closure.
    let _ = std::thread::Builder::new()
        .name("sound-drop".into())
        .spawn(move || drop(thing));
}

/// ALSA's library writes dozens of lines about absent devices to the error stream whenever it looks around; for this
/// thread they go to a buffer that nobody reads.
#[cfg(target_os = "linux")]
pub(super) fn quiet() -> Option<std::rc::Rc<std::cell::RefCell<alsa::Output>>> {
    alsa::Output::local_error_handler().ok()
}

/// Only ALSA talks on the error stream.
#[cfg(not(target_os = "linux"))]
pub(super) fn quiet() -> Option<()> {
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names() -> Vec<(String, String)> {
        [
            ("hw:0", "Built-in Microphone"),
            ("hw:1", "Headset Microphone"),
            ("hw:2", "Headset"),
        ]
        .map(|(a, b)| (a.to_string(), b.to_string()))
        .to_vec()
    }

    #[test]
    fn a_device_is_chosen_by_identifier_name_or_part_of_it() {
        assert_eq!(pick(&names(), "hw:1"), Ok(1));
        assert_eq!(pick(&names(), "Headset"), Ok(2));
        assert_eq!(pick(&names(), "built-IN"), Ok(0));
    }

    #[test]
    fn only_devices_a_person_would_choose_are_listed() {
        for (system, id, hidden) in [
            ("ALSA", "null", true),
            ("ALSA", "speexrate", true),
            ("ALSA", "default", false),
            ("ALSA", "plughw:CARD=PCH,DEV=0", false),
            ("PulseAudio", "mic", false),
        ] {
            assert_eq!(plumbing(system, id), hidden, "{id}");
        }
    }

    #[test]
    fn a_name_that_fits_several_or_none_is_refused() {
        assert_eq!(pick(&names(), "microphone").unwrap_err(), [0, 1]);
        assert!(pick(&names(), "telephone").unwrap_err().is_empty());
        let mut doubled = names();
        doubled.push(("hw:3".into(), "Headset".into()));
        assert_eq!(choices(&doubled, &[0, 1]), "Built-in Microphone, Headset Microphone");
        assert_eq!(
            choices(&doubled, &[]),
            "Built-in Microphone, Headset Microphone, hw:2, hw:3"
        );
        assert_eq!(choices(&[], &[]), "(there is none)");
    }
}
