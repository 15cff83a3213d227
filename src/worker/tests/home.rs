//! Files that go from one computer to another.

use super::super::home::{HomeCommand, HomeEvent};
use super::*;
use crate::class::{HandOut, Practice, PracticeCall, Secret};
use crate::folders::archive::pack;
use crate::folders::content::Content;

/// A file that is double-clicked: practice, then its results, and what is none of the program's.
#[test]
fn practice_is_opened_made_handed_in_and_taken_in() {
    let (club, home) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let told = |e: &Event| match e {
        Event::Home(told) => Some(told.clone()),
        _ => None,
    };
    let open = |desk: &Desk, file: &Path| {
        desk.send(Command::Home(HomeCommand::Open(file.to_path_buf())));
        desk.until(told)
    };
    let add = |desk: &Desk| {
        desk.send(Command::AddStudent {
            name: "Kim".into(),
            consent: false,
            by: None,
        });
        desk.until(|e| match e {
            Event::Student(Some(s)) if s.name == "Kim" => Some(s.id),
            _ => None,
        })
    };
    let at_club = Desk::at(club.path());
    at_club.begin();
    let student = add(&at_club);
    let site = crate::folders::load_site("larkmoor", None).unwrap().0;
    let call = || PracticeCall {
        step: "ready".into(),
        situation: SITUATION.parse::<SituationRequest>().unwrap().at(&site).unwrap(),
    };
    let practice = Practice {
        id: uuid::Uuid::from_u128(1),
        class: "Tuesday".into(),
        student,
        name: "Kim".into(),
        site: site.id.clone(),
        site_version: site.version.clone(),
        date: jiff::civil::date(2026, 4, 1),
        seed: 1,
        calls: vec![call(), call()],
    };
    let secret = Secret::new([7; 32]);
    std::fs::write(club.path().join(crate::folders::CLASS_SECRET), secret.text()).unwrap();
    let file = home.path().join("Kim-1.practice.cableside");
    std::fs::write(&file, HandOut::new(practice.clone(), &secret).bytes()).unwrap();

    let at_home = Desk::at(home.path());
    at_home.begin();
    add(&at_home);
    let HomeEvent::Practice(opened) = open(&at_home, &file) else {
        panic!("no practice")
    };
    assert_eq!((opened.practice.name.as_str(), &opened.open[..]), ("Kim", &[0, 1][..]));
    let hand_in = || {
        at_home.send(Command::Home(HomeCommand::HandIn {
            file: file.clone(),
            recordings: true,
        }));
        at_home.until(told)
    };
    let HomeEvent::Failed(why) = hand_in() else {
        panic!("nothing was practised")
    };
    assert!(why.contains("practise first"), "{why}");
    at_home.send(Command::Given(Box::new(Given {
        step: "ready".into(),
        situation: practice.calls[0].situation.clone(),
        turn: practice.turn(0),
    })));
    at_home.state(TurnState::YourCall);
    at_home.send(Command::Type(
        "winch, golf charlie lima romeo mike, north winch cable, ready".into(),
    ));
    at_home.until(|e| matches!(e, Event::Stored(_)).then_some(()));
    let HomeEvent::Practice(opened) = open(&at_home, &file) else {
        panic!("no practice")
    };
    assert_eq!(opened.open, [1]);
    let HomeEvent::HandedIn(done) = hand_in() else {
        panic!("not handed in")
    };
    assert_eq!((done.attempts, done.left), (1, 1));
    assert_eq!(done.file, home.path().join("Kim-1.results.cableside"));
    let HomeEvent::HandedIn(again) = hand_in() else {
        panic!("not handed in")
    };
    assert_eq!(again.file, home.path().join("Kim-1.results-2.cableside"));

    let HomeEvent::Results(looked) = open(&at_club, &done.file) else {
        panic!("no results")
    };
    assert_eq!((looked.name.as_str(), looked.attempts), ("Kim", 1));
    let take = || {
        at_club.send(Command::Home(HomeCommand::TakeIn(done.file.clone())));
        match at_club.until(told) {
            HomeEvent::TakenIn(taken) => (taken.stored, taken.here),
            other => panic!("{other:?}"),
        }
    };
    assert_eq!((take(), take()), ((1, 0), (0, 1)));

    // A site goes to the desk; anything else is none of the program's.
    let archive = club.path().join("site.cableside");
    let files = crate::site::bundled::files("larkmoor").unwrap();
    pack(&Content::of_texts(&files.texts), "larkmoor", &archive).unwrap();
    assert!(matches!(open(&at_club, &archive), HomeEvent::Site(f) if f == archive));
    let other = club.path().join("other.cableside");
    for (bytes, part) in [
        (&b"MZ"[..], "no file of the program's"),
        (b"{}", "no practice file"),
        (b"", "no file of"),
    ] {
        std::fs::write(&other, bytes).unwrap();
        let HomeEvent::Failed(why) = open(&at_club, &other) else {
            panic!("{bytes:?} was taken")
        };
        assert!(why.contains(part), "{why}");
    }
    let mut bytes = std::fs::read(&done.file).unwrap();
    bytes[60] ^= 1;
    std::fs::write(&other, bytes).unwrap();
    assert!(matches!(open(&at_club, &other), HomeEvent::Failed(why) if why.contains("changed after it was sealed")));
    assert!(
        matches!(open(&at_club, &club.path().join("gone.cableside")), HomeEvent::Failed(why) if why.contains("gone.cableside"))
    );
}
