//! The instructor's work with the record, through the worker.

use super::super::home::HomeCommand;
use super::super::office::{HandingOut, OfficeCommand, OfficeEvent, PersonChange, Ruling};
use super::super::papers::{Form, Of, Wanted};
use super::*;
use crate::logbook::{Retention, Student};
use uuid::Uuid;

fn office(desk: &Desk, command: OfficeCommand) {
    desk.send(Command::Office(command));
}

/// The next event of the office that is wanted.
fn told<T>(desk: &Desk, wanted: impl Fn(&OfficeEvent) -> Option<T>) -> T {
    desk.until(|e| match e {
        Event::Office(told) => wanted(told),
        _ => None,
    })
}

fn failed(desk: &Desk) -> (Option<&'static str>, String) {
    told(desk, |e| match e {
        OfficeEvent::Failed(why) => Some((why.key, why.text.clone())),
        _ => None,
    })
}

fn add(desk: &Desk, name: &str) -> Student {
    desk.send(Command::AddStudent {
        name: name.into(),
        consent: true,
        by: None,
    });
    desk.until(|e| match e {
        Event::Student(Some(s)) if s.name == name => Some(s.clone()),
        _ => None,
    })
}

fn call(desk: &Desk, text: &str) -> Uuid {
    desk.send(Command::Next);
    desk.state(TurnState::YourCall);
    desk.send(Command::Type(text.into()));
    desk.until(|e| match e {
        Event::Stored(id) => Some(*id),
        _ => None,
    })
}

const RIGHT: &str = "winch, golf charlie lima romeo mike, two up, north winch cable, ready";
const NO_CREW: &str = "winch, golf charlie lima romeo mike, north winch cable, ready";

fn disputed(desk: &Desk) -> Vec<Uuid> {
    told(desk, |e| match e {
        OfficeEvent::Disputed(calls) => Some(calls.iter().map(|c| c.id).collect()),
        _ => None,
    })
}

#[test]
fn a_disputed_call_is_opened_and_overruled_with_a_reason_behind_the_pin() {
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::at(dir.path());
    desk.begin();
    let ines = add(&desk, "Ines");
    office(
        &desk,
        OfficeCommand::Change {
            who: ines.id,
            change: PersonChange::Instructor(true),
        },
    );
    let pin = |old: &str, new: &str| PersonChange::Pin {
        old: old.into(),
        new: Some(new.into()),
    };
    office(
        &desk,
        OfficeCommand::Change {
            who: ines.id,
            change: pin("", "4711"),
        },
    );
    // Once with the role, once with the PIN.
    for has_pin in [false, true] {
        let person = told(&desk, |e| match e {
            OfficeEvent::Person(p) => Some(p.student.clone()),
            _ => None,
        });
        assert_eq!((person.is_instructor(), person.has_pin), (true, has_pin));
    }
    add(&desk, "Robin");
    let id = call(&desk, NO_CREW);
    desk.send(Command::HoldOut {
        attempt: id,
        held: true,
    });
    office(&desk, OfficeCommand::Lock);
    office(&desk, OfficeCommand::Look);
    told(&desk, |e| matches!(e, OfficeEvent::Locked).then_some(()));
    office(&desk, OfficeCommand::Forget(ines.id));
    told(&desk, |e| matches!(e, OfficeEvent::Locked).then_some(()));
    office(
        &desk,
        OfficeCommand::Unlock {
            who: ines.id,
            pin: "0000".into(),
        },
    );
    assert_eq!(failed(&desk).0, Some("wrong_pin"));
    office(
        &desk,
        OfficeCommand::Unlock {
            who: ines.id,
            pin: "4711".into(),
        },
    );
    assert_eq!(
        told(&desk, |e| match e {
            OfficeEvent::Unlocked(by) => Some(*by),
            _ => None,
        }),
        Some(ines.id)
    );
    assert_eq!(disputed(&desk), [id]);
    office(&desk, OfficeCommand::Open(id));
    let opened = told(&desk, |e| match e {
        OfficeEvent::Call(call) => Some((**call).clone()),
        _ => None,
    });
    assert_eq!(opened.name.as_deref(), Some("Robin"));
    assert!(opened.stored.attempt.transcript.contains("north winch cable"));
    let ruling = |reason: &str| {
        OfficeCommand::Judge(Ruling {
            attempt: id,
            overrule: vec![("crew".into(), Verdict::Said)],
            by: ines.id,
            reason: reason.into(),
        })
    };
    office(&desk, ruling(" "));
    failed(&desk);
    office(&desk, ruling("\"two up\" is in the recording"));
    assert!(disputed(&desk).is_empty());
    drop(desk);
    let stored = book(dir.path()).attempt(id).unwrap().unwrap();
    assert_eq!(stored.counted(), Outcome::Pass);
    assert!(!stored.attempt.held_out);
}

