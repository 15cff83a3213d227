//! What is on paper: text read back by an outside tool, nothing outside the margins, nothing over something else.

use super::ink::{Face, Fonts, Mark};
use super::paper::{MARGIN, Paper};
use super::print::{group_pages, student_pages};
use super::wall::wall_pages;
use super::*;
use crate::logbook::{Outcome, Overrule, PractisedElement, Verdict};
use jiff::Timestamp;
use jiff::civil::date;
use serde_json::json;
use std::process::Command;

/// Left, top, right, bottom, points.
type Bounds = (f32, f32, f32, f32);

const NAMES: [&str; 30] = [
    "Ärmin Öztürk",
    "Łukasz Wiśniewski",
    "Zoë Åkesson",
    "Jörg Weiß",
    "Benedikta von und zu Hohenwaldeck-Schönbrunn-Lüttichau",
    "Ida Maar",
    "Ole Tamm",
    "Ann",
    "Björn Grün",
    "Çağla Şimşek",
    "Donaudampfschifffahrtsgesellschaftskapitänswitwe",
    "Eva Lind",
    "Finn Moor",
    "Gero Falk",
    "Hanna Reh",
    "Imke Sand",
    "Jan Torf",
    "Kaj Wolle",
    "Lea Horn",
    "Max Ried",
    "Nils Bach",
    "Olga Stein",
    "Pia Kern",
    "Ria Holm",
    "Sam Ost",
    "Tia Nord",
    "Uwe Süß",
    "Vera Blum",
    "Wim Dorn",
    "Xaver Lohr",
];

fn site(name: &str) -> Site {
    Site::check(&crate::site::bundled::files(name).unwrap()).unwrap()
}

/// Thirty students with up to 60 calls each, some of them never, all faults there are.
fn rows(site: &Site, members: &[(Uuid, String)]) -> Vec<Practised> {
    let mut random = crate::command::common::random(5);
    let mut rows = Vec::new();
    for call in 0..60_i64 {
        for (n, (id, _)) in members.iter().enumerate() {
            if n % 7 == 3 || (n % 5 == 1 && call > 6) {
                continue;
            }
            let step = &site.steps[(call as usize + n) % site.steps.len()];
            let situation = crate::drill::deal(site, None, &mut random).unwrap();
            let elements: Vec<PractisedElement> = step
                .elements
                .iter()
                .map(|e| {
                    let verdict = match random() % 12 {
                        0 => Verdict::Wrong,
                        1 | 2 if n % 3 == 0 => Verdict::Missing,
                        3 => Verdict::Unsure,
                        _ => Verdict::Said,
                    };
                    PractisedElement {
                        element: e.clone(),
                        verdict,
                        heard: (verdict == Verdict::Wrong).then(|| "D-4716".to_owned()),
                        overrule: (verdict == Verdict::Wrong && random().is_multiple_of(9)).then(|| Overrule {
                            verdict: Verdict::Said,
                            by: Some(members[0].0),
                            at: Timestamp::UNIX_EPOCH,
                            reason: Some(
                                "Klar und deutlich zu hören; das Programm hat sich am Störgeräusch verhört.".into(),
                            ),
                        }),
                    }
                })
                .collect();
            let said = elements.iter().all(|e| e.verdict == Verdict::Said);
            rows.push(Practised {
                student: Some(*id),
                started_at: Timestamp::from_second(1_790_000_000 + call * 86_400).unwrap(),
                utc_offset_seconds: 3600,
                site: site.id.clone(),
                site_version: site.version.clone(),
                step: step.id.clone(),
                situation: serde_json::to_value(&situation).unwrap(),
                turn_attempt: 1 + u32::from(random().is_multiple_of(5)),
                outcome: if said { Outcome::Pass } else { Outcome::NotYet },
                held_out: random().is_multiple_of(40),
                typed: random().is_multiple_of(10),
                elements,
            });
        }
    }
    rows
}

fn members() -> Vec<(Uuid, String)> {
    let all = NAMES.iter().enumerate();
    all.map(|(i, n)| (Uuid::from_u128(i as u128 + 1), (*n).to_owned()))
        .collect()
}

