//! Motors on benches of our own scenarios, from a coin-size motor on one cell to 150 W on two batteries.

mod departures;
mod large;
mod small;

pub use departures::Departure;
pub use large::{label_peeler, ramp_lift, seed_spreader};
pub use small::{aquarium_feeder, blind_winder, bottle_warmer_fan, curd_stirrer};

use super::record::{Shot, ShotKind};
use super::rig::{Arc, Bounce, Chopper, CurrentSensor, Diode, Rig, Temperature};
use super::scenario::{Brushes, Magnets, MotorFacts, Scenario};
use super::scope::{ErrorLaw, Instruments};

/// All presets.
pub fn all() -> Vec<Scenario> {
    vec![
        aquarium_feeder(),
        bottle_warmer_fan(),
        blind_winder(),
        label_peeler(),
        ramp_lift(),
        seed_spreader(),
        curd_stirrer(),
    ]
}

/// The preset of that name (`blind winder` or `blind-winder`), or with a departure (`blind winder with four poles`).
pub fn named(name: &str) -> Option<Scenario> {
    let wanted = name.replace(['-', '_'], " ");
    let (preset, departure) = match wanted.split_once(" with ") {
        Some((preset, name)) => (
            preset,
            Some(Departure::ALL.into_iter().find(|d| d.name() == name)?),
        ),
        None => (wanted.as_str(), None),
    };
    let found = all().into_iter().find(|s| s.facts.name == preset)?;
    Some(departure.map_or(found.clone(), |d| d.of(found)))
}

/// `count` specimens of the curd stirrer that differ by some per cent in R, three small captures each: `stirrer 0` and so on.
pub fn shelf(count: usize) -> Vec<Scenario> {
    let mut scenario = curd_stirrer().with_plan(&[
        ("start", ShotKind::Start),
        ("rundown", ShotKind::RunDown),
        ("brake", ShotKind::Brake),
    ]);
    for shot in &mut scenario.plan {
        shot.rows = 2000;
    }
    (0..count)
        .map(|k| {
            let mut one = scenario.clone();
            one.machine.terminal_resistance_ohm *= 1.0 + 0.02 * libm::sin(k as f64 * 2.4);
            one.facts.name = format!("stirrer {k}");
            one
        })
        .collect()
}

fn facts(name: &str, segments: Option<u32>, brushes: Brushes, magnets: Magnets) -> MotorFacts {
    MotorFacts {
        name: name.to_owned(),
        commutator_segments: segments,
        poles: None,
        brushes,
        magnets,
    }
}

/// Start, run-down, brake, a held rotor as `held`, and `further` captures.
fn plan(held: ShotKind, further: &[(&str, ShotKind)]) -> Vec<Shot> {
    let usual = [
        ("start", ShotKind::Start),
        ("rundown", ShotKind::RunDown),
        ("brake", ShotKind::Brake),
        ("held", held),
    ];
    Shot::plan(&[&usual, further].concat())
}

/// A scope of eight bits with the usual limits, a probe of 1 % and the meters of a hobby bench.
fn eight_bit_scope() -> Instruments {
    Instruments {
        bits: 8,
        vertical_gain_limit: 0.02,
        range_gain_limit: 0.0,
        zero_limit_div: 0.1,
        zero_shared: false,
        time_base_limit: 50e-6,
        probe_gain_limit: 0.01,
        noise_div: 0.025,
        sensor_noise_a: 0.0,
        skew_limit_s: 20e-9,
        hum: None,
        high_resolution: false,
        tachometer_limit: Some(0.0005),
        ohmmeter_limit: Some(0.01),
        ohmmeter_leads_ohm: 0.15,
        law: ErrorLaw::TruncatedNormal,
        perfect: false,
    }
}

fn battery_rig(supply_v: f64, source_resistance_ohm: f64, sensor: CurrentSensor) -> Rig {
    Rig {
        supply_v,
        source_resistance_ohm,
        lead_inductance_h: 1.2e-6,
        current_limit_a: None,
        supply_ripple: None,
        sensor,
        short_resistance_ohm: 0.03,
        bounce: Bounce {
            makes: [1, 4],
            window_s: 2.5e-3,
        },
        arc: Arc {
            plateau_v: 12.0,
            plateau_s: 6e-6,
            spark_v: [150.0, 380.0],
        },
        flight_s: [3e-3, 9e-3],
        stray_capacitance_f: 0.4e-9,
        diode: Diode {
            forward_v: 0.45,
            slope_ohm: 0.02,
        },
        chopper: Chopper {
            frequency_hz: 2000.0,
            duty: 0.5,
            switch_ohm: 0.02,
        },
        added_inertia_kg_m2: 1e-6,
        added_inertia_limit: 0.01,
        temperature: Temperature {
            room_c: 22.0,
            winding_c: 24.0,
            winding_uncertainty_k: 1.5,
            scatter_k: 0.3,
            magnets_above_room_k: 0.5,
        },
    }
}

/// A resistor whose error is at most `tolerance`; the voltage channel spans motor and resistor where `inside`.
fn shunt(nominal_ohm: f64, tolerance: f64, inside: bool) -> CurrentSensor {
    CurrentSensor::Shunt {
        nominal_ohm,
        tolerance,
        inside_voltage_channel: inside,
    }
}
