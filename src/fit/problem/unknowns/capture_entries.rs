//! What else a capture adds to the unknowns: the position of a held rotor, resistance outside the motor, what hangs on the shaft, and an
//! uneven back-EMF constant.

use super::direction::{Direction, Links, UNEVENNESS};
use super::layout::{Layout, Parameter, ParameterKind, Source};
use crate::bench::{Bench, Capture};

/// Departure of the resistance at a held rotor's position from its mean over a turn. `sd`: its spread over a turn, relative.
pub fn add_position(capture: usize, sd: f64, layout: &mut Layout, links: &mut Links) {
    let parameter = Parameter::free(ParameterKind::Position { capture }, 0.0)
        .with_prior(0.0, sd, Source::Position)
        .stepping(0.1);
    links.add(Direction::POSITION, layout.add(parameter));
}

/// Standard deviation of the inductance over a turn, relative: teeth pass the poles' edges, brushes short coils (common practice, no
/// source).
const INDUCTANCE_SD: f64 = 0.03;

/// Departure of the inductance at the position in which the current of a capture rises: a time constant L/R is a small part of a turn,
/// in a brake from full speed, too, and a switched record of some periods is one.
pub fn add_inductance_position(capture: usize, layout: &mut Layout, links: &mut Links) {
    let parameter = Parameter::free(ParameterKind::InductancePosition { capture }, 0.0)
        .with_prior(0.0, INDUCTANCE_SD, Source::Position)
        .stepping(0.1);
    links.add(Direction::INDUCTANCE_POSITION, layout.add(parameter));
}

/// Resistance between an unrecorded source and the terminals; returns its stated value, Ω. A recorded voltage has it behind it.
pub fn add_loop(capture: &Capture, index: usize, layout: &mut Layout, links: &mut Links) -> f64 {
    let stated = capture
        .loop_resistance_ohm
        .filter(|_| capture.waveform.voltage_v.is_none());
    let Some(stated) = stated else { return 0.0 };
    if stated.standard_uncertainty > 0.0 {
        let parameter = Parameter::free(ParameterKind::Loop { capture: index }, 0.0);
        let parameter = parameter.with_prior(0.0, stated.standard_uncertainty, Source::Loop);
        links.add(Direction::LOOP, layout.add(parameter));
    }
    stated.value
}

/// A known inertia or load on the shaft lets the terminals see K: its ln and the relative error of what is attached.
pub fn add_attached(
    bench: &Bench,
    index: usize,
    layout: &mut Layout,
    links: &mut Links,
) -> (f64, f64) {
    let capture = &bench.captures[index];
    let (inertia, torque) = (capture.added_inertia_kg_m2, capture.load_torque_nm);
    let Some(stated) = inertia.or(torque).filter(|s| s.value > 0.0) else {
        return (0.0, 0.0);
    };
    // Some 3000 revolutions a minute at the supply: only a first guess.
    let guess = bench.motor.supply_v.unwrap_or(12.0).abs().max(0.1) / 300.0;
    let constant = Parameter::free(ParameterKind::LogBackEmfConstant, guess.ln()).stepping(1.0);
    links.add(Direction::CONSTANT, layout.add(constant));
    let relative = (stated.standard_uncertainty / stated.value).max(1e-6);
    let error = Parameter::free(ParameterKind::Attached { capture: index }, 0.0)
        .with_prior(0.0, relative, Source::SpeedReference)
        .stepping(0.2);
    links.add(Direction::ATTACHED, layout.add(error));
    (
        inertia.map_or(0.0, |s| s.value),
        torque.map_or(0.0, |s| s.value),
    )
}

/// Standard deviation of the cosine and of the sine of each wave of the relative back-EMF constant over a turn, before the capture is
/// seen: commutator segments and coils of a small motor differ by a per cent or so (common practice, no source).
const UNEVENNESS_SD: f64 = 0.006;

/// Adds the waves of a capture to the layout.
pub fn add_waves(capture: usize, layout: &mut Layout, links: &mut Links) {
    for wave in 0..UNEVENNESS {
        let parameter = Parameter::free(ParameterKind::Unevenness { capture, wave }, 0.0)
            .with_prior(0.0, UNEVENNESS_SD, Source::Position);
        links.add(Direction::wave(wave), layout.add(parameter));
    }
}
