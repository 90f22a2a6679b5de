//! Pulses of a pickup by their shape.

/// Fewest pulses that show a pickup.
const FEWEST: usize = 6;
/// Share of the samples that lie near one of two levels, and how near, relative to their distance (common practice, no source).
const AT_LEVELS: f64 = 0.9;
const NEAR: f64 = 0.2;

/// How often a signal rises from the lower of its two levels to the upper one; `None` where it has no two levels, or rises too
/// seldom to show a shaft that turns.
pub(super) fn pulses(values: &[f64]) -> Option<usize> {
    let finite = || values.iter().copied().filter(|v| v.is_finite());
    let (low, high) = finite().fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
    let near = NEAR * (high - low);
    if !(near > 0.0 && near.is_finite()) {
        return None;
    }
    let (mut at_levels, mut all, mut rises, mut is_high) = (0usize, 0usize, 0usize, None);
    for value in finite() {
        all += 1;
        let level = if value >= high - near {
            true
        } else if value <= low + near {
            false
        } else {
            continue;
        };
        at_levels += 1;
        rises += usize::from(level && is_high == Some(false));
        is_high = Some(level);
    }
    (at_levels as f64 >= AT_LEVELS * all as f64 && rises >= FEWEST).then_some(rises)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_levels_with_many_edges_are_pulses_and_a_wave_is_none() {
        let square: Vec<f64> = (0..400)
            .map(|k| if k % 30 < 9 { 5.0 } else { 0.1 })
            .collect();
        assert_eq!(pulses(&square), Some(13));
        let wave: Vec<f64> = (0..400).map(|k| f64::from(k).sin()).collect();
        assert_eq!(pulses(&wave), None);
        let step: Vec<f64> = (0..400).map(|k| if k < 90 { 0.0 } else { 12.0 }).collect();
        assert_eq!(pulses(&step), None);
    }
}
