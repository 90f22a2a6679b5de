//! How long each stage of a command took, and on a terminal what it is doing.

use super::progress::Progress;
use rundown::fit::{Interrupt, Monitor};
use std::fmt;
use std::time::{Duration, Instant};

/// Laps of one command.
pub struct Timings {
    last: Instant,
    laps: Vec<(&'static str, Duration)>,
    /// Stages to come, shown on a terminal.
    stages: &'static [&'static str],
    progress: Progress,
}

impl Timings {
    /// Starts the clock; `stages` are what a terminal shows, one after each lap.
    pub fn start(stages: &'static [&'static str]) -> Self {
        Timings {
            last: Instant::now(),
            laps: Vec::new(),
            stages,
            progress: Progress::start(stages.first().copied().unwrap_or("")),
        }
    }

    /// What ends the fit by `interrupt`, and shows its trials beside the stage.
    pub fn monitor(&self, interrupt: Interrupt) -> Monitor {
        Monitor::new(interrupt, self.progress.trials())
    }

    /// Takes the stage off the terminal, before anything is printed.
    pub fn end(&self) {
        self.progress.end();
    }

    /// Ends a stage.
    pub fn lap(&mut self, stage: &'static str) {
        let now = Instant::now();
        self.laps.push((stage, now - self.last));
        if let Some(next) = self.stages.get(self.laps.len()) {
            self.progress.stage(next);
        }
        self.last = now;
    }
}

impl fmt::Display for Timings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let width = self.laps.iter().map(|l| l.0.len()).max().unwrap_or(0);
        for (stage, duration) in &self.laps {
            writeln!(f, "{stage:width$}  {:8.1} ms", duration.as_secs_f64() * 1e3)?;
        }
        let total: Duration = self.laps.iter().map(|l| l.1).sum();
        writeln!(
            f,
            "{:width$}  {:8.1} ms",
            "total",
            total.as_secs_f64() * 1e3
        )
    }
}
