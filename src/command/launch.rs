//! `cableside launch`: a whole launch in the terminal, one role the student's.
#![allow(clippy::print_stdout, reason = "a command's room prints")]

use super::Failure;
use super::common::{self, ModelChoice, SiteChoice};
use super::kept::{self, Call, Kept};
use crate::call::Evidence;
use crate::drill::deal::{course, deal};
use crate::drill::debrief;
use crate::drill::launch::{Turned, roles};
use crate::drill::round::{Leg, deal_round};
use crate::drill::{Did, Launch, Next, Pace, Want};
use crate::hear::{LatticeRecogniser, Recogniser};
use crate::logbook::{ModelUsed, RecordingName, RunKind};
use crate::site::{Site, Sound};
use crate::sound::{Clip, Player, Recorder, RecorderEvent};
use crate::voice::{Line, Speaker, noise};
use crate::worker::turned;
use jiff::Timestamp;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};

/// A whole launch in the terminal, from the briefing to the retrieve
#[derive(Debug, clap::Args)]
pub struct LaunchArgs {
    #[command(flatten)]
    site: SiteChoice,
    /// Your role, such as "pilot" or "wing runner"
    #[arg(long, default_value = "pilot")]
    role: String,
    /// Type the calls instead of speaking them
    #[arg(long)]
    typed: bool,
    /// The student, by name or id: the launch goes into the logbook, with recordings if they are allowed
    #[arg(long)]
    student: Option<String>,
    /// How much happens: "unhurried", "normal", or "busy" with others on the frequency
    #[arg(long, default_value = "normal")]
    pace: Pace,
    /// A round: one glider after the other on every cable, fetched when the last one has been used
    #[arg(long)]
    round: bool,
    /// Start of the random numbers: the same gives the same launch
    #[arg(long)]
    seed: Option<u64>,
    /// The microphone by name (`cableside sound devices` lists them)
    #[arg(long, value_name = "NAME")]
    input: Option<String>,
    /// The loudspeaker by name
    #[arg(long, value_name = "NAME")]
    output: Option<String>,
    #[command(flatten)]
    model: ModelChoice,
}

/// The recorder answers within this, or the microphone is not usable.
const READY: Duration = Duration::from_secs(10);

/// Check that a role can be taken at a site.
pub fn check_role(site: &Site, role: &str) -> Result<(), Failure> {
    let roles = roles(site);
    if roles.is_empty() {
        return Err(format!(
            "the site {} describes no whole launch: steps.toml has no [launch]",
            site.id
        )
        .into());
    }
    if !roles.iter().any(|r| r == role) {
        return Err(format!(
            "at {} there is no role \"{role}\"; there are: {}",
            site.name,
            roles.join(", ")
        )
        .into());
    }
    Ok(())
}