/// Everything that can be printed, of both sites.
fn everything(mut see: impl FnMut(&str, Paper)) {
    let members = members();
    let names: HashMap<Uuid, String> = members.iter().cloned().collect();
    for name in crate::site::bundled::NAMES {
        let site = site(name);
        let scope = Scope {
            site: &site,
            date: date(2026, 11, 25),
            from: None,
            until: None,
            names: &names,
        };
        let group = Group::new(&scope, "Anfängerkurs", &members, &rows(&site, &members));
        see(&format!("{name} class"), group_pages(&scope, &group, false).unwrap());
        for n in [0, 3, 4, 6, 10] {
            let m = &group.members[n];
            see(
                &format!("{name} student {n}"),
                student_pages(&scope, &m.name, &m.figures).unwrap(),
            );
        }
        see(&format!("{name} wall"), wall_pages(&scope).unwrap());
    }
}

/// Poppler's pdftotext gives back what went in, letter by letter, in the order it was put down.
#[test]
fn an_outside_reader_finds_the_text_that_went_in() {
    let dir = tempfile::tempdir().unwrap();
    let again = std::cell::RefCell::new(Vec::new());
    everything(|what, paper| again.borrow_mut().push((what.to_owned(), paper.into_pages().1)));
    let mut all = again.into_inner().into_iter();
    everything(|what, paper| {
        let (name, marks) = all.next().unwrap();
        assert_eq!(name, what);
        let mut went_in = String::new();
        for mark in marks.iter().flat_map(|p| &p.marks) {
            if let Mark::Text { text, .. } = mark {
                went_in.extend(text.chars().filter(|c| !c.is_whitespace()));
            }
        }
        assert!(went_in.chars().count() > 200, "{what}");
        let file = dir.path().join("report.pdf");
        std::fs::write(&file, paper.finish(what).unwrap()).unwrap();
        let out = Command::new("pdftotext")
            .args(["-raw", "-enc", "UTF-8"])
            .args([file.as_os_str(), "-".as_ref()])
            .output()
            .expect("pdftotext (Debian package poppler-utils) is needed for this test");
        assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
        let read: String = String::from_utf8(out.stdout)
            .unwrap()
            .chars()
            .filter(|c| !c.is_whitespace())
            .collect();
        if read != went_in {
            let at = read.chars().zip(went_in.chars()).take_while(|(a, b)| a == b).count();
            let near = |s: &str| s.chars().skip(at.saturating_sub(20)).take(60).collect::<String>();
            panic!("{what}: read \"{}\", went in \"{}\"", near(&read), near(&went_in));
        }
    });
}

#[test]
fn nothing_leaves_the_page_or_covers_other_words() {
    everything(|what, paper| {
        let (fonts, pages) = paper.into_pages();
        for (n, page) in pages.iter().enumerate() {
            let (width, height) = (page.width, page.height);
            let mut texts: Vec<(&str, Bounds)> = Vec::new();
            for mark in &page.marks {
                let (l, t, r, b) = mark.bounds(&fonts);
                assert!(
                    l >= MARGIN - 12.0 && r <= width - MARGIN + 1.0 && t >= MARGIN - 12.0 && b <= height - 20.0,
                    "{what}, page {n}: {mark:?}"
                );
                if let Mark::Text { text, size, face, .. } = mark {
                    assert!(
                        text.chars().all(|c| fonts.has(*face, c)),
                        "{what}: no picture of a letter in \"{text}\""
                    );
                    // The height of small letters: lines may touch with tails and heads, never with bodies.
                    let body = (l, b - size * 0.3 - size * 0.55, r, b - size * 0.3);
                    for (other, o) in &texts {
                        let apart = body.0 >= o.2 || o.0 >= body.2 || body.1 >= o.3 || o.1 >= body.3;
                        assert!(apart, "{what}, page {n}: \"{text}\" lies over \"{other}\"");
                    }
                    texts.push((text, body));
                }
            }
            assert!(texts.len() > 3, "{what}, page {n} is empty");
        }
    });
}

