//! The logbook itself: merging, forgetting, exporting, a newer format.

use super::{Home, NAME, copy, files, folder, holds, killed, kills, moment, practised, takes, tell};
use std::collections::BTreeSet;
use std::path::Path;

#[test]
fn a_merge() {
    let place = folder();
    let mine = practised(&place.path().join("mine"), "Mara Lind", 3);
    let theirs = practised(&place.path().join("theirs"), "Jo Reed", 40);
    let (before, all) = (mine.attempts(), mine.attempts() + theirs.attempts());
    let other = theirs.path("logbook.sqlite");
    let args = ["logbook", "merge", other.to_str().unwrap()];
    let home = Home(place.path().join("home"));
    copy(&mine.0, &home.0);
    let whole = takes(home.command(&args));
    let (mut cut, mut untouched, mut done) = (0, 0, 0);
    for round in 0..kills() {
        std::fs::remove_dir_all(&home.0).unwrap();
        copy(&mine.0, &home.0);
        cut += u32::from(killed(home.command(&args).spawn().unwrap(), moment(round, whole)));
        let there = home.attempts();
        assert!(there == before || there == all, "round {round}: {there} attempts");
        untouched += u32::from(there == before);
        done += u32::from(there == all);
        // Again, and all of it is there with its recordings and nothing else.
        home.ok(&args);
        assert_eq!(home.attempts(), all, "round {round}");
        home.names_what_is_left(round);
        let left: Vec<String> = files(&home.0)
            .into_iter()
            .filter(|f| {
                !f.starts_with("recordings") && f != "logbook.sqlite" && f != "logbook.sqlite.before-merge.backup"
            })
            .collect();
        assert_eq!(left, Vec::<String>::new(), "round {round}");
    }
    tell("merge", kills(), cut, "as before", untouched, "all of it", done);
}

#[test]
fn a_forgetting() {
    let place = folder();
    let base = practised(&place.path().join("base"), NAME, 10);
    base.ok(&["logbook", "student", "add", "Mara Lind", "--consent", "yes"]);
    let args = ["logbook", "forget", NAME, "--yes"];
    let home = Home(place.path().join("home"));
    copy(&base.0, &home.0);
    let whole = takes(home.command(&args));
    let (mut cut, mut here, mut gone) = (0, 0, 0);
    for round in 0..kills() {
        std::fs::remove_dir_all(&home.0).unwrap();
        copy(&base.0, &home.0);
        // As a migration and a merge leave them.
        for name in ["logbook.sqlite.format-1.backup", "logbook.sqlite.before-merge.backup"] {
            std::fs::copy(base.path("logbook.sqlite"), home.path(name)).unwrap();
        }
        cut += u32::from(killed(home.command(&args).spawn().unwrap(), moment(round, whole)));
        let there = home.logbook().find_student(NAME).is_ok();
        here += u32::from(there);
        gone += u32::from(!there);
        if there {
            assert_eq!(home.attempts(), 10, "round {round}: half forgotten");
            home.ok(&args);
        }
        // The next start finds what a kill left.
        home.ok(&["logbook", "leftovers"]);
        assert_eq!(holds(&home.0, NAME), Vec::<String>::new(), "round {round}");
        assert_eq!(files(&home.path("recordings")), BTreeSet::new(), "round {round}");
        assert_eq!(home.logbook().students().unwrap().len(), 1);
    }
    tell(
        "forget",
        kills(),
        cut,
        "still here, whole",
        here,
        "gone without a trace",
        gone,
    );
}

#[test]
fn an_export() {
    let place = folder();
    let home = practised(&place.path().join("base"), "Mara Lind", 60);
    let out = place.path().join("out");
    std::fs::create_dir(&out).unwrap();
    let file = out.join("book.json");
    let args = ["logbook", "export", "--format", "json", "--out", file.to_str().unwrap()];
    let whole = takes(home.command(&args));
    let good = std::fs::read(&file).unwrap();
    let (mut cut, mut none, mut all, mut parts) = (0, 0, 0, 0);
    for round in 0..kills() {
        std::fs::remove_dir_all(&out).unwrap();
        std::fs::create_dir(&out).unwrap();
        cut += u32::from(killed(home.command(&args).spawn().unwrap(), moment(round, whole)));
        if let Ok(bytes) = std::fs::read(&file) {
            assert!(bytes == good, "round {round}: half a file under the name");
            all += 1;
        } else {
            none += 1;
            home.ok(&args);
            assert_eq!(std::fs::read(&file).unwrap(), good, "round {round}");
        }
        // Nobody can take away what was begun when the program is killed, and no later start knows of the folder.
        parts += u32::from(files(&out).len() > 1);
    }
    println!("export: {parts} unfinished files were left beside the one asked for");
    tell("export", kills(), cut, "no file", none, "the whole file", all);
}

/// So many attempts are in the old logbooks: the migration takes a while.
const OLD_ATTEMPTS: u64 = 4000;

