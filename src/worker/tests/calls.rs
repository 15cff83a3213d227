//! A class, other calls, a microphone that fails, a call that is taught.

use super::*;

#[test]
fn a_class_is_made_filled_called_and_its_board_told() {
    use super::meeting::{ClassCommand, ClassEvent};
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::at(dir.path());
    desk.begin();
    let classes = |e: &Event| match e {
        Event::Class(ClassEvent::Classes(c)) => Some(c.clone()),
        _ => None,
    };
    desk.send(Command::Class(ClassCommand::New("Tuesday".into())));
    let made = desk.until(classes);
    assert_eq!((made[0].name.as_str(), made[0].members.len()), ("Tuesday", 0));
    desk.send(Command::Class(ClassCommand::New("  ".into())));
    desk.trouble("class");
    let class = made[0].id;
    desk.send(Command::AddStudent {
        name: "Kim".into(),
        consent: false,
        by: None,
    });
    let student = desk.until(|e| match e {
        Event::Student(Some(s)) if s.name == "Kim" => Some(s.id),
        _ => None,
    });
    desk.send(Command::Class(ClassCommand::Member {
        class,
        student,
        member: true,
    }));
    assert_eq!(desk.until(classes)[0].members, [student]);
    desk.send(Command::Class(ClassCommand::Call("Kim".into())));
    desk.send(Command::Next);
    desk.state(TurnState::YourCall);
    desk.send(Command::Type(
        "winch, golf charlie lima romeo mike, north winch cable, ready".into(),
    ));
    desk.until(|e| matches!(e, Event::Stored(_)).then_some(()));
    desk.send(Command::Class(ClassCommand::Board(Some(class))));
    let board = desk.until(|e| match e {
        Event::Class(ClassEvent::Board(b)) => Some(b.clone()),
        _ => None,
    });
    let row = &board.rows[0];
    assert_eq!(
        (row.name.as_str(), row.today, row.at_once.came, row.at_once.of),
        ("Kim", 1, 0, 1)
    );
}

#[test]
fn another_call_is_practised_and_nothing_plays_where_there_is_no_loudspeaker() {
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::at(dir.path());
    desk.begin();
    desk.send(Command::PlayModel { slow: false });
    desk.trouble("no loudspeaker");
    desk.send(Command::PlayPart { begin: 0.0, end: 1.0 });
    desk.trouble("no spoken call");
    desk.send(Command::ChooseStep("stop".into()));
    let dealt = |e: &Event| match e {
        Event::Dealt(d) => Some(d.clone()),
        _ => None,
    };
    assert_eq!(desk.until(dealt).step, "stop");
    desk.state(TurnState::YourCall);
    desk.send(Command::Type("stop".into()));
    assert_eq!(desk.judged().judgement.outcome, Outcome::Pass);
    desk.send(Command::Speak(Box::new(clip())));
    // This desk's situation is fixed; the step is taken up.
    desk.send(Command::Deal {
        situation: "D-2058,1,south".parse().unwrap(),
        step: Some("ready".into()),
    });
    let again = desk.until(dealt);
    assert_eq!(
        (again.situation.callsign.to_string().as_str(), again.step.as_str()),
        ("G-CLRM", "ready")
    );
}

#[test]
fn a_call_in_which_the_microphone_failed_is_void_and_no_attempt() {
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::at(dir.path());
    desk.begin();
    let lost = || Clip {
        troubles: vec![crate::sound::ClipTrouble::DeviceLost { at_seconds: 0.5 }],
        ..clip()
    };
    *desk.text.lock().unwrap() = "winch golf charlie lima".into();
    desk.send(Command::Speak(Box::new(lost())));
    let void = desk.judged();
    assert!(void.void);
    let undone = |v: &Verdict| matches!(v, Verdict::Missing | Verdict::Wrong);
    assert!(!void.judgement.elements.iter().any(|e| undone(&e.verdict)), "{void:?}");
    // Stored and state come from two threads, in either order.
    desk.state(TurnState::YourCall);
    // The next one is the first attempt of the turn.
    desk.send(Command::Type(
        "winch golf charlie lima romeo mike two up north winch cable ready".into(),
    ));
    let whole = desk.judged();
    assert_eq!((whole.attempt, whole.judgement.outcome), (1, Outcome::Pass));
    desk.stored();
    drop(desk);
    let attempts = book(dir.path()).attempts(Whose::Anyone, 0, 9).unwrap();
    let held: Vec<bool> = attempts.iter().map(|a| a.held_out).collect();
    assert_eq!(held, [false, true], "newest first");
    // A stop is obeyed, whatever the microphone did.
    let desk = Desk::at(dir.path());
    desk.begin();
    *desk.text.lock().unwrap() = "stop stop stop".into();
    desk.send(Command::Speak(Box::new(lost())));
    let stop = desk.judged();
    assert!(!stop.void && matches!(stop.answer, Answer::Stopped(_)), "{stop:?}");
}