/// With a page or two for each student: all but the class's own lie upright, and none holds only its head and foot.
#[test]
fn pages_for_each_student_stand_upright_and_none_is_empty() {
    let members = members();
    let names: HashMap<Uuid, String> = members.iter().cloned().collect();
    // One of each language: setting thirty reports takes its time.
    for name in ["larkmoor", "haselrain"] {
        let site = site(name);
        let scope = Scope {
            site: &site,
            date: date(2026, 11, 25),
            from: None,
            until: None,
            names: &names,
        };
        let group = Group::new(&scope, "Anfängerkurs", &members, &rows(&site, &members));
        let (_, alone) = group_pages(&scope, &group, false).unwrap().into_pages();
        let (fonts, pages) = group_pages(&scope, &group, true).unwrap().into_pages();
        assert!(
            pages.len() >= alone.len() + members.len(),
            "{name}: {} pages",
            pages.len()
        );
        for (n, page) in pages.iter().enumerate().skip(alone.len()) {
            assert!(page.height > page.width, "{name}: page {n} lies");
            // Between the running head and the foot.
            let inside = |m: &&Mark| {
                let (_, top, _, bottom) = m.bounds(&fonts);
                matches!(m, Mark::Text { .. }) && top > MARGIN && bottom < page.height - MARGIN - 12.0
            };
            assert!(
                page.marks.iter().filter(inside).count() > 3,
                "{name}: page {n} is empty"
            );
        }
    }
}

/// What hangs on the wall is all there is: every value of every part of a call, and every signal.
#[test]
fn the_wall_has_every_value_and_every_signal() {
    let (mut values, mut signals) = (0, 0);
    for name in crate::site::bundled::NAMES {
        let site = site(name);
        let scope = Scope {
            site: &site,
            date: date(2026, 11, 25),
            from: None,
            until: None,
            names: &HashMap::new(),
        };
        let (_, pages) = wall_pages(&scope).unwrap().into_pages();
        let squeezed = |text: &str| text.to_lowercase().split_whitespace().collect::<String>();
        let mut there = String::new();
        for mark in pages.iter().flat_map(|p| &p.marks) {
            if let Mark::Text { text, .. } = mark {
                there += &squeezed(text);
            }
        }
        let used = site
            .steps
            .iter()
            .flat_map(|s| &s.elements)
            .filter_map(|e| site.elements.get(e));
        let used = used.filter(|e| {
            !matches!(
                e.purpose,
                crate::site::Purpose::Address | crate::site::Purpose::Callsign
            )
        });
        for value in used.flat_map(|e| &e.values).filter(|v| !v.taught.is_empty()) {
            assert!(
                there.contains(&squeezed(&value.taught)),
                "{name}: \"{}\" is not on the wall",
                value.taught
            );
            values += 1;
        }
        for signal in &site.signals {
            for text in [&signal.shows, &signal.meaning] {
                assert!(there.contains(&squeezed(text)), "{name}: \"{text}\" is not on the wall");
            }
            signals += 1;
        }
        for step in &site.steps {
            assert!(
                there.contains(&squeezed(&step.title)),
                "{name}: \"{}\" is not on the wall",
                step.title
            );
        }
    }
    assert!(values > 60 && signals > 3, "{values} {signals}");
}

#[test]
fn the_same_record_gives_the_same_bytes() {
    let members = members();
    let names = HashMap::new();
    let site = site("erlengrund");
    let scope = Scope {
        site: &site,
        date: date(2026, 1, 2),
        from: None,
        until: None,
        names: &names,
    };
    let group = Group::new(&scope, "Kurs", &members, &rows(&site, &members));
    let pdf = group_pdf(&scope, &group, true).unwrap();
    assert_eq!(pdf, group_pdf(&scope, &group, true).unwrap());
    let other = Scope {
        date: date(2026, 1, 3),
        ..scope
    };
    assert_ne!(pdf, group_pdf(&other, &group, true).unwrap());
}

fn call(turn_attempt: u32, verdicts: &[(&str, Verdict, Option<&str>)]) -> Practised {
    Practised {
        student: Some(Uuid::from_u128(1)),
        started_at: "2026-06-01T22:30:00Z".parse().unwrap(),
        utc_offset_seconds: 7200,
        site: "larkmoor".to_owned(),
        site_version: "1.0".to_owned(),
        step: "ready".to_owned(),
        situation: json!({"callsign": "G-CLRM", "crew": 2, "cable": "north"}),
        turn_attempt,
        outcome: Outcome::NotYet,
        held_out: false,
        typed: false,
        elements: verdicts
            .iter()
            .map(|(e, v, h)| PractisedElement {
                element: (*e).to_owned(),
                verdict: *v,
                heard: h.map(str::to_owned),
                overrule: None,
            })
            .collect(),
    }
}

