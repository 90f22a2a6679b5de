//! What the bench says of its captures before the fit.

use super::segments::{Segment, SegmentKind};
use crate::bench::{Bench, Capture, CaptureWarning, Reading, Role, Stated, TableKind};
use crate::events::{EventKind, Timeline};
use crate::stats::simd;

/// Relative standard deviation of the resistance over rotor positions where nothing better is known: 2 % (common
/// practice, no source).
const POSITION_SD: f64 = 0.02;

/// Largest current of a connected segment, A.
pub fn peak_current(segments: &[Vec<Segment>]) -> Option<f64> {
    segments
        .iter()
        .flatten()
        .filter(|l| l.kind == SegmentKind::Connected)
        .flat_map(|l| &l.bins)
        .map(|b| b.current_a.abs())
        .filter(|i| i.is_finite())
        .reduce(f64::max)
        .filter(|&i| i > 0.0)
}

/// Largest voltage of any capture or of the stated supply, V.
pub fn largest_voltage(bench: &Bench) -> f64 {
    bench
        .captures
        .iter()
        .filter_map(|c| c.waveform.voltage_v.as_ref())
        .map(|t| simd::largest(&t.values, |[v]| if v.is_finite() { v.abs() } else { 0.0 }))
        .chain(bench.motor.supply_v.map(f64::abs))
        .filter(|v| v.is_finite())
        .fold(0.0, f64::max)
}

/// Whether anything shows an inductance: a current that is switched on, shorted, switched off or chopped, or a meter. While the motor runs freely or is
/// open, a current that changes with the voltage is the ripple of its commutator through the source.
pub fn shows_inductance(bench: &Bench) -> bool {
    let running = |role| matches!(role, Role::RunDown | Role::Steady | Role::Driven);
    let mut tables = bench.tables.iter();
    bench.captures.iter().any(|c| !running(c.role))
        || inductance_metered(bench)
        || tables.any(|t| t.kind == TableKind::Impedance)
}

fn inductance_metered(bench: &Bench) -> bool {
    let mut readings = bench.readings.iter();
    readings.any(|r| matches!(r, Reading::InductanceMeter { .. }))
}

/// False where nothing shows an inductance, and where captures show that the current rises between two samples and nothing else resolves it: no step
/// with its rise, no other change of the terminals sampled much faster, no inductance meter.
pub fn inductance_seen(bench: &Bench, timelines: &[Timeline]) -> bool {
    if !shows_inductance(bench) {
        return false;
    }
    let missed = |t: &Timeline| {
        t.capture_warnings
            .contains(&CaptureWarning::RiseBetweenSamples)
    };
    let both = || bench.captures.iter().zip(timelines);
    let step_s = |c: &Capture| Some(c.waveform.time.at(1)? - c.waveform.time.at(0)?);
    let Some(coarse_s) = both()
        .filter(|(_, t)| missed(t))
        .filter_map(|(c, _)| step_s(c))
        .reduce(f64::min)
    else {
        return true;
    };
    inductance_metered(bench)
        || both().any(|(c, t)| match c.role {
            Role::Start | Role::LockedRotor => {
                !missed(t) && t.first_time_of(EventKind::SwitchOn).is_some()
            }
            Role::Brake | Role::TurnOff | Role::Pwm | Role::PwmLocked => {
                step_s(c).is_some_and(|s| s < 0.25 * coarse_s)
            }
            Role::RunDown | Role::Steady | Role::Driven => false,
        })
}

/// Temperature that is stated best, of several so stated that of most captures; every other capture's resistance is brought to it.
pub fn reference_temperature(bench: &Bench) -> Option<Stated> {
    let stated: Vec<Stated> = bench
        .captures
        .iter()
        .filter_map(|c| c.winding_temperature_c)
        .collect();
    let alike = |at: &Stated| stated.iter().filter(|t| t.value == at.value).count();
    stated.iter().copied().min_by(|a, b| {
        let better = a.standard_uncertainty.total_cmp(&b.standard_uncertainty);
        better.then(alike(b).cmp(&alike(a)))
    })
}

/// Largest relative standard uncertainty that the sheet states for a time base.
pub fn clock(bench: &Bench) -> Option<f64> {
    let stated = bench.instruments.iter();
    stated
        .filter_map(|i| i.time_base_relative_uncertainty)
        .filter(|u| *u > 0.0)
        .reduce(f64::max)
}

/// Spread of the resistance over rotor positions, from the ohmmeter where several positions were read.
pub fn position_sd(bench: &Bench) -> f64 {
    bench
        .readings
        .iter()
        .find_map(|r| match r {
            Reading::Ohmmeter { readings_ohm, .. } if readings_ohm.len() >= 3 => {
                let n = readings_ohm.len() as f64;
                let mean = readings_ohm.iter().sum::<f64>() / n;
                Some(
                    (readings_ohm.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / (n - 1.0))
                        .sqrt()
                        / mean,
                )
            }
            _ => None,
        })
        .map_or(POSITION_SD, |sd| sd.clamp(0.01, 0.03))
}
