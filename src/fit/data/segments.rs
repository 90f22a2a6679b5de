//! A capture cut into legs of bin averages: what the model is driven with and what it is compared with.
//!
//! Bins follow the events: single samples right after a make or a short, then growing with the time since, so that a record of
//! any length costs a few hundred model steps. A bin's mean is compared with the model's mean over the same time, so
//! nothing is lost while the model is linear over a bin.

use super::driving_voltage::{smooth, straighten};
use crate::bench::{Capture, Doubt, Role, Waveform};
use crate::events::{PhaseKind, Timeline};
use crate::stats::robust::noise_from_differences;
use std::borrow::Cow;

/// Mean of the samples in one stretch of time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bin {
    /// Centre, s, on the capture's time axis.
    pub time_s: f64,
    /// Width, s.
    pub width_s: f64,
    /// Mean of the recorded voltage, V; NaN where it was not recorded.
    pub voltage_v: f64,
    /// Mean of the recorded current, A; NaN where it was not recorded.
    pub current_a: f64,
    /// Samples in the bin.
    pub samples: usize,
    /// False where a freewheeling diode has let the current die: the terminals then float on the back-EMF.
    pub conducting: bool,
}

/// Terminal condition of a leg.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LegKind {
    /// Rotor still, nothing applied: shows the zeros of both channels.
    Rest,
    /// Closed on a voltage; the current is compared. `fresh`: the current begins at an unknown value.
    Connected,
    /// Open; the back-EMF is compared with the voltage.
    Open,
    /// Not compared; the recorded current carries the back-EMF on.
    Carried,
    /// Not compared and not to be followed: the back-EMF afterwards is unknown.
    Lost,
}

/// Consecutive bins under one terminal condition.
#[derive(Clone, Debug)]
pub struct Leg {
    pub kind: LegKind,
    pub bins: Vec<Bin>,
    /// Bins from here on are simulated but not compared.
    pub compared: usize,
    /// Rows of the waveform, half-open.
    pub rows: (usize, usize),
    /// Standard deviation of the current's ripple near the end of the leg, A; 0 where it is not known or not wanted.
    pub current_ripple_a: f64,
}

/// Share of its first value below which a slowing rotor is no longer compared: friction near standstill (stiction,
/// the rise of friction at creeping speed) is none of the model's terms. Common practice, no source.
const SLOWEST_SHARE: f64 = 0.15;

/// Most bins of a switched (PWM) record, and least of one piece of it.
const MOST_SWITCHED_BINS: usize = 600;
const LEAST_SWITCHED_BINS: usize = 40;

/// Most bins of a stretch whose recorded current carries the back-EMF on: that follows the charge, whatever its course.
const MOST_CARRIED_BINS: usize = 60;

/// Most bins of an open stretch: of a run-down, and of what a brake shows before the short.
const MOST_OPEN_BINS: usize = 250;
const MOST_BINS_BEFORE_SHORT: usize = 80;

/// Cuts a capture into legs. `turn_v_s`: volt-seconds of back-EMF in a turn of the rotor, where the ripple told it. Bins are
/// then whole turns where they can be, over which segments, poles and all else that repeats with the turn average out.
pub fn legs(capture: &Capture, timeline: &Timeline, turn_v_s: Option<f64>) -> Vec<Leg> {
    let waveform = &capture.waveform;
    if capture.ac_coupled || timeline.doubts.contains(&Doubt::AcCoupled) {
        // The level of the voltage is lost, and with it what drives every leg.
        let rows = (0, waveform.time.len());
        return vec![leg(LegKind::Lost, uniform(waveform, rows, 200), rows)];
    }
    if capture.role == Role::Driven {
        // The shaft obeys something else than the motor's own friction: no leg of the model, but a term of its own.
        let rows = (0, waveform.time.len());
        return vec![leg(LegKind::Lost, uniform(waveform, rows, 200), rows)];
    }
    let switched = matches!(capture.role, Role::Pwm | Role::PwmLocked);
    let mut out: Vec<Leg> = Vec::new();
    for phase in &timeline.phases {
        let (first, end) = (phase.first, phase.end);
        if end <= first {
            continue;
        }
        let rows = (first, end);
        let previous = out.last().map(|l: &Leg| l.kind);
        let leg = match &phase.kind {
            PhaseKind::Rest => leg(LegKind::Rest, uniform(waveform, rows, 20), rows),
            PhaseKind::Driven | PhaseKind::Shorted => {
                let bins = if switched {
                    // The record's bins are shared out over its pieces.
                    let share = (end - first) as f64 / waveform.time.len() as f64;
                    let count = (share * MOST_SWITCHED_BINS as f64).ceil() as usize;
                    let mut bins = uniform(waveform, rows, count.max(LEAST_SWITCHED_BINS));
                    mark_dead_current(&mut bins);
                    bins
                } else if matches!(phase.kind, PhaseKind::Driven) && previous.is_none() {
                    // Running steadily since before the record began.
                    let mut bins = turn_v_s
                        .and_then(|turn| steady_turns(waveform, rows, turn, 80))
                        .unwrap_or_else(|| uniform(waveform, rows, 80));
                    straighten(&mut bins);
                    bins
                } else {
                    let mut bins = growing(waveform, rows);
                    smooth(&mut bins, sample_noise_v(waveform, rows));
                    bins
                };
                let mut leg = leg(LegKind::Connected, bins, rows);
                if matches!(phase.kind, PhaseKind::Driven) && !switched {
                    leg.current_ripple_a = current_ripple(waveform, rows);
                }
                if matches!(phase.kind, PhaseKind::Shorted) {
                    leg.compared = before_fading(&leg.bins, |b| b.current_a.abs());
                }
                leg
            }
            PhaseKind::Open => {
                let most = if capture.role == Role::Brake {
                    MOST_BINS_BEFORE_SHORT
                } else {
                    MOST_OPEN_BINS
                };
                let bins = turn_v_s
                    .and_then(|turn| open_turns(waveform, rows, turn, most))
                    .unwrap_or_else(|| uniform(waveform, rows, most));
                let mut leg = leg(LegKind::Open, bins, rows);
                leg.compared = before_fading(&leg.bins, |b| b.voltage_v.abs());
                leg
            }
            PhaseKind::Cut(reason) => {
                let clipped = waveform.current_a.as_ref().is_none_or(|t| {
                    t.clipped.get(first..end).is_some_and(|c| c.contains(&true))
                        || t.values[first..end].iter().any(|v| v.is_nan())
                });
                let kind = if reason == "standstill" || clipped {
                    LegKind::Lost
                } else {
                    LegKind::Carried
                };
                leg(kind, uniform(waveform, rows, MOST_CARRIED_BINS), rows)
            }
        };
        out.push(leg);
    }
    out
}

