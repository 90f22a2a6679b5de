//! A raw stretch made fit for the analysis: missing rows out, polarity positive, cut before standstill, smooth part fitted.

use crate::events::RowTimes;
use crate::ripple::error::Unreadable;
use crate::ripple::numerics::smooth::Smooth;
use crate::ripple::options::RippleOptions;
use crate::ripple::remarks;
use crate::stats::turned::Turned;

/// Fewer samples than this cannot carry a spectrum and a smooth part.
pub(crate) const LEAST_SAMPLES: usize = 256;
/// More samples than this are averaged in time before the analysis; ripple of a small motor stays far below their rate.
pub(crate) const MOST_SAMPLES: usize = 32_768;
/// Order of the first smooth part.
pub(crate) const SMOOTH_ORDER: usize = 6;

/// The stretch used and what was seen on the way.
#[derive(Clone, Debug)]
pub(crate) struct Prepared {
    pub time_s: Vec<f64>,
    pub voltage_v: Vec<f64>,
    pub smooth: Smooth,
    /// Zero offset before any ripple was looked at: value and standard uncertainty, V.
    pub zero_prior_v: (f64, f64),
    /// Median sampling interval after averaging, s.
    pub interval_s: f64,
    pub standstill_s: Option<f64>,
    pub remarks: Vec<String>,
}

/// Times and values, copied only where something was taken out.
pub(crate) struct Rows<'a> {
    time: RowTimes<'a>,
    values: Turned<'a>,
    left: Option<(Vec<f64>, Vec<f64>)>,
}

impl Rows<'_> {
    pub fn both(&self) -> (RowTimes<'_>, Turned<'_>) {
        match &self.left {
            Some((times, values)) => (times.into(), values.into()),
            None => (self.time, self.values),
        }
    }
}

/// Times and values without missing and clipped rows; those of a whole record are not copied.
pub(crate) fn usable<'a>(
    time: RowTimes<'a>,
    values: Turned<'a>,
    options: &RippleOptions,
    remarks: &mut Vec<String>,
) -> Result<Rows<'a>, Unreadable> {
    if time.len() != values.len() {
        return Err(Unreadable::Lengths {
            times: time.len(),
            values: values.len(),
        });
    }
    if !(options.false_alarm_rate > 0.0 && options.false_alarm_rate < 1.0) {
        return Err(Unreadable::Option {
            name: "false_alarm_rate",
            value: options.false_alarm_rate,
            expected: "between 0 and 1",
        });
    }
    if !(options.least_emf_fraction > 0.0 && options.least_emf_fraction < 0.9) {
        return Err(Unreadable::Option {
            name: "least_emf_fraction",
            value: options.least_emf_fraction,
            expected: "between 0 and 0.9",
        });
    }
    if options.poles == 0 || !options.poles.is_multiple_of(2) {
        return Err(Unreadable::Option {
            name: "poles",
            value: options.poles.into(),
            expected: "an even number of field poles, 2 or more",
        });
    }
    if let Some(row) = time.first_not_later() {
        return Err(Unreadable::TimeOrder {
            row,
            before_s: time.at(row - 1),
            after_s: time.at(row),
        });
    }
    let is_clipped = |row: usize| {
        options
            .clipped
            .as_ref()
            .and_then(|c| c.get(row))
            .copied()
            .unwrap_or(false)
    };
    let clipped = (0..values.len()).filter(|&row| is_clipped(row)).count();
    if clipped * 5 > values.len() {
        return Err(Unreadable::Clipped {
            clipped,
            samples: values.len(),
        });
    }
    if clipped > 0 {
        remarks.push(remarks::clipped(clipped, values.len()));
    }
    let is_kept = |row: usize| values.at(row).is_finite() && !is_clipped(row);
    let whole = (0..values.len()).all(is_kept);
    let left = (!whole).then(|| {
        let rows = (0..values.len()).filter(|row| is_kept(*row));
        rows.map(|row| (time.at(row), values.at(row))).unzip()
    });
    let rows = Rows { time, values, left };
    let kept = rows.both().1.len();
    let missing = values.len() - kept - clipped;
    if missing > 0 {
        remarks.push(remarks::missing(missing, values.len()));
    }
    if kept < LEAST_SAMPLES {
        return Err(Unreadable::TooShort {
            samples: kept,
            needed: LEAST_SAMPLES,
        });
    }
    Ok(rows)
}

