//! For Windows: the icon, the version and what the program asks of the system, in its files.

use std::env::{VarError, var};
use std::error::Error;

fn main() -> Result<(), Box<dyn Error>> {
    const ICON: &str = "packaging/icon/cableside.ico";
    const MANIFEST: &str = "packaging/windows/cableside.manifest";
    println!("cargo:rerun-if-changed={ICON}");
    println!("cargo:rerun-if-changed={MANIFEST}");
    match var("CARGO_CFG_TARGET_OS") {
        Ok(system) if system == "windows" => {}
        Ok(_) | Err(VarError::NotPresent) => return Ok(()),
        Err(e) => return Err(e.into()),
    }
    // The linker writes the time into the program otherwise, and no two builds are the same.
    if var("CARGO_CFG_TARGET_ENV").is_ok_and(|env| env == "gnu") {
        println!("cargo:rustc-link-arg-bins=-Wl,--no-insert-timestamp");
    }
    winresource::WindowsResource::new()
        .set_icon(ICON)
        .set_manifest_file(MANIFEST)
        .set("ProductName", "Cableside")
        .set("FileDescription", "Cableside")
        .set("LegalCopyright", "Apache-2.0")
        .compile()
        .map_err(|e| format!("the resources of the program for Windows could not be made ({e}); is windres there?"))?;
    Ok(())
}
