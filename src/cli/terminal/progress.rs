//! What a long command is doing, on standard error, where that is a terminal; nothing in a pipe or a log.

use indicatif::{ProgressBar, ProgressStyle};
use std::io::IsTerminal;
use std::time::Duration;

/// Work shorter than a tick is never shown.
const TICK: Duration = Duration::from_millis(120);

/// A line that shows the stage and the time it has taken.
pub struct Progress(Option<ProgressBar>);

impl Progress {
    /// Begins with a stage.
    pub fn start(stage: &str) -> Progress {
        if !std::io::stderr().is_terminal() {
            return Progress(None);
        }
        let bar = ProgressBar::new_spinner();
        if let Ok(style) = ProgressStyle::with_template("{spinner} {msg} {elapsed}") {
            bar.set_style(style);
        }
        bar.set_message(stage.to_owned());
        bar.enable_steady_tick(TICK);
        Progress(Some(bar))
    }

    /// Goes on to the next stage.
    pub fn stage(&self, stage: &str) {
        if let Some(bar) = &self.0 {
            bar.set_message(stage.to_owned());
        }
    }

    /// Takes the line away, before anything else is printed.
    pub fn end(&self) {
        if let Some(bar) = &self.0 {
            bar.finish_and_clear();
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.end();
    }
}
