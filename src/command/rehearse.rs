//! `cableside rehearse`: a whole launch from a script, without hands: the student's turns are recordings or texts that are
//! spoken by the program's synthesiser, heard by the real recogniser. Writes the exchange as sound and its debrief.
#![allow(clippy::print_stdout, reason = "a command's room prints")]

use super::Failure;
use super::common::{self, ModelChoice};
use super::launch::check_role;
use super::practice::direction_called;
use crate::call::Situation;
use crate::drill::deal::deal;
use crate::drill::debrief;
use crate::drill::launch::Turned;
use crate::drill::{Course, Did, Launch, Next};
use crate::folders;
use crate::hear::{LatticeRecogniser, Recogniser};
use crate::site::{Callsign, Site};
use crate::sound::{Clip, RATE, Radio, read_clip, write_new_wav};
use crate::voice::{Line, Speaker, noise};
use serde::Deserialize;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::atomic::AtomicBool;

/// A whole launch from a script: writes exchange.wav, debrief.txt and debrief.json
#[derive(Debug, clap::Args)]
#[command(after_long_help = SCRIPT)]
pub struct RehearseArgs {
    /// The script (TOML)
    script: PathBuf,
    /// Write the results into this folder
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Look for sites in this folder first
    #[arg(long, value_name = "DIR")]
    phrases: Option<PathBuf>,
    #[command(flatten)]
    model: ModelChoice,
}

/// The script's form, as help shows it.
const SCRIPT: &str = r#"The script:
  site = "larkmoor"            a name or a path, as for --site
  role = "pilot"               a speaker of the site's steps
  seed = 1                     deals what is not written here
  steps = ["ready"]            only these steps of the launch (if left out: all)
  situation = { callsign = "G-CLRM", crew = 2, cable = "north", more = { speed = "too slow" } }
                               `more`: values of elements that are dealt; `direction`: the launch direction

  [course]                     what is out of the ordinary, each if wanted
  sometimes = ["stuck"]        steps that are not part of every launch
  misread = ["cable", "south"] what the winch driver reads back wrongly: element, value
  hazard = ["dog", "ready"]    a hazard and the step in which it happens
  failure = ["break", "slack"] a failure in the air and the step behind it
  unanswered = 1               so many ready calls that nobody answers
  refused = true               the winch driver refuses the first ready call
  shown_link = "black"         the link that is held up
  radio_dead = "slack"         the step from which the radio is dead
  halt = ["dog", "ready"]      somebody else's stop and the step before whose call it comes
  traffic = ["ready"]          steps before which others are on the frequency
  interruptions = [["question", "ready"]]

  [[turn]]                     one for each of your turns, with exactly one of
  say = "Winch, ..."           spoken by the program's voice and heard by the speech model
  clip = "mine.wav"            a recording beside the script
  hand = true                  the pilot pulls the release, the winch driver takes the power off
  signal = "stop"              a signal of the site, by its id
  nothing = true               nothing is said or done
                               and if wanted over = true: into the words of whoever speaks"#;

/// What it writes; none of it may be there yet.
const RESULTS: [&str; 3] = ["debrief.txt", "debrief.json", "exchange.wav"];

/// A script as written.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Script {
    site: String,
    role: String,
    #[serde(default)]
    seed: u64,
    /// Only these steps of the launch.
    #[serde(default)]
    steps: Option<Vec<String>>,
    /// Else dealt from the seed.
    #[serde(default)]
    situation: Option<Dealt>,
    #[serde(default)]
    course: Course,
    #[serde(default)]
    turn: Vec<Turn>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Dealt {
    callsign: String,
    crew: u8,
    cable: String,
    #[serde(default)]
    more: std::collections::BTreeMap<String, String>,
    /// The launch direction, by its id.
    #[serde(default)]
    direction: Option<String>,
}

/// One of the student's turns: exactly one of the first five.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Turn {
    /// Spoken by the synthesiser.
    #[serde(default)]
    say: Option<String>,
    /// A recording, beside the script.
    #[serde(default)]
    clip: Option<PathBuf>,
    /// The hand: the pilot operates the release, the winch driver takes the power off.
    #[serde(default)]
    hand: bool,
    /// A signal of the site, by its id.
    #[serde(default)]
    signal: Option<String>,
    /// Nothing is said or done.
    #[serde(default)]
    nothing: bool,
    /// Spoken into the words of whoever speaks.
    #[serde(default)]
    over: bool,
}

/// Silence between two transmissions, seconds.
const GAP: f32 = 0.6;

/// Bytes of a script; real ones have a few thousand.
const LARGEST_SCRIPT: u64 = 1 << 20;

