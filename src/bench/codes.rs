//! Codes of a converter in the numbers of a channel: the step between them, and rows at the end of the range.

use crate::capture::Channel;

/// More rows tell nothing more of the step.
const ENOUGH_ROWS: usize = 100_000;
/// Fewer different values than rows by this factor mark codes; otherwise the data look continuous.
const CODES_REPEAT: usize = 2;
/// Rows in a row at the extreme code that noise does not make.
const FLAT_RUN: usize = 5;
/// Part of all rows at the extreme code above which it is a level (a settled or switched voltage), not a cut peak.
const LEVEL_PART: f64 = 0.2;
/// An extreme this near to zero, as a part of the largest value, is rest.
const REST_PART: f64 = 0.1;

/// Step between neighbouring codes, in the unit of `values`; `None` where the data look continuous or constant.
///
/// The step is the mean of the small differences between neighbouring distinct values, so that the rounding of the
/// printed digits averages out.
pub(super) fn quantisation_step(values: &[f64]) -> Option<f64> {
    let every = values.len().div_ceil(ENOUGH_ROWS).max(1);
    let mut seen: Vec<f64> = values
        .iter()
        .step_by(every)
        .copied()
        .filter(|v| v.is_finite())
        .collect();
    let rows = seen.len();
    seen.sort_by(f64::total_cmp);
    seen.dedup();
    if seen.len() < 3 || rows < CODES_REPEAT * seen.len() {
        return None;
    }
    let mut gaps: Vec<f64> = seen.windows(2).map(|w| w[1] - w[0]).collect();
    gaps.sort_by(f64::total_cmp);
    let typical = gaps[gaps.len() / 10];
    let small: Vec<f64> = gaps
        .into_iter()
        .filter(|g| (0.5 * typical..=1.5 * typical).contains(g))
        .collect();
    (!small.is_empty()).then(|| small.iter().sum::<f64>() / small.len() as f64)
}

/// Rows marked overrange in the file, and rows at the highest or lowest code where the preamble puts the end of the range
/// or a flat run is explained by no level.
pub(super) fn clipped(channel: &Channel) -> Vec<bool> {
    let values = &channel.values;
    let mut flags = vec![false; values.len()];
    for (row, _) in &channel.overrange {
        if let Some(flag) = flags.get_mut(*row) {
            *flag = true;
        }
    }
    let Some(step) = quantisation_step(values) else {
        return flags;
    };
    let largest = values
        .iter()
        .filter(|v| v.is_finite())
        .fold(0.0, |l: f64, v| l.max(v.abs()));
    for sign in [1.0, -1.0] {
        let top = values
            .iter()
            .filter(|v| v.is_finite())
            .fold(f64::NEG_INFINITY, |t, v| t.max(sign * v));
        let near = |v: &f64, codes: f64| ((top - sign * v) / step - codes).abs() < 0.5;
        if at_edge(channel, sign * top, step) || flat_top(values, &near, top, largest) {
            for (flag, value) in flags.iter_mut().zip(values) {
                *flag |= near(value, 0.0);
            }
        }
    }
    flags
}

/// True when the preamble's scale and offset put the end of the range at `extreme`: four or five divisions either side of
/// the offset, whose sign differs from one preamble to the next. The last code below an upper end stands a step inside.
fn at_edge(channel: &Channel, extreme: f64, step: f64) -> bool {
    let facts = &channel.facts;
    let (Some(scale), Some(offset)) = (facts.vertical_scale_per_division, facts.vertical_offset)
    else {
        return false;
    };
    [4.0, 5.0].iter().any(|divisions| {
        [offset, -offset].iter().any(|centre| {
            let distance = (extreme - centre).abs() - divisions * scale;
            (-1.5 * step..=0.5 * step).contains(&distance)
        })
    })
}

/// True when a flat run at the extreme code is explained by no level.
fn flat_top(values: &[f64], near: &dyn Fn(&f64, f64) -> bool, top: f64, largest: f64) -> bool {
    let count = |codes: f64| values.iter().filter(|v| near(v, codes)).count();
    let at_top = count(0.0);
    // Noise thins out towards its extreme code; a cut peak piles up there.
    let piled = at_top > 3 * count(1.0).max(count(2.0));
    let level = at_top as f64 > LEVEL_PART * values.len() as f64;
    // A quiet channel at rest piles up at zero.
    let rest = top.abs() < REST_PART * largest;
    piled
        && !level
        && !rest
        && values
            .chunk_by(|a, b| near(a, 0.0) == near(b, 0.0))
            .any(|run| run.len() >= FLAT_RUN && near(&run[0], 0.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::ChannelFacts;
    use approx::assert_relative_eq;

    fn channel(values: Vec<f64>) -> Channel {
        Channel {
            name: "CH2".into(),
            column: 3,
            unit_text: None,
            unit: Some("A".into()),
            missing: 0,
            overrange: Vec::new(),
            facts: ChannelFacts::default(),
            values,
        }
    }

    fn coded(step: f64, digits: i32, value: f64) -> f64 {
        let power = 10f64.powi(digits);
        ((value / step).round() * step * power).round() / power
    }

    #[test]
    fn the_step_is_found_under_printed_digits() {
        let values: Vec<f64> = (0..4000)
            .map(|k| coded(50.0 / 256.0, 3, 20.0 * (f64::from(k) * 0.01).sin()))
            .collect();
        assert_relative_eq!(
            quantisation_step(&values).unwrap(),
            50.0 / 256.0,
            max_relative = 2e-3
        );
    }

    #[test]
    fn continuous_and_constant_data_have_no_step() {
        let smooth: Vec<f64> = (0..4000).map(|k| (f64::from(k) * 0.01).sin()).collect();
        assert_eq!(quantisation_step(&smooth), None);
        assert_eq!(quantisation_step(&[1.0; 50]), None);
        assert_eq!(quantisation_step(&[f64::NAN; 50]), None);
    }

    #[test]
    fn a_cut_peak_is_clipped_and_a_settled_level_is_not() {
        let inrush: Vec<f64> = (0..3000)
            .map(|k| {
                coded(
                    0.04,
                    4,
                    (9.0 * (-f64::from(k) / 600.0).exp() + 0.3).min(5.08),
                )
            })
            .collect();
        let flags = clipped(&channel(inrush.clone()));
        let cut = inrush.iter().filter(|v| **v > 5.06).count();
        assert_eq!(flags.iter().filter(|f| **f).count(), cut);
        let step_up: Vec<f64> = (0..3000)
            .map(|k| {
                if k < 300 {
                    0.0
                } else {
                    24.0 + 0.2 * f64::from(k % 3)
                }
            })
            .collect();
        assert!(!clipped(&channel(step_up)).contains(&true));
    }

    #[test]
    fn overrange_marks_are_clipped() {
        let mut marked = channel(vec![0.0, 1.0, f64::NAN, 1.0]);
        marked.overrange = vec![(2, true), (9, true)];
        assert_eq!(clipped(&marked), [false, false, true, false]);
    }
}
