//! A site's files with mistakes: every problem at once, each with file, line and what would be right.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "tests"
)]

use cableside::folders::read_site;
use cableside::site::{Problem, Site};
use std::path::Path;

fn copy_with(changes: &[(&str, &str, &str)]) -> Vec<Problem> {
    checked(changes).map_or_else(|p| p, |_| Vec::new())
}

/// What is told of a site that can be used.
fn told(changes: &[(&str, &str, &str)]) -> Vec<Problem> {
    checked(changes).unwrap_or_else(|p| panic!("{p:#?}")).notices
}

fn checked(changes: &[(&str, &str, &str)]) -> Result<Site, Vec<Problem>> {
    let dir = tempfile::tempdir().unwrap();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases/larkmoor");
    for name in cableside::site::FILES.into_iter().chain([cableside::site::BRIEFING]) {
        let mut text = std::fs::read_to_string(from.join(name)).unwrap();
        for (file, old, new) in changes.iter().filter(|(f, ..)| *f == name) {
            assert!(text.contains(old), "{file} does not hold {old}");
            text = text.replacen(old, new, 1);
        }
        std::fs::write(dir.path().join(name), text).unwrap();
    }
    Site::check(&read_site(dir.path())).map_err(|p| p.list)
}

fn has(list: &[Problem], file: &str, part: &str) {
    assert!(
        list.iter()
            .any(|p| p.file == file && p.line.is_some() && p.wrong.contains(part) && !p.right.is_empty()),
        "no problem \"{part}\" with a line in {file}: {list:#?}"
    );
}

#[test]
fn the_shipped_sites_have_no_problems() {
    assert!(copy_with(&[]).is_empty());
    for name in cableside::site::bundled::NAMES {
        let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases").join(name);
        let site = Site::check(&read_site(&dir)).unwrap_or_else(|p| panic!("{p}"));
        assert_eq!(site.notices, Vec::new(), "{name}");
    }
}

/// As editors on Windows leave files: their ends of lines, and a mark at the beginning.
#[test]
fn files_with_windows_ends_of_lines_and_its_mark_are_the_same_site() {
    for name in cableside::site::bundled::NAMES {
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases").join(name);
        let dir = tempfile::tempdir().unwrap();
        let to = dir.path().join(name);
        std::fs::create_dir(&to).unwrap();
        for file in cableside::site::FILES.into_iter().chain([cableside::site::BRIEFING]) {
            let text = std::fs::read_to_string(from.join(file)).unwrap();
            assert!(!text.contains('\r'), "{file}");
            std::fs::write(to.join(file), format!("\u{feff}{}", text.replace('\n', "\r\n"))).unwrap();
        }
        let (before, after) = (
            Site::check(&read_site(&from)).unwrap(),
            Site::check(&read_site(&to)).unwrap(),
        );
        let differences = cableside::call::compare::differences(&before, &after);
        assert!(differences.is_empty(), "{differences:?}");
        // A mistake is named by its line all the same.
        let broken = std::fs::read_to_string(to.join("fleet.toml")).unwrap();
        std::fs::write(to.join("fleet.toml"), broken.replacen("\r\n", "\r\nseats = \r\n", 1)).unwrap();
        let problems = Site::check(&read_site(&to)).unwrap_err().list;
        assert!(
            problems.iter().any(|p| p.file == "fleet.toml" && p.line == Some(2)),
            "{problems:?}"
        );
    }
}

#[test]
fn all_problems_come_at_once() {
    let list = copy_with(&[
        ("fleet.toml", "registration = \"G-CLMR\"", "registration = \"G-CLRM\""),
        ("fleet.toml", "seats = 1", "seats = 7"),
        (
            "steps.toml",
            "{cable} {method}, {ready}.\"\nalso_right",
            "{cable} {metod}, {ready}.\"\nalso_right",
        ),
        ("steps.toml", "to = \"winch\"", "to = \"tower\""),
        (
            "steps.toml",
            "text = \"Cable on. Wings level.\"",
            "text = \"Cable on. Wings level.\", clip = \"../../secret.wav\"",
        ),
        (
            "steps.toml",
            "text = \"Say again.\"",
            "text = \"Say again.\", clip = \"prompts/again.wav\"",
        ),
        ("words.toml", "understood = [\"dual\"", "understood = [\"solo\""),
        (
            "site.toml",
            "cables_left_to_right = [\"north\", \"south\"]",
            "cables_left_to_right = [\"north\", \"west\"]",
        ),
    ]);
    has(&list, "fleet.toml", "stands twice");
    has(&list, "fleet.toml", "7 is out of range");
    has(&list, "steps.toml", "{metod}");
    has(&list, "steps.toml", "no station \"tower\"");
    has(&list, "steps.toml", "outside the site's folder");
    has(&list, "steps.toml", "is not there");
    has(&list, "words.toml", "stands for two values");
    has(&list, "site.toml", "no cable \"west\"");
}

