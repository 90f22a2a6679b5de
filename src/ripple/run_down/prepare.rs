//! A raw open-terminal stretch made fit for the analysis: polarity positive, cut before standstill, smooth part fitted.

use super::blocks::Blocks;
use super::remarks::RunDownRemark;
use crate::events::RowTimes;
use crate::ripple::error::Unreadable;
use crate::ripple::numerics::smooth::Smooth;
use crate::ripple::options::RippleOptions;
use crate::ripple::samples::{Samples, averaged, enough, interval};
use crate::stats::affine_view::AffineView;

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
    pub remarks: Vec<RunDownRemark>,
}

/// Prepares an open-terminal stretch.
pub(crate) fn prepare(
    time: RowTimes,
    voltage: AffineView,
    options: &RippleOptions,
) -> Result<Prepared, Unreadable> {
    let samples = Samples::of(time, voltage, options)?;
    let mut remarks: Vec<RunDownRemark> = samples
        .remarks
        .iter()
        .map(|remark| RunDownRemark::Samples(*remark))
        .collect();
    let (time, mut voltage) = samples.both();
    let mut blocks = Blocks::of(time, voltage);
    blocks.check_level()?;
    let start_v = blocks.start();
    if start_v < 0.0 {
        remarks.push(RunDownRemark::Reversed { start_v });
        voltage = voltage.negated();
        blocks = blocks.negated();
    }
    let start_v = blocks.start();
    let turning = blocks.turning(options.least_emf_fraction * start_v);
    let end = match turning {
        Some(blocks_before) => blocks_before * blocks.samples,
        None => time.len(),
    };
    let standstill = turning.and_then(|first| blocks.standstill(start_v, first));
    let standstill = standstill.map(|(block, level_v)| Standstill {
        time_s: time.at(block * blocks.samples),
        rows: time.len() - block * blocks.samples,
        level_v,
    });
    let zero_prior_v = zero_prior(&blocks, start_v, standstill.as_ref(), options);
    match &standstill {
        Some(s) => remarks.push(RunDownRemark::Standstill {
            at_s: s.time_s,
            rows: s.rows,
        }),
        None if options.zero_offset_standard_uncertainty.is_none() => {
            remarks.push(RunDownRemark::ZeroUnknown {
                standard_uncertainty_v: zero_prior_v.1,
            });
        }
        None => {}
    }
    let (time, voltage) = (time.slice(0..end), voltage.slice(0..end));
    enough(time.len())?;
    check_slowing(voltage, turning.is_some())?;
    let (time_s, voltage_v, remark) = averaged(time, voltage);
    remarks.extend(remark.map(RunDownRemark::Samples));
    let smooth = Smooth::fit(&time_s, &voltage_v, SMOOTH_ORDER).ok_or(Unreadable::Singular {
        terms: SMOOTH_ORDER + 1,
    })?;
    Ok(Prepared {
        interval_s: interval(&time_s),
        time_s,
        voltage_v,
        smooth,
        zero_prior_v,
        standstill_s: standstill.map(|s| s.time_s),
        remarks,
    })
}

/// The rotor at rest at the end of a record.
struct Standstill {
    time_s: f64,
    rows: usize,
    level_v: f64,
}

/// Zero offset and its standard uncertainty before any ripple was looked at, V.
fn zero_prior(
    blocks: &Blocks,
    start_v: f64,
    standstill: Option<&Standstill>,
    options: &RippleOptions,
) -> (f64, f64) {
    match (options.zero_offset_standard_uncertainty, standstill) {
        (Some(stated), _) => (0.0, stated),
        (None, Some(at_rest)) => {
            // A quarter code: converter codes are not evenly wide, so a mean over few codes is no better than that.
            let code = options.quantisation_step.unwrap_or(0.0) / 4.0;
            let mean = 3.0 * blocks.noise / (at_rest.rows as f64).sqrt();
            (at_rest.level_v, code.hypot(mean).max(2e-4 * start_v))
        }
        (None, None) => (0.0, 0.03 * start_v),
    }
}

/// Refuses a voltage that does not fall as in a run-down. `cut`: the stretch ends where the EMF has fallen to its least fraction.
fn check_slowing(voltage: AffineView, cut: bool) -> Result<(), Unreadable> {
    let quarter = |k: usize| {
        let part = voltage.slice(k * voltage.len() / 4..(k + 1) * voltage.len() / 4);
        part.iter().sum::<f64>() / part.len() as f64
    };
    let quarters_v = [0, 1, 2, 3].map(quarter);
    let falls = quarters_v.windows(2).all(|w| w[1] < w[0]);
    // Drag that does not grow as the motor slows brings the last quarter below a third before the level is reached where the stretch
    // ends; a level that stays and then drops is the slope of a run-down seen through a coupling capacitor.
    let drops = cut && quarters_v[3] > 0.6 * quarters_v[0];
    if !falls || drops || quarters_v[3] > 0.97 * quarters_v[0] {
        return Err(Unreadable::NotSlowing { quarters_v });
    }
    Ok(())
}
