use super::*;
use crate::site::edit::{LineKind, set_clip, set_head};

struct Desk {
    dir: tempfile::TempDir,
    places: Places,
}

impl Desk {
    fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let at = |name: &str| dir.path().join(name);
        let places = Places {
            first: None,
            own: at("phrases"),
            drafts: at("drafts"),
            exports: at("exports"),
            logbook: LogbookPlace::Memory,
        };
        Self { dir, places }
    }

    fn ask(&self, command: DeskCommand) -> DeskEvent {
        self.places.obey(command).unwrap()
    }

    fn refused(&self, command: DeskCommand) -> String {
        match self.places.obey(command) {
            Err(why) => why.text,
            Ok(event) => panic!("not refused: {event:?}"),
        }
    }

    fn open(&self, id: &str) -> Opened {
        opened(self.ask(DeskCommand::Open(id.into())))
    }

    fn copy(&self) -> Opened {
        opened(self.ask(DeskCommand::Copy {
            from: "larkmoor".into(),
            name: "Our Field".into(),
        }))
    }
}

fn opened(event: DeskEvent) -> Opened {
    match event {
        DeskEvent::Opened(o) => *o,
        other => panic!("not opened: {other:?}"),
    }
}

fn with_words(opened: &Opened, old: &str, new: &str) -> Texts {
    let mut texts = opened.texts.clone();
    let words = texts.get_mut("words.toml").unwrap();
    assert!(words.contains(old));
    *words = words.replace(old, new);
    texts
}

#[test]
fn a_site_that_ships_is_copied_and_never_saved_over() {
    let desk = Desk::new();
    let ships = desk.open("larkmoor");
    assert!(!ships.own);
    let why = desk.refused(DeskCommand::Save {
        id: "larkmoor".into(),
        texts: ships.texts,
    });
    assert!(why.contains("copy"), "{why}");
    let copy = desk.copy();
    assert!(copy.own && copy.draft.is_none() && copy.id == "our-field");
    let again = desk.refused(DeskCommand::Copy {
        from: "larkmoor".into(),
        name: "Our Field".into(),
    });
    assert!(again.contains("already"), "{again}");
}

#[test]
fn a_draft_survives_and_is_offered_again_until_it_is_saved_or_dropped() {
    let desk = Desk::new();
    let copy = desk.copy();
    let texts = with_words(&copy, "two up", "two aboard");
    desk.ask(DeskCommand::Keep {
        id: copy.id.clone(),
        texts: texts.clone(),
    });
    // The program starts anew.
    let found = desk.open("our-field");
    assert_eq!((found.texts, found.draft), (copy.texts.clone(), Some(texts.clone())));
    desk.ask(DeskCommand::Drop("our-field".into()));
    assert!(desk.open("our-field").draft.is_none());
    desk.ask(DeskCommand::Keep {
        id: copy.id.clone(),
        texts: texts.clone(),
    });
    let DeskEvent::Saved { older, .. } = desk.ask(DeskCommand::Save {
        id: copy.id.clone(),
        texts: texts.clone(),
    }) else {
        panic!("not saved")
    };
    let older = Content::read(&older.unwrap()).unwrap().0;
    assert_eq!(older.as_files("x").texts, copy.texts);
    let now = desk.open("our-field");
    assert_eq!((now.texts, now.draft), (texts, None));
}

#[test]
fn what_saving_would_change_is_told_before() {
    let desk = Desk::new();
    let copy = desk.copy();
    let texts = with_words(&copy, "two up", "two aboard");
    let compare = |texts: &Texts| match desk.ask(DeskCommand::Compare {
        id: copy.id.clone(),
        texts: texts.clone(),
    }) {
        DeskEvent::Changes(c) => *c,
        other => panic!("{other:?}"),
    };
    let changes = compare(&texts);
    assert_eq!(changes.files.len(), 1);
    assert_eq!(changes.differences.len(), 1);
    assert_eq!(changes.effects[0].0.step, "ready");
    assert_eq!(changes.same_version.as_deref(), Some("1.0"));
    let mut counted = texts;
    set_head(&mut counted, "version", "1.1").unwrap();
    assert_eq!(compare(&counted).same_version, None);
    assert!(compare(&copy.texts).files.is_empty());
    let mut broken = copy.texts.clone();
    broken.insert("words.toml".into(), "[".into());
    let changes = compare(&broken);
    assert!(changes.differences.is_empty() && changes.files.len() == 1);
    let why = desk.refused(DeskCommand::Save {
        id: copy.id,
        texts: broken,
    });
    assert!(why.contains("words.toml"), "{why}");
}

