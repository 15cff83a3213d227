//! Practice for home: handed out, practised, handed in, taken back.

use super::{Failure, HandInArgs, HandOutArgs, PractiseArgs, TakeInArgs, logbook, members};
use crate::class::{HandOut, LARGEST_FILE, Practice, Results, unpack};
use crate::command::common::{self, SiteChoice};
use crate::command::drill::Terminal;
use crate::command::logbook::counted;
use crate::logbook::{Logbook, LogbookError};
use crate::site::Site;
use crate::worker::home::{self, HandingOut, Taken, open_calls, read_practice, results_of};
use crate::worker::{Command, Event, GivenCall};
use jiff::Timestamp;
use std::fmt::Write as _;
use std::path::Path;
use std::process::ExitCode;

pub(super) fn hand_out(args: &HandOutArgs) -> Result<ExitCode, Failure> {
    let (site, folder) = args.site.load_with_folder()?;
    let phrases = home::texts(&site, folder.as_deref())?;
    let book = logbook()?;
    let members = members(&book, &args.members)?;
    let class = match (&args.name, &args.members.class) {
        (Some(name), _) => name.clone(),
        (None, Some(asked)) => book.find_class(asked)?.name,
        (None, None) => "Class".to_owned(),
    };
    let wanted = HandingOut {
        class,
        members,
        steps: args.steps.clone(),
        calls: args.calls,
        seed: args.seed,
        folder: args.out.clone(),
    };
    let secret = home::make_secret(&crate::folders::class_secret())?;
    home::hand_out(&site, phrases, &secret, &wanted, common::today(), &mut |name, file| {
        println!("{name}: {}", file.display());
        true
    })?;
    println!(
        "Give each student their own file. Results come back to this computer: the key to check them is here. Who has the \
         file can seal results with it, so a seal tells of changes on the way, not of who spoke."
    );
    Ok(ExitCode::SUCCESS)
}

/// Where a practice is practised: at the site here where it is the same, so that its recorded prompts are heard; else at the
/// one that came with the practice, in a folder that goes when this is dropped.
fn place(
    practice: &Practice,
    phrases: Option<&Path>,
) -> Result<(SiteChoice, Site, Option<tempfile::TempDir>), Failure> {
    let choice = |site: String| SiteChoice {
        site,
        phrases: phrases.map(Path::to_path_buf),
    };
    let here = choice(practice.site.clone());
    let Some(inside) = practice.site_inside()? else {
        let site = here.load()?;
        practice.check(&site)?;
        return Ok((here, site, None));
    };
    if let Ok((site, folder)) = here.load_with_folder()
        && home::texts(&site, folder.as_deref()).is_ok_and(|texts| texts == practice.phrases)
    {
        return Ok((here, site, None));
    }
    let folder = tempfile::Builder::new()
        .prefix("cableside-practice-")
        .tempdir()
        .map_err(|e| format!("could not make a folder for the site of the practice: {e}"))?;
    for (name, text) in &practice.phrases {
        let file = folder.path().join(name);
        std::fs::write(&file, text).map_err(|e| format!("could not write ({e}): {}", file.display()))?;
    }
    println!(
        "Practised at {} version {} as it came with the practice.",
        inside.name, inside.version
    );
    Ok((choice(folder.path().display().to_string()), inside, Some(folder)))
}

pub(super) fn practise(args: &PractiseArgs) -> Result<ExitCode, Failure> {
    let practice = read_practice(&args.file)?.practice;
    let (choice, site, _folder) = place(&practice, args.phrases.as_deref())?;
    let book = logbook()?;
    let asked = args.student.as_deref().unwrap_or(&practice.name);
    let student = book.find_student(asked).map_err(|e| match e {
        LogbookError::NoSuchStudent { .. } => format!(
            "{asked} is not in the logbook here: add yourself with cableside logbook student add \"{asked}\" --consent yes (or \
             no: then no recordings are kept), or name the student with --student"
        )
        .into(),
        e => Failure::from(e),
    })?;
    let open = open_calls(&book, &practice)?;
    println!(
        "{} for {}: {} of {} calls are left.",
        practice.class,
        practice.name,
        open.len(),
        practice.calls.len()
    );
    let Some(first) = open.first() else {
        println!(
            "Hand them in with: cableside class hand-in {} --out FILE",
            args.file.display()
        );
        return Ok(ExitCode::SUCCESS);
    };
    let step = common::step(&site, &practice.calls[*first].step)?.clone();
    let options = args.hearing.options(args.phrases.clone(), step.id.clone());
    let mut terminal = Terminal::open(&choice, site, step, options)?;
    terminal.send(Command::ChooseStudent(Some(student.id)));
    terminal.until(|e| matches!(e, Event::Student(Some(s)) if s.id == student.id))?;
    if !args.hearing.typed {
        terminal.wait_for_the_model()?;
    }
    for i in open {
        let call = &practice.calls[i];
        println!("\nCall {} of {}", i + 1, practice.calls.len());
        let given = Command::Given(Box::new(GivenCall {
            step: call.step.clone(),
            situation: call.situation.clone(),
            turn: practice.turn(i),
        }));
        if !terminal.turn(given, args.hearing.typed)? {
            println!("\nStopped. It goes on here the next time.");
            terminal.finish()?;
            return Ok(ExitCode::SUCCESS);
        }
    }
    terminal.finish()?;
    println!(
        "\nAll done. Hand it in with: cableside class hand-in {} --out FILE",
        args.file.display()
    );
    Ok(ExitCode::SUCCESS)
}

