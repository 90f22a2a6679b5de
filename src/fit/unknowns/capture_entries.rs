//! What a capture adds to the parameter vector: gains, zeros, lag, what hangs on the shaft, states at the beginning of stretches.

use super::layout::{Layout, Parameter, Slot, Source};
use crate::bench::{Bench, Capture};
use crate::fit::data::{Bin, Leg, LegKind};
use crate::fit::model::direction;
use std::f64::consts::TAU;

/// Share of V/R above which a motor about to be switched off counts as held: one that turns under load takes less than half
/// of it at its best power, one that runs freely far less.
const STALLED_SHARE: f64 = 0.65;

/// Whether the rotor stands still in the leg with which a turn-off begins.
pub fn stands_still(legs: &[Leg], resistance_ohm: f64) -> bool {
    let Some(first) = legs.first().filter(|l| l.kind == LegKind::Connected) else {
        return false;
    };
    let mean = |of: fn(&Bin) -> f64| {
        let values = first.bins.iter().map(of).filter(|v| v.is_finite());
        let (sum, count) = values.fold((0.0, 0.0), |(s, n), v| (s + v, n + 1.0));
        sum / count
    };
    let (voltage, current) = (mean(|b| b.voltage_v), mean(|b| b.current_a));
    current.abs() * resistance_ohm > STALLED_SHARE * voltage.abs()
}

/// Share of a stated zero that drifts from capture to capture; the rest is one number a channel and range (common
/// practice, no source).
const DRIFT_SHARE: f64 = 0.3;

/// Captures whose stated zeros differ by less than this factor stand on one range of their channel.
const RANGE_STEP: f64 = 1.2;

/// Gains, zeros and the unrecorded source of a capture.
pub fn add_channels(
    bench: &Bench,
    capture: &Capture,
    index: usize,
    layout: &mut Layout,
    links: &mut [Vec<(usize, f64)>],
) {
    let shunt = capture
        .series_in_voltage
        .and_then(|(_, instrument)| instrument);
    let chains = [
        (
            &capture.voltage_chain,
            direction::VOLTAGE_GAIN,
            direction::VOLTAGE_ZERO,
            Slot::VoltageZero { capture: index },
        ),
        (
            &capture.current_chain,
            direction::CURRENT_GAIN,
            direction::CURRENT_ZERO,
            Slot::CurrentZero { capture: index },
        ),
    ];
    for (chain, gain, zero, slot) in chains {
        let Some(chain) = chain else { continue };
        for &k in &chain.instruments {
            let instrument = &bench.instruments[k];
            if instrument.gain_relative_uncertainty <= 0.0 {
                continue;
            }
            let column = instrument.gain_per_channel.then(|| chain.column.clone());
            let parameter = Parameter::free(
                Slot::Gain {
                    instrument: k,
                    column,
                },
                0.0,
            )
            .with_prior(
                0.0,
                instrument.gain_relative_uncertainty,
                Source::Instrument(instrument.name.clone()),
            )
            .stepping(0.1);
            let entry = layout.add(parameter);
            links[gain].push((entry, 1.0));
            if Some(k) == shunt {
                links[direction::SHUNT].push((entry, 1.0));
            }
        }
        let sd = chain.zero_uncertainty.max(1e-9);
        let own = Parameter::free(slot, 0.0).with_prior(0.0, DRIFT_SHARE * sd, Source::Zero);
        links[zero].push((layout.add(own), 1.0));
        let slot = Slot::RangeZero {
            current: gain == direction::CURRENT_GAIN,
            column: chain.column.clone(),
            range: (sd.ln() / RANGE_STEP.ln()).round() as i64,
        };
        let kept = (1.0 - DRIFT_SHARE * DRIFT_SHARE).sqrt() * sd;
        let shared = Parameter::free(slot, 0.0).with_prior(0.0, kept, Source::Zero);
        links[zero].push((layout.add(shared), 1.0));
    }
    if capture.waveform.voltage_v.is_none()
        && let Some(source) = capture.source_v
    {
        let parameter = Parameter::free(Slot::Source { capture: index }, 0.0);
        let parameter =
            parameter.with_prior(0.0, source.standard_uncertainty.max(1e-6), Source::Loop);
        links[direction::VOLTAGE_ZERO] = vec![(layout.add(parameter), 1.0)];
        links[direction::VOLTAGE_GAIN].clear();
    }
}

/// Relative standard uncertainty of the corner frequency that a sheet states for a probe (common practice, no source).
const CORNER_SD: f64 = 0.2;

