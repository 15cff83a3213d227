//! How long frames take while a call is judged, for measuring: written down only when the hidden option `--frame-times` asks
//! for it.

use crate::files;
use std::fs::File;
use std::io::Write as _;
use std::path::Path;
use std::time::Instant;

/// Takes the time between frames, and writes it after each call.
#[derive(Debug)]
pub(super) struct Watch {
    file: File,
    last: Option<Instant>,
    lines: String,
}

impl Watch {
    /// Begins a file of two columns: from the beginning of a frame to that of the next, and of it the time for laying out and
    /// handing over to the graphics library; seconds.
    pub(super) fn new(file: &Path) -> std::io::Result<Self> {
        let mut file = files::claim(file)?;
        file.write_all(b"whole_s,ours_s\n")?;
        Ok(Self {
            file,
            last: None,
            lines: String::new(),
        })
    }

    /// A frame begins. True where the next one should follow at once: only frames drawn one behind the other tell how long one
    /// takes with everything the graphics library does.
    pub(super) fn begins(&mut self, ours: Option<f32>, judging: bool) -> bool {
        let now = Instant::now();
        if let Some(last) = self.last {
            let ours = ours.map(|s| format!("{s:.6}")).unwrap_or_default();
            let whole = now.duration_since(last).as_secs_f32();
            self.lines.extend([&format!("{whole:.6},"), ours.as_str(), "\n"]);
        }
        self.last = judging.then_some(now);
        if !judging && !self.lines.is_empty() {
            // A measurement that cannot be written is seen by its missing lines.
            let _ = self.file.write_all(self.lines.as_bytes());
            self.lines.clear();
        }
        judging
    }
}
