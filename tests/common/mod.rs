//! What several test files share; each uses a part of it.
#![allow(dead_code, clippy::unwrap_used, clippy::panic)]

pub mod play;
#[cfg(target_os = "linux")]
pub mod room;

use std::path::PathBuf;

/// The speech model that scripts/test has obtained. Without it the test fails; it is never skipped.
pub fn model() -> PathBuf {
    let folder = std::env::var_os("CABLESIDE_MODELS").map_or_else(cableside::folders::models, PathBuf::from);
    let file = folder.join("ggml-base.bin");
    assert!(
        file.is_file(),
        "the speech model is not there: run scripts/test, or `cableside model fetch base`\n  {}",
        file.display()
    );
    file
}
