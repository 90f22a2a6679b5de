//! A heat record as bins: means over some seconds with the noise of each mean, so that hours of readings cost a few hundred model steps.

use crate::bench::{HeatRecord, HeatSeries};

/// Bins of a record. More would resolve nothing that the winding, the quicker body, shows.
const MOST_BINS: usize = 240;

/// Means of one quantity; NaN in a bin without a reading.
#[derive(Clone, Debug)]
pub(super) struct Bins {
    pub means: Vec<f64>,
    /// Standard deviation of a mean by noise and resolution.
    pub noise: Vec<f64>,
    /// Relative and absolute standard uncertainty common to all.
    pub relative: f64,
    pub absolute: f64,
}

/// A record in bins.
#[derive(Clone, Debug)]
pub(super) struct Observed {
    pub name: String,
    pub time_s: Vec<f64>,
    pub voltage_v: Option<Bins>,
    pub current_a: Option<Bins>,
    pub resistance_ohm: Option<Bins>,
    pub housing_c: Option<Bins>,
    pub rotor_held: bool,
    pub ambient_c: (f64, f64),
    pub leads_ohm: (f64, f64),
    /// Index of the heat run that it follows, and the time from its end.
    pub after: Option<usize>,
    pub delay_s: f64,
}

pub(super) fn observe(record: &HeatRecord) -> Observed {
    let rows = record.time_s.len();
    let size = rows.div_ceil(MOST_BINS).max(1);
    let ranges: Vec<std::ops::Range<usize>> = (0..rows.div_ceil(size))
        .map(|bin| bin * size..((bin + 1) * size).min(rows))
        .collect();
    let of = |series: &Option<HeatSeries>| series.as_ref().map(|series| bins(series, &ranges));
    Observed {
        name: record.name.clone(),
        time_s: ranges
            .iter()
            .map(|range| mean(&record.time_s[range.clone()]).0)
            .collect(),
        voltage_v: of(&record.voltage_v),
        current_a: of(&record.current_a),
        resistance_ohm: of(&record.resistance_ohm),
        housing_c: of(&record.housing_c),
        rotor_held: record.rotor_held,
        ambient_c: (
            record.ambient_c.value,
            record.ambient_c.standard_uncertainty,
        ),
        leads_ohm: (
            record.leads_ohm.value,
            record.leads_ohm.standard_uncertainty,
        ),
        after: record.after,
        delay_s: record.delay_s,
    }
}

/// Mean and count of the finite values.
fn mean(values: &[f64]) -> (f64, usize) {
    let finite: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
    (
        finite.iter().sum::<f64>() / finite.len() as f64,
        finite.len(),
    )
}

fn bins(series: &HeatSeries, ranges: &[std::ops::Range<usize>]) -> Bins {
    let finite: Vec<f64> = series
        .values
        .iter()
        .copied()
        .filter(|v| v.is_finite())
        .collect();
    // Readings of a smooth curve: second differences leave the noise, whose variance they have six times.
    let second: Vec<f64> = finite
        .windows(3)
        .map(|w| (w[0] - 2.0 * w[1] + w[2]).powi(2))
        .collect();
    let noise = match second.len() {
        0 => 0.0,
        n => (second.iter().sum::<f64>() / n as f64 / 6.0).sqrt(),
    };
    // Listed by hand, the curve itself bends between readings; then the noise is at most what is seen, and at least the last digit.
    let digit = smallest_step(&finite) / 12f64.sqrt();
    let each: Vec<(f64, usize)> = ranges
        .iter()
        .map(|range| mean(&series.values[range.clone()]))
        .collect();
    let listed = ranges.iter().all(|range| range.len() == 1);
    let one = if listed { digit } else { noise.max(digit) };
    Bins {
        noise: each
            .iter()
            .map(|(_, n)| one / (*n.max(&1) as f64).sqrt())
            .collect(),
        means: each.into_iter().map(|(mean, _)| mean).collect(),
        relative: series.relative_uncertainty,
        absolute: series.absolute_uncertainty,
    }
}

/// Smallest difference between values that differ: the last digit of a display.
fn smallest_step(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let largest = sorted.last().map_or(1.0, |v| v.abs());
    sorted
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .filter(|step| *step > 1e-9 * largest)
        .fold(1e-3 * largest, f64::min)
}