/// Is all of a script there at its site?
fn checked(site: &Site, script: &Script, named: &dyn Fn(&dyn std::fmt::Display) -> String) -> Result<(), Failure> {
    if let Some((element, value)) = &script.course.misread
        && site.taught_words(element, value).is_none()
    {
        return Err(named(&format!(
            "nothing can be read back as {element} \"{value}\" at this site"
        ))
        .into());
    }
    if let Some((failure, step)) = &script.course.failure {
        let known: Vec<&str> = site.failures.iter().map(|f| f.id.as_str()).collect();
        if !known.contains(&failure.as_str()) {
            return Err(named(&format!(
                "the site has no failure \"{failure}\"; it has: {}",
                known.join(", ")
            ))
            .into());
        }
        common::step(site, step)?;
    }
    if let Some((hazard, step)) = &script.course.hazard {
        let known: Vec<&str> = site.hazards.iter().map(|h| h.id.as_str()).collect();
        if !known.contains(&hazard.as_str()) {
            return Err(named(&format!(
                "the site has no hazard \"{hazard}\"; it has: {}",
                known.join(", ")
            ))
            .into());
        }
        common::step(site, step)?;
    }
    if let Some((halt, step)) = &script.course.halt {
        let known: Vec<&str> = site.halts.iter().map(|h| h.id.as_str()).collect();
        if !known.contains(&halt.as_str()) {
            return Err(named(&format!(
                "the site has no halt \"{halt}\"; it has: {}",
                known.join(", ")
            ))
            .into());
        }
        common::step(site, step)?;
    }
    if let Some(step) = &script.course.radio_dead {
        common::step(site, step)?;
    }
    for (turn, number) in script.turn.iter().zip(1usize..) {
        let given = [
            turn.say.is_some(),
            turn.clip.is_some(),
            turn.signal.is_some(),
            turn.hand,
            turn.nothing,
        ];
        if given.iter().filter(|g| **g).count() != 1 {
            let what =
                "it needs exactly one of: say = \"…\", clip = \"…\", signal = \"…\", hand = true, nothing = true";
            return Err(named(&format!("turn {number}: {what}")).into());
        }
    }
    for (id, step) in &script.course.interruptions {
        if !site.interruptions.iter().any(|i| &i.id == id) {
            let known: Vec<&str> = site.interruptions.iter().map(|i| i.id.as_str()).collect();
            return Err(named(&format!(
                "the site has no interruption \"{id}\"; it has: {}",
                known.join(", ")
            ))
            .into());
        }
        common::step(site, step)?;
    }
    Ok(())
}

/// Run the command.
pub fn run(args: &RehearseArgs) -> Result<ExitCode, Failure> {
    let named = |e: &dyn std::fmt::Display| format!("the script cannot be used: {e}\n  {}", args.script.display());
    let text = folders::read_outside_text(&args.script, LARGEST_SCRIPT).map_err(|e| named(&e))?;
    let script: Script = toml::from_str(&text).map_err(|e| named(&e.to_string().trim_end()))?;
    let (site, site_folder) = folders::load_site(&script.site, args.phrases.as_deref())?;
    check_role(&site, &script.role)?;
    for step in script.steps.iter().flatten() {
        common::step(&site, step)?;
    }
    let mut random = common::random(script.seed);
    let situation = match &script.situation {
        Some(s) => {
            let mut situation = Situation::new(Callsign::parse(&s.callsign)?, s.crew, s.cable.clone());
            situation.more.clone_from(&s.more);
            if let Some(id) = &s.direction {
                situation.direction = Some(direction_called(&site, id)?.id.clone());
            }
            situation.check(&site)?;
            situation
        }
        None => deal(&site, None, &mut random).ok_or("the site has no glider, crew and cable to deal")?,
    };
    checked(&site, &script, &named)?;
    for name in RESULTS {
        common::must_not_exist(&args.out.join(name))?;
    }
    std::fs::create_dir_all(&args.out)
        .map_err(|e| format!("the folder cannot be made: {e}\n  {}", args.out.display()))?;
    let launch = Launch::new(
        &site,
        &script.role,
        situation,
        script.course.clone(),
        script.steps.as_deref(),
    )
    .ok_or("the site describes no whole launch")?;
    let mut rehearsal = Rehearsal {
        site: &site,
        launch,
        site_folder,
        folder: args.script.parent().unwrap_or(Path::new(".")),
        recogniser: args.model.load()?,
        speaker: Speaker::open()?,
        sound: Vec::new(),
        times: Vec::new(),
        seed: script.seed,
    };
    rehearsal.run(&script.turn)?;
    let text = debrief::text(&site, &rehearsal.launch, &rehearsal.times);
    let [debrief, data, exchange] = RESULTS.map(|name| args.out.join(name));
    common::write_new_bytes(&debrief, text.as_bytes())?;
    let entries: Vec<serde_json::Value> = rehearsal
        .launch
        .record()
        .iter()
        .zip(&rehearsal.times)
        .map(|(e, at)| serde_json::json!({ "at_seconds": at, "entry": e }))
        .collect();
    let json = serde_json::json!({
        "site": site.id, "site_version": site.version, "role": script.role, "model": rehearsal.recogniser.model(),
        "situation": rehearsal.launch.situation, "caution": site.caution, "entries": entries,
    });
    common::write_new_bytes(&data, serde_json::to_string_pretty(&json)?.as_bytes())?;
    if rehearsal.sound.is_empty() {
        eprintln!("{} is not written: nobody spoke.", exchange.display());
    } else {
        write_new_wav(&exchange, &rehearsal.sound)?;
    }
    // Last, and without a complaint: whoever reads it may have gone, and the files are what was asked for.
    let _ = std::io::stdout().write_all(text.as_bytes());
    Ok(ExitCode::SUCCESS)
}

