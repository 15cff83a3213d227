//! A club's site being replaced.

use super::{Home, copy, files, folder, killed, kills, moment, takes, tell};
use std::path::Path;

#[test]
fn a_site_being_saved() {
    let place = folder();
    let (old, new) = (Home(place.path().join("old")), place.path().join("new"));
    std::fs::create_dir_all(&old.0).unwrap();
    let larkmoor = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrases/larkmoor");
    copy(&larkmoor, &new.join("larkmoor"));
    for file in files(&new) {
        let path = new.join(file);
        let text = std::fs::read_to_string(&path).unwrap();
        std::fs::write(&path, format!("{text}\n# the new one\n")).unwrap();
    }
    let zip = |folder: &Path, name: &str| {
        let file = place.path().join(name);
        old.ok(&["site", "export", folder.to_str().unwrap(), file.to_str().unwrap()]);
        file.to_str().unwrap().to_owned()
    };
    let (first, second) = (zip(&larkmoor, "old.zip"), zip(&new.join("larkmoor"), "new.zip"));
    old.ok(&["site", "import", &first]);
    let args = ["site", "import", &second, "--replace"];
    let home = Home(place.path().join("home"));
    copy(&old.0, &home.0);
    let whole = takes(home.command(&args));
    let (mut cut, mut before, mut after) = (0, 0, 0);
    for round in 0..kills() {
        std::fs::remove_dir_all(&home.0).unwrap();
        copy(&old.0, &home.0);
        cut += u32::from(killed(home.command(&args).spawn().unwrap(), moment(round, whole)));
        let site = home.path("phrases/larkmoor");
        let is_new = |name: &String| {
            std::fs::read_to_string(site.join(name))
                .unwrap()
                .ends_with("# the new one\n")
        };
        let there = files(&site);
        let changed = there.iter().filter(|name| is_new(name)).count();
        // A moment lies between the old one being put away and the new one taking its place; then the old one is in `.older`.
        if there.is_empty() {
            assert!(
                files(&home.path("phrases/.older")).len() >= 5,
                "round {round}: the site is nowhere"
            );
        } else {
            assert!(changed == 0 || changed == there.len(), "round {round}: a mixture");
            before += u32::from(changed == 0);
            after += u32::from(changed > 0);
        }
        home.ok(&args);
        home.ok(&["site", "check", site.to_str().unwrap()]);
        assert!(files(&site).iter().all(is_new), "round {round}");
        let left: Vec<String> = files(&home.path("phrases"))
            .into_iter()
            .filter(|f| !f.starts_with("larkmoor/") && !f.starts_with(".older/") && f != ".lock")
            .collect();
        assert_eq!(left, Vec::<String>::new(), "round {round}");
    }
    tell("site save", kills(), cut, "the old one", before, "the new one", after);
}
