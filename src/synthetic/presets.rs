//! Motors on benches of our own scenarios, from a coin-size motor on one cell to 150 W on two batteries.

use super::draw::Scenario;
use super::instruments::{ErrorLaw, Instruments};
use super::machine::{COPPER_PER_K_AT_25_C, Commutator, EddyBranch, Machine};
use super::rig::{Arc, Bounce, Chopper, CurrentSensor, Diode, Line, Rig, Temperature};
use super::shot::{Shot, ShotKind};
use crate::bench::{BrushKind, MagnetKind, MotorFacts};

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

/// The preset of that name (`blind winder` or `blind-winder`).
pub fn named(name: &str) -> Option<Scenario> {
    let wanted = name.replace(['-', '_'], " ");
    all().into_iter().find(|s| s.facts.name == wanted)
}

fn plan(kinds: &[(&str, ShotKind)]) -> Vec<Shot> {
    kinds
        .iter()
        .map(|(name, kind)| Shot::new(name, *kind))
        .collect()
}

/// A scope of eight bits with the usual limits, a probe of 1 % and the meters of a hobby bench.
fn eight_bit_scope() -> Instruments {
    Instruments {
        bits: 8,
        vertical_gain_limit: 0.02,
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

/// Coin-size ironless motor on one cell: three segments, metal brushes, a resistor as shunt inside the voltage channel.
pub fn aquarium_feeder() -> Scenario {
    Scenario {
        machine: Machine {
            terminal_resistance_ohm: 11.6,
            armature_inductance_h: 210e-6,
            back_emf_constant_v_s_per_rad: 1.12e-3,
            rotor_inertia_kg_m2: 4.6e-9,
            coulomb_friction_nm: 8.2e-6,
            viscous_friction_nm_s_per_rad: 1.6e-9,
            windage_nm_s2_per_rad2: 0.0,
            breakaway_nm: 11e-6,
            stribeck_rad_s: 30.0,
            brush_drop_v: 0.0,
            brush_scale_a: 0.02,
            saturation_a: None,
            eddy: None,
            armature_reaction_per_a: 0.0,
            magnet_per_k: -0.001,
            copper_per_k: COPPER_PER_K_AT_25_C,
            winding_heat_capacity_j_per_k: Some(0.25),
            commutator: Commutator {
                segments: 3,
                emf_ripple: 0.10,
                unevenness: 0.012,
                resistance_variation: 0.02,
                brush_noise: 0.006,
                needle_v: 0.15,
                needle_s: 2e-6,
            },
            cogging_nm: 0.0,
            unbalance_nm: 0.4e-6,
            ohmmeter_contact_ohm: 0.0,
        },
        rig: Rig {
            short_resistance_ohm: 0.08,
            lead_inductance_h: 0.4e-6,
            stray_capacitance_f: 0.1e-9,
            added_inertia_kg_m2: 3.1e-9,
            ..battery_rig(
                1.53,
                0.35,
                CurrentSensor::Shunt {
                    nominal_ohm: 1.0,
                    tolerance: 0.01,
                    inside_voltage_channel: true,
                },
            )
        },
        instruments: eight_bit_scope(),
        plan: plan(&[
            ("start", ShotKind::Start),
            ("rundown", ShotKind::RunDown),
            ("brake", ShotKind::Brake),
            ("held", ShotKind::LockedClean),
        ]),
        facts: MotorFacts {
            name: "aquarium feeder".to_owned(),
            commutator_segments: Some(3),
            brushes: Some(BrushKind::Metal),
            magnets: Some(MagnetKind::Neodymium),
            ..MotorFacts::default()
        },
    }
}

/// Five-volt fan motor with metal brushes: windage counts; a bench supply with switching ripple.
pub fn bottle_warmer_fan() -> Scenario {
    Scenario {
        machine: Machine {
            terminal_resistance_ohm: 4.2,
            armature_inductance_h: 0.92e-3,
            back_emf_constant_v_s_per_rad: 4.6e-3,
            rotor_inertia_kg_m2: 7.4e-7,
            coulomb_friction_nm: 1.6e-4,
            viscous_friction_nm_s_per_rad: 3.0e-8,
            windage_nm_s2_per_rad2: 2.6e-10,
            breakaway_nm: 2.2e-4,
            stribeck_rad_s: 20.0,
            brush_drop_v: 0.0,
            brush_scale_a: 0.05,
            saturation_a: None,
            eddy: Some(EddyBranch {
                share: 0.15,
                parallel_ohm: 9.0,
            }),
            armature_reaction_per_a: 0.0,
            magnet_per_k: -0.002,
            copper_per_k: COPPER_PER_K_AT_25_C,
            winding_heat_capacity_j_per_k: Some(4.0),
            commutator: Commutator {
                segments: 5,
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
        },
        rig: Rig {
            current_limit_a: Some(3.0),
            supply_ripple: Some(Line {
                amplitude_v: 0.004,
                frequency_hz: 300.0,
            }),
            added_inertia_kg_m2: 5.2e-7,
            ..battery_rig(
                5.02,
                0.12,
                CurrentSensor::Shunt {
                    nominal_ohm: 0.1,
                    tolerance: 0.01,
                    inside_voltage_channel: true,
                },
            )
        },
        instruments: eight_bit_scope(),
        plan: plan(&[
            ("start", ShotKind::Start),
            ("rundown", ShotKind::RunDown),
            ("brake", ShotKind::Brake),
            ("held", ShotKind::Locked),
            ("steady", ShotKind::Steady),
        ]),
        facts: MotorFacts {
            name: "bottle warmer fan".to_owned(),
            commutator_segments: Some(5),
            brushes: Some(BrushKind::Metal),
            magnets: Some(MagnetKind::Ferrite),
            ..MotorFacts::default()
        },
    }
}

/// Twelve-volt motor of a window blind: eight segments, carbon brushes, clamp with a drifting zero, supply that limits.
pub fn blind_winder() -> Scenario {
    Scenario {
        machine: Machine {
            terminal_resistance_ohm: 1.92,
            armature_inductance_h: 1.48e-3,
            back_emf_constant_v_s_per_rad: 0.0283,
            rotor_inertia_kg_m2: 8.8e-6,
            coulomb_friction_nm: 4.4e-3,
            viscous_friction_nm_s_per_rad: 4.2e-6,
            windage_nm_s2_per_rad2: 0.0,
            breakaway_nm: 6.0e-3,
            stribeck_rad_s: 12.0,
            brush_drop_v: 0.62,
            brush_scale_a: 0.08,
            saturation_a: None,
            eddy: None,
            armature_reaction_per_a: 0.002,
            magnet_per_k: -0.002,
            copper_per_k: COPPER_PER_K_AT_25_C,
            winding_heat_capacity_j_per_k: Some(14.0),
            commutator: Commutator {
                segments: 8,
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
        plan: plan(&[
            ("start", ShotKind::Start),
            ("rundown", ShotKind::RunDown),
            ("brake", ShotKind::Brake),
            ("held", ShotKind::Locked),
        ]),
        facts: MotorFacts {
            name: "blind winder".to_owned(),
            commutator_segments: Some(8),
            brushes: Some(BrushKind::Carbon),
            magnets: Some(MagnetKind::Ferrite),
            ..MotorFacts::default()
        },
    }
}

/// Ironless 24 V motor with 13 segments and graphite brushes; twelve-bit scope, four-wire shunt, transistor switch.
pub fn label_peeler() -> Scenario {
    Scenario {
        machine: Machine {
            terminal_resistance_ohm: 1.36,
            armature_inductance_h: 0.19e-3,
            back_emf_constant_v_s_per_rad: 0.0437,
            rotor_inertia_kg_m2: 6.6e-6,
            coulomb_friction_nm: 2.3e-3,
            viscous_friction_nm_s_per_rad: 1.8e-6,
            windage_nm_s2_per_rad2: 0.0,
            breakaway_nm: 2.9e-3,
            stribeck_rad_s: 15.0,
            brush_drop_v: 0.32,
            brush_scale_a: 0.12,
            saturation_a: None,
            eddy: None,
            armature_reaction_per_a: 0.0,
            magnet_per_k: -0.001,
            copper_per_k: COPPER_PER_K_AT_25_C,
            winding_heat_capacity_j_per_k: Some(5.0),
            commutator: Commutator {
                segments: 13,
                emf_ripple: 0.02,
                unevenness: 0.010,
                resistance_variation: 0.012,
                brush_noise: 0.01,
                needle_v: 1.0,
                needle_s: 1.5e-6,
            },
            cogging_nm: 0.0,
            unbalance_nm: 3e-5,
            ohmmeter_contact_ohm: 0.25,
        },
        rig: Rig {
            lead_inductance_h: 0.8e-6,
            chopper: Chopper {
                frequency_hz: 16_000.0,
                duty: 0.6,
                switch_ohm: 0.015,
            },
            added_inertia_kg_m2: 5.9e-6,
            ..battery_rig(
                24.3,
                0.09,
                CurrentSensor::Shunt {
                    nominal_ohm: 0.05,
                    tolerance: 0.005,
                    inside_voltage_channel: true,
                },
            )
        },
        instruments: Instruments {
            bits: 12,
            vertical_gain_limit: 0.01,
            time_base_limit: 20e-6,
            noise_div: 0.01,
            ..eight_bit_scope()
        },
        plan: plan(&[
            ("start", ShotKind::Start),
            ("rundown", ShotKind::RunDown),
            ("brake", ShotKind::Brake),
            ("held", ShotKind::LockedClean),
            ("chopped", ShotKind::Pwm),
            ("letgo", ShotKind::TurnOff),
        ]),
        facts: MotorFacts {
            name: "label peeler".to_owned(),
            commutator_segments: None,
            brushes: Some(BrushKind::Carbon),
            magnets: Some(MagnetKind::Neodymium),
            ..MotorFacts::default()
        },
    }
}

/// 24 V, 150 W, 24 segments, carbon brushes: saturation, eddy currents and a cooling fan; clamp and contactor.
pub fn ramp_lift() -> Scenario {
    Scenario {
        machine: Machine {
            terminal_resistance_ohm: 0.262,
            armature_inductance_h: 0.36e-3,
            back_emf_constant_v_s_per_rad: 0.0664,
            rotor_inertia_kg_m2: 1.75e-4,
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
            magnet_per_k: -0.002,
            copper_per_k: COPPER_PER_K_AT_25_C,
            winding_heat_capacity_j_per_k: Some(170.0),
            commutator: Commutator {
                segments: 24,
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
        plan: plan(&[
            ("start", ShotKind::Start),
            ("rundown", ShotKind::RunDown),
            ("brake", ShotKind::Brake),
            ("held", ShotKind::Locked),
            ("chopped", ShotKind::Pwm),
        ]),
        facts: MotorFacts {
            name: "ramp lift".to_owned(),
            commutator_segments: Some(24),
            brushes: Some(BrushKind::Carbon),
            magnets: Some(MagnetKind::Ferrite),
            ..MotorFacts::default()
        },
    }
}

/// Twelve-volt spreader of a garden tractor: 16 segments, carbon brushes; the shunt stands outside the voltage channel and the
/// run-down is repeated with a disc, as there is no tachometer.
pub fn seed_spreader() -> Scenario {
    Scenario {
        machine: Machine {
            terminal_resistance_ohm: 0.74,
            armature_inductance_h: 0.83e-3,
            back_emf_constant_v_s_per_rad: 0.0336,
            rotor_inertia_kg_m2: 2.9e-5,
            coulomb_friction_nm: 9.5e-3,
            viscous_friction_nm_s_per_rad: 1.2e-5,
            windage_nm_s2_per_rad2: 0.0,
            breakaway_nm: 0.013,
            stribeck_rad_s: 10.0,
            brush_drop_v: 0.55,
            brush_scale_a: 0.2,
            saturation_a: Some(40.0),
            eddy: None,
            armature_reaction_per_a: 0.001,
            magnet_per_k: -0.002,
            copper_per_k: COPPER_PER_K_AT_25_C,
            winding_heat_capacity_j_per_k: Some(35.0),
            commutator: Commutator {
                segments: 16,
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
        },
        rig: Rig {
            short_resistance_ohm: 0.015,
            added_inertia_kg_m2: 2.4e-5,
            ..battery_rig(
                12.6,
                0.07,
                CurrentSensor::Shunt {
                    nominal_ohm: 0.01,
                    tolerance: 0.01,
                    inside_voltage_channel: false,
                },
            )
        },
        instruments: Instruments {
            tachometer_limit: None,
            hum: Some(Line {
                amplitude_v: 0.01,
                frequency_hz: 50.0,
            }),
            ..eight_bit_scope()
        },
        plan: plan(&[
            ("start", ShotKind::Start),
            ("rundown", ShotKind::RunDown),
            ("disc", ShotKind::RunDownWithDisc),
            ("brake", ShotKind::Brake),
            ("held", ShotKind::Locked),
            ("letgo", ShotKind::TurnOff),
        ]),
        facts: MotorFacts {
            name: "seed spreader".to_owned(),
            commutator_segments: None,
            brushes: Some(BrushKind::Carbon),
            magnets: Some(MagnetKind::Ferrite),
            ..MotorFacts::default()
        },
    }
}

/// Six-volt stirrer of a cheese kettle: nine segments, metal-loaded brushes, a scope that averages; driven at a known speed too.
pub fn curd_stirrer() -> Scenario {
    Scenario {
        machine: Machine {
            terminal_resistance_ohm: 2.65,
            armature_inductance_h: 0.78e-3,
            back_emf_constant_v_s_per_rad: 0.0141,
            rotor_inertia_kg_m2: 1.9e-6,
            coulomb_friction_nm: 7.4e-4,
            viscous_friction_nm_s_per_rad: 6.0e-7,
            windage_nm_s2_per_rad2: 0.0,
            breakaway_nm: 1.0e-3,
            stribeck_rad_s: 15.0,
            brush_drop_v: 0.18,
            brush_scale_a: 0.06,
            saturation_a: None,
            eddy: None,
            armature_reaction_per_a: 0.001,
            magnet_per_k: -0.002,
            copper_per_k: COPPER_PER_K_AT_25_C,
            winding_heat_capacity_j_per_k: Some(6.0),
            commutator: Commutator {
                segments: 9,
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
        },
        rig: Rig {
            added_inertia_kg_m2: 1.4e-6,
            ..battery_rig(
                6.1,
                0.16,
                CurrentSensor::Shunt {
                    nominal_ohm: 0.1,
                    tolerance: 0.005,
                    inside_voltage_channel: true,
                },
            )
        },
        instruments: Instruments {
            high_resolution: true,
            tachometer_limit: Some(0.001),
            ..eight_bit_scope()
        },
        plan: plan(&[
            ("start", ShotKind::Start),
            ("rundown", ShotKind::RunDown),
            ("brake", ShotKind::Brake),
            ("held", ShotKind::LockedClean),
            ("driven", ShotKind::Driven),
        ]),
        facts: MotorFacts {
            name: "curd stirrer".to_owned(),
            commutator_segments: Some(9),
            brushes: Some(BrushKind::MetalCarbon),
            magnets: Some(MagnetKind::Ferrite),
            ..MotorFacts::default()
        },
    }
}
