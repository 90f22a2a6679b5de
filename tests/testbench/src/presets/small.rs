//! Presets of up to some 30 W.

use super::{battery_rig, eight_bit_scope, facts, plan, shunt};
use crate::motor::{Commutator, EddyBranch, Machine};
use crate::record::ShotKind;
use crate::rig::{CurrentSensor, Line, Rig};
use crate::scenario::{Brushes, Magnets, Scenario};
use crate::scope::Instruments;

/// Coin-size ironless motor on one cell: three segments, metal brushes, a resistor as shunt inside the voltage channel.
pub fn aquarium_feeder() -> Scenario {
    Scenario {
        machine: Machine {
            coulomb_friction_nm: 8.2e-6,
            viscous_friction_nm_s_per_rad: 1.6e-9,
            breakaway_nm: 11e-6,
            stribeck_rad_s: 30.0,
            brush_scale_a: 0.02,
            magnet_per_k: -0.001,
            winding_heat_capacity_j_per_k: Some(0.25),
            commutator: Commutator {
                segments: 3,
                poles: 2,
                emf_ripple: 0.10,
                unevenness: 0.012,
                resistance_variation: 0.02,
                brush_noise: 0.006,
                needle_v: 0.15,
                needle_s: 2e-6,
            },
            unbalance_nm: 0.4e-6,
            ..Machine::ideal(11.6, 210e-6, 1.12e-3, 4.6e-9)
        },
        rig: Rig {
            short_resistance_ohm: 0.08,
            lead_inductance_h: 0.4e-6,
            stray_capacitance_f: 0.1e-9,
            added_inertia_kg_m2: 3.1e-9,
            ..battery_rig(1.53, 0.35, shunt(1.0, 0.01, true))
        },
        instruments: eight_bit_scope(),
        plan: plan(ShotKind::LockedClean, &[]),
        facts: facts(
            "aquarium feeder",
            Some(3),
            Brushes::Metal,
            Magnets::Neodymium,
        ),
    }
}

/// Five-volt fan motor with metal brushes: windage counts; a bench supply with switching ripple.
pub fn bottle_warmer_fan() -> Scenario {
    Scenario {
        machine: Machine {
            coulomb_friction_nm: 1.6e-4,
            viscous_friction_nm_s_per_rad: 3.0e-8,
            windage_nm_s2_per_rad2: 2.6e-10,
            breakaway_nm: 2.2e-4,
            stribeck_rad_s: 20.0,
            brush_scale_a: 0.05,
            eddy: Some(EddyBranch {
                share: 0.15,
                parallel_ohm: 9.0,
            }),
            winding_heat_capacity_j_per_k: Some(4.0),
            commutator: Commutator {
                segments: 5,
                poles: 2,
                emf_ripple: 0.05,
                unevenness: 0.012,
                resistance_variation: 0.02,
                brush_noise: 0.008,
                needle_v: 0.8,
                needle_s: 3e-6,
            },
            cogging_nm: 2e-5,
            unbalance_nm: 1e-5,
            ohmmeter_contact_ohm: 0.05,
            ..Machine::ideal(4.2, 0.92e-3, 4.6e-3, 7.4e-7)
        },
        rig: Rig {
            current_limit_a: Some(3.0),
            supply_ripple: Some(Line {
                amplitude_v: 0.004,
                frequency_hz: 300.0,
            }),
            added_inertia_kg_m2: 5.2e-7,
            ..battery_rig(5.02, 0.12, shunt(0.1, 0.01, true))
        },
        instruments: eight_bit_scope(),
        plan: plan(ShotKind::Locked, &[("steady", ShotKind::Steady)]),
        facts: facts(
            "bottle warmer fan",
            Some(5),
            Brushes::Metal,
            Magnets::Ferrite,
        ),
    }
}

/// Twelve-volt motor of a window blind: eight segments, carbon brushes, clamp with a drifting zero, supply that limits.
pub fn blind_winder() -> Scenario {
    Scenario {
        machine: Machine {
            coulomb_friction_nm: 4.4e-3,
            viscous_friction_nm_s_per_rad: 4.2e-6,
            breakaway_nm: 6.0e-3,
            stribeck_rad_s: 12.0,
            brush_drop_v: 0.62,
            brush_scale_a: 0.08,
            armature_reaction_per_a: 0.002,
            winding_heat_capacity_j_per_k: Some(14.0),
            commutator: Commutator {
                segments: 8,
                poles: 2,
                emf_ripple: 0.06,
                unevenness: 0.018,
                resistance_variation: 0.025,
                brush_noise: 0.015,
                needle_v: 2.5,
                needle_s: 3e-6,
            },
            cogging_nm: 5e-4,
            unbalance_nm: 1e-4,
            ohmmeter_contact_ohm: 1.1,
            ..Machine::ideal(1.92, 1.48e-3, 0.0283, 8.8e-6)
        },
        rig: Rig {
            current_limit_a: Some(8.0),
            added_inertia_kg_m2: 7.5e-6,
            ..battery_rig(
                12.04,
                0.11,
                CurrentSensor::Clamp {
                    gain_limit: 0.02,
                    zero_limit_a: 0.04,
                    bandwidth_hz: 100e3,
                },
            )
        },
        instruments: Instruments {
            sensor_noise_a: 0.008,
            ..eight_bit_scope()
        },
        plan: plan(ShotKind::Locked, &[]),
        facts: facts("blind winder", Some(8), Brushes::Carbon, Magnets::Ferrite),
    }
}

/// Six-volt stirrer of a cheese kettle: nine segments, metal-loaded brushes, a scope that averages; driven at a known speed too.
pub fn curd_stirrer() -> Scenario {
    Scenario {
        machine: Machine {
            coulomb_friction_nm: 7.4e-4,
            viscous_friction_nm_s_per_rad: 6.0e-7,
            breakaway_nm: 1.0e-3,
            stribeck_rad_s: 15.0,
            brush_drop_v: 0.18,
            brush_scale_a: 0.06,
            armature_reaction_per_a: 0.001,
            winding_heat_capacity_j_per_k: Some(6.0),
            commutator: Commutator {
                segments: 9,
                poles: 2,
                emf_ripple: 0.025,
                unevenness: 0.012,
                resistance_variation: 0.02,
                brush_noise: 0.01,
                needle_v: 1.0,
                needle_s: 2e-6,
            },
            cogging_nm: 8e-5,
            unbalance_nm: 2e-5,
            ohmmeter_contact_ohm: 0.2,
            ..Machine::ideal(2.65, 0.78e-3, 0.0141, 1.9e-6)
        },
        rig: Rig {
            added_inertia_kg_m2: 1.4e-6,
            ..battery_rig(6.1, 0.16, shunt(0.1, 0.005, true))
        },
        instruments: Instruments {
            high_resolution: true,
            tachometer_limit: Some(0.001),
            ..eight_bit_scope()
        },
        plan: plan(ShotKind::LockedClean, &[("driven", ShotKind::Driven)]),
        facts: facts(
            "curd stirrer",
            Some(9),
            Brushes::MetalCarbon,
            Magnets::Ferrite,
        ),
    }
}
