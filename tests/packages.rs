//! The program as it lies unpacked: in a deep folder with umlauts, in one that nobody may write to, beside half a model, for
//! two users of one computer.

#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "tests")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// A folder with the program in it, as a package has it; named so that its path has more than 200 characters.
struct Unpacked {
    dir: tempfile::TempDir,
    program: PathBuf,
}

impl Unpacked {
    fn new() -> Self {
        // Beside the program that was built, so that it need not be copied.
        let dir = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
        let folder = dir
            .path()
            .join("Größe und Übung ".repeat(8).trim())
            .join("Fünf Flüge ".repeat(8).trim());
        fs::create_dir_all(&folder).unwrap();
        let program = folder.join("cableside");
        fs::hard_link(env!("CARGO_BIN_EXE_cableside"), &program).unwrap();
        assert!(program.to_str().unwrap().chars().count() > 200);
        Self { dir, program }
    }

    fn beside(&self, name: &str) -> PathBuf {
        self.program.with_file_name(name)
    }

    /// A command of the user whose home this is.
    fn command(&self, user: &str) -> Command {
        let home = self.dir.path().join(user);
        fs::create_dir_all(&home).unwrap();
        let mut command = Command::new(&self.program);
        command
            .current_dir(self.dir.path())
            .env("HOME", home)
            .env_remove("CABLESIDE_HOME")
            .env_remove("CABLESIDE_MODELS")
            .env_remove("XDG_DATA_HOME");
        command
    }

    fn says(&self, user: &str, args: &[&str]) -> String {
        let out = self.command(user).args(args).output().unwrap();
        assert!(out.status.success(), "{args:?}: {}", said(&out));
        said(&out)
    }
}

fn said(out: &Output) -> String {
    String::from_utf8_lossy(&[&out.stdout[..], &out.stderr[..]].concat()).into_owned()
}

fn typed_drill(unpacked: &Unpacked, user: &str) -> String {
    unpacked.says(user, &["logbook", "student", "add", "Ägir", "--consent", "no"]);
    let calls = unpacked.dir.path().join("calls.txt");
    let call = "winch golf charlie lima romeo mike two up north winch cable ready\n";
    fs::write(&calls, call).unwrap();
    let args = "drill --site larkmoor --typed --turns 1 --situation G-CLRM,2,north --student Ägir";
    let out = unpacked
        .command(user)
        .args(args.split(' '))
        .stdin(fs::File::open(calls).unwrap())
        .output()
        .unwrap();
    assert!(out.status.success(), "{}", said(&out));
    said(&out)
}

#[test]
fn a_deep_folder_with_umlauts_and_data_beside_the_program() {
    let unpacked = Unpacked::new();
    let data = unpacked.beside("data");
    fs::create_dir(&data).unwrap();
    assert!(typed_drill(&unpacked, "anna").contains("Outcome: pass"));
    assert!(data.join("logbook.sqlite").is_file());
    let report = unpacked.beside("Bericht für Ägir.pdf");
    let path = report.to_str().unwrap();
    unpacked.says(
        "anna",
        &["report", "--site", "larkmoor", "--student", "Ägir", "--out", path],
    );
    assert!(fs::read(&report).unwrap().starts_with(b"%PDF"));
    let site = unpacked.beside("Platz Größe.cableside");
    unpacked.says("anna", &["site", "export", "erlengrund", site.to_str().unwrap()]);
    unpacked.says("anna", &["site", "import", site.to_str().unwrap()]);
    assert!(data.join("phrases").join("erlengrund").is_dir());
    let left: Vec<_> = fs::read_dir(unpacked.dir.path().join("anna")).unwrap().collect();
    assert!(left.is_empty(), "nothing goes to the user's own folder: {left:?}");
}

#[test]
fn two_users_have_a_logbook_each() {
    let unpacked = Unpacked::new();
    assert!(typed_drill(&unpacked, "anna").contains("Outcome: pass"));
    let nobody = unpacked.says("bert", &["logbook", "students"]);
    assert!(!nobody.contains("Ägir"), "{nobody}");
    assert!(unpacked.says("anna", &["logbook", "students"]).contains("Ägir"));
    let beside: Vec<_> = fs::read_dir(unpacked.program.parent().unwrap()).unwrap().collect();
    assert_eq!(beside.len(), 1, "nothing is written beside the program: {beside:?}");
}

#[test]
fn half_a_model_that_came_with_the_program_is_named_with_what_to_do() {
    let unpacked = Unpacked::new();
    let models = unpacked.beside("models");
    fs::create_dir(&models).unwrap();
    let half = fs::File::create(models.join("ggml-base.bin")).unwrap();
    half.set_len(70_000_000).unwrap();
    for args in [&["demo"][..], &["model", "check"]] {
        let out = unpacked.command("anna").args(args).output().unwrap();
        let text = said(&out);
        assert_eq!(out.status.code(), Some(1), "{text}");
        for part in [
            "cut short (70000000 of 147951465 bytes)",
            "unpack or install that again",
            models.join("ggml-base.bin").to_str().unwrap(),
        ] {
            assert!(text.contains(part), "{args:?}: {text}");
        }
    }
}

/// Where mounting is permitted, in a namespace of its own: root may write where permissions forbid it, but not to what is
/// mounted to read only.
#[test]
fn a_folder_that_nobody_may_write_to() {
    let unpacked = Unpacked::new();
    let folder = unpacked.program.parent().unwrap().to_owned();
    let script =
        "mount --bind \"$1\" \"$1\" && mount -o remount,bind,ro \"$1\" && echo mounted && shift && exec \"$@\"";
    let protected = |args: &[&str], place: &Path| {
        let mut refusals = String::new();
        for rights in [&["--mount"][..], &["--mount", "--map-root-user"]] {
            let home = unpacked.dir.path().join("anna");
            fs::create_dir_all(&home).unwrap();
            let out = Command::new("unshare")
                .args(rights)
                .args(["sh", "-c", script, "sh"])
                .args([&folder, &unpacked.program])
                .args(args)
                .current_dir(Path::new("/"))
                .env("HOME", home)
                .env("CABLESIDE_HOME", place)
                .env_remove("XDG_DATA_HOME")
                .output()
                .unwrap();
            let text = said(&out);
            if text.contains("mounted") {
                return Some((out.status.code(), text));
            }
            refusals += &text;
        }
        println!("not checked, mounting is not permitted here: {refusals}");
        None
    };
    let add = ["logbook", "student", "add", "Ägir", "--consent", "no"];
    let Some((code, text)) = protected(&add, Path::new("")) else {
        return;
    };
    assert_eq!(code, Some(0), "the logbook lies in the user's own folder: {text}");
    fs::create_dir(unpacked.beside("data")).unwrap();
    let (code, text) = protected(&add, Path::new("")).unwrap();
    assert_eq!(code, Some(1), "{text}");
    assert!(
        text.contains("write-protected") && text.contains("Allow writing to the folder"),
        "{text}"
    );
    // Named by hand, and not there yet.
    let place = folder.join("anywhere");
    let (code, text) = protected(&add, &place).unwrap();
    assert_eq!(code, Some(1), "{text}");
    for part in [
        "cannot be made",
        "allow writing",
        "CABLESIDE_HOME",
        place.to_str().unwrap(),
    ] {
        assert!(text.contains(part), "{text}");
    }
}