/// A logbook as an older program left it.
fn old_logbook(file: &Path, tables: &str, format: i64) {
    let database = rusqlite::Connection::open(file).unwrap();
    database.execute_batch(tables).unwrap();
    database
        .execute_batch(&format!(
            "BEGIN;
            INSERT INTO student (id, name, consent, consent_asked_at, consent_by, created_at, changed_at) VALUES
                ('00000000-0000-4000-8000-0000000000aa', 'Mara Lind', 'given', 3, 'guardian', 1, 3);
            WITH RECURSIVE n (x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n WHERE x < {OLD_ATTEMPTS})
            INSERT INTO attempt (number, id, student_id, started_at, utc_offset_seconds, site, site_version, step, turn_id,
                turn_attempt, outcome, program_version, created_at, changed_at, situation, timings, transcript, evidence)
            SELECT x, printf('00000000-0000-4000-8000-%012x', x), '00000000-0000-4000-8000-0000000000aa', x, 0, 'larkmoor',
                '1', 'ready', printf('00000000-0000-4000-9000-%012x', x), 1, 'not yet', '0', x, x,
                '{{\"callsign\": \"G-CLRM\", \"crew\": 2, \"cable\": \"north\"}}', '{{}}', 'words',
                '{{\"judgement\": {{\"elements\": [{{\"element\": \"crew\", \"critical\": true}}]}}}}'
            FROM n;
            INSERT INTO element_verdict (attempt, position, element, verdict)
            SELECT number, 0, 'crew', 'missing' FROM attempt;
            COMMIT"
        ))
        .unwrap();
    assert_eq!(state(file), (format, OLD_ATTEMPTS, OLD_ATTEMPTS));
}

/// Format, attempts, verdicts of a whole database.
fn state(file: &Path) -> (i64, u64, u64) {
    let database = rusqlite::Connection::open(file).unwrap();
    let text: String = database.query_row("PRAGMA integrity_check", [], |r| r.get(0)).unwrap();
    assert_eq!(text, "ok", "{}", file.display());
    let count = |sql: &str| {
        database
            .query_row(sql, [], |r| r.get::<_, i64>(0))
            .unwrap()
            .unsigned_abs()
    };
    (
        database.pragma_query_value(None, "user_version", |r| r.get(0)).unwrap(),
        count("SELECT count(*) FROM attempt"),
        count("SELECT count(*) FROM element_verdict"),
    )
}

fn a_migration(format: i64, tables: &str) {
    let place = folder();
    let old = Home(place.path().join("old"));
    std::fs::create_dir_all(&old.0).unwrap();
    old_logbook(&old.path("logbook.sqlite"), tables, format);
    let args = ["logbook", "students"];
    let home = Home(place.path().join("home"));
    copy(&old.0, &home.0);
    let whole = takes(home.command(&args));
    let newest = state(&home.path("logbook.sqlite")).0;
    assert!(newest > format);
    let backup = format!("logbook.sqlite.format-{format}.backup");
    let (mut cut, mut before, mut after) = (0, 0, 0);
    for round in 0..kills() {
        std::fs::remove_dir_all(&home.0).unwrap();
        copy(&old.0, &home.0);
        cut += u32::from(killed(home.command(&args).spawn().unwrap(), moment(round, whole)));
        // Looked at in a copy: whoever opens the file itself finishes what was begun.
        let look = place.path().join("look");
        copy(&home.0, &look);
        let (found, attempts, verdicts) = state(&look.join("logbook.sqlite"));
        std::fs::remove_dir_all(&look).unwrap();
        assert!(found == format || found == newest, "round {round}: format {found}");
        assert_eq!((attempts, verdicts), (OLD_ATTEMPTS, OLD_ATTEMPTS), "round {round}");
        before += u32::from(found == format);
        after += u32::from(found == newest);
        if found == newest {
            assert_eq!(
                state(&home.path(&backup)).0,
                format,
                "round {round}: the copy comes first"
            );
        }
        // The next start.
        home.ok(&args);
        assert_eq!(
            state(&home.path("logbook.sqlite")),
            (newest, OLD_ATTEMPTS, OLD_ATTEMPTS),
            "round {round}"
        );
        assert_eq!(
            state(&home.path(&backup)),
            (format, OLD_ATTEMPTS, OLD_ATTEMPTS),
            "round {round}"
        );
        assert_eq!(
            files(&home.0).into_iter().collect::<Vec<_>>(),
            ["logbook.sqlite".to_owned(), backup.clone()],
            "round {round}"
        );
    }
    let name = format!("migration from format {format}");
    tell(&name, kills(), cut, "as before", before, "the newest format", after);
}

#[test]
fn a_migration_from_format_1() {
    a_migration(1, include_str!("format-1.sql"));
}

#[test]
fn a_migration_from_format_2() {
    a_migration(2, include_str!("format-2.sql"));
}