#[test]
fn a_tab_where_a_quote_should_be_is_named_with_its_line() {
    let list = copy_with(&[("fleet.toml", "type = \"Siskin\"", "type =\tSiskin\"")]);
    let p = list.iter().find(|p| p.file == "fleet.toml").expect("a problem");
    assert_eq!(p.line, Some(25), "{list:?}");
    assert!(p.right.contains("tab"), "{p}");
}

#[test]
fn missing_unreadable_and_unknown_files_are_named() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("site.toml"), [0xff, 0xfe, 0x00]).unwrap();
    std::fs::write(dir.path().join("extra.toml"), "a = 1").unwrap();
    let problems = Site::check(&read_site(dir.path())).unwrap_err();
    let text = problems.to_string();
    for part in [
        "site.toml: The file cannot be read",
        "words.toml: The file is missing",
        "extra.toml: The program does not know",
    ] {
        assert!(text.contains(part), "{text}");
    }
}

/// What a full disk leaves of an archive: files with nothing in them.
#[test]
fn files_with_nothing_in_them_are_named_with_the_likely_cause() {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases/larkmoor");
    let mut files = read_site(&from);
    files.texts.insert("words.toml".to_owned(), String::new());
    files
        .texts
        .insert("briefing.toml".to_owned(), "\u{feff}\r\n".to_owned());
    let list = Site::check(&files).unwrap_err().list;
    for file in ["words.toml", "briefing.toml"] {
        let told: Vec<_> = list.iter().filter(|p| p.file == file).collect();
        let [one] = told[..] else { panic!("{list:#?}") };
        assert!(
            one.wrong.contains("nothing in the file") && one.right.contains("full disk"),
            "{one}"
        );
    }
}

/// A wording that means something else in the same call could not be told from it.
#[test]
fn words_with_another_meaning_in_the_call_are_refused() {
    for (name, part) in [
        ("ready", "is said for"),
        ("solo", "is said for crew"),
        ("correction", "a meaning of its own"),
        ("not", "a meaning of its own"),
        ("stop", "is said for stop"),
    ] {
        let list = copy_with(&[("site.toml", "taught = \"north\"", &format!("taught = \"{name}\""))]);
        assert!(
            list.iter()
                .any(|p| p.line.is_some() && p.wrong.contains(&format!("\"{name}\"")) && p.wrong.contains(part)),
            "{name}: {list:#?}"
        );
    }
    let list = copy_with(&[(
        "words.toml",
        "negated = [\"not ready\"",
        "negated = [\"ready\", \"not ready\"",
    )]);
    has(&list, "words.toml", "denies ready");
}

/// What is accepted and changes nothing is told, with its line; the site can be used.
#[test]
fn what_has_no_effect_is_told() {
    assert_eq!(told(&[]), Vec::new());
    let list = told(&[(
        "words.toml",
        "[element.cable]",
        "[element.cable]\nvalue = [{ id = \"east\", taught = \"east\" }]",
    )]);
    has(&list, "words.toml", "\"value of cable\" has no effect yet");
    let list = told(&[(
        "words.toml",
        "[element.cable]",
        "[element.lamp]\nlabel = \"Lamp\"\nwhy = \"Why.\"\nvalue = [{ id = \"on\", taught = \"lamp on\" }]\n\n[element.cable]",
    )]);
    has(&list, "words.toml", "the element \"lamp\" stands in no step");
    let list = told(&[("site.toml", "usual = true", "usual = false")]);
    has(&list, "site.toml", "Which direction is the usual one");
    let list = told(&[(
        "site.toml",
        "readback_by_winch = [\"callsign\",",
        "readback_by_winch = [\"ready\",",
    )]);
    has(&list, "site.toml", "\"ready\" in readback_by_winch has no effect yet");
    let list = told(&[("site.toml", "callsign = \"full\"", "callsign = \"short after contact\"")]);
    assert_eq!(list, Vec::new(), "registrations have a short form");
    let list = told(&[
        (
            "fleet.toml",
            "said_by = [\"registration\"]",
            "said_by = [\"type\", \"registration\"]",
        ),
        (
            "fleet.toml",
            "registration = \"G-CLMR\"",
            "said_by = [\"type\"]\nregistration = \"G-CLMR\"",
        ),
    ]);
    has(&list, "fleet.toml", "\"Merle 2\" may be any of G-CLRM, G-CLMR");
}