/// The current probe's lag and delay; returns the time constant of its stated bandwidth, s, that of the slowest hardware on the way.
pub fn add_lag(
    bench: &Bench,
    capture: &Capture,
    layout: &mut Layout,
    links: &mut [Vec<(usize, f64)>],
) -> Option<f64> {
    let chain = capture.current_chain.iter().flat_map(|c| &c.instruments);
    for &instrument in chain.clone() {
        let hardware = &bench.instruments[instrument];
        if let Some(limit_s) = hardware.skew_s {
            // Anything within the limit is as likely (JCGM 100:2008, 4.3.7).
            let sd = limit_s / 3f64.sqrt();
            let slot = Parameter::free(Slot::Skew { instrument }, 0.0);
            let slot = slot.with_prior(0.0, sd, Source::Lag(hardware.name.clone()));
            links[direction::SKEW].push((layout.add(slot), 1.0));
        }
    }
    let (instrument, corner_hz) = chain
        .filter_map(|&k| Some((k, bench.instruments[k].bandwidth_hz?)))
        .min_by(|a, b| a.1.total_cmp(&b.1))?;
    let source = Source::Lag(bench.instruments[instrument].name.clone());
    let slot = Parameter::free(Slot::ProbeLag { instrument }, 0.0);
    let slot = slot.with_prior(0.0, CORNER_SD, source).stepping(0.5);
    links[direction::LAG].push((layout.add(slot), 1.0));
    Some(1.0 / (TAU * corner_hz))
}

/// A known inertia or load on the shaft lets the terminals see K: its ln and the relative error of what is attached.
pub fn add_attached(
    bench: &Bench,
    index: usize,
    layout: &mut Layout,
    links: &mut [Vec<(usize, f64)>],
) -> (f64, f64) {
    let capture = &bench.captures[index];
    let (inertia, torque) = (capture.added_inertia_kg_m2, capture.load_torque_nm);
    let Some(stated) = inertia.or(torque).filter(|s| s.value > 0.0) else {
        return (0.0, 0.0);
    };
    // Some 3000 revolutions a minute at the supply: only a first guess.
    let guess = bench.motor.supply_v.unwrap_or(12.0).abs().max(0.1) / 300.0;
    let constant = Parameter::free(Slot::LogBackEmfConstant, guess.ln()).stepping(1.0);
    links[direction::CONSTANT].push((layout.add(constant), 1.0));
    let relative = (stated.standard_uncertainty / stated.value).max(1e-6);
    let error = Parameter::free(Slot::Attached { capture: index }, 0.0)
        .with_prior(0.0, relative, Source::Anchor)
        .stepping(0.2);
    links[direction::ATTACHED].push((layout.add(error), 1.0));
    (
        inertia.map_or(0.0, |s| s.value),
        torque.map_or(0.0, |s| s.value),
    )
}

/// Back-EMFs and currents with which stretches begin.
pub fn add_unknown_states(
    legs: &[Leg],
    index: usize,
    held: bool,
    layout: &mut Layout,
    links: &mut [Vec<(usize, f64)>],
) {
    let mut known = held || matches!(legs.first().map(|l| l.kind), Some(LegKind::Rest));
    let (mut emfs, mut currents) = (0, 0);
    for (number, leg) in legs.iter().enumerate() {
        match leg.kind {
            LegKind::Rest => known = true,
            LegKind::Lost => known = held,
            LegKind::Carried => {}
            LegKind::Connected | LegKind::Open => {
                if !known && emfs < direction::EMF.len() {
                    let parameter = Parameter::free(
                        Slot::InitialEmf {
                            capture: index,
                            piece: emfs,
                        },
                        emf_guess(legs, number),
                    );
                    links[direction::EMF[emfs]].push((layout.add(parameter), 1.0));
                    emfs += 1;
                    known = true;
                }
                if leg.kind == LegKind::Connected && currents < direction::CURRENT.len() {
                    let seen = leg
                        .bins
                        .iter()
                        .find(|b| b.current_a.is_finite())
                        .map_or(0.0, |b| b.current_a);
                    let parameter = Parameter::free(
                        Slot::InitialCurrent {
                            capture: index,
                            piece: currents,
                        },
                        seen,
                    );
                    links[direction::CURRENT[currents]].push((layout.add(parameter), 1.0));
                    currents += 1;
                }
            }
        }
    }
}

/// The back-EMF nearest to leg `number` that the record shows: open-terminal voltage, else terminal voltage.
fn emf_guess(legs: &[Leg], number: usize) -> f64 {
    let first_voltage = |leg: &Leg| leg.bins.iter().map(|b| b.voltage_v).find(|v| v.is_finite());
    legs[number..]
        .iter()
        .filter(|l| l.kind == LegKind::Open)
        .find_map(first_voltage)
        .or_else(|| first_voltage(&legs[number]).map(|v| 0.95 * v))
        .unwrap_or(0.0)
}
