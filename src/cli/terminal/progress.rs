//! What a long command is doing, on standard error, where that is a terminal; nothing in a pipe or a log.

use indicatif::{ProgressBar, ProgressStyle};
use rundown::fit;
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
        if let Ok(style) = ProgressStyle::with_template("{spinner} {msg}{prefix} {elapsed}") {
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
            bar.set_prefix("");
        }
    }

    /// What shows the trials of the solver beside the stage.
    pub fn trials(&self) -> impl Fn(&fit::Progress) + Send + Sync + use<> {
        let bar = self.0.clone();
        move |progress| {
            if let Some(bar) = &bar {
                bar.set_prefix(format!(
                    ", trial {}, sum of squares {:.4e}",
                    progress.iteration,
                    2.0 * progress.cost
                ));
            }
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
