//! Presets with stronger motors and further captures: chopped, let go, with a disc.

use super::{battery_rig, eight_bit_scope, facts, plan, shunt};
use crate::motor::{Commutator, EddyBranch, Machine};
use crate::record::{Shot, ShotKind};
use crate::rig::{Arc, Chopper, CurrentSensor, Diode, Line, Rig};
use crate::scenario::{Brushes, Magnets, Scenario};
use crate::scope::Instruments;

/// Ironless 24 V motor with 13 segments and graphite brushes; twelve-bit scope, four-wire shunt, transistor switch.
pub fn label_peeler() -> Scenario {
    Scenario {
        machine: Machine {
            coulomb_friction_nm: 2.3e-3,
            viscous_friction_nm_s_per_rad: 1.8e-6,
            breakaway_nm: 2.9e-3,
            stribeck_rad_s: 15.0,
            brush_drop_v: 0.32,
            brush_scale_a: 0.12,
            magnet_per_k: -0.001,
            winding_heat_capacity_j_per_k: Some(5.0),
            commutator: Commutator {
                segments: 13,
                poles: 2,
                emf_ripple: 0.02,
                unevenness: 0.010,
                resistance_variation: 0.012,
                brush_noise: 0.01,
                needle_v: 1.0,
                needle_s: 1.5e-6,
            },
            unbalance_nm: 3e-5,
            ohmmeter_contact_ohm: 0.25,
            ..Machine::ideal(1.36, 0.19e-3, 0.0437, 6.6e-6)
        },
        rig: Rig {
            lead_inductance_h: 0.8e-6,
            chopper: Chopper {
                frequency_hz: 16_000.0,
                duty: 0.6,
                switch_ohm: 0.015,
            },
            added_inertia_kg_m2: 5.9e-6,
            ..battery_rig(24.3, 0.09, shunt(0.05, 0.005, true))
        },
        instruments: Instruments {
            bits: 12,
            vertical_gain_limit: 0.01,
            time_base_limit: 20e-6,
            noise_div: 0.01,
            ..eight_bit_scope()
        },
        plan: plan(
            ShotKind::LockedClean,
            &[("chopped", ShotKind::Pwm), ("letgo", ShotKind::TurnOff)],
        ),
        facts: facts("label peeler", None, Brushes::Carbon, Magnets::Neodymium),
    }
}

/// 24 V, 150 W, 24 segments, carbon brushes: saturation, eddy currents and a cooling fan; clamp and contactor.
pub fn ramp_lift() -> Scenario {
    Scenario {
        machine: Machine {
            coulomb_friction_nm: 0.043,
            viscous_friction_nm_s_per_rad: 3.4e-5,
            windage_nm_s2_per_rad2: 1.1e-7,
            breakaway_nm: 0.058,
            stribeck_rad_s: 9.0,
            brush_drop_v: 0.78,
            brush_scale_a: 0.55,
            saturation_a: Some(105.0),
            eddy: Some(EddyBranch {
                share: 0.2,
                parallel_ohm: 0.9,
            }),
            armature_reaction_per_a: 0.0006,
            winding_heat_capacity_j_per_k: Some(170.0),
            commutator: Commutator {
                segments: 24,
                poles: 2,
                emf_ripple: 0.03,
                unevenness: 0.014,
                resistance_variation: 0.025,
                brush_noise: 0.015,
                needle_v: 4.0,
                needle_s: 4e-6,
            },
            cogging_nm: 5e-3,
            unbalance_nm: 1.5e-3,
            ohmmeter_contact_ohm: 0.18,
            ..Machine::ideal(0.262, 0.36e-3, 0.0664, 1.75e-4)
        },
        rig: Rig {
            lead_inductance_h: 3.0e-6,
            short_resistance_ohm: 0.007,
            stray_capacitance_f: 2e-9,
            arc: Arc {
                plateau_v: 14.0,
                plateau_s: 20e-6,
                spark_v: [60.0, 160.0],
            },
            flight_s: [6e-3, 12e-3],
            chopper: Chopper {
                frequency_hz: 1500.0,
                duty: 0.4,
                switch_ohm: 0.008,
            },
            diode: Diode {
                forward_v: 0.6,
                slope_ohm: 0.004,
            },
            added_inertia_kg_m2: 1.3e-4,
            ..battery_rig(
                25.2,
                0.048,
                CurrentSensor::Clamp {
                    gain_limit: 0.03,
                    zero_limit_a: 0.5,
                    bandwidth_hz: 80e3,
                },
            )
        },
        instruments: Instruments {
            sensor_noise_a: 0.06,
            probe_gain_limit: 0.02,
            time_base_limit: 25e-6,
            ..eight_bit_scope()
        },
        plan: plan(ShotKind::Locked, &[("chopped", ShotKind::Pwm)]),
        facts: facts("ramp lift", Some(24), Brushes::Carbon, Magnets::Ferrite),
    }
}

/// Twelve-volt spreader of a garden tractor: 16 segments, carbon brushes; the shunt stands outside the voltage channel and the
/// run-down is repeated with a disc, as there is no tachometer.
pub fn seed_spreader() -> Scenario {
    Scenario {
        machine: Machine {
            coulomb_friction_nm: 9.5e-3,
            viscous_friction_nm_s_per_rad: 1.2e-5,
            breakaway_nm: 0.013,
            stribeck_rad_s: 10.0,
            brush_drop_v: 0.55,
            brush_scale_a: 0.2,
            saturation_a: Some(40.0),
            armature_reaction_per_a: 0.001,
            winding_heat_capacity_j_per_k: Some(35.0),
            commutator: Commutator {
                segments: 16,
                poles: 2,
                emf_ripple: 0.035,
                unevenness: 0.015,
                resistance_variation: 0.03,
                brush_noise: 0.015,
                needle_v: 2.0,
                needle_s: 3e-6,
            },
            cogging_nm: 1e-3,
            unbalance_nm: 3e-4,
            ohmmeter_contact_ohm: 0.5,
            ..Machine::ideal(0.74, 0.83e-3, 0.0336, 2.9e-5)
        },
        rig: Rig {
            short_resistance_ohm: 0.015,
            added_inertia_kg_m2: 2.4e-5,
            ..battery_rig(12.6, 0.07, shunt(0.01, 0.01, false))
        },
        instruments: Instruments {
            tachometer_limit: None,
            hum: Some(Line {
                amplitude_v: 0.01,
                frequency_hz: 50.0,
            }),
            ..eight_bit_scope()
        },
        plan: Shot::plan(&[
            ("start", ShotKind::Start),
            ("rundown", ShotKind::RunDown),
            ("disc", ShotKind::RunDownWithDisc),
            ("brake", ShotKind::Brake),
            ("held", ShotKind::Locked),
            ("letgo", ShotKind::TurnOff),
        ]),
        facts: facts("seed spreader", None, Brushes::Carbon, Magnets::Ferrite),
    }
}
