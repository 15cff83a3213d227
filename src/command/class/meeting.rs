//! A class at one computer and microphone: called by the voice one after another, with a board.

use super::{BoardArgs, Failure, RunArgs, logbook, members};
use crate::class::Rota;
use crate::command::common;
use crate::command::drill::{Terminal, ask};
use crate::command::sound::play;
use crate::logbook::Logbook;
use crate::site::{Language, Site};
use crate::voice::{Line, Role, Speaker};
use crate::worker::meeting::board_of as board_of_members;
use crate::worker::{Command, Event};
use std::process::ExitCode;
use uuid::Uuid;

/// The voice that calls the students. Where it cannot be heard, the screen says the same.
struct Caller {
    speaker: Option<Speaker>,
    language: Language,
}

impl Caller {
    fn new(language: Language, heard: bool) -> Self {
        let speaker = if heard { Speaker::open().map(Some) } else { Ok(None) };
        let speaker = speaker.unwrap_or_else(|e| {
            println!("{e}");
            None
        });
        Self { speaker, language }
    }

    fn call(&mut self, name: &str) {
        let text = self.language.text("class.call", &[("name", name)]);
        println!("\n{text}");
        let Some(speaker) = &self.speaker else { return };
        let line = Line {
            text,
            clip: None,
            role: Role::Instructor,
            language: self.language,
        };
        let said = speaker
            .speak(line, None)
            .map_err(super::Failure::from)
            .and_then(|spoken| play(spoken.samples, None));
        if let Err(e) = said {
            println!("{e}");
            self.speaker = None;
        }
    }
}

pub(super) fn run(args: &RunArgs) -> Result<ExitCode, Failure> {
    let site = args.site.load()?;
    for asked in &args.steps {
        let step = common::step(&site, asked)?;
        if !step.by.has_words() {
            return Err(format!("the step \"{}\" is done by hand and has no words", step.id).into());
        }
    }
    let [first, ..] = args.steps.as_slice() else {
        return Err("no step is named".into());
    };
    let step = common::step(&site, first)?.clone();
    let book = logbook()?;
    let members = members(&book, &args.members)?;
    let options = args.hearing.options(args.site.phrases.clone(), first.clone());
    let mut caller = Caller::new(site.language, !args.hearing.typed);
    let mut terminal = Terminal::open(&args.site, site, step, options)?;
    if !args.hearing.typed {
        terminal.wait_for_the_model()?;
    }
    let mut rota = Rota::new(members.len(), args.calls);
    let mut turns = vec![0_usize; members.len()];
    let mut round = 0;
    while let Some(member) = rota.call_next() {
        let (id, name) = &members[member];
        caller.call(name);
        let answer = ask("Enter begins, s: not here (called again in the next round), q: end of the class. ")?;
        match answer.as_deref().map(str::trim) {
            None | Some("q") => break,
            Some("s") => {
                rota.pass(member);
                continue;
            }
            Some(_) => {}
        }
        terminal.send(Command::ChooseStudent(Some(*id)));
        terminal.until(|e| matches!(e, Event::Student(Some(s)) if s.id == *id))?;
        let deal = match args.steps.as_slice() {
            [_] => Command::Next,
            steps => Command::ChooseStep(steps[turns[member] % steps.len()].clone()),
        };
        if !terminal.turn(deal, args.hearing.typed)? {
            break;
        }
        turns[member] += 1;
        round += 1;
        if round == members.len() {
            round = 0;
            println!("\n{}", board_of(&book, &terminal.site, &members)?);
        }
    }
    if round > 0 {
        println!("\n{}", board_of(&book, &terminal.site, &members)?);
    }
    println!("{}", attendance(&members, &turns));
    terminal.finish()?;
    Ok(ExitCode::SUCCESS)
}

/// Who was there, with the calls made, and who was not.
fn attendance(members: &[(Uuid, String)], called: &[usize]) -> String {
    let both = || members.iter().map(|(_, name)| name).zip(called);
    let here: Vec<String> = both()
        .filter(|(_, n)| **n > 0)
        .map(|(name, n)| format!("{name} ({n})"))
        .collect();
    let away: Vec<&str> = both()
        .filter(|(_, n)| **n == 0)
        .map(|(name, _)| name.as_str())
        .collect();
    let list = |names: String| if names.is_empty() { "nobody".to_owned() } else { names };
    format!(
        "Called today: {}. Without a call: {}.",
        list(here.join(", ")),
        list(away.join(", "))
    )
}

pub(super) fn show_board(args: &BoardArgs) -> Result<ExitCode, Failure> {
    let site = args.site.load()?;
    let book = logbook()?;
    let members = members(&book, &args.members)?;
    print!("{}", board_of(&book, &site, &members)?);
    println!("{}", site.caution);
    common::say_stepped_over(&book)?;
    Ok(ExitCode::SUCCESS)
}

/// The board as it stands in the logbook now.
fn board_of(book: &Logbook, site: &Site, members: &[(Uuid, String)]) -> Result<String, Failure> {
    Ok(board_of_members(book, site, members, common::today())?.text(site.language))
}
