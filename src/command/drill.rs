//! `cableside drill`: calls in the terminal, spoken or typed, through the same worker as the window.
#![allow(clippy::print_stdout, clippy::print_stderr, reason = "a command's room prints")]

use super::common::{self, SiteChoice};
use super::practice::{self, LevelChoice};
use super::{Failure, show};
use crate::drill::TurnState;
use crate::folders;
use crate::plan::{Level, Moment, Session};
use crate::site::{Site, Step};
use crate::worker::{
    Command, Dealt, Event, Judged, Loader, LogbookPlace, Lost, ModelState, Options, Planned, SiteRequest,
    SituationRequest, Worker,
};
use std::io::Write;
use std::process::ExitCode;
use std::time::{Duration, Instant};

/// Judging a hard call takes seconds, on a busy computer many; after this long something is broken.
const PATIENCE: Duration = Duration::from_mins(3);

/// Who has not begun after this long on a busy field is told so.
const HURRY: Duration = Duration::from_secs(6);

/// Practise in the terminal
#[derive(Debug, clap::Args)]
pub struct DrillArgs {
    #[command(flatten)]
    site: SiteChoice,
    /// The step of the launch
    #[arg(long, default_value = "ready")]
    step: String,
    /// Turns to deal; 5 where nothing is said
    #[arg(long, conflicts_with = "minutes")]
    turns: Option<u32>,
    /// Deal until so many minutes are over
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..=240))]
    minutes: Option<u32>,
    /// How a situation is put: in writing, as seen at the launch point, or that with noise, hurry and interruptions
    #[arg(long, value_enum, default_value_t = LevelChoice::Record)]
    level: LevelChoice,
    /// Launch in this direction always, by its id in site.toml; else it changes every few turns
    #[arg(long, value_name = "ID")]
    direction: Option<String>,
    /// Type the calls instead of speaking them
    #[arg(long)]
    typed: bool,
    /// The student, by name or id; without one the attempts are kept without a name and without recordings
    #[arg(long)]
    student: Option<String>,
    /// Deal this situation always, for instance G-CLRM,2,north
    #[arg(long, hide = true, value_name = "CALLSIGN,CREW,CABLE")]
    situation: Option<SituationRequest>,
    /// The microphone by name (`cableside sound devices` lists them)
    #[arg(long, value_name = "NAME")]
    input: Option<String>,
    /// The speech model: an official name or a file
    #[arg(long, value_name = "NAME-OR-FILE")]
    model: Option<String>,
    /// Threads of the speech model; 1 where other programs are busy
    #[arg(long, default_value_t = 2, value_parser = clap::builder::RangedU64ValueParser::<usize>::new().range(1..=16))]
    threads: usize,
}

/// Run the command.
pub fn run(args: &DrillArgs) -> Result<ExitCode, Failure> {
    let site = args.site.load()?;
    let step = common::spoken_step(&site, &args.step)?.clone();
    let direction = args.direction.as_ref();
    let direction = direction.map(|id| practice::direction_called(&site, id)).transpose()?;
    let direction = direction.map(|d| d.id.clone());
    let options = Options {
        phrases: args.site.phrases.clone(),
        logbook: LogbookPlace::Disk {
            file: folders::logbook(),
            recordings: folders::recordings(),
        },
        loader: Loader::lattice(folders::model_folders(), args.model.clone(), args.threads),
        sound: !args.typed,
        input: args.input.clone(),
        output: None,
        situation: args.situation.clone(),
        direction: direction.clone(),
        step: args.step.clone(),
    };
    let mut terminal = Terminal::open(&args.site, site, step, options)?;
    terminal.direction = direction;
    terminal.send(Command::ChooseLevel(args.level.level()));
    if let Some(name) = &args.student {
        terminal.worker.send(Command::ChooseStudentByName(name.clone()));
        let chosen = terminal.until(|e| matches!(e, Event::Student(_) | Event::NoSuchStudent(_)))?;
        if let Event::NoSuchStudent(why) = chosen {
            return Err(why.into());
        }
    }
    if !args.typed {
        terminal.wait_for_the_model()?;
    }
    let session = args.minutes.map(|m| Session::new(m, now()));
    let turns = args.turns.unwrap_or(if session.is_some() { u32::MAX } else { 5 });
    for _ in 0..turns {
        if !terminal.turn(Command::Next, args.typed)? {
            break;
        }
        if session.is_some_and(|s| s.over(now())) {
            println!("\nThe session's time is over.");
            break;
        }
    }
    terminal.show_what_is_left();
    terminal.finish()?;
    Ok(ExitCode::SUCCESS)
}