/// A call with a cable is a winch launch: a second method that is dealt there would teach "aerotow, north cable".
#[test]
fn one_launch_method_is_dealt_with_a_cable() {
    let list = copy_with(&[(
        "words.toml",
        "value = [{ id = \"winch cable\", taught = \"winch cable\", understood = [\"winch launch\"] }]",
        "value = [{ id = \"winch cable\", taught = \"winch cable\", scene = \"The winch.\" }, { id = \"car\", taught = \"car tow\", scene = \"A car.\" }]",
    )]);
    has(&list, "words.toml", "names a cable");
}

/// The line is that of the words, not of an id that is written alike, and one slip is told once.
#[test]
fn a_problem_is_told_where_it_is_and_once() {
    let list = copy_with(&[
        ("site.toml", "id = \"north\"", "id = \"not\""),
        ("site.toml", "taught = \"north\"", "taught = \"not\""),
        ("site.toml", "[\"north\", \"south\"]", "[\"not\", \"south\"]"),
        ("site.toml", "[\"south\", \"north\"]", "[\"south\", \"not\"]"),
    ]);
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases/larkmoor");
    let text = std::fs::read_to_string(dir.join("site.toml")).unwrap();
    let line = text.lines().position(|l| l == "taught = \"north\"").unwrap() + 1;
    let problem = list.iter().find(|p| p.wrong.contains("meaning of its own")).unwrap();
    assert_eq!(problem.line, Some(line), "{list:#?}");

    let list = copy_with(&[(
        "site.toml",
        "taught = \"north\"",
        "taught = \"north\"\ncolour = \"red\"",
    )]);
    has(&list, "site.toml", "\"colour\" is not known here");
    assert_eq!(list.len(), 1, "{list:#?}");
    assert!(!list.iter().any(|p| p.wrong.contains("There is no cable")), "{list:#?}");

    let list = copy_with(&[("fleet.toml", "seats = 1", "seats = \"one\"")]);
    has(&list, "fleet.toml", "expected a whole number");
    let list = copy_with(&[("fleet.toml", "weak_link = \"blue\"", "weak_link = \"pink\"")]);
    has(&list, "fleet.toml", "\"pink\"");
    let list = copy_with(&[("briefing.toml", "\"Siskin\", \"Redwing\"", "\"Siskin\", \"Redwig\"")]);
    has(&list, "briefing.toml", "\"Redwig\"");
}

/// What a site has and nothing uses is told, each with the line of the field.
#[test]
fn stations_signals_and_settings_that_nothing_uses_are_told() {
    let station = "[[station]]\nid = \"tower\"\nname = \"Tower\"\naddress = \"tower\"\n\n[customs]";
    let list = told(&[("site.toml", "[customs]", station)]);
    has(&list, "site.toml", "the station \"tower\" is called in no step");
    assert_eq!(list.len(), 1, "{list:#?}");

    let signal = |more: &str| {
        format!(
            "[[signal]]\nid = \"bow\"\nby = \"arm\"\nshows = \"An arm up\"\nmeaning = \"Take up slack\"\n{more}\n[customs]"
        )
    };
    let list = told(&[("site.toml", "[customs]", &signal(""))]);
    has(&list, "site.toml", "the signal \"bow\" is given in no step");
    assert_eq!(
        told(&[("site.toml", "[customs]", &signal("stops = true\n"))]),
        Vec::new()
    );

    // Fields of a step that is not part of a launch, or is not the pilot's, or is the release itself.
    for (old, new, field, why) in [
        (
            "id = \"open\"\n",
            "id = \"open\"\nwith_release = true\n",
            "with_release",
            "pilot",
        ),
        (
            "by = \"hand\"\n",
            "by = \"hand\"\nwith_release = true\n",
            "with_release",
            "release itself",
        ),
        (
            "by = \"hand\"\n",
            "by = \"hand\"\nmay_be_left_out = true\n",
            "may_be_left_out",
            "release itself",
        ),
        (
            "id = \"stop\"\n",
            "id = \"stop\"\nmay_be_left_out = true\n",
            "may_be_left_out",
            "whole launch",
        ),
        (
            "id = \"stop\"\n",
            "id = \"stop\"\nwith_release = true\n",
            "with_release",
            "whole launch",
        ),
    ] {
        let list = told(&[("steps.toml", old, new)]);
        let [one] = &list[..] else { panic!("{new}: {list:#?}") };
        assert!(one.wrong.contains(field) && one.wrong.contains("no effect"), "{one}");
        assert!(one.right.contains(why), "{one}");
        let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases/larkmoor");
        let text = std::fs::read_to_string(dir.join("steps.toml"))
            .unwrap()
            .replacen(old, new, 1);
        let told = text.lines().nth(one.line.unwrap() - 1).unwrap();
        assert_eq!(told, format!("{field} = true"));
    }
}

