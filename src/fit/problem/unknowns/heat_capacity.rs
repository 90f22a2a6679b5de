//! The heat capacity of the winding as an unknown, from what a rotor of that inertia usually has.

use super::entry::Entry;
use super::layout::{Layout, Parameter, ParameterKind, Source};
use crate::bench::{Bench, Capture, Reading};
use crate::fit::data::{Bin, Segment, SegmentKind};
use crate::motor::TerminalParameters;
use crate::motor::temperature::copper_coefficient_per_k;
use std::f64::consts::PI;

/// Density of a rotor of laminated iron and copper with its kinds, kg/m³ (common practice, no source).
const ROTOR_DENSITY_KG_PER_M3: f64 = 7000.0;
/// Length of a rotor over its radius (common practice, no source).
const LENGTH_OVER_RADIUS: f64 = 2.0;
/// Heat capacity of the winding, with what insulation and teeth take in a second, over the rotor's mass, J/(kg·K): copper, with
/// 385 J/(kg·K), is a fifth to a third of it (common practice, no source).
const CAPACITY_J_PER_KG_K: f64 = 120.0;
/// Relative standard deviation of the inverse of a heat capacity guessed from an inertia: about a factor of two.
const INVERSE_SD: f64 = 0.7;
/// Relative rise of the resistance, at the low end of the heat capacity, below which a winding counts as staying as it is: small
/// against what gains and rotor positions leave open.
const LEAST_RISE: f64 = 2e-3;
/// Temperature of a winding of which nothing is noted, °C.
const ROOM_C: f64 = 23.0;

/// Heat capacity of the winding, J/K, of a rotor of inertia `kg_m2`: a cylinder of usual density and proportions has
/// J = m r²/2 with m = ρ π r² l.
fn heat_capacity_guess(kg_m2: f64) -> f64 {
    let per_r5 = 0.5 * PI * ROTOR_DENSITY_KG_PER_M3 * LENGTH_OVER_RADIUS;
    let radius_m = (kg_m2 / per_r5).powf(0.2);
    let mass_kg = 2.0 * kg_m2 / (radius_m * radius_m);
    CAPACITY_J_PER_KG_K * mass_kg
}

/// Speed of a motor of which no speed is known, on its supply, rad/s: some 4000 revolutions a minute (common practice, no source).
const USUAL_SPEED_RAD_S: f64 = 420.0;

/// The back-EMF constant to some ten per cent where a reading or the ripple of a run-down gives it, V·s/rad.
fn constant_guess(bench: &Bench, of_ripple: Option<f64>) -> f64 {
    let supply_v = bench.motor.supply_v.unwrap_or(10.0).abs();
    let read = bench.readings.iter().find_map(|r| match r {
        Reading::Speed { speed_rad_s, .. } => Some(supply_v / speed_rad_s.value),
        Reading::SpunBackEmf {
            voltage_v,
            speed_rad_s,
            ..
        } => Some(voltage_v.value / speed_rad_s.value),
        Reading::Ohmmeter { .. } | Reading::InductanceMeter { .. } => None,
    });
    read.or(of_ripple).unwrap_or(supply_v / USUAL_SPEED_RAD_S)
}

/// ∫ i² dt of the recorded current over a capture, A²·s.
fn current_squared_seconds(segments: &[Segment]) -> f64 {
    let loss = |b: &Bin| b.current_a * b.current_a * b.width_s;
    segments
        .iter()
        .filter(|l| matches!(l.kind, SegmentKind::Connected | SegmentKind::Carried))
        .flat_map(|l| &l.bins)
        .filter(|b| b.current_a.is_finite())
        .map(loss)
        .sum()
}

/// Adds the winding's heat capacity to the layout where a capture warms it by more than can be left out; `None` elsewhere. `ripple_constant`: K as the ripple of
/// a run-down gives it, V·s/rad.
pub fn add_heat_capacity(
    bench: &Bench,
    guess: &TerminalParameters,
    ripple_constant: Option<f64>,
    segments: &[Vec<Segment>],
    layout: &mut Layout,
) -> Option<Entry> {
    let constant = constant_guess(bench, ripple_constant);
    let capacity = heat_capacity_guess(guess.inertia_capacitance_f * constant * constant);
    let least_capacity = capacity / (1.0 + 2.0 * INVERSE_SD);
    let rise = |(capture, segments): (&Capture, &Vec<Segment>)| {
        let loss_j = guess.terminal_resistance_ohm * current_squared_seconds(segments);
        resistance_per_kelvin(capture) * loss_j / least_capacity
    };
    let most = bench
        .captures
        .iter()
        .zip(segments)
        .map(rise)
        .fold(0.0, f64::max);
    (most > LEAST_RISE).then(|| {
        let start = 1.0 / capacity;
        let kind = Parameter::free(ParameterKind::InverseHeatCapacity, start)
            .with_prior(start, INVERSE_SD * start, Source::Model)
            .within(0.0, f64::INFINITY)
            .stepping(start);
        layout.add(kind)
    })
}

/// Relative change of the winding's resistance per kelvin at a capture's temperature, 1/K.
pub fn resistance_per_kelvin(capture: &Capture) -> f64 {
    copper_coefficient_per_k(capture.winding_temperature_c.map_or(ROOM_C, |t| t.value))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// A cylinder of 12 mm radius and 24 mm length of 7000 kg/m³ weighs 76.0 g and has J = m r²/2 = 5.472e-6 kg·m² (worked by hand).
    #[test]
    fn val_mass_of_a_cylinder_from_its_inertia() {
        let capacity = heat_capacity_guess(5.472e-6);
        assert_relative_eq!(capacity, 120.0 * 0.0760, max_relative = 1e-3);
    }
}