fn now() -> Moment {
    Moment {
        ms: jiff::Timestamp::now().as_millisecond(),
        utc_offset_seconds: 0,
    }
}

/// A worker with a terminal before it.
pub(super) struct Terminal {
    worker: Worker,
    pub(super) site: Site,
    step: Step,
    dealt: Option<Dealt>,
    /// Judged and not shown yet: a verdict is shown when it is in the logbook, so that none is lost once it was seen.
    judged: Option<Box<Judged>>,
    planned: Option<Planned>,
    /// The launch direction, where it does not change.
    direction: Option<String>,
    /// With which of them the session begins.
    first: u32,
}

/// As shells have it for Ctrl-C.
const ENDED_BY_A_SIGNAL: i32 = 130;

impl Terminal {
    /// Say what must be said first, start the worker and let it load the site.
    pub(super) fn open(choice: &SiteChoice, site: Site, step: Step, options: Options) -> Result<Self, Failure> {
        println!("{}", site.caution);
        if site.invented {
            println!("{} is invented.", site.name);
        }
        let mut terminal = Self {
            worker: Worker::start(options, || {})?,
            site,
            step,
            dealt: None,
            judged: None,
            planned: None,
            direction: None,
            // The high half of the clock's digits hardly changes; the low half does.
            first: (common::any_seed() / 1_000_000) as u32,
        };
        // Ctrl-C, a closed terminal, the system going down: what waits to be stored is stored first.
        let quitter = terminal.worker.quitter();
        let ended = move || {
            let code = match quitter.quit() {
                Ok(()) => ENDED_BY_A_SIGNAL,
                Err(lost) => {
                    // The error that the command would have ended with; nobody else is left to say it.
                    eprintln!("cableside: {lost}");
                    1
                }
            };
            std::process::exit(code);
        };
        // Only a second terminal in one program could fail here, and there is none.
        let _ = ctrlc::set_handler(ended);
        terminal.send(Command::LoadSite(SiteRequest(choice.site.clone())));
        terminal.until(|e| matches!(e, Event::SiteLoaded(_)))?;
        Ok(terminal)
    }

    pub(super) fn send(&self, command: Command) {
        self.worker.send(command);
    }

    pub(super) fn wait_for_the_model(&mut self) -> Result<(), Failure> {
        let ready = self.until(|e| matches!(e, Event::Model(ModelState::Ready(_) | ModelState::Missing(_))))?;
        if let Event::Model(ModelState::Missing(why)) = ready {
            return Err(format!("{why}\nTo practise without it, add --typed").into());
        }
        Ok(())
    }

    /// One turn over as many attempts as it takes. False when the input has ended.
    pub(super) fn turn(&mut self, begin: Command, typed: bool) -> Result<bool, Failure> {
        self.worker.send(begin);
        self.until(|e| matches!(e, Event::State(TurnState::YourCall)))?;
        let mut your_call = Some(Instant::now());
        loop {
            if typed {
                let Some(text) = ask("Your call: ")? else {
                    return Ok(false);
                };
                self.hurry(your_call.take());
                self.worker.send(Command::Type(text));
            } else {
                if ask("Your call. Enter presses the key: ")?.is_none() {
                    return Ok(false);
                }
                self.worker.send(Command::Press);
                self.hurry(your_call.take());
                let released = ask("Transmitting. Enter releases it: ")?;
                self.worker.send(Command::Release);
                if released.is_none() {
                    return Ok(false);
                }
            }
            let end = self.until(|e| matches!(e, Event::State(TurnState::YourCall | TurnState::Done)))?;
            while self.judged.is_some() {
                self.until(|e| matches!(e, Event::Stored(_) | Event::NotStored(_)))?;
            }
            if matches!(end, Event::State(TurnState::Done)) {
                return Ok(true);
            }
        }
    }

