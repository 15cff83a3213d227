//! The speech model taken in by the program itself: through a proxy, from an encrypted server with a certificate that only this
//! computer trusts, broken off and taken up again. The server and the proxy are on the loopback.
//!
//! Needs the model tiny.en in the folder named by `CABLESIDE_MODELS`, else in the data folder. `scripts/test` obtains it first.
#![allow(
    clippy::similar_names,
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::Arc;

#[path = "common/server.rs"]
mod server;
use server::{Reply, Server, certificate, proxy};

fn tiny() -> Vec<u8> {
    let dir = std::env::var_os("CABLESIDE_MODELS").map_or_else(cableside::folders::models, PathBuf::from);
    let found = cableside::model::find(&dir, "tiny.en").unwrap_or_else(|failure| {
        panic!("this test needs the speech model tiny.en ({failure}); run scripts/test, or name its folder in CABLESIDE_MODELS")
    });
    std::fs::read(found.path).unwrap()
}

fn cableside(home: &Path, arguments: &[&str], variables: &[(&str, &str)]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_cableside"));
    for name in [
        "ALL_PROXY",
        "all_proxy",
        "HTTPS_PROXY",
        "https_proxy",
        "HTTP_PROXY",
        "http_proxy",
        "NO_PROXY",
        "no_proxy",
        "SSL_CERT_DIR",
    ] {
        command.env_remove(name);
    }
    command
        .args(arguments)
        .env("CABLESIDE_HOME", home)
        .envs(variables.iter().copied())
        .output()
        .unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

// Elsewhere the certificates are the system's own, which no variable changes.
#[cfg(target_os = "linux")]
#[test]
fn through_a_proxy_with_a_break_in_the_middle() {
    let bytes = Arc::new(tiny());
    let (tls, pem) = certificate(&["models.example"]);
    let served = bytes.clone();
    let server = Server::start(Some(tls), move |asked, before| {
        let reply = Reply::file(asked, &served, "\"tiny\"");
        if before == 0 { reply.cut(30_000_000) } else { reply }
    });
    let (proxy, names) = proxy(server.at);
    let home = tempfile::tempdir().unwrap();
    let trusted = home.path().join("trusted.pem");
    std::fs::write(&trusted, pem).unwrap();
    let through = format!("http://{proxy}");
    let arguments = ["model", "fetch", "--from", "https://models.example/tiny.bin"];

    let untrusted = cableside(home.path(), &arguments, &[("HTTPS_PROXY", &through)]);
    assert!(!untrusted.status.success());
    assert!(
        said(&untrusted).contains("certificate of models.example is not trusted"),
        "{}",
        said(&untrusted)
    );
    assert!(server.asked().is_empty());

    let trust = [
        ("HTTPS_PROXY", through.as_str()),
        ("SSL_CERT_FILE", trusted.to_str().unwrap()),
    ];
    let output = cableside(home.path(), &arguments, &trust);
    assert!(output.status.success(), "{}", said(&output));
    assert!(
        said(&output).contains("model tiny.en (English only), checksum as published"),
        "{}",
        said(&output)
    );
    assert!(
        names
            .lock()
            .unwrap()
            .iter()
            .all(|line| line.starts_with("CONNECT models.example:443 "))
    );
    let ranges: Vec<_> = server.asked().iter().map(|a| a.range).collect();
    assert_eq!(ranges, [None, Some(30_000_000)]);
    let file = home.path().join("models").join("ggml-tiny.en.bin");
    assert!(std::fs::read(&file).unwrap() == *bytes);

    // It is the file of a name now, and taken from there like from a stick.
    let other = tempfile::tempdir().unwrap();
    let output = cableside(other.path(), &["model", "fetch", "--from", file.to_str().unwrap()], &[]);
    assert!(output.status.success(), "{}", said(&output));
    let output = cableside(other.path(), &["model", "check"], &[]);
    assert!(said(&output).contains("ggml-tiny.en.bin"), "{}", said(&output));
    let wrong = cableside(
        other.path(),
        &["model", "fetch", "base", "--from", file.to_str().unwrap()],
        &[],
    );
    assert!(
        said(&wrong).contains("77704715 bytes, so it is not base"),
        "{}",
        said(&wrong)
    );
}

#[test]
fn an_address_that_is_not_encrypted_is_refused() {
    let home = tempfile::tempdir().unwrap();
    let output = cableside(
        home.path(),
        &["model", "fetch", "--from", "http://club.example/ggml-base.bin"],
        &[],
    );
    assert!(!output.status.success());
    assert!(said(&output).contains("write https://"), "{}", said(&output));
}
