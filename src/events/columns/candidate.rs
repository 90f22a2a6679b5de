//! A channel that may be a voltage or a current: its numbers, and the shape of their course.

use crate::capture::Channel;
use crate::events::trace::series::Series;
use crate::events::trace::shape::Shape;

/// A channel that holds numbers.
pub(crate) struct Candidate<'a> {
    pub index: usize,
    pub channel: &'a Channel,
    pub series: Series<'a>,
    pub shape: Shape,
}

impl<'a> Candidate<'a> {
    /// `None` with fewer than eight numbers.
    pub fn of(index: usize, channel: &'a Channel) -> Option<Candidate<'a>> {
        let series = Series::of(
            &channel.values,
            code_step(&channel.values),
            overrange_flags(channel).into(),
            channel.missing == 0,
        )?;
        (series.len() >= 8).then(|| Candidate {
            index,
            channel,
            shape: Shape::of(&series),
            series,
        })
    }
}

/// Rows with an overrange mark; empty where there is none.
fn overrange_flags(channel: &Channel) -> Vec<bool> {
    let mut clipped = Vec::new();
    for (row, _) in &channel.overrange {
        clipped.resize(channel.values.len(), false);
        if let Some(flag) = clipped.get_mut(*row) {
            *flag = true;
        }
    }
    clipped
}

/// Smallest difference between neighbours where few enough values occur; `None` for continuous data.
fn code_step(values: &[f64]) -> Option<f64> {
    let stride = values.len().div_ceil(20_000).max(1);
    let mut kept: Vec<f64> = values
        .iter()
        .step_by(stride)
        .copied()
        .filter(|v| v.is_finite())
        .collect();
    kept.sort_unstable_by(f64::total_cmp);
    let span = kept.last()? - kept.first()?;
    kept.dedup_by(|a, b| (*a - *b).abs() <= 1e-9 * span);
    if kept.len() < 2 || kept.len() > 1500 {
        return None;
    }
    // Text rounding makes some steps a little small: the 20 % quantile is a step that occurs.
    let mut steps: Vec<f64> = kept.windows(2).map(|w| w[1] - w[0]).collect();
    let place = steps.len() / 5;
    Some(*steps.select_nth_unstable_by(place, f64::total_cmp).1)
}