    /// End the worker. An error where attempts could not be stored until the end.
    pub(super) fn finish(mut self) -> Result<(), Failure> {
        for event in self.worker.finish() {
            if let Event::Lost { attempts, why } = event {
                return Err(Lost { attempts, why }.into());
            }
            self.show(&event);
        }
        Ok(())
    }

    /// Show events until one that is waited for has come.
    pub(super) fn until(&mut self, wanted: impl Fn(&Event) -> bool) -> Result<Event, Failure> {
        loop {
            let Some(event) = self.worker.wait(PATIENCE) else {
                return Err(
                    "the program has stopped answering; start it again, what was judged is in the logbook".into(),
                );
            };
            self.show(&event);
            if wanted(&event) {
                return Ok(event);
            }
        }
    }

    fn show(&mut self, event: &Event) {
        match event {
            Event::Trouble(text) => println!("{text}"),
            Event::Planned(planned) => self.planned = Some((**planned).clone()),
            Event::Dealt(dealt) => {
                if let Some(step) = self.site.step(&dealt.step) {
                    self.step = step.clone();
                }
                let s = &dealt.situation;
                println!();
                if let Some(reason) = self.planned.as_ref().and_then(|p| p.reason.as_ref()) {
                    println!("{}", practice::reason(&self.site, reason));
                }
                if self.level() == Level::Written {
                    let kind = self.site.about_glider(&s.callsign);
                    let cable = self.site.cable_plain(&s.cable);
                    println!("Glider {} ({kind}), crew {}, {cable}.", s.callsign, s.crew);
                } else {
                    let fixed = self.direction.as_ref();
                    let fixed = fixed.and_then(|id| practice::direction_called(&self.site, id).ok());
                    let dealt_one = || s.direction(&self.site).filter(|_| s.direction.is_some());
                    let by_number = || practice::direction(&self.site, self.first, dealt.number);
                    let direction = fixed.or_else(dealt_one).or_else(by_number);
                    println!("{}", practice::scene(&self.site, s, direction));
                }
                if self.level() == Level::BusyField {
                    println!("The field is busy: begin as soon as the frequency is yours.");
                }
                if let Some(text) = self.planned.as_ref().and_then(|p| p.interruption.as_ref()) {
                    println!("[another pilot] {text}");
                }
                if let Some(scene) = s.scene(&self.site, &self.step) {
                    println!("({scene})");
                }
                if let Some(p) = &self.step.prompt {
                    println!("[{}] {}", p.role, p.text);
                }
                self.dealt = Some(dealt.clone());
            }
            Event::Judged(judged) => self.judged = Some(judged.clone()),
            Event::Stored(id) | Event::NotStored(id) => {
                // One that had to wait may be stored in between.
                if let Some(judged) = self.judged.take_if(|j| j.id == *id) {
                    self.show_judged(&judged);
                }
            }
            _ => {}
        }
    }

    fn level(&self) -> Level {
        self.planned.as_ref().map_or(Level::Written, |p| p.level)
    }

    /// Was the call begun late for a busy field?
    fn hurry(&self, your_call: Option<Instant>) {
        let late = your_call.map(|t| t.elapsed()).filter(|t| *t > HURRY);
        if let Some(late) = late.filter(|_| self.level() == Level::BusyField) {
            println!(
                "It took {} s until you began; on a busy field somebody else has the frequency by then.",
                late.as_secs()
            );
        }
    }

    fn show_what_is_left(&self) {
        let Some(planned) = &self.planned else { return };
        if let Some(today) = &planned.today {
            println!("\n{}", practice::today(today));
        }
        if let Some(by_record) = planned.by_record {
            println!("Level by the record: {}.", practice::level(by_record));
        }
    }

    fn show_judged(&self, judged: &Judged) {
        for t in &judged.troubles {
            println!("{t}");
        }
        if let Some(dealt) = &self.dealt {
            let text = show::judgement(
                &self.site,
                &self.step,
                &dealt.situation,
                &judged.judgement,
                &judged.evidence,
            );
            print!("{text}");
        }
        println!("{}", show::answer(&judged.answer, &self.step));
    }
}

/// A line from the user; `None` at the end of the input.
pub(super) fn ask(question: &str) -> Result<Option<String>, Failure> {
    print!("{question}");
    std::io::stdout().flush()?;
    super::common::line()
}
