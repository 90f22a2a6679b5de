//! What became of one parameter over many realisations.

use rundown::fit::Interval;

/// What became of one parameter over the realisations of one preset.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    pub judged: u64,
    pub held: u64,
    pub one_sided: u64,
    pub without: u64,
    /// (Estimate − truth) in standard uncertainties, two-sided intervals only.
    pub pulls: Vec<f64>,
    /// Relative standard uncertainties, likewise.
    relative: Vec<f64>,
    /// Half widths of all intervals, as a share of the size of the quantity.
    half_widths: Vec<f64>,
}

impl Tally {
    /// Counts one interval of a quantity whose size is `size`; the pull where it does not hold the truth.
    pub fn judge(
        &mut self,
        interval: Option<Interval>,
        truth: f64,
        size: f64,
        in_log: bool,
        one_sided: bool,
    ) -> Option<f64> {
        let Some(interval) = interval else {
            self.without += 1;
            return None;
        };
        self.judged += 1;
        self.half_widths
            .push(0.5 * (interval.upper - interval.lower) / size);
        let holds = interval.lower <= truth && truth <= interval.upper;
        self.held += u64::from(holds);
        let relative = interval.standard_uncertainty / interval.value;
        let pull = if in_log {
            (interval.value / truth).ln() / relative
        } else {
            (interval.value - truth) / interval.standard_uncertainty
        };
        if one_sided {
            self.one_sided += 1;
        } else {
            self.pulls.push(pull);
            self.relative.push(relative);
        }
        (!holds).then_some(pull)
    }

    pub fn mean_and_sd(&self) -> Option<(f64, f64)> {
        let n = self.pulls.len() as f64;
        (n >= 2.0).then(|| {
            let mean = self.pulls.iter().sum::<f64>() / n;
            let sum: f64 = self.pulls.iter().map(|p| (p - mean).powi(2)).sum();
            (mean, (sum / (n - 1.0)).sqrt())
        })
    }

    pub fn median_relative(&self) -> Option<f64> {
        median(&self.relative)
    }

    pub fn median_half_width(&self) -> Option<f64> {
        median(&self.half_widths)
    }
}

fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied()
}