/// Run the command.
pub fn run(args: &LaunchArgs) -> Result<ExitCode, Failure> {
    let (site, folder) = args.site.load_with_folder()?;
    check_role(&site, &args.role)?;
    let seed = args.seed.unwrap_or_else(common::any_seed);
    let mut random = common::random(seed);
    let legs = if args.round {
        deal_round(&site, &mut random)
    } else {
        let one = deal(&site, None, &mut random).map(|situation| Leg {
            situation,
            steps: Vec::new(),
        });
        one.into_iter().collect()
    };
    if legs.is_empty() {
        return Err("the site has no glider, crew and cable to deal".into());
    }
    println!("{}", site.caution);
    let mut talk = if args.typed {
        println!(
            "Type the call. \"hand\" uses the hand (the pilot releases, the winch driver takes the power off); an empty line lets the turn pass."
        );
        Talk::Typed
    } else {
        println!(
            "Enter presses the key, Enter releases it; \"h\" and Enter uses the hand (the pilot releases, the winch driver takes the power off); \"-\" lets the turn pass."
        );
        Talk::spoken(args)?
    };
    for leg in legs {
        let course = course(&site, &leg.situation, args.pace, &mut random);
        let steps = Some(leg.steps.as_slice()).filter(|s| !s.is_empty());
        let launch = Launch::new(&site, &args.role, leg.situation, course, steps);
        let launch = launch.ok_or("the site describes no launch")?;
        if !one(args, &site, folder.as_deref(), &mut talk, launch, seed)? {
            break;
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// One launch, to its debrief. False when the input has ended.
fn one(
    args: &LaunchArgs,
    site: &Site,
    folder: Option<&Path>,
    talk: &mut Talk,
    mut launch: Launch,
    seed: u64,
) -> Result<bool, Failure> {
    let s = &launch.situation;
    println!(
        "You are: {}. Glider {} ({}), crew {}, {}.",
        site.role_name(&args.role),
        s.callsign,
        site.about_glider(&s.callsign),
        s.crew,
        site.cable_plain(&s.cable)
    );
    let mut kept = args
        .student
        .as_ref()
        .map(|s| Kept::begin(s, RunKind::Launch, site, Some(&args.role), seed, &launch.situation))
        .transpose()?;
    loop {
        match launch.next(site) {
            Next::Say { line, radio } => {
                println!("[{}] {}", site.role_name(&line.role), line.text);
                talk.play(
                    Line::of_site(site, folder, &line.role, &line.text, line.clip.as_deref()),
                    radio,
                );
            }
            Next::Hear(sound) => {
                println!("({})", sound.noise.text(site.language));
                talk.noise(&sound, folder);
            }
            Next::See(text) => println!("({text})"),
            Next::Listen { want, .. } => {
                let heard = launch.record().len();
                if !talk.turn(site, &mut launch, want, kept.as_mut())? {
                    if let Some(kept) = &mut kept {
                        kept.end(None, &launch.record())?;
                    }
                    return Ok(false);
                }
                for entry in &launch.record()[heard..] {
                    println!("{}", debrief::line(site, &launch.role, entry));
                }
            }
            Next::Ended(ending) => {
                if let Some(kept) = &mut kept {
                    let word = serde_json::to_value(ending)?;
                    kept.end(word.as_str(), &launch.record())?;
                }
                break;
            }
        }
    }
    println!("\n--- debrief ---");
    print!("{}", debrief::text(site, &launch, &[]));
    Ok(true)
}

enum Talk {
    Typed,
    Spoken(Box<Spoken>),
}

struct Spoken {
    recogniser: LatticeRecogniser,
    model: ModelUsed,
    recorder: Recorder,
    player: Option<Player>,
    speaker: Speaker,
}

impl Talk {
    fn spoken(args: &LaunchArgs) -> Result<Self, Failure> {
        let (recogniser, model) = args.model.load_named()?;
        let recorder = Recorder::open(args.input.clone())?;
        let until = Instant::now() + READY;
        loop {
            match recorder.wait(until.saturating_duration_since(Instant::now())) {
                Some(RecorderEvent::Ready { .. }) => break,
                Some(RecorderEvent::Failed(e)) => {
                    return Err(format!("{e}\nTo practise without a microphone, add --typed").into());
                }
                Some(_) => {}
                None => {
                    return Err(
                        "the microphone did not become ready; choose another one with --input, or add --typed".into(),
                    );
                }
            }
        }
        // Without a loudspeaker the lines can still be read.
        let player = Player::open(args.output.clone()).ok();
        Ok(Self::Spoken(Box::new(Spoken {
            recogniser,
            model,
            recorder,
            player,
            speaker: Speaker::open()?,
        })))
    }

    fn noise(&mut self, sound: &Sound, folder: Option<&Path>) {
        let Self::Spoken(s) = self else { return };
        if let Some(player) = &s.player {
            let clip = folder.zip(sound.clip.as_ref()).map(|(f, c)| f.join(c));
            player.play(noise::sound(sound.noise, clip.as_deref()).0);
        }
    }

    fn play(&mut self, line: Line, radio: bool) {
        let Self::Spoken(s) = self else { return };
        let (Ok(spoken), Some(player)) = (s.speaker.speak(line, radio.then(Default::default)), &s.player) else {
            return;
        };
        let length = Duration::from_secs_f64(spoken.samples.len() as f64 / f64::from(crate::sound::RATE));
        player.play(spoken.samples);
        std::thread::sleep(length);
    }

    /// One turn. False when the input has ended.
    fn turn(
        &mut self,
        site: &Site,
        launch: &mut Launch,
        want: Want,
        mut kept: Option<&mut Kept>,
    ) -> Result<bool, Failure> {
        if want == Want::Signal {
            let ids: Vec<&str> = site.signals.iter().map(|s| s.id.as_str()).collect();
            println!("\"signal\" and one of: {}", ids.join(", "));
        }
        print!("{}: ", want.text(site.language).trim_end_matches('?'));
        std::io::stdout().flush()?;
        let Some(text) = common::line()? else {
            return Ok(false);
        };
        let Some((step, vocabulary)) = launch.judged_step(site).zip(launch.vocabulary(site)) else {
            launch.did(site, Did::Nothing);
            return Ok(true);
        };
        let began = Timestamp::now();
        let before = launch.record().len();
        let mut heard = Heard::default();
        let signal = text.trim().strip_prefix("signal ").map(str::trim);
        if let Some(signal) = signal.filter(|id| site.signal(id).is_some()) {
            launch.did(site, Did::Signal(signal));
            return Ok(true);
        }
        let did = match (self, text.trim()) {
            (Self::Typed, "hand") | (Self::Spoken(_), "h") => Err(Did::Hand),
            (Self::Typed, "") | (Self::Spoken(_), "-") => Err(Did::Nothing),
            (Self::Typed, text) => Ok(Evidence::typed(&vocabulary, text)),
            (Self::Spoken(s), _) => {
                heard = s.record(kept.as_ref().and_then(|k| k.recording()))?;
                let clip = heard.clip.as_ref().ok_or("there is no recording")?;
                Ok(s.recogniser.hear(clip, &vocabulary, &AtomicBool::new(false))?)
            }
        };
        let place = launch.step(site).map_or_else(|| step.id.clone(), |s| s.id.clone());
        let turned = did
            .as_ref()
            .ok()
            .map(|evidence| Turned::new(site, step, &launch.situation, evidence));
        match (&turned, &did) {
            (Some(turned), _) => launch.did(site, turned.did(false)),
            (None, Err(did)) => launch.did(site, *did),
            (None, Ok(_)) => {}
        }
        if let Some(kept) = &mut kept {
            let (kind, done, outcome) = turned::came_of(want, &launch.record()[before..]);
            let call = turned.as_ref().zip(did.as_ref().ok()).map(|(turned, evidence)| Call {
                judgement: &turned.judgement,
                evidence,
                model: heard.model.clone(),
                clip: heard.clip.as_ref(),
                recording: heard.recording,
            });
            let stored = kept.turn(kept::Turn {
                step: &place,
                kind,
                done,
                outcome,
                began,
                call,
                evidence: serde_json::Value::Null,
            });
            if let Err(e) = stored {
                println!("{e}\nThis turn is not in the logbook yet.");
            }
        }
        Ok(true)
    }
}

/// What the microphone gave.
#[derive(Default)]
struct Heard {
    clip: Option<Clip>,
    model: Option<ModelUsed>,
    recording: Option<RecordingName>,
}

impl Spoken {
    fn record(&self, keep: Option<(RecordingName, PathBuf)>) -> Result<Heard, Failure> {
        let (name, path) = keep.unzip();
        self.recorder.press(path, None);
        print!("Transmitting. Enter releases the key: ");
        std::io::stdout().flush()?;
        let _ = common::line()?;
        self.recorder.release();
        let until = Instant::now() + READY;
        loop {
            match self.recorder.wait(until.saturating_duration_since(Instant::now())) {
                Some(RecorderEvent::Recorded(done)) => {
                    return Ok(Heard {
                        recording: name.filter(|_| done.path.is_some()),
                        clip: Some(done.clip),
                        model: Some(self.model.clone()),
                    });
                }
                Some(RecorderEvent::Failed(e)) => return Err(e.into()),
                Some(_) => {}
                None => return Err("the microphone gave no recording; choose another one with --input".into()),
            }
        }
    }
}
