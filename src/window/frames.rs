//! How long frames take while a call is judged, for measuring: written down only when the hidden option `--frame-times` asks for it.

use std::fmt::Write as _;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

/// One frame.
#[derive(Debug, Clone, Copy)]
struct Frame {
    /// From the beginning of this frame to the beginning of the next, seconds.
    whole: f32,
    /// Of the frame before: laying out and handing over to the graphics library, seconds.
    ours: Option<f32>,
}

/// The frames of one run.
#[derive(Debug, Clone, Default)]
pub(super) struct Frames(Arc<Mutex<Vec<Frame>>>);

/// Takes the time between frames.
#[derive(Debug)]
pub(super) struct Watch {
    frames: Frames,
    last: Option<Instant>,
}

impl Frames {
    pub(super) fn watch(&self) -> Watch {
        Watch {
            frames: self.clone(),
            last: None,
        }
    }

    /// One line a frame.
    pub(super) fn write(&self, file: &Path) -> std::io::Result<()> {
        let mut text = "whole_s,ours_s\n".to_owned();
        for f in self.0.lock().unwrap_or_else(PoisonError::into_inner).iter() {
            // Writing to a String cannot fail.
            let _ = write!(text, "{:.6},", f.whole);
            let _ = writeln!(text, "{}", f.ours.map(|s| format!("{s:.6}")).unwrap_or_default());
        }
        std::fs::write(file, text)
    }
}

impl Watch {
    /// A frame begins. True where the next one should follow at once: only frames drawn one behind the other tell how long one
    /// takes with everything the graphics library does.
    pub(super) fn begins(&mut self, ours: Option<f32>, judging: bool) -> bool {
        let now = Instant::now();
        if let Some(last) = self.last.filter(|_| judging) {
            let whole = now.duration_since(last).as_secs_f32();
            let mut frames = self.frames.0.lock().unwrap_or_else(PoisonError::into_inner);
            frames.push(Frame { whole, ours });
        }
        self.last = judging.then_some(now);
        judging
    }
}