fn leg(kind: LegKind, bins: Vec<Bin>, rows: (usize, usize)) -> Leg {
    Leg {
        kind,
        compared: bins.len(),
        bins,
        rows,
        current_ripple_a: 0.0,
    }
}

/// Number of leading bins before the size has fallen below [`SLOWEST_SHARE`] of its largest early value for good.
fn before_fading(bins: &[Bin], size: impl Fn(&Bin) -> f64) -> usize {
    let peak = bins
        .iter()
        .map(&size)
        .filter(|v| v.is_finite())
        .fold(0.0, f64::max);
    let peak_at = bins
        .iter()
        .position(|b| size(b) >= 0.98 * peak)
        .unwrap_or(0);
    bins.iter()
        .skip(peak_at)
        .position(|b| size(b) < SLOWEST_SHARE * peak)
        .map_or(bins.len(), |k| k + peak_at)
}

/// Ripple of the current over the last quarter of a driven leg: the scatter about its straight line less the converter's
/// noise, A.
fn current_ripple(waveform: &Waveform, rows: (usize, usize)) -> f64 {
    let Some(trace) = &waveform.current_a else {
        return 0.0;
    };
    let values = finite(&trace.values[rows.1 - (rows.1 - rows.0) / 4..rows.1]);
    let n = values.len() as f64;
    if n < 16.0 {
        return 0.0;
    }
    let mean = values.iter().sum::<f64>() / n;
    let centre = 0.5 * (n - 1.0);
    let (mut sxy, mut sxx, mut syy) = (0.0, 0.0, 0.0);
    for (k, v) in values.iter().enumerate() {
        let x = k as f64 - centre;
        sxy += x * (v - mean);
        sxx += x * x;
        syy += (v - mean) * (v - mean);
    }
    let scatter = (syy - sxy * sxy / sxx) / n;
    let noise = values
        .windows(2)
        .map(|w| (w[1] - w[0]).powi(2))
        .sum::<f64>()
        / (2.0 * n);
    (scatter - noise).max(0.0).sqrt()
}

/// The finite values; a long record is copied only where it has holes.
fn finite(values: &[f64]) -> Cow<'_, [f64]> {
    if values.iter().all(|v| v.is_finite()) {
        Cow::Borrowed(values)
    } else {
        values.iter().copied().filter(|v| v.is_finite()).collect()
    }
}

/// Noise of one sample of the voltage over some rows, a converter's step included, V.
fn sample_noise_v(waveform: &Waveform, rows: (usize, usize)) -> f64 {
    let Some(trace) = &waveform.voltage_v else {
        return 0.0;
    };
    let values = finite(&trace.values[rows.0..rows.1]);
    let rounding = trace.quantisation_step.unwrap_or(0.0) / 12f64.sqrt();
    noise_from_differences(&values)
        .unwrap_or(0.0)
        .hypot(rounding)
}

