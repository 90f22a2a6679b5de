//! The level of intervals.

/// Refuses what is no level of an interval.
pub fn check_level(level: f64) -> anyhow::Result<()> {
    let hint = match level {
        percent if percent > 50.0 && percent < 100.0 => {
            format!("; {percent} % is --level {}", percent / 100.0)
        }
        _ => ", e.g. 0.95".to_owned(),
    };
    anyhow::ensure!(
        level > 0.5 && level < 1.0,
        "--level {level} is no level of an interval: expected a probability above 0.5 and below 1{hint}"
    );
    Ok(())
}