#[test]
fn a_call_is_taught_with_its_words_then_letters_then_from_memory() {
    use crate::plan::Level;
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::at(dir.path());
    desk.send(Command::Teach(true));
    desk.send(Command::LoadSite(SiteRequest("larkmoor".into())));
    let right = "winch golf charlie lima romeo mike two up north winch cable ready";
    for call in [right, right, right, right, right, "winch", right] {
        desk.send(Command::Next);
        desk.until(|e| matches!(e, Event::Dealt(_)).then_some(()));
        desk.state(TurnState::YourCall);
        desk.send(Command::Type(call.into()));
        desk.judged();
        desk.stored();
    }
    drop(desk);
    let told = |a: &crate::logbook::AttemptSummary| {
        let level = a.situation.get(crate::logbook::LEVEL).and_then(|l| l.as_str());
        level.map_or(Some(Level::Written), Level::of)
    };
    let book = book(dir.path());
    let mut kept: Vec<_> = book.attempts(Whose::Anyone, 0, 20).unwrap().iter().map(told).collect();
    kept.reverse();
    let (words, letters, memory) = (Some(Level::WithWords), Some(Level::FirstLetters), Some(Level::Written));
    // Five right ones, a failure that takes one off, and one more.
    assert_eq!(kept, [words, words, letters, letters, memory, memory, memory]);
    let first = book.progress(Whose::Anyone, Some("larkmoor")).unwrap();
    assert_eq!(first.days[0].first, 3, "reading aloud is no first try");
}

/// "Not ready" is no error: nobody urges, nothing moves, and what it left out counts for nothing.
#[test]
fn who_says_not_ready_is_not_urged_and_it_is_no_error() {
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::at(dir.path());
    desk.begin();
    desk.send(Command::Type(
        "winch golf charlie lima romeo mike two up north winch cable not ready".into(),
    ));
    let judged = desk.judged();
    assert_eq!(judged.answer, Answer::NothingMoves);
    desk.stored();
    drop(desk);
    let attempts = book(dir.path()).attempts(Whose::Anyone, 0, 9).unwrap();
    let kept: Vec<_> = attempts.iter().map(|a| (a.part.kind, a.outcome)).collect();
    assert_eq!(kept, [(crate::logbook::Kind::Hazard, Outcome::Pass)]);
}

/// Neither is a stop, nor does it stand in the record as one.
#[test]
fn a_stop_is_no_error_in_the_record() {
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::at(dir.path());
    desk.begin();
    desk.send(Command::Type("stop stop stop".into()));
    assert!(matches!(desk.judged().answer, Answer::Stopped(_)));
    desk.stored();
    drop(desk);
    let attempts = book(dir.path()).attempts(Whose::Anyone, 0, 9).unwrap();
    let kept: Vec<_> = attempts.iter().map(|a| (a.part.kind, a.outcome, a.score)).collect();
    assert_eq!(kept, [(crate::logbook::Kind::Hazard, Outcome::Pass, None)]);
}

/// "Negative" answers what was read back wrong: it takes nothing from what follows. What stands from the call before is known
/// from what was said now, and so is an answer that answers nothing.
#[test]
fn a_no_to_what_was_read_back_corrects_it() {
    let dir = tempfile::tempdir().unwrap();
    for (answer, outcome) in [
        ("negative, north winch cable", Outcome::Pass),
        ("no, north", Outcome::Pass),
        ("negative, south winch cable", Outcome::NotYet),
        ("negative", Outcome::NotYet),
        ("negative, not north", Outcome::NotYet),
    ] {
        let desk = Desk::at(dir.path());
        desk.begin();
        desk.send(Command::Type(
            "winch golf charlie lima romeo mike two up south winch cable ready".into(),
        ));
        let first = desk.judged();
        assert!(
            matches!(&first.answer, Answer::ReadBack { element, .. } if element == "cable"),
            "{:?}",
            first.answer
        );
        assert!(first.kept.is_empty());
        desk.send(Command::Type(answer.into()));
        let second = desk.judged();
        assert_eq!(second.judgement.outcome, outcome, "{answer}: {:?}", second.judgement);
        if outcome == Outcome::Pass {
            let kept = |id: &str| second.kept.iter().any(|k| k == id);
            assert!(kept("callsign") && !kept("cable"), "{answer}: {:?}", second.kept);
        }
    }
}