struct Rehearsal<'a> {
    site: &'a Site,
    launch: Launch,
    /// Where the site's recorded prompts are.
    site_folder: Option<PathBuf>,
    folder: &'a Path,
    recogniser: LatticeRecogniser,
    speaker: Speaker,
    sound: Vec<f32>,
    /// Seconds of each entry of the record.
    times: Vec<f32>,
    seed: u64,
}

impl Rehearsal<'_> {
    fn run(&mut self, turns: &[Turn]) -> Result<(), Failure> {
        let mut turns = turns.iter().zip(1usize..);
        loop {
            let at = self.sound.len() as f32 / RATE as f32;
            match self.launch.next(self.site) {
                Next::Say { line, radio } => {
                    self.stamp(at);
                    let samples = self.speak(&line.role, &line.text, line.clip.as_deref(), radio)?;
                    self.add(&samples);
                }
                Next::Hear(sound) => {
                    self.stamp(at);
                    let clip = self
                        .site_folder
                        .as_ref()
                        .zip(sound.clip.as_ref())
                        .map(|(f, c)| f.join(c));
                    let (samples, trouble) = noise::sound(sound.noise, clip.as_deref());
                    if let Some(e) = trouble {
                        return Err(e.into());
                    }
                    self.add(&samples);
                }
                Next::See(_) => self.stamp(at),
                Next::Listen { .. } => {
                    self.stamp(at);
                    let next = turns.next();
                    self.turn(next.map(|(t, _)| t)).map_err(|e| match next {
                        Some((_, number)) => format!("turn {number} of the script: {e}").into(),
                        None => e,
                    })?;
                    self.stamp(at);
                }
                Next::Ended(_) => {
                    self.stamp(at);
                    return Ok(());
                }
            }
        }
    }

    fn stamp(&mut self, at: f32) {
        self.times.resize(self.launch.record().len(), at);
    }

    fn add(&mut self, samples: &[f32]) {
        self.sound.extend_from_slice(samples);
        let gap = (GAP * RATE as f32) as usize;
        self.sound.extend(std::iter::repeat_n(0.0, gap));
    }

    fn speak(&self, role: &str, text: &str, clip: Option<&str>, radio: bool) -> Result<Vec<f32>, Failure> {
        let line = Line::of_site(self.site, self.site_folder.as_deref(), role, text, clip);
        let radio = radio.then(|| Radio {
            seed: self.seed,
            ..Radio::default()
        });
        Ok(self.speaker.speak(line, radio)?.samples)
    }

    /// A turn that the script does not have is let pass.
    fn turn(&mut self, turn: Option<&Turn>) -> Result<(), Failure> {
        let Some((turn, step)) = turn.filter(|t| !t.nothing).zip(self.launch.judged_step(self.site)) else {
            self.launch.did(self.site, Did::Nothing);
            return Ok(());
        };
        if let Some(signal) = &turn.signal {
            if self.site.signal(signal).is_none() {
                return Err(format!("the site has no signal \"{signal}\"").into());
            }
            self.launch.did(self.site, Did::Signal(signal));
            return Ok(());
        }
        if turn.hand {
            self.launch.did(self.site, Did::Hand);
            return Ok(());
        }
        let clip = match (&turn.say, &turn.clip) {
            (Some(text), None) => Clip::from_samples(self.speak(&self.launch.role, text, None, false)?),
            (None, Some(path)) => read_clip(&self.folder.join(path))?,
            _ => return Err("it needs exactly one of: say, clip, hand = true, nothing = true".into()),
        };
        let vocabulary = self.launch.vocabulary(self.site).ok_or("nothing can be said here")?;
        let evidence = self.recogniser.hear(&clip, &vocabulary, &AtomicBool::new(false))?;
        let turned = Turned::new(self.site, step, &self.launch.situation, &evidence);
        self.launch.did(self.site, turned.did(turn.over));
        self.add(&clip.samples);
        Ok(())
    }
}