#[test]
fn reports_are_written_beside_what_is_there() {
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::at(dir.path());
    let wanted = |of| Wanted {
        of,
        form: Form::Csv,
        each: false,
        from: None,
        until: None,
        date: jiff::civil::date(2026, 4, 1),
    };
    let file = dir.path().join("robin.csv");
    let report = |of| OfficeCommand::Report {
        wanted: wanted(of),
        file: file.clone(),
    };
    office(&desk, report(Of::Everybody));
    assert_eq!(failed(&desk).0, Some("no_site"));
    desk.begin();
    office(&desk, report(Of::Everybody));
    assert_eq!(failed(&desk).0, Some("nobody"));
    let robin = add(&desk, "Robin");
    call(&desk, RIGHT);
    let written = |command| {
        office(&desk, command);
        told(&desk, |e| match e {
            OfficeEvent::Written(file) => Some(file.clone()),
            _ => None,
        })
    };
    assert_eq!(written(report(Of::Student(robin.id))), file);
    assert_eq!(written(report(Of::Everybody)), dir.path().join("robin-2.csv"));
    let text = std::fs::read_to_string(&file).unwrap();
    assert!(text.contains("Robin"), "{text}");
    let wall = written(OfficeCommand::Wall(dir.path().join("wall.pdf")));
    assert!(std::fs::read(wall).unwrap().starts_with(b"%PDF"));
    office(&desk, OfficeCommand::Wall(dir.path().join("no/such/folder.pdf")));
    let (key, text) = failed(&desk);
    assert!(key == Some("write") && text.contains("folder.pdf"), "{text}");
}

#[test]
fn practice_goes_out_and_results_come_back_several_at_a_time() {
    let (club, home) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let desk = Desk::at(club.path());
    desk.begin();
    let members: Vec<(Uuid, String)> = ["Kim", "Lou"]
        .map(|name| (add(&desk, name).id, name.to_owned()))
        .to_vec();
    let folder = home.path().join("practice");
    office(
        &desk,
        OfficeCommand::HandOut(HandingOut {
            class: "Tuesday".into(),
            members,
            steps: vec!["ready".into()],
            calls: 1,
            seed: Some(7),
            folder: folder.clone(),
        }),
    );
    assert_eq!(
        told(&desk, |e| match e {
            OfficeEvent::HandedOut(out) => Some((out.files, out.before)),
            _ => None,
        }),
        (2, 0)
    );
    let files: Vec<_> = std::fs::read_dir(&folder).unwrap().map(|e| e.unwrap().path()).collect();
    // Each at home on a computer of their own.
    for file in files {
        let practice = super::super::home::read_practice(&file).unwrap().practice;
        let own = tempfile::tempdir().unwrap();
        let at_home = Desk::at(own.path());
        at_home.begin();
        add(&at_home, &practice.name);
        at_home.send(Command::Given(Box::new(GivenCall {
            step: "ready".into(),
            situation: practice.calls[0].situation.clone(),
            turn: practice.turn(0),
        })));
        at_home.state(TurnState::YourCall);
        at_home.send(Command::Type("winch, ready".into()));
        at_home.stored();
        at_home.send(Command::Home(HomeCommand::HandIn { file, recordings: true }));
        at_home.until(|e| matches!(e, Event::Home(_)).then_some(()));
    }
    let broken = folder.join("broken.results.cableside");
    let good = std::fs::read_dir(&folder).unwrap().map(|e| e.unwrap().path());
    let good: Vec<_> = good.filter(|p| p.to_string_lossy().contains(".results.")).collect();
    let mut bytes = std::fs::read(&good[0]).unwrap();
    bytes[60] ^= 1;
    std::fs::write(&broken, bytes).unwrap();
    office(&desk, OfficeCommand::LookIn(vec![folder.clone()]));
    let batch = told(&desk, |e| match e {
        OfficeEvent::Batch(batch) => Some(batch.clone()),
        _ => None,
    });
    let whose: Vec<Result<&str, ()>> = batch
        .sheets
        .iter()
        .map(|s| s.inside.as_ref().map(|(name, ..)| name.as_str()).map_err(|_| ()))
        .collect();
    assert_eq!(whose.iter().filter(|w| w.is_err()).count(), 1, "{batch:?}");
    assert!(whose.contains(&Ok("Kim")) && whose.contains(&Ok("Lou")), "{batch:?}");
    // Nothing was taken by looking.
    assert_eq!(book(club.path()).count_attempts(Whose::Anyone).unwrap(), 0);
    office(&desk, OfficeCommand::TakeIn(good));
    let taken = told(&desk, |e| match e {
        OfficeEvent::BatchTaken(batch) => Some(batch.clone()),
        _ => None,
    });
    let stored: Vec<usize> = taken.sheets.iter().map(|s| s.taken.unwrap().stored).collect();
    assert_eq!(stored, [1, 1]);
    assert_eq!(book(club.path()).count_attempts(Whose::Anyone).unwrap(), 2);
}

