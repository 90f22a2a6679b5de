//! A shaft driven from outside at a known speed with open terminals, as an anchor of K.
//!
//! `v̄ = g K ω`: v̄ mean terminal voltage (V), ω stated speed (rad/s), g gain of the voltage channel, an entry of the fit. As a term of
//! the least squares `[ln K + ln g − ln(|v̄|/ω)]/u`, where u takes in the stated speed, the scatter of the mean, its drift, the
//! converter's codes, and the whole stated zero of the channel: the record shows no rest in which it could be seen, and the zeros of other
//! captures are theirs. No friction, inertia or resistance enters.
//!
//! Ripple in the record shows how many cycles a revolution it has, `2πf/ω`, since the speed is known.

use super::reading_term::ReadingTerm;
use super::ripple::RippleFinding;
use super::speeds::{ConstantTerm, constant_entry};
use super::voltage::level_uncertainty;
use crate::bench::{Bench, Capture, Role};
use crate::events::{PhaseKind, Timeline};
use crate::fit::model::CaptureModel;
use crate::fit::unknowns::{Direction, Layout};
use crate::fit::wording::{CyclesMean, Remark, RemarkKind};
use crate::ripple::{
    RippleOptions, SEGMENTS, SpeedShape, USUAL_POLES, analyse_current, segment_counts,
};
use std::f64::consts::TAU;

/// Parts of the record whose means show scatter and drift.
const PARTS: usize = 20;
/// Share of the mean by which it may drift over the record before that is cycles_found (common practice, no source).
const REPORTED_DRIFT: f64 = 0.005;
/// Standard deviations of the mean above which there is a back-EMF at all.
const CLEAR: f64 = 8.0;
/// Largest standard uncertainty of a count of cycles that still names a whole number.
const COUNTABLE: f64 = 0.15;

/// What the driven records add.
#[derive(Default)]
pub struct Driven {
    pub terms: Vec<ReadingTerm>,
    /// What was found.
    pub remarks: Vec<Remark>,
}

/// Mean of an open-terminal record.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Level {
    mean_v: f64,
    /// Scatter of the mean, V.
    sd_v: f64,
    /// Last part less the first, by the straight line through the parts, V.
    drift_v: f64,
}

/// One term for each driven record that shows a voltage.
pub fn driven_terms(
    bench: &Bench,
    timelines: &[Timeline],
    ripple: &[RippleFinding],
    models: &[CaptureModel],
    layout: &mut Layout,
) -> Driven {
    let mut out = Driven::default();
    for (k, (capture, timeline)) in bench.captures.iter().zip(timelines).enumerate() {
        if capture.role != Role::Driven {
            continue;
        }
        let name = &capture.name;
        if let Some(term) = one(capture, timeline, k, models, layout, &mut out) {
            out.terms.push(term);
            let cycles = ripple
                .iter()
                .find_map(RippleFinding::candidate)
                .map(|c| c.cycles_per_revolution);
            let poles = bench.motor.poles.unwrap_or(USUAL_POLES);
            let cycles_found = cycles_of(capture, timeline, cycles, poles).ok().flatten();
            out.remarks
                .extend(cycles_found.map(|kind| kind.about(name)));
        }
    }
    out
}

fn one(
    capture: &Capture,
    timeline: &Timeline,
    k: usize,
    models: &[CaptureModel],
    layout: &mut Layout,
    out: &mut Driven,
) -> Option<ReadingTerm> {
    let name = &capture.name;
    let speed = capture.driven_speed_rad_s?;
    let (level, codes_v) = match steady_level(capture, timeline) {
        Ok(found) => found,
        Err(kind) => {
            out.remarks.push(kind.about(name));
            return None;
        }
    };
    let mean = level.mean_v;
    let drift = level.drift_v / mean;
    if drift.abs() > REPORTED_DRIFT
        && level.drift_v.abs() > 4.0 * level.sd_v * (PARTS as f64).sqrt()
    {
        out.remarks
            .push(RemarkKind::DrivenDrift { drift }.about(name));
    }
    let chain = capture.voltage_chain.as_ref();
    let zero_v = chain.map_or(0.0, |chain| chain.zero_uncertainty);
    let relative_sd = (speed.standard_uncertainty / speed.value)
        .hypot(level.sd_v / mean)
        .hypot(drift / 12f64.sqrt())
        .hypot(codes_v / mean)
        .hypot(zero_v / mean)
        .max(1e-5);
    let constant = (mean / speed.value).abs();
    let entry = constant_entry(layout, constant);
    let shift = models.get(k)?.links[Direction::VOLTAGE_GAIN].clone();
    let kind = RemarkKind::DrivenConstant {
        voltage_v: [mean.abs(), level.sd_v.max(1e-12)],
        speed_rad_s: [speed.value, speed.standard_uncertainty],
        constant_v_s_per_rad: [constant, constant * relative_sd],
    };
    out.remarks.push(kind.about(name));
    Some(ReadingTerm::Constant(ConstantTerm {
        v_s_per_rad: constant,
        relative_sd,
        constant: entry,
        shift,
        model: k,
        cycles_per_revolution: None,
    }))
}