/// A club's own recording is read as it will be when it is played.
#[test]
fn a_recording_that_cannot_be_played_is_a_problem_in_the_line_that_names_it() {
    use cableside::folders::{archive, content::Content};
    use cableside::voice::prompt::{unplayable_among, unplayable_in};
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases/larkmoor");
    let home = tempfile::tempdir().unwrap();
    let dir = home.path().join("larkmoor");
    std::fs::create_dir(&dir).unwrap();
    for name in cableside::site::FILES.into_iter().chain([cableside::site::BRIEFING]) {
        let mut text = std::fs::read_to_string(from.join(name)).unwrap();
        if name == "steps.toml" {
            text = text.replacen(
                "text = \"Say again.\"",
                "text = \"Say again.\", clip = \"again.wav\"",
                1,
            );
            assert!(text.contains("again.wav"));
        }
        std::fs::write(dir.join(name), text).unwrap();
    }
    let clip = dir.join("again.wav");
    cableside::sound::write_wav(&clip, &vec![0.1; 16_000]).unwrap();
    let good = std::fs::read(&clip).unwrap();
    let with = |at: usize, bytes: &[u8]| {
        let mut wav = good.clone();
        wav[at..at + bytes.len()].copy_from_slice(bytes);
        wav
    };
    let endless: Vec<u8> = good[..44]
        .iter()
        .copied()
        .chain(std::iter::repeat_n(0, 2 * 16_000 * 301))
        .collect();
    let length = u32::try_from(endless.len() - 44).unwrap().to_le_bytes();
    let endless = [&endless[..40], &length[..], &endless[44..]].concat();
    for (what, bytes, taken) in [
        ("good", good.clone(), true),
        ("cut short, and worth having", good[..good.len() / 2].to_vec(), true),
        (
            "no sound file",
            b"RIFF\0\0\0\0WAVEhello, hello, hello, hello, hello".to_vec(),
            false,
        ),
        ("nothing in it", Vec::new(), false),
        ("no samples", good[..44].to_vec(), false),
        ("a rate that no recorder has", with(24, &7_u32.to_le_bytes()), false),
        ("a form that is not read", with(20, &0x1234_u16.to_le_bytes()), false),
        ("five minutes and more", endless, false),
    ] {
        std::fs::write(&clip, &bytes).unwrap();
        let mut files = read_site(&dir);
        files.unplayable = unplayable_in(&files, &dir);
        match Site::check(&files) {
            Ok(_) => assert!(taken, "{what} was taken"),
            Err(p) => {
                assert!(!taken, "{what}: {p}");
                has(&p.list, "steps.toml", "\"again.wav\" cannot be played");
                assert_eq!(p.list.len(), 1, "{what}: {p}");
            }
        }
        let file = home.path().join("one.cableside");
        let (content, _) = Content::read(&dir).unwrap();
        archive::pack(&content, "larkmoor", &file).unwrap();
        match archive::unpack(&file, unplayable_among) {
            Ok(_) => assert!(taken, "{what} was taken in"),
            Err(e) => assert!(!taken && e.to_string().contains("again.wav"), "{what}: {e}"),
        }
        std::fs::remove_file(&file).unwrap();
    }
}