#[test]
fn a_merge_is_foreseen_before_it_is_done() {
    let (one, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let there = Desk::at(other.path());
    there.begin();
    add(&there, "Kim");
    call(&there, RIGHT);
    drop(there);
    let desk = Desk::at(one.path());
    desk.begin();
    add(&desk, "Robin");
    let merge = |sure| OfficeCommand::Merge {
        other: other.path().join("logbook.sqlite"),
        sure,
    };
    office(&desk, merge(false));
    let foreseen = told(&desk, |e| match e {
        OfficeEvent::MergeForeseen(_, merged) => Some((**merged).clone()),
        _ => None,
    });
    assert_eq!(
        (foreseen.attempts, foreseen.who_came.as_slice()),
        (1, &["Kim".to_owned()][..])
    );
    let book_here = book(one.path());
    assert_eq!(
        (
            book_here.students().unwrap().len(),
            book_here.count_attempts(Whose::Anyone).unwrap()
        ),
        (1, 0)
    );
    drop(book_here);
    assert!(!one.path().join("logbook.sqlite.before-merge.backup").exists());
    office(&desk, merge(true));
    let merged = told(&desk, |e| match e {
        OfficeEvent::Merged(merged) => Some((**merged).clone()),
        _ => None,
    });
    assert_eq!(
        (merged.attempts, merged.students),
        (foreseen.attempts, foreseen.students)
    );
    assert_eq!(book(one.path()).count_attempts(Whose::Anyone).unwrap(), 1);
    let nothing = one.path().join("recordings.txt");
    std::fs::write(
        &nothing,
        "a shopping list, longer than the head of a database ".repeat(20),
    )
    .unwrap();
    office(
        &desk,
        OfficeCommand::Merge {
            other: nothing,
            sure: false,
        },
    );
    assert_eq!(failed(&desk).0, Some("no_logbook"));
}

#[test]
fn what_a_rule_would_remove_is_told_and_who_practises_can_be_forgotten() {
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::at(dir.path());
    desk.begin();
    let robin = add(&desk, "Robin");
    let id = call(&desk, RIGHT);
    drop(desk);
    // Another one of the same was made more than a year ago.
    let mut record = book(dir.path());
    let mut old = record.attempt(id).unwrap().unwrap().attempt;
    old.id = Uuid::new_v4();
    old.turn = Uuid::new_v4();
    old.started_at -= jiff::SignedDuration::from_hours(24 * 366);
    record.record(&old, jiff::Timestamp::now()).unwrap();
    drop(record);
    let desk = Desk::at(dir.path());
    desk.begin();
    desk.send(Command::ChooseStudent(Some(robin.id)));
    desk.until(|e| matches!(e, Event::Student(Some(_))).then_some(()));
    let keep = Retention {
        recordings_days: None,
        attempts_days: Some(365),
    };
    office(
        &desk,
        OfficeCommand::Keep {
            who: None,
            keep,
            sure: false,
        },
    );
    let foreseen = told(&desk, |e| match e {
        OfficeEvent::KeepForeseen(None, _, old) => Some((old.attempts, old.recordings)),
        _ => None,
    });
    assert_eq!(foreseen, (1, 0));
    assert!(book(dir.path()).attempt(old.id).unwrap().is_some());
    assert_eq!(book(dir.path()).retention().unwrap(), Retention::default());
    office(
        &desk,
        OfficeCommand::Keep {
            who: None,
            keep,
            sure: true,
        },
    );
    assert_eq!(
        told(&desk, |e| match e {
            OfficeEvent::Kept(keep) => Some(*keep),
            _ => None,
        }),
        keep
    );
    // For one person too nothing holds before it was foreseen and said again.
    let who = Some(robin.id);
    office(&desk, OfficeCommand::Keep { who, keep, sure: false });
    let foreseen = told(&desk, |e| match e {
        OfficeEvent::KeepForeseen(Some(of), _, old) => Some((*of, old.attempts)),
        _ => None,
    });
    assert_eq!(foreseen, (robin.id, 1));
    assert_eq!(book(dir.path()).student(robin.id).unwrap().keep, Retention::default());
    office(&desk, OfficeCommand::Keep { who, keep, sure: true });
    let kept = told(&desk, |e| match e {
        OfficeEvent::Person(p) => Some(p.student.keep),
        _ => None,
    });
    assert_eq!(kept, keep);
    office(&desk, OfficeCommand::Person(robin.id));
    let person = told(&desk, |e| match e {
        OfficeEvent::Person(p) => Some((p.attempts, p.recordings)),
        _ => None,
    });
    assert_eq!(person, (2, 0));
    office(&desk, OfficeCommand::Forget(robin.id));
    told(&desk, |e| {
        matches!(e, OfficeEvent::Forgotten(name, gone) if name == "Robin" && gone.attempts == 2).then_some(())
    });
    // Nobody practises now.
    desk.until(|e| matches!(e, Event::Student(None)).then_some(()));
    assert!(book(dir.path()).students().unwrap().is_empty());
}
