//! How long each stage of a command took.

use std::fmt;
use std::time::{Duration, Instant};

/// Laps of one command.
pub struct Timings {
    last: Instant,
    laps: Vec<(&'static str, Duration)>,
}

impl Timings {
    /// Starts the clock.
    pub fn start() -> Self {
        Timings {
            last: Instant::now(),
            laps: Vec::new(),
        }
    }

    /// Ends a stage.
    pub fn lap(&mut self, stage: &'static str) {
        let now = Instant::now();
        self.laps.push((stage, now - self.last));
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
