//! Samples at the end of the range.

use super::levels::Levels;

/// One flag a sample; empty where no sample is clipped. See [`clipped`](super::codes::clipped).
pub(super) fn clipped_at(
    values: &[f64],
    overrange: &[(usize, bool)],
    levels: &Levels,
    step: Option<f64>,
) -> Vec<bool> {
    let mut flags = Vec::new();
    let marked = overrange.iter().map(|(row, _)| *row);
    for row in marked.filter(|row| *row < values.len()) {
        flags.resize(values.len(), false);
        flags[row] = true;
    }
    // Where there is a step there are three levels at least.
    let (Some(step), [low, after_low, ..], [.., before_high, high]) =
        (step, levels.values.as_slice(), levels.values.as_slice())
    else {
        return flags;
    };
    let (low, high) = (*low, *high);
    let inner = |top: bool| if top { *before_high } else { *after_low };
    let near = 0.25 * step;
    let count = |level: f64| levels.count(|v| (v - level).abs() < near);
    let stands_out = |top: bool| {
        let rail = if top { high } else { low };
        (rail - inner(top)).abs() > 1.5 * step || count(rail) > 3 * count(inner(top))
    };
    let codes = ((high - low) / step).round() + 1.0;
    let full_scale = (6..=16).any(|bits| codes == f64::from(1u32 << bits))
        && ((high - low) / step - (codes - 1.0)).abs() < 0.3
        && stands_out(true)
        && stands_out(false);
    for top in [false, true] {
        let rail = if top { high } else { low };
        let at_end = full_scale
            || off_grid(levels, rail, inner(top), step)
            || pinned(values, levels, rail, step, high - low);
        if at_end && !(rail == 0.0 && rests_at_zero(values)) {
            flags.resize(values.len(), false);
            for (flag, value) in flags.iter_mut().zip(values) {
                *flag |= (*value - rail).abs() < near;
            }
        }
    }
    flags
}

/// True where samples that read exactly 0 are those of an instrument that shows small values as 0, or of a quantity that is 0, not those of one
/// that shows nothing below 0: with noise such a range leaves samples just above its end wherever the signal rests there, a dead band
/// leaves none.
pub fn rests_at_zero(values: &[f64]) -> bool {
    let neighbours = values.windows(2).filter(|w| w[0] != 0.0 && w[1] != 0.0);
    let mut steps: Vec<f64> = neighbours.map(|w| (w[1] - w[0]).abs()).collect();
    steps.retain(|step| *step > 0.0);
    if steps.is_empty() {
        return true;
    }
    let middle = steps.len() / 2;
    let (_, typical, _) = steps.select_nth_unstable_by(middle, f64::total_cmp);
    let near = 3.0 * *typical;
    let count = |is: &dyn Fn(f64) -> bool| values.iter().filter(|v| is(**v)).count();
    20 * count(&|v| v != 0.0 && v.abs() <= near) < count(&|v| v == 0.0)
}

/// True when the extreme code does not lie on the grid of the codes beside it, and many samples sit there.
fn off_grid(levels: &Levels, rail: f64, inner: f64, step: f64) -> bool {
    let gap = (rail - inner).abs() / step;
    // Printed digits may move a code by a few hundredths of the step, not by 0.08.
    if !(gap < 4.0 && (gap - gap.round()).abs() > 0.08) {
        return false;
    }
    let at_rail = levels.count(|v| v == rail);
    at_rail >= 3 && at_rail > 2 * levels.count(|v| v == inner)
}

fn pinned(values: &[f64], levels: &Levels, rail: f64, step: f64, span: f64) -> bool {
    let at_rail = levels.count(|v| v == rail);
    let finite = levels.count(|_| true);
    if at_rail < 3 || at_rail * 4 > finite || span < 8.0 * step {
        return false;
    }
    let beside = levels.count(|v| v != rail && (v - rail).abs() < 3.5 * step);
    let mut longest = 0;
    let mut jumps = false;
    let mut at = 0;
    while at < values.len() {
        if values[at] != rail {
            at += 1;
            continue;
        }
        let first = at;
        while at < values.len() && values[at] == rail {
            at += 1;
        }
        if first == 0 || at == values.len() {
            // A level the record rests at, as far as the record shows.
            return false;
        }
        longest = longest.max(at - first);
        if at - first >= 3 {
            let arrival = (values[first - 1] - rail).abs();
            let leave = (values[at] - rail).abs();
            jumps |= arrival > 3.0 * step || leave > 3.0 * step;
        }
    }
    if longest >= 3 && jumps && at_rail * 50 <= finite && at_rail > 2 * beside {
        return true;
    }
    // Close by, how often does a sample equal the one before?
    let close = |v: f64| v != rail && (v - rail).abs() < 0.2 * span;
    let pairs: Vec<bool> = values
        .windows(2)
        .filter(|w| close(w[0]) && close(w[1]))
        .map(|w| w[0] == w[1])
        .collect();
    if pairs.len() < 10 {
        return false;
    }
    let same = (pairs.iter().filter(|&&s| s).count() as f64 + 1.0) / (pairs.len() as f64 + 2.0);
    at_rail > 4 * beside && (longest as f64) * same.ln() < -14.0
}
