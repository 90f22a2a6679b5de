//! The level of intervals.

/// Refuses what is no level of an interval.
pub fn check_level(level: f64) -> anyhow::Result<()> {
    anyhow::ensure!(
        level > 0.5 && level < 1.0,
        "--level {level} is no level of an interval: expected a probability above 0.5 and below 1, e.g. 0.95"
    );
    Ok(())
}
