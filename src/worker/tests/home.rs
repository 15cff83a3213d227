//! Files that go from one computer to another.

use super::super::home::{HomeCommand, HomeEvent, use_site};
use super::*;
use crate::class::{HandOut, Practice, PracticeCall, Secret};
use crate::folders::archive::pack;
use crate::folders::content::Content;

fn told(event: &Event) -> Option<HomeEvent> {
    match event {
        Event::Home(told) => Some(told.clone()),
        _ => None,
    }
}

fn open(desk: &Desk, file: &Path) -> HomeEvent {
    desk.send(Command::Home(HomeCommand::Open(file.to_path_buf())));
    desk.until(told)
}

fn why_not(desk: &Desk, file: &Path) -> String {
    match open(desk, file) {
        HomeEvent::Failed(why) => why.text,
        other => panic!("{} was taken: {other:?}", file.display()),
    }
}

/// The calls of a practice that are left.
fn left(desk: &Desk, file: &Path) -> Vec<usize> {
    match open(desk, file) {
        HomeEvent::Practice(opened) => opened.open,
        other => panic!("no practice: {other:?}"),
    }
}

fn add_kim(desk: &Desk) -> uuid::Uuid {
    desk.send(Command::AddStudent {
        name: "Kim".into(),
        consent: false,
        by: None,
    });
    desk.until(|e| match e {
        Event::Student(Some(s)) if s.name == "Kim" => Some(s.id),
        _ => None,
    })
}

/// Two ready calls for a student.
fn practice(student: uuid::Uuid) -> Practice {
    let site = crate::folders::load_site("larkmoor", None).unwrap().0;
    let call = || PracticeCall {
        step: "ready".into(),
        situation: SITUATION.parse::<SituationRequest>().unwrap().at(&site).unwrap(),
    };
    Practice {
        id: uuid::Uuid::from_u128(1),
        class: "Tuesday".into(),
        student,
        name: "Kim".into(),
        site: site.id.clone(),
        site_version: site.version.clone(),
        date: jiff::civil::date(2026, 4, 1),
        steps: Vec::new(),
        phrases: std::collections::BTreeMap::new(),
        seed: 1,
        calls: vec![call(), call()],
    }
}

#[test]
fn practice_is_opened_made_handed_in_and_taken_in() {
    let (club, home) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let at_club = Desk::at(club.path());
    at_club.begin();
    let practice = practice(add_kim(&at_club));
    let secret = Secret::new([7; 32]);
    std::fs::write(club.path().join(crate::folders::CLASS_SECRET), secret.text()).unwrap();
    let file = home.path().join("Kim-1.practice.cableside");
    std::fs::write(&file, HandOut::new(practice.clone(), &secret).bytes()).unwrap();

    let at_home = Desk::at(home.path());
    at_home.begin();
    add_kim(&at_home);
    assert_eq!(left(&at_home, &file), [0, 1]);
    let hand_in = || {
        at_home.send(Command::Home(HomeCommand::HandIn {
            file: file.clone(),
            recordings: true,
        }));
        at_home.until(told)
    };
    assert!(matches!(hand_in(), HomeEvent::Failed(why) if why.text.contains("practise first")));
    at_home.send(Command::Given(Box::new(GivenCall {
        step: "ready".into(),
        situation: practice.calls[0].situation.clone(),
        turn: practice.turn(0),
    })));
    at_home.state(TurnState::YourCall);
    at_home.send(Command::Type(
        "winch, golf charlie lima romeo mike, north winch cable, ready".into(),
    ));
    at_home.until(|e| matches!(e, Event::Stored(_)).then_some(()));
    assert_eq!(left(&at_home, &file), [1]);
    let (HomeEvent::HandedIn(done), HomeEvent::HandedIn(again)) = (hand_in(), hand_in()) else {
        panic!("not handed in")
    };
    assert_eq!((done.attempts, done.left), (1, 1));
    assert_eq!(done.file, home.path().join("Kim-1.results.cableside"));
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
    let mut bytes = std::fs::read(&done.file).unwrap();
    bytes[60] ^= 1;
    let changed = club.path().join("changed.cableside");
    std::fs::write(&changed, bytes).unwrap();
    let why = why_not(&at_club, &changed);
    assert!(why.contains("changed after it was sealed"), "{why}");
}

#[test]
fn a_site_goes_to_the_desk_and_what_is_no_file_of_the_programs_is_named() {
    let club = tempfile::tempdir().unwrap();
    let desk = Desk::at(club.path());
    desk.begin();
    let archive = club.path().join("site.cableside");
    let files = crate::site::bundled::files("larkmoor").unwrap();
    pack(&Content::of_texts(&files.texts), "larkmoor", &archive).unwrap();
    assert!(matches!(open(&desk, &archive), HomeEvent::Site(f) if f == archive));
    let other = club.path().join("other.cableside");
    for (bytes, part) in [
        (&b"MZ"[..], "no file of the program's"),
        (b"{}", "no practice file"),
        (b"", "no file of"),
    ] {
        std::fs::write(&other, bytes).unwrap();
        let why = why_not(&desk, &other);
        assert!(why.contains(part), "{why}");
    }
    let why = why_not(&desk, &club.path().join("gone.cableside"));
    assert!(why.contains("gone.cableside"), "{why}");
}

/// At home there need be nothing but the file: the site in it becomes one of the student's own, and is not put there twice.
#[test]
fn the_site_of_a_practice_comes_with_it() {
    let home = tempfile::tempdir().unwrap();
    let phrases = home.path().join("phrases");
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sites/kranmoor");
    let files = crate::folders::read_site(&folder);
    let site = crate::site::Site::check(&files).unwrap();
    let with_site = |texts: std::collections::BTreeMap<String, String>| {
        let file = home.path().join("Kim.practice.cableside");
        let practice = Practice {
            site: site.id.clone(),
            site_version: site.version.clone(),
            calls: vec![PracticeCall {
                step: "ready".into(),
                situation: crate::call::Situation::new(
                    site.fleet[0].registration.clone(),
                    site.fleet[0].seats,
                    site.cables[0].id.clone(),
                ),
            }],
            phrases: texts,
            ..practice(uuid::Uuid::from_u128(9))
        };
        std::fs::write(&file, HandOut::new(practice, &Secret::new([5; 32])).bytes()).unwrap();
        file
    };
    let mut outside = files.texts.clone();
    outside.insert("../more.toml".to_owned(), String::new());
    assert!(use_site(&with_site(outside), &phrases).is_err());
    assert!(!phrases.exists());
    let file = with_site(files.texts.clone());
    for _ in 0..2 {
        assert_eq!(use_site(&file, &phrases).unwrap(), "kranmoor");
        assert_eq!(crate::folders::read_site(&phrases.join("kranmoor")).texts, files.texts);
    }
}
