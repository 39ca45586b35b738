//! Progress bars, on a terminal only.

use indicatif::{ProgressBar, ProgressStyle};
use std::io::IsTerminal;

/// A bar on standard error.
pub(super) struct Progress(ProgressBar);

/// A bar that counts `unit`: `bytes` are shown in their own way.
pub(super) fn progress(unit: &str) -> Progress {
    if !std::io::stderr().is_terminal() {
        return Progress(ProgressBar::hidden());
    }
    let template = match unit {
        "bytes" => "{bytes} of {total_bytes}  {wide_bar}  {bytes_per_sec}  {eta} left".to_owned(),
        unit => format!("{{human_pos}} of {{human_len}} {unit}  {{wide_bar}}  {{per_sec}}  {{eta}} left"),
    };
    let style = ProgressStyle::with_template(&template).expect("the templates above are sound");
    Progress(ProgressBar::new(0).with_style(style))
}

impl Progress {
    pub(super) fn at(&self, done: u64, of: u64) {
        self.0.set_length(of);
        self.0.set_position(done);
    }

    pub(super) fn done(self) {
        self.0.finish_and_clear();
    }
}