#[test]
fn a_recorded_prompt_waits_with_the_draft_and_goes_with_the_site() {
    let desk = Desk::new();
    let copy = desk.copy();
    let name = "prompts/ready-prompt.wav";
    let kept = desk.places.keep_prompt("our-field", name, &[0.1; 1600]).unwrap();
    assert!(matches!(kept, DeskEvent::Recorded { seconds, .. } if (seconds - 0.1).abs() < 1e-9));
    assert!(desk.places.keep_prompt("our-field", "../evil.wav", &[0.1]).is_err());
    let found = desk.open("our-field");
    assert!(found.others.contains(name) && found.draft.is_some());
    let mut texts = copy.texts.clone();
    set_clip(&mut texts, "ready", LineKind::Prompt, Some(name)).unwrap();
    desk.ask(DeskCommand::Save { id: copy.id, texts });
    let recording = desk.places.recording("our-field", name).unwrap();
    assert!(recording.starts_with(desk.dir.path().join("phrases")));
    assert_eq!(crate::sound::read_clip(&recording).unwrap().samples.len(), 1600);
    // And as one file to another club.
    let DeskEvent::Exported(file) = desk.ask(DeskCommand::Export {
        id: "our-field".into(),
        file: None,
    }) else {
        panic!("not exported")
    };
    let other = Desk::new();
    let DeskEvent::Looked(looked) = other.ask(DeskCommand::Look(file.clone())) else {
        panic!("not looked")
    };
    assert!(looked.changes.is_none() && looked.name == "Our Field");
    assert!(other.places.folder("our-field").is_none(), "looking writes nothing");
    other.ask(DeskCommand::TakeIn(file.clone()));
    assert!(other.places.recording("our-field", name).is_some());
    let DeskEvent::Looked(looked) = other.ask(DeskCommand::Look(file)) else {
        panic!("not looked")
    };
    assert!(looked.changes.unwrap().files.is_empty());
}

#[test]
fn what_cannot_be_done_is_said() {
    let desk = Desk::new();
    assert!(
        desk.refused(DeskCommand::Open("nowhere".into()))
            .contains("no site \"nowhere\"")
    );
    assert!(
        desk.refused(DeskCommand::Copy {
            from: "larkmoor".into(),
            name: "!!".into()
        })
        .contains("name")
    );
    assert!(
        desk.refused(DeskCommand::Look("/nowhere.zip".into()))
            .contains("/nowhere.zip")
    );
}

/// Two windows and more may have the same draft on their desks.
#[test]
fn drafts_kept_and_dropped_at_once_are_never_a_mixture() {
    use crate::files::tests::{at_once, rounds};
    let desk = Desk::new();
    let begun = desk.copy();
    let marked = |mark: &str| -> Texts {
        let line = |(file, text): (&String, &String)| (file.clone(), format!("{text}\n# {mark}\n"));
        begun.texts.iter().map(line).collect()
    };
    for _ in 0..rounds() {
        at_once(["first", "second", "third", "dropping"], |window| {
            if window == "dropping" {
                desk.ask(DeskCommand::Drop(begun.id.clone()));
            } else {
                desk.ask(DeskCommand::Keep {
                    id: begun.id.clone(),
                    texts: marked(window),
                });
            }
            let Some(draft) = desk.open(&begun.id).draft else {
                return;
            };
            let marks: BTreeSet<_> = draft.values().filter_map(|t| t.lines().last()).collect();
            assert_eq!(marks.len(), 1, "{marks:?}");
        });
        let left = std::fs::read_dir(desk.dir.path().join("drafts").join(&begun.id));
        let names = left.into_iter().flatten().map(|e| e.unwrap().file_name());
        assert!(names.into_iter().all(|n| begun.texts.contains_key(n.to_str().unwrap())));
    }
}

/// The button in the window names no file: a second version of the same number does not overwrite the first.
#[test]
fn an_archive_is_never_overwritten() {
    let desk = Desk::new();
    let begun = desk.copy();
    let export = |file: Option<PathBuf>| DeskCommand::Export {
        id: begun.id.clone(),
        file,
    };
    let exported = |event| match event {
        DeskEvent::Exported(file) => file,
        other => panic!("not exported: {other:?}"),
    };
    let first = exported(desk.ask(export(None)));
    let bytes = std::fs::read(&first).unwrap();
    assert_eq!(exported(desk.ask(export(None))), first, "the same is there already");
    desk.ask(DeskCommand::Save {
        id: begun.id.clone(),
        texts: with_words(&begun, "ready to launch", "ready to be launched"),
    });
    let second = exported(desk.ask(export(None)));
    assert_ne!(second, first);
    assert!(second.to_str().unwrap().ends_with("-2.cableside"));
    assert_eq!(std::fs::read(&first).unwrap(), bytes);
    assert!(desk.refused(export(Some(first.clone()))).contains("exists already"));
    assert_eq!(std::fs::read(&first).unwrap(), bytes);
}
