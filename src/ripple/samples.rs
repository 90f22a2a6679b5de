//! The samples of a record that an analysis uses: options and times checked, missing and clipped rows left out, long records averaged.

use super::error::Unreadable;
use super::options::RippleOptions;
use super::remarks::SampleRemark;
use crate::events::RowTimes;
use crate::stats::affine_view::AffineView;

/// Fewer samples than this cannot carry a spectrum and a smooth part.
pub(crate) const LEAST_SAMPLES: usize = 256;
/// More samples than this are averaged in time before the analysis; ripple of a small motor stays far below their rate.
pub(crate) const MOST_SAMPLES: usize = 32_768;

/// Times and values, copied only where something was left out.
pub(crate) struct Samples<'a> {
    time: RowTimes<'a>,
    values: AffineView<'a>,
    left: Option<(Vec<f64>, Vec<f64>)>,
    pub remarks: Vec<SampleRemark>,
}

impl<'a> Samples<'a> {
    /// Times and values without missing and clipped rows; those of a whole record are not copied.
    pub fn of(
        time: RowTimes<'a>,
        values: AffineView<'a>,
        options: &RippleOptions,
    ) -> Result<Samples<'a>, Unreadable> {
        if time.len() != values.len() {
            return Err(Unreadable::Lengths {
                times: time.len(),
                values: values.len(),
            });
        }
        options.check()?;
        if let Some(row) = time.first_not_later() {
            return Err(Unreadable::TimeOrder {
                row,
                before_s: time.at(row - 1),
                after_s: time.at(row),
            });
        }
        let samples = values.len();
        let is_clipped = |row: usize| {
            let clipped = options.clipped.as_ref().and_then(|c| c.get(row));
            clipped.copied().unwrap_or(false)
        };
        let clipped = (0..samples).filter(|&row| is_clipped(row)).count();
        if clipped * 5 > samples {
            return Err(Unreadable::Clipped { clipped, samples });
        }
        let is_kept = |row: usize| values.at(row).is_finite() && !is_clipped(row);
        let whole = (0..samples).all(is_kept);
        let left = (!whole).then(|| {
            let rows = (0..samples).filter(|row| is_kept(*row));
            rows.map(|row| (time.at(row), values.at(row))).unzip()
        });
        let mut found = Samples {
            time,
            values,
            left,
            remarks: Vec::new(),
        };
        let kept = found.both().1.len();
        let missing = samples - kept - clipped;
        if clipped > 0 {
            found
                .remarks
                .push(SampleRemark::Clipped { clipped, samples });
        }
        if missing > 0 {
            found
                .remarks
                .push(SampleRemark::Missing { missing, samples });
        }
        enough(kept)?;
        Ok(found)
    }

    pub fn both(&self) -> (RowTimes<'_>, AffineView<'_>) {
        match &self.left {
            Some((times, values)) => (times.into(), values.into()),
            None => (self.time, self.values),
        }
    }
}

/// An error for fewer than [`LEAST_SAMPLES`].
pub(crate) fn enough(samples: usize) -> Result<(), Unreadable> {
    if samples < LEAST_SAMPLES {
        return Err(Unreadable::TooShort {
            samples,
            needed: LEAST_SAMPLES,
        });
    }
    Ok(())
}

/// Neighbours averaged until at most [`MOST_SAMPLES`] are left, with a remark where that was needed.
pub(crate) fn averaged(
    time: RowTimes,
    values: AffineView,
) -> (Vec<f64>, Vec<f64>, Option<SampleRemark>) {
    let samples = time.len();
    let group = samples.div_ceil(MOST_SAMPLES);
    if group <= 1 {
        return (time.iter().collect(), values.iter().collect(), None);
    }
    let groups = || (0..samples / group).map(|k| k * group..(k + 1) * group);
    let mean = |sum: f64| sum / group as f64;
    (
        groups().map(|g| mean(time.slice(g).iter().sum())).collect(),
        groups()
            .map(|g| mean(values.slice(g).iter().sum()))
            .collect(),
        Some(SampleRemark::Averaged { group, samples }),
    )
}

/// Means of `group` neighbours each; what is left over at the end is dropped.
pub(crate) fn means_of(group: usize, data: &[f64]) -> Vec<f64> {
    data.chunks_exact(group)
        .map(|c| c.iter().sum::<f64>() / group as f64)
        .collect()
}

/// Median sampling interval.
pub(crate) fn interval(time_s: &[f64]) -> f64 {
    let mut steps: Vec<f64> = time_s.windows(2).map(|w| w[1] - w[0]).collect();
    let middle = steps.len() / 2;
    *steps.select_nth_unstable_by(middle, f64::total_cmp).1
}