#[test]
fn figures_count_first_attempts_and_what_was_said_instead() {
    let site = site("larkmoor");
    let names = HashMap::from([(Uuid::from_u128(9), "Eva Lind".to_owned())]);
    let scope = Scope {
        site: &site,
        date: date(2026, 11, 25),
        from: Some(date(2026, 6, 2)),
        until: Some(date(2026, 6, 2)),
        names: &names,
    };
    let all = |callsign| {
        [
            ("callsign", callsign, (callsign == Verdict::Wrong).then_some("G-CLMR")),
            ("crew", Verdict::Said, Some("2")),
            ("cable", Verdict::Said, Some("north")),
            ("method", Verdict::Said, None),
            ("ready", Verdict::Said, None),
        ]
    };
    let mut overruled = call(1, &all(Verdict::Wrong));
    overruled.elements[0].overrule = Some(Overrule {
        verdict: Verdict::Said,
        by: Some(Uuid::from_u128(9)),
        at: Timestamp::UNIX_EPOCH,
        reason: Some("it was right".to_owned()),
    });
    overruled.outcome = Outcome::Pass;
    let mut early = call(1, &all(Verdict::Missing));
    early.started_at = "2026-06-01T21:30:00Z".parse().unwrap();
    let mut held_out = call(1, &all(Verdict::Wrong));
    held_out.held_out = true;
    let mut elsewhere = call(1, &all(Verdict::Wrong));
    elsewhere.site = "erlengrund".to_owned();
    let rows = [
        early,
        call(1, &all(Verdict::Wrong)),
        call(2, &all(Verdict::Wrong)),
        overruled,
        held_out,
        elsewhere,
        call(1, &all(Verdict::Unsure)),
    ];
    let f = Figures::new(&scope, &rows);
    // By the student's clock it was half past midnight; the early one was still the day before.
    assert_eq!(f.days, Some((date(2026, 6, 2), date(2026, 6, 2))));
    assert_eq!((f.calls, f.attempts, f.held_out, f.elsewhere), (3, 4, 1, 1));
    assert_eq!((f.first_time.came, f.first_time.of), (1, 3));
    let callsign = &f.elements[0];
    assert_eq!(
        (callsign.element.as_str(), callsign.all.came, callsign.all.of),
        ("callsign", 1, 2)
    );
    assert_eq!(
        (callsign.wrong, callsign.unsure, callsign.standing),
        (1, 1, Standing::TooFew)
    );
    assert_eq!(
        f.mix_ups,
        [MixUp {
            element: "callsign".to_owned(),
            label: "Callsign".to_owned(),
            dealt: Some("G-CLRM".to_owned()),
            heard: "G-CLMR".to_owned(),
            times: 2,
        }]
    );
    assert_eq!(f.overruled.len(), 1);
    assert_eq!(f.overruled[0].by.as_deref(), Some("Eva Lind"));
    assert!(f.trend.is_empty());
    let csv = String::from_utf8(csv_of_student("=Ann", &f).unwrap()).unwrap();
    assert!(csv.contains("'=Ann,element,callsign,,1,2,0.5000,"), "{csv}");
    let json: serde_json::Value = serde_json::from_slice(&json_of_student(&scope, "Ann", &f).unwrap()).unwrap();
    assert_eq!(json["student"]["figures"]["first_time"]["of"], 3);
}

#[test]
fn a_line_is_broken_so_that_it_fits_and_nothing_is_lost() {
    let fonts = Fonts::load().unwrap();
    let text = "Donaudampfschifffahrtsgesellschaftskapitän und  Söhne";
    let lines = fonts.wrap(Face::Bold, 9.0, 60.0, text);
    assert!(
        lines.len() > 3 && lines.iter().all(|l| fonts.width(Face::Bold, 9.0, l) <= 60.0),
        "{lines:?}"
    );
    assert_eq!(lines.concat().replace(' ', ""), text.replace(' ', ""));
}