pub(super) fn hand_in(args: &HandInArgs) -> Result<ExitCode, Failure> {
    let HandOut { practice, key } = read_practice(&args.file)?;
    let book = logbook()?;
    let (left, all) = (open_calls(&book, &practice)?.len(), practice.calls.len());
    let (results, lost) = results_of(&book, practice, !args.without_recordings, Timestamp::now())?;
    if results.attempts.is_empty() {
        return Err(format!(
            "there is nothing to hand in yet: practise first with cableside class practise {}",
            args.file.display()
        )
        .into());
    }
    let out = common::named_to_open(&args.out, home::ENDING);
    common::write_new_bytes(&out, &results.seal(&key)?)?;
    println!(
        "{} and {} written: {}",
        counted(results.attempts.len(), "attempt"),
        counted(results.recordings.len(), "recording"),
        out.display()
    );
    if left > 0 {
        println!("{left} of {all} calls were not practised yet; you may hand in again later.");
    }
    if lost > 0 {
        println!("{lost} recordings are not there any more; their attempts are in the file without them.");
    }
    Ok(ExitCode::SUCCESS)
}

pub(super) fn take_in(args: &TakeInArgs) -> Result<ExitCode, Failure> {
    let secret = home::secret_for_results(&crate::folders::class_secret())?;
    let mut book = logbook()?;
    let mut refused = 0;
    for file in &args.files {
        let taken = read_results(file)
            .and_then(|bytes| Ok(unpack(&bytes, &secret)?))
            .and_then(|results| take(&mut book, &results, args.check));
        match taken {
            Ok(text) => println!("{}: {text}", file.display()),
            Err(e) => {
                refused += 1;
                println!("{}: NOT TAKEN (WHOLE): {e}", file.display());
            }
        }
    }
    if refused > 0 {
        return Err(format!("{refused} of {} files were not taken", args.files.len()).into());
    }
    Ok(ExitCode::SUCCESS)
}

/// The file's bytes; not those of something that is far too large to be one.
fn read_results(file: &Path) -> Result<Vec<u8>, Failure> {
    Ok(crate::folders::read_outside(file, LARGEST_FILE)?)
}

/// Into the logbook; gives back what to tell.
fn take(book: &mut Logbook, results: &Results, only_check: bool) -> Result<String, Failure> {
    let name = home::whose(book, results)?;
    let what = format!(
        "{name}, {} with {}, sealed {}",
        counted(results.attempts.len(), "attempt"),
        counted(results.recordings.len(), "recording"),
        home::sealed(results)
    );
    if only_check {
        return Ok(format!("unchanged. {what}; nothing was taken (--check)"));
    }
    let Taken {
        stored,
        here,
        gone,
        silent,
        twice,
    } = home::take(book, results, Timestamp::now())?;
    let mut told = format!("unchanged. {what}: {stored} new, {here} were here already");
    if gone > 0 {
        // Writing to a String cannot fail.
        let _ = write!(told, "; {gone} were removed here before and stay removed");
    }
    if twice > 0 {
        // Writing to a String cannot fail.
        let _ = write!(
            told,
            "; {twice} were left out: others of the same calls are here already (practised on another computer, or removed at home \
             since)"
        );
    }
    if silent > 0 {
        // Writing to a String cannot fail.
        let _ = write!(
            told,
            "; {silent} recordings were left out, since {name} has not consented to recordings here"
        );
    }
    Ok(told)
}
