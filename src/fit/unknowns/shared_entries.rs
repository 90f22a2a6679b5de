//! The entries that every capture shares, and what the bench says of them before the fit.

use super::layout::{Layout, Parameter, Slot, Source};
use crate::bench::{Bench, Capture, Doubt, Reading, Role};
use crate::events::Timeline;
use crate::fit::data::{Leg, LegKind};
use crate::fit::estimate::FitOptions;
use crate::fit::model::{Shared, direction};
use crate::motor::TerminalParameters;
use crate::stats::lanes;

/// Relative standard deviation of the resistance over rotor positions where nothing better is known: 2 % (common
/// practice, no source).
const POSITION_SD: f64 = 0.02;

/// Least share of the inductance that is simulated as screened: none at all has no state of its own.
const LEAST_SHARE: f64 = 2e-3;

pub fn peak_current(legs: &[Vec<Leg>]) -> Option<f64> {
    legs.iter()
        .flatten()
        .filter(|l| l.kind == LegKind::Connected)
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
        .map(|t| lanes::largest(&t.values, |[v]| if v.is_finite() { v.abs() } else { 0.0 }))
        .chain(bench.motor.supply_v.map(f64::abs))
        .filter(|v| v.is_finite())
        .fold(0.0, f64::max)
}

/// False where captures show that the current rises between two samples and nothing else resolves it: no step with its rise, no
/// other change of the terminals sampled much faster, no inductance meter.
pub fn inductance_seen(bench: &Bench, timelines: &[Timeline]) -> bool {
    let missed = |t: &Timeline| t.doubts.contains(&Doubt::RiseBetweenSamples);
    let both = || bench.captures.iter().zip(timelines);
    let step_s = |c: &Capture| Some(c.waveform.time.at(1)? - c.waveform.time.at(0)?);
    let Some(coarse_s) = both()
        .filter(|(_, t)| missed(t))
        .filter_map(|(c, _)| step_s(c))
        .reduce(f64::min)
    else {
        return true;
    };
    let metered = bench
        .readings
        .iter()
        .any(|r| matches!(r, Reading::InductanceMeter { .. }));
    metered
        || both().any(|(c, t)| match c.role {
            Role::Start | Role::LockedRotor => {
                !missed(t) && t.instants.iter().any(|(name, _)| name == "make")
            }
            Role::Brake | Role::TurnOff | Role::Pwm | Role::PwmLocked => {
                step_s(c).is_some_and(|s| s < 0.25 * coarse_s)
            }
            Role::RunDown | Role::Steady | Role::Driven => false,
        })
}

/// Temperature of the capture that says it best; every other capture's resistance is brought to it.
pub fn reference_temperature(bench: &Bench) -> Option<(f64, f64)> {
    bench
        .captures
        .iter()
        .filter_map(|c| c.winding_temperature_c)
        .map(|t| (t.value, t.standard_uncertainty))
        .min_by(|a, b| a.1.total_cmp(&b.1))
}

/// Largest relative standard uncertainty that the sheet states for a time base.
pub fn clock(bench: &Bench) -> Option<f64> {
    let stated = bench.instruments.iter();
    stated
        .filter_map(|i| i.time_base_relative_uncertainty)
        .filter(|u| *u > 0.0)
        .reduce(f64::max)
}

/// The motor's own parameters with their priors.
pub fn shared_parameters(
    bench: &Bench,
    guess: &TerminalParameters,
    peak_a: f64,
    reference_temperature_c: Option<f64>,
    options: &FitOptions,
    layout: &mut Layout,
) -> Shared {
    use direction as d;
    let p = Parameter::free;
    let [fr, fl, fc] = options.guess_factors;
    let log = |slot, value: f64| p(slot, value.ln()).stepping(1.5);
    let no_load = (guess.friction_current_a / 0.7).max(1e-9);
    let emf = bench.motor.supply_v.unwrap_or(10.0).abs().max(1e-3);
    let bounded = |slot, start: f64, scale: f64| {
        p(slot, start)
            .within(0.0, f64::INFINITY)
            .stepping(3.0 * scale)
    };
    let model =
        |parameter: Parameter, mean: f64, sd: f64| parameter.with_prior(mean, sd, Source::Model);
    let entries = vec![
        (
            d::RESISTANCE,
            layout.add(log(Slot::LogResistance, guess.terminal_resistance_ohm * fr)),
        ),
        (
            d::INDUCTANCE,
            layout.add(log(Slot::LogInductance, guess.armature_inductance_h * fl)),
        ),
        (
            d::CAPACITANCE,
            layout.add(log(Slot::LogCapacitance, guess.inertia_capacitance_f * fc)),
        ),
        (
            d::FRICTION,
            layout.add(bounded(
                Slot::FrictionCurrent,
                guess.friction_current_a,
                no_load,
            )),
        ),
        (
            d::VISCOUS,
            layout.add(bounded(
                Slot::ViscousConductance,
                guess.viscous_conductance_s,
                no_load / emf,
            )),
        ),
        (
            d::WINDAGE,
            layout.add(bounded(Slot::Windage, 0.0, no_load / (emf * emf))),
        ),
        (
            d::BRUSH_DROP,
            layout.add(bounded(Slot::BrushDrop, guess.brush_drop_v, 0.1 * emf)),
        ),
        // The current at which the contact drop flattens: some 0.4 of the no-load current, within a factor of two.
        (d::BRUSH_SCALE, {
            let start = guess.brush_scale_a.ln();
            layout.add(model(
                p(Slot::LogBrushScale, start).stepping(0.7),
                start,
                0.7,
            ))
        }),
        // Saturation and armature reaction at the largest current seen: half the inductance, a few per cent of flux.
        (
            d::SATURATION,
            layout.add(model(
                bounded(Slot::Saturation, 0.0, 0.2 / (peak_a * peak_a)),
                0.0,
                0.5 / (peak_a * peak_a),
            )),
        ),
        (
            d::REACTION,
            layout.add(model(
                bounded(Slot::Reaction, 0.0, 0.02 / peak_a),
                0.0,
                0.025 / peak_a,
            )),
        ),
        (
            d::EDDY_SHARE,
            layout.add(model(
                p(Slot::EddyShare, LEAST_SHARE)
                    .within(LEAST_SHARE, 0.8)
                    .stepping(0.2),
                0.0,
                0.15,
            )),
        ),
        (d::EDDY_RESISTANCE, {
            let start = (3.0 * guess.terminal_resistance_ohm * fr).ln();
            layout.add(model(
                p(Slot::LogEddyResistance, start).stepping(0.7),
                start,
                0.7,
            ))
        }),
    ];
    Shared {
        entries,
        reference_temperature_c,
        with_eddy: true,
        position_sd: position_sd(bench),
        resistance_guess_ohm: guess.terminal_resistance_ohm,
        turn_v_s: None,
    }
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