/// Averages neighbours until at most [`MOST_SAMPLES`] are left.
pub(crate) fn averaged(
    time: RowTimes,
    values: Turned,
    remarks: &mut Vec<String>,
) -> (Vec<f64>, Vec<f64>) {
    let group = time.len().div_ceil(MOST_SAMPLES);
    if group <= 1 {
        return (time.iter().collect(), values.iter().collect());
    }
    remarks.push(remarks::averaged(group, time.len()));
    let groups = || (0..time.len() / group).map(|k| k * group..(k + 1) * group);
    let mean = |sum: f64| sum / group as f64;
    (
        groups().map(|g| mean(time.slice(g).iter().sum())).collect(),
        groups()
            .map(|g| mean(values.slice(g).iter().sum()))
            .collect(),
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

/// Prepares an open-terminal stretch.
pub(crate) fn prepare(
    time: RowTimes,
    voltage: Turned,
    options: &RippleOptions,
) -> Result<Prepared, Unreadable> {
    let mut remarks = Vec::new();
    let rows = usable(time, voltage, options, &mut remarks)?;
    let (time, mut voltage) = rows.both();
    let blocks = Blocks::of(time, voltage);
    let noise = blocks.noise;
    let start = blocks.start();
    let (lowest, highest) = blocks
        .level
        .iter()
        .fold((f64::MAX, f64::MIN), |(a, b), v| (a.min(*v), b.max(*v)));
    let reach = lowest.abs().max(highest.abs());
    let last = blocks.level[blocks.level.len() - 1];
    // Zero at the start, then far from zero: the steady level was blocked by the coupling capacitor; likewise a sign change.
    if reach > 20.0 * noise / (blocks.samples as f64).sqrt()
        && (lowest < -0.1 * reach && highest > 0.1 * reach || start.abs() < 0.3 * reach)
    {
        let far = if lowest.abs() > highest.abs() {
            lowest
        } else {
            highest
        };
        let end_v = if start.abs() < 0.3 * reach { far } else { last };
        return Err(Unreadable::AcCoupled {
            start_v: start,
            end_v,
        });
    }
    if start.abs() < 8.0 * noise / (blocks.samples as f64).sqrt() || start.abs() < 2.0 * noise {
        return Err(Unreadable::NoVoltage {
            level_v: start,
            noise_v: noise,
        });
    }
    let sign = start.signum();
    if sign < 0.0 {
        remarks.push(remarks::reversed(start));
        voltage = voltage.negated();
    }
    let levels: Vec<f64> = blocks.level.iter().map(|v| v * sign).collect();
    let start = start * sign;
    let cut = levels
        .iter()
        .position(|v| *v < options.least_emf_fraction * start)
        .unwrap_or(levels.len());
    let end = if cut == levels.len() {
        time.len()
    } else {
        cut * blocks.samples
    };

    let standstill = blocks.standstill(&levels, start, cut);
    let mut zero_prior_v = (
        0.0,
        options
            .zero_offset_standard_uncertainty
            .unwrap_or(0.03 * start),
    );
    if let Some((first_block, level)) = standstill {
        let at = time.at(first_block * blocks.samples);
        let rows = time.len() - first_block * blocks.samples;
        remarks.push(remarks::standstill(at, rows));
        if options.zero_offset_standard_uncertainty.is_none() {
            // A quarter code: converter codes are not evenly wide, so a mean over few codes is no better than that.
            let code = options.quantisation_step.unwrap_or(0.0) / 4.0;
            zero_prior_v = (
                level,
                code.hypot(3.0 * noise / (rows as f64).sqrt())
                    .max(2e-4 * start),
            );
        }
    } else if options.zero_offset_standard_uncertainty.is_none() {
        remarks.push(remarks::zero_unknown(zero_prior_v.1));
    }
    let standstill_s = standstill.map(|(block, _)| time.at(block * blocks.samples));

    let (time, voltage) = (time.slice(0..end), voltage.slice(0..end));
    if time.len() < LEAST_SAMPLES {
        return Err(Unreadable::TooShort {
            samples: time.len(),
            needed: LEAST_SAMPLES,
        });
    }
    let quarter = |k: usize| {
        let part = voltage.slice(k * voltage.len() / 4..(k + 1) * voltage.len() / 4);
        part.iter().sum::<f64>() / part.len() as f64
    };
    let quarters_v = [0, 1, 2, 3].map(quarter);
    let falls = quarters_v.windows(2).all(|w| w[1] < w[0]);
    // Drag that does not grow as the motor slows brings the last quarter below a third before the level is reached where the stretch
    // ends; a level that stays and then drops is the slope of a run-down seen through a coupling capacitor.
    let drops = cut < levels.len() && quarters_v[3] > 0.6 * quarters_v[0];
    if !falls || drops || quarters_v[3] > 0.97 * quarters_v[0] {
        return Err(Unreadable::NotSlowing { quarters_v });
    }
    let (time_s, voltage_v) = averaged(time, voltage, &mut remarks);
    let smooth = Smooth::fit(&time_s, &voltage_v, SMOOTH_ORDER).ok_or(Unreadable::Singular {
        terms: SMOOTH_ORDER + 1,
    })?;
    let interval_s = interval(&time_s);
    Ok(Prepared {
        time_s,
        voltage_v,
        smooth,
        zero_prior_v,
        interval_s,
        standstill_s,
        remarks,
    })
}

/// Block means of a record.
struct Blocks {
    level: Vec<f64>,
    samples: usize,
    /// Standard deviation within a block about its own straight line, median over blocks: noise and ripple together.
    noise: f64,
}

impl Blocks {
    fn of(time: RowTimes, values: Turned) -> Blocks {
        let samples = (values.len() / 100).max(8);
        let (mut level, mut spreads) = (Vec::new(), Vec::new());
        let (mut t, mut v) = (Vec::new(), Vec::new());
        for block in (0..values.len() / samples).map(|k| k * samples..(k + 1) * samples) {
            // Gone through twice: put down once, a block at a time.
            t.clear();
            t.extend(time.slice(block.clone()).iter());
            v.clear();
            v.extend(values.slice(block).iter());
            let n = samples as f64;
            let (mt, mv) = (t.iter().sum::<f64>() / n, v.iter().sum::<f64>() / n);
            let (mut tt, mut tv, mut vv) = (0.0, 0.0, 0.0);
            for (t, v) in t.iter().zip(&v) {
                tt += (t - mt).powi(2);
                tv += (t - mt) * (v - mv);
                vv += (v - mv).powi(2);
            }
            level.push(mv);
            spreads.push(((vv - tv * tv / tt).max(0.0) / n).sqrt());
        }
        let middle = spreads.len() / 2;
        let noise = *spreads.select_nth_unstable_by(middle, f64::total_cmp).1;
        Blocks {
            level,
            samples,
            noise,
        }
    }

    fn start(&self) -> f64 {
        (self.level[0] + self.level[1]) / 2.0
    }

    /// First block of a flat end near zero and its mean level.
    fn standstill(&self, levels: &[f64], start: f64, cut: usize) -> Option<(usize, f64)> {
        let count = levels.len();
        if count < cut + 4 {
            return None;
        }
        let tail = &levels[count - 3..];
        let level = tail.iter().sum::<f64>() / 3.0;
        let spread = (4.0 * self.noise / (self.samples as f64).sqrt()).max(0.002 * start);
        if level.abs() > 0.08 * start {
            return None;
        }
        let mut first = count;
        while first > cut && (levels[first - 1] - level).abs() < spread {
            first -= 1;
        }
        // The block in which the rotor stops still holds a little of the slope.
        let first = first + 1;
        (first + 3 <= count).then(|| {
            (
                first,
                levels[first..].iter().sum::<f64>() / (count - first) as f64,
            )
        })
    }
}