/// The steady voltage of a driven record, and its standard uncertainty behind the converter, V.
///
/// # Errors
/// Why there is none.
fn steady_level(capture: &Capture, timeline: &Timeline) -> Result<(Level, f64), RemarkKind> {
    if capture.ac_coupled {
        return Err(RemarkKind::DrivenAcCoupled);
    }
    let Some(trace) = capture.waveform.voltage_v.as_ref() else {
        return Err(RemarkKind::DrivenWithoutVoltage);
    };
    let values: Vec<f64> = open_rows(timeline)
        .filter(|&row| !trace.clipped.get(row).copied().unwrap_or(false))
        .filter_map(|row| trace.values.get(row).copied().filter(|v| v.is_finite()))
        .collect();
    let codes_v = level_uncertainty(&values, trace.quantisation_step.unwrap_or(0.0));
    level(&values)
        .filter(|l| l.mean_v.abs() > CLEAR * l.sd_v.max(codes_v))
        .map(|level| (level, codes_v))
        .ok_or(RemarkKind::DrivenNoLevel)
}

/// The longest open stretch; a driven record has but one unless rows are missing.
fn open_rows(timeline: &Timeline) -> std::ops::Range<usize> {
    timeline
        .phases
        .iter()
        .filter(|p| p.kind == PhaseKind::Open)
        .max_by_key(|p| p.end.saturating_sub(p.first))
        .map_or(0..0, |p| p.first..p.end)
}

/// Mean, its scatter and its drift, from the means of [`PARTS`] parts; `None` for fewer than two rows a part.
fn level(values: &[f64]) -> Option<Level> {
    if values.len() < 2 * PARTS {
        return None;
    }
    let n = values.len();
    let parts: Vec<f64> = (0..PARTS)
        .filter_map(|k| {
            let part = values.get(k * n / PARTS..(k + 1) * n / PARTS)?;
            Some(part.iter().sum::<f64>() / part.len() as f64)
        })
        .collect();
    let m = parts.len() as f64;
    let mean = parts.iter().sum::<f64>() / m;
    let centre = 0.5 * (m - 1.0);
    let at = |k: usize| k as f64 - centre;
    let (mut sxy, mut sxx) = (0.0, 0.0);
    for (k, v) in parts.iter().enumerate() {
        sxy += at(k) * (v - mean);
        sxx += at(k) * at(k);
    }
    let slope = sxy / sxx;
    // The scatter about the line: what drifts is cycles_found as drift.
    let scatter: f64 = parts
        .iter()
        .enumerate()
        .map(|(k, v)| (v - mean - slope * at(k)).powi(2))
        .sum();
    Some(Level {
        mean_v: mean,
        sd_v: (scatter / (m - 2.0) / m).sqrt(),
        drift_v: slope * m,
    })
}

/// Cycles a revolution of the strongest ripple, in words. `settled`: the count of a run-down's ripple.
fn cycles_of(
    capture: &Capture,
    timeline: &Timeline,
    settled: Option<u32>,
    poles: u32,
) -> Result<Option<RemarkKind>, crate::ripple::Unreadable> {
    let (Some(trace), Some(speed)) = (&capture.waveform.voltage_v, capture.driven_speed_rad_s)
    else {
        return Ok(None);
    };
    let rows = open_rows(timeline);
    let times: Vec<f64> = rows
        .clone()
        .filter_map(|row| capture.waveform.time.at(row))
        .collect();
    let options = RippleOptions {
        quantisation_step: trace.quantisation_step,
        clipped: trace.clipped_in(rows.clone()),
        ..RippleOptions::default()
    };
    let values = trace.values.get(rows).unwrap_or_default();
    let found = analyse_current(&times, values, SpeedShape::Constant, None, None, &options)?;
    let Some((hz, sd)) = found.frequency_hz else {
        return Ok(None);
    };
    let order = TAU * hz / speed.value;
    let order_sd = order * (sd / hz).hypot(speed.standard_uncertainty / speed.value);
    let whole = order.round();
    let count = whole as u32;
    let meaning = if order_sd > COUNTABLE || whole < 1.0 {
        CyclesMean::Vague
    } else if (order - whole).abs() > 3.0 * order_sd.max(0.01) {
        CyclesMean::NotWhole(times.len() as f64 / (times[times.len() - 1] - times[0]))
    } else {
        match settled {
            Some(n) if count == n => CyclesMean::AsInRunDown,
            Some(n) if count.is_multiple_of(n) || n.is_multiple_of(count) => {
                CyclesMean::HarmonicOf(n)
            }
            Some(n) => CyclesMean::Against(n),
            None => match segment_counts(count, poles, SEGMENTS.0, SEGMENTS.1) {
                counts if counts.is_empty() => CyclesMean::Unevenness,
                counts => CyclesMean::Segments(counts, poles),
            },
        }
    };
    Ok(Some(RemarkKind::DrivenCycles {
        ripple_hz: hz,
        speed_rad_s: [speed.value, speed.standard_uncertainty],
        cycles: [order, order_sd.max(1e-6)],
        meaning,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scatter_and_drift_of_a_level_are_told_apart() {
        let values: Vec<f64> = (0..4000)
            .map(|k| 5.0 + 1e-5 * f64::from(k) + 0.2 * (f64::from(k) * 2.7).sin())
            .collect();
        let found = level(&values).expect("long enough");
        assert!((found.mean_v - 5.02).abs() < 1e-3, "{found:?}");
        assert!((found.drift_v - 0.04).abs() < 2e-3, "{found:?}");
        assert!(found.sd_v < 1e-3, "{found:?}");
        assert_eq!(level(&values[..30]), None);
    }
}
