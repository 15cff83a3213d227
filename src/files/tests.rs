use super::*;
use std::sync::Barrier;
use std::sync::atomic::{AtomicUsize, Ordering};

/// How often what several programs do at once is tried: `CABLESIDE_TEST_ROUNDS`, or few enough for every day.
pub(crate) fn rounds() -> usize {
    std::env::var("CABLESIDE_TEST_ROUNDS").map_or(25, |n| n.parse().unwrap())
}

/// Each of `all` on a thread of its own, begun in the same moment.
pub(crate) fn at_once<T: Send, R: Send>(all: impl IntoIterator<Item = T>, work: impl Fn(T) -> R + Sync) -> Vec<R> {
    let all: Vec<T> = all.into_iter().collect();
    let gate = Barrier::new(all.len());
    std::thread::scope(|scope| {
        let (gate, work) = (&gate, &work);
        let threads: Vec<_> = (all.into_iter().enumerate())
            .map(|(n, one)| {
                let begin = move || {
                    gate.wait();
                    work(one)
                };
                let builder = std::thread::Builder::new().name(format!("program {n}"));
                builder.spawn_scoped(scope, begin).unwrap()
            })
            .collect();
        threads.into_iter().map(|t| t.join().unwrap()).collect()
    })
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = (std::fs::read_dir(folder).unwrap())
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn one_of_several_makes_a_file_and_the_others_see_it_whole() {
    let text = |n: usize| format!("{n}").repeat(10_000);
    for _ in 0..rounds() {
        let dir = tempfile::tempdir().unwrap();
        let place = dir.path().join("secret");
        let made = at_once(0..4, |n| {
            let made = make(&place, Access::Private, text(n).as_bytes());
            // Made or not: what is there is whole.
            let seen = std::fs::read_to_string(&place).unwrap();
            assert_eq!(seen, text(seen[..1].parse().unwrap()));
            match made {
                Ok(()) => assert_eq!(seen, text(n)),
                Err(ref e) => assert_eq!(e.kind(), ErrorKind::AlreadyExists),
            }
            made.is_ok()
        });
        assert_eq!(made.iter().filter(|m| **m).count(), 1);
        assert_eq!(names(dir.path()), ["secret"], "nothing is left beside it");
    }
}

#[test]
fn several_replace_a_file_and_one_of_them_stays_whole() {
    for _ in 0..rounds() {
        let dir = tempfile::tempdir().unwrap();
        let place = dir.path().join("settings.toml");
        std::fs::write(&place, "before").unwrap();
        at_once(0..4, |n| {
            replace(&place, Access::Ordinary, format!("{n}").repeat(10_000).as_bytes()).unwrap();
            let seen = std::fs::read_to_string(&place).unwrap();
            assert!(seen.len() == 10_000 && seen.bytes().all(|b| b == seen.as_bytes()[0]));
        });
        assert_eq!(names(dir.path()), ["settings.toml"]);
    }
}

#[test]
fn several_rename_to_the_first_free_name_and_nothing_is_overwritten() {
    for _ in 0..rounds() {
        let dir = tempfile::tempdir().unwrap();
        at_once(0..4, |n| {
            let mine = dir.path().join(format!("mine-{n}"));
            std::fs::write(&mine, format!("{n}")).unwrap();
            let place = dir.path().join("kept.txt");
            let free = |to: &PathBuf| match rename_new(&mine, to) {
                Err(e) if e.kind() == ErrorKind::AlreadyExists => false,
                renamed => renamed.is_ok(),
            };
            numbered(&place).find(free).unwrap();
        });
        assert_eq!(
            names(dir.path()),
            ["kept-2.txt", "kept-3.txt", "kept-4.txt", "kept.txt"]
        );
        let mut texts: Vec<_> = (names(dir.path()).iter())
            .map(|n| std::fs::read_to_string(dir.path().join(n)).unwrap())
            .collect();
        texts.sort();
        assert_eq!(texts, ["0", "1", "2", "3"]);
    }
}

#[test]
fn a_lock_is_held_by_one_and_gone_with_it() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join(".lock");
    let inside = AtomicUsize::new(0);
    at_once(0..4, |_| {
        for _ in 0..rounds() {
            let _lock = Lock::take(&path).unwrap();
            assert_eq!(inside.fetch_add(1, Ordering::SeqCst), 0);
            assert_eq!(inside.fetch_sub(1, Ordering::SeqCst), 1);
        }
    });
    let held = Lock::take(&path).unwrap();
    assert!(Lock::try_take(&path).unwrap().is_none());
    drop(held);
    let reading = (Lock::to_read(&path).unwrap(), Lock::to_read(&path).unwrap());
    assert!(Lock::try_take(&path).unwrap().is_none(), "readers keep writers out");
    drop(reading);
    assert!(Lock::try_take(&path).unwrap().is_some());
    assert!(Lock::to_read(&dir.path().join("none")).is_none());
}

#[test]
fn what_is_not_finished_leaves_nothing_and_touches_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let place = dir.path().join("x.csv");
    // Somebody's own file, by the name that a file on its way once had here.
    std::fs::write(dir.path().join("x.csv.part"), "mine").unwrap();
    let mut file = Beside::new(&place, Access::Ordinary).unwrap();
    file.write_all(b"half").unwrap();
    drop(file);
    assert_eq!(names(dir.path()), ["x.csv.part"]);
    make(&place, Access::Ordinary, b"whole").unwrap();
    assert_eq!(
        make(&place, Access::Ordinary, b"other").unwrap_err().kind(),
        ErrorKind::AlreadyExists
    );
    assert_eq!(names(dir.path()), ["x.csv", "x.csv.part"]);
    assert_eq!(std::fs::read(&place).unwrap(), b"whole");
    assert!(remove(&place).unwrap());
    assert!(!remove(&place).unwrap());
}

/// A name as long as the system allows leaves no room for anything behind it.
#[test]
fn a_long_name_is_written_too() {
    let dir = tempfile::tempdir().unwrap();
    let place = dir.path().join("ä".repeat(120));
    make(&place, Access::Ordinary, b"whole").unwrap();
    assert_eq!(std::fs::read(&place).unwrap(), b"whole");
}

#[cfg(unix)]
#[test]
fn a_private_file_is_its_owners() {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir().unwrap();
    let plain = dir.path().join("plain");
    std::fs::write(&plain, "").unwrap();
    let mode = |p: &Path| std::fs::metadata(p).unwrap().permissions().mode() & 0o777;
    for (access, wanted) in [(Access::Ordinary, mode(&plain)), (Access::Private, 0o600)] {
        let place = dir.path().join(format!("{access:?}"));
        make(&place, access, b"").unwrap();
        assert_eq!(mode(&place), wanted);
        replace(&place, access, b"").unwrap();
        assert_eq!(mode(&place), wanted);
    }
}