/// Marks the bins of a switched leg in which the current has died: a plateau at its lower end, where a triangle would
/// spend no more time than anywhere else.
fn mark_dead_current(bins: &mut [Bin]) {
    let mut currents: Vec<f64> = bins
        .iter()
        .map(|b| b.current_a)
        .filter(|i| i.is_finite())
        .collect();
    if currents.len() < 40 {
        return;
    }
    currents.sort_by(f64::total_cmp);
    let floor = currents[currents.len() / 20];
    let range = currents[currents.len() - 1] - floor;
    let on_plateau = |i: f64| (i - floor).abs() < 0.03 * range;
    let share = currents.iter().filter(|i| on_plateau(**i)).count() as f64 / currents.len() as f64;
    // Within 6 % of its range a triangle spends 6 % of its time.
    if share < 0.15 {
        return;
    }
    let dead: Vec<bool> = bins.iter().map(|b| on_plateau(b.current_a)).collect();
    for k in 0..bins.len() {
        let around = &dead[k.saturating_sub(1)..(k + 2).min(dead.len())];
        bins[k].conducting = !around.iter().all(|d| *d);
    }
}

/// About `count` bins of equal width.
fn uniform(waveform: &Waveform, rows: (usize, usize), count: usize) -> Vec<Bin> {
    let n = rows.1 - rows.0;
    let count = count.min(n).max(1);
    (0..count)
        .filter_map(|k| {
            bin(
                waveform,
                rows.0 + k * n / count,
                rows.0 + (k + 1) * n / count,
            )
        })
        .collect()
}

/// Fewest turns that make bins of whole turns worth while.
const FEWEST_TURNS: f64 = 12.0;

/// Bins of whole turns of a motor that runs steadily; its back-EMF is taken for the terminal voltage, which is near enough
/// for a stretch of few turns and averages out over many.
fn steady_turns(
    waveform: &Waveform,
    rows: (usize, usize),
    turn_v_s: f64,
    most: usize,
) -> Option<Vec<Bin>> {
    let trace = waveform.voltage_v.as_ref()?;
    let values = &trace.values[rows.0..rows.1];
    let seen = values.iter().filter(|v| v.is_finite());
    let (sum, count) = seen.fold((0.0, 0.0), |(s, n), v| (s + v.abs(), n + 1.0));
    let span = waveform.time.at(rows.1 - 1)? - waveform.time.at(rows.0)?;
    let turns = span * sum / count / turn_v_s;
    if turns.is_nan() || turns < FEWEST_TURNS {
        return None;
    }
    let each = (turns / most as f64).ceil();
    Some(uniform(waveform, rows, (turns / each) as usize))
}

/// Bins of whole turns of an open, slowing motor: edges at equal steps of `∫ e dt`. Whatever is left at the end is one more.
fn open_turns(
    waveform: &Waveform,
    rows: (usize, usize),
    turn_v_s: f64,
    most: usize,
) -> Option<Vec<Bin>> {
    let trace = waveform.voltage_v.as_ref()?;
    let step = |k: usize| Some(waveform.time.at(k + 1)? - waveform.time.at(k)?);
    // Volt-seconds from a row to the next.
    let passing = |k: usize| {
        let e = trace.values[k].abs();
        if e.is_finite() && k + 1 < rows.1 {
            Some(e * step(k)?)
        } else {
            Some(0.0)
        }
    };
    let mut total = 0.0;
    for k in rows.0..rows.1 {
        total += passing(k)?;
    }
    let turns = total / turn_v_s;
    if turns < FEWEST_TURNS {
        return None;
    }
    let each = (turns / most as f64).ceil() * turn_v_s;
    let mut edges = vec![rows.0];
    let mut passed = 0.0;
    for k in rows.0..rows.1 {
        if passed >= each * edges.len() as f64 {
            edges.push(k);
        }
        passed += passing(k)?;
    }
    edges.push(rows.1);
    edges.dedup();
    Some(
        edges
            .windows(2)
            .filter_map(|w| bin(waveform, w[0], w[1]))
            .collect(),
    )
}

/// Single samples first, then bins that grow with the time since the beginning of the leg.
fn growing(waveform: &Waveform, rows: (usize, usize)) -> Vec<Bin> {
    let n = rows.1 - rows.0;
    let widest = (n / 150).max(1);
    let mut bins = Vec::new();
    let mut at = 0;
    while at < n {
        let width = (1 + at / 40).min(widest).min(n - at);
        bins.extend(bin(waveform, rows.0 + at, rows.0 + at + width));
        at += width;
    }
    bins
}

fn bin(waveform: &Waveform, first: usize, end: usize) -> Option<Bin> {
    let mean = |values: Option<&[f64]>| {
        let (mut sum, mut count) = (0.0, 0usize);
        for &v in values.unwrap_or_default() {
            if v.is_finite() {
                sum += v;
                count += 1;
            }
        }
        if count > 0 {
            sum / count as f64
        } else {
            f64::NAN
        }
    };
    let slice = |t: &Option<crate::bench::Trace>| mean(t.as_ref().map(|t| &t.values[first..end]));
    let (start, last) = (waveform.time.at(first)?, waveform.time.at(end - 1)?);
    // A sample stands for the interval around it, so a bin of n samples is n steps wide.
    let step = if end < waveform.time.len() {
        waveform.time.at(end)? - last
    } else {
        last - waveform.time.at(end.checked_sub(2)?)?
    };
    Some(Bin {
        time_s: 0.5 * (start + last),
        width_s: last - start + step,
        voltage_v: slice(&waveform.voltage_v),
        current_a: slice(&waveform.current_a),
        samples: end - first,
        conducting: true,
    })
}
